"""Make the tile of surveyed points of the demo, over a part of the span N14-N15, shots on the wires of a section, and
the study with both; all invented.

`surveyed.toml` is `study.toml` with these besides. It needs the data that `make_demo.py` makes, and the extra
`cloud`. `x` is the distance from N14 along the span, `y` the offset to the right of it [m]; classes are those of ASPRS
LAS 1.4.
"""

import csv
from datetime import date

import geopandas as gpd
import laspy
import numpy as np
import rasterio
from make_demo import COMPOUND_CRS, HERE, STRUCTURES, at, natural, stations
from pyproj import CRS
from scipy.interpolate import griddata

SEED = 21
#: Part of the span that was flown, and a little beyond its end.
X, Y = (248.0, 424.0), (-30.0, 30.0)
SPAN = "N14", "N15"
#: Catenary constant of the wires on the day of the flight: 264-AL1/62-ST1A, and 105-AL1/17-ST1A above it.
CONSTANT = {"phase": 1690.0, "shield": 1700.0}
#: Structures of the section that was shot, and the constant of its phase wires then, at 20 °C: they hang some 0.3 m
#: lower than they were to be strung.
SHOT, SHOT_CONSTANT = range(11, 17), 1565.0
GROUND, LOW, MEDIUM, HIGH, ROOF, UNCLASSIFIED, NOISE = 2, 3, 4, 5, 6, 1, 7
GUARD, CONDUCTOR, TOWER, CONNECTOR, HIGH_NOISE = 13, 14, 15, 16, 18
#: x, y, height of the top, radius of the crown. The first has grown to where the wires that sag more come too near.
TREES = [(345.0, -5.2, 13.9, 2.4), (292.0, 20.0, 8.0, 2.0), (300.0, 24.5, 9.5, 2.4), (309.0, 21.5, 7.5, 1.8),
         (318.0, 25.0, 10.0, 2.5), (262.0, -24.0, 11.0, 2.6)]
#: x, y of the middle, length, width and height of the eaves of a hut.
HUT = 372.0, 5.0, 8.0, 6.0, 3.2


def place(x, y, span=SPAN):
    """Easting and northing of places in the frame of a span."""
    start = stations()[int(span[0][1:]) - 1]
    return at(start + np.asarray(x, float), y).T


def ground(x, y):
    """Elevation of the ground: that of the raster, and over its hole the natural one, joined to its rim."""
    with rasterio.open(HERE / "terrain" / "ground.tif") as raster:
        cells = raster.read(1, masked=True)
        row, column = np.nonzero(~np.ma.getmaskarray(cells))
        e, n = rasterio.transform.xy(raster.transform, row, column)
    e, n = np.array(e), np.array(n)
    middle = place(np.mean(X), 0.0)
    near = np.hypot(e - middle[0], n - middle[1]) < 130
    known = e[near], n[near], cells[row[near], column[near]]
    spot = place(x, y)
    return natural(*spot) + griddata(known[:2], known[2] - natural(*known[:2]), np.stack(spot, axis=-1))


def crown(rng, x, y, height, radius):
    """Points of a tree: the upper half of an ellipsoid, thinning out downward; x, y, height and class."""
    count = int(90 * radius)
    turn, out = rng.uniform(0, 2 * np.pi, count), radius * np.sqrt(rng.uniform(0, 1, count))
    z = height - 0.45 * height * (1 - np.sqrt(1 - (out / radius) ** 2)) - rng.exponential(0.25, count)
    z = np.maximum(z, 0.3)
    class_ = np.where(z < 0.5, LOW, np.where(z < 2, MEDIUM, HIGH))
    return x + out * np.sin(turn), y + out * np.cos(turn), z, class_


def shrubs(rng):
    """Low growth here and there."""
    count = 350
    return rng.uniform(*X, count), rng.uniform(*Y, count), rng.exponential(0.5, count) + 0.1, np.full(count, MEDIUM)


def hut(rng):
    """Points of a roof with a ridge along the line."""
    x, y, length, width, eaves = HUT
    count = 300
    across = rng.uniform(-0.5, 0.5, count)
    return (x + length * rng.uniform(-0.5, 0.5, count), y + width * across, eaves + 1.2 * (1 - 2 * np.abs(across)),
            np.full(count, ROOF))


def cars(rng):
    """Points that nobody gave a class: things on the ground that come and go."""
    count = 40
    return (rng.uniform(395, 399, count), rng.uniform(11, 13, count), rng.uniform(0.3, 1.6, count),
            np.full(count, UNCLASSIFIED))


def supports(span=SPAN):
    """Wire, kind, offset, and elevations of the wire at both ends of a span."""
    layer = gpd.read_file(HERE / "line.gpkg", layer="structures").set_index("structure")
    with (HERE / "framings.csv").open(newline="") as stream:
        rows = {(row["framing"], row["wire"]): row for row in csv.DictReader(stream)}
    base = ground_at_bases(layer, span)
    for wire in sorted({wire for _, wire in rows}):
        ends = [rows[layer.framing[name], wire] for name in span]
        tops = [b + float(e["height"]) - float(e["string_length"] or 0) for b, e in zip(base, ends, strict=True)]
        yield wire, ends[0]["kind"], [float(e["offset"]) for e in ends], tops


def ground_at_bases(layer, span):
    """Elevation of the ground at both structures."""
    with rasterio.open(HERE / "terrain" / "ground.tif") as raster:
        return [float(z[0]) for z in raster.sample([layer.geometry[name].coords[0] for name in span])]


def hung(x, length, first, last, constant):
    """Elevation of a wire at distances from the start of its span."""
    low = length / 2 - constant * np.arcsinh((last - first) / (2 * constant * np.sinh(length / 2 / constant)))
    return first + constant * (np.cosh((x - low) / constant) - np.cosh(low / constant))


def shots():
    """Rows of shots on the phase wires of a section: easting, northing, elevation, span, wire."""
    rng = np.random.default_rng(SEED)
    for number in SHOT[:-1]:
        span = f"N{number:02d}", f"N{number + 1:02d}"
        length = float(STRUCTURES[number - 1][3])
        for wire, kind, offset, (first, last) in supports(span):
            if kind != "phase":
                continue
            x = length * (np.array([0.1, 0.3, 0.5, 0.7, 0.9]) + rng.uniform(-0.04, 0.04, 5))
            z = hung(x, length, first, last, SHOT_CONSTANT) + rng.normal(0, 0.01, 5)
            e, n = place(x, np.interp(x, [0, length], offset) + rng.normal(0, 0.01, 5), span)
            yield from ([f"{a:.3f}", f"{b:.3f}", f"{c:.3f}", "-".join(span), wire]
                        for a, b, c in zip(e, n, z, strict=True))


def wires(rng):
    """Points of our own wires and of the strings at the far end: x, y, elevation, class."""
    length = float(STRUCTURES[int(SPAN[0][1:]) - 1][3])
    for _, kind, (offset, _), (first, last) in supports():
        x = np.arange(X[0], length, 0.6) + rng.uniform(0, 0.3)
        z = hung(x, length, first, last, CONSTANT[kind])
        yield x, offset + rng.normal(0, 0.02, len(x)), z + rng.normal(0, 0.02, len(x)), np.full(
            len(x), CONDUCTOR if kind == "phase" else GUARD)
        up = np.linspace(0.2, 1.2, 6)
        yield np.full(6, length), np.full(6, offset), last + up, np.full(6, CONNECTOR)


def tower(rng):
    """Points of the far structure: legs that lean together, and arms."""
    length = float(STRUCTURES[int(SPAN[0][1:]) - 1][3])
    height = rng.uniform(0.5, 29, 420)
    half = 2.2 - 2.0 * height / 29
    side = rng.choice([-1, 1], (2, 420))
    x, y, z = length + half * side[0], half * side[1], height
    arm = rng.uniform(-4, 4, 160)
    return (np.r_[x, np.full(160, length)], np.r_[y, arm], np.r_[z, np.where(rng.uniform(size=160) < 0.6, 21, 24.6)],
            np.full(580, TOWER))


def points():
    """All points: easting, northing, elevation and class."""
    rng = np.random.default_rng(SEED)
    x, y = (v.ravel() + rng.uniform(-0.4, 0.4, v.size) for v in np.meshgrid(np.arange(*X), np.arange(*Y)))
    parts = [(x, y, rng.normal(0, 0.02, len(x)), np.full(len(x), GROUND)), shrubs(rng), hut(rng), cars(rng), tower(rng)]
    parts += [crown(rng, *tree) for tree in TREES]
    x, y, height, class_ = (np.concatenate(column) for column in zip(*parts, strict=True))
    low, high = np.array([[260, -8, -35], [300, 12, -22]]), np.array([[330, 0, 60], [350, -15, 45]])
    noise = np.vstack([low, high])
    parts = [(x, y, ground(x, y) + height, class_), *wires(rng),
             (*noise[:, :2].T, ground(*noise[:, :2].T) + noise[:, 2], np.array([NOISE, NOISE, HIGH_NOISE, HIGH_NOISE]))]
    x, y, z, class_ = (np.concatenate(column) for column in zip(*parts, strict=True))
    return (*place(x, y), z, class_)


def study():
    """Text of the study with the tile and the shots: that of `study.toml`, with a head, an output and two tables."""
    text = (HERE / "study.toml").read_text(encoding="utf-8")
    for old, new in (
        (text.splitlines()[0], "# The study of study.toml, with a surveyed tile and shots on wires besides: "
                               "make_tile.py makes it.\n# Reading it needs the extra `cloud`."),
        ('output = "findings.gpkg"', 'output = "findings-surveyed.gpkg"'),
        ("[right_of_way]", '[[point_clouds]]\nname = "survey"\nfiles = ["surveyed.laz"]\n'
                           "ground = true                    # fills the hole of ground.tif\n\n"
                           '[[surveys]]                      # the wires of N11-N16 as they hang\nname = "shots"\n'
                           'files = ["shots.csv"]\ntime = "a still morning"\ntemperature = 20\ntemperature_band = 3\n'
                           'accuracy = "10 mm"\n\n[right_of_way]')):
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


def main():
    """Make the tile, the shots and the study."""
    (HERE / "surveyed.toml").write_text(study(), encoding="utf-8")
    with (HERE / "shots.csv").open("w", newline="", encoding="utf-8") as stream:
        csv.writer(stream, lineterminator="\n").writerows(
            [["easting", "northing", "elevation", "span", "wire"], *shots()])
    header = laspy.LasHeader(point_format=6, version="1.4")
    header.creation_date = date(2020, 1, 1)
    header.generating_software, header.system_identifier = "make_tile.py", "invented"
    header.add_crs(CRS(COMPOUND_CRS))
    e, n, z, class_ = points()
    header.scales, header.offsets = np.full(3, 0.01), np.floor([e.min(), n.min(), z.min()])
    tile = laspy.LasData(header)
    tile.x, tile.y, tile.z, tile.classification = e, n, z, class_.astype(np.uint8)
    tile.write(str(HERE / "surveyed.laz"))


if __name__ == "__main__":
    main()
