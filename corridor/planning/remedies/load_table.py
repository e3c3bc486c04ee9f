"""Loads of structures before and after a plan: what the existing wire does, and what the planned line will."""

import numpy as np
import shapely

from corridor.clearance.capacity import COMPONENTS
from corridor.planning.remedies.alterations import NONE
from corridor.planning.remedies.plan import Planned
from corridor.planning.remedies.variants import keys_of

__all__ = ["load_table"]


def load_table(planned: Planned) -> dict[str, list]:
    """Return a row for each structure that a plan changes, those next to these, and those that are added, as columns.

    Loads are the greatest of any wire and case [N], and the least vertical one; the moment about the base is the sum
    over wires of the maximum pull across or along, whichever is greater, times the height of the wire, as if all
    pulled the same way at once: an upper bound of each case, the greatest of which is told [N m]. `today` is of the
    existing wire on the existing line, `planned` of the planned line.
    """
    site, after = planned.site, planned.after
    x, done, spans = site.facts.structures, after.alterations, site.plan.spans
    changed = np.array([change != NONE for change in done.changes], bool)
    near = changed.copy()
    touched = changed[spans.tail] | changed[spans.head] | np.isin(np.arange(len(spans)), done.added)
    near[np.r_[spans.tail[touched], spans.head[touched]]] = True
    names = [(x.line[s], x.structure[s]) for s in np.flatnonzero(near)]
    new = after.line.facts.structures
    names += [(new.line[s], new.structure[s]) for s in np.flatnonzero(after.line.origin < 0)]
    today = None if planned.every is None or site.old is None else planned.every.of(site.old)
    words = {(x.line[s], x.structure[s]): done.changes[s].words or "beside a change"
             for s in range(len(x))}
    tables = [_greatest(variant, set(names)) if variant else {} for variant in (today, after)]
    rows = []
    for name in names:
        old, now = (table.get(name) for table in tables)
        pairs = np.stack([np.full(5, np.nan) if each is None else each for each in (old, now)], axis=-1).ravel()
        at = int(np.flatnonzero((new.line == name[0]) & (new.structure == name[1]))[0])
        rows.append((*name, words.get(name, "added"), *pairs,
                     shapely.Point(new.easting[at], new.northing[at], after.line.plan.base_elevation[at])))
    heads = [f"{each}_{when}_{unit}" for each, unit in ((*((c, "n") for c in COMPONENTS), ("least_vertical", "n"),
                                                         ("moment", "nm"))) for when in ("today", "planned")]
    columns = ["line", "structure", "change", *heads, "geometry"]
    return dict(zip(columns, map(list, zip(*rows, strict=True)), strict=True)) if rows else {
        name: [] for name in columns}


def _greatest(variant, names):
    """By (line, structure): greatest vertical, transverse and longitudinal load of a wire, the least vertical, and the
    bound of the moment about the base."""
    loads, x, f = variant.layers["structure_loads"], variant.line.facts.structures, variant.line.facts.framings
    framing = dict(zip(zip(x.line, x.structure, strict=True), x.framing, strict=True))
    height = dict(zip(zip(f.framing, f.wire, strict=True), f.height, strict=True))
    size = np.stack([np.abs(np.asarray(loads[f"{each}_n"], float)) for each in COMPONENTS], axis=-1)
    found, moments = {}, {}
    for i, (line, structure, wire, case) in enumerate(keys_of(loads, ("line", "structure", "wire", "case"))):
        name = line, structure
        if name in names:
            down = float(loads["vertical_n"][i])
            old = found.get(name, (0.0, 0.0, 0.0, np.inf))
            found[name] = (*np.maximum(old[:3], size[i]), min(old[3], down))
            wires = moments.setdefault((name, case), {})
            wires[wire] = max(wires.get(wire, 0.0), size[i, 1:].max() * height.get((framing[name], wire), np.nan))
    moment = {}
    for (name, _), wires in moments.items():
        moment[name] = max(moment.get(name, 0.0), sum(wires.values()))
    return {name: (*row, moment[name]) for name, row in found.items()}
