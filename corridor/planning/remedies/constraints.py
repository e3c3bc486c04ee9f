"""What a look asks of the remedies: linear demands from its margins, pulls and tensions."""

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from corridor.clearance.own_wires import KINDS
from corridor.constants import GRAVITY
from corridor.planning.remedies.alterations import framing_of_new, place_of_new
from corridor.planning.remedies.changes import added_lift, lift_way, uplift_rows
from corridor.planning.remedies.columns import AMPLE, Measures, conditional, joined
from corridor.planning.remedies.least_cost import Rows
from corridor.planning.remedies.offered import strings_of
from corridor.planning.remedies.variants import parents_of

__all__ = ["Asked", "demands"]

#: Rows that clear by more than this are left to the full look: a remedy elsewhere moves them by less [m].
_NEAR = 0.5
#: What a string is to be pulled down more by at least, where the wind of the other side lifts it [N].
_LITTLE = 20.0
_KEYS = ("line", "span", "case", "against", "obstacle", "measure", "position")
_STRING = ("line", "structure", "wire", "case")


@dataclass(frozen=True)
class Asked:
    """What demands are made of: the `site`, its `measures`, the look `before`, and `probes`, looks with all sections
    as taut ("tighten") or slack ("slacken") as they may be, where any may be."""

    site: object
    measures: Measures
    before: object
    probes: dict = field(default_factory=dict)

    @cached_property
    def strings(self):
        """Length of suspension strings [m], (structure, wire) to length."""
        return strings_of(self.site)

    @cached_property
    def gains(self):
        """What margins [m] and pulls [N] gain where their section is strung tauter or slacker, per share, by kind."""
        return {kind: _gains(self.before, probe) for kind, probe in self.probes.items()}

    @cached_property
    def held_before(self):
        """Keys of strings that are nearly lifted as the line stands, and may stay so."""
        return self.before.lifted - self.before.slack


def demands(asked, now, steps):
    """Return the Rows that a look comes to, of sections that it did not take over from another.

    Every row is exact at the amounts of the look, and linear from there.

    Parameters
    ----------
    asked : Asked
    now : Look
    steps : ndarray, shape (column,)
        Of the measures in place in it.
    """
    amount = steps * asked.measures.step
    changed = _changed_sections(asked, steps)
    rows = _anchored(*_clearances(asked, now), amount, changed) + _anchored(*_pulls(asked, now), amount, changed)
    return rows + _loads(asked, now, amount) if "tighten" in asked.probes else rows


def _changed_sections(asked, steps):
    """Section of the line as it stands to the columns of measures in place that lay it out anew."""
    m, spans = asked.measures, asked.site.plan.spans
    found = {}
    for j in np.flatnonzero((steps > 0) & np.isin(m.kind.astype(str), ("add", "strain"))):
        touched = [m.place[j]] if m.kind[j] == "add" else np.flatnonzero((spans.tail == m.place[j])
                                                                          | (spans.head == m.place[j]))
        for section in np.unique(spans.section[touched]):
            found.setdefault(int(section), []).append(j)
    return found


def _anchored(rows, margin, sections, amount, changed):
    """Rows whose need is set so that they hold just where the look is, as far as what changes the layout is in place.

    `sections` (row, 2) those that a row is of, -1 for none.
    """
    pairs = [(r, j) for r in np.flatnonzero(np.isin(sections, list(changed)).any(axis=1))
             for j in {j for s in sections[r] for j in changed.get(int(s), ())}]
    of_row, column = np.array(pairs, int).reshape(-1, 2).T
    width = 1 + len(amount)
    own = ~np.isin(rows.row * width + rows.column, of_row * width + column)
    held = np.bincount(rows.row[own], (rows.coefficient * amount[rows.column])[own], minlength=len(margin))
    need = held - margin
    # Where nothing moves a row, only one that falls short is a demand: it tells that none helps.
    moved = np.bincount(rows.row, np.abs(rows.coefficient) > 1e-9, minlength=len(margin)) > 0
    need = np.where(moved, need, np.maximum(-margin, 0.0))
    rows = Rows(rows.row, rows.column, rows.coefficient, need, rows.name)
    return conditional(rows, of_row, column) if len(of_row) else rows


class _Triplets:
    """Rows, columns and coefficients as they are found."""

    def __init__(self, measures):
        self.measures, self.parts = measures, [[], [], []]

    def add(self, kind, place, coefficient):
        """Let the measures of a kind at the place of each row count there."""
        row, column = joined(self.measures, kind, place)
        for part, values in zip(self.parts, (row, column, coefficient[row]), strict=True):
            part.append(values)

    def rows(self, count, names):
        """Return Rows of them that ask for nothing yet."""
        row, column, value = (np.concatenate(part) if part else np.zeros(0) for part in self.parts)
        return Rows(row.astype(int), column.astype(int), value, np.zeros(count), names)


def _clearances(asked, now):
    """Rows of clearances, their margins, and sections."""
    site, c = asked.site, now.layers["clearances"]
    chosen = np.flatnonzero(((c["margin_m"] < _NEAR) | (c["position"] == "below"))
                            & now.is_fresh(c["line"], c["section"]))
    c = {name: values[chosen] for name, values in c.items()}
    spans, origin = now.laid.plan.spans, now.laid.origin
    index = {key: i for i, key in enumerate(zip(spans.line, spans.name, strict=True))}
    span = np.array([index[key] for key in zip(c["line"], c["span"], strict=True)], int)
    x = np.clip(c["distance_from_start_m"] / spans.length[span], 0, 1)
    # A raise takes both of two own wires along.
    way = np.where(np.isin(c["against"].astype(str), KINDS), 0.0, lift_way(c))
    found = _Triplets(asked.measures)
    for structure, share in ((origin[spans.tail[span]], way * (1 - x)), (origin[spans.head[span]], way * x)):
        _by_structures(found, asked, structure, c["wire"], share)
    parent = parents_of(site, now.laid)[span]
    dug = (c["against"] == "ground") & (c["measure"] == "vertical") & (c["position"] != "below")
    found.add("grade", np.where(dug, parent, -1), np.ones(len(span)))
    known = {name: i for i, name in enumerate(site.facts.index.obstacles.obstacle)}
    found.add("remove", np.array([known.get(name, -1) for name in c["obstacle"]], int), np.full(len(span), AMPLE))
    section = site.plan.spans.section[parent]
    for kind, (gains, _) in asked.gains.items():
        found.add(kind, section, np.array([gains.get(key, 0.0) for key in zip(*(c[n] for n in _KEYS), strict=True)]))
    if (asked.measures.kind == "add").any():
        found.add("add", parent, way * _lift_of_new(site, now, c, span, parent))
    words = [f"{s}, wire {w}, {k}, {o or a} ({m})" for s, w, k, o, a, m in
             zip(c["span"], c["wire"], c["case"], c["obstacle"], c["against"], c["measure"], strict=True)]
    rows = found.rows(len(span), np.array(words, object))
    return rows, c["margin_m"].astype(float), np.stack([section, section], axis=1)


def _by_structures(found, asked, structure, wire, share):
    """What is done to the structure of each row, as it lifts the wire there by `share` of each metre."""
    length = np.array([asked.strings.get(key, 0.0) for key in zip(structure, wire, strict=True)])
    found.add("raise", structure, share)
    found.add("shorten", np.where(length > 0, structure, -1), share)
    for kind in ("post", "strain"):
        found.add(kind, np.where(length > 0, structure, -1), share * length)


def _attached(facts):
    """Height of each wire above the base, string taken off [m], (framing, wire) to height."""
    f = facts.framings
    drop = np.where(np.isin(f.string.astype(str), ("suspension", "vee")), f.string_length, 0.0)
    return dict(zip(zip(f.framing, f.wire, strict=True), f.height - drop, strict=True))


def _lift_of_new(site, now, c, span, parent):
    """Lift by a structure more in the span of each row [m]; 0 where none may be added."""
    spans, x, base = now.laid.plan.spans, now.laid.facts.structures, now.laid.plan.base_elevation
    height = _attached(now.laid.facts)
    new = {p: (place_of_new(site, p), framing_of_new(site, p)) for p in np.unique(parent)}
    ends = [np.array([base[s] + height.get((x.framing[s], w), np.nan)
                      for s, w in zip(at[span], c["wire"], strict=True)]) for at in (spans.tail, spans.head)]
    share, middle = np.full((2, len(span)), np.nan)
    for i, (p, wire) in enumerate(zip(parent, c["wire"], strict=True)):
        place, framing = new[p]
        if place is not None:
            share[i], middle[i] = place[0], place[3] + height.get((framing, wire), np.nan)
    constant = c["catenary_constant_m"].astype(float)
    return np.nan_to_num(added_lift(c["distance_from_start_m"], spans.length[span], constant, share, *ends, middle))


def _pulls(asked, now):
    """Rows of suspension strings that no wire may lift, what each may lose [kN], and sections."""
    site, loads, laid = asked.site, now.layers["structure_loads"], now.laid
    spans, x = laid.plan.spans, laid.facts.structures
    index = {key: i for i, key in enumerate(zip(x.line, x.structure, strict=True))}
    place = np.array([index[key] for key in zip(loads["line"], loads["structure"], strict=True)], int)
    back, ahead = np.full(len(x), -1), np.full(len(x), -1)
    back[spans.head], ahead[spans.tail] = np.arange(len(spans)), np.arange(len(spans))
    weight = _string_weight(laid.facts.framings, x.framing[place], loads["wire"])
    lifted = np.array([key in asked.held_before for key in zip(*(loads[n] for n in _STRING), strict=True)], bool)
    chosen = np.flatnonzero((x.role[place] == "suspension") & (back[place] >= 0) & (ahead[place] >= 0) & (weight > 0)
                            & ~lifted & now.is_fresh(loads["line"], loads["section"]))
    loads, place, weight = {n: v[chosen] for n, v in loads.items()}, place[chosen], weight[chosen]
    pair = np.stack([back[place], ahead[place]], axis=1)
    ends = np.stack([spans.tail[pair[:, 0]], place, spans.head[pair[:, 1]]], axis=1)
    per_length = _tensions(spans, now, pair, loads) / spans.length[pair]
    _, structure, pull, room = uplift_rows(loads, ends, per_length, weight)
    found, wire = _Triplets(asked.measures), np.asarray(loads["wire"], object)
    # In kN, so that demands in metres and in newtons are of one size in the programme.
    for of_place in range(3):
        part = slice(of_place * len(place), (of_place + 1) * len(place))
        _by_structures(found, asked, laid.origin[structure[part]], wire, pull[part] / 1e3)
    for kind in ("post", "strain"):
        found.add(kind, laid.origin[place], np.full(len(place), AMPLE))
    section = site.plan.spans.section[parents_of(site, now.laid)[pair]]
    for kind, (_, gains) in asked.gains.items():
        gained = [gains.get(key, 0.0) for key in zip(*(loads[n] for n in _STRING), strict=True)]
        found.add(kind, section[:, 0], np.array(gained) / 1e3)
    words = [f"{s}, wire {w}, {k}: uplift" for s, w, k in zip(loads["structure"], wire, loads["case"], strict=True)]
    # The wind from the side that is not told may lift it: then it needs more than what is told.
    room = np.where(loads["uplift"].astype(bool), np.minimum(room, -_LITTLE), room)
    return found.rows(len(place), np.array(words, object)), room / 1e3, section


def _tensions(spans, now, pair, loads):
    """Horizontal tension of the wire in the spans before and after [N], (row, 2); the greater side of the wind."""
    wires, known = now.layers["wires"], {}
    names = ("line", "span", "wire", "case")
    for key, H in zip(zip(*(wires[n] for n in names), strict=True), wires["horizontal_tension_n"], strict=True):
        known[key] = max(known.get(key, 0.0), float(np.nan_to_num(H)))
    return np.array([[known.get((spans.line[s], spans.name[s], w, k), 0.0) for s in both] for both, w, k in
                     zip(pair, loads["wire"], loads["case"], strict=True)]).reshape(-1, 2)


def _string_weight(framings, framing, wire):
    known = {(f, w): m * GRAVITY for f, w, m, s in zip(framings.framing, framings.wire, framings.string_mass,
                                                      framings.string, strict=True) if s == "suspension"}
    return np.array([known.get(key, 0.0) for key in zip(framing, wire, strict=True)])


def _gains(before, probe):
    """What margins [m] and pulls [N] gain where their section is strung tauter or slacker, per share, by two looks."""
    most = np.abs(probe.edits.tightened).max()
    found = []
    for layer, names, column in (("clearances", _KEYS, "margin_m"), ("structure_loads", _STRING, "vertical_n")):
        a, b = (dict(zip(zip(*(each.layers[layer][n] for n in names), strict=True), each.layers[layer][column],
                         strict=True)) for each in (before, probe))
        found.append({key: (b[key] - a[key]) / most for key in a.keys() & b.keys()})
    return tuple(found)


def _loads(asked, now, amount):
    """Rows by which sections are not strung tauter than their wire and the loads of structures allow."""
    site, m = asked.site, asked.measures
    sections, parents = now.laid.plan.sections, parents_of(site, now.laid)
    index = {key: site.plan.spans.section[parents[first]] for key, first in
             zip(zip(sections.line, sections.name, strict=True), sections.first, strict=True)}
    part, names = _used(asked, now)
    section = np.array([index[key] for key in names], int)
    share = m.amounts("tighten", amount / m.step, len(site.plan.sections))[section]
    found = _Triplets(m)
    found.add("tighten", section, -part / (1 + share))
    words = np.array([f"section {name}: tension" for _, name in names], object)
    rows = found.rows(len(part), words)
    held = np.bincount(rows.row, rows.coefficient * amount[rows.column], minlength=len(part))
    # What is used up before is no demand: it may not be more, that is all.
    margin = np.where(share > 0, 1 - part, np.maximum(1 - part, 0.0))
    return Rows(rows.row, rows.column, rows.coefficient, held - margin, words)


def _used(asked, now):
    """Shares that are used of the strength of wires and of the loads that are allowed, and (line, section) of each."""
    s, loads = now.layers["sections"], now.layers["structure_loads"]
    names = [case.name for case in now.laid.facts.cases if "tension" in case.checks]
    asks = np.isin(s["case"], names) & (s["wire_kind"] == "phase")
    part, keys = [s["percent_rts"][asks] / 100], list(zip(s["line"][asks], s["section"][asks], strict=True))
    if asked.site.prices.largest_load_ratio is not None:
        known = np.isfinite(loads["ratio_to_existing"].astype(float))
        part.append(loads["ratio_to_existing"][known].astype(float) / asked.site.prices.largest_load_ratio)
        keys += list(zip(loads["line"][known], loads["section"][known], strict=True))
    return np.concatenate(part).astype(float), keys
