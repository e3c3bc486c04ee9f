"""Framings of a new study: where wires hang on structures of which the voltage is known, and perhaps the height."""

from pathlib import Path

import numpy as np

from corridor.csv_rows import read_records

__all__ = ["HEADS", "assumed_framings", "class_of"]

#: Columns of the table of framings.
HEADS = ("framing", "wire", "kind", "circuit", "offset", "height", "string", "string_length", "string_mass")
#: A height so many times that of a usual structure is one in feet; where no name says the unit of heights, wires hang
#: no higher than so many times the usual height.
_TALL, _MOST = 2.2, 1.5
_FOOT = 0.3048
_COMMON = "common practice, no source"


def class_of(voltage):
    """Return the row of usual framings for a highest voltage [V]: spacing, crossarm (lowest attachment above the
    ground), its share of the height of a structure, and string [m, kg]."""
    rows = [{key: float(value) for key, value in row.items()}
            for row in read_records(Path(__file__).with_name("framings_by_voltage.csv"))]
    return next((row for row in rows if voltage <= row["max_kv"] * 1000), rows[-1])


def assumed_framings(line, voltage):
    """Return rows of the table of framings, the framing of each structure, and what was assumed.

    Parameters
    ----------
    line : NewLine
    voltage : float
        Highest voltage of the system [V].

    Returns
    -------
    rows : list of tuple
        In the order of `HEADS`; lengths [m].
    framing : ndarray of str, shape (structure,)
    assumed : list of (key, value, reason)
    """
    usual = class_of(voltage)
    crossarm, words = _crossarms(line, usual)
    crossarm = np.round(crossarm, 2)
    framing = np.array([f"{'hung' if role == 'suspension' else 'ended'} {height:.2f}"
                        for role, height in zip(line.role, crossarm, strict=True)], object)
    rows = []
    for name, role, height in sorted(set(zip(framing, line.role == "suspension", crossarm, strict=True))):
        string = ("suspension", f"{usual['string_m']:g}", f"{usual['string_kg']:g}") if role else ("strain", "", "")
        rows += [(name, wire, "phase", "1", f"{offset:g}", f"{height:.2f}", *string)
                 for wire, offset in zip("ABC", (-usual["spacing_m"], 0, usual["spacing_m"]), strict=True)]
    assumed = [
        ("framings.height", words[0], words[1]),
        ("framings.offset", f"three phases of one circuit side by side, {usual['spacing_m']:g} m apart",
         f"usual for up to {usual['max_kv']:g} kV; {_COMMON}; all phases as low as the lowest: the safe side; a second "
         "circuit is not there"),
        ("framings.string_length", f"{usual['string_m']:g} m, {usual['string_kg']:g} kg",
         f"longer than usual for up to {usual['max_kv']:g} kV: wires hang lower and swing farther, the safe side; "
         f"{_COMMON}"),
        ("shield_wire", "none", "no file tells of one; nothing is said of what it clears")]
    return rows, framing, assumed


def _crossarms(line, usual):
    """Height of the lowest attachment of each structure above its base [m], and words for it with a reason."""
    low, share = usual["crossarm_m"], usual["crossarm_share"]
    told, attachment, height = [], line.attachment, line.height
    result = np.full(len(line), low)
    for key, values, part in (("height", height, share), ("attachment", attachment, 1.0)):
        known = np.isfinite(values) & (values > 0)
        if not known.any():
            continue
        untold = any(row[0] == f"structures.{key}" for row in line.assumed)
        feet = untold and np.median(values[known]) > _TALL * low / share
        wanted = part * values[known] * (_FOOT if feet else 1.0)
        result[known] = np.minimum(wanted, _MOST * low) if untold else wanted
        told.append(f"{f'{part:g} of ' if part < 1 else ''}the column {dict(line.columns)[key]} for {known.sum()} "
                    f"structures{', read in feet as they are too tall in metres' if feet else ''}"
                    + (f", at most {_MOST * low:g} m as no name says its unit"
                       if (result[known] < wanted).any() else ""))
    bare = ~(np.isfinite(height) & (height > 0)) & ~(np.isfinite(attachment) & (attachment > 0))
    if bare.any():
        told.append(f"{low:g} m for {bare.sum()} structures of unknown height")
    return result, (f"lowest attachment above the base: {'; '.join(told)}",
                    f"lower than usual for up to {usual['max_kv']:g} kV: the safe side; {_COMMON}")
