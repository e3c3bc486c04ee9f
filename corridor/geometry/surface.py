"""The bilinear surface of a grid of heights, along straight lines in plan.

Positions are counted in cells, whole numbers at cell centres. Between four centres the surface is
bilinear; along a straight line it is then a quadratic of the distance, which changes only where the
line crosses a row or a column of centres. Those crossings and one place in the middle of each piece
hold the whole surface."""

from collections.abc import Iterable

import numpy as np

from corridor.arrays import Array, Integers, ragged

__all__ = ["SIDE", "bilinear", "blocks_about", "crossings", "snap"]

#: Side of the blocks that cell centres about lines are given in [cells].
SIDE = 8
#: Distance from a row or column of centres within which a place is on it [cells].
_ON_CENTRE = 1e-6


def snap(position: Array) -> Array:
    """Return positions, those that rounding has put beside a row or column of centres put back on
    it [cells]."""
    centre = np.rint(position)
    return np.where(np.abs(position - centre) < _ON_CENTRE, centre, position)


def bilinear(z00: Array, z01: Array, z10: Array, z11: Array, u: Array, v: Array) -> Array:
    """Return the surface between four heights.

    Parameters
    ----------
    z00, z01, z10, z11 : array_like
        Heights at row and column 0 or 1 of the cell [m]; nan where unknown.
    u, v : array_like
        Share of the way along columns and along rows [-]. Where u is 0, let z01 be z00 (and so on),
        so that an unknown height of no weight does no harm.

    Returns
    -------
    ndarray
        nan where a height is nan.

    Examples
    --------
    >>> float(bilinear(0, 1, 2, 3, 0.5, 0.5))
    1.5
    """
    upper = z00 + u * (z01 - z00)
    return upper + v * (z10 + u * (z11 - z10) - upper)


def crossings(start: Array, stop: Array, low: Iterable[float], high: Iterable[float]) -> tuple[Integers, Array]:
    """Return where straight lines cross rows and columns of centres, and the middles between.

    Parameters
    ----------
    start, stop : ndarray, shape (axis, line)
        Ends of each line, in cells along each axis: two of a grid, four of two grids, and so on.
    low, high : array_like, shape (axis,)
        First and last whole number of each axis that counts.

    Returns
    -------
    first : ndarray of int, shape (line + 1,)
        Offsets of each line's places.
    fraction : ndarray, shape (place,)
        Share of the way, 0 to 1 and ascending; even places of a line are knots, odd ones are the
        middles.

    Notes
    -----
    Places are sorted as one number, twice the line's index plus the share, which costs 1e-16 of
    that number. Lines without a finite position get their two ends and the middle.

    Examples
    --------
    >>> start, stop = np.array([[0.5], [0.0]]), np.array([[2.5], [0.0]])
    >>> first, fraction = crossings(start, stop, [0, 0], [9, 9])
    >>> fraction
    array([0.   , 0.125, 0.25 , 0.5  , 0.75 , 0.875, 1.   ])
    """
    lines = start.shape[1]
    parts = [_axis(a, b, lo, hi) for a, b, lo, hi in zip(start, stop, low, high, strict=True)]
    count = 2 + sum(number for number, _ in parts)
    own = 2.0 * np.arange(lines)
    key = np.sort(np.concatenate([own, own + 1, *(values for _, values in parts)]))
    knot = key - np.repeat(own, count)
    first = np.r_[0, np.cumsum(2 * count - 1)]
    # Between the knots of a line there is a middle; between the last of one and the first of the
    # next, none.
    place = 2 * np.arange(len(knot)) - np.repeat(np.arange(lines), count)
    fraction = np.empty(first[-1])
    fraction[place] = knot
    inner = np.delete(np.arange(len(knot)), np.cumsum(count) - 1)
    fraction[place[inner] + 1] = (knot[inner] + knot[inner + 1]) / 2
    return first, fraction


def _axis(a: Array, b: Array, low: float, high: float) -> tuple[Integers, Array]:
    """Number of crossings of each line with the whole numbers of an axis, and their sort keys."""
    least, most = np.minimum(a, b), np.maximum(a, b)
    known = np.isfinite(least) & np.isfinite(most)
    # Strictly inside: an end that lies on a centre is a knot already.
    begin = np.maximum(np.floor(np.where(known, least, 0)) + 1, low)
    end = np.minimum(np.ceil(np.where(known, most, 0)) - 1, high)
    number = np.maximum(end - begin + 1, 0).astype(np.int64)
    owner, within = ragged(number)
    whole = begin[owner] + within
    share = (whole - a[owner]) / (b - a)[owner]
    return number, 2.0 * owner + np.clip(share, 0, 1)


def blocks_about(start: Array, stop: Array, reach: Array) -> tuple[Integers, Array, Array]:
    """Return the blocks of `SIDE` x `SIDE` cells about segments: segment, first column and first row of each.

    Parameters
    ----------
    start, stop : ndarray, shape (2, segment)
        Column and row of the ends [cells].
    reach : ndarray, shape (segment,)
        How far beside them [cells].
    """
    low = np.floor((np.minimum(start, stop) - reach) / SIDE).astype(int)
    count = np.floor((np.maximum(start, stop) + reach) / SIDE).astype(int) - low + 1
    many = count[0] * count[1]
    segment, number = ragged(many)
    block = low[:, segment] + np.stack(np.divmod(number, count[1, segment]))
    way = stop - start
    size = np.maximum((way**2).sum(axis=0), 1e-12)
    off = SIDE * (block + 0.5) - start[:, segment]
    share = np.clip((off * way[:, segment]).sum(axis=0) / size[segment], 0, 1)
    near = np.hypot(*(off - share * way[:, segment])) <= reach[segment] + SIDE / np.sqrt(2)
    return segment[near], *(SIDE * block[:, near]).astype(float)
