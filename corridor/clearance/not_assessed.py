"""What should have been compared and was not, and why: every such pair is a row of `not_assessed`."""

from typing import NamedTuple

import numpy as np
import shapely

from corridor.arrays import names_of
from corridor.clearance import rules as rule_tables
from corridor.clearance.findings import against_of, obstacle_name
from corridor.clearance.footprints import Footprints
from corridor.clearance.ground import unknown_share
from corridor.clearance.right_of_way import reach_of
from corridor.clearance.swung_wires import PARTLY
from corridor.clearance.v_strings import arm_gaps

__all__ = ["HOLE_ASIDE", "HOLE_BESIDE", "NO_RULE", "NO_TOP", "Gap", "faulty_obstacles", "lost_on_the_way",
           "missing_rows", "unmatched_gaps", "unruled_things", "unswung"]

#: How the reason begins why a thing is not assessed that no rule is for.
NO_RULE = "the rules hold none"
#: Why a thing below a wire is not assessed whose top is unknown there.
NO_TOP = ("the top of the object is unknown: it has neither an elevation of its own nor ground and a height at this "
          "place")
#: Why the ground below a wire is not assessed that is known below the same wire at rest.
HOLE_ASIDE = "the ground raster has no values below part of the wire, which its strings hold aside of where it rests"
#: Why the ground beside a wire is not assessed.
HOLE_BESIDE = "the ground raster has no values beside part of the wire, nearer than the ground that is known"
#: Force across a string below which it is in balance, as solved for [N].
BALANCED = 0.01
#: Obstacles within this distance of a span belong to it [m].
NEAR = 60.0


class Gap(NamedTuple):
    """One thing not assessed: span index, names (None for all), and the reason."""

    span: int
    wire: str | None
    option: str | None
    case: str | None
    against: str | None
    obstacle: str | None
    reason: str


def missing_rows(around, compared, unruled, unmatched):
    """Return every gap of a batch of spans.

    Parameters
    ----------
    around : Around
    compared : Compared
    unruled : ndarray of str
        Why a compared row has no requirement, "" where it has one.
    unmatched : list of (span, wire, reason)
    """
    scene, crossed = around.scene, around.crossed
    still = np.array([k for k, case in enumerate(scene.cases) if case.wind == 0 and "vertical" in case.checks], int)
    gaps = unmatched_gaps(unmatched)
    gaps += _unknown_ends(scene) + _unsolved(scene, around.shield_known) + _lifted_at_rest(scene)
    gaps += [Gap(*where, None, None, reason) for *where, reason in arm_gaps(scene)]
    gaps += _unknown_ground(scene, around.below, still)
    gaps += _unknown_tops(scene, crossed, still)
    gaps += _unruled(scene, compared.checked, unruled, crossed)
    gaps += _unknown_points(scene, around.index, around.tops, around.things)
    # Where strings hold a wire aside of its rest, and beside it, it may meet again what is unknown below it.
    again, twice = lost_on_the_way(scene, compared), (HOLE_ASIDE, HOLE_BESIDE)
    told = {gap[:1] + gap[2:5] for gap in (*gaps, *again) if gap.reason not in twice}
    again = [gap for gap in again if gap.reason not in twice or gap[:1] + gap[2:5] not in told]
    return list(dict.fromkeys([*gaps, *again]))


def lost_on_the_way(scene, compared):
    """Return the gaps of what could not be compared where wires hang in the states that were looked at."""
    return [*([] if compared.swept is None else _swept(scene, compared.swept)), *compared.gaps]


def unmatched_gaps(unmatched):
    """Return the gaps of wires that hang at one end of a span only, (span, wire, reason)."""
    return [Gap(span, wire, None, None, None, None, reason) for span, wire, reason in unmatched]


def _unknown_ends(scene):
    wires, spans = scene.wires, scene.spans
    gaps = []
    for point, ends in ((wires.start, spans.tail), (wires.end, spans.head)):
        for w in np.flatnonzero(np.isnan(point[:, 2])):
            name = scene.structures.structure[ends[wires.span[w]]]
            gaps.append(Gap(wires.span[w], wires.wire[w], None, None, None, None,
                            f"the base elevation of structure {name} is unknown: it has none of its own and "
                            "the ground raster has no value there"))
    return gaps


def _unsolved(scene, shield_known):
    """Wires without a tension, by option and case."""
    wires = scene.wires
    options, cases = names_of(scene.options), names_of(scene.cases)
    gaps = []
    shield = np.array([kind == "shield" for kind in wires.kind])
    if not shield_known:
        gaps += [Gap(wires.span[w], wires.wire[w], None, None, None, None,
                     "the study names no conductor for shield wires ([shield_wire])")
                 for w in np.flatnonzero(shield)]
    else:
        shield[:] = False
    unsolved = _unhung(scene)
    if scene.taut is not None:
        unsolved |= _unhung(scene.taut)
    unsolved &= ~shield[:, None, None]
    # Where an end is unknown, that is the reason, and it has been told.
    unsolved &= np.isfinite(wires.start[:, 2] + wires.end[:, 2])[:, None, None]
    for w, o, k in np.argwhere(unsolved):
        gaps.append(Gap(wires.span[w], wires.wire[w], options[o], cases[k], None, None,
                        _why_unsolved(scene, w, o, k, cases[k])))
    return gaps


def _unhung(scene):
    return np.isnan(scene.hung.horizontal_tension + scene.tensed.horizontal_tension).any(axis=-1)


def unswung(scene, cases):
    """Return the gaps of wires that find no equilibrium on the way to their full swing, in some windy cases, or whose
    swing is not known."""
    if not len(cases):
        return []
    shape = len(scene.wires), len(scene.options), len(scene.cases)
    partly, unknown = (v.reshape(shape)[:, :, cases] for v in (scene.ways.partly, ~scene.ways.hangs))
    # What has no tension, or ends where it is not known, has been told.
    unknown &= np.isfinite(scene.hung.horizontal_tension[:, :, cases]).all(axis=-1)
    unknown &= np.isfinite(scene.temperature[:, :, cases])
    unknown &= np.isfinite(scene.wires.start[:, 2] + scene.wires.end[:, 2])[:, None, None]
    return [Gap(int(scene.wires.span[w]), scene.wires.wire[w], scene.options[o].name, scene.cases[cases[k]].name, None,
                None, PARTLY if partly[w, o, k] else _why_unknown(scene, w))
            for w, o, k in np.argwhere(partly | unknown)]


def _why_unknown(scene, w):
    """Why it is not known how a wire swings that hangs between known ends: what its strings hold beyond them."""
    spans, span = scene.spans, scene.wires.span[w]
    beyond = [spans.tail[span] - 1, spans.head[span] + 1]
    names = [scene.structures.structure[i] for i in beyond
             if 0 <= i < len(scene.base_elevation) and np.isnan(scene.base_elevation[i])]
    return ("how far its strings swing is unknown: they hold the wire of the next span too, and the base elevation of "
            f"structure {' and of '.join(names)} is unknown")


def _why_unsolved(scene, w, o, k, case):
    strung, g = scene.strung, scene.group[w]
    if np.isnan(strung.temperature[g, o, k]):
        return f"the option has no emergency temperature, which case {case} asks for"
    if np.isnan(strung.excess[g, o]):
        return f"the stringing limits leave no tension at which the section can hang{strung.unmet[g, o]}"
    if np.isnan(strung.horizontal_tension[g, o, k]):
        return f"no tension found for the ruling span: strain residual {strung.residual[g, o, k]:.1e}"
    if not scene.exact[w]:
        return ("uneven ice, or a broken wire, needs the exact equilibrium of the section, for which the base of a "
                "structure is unknown")
    return _why_no_balance(scene, w, o, k)


def _why_no_balance(scene, w, o, k):
    """Reason why a section has no equilibrium: where forces are left across strings, and what [N]."""
    model, (run, place) = scene.model, (int(v) for v in scene.model.place_of(scene.row[w]))
    if np.isnan(model.unstressed[run, o, place]):
        left = model.clipped.left[run, o]
        if np.isnan(left).all():
            return "no tension found for the ruling span in the state that wires are clipped in"
        name = scene.structures.structure[model.structure_at(run, int(np.nanargmax(left)))]
        return f"no balance found where wires are clipped in: {np.nanmax(left):.2g} N left across a string at {name}"
    # In a case by span other spans of the section are in other states.
    rows = model.runs.row[run, : model.runs.count[run]] if not scene.cases[k].by_span else [w]
    lost = next(each for each in scene.both_ends[::-1] if each is scene or _unhung(each)[w, o, k])
    left = np.max(lost.hung.residual[rows, o, k], axis=-1)
    if np.isnan(left).all():
        return "no equilibrium of the section found: forces of its wires grew beyond all bounds"
    worst = int(np.nanargmax(left))
    if left[worst] <= BALANCED:
        return "no equilibrium of the section found: strings that wires lift neither hang slack nor are drawn"
    name = scene.spans.name[scene.wires.span[rows[worst]]]
    return f"no equilibrium of the section found: {left[worst]:.2g} N left across a string of span {name}"


def _lifted_at_rest(scene):
    """Strings that wires lift where they are clipped in, a state that no case shows."""
    model, gaps = scene.model, []
    if model.clipped is None:
        return gaps
    for run, o, node in np.argwhere(model.clipped.lifted):
        row, last = model.runs.row[run], model.runs.count[run] - 1
        sides = (row[max(node - 1, 0)], 1 if node else 0), (row[min(node, last)], 0 if node <= last else 1)
        if any(scene.hung.lifted[w, o, ..., end].any() for w, end in sides):
            continue
        name = scene.structures.structure[model.structure_at(run, node)]
        above = model.clipped.end[run, o, node, 2] - model.plumb_height(run, node)
        T = model.clipped_at[model.group[run], o]
        reason = (f"wires lift the string at structure {name} by {above:.2f} m where they are clipped in, bare "
                  f"at {T:g} °C, and no case shows it: one of that state tells what it comes to")
        gaps += [Gap(scene.wires.span[wire], scene.wires.wire[wire], scene.options[o].name, None, None, None, reason)
                 for wire in dict.fromkeys(wire for wire, _ in sides)]
    return gaps


def _unknown_ground(scene, below, still):
    wires, spans = scene.wires, scene.spans
    share = unknown_share(below)
    known_ends = np.isfinite(wires.start[:, 2] + wires.end[:, 2])
    gaps = []
    for span in np.unique(wires.span[known_ends & (share > 0)]):
        rows = np.flatnonzero((wires.span == span) & known_ends & (share > 0))
        names = ", ".join(wires.wire[rows])
        worst = (share * wires.length)[rows].max()
        reason = f"the ground raster has no values below {worst:.1f} m of the {spans.length[span]:.1f} m span"
        gaps += [Gap(span, names, option, scene.cases[k].name, "ground", None, reason)
                 for option in names_of(scene.options) for k in still]
    return gaps


def _unknown_tops(scene, crossed, still):
    """Objects below a wire whose top is unknown somewhere there."""
    wires, obstacles = scene.wires, scene.obstacles
    against = against_of(crossed.obstacle, obstacles)
    name = obstacle_name(crossed.obstacle, obstacles)
    seen, gaps = set(), []
    for r in crossed.unknown:
        span = wires.span[crossed.wire[r]]
        if (span, crossed.obstacle[r]) in seen:
            continue
        seen.add((span, crossed.obstacle[r]))
        gaps += [Gap(span, None, option, scene.cases[k].name, against[r], name[r], NO_TOP)
                 for option in names_of(scene.options) for k in still]
    return gaps


def _unruled(scene, checked, unruled, crossed):
    """Things that a wire meets or comes near to, and that no rule of the table is for."""
    wires, obstacles = scene.wires, scene.obstacles
    options, cases = names_of(scene.options), names_of(scene.cases)
    against, name = against_of(checked.obstacle, obstacles), obstacle_name(checked.obstacle, obstacles)
    gaps = [Gap(wires.span[checked.wire[r]], wires.wire[checked.wire[r]], options[checked.option[r]],
                cases[checked.case[r]], against[r], name[r], unruled[r]) for r in np.flatnonzero(unruled != "")]
    return gaps + unruled_things(scene, wires.span[np.r_[crossed.wire, checked.wire]],
                                 np.r_[crossed.obstacle, checked.obstacle])


def unruled_things(scene, span, obstacle):
    """Return the gaps of things that wires of spans meet and no rule of any measure is for; both (row,)."""
    span, thing = np.unique(np.stack([span, obstacle]), axis=1)
    against, name = against_of(thing, scene.obstacles), obstacle_name(thing, scene.obstacles)
    ruled = rule_tables.has_any_rule(scene.rules, against)
    return [Gap(span[r], None, None, None, against[r], name[r], f"{NO_RULE} for {against[r]}")
            for r in np.flatnonzero(~ruled & (thing >= 0))]


def _unknown_points(scene, index, tops, things):
    """Objects near a span that a radial or horizontal rule is for, or the electrical distance, and that could not be
    compared."""
    reason = _why_not(index, things, tops)
    lacking = np.flatnonzero(reason)
    if not len(lacking):
        return []
    line = scene.structures.lines(scene.spans.tail, scene.spans.head)
    # A wanted object is looked for among those that lack something alone: of the others there may be very many.
    span, at = Footprints(shapely.force_2d(index.part[lacking]), index.obstacles.radius[index.of_part[lacking]]).query(
        line, "dwithin", reach_of(scene, np.arange(len(scene.cases))))
    part = lacking[at]
    order = np.lexsort((part, span))
    span, part = span[order], part[order]
    against = against_of(index.of_part[part], scene.obstacles)
    names = obstacle_name(index.of_part[part], scene.obstacles)
    gaps = {}
    for s, a, n, why in zip(span, against, names, reason[part], strict=True):
        gaps.setdefault((s, n, why), Gap(s, None, None, None, a, n, why))
    return list(gaps.values())


def _why_not(index, things, tops):
    """Reason why each part could not be compared by a rule that is for it, "" where it could."""
    vertical, horizontal, radial = (things.has(measure) for measure in rule_tables.MEASURES)
    lone = things.lacks("radial") & things.stands
    point = shapely.get_type_id(index.part) == 0
    thin = point & ~(index.obstacles.radius[index.of_part] > 0)
    unknown = (radial | horizontal | lone) & np.isnan(tops)
    return np.select([radial & ~point, unknown, vertical & ~radial & thin], [
        "radial clearance is computed to points only, not to lines and areas",
        "the top of the object is unknown: no elevation of its own, no height, or no ground at its foot",
        "a point without a radius is never below a wire: it needs a radius, or a radial rule"], "").astype(object)


def _swept(scene, swept):
    """What the swing of wires leaves open, once per span, option, case and thing."""
    wires, options, cases = scene.wires, names_of(scene.options), names_of(scene.cases)
    thing = np.array([each.obstacle for each in swept.lost], int)
    against, name = against_of(thing, scene.obstacles), obstacle_name(thing, scene.obstacles)
    ruled = rule_tables.has_any_rule(scene.rules, against)
    gaps = {}
    for each, a, n, has in zip(swept.lost, against, name, ruled, strict=True):
        reason = each.reason or (None if has else f"{NO_RULE} for {a}")
        gap = Gap(wires.span[each.wire], None, options[each.option], cases[each.case], a, n, reason)
        if reason:
            gaps.setdefault(gap)
    return list(gaps)


def faulty_obstacles(spans, structures, obstacles):
    """Return the gaps of obstacles that cannot be assessed at all, at the spans they lie near.

    Parameters
    ----------
    spans : Spans
    structures : Structures
    obstacles : Obstacles

    Returns
    -------
    list of Gap
        `span` is -1 for an obstacle without a place. Faulty obstacles far from every span are left out.
    """
    faulty = np.flatnonzero(obstacles.fault != "")
    tree, gaps = shapely.STRtree(structures.lines(spans.tail, spans.head)), []
    for o in faulty:
        shape = obstacles.geometry[o]
        placed = shape is not None and not shape.is_empty
        near = tree.query(shapely.envelope(shape), predicate="dwithin", distance=NEAR) if placed else [-1]
        gaps += [Gap(int(s), None, None, None, obstacles.category[o], obstacles.obstacle[o], obstacles.fault[o])
                 for s in near]
    return gaps
