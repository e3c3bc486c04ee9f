"""Columns packed into text that a page carries: one compressed block, read back by a script or by `unpack`.

The block is zlib data in Base64. Inside: the length of a JSON text as four bytes (little-endian), the JSON, then
arrays, each at a multiple of 8 bytes from their start. In the JSON an array stands as
{"array": type, "at": byte, "n": count, "scale": s}: what is meant is s times the number, and unknown where it is
the minimum number of its type (or nan).
"""

import base64
import json
import zlib

import numpy as np

__all__ = ["Packer", "quantised", "unpack"]

#: Names of array types, as numpy has them.
_TYPES = ("uint8", "int8", "int16", "int32", "float32", "float64")
_ALIGN = 8


def quantised(values, scale, kind="int32", *, down=False):
    """Return whole multiples of `scale` nearest to the values, and the scale; the least of the type where not finite.

    Parameters
    ----------
    values : array_like
    scale : float
        Step, in the unit of the values; made larger where the type could not hold them.
    kind : str
        "int16" or "int32".
    down : bool
        Round down, so that what is negative stays so.

    Examples
    --------
    >>> quantised([0.26, -0.0004, float("nan")], 0.01, "int16", down=True)[0].tolist()
    [26, -1, -32768]
    """
    values, room = np.asarray(values, float), np.iinfo(kind)
    values = np.where(np.isfinite(values), values, np.nan)
    scale = max(scale, np.nanmax(np.abs(values), initial=0.0) / (room.max - 1))
    whole = (np.floor if down else np.rint)(values / scale)
    return np.where(np.isnan(whole), room.min, whole).astype(kind), float(scale)


class Packer:
    """Collect arrays, and give for each what stands for it in the JSON."""

    def __init__(self):
        self._parts, self._size = [], 0

    def array(self, values, scale=1.0):
        """Add an array, and return what stands for it."""
        values = np.ascontiguousarray(values)
        if values.dtype.name not in _TYPES:
            raise ValueError(f"no type of a page: {values.dtype}")
        data = values.astype(values.dtype.newbyteorder("<")).tobytes()
        data += bytes(-len(data) % _ALIGN)
        self._parts.append(data)
        self._size += len(data)
        return {"array": values.dtype.name, "at": self._size - len(data), "n": values.size, "scale": scale}

    def whole(self, values, scale, kind="int32", *, down=False):
        """Add numbers in steps of `scale` (see `quantised`)."""
        return self.array(*quantised(values, scale, kind, down=down))

    def codes(self, values, known=None):
        """Add texts as numbers of a list: {"texts": ..., "codes": ...}, -1 where there is none.

        `known` is the list where it is shared; it must hold every text.
        """
        values = np.asarray(values, object)
        known = list(dict.fromkeys(v for v in values if v is not None)) if known is None else list(known)
        number = {text: i for i, text in enumerate(known)} | {None: -1}
        codes = np.array([number[v] for v in values], "int32")
        kind = next(k for k in ("int8", "int16", "int32") if len(known) <= np.iinfo(k).max)
        return {"texts": known, "codes": self.array(codes.astype(kind))}

    def table(self, columns):
        """Add a table: texts as codes, other values as float64, nan where there is none."""
        return {name: self.codes(values) if np.asarray(values).dtype.kind in "OU"
                else self.array(np.asarray(values, float)) for name, values in columns.items()}

    def text(self, content):
        """Return the block for content in which arrays stand as `array` gave them."""
        head = json.dumps(content, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode()
        head += b" " * (-(len(head) + 4) % _ALIGN)
        data = len(head).to_bytes(4, "little") + head + b"".join(self._parts)
        return base64.b64encode(zlib.compress(data, 6)).decode("ascii")


def unpack(text):
    """Return the content of a block, its arrays as float64 (nan: unknown), its codes as texts.

    Examples
    --------
    >>> packer = Packer()
    >>> content = {"wire": packer.codes(["A", None]), "sag": packer.whole([6.25, float("nan")], 0.01)}
    >>> unpack(packer.text(content))
    {'wire': array(['A', None], dtype=object), 'sag': array([6.25,  nan])}
    """
    data = zlib.decompress(base64.b64decode(text))
    start = 4 + int.from_bytes(data[:4], "little")
    return _restore(json.loads(data[4:start]), memoryview(data)[start:])


def _restore(item, data):
    if isinstance(item, list):
        return [_restore(each, data) for each in item]
    if not isinstance(item, dict):
        return item
    if "array" in item:
        return _numbers(item, data)
    if item.keys() == {"texts", "codes"}:
        return np.array([*item["texts"], None], object)[_numbers(item["codes"], data).astype(int)]
    return {key: _restore(value, data) for key, value in item.items()}


def _numbers(item, data):
    raw = np.frombuffer(data, np.dtype(item["array"]).newbyteorder("<"), item["n"], item["at"])
    values = raw.astype(float) * item["scale"]
    return np.where(raw == np.iinfo(raw.dtype).min, np.nan, values) if item["array"] in ("int16", "int32") else values
