"""Strain strings as weighted links between structure and wire: statics by hand, a cable of links, findings.

Sources
-------
- Statics of a rod: moments about its hinge, `(V + W/2)/H = tan` of its slope; textbook, no source needed.
- The catenary of a level wire: `L = 2C sinh(S/2C)`; textbook.
- A cable of springs and two rods, of least energy by `scipy.optimize.minimize`.
"""

import numpy as np
import pytest
from scipy.optimize import root

from corridor.errors import InputError
from corridor.line.facts import Case
from corridor.mechanics.clipping import clip_in
from corridor.mechanics.equilibrium import solve
from corridor.mechanics.supports import FREE, Supports

from ..common import CONDUCTOR, findings, framings, rows_where, rules_of, structures
from ..test_structure_loads import only
from .test_equilibrium_numbers import PART, STILL, WEIGHT, Links, straight

STRING, HEAVY = 3.0, 2500.0
STIFFNESS = float(PART.outer_stiffness)
WIRE = CONDUCTOR["mass"] * 9.80665


def between(span, rise=0.0, *, string=STRING, weight=HEAVY):
    """One span between two dead ends with a strain string each."""
    return Supports(np.array([[[0.0, 0, 0], [span, 0, rise]]]), FREE, string, weight)


@pytest.mark.parametrize("temperature", [-20.0, 15.0, 120.0])
def test_a_level_span_with_a_heavy_piece_at_each_end(temperature):
    """Two unknowns by hand: the slope of the string and C. The wire keeps `L0`, the string its length."""
    supports = between(300.0)
    c = clip_in(supports, [28e3], [[STILL]], [15.0], PART)
    eq = solve(supports, c.unstressed, [[STILL]], [temperature], PART, tolerance=1e-6)
    L0 = c.unstressed[0, 0]

    def wrong(unknown):
        slope, C = unknown[0], unknown[1] * 1000
        S = 300 - 2 * STRING * np.cos(slope)
        L, H = 2 * C * np.sinh(S / (2 * C)), C * WEIGHT
        # Mean of H cosh along the arc, which is the integral of H cosh^2 over the span.
        F = H * (S / 2 + C / 2 * np.sinh(S / C)) / L
        return [L - L0 * (1 + F / STIFFNESS + 18.9e-6 * (temperature - 20)),
                (WEIGHT * L / 2 + HEAVY / 2) / H - np.tan(slope)]

    slope, C = root(wrong, [0.1, 1.5], tol=1e-13).x
    np.testing.assert_allclose(eq.horizontal_tension[0, 0], C * 1000 * WEIGHT, rtol=1e-7)
    np.testing.assert_allclose(eq.end[0, 0], [STRING * np.cos(slope), 0, -STRING * np.sin(slope)], atol=1e-6)
    # Mirrored about mid-span.
    np.testing.assert_allclose(eq.end[0, 1] * [-1, 1, 1] + [300, 0, 0], eq.end[0, 0], atol=1e-8)


def test_short_and_light_strings_are_a_wire_that_is_held():
    """A string of 1 mm without weight: the span alone."""
    held, link = straight([300.0]), between(300.0, string=1e-3, weight=0.0)
    c = clip_in(held, [28e3], [[STILL]], [15.0], PART)
    H = [solve(s, c.unstressed, [[STILL]], [80.0], PART).horizontal_tension[0, 0] for s in (held, link)]
    assert H[0] == pytest.approx(H[1], rel=1e-2)
    c = clip_in(link, [28e3], [[STILL]], [15.0], PART)
    assert solve(link, c.unstressed, [[STILL]], [80.0], PART).horizontal_tension[0, 0] == pytest.approx(H[0], rel=1e-5)


class Linked(Links):
    """The cable with both its ends on rods, which carry half their weight at the wire."""

    def __init__(self, supports, *others):
        super().__init__(supports._replace(string_length=supports.string_length[1]), *others)
        ends, hinges = np.array([0, self.wires - 1]), len(self.start) + np.arange(2)
        self.pairs = np.r_[self.pairs, np.c_[hinges, ends]]
        self.rest, self.k = np.r_[self.rest, supports.string_length[[0, -1]]], np.r_[self.k, 1e9, 1e9]
        self.force = np.r_[self.force, np.zeros((2, 3))]
        self.force[ends, 2] -= HEAVY / 2
        self.free = np.arange(self.wires)
        self.start = np.r_[self.start, self.fixed[[0, -1]]]
        self.start[ends] += np.array([[1, 0, 0], [-1, 0, 0]]) * STRING


def test_two_unlike_spans_as_a_cable_of_links_with_rods_at_its_ends():
    """Wind, a slope, ice on one span; tolerances as of the cable without rods: chords of links, load per length."""
    weights = np.array([HEAVY, 700.0, HEAVY])
    plain = straight([220.0, 380.0], rises=[15.0, -6.0])
    supports = plain._replace(kind=FREE, string_length=np.array([STRING, 2.0, STRING]), string_weight=weights)
    loads = STILL * np.array([1.0, 2.0])[:, None] + [0, 5.0, 0]
    c = clip_in(supports, [28e3], [[STILL]], [20.0], PART)
    eq = solve(supports, c.unstressed, loads[None], [20.0], PART)
    links = supports._replace(string_weight=700.0)
    cable = None
    for per_span in (10, 60):
        cable = Linked(links, c.unstressed[0], loads * (1 + 32e3 / STIFFNESS), per_span, STIFFNESS).at_rest(cable)
    assert np.abs(eq.end[0, 0, 1]) > 0.03 and eq.end[0, 2, 2] - supports.hinge[0, 2, 2] < -0.3
    np.testing.assert_allclose(cable[[0, 60, 120]], eq.end[0], atol=2e-3)


ROWS = [("held", "strain", 0.0, 0.0), ("linked", "link", STRING, 250.0), ("hung", "suspension", 1.5, 60.0)]


def loads(tmp_path, names, base=0.0, turn=0.0, role=None, method="equilibrium", rows=ROWS):
    made = framings([(name, "a", "phase", 0.0, 20.0, string, long, mass) for name, string, long, mass in rows])
    t = np.radians(turn)
    line = structures([0, 300, 300 + 300 * np.cos(t)], [0, 0, -300 * np.sin(t)], base=base, framing=names, role=role)
    cases = Case("still", 10.0), Case("hot", 100.0), Case("windy", 10.0, wind=500.0, checks=("tension",))
    return findings(line, made, rules_of(tmp_path, [("ground", "vertical", 6.0)]), ground=lambda e, n: 0 * e,
                    cases=cases, method=method)[0]


def ends_of(found, span, case="still"):
    return np.array(only(found["wires"], span=span, case=case)["geometry"].coords)[[0, -1]]


def test_a_framing_with_strain_strings(tmp_path):
    """The wire begins one string from the structure; the structure carries wire and string; rods by moments."""
    found = loads(tmp_path, ["linked", "hung", "linked"], base=(0.0, 1.5, 0.0))
    for case in ("still", "hot", "windy"):
        (start, _), (_, end) = ends_of(found, "T1-T2", case), ends_of(found, "T2-T3", case)
        for point, hinge in ((start, [0, 0, 20]), (end, [600, 0, 20])):
            assert np.linalg.norm(point - hinge) == pytest.approx(STRING, abs=1e-6)
        np.testing.assert_allclose(end * [-1, 1, 1] + [600, 0, 0], start, atol=1e-5)
    (start, _), row = ends_of(found, "T1-T2"), only(found["structure_loads"], structure="T1", case="still")
    wire = only(found["wires"], span="T1-T2", case="still")
    # Statics of the whole: what the supports carry is all that hangs.
    rows = found["structure_loads"]
    down = rows["vertical_n"][rows_where(rows, case="still")].sum()
    weight = sum(only(found["wires"], span=s, case="still")["length_m"] for s in ("T1-T2", "T2-T3")) * WIRE
    assert down == pytest.approx(weight + (2 * 250 + 60) * 9.80665, rel=1e-9)
    H = wire["horizontal_tension_n"]
    assert row["longitudinal_n"] == pytest.approx(H, rel=1e-9) and not row["uplift"]
    # Moments about the hinge: the wire and half of the string at the end of the rod.
    pull = row["vertical_n"] - 250 * 9.80665 / 2
    assert (20 - start[2]) / start[0] == pytest.approx(pull / H, rel=1e-6)


def test_it_clears_less_near_the_structure_and_the_section_keeps_its_tension(tmp_path):
    """The same limit at 10 °C: a heavy string hangs down where a held wire would start at the structure's height."""
    held, linked = (loads(tmp_path, [name, "hung", name], base=(0.0, 1.5, 0.0)) for name in ("held", "linked"))
    H = [only(f["wires"], span="T1-T2", case="still")["horizontal_tension_n"] for f in (held, linked)]
    assert H[1] == pytest.approx(H[0], rel=1e-3)
    for case in ("still", "hot"):
        curves = [np.array(only(f["wires"], span="T1-T2", case=case)["geometry"].coords) for f in (held, linked)]
        at = [np.interp(STRING, curve[:, 0], curve[:, 2]) for curve in curves]
        assert 0.1 < at[0] - at[1] < 0.4
        # Half-way to the suspension string half of what the moment of the extra weight about the structure makes; the
        # tension is within 1 in 1000, which is 1 cm of sag.
        extra = (250 * 9.80665 / STRING - WIRE) * STRING**2 / 2
        middle = [np.interp(150, curve[:, 0], curve[:, 2]) for curve in curves]
        if case == "still":
            assert middle[0] - middle[1] == pytest.approx(extra / H[1] / 2, abs=0.01)


def test_each_side_of_a_strain_structure_has_a_string(tmp_path):
    """Moment balance at an angle of 30 degrees; both strings lie along their own wires."""
    found = loads(tmp_path, ["held", "linked", "held"], turn=30.0, role=["terminal", "strain", "terminal"])
    (_, back), (ahead, _) = ends_of(found, "T1-T2"), ends_of(found, "T2-T3")
    assert back[0] < 300 - STRING * 0.9 and abs(back[1]) < 1e-6
    step = (ahead - [300, 0, 20]) @ [np.cos(np.radians(30)), -np.sin(np.radians(30)), 0]
    assert step == pytest.approx(300 - back[0], rel=1e-6)


def test_by_the_ruling_span_strings_lie_along_the_chord(tmp_path):
    found = loads(tmp_path, ["linked", "hung", "held"], base=(0.0, 1.5, 0.0), method="ruling_span")
    np.testing.assert_allclose(ends_of(found, "T1-T2")[0], [STRING, 0, 20], atol=1e-9)


def test_strings_longer_than_the_span_are_refused(tmp_path):
    with pytest.raises(InputError, match="leave room for a wire"):
        loads(tmp_path, ["linked", "held", "held"], role=["terminal", "strain", "terminal"],
              rows=[("held", "strain", 0.0, 0.0), ("linked", "link", 301.0, 50.0)])
