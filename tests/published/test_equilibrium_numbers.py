"""Numbers that an exact equilibrium must give: limits known in closed form, handbook formulas, a cable of links.

Sources
-------
- Ruling span: L. L. Grigsby (ed.), *Electric Power Generation, Transmission, and Distribution*, CRC Press, 2nd ed.
  2007, chapter 14 (read).
- Where the ruling span holds: IEEE task force, "Limitations of the ruling span method for overhead line conductors
  at high operating temperatures", IEEE Trans. Power Delivery 14(2), 1999 (recalled, not read for this).
- Swing of a string: USDA Rural Utilities Service, Bulletin 1724E-200, chapter 7 (the formula is recalled; its two
  numbers were worked out from it apart from this package, the bulletin does not print them).
- Six spans, and the wire of 300 m in wind: worked out apart from this package, to the digits shown.
"""

import numpy as np
import pytest
from scipy.optimize import brentq, minimize, root

from corridor.geometry.catenary import arc_length, greatest_sag, mean_tension_ratio, plane_of
from corridor.mechanics.clipping import clip_in
from corridor.mechanics.elongation import TwoPart, strain
from corridor.mechanics.equilibrium import solve
from corridor.mechanics.ruling_span import ruling_span, tension, unstressed_excess
from corridor.mechanics.supports import FREE, HELD, Supports, end_forces

#: 468.6 mm² of 69.6 GPa, 18.9e-6 1/K, 1.628 kg/m.
PART = TwoPart(*(np.float64(v) for v in (69.6e9 * 468.6e-6, 0, 18.9e-6, 0, 0, 0, 0)))
WEIGHT = 1.628 * 9.80665
STILL = np.array([0, 0, -WEIGHT])
SIX = np.array([150.0, 400, 250, 350, 180, 420])
FOOT, POUND = 0.3048, 4.4482216


def straight(spans, *, string=2.0, weight=700.0, rises=0.0):
    """A section along the easting; wires level with the dead ends, plus rises."""
    rise = np.r_[0.0, np.cumsum(np.broadcast_to(rises, len(spans)))]
    hinge = np.stack([np.r_[0.0, np.cumsum(spans)], 0 * rise, rise], axis=-1)
    kind = np.full(len(hinge), FREE)
    kind[[0, -1]] = HELD
    hinge[1:-1, 2] += string
    return Supports(hinge[None], kind, string, weight)


def sags(eq, load):
    plane = plane_of(eq.end[:, :-1], eq.end[:, 1:], load)
    return greatest_sag(plane.span, plane.rise, eq.horizontal_tension / plane.load)


def from_15(supports, temperatures, tension=28e3, load=STILL, part=PART):
    c = clip_in(supports, [tension], [[STILL]], [15.0], part)
    eq = solve(supports, c.unstressed, [[load]], temperatures, part, tolerance=1e-4)
    assert eq.converged.all()
    return eq


def ruling(spans, temperatures, tension_at_15=28e3):
    S = ruling_span(spans)
    excess = unstressed_excess(S, tension_at_15, WEIGHT, 15.0, PART)
    return tension(excess, S, WEIGHT, temperatures, PART).horizontal_tension


HOT = np.array([-40.0, 15, 50, 70, 100, 150, 200])


@pytest.mark.parametrize("count", [1, 2, 7, 60])
def test_equal_level_spans_are_their_ruling_span(count):
    """At every temperature, to rounding: nothing then moves along the line."""
    eq = from_15(straight([300.0] * count), HOT)
    one = ruling([300.0] * count, HOT)[:, None]
    np.testing.assert_allclose(eq.horizontal_tension, np.repeat(one, count, axis=1), rtol=1e-9)


def span_at(H, T, unstressed):
    """Distance that a level wire spans at a tension (brentq)."""
    def lacking(S):
        stretched = 1 + strain(H * mean_tension_ratio(S, 0, H / WEIGHT), T, PART)
        return arc_length(S, 0, H / WEIGHT) - unstressed * stretched
    return brentq(lacking, 0.9 * unstressed, 1.1 * unstressed, xtol=1e-10)


def test_long_strings_make_tensions_equal():
    """Strings of 100 km: one tension, at which the distances of all spans fit in the section (brentq).

    It is near the ruling span's, which leaves the spans as long as they are: 3 parts in 1000 from -40 to 200 °C.
    """
    supports = straight(SIX, string=1e5, weight=0.0)
    L0 = clip_in(supports, [28e3], [[STILL]], [15.0], PART).unstressed[0]
    eq = from_15(supports, HOT)
    assert np.ptp(eq.horizontal_tension, axis=1).max() < 0.5
    exact = [brentq(lambda H, T=T: sum(span_at(H, T, length) for length in L0) - SIX.sum(), 5e3, 9e4, xtol=1e-6)
             for T in HOT]
    np.testing.assert_allclose(eq.horizontal_tension.mean(axis=1), exact, rtol=1e-5)
    np.testing.assert_allclose(eq.horizontal_tension.mean(axis=1), ruling(SIX, HOT), rtol=3e-3)


def test_short_strings_make_spans_stand_alone():
    """Strings of a tenth of a millimetre, or none: each span has the tension that it has between two dead ends."""
    alone = np.stack([ruling([S], HOT) for S in SIX], axis=-1)
    np.testing.assert_allclose(from_15(straight(SIX, string=1e-4), HOT).horizontal_tension, alone, rtol=2e-3)
    np.testing.assert_allclose(from_15(straight(SIX, string=0.0), HOT).horizontal_tension, alone, rtol=1e-9)


def test_one_inclined_span_in_wind():
    """Length and mean tension by their formulas in the plane of the load, tension by brentq."""
    load, ends = np.array([0, 9.0, -WEIGHT]), np.array([[0, 0, 0], [380.0, 0, 70]])
    plane = plane_of(*ends, load)

    def unstressed(H, plane, T):
        L, ratio = (f(plane.span, plane.rise, H / plane.load) for f in (arc_length, mean_tension_ratio))
        return L / (1 + strain(H * ratio, T, PART))

    L0 = unstressed(28e3, plane_of(*ends, STILL), 15.0)
    eq = solve(Supports(ends[None], HELD, 0.0), [[L0]], [[load]], [-5.0], PART)
    H = brentq(lambda H: unstressed(H, plane, -5.0) - L0, 5e3, 9e4, xtol=1e-9)
    assert eq.horizontal_tension[0, 0] == pytest.approx(H, rel=1e-9)


def test_six_unequal_spans():
    """Exact less ruling-span sag at 100 °C, printed to 0.01 m; strings 2.0 m of 700 N, plumb at 15 °C and 28 kN."""
    eq = from_15(straight(SIX), [100.0])
    excess = sags(eq, STILL)[0] - greatest_sag(SIX, 0, ruling(SIX, 100.0) / WEIGHT)
    np.testing.assert_allclose(excess, [0.07, 0.13, 0.12, 0.11, 0.02, -0.36], atol=0.0051)


def test_where_the_ruling_span_holds():
    """IEEE task force (recalled): good to 50 to 70 °C, poor above 100 °C in unequal spans; unsafe in short ones.

    "Good" is read as 3 in a hundred of the sag, the statement names no number.
    """
    T = np.array([50.0, 100.0, 150.0])
    plain = greatest_sag(SIX, 0, ruling(SIX, T)[:, None] / WEIGHT)
    excess = sags(from_15(straight(SIX), T), STILL) - plain
    assert np.all(np.abs(excess[0]) < 0.03 * plain[0])
    assert np.all(np.abs(excess[2]).max() > 0.5)
    assert np.all(np.abs(np.diff(excess, axis=0)) > 0)
    assert np.all(excess[:, :5] > 0)


def test_wire_and_strings_in_wind():
    """300 m, 25.25 kN at 15 °C, 290 Pa on 28.14 mm: plane 27.07 deg, sag 7.293, 3.320 across and 6.494 m down; string
    of 2 m and 700 N 25.47 deg; the middle of the span 4.18 m aside and 0.82 m up.

    The elongation behind the printed numbers is not told: two usual ones differ by 9 mm of sag, hence 0.01 m.
    The string's angle is the formula's, of infinitely many spans: here the middle of eleven.
    """
    p = 290 * 0.02814
    supports, load = straight([300.0] * 11), np.array([0, p, -WEIGHT])
    eq = from_15(supports, [15.0], 25250.0, load)
    sag = sags(eq, load)[0, 5]
    aside, up = (eq.end[0, 5] - supports.hinge[0, 5])[1:]
    tilt = np.arctan2(p, WEIGHT)
    assert np.degrees(tilt) == pytest.approx(27.07, abs=0.005)
    assert [sag, sag * np.sin(tilt), sag * np.cos(tilt)] == pytest.approx([7.293, 3.320, 6.494], abs=0.01)
    assert np.degrees(np.arctan2(aside, -up)) == pytest.approx(25.47, abs=0.005)
    at_rest = greatest_sag(300.0, 0, 25250.0 / WEIGHT)
    assert aside + sag * np.sin(tilt) == pytest.approx(4.18, abs=0.01)
    assert up + 2.0 + at_rest - sag * np.cos(tilt) == pytest.approx(0.82, abs=0.01)


@pytest.mark.parametrize(("angle", "printed"), [(0.0, 28.766), (5.0, 52.217)])
def test_swing_of_a_string(angle, printed):
    """`tan phi = (2T sin(angle/2) + HS p)/(VS w + W/2)`: HS 700, VS 600 ft, p 0.554, w 1.094 lb/ft, W 100, T 6000 lb.

    The height of the middle support and the tension are sought for which VS and T come out so. T is the tension in
    plan. The formula takes the angle of the structures: strings of 1.5 m, swung unequally, make that angle less
    and take 1 deg from the swing, so they are 2 cm here. It puts wind on the span; here it is on the wire,
    half a part in 1000 longer, and across each span rather than across the line at the angle: 0.05 deg.
    """
    S, w, p = 700 * FOOT, 1.094 * POUND / FOOT, 0.554 * POUND / FOOT
    part = TwoPart(*(np.float64(v) for v in (34.6e6, 0, 18.9e-6, 0, 0, 0, 0)))
    heading = np.radians([0, 0, angle, angle])
    plan = np.stack([np.cos(heading), -np.sin(heading), 0 * heading], axis=-1)
    load = np.stack([np.sin(-heading), -np.cos(heading), 0 * heading], axis=-1) * p - [0, 0, w]

    def solved(unknown):
        hinge = np.concatenate([np.zeros((1, 3)), np.cumsum(S * plan, axis=0)])
        hinge[1:4, 2] += 0.02
        hinge[2, 2] -= unknown[0]
        supports = Supports(hinge[None], np.array([HELD, FREE, FREE, FREE, HELD]), 0.02, 100 * POUND)
        c = clip_in(supports, [unknown[1] * 1e3], load[None], [15.0], part)
        return supports, solve(supports, c.unstressed, load[None], [15.0], part, tolerance=1e-6)

    def wrong(unknown):
        supports, eq = solved(unknown)
        plane = plane_of(eq.end[:, 1:3], eq.end[:, 2:4], load[1:3])
        in_plan = eq.horizontal_tension[0, 1:3] * np.hypot(*plane.along[0, :, :2].T)
        on_start, on_end = end_forces(eq.end[0, :-1], eq.end[0, 1:], load, eq.horizontal_tension[0])
        down = -(on_end[1] + on_start[2])[2]
        return [down / w / FOOT - 600, in_plan.mean() / POUND - 6000]

    supports, eq = solved(root(wrong, [2.0, 26.0], tol=1e-8).x)
    assert np.abs(wrong(root(wrong, [2.0, 26.0], tol=1e-8).x)).max() < 0.01
    offset = eq.end[0, 2] - supports.hinge[0, 2]
    assert np.degrees(np.arctan2(np.hypot(*offset[:2]), -offset[2])) == pytest.approx(printed, abs=0.05)


class Links:
    """A cable of springs with lumped weights between hinges: another way to say all that hangs in a section."""

    def __init__(self, supports, unstressed, loads, per_span, stiffness):
        n = len(unstressed)
        self.fixed = supports.hinge[0]
        self.wires = n * per_span + 1
        first, last = np.arange(self.wires - 1), np.arange(1, self.wires)
        self.at = np.arange(n + 1) * per_span
        inner = self.at[1:-1]
        hinge = self.wires + np.arange(len(inner))
        self.pairs = np.r_[np.c_[first, last], np.c_[hinge, inner]]
        rest = np.repeat(unstressed / per_span, per_span)
        self.rest = np.r_[rest, np.full(len(inner), supports.string_length)]
        self.k = np.r_[stiffness / rest, np.full(len(inner), 1e9)]
        share = np.repeat(loads, per_span, axis=0) * rest[:, None] / 2
        self.force = np.zeros((self.wires + len(inner), 3))
        np.add.at(self.force, first, share)
        np.add.at(self.force, last, share)
        self.force[inner, 2] -= supports.string_weight / 2
        self.free = np.setdiff1d(np.arange(self.wires), [0, self.wires - 1])
        x = np.arange(self.wires) / per_span
        start = np.stack([np.interp(x, np.arange(n + 1), c) for c in self.fixed.T], axis=-1)
        self.start = np.r_[start, self.fixed[1:-1]]
        self.start[:self.wires, 2] -= 8.0 * np.abs(np.sin(np.pi * x)) + supports.string_length
        self.start[[0, self.wires - 1]] = self.fixed[[0, -1]]

    def place(self, free):
        points = self.start.copy()
        points[self.free] = free.reshape(-1, 3)
        return points

    def energy(self, free):
        points = self.place(free)
        d = points[self.pairs[:, 1]] - points[self.pairs[:, 0]]
        s = np.linalg.norm(d, axis=-1)
        slope = (self.k * (s - self.rest) / s)[:, None] * d
        gradient = -self.force.copy()
        np.add.at(gradient, self.pairs[:, 1], slope)
        np.add.at(gradient, self.pairs[:, 0], -slope)
        return (self.k * (s - self.rest) ** 2).sum() / 2 - (self.force * points).sum(), gradient[self.free].ravel()

    def hessian(self, free):
        points = self.place(free)
        d = points[self.pairs[:, 1]] - points[self.pairs[:, 0]]
        s = np.linalg.norm(d, axis=-1)[:, None, None]
        k, rest = self.k[:, None, None], self.rest[:, None, None]
        block = k * (1 - rest / s) * np.eye(3) + k * rest / s**3 * d[:, :, None] * d[:, None, :]
        full = np.zeros((len(points), 3, len(points), 3))
        for (i, j), b in zip(self.pairs, block, strict=True):
            full[i, :, i] += b
            full[j, :, j] += b
            full[i, :, j] -= b
            full[j, :, i] -= b
        return full[self.free][:, :, self.free].reshape(3 * len(self.free), -1)

    def at_rest(self, start=None):
        """Places of least energy; the gradient [N] is as small as the energy's rounding lets it be."""
        if start is not None:
            at = np.arange(self.wires) * (len(start) - 1) / (self.wires - 1)
            self.start[: self.wires] = np.stack([np.interp(at, np.arange(len(start)), c) for c in start.T], axis=-1)
        found = minimize(self.energy, self.start[self.free].ravel(), jac=True, hess=self.hessian, method="trust-exact",
                         options={"gtol": 1e-3, "maxiter": 200, "max_trust_radius": 50.0})
        assert np.abs(self.energy(found.x)[1]).max() < 0.1
        return self.place(found.x)[: self.wires]


def test_three_spans_as_a_cable_of_links():
    """80 springs a span, rods for strings, least energy by scipy.optimize.minimize; unequal ice, wind, a slope.

    The cable has load per unstressed length, the section per length: the cable's is raised by the strain at 28 kN; at
    the 34 to 36 kN that come out 2 parts in 10,000 are left. Chords of links of 1/80 cut the sag by 1/6400. So 1 mm at
    strings and 2 mm of sag.
    """
    stiffness = float(PART.outer_stiffness)
    supports = straight([180.0, 420.0, 260.0], rises=[6.0, -4.0, 9.0])
    loads = STILL * np.array([1.0, 1.0, 2.2])[:, None] + [0, 4.0, 0]
    c = clip_in(supports, [28e3], [[STILL]], [20.0], PART)
    eq = solve(supports, c.unstressed, loads[None], [20.0], PART)
    coarse, cable = None, None
    for per_span in (10, 80):
        links = Links(supports, c.unstressed[0], loads * (1 + 28e3 / stiffness), per_span, stiffness)
        coarse, cable = cable, links.at_rest(cable)
    assert np.abs(coarse[[10, 20]] - cable[[80, 160]]).max() < 0.01
    swing = eq.end[0, 1:-1] - supports.hinge[0, 1:-1]
    assert np.abs(swing[:, 0]).max() > 0.3
    np.testing.assert_allclose(cable[[80, 160]], eq.end[0, 1:-1], atol=1e-3)
    plane = plane_of(eq.end[0, :-1], eq.end[0, 1:], loads)
    for i in range(3):
        points = cable[80 * i : 80 * i + 81]
        offset = points - points[0]
        unit = (points[-1] - points[0]) / np.linalg.norm(points[-1] - points[0])
        drop = -((offset - (offset @ unit)[:, None] * unit) @ plane.against[i])
        exact = greatest_sag(plane.span[i], plane.rise[i], eq.horizontal_tension[0, i] / plane.load[i])
        inclined = plane.span[i] / np.hypot(plane.span[i], plane.rise[i])
        assert drop.max() == pytest.approx(exact * inclined**2, abs=2e-3)


def test_a_lifted_string_as_a_cable_that_nothing_holds():
    """A support in a dip, on a cold day in wind: the wire comes to rest within the string's length, where a cable comes
    to rest with half of the string's weight on it and no string at all. Least energy by scipy.optimize.minimize.

    1 cm, since nothing but the wire itself holds the point in place: chords of links of 1/30 cut 1/900 of 5 m of sag.
    """
    supports = straight([250.0, 200.0], string=2.0, rises=[-23.0, 23.0])
    load, stiffness = STILL + [0, 1.0, 0], float(PART.outer_stiffness)
    L0 = clip_in(supports._replace(kind=HELD), [24e3], [[STILL]], [20.0], PART).unstressed
    eq = solve(supports, L0, [[load]], [20.0], PART, tolerance=1e-4)
    assert eq.lifted[0].tolist() == [False, True, False]
    assert np.linalg.norm(eq.end[0, 1] - supports.hinge[0, 1]) < 1.9
    loads, cable = np.tile(load, (2, 1)) * (1 + eq.horizontal_tension.mean() / stiffness), None
    for per_span in (6, 30):
        links = Links(supports, L0[0], loads, per_span, stiffness)
        links.k[-1] = 0.0
        cable = links.at_rest(cable)
    np.testing.assert_allclose(cable[30], eq.end[0, 1], atol=1e-2)
