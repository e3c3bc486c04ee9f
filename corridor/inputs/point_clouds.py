"""The point clouds of a study: tiles read once from end to end, the points near the line put aside."""

from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely
from pyproj.crs import CompoundCRS

from corridor.clearance.clouds import Cloud, Group
from corridor.errors import InputError
from corridor.inputs.digest import digest
from corridor.inputs.frame import horizontal
from corridor.inputs.point_files import Tile, describe_tile, read_tile
from corridor.inputs.point_ground import write_ground
from corridor.inputs.point_store import PointStore, squares_near
from corridor.inputs.rasters import HIGHEST, LOWEST, describe
from corridor.inputs.terrain import Terrain

__all__ = ["Clouds", "fill_ground", "read_clouds"]

#: Bytes of raster blocks to keep in memory.
BUDGET = 256_000_000
#: Places on each side of a tile's outline, by which it is found whether it is near the line.
_OUTLINE = 9


@dataclass(frozen=True)
class _Read:
    """One cloud once it is read: its table of the study, its tiles, where its points are, and what was counted."""

    section: object
    tiles: tuple[Tile, ...]
    store: PointStore
    counts: Counter


@dataclass(frozen=True)
class Clouds:
    """The clouds of a study, in its order."""

    read: tuple

    @property
    def facts(self):
        """The clouds as the assessment takes them: a tuple of `Cloud`."""
        return tuple(_facts(each) for each in self.read)

    @property
    def tiles(self):
        """All tiles of all clouds."""
        return [tile for each in self.read for tile in each.tiles]

    @property
    def warnings(self):
        """What is to be said of the tiles, and of the points left out as they were read."""
        return tuple(text for each in self.read for text in _words(each))

    def file_rows(self):
        """Return rows of the layer `inputs`, one per tile: part, path, digest, CRS, vertical CRS, unit."""
        return [(f"point_clouds.{each.section.name}", given, digest(tile.path), tile.horizontal_crs.name,
                 tile.vertical_name, tile.unit)
                for each in self.read for given, tile in zip(each.section.files, each.tiles, strict=True)]


def read_clouds(study, frame, structures):
    """Return the point clouds of a study, their points near the line put aside.

    Parameters
    ----------
    study : Study
    frame : Frame
    structures : Structures

    Returns
    -------
    Clouds

    Raises
    ------
    InputError
        A tile is none, is not whole, or says not where it lies; or no point of a cloud is near the line.
    CorridorError
        The extra is not installed.
    """
    chosen = np.flatnonzero(structures.line[1:] == structures.line[:-1])
    lines = structures.lines(chosen, chosen + 1)
    origin = np.array([structures.easting[0], structures.northing[0]])
    return Clouds(tuple(_read(study, section, frame, lines, origin) for section in study.point_clouds))


def _read(study, section, frame, lines, origin):
    tiles = tuple(describe_tile(study.resolve(file), section.crs, section.vertical_unit) for file in section.files)
    store, counts = PointStore(squares_near(lines, section.reach), origin), Counter()
    strip = shapely.buffer(shapely.multilinestrings(list(lines)), section.reach)
    for tile in tiles:
        counts["points"] += tile.points
        if _is_far(tile, frame, strip):
            counts["tiles off the line"] += 1
            continue
        for x, y, z, class_ in read_tile(tile):
            _put_aside(store, counts, tile, frame, x, y, z, class_)
    if not store.count:
        raise InputError(study.path, f"point_clouds.{section.name}", f"no point within {section.reach:g} m of the line",
                         "tiles of the ground below the line", "another CRS of the tiles, or another reach")
    return _Read(section, tiles, store, counts)


def _put_aside(store, counts, tile, frame, x, y, z, class_):
    e, n = frame.transform_points(x, y, tile.crs)
    near = np.flatnonzero(np.isfinite(e + n))
    near = near[store.near(e[near], n[near])]
    sound = (z[near] > LOWEST) & (z[near] < HIGHEST)
    counts["absurd"] += int((~sound).sum())
    near = near[sound]
    store.add(e[near], n[near], z[near], class_[near])
    counts["near"] += len(near)
    counts.update({("class", int(c)): int(k) for c, k in zip(*np.unique(class_[near], return_counts=True),
                                                             strict=True)})


def _is_far(tile, frame, strip):
    """Whether the outline of a tile is wholly away from the strip about the line."""
    if horizontal(tile.crs).is_geographic and (np.abs(tile.low[0]) > 360 or np.abs(tile.low[1]) > 90):
        raise InputError(tile.path, "crs", f"{tile.horizontal_crs.name}, in degrees, with x from {tile.low[0]:g}",
                         "the CRS in which the points are")
    share = np.linspace(0, 1, _OUTLINE)
    ring = np.concatenate([np.column_stack(pair) for pair in (
        (share, 0 * share), (1 + 0 * share, share), (1 - share, 1 + 0 * share), (0 * share, 1 - share))])
    x, y = (tile.low[:2] + ring * (tile.high - tile.low)[:2]).T
    e, n = frame.transform_points(x, y, tile.crs)
    if not np.isfinite(e + n).all():
        return False
    hull = shapely.convex_hull(shapely.multipoints(np.column_stack([e, n])))
    return not shapely.intersects(hull, strip)


def _facts(each):
    section = each.section
    groups = tuple(Group(g.name, g.category, g.classes, g.radius) for g in section.compared)
    passed = (*section.ground_classes, *section.ignored_classes)
    return Cloud(section.name, groups, section.wire_classes, section.structure_classes, passed, section.wire_distance,
                 section.structure_distance, section.wire_voltage, section.wire_movement,
                 section.unknown == "strictest", section.cluster_distance, section.reach, each.store.within)


def _words(each):
    name, counts = each.section.name, each.counts
    yield from dict.fromkeys(text for tile in each.tiles for text in tile.cautions)
    if counts["tiles off the line"]:
        yield f"{name}: {counts['tiles off the line']} of {len(each.tiles)} tiles are not near the line"
    if counts["absurd"]:
        yield f"{name}: {counts['absurd']} points are below {LOWEST:g} m or above {HIGHEST:g} m; left out"
    section = each.section
    known = {c for group in section.compared for c in group.classes}
    known |= {*section.structure_classes, *section.ground_classes, *section.ignored_classes}
    unknown = sum(count for key, count in counts.items() if isinstance(key, tuple) and key[1] not in known)
    if unknown:
        done = ("where one is nearer than the strictest rule of any group allows, that is told as not assessed"
                if section.unknown == "strictest" else "ignored, as the study says")
        yield f"{name}: {unknown} of {counts['near']} points near the line are of no class that the study knows: {done}"


def fill_ground(clouds, terrain, frame):
    """Return the terrain with the ground points of clouds where its rasters know nothing, and what is to be said of it.

    Parameters
    ----------
    clouds : Clouds
    terrain : Terrain
        Open; closed where another is returned.
    frame : Frame

    Returns
    -------
    terrain : Terrain
    warnings : tuple of str
    """
    filling = [each for each in clouds.read if each.section.ground]
    if not filling:
        return terrain, ()
    stores = [(each.store, each.section.ground_classes, each.section.ground_gap) for each in filling]
    heights = terrain.vertical_crs
    crs = frame.crs if heights is None else CompoundCRS(f"{frame.crs.name} + {heights.name}", [frame.crs, heights])
    path = Path(filling[0].store.folder) / "ground.tif"
    if not write_ground(path, stores, terrain.sample, crs):
        return terrain, ("no ground point of a cloud lies where the rasters know no ground",)
    terrain.close()
    names = ", ".join(each.section.name for each in filling)
    words = [f"where no raster knows the ground it is taken from the ground points of: {names}"]
    own = [tile.vertical_name for each in filling for tile in each.tiles]
    words += [f"heights of point clouds ({name or 'not stated'}) are taken for those of the rasters "
              f"({'not stated' if heights is None else heights.name})"
              for name in dict.fromkeys(own) if name != (heights and heights.name)]
    return Terrain([*terrain.rasters, describe(path, "m")], frame, BUDGET), tuple(words)
