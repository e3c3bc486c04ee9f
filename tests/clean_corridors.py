"""Three invented corridors without an error in their data, every part of which a test can spoil before it is written.

Hills at 250 m with a 110 kV line in metres; low land at 4 m with a 220 kV line whose bases the ground gives; and the
first in US survey feet, in a grid of a state, with every unit said in the study.
"""

from copy import deepcopy
from dataclasses import dataclass, field
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import rasterio
import shapely
from rasterio.transform import Affine

#: Spans and their length, and the margin of the ground raster about the line [m].
SPANS, LENGTH, MARGIN = 16, 300.0, 160.0
SURVEY_FOOT = 1200 / 3937  # m, NIST SP 811

CONDUCTOR = {"name": "ours", "family": "hard-drawn aluminium on steel", "outer_area": 263.7e-6, "core_area": 61.7e-6,
             "diameter": 0.02337, "mass": 1.218, "rts": 96.1e3, "resistance_20": 0.1094e-3}
FRAMINGS = pd.DataFrame([
    (framing, wire, "phase", 1, offset, height, string, *more)
    for framing, string, more in (("hang", "suspension", (1.5, 40.0)), ("hold", "strain", (0.0, 0.0)))
    for wire, offset, height in (("A", -4.0, 26.0), ("B", 4.5, 26.0), ("C", 0.0, 30.0))],
    columns=["framing", "wire", "kind", "circuit", "offset", "height", "string", "string_length", "string_mass"])
RULES = pd.DataFrame([("open", "ground", "vertical", 6.0, 0.01, 22), ("road", "road", "vertical", 7.0, 0.01, 22),
                      ("roof", "building", "vertical", 4.0, 0.01, 22), ("tree", "tree", "vertical", 2.5, 0.01, 22),
                      ("line", "line", "vertical", 2.5, 0.01, 22)],
                     columns=["rule", "against", "measure", "base", "per_kv", "above_kv"])


def study_tables(kilovolts):
    """The tables of a study file, with every layer of `Corridor`."""
    return {
        "study": {"voltage": kilovolts * 1e3, "crs": None}, "terrain": {"ground": ["ground.tif"], "vertical_unit": "m"},
        "structures": {"file": "line.gpkg"}, "framings": {"file": "framings.csv"}, "conductors": [dict(CONDUCTOR)],
        "options": [{"name": "today", "conductor": "ours", "existing": True, "maximum_temperature": 75,
                     "measured": "measured.csv",
                     "stringing": [{"limit": "18 % RTS", "temperature": 10}]}],
        "cases": [{"name": "hot", "temperature": "maximum", "checks": ["vertical"]},
                  {"name": "ice", "temperature": 0, "ice": "12 mm", "checks": ["vertical"]},
                  {"name": "wind", "temperature": 10, "wind": "290 Pa"}],
        "rules": {"file": "rules.csv"}, "right_of_way": {"file": "way.gpkg"},
        "rating": {"ambient": 35, "wind_speed": 0.6, "solar": 1000},
        "obstacles": [
            {"name": "roads", "file": "roads.gpkg", "category": "road", "height": 0, "radius_column": "half_width"},
            {"name": "streets", "file": "streets.gpkg", "category": "road", "elevation_column": "z", "radius": 3},
            {"name": "houses", "file": "houses.gpkg", "category": "building", "height_column": "h"},
            {"name": "roofs", "file": "roofs.gpkg", "category": "building", "elevation_column": "top"},
            {"name": "trees", "file": "trees.gpkg", "category": "tree", "height_column": "h", "radius_column": "crown"},
            {"name": "lines", "file": "lines.gpkg", "category": "line", "voltage_column": "u"}]}


@dataclass
class Corridor:
    """A corridor before it is written; layers are data frames in its own grid and units."""

    tables: dict
    structures: gpd.GeoDataFrame
    layers: dict
    way: gpd.GeoDataFrame
    ground: np.ndarray
    transform: Affine
    crs: str
    framings: pd.DataFrame = field(default_factory=lambda: FRAMINGS.copy())
    rules: pd.DataFrame = field(default_factory=lambda: RULES.copy())
    measured: pd.DataFrame | None = None
    nodata: float | None = None
    ground_crs: str | None = None

    def copy(self):
        """A copy to spoil."""
        return deepcopy(self)

    def section(self, name):
        """Table of the obstacles of that name."""
        return next(each for each in self.tables["obstacles"] if each["name"] == name)

    @property
    def vectors(self):
        """Every layer by the name of its file."""
        return {**self.layers, "line": self.structures, "way": self.way}

    def write(self, folder, clean=None):
        """Write all files; those alone that differ from the corridor `clean`, where the folder holds its files."""
        folder = Path(folder)
        for name, frame in self.vectors.items():
            if clean is None or not (frame.equals(clean.vectors[name]) and frame.crs == clean.vectors[name].crs):
                (folder / f"{name}.gpkg").unlink(missing_ok=True)
                frame.to_file(folder / f"{name}.gpkg", layer=name, driver="GPKG")
        for name in ("framings", "rules", "measured"):
            getattr(self, name).to_csv(folder / f"{name}.csv", index=False)
        if clean is None or self.ground_crs or not np.array_equal(self.ground, clean.ground):
            self._write_ground(folder / "ground.tif")

    def _write_ground(self, path):
        z = self.ground.astype("float32")
        with rasterio.open(path, "w", driver="GTiff", width=z.shape[1], height=z.shape[0], count=1, dtype="float32",
                           crs=self.ground_crs or self.crs, transform=self.transform, nodata=self.nodata,
                           tiled=True) as dataset:
            dataset.write(z, 1)


def heights(easting, northing, base, relief):
    """Elevation of invented ground [m], `easting` and `northing` from the first structure."""
    return base + relief * (np.sin(easting / 270) + 0.4 * np.sin(northing / 67 + easting / 95)
                            + 0.05 * np.sin(easting / 7.3) * np.sin(northing / 5.1))


def make(crs, origin, kilovolts, *, base, relief, cell, bases=True, unit=1.0, seed=1):
    """A corridor to the east from `origin` [m] in a grid whose unit is `unit` [m]."""
    rng = np.random.default_rng(seed)
    angle = np.radians(np.repeat([0, 6, -5], [5, 6, SPANS - 11]))
    step = LENGTH * rng.uniform(0.85, 1.1, SPANS)
    place = np.r_[[[0.0, 0.0]], np.cumsum(np.stack([step * np.cos(angle), step * np.sin(angle)], axis=-1), axis=0)]

    def z(points):
        return heights(*np.asarray(points).T, base, relief)

    def at(span, share, offset):
        a, b = place[span], place[np.asarray(span) + 1]
        along = (b - a) / np.linalg.norm(b - a, axis=-1)[:, None]
        return a + (b - a) * np.asarray(share)[:, None] + np.stack([along[:, 1], -along[:, 0]], axis=-1) * np.asarray(
            offset)[:, None]

    def frame(shapes, **columns):
        moved = shapely.transform(np.asarray(shapes, object), lambda xyz: np.c_[
            (xyz[:, :2] + origin) / unit, xyz[:, 2:] / unit], include_z=bool(shapely.has_z(shapes[0])))
        return gpd.GeoDataFrame(columns, geometry=moved, crs=crs)

    role = np.full(SPANS + 1, "suspension", object)
    role[[0, -1]], role[[5, 11]] = "terminal", "strain"
    more = {"base_elevation": z(place) / unit} if bases else {}
    structures = frame(shapely.points(place), structure=[f"T{i + 1}" for i in range(SPANS + 1)],
                       order=np.arange(1, SPANS + 2), role=role,
                       framing=np.where(role == "suspension", "hang", "hold"), **more)
    layers = _things(rng, z, at, frame, unit)
    way = frame([shapely.buffer(shapely.linestrings(place), 25.0)])
    west, north = place[:, 0].min() - MARGIN, place[:, 1].max() + MARGIN
    columns, rows = ((np.ptp(place, axis=0) + 2 * MARGIN) / cell).astype(int)
    e, n = np.meshgrid(west + (np.arange(columns) + 0.5) * cell, north - (np.arange(rows) + 0.5) * cell)
    ground = (heights(e, n, base, relief) + rng.normal(0, 0.02, e.shape)) / unit
    transform = Affine(cell / unit, 0, (west + origin[0]) / unit, 0, -cell / unit, (north + origin[1]) / unit)
    names = structures["structure"]
    measured = pd.DataFrame({"section": [f"{names[a]}-{names[b]}" for a, b in ((0, 5), (5, 11), (11, SPANS))],
                             "temperature": 15.0, "horizontal_tension": 16.5e3})
    tables = study_tables(kilovolts)
    tables["study"].pop("crs")
    return Corridor(tables, structures, layers, way, ground, transform, crs, measured=measured)


def _things(rng, z, at, frame, unit):
    """Layers of what stands about the line."""
    def across(spans, reach=90.0):
        ends = np.stack([at(spans, np.full(len(spans), 0.4), np.full(len(spans), side * reach)) for side in (-1, 1)], 1)
        return ends

    def boxes(spans, low, high):
        offset = rng.uniform(low, high, len(spans)) * rng.choice([-1, 1], len(spans))
        centre = at(spans, rng.uniform(0.2, 0.8, len(spans)), offset)
        return centre, shapely.box(*(centre - 5).T, *(centre + 4).T)

    roads = across(np.arange(0, 15, 3))
    streets = across(np.arange(1, 15, 2))
    _, houses = boxes(np.arange(0, 16, 2), 15, 45)
    centre, roofs = boxes(np.arange(1, 16, 2), 14, 40)
    span = rng.integers(0, SPANS, 40)
    trees = at(span, rng.uniform(0.1, 0.9, 40), rng.uniform(-45, 45, 40))
    lines = at(np.repeat([2, 8, 13], 3), np.full(9, 0.12), np.tile([-120.0, 0.0, 120.0], 3)).reshape(3, 3, 2)
    wires = np.concatenate([lines, z(lines.reshape(-1, 2)).reshape(3, 3, 1) + [[10.0], [8.5], [10.0]]], axis=-1)
    return {
        "roads": frame(shapely.linestrings(roads), half_width=np.full(len(roads), 3.5) / unit),
        "streets": frame(shapely.linestrings(streets), z=(z(streets.mean(axis=1)) + 0.1) / unit),
        "houses": frame(houses, h=rng.uniform(4, 8, len(houses)).round(1) / unit),
        "roofs": frame(roofs, top=(z(centre) + rng.uniform(4, 7, len(roofs))).round(2) / unit),
        "trees": frame(shapely.points(trees), h=rng.uniform(4, 8, 40).round(1) / unit,
                       crown=rng.uniform(1, 3, 40).round(1) / unit),
        "lines": frame(shapely.linestrings(wires), u=np.full(3, 20e3))}


def hills():
    """110 kV over hills, in metres."""
    return make("EPSG:25832", (500_000.0, 5_600_000.0), 110, base=250.0, relief=8.0, cell=2.0)


def lowland():
    """220 kV over low land; the ground gives the bases."""
    made = make("EPSG:25831", (600_000.0, 5_800_000.0), 220, base=4.0, relief=0.8, cell=1.0, bases=False, seed=2)
    made.framings.loc[made.framings.framing == "hang", "string_length"] = 2.4
    return made


def feet():
    """115 kV over hills, in US survey feet and a grid of a state; the study says every unit."""
    made = make("EPSG:2264", (600_000.0, 210_000.0), 115, base=220.0, relief=8.0, cell=2.0, unit=SURVEY_FOOT, seed=3)
    t = made.tables
    t["terrain"]["vertical_unit"] = "us-ft"
    t["structures"]["base_elevation_unit"] = "us-ft"
    for column in ("offset", "height", "string_length"):
        made.framings[column] /= SURVEY_FOOT
        t["framings"][f"{column}_unit"] = "us-ft"
    made.framings["string_mass"] /= 0.45359237
    t["framings"]["string_mass_unit"] = "lb"
    made.rules["base"] /= 0.3048
    t["rules"]["base_unit"] = "ft"
    made.measured["horizontal_tension"] /= 4.4482216152605
    t["options"][0]["measured_horizontal_tension_unit"] = "lbf"
    for name, keys in {"roads": ["radius"], "streets": ["elevation"], "houses": ["height"], "roofs": ["elevation"],
                       "trees": ["height", "radius"], "lines": ["elevation"]}.items():
        made.section(name).update({f"{key}_unit": "us-ft" for key in keys})
    made.layers["lines"]["u"] /= 1e3
    made.section("lines")["voltage_unit"] = "kV"
    return made


CLEAN = {"hills": hills, "lowland": lowland, "feet": feet}
