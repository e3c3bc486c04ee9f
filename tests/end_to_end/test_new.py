"""A line never seen before, from its files to findings: `corridor new`, then `corridor check`."""

import json
import tomllib

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import rasterio
import shapely
from rasterio.transform import Affine
from rasterio.windows import Window

import corridor
from tests.common import run
from tests.fresh_line import ground, places, write_files

#: Margins of the same line in metres and in feet may differ by so much [m].
ALIKE = 0.01


def make(data, folder, *more, **changed):
    """Run `corridor new` on files of a fresh line; return the exit status."""
    given = {"structures": data / "towers.gpkg", "ground": data / "ground.tif", "voltage": "110kV",
             "conductor": "264-AL1/62-ST1A"} | changed
    options = [part for key, value in given.items() if value is not None for part in (f"--{key}", str(value))]
    return run("new", folder, *options, *more)


def tables(folder):
    return tomllib.loads((folder / "study.toml").read_text(encoding="utf-8"))


def layer(folder, name):
    return pyogrio.read_dataframe(folder / "findings.gpkg", layer=name)


@pytest.fixture(scope="module")
def found(tmp_path_factory):
    """Studies of the same line in metres and in survey feet, made and checked by the commands: folders by unit."""
    base, folders = tmp_path_factory.mktemp("new"), {}
    for unit in ("m", "us-ft"):
        data, folder = write_files(base / f"data {unit}", unit), base / f"line {unit}"
        assert make(data, folder, "--obstacles", data / "map.gpkg", "--right-of-way", "25 m") == 0
        assert run("check", folder / "study.toml", "--quiet") in (1, 3)
        folders[unit] = folder
    return folders


def test_a_fresh_line_comes_to_findings(found):
    clearances, spans = layer(found["m"], "clearances"), layer(found["m"], "spans")
    assert len(spans) == 19
    assert set(spans["span"]) == {f"P-{i}-P-{i + 1}" for i in range(1, 20)}
    assert {"ground", "road", "rail", "water", "building"} <= set(clearances["against"])
    assert clearances[clearances["against"] == "ground"]["span"].nunique() == 19
    roles = layer(found["m"], "structures").set_index("structure")["role"]
    assert roles["P-9"] == "strain" and roles["P-14"] == "suspension"  # turns of 25 and 6 degrees
    assert list(roles[["P-1", "P-20"]]) == ["terminal", "terminal"]


def test_in_survey_feet_the_margins_are_the_same(found):
    keys = ["span", "case", "against", "obstacle", "measure"]
    metres, feet = (layer(found[unit], "clearances").fillna({"obstacle": ""}).set_index(keys)["margin_m"].sort_index()
                    for unit in ("m", "us-ft"))
    assert len(metres) > 80 and (metres.index == feet.index).all()
    np.testing.assert_allclose(feet, metres, atol=ALIKE)
    assert tables(found["us-ft"])["terrain"]["vertical_unit"] == "us-ft"


def test_wires_hang_over_the_ground_that_was_written(found):
    """Wires at suspension structures, by the generator's own numbers: at 0.6 of its height less a string of 1.7 m."""
    xy, wires = places(), layer(found["m"], "wires")
    cold = wires[(wires["case"] == "cold") & (wires["wire"] == "B") & (wires["span"] == "P-3-P-4")]
    _, _, z = shapely.get_coordinates(cold.geometry.iloc[0], include_z=True)[-1]
    # The ground is read from cells of 10 m: some centimetres of its waves are lost.
    assert z == pytest.approx(ground(*xy[3]) + 0.6 * (30 + 3 * np.sin(2.3 * 3)) - 1.7, abs=0.1)


def test_what_nothing_is_known_of_is_never_clear(found):
    """A bridge, a line of another owner, a dyke and a post without meaning: in no row that passes."""
    gaps, clearances = layer(found["m"], "not_assessed"), layer(found["m"], "clearances")
    for name in ("ways highway on bridges:903", "ways power:905", "ways man_made:906", "misc:1"):
        assert (gaps["obstacle"] == name).any(), name
        assert not ((clearances["obstacle"] == name) & (clearances["margin_m"] >= 0)).any(), name


def test_every_row_of_a_layer_is_in_some_part(found):
    """Filters of the parts of a layer leave nothing out of all of them."""
    parts = [o for o in tables(found["m"])["obstacles"] if o["layer"] == "ways"]
    files = layer(found["m"], "inputs").set_index("part")
    assert sum(files.loc[f"obstacles.{part['name']}", "features"] for part in parts) == 7


def test_all_that_is_assumed_is_told(found):
    study, run_row = tables(found["m"]), layer(found["m"], "run").iloc[0]
    keys = {row["key"] for row in study["assumptions"]}
    assert {"structures.order", "structures.role", "framings.height", "framings.offset", "rules.table",
            "options.wire.stringing.0.limit", "options.wire.maximum_temperature", "cases.ice", "cases.swung"} <= keys
    assert all(row["confirmed"] is False and row["reason"] for row in study["assumptions"])
    assert len(run_row["assumptions"].splitlines()) == len(study["assumptions"])
    assert f"{len(study['assumptions'])} ASSUMPTIONS NOT CONFIRMED" in run_row["cautions"]
    text = (found["m"] / "study.toml").read_text(encoding="utf-8")
    marked = [line for line in text.splitlines() if "# assumed: " in line]
    assert any(line.startswith("limit = ") for line in marked) and any(line.startswith("ice = ") for line in marked)


def test_a_clear_line_is_in_doubt_until_its_assumptions_are_confirmed(tmp_path):
    """Exit status 3 while something is assumed, 0 once it is confirmed; nothing else of the study changes."""
    data = write_files(tmp_path / "data")
    table = gpd.read_file(data / "towers.gpkg")
    table["HGT_m"] += 30
    (data / "towers.gpkg").unlink()
    table.to_file(data / "towers.gpkg")
    folder = tmp_path / "high"
    assert make(data, folder) == 0
    assert run("check", folder / "study.toml", "--quiet") == 3
    assert not len(layer(folder, "violations")) and not len(layer(folder, "not_assessed"))
    path = folder / "study.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("confirmed = false", "confirmed = true"), encoding="utf-8")
    accepted = "".join(f'\n[[accepted]]\nid = "{name}"\nreason = "invented"\n'
                       for name in sorted(set(layer(folder, "doubts")["doubt"])))
    path.write_text(path.read_text(encoding="utf-8") + accepted, encoding="utf-8")
    assert run("check", folder / "study.toml", "--quiet", "--trust") == 0


def test_roles_heights_and_order_of_the_file_are_taken(tmp_path):
    data = write_files(tmp_path / "data")
    table = gpd.read_file(data / "towers.gpkg")
    number = table["Pole No."].str[2:].astype(int)
    table["Type"] = np.where(number.isin([1, 20]), "Dead-end", np.where(number == 5, "Anchor", "Tangent"))
    table["SEQ"], table["Pole No."] = number * 10.0, [f"T{i}" for i in range(len(table))]
    table["wire_height_ft"] = 50.0
    table.drop(columns="HGT_m").to_file(data / "typed.gpkg")
    folder = tmp_path / "typed"
    assert make(data, folder, structures=data / "typed.gpkg") == 0
    made = pd.read_csv(folder / "structures.csv")
    assert list(made["order"]) == sorted(number * 10.0)
    assert list(made["role"]) == ["strain", *["suspension"] * 3, "strain", *["suspension"] * 14, "strain"]
    framings = pd.read_csv(folder / "framings.csv")
    assert set(framings["height"]) == {15.24}  # 50 ft, exactly
    keys = {row["key"]: row["value"] for row in tables(folder)["assumptions"]}
    assert "structures.order" not in keys and "tangent = suspension" in keys["structures.role"]


def test_of_open_data_what_carries_wires_is_taken(tmp_path):
    """Switches and the like between the towers are no structures, and that they are left out is told."""
    data = write_files(tmp_path / "data")
    table = gpd.read_file(data / "towers.gpkg").drop(columns="Pole No.").assign(power="tower")
    table.loc[[3, 7], "power"] = "pole"
    table["tower:type"] = "suspension"
    other = table.iloc[[0, 5]].assign(power="switch")
    pd.concat([table, other], ignore_index=True).to_file(data / "open.gpkg")
    assert make(data, tmp_path / "open", structures=data / "open.gpkg") == 0
    made = pd.read_csv(tmp_path / "open" / "structures.csv")
    assert len(made) == 20 and list(made["role"][[0, 19]]) == ["strain", "strain"]
    np.testing.assert_allclose(made[["x", "y"]], places()[::1 if made["x"][0] < made["x"][19] else -1])
    rows = {row["key"]: row for row in tables(tmp_path / "open")["assumptions"]}
    assert "power switch (2)" in rows["structures.where"]["value"]
    assert "from each to the nearest that is left" in rows["structures.order"]["value"]


def test_a_line_gives_the_order(tmp_path):
    data = write_files(tmp_path / "data")
    table = gpd.read_file(data / "towers.gpkg").rename(columns={"Pole No.": "owner_no"})
    table.to_file(data / "unnamed.gpkg")
    xy = places()
    gpd.GeoDataFrame({"wires": ["double"]}, geometry=[shapely.LineString(xy)], crs=table.crs).to_file(data / "way.gpkg")
    folder = tmp_path / "along"
    assert make(data, folder, structures=data / "unnamed.gpkg", line=data / "way.gpkg") == 0
    made = pd.read_csv(folder / "structures.csv")
    np.testing.assert_allclose(made[["x", "y"]], xy)
    assert tables(folder)["options"][0]["bundle"] == 2


def test_heights_too_tall_in_metres_are_feet(tmp_path):
    """80 without a unit, on a line of 110 kV: taken for feet, which hangs the wires lower."""
    data = write_files(tmp_path / "data")
    table = gpd.read_file(data / "towers.gpkg").rename(columns={"HGT_m": "Height"}).assign(Height=80.0)
    table.to_file(data / "tall.gpkg")
    assert make(data, tmp_path / "tall", structures=data / "tall.gpkg") == 0
    assert set(pd.read_csv(tmp_path / "tall" / "framings.csv")["height"]) == {round(0.6 * 80 * 0.3048, 2)}


def test_elevations_are_no_heights(tmp_path):
    """A column "height" of 150, an elevation perhaps: wires never hang more than half again as high as is usual."""
    data = write_files(tmp_path / "data")
    table = gpd.read_file(data / "towers.gpkg").rename(columns={"HGT_m": "Height"}).assign(Height=150.0)
    table.to_file(data / "far.gpkg")
    assert make(data, tmp_path / "far", structures=data / "far.gpkg") == 0
    assert pd.read_csv(tmp_path / "far" / "framings.csv")["height"].max() <= 1.5 * 14


def test_degrees_with_a_grid_to_work_in(tmp_path):
    data = write_files(tmp_path / "data")
    made = tmp_path / "degrees"
    assert make(data, made, structures=moved(data, data / "degrees.gpkg", "EPSG:4269"), crs="EPSG:32119") == 0
    assert run("check", made / "study.toml", "--quiet") in (1, 3)
    assert layer(made, "spans")["length_m"].sum() == pytest.approx(4170, rel=0.01)


def test_a_shapefile_without_crs_and_trees_in_degrees(tmp_path):
    data = write_files(tmp_path / "data")
    without_crs(data)
    xy = gpd.read_file(data / "towers.gpkg").to_crs("EPSG:4326").geometry
    (data / "trees.csv").write_text("lon,lat,tree_height_ft,kind\n" + "".join(
        f"{p.x + 0.0005},{p.y},{60 + i},tree\n" for i, p in enumerate(xy)))
    made = tmp_path / "line"
    assert make(data, made, "--obstacles", data / "trees.csv", structures=data / "bare.shp", crs="EPSG:32119") == 0
    section, = tables(made)["obstacles"]
    assert (section["crs"], section["height_unit"], section["x_column"]) == ("EPSG:4326", "ft", "lon")
    assert section["radius"] == 5  # a crown is no point
    assert run("check", made / "study.toml", "--quiet") in (1, 3)
    assert (layer(made, "clearances")["against"] == "tree").any()


def test_a_table_of_places(tmp_path):
    data = write_files(tmp_path / "data")
    table = gpd.read_file(data / "towers.gpkg")
    table.assign(Easting=table.geometry.x, Northing=table.geometry.y).drop(columns="geometry").to_csv(
        data / "towers.csv", index=False)
    assert make(data, tmp_path / "table", structures=data / "towers.csv", crs="EPSG:32119") == 0
    assert len(pd.read_csv(tmp_path / "table" / "structures.csv")) == 20


def test_other_countries_have_their_table(tmp_path):
    data = write_files(tmp_path / "data")
    assert make(data, tmp_path / "a", country="DE") == 0
    assert tables(tmp_path / "a")["rules"] == {"table": "european-electrical-distance"}
    assert make(data, tmp_path / "b", rules="us-rural-utility") == 0
    assert "rules.table" not in {row["key"] for row in tables(tmp_path / "b")["assumptions"]}


def test_for_machines(tmp_path, capsys):
    data = write_files(tmp_path / "data")
    assert make(data, tmp_path / "new", "--json") == 0
    told = capsys.readouterr()
    assert told.err == ""
    told = json.loads(told.out)
    assert told["structures"] == 20 and told["columns"]["structure"] == "Pole No." and told["assumptions"][0]["reason"]


def test_from_python(tmp_path):
    """The same study as by the command, byte by byte, but for the names of its folders."""
    data = write_files(tmp_path / "data")
    assert make(data, tmp_path / "same") == 0
    (tmp_path / "again").mkdir()
    made = corridor.make_study(str(tmp_path / "again" / "same"), data / "towers.gpkg", [data / "ground.tif"],
                               voltage="110 kV", conductor="264-AL1/62-ST1A")
    assert made.outside and made.structures == 20 and len(made.files) == 3
    for name in ("structures.csv", "framings.csv"):
        assert made.path.with_name(name).read_bytes() == (tmp_path / "same" / name).read_bytes()
    one, other = (path.read_text(encoding="utf-8") for path in (tmp_path / "same" / "study.toml", made.path))
    assert one.replace('"../data', '"../../data') == other


def test_for_people(tmp_path, capsys):
    """80 columns, but for paths; which column is what, and each assumption with its reason."""
    data = write_files(tmp_path / "data")
    assert make(data, tmp_path / "new", "--obstacles", data / "map.gpkg") == 0
    told = capsys.readouterr()
    assert max(map(len, told.out.splitlines())) <= 80
    assert "Pole No." in told.out and "16 % RTS" in told.out and "corridor check" in told.err
    assert "--trust" in told.err and make(data, tmp_path / "quiet", "--quiet") == 0
    assert capsys.readouterr() == ("", "")


# What cannot be used: one clear error, and nothing written


def bare(data, path):
    """A table without places."""
    path.write_text("name,height\nP-1,20\nP-2,21\n")
    return path


def moved(data, path, crs):
    gpd.read_file(data / "towers.gpkg").to_crs(crs).to_file(path)
    return path


@pytest.mark.parametrize(("changed", "words"), [
    ({"structures": lambda data: bare(data, data / "bare.csv")}, "no geometry, and no columns of places"),
    ({"structures": lambda data: data / "map.gpkg"}, "map.gpkg: layer misc: found one structure only"),
    ({"structures": lambda data: data / "none.gpkg"}, "no such file"),
    ({"structures": lambda data: leading_away(data)}, "which is outside the study's folder"),
    ({"structures": lambda data: moved(data, data / "degrees.gpkg", "EPSG:4326")},
     "the geographic CRS WGS 84; accepted: a projected CRS, or one to work in by --crs; perhaps --crs EPSG:32617"),
    ({"crs": "EPSG:4326"}, "projected CRS in metres"),
    ({"structures": lambda data: without_crs(data)}, "bare.shp: layer bare: found no CRS; accepted: a layer that says"),
    ({"conductor": "264-AT9/62"}, "perhaps 264-AT1/62-ST1A?"),
    ({"conductor": "no such wire"}, "a designation of the catalogue"),
    ({"voltage": "110"}, "perhaps '110 kV'"), ({"voltage": "high"}, "--voltage"),
    ({"ground": lambda data: data / "far.tif"}, "rasters that do not touch the line"),
    ({"ground": lambda data: data / "half.tif"}, "do not cover 10 of 20 structures"),
    ({"ground": lambda data: data / "map.gpkg"}, "no readable raster"),
    ({"country": "zz"}, "a code for which a table is built in"), ({"rules": "mine"}, "european-electrical-distance"),
    ({"right-of-way": "wide"}, "half of its width")])
def test_what_cannot_be_used_is_one_error(tmp_path, capsys, changed, words):
    data = write_files(tmp_path / "data")
    cut_ground(data)
    given = {key: value(data) if callable(value) else value for key, value in changed.items()}
    before = sorted(tmp_path.iterdir())
    assert make(data, tmp_path / "new", **given) == 2
    told = capsys.readouterr().err
    assert words in " ".join(told.split()) and told.count("corridor: ") == 1
    assert sorted(tmp_path.iterdir()) == before


def without_crs(data):
    gpd.read_file(data / "towers.gpkg").to_crs("EPSG:32119").to_file(data / "bare.shp")
    (data / "bare.prj").unlink()
    return data / "bare.shp"


def leading_away(data):
    """A virtual layer whose data lie elsewhere."""
    path = data / "away.vrt"
    path.write_text('<OGRVRTDataSource><OGRVRTLayer name="poles"><SrcDataSource>/etc/towers.gpkg</SrcDataSource>'
                    '</OGRVRTLayer></OGRVRTDataSource>')
    return path


def cut_ground(data):
    """Ground elsewhere, and ground below half of the line."""
    middle = places()[9:11, 0].mean()
    with rasterio.open(data / "ground.tif") as whole:
        count = int((middle - whole.bounds.left) // 10)
        for name, window, shift in (("half", Window(0, 0, count, whole.height), 0),
                                    ("far", Window(0, 0, 50, 50), 90_000)):
            moved_by = Affine(10, 0, whole.bounds.left + shift, 0, -10, whole.bounds.top)
            profile = whole.profile | {"width": window.width, "height": window.height, "transform": moved_by}
            with rasterio.open(data / f"{name}.tif", "w", **profile) as part:
                part.write(whole.read(1, window=window), 1)


@pytest.mark.parametrize("name", ["study.toml", "notes.txt"])
def test_a_used_folder_is_refused(tmp_path, capsys, name):
    data, folder = write_files(tmp_path / "data"), tmp_path / "used"
    folder.mkdir()
    (folder / name).write_text("mine")
    assert make(data, folder) == 2
    assert "a new folder" in capsys.readouterr().err
    assert [path.name for path in folder.iterdir()] == [name] and (folder / name).read_text() == "mine"


def test_no_file_is_written_over(tmp_path, capsys):
    """A study beside data of the same stem is no part of the data."""
    folder = tmp_path / "line"
    folder.mkdir()
    data = write_files(tmp_path / "data")
    (data / "towers.gpkg").rename(folder / "study.gpkg")
    (folder / "study.toml").write_text("mine")
    assert make(data, folder, structures=folder / "study.gpkg") == 2
    assert (folder / "study.toml").read_text() == "mine"
    assert "a folder with 'study.toml' in it" in capsys.readouterr().err


def test_a_folder_with_nothing_but_its_files_will_do(tmp_path):
    """Then the study needs no trust: all that it reads lies in its folder."""
    folder = tmp_path / "line"
    folder.mkdir()
    data = write_files(folder / "data")
    assert make(data, folder) == 0
    assert tables(folder)["terrain"]["ground"] == ["data/ground.tif"]
    path = folder / "study.toml"
    path.write_text("# changed, and so not remembered\n" + path.read_text(encoding="utf-8"), encoding="utf-8")
    assert run("inspect", path, "--quiet") in (0, 3)
