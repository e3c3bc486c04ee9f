"""Make an invented corridor of any size, the same for the same seed.

    python -m tests.benchmarks.make_corridor FOLDER --spans 3000 --kind strip

writes line, ground, obstacles, rules and study file. The ground is a sum of smooth waves of all sizes
with a little noise, as surveyed ground has. Distances are grid metres. There are two kinds:

- strip: the line meanders in a compact serpentine: rows of a few kilometres, one `ROW_SPACING` north of
  the other, joined by three single spans, with turns of 45 degrees. The ground is stored only in blocks
  near the line.
- hills: the line runs back and forth over a square block of hills, in straight rows far apart, and the
  raster is full of heights: of every block that the line touches it needs a narrow strip.
"""

import argparse
from dataclasses import dataclass
from pathlib import Path

import geopandas
import numpy as np
import rasterio
import shapely
from rasterio import Affine
from rasterio.windows import Window

from .study_text import CASES, FRAMINGS, OPTION, OPTIONS, RULES, STUDY

CRS = "EPSG:25832"
NODATA = -9999.0
#: Grid position of the first structure [m].
START = 490_000.0, 5_600_000.0
TURN_SPAN = 300.0
#: Three spans of a half octagon lead from one row to the next [m].
ROW_SPACING = TURN_SPAN * (1 + np.sqrt(2))
#: Length of a span and distance of the rows over the hills, and of the spans that join two rows [m].
HILL_SPAN, HILL_SPACING, HILL_TURN = 320.0, 1500.0, (300.0,) * 5
#: Ground is stored at least this far from the centre of the line [m].
STRIP = 60.0
#: Wavelength and height of the waves of the ground [m].
WAVES = (4096, 60.0), (1024, 20.0), (256, 5.0), (64, 1.2), (16, 0.12)
NOISE = 0.005


@dataclass(frozen=True)
class Grid:
    """How ground is stored: side of a `cell` [m] and of a `block` [cells], and whether all blocks are, or those near
    the line."""

    cell: float
    block: int
    whole: bool


@dataclass(frozen=True)
class Line:
    """Structures along the serpentine: `place` (structure, 2) [m], `role` (structure,)."""

    place: np.ndarray
    role: np.ndarray


def lay_line(spans, rng):
    """Return the line: sections of 4 to 15 spans, straight, with gentle angles between them."""
    row_length = float(np.clip(np.sqrt(spans * 300 * ROW_SPACING), 6000, 20_000))
    headings, lengths, strain = [], [], [0]
    easting, offset, row = 0.0, 0.0, 0
    while len(lengths) < spans:
        count = _section_size(spans - len(lengths), rng)
        lean = float(np.clip(-offset / 1500 + rng.normal(0, 0.05), -0.14, 0.14))
        section = rng.uniform(220, 380, count)
        direction = 1 - 2 * (row % 2)
        headings += [np.pi / 2 * direction - direction * lean] * count
        lengths += list(section)
        strain.append(len(lengths))
        offset += section.sum() * np.sin(lean)
        easting += direction * section.sum() * np.cos(lean)
        if easting > row_length if direction > 0 else easting < 0:
            headings += [np.radians(angle) * direction for angle in (45, 0, -45)]
            lengths += [TURN_SPAN] * 3
            strain += [len(lengths) - 2, len(lengths) - 1, len(lengths)]
            row += 1
    return _line(headings[:spans], lengths[:spans], [s for s in strain if s <= spans])


def lay_over_hills(spans, rng):
    """Return the line: straight rows over a square, of sections of 4 to 12 spans, and joins across."""
    row = max(round(np.sqrt(spans * HILL_SPACING / HILL_SPAN)), 1)
    headings, lengths, strain, heading = [], [], [0], np.pi / 2
    while len(lengths) < spans:
        end = len(lengths) + row
        while len(lengths) < end:
            count = _section_size(end - len(lengths), rng)
            headings += [heading] * count
            lengths += [HILL_SPAN] * count
            strain.append(len(lengths))
        heading = -heading
        headings += [0.0] * len(HILL_TURN)
        lengths += HILL_TURN
        strain.append(len(lengths))
    return _line(headings[:spans], lengths[:spans], [s for s in strain if s < spans] + [spans])


def _section_size(left, rng):
    count = int(rng.integers(4, 13))
    return left if left - count < 4 else count


def _line(headings, lengths, strain):
    step = np.stack([np.sin(headings), np.cos(headings)], axis=1) * np.array(lengths)[:, None]
    place = np.array(START) + np.r_[np.zeros((1, 2)), np.cumsum(step, axis=0)]
    role = np.full(len(place), "suspension", object)
    role[strain] = "strain"
    role[[0, -1]] = "terminal"
    return Line(np.round(place, 3), role)


def write_line(path, line):
    """Write the structures as a point layer."""
    order = np.arange(len(line.place))
    frame = geopandas.GeoDataFrame(
        {
            "structure": [f"P{i:06d}" for i in order],
            "line": "serpentine",
            "order": order,
            "role": line.role,
            "framing": np.where(line.role == "suspension", "tangent", "anchor"),
        },
        geometry=shapely.points(line.place),
        crs=CRS,
    )
    frame.to_file(path, layer="structures", driver="GPKG")


def write_obstacles(path, line, rng):
    """Write roads across every third span, a tree in each, now and then a building."""
    a, b = line.place[:-1], line.place[1:]
    along = (b - a) / np.hypot(*(b - a).T)[:, None]
    right = along[:, ::-1] * (1, -1)
    layers = {"roads": _roads, "buildings": _buildings, "trees": _trees}
    for name, make in layers.items():
        columns, geometry = make(a, b, along, right, rng)
        frame = geopandas.GeoDataFrame(
            {"id": np.arange(len(geometry)), **columns}, geometry=geometry, crs=CRS
        )
        frame.to_file(path, layer=name, driver="GPKG")


def _spots(a, b, chosen, share):
    return a[chosen] + (b - a)[chosen] * share[:, None]


def _roads(a, b, along, right, rng):
    chosen = np.arange(0, len(a), 3)
    centre = _spots(a, b, chosen, rng.uniform(0.15, 0.85, len(chosen)))
    reach = np.array([-120, -40, 0, 40, 120.0])
    bend = rng.normal(0, 5, (len(chosen), len(reach)))
    lines = (
        centre[:, None]
        + right[chosen, None] * reach[:, None]
        + along[chosen, None] * bend[..., None]
    )
    return {}, shapely.linestrings(lines)


def _buildings(a, b, along, right, rng):
    chosen = np.arange(1, len(a), 20)
    share = rng.uniform(0.2, 0.8, len(chosen))
    centre = (
        _spots(a, b, chosen, share) + right[chosen] * rng.uniform(-10, 10, len(chosen))[:, None]
    )
    corner = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)])
    half = rng.uniform((4, 3), (9, 6), (len(chosen), 2))
    turn = rng.uniform(0, np.pi, len(chosen))
    axis = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    other = axis[:, ::-1] * (-1, 1)
    x, y = (corner * half[:, None]).transpose(2, 0, 1)[..., None]
    outline = centre[:, None] + axis[:, None] * x + other[:, None] * y
    return {"height": np.round(rng.uniform(3, 8, len(chosen)), 2)}, shapely.polygons(outline)


def _trees(a, b, along, right, rng):
    chosen = np.arange(len(a))
    share = rng.uniform(0.1, 0.9, len(chosen))
    centre = _spots(a, b, chosen, share) + right * rng.uniform(-8, 8, len(chosen))[:, None]
    return {
        "height": np.round(rng.uniform(2, 9, len(a)), 2),
        "radius": np.round(rng.uniform(1.5, 3, len(a)), 2),
    }, shapely.points(centre)


def write_ground(path, line, grid, seed):
    """Write the ground, tiled, compressed."""
    side = grid.cell * grid.block
    west, south = (np.floor(line.place.min(axis=0) / side) - 1) * side
    columns, rows = (int(n) * grid.block for n in np.ceil((line.place.max(axis=0) - (west, south)) / side) + 1)
    north = south + rows * grid.cell
    lattices = _lattices(rows, columns, grid.cell, seed)
    profile = {
        "driver": "GTiff",
        "width": columns,
        "height": rows,
        "count": 1,
        "dtype": "float32",
        "crs": CRS,
        "nodata": NODATA,
        "transform": Affine(grid.cell, 0, west, 0, -grid.cell, north),
        "tiled": True,
        "blockxsize": grid.block,
        "blockysize": grid.block,
        "compress": "deflate",
        "predictor": 3,
        "zlevel": 1,
        "num_threads": 2,
        "sparse_ok": True,
        "bigtiff": "if_safer",
    }
    every = np.ndindex(rows // grid.block, columns // grid.block)
    blocks = every if grid.whole else _blocks_near(line, side, west, north)
    with rasterio.open(path, "w", **profile) as raster:
        for row, column in blocks:
            raster.write(
                _block(lattices, grid.block, row, column, seed),
                1,
                window=Window(column * grid.block, row * grid.block, grid.block, grid.block),
            )


def _blocks_near(line, side, west, north):
    """Block rows and columns within the strip along the line, in storage order."""
    share = np.arange(0, 1, 1 / 32)[:, None, None]
    centre = (line.place[:-1] + share * np.diff(line.place, axis=0)).reshape(-1, 1, 2)
    reach = np.array([(e, n) for e in (-STRIP, 0, STRIP) for n in (-STRIP, 0, STRIP)])
    spot = (centre + reach).reshape(-1, 2)
    column, row = (spot[:, 0] - west) // side, (north - spot[:, 1]) // side
    return np.unique(np.stack([row, column], axis=1).astype(int), axis=0)


def _lattices(rows, columns, cell, seed):
    """Wavelength [cells] and random lattice of each wave over the whole raster, with a margin of its spline."""
    rng = np.random.default_rng([seed, 1])
    waves = [(int(length / cell), height) for length, height in WAVES]
    return [
        (wave, rng.normal(0, height, (rows // wave + 5, columns // wave + 5)).astype("f4"))
        for wave, height in waves
    ]


def _block(lattices, size, row, column, seed):
    total = np.full((size, size), 200.0)
    for wave, lattice in lattices:
        down, i = _spline(row, size, wave)
        across, j = _spline(column, size, wave)
        total += down @ lattice[i : i + down.shape[1], j : j + across.shape[1]] @ across.T
    rng = np.random.default_rng([seed, 2, row, column])
    return (total + rng.normal(0, NOISE, total.shape)).astype("f4")


def _spline(block, size, wave):
    """Cubic B-spline weights (cell, lattice node) of a block along one axis, and its first node."""
    position = (block * size + np.arange(size) + 0.5) / wave
    node = np.floor(position).astype(int)
    t = position - node
    weights = (
        np.stack(
            [(1 - t) ** 3, 3 * t**3 - 6 * t**2 + 4, -3 * t**3 + 3 * t**2 + 3 * t + 1, t**3], axis=1
        )
        / 6
    )
    matrix = np.zeros((size, node[-1] - node[0] + 4))
    np.put_along_axis(matrix, (node - node[0])[:, None] + np.arange(4), weights, axis=1)
    return matrix, node[0]


#: How the line is laid and its ground stored, by kind.
KINDS = {"strip": (lay_line, Grid(1.0, 256, whole=False)), "hills": (lay_over_hills, Grid(2.0, 512, whole=True))}


def make_corridor(folder, spans, *, seed=1, kind="strip"):
    """Write a whole corridor and return the path of its study file, which asks for the ruling span.

    `exact.toml` beside it is the same with the exact equilibrium, which the plain script does not know.

    Parameters
    ----------
    folder : path
        Made where it does not exist.
    spans : int
        At least 4.
    seed : int
    kind : str
        A key of `KINDS`.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng([seed, 0])
    lay, grid = KINDS[kind]
    line = lay(spans, rng)
    write_line(folder / "line.gpkg", line)
    write_obstacles(folder / "obstacles.gpkg", line, rng)
    write_ground(folder / "ground.tif", line, grid, seed)
    (folder / "framings.csv").write_text(FRAMINGS, encoding="utf-8")
    (folder / "rules.csv").write_text(RULES, encoding="utf-8")
    options = "".join(OPTION.format(**option) for option in OPTIONS)
    study = folder / "study.toml"
    for path, method in ((study, "ruling_span"), (folder / "exact.toml", "equilibrium")):
        path.write_text(STUDY.format(spans=spans, crs=CRS, method=method) + options + CASES, encoding="utf-8")
    return study


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--spans", type=int, default=3000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kind", choices=KINDS, default="strip")
    chosen = parser.parse_args()
    print(make_corridor(chosen.folder, chosen.spans, seed=chosen.seed, kind=chosen.kind))
