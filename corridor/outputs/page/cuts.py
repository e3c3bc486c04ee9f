"""Cross-sections of every violation, as a page carries them: ragged lines in millimetres."""

from dataclasses import replace

import geopandas
import numpy as np
import pandas as pd
import shapely

from corridor.outputs.cuts import cut_of, cut_places, drawable

__all__ = ["MOST", "pack_cuts", "right_of"]

#: Cross-sections that a page holds at most: of the minimum margins.
MOST = 4000
#: How much wider than what must be shown: plots are wider than high.
_WIDE = 2.5
#: Edges of the right-of-way further from a place than this are in no cross-section [m].
_REACH = 200.0


def pack_cuts(violations, right, about, packer):
    """Return the cross-sections of the violations most.

    Parameters
    ----------
    violations : dict of ndarray
        The layer `violations`.
    right : ndarray, shape (row, 2)
        Unit vectors in the grid to the right of their spans.
    about : corridor.outputs.cuts.About
    packer : Packer

    Returns
    -------
    dict
        `of` number of the cross-section of each row, -1 where it has none; `ground` (cut, place) elevations at equal
        distances from the least to the greatest of `known`, (cut, 2); `across`, `upward` (cut, 2) least and maximum
        distance across and elevation that must be shown;
        `wire` (cut, 2) place of the wire; `first` first line of each cut, `kind` of the lines and `place` their first
        point; `x`, `z` of the points.
    """
    rows = geopandas.GeoDataFrame(pd.DataFrame({k: v for k, v in violations.items() if k != "geometry"}),
                                  geometry=violations["geometry"])
    known = np.flatnonzero(drawable(rows))
    kept = np.sort(known[np.argsort(rows["margin_m"].to_numpy(float)[known], kind="stable")[:MOST]])
    rows = rows.iloc[kept]
    abouts = list(_near(rows, right[kept], about))
    across, places = cut_places(rows, right[kept], abouts, wide=_WIDE)
    ground = about.sample(*places.reshape(-1, 2).T).reshape(across.shape)
    cuts = [cut_of(row, right[k], x, z, near) for row, k, x, z, near in zip(
        rows.itertuples(), kept, across, ground, abouts, strict=True)]
    of = np.full(len(violations["span"]), -1, "int32")
    of[kept] = np.arange(len(kept))
    lines = [_lines(cut) for cut in cuts]
    points = [line for own in lines for _, line in own]
    whole = np.concatenate(points) if points else np.zeros((0, 2))
    bounds = np.array([cut.bounds for cut in cuts]).reshape(-1, 4)
    wire = np.array([cut.wire for cut in cuts]).reshape(-1, 2)
    return {"of": packer.array(of), "ground": packer.whole(ground.ravel(), 0.01),
            "known": packer.whole(across[:, [0, -1]].ravel(), 1e-3),
            "across": packer.whole(bounds[:, :2].ravel(), 1e-3), "upward": packer.whole(bounds[:, 2:].ravel(), 1e-3),
            "wire": packer.whole(wire.ravel(), 1e-3), "first": packer.array(_firsts(map(len, lines))),
            "kind": packer.codes([kind for own in lines for kind, _ in own]),
            "place": packer.array(_firsts(map(len, points))),
            "x": packer.whole(whole[:, 0], 1e-3), "z": packer.whole(whole[:, 1], 1e-3)}


def _near(rows, right, about):
    """Yield what counts about each cut: of a long line to look through all for each would take long."""
    own = pd.Series(about.shape_names).groupby(about.shape_names, sort=False).indices
    edges = np.zeros(0, object) if about.edge is None else np.concatenate(
        [shapely.linestrings(np.stack([p[:-1], p[1:]], axis=1)) for p in
         map(shapely.get_coordinates, shapely.get_parts(about.edge))])
    point = shapely.get_coordinates(rows.geometry.values)
    cuts = shapely.linestrings(np.stack([point - _REACH * right, point + _REACH * right], axis=1))
    tree = shapely.STRtree(edges)
    for name, cut in zip(rows["obstacle"], cuts, strict=True):
        k = own.get(name, np.zeros(0, int))
        yield replace(about, shapes=about.shapes[k], shape_names=about.shape_names[k], heights=about.heights[k],
                      radii=about.radii[k], edge=shapely.multilinestrings(edges[tree.query(cut)]))


def _lines(cut):
    """What is drawn of a cross-section beside the ground, by its kind."""
    low, high = cut.bounds[2:]
    return [*cut.things, *(("edge", np.array([[at, low], [at, high]])) for at in cut.edges),
            ("required", cut.required), ("actual", cut.actual)]


def _firsts(counts):
    return np.concatenate([[0], np.cumsum([*counts])]).astype("int32")


def right_of(route, which):
    """Return unit vectors to the right of spans, shape (row, 2); nan where the span is -1.

    Parameters
    ----------
    route : ndarray, shape (span, 2, 2)
        Ends of the spans, easting and northing [m].
    which : ndarray of int, shape (row,)
        Spans.
    """
    way = route[:, 1] - route[:, 0]
    right = np.stack([way[:, 1], -way[:, 0]], axis=-1) / np.linalg.norm(way, axis=-1, keepdims=True)
    return np.where((which >= 0)[:, None], right[which], np.nan)
