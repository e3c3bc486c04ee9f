"""How far strings swing across the line, where wires hang."""

import numpy as np

__all__ = ["lifted_ends", "string_swings"]


def lifted_ends(scene):
    """Return True for the strings that wires have lifted, (end, option, case, side): all starts, then all ends."""
    hung = scene.hung
    return np.concatenate([hung.lifted[..., 0], hung.lifted[..., 1]])


def string_swings(scene):
    """Return the swing of the string at every wire end across the line, positive to the right [deg], (end, option,
    case, side): all starts, then all ends; nan where the wire is held, and where the string is lifted."""
    wires, hung, plumb = scene.wires, scene.hung, scene.plumb
    result = []
    for arm, at, place, string in ((plumb.arm_start, plumb.start, hung.start, wires.string_start),
                                   (plumb.arm_end, plumb.end, hung.end, wires.string_end)):
        moved = place - at[:, None, None, None]
        right = moved[..., 0] * arm[:, 0, None, None, None] + moved[..., 1] * arm[:, 1, None, None, None]
        long = string[:, None, None, None]
        angle = np.degrees(np.arctan2(right, long - moved[..., 2]))
        result.append(np.where(long > 0, angle, np.nan))
    return np.where(lifted_ends(scene), np.nan, np.concatenate(result))
