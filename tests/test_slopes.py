"""Distance in space from wires to the ground beside them."""

import numpy as np
import pytest
import shapely
from scipy.optimize import minimize
from scipy.spatial import cKDTree

from corridor.clearance import slopes
from corridor.clearance.swung_wires import hang_rows
from corridor.geometry.catenary import plane_of, points
from corridor.line.swing import to_grid
from tests.end_to_end.conftest import EAST, NORTH, TinyStudy, line_of

RADIAL = "rule,against,measure,base\nopen,ground,vertical,5\nslope,ground,radial,4\n"


def over(folder, surface, *, cell=2.0, structures=2, wind=True, **keys):
    """A line over some ground, with a rule for the slopes beside it."""
    study = TinyStudy(folder / "s")
    study.structures = line_of(count=structures)
    study.structures["base_elevation"] = 100.0
    study.rules = RADIAL
    if wind:
        study.change('checks = ["horizontal"]', 'checks = ["horizontal", "vertical"]')
    study.write_ground(surface, cell=cell, low=(EAST - 90, NORTH - 90), high=(EAST + 300 * structures, NORTH + 90),
                       **keys)
    return study


def quarry(e, n):
    """Ground that waves a little, falls by 5 m left of the line, and rises by 25 m in a wavy face right of it."""
    return 100 - 5 * (n - NORTH > 12) + 25 * (n - NORTH < -13 - 2 * np.sin(e / 15)) + 0.3 * np.sin(e / 3)


def crest(e, n):
    """A crest along the line, 7 m aside, that rises by a metre in four to its edge and breaks off by 14 m; each cell
    is higher by up to 1.2 m by chance."""
    chance = np.modf(np.abs(np.sin(np.floor(e) * 12.9898 + np.floor(n) * 78.233 + 2)) * 43758.5453)[0]
    return 103 - 0.25 * (n - NORTH) - 14 * (n < NORTH - 7) + 1.2 * chance


@pytest.mark.parametrize("across, along", [(0.0, 0.0), (0.5, 0.0), (0.3, 0.04), (-0.2, 0.15)])
def test_on_a_plane_it_is_the_height_times_the_cosine(tmp_path, across, along):
    """The distance of a point from a plane is its height above it times the cosine of its slope: elementary geometry.

    So of all places the nearest in space is that of the minimum height, at the same swing. On the last plane wires
    would lie in the ground, where the depth counts.
    """
    findings = over(tmp_path, lambda e, n: 90 + across * (n - NORTH) + along * (e - EAST - 150), cell=5.0).check()
    factor = findings["spans"]["ground_factor"].iloc[0]
    cosine = 1 / np.sqrt(1 + (across**2 + along**2) / factor**2)
    rows = findings.rows("clearances", against="ground").set_index(["case", "measure"])
    for case in ("hot", "ice", "swung"):
        vertical, radial = rows.loc[(case, "vertical")], rows.loc[(case, "radial")]
        short = vertical["actual_m"] < 0
        assert radial["actual_m"] == pytest.approx(vertical["actual_m"] * (1 if short else cosine), abs=5e-4)
        assert radial["rule"] == "slope" and radial["required_m"] == 4 and radial["position"] == "above"
        assert radial["distance_from_start_m"] == pytest.approx(vertical["distance_from_start_m"], abs=1.5)


def test_a_rock_face_beside_the_swung_wire(tmp_path):
    """Nothing below, and a face of 60 m at the side: the distance is that in plan from the wire at full swing.

    The face is one cell steep: with its foot 9 m from the line it begins there. The wire of the layer, at full swing,
    tells how far it gets; the layer has it to the right.
    """
    cell = 0.5
    face = NORTH - 14.25
    findings = over(tmp_path, lambda e, n: np.where(n < face, 160.0, 90.0) + 0 * e, cell=cell).check()
    swung = findings.row("wires", case="swung", wire="B").geometry
    factor = findings["spans"]["ground_factor"].iloc[0]
    reach = shapely.get_coordinates(swung)[:, 1].min()
    row = findings.row("clearances", case="swung", against="ground", measure="radial")
    # Between the last low and the first high centre the raster rises by 70 m on half a metre.
    foot = NORTH - 14.25 + cell / 2
    assert (reach - foot) * factor < row["actual_m"] < (reach - foot + cell) * factor
    assert row["position"] == "above" and row["wire"] == "B" and row["margin_m"] < 4
    still = findings.row("clearances", case="hot", against="ground", measure="radial")
    assert still["actual_m"] > row["actual_m"] + 2
    vertical = findings.row("clearances", case="swung", against="ground", measure="vertical")
    assert vertical["margin_m"] > 3
    assert row["other_elevation_m"] == pytest.approx(row["wire_elevation_m"], abs=0.3)


@pytest.mark.parametrize("name", ["hot", "swung"])
@pytest.mark.parametrize(("surface", "cell"), [(quarry, 1.0), (crest, 5.0)])
def test_against_brute_force(tmp_path, monkeypatch, surface, cell, name):
    """By scipy: nearest pairs of two clouds, of wire and of ground, each followed down by Nelder and Mead's simplex.

    Within a millimetre of it. The wires of brute force are each solved in exact equilibrium.
    """
    study, seen, near = over(tmp_path, surface, cell=cell), [], slopes.near_slopes
    monkeypatch.setattr(slopes, "near_slopes", lambda *a: (seen.append((a[0], a[2].sample)), near(*a))[1])
    actual = study.check().row("clearances", case=name, against="ground", measure="radial")["actual_m"]
    scene, sample = seen[0]
    case = [each.name for each in scene.cases].index(name)
    best = np.inf
    for wire in (1, 0):
        best = _nearest(scene, sample, case, wire, best)
    assert actual == pytest.approx(best, abs=1e-3)


def _wire(scene, case, wire, swing, share):
    """Places (swing, place, 3) of a wire in the frame of its span."""
    zero = np.zeros(len(swing), int)
    if scene.cases[case].wind:
        found = hang_rows(scene, zero + wire, zero, zero + case, swing)
    else:
        found = scene.hung[wire, zero, case, 0]
    plane = plane_of(found.start, found.end, found.vectors)
    return points(found.start, plane, found.constant, share)


def _nearest(scene, sample, case, wire, best):
    """The lesser of a distance and of that of one wire, which is followed down where its cloud is not far above."""
    swings = np.linspace(-1, 1, 21) if scene.cases[case].wind else np.zeros(1)
    share = np.linspace(0, 1, 301)
    places = _wire(scene, case, wire, swings, share).reshape(-1, 3)

    def ground(flat):
        local = np.concatenate([flat, np.zeros((len(flat), 1))], axis=1)[None]
        e, n, _ = to_grid(local, scene.structures, scene.spans, np.array([0]))[0].T
        return sample(e, n)

    low, high = places.min(axis=0) - 12, places.max(axis=0) + 12
    axes = (np.arange(a, b, 0.5) for a, b in zip(low[:2], high[:2], strict=True))
    flat = np.stack(np.meshgrid(*axes), axis=-1).reshape(-1, 2)
    distance, index = cKDTree(np.column_stack([flat, ground(flat)])).query(places)

    if distance.min() > best + 0.5:
        return best

    def apart(v):
        turn = np.array([np.clip(v[0], -1, 1) if scene.cases[case].wind else 0.0])
        place = _wire(scene, case, wire, turn, np.clip(v[1:2] / 300, 0, 1))[0, 0]
        return float(np.linalg.norm([*(place[:2] - v[2:]), place[2] - ground(v[None, 2:])[0]]))

    return min(best, *(minimize(apart, [swings[q // 301], 300 * share[q % 301], *flat[index[q]]], method="Nelder-Mead",
                                options={"xatol": 1e-5, "fatol": 1e-7, "maxiter": 400}).fun
                       for q in np.argsort(distance)[:60:12]))


def test_unknown_ground_beside_is_not_assessed(tmp_path):
    """A hole beside the wire, nearer than the ground below it: not assessed. Farther away it does not matter.

    Under the swung wire the hole is below it as well, and told once.
    """
    for near, expected in ((6.0, True), (60.0, False)):
        (tmp_path / str(near)).mkdir()
        study = over(tmp_path / str(near), lambda e, n: 90 + 0 * e,
                     unknown=lambda e, n, near=near: (np.abs(e - EAST - 150) < 5) & (n - NORTH > near))
        findings = study.check()
        gaps = findings.rows("not_assessed", against="ground")
        told = {case: "beside part of the wire" in reason
                for case, reason in zip(gaps["case"], gaps["reason"], strict=True)}
        assert told == ({"hot": True, "ice": True, "swung": False} if expected else {})
        assert len(gaps) == len(told)
        assert len(findings.rows("clearances", measure="radial")) == 3


def test_where_one_raster_ends_and_another_goes_on(tmp_path):
    """Two rasters on grids of their own, of 2 m and 3 m, the second over all of the line and the first over part: on a
    plane it is the height times the cosine, as on one, and nothing is told to be unknown. A hole in both is."""
    def slope(e, n):
        return 90 + 0.3 * (n - NORTH)

    for hole in (False, True):
        (tmp_path / str(hole)).mkdir()
        study = over(tmp_path / str(hole), slope, wind=False)
        unknown = {"unknown": lambda e, n: (np.abs(e - EAST - 150) < 5) & (n - NORTH < -6)} if hole else {}
        study.write_ground(slope, cell=2.0, low=(EAST - 90, NORTH - 90), high=(EAST + 151, NORTH + 90), **unknown)
        study.write_ground(slope, cell=3.0, low=(EAST - 91, NORTH - 91), high=(EAST + 600, NORTH + 91), name="more.tif",
                           **unknown)
        study.change('["ground.tif"]', '["ground.tif", "more.tif"]')
        findings = study.check()
        rows = findings.rows("clearances", case="hot", against="ground").set_index("measure")["actual_m"]
        factor = findings["spans"]["ground_factor"].iloc[0]
        assert rows["radial"] == pytest.approx(rows["vertical"] / np.sqrt(1 + (0.3 / factor)**2), abs=5e-4)
        told = findings.rows("not_assessed", case="hot", against="ground")
        assert len(told) == hole


def test_only_where_a_rule_asks_for_it(tmp_path):
    study = over(tmp_path, lambda e, n: 90 + 0 * e)
    study.rules = RADIAL.splitlines()[0] + "\n" + RADIAL.splitlines()[1] + "\n"
    assert set(study.check()["clearances"]["measure"]) == {"vertical", "horizontal"}


def test_a_violation_that_is_beside_only(tmp_path):
    """Short of the slope in space and clear below: a violation of its own, with place and band."""
    study = over(tmp_path, lambda e, n: 90 + 0.6 * (NORTH - n))
    clear = study.check().rows("clearances", case="hot", against="ground").set_index("measure")["actual_m"]
    base = (clear["vertical"] + clear["radial"]) / 2
    study.rules = RADIAL.replace(",5", f",{base}").replace(",4", f",{base}")
    findings = study.check()
    row = findings.row("violations", case="hot", against="ground")
    assert row["measure"] == "radial" and row["severity"] == "rule"
    assert row["margin_low_m"] <= row["margin_m"] <= row["margin_high_m"]
    assert row["margin_m"] == pytest.approx(clear["radial"] - base, abs=1e-6)


def test_blocks_that_are_left_out_change_nothing(tmp_path, monkeypatch):
    """A hill below one span of two, and one below the last structure that is higher than the wires hang in midspan:
    blocks that are left out for their height change nothing."""
    def hills(e, n):
        return (80 + 29 * np.exp(-(((e - EAST - 150) / 60) ** 2)) + 30 * np.exp(-(((e - EAST - 600) / 20) ** 2))
                - 0.3 * (n - NORTH))

    study, near, whole, found = over(tmp_path, hills, structures=3), slopes.near_slopes, slopes._whole_blocks, []
    study.rules = "rule,against,measure,base\nopen,ground,vertical,5\n"
    count, bounded = [], True

    def kept(*args):
        found.append(near(*args))
        return found[-1]

    def blocks(asked, surface, blocks, best):
        bound = best.bound.copy()
        if not bounded:
            best.bound[:] = np.inf
        parts = whole(asked, surface, blocks, best)
        best.bound[:] = bound
        count.append(len(parts.row))
        return parts

    monkeypatch.setattr(slopes, "near_slopes", kept)
    monkeypatch.setattr(slopes, "_whole_blocks", blocks)
    study.check()
    some, few = found.copy(), sum(count)
    found.clear(), count.clear()
    bounded = False
    study.check()
    assert few < sum(count) / 2
    assert len(some) == len(found) and any(each.checked is not None and len(each.checked.actual) for each in some)
    for one, other in zip(some, found, strict=True):
        assert one.unknown == other.unknown and (one.checked is None) == (other.checked is None)
        for name, column in {} if one.checked is None else vars(one.checked).items():
            np.testing.assert_array_equal(column, getattr(other.checked, name), err_msg=name)
