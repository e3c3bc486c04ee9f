"""Words for what each key of the schema accepts, read off the schema itself."""

from types import NoneType, UnionType
from typing import Annotated, Literal, Union, get_args, get_origin

from annotated_types import Ge, Le
from pydantic import BaseModel, BeforeValidator

from corridor.study import schema
from corridor.study.table import PATH
from corridor.study.values import Words

__all__ = ["accepts", "accepts_at", "field_at", "is_list", "is_path", "keys_at", "table_of"]

_WORDS = {str: "text", bool: "true | false", int: "a whole number", float: "a number"}


def keys_at(place):
    """Return the keys that the table at a place takes.

    >>> keys_at(["rules"])[:2]
    ('table', 'file')
    """
    model = schema.Study
    for part in place:
        if isinstance(part, str):
            model = table_of(model.model_fields[part])
    return tuple(model.model_fields)


def field_at(place):
    """Return the field at a place such as ("terrain", "ground", 0), and whether within its list."""
    model, field, inside = schema.Study, None, False
    for part in place:
        if isinstance(part, str):
            field, inside = model.model_fields[part], False
            model = table_of(field)
        else:
            inside = True
    return field, inside


def accepts_at(place):
    """Return words for what the key at a place accepts."""
    field, inside = field_at(place)
    return accepts(field, item=inside)


def table_of(field):
    """Return the table that a field holds, or a list of, else None."""
    found = [
        model
        for model in _leaves(field.annotation)
        if isinstance(model, type) and issubclass(model, BaseModel)
    ]
    return found[0] if found else None


def accepts(field, *, item=False):
    """Return words for what a field accepts, or for one item of its list."""
    readers = [mark.func for mark in field.metadata if isinstance(mark, BeforeValidator)]
    if readers:
        return readers[0].accepts
    listed = is_list(field) and not item
    if table_of(field):
        words = "a list of tables, [[...]]" if listed else "a table"
    else:
        words = ("a list of: " if listed else "") + _plain(field)
    return words + (", at least one" if listed and field.is_required() else "")


def is_list(field):
    """Return whether a field holds a list."""
    return get_origin(field.annotation) is tuple


def is_path(field):
    """Return whether a field holds the path of a file, or a list of paths."""
    return PATH in (*field.metadata, *_leaves(field.annotation))


def _plain(field):
    """Return words for text, words to choose from, whole numbers, true or false."""
    leaves = [leaf for leaf in _leaves(field.annotation) if leaf is not NoneType]
    words = [
        _WORDS.get(leaf) or (leaf.accepts if isinstance(leaf, Words) else f'"{leaf}"')
        for leaf in leaves
    ]
    low = [mark.ge for mark in field.metadata if isinstance(mark, Ge)]
    high = [mark.le for mark in field.metadata if isinstance(mark, Le)]
    bounds = f" from {low[0]} to {high[0]}" if low and high else ""
    return _own_words(field.metadata) or " | ".join(words) + bounds


def _own_words(metadata):
    return next((mark.accepts for mark in metadata if isinstance(mark, Words)), None)


def _leaves(annotation):
    """Return the types and literal values within an annotation."""
    origin = get_origin(annotation)
    if origin is Literal:
        return list(get_args(annotation))
    if origin is Annotated:
        marks = [mark for mark in annotation.__metadata__ if isinstance(mark, Words)]
        return marks or _leaves(get_args(annotation)[0])
    if origin in (tuple, Union, UnionType):
        return [leaf for part in get_args(annotation) if part is not ... for leaf in _leaves(part)]
    return [annotation]
