"""What a plan may leave: violations and lifted strings of the existing line, none of them worse than it was there.

Each is a column of the programme, of the kind "leave", by which its rows ask no more than that it gets no worse.
"""

from collections.abc import Iterable
from dataclasses import fields, replace

import numpy as np
import shapely

from corridor.planning.remedies.least_cost import Constraints
from corridor.planning.remedies.offered import Remedies
from corridor.planning.remedies.variants import STRING, Variant, keys_of

__all__ = ["LEAVE", "as_it_was", "keys_at", "left_rows", "sections_of", "why_left", "with_leave", "without_left"]

#: The kind of the columns.
LEAVE = "leave"
#: By how much a margin [m], or the pull on a string [N], may be less than before without being less.
_SAME, _SAME_PULL = 1e-3, 1.0
#: What tells a comparison of a span, whichever wire is the worst there.
_COMPARED = ("case", "against", "obstacle", "measure", "position")


def keys_at(variant: Variant, rows: dict) -> list[tuple]:
    """Return what tells each row of clearances or violations: the span on the existing line, and what is compared."""
    line = variant.line
    return list(zip(line.parent[line.spans_at(rows)].tolist(), *(rows[name] for name in _COMPARED), strict=True))


def as_it_was(before: Variant) -> dict[tuple, float]:
    """Return every violation of the existing line by its key, to its margin [m], and every string that is lifted, by
    the names of `STRING`, to the pull down on it [N]; the least of each."""
    violations, loads, least = before.layers["violations"], before.layers["structure_loads"], {}
    lifted = before.lifted
    for key, value in (*zip(keys_at(before, violations), violations["margin_m"], strict=True),
                       *zip(keys_of(loads, STRING), loads["vertical_n"], strict=True)):
        if len(key) > len(STRING) or key in lifted:
            least[key] = min(least.get(key, np.inf), float(value))
    return least


def without_left(now: Variant, was: dict[tuple, float], left: Iterable[tuple]) -> Variant:
    """Return a variant without the violations and lifted strings that are `left`, as far as they are no worse than they
    were: what is said of it is said of all else, and of those that are worse."""
    left = frozenset(left)
    if not left:
        return now
    violations, loads = now.layers["violations"], now.layers["structure_loads"]
    # What is not a number is no better than it was.
    stays = np.array([key in left and margin >= was[key] - _SAME for key, margin in
                      zip(keys_at(now, violations), violations["margin_m"], strict=True)], bool)
    hangs = np.array([key in left and pull >= was[key] - _SAME_PULL for key, pull in
                      zip(keys_of(loads, STRING), loads["vertical_n"], strict=True)], bool)
    return replace(now, layers=now.layers | {
        "violations": {name: values[~stays] for name, values in violations.items()},
        "structure_loads": loads | {"lifted": loads["lifted"].astype(bool) & ~hangs}})


def with_leave(remedies: Remedies, count: int) -> Remedies:
    """Return remedies with a column more for each of `count` things that may be left, which costs nothing by itself."""
    more = Remedies.of_rows([(LEAVE, i, 1, 1, 0, 0) for i in range(count)])
    return Remedies(*(np.concatenate([getattr(each, f.name) for each in (remedies, more)]) for f in fields(Remedies)))


def sections_of(before: Variant, things: Iterable[tuple]) -> list[np.ndarray]:
    """Return the sections of the existing line that each of some things is in."""
    line, loads, at, things = before.line, before.layers["structure_loads"], {}, list(things)
    for string, section in zip(keys_of(loads, STRING), keys_of(loads, ("line", "section")), strict=True):
        at.setdefault(string, set()).add(section)
    return [np.array([line.before.spans.section[key[0]]]) if len(key) > len(STRING) else
            np.unique(line.sections_before(at[key])) for key in things]


def why_left(rows: Constraints, remedies: Remedies, left: dict[tuple, int]) -> dict[tuple, str]:
    """Return words for why each of some things is left, key to its column, of the rows of the existing line."""
    amount = np.where(remedies.kind == LEAVE, 0.0, remedies.most * remedies.step)
    gain, words = rows.A.maximum(0) @ amount, {}
    columns = rows.A.tocsc()
    for key, j in left.items():
        own = columns.indices[columns.indptr[j]:columns.indptr[j + 1]]
        own = own[rows.need[own] > 0]
        unit = "m" if len(key) > len(STRING) else "kN"
        worst = own[np.argmax(rows.need[own] - gain[own])] if len(own) else None
        if worst is None or gain[worst] >= rows.need[worst] - 1e-9:
            words[key] = "what is offered there is worth less when looked at in full, or mends it only where " \
                         "something else falls short or is left"
        elif gain[worst] < 1e-6:
            words[key] = "nothing that is offered gains anything there"
        else:
            words[key] = f"to first order all that is offered there gains {gain[worst]:.2f} {unit} at most, " \
                         f"{np.ceil(100 * (rows.need[worst] - gain[worst])) / 100:.2f} {unit} too little"
    return words


def left_rows(before: Variant, after: Variant, left: dict[tuple, str]) -> dict[str, list]:
    """Return the violations of a variant that are left, and why, as columns, the worst first; then strings that it
    lifts. `margin_before_m` is that of the existing line; where a string is lifted there is no margin."""
    was, rows = as_it_was(before), after.layers["violations"]
    worst = {}
    for i, key in enumerate(keys_at(after, rows)):
        if key in left and (key not in worst or rows["margin_m"][i] < rows["margin_m"][worst[key]]):
            worst[key] = i
    names = ("line", "span", "wire", "case", "against", "obstacle", "measure")
    found = [(*(rows[name][i] for name in names), None, was[key], float(rows["margin_m"][i]), left[key],
              rows["geometry"][i]) for key, i in sorted(worst.items(), key=lambda pair: rows["margin_m"][pair[1]])]
    for key in sorted(after.lifted & left.keys()):
        line, structure, wire, case = key
        x, at = after.line.facts.structures, after.line.structures_at({"line": [line], "structure": [structure]})[0]
        found.append((line, None, wire, case, "uplift", None, None, structure, np.nan, np.nan, left[key],
                      shapely.Point(x.easting[at], x.northing[at], after.line.plan.base_elevation[at])))
    columns = [*names, "structure", "margin_before_m", "margin_m", "why", "geometry"]
    return {name: [row[k] for row in found] for k, name in enumerate(columns)}
