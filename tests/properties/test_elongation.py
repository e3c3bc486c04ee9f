"""What holds of every law of elongation, whatever the numbers: by hypothesis over all families.

The laws are those of the catalogue's families, with sets, curves, and a core of two expansions. Nothing here needs a
published number: equilibrium, monotony (a wire stretches with tension and with heat) and inverses.
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from corridor.conductor import catalogue
from corridor.line.elongation_laws import law_rows, take_law, with_sets
from corridor.mechanics.elongation import (
    TwoPart,
    strain,
    strain_near,
    strain_slope,
    temperature_at,
)

from ..common import part_forces
from ..sections_of_wire import wiring

NAMES = ("264-AL1/62-ST1A", "Drake", "23.5-AT3TW/CF-7.9", "23.5-A0TW/CF-7.9", "264-A0/62-ST6C", "23.5-AT1G/ST6C-10.1",
         "328-AL3", "183-AT3/43-INV", "264-AT3/62-MMC", "264-AT3/62-20SA", "Drake/AW", "ACAR 1024.5 30/7", "Cu 4/0 7",
         "3/8 EHS", "7 No. 8 20SA")
CONDUCTORS = [catalogue.find(name) for name in NAMES]
# Some of them once more as if nothing were known of how loads stretch them, beside those with curves.
STRAIGHT = [replace(CONDUCTORS[i], elongation="linear", curves=None, curves_band=()) for i in (0, 2, 7, 8, 9)]
LAWS = law_rows([wiring(conductor) for conductor in (*CONDUCTORS, *STRAIGHT)])[0]

wires = st.sampled_from(range(len(NAMES)))
temperatures = st.floats(-50, 300)
shares = st.floats(0.001, 1.0)
outer_sets = st.one_of(st.just(0.0), st.floats(0, 6e-3))


def law_of(i, outer_set=0.0, core_set=0.0):
    return with_sets(take_law(LAWS, i), outer_set, core_set * (CONDUCTORS[i].core_area > 0))


@given(wires, shares, temperatures, outer_sets, st.floats(0, 2e-4))
def test_forces_add_up_to_the_tension(i, share, T, outer_set, core_set):
    part, F = law_of(i, outer_set, core_set), share * CONDUCTORS[i].rts
    outer, core = part_forces(F, T, part)
    assert outer + core == pytest.approx(F, rel=1e-10, abs=1e-6)
    if part.core_stiffness > 0:
        assert outer >= -part.outer_compression - 1e-6


@given(wires, shares, shares, temperatures, outer_sets)
def test_strain_rises_with_tension(i, a, b, T, outer_set):
    part, rts = law_of(i, outer_set), CONDUCTORS[i].rts
    low, high = sorted((a, b))
    if high - low > 1e-6:
        assert strain(high * rts, T, part) > strain(low * rts, T, part)
    assert strain_slope(low * rts, T, part) > 0


@given(wires, shares, temperatures, temperatures, outer_sets)
def test_strain_rises_with_temperature(i, share, a, b, outer_set):
    part, F = law_of(i, outer_set), share * CONDUCTORS[i].rts
    low, high = sorted((a, b))
    if high - low > 1e-3:
        assert strain(F, high, part) > strain(F, low, part)


@given(wires, shares, temperatures, outer_sets)
def test_temperature_is_the_inverse(i, share, T, outer_set):
    part, F = law_of(i, outer_set), share * CONDUCTORS[i].rts
    assert temperature_at(F, strain(F, T, part), part) == pytest.approx(T, abs=1e-5)


@given(wires, shares, temperatures, outer_sets)
def test_more_set_is_never_less_strain(i, share, T, outer_set):
    F = share * CONDUCTORS[i].rts
    assert strain(F, T, law_of(i, outer_set + 1e-4)) >= strain(F, T, law_of(i, outer_set)) - 1e-15


@given(wires, shares, temperatures, outer_sets)
def test_slope_is_that_of_the_strain(i, share, T, outer_set):
    """By differences; at a kink it lies between the slopes on both sides."""
    part, F = law_of(i, outer_set), share * CONDUCTORS[i].rts
    step = 1e-4 * CONDUCTORS[i].rts
    before, at, after = (strain(F + d, T, part) for d in (-step, 0.0, step))
    slopes = sorted(((at - before) / step, (after - at) / step))
    assert slopes[0] * (1 - 1e-4) <= strain_slope(F, T, part) <= slopes[1] * (1 + 1e-4)


@settings(max_examples=60)
@given(wires, shares, temperatures, outer_sets, st.floats(0, 2e-4))
def test_strain_by_root_finding(i, share, T, outer_set, core_set):
    """Each part written out anew: polynomial by numpy, line, floor, two expansions; then SciPy's brentq."""
    part, F = law_of(i, outer_set, core_set), share * CONDUCTORS[i].rts

    def one(m, K, s, curve, end):
        line = K * (m - s)
        if not np.isfinite(curve[0]):
            return line
        p = np.polynomial.Polynomial(curve)
        x = min(max(m, 0.0), end)
        return min(line, p(x) + p.deriv()(x) * (m - x))

    def force(e):
        free = part.core_expansion * (min(T, part.core_bend) - 20)
        free += part.core_expansion_above * max(T - part.core_bend, 0.0)
        outer = one(e - part.outer_expansion * (T - 20), part.outer_stiffness, part.outer_set, part[7:12],
                    part.outer_end)
        core = one(e - free, part.core_stiffness, part.core_set, part[13:18], part.core_end)
        return (max(outer, -part.outer_compression) + core if part.core_stiffness > 0 else outer) - F

    assert strain(F, T, part) == pytest.approx(brentq(force, -0.05, 0.5, xtol=1e-15), abs=1e-12)


@given(wires, shares, temperatures, outer_sets)
def test_one_newton_step_from_the_answer_stays_there(i, share, T, outer_set):
    part, F = law_of(i, outer_set), share * CONDUCTORS[i].rts
    e = strain(F, T, part)
    near, slope = strain_near(F, T, part, e)
    assert near == pytest.approx(e, abs=1e-13)
    assert slope == pytest.approx(strain_slope(F, T, part), rel=1e-9)


@given(st.sampled_from(range(len(STRAIGHT))), shares, st.floats(-50, 229), outer_sets)
def test_without_curves_both_laws_are_one(i, share, T, outer_set):
    """The linear law in closed form, below the change of invar's expansion."""
    part, F = with_sets(take_law(LAWS, len(CONDUCTORS) + i), outer_set, 0.0), share * STRAIGHT[i].rts
    linear = TwoPart(*part[:7])
    assert strain(F, T, part) == pytest.approx(strain(F, T, linear), abs=1e-14)
    assert part_forces(F, T, part)[0] == pytest.approx(part_forces(F, T, linear)[0], abs=1e-5)
    assert strain_slope(F, T, part) == pytest.approx(strain_slope(F, T, linear), rel=1e-12)


def test_every_law_broadcasts():
    """Axes of the tension, the temperature and the law are worked on side by side."""
    F, T = np.linspace(5e3, 60e3, 4)[:, None, None], np.linspace(-20, 200, 3)[:, None]
    for law in (LAWS, TwoPart(*LAWS[:7])):
        whole = strain(F, T, law)
        assert whole.shape == strain_slope(F, T, law).shape == (4, 3, len(LAWS.outer_set))
        assert temperature_at(F, whole, law).shape == whole.shape
        assert whole[2, 1, 4] == pytest.approx(float(strain(F[2, 0, 0], T[1, 0], take_law(law, 4))), abs=1e-15)


def test_unknown_properties_stay_unknown():
    part = law_of(1)._replace(outer_set=np.nan)
    assert np.isnan(strain(2e4, 20.0, part))
    assert np.isnan(temperature_at(2e4, 1e-3, part))
