"""Draw the picture of the README from the findings of the demo: the line over its ground, and one span in profile.

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
from matplotlib.colors import LightSource

HERE = Path(__file__).parent
#: Colour and dash of each option: told apart in black and white too.
LOOKS = {"existing": ("#1b1b1b", "-"), "thermal alloy": ("#7a4fa3", (0, (6, 2))),
         "annealed on steel": ("#c2571a", (0, (2, 1.2))), "annealed on carbon": ("#00798c", (0, (8, 2, 1.5, 2)))}


def layer(name, **wanted):
    """Rows of a layer of the findings with given values."""
    frame = gpd.read_file(HERE / "findings.gpkg", layer=name)
    for column, value in wanted.items():
        frame = frame[frame[column] == value]
    return frame


def draw_map(ax, option):
    """Draw ground, objects and spans, and where an option falls short."""
    with rasterio.open(HERE / "terrain/ground.tif") as raster:
        ground = raster.read(1, masked=True)[::3, ::3]
        box = raster.bounds
    shade = LightSource(315, 40).hillshade(ground.filled(float(ground.mean())), vert_exag=5, dx=6, dy=6)
    shade = np.ma.array(0.5 + 0.5 * shade, mask=ground.mask)
    ax.imshow(shade, extent=(box.left, box.right, box.bottom, box.top), cmap="gray", vmin=0, vmax=1, zorder=0)
    for name, colour, width in (("water", "#8fb8d8", 1), ("roads", "#9a9a9a", 0.9), ("railway", "#5a5a5a", 1.2),
                                ("buildings", "#6d5f57", 0.5), ("crossing_lines", "#6b6b6b", 0.7)):
        objects(name).plot(ax=ax, color=colour, linewidth=width, zorder=1)
    layer("spans").plot(ax=ax, color="#35424a", linewidth=1.1, zorder=3)
    structures = layer("structures")
    strain = structures.role != "suspension"
    ax.scatter(structures.geometry.x[~strain], structures.geometry.y[~strain], s=9, c="white", edgecolors="#35424a",
               linewidths=0.8, zorder=4)
    ax.scatter(structures.geometry.x[strain], structures.geometry.y[strain], s=26, c="#35424a", marker="s", zorder=4)
    short = layer("violations", option=option).drop_duplicates("span").sort_values("span")
    ax.scatter(short.geometry.x, short.geometry.y, s=90, facecolors="none", edgecolors="#c2571a", linewidths=1.8,
               zorder=5)
    for number, row in enumerate(short.itertuples()):
        ax.annotate(row.span, (row.geometry.x, row.geometry.y), (0, 11 if number % 2 else -18), fontsize=8,
                    textcoords="offset points", color="#a34310", ha="center", zorder=6)
    gaps = layer("not_assessed", option=option).drop_duplicates("span")
    gaps.plot(ax=ax, color="#b0468f", linewidth=2.6, linestyle=":", zorder=5)
    ax.set_title(f"Where {option!r} falls short (rings), and what was not assessed (dots)", fontsize=10, loc="left")
    ax.set_axis_off()


def objects(name):
    """A layer of obstacles."""
    return gpd.read_file(HERE / "obstacles.gpkg", layer=name)


def draw_profile(ax, span, case, wire):
    """Draw ground and wires of a span, and the clearance that the ground requires."""
    wires = layer("wires", span=span, case=case, wire=wire)
    chord = np.array(wires.geometry.iloc[0].coords)
    along = np.hypot(*(chord[:, :2] - chord[0, :2]).T)
    with rasterio.open(HERE / "terrain/ground.tif") as raster:
        share = np.linspace(0, 1, 400)
        places = chord[0, :2] + share[:, None] * (chord[-1, :2] - chord[0, :2])
        ground = np.array([v[0] for v in raster.sample(places)])
    x = share * along[-1]
    required = layer("clearances", span=span, case=case, against="ground")["required_m"].iloc[0]
    ax.fill_between(x, ground, ground.min() - 4, color="#d9d2c5", zorder=0)
    ax.plot(x, ground, color="#6d5f57", linewidth=1)
    ax.plot(x, ground + required, color="#6d5f57", linewidth=0.8, linestyle=(0, (1, 2)))
    ax.annotate(f"{required:.1f} m above the ground", (x[40], ground[40] + required), (0, 3), fontsize=8,
                textcoords="offset points", color="#6d5f57")
    for row in wires.itertuples():
        points = np.array(row.geometry.coords)
        colour, dash = LOOKS[row.option]
        ax.plot(along, points[:, 2], color=colour, linestyle=dash, linewidth=1.6,
                label=f"{row.option}, {row.conductor_temperature_c:.0f} °C")
    up = False
    for row in layer("violations", span=span, case=case).drop_duplicates("obstacle").itertuples():
        at = row.distance_from_start_m
        ax.plot([at, at], [row.other_elevation_m, row.other_elevation_m + row.required_m], color="#c2571a",
                linewidth=2.4, solid_capstyle="butt")
        ax.annotate(f"{row.against} needs {row.required_m:.1f} m", (at, ground.min() - 3), (4 if up else -4, 0),
                    fontsize=8, textcoords="offset points", color="#a34310", ha="left" if up else "right")
        up = not up
    ax.set_xlabel("distance from the first structure [m]")
    ax.set_ylabel("elevation [m]")
    ax.set_title(f"Span {span}, wire {wire}, case {case!r}", fontsize=10, loc="left")
    ax.legend(frameon=False, fontsize=8, ncol=2, loc="upper center")
    ax.spines[["top", "right"]].set_visible(False)
    ax.margins(x=0)
    ax.set_ylim(ground.min() - 4, None)


def main(target):
    """Draw the picture to a file."""
    worst = layer("violations", option="thermal alloy", case="hot").sort_values("margin_m").iloc[0]
    figure, (top, bottom) = plt.subplots(2, 1, figsize=(10, 7.6), height_ratios=(0.75, 1), layout="constrained")
    draw_map(top, "thermal alloy")
    draw_profile(bottom, worst.span, "hot", worst.wire)
    figure.savefig(target, dpi=110)


if __name__ == "__main__":
    main(sys.argv[1])
