"""Digests of rows: what stands in each layer of findings, whichever kind of file holds it."""

import hashlib
import marshal
from collections.abc import Iterable

from corridor.outputs.columns import Layer

__all__ = ["by_line", "digest_rows", "digested"]

#: Rows are digested as marshal's format 2 has them, which is the same on every machine: types and lengths, numbers with
#: their low byte first, UTF-8. In later formats a row depends on which of its values happen to be one object.
_AS_BYTES = 2


def digested(layer: Layer) -> list[str]:
    """Return the names of the columns that count in the digest of a layer: two runs over the same have the same."""
    return [column.name for column in layer.columns if column.name not in ("layer_digests", "time")]


def by_line(layer: Layer) -> bool:
    """Return whether every row of a layer is of a line, so that it can be kept line by line."""
    return any(column.name == "line" and column.required for column in layer.columns)


def digest_rows(layer: Layer, rows: Iterable[tuple]) -> str:
    """Return the SHA-256 over the rows of a layer, in hexadecimal digits.

    Parameters
    ----------
    layer : Layer
    rows : iterable of tuple
        Number of the row in the layer, from 1; its place as WKB, None where there is none; the values of the columns
        that are `digested`, yes and no as 1 and 0. Rows of a line come in their order, lines in any.
    """
    line = 2 + digested(layer).index("line") if by_line(layer) else None
    totals: dict = {}
    for row in rows:
        name = None if line is None else row[line]
        if name not in totals:
            totals[name] = hashlib.sha256()
        totals[name].update(marshal.dumps(row, _AS_BYTES))
    whole = hashlib.sha256()
    for name in sorted(totals, key=str):
        whole.update(totals[name].digest())
    return whole.hexdigest()
