"""The units of columns, said in the study: the same numbers in another unit are the same facts."""

import geopandas as gpd
import numpy as np
import pytest
import shapely

from corridor.clearance.rule_files import load_rules
from corridor.errors import InputError
from corridor.inputs.cells import cells
from corridor.inputs.framings import read_framings
from corridor.inputs.measured import read_measured
from corridor.inputs.series import read_series
from corridor.study import load_study
from corridor.study.currents import Series
from corridor.units import KINDS, quantity, scale
from tests.common import ask

FOOT = 0.3048  # international, exact (NIST SP 811)


@pytest.mark.parametrize("kind", [kind for kind in KINDS if KINDS[kind].unit])
def test_scale_is_that_of_quantities(kind):
    """Factor and offset of a unit give what a number with that unit gives."""
    for unit in KINDS[kind].known:
        factor, offset = scale(unit, kind)
        for number in (0.0, 1.0, -40.0, 212.0):
            assert factor * number + offset == pytest.approx(quantity(f"{number} {unit}", kind), rel=1e-12, abs=1e-12)


def test_cells_of_numbers_and_of_text():
    """A text with a unit of its own keeps it; what is no number stays at fault."""
    numbers, fault = cells(np.array([10.0, np.nan]), "length", "ft")
    assert numbers[0] == pytest.approx(10 * FOOT) and fault.tolist() == ["", "missing"]
    numbers, fault = cells(np.array(["10", "3 m", "tall", "1e1"], object), "length", "ft")
    np.testing.assert_allclose(numbers, [10 * FOOT, 3, np.nan, 10 * FOOT])
    assert fault.tolist() == ["", "", "'tall'", ""]
    assert cells(np.array(["110", "0.4"], object), "voltage", "kV")[0].tolist() == [110e3, 400.0]


def write(path, text):
    path.write_text(text, encoding="utf-8")
    return path


def test_framings(tmp_path):
    head = "framing,wire,kind,offset,height,string,string_length,string_mass,stiffness,string_wind_area\n"
    feet = write(tmp_path / "feet.csv", head + "F,A,phase,-10,60,suspension,4.5,80,,3\nF,B,phase,10,18 m,post,,,50,\n")
    units = {"offset": "ft", "height": "ft", "string_length": "ft", "string_mass": "lb", "stiffness": "kN/m",
             "string_wind_area": "in^2"}
    f = read_framings(feet, units)
    np.testing.assert_allclose(f.offset, [-10 * FOOT, 10 * FOOT])
    np.testing.assert_allclose(f.height, [60 * FOOT, 18])
    assert f.string_length[0] == pytest.approx(4.5 * FOOT) and f.string_mass[0] == pytest.approx(80 * 0.45359237)
    assert f.stiffness[1] == 50e3 and f.string_area[0] == pytest.approx(3 * 0.0254**2)


def test_rules(tmp_path):
    path = write(tmp_path / "r.csv", "rule,against,measure,base,per_kv,above_kv\no,ground,vertical,18.5,0.4,22000\n")
    rules = load_rules(path, {"base": "ft", "per_kv": "in", "above_kv": "V"})
    assert (rules.base[0], rules.per_kv[0], rules.above_kv[0]) == pytest.approx((18.5 * FOOT, 0.4 * 0.0254, 22))


def test_measured(tmp_path):
    path = write(tmp_path / "m.csv", "section,temperature,horizontal_tension\n1-4,59,4500\n")
    row, = read_measured(path, {"temperature": "degF", "horizontal_tension": "lbf"})
    assert row.temperature == pytest.approx(15) and row.horizontal_tension == pytest.approx(4500 * 4.4482216152605)


def test_series(tmp_path):
    write(tmp_path / "s.csv", "current,ambient,wind_speed\n0.5,95,2\n")
    section = Series(file="s.csv", current_unit="kA", ambient_unit="degF", wind_speed_unit="ft/s")
    hours = read_series(section, lambda name: tmp_path / name)
    assert (hours.current[0], hours.ambient[0], hours.wind_speed[0]) == pytest.approx((500, 35, 2 * FOOT))


@pytest.mark.parametrize(("given", "word"), [("kV", "voltage"), ("3 ft", "no unit"), ("fot", "ft")])
def test_a_unit_that_is_none(study, given, word):
    study.text = study.text.replace('file = "framings.csv"', f'file = "framings.csv"\nheight_unit = "{given}"')
    with pytest.raises(InputError, match=f"framings.height_unit.*{word}"):
        load_study(study.write())


def test_the_same_study_in_feet(study, other_study, make):
    """Every column of a study in feet, said so, gives the clearances of the study in metres."""
    study.structures["base_elevation"] = 100 + 0.02 * (study.structures["easting"] - make.EAST)
    other_study.structures["base_elevation"] = study.structures["base_elevation"] / FOOT
    shapes = shapely.linestrings([[[make.EAST + e, make.NORTH - 50], [make.EAST + e + 5, make.NORTH + 50]]
                                  for e in (140, 450)])
    trees = shapely.points([[make.EAST + 200, make.NORTH + 2], [make.EAST + 700, make.NORTH - 3]])
    for each, factor, units in ((study, 1.0, ""), (other_study, FOOT, '{0}_unit = "ft"\n')):
        each.rules += "tree,tree,vertical,3,,,,,,\nline,line,vertical,2,,,,,,\n"
        each.add_obstacle("lines", "line", shapes, 'elevation_column = "z"\nvoltage_column = "u"\n' + (
            units and 'elevation_unit = "ft"\nvoltage_unit = "kV"'), z=np.array([108.0, 114.0]) / factor,
            u=np.array([20.0, 20.0]) * (1 if units else 1e3))
        each.add_obstacle("trees", "tree", trees, 'height_column = "h"\nradius_column = "r"\n' + (
            units and units.format("height") + units.format("radius")), h=np.array([4.0, 3.0]) / factor,
            r=np.array([2.0, 2.5]) / factor)
    other_study.change('file = "line.gpkg"', 'file = "line.gpkg"\nbase_elevation_unit = "ft"')
    found = [each.check() for each in (study, other_study)]
    rows = [each["clearances"].sort_values(["span", "case", "against", "obstacle"]) for each in found]
    assert len(rows[0]) == len(rows[1]) and {"line", "tree", "ground"} <= set(rows[0]["against"])
    np.testing.assert_allclose(rows[0]["actual_m"], rows[1]["actual_m"], atol=1e-6)
    unit = found[1].row("inputs", part="obstacles.lines")["unit"]
    assert "elevation in ft" in unit and "voltage in kV" in unit
    assert not len(found[0]["doubts"]) and not len(found[1]["doubts"])


def test_z_in_feet(study, make):
    """Geometries with Z in feet, whose CRS does not say so."""
    line = shapely.linestrings([[[make.EAST + 140, make.NORTH - 50, 360], [make.EAST + 145, make.NORTH + 50, 360]]])
    study.rules += "line,line,vertical,2,,,,,,\n"
    gpd.GeoDataFrame(geometry=line, crs=make.GRID).to_file(study.folder / "z.gpkg", layer="z")
    study.text += ('\n[[obstacles]]\nname = "z"\nfile = "z.gpkg"\ncategory = "line"\nvoltage = "20 kV"\n'
                   'elevation_unit = "ft"\n')
    found = study.check().rows("clearances", against="line")
    # Where a swung wire is nearest is found to a tenth of a millimetre.
    np.testing.assert_allclose(found["other_elevation_m"], 360 * FOOT, atol=1e-4)


def test_bare_kilovolts_are_told(study, make):
    """110 in a column that is read in volts: told until the unit is said."""
    shapes = shapely.linestrings([[[make.EAST + 140, make.NORTH - 50, 109], [make.EAST + 145, make.NORTH + 50, 109]]])
    study.rules += "line,line,vertical,2,,,,,,\n"
    study.add_obstacle("lines", "line", shapes, 'voltage_column = "u"', u=[110.0])
    path = study.write()
    assert [each.doubt.kind.id for each in ask(path, "inspect").doubts] == ["voltage-bare"]
    study.text += 'voltage_unit = "kV"\n'
    path = study.write()
    assert not ask(path, "inspect").doubts
