"""Ratings adjusted to the air: every cell against the kernels asked alone, and what was not assessed is not a pass."""

from dataclasses import replace

import numpy as np
import pytest

from corridor.conductor import catalogue
from corridor.errors import InputError
from corridor.jobs.adjusted import _steps
from corridor.line.facts import Option, Wiring
from corridor.rating.adjusted import SPAN, WIRE, adjusted_rows, wire_limit
from corridor.rating.limits import NO_TEMPERATURE, UNKNOWN
from corridor.rating.ratings import Ratings, Sky
from corridor.rating.seasons import Season, as_rated, daylight, days_of, in_season
from corridor.study.seasons import Strength
from corridor.thermal import sun
from corridor.thermal.rating import Weather, current_at, emergency_current

WEATHER = Weather(ambient=35, wind_speed=0.6, wind_angle=90, emissivity=0.8, absorptivity=0.8, solar=900, elevation=300)
WIRING = Wiring(catalogue.find("429-AL1/56-ST1A"), 80.0, 100.0, (), 1)
RATINGS = Ratings((Option("ours", WIRING, True),), "ieee738", WEATHER, 50.0, 800.0)
SEASON = Season("summer", days_of(121, 273), durations=(600.0, 7200.0), pre_load=400.0)
AIR = (-40.0, 0.0, 20.0, 40.0, 60.0)


def limits(*rows):
    """Columns of limits of `(span, governs, temperature, governs in need, temperature in need)`."""
    names = ("span", "governs", "clearing_temperature_c", "emergency_governs", "emergency_limit_temperature_c")
    columns = {name: np.array([row[i] for row in rows], object if i in (0, 1, 3) else float)
               for i, name in enumerate(names)}
    same = {"line": "L", "option": "ours", "governing_against": "road", "governing_obstacle": None,
            "governing_measure": "vertical"}
    return columns | {name: np.full(len(rows), value, object) for name, value in same.items()}


CLEAR = ("a-b", "maximum temperature", np.nan, "maximum temperature", 100.0)
SHORT = ("b-c", "clearance", 62.0, "clearance", 70.0)


def table(found, ratings=RATINGS, azimuth=None, **keys):
    azimuth = np.zeros(len(found["span"])) if azimuth is None else azimuth
    return adjusted_rows(ratings, keys.pop("seasons", (SEASON,)), AIR, found, azimuth, latitude=50.0, **keys)


def pick(rows, **keys):
    chosen = np.all([rows[name] == value for name, value in keys.items()], axis=0)
    return {name: column[chosen] for name, column in rows.items()}


def test_every_cell_is_what_the_kernels_say():
    rows = table(limits(CLEAR, SHORT))
    assert len(rows["current_a"]) == len(AIR) * 2 * 3
    wire = RATINGS.wires[0]
    mc = WIRING.conductor.outer_heat + WIRING.conductor.core_heat
    for night in (False, True):
        for air in AIR:
            here = replace(WEATHER, ambient=air, solar=0.0 if night else 900.0)
            got = pick(rows, sun="night" if night else "day", ambient_c=air)
            for k, (T, top) in enumerate(((62.0, 80.0), (70.0, 100.0), (70.0, 100.0))):
                def ask(at, k=k, here=here):
                    return current_at("ieee738", at, here, wire) if k == 0 else emergency_current(
                        "ieee738", at, SEASON.durations[k - 1], here, wire, pre_load=400.0, heat_capacity=mc)
                assert got["current_a"][k] == pytest.approx(float(ask(T)), abs=0.01), (air, k)
                assert got["wire_current_a"][k] == pytest.approx(float(ask(top)), abs=0.01)
                assert got["limited_by"][k] == (SPAN if got["wire_current_a"][k] else WIRE)
    assert "b-c: clears to 62.0 °C, road (vertical)" in rows["reason"][0]


def test_without_a_short_span_the_wire_limits():
    rows = pick(table(limits(CLEAR)), duration="continuous", sun="day")
    assert set(rows["limited_by"]) == {WIRE}
    assert rows["reason"][0] == "maximum temperature 80 °C"
    np.testing.assert_array_equal(rows["current_a"], rows["wire_current_a"])
    assert np.all(np.diff(rows["current_a"]) < 0)


def test_a_span_that_was_not_assessed_is_never_a_pass():
    lost = ("c-d", UNKNOWN, np.nan, UNKNOWN, np.nan)
    rows = table(limits(CLEAR, SHORT, lost))
    assert np.isnan(rows["current_a"]).all()
    assert set(rows["limited_by"]) == {UNKNOWN}
    assert all("not assessed in c-d; at most" in why for why in rows["reason"])
    # known for ever, but no case at the emergency temperature: nothing is known of the emergency
    rows = table(limits((*SHORT[:3], None, np.nan)))
    assert np.isfinite(pick(rows, duration="continuous")["current_a"]).all()
    assert np.isnan(pick(rows, duration="10 min")["current_a"]).all()
    assert "no case at the emergency temperature" in pick(rows, duration="10 min")["reason"][0]


def test_a_span_that_no_temperature_clears_leaves_nothing():
    rows = table(limits(CLEAR, ("c-d", NO_TEMPERATURE, np.nan, NO_TEMPERATURE, np.nan)))
    assert (rows["current_a"] == 0).all()
    assert all("c-d: no temperature clears" in why for why, air in zip(rows["reason"], rows["ambient_c"], strict=True)
               if air < 60)


def test_air_hotter_than_a_span_clears_leaves_nothing():
    rows = pick(table(limits(("b-c", "clearance", 30.0, "clearance", 30.0))), duration="continuous", sun="night")
    assert rows["current_a"].tolist()[-2:] == [0.0, 0.0]
    assert "alone makes it hotter" in rows["reason"][-1]
    assert rows["current_a"][0] > 0


def test_the_span_along_the_wind_limits_though_another_clears_less():
    windy = replace(RATINGS, weather=replace(WEATHER, wind_speed=3.0), sky=Sky(wind_direction=0.0),
                    bearings=np.array([0.0, 90.0]))
    found = limits(("along", "clearance", 62.0, "clearance", 62.0), ("across", "clearance", 58.0, "clearance", 58.0))
    rows = pick(table(found, windy, np.array([0.0, 90.0])), duration="continuous", ambient_c=20.0)
    assert rows["limiting_span"].tolist() == ["along", "along"]
    for row, S in enumerate((900.0, 0.0)):
        here = replace(WEATHER, ambient=20, wind_speed=3.0, wind_angle=0.0, solar=S)
        assert rows["current_a"][row] == pytest.approx(float(current_at("ieee738", 62.0, here, RATINGS.wires[0])))


def test_loss_of_strength_lowers_what_hard_drawn_wires_may_take():
    strength = Strength(greatest_loss=0.05, hours="10000 h", emergency_hours="100 h")
    hot = replace(WIRING, maximum_temperature=120.0, emergency_temperature=150.0)
    for emergency in (False, True):
        T, why = wire_limit(hot, strength, emergency)
        assert T < (150 if emergency else 120) and why.startswith("loss of strength: 5 % in")
    assert wire_limit(WIRING, Strength(greatest_loss=0.1, hours="10 h"), False) == (80.0, "maximum temperature 80 °C")
    annealed = Wiring(catalogue.find("264-A0/62-ST6C"), 180.0, 200.0, (), 1)
    assert wire_limit(annealed, strength, True)[0] == 200.0
    rows = table(limits(CLEAR), replace(RATINGS, options=(Option("ours", hot, True),)), strength=strength)
    assert all(why.startswith("loss of strength") for why in rows["reason"] if "alone" not in why)


def test_seasons_give_weather_and_the_rating_the_rest():
    winter = Season("winter", days_of(335, 59), ambient=0.0, wind_speed=1.2, solar=300.0)
    here = in_season(RATINGS, winter).weather
    assert (float(here.ambient), float(here.wind_speed), float(here.solar), float(here.wind_angle)) == (0, 1.2, 300, 90)
    assert float(in_season(RATINGS, winter, night=True).weather.solar) == 0
    assert as_rated(replace(RATINGS, emergency_duration=900.0, pre_load=300.0)).durations == (900.0,)


def test_the_sun_of_a_season_is_its_highest():
    sunny = replace(RATINGS, sky=Sky(latitude=50.0, day=1, hour=12.0))
    got = in_season(sunny, Season("spring", days_of(60, 151)))
    highest = max(range(60, 152), key=lambda day: float(sun.altitude(50.0, day, 12.0)))
    assert got.sky.day == highest == 151
    assert in_season(sunny, Season("spring", days_of(60, 151)), night=True).sky.matters is False


def test_the_sun_is_up_between_sunrise_and_sunset():
    days = days_of(121, 273)
    first, last = daylight(50.0, days)
    hours = np.arange(0, 24, 0.05)
    up = sun.altitude(50.0, days[:, None], hours) > 0
    np.testing.assert_allclose((hours[up.any(axis=0)].min(), hours[up.any(axis=0)].max()), (first, last), atol=0.06)
    assert np.isnan(daylight(80.0, [355])).all()


def test_steps_reach_over_the_range(tmp_path):
    class Study:
        path = tmp_path / "study.toml"

    air = _steps(Study, "5 degF", -3.0, 38.0)
    np.testing.assert_allclose(np.diff(air), 5 / 1.8)
    np.testing.assert_allclose((air * 1.8 + 32) / 5, np.round((air * 1.8 + 32) / 5), atol=1e-9)
    assert air[0] <= -3.0 and air[-1] >= 38.0 and len(air) < 20
    assert _steps(Study, "2 °C", 0.0, 4.0).tolist() == [0, 2, 4]
    for step in ("0 °C", "99 °C", "warm"):
        with pytest.raises(InputError, match="step"):
            _steps(Study, step, 0.0, 4.0)


@pytest.mark.parametrize("latitude", [None, 50.0])
def test_the_least_cooled_bearings_stand_for_all(latitude):
    draw = np.random.default_rng(8)
    azimuth = draw.uniform(0, 360, 30)
    sky = Sky(wind_direction=40.0, latitude=latitude, day=172, hour=15.0)
    windy = replace(RATINGS, weather=replace(WEATHER, wind_speed=2.0), sky=sky, bearings=azimuth)
    T = draw.uniform(50, 78, 30)
    found = limits(*((f"s{i:02d}", "clearance", t, "clearance", t) for i, t in enumerate(T)))
    season = replace(SEASON, durations=(600.0,))
    rows = table(found, windy, azimuth, seasons=(season,))
    for night in (False, True):
        here = in_season(windy, season, night=night)
        for air in AIR[:4]:
            now = replace(here, weather=replace(here.weather, ambient=air), emergency_duration=600.0, pre_load=400.0)
            got = pick(rows, sun="night" if night else "day", ambient_c=air)
            alone = [[float(now.current_at(0, t, a)) for t, a in zip(T, azimuth, strict=True)],
                     [float(now.short_time_current(0, t, np.array(a))) for t, a in zip(T, azimuth, strict=True)]]
            np.testing.assert_allclose(got["current_a"], np.min(alone, axis=1), atol=0.01)
            # several may carry nothing
            assert all(name == f"s{np.argmin(each):02d}" for name, each in
                       zip(got["limiting_span"], alone, strict=True) if min(each) > 0)
            wire = now.current_at(0, np.full(30, 80.0), azimuth).min()
            assert got["wire_current_a"][0] == pytest.approx(wire, rel=1e-5)  # bearings are rounded to 0.001 deg
