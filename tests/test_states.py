"""What hangs between two outages: remedies come before the wire that needs them, and an unsafe state is no plan."""

from dataclasses import replace

import numpy as np
import pytest

from corridor.clearance.capacity import COMPONENTS
from corridor.planning.outages import bearing
from corridor.planning.outages import outages as scheduled
from corridor.planning.outages import schedule as scheduling
from corridor.planning.outages.grouping import group_items, units_of, what_forbids
from corridor.planning.outages.outages import outages_of
from corridor.planning.outages.states import states_of, with_items
from corridor.planning.remedies.alterations import NONE
from corridor.planning.remedies.plan import plan_option, site_of
from corridor.planning.remedies.variants import assess_variant
from corridor.session import open_study
from tests.end_to_end.conftest import SECOND_OPTION
from tests.test_plan import short_study

RATING = ("[rating]\nambient = 35\nwind_speed = 0.6\nwind_angle = 90\n"
          "emissivity = 0.8\nabsorptivity = 0.8\nsolar = 1000\n")


def two_wires(folder, plan="window = '60 h'", hole=None):
    """A new wire that hangs lower when hot, over hillocks that the old one just clears; sections 1-3, 3-6 and on."""
    study = short_study(folder, hole=hole, lower=3.4)
    study.text += f"{SECOND_OPTION}{RATING}\n[plan]\nremedies = [\"raise\"]\n{plan}\n"
    return study


def planned_of(opened, option):
    site = site_of(opened.inputs, option)
    every = assess_variant(site, limits=True, every=True)
    return replace(plan_option(site, before=every.of(option)), every=every)


@pytest.fixture
def planned(tmp_path):
    with open_study(two_wires(tmp_path / "study").write()) as opened:
        option = next(each.name for each in opened.study.options if not each.existing)
        found = planned_of(opened, option)
        assert found.cleared and found.before.short >= 1 and any(change != NONE for change in
                                                                 found.after.alterations.changes)
        yield found


def test_every_state_is_safe_and_the_last_is_the_plan(planned):
    outages = outages_of(planned)
    assert [state.after for state in outages.states] == list(range(outages.grouped.outages + 1))
    assert all(state.safe for state in outages.states)
    done = with_items(planned, [*outages.work, *outages.without])
    assert done.changes == planned.after.alterations.changes
    assert set(outages.states[-1].pulled) == set(planned.site.plan.sections.name)
    # What the last state carries is the minimum limit of the planned line, by the layer of a whole look at it.
    last = assess_variant(planned.site, planned.after.alterations, limits=True).layers["limits"]
    assert outages.states[-1].current == pytest.approx(float(np.min(last["limit_current_a"])), abs=1e-3)
    first = planned.every.of(planned.site.old).layers["limits"]
    assert outages.states[0].current == pytest.approx(float(np.min(first["limit_current_a"])), abs=1e-3)


def test_states_of_one_grouping_are_looked_at_once(planned, monkeypatch):
    """By the other aim, where work is grouped alike; where it is not, its states are its own."""
    outages = outages_of(planned)
    monkeypatch.setattr(scheduled, "states_of", None)
    same = outages_of(planned, known=outages)
    assert same.states == outages.states and same.grouped.hours.tolist() == outages.grouped.hours.tolist()
    other = replace(outages, grouped=replace(outages.grouped, outage=outages.grouped.outage[::-1] + 7))
    with pytest.raises(TypeError):
        outages_of(planned, known=other)


def test_remedies_come_before_the_wire(planned):
    """By the spans of the work: no section is pulled in an outage before that of a raise at one of its structures."""
    outages, spans = outages_of(planned), planned.site.plan.spans
    when = {item.name: outage for item, outage in zip(outages.work, outages.grouped.outage, strict=True)}
    pulls = [item for item in outages.work if item.kind == "pull"]
    for item in (each for each in outages.work if each.kind == "raise"):
        ends = {s for pull in pulls for s in (*spans.tail[pull.spans], *spans.head[pull.spans]) if
                when[pull.name] < when[item.name]}
        assert item.place not in ends


def test_wire_before_its_remedies_is_never_offered(planned, monkeypatch):
    """Without the order the exact look at each state finds every violation; so it is joined, or there is no plan."""
    outages = outages_of(planned)
    order = sorted(range(len(outages.work)), key=lambda i: outages.work[i].kind != "pull")
    grouped = replace(outages.grouped, outage=np.argsort(order), crew=np.zeros(len(order), int),
                      hours=np.ones(len(order)), circuits=((),) * len(order))
    states = states_of(planned, outages.work, outages.without, grouped)
    assert not states[-1].safe and len(states) <= len(order)
    assert any("with the new wire" in words and "short of ground" in words for words in states[-1].words)
    monkeypatch.setattr(scheduling, "order_of", lambda some: ())
    joined = outages_of(planned)
    assert joined.grouped is None or all(state.safe for state in joined.states)


def test_old_wire_may_not_get_worse(planned, monkeypatch):
    """A violation of the old wire that is not there today, or is there by less, makes the state unsafe."""
    outages, old = outages_of(planned), planned.site.old
    real = assess_variant(planned.site, with_items(planned, []), limits=True, every=True)
    rows = planned.every.layers["clearances"]
    left = ~np.isin(rows["section"].astype(str), outages.states[1].pulled)
    own = np.flatnonzero((rows["option"] == old) & (rows["against"] == "ground") & left)[:1]
    worse = {name: np.concatenate([values, np.array(
        [{"margin_m": -0.2}.get(name, rows[name][own[0]] if name in rows else None)], values.dtype)])
        for name, values in real.layers["violations"].items()}
    monkeypatch.setattr("corridor.planning.outages.states.assess_variant",
                        lambda *args, **keys: replace(real, layers=real.layers | {"violations": worse}))
    states = states_of(planned, outages.work, outages.without, outages.grouped)
    assert not states[-1].safe
    assert any("with the old wire" in words for words in states[-1].words)


def test_what_cannot_be_safe_is_named(planned, monkeypatch):
    monkeypatch.setattr(scheduled, "states_of", lambda planned, some, without, grouped, progress: [
        replace(each, unsafe=(0,), words=("1-2 with the new wire, hot: 0.10 m short of ground",))
        for each in states_of(planned, some, without, grouped)])
    outages = outages_of(planned)
    assert outages.grouped is None and any("0.10 m short" in words for words in outages.forbids)


def test_order_of_outages():
    """What comes first has no later outage, and pairs both ways round share one; by hand."""
    hours, out = [10.0, 10, 10], [{"a"}, {"a"}, {"a"}]
    got = group_items(hours, out, before=[(2, 0), (2, 1)], window=20.0)
    assert got.outages == 2 and got.outage[2] == 0
    got = group_items(hours, out, before=[(2, 0), (0, 2)], window=20.0)
    assert got.outage[0] == got.outage[2] != got.outage[1]
    assert group_items(hours, out, before=[(0, 1), (1, 2), (2, 0)], window=20.0) is None
    words = what_forbids(["x", "y", "z"], hours, out, before=[(0, 1), (1, 2), (2, 0)], window=20.0)
    assert words == ("x, y, z belong in one outage, and take longer than plan.window, 20 h",)
    assert what_forbids(["x", "y", "z"], hours, out, before=[(2, 0)], window=20.0) == () == what_forbids([], [], [])
    words = what_forbids(["x", "y"], [1, 1], [{"a"}, {"b"}], before=[(0, 1), (1, 0)], never=[("a", "b")])
    assert "plan.never_together" in words[0]


@pytest.mark.parametrize("seed", range(8))
def test_order_is_kept_as_in_enumeration(seed):
    """The least circuit-hours over all assignments that keep the order; general enumeration."""
    from itertools import product
    random = np.random.default_rng(seed)
    n, window = 4, 14.0
    hours = random.integers(2, 9, n).astype(float)
    circuits = [set(random.choice(list("abc"), random.integers(1, 3), replace=False).tolist()) for _ in range(n)]
    before = [(int(a), int(b)) for a, b in random.integers(0, n, (3, 2)) if a != b]
    best = np.inf
    for outage in product(range(n), repeat=n):
        loads = [sum(h for h, g in zip(hours, outage, strict=True) if g == each) for each in range(n)]
        if max(loads) <= window and all(outage[a] <= outage[b] for a, b in before):
            out = [set().union(*(c for c, g in zip(circuits, outage, strict=True) if g == each)) for each in range(n)]
            best = min(best, sum(load * len(own) for load, own in zip(loads, out, strict=True)))
    got = group_items(hours, circuits, before=before, window=window)
    assert (got is None) == np.isinf(best)
    if got:
        assert got.circuit_hours == pytest.approx(best)
        assert all(got.outage[a] <= got.outage[b] for a, b in before)
        assert sorted(i for unit in units_of(n, before) for i in unit) == list(range(n))


def with_capacities(study, rows):
    (study.path.parent / "capacity.csv").write_text(
        f"structure,framing,wire,vertical,transverse,longitudinal\n{rows}", encoding="utf-8")
    study.text += '[capacity]\nfile = "capacity.csv"\n'
    return study


@pytest.mark.parametrize(("along", "window", "apart", "word"), [
    (60_000, 60, True, ""), (2000, 60, False, ""), (2000, 20, True, "of 2 kN"), ("", 60, True, "no capacity")])
def test_what_structures_bear_between_outages_is_looked_at(tmp_path, along, window, apart, word):
    """Between sections 1-3, 3-6 and 6-7 pulls of old and new wire differ by 4.3 kN in cold, as the layer
    `structure_capacity` of a mix has it (`tests/end_to_end/test_mixes.py`), and by nothing once all is pulled. Where
    that is more than the structures bear all is pulled in one outage, or there is no schedule."""
    rows = "".join(f"{name},,,90000,90000,{along}\n" for name in "36")
    study = with_capacities(two_wires(tmp_path / "study", f"window = '{window} h'"), rows)
    with open_study(study.write()) as opened:
        found = planned_of(opened, "alloy")
        outages = outages_of(found, "circuit-hours")
    if word and along:
        assert outages.grouped is None and any(word in words for words in outages.forbids)
        return
    pulls = {outage for item, outage in zip(outages.work, outages.grouped.outage, strict=True) if item.kind == "pull"}
    assert (len(pulls) > 1) == apart
    assert outages.unassessed == bool(word) and any(state.unborne for state in outages.states) == bool(word)
    assert all(word in words and "kN" in words for state in outages.states for words in state.unborne)
    assert not outages.states[0].unborne and not outages.states[-1].unborne


@pytest.mark.parametrize(("shares", "told"), [
    ((1.3, 0.5, 0.2), False), ((0.9, 1.2, 0.2), True), ((1.3, 0.5, 1.1), True), ((1.31, 0.5, 0.2), True),
    ((1.3, 0.9, np.nan), False)])
def test_what_is_too_much_today_excuses_nothing_across_it(planned, monkeypatch, shares, told):
    """Today structure 3 bears 1.3 of its capacity downwards: that is no reason to bear more than all along the line."""
    def rows(shares):
        return {"line": np.array(["main"]), "structure": np.array(["3"]), "case": np.array(["ice"]),
                "over_capacity": np.array([True], object), "of_capacity": np.array([np.nanmax(shares)]),
                "capacity": np.array(["too much"])} | {f"of_capacity_{name}": np.array([share]) for name, share in zip(
                    COMPONENTS, shares, strict=True)}

    found = [rows((1.3, 0.5, 0.2)), rows(shares)]
    monkeypatch.setattr(bearing, "of_whole_structures", lambda *_: found.pop(0))
    monkeypatch.setattr(bearing, "where_wires_change", lambda *_: ([], []))
    site, every = planned.site, planned.every
    today = bearing.borne_today(site, every)
    hangs = np.full(len(site.plan.sections), site.old, object)
    assert bool(bearing.borne(site, every, hangs, today).over) == told
