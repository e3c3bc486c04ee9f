"""Cross-sections at places where a profile cannot show every violation: wires in wind, and things beside wires."""

import numpy as np
import shapely

from corridor.outputs.cuts import SHAPE, cut_of, cut_places, cut_words, drawable
from corridor.outputs.drawings.paper import SMALL, blank, place
from corridor.outputs.drawings.sheet_plan import worst_rows

__all__ = ["cross_section_figures", "cut_rows", "row_key"]

#: Panels of one sheet: columns and rows; width and height of each [mm].
_COLUMNS, _ROWS, _WIDE, _TALL = 3, 2, 110.0, 110.0 / SHAPE
#: Looks of what is required, what is there, and what stands about.
_WIDE_LINE = {"color": "0.55", "solid_capstyle": "butt", "zorder": 4}
_THIN_LINE = {"color": "black", "linewidth": 0.9, "zorder": 5}
_LOOKS = {"top": {"color": "black", "linewidth": 2.2, "solid_capstyle": "butt", "marker": "x", "markersize": 5,
                  "markevery": (0, 2), "zorder": 5},
          "stem": {"color": "0.3", "linewidth": 1.4, "zorder": 3},
          "fall": {"color": "0.3", "linewidth": 0.8, "linestyle": (0, (4, 2)), "zorder": 3}}


def cut_rows(scene, sheet):
    """Return every violation beside wires, or of wires in wind, on a sheet: the worst row of each thing, by station.
    """
    rows = scene.rows("violations", every_case=True, line=sheet.line)
    rows = rows[rows["span"].isin(sheet.spans["span"])]
    aside = (rows["measure"] != "vertical") | rows["case"].isin(scene.windy)
    rows = worst_rows(rows[aside & drawable(rows)])
    return rows.sort_values("station_m")


def row_key(row):
    """Return what tells a row of `cut_rows` from all others of its option and line."""
    return row.span, row.against, row.obstacle if isinstance(row.obstacle, str) else None, row.case, row.measure


def cross_section_figures(scene, cuts):
    """Yield the sheets of the cross-sections of an option; none where nothing asks for one.

    Parameters
    ----------
    scene : corridor.outputs.drawings.scenes.Scene
        Of the whole line.
    cuts : sequence of (row, Sheet)
        Rows of `cut_rows`, in the order of their numbers from 1 on, with the sheet that each is on.
    """
    many = _COLUMNS * _ROWS
    for first in range(0, len(cuts), many):
        figure = blank()
        figure.text(0.034, 0.94, f"{scene.title}: {scene.option}", fontsize=11, fontweight="bold")
        figure.text(0.034, 0.915, "Cross-sections, seen towards higher stations. Filled dot: the wire there. "
                    "Thin: what is there, wide: what is required. Cross or bar: the thing, at its own height; "
                    "dashes: way of a top that falls. Dash and dot: edge of right-of-way; grey: centre of the span.",
                    fontsize=SMALL)
        for k, (row, sheet) in enumerate(cuts[first:first + many]):
            column, line = k % _COLUMNS, k // _COLUMNS
            axes = place(figure, 26 + 126 * column, 156 - 128 * line, _WIDE, _TALL)
            _panel(axes, scene, sheet, row, first + k + 1)
        yield figure


def _panel(axes, scene, sheet, row, number):
    """Draw one cross-section to one scale both ways."""
    cut = _cut(scene, sheet, row)
    axes.plot(cut.across, cut.ground, color="black", linewidth=1.2)
    for kind, line in cut.things:
        # A line that is met at one place is a cross, an area the width that it has.
        look = _LOOKS[kind] if kind != "top" or np.ptp(line[:, 0]) == 0 else _LOOKS[kind] | {"marker": None}
        axes.plot(*line.T, **look)
    for at in cut.edges:
        axes.axvline(at, color="black", linewidth=0.6, linestyle=(0, (9, 2, 1.5, 2)))
    axes.plot(*cut.required.T, linewidth=3.0 if len(cut.required) == 2 else 1.6, **_WIDE_LINE)
    axes.plot(*cut.actual.T, **_THIN_LINE)
    axes.plot(*cut.wire, "o", color="black", markersize=4.5, zorder=6)
    axes.axvline(0, color="0.6", linewidth=0.5, linestyle=(0, (8, 2, 1.5, 2)))
    words, lengths = cut_words(row)
    axes.set_title(f"{number}   {row.line}, {words}\n{lengths}", fontsize=SMALL, loc="left")
    axes.set_xlabel("right of the centre of the span [m]", fontsize=SMALL)
    axes.set_ylabel("elevation [m]", fontsize=SMALL)
    axes.set(xlim=cut.bounds[:2], ylim=cut.bounds[2:])
    axes.tick_params(length=2)
    axes.grid(True, color="0.9", linewidth=0.35)


def _cut(scene, sheet, row):
    """The cross-section of a row on a sheet."""
    chord = shapely.get_coordinates(sheet.spans.set_index("span").geometry.loc[row.span])
    way = (chord[-1] - chord[0]) / np.hypot(*(chord[-1] - chord[0]))
    right, rows = np.array([way[1], -way[0]]), scene.layers["violations"].loc[[row.Index]]
    across, places = cut_places(rows, right[None], [scene.about])
    return cut_of(row, right, across[0], scene.about.sample(*places[0].T), scene.about)
