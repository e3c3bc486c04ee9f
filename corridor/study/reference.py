"""The reference page of the study file, made from its schema."""

from pathlib import Path

from corridor.study import schema
from corridor.study.describe import accepts, is_list, table_of
from corridor.units import KINDS

__all__ = ["reference", "write_reference"]

_HEAD = """# The study file

A study is one TOML file in UTF-8. It names everything a run needs; paths in it are relative to it.
This page is made from the schema that reads the file: what is not here is not accepted.

A quantity is a number in the SI unit given here, or text with its unit: `"25 kN"`, `"0.5 in"`,
`"120 degF"`. An unknown key, a missing key or a bad value is an error that names the file, the key,
what was found, what is accepted and the nearest known name. A default of `-` means that the key may
be left out and stands for nothing, or for what its meaning says.
"""


def reference():
    """Return the reference page as Markdown."""
    tables = [
        f"{_heading(name, is_list)}\n\n{_purpose(model)}\n\n{_rows(model)}"
        for name, model, is_list in _tables(schema.Study, "")
    ]
    return "\n".join([_HEAD, _overview(), *tables, _units()])


def write_reference(path):
    """Write the reference page to a file."""
    Path(path).write_text(reference(), encoding="utf-8")


def _tables(model, prefix):
    """Yield name, model and whether a list, of every table below a model, in order."""
    for key, field in model.model_fields.items():
        below = table_of(field)
        if below:
            yield prefix + key, below, is_list(field)
            yield from _tables(below, f"{prefix}{key}.")


def _heading(name, is_list):
    return f"## `[[{name}]]`" if is_list else f"## `[{name}]`"


def _purpose(model):
    return model.__doc__.strip().partition("\n\n")[0]


def _overview():
    """Return the table of tables."""
    rows = ["| table | must be given | holds |", "| --- | --- | --- |"]
    for key, field in schema.Study.model_fields.items():
        name = f"[[{key}]]" if is_list(field) else f"[{key}]" if table_of(field) else key
        rows.append(
            f"| `{name}` | {'yes' if field.is_required() else 'no'} | {field.description} |"
        )
    return "\n".join(rows) + "\n"


def _rows(model):
    rows = ["| key | accepts | default | meaning |", "| --- | --- | --- | --- |"]
    rows += [
        f"| `{key}` | {_cell(accepts(field))} | {_default(field)} | {_cell(field.description)} |"
        for key, field in model.model_fields.items()
    ]
    return "\n".join(rows) + "\n"


def _cell(text):
    return text.replace("|", "\\|")


def _default(field):
    """Return the default as TOML would write it."""
    if field.is_required():
        return "must be given"
    if field.default_factory is not None or field.default in (None, ()) or (table_of(field) and is_list(field)):
        return "-"
    if isinstance(field.default, tuple):
        return f"`[{', '.join(_item(value) for value in field.default)}]`"
    if isinstance(field.default, bool):
        return f"`{str(field.default).lower()}`"
    return f'`"{field.default}"`' if isinstance(field.default, str) else f"`{field.default:g}`"


def _units():
    """Return the table of units."""
    rows = [
        "## Units",
        "",
        "Text may carry these units, and for most quantities any other of the same dimension.",
        "",
        "| quantity | a number is in | units | example |",
        "| --- | --- | --- | --- |",
    ]
    for kind in KINDS.values():
        units = ", ".join(f"`{unit}`" for unit in kind.known)
        rows.append(f'| {kind.noun} | {kind.unit or "-"} | {units} | `"{kind.example}"` |')
    return "\n".join(rows) + "\n"


def _item(value):
    """One item of a default list, as TOML writes it."""
    return f'"{value}"' if isinstance(value, str) else f"{value:g}"
