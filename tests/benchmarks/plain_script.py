"""The same study the plain way: what a careful GIS analyst would write with general libraries.

A raster window for every span, a root search for every section, option and case, numpy along
every wire, a spatial index for the obstacles, and a GeoPackage at the end. It knows nothing of
the package beside it, so the agreement of both is a check of both. It handles what
`make_corridor` makes and no more: no wind, one stringing limit that is a catenary constant,
vertical clearances.

    python -m tests.benchmarks.plain_script STUDY FINDINGS

prints how long it read, computed and wrote, as JSON.
"""

import csv
import json
import math
import sys
import time
import tomllib
from pathlib import Path

import geopandas
import numpy as np
import pandas as pd
import pyproj
import rasterio
import shapely
from rasterio.windows import Window

from .plain_wire import end_tension, greatest_sag, heights, section_tensions, states

EARTH = 6371008.8
VERTICES = 25
#: A window reaches this far beyond the wires, for the outlines of buildings below them [m].
MARGIN = 30.0


class Stopwatch:
    """Seconds spent in each phase; one phase at a time."""

    def __init__(self):
        self.seconds = {"read": 0.0, "compute": 0.0, "write": 0.0}
        self.phase, self.since = "read", time.perf_counter()

    def switch(self, phase):
        """Book the time so far to the old phase and go on in the new one."""
        now = time.perf_counter()
        self.seconds[self.phase] += now - self.since
        self.phase, self.since = phase, now


class Ground:
    """Bilinear heights from a raster, one window at a time."""

    def __init__(self, path, watch):
        self.raster, self.watch = rasterio.open(path), watch

    def cell(self, e, n):
        """Column and row, with fractions, of places in a raster whose north is up."""
        t = self.raster.transform
        return (e - t.c) / t.a, (n - t.f) / t.e

    def window(self, points, margin=0.0):
        """Read the window around points (n, 2) and return the function that samples it."""
        self.watch.switch("read")
        column, row = self.cell(*points.T)
        c0, r0 = int(column.min() - margin) - 1, int(row.min() - margin) - 1
        width, height = int(column.max() + margin) + 3 - c0, int(row.max() + margin) + 3 - r0
        cells = (
            self.raster.read(1, window=Window(c0, r0, width, height), masked=True)
            .filled(np.nan)
            .astype(float)
        )
        self.watch.switch("compute")

        def sample(e, n):
            c, r = self.cell(e, n)
            c, r = c - 0.5 - c0, r - 0.5 - r0
            i, j = np.floor(r).astype(int), np.floor(c).astype(int)
            u, v = r - i, c - j
            upper = (1 - v) * cells[i, j] + v * cells[i, j + 1]
            lower = (1 - v) * cells[i + 1, j] + v * cells[i + 1, j + 1]
            return (1 - u) * upper + u * lower

        sample.cell = self.raster.transform.a
        return sample


# --- the line ---


def read_study(path):
    """Read the study file and all vector and text inputs."""
    study = tomllib.loads(path.read_text(encoding="utf-8"))
    folder = path.parent
    structures = geopandas.read_file(
        folder / study["structures"]["file"], layer=study["structures"]["layer"]
    )
    structures = structures.sort_values(["line", "order"]).to_crs(study["study"]["crs"])
    framings = {}
    with (folder / study["framings"]["file"]).open(newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            drop = float(row["string_length"]) if row["string"] == "suspension" else 0.0
            framings.setdefault(row["framing"], {})[row["wire"]] = (
                float(row["offset"]),
                float(row["height"]) - drop,
            )
    with (folder / study["rules"]["file"]).open(newline="", encoding="utf-8") as file:
        rules = {row["against"]: (row["rule"], float(row["base"])) for row in csv.DictReader(file)}
    return study, structures, framings, rules, read_obstacles(study, folder)


def read_obstacles(study, folder):
    """Read all obstacle layers into one table; `search` holds a point's circle in a square."""
    crs, layers = study["study"]["crs"], []
    for part in study["obstacles"]:
        layer = geopandas.read_file(folder / part["file"], layer=part["layer"]).to_crs(crs)
        radius = layer[part["radius_column"]] if "radius_column" in part else 0.0
        square = layer.geometry.buffer(radius, cap_style="square")
        columns = {
            "obstacle": part["name"] + ":" + layer[part["id_column"]].astype(str),
            "category": part["category"],
            "height": layer[part["height_column"]] if "height_column" in part else part["height"],
            "radius": radius,
            "shape": layer.geometry.values,
            "search": square.values if "radius_column" in part else layer.geometry.values,
        }
        layers.append(pd.DataFrame(columns))
    return pd.concat(layers, ignore_index=True)


def ground_factors(crs, e, n, base):
    """Ground length over grid length of every span: scale at its middle and mean elevation."""
    middle_e, middle_n = (e[:-1] + e[1:]) / 2, (n[:-1] + n[1:]) / 2
    longitude, latitude = pyproj.Transformer.from_crs(
        crs, pyproj.CRS(crs).geodetic_crs, always_xy=True
    ).transform(middle_e, middle_n)
    scale = pyproj.Proj(crs).get_factors(longitude, latitude).meridional_scale
    return (1 + (base[:-1] + base[1:]) / 2 / EARTH) / scale


def crossarms(e, n):
    """Unit vectors that point right along every crossarm, across the bisector of the line angle."""
    azimuth = np.arctan2(np.diff(e), np.diff(n))
    before, after = np.r_[azimuth[0], azimuth], np.r_[azimuth, azimuth[-1]]
    turn = (after - before + np.pi) % (2 * np.pi) - np.pi
    right = before + turn / 2 + np.pi / 2
    return np.stack([np.sin(right), np.cos(right)], axis=1)


# --- the checks ---


def along(a, b, low, high, cell):
    """Shares of the chord between two shares, half a cell apart or closer, both ends included."""
    size = math.hypot(b[0] - a[0], b[1] - a[1])
    return np.linspace(low, high, int((high - low) * size / (cell / 2)) + 2)


def stretches(chord, shape, radius):
    """Shares of the chord at which each of its pieces inside a shape begins and ends."""
    if radius:
        yield from inside_circle(chord, shape, radius)
        return
    for piece in shapely.get_parts(shapely.intersection(chord, shape)):
        spots = shapely.points(shapely.get_coordinates(piece))
        place = shapely.line_locate_point(chord, spots, normalized=True)
        yield place.min(), place.max()


def inside_circle(chord, centre, radius):
    """The one piece of the chord inside a circle, if there is one."""
    (ae, an), (be, bn) = chord.coords
    size = chord.length
    ue, un = (be - ae) / size, (bn - an) / size
    foot = (centre.x - ae) * ue + (centre.y - an) * un
    across = (centre.x - ae) * un - (centre.y - an) * ue
    if abs(across) < radius:
        half = math.sqrt(radius**2 - across**2)
        low, high = max(foot - half, 0.0), min(foot + half, size)
        if low <= high:
            yield low / size, high / size


def check_wire(a, b, S, C, sample, obstacles, tree, worst):
    """Compare a wire with the ground and all it crosses; keep the span's least in `worst`."""

    def compare(key, t, top):
        z = heights(t, S, a[2], b[2], C)
        gap = z - top
        place = gap.argmin(axis=1)
        for state, p in enumerate(place):
            here = float(gap[state, p])
            old = worst.get((key, state))
            if old is None or here < old[0]:
                worst[key, state] = here, t[p], z[state, p], a, b

    def ground(t):
        return sample(a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1]))

    t = along(a, b, 0, 1, sample.cell)
    compare(-1, t, ground(t))
    chord = shapely.LineString([a[:2], b[:2]])
    for k in tree.query(chord, predicate="intersects"):
        shape, category = obstacles.shape_list[k], obstacles.category_list[k]
        height = obstacles.height_list[k]
        for low, high in stretches(chord, shape, obstacles.radius_list[k]):
            t = along(a, b, low, high, sample.cell)
            if category == "building":
                corner = shapely.get_coordinates(shape)
                top = np.full(len(t), sample(*corner.T).max() + height)
            else:
                top = ground(t) + height
            compare(int(k), t, top)


class ObstacleLists:
    """Columns of the obstacles as plain lists, quick to index."""

    def __init__(self, table):
        self.name_list = list(table.obstacle)
        self.shape_list, self.category_list = list(table["shape"]), list(table.category)
        self.height_list, self.radius_list = list(table.height), list(table.radius)


def clearance_rows(keys, worst, table, obstacles, rules):
    """Rows of the layer `clearances` of one span."""
    for (k, state), (actual, t, z, a, b) in worst.items():
        against = "ground" if k < 0 else obstacles.category_list[k]
        rule, required = rules[against]
        yield dict(
            keys[0],
            wire=keys[1][a],
            option=table[state]["option"]["name"],
            case=table[state]["case"],
            against=against,
            obstacle=None if k < 0 else obstacles.name_list[k],
            rule=rule,
            measure="vertical",
            required_m=required,
            actual_m=actual,
            margin_m=actual - required,
            wire_elevation_m=z,
            other_elevation_m=z - actual,
            geometry=shapely.Point(a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1]), z),
        )


def wire_rows(key, wire, a, b, S, C, H, table):
    """Rows of the layer `wires` of one wire in one span."""
    t = np.linspace(0, 1, VERTICES)
    z, sag, greatest = (
        heights(t, S, a[2], b[2], C),
        greatest_sag(S, a[2], b[2], C),
        end_tension(S, a[2], b[2], C, H),
    )
    e, n = a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])
    for i, state in enumerate(table):
        yield dict(
            key,
            wire=wire,
            option=state["option"]["name"],
            case=state["case"],
            sag_m=sag[i],
            horizontal_tension_n=H[i],
            maximum_tension_n=greatest[i],
            percent_rts=100 * greatest[i] / state["conductor"]["rts"],
            conductor_temperature_c=state["T"],
            condition=state["condition"],
            swing_deg=0.0,
            geometry=shapely.linestrings(e, n, z[i]),
        )


def attachments(i, line, framings, factor):
    """Both ends (easting, northing, elevation) of every wire of span i."""

    def end(j, wire):
        offset, height = framings[line["framing"][j]][wire]
        out = offset / factor
        return (
            line["e"][j] + out * line["right"][j, 0],
            line["n"][j] + out * line["right"][j, 1],
            line["base"][j] + height,
        )

    return {wire: (end(i, wire), end(i + 1, wire)) for wire in framings[line["framing"][i]]}


def lay_line(structures, ground):
    """Columns of the structures as arrays: place, base elevation, crossarm, names."""
    e, n = structures.geometry.x.values, structures.geometry.y.values
    base = np.array([ground.window(np.array([p]))(*p) for p in zip(e, n, strict=True)])
    return {
        "e": e,
        "n": n,
        "base": base,
        "right": crossarms(e, n),
        "name": list(structures.structure),
        "framing": list(structures.framing),
        "line": list(structures.line),
    }


def check_span(i, line, ends, factor, H, cases, sample, obstacles, tree, rules):
    """Rows of wires and of clearances of span i."""
    key = {"line": line["line"][i], "span": f"{line['name'][i]}-{line['name'][i + 1]}"}
    C = H / np.array([state["w"] for state in cases])
    worst, rows = {}, []
    for wire, (a, b) in ends.items():
        S = math.hypot(b[0] - a[0], b[1] - a[1]) * factor
        check_wire(a, b, S, C, sample, obstacles, tree, worst)
        rows += wire_rows(key, wire, a, b, S, C, H, cases)
    wire_of = {a: wire for wire, (a, _) in ends.items()}
    return rows, list(clearance_rows((key, wire_of), worst, cases, obstacles, rules))


def check(study, structures, framings, rules, table, ground):
    """Check every span of every section; return the rows of wires and clearances."""
    obstacles, tree = ObstacleLists(table), shapely.STRtree(table["search"].values)
    line, cases = lay_line(structures, ground), states(study)
    factor = ground_factors(study["study"]["crs"], line["e"], line["n"], line["base"])
    S = np.hypot(np.diff(line["e"]), np.diff(line["n"])) * factor
    held = np.flatnonzero(structures.role.values != "suspension")
    wires, clearances = [], []
    for first, last in zip(held[:-1], held[1:], strict=True):
        H = section_tensions(math.sqrt((S[first:last] ** 3).sum() / S[first:last].sum()), cases)
        for i in range(first, last):
            ends = attachments(i, line, framings, factor[i])
            sample = ground.window(
                np.array([p[:2] for pair in ends.values() for p in pair]), MARGIN
            )
            rows, found = check_span(
                i, line, ends, factor[i], H, cases, sample, obstacles, tree, rules
            )
            wires += rows
            clearances += found
    return wires, clearances


def main(study_path, output):
    """Check a study, write the findings, and return the seconds spent in each phase."""
    watch = Stopwatch()
    study, structures, framings, rules, obstacles = read_study(Path(study_path))
    ground = Ground(Path(study_path).parent / study["terrain"]["ground"][0], watch)
    watch.switch("compute")
    wires, clearances = check(study, structures, framings, rules, obstacles, ground)
    crs = study["study"]["crs"]
    layers = {
        "wires": wires,
        "clearances": clearances,
        "violations": [row for row in clearances if row["margin_m"] < 0],
    }
    tables = {
        name: geopandas.GeoDataFrame(rows, geometry="geometry", crs=crs)
        for name, rows in layers.items()
        if rows
    }
    watch.switch("write")
    Path(output).unlink(missing_ok=True)
    for name, layer in tables.items():
        layer.to_file(output, layer=name, driver="GPKG")
    watch.switch("read")
    return watch.seconds


if __name__ == "__main__":
    print(json.dumps(main(*sys.argv[1:])))
