"""Grouping of work against enumeration, and colourings whose number is known."""

from itertools import product

import numpy as np
import pytest
import shapely

from corridor.planning.outages.files import write_outages
from corridor.planning.outages.grouping import group_items, one_by_one, what_forbids
from corridor.planning.outages.work import list_work, reels
from corridor.planning.remedies.alterations import NONE
from corridor.planning.remedies.taken import write_remedies
from tests.common import ask
from tests.end_to_end.conftest import EAST, NORTH
from tests.test_plan import short_study

#: Graphs and their chromatic numbers: Bondy and Murty, Graph Theory (recalled).
CYCLE = [(i, (i + 1) % 5) for i in range(5)]
COMPLETE = [(i, j) for i in range(4) for j in range(i)]
WHEEL = CYCLE + [(5, i) for i in range(5)]
PETERSEN = CYCLE + [(i, i + 5) for i in range(5)] + [(5 + i, 5 + (i + 2) % 5) for i in range(5)]


@pytest.mark.parametrize(("edges", "number"), [(CYCLE, 3), (COMPLETE, 4), (WHEEL, 4), (PETERSEN, 3)])
def test_never_together_is_a_colouring(edges, number):
    count = 1 + max(max(edge) for edge in edges)
    never = [(f"c{a}", f"c{b}") for a, b in edges]
    got = group_items(np.ones(count), [{f"c{i}"} for i in range(count)], aim="outages", never=never, crews=3,
                      slots=number + 1)
    assert got.outage.max() + 1 == number
    assert all(got.outage[a] != got.outage[b] for a, b in edges)


def cost(hours, circuits, never, crews, window, slots, outage, crew):
    """Circuit-hours and number of outages of an assignment, None where it is not allowed."""
    total, used = 0.0, 0
    for g in range(slots):
        own = [i for i in range(len(hours)) if outage[i] == g]
        if own:
            length = max(sum(hours[i] for i in own if crew[i] == k) for k in range(crews))
            out = set().union(*(circuits[i] for i in own))
            if length > window or any(a in out and b in out for a, b in never):
                return None
            total, used = total + length * len(out), used + 1
    return total, used


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("aim", ["circuit-hours", "outages"])
def test_optimum_is_that_of_enumeration(seed, aim):
    random = np.random.default_rng(seed)
    n, crews, slots, window = 4, 2, 4, 20.0
    hours = random.integers(3, 12, n).astype(float)
    circuits = [set(random.choice(list("abc"), random.integers(1, 3), replace=False).tolist()) for _ in range(n)]
    never = [("a", "b")] if not any({"a", "b"} <= c for c in circuits) else []
    ways = [cost(hours, circuits, never, crews, window, slots, o, k)
            for o in product(range(slots), repeat=n) for k in product(range(crews), repeat=n)]
    first = 0 if aim == "circuit-hours" else 1
    best = min(way[first] for way in ways if way is not None)
    got = group_items(hours, circuits, aim=aim, never=never, crews=crews, window=window)
    assert (got.circuit_hours if first == 0 else len(got.hours)) == pytest.approx(best)
    own = cost(hours, circuits, never, crews, window, slots, got.outage, got.crew)
    assert own == pytest.approx((got.circuit_hours, len(got.hours)))


@pytest.mark.parametrize("seed", range(5))
def test_crews_do_what_they_can_as_in_enumeration(seed):
    """Crews that can do some items alone, hours of their own within an outage, and items that may not share one."""
    random = np.random.default_rng(seed)
    n, crews = 4, 2
    hours, windows = random.integers(3, 12, n).astype(float), random.integers(9, 20, crews).astype(float)
    able = random.random((n, crews)) < 0.6
    able[np.arange(n), random.integers(0, crews, n)] = True
    circuits = [set(random.choice(list("abc"), random.integers(1, 3), replace=False).tolist()) for _ in range(n)]
    apart = [(0, 1)]

    def allowed(outage, crew):
        return (all(able[i, k] for i, k in enumerate(crew)) and all(outage[a] != outage[b] for a, b in apart)
                and all(sum(hours[i] for i in range(n) if (outage[i], crew[i]) == (g, k)) <= windows[k]
                        for g in range(n) for k in range(crews)))

    ways = [cost(hours, circuits, [], crews, np.inf, n, o, k)[0] for o in product(range(n), repeat=n)
            for k in product(range(crews), repeat=n) if allowed(o, k)]
    got = group_items(hours, circuits, crews=crews, able=able, window=windows, apart=apart)
    assert (got is None) == (not ways)
    if got:
        assert allowed(got.outage, got.crew) and got.circuit_hours == pytest.approx(min(ways))
    names = [f"item {i}" for i in range(n)]
    words = what_forbids(names, hours, circuits, crews=crews, able=able, window=windows, apart=apart)
    assert bool(words) == (not ways)
    assert what_forbids(names[:1], hours[:1], circuits[:1], crews=crews, able=[[False, False]], window=windows) == (
        "item 0: no crew of plan.crews does this kind of work",)


def test_two_crews_halve_circuit_hours_by_hand():
    """Two works of 8 h on one circuit: 16 circuit-hours one by one, 8 with two crews in one outage."""
    assert one_by_one([8, 8], [("a",), ("a",)]) == 16
    assert group_items([8, 8], [{"a"}, {"a"}], aim="circuit-hours", crews=2).circuit_hours == pytest.approx(8)
    assert group_items([8, 8], [{"a"}, {"a"}], aim="circuit-hours", crews=1).circuit_hours == pytest.approx(16)


def test_many_items_never_cost_more_than_one_by_one():
    """Fourteen works of one circuit, three of which need others out: as many circuit-hours as one by one, by hand."""
    hours = [8.0] * 11 + [16.0] * 3
    circuits = [{"a"}] * 11 + [{"a", "b"}, {"a", "c"}, {"a"}]
    got = group_items(hours, circuits, window=120.0, seconds=2.0)
    assert got.circuit_hours == pytest.approx(one_by_one(hours, circuits)) == 11 * 8 + 2 * 16 + 2 * 16 + 16
    assert got.outages <= 4


@pytest.mark.parametrize("words", [{"never": [("a", "b")]}, {"window": 7.0}])
def test_what_is_not_allowed_has_no_grouping(words):
    assert group_items([8.0], [{"a", "b"}], **words) is None


def test_reels_are_long_enough():
    """Spans of 400, 500, 300, 900 m on reels of 1000 m: 900 m, then 300 m, for 900 more do not fit; by hand."""
    lengths = np.array([400.0, 500.0, 300.0, 900.0, 1200.0])
    assert [part.tolist() for part in reels(lengths, 1000.0)] == [[0, 1], [2], [3], [4]]
    assert [part.tolist() for part in reels(lengths, 5000.0)] == [[0, 1, 2, 3, 4]]


def test_work_of_a_plan(tmp_path):
    """Raises and pulls, the road that is guarded, the line that is crossed; drawings and layers are written."""
    import pyogrio

    study = short_study(tmp_path / "study")
    study.change("existing = true\n", "")
    study.text += '\n[plan]\nremedies = ["raise", "post"]\n'
    wires = [shapely.LineString([(EAST + 200 + d, NORTH - 80, 90), (EAST + 200 + d, NORTH + 80, 90)]) for d in (0, 4)]
    study.add_obstacle("village", "line", wires, 'voltage = "20 kV"')
    study.rules += "line,line,vertical,2.0,,,,,,\n"
    planned = ask(study.write(), "plan", "today", tmp_path / "plan")
    assert planned.cleared
    write_remedies(planned, tmp_path / "plan")
    written, lines = write_outages(planned, tmp_path / "plan", kind="png")
    assert [p.name for p in written] == ["plan.gpkg", "items_by_circuit.csv", "loads.csv", "calendar.csv", "states.csv",
                                         "calendar.png", "outages.png", "switching.csv", "work_orders.pdf"]
    assert all(p.stat().st_size > 100 for p in written)
    layers = {name for name, _ in pyogrio.list_layers(written[0])}
    assert layers == {"plan", "remedies", "work_items", "outages", "calendar", "states", "loads", "planned_for",
                      "costs"}
    items = pyogrio.read_dataframe(written[0], layer="work_items")
    others, pulls = items[items.kind != "pull"], items[items.kind == "pull"]
    assert len(others) == sum(change != NONE for change in planned.after.alterations.changes) > 0
    assert len(pulls) == len(planned.site.plan.sections)
    assert (pulls.circuits_out == "main, circuit 1; village:1").sum() == 1, "both wires are one circuit, crossed once"
    outages = pyogrio.read_dataframe(written[0], layer="outages")
    assert outages.circuit_hours.sum() == pytest.approx(
        sum(h * (1 + c.count("village")) for h, c in zip(outages.hours, outages.circuits_out, strict=True)))
    assert any("circuit-hours in" in line for line in lines)


def test_pulls_take_what_the_crew_of_the_study_takes(tmp_path):
    """A pull over two sections, and one over the third: setting up, and two phases at 1.8 km/h, 2 h, and 15 min at each
    structure; by hand."""
    study = short_study(tmp_path / "study")
    study.change("existing = true\n", "")
    study.text += """
[plan]
remedies = ["raise", "post"]
[stringing]
[[stringing.pulls]]
first = "1"
last = "6"
[stringing.crew]
setup_duration = "8 h"
pull_speed = "1.8 km/h"
sag_duration = "2 h"
clip_duration = "15 min"
"""
    planned = ask(study.write(), "plan", "today", tmp_path / "plan")
    pulls = [item for item in list_work(planned) if item.kind == "pull"]
    assert [(item.name, item.spans.tolist()) for item in pulls] == [("pull 1-6", [0, 1, 2, 3, 4]), ("pull 6-7", [5])]
    hours = [8 + 2 * (length / 1800 + 2 + count * 0.25) for length, count in ((1500, 6), (300, 2))]
    assert [item.hours for item in pulls] == pytest.approx(hours, rel=1e-3)


def test_a_circuit_behind_guards_stays_in_service(tmp_path):
    """The line below is out while wires are drawn over it, unless the study says that guards are agreed: then it is
    among the things to guard."""
    told = {}
    for keys in ("", 'guarded_circuits = ["village:1"]\n'):
        study = short_study(tmp_path / f"study {len(keys)}")
        study.change("existing = true\n", "")
        study.text += f'\n[plan]\nremedies = ["raise", "post"]\n{keys}'
        wire = shapely.LineString([(EAST + 200, NORTH - 80, 90), (EAST + 200, NORTH + 80, 90)])
        study.add_obstacle("village", "line", [wire], 'voltage = "20 kV"')
        study.rules += "line,line,vertical,2.0,,,,,,\n"
        planned = ask(study.write(), "plan", "today", tmp_path / f"plan {len(keys)}")
        told[bool(keys)] = next(item for item in list_work(planned) if item.kind == "pull" and item.crossed)
    assert told[False].out == ("main, circuit 1", "village:1") and told[False].guards == ()
    assert told[True].out == ("main, circuit 1",) and told[True].guards == ("village:1",)
