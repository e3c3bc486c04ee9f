"""A line among very many objects: time and memory of corridor, and of the plain script on the same.

    python -m tests.benchmarks.objects --spans 500 --objects 100000

prints wall and processor times [s], the ratios of the script's to corridor's, and peak memory [MB] as JSON. The objects
are trees within 50 m of the line, so that all of them are looked at. Where other work runs beside it, the processor
times tell more.
"""

import argparse
import json
import sys
import tempfile
from pathlib import Path

import geopandas
import numpy as np
import pyogrio
import shapely

from .__main__ import run
from .make_corridor import CRS, make_corridor

#: Trees stand no farther from the line [m].
_REACH = 50.0


def write_trees(folder, count, seed=2):
    """Replace the trees of a corridor by many more."""
    structures = pyogrio.read_dataframe(folder / "line.gpkg", layer="structures")
    place = shapely.get_coordinates(structures.geometry)
    rng = np.random.default_rng(seed)
    span, share = rng.integers(0, len(place) - 1, count), rng.uniform(0, 1, (count, 1))
    along = place[span + 1] - place[span]
    right = along[:, ::-1] * (1, -1) / np.hypot(*along.T)[:, None]
    spot = place[span] + along * share + right * rng.uniform(-_REACH, _REACH, (count, 1))
    columns = {"id": np.arange(count), "height": np.round(rng.uniform(2, 9, count), 2),
               "radius": np.round(rng.uniform(1.5, 3, count), 2)}
    frame = geopandas.GeoDataFrame(columns, geometry=shapely.points(spot), crs=CRS)
    frame.to_file(folder / "obstacles.gpkg", layer="trees", driver="GPKG")


def measure(folder, spans, objects, *, plain=True):
    """Make, check and compare; return what was measured."""
    study = make_corridor(folder, spans)
    write_trees(folder, objects)
    ours = run("engine", study, folder / "findings.gpkg")
    result = {"spans": spans, "objects": objects} | _told("corridor", ours)
    if plain:
        script = run("plain_script", study, folder / "plain.gpkg")
        result |= _told("plain", script) | {"ratio": script["wall"] / ours["wall"],
                                            "cpu_ratio": script["cpu"] / ours["cpu"]}
    return result


def _told(name, result):
    return {f"{name}_s": result["wall"], f"{name}_cpu_s": result["cpu"], f"{name}_mb": result["memory"]}


if __name__ == "__main__":
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.objects", description=__doc__.splitlines()[0])
    parser.add_argument("--spans", type=int, default=500)
    parser.add_argument("--objects", type=int, default=100_000)
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as temporary:
        json.dump(measure(Path(temporary), chosen.spans, chosen.objects), sys.stdout, indent=1)
