"""Framings: where wires hang on each kind of structure, from a table."""

import csv
from pathlib import Path

import numpy as np

from corridor.errors import NO_NAMES, InputError, nearest
from corridor.line.facts import KINDS, STRINGS, Framings
from corridor.units import KINDS as MEASURES
from corridor.units import QuantityError, quantity

__all__ = ["check_framings", "read_framings"]

#: What may hang at each kind of structure.
HANGS = {"suspension": ("suspension", "post", "vee"), "strain": ("strain", "link"), "terminal": ("strain", "link")}
#: What a framing may tell of the body of its structure beside a string.
_AT_BODY = ("window_left", "window_right", "window_below", "window_above", "swing_limit")
_FRAMING_COLUMNS = ("framing", "wire", "kind", "offset", "height", "string")


def read_framings(path, units=None):
    """Return where wires hang, from a table with a heading.

    Parameters
    ----------
    path : path or str
        CSV with the columns framing, wire, kind, offset, height, string; and circuit,
        string_length, string_mass, where they are known. Numbers in m and kg, or text with a unit.
        Also `stiffness` of a post along the line, a number in N/m, and `string_wind_area`, the
        projected area of a string, a number in m2. `window_left`, `window_right`, `window_below`, `window_above`:
        distance from where the string hangs to the structure's body on that side, and `swing_limit` of the string.
    units : mapping or None
        Units of the numbers in columns, by column; None where they are as above.

    Returns
    -------
    Framings
        `circuit` "1" where none is given; strings other than suspension may lack length and mass
        (then 0). A wire ends at its height if the string is strain, whatever its length; a link is a strain string
        that leads from there to the wire.

    Raises
    ------
    InputError
        Naming the row and column.
    """
    rows = _rows(path)
    seen, table = set(), []
    for number, row in rows:
        record = _framing(path, number, row, units or {})
        if record[:2] in seen:
            raise InputError(
                path,
                f"row {number}",
                f"framing {record[0]} with wire {record[1]} again",
                "one row for each wire of a framing",
            )
        seen.add(record[:2])
        table.append(record)
    columns = list(zip(*table, strict=True))
    return Framings(
        *(np.array(c, object) for c in columns[:4]),
        *(np.array(c, float) for c in columns[4:6]),
        np.array(columns[6], object),
        *(np.array(c, float) for c in columns[7:]),
    )


def _rows(path):
    """Rows of a table that hold anything, with their line number."""
    try:
        with Path(path).open(encoding="utf-8-sig", newline="") as stream:
            reader = csv.DictReader(stream)
            heading = [name.strip() for name in reader.fieldnames or ()]
            reader.fieldnames = heading
            rows = [
                (reader.line_num, row)
                for row in reader
                if any(str(v or "").strip() for v in row.values())
            ]
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise InputError(
            path, "framings.file", f"no readable table ({error})", "a CSV file in UTF-8"
        ) from None
    for name in _FRAMING_COLUMNS:
        if name not in heading:
            raise InputError(
                path,
                "heading",
                f"no column {name!r} among {', '.join(heading) or 'none'}",
                "columns " + ", ".join(_FRAMING_COLUMNS) + ", separated by commas",
                nearest(name, heading),
            )
    if not rows:
        raise InputError(path, None, "no rows", "a row for each wire of each framing")
    return rows


def _framing(path, number, row, units):
    """One row, in the order of `Framings`."""
    where = f"row {number}"
    text = {
        key: (row.get(key) or "").strip()
        for key in ("framing", "wire", "kind", "circuit", "string")
    }
    for key in ("framing", "wire"):
        if not text[key]:
            raise InputError(path, f"{where}: {key}", "nothing", f"the name of a {key}")
    for key in ("framing", "wire", "circuit"):
        if text[key] in NO_NAMES:
            raise InputError(path, f"{where}: {key}", repr(text[key]), "another name")
    for key, known in (("kind", KINDS), ("string", STRINGS)):
        if text[key] not in known:
            raise InputError(
                path,
                f"{where}: {key}",
                f"{text[key]!r}",
                " | ".join(known),
                nearest(text[key], known),
            )
    offset, height = (_cell(path, where, row, key, "length", units) for key in ("offset", "height"))
    # A suspension string of unknown length would leave the wire at the height of the crossarm: too
    # high.
    swings = text["string"] in ("suspension", "vee", "link")
    length = _cell(path, where, row, "string_length", "length", units, default=None if swings else 0.0)
    mass = _cell(path, where, row, "string_mass", "mass", units, default=0.0)
    for key, value in (("height", height), ("string_length", length), ("string_mass", mass)):
        if value < 0:
            raise InputError(path, f"{where}: {key}", f"{value:g}", "no negative number")
    stiffness = _number(path, where, row, "stiffness", np.inf, "stiffness", units)
    if stiffness == 0 or (np.isfinite(stiffness) and text["string"] != "post"):
        raise InputError(path, f"{where}: stiffness", f"{stiffness:g} N/m of a {text['string']}",
                         "more than 0 N/m, of a post; nothing where the wire is held")
    return (
        text["framing"],
        text["wire"],
        text["kind"],
        text["circuit"] or "1",
        offset,
        height,
        text["string"],
        length,
        mass,
        stiffness,
        _number(path, where, row, "string_wind_area", 0.0, "area", units),
        *(_given(path, where, row, key, "angle" if key == "swing_limit" else "length", units) for key in _AT_BODY),
    )


def _given(path, where, row, key, kind, units):
    """An optional number that is not negative, nan where it is not given."""
    return _number(path, where, row, key, np.nan, kind, units) if (row.get(key) or "").strip() else np.nan


def _number(path, where, row, key, default, kind, units):
    """An optional number that is not negative."""
    number = _cell(path, where, row, key, kind, units, default=default)
    if not number >= 0:
        raise InputError(path, f"{where}: {key}", repr(row[key]), f"a number in {MEASURES[kind].unit}, 0 or more")
    return number


def _cell(path, where, row, key, kind, units, *, default=None):
    value = (row.get(key) or "").strip()
    if not value and default is not None:
        return default
    try:
        return quantity(value, kind, plain_text=True, unit=units.get(key))
    except QuantityError as error:
        raise InputError(
            path, f"{where}: {key}", repr(value) if value else "nothing", f"a {kind}", error.hint
        ) from None


def check_framings(structures, framings, *, file=None, framings_file=None):
    """Check that every structure's framing is known and hangs its wires as its role asks.

    Parameters
    ----------
    structures : Structures
    framings : Framings
    file, framings_file : path or None
        For the message.

    Raises
    ------
    InputError
        An unknown framing; a suspended wire at a strain or terminal structure, where it would run
        through; or a strain one at a suspension structure.
    """
    known = set(framings.framing.tolist())
    pairs = dict.fromkeys(zip(structures.framing.tolist(), structures.role.tolist(), strict=True))
    hung = {}
    for framing, wire, string in zip(framings.framing, framings.wire, framings.string, strict=True):
        hung.setdefault(framing, []).append((wire, string))
    for framing, role in pairs:
        index = np.flatnonzero((structures.framing == framing) & (structures.role == role))[0]
        where = f"structure {structures.structure[index]} of line {structures.line[index]}"
        if framing not in known:
            raise InputError(
                file,
                f"{where}: framing",
                f"{framing!r}",
                "one of " + ", ".join(sorted(known)),
                nearest(framing, known),
            )
        for wire, string in hung[framing]:
            if string not in HANGS[role]:
                raise InputError(
                    framings_file or file,
                    f"framing {framing}, wire {wire}: string",
                    f"{string!r} at the {role} {where}",
                    " | ".join(HANGS[role]),
                )
