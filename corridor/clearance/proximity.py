"""How near wires come to all that is about them: every measure, of every case that asks for it.

What lies about the wires of a scene is looked up once (`surroundings`), and wires are held against it in whatever state
they hang (`compare`): findings, limits and all that is made of these ask here.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import shapely

from corridor.arrays import join, take
from corridor.clearance import right_of_way as way
from corridor.clearance import rules as rule_tables
from corridor.clearance.beside_lines import lines_beside, near_lines
from corridor.clearance.beside_things import beside_things
from corridor.clearance.both_ends import (
    beside_others,
    every_when_taut,
    less_favourable,
    one_of_both,
    swept_at_either,
    taut_part,
)
from corridor.clearance.checked import Checked
from corridor.clearance.crossings import (
    Crossed,
    ObstacleIndex,
    cross,
    ground_as_crossed,
    ground_below,
    middles,
    part_tops,
)
from corridor.clearance.findings import against_of
from corridor.clearance.ground_blocks import BlocksAbout
from corridor.clearance.held_aside import ASIDE, Below, beside_rest
from corridor.clearance.near_shapes import near_shapes
from corridor.clearance.not_assessed import Gap, unswung
from corridor.clearance.other_lines import BothSides, as_swept, both_sides, in_hot_case, past_others, sides, states_of
from corridor.clearance.required_room import corners_of, required_of, vertical_room
from corridor.clearance.ruled_things import RuledThings
from corridor.clearance.scene import Scene
from corridor.clearance.slopes import beside_ground
from corridor.clearance.study_lines import Partners
from corridor.clearance.sweep import Swept, sweep
from corridor.clearance.trees import REACH, fall_gaps, fall_in, feet_of, near_points, tallest
from corridor.clearance.vertical import past_in_still_air
from corridor.geometry.distance import Rows, take_rows
from corridor.line.facts import RightOfWay

__all__ = ["Around", "Compared", "compare", "surroundings"]

#: About how much of a comparison is done after things beside wires, and after wires through their blow: on the demo.
_SIDEWAYS, _SWEPT = 0.1, 0.75
#: What no rule is for is compared as far as this beyond the electrical distance [m].
MARGIN = 5.0


@dataclass(frozen=True)
class Around:
    """What lies about the wires of a scene.

    `index` of obstacles; `right_of_way`; `ground` knows elevations; `partners` whom each obstacle is for; `below` the
    ground under each wire span; `crossed` what they cross, with its `side` (row of crossed,), 1 where the wire passes
    above; `in_wind` what they pass on either side as they swing; `tops` (part,) elevation of the parts that a radial
    or horizontal rule is for, or that fall [m]; `shield_known` whether shield wires have a conductor; `own_wires`
    whether wires of the same structures are compared; `blocks` of the ground; `things` that rules are for."""

    scene: Scene
    index: ObstacleIndex
    right_of_way: RightOfWay
    ground: object
    partners: Partners
    below: Rows
    crossed: Crossed
    side: np.ndarray
    in_wind: BothSides
    tops: np.ndarray
    shield_known: bool
    own_wires: bool
    blocks: BlocksAbout
    things: RuledThings

    @cached_property
    def beside_others(self):
        """True for the wires (wire span,) that may be nearer to something at either end of their history."""
        return beside_others(self)

    def side_of(self, wire, obstacle, place):
        """Return 1 where wires pass above obstacles, -1 below, as they do at the nearest place at rest [-]; what is not
        crossed at rest is passed as other wires of the span do."""
        key, wanted = (w * len(self.index.obstacles) + o for w, o in ((self.crossed.wire, self.crossed.obstacle),
                                                                      (wire, obstacle)))
        here = middles(self.crossed.rows)
        order = np.lexsort((here, key))
        at = np.searchsorted((4.0 * key + here)[order], 4.0 * wanted + place)
        side = np.where(self._below_others(wire, obstacle), -1.0, 1.0)
        off = np.full(len(wanted), np.inf)
        for step in (-1, 0) if len(order) else ():
            row = order[np.clip(at + step, 0, len(order) - 1)]
            away = np.where(key[row] == wanted, np.abs(here[row] - place), np.inf)
            side, off = np.where(away < off, self.side[row], side), np.minimum(away, off)
        return side

    def _below_others(self, wire, obstacle):
        """Whether any wire of the span of each passes below an obstacle at rest."""
        return np.isin(self.scene.wires.span[wire] * len(self.index.obstacles) + obstacle, self.in_wind.keys)

    def passes(self, wire, obstacle):
        """Return whether wires pass obstacles of `in_wind` along their swing: on the side on which they do so at rest;
        what is not crossed at rest is passed as other wires of the span do."""
        below, thing = self.in_wind.below[obstacle], self.in_wind.origin[obstacle]
        wanted, own = (w * len(self.index.obstacles) + o for w, o in (
            (wire, thing), (self.crossed.wire, self.crossed.obstacle)))
        there = np.where(below, *(np.isin(wanted, own[self.side == side]) for side in (-1, 1)))
        return np.where(np.isin(wanted, own), there, self._below_others(wire, thing) == below)

    def part(self, scene, keep):
        """Return what lies about some wires alone; `keep` their numbers, ascending, `scene` that of these wires."""
        place = np.full(len(self.scene.wires), -1)
        place[keep] = np.arange(len(keep))
        rows = np.flatnonzero(place[self.crossed.wire] >= 0)
        crossed = self.crossed.take(rows)
        crossed = replace(crossed, wire=place[crossed.wire])
        return replace(self, scene=scene, below=take_rows(self.below, keep), crossed=crossed, side=self.side[rows])


@dataclass(frozen=True)
class Compared:
    """What a comparison comes to: `checked` the least of each span, option, case, thing and measure; `swept` the wires
    in wind, None without one; `gaps` what could not be compared on the way."""

    checked: Checked
    swept: Swept | None
    gaps: tuple[Gap, ...]


def surroundings(facts, scene, ground, partners):
    """Return what lies about the wires of a scene.

    Parameters
    ----------
    facts : Facts
    scene : Scene
    ground : Ground
    partners : Partners
        Whom each obstacle is for.

    Returns
    -------
    Around
    """
    wires, index = scene.wires, facts.index
    below = ground_below(wires, ground).rows
    crossed = cross(wires, index, below, ground.sample)
    crossed = crossed.take(np.flatnonzero(partners.meet(wires.span[crossed.wire], crossed.obstacle)))
    still = np.flatnonzero([case.wind == 0 for case in facts.cases])
    rest = slice(None), facts.reference, still
    ends = take(scene.ends, rest)
    side = sides(wires, crossed, scene.constant[rest], index.obstacles, still, ends)
    things = RuledThings(scene.rules, index)
    tops = part_tops(index, ground.sample, _wanted(scene, index, things))
    return Around(scene, index, facts.right_of_way, ground, partners, below,
                  in_hot_case(wires, crossed, side, index.obstacles, facts.cases), side,
                  both_sides(index, wires.span, crossed, side), tops, facts.shield is not None,
                  facts.own_wires is not None, BlocksAbout(ground), things)


def _wanted(scene, index, things):
    """True for the parts near these wires whose top is asked for by a radial or horizontal rule."""
    ruled = things.has("radial") | things.has("horizontal") | things.falling | things.stands
    ends = np.concatenate([scene.wires.start[:, :2], scene.wires.end[:, :2]])
    reach = way.reach_of(scene, np.arange(len(scene.cases))) + tallest(index, things.falling)
    low, high = np.nanmin(ends, axis=0) - reach, np.nanmax(ends, axis=0) + reach
    near = np.zeros(len(ruled), bool)
    near[index.tree.query(shapely.box(*low, *high))] = True
    return ruled & near


def compare(around, cases=None, *, beyond=MARGIN, tell=None):
    """Return how near wires come to what is about them.

    Parameters
    ----------
    around : Around
    cases : ndarray of int, optional
        The cases that are looked at; default: all.
    beyond : float, optional
        How far beyond what is required distances in space to things are told, at most [m]; None: heights and distances
        sideways alone are looked for.
    tell : callable, optional
        `tell(share)` of the work that is done, 0 to 1.

    Returns
    -------
    Compared
    """
    scene, tell = around.scene, tell or (lambda share: None)
    cases = np.arange(len(scene.cases)) if cases is None else cases
    taut = taut_part(around)
    parts = _sideways(around, cases, taut)
    tell(_SIDEWAYS)
    swept = _swept(around, cases, lambda share: tell(_SIDEWAYS + share * (_SWEPT - _SIDEWAYS)))
    swung = _asked(scene, cases, True, "vertical", "horizontal")
    gaps = [gap for each in scene.both_ends for gap in unswung(each, swung)]
    looks = [_upright(around, cases)]
    if beyond is not None:
        looks += [_near_things(around, cases, taut, beyond), _beside_ground(around, cases)]
    for found, lost in looks:
        parts += found
        gaps += lost
    parts += [] if swept is None else [swept.checked]
    checked = join(parts)
    met = around.partners.meet(scene.wires.span[checked.wire], checked.obstacle, checked.option)
    return Compared(take(checked, met), swept, tuple(gaps))


def _asked(scene, cases, windy, *checks):
    """Those of the cases with or without wind in which any of some checks is asked for."""
    return np.array([k for k in cases if (scene.cases[k].wind > 0) == windy and {*checks} & {*scene.cases[k].checks}],
                    int)


def _upright(around, cases):
    """Compare wires in still air with the ground, and with what they cross; and what is not known there."""
    scene, crossed, obstacles = around.scene.lowest, around.crossed, around.index.obstacles
    wires, depth = scene.wires, scene.depth
    vertical = _asked(scene, cases, False, "vertical")
    ruled = around.things.kept_clear("vertical")
    far = (np.abs(scene.aside) > ASIDE).any(axis=-1)[:, :, vertical].any(axis=(1, 2))
    leans = np.isin(wires.span, wires.span[far])
    chosen, stated = ruled[crossed.obstacle] & ~leans[crossed.wire], states_of(obstacles)[crossed.obstacle]
    things_below = Below(around.ground, around.index, ruled, around.side_of, around.partners.meet)
    things, others = np.flatnonzero(chosen & ~stated), np.flatnonzero(chosen & stated)
    gaps = []

    def met(those, _):
        """What is above or below wires at one end of their history."""
        constant = np.where(leans[:, None, None], np.nan, those.constant)
        aside, lost = beside_rest(those, leans, vertical, things_below)
        gaps.extend(lost)
        how = constant, vertical, those.ends, depth
        return join([past_in_still_air(those, ground_as_crossed(around.below), np.ones(len(wires)), *how),
                     past_in_still_air(those, crossed.take(things), around.side[things], *how),
                     *past_others(those, crossed.take(others), around.side[others], obstacles, *how), *aside])

    return [less_favourable(scene, every_when_taut(scene), met)], list(dict.fromkeys(gaps))


def _sideways(around, cases, taut):
    """Compare swung wires with the right-of-way, and along their swing with what stands beside them."""
    scene, land = around.scene, around.right_of_way
    sideways = np.sort(np.r_[_asked(scene, cases, True, "horizontal"), _asked(scene, cases, False, "horizontal")])
    if not len(sideways):
        return []
    parts, every = [], every_when_taut(scene)
    if land.half_width is not None or land.polygon is not None:
        parts.append(less_favourable(scene, every, lambda some, _: way.within_right_of_way(
            way.all_swings(some, land, sideways), some.wires, some.spans, some.structures, land, sideways,
            some.reach.aside[:, :, sideways])))
    ruled, above, theirs = around.things.has("horizontal"), vertical_room(around), around.things.lines
    parts += _beside_lines(around, ruled & theirs & ~np.isnan(around.tops), above, cases, taut)
    room = np.where(ruled & ~theirs, around.tops + above, np.nan)
    if not np.isfinite(room).any():
        return parts
    corners = corners_of(around, sideways)
    parts.append(less_favourable(scene, every, lambda some, _: beside_things(
        some.lowest, around.index, sideways, room, corners, some.reach.aside[:, :, sideways])))
    return parts


def _beside_lines(around, chosen, above, cases, taut):
    """Compare wires, along their swing in wind, with the wires of other lines that a horizontal rule is for."""
    scene, index, sample, parts = around.scene, around.index, around.ground.sample, []
    for windy in (True, False):
        some = _asked(scene, cases, windy, "horizontal")
        if chosen.any() and len(some):
            # Of what is not known how much all is looked at, and told.
            asked = [required_of(around, "horizontal", scene.cases[k])[1] for k in some]
            beside = np.nan_to_num(np.stack(asked, axis=1), nan=way.REACH)
            parts.append(less_favourable(scene, taut, lambda those, _, some=some, beside=beside: lines_beside(
                those, index, sample, around.partners, some, chosen, beside, above)))
    return parts


def _swept(around, cases, tell):
    """Compare wires along their swing with what is below, in the windy cases that ask for it; None where none does."""
    scene, meet, wind = around.scene, around.partners.meet, around.in_wind
    windy = _asked(scene, cases, True, "vertical")
    if not len(windy):
        return None
    below, ruled = wind.below, around.things.kept_clear("vertical")[wind.origin]
    swept, side = as_swept(wind.index, below, windy), np.where(below, -1.0, 1.0) * ruled
    ends, both = scene.both_ends, []
    for number, each in enumerate(ends, start=1):
        both.append(sweep(each.lowest, swept, around.ground, windy, side, around.passes))
        tell(number / len(ends))
    found = both[0]
    for other in both[1:]:
        found = swept_at_either(scene, found, other)
    found = one_of_both(scene, found, wind.origin)
    keep = meet(scene.wires.span[found.checked.wire], found.checked.obstacle, found.checked.option)
    lost = tuple(each for each in found.lost if meet(scene.wires.span[each.wire], each.obstacle, each.option))
    return replace(found, checked=take(found.checked, keep), swung=take(found.swung, keep), lost=lost)


def _near_things(around, cases, taut, beyond):
    """Compare wires in space, along their swing in wind, with what is near them and with trees that fall; and what is
    left open. A clearance of whatever measure is reason enough to ask for that in space."""
    scene, index, tops, things = around.scene, around.index, around.tops, around.things
    still, windy = (_asked(scene, cases, some, "vertical", "horizontal") for some in (False, True))
    lone = things.lacks("radial") & things.stands & ~np.isnan(tops)
    lines, every = things.lines & ~things.points, every_when_taut(scene)
    theirs = lone & things.lines
    parts, reach = [], beyond + max(_floor(scene), _floor(scene, tops[theirs], index.obstacles.voltage[
        index.of_part[theirs]]))
    ruled = things.has("radial") & ~np.isnan(tops)
    far, within = _as_far(around, cases, ruled, beyond)
    points, shapes, sample = lone & things.points, lone & ~lines & ~things.points, around.ground.sample
    for some in filter(len, (windy, still)):
        looks = [(points, lambda those, _, some=some: near_points(those, index, some, tops, points, reach, reach)),
                 (shapes, lambda those, _, some=some: near_shapes(those, index, sample, some, tops, shapes, reach))]
        near = [less_favourable(scene, every, look) for chosen, look in looks if chosen.any()]
        parts += [take(each, each.actual <= reach) for each in near]
        if ruled.any():
            parts.append(less_favourable(scene, every, lambda those, _, some=some: near_points(
                those, index, some, tops, ruled, far, within)))
        parts.append(less_favourable(scene, taut, lambda those, known, some=some: near_lines(
            those, index, sample, around.partners, some, lone & lines, reach, known)))
    falling = things.falling
    if not falling.any():
        return parts, []
    feet = feet_of(index, tops, around.ground.sample, falling & ~np.isnan(tops))
    against, fall = rule_tables.falling_rule(scene.rules, against_of(index.of_part, index.obstacles))
    fall &= np.isfinite(tops - feet)
    far, _ = _as_far(around, cases, fall, beyond, against)
    parts += [less_favourable(scene, every, lambda those, _, some=some: fall_in(
        those, index, some, tops, feet, fall, far)) for some in (windy, still) if len(some)]
    return parts, fall_gaps(scene, index, tops, feet, falling)


def _as_far(around, cases, chosen, beyond, against=None):
    """How far off in plan points are looked for, and within which distance in space [m]: no less than any rule asks for
    and so much beyond; where that is all that is told, as far as `REACH` and whatever the distance."""
    some = np.flatnonzero(chosen)
    most = max((float(np.nanmax(required_of(around, "radial", around.scene.cases[k], against, some)[1], initial=0.0))
                for k in cases), default=0.0) + beyond
    return (most, most) if beyond < MARGIN else (max(REACH, most), np.inf)


def _beside_ground(around, cases):
    """Compare wires in space with the ground; and what is not known of it."""
    scene, gaps, every = around.scene, [], every_when_taut(around.scene)

    def near(those, _):
        found, lost = beside_ground(those, around.ground, cases, _floor(scene), around.blocks)
        gaps.extend(lost)
        return join(found) if found else None

    found, other = near(scene, None), None if every is None else near(every.scene, None)
    if found is None or other is None:
        return [found] if found is not None else [], gaps
    return [less_favourable(scene, every, lambda those, _: found if those is scene else other)], gaps


def _floor(scene, tops=(), voltage=()):
    """Electrical distance at our voltage or that of other lines [V], or the greatest that is known, in the air up there
    [m]: how far things are looked for that no rule is for goes with it."""
    distance = rule_tables.electrical_distance(np.r_[scene.voltage, voltage] / 1e3, "D_pp")
    height = np.nanmax(np.concatenate([scene.wires.start[:, 2], scene.wires.end[:, 2], tops]), initial=0.0)
    return float(np.nan_to_num(distance, nan=rule_tables.greatest_distance()).max() * (
        1 + rule_tables.thin_air(height)))
