"""The ladder: what a line carries as its worst spans are remedied, one after the other."""

import numpy as np
from matplotlib.ticker import MaxNLocator

from corridor.outputs.drawings.style import drawn, pens, save, spread

__all__ = ["draw_ladder"]


def draw_ladder(path, columns, required_current=None):
    """Draw the ladder, one panel a line, and write it.

    Parameters
    ----------
    path : path
        Its ending, .svg, .png or .pdf, tells the kind.
    columns : dict of ndarray
        Of `corridor.rating.ladder.ladder_rows`. Steps whose current is not known are left out and said.
    required_current : float or None
        Drawn as a level [A].
    """
    lines = list(dict.fromkeys(columns["line"]))
    options = list(dict.fromkeys(columns["option"]))
    by_current = np.isfinite(columns["limit_current_a"]).any()
    value = "limit_current_a" if by_current else "limit_temperature_c"
    unit = "Current that the line may carry [A per phase]" if by_current else "Temperature of the wire [°C]"
    longest = columns["spans_fixed"].max()
    with drawn(7.4, 0.9 + 3.6 * len(lines), rows=len(lines)) as (figure, panels):
        for axes, line in zip(panels[:, 0], lines, strict=True):
            rows = columns["line"] == line
            ends = [_stairs(axes, {name: column[rows & (columns["option"] == option)] for name, column in
                                   columns.items()}, value, longest, pen)
                    for option, pen in zip(options, pens(len(options)), strict=True)]
            if required_current is not None and by_current:
                _level(axes, required_current)
            axes.set(title=f"{line}: what each span remedied is worth", ylabel=unit, xlim=(0, longest + 0.8),
                     xlabel="Number of spans remedied, worst first [-]")
            axes.xaxis.set_major_locator(MaxNLocator(integer=True))
            axes.set_ylim(bottom=0)
            _names(axes, options, ends, longest)
            _unknown(axes, columns, rows)
        save(figure, path)


def _stairs(axes, steps, value, longest, pen):
    """Draw one option; return the height it ends at."""
    y = steps[value].astype(float)
    x = np.append(steps["spans_fixed"], longest + 0.8)
    axes.step(x, np.append(y, y[-1]), where="post", **pen | {"marker": None})
    axes.plot(steps["spans_fixed"], y, **pen | {"linestyle": "none", "markerfacecolor": "white"})
    return y[-1]


def _names(axes, options, ends, longest):
    """Write the name of each option beside the end of its stairs, none over another."""
    known = [(option, end, pen) for option, end, pen in zip(options, ends, pens(len(options)), strict=True)
             if np.isfinite(end)]
    apart = 0.058 * axes.get_ylim()[1]
    for (option, _, pen), place in zip(known, spread([end for _, end, _ in known], apart), strict=True):
        axes.annotate(option, (longest + 0.8, place), xytext=(4, 0), textcoords="offset points", va="center",
                      color=pen["color"], annotation_clip=False)


def _level(axes, current):
    axes.axhline(current, color="#101820", linewidth=0.8, linestyle=(0, (2, 3)))
    axes.annotate(f"required {current:.0f} A", (1, current), xycoords=("axes fraction", "data"), xytext=(-4, 3),
                  textcoords="offset points", ha="right", fontsize=8)


def _unknown(axes, columns, rows):
    """Hatch the steps at which the current is not known, since spans were not assessed."""
    lost = rows & np.array([note is not None and "not assessed" in note for note in columns["note"]])
    if lost.any():
        until = columns["spans_fixed"][lost].max() + 1
        axes.axvspan(0, until, facecolor="none", edgecolor="#cdd1d5", hatch="////", linewidth=0)
        axes.annotate("not known: spans not assessed", (until / 2, 0.5), xycoords=("data", "axes fraction"),
                      fontsize=7.5, rotation=90, ha="center", va="center",
                      bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.5})
