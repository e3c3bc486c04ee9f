"""Doubts about places: layers that lie elsewhere, structures off their line, feet of two kinds."""

import numpy as np
import shapely

from corridor.inspection.around import of_span, place_of
from corridor.inspection.doubt import COMMON, MINOR, SERIOUS, Doubt, Kind, gathered
from corridor.inspection.tops import file_of

__all__ = ["KINDS", "feet", "layers", "right_of_way", "spans", "turns"]

LAYER_FAR = Kind(
    "layer-far", SERIOUS, "a layer of obstacles lies elsewhere",
    "a CRS that is not the one the layer was drawn in, east and north exchanged, another corridor's file",
    "not one of its features within 500 m of boxes about the line", "what inspection itself looks at",
    "assign the CRS it was drawn in, or take the layer out of the study; accept it where it has nothing near the line")
LAYER_BESIDE = Kind(
    "layer-beside", SERIOUS, "a layer of obstacles lies beside the line",
    "a CRS near the right one: another datum or zone, feet of another kind",
    "eight features or more within 500 m of the line, and none within 60 m", COMMON,
    "compare it with the line on a map; assign the right CRS, or accept that nothing stands near the line")
LAYER_SHIFTED = Kind(
    "layer-shifted", SERIOUS, "the features of a layer lie along the line, but to one side of it", "a CRS on another "
    "datum, an old grid, a layer drawn for another line",
    "eight features or more, in five spans or more, that one shift of more than 30 m brings so near the line that less "
    "than a fifth of the squares of their distances is left", COMMON,
    "compare it with the line on a map; assign the right CRS, or accept it where all of it stands on one side")
FEET_MIXED = Kind(
    "feet-mixed", SERIOUS, "grids in US survey feet and in international feet are mixed",
    "the wrong one of two CRS that differ in their foot alone: 2 ppm, metres in a false easting or northing",
    "files in grids of both feet", "US survey foot of 1200/3937 m, NIST SP 811",
    "find out in which foot each file was drawn, and assign that; accept it where it is so")
STRUCTURE_CLOSE = Kind(
    "structure-close", SERIOUS, "two structures stand very close to each other",
    "a structure that is in the layer twice, or a pole of another line: the wire is then held up where nothing does so",
    "neighbours less than 10 m apart, or less than a twentieth of the middle span", COMMON,
    "take the one out that does not carry the wire; accept it where both do")
OFF_LINE = Kind(
    "structure-off-line", SERIOUS, "a suspension structure stands off its line",
    "a digit typed wrong, a structure taken from a map, easting or northing of another structure",
    "the line turns there by more than 8 degrees, and back by a quarter of that or more at both neighbours; or by more "
    "than 40 degrees", "suspension strings bear small angles: " + COMMON,
    "look its place up and correct it; give the role strain to one that stands in an angle")
TURNS_BACK = Kind(
    "line-turns-back", SERIOUS, "the line turns back",
    "structures out of order, a structure of another line", "a turn of more than 100 degrees", COMMON,
    "correct the order; accept it where the line really turns so")
SPAN_UNLIKE = Kind(
    "span-unlike", MINOR, "a span is much longer than the others of its line",
    "a structure that is missing in the layer", "more than three times the middle span and more than 500 m", COMMON,
    "add what is missing; accept a crossing that is so long")
WAY_OFF = Kind(
    "right-of-way-off", SERIOUS, "the right-of-way lies elsewhere",
    "another corridor's polygons, or a wrong CRS", "less than half of the structures within it", COMMON,
    "assign the right CRS, or take the right polygons")
KINDS = (LAYER_FAR, LAYER_BESIDE, LAYER_SHIFTED, FEET_MIXED, STRUCTURE_CLOSE, OFF_LINE, TURNS_BACK, SPAN_UNLIKE,
         WAY_OFF)

#: Features of a layer that are looked at.
_SAMPLE = 300
#: Farther than this from the line nothing is looked at [m].
_FAR = 500.0
#: Metres of both feet.
_INTERNATIONAL, _SURVEY = 0.3048, 1200 / 3937


def layers(evidence):
    """Yield doubts about where layers of obstacles lie."""
    obstacles, things = evidence.inputs.index.obstacles, evidence.things
    near = set(obstacles.layer[things.obstacle].tolist())
    chords = evidence.inputs.structures.lines(evidence.plan.spans.tail, evidence.plan.spans.head)
    tree = shapely.STRtree(chords)
    for read in evidence.inputs.layers:
        file = file_of(evidence, read.name)
        if not read.near:
            swapped = "; with east and north exchanged it would lie there" if read.swapped else ""
            middle = (read.bounds[:2] + read.bounds[2:]) / 2
            where = "nowhere in the grid" if np.isnan(middle).any() else f"about {middle[0]:.0f} E, {middle[1]:.0f} N"
            yield Doubt(LAYER_FAR, file, read.name, f"{read.features} features, {where}, none near the line{swapped}",
                        "features near the line")
            continue
        rows = np.flatnonzero((obstacles.layer == read.name) & (obstacles.fault == ""))
        span, away, aside = _aside(tree, chords, obstacles.geometry[rows])
        if read.name not in near and len(span) >= 8:
            yield Doubt(LAYER_BESIDE, file, read.name,
                        f"{len(span)} features within 500 m of the line, the nearest {np.abs(away).min():.0f} m off it",
                        "features within 60 m")
        elif (shift := _shift(span, away, aside)) is not None:
            yield Doubt(LAYER_SHIFTED, file, read.name, "features lie along the line, in the middle "
                        f"{np.hypot(*shift):.0f} m to one side ({shift[0]:+.0f} m east, {shift[1]:+.0f} m north)",
                        "features on both sides")


def _aside(tree, chords, geometry):
    """Span, distance [m] and direction from it of some features within 500 m of the line."""
    some = geometry[np.linspace(0, len(geometry) - 1, min(_SAMPLE, len(geometry))).astype(int)] if len(geometry) else \
        geometry
    points = shapely.point_on_surface(some)
    which, span = tree.query_nearest(points, max_distance=_FAR, all_matches=False)
    foot = shapely.line_interpolate_point(chords[span], shapely.line_locate_point(chords[span], points[which]))
    v = shapely.get_coordinates(points[which]) - shapely.get_coordinates(foot)
    crosses = shapely.intersects(some[which], chords[span])
    away = np.where(crosses, 0.0, np.hypot(*v.T))
    return span, away, v / np.maximum(np.hypot(*v.T), 1e-9)[:, None]


def _shift(span, away, aside):
    """The shift [m] that explains where features lie, or None."""
    if len(away) < 8 or len(set(span.tolist())) < 5:
        return None
    t = np.linalg.lstsq(aside, away, rcond=None)[0]
    left = ((away - aside @ t) ** 2).sum() / max((away**2).sum(), 1e-9)
    return t if np.hypot(*t) > 30 and left < 0.2 else None


def feet(evidence):
    """Yield the doubt about two kinds of feet."""
    parts = {_INTERNATIONAL: [], _SURVEY: []}
    for part, crs in evidence.inputs.grids:
        for foot in parts:
            if crs.is_projected and abs(crs.axis_info[0].unit_conversion_factor / foot - 1) < 1e-7:
                parts[foot].append(part)
    if all(parts.values()):
        survey, other = (", ".join(dict.fromkeys(parts[foot])) for foot in (_SURVEY, _INTERNATIONAL))
        yield Doubt(FEET_MIXED, evidence.files["study"], None, f"US survey feet: {survey}; international feet: {other}",
                    "one kind of feet")


def turns(evidence):
    """Yield doubts about angles of the line."""
    s, route, plan = evidence.inputs.structures, evidence.plan.route, evidence.plan
    a = route.line_angle
    inner = np.r_[False, (s.line[2:] == s.line[:-2]), False] if len(s) > 2 else np.zeros(len(s), bool)
    before, after = np.r_[0.0, a[:-1]], np.r_[a[1:], 0.0]
    zigzag = (np.abs(a) > 8) & (-before * np.sign(a) > np.abs(a) / 4) & (-after * np.sign(a) > np.abs(a) / 4)
    held = s.role == "suspension"
    back = inner & (np.abs(a) > 100)
    off = inner & held & ~back & (zigzag | (np.abs(a) > 40))
    for kind, found, expected in ((TURNS_BACK, back, "a line that goes on"),
                                  (OFF_LINE, off, "a suspension structure in the line of its neighbours")):
        i = np.flatnonzero(found)
        yield from gathered(kind, evidence.files["structures"], "structures", s.structure[i],
                            [f"a turn of {a[k]:.0f} degrees" for k in i], expected,
                            [place_of(s, k, plan.base_elevation[k]) for k in i], of=len(s))


def spans(evidence):
    """Yield doubts about lengths of spans."""
    s, spans = evidence.inputs.structures, evidence.plan.spans
    file, middle = evidence.files["structures"], float(np.median(spans.length))
    for kind, wrong, words in (
            (STRUCTURE_CLOSE, spans.length < max(10.0, middle / 20), "spans of 10 m or more"),
            (SPAN_UNLIKE, spans.length > max(500.0, 3 * middle), f"spans like the middle one of {middle:.0f} m")):
        i = np.flatnonzero(wrong)
        yield from gathered(kind, file, "structures", spans.name[i], [f"a span of {spans.length[k]:.1f} m" for k in i],
                            words, [of_span(s, spans, k) for k in i], of=len(spans))


def right_of_way(evidence):
    """Yield the doubt about the polygons of the right-of-way."""
    polygon, s = evidence.inputs.right_of_way.polygon, evidence.inputs.structures
    if polygon is None:
        return
    share = float(shapely.contains_xy(polygon, s.easting, s.northing).mean())
    if share < 0.5:
        yield Doubt(WAY_OFF, evidence.inputs.study.right_of_way.file, None, f"{share:.0%} of structures within it",
                    "half of them or more")
