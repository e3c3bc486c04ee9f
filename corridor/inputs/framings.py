"""Framings: where wires hang on each kind of structure, from a table."""

import math

import numpy as np

from corridor.csv_rows import read_given
from corridor.errors import NO_NAMES, InputError, nearest
from corridor.line.facts import KINDS, STRINGS, Framings

__all__ = ["check_framings", "framing_rows", "read_framings"]

#: What may hang at each kind of structure.
HANGS = {"suspension": ("suspension", "post", "vee"), "strain": ("strain", "link"), "terminal": ("strain", "link")}
#: What a framing may tell of the body of its structure beside a string.
_AT_BODY = ("window_left", "window_right", "window_below", "window_above", "swing_limit")
_NEEDED = ("framing", "wire", "kind", "offset", "height", "string")
_COLUMNS = (*_NEEDED, "circuit", "string_length", "string_mass", "stiffness", "string_wind_area", *_AT_BODY,
            "vee_angle")
#: Maximum length [m], mass [kg] and area [m²] of a framing: slips lie beyond, and no sum of such is infinite.
_LONGEST, _HEAVIEST, _LARGEST = 1e4, 1e5, 1e3


def read_framings(path, units=None):
    """Return where wires hang, from a table with a heading.

    Parameters
    ----------
    path : path or str
        CSV with the columns framing, wire, kind, offset, height, string; and circuit,
        string_length, string_mass, where they are known. Numbers in m and kg, or text with a unit.
        Also `stiffness` of a post along the line, a number in N/m, and `string_wind_area`, the
        projected area of a string, a number in m². `window_left`, `window_right`, `window_below`, `window_above`:
        distance from where the string hangs to the structure's body on that side, and `swing_limit` of the string.
        `vee_angle` between both arms of a vee, less than 180 degrees.
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
    seen, table = set(), []
    for row in framing_rows(path, units):
        record = _framing(row)
        if record[:2] in seen:
            raise row.error(None, "one row for each wire of a framing",
                            found=f"framing {record[0]} with wire {record[1]} again")
        seen.add(record[:2])
        table.append(record)
    columns = list(zip(*table, strict=True))
    return Framings(
        *(np.array(c, object) for c in columns[:4]),
        *(np.array(c, float) for c in columns[4:6]),
        np.array(columns[6], object),
        *(np.array(c, float) for c in columns[7:]),
    )


def framing_rows(path, units=None):
    """Return the rows of a table of framings as texts by column, `GivenRow`."""
    return read_given(path, _COLUMNS, _NEEDED, units, "a row for each wire of each framing")


def _framing(row):
    """One row, in the order of `Framings`."""
    for key in ("framing", "wire"):
        if not row[key]:
            raise row.error(key, f"the name of a {key}")
    for key in ("framing", "wire", "circuit"):
        if row[key] in NO_NAMES:
            raise row.error(key, "another name")
    kind, string = row.choice("kind", KINDS), row.choice("string", STRINGS)
    offset, height = (row.number(key, "length", low=low, high=_LONGEST)
                      for key, low in (("offset", -_LONGEST), ("height", 0)))
    # A suspension string of unknown length would leave the wire at the height of the crossarm: too
    # high.
    swings = string in ("suspension", "vee", "link")
    length = row.number("string_length", "length", empty=None if swings else 0.0, low=0, high=_LONGEST)
    mass = row.number("string_mass", "mass", empty=0.0, low=0, high=_HEAVIEST)
    stiffness = row.number("stiffness", "stiffness", empty=math.inf, low=0)
    if stiffness == 0 or (stiffness < math.inf and string != "post"):
        raise row.error("stiffness", "more than 0 N/m, of a post; nothing where the wire is held",
                        found=f"{stiffness:g} N/m of a {string}")
    area = row.number("string_wind_area", "area", empty=0.0, low=0, high=_LARGEST)
    *windows, limit = _AT_BODY
    body = (*(row.number(key, "length", empty=math.nan, low=0, high=_LONGEST) for key in windows),
            row.number(limit, "angle", empty=math.nan, low=0, high=180))
    angle = row.number("vee_angle", "angle", empty=math.nan, low=0, high=180)
    if not math.isnan(angle) and (string != "vee" or not 0 < angle < 180):
        raise row.error("vee_angle", "more than 0 and less than 180 deg, between both arms of a vee; else nothing",
                        found=f"{angle:g} deg of a {string}")
    return (row["framing"], row["wire"], kind, row["circuit"] or "1", offset, height, string, length, mass, stiffness,
            area, *body, angle)


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
