"""What wires do to the structures: the layer `structure_loads`.

A load is judged against the existing wire, in its own worst case, and against the capacity of the structure
where one is given, never as structural design. At a suspension structure both spans of a wire pull at one string; at a
strain structure each section that ends there has rows of its own, since a structure must hold the one without the
other.

Along the line a wire that runs through is all but balanced, and what is left of it says nothing of a structure: one
that holds the wire up is made, along the line, for a wire that breaks on one side. So there the tension of the tighter
span is compared, which that load goes with (security loads of IEC 60826, recalled). In a case with a broken wire it is
the pull itself, at rest: how hard the wire jerks when it breaks is not in it.
"""

import numpy as np

from corridor.clearance.at_structures import body_rows
from corridor.clearance.capacity import factor_arrays, point_columns
from corridor.clearance.end_loads import Ends, end_loads
from corridor.clearance.swings import at_either_end, lifted_ends, string_swings
from corridor.clearance.v_strings import SLACK, arm_columns

__all__ = ["NOTHING", "load_rows"]

#: Loads of the existing wire below this are not compared: a ratio to next to nothing says nothing [N].
NOTHING = 200.0


def load_rows(scene, framings, capacities=None, summed=False):
    """Return the rows of `structure_loads`: one per structure, wire, section, option and case; and the loads with their
    factors.

    Parameters
    ----------
    scene : Scene
    framings : Framings
    capacities : Capacities or None
    summed : bool
        Whether totals are asked for without capacities, too: loads as they are.

    Returns
    -------
    columns : dict of ndarray
        With wind, of both sides the one with the greater transverse load, in cases that are `by_span` of both states
        the one with the greater longitudinal load; of both ends of a wire's history that with the greater load, or
        where either lifts, the lesser vertical one. Uplift, a lifted string, ratios and shares of capacities are the
        worst of all of them. At a string that wires have lifted the load is what would hold it plumb, the lift being
        negative. Where no equilibrium was found loads are those of the ruling span with strings plumb.
    totals : tuple
        Where there are capacities, or they are asked for, of every wire at a structure its number (row,), and the load
        (row, option, case, bound, state, 3) [N], the least and the greatest by its history of each state, which is a
        side of the wind, or that beside one of two spans; else empty.
    """
    ends = Ends(scene)
    loads, wind_load = (np.concatenate(each, axis=3) for each in zip(*map(end_loads, scene.both_ends), strict=True))
    forces = ends.summed(loads)
    by_span, broken = (np.array([getattr(case, name) for case in scene.cases], bool) for name in ("by_span", "broken"))
    swings = at_either_end(scene, lambda some: ends.of_both(string_swings(some)))
    swings = np.where(broken[:, None], np.nan, swings)
    option, case = (v.ravel() for v in np.indices(forces.shape[1:3]))
    rows = len(ends.structure)
    r, oc = np.repeat(np.arange(rows), len(option)), np.tile(np.arange(len(option)), rows)
    o, k = option[oc], case[oc]
    uplift = ends.lifting(forces, broken)
    side = ends.told(forces, uplift, by_span)[r, o, k]
    down, right, ahead = np.moveaxis(forces[r, o, k, side], -1, 0)
    known = np.isfinite(down) & ~(by_span & np.isnan(forces[..., 0]).any(axis=-1))[r, o, k]
    ratios = _ratios(ends.compared(forces, loads, broken), scene)[r, o, k]
    # The weight span is that of one load.
    weighing = np.where(by_span, np.nan, ends.load)[r, o, k]
    columns = ends.keys(r, o, k) | {
        "vertical_n": down, "transverse_n": right, "longitudinal_n": ahead,
        "wind_span_m": ends.wind_span[r], "weight_span_m": (down - ends.weight[r]) / weighing,
        "string_swing_deg": swings[r, o, k, side],
        "lifted": ends.of_any(at_either_end(scene, lifted_ends))[r, o, k].any(axis=-1),
        "uplift": uplift[r, o, k],
        "ratio_vertical": ratios[:, 0], "ratio_transverse": ratios[:, 1], "ratio_longitudinal": ratios[:, 2],
        "ratio_to_existing": np.fmax.reduce(ratios, axis=1),
    }
    arms = arm_columns(scene, ends, loads)
    bodies = body_rows(scene, framings, ends, arms["vee_arms"] == SLACK)
    columns |= {name: values[r, o, k] for name, values in (arms | bodies).items()}
    greater = columns["ratio_to_existing"]
    columns["above_existing"] = np.where(np.isnan(greater), None, greater > 1 + 1e-9)
    asked = summed or capacities is not None
    totals = (ends.structure, _factored(ends, loads, wind_load, capacities)) if asked else ()
    columns |= point_columns(capacities, scene, ends.wire, totals, (r, o, k))
    return {name: values[known] for name, values in columns.items()}, totals


def _factored(ends, loads, wind_load, capacities):
    """Loads at the rows with the factors of the cases, (row, option, case, bound, state, 3) [N]: of each state the
    least and the greatest by the history, so that each wire may add to those of others at the end that makes more of
    them."""
    vertical, wind, tension = factor_arrays(capacities, ends.scene.cases)
    pulled = loads * np.stack([vertical, tension, tension], -1)[:, None] + wind_load * (wind - tension)[:, None, None]
    by_end = ends.by_end(ends.summed(pulled, vertical, wind))
    return np.stack([by_end.min(axis=3), by_end.max(axis=3)], axis=3)


def _ratios(sizes, scene):
    """Loads over those of the existing wire in its own worst case; (row, option, case, 3), nan without one.

    Of both ends of a wire's history the greater load counts, of the existing wire beside others the less: no more is
    known to have been borne.
    """
    size = sizes.max(axis=3)
    today = next((i for i, option in enumerate(scene.options) if option.existing), None)
    if today is None:
        return np.full(size.shape, np.nan)
    worst = np.repeat(np.fmax.reduce(sizes[:, today].min(axis=2), axis=1)[:, None, None], size.shape[1], axis=1)
    worst[:, today] = np.fmax.reduce(size[:, today], axis=1)[:, None]
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(worst > NOTHING, size / worst, np.nan)
