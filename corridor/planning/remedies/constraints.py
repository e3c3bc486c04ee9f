"""What findings ask of the remedies: linear constraints from margins, pulls and tensions, exact where they were found.

A raise `r` of one end of a span lifts the point of the wire at the share `x` of it by `r (1 - x)`, as the chord does,
while its tension stays; a shorter string does the same. What a lift is worth, `lift_way` tells.
"""

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from scipy.sparse import csr_array, diags_array

from corridor.clearance.own_wires import KINDS
from corridor.constants import GRAVITY
from corridor.planning.remedies.alterations import Site
from corridor.planning.remedies.choice import AMPLE, exclusive, in_order
from corridor.planning.remedies.least_cost import Constraints
from corridor.planning.remedies.left import LEAVE, keys_at
from corridor.planning.remedies.offered import OF_OTHERS, Remedies, first_wires, string_lengths
from corridor.planning.remedies.trimming import trim_worth
from corridor.planning.remedies.variants import STRING, Variant, assess_variant, keys_of

__all__ = ["Basis", "conditional", "constraints_of", "end_shares", "lift_way", "rules_of_choice", "uplift_rows",
           "worth_at_violations"]

#: Rows that clear by more than this are left to the full assessment: a remedy elsewhere moves them by less [m].
_NEAR = 0.5
#: Wires that pull a string down by less than this much of its weight are said to lift it (with the string's own).
_HELD = 1.5
#: What a string is to be pulled down more by at least, where the wind of the other side lifts it [N].
_LITTLE = 20.0
#: What remedies do that change how a section hangs as a whole: no row that was found without one tells of it.
_LAYOUT = ("add", "strain", "post", "v_string")
#: More than posts and strain strings were seen to be worth beyond the chord's lift, as a share of the string's length:
#: what a first look at the line may promise, and the next one tells [-].
_HOPED = 0.7
#: What is done to trees.
_TRIMS = ("trim", "side_trim")
_CLEARANCE = ("line", "span", "case", "against", "obstacle", "measure", "position")


@dataclass(frozen=True)
class Basis:
    """What constraints are made of: the `site`, its `remedies`, the line `before`, and `probes`, variants with all
    sections as taut ("tighten") or slack ("slacken") as they may be, where any may be; `was` the things that may be
    left (`corridor.planning.remedies.left.as_it_was`), each by the column "leave" of its number."""

    site: Site
    remedies: Remedies
    before: Variant
    probes: dict[str, Variant] = field(default_factory=dict)
    was: dict[tuple, float] = field(default_factory=dict)

    @cached_property
    def strings(self) -> dict:
        """Length of suspension strings [m], (structure, wire) to length."""
        return string_lengths(self.site)

    @cached_property
    def touched(self) -> csr_array:
        """Ones where a remedy changes wires of a section, (section, column)."""
        m, spans, c = self.remedies, self.site.plan.spans, self.before.layers["clearances"]
        near, names = {}, self.site.facts.index.obstacles.obstacle
        for name, section in zip(c["obstacle"], spans.section[self.before.line.spans_at(c)], strict=True):
            near.setdefault(name, set()).add(int(section))
        own = {"tighten": lambda at: [at], "slacken": lambda at: [at], "grade": lambda at: [spans.section[at]],
               **dict.fromkeys(("trim", "side_trim", "remove"), lambda at: near[names[at]]),
               **{kind: lambda at, of=of: set().union(*(near.get(names[i], ()) for i in of[at])) for kind, of in {
                   "bury": self.site.circuits, **dict.fromkeys(OF_OTHERS, self.site.others)}.items()},
               "add": lambda at: [spans.section[at]], LEAVE: lambda at: []}
        pairs = [(s, j) for j, (kind, place) in enumerate(zip(m.kind, m.place, strict=True)) for s in own.get(
            kind, lambda at: spans.section[(spans.tail == at) | (spans.head == at)])(place)]
        row, column = np.array(sorted(set(pairs)), int).reshape(-1, 2).T
        return csr_array((np.ones(len(row)), (row, column)), (len(self.site.plan.sections), len(m)))

    @property
    def laid_out(self) -> csr_array:
        """The same of those that change how it hangs as a whole."""
        return (self.touched @ diags_array(np.isin(self.remedies.kind.astype(str), _LAYOUT).astype(float))).tocsr()

    @cached_property
    def limits(self) -> dict:
        """Columns of the layer `limits` of the existing line."""
        return assess_variant(self.site, limits=True).layers["limits"]

    @cached_property
    def gains(self) -> dict:
        """What margins [m] and pulls [N] gain where their section is strung tauter or slacker, per share, by kind."""
        return {kind: tuple(self._gain(probe, *each) for each in (
            ("clearances", _CLEARANCE, "margin_m"), ("structure_loads", STRING, "vertical_n")))
            for kind, probe in self.probes.items()}

    def _gain(self, probe, layer, names, column):
        most = np.abs(probe.alterations.tightened).max()
        a, b = (dict(zip(keys_of(each.layers[layer], names), each.layers[layer][column], strict=True))
                for each in (self.before, probe))
        return {key: (b[key] - a[key]) / most for key in a.keys() & b.keys()}


def constraints_of(basis: Basis, now: Variant, steps: np.ndarray, *, hope: bool | np.ndarray = False) -> Constraints:
    """Return the constraints that a variant with steps of the remedies (column,) comes to, of sections that it did not
    take over from another. Every row is exact at those amounts, and linear from there. In sections with `hope`
    (section,), or in all, rows of the line as it stands promise more of posts and strain strings than the lift of the
    chord. Of steps nothing is left."""
    amount, first = steps * basis.remedies.step, now is basis.before
    found = [_of_clearances(basis, now), _of_pulls(basis, now)]
    if first and np.any(hope):
        found = [(replace(rows, A=rows.A + _hope(basis, sections, hope)), margin, sections, held)
                 for rows, margin, sections, held in found]
    rows = sum((_anchored(basis, *each, amount, first) for each in found), nothing_asked(basis.remedies))
    return rows + _of_loads(basis, now, amount) if "tighten" in basis.probes else rows


def _hope(basis, sections, hope):
    """What posts and strain strings may be worth besides in rows of their section, (row, column) [m]."""
    length = {}
    for (structure, _), each in basis.strings.items():
        length[structure] = max(length.get(structure, 0.0), each)
    m = basis.remedies
    hung = [_HOPED * length.get(place, 0.0) if kind in ("post", "strain") else 0.0
            for kind, place in zip(m.kind, m.place, strict=True)]
    own = diags_array(np.broadcast_to(hope, basis.laid_out.shape[0]).astype(float)) @ basis.laid_out
    return (own[sections[:, 0]] @ diags_array(np.array(hung))).tocsr()


def worth_at_violations(basis: Basis) -> csr_array:
    """Return what a step of each remedy is worth at violations of the existing line, (violation, column) [m]."""
    rows, margin, *_ = _of_clearances(basis, basis.before, twice=False)
    return rows.A[margin < 0] @ diags_array(basis.remedies.step)


def rules_of_choice(remedies: Remedies) -> Constraints:
    """Return the rows that hold between remedies whatever is found: what waits for another, and what excludes it."""
    strings, add, gone, taller = (np.flatnonzero(np.isin(remedies.kind.astype(str), kinds)) for kinds in (
        ("post", "strain", "v_string", "shorten"), "add", "remove", ("raise", "replace")))
    # Nobody digs where a structure is to stand, nor trims what is taken away: of steps the first is there where any is.
    first, top, crown = (remedies.first(kind) for kind in ("grade", "trim", "side_trim"))
    return (in_order(remedies, "grade") + in_order(remedies, "trim") + in_order(remedies, "side_trim")
            + exclusive(remedies, strings) + exclusive(remedies, np.r_[first, add]) + exclusive(remedies, taller)
            + exclusive(remedies, np.r_[top, gone]) + exclusive(remedies, np.r_[crown, gone])
            + sum((in_order(remedies, kind) + exclusive(remedies, np.r_[remedies.first(kind), np.flatnonzero(
                remedies.kind == "bury")]) for kind in OF_OTHERS), nothing_asked(remedies)))


def _anchored(basis, rows, margin, sections, held, amount, first):
    """Rows whose need is set so that they hold just where they were found, with what is done there to how sections
    hang, and nothing more of that. `sections` (row, 2) those that a row is of; `held` (row, column) ones of remedies
    of which no row tells that was found without one; `first`: of the existing line, whose rows promise what such a
    remedy may be worth."""
    of = csr_array((np.ones(sections.size), (np.repeat(np.arange(len(sections)), 2), sections.ravel())),
                   (len(sections), len(basis.site.plan.sections)))
    own = ((of @ basis.laid_out + held) > 0).astype(float).tocsr()
    taken = (own @ diags_array((amount > 0).astype(float))).tocsr()
    if not first:
        # With one more of them the rows tell nothing.
        more = (own - taken).tocsr()
        rows = replace(rows, A=(rows.A - rows.A.multiply(more) + AMPLE * more).tocsr())
    need = (rows.A - rows.A.multiply(taken)) @ amount - margin
    # Where nothing moves a row, only one that is in violation asks for something: it tells that none helps.
    moved = abs(rows.A).sum(axis=1) > 1e-9
    return conditional(replace(rows, need=np.where(moved, need, np.maximum(-margin, 0.0))), taken)


class _Rows:
    """Coefficients of rows, as they are found."""

    def __init__(self, remedies, count):
        self.remedies, self.A = remedies, csr_array((count, len(remedies)))

    def add(self, kind, place, coefficient):
        """Let the remedies of a kind at the place of each row (-1: at none) count there."""
        row = np.flatnonzero(place >= 0)
        count = 1 + max(place.max(initial=0), self.remedies.place.max(initial=0))
        at = csr_array((np.broadcast_to(coefficient, len(place))[row], (row, place[row])), (len(place), count))
        self.A = self.A + at @ self.remedies.by_place(kind, count)

    def at_structure(self, structure, length, share, depth, aside=0.0):
        """Let what is done to the structure of each row count, as it lifts the wire there by `share` of each metre;
        `length` of its string [m], 0 where there is none. A V of a `depth` [m] may keep it from swinging `aside`."""
        for kind in ("raise", "replace"):
            self.add(kind, structure, share)
        hung = np.where(length > 0, structure, -1)
        for kind, worth in (("shorten", share), ("post", share * length), ("strain", share * length),
                            ("v_string", share * (length - depth) + aside * length)):
            self.add(kind, hung, worth)

    def trim(self, site, clearances, thing, alone, done):
        """Let what is cut off the obstacle of each row (-1: of none) count there; rows that are `alone` hold only while
        it is not trimmed. `done` the Alterations by which it is already."""
        m, step = self.remedies, site.prices.step
        row = np.flatnonzero(np.isin(thing, m.place[np.isin(m.kind.astype(str), _TRIMS)]))
        tree, only = thing[row], alone[row]
        worth = trim_worth({name: values[row] for name, values in clearances.items()}, tree, site.trees, step,
                           done.trimmed[tree], done.narrower[tree])
        for kind, gains in worth.items():
            own, first = np.flatnonzero(m.kind == kind), m.first(kind)
            number = own - first[np.searchsorted(m.place[first], m.place[own])]
            i, j = np.nonzero(tree[:, None] == m.place[own])
            each = np.where(only[i], np.where(number[j] == 0, AMPLE, 0.0), gains[i, number[j]]) / step
            self.A = self.A + csr_array((each, (row[i], own[j])), self.A.shape)

    def leave(self, was, keys, spare):
        """Let the rows of things that may be left ask for `spare` less where they are."""
        number = {key: i for i, key in enumerate(was)}
        at = np.array([number.get(key, -1) for key in keys], int)
        self.add(LEAVE, at, spare(np.array([was.get(key, np.nan) for key in keys])))

    def named(self, names):
        """Return Constraints of them that ask for nothing yet."""
        return Constraints(self.A.tocsr(), np.zeros(len(names)), np.array(names, object))


def _of_clearances(basis, now, *, twice=True):
    """Rows of clearances, their margins, sections, and what holds them, as `_anchored` takes it. What a lift is worth
    beside a crown grows as that is trimmed, up to all of it: rows of trees that may be trimmed promise all of it, and,
    where they are not trimmed yet, come `twice`, for while they are not."""
    site, c, line = basis.site, now.layers["clearances"], now.line
    chosen = np.flatnonzero(((c["margin_m"] < _NEAR) | (c["position"] == "below")) & now.is_fresh(c))
    c = {name: values[chosen] for name, values in c.items()}
    thing, crown = _trees_of_rows(basis, c)
    free = np.flatnonzero(crown & np.r_[now.alterations.trimmed + now.alterations.narrower == 0, False][thing])
    each = np.r_[np.arange(len(thing)), free if twice else []].astype(int)
    alone = np.arange(len(each)) >= len(thing)
    c, thing, crown = {name: values[each] for name, values in c.items()}, thing[each], crown[each]
    spans, span = line.plan.spans, line.spans_at(c)
    parent, found, held = line.parent[span], *(_Rows(basis.remedies, len(span)) for _ in range(2))
    # A raise takes both of two own wires along.
    own = np.isin(c["against"].astype(str), KINDS)
    way = np.where(crown & ~alone & twice, 1.0, np.where(own, 0.0, lift_way(c)))
    blown = np.isin(c["case"], [case.name for case in line.facts.cases if case.wind > 0]) & ~own
    for at, share in zip((spans.tail, spans.head), end_shares(c, spans.length[span]), strict=True):
        at, depth = line.origin[at[span]], site.prices.v_string_depth or 0.0
        found.at_structure(at, _lengths(basis, at, c["wire"]), way * share, depth, blown * share)
    dug = (c["against"] == "ground") & (c["measure"] == "vertical") & (c["position"] != "below")
    found.add("grade", np.where(dug, parent, -1), 1.0)
    found.add("remove", thing, AMPLE)
    found.add("bury", first_wires(site, site.circuits)[thing], AMPLE)
    # What a line beside gains by being higher or lower the next variant tells, too.
    other, aside = first_wires(site, site.others)[thing], c["measure"] == "horizontal"
    for kind, sign in zip(OF_OTHERS, (-1.0, 1.0), strict=True):
        found.add(kind, other, np.where(aside, AMPLE, sign * way * site.prices.step))
        held.add(kind, np.where(aside, other, -1), 1.0)
    found.trim(site, c, thing, alone, now.alterations)
    section = site.plan.spans.section[parent]
    for kind, (gains, _) in basis.gains.items():
        found.add(kind, section, np.array([gains.get(key, 0.0) for key in keys_of(c, _CLEARANCE)]))
    # What a structure more is worth in its span the next variant tells, whose rows hold where it is taken.
    found.add("add", np.where(way > 0, parent, -1), AMPLE)
    # What is left asks for its margin on the existing line.
    found.leave(basis.was, keys_at(now, c), lambda margin: np.maximum(-margin, 0.0))
    words = [f"{s}, wire {w}, {k}, {o or a} ({m})" for s, w, k, o, a, m in
             keys_of(c, ("span", "wire", "case", "obstacle", "against", "measure"))]
    return found.named(words), c["margin_m"].astype(float), np.stack([section, section], axis=1), held.A


def _trees_of_rows(basis, clearances):
    """The obstacle of each row, -1 where it is none, and whether it is in space from a tree that may be trimmed."""
    m, known = basis.remedies, {name: i for i, name in enumerate(basis.site.facts.index.obstacles.obstacle)}
    thing = np.array([known.get(name, -1) for name in clearances["obstacle"]], int)
    trees = m.place[np.isin(m.kind.astype(str), _TRIMS)]
    return thing, (np.isin(thing, trees) & (clearances["measure"] == "radial")
                   & (clearances["position"] != "falling"))


def _lengths(basis, structure, wire):
    return np.array([basis.strings.get(key, 0.0) for key in zip(structure, wire, strict=True)])


def lift_way(clearances: dict) -> np.ndarray:
    """Return how much the actual clearance of each row grows with a lift of the wire at its place [-].

    A wire above something gains the lift, a wire below loses it, and of a distance in space counts the share in its
    direction, `(z_wire - z_other) / distance`, of a bundle from its middle. A distance sideways counts 0.
    """
    apart = (clearances["wire_elevation_m"] - clearances["other_elevation_m"]).astype(float)
    distance = np.maximum(np.abs((clearances["actual_m"] + clearances["bundle_m"]).astype(float)), 1e-9)
    # Where an elevation is not known a lift is worth nothing.
    radial = np.nan_to_num(np.clip(apart / distance, -1, 1))
    sign = np.where(clearances["position"] == "below", -1.0, 1.0)
    return np.select([clearances["measure"] == "vertical", clearances["measure"] == "radial"], [sign, radial], 0.0)


def end_shares(clearances: dict, length: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the lift at the place of each row for a metre of raise of either end of its span, of a length [m]."""
    x = np.clip(clearances["distance_from_start_m"] / length, 0, 1)
    return 1 - x, x


def _of_pulls(basis, now):
    """Rows of suspension strings that no wire may lift, what each may lose [kN], sections, and no more."""
    loads, line = now.layers["structure_loads"], now.line
    spans, x = line.plan.spans, line.facts.structures
    place = line.structures_at(loads)
    back, ahead = np.full((2, len(x)), -1)
    back[spans.head], ahead[spans.tail] = np.arange(len(spans)), np.arange(len(spans))
    weight = _string_weight(line.facts.framings, x.framing[place], loads["wire"])
    # What is nearly lifted on the existing line may stay so.
    spared = basis.before.nearly_lifted - basis.before.lifted
    # Beside a break the wire of one side alone draws the string along.
    drawn = np.isin(loads["case"], [case.name for case in line.facts.cases if case.broken is not None])
    chosen = np.flatnonzero((x.role[place] == "suspension") & (back[place] >= 0) & (ahead[place] >= 0) & (weight > 0)
                            & np.array([key not in spared for key in keys_of(loads, STRING)], bool)
                            & now.is_fresh(loads) & ~(drawn & ~loads["lifted"].astype(bool)))
    loads, place, weight = {n: v[chosen] for n, v in loads.items()}, place[chosen], weight[chosen]
    pair = np.stack([back[place], ahead[place]], axis=1)
    tension = _tensions(spans, now, pair, loads, basis.site.wiring.bundle)
    pulls, room = uplift_rows(loads, tension / spans.length[pair], weight)
    found = _Rows(basis.remedies, len(place))
    # In kN, so that what is asked in metres and in newtons is of one size in the programme.
    for at, pull in zip((spans.tail[pair[:, 0]], place, spans.head[pair[:, 1]]), pulls, strict=True):
        at, depth = line.origin[at], basis.site.prices.v_string_depth or 0.0
        found.at_structure(at, _lengths(basis, at, loads["wire"]), pull / 1e3, depth)
    for kind in ("post", "strain"):
        found.add(kind, line.origin[place], AMPLE)
    section = basis.site.plan.spans.section[line.parent[pair]]
    for kind, (_, gains) in basis.gains.items():
        found.add(kind, section[:, 0], np.array([gains.get(key, 0.0) for key in keys_of(loads, STRING)]) / 1e3)
    found.leave(basis.was, list(keys_of(loads, STRING)),
                lambda pull: np.maximum(_HELD * weight - pull, _LITTLE) / 1e3)
    words = [f"{s}, wire {w}, {k}: uplift" for s, w, k in keys_of(loads, ("structure", "wire", "case"))]
    # The wind from the side that is not told may lift it: then it needs more than what is told.
    room = np.where(loads["uplift"].astype(bool), np.minimum(room, -_LITTLE), room)
    return found.named(words), room / 1e3, section, 0 * found.A


def uplift_rows(loads: dict, tension: np.ndarray, weight: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the linear limits that keep wires from lifting suspension strings.

    A raise `r` of a structure adds `H (1/L1 + 1/L2) r` to the pull of a wire on it, and takes `H r / L` from its
    neighbours'. A string of weight `W` is lifted where the pull, string included, is below `1.5 W`.

    Parameters
    ----------
    loads : dict of ndarray, shape (row,)
        Rows of `structure_loads` at suspension strings.
    tension : ndarray, shape (row, 2)
        `H / L` of the span before and after [N/m].
    weight : ndarray, shape (row,)
        Of the string [N].

    Returns
    -------
    pull : ndarray, shape (3, row)
        What it gains by a raise of the structure before, of its own and of the one after [N/m].
    room : ndarray, shape (row,)
        What it may lose [N].
    """
    before, after = tension.T
    return np.stack([-before, before + after, -after]), loads["vertical_n"].astype(float) - _HELD * weight


def _tensions(spans, now, pair, loads, bundle):
    """Horizontal tension of the wire in both spans, of all its subconductors [N], (row, 2); the greater side of the
    wind, and 0 where none is known: then a raise of a neighbour is left to the full assessment."""
    wires, known = now.layers["wires"], {}
    tension = wires["horizontal_tension_n"] * np.where(wires["kind"] == "phase", bundle, 1)
    for key, H in zip(keys_of(wires, ("line", "span", "wire", "case")), tension, strict=True):
        known[key] = max(known.get(key, 0.0), float(np.nan_to_num(H)))
    return np.array([[known.get((spans.line[s], spans.name[s], w, k), 0.0) for s in both] for both, w, k in
                     zip(pair, loads["wire"], loads["case"], strict=True)]).reshape(-1, 2)


def _string_weight(framings, framing, wire):
    known = {(f, w): m * GRAVITY for f, w, m, s in zip(framings.framing, framings.wire, framings.string_mass,
                                                      framings.string, strict=True) if s in ("suspension", "vee")}
    return np.array([known.get(key, 0.0) for key in zip(framing, wire, strict=True)])


def _of_loads(basis, now, amount):
    """Rows by which sections are not strung tauter than their wire and the loads of structures allow."""
    m = basis.remedies
    part, section, names = now.used(basis.site.prices.largest_load_ratio)
    # Where a share is not known none may be strung tauter (`offered`), and no variant in which one is clears.
    known = np.flatnonzero(np.isfinite(part))
    part, section = part[known], section[known]
    share = m.amounts("tighten", amount / m.step, len(basis.site.plan.sections))[section]
    found = _Rows(m, len(part))
    found.add("tighten", section, -part / (1 + share))
    rows = found.named([f"section {names[i][1]}: tension" for i in known])
    # What is used up before asks for nothing: it may not be more, that is all.
    margin = np.where(share > 0, 1 - part, np.maximum(1 - part, 0.0))
    return replace(rows, need=rows.A @ amount - margin)


def conditional(rows: Constraints, anew: csr_array) -> Constraints:
    """Return rows that hold only where remedies are taken: they gain `AMPLE` where one is not. `anew` (row, column) has
    ones where a row asks that; what such a remedy is worth there is in its margin already, and is left out."""
    return replace(rows, A=(rows.A - rows.A.multiply(anew) - AMPLE * anew).tocsr(),
                   need=rows.need - AMPLE * anew.sum(axis=1))


def nothing_asked(remedies: Remedies) -> Constraints:
    """Return no rows."""
    return Constraints(csr_array((0, len(remedies))), np.zeros(0), np.zeros(0, object))
