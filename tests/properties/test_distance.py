"""The minimum height over a surface of quadratic pieces, against dense sampling.

Brute force: the parabola of every known piece (Lagrange), and a `C cosh` whose low point is bisected, at
many places. It can only be too high, by `f''/2 (d/2)^2` for places d apart. The package replaces the
catenary on each piece by the parabola through three places; the bound on that is the textbook's for
interpolation, `max |f'''|/6 (2/3 sqrt 3) half^3`.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.geometry.distance import heights, least_heights, take_rows

from ..common import SHAPES, nodes, quadratic, rows_of, wire

SAMPLES = np.linspace(0, 1, 41)


def brute(place, surface, shape, constant):
    """Minimum height, and by how much it may be too high and the package's too low."""
    S, start, h = shape
    a, m, b = surface[:-2:2], surface[1:-1:2], surface[2::2]
    z = quadratic(a[:, None], m[:, None], b[:, None], SAMPLES)
    width = np.diff(place[::2])
    x = (place[:-2:2, None] + SAMPLES * width[:, None]) * S
    # Of a piece that is not known whole the known nodes count.
    f = np.r_[(start + wire(x, S, h, constant) - z).ravel(), start + wire(place * S, S, h, constant) - surface]
    slope = (abs(h) + S**2 / constant) / S
    bend = 4 * np.abs(a + b - 2 * m) + (width * S) ** 2 * np.hypot(1, slope) / constant
    half = width.max() * S / 2
    cubic = slope / constant**2 / 6 * 2 / (3 * np.sqrt(3)) * half**3
    known = np.isfinite(f)
    least = f[known].min() if known.any() else np.nan
    return least, np.nan_to_num(bend).max() / 8 * (SAMPLES[1]) ** 2, cubic + 1e-9 * (1 + constant * 1e-5)


def check(rows, places, surfaces, shapes, constants):
    got = least_heights(rows, constants)
    for r, (place, surface, shape) in enumerate(zip(places, surfaces, shapes, strict=True)):
        for s, C in enumerate(constants[r]):
            least, sampled, fitted = brute(place, surface, shape, C)
            if np.isnan(least):
                assert np.isnan(got.height[r, s])
                continue
            assert got.height[r, s] <= least + fitted + 1e-9
            assert got.height[r, s] >= least - sampled - fitted - 1e-9
            z = shape[1] + wire(got.fraction[r, s] * shape[0], shape[0], shape[2], C)
            assert got.elevation[r, s] == pytest.approx(z, abs=1e-9 + 1e-13 * C)


def uneven(rng, pieces):
    return np.r_[0, np.sort(rng.uniform(0, 1, pieces - 1)), 1]


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(1, 60), st.sampled_from(sorted(SHAPES)),
       st.sampled_from([0.0, 0.1, 5.0]), st.sampled_from([0.0, 0.1, 0.6]))
def test_against_brute_force(seed, pieces, name, rough, unknown):
    """One row, three states; level, rough and wild ground; known all over, mostly, or here and there."""
    rng = np.random.default_rng(seed)
    S, h, C = SHAPES[name]
    place = nodes(uneven(rng, pieces))
    surface = place * h + rng.normal(0, 1, len(place)) * rough
    gone = rng.random(len(place)) < unknown
    surface[gone] = np.nan
    rows = rows_of([place], [surface], [(S, 20.0, h)])
    check(rows, [place], [surface], [(S, 20.0, h)], np.array([[C, 1.7 * C, np.nextafter(C, 0)]]))


def many(seed=3, count=40):
    rng = np.random.default_rng(seed)
    shapes = [(S, 15.0, h) for S, h, _ in rng.choice(list(SHAPES.values()), count)]
    places = [nodes(uneven(rng, rng.integers(1, 40))) for _ in range(count)]
    surfaces = [p * s[2] + rng.normal(0, 2, len(p)) for p, s in zip(places, shapes, strict=True)]
    constants = np.array([[2.0, 4.0, 6.0]]) * np.array([s[0] for s in shapes])[:, None]
    return rows_of(places, surfaces, shapes), places, surfaces, shapes, constants


def test_many_rows_against_brute_force():
    check(*many())


def test_many_rows_equal_one_by_one(monkeypatch):
    """And cut into parts or not: the size of a chunk is of no concern."""
    rows, *_, constants = many()
    whole = least_heights(rows, constants)
    for r in range(len(constants)):
        alone = least_heights(take_rows(rows, np.array([r])), constants[[r]])
        for a, b in zip(whole, alone, strict=True):
            np.testing.assert_array_equal(a[[r]], b)
    monkeypatch.setattr("corridor.geometry.distance._CHUNK", 50)
    for a, b in zip(whole, least_heights(rows, constants), strict=True):
        np.testing.assert_array_equal(a, b)


def test_rows_in_another_order_give_the_same():
    rows, *_, constants = many()
    order = np.random.default_rng(0).permutation(len(constants))
    mixed = least_heights(take_rows(rows, order), constants[order])
    for a, b in zip(least_heights(rows, constants), mixed, strict=True):
        np.testing.assert_array_equal(a[order], b)


def test_walked_backward():
    """Mirrored span and surface: the same height, at the mirrored place."""
    rows, places, surfaces, shapes, constants = many()
    turned = rows_of([1 - p[::-1] for p in places], [s[::-1] for s in surfaces],
                     [(S, start + h, -h) for S, start, h in shapes])
    here, there = least_heights(rows, constants), least_heights(turned, constants)
    np.testing.assert_allclose(there.height, here.height, atol=1e-9)
    np.testing.assert_allclose(there.fraction, 1 - here.fraction, atol=1e-6)


def test_raised_surface_and_raised_wire():
    rows, *_, constants = many()
    up = least_heights(rows._replace(surface=rows.surface + 3.25), constants)
    wire_up = least_heights(rows._replace(start=rows.start + 3.25), constants)
    here = least_heights(rows, constants)
    np.testing.assert_allclose(up.height, here.height - 3.25, atol=1e-9)
    np.testing.assert_allclose(wire_up.height, here.height + 3.25, atol=1e-9)


def test_slacker_wire_is_nowhere_higher():
    rows, places, surfaces, shapes, constants = many()
    height = least_heights(rows, constants).height
    assert (np.diff(height, axis=1) > -1e-9).all()


@pytest.mark.parametrize("piece", [0, 11, 12, 13, 24, 29])
def test_needle_is_found_in_any_piece(piece):
    """One piece of thirty stands up; at the edge of what is worked on together as much as inside."""
    place = nodes(np.linspace(0, 1, 31))
    surface = np.zeros(len(place))
    surface[2 * piece + 1] = 8.0
    shape = (300.0, 20.0, 0.0)
    got = least_heights(rows_of([place], [surface], [shape]), np.array([[1500.0]]))
    assert got.height[0, 0] == pytest.approx(brute(place, surface, shape, 1500.0)[0], abs=1e-2)
    assert abs(got.fraction[0, 0] - (piece + 0.5) / 30) < 0.5 / 30


def test_level_ground_below_a_level_span():
    """Height at mid-span by hand: `20 - C (cosh(S/2C) - 1)`."""
    place = nodes(np.linspace(0, 1, 101))
    rows = rows_of([place], [np.zeros(len(place))], [(300.0, 20.0, 0.0)])
    got = least_heights(rows, np.array([[1500.0, 400.0]]))
    np.testing.assert_allclose(got.height[0], [20 - C * (np.cosh(150 / C) - 1) for C in (1500, 400)], atol=1e-9)
    np.testing.assert_allclose(got.fraction, 0.5, atol=1e-9)


def test_what_is_not_known_is_not_compared():
    """nan states, unknown rows, and empty tables; never a number."""
    place = nodes([0, 0.3, 1])
    known, unknown = np.zeros(5), np.full(5, np.nan)
    shapes = [(300.0, 20.0, 0.0)] * 2
    got = least_heights(rows_of([place] * 2, [unknown, known], shapes), np.array([[1500.0, np.nan]] * 2))
    for column in got:
        assert np.isnan(column[0]).all() and np.isnan(column[1, 1]) and np.isfinite(column[1, 0])
    no_end = least_heights(rows_of([place], [known], [(300.0, np.nan, 0.0)]), np.array([[1500.0]]))
    assert np.isnan(no_end.height).all()
    none = take_rows(rows_of([place], [known], shapes[:1]), np.zeros(0, int))
    assert least_heights(none, np.zeros((0, 2))).height.shape == (0, 2)


def test_pieces_without_length():
    """Both ends of a row may lie on one place, as where a line is crossed: the height there."""
    rows = rows_of([np.full(3, 0.25)], [np.full(3, 4.0)], [(300.0, 20.0, 10.0)])
    got = least_heights(rows, np.array([[1500.0]]))
    assert got.height[0, 0] == pytest.approx(20 + wire(75.0, 300.0, 10.0, 1500.0) - 4, abs=1e-9)
    assert got.fraction[0, 0] == 0.25


def test_lone_known_knot_counts():
    """And hides nothing elsewhere: of 36 pieces those beside knot 12 are unknown, the knot itself is known.

    The knot stands at 10 m, the last twelve pieces at 2 m, all else at -5 m.
    """
    place = nodes(np.linspace(0, 1, 37))
    surface = np.where(np.arange(len(place)) > 48, 2.0, -5.0)
    surface[[23, 24, 25]] = np.nan, 10.0, np.nan
    shape = (300.0, 20.0, 0.0)
    got = least_heights(rows_of([place], [surface], [shape]), np.array([[1500.0]]))
    least = 20 + wire(100.0, 300.0, 0.0, 1500.0) - 10
    assert got.height[0, 0] == pytest.approx(least, abs=1e-9) and got.fraction[0, 0] == 1 / 3
    surface[24] = np.nan
    check(rows_of([place], [surface], [shape]), [place], [surface], [shape], np.array([[1500.0]]))


@pytest.mark.parametrize("name", SHAPES)
def test_elevation_of_the_wire(name):
    S, h, C = SHAPES[name]
    t = np.linspace(0, 1, 21)
    np.testing.assert_allclose(heights(t, S, 12.0, h, C), 12 + wire(t * S, S, h, C), atol=1e-9 + 1e-13 * C)
