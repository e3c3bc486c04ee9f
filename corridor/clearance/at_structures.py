"""What strings and the wires on them clear of the structure that they hang from, at any swing of a case.

The body of a structure is told by planes about the point where a string hangs: so far left and right of it along the
crossarm, below and above. The end of the string carries the wire. Its distance from the nearest of the planes that are
given is held against the rules' distance from `own_structure`, else against the electrical distance to earth.
"""

from typing import NamedTuple

import numpy as np

from corridor.clearance import rules as rule_tables
from corridor.clearance.capacity import NOT_GIVEN
from corridor.clearance.not_assessed import Gap
from corridor.clearance.swings import at_either_end, string_places

__all__ = ["BODY", "FAILED", "SIDES_OF_BODY", "body_gaps", "body_rows", "required_of_body"]

#: What the body of a structure is called in rules and in `against`.
BODY = "own_structure"
PASSED, FAILED, NOT_ASSESSED = "passed", "failed", "not assessed"
#: Sides on which the body may stand, as in the columns `window_...` of framings.
SIDES_OF_BODY = ("left", "right", "below", "above")


class _Windows(NamedTuple):
    """What framings tell of rows: `window` (row, side) [m] and `limit` (row,) [deg], nan where it is not given;
    `swings` aside and `held` (row,) for the kinds of strings."""

    window: np.ndarray
    limit: np.ndarray
    swings: np.ndarray
    held: np.ndarray


def body_rows(scene, framings, ends, slack):
    """Return what wires clear of their own structures, as columns of shape (row, option, case).

    Parameters
    ----------
    scene : Scene
    framings : Framings
    ends : object
        Ends of wires put together at structures: `structure`, `wire`, `kind` (row,), `of_end` (end,), and
        `of_both(values)` of both ends at a string.
    slack : ndarray of bool, shape (row, option, case)
        Where an arm of a V-string does not pull: where its wire hangs is not known.

    Returns
    -------
    dict of ndarray
        Maximum swing to each side over the wind from either, at both ends of histories [deg], by how much that is more
        than the existing wire's; distance from the nearest plane, what is required and the margin [m]; and the outcome,
        None for wires that are held or earthed, and in cases that ask for the tension alone. With a broken wire a
        string leans along the line, out of what planes about its point tell: nothing is said of it there.
    """
    told = _windows(framings, scene.structures.framing[ends.structure], ends.wire)
    broken = np.array([case.broken is not None for case in scene.cases])[:, None]
    places = at_either_end(scene, lambda some: np.stack([ends.of_both(each) for each in string_places(some)], axis=-1))
    right, drop = np.moveaxis(np.where(broken[..., None], np.nan, places), -1, 0)
    swing = np.degrees(np.arctan2(right, drop))
    swing[~told.swings] = np.nan
    to_left, to_right = (-swing).max(axis=-1), swing.max(axis=-1)
    actual, side = _nearest(told.window, right, drop, _reaches(scene, ends))
    rule, required = required_of_body(scene, scene.base_elevation[ends.structure])
    given = np.isfinite(told.window).any(axis=1)[:, None, None]
    required = np.where(given, required, np.nan)
    most = np.abs(swing).max(axis=-1)
    more = most - _today(scene, np.abs(swing))
    columns = {"swing_left_deg": to_left, "swing_right_deg": to_right, "swing_more_deg": more,
               "swing_limit_deg": np.broadcast_to(told.limit[:, None, None], most.shape), "body_m": actual,
               "body_side": side, "body_rule": np.where(given, rule, None), "body_required_m": required,
               "body_margin_m": actual - required}
    return columns | {"at_structure": _outcome(scene, told, ends.kind, most, columns["body_margin_m"], slack)}


def _windows(framings, framing, wire):
    """The windows of rows by the names of their framing and wire."""
    number = {pair: i for i, pair in enumerate(zip(framings.framing, framings.wire, strict=True))}
    at = np.array([number[pair] for pair in zip(framing, wire, strict=True)], int)

    def column(name):
        values = getattr(framings, name)
        return np.full(len(at), np.nan) if values is None else values[at]

    string = framings.string[at]
    return _Windows(np.stack([column(f"window_{side}") for side in SIDES_OF_BODY], axis=-1), column("swing_limit"),
                    string == "suspension", np.isin(string, ("strain", "link")))


def _reaches(scene, ends):
    """How far bundles reach down, up and aside at the rows, the more of both spans; (row, option, case) each [m]."""
    found = []
    for name in ("down", "up", "aside"):
        part = np.max([getattr(each.reach, name) for each in scene.both_ends], axis=0)
        whole = np.zeros((len(ends.structure), *part.shape[1:]))
        np.maximum.at(whole, ends.of_end, np.concatenate([part, part]))
        found.append(whole)
    return found


def _nearest(window, right, drop, reach):
    """Minimum distance from planes that are given, from one wind to the other, and its side; (row, option, case)."""
    down, up, aside = reach
    # From one side to the other a string passes where it is plumb.
    plumb = np.where((right.min(axis=-1) < 0) & (right.max(axis=-1) > 0), np.hypot(right, drop).max(axis=-1), -np.inf)
    deepest = np.maximum(drop.max(axis=-1), plumb)
    moved = (-right).max(axis=-1) + aside, right.max(axis=-1) + aside, deepest + down, up - drop.min(axis=-1)
    room = window[:, None, None, :] - np.stack(moved, axis=-1)
    known = np.where(np.isnan(window)[:, None, None, :], np.inf, room)
    # What is not known of a side that is given is not known to be clear.
    place = np.where(np.isnan(known), -np.inf, known).argmin(axis=-1)
    least = np.take_along_axis(known, place[..., None], -1)[..., 0]
    told = np.isfinite(least)
    return np.where(told, least, np.nan), np.where(told, np.array(SIDES_OF_BODY, object)[place], None)


def required_of_body(scene, altitude):
    """Return the name of the rule and the distance that is required from structures at some altitudes (row,) [m],
    (row, option, case): the most that rows against `own_structure` ask for in any measure, else the electrical distance
    to earth, above 1000 m more of it; nan where that is not known."""
    shape, U = (len(altitude), len(scene.options), len(scene.cases)), scene.voltage / 1e3
    name = np.full(shape, rule_tables.FLOOR, object)
    air = 1 + rule_tables.thin_air(altitude)
    required = np.broadcast_to(rule_tables.electrical_distance(U) * air[:, None, None], shape).copy()
    for k, case in enumerate(scene.cases):
        rows = [int(rule_tables.choose(scene.rules, BODY, measure, case.name, U, swung=case.wind > 0))
                for measure in rule_tables.MEASURES]
        found = [(rule_tables.requirement(scene.rules, row, U, altitude).required, row) for row in rows if row >= 0]
        if not found:
            continue
        asked = np.stack([values for values, _ in found])
        best = np.where(np.isnan(asked), np.inf, asked).argmax(axis=0)
        required[:, :, k] = np.take_along_axis(asked, best[None], 0)[0][:, None]
        name[:, :, k] = scene.rules.rule[np.array([row for _, row in found])[best]][:, None]
    return name, required


def _today(scene, swing):
    """The swing of the existing wire on the same string in the same case, (row, option, case), nan without one: beside
    others that at the end of its history at which it is less."""
    today = [o for o, option in enumerate(scene.options) if option.existing]
    if not today:
        return np.full(swing.shape[:3], np.nan)
    own = swing[:, today].reshape(len(swing), 1, swing.shape[2], len(scene.both_ends), -1).max(axis=-1)
    found = np.repeat(own.min(axis=-1), swing.shape[1], axis=1)
    found[:, today] = own.max(axis=-1)
    return found


def _outcome(scene, told, kind, most, margin, slack):
    """What each row comes to, in words, None where nothing is asked."""
    asked = np.array([case.broken is None and bool({"vertical", "horizontal"} & {*case.checks})
                      for case in scene.cases])
    window, limit = (v[:, None, None] for v in (np.isfinite(told.window).any(axis=1), told.limit))
    limited = np.isfinite(limit) & told.swings[:, None, None]
    failed = (margin < 0) | limited & (most > limit + 1e-9)
    unknown = window & (np.isnan(margin) | slack) | limited & np.isnan(most)
    silent = ~window & ~limited
    words = np.select([failed, unknown, silent], [FAILED, NOT_ASSESSED, NOT_GIVEN], PASSED).astype(object)
    # What neither swings nor has a window is as the framing has it, whatever the option.
    out = (told.held | (kind == "shield"))[:, None, None] | silent & ~told.swings[:, None, None] | ~asked
    words[np.broadcast_to(out, words.shape)] = None
    return words


def body_gaps(columns):
    """Return the gaps of rows of `structure_loads` whose wire is not known to clear its structure; one whose string is
    lifted is told so already."""
    bad = np.flatnonzero((columns["at_structure"] == NOT_ASSESSED) & ~columns["lifted"].astype(bool))
    return [Gap(-1, *(columns[name][row] for name in ("wire", "option", "case")), BODY, columns["structure"][row],
                f"line {columns['line'][row]}: what the wire clears of structure {columns['structure'][row]} is not "
                "known: where it hangs, or what is required at this voltage or altitude, is not") for row in bad]
