"""Findings read back for jobs that follow a check; refused where they are not of the study as it is now.

They are of this software's version, of the study file and of all files that it names, byte by byte, with what lies
beside them and is read with them; and their rows are those that the check wrote.
"""

import json
import os
from collections.abc import Iterable, Mapping
from contextlib import closing, suppress
from pathlib import Path
from sqlite3 import DatabaseError, connect
from urllib.parse import quote

import geopandas
import pandas
import pyogrio

from corridor import __version__
from corridor.databases import queries_in
from corridor.errors import InputError
from corridor.opened import Opened
from corridor.outputs.frames import Columns, read_layer
from corridor.outputs.geopackage import layer_digests
from corridor.outputs.geoparquet import folder_digests, read_table
from corridor.outputs.guard import FOLDER, is_geopackage, kind_of
from corridor.outputs.planned_for import PLANNED_FOR, digests_of

__all__ = ["as_written", "columns_of", "left_open", "own_findings", "plan_layers", "read_back", "target_beside"]

_CHANGED = "rows that somebody changed since the check"
_AGAIN = "findings of this study as it is now: run `corridor check` first"


def own_findings(opened: Opened, findings: Path | str | None = None) -> Path:
    """Return the path of the findings of a study, which are of it as it stands.

    Parameters
    ----------
    opened : Opened
    findings : path or None
        Those of the check, a GeoPackage or a folder; None: what the study says.

    Raises
    ------
    InputError
        There are no findings; or they are of another study, of this one or a file that it names before it was changed,
        or of another version of this software; or somebody changed them.
    """
    source = Path(findings) if findings else opened.output
    if not os.path.exists(source):  # of a path that cannot be, Path.exists is an error
        raise InputError(source, "findings", "no such file", _AGAIN)
    if os.path.isdir(source):
        if kind_of(source) != FOLDER:
            raise InputError(source, "findings", "a folder with something else than findings", _AGAIN)
    elif not is_geopackage(source):
        raise InputError(source, "findings", "something that is no GeoPackage", _AGAIN)
    _need_rows(source)
    try:
        run, inputs, digests = _held(source)
    except _UNREADABLE as error:
        problem, _, place = str(error).rpartition(": ")
        raise InputError(source, place, f"findings of another version of corridor, or changed since "
                                        f"({problem or error})", _AGAIN) from None
    then = {(part, path): known for part, path, known in inputs}
    for words in _stale(run, digests, opened):
        raise InputError(source, *words, _AGAIN)
    # A file of several layers has as many rows.
    now = {(row["part"], row["path"]): row["digest"] for row in opened.inputs.files}
    for (part, path), digest in now.items():
        if then.pop((part, path), None) != digest:
            raise InputError(source, "inputs", f"findings of another {path} than there is now", _AGAIN)
    if then:
        raise InputError(source, "inputs", f"findings of {next(iter(then))[1]}, which is not read now", _AGAIN)
    return source


def _stale(run, digests, opened):
    """Yield what findings were not made by or from, or who changed them: a place in them, and words."""
    if len(run) != 1:
        yield "run", f"{len(run)} rows"
        return
    (version, study, known), = run
    if version != __version__:
        yield "run.software_version", f"findings of corridor {version}; this is {__version__}"
    if study != opened.study.digest:
        yield "run.study_digest", "findings of another study, or of this one before it was changed"
    yield from _changed(known, digests)


def _changed(known, digests):
    """Yield each layer whose rows are not those of the digests in the row of the run, and words."""
    try:
        known = dict(json.loads(known or "{}"))
    except (TypeError, ValueError):  # no JSON, or not of a table
        known = {}
    yield from ((name, _CHANGED) for name, value in digests.items() if known.get(name) != value)


#: Rows of `run` and `inputs` that tell what findings are of.
_RUN, _INPUTS = ("software_version", "study_digest", "layer_digests"), ("part", "path", "digest")
#: What reading them may raise.
_UNREADABLE = (DatabaseError, UnicodeDecodeError, OSError, ValueError, KeyError)


def _held(source):
    """Rows of `run` and of `inputs`, and digests of all layers as they are now."""
    if os.path.isdir(source):
        run, inputs = ([*zip(*(table[name].to_pylist() for name in names), strict=True)] for table, names in (
            (read_table(Path(source), "run"), _RUN), (read_table(Path(source), "inputs"), _INPUTS)))
        return run, inputs, folder_digests(Path(source))
    with _opened(source) as database:
        run, inputs = (database.execute(f"SELECT {', '.join(names)} FROM {table}").fetchall()
                       for table, names in (("run", _RUN), ("inputs", _INPUTS)))
        return run, inputs, layer_digests(database)


def _opened(source):
    return closing(connect(f"file:{quote(str(source))}?mode=ro", uri=True))


def _need_rows(source):
    """Refuse findings that a query makes up when asked: those have no end."""
    for name in () if os.path.isdir(source) else queries_in(source):
        raise InputError(source, name, "a query and no table", "findings as `corridor check` wrote them")


def as_written(source: Path) -> None:
    """Raise InputError where somebody changed rows of findings of any study, as far as they can tell it; those of
    earlier versions cannot."""
    _need_rows(source)
    with suppress(DatabaseError):
        try:
            run, _, digests = _held(source)
            changed = _changed(run[0][-1], digests) if len(run) == 1 else [("run", _CHANGED)]
        except (UnicodeDecodeError, OSError, ValueError, KeyError):
            changed = [("run", _CHANGED)]
        for words in changed:
            raise InputError(source, *words, "findings as `corridor check` wrote them")


def read_back(opened: Opened, findings: Path | str | None, names: Iterable[str]
              ) -> tuple[Path, dict[str, pandas.DataFrame]]:
    """Return the findings of a study, and some layers of them by name: of a spatial one a GeoDataFrame.

    Raises
    ------
    InputError
        As `own_findings`.
    """
    source = own_findings(opened, findings)
    return source, {name: read_layer(source, name) for name in names}


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


def left_open(run: Mapping, doubts: Mapping) -> tuple[int, int]:
    """Return how many assumptions are not confirmed, and how many serious doubts not accepted, by the layers `run` and
    `doubts` of findings."""
    serious = (doubts["severity"] == "serious") & (doubts["accepted"] == 0)
    return len((run["assumptions"][0] or "").splitlines()), int(serious.sum())


def plan_layers(source: Path) -> dict[str, geopandas.GeoDataFrame]:
    """Return the layers of a plan that `corridor plan` has left beside findings, none where there is none.

    Raises
    ------
    InputError
        The plan was made for another study than the findings are of, or for other data.
    """
    path = source.with_name("plan.gpkg")
    there = {name for name, _ in pyogrio.list_layers(path)} if path.is_file() else set()
    if there:
        _need_own_plan(path, there, source)
    return {name: pyogrio.read_dataframe(path, layer=name)
            for name in ("costs", "plan", "left", "work_items", "outages", "remedies") if name in there}


def _need_own_plan(path, there, source):
    """Refuse a plan that was made for something else than findings are of."""
    again = "the plan of these findings: run corridor plan again, or take the file away"
    if PLANNED_FOR not in there:
        raise InputError(path, PLANNED_FOR, "no such table", again)
    rows = pyogrio.read_dataframe(path, layer=PLANNED_FOR, read_geometry=False)
    known, now = dict(zip(rows["what"], rows["digest"], strict=True)), digests_of(source)
    for what in known.keys() | now.keys():
        if known.get(what) != now.get(what):
            raise InputError(path, PLANNED_FOR, f"a plan for another {what} than that of the findings", again)
