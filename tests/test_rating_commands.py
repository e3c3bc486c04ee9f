"""The commands `rating` and `limits` on the demo: their numbers against the findings, and put back into the study."""

import csv
import re
import shutil
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pyogrio
import pytest

from corridor import check_study
from corridor.errors import InputError
from corridor.jobs.rating import LimitResult
from corridor.thermal.rating import Weather, current_at
from tests.common import ask, read, run

DEMO = Path(__file__).resolve().parents[1] / "demo_corridor"
SERIES = '\n[series]\nfile = "hours.csv"\n'
LOADS = "".join(f'\n[[rating.loads]]\ncurrent = {current}\nduration = "{hours} h"\n'
                for current, hours in ((850, 800), (500, 4000), (250, 3960)))


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """The files of the demo."""
    copy = tmp_path_factory.mktemp("demo") / "corridor"
    shutil.copytree(DEMO, copy, ignore=shutil.ignore_patterns("*.py", "findings.gpkg"))
    draw = np.random.default_rng(2)
    rows = zip(draw.uniform(100, 900, 300).round(), draw.uniform(-5, 35, 300).round(1),
               draw.gamma(2, 1.5, 300).round(2), draw.uniform(0, 360, 300).round(), strict=True)
    with (copy / "hours.csv").open("w", newline="") as file:
        csv.writer(file).writerows([("current", "ambient", "wind_speed", "wind_direction"), *rows])
    return copy


@pytest.fixture(scope="module")
def study(folder):
    """Return a function that writes the demo's study with some text replaced or added, and gives its path."""
    text = (DEMO / "study.toml").read_text(encoding="utf-8")

    def write(name, *changes, more=""):
        changed = text
        for old, new in changes:
            assert old in changed
            changed = changed.replace(old, new, 1)
        path = folder / f"{name}.toml"
        path.write_text(changed + more, encoding="utf-8")
        return path

    return write


@pytest.fixture(scope="module")
def limits(study):
    return ask(study("plain"), "limits")


def test_limits_are_told_and_written(study, tmp_path, capsys):
    assert run("limits", study("plain"), "--folder", tmp_path / "out") == 3
    out = capsys.readouterr().out
    assert "N03-N04" in out
    assert "maximum temperature" in out
    ladder = read(tmp_path / "out" / "ladder.csv")
    assert {row["option"] for row in ladder} == {"existing", "thermal alloy", "annealed on steel", "annealed on carbon"}
    table = pyogrio.read_dataframe(tmp_path / "out" / "limits.gpkg", layer="limits")
    assert len(table) == len(read(tmp_path / "out" / "limits.csv"))
    assert table.crs.to_epsg() == 25832 or "25832" in table.crs.to_wkt()
    assert ElementTree.parse(tmp_path / "out" / "ladder.svg").getroot().tag.endswith("svg")


def test_the_ladder_of_the_findings_is_that_of_its_limits(study, tmp_path, limits):
    check_study(study("plain"), tmp_path / "findings.gpkg")
    found, spans, options = (pyogrio.read_dataframe(tmp_path / "findings.gpkg", layer=layer)
                             for layer in ("ladder", "limits", "options"))
    np.testing.assert_allclose(found["limit_current_a"], limits.ladder["limit_current_a"].astype(float))
    for name, steps in found.groupby("option"):
        maximum = options.loc[options["option"] == name].iloc[0]
        assert steps["limit_temperature_c"].iloc[-1] == maximum["maximum_temperature_c"]
        assert steps["limit_current_a"].iloc[-1] == pytest.approx(maximum["continuous_current_a"])
        own = spans[spans["option"] == name]
        unknown = own["limit_current_a"].isna().sum()
        assert unknown > 0  # a hole in the demo's ground
        assert steps["limit_current_a"].isna().sum() == unknown
        assert steps["limit_current_a"].iloc[unknown] == pytest.approx(own["limit_current_a"].min())


@pytest.mark.parametrize("place", [0, -1])
def test_a_limit_put_back_as_a_case_has_no_margin(study, tmp_path, limits, place):
    table = limits.limits
    rows = np.flatnonzero((table["governs"] == "clearance") & (table["option"] == "existing"))
    row = rows[place]
    T = float(table["limit_temperature_c"][row])
    path = study("back", ('name = "hot"\ntemperature = "maximum"', f'name = "hot"\ntemperature = {T!r}'))
    check_study(path, tmp_path / "findings.gpkg")
    found = pyogrio.read_dataframe(tmp_path / "findings.gpkg", layer="clearances", read_geometry=False)
    chosen = found[(found["span"] == table["span"][row]) & (found["option"] == "existing") & (found["case"] == "hot")
                   & (found["measure"] == "vertical") & (found["position"] == "above")]
    assert chosen["margin_m"].min() == pytest.approx(0, abs=0.001)


def told(ladder, option):
    """The first step of the ladder of an option whose limits are known, and the spans that were remedied before it."""
    rows = np.flatnonzero(ladder["option"] == option)
    step = np.flatnonzero(np.isfinite(ladder["limit_temperature_c"][rows].astype(float)))[0]
    row = {name: values[rows[step]] for name, values in ladder.items()}
    return row, set(ladder["fixed_span"][rows[1:step + 1]])


def test_no_limit_that_is_told_fails_in_the_check_of_its_own_case(study, tmp_path, limits):
    """Every option of the demo at the limits told, continuous and in an emergency: there is no violation when hot."""
    changes, put_right = [], {}
    for option in dict.fromkeys(limits.ladder["option"]):
        row, put_right[option] = told(limits.ladder, option)
        always, hurried = (float(row[f"{name}limit_temperature_c"]) for name in ("", "emergency_"))
        old = re.search(rf'name = "{option}"\n.*?emergency_temperature = \d+', study("plain").read_text(), re.DOTALL)[0]
        assert always <= hurried + 1e-4  # each is found to a micron of margin, of which 1 K is a centimetre or more
        always = min(always, hurried)
        changes.append((old, re.sub(r"maximum_temperature = .*", f"maximum_temperature = {always!r}\n"
                                    f"emergency_temperature = {hurried!r}", old, flags=re.DOTALL)))
    check_study(study("told", *changes), tmp_path / "findings.gpkg")
    short = pyogrio.read_dataframe(tmp_path / "findings.gpkg", layer="violations", read_geometry=False)
    hot = short[short["case"].isin(["hot", "emergency"])]
    assert all(span in put_right[option] for span, option in zip(hot["span"], hot["option"], strict=True))
    cleared = pyogrio.read_dataframe(tmp_path / "findings.gpkg", layer="clearances", read_geometry=False)
    own = cleared[(cleared["case"] == "emergency") & (cleared["option"] == "existing") & (cleared["span"] == "N03-N04")]
    assert own["margin_m"].min() == pytest.approx(0, abs=0.001)


def test_spans_short_under_ice_are_told_apart(study, tmp_path):
    case = 'name = "ice"\ntemperature = 0\nice = '
    path = study("iced", (f'{case}"12 mm"', f'{case}"60 mm"'))
    check_study(path, tmp_path / "findings.gpkg")
    limits, found = (pyogrio.read_dataframe(tmp_path / "findings.gpkg", layer=layer, read_geometry=False)
                     for layer in ("limits", "clearances"))
    short = found[(found["case"] == "ice") & (found["measure"] == "vertical") & (found["position"] == "above")
                  & (found["margin_m"] < 0)]
    iced = limits[limits["governs"].str.contains(r"\bice\b")]
    known = limits[~limits["governs"].isin(["not assessed", "no temperature clears"])]
    keys = set(zip(known["span"], known["option"], strict=True))
    assert set(zip(iced["span"], iced["option"], strict=True)) == set(
        zip(short["span"], short["option"], strict=True)) & keys
    assert {"ice", "clearance and ice"} <= set(iced["governs"])


def test_every_span_has_its_own_wind(study, limits):
    path = study("windy", ("wind_angle = 90", "wind_direction = 75"))
    got = ask(path, "limits").limits
    rated = ask(path, "ratings").ratings
    option = got["option"] == "existing"
    top = got["governs"] == "maximum temperature"
    current = got["limit_current_a"][option & top].astype(float)
    assert np.ptp(current) > 1  # the demo line turns
    # the least of them is the rating of the line, and by hand that of the bearing nearest to the wind
    wire = rated.wires[0]
    angle = np.abs((75 - rated.bearings + 90) % 180 - 90).min()
    weather = Weather(ambient=35, wind_speed=0.6, wind_angle=angle, emissivity=0.8, absorptivity=0.8, solar=1000,
                      elevation=rated.weather.elevation)
    assert float(rated.current_at(0, 75.0)) == pytest.approx(float(current_at("ieee738", 75.0, weather, wire)))
    assert current.min() >= float(rated.current_at(0, 75.0)) - 1e-6


def test_ratings_are_told_and_written(study, tmp_path, capsys):
    keys = '\nemergency_duration = "15 min"\npre_load = 400\ntable_winds = [0.5, 2]\ntable_ambients = [10, 30]'
    path = study("full", ("required_current = 850", f"required_current = 850{keys}"), more=LOADS + SERIES)
    assert run("rating", path, "--folder", tmp_path / "out", "--drawing", "png") == 3  # a span was not assessed
    out, err = capsys.readouterr()
    assert "Note: existing: not assessed, hours and margins not known: N14-N15" in err
    for word in ("cigre601", "short time", "The hours of the series", "Air 35 °C"):
        assert word in out
    names = {"options.csv", "ratings.csv", "series.csv", "series_temperatures.csv", "series_spans.csv",
             "series_hours.csv", "series_creep.csv", "ratings.png", "series.png", "series_exceedance.png",
             "series_limiting.png"}
    assert {each.name for each in (tmp_path / "out").iterdir()} == names
    rows = {(row["option"], row["method"]): row for row in read(tmp_path / "out" / "options.csv")}
    existing, carbon = rows["existing", "ieee738"], rows["annealed on carbon", "ieee738"]
    change = 100 * (float(carbon["energy_mwh_per_km_year"]) / float(existing["energy_mwh_per_km_year"]) - 1)
    assert float(carbon["energy_change_percent"]) == pytest.approx(change, abs=0.01)
    # at equal current it loses less, at its own rating several times as much
    assert float(carbon["loss_at_required_current_change_percent"]) < 0
    assert 0 < float(carbon["loss_at_continuous_change_percent"])
    # for a quarter of an hour a wire bears more than for ever
    assert float(existing["short_time_current_a"]) > float(existing["emergency_current_a"])
    table = read(tmp_path / "out" / "ratings.csv")
    assert len({(row["ambient_c"], row["wind_m_s"]) for row in table}) == 4
    spans = read(tmp_path / "out" / "series_spans.csv")
    assert any(row["hours_short"] == "" for row in spans)  # not assessed
    assert any(float(row["hours_short"] or 0) > 0 for row in spans)
    assert "not assessed, and perhaps worse: N14-N15" in out and "short at required h" in out
    hours = read(tmp_path / "out" / "series_hours.csv")
    assert min(int(row["spans_without_margin"]) for row in hours) == 1
    hottest = {"existing": 90, "thermal alloy": 170, "annealed on steel": 200, "annealed on carbon": 200}
    for row in hours:
        known = row["wire_temperature_c"] and float(row["wire_temperature_c"]) <= hottest[row["option"]]
        assert bool(row["assessed_margin_m"]) == bool(known) == (row["spans_without_margin"] == "1")
    for row in hours:
        if not row["assessed_margin_m"]:
            continue
        # less room than none is a margin of less than none, which is told by no more than that too low
        margin, room = float(row["assessed_margin_m"]), float(row["temperature_margin_k"])
        assert margin < 0 or room >= 0
        assert margin + float(row["margin_low_by_m"]) > 0 or room < 0
    for row in spans:
        if row["hours_short"] and row["minimum_margin_m"]:
            assert (float(row["minimum_margin_m"]) < 0) >= (float(row["hours_short"]) > 0)
        elif not row["hours_short"]:
            assert row["minimum_margin_m"] == ""
    said = out.split("Spans that hold the line back")[1]
    own = [row for row in spans if row["option"] == "existing"]
    worst = max(own, key=lambda row: float(row["hours_limiting"] or 0))
    assert said.split("existing\n")[1].split("\n")[1].split()[0] == worst["span"]


def test_the_core_lowers_the_currents(study, limits):
    got = ask(study("cored", ("solar = 1000", "solar = 1000\nradial_conductivity = 0.7")), "limits")
    np.testing.assert_array_equal(got.limits["limit_temperature_c"], limits.limits["limit_temperature_c"])
    known = np.isfinite(limits.limits["limit_current_a"].astype(float)) & (limits.limits["limit_current_a"] > 0)
    ratio = got.limits["limit_current_a"][known] / limits.limits["limit_current_a"][known]
    assert np.all((ratio < 1) & (ratio > 0.9))


def test_measured_resistances_take_the_place_of_computed_ones(study):
    points = "".join(f'\n[[rating.resistances]]\nconductor = "264-AL1/62-ST1A"\ntemperature = {T}\n'
                     f'resistance = "{R} ohm/km"\n' for T, R in ((25, 0.125), (75, 0.15)))
    rated = ask(study("table", more=points), "ratings").ratings
    assert rated.wires[0].resistance(50.0, 100.0) == pytest.approx(1.375e-4)


def test_without_weather_there_are_limits_and_no_ratings(study, capsys):
    text = (DEMO / "study.toml").read_text(encoding="utf-8")
    path = study("calm", (text[text.index("[rating]"):], ""))
    with pytest.raises(InputError, match="rating"):
        ask(path, "ratings")
    assert run("rating", path) == 2
    assert "found no such table" in capsys.readouterr().err
    ladder = ask(path, "limits").ladder
    assert np.isnan(ladder["limit_current_a"].astype(float)).all()
    assert np.isfinite(ladder["limit_temperature_c"].astype(float)).any()


@pytest.mark.parametrize(("kind", "head"), [("svg", b"<?xml"), ("png", b"\x89PNG"), ("pdf", b"%PDF")])
def test_drawings_are_the_same_every_time(limits, tmp_path, kind, head):
    from corridor.outputs.drawings.ladder import draw_ladder

    paths = [tmp_path / f"{name}.{kind}" for name in "ab"]
    for path in paths:
        draw_ladder(path, limits.ladder, 850.0)
    first, second = (path.read_bytes() for path in paths)
    assert first == second
    assert first.startswith(head)


def test_a_folder_that_cannot_be_made_is_told(study, tmp_path, capsys):
    assert run("limits", study("plain"), "--folder", tmp_path / "no" / "such") == 2
    assert "folder" in capsys.readouterr().err


def test_limits_that_are_not_known_in_an_emergency_alone_are_no_zero():
    """Continuously all spans are known to clear, in an emergency one is not: status 3."""
    columns = {"governs": np.array(["maximum temperature"] * 2, object),
               "emergency_governs": np.array(["maximum temperature", "not assessed"], object)}
    assert LimitResult(columns, {}, None, None).status == 3
    columns["emergency_governs"][1] = None
    assert LimitResult(columns, {}, None, None).status == 0


def test_rating_tables_say_that_clearance_is_left_out(study, capsys):
    """604 A of the existing wire, where N03-N04 allows less: the table says whose current it is."""
    assert run("rating", study("plain")) == 0
    assert "of the wire alone" in capsys.readouterr().out
    assert set(ask(study("plain"), "ratings").frames["ratings"]["clearance"]) == {"left out: of the wire alone"}
