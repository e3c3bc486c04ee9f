"""Digests of rows: what stands in each layer of findings, whichever kind of file holds it."""

import hashlib
from collections.abc import Iterable, Iterator, Mapping

import numpy as np
import pyarrow as pa

from corridor.outputs.columns import Layer

__all__ = ["Digest", "by_line", "digest_of_rows", "digested"]

#: How a column of each type is digested: that of yes and no as 1 and 0, as a database has them.
_CELLS = {"text": pa.string(), "real": pa.float64(), "integer": pa.int64(), "boolean": pa.int8(),
          "datetime": pa.string()}
#: Rows that are taken at a time.
_ROWS = 20_000


def digested(layer: Layer) -> list[str]:
    """Return the names of the columns that count in the digest of a layer: two runs over the same have the same."""
    return [column.name for column in layer.columns if column.name not in ("layer_digests", "time")]


def by_line(layer: Layer) -> bool:
    """Return whether every row of a layer is of a line, so that it can be kept line by line."""
    return any(column.name == "line" and column.required for column in layer.columns)


class Digest:
    """The SHA-256 over the rows of a layer, which may come in any batches; rows of a line in their order, lines in any.

    It is over three digests of each column, line after line by name: over a byte for each row, 1 where it has a value;
    over the values (numbers as 8 bytes, the low one first; yes and no as 1 byte; text in UTF-8 and places as WKB); and
    over the lengths of those that have one, as 4 bytes. The number of a row in its layer, from 1, is the first column.
    """

    def __init__(self, layer: Layer) -> None:
        types = {column.name: _CELLS[column.type] for column in layer.columns}
        self._kinds = {"": pa.int64(), **({"geometry": pa.binary()} if layer.geometry else {}),
                       **{name: types[name] for name in digested(layer)}}
        self._by_line = by_line(layer)
        self._lines: dict[str | None, list[tuple]] = {}
        self.rows = 0

    def add(self, columns: Mapping[str, pa.Array], numbers: np.ndarray | None = None) -> None:
        """Take rows: columns by name, places as WKB under "geometry"; `numbers` of the rows, default: the next ones."""
        count = len(next(iter(columns.values())))
        given = np.arange(self.rows + 1, self.rows + count + 1) if numbers is None else numbers
        self.rows += count
        given_as = {"": pa.array(given), **columns}
        cells = [cell if cell.type == kind else cell.cast(kind)
                 for cell, kind in ((given_as[name], kind) for name, kind in self._kinds.items())]
        for line, begin, size in self._runs(columns, count):
            hashes = self._lines.setdefault(line, [tuple(hashlib.sha256() for _ in range(3)) for _ in cells])
            for cell, three in zip(cells, hashes, strict=True):
                for each, part in zip(three, _parts(cell.slice(begin, size)), strict=True):
                    each.update(part)

    def _runs(self, columns, count):
        """Line, first row and number of rows of each run of rows of one line."""
        if not self._by_line or not count:
            return [(None, 0, count)] if count else []
        encoded = columns["line"].cast(pa.string()).dictionary_encode()
        code, names = encoded.indices.to_numpy(), encoded.dictionary.to_pylist()
        begin = np.flatnonzero(np.diff(code, prepend=-1))
        return [(names[code[a]], a, b - a) for a, b in zip(begin.tolist(), [*begin[1:].tolist(), count], strict=True)]

    def hexdigest(self) -> str:
        """Return it in hexadecimal digits."""
        whole = hashlib.sha256()
        for line in sorted(self._lines, key=str):
            for three in self._lines[line]:
                for each in three:
                    whole.update(each.digest())
        return whole.hexdigest()


def digest_of_rows(layer: Layer, rows: Iterator[tuple]) -> str:
    """Return the digest of rows as SQLite has them; "" where a value is of another type than its column's.

    Parameters
    ----------
    layer : Layer
    rows : iterator of tuple
        Place as WKB, None where there is none; the values of the columns that are `digested`.
    """
    found, kinds = Digest(layer), {"geometry": pa.binary()} | {c.name: _CELLS[c.type] for c in layer.columns}
    names = ["geometry", *digested(layer)]
    for some in _some(rows):
        try:
            found.add({name: pa.array(values, kinds[name])
                       for name, values in zip(names, zip(*some, strict=True), strict=True)})
        except (pa.ArrowInvalid, pa.ArrowTypeError, OverflowError, UnicodeEncodeError):
            return ""
    return found.hexdigest()


def _some(rows: Iterator[tuple]) -> Iterable[list[tuple]]:
    while some := [row for _, row in zip(range(_ROWS), rows, strict=False)]:
        yield some


def _parts(cell):
    """Bytes of which rows have a value, of the values, and of their lengths."""
    count, known = len(cell), cell
    valid = np.ones(count, np.uint8)
    if cell.null_count:
        valid, known = np.asarray(cell.is_valid()).view(np.uint8), cell.drop_null()
    if not (pa.types.is_string(cell.type) or pa.types.is_binary(cell.type)):
        return valid, np.ascontiguousarray(known.to_numpy()), b""
    if not len(known):
        return valid, b"", b""
    _, ends, data = known.buffers()
    ends = np.frombuffer(ends, np.int32)[known.offset:known.offset + len(known) + 1]
    return valid, b"" if data is None else memoryview(data)[ends[0]:ends[-1]], np.diff(ends)
