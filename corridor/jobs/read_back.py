"""Findings read back for jobs that follow a check; refused where they are not of the study as it stands."""

from pathlib import Path
from sqlite3 import DatabaseError, connect

import pyogrio

from corridor.errors import InputError
from corridor.outputs.geopackage import is_geopackage

__all__ = ["own_findings", "read_back", "same_inputs"]

_AGAIN = "findings of this study as it is now: run `corridor check` first"


def own_findings(study, findings=None):
    """Return the path of the findings of a study, which are of it as it stands.

    Parameters
    ----------
    study : Study
    findings : path or None
        The GeoPackage of the check; None: what the study says.

    Raises
    ------
    InputError
        There are no findings, or they are of another study, or of this one before it was changed.
    """
    source = Path(findings) if findings else study.resolve(study.study.output)
    if not source.is_file():
        raise InputError(source, "findings", "no such file", _AGAIN)
    if not is_geopackage(source):
        raise InputError(source, "findings", "something that is no GeoPackage", _AGAIN)
    try:
        with connect(source) as database:
            digests = [row[0] for row in database.execute("SELECT study_digest FROM run")]
    except DatabaseError as error:
        raise InputError(source, "run", f"no such table ({error})", _AGAIN) from None
    if digests != [study.digest]:
        raise InputError(source, "run.study_digest", "findings of another study, or of this one before it was changed",
                         _AGAIN)
    return source


def read_back(study, findings, names):
    """Return layers of the findings of a study.

    Parameters
    ----------
    study : Study
    findings : path or None
        The GeoPackage of the check; None: what the study says.
    names : iterable of str
        Layers of `corridor.outputs.schema`.

    Returns
    -------
    path
        The GeoPackage.
    dict of DataFrame
        By name; of a spatial layer a GeoDataFrame in the CRS of the findings.

    Raises
    ------
    InputError
        There are no findings, or they are of another study, or of this one before it was changed.
    """
    source = own_findings(study, findings)
    return source, {name: pyogrio.read_dataframe(source, layer=name) for name in names}


def same_inputs(source, rows, inputs):
    """Raise InputError where findings (their layer `inputs` as `rows`) are of other files than those read now."""
    then = dict(zip(zip(rows["part"], rows["path"], strict=True), rows["digest"], strict=True))
    for row in inputs.files:
        if then.get((row["part"], row["path"])) != row["digest"]:
            raise InputError(source, "inputs", f"findings of another {row['path']} than there is now", _AGAIN)
