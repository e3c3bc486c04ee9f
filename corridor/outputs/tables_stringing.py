"""Text of how wires are put up, for the terminal."""

from textwrap import wrap

import numpy as np

from corridor.outputs.tables import WIDTH, aligned, number

__all__ = ["stringing_text"]

#: Failed checks of an option that are told one by one.
_TOLD = 12


def stringing_text(layers):
    """Return lines of pulls, of what failed, and of how much was not given.

    Parameters
    ----------
    layers : dict of dict of ndarray
        Of `corridor.jobs.stringing.StringingResult`.
    """
    pulls, ready = layers["pulls"], layers["installation"]
    lines = ["Pulls, as hard as the rules allow", ""]
    above = ("", "length", "tension", "", "of", "minimum", "to guard", "work")
    head = ("option, pull", "m", "kN", "% RTS", "sagging %", "height m", "or out", "h")
    for option in dict.fromkeys(pulls["option"]):
        own = pulls["option"] == option
        columns = [pulls[name][own] for name in ("pull", "length_m", "maximum_tension_n", "percent_rts",
                                                 "percent_of_sagging", "minimum_height_m", "crossings", "hours")]
        cells = [[f"  {pull}", number(length), number(T / 1e3, ".1f"), number(rts, ".1f"), number(sagging, ".0f"),
                  number(height, ".1f"), str(crossings), number(hours, ".1f")]
                 for pull, length, T, rts, sagging, height, crossings, hours in zip(*columns, strict=True)]
        table = aligned(head, cells, above=above)
        lines += [*(table[:2] if not lines[-1] and len(lines) == 2 else []), option, *table[2:]]
    lines += ["", "Ready?", ""]
    for option in dict.fromkeys(ready["option"]):
        own = np.flatnonzero(ready["option"] == option)
        states = list(ready["state"][own])
        lines.append(f"{option}: {states.count('failed')} failed, {states.count('not given')} not given, "
                     f"{states.count('passed')} passed")
        failed = [i for i in own if ready["state"][i] == "failed"]
        for i in failed[:_TOLD]:
            lines += wrap(_failed(ready, i), WIDTH.get(), initial_indent="  ", subsequent_indent="    ")
        if len(failed) > _TOLD:
            lines.append(f"  and {len(failed) - _TOLD} more, in layer installation")
    return lines + _as_built(layers["as_built"], layers["as_built_sections"])


def _as_built(rows, sections):
    """Lines of what was measured once the wire was strung."""
    if not len(rows["span"]):
        return []
    cells = [[f"{span} {wire}", number(T, "g"), number(sag, ".2f"), number(more, "+.2f"), number(H / 1e3, ".2f"),
              number(out, "+.3f"), state] for span, wire, T, sag, more, H, out, state in zip(
        *(rows[name] for name in ("span", "wire", "temperature_c", "sag_m", "sag_difference_m", "horizontal_tension_n",
                                  "take_out_m", "state")), strict=True)]
    lines = ["", "As built", "", *aligned(("span, wire", "°C", "sag m", "more m", "kN", "take out m", ""), cells), ""]
    for section, words in zip(sections["section"], sections["words"], strict=True):
        lines += wrap(f"{section}: {words}", WIDTH.get(), subsequent_indent="  ")
    return lines


def _failed(ready, i):
    place = " ".join(filter(None, (ready["pull"][i], ready["structure"][i])))
    words = f"{place}: {ready['check'][i]}" if place else ready["check"][i]
    value, limit, unit = ready["value"][i], ready["limit_value"][i], ready["unit"][i] or ""
    if np.isfinite(value):
        words += f" {value:.3g} {unit}" + (f", rule {limit:.3g}" if np.isfinite(limit) else "")
    return words + (f"; {ready['note'][i]}" if ready["note"][i] else "")
