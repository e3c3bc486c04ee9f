"""Doubts about the ground raster: values that stand for none, steps, a surface in its place, coarse cells, its unit."""

import numpy as np

from corridor.inspection.around import BUMP, FINE, LAG, STEEP, STEP
from corridor.inspection.doubt import COMMON, SERIOUS, Doubt, Kind, gathered

__all__ = ["KINDS", "coarse", "holes", "surface", "unit"]

GROUND_VOID = Kind(
    "ground-void", SERIOUS, "the ground has a value that stands for none",
    "holes of a raster stored as 0, 255 or the like and not marked as empty",
    "0, -1, -99, 99, 255, 999, 4095, 8888 or 32767 to the last digit, more than 5 m off the ground two cells beside it "
    "and steeper than 1 to 1; any other value over eight cells in a row, and so on both sides; or 0 on all of a span "
    "of a line that is mostly not near 0", COMMON,
    "mark the value as empty in the raster: what lies there is then told as not assessed")
GROUND_STEP = Kind(
    "ground-step", SERIOUS, "the ground jumps from one cell to the next",
    "tiles of different datum or unit side by side, filled holes, a mosaic with a tile in another place; a quarry or "
    "a wall", f"more than {STEP:g} m from cell to cell, steeper than {STEEP:g} to 1", COMMON,
    "look at the raster there; correct it, or accept a cliff that is there")
GROUND_SURFACE = Kind(
    "ground-surface", SERIOUS, "the ground is as rough as trees and roofs are",
    "a surface model in the place of bare earth: bases that it gives then stand on trees, and wires hang too high",
    f"in cells up to {FINE:g} m, bumps above {BUMP:g} m within {2 * LAG:g} m at more than 2 % of places along the line",
    COMMON, "take the model of bare earth")
GROUND_COARSE = Kind(
    "ground-coarse", SERIOUS, "the raster was made finer than what it is made of",
    "a coarse model resampled to small cells: levees, cuttings and ridges are not in it",
    "in cells up to 10 m, heights that change their slope 50 times as much at every third cell or fewer, evenly, "
    "in all rows of more than half of the windows looked at",
    COMMON, "take the raster in which the ground was measured; accept it where no finer one exists")
GROUND_UNIT = Kind(
    "ground-unit", SERIOUS, "the unit of the raster's heights is in doubt",
    "a grid in feet whose file says no unit of height; a study that contradicts the file",
    "no unit stated and a grid in feet; or terrain.vertical_unit against what the file says", "-",
    "say terrain.vertical_unit, or correct the file; accept it where the file is wrong")
KINDS = (GROUND_VOID, GROUND_STEP, GROUND_SURFACE, GROUND_COARSE, GROUND_UNIT)

#: Side of the windows whose cells are looked at, and how many windows there are.
_SIDE, _WINDOWS = 160, 8


def holes(evidence):
    """Yield doubts about stand-ins and steps below the spans."""
    under, spans = evidence.under, evidence.plan.spans
    for kind, found, words in ((GROUND_VOID, under.voids, "ground at {3:g} m"),
                               (GROUND_STEP, under.steps, "from {3:.1f} m to {4:.1f} m")):
        of_span = {row[0]: row for row in reversed(found)}
        rows = [of_span[span] for span in sorted(of_span)]
        yield from gathered(kind, evidence.files["ground"], "ground", [spans.name[row[0]] for row in rows],
                            [words.format(*row) for row in rows], "ground as it lies about the place",
                            [row[1:4] for row in rows], of=len(spans))


def surface(evidence):
    """Yield the doubt that a surface stands for the ground."""
    under = evidence.under
    share = under.bumps / under.nodes if under.nodes else 0.0
    if share > 0.02 and under.bumps >= 10:
        yield Doubt(GROUND_SURFACE, evidence.files["ground"], "ground",
                    f"bumps above {BUMP:g} m at {share:.0%} of {under.nodes} places", "2 % at most")


def unit(evidence):
    """Yield doubts about the unit of heights."""
    for raster in evidence.inputs.terrain.rasters:
        if raster.unit_doubt:
            yield Doubt(GROUND_UNIT, raster.path.rsplit("/", 1)[-1], "ground", raster.unit_doubt,
                        "a unit that is stated once")


def coarse(evidence):
    """Yield the doubt that cells are smaller than what was measured."""
    grid, s = evidence.inputs.terrain.grid, evidence.inputs.structures
    if grid is None or evidence.under.cell > 10:
        return
    west, north, cell = grid
    which = np.linspace(0, len(s) - 1, min(_WINDOWS, len(s))).astype(int)
    column, row = np.floor((s.easting[which] - west) / cell), np.floor((north - s.northing[which]) / cell)
    c, r = np.meshgrid(np.arange(_SIDE) - _SIDE // 2, np.arange(0, _SIDE, _SIDE // 16) - _SIDE // 2)
    z = evidence.sample(west + (column[:, None, None] + c + 0.5) * cell, north - (row[:, None, None] + r + 0.5) * cell)
    found = [every for window in z if (every := _period(window)) is not None]
    if len(found) > len(which) / 2:
        yield Doubt(GROUND_COARSE, evidence.files["ground"], "ground",
                    f"cells of {cell:g} m whose slope changes at one of {np.median(found):.0f} cells only",
                    "heights that change from cell to cell")


def _period(window):
    """Cells between the columns at which all rows change their slope, None where other columns do, too."""
    rows = window[np.isfinite(window).all(axis=1)]
    if len(rows) < 8:
        return None
    bend = np.abs(np.diff(rows, 2, axis=1)).mean(axis=0)
    breaks = np.flatnonzero(bend > max(50 * np.median(bend), 1e-3))
    breaks = breaks[np.diff(breaks, prepend=-9) > 1]
    step = np.diff(breaks)
    if len(step) < 3 or step.min() < 3 or np.ptp(step) > 1:
        return None
    return float(step.mean())
