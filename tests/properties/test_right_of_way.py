"""Room to the edge of the right-of-way, by plain geometry.

Distances to polygons are worked out from their edges (foot of the perpendicular) and crossings of a ray,
not by the geometry library that the package uses. Wires in between are found with more places.
"""

import numpy as np
import pytest
import shapely

from corridor.clearance.right_of_way import RIGHT_OF_WAY, within_right_of_way
from corridor.line.facts import RightOfWay
from corridor.line.swing import to_grid

from ..common import framings, hung, structures, swing

LINE = structures([0, 300, 560], [0, 90, -40], base=[100.0, 104.0, 98.0])
PAIR = framings([("F", "left", "phase", -4.0, 20.0, "suspension", 2.0, 80.0),
                 ("F", "right", "phase", 4.0, 20.0, "suspension", 2.0, 80.0)])
CASES = np.array([3, 5])


def blown(line=LINE, framing=PAIR, places=33, wind=(0.0, 9.0)):
    """Two options (tensions) and two cases (winds)."""
    route, spans, wires, frame = hung(line, framing)
    shape = (len(wires), 2, 2)
    H = np.broadcast_to(np.array([22e3, 15e3])[:, None], shape)
    p = np.broadcast_to(np.array(wind), shape)
    return swing(frame, wires, spans, route.line_angle, H, np.full(shape, 15.5), p, places=places), wires, spans


def to_edges(rings, spots):
    """Distance of each place to the nearest edge of any ring, and whether a ray from it meets an odd number."""
    least, odd = np.full(len(spots), np.inf), np.zeros(len(spots), bool)
    for ring in rings:
        for a, b in zip(ring[:-1], ring[1:], strict=True):
            d = b - a
            t = np.clip(((spots - a) @ d) / (d @ d), 0, 1)
            least = np.minimum(least, np.hypot(*(spots - a - t[:, None] * d).T))
            if a[1] != b[1]:
                meets = (a[1] > spots[:, 1]) != (b[1] > spots[:, 1])
                east = a[0] + (spots[:, 1] - a[1]) / (b[1] - a[1]) * d[0]
                odd ^= meets & (spots[:, 0] < east)
    return least, odd


def by_rows(checked, wires):
    """Rows by (span, option, case)."""
    return {(wires.span[w], o, k): i for i, (w, o, k) in
            enumerate(zip(checked.wire, checked.option, checked.case, strict=True))}


def test_half_width_by_hand():
    """Half width less the farthest offset from the axis of the span, of any wire, place and side.

    The left wire hangs farther out than the right one: its side is the near one.
    """
    lopsided = framings([("F", "left", "phase", -7.0, 20.0, "suspension", 2.0, 80.0),
                         ("F", "right", "phase", 4.0, 20.0, "suspension", 2.0, 80.0)])
    swung, wires, spans = blown(framing=lopsided)
    fine = blown(framing=lopsided, places=3201)[0]
    got = within_right_of_way(swung, wires, spans, LINE, RightOfWay(half_width=15.0), CASES)
    rows = by_rows(got, wires)
    assert len(rows) == 2 * 2 * 2 and (got.obstacle == RIGHT_OF_WAY).all() and (got.measure == "horizontal").all()
    for (span, o, k), i in rows.items():
        offset = np.abs(fine.points[wires.span == span][:, o, list(CASES).index(k), ..., 1]).max()
        assert got.actual[i] == pytest.approx(15 - offset, abs=2e-5)
        assert got.offset[i] == pytest.approx(-offset, abs=0.03) and wires.wire[got.wire[i]] == "left"


def test_little_is_missed_between_places():
    """33 places: between two of them a wire goes out farther by `d^2/8 p/H` at most, d a 32nd of the span.

    A parabola knows that from a half width; from a polygon that much is taken off.
    """
    strip = RightOfWay(polygon=shapely.LineString(np.stack([LINE.easting, LINE.northing], axis=1)).buffer(15))
    bow = (320 / 32) ** 2 / 8 * 9 / 15e3
    for way, least in ((RightOfWay(half_width=15.0), -2e-5), (strip, -bow)):
        few, many = (within_right_of_way(s, w, sp, LINE, way, CASES) for s, w, sp in (blown(), blown(places=3201)))
        missed = few.actual - many.actual
        assert (missed >= least - 1e-5).all() and (missed < 2e-5).all()


STRIP = shapely.Polygon([(-20, -25), (300, 75), (580, -70), (580, -20), (300, 112), (-20, 20)])
ISLAND = STRIP.difference(shapely.box(290, 80, 310, 86))
APART = shapely.MultiPolygon([STRIP.intersection(shapely.box(-99, -99, 200, 200)),
                              STRIP.intersection(shapely.box(210, -99, 999, 200))])


@pytest.mark.parametrize("polygon", [STRIP, ISLAND, APART], ids=["strip", "with an island", "in two parts"])
def test_polygon_by_edges_and_rays(polygon):
    """Inside positive, outside negative; the least along all wires on both sides, here at 40 places to each chord.

    A strip in two parts has a gap that wires leave it by. The engine knows the distance of whole chords from the edge:
    it tells no more than any place does, and less by no more than half their distance.
    """
    swung, wires, spans = blown()
    got = within_right_of_way(swung, wires, spans, LINE, RightOfWay(polygon=polygon), CASES)
    rings = [shapely.get_coordinates(r) for part in shapely.get_parts(polygon)
             for r in (part.exterior, *part.interiors)]
    plan = to_grid(swung.points, LINE, spans, wires.span)
    for (span, o, k), i in by_rows(got, wires).items():
        places = plan[wires.span == span][:, o, list(CASES).index(k), ..., :2]
        share = np.linspace(0, 1, 41)[:, None]
        spots = (places[..., :-1, None, :] * (1 - share) + places[..., 1:, None, :] * share).reshape(-1, 2)
        least, inside = to_edges(rings, spots)
        brute = np.where(inside, least, -least).min()
        apart = np.linalg.norm(np.diff(places, axis=-2), axis=-1).max() / 40
        assert brute - apart <= got.actual[i] <= brute + 0.26
        assert got.actual[i] <= brute + 1e-9 or brute < 0


def test_strip_as_polygon_and_as_half_width_agree():
    """A straight line along the grid, between posts: the strip's long edges are the half width's, less the bow."""
    line = structures([0, 300], [0, 0], base=[100.0, 104.0])
    posts = framings([("F", "a", "phase", 3.0, 20.0, "post", 0, 0)])
    swung, wires, spans = blown(line, posts)
    half = within_right_of_way(swung, wires, spans, line, RightOfWay(half_width=12.0), CASES)
    box = within_right_of_way(swung, wires, spans, line, RightOfWay(polygon=shapely.box(-99, -12, 399, 12)), CASES)
    bow = (300 / 32) ** 2 / 8 * 9 / 15e3
    np.testing.assert_allclose(box.actual[::2], half.actual[::2], atol=1e-9)
    assert ((half.actual - box.actual)[1::2] >= 0).all() and (half.actual - box.actual <= 2 * bow + 1e-5).all()


def test_corner_between_two_places():
    """The edge has a corner 2 m beside a level wire in still air, half-way between two places 12.5 m apart."""
    line = structures([0, 400], [0, 0], base=[100.0, 100.0])
    posts = framings([("F", "a", "phase", 0.0, 20.0, "post", 0, 0)])
    swung, wires, spans = blown(line, posts, wind=(0.0, 0.0))
    corner = [(205.25, 20), (206.25, 2), (207.25, 20)]
    parcel = shapely.Polygon([(-20, -20), (420, -20), (420, 20), *corner[::-1], (-20, 20)])
    got = within_right_of_way(swung, wires, spans, line, RightOfWay(polygon=parcel), CASES)
    np.testing.assert_allclose(got.actual, 2.0, atol=0.02)


def test_unknown_tension_is_not_compared():
    swung, wires, spans = blown()
    swung.points[wires.span == 1, 1] = np.nan
    got = within_right_of_way(swung, wires, spans, LINE, RightOfWay(half_width=15.0), CASES)
    assert set(by_rows(got, wires)) == {(0, o, k) for o in (0, 1) for k in CASES} | {(1, 0, k) for k in CASES}
