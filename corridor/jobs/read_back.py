"""Findings read back for jobs that follow a check; refused where they are not of the study as it stands."""

from collections.abc import Iterable
from pathlib import Path
from sqlite3 import DatabaseError, connect

import pandas
import pyogrio

from corridor.errors import InputError
from corridor.inputs.study_inputs import Inputs
from corridor.opened import Opened
from corridor.outputs.frames import Columns
from corridor.outputs.guard import is_geopackage

__all__ = ["columns_of", "own_findings", "read_back", "same_inputs", "target_beside"]

_AGAIN = "findings of this study as it is now: run `corridor check` first"


def own_findings(opened: Opened, findings: Path | str | None = None) -> Path:
    """Return the path of the findings of a study, which are of it as it stands.

    Parameters
    ----------
    opened : Opened
    findings : path or None
        The GeoPackage of the check; None: what the study says.

    Raises
    ------
    InputError
        There are no findings, or they are of another study, or of this one before it was changed.
    """
    source = Path(findings) if findings else opened.output
    if not source.is_file():
        raise InputError(source, "findings", "no such file", _AGAIN)
    if not is_geopackage(source):
        raise InputError(source, "findings", "something that is no GeoPackage", _AGAIN)
    try:
        with connect(source) as database:
            digests = [row[0] for row in database.execute("SELECT study_digest FROM run")]
    except DatabaseError as error:
        raise InputError(source, "run", f"no such table ({error})", _AGAIN) from None
    if digests != [opened.study.digest]:
        raise InputError(source, "run.study_digest", "findings of another study, or of this one before it was changed",
                         _AGAIN)
    return source


def read_back(opened: Opened, findings: Path | str | None, names: Iterable[str]
              ) -> tuple[Path, dict[str, pandas.DataFrame]]:
    """Return the findings of a study, and some layers of them by name: of a spatial one a GeoDataFrame.

    Raises
    ------
    InputError
        As `own_findings`.
    """
    source = own_findings(opened, findings)
    return source, {name: pyogrio.read_dataframe(source, layer=name) for name in names}


def same_inputs(source: Path, inputs: Inputs) -> None:
    """Raise InputError where findings are of other files than those read now."""
    rows = pyogrio.read_dataframe(source, layer="inputs")
    then = dict(zip(zip(rows["part"], rows["path"], strict=True), rows["digest"], strict=True))
    for row in inputs.files:
        if then.get((row["part"], row["path"])) != row["digest"]:
            raise InputError(source, "inputs", f"findings of another {row['path']} than there is now", _AGAIN)


def target_beside(source: Path, output: Path | str | None, name: str) -> Path:
    """Return the file to write, by default one of that name beside the findings.

    Raises
    ------
    InputError
        Its folder does not exist.
    """
    target = Path(output) if output else source.with_name(name)
    if not target.parent.is_dir():
        raise InputError(target, "output", f"no folder {target.parent.name!r}", "a folder that exists")
    return target


def columns_of(frame: pandas.DataFrame) -> Columns:
    """Return a data frame as columns, without places: numbers as they are, all else as objects with None for null."""
    return {name: values.to_numpy() if values.dtype.kind in "fiub" else
            values.astype(object).where(values.notna(), None).to_numpy()
            for name, values in frame.items() if name != "geometry"}
