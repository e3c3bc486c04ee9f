"""Reels of a pull, and where the joints between them fall."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from corridor.arrays import Array, ArrayLike, Booleans

__all__ = ["Joint", "joints_of"]


@dataclass(frozen=True)
class Joint:
    """A joint: its `span` (index), `along` the wire from the start of the span, `wire` on the reel before it [m]."""

    span: int
    along: float
    wire: float


def joints_of(lengths: ArrayLike, allowed: Booleans | Sequence[bool], reel: float, *, distance: float = 0.0
              ) -> list[Joint] | None:
    """Return the joints of a wire, the first reel as long as it may be, and so on.

    Parameters
    ----------
    lengths : array_like, shape (span,)
        Of the wire in each span, in the order in which it comes off its reels [m].
    allowed : array_like of bool, shape (span,)
        Spans in which a joint may hang.
    reel : float
        Length of wire on a reel that may hang, without waste [m].
    distance : float
        Minimum distance of a joint from a structure, along the wire [m].

    Returns
    -------
    list of Joint, or None
        None where a reel ends before any place where a joint is allowed.

    Examples
    --------
    >>> [(joint.span, joint.along) for joint in joints_of([400.0, 500, 300, 400], [True, False, True, True], 1000.0)]
    [(2, 100.0)]
    >>> joints_of([400.0, 500, 300, 400], [True, False, False, False], 300.0) is None
    True
    """
    L = np.asarray(lengths, float)
    ends = np.r_[0.0, np.cumsum(L)]
    low, high = ends[:-1] + distance, ends[1:] - distance
    able = np.asarray(allowed, bool) & (low <= high)
    joints, begin = [], 0.0
    # A hair of rounding makes no joint.
    while ends[-1] - begin > reel * (1 + 1e-12):
        found = _last(low, high, able, begin, begin + reel)
        if found is None:
            return None
        span, place = found
        joints.append(Joint(span, float(place - ends[span]), float(place - begin)))
        begin = place
    return joints


def _last(low: Array, high: Array, able: Booleans, begin: float, most: float) -> tuple[int, float] | None:
    """The last place up to `most`, beyond `begin`, at which a joint may be, and its span."""
    place = np.minimum(high, most)
    fits = np.flatnonzero(able & (low <= most) & (place > begin))
    return None if not len(fits) else (int(fits[-1]), float(place[fits[-1]]))
