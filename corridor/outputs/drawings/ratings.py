"""Ratings over air and wind, and how many hours of a year each option spends how hot."""

import numpy as np

from corridor.outputs.drawings.style import drawn, pens, save, spread

__all__ = ["draw_hours", "draw_ratings"]

#: How each state of a rating is drawn.
_STATES = {"normal": {"linestyle": "-", "color": "#101820"},
           "emergency": {"linestyle": (0, (5, 2)), "color": "#8a3b12"},
           "short time": {"linestyle": (0, (1.2, 1.4)), "color": "#1f6a96"}}


def draw_ratings(path, columns, method):
    """Draw current over the temperature of the air, one panel an option, one line a wind, and write it.

    Parameters
    ----------
    path : path
        Its ending, .svg, .png or .pdf, tells the kind.
    columns : dict of ndarray
        Of `corridor.rating.rating_tables.rating_table`.
    method : str
        Whose currents are drawn.
    """
    options = list(dict.fromkeys(columns["option"]))
    chosen = {name: column[columns["method"] == method] for name, column in columns.items()}
    across = min(2, len(options))
    down = -(-len(options) // across)
    with drawn(1.0 + 3.6 * across, 0.6 + 3.0 * down, down, across, sharex=True, sharey=True) as (figure, panels):
        top = 1.04 * np.nanmax(chosen["current_a"])
        for axes, option in zip(panels.flat, options, strict=False):
            rows = {name: column[chosen["option"] == option] for name, column in chosen.items()}
            axes.set_ylim(0, top)
            _panel(axes, rows, top)
        for axes in panels.flat[len(options):]:
            axes.set_visible(False)
        figure.supxlabel("Temperature of the air [°C]", fontsize=9)
        figure.supylabel(f"Current [A per phase], by {method}", fontsize=9)
        handles = panels.flat[0].get_legend_handles_labels()
        figure.legend(*handles, loc="outside upper right", ncols=len(handles[0]), fontsize=8)
        save(figure, path)


def _panel(axes, rows, top):
    axes.set_title(f"{rows['option'][0]}\n{_temperatures(rows)}", loc="left", fontsize=9)
    axes.set_xticks(np.unique(rows["ambient_c"]))
    winds = np.unique(rows["wind_m_s"])
    for state in dict.fromkeys(rows["state"]):
        of_state, ends = rows["state"] == state, []
        for wind in winds:
            line = of_state & (rows["wind_m_s"] == wind)
            x, y = rows["ambient_c"][line], rows["current_a"][line]
            axes.plot(x, y, label=state if wind == winds[0] else None, **_STATES[state], linewidth=1.3)
            ends.append(y[-1])
        if state == "normal":
            for wind, place in zip(winds, spread(ends, 0.055 * top), strict=True):
                axes.annotate(f"{wind:g} m/s", (x[-1], place), xytext=(3, 0), textcoords="offset points", va="center",
                              fontsize=7.5, annotation_clip=False)


def _temperatures(rows):
    """The temperatures of an option in words, each once."""
    each = {state: rows["temperature_c"][rows["state"] == state][0] for state in ("normal", "emergency")
            if state in rows["state"]}
    return ", ".join(f"{state} {T:g} °C" for state, T in each.items())


def draw_hours(path, courses, options, step):
    """Draw in how many hours each option is hotter than a temperature, and write it.

    Parameters
    ----------
    path : path
        Its ending, .svg, .png or .pdf, tells the kind.
    courses : sequence of ndarray, shape (hour,)
        Temperature of each option [°C]; nan is not drawn.
    options : sequence of str
    step : float
        How long a row lasts [h].
    """
    with drawn(7.0, 4.2) as (figure, panels):
        axes = panels[0, 0]
        for T, option, pen in zip(courses, options, pens(len(options)), strict=True):
            hotter = np.sort(T[np.isfinite(T)])[::-1]
            hours = step * np.arange(1, len(hotter) + 1)
            axes.plot(hotter, hours, **pen, markevery=(0.08, 0.16), markerfacecolor="white", label=option,
                      linewidth=1.2)
        axes.set(yscale="log", xlabel="Temperature of the wire [°C]", ylabel="Time in which it is hotter [h]",
                 title="How long each option is how hot")
        axes.yaxis.set_major_formatter("{x:g}")
        axes.grid(True, axis="x")
        axes.legend()
        save(figure, path)
