"""What the demo is made to show: each kind of finding at the place that its README names."""

from pathlib import Path

import pyogrio
import pytest

from corridor import check_study

DEMO = Path(__file__).parents[2] / "demo_corridor"


@pytest.fixture(scope="module")
def findings(tmp_path_factory):
    path = tmp_path_factory.mktemp("demo") / "findings.gpkg"
    check_study(DEMO / "study.toml", path)
    return {name: pyogrio.read_dataframe(path, layer=name, read_geometry=False)
            for name in ("clearances", "violations", "not_assessed", "parcels")}


def test_annealed_wires_that_no_ice_has_stretched_hang_too_high_below_a_line(findings):
    """The wire that sags least by metres, in wind and in space as well, the one on steel by a tenth of one."""
    rows = findings["violations"][findings["violations"]["position"] == "below"]
    assert set(rows["span"]) == {"N20-N21"} and set(rows["wire"]) == {"C"}
    keys = sorted(zip(rows["option"], rows["case"], rows["measure"], strict=True))
    assert keys == [("annealed on carbon", "cold", "radial"), ("annealed on carbon", "cold", "vertical"),
                    ("annealed on carbon", "swung", "radial"), ("annealed on carbon", "swung", "vertical"),
                    ("annealed on steel", "cold", "vertical")]
    short = rows.query("case == 'cold' and measure == 'vertical'").set_index("option")["margin_m"]
    assert short["annealed on carbon"] < -1 < -0.2 < short["annealed on steel"]
    others = findings["clearances"].query("position == 'below' and option in ['existing', 'thermal alloy']")
    assert len(others) and others["margin_m"].min() > 0.5


def test_a_side_slope_that_only_the_swung_wire_falls_short_of(findings):
    rows = findings["violations"].query("span == 'N24-N25'")
    assert set(rows["case"]) == {"swung"} and set(rows["against"]) == {"ground"}
    still = findings["clearances"].query("span == 'N24-N25' and against == 'ground' and case != 'swung'")
    assert {"hot", "emergency", "ice", "cold"} == set(still["case"]) and (still["margin_m"] > 0).all()


def test_a_building_beside_the_line_and_one_below_it(findings):
    rows = findings["clearances"].query("against == 'building'")
    assert {("N25-N26", "horizontal"), ("N26-N27", "vertical")} <= set(zip(rows["span"], rows["measure"], strict=True))


def test_trees_that_can_fall(findings):
    rows = findings["clearances"].query("position == 'falling'")
    assert set(rows["span"]) == {"N11-N12"} and rows["obstacle"].nunique() == 3
    assert {"existing", "thermal alloy"} <= set(rows.query("margin_m < 0")["option"])


def test_only_the_hole_is_not_assessed(findings):
    assert set(findings["not_assessed"]["span"]) == {"N14-N15"} and len(findings["not_assessed"]) == 20


def test_every_option_but_the_best_is_short_in_many_places(findings):
    rows = findings["violations"]
    assert rows["option"].value_counts().idxmax() == "thermal alloy"
    spans = rows.groupby("option")["span"].nunique()
    assert spans["thermal alloy"] >= 10 and spans["annealed on carbon"] == 1


def test_wires_swing_over_some_parcels_and_past_others(findings):
    over = findings["parcels"].groupby("parcel")["overlap_m2"].max()
    assert (over > 0).sum() == 3 and over["parcels:Barn yard"] == 0
