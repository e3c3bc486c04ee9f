"""What is in doubt of how wires stretch does to margins: compression, history, and curves that are estimates."""

from dataclasses import dataclass

import numpy as np

from corridor.geometry.catenary import plane_of, points
from corridor.line.elongation_laws import take_law
from corridor.line.hang import pressure_share
from corridor.mechanics import ruling_span as ruling

__all__ = ["Places", "margin_band", "places_of"]

#: Shares of the swing at which it is looked which one brings a wire to the place of its margin.
_SWINGS = np.linspace(-1, 1, 65)


def margin_band(scene, checked, required):
    """Return the least and the maximum margin as all goes through its band that is in doubt of how wires stretch [m].

    The compression of the slack outer part: there the wire keeps its length and its sets. Whether loads have come, and
    curves that are an estimate. The sag at both ends of the band and as it is gives three margins, at the place and
    the swing where the margin was found, beside what is there. Another place or swing of the span may be worse by a
    little, since that of the minimum margin moves with sag. The change of sag is that of the ruling span, whatever
    method hangs the wire; it moves the wire in the plane of its load.

    Parameters
    ----------
    scene : Scene
    checked : Checked
    required : ndarray, shape (row,)
        [m]

    Returns
    -------
    low, high : ndarray, shape (row,)
        What wind moves aside moves toward the thing for the one and away from it for the other, in space and of a tree
        that falls as well: it is not looked on which side of the wire that is.
    """
    strung, places = scene.strung, places_of(scene, checked)
    at = places.at
    H = np.where(checked.taut, strung.taut_tension[at], strung.horizontal_tension[at])
    band = strung.tension_band[(slice(None), *at)].copy()
    swung = np.flatnonzero(places.swung)
    if len(swung):
        H[swung], band[:, swung] = _tensions(scene, tuple(v[swung] for v in at), places.wind[swung],
                                             checked.taut[swung])
    here, *others = (places.point(T) for T in (H, *band))
    margins = [places.actual(other - here, sign) - required for other in others for sign in (-1, 1)]
    whole = np.stack([*margins, checked.actual - required])
    return whole.min(axis=0), whole.max(axis=0)


@dataclass(frozen=True)
class Places:
    """Rows where their margins were found, and how these change as their wires hang otherwise.

    `at` group, option and case of each; whether it is `swung`, and the `wind` on the wire as it passes the place [N/m];
    `weight` [N/m]; `start`, `end` of the wire in the frame of its span; `around` how far bundles reach about their
    middle [m].
    """

    checked: object
    at: tuple
    swung: np.ndarray
    wind: np.ndarray
    weight: np.ndarray
    start: np.ndarray
    end: np.ndarray
    around: np.ndarray

    def point(self, tension, weight=None):
        """Return where wires of a horizontal tension (..., row) [N] are, (..., row, 3) [m]; of another weight [N/m]."""
        weight = self.weight if weight is None else weight
        load = np.stack([np.zeros(weight.shape), np.broadcast_to(self.wind, weight.shape), -weight], axis=-1)
        plane = plane_of(self.start, self.end, load)
        return points(self.start, plane, tension / plane.load, self.checked.fraction[:, None])[..., 0, :]

    def actual(self, moved, sign):
        """Return the clearance of rows whose wire is moved (..., row, 3) [m] in the frame of its span; what wind blows
        farther out goes toward the thing (`sign` -1) or away from it (1). In space it is less what bundles reach around
        their middle."""
        checked, out = self.checked, np.sign(self.wind)
        aside, raised = moved[..., 1] * out * sign, moved[..., 2]
        far = np.linalg.norm(moved, axis=-1)
        outward = np.where(np.where(out == 0, -raised, moved[..., 1] * out) < 0, -1.0, 1.0)
        below = checked.position == "below"
        over = np.nan_to_num(checked.elevation - checked.other)
        beside = np.sqrt(np.maximum((checked.actual + self.around)**2 - over**2, 0.0))
        # What stands goes down to the ground: a wire that sinks below its top is no nearer for that.
        apart = np.where(below, np.abs(over + raised), np.maximum(over + raised, 0.0))
        radial = np.hypot(np.maximum(beside + aside, 0.0), apart) - self.around
        radial = np.clip(radial, checked.actual - far, checked.actual + far)
        radial = np.where(checked.position == "falling", checked.actual + sign * outward * far, radial)
        vertical = checked.actual + np.where(below, -raised, raised)
        flat = np.where(checked.measure == "horizontal", checked.actual + aside, vertical)
        return np.where(checked.measure == "radial", radial, flat)


def places_of(scene, checked):
    """Return the `Places` of compared rows."""
    strung, w = scene.strung, checked.wire
    at = scene.group[w], checked.option, checked.case
    swung, wind = strung.wind[at] != 0, np.zeros(len(w))
    if swung.any():
        wind[swung] = strung.wind[at][swung] * pressure_share(_swings(scene, checked, np.flatnonzero(swung)))
    return Places(checked, at, swung, wind, strung.weight[at], scene.frame.start[w], scene.frame.end[w],
                  scene.reach.around[w, checked.option, checked.case])


def _swings(scene, checked, rows):
    """The signed share of the swing that brings wires of rows nearest to the place of their margin [-]."""
    way = scene.way(checked.wire[rows], checked.option[rows], checked.case[rows])
    place = scene.ways.places(way, np.tile(_SWINGS, (len(rows), 1)), checked.fraction[rows, None])[:, :, 0]
    away = np.hypot(place[..., 1] - checked.offset[rows, None], place[..., 2] - checked.elevation[rows, None])
    return _SWINGS[np.where(np.isnan(away), np.inf, away).argmin(axis=1)]


def _tensions(scene, at, wind, taut):
    """Horizontal tension [N] of rows in part of their wind [N/m], and the greatest and the least that it may be."""
    strung = scene.strung
    state = scene.groups.span[at[0]], np.hypot(strung.weight[at], wind), strung.temperature[at]
    ends = [_tension(strung.excess[at[:2]], law, at, state) for law in (strung.part, strung.taut)]
    H = np.where(taut, np.fmax(*ends), np.fmin(*ends))
    every = [H, *(_tension(excess[at], law, at, state) for excess, law in strung.in_doubt)]
    return H, np.stack([np.max(every, axis=0), np.min(every, axis=0)])


def _tension(excess, law, at, state):
    return ruling.tension(excess, *state, take_law(law, at)).horizontal_tension
