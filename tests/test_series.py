"""A series through the hours, against a loop of scipy's brentq over each hour and against its own definition."""

from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from pyarrow import csv, parquet
from scipy.optimize import brentq

from corridor.conductor import catalogue
from corridor.errors import InputError
from corridor.inputs.series import read_series, read_stations
from corridor.line.facts import Option, Wiring
from corridor.rating import series
from corridor.rating.limits import NO_TEMPERATURE, UNKNOWN
from corridor.rating.rating_tables import energy
from corridor.rating.ratings import Ratings, Sky
from corridor.rating.year import Place, hour_rows, places_near, strength_left, year_of, year_span_rows
from corridor.study import Study
from corridor.study.currents import Series
from corridor.thermal.balance import net_cooling
from corridor.thermal.rating import Weather, Wire
from tests.common import exact

WEATHER = Weather(ambient=35, wind_speed=0.6, wind_angle=90, emissivity=0.8, absorptivity=0.8, solar=800, elevation=300)
OPTIONS = tuple(Option(name, Wiring(catalogue.find(name), limit, limit + 20, (), bundle), i == 0)
                for i, (name, limit, bundle) in enumerate((("429-AL1/56-ST1A", 75.0, 1),
                                                           ("23.5-A0TW/CF-7.9", 180.0, 2))))


def ratings(**changes):
    return replace(Ratings(OPTIONS, "ieee738", WEATHER, 50.0, 800.0), **changes)


def year(count=60, seed=3, **changes):
    draw = np.random.default_rng(seed)
    columns = {"current": draw.uniform(0, 1400, count), "ambient": draw.uniform(-10, 38, count),
               "wind_speed": draw.gamma(2, 1.5, count), "wind_angle": draw.uniform(0, 90, count),
               "solar": draw.uniform(0, 1000, count)}
    return series.Hours(**columns | changes)


@pytest.mark.parametrize("option", [0, 1])
@pytest.mark.parametrize("method", ["ieee738", "cigre601"])
def test_every_hour_is_the_root_that_brentq_finds(method, option):
    hours = year()
    c, n = OPTIONS[option].wiring.conductor, OPTIONS[option].wiring.bundle
    R = exact(c.resistance_20, c.temperature_coefficient, frequency=50.0, core_ratio=c.core_diameter / c.diameter,
              layers=3 if option == 0 else 0)
    strand = c.outer_wire_diameter if np.isfinite(c.outer_wire_diameter) else None
    got = series.course(ratings(method=method), option, hours)
    for i in range(len(hours.current)):
        here = replace(WEATHER, ambient=hours.ambient[i], wind_speed=hours.wind_speed[i],
                       wind_angle=hours.wind_angle[i], solar=hours.solar[i])
        cooling, current = net_cooling(method, here, Wire(c.diameter, R, strand)), hours.current[i] / n
        T = brentq(lambda t, q=cooling, a=current: q(t) - a**2 * R(t, a), hours.ambient[i] - 1e-9, 600, xtol=1e-9)
        assert got.temperature[i, 0] == pytest.approx(T, abs=1e-5)
        assert got.loss[i, 0] == pytest.approx(3 * n * current**2 * R(T, current), rel=1e-6)


def test_energy_of_a_series_is_that_of_its_load_duration_curve():
    current = np.repeat([200.0, 500.0, 800.0], [5, 3, 2])
    hours = series.Hours(current, step=1800.0)
    got = series.option_rows(ratings(), [series.course(ratings(), i, hours) for i in (0, 1)], hours)
    loads = [(200.0, 5 * 1800), (500.0, 3 * 1800), (800.0, 2 * 1800)]
    for i in (0, 1):
        assert got["energy_mwh_per_km"][i] == pytest.approx(energy(ratings(), i, loads), rel=1e-9)
    assert got["hours"][0] == 5.0


def test_hours_above_limits_and_hours_not_known():
    current = np.r_[np.full(20, 1600.0), np.full(30, 10.0), np.full(10, np.nan)]
    hours = year(current=current, wind_speed=np.full(60, 0.6))
    courses = [series.course(ratings(), i, hours) for i in (0, 1)]
    got = series.option_rows(ratings(), courses, hours)
    assert got["hours_unknown"][0] == 10
    assert got["hours_above_maximum"][0] == 20
    spread = series.distribution_rows(ratings(), courses, hours)
    assert spread["hours"][spread["option"] == OPTIONS[0].name].sum() == 50


def test_a_wire_that_melts_is_above_every_limit_and_has_no_energy():
    hours = series.Hours(np.array([100.0, 20_000.0]))
    got = series.option_rows(ratings(), [series.course(ratings(), i, hours) for i in (0, 1)], hours)
    assert got["hours_above_emergency"][0] == 1
    assert np.isnan(got["energy_mwh_per_km"][0])


def test_wild_hours_get_the_bracketed_root():
    # still air, gales, no current, currents near melting: whatever the secant makes of them
    draw = np.random.default_rng(9)
    hours = series.Hours(draw.choice([0.0, 300.0, 2000.0, 3500.0, 15_000.0], 2000), ambient=draw.uniform(-40, 50, 2000),
                         wind_speed=draw.choice([0.0, 0.1, 1.0, 40.0], 2000), wind_angle=draw.uniform(0, 90, 2000),
                         solar=draw.uniform(0, 1200, 2000))
    here = ratings(weather=replace(WEATHER, ambient=hours.ambient, wind_speed=hours.wind_speed,
                                   wind_angle=hours.wind_angle, solar=hours.solar))
    for i in (0, 1):
        expected = here.temperature_at(i, hours.current, np.zeros(1))
        assert np.isinf(expected).any()
        np.testing.assert_allclose(series.course(ratings(), i, hours).temperature[:, 0], expected, atol=1e-5, rtol=0)
        calm = hours.current < 400
        got = series.course(ratings(), i, hours.part(calm)).temperature[:, 0]
        np.testing.assert_allclose(got, expected[calm], atol=1e-5, rtol=0)


def test_spans_are_short_in_the_hours_hotter_than_they_clear():
    hours = year(wind_angle=None, wind_direction=np.random.default_rng(1).uniform(0, 360, 60))
    bearings = np.array([10.0, 100.0])
    here = series.with_bearings(ratings(), hours, bearings)
    courses = [series.course(here, i, hours) for i in (0, 1)]
    limits = {"line": np.full(5, "L", object), "span": np.array(list("abcde"), object),
              "option": np.full(5, OPTIONS[0].name, object),
              "governs": np.array(["clearance", "clearance", "maximum temperature", NO_TEMPERATURE, UNKNOWN], object),
              "clearing_temperature_c": np.array([60.0, 60.0, np.nan, np.nan, np.nan]),
              "maximum_temperature_c": np.full(5, 75.0)}
    azimuth = np.array([10.0, 100.0, 10.0, 10.0, 10.0])
    years = [year_of(here, i, [Place(hours, np.arange(5))], limits, np.arange(5), azimuth) for i in (0, 1)]
    rows = year_span_rows(limits, years, 1.0)
    T, got = courses[0].temperature, rows["hours_short"]
    np.testing.assert_array_equal(got, [np.sum(T[:, 0] > 60), np.sum(T[:, 1] > 60), 0, 60, np.nan])
    assert got[0] != got[1]
    # a span that clears at the maximum is not known to clear above it
    assert rows["hours_unknown"][2] == np.sum(T[:, 0] > 75) > 0
    assert rows["hours_unknown"][0] == 0
    # the span that no temperature clears holds the line back in every hour, and it has no rating
    assert rows["hours_limiting"][3] == 60 and (years[0].rating == 0).all()
    np.testing.assert_array_equal(years[0].course.temperature[:, 0], T.max(axis=1))
    # crosswise wind cools more than wind along the wire, in every hour
    along = series.Hours(hours.current, wind_direction=np.full(60, 10.0), wind_speed=np.full(60, 2.0))
    T = series.course(here, 0, along).temperature
    assert np.all(T[:, 0] > T[:, 1])


def test_the_core_is_hotter_by_its_excess():
    warm = ratings(radial_conductivity=1.0)
    hours = year()
    surface, core = (series.course(each, 0, hours).temperature for each in (ratings(), warm))
    np.testing.assert_allclose(core - surface, warm.excess(0, surface, hours.current[:, None]))
    assert np.all(core > surface - 1e-12)
    # and the current at a core temperature is the one whose core gets there
    current = warm.current_at(0, 75.0)
    assert warm.temperature_at(0, current) == pytest.approx(75.0, abs=1e-4)
    assert current < ratings().current_at(0, 75.0)


def test_a_line_is_rated_by_its_worst_bearing():
    bearings = np.array([0.0, 30.0, 90.0])
    here = ratings(sky=Sky(wind_direction=350.0), bearings=bearings)
    each = [here.current_at(0, 75.0, azimuth) for azimuth in bearings]
    # 10, 40 and 80 deg between wind and wire
    direct = [float(ratings(weather=replace(WEATHER, wind_angle=a)).current_at(0, 75.0)) for a in (10, 40, 80)]
    assert each == pytest.approx(direct, rel=1e-9)
    assert here.current_at(0, 75.0) == pytest.approx(min(direct), rel=1e-9)
    assert here.temperature_at(0, 700.0) == pytest.approx(
        max(here.temperature_at(0, 700.0, azimuth) for azimuth in bearings), abs=1e-5)


def test_csv_and_parquet_are_read_alike(tmp_path):
    table = pa.table({"load": [100.0, 200.0, None], "ambient": [5, 10, 15]})
    csv.write_csv(table, tmp_path / "h.csv")
    parquet.write_table(table, tmp_path / "h.parquet")
    for name in ("h.csv", "h.parquet"):
        section = Series(file=name, step="15 min", columns={"current": "load"})
        got = read_series(section, tmp_path.joinpath)
        np.testing.assert_array_equal(got.current, [100, 200, np.nan])
        np.testing.assert_array_equal(got.ambient, [5, 10, 15])
        assert (got.step, got.solar) == (900.0, None)


@pytest.mark.parametrize(("text", "name", "columns", "found"), [
    ("amps\n1\n", "h.csv", {}, "no column 'current'"),
    ("current,ambient\n1,200\n", "h.csv", {}, "200 in row 1"),
    ("current,ambient\n1,20\n2,-80.5\n", "h.csv", {}, "-80.5 in row 2"),
    ("current\nmuch\n", "h.csv", {}, "a column of string"),
    ("current,wind_angle,wind_direction\n1,2,3\n", "h.csv", {}, "both"),
    ("current\n", "h.csv", {}, "none"),
    ("current\n1\n", "h.csv", {"solar": "sun"}, "no column 'sun'"),
    ("current\n1\n", "h.txt", {}, "'.txt'"),
    ("no parquet", "h.parquet", {}, "cannot be read"),
], ids=["column", "hot", "cold", "text", "wind", "rows", "named", "ending", "damaged"])
def test_faults_of_a_series_are_told(tmp_path, text, name, columns, found):
    (tmp_path / name).write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=found):
        read_series(Series(file=name, columns=columns), tmp_path.joinpath)


def test_a_study_takes_the_series_by_name():
    assert Study.model_fields["series"].annotation == Series | None


def read(tmp_path, text, name="h.csv", **keys):
    (tmp_path / name).write_text(text, encoding="utf-8")
    return read_series(Series(file=name, **keys), tmp_path.joinpath)


def stamped(times, heading="time"):
    return f"{heading},current\n" + "".join(f"{str(t).replace('T', ' ')},{100 + i % 17}\n" for i, t in enumerate(times))


HOURS = np.datetime64("2025-01-01T00:00") + np.arange(8760) * np.timedelta64(1, "h")


@pytest.mark.parametrize(("times", "found"), [
    (np.tile(HOURS[:24], 365), "2025-01-01 00:00 in row 25 below the head after 2025-01-01 23:00"),
    (np.r_[HOURS[:10], HOURS[9:]], "in row 11 below the head, as in the row above"),
    (np.r_[HOURS[:10], HOURS[12:9:-1]], "after"),
    (HOURS[:50] + np.arange(50) * np.timedelta64(-45, "m"), "00:15 in row 2"),
    (np.r_[HOURS[:5], HOURS[:5] + np.timedelta64(5000, "D")], "in row 6"),
    (HOURS[0] + np.arange(50) * np.timedelta64(365, "D"), "50 rows in 429241 steps"),
], ids=["one day 365 times", "twice", "backwards", "another step", "years between", "one hour a year"])
def test_times_that_do_not_rise_by_the_step_are_refused(tmp_path, times, found):
    with pytest.raises(InputError, match=found):
        read(tmp_path, stamped(times))


def test_times_of_the_day_without_dates_are_refused_whatever_they_are_called(tmp_path):
    clock = [f"{i % 24:02d}:00" for i in range(8760)]
    for heading in ("time", "hour of the day"):
        with pytest.raises(InputError, match="times of the day without dates"):
            read(tmp_path, stamped(clock, heading))
    with pytest.raises(InputError, match="a column of string"):
        read(tmp_path, stamped(["31.01.2025 1 h"] * 3))
    with pytest.raises(InputError, match="no column 'when'"):
        read(tmp_path, stamped(HOURS[:3]), columns={"time": "when"})


def test_steps_that_are_skipped_are_not_known_and_told(tmp_path):
    got = read(tmp_path, stamped(np.delete(HOURS, [100, 101, 5000])))
    assert len(got.current) == 8760
    assert np.flatnonzero(np.isnan(got.current)).tolist() == [100, 101, 5000]
    np.testing.assert_array_equal(got.time, HOURS.astype("datetime64[s]"))
    assert len(got.notes) == 1 and "skips 3 steps in 2 places, first at 2025-01-05 04:00" in got.notes[0]
    rows = series.option_rows(ratings(), [series.course(ratings(), i, got) for i in (0, 1)], got)
    assert rows["hours_unknown"].tolist() == [3, 3]


def test_a_whole_year_has_no_note_and_less_has(tmp_path):
    assert read(tmp_path, stamped(HOURS)).notes == ()
    assert "lasts 8700 h, less than a year" in read(tmp_path, stamped(HOURS[:8700])).notes[0]
    notes = read(tmp_path, "current\n" + "".join(f"{i}\n" for i in range(8760))).notes
    assert len(notes) == 1 and "no column of times" in notes[0]


def test_one_day_again_and_again_is_told(tmp_path):
    notes = read(tmp_path, "current\n" + "".join(f"{i % 24}\n" for i in range(8760))).notes
    assert any("repeats one day 365 times" in note for note in notes)
    notes = read(tmp_path, "current\n" + "".join(f"{i % 168}\n" for i in range(8736))).notes
    assert any("repeats one week 52 times" in note for note in notes)


#: Two rows of each format, as their publishers describe them; the numbers are invented.
EPW = "LOCATION,Nowhere,-,-,invented,000000,47.5,9.5,1.0,400.0\n" + "HEAD\n" * 7


def epw(hours, **changes):
    rows = []
    for time in hours:
        day = str(time)[:10].split("-")
        cells = ["1990", str(int(day[1])), str(int(day[2])), str(int(str(time)[11:13]) + 1), "0", "?", "12.5", "5",
                 "60", "97000", "0", "0", "300", "400", "250", "90", "0", "0", "0", "0", "225", "3.4", *["0"] * 13]
        for place, value in changes.items():
            cells[int(place[1:])] = value
        rows.append(",".join(cells))
    return EPW + "\n".join(rows) + "\n"


def test_a_typical_year_is_read(tmp_path):
    (tmp_path / "w.epw").write_text(epw(HOURS, f20="999"), encoding="utf-8")
    got = read(tmp_path, stamped(HOURS), weather="w.epw")
    assert (got.ambient[0], got.wind_speed[0], got.solar[0]) == (12.5, 3.4, 250 + 90)
    assert np.isnan(got.wind_direction).all()
    assert any("typical year" in note for note in got.notes)
    alone = read_series(Series(weather="w.epw"), tmp_path.joinpath, 500.0)
    assert set(alone.current) == {500.0} and any("500 A flow all the time" in note for note in alone.notes)
    with pytest.raises(InputError, match="8759 steps, and 8760"):
        read(tmp_path, stamped(HOURS[:-1]), weather="w.epw")
    with pytest.raises(InputError, match="where w.epw has"):
        read(tmp_path, stamped(HOURS + np.timedelta64(1, "h")), weather="w.epw")
    with pytest.raises(InputError, match="weather goes to series.weather"):
        read_series(Series(file="w.epw"), tmp_path.joinpath)


@pytest.mark.parametrize(("changes", "found"), [
    ({"f1": "13"}, "a month"), ({"f3": "5"}, "as in the row above"), ({"f6": "warm"}, "a column of string"),
    ({"f21": "400"}, "400 in row 1")])
def test_faults_of_a_typical_year_are_told(tmp_path, changes, found):
    (tmp_path / "w.epw").write_text(epw(HOURS[:48], **changes), encoding="utf-8")
    with pytest.raises(InputError, match=found):
        read_series(Series(weather="w.epw"), tmp_path.joinpath, 500.0)


def two_spans(T=(60.0, 55.0)):
    return {"line": np.full(2, "L", object), "span": np.array(["a", "b"], object),
            "option": np.full(2, OPTIONS[0].name, object), "governs": np.full(2, "clearance", object),
            "clearing_temperature_c": np.array(T), "maximum_temperature_c": np.full(2, 75.0)}


def test_every_hour_has_its_rating_and_the_span_that_sets_it():
    draw = np.random.default_rng(4)
    hours = year(count=200, wind_angle=None, wind_direction=draw.uniform(0, 360, 200))
    bearings = np.array([10.0, 100.0])
    here = series.with_bearings(ratings(), hours, bearings)
    got = year_of(here, 0, [Place(hours, np.arange(2))], two_spans(), np.arange(2), bearings)
    each = np.array([[float(replace(here, weather=replace(
        WEATHER, ambient=hours.ambient[i], wind_speed=hours.wind_speed[i], solar=hours.solar[i]),
        sky=Sky(wind_direction=hours.wind_direction[i])).current_at(0, T, azimuth))
        for T, azimuth in zip((60.0, 55.0), bearings, strict=True)] for i in range(200)])
    np.testing.assert_allclose(got.rating, each.min(axis=1), rtol=1e-9)
    np.testing.assert_array_equal(got.limiting, each.argmin(axis=1))
    assert got.holds.tolist() == [np.sum(got.limiting == 0), np.sum(got.limiting == 1)] and min(got.holds) > 10
    # a span is short just when more flows than it allows, and of the required current likewise
    assert got.short.tolist() == np.sum(hours.current[:, None] > each, axis=0).tolist()
    assert got.short_of_required.tolist() == np.sum(each < 800, axis=0).tolist()
    np.testing.assert_array_equal(got.temperature_margin < 0, (hours.current[:, None] > each).any(axis=1))
    rows = hour_rows(replace(here, options=OPTIONS[:1]), [got], two_spans(), hours)
    assert rows["limiting_span"].tolist() == [("a", "b")[i] for i in got.limiting]


def test_spans_take_the_weather_of_the_nearest_station():
    calm, windy = (year(wind_speed=np.full(60, v)) for v in (0.2, 8.0))
    places = places_near([calm, windy], [0.0, 1000.0], [0.0, 0.0], np.array([100.0, 900.0]), np.zeros(2))
    assert [place.spans.tolist() for place in places] == [[0], [1]]
    azimuth = np.zeros(2)
    got = year_of(ratings(), 0, places, two_spans((60.0, 60.0)), np.arange(2), azimuth)
    alone = [year_of(ratings(), 0, [Place(hours, np.arange(2))], two_spans((60.0, 60.0)), np.arange(2), azimuth)
             for hours in (calm, windy)]
    assert got.short.tolist() == [alone[0].short[0], alone[1].short[1]]
    assert got.short[0] > got.short[1]
    np.testing.assert_array_equal(got.rating, np.minimum(alone[0].rating, alone[1].rating))
    np.testing.assert_array_equal(got.course.temperature, np.maximum(*(each.course.temperature for each in alone)))


def test_spans_take_the_weather_of_the_station_that_is_given():
    hours = [year(wind_speed=np.full(60, v)) for v in (0.2, 8.0, 3.0)]
    places = places_near(hours, [0.0, 1000.0, np.nan], np.zeros(3), np.array([100.0, 900.0, 50.0, 950.0]), np.zeros(4),
                         np.array([-1, -1, 1, 2]))
    assert [place.spans.tolist() for place in places] == [[0], [1, 2], [3]]


def test_an_hour_that_one_station_does_not_know_is_not_known():
    gap = np.full(60, 3.0)
    gap[7] = np.nan
    for order in ((gap, np.full(60, 3.0)), (np.full(60, 3.0), gap)):
        hours = [year(wind_speed=v) for v in order]
        places = places_near(hours, [0.0, 1000.0], [0.0, 0.0], np.array([100.0, 900.0]), np.zeros(2))
        got = year_of(ratings(), 0, places, two_spans(), np.arange(2), np.zeros(2))
        unknown = [np.flatnonzero(np.isnan(each)).tolist() for each in (got.rating, got.temperature_margin)]
        assert unknown == [[7], [7]]
        assert np.isnan(got.course.temperature[7, 0]) and got.limiting[7] == -1
        assert got.unknown.tolist() == ([1, 0] if np.isnan(order[0][7]) else [0, 1])


def test_strength_is_lost_by_hard_drawn_wires_alone():
    T = np.r_[np.full(100, 150.0), np.full(8660, 40.0)]
    left = [strength_left(OPTIONS[0], T, 1.0, years) for years in (1, 10)]
    assert 100 > left[0] > left[1] > 50
    assert strength_left(OPTIONS[1], T, 1.0, 10) == 100.0  # annealed
    assert strength_left(OPTIONS[0], np.r_[T[1:], np.inf], 1.0, 1) == 0.0
    thermal = Option("z", replace(OPTIONS[0].wiring, conductor=catalogue.find("264-AT1/62-ST1A")), False)
    assert np.isnan(strength_left(thermal, T, 1.0, 1))


TMY3 = ('000000,"NOWHERE",XX,-5.0,36.100,-79.950,273\n'
        "Date (MM/DD/YYYY),Time (HH:MM),DNI (W/m^2),DHI (W/m^2),Dry-bulb (C),Wdir (degrees),Wspd (m/s)\n")


def test_the_months_of_a_typical_year_may_be_of_any_years(tmp_path):
    rows = [f"{str(t)[5:7]}/{str(t)[8:10]}/{1980 + int(str(t)[5:7]) % 5},{int(str(t)[11:13]) + 1:02d}:00,500,90,"
            f"{-9900.0 if i == 7 else 12.5},180,3.0" for i, t in enumerate(HOURS)]
    (tmp_path / "w.csv").write_text(TMY3 + "\n".join(rows) + "\n", encoding="utf-8")
    (station,) = read_stations(Series(stations=[{"name": "airport", "file": "w.csv"}]), tmp_path.joinpath, 500.0)
    got = station.hours
    assert (station.longitude, station.latitude) == (-79.95, 36.1)
    assert np.flatnonzero(np.isnan(got.ambient)).tolist() == [7] and got.solar[0] == 590
    assert str(got.time[0]) == "2001-01-01T00:00:00" and len(got.current) == 8760
    (tmp_path / "w.csv").write_text(TMY3 + "\n".join(rows[:24] * 365) + "\n", encoding="utf-8")
    with pytest.raises(InputError, match="row 25 below the head after"):
        read_series(Series(weather="w.csv"), tmp_path.joinpath, 500.0)


def test_stations_have_a_place_and_as_many_hours(tmp_path):
    for name, count in (("a.csv", 48), ("b.csv", 47)):
        (tmp_path / name).write_text("ambient\n" + "".join(f"{i}\n" for i in range(count)), encoding="utf-8")
    one, two = ({"name": name, "file": f"{name}.csv", "longitude": 9.0, "latitude": 47.0} for name in "ab")
    with pytest.raises(InputError, match="48 and 47 steps"):
        read_stations(Series(stations=[one, two]), tmp_path.joinpath, 500.0)
    with pytest.raises(InputError, match="no place"):
        read_stations(Series(stations=[one, {"name": "b", "file": "a.csv"}]), tmp_path.joinpath, 500.0)
    with pytest.raises(InputError, match="weather in one file"):
        read(tmp_path, "current,ambient\n" + "1,2\n" * 48, weather="a.csv")


@pytest.mark.skipif(find_spec("pvlib") is None, reason="pvlib, which carries two typical years, is not installed")
def test_typical_years_of_a_package_are_read():
    """Two stations of TMY3 as pvlib carries them; the first hour as the file has it."""
    data = Path(next(iter(find_spec("pvlib").submodule_search_locations))) / "data"
    for name, first in (("723170TYA.CSV", (10.0, 200.0, 6.2)), ("703165TY.csv", None)):
        got = read_series(Series(weather=name), data.joinpath, 500.0)
        assert len(got.current) == 8760 and not np.isnan(got.ambient).any()
        if first:
            assert (got.ambient[0], got.wind_direction[0], got.wind_speed[0]) == first
