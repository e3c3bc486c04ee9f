"""Ground, objects and trees below wires along their whole swing."""

from types import SimpleNamespace

import numpy as np
import pytest
import shapely

from corridor.clearance import proximity
from corridor.clearance.chords import chords_of
from corridor.clearance.ground import ground_rows
from corridor.clearance.sweep import sweep
from corridor.clearance.swung_wires import hang_rows
from corridor.geometry.catenary import plane_of, points
from corridor.geometry.distance import heights, least_heights
from corridor.line.facts import Case
from corridor.line.swing import to_grid
from corridor.line.wire_path import Nodes
from tests.common import findings, framings, option, rows_where, rules_of, structures
from tests.end_to_end.conftest import EAST, NORTH, TinyStudy, line_of

#: Winds from still to full of the brute-force sweep, as cases of their own.
SHARES = np.linspace(0, 1, 15)


def sloping(slope):
    """Ground that rises to the north, across the line."""
    return lambda e, n: 100 + slope * (n - NORTH) + 0 * e


def one_span(folder, slope, *, wind=290.0):
    """A single span held at both ends on a side slope, with a case at each share of the wind."""
    study = TinyStudy(folder)
    study.structures = line_of(count=2)
    study.structures["base_elevation"] = [100.0, 100.0]
    study.framings = study.framings.replace("hold,B,phase,1,5,19", "hold,B,phase,1,4,18")
    study.write_ground(sloping(slope), cell=5.0, high=(EAST + 700, NORTH + 400))
    study.change('wind = "290 Pa"\nchecks = ["horizontal"]', f'wind = "{wind} Pa"\nchecks = ["vertical"]')
    for i, share in enumerate(SHARES):
        study.change("[rules]", f'[[cases]]\nname = "w{i}"\ntemperature = 10\nwind = "{wind * share:.6f} Pa"\n'
                                'checks = ["tension"]\n\n[rules]')
    return study


@pytest.mark.parametrize("slope", [0.0, 0.12, 0.4])
def test_the_whole_swing_against_a_sweep_by_hand(tmp_path, slope):
    """A wire held at both ends tilts about its level chord: at mid-span it is `D cos phi` lower and `D sin phi` aside.

    The least of 15 winds to both sides, by hand over the plane, with sags and angles of the layer of wires. The wires
    there are solved one by one; that the least over angles between those of the engine is missed by no more than 2 mm
    is the parabola's own error.
    """
    findings = one_span(tmp_path / "s", slope).check()
    wires = findings["wires"]
    wires = wires[wires["case"].str.startswith("w") & (wires["wire"] == "B")]
    D, phi = wires["sag_m"].to_numpy(), np.radians(wires["swing_deg"].to_numpy())
    assert phi.max() > 0.5 and len(D) == len(SHARES)
    # The line runs to the east, so that left of it, at wire A, the ground is higher.
    # The ground is a plane in the grid, whose metres are not those of the ground.
    grid = slope / findings["spans"]["ground_factor"].iloc[0]
    brute = min((118 - D * np.cos(phi) - (100 + grid * (-offset - side * D * np.sin(phi)))).min()
                for offset in (-4.0, 4.0) for side in (1, -1))
    row = findings.row("clearances", case="swung", against="ground")
    assert row["actual_m"] == pytest.approx(brute, abs=0.006) and row["actual_m"] < brute + 0.001
    assert row["actual_m"] == pytest.approx(row["wire_elevation_m"] - row["other_elevation_m"], abs=1e-6)
    ground = sloping(slope)(row.geometry.x, row.geometry.y)
    assert row["other_elevation_m"] == pytest.approx(ground, abs=1e-3)
    assert row["wire"] == "A" or slope == 0


def test_still_air_governs_over_level_ground(tmp_path):
    """No swing brings a wire lower than it hangs in still air but by what its tension gives; here by nothing."""
    study = one_span(tmp_path / "s", 0.0)
    study.change('name = "w0"\ntemperature = 10\nwind = "0.000000 Pa"\nchecks = ["tension"]',
                 'name = "w0"\ntemperature = 10\nchecks = ["vertical"]')
    findings = study.check()
    swung, still = (findings.row("clearances", case=case, against="ground")["actual_m"] for case in ("swung", "w0"))
    assert swung == pytest.approx(still, abs=1e-4)


def test_a_side_slope_that_only_the_swung_wire_meets(tmp_path):
    """On 40 % the wire at 10 °C clears in still air and is in violation swung: a violation, with its stretch."""
    study = one_span(tmp_path / "s", 0.4)
    study.change('name = "w0"\ntemperature = 10\nwind = "0.000000 Pa"\nchecks = ["tension"]',
                 'name = "w0"\ntemperature = 10\nchecks = ["vertical"]')
    findings = study.check()
    swung, still = (findings.row("clearances", case=case, against="ground")["actual_m"] for case in ("swung", "w0"))
    assert swung < still - 0.3
    base = (swung + still) / 2
    study.rules = study.rules.replace("4.5,0.01,23,0.03,50,5.6,0.4", f"{base},,,,,,")
    findings = study.check()
    cold = findings.rows("violations", against="ground")
    assert "swung" in set(cold["case"]) and "w0" not in set(cold["case"])
    stretch = findings.row("violation_stretches", case="swung")
    worst = findings.row("violations", case="swung", against="ground")
    assert stretch["worst_margin_m"] == pytest.approx(worst["margin_m"], abs=0.005)
    assert 5 < stretch["length_m"] < 250
    assert shapely.distance(stretch.geometry, shapely.force_2d(worst.geometry)) < 0.05


def test_break_even_slope():
    """About 20 %, where the swung wire comes to govern.

    Worked numbers of a 300 m span of 28 mm wire, 25.25 kN in still air at 15 °C, 290 Pa: in-plane sag 7.293 m on a
    plane tilted by 27.07 degrees, a 2 m string at 25.47 degrees; hence 4.18 m aside and 0.82 m up at mid-span
    (computed beside this project). The sag in still air is `w S^2/(8 H)` = 7.115 m with w = 15.97 N/m.
    """
    scene = SimpleNamespace(
        structures=SimpleNamespace(easting=np.zeros(1), northing=np.zeros(1)),
        spans=SimpleNamespace(tail=np.zeros(1, int), azimuth=np.array([90.0]), ground_factor=np.ones(1)),
        wires=SimpleNamespace(span=np.zeros(1, int)), depth=np.zeros((2, 2, 2)),
        of_way=lambda way: (way, way, way))

    def hung(sag, plane, string):
        plane, string = np.radians(plane), np.radians(string)
        end = [0, 2 * np.sin(string), 20 - 2 * np.cos(string)]
        w = 15.97
        load = np.array([[0.0, w * np.tan(plane), -w]])
        H = np.hypot(*load[0, 1:]) * 300**2 / (8 * sag)
        one = np.zeros(1, int)
        start, last = np.array([end]), np.array([[300.0, *end[1:]]])
        return chords_of(scene, Nodes(one, np.ones(1), start, last, H / np.linalg.norm(load, axis=-1), load))

    still, swung = hung(7.115, 0.0, 0.0), hung(7.293, 27.07, 25.47)
    aside, up = (swung.local[0, 16] - still.local[0, 16])[1:]
    # A parabola's sag was turned into H: the catenary's is 0.04 % of it greater, 3 mm.
    assert aside == pytest.approx(4.18, abs=0.01) and up == pytest.approx(0.82, abs=0.01)

    def least(chords, slope):
        fraction = np.tile([0.0, 0.5, 1.0], len(chords))
        right = np.stack([chords.local[0, :-1, 1], chords.local[0, :-1, 1] / 2 + chords.local[0, 1:, 1] / 2,
                          chords.local[0, 1:, 1]], axis=1)
        rows = ground_rows(chords, np.arange(len(chords) + 1) * 3, fraction, slope * right.ravel())
        return np.nanmin(least_heights(rows, chords.constant[:, None]).height)

    assert least(swung, 0.18) > least(still, 0.18) and least(swung, 0.21) < least(still, 0.21)


def test_small_catenaries_meet_the_wire():
    """The chords' own catenaries lie on the wire: against its curve at 1025 places, to a tenth of a millimetre."""
    scene = SimpleNamespace(
        structures=SimpleNamespace(easting=np.zeros(1), northing=np.zeros(1)),
        spans=SimpleNamespace(tail=np.zeros(1, int), azimuth=np.array([0.0]), ground_factor=np.ones(1)),
        wires=SimpleNamespace(span=np.zeros(1, int)), depth=np.zeros((2, 2, 2)),
        of_way=lambda way: (way, way, way))
    one = np.zeros(1, int)
    start, end, load = np.array([[0.0, 4, 30]]), np.array([[420.0, 5, 75]]), np.array([[0.0, 8.0, -10.0]])
    swung = Nodes(one, np.ones(1), start, end, 15e3 / np.linalg.norm(load, axis=-1), load)
    chords = chords_of(scene, swung)
    plane = plane_of(start, end, load)
    fine = points(start, plane, 15e3 / plane.load, np.linspace(0, 1, 32 * 32 + 1))[0]
    t = np.linspace(0, 1, 33)
    for i in (0, 7, 16, 31):
        a, b = chords.local[0, i], chords.local[0, i + 1]
        z = heights(t, chords.length[i], a[2], (b - a)[2], chords.constant[i])
        some = fine[32 * i:32 * i + 33]
        place = (some[:, 0] - a[0]) / (b[0] - a[0])
        assert np.abs(np.interp(place, t, z) - some[:, 2]).max() < 5e-4
        assert np.abs(some[:, 1] - (a[1] + place * (b - a)[1])).max() < 0.02


def test_objects_below_the_swung_wire(tmp_path):
    """A road beside the line that no wire is above in still air is met by the swung wire, and a tree at its side."""
    study = one_span(tmp_path / "s", 0.0)
    e = EAST + 150.0
    path = shapely.LineString([(e - 20, NORTH - 7.0), (e + 20, NORTH - 7.0)])
    study.add_obstacle("path", "road", [path], "height = 0")
    study.add_obstacle("lone", "tree", [shapely.Point(e, NORTH + 8.5)], "height = 6\nradius = 1")
    study.rules += "grow,tree,radial,2,,,,,,\n"
    findings = study.check()
    road = findings.rows("clearances", against="road")
    assert set(road["case"]) == {"swung"}
    # Found at the swing next to it: within half of the step between swings, here a metre.
    assert road["offset_m"].iloc[0] == pytest.approx(7.0, abs=0.6)
    trees = findings.rows("clearances", against="tree")
    least = trees.set_index("case")["actual_m"]
    # The tree is an upright of 1 m radius up to 106 m. Left blown, wire A is the mirror of wire B blown right.
    by_hand = np.inf
    for wire in findings["wires"].query("wire == 'B' and case.str.startswith('w')").geometry:
        x, y, z = shapely.get_coordinates(shapely.segmentize(wire, 0.05), include_z=True).T
        beside = np.hypot(x - e, (NORTH - y) - 8.5)
        by_hand = min(by_hand, np.hypot(np.maximum(beside - 1, 0), np.maximum(z - 106, 0)).min())
    # By hand, half a metre between swings misses up to 9 mm; and chords of the layer lie up to 8 mm high.
    assert by_hand - 0.02 < least["swung"] < by_hand + 0.03


def test_a_path_outside_of_the_swing_is_not_below_it(tmp_path):
    """Widened, so as to be found between swings, a path a little outside is met; the swept area lets it go."""
    study = one_span(tmp_path / "s", 0.0)
    e = EAST + 150.0
    for name, aside in (("near", 7.4), ("far", 7.7)):
        path = shapely.LineString([(e - 20, NORTH - aside), (e + 20, NORTH - aside)])
        study.add_obstacle(name, "road", [path], "height = 0")
    findings = study.check()
    right = shapely.bounds(findings.row("wires", case="swung", wire="B").geometry)[1]
    assert NORTH - 7.7 < right < NORTH - 7.4
    assert set(findings.rows("clearances", against="road")["obstacle"]) == {"near:1"}


def rough(e, n):
    """A side slope of 25 % with waves of 40 to 100 m."""
    return (100 + 0.25 * (n - NORTH) + 0.8 * np.sin((e - EAST) / 17) * np.cos((n - NORTH) / 9)
            + 0.4 * np.sin((e + 2 * n - EAST - 2 * NORTH) / 7))


def bumpy(e, n):
    """The same with bumps of up to 0.6 m from one metre to the next, as a laser leaves them in low growth."""
    number = np.floor(e - EAST) * 7919 + np.floor(n - NORTH) * 104729
    return rough(e, n) + 0.6 * np.mod(np.sin(number * 12.9898) * 43758.5453, 1)


def over_ground(scene, ground, case, wire, swing, share):
    """Heights over the ground of wires that are each hung at a swing, at shares of their length (wire, place) [m]."""
    zero = np.zeros(len(wire), int)
    found = hang_rows(scene, wire, zero, zero + case, swing)
    plane = plane_of(found.start, found.end, found.vectors)
    local = points(found.start, plane, found.constant, share)
    curve = to_grid(local, scene.structures, scene.spans, scene.wires.span[wire])
    return curve[..., 2] - ground.sample(*curve[..., :2].reshape(-1, 2).T).reshape(curve.shape[:2])


def brute_force(scene, ground, case, span):
    """Minimum height of a span over the ground, and in still air: 61 swings of each wire, 601 places of each, and about
    the 8 lowest of them once more and more narrowly."""
    wire, swing = (v.ravel() for v in np.meshgrid(np.flatnonzero(scene.wires.span == span), np.linspace(-1, 1, 61)))
    share = np.linspace(0, 1, 601)
    over = over_ground(scene, ground, case, wire, swing, share)
    least = []
    for row, column in zip(*np.unravel_index(np.argsort(over, axis=None)[:8], over.shape), strict=True):
        turn, place, steps = swing[row], share[column], np.linspace(-1, 1, 9)
        for width in 0.5 ** np.arange(13):
            turns, places = (np.clip(at + step * width * steps, low, 1) for at, step, low in
                             ((turn, 1 / 30, -1), (place, 1 / 600, 0)))
            near = over_ground(scene, ground, case, np.full(9, wire[row]), turns, np.tile(places, (9, 1)))
            i, j = np.unravel_index(near.argmin(), near.shape)
            turn, place = turns[i], places[j]
        least.append(near.min())
    return min(least), over[np.isclose(swing, 0)].min()


@pytest.mark.parametrize("surface, cell", [(rough, 2.0), (bumpy, 1.0), (rough, 20.0)])
def test_rough_ground_against_brute_force(tmp_path, monkeypatch, surface, cell):
    """Within a tenth of a millimetre of brute force over rough ground on a side slope, with strings that swing.

    Brute force begins on a grid of its own, so it may miss the very least where the ground has a bump per cell; it is
    then the engine that is lower.
    """
    study, seen = study_of_slopes(tmp_path, surface, cell), {}

    def spy(scene, index, ground, cases, *more):
        seen.update(scene=scene, ground=ground, cases=cases, swept=sweep(scene, index, ground, cases, *more))
        return seen["swept"]

    monkeypatch.setattr(proximity, "sweep", spy)
    study.check()
    scene, checked = seen["scene"], seen["swept"].checked
    for span in range(3):
        least, still = brute_force(scene, seen["ground"], seen["cases"][0], span)
        mine = (scene.wires.span[checked.wire] == span) & (checked.obstacle == -1)
        assert mine.sum() == 1
        actual = checked.actual[mine][0]
        assert actual < least + 1e-4
        assert actual > least - (0.01 if surface is bumpy else 1e-4)
        # It is a place of the ground, and it is the swing that counts: in still air the same wires are farther.
        assert checked.elevation[mine][0] - checked.other[mine][0] == pytest.approx(actual, abs=1e-9)
        assert actual < still - 0.05


def test_a_hole_between_two_swings(tmp_path):
    """One unknown cell of 25 cm aside of the wire at all of its swings is still not assessed."""
    study = study_of_slopes(tmp_path, lambda e, n: 95 + 0 * e + 0 * n, 0.25)
    study.structures = line_of(count=2)
    study.structures["base_elevation"] = 100.0
    findings = study.check()
    assert not len(findings["not_assessed"])
    curve = shapely.get_coordinates(findings.row("wires", case="swung", wire="B").geometry)
    still = shapely.get_coordinates(findings.row("wires", case="hot", wire="B").geometry)
    e, n = curve[16]
    # Between full and three quarters of the swing, which is nearly even in the angle: an eighth of the way from full.
    n += (still[16, 1] - n) / 8
    study.write_ground(lambda e, n: 95 + 0 * e + 0 * n, cell=0.25, low=(EAST - 60, NORTH - 30),
                       high=(EAST + 360, NORTH + 30),
                       unknown=lambda east, north: (np.abs(east - e) < 0.13) & (np.abs(north - n) < 0.13))
    gaps = study.check()["not_assessed"]
    assert set(gaps["case"]) == {"swung"} and "part of the swung wire" in gaps["reason"].iloc[0]


def swung_findings(folder, ground, method="equilibrium"):
    """Rows of `clearances` of a line that turns by 8 degrees left over a ground, in wind, a wire over each span."""
    turn = np.radians(8)
    line = structures([0, 300, 300 + 290 * np.cos(turn)], [0, 0, 290 * np.sin(turn)], base=[0.0] * 3)
    one = framings([("F", "a", "phase", 4.0, 20.0, "suspension", 2.5, 40.0)])
    swung = Case("swung", 10.0, wind=400.0, checks=("vertical",))
    found, _, _ = findings(line, one, rules_of(folder, [("ground", "vertical", 6)]), ground=ground, cases=(swung,),
                           method=method, options=(option(),))
    return found


def tilted(easting, northing):
    return 0.03 * np.asarray(easting) + 0.2 * np.asarray(northing) - 6.0


def test_where_the_line_turns_the_place_is_that_of_the_ground_there(tmp_path):
    """The ground at the place of a row, which is a plane, is the ground that the row tells."""
    table = swung_findings(tmp_path, tilted)["clearances"]
    rows = rows_where(table, measure="vertical")
    assert table["span"][rows].tolist() == ["T1-T2", "T2-T3"]
    place = shapely.get_coordinates(table["geometry"][rows])
    np.testing.assert_allclose(table["other_elevation_m"][rows], tilted(*place.T), rtol=0, atol=1e-3)


@pytest.mark.parametrize("method", ["equilibrium", "ruling_span"])
def test_a_hole_far_from_the_least_hides_nothing_of_it(tmp_path, method):
    """All that is unknown lies across the line 60 m from where the wire is lowest over the ground: the row stays, and
    the hole is told beside it."""
    whole = swung_findings(tmp_path, tilted, method)
    row, = rows_where(whole["clearances"], span="T1-T2", measure="vertical")
    e = whole["clearances"]["geometry"][row].x - 60

    def torn(easting, northing):
        return np.where(np.abs(np.asarray(easting) - e) < 8, np.nan, tilted(easting, northing))

    found = swung_findings(tmp_path, torn, method)
    again, = rows_where(found["clearances"], span="T1-T2", measure="vertical")
    actual = found["clearances"]["actual_m"][again]
    assert actual == pytest.approx(whole["clearances"]["actual_m"][row], abs=2e-3)
    assert len(rows_where(found["not_assessed"], span="T1-T2", against="ground", case="swung"))


def study_of_slopes(folder, surface, cell):
    """Three spans with strings over a side slope."""
    study = TinyStudy(folder / "s")
    study.change('checks = ["horizontal"]', 'checks = ["horizontal", "vertical"]')
    study.write_ground(surface, cell=cell, low=(EAST - 60, NORTH - 60), high=(EAST + 960, NORTH + 60))
    study.structures["base_elevation"] = 100.0
    return study


@pytest.mark.parametrize(("roof", "above", "rule"), [
    (112.2, 0.0, "over,building,vertical,0,,,,,,\n"), (112.0, 1.0, "")])
def test_a_wire_that_rises_over_a_roof_before_its_full_swing(tmp_path, roof, above, rule):
    """At full swing the wire is above the roof and so not beside it; on the way there it comes near the wall.

    By hand: at mid-span it is beside the wall as long as `D cos phi` is more than the roof lies below the chord; at the
    angle where it is just as much, it is `D sin phi` aside. D and phi of the layer of wires, straight between 15 winds.
    Over the roof it is as high above it as a rule asks for, and without one as the electrical distance at 123 kV, 1.0 m
    (EN 50341-1, recalled).
    """
    study = one_span(tmp_path / "s", 0.0, wind=700.0)
    study.change('wind = "700.0 Pa"\nchecks = ["vertical"]', 'wind = "700.0 Pa"\nchecks = ["horizontal"]')
    wall = 9.0
    middle, right = EAST + 150, NORTH - 4 - wall
    study.add_obstacle("barn", "building", [shapely.box(middle - 1, right - 8, middle + 1, right)],
                       f"height = {roof - 100}")
    study.rules += "roof,building,horizontal,3,,,,,,\n" + rule
    findings = study.check()
    wires = findings["wires"]
    wires = wires[wires["case"].str.startswith("w") & (wires["wire"] == "B")]
    D, phi = wires["sag_m"].to_numpy(), np.radians(wires["swing_deg"].to_numpy())
    drop, aside = D * np.cos(phi), D * np.sin(phi)
    below = 118 - roof - above
    assert drop[-1] < below < drop[0] and (np.diff(drop[3:]) < 0).all()
    passed = np.interp(-below, -drop[3:], aside[3:])
    row = findings.row("clearances", case="swung", against="building")
    assert row["actual_m"] == pytest.approx(wall - passed, abs=0.03) and passed < aside[-1] - 0.5
