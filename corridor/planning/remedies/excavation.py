"""Which cells of the ground may be cut below spans with violations above it, and how deep."""

import numpy as np
import shapely

from corridor.inputs.mosaic import group
from corridor.inputs.references import rasters_of
from corridor.inputs.terrain import open_terrain
from corridor.planning.remedies.alterations import Site
from corridor.planning.remedies.graded_ground import SpanCells
from corridor.planning.remedies.variants import Variant
from corridor.study.named_files import ground_files

__all__ = ["diggable_cells", "ground_short"]

#: Nobody digs nearer to a structure than this [m].
_KEEP = 6.0


def ground_short(before: Variant) -> dict[int, float]:
    """Return the spans with violations above the ground, with their minimum margin over it [m]."""
    c, short = before.layers["clearances"], {}
    own = (c["against"] == "ground") & (c["measure"] == "vertical") & (c["margin_m"] < 0)
    for span, margin in zip(before.line.spans_at(c)[own], c["margin_m"][own], strict=True):
        short[int(span)] = min(short.get(int(span), 0.0), float(margin))
    return short


def diggable_cells(site: Site, before: Variant) -> dict[int, SpanCells]:
    """Return the cells below spans with violations above ground; none unless all rasters share a grid of the frame."""
    study, frame, wanted = site.study, site.inputs.frame, ground_short(before)
    rasters = rasters_of(study, ground_files(study), study.terrain.vertical_unit)
    if len(group(rasters)) > 1 or rasters[0].horizontal_crs != frame.crs or not wanted:
        return {}
    standing, curves, cells = _standing(site), _levels(before), {}
    with open_terrain(rasters, frame) as terrain:
        for span, margin in wanted.items():
            if span in curves:
                cells[span] = _below_span(site, rasters[0], terrain, standing, span, margin, curves[span])
    return {span: own for span, own in cells.items() if len(own.row)}


def _standing(site):
    """What nobody digs at: footprints of all objects on the ground, and places of all structures, in a tree each."""
    index, x = site.facts.index, site.facts.structures
    # What has an elevation of its own hangs in the air where it is a wire, and stands on the ground where it is not.
    stands = ~index.obstacles.absolute | (index.obstacles.category != "line")
    places = shapely.points(x.easting, x.northing)
    return shapely.STRtree(index.footprint[stands[index.of_part]]), shapely.STRtree(places)


def _levels(before):
    """Of every span the curves of its phase wires, each with what the ground rule of its case requires, and so much
    more as the lowest of a bundle is below its middle [m]."""
    c, w = before.layers["clearances"], before.layers["wires"]
    required, found = {}, {}
    own = (c["against"] == "ground") & (c["measure"] == "vertical")
    below = (c["required_m"] + c["bundle_m"])[own]
    for span, case, metres in zip(before.line.spans_at(c)[own], c["case"][own], below, strict=True):
        required[span, case] = max(required.get((span, case), 0.0), float(metres))
    own = w["kind"] == "phase"
    for span, case, wire in zip(before.line.spans_at(w)[own], w["case"][own], w["geometry"][own], strict=True):
        if (span, case) in required:
            curve = shapely.get_coordinates(wire, include_z=True)
            found.setdefault(int(span), []).append((curve, required[span, case]))
    return found


def _below_span(site, raster, terrain, standing, span, margin, curves):
    """Cells below one span: a strip as wide as its wires are blown to either side."""
    spans, x = site.plan.spans, site.facts.structures
    tail, head = (np.array([x.easting[i], x.northing[i]]) for i in (spans.tail[span], spans.head[span]))
    length = float(np.hypot(*(head - tail)))
    ahead = (head - tail) / length
    across = np.array([-ahead[1], ahead[0]])
    cell = float(np.sqrt(abs(np.linalg.det(raster.matrix[:2, :2]))))
    half = max(np.abs((xyz[:, :2] - tail) @ across).max() for xyz, _ in curves) + 1.5 * cell
    row, column = _within(raster, [end + s * half * across for end in (tail, head) for s in (1, -1)])
    e, n = raster.places(column + 0.5, row + 0.5)
    z, place = terrain.sample(e, n), np.stack([e, n], axis=-1) - tail
    own = (np.abs(place @ across) <= half) & (place @ ahead > 0) & (place @ ahead < length) & np.isfinite(z)
    row, column, e, n, z, along = (v[own] for v in (row, column, e, n, z, place @ ahead))
    level = np.min([np.interp(along, (xyz[:, :2] - tail) @ ahead, xyz[:, 2]) - need for xyz, need in curves], axis=0)
    room, (objects, structures) = level - z, standing
    stands = _near(objects, e, n, 1.5 * cell)
    # A cell that is dug lowers the ground as far as the next ones.
    keep = _KEEP + 2 * cell
    stop = stands | (along < keep) | (along > length - keep) | _near(structures, e, n, keep)
    deepest = float(np.min(room[stop], initial=np.inf)) - margin
    worst = stop.any() and stands[stop][np.argmin(room[stop])]
    area = cell**2 * spans.ground_factor[span] ** 2
    free = ~stop
    return SpanCells(raster, row=row[free], column=column[free], elevation=z[free], room=room[free],
                     margin=margin, deepest=deepest, area=area,
                     blocked="an object on the ground" if worst else "a structure")


def _near(tree, easting, northing, distance):
    """True for places nearer than a distance [m] to anything in a tree."""
    near = np.zeros(len(easting), bool)
    near[tree.query(shapely.points(easting, northing), predicate="dwithin", distance=distance)[0]] = True
    return near


def _within(raster, corners):
    """Row and column of all cells in the box of some places."""
    to_cell = np.linalg.inv(raster.matrix)
    c, r, _ = to_cell @ np.stack([*np.transpose(corners), np.ones(len(corners))])
    row, column = np.meshgrid(np.arange(np.floor(r.min()), np.ceil(r.max()) + 1),
                              np.arange(np.floor(c.min()), np.ceil(c.max()) + 1), indexing="ij")
    return row.ravel().astype(int), column.ravel().astype(int)
