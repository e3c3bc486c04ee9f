"""The planned copy of a study: one option alone, on structures that may stand higher, in a folder of its own."""

import csv
import json
import os
import tomllib
from datetime import date, datetime, time
from pathlib import Path

import pyogrio

from corridor.planning.remedies import raised_name
from corridor.study import load_study
from corridor.units import quantity

__all__ = ["copy_study", "write_raises"]


def copy_study(study, option, folder):
    """Write a study that holds one option alone, its files named where they are, and return it loaded.

    Parameters
    ----------
    study : Study
    option : str
        Its name. An option that is strung to what the existing one is tensioned to keeps that beside it.
    folder : path
        Made already.
    """
    tables = tomllib.loads(study.path.read_bytes().decode("utf-8-sig"))
    limits = {each.name: [s.limit.kind for s in each.stringing] for each in study.options}
    keep = {option} | {each.name for each in study.options if each.existing and "existing" in limits[option]}
    tables["options"] = [each for each in tables["options"] if each["name"] in keep]
    tables.pop("design", None)
    tables = _moved(tables, study.folder, Path(folder))
    tables["study"]["output"] = "findings.gpkg"
    path = Path(folder) / "study.toml"
    path.write_text(_toml(tables), encoding="utf-8")
    return load_study(path)


#: Keys whose text is the path of a file that is read.
_FILES = ("file", "ground", "surface", "curves", "measured")


def _moved(value, source, target, key=None):
    """The same tables with paths relative to another folder."""
    if isinstance(value, dict):
        return {k: _moved(v, source, target, k) for k, v in value.items()}
    if isinstance(value, list):
        return [_moved(v, source, target, key) for v in value]
    if key in _FILES and isinstance(value, str):
        return os.path.relpath((source / value).resolve(), target.resolve()).replace(os.sep, "/")
    return value


def _toml(tables, prefix=""):
    """Text of TOML tables: plain keys first, then tables, then lists of tables."""
    plain, below = [], []
    for key, value in tables.items():
        name = f"{prefix}.{key}" if prefix else key
        if isinstance(value, dict):
            below.append(f"\n[{name}]\n{_toml(value, name)}")
        elif isinstance(value, list) and value and all(isinstance(v, dict) for v in value):
            below += [f"\n[[{name}]]\n{_toml(v, name)}" for v in value]
        else:
            plain.append(f"{key} = {_word(value)}\n")
    return "".join(plain + below)


def _word(value):
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, list):
        return f"[{', '.join(map(_word, value))}]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {_word(v)}" for k, v in value.items()) + " }"
    return value.isoformat() if isinstance(value, date | datetime | time) else repr(value)


def write_raises(study, structures, height):
    """Write structures and framings of raised structures beside the study, and let it name them.

    Parameters
    ----------
    study : Study
        Of `copy_study`.
    structures : Structures
    height : ndarray, shape (structure,)
        Raise [m].
    """
    raised = {(line, name): float(h) for line, name, h in
              zip(structures.line, structures.structure, height, strict=True) if h}
    _write_structures(study, raised)
    _write_framings(study, structures, height)
    tables = tomllib.loads(study.path.read_text(encoding="utf-8"))
    tables["structures"] |= {"file": "structures.gpkg", "layer": "structures"}
    tables["framings"]["file"] = "framings.csv"
    study.path.write_text(_toml(tables), encoding="utf-8")


def _write_structures(study, raised):
    section, columns = study.structures, study.structures.columns
    rows = pyogrio.read_dataframe(study.resolve(section.file), **({"layer": section.layer} if section.layer else {}))
    lines = rows[columns.line].astype(str).str.strip() if columns.line in rows else ["line"] * len(rows)
    names = rows[columns.structure].astype(str).str.strip()
    framing = rows[columns.framing].astype(str).str.strip()
    rows[columns.framing] = [raised_name(f, raised[key]) if key in raised else f
                             for key, f in zip(zip(lines, names, strict=True), framing, strict=True)]
    output = study.folder / "structures.gpkg"
    output.unlink(missing_ok=True)
    pyogrio.write_dataframe(rows, output, layer="structures", driver="GPKG")


def _write_framings(study, structures, height):
    with study.resolve(study.framings.file).open(encoding="utf-8-sig", newline="") as stream:
        reader = csv.DictReader(stream)
        heading = [name.strip() for name in reader.fieldnames]
        reader.fieldnames = heading
        rows = [row for row in reader if any(str(v or "").strip() for v in row.values())]
    pairs = dict.fromkeys((f, float(h)) for f, h in zip(structures.framing, height, strict=True) if h)
    more = [row | {"framing": raised_name(framing, rise),
                   "height": repr(quantity(row["height"].strip(), "length", plain_text=True) + rise)}
            for framing, rise in pairs for row in rows if row["framing"].strip() == framing]
    with (study.folder / "framings.csv").open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, heading, extrasaction="ignore", lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows + more)
