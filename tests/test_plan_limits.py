"""What a planner is told must hold: limits that are not known, places where nobody builds, status and answers."""

import json
from dataclasses import replace

import numpy as np
import pyogrio
import pytest
import shapely

from corridor.cli import main
from corridor.errors import InputError
from corridor.planning.conductor_search import screening
from corridor.planning.remedies.each_alone import each_alone
from corridor.planning.remedies.offered import offered_remedies
from corridor.planning.remedies.plan import plan_option, site_of
from corridor.planning.remedies.taken import plan_lines, plan_parts
from corridor.planning.remedies.variants import assess_variant
from tests.common import ask
from tests.end_to_end.conftest import EAST, NORTH, SECOND_OPTION
from tests.end_to_end.test_point_clouds import CLOUD, write_tile
from tests.test_design import COARSE, heat, line, today
from tests.test_plan import short_study
from tests.test_plan_guards import both_options, hillock_at, opened

#: Layers and tables of outages.
OF_OUTAGES = {"work_items", "outages", "calendar", "states", "planned_for", "costs"}
TAUT = "largest_tightening = 0.4\nlargest_load_ratio = 1.5"


def with_columns(variant, layer, **columns):
    """The variant with other columns in a layer."""
    return replace(variant, layers=variant.layers | {layer: variant.layers[layer] | columns})


@pytest.fixture(scope="module")
def tautened(tmp_path_factory):
    """A plan that strings sections of a new wire tauter than their limits, within a ratio to the existing wire."""
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
    """Where it is not known how hot a wire may be, the maximum temperature of its materials is no answer."""
    assert screening.screen(COARSE, line(), heat((today(),))).meets.any()
    known = screening.temperature_for_tension
    monkeypatch.setattr(screening, "temperature_for_tension", lambda *given: np.nan * known(*given))
    assert not screening.screen(COARSE, line(), heat((today(),))).meets.any()


# Where nobody builds


def added(folder, *, more="", prepare=None):
    """A plan of one span with a violation of a hillock at 450 m, by a structure more alone."""
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


# What a planner is told


def command(capsys, study, *arguments):
    """Status of `corridor plan` with `--json`, what it tells machines, and what the person is told."""
    with pytest.raises(SystemExit) as end:
        main(["plan", str(study), "--option", "today", "--json", *map(str, arguments)])
    told = capsys.readouterr()
    return end.value.code or 0, json.loads(told.out), told.err


def raised(folder, more="", lower=0.0):
    """A study that raises remedied, with more keys in its table [plan]."""
    study = short_study(folder, lower=lower)
    study.text += f'\n[plan]\nremedies = ["raise"]\n{more}'
    return study


def layers_of(folder):
    return {name for name, _ in pyogrio.list_layers(folder / "plan.gpkg")}


def test_machines_are_told_remedies_cost_and_outages(tmp_path, capsys):
    study = raised(tmp_path / "study")
    study.change("existing = true\n", "")
    status, told, _ = command(capsys, study.write(), "--folder", tmp_path / "plan")
    assert status == 0 and told["cleared"] and told["check"]["violations"] == 0
    assert told["remedies"] and {row["remedy"] for row in told["remedies"]} == {"raise"}
    assert told["cost"] == pytest.approx(sum(row["cost"] for row in told["remedies"]))
    written = pyogrio.read_dataframe(tmp_path / "plan" / "plan.gpkg", layer="plan")
    assert sorted(row["where"] for row in told["remedies"]) == sorted(written["where"])
    outages = pyogrio.read_dataframe(tmp_path / "plan" / "plan.gpkg", layer="outages")
    assert [row["hours"] for row in told["outages"]] == list(outages.hours) and told["unscheduled"] == []
    assert ["; ".join(row["items"]) for row in told["outages"]] == list(outages["items"])


def test_remedies_are_tried_alone_where_they_are_asked_for(tmp_path, capsys, monkeypatch):
    study = raised(tmp_path / "study").write()
    assert command(capsys, study, "--folder", tmp_path / "with", "--remedies")[0] == 0
    monkeypatch.setattr("corridor.planning.remedies.taken.each_alone", None)
    assert command(capsys, study, "--folder", tmp_path / "plan")[0] == 0
    assert layers_of(tmp_path / "plan") == {"plan", *OF_OUTAGES, "loads"}
    assert layers_of(tmp_path / "with") == {"remedies", *layers_of(tmp_path / "plan")}


@pytest.mark.parametrize(("more", "words"), [
    ("window = 3600\n", "2: raise by"), ("window = 3600\n", "takes 8 h: longer than plan.window, 1 h"),
    ("windows = 1\nwindow = 72000\n", "no grouping was found in 1 outages, as plan.windows says"),
    ('[[plan.never_together]]\nfirst = "main, circuit 1"\nsecond = "village:1"\n',
     "takes main, circuit 1 and village:1 out, which plan.never_together forbids")])
def test_work_that_cannot_be_scheduled_is_named_with_its_limit(tmp_path, capsys, more, words):
    study = raised(tmp_path / "study", more)
    wire = shapely.LineString([(EAST + 200, NORTH - 80, 90), (EAST + 200, NORTH + 80, 90)])
    study.add_obstacle("village", "line", [wire], 'voltage = "20 kV"')
    study.rules += "line,line,vertical,2.0,,,,,,\n"
    study.change("existing = true\n", "")
    status, told, _ = command(capsys, study.write(), "--folder", tmp_path / "plan")
    assert status == 3 and told["cleared"] and told["check"]["violations"] == 0
    assert any(words in each for each in told["unscheduled"]) and told["outages"] == []
    assert "calendar.csv" not in {path.name for path in (tmp_path / "plan").iterdir()}


def test_status_is_that_of_the_planned_option_and_progress_comes_from_the_start(tmp_path):
    """The existing wire is in violation beside the new one that is remedied; the first look at the line is told."""
    study, seen = both_options(tmp_path / "study", 'remedies = ["raise"]'), []
    study.change("maximum_temperature = 75\nemergency_temperature = 90", "maximum_temperature = 120")
    study.change("maximum_temperature = 80", "maximum_temperature = 40")
    planned = ask(study.write(), "plan", "alloy", tmp_path / "plan", progress=lambda *each: seen.append(each))
    assert planned.status == 0 and planned.before.short
    options = pyogrio.read_dataframe(tmp_path / "plan" / "findings.gpkg", layer="options").set_index("option")
    assert options.violations["today"] > 0
    spans = len(planned.site.plan.spans)
    assert seen[0][1] == spans and seen.count((spans, spans)) >= 2, "the existing line, and the check of the copy"


def test_doubts_about_the_copy_are_no_pass(tmp_path, capsys):
    """Shortened strings are too short for the voltage: the copy clears, the data that the plan makes are in doubt."""
    study = short_study(tmp_path / "study", lower=3.2)
    study.text += '\n[plan]\nremedies = ["shorten"]\nshortest_string = 0.4\n'
    status, told, _ = command(capsys, study.write(), "--folder", tmp_path / "plan")
    assert status == 3 and told["cleared"] and told["check"]["violations"] == 0 and told["check"]["doubts"] == 2
    planned = ask(study.path, "plan", "today", tmp_path / "plan")
    assert any("2 doubts about the data could hide a violation" in line for line in plan_lines(planned))


def test_a_tree_is_taken_away_without_an_outage(tmp_path, capsys):
    study = short_study(tmp_path / "study", lower=9.0)
    places = [shapely.Point(EAST + 450, NORTH), shapely.Point(EAST + 750, NORTH)]
    study.add_obstacle("trees", "tree", places, "height = 14")
    study.rules += "tree,tree,radial,3.0,,,,,,\n"
    study.text += '\n[plan]\nremedies = ["remove"]\nremove_duration = 0\n'
    status, told, _ = command(capsys, study.write(), "--folder", tmp_path / "plan")
    assert status == 0 and {row["remedy"] for row in told["remedies"]} == {"remove"}
    assert told["outages"] == [] and told["unscheduled"] == []
    items = pyogrio.read_dataframe(tmp_path / "plan" / "plan.gpkg", layer="work_items")
    assert len(items) and items.outage.isna().all() and items.circuits_out.isna().all() and (items.hours == 0).all()


def test_nothing_of_an_earlier_plan_is_left_in_a_used_folder(tmp_path, capsys):
    """First a plan with remedies tried alone, then one of a wire to pull that clears as it is, then none."""
    study, folder = raised(tmp_path / "study", lower=3.0), tmp_path / "plan"
    study.change("[[cases]]", SECOND_OPTION.replace("150", "40") + "\n[[cases]]")
    assert command(capsys, study.write(), "--folder", folder, "--remedies")[0] == 0
    assert layers_of(folder) == {"plan", "remedies", *OF_OUTAGES, "loads"}
    study.change('"today"\n', '"old"\n')
    study.change('"alloy"\n', '"today"\n')
    status, told, _ = command(capsys, study.write(), "--folder", folder)
    assert status == 0 and told["remedies"] == [] and told["outages"]
    assert layers_of(folder) == OF_OUTAGES
    study.change("maximum_temperature = 40", "maximum_temperature = 150")
    study.text += 'largest_raise = "0.5 m"\n'
    status, told, _ = command(capsys, study.write(), "--folder", folder)
    assert status == 1 and told["cost"] is None and list(folder.iterdir()) == []


def test_a_log_beside_nothing_is_told(tmp_path, capsys, monkeypatch):
    """"Nothing was written" beside a log that was: it is named."""
    def fail(*_):
        raise KeyboardInterrupt

    study = raised(tmp_path / "study").write()
    monkeypatch.setattr("corridor.planning.remedies.plan.plan_option", fail)
    with pytest.raises(SystemExit) as end:
        main(["plan", str(study), "--option", "today", "--folder", str(tmp_path / "plan"), "--log",
              str(tmp_path / "run.log")])
    said = capsys.readouterr().err
    assert end.value.code == 130 and (tmp_path / "run.log").exists() and not (tmp_path / "plan").exists()
    assert "Nothing was written but the log." in said


def test_folder_that_cannot_be_is_told_before_anything_is_planned(tmp_path, monkeypatch):
    study = raised(tmp_path / "study").write()
    monkeypatch.setattr("corridor.planning.remedies.plan.plan_option", None)
    (tmp_path / "file").write_text("mine", encoding="utf-8")
    for folder in (tmp_path / "file", tmp_path / "nowhere" / "plan"):
        with pytest.raises(InputError, match="no folder can be made"):
            ask(study, "plan", "today", folder)


# What is mandatory today


def test_what_today_needs_is_told_apart_from_what_buys_rating(tmp_path, capsys):
    """A hotter wire costs more than the existing wire, which has violations, too: the plan of that alone, and all."""
    study = raised(tmp_path / "study", lower=2.5)
    study.change("[[cases]]", SECOND_OPTION.replace("150", "110") + "\n[[cases]]")
    today = ask(study.write(), "plan", "today", tmp_path / "today")
    planned = ask(study.path, "plan", "alloy", tmp_path / "plan")
    assert today.today is None and planned.today.cost == today.cost > 0 and planned.cost > today.cost
    told = "\n".join(plan_lines(planned))
    assert f"remedied by itself for {today.cost:g}; the other {planned.cost - today.cost:g} buy rating" in told
    assert f"today has {today.before.short} violation" in told and "buy rating" not in "\n".join(plan_lines(today))
    parts = plan_parts(planned)
    assert parts["today"]["cost"] == today.cost and parts["today"]["remedies"] == plan_parts(today)["remedies"]
    with pytest.raises(SystemExit):
        main(["plan", str(study.path), "--option", "alloy", "--cost-curve", "2", "--folder", str(tmp_path / "ladder")])
    assert f"remedied by itself for {today.cost:g}\n" in capsys.readouterr().out


def test_what_today_needs_is_told_where_the_option_has_no_plan(tmp_path):
    """The new wire is too hot for a raise of 2 m, which is enough for the existing wire."""
    study = raised(tmp_path / "study", lower=3.0, more='largest_raise = "2 m"\n')
    study.change("[[cases]]", SECOND_OPTION + "\n[[cases]]")
    planned = ask(study.write(), "plan", "alloy", tmp_path / "plan")
    assert planned.forbids and planned.status == 1 and planned.today.cleared and planned.today.cost > 0
    assert any(line.endswith(f"remedied by itself for {planned.today.cost:g}") for line in plan_lines(planned))


def test_nothing_is_mandatory_where_today_clears(tmp_path):
    study = raised(tmp_path / "study", lower=9.0)
    study.change("[[cases]]", SECOND_OPTION.replace("150", "110") + "\n[[cases]]")
    planned = ask(study.write(), "plan", "alloy", tmp_path / "plan")
    assert "Mandatory today: nothing, today has no violation" in plan_lines(planned)
