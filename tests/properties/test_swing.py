"""Wires and strings in wind: a worked example, formulas by hand, mirrors, and what must not move.

Source: USDA Rural Utilities Service, Bulletin 1724E-200, chapters 5 to 7 (formulas recalled, high
confidence; the numbers of the examples worked out apart from this package, in feet and pounds).
"""

import numpy as np
import pytest
from scipy.optimize import brentq

from corridor.geometry.distance import heights
from corridor.line.section_wires import wire_runs
from corridor.line.swing import string_swing, to_grid

from ..common import framings, hung, structures, swing

FOOT, POUND_FORCE, POUND = 0.3048, 4.4482216152605, 0.45359237
PER_FOOT = POUND_FORCE / FOOT
#: Turns of the line [deg, right positive] and the like for lines of three or four structures.
STRAIGHT = structures([0, 300, 620], [0, 0, 0], base=[100.0, 108.0, 95.0])
TURNED = structures([0, 280, 560, 800], [0, 30, -60, -220], base=[100.0, 92.0, 101.0, 99.0])
PAIR = framings([("F", "left", "phase", -4.0, 20.0, "suspension", 2.0, 80.0),
                 ("F", "right", "phase", 4.0, 20.0, "suspension", 2.0, 80.0)])
POSTS = framings([("F", "left", "phase", -4.0, 20.0, "post", 0.0, 0.0),
                  ("F", "right", "phase", 4.0, 20.0, "post", 0.0, 0.0)])


def loads(wires, H, w, p):
    """One option, one case."""
    return (np.full((len(wires), 1, 1), v) for v in (H, w, p))


def blown(line, framing, H, w, p, **kwargs):
    route, spans, wires, frame = hung(line, framing)
    return swing(frame, wires, spans, route.line_angle, *loads(wires, H, w, p), **kwargs), route, spans, wires, frame


@pytest.mark.parametrize(("turn", "printed"), [(0.0, 28.766), (5.0, 52.217)])
def test_string_of_the_handbook(turn, printed):
    """Wind span 700 ft, vertical span 600 ft, 0.554 and 1.094 lb/ft, 6000 lb, string of 100 lb.

    The middle structure is set lower until the low points are 300 ft away. The package weighs the wire
    by its length, the handbook by the vertical span: (300/5484)^2/6 = 0.05 % more, hence 0.015 deg.
    """
    S, C = 700 * FOOT, 6000 / 1.094 * FOOT
    deep = 2 * C * np.sinh(S / (2 * C)) * np.sinh(50 * FOOT / C)
    way = np.r_[0, S, S + S * np.exp(-1j * np.radians(turn))]
    line = structures(way.real, way.imag, base=[deep, 0.0, deep])
    framing = framings([("F", "a", "phase", 0.0, 20.0, "suspension", 1.5, 100 * POUND)])
    route, spans, wires, frame = hung(line, framing)
    H, w, p = (np.full((1, 2), v) for v in (6000 * POUND_FORCE, 1.094 * PER_FOOT, 0.554 * PER_FOOT))
    start, end = string_swing(H, w, p, wires, spans, wire_runs(frame, wires, spans).row, route.line_angle)
    assert end[0, 0] == pytest.approx(printed, abs=0.015)
    assert start[0, 1] == pytest.approx(end[0, 0], abs=1e-9)


def test_width_of_the_handbook():
    """Mid-span is out by (l + S) sin phi: 29 + 2 (4.8 + 20) sin 26.8576 + 2 x 9 = 69.408 ft.

    The printed 70.408 has another foot for the structures' deflection.
    """
    phi, sag, S = np.radians(26.8576), 20 * FOOT, 600 * FOOT
    C = brentq(lambda C: C * (np.cosh(S / (2 * C)) - 1) - sag, 100, 1e5)
    w = 1.094 * PER_FOOT
    q = w / np.cos(phi)
    line = structures([0, S, 2 * S, 3 * S], np.zeros(4), base=np.zeros(4))
    framing = framings([("F", k, "phase", x * FOOT, 20.0, "suspension", 4.8 * FOOT, 0.0)
                        for k, x in (("a", -14.5), ("b", 14.5))])
    swung, _, _, wires, _ = blown(line, framing, C * q, w, w * np.tan(phi))
    middle = swung.points[wires.span == 1, 0, 0, :, 16, 1]
    # Width from the left wire blown left to the right one blown right, and 9 ft beyond each.
    width = (middle[1, 0] - middle[0, 1]) / FOOT + 2 * 9
    # Strings swing by the weight of the wire's length, 0.3 % more than that of the span: 0.01 ft.
    assert width == pytest.approx(69.408, abs=0.02)


@pytest.mark.parametrize("line", [STRAIGHT, TURNED], ids=["straight", "turned"])
def test_strings_by_hand(line):
    """`tan phi = (p S_w + 2 H sin(theta/2))/(V + W/2)` at every structure, wire by wire.

    V from the low points of both spans, which are found by bisection of `C cosh`.
    """
    H, w, p, G = 22e3, 15.5, 7.0, 9.80665
    swung, route, spans, wires, _ = blown(line, PAIR, H, w, p)
    C = H / w
    for row, (span, name) in enumerate(zip(wires.span, wires.wire, strict=True)):
        structure = spans.head[span]
        after = np.flatnonzero((wires.span == span + 1) & (wires.wire == name))
        vertical = half = 0.0
        for r, left in [(row, False), *((k, True) for k in after)]:
            S, h = wires.length[r], wires.end[r, 2] - wires.start[r, 2]
            x0 = brentq(lambda x, S=S, h=h: C * (np.cosh((S - x) / C) - np.cosh(x / C)) - h, -5000, 5000, xtol=1e-11)
            vertical += w * C * np.sinh((x0 if left else S - x0) / C)
            half += S / 2
        turn = np.radians(route.line_angle[structure])
        for side, sign in enumerate((1, -1)):
            want = np.degrees(np.arctan((sign * p * half + 2 * H * np.sin(turn / 2)) / (vertical + 80 * G / 2)))
            assert swung.string_end[row, 0, 0, side] == pytest.approx(want, abs=1e-6)


def test_wires_in_two_spans_share_their_string():
    """On a straight line both wires end on the same place, a string's length from where it hangs."""
    swung, _, spans, wires, frame = blown(STRAIGHT, PAIR, 22e3, 15.5, 9.0)
    plan = to_grid(swung.points, STRAIGHT, spans, wires.span)
    for name in ("left", "right"):
        here, there = (np.flatnonzero((wires.span == s) & (wires.wire == name))[0] for s in (0, 1))
        np.testing.assert_allclose(plan[here, 0, 0, :, -1], plan[there, 0, 0, :, 0], atol=1e-9)
        hook = wires.end[here] + [0, 0, 2.0]
        np.testing.assert_allclose(np.linalg.norm(plan[here, 0, 0, :, -1] - hook, axis=-1), 2.0, atol=1e-12)


def test_held_ends_stay():
    swung, _, spans, wires, frame = blown(TURNED, POSTS, 22e3, 15.5, 9.0)
    assert (swung.string_start == 0).all() and (swung.string_end == 0).all()
    for end, place in ((frame.start, 0), (frame.end, -1)):
        got = swung.points[:, 0, 0, :, place]
        np.testing.assert_allclose(got, np.broadcast_to(end[:, None], got.shape), atol=1e-9)


def test_without_wind_a_straight_line_hangs_plumb():
    swung, _, _, wires, frame = blown(STRAIGHT, PAIR, 22e3, 15.5, 0.0)
    got = swung.points[:, 0, 0, 0]
    rise = (frame.end - frame.start)[:, 2]
    z = heights(swung.share, wires.length[:, None], frame.start[:, 2, None], rise[:, None], 22e3 / 15.5)
    np.testing.assert_allclose(got[..., 2], z, atol=1e-9)
    np.testing.assert_allclose(got[..., 1], np.broadcast_to(frame.start[:, 1, None], got.shape[:2]), atol=1e-9)
    np.testing.assert_array_equal(swung.points[..., 0, :, :], swung.points[..., 1, :, :])
    assert (swung.plane == 0).all()


def test_in_a_turn_strings_lean_to_its_inside():
    """Without wind: to the right where the line turns right, about the bisector."""
    swung, route, spans, wires, _ = blown(TURNED, PAIR, 22e3, 15.5, 0.0)
    inner = wires.span < 2
    turn = route.line_angle[spans.head[wires.span]][inner]
    assert (np.sign(swung.string_end[inner, 0, 0, 0]) == np.sign(turn)).all() and (np.abs(turn) > 1).all()


def test_wind_from_the_other_side_mirrors_a_straight_line():
    """The left wire blown left is the mirror of the right wire blown right."""
    swung, _, _, wires, _ = blown(STRAIGHT, PAIR, 22e3, 15.5, 9.0)
    left, right = (swung.points[wires.wire == name] for name in ("left", "right"))
    np.testing.assert_allclose(left[:, :, :, 1] * [1, -1, 1], right[:, :, :, 0], atol=1e-9)
    np.testing.assert_array_equal(swung.plane[..., 0], -swung.plane[..., 1])


def test_line_walked_backward_has_its_wires_in_the_same_places():
    """Structures in the other order, framing mirrored: every blown wire is one of the same set in plan."""
    mirrored = framings([("F", "left", "phase", 4.0, 20.0, "suspension", 2.0, 80.0),
                         ("F", "right", "phase", -4.0, 20.0, "suspension", 2.0, 80.0)])
    back = structures(TURNED.easting[::-1], TURNED.northing[::-1], base=TURNED.base_elevation[::-1])
    there, here = blown(TURNED, PAIR, 22e3, 15.5, 9.0), blown(back, mirrored, 22e3, 15.5, 9.0)
    plan = [to_grid(s.points, line, spans, wires.span) for (s, _, spans, wires, _), line in
            ((there, TURNED), (here, back))]
    for name in ("left", "right"):
        for span in range(3):
            a = plan[0][(there[3].span == span) & (there[3].wire == name)][0, 0, 0, 0]
            b = plan[1][(here[3].span == 2 - span) & (here[3].wire == name)][0, 0, 0, 1]
            np.testing.assert_allclose(b[::-1], a, atol=1e-6)


def test_plane_leans_by_wind_over_weight():
    """Every point of a wire between posts lies in a plane through its ends, `atan(p/w)` from plumb."""
    swung, _, _, wires, frame = blown(STRAIGHT, POSTS, 22e3, 15.5, 9.0)
    assert swung.plane[0, 0, 0, 0] == pytest.approx(np.degrees(np.arctan(9 / 15.5)))
    chord = frame.end - frame.start
    normal = np.cross(chord, [0.0, 9.0, -15.5])
    off = np.einsum("wpk,wk->wp", swung.points[:, 0, 0, 0] - frame.start[:, None], normal)
    np.testing.assert_allclose(off / np.linalg.norm(normal, axis=1)[:, None], 0, atol=1e-9)


def test_places_between_points_do_not_change_them():
    """More places per wire add points and move none."""
    few, many = (blown(TURNED, PAIR, 22e3, 15.5, 9.0, places=n)[0].points for n in (9, 33))
    np.testing.assert_allclose(many[..., ::4, :], few, atol=1e-9)


def test_states_at_once_equal_one_by_one():
    route, spans, wires, frame = hung(TURNED, PAIR)
    H, w, p = np.array([18e3, 25e3]), np.array([15.5, 30.0, 15.5]), np.array([0.0, 6.0, 12.0])
    shape = (len(wires), 2, 3)
    whole = swing(frame, wires, spans, route.line_angle, np.broadcast_to(H[:, None], shape),
                  np.broadcast_to(w, shape), np.broadcast_to(p, shape))
    for o, k in np.ndindex(2, 3):
        alone = swing(frame, wires, spans, route.line_angle, *loads(wires, H[o], w[k], p[k]))
        np.testing.assert_allclose(whole.points[:, [o]][:, :, [k]], alone.points, atol=1e-9)


def test_unknown_tension_gives_no_place():
    route, spans, wires, frame = hung(STRAIGHT, PAIR)
    H, w, p = loads(wires, 22e3, 15.5, 9.0)
    H = H.copy()
    H[wires.span == 1] = np.nan
    got = swing(frame, wires, spans, route.line_angle, H, w, p)
    assert np.isnan(got.points[wires.span == 1]).all()


def test_span_frame_and_grid_are_inverse():
    _, spans, wires, frame = hung(TURNED, PAIR)
    np.testing.assert_allclose(to_grid(frame.start, TURNED, spans, wires.span), wires.start, atol=1e-9)
    np.testing.assert_allclose(to_grid(frame.end, TURNED, spans, wires.span), wires.end, atol=1e-9)
    # Right of the line is the right wire.
    assert (frame.start[wires.wire == "right", 1] > 0).all() and (frame.start[wires.wire == "left", 1] < 0).all()
