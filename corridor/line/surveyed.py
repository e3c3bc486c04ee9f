"""Wires as a survey saw them: which wires of a batch these are, and where they hang for it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from corridor.arrays import Array, Booleans, Integers, Texts
from corridor.line.build import Spans, WireSpans
from corridor.line.facts import Option
from corridor.line.model import Model, Seen

__all__ = ["Surveyed", "as_attached", "as_seen"]


@dataclass(frozen=True)
class Surveyed:
    """Wires that a survey saw hang, bare; columns of shape (row,), a row for each wire in a span.

    `line`, `span`, `wire` names; `temperature` [°C], of all wires of one kind in a section the same;
    `horizontal_tension` across the load of one wire [N], nan where it is not known; `slant` of the load, wind over
    weight [-], positive to the right; `start_raise`, `end_raise` [m] by which the ends of wires hang higher than
    structures and framings say, nan where that does not count. Of all wires that were fitted, those that do not count
    too, `layers` are the layers that tell of them, by name, and `drawn` (fitted wire,) points (point, 3), the fitted
    and the modelled wire (place, 3) of each in the frame of its span [m]; `words` what is to be said.
    """

    line: Texts
    span: Texts
    wire: Texts
    temperature: Array
    horizontal_tension: Array
    slant: Array
    start_raise: Array
    end_raise: Array
    layers: Mapping[str, Mapping[str, Array]]
    drawn: tuple[tuple[Array, Array, Array], ...]
    words: tuple[str, ...]

    def rows(self, wires: WireSpans, spans: Spans) -> Integers:
        """Return the row of each wire span, -1 where it was not surveyed."""
        known = {key: i for i, key in enumerate(zip(self.line, self.span, self.wire, strict=True))}
        of = wires.span
        return np.array([known.get(key, -1) for key in zip(spans.line[of], spans.name[of], wires.wire, strict=True)],
                        int)


def as_attached(wires: WireSpans, spans: Spans, surveyed: Surveyed | None) -> WireSpans:
    """Return the wires with their ends at the elevations at which a survey saw them."""
    if surveyed is None or not np.isfinite(np.r_[surveyed.start_raise, surveyed.end_raise]).any():
        return wires
    row = surveyed.rows(wires, spans)
    start, end = wires.start.copy(), wires.end.copy()
    for place, column in ((start, surveyed.start_raise), (end, surveyed.end_raise)):
        place[:, 2] += np.where(row >= 0, np.nan_to_num(column[row]), 0.0)
    return replace(wires, start=start, end=end)


def as_seen(model: Model, options: Sequence[Option], surveyed: Surveyed | None) -> Model:
    """Return the model that knows in which state wires were seen.

    Spans of a wire that were not surveyed hang with the median of what its others were seen with; wires of which none
    was, as `Wiring.measured` of their section says.
    """
    if surveyed is None or not len(surveyed.line):
        return model
    row = surveyed.rows(model.wires, model.spans)
    groups = model.groups
    tension, slant = (_over_runs(model, row, column) for column in (surveyed.horizontal_tension, surveyed.slant))
    known = np.isfinite(tension).any(axis=1)
    for column in (tension, slant):
        middle = np.full(len(column), np.nan)
        middle[known] = np.nanmedian(column[known], axis=1)
        column[:] = np.where(np.isnan(column), middle[:, None], column)
    temperature = np.full(len(groups), np.nan)
    seen = np.flatnonzero(row >= 0)
    temperature[groups.of_wire_span[seen]] = surveyed.temperature[row[seen]]
    stands = _stands(groups.kind, options)
    return replace(model, seen=Seen(np.where(stands, temperature[:, None], np.nan), tension, np.nan_to_num(slant)))


def _over_runs(model: Model, row: Integers, column: Array) -> Array:
    """A column of what was surveyed over wire runs and their spans, nan where nothing was."""
    at = np.where(model.runs.row >= 0, row[model.runs.row], -1)
    return np.where(at >= 0, column[at], np.nan)


def _stands(kind: Texts, options: Sequence[Option]) -> Booleans:
    """Whether groups hang today in options: the wires of the existing one, and shield wires in all; (group, option)."""
    return np.array([option.existing for option in options]) | (kind == "shield")[:, None]
