"""What must never read as a plan that clears, nor be dug, written over or left lying about."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pyogrio
import pytest
import rasterio
import shapely

from corridor.cli import main
from corridor.errors import InputError
from corridor.inputs.study_inputs import read_inputs
from corridor.planning.outages.files import write_outages
from corridor.planning.remedies import cheapest, each_alone
from corridor.planning.remedies.constraints import rules_of_choice
from corridor.planning.remedies.least_cost import least_cost
from corridor.planning.remedies.offered import Remedies, offered_remedies
from corridor.planning.remedies.plan import plan_option, site_of
from corridor.planning.remedies.taken import taken, write_remedies
from corridor.planning.remedies.variants import assess_variant, clears
from corridor.session import open_study
from corridor.study import load_study
from tests.common import ask
from tests.end_to_end.conftest import EAST, NORTH, SECOND_OPTION, TinyStudy, line_of, plane
from tests.test_plan import rows_of, short_study


def opened(study):
    """Inputs of a study; their terrain is to be closed."""
    return read_inputs(load_study(study.write()))


def both_options(folder, plan, lower=2.5):
    """A study of the existing wire and of a new one that sags as much."""
    study = short_study(folder, lower=lower)
    study.change("[[cases]]", SECOND_OPTION.replace("150", "80") + "\n[[cases]]")
    study.text += f"\n[plan]\n{plan}\n"
    return study


# What is not assessed is not remedied


def unassessed(variant, chosen, *, instead_of=0):
    """The variant with chosen violations not assessed, and so many of the gaps that it had taken away."""
    v, gaps = variant.layers["violations"], variant.layers["not_assessed"]
    lost = {name: v.get(name, np.full(len(v["line"]), "no equilibrium of the section found: 3 N left", object))[chosen]
            for name in gaps}
    return replace(variant, layers=variant.layers | {
        "violations": {name: values[~chosen] for name, values in v.items()},
        "not_assessed": {name: np.concatenate([values[instead_of:], lost[name]]) for name, values in gaps.items()}})


def test_violation_that_is_not_assessed_any_more_is_not_cleared(tmp_path):
    """As many rows are left unassessed as before, but others: of them is what were in violation."""
    study = short_study(tmp_path / "study", hole=lambda e, n: (e > 500_100) & (e < 500_130))
    inputs = opened(study)
    with inputs.terrain:
        before = assess_variant(site_of(inputs, "today"))
    count = len(before.layers["not_assessed"]["reason"])
    assert before.short >= 1 and count >= 1
    every = np.ones(before.short, bool)
    clear = replace(before, layers=before.layers | {"violations": unassessed(before, every).layers["violations"]})
    assert clears(clear, before), "what was unknown before may stay so"
    other = unassessed(before, every, instead_of=count)
    assert not other.short and not clears(other, before)


ONE = {("L", "1-2")}


@pytest.mark.parametrize(("name", "found", "where_it_was"), [
    ("short", 1, False), ("lifted", ONE, False), ("nearly_lifted", ONE, True), ("too_near", ONE, True),
    ("overloaded", ONE, True), ("unassessed", ONE, True), ("unloaded", lambda ratio: False, False),
    ("burdened", lambda before, ratio: ONE, False)])
def test_each_thing_alone_forbids_that_a_plan_clears(name, found, where_it_was):
    """Every guard by itself: what is anew never clears, what was so before does where it may stay."""
    none = dict.fromkeys(("lifted", "nearly_lifted", "too_near", "overloaded", "unassessed"), frozenset())
    good = SimpleNamespace(short=0, unloaded=lambda ratio: True, burdened=lambda before, ratio: set(), **none)
    bad = SimpleNamespace(**vars(good) | {name: found})
    assert clears(good, good) and clears(good, bad)
    assert not clears(bad, good)
    assert clears(bad, bad) == where_it_was


def test_plan_whose_remedies_leave_all_unassessed_is_none(tmp_path, monkeypatch):
    """Whatever is done, what were in violation can no more be hung: no plan, and status 1."""
    real = cheapest.assess_variant

    def blind(site, alterations=None, earlier=None, progress=None):
        before = real(site)
        return before if alterations is None else replace(unassessed(before, np.ones(before.short, bool)),
                                                          alterations=alterations)

    monkeypatch.setattr(cheapest, "assess_variant", blind)
    study = short_study(tmp_path / "study", lower=1.5)
    study.text += '\n[plan]\nremedies = ["raise"]\n'
    planned = ask(study.write(), "plan", "today", tmp_path / "plan")
    assert not planned.after.short and not planned.cleared and planned.status == 1
    assert planned.forbids and planned.checked is None and not (tmp_path / "plan" / "findings.gpkg").exists()


def test_remedy_alone_that_leaves_the_thing_unassessed_does_not_clear(tmp_path, monkeypatch):
    """With a raise one case can no more be hung, and the others clear: whether it does is not known."""
    real = each_alone.assess_spans

    def blind(*asked):
        found = real(*asked)
        c, gaps = found["clearances"], found["not_assessed"]
        hot = c["case"] == "hot"
        reason = np.full(len(hot), "no equilibrium of the section found", object)
        lost = {name: c.get(name, reason)[hot] for name in gaps}
        return found | {"clearances": {name: values[~hot] for name, values in c.items()},
                        "not_assessed": {name: np.concatenate([gaps[name], lost[name]]) for name in gaps}}

    study = short_study(tmp_path / "study")
    study.text += '\n[plan]\nremedies = ["raise"]\n'
    inputs = opened(study)
    with inputs.terrain:
        planned = plan_option(site_of(inputs, "today"))
        seen = each_alone.each_alone(planned, {})
        monkeypatch.setattr(each_alone, "assess_spans", blind)
        blinded = each_alone.each_alone(planned, {})
    tried = np.char.startswith(seen["remedy"].astype(str), "raise ")
    assert tried.any() and (seen["clears"][tried & (seen["case"] == "hot")] == True).any()  # noqa: E712
    assert all(clears is None for clears in blinded["clears"][tried])
    assert np.isnan(blinded["margin_after_m"][tried].astype(float)).all()


def test_option_that_is_not_assessed_is_not_told_to_be_clear(tmp_path):
    """Two other options clear where the existing wire is in violation, but the one has no emergency temperature."""
    study = short_study(tmp_path / "study", lower=2.5)
    none = SECOND_OPTION.replace("150", "30").replace("alloy", "unknown")
    cool = SECOND_OPTION.replace("150", "30\nemergency_temperature = 30")
    case = '\n[[cases]]\nname = "emergency"\ntemperature = "emergency"\nchecks = ["vertical"]\n'
    study.change("[[cases]]", cool + none + case + "[[cases]]")
    study.text += '\n[plan]\nremedies = ["raise"]\n'
    inputs = opened(study)
    with inputs.terrain:
        planned = plan_option(site_of(inputs, "today"))
    rows = each_alone.each_alone(planned, each_alone.short_elsewhere(open_study(study.path), "today"))
    assert set(rows["where"][rows["remedy"] == "choose another option"]) == {"alloy"}


# Nobody digs at structures, nor at what stands on the ground


def hillock_at(folder, place, *, aside=0.0):
    """One span of a line is too near to a hillock at a place along it [m]; the ground may be graded, and no more."""
    study = TinyStudy(folder)
    study.structures = line_of(4)
    study.write_ground(lambda e, n: plane(e, n) + 9.0 * np.exp(
        -((e - EAST - place) ** 2 + (n - NORTH - aside) ** 2) / 15**2), cell=2.0)
    study.change('[right_of_way]\nhalf_width = "30 m"', "")
    study.text += '\n[plan]\nremedies = ["grade"]\nlargest_cut = 8\nstep = 0.25\n'
    return study


def dug(folder):
    """Places of the cells that a plan cuts."""
    with rasterio.open(folder / "graded.tif") as cut:
        row, column = np.nonzero(~np.ma.getmaskarray(cut.read(1, masked=True)))
        return np.stack(cut.xy(row, column), axis=-1).reshape(-1, 2)


def test_ground_is_cut_where_nothing_stands(tmp_path):
    """What the next tests forbid is done where there is nothing to forbid it."""
    study = hillock_at(tmp_path / "study", 450.0)
    planned = ask(study.write(), "plan", "today", tmp_path / "plan")
    assert planned.status == 0
    assert np.hypot(*(dug(tmp_path / "plan") - [EAST + 450, NORTH]).T).min() < 2.0


def test_no_cut_of_ground_whose_grid_is_not_that_of_the_frame(tmp_path):
    """The same hillock on a raster in another system of coordinates: its cells are no places of the frame."""
    study = hillock_at(tmp_path / "study", 450.0)
    study.write_ground(lambda e, n: plane(e, n) + 9.0 * np.exp(-((e - EAST - 450) ** 2 + (n - NORTH) ** 2) / 15**2),
                       cell=2.0, crs="EPSG:32632")
    planned = ask(study.write(), "plan", "today", tmp_path / "plan")
    assert planned.status == 1 and planned.before.short and not planned.site.cells
    assert "one grid of the working frame" in planned.refused["grade"]


def test_nobody_digs_at_a_structure_of_the_span(tmp_path):
    """The only remedy would be a cut at the foot of a structure: there is no plan."""
    study = hillock_at(tmp_path / "study", 315.0)
    for height, low in (("19", "11.5"), ("20", "12")):
        study.framings = study.framings.replace(f"{height},suspension", f"{low},suspension")
    planned = ask(study.write(), "plan", "today", tmp_path / "plan")
    assert planned.before.short >= 1
    assert planned.status == 1 and not planned.cleared
    cells = planned.site.cells
    assert cells, "the ground is known, it is the structure that forbids"
    for own in cells.values():
        e, n = own.raster.places(own.column + 0.5, own.row + 0.5)
        assert np.hypot(e - EAST - 300, n - NORTH).min() >= 6.0
        assert own.blocked == "a structure"


def test_nobody_digs_at_a_structure_of_another_line(tmp_path):
    """A structure of a second line stands in the middle of the span."""
    study = hillock_at(tmp_path / "study", 450.0)
    other = line_of(2, 300.0, "other").assign(easting=EAST + 455.0, northing=[NORTH + 3.0, NORTH + 300.0])
    import pandas

    study.structures = pandas.concat([study.structures, other], ignore_index=True)
    planned = ask(study.write(), "plan", "today", tmp_path / "plan")
    assert planned.status == 1 and planned.site.cells
    for own in planned.site.cells.values():
        e, n = own.raster.places(own.column + 0.5, own.row + 0.5)
        assert np.hypot(e - EAST - 455, n - NORTH - 3).min() >= 6.0


@pytest.mark.parametrize("keys", ["height = 0.5", 'elevation_column = "top"'])
def test_nobody_digs_at_an_object(tmp_path, keys):
    """A shed stands on the hillock, told by its height or by the elevation of its top."""
    study = hillock_at(tmp_path / "study", 450.0)
    shed = shapely.box(EAST + 447, NORTH - 3, EAST + 453, NORTH + 3)
    study.add_obstacle("sheds", "shed", [shed], keys, top=[plane(EAST + 450, NORTH) + 9.5])
    planned = ask(study.write(), "plan", "today", tmp_path / "plan")
    assert planned.status == 1 and planned.site.cells
    for own in planned.site.cells.values():
        e, n = own.raster.places(own.column + 0.5, own.row + 0.5)
        assert shapely.distance(shapely.points(e, n), shed).min() >= 2.0
        assert own.blocked == "an object on the ground"
    # What stands at the top of the hillock cannot be lowered, so no depth of a cut beside it helps.
    assert "stand in the way" in planned.refused["grade"]


def test_nobody_digs_where_a_structure_is_added():
    m = Remedies.of_rows([("grade", 7, 0.5, 1, 1, 0), ("grade", 7, 0.5, 1, 1, 0), ("grade", 3, 0.5, 1, 1, 0),
                          ("add", 7, 1, 1, 1, 0)])
    asks = rows_of([[0, 1, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]], [0.5, 0.5, 1.0])
    assert not least_cost(rules_of_choice(m) + asks, **m.programme).feasible
    apart = rows_of([[0, 0, 1, 0], [0, 0, 0, 1]], [0.5, 1.0])
    assert least_cost(rules_of_choice(m) + apart, **m.programme).steps.tolist() == [0, 0, 1, 1]


# Limits that are not known


def test_demand_that_is_not_a_number_is_met_by_nothing():
    assert not least_cost(rows_of([[1.0], [1.0]], [1.0, np.nan]), step=1, most=9, fixed=1, per_step=1).feasible


@pytest.mark.parametrize("option", ["today", "alloy"])
def test_load_ratio_bounds_what_is_strung_tauter(tmp_path, option):
    """Loads are compared with those of the existing wire as it hangs, also where it is itself strung tauter."""
    tighten = 'remedies = ["tighten"]\nlargest_tightening = 0.4\n'
    free = ask(both_options(tmp_path / "free", tighten).write(), "plan", option, tmp_path / "copy")
    assert free.status == 0 and (free.after.alterations.tightened > 0).any()
    held = ask(both_options(tmp_path / "held", tighten + "largest_load_ratio = 1.05").write(), "plan", option,
                      tmp_path / "other")
    assert held.status == 1 and any("(vertical) lacks" in words and words.endswith(" m") for words in held.forbids)
    assert all(words.endswith("% of what is allowed") for words in held.forbids if "tension" in words)
    loose = ask(both_options(tmp_path / "loose", tighten + "largest_load_ratio = 1.5").write(), "plan", option,
                       tmp_path / "third")
    ratio = loose.after.layers["structure_loads"]["ratio_to_existing"].astype(float)
    assert loose.status == 0 and 1.05 < ratio.max() <= 1.5


def test_load_beyond_the_ratio_is_no_plan(tmp_path):
    """Whatever the programme says: the variant itself is held to the ratio."""
    inputs = opened(both_options(tmp_path / "study", 'remedies = ["tighten"]\nlargest_tightening = 0.4\n'
                                 'largest_load_ratio = 1.5'))
    with inputs.terrain:
        planned = plan_option(site_of(inputs, "alloy"))
    assert planned.cleared
    for ratio in (1.05, np.nan):
        loads = planned.after.layers["structure_loads"]
        worse = np.where(loads["ratio_to_existing"] > 1.05, 1.6 if ratio > 1 else np.nan, loads["ratio_to_existing"])
        after = replace(planned.after, layers=planned.after.layers | {"structure_loads": loads | {
            "ratio_to_existing": worse}})
        assert not replace(planned, after=after).cleared


def test_nothing_is_tautened_where_the_load_of_today_is_not_known(tmp_path):
    inputs = opened(both_options(tmp_path / "study", "largest_tightening = 0.4\nlargest_load_ratio = 1.5"))
    with inputs.terrain:
        site = site_of(inputs, "alloy")
        before = assess_variant(site)
        loads = before.layers["structure_loads"]
        own = loads["section"] == "3-6"
        unknown = replace(before, layers=before.layers | {"structure_loads": loads | {
            "ratio_to_existing": np.where(own, np.nan, loads["ratio_to_existing"].astype(float))}})
        names = [site.plan.sections.name[place] for kind, place in zip(
            *(getattr(offered_remedies(site, unknown)[0], name) for name in ("kind", "place")), strict=True)
            if kind == "tighten"]
        assert names == ["1-3"]
        every = replace(before, layers=before.layers | {"structure_loads": loads | {
            "ratio_to_existing": np.full(len(own), np.nan)}})
        assert "not known" in offered_remedies(site, every)[1]["tighten"]


def test_load_ratio_without_an_existing_wire_is_refused(tmp_path):
    study = short_study(tmp_path / "study")
    study.change("existing = true\n", "")
    study.text += "\n[plan]\nlargest_load_ratio = 1.2\n"
    with pytest.raises(InputError, match="no option is existing") as fault:
        ask(study.write(), "plan", "today", tmp_path / "plan")
    assert fault.value.where == "plan.largest_load_ratio"


def test_copy_keeps_the_existing_wire_and_tells_of_the_planned_one_alone(tmp_path):
    """The new wire is remedied where today's still is in violation: status 0, and both are in the findings."""
    study = short_study(tmp_path / "study", lower=2.5)
    study.change("[[cases]]", SECOND_OPTION.replace("150", "40") + "\n[[cases]]")
    study.change("maximum_temperature = 75\nemergency_temperature = 90", "maximum_temperature = 120")
    study.text += '\n[plan]\nremedies = ["raise"]\n'
    planned = ask(study.write(), "plan", "alloy", tmp_path / "plan")
    options = pyogrio.read_dataframe(tmp_path / "plan" / "findings.gpkg", layer="options").set_index("option")
    assert options.violations["today"] > 0 == options.violations["alloy"]
    assert planned.status == 0 and planned.checked.violations == 0
    loads = pyogrio.read_dataframe(tmp_path / "plan" / "findings.gpkg", layer="structure_loads")
    assert loads.ratio_to_existing[loads.option == "alloy"].notna().all()


# Names


@pytest.mark.parametrize(("text", "where", "accepted"), [
    ('[[plan.never_together]]\nfirst = "main, circuit 1"\nsecond = "village:9"\n', "plan.never_together.0.second",
     "main, circuit 1; village:1"),
    ('[[plan.never_together]]\nfirst = "main, circuit 2"\nsecond = "village:1"\n', "plan.never_together.0.first",
     "main, circuit 1"),
    ('[[plan.never_together]]\nfirst = "village:1"\nsecond = "village:1"\n', "plan.never_together.0.second", "another"),
    ('[plan]\nremovable = ["tree", "hedge"]\n', "plan.removable.0", "line"),
    ('[plan]\nuntouched = ["2", "99"]\n', "plan.untouched.1", "1; 2; 3"),
    ('[plan]\nguarded_circuits = ["main, circuit 1"]\n', "plan.guarded_circuits.0", "village:1"),
])
def test_names_of_the_plan_are_those_of_the_study(tmp_path, text, where, accepted, capsys):
    study = short_study(tmp_path / "study")
    wire = shapely.LineString([(EAST + 200, NORTH - 80, 90), (EAST + 200, NORTH + 80, 90)])
    study.add_obstacle("village", "line", [wire], 'voltage = "20 kV"')
    study.rules += "line,line,vertical,2.0,,,,,,\n"
    study.text += "\n" + text
    with pytest.raises(SystemExit) as end:
        main(["plan", str(study.write()), "--option", "today", "--folder", str(tmp_path / "plan")])
    told = capsys.readouterr().err
    assert end.value.code == 2 and where in told and accepted in " ".join(told.split())
    assert not (tmp_path / "plan").exists()


def test_known_names_are_taken(tmp_path):
    study = short_study(tmp_path / "study", lower=9.0)
    wires = [shapely.LineString([(EAST + 200 + d, NORTH - 80, 90), (EAST + 200 + d, NORTH + 80, 90)]) for d in (0, 90)]
    study.add_obstacle("village", "line", wires, 'voltage = "20 kV"')
    study.rules += "line,line,vertical,2.0,,,,,,\ntree,tree,radial,3.0,,,,,,\n"
    study.text += ('\n[plan]\nremovable = ["tree"]\n'
                   '[[plan.never_together]]\nfirst = "village:1"\nsecond = "village:2"\n')
    assert ask(study.write(), "plan", "today", tmp_path / "plan").cleared


def test_structures_that_may_not_be_touched_are_left_alone(tmp_path):
    """What the cheapest plan raises is named: then others are, for no less; and where all are named nothing is."""
    costs = []
    untouched = set()
    for turn in range(2):
        study = short_study(tmp_path / f"study {turn}", lower=1.0)
        names = ", ".join(f'"{name}"' for name in sorted(untouched))
        study.text += f'\n[plan]\nremedies = ["raise", "grade"]\nlargest_cut = "8 m"\nuntouched = [{names}]\n'
        planned = ask(study.write(), "plan", "today", tmp_path / f"plan {turn}")
        assert planned.cleared
        structures = planned.site.facts.structures.structure
        raised = {str(structures[s]) for s, change in enumerate(planned.after.alterations.changes) if change.rise}
        assert not raised & untouched and (raised or turn)
        untouched |= raised
        costs.append(planned.cost)
    assert costs[1] > costs[0]
    study = short_study(tmp_path / "none")
    study.text += '\n[plan]\nremedies = ["raise"]\nuntouched = ["1", "2", "3", "4", "5", "6", "7"]\n'
    planned = ask(study.write(), "plan", "today", tmp_path / "none plan")
    assert not planned.cleared and "untouched" in planned.refused["raise"]


# What an earlier plan wrote


def written(folder):
    return {path.name for path in folder.iterdir()}


def test_failed_plan_leaves_nothing_of_an_earlier_one(tmp_path):
    study, folder = short_study(tmp_path / "study"), tmp_path / "plan"
    study.text += '\n[plan]\nremedies = ["raise"]\n'
    planned = ask(study.write(), "plan", "today", folder)
    write_remedies(planned, folder)
    write_outages(planned, folder)
    assert written(folder) >= {"study.toml", "findings.gpkg", "structures.gpkg", "framings.csv", "plan.gpkg",
                               "calendar.csv", "calendar.svg", "outages.svg", "items_by_circuit.csv"}
    (folder / "mine.txt").write_text("kept", encoding="utf-8")
    study.text += 'largest_raise = "0.5 m"\n'
    planned = ask(study.write(), "plan", "today", folder)
    assert not planned.cleared
    write_remedies(planned, folder)
    assert write_outages(planned, folder) == ([], [])
    assert written(folder) == {"plan.gpkg", "mine.txt"}
    assert {name for name, _ in pyogrio.list_layers(folder / "plan.gpkg")} == {"remedies"}


def test_unschedulable_plan_leaves_no_calendar_of_an_earlier_one(tmp_path):
    study, folder = short_study(tmp_path / "study"), tmp_path / "plan"
    study.text += '\n[plan]\nremedies = ["raise"]\n'
    for window, calendar in ("", True), ("window = 3600\n", False):
        study.text += window
        planned = ask(study.write(), "plan", "today", folder)
        write_remedies(planned, folder)
        lines = write_outages(planned, folder)[1]
        assert planned.cleared and any("longer than plan.window, 1 h" in line for line in lines) != calendar
        assert ({"calendar.csv", "calendar.svg", "outages.svg"} <= written(folder)) == calendar
        assert ("calendar" in {name for name, _ in pyogrio.list_layers(folder / "plan.gpkg")}) == calendar


def test_study_that_no_plan_wrote_is_not_written_over(tmp_path):
    study, other = short_study(tmp_path / "study"), short_study(tmp_path / "other")
    study.write()
    before = other.write().read_bytes()
    with pytest.raises(InputError, match="no plan wrote"):
        ask(study.path, "plan", "today", other.folder)
    assert other.path.read_bytes() == before


def test_folder_that_the_study_reads_from_is_refused(tmp_path):
    study = short_study(tmp_path / "study")
    study.text += '\n[plan]\nremedies = ["raise"]\n'
    ask(study.write(), "plan", "today", tmp_path / "plan")
    study.change('file = "line.gpkg"', 'file = "../plan/structures.gpkg"')
    study.change('file = "framings.csv"', 'file = "../plan/framings.csv"')
    path = study.path
    path.write_text(study.text, encoding="utf-8")
    with open_study(path, trust=True) as opened, pytest.raises(InputError, match="reads a file"):
        opened.plan("today", tmp_path / "plan")
    assert (tmp_path / "plan" / "structures.gpkg").exists()


def test_refused_plan_leaves_the_earlier_one_whole(tmp_path):
    study, folder = short_study(tmp_path / "study"), tmp_path / "plan"
    study.text += '\n[plan]\nremedies = ["raise"]\n'
    planned = ask(study.write(), "plan", "today", folder)
    before = written(folder)
    study.text += 'removable = ["hedge"]\n'
    with pytest.raises(InputError):
        ask(study.write(), "plan", "today", folder)
    assert taken(planned)["remedy"] and written(folder) == before
