"""A job beside the check: what falls short, for people in the field."""

from pathlib import Path

from corridor.errors import InputError
from corridor.jobs.read_back import read_back
from corridor.outputs.field_export import KINDS, field_rows
from corridor.study import load_study

__all__ = ["export_study"]


def export_study(path, kind="geojson", findings=None, output=None, *, option=None):
    """Write what falls short and what was not assessed in geographic coordinates, and return the path and the rows.

    Parameters
    ----------
    path : path
        The study file.
    kind : str
        A key of `corridor.outputs.field_export.KINDS`.
    findings : path, optional
        The GeoPackage of the check; default: what the study says.
    output : path, optional
        The file to write; default: beside the findings.
    option : str, optional
        The option that is told of; default: all.

    Raises
    ------
    InputError
        There are no findings of this study, or no such option.
    """
    if kind not in KINDS:
        raise InputError(None, "kind", repr(kind), ", ".join(KINDS))
    source, layers = read_back(load_study(path), findings, ("violations", "not_assessed"))
    target = Path(output) if output else source.with_name(f"{source.stem}_field.{kind}")
    rows = field_rows(layers["violations"], layers["not_assessed"], option)
    if not target.parent.is_dir():
        raise InputError(target, "output", f"no folder {target.parent.name!r}", "a folder that exists")
    KINDS[kind](target, rows)
    return target, rows
