"""Plan-and-profile sheets: one PDF, A3, the line cut into sheets at structures, to scale."""

from dataclasses import replace

import matplotlib
import numpy as np
from matplotlib.backends.backend_pdf import PdfPages

from corridor.outputs.drawings.cross_sections import cross_section_figures, cut_rows
from corridor.outputs.drawings.paper import SHEET_STYLE, Sheet, blank
from corridor.outputs.drawings.profile_facts import profile_of
from corridor.outputs.drawings.scenes import by_sheet
from corridor.outputs.drawings.sheet_plan import draw_plan
from corridor.outputs.drawings.sheet_profile import draw_profile
from corridor.outputs.drawings.sheet_title import draw_title
from corridor.outputs.guard import MARK

__all__ = ["ACROSS", "draw_sheets", "sheets_of", "worth_a_look"]

#: Scales in use, finest first [m on the ground to a metre of paper].
SCALES = (500.0, 1000.0, 2000.0, 2500.0, 5000.0, 10_000.0, 20_000.0, 25_000.0, 50_000.0, 100_000.0)
UPRIGHT = (50.0, 100.0, 200.0, 250.0, 500.0, 1000.0, 2000.0, 2500.0, 5000.0, 10_000.0)
#: Paper of plan and profile [mm].
ALONG, ACROSS, UP = 370.0, 62.0, 116.0


def sheets_of(scene, scale=5000.0):
    """Return the sheets of all lines, cut at structures; their vertical scale is not chosen yet.

    Parameters
    ----------
    scene : corridor.outputs.drawings.scenes.Scene
    scale : float
        Metres on the ground to a metre of paper; taken smaller where a span would not fit.

    Returns
    -------
    list of Sheet
    """
    spans, structures = scene.layers["spans"], scene.layers["structures"]
    scale = max(scale, next((s for s in SCALES if s * ALONG / 1e3 >= spans["length_m"].max()), SCALES[-1]))
    pieces = []
    for line, rows in spans.groupby("line", sort=False):
        posts = structures[structures["line"] == line].sort_values("station_m")
        rows = rows.set_index("from_structure").loc[posts["structure"].iloc[:-1]].reset_index()
        plan = np.column_stack([posts.geometry.x, posts.geometry.y])
        pieces += [(line, rows.iloc[a:b], posts.iloc[a:b + 1])
                   for a, b in _pieces(plan, posts["station_m"].to_numpy(), scale)]
    return [_sheet(*piece, number, len(pieces), scale) for number, piece in enumerate(pieces, start=1)]


def _pieces(plan, station, scale):
    """First and last structure of each sheet: as few sheets as fit along and across, and as alike in length as may be.
    """
    room, aside, many = scale * ALONG / 1e3, 0.36 * scale * ACROSS / 1e3, len(station)
    best, came = [(0, 0.0)] + [(many, np.inf)] * (many - 1), [0] * many
    for last in range(1, many):
        for first in range(last - 1, -1, -1):
            length = station[last] - station[first]
            if last - first > 1 and length > room:
                break
            if last - first > 1 and _aside(plan[first:last + 1]) > aside:
                continue
            cost = best[first][0] + 1, best[first][1] + length**2
            if cost < best[last]:
                best[last], came[last] = cost, first
    cuts = [many - 1]
    while cuts[-1]:
        cuts.append(came[cuts[-1]])
    return list(zip(cuts[:0:-1], cuts[-2::-1], strict=True))


def _aside(plan):
    """Maximum distance of places from the straight line between the first and the last [m]."""
    way, off = plan[-1] - plan[0], plan - plan[0]
    return np.abs(way[0] * off[:, 1] - way[1] * off[:, 0]).max() / np.hypot(*way)


def _sheet(line, spans, posts, number, count, scale):
    plan = np.column_stack([posts.geometry.x, posts.geometry.y])
    way = plan[-1] - plan[0]
    station = posts["station_m"].to_numpy()
    return Sheet(line, spans, posts, float(station[0]), float(station[-1]), tuple(plan[0]),
                 tuple(way / np.hypot(*way)), number, count, scale, np.nan)


def _upright(scene, sheets):
    """The finest scale at which each profile of a set leaves room for words below it, so that all may be compared."""
    on_sheet = by_sheet(scene)
    profiles = (profile_of(on_sheet(sheet, 1.0), sheet) for sheet in sheets)
    tall = max((profile.high - profile.low for profile in profiles), default=0.0)
    return next((s for s in UPRIGHT if s * UP / 1e3 >= 1.5 * tall), UPRIGHT[-1])


def worth_a_look(scene, sheets):
    """Return the sheets on which there is a violation or was not assessed, in any case.

    Parameters
    ----------
    scene : corridor.outputs.drawings.scenes.Scene
    sheets : sequence of Sheet
    """
    found = set()
    for name in ("violations", "not_assessed"):
        rows = scene.rows(name, every_case=True).dropna(subset="span")
        found |= set(zip(rows["line"], rows["span"], strict=True))
    return [sheet for sheet in sheets if any((sheet.line, span) in found for span in sheet.spans["span"])]


def draw_sheets(path, pairs, *, time=None, progress=None):
    """Draw sheets into one PDF, one at a time: memory does not grow with their number.

    Parameters
    ----------
    path : path
    pairs : sequence of (Scene, sequence of Sheet)
        One for each option, with the sheets of it that are drawn.
    time : datetime, optional
        What the PDF says it was made at; None: nothing.
    progress : callable, optional
        `progress(done, total)` in sheets.

    Returns
    -------
    int
        Number of sheets.
    """
    total, done = sum(len(sheets) for _, sheets in pairs), 0
    with matplotlib.rc_context(SHEET_STYLE), PdfPages(path, metadata={
            "Title": f"{pairs[0][0].title}: plan and profile", "Creator": MARK, "CreationDate": time}) as pdf:
        vertical = max((_upright(scene, sheets) for scene, sheets in pairs), default=UPRIGHT[0])
        for scene, sheets in pairs:
            on_sheet, cuts = by_sheet(scene), []
            for sheet in (replace(sheet, vertical=vertical) for sheet in sheets):
                here = replace(on_sheet(sheet, ACROSS * sheet.horizontal / 2e3), cuts_before=len(cuts))
                pdf.savefig(_figure(here, sheet))
                cuts += [(row, sheet) for row in cut_rows(here, sheet).itertuples()]
                done += 1
                if progress:
                    progress(done, total)
            for figure in cross_section_figures(scene, cuts):
                pdf.savefig(figure)
    return total


def _figure(scene, sheet):
    profile, figure = profile_of(scene, sheet), blank()
    draw_plan(figure, scene, sheet, profile, ACROSS)
    draw_profile(figure, scene, sheet, profile, UP)
    draw_title(figure, scene, sheet)
    return figure
