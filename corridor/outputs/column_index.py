"""The page of all columns by name: what each means, and in which layers it stands."""

from pathlib import Path

from corridor.outputs import schema, stringing_layers

__all__ = ["write_index"]

_PREFACE = """# Columns, by name

*Made from `corridor/outputs/schema.py` and `corridor/outputs/stringing_layers.py`; a test fails where they differ.*

Every column of the [findings](findings.md) and of the [layers of stringing](stringing_layers.md), with the layers that
have it. A name with two meanings stands once for each. Words are in the [glossary](glossary.md). A null is not known,
and never a pass.

| column | unit | meaning | layers |
| --- | --- | --- | --- |
"""


def write_index(path):
    """Write the page.

    Parameters
    ----------
    path : path
        Markdown file to write or replace.
    """
    places = {}
    for layer in (*schema.LAYERS, *stringing_layers.STRINGING_LAYERS):
        for c in layer.columns:
            places.setdefault((c.name, c.unit or "", c.doc), {})[layer.name] = None
    rows = [f"| `{name}` | {unit} | {doc} | {', '.join(layers)} |\n"
            for (name, unit, doc), layers in sorted(places.items(), key=lambda each: each[0][0])]
    Path(path).write_text(_PREFACE + "".join(rows), encoding="utf-8")
