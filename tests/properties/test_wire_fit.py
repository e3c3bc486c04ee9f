"""Wires fitted to points: the closed form comes back, a general solver agrees, and errors are as large as told.

The wire is the closed form of `corridor.geometry.catenary` (tests/published/test_catenary.py); the general solver is
scipy's nonlinear least squares on all six numbers at once, in another form of the curve.
"""

import numpy as np
import pytest
from scipy.optimize import least_squares

from corridor.geometry.catenary import greatest_sag, plane_of, points
from corridor.geometry.wire_fit import fit_wires

TEN = np.radians(10.0)


def cloud(rng, count, span, rise, constant, swing, *, noise=0.05, wrong=0.0, apart=None):
    """Points of a wire from (0, 0, 20) to (span, 1, 20 + rise)."""
    start, end = np.array([0.0, 0.0, 20.0]), np.array([span, 1.0, 20.0 + rise])
    load = np.array([0.0, np.tan(swing), -1.0])
    place = points(start, plane_of(start, end, load), constant, rng.uniform(0.02, 0.98, count))
    if apart is not None:
        place[:, 1:] += apart[rng.integers(0, len(apart), count)]
    place += rng.normal(0, noise, place.shape)
    off = rng.random(count) < wrong
    place[off, 1:] += rng.uniform(-3, 3, (off.sum(), 2))
    return place


def fit(clouds, span, rise, constant, swing, *, off=0.0, apart=None, **keys):
    """Fits of wires, begun some way off."""
    first = np.cumsum([0, *map(len, clouds)])
    one = np.ones(len(clouds))
    return fit_wires(first, np.concatenate(clouds), span * one, np.column_stack([0 * one + off, 20.0 * one - off]),
                     np.column_stack([one - off, 20.0 + rise * one + off]), constant * 1.04 * one,
                     swing * one + np.radians(2), apart=None if apart is None else (apart,) * len(clouds), **keys)


@pytest.mark.parametrize("swing", [0.0, TEN, -TEN])
@pytest.mark.parametrize(("span", "rise", "constant"), [(300, 0, 1500), (300, 30, 1500), (400, -60, 1200),
                                                      (150, 5, 900)])
def test_points_without_error_give_the_wire_back(span, rise, constant, swing):
    rng = np.random.default_rng(1)
    place = cloud(rng, 200, span, rise, constant, swing, noise=0.0)
    found = fit([place], span, rise, constant, swing)
    assert found.constant == pytest.approx(constant, rel=1e-6)
    assert found.swing == pytest.approx(swing, abs=1e-5)
    np.testing.assert_allclose(found.start, [[0, 20]], atol=1e-4)
    np.testing.assert_allclose(found.end, [[1, 20 + rise]], atol=1e-4)
    # Ends that are thought elsewhere weigh as one point each, a tenth as sure as the others.
    assert fit([place], span, rise, constant, swing, off=0.3).constant == pytest.approx(constant, rel=1e-4)


def general(place, span, rise, constant):
    """Constant and its standard deviation by scipy: low point, lowest elevation, constant, tilt, and a line in plan."""
    def away(x):
        low, bottom, C, tilt, side, turn = x
        n = place[:, 1] * np.cos(tilt) + place[:, 2] * np.sin(tilt)
        v = place[:, 2] * np.cos(tilt) - place[:, 1] * np.sin(tilt)
        u = place[:, 0] * np.hypot(1, turn) + 0 * n
        return np.r_[v - bottom - 100 * C * (np.cosh((u - low) / (100 * C)) - 1), n - side - turn * place[:, 0]] / 0.05

    low = span / 2 - constant * np.arcsinh(rise / (2 * constant * np.sinh(span / 2 / constant)))
    begin = [low, 20 - greatest_sag(span, rise, constant), constant / 100, 0.0, 0.0, 0.0]
    found = least_squares(away, begin, x_scale="jac", xtol=1e-12, ftol=1e-12)
    return 100 * found.x[2], 100 * np.sqrt(np.linalg.inv(found.jac.T @ found.jac)[2, 2])


@pytest.mark.parametrize(("span", "rise", "constant"), [(300, 0, 1500), (250, 20, 1100), (420, -25, 2000)])
def test_a_general_solver_finds_the_same_wire_as_surely(span, rise, constant):
    """All points count for the general solver, nearly all here: both differ by a small part of their error."""
    place = cloud(np.random.default_rng(2), 800, span, rise, constant, 0.0)
    found = fit([place], span, rise, constant, 0.0)
    C, sd = general(place, span, rise, constant)
    assert found.constant[0] == pytest.approx(C, abs=0.5 * sd)
    assert found.constant_sd[0] == pytest.approx(sd, rel=0.15)


@pytest.mark.parametrize("swing", [0.0, TEN])
@pytest.mark.parametrize("wrong", [0.0, 0.3])
def test_errors_are_as_large_as_told(swing, wrong):
    """Of 400 draws 95.4 % are within two standard deviations if these are right; 93 to 98 % leave room for chance."""
    rng = np.random.default_rng(3)
    found = fit([cloud(rng, 600, 300, 10, 1500, swing, wrong=wrong) for _ in range(400)], 300, 10, 1500, swing, off=0.3)
    off = (found.constant - 1500) / found.constant_sd
    assert 0.93 <= np.mean(np.abs(off) < 2) <= 0.985
    assert abs(np.mean(off)) < 0.2
    np.testing.assert_allclose(found.rms, 0.05, atol=0.01)


@pytest.mark.parametrize("apart", [[[0.2, 0], [-0.2, 0]], [[0, 0.2], [0, -0.2]],
                                   [[0.2, 0.2], [0.2, -0.2], [-0.2, -0.2], [-0.2, 0.2]]])
def test_the_middle_of_a_bundle_is_found(apart):
    apart = np.array(apart)
    rng = np.random.default_rng(4)
    clouds = [cloud(rng, 800, 300, 0, 1500, TEN, wrong=0.3, apart=apart) for _ in range(60)]
    found = fit(clouds, 300, 0, 1500, TEN, off=0.1, apart=apart)
    np.testing.assert_allclose(found.constant, 1500, atol=15)
    np.testing.assert_allclose(found.start[:, 1], 20, atol=0.04)
    assert np.mean(np.abs(found.constant - 1500) < 2 * found.constant_sd) > 0.85


def test_a_few_shots_are_as_sure_as_the_ends():
    """Three shots and ends that may be off by half a metre: the error told is that of both, from many draws."""
    rng = np.random.default_rng(5)
    draws = 400
    clouds = [cloud(rng, 3, 300, 0, 1500, 0.0) for _ in range(draws)]
    start = np.column_stack([rng.normal(0, 0.5, draws), 20 + rng.normal(0, 0.5, draws)])
    end = np.column_stack([1 + rng.normal(0, 0.5, draws), 20 + rng.normal(0, 0.5, draws)])
    one = np.ones(draws)
    found = fit_wires(np.arange(draws + 1) * 3, np.concatenate(clouds), 300 * one, start, end, 1500 * one, 0 * one)
    off = (found.constant - 1500) / found.constant_sd
    assert 0.9 <= np.mean(np.abs(off) < 2) <= 1.0


def test_wires_are_fitted_apart():
    """A wire beside others is fitted as it is alone, to the last digits."""
    rng = np.random.default_rng(6)
    clouds = [cloud(rng, count, 300, 0, 1500, 0.0, wrong=0.2) for count in (500, 40, 2000)]
    whole = fit(clouds, 300, 0, 1500, 0.0)
    for i, each in enumerate(clouds):
        alone = fit([each], 300, 0, 1500, 0.0)
        assert whole.constant[i] == pytest.approx(alone.constant[0], rel=1e-9)


def test_no_points_make_no_wire():
    found = fit([np.empty((0, 3))], 300, 0, 1500, 0.0)
    assert np.isnan(found.constant).all() and np.isnan(found.sag).all() and found.points.tolist() == [0]
