"""The planned copy of a study: one option alone, with remedies in place, in a folder of its own."""

import csv
import json
import os
import tomllib
from datetime import date, datetime, time
from pathlib import Path

import geopandas
import numpy as np
import pandas
import pyogrio
import shapely

from corridor.inputs.frame import horizontal, transformer
from corridor.inputs.layers import open_layer
from corridor.planning.remedies.alterations import tauter_sections
from corridor.planning.remedies.changes import NONE
from corridor.planning.remedies.excavation import write_graded
from corridor.study import load_study
from corridor.units import quantity

__all__ = ["copy_study", "write_edits"]


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
_FILES = ("file", "files", "ground", "surface", "curves", "measured")


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


def write_edits(study, site, after):
    """Write the files that remedies change beside the study, and let it name them.

    Parameters
    ----------
    study : Study
        Of `copy_study`.
    site : corridor.planning.remedies.variants.Site
    after : corridor.planning.remedies.variants.Look
        With the remedies in place.
    """
    edits, tables = after.edits, tomllib.loads(study.path.read_text(encoding="utf-8"))
    if any(change != NONE for change in edits.changes) or len(edits.added):
        _write_structures(study, site, after)
        _write_framings(study, site.facts.structures, edits.changes)
        tables["structures"] |= {"file": "structures.gpkg", "layer": "structures"}
        tables["framings"]["file"] = "framings.csv"
    if edits.cut.any():
        write_graded(study.folder / "graded.tif", site.cells, edits.cut)
        tables["terrain"]["ground"].insert(0, "graded.tif")
    if edits.removed.any():
        tables["obstacles"] = _less_obstacles(study, set(site.facts.index.obstacles.obstacle[edits.removed]), tables)
    if edits.tightened.any():
        rows = tauter_sections(site, after.laid.plan, after.laid.origin, edits.tightened)
        option = next(each for each in tables["options"] if each["name"] == site.option)
        option.setdefault("tightened", []).extend({"line": line, "section": name, "by": share}
                                                  for line, name, share in rows)
    study.path.write_text(_toml(tables), encoding="utf-8")


def _write_structures(study, site, after):
    """Write the structures as they are with the remedies in place."""
    section, names = study.structures, study.structures.columns
    rows = pyogrio.read_dataframe(study.resolve(section.file), **({"layer": section.layer} if section.layer else {}))
    x, spans = site.facts.structures, site.plan.spans
    lines = rows[names.line].map(_name) if names.line in rows else ["line"] * len(rows)
    place = {key: i for i, key in enumerate(zip(lines, rows[names.structure].map(_name), strict=True))}
    row_of = np.array([place[key] for key in zip(x.line, x.structure, strict=True)])
    new = [_new_row(rows.iloc[row_of[spans.tail[span]]].copy(), names, site, after, i)
           for span, i in zip(after.edits.added, np.flatnonzero(after.laid.origin < 0), strict=True)]
    for s, change in enumerate(after.edits.changes):
        if change != NONE:
            rows.loc[row_of[s], names.framing] = change.named(x.framing[s])
            rows.loc[row_of[s], names.role] = "strain" if change.string == "strain" else x.role[s]
    if new:
        rows[names.order] = rows[names.order].astype(float)
        rows = pandas.concat([rows, geopandas.GeoDataFrame(new, crs=rows.crs)], ignore_index=True)
    output = study.folder / "structures.gpkg"
    output.unlink(missing_ok=True)
    pyogrio.write_dataframe(rows, output, layer="structures", driver="GPKG")


def _name(value):
    """A name as the reader of structures has it."""
    return str(int(value)) if isinstance(value, float) and value.is_integer() else str(value).strip()


def _new_row(row, names, site, after, i):
    """The row of a structure that is added, made of its neighbour's."""
    x = after.laid.facts.structures
    e, n = transformer(site.inputs.frame.crs, horizontal(_crs(site.study))).transform(x.easting[i], x.northing[i])
    row[row.index[-1]] = shapely.Point(e, n, 0) if row.geometry.has_z else shapely.Point(e, n)
    values = {"structure": x.structure[i], "order": x.order[i], "role": x.role[i], "framing": x.framing[i]}
    for key, value in values.items():
        row[getattr(names, key)] = value
    for key in (names.base_elevation, names.bisector):
        if key in row:
            row[key] = None
    return row


def _crs(study):
    return open_layer(study.resolve(study.structures.file), study.structures.layer, "structures").crs


def _write_framings(study, structures, changes):
    with study.resolve(study.framings.file).open(encoding="utf-8-sig", newline="") as stream:
        reader = csv.DictReader(stream)
        heading = [name.strip() for name in reader.fieldnames]
        reader.fieldnames = heading
        rows = [row for row in reader if any(str(v or "").strip() for v in row.values())]
    pairs = dict.fromkeys((f, change) for f, change in zip(structures.framing, changes, strict=True) if change != NONE)
    more = [_framing(row, framing, change) for framing, change in pairs for row in rows
            if row["framing"].strip() == framing]
    with (study.folder / "framings.csv").open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, heading, extrasaction="ignore", lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows + more)


def _framing(row, framing, change):
    """A row of the table of framings, changed."""
    hangs = row["string"].strip() == "suspension" and row["kind"].strip() == "phase"
    made = change.string if change.string == "strain" or hangs else ""
    cells = {"framing": change.named(framing), "string": made or row["string"].strip()}
    if change.rise:
        cells["height"] = repr(quantity(row["height"].strip(), "length", plain_text=True) + change.rise)
    if change.shorter and hangs:
        cells["string_length"] = repr(quantity(row["string_length"].strip(), "length", plain_text=True)
                                      - change.shorter)
    return row | cells


def _less_obstacles(study, removed, tables):
    """The tables of obstacles, the layers of which some features are taken away written anew without them."""
    left = []
    for given, section in zip(tables["obstacles"], study.obstacles, strict=True):
        own = {name.removeprefix(f"{section.name}:") for name in removed if name.startswith(f"{section.name}:")}
        if not own:
            left.append(given)
            continue
        rows = pyogrio.read_dataframe(study.resolve(section.file), fid_as_index=True,
                                      **({"layer": section.layer} if section.layer else {}))
        key = section.id_column or "feature_before"
        if section.id_column is None:
            rows[key] = rows.index
        rows = rows[~rows[key].map(_name).isin(own)]
        if len(rows):
            file = f"obstacles {len(left) + 1}.gpkg"
            (study.folder / file).unlink(missing_ok=True)
            pyogrio.write_dataframe(rows.reset_index(drop=True), study.folder / file, layer="left", driver="GPKG")
            left.append(given | {"file": file, "layer": "left", "id_column": key})
    return left
