"""What of a surface a plan may take away: its things that are too near, as obstacles of their own."""

from dataclasses import replace

import geopandas
import numpy as np
import scipy  # its parts load when they are first used
import shapely

from corridor.assessment import Facts, Plan, make_scene, meet
from corridor.check import batches
from corridor.clearance.crossings import index_obstacles, with_rows
from corridor.inputs.areas import CATEGORY
from corridor.study.terrain import SURFACE

__all__ = ["cleared_areas", "with_things_of_surface"]

#: Digits of metres by which cells are known again.
_DIGITS = 3


def with_things_of_surface(facts: Facts, plan: Plan, removable: tuple[str, ...]) -> Facts:
    """Return facts in which the things of the surface that are too near, of categories that may be taken away, are
    obstacles, and nothing of the surface any more. Those of a category that share cells, of two spans beside one
    another, are one; a cell that counts for another category, too, stays for that.

    Parameters
    ----------
    facts : Facts
    plan : Plan
        With the elevation of every base.
    removable : tuple of str
    """
    clouds = [cloud for cloud in facts.clouds if cloud.cells]
    if not clouds or not {group.category for cloud in clouds for group in cloud.groups} & {*removable}:
        return facts
    things = []
    for first, last in batches(plan, facts):
        scene, _ = make_scene(facts, plan, first, last)
        if scene is not None:
            things += [thing for thing in meet(facts, plan, scene, first, last)[2].things
                       if thing.name.startswith(f"{SURFACE}:") and thing.count is not None
                       and thing.category in removable]
    if not things:
        return facts
    whole = np.concatenate([thing.whole for thing in things])
    key, category = _keys(whole), np.repeat([thing.category for thing in things], [len(t.whole) for t in things])
    number = np.unique(category, return_inverse=True)[1]
    cell, of_cell = np.unique(np.stack([key.real, key.imag, number]), axis=1, return_inverse=True)
    of_cell = of_cell.ravel()
    of_thing = np.repeat(np.arange(len(things)), [len(thing.whole) for thing in things])
    shared = scipy.sparse.coo_array((np.ones(len(key)), (of_thing, len(things) + of_cell)),
                                    shape=(len(things) + cell.shape[1],) * 2)
    label = scipy.sparse.csgraph.connected_components(shared, directed=False)[1]
    rows = []
    for one in dict.fromkeys(label[:len(things)].tolist()):
        thing = things[np.flatnonzero(label[:len(things)] == one)[0]]
        own = np.flatnonzero(label[of_thing] == one)
        own = own[np.unique(key[own], return_index=True)[1]]
        rows.append({"layer": SURFACE, "obstacle": thing.name, "category": thing.category, "absolute": True,
                     "geometry": shapely.multipoints(whole[own]), "voltage": thing.voltage, "radius": thing.radius})
    gone = {name: key[category == name] for name in removable}
    left = tuple(replace(cloud, within=_without(cloud, gone)) if cloud.cells else cloud for cloud in facts.clouds)
    return replace(facts, index=index_obstacles(with_rows(facts.index.obstacles, rows)), clouds=left)


def _keys(place):
    """One number for each cell, of its middle."""
    return np.round(place[:, 0], _DIGITS) + 1j * np.round(place[:, 1], _DIGITS)


def _without(cloud, gone):
    def left(lines, reach):
        place, class_ = cloud.within(lines, reach)
        kept = np.ones(len(place), bool)
        for group in cloud.groups:
            kept &= ~np.isin(class_, group.classes) | ~np.isin(_keys(place), gone.get(group.category, []))
        return place[kept], class_[kept]

    return left


def cleared_areas(obstacles, removed, before, crs) -> geopandas.GeoDataFrame | None:
    """Return polygons, each with its category, in which the middles of cells lie that are taken away; None where none
    is.

    Parameters
    ----------
    obstacles : Obstacles
        With the things of the surface, as `with_things_of_surface` has them.
    removed : ndarray of bool, shape (obstacle,)
    before : dict of geometry
        Where the study has nothing standing already, by category, None: of all.
    crs : CRS
    """
    own = np.flatnonzero(removed & (obstacles.layer == SURFACE))
    if not len(own):
        return None
    points = [shapely.force_2d(obstacles.geometry[i]) for i in own]
    # Of a cell with that half diagonal, oblong as it may be, the middles of neighbours lie beyond.
    areas = list(shapely.buffer(points, 0.4 * obstacles.radius[own], quad_segs=2))
    names = [*obstacles.obstacle[own], *["cleared before"] * len(before)]
    return geopandas.GeoDataFrame({"thing": names, CATEGORY: [*obstacles.category[own], *before]},
                                  geometry=[*areas, *before.values()], crs=crs)
