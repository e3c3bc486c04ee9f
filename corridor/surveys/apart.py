"""Points of a span told apart by wire: which wire each is of, and near which catenary to begin.

Framings say where wires hang, but not how low: a wrong tension may be metres. So all points are taken back to the chord
by the sag and the swing of one guess after another, the same for all wires of a kind in the span, and the guess counts
by which most points then lie near where one of the chords is.
"""

from typing import NamedTuple

import numpy as np

from corridor.arrays import Array, Integers

__all__ = ["Chords", "Guess", "best_guess", "nearest_wire"]

#: How far from a guess a point counts for it [m], less the farther it is.
_NEAR = 1.0
#: Guesses: sags, each so many parts more than the one before; swings to either side [rad]; points that are asked.
_STEP, _SWINGS, _ASKED = 0.05, np.radians(np.arange(-20.0, 21.0, 4.0)), 240


class Chords(NamedTuple):
    """Chords of the wires of a span, ends (wire, 3) in its frame [m]: along, right, up."""

    start: Array
    end: Array

    def shares(self, place: Array) -> Array:
        """Return where along each chord points are [-], (wire, point)."""
        along = self.end[:, 0] - self.start[:, 0]
        return (place[:, 0] - self.start[:, :1]) / along[:, None]

    def away(self, place: Array) -> tuple[Array, Array]:
        """Return how far points are right of each chord and above it [m], twice (wire, point)."""
        t = self.shares(place)
        return tuple(place[:, k] - self.start[:, k:k + 1] - t * (self.end - self.start)[:, k:k + 1] for k in (1, 2))

    def drop(self, place: Array) -> Array:
        """Return the sag of a parabola of constant 1 at points [m²], (wire, point), by which a wire sags nearly."""
        t = self.shares(place)
        size = np.linalg.norm(self.end - self.start, axis=1) * (self.end[:, 0] - self.start[:, 0])
        return np.maximum(t * (1 - t), 0.0) * size[:, None] / 2


class Guess(NamedTuple):
    """A catenary `constant` [m], a `swing` [rad] and by how much ends are above where framings say, `raised` [m];
    `share` of the points that it explains."""

    constant: float
    swing: float
    raised: float
    share: float


def best_guess(chords: Chords, place: Array, low: float, high: float, raises: Array | tuple[float, ...] = (0.0,)
               ) -> Guess:
    """Return the guess that explains most points as points of some wires.

    Parameters
    ----------
    chords : Chords
    place : ndarray, shape (point, 3)
        In the frame of the span [m].
    low, high : float
        Bounds of the catenary constant [m].
    raises : array_like
        By how much ends may be higher than the chords [m].
    """
    some = place[np.linspace(0, len(place) - 1, min(len(place), _ASKED)).astype(int)]
    right, up = chords.away(some)
    drop = chords.drop(some)
    bend = np.exp(np.arange(np.log(1 / high), np.log(1 / low) + _STEP, _STEP))[:, None, None]
    best = Guess(high, 0.0, 0.0, -1.0)
    for raised in raises:
        for swing in _SWINGS:
            left = (right - np.sin(swing) * bend * drop)**2 + (up - raised + np.cos(swing) * bend * drop)**2
            score = np.maximum(1 - left.min(axis=1) / _NEAR**2, 0.0).mean(axis=1)
            k = int(score.argmax())
            if score[k] > best.share + 1e-9:
                best = Guess(float(1 / bend[k, 0, 0]), float(swing), float(raised), float(score[k]))
    return best


def nearest_wire(chords: Chords, place: Array, constant: Array, swing: Array, raised: Array,
                 within: float) -> Integers:
    """Return the wire to which each point is nearest, -1 where none is near; guesses of shape (wire,)."""
    right, up = chords.away(place)
    sag = chords.drop(place) / constant[:, None]
    away = np.hypot(right - np.sin(swing)[:, None] * sag, up - raised[:, None] + np.cos(swing)[:, None] * sag)
    away = np.where(np.isnan(away), np.inf, away)
    wire = away.argmin(axis=0)
    return np.where(away.min(axis=0, initial=np.inf) <= within, wire, -1)
