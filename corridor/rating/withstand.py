"""What a short circuit does to the wires of every option, and to the shield wire."""

import numpy as np

from corridor.thermal.fault import adiabatic_current, adiabatic_temperature
from corridor.thermal.resistance import skin_effect_factor

__all__ = ["fault_rows"]


def fault_rows(options, shield, fault, frequency):
    """Return the rise of temperature in a short circuit against what each wire may take, as columns.

    No heat leaves the wire, all current flows in its outer part, which alone warms, and its resistance is that to
    alternating current at 20 °C: all three err on the hot side. The wire begins at its emergency temperature, or its
    maximum; subconductors share alike. What a field in a steel core or a wire of steel adds is not known here.

    Parameters
    ----------
    options : sequence of Option
    shield : Wiring or None
    fault : Fault
        Of the study.
    frequency : float
        [Hz]

    Returns
    -------
    dict of ndarray
        wire ("phase" or "shield"), option (None of the shield wire), conductor, fault_current_a of one wire,
        duration_s, start_temperature_c, end_temperature_c, permitted_temperature_c, permitted_current_a of one wire,
        withstands.
    """
    wires = [("phase", each.name, each.wiring, 1 / each.wiring.bundle, fault.greatest_temperature) for each in options]
    if shield is not None:
        wires.append(("shield", None, shield, fault.shield_share, fault.shield_greatest_temperature))
    rows = [_row(*wire, fault, frequency) for wire in wires]
    return {name: np.array([row[name] for row in rows], object if name in ("wire", "option", "conductor") else None)
            for name in rows[0]}


def _row(kind, option, wiring, share, greatest, fault, frequency):
    c, t = wiring.conductor, fault.duration
    start = wiring.maximum_temperature if wiring.emergency_temperature is None else wiring.emergency_temperature
    R = c.resistance_20 * float(skin_effect_factor(c.resistance_20, frequency=frequency,
                                                   core_ratio=np.nan_to_num(c.core_diameter) / c.diameter))
    wire = {"heat_capacity": c.outer_heat, "resistance_20": R, "coefficient": c.temperature_coefficient}
    current = fault.current * share
    end = float(adiabatic_temperature(start, current, t, **wire))
    return {"wire": kind, "option": option, "conductor": c.name, "fault_current_a": current, "duration_s": t,
            "start_temperature_c": start, "end_temperature_c": end, "permitted_temperature_c": greatest,
            "permitted_current_a": float(adiabatic_current(start, greatest, t, **wire)), "withstands": end <= greatest}
