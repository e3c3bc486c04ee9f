"""What structures bear while a circuit is back in service between two outages, beside their capacities."""

from dataclasses import dataclass

import numpy as np

from corridor.clearance.capacity import COMPONENTS
from corridor.planning.remedies.alterations import AlteredLine, Site
from corridor.planning.remedies.mixed import of_whole_structures, where_wires_change
from corridor.planning.remedies.variants import POINT, Variant, keys_of

__all__ = ["Borne", "borne", "borne_today"]

#: What names a structure as a whole in a state.
_WHOLE = ("line", "structure", "case")
#: By how much a share of a capacity may be more than today without being more [-].
_SAME = 1e-6


@dataclass(frozen=True)
class Borne:
    """Structures that bear too much, `over` in words; the sections of the existing line that end there or run through,
    of each structure, `meet`; and words for those at which wires change and of which no capacity along the line is
    known, `lost`."""

    over: tuple[str, ...] = ()
    meet: tuple[tuple[int, ...], ...] = ()
    lost: tuple[str, ...] = ()


def borne_today(site: Site, every: Variant) -> dict[tuple, np.ndarray]:
    """Return the shares of their capacities that the existing wire takes of points and of whole structures of the
    existing line, where it takes more than all of any, (component,) [-]."""
    if site.old is None:
        return {}
    rows = of_whole_structures(site, every.line, np.full(len(site.plan.sections), site.old, object))
    return {key: share for of, key in ((every.of(site.old).layers["structure_loads"], POINT), (rows, _WHOLE))
            for key, share, _ in _above(of, key)}


def borne(site: Site, now: Variant, hangs: np.ndarray, today: dict[tuple, np.ndarray]) -> Borne:
    """Return what structures bear by `now`, the findings of all options, where some hang in sections of the existing
    line, (section,) names. What bears as much of its capacity `today`, in every
    component that is above it, is not told."""
    line, loads = now.line, now.layers["structure_loads"]
    rows = of_whole_structures(site, line, hangs)
    here = loads["option"] == hangs[line.sections_before(keys_of(loads, ("line", "section")))]
    points = {name: values[here] for name, values in loads.items()}
    over, meet = {}, set()
    for of, names in ((points, POINT), (rows, _WHOLE)):
        for key, share, words in _above(of, names):
            if key not in today or (share > np.fmax(today[key], 1.0) * (1 + _SAME)).any():
                over.setdefault(f"{key[1]}, {key[names.index('case')]}: {words}")
                meet.add(_beside(line, *key[:2]))
    _, lost = where_wires_change(rows, np.ones(len(rows["structure"]), bool))
    return Borne(tuple(over), tuple(sorted(meet)), tuple(lost))


def _above(rows, names):
    """Key, shares of the capacity (component,) and words of rows whose load is above it."""
    own = rows["over_capacity"] == True  # noqa: E712
    shares = np.stack([np.asarray(rows[f"of_capacity_{each}"], float)[own] for each in COMPONENTS], axis=-1)
    return [(tuple(key), share, words) for share, (*key, words) in zip(
        shares, keys_of(rows, (*names, "capacity"), own), strict=True)]


def _beside(line: AlteredLine, name, structure):
    """The sections of the existing line that a structure is in, or ends."""
    x, spans = line.facts.structures, line.plan.spans
    at = np.flatnonzero((x.line == name) & (x.structure == structure))
    own = np.isin(spans.tail, at) | np.isin(spans.head, at)
    return tuple(np.unique(line.before.spans.section[line.parent[own]]).tolist())
