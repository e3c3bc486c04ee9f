"""Nominal and highest voltages of systems."""

from dataclasses import dataclass

from corridor.study.values import Measure, ValueFault

__all__ = ["HIGHEST", "ObstacleVoltage", "SystemVoltage", "highest"]

_IEC = "IEC 60038 (recalled)"
_USUAL = "IEC 60038 highest voltage in common use (recalled)"
_ANSI = "ANSI C84.1 (recalled)"

# fmt: off
#: Highest voltage [kV] by nominal voltage [kV], with the standard; all recalled, to be verified.
#: 69, 115, 138, 161, 230 and 345 kV are taken as North American systems.
HIGHEST = {
    3.0: (3.6, _IEC), 3.3: (3.6, _IEC), 6.0: (7.2, _IEC), 6.6: (7.2, _IEC), 10.0: (12.0, _IEC),
    11.0: (12.0, _IEC), 15.0: (17.5, _IEC), 20.0: (24.0, _IEC), 22.0: (24.0, _IEC),
    30.0: (36.0, _IEC), 33.0: (36.0, _IEC), 35.0: (40.5, _IEC), 45.0: (52.0, _IEC),
    66.0: (72.5, _IEC), 69.0: (72.5, _ANSI), 90.0: (100.0, _IEC), 110.0: (123.0, _IEC),
    115.0: (121.0, _ANSI), 132.0: (145.0, _IEC), 138.0: (145.0, _ANSI), 150.0: (170.0, _IEC),
    161.0: (169.0, _ANSI), 220.0: (245.0, _IEC), 225.0: (245.0, _USUAL), 230.0: (242.0, _ANSI),
    275.0: (300.0, _USUAL), 330.0: (362.0, _USUAL), 345.0: (362.0, _ANSI), 380.0: (420.0, _USUAL),
    400.0: (420.0, _USUAL), 500.0: (550.0, _USUAL), 750.0: (800.0, _USUAL), 765.0: (800.0, _USUAL),
}
# fmt: on


def highest(nominal):
    """Return the highest voltage of a system and where it is from.

    Parameters
    ----------
    nominal : float
        Nominal voltage, line to line [V].

    Returns
    -------
    voltage : float
        [V]
    source : str

    Examples
    --------
    >>> highest(110e3)
    (123000.0, 'IEC 60038 (recalled), for 110 kV nominal')
    >>> highest(120e3)
    (126000.0, '1.05 x nominal, as no standard value is known for 120 kV')
    """
    kilovolts = round(nominal / 1000, 3)
    if kilovolts in HIGHEST:
        value, source = HIGHEST[kilovolts]
        return value * 1000, f"{source}, for {kilovolts:g} kV nominal"
    return float(
        round(1.05 * nominal)
    ), f"1.05 x nominal, as no standard value is known for {kilovolts:g} kV"


@dataclass(frozen=True)
class SystemVoltage:
    """Read the voltage of a system; small numbers are kilovolts that lack their unit."""

    measure: Measure = Measure("voltage", 0, 1.5e6)
    least: float = 1000.0

    @property
    def accepts(self):
        """Words for what may be written."""
        return f"{self.measure.accepts}, {self.least:g} V or more"

    def __call__(self, value):
        """Return the voltage [V]."""
        voltage = self.measure(value)
        if voltage < self.least:
            hint = None if isinstance(value, str) else f"'{value:g} kV'"
            raise ValueFault(f"{voltage:g} V is too small; a number is in volts", hint)
        return voltage


class ObstacleVoltage(SystemVoltage):
    """Read the voltage of a crossing line: 0 where it carries none, low voltage is allowed."""

    @property
    def accepts(self):
        """Words for what may be written."""
        return f"{self.measure.accepts}, 0 or at least 100 V"

    def __call__(self, value):
        """Return the voltage [V]."""
        voltage = self.measure(value)
        return voltage if voltage == 0 or voltage >= 100 else super().__call__(value)
