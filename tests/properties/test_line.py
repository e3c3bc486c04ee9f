"""A line laid out and hung with wires, by hand; and a whole line assessed twice, here and by the package.

The second assessment shares no formula with the first: supports by `H cosh`, strain by adding the forces of
both parts, tensions and temperatures by scipy's `brentq`, clearance by dense sampling.
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from corridor.line.build import attach, lay_out, part_of_line
from corridor.line.facts import Case, Limit

from ..common import (
    CONDUCTOR,
    HOT,
    findings,
    framings,
    option,
    rows_where,
    rules_of,
    structures,
    unit_factor,
    wire,
)

#: Framing, wire, kind, offset, height, string, string length, string mass.
HUNG = framings([("F", "left", "phase", -4.0, 22.0, "suspension", 1.5, 60.0),
                 ("F", "right", "phase", 4.5, 20.0, "suspension", 1.2, 60.0)])
HELD = framings([("F", "left", "phase", -4.0, 22.0, "strain", 2.0, 60.0)])


def test_stations_angles_and_crossarms_by_hand():
    """East 300 m, then a turn to the right by 90 degrees and south 400 m, then to the left, back east."""
    line = structures([0, 300, 300, 500], [0, 0, -400, -400])
    route, spans, sections = lay_out(line, np.zeros(4), unit_factor)
    np.testing.assert_allclose(route.station, [0, 300, 700, 900])
    np.testing.assert_allclose(route.line_angle, [0, 90, -90, 0], atol=1e-12)
    # Right of east is south; between right of east and right of south is south-west.
    np.testing.assert_allclose(route.crossarm, [180, 225, 225, 180], atol=1e-12)
    np.testing.assert_allclose(spans.length, [300, 400, 200])
    np.testing.assert_allclose(spans.azimuth, [90, 180, 90])
    assert list(spans.name) == ["T1-T2", "T2-T3", "T3-T4"] and len(sections) == 1


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(2, 9))
def test_crossarm_bisects(seed, count):
    """Direction to the right end of the arm is that of the two normals' sum; from complex numbers."""
    rng = np.random.default_rng(seed)
    turn = rng.uniform(-1.4, 1.4, count)
    way = np.cumsum(rng.uniform(50, 400, count) * np.exp(1j * np.cumsum(turn)))
    line = structures(way.real, way.imag)
    route, spans, _ = lay_out(line, np.zeros(count), unit_factor)
    step = np.diff(way)
    unit = step / abs(step)
    right = -1j * unit
    both = np.r_[right[0], right[1:] + right[:-1], right[-1]]
    arm = np.exp(1j * (np.pi / 2 - np.radians(route.crossarm)))
    np.testing.assert_allclose(arm, both / abs(both), atol=1e-9)
    np.testing.assert_allclose(np.radians(route.line_angle[1:-1]), -np.angle(unit[1:] / unit[:-1]), atol=1e-9)
    np.testing.assert_allclose(route.station, np.r_[0, np.cumsum(abs(step))], atol=1e-9)


def test_line_walked_backward_swaps_right_and_left():
    there = structures([0, 300, 500, 900], [0, 40, -100, 0])
    back = structures([900, 500, 300, 0], [0, -100, 40, 0])
    a, b = (lay_out(line, np.zeros(4), unit_factor)[0] for line in (there, back))
    np.testing.assert_allclose(b.line_angle[::-1], -a.line_angle, atol=1e-9)
    np.testing.assert_allclose((b.crossarm[::-1] - a.crossarm) % 360, 180, atol=1e-9)
    np.testing.assert_allclose(b.station[::-1], a.station[-1] - a.station, atol=1e-9)


@pytest.mark.parametrize("given_azimuth", [200.0, 20.0])
def test_given_crossarm_may_name_either_end(given_azimuth):
    line = structures([0, 300, 600], [0, 0, 0], crossarm_azimuth=[np.nan, given_azimuth, np.nan])
    np.testing.assert_allclose(lay_out(line, np.zeros(3), unit_factor)[0].crossarm, [180, 200, 180])


def test_sections_end_at_strain_structures_and_at_the_end_of_a_line():
    role = ["terminal", "suspension", "strain", "strain", "terminal", "terminal", "suspension", "terminal"]
    line = structures(np.arange(8) * 100, np.zeros(8), line=["A"] * 5 + ["B"] * 3, role=role)
    route, spans, sections = lay_out(line, np.zeros(8), unit_factor)
    assert list(sections.name) == ["T1-T3", "T3-T4", "T4-T5", "T6-T8"]
    assert sections.first.tolist() == [0, 2, 3, 4] and sections.last.tolist() == [1, 2, 3, 5]
    assert spans.section.tolist() == [0, 0, 1, 2, 3, 3]
    np.testing.assert_allclose(route.station, [0, 100, 200, 300, 400, 0, 100, 200])
    some, own = part_of_line(spans, sections, 2, 5)
    assert some.section.tolist() == [0, 1, 2, 2] and own.first.tolist() == [0, 1, 2]
    assert list(own.name[some.section]) == ["T3-T4", "T4-T5", "T6-T8", "T6-T8"]


def test_one_span():
    route, spans, sections = lay_out(structures([0, 120], [0, 50]), np.zeros(2), unit_factor)
    np.testing.assert_allclose(route.station, [0, 130])
    assert len(spans) == len(sections) == 1 and route.line_angle.tolist() == [0, 0]


def test_attachments_right_and_left_with_the_string_taken_off_once():
    """Going north: right is east. A suspension string hangs its length; a strain string is part of the span, and
    a link lies along the chord."""
    line = structures([10.0, 10.0], [0.0, 250.0], base=[100.0, 130.0])
    route, spans, _ = lay_out(line, line.base_elevation, unit_factor)
    wires, unmatched = attach(line, line.base_elevation, route, spans, HUNG)
    assert unmatched == [] and list(wires.wire) == ["left", "right"]
    np.testing.assert_allclose(wires.start, [(6.0, 0, 120.5), (14.5, 0, 118.8)], atol=1e-12)
    np.testing.assert_allclose(wires.end, [(6.0, 250, 150.5), (14.5, 250, 148.8)], atol=1e-12)
    np.testing.assert_allclose(wires.string_start, [1.5, 1.2])
    held, _ = attach(line, line.base_elevation, route, spans, HELD)
    np.testing.assert_allclose(held.start, [(6.0, 0, 122.0)], atol=1e-12)
    assert held.string_start[0] == held.string_end[0] == held.mass_end[0] == held.strain_end[0] == 0
    held, _ = attach(line, line.base_elevation, route, spans, replace(HELD, string=np.array(["link"], object)))
    ahead = 2 * np.array([0, 250, 30]) / np.hypot(250, 30)
    np.testing.assert_allclose(held.start, [[6.0, 0, 122.0] + ahead], atol=1e-12)
    np.testing.assert_allclose(held.end, [[6.0, 250, 152.0] - ahead], atol=1e-12)
    assert held.string_start[0] == held.string_end[0] == 0 and held.mass_end[0] == 60 and held.strain_end[0] == 2


def test_ground_factor_scales_lengths_and_arms():
    """Ground a thousandth longer than the grid: spans grow, arms on the grid shrink."""
    line = structures([0, 0], [0, 300])
    route, spans, _ = lay_out(line, np.zeros(2), lambda *ends: np.full(len(ends[0]), 1.001))
    assert spans.length[0] == pytest.approx(300.3) and route.station[1] == pytest.approx(300.3)
    wires, _ = attach(line, np.zeros(2), route, spans, HUNG)
    np.testing.assert_allclose(wires.start[:, 0] * 1.001, [-4.0, 4.5])
    np.testing.assert_allclose(wires.length, 300.3)


def test_wire_that_does_not_meet_is_told():
    line = structures([0, 0, 0], [0, 300, 600], framing=["F", "G", "F"])
    both = framings([("F", "a", "phase", 0, 20, "post", 0, 0), ("F", "b", "phase", 1, 20, "post", 0, 0),
                     ("G", "a", "phase", 0, 20, "post", 0, 0)])
    route, spans, _ = lay_out(line, np.zeros(3), unit_factor)
    wires, unmatched = attach(line, np.zeros(3), route, spans, both)
    assert list(wires.wire) == ["a", "a"] and [(s, w) for s, w, _ in unmatched] == [(0, "b"), (1, "b")]


# The second assessment.


def ground(e, n):
    """Rolling: a polynomial of second order in plan, so that every profile is a parabola."""
    return 200 + 0.03 * e - 2e-5 * (e - 500) ** 2 + 0.02 * n + 1e-4 * n * (n - 50)


LINE = structures([0, 320, 580, 940], [0, 60, -20, 90], base=np.nan)
OPTIONS = (option(limits=(Limit("18 % RTS", "share", 0.18, 10.0, None, "final"),
                          Limit("ice", "tension", 40e3, None, "ice", "initial"))),
           option("tighter", existing=False, maximum=140.0, mass=1.5, outer_expansion=17e-6,
                  limits=(Limit("1500 m", "constant", 1500.0, 5.0, None, "initial"),)))
CASES = (HOT, Case("ice", -5.0, ice=0.015, wind=300.0, checks=("tension",)),
         Case("cold", -20.0, "initial", checks=("vertical",)))
G = 9.80665


class Second:
    """One option strung and loaded, by roots alone."""

    def __init__(self, choice):
        self.c = CONDUCTOR | {k: getattr(choice.wiring.conductor, k) for k in CONDUCTOR if k != "name"}
        self.limits, self.maximum = choice.wiring.stringing, choice.wiring.maximum_temperature
        place = list(zip(LINE.easting, LINE.northing, ground(LINE.easting, LINE.northing), strict=True))
        self.at = [self.attachments(place, i) for i in range(4)]
        centre = [np.hypot(b[0] - a[0], b[1] - a[1]) for a, b in zip(place[:-1], place[1:], strict=True)]
        self.ruling = (sum(s**3 for s in centre) / sum(centre)) ** 0.5
        self.unstressed = max(self.unstressed_by(limit) for limit in self.limits)

    @staticmethod
    def attachments(place, i):
        steps = [np.array(place[k + 1][:2]) - place[k][:2] for k in (i - 1, i) if 0 <= k < 3]
        normals = [np.array([s[1], -s[0]]) / np.hypot(*s) for s in steps]
        arm = sum(normals) / np.linalg.norm(sum(normals))
        return [np.r_[place[i][:2] + out * arm, place[i][2] + z] for out, z in ((-4.0, 20.5), (4.5, 18.8))]

    def load(self, case):
        D, t = self.c["diameter"], case.ice if case else 0.0
        density = case.ice_density if case else 0.0
        return self.c["mass"] * G + np.pi * density * G * t * (D + t), (case.wind if case else 0.0) * (D + 2 * t)

    def strain(self, F, T, initial):
        c = self.c
        Ko, Kc = c["outer_area"] * c["outer_modulus"], c["core_area"] * c["core_modulus"]
        set_ = 0.0 if initial else c["permanent_set"]

        def over(e):
            outer = max(Ko * (e - c["outer_expansion"] * (T - 20) - set_), 0.0)
            return outer + Kc * (e - c["core_expansion"] * (T - 20)) - F

        return brentq(over, -0.02, 0.05, xtol=1e-15)

    def length(self, H, q):
        u = self.ruling * q / (2 * H)
        return self.ruling * np.sinh(u) / u, H / 2 * (np.cosh(u) + u / np.sinh(u))

    def support(self, H, w, p):
        """Maximum tension at any support."""
        q = np.hypot(w, p)
        C, greatest = H / q, 0.0
        for a, b in ((self.at[i][k], self.at[i + 1][k]) for i in range(3) for k in range(2)):
            h = (b - a)[2] * w / q
            S = np.sqrt(np.sum((b - a) ** 2) - h**2)
            x0 = brentq(lambda x, S=S, h=h: C * (np.cosh((S - x) / C) - np.cosh(x / C)) - h, -3000, 3000, xtol=1e-11)
            greatest = max(greatest, H * np.cosh(x0 / C), H * np.cosh((S - x0) / C))
        return greatest

    def unstressed_by(self, limit):
        case = next((c for c in CASES if c.name == limit.case), None)
        (w, p), T = self.load(case), case.temperature if case else limit.temperature
        value = limit.value * (self.c["rts"] if limit.kind == "share" else 1.0)
        if limit.kind == "constant":
            H = value * np.hypot(w, p)
        else:
            H = brentq(lambda H: self.support(H, w, p) - value, value / 2, value)
        length, F = self.length(H, np.hypot(w, p))
        return length / (1 + self.strain(F, T, limit.condition == "initial"))

    def tension(self, T, w, p, initial):
        def miss(log_H):
            length, F = self.length(np.exp(log_H), np.hypot(w, p))
            return length - self.unstressed * (1 + self.strain(F, T, initial))

        return np.exp(brentq(miss, np.log(1e3), np.log(2e5), xtol=1e-13))

    def clearance(self, C):
        """Minimum height over ground of every span, places 5 cm apart: sampled, at most 1e-6 m too high."""
        t, least = np.linspace(0, 1, 8001), []
        for i in range(3):
            heights = []
            for k in range(2):
                a, b = self.at[i][k], self.at[i + 1][k]
                S = np.hypot(*(b - a)[:2])
                e, n = a[0] + t * (b - a)[0], a[1] + t * (b - a)[1]
                heights.append((a[2] + wire(t * S, S, (b - a)[2], C) - ground(e, n)).min())
            least.append(min(heights))
        return np.array(least)


@pytest.fixture(scope="module")
def both(tmp_path_factory):
    rules = rules_of(tmp_path_factory.mktemp("rules"), [("ground", "vertical", 6.5)])
    return findings(LINE, HUNG, rules, ground=ground, options=OPTIONS, cases=CASES)[0], [Second(o) for o in OPTIONS]


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_tensions_agree(both, case):
    layers, second = both
    for choice, mine in zip(OPTIONS, second, strict=True):
        w, p = mine.load(case)
        T = mine.maximum if case.temperature == "maximum" else case.temperature
        H = mine.tension(T, w, p, case.condition == "initial")
        row, = rows_where(layers["sections"], option=choice.name, case=case.name)
        got = {name: layers["sections"][name][row] for name in layers["sections"]}
        assert got["ruling_span_m"] == pytest.approx(mine.ruling, rel=1e-12)
        assert got["horizontal_tension_n"] == pytest.approx(H, rel=1e-6)
        # Strings of 1.5 m that swing lift the wire's ends: by less than their length, times the load.
        lifted = 1.5 * np.hypot(w, p) if p else 0.0
        assert got["maximum_tension_n"] == pytest.approx(mine.support(H, w, p), rel=1e-6, abs=lifted)


@pytest.mark.parametrize("case", [HOT, CASES[2]], ids=lambda case: case.name)
def test_clearances_agree(both, case):
    """Within 0.1 mm: 1e-6 of tension is 1e-5 m of sag, the sampling 1e-6 m."""
    layers, second = both
    columns = layers["clearances"]
    for choice, mine in zip(OPTIONS, second, strict=True):
        w, p = mine.load(case)
        T = mine.maximum if case.temperature == "maximum" else case.temperature
        least = mine.clearance(mine.tension(T, w, p, case.condition == "initial") / w)
        for i, span in enumerate(("T1-T2", "T2-T3", "T3-T4")):
            row, = rows_where(columns, option=choice.name, case=case.name, span=span, measure="vertical")
            assert columns["actual_m"][row] == pytest.approx(least[i], abs=1e-4)
            assert columns["margin_m"][row] == pytest.approx(least[i] - 6.5, abs=1e-4)
            point = columns["geometry"][row]
            assert columns["other_elevation_m"][row] == pytest.approx(ground(point.x, point.y), abs=1e-3)
            assert columns["wire_elevation_m"][row] == pytest.approx(point.z, abs=1e-9)


def test_clearing_temperatures_agree(both):
    """Temperature at which the second assessment's margin is nought, within 0.01 K (0.1 mm of sag)."""
    layers, second = both
    columns, compared = layers["limits"], 0
    for choice, mine in zip(OPTIONS, second, strict=True):
        w = mine.load(None)[0]
        for i, span in enumerate(("T1-T2", "T2-T3", "T3-T4")):
            def margin(T, i=i, mine=mine, w=w):
                return mine.clearance(mine.tension(T, w, 0.0, False) / w)[i] - 6.5

            row, = rows_where(columns, option=choice.name, span=span)
            told = columns["clearing_temperature_c"][row]
            hottest = choice.wiring.maximum_temperature
            if columns["governs"][row] == "maximum temperature":
                assert margin(hottest) >= 0 and columns["limit_temperature_c"][row] == hottest and np.isnan(told)
                continue
            if columns["governs"][row] == "no temperature clears":
                # Colder than -60 °C is not asked for.
                assert margin(-60.0) <= 0 and np.isnan(told)
                continue
            assert margin(told) == pytest.approx(0, abs=2e-4)
            assert margin(told - 5) > 0 > margin(told + 5)
            assert columns["limit_temperature_c"][row] == told < hottest
            compared += 1
    assert compared >= 2


@pytest.mark.parametrize("rise", [0.0, 40.0, -90.0])
def test_inclined_span_keeps_the_wire_it_was_clipped_in_with(tmp_path, rise):
    """By the exact method: one span between posts, strung as a level one, clipped in at the everyday 15 °C.

    Lengths and mean tensions of the inclined wire by quadrature of `sqrt(1 + y'^2)`.
    """
    S, x = 300.0, np.linspace(0, 300, 20_001)
    posts = framings([("F", "a", "phase", 0.0, 20.0, "post", 0, 0)])
    choice = option(limits=(Limit("1400 m", "constant", 1400.0, 10.0, None, "final"),))
    line = structures([0, S], [0, 0], base=[0.0, rise])
    layers = findings(line, posts, rules_of(tmp_path, [("ground", "vertical", 6.0)]), options=(choice,),
                      ground=lambda e, n: rise * np.asarray(e) / S, method="equilibrium")[0]
    mine = Second.__new__(Second)
    mine.c, mine.ruling = CONDUCTOR, S
    w = CONDUCTOR["mass"] * G

    def inclined(H):
        stretch = np.hypot(1, np.gradient(wire(x, S, rise, H / w), x, edge_order=2))
        length = np.trapezoid(stretch, x)
        return length, H * np.trapezoid(stretch**2, x) / length

    length, F = mine.length(1400 * w, w)
    mine.unstressed = length / (1 + mine.strain(F, 10.0, False))
    length, F = inclined(mine.tension(15.0, w, 0.0, False))
    own = length / (1 + mine.strain(F, 15.0, False))

    def miss(H):
        length, F = inclined(H)
        return length - own * (1 + mine.strain(F, 80.0, False))

    C = brentq(miss, 5e3, 4e4, xtol=1e-6) / w
    row, = rows_where(layers["clearances"], case="hot")
    # Strain of 1e-9 is a thousandth of a millimetre of sag; the quadrature is good to some 1e-9 too.
    assert layers["clearances"]["catenary_constant_m"][row] == pytest.approx(C, rel=1e-5)
    least = (20 + wire(x, S, rise, C) - rise * x / S).min()
    assert layers["clearances"]["actual_m"][row] == pytest.approx(least, abs=2e-4)
