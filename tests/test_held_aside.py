"""Things below wires in still air that strings hold aside of where they rest, by plain geometry.

Where the line turns at a suspension structure its string leans inward, the farther the greater the tension. What lies
below the wire then is what lies below its own straight line in plan, state by state.
"""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from corridor.assessment import Plan, make_scene
from corridor.clearance.not_assessed import HOLE_BESIDE
from corridor.clearance.proximity import compare, surroundings
from corridor.clearance.study_lines import Partners
from corridor.line.build import lay_out
from corridor.line.facts import Case
from corridor.line.swing import to_grid

from .common import (
    findings,
    framings,
    ground_of,
    obstacles,
    option,
    rows_where,
    rules_of,
    structures,
    unit_factor,
    wire,
)

#: The line turns left by 8 degrees at T2: wires lean to the left there.
LINE = structures([0, 300, 300 + 290 * np.cos(np.radians(8))], [0, 0, 290 * np.sin(np.radians(8))], base=[0.0] * 3)
ONE = framings([("F", "a", "phase", 0.0, 20.0, "suspension", 2.5, 40.0)])
CASES = (Case("cold", -20.0, checks=("vertical",)), Case("mild", 10.0, checks=("vertical",)),
         Case("hot", 80.0, checks=("vertical",)))


def level(easting, northing):
    return np.zeros(np.shape(easting))


def unknown(easting, northing):
    """Nothing is known left of a line between where the wire rests and where it is when cold."""
    e, n = np.asarray(easting), np.asarray(northing)
    return np.where((n > 1.45 * e / 300) & (e > 200) & (e < 290), np.nan, 0.0)


def assessed(folder, things, ground=level, rules=(("building", "vertical", 3), ("ground", "vertical", 6))):
    """Findings and the scene."""
    found, facts, _ = findings(LINE, ONE, rules_of(folder, rules), ground=ground, things=things, cases=CASES,
                               method="equilibrium", options=(option(),))
    plan = Plan(*lay_out(LINE, LINE.base_elevation, unit_factor), LINE.base_elevation)
    return found, make_scene(facts, plan, 0, 1)[0]


def lines(scene):
    """Both ends of the first span's wire on the grid in every case, (case, end, 3)."""
    ends = np.stack([scene.hung.start[0, 0, :, 0], scene.hung.end[0, 0, :, 0]], axis=1)
    return to_grid(ends, scene.structures, scene.spans, np.zeros(len(ends), int))


def least_over(ends, constant, shape, top):
    """Minimum height of a wire above a flat top of some shape, by 200 000 places along it; nan where it passes by."""
    t = np.linspace(0, 1, 200_001)
    plan = ends[0, :2] + t[:, None] * (ends[1] - ends[0])[:2]
    S = np.hypot(*(ends[1] - ends[0])[:2])
    inside = shapely.contains_xy(shape, *plan.T)
    z = ends[0, 2] + wire(t * S, S, ends[1, 2] - ends[0, 2], constant)
    return (z - top)[inside].min(initial=np.inf)


def test_the_wire_leans_enough_to_tell(tmp_path):
    _, scene = assessed(tmp_path, obstacles([("building", shapely.box(200, 5, 260, 9), False, 4.0, 0.0)]))
    aside = lines(scene)[:, 1, 1]
    assert aside[0] - aside[2] > 0.15


@pytest.mark.parametrize("share", [0.25, 0.5, 0.75])
def test_what_a_wire_passes_over_in_some_states_alone(tmp_path, share):
    """A building that begins between where the wire is when hot and where it is when cold has a row for the latter."""
    _, scene = assessed(tmp_path, obstacles([("building", shapely.box(0, 50, 1, 51), False, 4.0, 0.0)]))
    north = [0.9 * line[1, 1] for line in lines(scene)]
    edge = north[2] + share * (north[0] - north[2])
    house = shapely.box(255, edge, 285, edge + 8)
    found, scene = assessed(tmp_path, obstacles([("building", house, False, 4.0, 0.0)]))
    table, met = found["clearances"], 0
    for k, case in enumerate(CASES):
        least = least_over(lines(scene)[k], scene.constant[0, 0, k], house, 4.0)
        rows = rows_where(table, case=case.name, against="building", span="T1-T2", measure="vertical")
        assert len(rows) == np.isfinite(least), case.name
        if len(rows):
            assert table["actual_m"][rows[0]] == pytest.approx(least, abs=1e-3)
            met += 1
    assert 0 < met < len(CASES)
    assert not len(rows_where(found["not_assessed"], against="building"))


def test_what_is_unknown_below_some_states_alone(tmp_path):
    """Ground, a top that stands on it, and a thing no rule is for: each is told, none passes in silence."""
    hut = shapely.box(230, 1.13, 236, 2)
    things = obstacles([("hut", hut, False, 2.0, 0.0), ("fence", shapely.box(250, 1.25, 256, 2), False, 1.0, 0.0)])
    found, scene = assessed(tmp_path, things, unknown, [("hut", "vertical", 3), ("ground", "vertical", 6)])
    cold, _, hot = lines(scene)[:, 1, 1] / 300
    assert hot < scene.wires.end[0, 1] / 300 < 1.45 / 300 < cold
    table = found["not_assessed"]
    told = sorted({(table["against"][r], table["case"][r] or "") for r in rows_where(table, span="T1-T2")
                   if table["reason"][r] != HOLE_BESIDE})
    # No rule is for the fence, but the electrical distance is, and its top is unknown in the cold too.
    assert told == [("fence", ""), ("fence", "cold"), ("ground", "cold"), ("hut", "cold")]


def test_unknown_ground_below_the_wire_at_the_limit_alone(tmp_path):
    """Hot it is in violation over known ground; where it would clear it leans over ground that is not known."""
    house, rules = obstacles([("building", shapely.box(0, 50, 1, 51), False, 4.0, 0.0)]), [("ground", "vertical", 11)]
    found, scene = assessed(tmp_path, house, level, rules)
    row, = rows_where(found["limits"], span="T1-T2")
    assert 0 < found["limits"]["limit_temperature_c"][row] < 2 and found["limits"]["governs"][row] == "clearance"
    edge = lines(scene)[1, 1, 1] / 300 + 3e-5

    def torn(easting, northing):
        e, n = np.asarray(easting), np.asarray(northing)
        return np.where((n > edge * e) & (e > 200) & (e < 290), np.nan, 0.0)

    found, scene = assessed(tmp_path, house, torn, rules)
    assert scene.wires.end[0, 1] / 300 < edge
    row, = rows_where(found["limits"], span="T1-T2")
    assert np.isnan(found["limits"]["limit_temperature_c"][row]) and found["limits"]["governs"][row] == "not assessed"


@pytest.mark.parametrize(("high", "low"), [(30, 4), (24, 4), (30, 10)])
def test_a_line_that_is_crossed_twice_once_above_and_once_below(tmp_path, high, low):
    """One wire of another line goes over ours, turns, and comes back below: each crossing keeps its side."""
    other = shapely.LineString([(80, -30, high), (80, 30, high), (220, 30, low), (220, -30, low)])
    found, scene = assessed(tmp_path, obstacles([("line", other, True, np.nan, 0.0)]),
                            rules=[("line", "vertical", 3), ("ground", "vertical", 6)])
    table = found["clearances"]
    for k, case in enumerate(CASES):
        a, b = lines(scene)[k]
        S, apart = np.hypot(*(b - a)[:2]), {}
        for position, x, top, side in (("below", 80, high, -1), ("above", 220, low, 1)):
            share = (x - a[0]) / (b - a)[0]
            z = a[2] + wire(share * S, S, (b - a)[2], scene.constant[0, 0, k])
            apart[position] = side * (z - top)
        assert min(apart.values()) > 0
        row, = rows_where(table, case=case.name, against="line")
        assert table["position"][row] == min(apart, key=apart.get)
        assert table["actual_m"][row] == pytest.approx(min(apart.values()), abs=1e-3)


@pytest.mark.parametrize("turn", [0, 8])
@pytest.mark.parametrize("warmer", [-30.0, 30.0])
def test_below_things_the_nearer_end_of_a_history_counts(tmp_path, turn, warmer):
    """Whichever end is said to hang higher, of wires that lean and of those that do not: told wrongly it is the other.
    """
    turned = np.radians(turn)
    line = structures([0, 300, 300 + 290 * np.cos(turned)], [0, 0, 290 * np.sin(turned)], base=[0.0] * 3)
    theirs = obstacles([("line", shapely.LineString([(200, -50, 30.0), (200, 50, 30.0)]), True, np.nan, 0.0)])
    rules = rules_of(tmp_path, (("line", "vertical", 3),))
    found, facts, plan = findings(line, ONE, rules, ground=level, things=theirs,
                                  cases=CASES, method="equilibrium", options=(option(),))
    scene = make_scene(facts, plan, 0, 1)[0]
    other = scene.at_temperature(scene.temperature + warmer)
    nobody = Partners(np.full(1, -1), 1, np.zeros((2, 0), bool), np.zeros((0, 1), bool))
    around = surroundings(facts, replace(scene, taut=other), ground_of(level), nobody)
    checked = compare(around).checked
    rows = np.flatnonzero((checked.measure == "vertical") & (checked.obstacle == 0) & (checked.case == 0))
    own = rows_where(found["clearances"], against="line", measure="vertical", case="cold")
    z = (scene if warmer > 0 else other).hung
    at = np.s_[0, 0, 0, 0]
    S = z.end[at][0] - z.start[at][0]
    share = (200 - z.start[at][0]) / S
    height = z.start[at][2] + wire(share * S, S, z.end[at][2] - z.start[at][2],
                                   (scene if warmer > 0 else other).constant[0, 0, 0])
    assert found["clearances"]["position"][own].tolist() == checked.position[rows].tolist() == ["below"]
    assert checked.actual[rows] == pytest.approx([30.0 - height], abs=1e-3)
    assert (checked.actual[rows] < found["clearances"]["actual_m"][own] - 0.05) == (warmer < 0)
