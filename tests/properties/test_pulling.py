"""A wire that is pulled over travellers: tension from sheave to sheave, and the balance of every string."""

import numpy as np
import pytest
from scipy.optimize import brentq

from corridor.mechanics.elongation import TwoPart
from corridor.mechanics.pulling import friction, pull, pull_up_to
from corridor.mechanics.supports import FREE, HELD, Supports, end_forces

PART = TwoPart(*(np.float64(v) for v in (22.165e6, 12.465e6, 23e-6, 11.5e-6, 3e-4, 0.0, 4e3)))
WEIGHT, E = 9.8, 0.98
LOAD = np.array([0.0, 0.0, -WEIGHT])


def line(spans, heights, turns=0.0, string=1.4):
    """Machines at both ends, travellers on strings between; spans [m], heights of the wire [m], turns [deg]."""
    heading = np.radians(np.r_[0.0, np.cumsum(np.broadcast_to(turns, len(spans) - 1))])
    steps = np.stack([spans * np.sin(heading), spans * np.cos(heading)], axis=-1)
    hinge = np.zeros((1, len(spans) + 1, 3))
    hinge[0, 1:, :2], hinge[0, :, 2] = np.cumsum(steps, axis=0), heights
    inner = np.r_[False, np.ones(len(spans) - 1, bool), False]
    hinge[0, inner, 2] += string
    return Supports(hinge, np.where(inner, FREE, HELD), np.where(inner, string, 0.0), 400.0)


SPANS = np.array([60.0, 320.0, 410.0, 280.0, 350.0, 60.0])
HILLS = line(SPANS, [0, 20, 28, 45, 30, 22, 0], [0, 6.0, -4.0, 9.0, 0])


def sheaves(supports, forward=True):
    n = supports.hinge.shape[1]
    gain = friction(np.ones((1, n)), E)
    return gain if forward else 1 / gain


def test_level_line_multiplies_by_each_sheave():
    """IEEE Std 524: `T_n = T_0/e^n`; on level ground climbs come to nothing from support to support."""
    level = line(np.full(11, 300.0), np.full(12, 20.0), string=0.0)
    found = pull(level, [8e3], sheaves(level), [LOAD], [15.0], PART)
    # Each span has its start and its end at one height, so at one tension.
    np.testing.assert_allclose(found.tension[0, :, 0], 8e3 * friction(np.arange(11), E), rtol=1e-9)
    np.testing.assert_allclose(found.tension[0, :, 1], found.tension[0, :, 0], rtol=1e-9)
    assert found.tension[0, 10, 0] / 8e3 == pytest.approx(1.224, abs=5e-4)


@pytest.mark.parametrize("forward", [True, False])
def test_tension_and_balance_on_hills(forward):
    """`T + q.x` along each span, the ratio over each sheave, and every string in line with what pulls at it."""
    found = pull(HILLS, [9e3 if forward else 12e3], sheaves(HILLS, forward), [LOAD], [15.0], PART)
    T, x = found.tension[0], found.end[0]
    np.testing.assert_allclose(T[:, 1] - T[:, 0], WEIGHT * np.diff(x[:, 2]), rtol=1e-7, atol=1e-5)
    ratio = T[1:, 0] / T[:-1, 1]
    np.testing.assert_allclose(ratio, 1 / E if forward else E, rtol=1e-9)
    on_start, on_end = end_forces(x[:-1], x[1:], LOAD, found.horizontal_tension[0])
    np.testing.assert_allclose(np.linalg.norm(on_start, axis=-1), T[:, 0], rtol=1e-9)
    force = on_start[1:] + on_end[:-1] - [0, 0, 200.0]
    np.testing.assert_allclose(found.force[0, 1:-1], force, atol=1e-5)
    string = (found.end - HILLS.hinge)[0, 1:-1]
    assert np.linalg.norm(np.cross(string, force), axis=-1).max() < 1e-2
    # Friction pulls travellers along with the wire.
    assert (np.sign(string[:, :2] @ [0, 1]) == (1 if forward else -1)).sum() >= 3


def test_one_span_by_root_finding():
    """The horizontal tension of a span from the tension at its start, by scipy.optimize.brentq on the catenary."""
    found = pull(HILLS, [9e3], sheaves(HILLS), [LOAD], [15.0], PART)
    for i in range(len(SPANS)):
        d = np.diff(found.end[0, i:i + 2], axis=0)[0]
        S, h = np.hypot(d[0], d[1]), d[2]

        def start_tension(H, S=S, h=h):
            C = H / WEIGHT
            a = np.arcsinh(h / (2 * C * np.sinh(S / 2 / C))) - S / 2 / C
            return H * np.cosh(a)

        H = brentq(lambda H: start_tension(H) - found.tension[0, i, 0], 2e3, 2e4)  # noqa: B023
        assert found.horizontal_tension[0, i] == pytest.approx(H, rel=1e-9)


def test_as_hard_as_a_bound_lets_it():
    found = pull_up_to(HILLS, [11e3], sheaves(HILLS), [LOAD], [15.0], PART)
    assert found.greatest[0] == pytest.approx(11e3, rel=1e-8)
    back = pull(HILLS, found.tension[:, 0, 0], sheaves(HILLS), [LOAD], [15.0], PART)
    np.testing.assert_allclose(back.tension, found.tension, rtol=1e-8)
    # Too little for the wire to hang at all: no number.
    assert np.isnan(pull_up_to(HILLS, [900.0], sheaves(HILLS), [LOAD], [15.0], PART).greatest).all()


def test_a_support_in_a_dip_is_held_down():
    """The wire lifts the traveller of a low support: it is told, and it hangs there as held down."""
    dip = line(np.array([60.0, 150.0, 150.0, 60.0]), [20, 40, 10, 40, 20])
    found = pull(dip, [12e3], sheaves(dip), [LOAD], [15.0], PART)
    assert found.held_down.tolist() == [[False, False, True, False, False]]
    np.testing.assert_allclose(found.end[0, 2], dip.hinge[0, 2] - [0, 0, 1.4], atol=1e-9)
    assert found.force[0, 2, 2] > 0
    np.testing.assert_allclose(found.tension[0, 2, 0] / found.tension[0, 1, 1], 1 / E, rtol=1e-9)


def test_sections_of_other_lengths_stand_beside_each_other():
    short = line(np.array([60.0, 320.0, 60.0]), [0, 20, 24, 0])
    n = HILLS.hinge.shape[1]
    hinge = np.full((2, n, 3), np.nan)
    hinge[0], hinge[1, :4] = HILLS.hinge[0], short.hinge[0]
    kind, length = np.zeros((2, n), int), np.zeros((2, n))
    kind[0], kind[1, :4] = HILLS.kind, short.kind
    length[0], length[1, :4] = HILLS.string_length, short.string_length
    both = pull(Supports(hinge, kind, length, 400.0), [9e3, 7e3], np.repeat(sheaves(HILLS), 2, axis=0),
                np.array([LOAD, LOAD]), [15.0, 15.0], PART, count=[6, 3])
    one = pull(short, [7e3], sheaves(short), [LOAD], [15.0], PART)
    np.testing.assert_allclose(both.tension[1, :3], one.tension[0], rtol=1e-9)
    assert np.isnan(both.tension[1, 3:]).all() and both.greatest[1] == pytest.approx(one.greatest[0], rel=1e-9)
