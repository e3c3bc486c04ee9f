"""Wires of other lines that a plan has their owners hang higher or lower: by how much, what it costs, who is asked.

That whoever alters a line does so in an outage of it and of what it crosses is common practice, no source.
"""

from dataclasses import replace

import geopandas
import numpy as np
import pytest
import shapely

from corridor.errors import InputError
from corridor.planning.outages.outages import outages_of
from corridor.planning.outages.states import with_items
from corridor.planning.outages.work import list_work
from corridor.planning.remedies.alterations import unaltered
from corridor.planning.remedies.each_alone import each_alone
from corridor.planning.remedies.taken import plan_lines, taken
from corridor.planning.remedies.variants import assess_variant, clears
from tests.common import allowed, planned_of
from tests.end_to_end.conftest import EAST, NORTH, TinyStudy

LISTED = 'alterable = ["other:1"]\nstep = 0.5\nother_cost = 4\nother_metre_cost = 2\n'
HIGHER, LOWER = "largest_other_raise = 6\n", "largest_other_lowering = 6\n"
DATES = '[plan.calendar]\nstart = 2027-03-01\n[[plan.calendar.notice]]\nname = "other:1"\nperiod = "480 h"\n'
KINDS = ("raise_other", "lower_other")


def crossed(folder, z=122.5, plan=LISTED + HIGHER + LOWER, kinds=KINDS, keys='voltage = "220 kV"'):
    """Two wires of another line pass too near above span 2-3, or below it, and a third, of a circuit far off, above
    3-4."""
    study = TinyStudy(folder)
    study.change('[right_of_way]\nhalf_width = "30 m"', "")
    study.rules += "line,line,vertical,3.0,,,,,,\n"
    wires = [shapely.LineString([(EAST + e, NORTH - 60, up), (EAST + e, NORTH + 60, up)])
             for e, up in ((445, z), (450, z), (750, 160.0))]
    study.add_obstacle("other", "line", wires, keys)
    return allowed(study, kinds, plan)


def lacks(planned):
    """What the worst violation of the other line lacks upright [m], in all and of vertical clearances: beside a place
    that is `a` aside and `v` above or below, `hypot(a, v + r)` is what is required."""
    v = planned.before.layers["violations"]
    up, actual, required = (np.abs(v[name].astype(float)) if name else np.abs(
        (v["wire_elevation_m"] - v["other_elevation_m"]).astype(float)) for name in ("", "actual_m", "required_m"))
    radial = np.sqrt(required**2 - np.maximum(actual**2 - up**2, 0.0)) - up
    vertical = v["measure"] == "vertical"
    return np.where(vertical, required - actual, radial).max(), -v["margin_m"][vertical].min()


@pytest.mark.parametrize(("z", "kind"), [(122.5, "raise_other"), (116.5, "lower_other")])
def test_the_other_line_is_altered_by_whole_steps(tmp_path, z, kind):
    """By hand: as many steps of 0.5 m as it lacks, which cost 4 and 2 a metre; the margin is less by what it lacks and
    more by the steps. Both wires of the circuit are moved in the copy, and no other."""
    planned = planned_of(crossed(tmp_path / "study", z), tmp_path / "plan")
    assert {*planned.before.layers["violations"]["obstacle"]} == {"other:1", "other:2"}
    most, vertical = lacks(planned)
    by = np.ceil(most / 0.5 - 1e-6) * 0.5
    assert planned.status == 0 and planned.checked.status == 0 and by > 0
    rows = taken(planned)
    assert (rows["remedy"], rows["where"], rows["amount"], rows["unit"]) == ([kind], ["other:1"], [by], ["m"])
    assert planned.cost == pytest.approx(4 + 2 * by)
    assert any(f"the wires of other:1 by {by:g} m" in line for line in plan_lines(planned))
    sign = 1 if kind == "raise_other" else -1
    left = geopandas.read_file(tmp_path / "plan" / "obstacles 1.gpkg")
    heights = [float(shapely.get_coordinates(g, include_z=True)[0, 2]) for g in left.geometry]
    assert sorted(heights) == pytest.approx(sorted([z + sign * by] * 2 + [160.0]))
    after = planned.after.layers["clearances"]
    own = np.isin(after["obstacle"], ["other:1", "other:2"]) & (after["measure"] == "vertical")
    assert after["margin_m"][own].min() == pytest.approx(by - vertical, abs=2e-3)
    (item,) = list_work(planned)
    assert item.kind == kind and item.out == ("main, circuit 1", "other:1") and "its owner must show" in item.shown
    if kind == "lower_other":
        assert "over ground" in item.shown
    # Half of the work done is none of it: before it is done they hang where they hung.
    assert not with_items(planned, []).lowered.any()
    assert with_items(planned, [item]).lowered.tolist() == planned.after.alterations.lowered.tolist()


def test_by_a_column_of_heights(tmp_path):
    """Wires with a height above the ground: the column of the copy has it, and none is offered to come so low that it
    is out of sight, 3 m."""
    study = crossed(tmp_path / "study", keys='voltage = "220 kV"\nheight_column = "high"', plan=LISTED
                    + "largest_other_lowering = 20\n")
    table = geopandas.read_file(study.folder / "other.gpkg")
    table["geometry"] = shapely.force_2d(table.geometry.values)
    table["high"] = [8.0, 8.0, 6.0]
    table.to_file(study.folder / "other.gpkg", layer="other", driver="GPKG")
    planned = planned_of(study, tmp_path / "plan")
    by, = taken(planned)["amount"]
    assert planned.status == 0 and taken(planned)["remedy"] == ["lower_other"] and by > 0
    left = geopandas.read_file(tmp_path / "plan" / "obstacles 1.gpkg")
    assert sorted(left["high"]) == pytest.approx(sorted([8.0 - by, 8.0 - by, 6.0]))
    assert 0.5 * len(planned.remedies) == 4.5


def test_its_owner_is_asked(tmp_path):
    planned = planned_of(crossed(tmp_path / "study", plan=f"{LISTED}{HIGHER}other_duration = '30 h'\n{DATES}"),
                         tmp_path / "plan")
    outages = outages_of(planned)
    assert outages.work[0].hours == 30 and str(outages.laid[0].start.date()) >= "2027-03-21"
    assert list(outages.ask_by(0)) == ["other:1"]


@pytest.mark.parametrize(("z", "plan", "kind", "word"), [
    (122.5, LISTED, "raise_other", "plan.largest_other_raise"),
    (122.5, LISTED + LOWER, "lower_other", "on its other side"),
    (116.5, LISTED + HIGHER, "raise_other", "on its other side"),
    (122.5, HIGHER, "raise_other", "plan.alterable"),
    (122.5, LISTED.replace("other:1", "other:3") + HIGHER, "raise_other", "no circuit that is too near")])
def test_why_none_is_altered(tmp_path, z, plan, kind, word):
    planned = planned_of(crossed(tmp_path / "study", z, plan), tmp_path / "plan")
    assert planned.status == 1 and word in planned.refused[kind]


def test_names_that_no_circuit_has_are_refused(tmp_path):
    with pytest.raises(InputError, match="plan.alterable.0"):
        planned_of(crossed(tmp_path / "study", plan=LISTED.replace("other:1", "other:2") + HIGHER), tmp_path / "plan")


def test_altered_the_wrong_way_it_is_worse_by_as_much(tmp_path):
    """Wires below ours that are raised by 0.5 and 1 m: the vertical margins are less by just that, and both wires'."""
    planned = planned_of(crossed(tmp_path / "study", 116.0), tmp_path / "plan")
    least = []
    for by in (0.0, 0.5, 1.0):
        found = assess_variant(planned.site, replace(unaltered(planned.site), lowered=np.array([-by, -by, 0.0])))
        c = found.layers["clearances"]
        least.append([c["margin_m"][(c["obstacle"] == name) & (c["measure"] == "vertical")].min()
                      for name in ("other:1", "other:2", "other:3")])
    np.testing.assert_allclose(np.array(least) - least[0], [[0, 0, 0], [-0.5, -0.5, 0], [-1, -1, 0]], atol=2e-3)


def test_alone_it_clears_in_the_same_steps(tmp_path):
    planned = planned_of(crossed(tmp_path / "study"), tmp_path / "plan")
    alone = each_alone(planned, {})
    own = alone["remedy"] == "raise the wires of the other line"
    assert own.sum() == 2 and (alone["clears"][own] == True).all()  # noqa: E712
    assert alone["amount"][own].max() == taken(planned)["amount"][0]


def test_a_line_beside_is_raised_out_of_the_swing(tmp_path):
    """Beside our wires, blown towards it, a wire is too near sideways, and clear once it is high enough: what that
    takes no row tells, looks do. One step less does not do; and where no step does the place is named."""
    study = TinyStudy(tmp_path / "study")
    study.change('[right_of_way]\nhalf_width = "30 m"', "")
    study.rules += "line,line,vertical,3.0,,,,,,\nbeside,line,horizontal,3.5,,,,,,\n"
    beside = shapely.LineString([(EAST + 310, NORTH + 10, 123.5), (EAST + 590, NORTH + 10, 123.5)])
    study.add_obstacle("other", "line", [beside], 'voltage = "220 kV"')
    planned = planned_of(allowed(study, KINDS, LISTED + HIGHER), tmp_path / "plan")
    assert {*planned.before.layers["violations"]["measure"]} >= {"horizontal"}
    by, = taken(planned)["amount"]
    assert planned.status == 0 and planned.rounds > 1 and by > 0.5
    less = replace(planned.after.alterations, lowered=planned.after.alterations.lowered + 0.5)
    assert not clears(assess_variant(planned.site, less), planned.before)
    study.rules = study.rules.replace("horizontal,3.5", "horizontal,6.0")
    study.text = study.text.replace(HIGHER, "largest_other_raise = 1\n")
    refused = planned_of(study, tmp_path / "plan")
    assert refused.status == 1 and len(refused.forbids) == 1 and "swung, other:1 (horizontal)" in refused.forbids[0]
