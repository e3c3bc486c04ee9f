"""What the work cannot cost less than: read what is needed once, write the findings once.

Every raster block that the wires touch is read, and nothing is computed.

    python -m tests.benchmarks.limit STUDY FINDINGS COPY --threads 2

prints the seconds of reading and of writing as JSON. FINDINGS is what corridor has written; its
layers are read into memory, which is not timed, and written to COPY.
"""

import argparse
import csv
import json
import time
import tomllib
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import geopandas
import numpy as np
import pyogrio
import rasterio
from rasterio.windows import Window

#: Layers that hold no findings.
SKIPPED = {"layer_styles"}


def wire_points(study, folder, *, step=0.5):
    """Places half a metre apart along the plan of every wire [m], shape (place, 2)."""
    layer = study["structures"]
    structures = geopandas.read_file(folder / layer["file"], layer=layer["layer"])
    place = structures.sort_values(["line", "order"]).get_coordinates().to_numpy()
    with (folder / study["framings"]["file"]).open(newline="", encoding="utf-8") as file:
        offsets = sorted({float(row["offset"]) for row in csv.DictReader(file)})
    azimuth = np.arctan2(*np.diff(place, axis=0).T)
    turn = (np.diff(azimuth, prepend=azimuth[0], append=azimuth[-1]) + np.pi) % (2 * np.pi) - np.pi
    right = np.r_[azimuth[0], azimuth] + turn / 2 + np.pi / 2
    arm = np.stack([np.sin(right), np.cos(right)], axis=1)
    return np.concatenate([_densify(place + offset * arm, step) for offset in offsets])


def _densify(place, step):
    size = np.hypot(*np.diff(place, axis=0).T)
    station = np.r_[0, np.cumsum(size)]
    at = np.arange(0, station[-1], step)
    return np.stack([np.interp(at, station, axis) for axis in place.T], axis=1)


def needed_blocks(path, points):
    """Windows of the blocks that bilinear samples at points touch, each once, in storage order."""
    with rasterio.open(path) as raster:
        height, width = raster.block_shapes[0]
        t = raster.transform
        column, row = (points[:, 0] - t.c) / t.a, (points[:, 1] - t.f) / t.e
        corner = [
            (np.floor(row - 0.5) + i, np.floor(column - 0.5) + j) for i in (0, 1) for j in (0, 1)
        ]
        blocks = np.unique(np.concatenate(corner, axis=1) // [[height], [width]], axis=1).T
        return [
            Window(
                c * width,
                r * height,
                min(width, raster.width - c * width),
                min(height, raster.height - r * height),
            )
            for r, c in blocks.astype(int)
        ]


def read_blocks(path, windows, threads):
    """Read every window once, each thread through its own handle; return seconds and cells."""

    def work(part):
        with rasterio.open(path) as raster:
            return sum(raster.read(1, window=window).size for window in part)

    share = -(-len(windows) // threads)
    parts = [windows[i * share : (i + 1) * share] for i in range(threads)]
    begin = time.perf_counter()
    with ThreadPoolExecutor(threads) as pool:
        cells = sum(pool.map(work, parts))
    return time.perf_counter() - begin, cells


def write_layers(findings, copy):
    """Write every layer of the findings to another file; return the seconds of each."""
    Path(copy).unlink(missing_ok=True)
    seconds = {}
    for layer in pyogrio.list_layers(findings)[:, 0]:
        if layer in SKIPPED:
            continue
        meta, table = pyogrio.read_arrow(findings, layer=layer)
        spatial = meta["geometry_type"] is not None
        begin = time.perf_counter()
        pyogrio.write_arrow(
            table,
            copy,
            layer=layer,
            driver="GPKG",
            geometry_name=meta["geometry_name"] or "wkb_geometry" if spatial else None,
            geometry_type=meta["geometry_type"],
            crs=meta["crs"],
        )
        seconds[layer] = time.perf_counter() - begin
    return seconds


def main(study_path, findings, copy, threads):
    """Return the seconds of reading and writing, the cells read and the seconds of each layer."""
    folder = Path(study_path).parent
    study = tomllib.loads(Path(study_path).read_text(encoding="utf-8"))
    ground = folder / study["terrain"]["ground"][0]
    read, cells = read_blocks(ground, needed_blocks(ground, wire_points(study, folder)), threads)
    layers = write_layers(findings, copy)
    return {
        "read": read,
        "compute": 0.0,
        "write": sum(layers.values()),
        "cells": cells,
        "write_wires_clearances": layers["wires"] + layers["clearances"],
    }


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("study")
    parser.add_argument("findings")
    parser.add_argument("copy")
    parser.add_argument("--threads", type=int, default=1)
    chosen = parser.parse_args()
    print(json.dumps(main(chosen.study, chosen.findings, chosen.copy, chosen.threads)))
