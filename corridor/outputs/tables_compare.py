"""The table that compares options: for a terminal, as CSV, as Markdown. Options are its columns."""

import csv
from dataclasses import dataclass
from pathlib import Path
from textwrap import wrap

import numpy as np

from corridor.outputs.tables import WIDTH, inert

__all__ = ["Table", "compare_markdown", "compare_table", "compare_text", "write_compare_csv"]

#: Narrowest column of an option, and widest.
_LEAST, _MOST = 9, 16


@dataclass(frozen=True)
class Table:
    """Rows of (what, unit, values, format), one value per option of `names`, `notes` of (head, lines), and `basis`: how
    each option is sagged, in words."""

    names: tuple
    rows: tuple
    notes: tuple
    basis: tuple = ()

    @property
    def columns(self):
        """The rows as columns: what, unit, and each option by its name."""
        what, unit, values, _ = zip(*self.rows, strict=True)
        return {"what": [text.strip() for text in what], "unit": list(unit),
                **dict(zip(self.names, map(list, zip(*values, strict=True)), strict=True))}


def compare_table(c):
    """Return the table of a comparison.

    Parameters
    ----------
    c : Comparison
        Of `corridor.jobs.compare`.
    """
    rows = (*_wire_rows(c), *_current_rows(c), *_life_rows(c), *_hanging_rows(c), *_finding_rows(c), *_ladder_rows(c))
    return Table(tuple(c.names), rows, _notes(c), tuple("; ".join(words) for words in c.sagging))


def _scaled(values, factor):
    return [np.nan if value is None else value * factor for value in values]


def _wire_rows(c):
    o = c.options
    outer, core = zip(*c.areas, strict=True)
    spacing = [("spacing of these", "m", list(o["bundle_spacing_m"]), ".3g")] * bool((o["bundle"] > 1).any())
    return (("conductor", "", list(o["conductor"]), ""), ("wires per phase", "", list(o["bundle"]), "d"), *spacing,
            ("aluminium area", "mm²", _scaled(outer, 1e6), ".1f"), ("core area", "mm²", _scaled(core, 1e6), ".1f"),
            ("diameter", "mm", _scaled(o["diameter_m"], 1e3), ".1f"), ("mass", "kg/m", list(o["mass_kg_per_m"]), ".3f"),
            ("rated strength (RTS)", "kN", _scaled(o["rated_strength_n"], 1e-3), ".1f"),
            ("maximum temperature", "°C", list(o["maximum_temperature_c"]), ".0f"),
            ("emergency temperature", "°C", list(o["emergency_temperature_c"]), ".0f"))


def _current_rows(c):
    o = c.options
    return (("rating, continuous", "A", list(o["continuous_current_a"]), ".0f"),
            ("rating, emergency", "A", list(o["emergency_current_a"]), ".0f"),
            ("at required current", "°C", list(o["temperature_at_required_current_c"]), ".1f"),
            ("loss at required current", "kW/km", list(o["loss_at_required_current_w_per_m"]), ".1f"),
            ("losses per year", "MWh/km", c.energy, ".0f"),
            ("losses within its rating", "", _within(c), ""))


def _life_rows(c):
    """What options cost over their life, where the study asks for it."""
    if c.life is None:
        return ()
    rows = [("cost of the wire", "per km", list(c.life.first), ".3g")]
    rows += [(f"losses over life{words}", "per km", list(values), ".4g") for words, values in
             zip((", lower price", "", ", higher price"), c.life.losses, strict=True)]
    rows += [(f"whole-life cost{words}", "per km", list(values), ".4g") for words, values in
             zip((", lower price", "", ", higher price"), c.life.total, strict=True)]
    carbon = [("carbon over life", "t/km", list(c.life.carbon), ".4g")] * bool(np.isfinite(c.life.carbon).any())
    return (*rows, ("cost per ampere gained", "per km", list(c.life.ampere), ".3g"),
            ("years to pay back", "", c.life.paid_back, ""), *carbon)


def _within(c):
    """Whether each option may carry the maximum current that its losses are of, in words; None where unknown."""
    return [None if np.isnan(rating) or np.isnan(c.lost_at) else "yes" if c.lost_at <= rating else "no"
            for rating in np.asarray(c.options["continuous_current_a"], float)]


def _hanging_rows(c):
    low, high = zip(*c.knees, strict=True)
    share, constant = zip(*c.everyday, strict=True)
    named = [("everyday", c.states.everyday), ("hot", c.states.hot), ("iced", c.states.iced)]
    return (*((f"maximum sag, {key}", "m", c.sags[key], ".2f") for key, case in named if case is not None),
            ("everyday tension", "% RTS", list(share), ".1f"),
            ("catenary constant, everyday", "m", list(constant), ".0f"),
            ("maximum tension of a wire", "kN", _scaled(c.tension, 1e-3), ".1f"),
            ("of a phase, over the existing", "", c.ratio, ".2f"), ("structure load, over the existing", "",
            c.load_ratio, ".2f"), ("knee, minimum", "°C", list(low), ".0f"), ("knee, maximum", "°C", list(high), ".0f"))


def _finding_rows(c):
    new, inherited, total = zip(*c.violations, strict=True)
    return (("violations", "", list(total), "d"), ("  new", "", list(new), "d"),
            ("  inherited", "", list(inherited), "d"), ("not assessed", "", list(c.options["not_assessed"]), "d"))


def _ladder_rows(c):
    """Current of each line as it is, and with one, two and three of its worst spans remedied."""
    lines = list(dict.fromkeys(c.ladder["line"])) if c.ladder else []
    for line in lines:
        of = f", {line}" if len(lines) > 1 else ""
        for step in range(4):
            word = f"limit current{of}" if step == 0 else f"  {step} span{'s' if step > 1 else ''} remedied"
            yield word, "A", [_step(c.ladder, line, name, step) for name in c.names], ".0f"


def _step(ladder, line, option, step):
    """Current [A] of a step, or of the last where there are fewer: nothing more is to be gained."""
    at = np.flatnonzero((ladder["line"] == line) & (ladder["option"] == option))
    return float(ladder["limit_current_a"][at[min(step, len(at) - 1)]]) if len(at) else np.nan


def _notes(c):
    return (("How the wires are sagged", tuple(f"{name}: {'; '.join(words)}" for name, words
                                               in zip(c.names, c.sagging, strict=True))),
            ("What the rows are", _meanings(c)), *_beyond(c), *_unknown(c))


def _meanings(c):
    states = c.states
    iced = "no case of the study has ice without wind" if states.iced is None else f"the case {states.iced!r}"
    cases = ", ".join(f"{name}: {case}" for name, case in zip(c.names, c.tension_case, strict=True) if case)
    return (f"sags: everyday is the case {states.everyday!r}, hot {states.hot!r}, iced {iced}; each the maximum "
            "of any span", f"maximum tension is in the case of {cases}", f"losses per year: {c.energy_basis}",
            *((f"life: {c.life_words}", "years to pay back: until less loss than that of the existing wire has paid "
               "for the wire; what remedies and outages cost is not in it") if c.life is not None else ()),
            "knee: above it the core alone carries the tension; over all sections",
            "limit current: what the worst span allows, then with worst spans remedied one after the other")


def _beyond(c):
    """What is to be said of losses at a current that an option may not carry."""
    texts = tuple(f"{name} may carry {rating:.0f} A: its losses are told up to {c.lost_at:.0f} A, at which it would be "
                  "hotter than its maximum; do not weigh them against those of a wire that carries that"
                  for name, rating, within in zip(c.names, c.options["continuous_current_a"], _within(c), strict=True)
                  if within == "no")
    return (("Losses beyond the rating", texts),) if texts else ()


def _unknown(c):
    """What the ladder says of lines whose limit is not known."""
    if not c.ladder:
        return ()
    texts = [f"{option}, {line}: {note}" for option, line, note, step in
             zip(*(c.ladder[key] for key in ("option", "line", "note", "spans_fixed")), strict=True)
             if note is not None and step == 0]
    gaps = [f"{c.gaps} rows were not assessed, and none of them is a pass"] if c.gaps else []
    return (("Not known", tuple(gaps + texts)),) if gaps or texts else ()


def _cell(value, form):
    if value is None or (isinstance(value, float) and not np.isfinite(value)):
        return "-"
    # What rounds to nothing has no sign.
    return format(value, f"z{form}" if form.startswith(".") else form) if form else str(value)


def _head(what, unit):
    return f"{what} [{unit}]" if unit else what


def compare_text(table):
    """Return lines of the table for a terminal, 79 columns at most; more options than fit go below each other."""
    first = max(len(_head(what, unit)) for what, unit, *_ in table.rows)
    width = max(_LEAST, min(_MOST, (WIDTH.get() - first) // min(len(table.names), 4) - 2))
    room = max((WIDTH.get() - first) // (width + 2), 1)
    lines = []
    for start in range(0, len(table.names), room):
        lines += [*_block(table, range(start, min(start + room, len(table.names))), first, width), ""]
    for head, texts in table.notes:
        lines.append(head)
        for text in texts:
            lines += wrap(text, WIDTH.get(), initial_indent="- ", subsequent_indent="  ")
        lines.append("")
    return lines


def _block(table, columns, first, width):
    """Lines of some options side by side; long words are folded within their column."""
    lines = _folded("", [table.names[i] for i in columns], first, width)
    lines.append("-" * (first + len(columns) * (width + 2)))
    for what, unit, values, form in table.rows:
        lines += _folded(_head(what, unit), [_cell(values[i], form) for i in columns], first, width)
    return lines


def _folded(what, cells, first, width):
    parts = [wrap(cell, width) or [""] for cell in cells]
    height = max(len(part) for part in parts)
    return ["  ".join([(what if i == 0 else "").ljust(first),
                       *((part[i] if i < len(part) else "").rjust(width) for part in parts)]).rstrip()
            for i in range(height)]


def plain(value):
    """Return a value as Markdown that is text and nothing else: no element, link or new line.

    >>> plain("<b>|[x](y)")
    '&lt;b>\\\\|[x]\\\\(y)'
    """
    text = " ".join(str(value).split())
    return text.replace("&", "&amp;").replace("<", "&lt;").replace("|", "\\|").replace("](", "]\\(")


def compare_markdown(table):
    """Return lines of the table in Markdown."""
    def row(cells):
        return "| " + " | ".join(plain(cell) for cell in cells) + " |"

    lines = [row(["", *table.names]), row(["---", *["---:"] * len(table.names)])]
    lines += [row([_head(what.strip(), unit), *(_cell(value, form) for value in values)])
              for what, unit, values, form in table.rows]
    for head, texts in table.notes:
        lines += ["", f"**{plain(head)}**", "", *(f"- {plain(text)}" for text in texts)]
    return [*lines, ""]


def write_compare_csv(path, table):
    """Write the table as CSV: quantity, unit, then one column per option; what is not known is empty."""
    def cell(value):
        if value is None:
            return ""
        if not isinstance(value, float | np.floating):
            return inert(value)
        return f"{value:.6g}" if np.isfinite(value) else ""

    with Path(path).open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["quantity", "unit", *map(inert, table.names)])
        writer.writerows([what.strip(), unit, *map(cell, values)] for what, unit, values, _ in table.rows)
        if table.basis:
            writer.writerow(["sagging basis", "", *map(inert, table.basis)])
