"""Circuits of other lines that a plan has put underground: what goes, what stays, what it costs and who is asked.

That whoever puts a line underground takes its wires down in an outage of it and of what it crosses is common practice,
no source.
"""

from types import SimpleNamespace

import geopandas
import numpy as np
import pytest
import shapely

from corridor.errors import InputError
from corridor.planning.circuits import wires_of_others
from corridor.planning.outages.outages import outages_of
from corridor.planning.outages.states import with_items
from corridor.planning.outages.work import list_work
from corridor.planning.remedies.each_alone import each_alone
from corridor.planning.remedies.plan import plan_option, site_of
from corridor.planning.remedies.taken import plan_lines, taken
from corridor.planning.remedies.variants import assess_variant
from corridor.session import open_study
from tests.common import allowed, planned_of
from tests.end_to_end.conftest import EAST, NORTH, TinyStudy

LISTED = 'undergrounded = ["other:1"]\nbury_cost = 5\nbury_metre_cost = 0.01\n'
DATES = '[plan.calendar]\nstart = 2027-03-01\n[[plan.calendar.notice]]\nname = "other:1"\nperiod = "480 h"\n'


def crossed(folder, plan=LISTED, kinds=("bury",), voltage='voltage = "220 kV"'):
    """Three wires of another line pass too near above span 2-3, and a fourth, of a circuit far off, above 3-4."""
    study = TinyStudy(folder)
    study.change('[right_of_way]\nhalf_width = "30 m"', "")
    study.rules += "line,line,vertical,3.0,,,,,,\n"
    wires = [shapely.LineString([(EAST + e, NORTH - 60, z), (EAST + e, NORTH + 60, z)])
             for e, z in ((445, 122.5), (450, 122.5), (455, 122.5), (750, 150.0))]
    study.add_obstacle("other", "line", wires, voltage)
    return allowed(study, kinds, plan)


def test_a_circuit_that_may_be_is_put_underground(tmp_path):
    """Its wires are gone in the copy, all three, and the other circuit is not. By hand: 5, and 0.01 for each of three
    times 120 m."""
    planned = planned_of(crossed(tmp_path / "study"), tmp_path / "plan")
    assert {*planned.before.layers["violations"]["obstacle"]} == {"other:1", "other:2", "other:3"}
    assert planned.status == 0 and planned.checked.status == 0
    assert planned.cost == pytest.approx(5 + 0.01 * 3 * 120)
    assert taken(planned)["remedy"] == ["bury"] and taken(planned)["where"] == ["other:1"]
    assert any("put underground other:1" in line for line in plan_lines(planned))
    rows = geopandas.read_file(tmp_path / "plan" / "findings.gpkg", layer="clearances")
    assert {*rows["obstacle"].dropna()} == {"other:4"}
    assert len(geopandas.read_file(tmp_path / "plan" / "obstacles 1.gpkg")) == 1
    alone = each_alone(planned, {})
    own = alone["remedy"] == "put the circuit underground"
    assert own.sum() == 3 and (alone["clears"][own] == True).all()  # noqa: E712
    assert alone["cost"][own].tolist() == pytest.approx([planned.cost] * 3)


@pytest.mark.parametrize(("bury_cost", "kind"), [(0.1, "bury"), (50, "slacken")])
def test_it_is_chosen_where_it_is_the_cheapest(tmp_path, bury_cost, kind):
    study = crossed(tmp_path / "study", f'undergrounded = ["other:1"]\nbury_metre_cost = 0\nbury_cost = {bury_cost}\n'
                    "largest_slackening = 0.4\n", ("bury", "slacken"))
    study.change('[[cases]]\nname = "swung"\ntemperature = 10\nwind = "290 Pa"\nchecks = ["horizontal"]\n', "")
    planned = planned_of(study, tmp_path / "plan")
    assert planned.status == 0 and {*taken(planned)["remedy"]} == {kind}


def test_wires_of_one_circuit_alone_go(tmp_path):
    """Wires without a voltage are a circuit each: the one that may go leaves the others, and there is no plan."""
    study = crossed(tmp_path / "study", voltage="")
    planned = planned_of(study, tmp_path / "plan")
    assert planned.status == 1 and len(planned.remedies) == 1
    assert any("other:2" in words for words in planned.forbids)
    assert not any("other:1" in words for words in planned.forbids)


def test_its_owner_is_asked_and_all_that_it_crosses_is_out(tmp_path):
    """By hand: 480 h before the first day of the outage. Before the work is done the wires hang where they hung."""
    planned = planned_of(crossed(tmp_path / "study", f"{LISTED}bury_duration = '30 h'\n{DATES}"), tmp_path / "plan")
    (item,) = list_work(planned)
    assert (item.kind, item.hours, item.spans.tolist(), item.span_names) == ("bury", 30, [1], ("2-3",))
    assert item.name == "put other:1 underground" and item.out == ("main, circuit 1", "other:1")
    outages = outages_of(planned)
    # Twenty days after the first day of work.
    assert str(outages.laid[0].start.date()) >= "2027-03-21"
    assert list(outages.ask_by(0)) == ["other:1"]
    none = with_items(planned, [])
    assert not none.removed.any() and not none.buried.any()
    assert assess_variant(planned.site, none).short == planned.before.short
    assert with_items(planned, [item]).removed.tolist() == [True, True, True, False]


def test_why_none_is_put_underground(tmp_path):
    planned = planned_of(crossed(tmp_path / "study", 'undergrounded = ["other:4"]\n'), tmp_path / "plan")
    assert planned.status == 1
    assert planned.refused["bury"] == "no circuit that is too near may be put underground (plan.undergrounded): other:4"
    with pytest.raises(InputError) as fault:
        planned_of(crossed(tmp_path / "study", 'undergrounded = ["other:2"]\n'), tmp_path / "plan")
    assert fault.value.where == "plan.undergrounded.0" and "other:1; other:4" in str(fault.value)


def test_wires_between_attachments_are_not_taken_out_of_their_layer(tmp_path):
    """A layer of attachments has no wires to leave out: it is refused rather than looked at without."""
    study = TinyStudy(tmp_path / "study")
    study.change('[right_of_way]\nhalf_width = "30 m"', "")
    study.rules += "line,line,vertical,3.0,,,,,,\n"
    ends = [shapely.Point(EAST + 450, NORTH + n, 122.8) for n in (-60, 60)]
    study.add_obstacle("hung", "line", ends, 'voltage = "110 kV"\n[obstacles.wires]\nconductor = "264-AL1/62-ST1A"\n'
                       'tension = "20 kN"\ntemperature = 10\nmaximum_temperature = 60', order=[1, 2])
    with open_study(study.write()) as opened:
        name = opened.inputs.index.obstacles.obstacle[0]
    study.text += f'\n[plan]\nremedies = ["bury"]\nundergrounded = ["{name}"]\n'
    with open_study(study.write()) as opened:
        planned = plan_option(site_of(opened.inputs, "today"))
    assert planned.before.short and not planned.cleared and not len(planned.remedies)
    assert planned.refused["bury"] == f"{name} is drawn by its attachments, of which no copy is made without it"
    assert not np.any(planned.after.alterations.removed)


def test_lines_that_cross_are_of_different_owners():
    """Of one layer and voltage, and no farther from each other than wires of one circuit, by hand. Two wires above each
    other, which cross by centimetres as drawn, are one circuit, and so are the spans of a wire, round a corner, too."""
    wires = [shapely.LineString(points) for points in (
        [(0, -60, 22), (0, 60, 22)], [(0.05, -60, 24), (-0.05, 60, 24)], [(0, 60, 22), (9, 200, 22)],
        [(-60, -40, 30), (60, 40, 30)], [(-60, -36, 30), (60, 44, 30)], [(9, 200, 22), (150, 180, 22)])]
    obstacles = SimpleNamespace(
        geometry=np.array(wires, object), obstacle=np.array(["a", "b", "c", "d", "e", "f"], object),
        **{name: np.full(6, value) for name, value in (("category", "line"), ("fault", ""), ("layer", "others"),
                                                       ("voltage", 220e3))})
    assert wires_of_others(obstacles) == {"a": [0, 1, 2, 5], "d": [3, 4]}


def test_a_span_beside_another_line_is_of_its_own_line(tmp_path):
    """A line of two spans crosses another with its second; the first, above our span 3-4, ends at a structure some 7 m
    from the other's wires. Its owner is named, not the other's."""
    study = crossed(tmp_path / "study", plan="")
    ways = (((640, -100, 150), (840, 200, 150)), ((750, -60, 160), (735, 30, 160)), ((735, 30, 160), (700, 200, 160)))
    wires = [shapely.LineString([(EAST + x + e, NORTH + y, z) for x, y, z in way]) for way in ways for e in (0, 4)]
    study.add_obstacle("owners", "line", wires, 'voltage = "110 kV"')
    with open_study(study.write()) as opened:
        obstacles = opened.inputs.index.obstacles
        own = {name: obstacles.obstacle[of].tolist() for name, of in wires_of_others(obstacles).items()}
    assert own["owners:1"] == ["owners:1", "owners:2"]
    assert own["owners:3"] == ["owners:3", "owners:4", "owners:5", "owners:6"]
