"""Study files that share parts: tables of several files merged into one, with paths relative to the study."""

import os
from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

from corridor.errors import InputError
from corridor.study.describe import is_path, table_of
from corridor.study.named_files import ADDRESS
from corridor.study.schema import Study

__all__ = ["Part", "file_of", "included_names", "merge", "moved"]

_ACCEPTED = "a list of paths of TOML files that hold parts of the study"


class Part(NamedTuple):
    """A file that a study includes: its path and its tables, with paths relative to the study."""

    path: Path
    tables: dict


def included_names(tables, path):
    """Return the names of the files that tables include, as they stand there.

    Raises
    ------
    InputError
        No list of texts.
    """
    names = tables.get("include", [])
    if not isinstance(names, list) or not all(isinstance(name, str) and name for name in names):
        raise InputError(path, "include", repr(names), _ACCEPTED)
    return names


def merge(tables, path, parts):
    """Return tables merged with those of parts.

    Parameters
    ----------
    tables : dict
        Of the study file at `path`.
    path : Path
    parts : sequence of Part

    Raises
    ------
    InputError
        A key is in two of the files, or a part includes another.
    """
    merged, seen = {k: v for k, v in tables.items() if k != "include"}, [Part(path, tables)]
    for part in parts:
        if "include" in part.tables:
            raise InputError(part.path, "include", "parts of a part", "parts that the study file includes itself")
        merged = _merged(merged, part, (), seen)
        seen.append(part)
    return merged


def _merged(tables, part, place, seen):
    here = part.tables
    for key in place:
        here = here[key]
    result = dict(tables)
    for key, value in here.items():
        where = (*place, key)
        if key not in tables:
            result[key] = value
        elif isinstance(value, Mapping) and isinstance(tables[key], Mapping):
            result[key] = _merged(tables[key], part, where, seen)
        else:
            other = next(each.path for each in reversed(seen) if _holds(each.tables, where))
            raise InputError(part.path, ".".join(where), f"a key that {other.name} has, too",
                             "each key, and each list of tables, in one of the files")
    return result


def _holds(tables, place):
    """Whether tables have a key at a place."""
    for key in place:
        if not (isinstance(tables, Mapping) and key in tables
                or isinstance(tables, list) and isinstance(key, int) and key < len(tables)):
            return False
        tables = tables[key]
    return True


def file_of(place, path, parts):
    """Return the path of the file that holds a place, as ("terrain", "ground", 0), of a merged study: of the study file
    itself where no part does."""
    return next((part.path for part in parts if _holds(part.tables, place)), path)


def moved(tables, source, target):
    """Return tables of a study with the paths in them, which are relative to one folder, relative to another.

    Parameters
    ----------
    tables : dict
    source, target : Path
    """
    return _moved(tables, Study, Path(source), Path(target).resolve())


def _moved(tables, model, source, target):
    result = {}
    for key, value in tables.items():
        field = model.model_fields.get(key)
        inner = table_of(field) if field is not None else None
        if inner is not None:
            rows = [_moved(each, inner, source, target) if isinstance(each, Mapping) else each
                    for each in (value if isinstance(value, list) else [value])]
            result[key] = rows if isinstance(value, list) else rows[0]
        elif field is not None and is_path(field):
            result[key] = [_path(each, source, target) for each in value] if isinstance(value, list) else _path(
                value, source, target)
        else:
            result[key] = value
    return result


def _path(name, source, target):
    """A path relative to another folder; one in words of GDAL stays."""
    if not isinstance(name, str) or ADDRESS.match(name):
        return name
    return os.path.relpath((source / name).resolve(), target).replace(os.sep, "/")
