"""What the findings say, held against what is promised, plane geometry, the catenary and the geodesic.

The curve is that of any handbook: elevation z0 + C (cosh((x - x0)/C) - 1). Lengths on the ellipsoid are pyproj's
(Karney 2013).
"""

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import shapely

from .curves import RADIUS, SCALE, catenary, ends, hung

#: Layers and the columns that are promised to whoever reads the file, and the kind of geometry.
PROMISED = {
    "structures": ("Point Z", "line structure role station_m base_elevation_m line_angle_deg"),
    "spans": ("LineString Z", "line span section length_m rise_m"),
    "sections": (None, "line section wire_kind option case ruling_span_m horizontal_tension_n maximum_tension_n "
                       "percent_rts condition governing_limit"),
    "wires": ("LineString Z", "line span wire option case sag_m horizontal_tension_n maximum_tension_n percent_rts "
                              "conductor_temperature_c condition swing_deg"),
    "clearances": ("Point Z", "line span option case wire against obstacle rule measure required_m actual_m margin_m "
                              "station_m offset_m wire_elevation_m other_elevation_m"),
    "violations": ("Point Z", "line span option case wire against obstacle rule measure required_m actual_m margin_m "
                              "station_m offset_m wire_elevation_m other_elevation_m severity"),
    "violation_stretches": ("LineString Z", "option case line span wire against obstacle length_m worst_margin_m"),
    "limits": ("LineString Z", "line span option limit_temperature_c limit_current_a maximum_temperature_c "
                               "governing_against governing_obstacle governing_case"),
    "not_assessed": ("LineString Z", "option case line span wire against obstacle reason"),
    "options": (None, "option conductor continuous_current_a violations worst_margin_m greatest_sag_m "
                      "greatest_percent_rts loss_at_required_current_w_per_m"),
    "run": (None, "software_version study_digest inputs time warnings"),
}
TERMS = ["base_m", "voltage_adder_m", "altitude_adder_m", "minimum_raise_m", "buffer_m"]


def vertical_rows(table):
    """The rows that compare heights."""
    return table[table["measure"] == "vertical"]


# What is promised


@pytest.mark.parametrize("layer", PROMISED)
def test_layers_and_columns(short, layer):
    geometry, columns = PROMISED[layer]
    info = pyogrio.read_info(short.path, layer=layer)
    assert set(columns.split()) <= set(info["fields"])
    assert info["geometry_type"] == geometry


def test_geometries_have_elevations(short):
    for layer, (geometry, _) in PROMISED.items():
        if geometry:
            shapes = short[layer].geometry
            assert np.isfinite(shapely.get_coordinates(shapes[shapes.notna()], include_z=True)).all()
    assert len(short["violation_stretches"])


def test_a_row_for_every_pair_that_should_be_compared(short):
    """3 spans, 2 options: ground and one road each in 2 cases, the strip in one."""
    table = short["clearances"]
    counted = table.groupby(["measure", "against"]).size().to_dict()
    assert counted == {("vertical", "ground"): 12, ("vertical", "road"): 12, ("horizontal", "right_of_way"): 6}
    assert not table.duplicated(["line", "span", "option", "case", "against", "obstacle"]).any()
    assert not len(short["not_assessed"])


def test_margin_is_actual_less_required(short):
    table = short["clearances"]
    np.testing.assert_allclose(table["margin_m"], table["actual_m"] - table["required_m"], rtol=0, atol=1e-12)
    np.testing.assert_allclose(table[TERMS].sum(axis=1), table["required_m"], rtol=0, atol=1e-12)
    heights = vertical_rows(table)
    np.testing.assert_allclose(heights["actual_m"], heights["wire_elevation_m"] - heights["other_elevation_m"],
                               rtol=0, atol=1e-9)


def test_terms_of_the_rule(short):
    """By hand, of the rule in the study: 7 m, 0.01 m/kV above 23 kV, 3 % of that per 300 m above 50 m, 0.4 m."""
    for row in short.rows("clearances", against="ground").itertuples():
        adder = 0.01 * (123 - 23)
        altitude = adder * 0.03 * (row.other_elevation_m - 50) / 300
        expected = [7, adder, altitude, 0, 0.4]
        np.testing.assert_allclose([getattr(row, term) for term in TERMS], expected, rtol=0, atol=1e-9)


def test_minimum_of_the_rule_is_under_the_buffer(study):
    """4.5 m and adders stay below the minimum clearance of 5.6 m, on top of which come the 0.4 m."""
    study.add_roads()
    ground = study.check().rows("clearances", against="ground")
    np.testing.assert_allclose(ground["required_m"], 6.0, rtol=0, atol=1e-12)
    assert (ground["minimum_raise_m"] > 0).all()


def test_violations_are_the_negative_margins(short):
    keys = ["line", "span", "option", "case", "against", "wire", "measure"]
    table, short_rows = short["clearances"], short["violations"]
    falls = table[table["margin_m"] < 0]
    assert 0 < len(falls) < len(table)
    assert falls[keys].to_numpy().tolist() == short_rows[keys].to_numpy().tolist()
    assert short.result.violations == len(falls) and short.result.status == 1
    per_option = falls.groupby("option").size().to_dict()
    assert dict(zip(short["options"]["option"], short["options"]["violations"], strict=True)) == per_option


# Geometry by hand


def test_structures_by_hand(short, make):
    """Ground lengths of a grid that shrinks them: length over scale, and longer by the elevation."""
    table = short["structures"]
    np.testing.assert_allclose(table["base_elevation_m"], [100, 106, 112, 118], rtol=0, atol=1e-6)
    np.testing.assert_allclose(table["line_angle_deg"], 0, rtol=0, atol=1e-9)
    length = 300 / SCALE * (1 + np.array([103, 109, 115]) / RADIUS)
    # The scale grows by the square of the distance from the meridian: 1e-8 at 900 m, 3 um in a span.
    np.testing.assert_allclose(short["spans"]["length_m"], length, rtol=0, atol=1e-5)
    np.testing.assert_allclose(table["station_m"], [0, *np.cumsum(length)], rtol=0, atol=3e-5)
    assert short["spans"]["section"].tolist() == ["1-3", "1-3", "3-4"]


def test_attachments_by_hand(short, make):
    """18 and 19 m at the held wires; 19 and 20 m less the string of 1.4 m at the hung ones; 4 m left, 5 m right.

    Between equal spans the string stays plumb, within a millimetre for the rise of the plane.
    """
    for wire, left, heights in (("A", 4, [18, 17.6, 18, 18]), ("B", -5, [19, 18.6, 19, 19])):
        rows = short.rows("wires", wire=wire, option="today", case="hot")
        for span, geometry in enumerate(rows.geometry):
            for at, (easting, northing, elevation) in enumerate(ends(geometry)):
                structure = span + at
                assert easting == pytest.approx(make.EAST + 300 * structure, abs=1e-3)
                # Left of a line to the east is north; metres of ground are less on this grid.
                assert northing == pytest.approx(make.NORTH + left * SCALE, abs=1e-3)
                assert elevation == pytest.approx(100 + 6 * structure + heights[structure], abs=1e-3)


def test_vertices_lie_on_the_catenary(short):
    """Every vertex of every wire in still air, on the catenary through its ends with the constant in its row."""
    wires = short["wires"]
    still = wires[wires["swing_deg"] == 0]
    assert len(still) == 3 * 2 * 2 * 2
    for row in still.itertuples():
        a, b, S = hung(short, row)
        z0, z1 = a[2], b[2]
        xyz = shapely.get_coordinates(row.geometry, include_z=True)
        share = (xyz[:, 0] - xyz[0, 0]) / (xyz[-1, 0] - xyz[0, 0])
        expected = catenary(share, S, z0, z1 - z0, row.catenary_constant_m)
        np.testing.assert_allclose(xyz[:, 2], expected, rtol=0, atol=1e-6)
        fine = np.linspace(0, 1, 20_001)
        z = catenary(fine, S, z0, z1 - z0, row.catenary_constant_m)
        assert row.sag_m == pytest.approx((z0 + fine * (z1 - z0) - z).max(), abs=1e-6)


def test_swung_wires_lie_in_their_plane(short):
    """In wind a wire held at both ends lies in a plane tilted by atan(p/w), on a catenary of load |q| (parabola to
    second order: within 1 cm of the handbook's H = q S^2/(8 sag))."""
    rows = short.rows("wires", span="3-4", case="swung")
    assert len(rows)
    for row in rows.itertuples():
        xyz = shapely.get_coordinates(row.geometry, include_z=True)
        chord = xyz[0] + np.linspace(0, 1, len(xyz))[:, None] * (xyz[-1] - xyz[0])
        middle = len(xyz) // 2
        out, down = (chord - xyz)[middle, 1] / SCALE, (chord - xyz)[middle, 2]
        assert np.degrees(np.arctan2(out, down)) == pytest.approx(row.swing_deg, abs=0.01)
        assert row.sag_m == pytest.approx(np.hypot(out, down), abs=0.01)
        assert row.sag_m == pytest.approx(300.12**2 / (8 * row.catenary_constant_m), rel=2e-3)


def test_a_violation_by_hand(short, make):
    """Every violation against the ground from the columns of its row, its wire and the plane alone."""
    start = short["structures"].set_index("structure").geometry
    rows = short.rows("violations", against="ground")
    assert len(rows) >= 3
    for row in rows.itertuples():
        wire = short.row("wires", span=row.span, wire=row.wire, option=row.option, case=row.case)
        (a, b, S), C = hung(short, wire), row.catenary_constant_m
        factor = short.row("spans", span=row.span)["ground_factor"]
        e, n = row.geometry.x, row.geometry.y
        assert row.distance_from_start_m == pytest.approx((e - start[row.span[0]].x) * factor, abs=1e-6)
        share = (e - a[0]) / (b - a)[0]
        assert n == pytest.approx(a[1] + share * (b - a)[1], abs=1e-6)
        height = float(catenary(share, S, a[2], b[2] - a[2], C))
        assert row.wire_elevation_m == pytest.approx(height, abs=1e-6)
        assert row.geometry.z == pytest.approx(height, abs=1e-6)
        assert row.other_elevation_m == pytest.approx(make.plane(e, n), abs=1e-6)
        assert row.margin_m == pytest.approx(height - make.plane(e, n) - row.required_m, abs=1e-6)
        assert row.horizontal_tension_n == pytest.approx(C * load(short, row), rel=1e-9)
        # No place along any wire of the span is nearer to the ground.
        fine = np.linspace(0, 1, 30_001)
        for other in short.rows("wires", span=row.span, option=row.option, case=row.case).itertuples():
            a, b, S = hung(short, other)
            z = catenary(fine, S, a[2], b[2] - a[2], other.catenary_constant_m)
            ground = make.plane(*(a[:2, None] + fine * (b - a)[:2, None]))
            assert row.actual_m <= (z - ground).min() + 1e-6


def load(findings, row):
    """Load on the wire of a row [N/m], of the catalogue's mass and the handbook's sleeve of ice."""
    mass = findings.row("options", option=row.option)
    ice = {"hot": 0.0, "ice": np.pi * 913 * 0.012 * (mass.diameter_m + 0.012)}[row.case]
    return (mass.mass_kg_per_m + ice) * 9.80665


def test_stretches_end_where_the_margin_is_gone(short):
    """At both ends of a stretch inside its span the wire has just the height required above the plane."""
    ground = short.rows("violation_stretches", against="ground")
    assert len(ground)
    for row in ground.itertuples():
        worst = short.rows("violations", span=row.span, option=row.option, case=row.case, against="ground")
        assert row.worst_margin_m >= worst["margin_m"].min() - 1e-9
        xyz = shapely.get_coordinates(row.geometry, include_z=True)
        height = xyz[:, 2] - (100 + 0.02 * (xyz[:, 0] - 500_000) + 0.01 * (xyz[:, 1] - 5_600_000))
        required = worst["required_m"].iloc[0]
        # The altitude adder differs by less than a millimetre over the stretch; ends are found on the profile.
        np.testing.assert_allclose(height[[0, -1]], required, rtol=0, atol=0.02)


def test_findings_open_in_geopandas(short):
    """A plain reader sees one CRS on every spatial layer."""
    for layer, (geometry, _) in PROMISED.items():
        if geometry:
            assert gpd.read_file(short.path, layer=layer).crs == "EPSG:25832"


def test_no_obstacles(study):
    """Ground alone is a study too."""
    findings = study.check()
    assert len(findings.rows("clearances", against="ground")) == 6 and findings.result.status == 0
