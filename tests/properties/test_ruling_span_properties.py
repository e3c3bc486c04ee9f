"""Change of state and elongation: inverses, slopes by differences, an independent root, one by one.

The independent equation uses the closed forms of a level catenary (length `2C sinh(S/2C)`, mean tension
`H/2 (cosh u + u/sinh u)`, u = S/2C; handbook) and scipy's `brentq` on tension; strain by bisecting
the forces of both parts, not by the package's two branches.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from corridor.mechanics.elongation import TwoPart, strain, strain_slope, temperature_at
from corridor.mechanics.ruling_span import (
    knee_temperature,
    ruling_span,
    temperature_for_tension,
    tension,
    unstressed_excess,
)

from ..common import ALL_ALUMINIUM, SECTIONS, STEEL_CORED, WEIGHT, part_forces

PARTS = {"steel cored": STEEL_CORED, "one part": ALL_ALUMINIUM,
         "compression": STEEL_CORED._replace(outer_compression=np.float64(4000.0)),
         "without set": STEEL_CORED._replace(outer_set=np.float64(0.0))}
parts = st.sampled_from(sorted(PARTS))
spans, temperatures = st.floats(20, 1200), st.floats(-40, 220)
#: Catenary constants at stringing [m].
constants = st.floats(500, 3000)


def strain_by_forces(F, T, part):
    """Strain at which core and outer part together pull F, the outer part never below its compression."""
    Ko, Kc, ao, ac, so, sc, Fc = (float(v) for v in part)

    def over(e):
        outer = Ko * (e - ao * (T - 20) - so)
        return (max(outer, -Fc) if Kc else outer) + Kc * (e - ac * (T - 20) - sc) - F

    return brentq(over, -0.05, 0.3, xtol=1e-16, rtol=1e-14)


def length_over_span(S, H, w):
    u = S * w / (2 * H)
    return np.sinh(u) / u, H / 2 * (np.cosh(u) + u / np.sinh(u))


@settings(max_examples=60, deadline=None)
@given(parts, st.floats(1e3, 1e5), temperatures)
def test_strain_is_where_the_forces_of_both_parts_add_up(name, F, T):
    part = PARTS[name]
    e = float(strain(F, T, part))
    assert e == pytest.approx(strain_by_forces(F, T, part), abs=1e-12)
    assert float(temperature_at(F, e, part)) == pytest.approx(T, abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(parts, st.floats(1e3, 1e5), temperatures)
def test_slope_of_strain_by_differences(name, F, T):
    """On a straight branch the difference is exact but for rounding; beside the knee it is between both slopes."""
    part, d = PARTS[name], 10.0
    slope = float(strain(F + d, T, part) - strain(F - d, T, part)) / (2 * d)
    ends = [float(strain_slope(F + step, T, part)) for step in (-d, d)]
    assert min(ends) * (1 - 1e-5) <= slope <= max(ends) * (1 + 1e-5)
    at = float(strain_slope(F, T, part))
    assert min(ends) <= at <= max(ends)


@settings(max_examples=60, deadline=None)
@given(parts, spans, constants, temperatures, temperatures, st.floats(1, 3.5))
def test_another_state_against_an_independent_root(name, S, C, T0, T1, heavier):
    """From H = C w at T0, bare, to T1 under another load."""
    part, q = PARTS[name], heavier * WEIGHT
    excess = unstressed_excess(S, C * WEIGHT, WEIGHT, T0, part)
    H = float(tension(excess, S, q, T1, part).horizontal_tension)
    length, F = length_over_span(S, C * WEIGHT, WEIGHT)
    unstressed = length / (1 + strain_by_forces(F, T0, part))

    def miss(log_H):
        length, F = length_over_span(S, np.exp(log_H), q)
        return length - unstressed * (1 + strain_by_forces(F, T1, part))

    want = np.exp(brentq(miss, np.log(q * S / 6), np.log(5e5 + q * S), xtol=1e-13))
    # Strain is right to 1e-9 and length over span less one is good to 1e-15: the tension of a short
    # span, whose length hardly depends on it, to 1e-9 of E A.
    assert pytest.approx(want, rel=1e-6, abs=0.05) == H


@settings(max_examples=60, deadline=None)
@given(parts, spans, constants, temperatures, temperatures)
def test_there_and_back(name, S, C, T0, T1):
    """Heated and cooled again a wire has the tension it had, and its tension tells its temperature."""
    part, w = PARTS[name], WEIGHT
    excess = unstressed_excess(S, C * w, w, T0, part)
    H = tension(excess, S, w, T1, part).horizontal_tension
    again = unstressed_excess(S, H, w, T1, part)
    assert float(again) == pytest.approx(float(excess), abs=2e-9)
    assert float(tension(again, S, w, T0, part).horizontal_tension) == pytest.approx(C * w, rel=1e-6, abs=0.1)
    # 1e-9 of strain is 1e-9 over 11.5e-6 per kelvin, 1e-4 K.
    assert float(temperature_for_tension(H, excess, S, w, part)) == pytest.approx(T1, abs=2e-4)


@settings(max_examples=40, deadline=None)
@given(st.sampled_from(["steel cored", "compression", "without set"]), spans, constants)
def test_at_the_knee_the_outer_part_is_slack(name, S, C):
    part, w = PARTS[name], WEIGHT
    excess = unstressed_excess(S, C * w, w, 15.0, part)
    T = float(knee_temperature(excess, S, w, part))
    if not np.isfinite(T):
        return
    around = np.array([T - 1, T, T + 1])
    H = tension(excess, S, w, around, part).horizontal_tension
    F = length_over_span(S, H, w)[1]
    force = part_forces(F, around, part)[0] + part.outer_compression
    assert force[0] > 0 and force[2] == pytest.approx(0, abs=1e-6)
    # 1e-9 of strain by the stiffness of the outer part.
    assert force[1] == pytest.approx(0, abs=1.0)


def test_one_part_has_no_knee():
    excess = unstressed_excess(300.0, 2e4, WEIGHT, 15.0, ALL_ALUMINIUM)
    assert np.isnan(knee_temperature(excess, 300.0, WEIGHT, ALL_ALUMINIUM))


def test_states_at_once_equal_one_by_one():
    """All spans by all temperatures by all loads; iterations go on until the last is done, so to 1e-9."""
    S = np.array([30.0, 300.0, 900.0])[:, None, None]
    T = np.linspace(-30, 200, 7)[:, None]
    q = WEIGHT * np.array([1.0, 2.5])
    excess = unstressed_excess(S, 1500 * WEIGHT, WEIGHT, 10.0, STEEL_CORED)
    H = tension(excess, S, q, T, STEEL_CORED).horizontal_tension
    assert H.shape == (3, 7, 2)
    for i, j, k in np.ndindex(H.shape):
        alone = tension(excess[i, 0, 0], S[i, 0, 0], q[k], T[j, 0], STEEL_CORED).horizontal_tension
        assert H[i, j, k] == pytest.approx(float(alone), rel=1e-7)


def test_unknown_states_stay_unknown_and_leave_the_others():
    part = TwoPart(*(np.broadcast_to(v, 3).copy() for v in STEEL_CORED))
    part.outer_stiffness[1] = np.nan
    T = np.array([20.0, 20.0, np.nan])
    H = tension(np.full(3, -3e-4), 300.0, WEIGHT, T, part).horizontal_tension
    assert np.isfinite(H[0]) and np.isnan(H[1:]).all()


@pytest.mark.parametrize("name", SECTIONS)
def test_ruling_span_of_sections(name):
    """By a plain sum; the order of spans is of no concern, nor is what fills up short sections."""
    S = np.array(SECTIONS[name][0])
    known = S[np.isfinite(S)]
    want = (sum(s**3 for s in known) / sum(known)) ** 0.5
    assert ruling_span(S) == pytest.approx(want, rel=1e-14)
    assert ruling_span(S[::-1]) == pytest.approx(want, rel=1e-14)
    assert ruling_span(np.r_[S, np.nan]) == pytest.approx(want, rel=1e-14)


def test_stiff_and_unheated_wire_keeps_its_shape():
    """Limit: without stretch C is the same whatever the temperature; H goes with the load."""
    rigid = TwoPart(*(np.float64(v) for v in (1e14, 0, 0, 0, 0, 0, 0)))
    excess = unstressed_excess(250.0, 1300 * WEIGHT, WEIGHT, 0.0, rigid)
    q = WEIGHT * np.array([1.0, 2.0, 4.0])
    np.testing.assert_allclose(tension(excess, 250.0, q, 80.0, rigid).horizontal_tension / q, 1300, rtol=1e-5)


@settings(max_examples=30, deadline=None)
@given(parts, spans, constants)
def test_tension_by_temperature_in_differences(name, S, C):
    """dH/dT by differences has the sign and size of the two-sided slope: it falls, and without jumps."""
    part, w = PARTS[name], WEIGHT
    excess = unstressed_excess(S, C * w, w, 10.0, part)
    T = np.linspace(-40, 220, 261)
    step = np.diff(tension(excess, S, w, T, part).horizontal_tension)
    assert (step < 0.02).all()
    # A kelvin changes tension by E A alpha at most, 812 N here.
    stiffest = float(part.outer_stiffness * part.outer_expansion + part.core_stiffness * part.core_expansion)
    assert (step > -1.01 * stiffest - 0.02).all()
