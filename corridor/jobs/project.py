"""A project of a desktop GIS over findings, and the ground that is not known, where it is."""

import os
from pathlib import Path

import geopandas
import numpy as np
import shapely

from corridor.errors import InputError
from corridor.jobs.read_back import plan_layers
from corridor.outputs.frames import read_layer
from corridor.outputs.project_file import NOT_KNOWN, write_project
from corridor.outputs.tables import write_frame

__all__ = ["make_project", "not_known"]

#: How far to either side of a span ground is looked for [m], and the side of the squares at least [m].
_ASIDE, _CELL = 15.0, 1.0


def make_project(opened, source, layers, files, target, option=None):
    """Write the project and, where ground is not known, the layer of it beside the project.

    Parameters
    ----------
    opened : Opened
    source : Path
        The findings.
    layers : dict of GeoDataFrame
        `not_assessed`, `spans` and `violations` of them.
    files : Files
    target : Path
        The project.
    option : str, optional
        The option that is in it; default: all.
    """
    spans, gaps = layers["spans"], layers["not_assessed"]
    if source.is_dir():
        raise InputError(source, "findings", "a folder of GeoParquet files, which not every GIS opens",
                         "findings in a GeoPackage: run `corridor check` with --output findings.gpkg")
    table = read_layer(source, "options")
    options = list(table["option"]) if option is None else [option]
    holes = not_known(spans, gaps, opened.ground.sample, max(opened.inputs.terrain.cell_size / 2, _CELL))
    beside = None
    if len(holes):
        beside = target.with_name(f"{target.stem}_not_known.gpkg")
        write_frame(files.new(beside, "layers"), NOT_KNOWN, holes, "MultiPolygon")

    def near(path):
        return Path(os.path.relpath(path, target.parent)).as_posix()

    plan, planned = source.with_name("plan.gpkg"), {name: list(frame) for name, frame in plan_layers(source).items()}
    surface = () if opened.inputs.surface is None else opened.inputs.surface.rasters
    rasters = [(path.stem.removeprefix(f"{source.stem}_").replace("_", " "), near(path))
               for path in sorted(source.parent.glob(f"{source.stem}_ground_limit*.tif"))]
    west, south, east, north = spans.total_bounds
    room = 0.05 * max(east - west, north - south, 100.0)
    worst = table.loc[table["option"].isin(options)].sort_values("violations", kind="stable")["option"].iloc[-1]
    write_project(files.new(target, "marked"), opened.name, spans.crs,
                  (west - room, south - room, east + room, north + room), near(source), options, first=worst,
                  not_known=None if beside is None else near(beside), plan=near(plan) if planned else None,
                  planned=planned, rasters=rasters, surface=[near(raster.path) for raster in surface])


def not_known(spans, gaps, sample, cell=_CELL):
    """Return where the ground below spans is not known, of those whose ground was not assessed.

    Parameters
    ----------
    spans, gaps : GeoDataFrame
        The layers `spans` and `not_assessed`.
    sample : callable
        `sample(easting, northing)`: the ground [m], nan where it is not known.
    cell : float
        Side of the squares in which it is asked for [m].

    Returns
    -------
    GeoDataFrame
        `line`, `span`, `reason`; areas as far as 15 m to either side of the span, grown to whole squares; the whole of
        that where no square is bare.
    """
    rows = gaps[(gaps["against"] == "ground") | gaps["against"].isna()].dropna(subset="span")
    reasons = rows.groupby(["line", "span"], sort=False)["reason"].agg(lambda each: "; ".join(dict.fromkeys(each)))
    found = spans.set_index(["line", "span"]).loc[list(reasons.index)].geometry if len(reasons) else []
    shapes = [_bare(shapely.get_coordinates(shape)[[0, -1]], sample, cell) for shape in found]
    table = {"line": [line for line, _ in reasons.index], "span": [span for _, span in reasons.index],
             "reason": list(reasons)}
    return geopandas.GeoDataFrame(table, geometry=shapes, crs=spans.crs)


def _bare(chord, sample, cell):
    """Squares along a chord in which the ground is not known, as one area."""
    length = np.hypot(*(chord[1] - chord[0]))
    way = (chord[1] - chord[0]) / length
    right = np.array([way[1], -way[0]])
    along, aside = np.arange(cell / 2, length + cell / 2, cell), np.arange(-_ASIDE, _ASIDE + cell, cell)
    a, b = (grid.ravel() for grid in np.meshgrid(along, aside, indexing="ij"))
    places = chord[0] + a[:, None] * way + b[:, None] * right
    bare = ~np.isfinite(sample(*places.T))
    half = cell / 2 * 1.001         # squares overlap, so that they join
    boxes = shapely.box(a - half, b - half, a + half, b + half)[bare]
    area = shapely.union_all(boxes) if bare.any() else shapely.box(0.0, -_ASIDE, length, _ASIDE)
    turned = shapely.transform(area, lambda c: chord[0] + c[:, :1] * way + c[:, 1:] * right)
    return shapely.multipolygons(shapely.get_parts(turned))
