"""Make a network of lines of an invented corridor: copies of it side by side, each cut into lines.

    python -m tests.benchmarks.network CORRIDOR FOLDER --copies 10 --lines 20 --far 500000

CORRIDOR is what `make_corridor` made. The ground of all copies is one virtual raster over the one file, so that any
number of spans needs no more disk. `--far` crowns lie anywhere in the square about all lines: a country, most of which
no line needs.
"""

import argparse
import shutil
from pathlib import Path

import geopandas
import numpy as np
import pandas
import rasterio
import shapely

#: Copies in a row.
ACROSS = 5


def make_network(corridor, folder, copies, lines, far=0, seed=1):
    """Write the network and return the path of its study file, `exact.toml` beside it.

    Parameters
    ----------
    corridor, folder : path
    copies : int
    lines : int
        Lines that each copy is cut into.
    far : int
        Crowns more, anywhere.
    seed : int
    """
    corridor, folder = Path(corridor), Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    with rasterio.open(corridor / "ground.tif") as raster:
        size, transform, crs = (raster.width, raster.height), raster.transform, raster.crs
    cells = np.array([(i % ACROSS * size[0], i // ACROSS * size[1]) for i in range(copies)])
    shifts = cells * np.array([transform.a, transform.e])
    _write_ground(folder / "ground.vrt", corridor / "ground.tif", cells, size, transform, crs)
    own = cut(geopandas.read_file(corridor / "line.gpkg"), lines)
    _moved(own, shifts, lambda frame, i: frame.assign(line=f"{i:03d}-" + frame["line"])).to_file(
        folder / "line.gpkg", layer="structures", driver="GPKG")
    for name in ("roads", "buildings", "trees"):
        things = _moved(geopandas.read_file(corridor / "obstacles.gpkg", layer=name), shifts)
        if name == "trees" and far:
            things = pandas.concat([things, _anywhere(things, far, seed)], ignore_index=True)
        things.assign(id=np.arange(len(things))).to_file(folder / "obstacles.gpkg", layer=name, driver="GPKG")
    for name in ("framings.csv", "rules.csv"):
        shutil.copy(corridor / name, folder)
    for name in ("study.toml", "exact.toml"):
        text = (corridor / name).read_text(encoding="utf-8").replace("ground.tif", "ground.vrt")
        (folder / name).write_text(text, encoding="utf-8")
    return folder / "study.toml"


def cut(structures, lines):
    """Return structures with names of lines: a span goes where one ends and the next begins."""
    structures = structures.sort_values("order").reset_index(drop=True)
    strain = np.flatnonzero(structures["role"] == "strain")
    wanted = np.linspace(0, len(structures), lines + 1)[1:-1]
    first = np.unique(strain[np.abs(strain[:, None] - wanted).argmin(axis=0)])
    number = np.searchsorted(first, structures.index, side="right")
    ends = np.r_[True, number[1:] != number[:-1]] | np.r_[number[1:] != number[:-1], True]
    return structures.assign(line=[f"{each:03d}" for each in number], framing=np.where(
        ends, "anchor", structures["framing"]), role=np.where(ends, "terminal", structures["role"]))


def _moved(frame, shifts, name=lambda frame, i: frame):
    copies = [name(frame.assign(geometry=frame.geometry.translate(*shift)), i) for i, shift in enumerate(shifts)]
    return geopandas.GeoDataFrame(pandas.concat(copies, ignore_index=True), crs=frame.crs)


def _anywhere(things, count, seed):
    rng = np.random.default_rng([seed, 7])
    west, south, east, north = things.total_bounds
    places = shapely.points(rng.uniform(west, east, count), rng.uniform(south, north, count))
    return geopandas.GeoDataFrame({"height": np.round(rng.uniform(2, 9, count), 2),
                                   "radius": np.round(rng.uniform(1.5, 3, count), 2)}, geometry=places, crs=things.crs)


def _write_ground(path, source, cells, size, transform, crs):
    """Write a virtual raster of copies of one file."""
    wide, high = cells.max(axis=0) + size
    sources = "".join(
        f'<ComplexSource><SourceFilename relativeToVRT="1">ground.tif</SourceFilename><SourceBand>1</SourceBand>'
        f'<SrcRect xOff="0" yOff="0" xSize="{size[0]}" ySize="{size[1]}"/>'
        f'<DstRect xOff="{x}" yOff="{y}" xSize="{size[0]}" ySize="{size[1]}"/><NODATA>-9999</NODATA></ComplexSource>'
        for x, y in cells)
    geo = ", ".join(repr(each) for each in transform.to_gdal())
    path.write_text(f'<VRTDataset rasterXSize="{wide}" rasterYSize="{high}"><SRS>{crs.to_string()}</SRS><GeoTransform>'
                    f'{geo}</GeoTransform><VRTRasterBand dataType="Float32" band="1" blockXSize="256" blockYSize="256">'
                    f"<NoDataValue>-9999</NoDataValue>{sources}</VRTRasterBand></VRTDataset>", encoding="utf-8")
    if not (path.parent / "ground.tif").exists():
        (path.parent / "ground.tif").hardlink_to(source)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("corridor", type=Path)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--copies", type=int, default=10)
    parser.add_argument("--lines", type=int, default=20)
    parser.add_argument("--far", type=int, default=0)
    chosen = parser.parse_args()
    print(make_network(chosen.corridor, chosen.folder, chosen.copies, chosen.lines, chosen.far))
