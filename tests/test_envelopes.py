"""Swing envelopes, and the room they leave by side, by plain geometry from the wires in space."""

import numpy as np
import pytest
import shapely

from tests.end_to_end.conftest import EAST, NORTH, TinyStudy

#: North of the line, east of its first structure, of a right-of-way wider to the left (north).
STRIP = shapely.box(EAST - 50, NORTH - 12.5, EAST + 950, NORTH + 20)


@pytest.fixture(scope="module")
def findings(tmp_path_factory):
    study = TinyStudy(tmp_path_factory.mktemp("strip") / "study")
    study.change('half_width = "30 m"', 'file = "strip.gpkg"')
    shapely_file(study, STRIP)
    return study.check()


def shapely_file(study, area):
    import geopandas as gpd

    gpd.GeoDataFrame(geometry=[area], crs="EPSG:25832").to_file(study.folder / "strip.gpkg", layer="strip")


def test_one_per_span_and_windy_case(findings):
    rows = findings["swing_envelopes"]
    assert set(zip(rows["span"], rows["case"], strict=True)) == {(s, "swung") for s in ("1-2", "2-3", "3-4")}
    assert shapely.is_valid(rows.geometry).all() and (shapely.get_type_id(rows.geometry) == 3).all()


def test_wires_lie_within_and_touch(findings):
    """Wires blown to the right are in the layer `wires`: the envelope holds them, and ends where they do."""
    for span in ("1-2", "2-3", "3-4"):
        area = findings.row("swing_envelopes", span=span)
        wires = findings.rows("wires", span=span, case="swung")
        flat = shapely.force_2d(wires.geometry.to_numpy())
        # Some vertices of the wires are corners of the hull: rounded to nothing, they lie within a millimetre.
        assert shapely.covers(shapely.buffer(area.geometry, 1e-3), flat).all()
        # In another case strings lean along the line by some centimetres.
        still = findings.rows("wires", span=span, case="hot")
        assert shapely.covers(shapely.buffer(area.geometry, 0.4), shapely.force_2d(still.geometry.to_numpy())).all()
        # The line runs to the east: right is south. Ground metres are longer than those of the grid here.
        factor = findings.row("spans", span=span)["ground_factor"]
        south = NORTH - min(shapely.bounds(flat)[:, 1])
        assert area["reach_right_m"] == pytest.approx(south * factor, abs=1e-3)
        # From a polygon what a wire bows from its chords is taken off.
        assert -0.006 < area["room_right_m"] - (12.5 - south) * factor < 1e-3
        assert shapely.bounds(area.geometry)[1] == pytest.approx(NORTH - south, abs=1e-6)


def test_sides_and_findings_agree(findings):
    """The worse side is the finding of the right-of-way."""
    for span in ("1-2", "2-3", "3-4"):
        area = findings.row("swing_envelopes", span=span)
        way = findings.row("clearances", span=span, against="right_of_way")
        assert min(area["room_left_m"], area["room_right_m"]) == pytest.approx(way["actual_m"], abs=1e-9)
        assert area["room_left_m"] > area["room_right_m"]


def test_overlap_beyond_the_edge(tmp_path):
    """A strip that ends 6 m to the right: the area outside, cut by hand from the polygon's own corners."""
    study = TinyStudy(tmp_path / "study")
    study.change('half_width = "30 m"', 'file = "strip.gpkg"')
    shapely_file(study, shapely.box(EAST - 50, NORTH - 6, EAST + 950, NORTH + 40))
    findings = study.check()
    area = findings.row("swing_envelopes", span="2-3")
    x, y = shapely.get_coordinates(area.geometry).T
    e = np.linspace(EAST + 300, EAST + 600, 60_001)
    low = np.array([np.interp(e, *half) for half in [_lower(x, y)]])[0]
    factor = findings.row("spans", span="2-3")["ground_factor"]
    by_hand = np.trapezoid(np.maximum(NORTH - 6 - low, 0), e) * factor**2
    assert by_hand > 50 and area["area_outside_m2"] == pytest.approx(by_hand, rel=1e-4)
    assert area["room_right_m"] < 0 < area["room_left_m"]
    assert area["area_m2"] == pytest.approx(_shoelace(x, y) * factor**2, rel=1e-6)


def _lower(x, y):
    """The southern side of a hull, west to east."""
    chosen = np.unique(np.flatnonzero(y <= np.interp(x, [x.min(), x.max()], [y[x.argmin()], y[x.argmax()]]) + 1e-9))
    order = chosen[np.argsort(x[chosen])]
    return x[order], y[order]


def _shoelace(x, y):
    x, y = x - x[0], y - y[0]
    return abs(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1])) / 2


def test_no_right_of_way(tmp_path):
    """Envelopes all the same; room and what is outside are not known, which is not a pass."""
    study = TinyStudy(tmp_path / "study")
    study.change('[right_of_way]\nhalf_width = "30 m"\n', "")
    rows = study.check()["swing_envelopes"]
    assert len(rows) == 3
    assert rows[["room_left_m", "room_right_m", "area_outside_m2"]].isna().all(axis=None)


def test_no_wind(tmp_path):
    """Without a case with wind there is no envelope."""
    study = TinyStudy(tmp_path / "study")
    study.change('wind = "290 Pa"\nchecks = ["horizontal"]', 'checks = ["vertical"]')
    assert not len(study.check()["swing_envelopes"])


def test_a_span_with_an_unknown_wire_has_none(tmp_path):
    """An envelope without one of the wires would be too small."""
    study = TinyStudy(tmp_path / "study")
    study.framings += "hold,S,shield,,0,26,strain,,\nhang,S,shield,,0,26,suspension,0.3,4\n"
    findings = study.check()
    assert not len(findings["swing_envelopes"]) and len(findings["not_assessed"])
