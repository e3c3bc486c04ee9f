"""The types of arrays that every room shares, and rows of their columns.

A function of arrays takes a scalar, too, and then returns numpy's scalar, which has all that an `Array` has.
"""

from collections.abc import Iterable, Sequence
from dataclasses import fields
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

__all__ = ["Array", "ArrayLike", "Booleans", "Index", "Integers", "Number", "Texts", "join", "matches",
           "names_of", "ragged", "take"]

#: Real numbers; nan is what is not known.
Array = NDArray[np.float64]
#: Indices, offsets, counts.
Integers = NDArray[np.intp]
#: Yes or no.
Booleans = NDArray[np.bool_]
#: Texts, or other objects.
Texts = NDArray[np.object_]
#: What picks rows of columns.
Index = slice | Integers | Booleans | tuple[slice | Integers | None, ...]
#: A number, or an array of them.
Number = float | Array

_Table = TypeVar("_Table", bound="DataclassInstance | tuple[Any, ...]")
_Joined = TypeVar("_Joined", bound="DataclassInstance | tuple[Any, ...] | dict[str, Any]")


def take(table: _Table, rows: Index) -> _Table:
    """Return some rows of a dataclass of columns, or of a named tuple of them."""
    columns = table if isinstance(table, tuple) else [getattr(table, field.name) for field in fields(table)]
    return type(table)(*(column[rows] for column in columns))


def join(tables: Sequence[_Joined]) -> _Joined:
    """Return tables of the same columns, row under row; they are dicts, dataclasses or named tuples of columns."""
    kind: Any = type(tables[0])
    if isinstance(tables[0], tuple):
        return kind(*(np.concatenate(parts) for parts in zip(*tables, strict=True)))
    pick: Any = dict.__getitem__ if kind is dict else getattr
    names: Any = tables[0] if kind is dict else [field.name for field in fields(kind)]
    return kind(**{name: np.concatenate([pick(each, name) for each in tables]) for name in names})


def ragged(count: Integers) -> tuple[Integers, Integers]:
    """Return the row of each of so many elements, those of a row after one another, and its number within the row.

    Examples
    --------
    >>> [each.tolist() for each in ragged(np.array([2, 0, 3]))]
    [[0, 0, 2, 2, 2], [0, 1, 0, 1, 2]]
    """
    owner = np.repeat(np.arange(len(count)), count)
    return owner, np.arange(len(owner)) - (np.cumsum(count) - count)[owner]


def matches(wanted: Integers, key: Integers) -> tuple[Integers, Integers]:
    """Return all pairs of a place in `wanted` and one in `key` that hold the same number, in the order of the places.

    Examples
    --------
    >>> [each.tolist() for each in matches(np.array([5, 4, 7]), np.array([7, 5, 7]))]
    [[0, 2, 2], [1, 0, 2]]
    """
    order = np.argsort(key, kind="stable")
    begin, stop = (np.searchsorted(key[order], wanted, "left"), np.searchsorted(key[order], wanted, "right"))
    row, within = ragged(stop - begin)
    return row, order[begin[row] + within]


def names_of(things: Iterable[Any]) -> Texts:
    """Return the names of things, to be picked from by their numbers."""
    return np.array([thing.name for thing in things], object)
