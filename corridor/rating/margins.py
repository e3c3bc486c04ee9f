"""Minimum margins of spans between the wire temperatures at which they were looked for, and through the hours.

A margin falls as the wire gets hotter, ever more slowly, so a straight line between two temperatures lies above it.
Told is what it is at least: of that line and of those through the two temperatures before and the two behind,
prolonged, the lowest, but no less than at both ends of the interval. That is right for a margin that bends so, where it
jumps down, and where another thing becomes the nearest: each of two curves lies above its own prolonged line. Next to
the hottest and the coldest temperature, where nothing lies beyond, it is the lesser at both ends. Two millimetres less
are told between temperatures, for what bends otherwise: on the demo that is a fifth of a millimetre at most.
"""

from dataclasses import dataclass

import numpy as np

from corridor.rating.series import Hours, piece_of

__all__ = ["ALLOWANCE", "HourMargins", "Margins", "highest", "least_between", "margin_nodes"]

#: Between temperatures at which wires are hung [K], and at the hot end.
SPACING, _END = 5.0, 0.3
#: Taken off between temperatures [m].
ALLOWANCE = 0.002
#: A wire counts as hotter than it is by less than this [K].
STEP = 0.1
_ROUND = 1e-6


def margin_nodes(ratings, stations):
    """Return wire temperatures at which margins are to be asked for, (option, node) [°C], ascending, nan in front.

    From the coldest air of the series to what its hottest hour could make of the wire, or to the maximum temperature
    that it may have if that is less: the emergency temperature, or the maximum.

    Parameters
    ----------
    ratings : Ratings
    stations : sequence of Hours
    """
    low = min(_extreme(each.ambient, np.fmin, ratings.weather.ambient) for each in stations) - STEP
    nodes = []
    for option, each in enumerate(ratings.options):
        top = highest(each)
        hot = max(float(np.max(piece_of(ratings, option, _worst(hours))[0])) for hours in stations)
        top = max(min(top, hot + STEP) if np.isfinite(hot) else top, low + STEP)
        nodes.append([top, *np.arange(top - _END, low - SPACING, -SPACING)][::-1])
    most = max(map(len, nodes))
    return np.array([[np.nan] * (most - len(row)) + row for row in nodes])


def highest(option):
    """Return the maximum temperature that the wire of an Option may have, if only for a time [°C]."""
    wiring = option.wiring
    return max(wiring.maximum_temperature, -np.inf if wiring.emergency_temperature is None else
               wiring.emergency_temperature)


def _extreme(column, of, instead):
    if column is None:
        return float(np.max(instead))
    return float(of.reduce(column))


def _worst(hours):
    """One hour of the maximum current, the hottest and stillest air along the wire, and the most sun."""
    column = {name: np.array([of.reduce(getattr(hours, name))]) for name, of in (
        ("current", np.fmax), ("ambient", np.fmax), ("wind_speed", np.fmin), ("solar", np.fmax))
        if getattr(hours, name) is not None}
    return Hours(**column, wind_angle=np.zeros(1), step=hours.step)


def least_between(nodes, margins, temperature):
    """Return what margins are at least at temperatures between those at which they are known.

    Parameters
    ----------
    nodes : ndarray, shape (node,)
        Ascending [°C].
    margins : ndarray, shape (row, node)
        [m]
    temperature : ndarray, shape (n,)
        Within the nodes [°C].

    Returns
    -------
    least, line : ndarray, shape (row, n)
        [m], what is told, and the straight line; nan where one of the two about it is.
    """
    i = np.clip(np.searchsorted(nodes, temperature, side="left") - 1, 0, len(nodes) - 2)
    share = (temperature - nodes[i]) / (nodes[i + 1] - nodes[i])
    slope = np.diff(margins, axis=1) / np.diff(nodes)
    left, right, last = margins[:, i], margins[:, i + 1], len(nodes) - 2
    least = np.minimum(left, right)
    before = left + slope[:, np.maximum(i - 1, 0)] * (temperature - nodes[i])
    behind = right + slope[:, np.minimum(i + 1, last)] * (temperature - nodes[i + 1])
    before, behind = np.where(i == 0, least, before), np.where(i == last, least, behind)
    line = np.where(share >= 1, right, left + share * (right - left))
    told = np.maximum(least, np.fmin(np.fmin(line, before), behind)) - ALLOWANCE
    # What is known at a node is known.
    return np.where(np.isnan(left + right), np.nan, np.where(share >= 1, right, told)), line


@dataclass(frozen=True)
class Margins:
    """Minimum margins of rows of `limits` in one option: at `nodes` (node,) [°C], `values` (row, node) [m], nan where a
    span was not assessed."""

    nodes: np.ndarray
    values: np.ndarray

    @property
    def grid(self):
        """Temperatures a step apart up to the hottest node [°C]."""
        count = int(np.floor((self.nodes[-1] - self.nodes[0]) / STEP))
        return self.nodes[-1] - STEP * np.arange(count, -1, -1)

    def on_grid(self, rows):
        """Return the minimum margins [m] of some rows between each temperature of the grid and the one before, and the
        greatest by the straight line there, both (row, n)."""
        least, line = least_between(self.nodes, self.values[rows], self.grid)
        cooler = np.s_[:, np.r_[0, 0:len(self.grid) - 1]]
        return np.minimum(least, least[cooler]), np.maximum(line, line[cooler])

    def index(self, temperature):
        """Return where wire temperatures are in the grid, the length of the grid where they are not, or are nan."""
        grid = self.grid
        with np.errstate(invalid="ignore"):
            at = np.ceil((temperature - grid[0]) / STEP - _ROUND)
            return np.where((at >= 0) & (at < len(grid)), at, len(grid)).astype(int)


@dataclass(frozen=True)
class HourMargins:
    """Margins of spans about one station, of `rows` of limits and at their `place` among the bearings: of each bearing
    and temperature of the grid the `least` [m] (inf: none is known), the row it is of, `worst`, by how much it may be
    told too low, `low_by` [m], and how many are `lost`; the last place is for temperatures that are none."""

    margins: Margins
    rows: np.ndarray
    place: np.ndarray
    least: np.ndarray
    worst: np.ndarray
    low_by: np.ndarray
    lost: np.ndarray

    @classmethod
    def of(cls, margins, rows, place, bearings):
        """Return those of some rows of limits, each at its place among so many bearings."""
        shape = (bearings, len(margins.grid) + 1)
        least, worst, low_by = np.full(shape, np.inf), np.full(shape, -1), np.full(shape, np.nan)
        lost = np.zeros(shape, int)
        for b in np.unique(place):
            here = rows[place == b]
            values, line = margins.on_grid(here)
            first = np.argmin(np.where(np.isnan(values), np.inf, values), axis=0)
            at = first, np.arange(len(first))
            known = np.isfinite(values[at])
            least[b, :-1], worst[b, :-1] = np.where(known, values[at], np.inf), np.where(known, here[first], -1)
            low_by[b, :-1] = (line - values)[at]
            lost[b] = [*np.isnan(values).sum(axis=0), len(here)]
            least[b, -1] = np.nan
        return cls(margins, rows, place, least, worst, low_by, lost)

    def look(self, temperature):
        """Return the minimum margin of hours [m], the row it is of, how much it may be told too low [m], and how many
        spans have none; all (hour,).

        Parameters
        ----------
        temperature : ndarray, shape (hour, bearing)
            Of wires [°C]. Where one is not known, or hotter than it may be, the hour has no margin.
        """
        b, at = np.arange(len(self.least)), self.margins.index(temperature)
        value = self.least[b, at]
        first = np.argmin(np.where(np.isnan(value), -np.inf, value), axis=1)
        hour = np.arange(len(at))
        margin, there = value[hour, first], (first, at[hour, first])
        known = np.isfinite(margin)
        return (np.where(known, margin, np.nan), np.where(known, self.worst[there], -1),
                np.where(known, self.low_by[there], np.nan), self.lost[b, at].sum(axis=1))

    def of_range(self, low, high):
        """Return the minimum margin [m] of each row over all temperatures between the lowest and the highest of wires
        of its bearing, (bearing,) [°C]; nan where it is not known in all of them."""
        first, last = self.margins.index(low), self.margins.index(high)
        found = np.full(len(self.rows), np.nan)
        for b in np.flatnonzero(np.maximum(first, last) < len(self.margins.grid)):
            here = self.place == b
            found[here] = self.margins.on_grid(self.rows[here])[0][:, first[b]:last[b] + 1].min(axis=1)
        return found
