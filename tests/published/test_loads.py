"""Ice and wind loads against official tables.

Sources
-------
California Public Utilities Commission, General Order 95, Appendix B, Table 23, and rules 43.1, 43.2
(read): loads of steel-reinforced aluminium conductors in lb/ft. Its strengths are older than
today's and are not used.

ANSI C2 (National Electrical Safety Code), Rule 250B, Tables 250-1 and 251-1: districts, recalled,
high confidence.

L. L. Grigsby (ed.), *Electric Power Generation, Transmission, and Distribution*, CRC Press, 2nd ed.
2007, Table 14.5 (read): 2.509 and 2.094 lb/ft for Drake.

Factors of units: NIST SP 811.
"""

import numpy as np
import pytest

from corridor.line.case_loads import case_loads, sleeves
from corridor.line.facts import Case
from corridor.mechanics.loads import ice_weight, wind_force, with_constant

INCH, POUND_PER_FOOT = 0.0254, 4.4482216152605 / 0.3048
POUND_PER_SQUARE_FOOT = 4.4482216152605 / 0.3048**2
#: 57 lb/ft³ [kg/m³]
GLAZE = 57 * 0.45359237 / 0.3048**3

#: Diameter [in], bare weight, wind of 8 psf, resultant; weight with half an inch of ice, wind of 6
#: psf on it, resultant [lb/ft].
TABLE_23 = np.array([
    (1.140, 1.234, 0.7600, 1.449, 2.2538, 1.0700, 2.495),
    (1.108, 1.093, 0.7387, 1.319, 2.0928, 1.0540, 2.343),
    (1.093, 1.023, 0.7287, 1.256, 2.0135, 1.0465, 2.269),
    (0.806, 0.6206, 0.5374, 0.821, 1.4327, 0.9030, 1.694),
    (0.783, 0.5464, 0.5220, 0.756, 1.3442, 0.8915, 1.613),
    (0.642, 0.3668, 0.4280, 0.564, 1.0769, 0.8210, 1.354),
    (0.563, 0.2921, 0.3754, 0.476, 0.9531, 0.7815, 1.232),
    (0.502, 0.2316, 0.3347, 0.407, 0.8546, 0.7510, 1.138),
    (0.447, 0.1837, 0.2980, 0.350, 0.7725, 0.7235, 1.058),
    (0.398, 0.1456, 0.2653, 0.303, 0.7040, 0.6990, 0.992),
    (0.325, 0.1072, 0.2167, 0.242, 0.6202, 0.6625, 0.907),
    (0.316, 0.0916, 0.2107, 0.230, 0.5990, 0.6580, 0.890),
    (0.257, 0.0674, 0.1713, 0.184, 0.5381, 0.6285, 0.827),
    (0.250, 0.0576, 0.1667, 0.176, 0.5240, 0.6250, 0.816),
    (0.198, 0.0362, 0.1320, 0.137, 0.4702, 0.5990, 0.762),
])
D, BARE, WIND_8, LIGHT, ICED, WIND_6, HEAVY = TABLE_23.T
FOUR_DECIMALS = 0.5e-4
THREE_DECIMALS = 0.5e-3


def pounds_per_foot(load):
    return load / POUND_PER_FOOT


def wind_of(psf, ice_inches, diameter=D):
    load = wind_force(diameter * INCH, ice_inches * INCH, psf * POUND_PER_SQUARE_FOOT)
    return pounds_per_foot(load)


def ice_of(inches, diameter=D):
    return pounds_per_foot(ice_weight(diameter * INCH, inches * INCH, GLAZE))


def test_table_23_wind_on_bare_wire():
    """Four decimals, two entries rounded the wrong way from `8 D/12`: 0.67 of the last digit."""
    np.testing.assert_allclose(wind_of(8, 0.0), WIND_8, atol=0.7e-4)


def test_table_23_wind_on_iced_wire():
    np.testing.assert_allclose(wind_of(6, 0.5), WIND_6, atol=FOUR_DECIMALS + 1e-9)


def test_table_23_weight_with_ice():
    """Four decimals, from a bare weight of three or four and a constant of four digits."""
    np.testing.assert_allclose(BARE + ice_of(0.5), ICED, atol=1e-4)


def test_table_23_resultants():
    """Three decimals; the fourth heavy one was added from rounded components."""
    light = np.hypot(BARE, wind_of(8, 0.0))
    np.testing.assert_allclose(light, LIGHT, atol=THREE_DECIMALS)
    heavy = np.hypot(BARE + ice_of(0.5), wind_of(6, 0.5))
    np.testing.assert_allclose(heavy, HEAVY, atol=1.1 * THREE_DECIMALS)


@pytest.mark.parametrize(
    ("ice", "wind", "constant", "ice_load", "vertical", "wind_load", "size"),
    [
        (0.5, 4, 0.30, 0.99981, 2.0938, 0.70267, 2.5086),
        (0.25, 4, 0.20, 0.42218, 1.5162, 0.5360, 1.8081),
        (0.0, 9, 0.05, 0.0, 1.094, 0.8310, 1.4238),
    ],
    ids=["heavy", "medium", "light"],
)
def test_code_districts(ice, wind, constant, ice_load, vertical, wind_load, size):
    """Drake, 1.108 in, 1.094 lb/ft, worked out apart; the constant is added to the resultant."""
    weight = 1.094 + ice_of(ice, 1.108)
    across = wind_of(wind, ice, 1.108)
    assert ice_of(ice, 1.108) == pytest.approx(ice_load, abs=5e-6)
    assert weight == pytest.approx(vertical, abs=FOUR_DECIMALS)
    assert across == pytest.approx(wind_load, abs=FOUR_DECIMALS)
    assert np.hypot(*with_constant(weight, across, constant)) == pytest.approx(size, abs=FOUR_DECIMALS)


def test_handbook_table_14_5():
    """Printed: 2.509 lb/ft in the heavy district, 2.094 with its ice alone."""
    weight = 1.094 + ice_of(0.5, 1.108)
    assert weight == pytest.approx(2.094, abs=THREE_DECIMALS)
    heavy = np.hypot(*with_constant(weight, wind_of(4, 0.5, 1.108), 0.30))
    assert heavy == pytest.approx(2.509, abs=THREE_DECIMALS)


def test_metric_example():
    """12.7 mm of ice of 913 kg/m³ and 190 Pa on 28.14 mm, 1.628 kg/m: 32.203 N/m, 18.414 degrees.

    Worked out apart from this package. The ice alone is 913 g pi t (D + t) = 14.589 N/m.
    """
    ice = ice_weight(0.02814, 0.0127, 913.0)
    wind = wind_force(0.02814, 0.0127, 190.0)
    weight = 1.628 * 9.80665 + ice
    assert ice == pytest.approx(14.589, abs=THREE_DECIMALS)
    assert wind == pytest.approx(10.173, abs=THREE_DECIMALS)
    assert np.hypot(weight, wind) == pytest.approx(32.203, abs=THREE_DECIMALS)
    assert np.degrees(np.arctan2(wind, weight)) == pytest.approx(18.414, abs=THREE_DECIMALS)


def test_blowout_angle():
    """USDA Bulletin 1724E-200, chapter 7 (formula recalled, high): Drake at 6 psf, 26.8576 deg."""
    angle = np.degrees(np.arctan2(wind_of(6, 0.0, 1.108), 1.094))
    assert angle == pytest.approx(26.8576, abs=FOUR_DECIMALS)


def test_ice_fills_the_ring():
    """Area of the ring between two circles times density times g."""
    d, t = np.array([0.01, 0.03]), np.array([0.0, 0.02])
    ring = np.pi / 4 * ((d + 2 * t) ** 2 - d**2)
    np.testing.assert_allclose(ice_weight(d, t, 900.0), ring * 900 * 9.80665, rtol=1e-12)


def test_ice_by_its_weight_is_as_thick_as_the_table_says():
    """Table 23 backwards: from the weight of ice that is printed, half an inch of it, and the wind on that diameter.

    Its weights have four decimals, which is 0.5e-4/1.1 of half an inch at most.
    """
    for d, bare, iced, wind in zip(D, BARE, ICED, WIND_6, strict=True):
        case = Case("ice", 0.0, ice_weight=(iced - bare) * POUND_PER_FOOT, ice_density=GLAZE,
                    wind=6 * POUND_PER_SQUARE_FOOT)
        assert sleeves(d * INCH, [case])[0] / INCH == pytest.approx(0.5, abs=5e-4)
        weight, across = (load[0] / POUND_PER_FOOT for load in case_loads(d * INCH, bare * POUND_PER_FOOT / 9.80665,
                                                                          [case]))
        assert weight == pytest.approx(iced, rel=1e-12) and across == pytest.approx(wind, abs=10 * FOUR_DECIMALS)


def test_ice_of_an_annex_grows_with_the_diameter():
    """15 + 0.4 d in N/m, d in mm (NEN-EN 50341-2-15, as a public summary of CIGRE B2-10291, 2026, tells it), by hand:
    25.8 N/m at 27 mm. Of 700 kg/m³ that is 3758 mm² of ice and 74.2 mm across: 22.3 N/m of wind of 300 Pa."""
    case = Case("ice", -5.0, ice_weight=15.0, ice_weight_per_diameter=400.0, ice_density=700.0, wind=300.0)
    weight, across = (load[:, 0] for load in case_loads(np.array([0.027, 0.010]), np.zeros(2), [case]))
    np.testing.assert_allclose(weight, [25.8, 19.0], rtol=1e-12)
    outer = np.sqrt(0.027**2 + 4 * (25.8 / 9.80665 / 700) / np.pi)
    assert outer == pytest.approx(0.0743, abs=1e-4) and across[0] == pytest.approx(300 * outer, rel=1e-12)
