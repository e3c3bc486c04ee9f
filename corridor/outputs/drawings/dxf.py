"""Plan and profile as DXF, two files: the plan where it lies in the grid, the profile with stations along.

Units are metres. In the plan x is easting and y northing, without a shift. In the profile of the first line x is the
station and y `EXAGGERATED` times the elevation; further lines begin farther along x, where it says so. What is of an
option is on layers that name it, so that each can be switched off. Lines are thinned to `THIN` of where they run.
"""

import re
from contextlib import contextmanager
from importlib.util import find_spec

import numpy as np
import shapely

from corridor.errors import CorridorError
from corridor.outputs.drawings.cross_sections import cut_rows, row_key
from corridor.outputs.drawings.paper import short_number
from corridor.outputs.drawings.profile_facts import gap_lines, gap_stretches, profile_of
from corridor.outputs.drawings.scenes import by_sheet
from corridor.outputs.drawings.sheet_plan import worst_rows
from corridor.outputs.drawings.sheet_profile import LEVEL, crossing_words, marked_rows
from corridor.outputs.drawings.sheet_title import told_words
from corridor.outputs.drawings.sheets import ACROSS, sheets_of
from corridor.outputs.drawings.style import spread
from corridor.outputs.guard import MARK
from corridor.outputs.styles import COLOURS

__all__ = ["EXAGGERATED", "THIN", "need_dxf", "write_plan", "write_profile"]

#: Metres of a profile's drawing for a metre upward.
EXAGGERATED = 10.0
#: A line that is drawn leaves the one that was computed by no more [m].
THIN = 0.01
#: Height of letters on paper [m]: the least of ISO 3098-1 (recalled).
_LETTER = 1.8e-3
#: Colours of layers by how their names begin; anything else is black on white, white on black.
_COLOURS = {"VIOLATIONS": COLOURS["short"], "NOT ASSESSED": COLOURS["unknown"]}
_GREY = ("PARCELS", "GRID", "LEADERS", "GROUND LEFT", "GROUND RIGHT")
_DASHES = {"RIGHT OF WAY": "DASHDOT", "PARCELS": "DOT2", "REQUIRED": "DASHED2", "GROUND LEFT": "DASHED",
           "GROUND RIGHT": "DOT2"}
#: Characters that names of layers have no place for.
_REFUSED = re.compile(r'[<>/\\":;?*|=`,]')


def need_dxf():
    """Raise CorridorError where the library that writes DXF is missing."""
    if find_spec("ezdxf") is None:
        raise CorridorError("DXF needs ezdxf: pip install 'corridor[dxf]'")


@contextmanager
def _fixed():
    """A context in which ezdxf makes up no names and tells no times: the same drawing has the same bytes."""
    import ezdxf

    before = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = before


class _Drawing:
    """A drawing on its way: lines, rings and words on layers that are made when they are first drawn on."""

    def __init__(self, letter):
        import ezdxf

        with _fixed():
            self.document = ezdxf.new("R2010", setup=["linetypes"], units=6)  # 6: metres
        self.document.header["$LTSCALE"] = letter  # dashes as long as letters are high
        self.space = self.document.modelspace()
        self.letter = letter

    def layer(self, *names):
        name = _REFUSED.sub("_", " ".join(names))[:250]
        if name not in self.document.layers:
            made = self.document.layers.add(name, color=8 if names[0] in _GREY else 7,
                                            linetype=_DASHES.get(names[0], "CONTINUOUS"))
            if names[0] in _COLOURS:
                made.rgb = tuple(bytes.fromhex(_COLOURS[names[0]][1:]))
        return {"layer": name}

    def lines(self, shapes, *layer, stretch=1.0):
        """Draw lines, and the edges of areas; y is stretched after they are thinned."""
        shapes = np.asarray(shapes, dtype=object)
        shapes = np.where(shapely.get_dimensions(shapes) == 2, shapely.boundary(shapes), shapes)
        for part in shapely.get_parts(shapely.simplify(shapes, THIN)):
            points = shapely.get_coordinates(part) * (1.0, stretch)
            if len(points) > 1:
                self.space.add_lwpolyline(points, dxfattribs=self.layer(*layer))
            else:
                self.space.add_point(points[0], dxfattribs=self.layer(*layer))

    def ring(self, place, *layer):
        self.space.add_circle(place, self.letter, dxfattribs=self.layer(*layer))

    def words(self, text, place, *layer, upright=False, align="LEFT"):
        from ezdxf.enums import TextEntityAlignment

        made = self.space.add_text(text, height=self.letter, rotation=90.0 if upright else 0.0,
                                   dxfattribs=self.layer(*layer))
        made.set_placement(place, align=TextEntityAlignment[align])

    def title(self, lines, place):
        self.space.add_mtext("\\P".join(lines), dxfattribs=self.layer("TEXT") | {
            "char_height": 1.6 * self.letter, "insert": place, "attachment_point": 1, "width": 400 * self.letter})

    def save(self, path):
        from ezdxf import bbox, zoom

        box = bbox.extents(self.space, fast=True)
        if box.has_data:  # viewers open where the drawing is
            self.document.header["$EXTMIN"], self.document.header["$EXTMAX"] = box.extmin, box.extmax
            self.space.dxf.extmin, self.space.dxf.extmax = box.extmin, box.extmax
            zoom.window(self.space, box.extmin, box.extmax)
        self.document.header.custom_vars.append("Origin", MARK)
        for name in sorted({entity.dxftype() for entity in self.document.entitydb.values()}):
            self.document.classes.add_class(name)  # ezdxf adds them in the order of a set
        with _fixed():
            self.document.saveas(path)


def write_plan(path, scenes, *, scale=5000.0):
    """Write the plan of some options, in the coordinates of the grid.

    Parameters
    ----------
    path : path
    scenes : sequence of Scene
        One for each option, of the same study.
    scale : float
        Letters have the height that is legible on paper at this scale.
    """
    first, drawing = scenes[0], _Drawing(_LETTER * scale)
    spans, posts = first.layers["spans"], first.layers["structures"]
    drawing.lines(shapely.force_2d(spans.geometry.values), "SPANS")
    aside = _beside(first, drawing.letter)
    for row in posts.itertuples():
        place = row.geometry.x, row.geometry.y
        drawing.space.add_circle(place, 0.4 * drawing.letter, dxfattribs=drawing.layer("STRUCTURES"))
        drawing.words(row.structure, aside(row.line, place), "STRUCTURES")
    _plan_surroundings(drawing, scenes, scale)
    for scene in scenes:
        _plan_option(drawing, scene)
        _plan_gaps(drawing, scene, scale)
    west, south, *_ = spans.total_bounds
    notes = ["PLAN: x easting, y northing [m]"]
    drawing.title([*told_words(scenes), *notes], (west, south - 20 * drawing.letter))
    drawing.save(path)


def _beside(scene, letter):
    """A function that returns where the name of a structure goes: to the side of the line, beyond its wires [m]."""
    spans, wires = scene.layers["spans"], scene.layers["wires"]
    chords = dict(zip(zip(spans["line"], spans["span"], strict=True), spans.geometry, strict=True))
    ends = shapely.get_point(shapely.force_2d(wires.geometry.values), 0)
    keys = zip(wires["line"], wires["span"], strict=True)
    off = max((shapely.distance(end, chords[key]) for end, key in zip(ends, keys, strict=True)), default=0.0)

    def aside(line, place):
        own = spans[spans["line"] == line].geometry.values
        chord = shapely.get_coordinates(own[shapely.distance(own, shapely.points(place)).argmin()])
        way = (chord[-1] - chord[0]) / np.hypot(*(chord[-1] - chord[0]))
        side = np.array([way[1], -way[0]]) if way[0] >= 0 else np.array([-way[1], way[0]])
        return tuple(np.array(place) + (off + 2.0 * letter) * side)

    return aside


def _plan_surroundings(drawing, scenes, scale):
    """Draw what stands about the line, as far as a strip of the sheets shows it, and name what wires cross."""
    first, about = scenes[0], scenes[0].about
    strip = shapely.union_all(shapely.buffer(shapely.force_2d(first.layers["spans"].geometry.values),
                                             ACROSS * scale / 2e3))
    if about.edge is not None:
        drawing.lines([about.edge], "RIGHT OF WAY")
    crossed = {name for scene in scenes for name in scene.rows("clearances", every_case=True)["obstacle"].dropna()}
    seen = np.sort(shapely.STRtree(about.shapes).query(strip, predicate="intersects"))
    parts = shapely.intersection(about.shapes[seen], strip)
    drawing.lines(parts, "CROSSINGS AND OBSTACLES")
    near = np.sort(shapely.STRtree(about.parcels).query(strip, predicate="intersects"))
    for land, name in zip(about.parcels[near], about.parcel_names[near], strict=True):
        drawing.lines(shapely.intersection([shapely.boundary(land)], strip), "PARCELS")
        place = shapely.point_on_surface(shapely.intersection(land, strip))
        drawing.words(name, (place.x, place.y), "PARCELS", align="MIDDLE_CENTER")
    named = dict(zip(about.shape_names[seen], parts, strict=True))
    for name, part in named.items():
        if name in crossed and shapely.get_dimensions(part) > 0 and not part.is_empty:
            x, y = shapely.get_coordinates(part)[0]
            drawing.words(name, (x, y), "CROSSINGS AND OBSTACLES")


def _plan_option(drawing, scene):
    wires = scene.rows("wires")
    for case, rows in wires.groupby("case", sort=False):
        drawing.lines(shapely.force_2d(rows.geometry.values), "WIRES", scene.option, case)
    short = worst_rows(scene.rows("violations", every_case=True)).sort_values(["line", "station_m"])
    for number, row in enumerate(short.itertuples()):
        place, up = (row.geometry.x, row.geometry.y), (2 + 1.5 * (number % 4)) * drawing.letter
        drawing.ring(place, "VIOLATIONS", scene.option)
        drawing.words(f"{row.margin_m:+.2f} m, {row.case}", (place[0] + drawing.letter, place[1] + up),
                      "VIOLATIONS", scene.option)


def _plan_gaps(drawing, scene, scale):
    """Draw what was not assessed as long as it is, and say what it is."""
    gaps, on_sheet = scene.rows("not_assessed", every_case=True), by_sheet(scene)
    spans = set(zip(gaps["line"], gaps["span"], strict=True))
    for sheet in sheets_of(scene, scale):
        if spans.isdisjoint((sheet.line, span) for span in sheet.spans["span"]):
            continue
        here = on_sheet(sheet, ACROSS * sheet.horizontal / 2e3)
        for things, lines in gap_lines(here, sheet, profile_of(here, sheet)):
            drawing.lines(lines, "NOT ASSESSED", scene.option)
            middle = lines[0].interpolate(0.5, normalized=True)
            drawing.words(f"NOT ASSESSED: {things}", (middle.x, middle.y), "NOT ASSESSED", scene.option)


def write_profile(path, pairs, *, scale=5000.0, progress=None):
    """Write the profiles of some options, line after line.

    Parameters
    ----------
    path : path
    pairs : sequence of (Scene, sequence of Sheet)
        One for each option, with the sheets whose stretches of line are drawn.
    scale : float
        As in `write_plan`.
    progress : callable, optional
        `progress(done, total)` in stretches.
    """
    drawing = _Drawing(_LETTER * scale)
    begins = _begins(pairs[0][0])
    total, done = sum(len(sheets) for _, sheets in pairs), 0
    lows, posts = [], set()
    for number, (scene, sheets) in enumerate(pairs):
        on_sheet = by_sheet(scene)
        for sheet in sheets:
            here = on_sheet(sheet, ACROSS * sheet.horizontal / 2e3)
            profile, x0 = profile_of(here, sheet), begins[sheet.line]
            if number == 0:
                _profile_ground(drawing, sheet, profile, x0, posts)
            _profile_option(drawing, here, sheet, profile, x0)
            lows.append(profile.low)
            done += 1
            if progress:
                progress(done, total)
    notes = [f"PROFILE: x station [m], y {EXAGGERATED:g} times the elevation [m]: exaggerated {EXAGGERATED:g} times",
             *(f"Line {line}: station 0 at x = {x0:g}" for line, x0 in begins.items())]
    drawing.title([*told_words([scene for scene, _ in pairs]), *notes],
                  (0.0, EXAGGERATED * min(lows, default=0.0) - 90 * drawing.letter))
    drawing.save(path)


def _begins(scene):
    """Where on x each line begins: one after the other, with a gap."""
    x0, begins = 0.0, {}
    for line, rows in scene.layers["structures"].groupby("line", sort=False):
        begins[line] = x0
        x0 += np.ceil((rows["station_m"].max() + 500.0) / 500.0) * 500.0
    return begins


def _profile_ground(drawing, sheet, profile, x0, drawn):
    """Draw what is the same for every option: ground, structures that are not `drawn` yet, stations and spans."""
    for name, (station, elevation) in zip(("CENTRE", "LEFT", "RIGHT"), profile.grounds, strict=True):
        _known(drawing, x0 + station, elevation, f"GROUND {name}")
    if profile.surface is not None:
        _known(drawing, x0 + profile.grounds[0][0], profile.surface, "SURFACE")
    foot = EXAGGERATED * profile.low - 2 * drawing.letter
    for row in sheet.structures.itertuples():
        if (sheet.line, row.structure) in drawn:
            continue
        drawn.add((sheet.line, row.structure))
        top = profile.tops.get(row.structure, profile.high)
        _known(drawing, np.array([x0 + row.station_m] * 2), np.array([row.base_elevation_m, top]), "STRUCTURES")
        drawing.words(f"{row.structure}  {row.framing}  station {short_number(row.station_m)}  base "
                      f"{short_number(row.base_elevation_m)}", (x0 + row.station_m, foot), "STRUCTURES",
                      upright=True, align="MIDDLE_RIGHT")
    for name, length in profile.length.items():
        drawing.words(f"{name}  {short_number(length)}", (x0 + profile.start[name] + length / 2,
                      EXAGGERATED * profile.high + 3 * drawing.letter), "SPANS", align="MIDDLE_CENTER")
    _elevations(drawing, sheet, profile, x0)


def _elevations(drawing, sheet, profile, x0):
    """Lines of equal elevation with their numbers, 10 m apart."""
    for z in np.arange(10 * np.floor(profile.low / 10), profile.high + 10, 10.0):
        drawing.lines([shapely.linestrings([(x0 + sheet.begin, z), (x0 + sheet.end, z)])], "GRID", stretch=EXAGGERATED)
        drawing.words(f"{z:g}", (x0 + sheet.begin, EXAGGERATED * z), "GRID")


def _known(drawing, x, z, *layer):
    """Draw a line as far as its elevations are known."""
    gaps = np.flatnonzero(~np.isfinite(z))
    for part in np.split(np.column_stack([x, z]), gaps):
        part = part[np.isfinite(part[:, 1])]
        if len(part) > 1:
            drawing.lines([shapely.linestrings(part)], *layer, stretch=EXAGGERATED)


def _profile_option(drawing, scene, sheet, profile, x0):
    option = scene.option
    _known(drawing, x0 + profile.grounds[0][0], profile.required, "REQUIRED", option)
    for wire in profile.wires:
        _known(drawing, x0 + wire.station, wire.elevation, f"{wire.kind.upper()} WIRES", option, wire.case)
    rows, cuts = marked_rows(scene, sheet), {row_key(row) for row in cut_rows(scene, sheet).itertuples()}
    foot = EXAGGERATED * profile.low - 45 * drawing.letter
    at = spread((x0 + rows["station_m"]).to_list(), 1.5 * drawing.letter)
    for row, x in zip(rows.itertuples(), at, strict=True):
        name = "VIOLATIONS" if row.margin_m < 0 else "CROSSED"
        own = np.isfinite(row.other_elevation_m) and row.position not in LEVEL
        z = row.other_elevation_m if own else row.wire_elevation_m
        place = x0 + row.station_m, EXAGGERATED * z
        drawing.words(crossing_words(row).replace("\n", "  "), (x, foot), name, option, upright=True,
                      align="MIDDLE_RIGHT")
        drawing.lines([shapely.linestrings([place, (x, foot)])], "LEADERS", option)
        # A ring where neither the wire nor what it is too near to is drawn would lie.
        if row.margin_m < 0 and row_key(row) not in cuts:
            drawing.ring((place[0], EXAGGERATED * row.wire_elevation_m), name, option)
    for _, things, stretches in gap_stretches(scene, sheet, profile):
        y = EXAGGERATED * profile.high + 6 * drawing.letter
        for begin, end in stretches:
            drawing.lines([shapely.linestrings([(x0 + begin, y), (x0 + end, y)])], "NOT ASSESSED", option)
        drawing.words(f"NOT ASSESSED: {things}", (x0 + stretches[0][0], y + drawing.letter), "NOT ASSESSED", option)
