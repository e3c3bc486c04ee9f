"""Strings that swing against their own structure: plane geometry, and the formula of the trade for the swing.

`tan phi = p S_wind / (w S_weight + W/2)` for a straight level line (USDA RUS bulletin 1724E-200, chapter 7, recalled).
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from corridor.inputs.framings import read_framings
from corridor.line.facts import Case
from corridor.summary import Tally

from .common import CONDUCTOR, findings, framings, option, rows_where, rules_of, structures

LENGTH, MASS, SPAN, PRESSURE = 2.0, 60.0, 300.0, 500.0
WINDY, STILL = Case("windy", 10.0, wind=PRESSURE, checks=("horizontal",)), Case("still", 10.0)
ROWS = [("held", "strain", 0.0, 0.0), ("hung", "suspension", LENGTH, MASS), ("vee", "vee", LENGTH, MASS)]
#: As wide as the existing wire, and lighter by a third, as one on a carbon core may be.
TODAY, LIGHT = option("today"), option("light", existing=False, mass=1.1)
TABLE = [("ground", "vertical", 6.0)]


def framed(**body):
    """Framings with one wire in the middle; of the one in use what is given about the body."""
    made = framings([(name, "a", "phase", 0.0, 22.0, string, long, mass) for name, string, long, mass in ROWS])
    return replace(made, **{name: np.where(made.framing == "held", np.nan, value) for name, value in body.items()})


def found(tmp_path, framing, *, cases=(STILL, WINDY), options=(TODAY, LIGHT), rules=TABLE, base=(0.0, 2.0, 0.0),
          name="hung", voltage=123e3, turn=0.0):
    t = np.radians(turn)
    line = structures([0, SPAN, SPAN + SPAN * np.cos(t)], [0, 0, -SPAN * np.sin(t)], base=base,
                      framing=("held", name, "held"))
    layers, facts, _ = findings(line, framing, rules_of(tmp_path, rules), ground=lambda e, n: 0 * e, cases=cases,
                                options=options, method="equilibrium", voltage=voltage)
    tally = Tally(facts)
    for layer, columns in layers.items():
        tally.add(layer, columns)
    return layers, tally


def at_t2(layers, option, case="windy"):
    row, = rows_where(layers["structure_loads"], structure="T2", option=option, case=case)
    return {name: values[row] for name, values in layers["structure_loads"].items()}


def by_formula(layers, option, mass, *, tied):
    """Swing by the formula, each span's wire as long as a level catenary [deg]; `tied`: less what wires that are held
    at their far ends pull the string's end back, and down, `H/S` of its way over each span."""
    H = layers["wires"]["horizontal_tension_n"][rows_where(layers["wires"], option=option, case="windy")[0]]
    w, p = mass * 9.80665, PRESSURE * CONDUCTOR["diameter"]
    arc = 2 * H / np.hypot(w, p) * np.sinh(SPAN * np.hypot(w, p) / (2 * H))
    back = 2 * H * LENGTH / SPAN if tied else 0.0

    def left(phi):
        down = w * arc + MASS * 9.80665 / 2 + back * (1 - np.cos(phi))
        return np.tan(phi) * down - (p * arc - back * np.sin(phi))

    return np.degrees(brentq(left, 0.0, 1.5))


def test_the_light_wire_swings_farther_and_is_told(tmp_path):
    """Without data nobody knows whether the structure allows it: the row says so, and a warning has both angles."""
    layers, tally = found(tmp_path, framed())
    angles = {}
    for name, mass in (("today", CONDUCTOR["mass"]), ("light", 1.1)):
        row = at_t2(layers, name)
        angles[name] = row["swing_right_deg"]
        assert row["swing_right_deg"] == pytest.approx(by_formula(layers, name, mass, tied=True), abs=0.05)
        # The formula itself knows of no far ends: it is farther by some degrees in a line of two spans.
        assert 1.0 < by_formula(layers, name, mass, tied=False) - row["swing_right_deg"] < 4.0
        assert row["swing_left_deg"] == pytest.approx(row["swing_right_deg"], abs=1e-6)
        assert row["at_structure"] == "not given" and np.isnan(row["body_m"])
    assert at_t2(layers, "light")["swing_more_deg"] == pytest.approx(angles["light"] - angles["today"]) and \
        angles["light"] - angles["today"] > 5
    assert at_t2(layers, "today")["swing_more_deg"] == 0
    words, = (text for text in tally.warnings if "swing farther" in text)
    told = f"T2 a in windy ({angles['light']:.1f} deg, not {angles['today']:.1f})"
    assert words.startswith("light:") and told in words
    assert not tally.too_near


def test_a_pole_on_one_side_by_plane_geometry(tmp_path):
    """`window - l sin(phi)` to the pole, and electrical distance 1.0 m at 123 kV (EN 50341-1, recalled)."""
    layers, tally = found(tmp_path, framed(window_right=2.4))
    margins = {}
    for name in ("today", "light"):
        row = at_t2(layers, name)
        margins[name] = 2.4 - LENGTH * np.sin(np.radians(row["swing_right_deg"])) - 1.0
        assert row["body_m"] == pytest.approx(margins[name] + 1.0, abs=1e-3)
        assert (row["body_side"], row["body_rule"]) == ("right", "electrical distance")
        assert row["body_required_m"] == 1.0 and row["body_margin_m"] == pytest.approx(margins[name], abs=1e-3)
    assert margins["light"] < 0 < margins["today"]
    assert [at_t2(layers, name)["at_structure"] for name in ("today", "light")] == ["passed", "failed"]
    (key, (words,)), = tally.too_near.items()
    assert key == ("light", "windy") and "T2 a swings" in words and "1.00 required" in words and "body right" in words
    still = at_t2(layers, "light", "still")
    assert still["body_m"] == pytest.approx(2.4, abs=1e-6) and still["at_structure"] == "passed"


@pytest.mark.parametrize(("side", "wanted"), [
    ("left", lambda s, c: 3.0 - LENGTH * s), ("below", lambda s, c: 3.0 - LENGTH),
    ("above", lambda s, c: 3.0 + LENGTH * c)])
def test_each_side(tmp_path, side, wanted):
    """Swung to a side it rises: nearest to what is below it at rest, on the way from side to side, and to a crossarm
    above it in the full wind."""
    layers, _ = found(tmp_path, framed(**{f"window_{side}": 3.0}), options=(TODAY,))
    row = at_t2(layers, "today")
    phi = np.radians(row["swing_right_deg"])
    assert row["body_side"] == side and row["body_m"] == pytest.approx(wanted(np.sin(phi), np.cos(phi)), abs=1e-3)


def test_the_nearest_of_several_and_a_bundle(tmp_path):
    twin = replace(TODAY, name="twin", existing=False,
                   wiring=replace(TODAY.wiring, bundle=2, spacing=0.4, arrangement="horizontal"))
    layers, _ = found(tmp_path, framed(window_right=2.4, window_left=5.0, window_below=9.0), options=(TODAY, twin))
    one, two = (at_t2(layers, name) for name in ("today", "twin"))
    assert one["body_side"] == two["body_side"] == "right"
    out = LENGTH * np.sin(np.radians(two["swing_right_deg"]))
    assert two["body_m"] == pytest.approx(2.4 - out - 0.2, abs=1e-3)


def test_an_allowed_swing(tmp_path):
    limit = 40.0
    layers, tally = found(tmp_path, framed(swing_limit=limit))
    for name in ("today", "light"):
        row = at_t2(layers, name)
        assert row["swing_limit_deg"] == limit
        assert row["at_structure"] == ("failed" if row["swing_right_deg"] > limit else "passed")
    assert at_t2(layers, "today")["swing_right_deg"] < limit < at_t2(layers, "light")["swing_right_deg"]
    assert set(tally.too_near) == {("light", "windy")} and "40 allowed" in tally.too_near["light", "windy"][0]
    assert not [text for text in tally.warnings if "swing farther" in text]


def test_an_angle_leans_to_its_inside(tmp_path):
    """With the turn's pull the string is to the right in whatever wind: less to the left by as much."""
    layers, _ = found(tmp_path, framed(window_left=2.4, window_right=2.4), turn=4.0, options=(TODAY,))
    row = at_t2(layers, "today")
    assert row["swing_right_deg"] > row["swing_left_deg"] + 10 and row["body_side"] == "right"


def test_the_electrical_distance_in_thin_air(tmp_path):
    """3 km up an air gap is exp(2/8.15) times as long (IEC 60071-2, recalled), by the elevation of the foot."""
    layers, _ = found(tmp_path, framed(window_right=3.0), base=(3000.0, 3002.0, 3000.0))
    row = at_t2(layers, "today")
    assert row["body_rule"] == "electrical distance"
    assert row["body_required_m"] == pytest.approx(np.exp(2.002 / 8.15), rel=1e-4)


def test_rules_go_before_the_electrical_distance(tmp_path):
    rules = [*TABLE, ("own_structure", "radial", 0.4), ("other", "radial", 9.0)]
    layers, _ = found(tmp_path, framed(window_right=2.4), rules=rules)
    row = at_t2(layers, "light")
    assert (row["body_rule"], row["body_required_m"], row["at_structure"]) == ("own_structure radial", 0.4, "passed")
    layers, _ = found(tmp_path, framed(window_right=2.4), rules=[*TABLE, ("other", "radial", 9.0)])
    assert at_t2(layers, "light")["body_rule"] == "electrical distance"


def test_what_is_not_known_is_no_pass(tmp_path):
    """Above all voltages of the table nobody knows what is required."""
    layers, tally = found(tmp_path, framed(window_right=2.4), voltage=900e3)
    assert at_t2(layers, "light")["at_structure"] == "not assessed"
    gaps = layers["not_assessed"]
    rows = rows_where(gaps, against="own_structure", option="light", case="windy")
    assert gaps["obstacle"][rows].tolist() == ["T2"] and tally.gaps


def test_held_wires_and_cases_of_tension_alone(tmp_path):
    loads = Case("storm", 10.0, wind=2000.0, checks=("tension",))
    layers, tally = found(tmp_path, framed(window_right=2.4), cases=(loads,))
    assert at_t2(layers, "light", "storm")["at_structure"] is None and not tally.too_near
    assert at_t2(layers, "light", "storm")["body_margin_m"] < 0
    layers, _ = found(tmp_path, framed(window_below=LENGTH + 1.5), name="vee")
    row = at_t2(layers, "light")
    assert row["body_m"] == pytest.approx(1.5, abs=1e-3) and row["at_structure"] == "passed"
    assert np.isnan(row["swing_right_deg"])
    for each in ("T1", "T3"):
        rows = rows_where(layers["structure_loads"], structure=each)
        assert set(layers["structure_loads"]["at_structure"][rows]) == {None}


def test_without_an_existing_wire_every_swing_is_told(tmp_path):
    _, tally = found(tmp_path, framed(), options=(replace(LIGHT, existing=False),))
    words, = (text for text in tally.warnings if "strings swing, and no window" in text)
    assert "not " not in words.partition("allow it:")[2]


def test_columns_of_framings(tmp_path):
    table = tmp_path / "framings.csv"
    table.write_text("framing,wire,kind,offset,height,string,string_length,window_left,swing_limit\n"
                     "P,a,phase,2,20,suspension,1.5,6 ft,45\nP,b,phase,-2,20,suspension,1.5,,\n", encoding="utf-8")
    made = read_framings(table)
    assert made.window_left[0] == pytest.approx(6 * 0.3048) and made.swing_limit[0] == 45
    assert np.isnan([made.window_left[1], made.swing_limit[1], made.window_right[0]]).all()
