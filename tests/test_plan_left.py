"""A plan where something cannot be mended: what is left is named, no worse than it was, and never called clear."""

import importlib
import json
from dataclasses import replace
from itertools import product

import numpy as np
import pyogrio
import pytest

from corridor.planning.decision import decide
from corridor.planning.outages.files import write_outages
from corridor.planning.outages.outages import outages_of
from corridor.planning.remedies import cheapest
from corridor.planning.remedies.alterations import NONE
from corridor.planning.remedies.constraints import rules_of_choice
from corridor.planning.remedies.least_cost import least_cost
from corridor.planning.remedies.left import as_it_was, keys_at, with_leave, without_left
from corridor.planning.remedies.offered import alterations_of
from corridor.planning.remedies.plan import plan_option, site_of
from corridor.planning.remedies.taken import plan_lines, plan_parts, today_lines, write_remedies
from corridor.planning.remedies.variants import assess_variant, clears
from corridor.session import open_study
from tests.common import ask
from tests.common import run as run_main
from tests.end_to_end.conftest import EAST, NORTH, SECOND_OPTION, TinyStudy, line_of, plane
from tests.test_plan import rows_of
from tests.test_plan_guards import unassessed
from tests.test_states import two_wires

WORK = "[plan.calendar]\nstart = 2027-03-01\n"


def over_hillocks(folder, tops, more=""):
    """Six spans over a plane with hillocks below some of them, span to height [m]; structures may be raised by 1 m."""
    study = TinyStudy(folder)

    def hilly(e, n):
        return plane(e, n) + sum(top * np.exp(-((e - EAST - 150 - 300 * k) ** 2 + (n - NORTH) ** 2) / 60**2)
                                 for k, top in tops.items())

    study.structures = line_of(7)
    study.write_ground(hilly, high=(EAST + 2200, NORTH + 400))
    study.change('[right_of_way]\nhalf_width = "30 m"', "")
    study.text += f'\n[plan]\nremedies = ["raise"]\nlargest_raise = 1\nstep = 1.0\n{more}'
    return study


def worst(variant):
    """The margin of each violation of a variant that has no structure more [m]: the least of any wire."""
    v, found = variant.layers["violations"], {}
    for key in zip(*(v[name] for name in ("span", "case", "against", "obstacle", "measure", "position",
                                          "margin_m")), strict=True):
        found[key[:-1]] = min(found.get(key[:-1], 0.0), key[-1])
    return found


def parts(study):
    """The plan of what hangs on a study."""
    with open_study(study.write()) as opened:
        return plan_option(site_of(opened.inputs, "today"))


# The programme


@pytest.mark.parametrize("seed", range(12))
def test_fewest_things_are_left_and_of_such_the_cheapest(seed):
    """Against enumeration of all steps and of all that may be left."""
    random = np.random.default_rng([seed, 3])
    A = np.where(random.random((5, 3)) < 0.6, random.uniform(-0.4, 1, (5, 3)), 0)
    need = random.uniform(0.2, 2.5, 5)
    whole = np.c_[A, np.diag(need)]
    best = (np.inf, np.inf)
    for n in product(range(4), repeat=3):
        lacks = A @ np.array(n, float) * 0.5 < need - 1e-9
        if (A @ np.array(n, float) * 0.5 >= -1e-9)[lacks].all():
            best = min(best, (int(lacks.sum()), np.count_nonzero(n) + 0.3 * sum(n)))
    got = least_cost(rows_of(whole, need), step=[0.5] * 3 + [1] * 5, most=[3] * 3 + [1] * 5,
                     fixed=[1] * 3 + [0] * 5, per_step=[0.3] * 3 + [0] * 5, leave=np.arange(8) > 2)
    assert got.feasible and got.left == best[0] and got.cost == pytest.approx(best[1], abs=1e-6)
    assert (got.short > 1e-7).any() == (got.left > 0)


def test_what_may_not_be_left_is_not():
    """A row that no column leaves, and one that is not a number, are met by nothing."""
    for need in ([1.0, 9.0], [1.0, np.nan]):
        got = least_cost(rows_of([[0, 1], [1, 0]], need), step=1, most=[4, 1], fixed=1, per_step=0.1,
                         leave=[False, True])
        assert not got.feasible


@pytest.mark.parametrize("status", [0, 1])
def test_what_was_not_proven_the_fewest_says_of_no_cost_how_far_it_is_above_the_least(monkeypatch, status):
    """The time is up where things left are counted: status 1 of `scipy.optimize.milp`."""
    def hurried(cost, **keys):
        result = programmes.solve_programme(cost, **keys)
        result.status = status if set(cost) == {0.0, 1.0} else result.status
        return result

    programmes = importlib.import_module("corridor.planning.programme")
    monkeypatch.setattr(importlib.import_module("corridor.planning.remedies.least_cost"), "solve_programme", hurried)
    got = least_cost(rows_of([[1, 0, 5.0], [1, 4.0, 0]], [5.0, 4.0]), step=1, most=[4, 1, 1], fixed=0,
                     per_step=[0.1, 0, 0], leave=[False, True, True])
    assert got.feasible and got.left == 1 and np.isnan(got.bound) == bool(status)


# The plan


def test_all_that_can_be_mended_is_and_the_rest_is_named(tmp_path, capsys):
    """A hillock of 7 m asks for far more than 1 m of raises, one of 3.6 m for less. No calendar is made."""
    study, folder = over_hillocks(tmp_path / "study", {1: 3.6, 4: 7.0}, WORK), tmp_path / "plan"
    assert run_main("plan", study.write(), "--option", "today", "--folder", folder) == 1
    told = capsys.readouterr().out
    assert "NOT CLEAR" in told and "to first order" in told and "Outages: none are planned" in told
    assert not list(folder.glob("calendar.*")) and not (folder / "states.csv").exists()
    layers = {name for name, _ in pyogrio.list_layers(folder / "plan.gpkg")}
    assert {"plan", "left"} <= layers and not {"work_items", "outages", "calendar"} & layers
    left, done = (pyogrio.read_dataframe(folder / "plan.gpkg", layer=name) for name in ("left", "plan"))
    before = {key[0] for key in worst(parts(study).before)}
    assert set(left.span) == {"5-6"} and before == {"2-3", "5-6"}
    assert set(done.remedy) == {"raise"} and set(done["where"]) <= {"1", "2", "3", "4"}
    # The copy is a study of its own: its findings have just what is left, by as much, and its check ends with 1.
    v = pyogrio.read_dataframe(folder / "findings.gpkg", layer="violations")
    assert set(v.span) == {"5-6"} and v.margin_m.min() == pytest.approx(left.margin_m.min(), abs=1e-6)
    assert run_main("check", folder / "study.toml", "--overwrite") == 1
    assert (left.margin_m >= left.margin_before_m - 1e-3).all()


@pytest.mark.parametrize("tops", [{1: 3.6, 4: 7.0}, {2: 3.6, 3: 7.0}, {0: 3.6, 1: 5.0, 4: 4.0}])
def test_no_combination_leaves_fewer_or_as_few_at_less_cost(tmp_path, tops):
    """All combinations are looked at in full; of what they leave none may be worse than it was, by a millimetre."""
    planned = parts(over_hillocks(tmp_path / "study", tops))
    m, site, before = planned.remedies, planned.site, planned.before
    was, rules = worst(before), rules_of_choice(m)
    assert planned.holds and not planned.cleared and len(m) <= 7

    def left(variant):
        found = worst(variant)
        whole = clears(replace(variant, layers=variant.layers | {"violations": {
            name: values[:0] for name, values in variant.layers["violations"].items()}}), before)
        return len(found) if whole and all(margin >= was.get(key, np.inf) - 1e-3 for key, margin in found.items()) \
            else np.inf

    ways = [np.array(steps) for steps in product(range(2), repeat=len(m))]
    ranks = [(left(assess_variant(site, alterations_of(site, m, steps), before)), m.cost(steps).sum())
             for steps in ways if (rules.A @ (steps * m.step) >= rules.need - 1e-9).all()]
    best = min(ranks)
    assert (left(planned.after), planned.cost) == pytest.approx(best)
    assert 0 < best[0] < len(was) and best[1] > 0


def test_the_plan_of_what_can_be_mended_is_that_without_the_rest(tmp_path):
    """The same hillock by itself asks for the same remedies at the same cost."""
    both = parts(over_hillocks(tmp_path / "both", {1: 3.6, 4: 7.0}))
    alone = parts(over_hillocks(tmp_path / "alone", {1: 3.6}))
    assert alone.cleared and both.cost == alone.cost and both.status == 1
    assert [c.rise for c in both.after.alterations.changes] == [c.rise for c in alone.after.alterations.changes]


def test_where_nothing_at_all_can_be_mended_there_is_no_plan(tmp_path):
    planned = ask(over_hillocks(tmp_path / "study", {4: 7.0}).write(), "plan", "today", tmp_path / "plan")
    assert planned.status == 1 and not planned.holds and not planned.left and planned.checked is None
    assert any("ground (vertical) lacks" in words for words in planned.forbids)
    assert plan_lines(planned)[1].startswith("No plan") and not plan_parts(planned)["remedies"]
    assert not (tmp_path / "plan" / "study.toml").exists()


def test_machines_are_told_what_is_left(tmp_path, capsys):
    study = over_hillocks(tmp_path / "study", {1: 3.6, 4: 7.0})
    assert run_main("plan", study.write(), "--option", "today", "--folder", tmp_path / "plan", "--json") == 1
    told = json.loads(capsys.readouterr().out)
    assert not told["cleared"] and told["status"] == 1 and told["forbids"] and told["outages"] == []
    assert {row["span"] for row in told["left"]} == {"5-6"} and told["remedies"]
    assert told["check"]["violations"] == len(told["left"]) and all(row["why"] for row in told["left"])


def test_section_in_which_no_remedies_hold_is_left_as_it_is(tmp_path, monkeypatch):
    """Whatever is done in one section, the thing there can no more be assessed; another section is put right."""
    real = cheapest.assess_variant

    def blind(site, alterations=None, earlier=(), progress=None):
        found, before = real(site, alterations), real(site)
        if not any(change != NONE for change in alterations.changes[2:6]):
            return found
        lost = unassessed(before, before.layers["violations"]["span"] == "5-6").layers["not_assessed"]
        return replace(found, layers=found.layers | {"not_assessed": lost})

    monkeypatch.setattr(cheapest, "assess_variant", blind)
    planned = parts(over_hillocks(tmp_path / "study", {0: 3.6, 4: 3.6}))
    assert planned.holds and not planned.cleared and planned.status == 1 and np.isnan(planned.gap)
    assert [s for s, change in enumerate(planned.after.alterations.changes) if change != NONE] == [0, 1]
    assert {key[0] for key in planned.left} == {4} and "no remedies held" in "; ".join(planned.left.values())
    assert "section 3-6: no remedies held" in planned.forbids and planned.after.unassessed <= planned.before.unassessed


# What may stay


def test_what_is_mended_all_the_same_is_not_left(held):
    """A programme leaves all; of that a look finds one span clear."""
    was = as_it_was(held.before)
    search = cheapest._Search(replace(held.basis, remedies=with_leave(held.remedies, len(was)), was=was), None)
    kept = search.mended_too(np.r_[held.steps, np.ones(len(was), int)], held.after)
    assert set(search.left_by(kept)) == set(as_it_was(held.after)) == set(held.left) < set(was)
    assert kept[:len(held.steps)].tolist() == held.steps.tolist()


@pytest.fixture
def held(tmp_path):
    return parts(over_hillocks(tmp_path / "study", {1: 3.6, 4: 7.0}))


def changed(variant, layer, column, values):
    return replace(variant, layers=variant.layers | {layer: variant.layers[layer] | {column: values}})


@pytest.mark.parametrize(("less", "holds"), [(0.0, True), (5e-4, True), (2e-3, False), (np.nan, False)])
def test_what_is_left_is_no_worse_than_it_was(held, less, holds):
    v = held.after.layers["violations"]
    was = as_it_was(held.before)
    margin = np.array([was[key] - less for key in keys_at(held.after, v)])
    after = changed(held.after, "violations", "margin_m", margin)
    planned = replace(held, after=after)
    assert planned.holds == holds and not planned.cleared and planned.status == 1


def test_no_other_violation_may_stay(held):
    """Neither one of another thing, nor one of another case, nor what was there and is not left."""
    v, count = held.after.layers["violations"], len(held.after.layers["violations"]["margin_m"])
    for column, value in (("obstacle", "other:1"), ("against", "road"), ("case", "other")):
        assert not replace(held, after=changed(held.after, "violations", column, np.full(count, value, object))).holds
    assert v["margin_m"].max() < 0 and not replace(held, left={}).holds
    assert not replace(held, after=held.before).holds


def test_a_lifted_string_may_stay_where_it_is_lifted_no_more(held):
    """A string that the wires lift by as much as before, or by 2 N more, or that was not lifted before."""
    loads = held.before.layers["structure_loads"]
    own = np.arange(len(loads["lifted"])) == 0
    key = tuple(loads[name][0] for name in ("line", "structure", "wire", "case"))
    before = changed(held.before, "structure_loads", "lifted", own)
    was = as_it_was(before)
    assert key in was
    for pull, stays in ((0.0, True), (2.0, False)):
        now = changed(before, "structure_loads", "vertical_n", loads["vertical_n"] - pull * own)
        assert bool(without_left(now, was, was).lifted) != stays
    assert without_left(before, was, {}).lifted == {key}
    with pytest.raises(KeyError):
        without_left(before, as_it_was(held.before), {key})


def test_whatever_is_done_no_state_of_it_is_scheduled(held, tmp_path):
    assert outages_of(held) is None
    written, lines = write_outages(held, tmp_path)
    assert not written and any("violations that are left" in line for line in lines)
    write_remedies(held, tmp_path, alone=False)
    assert {name for name, _ in pyogrio.list_layers(tmp_path / "plan.gpkg")} == {"plan", "left"}


def test_a_way_with_violations_left_is_no_way_to_a_rating(tmp_path):
    """The new wire clears but for one span at its temperature: a plan by itself, no answer to what gives the rating."""
    study = two_wires(tmp_path / "study", "window = '60 h'\nlargest_raise = '1 m'\n")
    with open_study(study.write()) as opened:
        site = site_of(opened.inputs, "alloy")
        planned = plan_option(site)
        assert planned.holds and not planned.cleared
        index = [each.name for each in site.facts.options].index("alloy")
        most = float(site.facts.heat.current_at(index, site.wiring.maximum_temperature))
        decision = decide(opened, f"{most - 1:.0f}", options=["alloy"])
    assert decision.best is None and decision.ways
    assert all("no remedies clear" in way.refused or "carries" in way.refused for way in decision.ways)
    assert any(way.planned is not None and way.planned.holds for way in decision.ways)
    assert all(way.row["remedies"] is None for way in decision.ways)


def test_on_the_cost_curve_it_is_no_plan_and_has_no_gap(tmp_path):
    study = over_hillocks(tmp_path / "study", {1: 3.6, 4: 7.0})
    for point in ask(study.write(), "plan_cost_curve", "today", steps=2):
        assert point.forbids and not point.remedies and np.isnan(point.cost) and np.isnan(point.gap)


def test_what_today_needs_is_told_with_what_is_left(tmp_path):
    study = over_hillocks(tmp_path / "study", {1: 3.6, 4: 7.0})
    study.change("[[cases]]", SECOND_OPTION.replace("150", "80") + "\n[[cases]]")
    planned = ask(study.write(), "plan", "alloy", tmp_path / "plan")
    today = planned.today
    assert today.holds and not today.cleared
    assert today_lines(today)[0].endswith(f"cannot remedy; {today.cost:g} remedies by itself all but "
                                          f"{len(plan_parts(today)['left'])}")
    assert not any("buy rating" in line for line in plan_lines(planned))
