"""Footprints that are drawn when asked for, against shapely's buffers and tree of all of them drawn beforehand."""

import numpy as np
import pytest
import shapely

from corridor.clearance.footprints import Footprints

#: The widest footprint is drawn this much wider than its circle at most [m].
WIDER = 10 / np.cos(np.pi / 256) - 10


@pytest.fixture
def things():
    draw = np.random.default_rng(3)
    spot = draw.uniform(0, 300, (400, 2))
    flat = np.array([shapely.Point(p) for p in spot], object)
    flat[:40] = shapely.buffer(flat[:40], 4, quad_segs=2)
    flat[40:80] = shapely.linestrings(np.stack([spot[40:80], spot[40:80] + draw.uniform(-30, 30, (40, 2))], axis=1))
    radius = np.where(draw.uniform(size=400) < 0.2, np.nan, draw.uniform(0, 10, 400))
    radius[100:120] = 0
    lines = shapely.linestrings(draw.uniform(0, 300, (60, 2, 2)))
    return flat, radius, np.append(lines, None)


def drawn(flat, radius):
    wide = (radius > 0) & (shapely.get_dimensions(flat) < 2)
    whole = flat.copy()
    whole[wide] = shapely.buffer(flat[wide], radius[wide] / np.cos(np.pi / 256), quad_segs=64)
    return whole


def pairs(found):
    return set(zip(*found.tolist(), strict=True))


def test_footprints_are_those_drawn_beforehand(things):
    flat, radius, _ = things
    whole, lazy = drawn(flat, radius), Footprints(flat, radius)
    assert len(lazy) == 400 and shapely.equals_exact(lazy[150], whole[150])
    chosen = np.array([7, 399, 7, 55, 210])
    for some in (chosen, slice(None), np.arange(400) % 3 == 0):
        assert shapely.equals_exact(lazy[some], whole[some]).all()


def test_queries_are_those_of_a_tree_of_all(things):
    flat, radius, lines = things
    tree, lazy = shapely.STRtree(drawn(flat, radius)), Footprints(flat, radius)
    assert pairs(lazy.query(lines, "intersects")) == pairs(tree.query(lines, "intersects"))
    box = shapely.box(50, 60, 120, 90)
    np.testing.assert_array_equal(np.sort(lazy.query(box)), np.sort(tree.query(box)))


@pytest.mark.parametrize("distance", [0.5, 20.0])
def test_none_that_is_near_is_left_out(things, distance):
    flat, radius, lines = things
    tree, lazy = shapely.STRtree(drawn(flat, radius)), Footprints(flat, radius)
    found = pairs(lazy.query(lines, "dwithin", distance))
    assert pairs(tree.query(lines, "dwithin", distance)) <= found
    assert found <= pairs(tree.query(lines, "dwithin", distance + WIDER))


def test_only_what_is_met_is_drawn(things):
    flat, radius, _ = things
    lazy = Footprints(flat, radius)
    before = lazy._undrawn.sum()
    met = lazy.query(np.array([shapely.LineString([(0, 150), (300, 150)])]), "intersects")
    assert len(met[0]) and before - 60 < lazy._undrawn.sum() < before


def test_stretches_are_shapelys_intersections(things):
    flat, radius, lines = things
    whole, lazy = drawn(flat, radius), Footprints(flat, radius)
    ends = shapely.get_coordinates(lines[:-1]).reshape(-1, 2, 2)
    start, end = (np.append(ends[:, i], [[np.nan, np.nan]], axis=0) for i in (0, 1))
    chord, part, low, high = lazy.stretches(start, end, lines)
    size = np.hypot(*(end - start)[chord].T)
    got = np.zeros((len(lines), 400))
    np.add.at(got, (chord, part), (high - low) * size)
    wide = shapely.get_dimensions(whole) > 0
    wanted = np.where(wide, shapely.length(shapely.intersection(lines[:-1, None], whole)), 0.0)
    assert (wanted > 1).sum() > 100
    np.testing.assert_allclose(got[:-1], wanted, atol=1e-9)
    met = shapely.intersects(lines[:-1, None], whole) & wide
    assert set(zip(*np.nonzero(met), strict=True)) == set(zip(chord.tolist(), part.tolist(), strict=True))
    middle = start[chord] + ((low + high) / 2)[:, None] * (end - start)[chord]
    assert (shapely.distance(shapely.points(middle), whole[part]) < 1e-9).all()


def test_widened_footprints_hold_shapelys_buffers(things):
    flat, radius, _ = things
    parts = np.arange(30, 400, 7)
    wider = Footprints(flat, radius).widened(parts, 2.5)[:]
    expected = shapely.buffer(drawn(flat, radius)[parts], 2.5, quad_segs=4)
    assert (shapely.area(shapely.difference(expected, wider)) < 1e-9).all()
    assert (shapely.hausdorff_distance(expected, wider) < 1e-3).all()


def test_chords_that_graze_a_crown():
    # between the circle and the corners drawn around it, at every angle: shapely decides
    draw = np.random.default_rng(8)
    angle, r = draw.uniform(0, 2 * np.pi, 4000), 5.0
    out = draw.uniform(r - 1e-3, r / np.cos(np.pi / 256) + 1e-4, 4000)
    foot = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    across = foot[:, ::-1] * (-1, 1)
    ends = np.stack([out[:, None] * foot + share * across for share in (-9.0, 8.0)], axis=1) + (100, 200)
    lines = shapely.linestrings(ends)
    crown = Footprints(np.array([shapely.Point(100, 200)], object), np.array([r]))
    chord, _, low, high = crown.stretches(ends[:, 0], ends[:, 1], lines)
    got = np.zeros(4000)
    got[chord] = (high - low) * 17
    wanted = shapely.length(shapely.intersection(lines, crown[0]))
    assert 100 < (wanted == 0).sum() < 3900
    np.testing.assert_allclose(got, wanted, atol=1e-9)
