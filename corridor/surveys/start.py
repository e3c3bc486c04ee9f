"""From fitted wires to the state from which a study starts, and to the layers that tell of them."""

from dataclasses import replace

import numpy as np
import shapely

from corridor.assessment import make_scene
from corridor.clearance.findings import span_chords
from corridor.errors import InputError, nearest
from corridor.geometry.catenary import plane_of, points
from corridor.line.facts import Measured
from corridor.line.surveyed import Surveyed
from corridor.line.swing import to_grid
from corridor.rating.ratings import wire_of
from corridor.surveys.fits import fit_spans, points_by_span
from corridor.thermal.rating import Weather, temperature_at

__all__ = ["as_surveyed"]

#: Spans that are fitted at once.
_AT_ONCE = 300
#: How far points of wires may be beside the line of structures [m], beyond the widest framing.
_BESIDE = 12.0
#: A tension farther from that of its wire's other spans is told: standard deviations, and as a share [-].
_UNLIKE, _UNLIKE_SHARE = 3.0, 0.03
#: Surface of wires where the study rates none [-].
_SURFACE = 0.8


def as_surveyed(facts, plan, surveys):
    """Return the facts of a line whose wires hang as surveys saw them.

    Parameters
    ----------
    facts : Facts
    plan : Plan
        With the elevations of all bases.
    surveys : tuple of SurveyPoints

    Returns
    -------
    Facts
        With `surveyed`, and the wirings of the existing option and of shield wires measured in sections.

    Raises
    ------
    InputError
        A shot names a line, span or wire that there is not.
    """
    index = next(i for i, option in enumerate(facts.options) if option.existing)
    reach = np.abs(facts.framings.offset).max() + _BESIDE
    for each in surveys:
        _check_names(each, plan, facts.framings)
    heat = [_temperatures(each.section, facts, index, plan) for each in surveys]
    near = [points_by_span(each.place, facts.structures, plan.spans, reach) for each in surveys]
    today = replace(facts, options=(facts.options[index],), mixes=())
    rows = [row for ends in _ranges(plan) for row in _batch(today, plan, *ends, surveys, heat, near)]
    _counted(rows, facts.options[index].wiring.measured)
    measured = _measured(rows)
    options = tuple(replace(option, wiring=_knowing(option.wiring, measured, "phase")) if option.existing else option
                    for option in facts.options)
    return replace(facts, options=options, shield=facts.shield and _knowing(facts.shield, measured, "shield"),
                   surveyed=_surveyed(rows, surveys, facts, plan))


def _knowing(wiring, measured, kind):
    """The wiring with what was measured of wires of a kind."""
    return replace(wiring, measured=(*wiring.measured, *(row for each, row in measured if each == kind)))


def _measured(rows):
    """What sections are measured with: pairs of the kind of wires, and the middle of those that count."""
    return [(kind, Measured(line, section, some[0]["temperature_c"], np.nan,
                            float(np.median([row["catenary_constant_m"] for row in some])),
                            float(np.median([row["slant"] for row in some]))))
            for (line, section, kind), some in _grouped(rows, ("line", "section", "kind")).items()]


def _ranges(plan):
    """Spans of whole sections, together about as many as are fitted at once."""
    first = 0
    for last in plan.sections.last.tolist():
        if last + 1 - first >= _AT_ONCE or last + 1 == len(plan.spans):
            yield first, last
            first = last + 1


def _check_names(survey, plan, framings):
    """Refuse shots at spans and wires that there are not."""
    columns = () if survey.named is None else zip(
        survey.named, (plan.spans.line, plan.spans.name, framings.wire), ("line", "span", "wire"), strict=True)
    for names, known, word in columns:
        there = set(known.tolist())
        for name in dict.fromkeys(names.tolist()):
            if name and name not in there:
                raise InputError(survey.section.files[0], word, repr(name), f"a {word} of the line",
                                 nearest(name, sorted(there)))


def _temperatures(section, facts, index, plan):
    """Temperature of phase and shield wires at a survey [°C]."""
    if section.temperature is not None:
        return {"phase": section.temperature, "shield": section.temperature}
    wiring, heat = facts.options[index].wiring, facts.heat
    rated = heat.weather
    surface = {name: _SURFACE if rated is None else getattr(rated, name) for name in ("emissivity", "absorptivity")}
    weather = Weather(ambient=section.ambient, wind_speed=section.wind_speed, wind_angle=section.wind_angle,
                      solar=section.solar, elevation=float(np.fmax.reduce(plan.base_elevation)), **surface)
    wires = {"phase": (heat.wires[index], section.current / wiring.bundle)}
    if facts.shield is not None:
        wires["shield"] = wire_of(facts.shield.conductor, heat.frequency), 0.0
    return {kind: float(temperature_at(heat.method or "ieee738", current, weather, wire))
            for kind, (wire, current) in wires.items()}


def _batch(facts, plan, first, last, surveys, heat, near):
    """Rows of the wires of spans `first` to `last`: dicts of scalars, and what is drawn of each."""
    scene, _ = make_scene(facts, plan, first, last)
    if scene is None:
        return
    for number, (survey, warm, (edges, point)) in enumerate(zip(surveys, heat, near, strict=True)):
        part = edges[first:last + 2]
        T = np.array([warm.get(kind, np.nan) for kind in scene.wires.kind])
        found = fit_spans(scene, survey, part - part[0], point[part[0]:part[-1]], T)
        if found is not None:
            yield from _rows(scene, number, survey, found, T)


def _rows(scene, number, survey, found, temperature):
    """One dict for each fitted wire."""
    wires, spans, w = scene.wires, scene.spans, found.wire
    load = np.stack([0 * found.slant, found.slant, -np.ones(len(w))], axis=-1)
    share = np.linspace(0, 1, 33)
    curve = points(found.start, plane_of(found.start, found.end, load), found.constant, share)
    model_load = np.where((found.reason == "")[:, None], load, [0.0, 0.0, -1.0])
    model = plane_of(found.model_start, found.model_end, model_load)
    weight = found.tension / found.constant / np.hypot(1.0, found.slant)
    modelled = points(found.model_start, model, found.model_tension / (weight * model.load), share)
    grid = to_grid(curve, scene.structures, spans, wires.span[w])
    for i, row in enumerate(w):
        span = wires.span[row]
        yield {
            "number": number, "survey": survey.section.name, "survey_time": survey.section.time,
            "line": spans.line[span], "section": scene.sections.name[spans.section[span]], "span": spans.name[span],
            "wire": wires.wire[row], "kind": wires.kind[row], "points": int(found.fit.points[i]),
            "points_near": int(found.fit.within[i]), "rms_m": found.fit.rms[i],
            "catenary_constant_m": found.constant[i], "catenary_constant_sd_m": found.fit.constant_sd[i],
            "horizontal_tension_n": found.tension[i], "sag_m": found.fit.sag[i],
            "swing_deg": float(np.degrees(found.fit.swing[i])), "temperature_c": temperature[row],
            "sag_difference_m": found.fit.sag[i] - found.model_sag[i],
            "tension_difference_n": found.tension[i] - found.model_tension[i],
            "start_elevation_m": found.start[i, 2], "end_elevation_m": found.end[i, 2],
            "start_raise_m": found.start[i, 2] - found.model_start[i, 2],
            "end_raise_m": found.end[i, 2] - found.model_end[i, 2], "used": found.reason[i] == "",
            "reason": found.reason[i] or None, "note": None, "attached": survey.section.attachments,
            "slant": found.slant[i], "geometry": shapely.linestrings(grid[i]) if np.isfinite(grid[i]).all() else None,
            "strings": (wires.string_start[row] > 0, wires.string_end[row] > 0),
            "drawn": (found.shown[i], curve[i], modelled[i]),
        }


def _counted(rows, measured):
    """Tell which rows do not count: of sections that a table of the study measures, and of surveys of
    wires of which a later one has some that count; and with what is unlike the other spans of its wire."""
    given = {(row.line, row.section) for row in measured}
    last = {}
    for row in rows:
        if row["used"]:
            key = row["line"], row["section"], row["kind"]
            last[key] = max(last.get(key, -1), row["number"])
    for row in rows:
        key = row["line"], row["section"], row["kind"]
        if row["used"] and row["kind"] == "phase" and given & {key[:2], ("", key[1])}:
            row["used"], row["reason"] = False, "the study gives a measured tension of this section"
        elif row["used"] and row["number"] < last[key]:
            row["used"], row["reason"] = False, "a later survey of the study counts"
    _compare(rows)


def _compare(rows):
    """Tell of wires whose tension in a span is not that of its others: strings of a section at rest share one."""
    for some in _grouped(rows, ("line", "section", "wire")).values():
        H = np.array([row["horizontal_tension_n"] for row in some])
        sd = H * np.array([row["catenary_constant_sd_m"] / row["catenary_constant_m"] for row in some])
        middle = np.median(H)
        for row, off, own in zip(some, H - middle, sd, strict=True):
            if abs(off) > max(_UNLIKE * own, _UNLIKE_SHARE * middle):
                row["note"] = (f"pulls {off / middle:+.0%} beside the other spans of the wire: look for a slipped "
                               "clamp, a splice, another wire, a wrong temperature or a structure in another place")


def _grouped(rows, keys):
    """Rows that count, by some of their values."""
    found = {}
    for row in rows:
        if row["used"]:
            found.setdefault(tuple(row[key] for key in keys), []).append(row)
    return found


def _surveyed(rows, surveys, facts, plan):
    """What the rows come to."""
    used = [row for row in rows if row["used"]]
    keys = [key for key in rows[0] if key not in _ASIDE] if rows else []
    layers = {"surveyed_wires": {key: _column([row[key] for row in rows]) for key in keys},
              "surveyed_spans": _span_rows(rows, facts, plan)}
    return Surveyed(
        *(np.array([row[key] for row in used], object) for key in ("line", "span", "wire")),
        *(np.array([row[key] for row in used], float) for key in ("temperature_c", "horizontal_tension_n", "slant")),
        *np.array(_raises(used, plan), float).reshape(-1, 2).T, layers, tuple(row["drawn"] for row in rows),
        _words(rows, surveys, plan))


#: Columns of the ends of wires.
_ENDS = ("start_raise_m", "end_raise_m")
#: What rows have beside the columns of their layer.
_ASIDE = ("number", "attached", "slant", "strings", "drawn")


def _column(values):
    kinds = {type(value) for value in values}
    return np.array(values, object if kinds & {str, type(None)} or "geometry" in kinds else None)


def _numbers(spans):
    """The number of each span by its line and name."""
    return {key: i for i, key in enumerate(zip(spans.line, spans.name, strict=True))}


def _raises(used, plan):
    """By how much the ends of rows are raised [m], nan where that does not count; one string holds both its wires."""
    spans = plan.spans
    place = _numbers(spans)
    seen, keys = {}, []
    for row in used:
        span = place[row["line"], row["span"]]
        keys.append([(node, row["wire"], None if string else end) for node, string, end in zip(
            (spans.tail[span], spans.head[span]), row["strings"], _ENDS, strict=True)])
        for key, end in zip(keys[-1], _ENDS, strict=True):
            seen.setdefault(key, []).append(row[end])
    return [[float(np.mean(seen[key])) if row["attached"] else np.nan for key in pair]
            for row, pair in zip(used, keys, strict=True)]


def _span_rows(rows, facts, plan):
    """Rows of the layer `surveyed_spans`, one for each span with a fitted wire, as columns."""
    spans = plan.spans
    chords = span_chords(facts.structures, plan.base_elevation, spans)
    place = _numbers(spans)
    found, by_span = [], {}
    for row in rows:
        by_span.setdefault((row["line"], row["span"]), []).append(row)
    for (line, span), some in by_span.items():
        good = [row for row in some if row["used"]]
        lower = max((row["sag_difference_m"] for row in good), default=np.nan)
        lost = [f"{row['wire']}: {row['reason']}" for row in some if not row["used"]]
        notes = [f"{row['wire']}: {row['note']}" for row in good if row["note"]]
        found.append({
            "line": line, "section": some[0]["section"], "span": span, "wires_fitted": len(some),
            "wires_used": len(good), "sag_difference_m": lower,
            "horizontal_tension_n": float(np.mean([row["horizontal_tension_n"] for row in good])) if good else np.nan,
            "temperature_c": some[0]["temperature_c"], "reason": "; ".join(lost) or None,
            "note": "; ".join(notes) or None, "geometry": chords[place[line, span]]})
    return {key: _column([row[key] for row in found]) for key in found[0]} if found else {}


def _words(rows, surveys, plan):
    """What is to be said of surveys: from what the study starts, and what it could not take from them."""
    words = []
    for number, survey in enumerate(surveys):
        own = [row for row in rows if row["number"] == number]
        used, name = sum(row["used"] for row in own), survey.section.name
        words.append(f"survey {name}: the existing wire hangs as it was seen in {used} of {len(own)} wires in spans "
                     f"with points; to take it for hotter than it was would be on the unsafe side"
                     if used else f"survey {name}: no wire of it counts (layer surveyed_wires)")
        left = [row for row in own if not row["used"]]
        words += [f"survey {name}, not taken: {row['wire']} in {row['span']}: {row['reason']}" for row in left[:5]]
        if len(left) > 5:
            words.append(f"survey {name}: {len(left) - 5} more wires were not taken (layer surveyed_wires)")
    words += [f"survey {row['survey']}: {row['wire']} in {row['span']} {row['note']}" for row in rows if row["note"]]
    seen = {(row["line"], row["section"]) for row in rows if row["used"] and row["kind"] == "phase"}
    lost = [f"{name} of {line}" for line, name in zip(plan.sections.line, plan.sections.name, strict=True)
            if (line, name) not in seen]
    spans = plan.spans
    hung = {(row["line"], row["span"]) for row in rows if row["used"] and row["kind"] == "phase"}
    keys = zip(spans.line, spans.name, plan.sections.name[spans.section], strict=True)
    blind = [f"{span} of {line}" for line, span, section in keys
             if (line, section) in seen and (line, span) not in hung]
    if blind:
        words.append(f"no wire was seen in {len(blind)} span{'s' * (len(blind) > 1)} of sections that were surveyed, "
                     "where each hangs as in its other spans: " + ", ".join(blind[:5]) + ", ..." * (len(blind) > 5))
    if lost:
        words.append(f"no survey counts in {len(lost)} section{'s' * (len(lost) > 1)}, where the existing wire hangs "
                     "as its stringing says: " + ", ".join(lost[:5]) + ", ..." * (len(lost) > 5))
    return tuple(words)
