"""Wires of the same structures among each other: in the states of a case, and with ice on one and none on the other."""

from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from corridor.arrays import join, take
from corridor.clearance.findings import assess, requirements
from corridor.clearance.galloping import (
    GALLOPING,
    compare_ellipses,
    galloping_cases,
    histories_of,
    pairs_checked,
    worst_of_states,
)
from corridor.clearance.not_assessed import Gap
from corridor.geometry.between import Curve, least_between
from corridor.line.facts import Obstacles

__all__ = ["KINDS", "Pairs", "join_columns", "own_at_rest", "own_findings", "pairs_of"]

#: What a wire is to another of its structures: these stand in `against`.
KINDS = ("own_phase", "own_circuit", "own_shield_wire", GALLOPING)


@dataclass(frozen=True)
class Pairs:
    """Wires side by side in a span: `first`, `second` wire spans, `kind` index into `KINDS`, `name` of both wires; of
    shape (pair,)."""

    first: np.ndarray
    second: np.ndarray
    kind: np.ndarray
    name: np.ndarray


def own_findings(facts, make_scene):
    """Return what own wires come to, where the study asks for it.

    Parameters
    ----------
    facts : Facts
    make_scene : callable
        `make_scene(cases)` gives the Scene of the batch in other cases.

    Returns
    -------
    columns : list of dict of ndarray
        Rows of `clearances`: of histories that may be, that in which wires are nearest. Phases of an option have been
        through the same; a shield wire has its own.
    gaps : list of Gap
    """
    if facts.own_wires is None:
        return [], []
    still = [k for k, case in enumerate(facts.cases) if case.wind == 0 and "vertical" in case.checks]
    iced = [k for k in still if facts.cases[k].iced and not facts.cases[k].uneven]
    # The names of these are never seen: no stringing limit may take them for a case of the study.
    bare = tuple(replace(facts.cases[k].without_ice(), name=f"{facts.cases[k].name}\0") for k in iced)
    scene = make_scene((*facts.cases, *bare))
    pairs = pairs_of(scene)
    found = [_at_rest(scene, pairs, still, iced, len(facts.cases))] if still else []
    made = [_rows(scene, pairs, *part) for part in found]
    for cases, loops in galloping_cases(facts.own_wires.galloping, facts.cases):
        other = make_scene(cases)
        thing = _things(pairs, np.full(len(pairs.kind), KINDS.index(GALLOPING)))
        reach = bundles_of(other, pairs, len(facts.cases))
        made.append(_rows(other, pairs, *compare_ellipses(other, pairs, len(facts.cases), loops, thing, reach)))
    return [columns for columns, _ in made], [gap for _, gaps in made for gap in gaps]


def own_at_rest(scene, cases):
    """Return how near own wires come to each other in some cases in still air, all in the same state.

    Parameters
    ----------
    scene : Scene
    cases : ndarray of int

    Returns
    -------
    list of (Scene, Checked, Required)
        The scene with pairs for obstacles.
    """
    still = [k for k in cases if scene.cases[k].wind == 0 and "vertical" in scene.cases[k].checks]
    if not still:
        return []
    pairs = pairs_of(scene)
    checked = _at_rest(scene, pairs, still, [], 0)[0]
    known = np.flatnonzero(np.isfinite(checked.actual))
    scene, checked = replace(scene, obstacles=_as_obstacles(pairs)), take(checked, known)
    return [(scene, checked, requirements(scene, checked))]


def join_columns(tables):
    """Join tables of rows by column, row under row; numbers that a table lacks are 0 of a count, else null."""
    blank = {"i": 0, "O": None, "f": np.nan}
    first, *others = tables
    rows = [len(table["wire"]) for table in others]
    return {name: np.concatenate([values, *(
        table.get(name, np.full(count, blank[values.dtype.kind], values.dtype))
        for table, count in zip(others, rows, strict=True))]) for name, values in first.items()}


def pairs_of(scene):
    """Return all pairs of wires of each span but those of two shield wires."""
    wires, pairs = scene.wires, []
    order = np.argsort(wires.span, kind="stable")
    for own in np.split(order, np.flatnonzero(np.diff(wires.span[order])) + 1):
        i, j = np.triu_indices(len(own), 1)
        pairs.append(np.stack([own[i], own[j]]))
    first, second = np.concatenate(pairs, axis=1)
    shields = (wires.kind[first] == "shield").astype(int) + (wires.kind[second] == "shield")
    kind = np.where(shields == 1, 2, (wires.circuit[first] != wires.circuit[second]).astype(int))
    keep = shields < 2
    name = np.array([f"{wires.wire[i]}-{wires.wire[j]}" for i, j in zip(first, second, strict=True)], object)
    return Pairs(first[keep], second[keep], kind[keep], name[keep])


def _things(pairs, kind):
    """Index of each pair, as it is of a kind, among what `_as_obstacles` makes of them."""
    names, index = np.unique(pairs.name.astype(str), return_inverse=True)
    return kind * len(names) + index


def _as_obstacles(pairs):
    """Pairs as what wires come too near: one obstacle for each pair of names and kind."""
    names = np.array(np.unique(pairs.name.astype(str)).tolist() * len(KINDS), object)
    blank = np.full(len(names), np.nan)
    category = np.repeat(np.array(KINDS, object), len(names) // len(KINDS))
    return Obstacles(np.full(len(names), "", object), names, category, np.full(len(names), None, object),
                     np.zeros(len(names), bool), blank, blank, blank, np.full(len(names), "", object))


def _at_rest(scene, pairs, still, iced, count):
    """Compare pairs in the cases in still air; where there is ice, also with either of them bare; where a wire is
    broken, either of them alone.

    The columns are those of `Checked`, and what the other wire was taken to carry.
    """
    parts, told, thing = [], [], _things(pairs, pairs.kind)
    whole = _unbroken(scene)
    for k in still:
        own = scene, k
        states = [(own, own)]
        if scene.cases[k].broken is not None:
            states = [(own, (whole, k)), ((whole, k), own)]
        elif k in iced:
            twin = scene, count + iced.index(k)
            states += [(own, twin), (twin, own)]
        least = _worst(pairs, states)
        above = least[2][..., 2] >= least[3][..., 2]
        parts.append(pairs_checked(pairs, thing, k, np.where(above, "above", "below"),
                                   least[0] - bundles_of(scene, pairs, k), *least[1:5]))
        told.append(_words(scene, pairs, k, least[-1]).ravel())
    return join(parts), np.concatenate(told)


def _words(scene, pairs, k, state):
    """How the other wire was taken to hang, (pair, option); `state` 0 as the case says, 1 it bare, 2 the first bare;
    with a broken wire 0 that it is the first, 1 the other."""
    case = scene.cases[k]
    if case.broken is not None:
        where = f"broken in the span {case.broken}"
        return np.array((f"whole, this wire {where}", f"{where}, this wire whole"), object)[state]
    if case.shield is None:
        return np.array(("in the same state", "bare, this wire iced", "iced, this wire bare"), object)[state]
    kinds = ("phase", "shield")
    told = np.array([[[f"{_carried(case.of(second), dropped=bare == 1)}, this wire "
                       f"{_carried(case.of(first), dropped=bare == 2)}" for bare in range(3)]
                      for second in kinds] for first in kinds], object)
    first, second = ((scene.wires.kind[wire] == "shield").astype(int)[:, None] for wire in (pairs.first, pairs.second))
    return told[first, second, state]


def _carried(case, *, dropped):
    """Words for what wires carry in a case, and their temperature."""
    T = f"its {case.temperature} temperature" if isinstance(case.temperature, str) else f"{case.temperature:g} °C"
    where = " in the spans named" if case.ice_on else {
        "all": "", "each": " in this span alone", "others": " in all spans but this"}.get(
            case.ice_spans, f" in {case.ice_spans} spans")
    where += "" if case.ice_off_wire is None else f" save on {case.ice_off_wire}"
    load = f"with {case.ice_told}{where}" if case.icy and not dropped else "bare"
    return f"{load} at {T}"


def _unbroken(scene):
    """The scene with all wires whole."""
    if not any(case.broken for case in scene.model.cases):
        return scene
    model = replace(scene.model, cases=tuple(case.unbroken() for case in scene.model.cases))
    return replace(scene, model=model).at_temperature(scene.temperature, both=True)


def _worst(pairs, states):
    """Distance (pair, option), share of the first span, points of both wires, whether the first is at its taut end, and
    which of the states is the worst."""
    found, histories = [], histories_of(states[0][0][0], pairs)
    for (mine, theirs), (own, other, apart) in product(states, histories):
        *first, taut = mine[0].after(own, pairs.first, mine[1])
        a, b = Curve(*first), Curve(*theirs[0].after(other, pairs.second, theirs[1])[:3])
        least = least_between(a, b)
        points = [wire.at(share[..., None])[..., 0, :] for wire, share in ((a, least.first), (b, least.second))]
        found.append((np.where(apart[:, None], np.inf, least.distance), least.first, *points, taut))
    least, worst = worst_of_states(found)
    return *least, worst // len(histories)


def _rows(scene, pairs, checked, told):
    """Rows of `clearances` of compared wires, and the gaps of those without a distance or a rule."""
    scene = replace(scene, obstacles=_as_obstacles(pairs))
    known = np.isfinite(checked.actual)
    gaps = [_gap(scene, checked, row, "one of the two wires hangs nowhere in this case, or with unequal ice")
            for row in np.flatnonzero(~known)]
    checked = take(checked, known)
    columns, kept, unruled = assess(scene, checked)
    columns["other_state"] = told[known][unruled == ""]
    # Both wires rise and sink with the band: what the margin does then is not worked out.
    other = dict(zip(zip(pairs.first, pairs.name, strict=True), pairs.second, strict=True))
    second = np.array([other[pair] for pair in zip(kept.wire, columns["obstacle"], strict=True)], int)
    columns["bundle_m"] = sum(scene.reach.around[wire, kept.option, kept.case] for wire in (kept.wire, second))
    columns["margin_low_m"] = columns["margin_high_m"] = np.full(len(kept.wire), np.nan)
    lone = {}
    for row in np.flatnonzero(unruled != ""):
        gap = _gap(scene, checked, row, unruled[row])
        lone.setdefault((gap.span, gap.against, gap.reason), gap._replace(wire=None, option=None, case=None,
                                                                          obstacle=None))
    return columns, gaps + list(lone.values())


def bundles_of(scene, pairs, case):
    """Return how far the bundles of both wires of pairs reach about their middles, (pair, option) [m]."""
    around = scene.reach.around[:, :, case]
    return around[pairs.first] + around[pairs.second]


def _gap(scene, checked, row, reason):
    wires, o, k = scene.wires, checked.option[row], checked.case[row]
    thing, w = checked.obstacle[row], checked.wire[row]
    return Gap(int(wires.span[w]), wires.wire[w], scene.options[o].name, scene.cases[k].name,
               scene.obstacles.category[thing], scene.obstacles.obstacle[thing], reason)
