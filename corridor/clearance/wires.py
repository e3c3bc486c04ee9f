"""Rows of the layers `sections` and `wires`: tension, sag and the wire in space."""

import numpy as np
import shapely

from corridor.clearance.swing import to_grid
from corridor.geometry.catenary import arc_length, end_tension_ratios, greatest_sag, low_point
from corridor.geometry.distance import heights
from corridor.mechanics.stringing import loaded_plane

__all__ = ["PLACES", "section_rows", "wire_rows"]

#: Vertices of a wire in space: chords between them lie at most 2 cm above the wire of a 400 m span.
PLACES = 33


def _names(things):
    return np.array([thing.name for thing in things], object)


def _end_tension(scene):
    """Greatest end tension of every wire [N], shape (wire span, option, case)."""
    strung, group = scene.strung, scene.group
    S, h = _loaded(scene)
    H = strung.horizontal_tension[group]
    left, right = end_tension_ratios(S, h, strung.constant[group])
    return H * np.fmax(left, right)


def _loaded(scene):
    """Span and rise in the plane of the load [m], shape (wire span, option, case)."""
    wires, strung, group = scene.wires, scene.strung, scene.group
    rise = wires.end[:, 2] - wires.start[:, 2]
    return loaded_plane(wires.length[:, None, None], rise[:, None, None],
                        strung.weight[group], strung.wind[group])


def section_rows(scene):
    """Return the rows of `sections`: one per group of wires, option and case."""
    strung, groups = scene.strung, scene.groups
    shape = strung.horizontal_tension.shape
    g, o, k = (index.ravel() for index in np.indices(shape))
    tension = np.full(shape, -np.inf)
    np.fmax.at(tension, scene.group, _end_tension(scene))
    tension = np.where(np.isfinite(tension) & np.isfinite(strung.horizontal_tension), tension, np.nan)[g, o, k]
    section = groups.section[g]
    knee = strung.knee[g, o]
    return {
        "line": scene.sections.line[section], "section": scene.sections.name[section],
        "wire_kind": groups.kind[g], "option": _names(scene.options)[o], "case": _names(scene.cases)[k],
        "ruling_span_m": groups.span[g], "horizontal_tension_n": strung.horizontal_tension[g, o, k],
        "maximum_tension_n": tension, "percent_rts": 100 * tension / strung.rts[g, o],
        "condition": np.array([case.condition for case in scene.cases], object)[k],
        "governing_limit": strung.limit_text[g, o], "catenary_constant_m": strung.constant[g, o, k],
        "temperature_c": strung.temperature[g, o, k],
        "knee_temperature_c": np.where(np.isfinite(knee), knee, np.nan),
        "unstressed_length_factor": 1 + strung.excess[g, o],
        "load_n_per_m": np.hypot(strung.weight, strung.wind)[g, o, k], "residual": strung.residual[g, o, k],
    }


def wire_rows(scene, blown, sideways):
    """Return the rows of `wires`: one per wire span, option and case that has an answer.

    Parameters
    ----------
    scene : Scene
    blown : Swung or None
        Wires of the cases `sideways`; those with wind are drawn blown to the right of the line.
    sideways : ndarray of int
    """
    wires, spans, strung, group = scene.wires, scene.spans, scene.strung, scene.group
    S, h = _loaded(scene)
    C = strung.constant[group]
    known = np.isfinite(C) & np.isfinite(h)
    w, o, k = np.nonzero(known)
    S, h, C, H, T = S[known], h[known], C[known], strung.horizontal_tension[group][known], _end_tension(scene)[known]
    g, span = group[w], wires.span[w]
    wind = np.array([case.wind > 0 for case in scene.cases])
    tilt = np.degrees(np.arctan2(strung.wind, strung.weight))[g, o, k]
    return {
        "line": spans.line[span], "span": spans.name[span],
        "section": scene.sections.name[spans.section[span]], "wire": wires.wire[w], "kind": wires.kind[w],
        "circuit": wires.circuit[w], "option": _names(scene.options)[o], "case": _names(scene.cases)[k],
        "sag_m": greatest_sag(S, h, C), "horizontal_tension_n": H, "maximum_tension_n": T,
        "percent_rts": 100 * T / strung.rts[g, o], "conductor_temperature_c": strung.temperature[g, o, k],
        "condition": np.array([case.condition for case in scene.cases], object)[k], "swing_deg": tilt,
        "catenary_constant_m": C, "length_m": arc_length(S, h, C), "low_point_m": low_point(S, h, C),
        "wind_side": np.where(wind[k], "right", None),
        "geometry": _curves(scene, blown, sideways, wind, w, o, k, C),
    }


def _curves(scene, blown, sideways, wind, w, o, k, constant):
    """Wires in space as shapely lines."""
    wires, frame = scene.wires, scene.frame
    share = np.linspace(0, 1, PLACES)
    start, end = frame.start[:, None], frame.end[:, None]
    local = start + share[:, None] * (end - start)
    plan = to_grid(local, scene.structures, scene.spans, wires.span)[..., :2]
    coordinates = np.empty((len(w), PLACES, 3))
    coordinates[..., :2] = plan[w]
    rise = (wires.end - wires.start)[w, 2, None]
    coordinates[..., 2] = heights(share, wires.length[w, None], wires.start[w, 2, None], rise, constant[:, None])
    if blown is not None:
        in_wind = np.flatnonzero(wind[k])
        at = np.searchsorted(sideways, k[in_wind])
        points = blown.points[w[in_wind], o[in_wind], at, 0]
        coordinates[in_wind] = to_grid(points, scene.structures, scene.spans, wires.span[w[in_wind]])
    return shapely.linestrings(coordinates)
