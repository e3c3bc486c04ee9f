"""Which grid is worked in, and how positions get there; against pyproj."""

import numpy as np
import pytest
import shapely
from pyproj import CRS, Geod, Transformer

from corridor.errors import InputError
from corridor.inputs.frame import (
    Frame,
    choose_frame,
    horizontal,
    read_crs,
    vertical,
    vertical_factor,
)

#: A line of 10 km near the middle of zone 32.
LON, LAT = np.array([9.10, 9.17, 9.24]), np.array([50.00, 50.02, 50.05])
NEW_YORK = (np.array([-73.9, -73.8]), np.array([40.70, 40.75]))


def chosen(crs, requested=None, lon=LON, lat=LAT):
    return choose_frame(requested, CRS(crs), lon, lat)


def test_structures_in_a_sound_grid_are_worked_in_it():
    frame = chosen("EPSG:25832")
    assert frame.crs == CRS("EPSG:25832") and "given in it" in frame.reason


def test_heights_are_stripped():
    assert chosen("EPSG:25832+7837").crs == CRS("EPSG:25832")
    assert chosen("EPSG:7415", lon=np.array([5.2]), lat=np.array([52.1])).crs == CRS("EPSG:28992")


def test_study_crs_is_taken():
    frame = chosen("EPSG:4326", "EPSG:25832")
    assert frame.crs == CRS("EPSG:25832") and "asks" in frame.reason


@pytest.mark.parametrize(
    "crs, why",
    [
        ("EPSG:3857", "distorted"),
        ("EPSG:4326", "not projected"),
        ("EPSG:25834", "distorted"),
        ("EPSG:2263", "not in metres"),
        ("EPSG:5513", "not counted to the east and north"),
        ("EPSG:9999999", "9999999"),
    ],
)
def test_study_crs_that_cannot_be_worked_in_is_refused(crs, why):
    with pytest.raises(InputError) as error:
        chosen("EPSG:25832", crs)
    assert "study.crs" in str(error.value) and why in str(error.value)


def test_pseudo_mercator_is_refused_even_on_the_equator():
    """There its own factors say 1, but north to south it is 1.0067 of the ellipsoid: a^2 / b^2."""
    with pytest.raises(InputError, match="distorted by 0.0067"):
        chosen("EPSG:4326", "EPSG:3857", np.array([10.0]), np.array([0.0]))


@pytest.mark.parametrize("crs", ["EPSG:3857", "EPSG:4326", "EPSG:4979", "EPSG:25834"])
def test_structures_in_an_unsound_crs_get_a_local_grid(crs):
    frame = chosen(crs)
    assert "transverse Mercator" in frame.name and frame.crs.is_projected
    assert frame.crs.geodetic_crs.datum == horizontal(CRS(crs)).geodetic_crs.datum
    e, n = frame.transform_points(
        *Transformer.from_crs(4326, horizontal(CRS(crs)), always_xy=True).transform(LON, LAT),
        CRS(crs),
    )
    # 4 km from the central meridian: x^2 / (2 R^2) of Snyder (1987), eq. 8-11.
    assert np.abs(frame.scale(e, n, 30) - 1).max() < 1e-6


def test_local_grid_keeps_lengths():
    """pyproj.Geod between neighbours of the line: the line is 10 km, the grid is within 1 mm of
    each."""
    frame = chosen("EPSG:4326")
    e, n = frame.transform_points(LON, LAT, CRS("EPSG:4326"))
    factor = frame.ground_factor(e[:-1], n[:-1], e[1:], n[1:], [0, 0])
    truth = Geod(ellps="WGS84").inv(LON[:-1], LAT[:-1], LON[1:], LAT[1:])[2]
    np.testing.assert_allclose(np.hypot(np.diff(e), np.diff(n)) * factor, truth, atol=1e-3)


def test_grid_in_feet_is_worked_in_as_metres():
    frame = chosen("EPSG:2263+6360", lon=NEW_YORK[0], lat=NEW_YORK[1])
    feet = Transformer.from_crs(4326, 2263, always_xy=True).transform(-73.85, 40.72)
    e, n = frame.transform_points(*feet, CRS("EPSG:2263"))
    # US survey foot: 1200/3937 m by definition (Mendenhall order).
    np.testing.assert_allclose((e, n), np.array(feet) * 1200 / 3937, atol=1e-6)


def test_prime_meridian_of_paris_in_grads():
    frame = choose_frame(None, CRS("EPSG:4807"), np.array([2.50, 2.51]), np.array([48.0, 48.01]))
    x, y = Transformer.from_crs(4326, 4807, always_xy=True).transform(2.505, 48.005)
    e, n = frame.transform_points(x, y, CRS("EPSG:4807"))
    assert abs(e) < 1000 and abs(n) < 1000


def test_line_across_the_antimeridian():
    frame = chosen("EPSG:4326", lon=np.array([179.99, -179.99]), lat=np.array([-17.0, -17.01]))
    e, _ = frame.transform_points([179.99, -179.99], [-17, -17.01], CRS("EPSG:4326"))
    assert e[1] - e[0] == pytest.approx(2129, abs=2)


def test_lines_too_far_apart_for_one_grid():
    with pytest.raises(InputError, match="too far apart.*some 698 km"):
        chosen("EPSG:4326", lon=np.array([2.0, 24.0]), lat=np.array([50.0, 50.0]))


#: Lines in zones 31 to 34 of the UTM, 6 degrees apart.
ZONES = np.array([3.0, 9.0, 15.0, 17.5]), np.array([50.0, 50.0, 50.0, 50.0])


def test_one_grid_for_lines_of_several_zones():
    """Named, or a local one: at 8.5 degrees, 608 km, the scale is 0.9996 (1 + x^2 / (2 R^2)) (Snyder 1987, 8-11)."""
    frame = chosen("EPSG:4258", "EPSG:25832", *ZONES)
    east, north = frame.transform_points(*ZONES, CRS("EPSG:4258"))
    assert frame.scale(east, north, 0)[-1] == pytest.approx(0.9996 * (1 + 608e3**2 / (2 * 6.38e6**2)), abs=1e-4)
    words, = frame.words_on_scale(np.array(["west", "home", "east", "far"]), east, north)
    assert "0.42% at far:" in words and "EPSG" not in words
    assert "transverse Mercator" in chosen("EPSG:4258", None, *ZONES).name


def test_nothing_is_said_of_lines_in_their_own_zone():
    frame = chosen("EPSG:25832")
    assert frame.words_on_scale(np.array(["a", "a", "a"]), *frame.transform_points(LON, LAT, CRS("EPSG:4258"))) == ()


@pytest.mark.parametrize("requested", ["EPSG:25832", None])
def test_among_points_and_surfaces_a_grid_of_several_zones_is_refused(requested):
    with pytest.raises(InputError, match="point clouds or a surface"):
        choose_frame(requested, CRS("EPSG:4258"), *ZONES, wide=False)


def test_grid_whose_scale_depends_on_direction_is_refused():
    """Lambert's azimuthal equal-area projection stretches across what it shortens along: 5.2e-4 each way at 410 km by
    Snyder (1987), eq. 24-2 to 24-5: 1 / cos(c / 2). In its middle it serves."""
    with pytest.raises(InputError, match="more one way than another"):
        chosen("EPSG:4258", "EPSG:3035", np.array([10.0]), np.array([48.3]))
    assert chosen("EPSG:4258", "EPSG:3035", np.array([10.0]), np.array([52.1])).crs == CRS("EPSG:3035")


def test_widths_in_a_grid_are_never_less_than_on_the_ground():
    """A crown of 4 m at 0.9996 keeps its 4 m, two zones away it gets as many as its scale; unknown stays unknown."""
    frame = Frame(CRS("EPSG:25832"), "", "")
    places = np.array([shapely.Point(5e5, 5.6e6), shapely.Point(1.1e6, 5.6e6), shapely.Point(1.1e6, 5.6e6),
                       shapely.Point(), None], object)
    k = frame.scale(1.1e6, 5.6e6, 0.0)
    assert k > 1.003
    radii = frame.widen(np.array([4, 4, np.nan, 4, 4.0]), places)
    np.testing.assert_allclose(radii, [4, 4 * k, np.nan, 4, 4], rtol=1e-9)


def test_width_of_what_is_long_is_that_of_its_widest_end():
    """A road from the meridian to 600 km east of it is as wide there as in a scale of 1.004; one that goes on beyond
    where lines may be gets no more than the greatest scale of these. By the test above."""
    frame = Frame(CRS("EPSG:25832"), "", "")
    roads = shapely.linestrings([[(5e5, 5.6e6), (1.1e6, 5.6e6)], [(5e5, 5.6e6), (2.5e6, 5.6e6)]])
    np.testing.assert_allclose(frame.widen(np.array([4, 4.0]), roads),
                               [4 * frame.scale(1.1e6, 5.6e6, 0.0), 4 * 1.006], rtol=1e-6)


def test_geometries_keep_their_z_and_gaps():
    frame = Frame(CRS("EPSG:25832"), "", "")
    given = np.array(
        [
            shapely.Point(9, 50),
            None,
            shapely.LineString([(9, 50, 7.5), (9.1, 50, 8.5)]),
            shapely.Point(),
        ],
        object,
    )
    moved = frame.transform(given, CRS("EPSG:4258"))
    assert moved[0].x == pytest.approx(500_000) and not moved[0].has_z
    assert moved[1] is None and moved[3].is_empty
    assert shapely.get_coordinates(moved[2], include_z=True)[:, 2].tolist() == [7.5, 8.5]
    assert given[0].x == 9


def test_z_in_feet_of_a_compound_crs_is_not_touched_by_the_change_of_xy():
    frame = chosen("EPSG:2263+6360", lon=NEW_YORK[0], lat=NEW_YORK[1])
    moved = frame.transform(np.array([shapely.Point(1e6, 2e5, 100)]), CRS("EPSG:2263+6360"))
    assert moved[0].z == 100


def test_datums_that_cannot_be_tied_are_refused():
    """A datum without any published tie: a silent null step would be hundreds of metres off."""
    unknown = CRS.from_wkt(
        'GEOGCRS["own",DATUM["own survey of a valley",'
        'ELLIPSOID["Bessel 1841",6377397.155,299.1528128]],CS[ellipsoidal,2],'
        'AXIS["lat",north],AXIS["lon",east],ANGLEUNIT["degree",0.0174532925199433]]'
    )
    with pytest.raises(InputError, match="no known operation"):
        Frame(CRS("EPSG:25832"), "ETRS89", "").transform_points(9, 50, unknown)


def test_coarse_change_of_datum_is_said():
    frame = Frame(CRS("EPSG:25832"), "ETRS89 / UTM zone 32N", "")
    assert frame.caution(CRS("EPSG:25833"), 9, 50) is None
    # European Datum 1950: metres, without the national grids.
    assert "accuracy of" in frame.caution(CRS("EPSG:23032"), 9, 50)


@pytest.mark.parametrize(
    "crs, factor, name",
    [
        ("EPSG:25832", None, None),
        ("EPSG:25832+7837", 1.0, "DHHN2016 height"),
        ("EPSG:2263+6360", 1200 / 3937, "NAVD88 height (ftUS)"),
        ("EPSG:4326+8228", 0.3048, "NAVD88 height (ft)"),
        ("EPSG:4979", 1.0, None),
        ("EPSG:25832+5715", -1.0, "MSL depth"),
    ],
)
def test_unit_of_heights_is_that_of_the_axis(crs, factor, name):
    found = vertical_factor(CRS(crs))
    assert (found is None) if factor is None else found == pytest.approx(factor, rel=1e-12)
    assert getattr(vertical(CRS(crs)), "name", None) == name


def test_text_that_names_no_crs():
    with pytest.raises(InputError, match="EPSG:25832"):
        read_crs("UTM thirty-two", "study.toml", "study.crs")
