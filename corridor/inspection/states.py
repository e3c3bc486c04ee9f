"""Doubts about weather, temperatures and voltages: numbers in another unit than the study means."""

import re
from dataclasses import replace

import numpy as np

from corridor.inspection.doubt import COMMON, MINOR, SERIOUS, Doubt, Kind, gathered
from corridor.inspection.tops import file_of
from corridor.line.case_loads import sleeves
from corridor.study.districts import ICE_KEYS

__all__ = ["KINDS", "cases", "rating", "temperatures", "voltages"]

ICE = Kind("ice-unusual", SERIOUS, "ice is unlike ice",
           "a thickness in inches or centimetres, a density in lb/ft³, a load in the place of a thickness",
           "density below 250 or above 920 kg/m³, thickness below 2 mm or above 100 mm",
           "ice weighs 917 kg/m³ without air in it, rime 300 and more (ISO 12494, recalled); else " + COMMON,
           'write the unit ("0.5 in", "57 lb/ft^3"), or correct the number')
ICE_WARM = Kind("ice-warm", MINOR, "ice in warm air", "°F written as °C", "ice above 5 °C", "ice melts at 0 °C",
                'write the unit ("32 degF")')
WIND = Kind("wind-unusual", SERIOUS, "the pressure of wind is unlike wind",
            "lb/ft², kgf/m² or a speed written as Pa", "below 40 Pa or above 2,500 Pa",
            "0.613 v^2 at sea level: 8 m/s and 64 m/s",
            'write the unit ("4 psf"), or turn the speed into a pressure')
COOL = Kind("temperature-low", SERIOUS, "the maximum temperature of a wire is low",
            "a temperature of the air, a number of another unit", "maximum_temperature of an option below 40 °C",
            COMMON, "correct it; accept a wire that really is held so cool")
HOT = Kind("hot-not-checked", MINOR, "no case is at the maximum temperature of an option",
           "a case that was left out, a number that is not that of the option",
           "no vertical case at its maximum_temperature or above", COMMON,
           'add a case with temperature = "maximum"')
RATING = Kind("rating-unusual", MINOR, "weather or surface of the rating are unlike what is rated for",
              "ft/s or km/h written as m/s, °F as °C, kA as A",
              "wind above 1.6 m/s, air below -5 or above 55 °C, emissivity or absorptivity below 0.2, a required "
              "current below 50 A", COMMON, "write the unit, or correct the number")
VOLTAGE_BARE = Kind("voltage-bare", SERIOUS, "a voltage is a bare number between 100 and 1,000",
                    "kilovolts in a column or key that is read in volts: 110 stands for 110 kV",
                    "100 V or more and less than 1,000 V, without unit", COMMON,
                    'write voltage_unit = "kV" (or "V", where it really is low voltage), or "400 V" in the study')
VOLTAGE_HIGHEST = Kind("voltage-highest", MINOR, "the highest voltage does not go with the nominal one",
                       "voltages of two systems, a digit typed wrong", "more than 1.25 times the nominal voltage",
                       "IEC 60038 has 1.05 to 1.2 (recalled)", "correct study.voltage or study.highest_voltage")
KINDS = (ICE, ICE_WARM, WIND, COOL, HOT, RATING, VOLTAGE_BARE, VOLTAGE_HIGHEST)


def cases(evidence):
    """Yield doubts about ice and wind of cases."""
    file = evidence.files["study"]
    wires = np.array([option.wiring.conductor.diameter for option in evidence.inputs.options])
    for case in _apart(evidence.inputs.cases):
        thick = sleeves(wires, [case])
        if case.icy and not ((thick >= 2e-3).all() and (thick <= 0.1).all() and 250 <= case.ice_density <= 920):
            worst = 1e3 * (thick.max() if thick.max() > 0.1 else thick.min())
            told = f"{case.ice_told}, {worst:.3g} mm thick" if case.by_weight else (
                f"{case.ice * 1e3:g} mm of {case.ice_density:g} kg/m³")
            yield Doubt(ICE, file, case.name, told, "2 to 100 mm of 250 to 920 kg/m³")
        if case.icy and not isinstance(case.temperature, str) and case.temperature > 5:
            yield Doubt(ICE_WARM, file, case.name, f"ice at {case.temperature:g} °C", "5 °C or colder")
        if case.wind and not 40 <= case.wind <= 2500:
            yield Doubt(WIND, file, case.name, f"{case.wind:g} Pa", "40 to 2,500 Pa")


def _apart(cases):
    """Cases, and the states of shield wires whose ice or temperature is another."""
    for case in cases:
        yield case
        if case.shield and any(getattr(case, name) != getattr(case.shield, name)
                               for name in (*ICE_KEYS, "ice_density", "temperature")):
            yield replace(case.shield, name=f"{case.name}, shield wires", wind=0.0)


def temperatures(evidence):
    """Yield doubts about the maximum temperatures of options."""
    hot = [case.temperature for case in evidence.inputs.cases
           if "vertical" in case.checks and not case.icy and case.broken is None]
    for option in evidence.inputs.options:
        T = option.wiring.maximum_temperature
        if T < 40:
            yield Doubt(COOL, evidence.files["study"], option.name, f"{T:g} °C", "40 °C or more")
        if not any(each in ("maximum", "emergency") if isinstance(each, str) else each >= T for each in hot):
            yield Doubt(HOT, evidence.files["study"], option.name, f"no vertical case at {T:g} °C or above",
                        "a case at its maximum temperature")


def rating(evidence):
    """Yield doubts about what currents are computed for."""
    r, file = evidence.inputs.study.rating, evidence.files["study"]
    if r is None:
        return
    for key, value, low, high, unit in (
            ("wind_speed", r.wind_speed, 0.0, 1.6, "m/s"), ("ambient", r.ambient, -5.0, 55.0, "°C"),
            ("emissivity", r.emissivity, 0.2, 1.0, ""), ("absorptivity", r.absorptivity, 0.2, 1.0, ""),
            ("required_current", r.required_current, 50.0, 20_000.0, "A")):
        if value is not None and not low <= value <= high:
            yield Doubt(RATING, file, f"rating.{key}", f"{value:g} {unit}".strip(), f"{low:g} to {high:g} "
                                                                                    f"{unit}".strip())


def voltages(evidence):
    """Yield doubts about voltages of the line and of lines that cross it."""
    study = evidence.inputs.study
    nominal, highest = study.study.voltage, evidence.inputs.voltage
    if highest > 1.25 * nominal:
        yield Doubt(VOLTAGE_HIGHEST, evidence.files["study"], "study.highest_voltage",
                    f"{highest / 1e3:g} kV for {nominal / 1e3:g} kV", "up to 1.25 times the nominal voltage")
    for read in evidence.inputs.layers:
        rows = [(name, volts) for name, volts in read.without_unit if 100 <= volts < 1000]
        yield from gathered(VOLTAGE_BARE, file_of(evidence, read.name), read.name, [name for name, _ in rows],
                            [f"{volts:g}, perhaps {volts:g} kV" for _, volts in rows], "volts, or a unit beside")
    for place, value in _without_unit(study.tables):
        if 100 <= value < 1000:
            yield Doubt(VOLTAGE_BARE, evidence.files["study"], place, f"{value:g}, perhaps '{value:g} kV'",
                        "volts as '400 V', or kilovolts with their unit")


def _without_unit(tables):
    """Keys of voltages of the study's lists that are bare numbers, and those."""
    for name in ("obstacles", "point_clouds"):
        for i, table in enumerate(tables.get(name, ())):
            for key, value in table.items():
                if re.search("voltage$", key) and isinstance(value, int | float) and not isinstance(value, bool):
                    yield f"{name}.{i}.{key}", value
