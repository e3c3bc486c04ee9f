"""Bundles: how far the subconductors of a phase reach from its middle, which is what is strung and hung.

The wires of a bundle hang alike, so each is the middle's wire moved by a fixed way: down from it, up, aside, or, where
the distance is one in space, in whatever direction. In wind a bundle turns with its strings and its wires. How far it
turns at each swing is not followed: in each case it counts as turned by any angle up to the greatest of its full wind.
"""

from typing import NamedTuple

import numpy as np

from corridor.arrays import Array, ArrayLike
from corridor.clearance.swings import string_swings
from corridor.electric.bundles import subconductor_places
from corridor.line.facts import Wiring

__all__ = ["ARRANGEMENTS", "ASSUMED_SPACING", "Reach", "assumed_of", "bundle_columns", "bundle_reach", "known_places",
           "places_in_bundle", "reach_of_rows", "reaches"]

#: Spacing of subconductors where none is given: the greatest that is usual (0.3 to 0.6 m, common practice, no source).
ASSUMED_SPACING = 0.6
#: Arrangements by name, and how many subconductors each is for; 0: any number.
ARRANGEMENTS = {"horizontal": 0, "vertical": 0, "triangle": 3, "square": 4}
_DOWN, _UP, _RIGHT, _LEFT = -90.0, 90.0, 0.0, 180.0


class Reach(NamedTuple):
    """How far subconductors reach from the middle of their bundle [m], 0 of a single wire; arrays of one shape: `down`,
    `up`, `aside` to either side, and `around`, in whatever direction."""

    down: Array
    up: Array
    aside: Array
    around: Array


def places_in_bundle(count: int, spacing: float, arrangement: str) -> Array:
    """Return where subconductors are about the middle of an upright bundle, right and up (place, 2) [m].

    A row (`horizontal`) and a column (`vertical`) have so many, each at the spacing from the next; a `square` four, its
    sides the spacing; a `triangle` three, with all the places of one that points down and one that points up.

    Examples
    --------
    >>> places_in_bundle(2, 0.4, "vertical").tolist()
    [[0.0, -0.2], [0.0, 0.2]]
    """
    places = subconductor_places(count, spacing, arrangement)
    return np.concatenate([places, places * [1, -1]]) if arrangement == "triangle" else places


def known_places(wiring: Wiring) -> Array | None:
    """Return where the subconductors of a wiring are about their middle, right and up (subconductor, 2) [m], None where
    their spacing is not given."""
    if wiring.bundle > 1 and wiring.spacing is None:
        return None
    return subconductor_places(wiring.bundle, wiring.spacing or 0.0, wiring.arrangement)


def bundle_reach(wiring: Wiring, turn: ArrayLike) -> Reach:
    """Return how far the subconductors of a wiring reach, turned by any angle up to `turn` [deg] to either side.

    Of a subconductor at a distance r from the middle, at an angle a from a direction, that is `r cos(max(a - turn, 0))`
    along it. A bundle of unknown arrangement is a ring of so many at the spacing, `s / (2 sin(180/n))`, turned anyhow.
    """
    turn = np.asarray(turn, float)
    if wiring.bundle == 1:
        return Reach(*np.zeros((4, *turn.shape)))
    spacing = ASSUMED_SPACING if wiring.spacing is None else wiring.spacing
    if wiring.arrangement is None:
        return Reach(*np.full((4, *turn.shape), spacing / (2 * np.sin(np.pi / wiring.bundle))))
    x, y = places_in_bundle(wiring.bundle, spacing, wiring.arrangement).T
    r, own = np.hypot(x, y), np.degrees(np.arctan2(y, x))

    def along(direction):
        away = np.abs((own - direction + 180) % 360 - 180)
        return (r * np.cos(np.radians(np.clip(away - turn[..., None], 0, 180)))).max(axis=-1)

    return Reach(along(_DOWN), along(_UP), np.maximum(along(_RIGHT), along(_LEFT)), np.full(turn.shape, r.max()))


def assumed_of(wiring: Wiring) -> list[str]:
    """Return in words what is assumed of a bundle, empty where it is given."""
    lacking = [f"{key} ({text})" for key, value, text in (
        ("bundle_spacing", wiring.spacing, f"taken as {ASSUMED_SPACING:g} m"),
        ("bundle_arrangement", wiring.arrangement, "taken as a ring that is turned anyhow")) if value is None]
    if wiring.bundle == 1 or not lacking:
        return []
    wide = float(bundle_reach(wiring, 180.0).around)
    return [f"a bundle of {wiring.bundle} without {' and '.join(lacking)}: clearances count a subconductor up to "
            f"{wide:.2f} m from its middle"]


def bundle_columns(wirings):
    """Return the columns of `options` that tell of bundles."""
    spacing = [np.nan if w.bundle == 1 else ASSUMED_SPACING if w.spacing is None else w.spacing for w in wirings]
    return {"bundle": [w.bundle for w in wirings], "bundle_spacing_m": spacing,
            "bundle_arrangement": [w.arrangement for w in wirings]}


def reaches(scene) -> Reach:
    """Return how far subconductors reach from where the wires of a scene hang, (wire span, option, case) [m]."""
    shape, phase = scene.hung.horizontal_tension.shape[:3], scene.wires.kind == "phase"
    whole = Reach(*np.zeros((4, *shape)))
    several = [o for o, option in enumerate(scene.options) if option.wiring.bundle > 1]
    if not several or not phase.any():
        return whole
    turn = _turns(scene)
    for o in several:
        for part, found in zip(whole, bundle_reach(scene.options[o].wiring, turn[phase, o]), strict=True):
            part[phase, o] = found
    return whole


def _turns(scene):
    """Maximum angle by which bundles turn, (wire span, option, case) [deg]: that of the strings at both ends, or of
    the wire's plane; anyhow where a string is slack or the strings of a ruling span tell nothing."""
    hung, count = scene.hung, len(scene.wires)
    plane = np.degrees(np.arctan2(np.abs(hung.wind), hung.weight))
    strings = np.abs(np.nan_to_num(string_swings(scene)))
    turn = np.maximum(plane, np.maximum(strings[:count], strings[count:])).max(axis=-1)
    loose = (hung.lifted | scene.tensed.lifted).any(axis=(-1, -2)) | ~scene.exact[:, None, None]
    return np.where(loose, 180.0, turn)


def reach_of_rows(scene, checked):
    """Return how far the bundle of each compared row reaches in its measure [m]; nan at a rounded corner, where it
    counts downwards and aside."""
    reach, at = scene.reach, (checked.wire, checked.option, checked.case)
    vertical = np.where(checked.position == "below", reach.up[at], reach.down[at])
    flat = np.where(checked.measure == "horizontal", reach.aside[at], vertical)
    found = np.where(checked.measure == "radial", reach.around[at], flat)
    return np.where((checked.position == "corner") & (found > 0), np.nan, found)
