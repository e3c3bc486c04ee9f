"""What must hold of any equilibrium, whatever the numbers: derivatives, balance, symmetry, no word between sections."""

import numpy as np
import pytest
from scipy.linalg import block_diag

from corridor.errors import InputError
from corridor.geometry.catenary import plane_of
from corridor.mechanics import block_newton as block
from corridor.mechanics.clipping import clip_in, clipping_offsets, lying_in_travellers
from corridor.mechanics.elongation import TwoPart, strain
from corridor.mechanics.equilibrium import solve
from corridor.mechanics.supports import FREE, HELD, POST, Supports, end_forces
from tests.support_forces import support_forces

#: Outer 403 mm² of 55 GPa, core 65.6 mm² of 190 GPa; with a knee near 85 °C in the sections below.
PART = TwoPart(*(np.float64(v) for v in (22.165e6, 12.465e6, 23e-6, 11.5e-6, 3e-4, 0.0, 4e3)))
WEIGHT = 15.965
STILL = np.array([0, 0, -WEIGHT])


def section(spans, rises=0.0, turns=0.0, *, string=2.0, dead_end=0.0, east=0.0, **other):
    """One section: spans [m], rises [m], turns at its inner supports [deg]."""
    spans = np.asarray(spans, float)
    heading = np.radians(np.r_[0.0, np.cumsum(np.broadcast_to(turns, len(spans) - 1))])
    steps = np.stack([spans * np.sin(heading), spans * np.cos(heading), np.broadcast_to(rises, spans.shape)], axis=-1)
    hinge = np.concatenate([np.zeros((1, 3)), np.cumsum(steps, axis=0)]) + [east, 0, 0]
    length = np.full(len(spans) + 1, string)
    length[[0, -1]] = dead_end
    hinge[:, 2] += np.where(np.arange(len(length)) % len(spans) > 0, string, 0.0)
    return Supports(hinge[None], np.full(length.shape, FREE), length, 700.0, **other)


def across(supports, pressure, weight=WEIGHT):
    """Load with wind from the left of every span, (1, n, 3)."""
    chord = np.diff(supports.hinge, axis=1) * [1, 1, 0]
    right = np.stack([chord[..., 1], -chord[..., 0], 0 * chord[..., 0]], axis=-1)
    return pressure * right / np.linalg.norm(right, axis=-1, keepdims=True) - [0, 0, weight]


HILLY = section([180, 420, 260, 350, 150], [10, -15, 20, 5, -12], [4.0, -7.0, 0.0, 12.0], dead_end=1.5)


def clipped(supports, tension=28e3, temperature=15.0, part=PART):
    return clip_in(supports, [tension], [[STILL]], [temperature], part).unstressed


def random_wires(count, seed=3):
    """S, h, q, unstressed length, temperature: taut and slack, level and steep."""
    rng = np.random.default_rng(seed)
    S, q = rng.uniform(40, 900, (1, count)), rng.uniform(8, 60, (1, count))
    h, T = S * rng.uniform(-0.6, 0.6, (1, count)), rng.uniform(-40, 200, count)
    L0 = np.hypot(S, h) * rng.uniform(0.9985, 1.02, (1, count))
    return S, h, q, L0, T


def settled(S, h, q, L0, T):
    t, wire, residual = block.settle(S, h, q, L0, T, PART, np.log(2.5 * q * S))
    assert np.abs(residual).max() < 1e-12
    return wire


def test_wire_of_given_length_against_its_definition():
    """Ends, length and mean tension of the curve `y'' = sqrt(1 + y'^2)/C`; Gauss-Legendre of 60 points."""
    S, h, q, L0, T = random_wires(300)
    wire = settled(S, h, q, L0, T)
    slope_left, slope_right = -wire.left / wire.H, wire.right / wire.H
    C = wire.H / q
    np.testing.assert_allclose(C * (np.arcsinh(slope_right) - np.arcsinh(slope_left)), S, rtol=1e-10)
    np.testing.assert_allclose(C * (np.hypot(1, slope_right) - np.hypot(1, slope_left)), h, atol=1e-8)
    nodes, weights = np.polynomial.legendre.leggauss(60)
    x = (nodes[:, None, None] + 1) / 2 * S
    steep = np.cosh(x / C + np.arcsinh(slope_left))
    L, pull = ((weights[:, None, None] * S / 2 * steep**k).sum(axis=0) for k in (1, 2))
    np.testing.assert_allclose(wire.L, L, rtol=1e-10)
    np.testing.assert_allclose(wire.F, wire.H * pull / L, rtol=1e-10)
    np.testing.assert_allclose(L, L0 * (1 + strain(wire.F, T, PART)), rtol=1e-11)


def test_stiffness_is_the_derivative_of_the_end_forces():
    """Central differences, steps of 1 mm: error of second order, 1e-5 of the stiffness or less; knee left out."""
    S, h, q, L0, T = random_wires(400)
    T = np.minimum(T, 40.0)
    stiff = block.stiffness(settled(S, h, q, L0, T), L0, T, PART)
    for v, (dS, dh) in enumerate(((1e-3, 0), (0, 1e-3))):
        ahead, back = settled(S + dS, h + dh, q, L0, T), settled(S - dS, h - dh, q, L0, T)
        left = np.stack([ahead.H - back.H, back.left - ahead.left]) / 2e-3
        right = np.stack([back.H - ahead.H, back.right - ahead.right]) / 2e-3
        scale = np.abs(stiff.left).max(axis=(0, 1))
        assert np.abs((stiff.left[:, v] - left) / scale).max() < 1e-4
        assert np.abs((stiff.right[:, v] - right) / scale).max() < 1e-4


def test_stiffness_in_space():
    """The same in directions of both supports, out of the plane too, by moving the right end in space 1 mm each way."""
    rng = np.random.default_rng(5)
    chord, load = np.array([300.0, 120.0, 40.0]), np.array([-4.0, 9.0, -20.0])
    rows, columns = rng.normal(size=(2, 2, 3, 1, 1))
    L0, T = np.full((1, 1), 328.0), np.array([30.0])

    def wire(move):
        plane = plane_of(0.0, (chord + move)[None, None], load[None, None])
        return settled(plane.span, plane.rise, plane.load, L0, T), plane

    def forces(move):
        found, plane = wire(move)
        return np.array(end_forces(np.zeros(3), chord + move, load, found.H[0, 0]))

    found, plane = wire(0.0)
    stiff = block.stiffness(found, L0, T, PART)
    frame = [np.moveaxis(v, -1, 0) for v in (plane.along, plane.against)]
    for end, (matrix, across_plane) in enumerate(((stiff.left, stiff.across), (stiff.right, -stiff.across))):
        r, c = ([np.einsum("ij...,j...->i...", each, axis) for axis in frame] for each in (rows, columns))
        projected = block.project(matrix, across_plane, r, c)[..., 0, 0]
        projected = projected + across_plane[0, 0] * rows[..., 0, 0] @ columns[..., 0, 0].T
        moved = [(forces(1e-3 * c) - forces(-1e-3 * c))[end] / 2e-3 for c in columns[..., 0, 0]]
        np.testing.assert_allclose(projected, rows[..., 0, 0] @ np.transpose(moved), rtol=1e-5)


def test_wires_only_pull():
    """The stiffness is definite: no move of an end is helped along. What makes the search safe."""
    wire = settled(*random_wires(2000, seed=8))
    S, h, q, L0, T = random_wires(2000, seed=8)
    stiff = block.stiffness(wire, L0, T, PART)
    matrix = np.moveaxis(stiff.left, (0, 1), (-2, -1))
    assert np.linalg.eigvalsh((matrix + np.swapaxes(matrix, -1, -2)) / 2).min() > 0
    assert stiff.across.min() > 0


def test_blocks_against_a_dense_solution():
    """numpy.linalg.solve on the assembled matrix."""
    rng = np.random.default_rng(2)
    n, batch = 7, 5
    diagonal = rng.normal(size=(2, 2, n + 1, batch)) + 6 * np.eye(2)[:, :, None, None]
    lower, upper = rng.normal(size=(2, 2, 2, n, batch))
    right = rng.normal(size=(2, n + 1, batch))
    solution = block.solve_blocks(lower, diagonal, upper, right)
    for b in range(batch):
        dense = block_diag(*np.moveaxis(diagonal[..., b], -1, 0))
        for i in range(n):
            dense[2 * i + 2 : 2 * i + 4, 2 * i : 2 * i + 2] = lower[:, :, i, b]
            dense[2 * i : 2 * i + 2, 2 * i + 2 : 2 * i + 4] = upper[:, :, i, b]
        expected = np.linalg.solve(dense, right[..., b].T.ravel())
        np.testing.assert_allclose(solution[..., b].T.ravel(), expected, rtol=1e-9)


def test_the_state_of_clipping_in_is_an_equilibrium():
    """Slopes, angles, strain strings, wind: solving gives back the tension and the places that were given."""
    load = across(HILLY, 6.0)
    c = clip_in(HILLY, [25e3], load, [10.0], PART)
    eq = solve(HILLY, c.unstressed, load, [10.0], PART, tolerance=1e-4)
    np.testing.assert_allclose(eq.horizontal_tension, 25e3, rtol=1e-8)
    np.testing.assert_allclose(eq.end, c.end, atol=1e-7)


HARD = {
    "hot": (STILL, 180.0),
    "cold": (STILL, -40.0),
    "storm": (np.array([30.0, 0, -WEIGHT]), 15.0),
    "ice on one span": (STILL * np.array([1, 1, 4, 1, 1])[:, None], -5.0),
    "ice on all but one": (STILL * np.array([5, 5, 1, 5, 5])[:, None], -5.0),
    "wind along the line": (np.array([0, 8.0, -WEIGHT]), 15.0),
}


@pytest.mark.parametrize("name", HARD)
def test_balance_by_the_forces_alone(name):
    """At every string the sum of forces points along it; over the whole section they add up to all loads."""
    load, temperature = HARD[name]
    load = np.broadcast_to(load, (1, 5, 3))
    eq = solve(HILLY, clipped(HILLY), load, [temperature], PART)
    assert eq.converged.all(), eq.residual_force
    assert eq.iterations.max() <= 15
    on_start, on_end = end_forces(eq.end[:, :-1], eq.end[:, 1:], load, eq.horizontal_tension)
    force = np.zeros((6, 3)) - [0, 0, 350.0]
    force[:-1] += on_start[0]
    force[1:] += on_end[0]
    string = eq.end[0] - HILLY.hinge[0]
    np.testing.assert_allclose(np.linalg.norm(string, axis=-1), HILLY.string_length, rtol=1e-12)
    moment = np.linalg.norm(np.cross(string, force), axis=-1)
    assert moment.max() < 0.011 * 2
    assert (string * force).sum(axis=-1).min() > 0
    down, right, ahead = support_forces(HILLY, eq, load)
    wires = (on_start + on_end).sum(axis=(0, 1))
    assert down.sum() == pytest.approx(-wires[2] + 6 * 700.0, abs=1e-6)
    assert np.sqrt(right**2 + ahead**2)[0] == pytest.approx(np.hypot(*force[:, :2].T), abs=1e-6)


def test_lengths_of_all_spans_fit():
    """Each wire has the length that its own unstressed length has at its tension, to a billionth."""
    eq = solve(HILLY, clipped(HILLY), [[STILL]], [120.0], PART)
    on_start, on_end = end_forces(eq.end[:, :-1], eq.end[:, 1:], STILL, eq.horizontal_tension)
    C = eq.horizontal_tension / WEIGHT
    left, right = on_start[..., 2] / eq.horizontal_tension, -on_end[..., 2] / eq.horizontal_tension
    L = C * (right - left)
    u = np.arcsinh(left), np.arcsinh(right)
    F = eq.horizontal_tension * C / (2 * L) * (u[1] - u[0] + (np.sinh(2 * u[1]) - np.sinh(2 * u[0])) / 2)
    np.testing.assert_allclose(L, clipped(HILLY) * (1 + strain(F, 120.0, PART)), rtol=1e-9)


def test_reversed_section():
    """From the other end it is the same section."""
    L0, load = clipped(HILLY), across(HILLY, 7.0) * np.array([1, 1, 1.8, 1, 1])[:, None]
    back = Supports(HILLY.hinge[:, ::-1], HILLY.kind, HILLY.string_length[::-1], HILLY.string_weight)
    one = solve(HILLY, L0, load, [70.0], PART, tolerance=1e-4)
    two = solve(back, L0[:, ::-1], load[:, ::-1], [70.0], PART, tolerance=1e-4)
    np.testing.assert_allclose(two.horizontal_tension[:, ::-1], one.horizontal_tension, rtol=1e-7)
    np.testing.assert_allclose(two.end[:, ::-1], one.end, atol=1e-6)


def test_turned_and_shifted_section():
    """The compass and the grid's origin do not matter."""
    a = np.radians(77.0)
    turn = np.array([[np.cos(a), -np.sin(a), 0], [np.sin(a), np.cos(a), 0], [0, 0, 1]])
    load, away = across(HILLY, 9.0), np.array([400e3, 5e6, 300.0])
    moved = HILLY._replace(hinge=HILLY.hinge @ turn.T + away)
    one, two = (solve(s, clipped(HILLY), q, [90.0], PART, tolerance=1e-4)
                for s, q in ((HILLY, load), (moved, load @ turn.T)))
    np.testing.assert_allclose(two.horizontal_tension, one.horizontal_tension, rtol=1e-6)
    np.testing.assert_allclose(two.end - away, one.end @ turn.T, atol=1e-6)


def test_sections_do_not_know_of_each_other():
    """Alone, or among longer, unsolvable and unknown ones: the same answer; those are nan and say so."""
    short = section([300, 200])
    hinge = np.full((4, 6, 3), np.nan)
    hinge[:], hinge[1, :3] = HILLY.hinge, short.hinge
    L0 = np.repeat(clipped(HILLY), 4, axis=0)
    L0[1, :2], L0[1, 2:] = clipped(short), np.nan
    L0[2, 1] = np.nan
    hinge[3, 2] = hinge[3, 1]
    length = np.repeat(HILLY.string_length[None], 4, axis=0)
    length[1, :3] = short.string_length
    supports = HILLY._replace(hinge=hinge, string_length=length)
    eq = solve(supports, L0, [[STILL]], [80.0], PART, count=[5, 2, 5, 5])
    assert eq.converged.tolist() == [True, True, False, False]
    alone = [solve(s, clipped(s), [[STILL]], [80.0], PART) for s in (HILLY, short)]
    np.testing.assert_allclose(eq.horizontal_tension[0], alone[0].horizontal_tension[0], rtol=1e-11)
    np.testing.assert_allclose(eq.horizontal_tension[1, :2], alone[1].horizontal_tension[0], rtol=1e-12)
    np.testing.assert_allclose(eq.end[1, :3], alone[1].end[0], atol=1e-9)
    assert np.isnan(eq.horizontal_tension[1, 2:]).all()
    assert np.isnan(eq.horizontal_tension[2:]).all()
    assert np.isnan(eq.end[2:]).all()
    down = support_forces(supports, eq, [[STILL]], count=[5, 2, 5, 5]).down
    assert np.isfinite(down).sum(axis=1).tolist() == [6, 3, 0, 0]


def test_a_stop_too_early_is_no_answer(monkeypatch):
    """Too few steps: nan, with the force that was left and where."""
    L0 = clipped(HILLY)
    monkeypatch.setattr("corridor.mechanics.balance._STEPS", 1)
    monkeypatch.setattr("corridor.mechanics.interior_point.MOST_STEPS", 1)
    eq = solve(HILLY, L0, across(HILLY, 12.0, 50.0), [-5.0], PART)
    assert not eq.converged.any() and eq.left.shape == (1, 6)
    assert eq.residual_force[0] == eq.left[0].max() > 1
    assert np.isnan(eq.horizontal_tension).all()
    assert np.isnan(eq.end).all()


def test_no_section_at_all_is_no_fault():
    """Shapes go on as they are: what asks for the wires of no section gets the wires of none."""
    supports, none = Supports(np.zeros((0, 4, 3)), np.zeros((0, 4), int), np.zeros((0, 4))), np.zeros(0)
    part, still = TwoPart(*np.zeros((7, 0))), np.zeros((0, 1, 3))
    clip = clip_in(supports, none, still, none, part)
    assert clip.unstressed.shape == (0, 3) and clip.end.shape == (0, 4, 3)
    found = solve(supports, clip.unstressed, still, none, part)
    assert found.horizontal_tension.shape == (0, 3) and found.end.shape == found.lifted.shape + (3,) == (0, 4, 3)
    assert found.converged.shape == found.iterations.shape == found.residual_force.shape == (0,)
    assert clipping_offsets(supports, none, still[:, 0], none, part).offset.shape == (0, 4)
    assert lying_in_travellers(supports, clip.unstressed, none, still[:, 0], none, part)[1].shape == (0, 4, 3)


def test_sections_of_which_nothing_is_known_stay_unknown():
    """nan goes in and nan comes out, without a warning, beside a section that is found."""
    one = HILLY._replace(hinge=np.concatenate([HILLY.hinge, HILLY.hinge * np.nan]))
    clip = clip_in(one, [28e3, np.nan], [[STILL]], [15.0, np.nan], PART)
    found = solve(one, clip.unstressed, [[STILL]], [60.0, np.nan], PART)
    assert found.converged.tolist() == [True, False]
    assert np.isfinite(found.end[0]).all() and np.isnan(found.end[1]).all()
    assert np.isnan(clip.unstressed[1]).all() and np.isnan(found.horizontal_tension[1]).all()
    assert not found.lifted[1].any()


def test_posts_lie_between_held_and_free_to_slide():
    """A stiff post is a held wire, one without stiffness makes tensions equal; between, `k s` is the difference."""
    spans = section([150, 400, 250], string=0.0)
    L0 = clipped(spans)
    kind = np.array([HELD, POST, POST, HELD])

    def at(stiffness):
        return solve(spans._replace(kind=kind, stiffness=stiffness), L0, [[STILL]], [100.0], PART, tolerance=1e-4)

    held = solve(spans, L0, [[STILL]], [100.0], PART)
    np.testing.assert_allclose(at(1e12).horizontal_tension, held.horizontal_tension, rtol=1e-6)
    assert np.ptp(held.horizontal_tension) > 1000
    np.testing.assert_allclose(np.diff(at(0.0).horizontal_tension), 0.0, atol=2e-4)
    eq = at(50e3)
    bend = (eq.end - spans.hinge)[0, 1:-1, 1]
    np.testing.assert_allclose(np.diff(eq.horizontal_tension[0]), 50e3 * bend, atol=2e-4)
    np.testing.assert_array_equal((eq.end - spans.hinge)[..., [0, 2]], 0.0)


def test_a_held_support_parts_the_section():
    """A wire that is held in the middle: both sides are sections of their own."""
    whole = section([200, 380, 300, 170], string=2.0)
    kind = np.array([HELD, FREE, HELD, FREE, HELD])
    eq = solve(whole._replace(kind=kind), clipped(whole), [[STILL]], [90.0], PART, tolerance=1e-4)
    for i in (0, 2):
        half = Supports(whole.hinge[:, i : i + 3], kind[i : i + 3], [0, 2.0, 0], 700.0)
        one = solve(half, clipped(whole)[:, i : i + 2], [[STILL]], [90.0], PART, tolerance=1e-4)
        np.testing.assert_allclose(eq.horizontal_tension[:, i : i + 2], one.horizontal_tension, rtol=1e-8)


def test_offsets_on_level_ground_are_none():
    """Equal spans: none. Unlike spans at one height: `H + w D` is the tension over every sheave, D being the sag.

    Travellers lean by centimetres, which leaves the chords not quite level: 1 part in 100,000 here.
    """
    supports = section([150, 400, 250, 350, 180, 420], string=2.0)
    level = clipping_offsets(section([300.0] * 4, string=0.0), [28e3], [STILL], [15.0], PART)
    np.testing.assert_allclose(level.offset, 0.0, atol=1e-9)
    np.testing.assert_allclose(level.horizontal_tension, 28e3, rtol=1e-9)
    unlike = clipping_offsets(supports, [28e3], [STILL], [15.0], PART)
    H, S = unlike.horizontal_tension, np.diff(unlike.sheave[..., 1])
    tension = H + H * (np.cosh(WEIGHT * S / 2 / H) - 1)
    np.testing.assert_allclose(tension, tension.mean(), rtol=1e-5)
    assert np.ptp(H) > 100


def test_travellers_on_a_slope():
    """Equal tension over each sheave, strings in line with the bisector, and no wire lost between the ends."""
    slope = section([250, 310, 280, 330, 260], [60, 95, 70, 110, 20])
    made = clipping_offsets(slope, [25e3], [STILL], [15.0], PART)
    on_start, on_end = end_forces(made.sheave[:, :-1], made.sheave[:, 1:], STILL, made.horizontal_tension)
    tension = np.linalg.norm(on_start, axis=-1), np.linalg.norm(on_end, axis=-1)
    np.testing.assert_allclose(tension[1][:, :-1], tension[0][:, 1:], rtol=1e-8)
    assert np.all(np.diff(made.horizontal_tension) > 0)
    force = on_start[0, 1:] + on_end[0, :-1] - [0, 0, 350.0]
    string = (made.sheave - slope.hinge)[0, 1:-1]
    assert np.linalg.norm(np.cross(string, force), axis=-1).max() < 1e-3
    assert np.all(string[:, 1] > 0)
    assert np.all(made.offset[0, 1:-1] < 0)
    assert abs(made.offset[0, -1]) < 1e-6
    np.testing.assert_allclose(made.unstressed, clipped(slope, 25e3), rtol=1e-12)


def test_travellers_against_a_search_of_its_own():
    """Two held spans on a slope, by scipy.optimize.root on both lengths."""
    from scipy.optimize import root

    slope = section([250, 310], [60, 95], string=0.0)
    made = clipping_offsets(slope, [25e3], [STILL], [15.0], PART)

    def lengths(tensions):
        C = np.array(tensions) / WEIGHT
        u = np.arcsinh(np.array([60.0, 95.0]) / (2 * C * np.sinh(np.array([250.0, 310.0]) / 2 / C)))
        half = np.array([250.0, 310.0]) / 2 / C
        a, b = u - half, u + half
        L = C * (np.sinh(b) - np.sinh(a))
        F = C * np.array(tensions) / (2 * L) * (b - a + (np.sinh(2 * b) - np.sinh(2 * a)) / 2)
        return L / (1 + strain(F, 15.0, PART)), tensions * np.cosh(a), tensions * np.cosh(b)

    def wrong(tensions):
        L0, at_left, at_right = lengths(tensions)
        return [(L0.sum() - made.unstressed.sum()) * 1e4, at_right[0] - at_left[1]]

    found = root(wrong, [25e3, 25e3], tol=1e-12).x
    np.testing.assert_allclose(made.horizontal_tension[0], found, rtol=1e-7)
    assert made.offset[0, 1] == pytest.approx(made.unstressed[0, 0] - lengths(found)[0][0], rel=2e-3)


def test_wires_in_travellers_from_their_lengths():
    """The lengths after clipping in lead to what the offsets were taken from; tension is `T0 - q.x` throughout."""
    made = clipping_offsets(HILLY, [25e3], [STILL], [15.0], PART)
    H, end = lying_in_travellers(HILLY, made.unstressed, [20e3], [STILL], [15.0], PART)
    np.testing.assert_allclose(H, made.horizontal_tension, rtol=1e-8)
    np.testing.assert_allclose(end, made.sheave, atol=1e-6)
    on_start, on_end = end_forces(end[0, :-1], end[0, 1:], STILL, H[0])
    level = [np.linalg.norm(pull, axis=-1) - WEIGHT * at[:, 2] for pull, at in
             ((on_start, end[0, :-1]), (on_end, end[0, 1:]))]
    np.testing.assert_allclose(level, level[0][0], rtol=1e-8)


def test_a_string_that_wires_lift_where_they_are_clipped_in():
    """The middle support 3 m too low for its wire: its string hangs slack, with the tension throughout, and no more.

    By hand: at slack strings the wires of both spans carry half of the string's weight W alone. The wire of a level
    chord, lowered by y, pulls down at its middle by `2 (w S/2 - H y/S)` near enough: `y = S (w S + W/2) / 2H`.
    """
    low, H = section([200, 200], [-13, 13]), 28e3
    clip = clip_in(low, [H], [[STILL]], [15.0], PART)
    assert clip.lifted.tolist() == [[False, True, False]] and clip.left.max() < 0.01
    assert clip.end[0, 1, 2] == pytest.approx(-200 * (WEIGHT * 200 + 350) / (2 * H), rel=5e-3)
    assert clip.end[0, 1, 2] > low.hinge[0, 1, 2] - 1.9
    back = solve(low, clip.unstressed, [[STILL]], [15.0], PART, tolerance=1e-4)
    np.testing.assert_allclose(back.end, clip.end, atol=1e-6)
    assert back.lifted.tolist() == clip.lifted.tolist()
    # In travellers it would run off its sheave: no marks are told.
    assert np.isnan(clipping_offsets(low, [H], [STILL], [15.0], PART).offset).all()


def test_far_too_low_a_support_holds_the_wire_down_where_it_is_clipped_in():
    """40 m too low: the string is taut, above its hinge, and its pull is what bends the wire there."""
    low = section([200, 200], [-40, 40])
    clip = clip_in(low, [28e3], [[STILL]], [15.0], PART)
    np.testing.assert_allclose(clip.end[0, 1], low.hinge[0, 1] + [0, 0, 2.0], atol=1e-9)
    on_start, on_end = end_forces(clip.end[0, :-1], clip.end[0, 1:], STILL, 28e3)
    assert (on_start[1] + on_end[0])[2] > 5e3 and clip.lifted[0, 1]
    assert np.isnan(clipping_offsets(low, [28e3], [STILL], [15.0], PART).offset).all()


def test_lifted_by_cold():
    """A low support that hangs when warm and is lifted when cold: its string goes slack, and holds nothing but itself.

    A string cannot push. So the wire ends of both spans balance half of the string's weight alone, within its length.
    """
    low = section([250, 250], [-22, 22])
    eq = solve(low, clipped(low, 20e3, 40.0), [[STILL]], [40.0, -40.0], PART, tolerance=1e-4)
    assert eq.converged.all() and eq.lifted.tolist() == [[False] * 3, [False, True, False]]
    down = support_forces(low, eq, [[STILL]]).down[:, 1]
    assert down[0] > 700
    assert down[1] == pytest.approx(350, abs=1e-3)
    assert np.linalg.norm(eq.end[1, 1] - low.hinge[0, 1]) < 2.0
    on = end_forces(eq.end[1, :-1], eq.end[1, 1:], STILL, eq.horizontal_tension[1])
    np.testing.assert_allclose(on[1][0] + on[0][1], [0, 0, 350], atol=1e-3)


def test_lifted_far_it_hangs_upward_and_holds_the_wire_down():
    """The wire would rise beyond a short string: it is taut again, above its hinge, and pulls down."""
    low = section([250, 250], [-26, 26], string=0.4)
    held = low._replace(kind=HELD)
    L0 = clip_in(held, [20e3], [[STILL]], [15.0], PART).unstressed
    eq = solve(low, L0, [[STILL]], [-40.0], PART, tolerance=1e-4)
    assert eq.converged.all() and eq.lifted[0].tolist() == [False, True, False]
    offset = (eq.end - low.hinge)[0, 1]
    assert np.linalg.norm(offset) == pytest.approx(0.4) and offset[2] > 0.39
    down = support_forces(low, eq, [[STILL]]).down
    assert down[0, 1] < 0
    lengths = [2 * arc_of(eq, i) for i in range(2)]
    np.testing.assert_allclose(down.sum(), WEIGHT * sum(lengths) / 2 + 700, rtol=1e-9)


def test_strings_pull_or_hang_slack_on_the_wildest_ground():
    """300 sections over ground that leaps by up to 60 m, in ice, wind, heat and cold; wires held at the hinges fit
    them. Of every string the forces alone tell that it is right: taut and pulled outward, or slack and without force.
    The rest of a convex energy over balls is where this holds at every one of them."""
    rng = np.random.default_rng(5)
    many, spans = 300, 8
    hinge = np.zeros((many, spans + 1, 3))
    hinge[:, 1:, 1] = np.cumsum(rng.uniform(120, 450, (many, spans)), axis=1)
    hinge[..., 2] = rng.uniform(-30, 30, hinge.shape[:2])
    length = np.repeat(rng.uniform(0.5, 3, (many, 1)), spans + 1, axis=1)
    supports = Supports(hinge, np.full(spans + 1, FREE), length, 700.0)
    held = supports._replace(kind=HELD)
    L0 = clip_in(held, rng.uniform(15e3, 30e3, many), [[STILL]], np.full(many, 15.0), PART).unstressed
    wind = rng.choice([0.0, 4.0, 12.0], many)[:, None, None] * [1.0, 0, 0]
    load = STILL * rng.uniform(1, 2.5, (many, spans, 1)) + wind
    eq = solve(supports, L0, load, rng.uniform(-40, 150, many), PART)
    assert eq.converged.all() and eq.lifted.any(axis=1).mean() > 0.2
    on_start, on_end = end_forces(eq.end[:, :-1], eq.end[:, 1:], load, eq.horizontal_tension)
    force = np.full(eq.end.shape, [0, 0, -350.0])
    force[:, :-1] += on_start
    force[:, 1:] += on_end
    offset = eq.end - hinge
    reach, pull = np.linalg.norm(offset, axis=-1), (force * offset).sum(axis=-1)
    taut = reach > length - 1e-6
    assert (reach < length + 1e-6).all() and (pull[taut] > 0).all() and (~taut).any() and eq.lifted[~taut].all()
    across = force - (pull / reach**2)[..., None] * offset * taut[..., None]
    assert np.linalg.norm(across, axis=-1).max() < 0.011


def arc_of(eq, i):
    """Length of a wire between its written ends: `L = sqrt(P^2 + h^2)`, `P = 2C sinh(S/2C)`."""
    chord, C = eq.end[0, i + 1] - eq.end[0, i], eq.horizontal_tension[0, i] / WEIGHT
    return np.hypot(2 * C * np.sinh(np.hypot(*chord[:2]) / (2 * C)), chord[2])


def test_slack_strings_among_others_from_any_side():
    """Reversed sections with several low supports, in wind: mirrored; strings that hang are not told as lifted."""
    low = section([250, 250, 300, 200, 260], [-26, 26, 4, -23, 19])
    load = across(low, 5.0)
    L0 = clip_in(low._replace(kind=HELD), [20e3], [[STILL]], [15.0], PART).unstressed
    there = solve(low, L0, load, [-30.0], PART, tolerance=1e-4)
    back = solve(low._replace(hinge=low.hinge[:, ::-1]), L0[:, ::-1], load[:, ::-1], [-30.0], PART, tolerance=1e-4)
    assert there.converged.all() and there.lifted.sum() == 2
    assert back.lifted[:, ::-1].tolist() == there.lifted.tolist()
    np.testing.assert_allclose(back.end[:, ::-1], there.end, atol=1e-6)
    down = support_forces(low, there, load).down[0, 1:-1]
    assert (down[~there.lifted[0, 1:-1]] > 350).all()


def test_ice_on_some_spans_draws_none_tighter_than_ice_on_all():
    """Every pattern of ice on 6 unlike spans, in 100 sections of unlike strings: none pulls more than with ice on all.

    So sets and stringing limits that count the ice of a case on the whole section are on the long side of the wire.
    (Ice on one span more does not make all tighter: it also weighs on strings, which then give less.)
    """
    rng = np.random.default_rng(11)
    many, spans = 100, 6
    hinge = np.zeros((many, spans + 1, 3))
    hinge[:, 1:, 1] = np.cumsum(rng.uniform(120, 450, (many, spans)), axis=1)
    hinge[..., 2] = rng.uniform(-4, 4, hinge.shape[:2])
    supports = Supports(hinge, np.array([HELD, *[FREE] * (spans - 1), HELD]), rng.uniform(0.5, 3, many)[:, None], 700.0)
    L0 = clip_in(supports, rng.uniform(20e3, 30e3, many), [[STILL]], np.full(many, 10.0), PART).unstressed
    known = np.isfinite(L0).all(axis=1)
    assert known.mean() > 0.9

    def tension(iced):
        load = STILL * np.where(iced, 2.5, 1.0)[..., None]
        return solve(supports, L0, load[None], np.full(many, -5.0), PART).horizontal_tension[known]

    whole = tension(np.ones(spans, bool))
    for pattern in range(2**spans - 1):
        assert (tension((pattern >> np.arange(spans)) % 2 == 1) < whole).all()


@pytest.mark.parametrize(
    ("change", "where"),
    [({"kind": 7}, "kind"), ({"string_length": -1.0}, "string_length"), ({"count": [9]}, "count"),
     ({"count": [0]}, "count")],
)
def test_what_does_not_exist_is_refused(change, where):
    change = dict(change)
    count = change.pop("count", None)
    with pytest.raises(InputError, match=where):
        solve(HILLY._replace(**change), clipped(HILLY), [[STILL]], [15.0], PART, count=count)
