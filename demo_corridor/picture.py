"""Draw the picture of the README from the findings of the demo: which conductor, and one span in which they differ.

    corridor check demo_corridor/study.toml
    python demo_corridor/picture.py docs/demo.png
"""

import sys
from pathlib import Path

import geopandas as gpd
import matplotlib

matplotlib.use("Agg")

import matplotlib.pyplot as plt
import numpy as np
import rasterio
from scipy.ndimage import map_coordinates

HERE = Path(__file__).parent
#: Colour and dash of each option: told apart in black and white too.
LOOKS = {"existing": ("#1b1b1b", "-"), "thermal alloy": ("#7a4fa3", (0, (6, 2))),
         "annealed on steel": ("#9a6a00", (0, (2, 1.2))), "annealed on carbon": ("#00798c", (0, (8, 2, 1.5, 2)))}
SHORT, UNKNOWN, EARTH = "#a83e00", "#844a71", "#6d5f57"
#: The case of the profile: every wire at its maximum temperature.
CASE = "hot"


def layer(name, **wanted):
    """Rows of a layer of the findings with given values."""
    frame = gpd.read_file(HERE / "findings.gpkg", layer=name)
    for column, value in wanted.items():
        frame = frame[frame[column] == value]
    return frame


def draw_options(ax, options, spans, gaps):
    """Draw a bar of amperes for each option, with its violations in words; the required current as a line."""
    asked = options["required_current_a"].iloc[0]
    for place, row in enumerate(options.itertuples()):
        colour, dash = LOOKS[row.option]
        enough = row.continuous_current_a >= asked
        ax.barh(place, row.continuous_current_a, height=0.5, color=colour if enough else "white", edgecolor=colour,
                linewidth=1.6, alpha=0.9)
        ax.plot([-700, -610], [place] * 2, color=colour, linestyle=dash, linewidth=2.2, clip_on=False)
        ax.text(-580, place, row.option, fontsize=11, fontweight="bold", va="bottom", clip_on=False)
        ax.text(-580, place + 0.04, row.conductor, fontsize=8.5, va="top", color="0.35", clip_on=False)
        ax.text(row.continuous_current_a - 12, place, f"{row.continuous_current_a:.0f} A", fontsize=11, ha="right",
                va="center", fontweight="bold", color="white" if enough else colour)
        short = spans[row.option]
        words = f"iolations in {short} span{'s' if short != 1 else ''}"
        verdict = f"V{words}" if enough else f"Below {asked:.0f} A, v{words}"
        ax.text(1500, place, verdict, fontsize=11, va="bottom", color=SHORT, fontweight="bold", clip_on=False)
        ax.text(1500, place + 0.04, f"{gaps[row.option]} span not assessed: not a pass", fontsize=9, va="top",
                color=UNKNOWN, clip_on=False)
    ax.axvline(asked, color="black", linewidth=1.2, linestyle=(0, (4, 2)))
    ax.text(asked, -0.58, f"required: {asked:.0f} A", fontsize=10, ha="center", va="bottom")
    ax.set(xlim=(0, 1480), ylim=(len(options) - 0.5, -0.55), yticks=[], xticks=[])
    ax.spines[:].set_visible(False)
    ax.set_title("Which conductor fits the existing structures? Continuous current, and violations to remedy",
                 fontsize=13, loc="left", x=-0.475, pad=30, fontweight="bold")


def ground_below(chord, count=500):
    """Ground along a chord, bilinear between the middles of cells, so that it has no steps."""
    share = np.linspace(0, 1, count)
    places = chord[0, :2] + share[:, None] * (chord[-1, :2] - chord[0, :2])
    with rasterio.open(HERE / "terrain/ground.tif") as raster:
        column, row = ~raster.transform * places.T
        return map_coordinates(raster.read(1), [row - 0.5, column - 0.5], order=1)


def draw_profile(ax, span, wire):
    """Draw ground and wires of a span, and beside each wire its margin."""
    wires = layer("wires", span=span, case=CASE, wire=wire)
    chord = np.array(wires.geometry.iloc[0].coords)
    along = np.hypot(*(chord[:, :2] - chord[0, :2]).T)
    ground, x = ground_below(chord), np.linspace(0, along[-1], 500)
    rows = layer("clearances", span=span, case=CASE, wire=wire)
    worst = rows[rows["measure"] == "vertical"].sort_values("margin_m").iloc[0]
    ax.fill_between(x, ground, ground.min() - 3, color="#e4ddd0", zorder=0)
    ax.plot(x, ground, color=EARTH, linewidth=1.4)
    for row in wires.itertuples():
        points = np.array(row.geometry.coords)
        colour, dash = LOOKS[row.option]
        ax.plot(along, points[:, 2], color=colour, linestyle=dash, linewidth=2)
    at, floor = worst.distance_from_start_m, worst.other_elevation_m
    ax.annotate("", (at, floor), (at, floor + worst.required_m),
                arrowprops={"arrowstyle": "|-|,widthA=0.5,widthB=0.5", "color": SHORT, "linewidth": 2.2, "shrinkA": 0,
                            "shrinkB": 0})
    ax.text(at, floor - 0.9, f"{worst.required_m:.0f} m required\nabove the {worst.against}", fontsize=10, color=SHORT,
            va="top", ha="center", fontweight="bold")
    ends = sorted(((np.interp(0.82 * along[-1], along, np.array(row.geometry.coords)[:, 2]), row)
                   for row in wires.itertuples()), key=lambda pair: pair[0])
    last = -np.inf
    for z, row in ends:
        own = rows[(rows["option"] == row.option) & (rows["against"] == worst["against"])]["margin_m"].min()
        words = f"{own:+.1f} m".replace("-", "\N{MINUS SIGN}")
        last = max(z, last + 1.7)
        ax.annotate(f"{row.option} at {row.conductor_temperature_c:.0f} °C: {words}", (0.82 * along[-1], z),
                    (1.02 * along[-1], last), fontsize=10, va="center", color=LOOKS[row.option][0],
                    fontweight="bold" if own < 0 else "normal", annotation_clip=False,
                    arrowprops={"arrowstyle": "-", "linewidth": 0.6, "color": LOOKS[row.option][0]})
    ax.set(xlabel="distance from the structure before [m]", ylabel="elevation [m]", ylim=(ground.min() - 3, None))
    ax.set_title(f"One span in which they differ: {span}, margins at the maximum temperatures", fontsize=12,
                 loc="left", pad=10)
    ax.spines[["top", "right"]].set_visible(False)
    ax.margins(x=0)


def main(target):
    """Draw the picture to a file."""
    options, short = layer("options"), layer("violations")
    spans = {name: short.loc[short["option"] == name, "span"].nunique() for name in options["option"]}
    unknown = layer("not_assessed")
    gaps = {name: unknown.loc[unknown["option"] == name, "span"].nunique() for name in options["option"]}
    hot = short[short["case"] == CASE]
    differ = hot.groupby("span")["option"].nunique()
    chosen = hot[hot["span"].isin(differ[differ < len(options)].index)].sort_values("margin_m").iloc[0]
    figure, (top, bottom) = plt.subplots(2, 1, figsize=(11, 7.8), height_ratios=(0.72, 1))
    figure.subplots_adjust(left=0.06, right=0.68, top=0.9, bottom=0.08, hspace=0.32)
    top.set_position([0.27, 0.59, 0.42, 0.29])
    draw_options(top, options, spans, gaps)
    draw_profile(bottom, chosen.span, chosen.wire)
    figure.savefig(target, dpi=110)


if __name__ == "__main__":
    main(sys.argv[1])
