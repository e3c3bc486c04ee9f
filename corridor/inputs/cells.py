"""Cells of a column as numbers, or as the texts that they are told by."""

import numpy as np

from corridor.units import QuantityError, quantity, scale

__all__ = ["cells", "plain_text"]


def plain_text(value):
    """Return a cell as text: "" where there is none; a whole number gets no decimals, a truth small letters.

    >>> plain_text(110.0), plain_text(True), plain_text(None)
    ('110', 'true', '')
    """
    if value is None or value != value:
        return ""
    if isinstance(value, bool | np.bool_):
        return str(bool(value)).lower()
    if isinstance(value, float) and not value.is_integer():
        return f"{value:.15g}"
    return str(int(value)) if isinstance(value, float) else str(value).strip()


def cells(values, kind, unit=None):
    """Return a column as numbers in the SI unit of a kind, and a fault for each cell that is none.

    Parameters
    ----------
    values : ndarray
        Numbers in that unit, or text with or without one; missing ones None or nan.
    kind : str
        A key of `corridor.units.KINDS`.
    unit : str or None
        The unit of numbers without one; None: the SI unit.

    Returns
    -------
    numbers : ndarray
        nan where missing or at fault.
    fault : ndarray of str
        "" where it is a number, "missing", or what stands there.
    """
    if values.dtype.kind in "iuf":
        factor, offset = scale(unit, kind)
        numbers = values.astype(float) * factor + offset
        return np.where(np.isfinite(numbers), numbers, np.nan), np.where(
            np.isnan(numbers), "missing", np.where(np.isinf(numbers), "infinite", "")
        ).astype(object)
    return each_cell(values, lambda value: _cell(value, kind, unit))


def each_cell(values, read):
    """Return the numbers and faults of a column of text; `read(value)` tells those of a cell."""
    known = {value: read(value) for value in set(values.tolist())}
    pairs = [known[value] for value in values.tolist()]
    return np.array([p[0] for p in pairs], float), np.array([p[1] for p in pairs], object)


def _cell(value, kind, unit):
    if value is None or value != value or not str(value).strip():
        return np.nan, "missing"
    try:
        return quantity(value, kind, plain_text=True, unit=unit), ""
    except QuantityError:
        return np.nan, f"{value!r}"
