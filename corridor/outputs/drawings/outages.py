"""Outages drawn: a bar calendar of the work, and a map of it by outage."""

import numpy as np
import shapely
from matplotlib.dates import AutoDateLocator, ConciseDateFormatter

from corridor.outputs.drawings.style import drawn, pens, save

__all__ = ["draw_calendar", "draw_map"]


def draw_calendar(path, names, start, end, outage, dated=False):
    """Draw a bar for every work item, outage after outage, and write it.

    Parameters
    ----------
    path : path
    names : sequence of str
    start, end : ndarray, shape (item,)
        Hours of outage since the first began [h], or days as of matplotlib where `dated`.
    outage : ndarray of int, shape (item,)
    dated : bool
        Whether the axis has dates.
    """
    order = np.lexsort((start, outage))
    with drawn(8.4, 1.2 + 0.24 * len(order)) as (figure, panels):
        axes = panels[0, 0]
        for g, pen in zip(range(outage.max() + 1), pens(outage.max() + 1), strict=True):
            own = outage == g
            if g % 2:
                axes.axvspan(start[own].min(), end[own].max(), color="#eef0f2", zorder=0)
            axes.annotate(f"{g + 1}", (start[own].min(), 1), xycoords=("data", "axes fraction"), xytext=(3, 3),
                          textcoords="offset points", fontsize=8, color=pen["color"])
        every = pens(outage.max() + 1)
        for place, i in enumerate(order):
            axes.barh(place, end[i] - start[i], left=start[i], height=0.62, color=every[outage[i]]["color"])
        axes.set_yticks(range(len(order)), [names[i] for i in order])
        axes.invert_yaxis()
        axes.grid(True, axis="x")
        axes.grid(False, axis="y")
        if dated:
            days = end.max() - start.min()
            axes.set(xlabel="Local time; nights and free days count as outage",
                     xlim=(start.min() - 0.01 * days, end.max() + 0.01 * days))
            locator = AutoDateLocator(minticks=4, maxticks=9)
            axes.xaxis.set_major_locator(locator)
            axes.xaxis.set_major_formatter(ConciseDateFormatter(locator))
        else:
            axes.set(xlabel="Hours of outage, one outage after the other [h]", xlim=(0, end.max() * 1.01))
        figure.suptitle("Work by outage: the number of each above", x=0.01, ha="left", fontsize=10)
        save(figure, path)


def draw_map(path, geometry, kind, outage, route):
    """Draw where the work of each outage is, and write it.

    Parameters
    ----------
    path : path
    geometry : sequence of shapely geometry, length item
        Raises as points, pulls as lines.
    kind : sequence of str, length item
    outage : ndarray of int, shape (item,)
    route : sequence of LineString
        Chords of all spans.
    """
    box = shapely.total_bounds(list(route))
    width, height = np.maximum(box[2:] - box[:2], 1.0)
    with drawn(9.0, float(np.clip(8.0 * height / width, 2.0, 9.0)) + 0.9) as (figure, panels):
        axes = panels[0, 0]
        for chord in route:
            axes.plot(*shapely.get_coordinates(chord).T, color="#b4bac0", linewidth=0.8, zorder=1)
        count = outage.max() + 1
        for g, pen in zip(range(count), pens(count), strict=True):
            _group(axes, [(geometry[i], kind[i]) for i in np.flatnonzero(outage == g)], pen, g, count)
        axes.set_aspect("equal")
        axes.grid(False)
        # A line due east has no height of its own to go by.
        middle, half = (box[:2] + box[2:]) / 2, np.maximum(0.53 * np.array([width, height]), 0.12 * max(width, height))
        axes.set(xlim=middle[0] + [-half[0], half[0]], ylim=middle[1] + [-half[1], half[1]])
        axes.set(title="Work by outage: lines are wires to pull, marks other work", xlabel="Easting [m]",
                 ylabel="Northing [m]")
        axes.ticklabel_format(useOffset=False, style="plain")
        axes.xaxis.set_major_locator(_few())
        axes.legend(loc="best", fontsize=8)
        save(figure, path)


def _few():
    from matplotlib.ticker import MaxNLocator

    return MaxNLocator(5, integer=True)


def _group(axes, items, pen, g, count):
    label = f"outage {g + 1}"
    wide = {"linewidth": 2.6 + 1.2 * (count - g), "solid_capstyle": "butt", "dash_capstyle": "butt"}
    for shape, kind in items:
        for part in shapely.get_parts(shape):
            xy = shapely.get_coordinates(part).T
            style = {k: pen[k] for k in ("color", "linestyle")} | wide if kind in ("pull", "re-tension") else \
                {"color": pen["color"], "marker": pen["marker"], "linestyle": "none", "markersize": 8,
                 "markeredgecolor": "white", "markeredgewidth": 1.2, "zorder": 5}
            axes.plot(*xy, label=label, **style)
            label = None
