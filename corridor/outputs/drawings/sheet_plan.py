"""The plan strip of a sheet: turned so that the line runs across it, with an arrow to grid north."""

import numpy as np
import shapely

from corridor.outputs.drawings.paper import SMALL, place
from corridor.outputs.drawings.profile_facts import gap_lines

__all__ = ["EARTH", "LEFT", "draw_plan", "worst_rows"]

#: Left edge of plan and profile, and lower edge of the plan, on the sheet [mm].
LEFT, _BOTTOM = 32.0, 219.0
#: Distance of the places at which ground is taken for contours, on paper [mm], their intervals in use [m], and how many
#: a sheet has at most.
_CONTOUR_CELL, _INTERVALS, _MOST_CONTOURS = 1.5, (1, 2, 5, 10, 20, 50, 100, 200), 16
#: Colour of the ground.
EARTH = "#8a7660"


def draw_plan(figure, scene, sheet, profile, across):
    """Draw the plan strip of a sheet.

    Parameters
    ----------
    figure : Figure
    scene : corridor.outputs.drawings.scenes.Scene
    sheet : corridor.outputs.drawings.paper.Sheet
    profile : corridor.outputs.drawings.profile_facts.Profile
    across : float
        Height of the strip [mm].
    """
    wide, half = 370.0 * sheet.horizontal / 1e3, across * sheet.horizontal / 2e3
    axes = place(figure, LEFT, _BOTTOM, 370.0, across)
    axes.set(xlim=(sheet.begin, sheet.begin + wide), ylim=(-half, half), xticks=[], yticks=[])
    box = shapely.box(sheet.begin, -half, sheet.end, half)
    crossed = {row.obstacle for row in scene.rows("clearances", every_case=True, line=sheet.line).itertuples()
               if isinstance(row.obstacle, str)}
    interval = _draw_contours(axes, scene.about.sample, sheet, half)
    _draw_parcels(axes, scene, sheet, box)
    _draw_shapes(axes, scene, sheet, box, crossed)
    if scene.about.edge is not None:
        _draw_parts(axes, sheet, scene.about.edge, box, color="black", linewidth=0.5,
                    linestyle=(0, (9, 2, 1.5, 2)), zorder=3)
    _draw_line(axes, sheet)
    _draw_short(axes, scene, sheet)
    _draw_gaps(axes, scene, sheet, profile)
    _draw_grid(axes, sheet, half)
    _draw_north(axes, sheet, half)
    _draw_scale(axes, sheet, half)
    axes.text(0.0, 1.015, f"PLAN 1:{sheet.horizontal:.0f}   "
              "Rings: a violation in any case, margin in m.  Wide bars: not assessed, not a pass.  "
              "Dash and dot: edge of right-of-way.  Thin, named: roads, rails, water, buildings, other lines.  "
              "Star: tree.  Cross: grid."
              + ("  Dots: parcels." if len(scene.about.parcels) else "")
              + (f"  Brown: contours, {interval:g} m." if interval else ""),
              transform=axes.transAxes, fontsize=SMALL, va="bottom")


def _draw_contours(axes, sample, sheet, half):
    """Draw contours of the ground as far as it is known, and return their interval [m], None where there are none."""
    step = _CONTOUR_CELL * sheet.horizontal / 1e3
    x, y = np.arange(sheet.begin, sheet.end + step, step), np.arange(-half, half + step, step)
    places = sheet.in_grid(*(each.ravel() for each in np.meshgrid(x, y)))
    z = np.ma.masked_invalid(sample(*places).reshape(len(y), len(x)))
    if z.count() < 4 or not (rise := float(np.ptp(z.compressed()))) > 0:
        return None
    interval = next((each for each in _INTERVALS if rise / each <= _MOST_CONTOURS), _INTERVALS[-1])
    levels = np.arange(np.ceil(z.min() / interval), np.floor(z.max() / interval) + 1) * interval
    if not levels.size:
        return None
    lines = axes.contour(x, y, z, levels=levels, colors=EARTH, linewidths=[0.5 if round(each / interval) % 5 == 0 else
                                                                             0.25 for each in levels], zorder=1)
    axes.clabel(lines, levels=[each for each in levels if round(each / interval) % 5 == 0], fmt="%g", fontsize=SMALL,
                colors=EARTH)
    return interval


def _turn(sheet, shape):
    return shapely.transform(shapely.force_2d(shape), lambda points: np.column_stack(sheet.turned(points)))


def _draw_parts(axes, sheet, shape, box, **look):
    """Draw lines, or the outlines of areas, as far as they are on the sheet."""
    turned = _turn(sheet, shape)
    lines = shapely.intersection(shapely.boundary(turned) if shapely.get_dimensions(turned) == 2 else turned, box)
    for part in shapely.get_parts(lines):
        if shapely.get_dimensions(part) == 1:
            axes.plot(*shapely.get_coordinates(part).T, **look)
    return lines


def _draw_parcels(axes, scene, sheet, box):
    """Draw the edges of parcels, and the name of each where most of it is in view."""
    millimetre = sheet.horizontal / 1e3
    for land, name in zip(scene.about.parcels, scene.about.parcel_names, strict=True):
        _draw_parts(axes, sheet, land, box, color="0.3", linewidth=0.7, linestyle=(0, (1, 2)), zorder=2)
        seen = shapely.intersection(_turn(sheet, land), box)
        if seen.area > (6 * millimetre) ** 2:
            place = shapely.point_on_surface(max(shapely.get_parts(seen), key=shapely.area))
            axes.annotate(name, (place.x, place.y), fontsize=SMALL, style="italic", color="0.3", ha="center",
                          va="center", clip_on=True, zorder=2)


def _draw_shapes(axes, scene, sheet, box, crossed):
    """Draw what stands about the line, and name what its wires cross or pass."""
    named, taken = set(), []
    for shape, name in zip(scene.about.shapes, scene.about.shape_names, strict=True):
        turned = _turn(sheet, shape)
        if not turned.intersects(box):
            continue
        if shapely.get_dimensions(turned) == 0:
            axes.plot(*shapely.get_coordinates(turned).T, marker="*", color="0.45", markersize=2.5, linestyle="none",
                      markeredgewidth=0.2)
        else:
            _draw_parts(axes, sheet, shape, box, color="0.35", linewidth=0.45)
        part = turned.intersection(box)
        if name in crossed and name not in named and shapely.get_dimensions(turned) > 0 and not part.is_empty:
            named.add(name)
            _name_shape(axes, part, name, box, taken, sheet.horizontal / 1e3)


def _name_shape(axes, part, name, box, taken, millimetre):
    """Write a name where a shape is farthest above the line, below the names that are there."""
    points = shapely.get_coordinates(part)
    x, y = points[points[:, 1].argmax()]
    y = min(y, 0.94 * box.bounds[3])
    while any(abs(x - e) < 24 * millimetre and abs(y - n) < 2.8 * millimetre for e, n in taken):
        y -= 2.9 * millimetre
    taken.append((x, y))
    axes.annotate(name, (x, y), xytext=(1.5, -1.5), textcoords="offset points", fontsize=SMALL, va="top",
                  color="0.2", clip_on=True, zorder=4,
                  bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.4, "alpha": 0.8})


def _draw_line(axes, sheet):
    posts = sheet.structures
    x, y = sheet.turned(np.column_stack([posts.geometry.x, posts.geometry.y]))
    axes.plot(x, y, color="black", linewidth=1.0, zorder=5)
    held = (posts["role"] != "suspension").to_numpy()
    axes.plot(x[~held], y[~held], "o", markersize=3.2, markerfacecolor="white", markeredgecolor="black",
              markeredgewidth=0.7, zorder=6)
    axes.plot(x[held], y[held], "s", markersize=4.2, color="black", zorder=6)
    for name, angle, e, n in zip(posts["structure"], posts["line_angle_deg"], x, y, strict=True):
        turn = f"\n{abs(angle):.1f}° {'R' if angle > 0 else 'L'}" if abs(angle) >= 0.05 else ""
        axes.annotate(name + turn, (e, n), xytext=(0, -7), textcoords="offset points", fontsize=SMALL, ha="center",
                      va="top", fontweight="bold", zorder=7,
                      bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.4, "alpha": 0.8})


def worst_rows(frame):
    """Return the worst row for each object below each span."""
    return frame.sort_values("margin_m", kind="stable").groupby(["span", "against", "obstacle"], dropna=False,
                                                               sort=False).head(1)


def _draw_short(axes, scene, sheet):
    rows = worst_rows(scene.rows("violations", every_case=True, line=sheet.line))
    rows = rows[rows["span"].isin(sheet.spans["span"])]
    if not len(rows):
        return
    x, y = sheet.turned(np.column_stack([rows.geometry.x, rows.geometry.y]))
    axes.plot(x, y, "o", markersize=7, markerfacecolor="none", markeredgecolor="black", markeredgewidth=1.1, zorder=8)
    up = 0
    for e, n, margin in sorted(zip(x, y, rows["margin_m"], strict=True)):
        up = (up + 1) % 3
        axes.annotate(f"{margin:+.2f}", (e, n), xytext=(3 + 2 * up, 6 + 8 * up), textcoords="offset points",
                      fontsize=SMALL, fontweight="bold", zorder=9, arrowprops={"arrowstyle": "-", "linewidth": 0.4},
                      bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.3})


def _draw_gaps(axes, scene, sheet, profile):
    """A wide bar along what was not assessed, as long as that is."""
    for _, lines in gap_lines(scene, sheet, profile):
        for line in lines:
            axes.plot(*sheet.turned(shapely.get_coordinates(line)), color="black", linewidth=3.2,
                      linestyle=(0, (0.5, 1.0)), zorder=4.5)


def _draw_grid(axes, sheet, half):
    """Crosses of the grid 40 mm apart on paper, with easting and northing, where they leave the line free."""
    step, (e, n) = 0.04 * sheet.horizontal, sheet.way
    x = np.array([sheet.begin, axes.get_xlim()[1]]) - sheet.begin
    corners = np.array([[sheet.origin[0] + a * e - b * n, sheet.origin[1] + a * n + b * e] for a in x
                        for b in (-half, half)])
    low, high = np.ceil(corners.min(axis=0) / step), np.floor(corners.max(axis=0) / step)
    places = step * np.stack(np.meshgrid(*(np.arange(a, b + 1) for a, b in zip(low, high, strict=True))), -1)
    places = places.reshape(-1, 2)
    arm, millimetre = 0.0015 * sheet.horizontal, sheet.horizontal / 1e3
    for (east, north), along, left in zip(places, *sheet.turned(places), strict=True):
        inside = sheet.begin + 2 * millimetre < along < axes.get_xlim()[1] - 24 * millimetre
        if not inside or not 9 * millimetre < abs(left) < half - 4 * millimetre:
            continue
        for a, b in ((e, -n), (n, e)):  # easting and northing, turned
            axes.plot([along - arm * a, along + arm * a], [left - arm * b, left + arm * b], color="0.4", linewidth=0.4)
        axes.annotate(f"E {east:.0f}\nN {north:.0f}", (along, left), xytext=(4, 0), textcoords="offset points",
                      fontsize=SMALL, color="0.4", va="center", zorder=2)


def _draw_scale(axes, sheet, half):
    """A bar of four parts in the lower right corner."""
    length = 0.04 * sheet.horizontal
    right, y = axes.get_xlim()[1] - 0.006 * sheet.horizontal, -half + 0.004 * sheet.horizontal
    for k in range(4):
        axes.plot([right - length + k * length / 4, right - length + (k + 1) * length / 4], [y, y], linewidth=3.0,
                  color="black" if k % 2 == 0 else "0.75", solid_capstyle="butt", zorder=10)
    axes.text(right - length / 2, y + 0.0015 * sheet.horizontal, f"{length:g} m", fontsize=SMALL, ha="center",
              va="bottom", zorder=10)


def _draw_north(axes, sheet, half):
    """An arrow to grid north in the upper right corner; along the sheet is `way`."""
    e, n = sheet.way
    north = np.array([n, e])  # easting 0, northing 1, turned
    right = axes.get_xlim()[1]
    foot = np.array([right - 0.26 * half, 0.62 * half]) - 0.14 * half * north
    axes.annotate("", foot + 0.34 * half * north, foot, zorder=10,
                  arrowprops={"arrowstyle": "-|>", "linewidth": 1.0, "color": "black"})
    axes.text(*(foot + 0.46 * half * north), "N", fontsize=8, fontweight="bold", ha="center", va="center", zorder=10)
