"""What a wire costs over the years that it hangs: what is paid at first, and the energy that is lost in it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

__all__ = ["LOSSES_OVER_LIFE", "LifeCost", "life_costs", "present_worth", "years_to_pay_back"]

#: Columns of losses over life at the lower, the middle and the higher price.
LOSSES_OVER_LIFE = ("losses_over_life_low", "losses_over_life", "losses_over_life_high")


@dataclass(frozen=True)
class LifeCost:
    """Of each option, (option,), per kilometre of line or of all of it: what it costs at `first`, its wire or its wire
    with all else, and its `losses` over all years at their worth today, at the lower, the middle and the higher price
    (3, option), in units of the study; what an ampere more than the existing wire carries costs; the years after which
    less loss has paid for the first cost, inf never; carbon of losses and wire [t]. Nothing that is not known is taken
    for 0: it is nan, and so is what it is part of."""

    first: np.ndarray
    losses: np.ndarray
    ampere: np.ndarray
    pay_back: np.ndarray
    carbon: np.ndarray

    @property
    def total(self) -> np.ndarray:
        """First cost and losses, (3, option)."""
        return self.first + self.losses

    @property
    def paid_back(self) -> list[str | None]:
        """The years to pay back as people read them, None where they are not known."""
        return [None if np.isnan(each) else "never" if np.isinf(each) else f"{each:.1f}" for each in self.pay_back]


def present_worth(years: float, rate: float) -> float:
    """Return what 1 a year is worth today, paid at the end of each of so many years, at a discount rate [-].

        a = (1 - (1 + r)^-n) / r

    The uniform series present worth factor of engineering economy (from memory).

    >>> round(present_worth(20, 0.05), 4), present_worth(20, 0.0)
    (12.4622, 20.0)
    """
    return float(-np.expm1(-years * np.log1p(rate)) / rate) if rate else float(years)


def years_to_pay_back(cost: np.ndarray, saving: np.ndarray, rate: float) -> np.ndarray:
    """Return after how many years a saving each year, at its worth today, is as much as a cost now: the years of
    `present_worth`; inf where it never is, nan where either is not known.

    >>> years_to_pay_back(np.array([100.0, 100.0, 0.0]), np.array([10.0, -1.0, 5.0]), 0.0).tolist()
    [10.0, inf, 0.0]
    """
    cost, saving = np.asarray(cost, float), np.asarray(saving, float)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(saving > 0, cost / saving, np.inf)
        years = share if not rate else np.where(share * rate < 1, -np.log1p(-np.minimum(share * rate, 1)) /
                                                np.log1p(rate), np.inf)
    years = np.where(cost <= 0, 0.0, years)
    return np.where(np.isnan(cost) | np.isnan(saving), np.nan, years)


def life_costs(energy: Sequence[float], first: Sequence[float], current: Sequence[float], existing: int | None, *,
               circuits: float, years: float, rate: float, prices: tuple[float, float, float],
               carbon_per_mwh: float | None = None, carbon: Sequence[float] = ()) -> LifeCost:
    """Return what options cost over their life.

    Parameters
    ----------
    energy : sequence of float, length option
        Lost in a year in three phases [MWh/km].
    first : sequence of float, length option
        What is paid at first, of a kilometre of line; that of the existing wire, which hangs already, counts as 0.
    current : sequence of float, length option
        That each option carries [A].
    existing : int or None
        The option that hangs today.
    circuits : float
        Circuits of three phases on the line, on average; times its length [km] where costs are of all of it.
    years, rate : float
        Life [years], and discount rate [-].
    prices : (float, float, float)
        Of a MWh lost: the lower, the middle, the higher.
    carbon_per_mwh : float, optional
        [t/MWh]
    carbon : sequence of float, length option
        Of the wires of a kilometre of line [t].
    """
    lost, cost, amps = circuits * np.asarray(energy, float), np.array(first, float), np.asarray(current, float)
    tons = np.array(carbon, float) if len(carbon) else np.full(len(lost), np.nan)
    today = np.full((3, len(lost)), np.nan)
    if existing is not None:
        cost[existing] = tons[existing] = 0.0
        today = np.broadcast_to(np.stack([lost, cost, amps])[:, existing, None], today.shape)
    with np.errstate(divide="ignore", invalid="ignore"):
        more = amps - today[2]
        ampere = np.where(more > 0, cost / more, np.nan)
    pay_back = years_to_pay_back(cost, (today[0] - lost) * prices[1], rate)
    if existing is not None:
        pay_back[existing] = np.nan
    losses = np.array(prices)[:, None] * lost * present_worth(years, rate)
    factor = np.nan if carbon_per_mwh is None else carbon_per_mwh
    return LifeCost(cost, losses, ampere, pay_back, tons + years * lost * factor)
