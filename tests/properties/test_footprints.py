"""Footprints that are drawn when asked for, against shapely's buffers and tree of all of them drawn beforehand."""

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import shapely

from corridor.clearance.crossings import _along
from corridor.clearance.footprints import Footprints

ROOT = Path(__file__).parents[2]

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
    wider = Footprints(flat, radius).buffered(parts, 2.5)[:]
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


ASKED_AT_ONCE = """
import sys
import threading

import numpy as np
import shapely

from corridor.clearance.crossings import _along
from corridor.clearance.footprints import Footprints
from corridor.clearance.right_of_way import rooms
from corridor.line.facts import RightOfWay
from tests.properties.test_right_of_way import blown
from tests.common import structures

turn = np.linspace(0, 2 * np.pi, 4_000, endpoint=False)
draw = np.random.default_rng(4)
start, end = draw.uniform(-300, 900, (2, 300, 2))
lines = shapely.linestrings(np.stack([start, end], axis=1))
every = np.arange(300), np.zeros(300, int)
line = structures([0, 300, 560], [0, 90, -40], base=[100.0, 104.0, 98.0])
swung, wires, spans = blown(line, places=9)


def ask(barrier, answers, areas, way):
    barrier.wait()
    if sys.argv[1] == "footprints":
        answers.append([part.tolist() for part in areas.stretches(start, end, lines, every)])
    else:
        answers.append(rooms(swung, wires, spans, line, way)[0].tolist())


for _ in range(5):
    edge = 3 * draw.uniform(90, 110, (len(turn), 1)) * np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    edge += line.easting[1], line.northing[1]
    shape = shapely.polygons(edge)
    way, areas = RightOfWay(polygon=shape), Footprints(np.array([shape]), np.array([np.nan]))
    barrier, answers = threading.Barrier(4), []
    threads = [threading.Thread(target=ask, args=(barrier, answers, areas, way)) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(answers) == 4 and all(answer == answers[0] for answer in answers)
"""


@pytest.mark.parametrize("what", ["footprints", "right-of-way"])
def test_asked_by_several_threads_at_once(what):
    """In a process of its own: where threads share a prepared shape it dies."""
    asked = subprocess.run([sys.executable, "-c", ASKED_AT_ONCE, what], cwd=ROOT, capture_output=True, text=True,
                           env={**os.environ, "PYTHONPATH": str(ROOT)})
    assert asked.returncode == 0, asked.stderr


def test_stretches_over_long_shapes_are_those_over_all_of_them():
    """Of a shape of many vertices what is about the chords is cut out first: with holes, in pieces, met in a line."""
    draw = np.random.default_rng(5)
    angle = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    ring = [shapely.Polygon(np.c_[np.cos(angle), np.sin(angle)] * (r * (1 + 0.2 * np.sin(9 * angle)))[:, None] + c)
            for r, c in ((100, (0, 0)), (30, (10, 5)), (60, (400, 50)))]
    stairs = shapely.Polygon([*((x, 3 * (x % 2)) for x in range(100)), (99, -40), (0, -40)])
    flat = np.array([ring[0] - ring[1], ring[0] - shapely.box(-20, -20, 20, 20), ring[2], stairs], object)
    start = draw.uniform(-120, 450, (300, 2))
    end = np.where(np.arange(300)[:, None] % 3, start + draw.uniform(-40, 40, (300, 2)), start + [25.0, 0.0])
    start[::7] = np.round(start[::7])  # along edges, and through corners
    lines = shapely.linestrings(np.stack([start, end], axis=1))
    chord, part, low, high = Footprints(flat, np.zeros(4)).stretches(start, end, lines)
    got = np.zeros((300, 4))
    np.add.at(got, (chord, part), (high - low) * np.hypot(*(end - start)[chord].T))
    wanted = shapely.length(shapely.intersection(lines[:, None], flat))
    assert (wanted > 1).sum() > 80
    np.testing.assert_allclose(got, wanted, atol=1e-9)


@pytest.mark.parametrize("vertices", [
    [(0, 0, 50), (40, 30, 44), (80, 60, 47), (400, 300, 60)],  # straight
    [(0, 0, 50), (40, 30, 44), (30, 90, 47)],  # bent
    [(0, 0, 50), (80, 60, 44), (40, 31, 47)],  # all but there and back
    [(0, 0, 50), (40, 30, 44), (0, 60, 47), (0, 0, 51)],  # closed
])
def test_the_height_of_a_line_beside_a_place_is_shapelys(vertices):
    draw, line = np.random.default_rng(7), shapely.LineString(vertices)
    ends, place = draw.uniform(-50, 150, (60, 2, 2)), draw.uniform(size=(60, 9))
    chords = shapely.linestrings(ends)
    spot = shapely.line_interpolate_point(chords[:, None], place, normalized=True)
    wanted = shapely.get_z(shapely.line_interpolate_point(line, shapely.line_locate_point(line, spot)))
    np.testing.assert_allclose(_along(line, chords, place), wanted, atol=1e-8)
