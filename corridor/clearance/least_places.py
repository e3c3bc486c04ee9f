"""Where along its whole swing a wire is least clear of something, by a value that is no smooth function of its place.

What a wire is outside of a room about a thing is the greater of several terms, and least where two of them meet, most
often, on lines that run aslant through swing and wire. The terms are smooth, or nearly so. So these fields are taken
between few nodes as parabolas, and the least of the value is looked for in them, about ever closer nodes.
"""

import numpy as np

from corridor.clearance.checked import least_rows

__all__ = ["least_places", "place_step"]

#: Swings and shares of the first look, how many there are after it at most, and how close nodes of the last ones are
#: along the wire [-].
_SWINGS, _SHARES, _LOOKS, _CLOSE = np.linspace(-1, 1, 17), np.linspace(0, 1, 65), 60, 3e-7
#: Lines between three nodes, from -1 to 1, on each of which the least is looked for at so many places, and how often
#: these are narrowed to the two next to the lowest; a window that has it farther off its middle than so much is moved.
_LINES, _ON_LINE, _NARROWED, _OUT = np.linspace(-1, 1, 9), 13, 3, 0.6
#: Windows are followed, and moved, as long as their nodes are not higher than the lowest before by more than this [m].
_SAME_PLACE = 1e-9


def place_step(wires, wire):
    """Return how far two places of the first look are apart along wires (row,) [m]."""
    return np.linalg.norm((wires.end - wires.start)[wire, :2], axis=-1) * _SHARES[1]


def least_places(row, step, fields, value):
    """Return swings and shares at which values of rows are least, (2, row, 1).

    Parameters
    ----------
    row : ndarray of int, shape (row,)
        Numbers by which rows are asked for.
    step : ndarray, shape (row,)
        Of `place_step`.
    fields : callable
        `(row, swing, share)` to fields of shape (row, swing, share), smooth between near places; nan where not known.
    value : callable
        `(row, *fields)` to values of the same shape [m], which change by no more than the way between two places.
    """
    first = np.broadcast_to(_SWINGS, (len(row), len(_SWINGS))), np.broadcast_to(_SHARES, (len(row), len(_SHARES)))
    of, at = _starts(step, _known(value(row, *fields(row, *first))))
    half = np.tile(2 * np.array([_SWINGS[1] - _SWINGS[0], _SHARES[1]]), (len(of), 1))
    least, best, left = np.full(len(of), np.inf), at.copy(), np.arange(len(of))
    for _ in range(_LOOKS):
        if not len(left):
            break
        some, wide = row[of[left]], half[left]
        middle = np.clip(at[left], wide - [1, 0], 1 - wide)
        nodes = middle[..., None] + wide[..., None] * np.array([-1, 0, 1])
        around = fields(some, nodes[:, 0], nodes[:, 1])
        found, node = _lowest(value(some, *around), nodes)
        nearer, here = found < least[left], (found < least[left] + _SAME_PLACE)[:, None]
        least[left[nearer]], best[left[nearer]] = found[nearer], node[nearer]
        found, close = _lowest_between(lambda *each, some=some: value(some, *each), around)
        close = middle + wide * close
        here &= np.isfinite(found)[:, None]
        at[left] = np.where(here, close, best[left])
        # What leads out of the window is followed with another one of its width.
        out = np.abs(np.clip(close, wide - [1, 0], 1 - wide) - middle) > _OUT * wide
        half[left] = np.where(here & out.any(axis=1, keepdims=True), wide, wide / 2)
        left = left[half[left, 1] > _CLOSE]
    return best[least_rows(of, least)].T[..., None]


def _starts(step, first):
    """Of first looks (row, swing, share) those that may hold the least: the lowest along the wire, of either side to
    which it swings by itself, and all no higher than what is about them. Number of the row, and swing and share
    (start, 2)."""
    most = (first.min(axis=(1, 2)) + step)[:, None]
    half, turns = first.shape[1] // 2, first.shape[1]
    around = np.pad(first, ((0, 0), (1, 1), (1, 1)), constant_values=np.inf)
    near = [around[:, i:i + turns, j:j + first.shape[2]] for i in range(3) for j in range(3) if (i, j) != (1, 1)]
    # Of what is level the first counts.
    chosen = (first < np.min(near[:4], axis=0)) & (first <= np.min(near[4:], axis=0)) & (first <= most[..., None])
    for some in (slice(0, half + 1), slice(half, turns)):
        swing, low = first[:, some].argmin(axis=1) + some.start, first[:, some].min(axis=1)
        beside = np.pad(low, ((0, 0), (1, 1)), constant_values=np.inf)
        row, share = np.nonzero((low < beside[:, :-2]) & (low <= beside[:, 2:]) & (low <= most))
        chosen[row, swing[row, share], share] = True
    chosen[np.isinf(most[:, 0]), 0, 0] = True
    of, swing, share = np.nonzero(chosen)
    return of, np.stack([_SWINGS[swing], _SHARES[share]], axis=-1)


def _known(value):
    return np.where(np.isnan(value), np.inf, value)


def _lowest(value, nodes):
    """Least of values (row, swing, share) and the swing and share of it, of nodes (row, 2, node)."""
    value, every = _known(value).reshape(len(value), -1), np.arange(len(value))
    swing, share = np.divmod(value.argmin(axis=1), nodes.shape[-1])
    return value.min(axis=1, initial=np.inf), np.stack([nodes[every, 0, swing], nodes[every, 1, share]], axis=-1)


def _parabola(at):
    """Factors of the values at -1, 0 and 1, of the parabola through them."""
    return at * (at - 1) / 2, 1 - at**2, at * (at + 1) / 2


def _lowest_between(value, fields):
    """Least (row,) of the value of fields (row, 3, 3) between their nodes, and its swing and share (row, 2), -1 to 1.

    At each of many shares it is sought along the swing, and at each of many swings along the wire: however aslant low
    places run, one of both has them."""
    across, there = _lowest_of_lines(value, fields)
    along, here = _lowest_of_lines(value, [field.swapaxes(1, 2) for field in fields])
    return np.minimum(across, along), np.where((across <= along)[:, None], there, here[:, ::-1])


def _lowest_of_lines(value, fields):
    """Least (row,) of the value of fields (row, 3, 3) on lines along the first of both ways, and where (row, 2)."""
    columns = [field @ np.stack(_parabola(_LINES)) for field in fields]
    every = np.arange(len(columns[0]))
    low, high = (np.full((len(every), len(_LINES)), end) for end in (-1.0, 1.0))
    for _ in range(_NARROWED):
        at = low[..., None] + (high - low)[..., None] * np.linspace(0, 1, _ON_LINE)
        factors = _parabola(at)
        found = _known(value(*(sum(f * column[:, k, :, None] for k, f in enumerate(factors)) for column in columns)))
        node = found.argmin(axis=-1)[..., None]
        middle, half = np.take_along_axis(at, node, -1)[..., 0], (high - low) / (_ON_LINE - 1)
        low, high = np.maximum(middle - half, low), np.minimum(middle + half, high)
    least = found.min(axis=-1)
    share = least.argmin(axis=1)
    return least[every, share], np.stack([middle[every, share], _LINES[share]], axis=-1)
