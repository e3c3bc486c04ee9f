"""What a page shows beside the findings: sag over temperature by section, options side by side, and a plan."""

import numpy as np
import shapely
from scipy.spatial import cKDTree

from corridor.arrays import names_of
from corridor.jobs.compare import Gathered, comparison_of
from corridor.line.build import attach
from corridor.line.elongation_laws import reshape_law
from corridor.line.history_ends import law_at_end
from corridor.line.section_wires import group_wires
from corridor.line.states import solve_states
from corridor.mechanics import ruling_span as ruling
from corridor.outputs.tables_compare import compare_table

__all__ = ["compared", "pack_curves", "pack_plan", "string_sections"]

#: Temperatures of a curve.
_POINTS = 28
#: What stands where nothing is known.
_NOTHING = "\N{EN DASH}"


def string_sections(facts, plan):
    """Return the groups of wires of all sections, and their states, strung as the check strings them."""
    wires, _ = attach(facts.structures, plan.base_elevation, plan.route, plan.spans, facts.framings)
    groups = group_wires(plan.spans, wires)
    return groups, solve_states(groups, facts.options, facts.cases, facts.shield, plan.sections)


def pack_curves(facts, plan, groups, strung, packer):
    """Return the catenary constants of phase wires over temperature: bare, final, in still air, by the ruling span.

    Parameters
    ----------
    facts : Facts
    plan : Plan
    groups : WireGroups
    strung : Strung
    packer : Packer

    Returns
    -------
    dict
        `line`, `section` of every section; by option `temperature` [°C] and `constant` [m] (section, temperature);
        `knee`, its band and the constant there (section, option); `bare` by option the cases of bare wires in still air
        in the final condition, with their temperature; `hangs` (section, option or mix) which of the options hangs.
    """
    phase = np.flatnonzero(groups.kind == "phase")
    coldest = min((case.temperature for case in facts.cases if not isinstance(case.temperature, str)), default=0.0)
    steps = [np.linspace(min(coldest, 0.0), _hottest(option), _POINTS) for option in facts.options]
    constant = [_constant(groups, strung, phase, o, T) for o, T in enumerate(steps)]
    every = np.arange(len(facts.options))
    knee, low, high = (np.where(np.isfinite(v), v, np.nan)[phase] for v in (strung.knee, *strung.knee_band))
    at_knee = np.stack([_constant(groups, strung, phase, o, knee[:, o:o + 1])[:, 0] for o in every], axis=1)
    bands = {name: packer.whole(values.ravel(), 0.1) for name, values in
             (("knee", knee), ("knee_low", low), ("knee_high", high))}
    names = {key: packer.codes(getattr(plan.sections, own)[groups.section[phase]])
             for key, own in (("line", "line"), ("section", "name"))}
    at = {option.name: o for o, option in enumerate(facts.options)}
    hangs = [np.full(len(plan.sections), o) for o in every]
    hangs += [np.array([at[each] for each in mix.hangs]) for mix in facts.mixes]
    return names | bands | {
        "hangs": packer.whole(np.stack(hangs, axis=1)[groups.section[phase]].ravel(), 1),
        "temperature": [packer.array(T) for T in steps], "constant": [packer.whole(C.ravel(), 0.01) for C in constant],
        "knee_constant": packer.whole(at_knee.ravel(), 0.01), "bare": [_bare_cases(facts, option) for option in
                                                                       facts.options]}


def _hottest(option):
    return float(option.wiring.emergency_temperature or option.wiring.maximum_temperature)


def _constant(groups, strung, g, o, T):
    """Catenary constant [m] of groups at temperatures, (group, temperature)."""
    w = strung.bare_weight[g, o, None]
    state = np.broadcast_arrays(g[:, None], o, groups.span[g, None], w, T)
    law = reshape_law(law_at_end(strung, *(v.ravel() for v in state)), state[0].shape)
    return ruling.tension(strung.excess[g, o, None], groups.span[g, None], w, T, law).horizontal_tension / w


def _bare_cases(facts, option):
    named = {"maximum": option.wiring.maximum_temperature, "emergency": option.wiring.emergency_temperature}
    cases = [(case.name, named.get(case.temperature, case.temperature)) for case in facts.cases
             if case.condition == "final" and case.ordinary]
    return [[name, float(T)] for name, T in cases if T is not None]


def compared(facts, plan, layers, loads, groups, strung):
    """Return the options side by side from findings that are read back: heads, rows of texts, and notes.

    What is not known has a dash: of an ordinary day that is no case of the study only the catenary is known here, that
    of the ruling span.

    Parameters
    ----------
    facts : Facts
    plan : Plan
    layers : dict of dict of ndarray
        Layers of the findings.
    loads : YearLoads
    groups : WireGroups
    strung : Strung
    """
    gathered = Gathered(facts)
    everyday = gathered.states.everyday
    for name, columns in layers.items():
        gathered.add(name, columns)
    if everyday not in {case.name for case in facts.cases}:
        gathered.add("sections", _ordinary_day(facts, groups, strung, everyday))
    table = compare_table(comparison_of(gathered, plan, loads))
    rows = [[f"{what} [{unit}]" if unit else what, *(_cell(value, form) for value in values)]
            for what, unit, values, form in table.rows]
    return ["of the options", *table.names], rows, list(table.notes)


def _ordinary_day(facts, groups, strung, name):
    """Rows of `sections` for the everyday state, as far as a comparison reads them."""
    g, o = (index.ravel() for index in np.indices(strung.excess.shape))
    T = np.full((len(groups), 1), facts.options[facts.reference].wiring.everyday_temperature)
    C = np.stack([_constant(groups, strung, np.arange(len(groups)), i, T)[:, 0] for i in range(len(facts.options))], 1)
    unknown = np.full(len(g), np.nan)
    return {"option": names_of(facts.options)[o], "wire_kind": groups.kind[g],
            "case": np.full(len(g), name, object), "maximum_tension_n": unknown, "percent_rts": unknown,
            "catenary_constant_m": C[g, o], "knee_temperature_c": unknown, "governing_limit": strung.limit_text[g, o]}


def _cell(value, form):
    if value is None or (isinstance(value, float | np.floating) and not np.isfinite(value)):
        return _NOTHING
    return format(int(value) if form == "d" else value, form) if form else str(value)


def pack_plan(frames, route, packer):
    """Return the layers of a plan that lies beside the findings, None where there is none.

    Parameters
    ----------
    frames : dict of GeoDataFrame
        Of `plan_layers`.
    route : ndarray, shape (span, 2, 2)
    packer : Packer
    """
    packed = {name: packer.table(_plain(frame)) for name, frame in frames.items()}
    if "work_items" in frames:
        items = frames["work_items"]
        places = np.array([_place(shape, kind) for shape, kind in zip(items.geometry, items["kind"], strict=True)])
        touched = [_touched(shape, route) for shape in items.geometry]
        first = np.concatenate([[0], np.cumsum([len(each) for each in touched])])
        packed |= {"span": packer.array(np.concatenate(touched).astype("int32")),
                   "span_first": packer.array(first.astype("int32"))}
        packed["work_items"] |= packer.table({"easting": places[:, 0], "northing": places[:, 1]})
    return packed or None


def _plain(frame):
    return {name: _column(frame[name]) for name in frame.columns if name != "geometry"}


def _column(values):
    """Numbers, or texts; a moment as the day and the minute."""
    if values.dtype.kind in "biuf":
        return values.to_numpy(float)
    texts = values.dt.strftime("%Y-%m-%d %H:%M") if values.dtype.kind == "M" else values
    return np.array([value if isinstance(value, str) else None for value in texts], object)


def _place(shape, kind):
    """Easting and northing of work at one place: where its spans meet, or else its middle; nan for wires to pull."""
    if kind == "pull" or shape is None:
        return np.nan, np.nan
    places, count = np.unique(np.round(shapely.get_coordinates(shape), 2), axis=0, return_counts=True)
    return places[count.argmax()] if count.max() > 1 else shapely.get_coordinates(shapely.centroid(shape))[0]


def _touched(shape, route):
    """Spans whose middle is that of a part of a shape."""
    middle = [shapely.get_coordinates(part)[[0, -1]].mean(axis=0) for part in shapely.get_parts(shape)]
    if not middle:
        return np.zeros(0, int)
    distance, index = cKDTree(route.mean(axis=1)).query(np.array(middle))
    return index[distance < 1.0]
