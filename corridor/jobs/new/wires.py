"""Wires and weather of a new study: temperatures, stringing and cases that are assumed, on the side of more sag."""

import math

from corridor.csv_rows import read_records
from corridor.inputs.prescribed import PRESCRIBED

__all__ = ["put_cases", "put_option"]

#: Everyday tension as a share of the rated strength [%] by words of the family, the first that fits: lower than usual,
#: so that sags are greater; common practice, no source.
_SHARES = (("annealed", 12), ("carbon", 14), ("gap", 14), ("on steel", 16), ("clad", 16), ("thermal", 16),
           ("steel", 12), ("", 13))
#: Temperature at which it holds [°C].
_EVERYDAY = 15
_COMMON = "common practice, no source"


def put_option(draft, conductor, bundle, reason_of_bundle):
    """Write the option of a conductor; return whether it has an emergency temperature."""
    draft.table("[[options]]", "options.wire")
    draft.put("name", "wire")
    draft.put("conductor", conductor.name)
    if bundle > 1:
        draft.put("bundle", bundle, reason_of_bundle)
    greatest, short = conductor.maximum_temperature, conductor.emergency_temperature
    emergency = math.isfinite(short) and short > greatest
    known = math.isfinite(greatest)
    draft.put("maximum_temperature", float(greatest) if known else 100.0,
              "the maximum that its materials are known to bear: the sag is greatest there" if known else
              "nothing is known of its materials")
    if emergency:
        draft.put("emergency_temperature", float(short),
                  "the maximum that its materials are known to bear for a short time")
    share = next(share for word, share in _SHARES if word in conductor.family)
    draft.table("[[options.stringing]]", "options.wire.stringing.0")
    draft.put("limit", f"{share} % RTS", f"lower than usual for {conductor.family}, so that sags are greater: the safe "
              f"side below; not for lines that cross above; {_COMMON}")
    draft.put("temperature", _EVERYDAY)
    draft.put("condition", "final")
    draft.table("[[options.stringing]]", "options.wire.stringing.1")
    draft.put("limit", "50 % RTS", f"what wires are held to under load; {_COMMON}")
    draft.put("case", "ice and wind")
    draft.put("condition", "initial")
    return emergency


def put_cases(draft, emergency, rules):
    """Write the usual cases, and those of bare wires that the code of a table of rules prescribes."""
    vertical = ["vertical"]
    _case(draft, "hot", {"temperature": "maximum", "checks": vertical})
    if emergency:
        _case(draft, "emergency", {"temperature": "emergency", "checks": vertical})
    _case(draft, "ice", {"temperature": 0, "ice": "15 mm", "checks": vertical},
          f"15 mm at 0 °C; more than is usual in mild regions, and too little in heavy ones; {_COMMON}")
    _case(draft, "ice and wind", {"temperature": -5, "ice": "15 mm", "wind": "190 Pa", "checks": ["tension"]},
          f"15 mm and 190 Pa at -5 °C, for the tension; {_COMMON}")
    _case(draft, "swung", {"temperature": 10, "wind": "400 Pa", "checks": ["horizontal", "vertical"]},
          f"400 Pa at 10 °C: a storm that swings wires far; {_COMMON}")
    _case(draft, "cold", {"temperature": -20, "checks": vertical},
          f"-20 °C, for lines that cross above; {_COMMON}")
    for row in read_records(PRESCRIBED):
        if row["table"] == rules and not row["ice"] and row["temperature"] != "maximum":
            _case(draft, row["temperature"], {"temperature": row["temperature"], "checks": vertical})


def _case(draft, name, keys, reason=None):
    draft.table("[[cases]]", f"cases.{name}")
    draft.put("name", name)
    for key, value in keys.items():
        draft.put(key, value, mark=reason.partition("; ")[2] if reason and key != "checks" else None)
    if reason:
        draft.assume(f"cases.{name}", reason.partition(";")[0], reason.partition("; ")[2])
