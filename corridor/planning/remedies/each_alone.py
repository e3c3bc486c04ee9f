"""What would put each violation right, one remedy at a time, each by the exact model."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import shapely

from corridor.assessment import assess_spans
from corridor.check import THREADS, Clock, find, prepare
from corridor.clearance.own_wires import KINDS
from corridor.inputs.study_inputs import read_inputs
from corridor.planning.remedies.alterations import as_it_stands, edited, framing_of_new, place_of_new
from corridor.planning.remedies.changes import Change, lift_rows
from corridor.planning.remedies.offered import strings_of
from corridor.planning.remedies.variants import parents_of
from corridor.study import load_study

__all__ = ["COLUMNS", "list_remedies", "short_elsewhere"]

#: Columns of the table.
COLUMNS = ("line", "span", "wire", "case", "against", "obstacle", "remedy", "where", "amount", "unit", "cost",
           "margin_before_m", "margin_after_m", "gain_m", "clears", "note", "geometry")


class _Try(NamedTuple):
    """A remedy in so many steps: its `name`, `where`, place; `make` Edits of a number of steps, from `first` to `most`;
    `amount` in a `unit` and `cost` of a number of steps."""

    name: str
    where: str
    geometry: object
    make: object
    first: int
    most: int
    amount: object
    unit: str
    cost: object
    note: str | None = None


def list_remedies(planned, others, *, worst=40, progress=None):
    """Return the remedies of the violations that a plan began with, as columns.

    One violation per span, thing and obstacle counts, that of the least margin. Every remedy is looked at anew with all
    sections that it touches, in the fewest steps that clear or the most that are allowed; a limit temperature is the
    exact one of the layer `limits`. A remedy that is not offered has a row that says why.

    Parameters
    ----------
    planned : corridor.planning.remedies.plan.Planned
    others : dict of str to set
        By name of another option the (line, span, against, obstacle) at which it falls short.
    worst : int
        Violations, worst first, for which remedies are looked at anew.
    progress : callable, optional
        `progress(done, total)` in violations.
    """
    v = planned.before.layers["violations"]
    ones = {}
    for i in np.argsort(v["margin_m"], kind="stable"):
        key = tuple(v[name][i] for name in ("line", "span", "against", "obstacle"))
        ones.setdefault(key, {name: values[i] for name, values in v.items()})
    looked, chosen = [], list(ones.values())[:worst]
    with ThreadPoolExecutor(THREADS) as pool:
        for found in pool.map(lambda one: _looked_at(planned, one), chosen):
            looked.append(found)
            if progress:
                progress(len(looked), len(chosen))
    rows = [row for n, (key, one) in enumerate(ones.items())
            for row in (*(looked[n] if n < worst else ()), *_derate(planned, one), *_others(others, key, one))]
    return {name: np.array([row[name] for row in rows], object) for name in COLUMNS}


def short_elsewhere(path, option):
    """Return where the other options of a study fall short, as `list_remedies` takes it.

    Parameters
    ----------
    path : path
        The study file.
    option : str
        The one that is left out.
    """
    inputs = read_inputs(load_study(path))
    short = {each.name: set() for each in inputs.options if each.name != option}
    with inputs.terrain:
        for layer, v in find(*prepare(inputs, Clock())):
            if layer == "violations":
                for name, *key in zip(*(v[c] for c in ("option", "line", "span", "against", "obstacle")), strict=True):
                    short.get(name, set()).add(tuple(key))
    return short


def _row(one, remedy, where, amount, unit, after, note=None, geometry=None, cost=np.nan):
    known = {name: one[name] for name in ("line", "span", "wire", "case", "against", "obstacle")}
    return known | {"remedy": remedy, "where": where, "amount": float(amount), "unit": unit, "cost": float(cost),
                    "margin_before_m": float(one["margin_m"]), "margin_after_m": float(after),
                    "gain_m": float(after - one["margin_m"]), "clears": None if np.isnan(after) else bool(after >= 0),
                    "note": note, "geometry": one["geometry"] if geometry is None else geometry}


def _looked_at(planned, one):
    """Rows of all remedies of one violation that change the line, the ground or what stands there."""
    site = planned.site
    spans = site.plan.spans
    span = int(np.flatnonzero((spans.line == one["line"]) & (spans.name == one["span"]))[0])
    rows = []
    for kind, tries in _TRIES.items():
        found = planned.refused[kind] if kind in planned.refused else tries(site, one, span)
        if isinstance(found, str):
            rows.append(_row(one, _NAMES[kind], "", np.nan, None, np.nan, f"not offered: {found}"))
            continue
        for each in found:
            after, n = _fewest(site, one, span, each)
            rows.append(_row(one, each.name, each.where, each.amount(n), each.unit, after, each.note, each.geometry,
                             each.cost(n)))
    return rows


def _fewest(site, one, span, tried):
    """Margin [m] after the fewest steps that clear, from an estimate of them upward, at most two beyond it."""
    for n in range(tried.first, min(tried.first + 2, tried.most) + 1):
        after = _margin(site, one, span, tried.make(n))
        if after >= 0:
            return after, n
    return after, n


def _margin(site, one, span, edits):
    """Least margin against the same thing in what the span has become [m]; nan where it is not compared there.

    Where the thing itself is gone, and all else is as it was, that is what is left of the worst of the span.
    """
    laid = edited(site, edits)
    own = np.flatnonzero(parents_of(site, laid) == span)
    sections = np.unique(laid.plan.spans.section[own])
    first, last = laid.plan.sections.first[sections[0]], laid.plan.sections.last[sections[-1]]
    c = assess_spans(laid.facts, laid.plan, laid.ground, int(first), int(last))["clearances"]
    here = np.isin(c["span"], laid.plan.spans.name[own]) & (c["option"] == site.option)
    same = here & (c["against"] == one["against"]) & (c["obstacle"] == one["obstacle"]) & (c["line"] == one["line"])
    if edits.removed.any():
        same = here
    return float(c["margin_m"][same].min()) if same.any() else np.nan


def _steps(gain, one, most):
    """The number of steps that an estimate of the gain of each asks for, from 1 to the most."""
    return min(max(int(np.ceil(-one["margin_m"] / gain)), 1), most) if gain > 1e-6 else most


def _ends(site, span):
    return int(site.plan.spans.tail[span]), int(site.plan.spans.head[span])


def _lifts(site, one, span):
    """What a metre of lift at each end of the span is worth [-]; both of two own wires are taken along."""
    if one["against"] in KINDS:
        return np.zeros(2)
    cell = {name: np.array([value]) for name, value in one.items() if name != "geometry"}
    return lift_rows(cell, *(np.array([e]) for e in _ends(site, span)), site.plan.spans.length[[span]])[2]


def _changed(site, structures, change):
    """Edits by which structures are changed."""
    edits = as_it_stands(site)
    return replace(edits, changes=tuple(change if s in structures else each for s, each in enumerate(edits.changes)))


def _where(site, structures):
    """Names of structures, and the place of the first."""
    x, s = site.facts.structures, structures[0]
    place = shapely.Point(x.easting[s], x.northing[s], site.plan.base_elevation[s])
    return " and ".join(str(x.structure[i]) for i in structures), place


def _raises(site, one, span):
    p, ends, lift = site.prices, _ends(site, span), _lifts(site, one, span)
    if sum(lift) < 1e-6:
        return _NO_LIFT
    most, rows = int(p.largest_raise / p.step + 1e-9), []
    for chosen in ((0,), (1,), (0, 1)):
        own = [ends[i] for i in chosen]
        rows.append(_Try(
            "raise one structure" if len(own) == 1 else "raise both structures", *_where(site, own),
            lambda n, own=own: _changed(site, own, Change(n * p.step)),
            _steps(sum(lift[i] for i in chosen) * p.step, one, most), most, lambda n: n * p.step, "m",
            lambda n, own=own: len(own) * (p.raise_cost + p.metre_cost * n * p.step)))
    return rows


def _hung(site, span):
    """Ends of a span at which wires hang from suspension strings, with the length of the shortest of phases [m]."""
    strings = strings_of(site)
    return {s: min(length for (t, _), length in strings.items() if t == s) for s in _ends(site, span)
            if any(t == s for t, _ in strings)}


def _shorter(site, one, span):
    p, hung = site.prices, _hung(site, span)
    if sum(_lifts(site, one, span)) < 1e-6:
        return _NO_LIFT
    own = [s for s, length in hung.items() if length >= p.shortest_string + p.step - 1e-9]
    if not own:
        return "no string of the span can be shortened by a step"
    most = int((min(hung[s] for s in own) - p.shortest_string) / p.step + 1e-9)
    gain = sum(lift for s, lift in zip(_ends(site, span), _lifts(site, one, span), strict=True) if s in own)
    return [_Try("shorten strings", *_where(site, own), lambda n: _changed(site, own, Change(shorter=n * p.step)),
                 _steps(gain * p.step, one, most), most, lambda n: n * p.step, "m",
                 lambda n: len(own) * p.shorten_cost)]


def _strings(name, string, cost, *, both):
    """What makes a try of another string at the ends of the span where wires hang, or at the one that is worth more."""
    def tries(site, one, span):
        own = list(_hung(site, span))
        if not own:
            return "no wire hangs from a suspension string at the ends of the span"
        if sum(_lifts(site, one, span)) < 1e-6:
            return _NO_LIFT
        worth = dict(zip(_ends(site, span), _lifts(site, one, span), strict=True))
        own = own if both else [max(own, key=worth.get)]
        return [_Try(name, *_where(site, own), lambda n: _changed(site, own, Change(string=string)), 1, 1,
                     lambda n: len(own), "structure", lambda n: len(own) * getattr(site.prices, cost))]

    return tries


def _tauter(site, one, span, sign=1):
    p, section, edits = site.prices, int(site.plan.spans.section[span]), as_it_stands(site)
    if (one["position"] == "below") != (sign < 0):
        return "it is a wire above that is too near" if sign > 0 else "nothing above the wire is too near"
    name, line = site.plan.sections.name[section], site.plan.sections.line[section]
    if any(row.section == name and row.line in ("", line) for row in site.wiring.measured):
        return "the section hangs as measured: take it out of the measurements to string it to its limits"
    most = int((p.largest_tightening if sign > 0 else p.largest_slackening) / p.tightening_step + 1e-9)
    share = sign * p.tightening_step * (np.arange(len(edits.tightened)) == section)
    note = "more than the stringing limits say; what the structures bear is for an engineer to find" if sign > 0 else \
        "less than the stringing limits allow"
    return [_Try(_NAMES["tighten" if sign > 0 else "slacken"], f"section {name}", None,
                 lambda n: replace(edits, tightened=share * n), max(most - 2, 1) if sign > 0 else 1, most,
                 lambda n: 100 * n * p.tightening_step, "%", lambda n: p.tighten_cost, note)]


def _slacker(site, one, span):
    return _tauter(site, one, span, -1)


def _cuts(site, one, span):
    p, cells, edits = site.prices, site.cells.get(span), as_it_stands(site)
    if one["against"] != "ground" or cells is None:
        return "it is not the ground that is too near" if one["against"] != "ground" else "its cells are not known"
    most = int(min(p.largest_cut, cells.deepest) / p.step + 1e-9)
    if most < 1:
        return f"{cells.blocked} stands where the cut would be"
    depth = np.arange(len(edits.cut)) == span
    return [_Try("grade the ground", f"below {one['span']}", None, lambda n: replace(edits, cut=depth * n * p.step),
                 _steps(p.step, one, most), most, lambda n: cells.volume(n * p.step), "m3",
                 lambda n: p.grade_cost + p.cubic_metre_cost * cells.volume(n * p.step),
                 "vertical cuts on the grid of the ground raster, without slopes")]


def _gone(site, one, span):
    p, edits, obstacles = site.prices, as_it_stands(site), site.facts.index.obstacles
    if one["against"] not in p.removable or one["obstacle"] is None:
        return f"the study lets only these be taken away: {', '.join(p.removable) or 'none'}"
    gone = obstacles.obstacle == one["obstacle"]
    return [_Try("remove the object", str(one["obstacle"]), None, lambda n: replace(edits, removed=gone), 1, 1,
                 lambda n: 1, "object", lambda n: p.remove_cost, "the margin after is the least of the whole span")]


def _more(site, one, span):
    p, edits, place = site.prices, as_it_stands(site), place_of_new(site, span)
    if place is None or framing_of_new(site, span) is None:
        return "the ground is not known there, or no suspension structure of the line shows what a new one is like"
    share, *point = place
    return [_Try("add a structure", f"{one['span']}, {100 * share:.0f} % of the way", shapely.Point(*point),
                 lambda n: replace(edits, added=np.array([span])), 1, 1, lambda n: 1, "structure",
                 lambda n: p.add_cost, f"framing {framing_of_new(site, span)}, on the highest ground near the middle")]


_NO_LIFT = "a higher wire is no farther from what is above or beside it"
_TRIES = {"raise": _raises, "shorten": _shorter,
          "post": _strings("change strings to posts", "post", "post_cost", both=True),
          "strain": _strings("make it a strain structure", "strain", "strain_cost", both=False),
          "tighten": _tauter, "slacken": _slacker, "grade": _cuts, "remove": _gone, "add": _more}
_NAMES = {"raise": "raise structures", "shorten": "shorten strings", "post": "change strings to posts",
          "strain": "make it a strain structure", "tighten": "re-tension, tauter",
          "slacken": "re-tension, slacker", "grade": "grade the ground", "remove": "remove the object",
          "add": "add a structure"}


def _derate(planned, one):
    """The limit temperature of the span, where heat is what brings it short."""
    limits, cases = planned.before.layers["limits"], planned.site.facts.cases
    at = np.flatnonzero((limits["line"] == one["line"]) & (limits["span"] == one["span"]))
    T = limits["limit_temperature_c"][at[0]] if len(at) else np.nan
    # Galloping is a case of clearances alone, and no vertical one.
    case = next((case for case in cases if case.name == one["case"]), None)
    why = ("the limits are of wires above something" if one["measure"] != "vertical" or one["position"] == "below" else
           "it is not heat that brings the wire short" if not isinstance(case.temperature, str) else
           "no temperature clears, or some of it is not known" if np.isnan(T) else None)
    if why:
        return [_row(one, "derate", "", np.nan, None, np.nan, f"not offered: {why}")]
    current = limits["limit_current_a"][at[0]]
    note = "of the whole span" + ("" if np.isnan(current) else f", {current:.0f} A per phase")
    return [_row(one, "derate", f"span {one['span']}", T, "degC", 0.0, note)]


def _others(others, key, one):
    clear = [name for name, short in others.items() if key not in short]
    return [_row(one, "choose another option", name, np.nan, None, np.nan, "it does not fall short here")
            for name in clear] or [_row(one, "choose another option", "", np.nan, None, np.nan,
                                        "not offered: every other option of the study falls short here too")]
