"""The hours of a year and the ratings over the air as a part of a page that needs no script: tables and drawings."""

from html import escape
from pathlib import Path
from tempfile import TemporaryDirectory

from corridor.outputs.drawings.hours import draw_exceedance, draw_heat_map, draw_limiting
from corridor.outputs.tables_hours import ADJUSTED, HOLDING, adjusted_tables, holding_tables, strength_text

__all__ = ["hours_part"]


def hours_part(adjusted, tables, stations, step, option, notes, table):
    """Return the part of the page, "" where nothing is known.

    Parameters
    ----------
    adjusted : dict of ndarray or None
        Of `corridor.rating.adjusted.adjusted_rows`.
    tables : dict of dict of ndarray
        Those of a series, by name; none where a study has none.
    stations : ndarray, shape (row of `series_spans`, 2), or None
        [m]
    step : float
        How long an hour of the series lasts [h].
    option : str
        Whose rating is drawn by month and hour.
    notes : sequence of str
    table : callable
        (heads, rows) to the text of a table.
    """
    parts = []
    if tables:
        parts += ["<h3>Spans that hold the line back</h3>", *_holding(tables["series_spans"], table),
                  *_drawings(tables, stations, step, option),
                  f"<pre>{escape(chr(10).join(strength_text(tables['series'])))}</pre>"]
    if adjusted is not None:
        parts += [f"<h3>Ratings over the air</h3><p class=\"note\">{escape(ADJUSTED)}</p>"]
        for title, heads, rows, reasons in adjusted_tables(adjusted):
            parts.append(f"<details><summary>{escape(title)}</summary>{table(heads, rows)}{_items(reasons)}</details>")
    if not parts:
        return ""
    return f'<section id="hours-part"><h2>Hours and seasons</h2>{_items(notes)}{"".join(parts)}</section>'


def _items(texts):
    return f"<ul>{''.join(f'<li>{escape(text)}</li>' for text in texts)}</ul>"


def _holding(columns, table):
    for option, rows, lost in holding_tables(columns):
        yield f"<h4>{escape(option)}</h4>"
        # Margins in metres are asked of every span at many temperatures, which a page does not do.
        yield table(HOLDING[:-1], [row[:-1] for row in rows]) if rows else "<p>None of those assessed.</p>"
        if len(lost):
            yield f"<p>Not assessed, and perhaps worse: {escape(', '.join(lost))}</p>"


def _drawings(tables, stations, step, option):
    """Drawings as text that stands in the page."""
    hours = tables["series_hours"]
    with TemporaryDirectory() as folder:
        path = Path(folder) / "drawing.svg"
        draw_exceedance(path, hours, step)
        yield _figure(path)
        if hours["time"][0] is not None:
            draw_heat_map(path, hours, option)
            yield _figure(path)
        draw_limiting(path, tables["series_spans"], stations)
        yield _figure(path)


def _figure(path):
    text = path.read_text(encoding="utf-8")
    return f"<figure>{text[text.index('<svg'):]}</figure>"
