"""V-strings: two arms whose plane is across the line. Along the line the wire swings as on a suspension string as deep
as the V (common practice, no source), across the line it stays where it is while both arms pull.

Checked against a suspension string where nothing pulls aside, and against a cable of springs on two rods a support,
least energy by scipy.optimize.minimize.
"""

from dataclasses import replace

import numpy as np
import pytest

from corridor.geometry.catenary import plane_of
from corridor.line.facts import Case
from corridor.mechanics.clipping import clip_in
from corridor.mechanics.equilibrium import solve
from corridor.mechanics.supports import FREE, Supports

from .common import findings, framings, option, rows_where, rules_of, structures
from .published.test_equilibrium_numbers import PART, SIX, STILL, Links, from_15, straight

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
