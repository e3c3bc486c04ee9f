"""Cross-sections at places where a profile cannot show what falls short: wires in wind, and things beside wires."""

import numpy as np
import pandas as pd
import shapely

from corridor.outputs.drawings.paper import SMALL, blank, place, short_number
from corridor.outputs.drawings.sheet_plan import worst_rows

__all__ = ["cross_section_figures", "cut_rows", "row_key"]

#: Panels of one sheet: columns and rows; width and height of each, and the gaps about them [mm].
_COLUMNS, _ROWS, _WIDE, _TALL = 3, 2, 110.0, 96.0
#: How far to either side of the middle of a panel is shown at least [m]; places of the ground are so far apart.
_HALF, _STEP = 9.0, 0.1


def cut_rows(scene, sheet):
    """Return what falls short beside wires, or of wires in wind, on a sheet: the worst row of each thing, by station.
    """
    rows = scene.rows("violations", every_case=True, line=sheet.line)
    rows = rows[rows["span"].isin(sheet.spans["span"])]
    aside = (rows["measure"] != "vertical") | rows["case"].isin(scene.windy)
    rows = worst_rows(rows[aside & rows["offset_m"].notna() & rows["wire_elevation_m"].notna()])
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
        figure.text(0.034, 0.915, "Cross-sections, seen towards higher stations. Filled dot: the wire where it falls "
                    "short. Thin: what is there, wide: what is required.", fontsize=SMALL)
        for k, (row, sheet) in enumerate(cuts[first:first + many]):
            column, line = k % _COLUMNS, k // _COLUMNS
            axes = place(figure, 26 + 126 * column, 156 - 128 * line, _WIDE, _TALL)
            _panel(axes, scene, sheet, row, first + k + 1)
        yield figure


def _panel(axes, scene, sheet, row, number):
    """Draw one cross-section to one scale both ways."""
    right = _right(sheet, row.span)
    point = np.array([row.geometry.x, row.geometry.y])
    middle, half = _view(row)
    x = np.arange(middle - half, middle + half + _STEP, _STEP)
    places = point + (x - row.offset_m)[:, None] * right
    ground = scene.sample(*places.T)
    axes.plot(x, ground, color="black", linewidth=1.2)
    _things(axes, scene, row, point, right, x)
    _edges(axes, scene, row, point, right, middle, half)
    _room(axes, row, x, ground)
    axes.plot([row.offset_m], [row.wire_elevation_m], "o", color="black", markersize=4.5, zorder=6)
    axes.axvline(0, color="0.6", linewidth=0.5, linestyle=(0, (8, 2, 1.5, 2)))
    axes.set_title(_words(row, number), fontsize=SMALL, loc="left")
    axes.set_xlabel("right of the centre of the span [m]", fontsize=SMALL)
    axes.set_ylabel("elevation [m]", fontsize=SMALL)
    z = [row.wire_elevation_m, row.other_elevation_m, row.wire_elevation_m - row.required_m]
    low, high = np.nanmin(z), np.nanmax(z)
    tall = 2 * half * _TALL / _WIDE
    axes.set(xlim=(middle - half, middle + half), ylim=((low + high - tall) / 2, (low + high + tall) / 2))
    axes.tick_params(length=2)
    axes.grid(True, color="0.9", linewidth=0.35)


def _right(sheet, span):
    """Unit vector in the grid to the right of a span."""
    chord = shapely.get_coordinates(sheet.spans.set_index("span").geometry.loc[span])
    way = (chord[-1] - chord[0]) / np.hypot(*(chord[-1] - chord[0]))
    return np.array([way[1], -way[0]])


def _view(row):
    """Middle and half of the width of a panel [m]."""
    high = abs(row.wire_elevation_m - row.other_elevation_m) if pd.notna(row.other_elevation_m) else 0.0
    reach = max(row.required_m, row.actual_m, 0.0)
    half = max(_HALF, 1.3 * reach, 0.75 * (high + row.required_m) * _WIDE / _TALL)
    return row.offset_m, half


def _room(axes, row, x, ground):
    """Draw what is there and what is required, as the measure has it: drawn lengths are those of the row."""
    at, z = row.offset_m, row.wire_elevation_m
    wide, thin = {"color": "0.55", "linewidth": 3.0, "zorder": 4}, {"color": "black", "linewidth": 0.9, "zorder": 5}
    if row.measure == "vertical":
        down = 1.0 if row.position == "below" else -1.0
        axes.plot([at, at], [z, z + down * row.required_m], solid_capstyle="butt", **wide)
        axes.plot([at, at], [z, z + down * row.actual_m], **thin)
    elif row.measure == "horizontal":
        side = _side(row, x, ground)
        axes.plot([at, at + side * row.required_m], [z, z], solid_capstyle="butt", **wide)
        axes.plot([at, at + side * row.actual_m], [z, z], **thin)
    else:
        for radius, look in ((row.required_m, wide | {"linewidth": 1.6}), (row.actual_m, thin)):
            turn = np.linspace(0, 2 * np.pi, 181)
            axes.plot(at + radius * np.cos(turn), z + radius * np.sin(turn), **look)


def _side(row, x, ground):
    """Side on which a thing beside a wire is: where the ground, else the centre of the span, is nearer in height."""
    if row.against != "ground":
        return 1.0 if row.offset_m >= 0 else -1.0
    high = [np.interp(row.offset_m + side * row.actual_m, x, ground) for side in (1.0, -1.0)]
    return 1.0 if np.nan_to_num(high[0], nan=-np.inf) >= np.nan_to_num(high[1], nan=-np.inf) else -1.0


def _things(axes, scene, row, point, right, x):
    """Draw the thing that counts, as far as it lies about the cut: at its own height, in plan at its own distance."""
    if not isinstance(row.obstacle, str):
        return
    reach = x[-1] - x[0]
    line = shapely.linestrings([point - reach * right, point + reach * right])
    for k in np.flatnonzero(scene.shape_names == row.obstacle):
        shape = scene.shapes[k]
        if shapely.distance(shape, shapely.points(point)) > reach:
            continue
        height = np.nan if scene.heights is None else scene.heights[k]
        if shapely.get_dimensions(shape) == 0:
            crown = 0.0 if scene.radii is None else scene.radii[k]
            _standing(axes, scene, row, shapely.get_coordinates(shape)[0], point, right, height, crown)
            continue
        for part in shapely.get_parts(shapely.intersection(shape, line)):
            at = (shapely.get_coordinates(part) - point) @ right + row.offset_m
            top = row.other_elevation_m
            if np.isnan(top) or len(at) == 0:
                continue
            axes.plot([at.min(), at.max()], [top, top], color="black", linewidth=2.2, solid_capstyle="butt",
                      marker="x" if len(at) == 1 else None, markersize=5, zorder=5)


def _standing(axes, scene, row, foot, point, right, height, crown):
    """Draw what stands at a point: its trunk and crown; where it falls, the arc of its top as far as that meets the
    cut."""
    at, base = float((foot - point) @ right + row.offset_m), float(scene.sample(*foot))
    if np.isnan(height) or np.isnan(base):
        return
    axes.plot([at, at], [base, base + height], color="0.3", linewidth=1.4, zorder=3)
    if crown > 0 and row.position != "falling":
        axes.plot([at - crown, at + crown], [base + height] * 2, color="0.3", linewidth=1.4, zorder=3)
    # What the top reaches is a sphere about the foot: the cut has a circle of it.
    away = float((foot - point) @ np.array([-right[1], right[0]]))
    height = np.sqrt(max(height**2 - away**2, 0.0))
    if row.position == "falling":
        turn = np.linspace(0, np.pi, 91)
        axes.plot(at + height * np.cos(turn), base + height * np.sin(turn), color="0.3", linewidth=0.8,
                  linestyle=(0, (4, 2)), zorder=3)


def _edges(axes, scene, row, point, right, middle, half):
    """Draw the edges of the right-of-way."""
    if scene.edge is None:
        return
    line = shapely.linestrings([point + (middle - half - row.offset_m) * right,
                                point + (middle + half - row.offset_m) * right])
    for place_ in shapely.get_coordinates(shapely.intersection(scene.edge, line)):
        axes.axvline(float((place_ - point) @ right + row.offset_m), color="black", linewidth=0.6,
                     linestyle=(0, (9, 2, 1.5, 2)))


def _words(row, number):
    name = row.obstacle if isinstance(row.obstacle, str) else row.against.replace("_", " ")
    how = {"vertical": "", "horizontal": ", beside", "radial": ", in space"}[row.measure]
    falls = ", falling" if row.position == "falling" else ""
    return (f"{number}   {row.line}, {row.span} {name}, {row.case}{how}{falls}; station {short_number(row.station_m)}\n"
            f"is {row.actual_m:.2f} m, required {row.required_m:.2f} m: short by {-row.margin_m:.2f} m")
