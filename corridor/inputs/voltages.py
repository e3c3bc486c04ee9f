"""Columns of voltages, as numbers or as texts that may hold several."""

import numpy as np

from corridor.inputs.cells import cells, each_cell

__all__ = ["several_voltages", "voltages", "without_unit"]


def voltages(values, unit):
    """Return voltages [V] of a column, of several in one text ("110000;20000") the highest, and a fault for each cell
    that is none, as `cells` does; `unit` that of numbers without one, None: V."""
    if values.dtype.kind in "iuf":
        return cells(values, "voltage", unit)
    return each_cell(values, lambda value: _highest(value, unit))


def without_unit(values, count):
    """Return which voltages of a column are numbers without unit; none where there is no column."""
    if values is None:
        return np.zeros(count, bool)
    if values.dtype.kind in "iuf":
        return np.ones(count, bool)
    return np.array([not any(letter.isalpha() for letter in str(value or "")) for value in values.tolist()], bool)


def several_voltages(values, count):
    """Return which cells of a column hold more than one voltage; none where there is no column."""
    if values is None or values.dtype.kind in "iuf":
        return np.zeros(count, bool)
    return np.array([len(_parts(value)) > 1 for value in values.tolist()], bool)


def _parts(value):
    return [part for part in str(value or "").split(";") if part.strip()]


def _highest(value, unit):
    """The highest of the voltages in a text, and the first that is none."""
    numbers, wrong = cells(np.array(_parts(value) or [""], object), "voltage", unit)
    return numbers.max(), next((text for text in wrong if text), "")
