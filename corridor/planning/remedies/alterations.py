"""A line with remedies in place: structures changed and added, sections tauter, ground cut, objects gone."""

from collections import Counter
from dataclasses import dataclass, fields, replace

import numpy as np

from corridor.assessment import Plan
from corridor.clearance.crossings import index_obstacles
from corridor.line.build import lay_out
from corridor.line.facts import Tightened
from corridor.planning.remedies.changes import NONE, Change, change_structures
from corridor.planning.remedies.excavation import lowered

__all__ = ["Edits", "Laid", "as_it_stands", "edited", "edits_of", "framing_of_new", "place_of_new", "tauter_sections"]

#: Shares of a span at which a structure may be added; of them the one on the highest ground is taken.
_SHARES = np.linspace(0.35, 0.65, 7)


@dataclass(frozen=True)
class Edits:
    """What is done: `changes` (structure,) of Change; `cut` (span,) [m]; `removed` (obstacle,) bool; `tightened`
    (section,) shares; `added` spans that get a structure more, ascending."""

    changes: tuple
    cut: np.ndarray
    removed: np.ndarray
    tightened: np.ndarray
    added: np.ndarray

    @property
    def none(self):
        """Whether nothing is done."""
        return not (any(change != NONE for change in self.changes) or self.cut.any() or self.removed.any()
                    or self.tightened.any() or len(self.added))


@dataclass(frozen=True)
class Laid:
    """A line laid out with edits; `origin` (structure,) index of each structure in the line as it stands, -1 if new."""

    facts: object
    plan: object
    ground: object
    origin: np.ndarray


def as_it_stands(site):
    """Return the Edits that do nothing."""
    return Edits((NONE,) * len(site.facts.structures), np.zeros(len(site.plan.spans)),
                 np.zeros(len(site.facts.index.obstacles), bool), np.zeros(len(site.plan.sections)), np.zeros(0, int))


def edits_of(site, measures, steps):
    """Return the Edits that numbers of steps (column,) of measures come to."""
    count = len(site.facts.structures)
    rise, shorter, post, strain = (measures.amounts(kind, steps, count)
                                   for kind in ("raise", "shorten", "post", "strain"))
    string = np.where(strain > 0, "strain", np.where(post > 0, "post", ""))
    # Numbers that are sums of steps are named, so they have no digits beyond those of a step.
    changes = tuple(Change(round(float(r), 6), round(float(s), 6) if word == "" else 0.0, str(word))
                    for r, s, word in zip(rise, shorter, string, strict=True))
    spans = len(site.plan.spans)
    return Edits(changes, measures.amounts("grade", steps, spans),
                 measures.amounts("remove", steps, len(site.facts.index.obstacles)) > 0,
                 measures.amounts("tighten", steps, len(site.plan.sections))
                 - measures.amounts("slacken", steps, len(site.plan.sections)),
                 np.flatnonzero(measures.amounts("add", steps, spans)))


def edited(site, edits):
    """Return the line with edits, laid out anew where structures are added or the sections are others."""
    facts, plan = site.facts, site.plan
    structures, framings = change_structures(facts.structures, facts.framings, edits.changes)
    base, origin = plan.base_elevation, np.arange(len(structures))
    if len(edits.added):
        structures, base, origin = _with_new(site, structures, edits.added)
    if len(edits.added) or any(change.string == "strain" for change in edits.changes):
        plan = Plan(*lay_out(structures, base, site.inputs.frame.ground_factor), base)
    changed = {"structures": structures, "framings": framings}
    if edits.removed.any():
        changed["index"] = index_obstacles(_without(facts.index.obstacles, edits.removed))
    if edits.tightened.any():
        changed["options"] = _tauter(site, plan, origin, edits.tightened)
    return Laid(replace(facts, **changed), plan, lowered(site.ground, site.cells, edits.cut), origin)


def _without(obstacles, removed):
    """The obstacles that are left."""
    columns = {f.name: getattr(obstacles, f.name) for f in fields(obstacles)}
    return type(obstacles)(**{name: None if v is None else v[~removed] for name, v in columns.items()})


def place_of_new(site, span):
    """Return share of the span, easting, northing and ground elevation [m] of a structure more, None if unknown."""
    x, spans = site.facts.structures, site.plan.spans
    a, b = spans.tail[span], spans.head[span]
    e, n = (v[a] + _SHARES * (v[b] - v[a]) for v in (x.easting, x.northing))
    z = site.ground.sample(e, n)
    if np.isnan(z).all():
        return None
    best = int(np.nanargmax(z - 1e-6 * np.abs(_SHARES - 0.5)))
    return float(_SHARES[best]), float(e[best]), float(n[best]), float(z[best])


def framing_of_new(site, span):
    """Return the framing that a structure more in a span gets: of its neighbours' or the line's, None if none hangs."""
    x, spans = site.facts.structures, site.plan.spans
    near = [x.framing[i] for i in (spans.tail[span], spans.head[span]) if x.role[i] == "suspension"]
    if near:
        f = site.facts.framings
        return max(near, key=lambda name: f.height[f.framing == name].max())
    own = Counter(x.framing[(x.line == spans.line[span]) & (x.role == "suspension")])
    return own.most_common(1)[0][0] if own else None


def _with_new(site, structures, added):
    """Structures with those that are added, base elevations [m], and where each was before."""
    x, spans = site.facts.structures, site.plan.spans
    rows = [_new_row(site, span) for span in added]
    at = spans.head[added]
    columns = {}
    for f in fields(structures):
        old = getattr(structures, f.name)
        columns[f.name] = np.insert(old, at, np.array([row[f.name] for row in rows], old.dtype))
    base = np.insert(site.plan.base_elevation, at, [row["ground"] for row in rows])
    return type(structures)(**columns), base, np.insert(np.arange(len(x)), at, -1)


def _new_row(site, span):
    """Facts of a structure that is added to a span."""
    x, spans = site.facts.structures, site.plan.spans
    a, b = spans.tail[span], spans.head[span]
    _, e, n, z = place_of_new(site, span)
    taken, name = set(x.structure[x.line == x.line[a]]), f"{x.structure[a]}a"
    while name in taken:
        name += "a"
    return {"line": x.line[a], "structure": name, "order": (x.order[a] + x.order[b]) / 2, "role": "suspension",
            "framing": framing_of_new(site, span), "easting": e, "northing": n, "base_elevation": np.nan,
            "bisector": np.nan, "ground": z}


def tauter_sections(site, plan, origin, tightened):
    """Return (line, section, share) of the sections of a plan that are strung tauter, or slacker where negative.

    A section that was cut in two by a new strain structure is so in both parts.
    """
    spans = site.plan.spans
    of_tail = np.zeros(len(site.facts.structures), int)
    of_tail[spans.tail] = spans.section
    share = tightened[of_tail[origin[plan.spans.tail[plan.sections.first]]]]
    return [(str(plan.sections.line[i]), str(plan.sections.name[i]), float(share[i])) for i in np.flatnonzero(share)]


def _tauter(site, plan, origin, tightened):
    rows = tuple(Tightened(*row) for row in tauter_sections(site, plan, origin, tightened))
    return tuple(replace(option, wiring=replace(option.wiring, tightened=(*option.wiring.tightened, *rows)))
                 if option.name == site.option else option for option in site.facts.options)
