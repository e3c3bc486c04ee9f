"""Trees that a plan trims: how much by hand, growth until the next cutting, how the copy has them, and what is refused.

Sources: the catenary `y = c cosh(x / c)` (any textbook of statics). That a tree is an upright up to its top, that it
falls about its foot as a rod, and that what is cut grows again until the next cutting are common practice, no source.
"""

from dataclasses import replace

import geopandas
import numpy as np
import pyogrio
import pytest
import shapely

from corridor.errors import InputError
from corridor.planning.outages.outages import outages_of
from corridor.planning.outages.states import with_items
from corridor.planning.outages.work import list_work
from corridor.planning.remedies.alterations import Tree
from corridor.planning.remedies.each_alone import each_alone
from corridor.planning.remedies.plan import plan_option, site_of
from corridor.planning.remedies.taken import plan_lines, taken, write_remedies
from corridor.planning.remedies.trimming import trees_of, trim_worth
from corridor.planning.remedies.variants import assess_variant
from corridor.session import open_study
from corridor.study import load_study
from tests.common import allowed, planned_of
from tests.end_to_end.conftest import EAST, NORTH, TinyStudy, line_of, plane

PLAN = "least_tree_height = 4\ntree_growth = '0.5 m'\ncutting_cycle = 4\n"


def wooded(folder, trees, keys="growth = '0.5 m'", plan=PLAN, kinds=("trim",), still=True, **columns):
    """A study with trees (m east, m north, height [m]) to be 3 m from wires; without wind where it is still."""
    study = TinyStudy(folder)
    study.change('[right_of_way]\nhalf_width = "30 m"', "")
    if still:
        study.change('[[cases]]\nname = "swung"\ntemperature = 10\nwind = "290 Pa"\nchecks = ["horizontal"]\n', "")
    study.rules += "tree,tree,radial,3.0,,,,,,\n"
    columns = columns or {"high": [h for *_, h in trees]}
    study.add_obstacle("trees", "tree", [shapely.Point(EAST + e, NORTH + n) for e, n, _ in trees],
                       ('height_column = "high"\n' if "high" in columns else "") + keys, **columns)
    return allowed(study, kinds, plan)


def copied(folder):
    """The trees of the planned copy, and its table of them."""
    tables = load_study(folder / "study.toml", trust=True).tables["obstacles"][0]
    return geopandas.read_file(folder / tables["file"], layer=tables["layer"]), tables


# How much, by hand


def test_the_cut_is_the_least_of_whole_steps_and_growth_more(tmp_path):
    """One span between strain strings of no length: a catenary through both ends with the tension of the findings, in
    numpy; the tree stands beneath wire A, and the fewest steps after which all of the wire is 3 m from its top are
    those of the plan. Regrowth is four years of 0.5 m, of which the layer adds 0.5 m already."""
    study = wooded(tmp_path / "study", [(130, 4, 14.0)])
    study.structures = line_of(2)
    planned = planned_of(study, tmp_path / "plan")
    wires = pyogrio.read_dataframe(tmp_path / "plan" / "findings.gpkg", layer="wires")
    mass = planned.site.wiring.conductor.mass
    need = 0
    for case, ice in (("hot", 0.0), ("ice", None)):
        row = wires[(wires["wire"] == "A") & (wires["case"] == case)].iloc[0]
        ends = shapely.get_coordinates(row.geometry, include_z=True)[[0, -1]]
        weight = mass * 9.80665 if ice is not None else float(row["horizontal_tension_n"]) / row["catenary_constant_m"]
        c = float(row["horizontal_tension_n"]) / weight
        span, rise = ends[1, 0] - ends[0, 0], ends[1, 2] - ends[0, 2]
        # z = z0 + c (cosh((x - x0) / c) - cosh(x0 / c)), and its low point from the rise.
        x0 = span / 2 - c * np.arcsinh(rise / (2 * c * np.sinh(span / (2 * c))))
        x = np.linspace(0, span, 600_001)
        z = ends[0, 2] + c * (np.cosh((x - x0) / c) - np.cosh(x0 / c))
        top = plane(EAST + 130, NORTH + 4) + 14.5
        away = [np.hypot(x - 130, np.maximum(z - (top - 0.5 * k), 0)).min() for k in range(20)]
        need = max(need, int(np.argmax(np.array(away) >= 3)))
    assert need >= 2
    (name,), (cut,), (left,) = (taken(planned)[key] for key in ("where", "amount", "height_left_m"))
    # At the next cutting it is lower by the steps; cut off are the steps and what grows beyond the layer's growth.
    assert name == "trees:1" and cut == pytest.approx(0.5 * need + 4 * 0.5 - 0.5)
    assert left == pytest.approx(14.0 - cut, abs=0.1) and left <= 14.0 - cut + 1e-9
    assert copied(tmp_path / "plan")[0]["high"].tolist() == pytest.approx([14.0 - 0.5 * need])
    assert planned.cost == pytest.approx(0.1 + 0.02 * cut)


def test_a_tree_that_falls_gains_all_that_is_cut(tmp_path):
    """By hand: its top is as far from its foot as it is high, so it must be lower by what it strikes too far."""
    study = wooded(tmp_path / "study", [(150, 14, 23.0)], "growth = '0.5 m'\nfalls = true")
    planned = planned_of(study, tmp_path / "plan")
    short = planned.before.layers["violations"]
    assert set(short["position"]) == {"falling"} and planned.status == 0
    need = np.ceil(-short["margin_m"].min() / 0.5 - 1e-9)
    assert planned.after.alterations.trimmed.tolist() == [0.5 * need]


def test_what_a_cut_is_worth_is_the_distance_to_what_is_left():
    """A place of the wire against an upright in numpy, all of its points, above, beside and far below its top, while it
    is lower already, and narrower. Where the place is over the crown, what is cut aside is worth no less."""
    random = np.random.default_rng(5)
    beside, above = random.uniform(0.2, 4, 40), random.uniform(-6, 6, 40)
    tree = Tree(20.0, 120.0, 0.0, 1.0, 16, 5.0, 8)
    lower, narrower = (0.5 * random.integers(0, 6, 40) for _ in range(2))

    def away(top, radius):
        """Of a place so far beside the stem as the crown is wide now, and `beside` more."""
        upright = top[:, None] - np.linspace(0, 40, 40_001)
        gap = np.maximum(beside + 5.0 - narrower - radius, 0.0)
        return np.hypot(gap[:, None], 120.0 + above[:, None] - upright).min(axis=1)

    now = away(120.0 - lower, 5.0 - narrower)
    rows = {"measure": np.full(40, "radial", object), "position": np.full(40, "above", object), "actual_m": now - 0.2,
            "bundle_m": np.full(40, 0.2), "wire_elevation_m": 120.0 + above}
    worth = trim_worth(rows, np.zeros(40, int), {0: tree}, 0.5, lower, narrower)
    assert worth["trim"].shape == (40, 16) and worth["side_trim"].shape == (40, 8)
    for kind, done in (("trim", lower), ("side_trim", narrower)):
        known = np.array([w[:int(2 * d)].sum() for w, d in zip(worth[kind], done, strict=True)])
        from_now = np.cumsum(worth[kind], axis=1) - known[:, None]
        for k in range(worth[kind].shape[1]):
            less = np.full(40, 0.5 * (k + 1))
            left = away(120.0 - less, 5.0 - narrower) if kind == "trim" else away(120.0 - lower, 5.0 - less)
            assert now + from_now[:, k] == pytest.approx(left, abs=1e-3)
    for other in ({"measure": "horizontal"}, {"position": "falling"}):
        gains = trim_worth(rows | {name: np.full(40, value, object) for name, value in other.items()},
                           np.zeros(40, int), {0: tree}, 0.5, lower, narrower)
        assert not gains["side_trim"].any() and set(gains["trim"].ravel()) == {0.0 if "measure" in other else 0.5}


# Growth


@pytest.mark.parametrize(("layer", "plan", "regrowth"), [
    ("growth = '1.5 m'", "", 1.5), ("", "tree_growth = 0.5\ncutting_cycle = 4", 2.0),
    ("growth = '1.5 m'", "tree_growth = 0.5\ncutting_cycle = 4", 2.0),
    ("growth = '1.5 m'", "tree_growth = 0.1\ncutting_cycle = 2", 1.5)])
def test_what_is_left_clears_with_all_that_grows_until_the_next_cutting(tmp_path, layer, plan, regrowth):
    """The greater of both growths, by hand: a tree as high as what is left and its regrowth clears where nothing grows,
    and is the highest of whole steps that does; no tree of the copy is higher than it was."""
    trees = [(150, -4, 16.0), (150, 10, 18.0), (450, -4, 2.0)]
    planned = planned_of(wooded(tmp_path / "study", trees, layer, f"least_tree_height = 1.5\n{plan}\n", still=False),
                         tmp_path / "plan")
    assert planned.status == 0 and planned.checked.status == 0
    table = taken(planned)
    assert table["where"] == ["trees:1", "trees:2"]
    high, grows = [16.0, 18.0, 2.0], 1.5 if layer else 0.0
    for i, (cut, left) in enumerate(zip(table["amount"], table["height_left_m"], strict=True)):
        assert left == pytest.approx(high[i] - cut, abs=0.1) and left <= high[i] - cut + 1e-9
        # What is said to be left is to the decimetre below.
        high[i] = high[i] - cut + regrowth
    now = copied(tmp_path / "plan")[0]["high"].to_numpy()
    assert (now <= [16.0, 18.0, 2.0]).all() and now[2] == 2.0
    assert now[:2] + grows == pytest.approx(high[:2])
    for k, status in ((0, 0), (1, 1)):
        ends = [(e, n, h + 0.5 * k) for (e, n, _), h in zip(trees, high, strict=True)]
        study = wooded(tmp_path / f"end {k}", ends, "", still=False)
        assert bool(study.check().result.violations) == bool(status)


# How the copy has it


@pytest.mark.parametrize(("keys", "columns", "name", "left"), [
    ('height_column = "size"\nheight_unit = "ft"', {"size": [50, 16]}, "size", [50 - 4.5 / 0.3048, 16]),
    ('height_column = "size"', {"size": ["50 ft", "16 ft"]}, "size", [f"{50 * 0.3048 - 4.5!r} m", "16 ft"]),
    ("height = '15.24 m'", {"kind": ["oak", "elm"]}, "height_planned", [15.24 - 4.5, 15.24]),
    ('elevation_column = "top"\nelevation_unit = "ft"', {"top": [400.0, 300.0]}, "top", None),
    ("", {"kind": ["oak", "elm"]}, None, None)])
def test_the_copy_lowers_the_tree_where_its_height_stands(tmp_path, keys, columns, name, left):
    """A column of numbers in feet, of words, of elevations; one height of all; Z. The check of the copy finds what the
    last look found, and the other tree, far off, stays as it is."""
    study = wooded(tmp_path / "study", [(150, -4, 0), (150, 200, 0)], keys + "\ngrowth = 1", **columns)
    if name is None:
        points = shapely.points([[EAST + 150, NORTH - 4, 118.2], [EAST + 150, NORTH + 200, 120.0]])
        geopandas.GeoDataFrame(columns, geometry=points, crs="EPSG:25832").to_file(
            study.folder / "trees.gpkg", layer="trees", driver="GPKG")
    planned = planned_of(study, tmp_path / "plan")
    assert planned.status == 0 and planned.checked.status == 0, planned.forbids
    done = planned.after.alterations.trimmed
    assert done[0] > 0 and not done[1:].any()
    rows, table = copied(tmp_path / "plan")
    if name is None:
        assert shapely.get_z(rows.geometry).tolist() == pytest.approx([118.2 - done[0], 120.0], abs=1e-9)
    elif left is None:
        assert rows[name].tolist() == pytest.approx([400 - done[0] / 0.3048, 300.0], abs=1e-9)
    else:
        more = 4.5 - done[0]
        assert rows[name][1] == left[1] if isinstance(left[1], str) else rows[name][1] == pytest.approx(left[1])
        first = float(str(rows[name][0]).split()[0]) * (0.3048 if table.get("height_unit") == "ft" else 1.0)
        want = float(str(left[0]).split()[0]) * (0.3048 if table.get("height_unit") == "ft" else 1.0)
        assert first == pytest.approx(want + more, abs=1e-9)
    written = pyogrio.read_dataframe(tmp_path / "plan" / "findings.gpkg", layer="clearances")
    for column in ("margin_m", "other_elevation_m"):
        assert np.sort(written[column].to_numpy()) == pytest.approx(
            np.sort(planned.after.layers["clearances"][column].astype(float)), abs=1e-4)


def test_of_several_files_the_tree_of_one_is_lower(tmp_path):
    """Trees of two files with the same identifiers, heights in feet, as one layer: the one that is too near is lower in
    the copy, its namesake is as it was."""
    study = wooded(tmp_path / "study", [(150, -4, 46.0), (450, -4, 3.0)],
                   'id_column = "id"\nheight_unit = "ft"\ngrowth = 1', id=[1.0, 2.0], high=[46, 3])
    geopandas.GeoDataFrame({"id": [1.0, 2.0], "high": [7, 8]}, crs="EPSG:25832", geometry=[
        shapely.Point(EAST + e, NORTH - 4) for e in (700, 800)]).to_file(study.folder / "more.gpkg")
    study.change('file = "trees.gpkg"', 'file = ["trees.gpkg", "more.gpkg"]')
    planned = planned_of(study, tmp_path / "plan")
    assert planned.status == 0 and planned.checked.status == 0 and taken(planned)["where"] == ["trees:trees 1"]
    rows = copied(tmp_path / "plan")[0].set_index("feature_before")["high"]
    lower = planned.after.alterations.trimmed.max() / 0.3048
    assert rows.to_dict() == pytest.approx({"trees 1": 46 - lower, "trees 2": 3, "more 1": 7, "more 2": 8})


def test_a_copy_of_a_copy_is_trimmed_on(tmp_path):
    """The copy is a study: with a greater distance asked for its tree is trimmed again, from the height that it has."""
    study = wooded(tmp_path / "study", [(150, -4, 0)], "height = '14 m'\ngrowth = 1", kind=["oak"])
    first = planned_of(study, tmp_path / "plan").after.alterations.trimmed[0]
    path = tmp_path / "plan" / "study.toml"
    (tmp_path / "study" / "rules.csv").write_text(study.rules.replace("radial,3.0", "radial,4.0"), encoding="utf-8")
    with open_study(path, trust=True) as opened:
        again = opened.plan("today", tmp_path / "again")
    assert again.status == 0
    more = again.after.alterations.trimmed[0]
    assert 0.5 <= more <= 1.5
    assert copied(tmp_path / "again")[0]["height_planned"].tolist() == pytest.approx([14 - first - more])


# What is refused, and never lost from view


@pytest.mark.parametrize(("keys", "plan", "words"), [
    ("", "", "does not say how low trees may be trimmed (plan.least_tree_height)"),
    ("", "least_tree_height = 4", "does not say how much a tree of trees grows until the next cutting"),
    ("growth = 1", "least_tree_height = 14", "not higher by a step of 0.5 m than it may be trimmed to"),
    ("growth = 1", 'least_tree_height = 4\ntrimmable = ["line"]', "lets only these be trimmed: line"),
    ("growth = 1\nid_column = 'kind'", "least_tree_height = 4", "several things are named trees:oak")])
def test_why_no_tree_is_trimmed(tmp_path, keys, plan, words):
    study = wooded(tmp_path / "study", [(150, -4, 14.0), (150, -4.5, 14.0)], keys, f"{plan}\n", high=[14.0, 14.0],
                   kind=["oak", "oak"])
    study.rules += "line,line,vertical,2.0,,,,,,\n"
    planned = planned_of(study, tmp_path / "plan")
    assert planned.status == 1 and words in planned.refused["trim"]
    assert any(words in line for line in plan_lines(planned))
    rows = each_alone(planned, {})
    (note,) = set(rows["note"][rows["remedy"] == "trim the tree"])
    assert words in note and note.startswith("not offered: ")


@pytest.mark.parametrize(("plan", "where", "words"), [
    ("tree_growth = 0.5", "plan.tree_growth", "no plan.cutting_cycle"),
    ("cutting_cycle = 4", "plan.cutting_cycle", "no plan.tree_growth"),
    ('trimmable = ["hedge"]', "plan.trimmable.0", "'hedge'"),
    ("least_tree_height = 0.4", "plan.least_tree_height", "0.4")])
def test_keys_that_cannot_be(tmp_path, plan, where, words):
    study = wooded(tmp_path / "study", [(150, -4, 14.0)], "", f"{plan}\n")
    with pytest.raises(InputError) as fault:
        planned_of(study, tmp_path / "plan")
    assert fault.value.where == where and words in str(fault.value)


def test_woods_and_what_a_surface_has_are_not_trimmed(tmp_path):
    """A wood is no point: it stays, and the plan says so."""
    study = wooded(tmp_path / "study", [(150, -4, 14.0)], "growth = 1", PLAN + 'trimmable = ["tree", "wood"]\n')
    study.rules += "wood,wood,vertical,3.0,,,,,,\n"
    wood = shapely.box(EAST + 140, NORTH - 10, EAST + 160, NORTH + 10)
    study.add_obstacle("woods", "wood", [wood], "height = 14\ngrowth = 1")
    planned = planned_of(study, tmp_path / "plan")
    assert planned.status == 1 and any("woods:1 (vertical) lacks" in words for words in planned.forbids)
    with open_study(study.path) as opened:
        site = site_of(opened.inputs, "today")
        names = site.facts.index.obstacles.obstacle.tolist()
        found = trees_of(site, [names.index("woods:1"), names.index("trees:1")])
        assert found[names.index("woods:1")] == "woods:1 is no point"
        assert isinstance(found[names.index("trees:1")], Tree)
        layer = site.facts.index.obstacles.layer.copy()
        layer[names.index("trees:1")] = "surface"
        index = replace(site.facts.index, obstacles=replace(site.facts.index.obstacles, layer=layer))
        assert trees_of(replace(site, facts=replace(site.facts, index=index)), [names.index("trees:1")]) == {
            names.index("trees:1"): "things of a surface are not trimmed"}


def test_no_tree_is_trimmed_so_low_that_only_the_ground_is_compared(tmp_path):
    """What stands no higher than 3 m is kept clear of by the rule for the ground alone where no rule is its own. The
    most that a tree may be trimmed leaves more at the next cutting, and its row stays."""
    study = wooded(tmp_path / "study", [(150, -4, 14.0)], "growth = '0.1 m'", "least_tree_height = 1\n")
    with open_study(study.write()) as opened:
        planned = plan_option(site_of(opened.inputs, "today"))
        (tree,) = planned.site.trees.values()
        assert tree.height - 0.5 * tree.most > 3.0 and tree.height - 0.5 * (tree.most + 1) <= 3.0 + 0.5
        all_ = replace(planned.after.alterations, trimmed=np.array([0.5 * tree.most]))
        assert "trees:1" in assess_variant(planned.site, all_).layers["clearances"]["obstacle"]


def test_a_tree_is_trimmed_or_taken_away_never_both(tmp_path):
    """Two trees: one may be trimmed low enough, at the other the wire is lower than the least height of a tree."""
    study = wooded(tmp_path / "study", [(150, -4, 14.0), (450, -4, 16.0)], "growth = 1",
                   "least_tree_height = '9 m'\nremove_cost = 1\n", kinds=("trim", "remove"))
    study.structures.loc[1, "easting"] = EAST + 300
    low = "low,A,phase,1,-4,14,suspension,1.4,40\nlow,B,phase,1,5,20,suspension,1.4,40\n"
    study.framings += low
    study.structures.loc[1, "framing"] = "low"
    planned = planned_of(study, tmp_path / "plan")
    done = planned.after.alterations
    assert planned.status == 0 and not (done.removed & (done.trimmed > 0)).any()
    assert (done.removed | (done.trimmed > 0)).all()


# Crowns


@pytest.mark.parametrize(("keys", "columns", "name"), [
    ('radius_column = "crown"\nradius_unit = "ft"', {"crown": [7 / 0.3048, 1.0]}, "crown"),
    ('radius_column = "crown"', {"crown": ["7 m", "1 m"]}, "crown"), ("radius = 7", {}, "radius_planned")])
def test_a_crown_is_cut_back_by_what_it_grows_more(tmp_path, keys, columns, name):
    """A tree beside the line, higher than its wires, whose crown is too near in still air. By hand: wire B hangs 5 m to
    the right, the stem stands 14 m there, and 3 m are asked for: a crown of 6 m, 1 m less of 7. It grows 1 m aside
    until the next cutting, so that 2 m are cut off and 5 m left; the copy has the 6 m."""
    trees = [(150, -14, 25.0), (150, 200, 25.0)]
    plan = "least_crown_radius = 2\ntrim_duration = '3 h'\n"
    study = wooded(tmp_path / "study", trees, f"growth = 1\n{keys}", plan, ("trim", "side_trim"), high=[25.0, 25.0],
                   **columns)
    planned = planned_of(study, tmp_path / "plan")
    assert planned.status == 0 and planned.checked.status == 0, planned.forbids
    assert planned.after.alterations.narrower.tolist() == [1.0, 0.0]
    table = taken(planned)
    assert table["remedy"] == ["side_trim"] and table["amount"] == [2.0] and table["radius_left_m"] == [5.0]
    assert planned.cost == pytest.approx(0.1 + 2 * 0.04)
    assert "plan.least_tree_height" in planned.refused["trim"]
    told = copied(tmp_path / "plan")[0][name].tolist()
    scale = 0.3048 if "ft" in keys else 1.0
    assert [float(str(each).split()[0]) * scale for each in told] == pytest.approx(
        [6.0, 7.0 if name == "radius_planned" else scale])
    (item,) = list_work(planned)
    assert (item.name, item.kind, item.hours) == ("trim trees:1 to a radius of 5 m", "trim", 3)
    assert not with_items(planned, []).narrower.any() and with_items(planned, [item]).narrower[0] == 1.0
    rows = each_alone(planned, {})
    own = rows["remedy"] == "cut back the crown"
    assert own.any() and rows["amount"][own].tolist() == pytest.approx([2.0] * own.sum())
    assert (rows["clears"][own] == True).all()  # noqa: E712


def test_a_crown_is_not_cut_narrower_than_allowed(tmp_path):
    study = wooded(tmp_path / "study", [(150, -14, 25.0)], "growth = 1\nradius = 7", "least_crown_radius = '5.8 m'\n",
                   ("side_trim",))
    planned = planned_of(study, tmp_path / "plan")
    assert planned.status == 1
    assert planned.refused["side_trim"] == "trees:1 is not wider by a step of 0.5 m than it may be trimmed to"
    study = wooded(tmp_path / "other", [(150, -14, 25.0)], "growth = 1\nradius = 7", "", ("side_trim",))
    assert "plan.least_crown_radius" in planned_of(study, tmp_path / "plan of other").refused["side_trim"]


def test_a_tree_is_cut_from_above_and_around_where_that_is_the_least(tmp_path):
    """A tall tree beside the wires, and one beneath them: the first is cut around for less than from above, the second
    can only be cut from above. Work is one item a tree."""
    trees, keys = [(150, -14, 25.0), (450, -4, 14.0)], "growth = 1\nradius = 7"
    costs = {}
    for kinds in (("trim", "side_trim"), ("trim",)):
        study = wooded(tmp_path / f"study {len(kinds)}", trees, keys, "least_crown_radius = 1\nleast_tree_height = 4\n",
                       kinds)
        planned = planned_of(study, tmp_path / f"plan {len(kinds)}")
        assert planned.status == 0 and planned.checked.status == 0
        costs[kinds] = planned.cost
        done = planned.after.alterations
        assert ((done.trimmed > 0) | (done.narrower > 0)).all() and done.trimmed[1] > 0
        assert len(list_work(planned)) == 2 and done.narrower.any() == (len(kinds) == 2)
    assert costs["trim", "side_trim"] < costs["trim",] - 0.01


# Outages and tables


def test_trimming_is_work_that_makes_nothing_worse(tmp_path):
    """A work item for a tree, with an outage unless it takes none; before it is done the tree is as it stands."""
    study = wooded(tmp_path / "study", [(150, -4, 14.0), (450, -4, 14.0)], "growth = 1",
                   "least_tree_height = 4\ntrim_duration = '3 h'\n")
    planned = planned_of(study, tmp_path / "plan")
    work = list_work(planned)
    assert [(item.kind, item.hours, item.spans.tolist()) for item in work] == [("trim", 3, [0]), ("trim", 3, [1])]
    lefts = taken(planned)["height_left_m"]
    assert [item.name for item in work] == [f"trim trees:{i + 1} to {left:g} m above the ground" for i, left in
                                            enumerate(lefts)]
    assert all(item.out == ("main, circuit 1",) for item in work)
    some = with_items(planned, work[:1])
    assert some.trimmed[0] > 0 == some.trimmed[1] and not some.removed.any()
    assert set(assess_variant(planned.site, some).layers["violations"]["obstacle"]) == {"trees:2"}
    free = replace(planned.site, prices=planned.site.prices.model_copy(update={"trim_duration": 0.0}))
    outages = outages_of(replace(planned, basis=replace(planned.basis, site=free)))
    assert [item.kind for item in outages.without] == ["trim", "trim"] and not outages.work


def test_each_tree_alone_is_told_in_the_fewest_steps(tmp_path):
    """By the plan: a tree alone needs what the plan cuts, and is told with what grows; the layer `plan` has both."""
    study = wooded(tmp_path / "study", [(150, 10, 18.0)], "growth = 1", PLAN, still=False)
    planned = planned_of(study, tmp_path / "plan")
    rows = each_alone(planned, {})
    own = rows["remedy"] == "trim the tree"
    assert rows["clears"][own].tolist() == [True] and rows["unit"][own].tolist() == ["m"]
    assert rows["amount"][own].tolist() == pytest.approx(taken(planned)["amount"])
    assert rows["cost"][own].tolist() == pytest.approx([planned.cost])
    assert "grows until the next cutting, 2 m" in rows["note"][own][0]
    write_remedies(planned, tmp_path / "plan", alone=False)
    layer = pyogrio.read_dataframe(tmp_path / "plan" / "plan.gpkg", layer="plan")
    assert layer["remedy"].tolist() == ["trim"] and layer["unit"].tolist() == ["m"]
    assert layer["amount"][0] + layer["height_left_m"][0] == pytest.approx(18.0, abs=0.1)
