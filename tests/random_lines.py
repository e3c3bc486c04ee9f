"""Seeded random studies: lines over rough side slopes, with everything beside them that wires may come too near.

    study = write(random_line(7), folder)
    other = write(random_line(7), elsewhere, Variation(mirrored=True))

A `Variation` writes the same line another way: what the findings say of it must stay the same. All of it is
invented. Lengths and elevations [m], angles [deg]; grid of `GRID`, near its central meridian, about which lines are
mirrored.
"""

from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import pyogrio
import rasterio
import shapely
from rasterio.transform import Affine

__all__ = ["GRID", "RULES", "Line", "Variation", "random_line", "write"]

GRID = "EPSG:25832"
MERIDIAN, NORTH = 500_000.0, 5_600_000.0
#: The raster reaches this far beyond the outermost structures.
REACH = 260.0

STUDY = """\
[study]
title = "random line {seed}"
voltage = "110 kV"
highest_voltage = "123 kV"
{crs}
[terrain]
ground = [{ground}]
vertical_unit = "m"

[structures]
file = "line.gpkg"
layer = "structures"

[framings]
file = "framings.csv"

[shield_wire]
conductor = "105-AL1/17-ST1A"
maximum_temperature = 50
[[shield_wire.stringing]]
limit = "20 % RTS"
temperature = 10

[rating]
ambient = 35
wind_speed = 0.6
solar = 1000
"""

STRUNG = """\
[[options.stringing]]
limit = "{limit}"
temperature = 10
condition = "final"
[[options.stringing]]
limit = "50 % RTS"
case = "ice and wind"
condition = "initial"
"""
#: Conductors, greatest and emergency temperatures, and what they are strung to; the first hangs today.
OPTIONS = [("existing", "264-AL1/62-ST1A", 75, 90, "18 % RTS"),
           ("thermal alloy", "264-AT1/62-ST1A", 150, 170, "18 % RTS"),
           ("annealed on steel", "264-A0/62-ST6C", 180, 200, "1700 m"),
           ("annealed on carbon", "23.5-A0TW/CF-7.9", 180, 200, "20 kN")]

#: Cases by name, as TOML. `{loaded}` stands for the spans that carry uneven ice.
CASES = {
    "hot": 'temperature = "maximum"\nchecks = ["vertical"]\n',
    "emergency": 'temperature = "emergency"\nchecks = ["vertical"]\n',
    "ice": 'temperature = 0\nice = "12 mm"\n',
    "uneven ice": 'temperature = 0\nice = "15 mm"\nice_on = [{loaded}]\nchecks = ["vertical", "tension"]\n',
    "ice and wind": 'temperature = -5\nice = "12 mm"\nwind = "190 Pa"\nchecks = ["tension"]\n',
    "swung": 'temperature = 10\nwind = "290 Pa"\nchecks = ["horizontal", "vertical"]\n',
    "hot and swung": 'temperature = "maximum"\nwind = "120 Pa"\nchecks = ["horizontal", "vertical"]\n',
    "cold": 'temperature = -20\nchecks = ["vertical", "tension"]\n',
}

HEAD = ("rule,against,measure,shape,base,per_kv,above_kv,other_per_kv,voltage_basis,electrical_distance,"
        "altitude_share,altitude_above,buffer,minimum,swung,cases\n")
#: Kinds of rules: a built-in table or none, and own rows.
RULES = [
    ("european-electrical-distance", "rule,against,measure,base,electrical_distance,minimum,max_kv\n"
                                     "roof,building,vertical,4,D_el,5,765\n"),
    (None, HEAD + """\
open,ground,vertical,,5.5,0.01,22,,line to ground,,0.03,100,0.3,,,
slope,ground,radial,,4,0.01,22,,line to ground,,,,,,,
road,road,vertical,,6,0.01,22,,line to ground,,0.03,100,0.5,,,
road in an emergency,road,vertical,,5.5,0.01,22,,line to ground,,,,,,,emergency
roof,building,vertical,,3.5,,,,,D_el,,,,5,,
beside a roof,building,horizontal,,2,,,,,D_el,,,,,,
tree below,tree,vertical,,2,,,,,D_el,,,,,,
tree beside,tree,horizontal,,1.5,,,,,D_el,,,,,,
tree,tree,radial,,1.5,,,,,D_el,,,0.5,,,
falling,falling_tree,radial,,0.5,,,,,D_el,,,,,,
crossing,line,vertical,,1,0.005,20,0.01,line to line,D_pp,,,,,,
edge,right_of_way,horizontal,,1,,,,,,,,,,,
phases,own_phase,radial,,0.5,,,,,D_pp,,,,,,
circuits,own_circuit,radial,,1,,,,,D_pp,,,,,,
shield wire,own_shield_wire,radial,,0.5,,,,,D_el,,,,,,
"""),
    ("us-safety-code", "rule,against,measure,base\nour tree,tree,radial,3\nour edge,right_of_way,horizontal,2\n"),
    (None, HEAD + """\
open at rest,ground,vertical,,6.5,,,,,,,,,,no,
open in wind,ground,vertical,,5.5,,,,,,,,,,yes,
roof,building,vertical,,4.5,,,,,D_el,,,,,,
corner at rest,building,horizontal,corner,4.5,,,,,,,,,,no,
corner in wind,building,horizontal,corner,3,,,,,,,,,,yes,
crossing,line,vertical,,2.5,,,,,D_pp,,,0.4,,,
beside a line,line,horizontal,,4,,,,,,,,,,,
anything,other,vertical,,6,,,,,D_el,,,,,,
anything near,other,radial,,2,,,,,D_el,,,,,,
edge,right_of_way,horizontal,,0.5,,,,,,,,,,,
"""),
]


@dataclass(frozen=True)
class Line:
    """A line and what is about it; places (..., 2) in `GRID`.

    `arms` rows (framing, wire, kind, offset, height, string, string length, string mass); `ground` elevations
    (row, column), first row in the north, nan in holes, whose first cell begins at `corner`; `layers` obstacles:
    category, keys of the study and features by name; `way` keys of the right-of-way or its polygon; `rules` index of
    `RULES`; `loaded` pairs of structures whose span carries uneven ice.
    """

    seed: int
    place: np.ndarray
    name: tuple
    role: tuple
    framing: tuple
    arms: tuple
    ground: np.ndarray
    corner: tuple
    cell: float
    layers: dict
    way: object
    rules: int
    options: tuple
    cases: tuple
    loaded: tuple
    galloping: str


@dataclass(frozen=True)
class Variation:
    """Another way of writing the same line.

    `backwards` ordered from its end; `mirrored` about the meridian, ground and all; `crs` the grid to compute in, as
    the study names it; `tiles` across and down that the raster is cut into; `without` names of options left out;
    `cases_backwards` the other order of cases; `shuffled` structures and obstacles in another order in their files.
    """

    backwards: bool = False
    mirrored: bool = False
    crs: str | None = None
    tiles: tuple = (1, 1)
    without: tuple = ()
    cases_backwards: bool = False
    shuffled: bool = False


def random_line(seed, *, structures=None, roughness=1.0):
    """Return a random line.

    Parameters
    ----------
    seed : int
        The same seed makes the same line. The kind of rules is that of its remainder by four.
    structures : int, optional
        Default: 5 to 9.
    roughness : float
        Factor on waves, unevenness and cliffs of the ground; side slopes stay.
    """
    rng = np.random.default_rng([seed, 41])
    count = structures or int(rng.integers(5, 10))
    role = ["terminal", *rng.choice(["suspension", "strain"], count - 2, p=[0.65, 0.35]), "terminal"]
    place = _route(rng, role)
    ground, corner, cell = _ground(rng, place, roughness, holed=seed % 5 == 4)
    kind = seed % len(RULES)
    spots = _Spots(rng, place, ground, corner, cell)
    line = Line(seed, place, tuple(f"T{i + 1}" for i in range(count)), tuple(role),
                tuple("hang" if r == "suspension" else "hold" for r in role), tuple(_arms(rng)), ground, corner, cell,
                _layers(spots, kind), _way(rng, place, seed), kind, _options(rng), _cases(rng, seed),
                _loaded(rng, count), ("no", "single", "both")[seed // 4 % 3])
    return line


def _route(rng, role):
    """Places of the structures: spans of 150 to 420 m, sharp turns at strain structures, slight ones elsewhere."""
    turn = [rng.uniform(-40, 40) if r == "strain" else rng.uniform(-4, 4) for r in role]
    azimuth = np.radians(rng.uniform(0, 360) + np.cumsum(turn))[:-1]
    steps = rng.uniform(150, 420, len(role) - 1)[:, None] * np.stack([np.sin(azimuth), np.cos(azimuth)], axis=1)
    place = np.vstack([np.zeros(2), np.cumsum(steps, axis=0)])
    return np.round(place - place.mean(axis=0) + rng.uniform(-300, 300, 2) + (MERIDIAN, NORTH), 2)


def _arms(rng):
    """Framings: three phases, most often a shield wire; strings of one kind at all structures of a role."""
    lift, wide = rng.uniform(17, 24), rng.uniform(3, 5.5)
    wires = [("A", "phase", -wide, 0.0), ("B", "phase", wide, 0.0),
             ("C", "phase", *((wide - 0.7, 3.6) if rng.random() < 0.6 else (0.0, 0.6)))]
    if rng.random() < 0.8:
        wires.append(("S", "shield", 0.0, 8.0))
    hung = rng.choice(["suspension", "suspension", "suspension", "vee", "post"])
    held = rng.choice(["strain", "strain", "link"])
    length, mass = round(rng.uniform(1.2, 2.4), 2), round(rng.uniform(25, 60), 1)
    for wire, kind, offset, above in wires:
        shield = kind == "shield"
        string, size = ("suspension", (0.3, 4)) if shield else (hung, (length, mass))
        yield "hang", wire, kind, round(offset, 2), round(lift + above + 1, 2), string, *size
        yield "hold", wire, kind, round(offset, 2), round(lift + above, 2), "strain" if shield else held, 1.5, 45


def _ground(rng, place, roughness, holed):
    """Elevations, corner and cell: a side slope, waves of all sizes, unevenness of every cell, at times a cliff."""
    cell = float(rng.choice([2.0, 5.0, 10.0]))
    low = np.floor((place.min(axis=0) - REACH) / cell) * cell
    columns, rows = np.ceil((place.max(axis=0) + REACH - low) / cell).astype(int)
    e, n = np.meshgrid(low[0] + (np.arange(columns) + 0.5) * cell, low[1] + (rows - np.arange(rows) - 0.5) * cell)
    east, north = e - MERIDIAN, n - NORTH
    slope, fall = rng.uniform(0, 0.35), rng.uniform(0, 2 * np.pi)
    z = 400 + slope * (east * np.cos(fall) + north * np.sin(fall))
    for wave in np.geomspace(40, 900, 6):
        a, phase = rng.uniform(0, 2 * np.pi, 2)
        z += roughness * rng.uniform(0.3, 1) * 0.012 * wave * np.sin(
            2 * np.pi * (east * np.cos(a) + north * np.sin(a)) / wave + phase)
    if rng.random() < 0.5:
        (a, b), aside = place[(i := rng.integers(len(place) - 1)):i + 2], rng.uniform(8, 30) * rng.choice([-1, 1])
        along = (b - a) / np.hypot(*(b - a))
        across = (e - a[0]) * along[1] - (n - a[1]) * along[0]
        z += roughness * rng.uniform(6, 20) * (1 + np.tanh((across * np.sign(aside) - abs(aside)) / 2.5)) / 2
    z += roughness * rng.normal(0, 0.15, z.shape)
    if holed:
        middle = place[:2].mean(axis=0) + rng.uniform(-8, 8, 2)
        z[np.hypot(e - middle[0], n - middle[1]) < 3 * cell] = np.nan
    return np.round(z, 3), (float(low[0]), float(low[1] + rows * cell)), cell


@dataclass(frozen=True)
class _Spots:
    """Random places about a line, and the ground there."""

    rng: object
    place: np.ndarray
    ground: np.ndarray
    corner: tuple
    cell: float

    def beside(self, count, reach, *, least=0.0):
        """Places within `reach` of the line and no nearer than `least`: shape (count, 2)."""
        rng, a, b = self.rng, self.place[:-1], self.place[1:]
        span = rng.integers(len(a), size=count)
        along = (b - a)[span] / np.hypot(*(b - a)[span].T)[:, None]
        aside = rng.uniform(least, reach, count) * rng.choice([-1, 1], count)
        at = a[span] + rng.uniform(0.1, 0.9, count)[:, None] * (b - a)[span]
        return np.round(at + aside[:, None] * along[:, ::-1] * (1, -1), 2)

    def elevation(self, at):
        """Elevation of the cells that places are in, 400 in a hole."""
        column = ((at[..., 0] - self.corner[0]) / self.cell).astype(int)
        row = ((self.corner[1] - at[..., 1]) / self.cell).astype(int)
        return np.nan_to_num(self.ground[row, column], nan=400.0)

    def paths(self, count, half):
        """Bent paths across the line, shape (count, 5, 2)."""
        middle, azimuth = self.beside(count, 2.0), self.rng.uniform(0, np.pi, count)
        ahead = np.stack([np.sin(azimuth), np.cos(azimuth)], axis=-1)[:, None]
        reach = np.linspace(-half, half, 5)[:, None]
        return middle[:, None] + reach * ahead + self.rng.normal(0, 4, (count, 5, 1)) * ahead[..., ::-1] * (1, -1)


def _layers(spots, kind):
    """Obstacles by name: category, keys of the study, features."""
    rng = spots.rng
    layers = {
        "roads": ("road", 'height = 0\nradius_column = "half"', _frame(
            shapely.linestrings(spots.paths(3, 70)), half=np.round(rng.uniform(1.5, 4, 3), 2))),
        "buildings": ("building", 'height_column = "height"', _frame(
            _houses(rng, spots.beside(4, 22)), height=np.round(rng.uniform(3, 9, 4), 2))),
        "sheds": ("building", 'height_column = "height"\nradius_column = "radius"', _points(
            spots.beside(3, 18), height=(2.5, 6), radius=(0.5, 3), rng=rng)),
        "trees": ("tree", 'height_column = "height"\nradius_column = "radius"\ngrowth = "0.5 m"', _points(
            spots.beside(8, 16), height=(3, 14), radius=(0.5, 3), rng=rng)),
        "danger trees": ("tree", 'height_column = "height"\nradius_column = "radius"\nfalls = true', _points(
            spots.beside(4, 28, least=10), height=(12, 24), radius=(1, 3), rng=rng)),
        "crossing lines": ("line", 'voltage_column = "voltage"', _wires(spots)),
    }
    if kind % 2:
        at = spots.beside(2, 16)
        layers["tanks"] = ("building", 'elevation_column = "top"', _frame(
            shapely.buffer(shapely.points(at), 3.0, quad_segs=4), top=np.round(spots.elevation(at) + 5, 2)))
    layers["neighbour"] = ("line", 'voltage = "220 kV"\nelevation_column = "top"\n[obstacles.wires]\n'
                           'order_column = "order"\nwire_column = "wire"\nconductor = "264-AL1/62-ST1A"\n'
                           'tension = "22 kN"\ntemperature = 10\nmaximum_temperature = 80', _neighbour(spots))
    return layers


def _frame(geometry, **columns):
    return gpd.GeoDataFrame(columns, geometry=np.asarray(geometry), crs=GRID)


def _points(at, *, rng, **bounds):
    return _frame(shapely.points(at), **{k: np.round(rng.uniform(*v, len(at)), 2) for k, v in bounds.items()})


def _houses(rng, at):
    """Rectangles turned somehow about places."""
    turn = rng.uniform(0, np.pi, len(at))
    axis = np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    half = rng.uniform((3, 2), (9, 6), (len(at), 2))
    corner = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)])[:, None] * half
    ring = corner[..., :1] * axis + corner[..., 1:] * axis[:, ::-1] * (-1, 1)
    return shapely.polygons((at + ring).swapaxes(0, 1))


def _wires(spots):
    """Wires in 3D across the line: one below, one above it, each of several pieces."""
    path = spots.paths(2, 60)
    z = spots.elevation(path).mean(axis=1)[:, None] + [[7.0], [42.0]] + spots.rng.uniform(-0.8, 0.8, (2, 5))
    return _frame(shapely.linestrings(np.round(np.concatenate([path, z[..., None]], axis=-1), 2)),
                  voltage=[20e3, 220e3])


def _neighbour(spots):
    """Attachments of another line's two wires, beside ours all the way."""
    a, b = spots.place[0], spots.place[-1]
    right = (b - a)[::-1] * (1, -1) / np.hypot(*(b - a))
    middle = np.linspace(a, b, 4) + spots.rng.uniform(18, 32) * right
    at = np.stack([middle, middle + 4 * right], axis=1).reshape(-1, 2)
    top = np.round(spots.elevation(at) + 19, 2)
    return _frame(shapely.points(np.round(at, 2)), top=top, order=np.repeat(np.arange(4), 2), wire=["P", "Q"] * 4)


def _way(rng, place, seed):
    """A half width, or a polygon about the line that is not the same everywhere."""
    if seed % 2:
        return float(np.round(rng.uniform(11, 24), 1))
    parts = shapely.buffer(shapely.linestrings(np.stack([place[:-1], place[1:]], axis=1)),
                           rng.uniform(10, 24, len(place) - 1), cap_style="square")
    return shapely.union_all(parts)


def _options(rng):
    """The option of today and one or two others."""
    return (0, *sorted(rng.choice([1, 2, 3], rng.integers(1, 3), replace=False).tolist()))


def _cases(rng, seed):
    """Names of the cases: those of all lines, and one or two more."""
    more = rng.permutation(["hot and swung", "cold"])[:1 + seed % 2]
    return "hot", "emergency", "ice", "uneven ice", "ice and wind", "swung", *sorted(more.tolist())


def _loaded(rng, count):
    first = np.flatnonzero(rng.random(count - 1) < 0.5)
    return tuple((int(i), int(i) + 1) for i in (first if len(first) else [0]))


# On disk


def write(line, folder, variation=None):
    """Write a line as a study and return the path of `study.toml`.

    Parameters
    ----------
    line : Line
    folder : Path
        Made where it does not exist.
    variation : Variation, optional
    """
    variation = variation or Variation()
    folder.mkdir(parents=True, exist_ok=True)
    order = range(len(line.place))[::-1] if variation.backwards else range(len(line.place))
    line = _mirrored(line) if variation.mirrored else line
    ground = _write_ground(line, folder, variation.tiles)
    structures = _frame(shapely.points(line.place[list(order)]), structure=[line.name[i] for i in order],
                        order=np.arange(len(order)), role=[line.role[i] for i in order],
                        framing=[line.framing[i] for i in order])
    _in_order(structures, variation).to_file(folder / "line.gpkg", layer="structures")
    side = -1 if variation.backwards != variation.mirrored else 1
    (folder / "framings.csv").write_text(_framings(line.arms, side), encoding="utf-8")
    for name, (_, _, features) in line.layers.items():
        numbered = features.assign(number=np.arange(1, len(features) + 1))
        _in_order(numbered, variation).to_file(folder / "obstacles.gpkg", layer=name)
    path = folder / "study.toml"
    path.write_text(_text(line, folder, ground, variation), encoding="utf-8")
    return path


def _in_order(features, variation):
    """Features as they come, or in another order that depends on nothing."""
    if not variation.shuffled:
        return features
    return features.iloc[np.random.default_rng(1).permutation(len(features))].reset_index(drop=True)


def _mirrored(line):
    """The same on the other side of the meridian."""
    def turn(xyz):
        return np.column_stack([2 * MERIDIAN - xyz[:, 0], xyz[:, 1:]])

    layers = {name: (category, keys, features.set_geometry(
        shapely.transform(features.geometry.to_numpy(), turn, include_z=features.has_z.any()), crs=GRID))
        for name, (category, keys, features) in line.layers.items()}
    way = line.way if isinstance(line.way, float) else shapely.transform(line.way, turn)
    east = line.corner[0] + line.ground.shape[1] * line.cell
    return replace(line, place=turn(line.place), ground=line.ground[:, ::-1], layers=layers, way=way,
                   corner=(2 * MERIDIAN - east, line.corner[1]))


def _write_ground(line, folder, tiles):
    """Write the raster in tiles that do not overlap, and return the names of their files."""
    names = []
    for j, rows in enumerate(np.array_split(np.arange(line.ground.shape[0]), tiles[1])):
        for i, columns in enumerate(np.array_split(np.arange(line.ground.shape[1]), tiles[0])):
            names.append(f"ground{i}{j}.tif")
            part = np.nan_to_num(line.ground[rows[0]:rows[-1] + 1, columns[0]:columns[-1] + 1], nan=-9999.0)
            west, north = line.corner[0] + columns[0] * line.cell, line.corner[1] - rows[0] * line.cell
            with rasterio.open(folder / names[-1], "w", driver="GTiff", width=len(columns), height=len(rows), count=1,
                               dtype="float64", crs=GRID, nodata=-9999.0,
                               transform=Affine(line.cell, 0, west, 0, -line.cell, north)) as raster:
                raster.write(part, 1)
    return names


def _framings(arms, side):
    rows = ["framing,wire,kind,circuit,offset,height,string,string_length,string_mass"]
    for framing, wire, kind, offset, height, string, length, mass in arms:
        circuit = "1" if kind == "phase" else ""
        rows.append(f"{framing},{wire},{kind},{circuit},{side * offset},{height},{string},{length},{mass}")
    return "\n".join(rows) + "\n"


def _text(line, folder, ground, variation):
    """The study file."""
    crs = f"crs = '{variation.crs}'\n" if variation.crs else ""
    text = STUDY.format(seed=line.seed, crs=crs, ground=", ".join(f'"{name}"' for name in ground))
    for i in line.options:
        name, conductor, maximum, emergency, limit = OPTIONS[i]
        if name not in variation.without:
            existing = "existing = true\n" if i == 0 else ""
            text += (f'\n[[options]]\nname = "{name}"\nconductor = "{conductor}"\n{existing}'
                     f"maximum_temperature = {maximum}\nemergency_temperature = {emergency}\n"
                     + STRUNG.format(limit=limit))
    spans = [pair[::-1] if variation.backwards else pair for pair in line.loaded]
    loaded = ", ".join(f'"{line.name[a]}-{line.name[b]}"' for a, b in spans)
    for name in line.cases[::-1] if variation.cases_backwards else line.cases:
        text += f'\n[[cases]]\nname = "{name}"\n' + CASES[name].format(loaded=loaded)
    table, own = RULES[line.rules]
    (folder / "rules.csv").write_text(own, encoding="utf-8")
    text += "\n[rules]\n" + (f'table = "{table}"\n' if table else "") + 'file = "rules.csv"\n'
    for name, (category, keys, _) in line.layers.items():
        told = "" if "[obstacles.wires]" in keys else 'id_column = "number"\n'
        text += (f'\n[[obstacles]]\nname = "{name}"\nfile = "obstacles.gpkg"\nlayer = "{name}"\n'
                 f'category = "{category}"\n{told}{keys}\n')
    if line.rules < 2:
        text += f'\n[own_wires]\ngalloping = "{line.galloping}"\n'
    return text + "\n[right_of_way]\n" + _way_keys(line.way, folder)


def _way_keys(way, folder):
    if isinstance(way, float):
        return f"half_width = {way}\n"
    pyogrio.write_dataframe(_frame([way]), folder / "way.gpkg", layer="way")
    return 'file = "way.gpkg"\nlayer = "way"\n'
