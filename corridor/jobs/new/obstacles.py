"""Obstacles of a new study: the layers of somebody's files, each told with what stands in it and what it means."""

from pathlib import Path

import numpy as np
import shapely

from corridor.clearance.rule_files import known_categories
from corridor.csv_rows import read_records
from corridor.inputs.cells import cells, plain_text
from corridor.jobs.new.names import CLEARANCE_COLUMNS, find_column, plain
from corridor.jobs.new.sources import linear_unit

__all__ = ["put_obstacles"]

#: What is not known to be anything; no built-in table has a rule for it, so that it is never taken as clear.
_UNKNOWN = "unknown"
#: What lies on the ground, with half its width where it is a line [m]: wider than usual, common practice, no source.
_FLAT = {"road": 8.0, "rail": 4.0, "water": 10.0, "field": None, "parking": None}
#: What stands about a point, with its radius [m], likewise.
_ROUND = {"tree": 5.0, "building": 10.0}
#: A column with more different values holds names, not kinds.
_MOST_KINDS = 60
#: Numbers below are kilovolts.
_KILOVOLTS = 1500.0
_NO_BRIDGE = ("", "no")


def put_obstacles(draft, found, file, taken):
    """Write the sections of a layer into a study.

    Parameters
    ----------
    draft : Draft
    found : Found
    file : str
        Its file as the study names it.
    taken : set of str
        Names of sections; those of this layer are added.
    """
    layer = found.layer
    fields = [name for name in layer.fields if name not in (found.places or ())]
    geometry, _, table = found.read(fields)
    texts = {}

    def text(column):
        if column not in texts:
            texts[column] = np.array([plain_text(value) for value in table[column].tolist()], object)
        return texts[column]

    for name, where, column, meanings, rows in _parts(layer, fields, text):
        for bridge, chosen in _apart(fields, text, meanings, rows):
            own = f"{name} on bridges" if bridge and set(bridge[1]) != set(_NO_BRIDGE) else name
            own = next(each for each in (own, *(f"{own} {i}" for i in range(2, 1000))) if each not in taken)
            taken.add(own)
            draft.table("[[obstacles]]", f"obstacles.{own}")
            draft.put("name", own)
            found.write(draft, file)
            if where or bridge:
                draft.put("where", dict(where) | (dict([bridge]) if bridge else {}))
            _put_category(draft, column, meanings)
            _put_columns(draft, found, fields, table, geometry[chosen], chosen, meanings, own.endswith("on bridges"))


def _words():
    """Meanings of values by tag, "" for words of no tag; and what a tag means else."""
    rows = read_records(Path(__file__).with_name("obstacle_words.csv"))
    return ({(row["tag"], row["value"]): row["category"] for row in rows if row["value"]},
            {row["tag"]: row["category"] for row in rows if row["tag"] and not row["value"]},
            list(dict.fromkeys(row["tag"] for row in rows if row["tag"])))


def _parts(layer, fields, text):
    """Yield name, where, column (None: one category), meanings and rows of each part of a layer: one for each tag that
    it has, and one for what has none; together all rows."""
    meant, default, tags = _words()
    own = [(tag, guess.column) for tag in tags for guess in list(find_column(fields, (tag,)))[:1]
           if (text(guess.column) != "").any()]
    if own:
        bare = np.ones(len(text(own[0][1])), bool)
        for tag, column in own:
            values = sorted(set(text(column)) - {""})
            rows = text(column) != ""
            meanings = {value: meant.get((tag, value), default.get(tag, value)) for value in values}
            yield f"{layer.name} {tag}", [] if rows.all() else [(column, values)], column, meanings, rows
            bare &= ~rows
        if bare.any():
            yield f"{layer.name} without tag", [(column, "") for _, column in own], None, {"": _UNKNOWN}, bare
        return
    rows = np.ones(len(text(fields[0])) if fields else layer.features, bool)
    for guess in find_column(fields, CLEARANCE_COLUMNS["category"]):
        values = sorted(set(text(guess.column)))
        if len(values) <= _MOST_KINDS and any(("", plain(value)) in meant for value in values):
            meanings = {value: meant.get(("", plain(value)), value or _UNKNOWN) for value in values}
            yield layer.name, [], guess.column, meanings, rows
            return
    words = [meant[("", word)] for word in plain(layer.name).split("_") if ("", word) in meant]
    yield layer.name, [], None, {"": words[0] if words else _UNKNOWN}, rows


def _apart(fields, text, meanings, rows):
    """Rows of a part at once, or those on bridges apart: of these the bare earth below is no height."""
    for guess in find_column(fields, CLEARANCE_COLUMNS["bridge"]) if set(meanings.values()) & {"road", "rail"} else ():
        values = text(guess.column)
        on = sorted(set(values[rows]) - set(_NO_BRIDGE))
        if on:
            plainly = rows & np.isin(values.astype(str), _NO_BRIDGE)
            return [*([((guess.column, list(_NO_BRIDGE)), plainly)] if plainly.any() else []),
                    ((guess.column, on), rows & ~plainly)]
    return [(None, rows)]


def _put_category(draft, column, meanings):
    if column is None:
        only, = meanings.values()
        reason = ("nothing in the file says what it is: no rule is for it, and it is not assessed where a wire is near"
                  if only == _UNKNOWN else "the name of the layer")
        draft.put("category", only, reason)
        return
    draft.put("column", column)
    unknown = [value or "none" for value, category in meanings.items() if category not in known_categories()]
    reason = f"words of the column {column}" + (
        f"; of {', '.join(unknown[:5])}{' and more' if len(unknown) > 5 else ''} nothing is known: not assessed where "
        "a wire comes near" if unknown else "")
    draft.put("values", {"category": meanings}, reason)


def _put_columns(draft, found, fields, table, geometry, rows, meanings, on_bridges):
    """Write where tops, voltages, widths and names are."""
    unit = linear_unit(found.layer.crs)
    categories = set(meanings.values())
    solid = bool(shapely.has_z(geometry).any())
    for guess in list(find_column(fields, CLEARANCE_COLUMNS["elevation"]))[:1]:
        _put_length(draft, "elevation", guess, unit)
        solid = True
    height = _first_numbers(fields, table, "height", rows) if not solid else None
    if height is not None:
        _put_length(draft, "height", height, unit)
    elif solid and unit != "m" and not list(find_column(fields, CLEARANCE_COLUMNS["elevation"])):
        draft.put("elevation_unit", unit, "elevations of the geometries are in the unit of their grid")
    elif not solid and not on_bridges and categories <= set(_FLAT):
        draft.put("height", 0, "it lies on the ground; bridges would not")
    elif not solid:
        draft.assume(f"{draft.place}.height", "not known", "no column of heights: not assessed where a wire comes "
                     "near, never clear")
    if "line" in categories:
        _put_voltage(draft, fields, table, rows)
    radius = _first_numbers(fields, table, "radius", rows)
    kinds = shapely.get_type_id(geometry)
    widths = [width for shapes, known in (((1, 5), _FLAT), ((0, 4), _ROUND)) if np.isin(kinds, shapes).any()
              for each in categories if (width := known.get(each))]
    if radius is not None:
        _put_length(draft, "radius", radius, unit)
    elif widths:
        draft.put("radius", max(widths), "half the width of lines, or of what stands at points, wider than usual: the "
                  "safe side; common practice, no source")
    for guess in find_column(fields, CLEARANCE_COLUMNS["id"]):
        draft.put("id_column", guess.column)
        return


def _first_numbers(fields, table, key, rows):
    """The first column of a name that holds numbers in some rows."""
    for guess in find_column(fields, CLEARANCE_COLUMNS[key]):
        values, fault = cells(table[guess.column][rows], "length", guess.unit)
        if len(values) and (fault == "").any():
            return guess
    return None


def _put_length(draft, key, guess, own):
    """Write a column of lengths and its unit, which is assumed where its name does not say it."""
    draft.put(f"{key}_column", guess.column)
    if guess.unit is not None:
        draft.put(f"{key}_unit", guess.unit)
    else:
        draft.put(f"{key}_unit", own, "the unit of the file's own grid: no name says another"
                  + ("; were it metres, it would be more" if own != "m" else ""))


def _put_voltage(draft, fields, table, rows):
    for guess in find_column(fields, CLEARANCE_COLUMNS["voltage"]):
        draft.put("voltage_column", guess.column)
        values, fault = cells(table[guess.column][rows], "voltage", "V")
        known = values[fault == ""]
        if guess.unit == "kV":
            draft.put("voltage_unit", "kV")
        elif len(known) and known.max() < _KILOVOLTS:
            draft.put("voltage_unit", "kV", "its numbers are too small for volts")
        return
    draft.assume(f"{draft.place}.voltage", "not known", "no column of voltages: the rule may need it, and then lines "
                 "that are crossed are not assessed")
