"""The states that a code prescribes for its clearances, and those of them that a study has no case of.

A table of rules asks for so much in the states of the code: without a case of such a state nothing was compared there.
"""

import numpy as np

from corridor.clearance.rule_files import FOLDER
from corridor.constants import GLAZE_DENSITY
from corridor.csv_rows import read_records
from corridor.line.case_loads import case_loads
from corridor.line.facts import Case, Option
from corridor.mechanics.loads import ice_thickness
from corridor.study.districts import find_district
from corridor.units import quantity

__all__ = ["PRESCRIBED", "missing_states"]

#: The table of the package.
PRESCRIBED = FOLDER / "prescribed_states.csv"
#: How far from the temperature of a state a case may be [K]: codes print 50 °C for 120 °F.
_NEAR = 1.2
#: The share of a district's ice, and of its density, that is taken for it: codes print 12.5 mm for half an inch.
_ICE = 0.98


def missing_states(table: str | None, cases: tuple[Case, ...], options: tuple[Option, ...]) -> tuple[str, ...]:
    """Return words for every state that the code of a built-in table prescribes and no case is of.

    A case is of a state where it looks at vertical clearance in still air and in the final condition, with the
    temperature of the state, and with even ice where the state has ice: that of the load district, where a case names
    one.

    Parameters
    ----------
    table : str or None
        Name of the built-in table.
    cases : tuple of Case
    options : tuple of Option
    """
    looked_at = [case for case in cases if case.wind == 0 and "vertical" in case.checks and case.condition == "final"
                 and not case.uneven]
    ice = _district_ice(cases)
    words = []
    for row in read_records(PRESCRIBED):
        if row["table"] != table or (row["ice"] and ice == 0):
            continue
        if not any(_is_of(case, row, ice, options) for case in looked_at):
            wanted = f'temperature = "{row["temperature"]}"' + (', ice = "..."' if row["ice"] else "")
            source = "; ".join((f"{row['authority']}, {row['clause']}", row["confidence"]))
            words.append(f"no case of this state: {row['state']} ({source}): write a case with {wanted}, "
                         'checks = ["vertical"]')
    return tuple(words)


def _district_ice(cases):
    """Greatest ice of the load districts that cases name [m], None where none does.

    Those are the American ones, by their constant: extreme wind is without ice in every district, and other codes say
    nothing of the ice of this one.
    """
    named = [find_district(case.district).fixed for case in cases if case.district]
    return max((fixed["ice"] for fixed in named if fixed.get("constant")), default=None)


def _is_of(case, row, ice, options):
    """Whether a case is of the state of a row."""
    if case.icy != bool(row["ice"]) or (row["ice"] and not _as_heavy(case, ice or 0.0, options)):
        return False
    if row["temperature"] == "maximum":
        return _as_hot(case, options)
    wanted = quantity(row["temperature"], "temperature")
    return not isinstance(case.temperature, str) and abs(case.temperature - wanted) <= _NEAR


def _as_heavy(case, ice, options):
    """Whether the ice of a case is as thick [m] as that of a district, and as dense; ice by its weight as heavy as such
    ice on the wire of every option."""
    if not case.by_weight:
        return case.ice >= _ICE * ice and case.ice_density >= _ICE * GLAZE_DENSITY
    D = np.array([option.wiring.conductor.diameter for option in options])
    weight = case_loads(D, 0.0, [case])[0][:, 0]
    return bool((ice_thickness(D, weight, GLAZE_DENSITY) >= _ICE * ice).all())


def _as_hot(case, options):
    """Whether every option is at its maximum temperature in a case, or hotter."""
    for option in options:
        wiring = option.wiring
        own = {"maximum": wiring.maximum_temperature, "emergency": wiring.emergency_temperature}
        temperature = own.get(case.temperature, case.temperature)
        if temperature is None or temperature < wiring.maximum_temperature:
            return False
    return True

