"""The study file: what it accepts, its defaults and its reference page.

What is accepted is given by the format's own description, in study_example.toml.
"""

import hashlib
from dataclasses import FrozenInstanceError
from pathlib import Path

import pytest
from pydantic import ValidationError

from corridor.study import Limit, load_study, reference, write_reference
from corridor.study.voltages import HIGHEST, highest

PAGE = Path(__file__).parents[1] / "docs" / "study_file.md"
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


def test_the_example_is_read_in_si(write):
    study = load_study(write())
    assert (study.study.voltage, study.study.frequency) == (110e3, 50.0)
    wire, option = study.conductors[0], study.options[0]
    assert (wire.outer_area, wire.diameter, wire.mass) == pytest.approx((403e-6, 28.1e-3, 1.628))
    assert (wire.rts, wire.resistance_20) == pytest.approx((140e3, 0.070e-3))
    assert (wire.outer_modulus, wire.compression) == pytest.approx((55e9, 10e6))
    assert option.stringing[0].limit == Limit("share", 0.2, "20 % RTS")
    assert (option.stringing[0].temperature, option.stringing[1].case) == (10.0, "ice and wind")
    assert (study.right_of_way.half_width, study.rating.required_current) == (20.0, 900.0)
    assert [obstacle.name for obstacle in study.obstacles] == ["roads", "other lines"]


def test_the_order_of_the_file_is_kept(write):
    assert [case.name for case in load_study(write()).cases] == [
        "hot",
        "ice",
        "ice and wind",
        "swung",
    ]


def test_the_study_knows_its_file(write):
    path = write()
    study = load_study(str(path))
    assert (study.path, study.folder) == (path, path.parent)
    assert study.digest == hashlib.sha256(path.read_bytes()).hexdigest()
    assert study.resolve("line.gpkg") == path.parent / "line.gpkg"
    assert study.resolve("/vsizip/a.zip/b.tif") == Path("/vsizip/a.zip/b.tif")


def test_a_study_cannot_be_changed(write):
    study = load_study(write())
    with pytest.raises(ValidationError, match="frozen"):
        study.study.voltage = 1.0
    with pytest.raises(FrozenInstanceError):
        study.options[0].stringing[0].limit.value = 1.0


def test_a_short_study_has_the_documented_defaults(write):
    short = EXAMPLE[: EXAMPLE.index("[right_of_way]")]
    study = load_study(write(('condition = "final"\nchecks = ["vertical"]', ""), text=short))
    assert (study.right_of_way, study.rating, study.shield_wire) == (None, None, None)
    hot, ice, iced_wind, swung = study.cases
    assert (hot.condition, hot.ice, hot.wind, hot.ice_density) == ("final", 0.0, 0.0, 913.0)
    assert hot.checks == ice.checks == ("vertical", "tension")
    assert iced_wind.checks == ("horizontal", "tension")
    assert swung.checks == ("horizontal",)


def test_zero_wind_is_no_wind(write):
    study = load_study(write(('ice = "12 mm"', 'ice = "12 mm"\nwind = "0 Pa"')))
    assert study.cases[1].checks == ("vertical", "tension")


def test_emergency_case_without_emergency_temperature_is_no_fault(write):
    """The case is not assessed for that option; the others still are."""
    path = write(("emergency_temperature = 90\n", ""), ('"maximum"', '"emergency"'))
    study = load_study(path)
    assert study.cases[0].temperature == "emergency"
    assert study.options[0].emergency_temperature is None


def test_shield_wire(write):
    study = load_study(write(("[[conductors]]", SHIELD + "temperature = 10\n[[conductors]]")))
    assert study.shield_wire.maximum_temperature == 50.0
    assert study.shield_wire.stringing[0].limit.value == pytest.approx(0.15)


def test_sun_by_place_and_time(write):
    study = load_study(write(("solar = 1000", "latitude = 50\nday = 2021-06-10\nhour = 11")))
    assert (study.rating.day, study.rating.hour) == (161, 11.0)


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ('"20 % RTS"', "share", 0.2),
        ('"100 % RTS"', "share", 1.0),
        ('"25 kN"', "tension", 25e3),
        ("25_000", "tension", 25e3),
        ('"1800 m"', "constant", 1800.0),
    ],
)
def test_stringing_limit_tells_its_kind_by_its_unit(write, text, kind, value):
    limit = load_study(write(('"20 % RTS"', text))).options[0].stringing[0].limit
    assert (limit.kind, limit.value) == (kind, pytest.approx(value))


def test_virtual_paths_are_left_to_gdal(write):
    study = load_study(write(('"terrain/ground.tif"', '"/vsizip/ground.zip/ground.tif"')), trust=True)
    assert study.terrain.ground == ("/vsizip/ground.zip/ground.tif",)


def test_byte_order_mark_of_windows_editors(write):
    path = write()
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n"))
    assert load_study(path).study.voltage == 110e3


@pytest.mark.parametrize(
    ("nominal", "kilovolts", "standard"),
    [
        (110e3, 123, "IEC 60038"), (132e3, 145, "IEC 60038"), (220e3, 245, "IEC 60038"),
        (66e3, 72.5, "IEC 60038"), (400e3, 420, "IEC 60038"), (69e3, 72.5, "ANSI C84.1"),
        (115e3, 121, "ANSI C84.1"), (138e3, 145, "ANSI C84.1"), (161e3, 169, "ANSI C84.1"),
        (230e3, 242, "ANSI C84.1"), (120e3, 126, "1.05 x nominal"),
    ],
)  # fmt: skip
def test_highest_voltage_iec_60038_and_ansi_c84_1(nominal, kilovolts, standard):
    """IEC 60038 tables 4 and 5 (recalled). ANSI C84.1 maxima 72.5, 121, 145, 169 and 242 kV, which
    RUS Bulletin 1724E-200, chapter 4, also lists (read)."""
    voltage, source = highest(nominal)
    assert voltage == kilovolts * 1000
    assert standard in source


def test_highest_voltage_is_between_nominal_and_a_quarter_more():
    """The series of IEC 60038 lie within 4 and 21 % above the nominal voltages (recalled)."""
    for nominal, (kilovolts, _) in HIGHEST.items():
        assert 1.03 < kilovolts / nominal < 1.21


def test_highest_voltage_as_given(write):
    section = load_study(write(("frequency", 'highest_voltage = "126 kV"\nfrequency'))).study
    assert section.highest_voltage_or_default == 126e3
    assert section.highest_voltage_source == "given in the study"
    section = load_study(write()).study
    assert section.highest_voltage_or_default == 123e3
    assert "IEC 60038" in section.highest_voltage_source


def test_reference_page_is_made_from_the_schema(tmp_path):
    """Where it fails: `corridor.study.write_reference("docs/study_file.md")`."""
    assert PAGE.read_text(encoding="utf-8") == reference()
    write_reference(tmp_path / "page.md")
    assert (tmp_path / "page.md").read_text(encoding="utf-8") == reference()


def test_every_key_of_the_example_is_in_the_reference():
    keys = {line.split("=")[0].strip() for line in EXAMPLE.splitlines() if "=" in line}
    page = reference()
    assert all(f"| `{key}` |" in page for key in keys)
