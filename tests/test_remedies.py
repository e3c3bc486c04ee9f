"""Raises as facts, first-order lifts, and volumes by hand."""

from dataclasses import replace

import numpy as np
import pytest

from corridor.inputs.study_inputs import read_inputs
from corridor.planning.remedies.alterations import as_it_stands
from corridor.planning.remedies.changes import Change, lift_rows, raise_structures, uplift_rows
from corridor.planning.remedies.each_alone import list_remedies
from corridor.planning.remedies.plan import plan_option, site_of
from corridor.planning.remedies.variants import look
from corridor.study import load_study
from tests.test_plan import short_study


def clearance(measure, position, actual, wire, other, along=75.0):
    return {"distance_from_start_m": np.array([along]), "wire_elevation_m": np.array([wire]),
            "other_elevation_m": np.array([other]), "actual_m": np.array([actual]), "position": np.array([position]),
            "measure": np.array([measure])}


@pytest.mark.parametrize(("row", "expected"), [
    (clearance("vertical", "above", 6.0, 106.0, 100.0), (0.75, 0.25)),
    (clearance("vertical", "below", 3.0, 106.0, 109.0), (-0.75, -0.25)),
    (clearance("radial", "beside", 5.0, 103.0, 100.0), (0.45, 0.15)),
    (clearance("horizontal", "beside", 5.0, 103.0, np.nan), (0.0, 0.0))])
def test_lift_by_hand(row, expected):
    """A quarter of the way along, the near end counts three quarters; a slant of 3 in 5 counts 0.6 of it."""
    _, structure, lift = lift_rows(row, np.array([4]), np.array([5]), np.array([300.0]))
    assert structure.tolist() == [4, 5]
    assert lift == pytest.approx(expected)


def test_uplift_by_hand():
    """H = 20 kN, spans of 300 and 400 m: a raise of the middle adds 20000 (1/300 + 1/400) N/m = 116.67 N/m."""
    tension = np.array([[20e3 / 300, 20e3 / 400]])
    _, structure, a, room = uplift_rows({"vertical_n": np.array([1000.0])}, np.array([[0, 1, 2]]), tension,
                                        np.array([400.0]))
    assert structure.tolist() == [0, 1, 2]
    assert a == pytest.approx([-66.67, 116.67, -50.0], abs=0.01)
    assert room == pytest.approx([400.0])


def test_remedies_are_exact(tmp_path):
    """A raise that is told to clear does, in a full look, and one step less does not."""
    study = short_study(tmp_path / "study")
    study.text += '\n[plan]\nremedies = ["raise", "grade"]\n'
    inputs = read_inputs(load_study(study.write()))
    with inputs.terrain:
        site = site_of(inputs, "today")
        planned = plan_option(site)
        rows = list_remedies(planned, {"other": set()})
        raised = np.flatnonzero((rows["remedy"] == "raise one structure") & (rows["clears"] == True))  # noqa: E712
        assert len(raised) >= 2
        for i in raised[:2]:
            at = int(np.flatnonzero(site.facts.structures.structure == rows["where"][i])[0])
            for amount, clears in ((rows["amount"][i], True), (rows["amount"][i] - site.prices.step, False)):
                edits = as_it_stands(site)
                changes = tuple(Change(amount) if s == at else each for s, each in enumerate(edits.changes))
                c = look(site, replace(edits, changes=changes)).layers["clearances"]
                same = (c["span"] == rows["span"][i]) & (c["against"] == rows["against"][i])
                assert (c["margin_m"][same].min() >= 0) == clears
                if clears:
                    assert c["margin_m"][same].min() == pytest.approx(rows["margin_after_m"][i], abs=1e-6)
    assert set(rows["remedy"]) >= {"raise both structures", "derate", "grade the ground", "choose another option"}
    told = {remedy: note for remedy, note in zip(rows["remedy"], rows["note"], strict=True) if note}
    assert told["add a structure"] == "not offered: the study does not have it in plan.remedies"


def test_raise_lifts_all_wires_of_one_structure_alone(tmp_path):
    inputs = read_inputs(load_study(short_study(tmp_path / "study").write()))
    inputs.terrain.close()
    x, f = inputs.structures, inputs.framings
    height = np.zeros(len(x))
    height[1] = 2.0
    y, g = raise_structures(x, f, height)
    assert (y.framing != x.framing).tolist() == [i == 1 for i in range(len(x))]
    old, new = f.height[f.framing == x.framing[1]], g.height[g.framing == y.framing[1]]
    assert new == pytest.approx(old + 2)
    assert g.height[: len(f.height)] == pytest.approx(f.height)
