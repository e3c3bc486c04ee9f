"""Sections whose spans are not in one state: a wire broken in one span, ice on one span or on all but one.

Every section is found again by a general root search (scipy.optimize.root) on all equations at once, in the vertical
plane and from the catenary's own curve: the length of every span, the moment about every hinge. No line of the solver,
nor of its geometry, is in it. No handbook's worked example of a broken wire is at hand; the level section of two spans
has its two equations by hand.
"""

import numpy as np
import pytest
from scipy.optimize import brentq, root

from corridor.geometry.catenary import greatest_sag, plane_of
from corridor.mechanics.clipping import clip_in
from corridor.mechanics.elongation import TwoPart
from corridor.mechanics.equilibrium import solve
from corridor.mechanics.supports import FREE, HELD, POST, Supports
from tests.support_forces import support_forces

from ..relief_sections import LAW, clipped, loaded, relief_sections

#: 468.6 mm² of 69.6 GPa, 18.9e-6 1/K, 1.628 kg/m; a string of 700 N.
STIFF, EXPANSION, WEIGHT, STRING = 69.6e9 * 468.6e-6, 18.9e-6, 1.628 * 9.80665, 700.0
PART = TwoPart(*(np.float64(v) for v in (STIFF, 0, EXPANSION, 0, 0, 0, 0)))
REFERENCE = 20.0
#: Spans [m], rises [m] and length of strings [m].
SECTIONS = {
    "level": ([300, 300, 300, 300, 300], [0, 0, 0, 0, 0], 2.0),
    "two": ([320, 280], [6, -4], 1.5),
    "uneven": ([150, 420, 250, 350, 180], [0, 0, 0, 0, 0], 2.0),
    "hilly": ([180, 420, 260, 350, 150], [10, -35, 20, 25, -12], 2.5),
    "steep": ([200, 350, 220, 400], [60, 90, -40, -110], 1.8),
    "short": ([60, 400, 80, 300], [2, -3, 1, 4], 0.6),
    "long strings": ([400, 380, 420, 390], [5, -8, 12, 3], 6.0),
}


def section(name):
    spans, rises, string = SECTIONS[name]
    x, z = np.r_[0.0, np.cumsum(spans)], np.r_[0.0, np.cumsum(rises)]
    hinge = np.stack([x, 0 * x, z + string * (np.arange(len(x)) % len(spans) > 0)], axis=-1)
    kind = np.full(len(x), FREE)
    kind[[0, -1]] = HELD
    return Supports(hinge[None], kind, np.where(kind == FREE, string, 0.0), STRING)


class Curve:
    """A catenary of horizontal tension H between two points of the plane, by its own functions of place."""

    def __init__(self, a, b, H, q):
        (S, h), C = np.subtract(b, a), H / q
        # What rises by h within S: its low point.
        middle = C * np.arcsinh(h / (2 * C * np.sinh(S / (2 * C))))
        left, right = (middle - S / 2) / C, (middle + S / 2) / C
        self.length = C * (np.sinh(right) - np.sinh(left))
        self.mean = H * (C / 2 * (right - left) + C / 4 * (np.sinh(2 * right) - np.sinh(2 * left))) / self.length
        self.on_left, self.on_right = np.array([H, H * np.sinh(left)]), np.array([-H, -H * np.sinh(right)])
        u = np.linspace(left, right, 20001)
        self.sag = np.max(a[1] + h * (u - left) / (right - left) - a[1] - C * (np.cosh(u) - np.cosh(left)))

    def misfit(self, unstressed, temperature):
        return self.length / unstressed - 1 - self.mean / STIFF - EXPANSION * (temperature - REFERENCE)


def lengths(name, tension, temperature):
    """Unstressed lengths of wires that were clipped in with plumb strings and one horizontal tension."""
    spans, rises, _ = SECTIONS[name]
    curves = [Curve((0, 0), each, tension, WEIGHT) for each in zip(spans, rises, strict=True)]
    return [c.length / (1 + c.mean / STIFF + EXPANSION * (temperature - REFERENCE)) for c in curves]


def searched(name, unstressed, weights, temperature, broken=None):
    """Sags and tensions of spans [m, N], nan of a broken one: all equations at once."""
    spans, rises, string = SECTIONS[name]
    n = len(spans)
    kept = [i for i in range(n) if i != broken]
    hinge = np.stack([np.r_[0.0, np.cumsum(spans)], np.r_[0.0, np.cumsum(rises)]], axis=-1)
    hinge[1:-1, 1] += string

    def at(x):
        lean = np.r_[0.0, x[len(kept):], 0.0]
        held = (np.arange(n + 1) % n == 0)[:, None]
        offset = np.where(held, 0.0, string * np.stack([np.sin(lean), -np.cos(lean)], axis=-1))
        ends = hinge + offset
        return offset, {i: Curve(ends[i], ends[i + 1], np.exp(t), weights[i]) for i, t in zip(kept, x, strict=False)}

    def pulled(curves):
        force = np.zeros((n + 1, 2)) - [0.0, STRING / 2]
        for i, curve in curves.items():
            force[i] += curve.on_left
            force[i + 1] += curve.on_right
        return force

    def left(x):
        offset, curves = at(x)
        force = pulled(curves)
        moment = offset[1:-1, 0] * force[1:-1, 1] - offset[1:-1, 1] * force[1:-1, 0]
        return np.r_[[1e3 * curve.misfit(unstressed[i], temperature) for i, curve in curves.items()],
                     moment / (string * 1e4)]

    for share in (0.7, 0.4, 0.2, 0.1):
        for tilt in (0.0, 0.5, 1.0, 1.3):
            lean = np.zeros(n - 1)
            if broken is not None:
                lean[: broken], lean[broken:] = -tilt / 3, tilt / 3
                for node, sign in ((broken, -1), (broken + 1, 1)):
                    if 0 < node < n:
                        lean[node - 1] = sign * tilt
            start = np.r_[np.full(len(kept), np.log(25e3 * share)), lean]
            with np.errstate(all="ignore"):
                found = root(left, start, method="hybr", options={"xtol": 1e-12, "maxfev": 20000})
            offset, curves = at(found.x)
            # A string only pulls: one that pushes would fall over.
            if np.abs(left(found.x)).max() < 1e-8 and ((pulled(curves) * offset).sum(axis=1) >= 0).all():
                sags = np.full(n, np.nan)
                sags[kept] = [curves[i].sag for i in kept]
                return sags, np.where(np.isnan(sags), np.nan, 1.0) * np.exp(np.insert(found.x[:len(kept)], broken, 0.0)
                                                                            if broken is not None else found.x[:n])
    raise AssertionError(f"the general search found nothing for {name}, broken {broken}")


def solved(name, unstressed, weights, temperature, broken=None):
    """The same by the solver."""
    supports, n = section(name), len(weights)
    load = np.zeros((1, n, 3))
    load[0, :, 2] = -np.asarray(weights)
    found = solve(supports, [unstressed], load, [temperature], PART, broken=[np.arange(n) == broken], tolerance=1e-4)
    assert found.converged.all() and found.residual_force.max() < 1e-3 and found.residual_length.max() < 1e-9
    H, end = found.horizontal_tension[0], found.end[0]
    sags = [Curve(a, b, each, q).sag if np.isfinite(each) else np.nan
            for a, b, each, q in zip(end[:-1][:, [0, 2]], end[1:][:, [0, 2]], H, weights, strict=True)]
    return np.array(sags), H


CASES = [(name, broken) for name, (spans, *_) in SECTIONS.items() for broken in range(len(spans))]


@pytest.mark.parametrize(("name", "broken"), CASES)
def test_a_broken_wire_against_a_general_search(name, broken):
    unstressed = lengths(name, 25e3, 15.0)
    np.testing.assert_allclose(
        clip_in(section(name), [25e3], [[[0, 0, -WEIGHT]]], [15.0], PART).unstressed[0], unstressed, rtol=1e-9)
    for temperature, weight in ((15.0, WEIGHT), (80.0, WEIGHT), (-5.0, 1.8 * WEIGHT)):
        weights = np.full(len(unstressed), weight)
        mine = solved(name, unstressed, weights, temperature, broken)
        theirs = searched(name, unstressed, weights, temperature, broken)
        assert np.isnan(mine[0]).tolist() == (np.arange(len(weights)) == broken).tolist()
        np.testing.assert_allclose(mine[0], theirs[0], atol=1e-3)
        np.testing.assert_allclose(mine[1], theirs[1], rtol=1e-4)


@pytest.mark.parametrize("name", SECTIONS)
@pytest.mark.parametrize("reverse", [False, True])
def test_ice_on_one_span_and_on_all_but_one_against_a_general_search(name, reverse):
    unstressed = lengths(name, 25e3, 15.0)
    for looked in range(len(unstressed)):
        iced = (np.arange(len(unstressed)) == looked) != reverse
        weights = np.where(iced, 2.4 * WEIGHT, 1.1 * WEIGHT)
        mine, theirs = (way(name, unstressed, weights, -5.0) for way in (solved, searched))
        np.testing.assert_allclose(mine[0], theirs[0], atol=1e-3)
        np.testing.assert_allclose(mine[1], theirs[1], rtol=1e-4)
        even, _ = solved(name, unstressed, np.full(len(iced), 2.4 * WEIGHT), -5.0)
        assert reverse or mine[0][looked] > even[looked]


def test_two_level_spans_of_which_one_breaks_by_hand():
    """One wire, one string: the lean balances the tension against the weight that hangs from it, and the wire keeps its
    length. Two equations in one unknown, by the parabola: within a hundredth of the sag."""
    S, string, H0 = 300.0, 2.0, 25e3
    supports = Supports(np.array([[[0, 0, 0], [S, 0, string], [2 * S, 0, 0]]]), np.array([HELD, FREE, HELD]),
                        np.array([0, string, 0]), STRING)
    L0 = clip_in(supports, [H0], [[[0, 0, -WEIGHT]]], [15.0], PART).unstressed
    found = solve(supports, L0, [[[0, 0, -WEIGHT]]], [15.0], PART, broken=[[False, True]])
    H = found.horizontal_tension[0, 0]

    def arc(span, rise, tension):
        return span + (WEIGHT / tension) ** 2 * span**3 / 24 + rise**2 / (2 * span)

    def lacking(lean):
        span, rise = S - string * np.sin(lean), string * (1 - np.cos(lean))

        def moment(tension):
            down = WEIGHT * span / 2 + tension * rise / span + STRING / 2
            return tension - down * np.tan(lean)

        tension = brentq(moment, 100, 2 * H0)
        return arc(span, rise, tension) - arc(S, 0.0, H0) * (1 + (tension - H0) / STIFF)

    lean = brentq(lacking, 0.1, 1.5)
    offset = found.end[0, 1] - supports.hinge[0, 1]
    assert -offset[0] / string == pytest.approx(np.sin(lean), rel=5e-3)
    span = S - string * np.sin(lean)
    sag = WEIGHT * span**2 / (8 * H)
    assert 1.4 * WEIGHT * S**2 / (8 * H0) < sag
    down = WEIGHT * span / 2 + H * string * (1 - np.cos(lean)) / span + STRING / 2
    assert down * np.tan(lean) == pytest.approx(H, rel=0.01)


def test_strings_lean_away_from_a_break_and_tension_falls():
    """The more the nearer; on both sides of it."""
    supports, n = section("hilly"), 5
    L0, load = np.array([lengths("hilly", 25e3, 15.0)]), np.array([[[0, 0, -WEIGHT]] * n])
    found = solve(supports, L0, load, [15.0], PART, broken=[np.arange(n) == 2])
    H = found.horizontal_tension[0]
    assert found.end[0, 2, 0] < supports.hinge[0, 2, 0] - 1 and found.end[0, 3, 0] > supports.hinge[0, 3, 0] + 1
    assert np.isfinite(found.end[0]).all() and not found.lifted.any()
    assert H[1] < H[0] < 25e3 and H[3] < H[4] < 25e3


def test_what_holds_still_keeps_the_rest_of_a_section_as_it_was():
    """Beside a wire that is held at a structure, a break is not felt; the stiffer a post, the less it is."""
    spans = SECTIONS["uneven"]
    x = np.r_[0.0, np.cumsum(spans[0])]
    hinge = np.stack([x, 0 * x, 0 * x], axis=-1)[None]
    still, broken = [[[0, 0, -WEIGHT]]], [np.arange(5) == 2]

    def tension(kind, **other):
        kinds = np.array([HELD, FREE, kind, kind, FREE, HELD])
        held = Supports(hinge, kinds, np.where(kinds == FREE, 2.0, 0.0), STRING, **other)
        L0 = clip_in(held, [25e3], still, [15.0], PART).unstressed
        return (solve(held, L0, still, [60.0], PART, broken=each).horizontal_tension[0] for each in (False, broken))

    whole, without = tension(HELD)
    np.testing.assert_allclose(np.delete(without, 2), np.delete(whole, 2), rtol=1e-9)
    pulls = [list(tension(POST, stiffness=k))[1][1] for k in (2e4, 1e5, 1e9)]
    assert pulls[0] < pulls[1] < pulls[2] == pytest.approx(whole[1], rel=1e-3)


def test_a_broken_wire_is_the_same_alone_and_beside_others():
    """Breaks in one batch, breaks one by one, and the section turned round."""
    supports, L0 = section("steep"), np.array([lengths("steep", 25e3, 15.0)])
    load, every = np.array([[[0, 0, -WEIGHT]]]), np.eye(4, dtype=bool)
    whole = solve(supports, L0, load, np.full(4, 40.0), PART, broken=every)
    for i in range(4):
        one = solve(supports, L0, load, [40.0], PART, broken=every[[i]])
        np.testing.assert_allclose(whole.end[i], one.end[0], atol=1e-9)
    turned = solve(supports._replace(hinge=supports.hinge[:, ::-1]), L0[:, ::-1], load, np.full(4, 40.0), PART,
                   broken=every[:, ::-1])
    np.testing.assert_allclose(turned.end[:, ::-1], whole.end, atol=1e-5)


def test_a_break_farther_off_is_milder():
    """Random lines over relief, hot: of all breaks to one side the next makes a span sag most, and none makes it less.

    So it is enough to look at spans beside a break. Within 0.1 mm, for up to 0.01 N is left across strings.
    """
    sections = relief_sections(40, 9, most=12)
    L0 = clipped(sections).unstressed
    supports, load, temperature = loaded(sections, "hot")
    n = load.shape[1]
    several = (sections.count > 1) & np.isfinite(L0[:, 0])
    batch, place = np.nonzero((np.arange(n) < sections.count[:, None]) & several[:, None])
    # Each section whole, and broken in each span.
    batch, place = np.r_[np.unique(batch), batch], np.r_[np.full(len(np.unique(batch)), -1), place]
    held = supports._replace(**{name: v[batch] for name, v in supports._asdict().items() if np.ndim(v) > 1})
    found = solve(held, L0[batch], load[batch], temperature[batch], LAW, count=sections.count[batch],
                  broken=np.arange(n) == place[:, None])
    assert found.converged.mean() > 0.99
    plane = plane_of(found.end[:, :-1], found.end[:, 1:], load[batch])
    sag = {key: row for key, row in zip(zip(batch, place, strict=True), greatest_sag(
        plane.span, plane.rise, found.horizontal_tension / plane.load), strict=True)}
    tried = 0
    for (b, broken), row in sag.items():
        for step in (-1, 1) if broken >= 0 else ():
            looked = np.arange(broken + step, sections.count[b] if step > 0 else -1, step)
            for i in looked:
                beside = sag[b, i - step][i]
                tried += len(looked)
                assert np.isnan(beside + row[i]) or beside >= row[i] - 1e-4
                assert np.isnan(row[i]) or row[i] >= sag[b, -1][i] - 1e-4
    assert tried > 1000


def test_a_dead_end_whose_wire_is_broken_holds_nothing():
    """Also where it has a strain string of its own, which then hangs."""
    supports = section("uneven")
    linked = supports._replace(kind=np.full(6, FREE), string_length=np.r_[1.5, np.full(4, 2.0), 1.5])
    L0 = clip_in(linked, [25e3], [[[0, 0, -WEIGHT]]], [15.0], PART).unstressed
    found = solve(linked, L0, [[[0, 0, -WEIGHT]]], [15.0], PART, broken=[np.arange(5) == 0])
    assert found.converged.all() and np.isnan(found.end[0, 0]).all() and np.isfinite(found.end[0, 1:]).all()
    assert np.isnan(found.horizontal_tension[0, 0]) and (found.horizontal_tension[0, 1:] > 1e3).all()


def test_forces_add_up_beside_a_break():
    supports = section("level")
    L0, load = np.array([lengths("level", 25e3, 15.0)]), np.array([[[0, 0, -WEIGHT]] * 5])
    broken = np.arange(5) == 4
    found = solve(supports, L0, load, [15.0], PART, broken=[broken])
    part = Supports(*(v[:, :5] if np.ndim(v) == 3 else v[:5] if np.ndim(v) else v for v in supports))
    forces = support_forces(part, found._replace(horizontal_tension=found.horizontal_tension[:, :4],
                                                 end=found.end[:, :5]), load[:, :4])
    # Strings at both its ends are in the cut section: of the last one, beside the break, that is half here.
    assert forces.ahead[0].sum() == pytest.approx(0.0, abs=0.1)
    assert -forces.ahead[0, 4] == pytest.approx(found.horizontal_tension[0, 3], rel=1e-4)
