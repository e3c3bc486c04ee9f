"""Loss of strength and adiabatic rise, against numbers worked out apart from this code.

The form of Harvey (IEEE Std 1283) is recalled, and so are its numbers here, of strands of 0.1749 in for 1000 h.
Currents of the fault: textbook formula, 402.8 mm² of aluminium, 1 s, by an independent computation. Its constants were
not told; these are those of IEC 60889's aluminium, with 2 % of lay in the resistance alone: they meet the digits.
"""

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp

from corridor.thermal.fault import adiabatic_current, adiabatic_temperature
from corridor.thermal.strength import COLDEST, remaining, remaining_after, temperature_for

STRAND = 0.1749 * 0.0254
AREA = 402.8e-6
WIRE = {"heat_capacity": 897 * 2703 * AREA, "resistance_20": 1.02 * 28.264e-9 / AREA, "coefficient": 0.00403}


@pytest.mark.parametrize(("temperature", "hours", "left"), [
    (100, 1000, 98.0), (125, 1000, 88.8), (150, 1000, 78.9), (175, 1000, 67.1), (150, 10, 91.2), (150, 100, 84.8)])
def test_what_is_left_of_the_strength(temperature, hours, left):
    assert remaining(temperature, hours, STRAND) == pytest.approx(left, abs=0.05)


def test_a_life_in_pieces_loses_what_it_loses_in_one():
    whole = float(remaining(150, 1000, STRAND))
    assert remaining_after([150] * 50, [20] * 50, STRAND) == pytest.approx(whole, abs=1e-9)
    pieces = remaining_after([100, 125, 150], [300, 200, 100], STRAND)
    alone = [float(remaining(T, t, STRAND)) for T, t in ((100, 300), (125, 200), (150, 100))]
    # more than the worst alone, less than the sum of all, which counts the beginning of each
    assert 100 - sum(100 - each for each in alone) < pieces < min(alone)


def test_nothing_is_lost_cold_and_all_is_lost_molten():
    assert remaining_after([COLDEST, 20.0], [1e6, 1e6], STRAND) == 100
    assert remaining_after([np.inf, 20.0], [1.0, 100.0], STRAND) == 0
    assert remaining([150.0, np.inf], [0.0, 1.0], STRAND).tolist() == [100.0, 0.0]
    assert np.isnan(remaining(np.nan, 10.0, STRAND))


def test_thin_wires_lose_more():
    assert remaining(150, 1000, STRAND / 2) < remaining(150, 1000, STRAND)


@pytest.mark.parametrize("loss", [2.0, 10.0, 25.0])
def test_the_temperature_of_a_loss_loses_it_and_no_more(loss):
    T = temperature_for(loss, 1000.0, STRAND)
    assert 100 - float(remaining(T, 1000.0, STRAND)) == pytest.approx(loss, abs=1e-6)
    assert np.isnan(temperature_for(loss, 1000.0, np.nan))


@pytest.mark.parametrize(("start", "end", "kiloamperes"), [(40, 200, 39.8), (100, 200, 30.0), (40, 340, 50.4)])
def test_the_current_of_a_fault(start, end, kiloamperes):
    assert adiabatic_current(start, end, 1.0, **WIRE) / 1000 == pytest.approx(kiloamperes, abs=0.05)


def test_the_formula_is_the_integral_of_its_equation():
    R, mc, alpha = WIRE["resistance_20"], WIRE["heat_capacity"], WIRE["coefficient"]
    square = quad(lambda T: mc / (R * (1 + alpha * (T - 20))), 40, 200)[0]
    assert adiabatic_current(40, 200, 0.25, **WIRE) == pytest.approx(np.sqrt(square / 0.25), rel=1e-9)
    course = solve_ivp(lambda t, T: 31.5e3**2 * R * (1 + alpha * (T - 20)) / mc, (0, 0.7), [60.0], rtol=1e-10)
    assert adiabatic_temperature(60, 31.5e3, 0.7, **WIRE) == pytest.approx(course.y[0, -1], rel=1e-6)
    assert adiabatic_current(200, 200, 1.0, **WIRE) == adiabatic_current(250, 200, 1.0, **WIRE) == 0
