"""Plan-and-profile sheets: one PDF, A3, the line cut into sheets at structures, to scale."""

from dataclasses import dataclass

import matplotlib
import numpy as np
from matplotlib.backends.backend_pdf import PdfPages

from corridor.outputs.drawings.paper import SHEET_STYLE, Sheet, blank
from corridor.outputs.drawings.sheet_plan import draw_plan
from corridor.outputs.drawings.sheet_profile import draw_profile, heights
from corridor.outputs.drawings.sheet_title import draw_title

__all__ = ["Scene", "cut_sheets", "draw_sheets"]

#: Scales in use, finest first [m on the ground to a metre of paper].
SCALES = (500.0, 1000.0, 2000.0, 2500.0, 5000.0, 10_000.0, 20_000.0, 25_000.0, 50_000.0, 100_000.0)
UPRIGHT = (50.0, 100.0, 200.0, 250.0, 500.0, 1000.0, 2000.0, 2500.0, 5000.0, 10_000.0)
#: Paper of plan and profile [mm].
ALONG, ACROSS, UP = 370.0, 62.0, 128.0


@dataclass(frozen=True)
class Scene:
    """What the sheets are drawn from.

    `layers` findings as data frames by name; `option` and `cases` that are drawn; `sample(easting, northing)` the
    ground [m]; `shapes` geometries about the line with their names in `shape_names`; `way` the right-of-way as one
    geometry, or None; `title` of the study.
    """

    layers: dict
    option: str
    cases: tuple
    sample: object
    shapes: np.ndarray
    shape_names: np.ndarray
    way: object
    title: str

    def rows(self, name, *, every_case=False, **wanted):
        """Return the rows of a layer with given values, of the option drawn, and the cases drawn or every case."""
        frame = self.layers[name]
        if "option" in frame:
            frame = frame[(frame["option"] == self.option) | frame["option"].isna()]
        if "case" in frame and not every_case:
            frame = frame[frame["case"].isin(self.cases) | frame["case"].isna()]
        for column, value in wanted.items():
            frame = frame[frame[column] == value]
        return frame


def cut_sheets(scene, scale=5000.0):
    """Return the sheets of all lines, cut at structures.

    Parameters
    ----------
    scene : Scene
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
    return [_sheet(scene, *piece, number, len(pieces), scale) for number, piece in enumerate(pieces, start=1)]


def _pieces(plan, station, scale):
    """First and last structure of each sheet: as many as fit along and across."""
    first, room, aside, pieces = 0, scale * ALONG / 1e3, 0.36 * scale * ACROSS / 1e3, []
    while first < len(station) - 1:
        last = first + 1
        while last + 1 < len(station) and station[last + 1] - station[first] <= room and \
                _aside(plan[first:last + 2]) <= aside:
            last += 1
        pieces.append((first, last))
        first = last
    return pieces


def _aside(plan):
    """Greatest distance of places from the straight line between the first and the last [m]."""
    way, off = plan[-1] - plan[0], plan - plan[0]
    return np.abs(way[0] * off[:, 1] - way[1] * off[:, 0]).max() / np.hypot(*way)


def _sheet(scene, line, spans, posts, number, count, scale):
    plan = np.column_stack([posts.geometry.x, posts.geometry.y])
    way = plan[-1] - plan[0]
    station = posts["station_m"].to_numpy()
    sheet = Sheet(line, spans, posts, float(station[0]), float(station[-1]), tuple(plan[0]),
                  tuple(way / np.hypot(*way)), number, count, scale, np.nan)
    low, high = heights(scene, sheet)
    upright = next((s for s in UPRIGHT if s * UP / 1e3 >= 1.35 * (high - low)), UPRIGHT[-1])
    return Sheet(*(getattr(sheet, name) for name in list(Sheet.__dataclass_fields__)[:-1]), upright)


def draw_sheets(path, scenes, *, scale=5000.0, time=None, progress=None):
    """Draw the sheets of some options into one PDF.

    Parameters
    ----------
    path : path
    scenes : sequence of Scene
        One for each option.
    scale : float
        As in `cut_sheets`.
    time : datetime, optional
        What the PDF says it was made at; None: nothing.
    progress : callable, optional
        `progress(done, total)` in sheets.

    Returns
    -------
    int
        Number of sheets.
    """
    pairs = [(scene, sheet) for scene in scenes for sheet in cut_sheets(scene, scale)]
    with matplotlib.rc_context(SHEET_STYLE), PdfPages(path, metadata={
            "Title": f"{scenes[0].title}: plan and profile", "Creator": "corridor", "CreationDate": time}) as pdf:
        for number, (scene, sheet) in enumerate(pairs, start=1):
            figure = blank()
            draw_plan(figure, scene, sheet, ACROSS)
            draw_profile(figure, scene, sheet, UP)
            draw_title(figure, scene, sheet)
            pdf.savefig(figure)
            if progress:
                progress(number, len(pairs))
    return len(pairs)
