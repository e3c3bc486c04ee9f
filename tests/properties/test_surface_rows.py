"""Ragged surface profiles: a place on them, and parts of them, against the parabola of each piece.

Three values fix a parabola (Lagrange); that a cut keeps it exactly needs no outside number.
"""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.geometry.surface_rows import parts_of_rows, surface_at

from ..common import nodes, quadratic


def profiles(seed, count=6, unknown=0.0):
    rng = np.random.default_rng(seed)
    places, surfaces = [], []
    for _ in range(count):
        pieces = rng.integers(1, 25)
        place = nodes(np.r_[0, np.sort(rng.uniform(0, 1, pieces - 1)), 1])
        surface = rng.normal(100, 10, len(place))
        surface[1::2][rng.random(pieces) < unknown] = np.nan
        places.append(place)
        surfaces.append(surface)
    first = np.r_[0, np.cumsum([len(p) for p in places])]
    return first, np.concatenate(places), np.concatenate(surfaces)


def at(first, fraction, surface, row, place):
    """One place of one row, piece by piece; a knot is known of itself, whatever is beside it."""
    t, z = (v[first[row]:first[row + 1]] for v in (fraction, surface))
    knots = t[::2]
    piece = min(int((knots <= place).sum()) - 1, len(knots) - 2)
    if place in knots:
        return z[2 * knots.tolist().index(place)]
    s = (place - knots[piece]) / (knots[piece + 1] - knots[piece])
    return quadratic(*z[2 * piece:2 * piece + 3], s)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1), st.sampled_from([0.0, 0.3]))
def test_surface_at_any_place(seed, unknown):
    rows = profiles(seed, unknown=unknown)
    rng = np.random.default_rng(seed + 1)
    row = rng.integers(0, 6, 50)
    place = np.r_[rng.uniform(0, 1, 46), 0, 0, 1, 1]
    want = [at(*rows, r, p) for r, p in zip(row, place, strict=True)]
    np.testing.assert_allclose(surface_at(*rows, row, place), want, rtol=1e-9, atol=1e-7)


def test_nodes_give_themselves():
    first, fraction, surface = profiles(5)
    row = np.repeat(np.arange(6), np.diff(first))
    np.testing.assert_allclose(surface_at(first, fraction, surface, row, fraction), surface, rtol=1e-9)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_parts_lie_on_the_whole(seed):
    """Within a part every place has the surface of the whole, and both ends are those asked for."""
    rows = profiles(seed)
    rng = np.random.default_rng(seed + 1)
    row = rng.integers(0, 6, 12)
    low, high = np.sort(rng.uniform(0, 1, (2, 12)), axis=0)
    part = parts_of_rows(*rows, row, low, high)
    np.testing.assert_array_equal(part[1][part[0][:-1]], low)
    np.testing.assert_array_equal(part[1][part[0][1:] - 1], high)
    which = rng.integers(0, 12, 200)
    place = low[which] + rng.uniform(0, 1, 200) * (high - low)[which]
    # Narrow pieces divide the rounding of places, 1e-16 of two times the row, by their width.
    np.testing.assert_allclose(surface_at(*part, which, place), surface_at(*rows, row[which], place),
                               rtol=1e-6, atol=1e-5)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_parts_are_knots_and_middles_in_turn(seed):
    """With every knot of the whole that lies inside, and no other."""
    first, fraction, surface = profiles(seed)
    rng = np.random.default_rng(seed + 1)
    row = rng.integers(0, 6, 12)
    low, high = np.sort(rng.uniform(0, 1, (2, 12)), axis=0)
    offsets, place, _ = parts_of_rows(first, fraction, surface, row, low, high)
    for r, a, b, begin, stop in zip(row, low, high, offsets[:-1], offsets[1:], strict=True):
        part, knots = place[begin:stop], fraction[first[r]:first[r + 1]:2]
        np.testing.assert_array_equal(part[::2], np.r_[a, knots[(knots > a) & (knots < b)], b])
        np.testing.assert_allclose(part[1::2], (part[:-2:2] + part[2::2]) / 2, rtol=1e-15)


def test_whole_row_cut_from_end_to_end_is_itself():
    first, fraction, surface = profiles(7)
    got = parts_of_rows(first, fraction, surface, np.arange(6), np.zeros(6), np.ones(6))
    np.testing.assert_array_equal(got[0], first)
    np.testing.assert_allclose(got[1], fraction, atol=1e-15)
    np.testing.assert_allclose(got[2], surface, rtol=1e-9)


def test_part_of_no_length_is_the_surface_there():
    """Also on a knot and at both ends of the row."""
    rows = profiles(8)
    row, place = np.array([0, 1, 2, 3]), np.array([0.37, 0.0, 1.0, 0.5])
    place[3] = rows[1][rows[0][3] + 2]
    first, fraction, surface = parts_of_rows(*rows, row, place, place)
    np.testing.assert_array_equal(first, [0, 3, 6, 9, 12])
    np.testing.assert_array_equal(fraction, np.repeat(place, 3))
    want = [at(*rows, r, p) for r, p in zip(row, place, strict=True)]
    np.testing.assert_allclose(surface, np.repeat(want, 3), rtol=1e-9)


def test_many_parts_equal_one_by_one():
    rows = profiles(9, unknown=0.2)
    rng = np.random.default_rng(10)
    row = rng.integers(0, 6, 30)
    low, high = np.sort(rng.uniform(0, 1, (2, 30)), axis=0)
    first, fraction, surface = parts_of_rows(*rows, row, low, high)
    for k in range(30):
        alone = parts_of_rows(*rows, row[[k]], low[[k]], high[[k]])
        np.testing.assert_array_equal(fraction[first[k]:first[k + 1]], alone[1])
        np.testing.assert_array_equal(surface[first[k]:first[k + 1]], alone[2])


def test_unknown_pieces_stay_unknown():
    """A part that touches an unknown piece is unknown there, one beside it is not."""
    place = nodes([0, 0.25, 0.5, 0.75, 1])
    surface = np.ones(9)
    surface[3] = np.nan
    rows = np.array([0, 9]), place, surface
    inside = parts_of_rows(*rows, np.array([0]), np.array([0.3]), np.array([0.4]))[2]
    beside = parts_of_rows(*rows, np.array([0]), np.array([0.6]), np.array([0.9]))[2]
    across = parts_of_rows(*rows, np.array([0]), np.array([0.1]), np.array([0.9]))[2]
    assert np.isnan(inside).all() and np.isfinite(beside).all()
    assert np.isfinite(across[1]) and np.isnan(across[3]) and np.isfinite(across[5:]).all()


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_ends_of_what_is_known_are_known_either_way(seed):
    """A row cut from end to end keeps each knot, and so does the same row turned round."""
    first, place, surface = profiles(seed, 1, unknown=0.5)
    turned = first, 1 - place[::-1], surface[::-1]
    for rows in ((first, place, surface), turned):
        cut = parts_of_rows(*rows, np.array([0]), np.array([0.0]), np.array([1.0]))[2]
        np.testing.assert_allclose(cut[::2], rows[2][::2], rtol=1e-9)


def test_nothing_cut_from_nothing():
    first, fraction, surface = parts_of_rows(*profiles(11), np.zeros(0, int), np.zeros(0), np.zeros(0))
    assert first.tolist() == [0] and fraction.shape == surface.shape == (0,)
