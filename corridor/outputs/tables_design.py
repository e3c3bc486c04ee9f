"""What a search of conductors came to: text for a terminal, a table of the finalists, and text for a study."""

from textwrap import wrap

import numpy as np

from corridor.outputs.tables import WIDTH
from corridor.outputs.tables_compare import Table, compare_table, compare_text

__all__ = ["CAUTION", "design_table", "design_text", "places", "study_text"]

CAUTION = ("A finalist is a geometry to ask makers about, not a product: its core, wires, strength and moduli are "
           "estimates.")


def design_table(result):
    """Return the table of the finalists beside the existing wire: that of a comparison, with families and slacks.

    Parameters
    ----------
    result : DesignResult
        Of `corridor.planning.conductor_search.search`, with finalists.
    """
    table = compare_table(result.comparison)
    at = [each.index for each in result.finalists]
    slack = tuple((f"slack, {name}", "%", [np.nan, *(100 * abs(max(values[i], -1e9)) * np.sign(
        round(values[i], 6)) for i in at)], ".1f")
        for name, values in result.screened.slack.items())
    first = (("family", "", ["-", *(each.entry["family"] for each in result.finalists)], ""),
             ("chosen for", "", ["-", *(each.chosen for each in result.finalists)], ""))
    notes = (("Slack", ("how much of each limit is to spare on the ruling spans, before the exact check; 0 where a "
                        "limit governs how it is strung", *result.notes)),
             ("Best of the finalists", _best(result)), ("Checked span by span", _found(result)),
             ("Not a product", (CAUTION,)))
    rows = (table.rows[0], *first, *table.rows[1:], *_place_rows(result), *slack)
    return Table(table.names, rows, (*notes, *table.notes), table.basis)


def _objectives(result):
    """What finalists are compared by: name, value of each, whether the most is best."""
    c, at = result.comparison, range(1, len(result.finalists) + 1)
    return (("minimum loss", [c.energy[i] for i in at], False),
            ("maximum rating", [c.options["continuous_current_a"][i] for i in at], True),
            ("minimum mass", [c.options["mass_kg_per_m"][i] for i in at], False),
            ("fewest violations", [c.violations[i][2] for i in at], False))


def _place_rows(result):
    """Place of each finalist by each of the things wanted of a wire; what is equal shares a place."""
    return tuple((f"place, {name}", "", [None, *places(values, most=most)], "d")
                 for name, values, most in _objectives(result))


def places(values, *, most=False):
    """Return the place of each value, 1 for the least, or with `most` the greatest; None where it is unknown.

    What is equal shares a place.

    Examples
    --------
    >>> places([3.0, 1.0, 1.0, float("nan")])
    [3, 1, 1, None]
    """
    values = np.asarray(values, float) * (-1 if most else 1)
    known = np.isfinite(values)
    return [int(np.sum(values[known] < value)) + 1 if ok else None for value, ok in zip(values, known, strict=True)]


def _best(result):
    names = [each.option.name for each in result.finalists]
    return tuple(f"{what}: " + ", ".join(name for name, place in zip(names, places(values, most=most), strict=True)
                                         if place == 1) for what, values, most in _objectives(result))


def _found(result):
    """What the exact check of each finalist found beyond what the existing wire has."""
    def words(each):
        if not each.new:
            return "no violation that the existing wire does not have"
        more = f"; and {len(each.new) - 3} more" if len(each.new) > 3 else ""
        return f"{len(each.new)} new violations: " + "; ".join(each.new[:3]) + more

    return tuple(f"{each.option.name}: {words(each)}" for each in result.finalists)


def design_text(result):
    """Return lines for a terminal, 79 columns at most."""
    s = result.screened
    total, met = len(s.candidates), int(s.meets.sum())
    head = (f"{total} candidates on {len(result.line.span)} ruling spans in {result.seconds:.1f} s: {met} meet every "
            f"limit, and {len(s.front)} of them no other beats in both loss at {result.of_loss} and "
            "rating. Then the lightest, the one with the most to spare, and the best of other builds.")
    refused = "Refused first by: " + ", ".join(f"{name} {number}" for name, number in s.failed().items()) + "."
    lines = [*wrap(head, WIDTH.get()), *wrap(refused, WIDTH.get()), ""]
    if not result.finalists:
        return [*lines, *wrap(_advice(s), WIDTH.get())]
    return [*lines, *compare_text(design_table(result))]


#: What may help where a limit refuses candidates.
_HELPS = {"wind on the structures": "a smaller diameter (diameter_least) or a greater load_ratio",
          "weight on the structures": "lighter cores, a smaller diameter or a greater load_ratio",
          "tension": "stronger or lighter cores, or a greater load_ratio",
          "sag": "stronger or lighter cores, or a greater load_ratio",
          "height": "less taut stringing, for wires of other lines are above",
          "swing": "heavier cores or a smaller diameter, for things are beside the line",
          "required current": "aluminium or cores that bear more heat, a greater diameter, or a smaller "
                              "required_current"}


def _advice(screened):
    """What to change in [design] where no candidate is left: by what refuses most of them."""
    if screened.refused is not None and screened.refused.any():
        return ("None is left: all that meet the limits of the ruling spans have a violation in a span where the "
                "existing wire does not. new_violations = true in [design] takes them.")
    failed = {name: number for name, number in screened.failed().items() if number}
    if not failed:
        return "None is left: [design] asks for a range in which no wire can be made. Widen it."
    most = max(failed, key=failed.get)
    return f"None is left, mostly for {most} ({failed[most]} of {len(screened.candidates)}). Try {_HELPS[most]}."


def study_text(result):
    """Return lines of TOML, the finalists as `[[conductors]]` and `[[options]]`, to paste into the study."""
    lines = [f"# Made by corridor design. {CAUTION}"]
    for each in result.finalists:
        lines += ["", *_conductor(each.entry), "", *_option(each, result)]
    return [*lines, ""]


#: How values are written: factor and unit, or none.
_UNITS = {"outer_area": (1e6, " mm^2"), "core_area": (1e6, " mm^2"), "diameter": (1e3, " mm"),
          "core_diameter": (1e3, " mm"), "outer_wire_diameter": (1e3, " mm"), "rts": (1e-3, " kN"),
          "resistance_20": (1e3, " ohm/km"), "mass": (1.0, " kg/m")}


def _conductor(entry):
    def value(key, v):
        if key in _UNITS:
            factor, unit = _UNITS[key]
            return f'"{v * factor:.9g}{unit}"'
        return f'"{v}"' if isinstance(v, str) else str(v)

    return ["[[conductors]]", *(f"{key} = {value(key, v)}" for key, v in entry.items())]


def _option(each, result):
    wiring, study = each.option.wiring, result.study
    lines = ["[[options]]", f'name = "{each.option.name}"', f'conductor = "{each.entry["name"]}"',
             f"maximum_temperature = {wiring.maximum_temperature:g}",
             f"emergency_temperature = {wiring.emergency_temperature:g}"]
    lines += [f"bundle = {wiring.bundle}"] if wiring.bundle > 1 else []
    lines += [f"bundle_spacing = {wiring.spacing!r}"] if wiring.spacing is not None else []
    lines += [f'bundle_arrangement = "{wiring.arrangement}"'] if wiring.arrangement is not None else []
    existing = next(option for option in study.options if option.existing)
    for s in result.section.stringing or existing.stringing:
        state = f'case = "{s.case}"' if s.case is not None else f"temperature = {s.temperature:g}"
        lines += _limit(s.limit.text, state, s.condition)
    for limit, written in zip(result.line.limits, wiring.stringing, strict=True):
        if limit.kind == "existing":
            bound = "existing" if written.kind == "existing" else f"{written.value:.0f} N"
            lines += _limit(bound, f'case = "{limit.case}"', limit.condition)
    return lines


def _limit(bound, state, condition):
    return ["[[options.stringing]]", f'limit = "{bound}"', state, f'condition = "{condition}"']
