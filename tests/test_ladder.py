"""The ladder against brute force: the best that can be had by putting any n spans right."""

from itertools import combinations

import numpy as np
import pytest

from corridor.rating.ladder import Ceiling, ladder_rows
from corridor.rating.limits import CLEARANCE, ICE, MAXIMUM, NO_TEMPERATURE, UNKNOWN

TOP = 1000.0


def limits(current, governs=None, *, line="L", option="o"):
    """Limits of spans named by letters; the temperature follows the current."""
    current = np.asarray(current, float)
    count = len(current)
    words = np.full(count, "clearance", object) if governs is None else np.array(governs, object)
    return {"line": np.full(count, line, object), "option": np.full(count, option, object),
            "span": np.array([chr(97 + i) for i in range(count)], object), "governs": words,
            "limit_current_a": current, "limit_temperature_c": current / 10,
            "emergency_limit_temperature_c": np.full(count, np.nan), "emergency_governs": np.full(count, None, object),
            "emergency_limit_current_a": np.full(count, np.nan)}


def ladder(table, top=TOP):
    return ladder_rows(table, {("L", "o"): Ceiling(100.0, top)})


def test_every_step_is_the_best_that_so_many_spans_can_bring():
    current = np.random.default_rng(5).uniform(300, 1100, 9).round()
    got = ladder(limits(current))
    for n, value in zip(got["spans_fixed"], got["limit_current_a"], strict=True):
        best = max(min([TOP, *np.delete(current, list(fixed))]) for fixed in combinations(range(9), int(n)))
        assert value == pytest.approx(min(best, TOP))
    assert got["limit_current_a"][-1] == TOP
    assert got["limit_temperature_c"][-1] == 100.0
    assert got["limiting_span"][-1] is None
    assert np.all(np.diff(got["limit_current_a"]) >= 0)


def test_spans_are_named_as_they_are_put_right():
    got = ladder(limits([800, 500, 1000, 650]))
    assert list(got["limiting_span"]) == ["b", "d", "a", None]
    assert list(got["fixed_span"]) == [None, "b", "d", "a"]


def test_a_line_without_a_bad_span_has_one_step():
    got = ladder(limits([1000, 1000]))
    assert list(got["spans_fixed"]) == [0]
    assert list(got["limit_current_a"]) == [TOP]


def test_what_is_not_assessed_is_never_a_pass():
    table = limits([np.nan, 800, np.nan, 600], [UNKNOWN, "clearance", UNKNOWN, "clearance"])
    got = ladder(table)
    np.testing.assert_array_equal(got["limit_current_a"], [np.nan, np.nan, 600, 800, TOP])
    assert "2 spans not assessed" in got["note"][0]
    assert "at most 600 A" in got["note"][0]
    assert "1 span not assessed" in got["note"][1]
    # a number that is lacking counts as not assessed, whatever the word beside it says
    lacking = ladder(limits([np.nan, 800], [MAXIMUM, "clearance"]))
    assert np.isnan(lacking["limit_current_a"][0])


def test_where_no_temperature_clears_nothing_is_carried():
    table = limits([0.0, 700], [NO_TEMPERATURE, "clearance"])
    table["limit_temperature_c"][0] = np.nan
    got = ladder(table)
    np.testing.assert_array_equal(got["limit_current_a"], [0, 700, TOP])
    np.testing.assert_array_equal(got["limit_temperature_c"], [np.nan, 70, 100])


def test_without_weather_the_ladder_climbs_in_temperature():
    table = limits([800, 500])
    table["limit_current_a"] = np.full(2, np.nan)
    got = ladder(table, np.nan)
    np.testing.assert_array_equal(got["limit_temperature_c"], [50, 80, 100])
    assert np.isnan(got["limit_current_a"]).all()


def test_ice_is_said_beside_the_last_step():
    got = ladder(limits([1000, 700], [ICE[MAXIMUM], "clearance"]))
    assert got["note"][-1] == "under ice short, whatever the current: 1 span more"


def test_spans_short_in_an_emergency_alone_are_put_right_before_the_end():
    """Their continuous current is that of the option; those that were remedied for it stand once."""
    table = limits([TOP, 700, TOP, TOP, TOP], [MAXIMUM, "clearance", MAXIMUM, MAXIMUM, MAXIMUM])
    table["emergency_governs"][:] = [CLEARANCE, CLEARANCE, MAXIMUM, UNKNOWN, NO_TEMPERATURE]
    table["emergency_limit_temperature_c"][:2] = 108.4, 70
    got = ladder(table)
    assert list(got["limiting_span"]) == ["b", "d", "e", "a", None]
    assert list(got["fixed_span"]) == [None, "b", "d", "e", "a"]
    np.testing.assert_array_equal(got["limit_current_a"], [700, TOP, TOP, TOP, TOP])
    assert got["note"][0] is None and got["note"][4] is None
    assert got["note"][1] == "not known at the emergency temperature"
    assert got["note"][2] == "short at any emergency temperature"
    assert got["note"][3] == "short at the emergency temperature, clear to 108 °C"


def in_need(governs, temperature, current):
    """The ladder of spans that are remedied in the order a, b, c, of emergency limits."""
    table = limits([500, 600, 700, TOP])
    table |= {"emergency_governs": np.array(governs, object), "emergency_limit_temperature_c": np.array(temperature),
              "emergency_limit_current_a": np.array(current)}
    got = ladder_rows(table, {("L", "o"): Ceiling(100.0, TOP, 120.0, 1100.0)})
    return [list(got[f"emergency_{name}"]) for name in ("limit_temperature_c", "limit_current_a", "limiting_span")]


def test_each_step_has_the_emergency_limit_of_the_spans_that_are_left():
    """By hand: while a and c are left the cooler one sets it; d has a violation in emergency alone, and comes last."""
    assert in_need([CLEARANCE, MAXIMUM, CLEARANCE, CLEARANCE], [80.0, 120.0, 70.0, 110.0],
                   [750.0, 1090.0, 700.0, 1050.0]) == [[70, 70, 70, 110, 120], [700, 700, 700, 1050, 1100],
                                                       ["c", "c", "c", "d", None]]


def test_an_emergency_limit_that_is_not_known_is_none():
    T, current, span = in_need([CLEARANCE, UNKNOWN, NO_TEMPERATURE, MAXIMUM], [80.0, np.nan, np.nan, 120.0],
                               [750.0, np.nan, 0.0, 1090.0])
    np.testing.assert_array_equal(T, [np.nan, np.nan, np.nan, 120])
    np.testing.assert_array_equal(current, [np.nan, np.nan, 0, 1100])
    assert span == ["b", "b", "c", None]
    assert np.isnan(in_need([None] * 4, [np.nan] * 4, [np.nan] * 4)[:2]).all(), "no case looks at it"


def test_lines_and_options_have_ladders_of_their_own():
    one, two = limits([500, 900]), limits([700, 400], line="M")
    table = {name: np.concatenate([one[name], two[name]]) for name in one}
    got = ladder_rows(table, {("L", "o"): Ceiling(100.0, 950.0), ("M", "o"): Ceiling(100.0, TOP)})
    np.testing.assert_array_equal(got["limit_current_a"], [500, 900, 950, 400, 700, TOP])
    assert list(got["line"]) == ["L"] * 3 + ["M"] * 3
