"""What a plan costs, part by part, and each of its outages: what has no price has no number, and is named."""

from dataclasses import dataclass

import numpy as np

from corridor.planning.outages.outages import Outages
from corridor.planning.remedies.plan import Planned

__all__ = ["Cost", "cost_columns", "costs_of", "outage_costs"]


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
        each = next((row.cost_per_km for row in prices.wires if row.option == site.option), None)
        rows.append(_priced("wire", site.plan.spans.length.sum() / 1e3, "km of line", each))
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
