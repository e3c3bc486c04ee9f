"""The style that all drawings share: read in black and white, labelled at the lines themselves."""

from contextlib import contextmanager
from itertools import cycle, islice

import matplotlib
from matplotlib.figure import Figure

from corridor.outputs.guard import MARK

__all__ = ["KINDS", "PENS", "drawn", "pens", "save", "spread"]

#: Kinds of drawing that can be written.
KINDS = ("svg", "png", "pdf")

#: Pens that stay apart in black and white: colour, dash and marker each tell them apart alone.
PENS = (
    {"color": "#101820", "linestyle": "-", "marker": "o"},
    {"color": "#8a3b12", "linestyle": (0, (6, 2)), "marker": "s"},
    {"color": "#1f6a96", "linestyle": (0, (1.2, 1.4)), "marker": "^"},
    {"color": "#6a6f75", "linestyle": (0, (7, 2, 1.4, 2)), "marker": "D"},
    {"color": "#4b3f72", "linestyle": (0, (3, 1.2)), "marker": "v"},
)

_STYLE = {
    "font.family": "DejaVu Sans", "font.size": 9, "axes.titlesize": 10, "axes.titlelocation": "left",
    "axes.spines.top": False, "axes.spines.right": False, "axes.linewidth": 0.8, "axes.edgecolor": "#3f4c57",
    "axes.grid": True, "axes.grid.axis": "y", "grid.color": "#d9dcdf", "grid.linewidth": 0.6, "axes.axisbelow": True,
    "lines.linewidth": 1.7, "lines.markersize": 4.2, "xtick.direction": "out", "legend.frameon": False,
    "svg.fonttype": "none", "text.parse_math": False, "svg.hashsalt": "corridor", "figure.constrained_layout.use": True,
}


@contextmanager
def drawn(width, height, rows=1, columns=1, **shared):
    """Return a figure [in] and its axes in the common style; leave before saving nothing else is drawn."""
    with matplotlib.rc_context(_STYLE):
        figure = Figure(figsize=(width, height))
        yield figure, figure.subplots(rows, columns, squeeze=False, **shared)


def pens(count):
    """Return a pen for each of a number of things."""
    return list(islice(cycle(PENS), count))


def spread(values, least):
    """Return positions near values, ascending as they do, each at least so far from the one below.

    >>> spread([1.0, 1.1, 5.0], 0.5)
    [1.0, 1.5, 5.0]
    """
    order = sorted(range(len(values)), key=lambda i: values[i])
    places, floor = list(values), float("-inf")
    for i in order:
        places[i] = max(values[i], floor)
        floor = places[i] + least
    return places


def save(figure, path):
    """Write a figure by the ending of the path; the same figure gives the same bytes."""
    said = {".svg": {"Date": None, "Creator": MARK}, ".pdf": {"CreationDate": None, "Creator": MARK},
            ".png": {"Software": MARK}}
    with matplotlib.rc_context(_STYLE):
        figure.savefig(path, dpi=160, metadata=said.get(path.suffix, {}))
