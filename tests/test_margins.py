"""Minimum margins between wire temperatures: never told greater than they are; and through the hours of a year."""

from dataclasses import replace
from functools import partial

import numpy as np
import pytest

from corridor.check import find
from corridor.jobs.rating import found_limits
from corridor.opened import Opened
from corridor.rating.margins import ALLOWANCE, HourMargins, Margins, least_between
from tests.short_demo import short_demo

NODES = np.array([-20.0, -10.0, 0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0, 69.7, 70.0])
T = np.arange(-20.0, 70.01, 0.07)
T = T[T <= 70]


def bent(knee, k=0.05):
    """A margin that falls ever more slowly: a square root, and past a knee half as fast."""
    def margin(at):
        at = np.asarray(at, float)
        return 6 - k * np.minimum(at, knee) - 0.5 * k * np.maximum(at - knee, 0) + 2e-4 * (80 - at) ** 2 - 2

    return margin


@pytest.mark.parametrize("knee", [-13.0, 4.0, 25.0, 33.0, 66.0, 69.9])
def test_a_margin_between_is_told_no_greater_than_it_is(knee):
    f = bent(knee)
    told, line = least_between(NODES, f(NODES)[None], T)
    assert np.all(told[0] <= f(T)) and np.all(line[0] >= f(T) - 1e-12)
    inner = (T > -10) & (T < 60)
    # what bends at most: a change of slope of 0.025 m/K, and 2 x 2e-4 m/K2 over 20 K, over 10 K
    assert np.all(f(T)[inner] - told[0][inner] < 0.025 * 10 + 4e-4 * 20 * 10 + ALLOWANCE)


def nearest(one, other, drop, at):
    return np.minimum(one(at), other(at) - drop)


def falling(one, switch, at):
    return one(at) - 1.5 * (np.asarray(at) > switch)


def test_a_jump_and_another_thing_are_no_greater_either():
    for switch in np.linspace(-15, 69, 40):
        one, other = bent(30.0), bent(500.0, 0.08)
        drop = other(switch) - one(switch)
        for f in (partial(nearest, one, other, drop), partial(falling, one, switch)):
            told, _ = least_between(NODES, f(NODES)[None], T)
            assert np.all(told[0] <= f(T))


def test_what_is_known_at_a_node_is_told_and_what_is_not_known_is_not():
    values = np.vstack([bent(25.0)(NODES), bent(40.0)(NODES)])
    values[1, 4] = np.nan
    told, _ = least_between(NODES, values, NODES[1:])
    np.testing.assert_array_equal(told[0], values[0, 1:])
    assert np.flatnonzero(np.isnan(told[1])).tolist() == [3, 4]


def test_hours_have_their_least_margin_its_row_and_what_is_lost():
    draw = np.random.default_rng(3)
    curves = [bent(knee, k) for knee, k in ((20.0, 0.05), (35.0, 0.06), (50.0, 0.04))]
    values = np.vstack([f(NODES) for f in curves] + [np.full(len(NODES), np.nan)])
    rows, place = np.array([0, 1, 2, 3]), np.array([0, 1, 1, 1])
    near = HourMargins.of(Margins(NODES, values), rows, place, 2)
    wire = draw.uniform(-19, 69, (500, 2))
    margin, row, low_by, lost = near.look(wire)
    exact = np.column_stack([curves[0](wire[:, 0]), curves[1](wire[:, 1]), curves[2](wire[:, 1])])
    assert np.all(margin <= exact.min(axis=1)) and np.all(margin + low_by >= exact.min(axis=1))
    clear = np.ptp(np.sort(exact, axis=1)[:, :2], axis=1) > 0.2
    assert np.mean(row[clear] == exact.argmin(axis=1)[clear]) == 1 and lost.tolist() == [1] * 500
    over = near.of_range(wire.min(axis=0), wire.max(axis=0))
    assert np.all(over[:3] <= exact.min(axis=0)) and np.isnan(over[3])


def test_an_hour_hotter_than_the_wire_may_be_or_unknown_has_no_margin():
    near = HourMargins.of(Margins(NODES, bent(20.0)(NODES)[None] * np.ones((2, 1))), np.arange(2), np.arange(2), 2)
    margin, row, _, lost = near.look(np.array([[50.0, 70.001], [np.nan, 20.0], [np.inf, 20.0], [70.0, 20.0]]))
    assert np.isnan(margin).tolist() == [True, True, True, False]
    assert row.tolist() == [-1, -1, -1, 0] and lost.tolist() == [1, 1, 1, 0]
    assert margin[3] <= bent(20.0)(70.0) and margin[3] > bent(20.0)(70.0) - 0.1 * 0.1 - ALLOWANCE
    assert np.isnan(near.of_range(np.array([20.0, 20.0]), np.array([30.0, 71.0]))).tolist() == [False, True]


@pytest.fixture(scope="module")
def on_the_demo(tmp_path_factory):
    """Options, limits, and margins at even temperatures and at drawn ones, of a stretch with a hole in its ground."""
    folder = short_demo(tmp_path_factory.mktemp("margins") / "demo", "N11", "N16")
    draw = np.random.default_rng(7)
    with Opened(folder / "study.toml") as opened:
        laid = opened.laid_out
        tops = [option.wiring.emergency_temperature for option in laid.facts.options]
        nodes = np.array([[*np.arange(-20, 71, 10.0), 74.7, 75.0]] * len(tops))
        found = np.sort(draw.uniform(-20, 75, (12, len(tops))).T, axis=1)
        limits = found_limits(laid)
        columns = []
        for at in (nodes, found):
            parts = [part["margin_m"] for layer, part in find(replace(laid.facts, margins_at=at), *laid[1:])
                     if layer == "margins"]
            columns.append(np.concatenate(parts))
    return limits, nodes[0], columns[0], found, columns[1], [option.name for option in laid.facts.options]


def test_margins_of_the_demo_between_are_no_greater_than_the_wire_hung_there(on_the_demo):
    limits, nodes, values, found, exact, options = on_the_demo
    for number, option in enumerate(options):
        rows = limits["option"] == option
        told, _ = least_between(nodes, values[rows], found[number])
        known = np.isfinite(exact[rows])
        assert np.all(told[known] <= exact[rows][known]) and known.any()
        assert np.median(exact[rows][known] - told[known]) < 0.02


def test_margins_agree_with_limits_and_what_was_not_assessed_has_none(on_the_demo):
    limits, nodes, values, _, _, _ = on_the_demo
    lost = limits["governs"] == "not assessed"
    assert lost.any() and np.isnan(values[lost]).all() and not np.isnan(values[~lost]).any()
    T = limits["clearing_temperature_c"]
    sought = np.flatnonzero(np.isfinite(T) & (T < 75))
    for row in sought:
        told, line = least_between(nodes, values[row:row + 1], T[row:row + 1])
        # the limit leaves a margin of nought
        assert told[0, 0] <= 1e-5 <= line[0, 0] + 2e-3
    clear = np.isnan(T) & np.isin(limits["governs"], ("maximum temperature", "ice"))
    assert np.all(values[clear & (limits["maximum_temperature_c"] == 75)][:, -1] >= 0)
