"""Parcels below swung wires: their overlap held against areas that follow from the envelope's own reach."""

import pytest
import shapely

WEST, EAST, LINE = 499_900.0, 501_000.0, 5_600_000.0


def strip(low, high, west=WEST, east=EAST):
    """Land between two offsets right of the line, which runs to the east: south of it."""
    return shapely.box(west, LINE - high, east, LINE - low)


def checked(study, **shapes):
    study.add_roads()
    study.add_obstacle("land", "parcel", list(shapes.values()), 'id_column = "owner"', owner=list(shapes))
    return study.check()


def test_overlap_is_that_of_the_envelope(study):
    """Land on both sides holds all of it; what lies right of the line and what lies left of it make up the whole."""
    findings = checked(study, all=strip(-90, 90), right=strip(0, 90), left=strip(-90, 0))
    rows = findings["parcels"].set_index(["span", "parcel"])
    assert len(rows) == 3 * 3 and not len(findings["not_assessed"])
    for envelope in findings["swing_envelopes"].itertuples():
        area = {name: rows.loc[(envelope.span, f"land:{name}"), "overlap_m2"] for name in ("all", "right", "left")}
        assert area["all"] == pytest.approx(envelope.area_m2, rel=1e-9)
        assert area["right"] + area["left"] == pytest.approx(envelope.area_m2, rel=1e-9)
        assert 0 < area["left"] and 0 < area["right"]


def test_distance_is_to_where_the_wires_reach(study):
    """Land that begins 2.5 m beyond the farthest reach; the grid is 0.04 % smaller than the ground."""
    reach = study_reach(study)
    study.add_obstacle("land", "parcel", [strip((reach + 2.5) * 0.9996, 200), strip(reach + 60, 200)])
    findings = study.check()
    rows = findings["parcels"]
    assert set(rows["parcel"]) == {"land:1"} and (rows["overlap_m2"] == 0).all() and rows.geometry.isna().all()
    assert rows["distance_m"].min() == pytest.approx(2.5, abs=2e-3)


def study_reach(study):
    study.add_roads()
    return study.check()["swing_envelopes"]["reach_right_m"].max()


def test_land_in_parts_counts_once(study):
    """A parcel of two parts, both below the same span: one row, its overlap of two areas."""
    both = shapely.MultiPolygon([strip(-90, 90, 500_050, 500_060), strip(-90, 90, 500_100, 500_120)])
    rows = checked(study, both=both).rows("parcels", span="1-2")
    alone = [shapely.area(part) for part in rows.geometry[0].geoms]
    assert len(rows) == 1 and len(alone) == 2
    assert rows["overlap_m2"][0] == pytest.approx(sum(alone) / 0.9996**2, rel=1e-3)


@pytest.mark.parametrize(("shape", "reason"), [
    (shapely.LineString([(500_100, LINE), (500_200, LINE)]), "a parcel that is no polygon"),
    (shapely.Polygon([(500_100, LINE), (500_200, LINE + 9), (500_200, LINE), (500_100, LINE + 9)]), "crosses itself"),
])
def test_land_that_is_no_area_is_not_assessed(study, shape, reason):
    findings = checked(study, odd=shape)
    gaps = findings.rows("not_assessed", against="parcel")
    assert len(gaps) and gaps["reason"].str.contains(reason).all() and not len(findings["parcels"])
    assert findings.result.status == 3


def test_nothing_has_to_keep_clear_of_land(study):
    """A rule for all else is not for parcels."""
    study.rules += "rest,other,vertical,30,,,,,,\n"
    findings = checked(study, all=strip(-90, 90))
    assert set(findings["clearances"]["against"]) == {"ground", "road", "right_of_way"}
