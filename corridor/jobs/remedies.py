"""What would put each violation right, one remedy at a time; raises and limit temperatures by the exact model."""

import numpy as np
import shapely

from corridor.assessment import assess_spans
from corridor.check import Clock, find, prepare
from corridor.inputs.study_inputs import read_inputs
from corridor.planning.remedies import grading_volume, lift_rows, raise_structures
from corridor.study import load_study

__all__ = ["COLUMNS", "list_remedies", "short_elsewhere"]

#: Columns of the table.
COLUMNS = ("line", "span", "wire", "case", "against", "obstacle", "remedy", "where", "amount", "unit",
           "margin_before_m", "margin_after_m", "clears", "note", "geometry")
#: Things that an owner may take away.
_REMOVABLE = ("tree", "building")
#: Breadth of a cut in the ground below one wire that falls short [m].
_BREADTH = 10.0


def list_remedies(planned, others, *, worst=60):
    """Return the remedies of the violations that a plan began with, as columns.

    One violation per span, thing and obstacle counts, that of the least margin. Raises are looked at anew, span by
    span, with every section that they touch strung again; a limit temperature is the exact one of the layer `limits`.

    Parameters
    ----------
    planned : corridor.jobs.plan.Planned
    others : dict of str to set
        By name of another option the (line, span, against, obstacle) at which it falls short.
    worst : int
        Violations, worst first, for which raises are looked at.
    """
    v = planned.before.layers["violations"]
    order = np.argsort(v["margin_m"], kind="stable")
    keys, rows = set(), []
    for i in order:
        key = tuple(v[name][i] for name in ("line", "span", "against", "obstacle"))
        if key not in keys:
            keys.add(key)
            one = {name: values[i] for name, values in v.items()}
            rows += _raises(planned.site, one) if len(keys) <= worst else []
            rows += [*_derate(planned, one), *_ground(planned, one), *_object(one), *_others(others, key, one)]
            rows.append(_tension(planned.site, one))
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


def _row(one, remedy, where, amount, unit, after, note=None, geometry=None):
    known = {name: one[name] for name in ("line", "span", "wire", "case", "against", "obstacle")}
    return known | {"remedy": remedy, "where": where, "amount": float(amount), "unit": unit,
                    "margin_before_m": float(one["margin_m"]), "margin_after_m": float(after),
                    "clears": None if np.isnan(after) else bool(after >= 0), "note": note,
                    "geometry": one["geometry"] if geometry is None else geometry}


def _raises(site, one):
    """The least standard raise of one end, of the other, and of both, that clears the span, looked at exactly."""
    spans, x = site.plan.spans, site.facts.structures
    span = int(np.flatnonzero((spans.line == one["line"]) & (spans.name == one["span"]))[0])
    ends = spans.tail[span], spans.head[span]
    cell = {name: np.array([value]) for name, value in one.items() if name != "geometry"}
    lift = lift_rows(cell, *(np.array([e]) for e in ends), spans.length[[span]])[2]
    most = int(site.prices.largest_raise / site.prices.step + 1e-9)
    rows = []
    for chosen in ((0,), (1,), (0, 1)):
        gain = sum(lift[i] for i in chosen) * site.prices.step
        steps = min(int(np.ceil(-one["margin_m"] / gain)), most) if gain > 1e-6 else most
        after, steps = _least_raise(site, one, span, [ends[i] for i in chosen], max(steps, 1), most)
        rows.append(_row(one, "raise one structure" if len(chosen) == 1 else "raise both structures",
                         " and ".join(str(x.structure[ends[i]]) for i in chosen), steps * site.prices.step, "m", after,
                         "least margin of the span and thing in all cases",
                         _place(site, ends[chosen[0]])))
    return rows


def _least_raise(site, one, span, structures, steps, most):
    """Margin [m] after the fewest steps that clear, from an estimate of them upward, at most two beyond it."""
    for n in range(steps, min(steps + 2, most) + 1):
        after = _margin(site, one, span, structures, n * site.prices.step)
        if after >= 0:
            return after, n
    return after, n


def _margin(site, one, span, structures, height):
    """Least margin of the span against the same thing with structures raised [m]."""
    rise = np.zeros(len(site.facts.structures))
    rise[structures] = height
    x, framings = raise_structures(site.facts.structures, site.facts.framings, rise)
    facts = type(site.facts)(**{name: getattr(site.facts, name) for name in site.facts.__dataclass_fields__}
                             | {"structures": x, "framings": framings})
    sections, section = site.plan.sections, site.plan.spans.section[span]
    rows = assess_spans(facts, site.plan, site.ground, int(sections.first[section]), int(sections.last[section]))
    c = rows["clearances"]
    same = np.logical_and.reduce([c[name] == one[name] for name in ("line", "span", "against", "obstacle", "option")])
    return float(c["margin_m"][same].min()) if same.any() else np.nan


def _place(site, structure):
    x = site.facts.structures
    return shapely.Point(x.easting[structure], x.northing[structure], site.plan.base_elevation[structure])


def _tension(site, one):
    """Sections are strung as taut as the limits allow, so that only a measured one may have something left."""
    wiring = next(option.wiring for option in site.facts.options if option.name == site.option)
    note = "it hangs as measured: whether its stringing limits leave room was not looked at" if wiring.measured else \
        "it hangs as taut as its stringing limits allow: none is left"
    return _row(one, "re-tension", f"section {one['section']}", np.nan, None, np.nan, note)


def _derate(planned, one):
    limits = planned.before.layers["limits"]
    at = np.flatnonzero((limits["line"] == one["line"]) & (limits["span"] == one["span"]))
    T = limits["limit_temperature_c"][at[0]] if len(at) else np.nan
    icy = any(case.ice > 0 or case.wind > 0 for case in planned.site.facts.cases if case.name == one["case"])
    if one["measure"] != "vertical" or one["position"] == "below" or icy or np.isnan(T):
        return []
    current = limits["limit_current_a"][at[0]]
    note = "of the whole span" + ("" if np.isnan(current) else f", {current:.0f} A per phase")
    return [_row(one, "derate", f"span {one['span']}", T, "degC", 0.0, note)]


def _ground(planned, one):
    if one["against"] != "ground":
        return []
    s = planned.before.layers["violation_stretches"]
    same = np.logical_and.reduce([s[name] == one[name] for name in ("line", "span", "case", "wire", "against")])
    length = float(s["length_m"][same].sum())
    volume = grading_volume(-one["margin_m"], length, _BREADTH)
    return [_row(one, "grade the ground", f"{length:.0f} m below wire {one['wire']}", volume, "m3", 0.0,
                 f"cut {-one['margin_m']:.2f} m at most, {_BREADTH:g} m broad: an estimate, not a survey")]


def _object(one):
    if one["against"] not in _REMOVABLE:
        return []
    return [_row(one, "remove the object", str(one["obstacle"]), 1, "object", np.nan, "then nothing is left to clear")]


def _others(others, key, one):
    clear = [name for name, short in others.items() if key not in short]
    return [_row(one, "choose another option", name, np.nan, None, np.nan, "it does not fall short here") for name in
            clear]
