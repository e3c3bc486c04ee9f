"""Places along a line in a grid, against brute force; the bilinear surface, against scipy."""

import numpy as np
import pytest
from scipy.ndimage import map_coordinates

from corridor.geometry.surface import bilinear, crossings, snap

#: start column and row, stop column and row.
LINES = {
    "slanted": (0.3, 0.7, 7.9, 4.2),
    "backward": (7.9, 4.2, 0.3, 0.7),
    "along a row of centres": (0.5, 3.0, 6.5, 3.0),
    "from centre to centre": (1.0, 1.0, 4.0, 4.0),
    "down a column": (2.25, 0.5, 2.25, 8.5),
    "within a cell": (2.2, 2.2, 2.8, 2.6),
    "no length": (2.2, 2.2, 2.2, 2.2),
    "out of the grid": (-5.0, 4.5, 14.0, 5.5),
}


def brute_force(c0, r0, c1, r1, last):
    """Shares of the way at which a column or row is a whole number within the grid, one by one."""
    shares = {0.0, 1.0}
    for a, b in ((c0, c1), (r0, r1)):
        shares |= {(k - a) / (b - a) for k in range(last + 1) if min(a, b) < k < max(a, b)}
    return np.unique(np.round(sorted(shares), 12))


@pytest.mark.parametrize("line", LINES.values(), ids=LINES)
def test_knots_are_all_crossings_and_the_ends(line):
    start, stop = np.array(line[:2])[:, None], np.array(line[2:])[:, None]
    first, fraction = crossings(start, stop, (0, 0), (9, 9))
    knots = np.unique(np.round(fraction[::2], 12))
    np.testing.assert_allclose(knots, brute_force(*line, 9), atol=1e-11)
    assert list(first) == [0, len(fraction)]


def test_many_lines_at_once_equal_one_by_one():
    rng = np.random.default_rng(5)
    start, stop = rng.uniform(-3, 30, (2, 2, 200))
    first, fraction = crossings(start, stop, (0, 0), (25, 25))
    for k in range(200):
        alone = crossings(start[:, k : k + 1], stop[:, k : k + 1], (0, 0), (25, 25))[1]
        np.testing.assert_allclose(fraction[first[k] : first[k + 1]], alone, atol=1e-13)


def test_places_ascend_with_middles_between_knots():
    start, stop = np.random.default_rng(6).uniform(0, 30, (2, 4, 50))
    first, fraction = crossings(start, stop, [0] * 4, [30] * 4)
    for a, b in zip(first[:-1], first[1:], strict=True):
        t = fraction[a:b]
        assert len(t) % 2 == 1 and t[0] == 0 and t[-1] == 1 and (np.diff(t) >= 0).all()
        np.testing.assert_allclose(t[1::2], (t[:-1:2] + t[2::2]) / 2, atol=1e-15)


def test_line_without_position_has_ends_and_middle():
    first, fraction = crossings(
        np.array([[np.nan, 0.5], [0.0, 0.5]]), np.array([[3.0, 1.5], [0, 0.5]]), (0, 0), (9, 9)
    )
    assert fraction[:3].tolist() == [0, 0.5, 1] and first.tolist() == [0, 3, 8]


def test_no_lines():
    first, fraction = crossings(np.empty((2, 0)), np.empty((2, 0)), (0, 0), (9, 9))
    assert first.tolist() == [0] and len(fraction) == 0


def test_bilinear_is_that_of_scipy():
    z = np.random.default_rng(7).normal(size=(6, 7))
    r, c = np.random.default_rng(8).uniform(0, 5, (2, 300))
    r0, c0 = r.astype(int), c.astype(int)
    ours = bilinear(z[r0, c0], z[r0, c0 + 1], z[r0 + 1, c0], z[r0 + 1, c0 + 1], c - c0, r - r0)
    np.testing.assert_allclose(ours, map_coordinates(z, (r, c), order=1), atol=1e-13)


def test_bilinear_is_unknown_where_a_neighbour_is():
    assert np.isnan(bilinear(1.0, np.nan, 1.0, 1.0, 0.5, 0.5))


def test_snap_moves_only_what_rounding_has_moved():
    np.testing.assert_array_equal(snap(np.array([3 + 1e-8, 3 - 1e-8, 3.001])), [3, 3, 3.001])
