"""Every remedy of every violation on its own, in the fewest steps that clear: what it gains and what it costs."""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import shapely

from corridor.assessment import OPTIONAL, assess_spans
from corridor.check import find
from corridor.opened import Opened
from corridor.planning.remedies.alterations import altered
from corridor.planning.remedies.constraints import worth_at_violations
from corridor.planning.remedies.offered import OF_OTHERS, alterations_of, first_wires, why_untrimmed
from corridor.planning.remedies.plan import Planned
from corridor.planning.remedies.variants import Variant, keys_of, of_option

__all__ = ["COLUMNS", "each_alone", "short_elsewhere"]

#: Columns of the table.
COLUMNS = ("line", "span", "wire", "case", "against", "obstacle", "remedy", "where", "amount", "unit", "cost",
           "margin_before_m", "margin_after_m", "gain_m", "clears", "note", "geometry")
_KEY = ("line", "span", "against", "obstacle")


class _Try(NamedTuple):
    """A remedy as the table has it, and its `columns` that are taken together; `cut` what an amount of
    it comes to [m]."""

    where: str
    geometry: shapely.Geometry | None
    columns: np.ndarray
    name: str | None = None
    note: str | None = None
    cut: Callable[[float], float] = float


def each_alone(planned: Planned, others: dict[str, set], *, worst: int = 40,
               progress: Callable[[int, int], None] | None = None) -> dict[str, np.ndarray]:
    """Return the remedies of the violations that a plan began with, as columns.

    One violation per span, thing and obstacle counts, that of the minimum margin. Every remedy is looked at anew with
    all sections that it touches, in the fewest steps that clear or the most that are allowed; a limit temperature is
    the exact one of the layer `limits`. A remedy that is not offered has a row that says why.

    Parameters
    ----------
    planned : Planned
    others : dict of str to set
        By name of another option the (line, span, against, obstacle) at which it is in violation or is not assessed,
        None where a thing, or all of the span, is not.
    worst : int
        Violations, worst first, for which remedies are looked at anew.
    progress : callable, optional
        `progress(done, total)` in violations.
    """
    v, worth, ones = planned.before.layers["violations"], worth_at_violations(planned.basis), {}
    for i, key in sorted(enumerate(keys_of(v, _KEY)), key=lambda pair: v["margin_m"][pair[0]]):
        ones.setdefault(key, ({name: values[i] for name, values in v.items()}, worth[[i]].toarray()[0]))
    tried, chosen = [], list(ones.values())[:worst]
    for one in chosen:
        tried.append(_tried(planned, *one))
        if progress:
            progress(len(tried), len(chosen))
    rows = [row for n, (key, (one, _)) in enumerate(ones.items())
            for row in (*(tried[n] if n < worst else ()), *_derate(planned, one), *_others(others, key, one))]
    return {name: np.array([row[name] for row in rows], object) for name in COLUMNS}


def short_elsewhere(opened: Opened, option: str) -> dict[str, set]:
    """Return where the options of a study, but for one, have violations or gaps, as `each_alone` takes it."""
    short = {each.name: set() for each in opened.inputs.options if each.name != option}
    for layer, rows in find(*opened.laid_out):
        if layer in ("violations", "not_assessed"):
            for name, *key in keys_of(rows, ("option", *_KEY)):
                for each in short if name is None else {name} & short.keys():
                    short[each].add(tuple(key))
    return short


def _row(one, remedy, where, *, amount=np.nan, unit=None, after=np.nan, note=None, geometry=None, cost=np.nan):
    known = {name: one[name] for name in ("line", "span", "wire", "case", "against", "obstacle")}
    return known | {"remedy": remedy, "where": where, "amount": float(amount), "unit": unit, "cost": float(cost),
                    "margin_before_m": float(one["margin_m"]), "margin_after_m": float(after),
                    "gain_m": float(after - one["margin_m"]), "clears": None if np.isnan(after) else bool(after >= 0),
                    "note": note, "geometry": one["geometry"] if geometry is None else geometry}


def _tried(planned, one, worth):
    """Rows of all remedies of one violation that change the line, the ground or what stands there; `worth` (column,) of
    a step of each there [m]."""
    m, site, rows = planned.remedies, planned.site, []
    span = int(planned.before.line.spans_at({name: [one[name]] for name in ("line", "span")})[0])
    for kind, (name, unit, note, tries) in _TRIES.items():
        found = planned.refused.get(kind) or tries(kind, planned, one, span, worth)
        if isinstance(found, str):
            rows.append(_row(one, name, "", note=f"not offered: {found}"))
            continue
        for each in found:
            after, n, steps = _fewest(planned, one, span, each.columns, worth[each.columns])
            amount = each.cut(n * m.step[each.columns[0]])
            amount = {"m": amount, "%": 100 * amount}.get(unit, len(each.columns)) if unit != "m³" else \
                site.cells[span].volume(amount)
            rows.append(_row(one, each.name or name, each.where, amount=amount, unit=unit, after=after,
                             note=each.note or note, geometry=each.geometry, cost=m.cost(steps).sum()))
    return rows


def _fewest(planned, one, span, columns, worth):
    """Margin [m] after the fewest steps that clear, from an estimate of them upward, at most two beyond it."""
    m = planned.remedies
    # The steps of a cut have a column each, of which some are taken; of other remedies all are, some steps of each.
    cut = m.kind[columns[0]] in ("grade", "trim", "side_trim", *OF_OTHERS)
    most = len(columns) if cut else int(m.most[columns].min())
    gain = np.cumsum(worth) if cut else worth.sum() * np.arange(1, most + 1)
    first = min(int(np.searchsorted(np.nan_to_num(gain), -one["margin_m"] - 1e-9)) + 1, most)
    for n in range(first, min(first + 2, most) + 1):
        steps = np.zeros(len(m))
        steps[columns[:n] if cut else columns] = 1 if cut else n
        after = _margin(planned, one, span, alterations_of(planned.site, m, steps))
        if after >= 0:
            break
    return after, n, steps


def _margin(planned, one, span, alterations):
    """Minimum margin against the same thing in what the span has become [m]; nan where it is not compared there, or
    anything is left unassessed that was not before.

    Where the thing itself is gone, and all else is as it was, that is what is left of the worst of the span.
    """
    site, line = planned.site, altered(planned.site, alterations)
    own = np.flatnonzero(line.parent == span)
    sections = np.unique(line.plan.spans.section[own])
    first, last = line.plan.sections.first[sections[0]], line.plan.sections.last[sections[-1]]
    found = assess_spans(line.facts, line.plan, line.ground, int(first), int(last), OPTIONAL)
    part = Variant(alterations, line, of_option(site.option, found.items()))
    if not part.unassessed <= planned.before.unassessed:
        return np.nan
    c = part.layers["clearances"]
    same = np.isin(c["span"], line.plan.spans.name[own])
    if not alterations.removed.any():
        same &= (c["against"] == one["against"]) & (c["obstacle"] == one["obstacle"]) & (c["line"] == one["line"])
    return float(c["margin_m"][same].min()) if same.any() else np.nan


def _at_ends(kind, planned, one, span, worth):
    """Tries of what is done to structures at the ends of a span: to each, to both, or to the one that is worth more."""
    m, x, spans = planned.remedies, planned.site.facts.structures, planned.site.plan.spans
    own = [int(s) for s in (spans.tail[span], spans.head[span]) if len(m.at(kind, s))]
    if not own:
        return "no string of the span can be shortened by a step" if kind == "shorten" else \
            "no wire hangs from a suspension string at the ends of the span"
    if worth[m.at(kind, *own)].sum() < 1e-6:
        return "it does not take the wire farther from what is too near"
    ends_of = {"raise": [[s] for s in own] + [own], "strain": [[max(own, key=lambda s: worth[m.at(kind, s)][0])]]}
    return [_Try(" and ".join(str(x.structure[s]) for s in ends),
                 shapely.Point(x.easting[ends[0]], x.northing[ends[0]], planned.site.plan.base_elevation[ends[0]]),
                 m.at(kind, *ends), {"raise": f"raise {'both structures' if ends[1:] else 'one structure'}"}.get(kind))
            for ends in ends_of.get(kind, [own])]


def _strung(kind, planned, one, span, worth):
    """The try of stringing the section of the span tauter, or slacker."""
    tauter, section = kind == "tighten", int(planned.site.plan.spans.section[span])
    if (one["position"] == "below") == tauter:
        return "it is a wire above that is too near" if tauter else "nothing above the wire is too near"
    columns, name = planned.remedies.at(kind, section), planned.site.plan.sections.name[section]
    if not len(columns):
        measured = any(row.section == name for row in planned.site.wiring.measured)
        return "the section hangs as measured: take it out of the measurements to string it to its limits" if measured \
            else "what the existing wire does to its structures is not known (plan.largest_load_ratio)"
    return [_Try(f"section {name}", None, columns)]


def _cut(kind, planned, one, span, worth):
    cells, columns = planned.site.cells.get(span), planned.remedies.at(kind, span)
    if one["against"] != "ground" or cells is None:
        return "it is not the ground that is too near" if one["against"] != "ground" else "its cells are not known"
    return [_Try(f"below {one['span']}", None, columns)] if len(columns) else \
        f"{cells.blocked} stands where the cut would be"


def _trimmed(kind, planned, one, span, worth):
    obstacles = planned.site.facts.index.obstacles.obstacle
    place = int(np.flatnonzero(obstacles == one["obstacle"])[0]) if one["obstacle"] in obstacles else -1
    columns, tree = planned.remedies.at(kind, place), planned.site.trees.get(place)
    if not len(columns):
        return why_untrimmed(planned.site, "most" if kind == "trim" else "aside", [place])
    return [_Try(str(one["obstacle"]), None, columns, cut=tree.cut if kind == "trim" else tree.cut_aside,
                 note=f"with what it grows until the next cutting, {tree.regrowth:g} m")]


def _gone(kind, planned, one, span, worth):
    removable = planned.site.prices.removable
    if one["against"] not in removable or one["obstacle"] is None:
        return f"the study lets only these be taken away: {', '.join(removable) or 'none'}"
    obstacle = np.flatnonzero(planned.site.facts.index.obstacles.obstacle == one["obstacle"])
    return [_Try(str(one["obstacle"]), None, planned.remedies.at(kind, *obstacle))]


def _buried(kind, planned, one, span, worth):
    obstacles = planned.site.facts.index.obstacles.obstacle
    thing = int(np.flatnonzero(obstacles == one["obstacle"])[0]) if one["obstacle"] in obstacles else -1
    first = int(first_wires(planned.site, planned.site.circuits)[thing])
    return [_Try(str(obstacles[first]), None, planned.remedies.at(kind, first))] if first >= 0 else \
        "the study does not let it be put underground (plan.undergrounded)"


def _altered(kind, planned, one, span, worth):
    obstacles, step = planned.site.facts.index.obstacles.obstacle, planned.site.prices.step
    thing = int(np.flatnonzero(obstacles == one["obstacle"])[0]) if one["obstacle"] in obstacles else -1
    first = int(first_wires(planned.site, planned.site.others)[thing])
    columns = planned.remedies.at(kind, first)
    return [_Try(str(obstacles[first]), None, columns, cut=lambda steps: steps * step)] if len(columns) else \
        "the study does not let it be altered so (plan.alterable), or our wires are on its other side"


def _more(kind, planned, one, span, worth):
    place = planned.site.places[span]
    if isinstance(place, str):
        return place
    return [_Try(f"{one['span']}, {100 * place.share:.0f} % of the way", shapely.Point(place.easting, place.northing,
                 place.ground), planned.remedies.at(kind, span),
                 note=f"framing {place.framing}, on the highest ground near the middle that nothing stands on")]


#: Name of each kind in the table, its unit, what is to be known of it, and what tries it.
_TRIES = {
    "raise": ("raise structures", "m", None, _at_ends),
    "replace": ("replace structures by taller ones", "m", None, _at_ends),
    "shorten": ("shorten strings", "m", None, _at_ends),
    "v_string": ("change strings to V-strings", "structure", None, _at_ends),
    "post": ("change strings to posts", "structure", None, _at_ends),
    "strain": ("make it a strain structure", "structure", None, _at_ends),
    "tighten": ("re-tension, tauter", "%", "more than the stringing limits say; what the structures bear is for an "
                "engineer to find", _strung),
    "slacken": ("re-tension, slacker", "%", "less than the stringing limits allow", _strung),
    "grade": ("grade the ground", "m³", "vertical cuts on the grid of the ground raster, without slopes", _cut),
    "trim": ("trim the tree", "m", None, _trimmed),
    "side_trim": ("cut back the crown", "m", None, _trimmed),
    "remove": ("remove the object", "object", "the margin after is the least of the whole span", _gone),
    "bury": ("put the circuit underground", "circuit", "its owner's work; the margin after is the least of the whole "
             "span", _buried),
    **{kind: (f"{kind.partition('_')[0]} the wires of the other line", "m", "its owner's work, who shows what its "
              "structures bear and what its wires clear", _altered) for kind in OF_OTHERS},
    "add": ("add a structure", "structure", None, _more)}


def _derate(planned, one):
    """The limit temperature of the span, where heat is what brings it short."""
    limits, cases = planned.basis.limits, planned.site.facts.cases
    at = np.flatnonzero((limits["line"] == one["line"]) & (limits["span"] == one["span"]))
    T = limits["limit_temperature_c"][at[0]] if len(at) else np.nan
    # Galloping is a case of clearances alone, and no vertical one.
    case = next((case for case in cases if case.name == one["case"]), None)
    why = ("the limits are of wires above something" if one["measure"] != "vertical" or one["position"] == "below" else
           "it is not heat that brings the wire short" if not isinstance(case.temperature, str) else
           "no temperature clears, or some of it is not known" if np.isnan(T) else None)
    if why:
        return [_row(one, "derate", "", note=f"not offered: {why}")]
    current = limits["limit_current_a"][at[0]]
    note = "of the whole span" + ("" if np.isnan(current) else f", {current:.0f} A per phase")
    return [_row(one, "derate", f"span {one['span']}", amount=T, unit="°C", after=0.0, note=note)]


def _others(others, key, one):
    line, span, against, _ = key
    clear = [name for name, short in others.items()
             if not short & {key, (line, span, against, None), (line, span, None, None)}]
    remedy = "choose another option"
    return [_row(one, remedy, name, note="it has no violation here") for name in clear] or \
        [_row(one, remedy, "", note="not offered: every other option of the study has a violation here, too, "
             "or is not assessed")]
