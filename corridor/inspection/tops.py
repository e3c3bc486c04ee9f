"""Doubts about the heights of what stands about the line, and of wires that cross it."""

import numpy as np

from corridor.inspection.doubt import COMMON, MINOR, SERIOUS, Doubt, Kind, gathered
from corridor.study.terrain import SURFACE

__all__ = ["KINDS", "layers_of_ways", "low_layers", "single_heights"]

HEIGHT_LOW = Kind(
    "height-low", SERIOUS, "a thing is lower than such things are",
    "0, -1 or -9 for a height or elevation that is not known, metres read as feet, elevations of another datum, "
    "heights above the ground in a column that is read as elevations",
    "less above the ground than: buildings 1.5 m, trees 0.3 m, wires of other lines 3 m, roads, railways, water -2 m, "
    "anything else -0.5 m", COMMON,
    "correct the height; where it is not known leave it empty: the thing is then told as not assessed")
HEIGHT_HIGH = Kind(
    "height-high", SERIOUS, "a wire of another line is higher than such wires are",
    "feet read as metres, an elevation in a column of heights, another datum: our wires then pass far below it",
    "more above the ground than 30 m and 10 cm for each kV of it (of ours where it has none); of one with our voltage "
    "or a higher also above 10 m over our highest attachment", COMMON,
    "correct the elevation or write its unit (elevation_unit); accept a crossing that is so high")
HEIGHT_TALL = Kind(
    "height-tall", MINOR, "a thing is higher than such things are",
    "feet read as metres, centimetres, an elevation in a column of heights, 99 or 999 for none",
    "more above the ground than: trees 70 m, buildings 150 m, roads, railways and water 60 m, anything else 300 m",
    "the tallest trees of most countries; else " + COMMON, "correct the height or write its unit (height_unit)")
LAYER_LOW = Kind(
    "layer-low", SERIOUS, "the things of a layer are mostly lower than such things are",
    "metres read as feet, tenths or storeys in the place of metres",
    "of five or more the middle height below 2.5 m", COMMON,
    "write the unit (height_unit), or correct the column")
LAYER_OFFSET = Kind(
    "layer-offset", SERIOUS, "roads, railways or water lie above or below the ground raster throughout",
    "elevations of another datum or unit than those of the raster, or a raster that is off",
    "of five or more with elevations of their own the middle more than 1 m off the ground, and all within 1 m of it",
    COMMON, "bring both to one datum and unit")
KINDS = (HEIGHT_LOW, HEIGHT_HIGH, HEIGHT_TALL, LAYER_LOW, LAYER_OFFSET)

#: Least and maximum height above the ground by group [m].
_LOW = {"building": 1.5, "tree": 0.3, "line": 3.0, "way": -2.0, "": -0.5}
_TALL = {"building": 150.0, "tree": 70.0, "line": np.inf, "way": 60.0, "": 300.0}
#: Least middle height of a layer [m].
_USUAL = {"building": 2.5, "tree": 2.5}


def single_heights(evidence):
    """Yield doubts about heights of single things, layer by layer."""
    h, groups = evidence.heights, evidence.groups
    low, tall = (np.array([table[group] for group in groups], float) for table in (_LOW, _TALL))
    f = evidence.inputs.framings
    above = 10 + float(np.max(f.height[f.kind == "phase"], initial=0.0))
    volts = evidence.inputs.index.obstacles.voltage[evidence.things.obstacle]
    volts = np.where(np.isnan(volts), evidence.inputs.voltage, volts)
    lower = volts < evidence.inputs.study.study.voltage
    high = np.maximum(30 + 0.1 * volts / 1e3, np.where(lower, 0.0, above))
    high = np.where(groups == "line", high, np.inf)
    for kind, wrong, word, bound in ((HEIGHT_LOW, h < low, "at least", low), (HEIGHT_HIGH, h > high, "at most", high),
                                     (HEIGHT_TALL, h > tall, "at most", tall)):
        yield from _by_layer(evidence, kind, np.flatnonzero(wrong), word, bound)


def _by_layer(evidence, kind, wrong, word, bound):
    obstacles, things, h = evidence.inputs.index.obstacles, evidence.things, evidence.heights
    layer = obstacles.layer[things.obstacle]
    for name in dict.fromkeys(layer[wrong].tolist()):
        # Of an obstacle of several parts one is told.
        rows = wrong[layer[wrong] == name]
        rows = rows[np.unique(things.obstacle[rows], return_index=True)[1]]
        yield from gathered(kind, file_of(evidence, name), name, obstacles.obstacle[things.obstacle[rows]],
                            [f"{obstacles.category[things.obstacle[r]]} {_height(h[r])}" for r in rows],
                            f"{word} {bound[rows[0]]:g} m", [(*things.place[r], things.top[r]) for r in rows],
                            of=int((layer == name).sum()))


def _height(h):
    return f"{abs(h):.1f} m {'above' if h >= 0 else 'below'} the ground"


def file_of(evidence, layer):
    """File of a layer of obstacles, as the study names it."""
    section = evidence.sections.get(layer)
    if layer == SURFACE:
        return ", ".join(evidence.inputs.study.terrain.surface)
    return layer if section is None else ", ".join(section.file)


def low_layers(evidence):
    """Yield doubts about the middle height of layers."""
    for name, group, h in _layers(evidence):
        if group in _USUAL and len(h) >= 5 and _LOW[group] <= np.median(h) < _USUAL[group]:
            yield Doubt(LAYER_LOW, file_of(evidence, name), name,
                        f"{len(h)} features, in the middle {np.median(h):.2f} m high", f"{_USUAL[group]} m or more")


def layers_of_ways(evidence):
    """Yield doubts about layers that should lie on the ground."""
    absolute = ~np.isnan(evidence.things.top)
    for name, group, h in _layers(evidence, absolute):
        h = h[np.isfinite(h)]
        if group == "way" and len(h) >= 5 and abs(np.median(h)) > 1 and np.abs(h - np.median(h)).max() < 1:
            yield Doubt(LAYER_OFFSET, file_of(evidence, name), name,
                        f"{len(h)} features, in the middle {np.median(h):+.2f} m from the ground", "within 1 m of it")


def _layers(evidence, chosen=None):
    """Name, group and heights of each layer and group of things."""
    layer = evidence.inputs.index.obstacles.layer[evidence.things.obstacle]
    for name in dict.fromkeys(layer.tolist()):
        for group in dict.fromkeys(evidence.groups[layer == name].tolist()):
            rows = (layer == name) & (evidence.groups == group)
            h = evidence.heights[rows if chosen is None else rows & chosen]
            yield name, group, h[np.isfinite(h)]
