"""What a planner is told must hold: limits that are not known, places where nobody builds, status and answers."""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from corridor.planning.conductor_search import screening
from corridor.planning.remedies.each_alone import each_alone
from corridor.planning.remedies.offered import offered_remedies
from corridor.planning.remedies.plan import plan_option, site_of
from corridor.planning.remedies.variants import assess_variant
from tests.common import ask
from tests.end_to_end.conftest import EAST, NORTH
from tests.end_to_end.test_point_clouds import CLOUD, write_tile
from tests.test_design import COARSE, heat, line, today
from tests.test_plan_guards import both_options, hillock_at, opened

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


# Where nobody builds


def added(folder, *, more="", prepare=None):
    """A plan of one span that falls short of a hillock at 450 m, by a structure more alone."""
    study = hillock_at(folder, 450.0)
    study.change('remedies = ["grade"]\nlargest_cut = 8\nstep = 0.25\n', 'remedies = ["add"]\n')
    study.rules += "shed,shed,vertical,1,,,,,,\nline,line,vertical,2,,,,,,\n" \
        "tree,tree,radial,1,,,,,,\n"
    if prepare:
        prepare(study)
    study.text += more
    return ask(study.write(), "plan", "today", folder.parent / "plan")


def place_of(planned):
    """Where the structure more stands."""
    new = np.flatnonzero(planned.after.line.origin < 0)
    x = planned.after.line.facts.structures
    assert len(new) == 1
    return shapely.Point(x.easting[new[0]], x.northing[new[0]])


def across(place):
    """A line across our line at a place along it [m]."""
    return shapely.LineString([(EAST + place, NORTH - 60), (EAST + place, NORTH + 60)])


def test_structure_more_stands_on_top_where_nothing_else_does(tmp_path):
    assert place_of(added(tmp_path / "study")).distance(shapely.Point(EAST + 450, NORTH)) < 1


@pytest.mark.parametrize(("shape", "category", "keys", "room"), [
    (across(450), "road", "height = 0\nradius = 4", 10.0),
    (shapely.box(EAST + 440, NORTH + 2, EAST + 460, NORTH + 9), "shed", "height = 1", 6.0),
    (shapely.Point(EAST + 452, NORTH), "tree", "height = 1\nradius = 3", 9.0),
    (shapely.force_3d(across(452), 90.0), "line", 'voltage = "20 kV"', 8.0)])
def test_no_structure_more_in_a_road_or_beside_anything(tmp_path, shape, category, keys, room):
    """At the highest place something is: the structure stands at another, clear of it by 6 m, of a wire by its arms
    more."""
    planned = added(tmp_path / "study", prepare=lambda study: study.add_obstacle("things", category, [shape], keys))
    assert planned.cleared and place_of(planned).distance(shape) >= room


def test_what_cannot_be_assessed_stands_there_none_the_less(tmp_path):
    shed = shapely.box(EAST + 440, NORTH - 5, EAST + 460, NORTH + 5)
    planned = added(tmp_path / "study", prepare=lambda study: study.add_obstacle(
        "things", "shed", [shed], 'height_column = "high"', high=[np.nan]))
    assert place_of(planned).distance(shed) >= 6


def test_surveyed_points_are_stood_clear_of(tmp_path):
    place = np.column_stack([np.arange(440, 460, 0.5) + EAST, np.full(40, NORTH), np.full(40, 60.0)])
    planned = added(tmp_path / "study", more=CLOUD, prepare=lambda study: write_tile(
        study.folder / "tile.laz", place, 5))
    assert abs(place_of(planned).x - EAST - 450) >= 15.5


def test_span_without_a_free_place_gets_no_structure_more(tmp_path):
    lake = shapely.box(EAST + 380, NORTH - 20, EAST + 520, NORTH + 20)
    planned = added(tmp_path / "study", prepare=lambda study: study.add_obstacle("lake", "water", [lake], "height = 0"))
    assert planned.status == 1 and not planned.cleared
    assert planned.refused["add"] == "there is no room for it beside lake:1"
    rows = each_alone(planned, {})
    told = [note for remedy, note in zip(rows["remedy"], rows["note"], strict=True) if remedy == "add a structure"]
    assert told and set(told) == {"not offered: there is no room for it beside lake:1"}
