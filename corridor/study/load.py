"""Read a study file: TOML, schema, cross checks; all faults of one step are told at once."""

import hashlib
import json
import os
import tomllib
from collections.abc import Mapping
from datetime import date, time
from pathlib import Path

from pydantic import ValidationError

from corridor.errors import InputError, nearest
from corridor.study.checks import cross_check
from corridor.study.describe import accepts_at, keys_at
from corridor.study.include import Part, file_of, included_names, merge, moved
from corridor.study.named_files import ALLOW
from corridor.study.places import place_of
from corridor.study.schema import Study, may_read

__all__ = ["StudyError", "load_study"]

#: Tables and keys that had another name before: the former name, and that of now.
_FORMER = (("structures", "columns", "bisector", "crossarm_azimuth"),
           ("structures", "bisector_unit", "crossarm_azimuth_unit"), ("stringing", "block_ends", "pull_ends"))
#: Bytes of a study file, and levels of tables and lists in it: many times what any needs.
_LARGEST, _DEEPEST = 4_000_000, 20


class StudyError(InputError):
    """All the faults of a study file, one a line.

    `errors` holds them; the attributes of InputError are those of the first.
    """

    def __init__(self, errors):
        first = errors[0]
        super().__init__(first.file, first.where, first.found, first.accepted, first.hint)
        self.errors = tuple(errors)
        self.args = ("\n".join(str(error) for error in errors),)


def load_study(source, folder=".", *, trust=None):
    """Return the study of a file, or of a dict of the same tables.

    Parameters
    ----------
    source : path, str or dict
        A TOML file in UTF-8, or its tables.
    folder : path or str
        What the paths of a dict are relative to; those of a file are relative to its own folder.
    trust : bool or sequence of path, optional
        Whether files outside the study's folder, and what files refer to there or on a network, may be read; or folders
        that may be read besides. Default: those of a dict, which is no file of somebody else.

    Returns
    -------
    Study
        Frozen, in SI, with `path`, `folder`, `digest`, `tables` and `resolve`.

    Raises
    ------
    StudyError
        For each fault the file, key, what was found, what is accepted, the nearest known name.

    References
    ----------
    TOML 1.0.0.
    """
    trust = isinstance(source, Mapping) if trust is None else trust if isinstance(trust, bool) else tuple(trust)
    if isinstance(source, Mapping):
        tables, path = _plain(source), Path(folder) / "study"
        content = json.dumps(tables, skipkeys=True, default=str).encode()
    else:
        path = Path(source)
        content = _read_bytes(path)
        tables = _parse(content, path)
    tables, parts, digest = _with_parts(tables, path, trust, content)
    tables = _renamed(tables, path)
    try:
        study = Study.of_file(tables, path, digest, trust)
    except ValidationError as fault:
        raise StudyError(_placed(_faults(fault, path, parts), tables)) from None
    faults = list(cross_check(study))
    if faults:
        raise StudyError(_placed(faults, tables))
    return study


def _placed(faults, tables):
    """The faults with names for the numbers of items in their places."""
    return [InputError(each.file, each.where and place_of(tables, each.where), each.found, each.accepted, each.hint)
            for each in faults]


def _renamed(tables, path):
    """The tables with keys under the names that they have now."""
    for *place, former, name in _FORMER:
        table = tables
        for key in place:
            table = table.get(key) if isinstance(table, dict) else None
        if isinstance(table, dict) and former in table:
            if name in table:
                raise StudyError([InputError(path, ".".join((*place, former)),
                                             f"{former!r} beside {name!r}, as it is named now", "one of them")])
            table[name] = table.pop(former)
    return tables


def _with_parts(tables, path, trust, content):
    """Tables of a study with those that it includes, these parts, and the digest of all."""
    total, parts = hashlib.sha256(content), []
    try:
        names = included_names(tables, path)
        for i, name in enumerate(names):
            file = path.parent / name
            if not may_read(name, path.parent, trust):
                raise InputError(path, f"include.{i}", f"{name!r}, which is outside the study's folder", ALLOW)
            inner = _read_bytes(file)
            total.update(inner)
            parts.append(Part(file, moved(_parse(inner, file), file.parent, path.parent)))
        merged = merge(tables, path, parts)
    except StudyError:
        raise
    except InputError as error:
        raise StudyError([error]) from None
    return merged | ({"include": names} if names else {}), parts, total.hexdigest()


def _plain(value):
    """A copy of tables as a file would give them: paths as text."""
    if isinstance(value, Mapping):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(inner) for inner in value]
    return os.fspath(value) if isinstance(value, os.PathLike) else value


def _read_bytes(path):
    accepted = f"a study file of at most {_LARGEST / 1e6:g} MB"
    try:
        if path.exists() and not path.is_file():
            found = f"{str(path)!r}, which is a device, a pipe or a directory"
            raise StudyError([InputError(path, None, found, accepted)])
        if path.suffix.lower() == ".gpkg":
            raise StudyError([InputError(path, None, "a GeoPackage", "the study file that its findings are made from")])
        if path.stat().st_size > _LARGEST:
            raise StudyError([InputError(path, None, f"{path.stat().st_size / 1e6:.0f} MB", accepted)])
        return path.read_bytes()
    except OSError as fault:
        reason = (fault.strerror or "unreadable").lower()
        accepted = "the path of a study file that can be read"
        raise StudyError([InputError(path, None, f"{str(path)!r} ({reason})", accepted)]) from None


def _parse(content, path):
    """Return the tables; a byte order mark, which Windows editors write, is taken off."""
    try:
        tables = tomllib.loads(content.decode("utf-8-sig"))
        if _deeper(tables, _DEEPEST):
            raise RecursionError
        return tables
    except RecursionError:
        raise StudyError([InputError(path, None, f"tables or lists more than {_DEEPEST} deep in each other",
                                     "the keys of a study")]) from None
    except UnicodeDecodeError as fault:
        line = content[: fault.start].count(b"\n") + 1
        raise StudyError(
            [InputError(path, f"line {line}", "text that is not UTF-8", "UTF-8")]
        ) from None
    except ValueError as fault:  # of TOML, or a number of thousands of digits
        reason, _, place = str(fault).partition(" (at ")
        where = place.rstrip(")") or None
        error = InputError(path, where, f"a fault of TOML ({reason})", "a file in TOML 1.0")
        raise StudyError([error]) from None


def _deeper(value, levels):
    """Whether tables or lists lie deeper in each other than so many levels."""
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return levels < 0 or any(_deeper(each, levels - 1) for each in inner)


def _faults(fault, path, parts):
    """Return pydantic's errors as InputErrors, each of the file in which it stands, without those that only follow from
    others."""
    return [_translate(error, file_of(error["loc"], path, parts)) for error in fault.errors() if not _follows(error)]


def _follows(error):
    """Return whether an error follows from one below: a list whose faulty items do not count."""
    short_for_faults = error["type"] == "too_short" and len(error["input"]) > 0
    return short_for_faults or error["type"] == "default_factory_not_called"


def _translate(error, path):
    """Return pydantic's error as an InputError."""
    tell = _TELL.get(error["type"], _tell_value)
    where = ".".join(str(part) for part in error["loc"])
    return InputError(path, where, *tell(error))


def _tell_unknown(error):
    *place, key = error["loc"]
    known = keys_at(place)
    match = nearest(key, known)
    return f"the unknown key {key!r}", ", ".join(known), match and repr(match)


def _tell_missing(error):
    *place, key = error["loc"]
    table = error["input"] if isinstance(error["input"], dict) else {}
    unknown = [name for name in table if name not in keys_at(place)]
    match = nearest(key, unknown)
    return "nothing", accepts_at(error["loc"]), match and f"the key {match!r} should be {key!r}"


def _tell_fault(error):
    fault = error["ctx"]["error"]
    return f"{_show(error['input'])} ({fault.reason})", accepts_at(error["loc"]), fault.hint


def _tell_literal(error):
    words = error["ctx"]["expected"].replace("'", "").replace(" or ", ", ").split(", ")
    match = nearest(error["input"], words)
    return _show(error["input"]), accepts_at(error["loc"]), match and repr(match)


def _tell_value(error):
    return _show(error["input"]), accepts_at(error["loc"]), None


def _show(value):
    """Return a short word for what the file holds."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict | list | tuple):
        kind = "table" if isinstance(value, dict) else "list"
        return f"an empty {kind}" if not value else f"a {kind}"
    return str(value) if isinstance(value, date | time) else repr(value)


_TELL = {
    "extra_forbidden": _tell_unknown,
    "missing": _tell_missing,
    "value_error": _tell_fault,
    "literal_error": _tell_literal,
}
