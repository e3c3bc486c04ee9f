"""IEEE Std 738: its worked examples, its sun, and what physics asks of both.

The worked example is that of IEEE Std 738-2012, clause 4.6 (emissivity and absorptivity 0.8), and
of the 1993 and 2006 editions (0.5): 795 kcmil 26/7 aluminium on steel, 28.12 mm, across a wind of
0.61 m/s at 40 °C, 100 °C at the wire, line east to west at latitude 30 N, clear sky, 11:00 on
10 June. Its printed numbers are recalled, not read here; the confidence stands beside each.

Tolerances: 0.5 % on components, since the standard works on with rounded properties of air (it
prints 81.93 for what unrounded air makes 82.05), or the last printed digit where that is coarser; 2
A on current, which is what 0.2 % of convection makes of it.
"""

import numpy as np
import pytest

from corridor.thermal import air, ieee738, sun
from corridor.thermal.rating import Weather, Wire, current_at, step_response, temperature_at
from tests.common import straight

AIR = dict(ambient=40.0, wind_speed=0.61, wind_angle=90.0, elevation=0.0)
DIAMETER = 0.02812
# the two printed resistances [ohm/m] at 25 and 75 °C make the straight line that the standard
# uses
R25, R75 = 7.283e-5, 8.688e-5
SLOPE = (R75 - R25) / 50
R20 = R25 - 5 * SLOPE
WIRE = Wire(DIAMETER, straight(R20, SLOPE / R20))


def weather(surface, wind_speed=0.61):
    solar = sun.received(latitude=30.0, day=161, hour=11.0, line_azimuth=90.0, elevation=0.0)
    return Weather(**AIR | {"wind_speed": wind_speed}, solar=solar, emissivity=surface,
                   absorptivity=surface)


@pytest.mark.parametrize(
    ("function", "printed", "half_digit"),
    [
        (air.viscosity_ieee738, 2.04e-5, 0.005e-5),  # recalled, high confidence
        (lambda film: air.density(film, 0.0), 1.029, 0.0005),  # high
        (air.conductivity_ieee738, 0.0295, 0.00005),  # high
    ],
    ids=["viscosity", "density", "conductivity"],
)
def test_air_at_film_temperature_of_70(function, printed, half_digit):
    # the last printed digit is the tolerance
    assert air.film_temperature(100.0, 40.0) == 70.0
    assert function(70.0) == pytest.approx(printed, abs=half_digit)


def test_convection_in_still_air():
    still = AIR | {"wind_speed": 0.0}
    got = ieee738.convection(100.0, **still, diameter=DIAMETER)
    assert got == pytest.approx(42.4, rel=0.005)  # recalled, high


def test_convection_at_low_wind_is_the_one_that_governs():
    got = ieee738.convection(100.0, **AIR, diameter=DIAMETER)
    assert got == pytest.approx(81.93, rel=0.005)  # recalled, high


def test_convection_at_high_wind_formula():
    # 77.06 W/m (recalled, high) belongs to the formula that does not govern here: it takes over
    # with stronger wind, so it is recovered from there, where it goes with V^0.6
    strong = ieee738.convection(100.0, **AIR | {"wind_speed": 6.1}, diameter=DIAMETER)
    assert strong / 10**0.6 == pytest.approx(77.06, rel=0.005)


def test_wind_along_and_across():
    assert ieee738.wind_angle_factor(90.0) == pytest.approx(1.0, abs=1e-12)  # printed 1.0, high
    # the factor's own value for wind along the wire: 1.194 - 1 + 0.194
    assert ieee738.wind_angle_factor(0.0) == pytest.approx(0.388)


@pytest.mark.parametrize(("emissivity", "printed"), [(0.8, 39.1), (0.5, 24.44)])  # high, medium
def test_radiation(emissivity, printed):
    got = ieee738.radiation(100.0, ambient=40.0, emissivity=emissivity, diameter=DIAMETER)
    assert got == pytest.approx(printed, rel=0.005)


def test_radiation_against_stefan_and_boltzmann():
    # CODATA 5.670374e-8 and true kelvins; 738 rounds pi sigma to 17.8e-8 and kelvins to 273: 0.3 %
    # here
    exact = np.pi * DIAMETER * 0.8 * 5.670374e-8 * (373.15**4 - 313.15**4)
    got = ieee738.radiation(100.0, ambient=40.0, emissivity=0.8, diameter=DIAMETER)
    assert got == pytest.approx(exact, rel=0.003)


@pytest.mark.parametrize(
    ("got", "printed", "tolerance"),
    [
        (sun.declination(161), 23.0, 0.05),  # recalled, high
        (sun.altitude(30.0, 161, 11.0), 74.8, 0.15),  # high; unrounded 74.89
        (sun.azimuth(30.0, 161, 11.0), 114.0, 0.5),  # medium
        (sun.intensity(74.8), 1027.0, 0.5),  # high
        (sun.incidence(74.8, 114.0, 90.0), 76.1, 0.1),  # high; unrounded 76.14
    ],
    ids=["declination", "altitude", "azimuth", "intensity", "incidence"],
)
def test_sun_of_the_example(got, printed, tolerance):
    # tolerance: the last printed digit, a little more where the standard rounds on the way
    assert got == pytest.approx(printed, abs=tolerance)


def test_solar_gain():
    solar = weather(0.8).solar
    got = ieee738.solar_gain(solar=solar, absorptivity=0.8, diameter=DIAMETER)
    assert got == pytest.approx(22.44, rel=0.005)  # recalled, high


def test_resistance_at_100():
    assert pytest.approx(9.390e-5, abs=0.005e-5) == R20 + 80 * SLOPE  # recalled, high


@pytest.mark.parametrize(("surface", "printed"), [(0.8, 1025), (0.5, 992)])  # high, medium
def test_current_of_the_example(surface, printed):
    assert current_at("ieee738", 100.0, weather(surface), WIRE) == pytest.approx(printed, abs=2)


@pytest.mark.parametrize(("current", "printed"), [(800.0, 80.0), (1200.0, 128.0)])
def test_temperatures_before_and_after_the_step(current, printed):
    # transient example, surface 0.5: "about 80" and "about 128" °C, recalled, medium confidence
    assert temperature_at("ieee738", current, weather(0.5), WIRE) == pytest.approx(printed, abs=1)


def test_time_constant_of_the_transient_example():
    # 14 min (13.95 from its formula), recalled, medium: time to 63.2 % of the rise from 800 to 1200
    # A; the formula takes one resistance for the whole rise, so half a minute is allowed
    capacity = 1309.0  # its masses of aluminium and steel, at 955 and 476 J/(kg K), recalled, medium
    start, end = (temperature_at("ieee738", i, weather(0.5), WIRE) for i in (800.0, 1200.0))
    minutes = np.linspace(0, 60, 601)
    rise = step_response("ieee738", 1200.0, 60 * minutes, weather(0.5), WIRE, initial_temperature=start,
                         heat_capacity=capacity)
    reached = np.interp(start + (1 - np.exp(-1)) * (end - start), rise, minutes)
    assert reached == pytest.approx(13.95, abs=0.5)


# --- the sun against astronomy ------------------------------------------------------------------

def almanac_declination(day):
    """Astronomical Almanac, "low precision formulas for the Sun" (recalled), good to 0.01 deg.

    Noon UT of a day of the year 2023: noon of its first of January is 8401 days after J2000.0.
    """
    n = 8400 + day
    longitude, g = 280.460 + 0.9856474 * n, np.radians(357.528 + 0.9856003 * n)
    ecliptic = np.radians(longitude + 1.915 * np.sin(g) + 0.020 * np.sin(2 * g))
    obliquity = np.radians(23.439 - 4e-7 * n)
    return np.degrees(np.arcsin(np.sin(obliquity) * np.sin(ecliptic)))


def test_almanac_formula_knows_the_solstices_and_equinoxes():
    # 2023: 20 March 21:24, 21 June 14:58, 23 September 06:50, 22 December 03:27 UT (recalled), in
    # days of the year from noon
    days = np.array([79.39, 172.12, 265.78, 355.64])
    assert almanac_declination(days) == pytest.approx([0.0, 23.44, 0.0, -23.44], abs=0.02)


def test_declination_all_year_against_the_almanac():
    # the standard's sine knows no ellipse: it is 1.1 deg off in mid October, by nature
    days = np.arange(1, 366)
    error = sun.declination(days) - almanac_declination(days)
    assert np.max(np.abs(error)) < 1.2
    assert np.sqrt(np.mean(error**2)) < 0.6


@pytest.mark.parametrize("latitude", [-70.0, -35.0, -10.0, 0.0, 10.0, 30.0, 52.0, 75.0])
def test_place_of_the_sun_against_rotated_vectors(latitude):
    # spherical astronomy without the standard's formulas: turn the sun's vector from the equator's
    # axes into east, north, up
    hours, day = np.arange(0.25, 24, 0.5), 40
    dec, lat = np.radians(sun.declination(day)), np.radians(latitude)
    turn = np.radians(15 * (hours - 12))
    meridian, west, pole = np.cos(dec) * np.cos(turn), np.cos(dec) * np.sin(turn), np.sin(dec)
    up = np.cos(lat) * meridian + np.sin(lat) * pole
    north = -np.sin(lat) * meridian + np.cos(lat) * pole
    assert sun.altitude(latitude, day, hours) == pytest.approx(np.degrees(np.arcsin(up)), abs=1e-9)
    bearing = np.mod(np.degrees(np.arctan2(-west, north)), 360)
    apart = np.mod(sun.azimuth(latitude, day, hours) - bearing + 180, 360) - 180
    assert np.max(np.abs(apart)) < 1e-9


def test_received_never_exceeds_what_faces_the_sun_and_is_dark_at_night():
    hours = np.arange(0, 24, 0.25)
    at = dict(latitude=48.0, day=172, hour=hours)
    facing = sun.intensity(sun.altitude(**at)) * sun.elevation_factor(300.0)
    got = sun.received(**at, line_azimuth=20.0, elevation=300.0)
    assert np.all(got <= facing + 1e-9)
    assert np.all(got[sun.altitude(**at) <= 0] == 0)
    assert got.max() > 900  # high summer, clear: near 1000 W/m², common practice


def test_industrial_sky_is_dimmer():
    # the ratio of the two tables of the standard (recalled) at every useful height of the sun
    height = np.arange(5.0, 90.0)
    assert np.all(sun.intensity(height, "industrial") < sun.intensity(height, "clear"))
