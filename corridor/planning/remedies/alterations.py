"""A line with remedies in place: structures changed and added, sections tauter, ground cut, trees trimmed, objects
gone."""

from collections.abc import Iterable
from dataclasses import dataclass, field, fields, replace
from typing import NamedTuple

import numpy as np
import shapely

from corridor.assessment import Facts, Ground, Plan
from corridor.clearance.crossings import index_obstacles
from corridor.inputs.study_inputs import Inputs
from corridor.line.build import lay_out
from corridor.line.facts import Framings, Obstacles, Structures, Tightened, Wiring
from corridor.planning.remedies.graded_ground import SpanCells, excavated
from corridor.study import Study
from corridor.study.plan import Plan as PlanTable

__all__ = ["NONE", "Alterations", "AlteredLine", "Change", "Place", "Site", "Tree", "Vee", "altered",
           "change_structures", "tauter_sections", "unaltered"]


class Vee(NamedTuple):
    """A V-string: its `depth` [m], the `angle` between its arms [deg], `mass` of both [kg], and their `area` in the
    wind [m²], None for twice that of the string in its place."""

    depth: float
    angle: float
    mass: float
    area: float | None = None


class Change(NamedTuple):
    """What is done to a structure: `rise` of all wires [m], by a taller one in its place where it is `replaced`;
    suspension strings of phases `shorter` by so much [m], or made posts or V-strings as `vee` says, or all strings made
    strain strings (`string`)."""

    rise: float = 0.0
    shorter: float = 0.0
    string: str = ""
    replaced: bool = False
    vee: Vee | None = None

    @property
    def words(self) -> str:
        """What is done, in words.

        >>> Change(1.5, string="post").words
        'raise by 1.5 m, posts for strings'
        """
        words = [f"{'replace, taller' if self.replaced else 'raise'} by {self.rise:g} m"] * bool(self.rise)
        words += [f"strings {self.shorter:g} m shorter"] * bool(self.shorter)
        words += [{"vee": "V-strings for strings", "post": "posts for strings", "strain": "strain strings"}[self.string]
                  ] if self.string else []
        return ", ".join(words)

    def named(self, framing: str) -> str:
        """Return the name of a framing that is so changed.

        >>> Change(1.5, string="post").named("S18")
        'S18 post +1.5 m'
        """
        words = [framing] + [self.string] * bool(self.string) + ["taller"] * self.replaced
        words += [f"strings {-self.shorter:g} m"] * bool(self.shorter) + [f"{self.rise:+g} m"] * bool(self.rise)
        return " ".join(words)


#: Nothing is done.
NONE = Change()


class Place(NamedTuple):
    """Where a structure more may stand: `share` of the span, place and `ground` [m], and its `framing`."""

    share: float
    easting: float
    northing: float
    ground: float
    framing: str


class Tree(NamedTuple):
    """A tree that may be trimmed: its `height` above the ground and elevation of the `top` [m] at the next cutting,
    were it left alone; what its layer is said to grow until then, `growth`, and what it grows once it is cut,
    `regrowth`, no less, aside, too [m]; the `radius` of its crown [m]; steps by which it may be lower (`most`) and
    narrower (`aside`) at the next cutting."""

    height: float
    top: float
    growth: float
    regrowth: float
    most: int
    radius: float = 0.0
    aside: int = 0

    def cut(self, amount: float) -> float:
        """Return what is cut off the tree as surveyed [m], so that it is lower by an amount [m] at the next cutting."""
        return amount + self.regrowth - self.growth

    def left(self, amount: float) -> float:
        """Return the height above the ground that is left once it is cut so, to the decimetre below [m].

        >>> Tree(16.0, 120.0, 0.5, 2.0, 20).left(4.5)
        9.5
        """
        return _decimetre(self.height - amount - self.regrowth)

    def cut_aside(self, amount: float) -> float:
        """Return what is cut off the crown [m], so that it is narrower by an amount [m] at the next cutting."""
        return amount + self.regrowth

    def left_aside(self, amount: float) -> float:
        """Return the radius that is left once it is cut so, to the decimetre below [m]."""
        return _decimetre(self.radius - amount - self.regrowth)


def _decimetre(length):
    return float(np.floor(10 * length + 1e-6) / 10)


@dataclass(frozen=True)
class Site:
    """An option of a study, or a mix, on the existing line, laid out; `option` its name, `prices` the table [plan],
    `cells` what may be dug below spans, `places` where structures may be added in them, or why none may, `trees` how
    obstacles may be trimmed, or why one may not, `circuits` wires of others that may be put underground, by the first
    of each circuit, or why none may, `others` those that may be raised or lowered, likewise. `facts` have the existing
    option beside it, where there is one, and no mix but that."""

    study: Study
    inputs: Inputs
    facts: Facts
    plan: Plan
    ground: Ground
    option: str
    prices: PlanTable
    cells: dict[int, SpanCells] = field(default_factory=dict)
    places: dict[int, Place | str] = field(default_factory=dict)
    trees: dict[int, Tree | str] = field(default_factory=dict)
    circuits: dict[int, list[int] | str] = field(default_factory=dict)
    others: dict[int, list[int] | str] = field(default_factory=dict)

    @property
    def old(self) -> str | None:
        """Name of the option that hangs today, None where none does."""
        hangs = any(each.existing for each in self.facts.options if each.name == self.option)
        return self.option if hangs else self.facts.existing

    @property
    def strung(self) -> str:
        """Name of the option whose wire is put up: that of a mix which does not hang today."""
        return next((part for mix in self.facts.mixes for part in mix.parts if part != mix.existing), self.option)

    @property
    def renewed(self) -> np.ndarray:
        """Sections that get it, (section,) bool."""
        every = np.ones(len(self.plan.sections), bool)
        return next((mix.hangs == self.strung for mix in self.facts.mixes), every)

    @property
    def wiring(self) -> Wiring:
        """How it is strung."""
        return next(each.wiring for each in self.facts.options if each.name == self.strung)


@dataclass(frozen=True)
class Alterations:
    """What is done: `changes` (structure,); `cut` (span,) [m]; `trimmed` and `narrower` (obstacle,) by how much lower,
    and of less radius, at the next cutting [m]; `lowered` (obstacle,) by how much wires of others hang lower, higher
    where negative [m]; `removed` (obstacle,) bool, of which `buried` are wires of others that
    are put underground; `tightened` (section,) shares; `added` spans that get a structure more, ascending."""

    changes: tuple[Change, ...]
    cut: np.ndarray
    trimmed: np.ndarray
    narrower: np.ndarray
    lowered: np.ndarray
    removed: np.ndarray
    buried: np.ndarray
    tightened: np.ndarray
    added: np.ndarray

    @property
    def tops(self) -> np.ndarray:
        """By how much tops of things are lower, (obstacle,) [m]."""
        return self.trimmed + self.lowered


@dataclass(frozen=True)
class AlteredLine:
    """A line laid out with alterations, and how it was laid out `before`.

    `origin` (structure,) index of each structure in the existing line, -1 if new; `parent` (span,) the span there
    that each span is, or is a part of.
    """

    facts: Facts
    plan: Plan
    ground: Ground
    before: Plan
    origin: np.ndarray
    parent: np.ndarray

    def spans_at(self, rows: dict) -> np.ndarray:
        """Return the spans that rows of findings are of, (row,)."""
        return _at(self.plan.spans.line, self.plan.spans.name, zip(rows["line"], rows["span"], strict=True))

    def structures_at(self, rows: dict) -> np.ndarray:
        """Return the structures that rows of findings are of, (row,)."""
        x = self.facts.structures
        return _at(x.line, x.structure, zip(rows["line"], rows["structure"], strict=True))

    def sections_before(self, names: Iterable[tuple[str, str]]) -> np.ndarray:
        """Return the sections of the existing line that those of some (line, section) are parts of."""
        sections = self.plan.sections
        return self.before.spans.section[self.parent[sections.first[_at(sections.line, sections.name, names)]]]


def _at(lines, names, keys):
    index = {key: i for i, key in enumerate(zip(lines, names, strict=True))}
    return np.array([index[key] for key in keys], int)


def unaltered(site: Site) -> Alterations:
    """Return the Alterations that do nothing."""
    things = np.zeros(len(site.facts.index.obstacles))
    return Alterations((NONE,) * len(site.facts.structures), np.zeros(len(site.plan.spans)), things, things, things,
                       things > 0, things > 0, np.zeros(len(site.plan.sections)), np.zeros(0, int))


def altered(site: Site, alterations: Alterations) -> AlteredLine:
    """Return the line with alterations, laid out anew where structures are added or the sections are others."""
    facts, plan, added = site.facts, site.plan, alterations.added
    structures, framings = change_structures(facts.structures, facts.framings, alterations.changes)
    base, origin = plan.base_elevation, np.arange(len(structures))
    if len(added):
        structures, base, origin = _with_new(site, structures, added)
    if len(added) or any(change.string == "strain" for change in alterations.changes):
        plan = Plan(*lay_out(structures, base, site.inputs.frame.ground_factor), base)
    changed = {"structures": structures, "framings": framings}
    if alterations.removed.any() or alterations.tops.any() or alterations.narrower.any():
        obstacles = trimmed(facts.index.obstacles, alterations.tops)
        # A radius counts in the grid, as the check of the copy widens what is left of it.
        less = site.inputs.frame.widen(alterations.narrower, obstacles.geometry)
        obstacles = replace(obstacles, radius=obstacles.radius - less)
        changed["index"] = index_obstacles(replace(obstacles, **_columns(obstacles, ~alterations.removed)))
    parent = _parents(site, plan, origin)
    if plan is not site.plan:
        changed["options"] = tuple(replace(option, wiring=_measured(site, plan, parent, option.wiring))
                                   for option in facts.options)
        changed["mixes"] = tuple(mix.moved(site.plan.spans.section[parent[plan.sections.first]]) for mix in facts.mixes)
    if alterations.tightened.any():
        changed["options"] = _tauter(site, plan, parent, alterations.tightened, changed.get("options", facts.options))
    return AlteredLine(replace(facts, **changed), plan, excavated(site.ground, site.cells, alterations.cut), site.plan,
                       origin, parent)


def trimmed(obstacles: Obstacles, amount: np.ndarray) -> Obstacles:
    """Return obstacles with tops that are lower by amounts, or higher where negative, (obstacle,) [m]."""
    geometry = obstacles.geometry.copy()
    for i in np.flatnonzero((amount != 0) & obstacles.absolute):
        geometry[i] = shapely.transform(geometry[i], lambda xyz, i=i: xyz - [0, 0, amount[i]], include_z=True)
    return replace(obstacles, geometry=geometry, height=obstacles.height - amount)


def _columns(table, rows):
    """Some rows of a table of facts, as columns; a column that is not given stays None."""
    columns = {f.name: getattr(table, f.name) for f in fields(table)}
    return {name: None if values is None else values[rows] for name, values in columns.items()}


def _parents(site, plan, origin):
    spans = site.plan.spans
    of_tail, of_head = np.full((2, len(site.facts.structures)), -1)
    of_tail[spans.tail], of_head[spans.head] = np.arange(len(spans)), np.arange(len(spans))
    tail, head = origin[plan.spans.tail], origin[plan.spans.head]
    return np.where(tail >= 0, of_tail[tail], of_head[head])


def change_structures(structures: Structures, framings: Framings, changes) -> tuple[Structures, Framings]:
    """Return structures and framings with changes, (structure,); every pair of framing and change adds a framing,
    of a name that none has.

    A structure whose strings are made strain strings is a strain structure.
    """
    names, role = structures.framing.copy(), structures.role.copy()
    if any(change.vee for change in changes):
        framings = _with_columns(framings)
    pairs, taken = {}, {*framings.framing}
    for i, pair in enumerate(zip(names, changes, strict=True)):
        if pair[1] != NONE:
            pairs[pair] = names[i] = pairs.get(pair) or _free(pair[1].named(pair[0]), taken)
        role[i] = "strain" if pair[1].string == "strain" else role[i]
    parts = [_columns(framings, np.s_[:]), *(_changed(framings, *pair, name) for pair, name in pairs.items())]
    joined = {name: None if parts[0][name] is None else np.concatenate([part[name] for part in parts])
              for name in parts[0]}
    return replace(structures, framing=names, role=role), type(framings)(**joined)


def _free(name, taken):
    """The name, or one like it that none of those `taken` is, which it then is: a copy that is planned again has
    framings of the earlier plan."""
    while name in taken:
        name += ", again"
    taken.add(name)
    return name


def _with_columns(framings):
    """Framings with columns of what V-strings have."""
    return replace(framings, **{name: np.full(len(framings.framing), none) for name, none in (
        ("string_area", 0.0), ("vee_angle", np.nan)) if getattr(framings, name) is None})


def _changed(framings, framing, change, name):
    """The rows of one framing, changed, with another name."""
    rows = _columns(framings, framings.framing == framing)
    hangs = (rows["string"] == "suspension") & (rows["kind"] == "phase")
    made = np.full(len(hangs), True) if change.string == "strain" else hangs & bool(change.string)
    if change.vee:
        own = dict(zip(("string_length", "vee_angle", "string_mass", "string_area"), change.vee, strict=True))
        own["string_area"] = 2 * rows["string_area"] if change.vee.area is None else change.vee.area
        rows |= {name: np.where(hangs, value, rows[name]) for name, value in own.items()}
    return rows | {"framing": np.full(len(hangs), name, object),
                   "string_length": rows["string_length"] - np.where(hangs, change.shorter, 0.0),
                   "string": np.where(made, change.string or "", rows["string"]).astype(object),
                   "height": rows["height"] + change.rise}


def _with_new(site, structures, added):
    """Structures with those that are added, base elevations [m], and where each was before."""
    rows, at = [_new_row(site, span) for span in added], site.plan.spans.head[added]
    columns = {f.name: np.insert(old, at, np.array([row[f.name] for row in rows], old.dtype))
               for f in fields(structures) for old in [getattr(structures, f.name)]}
    base = np.insert(site.plan.base_elevation, at, [row["ground"] for row in rows])
    return type(structures)(**columns), base, np.insert(np.arange(len(structures)), at, -1)


def _new_row(site, span):
    """Facts of a structure that is added to a span."""
    x, spans = site.facts.structures, site.plan.spans
    a, b = spans.tail[span], spans.head[span]
    place = site.places[span]
    taken, name = set(x.structure[x.line == x.line[a]]), f"{x.structure[a]}a"
    while name in taken:
        name += "a"
    return {"line": x.line[a], "structure": name, "order": (x.order[a] + x.order[b]) / 2, "role": "suspension",
            "framing": place.framing, "easting": place.easting, "northing": place.northing, "base_elevation": np.nan,
            "crossarm_azimuth": np.nan, "ground": place.ground}


def tauter_sections(site: Site, plan: Plan, parent: np.ndarray, tightened: np.ndarray) -> list[Tightened]:
    """Return the sections of an altered line that are strung tauter, or slacker where negative.

    A section that was cut in two by a new strain structure is so in both parts.
    """
    share = tightened[site.plan.spans.section[parent[plan.sections.first]]]
    return [Tightened(str(plan.sections.line[i]), str(plan.sections.name[i]), float(share[i]))
            for i in np.flatnonzero(share)]


def _measured(site, plan, parent, wiring):
    """A wiring measured in the sections of a line that is laid out anew as in those that they are of."""
    known = {(row.line, row.section): row for row in wiring.measured}
    rows = []
    for i, old in enumerate(site.plan.spans.section[parent[plan.sections.first]]):
        line, name = (str(column[old]) for column in (site.plan.sections.line, site.plan.sections.name))
        row = known.get((line, name)) or known.get(("", name))
        if row is not None:
            rows.append(replace(row, line=str(plan.sections.line[i]), section=str(plan.sections.name[i])))
    return replace(wiring, measured=tuple(rows))


def _tauter(site, plan, parent, tightened, options):
    rows = tauter_sections(site, plan, parent, tightened)
    return tuple(replace(option, wiring=replace(option.wiring, tightened=(*option.wiring.tightened, *rows)))
                 if option.name == site.strung else option for option in options)
