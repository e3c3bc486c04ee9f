"""What a planner is told must hold: limits that are not known, places where nobody builds, status and answers."""

from dataclasses import replace

import numpy as np
import pytest

from corridor.planning.conductor_search import screening
from corridor.planning.remedies.offered import offered_remedies
from corridor.planning.remedies.plan import plan_option, site_of
from corridor.planning.remedies.variants import assess_variant
from tests.test_design import COARSE, heat, line, today
from tests.test_plan_guards import both_options, opened

TAUT = "largest_tightening = 0.4\nlargest_load_ratio = 1.5"


def with_columns(variant, layer, **columns):
    """The variant with other columns in a layer."""
    return replace(variant, layers=variant.layers | {layer: variant.layers[layer] | columns})


@pytest.fixture(scope="module")
def tautened(tmp_path_factory):
    """A plan that strings sections of a new wire tauter than their limits, within a ratio to the wire of today."""
    inputs = opened(both_options(tmp_path_factory.mktemp("tautened") / "study", 'remedies = ["tighten"]\n' + TAUT))
    with inputs.terrain:
        planned = plan_option(site_of(inputs, "alloy"))
    assert planned.cleared and (planned.after.alterations.tightened > 0).any()
    return planned


# Limits that are not known


def test_component_without_a_load_of_today_is_no_ratio_that_is_kept(tautened):
    """Today no load along the line is borne: what a terminal would take then is not told by the other components."""
    loads = tautened.after.layers["structure_loads"]
    terminal = loads["role"] == "terminal"
    assert terminal.any() and (np.abs(loads["longitudinal_n"][terminal]) > 1000).all()
    after = with_columns(tautened.after, "structure_loads", ratio_longitudinal=np.where(
        terminal, np.nan, loads["ratio_longitudinal"].astype(float)))
    assert not replace(tautened, after=after).cleared
    little = np.where(terminal, 100.0, loads["longitudinal_n"].astype(float))
    none = with_columns(after, "structure_loads", longitudinal_n=little)
    assert replace(tautened, after=none).cleared, "next to none"


def test_strength_that_is_not_known_is_not_kept(tautened):
    """A section without an answer in a case that asks for tension is not strung tauter, and no plan holds with it."""
    sections = tautened.after.layers["sections"]
    unknown = np.where(sections["wire_kind"] == "phase", np.nan, sections["percent_rts"])
    assert not replace(tautened, after=with_columns(tautened.after, "sections", percent_rts=unknown)).cleared
    rows = tautened.before.layers["sections"]
    before = with_columns(tautened.before, "sections", percent_rts=np.where(
        (rows["section"] == "3-6") & (rows["wire_kind"] == "phase"), np.nan, rows["percent_rts"]))
    remedies, _ = offered_remedies(tautened.site, before)
    names = tautened.site.plan.sections.name[remedies.place[remedies.kind == "tighten"]]
    assert names.tolist() == ["1-3"]


def test_component_of_today_that_is_not_known_offers_no_tightening(tmp_path):
    inputs = opened(both_options(tmp_path / "study", TAUT))
    with inputs.terrain:
        site = site_of(inputs, "alloy")
        before = assess_variant(site)
        loads = before.layers["structure_loads"]
        unknown = with_columns(before, "structure_loads", ratio_vertical=np.where(
            loads["section"] == "3-6", np.nan, loads["ratio_vertical"].astype(float)))
        remedies, _ = offered_remedies(site, unknown)
    assert site.plan.sections.name[remedies.place[remedies.kind == "tighten"]].tolist() == ["1-3"]


def test_candidate_whose_heat_is_not_known_meets_nothing(monkeypatch):
    """Where it is not known how hot a wire may be, the greatest temperature of its materials is no answer."""
    assert screening.screen(COARSE, line(), heat((today(),))).meets.any()
    known = screening.temperature_for_tension
    monkeypatch.setattr(screening, "temperature_for_tension", lambda *given: np.nan * known(*given))
    assert not screening.screen(COARSE, line(), heat((today(),))).meets.any()
