"""Sag and tension as text: a table of cases, and a stringing chart."""

from textwrap import wrap

import numpy as np

from corridor.outputs.tables import WIDTH, aligned, number

__all__ = ["chart_text", "curves_text", "first_charts", "sag_text"]


def sag_text(columns):
    """Return lines of sag and tension, one table a section and kind of wire.

    Parameters
    ----------
    columns : dict of ndarray
        Of `corridor.jobs.sag.SagResult.sections`.
    """
    lines = ["Horizontal tension [kN], sag of the ruling span [m], maximum tension at a",
             "support [% of strength]; maximum sag of any span [m] in equilibrium, final.",
             "Where it is not known what loads a wire has seen, final tension and sag are",
             "those of the end of its history at which it hangs lower, percents of the end",
             "at which it pulls more.",
             "'-': the wire has no such temperature, or no answer.", ""]
    for rows in _blocks(columns, ("line", "section", "wire_kind")):
        first = {name: column[0] for name, column in rows.items()}
        lines += [f"{first['line']}, {first['section']}, {first['wire_kind']}, ruling span "
                  f"{first['ruling_span_m']:.1f} m", "", *_cases(rows), ""]
    return lines


def _blocks(columns, names):
    """Rows that are alike in some columns, in the order in which they first appear."""
    keys = list(zip(*(columns[name] for name in names), strict=True))
    places = {}
    for index, key in enumerate(keys):
        places.setdefault(key, []).append(index)
    for rows in places.values():
        yield {name: column[rows] for name, column in columns.items()}


_HEADS = (("", "", "initial", "", "", "final", "", "", "", "maximum"),
          ("option, case", "°C", "kN", "sag", "%", "kN", "sag", "%", "sag", "in span"))


def _cases(rows):
    """Table of one section: below each option a line a case, initial beside final."""
    cells = []
    for pair in _blocks(rows, ("option", "case")):
        of = {condition: index for index, condition in enumerate(pair["condition"])}
        last = of["final"]
        greatest = number(pair["greatest_sag_m"][last], ".2f")
        cells.append([f"  {pair['case'][0]}", number(pair["temperature_c"][0], "g"),
                      *_state(pair, of.get("initial")), *_state(pair, last), greatest,
                      pair["greatest_sag_span"][last] or "-"])
    lines = aligned(_HEADS[1], cells, above=_HEADS[0])
    options = [pair["option"][0] for pair in _blocks(rows, ("option", "case"))]
    told, before = lines[:2], None
    for option, line in zip(options, lines[2:], strict=True):
        told += [line] if option == before else [option, line]
        before = option
    return told


def _state(rows, index):
    if index is None:
        return ["-", "-", "-"]
    return [number(rows["horizontal_tension_n"][index] / 1e3, ".2f"), number(rows["ruling_span_sag_m"][index], ".2f"),
            number(rows["percent_rts"][index], ".1f")]


#: Line of a chart below its head.
_ACROSS = "wire temperature [°C] across"
#: Conditions of a chart, where there is more to say.
_CONDITION = {"final": "final, as all loads have stretched it that may have come"}
#: Blocks of a chart: heading, column, factor and form.
_CHART = (("sag [m]", "sag_m", 1.0, ".2f"), ("horizontal tension [kN]", "horizontal_tension_n", 1e-3, ".2f"),
          ("time of return {returns} of a jerk [s]", "return_time_s", 1.0, ".1f"))


def chart_text(columns):
    """Return lines of a stringing chart: spans down, temperatures across, of the first wire of each kind in a span.

    Parameters
    ----------
    columns : dict of ndarray
        Of `corridor.jobs.sag.chart_study`.
    """
    lines = []
    for rows in _blocks(columns, ("line", "section", "wire_kind", "option")):
        first = {name: column[0] for name, column in rows.items()}
        lines += [f"{first['line']}, {first['section']}, {first['option']}, {first['wire_kind']} {first['wire']}, "
                  f"{_CONDITION.get(first['condition'], first['condition'])};", _ACROSS, ""]
        for title, name, factor, form in _CHART:
            lines += [title.format(**first), *_grid(rows, name, factor, form), ""]
    return lines


def first_charts(lines, most):
    """Return the first of some charts, as many as fit in `most` lines and one at least, and the number of the others.

    Parameters
    ----------
    lines : list of str
        Of `chart_text`.
    most : int
    """
    begins = [k for k, line in enumerate(lines) if k + 1 < len(lines) and lines[k + 1] == _ACROSS]
    ends = [*begins[1:], len(lines)]
    fit = max(sum(end <= most for end in ends), 1)
    return (lines, 0) if fit >= len(begins) else (lines[:ends[fit - 1]], len(begins) - fit)


def _grid(rows, name, factor, form):
    """Spans down and temperatures across, in as many blocks as the width asks for."""
    spans = [next(_blocks(span, ("wire",))) for span in _blocks(rows, ("span",))]
    first = [f"{span['span'][0]} {span['span_length_m'][0]:.0f} m" for span in spans]
    heads = [f"{T:g}" for T in spans[0]["temperature_c"]]
    cells = [[number(factor * value, form) for value in span[name]] for span in spans]
    wide = 2 + max(map(len, [*heads, *(cell for row in cells for cell in row)]))
    blocks = -(-len(heads) // max((WIDTH.get() - max(map(len, first))) // wide, 1))
    lines = []
    for part in np.array_split(np.arange(len(heads)), blocks):
        lines += aligned(("", *(heads[i] for i in part)),
                         [[word, *(row[i] for i in part)] for word, row in zip(first, cells, strict=True)])
    return lines


def curves_text(curves):
    """Return lines of knees and of how hot each option may get, for one span.

    Parameters
    ----------
    curves : Curves
        Of `corridor.jobs.curves`.
    """
    above = ("", "knee", "band", "maximum", "sag", "allowable", "clears")
    head = ("option", "°C", "°C", "°C", "there m", "m", "to °C")
    cells = []
    for option in curves.options:
        at_maximum = np.interp(option.maximum_temperature, option.temperature, option.sag)
        band = "-" if np.isnan(option.knee_low) else f"{option.knee_low:.0f} to {option.knee_high:.0f}"
        allowed = option.allowable_sag if np.isfinite(option.allowable_sag) else curves.allowable_sag
        cells.append([option.name, number(option.knee), band, number(option.maximum_temperature, "g"),
                      number(at_maximum, ".2f"), number(allowed, ".2f"), option.clears])
    lost = wrap(f"Not assessed, so never the worst: {', '.join(curves.unknown)}", WIDTH.get()) if curves.unknown else []
    titles = [part for line in curves.title_lines for part in wrap(line, WIDTH.get(), subsequent_indent="  ")]
    return [*titles, "", *aligned(head, cells, above=above), *lost]
