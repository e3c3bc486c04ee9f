"""Points on the wires of a study as a survey might bring them, made from where the engine hangs these; seeded."""

from dataclasses import replace

import numpy as np
from pyproj import CRS

from corridor.assessment import make_scene
from corridor.clearance.bundles import known_places
from corridor.geometry.catenary import plane_of, points
from corridor.line.hang import hang, still_states
from corridor.line.swing import to_grid
from corridor.session import open_study

__all__ = ["hung_today", "named_shots", "points_on_wires", "write_cloud"]


def hung_today(study, folder, temperature, slant=0.0):
    """The scene of a study with its existing option alone, and its wires at a temperature [°C], in wind or not."""
    with open_study(study, folder=folder) as opened:
        facts, plan, _ = opened.laid_out
        today = replace(facts, options=tuple(option for option in facts.options if option.existing))
        scene, _ = make_scene(today, plan, 0, len(plan.spans) - 1)
    wires = np.arange(len(scene.wires))
    states = still_states(scene.model, wires, 0 * wires, temperature + 0.0 * wires)
    return scene, hang(scene.model, states._replace(wind=states.weight * slant))


def points_on_wires(scene, hung, rng, *, count=600, noise=0.05, wrong=0.3, of=slice(None)):
    """Points (point, 3) on the grid: on wires, those that are told, others about them and on towers, and trees below.
    """
    plane = plane_of(hung.start, hung.end, hung.vectors)
    share = rng.uniform(0.0, 1.0, (len(hung.start), count))
    place = points(hung.start, plane, hung.constant, share)
    wiring = scene.options[0].wiring
    for row in np.flatnonzero(scene.wires.kind == "phase") if wiring.bundle > 1 else ():
        place[row, :, 1:] += known_places(wiring)[rng.integers(0, wiring.bundle, count)]
    place += rng.normal(0, noise, place.shape)
    off = rng.random(place.shape[:2]) < wrong
    place[off] += rng.uniform(-3, 3, (off.sum(), 3))
    place, span = place[of], scene.wires.span[of]
    parts = [to_grid(place, scene.structures, scene.spans, span).reshape(-1, 3)]
    x = scene.structures
    tower = np.column_stack([x.easting, x.northing, scene.base_elevation])
    parts.append((tower[:, None] + rng.uniform([-2, -2, 0], [2, 2, 22], (len(tower), 200, 3))).reshape(-1, 3))
    low = place[:, :60].copy()
    low[..., 2] -= rng.uniform(3, 6, low.shape[:2])
    parts.append(to_grid(low, scene.structures, scene.spans, span).reshape(-1, 3))
    return np.concatenate(parts)


def named_shots(scene, hung, count):
    """The wire span of points on wires (point,), and these (point, 3) on the grid, evenly spread."""
    share = (np.arange(count) + 0.5) / count
    place = points(hung.start, plane_of(hung.start, hung.end, hung.vectors), hung.constant, share)
    grid = to_grid(place, scene.structures, scene.spans, scene.wires.span)
    return np.repeat(np.arange(len(place)), count), grid.reshape(-1, 3)


def write_cloud(path, place, crs="EPSG:25832", class_=14):
    """Write points as a tile of LAS."""
    import laspy

    header = laspy.LasHeader(point_format=6, version="1.4")
    header.offsets, header.scales = np.floor(place.min(axis=0)), [0.001] * 3
    header.add_crs(CRS(crs))
    cloud = laspy.LasData(header)
    cloud.x, cloud.y, cloud.z = place.T
    cloud.classification = np.full(len(place), class_, np.uint8)
    cloud.write(path)
