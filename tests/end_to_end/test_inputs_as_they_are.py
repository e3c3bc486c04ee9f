"""Structures and obstacles as data have them: other words for values, rows that do not count, tables of places, lines.

Each way to tell a study must give the margins of the plain study to a tenth of a millimetre: the facts are the same.
"""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from corridor.errors import InputError


@pytest.fixture
def roads(study):
    """The tiny study with a road below each span."""
    study.add_roads()
    return study


def margins(found):
    """Worst margins by what is protected, span and case."""
    table = found["clearances"]
    return table.set_index(["span", "case", "against"])["margin_m"].sort_index()


def alike(a, b):
    assert len(a) and (a.index == b.index).all()
    np.testing.assert_allclose(a, b, atol=1e-4)


def rewrite(study, name, change):
    """Change the columns of a layer that is written already."""
    path = study.folder / f"{name}.gpkg"
    table = change(gpd.read_file(path))
    path.unlink()
    table.to_file(path, layer=name, driver="GPKG")


def kind_of_road(study, *kinds):
    rewrite(study, "roads", lambda table: table.assign(kind=list(kinds)))
    study.change('category = "road"', 'column = "kind"')


# What values mean


def test_values_mean_what_the_study_says(roads, other_study):
    other_study.add_roads()
    wanted = margins(other_study.check())
    roads.structures["role"] = ["E", "S", "T", "E"]
    roads.change('file = "line.gpkg"', 'file = "line.gpkg"\nvalues = {role = {E = "terminal", S = "suspension", '
                 'T = "strain"}}')
    kind_of_road(roads, "motorway", "road", "track")
    roads.text += 'values = {category = {motorway = "road", track = "road"}}\n'
    alike(margins(roads.check()), wanted)


@pytest.mark.parametrize("part", ["role", "category"])
def test_a_value_without_entry_is_one_error(roads, part):
    if part == "role":
        roads.structures["role"] = ["terminal", "Trag", "Trag", "terminal"]
        roads.change('file = "line.gpkg"', 'file = "line.gpkg"\nvalues = {role = {T = "strain"}}')
        words = "line.gpkg", "column role", "'Trag' in 2 features", "suspension"
    else:
        kind_of_road(roads, "alley", "alley", "alley")
        roads.text += 'values = {category = {motorway = "road"}}\n'
        words = "roads.gpkg", "column kind", "'alley' in 3 features", "motorway"
    with pytest.raises(InputError) as error:
        roads.check()
    assert all(word in str(error.value) for word in words), error.value


def test_numbers_may_be_meant_by_texts(roads):
    """A height class stands for a height: no class is ever read as no height."""
    rewrite(roads, "roads", lambda table: table.assign(high=["low", "high", "low"]))
    roads.change("height = 0", 'height_column = "high"\nvalues = {height = {low = 0, high = "3 m"}}')
    found = margins(roads.check()).xs("hot", level="case").xs("road", level="against")
    plain = margins(roads.check()).xs("hot", level="case").xs("ground", level="against")
    assert found["2-3"] < found["1-2"] - 2 and len(plain) == 3


# Which rows count


def test_rows_that_do_not_count_are_told(roads, other_study):
    other_study.add_roads()
    wanted = margins(other_study.check())
    more = roads.structures.iloc[[1]].assign(structure="2 old", order=2.5, northing=5_600_050.0)
    roads.structures = pd.concat([roads.structures, more], ignore_index=True)
    roads.structures["state"] = ["in use"] * 4 + ["gone"]
    roads.change('file = "line.gpkg"', 'file = "line.gpkg"\nwhere = {state = "in use"}')
    rewrite(roads, "roads", lambda table: table.assign(kv=[110.0, 220.0, np.nan]))
    roads.text += 'where = {kv = ["110", 220]}\n'
    found = roads.check()
    own = margins(found)
    assert ("3-4", "hot", "road") not in own.index
    alike(own, wanted.drop(index=[key for key in wanted.index if key[0] == "3-4" and key[2] == "road"]))
    warnings = found["run"]["warnings"][0]
    assert "structures: where leaves out 1 of 5 rows, which nothing is compared with: state gone (1)" in warnings
    assert "obstacles.roads: where leaves out 1 of 3 rows, which nothing is compared with: kv missing (1)" in warnings
    assert found.row("inputs", part="obstacles.roads")["features_left_out"] == 1
    assert found.row("inputs", part="structures")["features_left_out"] == 1


@pytest.mark.parametrize(("second", "left"), [("b", 1), ("[\"b\", \"c\"]", 0)])
def test_of_parts_of_a_layer_what_is_in_none_is_told(roads, second, left):
    """Two sections of one layer share its rows: what one leaves out the other has."""
    rewrite(roads, "roads", lambda table: table.assign(kind=["a", "b", "c"]))
    value = second if second.startswith("[") else f'"{second}"'
    roads.text += (f'where = {{kind = "a"}}\n[[obstacles]]\nname = "others"\nfile = "roads.gpkg"\ncategory = "road"\n'
                   f'height = 0\nwhere = {{kind = {value}}}\n')
    warnings = roads.check()["run"]["warnings"][0]
    told = f"obstacles.roads, obstacles.others: where leaves out {left} of 3 rows"
    assert (told in warnings) == bool(left) and "obstacles.roads: where" not in warnings


@pytest.mark.parametrize(("where", "words"), [
    ('{kind = "lane"}', ("roads.gpkg", "where", "no row that counts of 3", "kind street (3)")),
    ('{knd = "lane"}', ("roads.gpkg", "no column 'knd'", "kind"))])
def test_a_filter_that_leaves_nothing_is_an_error(roads, where, words):
    rewrite(roads, "roads", lambda table: table.assign(kind="street"))
    roads.text += f"where = {where}\n"
    with pytest.raises(InputError) as error:
        roads.check()
    assert all(word in str(error.value) for word in words), error.value


@pytest.mark.parametrize("key", ['where = {kind = []}', 'where = "kind"', 'values = {category = {a = true}}',
                                 'values = {colour = {a = "b"}}'])
def test_what_is_no_filter_and_no_meaning_is_refused(roads, key):
    roads.text += f"{key}\n"
    with pytest.raises(InputError, match=r"obstacles\.roads\.(where|values)"):
        roads.check()


# Tables of places


def as_table(study, *, order=True, lost=None):
    """The structures as a table of places, and the study that reads it."""
    study.write()
    table = study.structures.rename(columns={"easting": "E", "northing": "N"}).astype({"E": object})
    if lost is not None:
        table.loc[1, "E"] = lost
    (table if order else table.drop(columns="order")).to_csv(study.folder / "line.csv", index=False)
    study.change('file = "line.gpkg"', 'file = "line.csv"\nx_column = "E"\ny_column = "N"\ncrs = "EPSG:25832"')


def test_structures_and_obstacles_from_tables_of_places(study, other_study):
    places = [(500_100.0, 5_600_003.0), (500_420.0, 5_599_990.0)]
    for each in (study, other_study):
        each.rules = each.rules.replace("road,road", "tree,tree")
        each.add_obstacle("trees", "tree", shapely.points(places), "height = 9\nradius = 2")
    wanted = margins(other_study.check())
    as_table(study)
    (study.folder / "trees.csv").write_text("id,X,Y\n" + "".join(f"{i},{x},{y}\n" for i, (x, y) in enumerate(places)))
    study.change('file = "trees.gpkg"', 'file = "trees.csv"\nx_column = "X"\ny_column = "Y"\ncrs = "EPSG:25832"')
    alike(margins(study.check()), wanted)


@pytest.mark.parametrize("lost", ["", "abc"])
def test_a_place_that_is_no_number_is_never_a_place(study, lost):
    """GDAL alone would take words for 0: a structure or a tree far away."""
    (study.folder / "trees.csv").write_text(f"X,Y\n500100,5600003\n{lost},5600000\n")
    study.text += ('\n[[obstacles]]\nname = "trees"\nfile = "trees.csv"\nx_column = "X"\ny_column = "Y"\n'
                   'crs = "EPSG:25832"\ncategory = "road"\nheight = 3\n')
    found = study.check()
    assert found.rows("not_assessed", obstacle="trees:2")["reason"].str.contains("X").all()
    assert len(found.rows("not_assessed", obstacle="trees:2")) and found.result.status != 0
    as_table(study, lost=lost)
    with pytest.raises(InputError, match=r"line\.csv: layer line, feature 2: found E"):
        study.check()


@pytest.mark.parametrize(("text", "words"), [
    ('crs = "EPSG:25832"', "no CRS"), ('y_column = "N"', "x_column together with y_column"),
    ('x_column = "E"', "no column 'F'")])
def test_a_table_of_places_is_told_in_full(study, text, words):
    as_table(study)
    study.change(text, 'x_column = "F"' if "'F'" in words else "")
    with pytest.raises(InputError, match=words):
        study.check()


def test_a_crs_that_the_layer_denies_is_refused(study):
    study.change('file = "line.gpkg"', 'file = "line.gpkg"\ncrs = "EPSG:25833"')
    with pytest.raises(InputError, match="says ETRS89 / UTM zone 32N"):
        study.check()


# Structures along a line


def along(study, parts, *, keys="", points=None, crs="EPSG:25832"):
    study.structures = study.structures.sample(frac=1, random_state=5)
    as_table(study, order=False)
    gpd.GeoDataFrame({"n": range(len(parts))}, geometry=parts, crs=crs).to_file(study.folder / "way.gpkg")
    study.change("[framings]", f'[structures.route]\nfile = "way.gpkg"\n{keys}\n[framings]')


def test_order_comes_from_the_line(study, other_study):
    wanted = margins(other_study.check())
    e, n = other_study.structures[["easting", "northing"]].to_numpy(float).T
    a, b = shapely.linestrings([(e[0], n[0]), (e[1], n[1] + 1)]), shapely.linestrings(
        [(e[1], n[1] + 1), (e[2], n[2]), (e[3], n[3])])
    along(study, [a, b])
    found = study.check()
    alike(margins(found), wanted)
    assert "bends" not in (found["run"]["warnings"][0] or "")
    assert found.row("inputs", part="structures.route")["digest"]


@pytest.mark.parametrize(("shift", "keys", "words"), [
    (6.0, "", r"way\.gpkg: layer way: found structure \d, 6\.0 m from the line, the farthest of 4; .* within 5 m"),
    (6.0, 'reach = "7 m"', None), (6.0, 'line_column = "n"', "no line 'main'; accepted: 0")])
def test_a_structure_away_from_the_line_is_an_error(study, shift, keys, words):
    e, n = study.structures[["easting", "northing"]].to_numpy(float).T
    along(study, [shapely.linestrings(np.column_stack([e, n + shift]))], keys=keys)
    if words is None:
        assert study.check().result.status == 0
        return
    with pytest.raises(InputError, match=words):
        study.check()


def test_a_bend_without_structure_is_told(study):
    e, n = study.structures[["easting", "northing"]].to_numpy(float).T
    bent = np.insert(np.column_stack([e, n]), 2, [e[1] + 150, n[1] + 40], axis=0)
    along(study, [shapely.linestrings(bent)])
    assert "bends at 1 place where no structure stands" in study.check()["run"]["warnings"][0]


def test_a_line_in_pieces_that_do_not_join_is_refused(study):
    e, n = study.structures[["easting", "northing"]].to_numpy(float).T
    xy = np.column_stack([e, n])
    along(study, [shapely.linestrings(xy[:2]), shapely.linestrings(xy[2:])])
    with pytest.raises(InputError, match="2 pieces that do not join"):
        study.check()


# Tags as open data have them


def test_the_highest_of_several_voltages_counts(study, other_study):
    """110000;20000 asks for the room of 110 kV, never for that of 20 kV."""
    wire = shapely.linestrings([(500_150.0, 5_599_950.0, 106.0), (500_155.0, 5_600_050.0, 106.0)])
    for each, tag in ((study, "110000;20000"), (other_study, "110000")):
        each.rules += "line,line,vertical,1,0.01,0,,,,\n"
        each.rules = each.rules.replace("buffer\n", "buffer,other_per_kv\n", 1).replace("0.4\n", "0.4,\n").replace(
            "road,road,vertical,5.5,0.01,23,,,,\n", "road,road,vertical,5.5,0.01,23,,,,,\n").replace(
            "line,line,vertical,1,0.01,0,,,,\n", "line,line,vertical,1,0.01,0,,,,,0.01\n")
        each.add_obstacle("others", "line", [wire], 'voltage_column = "voltage"\nwhere = {power = ["line"]}',
                          power=["line"], voltage=[tag], wires=["double"])
    found = study.check()
    alike(margins(found), margins(other_study.check()))
    assert ("obstacles.others: 1 near the line have several voltages, of which the highest counts"
            in found["run"]["warnings"][0])
