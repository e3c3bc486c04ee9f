"""The minimum margin of spans at wire temperatures of their own, by the very comparison that makes the findings.

What a wire carries sets its temperature in the cases that are told by `maximum` or `emergency`, and in no others. Every
measure counts there that the findings have; the section is hung anew and compared anew at every temperature.
"""

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from corridor.arrays import names_of
from corridor.clearance.checked import least_rows
from corridor.clearance.findings import against_of, obstacle_name, requirements
from corridor.clearance.not_assessed import NO_RULE, lost_on_the_way
from corridor.clearance.own_wires import own_at_rest
from corridor.clearance.proximity import MARGIN, compare
from corridor.clearance.v_strings import half_angles, slack_wires
from corridor.line.elongation_laws import reshape_law
from corridor.line.facts import Case

__all__ = ["Least", "least_margins", "margin_rows", "no_rule", "not_known", "passed_below", "slack_arms",
           "with_case"]


#: Temperatures that differ by less are one [K].
_HOTTER = 1e-6


class Least(NamedTuple):
    """The minimum margin of spans in every option, (set of cases, span, option) [m], and where it is: `wire`,
    `against`, `obstacle`, `measure`, `case` in words, None where none is known; `station` [m]. The margin is nan where
    it is not known."""

    margin: np.ndarray
    wire: np.ndarray
    against: np.ndarray
    obstacle: np.ndarray
    measure: np.ndarray
    case: np.ndarray
    station: np.ndarray


def margin_rows(around, gaps, temperatures):
    """Return the minimum margin of every span and option at some wire temperatures, in the cases told by `maximum`.

    Parameters
    ----------
    around : Around
    gaps : sequence of Gap
        What was not assessed in the cases of the study.
    temperatures : ndarray, shape (option, node)
        [°C]; nan: none is asked.

    Returns
    -------
    dict of ndarray
        `margin_m` of shape (row, node), rows as those of `corridor.rating.limits.limit_rows`; nan where nothing is
        asked, or anything is not assessed.
    """
    around, cases = with_case(around, "maximum")
    unknown = not_known(around.scene, gaps, cases)
    found = []
    for node in temperatures.T:
        T = np.where(unknown, np.nan, node)[None]
        margin = least_margins(around, [cases], T).margin
        found.append(np.where(slack_arms(around.scene, [cases], T), np.nan, margin)[0])
    return {"margin_m": np.stack(found, axis=-1).reshape(-1, temperatures.shape[1])}


def with_case(around, word):
    """What is about wires, with a bare case in still air behind the others where a study has none that is told by a
    word; and the cases (indices) that are told so, or stand for them."""
    cases = around.scene.cases
    named = [k for k, case in enumerate(cases) if case.temperature == word]
    if word != "maximum" or any(_bare(cases[k]) for k in named):
        return around, np.array(named, int)
    others = [k for k, case in enumerate(cases) if _bare(case) and not isinstance(case.temperature, str)]
    if others:
        return around, np.array([*named, max(others, key=lambda k: (cases[k].temperature, cases[k].name))])
    scene = around.scene
    model, strung = scene.model, scene.model.strung
    bare, last = strung.bare_weight[scene.group], np.s_[..., None]
    final = reshape_law(strung.final, strung.excess.shape)
    part, taut = (type(final)(*(np.concatenate([a, b[last]], axis=-1) for a, b in zip(law, final, strict=True)))
                  for law in (strung.part, strung.taut))

    def longer(column, values):
        return np.concatenate([column, np.broadcast_to(values, column.shape[:-1])[last]], axis=-1)

    strung = replace(strung, part=part, taut=taut, final_doubtful=longer(strung.final_doubtful, strung.doubtful),
                     temperature=longer(strung.temperature, np.nan),
                     weight=longer(strung.weight, strung.bare_weight), wind=longer(strung.wind, 0.0))
    cases = (*cases, Case("", word, checks=("vertical",)))
    loads = type(model.loads)(*(longer(column, value) for column, value in
                                zip(model.loads, (bare, 0.0, bare, 0.0), strict=True)))
    scene = replace(scene, cases=cases, model=replace(model, strung=strung, loads=loads, cases=cases),
                    temperature=longer(scene.temperature, np.nan))
    return replace(around, scene=scene), np.array([*named, len(cases) - 1])


def _bare(case):
    return case.ordinary and "vertical" in case.checks


def not_known(scene, gaps, cases):
    """True for spans and options in which something was not assessed that a rule is for, (span, option)."""
    names = {scene.cases[k].name for k in cases}
    options = {option.name: index for index, option in enumerate(scene.options)}
    shields = set(scene.wires.wire[scene.wires.kind == "shield"])
    unknown = np.zeros((len(scene.spans), len(scene.options)), bool)
    for gap in gaps:
        if gap.span >= 0 and (gap.case is None or gap.case in names) and not no_rule(gap) and gap.wire not in shields:
            unknown[gap.span, slice(None) if gap.option is None else options[gap.option]] = True
    return unknown


def no_rule(gap):
    return gap.reason.startswith(NO_RULE) and gap.against != "ground"


def passed_below(position, against):
    """True for other lines that wires are below of: nearer when they are cool, and no current is the cause of that. Of
    two own wires the upper one sinks, too."""
    return (position == "below") & (against == "line")


def least_margins(around, sets, temperature, *, lost=True, beyond=MARGIN):
    """The minimum margin of spans in sets of cases, in options at temperatures of their own, (set, span, option) [°C];
    nan: not asked, and, unless what is `lost` does not matter, where anything is not known below or beside wires there.
    No case is in two sets. Distances in space count as far as they are not more than so much `beyond` what is required
    [m], None: not at all."""
    scene = around.scene
    wanted = np.isfinite(temperature)
    asked = wanted.any(axis=(0, 2))
    result = Least(np.full(temperature.shape, np.nan), *(np.full(temperature.shape, None, object) for _ in range(5)),
                    np.full(temperature.shape, np.nan))
    keep = np.flatnonzero(asked[scene.wires.span] & (scene.wires.kind == "phase"))
    if not len(keep):
        return result
    looked = [cases for cases, some in zip(sets, wanted, strict=True) if some.any()]
    T, every = _of_wires(scene, sets, temperature), np.sort(np.concatenate(looked))
    part = scene.part(keep).at_temperature(T[keep], both=True)
    compared = compare(around.part(part, keep), every, beyond=beyond)
    gaps = lost_on_the_way(part, compared) if lost else []
    tables = [(part, compared.checked, requirements(part, compared.checked))]
    if around.own_wires and beyond is not None:
        spans = np.flatnonzero(asked[scene.wires.span])
        tables += own_at_rest(scene.part(spans).at_temperature(T[spans], both=True), every)
    for number, cases in enumerate(sets):
        unknown = _hotter_than_points(around, temperature[number]) | not_known(part, gaps, cases)
        unhung = np.any([np.isnan(each.hung.horizontal_tension[:, :, cases]).any(axis=(2, 3))
                         for each in part.both_ends], axis=0) & wanted[number][part.wires.span]
        np.logical_or.at(unknown, (part.wires.span,), unhung)
        for table in tables:
            _put_least(Least(*(whole[number] for whole in result)), *table, cases)
        result.margin[number][unknown | ~wanted[number]] = np.nan
    return result


def slack_arms(scene, sets, temperature):
    """True for spans beside V-strings one of whose arms is slack in sets of cases, where sections are as hot as each of
    their spans is asked to be, (set, span, option) [°C]: where their wires hang is not known."""
    slack, wires = np.zeros(temperature.shape, bool), scene.wires
    if not np.any(half_angles(wires)) or not np.isfinite(temperature).any():
        return slack
    span = np.arange(len(scene.spans))
    for turn in range(min(3, len(span))):
        # Every third span, and both beside it as hot: no two are beside one span.
        middle = span - (span - turn + 1) % 3 + 1
        there = (middle >= 0) & (middle < len(span))
        T = np.where(there[:, None], temperature[:, np.where(there, middle, 0)], np.nan)
        hung = scene.at_temperature(_of_wires(scene, sets, T), both=True)
        hung, taut = (each and replace(each, tensed=each.hung, tensed_by_ruling_span=each.hung)
                      for each in (hung, hung.taut))
        found = slack_wires(replace(hung, taut=taut)) & (wires.kind == "phase")[:, None, None]
        for number, cases in enumerate(sets):
            near = np.zeros(temperature.shape[1:], bool)
            np.logical_or.at(near, (wires.span,), found[:, :, cases].any(axis=2))
            slack[number] |= near & (middle == span)[:, None]
    return slack & np.isfinite(temperature)


def _hotter_than_points(around, temperature):
    """True for spans and options hotter than surveyed points and cells of a surface were looked for (span, option)."""
    known = around.partners.known_to
    return np.zeros(temperature.shape, bool) if known is None else temperature > known + _HOTTER


def _of_wires(scene, sets, temperature):
    """Temperature of wires (wire, option, case) [°C], nan where none is asked; shield wires keep that of the case."""
    T = np.full(scene.temperature.shape, np.nan)
    for cases, asked in zip(sets, temperature, strict=True):
        T[:, :, cases] = asked[scene.wires.span][:, :, None]
    shield = scene.wires.kind == "shield"
    T[shield] = np.where(np.isnan(T[shield]), np.nan, scene.temperature[shield])
    return T


def _put_least(result, scene, checked, asked, cases):
    """Take compared rows of some cases into the result where they are nearer than what is there."""
    margins = checked.actual - asked.terms.required
    below = passed_below(checked.position, against_of(checked.obstacle, scene.obstacles))
    rows = np.flatnonzero(np.isfinite(margins) & ~below & np.isin(checked.case, cases))
    span, option, margin = scene.wires.span[checked.wire[rows]], checked.option[rows], margins[rows]
    first = least_rows(span * len(scene.options) + option, margin)
    at = span[first], option[first]
    nearer = ~(result.margin[at] <= margin[first])
    first, at = rows[first[nearer]], tuple(v[nearer] for v in at)
    wire, thing, case = checked.wire[first], checked.obstacle[first], checked.case[first]
    frame, tail = scene.frame, scene.spans.tail[scene.wires.span[wire]]
    along = frame.start[wire, 0] + checked.fraction[first] * (frame.end[wire, 0] - frame.start[wire, 0])
    found = (margins[first], scene.wires.wire[wire], against_of(thing, scene.obstacles),
             obstacle_name(thing, scene.obstacles), checked.measure[first],
             names_of(scene.cases)[case], scene.route.station[tail] + along)
    for whole, some in zip(result, found, strict=True):
        whole[at] = some


