"""CIGRE Technical Brochure 601 (2014).

The brochure's printed examples could not be compared. The numbers in `RECALLED` are a regression of
the recalled equations, worked out once apart from this code, not printed examples. Independent
checks stand beside them: published properties of air, published correlations for a cylinder, and
IEEE Std 738, which describes the same physics.
"""

import numpy as np
import pytest

from corridor.thermal import air, cigre601, ieee738
from corridor.thermal.rating import Weather, Wire, current_at
from tests.common import straight

DIAMETER, WIRE_DIAMETER = 0.0281, 0.00444
AIR = dict(ambient=40.0, wind_speed=0.61, elevation=0.0)

# wind angle -> angle factor, Nusselt number, forced convection [W/m], current [A]; equations
# recalled
RECALLED = {90.0: (1.0, 15.496, 83.55, 1032.7), 60.0: (0.92957, 14.404, 77.67, 1001.9)}


def test_air_and_numbers_at_film_temperature_of_70():
    # regression of the recalled equations, not printed examples; tolerance: last digit of the
    # working
    nu = air.viscosity_cigre601(70.0) / air.density(70.0, 0.0)
    assert air.conductivity_cigre601(70.0) == pytest.approx(0.028606, abs=5e-7)
    assert air.viscosity_cigre601(70.0) == pytest.approx(2.0384e-5, abs=5e-10)
    assert nu == pytest.approx(1.9815e-5, abs=5e-10)
    assert air.prandtl(70.0) == pytest.approx(0.71615, abs=5e-5)
    assert DIAMETER * 0.61 / nu == pytest.approx(865.06, abs=0.05)
    assert cigre601.roughness(DIAMETER, WIRE_DIAMETER) == pytest.approx(0.09383, abs=5e-6)


@pytest.mark.parametrize("angle", RECALLED)
def test_forced_convection_and_current(angle):
    # regression of the recalled equations, not printed examples
    factor, nusselt, forced, current = RECALLED[angle]
    Rs = cigre601.roughness(DIAMETER, WIRE_DIAMETER)
    assert cigre601.wind_angle_factor(angle, Rs) == pytest.approx(factor, abs=5e-6)
    Nu = cigre601.forced_nusselt(865.06, Rs) * factor
    assert Nu == pytest.approx(nusselt, abs=1e-3)
    shape = dict(diameter=DIAMETER, outer_wire_diameter=WIRE_DIAMETER)
    got = cigre601.convection(100.0, **AIR, wind_angle=angle, **shape)
    assert got == pytest.approx(forced, abs=0.006)
    weather = Weather(**AIR, wind_angle=angle, solar=1000, emissivity=0.8, absorptivity=0.8)
    got = current_at("cigre601", 100.0, weather, Wire(DIAMETER, straight(9.3905e-5, 0.0), WIRE_DIAMETER))
    assert got == pytest.approx(current, abs=0.1)


def test_still_air_radiation_and_sun():
    # regression of the recalled equations, not printed examples
    still = AIR | {"wind_speed": 0.0}
    got = cigre601.convection(100.0, **still, wind_angle=90.0, diameter=DIAMETER)
    assert got == pytest.approx(42.01, abs=0.01)
    got = cigre601.radiation(100.0, ambient=40.0, emissivity=0.8, diameter=DIAMETER)
    assert got == pytest.approx(39.08, abs=0.006)
    got = cigre601.solar_gain(solar=1000.0, absorptivity=0.8, diameter=DIAMETER)
    assert got == pytest.approx(22.48, abs=0.006)


@pytest.mark.parametrize(
    ("celsius", "conductivity", "viscosity", "prandtl"),
    [(26.85, 0.0263, 1.846e-5, 0.707), (76.85, 0.0300, 2.082e-5, 0.700)],
)
def test_air_against_a_handbook(celsius, conductivity, viscosity, prandtl):
    # Incropera and DeWitt, "Fundamentals of Heat and Mass Transfer", table A.4, air at 300 and 350
    # K (recalled). Both methods' fits are simple, and each is allowed what it needs.
    assert air.conductivity_cigre601(celsius) == pytest.approx(conductivity, rel=0.04)
    assert air.conductivity_ieee738(celsius) == pytest.approx(conductivity, rel=0.02)
    assert air.viscosity_cigre601(celsius) == pytest.approx(viscosity, rel=0.02)
    assert air.viscosity_ieee738(celsius) == pytest.approx(viscosity, rel=0.02)
    assert air.prandtl(celsius) == pytest.approx(prandtl, rel=0.03)


def churchill_bernstein(Re, Pr):
    """Cylinder across a flow: Churchill and Bernstein, J. Heat Transfer 99 (1977), recalled."""
    blend = 0.62 * Re**0.5 * Pr ** (1 / 3) / (1 + (0.4 / Pr) ** (2 / 3)) ** 0.25
    return 0.3 + blend * (1 + (Re / 282000) ** 0.625) ** 0.8


@pytest.mark.parametrize("Re", [100.0, 1000.0, 1e4, 3e4])
def test_smooth_cylinder_against_churchill_and_bernstein(Re):
    # that correlation claims 20 %; so no closer agreement can be asked
    got = cigre601.forced_nusselt(Re, 0.0)
    assert got == pytest.approx(churchill_bernstein(Re, 0.71), rel=0.20)


def test_smooth_cylinder_in_still_air_against_churchill_and_chu():
    # level cylinder, Churchill and Chu, Int. J. Heat Mass Transfer 18 (1975), recalled; claims some
    # 20 %
    Tf, T, Ta = 70.0, 100.0, 40.0
    nu = air.viscosity_cigre601(Tf) / air.density(Tf, 0.0)
    Ra = 9.80665 * (T - Ta) * DIAMETER**3 / ((Tf + 273.15) * nu**2) * air.prandtl(Tf)
    blend = 0.387 * Ra ** (1 / 6) / (1 + (0.559 / air.prandtl(Tf)) ** (9 / 16)) ** (8 / 27)
    got = cigre601.natural_nusselt(T, Ta, DIAMETER, nu)
    assert got == pytest.approx((0.60 + blend) ** 2, rel=0.20)


@pytest.mark.parametrize("wind_speed", [0.0, 0.3, 0.6, 1.0, 3.0])
def test_the_two_methods_agree_in_still_air_and_light_wind(wind_speed):
    # published comparisons find the two close in the winds of a rating (common practice, no
    # source); 10 % of the heat carried off is 5 % of current. In strong wind they part: the
    # brochure lets a rough strand shed 28 % more at 8 m/s, so that nothing is asked here
    air_of_35 = dict(ambient=35.0, wind_angle=90.0, elevation=0.0)
    at = air_of_35 | dict(wind_speed=wind_speed, diameter=DIAMETER)
    ours = cigre601.convection(75.0, **at, outer_wire_diameter=WIRE_DIAMETER)
    assert ours == pytest.approx(ieee738.convection(75.0, **at), rel=0.10)


def test_joints_of_the_power_laws_are_smooth_enough():
    # a jump would make temperature jump with wind; the printed coefficients meet within 1 %
    for ends, factors, exponents in (cigre601.STRANDED, cigre601.STRANDED_ROUGH, cigre601.SMOOTH,
                                     cigre601.NATURAL):
        below = factors[:-1] * ends ** exponents[:-1]
        above = factors[1:] * ends ** exponents[1:]
        assert above == pytest.approx(below, rel=0.01)


def test_smooth_is_the_cautious_surface():
    Re = np.geomspace(100, 1e5, 50)
    smooth = cigre601.forced_nusselt(Re, 0.0)
    for Rs in (0.03, 0.09):
        assert np.all(cigre601.forced_nusselt(Re, Rs) > smooth)


def test_unknown_strands_are_not_taken_for_smooth():
    got = cigre601.convection(80.0, **AIR, wind_angle=90.0, diameter=DIAMETER,
                              outer_wire_diameter=np.array([np.nan, 0.0]))
    assert np.isnan(got[0]) and got[1] > 0


def test_slanted_wind_in_both_methods():
    # two publications, one effect, each fitted to measurements: apart by 0.03 at 0 and at 75
    # deg, less elsewhere
    angles = np.array([0.0, 10.0, 20.0, 30.0, 45.0, 60.0, 75.0, 90.0])
    apart = np.abs(cigre601.wind_angle_factor(angles, 0.09) - ieee738.wind_angle_factor(angles))
    assert np.all(apart < 0.04)
    mirrored = ieee738.wind_angle_factor(np.array([-30.0, 150.0, 330.0]))
    assert mirrored == pytest.approx(ieee738.wind_angle_factor(30.0) * np.ones(3))
