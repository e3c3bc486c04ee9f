"""The study file: the words with which it refuses.

Each fault is one change to study_example.toml; its syntax is that of TOML 1.0.
"""

import tomllib
from pathlib import Path

import pytest
from pydantic import ValidationError

from corridor.errors import InputError
from corridor.study import Study, StudyError, load_study
from corridor.study.checks import CHECKS

EXAMPLE = Path(__file__).with_name("study_example.toml").read_text(encoding="utf-8")
FILES = ("terrain/ground.tif", "line.gpkg", "framings.csv", "obstacles.gpkg", "my_rules.csv")

SHIELD = '[shield_wire]\nconductor = "small"\n[[shield_wire.stringing]]\nlimit = "15 % RTS"\n'


@pytest.fixture
def write(tmp_path):
    """Return a function that writes the example with some text replaced, and gives its path."""
    for name in FILES:
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).touch()

    def write_study(*changes, text=EXAMPLE):
        for old, new in changes:
            assert old in text
            text = text.replace(old, new, 1)
        path = tmp_path / "study.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return write_study


def refuse(path):
    """Return the faults of a study that is refused."""
    with pytest.raises(InputError) as caught:
        load_study(path)
    assert isinstance(caught.value, StudyError)
    assert str(caught.value).splitlines() == [str(error) for error in caught.value.errors]
    return caught.value.errors


HOT = '\n[[cases]]\nname = "hot"\ntemperature = 5\n'
ROADS = 'category = "road"\nheight = 0'

CLOUD = '[[point_clouds]]\nname = "survey"\nfiles = ["line.gpkg"]\n'
GROUP = '[[point_clouds.groups]]\nname = "roofs"\ncategory = "building"\n'
RESISTANCE = '[[rating.resistances]]\nconductor = "{}"\ntemperature = {}\nresistance = "0.07 ohm/km"'

#: What is replaced, by what; then key, found, accepted and hint as they must be told.
# fmt: off
FAULTS = {
    "unknown key": (
        'title = "', 'titel = "', "study.titel", "'titel'", "title, crs, voltage", "'title'"),
    "unknown section": (
        "[rating]", "[ratng]", "ratng", "'ratng'", "right_of_way", "'rating'"),
    "unknown key below a list": (
        "conductor = ", "conducter = ", "options.existing.conducter", "'conducter'", "bundle",
        "'conductor'"),
    "unknown key two lists down": (
        "condition = ", "conditon = ", "options.existing.stringing.0.conditon", "'conditon'", "limit",
        "'condition'"),
    "missing key": ('voltage = "110 kV"\n', "", "study.voltage", "nothing", "110 kV", None),
    "missing section": (
        '[framings]\nfile = "framings.csv"', "", "framings", "nothing", "a table", None),
    "a unit of something else": (
        '"28.1 mm"', '"28.1 kN"', 'conductors."our wire".diameter', "'kN' measures force", "length", None),
    "feet and inches": (
        '"20 m"', '"65 ft 7 in"', "right_of_way.half_width", "two numbers", "length", None),
    "unknown unit": ('"110 kV"', '"110 KV"', "study.voltage", "'110 KV'", "voltage", "'kV'"),
    "text without unit": (
        '"20 m"', '"20"', "right_of_way.half_width", "needs a unit", "length", "'20 m'"),
    "kilovolts as volts": (
        '"110 kV"', "110", "study.voltage", "110 V is too small", "1000 V", "'110 kV'"),
    "millimetres as metres": (
        'ice = "12 mm"', "ice = 12", "cases.ice.ice", "12 m is too large", "0.3 m", "'12 mm'"),
    "kilonewtons as newtons": (
        'rts = "140 kN"', "rts = 140", 'conductors."our wire".rts', "140 N is too small", "force",
        "'140 kN'"),
    "a small limit": (
        '"20 % RTS"', "20", "options.existing.stringing.0.limit", "20 N is too small", "RTS",
        "'20 % RTS' or '20 kN'"),
    "a share of nothing": (
        '"20 % RTS"', '"20 %"', "options.existing.stringing.0.limit", "'20 %'", "20 % RTS", "'20 % RTS'"),
    "more than all of the strength": (
        '"20 % RTS"', '"120 % RTS"', "options.existing.stringing.0.limit", "1.2 of RTS is too large",
        "100 %", None),
    "a limit of no kind": (
        '"20 % RTS"', '"20 kV"', "options.existing.stringing.0.limit", "measures voltage", "catenary",
        None),
    "true for a number": ("mass = 1.628", "mass = true", 'conductors."our wire".mass', "true", "mass", None),
    "nan": ("mass = 1.628", "mass = nan", 'conductors."our wire".mass', "not finite", "mass", None),
    "text for true": (
        "existing = true", 'existing = "yes"', "options.existing.existing", "'yes'", "true | false", None),
    "half a bundle": (
        "bundle = 1", "bundle = 1.5", "options.existing.bundle", "1.5", "from 1 to 12", None),
    "no bundle": ("bundle = 1", "bundle = 0", "options.existing.bundle", "0", "from 1 to 12", None),
    "spacing of a single wire": (
        "bundle = 1", "bundle = 1\nbundle_spacing = 0.4", "options.existing.bundle_spacing", "0.4 of a single wire",
        "bundle = 2", None),
    "square of two": (
        "bundle = 1", "bundle = 2\nbundle_spacing = 0.4\nbundle_arrangement = 'square'",
        "options.existing.bundle_arrangement", "'square' of 2 subconductors", "horizontal | vertical", None),
    "unknown arrangement": (
        "bundle = 1", "bundle = 2\nbundle_arrangement = 'diagonal'", "options.existing.bundle_arrangement",
        "'diagonal'",
        "square", None),
    "unknown condition": (
        'condition = "initial"', 'condition = "intial"', "options.existing.stringing.1.condition",
        "'intial'", '"initial" | "final"', "'initial'"),
    "unknown check": (
        '["horizontal"]', '["horizontl"]', "cases.swung.checks.0", "'horizontl'", "vertical",
        "'horizontal'"),
    "no checks": ('["horizontal"]', "[]", "cases.swung.checks", "an empty list", "horizontal", None),
    "a check twice": (
        '["horizontal"]', '["tension", "tension"]', "cases.swung.checks", "tension", "each check once",
        None),
    "unknown temperature": (
        '"maximum"', '"maximal"', "cases.hot.temperature", "'maximal'", '"maximum" | "emergency"',
        None),
    "kelvin as celsius": (
        "maximum_temperature = 75", "maximum_temperature = 450", "options.existing.maximum_temperature",
        "450 °C is too large", "°C", None),
    "an assumed state without allowance": (
        'elevation_column = "wire_z"', 'elevation_column = "wire_z"\nstate = "assumed"',
        'obstacles."other lines".movement',
        "nothing", "'1.5 m'", None),
    "factors of a case that there is not": (
        "[right_of_way]", '[capacity]\nfile = "framings.csv"\n[[capacity.factors]]\ncase = "icy"\n[right_of_way]',
        "capacity.factors.0.case", "'icy'", "'hot', 'ice', 'ice and wind', 'swung'", "'ice'"),
    "no district of that name": (
        'ice = "12 mm"', 'district = "us-havy"', "cases.ice.district", "'us-havy' (no load district that is known)",
        '"us-heavy" | "us-medium"', "'us-heavy'"),
    "a district that is no text": (
        'ice = "12 mm"', 'district = ["us-heavy"]', "cases.ice.district", "a list (no load district that is known)",
        '"us-heavy" | "us-medium"', None),
    "a case against its district": (
        'temperature = 0\nice = "12 mm"\nice_density = 913', 'district = "us-heavy"\nice = "20 mm"', "cases.ice.ice",
        "'20 mm'", "nothing: the district us-heavy fixes it (0.0127, Rule 250B", None),
    "a district that asks for the wind of a map": (
        'temperature = 0\nice = "12 mm"\nice_density = 913', 'district = "us-extreme-wind"', "cases.ice.wind",
        "nothing", "the district us-extreme-wind leaves it to maps or annexes", None),
    "a constant where clearance is checked": (
        'temperature = 0\nice = "12 mm"\nice_density = 913',
        'district = "us-heavy"\nchecks = ["vertical", "tension"]', "cases.ice.checks",
        "vertical, tension under a constant load", "tension alone", None),
    "a case without a temperature": (
        'temperature = 0\n', '', "cases.ice.temperature", "nothing", "a temperature, or a district", None),
    "ice by its weight where a district fixes it": (
        'temperature = 0\nice = "12 mm"\nice_density = 913', 'district = "us-heavy"\nice_weight = 20',
        "cases.ice.ice_weight", "20", "nothing: the district us-heavy fixes it", None),
    "ice twice": (
        'ice = "12 mm"', 'ice = "12 mm"\nice_weight = 20', "cases.ice.ice_weight", "ice besides",
        "thickness or weight", None),
    "ice by its weight of no density": (
        'ice = "12 mm"\nice_density = 913', "ice_weight = 20", "cases.ice.ice_density",
        "nothing, with ice by its weight",
        "the density of that ice", None),
    "ice per diameter in another unit": (
        'ice = "12 mm"', "ice_weight_per_diameter = 0.4", "cases.ice.ice_weight_per_diameter", "0.4 N/m²",
        "'0.4 N/m/mm'",
        None),
    "uneven ice without any": (
        'ice = "12 mm"', 'ice_spans = "odd"', "cases.ice.ice", "0 m of it, uneven", "a thickness", None),
    "a broken wire in wind": (
        'wind = "290 Pa"', 'wind = "290 Pa"\nbroken = "back"', "cases.swung.wind", "290 Pa with a broken wire",
        "no wind", None),
    "a broken wire to one side alone": (
        'ice = "12 mm"', 'ice = "12 mm"\nbroken = "back"', "cases.ice.broken", "'back' alone",
        "a second case besides, the same but for its name and broken = 'ahead'", None),
    "a broken wire under uneven ice": (
        'ice = "12 mm"', 'ice = "12 mm"\nice_spans = "each"\nbroken = "ahead"', "cases.ice.ice_spans",
        "uneven ice with a broken wire", "ice on all spans, or none", None),
    "a state of no shield wire": (
        'ice = "12 mm"', 'ice = "12 mm"\nshield = {temperature = 0}', "cases.ice.shield", "a state of shield wires",
        "[shield_wire]", None),
    "negative ice": ('ice = "12 mm"', 'ice = "-12 mm"', "cases.ice.ice", "'-12 mm'", "from 0", None),
    "negative wind": (
        'wind = "290 Pa"', "wind = -290", "cases.swung.wind", "-290 Pa is too small", "from 0", None),
    "a string for a list": (
        '["terrain/ground.tif"]', '"terrain/ground.tif"', "terrain.ground", "'terrain/ground.tif'",
        "a list of: a path", None),
    "no ground": (
        '["terrain/ground.tif"]', "[]", "terrain.ground", "an empty list", "a list of: a path",
        None),
    "unknown vertical unit": (
        'vertical_unit = "m"', 'vertical_unit = "us-feet"', "terrain.vertical_unit", "'us-feet'",
        "us-ft", "'us-ft'"),
    "an empty name": ('name = "our wire"', 'name = " "', "conductors.0.name", "' '", "text", None),
    "case twice": (
        "[rules]", '\n[[cases]]\nname = "hot"\ntemperature = 5\n[rules]', "cases.4.name",
        "'hot', which is also cases.0.name", "no other", None),
    "obstacle twice": (
        'name = "other lines"', 'name = "roads"', "obstacles.1.name", "obstacles.0.name",
        "no other", None),
    "unknown case": (
        'case = "ice and wind"', 'case = "ice with wind"', "options.existing.stringing.1.case",
        "'ice with wind'", "'swung'", "'ice and wind'"),
    "limit without state": (
        'case = "ice and wind"\n', "", "options.existing.stringing.1", "neither temperature nor case",
        "exactly one", None),
    "limit with two states": (
        'case = "ice and wind"\n', 'case = "ice"\ntemperature = 5\n', "options.existing.stringing.1",
        "both temperature and case", "exactly one", None),
    "shield limit without state": (
        "[[conductors]]",
        SHIELD + "[[conductors]]",
        "shield_wire.stringing.0", "neither", "exactly one", None),
    "emergency below maximum": (
        "emergency_temperature = 90", "emergency_temperature = 70",
        "options.existing.emergency_temperature", "70 °C", "maximum_temperature, 75 °C", None),
    "rules of nowhere": (
        'table = "european-electrical-distance"', "", "rules", "none of table, file",
        "at least one", None),
    "no category": (
        'category = "road"', "", "obstacles.roads", "none of category, column", "exactly one", None),
    "two categories": (
        'category = "road"\nheight = 0', 'category = "road"\ncolumn = "kind"', "obstacles.roads",
        "category and column", "exactly one", None),
    "two heights": (
        'category = "road"\nheight = 0', 'category = "road"\nheight = 0\nheight_column = "h"',
        "obstacles.roads", "height and height_column", "at most one", None),
    "two radii": (
        'category = "road"\nheight = 0',
        'category = "road"\nheight = 0\nradius = 3\nradius_column = "r"', "obstacles.roads",
        "radius and radius_column", "at most one", None),
    "two voltages": (
        'voltage_column = "voltage"', 'voltage_column = "v"\nvoltage = "20 kV"', 'obstacles."other lines"',
        "voltage and voltage_column", "at most one", None),
    "kilovolts as volts beside": (
        'voltage_column = "voltage"', "voltage = 20", 'obstacles."other lines".voltage', "20 V is too small",
        "voltage", "'20 kV'"),
    "no strip": (
        'half_width = "20 m"', "", "right_of_way", "none of half_width, file", "exactly one", None),
    "two strips": (
        'half_width = "20 m"', 'half_width = "20 m"\nfile = "line.gpkg"', "right_of_way",
        "half_width and file", "exactly one", None),
    "layer of no file": (
        'half_width = "20 m"', 'half_width = "20 m"\nlayer = "strip"', "right_of_way.layer",
        "'strip' without file", "with file", None),
    "no sun": (
        "solar = 1000", "", "rating", "nothing about the sun", "latitude, day and hour", None),
    "half a sun": (
        "solar = 1000", "latitude = 50\nday = 161", "rating", "latitude and day", "hour", None),
    "two suns": (
        "solar = 1000", "solar = 1000\nday = 161", "rating", "solar and day", "either solar", None),
    "no such day": ("solar = 1000", "day = 400", "rating.day", "400", "1 to 366", None),
    "no such hour": ("solar = 1000", "hour = 25", "rating.hour", "25", "0 to 24", None),
    "two winds": (
        "solar = 1000", "solar = 1000\nwind_direction = 270", "rating", "wind_angle and wind_direction", "at most one",
        None),
    "half an emergency": (
        "solar = 1000", "solar = 1000\npre_load = 300", "rating", "pre_load alone", "emergency_duration", None),
    "no list of winds": (
        "solar = 1000", "solar = 1000\ntable_winds = 2", "rating.table_winds", "2", "a list, at least one", None),
    "resistance of no option": (
        "required_current = 900", RESISTANCE.format("429-AL1/56-ST1B", 25), "rating.resistances.0.conductor",
        "'429-AL1/56-ST1B'", "'429-AL1/56-ST1A'", "'429-AL1/56-ST1A'"),
    "one resistance": (
        "required_current = 900", RESISTANCE.format("429-AL1/56-ST1A", 25), "rating.resistances.0",
        "1 different temperatures", "two or more", None),
    "mix of no option": (
        "required_current = 900", 'required_current = 900\n[[mixes]]\nname = "mix"\noption = "existing"\n'
        '[[mixes.in_sections]]\noption = "exsting"\nsections = ["1-2"]', "mixes.mix.in_sections.0.option",
        "'exsting'", "existing", "'existing'"),
    "two years of loads": (
        "required_current = 900", '[[rating.loads]]\ncurrent = 9\nduration = "8000 h"\n' * 2, "rating.loads",
        "16000 h", "8784 h", None),
    "lost series": (
        "required_current = 900", '[series]\nfile = "hours.csv"', "series.file", "hours.csv", "a file", None),
    "series without a file": (
        "required_current = 900", "[series]", "series.file", "nothing", "a file of currents", None),
    "half a season": (
        "required_current = 900", 'required_current = 900\n[[ratings]]\nname = "summer"\nfirst_day = 121',
        "ratings.summer", "first_day alone", "together with last_day", None),
    "durations from no load": (
        "required_current = 900", 'required_current = 900\n[[ratings]]\nname = "summer"\ndurations = ["30 min"]',
        "ratings.summer", "durations alone", "together with pre_load", None),
    "seasons with a common day": (
        "required_current = 900", 'required_current = 900\n[[ratings]]\nname = "a"\nfirst_day = 300\nlast_day = 60\n'
        '[[ratings]]\nname = "b"\nfirst_day = 59\nlast_day = 90', "ratings.b", "day 59, as in 'a'",
        "without a common day", None),
    "weather twice": (
        "required_current = 900", 'required_current = 900\n[series]\nweather = "framings.csv"\n[[series.stations]]\n'
        'name = "hill"\nfile = "framings.csv"', "series", "weather and stations", "at most one", None),
    "highest below nominal": (
        "frequency", 'highest_voltage = "100 kV"\nfrequency', "study.highest_voltage", "100000 V",
        "110000 V", None),
    "unknown method": (
        '"ieee738"', '"ieee783"', "rating.method", "'ieee783'", "cigre601", "'ieee738'"),
    "lost ground": (
        "terrain/ground.tif", "terrain/grund.tif", "terrain.ground.0", "terrain/grund.tif",
        "relative", "'terrain/ground.tif'"),
    "lost structures": (
        '"line.gpkg"', '"lines.gpkg"', "structures.file", "lines.gpkg", "a file", "'line.gpkg'"),
    "lost framings": (
        '"framings.csv"', '"framing.csv"', "framings.file", "framing.csv", "a file",
        "'framings.csv'"),
    "lost obstacles": (
        '"obstacles.gpkg"', '"obstacle.gpkg"', "obstacles.roads.file", "obstacle.gpkg", "a file",
        "'obstacles.gpkg'"),
    "lost rules": (
        'table = "european-electrical-distance"', 'file = "my_rule.csv"', "rules.file",
        "my_rule.csv", "a file", "'my_rules.csv'"),
    "the existing wire by itself": (
        'limit = "20 % RTS"', 'limit = "existing"', "options.existing.stringing.0.limit", "'existing'",
        "beside the existing one", None),
    "lost curves": (
        "[study]", 'curves = "curve.csv"\n[study]', "curves", "curve.csv", "a file", None),
    "lost strip": (
        'half_width = "20 m"', 'file = "strip/area.gpkg"', "right_of_way.file", "strip/area.gpkg",
        "a file", None),
    "one class for two things": (
        "[right_of_way]", CLOUD + "ground_classes = [2, 6]\n[right_of_way]", "point_clouds.survey.ground_classes",
        "class 6, as in the default group building", "each class once", None),
    "two groups of one name": (
        "[right_of_way]", CLOUD + (GROUP + "classes = [5]\n") + GROUP + "classes = [6]\n[right_of_way]",
        "point_clouds.survey.groups.1.name", "'roofs'", "no other group", None),
    "cloud named as a layer": (
        "[right_of_way]", CLOUD.replace("survey", "roads") + "[right_of_way]", "point_clouds.0.name", "'roads'",
        "no layer of obstacles", None),
    "several layers of several files": (
        'file = "obstacles.gpkg"\nlayer = "roads"', 'file = ["obstacles.gpkg", "line.gpkg"]\nlayer = ["a", "b"]',
        "obstacles.roads.layer",
        "2 layers of 2 files", "one layer of several files", None),
    "a file twice": (
        'file = "obstacles.gpkg"', 'file = ["obstacles.gpkg", "obstacles.gpkg"]', "obstacles.roads.file",
        "one is there twice", "a path, or a list of them", None),
    "a file that is a number": (
        'file = "obstacles.gpkg"', "file = [3]", "obstacles.roads.file", "neither a text nor a list of texts",
        "a path, or a list of them", None),
    "surface by category and by classes": (
        "surface = []", 'surface = ["line.gpkg"]\nsurface_category = "tree"\n'
        'surface_classes = {file = "line.gpkg", values = {5 = "tree"}}', "terrain",
        "surface_category and surface_classes", "one of the two", None),
    "surface of wires": (
        "surface = []", 'surface = ["line.gpkg"]\nsurface_category = "line"', "terrain.surface_category", "'line'",
        "things that stand", None),
    "class of wires of a surface": (
        "surface = []", 'surface = ["line.gpkg"]\nsurface_classes = {file = "line.gpkg", values = {5 = "line"}}',
        "terrain.surface_classes.values.5", "'line'", "things that stand", None),
    "category of no surface": (
        "surface = []", 'surface_category = "tree"', "terrain.surface_category", "no surface", "terrain.surface", None),
    "layer named as the surface": (
        'surface = []\nvertical_unit = "m"\n', 'surface = ["line.gpkg"]\n' + CLOUD.replace("survey", "surface"),
        "point_clouds.0.name", "'surface'", "another name", None),
    "class of a surface in words": (
        "surface = []", 'surface = ["line.gpkg"]\nsurface_classes = {file = "line.gpkg", values = {five = "tree"}}',
        "terrain.surface_classes.values", "'five' is no whole number", "a table of classes", None),
    "class of a surface without category": (
        "surface = []", 'surface = ["line.gpkg"]\nsurface_classes = {file = "line.gpkg", values = {5 = 3}}',
        "terrain.surface_classes.values", "category of class 5", "a table of classes", None),
    "class beyond a byte": (
        "[right_of_way]", CLOUD + "ignored_classes = [256]\n[right_of_way]", "point_clouds.survey.ignored_classes.0",
        "256",
        "whole number", None),
    "survey at no temperature": (
        "[right_of_way]", '[[surveys]]\nname = "flown"\nfiles = ["line.gpkg"]\n[right_of_way]',
        "surveys.flown.temperature", "nothing", "a temperature, or current", None),
    "findings over an input": (
        '"findings.gpkg"', '"line.gpkg"', "study.output", "'line.gpkg', an input",
        "none of the inputs", None),
    "findings of another kind": (
        '"findings.gpkg"', '"findings.shp"', "study.output", "'findings.shp'", ".gpkg",
        "'findings.gpkg'"),
    "last day of work before the first": (
        "[right_of_way]", "[plan.calendar]\nstart = 2027-03-01\nby = 2027-02-01\n[right_of_way]", "plan.calendar.by",
        "2027-02-01", "2027-03-01", None),
    "shift that ends before it begins": (
        "[right_of_way]", '[plan.calendar]\nstart = 2027-03-01\nshift_start = "18:00"\n[right_of_way]',
        "plan.calendar.shift_end", "17 h", "later than shift_start, 18 h", None),
    "findings in no folder": (
        '"findings.gpkg"', '"out/findings.gpkg"', "study.output", "does not exist", "folder", None),
}
# fmt: on


@pytest.mark.parametrize("fault", FAULTS)
def test_each_fault_names_file_key_found_accepted_and_nearest(write, fault):
    old, new, where, found, accepted, hint = FAULTS[fault]
    (error,) = [error for error in refuse(write((old, new))) if error.where == where]
    assert found in error.found
    assert accepted in error.accepted
    assert error.hint == hint
    assert str(error).startswith(f"study.toml: {where}: found ")


def test_single_bracket_for_a_list(write):
    text = EXAMPLE[: EXAMPLE.index("[[obstacles]]")] + '[obstacles]\nname = "roads"\n'
    (error,) = refuse(write(text=text))
    assert (error.where, error.found) == ("obstacles", "a table")
    assert "[[...]]" in error.accepted


@pytest.mark.parametrize("section", ["options", "cases"])
def test_no_options_and_no_cases(write, section):
    head, _, rest = EXAMPLE.partition(f"[[{section}]]")
    tail = rest[rest.index("[[conductors]]" if section == "options" else "[rules]") :]
    (absent,) = refuse(write(text=head + tail))
    (empty,) = refuse(write(text=f"{section} = []\n" + head + tail))
    assert (absent.where, absent.found) == (section, "nothing")
    assert (empty.where, empty.found) == (section, "an empty list")
    assert "at least one" in empty.accepted


def test_two_existing_options_and_two_of_a_name(write):
    option = EXAMPLE[EXAMPLE.index("[[options]]") : EXAMPLE.index("[[conductors]]")]
    wire = EXAMPLE[EXAMPLE.index("[[conductors]]") : EXAMPLE.index("[[cases]]")]
    errors = refuse(
        write(("[[conductors]]", option + "[[conductors]]"), ("[[cases]]", wire + "[[cases]]"))
    )
    assert [error.where for error in errors] == [
        "options.1.name",
        "conductors.1.name",
        "options.1.existing",
    ]
    assert "at most one" in errors[-1].accepted


def test_limit_in_an_emergency_case_needs_an_emergency_temperature(write):
    changes = ('"maximum"', '"emergency"'), ('case = "ice and wind"', 'case = "hot"')
    load_study(write(*changes))
    (error,) = refuse(write(*changes, ("emergency_temperature = 90\n", "")))
    assert (error.where, error.found) == (
        "options.existing.stringing.1.case",
        "'hot', at an emergency temperature",
    )


def test_a_series_needs_weather(write):
    rating = EXAMPLE[EXAMPLE.index("[rating]"):]
    (error,) = refuse(write((rating, '[series]\nfile = "line.gpkg"\n')))
    assert (error.where, error.accepted) == ("series", "[series] together with [rating]")


def test_all_faults_are_told_at_once(write):
    errors = refuse(write(('"110 kV"', '"110 kg"'), ('"12 mm"', '"12 kV"'), ("bundle", "bundles")))
    assert [error.where for error in errors] == [
        "study.voltage",
        "options.existing.bundles",
        "cases.ice.ice",
    ]


def test_a_misspelt_required_key_is_told_from_both_sides(write):
    unknown_or_missing = {
        error.where: error.hint for error in refuse(write(("voltage =", "voltge =")))
    }
    assert unknown_or_missing["study.voltge"] == "'voltage'"
    assert "'voltge'" in unknown_or_missing["study.voltage"]


def test_fault_of_toml_names_its_line(write):
    (error,) = refuse(write(text="[study]\ntitle = \n"))
    assert (error.where, error.accepted) == ("line 2, column 9", "a file in TOML 1.0")


def test_fault_of_toml_at_the_end(write):
    (error,) = refuse(write(text='[study]\ntitle = """\n'))
    assert "TOML" in error.found


def test_text_that_is_not_utf8(write):
    path = write()
    path.write_bytes(b'[study]\ntitle = "M\xfchle"\n')
    (error,) = refuse(path)
    assert (error.where, error.accepted) == ("line 2", "UTF-8")


def test_no_study_at_all(tmp_path):
    (error,) = refuse(tmp_path / "nothing.toml")
    assert "no such file" in error.found
    (error,) = refuse(tmp_path)
    assert "directory" in error.found


def test_findings_in_the_place_of_their_study(tmp_path):
    path = tmp_path / "findings.gpkg"
    path.write_bytes(b"SQLite format 3\0")
    (error,) = refuse(path)
    assert "GeoPackage" in error.found and "study file" in error.accepted


def test_every_cross_check_tells_some_fault_of_the_list(write):
    told = set()
    for old, new, *_ in FAULTS.values():
        path = write((old, new))
        try:
            study = Study.of_file(tomllib.loads(path.read_text(encoding="utf-8")), path, "")
        except ValidationError:
            continue
        told |= {check.__name__ for check in CHECKS if list(check(study))}
    elsewhere = {"one_existing", "limit_cases_are_possible", "series_has_a_rating", "files_are_near",
                 "files_are_files"}
    assert told | elsewhere == {check.__name__ for check in CHECKS}
