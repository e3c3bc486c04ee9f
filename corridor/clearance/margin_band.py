"""What is in doubt of how wires stretch does to margins: compression, history, and curves that are estimates."""

import numpy as np

from corridor.geometry.distance import heights

__all__ = ["margin_band"]

#: Relative change of tension below which the band does not touch a wire.
_SAME = 1e-7


def margin_band(scene, checked, required):
    """Return the least and the greatest margin as all goes through its band that is in doubt of how wires stretch [m].

    The compression of the slack outer part: there the wire keeps its length and its sets. Whether loads have come, and
    curves that are an estimate. The sag at both ends of the band and as it is gives three margins, at the place
    where the margin was found. Another place of the span may be worse by a little, since the place of the least margin
    moves with sag. The change of sag is that of the ruling span, whatever method hangs the wire.

    Parameters
    ----------
    scene : Scene
    checked : Checked
    required : ndarray, shape (row,)
        [m]

    Returns
    -------
    low, high : ndarray, shape (row,)
        nan for a horizontal measure, any wire in wind, and a tree that falls, where the band changes the
        tension: how far wind swings the wire is not worked out again.
    """
    strung, wires, w = scene.strung, scene.wires, checked.wire
    at = scene.group[w], checked.option, checked.case
    # What passes below something hangs at the taut end of its history.
    H = np.where(checked.position == "below", strung.taut_tension[at], strung.horizontal_tension[at])
    band = strung.tension_band[(slice(None), *at)]
    load = np.hypot(strung.weight[at], strung.wind[at])
    rise = wires.end[w, 2] - wires.start[w, 2]
    place = checked.fraction, wires.length[w], wires.start[w, 2], rise
    raised = heights(*place, band / load) - heights(*place, H / load)
    margins = _actual(checked, raised, scene.reach.around[w, checked.option, checked.case]) - required
    touched = (np.abs(band / H - 1) > _SAME).any(axis=0)
    fixed = (checked.measure == "horizontal") | (checked.position == "falling")
    fixed |= strung.wind[at] != 0
    margins = np.where(fixed, np.where(touched, np.nan, checked.actual - required), margins)
    whole = np.concatenate([margins, (checked.actual - required)[None]])
    return whole.min(axis=0), whole.max(axis=0)


def _actual(checked, raised, around):
    """Clearance of rows whose wire is raised by so much [m], shape (end of the band, row); in space less what bundles
    reach `around` their middle."""
    vertical = checked.actual + np.where(checked.position == "below", -raised, raised)
    above = np.nan_to_num(checked.elevation - checked.other)
    beside = np.sqrt(np.maximum((checked.actual + around)**2 - above**2, 0.0))
    radial = np.hypot(beside, np.maximum(above + raised, 0.0)) - around
    by_measure = np.where(checked.measure == "radial", radial, vertical)
    return np.where(checked.measure == "horizontal", checked.actual, by_measure)
