"""A line in a point cloud: time and memory of corridor without it, and with ever more points.

    python -m tests.benchmarks.points --spans 100 --millions 5 10 20

prints wall times [s], peak memory [MB] and seconds per million points as JSON. Points lie within 60 m of the line, so
that all of them are put aside; one tile holds a million. Needs the extra `cloud`, and some 10 MB of disk per million
points for the tiles and 13 MB while it runs.
"""

import argparse
import json
import sys
import tempfile
from pathlib import Path

import laspy
import numpy as np
import pyogrio
import rasterio
import shapely
from pyproj import CRS as Crs
from rasterio.windows import from_bounds

from .__main__ import run
from .make_corridor import CRS, make_corridor

#: Points lie no farther from the line [m].
_REACH = 60.0
_TILE = 1_000_000


def _ground(raster, easting, northing):
    """Elevation of the cells that places lie in, by one window of the raster [m]."""
    window = from_bounds(easting.min() - 2, northing.min() - 2, easting.max() + 2, northing.max() + 2,
                         raster.transform).round_offsets().round_lengths()
    cells = raster.read(1, window=window, boundless=True, fill_value=np.nan)
    row, column = rasterio.transform.rowcol(raster.transform, easting, northing)
    row, column = np.asarray(row, int) - int(window.row_off), np.asarray(column, int) - int(window.col_off)
    return cells[np.clip(row, 0, cells.shape[0] - 1), np.clip(column, 0, cells.shape[1] - 1)]


def _points(rng, raster, tail, head, count):
    """Points about one span: ground, mown growth near the line and a wood beyond it, a few roofs and noise."""
    along = head - tail
    right = along[::-1] * (1, -1) / np.hypot(*along)
    offset = rng.uniform(-_REACH, _REACH, count)
    spot = tail + along * rng.uniform(0, 1, (count, 1)) + right * offset[:, None]
    class_ = rng.choice([2, 3, 5, 6, 7], count, p=[0.55, 0.2, 0.22, 0.02, 0.01]).astype(np.uint8)
    tall = np.where(np.abs(offset) < 22, 2.5, 18.0) * rng.uniform(0, 1, count)
    height = np.select([class_ == 2, class_ == 3, class_ == 6], [0.0, np.minimum(tall, 0.5), 3.0], tall)
    z = _ground(raster, *spot.T) + height
    known = np.isfinite(z) & (z > -400)
    return np.column_stack([spot, z])[known], class_[known]


def write_tiles(folder, millions, seed=4):
    """Write tiles of a million points each along the line of a corridor; return their names."""
    structures = pyogrio.read_dataframe(folder / "line.gpkg", layer="structures")
    place = shapely.get_coordinates(structures.geometry)
    spans = np.array_split(np.arange(len(place) - 1), millions) if millions < len(place) else [
        [i % (len(place) - 1)] for i in range(millions)]
    names, rng = [], np.random.default_rng(seed)
    with rasterio.open(folder / "ground.tif") as raster:
        for number, some in enumerate(spans):
            parts = [_points(rng, raster, place[i], place[i + 1], _TILE // len(some)) for i in some]
            header = laspy.LasHeader(point_format=6, version="1.4")
            header.add_crs(Crs(CRS))
            spot, class_ = (np.concatenate(column) for column in zip(*parts, strict=True))
            header.scales, header.offsets = np.full(3, 0.01), np.floor(spot.min(axis=0))
            tile = laspy.LasData(header)
            tile.x, tile.y, tile.z = spot.T
            tile.classification = class_
            names.append(f"tile{number}.laz")
            tile.write(str(folder / names[-1]))
    return names


def measure(folder, spans, millions):
    """Make and check the line without points and with some numbers of them; return what was measured."""
    study = make_corridor(folder, spans)
    bare = run("engine", study, folder / "findings.gpkg")
    results = {"spans": spans, "without_s": bare["wall"], "without_mb": bare["memory"], "with": []}
    text = study.read_text(encoding="utf-8")
    names = write_tiles(folder, max(millions))
    for count in millions:
        some = ", ".join(f'"{name}"' for name in names[:count])
        study.write_text(f'{text}\n[[point_clouds]]\nname = "survey"\nfiles = [{some}]\n', encoding="utf-8")
        found = run("engine", study, folder / "findings.gpkg")
        results["with"].append({"millions": count, "s": found["wall"], "mb": found["memory"],
                                "s_per_million": (found["wall"] - bare["wall"]) / count})
    return results


if __name__ == "__main__":
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.points", description=__doc__.splitlines()[0])
    parser.add_argument("--spans", type=int, default=100)
    parser.add_argument("--millions", type=int, nargs="+", default=[5, 10, 20])
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as temporary:
        json.dump(measure(Path(temporary), chosen.spans, sorted(chosen.millions)), sys.stdout, indent=1)
