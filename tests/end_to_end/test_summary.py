"""What the person at a terminal is told: one screen on stderr, nothing on stdout."""

import numpy as np
from pyproj import Transformer

import corridor

from .conftest import EAST, NORTH


def run(study, capsys, *arguments):
    """Write and run the study; return its status and what was said."""
    study.write()
    status = study.command(*arguments)
    said = capsys.readouterr()
    assert said.out == ""
    return status, said.err


def test_all_clear(study, capsys):
    study.add_roads()
    status, said = run(study, capsys)
    assert status == 0
    assert "today" in said and "Not assessed" not in said
    assert "Local codes" in said


def test_the_worst_span_and_the_findings_are_named(study, capsys, make, monkeypatch):
    """The minimum margin of each option, where it is, and the path of the file, in 80 columns and on one screen."""
    monkeypatch.chdir(study.folder)
    study.add_roads()
    study.text += make.SECOND_OPTION
    study.rules = study.rules.replace("5.5", "8.5")
    status, said = run(study, capsys, "--output", "out.gpkg")
    assert status == 1
    options = corridor.check_study(study.path).options
    for option in options:
        row = next(line for line in said.splitlines() if line.startswith(option["option"]))
        assert f"{option['worst_margin_m']:+.2f} m" in row
        for key in ("worst_span", "worst_against", "worst_case"):
            assert option[key] in row
        assert f" {option['violations']} " in row
    assert len(said.splitlines()) <= 24
    assert "out.gpkg" in said


def widest(study, capsys):
    """Run the study, which is in violation, and return the columns of the widest line of its summary."""
    study.add_roads()
    study.rules = study.rules.replace("5.5", "8.5")
    status, said = run(study, capsys, "--output", "out.gpkg")
    assert status == 1
    return max(len(line) for line in said.splitlines())


def test_eighty_columns(study, capsys, make, monkeypatch):
    monkeypatch.chdir(study.folder)
    study.text += make.SECOND_OPTION
    assert widest(study, capsys) <= 80


def test_eighty_columns_with_a_long_name(study, capsys, make, monkeypatch):
    monkeypatch.chdir(study.folder)
    study.text += make.SECOND_OPTION.replace('"alloy"', '"thermal alloy on galvanised steel"')
    assert widest(study, capsys) <= 80


def test_eighty_columns_with_a_local_grid(study, capsys, monkeypatch):
    monkeypatch.chdir(study.folder)
    change = Transformer.from_crs(study.crs, "EPSG:4326", always_xy=True)
    places = change.transform(*study.structures[["easting", "northing"]].to_numpy().T)
    study.crs, (study.structures["easting"], study.structures["northing"]) = "EPSG:4326", places
    assert widest(study, capsys) <= 80


def test_what_was_not_assessed_is_said(study, capsys):
    study.add_roads()
    study.write_ground(unknown=lambda e, n: abs(e - 500_400) < 30)
    status, said = run(study, capsys)
    assert status == 3
    line = next(line for line in said.splitlines() if line.startswith("Not assessed"))
    assert "None of them is a pass" in line and "not_assessed" in line


def test_warnings_are_said(study, capsys):
    """Heights whose unit nobody states are taken as metres, aloud."""
    study.add_roads()
    study.change('vertical_unit = "m"\n', "")
    study.change('highest_voltage = "123 kV"\n', "")
    _, said = run(study, capsys)
    assert "unit of its heights is not stated" in " ".join(said.split())
    assert "highest voltage taken as 123 kV" in " ".join(said.split())


def test_quiet(study, capsys):
    """No word; the status tells."""
    study.add_roads()
    assert run(study, capsys, "--quiet") == (0, "")
    study.rules = study.rules.replace("4.5", "9.5")
    assert run(study, capsys, "--quiet") == (1, "")


def test_quiet_about_everything_but_errors(study, capsys):
    study.change("voltage =", "voltag =")
    status, said = run(study, capsys, "--quiet")
    assert status == 2 and said.startswith("corridor: study.toml")


def test_a_shape_that_no_line_has_is_warned_of(study, make):
    """A turn of 67 degrees at a suspension string and a span of 2.2 km, by name."""
    study.add_roads()
    words = study.check().result.warnings
    assert not any("suspension structures" in text or "more than 2 km" in text for text in words)
    a = np.radians(90 + 67)
    structures = make.line_of(4)
    structures.loc[2, ["role", "framing"]] = "suspension", "hang"
    structures.loc[3, ["easting", "northing"]] = [EAST + 600 + 2200 * np.sin(a), NORTH + 2200 * np.cos(a)]
    study.structures = structures
    words = study.check().result.warnings
    assert any("suspension structures 3 (67 deg)" in text for text in words)
    assert any(text.startswith("spans of more than 2 km: 3-4 (2201 m)") for text in words)


def test_a_weight_span_below_zero_is_warned_of(study, make):
    """A suspension structure in a dip, whose wires pull upwards in the cold, bare and in still air."""
    study.add_roads()
    study.structures["base_elevation"] = [100.0, 83.0, 112.0, 118.0]
    study.change('name = "ice"\ntemperature = 0\nice = "12 mm"', 'name = "cold"\ntemperature = -20')
    assert any("pull upwards" in text and text.endswith(" at 2") for text in study.check().result.warnings)
    study.structures["base_elevation"] = [100.0, 77.0, 112.0, 118.0]
    words = study.check().result.warnings
    assert "today: cold: wires lift their strings at 2" in words, "with more than the weight of the string"
    assert not any("pull upwards" in text for text in words)
