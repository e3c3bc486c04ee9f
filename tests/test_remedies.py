"""Raises as facts, first-order lifts, and volumes by hand."""

from dataclasses import replace

import numpy as np
import pytest

from corridor.inputs.study_inputs import read_inputs
from corridor.planning.remedies.alterations import Change, unaltered
from corridor.planning.remedies.constraints import end_shares, lift_way, uplift_rows
from corridor.planning.remedies.each_alone import each_alone
from corridor.planning.remedies.plan import plan_option, site_of
from corridor.planning.remedies.variants import assess_variant
from corridor.study import load_study
from tests.test_plan import short_study


def clearance(measure, position, actual, wire, other, *, along=75.0, bundle=0.0):
    return {"distance_from_start_m": np.array([along]), "wire_elevation_m": np.array([wire]),
            "other_elevation_m": np.array([other]), "actual_m": np.array([actual]), "position": np.array([position]),
            "measure": np.array([measure]), "bundle_m": np.array([bundle])}


@pytest.mark.parametrize(("row", "expected"), [
    (clearance("vertical", "above", 6.0, 106.0, 100.0), (0.75, 0.25)),
    (clearance("vertical", "below", 3.0, 106.0, 109.0), (-0.75, -0.25)),
    (clearance("radial", "beside", 5.0, 103.0, 100.0), (0.45, 0.15)),
    (clearance("radial", "beside", 4.8, 103.0, 100.0, bundle=0.2), (0.45, 0.15)),
    (clearance("horizontal", "beside", 5.0, 103.0, np.nan), (0.0, 0.0))])
def test_lift_by_hand(row, expected):
    """A quarter of the way along, the near end counts three quarters; a slant of 3 in 5 counts 0.6 of it, of a bundle
    that of its middle."""
    assert lift_way(row) * np.concatenate(end_shares(row, np.array([300.0]))) == pytest.approx(expected)


def test_uplift_by_hand():
    """H = 20 kN, spans of 300 and 400 m: a raise of the middle adds 20000 (1/300 + 1/400) N/m = 116.67 N/m."""
    tension = np.array([[20e3 / 300, 20e3 / 400]])
    pull, room = uplift_rows({"vertical_n": np.array([1000.0])}, tension, np.array([400.0]))
    assert pull[:, 0] == pytest.approx([-66.67, 116.67, -50.0], abs=0.01)
    assert room == pytest.approx([400.0])


def test_remedies_are_exact(tmp_path):
    """A raise that is told to clear does, assessed in full, and one step less does not."""
    study = short_study(tmp_path / "study")
    study.text += '\n[plan]\nremedies = ["raise", "grade"]\n'
    inputs = read_inputs(load_study(study.write()))
    with inputs.terrain:
        site = site_of(inputs, "today")
        planned = plan_option(site)
        rows = each_alone(planned, {"other": set()})
        raised = np.flatnonzero((rows["remedy"] == "raise one structure") & (rows["clears"] == True))  # noqa: E712
        assert len(raised) >= 2
        for i in raised[:2]:
            at = int(np.flatnonzero(site.facts.structures.structure == rows["where"][i])[0])
            for amount, clears in ((rows["amount"][i], True), (rows["amount"][i] - site.prices.step, False)):
                none = unaltered(site)
                changes = tuple(Change(amount) if s == at else each for s, each in enumerate(none.changes))
                c = assess_variant(site, replace(none, changes=changes)).layers["clearances"]
                same = (c["span"] == rows["span"][i]) & (c["against"] == rows["against"][i])
                assert (c["margin_m"][same].min() >= 0) == clears
                if clears:
                    assert c["margin_m"][same].min() == pytest.approx(rows["margin_after_m"][i], abs=1e-6)
    assert set(rows["remedy"]) >= {"raise both structures", "derate", "grade the ground", "choose another option"}
    told = {remedy: note for remedy, note in zip(rows["remedy"], rows["note"], strict=True) if note}
    assert told["add a structure"] == "not offered: the study does not have it in plan.remedies"
