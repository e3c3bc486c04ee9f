"""The room kept free about an object: the one routine against regions drawn as polygons, and in whole studies.

The reference is shapely's distance to the drawn region. That the corner is an arc about the edge with the greater of
both distances is how the figure to Rule 234 of ANSI C2 shows it (recalled, medium).
"""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.clearance.rule_files import load_rules
from corridor.clearance.shapes import ABOVE, BESIDE, ROUND, room
from corridor.errors import InputError
from tests.end_to_end.conftest import EAST, NORTH, TinyStudy, line_of

FAR = 1000.0


def region(H, V, rounded=True):
    """The region as a polygon: the quadrant of the object and what is kept free about it."""
    whole = shapely.box(-FAR, -FAR, H, V)
    if not rounded:
        return whole
    R = max(H, V)
    quadrant = shapely.box(-FAR, -FAR, 0, 0)
    return shapely.intersection(whole, shapely.union_all([
        shapely.buffer(quadrant, R, quad_segs=256), shapely.Point(0, 0).buffer(R, quad_segs=256)]))


distance = st.floats(-8, 12)
required = st.sampled_from([0.0, 2.0, 3.5, 5.0])


@settings(max_examples=150, deadline=None)
@given(distance, distance, required, required, st.booleans())
def test_against_drawn_regions(d, v, H, V, rounded):
    """Inside and out on the same side, inside the distance to the edge, outside no more than it.

    The arc of 256 corners a quarter lies 0.02 mm inside of the circle.
    """
    drawn, spot = region(H, V, rounded), shapely.Point(d, v)
    got = room(d, v, H, V, rounded=rounded)
    edge = shapely.distance(spot, shapely.boundary(drawn))
    if shapely.contains_properly(drawn, spot):
        assert got.margin == pytest.approx(-edge, abs=1e-3)
    else:
        assert -1e-3 <= got.margin <= edge + 1e-3


@settings(max_examples=60, deadline=None)
@given(distance, distance, required)
def test_circle_is_the_distance_from_the_edge(d, v, R):
    """H = V: outside as well, the margin is the whole distance."""
    spot = shapely.Point(d, v)
    away = shapely.distance(spot, shapely.box(-FAR, -FAR, 0, 0))
    got = room(d, v, R, R).margin
    if away > 0:
        assert got == pytest.approx(away - R, abs=1e-9)
    else:
        assert got <= -R + 1e-9


def test_by_hand():
    """Edge with 3 m beside and 4 m above: 3-4-5, straight above the roof, level with its edge, and below it."""
    got = room([3, -2, 5, 4, 2.4], [4, 5, -1, 0, 3.2], 3.0, 4.0)
    assert got.margin == pytest.approx([1, 1, 2, 1, 0], abs=1e-12)
    assert got.way.tolist() == [ROUND, ABOVE, BESIDE, BESIDE, ROUND]
    # A square corner keeps the last one off by 60 cm; a strip above and a strip beside know the edge only.
    assert room(2.4, 3.2, 3.0, 4.0, rounded=False).margin == pytest.approx(-0.6)
    assert room([0.1, -0.1], [2, 2], 0.0, 4.0).margin == pytest.approx([0.1, -0.1])
    assert room([1.0, 1.0], [0.1, -0.1], 3.0, 0.0).margin == pytest.approx([0.1, -0.1])


def test_unknown_is_never_clear():
    got = room([np.nan, 9.0, 9.0, 9.0], [9.0, np.nan, 9.0, 9.0], [3, 3, np.nan, 3], [4, 4, 4, np.nan])
    assert np.isnan(got.margin).all()


@pytest.mark.parametrize(("measure", "shape", "fitting"), [
    ("vertical", "corner", "strip_above"), ("radial", "strip_beside", "circle"), ("horizontal", "circle", "corner")])
def test_shape_that_is_not_of_the_measure(tmp_path, measure, shape, fitting):
    file = tmp_path / "rules.csv"
    file.write_text(f"rule,against,measure,base,shape\na,building,{measure},1,{shape}\n", encoding="utf-8")
    with pytest.raises(InputError, match=f"row 2: shape.*{fitting}"):
        load_rules(file)


RULES = """\
rule,against,measure,shape,base
open,ground,vertical,,4
roof,building,vertical,,6
wall,building,horizontal,{shape},5
"""


def beside_a_roof(folder, shape, roof, away):
    """Findings of a level span, blown out, and a long roof whose edge is some way from the wire at rest."""
    study = TinyStudy(folder)
    study.structures = line_of(count=2)
    study.structures["base_elevation"] = [100.0, 100.0]
    study.framings = study.framings.replace("hold,B,phase,1,5,19", "hold,B,phase,1,4,18")
    study.write_ground(lambda e, n: 100 + 0 * e, cell=5.0, high=(EAST + 700, NORTH + 400))
    study.rules = RULES.format(shape=shape)
    edge = NORTH - 4 - away
    study.add_obstacle("house", "building", [shapely.box(EAST + 60, edge - 12, EAST + 240, edge)], f"height = {roof}")
    return study.check()


def test_rounded_corner_in_a_study(tmp_path):
    """A swung wire passes the corner of a roof: clear by the arc, short by the square; the same by the wires drawn."""
    roof, away = 8.0, 8.1
    square = beside_a_roof(tmp_path / "square", "", roof, away)
    (row,) = square.rows("clearances", against="building", case="swung").itertuples()
    assert row.measure == "horizontal"
    rounded = beside_a_roof(tmp_path / "round", "corner", roof, away)
    rows = rounded.rows("clearances", against="building", case="swung")
    x, y, z = wire_points(rounded)
    d, v = NORTH - 4 - away, 100 + roof
    ground = rounded["spans"]["ground_factor"].iloc[0]
    beside = np.maximum((y - d) * ground, 0)
    over = (x > EAST + 60) & (x < EAST + 240)
    least = room(beside[over], (z - v)[over], 5.0, 6.0)
    worst = least.margin.argmin()
    got = rows.loc[rows["margin_m"].idxmin()]
    # Chords of 9 m count with their lowest and nearest place.
    assert least.margin[worst] - 0.15 < got["margin_m"] < least.margin[worst] + 0.01
    assert row.margin_m < -0.3 < 0 < got["margin_m"]
    assert (got["measure"], got["position"], got["required_m"], got["rule"]) == ("radial", "corner", 6.0, "roof")


def wire_points(findings):
    """Places of the wire that the wind blows towards the roof."""
    wires = findings["wires"]
    (wire,) = wires[(wires["case"] == "swung") & (wires["wire"] == "B")].geometry
    return shapely.get_coordinates(shapely.segmentize(wire, 0.2), include_z=True).T
