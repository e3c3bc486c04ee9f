"""A line through woods with a surface model of them: time and memory of corridor with and without it.

    python -m tests.benchmarks.canopy --spans 100 3000

prints wall and processor times [s], peak memory [MB] and the ratio of processor times as JSON. The surface has the
cells of the ground, mown growth within 22 m of the line and a wood beyond.
"""

import argparse
import json
import sys
import tempfile
from pathlib import Path

import numpy as np
import pyogrio
import rasterio
import shapely
from rasterio.features import rasterize

from .__main__ import run
from .make_corridor import make_corridor

#: What is mown beside the line [m].
_MOWN = 22.0


def write_canopy(folder, seed=4):
    """Write the surface of a corridor, block by block of its ground, where that is stored."""
    place = shapely.get_coordinates(pyogrio.read_dataframe(folder / "line.gpkg", layer="structures").geometry)
    spans = shapely.buffer(shapely.linestrings(np.stack([place[:-1], place[1:]], axis=1)), _MOWN)
    tree, rng = shapely.STRtree(spans), np.random.default_rng(seed)
    with rasterio.open(folder / "ground.tif") as ground, rasterio.open(
            folder / "surface.tif", "w", **ground.profile) as surface:
        for _, window in ground.block_windows(1):
            cells = ground.read(1, window=window, masked=True)
            if cells.mask.all():
                continue
            own = rasterio.windows.transform(window, ground.transform)
            bounds = rasterio.windows.bounds(window, ground.transform)
            near = spans[tree.query(shapely.box(*bounds))]
            mown = rasterize(near, cells.shape, transform=own) if len(near) else np.zeros(cells.shape)
            tall = rng.uniform(0, 1, cells.shape) * np.where(mown > 0, 2.5, 18.0)
            surface.write((cells + tall).filled(ground.nodata).astype(cells.dtype), 1, window=window)


def measure(folder, spans):
    """Make and check the line without and with its surface; return what was measured."""
    folder.mkdir()
    study = make_corridor(folder, spans)
    bare = run("engine", study, folder / "findings.gpkg")
    write_canopy(folder)
    text = study.read_text(encoding="utf-8")
    study.write_text(text.replace("[terrain]\n", '[terrain]\nsurface = ["surface.tif"]\nsurface_category = "tree"\n'),
                     encoding="utf-8")
    found = run("engine", study, folder / "findings.gpkg")
    return {"spans": spans, "times": found["cpu"] / bare["cpu"]} | {
        f"{name}_{what}": each[key] for name, each in (("without", bare), ("with", found))
        for what, key in (("s", "wall"), ("cpu_s", "cpu"), ("mb", "memory"))}


if __name__ == "__main__":
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.canopy", description=__doc__.splitlines()[0])
    parser.add_argument("--spans", type=int, nargs="+", default=[100, 3000])
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as temporary:
        json.dump([measure(Path(temporary) / str(spans), spans) for spans in chosen.spans], sys.stdout, indent=1)
