"""Wires in less wind than a case has: where they hang on the way from still to full swing."""

from dataclasses import dataclass, replace

import numpy as np

from corridor.geometry.catenary import plane_of, points
from corridor.line.hang import SIDES, case_states, hang

__all__ = ["PARTLY", "Swung", "hang_at_share", "hang_rows", "hung_curves", "swing_curves"]

#: Why a wire that hangs in the full wind is not assessed.
PARTLY = "no equilibrium of the section found in part of the wind"


@dataclass(frozen=True)
class Swung:
    """Wires in wind. Leading axes (wire span, option, case, side); side 0 blows to the right, 1 to the left.

    `points` (..., place, 3) in the span's frame [m]; `share` (place,).
    """

    points: np.ndarray
    share: np.ndarray


def hang_at_share(scene, cases, swing):
    """Return the wires of some windy cases at a share of their swing, blown to either side.

    Parameters
    ----------
    scene : Scene
    cases : ndarray of int
        Cases with wind.
    swing : float
        0 to 1.

    Returns
    -------
    Hung
        (wire span, option, case, side); its case axis stands for `cases`.
    """
    shape = len(scene.wires), len(scene.options), len(cases), len(SIDES)
    w, o, k, side = (v.ravel() for v in np.indices(shape))
    return hang_rows(scene, w, o, cases[k], swing * SIDES[side]).reshaped(*shape)


def hung_curves(hung, cases, *, places=33):
    """Return wires where they hang in some cases, as curves.

    Parameters
    ----------
    hung : Hung
    cases : ndarray of int
    places : int
        Points per wire, odd so that one lies at mid-span.

    Returns
    -------
    Swung
        Axes (wire span, option, case, side).
    """
    share, some = np.linspace(0, 1, places), hung[:, :, cases]
    plane = plane_of(some.start, some.end, some.vectors)
    return Swung(points(some.start, plane, some.constant, share), share)


def swing_curves(scene, cases, steps=8):
    """Return wires from still air to full swing, as curves.

    Parameters
    ----------
    scene : Scene
    cases : ndarray of int
        Cases without wind hang the same all the way.
    steps : int
        Even steps of the swing.

    Returns
    -------
    curves : Swung
        Two sides for still air, two for each step, and last those of the full swing.
    unsolved : ndarray of bool, shape (wire span, option, case)
        Wires that hang in the full wind, and in part of it find no equilibrium.
    """
    full = hung_curves(scene.hung, cases)
    windy = np.array([scene.cases[k].wind > 0 for k in cases])
    way = []
    for step in range(steps if windy.any() else 0):
        partly = full.points.copy()
        hung = hang_at_share(scene, cases[windy], step / steps)
        partly[:, :, windy] = hung_curves(hung, np.arange(windy.sum())).points
        way.append(partly)
    points = np.concatenate([*way, full.points], axis=3)
    known = np.isfinite(points).all(axis=(-1, -2))
    return replace(full, points=points), known[..., -2:].all(axis=-1) & ~known.all(axis=-1)


def hang_rows(scene, wire, option, case, swing):
    """Return wires each at a swing of its own, at the temperature and with the ice of its case.

    Parameters
    ----------
    scene : Scene
    wire, option, case : ndarray of int, shape (row,)
    swing : ndarray, shape (row,)
        Signed, positive to the right.

    Returns
    -------
    Hung
        (row,)
    """
    T = scene.temperature[wire, option, case]
    return hang(scene.model, case_states(scene.model, scene.row[wire], option, case, swing, T))
