"""Units at the edge, against the definitions of the units themselves.

Exact factors: the international foot 0.3048 m, the inch 25.4 mm and the pound 0.45359237 kg
(international yard and pound agreement of 1959), the US survey foot 1200/3937 m, the standard
acceleration of free fall 9.80665 m/s2 (CGPM 1901), the circular mil pi/4 mil2; all also in NIST
SP 811, appendix B (recalled).
"""

import math
import subprocess
import sys

import pint
import pytest

from corridor.units import _COMMON, KINDS, QuantityError, quantity, share

FOOT, INCH, POUND, G = 0.3048, 0.0254, 0.45359237, 9.80665

WRITTEN = [
    ("25 kN", "force", 25_000.0),
    ("25kN", "force", 25_000.0),
    ("2.5e1 kN", "force", 25_000.0),
    ("1000 lbf", "force", 1000 * POUND * G),
    ("1 kip", "force", 1000 * POUND * G),
    ("0.5 in", "length", 0.5 * INCH),
    ("18.5 ft", "length", 18.5 * FOOT),
    ("1000 us-ft", "length", 1000 * 1200 / 3937),
    ("-0.3 m", "length", -0.3),
    ("4 psf", "pressure", 4 * POUND * G / FOOT**2),
    ("9 lbf/ft^2", "pressure", 9 * POUND * G / FOOT**2),
    ("55 GPa", "pressure", 55e9),
    ("110 N/mm2", "pressure", 110e6),
    ("403 mm^2", "area", 403e-6),
    ("403 mm²", "area", 403e-6),
    ("795 kcmil", "area", 795e3 * math.pi / 4 * (INCH / 1000) ** 2),
    ("0.070 ohm/km", "resistance", 7.0e-5),
    ("0.1166 ohm/mile", "resistance", 0.1166 / 1609.344),
    ("1093 lb/kft", "mass_per_length", 1093 * POUND / (1000 * FOOT)),
    ("57 lb/ft^3", "density", 57 * POUND / FOOT**3),
    ("0.9 g/cm3", "density", 900.0),
    ("2 ft/s", "speed", 2 * FOOT),
    ("36 km / h", "speed", 10.0),
    ("110 kV", "voltage", 110e3),
    ("11.5e-6 1/K", "expansion", 11.5e-6),
    ("6.4e-6 1/degF", "expansion", 6.4e-6 * 9 / 5),
    ("23 ppm/K", "expansion", 23e-6),
    ("0.05 %", "strain", 5e-4),
    ("80 %", "ratio", 0.8),
    ("1 rad", "angle", 180 / math.pi),
    ("18 degF", "temperature_difference", 10.0),
    ("1 kW/m^2", "irradiance", 1000.0),
]


@pytest.mark.parametrize(("text", "kind", "si"), WRITTEN)
def test_text_with_unit_is_read_in_si(text, kind, si):
    assert quantity(text, kind) == pytest.approx(si, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "celsius"),
    [("120 degF", 440 / 9), ("-40 degF", -40), ("75 degC", 75), ("75 °C", 75), ("273.15 K", 0)],
)
def test_temperatures_are_offset(text, celsius):
    """Fixed points of the scales: (F - 32) 5/9, and 0 degC is 273.15 K."""
    assert quantity(text, "temperature") == pytest.approx(celsius, abs=1e-9)


def test_survey_foot_is_not_the_international_foot():
    assert quantity("1000000 us-ft", "length") - quantity("1000000 ft", "length") == pytest.approx(
        0.6096, abs=1e-4
    )


@pytest.mark.parametrize("kind", KINDS)
def test_numbers_are_taken_as_they_are(kind):
    assert quantity(3, kind) == 3.0
    assert isinstance(quantity(3, kind), float)


@pytest.mark.parametrize("kind", KINDS)
def test_every_spelling_offered_is_read(kind):
    for unit in KINDS[kind].known:
        assert math.isfinite(quantity(f"1.5 {unit}", kind))
    assert math.isfinite(quantity(KINDS[kind].example, kind))


@pytest.mark.parametrize("kind", [k for k in KINDS if KINDS[k].unit and k != "heat"])
def test_the_printed_si_unit_is_the_unit_of_numbers(kind):
    assert quantity(f"7 {KINDS[kind].unit}", kind) == pytest.approx(7, rel=1e-12)


REFUSED = [
    ("24 ft 7 in", "length", "two numbers", None),
    ("24 ft 7", "length", "two numbers", None),
    ("5 kV", "length", "the unit 'kV' measures voltage", None),
    ("75 C", "temperature", "no unit of it", "'degC'"),
    ("120 F", "temperature", "no unit of it", "'degF'"),
    ("10 delta_degC", "temperature", "no unit", None),
    ("110 KV", "voltage", "not known", "'kV'"),
    ("500 lb", "force", "measures mass", "'lbf'"),
    ("50 %", "length", "measures ratio", None),
    ("90 deg", "ratio", "measures angle", None),
    ("80 %", "angle", "measures ratio", None),
    ("10 degC", "length", "measures temperature", None),
    ("4 lb/ft^2", "pressure", "measures something else", None),
    ("5 furlongers", "length", "not known", None),
    ("28,1 mm", "length", "no comma", None),
    ("1,800 m", "length", "no comma", None),
    ("25", "force", "needs a unit", "'25 N'"),
    ("", "force", "does not begin with a number", None),
    ("kN", "force", "does not begin with a number", None),
    ("nan m", "length", "does not begin with a number", None),
    ("1e999 m", "length", "not finite", None),
    ("5 m; import os", "length", "no unit", None),
    ("5 (m)", "length", "no unit", None),
    (True, "length", "true or false", None),
    (float("nan"), "length", "not finite", None),
    (float("inf"), "length", "not finite", None),
    (10**400, "length", "not finite", None),
    ([5], "length", "a list", None),
    (None, "length", "nothing", None),
]


@pytest.mark.parametrize(("value", "kind", "reason", "hint"), REFUSED)
def test_what_is_no_quantity_is_refused_with_its_reason(value, kind, reason, hint):
    with pytest.raises(QuantityError) as caught:
        quantity(value, kind)
    assert isinstance(caught.value, ValueError)
    assert reason in caught.value.reason
    assert caught.value.hint == hint or hint is None
    assert f"is no {KINDS[kind].noun}: " in str(caught.value)


def test_cells_of_a_text_table_may_lack_a_unit():
    assert quantity("5.2", "length", plain_text=True) == 5.2
    assert quantity("5.2 ft", "length", plain_text=True) == pytest.approx(5.2 * FOOT)
    with pytest.raises(QuantityError):
        quantity("5.2 kV", "length", plain_text=True)


@pytest.mark.parametrize(
    ("text", "fraction"), [("20 % RTS", 0.2), ("17.5% rts", 0.175), (" 50 %RTS ", 0.5)]
)
def test_share_of_rated_tensile_strength(text, fraction):
    assert share(text) == pytest.approx(fraction, rel=1e-15)


@pytest.mark.parametrize("text", ["20 %", "20 RTS", "-5 % RTS", "20 % UTS", "", 20])
def test_what_is_no_share_is_refused(text):
    with pytest.raises(QuantityError, match="20 % RTS"):
        share(text)


def test_pint_is_loaded_only_for_uncommon_units():
    code = (
        "import sys, corridor.study, corridor.units as u\n"
        "u.quantity(5.0, 'length'); u.share('20 % RTS'); u.quantity('5 kN', 'force')\n"
        "assert 'pint' not in sys.modules\n"
        "u.quantity('5 ft', 'length'); assert 'pint' in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_common_units_are_those_of_pint():
    # to the last bit, or the last but one: pint multiplies by several factors
    registry = pint.UnitRegistry()
    for kind, units in _COMMON.items():
        for unit in units:
            for number in (1.0, 0.3, 12.0, 110.0, 913.7):
                expected = registry.Quantity(number, unit).to(KINDS[kind].target).magnitude
                assert quantity(f"{number} {unit}", kind) == pytest.approx(expected, rel=3e-16), (kind, unit)
