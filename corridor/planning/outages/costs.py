"""What a plan costs, part by part, and each of its outages: what has no price has no number, and is named."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from corridor.jobs.life import energy_of, greatest_current, life_of
from corridor.opened import Opened
from corridor.planning.outages.outages import Outages
from corridor.planning.remedies.plan import Planned
from corridor.rating.whole_life import LOSSES_OVER_LIFE

__all__ = ["Cost", "cost_columns", "costs_of", "outage_costs", "over_life"]


@dataclass(frozen=True)
class Cost:
    """A `part` of a plan: its `amount` in a `unit`, and its `cost`, nan where the study gives no price for it."""

    part: str
    amount: float
    unit: str
    cost: float


def costs_of(planned: Planned, outages: Outages) -> list[Cost]:
    """Return what the remedies, the new wire, hours of crews and hours of circuits that are out cost.

    Without a new wire there is no part of it; where the work has no outages, what they cost is not known.
    """
    site, prices, hours = planned.site, planned.site.prices, sum(item.hours for item in (*outages.work,
                                                                                        *outages.without))
    rows = [Cost("remedies", float((planned.steps > 0).sum()), "remedies", planned.cost)]
    if site.option != site.old:
        each = next((row.cost_per_km for row in prices.wires if row.option == site.strung), None)
        length = site.plan.spans.length[site.renewed[site.plan.spans.section]].sum()
        rows.append(_priced("wire", length / 1e3, "km of line", each))
    circuit_hours = np.nan if outages.grouped is None else outages.grouped.circuit_hours
    return [*rows, _priced("hours of crews", hours, "h", prices.crew_hour_cost),
            _priced("outages", circuit_hours, "circuit-hours", prices.circuit_hour_cost)]


def _priced(part, amount, unit, price):
    return Cost(part, float(amount), unit, np.nan if price is None else float(price * amount))


def cost_columns(costs: list[Cost], currency: str | None) -> dict[str, list]:
    """Return the costs as columns; `currency` as the study has it, "relative" where it has none."""
    return {"part": [each.part for each in costs], "amount": [each.amount for each in costs],
            "unit": [each.unit for each in costs], "cost": [each.cost for each in costs],
            "currency": [currency or "relative"] * len(costs)}


def outage_costs(outages: Outages) -> dict[str, np.ndarray]:
    """Return of each outage the hours of crews [h], what these cost, what circuits out cost, and both, (outage,);
    nan where the study gives no price."""
    grouped, prices = outages.grouped, outages.prices
    if grouped is None:
        return {}
    hours = np.bincount(grouped.outage, [item.hours for item in outages.work], grouped.steps)
    out = np.array([h * len(c) for h, c in zip(grouped.hours, grouped.circuits, strict=True)])
    crew, circuits = (np.full(len(out), np.nan) if price is None else price * amount for price, amount in (
        (prices.crew_hour_cost, hours), (prices.circuit_hour_cost, out)))
    return {"crew_hours": hours, "crew_cost": crew, "circuit_cost": circuits, "cost": crew + circuits}


def over_life(opened: Opened, today: float, shares: Sequence[Mapping[str, float]], temperatures: Sequence[float],
              costs: Sequence[float], carried: Sequence[float]) -> list[dict]:
    """Return what ways to hang wires cost over their life, a row of columns each; nothing where the study has no
    `[plan.life]`.

    Parameters
    ----------
    opened : Opened
    today : float
        What the line carries today [A].
    shares : sequence of mapping, length way
        What hangs in the end: of each option the share of the length [-].
    temperatures : sequence of float, length way
        The maximum of it [°C]; of a wire that stays beside another, that of the study. Losses of a current that makes
        it hotter are none of its own.
    costs : sequence of float, length way
        Of remedies, wire and outages, nan where any of it has no price.
    carried : sequence of float, length way
        By the line in the end [A].

    Returns
    -------
    list of dict
        Losses of the whole line at their worth today and whole-life cost, both at the lower, the middle and the higher
        price; what an ampere more than today costs; years after which less loss than that of the existing wire has paid
        for all of it, or "never"; and what of these has no number, in words. What hangs today costs nothing more.
    """
    facts, plan, _ = opened.laid_out
    heat, index = facts.heat, {each.name: i for i, each in enumerate(facts.options)}
    (energy, basis), top = energy_of(heat, opened.loads), greatest_current(heat, opened.loads)
    hottest = {each.name: each.wiring.maximum_temperature for each in facts.options}
    old = [facts.existing] if facts.existing else []
    hangs = [*({name: 1.0} for name in old), *shares]
    T = [*(hottest[name] for name in old), *temperatures]
    most = np.array([min(float(heat.current_at(index[name], hottest[name] if len(share) > 1 and name in old else t))
                         for name in share) for share, t in zip(hangs, T, strict=True)])
    lost = np.where(most >= top, [sum(part * energy[index[name]] for name, part in share.items()) for share in hangs],
                    np.nan)
    first, current = (np.array([*[value] * len(old), *values], float)
                      for value, values in ((0.0, costs), (today, carried)))
    found = life_of(opened, lost, first, current, 0 if old else None, length=float(plan.spans.length.sum()) / 1e3)
    if found is None:
        return [{} for _ in shares]
    why = ["" if np.isfinite(each) else f"losses at {top:.0f} A, of which it may carry {amps:.0f} A" if amps < top else
           f"losses: {basis}" for each, amps in zip(lost, most, strict=True)]
    total, paid = found.total, found.paid_back
    return [{**dict(zip(LOSSES_OVER_LIFE, found.losses[:, i], strict=True)),
             **{f"whole_life_cost{end}": total[j, i] for j, end in enumerate(("_low", "", "_high"))},
             "cost_per_ampere_gained": found.ampere[i], "years_to_pay_back": paid[i],
             "life_not_known": _unknown(why[i], found, i, f"existing wire: {why[0]}" if old else "no existing option")}
            for i in range(len(old), len(hangs))]


def _unknown(why, found, i, today):
    """What of the cost over life of a way has no number, in words; None where nothing is."""
    lacks = [why] * bool(why) + ["costs without a price"] * bool(np.isnan(found.first[i]))
    if np.isnan(found.pay_back[i]) and not lacks:
        lacks.append(f"pay-back: {today}")
    if np.isnan(found.ampere[i]) and not np.isnan(found.first[i]):
        lacks.append("cost per ampere: no ampere that is known is gained")
    return "; ".join(lacks) or None
