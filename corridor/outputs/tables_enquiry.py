"""What a maker has to meet: an enquiry for the finalists of a search, as rows for CSV and as a page of text."""

from textwrap import wrap

import numpy as np

from corridor.outputs.tables import aligned
from corridor.outputs.tables_design import CAUTION

__all__ = ["enquiry_columns", "enquiry_text"]

_WIDTH = 100
#: What is asked of makers besides the numbers.
_ASKED = ("stress-strain and creep curves of the whole conductor and of its core, and the moduli and expansion of both",
          "maximum temperatures in continuous service and for a short time, and for how long",
          "loss of strength at them", "permitted tension while it is strung, and fittings",
          "minimum diameter of travellers")
_TOLERANCES = ("bounds hold with the tolerances of making: 1 % of diameters, 2 % of mass and resistance are usual "
               "(IEC 61089, recalled, medium confidence), so nominal values have to leave room for them")
_ASSUMED = ("strength, mass and resistance are computed from geometry and materials by the recipe of the standards; "
            "moduli, expansion and creep are those of the family. Where a maker's differ, put them into [[conductors]] "
            "and check again")


def enquiry_columns(result):
    """Return the rows of an enquiry as columns: requirement, unit, bound, tolerance, and one of texts by finalist.

    "at most" and "at least" are what the line was searched with: a product beyond it has to be checked again.

    Parameters
    ----------
    result : DesignResult
        With finalists.
    """
    found = [_values(result, each) for each in result.finalists]
    heads = list(found[0])
    told = {"requirement": [name for name, *_ in heads], "unit": [unit for _, unit, *_ in heads],
            "bound": [bound for *_, bound, _ in heads], "tolerance": [tolerance for *_, tolerance in heads]}
    columns = told | {each.option.name: [values[head] for head in heads]
                      for each, values in zip(result.finalists, found, strict=True)}
    return {name: np.array(column, object) for name, column in columns.items()}


def _values(result, finalist):
    """Text of each requirement, by name, unit, bound and tolerance."""
    c, wiring, entry = finalist.option.wiring.conductor, finalist.option.wiring, finalist.entry
    outer, thick, core, core_wire = finalist.wires
    pulled = result.comparison
    place = 1 + [each.option.name for each in result.finalists].index(finalist.option.name)
    shaped = not result.screened.candidates.outer_strands[finalist.index]
    rating = pulled.options["continuous_current_a"][place]
    return {
        ("aluminium", "", "", ""): entry["outer_material"], ("core", "", "", ""): entry["core_material"],
        ("shape of its wires", "", "", ""): "trapezoidal" if shaped else "round",
        ("wires of aluminium", "", "about", ""): str(sum(outer)),
        ("by layer", "", "about", ""): "+".join(map(str, outer)),
        ("thickness of a layer", "mm", "about", "1 %"): f"{thick * 1e3:.2f}",
        ("wires of the core", "", "", ""): "rod" if core == 1 and entry["core_material"] == "CF" else str(core),
        ("diameter of these", "mm", "about", "1 %"): f"{core_wire * 1e3:.2f}",
        ("area of aluminium", "mm²", "at least", "none below"): f"{c.outer_area * 1e6:.1f}",
        ("area of core", "mm²", "at least", "none below"): f"{c.core_area * 1e6:.1f}",
        ("outer diameter", "mm", "at most", "none above"): f"{c.diameter * 1e3:.2f}",
        ("mass", "kg/m", "at most", "none above"): f"{c.mass:.4f}",
        ("rated tensile strength", "kN", "at least", "none below"): f"{c.rts / 1e3:.1f}",
        ("resistance, direct current, 20 °C", "ohm/km", "at most", "none above"): f"{c.resistance_20 * 1e3:.5f}",
        ("temperature in continuous service", "°C", "at least", ""): f"{wiring.maximum_temperature:.0f}",
        ("temperature for a short time", "°C", "at least", ""): f"{wiring.emergency_temperature:.0f}",
        ("maximum tension on this line", "kN", "bears", ""): f"{pulled.tension[place] / 1e3:.1f}",
        ("current in the weather of the study", "A", "about", ""): f"{rating:.0f}",
        ("wires a phase", "", "", ""): str(wiring.bundle)}


def enquiry_text(result):
    """Return lines of an enquiry for makers, a page of text."""
    columns = enquiry_columns(result)
    heads = ["requirement", "unit", "bound", "tolerance", *(each.option.name for each in result.finalists)]
    rows = [list(row) for row in zip(*columns.values(), strict=True)]
    title = result.study.study.title or "a line"
    told = [f"Enquiry: conductors for {title}", "", *wrap(CAUTION, _WIDTH), "", *aligned(heads, rows, left=4), ""]
    for head, texts in (("To be told by the maker", _ASKED),
                        ("What is assumed", (_ASSUMED, _TOLERANCES, *result.notes))):
        told += [head, *(line for text in texts for line in wrap(text, _WIDTH, initial_indent="- ",
                                                                 subsequent_indent="  ")), ""]
    return told
