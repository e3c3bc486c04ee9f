"""Galloping: the ellipses within which iced wires dance in wind, and the room between those of two wires.

A wire with a light coat of ice may gallop in steady wind, up and down in one loop or two in a span. The rural design
bulletin of the United States draws for each wire an ellipse, and the ellipses of two wires shall not touch.
"""

from itertools import product
from typing import NamedTuple

import numpy as np

from corridor.clearance.checked import Checked
from corridor.constants import GRAVITY
from corridor.geometry.catenary import greatest_sag
from corridor.line.facts import Case
from corridor.mechanics.loads import wind_force

__all__ = ["GALLOPING", "LOOPS", "Ellipse", "between_ellipses", "compare_ellipses", "ellipse_size", "galloping_cases",
           "histories_of", "pairs_checked", "worst_of_states"]

GALLOPING = "galloping"
#: Loops in a span by the words of the study.
LOOPS = {"single": (1,), "double": (2,), "both": (1, 2)}
_FOOT = 0.3048
#: Half an inch of ice at 32 °F, final; the wind whose swing tilts the ellipse, 2 psf [Pa].
_ICE, _WIND = 0.0127, 2 * 47.88025898
_NAMES = {1: "galloping, one loop", 2: "galloping, two loops"}
_DIRECTIONS = 360


class Ellipse(NamedTuple):
    """Ellipses in the plane across the line: `centre` (..., 2) offset and elevation [m], `major`, `minor` whole axes
    [m], `tilt` of the major axis from the vertical [rad], positive where its foot is out to the right."""

    centre: np.ndarray
    major: np.ndarray
    minor: np.ndarray
    tilt: np.ndarray


def ellipse_size(span, sag, loops):
    """Return the size of the ellipse of a galloping wire.

    Parameters
    ----------
    span : array_like
        L [m].
    sag : array_like
        Final sag S_f with half an inch of ice at 32 °F, no wind [m].
    loops : int
        1 or 2.

    Returns
    -------
    major, below, minor : ndarray
        Major axis M; B, how far the ellipse reaches below the wire at rest; minor axis D [m]. In feet:
        one loop `M = 1.25 S_f + 1`, `B = 0.25 S_f`, `D = 0.4 M`;
        two loops `a = sqrt((L/2)^2 + S_f^2)`, `M = 1 + sqrt(3 a (L + 8 S_f^2/(3 L) - 2 a)/8)`, `B = 0.2 M`,
        `D = 2 sqrt(M - 1)`.

    References
    ----------
    USDA Rural Utilities Service, bulletin 1724E-200, chapter on galloping (recalled, high).

    Examples
    --------
    >>> [round(float(v) / 0.3048, 2) for v in ellipse_size(900 * 0.3048, 25 * 0.3048, 1)]
    [32.25, 6.25, 12.9]
    """
    L, S_f = np.asarray(span, float) / _FOOT, np.asarray(sag, float) / _FOOT
    if loops == 1:
        M = 1.25 * S_f + 1
        B, D = 0.25 * S_f, 0.4 * M
    else:
        a = np.hypot(L / 2, S_f)
        M = 1 + np.sqrt(3 * a * (L + 8 * S_f**2 / (3 * L) - 2 * a) / 8)
        B, D = 0.2 * M, 2 * np.sqrt(M - 1)
    return M * _FOOT, B * _FOOT, D * _FOOT


def between_ellipses(a, b):
    """Return the minimum distance between ellipses [m], negative by how deep they overlap.

    The greatest gap `u (c_b - c_a) - h_a(u) - h_b(u)` over all directions u, h half the width of an ellipse along u.

    Parameters
    ----------
    a, b : Ellipse
        Of one shape (...).

    Returns
    -------
    ndarray
        Of that shape; over 360 directions and a second look about the best, within a few micrometres.
    """
    apart = (b.centre - a.centre)[..., None, :]

    def gap(angle):
        u = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
        return (u * apart).sum(-1) - _half_width(a, angle) - _half_width(b, angle)

    step = 2 * np.pi / _DIRECTIONS
    best = np.broadcast_to(np.arange(_DIRECTIONS) * step, (*a.major.shape, _DIRECTIONS))
    for _ in range(4):
        value = gap(best)
        at = np.where(np.isnan(value), -np.inf, value).argmax(axis=-1)[..., None]
        found = np.take_along_axis(value, at, -1)[..., 0]
        best = np.take_along_axis(best, at, -1) + np.linspace(-step, step, 21)
        step /= 10
    return found


def _half_width(ellipse, angle):
    """Half the width of an ellipse along directions (..., n), angles from the horizontal to the right [rad]."""
    along = np.cos(angle - (ellipse.tilt[..., None] - np.pi / 2))
    across = np.sin(angle - (ellipse.tilt[..., None] - np.pi / 2))
    return np.hypot(ellipse.major[..., None] / 2 * along, ellipse.minor[..., None] / 2 * across)


def galloping_cases(wanted, cases):
    """Return the cases of a study with that of galloping behind them, and the loops, once for each number of loops."""
    return [((*cases, Case(_NAMES[loops], 0.0, "final", _ICE)), loops) for loops in LOOPS.get(wanted, ())]


def compare_ellipses(scene, pairs, case, loops, thing, reach=0.0):
    """Compare the ellipses of pairs of wires at mid-span.

    The ellipse hangs from the middle of the chord, tilted by the swing of the iced wire, and ends B beyond the wire at
    rest, after whichever history is worst. Both wires of a pair gallop with the wind to the same side, either of both.

    Parameters
    ----------
    scene : Scene
    pairs : Pairs
    case : int
        The case of galloping in the scene.
    loops : int
    thing : ndarray of int, shape (pair,)
        Index that stands for each pair as an obstacle.
    reach : array_like, shape (pair, option)
        How far the bundles of both reach about their middles [m].

    Returns
    -------
    checked : Checked
    told : ndarray of str, shape (row,)
    """
    found = []
    for side, (own, other, apart) in product((1, -1), histories_of(scene, pairs)):
        two = [_ellipses(scene, wire, case, loops, side, history) for wire, history in (
            (pairs.first, own), (pairs.second, other))]
        gap = np.where(apart[:, None], np.inf, between_ellipses(*two))
        taut = scene.after(own, pairs.first, case)[3]
        found.append((gap, np.full(gap.shape, 0.5), *(each.centre for each in two), taut))
    (gap, *more), _ = worst_of_states(found)
    checked = pairs_checked(pairs, thing, case, GALLOPING, gap - reach, *more)
    return checked, np.full(len(checked.wire), "galloping likewise", object)


def worst_of_states(found):
    """Return tuples of arrays, one for each state, the first a distance (pair, option), as one of the state in which
    that is least; and which this is. What is unknown in one state is not known to be clear."""
    distance = np.stack([each[0] for each in found])
    worst = np.where(np.isnan(distance), -np.inf, distance).argmin(axis=0)
    return [np.take_along_axis(v, worst.reshape(1, *worst.shape, *[1] * (v.ndim - 3)), 0)[0]
            for v in map(np.stack, zip(*found, strict=True))], worst


def pairs_checked(pairs, thing, case, position, distance, share, mine, theirs, taut):
    """Return the Checked of pairs in all options in one case, (pair, option): distance [m], share of the first span,
    places of both wires (..., 3), or across the line alone, and whether the first is at its taut end."""
    pair, option = (v.ravel() for v in np.indices(distance.shape))
    return Checked(pairs.first[pair], option, np.full(len(pair), case), thing[pair],
                   np.full(len(pair), "radial", object), np.full(distance.shape, position, object).ravel(),
                   distance.ravel(), share.ravel(), mine[..., -1].ravel(), theirs[..., -1].ravel(),
                   mine[..., -2].ravel(), taut.ravel())


def histories_of(scene, pairs):
    """Return the histories that both wires of pairs may have been through, as `Scene.after` takes them, and (pair,) of
    which pairs not: phases of an option have been through the same, a shield wire has its own."""
    same = np.zeros(len(pairs.first), bool)
    if scene.taut is None:
        return [(0, 0, same)]
    alike = scene.wires.kind[pairs.first] == scene.wires.kind[pairs.second]
    return [(0, 0, same), (1, 1, same)] + ([] if alike.all() else [(0, 1, alike), (1, 0, alike)])


def _ellipses(scene, wire, case, loops, side, history):
    """Ellipses of wires in all options, (wire, option), with the wind to one side: 1 right, -1 left."""
    strung = scene.strung
    start, end, constant, _ = scene.after(history, wire, case)
    S = np.hypot(*np.moveaxis(end - start, -1, 0)[:2])
    sag = greatest_sag(S, (end - start)[..., 2], constant)
    ice = scene.cases[case]
    group = scene.group[wire]
    sleeve = strung.weight[group, :, case] - strung.bare_weight[group]
    diameter = sleeve / (np.pi * ice.ice_density * GRAVITY * ice.ice) - ice.ice
    tilt = side * np.arctan2(wind_force(diameter, ice.ice, _WIND), strung.weight[group, :, case])
    major, below, minor = ellipse_size(S, sag, loops)
    reach = (sag + below - major / 2)[..., None] * np.stack([np.sin(tilt), -np.cos(tilt)], axis=-1)
    return Ellipse((start + end)[..., 1:] / 2 + reach, major, minor, tilt)
