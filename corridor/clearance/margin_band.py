"""What is in doubt of how wires stretch does to margins: compression, history, and curves that are estimates."""

import numpy as np

from corridor.geometry.catenary import plane_of, points
from corridor.line.elongation_laws import take_law
from corridor.line.hang import pressure_share
from corridor.mechanics import ruling_span as ruling

__all__ = ["margin_band"]

#: Shares of the swing at which it is looked which one brings a wire to the place of its margin.
_SWINGS = np.linspace(-1, 1, 65)


def margin_band(scene, checked, required):
    """Return the least and the greatest margin as all goes through its band that is in doubt of how wires stretch [m].

    The compression of the slack outer part: there the wire keeps its length and its sets. Whether loads have come, and
    curves that are an estimate. The sag at both ends of the band and as it is gives three margins, at the place and
    the swing where the margin was found, beside what is there. Another place or swing of the span may be worse by a
    little, since that of the least margin moves with sag. The change of sag is that of the ruling span, whatever method
    hangs the wire; it moves the wire in the plane of its load.

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
    strung, w = scene.strung, checked.wire
    at = scene.group[w], checked.option, checked.case
    H = np.where(checked.taut, strung.taut_tension[at], strung.horizontal_tension[at])
    band, wind = strung.tension_band[(slice(None), *at)].copy(), np.zeros(len(w))
    swung = np.flatnonzero(strung.wind[at] != 0)
    if len(swung):
        wind[swung] = strung.wind[at][swung] * pressure_share(_swings(scene, checked, swung))
        H[swung], band[:, swung] = _tensions(scene, tuple(v[swung] for v in at), wind[swung], checked.taut[swung])
    load = np.stack([np.zeros(len(w)), wind, -strung.weight[at]], axis=-1)
    start = scene.frame.start[w]
    plane = plane_of(start, scene.frame.end[w], load)
    here, *others = (points(start, plane, T / plane.load, checked.fraction[:, None])[:, 0] for T in (H, *band))
    around = scene.reach.around[w, checked.option, checked.case]
    margins = [_actual(checked, other - here, sign, around) - required for other in others for sign in (-1, 1)]
    whole = np.stack([*margins, checked.actual - required])
    return whole.min(axis=0), whole.max(axis=0)


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


def _actual(checked, moved, sign, around):
    """Clearance of rows whose wire is moved (row, 3) [m] in the frame of its span; aside toward the thing (-1) or away
    from it (1). In space it is less what bundles reach `around` their middle."""
    aside, raised, far = np.abs(moved[:, 1]) * sign, moved[:, 2], np.linalg.norm(moved, axis=-1)
    below = checked.position == "below"
    over = np.nan_to_num(checked.elevation - checked.other)
    beside = np.sqrt(np.maximum((checked.actual + around)**2 - over**2, 0.0))
    # What stands goes down to the ground: a wire that sinks below its top is no nearer for that.
    apart = np.where(below, np.abs(over + raised), np.maximum(over + raised, 0.0))
    radial = np.hypot(np.maximum(beside + aside, 0.0), apart) - around
    radial = np.clip(radial, checked.actual - far, checked.actual + far)
    radial = np.where(checked.position == "falling", checked.actual + sign * far, radial)
    vertical = checked.actual + np.where(below, -raised, raised)
    flat = np.where(checked.measure == "horizontal", checked.actual + aside, vertical)
    return np.where(checked.measure == "radial", radial, flat)
