"""A job beside the check: every violation, for people in the field."""

from pathlib import Path
from typing import NamedTuple

import geopandas

from corridor.errors import InputError
from corridor.jobs.project import make_project
from corridor.jobs.read_back import plan_layers, read_back, target_beside
from corridor.opened import Opened
from corridor.outputs.field_export import KINDS, field_rows, line_rows, work_rows, write_geojson, write_kml
from corridor.outputs.files import Files

__all__ = ["Exported", "export_study"]


class Exported(NamedTuple):
    """A file for the field, and its `rows` in longitude and latitude."""

    output: Path
    rows: geopandas.GeoDataFrame


def export_study(opened: Opened, kind: str = "geojson", findings: Path | str | None = None,
                 output: Path | str | None = None, *, option: str | None = None, overwrite: bool = False) -> Exported:
    """Write every violation and what was not assessed in geographic coordinates.

    Parameters
    ----------
    opened : Opened
    kind : str
        A key of `corridor.outputs.field_export.KINDS`; or "qgs", a project of the desktop GIS QGIS over the findings,
        with the ground that is not known in a GeoPackage of its own beside it.
    findings : path, optional
        Those of the check, a GeoPackage or a folder; default: what the study says.
    output : path, optional
        The file to write; default: beside the findings.
    option : str, optional
        The option that is told of; default: all.
    overwrite : bool
        Whether a file may be replaced that this software did not write.

    Raises
    ------
    InputError
        There are no findings of this study, no such option, or a file must not be replaced.
    """
    if kind not in (*KINDS, "qgs"):
        raise InputError(None, "kind", repr(kind), ", ".join((*KINDS, "qgs")))
    source, layers = read_back(opened, findings, ("violations", "not_assessed", "structures", "spans"))
    rows = field_rows(layers["violations"], layers["not_assessed"], option)
    target = target_beside(source, output, f"{source.stem}.qgs" if kind == "qgs" else f"{source.stem}_field.{kind}")
    work = plan_layers(source).get("work_items")
    more = [("Line", line_rows(layers["structures"], layers["spans"])),
            *([] if work is None else [("Work of the plan", work_rows(work))])]
    with Files(opened.guard(overwrite).besides(source)) as files:
        if kind == "qgs":
            make_project(opened, source, layers, files, target, option)
        elif kind == "kml":
            write_kml(files.new(target), rows, more)
        else:
            write_geojson(files.new(target), rows)
    return Exported(target, rows)
