"""How far strings swing across the line, where wires hang."""

import numpy as np

__all__ = ["at_either_end", "lifted_ends", "string_places", "string_swings"]


def at_either_end(scene, values):
    """Return what a function of a scene gives of wires (..., side) or (..., side, 3): the sides at one end of their
    history, then those at the other where it is another."""
    return np.concatenate([values(each) for each in scene.both_ends], axis=3)


def lifted_ends(scene):
    """Return True for the strings that wires have lifted, (end, option, case, side): all starts, then all ends."""
    lifted = scene.hung.lifted | scene.tensed.lifted
    return np.concatenate([lifted[..., 0], lifted[..., 1]])


def string_places(scene):
    """Return how far every wire end is to the right of the point where its string hangs, along the crossarm, and how
    far below it [m]; (end, option, case, side) each: all starts, then all ends; nan where the string is
    lifted."""
    wires, hung, plumb = scene.wires, scene.hung, scene.plumb
    beside, below = [], []
    for arm, at, place, string in ((plumb.arm_start, plumb.start, hung.start, wires.string_start),
                                   (plumb.arm_end, plumb.end, hung.end, wires.string_end)):
        moved = place - at[:, None, None, None]
        beside.append(moved[..., 0] * arm[:, 0, None, None, None] + moved[..., 1] * arm[:, 1, None, None, None])
        below.append(string[:, None, None, None] - moved[..., 2])
    lifted = lifted_ends(scene)
    return np.where(lifted, np.nan, np.concatenate(beside)), np.where(lifted, np.nan, np.concatenate(below))


def string_swings(scene):
    """Return the swing of the string at every wire end across the line, positive to the right [deg], (end, option,
    case, side): all starts, then all ends; nan where the wire is held across the line, and where the string is
    lifted."""
    wires = scene.wires
    long = np.concatenate([wires.string_start * (wires.vee_start == 0), wires.string_end * (wires.vee_end == 0)])
    return np.where(long[:, None, None, None] > 0, np.degrees(np.arctan2(*string_places(scene))), np.nan)
