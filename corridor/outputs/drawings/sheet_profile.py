"""The profile of a sheet: ground, wires of some cases, the clearance the ground requires, what is crossed."""

import numpy as np
import pandas as pd
import shapely

from corridor.outputs.drawings.look import spread
from corridor.outputs.drawings.paper import place, short_number
from corridor.outputs.drawings.sheet_plan import LEFT, worst_rows

__all__ = ["draw_profile", "heights"]

#: Lower edge of profile and band on the sheet [mm].
_BOTTOM, _BAND = 76.0, 46.0
#: Distance of the places at which ground is drawn [m].
_STEP = 1.0
#: Dashes of the wires of each case.
_DASHES = ("-", (0, (7, 2)), (0, (2, 1.2)), (0, (8, 2, 1.5, 2)), (0, (4, 1.5, 1, 1.5, 1, 1.5)))
#: Labels of crossings stand at least so far apart [mm].
_LABEL = 3.2


def heights(scene, sheet):
    """Return the least and greatest elevation that a sheet shows [m]."""
    wires = _wires(scene, sheet)
    z = [shapely.get_coordinates(wires.geometry.values, include_z=True)[:, 2]]
    z += [elevation for _, elevation in _grounds(scene, sheet, wires)]
    z.append(sheet.structures["base_elevation_m"].to_numpy())
    z = np.concatenate(z)
    return float(np.nanmin(z)), float(np.nanmax(z))


def draw_profile(figure, scene, sheet, up):
    """Draw profile and band of a sheet.

    Parameters
    ----------
    figure : Figure
    scene : corridor.outputs.drawings.sheets.Scene
    sheet : corridor.outputs.drawings.paper.Sheet
    up : float
        Height of the profile [mm].
    """
    axes = place(figure, LEFT, _BOTTOM, 370.0, up)
    tall = up * sheet.vertical / 1e3
    low, high = heights(scene, sheet)
    floor = 5 * np.floor((low - 0.62 * (tall - (high - low))) / 5)
    axes.set(xlim=(sheet.begin, sheet.begin + 370.0 * sheet.horizontal / 1e3), ylim=(floor, floor + tall))
    _grid(axes, sheet)
    wires = _wires(scene, sheet)
    _draw_grounds(axes, scene, sheet, wires)
    _draw_wires(axes, scene, sheet, wires)
    _draw_structures(axes, sheet, wires, floor)
    _draw_crossings(axes, scene, sheet, floor)
    _draw_gaps(axes, scene, sheet)
    axes.legend(loc="upper left", bbox_to_anchor=(0.0, 1.068), ncols=9, fontsize=6, frameon=False, handlelength=4,
                columnspacing=1.6, borderpad=0)
    axes.set_ylabel("Elevation [m]")
    _draw_band(figure, scene, sheet)


def _grid(axes, sheet):
    """Lines 20 mm apart along and 10 mm apart upward, on paper."""
    along, upward = sheet.horizontal * 0.02, sheet.vertical * 0.01
    low, high = axes.get_ylim()
    axes.set_xticks(np.arange(np.ceil(sheet.begin / along), np.floor(axes.get_xlim()[1] / along) + 1) * along)
    axes.set_yticks(np.arange(np.ceil(low / upward), np.floor(high / upward) + 1) * upward)
    axes.tick_params(labelbottom=False, labeltop=True, length=2)
    axes.grid(True, color="0.85", linewidth=0.35)


def _stations(sheet):
    """Station of the start of each span by its name, and its length and direction in plan."""
    posts = sheet.structures
    at = dict(zip(posts["structure"], posts["station_m"], strict=True))
    return {name: at[first] for name, first in zip(sheet.spans["span"], sheet.spans["from_structure"], strict=True)}


def _wires(scene, sheet):
    wires = scene.rows("wires", line=sheet.line)
    return wires[wires["span"].isin(sheet.spans["span"])]


def _chords(sheet):
    """Start and end of each span in plan, by its name."""
    points = shapely.get_coordinates(sheet.spans.geometry.values).reshape(-1, 2, 2)
    return dict(zip(sheet.spans["span"], points, strict=True))


def _along(points, chord):
    """Share of the way along a span, and distance right of it [m], of places in plan."""
    way, off = chord[1] - chord[0], points - chord[0]
    length = np.hypot(*way)
    return off @ way / length**2, (off[:, 0] * way[1] - off[:, 1] * way[0]) / length


def _outer(wires, chords):
    """Offsets of the outermost wires at rest of each span [m]: left and right, 0 where no wire is known."""
    offsets = {name: [0.0] for name in chords}
    for name, shape in zip(wires["span"], wires.geometry, strict=True):
        points = shapely.get_coordinates(shape)
        middle = _along((points[:1] + points[-1:]) / 2, chords[name])[1]
        offsets[name].append(float(middle[0]))
    return {name: (min(values), max(values)) for name, values in offsets.items()}


def _grounds(scene, sheet, wires):
    """Stations and elevations of the ground below the centre and the left and right outer wires, span by span."""
    chords, start = _chords(sheet), _stations(sheet)
    outer = _outer(wires[wires["swing_deg"] == 0], chords)
    lines = ([], [], [])
    for name, length in zip(sheet.spans["span"], sheet.spans["length_m"], strict=True):
        share = np.linspace(0, 1, max(int(length / _STEP), 2) + 1)
        chord = chords[name]
        way = (chord[1] - chord[0]) / np.hypot(*(chord[1] - chord[0]))
        for line, offset in zip(lines, (0.0, *outer[name]), strict=True):
            places = chord[0] + share[:, None] * (chord[1] - chord[0]) + offset * np.array([way[1], -way[0]])
            line.append((start[name] + share * length, scene.sample(*places.T)))
    return [tuple(np.concatenate(part) for part in zip(*line, strict=True)) for line in lines]


def _draw_grounds(axes, scene, sheet, wires):
    looks = ({"linewidth": 1.5, "label": "ground at the centre"},
             {"linewidth": 0.45, "linestyle": (0, (5, 1.5)), "label": "below the left outer wire"},
             {"linewidth": 0.45, "linestyle": (0, (1, 1)), "label": "below the right outer wire"})
    grounds = _grounds(scene, sheet, wires)
    for (x, z), look in zip(grounds, looks, strict=True):
        axes.plot(x, z, color="black" if look["linewidth"] > 1 else "0.3", **look)
    rules = scene.rows("clearances", line=sheet.line, against="ground", measure="vertical")
    required = rules.groupby("span")["required_m"].max()
    x, z = grounds[0]
    need = np.full(len(x), np.nan)
    start = _stations(sheet)
    for name, length in zip(sheet.spans["span"], sheet.spans["length_m"], strict=True):
        if name in required:
            need[(x >= start[name]) & (x <= start[name] + length)] = required[name]
    axes.plot(x, z + need, color="0.3", linewidth=0.7, linestyle=(0, (3, 1, 1, 1)),
              label="ground + required clearance")


def _draw_wires(axes, scene, sheet, wires):
    """Draw the lowest phase wire of each span and case, and the highest wire of the first case."""
    chords, start = _chords(sheet), _stations(sheet)
    length = dict(zip(sheet.spans["span"], sheet.spans["length_m"], strict=True))
    points = shapely.get_coordinates(wires.geometry.values, include_z=True)
    first = np.r_[0, np.cumsum(shapely.get_num_coordinates(wires.geometry.values))]
    wires = wires.assign(row=np.arange(len(wires)), lowest=[points[a:b, 2].mean() for a, b in
                                                            zip(first[:-1], first[1:], strict=True)])

    def draw(rows, **look):
        label = look.pop("label")
        for span, row in zip(rows["span"], rows["row"], strict=True):
            part = points[first[row]:first[row + 1]]
            share, _ = _along(part[:, :2], chords[span])
            axes.plot(start[span] + share * length[span], part[:, 2], color="black", label=label, **look)
            label = None

    for case, dash in zip(scene.cases, _DASHES * len(scene.cases), strict=False):
        phases = wires[(wires["case"] == case) & (wires["kind"] == "phase")].dropna(subset="lowest")
        draw(phases.sort_values("lowest").drop_duplicates("span"), linestyle=dash, linewidth=0.75,
             label=f"lowest phase wire, {case}")
    shields = wires[(wires["case"] == scene.cases[0]) & (wires["kind"] == "shield")].dropna(subset="lowest")
    draw(shields, linestyle="-", linewidth=0.35, label=f"shield wire, {scene.cases[0]}")


def _draw_structures(axes, sheet, wires, floor):
    points = shapely.get_coordinates(wires.geometry.values, include_z=True)
    tops = np.nanmax(points[:, 2]) if len(points) else np.nan
    posts = sheet.structures
    at_end = _ends(sheet, wires)
    for name, station, base in zip(posts["structure"], posts["station_m"], posts["base_elevation_m"], strict=True):
        top = at_end.get(name, tops)
        axes.plot([station, station], [base, top], color="black", linewidth=1.6, solid_capstyle="butt", clip_on=False)
        axes.plot([station, station], [floor, base], color="black", linewidth=0.35)
        axes.annotate(name, (station, top), xytext=(0, 3), textcoords="offset points", fontsize=6.5, ha="center",
                      fontweight="bold", annotation_clip=True)


def _ends(sheet, wires):
    """Elevation of the highest wire end at each structure [m]."""
    ends = dict(zip(sheet.spans["span"], zip(sheet.spans["from_structure"], sheet.spans["to_structure"], strict=True),
                    strict=True))
    tops = {}
    for span, shape in zip(wires["span"], wires.geometry, strict=True):
        z = shapely.get_coordinates(shape, include_z=True)[[0, -1], 2]
        for name, value in zip(ends[span], z, strict=True):
            if np.isfinite(value):
                tops[name] = max(tops.get(name, -np.inf), value)
    return tops


def _draw_crossings(axes, scene, sheet, floor):
    """Mark what wires pass over or under, with its elevation, and what falls short in any case, drawn or not."""
    crossed = scene.rows("clearances", line=sheet.line, measure="vertical")
    short = worst_rows(scene.rows("violations", every_case=True, line=sheet.line))
    rows = worst_rows(pd.concat([short[crossed.columns], crossed[crossed["obstacle"].notna()]]))
    rows = rows[rows["span"].isin(sheet.spans["span"])].sort_values("station_m")
    for row in rows[rows["margin_m"] < 0].itertuples():
        if row.measure == "vertical":
            axes.plot([row.station_m] * 2, [row.other_elevation_m, row.wire_elevation_m], color="black", linewidth=1.6)
        axes.plot([row.station_m], [row.wire_elevation_m], "o", markersize=6, markerfacecolor="none",
                  markeredgecolor="black", markeredgewidth=1.1)
    low, high = axes.get_ylim()
    top = floor + 0.02 * (high - low)
    for row, x in zip(rows.itertuples(), spread(rows["station_m"].to_list(), _LABEL * sheet.horizontal / 1e3),
                      strict=True):
        known = np.isfinite(row.other_elevation_m) and row.measure == "vertical"
        z = row.other_elevation_m if known else row.wire_elevation_m
        axes.plot([row.station_m], [z], "x", color="black", markersize=3, markeredgewidth=0.7)
        axes.annotate(_words(row), (row.station_m, z), xytext=(x, top), rotation=90, fontsize=5.5, ha="center",
                      va="bottom", annotation_clip=False, fontweight="bold" if row.margin_m < 0 else "normal",
                      bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.2},
                      arrowprops={"arrowstyle": "-", "linewidth": 0.25, "color": "0.5", "shrinkA": 1, "shrinkB": 2})


def _words(row):
    """What is crossed, its elevation, and how much is missing in which case."""
    name = row.obstacle if isinstance(row.obstacle, str) else row.against.replace("_", " ")
    height = f" {short_number(row.other_elevation_m)}" if np.isfinite(row.other_elevation_m) else ""
    way = "" if row.measure == "vertical" else f" {row.measure}"
    return name + height + (f"  SHORT{way} {row.margin_m:+.2f}, {row.case}" if row.margin_m < 0 else "")


def _draw_gaps(axes, scene, sheet):
    """Say over each span what was not assessed there."""
    rows = scene.rows("not_assessed", every_case=True, line=sheet.line)
    start = _stations(sheet)
    length = dict(zip(sheet.spans["span"], sheet.spans["length_m"], strict=True))
    low, high = axes.get_ylim()
    for span, part in rows[rows["span"].isin(start)].groupby("span"):
        things = ", ".join(dict.fromkeys(part["against"].fillna("everything")))
        x = start[span], start[span] + length[span]
        axes.fill_between(x, high - 0.065 * (high - low), high, facecolor="white", edgecolor="black", hatch="////",
                          linewidth=0.5, zorder=3)
        axes.text(sum(x) / 2, high - 0.033 * (high - low), f"NOT ASSESSED: {things}", fontsize=6, fontweight="bold",
                  ha="center", va="center", zorder=4, clip_on=True,
                  bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8})


def _draw_band(figure, scene, sheet):
    """Draw the rows below the profile: structures, stations, spans and ruling spans."""
    axes = place(figure, LEFT, _BAND, 370.0, _BOTTOM - _BAND)
    axes.set(xlim=(sheet.begin, sheet.begin + 370.0 * sheet.horizontal / 1e3), ylim=(0, 30), xticks=[], yticks=[])
    for y, words in ((24, "Structure, framing"), (18, "Station [m]"), (12, "Base elevation [m]"), (6, "Span [m]"),
                     (0, "Ruling span [m]")):
        axes.axhline(y, color="black", linewidth=0.3)
        axes.annotate(words, (0, y + 3), xycoords=("axes fraction", "data"), xytext=(-3, 0), fontsize=5.6, ha="right",
                      textcoords="offset points", va="center", annotation_clip=False)
    posts = sheet.structures
    for row in posts.itertuples():
        text = (f"{row.structure} {row.framing}", short_number(row.station_m), short_number(row.base_elevation_m))
        side = {posts["structure"].iloc[0]: "left", posts["structure"].iloc[-1]: "right"}.get(row.structure, "center")
        for y, word in zip((27, 21, 15), text, strict=True):
            axes.text(row.station_m, y, f" {word} ", fontsize=6.2, ha=side, va="center", clip_on=True)
        axes.plot([row.station_m] * 2, [6, 12], color="black", linewidth=0.4)
    _spans(axes, scene, sheet)


def _spans(axes, scene, sheet):
    start = _stations(sheet)
    ruling = scene.rows("sections", line=sheet.line, wire_kind="phase").groupby("section")["ruling_span_m"].first()
    for name, length in zip(sheet.spans["span"], sheet.spans["length_m"], strict=True):
        axes.text(start[name] + length / 2, 9, short_number(length), fontsize=6.2, ha="center", va="center")
    for section, part in sheet.spans.groupby("section", sort=False):
        begin = start[part["span"].iloc[0]]
        end = start[part["span"].iloc[-1]] + part["length_m"].iloc[-1]
        axes.plot([begin, begin, np.nan, end, end], [0, 6, np.nan, 0, 6], color="black", linewidth=0.7)
        axes.text((begin + end) / 2, 3, f"{section}: {short_number(ruling.get(section))}", fontsize=6.2, ha="center",
                  va="center")
