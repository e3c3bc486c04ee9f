"""Whether both arms of V-strings pull: the load at the wire has to point between them.

Each arm pulls and never pushes. Where the load is farther from the vertical across the line than the arms are, the arm
on the side that it points to goes slack, the wire swings aside about the other, and where it hangs is not known.
"""

import numpy as np

from corridor.arrays import names_of
from corridor.clearance.end_loads import Ends, end_loads
from corridor.clearance.swings import at_either_end, lifted_ends

__all__ = ["NOT_GIVEN", "SLACK", "TAUT", "arm_columns", "arm_gaps", "half_angles", "slack_wires"]

#: What the arms of a V do under a load.
TAUT, SLACK, NOT_GIVEN = "taut", "slack", "not given"
#: No V is so narrow that a load as near to the vertical as this would leave an arm slack [deg]: common practice, no
#: source.
_UPRIGHT = 1.0


def half_angles(wires):
    """Return the angle of the arms of V-strings from the vertical at every wire end (end,) [deg], all starts, then all
    ends: nan where it is not known, 0 of other strings."""
    return np.concatenate([wires.vee_start, wires.vee_end])


def arm_columns(scene, ends, loads):
    """Return what the arms of V-strings do, as columns of shape (row, option, case).

    Parameters
    ----------
    scene : Scene
    ends : Ends
    loads : ndarray, shape (end, option, case, state, 3)
        Of all wire ends [N], as of `end_loads`, at both ends of their histories.

    Returns
    -------
    dict of ndarray
        Maximum angle of the load from the vertical, in the plane of the arms [deg], over wind from either side, both
        ends of histories and both spans that are looked at; and what the arms do, None where there is no V.
    """
    vee = np.zeros(len(ends.structure))
    vee[ends.of_end] = half_angles(scene.wires)
    # Of strings the half counts that is at the wire.
    down, right, ahead = np.moveaxis(ends.summed(loads, 0.5, 0.5), -1, 0)
    # The V has swung along the line into the plane of its load.
    within = np.copysign(np.hypot(down, ahead), down)
    angle = np.degrees(np.arctan2(np.abs(right), within)).max(axis=-1)
    angle[vee == 0] = np.nan
    lifted = ends.of_any(at_either_end(scene, lifted_ends)).any(axis=-1)
    half = vee[:, None, None]
    words = np.select([np.isnan(angle), angle >= half, angle < half], [None, SLACK, TAUT], NOT_GIVEN).astype(object)
    words[lifted & (half != 0)] = SLACK
    return {"vee_load_deg": np.where(lifted, np.nan, angle), "vee_arms": words}


def slack_wires(scene):
    """Return True for wires at one end of which an arm of a V-string is slack, but not lifted, (wire span, option,
    case)."""
    count, slack = len(scene.wires), np.zeros((len(scene.wires), len(scene.options), len(scene.cases)), bool)
    if np.any(half_angles(scene.wires)):
        ends, columns = _arms(scene)
        found = _is_slack(columns)[ends.of_end]
        slack = found[:count] | found[count:]
    return slack


def arm_gaps(scene):
    """Return what is not assessed since V-strings may not pull with both arms, in cases that ask for clearances: (span
    index, wire, option, case, reason), by wire and case where an arm is slack; with no span, wire and case, by section
    and option, where their angle is not given."""
    if not np.any(half_angles(scene.wires)):
        return []
    ends, columns = _arms(scene)
    asked = np.array([bool({"vertical", "horizontal"} & {*case.checks}) for case in scene.cases])
    return [*_slack(scene, ends, columns, asked), *_not_given(scene, ends, columns, asked)]


def _arms(scene):
    """Ends of wires put together, and what the arms of V-strings do there."""
    ends, loads = Ends(scene), np.concatenate([end_loads(each)[0] for each in scene.both_ends], axis=3)
    return ends, arm_columns(scene, ends, loads)


def _is_slack(columns):
    """Whether an arm is slack at rows, (row, option, case); a lifted V is told otherwise."""
    return (columns["vee_arms"] == SLACK) & np.isfinite(columns["vee_load_deg"])


def _slack(scene, ends, columns, asked):
    """Those of wires in spans beside a V one of whose arms is slack."""
    wires, options, cases = scene.wires, names_of(scene.options), names_of(scene.cases)
    half, angle = half_angles(wires), columns["vee_load_deg"]
    for end, o, k in np.argwhere((_is_slack(columns) & asked)[ends.of_end]):
        row, w = ends.of_end[end], end % len(wires)
        yield (wires.span[w], wires.wire[w], options[o], cases[k],
               f"an arm of the V-string at structure {scene.structures.structure[ends.structure[row]]} is slack: the "
               f"load is {angle[row, o, k]:.1f} deg from the vertical across the line, the arms are {half[end]:g} deg "
               "from it; where the wire hangs is not known, margins are those of taut arms")


def _not_given(scene, ends, columns, asked):
    """Those of sections with V-strings whose arms have no angle, under loads that are not upright."""
    open_ended = (columns["vee_arms"] == NOT_GIVEN) & ~(columns["vee_load_deg"] <= _UPRIGHT) & asked
    for section in np.unique(ends.section[open_ended.any(axis=(1, 2))]):
        own = ends.section == section
        for o in np.flatnonzero(open_ended[own].any(axis=(0, 2))):
            worst = np.where(open_ended[own, o], columns["vee_load_deg"][own, o], -np.inf).max()
            yield (-1, None, scene.options[o].name, None,
                   f"line {scene.sections.line[section]}, section {scene.sections.name[section]}: both arms of its "
                   "V-strings are taken as taut, for their framing gives no vee_angle, under a load up to "
                   f"{worst:.1f} deg from the vertical (vee_arms of structure_loads)")
