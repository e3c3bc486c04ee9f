"""Wires in less wind than a case has: where they hang on the way from still to full swing."""

from dataclasses import dataclass

import numpy as np

from corridor.geometry.catenary import plane_of, points
from corridor.line.hang import case_states, hang

__all__ = ["PARTLY", "Swung", "hang_rows", "hung_curves"]

#: Why a wire that hangs in the full wind is not assessed.
PARTLY = "no equilibrium of the section found in part of the wind"


@dataclass(frozen=True)
class Swung:
    """Wires in wind. Leading axes (wire span, option, case, side); side 0 blows to the right, 1 to the left.

    `points` (..., place, 3) in the span's frame [m]; `share` (place,).
    """

    points: np.ndarray
    share: np.ndarray


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
    hung = hang(scene.model, case_states(scene.model, scene.row[wire], option, case, swing, T))
    return hung if scene.centre is None else hung.raised(-scene.reach.down[wire, option, case])
