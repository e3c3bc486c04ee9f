"""Which law of elongation a conductor has: what is asked for, or else what its family and strands suggest."""

import math

from corridor.conductor.curves import yielding
from corridor.conductor.materials import find_family, find_material
from corridor.errors import nearest

__all__ = ["ELONGATIONS", "choose_law", "elongation_of"]

#: Laws of elongation that a conductor may name, besides a set of curves.
ELONGATIONS = ("linear", "annealed", "gap")
#: The set that hard-drawn aluminium on steel of 26 and 7 wires has without being asked.
STANDARD_CURVES = "aluminium on steel 26/7"
#: Greatest compression in the literature on steel cores [Pa] (CIGRE TB 244 and TB 324, recalled).
GREATEST_COMPRESSION = 18e6


def choose_law(text, given, core_less, sets, place):
    """Complete the law of elongation in `text`, and refuse one that is not known or does not fit."""
    law = text["elongation"] = text["elongation"] or _usual_law(text, given)
    if law not in ELONGATIONS and law not in sets:
        close = nearest(law, (*ELONGATIONS, *sets))
        raise place.error("elongation", repr(law), ", ".join((*ELONGATIONS, *sets)), close and repr(close))
    if core_less and law in ("gap", *sets):
        raise place.error("elongation", repr(law), "linear for a conductor without a core")
    if law == "annealed" and math.isnan(find_material(text["outer_material"] or "AL1").yield_stress):
        raise place.error("elongation", repr(law), "an outer material that yields, such as A0")


def _usual_law(text, given):
    """The family's law, the standard curves for its strands, or the linear one where a set is given."""
    law = find_family(text["family"]).elongation if text["family"] else "linear"
    if "permanent_set" in given and law != "gap":
        return "linear"
    made = text["outer_material"], text["core_material"], given.get("outer_strands"), given.get("core_strands")
    return STANDARD_CURVES if law == "linear" and made == ("AL1", "ST1A", 26, 7) else law


def elongation_of(text, given, numbers, core_less, sets):
    """Curves, band of compression, and the core's second expansion."""
    outer = find_material(text["outer_material"] or "AL1")
    core = find_material(text["core_material"]) if text["core_material"] else None
    law = text["elongation"]
    family = find_family(text["family"]) if text["family"] else None
    low, high = (family.compression_low, family.compression_high) if family else (0.0, GREATEST_COMPRESSION)
    if core_less:
        low = high = 0.0
    value = numbers["compression"]
    return {
        "curves": yielding(law, outer.yield_stress, outer.hardening, numbers["outer_modulus"])
        if law == "annealed" else sets.get(law),
        "set_given": "permanent_set" in given or family is None or core_less or not math.isnan(outer.yield_stress),
        "compression_low": min(given.get("compression_low", low), value),
        "compression_high": max(given.get("compression_high", high), value),
        **_second_expansion(core, numbers["core_expansion"]),
    }


def _second_expansion(core, expansion):
    changes = core is not None and not math.isnan(core.expansion_change)
    return {
        "core_expansion_above": core.expansion_above if changes else expansion,
        "core_expansion_change": core.expansion_change if changes else math.inf,
    }
