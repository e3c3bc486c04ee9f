"""Work orders drawn: a page for each work item, with where it is, what is done, and what it clears before and after."""

from textwrap import fill

import matplotlib
import numpy as np
import shapely
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from corridor.outputs.drawings.paper import SHEET_STYLE
from corridor.outputs.guard import MARK

__all__ = ["draw_orders"]

#: A4, upright [in].
_PAGE = 8.27, 11.69
#: Least side of the map [m], and most rows of a table.
_LEAST, _MOST = 400.0, 9


def draw_orders(path, orders, route, cautions):
    """Write a book of pages.

    Parameters
    ----------
    path : path
        Of a PDF.
    orders : sequence of dict
        `title`, `facts` (pairs of a name and a text), `places` (rows of name, easting, northing and elevation [m]),
        `clearances` (rows of span, against, case, and margins before and after [m], nan where none is known), and
        `geometry` of the work.
    route : sequence of LineString
        Chords of all spans.
    cautions : sequence of str
    """
    with matplotlib.rc_context(SHEET_STYLE), PdfPages(path, metadata={"CreationDate": None, "Creator": MARK}) as book:
        for number, order in enumerate(orders, 1):
            figure = Figure(figsize=_PAGE)
            _page(figure, order, route, cautions, f"{number} of {len(orders)}")
            book.savefig(figure)


def _page(figure, order, route, cautions, number):
    figure.text(0.08, 0.955, "Work order", fontsize=9, color="#4b5560")
    figure.text(0.92, 0.955, number, fontsize=9, color="#4b5560", ha="right")
    figure.text(0.08, 0.93, order["title"], fontsize=14, weight="bold")
    y = 0.905
    for name, text in order["facts"]:
        lines = fill(text, 88)
        figure.text(0.08, y, name, fontsize=8.5, color="#4b5560", va="top")
        figure.text(0.26, y, lines, fontsize=8.5, va="top")
        y -= 0.0165 * (lines.count("\n") + 1) + 0.003
    tall = min(0.34, y - 0.50)
    _map(figure.add_axes((0.14, y - tall - 0.01, 0.78, tall)), order, route)
    y -= tall + 0.07
    _table(figure, y, ("place", "easting [m]", "northing [m]", "elevation [m]"),
           [(name, f"{e:.2f}", f"{n:.2f}", f"{z:.2f}") for name, e, n, z in order["places"]], _MOST)
    y -= 0.0155 * (min(len(order["places"]), _MOST + 1) + 2)
    _table(figure, y, ("span", "against", "case", "before [m]", "after [m]"),
           [(*map(str, row[:3]), *("not known" if np.isnan(v) else f"{v:+.2f}" for v in row[3:]))
            for row in order["clearances"]], _MOST)
    words = "Margins of the existing line and of the finished plan, not of the state in between. "
    figure.text(0.08, 0.03, fill(words + " ".join(cautions), 128), fontsize=6.5, color="#4b5560", va="bottom")


def _table(figure, top, head, rows, most):
    """A table from `top` downwards; what has no room is counted."""
    left = np.linspace(0.08, 0.80, len(head)) if len(head) == 4 else np.array([0.08, 0.24, 0.50, 0.68, 0.82])
    for x, text in zip(left, head, strict=True):
        figure.text(x, top, text, fontsize=8, color="#4b5560", va="top")
    for i, row in enumerate(rows[:most]):
        for x, text in zip(left, row, strict=True):
            figure.text(x, top - 0.0155 * (i + 1), text if len(text) < 34 else f"{text[:32]}...", fontsize=8, va="top")
    if len(rows) > most:
        figure.text(left[0], top - 0.0155 * (most + 1), f"and {len(rows) - most} more", fontsize=8, va="top")


def _map(axes, order, route):
    low, high = (np.array(shapely.total_bounds(order["geometry"])[a:b]) for a, b in ((0, 2), (2, 4)))
    middle, half = (low + high) / 2, max((high - low).max() * 0.6, _LEAST / 2)
    for chord in route:
        xy = shapely.get_coordinates(chord)
        axes.plot(*xy.T, color="#9aa2a9", linewidth=0.9, marker="s", markersize=2.4)
    for part in shapely.get_parts(order["geometry"]):
        axes.plot(*shapely.get_coordinates(part).T, color="#8a3b12", linewidth=2.2)
    for name, e, n, _ in order["places"]:
        axes.annotate(name, (e, n), xytext=(4, 4), textcoords="offset points", fontsize=7.5, annotation_clip=True)
    axes.set(xlim=(middle[0] - half * 1.6, middle[0] + half * 1.6), ylim=(middle[1] - half, middle[1] + half),
             aspect="equal", xlabel="Easting [m]", ylabel="Northing [m]")
    axes.tick_params(labelsize=7)
    axes.ticklabel_format(useOffset=False, style="plain")
    axes.xaxis.set_major_locator(MaxNLocator(4, integer=True))
    axes.yaxis.set_major_locator(MaxNLocator(4, integer=True))
