"""Every kind of remedy on its own: planned, written as files, read again and checked in full."""

import geopandas
import numpy as np
import pandas
import pyogrio
import pytest
import rasterio
import shapely
from scipy.sparse import csr_array

from corridor.errors import InputError
from corridor.inputs.study_inputs import read_inputs
from corridor.planning.cost_curve import cost_curve_lines, write_cost_curve
from corridor.planning.outages.work import list_work
from corridor.planning.remedies.alterations import Change, change_structures
from corridor.planning.remedies.choice import AMPLE, exclusive, in_order
from corridor.planning.remedies.constraints import conditional
from corridor.planning.remedies.least_cost import least_cost
from corridor.planning.remedies.offered import Remedies
from corridor.planning.remedies.taken import plan_lines, taken
from corridor.study import load_study
from tests.common import ask
from tests.end_to_end.conftest import EAST, NORTH, TinyStudy, line_of, plane
from tests.test_plan import rows_of, short_study


def planned_with(folder, study, kinds, more=""):
    names = ", ".join(f'"{kind}"' for kind in kinds)
    study.text += f"\n[plan]\nremedies = [{names}]\n{more}\n"
    return ask(study.write(), "plan", "today", folder / "plan")


def facts_of(folder):
    """Structures and framings of the study as it is now."""
    inputs = read_inputs(load_study(short_study(folder / "study").write()))
    inputs.terrain.close()
    return inputs.structures, inputs.framings


@pytest.mark.parametrize(("kind", "lower", "more"), [
    ("raise", 0.0, ""), ("replace", 0.0, "largest_replacement = 6"), ("post", 3.0, ""), ("strain", 3.0, ""),
    ("shorten", 3.2, "shortest_string = 0.4"),
    ("grade", 2.0, "largest_cut = 4"), ("tighten", 2.0, "largest_tightening = 0.4"), ("add", 0.0, "")])
def test_one_kind_alone_clears_the_planned_copy(tmp_path, kind, lower, more):
    """The margins of the last variant are those of the check that reads the written files, within 0.1 mm."""
    planned = planned_with(tmp_path, short_study(tmp_path / "study", lower=lower), [kind], more)
    assert planned.before.short >= 1
    # Strings of 0.4 m are in doubt at this voltage, and a plan that makes them says so.
    assert planned.status == (3 if kind == "shorten" else 0), planned.forbids
    assert planned.checked.status == 0 and (planned.doubts > 0) == (kind == "shorten")
    assert set(planned.remedies.kind[planned.steps > 0]) == {kind}
    written = pyogrio.read_dataframe(tmp_path / "plan" / "findings.gpkg", layer="clearances")
    found = planned.after.layers["clearances"]
    for name in ("margin_m", "wire_elevation_m"):
        assert np.sort(written[name].to_numpy()) == pytest.approx(np.sort(found[name].astype(float)), abs=1e-4)


@pytest.mark.parametrize("kind", ["raise", "add"])
def test_structures_of_a_table_of_places_are_written_as_they_are_read(tmp_path, kind):
    """Words for roles, a row that does not count, and no order but that of the line: the copy needs none of it."""
    study = short_study(tmp_path / "study")
    study.write()
    table = study.structures.drop(columns="order").replace({"role": {"suspension": "strain", "strain": "suspension"}})
    gone = table.iloc[[0]].assign(structure="gone", state="gone")
    pandas.concat([table.assign(state="in use"), gone]).sample(frac=1, random_state=3).to_csv(
        study.folder / "line.csv", index=False)
    way = shapely.LineString(study.structures[["easting", "northing"]].to_numpy(float))
    geopandas.GeoDataFrame(geometry=[way], crs="EPSG:25832").to_file(study.folder / "way.gpkg")
    study.change('file = "line.gpkg"', 'file = "line.csv"\nx_column = "easting"\ny_column = "northing"\n'
                 'crs = "EPSG:25832"\nwhere = {state = "in use"}\n'
                 'values = {role = {strain = "suspension", suspension = "strain"}}\nroute = {file = "way.gpkg"}')
    planned = planned_with(tmp_path, study, [kind])
    assert planned.status == 0 and planned.checked.status == 0
    # The same as of the plain study.
    (tmp_path / "plain").mkdir()
    plain = planned_with(tmp_path / "plain", short_study(tmp_path / "plain" / "study"), [kind])
    assert planned.cost == pytest.approx(plain.cost)


def test_a_plan_of_what_is_assumed_is_in_doubt(tmp_path):
    study = short_study(tmp_path / "study")
    study.text += '\n[[assumptions]]\nkey = "framings"\nvalue = "low"\nreason = "unknown"\n'
    assert planned_with(tmp_path, study, ["raise"]).status == 3


def test_taller_structure_where_no_raise_is_enough(tmp_path):
    """A raise of half a metre does not do, so a structure is replaced, with work of its own; never both at one."""
    planned = planned_with(tmp_path, short_study(tmp_path / "study"), ["raise", "replace"],
                           "largest_raise = 0.5\nlargest_replacement = 6\nreplace_duration = '30 h'")
    assert planned.status == 0
    m, done = planned.remedies, planned.after.alterations.changes
    assert any(change.replaced for change in done)
    for place in np.unique(m.place):
        taken_there = [kind for kind in ("raise", "replace") if planned.steps[m.at(kind, place)].any()]
        assert len(taken_there) <= 1 and done[place].replaced == ("replace" in taken_there)
    work = {item.name: item.hours for item in list_work(planned)}
    assert any(name.endswith("m") and "replace, taller by" in name and hours == 30 for name, hours in work.items())
    table = taken(planned)
    assert "replace" in table["remedy"]


def test_strain_structures_cost_what_they_cost(tmp_path):
    """By the table: a raise of a strain structure is dearer by so much, so another set of structures is raised."""
    costs = {}
    for name, more in (("alike", ""), ("dear", "strain_raise_cost = 50\nstrain_metre_cost = 5")):
        planned = planned_with(tmp_path / name, short_study(tmp_path / name), ["raise"], more)
        m, role = planned.remedies, planned.site.facts.structures.role
        hung = role[m.place] == "suspension"
        assert (m.fixed[hung] == 1).all() and (m.fixed[~hung] == (50 if more else 1)).all() and (~hung).any()
        assert m.per_step[~hung] == pytest.approx(5 * 0.5 if more else 0.2 * 0.5)
        costs[name] = planned.cost
    assert costs["dear"] >= costs["alike"]


def test_what_a_broken_wire_leaves_short_is_put_right(tmp_path):
    """Clear while it is whole, short beside a break: the plan raises, and the check of the files that it wrote agrees.
    """
    study = TinyStudy(tmp_path / "study")
    study.change("[rules]", "".join(f'[[cases]]\nname = "{side}"\ntemperature = "maximum"\nbroken = "{side}"\n'
                                    'checks = ["vertical"]\n' for side in ("back", "ahead")) + "[rules]")
    planned = planned_with(tmp_path, study, ["raise"], "largest_raise = 8")
    short = planned.before.layers["violations"]
    assert set(short["case"]) <= {"back", "ahead"} and len(short["case"]) >= 1
    assert planned.status == 0, planned.forbids
    written = pyogrio.read_dataframe(tmp_path / "plan" / "findings.gpkg", layer="clearances")
    assert written["margin_m"].min() >= 0 and {"back", "ahead"} <= set(written["case"])


def test_removed_objects_are_gone_and_others_keep_their_names(tmp_path):
    study = TinyStudy(tmp_path / "study")
    study.change('[right_of_way]\nhalf_width = "30 m"', "")
    study.rules += "tree,tree,radial,3.0,,,,,,\n"
    places = [shapely.Point(EAST + e, NORTH - 4) for e in (60, 150, 450)]
    study.add_obstacle("trees", "tree", places, 'height_column = "height"', height=[2.0, 16.0, 2.0])
    planned = planned_with(tmp_path, study, ["remove"])
    assert planned.status == 0 and taken(planned)["where"] == ["trees:2"]
    assert set(pyogrio.read_dataframe(tmp_path / "plan" / "findings.gpkg", layer="clearances").obstacle.dropna()) == {
        "trees:1", "trees:3"}


def below_a_line(folder):
    """A study whose wires pass too near below another line."""
    study = TinyStudy(folder)
    study.change('[right_of_way]\nhalf_width = "30 m"', "")
    study.rules += "line,line,vertical,3.0,,,,,,\n"
    above = shapely.LineString([(EAST + 450, NORTH - 60, 122.5), (EAST + 450, NORTH + 60, 122.5)])
    study.add_obstacle("other", "line", [above], 'voltage = "220 kV"')
    return study


def test_wire_too_near_to_a_line_above_is_slackened(tmp_path):
    """No raise helps below another line; less tension lets the wire hang lower there."""
    study = below_a_line(tmp_path / "study")
    study.text = study.text.replace('[[cases]]\nname = "swung"\ntemperature = 10\nwind = "290 Pa"\n'
                                    'checks = ["horizontal"]\n', "")
    planned = planned_with(tmp_path, study, ["raise", "slacken"], "step = 0.5")
    assert set(planned.before.layers["violations"]["position"]) == {"below"}
    assert planned.status == 0, planned.forbids
    assert set(taken(planned)["remedy"]) == {"slacken"}
    text = pyogrio.read_dataframe(tmp_path / "plan" / "findings.gpkg", layer="sections").governing_limit
    assert text.str.contains("-15 % in this section", regex=False).any()


def test_wind_that_lifts_a_wire_to_a_line_above_counts(tmp_path):
    """No rule of the table is for a line beside, so the electrical distance counts: 2.0 m between phases at 245 kV (EN
    50341-1, recalled). Swung wires rise, and one that is slackened for still air alone comes nearer than that."""
    study = below_a_line(tmp_path / "study")
    planned = planned_with(tmp_path, study, ["raise", "slacken"], "step = 0.5")
    before = planned.before.layers["violations"]
    assert set(before["position"]) == {"below"} and "swung" in set(before["case"])
    assert planned.status == 0, planned.forbids
    text = pyogrio.read_dataframe(tmp_path / "plan" / "findings.gpkg", layer="sections").governing_limit
    assert text.str.contains("-20 % in this section", regex=False).any()
    after = pyogrio.read_dataframe(tmp_path / "plan" / "findings.gpkg", layer="clearances")
    swung = after[(after["against"] == "line") & (after["case"] == "swung")]
    assert len(swung) and (swung["actual_m"] >= 2.0).all() and (swung["actual_m"] < 2.5).any()


def hollow(folder):
    """A hill beside a hollow: what is raised for the one may lift a string in the other."""
    study = TinyStudy(folder)

    def ground(e, n):
        x = e - EAST
        hill = 9.0 * np.exp(-((x - 540) ** 2 + (n - NORTH) ** 2) / 40**2)
        return plane(e, n) + hill - 25.0 * np.maximum(0, 1 - np.abs(x - 900) / 300)

    study.structures = line_of(7)
    study.write_ground(ground, high=(EAST + 2200, NORTH + 400))
    study.change('[right_of_way]\nhalf_width = "30 m"', "")
    return study


def test_string_that_a_raise_would_lift_is_kept_down(tmp_path):
    """The raise that the clearance alone asks for would lift a string in a hollow: the plan raises that one, too."""
    study = hollow(tmp_path / "study")
    planned = planned_with(tmp_path, study, ["raise"])
    m = planned.remedies
    alone = np.where(m.place == 2, 3.0 / m.step, 0.0)
    assert planned.status == 0
    assert planned.steps[m.place == 3] > 0, "the structure in the hollow is raised, too"
    assert planned.cost > m.cost(alone).sum()


def test_remedies_join_and_exclude_each_other():
    m = Remedies.of_rows([("raise", 4, 0.5, 3, 1, 1), ("post", 4, 1, 1, 1, 0), ("shorten", 4, 0.25, 2, 1, 0),
                          ("grade", 7, 0.5, 1, 1, 0), ("grade", 7, 0.5, 1, 3, 0)])
    assert m.by_place("grade", 9).toarray()[7].tolist() == [0, 0, 0, 1, 1]
    A = (exclusive(m, np.array([1, 2])) + in_order(m, "grade")).A.toarray() * m.step
    assert A == pytest.approx(np.array([[0, -1, -0.5, 0, 0], [0, 0, 0, AMPLE, -AMPLE]]))
    assert m.amounts("grade", np.array([0, 0, 0, 1, 1]), 9)[7] == pytest.approx(1.0)


def test_conditional_rows_hold_where_the_remedy_is_taken():
    """One asks 2 of the first column, but only where the second is taken: without it nothing is to be done."""
    rows = conditional(rows_of([[1, 0]], [2]), csr_array([[0.0, 1.0]]))
    assert least_cost(rows, step=1, most=3, fixed=0, per_step=1).cost == 0
    assert least_cost(rows + rows_of([[0, 1]], [1]), step=1, most=3, fixed=0, per_step=1).steps.tolist() == [2, 1]


def test_changed_framings(tmp_path):
    x, f = facts_of(tmp_path)
    changes = [Change(string="post") if i == 1 else Change(1.0, 0.3) if i == 3 else Change(string="strain") if i == 4
               else Change() for i in range(len(x))]
    y, g = change_structures(x, f, changes)
    assert y.framing.tolist()[:5] == ["hold", "hang post", "hold", "hang strings -0.3 m +1 m", "hang strain"]
    assert y.role[4] == "strain" and y.role[1] == "suspension"
    rows = {(n, w): (h, s, length) for n, w, h, s, length in
            zip(g.framing, g.wire, g.height, g.string, g.string_length, strict=True)}
    assert rows["hang post", "A"] == (19.0, "post", 1.4)
    assert rows["hang strings -0.3 m +1 m", "A"] == (20.0, "suspension", pytest.approx(1.1))
    assert rows["hang strain", "B"][1] == "strain"


def test_cut_ground_is_a_patch_of_the_raster_grid(tmp_path):
    """Cells of the patch lie on those of the ground, below them, and nowhere else; the volume is what went."""
    planned = planned_with(tmp_path, short_study(tmp_path / "study", lower=2.0), ["grade"], "largest_cut = 4")
    with rasterio.open(tmp_path / "plan" / "graded.tif") as cut, rasterio.open(tmp_path / "study/ground.tif") as old:
        z = cut.read(1, masked=True)
        window = old.window(*cut.bounds)
        was = old.read(1, window=window)
        assert (window.col_off, window.row_off) == (pytest.approx(round(window.col_off)),
                                                    pytest.approx(round(window.row_off)))
        cell = abs(cut.transform.a * cut.transform.e)
    assert (z.compressed() < was[~z.mask]).all()
    dug = float((was - z).sum()) * cell
    rows = taken(planned)
    # Depth is of ground, cells are of the grid: their ratio is within a thousandth.
    assert dug == pytest.approx(np.nansum(rows["volume_m3"]), rel=2e-3)


def test_lines_of_a_plan_that_cannot_be(tmp_path):
    planned = planned_with(tmp_path, short_study(tmp_path / "study"), ["shorten", "tighten"])
    words = "\n".join(plan_lines(planned))
    assert "cannot meet" in words and "ground (vertical) lacks" in words
    assert "not offered: tighten, as it is strung as taut as its limits allow" in words


def test_cost_curve_ends_with_the_plan_of_the_study(tmp_path):
    """The hottest point is the plan itself; a colder wire has fewer violations and costs no more; files hold them."""
    study = short_study(tmp_path / "study", lower=1.5)
    study.text += '\n[plan]\nremedies = ["raise"]\n'
    points = ask(study.write(), "plan_cost_curve", "today", steps=3)
    planned = ask(study.path, "plan", "today", tmp_path / "plan")
    assert [r.temperature for r in points] == sorted(r.temperature for r in points) and points[-1].temperature == 75
    assert points[-1].outages >= 1 and points[-1].circuit_hours > 0 and points[-1].spans >= 1
    assert points[-1].cost == pytest.approx(planned.cost) and points[-1].violations == planned.before.short
    assert all(a.violations <= b.violations and a.cost <= b.cost for a, b in zip(points[:-1], points[1:], strict=True))
    table, drawing = write_cost_curve(points, tmp_path / "curve", "today", kind="png")
    assert len(table.read_text().splitlines()) == 4 and drawing.stat().st_size > 5000
    assert len(cost_curve_lines(points, "today")) == 5


def test_section_that_is_none_is_refused(tmp_path):
    study = TinyStudy(tmp_path / "study")
    study.change("temperature = 10\n", 'temperature = 10\n[[options.tightened]]\nsection = "1-2"\nby = 0.1\n')
    with pytest.raises(InputError, match="found '1-2'"):
        read_inputs(load_study(study.write()))
