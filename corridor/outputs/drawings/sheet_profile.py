"""The profile of a sheet: ground, wires of some cases, the clearance the ground requires, what is crossed."""

import numpy as np
import pandas as pd

from corridor.outputs.drawings.cross_sections import cut_rows, row_key
from corridor.outputs.drawings.paper import SMALL, place, short_number
from corridor.outputs.drawings.profile_facts import case_words, gap_stretches
from corridor.outputs.drawings.sheet_plan import EARTH, LEFT, worst_rows
from corridor.outputs.drawings.style import PENS, spread
from corridor.outputs.styles import COLOURS

__all__ = ["LEVEL", "crossing_words", "draw_profile", "marked_rows"]

#: Positions of things whose elevation in a row is not that of their top: where they were looked at, or their foot.
LEVEL = ("beside", "falling")
#: Lower edge of profile and band on the sheet [mm].
_BOTTOM, _BAND = 88.0, 46.0
#: Colour and dashes of the wires of each case.
_LOOKS = tuple((pen["color"], pen["linestyle"]) for pen in PENS)
#: Labels of crossings, of one line and of two, stand at least so far apart [mm].
_LABEL, _LABELS = 3.4, 6.4


def draw_profile(figure, scene, sheet, profile, up):
    """Draw profile and band of a sheet.

    Parameters
    ----------
    figure : Figure
    scene : corridor.outputs.drawings.scenes.Scene
    sheet : corridor.outputs.drawings.paper.Sheet
    profile : corridor.outputs.drawings.profile_facts.Profile
    up : float
        Height of the profile [mm].
    """
    axes = place(figure, LEFT, _BOTTOM, 370.0, up)
    tall = up * sheet.vertical / 1e3
    floor = 5 * np.floor((profile.low - 0.75 * (tall - (profile.high - profile.low))) / 5)
    axes.set(xlim=(sheet.begin, sheet.begin + 370.0 * sheet.horizontal / 1e3), ylim=(floor, floor + tall))
    _grid(axes, sheet)
    _draw_grounds(axes, profile)
    _draw_wires(axes, scene, profile)
    _draw_structures(axes, sheet, profile, floor)
    _draw_crossings(axes, scene, sheet, floor)
    _draw_gaps(axes, scene, sheet, profile)
    axes.legend(loc="upper left", bbox_to_anchor=(0.0, 1.085), ncols=9, fontsize=SMALL, frameon=False, handlelength=3,
                columnspacing=1.0, handletextpad=0.5, borderpad=0)
    axes.set_ylabel("Elevation [m]")
    _draw_band(figure, scene, sheet, profile)


def _grid(axes, sheet):
    """Lines 20 mm apart along and 10 mm apart upward, on paper."""
    along, upward = sheet.horizontal * 0.02, sheet.vertical * 0.01
    low, high = axes.get_ylim()
    axes.set_xticks(np.arange(np.ceil(sheet.begin / along), np.floor(axes.get_xlim()[1] / along) + 1) * along)
    axes.set_yticks(np.arange(np.ceil(low / upward), np.floor(high / upward) + 1) * upward)
    axes.tick_params(labelbottom=False, labeltop=True, length=2)
    axes.grid(True, color="0.85", linewidth=0.35)


def _draw_grounds(axes, profile):
    looks = ({"linewidth": 1.5, "color": EARTH, "label": "ground at the centre"},
             {"linewidth": 0.6, "color": EARTH, "linestyle": (0, (5, 1.5)), "label": "below the left outer wire"},
             {"linewidth": 0.6, "color": EARTH, "linestyle": (0, (1, 1)), "label": "below the right outer wire"})
    for (station, elevation), look in zip(profile.grounds, looks, strict=True):
        axes.plot(station, elevation, **look)
    axes.plot(profile.grounds[0][0], profile.required, color=COLOURS["short"], linewidth=0.9,
              linestyle=(0, (3, 1, 1, 1)),
              label="ground + required clearance")
    if profile.surface is not None:
        station, elevation = profile.grounds[0]
        axes.fill_between(station, elevation, profile.surface, where=profile.surface > elevation, step="mid",
                          facecolor="0.9", edgecolor="0.55", hatch="////", linewidth=0.4, zorder=0.5,
                          label="surface, highest of the three")


def _draw_wires(axes, scene, profile):
    looks = dict(zip(scene.cases, _LOOKS * len(scene.cases), strict=False))
    told, words = set(), {case: case_words(scene, case) for case in scene.cases}
    for wire in sorted(profile.wires, key=lambda wire: (wire.kind != "phase", scene.cases.index(wire.case))):
        label = f"lowest wire, {words[wire.case]}" if wire.kind == "phase" else f"shield wire, {wire.case}"
        colour, dashes = looks[wire.case] if wire.kind == "phase" else ("0.45", "-")
        axes.plot(wire.station, wire.elevation, color=colour, label=None if label in told else label, linestyle=dashes,
                  linewidth=0.9 if wire.kind == "phase" else 0.35)
        told.add(label)


def _draw_structures(axes, sheet, profile, floor):
    posts = sheet.structures
    edges = {posts["structure"].iloc[0]: "left", posts["structure"].iloc[-1]: "right"}
    for name, station, base in zip(posts["structure"], posts["station_m"], posts["base_elevation_m"], strict=True):
        top = profile.tops.get(name, profile.high)
        axes.plot([station, station], [base, top], color="black", linewidth=1.6, solid_capstyle="butt", clip_on=False)
        axes.plot([station, station], [floor, base], color="black", linewidth=0.35)
        side = edges.get(name, "center")
        axes.annotate(name, (station, top), xytext=({"left": 1, "right": -1}.get(side, 0), 3),
                      textcoords="offset points", fontsize=SMALL, ha=side, fontweight="bold", annotation_clip=True)


def marked_rows(scene, sheet):
    """Return what is crossed in the cases drawn and every violation in any case, the worst row of each, by station."""
    crossed = scene.rows("clearances", line=sheet.line, measure="vertical")
    short = worst_rows(scene.rows("violations", every_case=True, line=sheet.line))
    rows = worst_rows(pd.concat([short[crossed.columns], crossed[crossed["obstacle"].notna()]]))
    return rows[rows["span"].isin(sheet.spans["span"])].sort_values("station_m")


def _draw_crossings(axes, scene, sheet, floor):
    """Mark what wires pass over or under, with its elevation, and every violation in any case, drawn or not."""
    rows = marked_rows(scene, sheet)
    cut = _cuts(scene, sheet)
    for row in rows[rows["margin_m"] < 0].itertuples():
        if row_key(row) in cut:
            continue
        axes.plot([row.station_m] * 2, [row.other_elevation_m, row.wire_elevation_m], color="black", linewidth=1.6)
        axes.plot([row.station_m], [row.wire_elevation_m], "o", markersize=6, markerfacecolor="none",
                  markeredgecolor="black", markeredgewidth=1.1)
    low, high = axes.get_ylim()
    for row in cut_rows(scene, sheet).itertuples():
        # The profile has neither this wire nor what it is too near to: a ring would lie.
        axes.axvline(row.station_m, color="black", linewidth=0.7, linestyle=(0, (1, 2)))
        axes.annotate(f"cross-section {cut[row_key(row)]}", (row.station_m, high - 0.09 * (high - low)), xytext=(2, 0),
                      textcoords="offset points", rotation=90, fontsize=SMALL, va="top",
                      bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.2})
    top = floor + 0.02 * (high - low)
    apart = (_LABELS if (rows["margin_m"] < 0).any() else _LABEL) * sheet.horizontal / 1e3
    for row, x in zip(rows.itertuples(), spread(rows["station_m"].to_list(), apart), strict=True):
        known = np.isfinite(row.other_elevation_m) and row.measure == "vertical"
        z = row.other_elevation_m if known else row.wire_elevation_m
        number = cut.get(row_key(row)) if row.margin_m < 0 else None
        if number is None:
            axes.plot([row.station_m], [z], "x", color="black", markersize=3, markeredgewidth=0.7)
        words = crossing_words(row) + (f", cross-section {number}" if number else "")
        axes.annotate(words, (row.station_m, z), xytext=(x, top), rotation=90, fontsize=SMALL,
                      ha="center", va="bottom", annotation_clip=False,
                      fontweight="bold" if row.margin_m < 0 else "normal",
                      bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.2},
                      arrowprops={"arrowstyle": "-", "linewidth": 0.25, "color": "0.5", "shrinkA": 1, "shrinkB": 2})


def _cuts(scene, sheet):
    """Numbers of the cross-sections of a sheet, by what they are of."""
    return {row_key(row): scene.cuts_before + number
            for number, row in enumerate(cut_rows(scene, sheet).itertuples(), start=1)}


def crossing_words(row):
    """Return what is crossed, its elevation, and what is short of the required clearance in which case."""
    name = row.obstacle if isinstance(row.obstacle, str) else row.against.replace("_", " ")
    own = np.isfinite(row.other_elevation_m) and row.position not in LEVEL
    height = f" {short_number(row.other_elevation_m)}" if own else ""
    way = "" if row.measure == "vertical" else f" {row.measure}"
    return name + height + (f"\nSHORT{way} {-row.margin_m:.2f} m, {row.case}" if row.margin_m < 0 else "")


def _draw_gaps(axes, scene, sheet, profile):
    """Hatch what was not assessed as long as it is, and say what it is."""
    low, high = axes.get_ylim()
    for _, things, stretches in gap_stretches(scene, sheet, profile):
        for x in stretches:
            axes.fill_between(x, low, high, facecolor="none", edgecolor="0.35", hatch="////", linewidth=0.5, zorder=1)
        x = sum(stretches[0]) / 2
        axes.text(x, high - 0.033 * (high - low), f"NOT ASSESSED: {things}", fontsize=SMALL, fontweight="bold",
                  ha="center", va="center", zorder=4, clip_on=True,
                  bbox={"facecolor": "white", "edgecolor": "black", "linewidth": 0.5, "pad": 1.2})


def _draw_band(figure, scene, sheet, profile):
    """Draw the rows below the profile: structures, stations, spans, sag and tension, and ruling spans."""
    axes = place(figure, LEFT, _BAND, 370.0, _BOTTOM - _BAND)
    axes.set(xlim=(sheet.begin, sheet.begin + 370.0 * sheet.horizontal / 1e3), ylim=(0, 42), xticks=[], yticks=[])
    case = scene.cases[0]
    for y, words in ((36, "Structure"), (30, "Station [m]"), (24, "Base elev. [m]"), (18, "Span [m]"),
                     (12, f"Sag, {case} [m]"), (6, f"Pull, {case} [kN]"), (0, "Ruling span [m]")):
        axes.axhline(y, color="black", linewidth=0.3)
        axes.annotate(words, (0, y + 3), xycoords=("axes fraction", "data"), xytext=(-3, 0), fontsize=SMALL, ha="right",
                      textcoords="offset points", va="center", annotation_clip=False)
    posts = sheet.structures
    for row in posts.itertuples():
        text = (f"{row.structure} {row.framing}", short_number(row.station_m), short_number(row.base_elevation_m))
        side = {posts["structure"].iloc[0]: "left", posts["structure"].iloc[-1]: "right"}.get(row.structure, "center")
        for y, word in zip((39, 33, 27), text, strict=True):
            axes.text(row.station_m, y, f" {word} ", fontsize=SMALL, ha=side, va="center", clip_on=True)
        axes.plot([row.station_m] * 2, [6, 24], color="black", linewidth=0.4)
    _spans(axes, scene, sheet, profile.start)


def _spans(axes, scene, sheet, start):
    ruling = scene.rows("sections", line=sheet.line, wire_kind="phase").groupby("section")["ruling_span_m"].first()
    wires = scene.rows("wires", line=sheet.line, kind="phase", case=scene.cases[0]).sort_values("sag_m")
    most = wires.drop_duplicates("span", keep="last").set_index("span")
    for name, length in zip(sheet.spans["span"], sheet.spans["length_m"], strict=True):
        known = most.loc[name] if name in most.index else {"sag_m": np.nan, "horizontal_tension_n": np.nan}
        for y, words in ((21, short_number(length)), (15, short_number(known["sag_m"], 2)),
                         (9, short_number(known["horizontal_tension_n"] / 1e3))):
            axes.text(start[name] + length / 2, y, words, fontsize=SMALL, ha="center", va="center")
    for section, part in sheet.spans.groupby("section", sort=False):
        begin = start[part["span"].iloc[0]]
        end = start[part["span"].iloc[-1]] + part["length_m"].iloc[-1]
        axes.plot([begin, begin, np.nan, end, end], [0, 6, np.nan, 0, 6], color="black", linewidth=0.7)
        axes.text((begin + end) / 2, 3, f"{section}: {short_number(ruling.get(section))}", fontsize=SMALL, ha="center",
                  va="center")
