"""The time that is left, against an integration of the heat balance by scipy; and what a short circuit does."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from corridor.conductor import catalogue
from corridor.jobs.now import NowResult
from corridor.line.facts import Option, Wiring
from corridor.rating.limits import MAXIMUM, NO_TEMPERATURE, UNKNOWN
from corridor.rating.ratings import Ratings
from corridor.rating.time_left import (
    BEYOND,
    LATER,
    NEVER,
    NOW,
    OVER_BEYOND,
    OVER_LATER,
    OVER_NOW,
    STEP,
    UNASSESSED,
    UNKNOWN_WEATHER,
    time_left_rows,
)
from corridor.rating.withstand import fault_rows
from corridor.study.seasons import Fault
from corridor.thermal.balance import net_cooling
from corridor.thermal.rating import Weather

WEATHER = Weather(ambient=30, wind_speed=0.7, wind_angle=90, emissivity=0.8, absorptivity=0.8, solar=850, elevation=300)
WIRING = Wiring(catalogue.find("429-AL1/56-ST1A"), 80.0, 100.0, (), 2)
RATINGS = Ratings((Option("ours", WIRING, True),), "ieee738", WEATHER, 50.0, 800.0)
BEFORE, AFTER = 800.0, 1900.0


def limits(*rows):
    return {"line": np.full(len(rows), "L", object), "span": np.array([f"s{i}" for i in range(len(rows))], object),
            "option": np.full(len(rows), "ours", object), "governs": np.array([row[0] for row in rows], object),
            "clearing_temperature_c": np.array([row[1] for row in rows]),
            "maximum_temperature_c": np.full(len(rows), 80.0)}


def left(*rows, ratings=RATINGS, before=BEFORE, current=AFTER):
    found = time_left_rows(ratings, 0, before, current, limits(*rows), np.zeros(len(rows)))
    return {span: (state, time) for span, state, time in
            zip(found["span"], found["state"], found["time_left_s"], strict=True)}, found


def crossing(top, before=BEFORE, current=AFTER):
    """When scipy has the wire hotter than that [s]."""
    wire, c, n = RATINGS.wires[0], WIRING.conductor, WIRING.bundle
    cooling, mc = net_cooling("ieee738", WEATHER, wire), c.outer_heat + c.core_heat

    def rate(t, T):
        return (float(current / n)**2 * wire.resistance(T, np.full(1, current / n)) - cooling(T)) / mc

    def at_top(t, T):
        return T[0] - top

    start = float(RATINGS.temperature_at(0, before, 0.0))
    got = solve_ivp(rate, (0, 20_000), [start], events=at_top, rtol=1e-8, atol=1e-8, max_step=60)
    return got.t_events[0][0]


@pytest.mark.parametrize("top", [60.0, 66.0, 70.0])
def test_the_time_left_is_that_of_an_integration_and_never_more(top):
    (state, time), = left(("clearance", top))[0].values()
    exact = crossing(top)
    assert state == LATER
    assert exact - STEP <= time <= exact


def test_every_state_is_told_and_what_is_not_known_comes_first(monkeypatch):
    monkeypatch.setattr("corridor.rating.time_left.HORIZON", 900.0)
    steady = float(RATINGS.temperature_at(0, AFTER, 0.0))
    states, found = left(("clearance", 40.0), ("clearance", steady - 1e-2), ("clearance", steady + 0.5),
                         (UNKNOWN, np.nan), (NO_TEMPERATURE, np.nan), (MAXIMUM, np.nan))
    assert [states[f"s{i}"][0] for i in range(5)] == [NOW, BEYOND, NEVER, UNASSESSED, NOW]
    assert states["s5"][0] == (OVER_LATER if steady > 80 else NEVER)
    assert found["span"][0] == "s3"
    assert [states[f"s{i}"][1] for i in (0, 4)] == [0.0, 0.0] and np.isnan(states["s3"][1])


def test_without_weather_nothing_stays_clear():
    unknown = replace(RATINGS, weather=replace(WEATHER, wind_speed=np.nan))
    assert left(("clearance", 70.0), (MAXIMUM, np.nan), ratings=unknown)[0] == {
        "s0": (UNKNOWN_WEATHER, pytest.approx(np.nan, nan_ok=True)),
        "s1": (UNKNOWN_WEATHER, pytest.approx(np.nan, nan_ok=True))}
    assert left(("clearance", 70.0), current=np.nan)[0]["s0"][0] == UNKNOWN_WEATHER


def test_a_wire_that_would_melt_is_short():
    assert left(("clearance", 70.0), current=40_000.0)[0]["s0"][0] in (NOW, LATER)
    assert left((MAXIMUM, np.nan), current=40_000.0)[0]["s0"][0] == OVER_LATER


@pytest.mark.parametrize(("before", "current", "short", "over"), [
    (800.0, 3000.0, LATER, OVER_LATER), (3000.0, 3000.0, NOW, OVER_NOW)])
def test_a_wire_hotter_than_its_span_is_known_to_clear_is_no_short_one(before, current, short, over):
    states, found = left(("clearance", 80.0), (MAXIMUM, np.nan), ("ice", np.nan), before=before, current=current)
    assert [states[f"s{i}"][0] for i in range(3)] == [short, over, over]
    # the time is as long as it is known to clear, whatever it is called
    assert states["s0"][1] == states["s1"][1] == states["s2"][1]
    for rows, status in (((0, 1), 1 if short == NOW else 0), ((1,), 3 if over == OVER_NOW else 0)):
        some = np.isin(found["span"], [f"s{i}" for i in rows])
        assert NowResult({name: column[some] for name, column in found.items()}, before, current, ()).status == status


def test_hotter_after_more_than_it_is_looked_ahead_is_told_apart_too(monkeypatch):
    monkeypatch.setattr("corridor.rating.time_left.HORIZON", 20.0)
    assert left(("clearance", 80.0), (MAXIMUM, np.nan), current=3000.0)[0] == {
        "s0": (BEYOND, 20.0), "s1": (OVER_BEYOND, 20.0)}


def test_the_core_is_hotter_and_the_time_shorter():
    cored = replace(RATINGS, radial_conductivity=0.7)
    assert left(("clearance", 70.0), ratings=cored)[0]["s0"][1] < left(("clearance", 70.0))[0]["s0"][1]


def test_a_short_circuit_heats_each_wire_by_its_share():
    shield = Wiring(catalogue.find("105-AL1/17-ST1A"), 50.0, None, ())
    one = replace(WIRING, bundle=1)
    options = (Option("pair", WIRING, True), Option("single", one, False))
    fault = Fault(current="40 kA", duration="0.5 s", shield_share=0.25)
    rows = fault_rows(options, shield, fault, 50.0)
    assert rows["fault_current_a"].tolist() == [20e3, 40e3, 10e3]
    assert rows["start_temperature_c"].tolist() == [100, 100, 50]
    assert rows["end_temperature_c"][0] < rows["end_temperature_c"][1]
    assert rows["permitted_current_a"][0] == rows["permitted_current_a"][1]
    for row in range(3):
        assert rows["withstands"][row] == (rows["fault_current_a"][row] <= rows["permitted_current_a"][row])
    # by hand, without skin effect: an upper bound of the current, within its few percent
    c = WIRING.conductor
    a = c.temperature_coefficient
    square = c.outer_heat / (c.resistance_20 * a) * np.log((1 + a * 180) / (1 + a * 80)) / 0.5
    assert 0.97 * np.sqrt(square) < rows["permitted_current_a"][0] <= np.sqrt(square)
    # nothing is left for a wire that is as hot as it may be
    hot = fault_rows(options[:1], None, Fault(current="1 kA", duration="0.5 s", greatest_temperature=100), 50.0)
    assert hot["permitted_current_a"][0] == 0 and not hot["withstands"][0]


def test_a_wire_that_was_hotter_before_starts_there():
    calm, windy = (replace(RATINGS, weather=replace(WEATHER, wind_speed=v)) for v in (0.3, 0.7))
    rows = limits(("clearance", 66.0))
    alone, after_calm, after_wind = (
        time_left_rows(RATINGS, 0, BEFORE, AFTER, rows, np.zeros(1), earlier=earlier)["time_left_s"][0]
        for earlier in (None, calm, replace(windy, weather=replace(WEATHER, wind_speed=5.0))))
    assert after_calm < alone == after_wind
