"""Make the data of the demo corridor: ground, structures, framings and obstacles; all invented.

Run it from anywhere; it writes beside itself, always the same. `study.toml` and `my_rules.csv` are
written by hand. Lengths and elevations [m], angles [deg], azimuths clockwise from grid north.
Station and offset: along the line, and right of it.
"""

from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import rasterio
import shapely
from rasterio.transform import from_origin
from scipy.ndimage import gaussian_filter, gaussian_filter1d

HERE = Path(__file__).parent
SEED = 20
CRS = "EPSG:25832"
COMPOUND_CRS = "EPSG:25832+7837"
ORIGIN = np.array([561200.0, 5646800.0])
AZIMUTH = 70.0
CELL = 2.0
STRIP = 150.0
STEP = 1 / 64  # a binary fraction of a metre leaves zeros in float32, which deflate likes

#: framing of each structure, its role, turn of the line there, and span ahead.
STRUCTURES = [
    ("T15", "terminal", 0, 260), ("S21", "suspension", 0, 310), ("S18", "suspension", 0, 335),
    ("S21", "suspension", 0, 290), ("S18", "suspension", 0, 305), ("R21", "strain", 18, 300),
    ("S18", "suspension", 0, 350), ("S21", "suspension", 0, 420), ("S21", "suspension", 0, 345),
    ("S21", "suspension", 0, 280), ("R21", "strain", -27, 330), ("S21", "suspension", 0, 395),
    ("S18", "suspension", 0, 185), ("S21", "suspension", 0, 410), ("S21", "suspension", 0, 300),
    ("R18", "strain", 34, 320), ("S21", "suspension", 0, 270), ("S18", "suspension", 0, 380),
    ("S18", "suspension", 0, 310), ("P22", "suspension", 0, 340), ("P22", "suspension", 0, 290),
    ("R18", "strain", -12, 315), ("S21", "suspension", 0, 350), ("S21", "suspension", 0, 280),
    ("S21", "suspension", 0, 330), ("S21", "suspension", 0, 260), ("S18", "suspension", 0, 240),
    ("T15", "terminal", 0, 0),
]
#: wire, kind, offset, and height above the lowest crossarm, which the framing's name tells.
WIRES = [
    ("A", "phase", -3.8, 0.0), ("B", "phase", 3.8, 0.0), ("C", "phase", 3.1, 3.6),
    ("S", "shield", 0.0, 8.0),
]
#: Of the portals that keep the line low below another: one level, the shield wire among the phases and below them.
PORTAL_WIRES = [
    ("A", "phase", -5.0, 0.0), ("B", "phase", 5.0, 0.0), ("C", "phase", 10.0, 0.0),
    ("S", "shield", 0.0, -2.6),
]
#: amplitude, wave length, azimuth and phase of the rolling ground.
WAVES = [(9.0, 3700, 80, 0.4), (6.0, 1650, 115, 2.1), (3.5, 900, 55, 4.0), (1.6, 420, 20, 1.0)]
#: station, offset, height, and widths along and across the line, of hills.
HILLS = [
    (7260, -220, 88, 460, 160), (4010, 60, 17, 120, 120), (1250, 320, 30, 260, 260),
    (6000, -420, 35, 230, 230), (7530, -9.5, 10, 14, 2.5),
]


@dataclass(frozen=True)
class Axis:
    """A valley, road or railway through a point of the line, swaying about an azimuth."""

    station: float
    azimuth: float
    sway: float = 0.0
    wave: float = 400.0

    def across(self, easting, northing):
        """Distance to the right of the axis, and along it from the line."""
        start, a = at(self.station), np.radians(self.azimuth)
        east, north = easting - start[0], northing - start[1]
        along = east * np.sin(a) + north * np.cos(a)
        sway = self.sway * np.sin(2 * np.pi * along / self.wave)
        return east * np.cos(a) - north * np.sin(a) - sway, along

    def path(self, half_length=330.0, step=2.0):
        """Points of the axis, shape (point, 2)."""
        along, a = np.arange(-half_length, half_length + step, step), np.radians(self.azimuth)
        right = self.sway * np.sin(2 * np.pi * along / self.wave)
        ahead, across = np.array([np.sin(a), np.cos(a)]), np.array([np.cos(a), -np.sin(a)])
        return at(self.station) + np.outer(along, ahead) + np.outer(right, across)


@dataclass(frozen=True)
class Valley:
    """A valley: elevation and fall of its floor, width, and half the width of its water.

    The larger the power, the flatter the floor.
    """

    axis: Axis
    floor: float
    fall: float
    width: float
    power: float
    water: float


@dataclass(frozen=True)
class Earthwork:
    """A road or railway: the ground is cut or filled to its profile, with sides of 1 in 1.5.

    `fill` above the ground, which is smoothed along it; a bridge of half length `gap`.
    """

    name: str
    axis: Axis
    half_width: float
    fill: float = 0.0
    smooth: float = 60.0
    gap: float = 0.0


VALLEYS = [
    Valley(Axis(2360, 12, 22, 460), 240.0, 0.003, 170, 4, 8.0),
    Valley(Axis(3725, -8, 10, 500), 258.0, 0.006, 130, 2, 1.2),
    Valley(Axis(4300, 165, 8, 420), 244.0, 0.008, 110, 2, 0.0),
    Valley(Axis(5598, 22, 6, 260), 236.0, 0.012, 58, 2.4, 2.2),
]
ROADS = [
    Earthwork("Quarry lane", Axis(745, 8, 12, 520), 2.8),
    Earthwork("Valley road", Axis(2458, 12, 6, 700), 4.5, fill=3.4),
    Earthwork("Hollow track", Axis(3760, -30, 14, 380), 1.8, smooth=25),
    Earthwork("Ravine road", Axis(5606, 133), 4.0, gap=72.0),
    Earthwork("Upper lane", Axis(7905, 4, 8, 600), 2.8),
]
RAILWAY = Earthwork("Valley railway", Axis(2264, 12), 3.2, fill=1.1, smooth=400)


def corners():
    """Position of every structure, shape (structure, 2)."""
    turn = np.array([row[2] for row in STRUCTURES], float)
    span = np.array([row[3] for row in STRUCTURES[:-1]], float)
    azimuth = np.radians(AZIMUTH + np.cumsum(turn)[:-1])
    steps = span[:, None] * np.stack([np.sin(azimuth), np.cos(azimuth)], axis=1)
    return np.round(ORIGIN + np.vstack([np.zeros(2), np.cumsum(steps, axis=0)]), 2)


def stations():
    """Station of every structure."""
    return np.r_[0, np.cumsum([row[3] for row in STRUCTURES[:-1]])].astype(float)


def at(station, offset=0.0):
    """Position at a station and offset, shape (..., 2)."""
    station, offset = np.broadcast_arrays(np.asarray(station, float), offset)
    points, s = corners(), stations()
    i = np.clip(np.searchsorted(s, station, side="right") - 1, 0, len(s) - 2)
    along = (points[i + 1] - points[i]) / (s[i + 1] - s[i])[..., None]
    right = np.stack([along[..., 1], -along[..., 0]], axis=-1)
    return points[i] + (station - s[i])[..., None] * along + offset[..., None] * right


def natural(easting, northing):
    """Elevation before people came: waves and hills, and the valleys cut into them."""
    east, north = easting - ORIGIN[0], northing - ORIGIN[1]
    z = np.full(np.shape(easting), 262.0)
    for amplitude, wave, azimuth, phase in WAVES:
        a = np.radians(azimuth)
        z += amplitude * np.sin(2 * np.pi * (east * np.sin(a) + north * np.cos(a)) / wave + phase)
    for station, offset, height, long, wide in HILLS:
        top, right = at(station, offset), at(station, 1) - at(station)
        x, y = easting - top[0], northing - top[1]
        across, along = x * right[0] + y * right[1], x * right[1] - y * right[0]
        z += height * np.exp(-((along / long) ** 2 + (across / wide) ** 2) / 2)
    for valley in VALLEYS:
        d, along = valley.axis.across(easting, northing)
        share = np.exp(-(np.abs(d / valley.width) ** valley.power))
        z += share * (valley.floor - valley.fall * along - z)
    return z


def profile(work, path):
    """Elevation along a road or railway: the smoothed ground, straight over a bridge."""
    z = gaussian_filter1d(natural(*path.T), work.smooth / 2, mode="nearest") + work.fill
    middle = np.arange(len(path)) * 2.0 - (len(path) - 1)
    inside = np.abs(middle) < work.gap
    if not inside.any():
        return z
    dry = natural(*path.T)
    ends = [np.flatnonzero(inside)[0] - 1, np.flatnonzero(inside)[-1] + 1]
    line = np.polyval(np.polyfit(middle[ends], dry[ends], 1), middle)
    weight = np.clip((np.abs(middle) - work.gap) / 60, 0, 1)
    return line * (1 - weight) + gaussian_filter1d(dry, 5) * weight


def dig(z, easting, northing, path, level, half_width, gap=0.0):
    """Cut and fill the ground about a path to its level; within the gap of a bridge leave it."""
    line = shapely.linestrings(path)
    near = np.flatnonzero(shapely.dwithin(line, shapely.points(easting, northing), half_width + 25))
    spot = shapely.points(easting[near], northing[near])
    place = shapely.line_locate_point(line, spot)
    length = np.r_[0, np.cumsum(np.hypot(*np.diff(path, axis=0).T))]
    target = np.interp(place, length, level)
    room = np.maximum(shapely.distance(line, spot) - half_width, 0) / 1.5
    worked = np.clip(z[near], target - room, target + room)
    on_land = np.abs(place - length[-1] / 2) >= gap
    z[near] = np.where(on_land, worked, z[near])


def roughness(shape, rng):
    """Uneven ground of three sizes, on the raster."""
    z = np.zeros(shape)
    for size, amplitude in ((28, 0.45), (7, 0.12), (1.5, 0.03)):
        noise = gaussian_filter(rng.standard_normal(shape), size)
        z += noise * amplitude / noise.std()
    return z


def ground(rng):
    """Return the raster of elevations (nan off the strip) and its transform."""
    strip = shapely.buffer(shapely.linestrings(corners()), STRIP)
    west, south, east, north = np.round(np.array(strip.bounds) / CELL) * CELL
    columns, rows = int((east - west) / CELL), int((north - south) / CELL)
    e, n = np.meshgrid(west + CELL * (np.arange(columns) + 0.5),
                       north - CELL * (np.arange(rows) + 0.5))
    inside = shapely.contains_xy(strip, e, n)
    x, y = e[inside], n[inside]
    z = natural(x, y) + roughness(e.shape, rng)[inside]
    for valley in VALLEYS:
        if valley.water:
            path = valley.axis.path()
            along = valley.axis.across(*path.T)[1]
            level = valley.floor - valley.fall * along - 0.5 - 0.1 * valley.water
            dig(z, x, y, path, level, valley.water)
    for work in (*ROADS, RAILWAY):
        path = work.axis.path()
        dig(z, x, y, path, profile(work, path), work.half_width, work.gap)
    raster = np.full(e.shape, np.nan)
    raster[inside] = np.round(z / STEP) * STEP
    hole = shapely.Polygon(at([4370, 4386, 4391, 4373], [-9, -10, 7, 8]))
    raster[shapely.contains_xy(hole, e, n)] = np.nan
    return raster, from_origin(west, north, CELL, CELL)


def structures():
    """The layer of structures; the ground raster shall tell where their bases are."""
    count = len(STRUCTURES)
    return frame(shapely.points(corners()), structure=[f"N{i + 1:02d}" for i in range(count)],
                 line=["Tarrowmesk 1"] * count, order=np.arange(1, count + 1),
                 role=[row[1] for row in STRUCTURES], framing=[row[0] for row in STRUCTURES])


def framings():
    """Text of the framings: S suspension, P portal, R strain, T terminal, and height of the lowest arm."""
    lines = ["framing,wire,kind,circuit,offset,height,string,string_length,string_mass"]
    for framing in sorted({row[0] for row in STRUCTURES}):
        for wire, kind, offset, above in PORTAL_WIRES if framing[0] == "P" else WIRES:
            height, hangs = float(framing[1:]) + above, framing[0] in "SP"
            length, mass = ((1.4, 38) if kind == "phase" else (0.3, 4)) if hangs else (1.5, 45)
            string = "suspension" if hangs else "strain"
            circuit = "1" if kind == "phase" else ""
            lines.append(f"{framing},{wire},{kind},{circuit},{offset},{height:.1f},"
                         f"{string},{length},{mass}")
    return "\n".join(lines) + "\n"


def roads():
    """Roads on the ground, cut where a bridge is, and bridge decks with their own elevations."""
    parts, names, widths, decks = [], [], [], []
    for work in ROADS:
        path = work.axis.path()
        middle = np.arange(len(path)) * 2.0 - (len(path) - 1)
        pieces = [path[middle <= -work.gap], path[middle >= work.gap]] if work.gap else [path]
        parts += [shapely.linestrings(piece) for piece in pieces]
        names += [work.name] * len(pieces)
        widths += [work.half_width] * len(pieces)
        if work.gap:
            deck = np.abs(middle) <= work.gap
            z = profile(work, path)[deck] + 0.1
            decks.append((work, shapely.linestrings(np.column_stack([path[deck], z]))))
    bridges = frame([deck for _, deck in decks], name=[f"{work.name} bridge" for work, _ in decks],
                    half_width=[work.half_width for work, _ in decks])
    return frame(parts, name=names, half_width=widths), bridges


def railway():
    """The railway, a line in plan."""
    return frame([shapely.linestrings(RAILWAY.axis.path())], name=[RAILWAY.name], half_width=[2.0])


def waters():
    """River and brooks, polygons in plan."""
    wet = [valley for valley in VALLEYS if valley.water]
    axes = [shapely.linestrings(valley.axis.path()) for valley in wet]
    wide = shapely.buffer(axes, [valley.water for valley in wet], cap_style="flat")
    banks = shapely.simplify(wide, 0.1)
    return frame(banks, name=["Barrow water", "Hollow brook", "Ravine brook"])


#: station and offset of the middle, length along and width across the line, height, use.
BUILDINGS = [
    (8120, -2.5, 9, 6, 3.2, "shed"), (7832, 18.0, 24, 12, 8.5, "barn"),
    (8152, -34, 14, 11, 8.0, "house"), (8090, 48, 13, 10, 7.5, "house"),
    (8205, 44, 12, 10, 7.5, "house"), (7960, -40, 15, 10, 8.0, "house"),
    (7868, 52, 12, 9, 7.0, "house"), (690, 46, 20, 11, 7.0, "stable"),
]


def buildings():
    """Buildings with the height of their roof above the ground."""
    rings = []
    for station, offset, length, width, *_ in BUILDINGS:
        along, right = np.array([-1, 1, 1, -1]) * length / 2, np.array([-1, -1, 1, 1]) * width / 2
        rings.append(shapely.Polygon(at(station + along, offset + right)))
    return frame(rings, use=[row[5] for row in BUILDINGS], height=[row[4] for row in BUILDINGS])


def trees(rng):
    """Trees: a wood on the side slope, a row beside the line, and one that grew into it."""
    wood = rng.uniform([7080, -58], [7370, -13], (90, 2))
    row = np.column_stack([np.linspace(1010, 1190, 16) + rng.normal(0, 2, 16),
                           rng.normal(16, 1, 16)])
    places = np.vstack([wood, row, [[1655, 2.5], [2880, -6.5], [6590, 9.0]]])
    height = np.r_[rng.uniform(12, 24, 90), rng.uniform(9, 14, 16), 6.8, 4.5, 8.0]
    crown = np.clip(0.16 * height * rng.uniform(0.8, 1.3, len(height)), 0.8, 4)
    return frame(shapely.points(at(*places.T)), height=np.round(height, 1),
                 crown_radius=np.round(crown, 1))


#: station, offset from the line, height and radius of the crown of trees outside of the right-of-way.
DANGER_TREES = [(3374, -24.5, 14.0, 2.6), (3400, -23.0, 16.0, 3.0), (3431, -26.0, 15.0, 2.8)]


def danger_trees():
    """Trees that stand clear of the wires and may fall on them."""
    station, offset, height, crown = np.array(DANGER_TREES).T
    return frame(shapely.points(at(station, offset)), height=height, crown_radius=crown)


#: name, voltage [V], axis, offsets of the wires, their rises above the lowest, span, how far its middle is beyond ours,
#: height of the lowest wire at the supports, sag.
CROSSING_LINES = [
    ("village line", 20e3, Axis(4985, 30), (-1.1, 0.0, 1.1), (0.0, 0.0, 0.0), 110.0, 0.0, 7.9, 0.9),
    ("ridge line", 220e3, Axis(6262, 18), (-6.0, 6.0, -5.0), (0.0, 4.5, 9.0), 300.0, 80.0, 23.67, 9.0),
]


def crossing_lines():
    """Wires of lines that ours crosses, in 3D: three spans, ours below or above the middle one."""
    wires, names, voltages = [], [], []
    for name, voltage, axis, offsets, rises, span, ahead_of, height, sag in CROSSING_LINES:
        a = np.radians(axis.azimuth)
        ahead, right = np.array([np.sin(a), np.cos(a)]), np.array([np.cos(a), -np.sin(a)])
        supports, along = np.arange(-1.5, 2) * span, np.linspace(-1.5, 1.5, 61) * span
        centre = at(axis.station) + ahead_of * ahead
        tops = natural(*(centre + np.outer(supports, ahead)).T) + height
        share = 2 * ((along / span + 1.5) % 1) - 1
        z = np.interp(along, supports, tops) - sag * (1 - share**2)
        for offset, rise in zip(offsets, rises, strict=True):
            path = centre + offset * right + np.outer(along, ahead)
            wires.append(shapely.linestrings(np.round(np.column_stack([path, z + rise]), 2)))
            names.append(name)
            voltages.append(voltage)
    return frame(wires, name=names, voltage=voltages)


#: name, stations between and offsets between which a parcel lies.
PARCELS = [
    ("Long meadow", 2960, 3200, 4.5, 90.0), ("Alder lot", 3212, 3480, -95.0, -5.0),
    ("Crag pasture", 7380, 7640, -60.0, -1.0), ("Barn yard", 7800, 7900, 11.0, 70.0),
]


def parcels():
    """Parcels of land beside the line, whose owners are asked what swings over them."""
    rings = [shapely.Polygon(at(np.array([first, last, last, first]), np.array([low, low, high, high])))
             for _, first, last, low, high in PARCELS]
    return frame(rings, name=[row[0] for row in PARCELS])


def frame(geometry, **columns):
    """A layer in the demo's CRS."""
    return gpd.GeoDataFrame(columns, geometry=gpd.GeoSeries(geometry, crs=CRS))


def write_ground(path, raster, transform):
    """Write the raster tiled and compressed, with a vertical datum beside the horizontal one."""
    path.parent.mkdir(exist_ok=True)
    data = np.where(np.isnan(raster), -9999, raster).astype("float32")
    layout = {"tiled": True, "blockxsize": 256, "blockysize": 256}
    packing = {"compress": "deflate", "zlevel": 9, "predictor": 3}
    with rasterio.open(path, "w", driver="GTiff", width=data.shape[1], height=data.shape[0],
                       count=1, dtype="float32", crs=COMPOUND_CRS, transform=transform,
                       nodata=-9999, **layout, **packing) as target:
        target.write(data, 1)


def write_layers(path, layers):
    """Write a GeoPackage anew, layer by layer."""
    path.unlink(missing_ok=True)
    for name, layer in layers.items():
        layer.to_file(path, layer=name, engine="pyogrio")


def main():
    """Make the corridor."""
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": "2020-01-01T00:00:00.000Z"})
    rng = np.random.default_rng(SEED)
    raster, transform = ground(rng)
    write_ground(HERE / "terrain" / "ground.tif", raster, transform)
    write_layers(HERE / "line.gpkg", {"structures": structures()})
    (HERE / "framings.csv").write_text(framings())
    on_ground, bridges = roads()
    write_layers(HERE / "obstacles.gpkg", {
        "roads": on_ground, "bridges": bridges, "railway": railway(), "water": waters(),
        "buildings": buildings(),
        "trees": trees(rng), "crossing_lines": crossing_lines(), "danger_trees": danger_trees(),
        "parcels": parcels()})


if __name__ == "__main__":
    main()
