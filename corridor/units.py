"""Quantities as people write them, made into SI floats at the edge of the package.

A number is taken in the SI unit of its kind; text carries its unit ("25 kN", "120 degF").
Past this module everything is a plain float: m, m2, N, Pa, degC, V, A, kg/m, ohm/m, deg.
Units come from pint, which is imported only when a text has a unit beyond the commonest.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import cache
from numbers import Real
from typing import TYPE_CHECKING

from corridor.errors import nearest

if TYPE_CHECKING:
    import pint

__all__ = ["KINDS", "Kind", "QuantityError", "quantity", "scale", "share"]


@dataclass(frozen=True)
class Kind:
    """What a quantity measures.

    `unit` is the SI unit as printed, `target` the same for pint, `known` the spellings offered as
    hints. `closed` is True where only the `known` spellings are taken: offsets (temperature) and
    pure numbers, where dimensions alone cannot tell right from wrong.
    """

    noun: str
    unit: str
    target: str
    known: tuple[str, ...]
    example: str
    closed: bool = False

    @property
    def accepts(self) -> str:
        """Words for what may be written."""
        if not self.unit:
            return f"{self.noun}, a number or text such as '{self.example}'"
        return f"{self.noun}, a number in {self.unit} or text with its unit such as '{self.example}'"


#: Every kind of quantity, by name.
KINDS = {
    "length": Kind("length", "m", "m", ("m", "mm", "cm", "km", "ft", "us-ft", "in"), "18.5 ft"),
    "area": Kind("area", "m²", "m^2", ("mm^2", "cm^2", "m^2", "in^2", "kcmil"), "403 mm^2"),
    "force": Kind("force", "N", "N", ("N", "kN", "daN", "kgf", "lbf", "kip"), "25 kN"),
    "pressure": Kind("pressure or stress", "Pa", "Pa",
                     ("Pa", "kPa", "MPa", "GPa", "N/mm^2", "kgf/mm^2", "psf", "psi", "ksi"), "4 psf"),
    "temperature": Kind("temperature", "°C", "degC", ("degC", "degF", "K"), "120 degF", True),
    "temperature_difference": Kind("temperature difference", "K", "K", ("K", "degC", "degF"), "15 K", True),
    "voltage": Kind("voltage", "V", "V", ("V", "kV", "MV"), "110 kV"),
    "current": Kind("current", "A", "A", ("A", "kA", "mA"), "900 A"),
    "mass_per_length": Kind("mass per length", "kg/m", "kg/m", ("kg/m", "kg/km", "g/m", "lb/ft", "lb/kft"),
                            "1628 kg/km"),
    "resistance": Kind("resistance per length", "ohm/m", "ohm/m", ("ohm/m", "ohm/km", "ohm/mile", "ohm/kft"),
                       "0.070 ohm/km"),
    "heat": Kind("heat capacity per length", "J/(m K)", "J/m/K", ("J/m/K", "J/ft/K"), "1000 J/m/K"),
    "conductivity": Kind("thermal conductivity", "W/m/K", "W/m/K", ("W/m/K", "W/cm/K"), "1.5 W/m/K"),
    "density": Kind("density", "kg/m³", "kg/m^3", ("kg/m^3", "g/cm^3", "lb/ft^3"), "57 lb/ft^3"),
    "speed": Kind("speed", "m/s", "m/s", ("m/s", "km/h", "ft/s", "mph", "knot"), "2 ft/s"),
    "angle": Kind("angle", "deg", "deg", ("deg", "rad", "gon"), "90 deg", True),
    "irradiance": Kind("irradiance", "W/m²", "W/m^2", ("W/m^2", "kW/m^2", "W/ft^2"), "1000 W/m^2"),
    "frequency": Kind("frequency", "Hz", "Hz", ("Hz", "kHz"), "50 Hz"),
    "stiffness": Kind("stiffness", "N/m", "N/m", ("N/m", "kN/m", "N/mm", "lbf/in"), "50 kN/m"),
    "load": Kind("load per length", "N/m", "N/m", ("N/m", "daN/m", "kgf/m", "lbf/ft"), "0.30 lbf/ft"),
    "load_per_diameter": Kind("load per length and diameter", "N/m²", "N/m^2", ("N/m/mm", "daN/m/mm"), "0.4 N/m/mm"),
    "mass": Kind("mass", "kg", "kg", ("kg", "g", "lb"), "45 kg"),
    "duration": Kind("duration", "s", "s", ("s", "min", "h"), "15 min"),
    "ratio": Kind("ratio", "", "", ("%",), "80 %", True),
    "strain": Kind("strain", "", "", ("%", "mm/m", "um/m"), "0.05 %", True),
    "expansion": Kind("thermal expansion or temperature coefficient", "1/K", "1/K",
                      ("1/K", "1/degC", "1/degF", "ppm/K"), "11.5e-6 1/K", True),
}

#: Factors to SI of the commonest units, for which pint need not be loaded; a test holds them to pint's.
_COMMON = {
    "length": {"m": 1.0, "mm": 0.001, "cm": 0.01, "km": 1000.0},
    "area": {"mm^2": 1e-06, "cm^2": 1e-04, "m^2": 1.0},
    "force": {"N": 1.0, "kN": 1000.0, "daN": 10.0},
    "pressure": {"Pa": 1.0, "kPa": 1000.0, "MPa": 1e6, "GPa": 1e9, "N/mm^2": 1e6},
    "temperature": {"degC": 1.0},
    "temperature_difference": {"K": 1.0},
    "voltage": {"V": 1.0, "kV": 1000.0},
    "current": {"A": 1.0, "kA": 1000.0},
    "mass_per_length": {"kg/m": 1.0, "kg/km": 0.001, "g/m": 0.001},
    "resistance": {"ohm/m": 1.0, "ohm/km": 0.001},
    "density": {"kg/m^3": 1.0},
    "speed": {"m/s": 1.0, "km/h": 1 / 3.6},
    "angle": {"deg": 1.0},
    "irradiance": {"W/m^2": 1.0},
    "frequency": {"Hz": 1.0},
    "stiffness": {"N/m": 1.0, "kN/m": 1000.0},
    "load": {"N/m": 1.0, "daN/m": 10.0},
    "mass": {"kg": 1.0},
    "duration": {"s": 1.0, "min": 60.0, "h": 3600.0},
    "ratio": {"%": 0.01},
    "strain": {"%": 0.01},
    "expansion": {"1/K": 1.0},
}

_QUANTITY = re.compile(r"([-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]+)?)\s*(.*)", re.DOTALL)
_NUMBER = re.compile(r"[-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]+)?")
_FACTOR = r"(?:[^\W\d_]+|%|us_ft)(?:\^-?[1-9])?"
_UNIT = re.compile(rf"(?:1/)?{_FACTOR}(?:[*/]{_FACTOR})*")
_SHARE = re.compile(r"([0-9]+\.?[0-9]*|\.[0-9]+)\s*%\s*RTS", re.IGNORECASE)
#: Letters of the same meaning, to one spelling.
_SPELLING = {
    "us-ft": "us_ft",
    "°C": "degC",
    "°F": "degF",
    "°": "deg",
    "\u03a9": "ohm",
    "\u2126": "ohm",
    "\u03bc": "u",
    "\u00b5": "u",
    "·": "*",
    "**": "^",
    "²": "^2",
    "³": "^3",
}
#: What people write where they mean something else.
_SLIPS = {"C": "degC", "F": "degF", "lb": "lbf", "lbs": "lbf", "kg": "kgf", "V": "kV"}


class QuantityError(ValueError):
    """A value that is no quantity of its kind; `reason` says why, `hint` what was perhaps meant."""

    def __init__(self, value: object, kind: str, reason: str, hint: str | None = None) -> None:
        self.reason, self.hint = reason, hint
        noun = KINDS[kind].noun if kind in KINDS else kind
        super().__init__(f"{value!r} is no {noun}: {reason}" + (f"; perhaps {hint}?" if hint else ""))


def quantity(value: object, kind: str, *, plain_text: bool = False, unit: str | None = None) -> float:
    """Return a quantity in the SI unit of its kind.

    Parameters
    ----------
    value : float, int or str
        A number in the SI unit of the kind, or text with its unit.
    kind : str
        A key of `KINDS`.
    plain_text : bool
        Take text without a unit as a number, for the cells of a text table.
    unit : str, optional
        The unit of a number without one, in text or not; default: the SI unit of the kind.

    Returns
    -------
    float
        In the unit `KINDS[kind].unit`; always finite.

    Raises
    ------
    QuantityError
        Not a number, not finite, no unit, an unknown unit or a unit of something else.

    References
    ----------
    Factors: pint's registry, which follows NIST SP 811. `psf` is lbf/ft2, `us-ft` is 1200/3937 m.

    Examples
    --------
    >>> quantity("25 kN", "force"), quantity(10, "temperature")
    (25000.0, 10.0)
    >>> round(quantity(59, "length", unit="ft"), 4), quantity("18 m", "length", unit="ft")
    (17.9832, 18.0)
    >>> quantity("5 kV", "length")
    Traceback (most recent call last):
    corridor.units.QuantityError: '5 kV' is no length: the unit 'kV' measures voltage
    """
    if unit is not None and (not isinstance(value, str) or _NUMBER.fullmatch(value.strip())) and not isinstance(
            value, bool):
        return _finite(_read(f"{value} {unit}", kind, False), value, kind)
    if isinstance(value, str):
        return _finite(_read(value, kind, plain_text), value, kind)
    if isinstance(value, bool) or not isinstance(value, Real):
        raise QuantityError(value, kind, f"it is {_describe(value)}")
    return _finite(value, value, kind)


def scale(unit: str | None, kind: str) -> tuple[float, float]:
    """Return factor and offset that lead from a unit to the SI unit of a kind: `factor * number + offset`.

    Examples
    --------
    >>> round(scale("degF", "temperature")[1], 9), scale(None, "length")
    (-17.777777778, (1.0, 0.0))
    """
    if unit is None:
        return 1.0, 0.0
    zero = quantity(0, kind, unit=unit)
    return quantity(1, kind, unit=unit) - zero, zero


def share(text: object) -> float:
    """Return a share of the rated tensile strength as a fraction.

    Examples
    --------
    >>> share("20 % RTS")
    0.2
    """
    found = _SHARE.fullmatch(str(text).strip())
    if not found:
        raise QuantityError(text, "share of the rated tensile strength", "it is not like '20 % RTS'")
    return float(found[1]) / 100


def _finite(number: Real | float, value: object, kind: str) -> float:
    try:
        number = float(number)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise QuantityError(value, kind, "it is not finite")
    return number


def _describe(value: object) -> str:
    words = {bool: "true or false", list: "a list", dict: "a table", type(None): "nothing"}
    return words.get(type(value), f"a {type(value).__name__}")


def _read(text: str, kind: str, plain_text: bool) -> float:
    """Return number times unit of a text, in SI."""
    found = _QUANTITY.fullmatch(text.strip())
    if not found:
        raise QuantityError(text, kind, "it does not begin with a number")
    number, unit = float(found[1]), _spell(found[2])
    if not unit and plain_text:
        return number
    _check_form(text, unit, kind)
    return _convert(text, number, unit, kind)


def _spell(unit: str) -> str:
    """Return the unit in one spelling: no blanks about signs, powers with ^.

    >>> _spell("kg / m3"), _spell("us-ft"), _spell("µm/m")
    ('kg/m^3', 'us_ft', 'um/m')
    """
    for letters, spelling in _SPELLING.items():
        unit = unit.replace(letters, spelling)
    unit = re.sub(r"\s*([*/^])\s*", r"\1", unit)
    return re.sub(r"(?<=[A-Za-z])(?=[2-9]\b)", "^", unit)


def _check_form(text: str, unit: str, kind: str) -> None:
    """Raise where the text after the number is not one unit."""
    if not unit:
        example = f"{text.strip()} {KINDS[kind].known[0]}"
        raise QuantityError(text, kind, "text needs a unit; a number without quotes is SI", repr(example))
    if unit.startswith(","):
        raise QuantityError(text, kind, "a number takes a decimal point and no comma")
    if _UNIT.fullmatch(unit):
        return
    if re.search(r"\s[-+.]?[0-9]", unit):
        raise QuantityError(text, kind, "it holds two numbers; write one with one unit")
    raise QuantityError(text, kind, f"{unit!r} is no unit", _suggest(unit, kind))


def _convert(text: str, number: float, unit: str, kind: str) -> float:
    """Return the value in SI; units are checked by list where `closed`, else by dimension."""
    facts, common = KINDS[kind], _COMMON.get(kind, {})
    if unit in common:
        return number * common[unit]
    foreign = facts.closed or any(unit in units for units in _COMMON.values())
    if foreign and unit not in facts.known:
        raise QuantityError(text, kind, _measures(unit) or f"{unit!r} is no unit of it", _suggest(unit, kind))
    if kind == "temperature":
        return float(_registry().Quantity(number, unit).to("degC").magnitude)
    target, parsed = _registry().parse_units(facts.target), _parse(_difference(unit))
    if parsed is None:
        raise QuantityError(text, kind, f"the unit {unit!r} is not known", _suggest(unit, kind))
    if parsed.dimensionality != target.dimensionality:
        reason = _measures(unit) or f"the unit {unit!r} measures something else"
        raise QuantityError(text, kind, reason, _suggest(unit, kind))
    return float(_registry().Quantity(number, parsed).to(target).magnitude)


@cache
def _registry() -> pint.UnitRegistry[float]:
    """Return pint's registry with the trade's units added; 0.1 s, once."""
    import pint

    registry: pint.UnitRegistry[float] = pint.UnitRegistry()
    registry.define("us_ft = survey_foot")
    registry.define("psf = force_pound / foot ** 2")
    return registry


@cache
def _parse(unit: str) -> pint.Unit | None:
    """Return pint's unit, or None where there is none of that name."""
    from pint import DefinitionSyntaxError, UndefinedUnitError

    try:
        return _registry().parse_units(unit)
    except (UndefinedUnitError, DefinitionSyntaxError):
        return None


def _difference(unit: str) -> str:
    """Return the unit with degrees as differences: 1/degC is 1/K, not something at an offset."""
    return re.sub(r"\bdeg(?=[CF]\b)", "delta_deg", unit)


def _measures(unit: str) -> str | None:
    """Return the words that say which other kind a unit belongs to, or None."""
    for kind, units in _COMMON.items():
        if unit in units:
            return f"the unit {unit!r} measures {KINDS[kind].noun}"
    parsed = _parse(_difference(unit))
    if parsed is None:
        return None
    for facts in KINDS.values():
        target = _registry().parse_units(facts.target)
        if unit in facts.known if facts.closed else parsed.dimensionality == target.dimensionality:
            return f"the unit {unit!r} measures {facts.noun}"
    return None


def _suggest(unit: str, kind: str) -> str | None:
    """Return the unit that was perhaps meant, or None."""
    known = KINDS[kind].known
    if _SLIPS.get(unit) in known:
        return repr(_SLIPS[unit])
    folded = {name.casefold(): name for name in known}
    match = folded.get(unit.casefold()) or nearest(unit, known)
    return repr(match) if match else None
