"""The cheapest raises against enumeration and textbooks, and a study that the plan puts right."""

import os
from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from scipy.optimize import Bounds
from scipy.sparse import csr_array

from corridor.inputs.study_inputs import read_inputs
from corridor.planning.programme import _nothing_written, solve_programme
from corridor.planning.remedies.alterations import Change, Place, unaltered
from corridor.planning.remedies.constraints import Basis, constraints_of
from corridor.planning.remedies.least_cost import Constraints, least_cost
from corridor.planning.remedies.offered import alterations_of, offered_remedies, with_places
from corridor.planning.remedies.plan import site_of
from corridor.planning.remedies.variants import assess_variant, keys_of
from corridor.study import load_study
from tests.common import ask
from tests.end_to_end.conftest import EAST, NORTH, TinyStudy, line_of, plane


def rows_of(matrix, need):
    return Constraints(csr_array(np.asarray(matrix, float)), np.asarray(need, float),
                       np.array([f"row {i}" for i in range(len(need))], object))


@pytest.mark.parametrize("seed", range(12))
def test_optimum_is_that_of_enumeration(seed):
    random = np.random.default_rng(seed)
    A = np.where(random.random((5, 4)) < 0.6, random.uniform(-0.3, 1, (5, 4)), 0)
    need = random.uniform(-0.5, 2.5, 5)
    fixed, per_step, most = 1.0, 0.3, 4
    costs = [fixed * np.count_nonzero(n) + per_step * sum(n) for n in product(range(most + 1), repeat=4)
             if (A @ np.array(n, float) * 0.5 >= need - 1e-9).all()]
    got = least_cost(rows_of(A, need), step=0.5, most=most, fixed=fixed, per_step=per_step)
    assert got.feasible == bool(costs)
    if costs:
        assert got.cost == pytest.approx(min(costs), abs=1e-6)
        assert got.gap == pytest.approx(0, abs=1e-5)
        assert (A @ got.steps * 0.5 >= need - 1e-6).all()


def test_set_cover_of_a_textbook():
    """Cormen, Leiserson, Rivest, Stein, Introduction to Algorithms, figure 35.3: least cover 3, greedy 4 (recalled)."""
    sets = ([1, 2, 3, 4, 5, 6], [5, 6, 8, 9], [1, 4, 7, 10], [2, 5, 7, 8, 11], [3, 6, 9, 12], [10, 11])
    A = np.array([[element in each for each in sets] for element in range(1, 13)], float)
    got = least_cost(rows_of(A, np.ones(12)), step=1, most=1, fixed=1, per_step=0)
    assert got.cost == pytest.approx(3)
    assert got.steps.tolist() == [0, 0, 1, 1, 1, 0]


def test_a_demand_that_nothing_meets_is_named():
    got = least_cost(rows_of([[1, 0], [0, 0.5]], [1, 9]), step=1, most=4, fixed=1, per_step=0.1)
    assert not got.feasible
    assert got.short == pytest.approx([0, 7])


def test_example_of_the_documentation():
    """A third of the way along, 0.9 m short: near end alone 1.5 m, cost 1 + 3 x 0.1 (docs/theory_plan.md, by hand)."""
    got = least_cost(rows_of([[2 / 3, 1 / 3]], [0.9]), step=0.5, most=4, fixed=1, per_step=0.1)
    assert got.steps.tolist() == [3, 0]
    assert got.cost == pytest.approx(1.3)


def test_second_example_of_the_documentation():
    """A post of 1.4 m at the near end lifts by 0.93 m for 1.2: the cheapest (docs/theory_plan.md, by hand)."""
    got = least_cost(rows_of([[2 / 3, 1 / 3, 1.4 * 2 / 3]], [0.9]), step=[0.5, 0.5, 1], most=[4, 4, 1],
                     fixed=[1, 1, 1.2], per_step=[0.1, 0.1, 0])
    assert got.steps.tolist() == [0, 0, 1]
    assert got.cost == pytest.approx(1.2)


def short_study(folder, *, hole=None, lower=0.0):
    """Six spans over a plane on which a hillock lies below three of them; `lower` takes of each [m]."""
    study = TinyStudy(folder)

    def hilly(e, n):
        z = plane(e, n)
        for place, top in ((450, 6.0), (750, 6.5), (1050, 5.0)):
            z = z + (top - lower) * np.exp(-((e - 500_000 - place) ** 2 + (n - NORTH) ** 2) / 60**2)
        return z

    study.structures = line_of(7)
    study.write_ground(hilly, high=(EAST + 2200, NORTH + 400), unknown=hole)
    study.change('[right_of_way]\nhalf_width = "30 m"', "")
    return study


def test_planned_copy_clears_with_status_0(tmp_path):
    study = short_study(tmp_path / "study")
    planned = ask(study.write(), "plan", "today", tmp_path / "plan")
    assert planned.before.short >= 3
    assert planned.cleared and any(change.rise for change in planned.after.alterations.changes)
    assert planned.status == 0 and planned.checked.status == 0
    assert study.check().result.status == 1


def test_unknown_ground_stays_unknown(tmp_path):
    study = short_study(tmp_path / "study", hole=lambda e, n: (e > 500_100) & (e < 500_130))
    planned = ask(study.write(), "plan", "today", tmp_path / "plan")
    assert planned.cleared
    assert planned.status == 3, "a plan must not read as clear where the ground is unknown"


def test_without_a_search_for_a_cheaper_plan_the_first_that_clears_is_told(tmp_path):
    """It is no cheaper, and no plan of the other is below its bound."""
    found = []
    for name, spans in (("short", 0), ("long", 600)):
        study = short_study(tmp_path / name)
        study.text += f"\n[plan]\nsearch_spans = {spans}\n"
        found.append(ask(study.write(), "plan", "today", tmp_path / name / "plan"))
    short, long = found
    cost = [each.remedies.cost(each.steps).sum() for each in found]
    assert short.cleared and short.status == 0 and cost[0] >= cost[1]
    assert short.gap >= 1 - cost[1] / cost[0] - 1e-9 and long.gap == pytest.approx(0, abs=1e-6)


def test_too_small_a_raise_is_told(tmp_path):
    study = short_study(tmp_path / "study")
    study.text += '\n[plan]\nlargest_raise = "0.5 m"\nremedies = ["raise"]\n'
    planned = ask(study.write(), "plan", "today", tmp_path / "plan")
    assert planned.status == 1 and not planned.cleared
    assert any("ground (vertical) lacks" in words for words in planned.forbids)


def test_lift_of_a_raise_against_strung_anew(tmp_path):
    """The chord lifts linearly; the section strung anew lifts the wire by the same within 10 % of the raise.

    The exact model strings the section again with the slopes of its spans changed, so that the tension changes a
    little, and strings of neighbours lean: neither is in the coefficient. Full assessments, not coefficients, decide.
    """
    study = short_study(tmp_path / "study")
    study.text += '\n[plan]\nremedies = ["raise"]\n'
    inputs = read_inputs(load_study(study.write()))
    with inputs.terrain:
        site = site_of(inputs, "today")
        base = assess_variant(site)
        remedies = offered_remedies(site, base)[0]
        rows = constraints_of(Basis(site, remedies, base), base, np.zeros(len(remedies)))
        for s, r in ((1, 0.5), (2, 1.0), (3, 1.0)):
            steps = np.where(remedies.place == s, r / remedies.step, 0.0)
            moved = assess_variant(site, alterations_of(site, remedies, steps))
            expected = rows.A @ (steps * remedies.step)
            before, after = _margins(base), _margins(moved)
            keys = [key for key in before if key in after and base_is_near(base, key)]
            assert len(keys) >= 3
            by_name = dict(zip(rows.name, expected, strict=True))
            for key in keys:
                assert after[key] - before[key] == pytest.approx(by_name[key[1]], abs=0.1 * r)


@pytest.mark.parametrize("order", [("none", "raised"), ("none", "strain"), ("strain", "none"), ("strain", "added"),
                                   ("added", "raised"), ("both", "strain"), ("both", "none")])
def test_variant_that_takes_over_is_a_whole_one(tmp_path, order):
    """Every number of a variant that took over what did not change is that of all spans assessed anew, also where
    sections are others than before."""
    inputs = read_inputs(load_study(short_study(tmp_path / "study").write()))
    with inputs.terrain:
        site = site_of(inputs, "today")
        site = with_places(site, assess_variant(site))
        none, free = unaltered(site), [span for span, place in site.places.items() if isinstance(place, Place)]

        def with_(structure, change):
            return replace(none, changes=tuple(change if s == structure else each
                                               for s, each in enumerate(none.changes)))

        strain, added = with_(4, Change(string="strain")), {"added": np.array(free[:1])}
        made = {"none": none, "raised": with_(4, Change(1.0)), "strain": strain, "added": replace(none, **added),
                "both": replace(strain, **added)}
        first, then = (made[name] for name in order)
        part, whole = assess_variant(site, then, assess_variant(site, first)), assess_variant(site, then)
    assert len(free) and 0 < part.fresh_spans < len(part.line.plan.spans)
    assert_alike(part, whole)


def test_variant_takes_over_from_several(tmp_path):
    """A raise in one section was looked at, and one in another: with both nothing is looked at anew, nor is it if what
    the second look did not find itself is forgotten; and every number is that of all spans assessed anew."""
    inputs = read_inputs(load_study(short_study(tmp_path / "study").write()))
    with inputs.terrain:
        site = site_of(inputs, "today")
        none = unaltered(site)

        def raised(*structures):
            return replace(none, changes=tuple(Change(1.0) if s in structures else each
                                               for s, each in enumerate(none.changes)))

        before = assess_variant(site)
        first, second = (assess_variant(site, raised(s), before) for s in (1, 4))
        both, whole = assess_variant(site, raised(1, 4), (first, second.alone, before)), assess_variant(
            site, raised(1, 4))
        one = assess_variant(site, raised(1, 4), (first, before))
        back = assess_variant(site, none, (both, first.alone, second.alone, before))
        other = assess_variant(site, raised(1, 3), (first, second.alone))
    assert {name for _, name in first.fresh} == {"1-3"} and {name for _, name in second.fresh} == {"3-6"}
    assert set(second.alone.layers["clearances"]["section"]) == {"3-6"} and second.alone.held == second.fresh
    assert both.fresh_spans == 0 == back.fresh_spans and one.fresh == second.fresh == other.fresh
    for part, all_ in ((both, whole), (one, whole), (back, before)):
        assert_alike(part, all_)


def assert_alike(part, whole):
    """Every number of one variant is that of another."""
    for layer, columns in whole.layers.items():
        keys = [name for name in ("line", "section", "span", "structure", "wire", "wire_kind", "option", "case",
                                  "against", "obstacle", "measure", "position", "reason", "section_side")
                if name in columns]
        one, other = (np.argsort([repr(key) for key in keys_of(each, keys)], kind="stable")
                      for each in (part.layers[layer], columns))
        assert len(one) == len(other)
        for name, values in columns.items():
            found = part.layers[layer][name][one]
            if values.dtype.kind == "f":
                # A structure more has an elevation of its own, which what follows is farther off by.
                near = 1e-3 if name == "station_m" else 1e-6
                assert found == pytest.approx(values[other], abs=near, nan_ok=True), (layer, name)
            elif name != "geometry":
                assert (found == values[other]).all(), (layer, name)


def _words(c, i):
    return (f"{c['span'][i]}, wire {c['wire'][i]}, {c['case'][i]}, {c['obstacle'][i] or c['against'][i]} "
            f"({c['measure'][i]})")


def _margins(variant):
    c = variant.layers["clearances"]
    return {(c["line"][i], _words(c, i)): c["margin_m"][i] for i in range(len(c["margin_m"]))}


def base_is_near(variant, key):
    return _margins(variant)[key] < 0


def test_the_solver_writes_nothing(capfd):
    """Not even past Python, to the descriptor of standard output, and that is open again afterwards."""
    with _nothing_written():
        os.write(1, b"a word of the solver")
    assert solve_programme([1.0], bounds=Bounds(2, 3), integrality=[1]).x == [2]
    os.write(1, b"after")
    assert capfd.readouterr().out == "after"
