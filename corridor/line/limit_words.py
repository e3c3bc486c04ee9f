"""Stringing limits in words: the one that governs, and those that a wire cannot meet."""

import numpy as np

from corridor.mechanics.stringing import least_tension

__all__ = ["texts", "unmet"]


def unmet(which, table, pairs, limits, settled):
    """Words for the limits that pairs cannot meet, (group, option): what is allowed, and what a wire pulls at least."""
    words = np.full(which.size, "", object)
    lost = np.isnan(settled.excess)[:, None] & np.isfinite(limits.value) & np.isnan(pairs.limit_tension)
    rows, columns = np.nonzero(lost & (limits.kind != "existing"))
    S, h = limits.spans[rows, 0], limits.rises[rows, 0]
    pull, place = least_tension(S, h, limits.weight[rows, columns], limits.wind[rows, columns])
    S, h = (np.take_along_axis(v, place[:, None], axis=1)[:, 0] for v in (S, h))
    for i, (row, column) in enumerate(zip(rows, columns, strict=True)):
        limit = table.wirings[which.flat[row]].stringing[column]
        words[row] += (f"; {limit.text}: {limits.value[row, column] / 1e3:.1f} kN are allowed, and over {S[i]:.1f} m "
                       f"with a rise of {h[i]:.1f} m a wire pulls {pull[i] / 1e3:.1f} kN or more, however it is strung")
    return words.reshape(which.shape)


def texts(which, table, pairs, governing, share):
    """Words of the limit that governs each pair, None where none does."""
    count = max(len(w.stringing) for w in table.wirings if w is not None)
    words = np.full((len(table.wirings), count + 1), None, object)
    for i, wiring in enumerate(table.wirings):
        for j, limit in enumerate(wiring.stringing if wiring else ()):
            words[i, j] = limit.text
    text = words[which, governing]
    for at in zip(*np.nonzero((share.reshape(which.shape) != 0) & (governing >= 0)), strict=True):
        text[at] = f"{text[at]}, {100 * share.reshape(which.shape)[at]:+.3g} % in this section"
    for g, o in zip(*np.nonzero(np.isfinite(pairs.measured.reshape(which.shape))), strict=True):
        H, T = (v.reshape(which.shape)[g, o] for v in (pairs.measured, pairs.measured_at))
        text[g, o] = f"measured: {H:.0f} N at {T:g} degC"
    return text
