"""Loads on structures against statics by hand, with the tension of each wire taken from the findings.

Textbook catenary: a wire of length `L = 2C sinh(S/2C)` weighs `w L` and puts half of it on each end of a level span.
"""

from dataclasses import fields, replace

import numpy as np
import pytest
from scipy.optimize import brentq

from corridor.line.facts import Case, Limit
from corridor.summary import Outcome, Tally

from .common import CONDUCTOR, findings, framings, option, rows_where, rules_of, structures

WEIGHT = CONDUCTOR["mass"] * 9.80665
MASS, LENGTH = 60.0, 1.5
STILL, WINDY, COLD = Case("still", 10.0), Case("windy", 10.0, wind=500.0, checks=("tension",)), Case("cold", -40.0)
ROWS = [("hung", "suspension", LENGTH, MASS), ("held", "strain", 0.0, 0.0), ("vee", "vee", LENGTH, MASS),
        ("post", "post", 0.0, 0.0)]


def hanging_at(area=0.0, stiffness=np.inf, height=20.0):
    """Framings with one wire in the middle, of every kind of string."""
    made = framings([(name, "a", "phase", 0.0, height, string, long, mass) for name, string, long, mass in ROWS])
    object.__setattr__(made, "string_area", np.full(len(ROWS), area))
    object.__setattr__(made, "stiffness", np.full(len(ROWS), stiffness))
    return made


def loads(tmp_path, line, framing=None, *, cases=(STILL, WINDY), options=None, method="equilibrium"):
    found, *_ = findings(line, framing or hanging_at(), rules_of(tmp_path, [("ground", "vertical", 6.0)]),
                         ground=lambda e, n: 0 * e, cases=cases, options=options, method=method)
    return found


def only(layer, **wanted):
    """The one row with these values, as a dict."""
    row, = rows_where(layer, **wanted)
    return {name: values[row] for name, values in layer.items()}


def level(turn=0.0, framing=("held", "hung", "held"), base=(0.0, 0.0, 0.0)):
    """Two spans of 300 m; the second turns to the right by an angle [deg]. Wires are level where bases make them so."""
    t = np.radians(turn)
    return structures([0, 300, 300 + 300 * np.cos(t)], [0, 0, -300 * np.sin(t)], base=base, framing=framing)


def arc(H, load, span=300.0):
    return 2 * H / load * np.sinh(span * load / (2 * H))


def test_suspension_structure_by_hand(tmp_path):
    """Two level spans: the string carries both halves and itself; the wind pushes on as much wire."""
    found = loads(tmp_path, level(base=(0.0, LENGTH, 0.0)))
    row, windy = (only(found["structure_loads"], structure="T2", case=case) for case in ("still", "windy"))
    H = only(found["wires"], span="T1-T2", case="still")["horizontal_tension_n"]
    assert row["vertical_n"] == pytest.approx(WEIGHT * arc(H, WEIGHT) + MASS * 9.80665, rel=1e-6)
    assert row["transverse_n"] == pytest.approx(0, abs=0.01) and row["longitudinal_n"] == pytest.approx(0, abs=0.02)
    assert row["wind_span_m"] == pytest.approx(300) and row["section_side"] is None
    assert row["weight_span_m"] == pytest.approx(arc(H, WEIGHT), rel=1e-6) and not row["uplift"]
    wind = 500.0 * CONDUCTOR["diameter"]
    H = only(found["wires"], span="T1-T2", case="windy")["horizontal_tension_n"]
    # Held at their far ends, both wires pull the string's end back and down by H times its way over the span.
    ends = [np.array(only(found["wires"], span="T1-T2", case=case)["geometry"].coords)[-1]
            for case in ("still", "windy")]
    _, aside, lift = ends[1] - ends[0]
    length = arc(H, np.hypot(WEIGHT, wind))
    assert aside < -0.5 and lift > 0.1
    assert windy["transverse_n"] == pytest.approx(wind * length + 2 * H * aside / 300, rel=2e-3)
    assert windy["vertical_n"] == pytest.approx(WEIGHT * length + 2 * H * lift / 300 + MASS * 9.80665, rel=2e-3)
    swing = np.degrees(np.arctan2(windy["transverse_n"], windy["vertical_n"] - MASS * 9.80665 / 2))
    assert windy["string_swing_deg"] == pytest.approx(swing, abs=0.01)
    assert np.sin(np.radians(swing)) * LENGTH == pytest.approx(-aside, rel=1e-3)


def test_wind_on_the_string(tmp_path):
    """All of it pushes the structure, and half of it the string's end: statics of a rod hinged at the top."""
    line, area = level(base=(0.0, LENGTH, 0.0)), 0.8
    layers = [loads(tmp_path, line, hanging_at(area=a)) for a in (0.0, area)]
    bare, blown = (only(found["structure_loads"], structure="T2", case="windy") for found in layers)
    push = abs(blown["transverse_n"]) - 500 * area / 2
    swing = np.degrees(np.arctan2(push, blown["vertical_n"] - MASS * 9.80665 / 2))
    assert abs(blown["string_swing_deg"]) == pytest.approx(swing, abs=0.01)
    assert abs(blown["string_swing_deg"]) > abs(bare["string_swing_deg"]) + 0.4
    # The structure takes what the dead ends do not: together all the wind on wires and strings.
    tables = [found["structure_loads"] for found in layers]
    total = [np.abs(table["transverse_n"][rows_where(table, case="windy")]).sum() for table in tables]
    # Dead ends have strings of this area too.
    assert total[1] - total[0] == pytest.approx(3 * 500 * area, rel=1e-3)


def test_dead_ends_and_a_strain_angle_by_hand(tmp_path):
    """A dead end holds H along the line and half the wire. At an angle each section pulls H sin(turn/2) inward."""
    line = level(turn=40.0, framing=("held",) * 3)
    line.role[1] = "strain"
    found = loads(tmp_path, line)
    wires, rows = found["wires"], found["structure_loads"]
    for structure, sign in (("T1", 1), ("T3", -1)):
        row = only(rows, structure=structure, case="still")
        H = only(wires, span="T1-T2" if sign > 0 else "T2-T3", case="still")["horizontal_tension_n"]
        assert row["longitudinal_n"] == pytest.approx(sign * H, rel=1e-9)
        assert row["vertical_n"] == pytest.approx(WEIGHT * arc(H, WEIGHT) / 2, rel=1e-9) and not row["uplift"]
    H = only(wires, span="T1-T2", case="still")["horizontal_tension_n"]
    for side, sign in (("ahead", 1), ("back", -1)):
        row = only(rows, structure="T2", case="still", section_side=side)
        assert row["transverse_n"] == pytest.approx(H * np.sin(np.radians(20)), rel=1e-6)
        assert row["longitudinal_n"] == pytest.approx(sign * H * np.cos(np.radians(20)), rel=1e-6)


def test_suspension_angle_by_hand(tmp_path):
    """`2 H sin(turn/2)` inward. The string leans by decimetres, which makes the angle of the wire smaller by 1 %."""
    found = loads(tmp_path, level(turn=6.0, base=(0.0, LENGTH, 0.0)))
    row = only(found["structure_loads"], structure="T2", case="still")
    H = only(found["wires"], span="T1-T2", case="still")["horizontal_tension_n"]
    assert row["transverse_n"] == pytest.approx(2 * H * np.sin(np.radians(3)), rel=0.06)
    pull, down = row["transverse_n"], row["vertical_n"] - MASS * 9.80665 / 2
    assert row["string_swing_deg"] == pytest.approx(np.degrees(np.arctan2(pull, down)), abs=0.01)
    # The wire's own line turns less: by twice the lean over the span.
    lean = LENGTH * np.sin(np.radians(row["string_swing_deg"]))
    assert pull == pytest.approx(2 * H * np.sin(np.radians(3) - lean / 300), rel=1e-3)


def test_a_structure_in_a_dip_is_lifted_by_the_cold(tmp_path):
    """Hot wire rests on it; in the cold the wire is straighter and pulls it up: an old rule of the trade, no source."""
    line = level(base=(0.0, LENGTH - 21.0, 0.0))
    found = loads(tmp_path, line, cases=(Case("hot", 75.0), STILL, COLD))
    rows = found["structure_loads"]
    assert not only(rows, structure="T2", case="hot")["uplift"]
    cold = only(rows, structure="T2", case="cold")
    assert cold["uplift"] and cold["vertical_n"] < MASS * 9.80665
    H = only(found["wires"], span="T1-T2", case="still")["horizontal_tension_n"]
    # Parabola: each span puts w S/2 - H h/S on its lower end.
    by_hand = 2 * (WEIGHT * 300 / 2 - H * 21.0 / 300) + MASS * 9.80665
    assert only(rows, structure="T2", case="still")["vertical_n"] == pytest.approx(by_hand, rel=0.02)


def test_a_lifted_string_is_said_and_its_load_told(tmp_path):
    """In a deeper dip the cold wire lifts its string, which goes slack: both spans then hang as one wire with a small
    weight on it. The load is what would hold the string plumb, by the parabola."""
    line = level(base=(0.0, LENGTH - 26.0, 0.0))
    found = loads(tmp_path, line, cases=(Case("hot", 75.0), STILL, COLD))
    assert not len(found["not_assessed"]["reason"])
    rows, wires = found["structure_loads"], found["wires"]
    cold, warm = (only(rows, structure="T2", case=case) for case in ("cold", "hot"))
    assert cold["lifted"] and cold["uplift"] and not warm["lifted"] and np.isnan(cold["string_swing_deg"])
    assert not only(rows, structure="T1", case="cold")["lifted"]
    assert only(wires, span="T1-T2", case="cold")["lifted"] and not only(wires, span="T1-T2", case="hot")["lifted"]
    back, ahead = (only(wires, span=span, case="cold") for span in ("T1-T2", "T2-T3"))
    ends = np.array(back["geometry"].coords)[-1], np.array(ahead["geometry"].coords)[0]
    np.testing.assert_allclose(*ends, atol=1e-6)
    lift = ends[0][2] - (20 - 26)
    assert 0.05 < lift < 2 * LENGTH
    # Where it hangs only half of the string is on it: `2 (w S/2 - H h/S) + W/2 = 0`, h being what is left of the dip.
    H = back["horizontal_tension_n"]
    left = 2 * (WEIGHT * 300 / 2 - H * (26.0 - lift) / 300) + MASS * 9.80665 / 2
    assert left == pytest.approx(0, abs=0.02 * WEIGHT * 300)
    # Held plumb the same wire is longer, by its tension alone: `L = sqrt(P^2 + h^2)`, F near H times chord over span.
    stiffness = 400e-6 * 55e9 + 65e-6 * 190e9

    def unstressed(H, h):
        return np.hypot(arc(H, WEIGHT), h) / (1 + H * np.hypot(1, h / 300) / stiffness)

    tight = brentq(lambda held: unstressed(held, 26.0) - unstressed(H, 26.0 - lift), H, 2 * H)
    C = tight / WEIGHT
    low = C * np.arcsinh(26 / arc(tight, WEIGHT)) - 150  # of the low end from the lowest point of the curve
    assert cold["vertical_n"] == pytest.approx(2 * tight * -np.sinh(low / C) + MASS * 9.80665, rel=0.02)
    assert cold["vertical_n"] < -400


@pytest.mark.parametrize(("aside", "dip", "lifted"), [(10.0, 20.0, None), (10.0, 22.0, False), (12.5, 25.0, True)])
def test_uplift_is_told_of_either_side_of_the_wind(tmp_path, aside, dip, lifted):
    """At an angle, in a dip. Wind into the angle swings the string far out, where the wires hold it down: the row of
    the greater transverse load. Wind out of it cancels their pull, and the string is relieved, or slack."""
    line = structures([0, 300, 600], [0, 0, -aside], base=(0.0, LENGTH - dip, 0.0), framing=("held", "hung", "held"))
    found = loads(tmp_path, line, cases=(STILL, Case("breeze", -20.0, wind=150.0, checks=("tension",))))
    row = only(found["structure_loads"], structure="T2", case="breeze")
    weight = MASS * 9.80665
    assert row["string_swing_deg"] > 50 and row["transverse_n"] > 1500
    # On that side the structure bears the string and nearly half of its weight besides, or more.
    assert row["vertical_n"] > 1.4 * weight
    assert row["uplift"] == (lifted is not None) and row["lifted"] == bool(lifted)


def test_a_lifted_string_is_a_violation(tmp_path):
    """Told with the structure; a study in which all clears does not end well."""
    line = level(base=(0.0, LENGTH - 26.0, 0.0))
    found, facts, _ = findings(line, hanging_at(height=40.0), rules_of(tmp_path, [("ground", "vertical", 1.0)]),
                               ground=lambda e, n: 0 * e, cases=(STILL, COLD), method="equilibrium")
    tally = Tally(facts)
    for layer, columns in found.items():
        tally.add(layer, columns)
    assert tally.lifted == {("today", "cold"): {"T2"}}
    assert tally.warnings == ["today: cold: wires lift their strings at T2"]
    assert tally.outcome() == tally.outcome("today") == Outcome(violations=0, gaps=0, overloads=0, lifted=1)
    assert [replace(tally.outcome(), lifted=n).status for n in (0, 1)] == [0, 1]


@pytest.mark.parametrize("name", [field.name for field in fields(Outcome)])
def test_whatever_fails_ends_otherwise(name):
    assert Outcome(**{field.name: int(field.name == name) for field in fields(Outcome)}).status == (
        3 if name == "gaps" else 1)


def test_ratio_to_the_wire_of_today_in_its_worst_case(tmp_path):
    """A wire half as heavy again, strung to the same tension: ratios are those of the loads, worst case below."""
    options = (option(), option("heavy", existing=False, mass=1.5 * CONDUCTOR["mass"]))
    rows = loads(tmp_path, level(base=(0.0, LENGTH, 0.0)), options=options)["structure_loads"]
    for structure in ("T1", "T2"):
        today = [only(rows, structure=structure, option="today", case=case) for case in ("still", "windy")]
        for case in ("still", "windy"):
            row = only(rows, structure=structure, option="heavy", case=case)
            worst = max(abs(each["vertical_n"]) for each in today)
            assert row["ratio_vertical"] == pytest.approx(row["vertical_n"] / worst, rel=1e-9)
            assert row["above_existing"] == (row["ratio_to_existing"] > 1 + 1e-9)
    assert max(each["ratio_vertical"] for each in today) == pytest.approx(1)
    assert only(rows, structure="T2", option="heavy", case="still")["above_existing"]


def test_along_the_line_a_wire_that_runs_through_is_compared_by_its_tension(tmp_path):
    """Unlike spans leave a few hundred newtons at the string, more by the other wire: no measure of the structure. What
    it must hold when a wire breaks goes with the tension, as at the dead ends."""
    line = structures([0, 250, 650], [0, 0, 0], base=(0.0, LENGTH, 0.0), framing=("held", "hung", "held"))
    tight = (Limit("20 % RTS", "share", 0.2, 10.0, None, "final"),)
    options = (option(), option("tight", existing=False, limits=tight))
    found = loads(tmp_path, line, options=options, cases=(STILL, Case("hot", 90.0), COLD))
    rows, wires = found["structure_loads"], found["wires"]

    def pulls(name):
        return {case: max(only(wires, span=span, option=name, case=case)["horizontal_tension_n"]
                          for span in ("T1-T2", "T2-T3")) for case in ("still", "hot", "cold")}

    worst = max(pulls("today").values())
    for case, pull in pulls("tight").items():
        row = only(rows, structure="T2", option="tight", case=case)
        assert row["ratio_longitudinal"] == pytest.approx(pull / worst, rel=1e-6)
    left = [abs(only(rows, structure="T2", option=name, case="cold")["longitudinal_n"]) for name in ("today", "tight")]
    assert left[0] > 200 and 1.0 < row["ratio_longitudinal"] < 1.2


def test_a_v_holds_the_wire_below_its_height_and_a_post_at_it(tmp_path):
    for name, height in (("vee", 20.0 - LENGTH), ("post", 20.0), ("hung", 20.0 - LENGTH)):
        found = loads(tmp_path, level(framing=("held", name, "held")), cases=(STILL,))
        wire = only(found["wires"], span="T1-T2", case="still")["geometry"]
        assert wire.coords[-1][2] == pytest.approx(height, abs=1e-6)
    # What swings is lifted aside by wind; what is held, and a V between spans alike, is not.
    for name, moves in (("vee", False), ("post", False), ("hung", True)):
        found = loads(tmp_path, level(framing=("held", name, "held")))
        ends = [only(found["wires"], span="T1-T2", case=case)["geometry"].coords[-1] for case in ("still", "windy")]
        assert (np.hypot(*np.subtract(*ends)[:2]) > 0.1) == moves


# Bundles: a bundle of two alike is twice a single wire that hangs at half the string, in whatever state.


def bundle_of(count, name="today", *, existing=True, limits=None):
    made = option(name, existing=existing, limits=limits)
    return replace(made, wiring=replace(made.wiring, bundle=count))


def test_a_twin_loads_structures_as_two_singles_do(tmp_path):
    """By symmetry exactly: each of the two bears half the string and half the wind on it."""
    line, cases = level(turn=12.0, base=(0.0, LENGTH, 0.0)), (STILL, WINDY, COLD)
    twin = loads(tmp_path, line, hanging_at(area=0.4), cases=cases, options=(bundle_of(2),))
    halved = framings([(name, "a", "phase", 0.0, 20.0, string, long, mass / 2) for name, string, long, mass in ROWS])
    object.__setattr__(halved, "string_area", np.full(len(ROWS), 0.2))
    single = loads(tmp_path, line, halved, cases=cases)
    for name in ("vertical_n", "transverse_n", "longitudinal_n"):
        both = [layers["structure_loads"][name].astype(float) for layers in (twin, single)]
        assert both[0] == pytest.approx(2 * both[1], rel=1e-9, abs=1e-3)
    weights = [layers["structure_loads"]["weight_span_m"].astype(float) for layers in (twin, single)]
    assert weights[0] == pytest.approx(weights[1], rel=1e-9)
    assert twin["wires"]["sag_m"].astype(float) == pytest.approx(single["wires"]["sag_m"].astype(float), abs=1e-9)


def test_a_twin_strung_to_the_existing_wire_shares_its_tension(tmp_path):
    """`existing` is what structures bear today: two subconductors of a new bundle share it, and the ratio is one."""
    limit = (Limit("existing", "existing", 1.0, 10.0, None, "final"),)
    options = (bundle_of(1), bundle_of(2, "twin", existing=False, limits=limit))
    found = loads(tmp_path, level(base=(0.0, LENGTH, 0.0)), cases=(STILL,), options=options)
    today, twin = (only(found["structure_loads"], structure="T1", option=name, case="still")
                   for name in ("today", "twin"))
    pulls = [np.hypot(each["longitudinal_n"], each["vertical_n"]) for each in (today, twin)]
    assert pulls[1] == pytest.approx(pulls[0], rel=2e-3)
    sags = [only(found["wires"], option=name, span="T1-T2", case="still")["sag_m"] for name in ("today", "twin")]
    assert sags[1] > 1.9 * sags[0]
