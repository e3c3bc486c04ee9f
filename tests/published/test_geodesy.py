"""Point scales printed by Snyder, and by definition of the UTM; ground lengths from geocentric
positions."""

import numpy as np
import pytest
from pyproj import CRS, Geod, Transformer

from corridor.inputs.frame import Frame

#: J. P. Snyder, Map Projections: A Working Manual, USGS Professional Paper 1395 (1987), numerical
#: examples in appendix A (recalled): ellipsoid of Clarke 1866. Grid place [m] and printed scale.
SNYDER = {
    "transverse Mercator, p. 269": (
        "+proj=tmerc +lon_0=-75 +k_0=0.9996 +ellps=clrk66",
        -73.5,
        40.5,
        127106.5,
        4484124.4,
        0.9997989,
    ),
    "Lambert conformal conic, p. 296": (
        "+proj=lcc +lat_1=33 +lat_2=45 +lat_0=23 +lon_0=-96 +ellps=clrk66",
        -75,
        35,
        1894410.9,
        1564649.5,
        0.9970171,
    ),
}


def frame(crs):
    return Frame(CRS(crs), "", "")


@pytest.mark.parametrize("example", SNYDER.values(), ids=SNYDER)
def test_scale_printed_by_snyder(example):
    text, longitude, latitude, x, y, k = example
    grid = frame(text)
    place = Transformer.from_crs(grid.crs.geodetic_crs, grid.crs, always_xy=True).transform(
        longitude, latitude
    )
    np.testing.assert_allclose(place, (x, y), atol=0.06)
    # Printed to seven places; both projections are conformal: the same in every direction.
    np.testing.assert_allclose(grid.scale(x, y, np.arange(0, 360, 30)), k, atol=6e-8)


def test_utm_scale_on_its_central_meridian_is_0_9996():
    """By definition of the UTM (EPSG Guidance Note 7-2: scale factor 0.9996, recalled)."""
    north = np.array([1e6, 4e6, 7e6])
    np.testing.assert_allclose(frame("EPSG:25832").scale(500_000, north, 0), 0.9996, atol=1e-9)


def test_utm_span_of_300_m_on_the_central_meridian_is_0_12_m_longer_on_the_ground():
    """300 / 0.9996 - 300 = 0.120 m: the definition of the UTM again."""
    factor = frame("EPSG:25832").ground_factor([5e5], [5.6e6], [5e5], [5.6e6 + 300], [0])
    assert 300 * factor[0] - 300 == pytest.approx(0.12005, abs=1e-5)


#: A span in each of several grids: CRS, easting, northing, east and north to its end [m].
SPANS = {
    "zone edge": ("EPSG:25832", 290_000, 5_600_000, 310, 120),
    "central meridian": ("EPSG:25832", 500_100, 5_600_000, -210, 330),
    "southern hemisphere": ("EPSG:7856", 334_000, 6_250_000, 450, -20),
    "two standard parallels": ("EPSG:2154", 700_000, 6_600_000, 100, 500),
    "long": ("EPSG:25832", 700_000, 5_600_000, 1500, -1800),
    "the zone next door": ("EPSG:25832", 929_600, 5_560_000, 320, 150),
    "600 km from the central meridian": ("EPSG:25832", 1_100_000, 5_600_000, -300, 260),
}


@pytest.mark.parametrize("span", SPANS.values(), ids=SPANS)
def test_span_at_sea_level_is_the_geodesic(span):
    """pyproj.Geod (Karney 2013) between the ends: within 1e-6 of the length."""
    crs, e, n, east, north = span
    back = Transformer.from_crs(crs, CRS(crs).geodetic_crs, always_xy=True)
    a, b = back.transform(e, n), back.transform(e + east, n + north)
    truth = CRS(crs).get_geod().inv(*a, *b)[2]
    ours = (
        np.hypot(east, north) * frame(crs).ground_factor([e], [n], [e + east], [n + north], [0])[0]
    )
    assert ours == pytest.approx(truth, rel=1e-6)
    # The grid length itself would not do: this check can fail.
    assert np.hypot(east, north) != pytest.approx(truth, rel=1e-5)


@pytest.mark.parametrize("span", SPANS.values(), ids=SPANS)
def test_distances_beside_a_span_are_geodesics(span):
    """pyproj.Geod again: 60 m to the side of either end, by the factor of the span, to 0.5 mm; 1,800 m on to 1 mm."""
    crs, e, n, east, north = span
    back = Transformer.from_crs(crs, CRS(crs).geodetic_crs, always_xy=True)
    factor = frame(crs).ground_factor([e], [n], [e + east], [n + north], [0])[0]
    aside = 60 / np.hypot(east, north) * np.array([north, -east])
    for end in (np.array([e, n]), np.array([e + east, n + north])):
        truth = CRS(crs).get_geod().inv(*back.transform(*end), *back.transform(*(end + aside)))[2]
        assert 60 * factor == pytest.approx(truth, abs=5e-4 if np.hypot(east, north) < 600 else 1e-3)


def test_span_in_the_hills_is_the_distance_in_space():
    """Geocentric positions (EPSG:4978) at one height above the ellipsoid, 1500 m.

    The mean radius stands for the radius of curvature there, which differs by up to 0.6 %: of
    2.4e-4 that is 1.5e-6, the tolerance. The chord is 3e-8 m shorter than the arc."""
    solid = Transformer.from_crs("EPSG:7912", "EPSG:4978", always_xy=True)
    grid = frame("+proj=utm +zone=32 +ellps=GRS80")
    back = Transformer.from_crs(grid.crs, grid.crs.geodetic_crs, always_xy=True)
    ends = [
        solid.transform(*back.transform(e, n), 1500.0)
        for e, n in ((640_000, 5_200_000), (640_300, 5_200_250))
    ]
    ours = (
        np.hypot(300, 250)
        * grid.ground_factor([640_000], [5.2e6], [640_300], [5_200_250], [1500])[0]
    )
    assert ours == pytest.approx(np.linalg.norm(np.subtract(*ends)), rel=1.5e-6)


def test_scale_of_a_grid_that_is_not_conformal_depends_on_direction():
    """Lambert azimuthal equal-area: the projection's own factors (PROJ), away from its centre."""
    grid = frame("EPSG:3035")
    e, n = 4_321_000.0, 4_210_000.0
    factors = grid._projection.get_factors(*grid._projection(e, n, inverse=True))
    # On the central meridian north and south are the directions of least and greatest scale.
    np.testing.assert_allclose(
        grid.scale(e, n, [0, 90]), (factors.meridional_scale, factors.parallel_scale), atol=1e-8
    )
    assert grid.scale(e, n, 90) > grid.scale(e, n, 0) + 1e-3


def test_geodesics_are_those_of_the_grids_own_ellipsoid():
    grid = frame("EPSG:27572")
    assert grid.crs.get_geod().a == pytest.approx(6378249.2, abs=0.01)
    assert grid.crs.get_geod().a != Geod(ellps="GRS80").a
