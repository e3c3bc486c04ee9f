"""Rows of the layers `sections` and `wires`: tension, sag and the wire in space."""

import numpy as np
import shapely

from corridor.arrays import names_of, take
from corridor.clearance.checked import keys_of, least_rows
from corridor.geometry.catenary import arc_length, end_tension_ratios, greatest_sag, low_point, plane_of, points
from corridor.line.swing import to_grid
from corridor.mechanics.stringing import loaded_plane

__all__ = ["PLACES", "governing_wires", "section_rows", "wire_rows"]

#: Vertices of a wire in space: chords between them lie at most 2 cm above the wire of a 400 m span.
PLACES = 33


def _planes(scene):
    """Planes of all wires in all states; arrays (wire span, option, case, side)."""
    hung = scene.tensed
    return plane_of(hung.start, hung.end, hung.vectors)


def _end_tension(hung, plane):
    """Greatest end tension of every wire [N], shape (wire span, option, case): of both sides the greater."""
    left, right = end_tension_ratios(plane.span, plane.rise, hung.constant)
    return (hung.horizontal_tension * np.fmax(left, right)).max(axis=-1)


def _greatest_tension(scene):
    """The same of all wires, the greater of the two ends of their histories."""
    return np.fmax.reduce([_end_tension(each.tensed, _planes(each)) for each in scene.both_ends])


def section_rows(scene):
    """Return the rows of `sections`: one per group of wires, option and case."""
    strung, groups = scene.strung, scene.groups
    shape = strung.horizontal_tension.shape
    g, o, k = (index.ravel() for index in np.indices(shape))
    greatest = _greatest_tension(scene)
    tension = np.full(shape, -np.inf)
    np.fmax.at(tension, scene.group, np.where(np.isnan(greatest), -np.inf, greatest))
    tension = np.where(np.isfinite(tension), tension, np.nan)[g, o, k]
    section = groups.section[g]
    even = np.where([case.uneven for case in scene.cases], np.nan, 1.0)[k]
    knee, low, high = (np.where(np.isfinite(v), v, np.nan)[g, o] for v in (strung.knee, *strung.knee_band))
    return {
        "line": scene.sections.line[section], "section": scene.sections.name[section],
        "wire_kind": groups.kind[g], "option": names_of(scene.options)[o], "case": names_of(scene.cases)[k],
        "ruling_span_m": groups.span[g], "horizontal_tension_n": strung.horizontal_tension[g, o, k] * even,
        "maximum_tension_n": tension, "percent_rts": 100 * tension / strung.rts[g, o],
        "condition": np.array([case.condition for case in scene.cases], object)[k],
        "governing_limit": strung.limit_text[g, o], "catenary_constant_m": strung.constant[g, o, k] * even,
        "temperature_c": strung.temperature[g, o, k],
        "knee_temperature_c": knee, "knee_low_c": low, "knee_high_c": high,
        "outer_set": strung.outer_set[g, o], "core_set": strung.core_set[g, o], "set_by": strung.set_by[g, o],
        "unstressed_length_factor": 1 + strung.excess[g, o],
        "load_n_per_m": np.hypot(strung.weight, strung.wind)[g, o, k] * even, "residual": strung.residual[g, o, k],
    }


def wire_rows(scene):
    """Return the rows of `wires`: one per wire span, option and case that has an answer, blown to the right of the line
    where there is wind.

    Parameters
    ----------
    scene : Scene
    """
    wires, strung, hung = scene.wires, scene.strung, scene.tensed
    planes = _planes(scene)
    constant = hung.constant
    w, o, k = np.nonzero(np.isfinite(constant[..., 0]) & np.isfinite(planes.span[..., 0]))
    at = w, o, k, 0
    plane = take(planes, at)
    C, g, span = constant[at], scene.group[w], wires.span[w]
    T = _greatest_tension(scene)[w, o, k]
    wind = hung.wind[w, o, k, 0]
    sag = greatest_sag(plane.span, plane.rise, C)
    beside = _ruling_span_sag(scene)[w, o, k]
    return {
        **scene.keys(span, o, k), "wire": wires.wire[w], "kind": wires.kind[w], "circuit": wires.circuit[w],
        "sag_m": sag, "horizontal_tension_n": hung.horizontal_tension[at], "maximum_tension_n": T,
        "percent_rts": 100 * T / strung.rts[g, o], "conductor_temperature_c": strung.temperature[g, o, k],
        "condition": np.array([case.condition for case in scene.cases], object)[k],
        "swing_deg": np.degrees(np.arctan2(wind, hung.weight[w, o, k, 0])),
        "catenary_constant_m": C, "length_m": arc_length(plane.span, plane.rise, C),
        "low_point_m": low_point(plane.span, plane.rise, C), "wind_side": np.where(wind > 0, "right", None),
        "lifted": hung.lifted[at].any(axis=-1), "broken_span": scene.broken_spans(w, k),
        "method": np.where(scene.exact[w], "equilibrium", "ruling span"), "ruling_span_sag_m": beside,
        "ruling_span_difference_m": sag - beside,
        "geometry": _curves(scene, plane, at, C),
    }


def governing_wires(wires, clearances):
    """Return those rows of `wires` in whose case some wire of the span is the least favourable to anything, short of
    what is required, or compared without a known margin.

    Parameters
    ----------
    wires, clearances : dict of ndarray
        Rows of these layers, of the same spans.
    """
    count = len(wires["case"])

    def numbers(*names):
        """Rows of both tables numbered by some columns."""
        columns = [np.concatenate([some[name] for some in (wires, clearances)]).astype(str) for name in names]
        return keys_of(*(np.unique(each, return_inverse=True)[1] for each in columns))

    of_case = numbers("line", "span", "option", "case")
    margin, things = clearances["margin_m"], [np.asarray(clearances[name]).astype(str) for name in (
        "against", "obstacle", "measure", "position")]
    of_span = numbers("line", "span", "option")[count:]
    group = np.unique(keys_of(of_span, *(np.unique(each, return_inverse=True)[1] for each in things)),
                      return_inverse=True)[1]
    kept = ~(margin >= 0)
    kept[least_rows(group, margin)] = True
    keep = np.isin(of_case[:count], of_case[count:][kept])
    return {name: column[keep] for name, column in wires.items()}


def _ruling_span_sag(scene):
    """Maximum sag [m] that the ruling span gives, with strings plumb in still air; (wire span, option, case)."""
    group, strung = scene.group, scene.strung
    chord = scene.plumb.end - scene.plumb.start
    span, rise = np.hypot(*chord[:, :2].T), chord[:, 2]
    S, h = loaded_plane(span[:, None, None], rise[:, None, None], strung.weight[group], strung.wind[group])
    # Where ice is uneven, one tension for all spans is no answer to compare with.
    uneven = np.array([case.uneven for case in scene.cases])
    return np.where(uneven, np.nan, greatest_sag(S, h, strung.constant[group]))


def _curves(scene, plane, at, constant):
    """Wires in space as shapely lines."""
    local = points(scene.tensed.start[at], plane, constant, np.linspace(0, 1, PLACES))
    return shapely.linestrings(to_grid(local, scene.structures, scene.spans, scene.wires.span[at[0]]))
