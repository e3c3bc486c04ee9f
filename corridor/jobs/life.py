"""What is lost in a year by the options of a study, and what that costs over the years that `[plan.life]` counts."""

from collections.abc import Sequence

import numpy as np

from corridor.inputs.series import YearLoads
from corridor.opened import Opened
from corridor.rating.rating_tables import energy
from corridor.rating.ratings import Ratings
from corridor.rating.whole_life import LifeCost, life_costs

__all__ = ["energy_of", "greatest_current", "life_of", "life_words"]

#: Hours of a year, for a loss that flows all of it.
_YEAR = 8760.0


def energy_of(heat: Ratings, loads: YearLoads) -> tuple[list[float], str]:
    """Return the energy lost in a year by each option [MWh/km] in three phases, nan where it is not known, and what it
    rests on."""
    options = range(len(heat.options))
    if heat.weather is None:
        return [np.nan] * len(options), "not known: the study has no [rating]"
    if loads.steps:
        return ([energy(heat, option, loads.steps) for option in options],
                "; ".join((f"over {loads.words}", *loads.notes)))
    if heat.required_current is None:
        return [np.nan] * len(options), "not known: the study has neither loads nor a required current"
    each = [(heat.required_current, _YEAR * 3600)]
    return ([energy(heat, option, each) for option in options],
            f"as if the required {heat.required_current:g} A flowed all the year")


def greatest_current(heat: Ratings, loads: YearLoads) -> float:
    """Return the maximum current that the losses of a year are of [A], nan where none is known."""
    required = np.nan if heat.required_current is None else heat.required_current
    return max((current for current, _ in loads.steps), default=required)


def life_of(opened: Opened, energy: Sequence[float], first: Sequence[float], current: Sequence[float],
            existing: int | None, *, length: float = 1.0, carbon: Sequence[float] = ()) -> LifeCost | None:
    """Return what options, or ways to hang them, cost over their life; None where the study has no `[plan.life]`.

    Parameters
    ----------
    opened : Opened
    energy : sequence of float, length option
        Lost in a year in three phases [MWh/km].
    first, current, existing, carbon
        As of `corridor.rating.whole_life.life_costs`, costs and carbon of the whole length.
    length : float
        Of the line [km].
    """
    prices = opened.study.plan
    if prices is None or prices.life is None:
        return None
    life = prices.life
    return life_costs(energy, first, current, existing, circuits=length * _circuits(opened), years=life.years,
                      rate=life.discount_rate, prices=life.prices, carbon_per_mwh=life.carbon_per_mwh, carbon=carbon)


def _circuits(opened):
    """Circuits of three phases on the line, on average over its length."""
    facts, spans = opened.laid_out.facts, opened.laid_out.plan.spans
    x, f = facts.structures, facts.framings
    count = np.array([len({*f.circuit[(f.framing == framing) & (f.kind == "phase")]}) for framing in x.framing])
    return float(np.average(count[spans.tail], weights=spans.length))


def life_words(opened: Opened) -> str:
    """Return on what costs over life rest, in words."""
    prices = opened.study.plan
    life = prices.life
    return (f"over {life.years} years at {100 * life.discount_rate:g} % a year, {life.prices[1]:g} a MWh (from "
            f"{life.prices[0]:g} to {life.prices[2]:g}), the same load in each circuit, {_circuits(opened):.3g} on "
            f"average; in {prices.currency or 'relative units'}; all assumed by the study")
