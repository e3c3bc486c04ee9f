"""V-strings: two arms whose plane is across the line. Along the line the wire swings as on a suspension string as deep
as the V (common practice, no source), across the line it stays where it is while both arms pull.

Checked against a suspension string where nothing pulls aside, and against a cable of springs on two rods a support,
least energy by scipy.optimize.minimize.
"""

from dataclasses import replace

import numpy as np
import pytest

from corridor.errors import InputError
from corridor.geometry.catenary import plane_of
from corridor.inputs.framings import read_framings
from corridor.line.facts import Case
from corridor.mechanics.clipping import clip_in
from corridor.mechanics.equilibrium import solve
from corridor.mechanics.supports import FREE, Supports
from corridor.summary import Tally

from .common import findings, framings, option, rows_where, rules_of, structures
from .published.test_equilibrium_numbers import PART, SIX, STILL, Links, from_15, straight
from .relief_sections import LAW, clipped, relief_sections
from .relief_sections import STILL as STILL_RELIEF

DEPTH, MASS = 2.0, 90.0
#: Arms of 45 degrees from the vertical: hinges as far aside as the V is deep.
HALF = 45.0


def with_arms(supports, direction=(0.0, 1.0, 0.0)):
    """The same supports with V-strings in place of suspension strings, their arms across the line."""
    return supports._replace(across=np.where((supports.kind == FREE)[None, :, None], direction, 0.0))


class TwoArms(Links):
    """The cable with two rods at every inner support, their hinges to both sides of the middle one."""

    def __init__(self, supports, *arguments):
        super().__init__(supports, *arguments)
        inner, hinges = self.at[1:-1], self.fixed[1:-1]
        out, arm = DEPTH * np.tan(np.radians(HALF)), DEPTH / np.cos(np.radians(HALF))
        last = len(self.start) + np.arange(len(inner))
        self.pairs = np.r_[self.pairs, np.c_[last, inner]]
        self.rest = np.r_[self.rest[:-len(inner)], np.full(2 * len(inner), arm)]
        self.k = np.r_[self.k, self.k[-len(inner):]]
        self.start = np.r_[self.start[:self.wires], hinges + [0, out, 0], hinges - [0, out, 0]]
        self.force = np.r_[self.force, np.zeros((len(inner), 3))]

    def at_rest(self, start=None):
        arms = self.start[self.wires:].copy()
        whole = super().at_rest(start)
        assert (self.start[self.wires:] == arms).all()
        return whole


def test_without_wind_a_v_is_a_suspension_string_as_deep():
    """Six unlike spans, cold to hot: tensions and places of both are one."""
    T = np.array([-40.0, 15, 50, 100, 150])
    one, two = (from_15(each, T) for each in (straight(SIX), with_arms(straight(SIX))))
    np.testing.assert_allclose(two.horizontal_tension, one.horizontal_tension, rtol=1e-9)
    np.testing.assert_allclose(two.end, one.end, atol=1e-6)
    held = from_15(straight(SIX, string=0.0), T)
    assert np.abs(held.horizontal_tension - one.horizontal_tension)[-1].max() > 2000


def test_two_arms_as_rods():
    """80 springs a span, least energy: uneven ice leans the V along the line, wind does not move it aside. Tolerances
    as of the cable on single rods, 1 mm; its arms pull, for the wind is 14 degrees of the weight."""
    stiffness = float(PART.outer_stiffness)
    supports = with_arms(straight([180.0, 420.0, 260.0], string=DEPTH, rises=[6.0, -4.0, 9.0]))
    loads = STILL * np.array([1.0, 1.0, 2.2])[:, None] + [0, 4.0, 0]
    c = clip_in(supports, [28e3], [[STILL]], [20.0], PART)
    eq = solve(supports, c.unstressed, loads[None], [20.0], PART)
    cable = None
    for per_span in (10, 80):
        links = TwoArms(supports, c.unstressed[0], loads * (1 + 28e3 / stiffness), per_span, stiffness)
        cable = links.at_rest(cable)
    np.testing.assert_allclose(cable[[80, 160]], eq.end[0, 1:-1], atol=1e-3)
    moved = eq.end[0, 1:-1] - supports.hinge[0, 1:-1]
    assert np.abs(moved[:, 0]).max() > 0.3 and np.abs(moved[:, 1]).max() < 1e-9
    alone = solve(supports._replace(across=0.0), c.unstressed, loads[None], [20.0], PART)
    assert (alone.end - eq.end)[0, 1:-1, 1].min() > 0.3


def test_a_turn_of_the_line_is_borne_by_the_arms():
    """8 degrees: what a suspension string leans for, a V bears; the pull along the line is all that moves it."""
    turn = np.radians(8.0)
    hinge = np.array([[0, 0, 0], [300, 0, DEPTH], [300 + 200 * np.cos(turn), -200 * np.sin(turn), 0]])
    plain = Supports(hinge[None], straight([300, 200]).kind, DEPTH * np.array([0, 1.0, 0]), 700.0)
    right = np.array([-np.sin(turn / 2), -np.cos(turn / 2), 0])
    vee = with_arms(plain, right)
    clip = clip_in(vee, [25e3], [[STILL]], [15.0], PART)
    eq = solve(vee, clip.unstressed, [[STILL]], [15.0, 80.0], PART)
    np.testing.assert_allclose((eq.end - hinge) @ right * [0, 1, 0], 0.0, atol=1e-9)
    np.testing.assert_allclose(eq.end[0, 1], hinge[1] - [0, 0, DEPTH], atol=1e-3)
    forward = np.array([np.cos(turn / 2), -np.sin(turn / 2), 0])
    assert abs((eq.end[1, 1] - hinge[1]) @ forward) > 0.02
    lean = plain._replace(across=0.0)
    swung = solve(lean, clip_in(lean, [25e3], [[STILL]], [15.0], PART).unstressed, [[STILL]], [15.0], PART)
    assert (swung.end[0, 1] - hinge[1]) @ right > 1.0


def test_a_lifted_v_goes_slack_in_its_plane():
    """A support 22 m too low on a cold day: as on a suspension string, by which the same wires hang in one plane."""
    low = straight([250.0, 250.0], string=DEPTH, rises=[-22.0, 22.0])
    states = [15.0, -40.0]
    both = [solve(each, clip_in(each, [20e3], [[STILL]], [40.0], PART).unstressed, [[STILL]], states, PART,
                  tolerance=1e-4) for each in (low, with_arms(low))]
    np.testing.assert_allclose(both[1].end, both[0].end, atol=1e-5)
    assert both[1].lifted.tolist() == both[0].lifted.tolist() and both[1].lifted[1, 1]


@pytest.mark.parametrize("seed", [136, 137])
def test_a_slack_v_at_a_turn_is_clipped_in_at_its_station(seed):
    """Where strings beside it lean, one tension in all spans does not quite even out along the line at a turn. The
    slack V stays at its station. Kept at the lengths of that state it moves by next to nothing."""
    sections = relief_sections(12, seed)
    clip, supports = clipped(sections), sections.supports
    known = np.isfinite(sections.horizontal_tension)
    assert np.isfinite(clip.unstressed[known, 0]).all() and clip.left[known].max() <= 0.01
    offset = clip.end - supports.hinge
    slack = clip.lifted & supports.across.any(axis=-1)
    slack &= np.linalg.norm(offset, axis=-1) < 0.999 * supports.string_length
    assert slack.any() and np.abs(offset[slack][:, :2]).max() < 1e-9
    back = solve(supports, clip.unstressed, [[STILL_RELIEF]], np.full(len(known), 10.0), LAW, count=sections.count)
    assert back.converged[known].all() and np.linalg.norm((back.end - clip.end)[slack], axis=-1).max() < 0.02


# Whole lines.

STILL_CASES = (Case("hot", "maximum", checks=("vertical",)), Case("cold", -20.0))
WINDY = Case("windy", 10.0, wind=400.0, checks=("horizontal",))
ROWS = [("held", "strain", 0.0, 0.0), ("hung", "suspension", DEPTH, MASS), ("vee", "vee", DEPTH, MASS)]


def line_of(name, *, turn=0.0, crossarm=np.nan, spans=(200.0, 420.0, 260.0)):
    """Three unlike spans that turn at the second structure."""
    heading = np.radians([0.0, turn, turn])
    east = np.r_[0.0, np.cumsum(np.array(spans) * np.cos(heading))]
    north = np.r_[0.0, -np.cumsum(np.array(spans) * np.sin(heading))]
    return structures(east, north, base=[0.0, DEPTH, DEPTH, 0.0], framing=["held", name, name, "held"],
                      crossarm_azimuth=[np.nan, crossarm, np.nan, np.nan])


def framed(**columns):
    made = framings([(name, "a", "phase", 0.0, 22.0, string, long, mass) for name, string, long, mass in ROWS])
    return replace(made, **{name: np.where(made.framing == "held", np.nan, value) for name, value in columns.items()})


def found(folder, line, framing=None, *, cases=(*STILL_CASES, WINDY), method="equilibrium", options=None):
    rules = rules_of(folder, [("ground", "vertical", 6.0)])
    return findings(line, framing or framed(), rules, ground=lambda e, n: 0 * e, cases=cases, method=method,
                    options=options or (option(),), voltage=123e3)


def wire_ends(layers, case):
    """The ends of wires in a case, (wire, 2, 3) in the order of spans."""
    rows = rows_where(layers["wires"], case=case)
    return np.array([np.array(layers["wires"]["geometry"][row].coords)[[0, -1]] for row in rows])


@pytest.mark.parametrize("method", ["equilibrium", "ruling_span"])
def test_in_still_air_the_findings_are_those_of_suspension_strings(tmp_path, method):
    hung, vee = (found(tmp_path, line_of(name), method=method)[0] for name in ("hung", "vee"))
    for case in ("hot", "cold"):
        np.testing.assert_allclose(wire_ends(vee, case), wire_ends(hung, case), atol=1e-5)
    margins = [each["clearances"]["margin_m"][rows_where(each["clearances"], case="hot")] for each in (hung, vee)]
    np.testing.assert_allclose(*margins, atol=1e-5)


@pytest.mark.parametrize("method", ["equilibrium", "ruling_span"])
def test_in_wind_it_moves_along_the_line_alone(tmp_path, method):
    """Its plane is the crossarm's, also where that is given askew of the line."""
    layers, _, plan = found(tmp_path, line_of("vee", crossarm=172.0), method=method)
    arm = np.radians(plan.route.crossarm[1:3])
    across = np.stack([np.sin(arm), np.cos(arm), 0 * arm], axis=-1)
    assert plan.route.crossarm[1] == pytest.approx(172.0)
    rest, blown = (wire_ends(layers, case)[[0, 1], 1] for case in ("cold", "windy"))
    np.testing.assert_allclose(((blown - rest) * across).sum(axis=-1), 0.0, atol=1e-6)
    loads = layers["structure_loads"]
    assert np.isnan(loads["string_swing_deg"][rows_where(loads, case="windy", structure="T2")]).all()
    aside = (found(tmp_path, line_of("hung"), method=method)[0])
    assert np.abs((wire_ends(aside, "windy") - wire_ends(aside, "cold"))[[0, 1], 1, 1]).min() > 0.4


def test_the_wire_between_vs_hangs_in_the_plane_of_its_load(tmp_path):
    """What wind takes the middle of a span aside is the wire's own: `sag sin(phi)`, nothing of the strings."""
    layers, *_ = found(tmp_path, line_of("vee", spans=(300.0, 300.0, 300.0)))
    row, = rows_where(layers["wires"], span="T2-T3", case="windy")
    wire = {name: values[row] for name, values in layers["wires"].items()}
    curve = np.array(wire["geometry"].coords)
    H, p, w = wire["horizontal_tension_n"], 400.0 * 0.028, 1.6 * 9.80665
    plane = plane_of(curve[0], curve[-1], np.array([0, -p, -w]))
    sag = H / plane.load * (np.cosh(plane.span * plane.load / (2 * H)) - 1)
    assert np.abs(curve[:, 1]).max() == pytest.approx(sag * p / np.hypot(w, p), rel=2e-3)


# Whether both arms pull. By statics of two rods that meet: they do while the load points between them.

LEVEL = (300.0, 300.0, 300.0)


def loads_of(layers, structure, case, **wanted):
    row, = rows_where(layers["structure_loads"], structure=structure, case=case, **wanted)
    return {name: values[row] for name, values in layers["structure_loads"].items()}


def by_hand(layers, case, pressure, turn=0.0):
    """Angle of the load at a V between level spans [deg]: `tan(phi) = (p L cos(t/2) + 2 H sin(t/2))/(w L + W/2)`
    with the length L of each wire, `2 H/q sinh(q S/2H)`, half of its load on either end; t the turn of the line."""
    row = rows_where(layers["wires"], span="T2-T3", case=case)[0]
    H, w, p, half = layers["wires"]["horizontal_tension_n"][row], 1.6 * 9.80665, pressure * 0.028, np.radians(turn) / 2
    q = np.hypot(w, p)
    L = 2 * H / q * np.sinh(q * 300.0 / (2 * H))
    return np.degrees(np.arctan2(p * L * np.cos(half) + 2 * H * np.sin(half), w * L + MASS * 9.80665 / 2))


def test_the_load_between_the_arms_by_hand(tmp_path):
    """38 m/s of air of 1.225 kg/m³ on a cylinder of drag 1.0 are 884 Pa (`q = rho V²/2`, IEC 60826, recalled; without
    its factors for height, gusts and long spans)."""
    pressure = 1.225 * 38.0**2 / 2
    case = Case("storm", 10.0, wind=pressure, checks=("horizontal",))
    layers, *_ = found(tmp_path, line_of("vee", spans=LEVEL), framed(vee_angle=90.0), cases=(case, *STILL_CASES))
    phi = by_hand(layers, "storm", pressure)
    row = loads_of(layers, "T2", "storm")
    assert row["vee_load_deg"] == pytest.approx(phi, abs=0.01) and 45 < phi < 60
    for half, arms in ((phi - 0.05, "slack"), (phi + 0.05, "taut")):
        layers, *_ = found(tmp_path, line_of("vee", spans=LEVEL), framed(vee_angle=2 * half), cases=(case,))
        assert loads_of(layers, "T2", "storm")["vee_arms"] == arms
        assert bool(len(layers["not_assessed"]["reason"])) == (arms == "slack")


@pytest.mark.parametrize("method", ["equilibrium", "ruling_span"])
def test_the_pull_of_an_angle_counts(tmp_path, method):
    """4 degrees: in still air, and with the wind from outside the angle, whose pull adds to it."""
    line = line_of("vee", spans=LEVEL, turn=4.0)
    layers, *_ = found(tmp_path, line, framed(vee_angle=90.0), method=method)
    for case, pressure in (("cold", 0.0), ("windy", 400.0)):
        angle = loads_of(layers, "T2", case)["vee_load_deg"]
        assert angle == pytest.approx(by_hand(layers, case, pressure, 4.0), abs=0.15)
        assert angle > 15
    assert loads_of(layers, "T3", "cold")["vee_load_deg"] == pytest.approx(0, abs=0.3)


def test_an_arm_pulls_as_long_as_the_load_points_between_both():
    """A cable on two rods that push, too (least energy by SciPy): that to leeward pushes once the load is beyond half
    of the angle between them, and pulls before."""
    supports = with_arms(straight([300.0, 300.0], string=DEPTH))
    stiffness, c = float(PART.outer_stiffness), clip_in(supports, [28e3], [[STILL]], [20.0], PART)
    for beyond in (-1.0, 1.0):
        L = 300.6  # of the wire, within 1 part in 1,000
        p = np.tan(np.radians(HALF + beyond)) * (-STILL[2] * L + 350.0) / L
        loads = np.tile(STILL + [0, p, 0], (2, 1))
        eq = solve(supports, c.unstressed, loads[None], [20.0], PART)
        links = TwoArms(supports, c.unstressed[0], loads, 40, stiffness)
        node = links.at_rest(np.vstack([supports.hinge[0, 0], eq.end[0, 1], supports.hinge[0, 2]]))[40]
        leeward, windward = (np.linalg.norm(node - hinge) - links.rest[-1] for hinge in links.start[links.wires:])
        assert np.sign(leeward) == -np.sign(beyond) and windward > 0


def test_a_slack_arm_is_no_pass(tmp_path):
    """Each wire beside it is not assessed in that case, whatever its margin; in others it is."""
    options = (option(), option("light", existing=False, mass=1.1))
    line, narrow = line_of("vee", spans=LEVEL), framed(vee_angle=80.0)
    layers, facts, _ = found(tmp_path, line, narrow, options=options)
    arms = {name: loads_of(layers, "T2", "windy", option=name)["vee_arms"] for name in ("today", "light")}
    assert arms == {"today": "taut", "light": "slack"}
    gaps = layers["not_assessed"]
    assert gaps["option"].tolist() == ["light"] * 4 and gaps["case"].tolist() == ["windy"] * 4
    assert sorted(gaps["span"].tolist()) == ["T1-T2", "T2-T3", "T2-T3", "T3-T4"]
    assert all("arms are 40 deg from it" in reason for reason in gaps["reason"])
    assert set(layers["swing_envelopes"]["option"]) == {"today"}, "that of the other would be too small"
    tally = Tally(facts)
    for layer, columns in layers.items():
        tally.add(layer, columns)
    assert (tally.outcome("today").status, tally.outcome("light").status) == (0, 3)
    # What it clears of its structure is not known either.
    window = replace(narrow, window_below=np.where(narrow.framing == "held", np.nan, 9.0))
    layers, *_ = found(tmp_path, line, window, options=options)
    told = {(name, case): loads_of(layers, "T2", case, option=name)["at_structure"]
            for name in ("today", "light") for case in ("windy", "cold")}
    assert told == {("today", "windy"): "passed", ("today", "cold"): "passed", ("light", "cold"): "passed",
                    ("light", "windy"): "not assessed"}
    assert "own_structure" in layers["not_assessed"]["against"].tolist()


def test_a_case_at_the_maximum_temperature_with_a_slack_arm_has_no_limit(tmp_path):
    """How hot the wire may get is not known where it is not known how it hangs."""
    hot = Case("hot", "maximum", wind=900.0, checks=("horizontal",))
    for angle, known in ((150.0, True), (80.0, False)):
        layers, *_ = found(tmp_path, line_of("vee", spans=LEVEL), framed(vee_angle=angle), cases=(hot, STILL_CASES[1]))
        assert np.isfinite(layers["limits"]["limit_temperature_c"].astype(float)).all() == known


def test_there_is_no_limit_at_a_temperature_at_which_an_arm_is_slack(tmp_path):
    """The pull of an angle grows as the wire cools, by hand: both arms pull at 80 °C, one does not where the wire
    clears."""
    line, cases = line_of("vee", spans=LEVEL, turn=6.0), (STILL_CASES[0], Case("mild", 45.0))
    plain, *_ = found(tmp_path, line, framed(vee_angle=90.0), cases=cases)
    hot, mild = (by_hand(plain, case, 0.0, 6.0) for case in ("hot", "mild"))
    needed = plain["clearances"]["actual_m"][rows_where(plain["clearances"], case="mild")].min()
    rules = rules_of(tmp_path, [("ground", "vertical", needed)])
    known = {}
    # For one with a breath of wind alone a case in still air is added.
    for half, case in (((hot + mild) / 2, cases[0]), (mild + 2.0, Case("hot", "maximum", wind=0.1))):
        layers, *_ = findings(line, framed(vee_angle=2 * half), rules, ground=lambda e, n: 0 * e, cases=(case,),
                              method="equilibrium", options=(option(),), voltage=123e3)
        assert loads_of(layers, "T2", "hot")["vee_arms"] == "taut" and not len(layers["not_assessed"]["reason"])
        known[half] = dict(zip(layers["limits"]["span"], layers["limits"]["limit_temperature_c"], strict=True))
    assert mild - hot > 2 and known[mild + 2.0]["T1-T2"] == pytest.approx(45, abs=0.1)
    narrow = known[(hot + mild) / 2]
    assert np.isnan(narrow["T1-T2"]) and np.isnan(narrow["T2-T3"]) and np.isfinite(narrow["T3-T4"])


def test_without_the_angle_of_its_arms_one_row_says_so(tmp_path):
    layers, *_ = found(tmp_path, line_of("vee"), options=(option(), option("other", existing=False)))
    gaps = layers["not_assessed"]
    assert gaps["option"].tolist() == ["today", "other"] and set(gaps["case"]) == set(gaps["span"]) == {None}
    assert "section T1-T4: both arms of its V-strings are taken as taut" in gaps["reason"][0]
    assert loads_of(layers, "T2", "windy", option="other")["vee_arms"] == "not given"
    layers, *_ = found(tmp_path, line_of("vee"), cases=STILL_CASES)
    assert not len(layers["not_assessed"]["reason"])
    layers, *_ = found(tmp_path, line_of("hung"))
    assert set(layers["structure_loads"]["vee_arms"]) == {None} and not len(layers["not_assessed"]["reason"])


def test_a_lifted_v_is_told(tmp_path):
    """The second structure 25 m lower: in the cold its wire lifts the V, with both arms slack."""
    line = replace(line_of("vee", spans=LEVEL), base_elevation=np.array([25.0, 0.0, 25.0, 25.0]))
    layers, facts, _ = found(tmp_path, line, framed(vee_angle=90.0), cases=(Case("cold", -30.0),))
    row = loads_of(layers, "T2", "cold")
    assert row["lifted"] and row["uplift"] and row["vee_arms"] == "slack" and np.isnan(row["vee_load_deg"])
    tally = Tally(facts)
    for layer, columns in layers.items():
        tally.add(layer, columns)
    assert tally.lifted == {("today", "cold"): {"T2"}} and tally.outcome().status == 1


HEADING = "framing,wire,kind,offset,height,string,string_length,vee_angle\n"


def test_the_angle_of_a_table(tmp_path):
    table = tmp_path / "framings.csv"
    table.write_text(HEADING + "P,a,phase,0,20,vee,2,1.5 rad\nP,b,phase,4,20,vee,2,\n", encoding="utf-8")
    made = read_framings(table)
    assert made.vee_angle[0] == pytest.approx(np.degrees(1.5)) and np.isnan(made.vee_angle[1])
    for row, told in (("vee,2,180", "180 deg of a vee"), ("vee,2,0", "0 deg of a vee"),
                      ("suspension,2,90", "90 deg of a suspension")):
        table.write_text(HEADING + f"P,a,phase,0,20,{row}\n", encoding="utf-8")
        with pytest.raises(InputError, match=f"row 2: vee_angle: found {told}"):
            read_framings(table)
