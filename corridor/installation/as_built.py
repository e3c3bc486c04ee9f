"""Wires as they were strung: sags measured on the day beside those wanted, what to take out, and the check again."""

from dataclasses import dataclass, replace

import numpy as np

from corridor.assessment import make_scene
from corridor.errors import InputError, nearest
from corridor.inputs.measured import constant_of_sag
from corridor.installation.chart import as_strung, clipped_as_strung
from corridor.installation.tolerance import KEPT, found_clearances, margin_words, rows_of
from corridor.line.elongation_laws import reshape_law, take_law
from corridor.line.facts import Measured
from corridor.line.temperature_range import at_temperatures
from corridor.mechanics.ruling_span import unstressed_excess

__all__ = ["as_built_rows", "section_rows"]


@dataclass(frozen=True)
class _Built:
    """A measured wire: its row of the layer `as_built`; `key` line and section; `excess` of its unstressed length."""

    row: dict
    key: tuple[str, str]
    excess: float


def as_built_rows(facts, plan, option, sags, tolerance, path):
    """Return measured wires beside what was wanted.

    Parameters
    ----------
    facts : Facts
    plan : Plan
    option : str
        Which hangs now.
    sags : list of SagRow
    tolerance : float
        Of sags [m]; nan where none is known.
    path : path
        Of the sags, for errors.

    Returns
    -------
    list of _Built

    Raises
    ------
    InputError
        A span or wire that the line does not have, or a sag with which no wire hangs.
    """
    found, scenes = [], {}
    for each in sags:
        s = _span_of(plan, each, path)
        section = int(plan.spans.section[s])
        if section not in scenes:
            scenes[section] = make_scene(facts, plan, int(plan.sections.first[section]),
                                         int(plan.sections.last[section]))[0]
        found.append(_built(scenes[section], plan, s, option, each, tolerance, path))
    return found


def _span_of(plan, each, path):
    at = np.flatnonzero((plan.spans.name == each.span) & ((plan.spans.line == each.line) | (each.line == "")))
    if len(at) != 1:
        names = plan.spans.name.tolist()
        accepted = "the line besides: several have such a span" if len(at) else "the name of a span, <from>-<to>"
        raise InputError(path, f"row {each.line_number}: span", repr(each.span), accepted,
                         None if len(at) else nearest(each.span, names))
    return int(at[0])


def _built(scene, plan, s, option, each, tolerance, path):
    o = [one.name for one in scene.options].index(option)
    name = plan.spans.name[s]
    own = np.flatnonzero((scene.spans.name[scene.wires.span] == name) & (scene.wires.kind == "phase"))
    wire = own[scene.wires.wire[own] == each.wire]
    if not len(wire):
        names = scene.wires.wire[own].tolist()
        raise InputError(path, f"row {each.line_number}: wire", repr(each.wire), ", ".join(names),
                         nearest(each.wire, names))
    part, _ = as_strung(scene)
    wanted = at_temperatures(clipped_as_strung(scene, part), wire, o, [each.temperature], part)
    S, h, D = float(wanted.span[0, 0]), float(wanted.rise[0, 0]), float(wanted.sag[0, 0])
    constant = constant_of_sag(S, h, each.sag)
    if np.isnan(constant):
        raise InputError(path, f"row {each.line_number}: sag", f"{each.sag:g} m in a span of {S:.1f} m",
                         "the sag of a hanging wire")
    g = scene.group[wire[0]]
    weight, law = scene.strung.bare_weight[g, o], take_law(reshape_law(part, scene.strung.excess.shape), (g, o))
    H = constant * weight
    excess = float(unstressed_excess(scene.groups.span[g], H, weight, each.temperature, law))
    length = float(scene.spans.length[scene.spans.section == scene.spans.section[scene.wires.span[wire[0]]]].sum())
    out, more = (excess - float(scene.strung.excess[g, o])) * length, each.sag - D
    state = "no tolerance is given" if np.isnan(tolerance) else "within the tolerance" if abs(more) <= tolerance else \
        "take wire out" if more > 0 else "let wire out"
    key = str(plan.spans.line[s]), str(plan.sections.name[plan.spans.section[s]])
    return _Built({
        "line": key[0], "section": key[1], "span": name, "wire": each.wire, "option": option,
        "temperature_c": each.temperature, "sag_m": each.sag, "wanted_sag_m": D, "sag_difference_m": more,
        "horizontal_tension_n": H, "take_out_m": out, "state": state}, key, excess)


def section_rows(facts, plan, ground, option, built):
    """Return the rows of `as_built_sections`: every section checked again with its slackest and its tautest wire.

    Parameters
    ----------
    facts, plan, ground
        Of the study.
    option : str
    built : list of _Built

    Returns
    -------
    list of dict
        Of all sections: those of which nothing was measured hang as they are meant to, and say so.
    """
    by_section = {}
    for each in built:
        by_section.setdefault(each.key, []).append(each)
    ends = [{key: pick(rows, key=lambda one: one.excess) for key, rows in by_section.items()} for pick in (max, min)]
    if ends[0] == ends[1]:
        ends = ends[:1]
    checks = [found_clearances(_measured(facts, option, end), plan, ground) for end in ends]
    keys = zip(plan.sections.line, plan.sections.name, strict=True)
    return [_section(checks, key, option, by_section.get(key, ())) for key in keys]


def _measured(facts, option, end):
    """Facts with an option strung as some wires of sections were measured."""
    rows = tuple(Measured(*key, each.row["temperature_c"], each.row["horizontal_tension_n"], np.nan, 0.0, True)
                 for key, each in end.items())
    return replace(facts, uncertainty=None, options=tuple(
        replace(one, wiring=replace(one.wiring, measured=rows)) if one.name == option else one
        for one in facts.options))


def _section(checks, key, option, built):
    line, section = key
    base = {"line": line, "section": section, "option": option, "wires": len(built)}
    if built:
        more = [each.row["sag_difference_m"] for each in built]
        base |= {"most_sag_m": max(more), "minimum_sag_m": min(more)}
    worst, missing = None, 0
    for rows, lost in checks:
        own = rows_of(rows, line, section, option)
        missing = max(missing, lost.get((line, section, option), 0))
        if len(own):
            i = own[int(rows["margin_m"][own].argmin())]
            if worst is None or rows["margin_m"][i] < worst["margin_m"]:
                worst = {name: rows[name][i] for name in KEPT}
    after = f"; {missing} not assessed" * bool(missing) + "; nothing was measured here" * (not built)
    if worst is None:
        return base | {"words": "nothing is assessed" + after}
    words = f"{worst['span']}, {worst['against']}, {worst['case']}: {margin_words(worst['margin_m'])}"
    return base | worst | {"words": words + after}
