"""The file itself: frame, looks, scripts and data put together, and what a reader without scripts sees."""

import json
from html import escape
from importlib.resources import files
from pathlib import Path

from corridor.outputs.guard import MARK
from corridor.outputs.page.library import library
from corridor.outputs.schema import layer
from corridor.outputs.styles import COLOURS

__all__ = ["INDEX", "LIBRARY", "html_table", "write_index", "write_library", "write_page"]

#: Files of a folder of pages beside those of the lines.
INDEX, LIBRARY = "index.html", "library.js"

#: Scripts, in the order in which they need each other.
_SCRIPTS = tuple(f"{name}.js" for name in ("looks", "plots", "map", "profile", "cut", "curves", "tables", "plan",
                                            "main"))
#: How a page begins.
_MARK = f"<!DOCTYPE html><!-- {MARK} -->"
#: Layers whose headings a page takes from the schema.
_SHOWN = ("options", "violations", "limits", "not_assessed", "ladder", "sections", "structures", "structure_loads",
          "uncertainty", "surveyed_wires", "inputs")


def write_page(path, title, content, packer, plain, *, beside=False):
    """Write a page.

    Parameters
    ----------
    path : path
        HTML file to write.
    title : str
    content : dict
        What the scripts show; its arrays are in the packer.
    packer : Packer
    plain : dict
        What stands in the page as text: "verdict" and "doubtful" (str), the lists of str "cautions" and "warnings", and
        "compare", the options beside each other: heads, rows and notes of (head, lines); "doubts": heads and rows; and
        "hours", the part of hours and seasons as it stands in the page.
    beside : bool
        Of a page of a folder: the library is read from `LIBRARY` beside it, and a link leads to `INDEX`.

    Raises
    ------
    InputError
        The folder does not exist, or the target is no page of an earlier run.
    CorridorError
        The disk fails.
    """
    from corridor.outputs.page.plots import plot_items

    content = content | {"headings": _headings(), "title": title, "colours": COLOURS}
    text = _fill(_read("page.html"), {
        "mark": _MARK, "title": escape(title), "verdict": escape(plain["verdict"]),
        "doubtful": escape(plain["doubtful"]), "style": _style(),
        "cautions": _items(plain["cautions"]), "warnings": _items(plain["warnings"]),
        "compare": _compared(*plain["compare"]), "doubts": _doubts(*plain["doubts"]), "hours": plain.get("hours", ""),
        "above": f'<p><a href="{INDEX}">All lines</a></p>' if beside else "",
        "origin": " 'self' file:" if beside else "",
        "reader": _read("data.js"), "plots": _script(plot_items()),
        "library": f'<script src="{LIBRARY}"></script>' if beside else f"<script>\n{library()}\n</script>",
        "scripts": "\n".join(map(_read, _SCRIPTS)), "data": packer.text(content)})
    Path(path).write_text(text, encoding="utf-8")


def write_library(path):
    """Write the library that the pages of a folder share."""
    Path(path).write_text(f"/* {MARK} */\n{library()}", encoding="utf-8")


def write_index(path, title, plain, parts):
    """Write the overview of a folder of pages, which needs no script.

    Parameters
    ----------
    path : path
        HTML file to write.
    title : str
    plain : dict
        "verdict" and "doubtful" (str), the lists of str "cautions" and "warnings", "doubts": heads and rows.
    parts : str
        What stands between, as HTML.
    """
    text = _fill(_read("index.html"), {
        "mark": _MARK, "title": escape(title), "verdict": escape(plain["verdict"]),
        "doubtful": escape(plain["doubtful"]),
        "style": _style() + _read("index.css"), "parts": parts, "doubts": _doubts(*plain["doubts"]),
        "cautions": _items(plain["cautions"]), "warnings": _items(plain["warnings"])})
    Path(path).write_text(text, encoding="utf-8")


def _read(name):
    return (files("corridor.outputs.page") / "parts" / name).read_text(encoding="utf-8")


def _fill(text, values):
    """Put values where their names stand in double brackets; what is put in is not looked at again."""
    head, *rest = text.split("[[")
    return head + "".join(values[name] + after for name, _, after in (part.partition("]]") for part in rest))


def _style():
    colours = "".join(f"--{name}:{colour};" for name, colour in COLOURS.items())
    return f":root{{{colours}}}\n" + _read("page.css")


def _items(texts):
    return "".join(f"<li>{_words(text)}</li>" for text in texts)


def _words(text):
    """Words as they stand in a page: what is typed stands between backticks."""
    return "".join(f"<code>{part}</code>" if k % 2 else part for k, part in enumerate(escape(text).split("`")))


def _script(value):
    """JSON that may stand within a script element."""
    return json.dumps(value, separators=(",", ":")).replace("<", "\\u003c")


def _compared(heads, rows, notes):
    """Options as columns of a table that needs no script, and notes below it."""
    below = "".join(f"<h3>{escape(head)}</h3><ul>{_items(lines)}</ul>" for head, lines in notes)
    return html_table(heads, rows) + below


def _doubts(heads, rows):
    """Doubts about the data as a table that needs no script."""
    box = '<div class="scroll words" tabindex="0" role="region" aria-label="Doubts about the data">'
    return f"{box}{html_table(heads, rows)}</div>" if rows else "<p>None.</p>"


def html_table(heads, rows):
    """Return a table of words that needs no script."""
    def row(cells, tag):
        return "<tr>" + "".join(f"<{tag}>{_words(cell)}</{tag}>" for cell in cells) + "</tr>"

    body = "".join(row(cells, "td") for cells in rows)
    return f"<table><thead>{row(heads, 'th')}</thead><tbody>{body}</tbody></table>"


def _headings():
    """Heading and explanation of every column, by layer and name."""
    return {name: {c.name: [c.alias, c.doc.replace("`", "")] for c in layer(name).columns} for name in _SHOWN}
