"""A year by the hour as drawings: the rating over the hours, by month and hour, and what limits along the line."""

import numpy as np

from corridor.outputs.drawings.style import drawn, pens, save

__all__ = ["draw_exceedance", "draw_heat_map", "draw_limiting"]

_GREYS = "Blues"


def _columns_of(columns, option):
    rows = columns["option"] == option
    return {name: column[rows] for name, column in columns.items()}


def _rating_word(columns):
    """What the rating is called, by whether every span was assessed."""
    lost = int(np.max(columns["spans_not_assessed"], initial=0))
    return "Rating of the line" if not lost else f"Rating, at most ({lost} span{'s' * (lost > 1)} not assessed)"


def draw_exceedance(path, columns, step):
    """Draw in how many hours each option may carry a current or more, beside the load, and write it.

    Parameters
    ----------
    path : path
        Its ending, .svg, .png or .pdf, tells the kind.
    columns : dict of ndarray
        Of `corridor.rating.year.hour_rows`.
    step : float
        How long a row lasts [h].
    """
    options = list(dict.fromkeys(columns["option"]))
    with drawn(7.4, 4.4) as (figure, panels):
        axes = panels[0, 0]
        for option, pen in zip(options, pens(len(options)), strict=True):
            y = _columns_of(columns, option)["assessed_rating_a"]
            y = np.sort(y[np.isfinite(y)])[::-1]
            axes.plot(step * np.arange(1, len(y) + 1), y, **pen, markevery=0.14, markerfacecolor="white", label=option,
                      linewidth=1.3)
        load = _columns_of(columns, options[0])["current_a"]
        load = np.sort(load[np.isfinite(load)])[::-1]
        axes.fill_between(step * np.arange(1, len(load) + 1), load, color="#d9dcdf", label="load", linewidth=0)
        axes.set(xlabel="Hours in which it is so great or greater [h]", ylabel="Current [A per phase]", xlim=(0, None),
                 ylim=(0, None), title=f"{_rating_word(columns)}, and load, over the hours")
        axes.legend(ncols=2)
        save(figure, path)


def draw_heat_map(path, columns, option):
    """Draw the rating of an option by month and hour of the day: what it is at least nine days in ten; and write it.

    Parameters
    ----------
    path : path
    columns : dict of ndarray
        Of `corridor.rating.year.hour_rows`, with times.
    option : str
    """
    rows = _columns_of(columns, option)
    time = rows["time"].astype("datetime64[s]")
    month = time.astype("datetime64[M]").astype(int) % 12
    hour = ((time - time.astype("datetime64[D]")).astype(int) // 3600) % 24
    grid = np.full((12, 24), np.nan)
    for m, h in np.unique(np.column_stack([month, hour]), axis=0):
        values = rows["assessed_rating_a"][(month == m) & (hour == h)]
        # An hour that is not known counts as none, so that it makes no month look better.
        grid[m, h] = np.percentile(np.nan_to_num(values, nan=0.0), 10)
    with drawn(8.2, 4.2) as (figure, panels):
        axes = panels[0, 0]
        axes.grid(False)
        picture = axes.imshow(grid, aspect="auto", cmap=_GREYS, interpolation="nearest")
        middle = (np.nanmin(grid) + np.nanmax(grid)) / 2
        for (m, h), value in np.ndenumerate(grid):
            if np.isfinite(value):
                axes.text(h, m, f"{value:.0f}", ha="center", va="center", fontsize=5.6,
                          color="white" if value > middle else "#101820")
        axes.set_xticks(range(0, 24, 2))
        axes.set_yticks(range(12), ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"])
        axes.set(xlabel="Hour of the day, by the clock of the series [h]",
                 title=f"{option}: {_rating_word(rows).lower()}, which nine days in ten have [A per phase]")
        figure.colorbar(picture, ax=axes, label="Current [A per phase]", pad=0.01)
        save(figure, path)


def draw_limiting(path, columns, station):
    """Draw along the line in how many hours each span holds it back, a panel a line and option, and write it.

    Parameters
    ----------
    path : path
    columns : dict of ndarray
        Of `corridor.rating.year.year_span_rows`.
    station : ndarray, shape (row, 2)
        Of both ends of the span of each row [m].
    """
    panes = list(dict.fromkeys(zip(columns["line"], columns["option"], strict=True)))
    top = max(1.0, 1.15 * np.nanmax(columns["hours_limiting"], initial=0.0))
    with drawn(8.2, 0.7 + 1.5 * len(panes), len(panes), sharex=True) as (figure, panels):
        for axes, (line, option) in zip(panels[:, 0], panes, strict=True):
            rows = (columns["line"] == line) & (columns["option"] == option)
            hours, (start, end) = columns["hours_limiting"][rows], station[rows].T / 1000
            lost = np.isnan(hours)
            axes.bar(start, np.nan_to_num(hours), end - start, align="edge", color="#8a3b12", edgecolor="white",
                     linewidth=0.4)
            axes.bar(start[lost], np.full(lost.sum(), top), (end - start)[lost], align="edge", color="none",
                     edgecolor="#6a6f75", hatch="////", linewidth=0.4,
                     label="not assessed, perhaps worse" if lost.any() else None)
            for i in np.argsort(-np.nan_to_num(hours))[:3]:
                if hours[i] > 0:
                    axes.annotate(f"{columns['span'][rows][i]}", ((start[i] + end[i]) / 2, hours[i]), xytext=(0, 2),
                                  textcoords="offset points", ha="center", fontsize=7)
            axes.set(title=f"{line}: {option}", ylim=(0, top), ylabel="Hours [h]")
            if lost.any():
                axes.legend(fontsize=7, loc="upper right")
        panels[-1, 0].set_xlabel("Station along the line [km]")
        figure.suptitle("Hours in which a span allows less than all others, and less than the wire", fontsize=10,
                        x=0.01, ha="left")
        save(figure, path)
