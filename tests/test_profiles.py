"""The surface along segments: three nodes give each piece, up to the rim of a hole."""

import numpy as np
import pytest
import rasterio
from pyproj import CRS, Transformer
from rasterio import Affine
from scipy.ndimage import map_coordinates

from corridor.inputs.frame import Frame
from corridor.inputs.terrain import open_terrain

FRAME = Frame(CRS("EPSG:25832"), "ETRS89 / UTM zone 32N", "")
E0, N0 = 500_000.0, 5_600_000.0
TRANSFORM = Affine(1, 0, E0, 0, -1, N0)


def plane(e, n):
    return 200 + 0.05 * (e - E0) - 0.03 * (n - N0)


def write(path, z, *, crs="EPSG:25832", transform=TRANSFORM):
    shape = {"height": z.shape[0], "width": z.shape[1], "count": 1, "dtype": z.dtype}
    with rasterio.open(path, "w", driver="GTiff", crs=crs, transform=transform, **shape) as dataset:
        dataset.write(z, 1)
    return path


def plane_of(transform, shape):
    row, column = np.mgrid[: shape[0], : shape[1]] + 0.5
    return plane(transform.c + column * transform.a, transform.f + row * transform.e)


def quadratic(profile, k, t):
    """The surface of segment k at shares t, from the three nodes of each piece (numpy's own
    polynomial fit)."""
    a, b = profile.first[k], profile.first[k + 1]
    x, z = profile.fraction[a:b], profile.elevation[a:b]
    result = np.empty(len(t))
    for i, place in enumerate(t):
        left = 2 * min(np.searchsorted(x[::2], place, side="right") - 1, len(x) // 2 - 1)
        s = (x[left : left + 3] - x[left + 1]) / max(x[left + 2] - x[left], 1e-300)
        coefficients = np.linalg.solve(np.vander(s, 3), z[left : left + 3])
        result[i] = np.polyval(coefficients, (place - x[left + 1]) / (x[left + 2] - x[left]))
    return result


def test_three_nodes_give_each_piece_exactly(tmp_path):
    """Against scipy at places between the nodes, on a surface as rough as can be."""
    z = np.random.default_rng(11).normal(300, 20, (60, 60))
    path = write(tmp_path / "a.tif", z)
    rng = np.random.default_rng(12)
    e0, e1 = E0 + rng.uniform(1, 59, (2, 20))
    n0, n1 = N0 - rng.uniform(1, 59, (2, 20))
    with open_terrain([path], FRAME) as terrain:
        profile = terrain.profiles(e0, n0, e1, n1)
    t = rng.uniform(0, 1, 60)
    for k in range(20):
        r = N0 - (n0[k] + t * (n1[k] - n0[k])) - 0.5
        c = e0[k] + t * (e1[k] - e0[k]) - E0 - 0.5
        np.testing.assert_allclose(
            quadratic(profile, k, t), map_coordinates(z, (r, c), order=1), atol=1e-6
        )


def test_profile_across_two_grids_has_the_pieces_of_both(tmp_path):
    rng = np.random.default_rng(13)
    z1, z2 = rng.normal(300, 20, (40, 30)), rng.normal(300, 20, (40, 40))
    other = Affine(1.7, 0, E0 + 25.2, 0, -1.7, N0 + 3.1)
    paths = [write(tmp_path / "1.tif", z1), write(tmp_path / "2.tif", z2, transform=other)]
    with open_terrain(paths, FRAME) as terrain:
        profile = terrain.profiles([E0 + 2.0], [N0 - 5.0], [E0 + 80], [N0 - 30])
    t = rng.uniform(0, 1, 200)
    e, n = E0 + 2 + 78 * t, N0 - 5 - 25 * t
    inside = e - E0 - 0.5 < 29
    first = map_coordinates(z1, (N0 - n - 0.5, e - E0 - 0.5), order=1)
    second = map_coordinates(z2, ((N0 + 3.1 - n) / 1.7 - 0.5, (e - E0 - 25.2) / 1.7 - 0.5), order=1)
    # The piece that begins on the first grid's last centre has that grid's height at its start:
    # left out.
    apart = np.abs(e - E0 - 29.5) > 2
    np.testing.assert_allclose(
        quadratic(profile, 0, t)[apart], np.where(inside, first, second)[apart], atol=1e-6
    )


def test_profile_in_another_crs(tmp_path):
    """The raster in zone 33, the frame in zone 32: every node is the surface at its own place
    (pyproj, scipy)."""
    z = np.random.default_rng(14).normal(300, 20, (700, 700))
    change = Transformer.from_crs(25832, 25833, always_xy=True)
    x, y = change.transform(E0, N0)
    path = write(
        tmp_path / "a.tif", z, crs="EPSG:25833", transform=Affine(1, 0, x - 100, 0, -1, y + 100)
    )
    with open_terrain([path], FRAME) as terrain:
        profile = terrain.profiles([E0], [N0], [E0 + 400], [N0 - 300])
    px, py = change.transform(E0 + 400 * profile.fraction, N0 - 300 * profile.fraction)
    truth = map_coordinates(z, (y + 100 - py - 0.5, px - x + 100 - 0.5), order=1)
    # A slope of 20 m in a metre turns a micrometre of place into 0.02 mm.
    np.testing.assert_allclose(profile.elevation, truth, atol=1e-3)


def test_profile_shows_a_hole_and_ends_at_its_rim(tmp_path):
    z = np.full((20, 60), 100, "float32")
    z[5:9, 30:34] = np.nan
    with open_terrain([write(tmp_path / "a.tif", z)], FRAME) as terrain:
        profile = terrain.profiles([E0 + 2], [N0 - 7.0], [E0 + 58], [N0 - 7.0])
    e = 2 + 56 * profile.fraction
    unknown = np.isnan(profile.elevation)
    # Cells 30 to 33 are empty: unknown between the centres of 29 and 34, which are known
    # themselves.
    assert e[unknown].min() == pytest.approx(30.0) and e[unknown].max() == pytest.approx(34.0)
    assert not unknown[np.isclose(e, 29.5)].any() and not unknown[np.isclose(e, 34.5)].any()


def test_a_known_piece_has_known_ends(tmp_path):
    """A knot on the rim of a hole belongs to the known side, however rounding moved it."""
    z = np.full((60, 60), 100.0)
    z[20:40:4, 20:40:5] = np.nan
    ends = np.random.default_rng(17).uniform(1, 59, (4, 400))
    with open_terrain([write(tmp_path / "a.tif", z)], FRAME) as terrain:
        profile = terrain.profiles(*(ends * [[1], [-1], [1], [-1]] + [[E0], [N0], [E0], [N0]]))
    known = ~np.isnan(profile.elevation)
    for a, b in zip(profile.first[:-1], profile.first[1:], strict=True):
        k, width = known[a:b], np.diff(profile.fraction[a:b:2])
        piece = k[1::2] & (width > 1e-9)
        assert (k[:-1:2] & k[2::2])[piece].all()
    assert not known.all()


def test_profiles_without_length_place_or_number(tmp_path):
    path = write(tmp_path / "a.tif", plane_of(TRANSFORM, (20, 20)))
    with open_terrain([path], FRAME) as terrain:
        none = terrain.profiles([], [], [], [])
        assert none.first.tolist() == [0] and none.fraction.shape == none.elevation.shape == (0,)
        odd = terrain.profiles(
            [E0 + 3, np.nan, E0 - 90], [N0 - 3] * 3, [E0 + 3, E0 + 9, E0 - 50], [N0 - 3] * 3
        )
    assert odd.first.tolist() == [0, 3, 6, 9]
    assert (
        odd.elevation[:3] == pytest.approx(plane(E0 + 3, N0 - 3))
        and np.isnan(odd.elevation[3:]).all()
    )


def test_many_profiles_in_parts_equal_one_by_one(tmp_path, monkeypatch):
    monkeypatch.setattr("corridor.inputs.terrain._NODES", 100)
    path = write(tmp_path / "a.tif", np.random.default_rng(15).normal(300, 20, (60, 60)))
    ends = np.random.default_rng(16).uniform(1, 59, (4, 30)) * [[1], [-1], [1], [-1]] + [
        [E0],
        [N0],
        [E0],
        [N0],
    ]
    with open_terrain([path], FRAME) as terrain:
        whole = terrain.profiles(*ends)
        for k in range(30):
            alone = terrain.profiles(*ends[:, k : k + 1])
            part = slice(whole.first[k], whole.first[k + 1])
            np.testing.assert_allclose(whole.elevation[part], alone.elevation, atol=1e-8)
