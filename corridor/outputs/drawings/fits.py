"""Fits of surveyed wires, a page a span: points, the wires through them, and the wires as the line is described."""

import matplotlib
import numpy as np
from matplotlib.backends.backend_pdf import PdfPages

from corridor.outputs.drawings.style import drawn
from corridor.outputs.guard import MARK

__all__ = ["draw_fits"]

_INK, _MODEL, _POINT, _LOST = "#101820", "#8a3b12", "#9aa1a8", "#b3402f"
_LEGEND = ("Dots: surveyed points. Line: the wire through them; red and dotted where it does not count.\n"
           "Brown dashes: the wire as the line is described, at the same temperature and swing.")


def draw_fits(path, result):
    """Write a page for each span of surveys.

    Parameters
    ----------
    path : Path
        Of a PDF.
    result : SurveyResult
    """
    wires = result.layers["surveyed_wires"]
    pages = {}
    for row, key in enumerate(zip(wires["survey"], wires["line"], wires["span"], strict=True)):
        pages.setdefault(key, []).append(row)
    with matplotlib.rc_context({"pdf.fonttype": 42}), PdfPages(path, metadata={"CreationDate": None, "Creator": MARK}
                                                               ) as book:
        for key, rows in pages.items():
            _page(book, key, [(*(wires[name][row] for name in _SHOWN), *result.drawn[row]) for row in rows])


#: What a page tells of each wire.
_SHOWN = ("wire", "used", "sag_m", "sag_difference_m", "rms_m", "points", "reason")


def _page(book, key, wires):
    """Draw one span: from the side, and from above."""
    survey, line, span = key
    with drawn(8.2, 6.6, 2, 1, sharex=True, gridspec_kw={"height_ratios": (2.6, 1)}) as (figure, panels):
        side, above = panels[:, 0]
        for axes, k in ((side, 2), (above, 1)):
            for wire in wires:
                _wire(axes, k, wire)
        side.set_ylabel("elevation [m]")
        above.set_ylabel("right of the line [m]")
        above.set_xlabel("along the span [m]")
        above.invert_yaxis()
        side.set_title("\n".join(_words(wire) for wire in wires), fontsize=7.5, color="#3f4c57")
        figure.suptitle(f"{line}, span {span}, survey {survey}", x=0.02, ha="left", fontsize=11, fontweight="bold")
        figure.supxlabel(_LEGEND, x=0.02, ha="left", fontsize=7.5, color="#3f4c57")
        book.savefig(figure)


def _wire(axes, k, wire):
    name, used, *_, place, fitted, modelled = wire
    axes.plot(place[:, 0], place[:, k], linestyle="none", marker=".", markersize=1.6, color=_POINT, zorder=1,
              rasterized=True)
    axes.plot(modelled[:, 0], modelled[:, k], color=_MODEL, linestyle=(0, (5, 2)), linewidth=1.0, zorder=2)
    axes.plot(fitted[:, 0], fitted[:, k], color=_INK if used else _LOST, linestyle="-" if used else ":",
              linewidth=1.1, zorder=3)
    end = fitted[-1] if np.isfinite(fitted[-1]).all() else modelled[-1]
    if np.isfinite(end).all():
        axes.annotate(name, (end[0], end[k]), xytext=(4, 0), textcoords="offset points", fontsize=8, va="center")


def _words(wire):
    """What the fit of a wire comes to, in words."""
    name, used, sag, more, rms, points, reason, *_ = wire
    if not used:
        return f"{name}: does not count, {reason}"
    return f"{name}: sag {sag:.2f} m, {more:+.2f} m beside the line as described; {points} points, rms {rms:.3f} m"
