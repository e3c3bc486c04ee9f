"""Errors that analysts make in data, each a function that spoils a clean corridor; seeded where one of many is hit.

Each is for one corridor: hills, lowland or feet (see clean_corridors). What is expected of each is that it
is refused, not assessed, or doubted, by the id of the doubt.
"""

from typing import NamedTuple

import geopandas as gpd
import numpy as np
import shapely

from corridor.clearance.rules import electrical_distance

__all__ = ["ERRORS", "Error"]

FOOT = 0.3048
#: EPSG:2264 in international feet.
OTHER_FOOT = ("+proj=lcc +lat_0=33.75 +lon_0=-79 +lat_1=36.1666666666667 +lat_2=34.3333333333333 +x_0=609601.219202438 "
              "+y_0=0 +datum=NAD83 +units=ft +no_defs +type=crs")
REFUSED, GAP = "refused", "not assessed"


class Error(NamedTuple):
    """An error: its name, the corridor it is in, what spoils it, and what shall come of it."""

    name: str
    corridor: str
    spoil: object
    expected: str


ERRORS = []


def error(name, corridor, expected):
    """Note a function as an error of a corridor."""
    def note(function):
        ERRORS.append(Error(name, corridor, function, expected))
        return function

    return note


def simple(name, corridor, expected, act):
    """Note an error that is one call."""
    ERRORS.append(Error(name, corridor, act, expected))


def one(c, name):
    """A feature of a layer, by chance."""
    return int(np.random.default_rng(7).integers(len(c.layers[name])))


def put_column(table, name, values):
    """Put a column into a table: a statement cannot stand in a lambda."""
    table[name] = values


def scale(c, layer, column, factor):
    c.layers[layer][column] *= factor


def set_one(c, layer, column, value):
    c.layers[layer].loc[one(c, layer), column] = value


def set_all(c, layer, column, value):
    c.layers[layer][column] = value


def z_of(c, layer, factor=1.0, add=0.0):
    c.layers[layer].geometry = gpd.GeoSeries(shapely.transform(
        c.layers[layer].geometry.to_numpy(), lambda xyz: xyz * [1, 1, factor] + [0, 0, add], include_z=True),
        crs=c.layers[layer].crs)


def move(frame, east, north):
    frame.geometry = frame.geometry.translate(east, north)


def retag(c, layer, crs):
    c.layers[layer] = c.layers[layer].set_crs(crs, allow_override=True)


def put(table, **keys):
    table.update(keys)


def conductor(key, factor):
    return lambda c: put(c.tables["conductors"][0], **{key: c.tables["conductors"][0].get(key, {
        "outer_modulus": 55e9, "core_expansion": 11.5e-6}.get(key)) * factor})


# Heights of the line

for _corridor in ("hills", "feet"):
    simple("bases in feet read as metres, or times 3.28", _corridor, "base-offset",
           lambda c: put_column(c.structures, "base_elevation", c.structures["base_elevation"] / FOOT))
simple("bases in metres read as feet", "hills", "base-offset",
       lambda c: put(c.tables["structures"], base_elevation_unit="ft"))
simple("bases above the ellipsoid", "hills", "base-offset",
       lambda c: put_column(c.structures, "base_elevation", c.structures["base_elevation"] + 47.2))
simple("bases of an old datum", "hills", "base-offset",
       lambda c: put_column(c.structures, "base_elevation", c.structures["base_elevation"] + 0.9))
simple("bases that are attachments", "hills", "base-offset",
       lambda c: put_column(c.structures, "base_elevation", c.structures["base_elevation"] + 26))
simple("a digit typed wrong in a base", "hills", "base-single",
       lambda c: put_column(c.structures, "base_elevation", c.structures["base_elevation"].where(
           c.structures.structure != "T7", c.structures["base_elevation"] + 10)))
simple("bases of two structures exchanged", "hills", "base-single",
       lambda c: put_column(c.structures, "base_elevation", c.structures["base_elevation"].replace(
           dict(zip(c.structures.loc[[3, 8], "base_elevation"], c.structures.loc[[8, 3], "base_elevation"],
                    strict=True)))))
for _value in (-9999.0, 0.0):
    simple(f"{_value:g} for a base that is not known", "hills", "base-single",
           lambda c, value=_value: put_column(c.structures, "base_elevation", c.structures["base_elevation"].where(
               c.structures.structure != "T4", value)))
simple("unit of the bases not said", "feet", "base-offset", lambda c: c.tables["structures"].pop("base_elevation_unit"))
simple("heights of framings in feet", "hills", "attachment-height",
       lambda c: put_column(c.framings, "height", c.framings["height"] / FOOT))
simple("units of the framings not said", "feet", "attachment-height",
       lambda c: [c.tables["framings"].pop(f"{key}_unit") for key in ("height", "offset", "string_length")])
simple("one row of the framings in feet", "hills", "framing-unlike",
       lambda c: put_column(c.framings, "height", c.framings["height"].where(c.framings.index != 2,
                                                                            c.framings["height"] / FOOT)))
simple("heights of framings above the sea", "hills", "attachment-height",
       lambda c: put_column(c.framings, "height", c.framings["height"] + 250))
simple("lengths of strings in feet", "hills", "string-length",
       lambda c: put_column(c.framings, "string_length", c.framings["string_length"] / FOOT))
simple("lengths of strings in centimetres", "lowland", "string-length",
       lambda c: put_column(c.framings, "string_length", c.framings["string_length"] * 100))
simple("lengths of strings left at 0", "lowland", "string-length",
       lambda c: put_column(c.framings, "string_length", 0.0))
simple("offsets in centimetres", "lowland", "framing-unlike",
       lambda c: put_column(c.framings, "offset", c.framings["offset"] * 100))
simple("the voltage a tenth of what it is", "lowland", "string-length", lambda c: put(c.tables["study"], voltage=22e3))

# The ground


def places(c):
    """Row and column of the middle of the spans in the raster."""
    x = shapely.get_coordinates(c.structures.geometry.to_numpy())
    column, row = ((x[:-1] + x[1:]) / 2 - (c.transform.c, c.transform.f)).T / [[c.transform.a], [c.transform.e]]
    return row.astype(int), column.astype(int)


def hole(c, value):
    row, column = (v[6] for v in places(c))
    c.ground[row - 8:row + 8, column - 9:column + 9] = value


for _corridor, _value in (("hills", 0.0), ("hills", 99.0), ("feet", 0.0), ("lowland", 32767.0)):
    simple(f"holes of the raster stored as {_value:g}", _corridor, GAP if _value > 9000 else "ground-void",
           lambda c, value=_value: hole(c, value))
simple("holes of the raster filled with one height", "hills", "ground-void", lambda c: hole(c, 222.25))
simple("holes of the raster stored as -9999, not said", "hills", GAP, lambda c: hole(c, -9999.0))
simple("a raster 30 m low", "hills", "base-offset", lambda c: c.ground.__isub__(30))
simple("a raster 30 m low, wires of others where they are", "lowland", "layer-offset", lambda c: c.ground.__isub__(30))
simple("a raster in feet read as metres", "hills", "base-offset", lambda c: c.ground.__itruediv__(FOOT))
simple("a raster in feet read as metres, bases from it", "lowland", "height-low", lambda c: (
    c.ground.__iadd__(40), z_of(c, "lines", add=40),
    put_column(c.layers["roofs"], "top", c.layers["roofs"]["top"] + 40),
    c.ground.__itruediv__(FOOT)))
simple("unit of the raster's heights not said", "feet", "ground-unit",
       lambda c: c.tables["terrain"].pop("vertical_unit"))
simple("the raster in feet said to be in metres", "feet", "base-offset",
       lambda c: put(c.tables["terrain"], vertical_unit="m"))


@error("half of the raster of another datum", "lowland", "ground-step")
def _(c):
    c.ground[:, c.ground.shape[1] // 2:] += 42.0


@error("a surface model in the place of bare earth", "lowland", "ground-surface")
def _(c):
    rng = np.random.default_rng(3)
    rows, columns = (rng.integers(0, size - 6, 30_000) for size in c.ground.shape)
    for r, k, h in zip(rows, columns, rng.uniform(3, 12, len(rows)), strict=True):
        c.ground[r:r + 4, k:k + 4] = np.maximum(c.ground[r:r + 4, k:k + 4], 4 + h)


@error("a coarse model made fine", "hills", "ground-coarse")
def _(c):
    rows, columns = c.ground.shape
    r, k = np.arange(0, rows, 15), np.arange(0, columns, 15)
    coarse = c.ground[np.ix_(r, k)]
    along = np.stack([np.interp(np.arange(columns), k, line) for line in coarse])
    c.ground = np.stack([np.interp(np.arange(rows), r, line) for line in along.T], axis=1)


# What stands about the line

simple("heights of houses 0", "hills", "height-low", lambda c: set_all(c, "houses", "h", 0.0))
simple("the height of a tree -1", "hills", "height-low", lambda c: set_one(c, "trees", "h", -1.0))
simple("the height of a tree 0", "feet", "height-low", lambda c: set_one(c, "trees", "h", 0.0))
simple("the height of a house -9999", "lowland", GAP, lambda c: set_one(c, "houses", "h", -9999.0))
simple("the height of a house empty", "hills", GAP, lambda c: set_one(c, "houses", "h", np.nan))
simple("heights of houses in metres read as feet", "hills", "layer-low",
       lambda c: put(c.section("houses"), height_unit="ft"))
simple("heights of houses in metres said to be in feet", "feet", "layer-low",
       lambda c: scale(c, "houses", "h", 1200 / 3937))
simple("heights of trees in metres read as feet", "lowland", "layer-low",
       lambda c: put(c.section("trees"), height_unit="ft"))
simple("heights of trees in kilometres", "hills", "height-low", lambda c: scale(c, "trees", "h", 1e-3))
simple("heights of trees in centimetres", "hills", "height-tall", lambda c: scale(c, "trees", "h", 100))
for _corridor in ("hills", "lowland", "feet"):
    simple("elevations of roofs 0", _corridor, "height-low", lambda c: set_all(c, "roofs", "top", 0.0))
simple("the elevation of a roof 0", "lowland", "height-low", lambda c: set_one(c, "roofs", "top", 0.0))
simple("heights of roofs in a column of elevations", "hills", "height-low", lambda c: set_all(c, "roofs", "top", 6.0))
simple("elevations of roofs in metres read as feet", "hills", "height-low",
       lambda c: put(c.section("roofs"), elevation_unit="ft"))
for _corridor in ("hills", "lowland"):
    simple("wires of others in feet read as metres", _corridor, "height-high", lambda c: z_of(c, "lines", 1 / FOOT))
simple("wires of others in metres read as feet", "hills", "height-low",
       lambda c: put(c.section("lines"), elevation_unit="ft"))
simple("unit of wires of others not said", "feet", "height-high", lambda c: c.section("lines").pop("elevation_unit"))
simple("wires of others above the ellipsoid", "hills", "height-high", lambda c: z_of(c, "lines", add=47.2))
simple("elevations of wires of others 0", "hills", GAP, lambda c: z_of(c, "lines", 0.0))
simple("elevations of streets of another datum", "hills", "layer-offset",
       lambda c: put_column(c.layers["streets"], "z", c.layers["streets"]["z"] - 1.8))
simple("a radius of -1", "hills", GAP, lambda c: set_one(c, "trees", "crown", -1.0))
simple("voltages in kV read as V", "hills", GAP, lambda c: set_all(c, "lines", "u", 20.0))
simple("voltages of 110 read as V", "lowland", "voltage-bare", lambda c: set_all(c, "lines", "u", 110.0))
simple("kV and V in one column", "hills", "voltage-bare", lambda c: set_one(c, "lines", "u", 110.0))
simple("voltage of 110 in the study", "hills", "voltage-bare",
       lambda c: (c.section("lines").pop("voltage_column"), put(c.section("lines"), voltage=110)))
simple("a feature without geometry", "hills", GAP, lambda c: put_column(c.layers["lines"], 
    "geometry", gpd.GeoSeries([None, *c.layers["lines"].geometry[1:]], crs=c.crs)))

# Places

simple("roads in the wrong zone", "hills", "layer-far", lambda c: retag(c, "roads", "EPSG:25833"))
simple("houses in degrees, said to be in the grid", "hills", "layer-far", lambda c: put_column(c.layers, 
    "houses", c.layers["houses"].to_crs(4326).set_crs(c.crs, allow_override=True)))
simple("trees on an old datum", "hills", "layer-beside", lambda c: move(c.layers["trees"], -80, -205))
simple("trees on an old datum, not far off", "lowland", "layer-shifted", lambda c: move(c.layers["trees"], 40, 95))
simple("trees with east and north exchanged", "lowland", "layer-far", lambda c: put_column(c.layers["trees"], 
    "geometry", gpd.GeoSeries(shapely.transform(c.layers["trees"].geometry.to_numpy(), lambda xy: xy[:, ::-1]),
                              crs=c.crs)))
simple("trees in the other foot", "feet", "feet-mixed", lambda c: retag(
    c, "trees", OTHER_FOOT))
simple("structures in feet said to be in metres", "feet", REFUSED, lambda c: c.__setattr__(
    "structures", c.structures.set_crs("EPSG:32119", allow_override=True)))
simple("the raster in the wrong zone", "hills", REFUSED, lambda c: c.__setattr__("ground_crs", "EPSG:25833"))
simple("the right-of-way of another line", "hills", "right-of-way-off", lambda c: move(c.way, 0, 400))
simple("an order exchanged", "hills", REFUSED, lambda c: put_column(c.structures, 
    "order", c.structures["order"].replace({6: 9, 9: 6})))
simple("a northing typed wrong", "hills", "structure-off-line", lambda c: put_column(c.structures, 
    "geometry", c.structures.geometry.where(c.structures.structure != "T9", c.structures.geometry.translate(0, 60))))


@error("a structure twice", "hills", "structure-close")
def _(c):
    again = c.structures[c.structures.structure == "T9"].assign(structure="T9a", order=9.5)
    move(again, 6, 0)
    c.structures = gpd.GeoDataFrame(gpd.pd.concat([c.structures, again], ignore_index=True), crs=c.crs)


# Wires and weather

simple("mass in lb per 1,000 ft written as kg/km", "hills", "conductor-mass", conductor("mass", 0.672))
simple("mass of the core alone missing", "lowland", "conductor-mass", conductor("mass", 0.6))
simple("resistance per mile", "hills", "conductor-resistance", conductor("resistance_20", 1.609))
simple("resistance per 1,000 ft", "feet", REFUSED, conductor("resistance_20", FOOT))
simple("strength in kgf", "hills", "conductor-strength", conductor("rts", 1 / 9.80665))
simple("strength in lbf written as N times ten", "feet", "conductor-strength", conductor("rts", 2.2))
simple("a diameter of another conductor", "hills", "conductor-diameter", conductor("diameter", 1.15))
simple("expansion per degF", "hills", "conductor-elasticity", conductor("core_expansion", 1 / 1.8))
simple("a modulus in psi", "feet", "conductor-elasticity", conductor("outer_modulus", 1.45))
simple("a tension in kN written as N", "hills", REFUSED,
       lambda c: put(c.tables["options"][0]["stringing"][0], limit=18))
simple("a tension in kgf written as N", "hills", "stringing-unusual",
       lambda c: put(c.tables["options"][0]["stringing"][0], limit=1760))
simple("a share of 48 %", "lowland", "stringing-unusual",
       lambda c: put(c.tables["options"][0]["stringing"][0], limit="48 % RTS"))
simple("measured tensions in kgf", "hills", "tension-unusual",
       lambda c: put_column(c.measured, "horizontal_tension", 1680.0))
simple("unit of the measured tensions not said", "feet", "tension-unusual", lambda c: (
    c.tables["options"][0].pop("measured_horizontal_tension_unit"),
    put_column(c.measured, "horizontal_tension", c.measured["horizontal_tension"] / 1.4)))
simple("density of ice in lb/ft³", "hills", "ice-unusual", lambda c: put(c.tables["cases"][1], ice_density=57))
simple("ice in inches written as mm", "feet", "ice-unusual", lambda c: put(c.tables["cases"][1], ice="0.5 mm"))
simple("ice at 32 degF written as °C", "feet", "ice-warm", lambda c: put(c.tables["cases"][1], temperature=32))
simple("wind in lb/ft²", "feet", "wind-unusual", lambda c: put(c.tables["cases"][2], wind=6))
simple("speed of the wind in the place of its pressure", "hills", "wind-unusual",
       lambda c: put(c.tables["cases"][2], wind="26 Pa"))
simple("a maximum temperature of the air", "hills", "temperature-low",
       lambda c: put(c.tables["options"][0], maximum_temperature=35))
simple("wind of the rating in ft/s", "feet", "rating-unusual", lambda c: put(c.tables["rating"], wind_speed=2))

# Rules

simple("a category spelled otherwise", "hills", "category-unruled", lambda c: put(c.section("roads"), category="Road"))
simple("a category in another language", "lowland", "category-unruled",
       lambda c: put(c.section("trees"), category="Baum"))
simple("a rule spelled otherwise beside one for all others", "hills", "rule-unmet", lambda c: (
    put_column(c.rules, "against", c.rules["against"].replace("road", "roads")),
    put_column(c.rules.loc, len(c.rules), ["all", "other", "vertical", 2.0, 0.01, 22])))
simple("metres of the rules read as feet", "hills", "rule-small", lambda c: put(c.tables["rules"], base_unit="ft"))
simple("an adder in m per V", "lowland", "rule-small", lambda c: put_column(c.rules, "per_kv", 1e-5))
simple("an adder in inches per kV", "hills", "rule-small", lambda c: put_column(c.rules, "per_kv", 0.4))


@error("a distance at which air just holds in the place of a clearance", "hills", "rule-below-distance")
def flashover(c):
    """Of all that is asked of trees 0.7 of the electrical distance is left."""
    kilovolts = c.tables["study"]["voltage"] / 1e3
    row = c.rules["rule"] == "tree"
    c.rules.loc[row, ["base", "per_kv"]] = 0.7 * float(electrical_distance(kilovolts)), 0.0


