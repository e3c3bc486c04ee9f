"""Volumes of ground to remove, against solids whose volume is known."""

import numpy as np
import pytest

from corridor.clearance.grading import grading


def test_a_spherical_cap():
    """A mound `c - r^2/(2R)` above what is allowed, a paraboloid: volume `pi R c^2`, area `2 pi R c` (its integral).

    In cells of 0.1 m their middles miss the rim by half a cell at most: 1 % of an area of 10 m radius.
    """
    R, c, cell = 50.0, 1.0, 0.1
    axis = np.arange(-15, 15, cell) + cell / 2
    e, n = np.meshgrid(axis, axis)
    margin = (e**2 + n**2) / (2 * R) - c
    found = grading(margin.ravel(), cell**2)
    assert found.volume == pytest.approx(np.pi * R * c**2, rel=1e-3)
    assert found.area == pytest.approx(2 * np.pi * R * c, rel=1e-2)


def test_what_is_not_known_counts_nothing_and_alone_is_not_known():
    found = grading([[0.3, np.nan, -0.5], [np.nan, np.nan, np.nan], [0.1, 0.2, 0.0]], [1.0, 2.0, 3.0])
    np.testing.assert_array_equal(found.area, [3.0, np.nan, 0.0])
    np.testing.assert_array_equal(found.volume, [1.5, np.nan, 0.0])


def test_a_wedge_is_half_of_its_box():
    """Half of length times width times height: a wedge 40 m long and 6 m wide that rises to 2 m."""
    slope = np.broadcast_to((np.arange(400) + 0.5) / 400 * 2, (60, 400))
    found = grading(-slope.ravel(), 0.1 * 0.1)
    assert found == pytest.approx((240.0, 240.0))
