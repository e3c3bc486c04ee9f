"""Stringing limits in words: the one that governs, and those that a wire cannot meet."""

from typing import TYPE_CHECKING

import numpy as np

from corridor.arrays import Array, Integers, Texts
from corridor.line.history import Pairs, Settled
from corridor.mechanics.stringing import least_tension

if TYPE_CHECKING:
    from corridor.line.states import PairLimits
    from corridor.line.wiring_table import WiringTable

__all__ = ["texts", "unmet"]


def unmet(which: Integers, table: "WiringTable", pairs: Pairs, limits: "PairLimits", settled: Settled) -> Texts:
    """Words for the limits that pairs cannot meet, (group, option): what is allowed, and what a wire pulls at least."""
    words = np.full(which.size, "", object)
    lost = np.isnan(settled.excess)[:, None] & np.isfinite(limits.value) & np.isnan(pairs.limit_tension)
    rows, columns = np.nonzero(lost & (limits.kind != "existing"))
    S, h = limits.spans[rows, 0], limits.rises[rows, 0]
    pull, place = least_tension(S, h, limits.weight[rows, columns], limits.wind[rows, columns])
    S, h = (np.take_along_axis(v, place[:, None], axis=1)[:, 0] for v in (S, h))
    for i, (row, column) in enumerate(zip(rows, columns, strict=True)):
        text = table.text[which.flat[row], column]
        words[row] += (f"; {text}: {limits.value[row, column] / 1e3:.1f} kN are allowed, and over {S[i]:.1f} m "
                       f"with a rise of {h[i]:.1f} m a wire pulls {pull[i] / 1e3:.1f} kN or more, however it is strung")
    return words.reshape(which.shape)


def texts(which: Integers, table: "WiringTable", pairs: Pairs, governing: Integers, share: Array) -> Texts:
    """Words of the limit that governs each pair, None where none does."""
    text = table.text[which, governing]
    for at in zip(*np.nonzero((share.reshape(which.shape) != 0) & (governing >= 0)), strict=True):
        text[at] = f"{text[at]}, {100 * share.reshape(which.shape)[at]:+.3g} % in this section"
    for g, o in zip(*np.nonzero(np.isfinite(pairs.measured.reshape(which.shape))), strict=True):
        H, T = (v.reshape(which.shape)[g, o] for v in (pairs.measured, pairs.measured_at))
        when = " as strung" * bool(pairs.as_strung.reshape(which.shape)[g, o])
        text[g, o] = f"measured{when}: {H:.0f} N at {T:g} °C"
    return text
