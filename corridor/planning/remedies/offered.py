"""Which remedies a plan may choose from, as columns of a programme, and why others are not offered."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
import shapely
from scipy.sparse import csr_array

from corridor.clearance.crossings import LOW
from corridor.planning.circuits import wires_of_others
from corridor.planning.remedies.alterations import Alterations, Change, Place, Site, Tree, Vee
from corridor.planning.remedies.excavation import diggable_cells, ground_short
from corridor.planning.remedies.places import places_of_new
from corridor.planning.remedies.trimming import trees_of
from corridor.planning.remedies.variants import Variant
from corridor.study.plan import REMEDIES

__all__ = ["OF_OTHERS", "Remedies", "alterations_of", "first_wires", "offered_remedies", "string_lengths",
           "why_untrimmed", "with_places"]


#: Kinds of remedies that their owners do to the wires of other lines, step by step.
OF_OTHERS = ("raise_other", "lower_other")
#: Kinds of remedies that change a structure.
_AT_STRUCTURES = ("raise", "replace", "shorten", "v_string", "post", "strain")
#: What the study has to say of a V-string before there is one.
_OF_VEES = ("v_string_cost", "v_string_depth", "v_string_angle", "v_string_mass")


@dataclass(frozen=True)
class Remedies:
    """Remedies that may be taken; columns of shape (column,).

    `kind` one of `REMEDIES`; `place` index of its structure (raise, replace, shorten, v_string, post, strain), span
    (grade, add), section (tighten, slacken) or obstacle (trim, side_trim, remove; bury, raise_other, lower_other: the
    first of a circuit). `step` amount of one step in the unit of the kind (m, share, or pieces; of wires of others a
    piece is a `plan.step`), `most` steps; costs `fixed` where any is taken, and `per_step`.
    """

    kind: np.ndarray
    place: np.ndarray
    step: np.ndarray
    most: np.ndarray
    fixed: np.ndarray
    per_step: np.ndarray

    def __len__(self):
        return len(self.kind)

    @classmethod
    def of_rows(cls, rows: list[tuple]) -> "Remedies":
        """Return the remedies of tuples (kind, place, step, most, fixed, per_step)."""
        kind, *numbers = zip(*rows, strict=True) if rows else [()] * 6
        place, *others = (np.array(v, float) for v in numbers)
        return cls(np.array(kind, object), place.astype(int), *others)

    @property
    def programme(self) -> dict[str, np.ndarray]:
        """What `least_cost` asks of every column."""
        return {name: getattr(self, name) for name in ("step", "most", "fixed", "per_step")}

    def by_place(self, kind: str, count: int) -> csr_array:
        """Return which columns of a kind are at each of `count` places, (place, column) of ones."""
        own = np.flatnonzero(self.kind == kind)
        return csr_array((np.ones(len(own)), (self.place[own], own)), (count, len(self)))

    def first(self, kind: str) -> np.ndarray:
        """Return the first column of a kind at each place: what others are to wait for, or exclude."""
        own = np.flatnonzero(self.kind == kind)
        return own[np.unique(self.place[own], return_index=True)[1]]

    def at(self, kind: str, *places: int) -> np.ndarray:
        """Return the columns of a kind at some places."""
        return np.flatnonzero((self.kind == kind) & np.isin(self.place, places))

    def amounts(self, kind: str, steps: np.ndarray, count: int) -> np.ndarray:
        """Return the amount of one kind at each of `count` places, for numbers of steps (column,)."""
        own = self.kind == kind
        return np.bincount(self.place[own], steps[own] * self.step[own], minlength=count)

    def cost(self, steps: np.ndarray) -> np.ndarray:
        """Return what numbers of steps cost, (column,)."""
        return self.fixed * (steps > 0) + self.per_step * steps


def alterations_of(site: Site, remedies: Remedies, steps: np.ndarray) -> Alterations:
    """Return the Alterations that numbers of steps (column,) of remedies come to."""
    things = len(site.facts.index.obstacles)
    count = dict.fromkeys(("trim", "side_trim", "remove", "bury", *OF_OTHERS), things) | dict.fromkeys(
        ("grade", "add"), len(site.plan.spans)) | dict.fromkeys(("tighten", "slacken"), len(site.plan.sections))
    done = {kind: remedies.amounts(kind, steps, count.get(kind, len(site.facts.structures))) for kind in REMEDIES}
    # Numbers that are sums of steps are named, so they have no digits beyond those of a step.
    rise, shorter = np.round(done["raise"] + done["replace"], 6), np.round(done["shorten"], 6)
    string = np.select([done["strain"] > 0, done["post"] > 0, done["v_string"] > 0], ["strain", "post", "vee"], "")
    p = site.prices
    vee = {"vee": Vee(p.v_string_depth, p.v_string_angle, p.v_string_mass, p.v_string_wind_area)}
    changes = tuple(Change(float(r), 0.0 if word else float(s), str(word), bool(new), vee.get(word))
                    for r, s, word, new in zip(rise, shorter, string, done["replace"] > 0, strict=True))
    buried = np.isin(np.arange(things), [i for own in np.flatnonzero(done["bury"]) for i in site.circuits[own]])
    lowered = np.zeros(things)
    for first in np.flatnonzero(done["raise_other"] + done["lower_other"]):
        steps = done["lower_other"][first] - done["raise_other"][first]
        lowered[site.others[first]] = np.round(steps * site.prices.step, 6)
    return Alterations(changes, done["grade"], np.round(done["trim"], 6), np.round(done["side_trim"], 6), lowered,
                       (done["remove"] > 0) | buried, buried, done["tighten"] - done["slacken"],
                       np.flatnonzero(done["add"]))


def string_lengths(site: Site) -> dict[tuple[int, str], float]:
    """Return the length [m] of the suspension strings of phases at every structure, (structure, wire) to length."""
    x, f = site.facts.structures, site.facts.framings
    rows = {}
    for framing, wire, kind, string, length in zip(f.framing, f.wire, f.kind, f.string, f.string_length, strict=True):
        if string == "suspension" and kind == "phase":
            rows.setdefault(framing, {})[wire] = float(length)
    return {(i, wire): length for i, framing in enumerate(x.framing) if x.role[i] == "suspension"
            for wire, length in rows.get(framing, {}).items()}


def with_places(site: Site, before: Variant) -> Site:
    """Return the site with the cells that may be cut below its spans, the places where structures may be added in
    those that are in violation, and how what is too near may be trimmed or put underground, as far as a plan may do
    each, and wires of others that may be raised or lowered."""
    p, allowed, short = site.prices, site.prices.remedies, np.unique(before.line.spans_at(before.layers["violations"]))
    things = _things(site, before.layers["violations"])
    return replace(site, cells=diggable_cells(site, before) if "grade" in allowed else {},
                   places=places_of_new(site, short) if "add" in allowed else {},
                   trees=trees_of(site, things) if {"trim", "side_trim"} & {*allowed} else {},
                   circuits=_circuits(site, things, p.undergrounded, "without it") if "bury" in allowed else {},
                   others=_circuits(site, things, p.alterable, "with it higher or lower")
                   if {*OF_OTHERS} & {*allowed} else {})


def _circuits(site, things, names, how):
    """Wires of the circuits of others that some obstacles are of and that are among some names, by the first of each,
    or why no copy is made with what is done to them, `how` in words."""
    obstacles, found = site.facts.index.obstacles, {}
    strung = {section.name for section in site.study.obstacles if section.wires is not None}
    for name, own in wires_of_others(obstacles).items():
        if {*own} & {*things} and name in names:
            found[own[0]] = own if obstacles.layer[own[0]] not in strung else \
                f"{name} is drawn by its attachments, of which no copy is made {how}"
    return found


def _things(site, violations):
    """Obstacles that rows of violations name, ascending."""
    index = {name: i for i, name in enumerate(site.facts.index.obstacles.obstacle)}
    return sorted({index[name] for name in violations["obstacle"] if name in index})


def offered_remedies(site: Site, before: Variant) -> tuple[Remedies, dict[str, str]]:
    """Return the Remedies that a plan may choose from, and for kinds that are not offered anywhere why.

    `site` is as `with_places` returns it, `before` the existing line.
    """
    rows, refused, near = [], {}, _Near(site, before)
    kept = set(np.flatnonzero(np.isin(site.facts.structures.structure.astype(str), list(site.prices.untouched))))
    for kind, offer in _OFFERS.items():
        found = offer(site, near) if kind in site.prices.remedies else "the study does not have it in plan.remedies"
        if isinstance(found, str):
            refused[kind] = found
            continue
        left = [row for row in found if kind not in _AT_STRUCTURES or row[0] not in kept]
        if found and not left:
            refused[kind] = "no structure near may be touched (plan.untouched)"
        rows += [(kind, *row) for row in left]
    return Remedies.of_rows(rows), refused


class _Near:
    """Every violation: `violations`, their `span` and all `spans`, sorted; `structures` at their ends, with strings
    that are lifted, or next to those."""

    def __init__(self, site, before):
        spans = site.plan.spans
        self.before, self.violations = before, before.layers["violations"]
        self.span = before.line.spans_at(self.violations)
        self.spans = np.unique(self.span)
        loads = before.layers["structure_loads"]
        slack = np.unique(before.line.structures_at(loads)[loads["lifted"].astype(bool)])
        ends = np.r_[spans.tail[self.spans], spans.head[self.spans], slack]
        touching = np.isin(spans.tail, ends) | np.isin(spans.head, ends)
        self.structures = np.unique(np.r_[spans.tail[touching], spans.head[touching]])


def _raises(site, near):
    p = site.prices
    most, hangs = int(p.largest_raise / p.step + 1e-9), site.facts.structures.role == "suspension"
    fixed, metre = (np.where(hangs | (each is None), every, np.nan if each is None else each) for each, every in (
        (p.strain_raise_cost, p.raise_cost), (p.strain_metre_cost, p.metre_cost)))
    return [(s, p.step, most, fixed[s], metre[s] * p.step) for s in near.structures]


def _taller(site, near):
    p = site.prices
    if p.largest_replacement is None:
        return "the study does not say by how much a structure may be taller (plan.largest_replacement)"
    most = int(p.largest_replacement / p.step + 1e-9)
    return [(s, p.step, most, p.replace_cost, p.replace_metre_cost * p.step) for s in near.structures]


def _shorter(site, near):
    p, least = site.prices, {}
    if p.shortest_string is None:
        return "the study does not say how short strings may be (plan.shortest_string)"
    for (s, _), length in string_lengths(site).items():
        least[s] = min(least.get(s, np.inf), length)
    most = {s: int(max(length - p.shortest_string, 0) / p.step + 1e-9) for s, length in least.items()}
    return [(s, p.step, most[s], p.shorten_cost, 0.0) for s in near.structures if most.get(s)] or \
        f"no string is longer than the shortest allowed by a step of {p.step:g} m"


def _vees(site, near):
    p, x, cases = site.prices, site.facts.structures, site.facts.cases
    lacking = [f"plan.{key}" for key in _OF_VEES if getattr(p, key) is None]
    if lacking:
        return f"the study does not say what V-strings are and cost ({', '.join(lacking)})"
    blown = np.isin(near.violations["case"].astype(str), [case.name for case in cases if case.wind > 0])
    if not blown.any():
        return "no violation is of wires in wind"
    held = {s for s, _ in string_lengths(site)}
    hung = [s for s in np.unique([at[near.span[blown]] for at in (site.plan.spans.tail, site.plan.spans.head)])
            if s in held]
    return [(s, 1, 1, p.v_string_cost, 0.0) for s in hung if x.structure[s] in p.v_string_structures] or \
        ("no structure near is named of which the crossarms have room for both arms (plan.v_string_structures)" if hung
         else "no suspension string is near")


def _posts(site, near):
    held = {s for s, _ in string_lengths(site)}
    return [(s, 1, 1, site.prices.post_cost, 0.0) for s in near.structures if s in held] or \
        "no suspension string is near"


def _strains(site, near):
    x, f = site.facts.structures, site.facts.framings
    hung = set(f.framing[f.string == "suspension"])
    return [(s, 1, 1, site.prices.strain_cost, 0.0) for s in near.structures
            if x.role[s] == "suspension" and x.framing[s] in hung] or "no suspension structure is near"


def _tauter(site, near):
    p = site.prices
    if not p.largest_tightening:
        return "it is strung as taut as its limits allow, and the study allows no more (plan.largest_tightening)"
    share, section, _ = near.before.used(p.largest_load_ratio)
    rows = _strung(site, near.spans, p.largest_tightening)
    if isinstance(rows, str):
        return rows
    return [row for row in rows if row[0] not in section[np.isnan(share)]] or \
        "what the existing wire does to its structures is not known, so that plan.largest_load_ratio cannot be kept"


def _slacker(site, near):
    under = near.violations["position"] == "below"
    if not under.any():
        return "no wire is too near to something above it"
    return _strung(site, near.span[under], site.prices.largest_slackening)


def _strung(site, short, largest):
    """Rows of the sections of spans, but for those that hang as measured."""
    p, sections = site.prices, site.plan.sections
    most = int(largest / p.tightening_step + 1e-9)
    known = {(row.line or line, row.section) for row in site.wiring.measured for line in set(sections.line)}
    return [(i, p.tightening_step, most, p.tighten_cost, 0.0) for i in np.unique(site.plan.spans.section[short])
            if most and (sections.line[i], sections.name[i]) not in known] or \
        "its sections hang as measured: take them out of the measurements to string them to the limits"


def _cuts(site, near):
    if not ground_short(near.before):
        return "no span has a violation above the ground"
    if not site.cells:
        return "the ground is not of rasters on one grid of the working frame"
    return [row for span, cells in site.cells.items() for row in _cut_steps(site.prices, span, cells)] or \
        "objects on the ground or structures stand in the way, or the cut would be too deep"


def _cut_steps(prices, span, cells):
    """Steps of depth, each a remedy of its own: the deeper, the more is dug for a step."""
    depth = np.arange(prices.step, min(prices.largest_cut, cells.deepest) + 1e-9, prices.step)
    dug = np.diff([0.0, *(cells.volume(d) for d in depth)])
    return [(span, prices.step, 1, prices.cubic_metre_cost * v + (0 if k else prices.grade_cost), 0.0)
            for k, v in enumerate(dug)]


def first_wires(site: Site, circuits: dict[int, list[int] | str]) -> np.ndarray:
    """Return of each obstacle the first wire of the circuit of another line that it is of, of those to which something
    may be done (`Site.circuits`, `Site.others`), else -1; one more row, of none, (obstacle + 1,)."""
    first = np.full(len(site.facts.index.obstacles) + 1, -1)
    for at, own in circuits.items():
        if not isinstance(own, str):
            first[own] = at
    return first


def _trims(site, near):
    p = site.prices
    if p.least_tree_height is None:
        return "the study does not say how low trees may be trimmed (plan.least_tree_height)"
    return _trim_steps(site, "most", Tree.cut, p.trim_cost, p.trim_metre_cost) or why_untrimmed(site, "most")


def _side_trims(site, near):
    p = site.prices
    if p.least_crown_radius is None:
        return "the study does not say how far crowns may be cut back (plan.least_crown_radius)"
    return _trim_steps(site, "aside", Tree.cut_aside, p.side_trim_cost, p.side_trim_metre_cost) or \
        why_untrimmed(site, "aside")


def _trim_steps(site, most, cut, fixed, metre):
    """Steps of trees, each a remedy of its own: of the first, what grows until the next cutting is cut off, too."""
    step = site.prices.step
    return [(i, step, 1, metre * (step if k else cut(tree, step)) + (0 if k else fixed), 0.0)
            for i, tree in site.trees.items() if isinstance(tree, Tree) for k in range(getattr(tree, most))]


def why_untrimmed(site: Site, most: str, things: Iterable[int] | None = None) -> str:
    """Return words that say why no step of some obstacles may be trimmed, of all that are too near by default; `most`
    is the field of a Tree that has its steps, "most" or "aside"."""
    what = "higher" if most == "most" else "wider"
    words = [tree if isinstance(tree, str) else f"{site.facts.index.obstacles.obstacle[i]} is not {what} by a step of "
             f"{site.prices.step:g} m than it may be trimmed to" for i, tree in site.trees.items()
             if things is None or i in things]
    return "; ".join(dict.fromkeys(words)) or "it is no tree of a layer that is too near"


def _gone(site, near):
    obstacles, removable = site.facts.index.obstacles, site.prices.removable
    short = _things(site, near.violations)
    return [(i, 1, 1, site.prices.remove_cost, 0.0) for i in short if obstacles.category[i] in removable] or \
        f"nothing short of is of the categories that may go: {', '.join(removable) or 'none'}"


def _buried(site, near):
    p, geometry = site.prices, site.facts.index.obstacles.geometry
    rows = [(first, 1, 1, p.bury_cost + p.bury_metre_cost * float(shapely.length(geometry[own]).sum()), 0.0)
            for first, own in site.circuits.items() if not isinstance(own, str)]
    return rows or "; ".join(site.circuits.values()) or "no circuit that is too near may be put underground " \
        f"(plan.undergrounded): {', '.join(p.undergrounded) or 'none'}"


def _raised(site, near):
    return _altered(site, near, "raise_other", site.prices.largest_other_raise, "below",
                    "how much higher wires of other lines may hang (plan.largest_other_raise)")


def _lowered(site, near):
    return _altered(site, near, "lower_other", site.prices.largest_other_lowering, "above",
                    "how much lower wires of other lines may hang (plan.largest_other_lowering)")


def _altered(site, near, kind, largest, side, what):
    """Steps of circuits of others that our wires pass on one side of, each a remedy of its own."""
    p, v, rows, words = site.prices, near.violations, [], []
    if largest is None:
        return f"the study does not say {what}"
    o, names = site.facts.index.obstacles, site.facts.index.obstacles.obstacle
    for first, own in site.others.items():
        if isinstance(own, str):
            words.append(own)
            continue
        here = np.isin(v["obstacle"], names[own])
        under = np.where(v["measure"] == "vertical", v["position"] == "below",
                         v["wire_elevation_m"].astype(float) < v["other_elevation_m"].astype(float))[here]
        # What is as high above the ground as things that the rule for the ground alone is for is out of sight.
        room = np.where(o.absolute[own], np.inf, np.nan_to_num(o.height[own]) - LOW - 1e-3).min()
        most = largest if kind == "raise_other" else min(largest, room)
        if not (under == (side == "below")).all():
            words.append(f"our wires are not {side} all of {names[first]}" if under.any() != under.all() else
                         f"our wires pass {names[first]} on its other side")
        elif len(set(names[own])) < len(own) or (np.isin(names, names[own]).sum() > len(own)):
            words.append(f"several things are named as wires of {names[first]}")
        else:
            rows += [(first, 1, 1, p.other_metre_cost * p.step + (0 if k else p.other_cost), 0.0)
                     for k in range(int(max(most, 0.0) / p.step + 1e-9))]
    return rows or "; ".join(words) or "no circuit that is too near may be altered (plan.alterable): " \
        f"{', '.join(p.alterable) or 'none'}"


def _more(site, near):
    free = [s for s in near.spans if isinstance(site.places.get(s), Place)]
    return [(s, 1, 1, site.prices.add_cost, 0.0) for s in free] or \
        "; ".join(dict.fromkeys(str(site.places[s]) for s in near.spans if s in site.places)) or "no violation"


_OFFERS = {"raise": _raises, "replace": _taller, "shorten": _shorter, "v_string": _vees, "post": _posts,
           "strain": _strains, "tighten": _tauter, "slacken": _slacker, "grade": _cuts, "trim": _trims,
           "side_trim": _side_trims, "remove": _gone, "bury": _buried, "raise_other": _raised, "lower_other": _lowered,
           "add": _more}
