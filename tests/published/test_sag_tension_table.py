"""A printed table of sags and tensions, initial and final, of a wire with measured curves.

Source: L. L. Grigsby (ed.), Electric Power Generation, Transmission, and Distribution, CRC Press, 2nd ed. 2007,
chapter 14, table 14.5 (read): Drake, 700 ft, strung to 6300 lb initially at 60 degF, creep a factor, the heavy load of
0.5 in of ice, 4 psf and a constant of 0.3 lb/ft. The tension printed is nearer to that at the supports than to H.

The table rests on another chart than the curves printed in the same chapter, which are the ones built in: an
independent recomputation from those curves, done apart from this package, differs from the table by up to 2 % in
initial sags and by 3.3 to 3.6 % in final ones (12.80 ft at 60 degF, 18.64 ft at 212 degF, aluminium without
compression). Hence 4 % here, and nothing was tuned.
"""

from dataclasses import replace

import numpy as np
import pytest

from corridor.conductor import catalogue
from corridor.geometry.catenary import greatest_sag
from corridor.line.facts import Case
from corridor.study.districts import find_district

from ..sections_of_wire import limit, solved, wiring

FOOT, POUND = 0.3048, 4.4482216152605
PER_FOOT = POUND / FOOT
SPAN, WEIGHT = 700 * FOOT, 1.094 * PER_FOOT
#: degF; sag [ft] and tension [lb], final and initial.
BARE = {
    -20: (8.22, 8161, 7.60, 8824), 0: (9.19, 7301, 8.26, 8115), 30: (10.75, 6242, 9.39, 7142),
    60: (12.36, 5429, 10.65, 6300), 90: (13.96, 4809, 11.99, 5596), 120: (15.52, 4330, 13.37, 5020),
    167: (16.97, 3960, 15.53, 4326), 212: (18.04, 3728, 17.52, 3837),
}
HEAVY, ICE = (13.61, 11318, 13.55, 11361), (13.93, 9224, 13.33, 9643)
ROWS = [("heavy", HEAVY), ("ice", ICE), *((str(T), row) for T, row in BARE.items())]


def celsius(fahrenheit):
    return (fahrenheit - 32) / 1.8


def cases():
    """Every row twice, final and initial; the heavy load is that of the district, with its constant."""
    heavy = find_district("us-heavy").fixed
    ice = {key: heavy[key] for key in ("ice", "ice_density")}
    for condition in ("final", "initial"):
        yield Case("heavy " + condition, condition=condition, **heavy)
        yield Case("ice " + condition, celsius(32), condition, **ice)
        for T in BARE:
            yield Case(f"{T} {condition}", celsius(T), condition)


@pytest.fixture(scope="module")
def strung():
    wire = replace(catalogue.find("Drake"), mass=WEIGHT / 9.80665, compression=0.0, outer_expansion=12.8e-6 * 1.8,
                   core_expansion=6.4e-6 * 1.8)
    at = wiring(wire, limit("tension", 6300 * POUND, celsius(60), "initial"), everyday_temperature=celsius(60))
    return solved(SPAN, [at], list(cases()))


@pytest.fixture(scope="module")
def sags(strung):
    """Sags [ft] along the load, by case."""
    found = greatest_sag(SPAN, 0.0, strung.constant[0, 0]) / FOOT
    return dict(zip((case.name for case in cases()), found, strict=True))


def test_load_of_the_heavy_district(strung):
    """2.509 lb/ft printed, three decimals, the constant included; 2.094 with the ice alone."""
    found = dict(zip((case.name for case in cases()), np.hypot(strung.weight, strung.wind)[0, 0] / PER_FOOT,
                     strict=True))
    assert found["heavy final"] == pytest.approx(2.509, abs=6e-4)
    assert found["ice final"] == pytest.approx(2.094, abs=6e-4)


@pytest.mark.parametrize(("name", "row"), ROWS)
def test_initial_sags_within_2_percent(sags, name, row):
    assert sags[f"{name} initial"] == pytest.approx(row[2], rel=0.02)


@pytest.mark.parametrize(("name", "row"), ROWS)
def test_final_sags_within_4_percent(sags, name, row):
    assert sags[f"{name} final"] == pytest.approx(row[0], rel=0.04)


@pytest.mark.parametrize(("name", "row"), ROWS)
def test_initial_tensions_within_2_percent(strung, name, row):
    """Against H + wD/2, the mean of H and the tension at the supports, which the printed products fit best."""
    k = [case.name for case in cases()].index(f"{name} initial")
    q = np.hypot(strung.weight, strung.wind)[0, 0, k]
    half = (strung.horizontal_tension[0, 0, k] + q * greatest_sag(SPAN, 0.0, strung.constant[0, 0, k]) / 2) / POUND
    assert half == pytest.approx(row[3], rel=0.02)


def test_independent_recomputation_from_the_same_curves(sags):
    """12.80 and 18.64 ft final, 13.34 ft initial under the heavy load, 17.77 at 212 degF; worked out apart: 0.5 %."""
    assert sags["60 final"] == pytest.approx(12.80, rel=5e-3)
    assert sags["212 final"] == pytest.approx(18.64, rel=5e-3)
    assert sags["heavy initial"] == pytest.approx(13.34, rel=5e-3)
    assert sags["212 initial"] == pytest.approx(17.77, rel=5e-3)


def test_creep_governs_as_the_table_says(strung):
    assert strung.set_by[0, 0] == "creep"


def test_slope_past_the_knee(sags):
    """16.97 to 18.04 ft from 167 to 212 degF, 1.07 ft: the core alone, 3 % (printed digits are 1 %)."""
    assert sags["212 final"] - sags["167 final"] == pytest.approx(1.07, rel=0.03)


def test_shape_below_the_knee(sags):
    """Growth of the final sag from -20 to 120 degF, 7.30 ft; 4 %."""
    assert sags["120 final"] - sags["-20 final"] == pytest.approx(15.52 - 8.22, rel=0.04)
