"""Doubts about the surface of what stands on the ground: its datum and unit, and cells left out as of our own line."""

import numpy as np

from corridor.inspection.doubt import COMMON, SERIOUS, Doubt, Kind, gathered
from corridor.study.terrain import SURFACE

__all__ = ["KINDS", "OnGround", "level", "own_cells", "unit"]

#: Where the surface is nearer to the ground than this nothing stands [m], and how far these places may be off it.
_OPEN, _OFF = 3.0, 0.5
#: Lower than the ground by more than this it contradicts it [m], at how many of the places, and how many must be open.
_BELOW, _MANY, _FEW = 1.0, 0.02, 0.01
#: Fewer places tell nothing; most along a span.
_LEAST, _MOST = 30, 500

SURFACE_LEVEL = Kind(
    "surface-level", SERIOUS, "surface and ground do not agree where nothing stands",
    "another datum of heights, feet read as metres, heights above the ground in the place of elevations, rasters of "
    "other years: what stands then is too low, or as much too high",
    f"below the lines, at {_LEAST} places or more: the surface is more than {_BELOW:g} m below the ground at more than "
    f"{_MANY:.0%} of them; or where both are within {_OPEN:g} m of each other their median difference is above "
    f"{_OFF:g} m; or they are so at less than {_FEW:.0%}", COMMON,
    "bring both to one datum and unit (terrain.surface_vertical_unit); accept it where crops or scrub stand all along")
SURFACE_UNIT = Kind(
    "surface-unit", SERIOUS, "the unit of the surface's heights is in doubt",
    "a grid in feet whose file says no unit of height; a study that contradicts the file",
    "no unit stated and a grid in feet; or terrain.surface_vertical_unit against what the file says", "-",
    "say terrain.surface_vertical_unit, or correct the file; accept it where the file is wrong")
SURFACE_OWN = Kind(
    "surface-own", SERIOUS, "cells of the surface near a wire are taken for our own line",
    "wires and structures are in a surface from a survey; a tree or a pole in their place is told by nothing",
    "cells left out as within terrain.surface_structure_distance of a structure, or along a wire, that are nearer to "
    "a wire than the strictest rule allows; told by a check, which knows where wires hang", "-",
    "look at the pictures of these places; accept it with what was seen there, or take terrain.surface_wire_distance "
    "and surface_structure_distance down: what is not left out is compared")
KINDS = (SURFACE_LEVEL, SURFACE_UNIT, SURFACE_OWN)


class OnGround:
    """How high the surface is above the ground below the lines, and how many of its cells were taken for our own.

    `above` its height at places [m]; `own` numbers of cells left out though near a wire, by span (its name).
    """

    def __init__(self, surface, structures, spans):
        self._surface, self._structures, self._spans = surface, structures, spans
        self._above: list[np.ndarray] = []
        self.own: dict[str, int] = {}

    @property
    def above(self):
        """Heights at all places where both are known, (place,) [m]."""
        return np.concatenate([np.zeros(0), *self._above])

    def look(self, sample, first, last):
        """Return heights at places of spans `first` to `last` where both are known, (place,) [m]; `sample(easting,
        northing)` knows the ground [m]."""
        found = [np.zeros(0)]
        s, spans = self._structures, self._spans
        for span in range(first, last + 1):
            (e0, e1), (n0, n1) = ([column[end[span]] for end in (spans.tail, spans.head)]
                                  for column in (s.easting, s.northing))
            share = np.linspace(0, 1, int(np.clip(np.hypot(e1 - e0, n1 - n0), 2, _MOST)))[1:-1]
            e, n = e0 + share * (e1 - e0), n0 + share * (n1 - n0)
            with self._surface.lock:
                z = self._surface.nearest(e, n)
            above = z - sample(e, n)
            found.append(above[np.isfinite(above)])
        return np.concatenate(found)

    def take(self, above):
        """Take note of heights that were seen."""
        self._above.append(above)

    def add(self, clouds):
        """Take note of rows of the layer `point_clouds`, as columns."""
        if clouds:
            some = (clouds["cloud"] == SURFACE) & (clouds["own_near"] > 0)
            self.own |= dict(zip(clouds["span"][some].tolist(), clouds["own_near"][some].tolist(), strict=True))


def _files(evidence):
    return ", ".join(evidence.inputs.study.terrain.surface)


def level(evidence):
    """Yield the doubt that surface and ground are of two datums or units."""
    if evidence.over is None:
        return
    above = evidence.over.above
    if len(above) < _LEAST:
        return
    below, near = (above < -_BELOW).mean(), above[np.abs(above) < _OPEN]
    middle = np.median(near) if len(near) else 0.0
    if below > _MANY:
        found = f"more than {_BELOW:g} m below the ground at {below:.0%} of {len(above)} places"
    elif len(near) < _FEW * len(above):
        found = f"nowhere near the ground: {np.median(above):+.1f} m in the middle of {len(above)} places"
    elif abs(middle) > _OFF:
        found = f"{middle:+.2f} m off the ground in the middle of {len(near)} places where nothing stands"
    else:
        return
    yield Doubt(SURFACE_LEVEL, _files(evidence), SURFACE, found,
                f"within {_OFF:g} m of the ground where nothing stands")


def unit(evidence):
    """Yield doubts about the unit of heights."""
    for raster in () if evidence.over is None else evidence.inputs.surface.rasters:
        if raster.unit_doubt:
            yield Doubt(SURFACE_UNIT, raster.path.rsplit("/", 1)[-1], SURFACE, raster.unit_doubt,
                        "a unit that is stated once")


def own_cells(evidence):
    """Yield doubts about cells that were taken for our own wires and structures."""
    own = {} if evidence.over is None else evidence.over.own
    yield from gathered(SURFACE_OWN, _files(evidence), SURFACE, list(own), [
        f"{count} cells of our structures or along our wires" for count in own.values()],
        "nothing but the line itself", of=len(evidence.plan.spans))
