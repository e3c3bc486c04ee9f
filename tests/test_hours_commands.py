"""`corridor rating` on a stretch of the demo: the table over the air, the time left, faults, and drawings of a year."""

import json
import shutil

import numpy as np
import openpyxl
import pyogrio
import pytest

from corridor.errors import InputError
from corridor.jobs.rating import found_limits, year_tables
from corridor.session import open_study
from tests.common import read, run
from tests.short_demo import short_demo

MORE = '''
[series]
file = "load.csv"
weather = "w.csv"
[strength]
hours = "10000 h"
[fault]
current = "20 kA"
duration = "0.5 s"
[[ratings]]
name = "summer"
first_day = 121
last_day = 273
durations = ["30 min"]
pre_load = 300
'''
HOURS = np.datetime64("2025-06-01T00:00") + np.arange(240) * np.timedelta64(1, "h")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    target = short_demo(tmp_path_factory.mktemp("hours") / "demo", "N01", "N06")
    text = (target / "study.toml").read_text(encoding="utf-8")
    (target / "study.toml").write_text(text + MORE, encoding="utf-8")
    draw = np.random.default_rng(5)
    for name, head, columns in (("load.csv", "current", [draw.uniform(200, 800, 240)]),
                                ("w.csv", "ambient,wind_speed,wind_direction,solar",
                                 [draw.uniform(5, 30, 240), draw.uniform(0.3, 4, 240), draw.uniform(0, 360, 240),
                                  draw.uniform(0, 900, 240)])):
        lines = [f"time,{head}", *(",".join([str(t).replace("T", " "), *(f"{v:.1f}" for v in row)])
                                   for t, row in zip(HOURS, zip(*columns, strict=True), strict=True))]
        (target / name).write_text("\n".join(lines) + "\n", encoding="utf-8")
    return target


def test_the_table_over_the_air_is_told_and_written(folder, tmp_path, capsys):
    assert run("rating", folder / "study.toml", "--table", "--step", "5 degF", "--folder", tmp_path / "out") == 0
    said = capsys.readouterr()
    assert "existing, summer, day (" in said.out and "* a span limits" in said.out
    assert "10 °F beyond the record of the series" in said.err
    rows = read(tmp_path / "out" / "adjusted.csv")
    air = sorted({float(row["ambient_c"]) for row in rows})
    assert air[0] <= 5 - 5.5 and air[-1] >= 30 + 5.5 and np.allclose(np.diff(air), 5 / 1.8, atol=1e-4)
    assert {row["limited_by"] for row in rows} == {"wire", "span"}
    assert {(row["sun"], row["duration"]) for row in rows} == {
        (sun, time) for sun in ("day", "night") for time in ("continuous", "30 min")}
    for row in rows:
        assert float(row["current_a"]) <= float(row["wire_current_a"]) and row["reason"]
        assert (row["limited_by"] == "span") == bool(row["limiting_span"])
    sheet = openpyxl.load_workbook(tmp_path / "out" / "adjusted.xlsx")["adjusted"]
    assert sheet.max_row == len(rows) + 1 and "Current [A]" in [cell.value for cell in sheet[1]]


def test_a_hole_in_the_ground_is_no_pass(folder, tmp_path, capsys):
    wide = short_demo(tmp_path / "demo", "N11", "N16")
    assert run("rating", wide / "study.toml", "--table", "--air", "0", "10", "--step", "5 °C", "--json") == 3
    found = json.loads(capsys.readouterr().out)
    assert {row["limited_by"] for row in found["adjusted"]} == {"not assessed"}
    assert {row["current_a"] for row in found["adjusted"]} == {None}
    assert all("not assessed in N14-N15; at most" in row["reason"] for row in found["adjusted"])


def test_limits_of_findings_are_taken_where_they_are_of_the_study(folder, capsys):
    asked = ("rating", folder / "study.toml", "--table", "--air", "0", "10", "--json")
    run(*asked)
    found = json.loads(capsys.readouterr().out)
    assert "found now" in found["adjusted_notes"][0]
    run("check", folder / "study.toml", "--quiet")
    run(*asked)
    again = json.loads(capsys.readouterr().out)
    assert "from findings.gpkg" in again["adjusted_notes"][0]
    assert again["adjusted"] == found["adjusted"]
    (folder / "findings.gpkg").unlink()


def test_a_year_is_drawn_and_faults_told(folder, tmp_path, capsys):
    assert run("rating", folder / "study.toml", "--folder", tmp_path / "out") == 0
    said = capsys.readouterr()
    assert "Short circuit" in said.out and "lasts 240 h, less than a year" in said.err
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert {"fault.csv", "series_hours.csv", "series_exceedance.svg", "series_limiting.svg",
            "series_months_1.svg"} <= names
    hours = [row for row in read(tmp_path / "out" / "series_hours.csv") if row["option"] == "existing"]
    assert len(hours) == 240 and hours[1]["time"] == "2025-06-01T01:00:00"
    spans = [row for row in read(tmp_path / "out" / "series_spans.csv") if row["option"] == "existing"]
    limiting = [row["limiting_span"] for row in hours if row["limiting_span"]]
    assert sum(float(row["hours_limiting"]) for row in spans) == len(limiting) > 0
    for row in spans:
        assert float(row["hours_limiting"]) == limiting.count(row["span"])
    # an hour with less room than none is one in which the load is above the rating
    assert all((float(row["temperature_margin_k"]) < 0) == (float(row["current_a"]) > float(row["assessed_rating_a"]))
               for row in hours if abs(float(row["current_a"]) - float(row["assessed_rating_a"])) > 0.2)
    creep = read(tmp_path / "out" / "series_creep.csv")
    assert len(creep) == 20 and {row["creep_added_percent"] for row in creep} == {""}
    assert {row["creep_law"].split(":")[0] for row in creep} == {"not given"} and "Creep that hot hours" in said.out
    assert "Strength left of the aluminium" in said.out and "Minimum margin of the assessed spans" in said.out
    series = {row["option"]: row for row in read(tmp_path / "out" / "series.csv")}
    assert series["annealed on steel"]["strength_left_percent"] == "100.0"
    assert series["thermal alloy"]["strength_left_percent"] == ""
    assert series["thermal alloy"]["strength_law"] == (
        "not given: no law is known here for aluminium-zirconium alloy AT1")


def test_the_time_left_is_told(folder, tmp_path, capsys):
    now = tmp_path / "now.csv"
    now.write_text("current,ambient,wind_speed,solar\n300,25,0.7,700\n700,25,0.7,700\n", encoding="utf-8")
    assert run("rating", folder / "study.toml", "--weather", now, "--folder", tmp_path / "out") == 0
    assert "From 300 A to 700 A per phase, now" in capsys.readouterr().out
    rows = read(tmp_path / "out" / "time_left.csv")
    assert rows[0]["state"] == "short in time" and 0 < float(rows[0]["time_left_s"]) < 3600
    assert run("rating", folder / "study.toml", "--weather", now, "--before", "690", "--json") in (0, 1)
    again = json.loads(capsys.readouterr().out)
    assert again["before_a"] == 690 and again["time_left"][0]["time_left_s"] < float(rows[0]["time_left_s"])
    now.write_text("current,ambient,wind_speed,solar\n900,35,0.3,900\n900,35,0.3,900\n", encoding="utf-8")
    assert run("rating", folder / "study.toml", "--weather", now) == 1
    now.write_text("current,ambient\n700,25\n", encoding="utf-8")
    assert run("rating", folder / "study.toml", "--weather", now) == 2
    assert run("rating", folder / "study.toml", "--weather", tmp_path / "none.csv") == 2


def test_each_span_has_the_weather_of_its_station(folder, tmp_path):
    structures = pyogrio.read_dataframe(folder / "line.gpkg", layer="structures").to_crs(4326)
    places = structures.set_index("structure").geometry
    text = (folder / "study.toml").read_text(encoding="utf-8").replace('weather = "w.csv"', "")
    for name, end, wind in (("calm", "N01", 0.3), ("windy", "N06", 6.0)):
        lines = "".join(f"{str(t).replace('T', ' ')},25,{wind},90,800\n" for t in HOURS)
        (folder / f"{name}.csv").write_text(f"time,ambient,wind_speed,wind_angle,solar\n{lines}", encoding="utf-8")
        text = text.replace("[strength]", f'[[series.stations]]\nname = "{name}"\nfile = "{name}.csv"\nlongitude = '
                            f"{places[end].x}\nlatitude = {places[end].y}\n[strength]", 1)
    (folder / "stations.toml").write_text(text.replace("current = \"20 kA\"", "current = \"2 kA\""), encoding="utf-8")
    assert run("rating", folder / "stations.toml", "--folder", tmp_path / "out", "--quiet") == 0
    spans = [row for row in read(tmp_path / "out" / "series_spans.csv") if row["option"] == "thermal alloy"]
    short = {row["span"]: row for row in spans if row["clearing_temperature_c"]}
    by_station = {name for name, row in short.items() if float(row["hours_short_at_required"])}
    middle = (places["N01"].x + places["N06"].x) / 2
    near_calm = {f"N{i:02d}-N{i + 1:02d}" for i in range(1, 6)
                 if abs((places[f"N{i:02d}"].x + places[f"N{i + 1:02d}"].x) / 2 - places["N01"].x)
                 < abs(middle - places["N01"].x)}
    assert by_station and by_station <= near_calm and set(short) - near_calm


def test_a_section_may_name_its_station(folder, tmp_path):
    text = (folder / "study.toml").read_text(encoding="utf-8").replace('weather = "w.csv"', "")
    load, folder = folder / "load.csv", short_demo(tmp_path / "demo", "N01", "N11")
    shutil.copy(load, folder)
    for name, wind in (("calm", 0.3), ("windy", 6.0)):
        lines = "".join(f"{str(t).replace('T', ' ')},25,{wind},90,800\n" for t in HOURS)
        (folder / f"{name}.csv").write_text(f"time,ambient,wind_speed,wind_angle,solar\n{lines}", encoding="utf-8")

    def asked(calm, windy):
        stations = "".join(f'[[series.stations]]\nname = "{name}"\nfile = "{name}.csv"\nsections = {sections}\n'
                           for name, sections in (("calm", calm), ("windy", windy)))
        (folder / "sections.toml").write_text(text.replace("[strength]", f"{stations}[strength]", 1), encoding="utf-8")
        return open_study(folder / "sections.toml")

    with asked(["none"], ["none"]) as study:
        plan = study.laid_out.plan
        names = list(plan.sections.name)
        for word in ("none", "sections: "):
            with pytest.raises(InputError, match=word):
                study.ratings()
    assert len(names) > 1
    for calm, windy, word in ((names, names[:1], "twice"), (names[:1], [], "or sections")):
        with asked(calm, windy) as study, pytest.raises(InputError, match=word):
            study.ratings()
    with asked(names[1:], names[:1]) as study:
        tables = year_tables(study, study.laid_out.facts.heat, found_limits(study.laid_out))[0]
        spans = tables["series_spans"]
        short = spans["hours_short_at_required"] > 0
        of_first = set(plan.spans.name[plan.spans.section == 0])
        # at 8 times the wind no span of the first section is short, of the others some are
        assert short.any() and not of_first & set(spans["span"][short])
    (folder / "sections.toml").write_text((folder / "sections.toml").read_text(encoding="utf-8").replace(
        "windy.csv", "calm.csv"), encoding="utf-8")
    with open_study(folder / "sections.toml") as study:
        other = year_tables(study, study.laid_out.facts.heat, found_limits(study.laid_out))[0]["series_spans"]
        assert of_first & set(other["span"][other["hours_short_at_required"] > 0])


def test_the_page_has_hours_and_seasons_where_the_study_has(folder, tmp_path):
    page = tmp_path / "page.html"
    assert run("check", folder / "study.toml", "--quiet") in (0, 1, 3)
    assert run("report", folder / "study.toml", "-o", page, "--quiet") == 0
    text = page.read_text(encoding="utf-8")
    part = text[text.index('id="hours-part"'):text.index('id="limit-part"')]
    assert run("rating", folder / "study.toml", "--folder", tmp_path / "out", "--quiet") == 0
    spans = read(tmp_path / "out" / "series_spans.csv")
    for row in spans:
        if float(row["hours_limiting"]) > 0:
            assert f"<td>{row['span']}</td><td>{float(row['clearing_temperature_c']):.1f}</td>" in part
            assert f"<td>{float(row['hours_limiting']):.0f}</td>" in part
    # three drawings, and a table of each option by day and by night
    assert part.count("<svg") == 3 and part.count("<summary>") == 8 and "* a span limits" in part
    plain = tmp_path / "plain"
    short_demo(plain, "N01", "N06")
    run("check", plain / "study.toml", "--quiet")
    assert run("report", plain / "study.toml", "--quiet") == 0
    assert 'id="hours-part"' not in (plain / "findings.html").read_text(encoding="utf-8")
    (folder / "findings.gpkg").unlink()
