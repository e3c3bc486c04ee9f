"""Sag against temperature of every option in one span: the plot by which wires are chosen."""

import numpy as np

from corridor.outputs.drawings.style import drawn, pens, save, spread

__all__ = ["draw_curves"]

_INK, _SHORT = "#101820", "#8c9298"
#: White behind a text, so that no line runs through it.
_PAPER = {"facecolor": "white", "edgecolor": "none", "pad": 1.0, "alpha": 0.85}
_LEGEND = ("Circle: knee, where the core alone begins to carry. Shaded: the band of compression that slack aluminium "
           "may take.\nBar: maximum temperature; thin beyond it, up to the emergency temperature.")


def draw_curves(path, curves):
    """Draw the curves of a span and write them.

    Parameters
    ----------
    path : path
        Its ending, .svg, .png or .pdf, tells the kind.
    curves : Curves
        Of `corridor.jobs.curves`. An option without an answer is left out, and said to be. The wire that
        hangs today is drawn whole and thick, the others in dashes.
    """
    with drawn(8.2, 5.4) as (figure, panels):
        axes = panels[0, 0]
        order = sorted(curves.options, key=lambda each: not each.existing)
        paired = [(option, pen) for option, pen in zip(order, pens(len(order)), strict=True)
                  if np.isfinite(option.sag).all()]
        _frame(axes, curves)
        _allowed(axes, curves)
        for option, pen in paired:
            _band(axes, option, pen)
        for option, pen in paired:
            _line(axes, option, pen)
        _knees(axes, paired)
        _crossings(axes, curves, paired)
        _names(axes, paired, curves.allowable_sag)
        _words(figure, axes, curves)
        save(figure, path)


def _words(figure, axes, curves):
    """Title, subtitle and legend, all flush with the axes."""
    title = figure.suptitle(curves.title_lines[0], ha="left", fontsize=11, fontweight="bold")
    axes.set_title(curves.title_lines[1], fontsize=8.5, color="#3f4c57")
    lost = [option.name for option in curves.options if not np.isfinite(option.sag).all()]
    more = f"\nHatched: past the allowable sag, at which the span just keeps its clearance over {curves.against}." if (
        curves.against) else ""
    more += f"\nNo answer: {', '.join(lost)}." if lost else ""
    legend = figure.supxlabel(_LEGEND + more, ha="left", fontsize=7.5, color="#3f4c57")
    figure.draw_without_rendering()
    for text in (title, legend):
        text.set_x(axes.get_position().x0)


def _frame(axes, curves):
    """Axes that hold every curve, and the allowable sag with room to say so."""
    T = np.concatenate([each.temperature for each in curves.options])
    sag = np.concatenate([v for each in curves.options for v in (each.sag, each.sag_low, each.sag_high)])
    high = np.nanmax([np.nanmax(sag), curves.allowable_sag])
    low = np.nanmin([np.nanmin(sag), curves.allowable_sag])
    room = 0.08 * (high - low)
    axes.set(xlim=(T.min(), T.max()), ylim=(max(low - 2 * room, 0.0), high + 1.5 * room),
             xlabel="Temperature of the wire [°C]", ylabel="Sag [m]")


def _allowed(axes, curves):
    """The level of the allowable sag; what lies past it is hatched. Where there is none, the reason."""
    D = curves.allowable_sag
    if not np.isfinite(D):
        axes.annotate(curves.why, (0.01, 0.97), xycoords="axes fraction", va="top", fontsize=8.5, bbox=_PAPER,
                      zorder=7)
        return
    axes.axhspan(D, axes.get_ylim()[1], facecolor="none", edgecolor="#e1e3e6", hatch="////", linewidth=0, zorder=0)
    axes.axhline(D, color=_INK, linewidth=1.0, linestyle=(0, (9, 2, 1.5, 2, 1.5, 2)), zorder=2)


def _band(axes, option, pen):
    axes.fill_between(option.temperature, option.sag_low, option.sag_high, color=pen["color"], alpha=0.16, linewidth=0)


def _line(axes, option, pen):
    """One option: up to its maximum as its pen is, thinner beyond; its knee and its maximum marked."""
    T, sag = option.temperature, option.sag
    line = {"color": pen["color"], "linestyle": pen["linestyle"], "zorder": 3, "solid_capstyle": "butt"}
    usual, beyond = option.maximum_temperature >= T, option.maximum_temperature <= T
    axes.plot(T[usual], sag[usual], linewidth=2.6 if option.existing else 1.9, **line)
    axes.plot(T[beyond], sag[beyond], linewidth=0.9, **line)
    at = np.interp(option.maximum_temperature, T, sag)
    axes.plot(option.maximum_temperature, at, marker="|", markersize=11, markeredgewidth=1.8, color=pen["color"],
              zorder=4)
    if T[0] <= option.knee <= T[-1]:
        axes.plot(option.knee, option.knee_sag, marker="o", markersize=7, markerfacecolor="white", markeredgewidth=1.6,
                  color=pen["color"], zorder=5)


def _knees(axes, paired):
    """Temperatures of the knees: of two close together that of the upper one stands above it."""
    shown = [(option, pen) for option, pen in paired if option.temperature[0] <= option.knee <= option.temperature[-1]]
    near = 0.15 * np.ptp(axes.get_xlim())
    for option, pen in shown:
        above = any(abs(option.knee - other.knee) < near and option.knee_sag > other.knee_sag for other, _ in shown)
        side = {"xytext": (-7, 7), "ha": "right", "va": "bottom"} if above else {
            "xytext": (8, -11), "ha": "left", "va": "top"}
        axes.annotate(f"knee {option.knee:.0f} °C", (option.knee, option.knee_sag), textcoords="offset points",
                      fontsize=8, color=pen["color"], bbox=_PAPER, zorder=4, **side)


def _crossings(axes, curves, paired):
    """Where an option reaches the allowable sag, dropped to the axis of temperature."""
    short = [(option, pen) for option, pen in paired
             if option.temperature[0] < option.clears_to < option.temperature[-1] and np.isfinite(option.allowable_sag)]
    width = 0.028 * np.ptp(axes.get_xlim())
    places = spread([option.clears_to for option, _ in short], width)
    for (option, pen), place in zip(short, places, strict=True):
        axes.plot([option.clears_to] * 2, [axes.get_ylim()[0], option.allowable_sag], color=pen["color"],
                  linewidth=0.8, linestyle=(0, (1, 2)), zorder=2)
        axes.plot(option.clears_to, option.allowable_sag, marker="x", markersize=6, markeredgewidth=1.6,
                  color=pen["color"], zorder=5)
        axes.annotate(f"{np.floor(option.clears_to):.0f} °C", (place, axes.get_ylim()[0]), xytext=(0, 4), rotation=90,
                      textcoords="offset points", fontsize=8, ha="center", va="bottom", color=pen["color"], bbox=_PAPER)


def _names(axes, paired, allowed):
    """The name of every option beside the end of its curve, and of the allowable sag; none over another."""
    low, high = axes.get_ylim()
    edge, room = axes.get_xlim()[1], 0.05 * (high - low)
    wanted = [option.sag[-1] + (0 if option.temperature[-1] == edge else room * _free_side(option, paired))
              for option, _ in paired]
    labels = [(f"{option.name} (today)" if option.existing and option.name != "existing" else option.name,
               option.temperature[-1], pen["color"]) for option, pen in paired]
    if np.isfinite(allowed):
        wanted.append(allowed)
        labels.append((f"allowable {allowed:.2f} m", edge, _INK))
    for (name, T, colour), place in zip(labels, spread(wanted, room), strict=True):
        axes.annotate(name, (T, place), xytext=(6, 0), textcoords="offset points", va="center", color=colour,
                      fontsize=9, annotation_clip=False, bbox=_PAPER, zorder=6)


def _free_side(option, paired):
    """Side on which the end of a curve has more room: 1 above, -1 below."""
    T, sag = option.temperature[-1], option.sag[-1]
    gaps = [np.interp(T, other.temperature, other.sag) - sag for other, _ in paired
            if other is not option and other.temperature[-1] > T]
    return -1 if gaps and min(gaps, key=abs) > 0 else 1
