"""Which rows of a layer count, what their values mean, and where points without geometry are."""

from collections import Counter
from dataclasses import dataclass, replace

import numpy as np
import shapely

from corridor.clearance.parcels import PARCEL
from corridor.clearance.rule_files import known_categories
from corridor.errors import InputError, nearest
from corridor.inputs.cells import cells, plain_text
from corridor.line.facts import ROLES

__all__ = ["ALL", "Selection", "left_words", "selection_of"]

#: Values that are told before it is said how many more there are.
_TOLD = 5
#: What a key takes without an entry, where not just anything can stand there.
_ACCEPTED = {"role": lambda: (*ROLES, *map(str.title, ROLES), *map(str.upper, ROLES)),
             "category": lambda: {PARCEL, *known_categories()}}


@dataclass(frozen=True)
class Selection:
    """`where` pairs of column and texts that count; `values` columns with pairs of what stands there and what it means,
    and what needs no entry (None: anything); `places` columns of x and y, None where rows have geometries."""

    where: tuple = ()
    values: tuple = ()
    places: tuple | None = None

    def of(self, layer, part):
        """Return a portion of a layer with the rows that count, their places and their meanings."""
        if self == ALL:
            return part
        keep, left_out = np.ones(len(part.fid), bool), Counter()
        for column, wanted in self.where:
            texts = np.array([plain_text(v) for v in part.columns[column].tolist()], object)
            fits = np.isin(texts.astype(str), wanted)
            left_out.update((column, text) for text in texts[keep & ~fits])
            keep &= fits
        columns = {name: values[keep] for name, values in part.columns.items()}
        if self.places is not None:
            geometry, fault = _points(*(columns[name] for name in self.places), self.places)
        else:
            geometry, fault = part.geometry[keep], part.fault[keep]
        columns |= {name: _meant(layer, name, columns[name], *meaning) for name, *meaning in self.values
                    if name in columns}
        return replace(part, fid=part.fid[keep], geometry=geometry, fault=fault, columns=columns, left_out=left_out)


#: All rows of a layer with geometries, as they are.
ALL = Selection()


def selection_of(section, layer, where, names):
    """Return the Selection that a table of the study asks for.

    Parameters
    ----------
    section : Source
    layer : Layer
    where : str
        The key of the study.
    names : mapping
        Names of the layer's columns by the keys of `values`; None where the study names none.

    Raises
    ------
    InputError
        The layer has no such column, or the study no column for values.
    """
    values = []
    for key, meanings in section.values:
        if names.get(key) is None:
            raise InputError(layer.path, f"{where}.values.{key}", f"no column of {key}", f"a column, or no {key}")
        layer.require(names[key], f"{where}.values.{key}")
        values.append((names[key], dict(meanings), _ACCEPTED.get(key, lambda: None)()))
    for column, _ in section.where:
        layer.require(column, f"{where}.where")
    places = None
    if section.x_column is not None or section.y_column is not None:
        for key in ("x_column", "y_column"):
            if getattr(section, key) is None:
                raise InputError(layer.path, f"{where}.{key}", "nothing", "x_column together with y_column")
        places = section.x_column, section.y_column
        for key, column in zip(("x_column", "y_column"), places, strict=True):
            layer.require(column, f"{where}.{key}")
    return Selection(section.where, tuple(values), places)


def left_words(left_out):
    """Return words for the values for which rows were left out, the commonest first."""
    told = [f"{column} {text or 'missing'} ({count})" for (column, text), count in left_out.most_common(_TOLD)]
    more = len(left_out) - len(told)
    return ", ".join(told) + (f" and {more} more" if more > 0 else "")


def _meant(layer, column, values, meanings, accepted):
    """A column with the meanings of its values."""
    texts = [plain_text(value) for value in values.tolist()]
    known = None if accepted is None else {"", *accepted, *map(plain_text, meanings.values())}
    lost = Counter(text for text in texts if known is not None and text not in meanings and text not in known)
    for text, count in lost.most_common(1):
        more = f"; and {len(lost) - 1} other values" if len(lost) > 1 else ""
        raise InputError(layer.path, f"layer {layer.name}, column {column}",
                         f"{text!r} in {count} feature{'s' if count > 1 else ''}, for which values has no entry{more}",
                         ", ".join([*meanings, *sorted(known - {"", *meanings})]), nearest(text, {*meanings, *known}))
    meant = np.empty(len(values), object)
    meant[:] = [meanings.get(text, value) for text, value in zip(texts, values.tolist(), strict=True)]
    return meant


def _points(x, y, names):
    """Points of columns, and why one is none."""
    (x, wrong_x), (y, wrong_y) = (cells(values, "ratio") for values in (x, y))
    fault = np.full(len(x), "", object)
    for name, wrong in zip(names, (wrong_x, wrong_y), strict=True):
        at = np.flatnonzero((wrong != "") & (fault == ""))
        fault[at] = [f"{name} {wrong[i]}" for i in at]
    geometry = np.full(len(x), None, object)
    geometry[fault == ""] = shapely.points(x[fault == ""], y[fault == ""])
    return geometry, fault
