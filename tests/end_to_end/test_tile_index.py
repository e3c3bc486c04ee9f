"""The ground as an index of tiles: what the tiles hold, and no more than a study may read."""

import geopandas
import pytest
import rasterio
import shapely
from rasterio.transform import Affine
from rasterio.windows import Window

from corridor.errors import InputError
from corridor.outputs.frames import read_layer
from corridor.outputs.geoparquet import folder_digests
from corridor.session import open_study
from tests.common import run
from tests.end_to_end.conftest import GRID, TinyStudy


@pytest.fixture
def tiled(tmp_path):
    """A study whose ground is in tiles, listed in an index in a folder of its own; its digests over one raster."""
    study = TinyStudy(tmp_path / "study")
    study.add_roads()
    study.write()
    assert run("check", study.path, "-o", tmp_path / "whole.parquet") in (0, 1, 3)
    folder = study.folder / "dem"
    folder.mkdir()
    names, boxes = [], []
    with rasterio.open(study.folder / "ground.tif") as raster:
        profile = raster.profile
        for left in range(0, raster.width, 50):
            window = Window(left, 0, min(50, raster.width - left), raster.height)
            side, west, north = raster.transform.a, raster.bounds.left + left * raster.transform.a, raster.bounds.top
            profile |= {"width": window.width, "height": window.height,
                        "transform": Affine(side, 0, west, 0, -side, north)}
            with rasterio.open(folder / f"t{left}.tif", "w", **profile) as tile:
                tile.write(raster.read(1, window=window), 1)
            names.append(f"t{left}.tif")
            boxes.append(shapely.box(west, raster.bounds.bottom, west + window.width * side, north))
    (study.folder / "ground.tif").unlink()
    study.change('ground = ["ground.tif"]', 'ground = ["dem/tiles.gpkg"]')
    index(folder, names, boxes)
    study.path.write_text(study.text)
    return study, names, boxes, folder_digests(tmp_path / "whole.parquet")


def index(folder, names, boxes):
    table = geopandas.GeoDataFrame({"location": names}, geometry=boxes, crs=GRID)
    table.to_file(folder / "tiles.gpkg", layer="tiles", driver="GPKG")


def test_tiles_of_an_index_are_the_ground(tiled):
    """Every layer but those that tell of files is that over one raster; each tile is among the inputs."""
    study, names, _, digests = tiled
    output = study.folder / "findings.parquet"
    assert run("check", study.path, "-o", output) in (0, 1, 3)
    found = folder_digests(output)
    # A doubt names the files of the ground, a run the inputs.
    assert {name for name in found if found[name] != digests[name]} <= {"run", "inputs", "doubts"}
    told = read_layer(output, "inputs")
    assert told.loc[told["part"] == "terrain.ground", "path"].tolist() == [
        *(f"dem/{name}" for name in names), "dem/tiles.gpkg"]


def test_findings_of_a_changed_tile_are_refused(tiled, capsys):
    study, names, *_ = tiled
    assert run("check", study.path) in (0, 1, 3)
    with rasterio.open(study.folder / "dem" / names[1], "r+") as tile:
        tile.write(tile.read(1) + 1, 1)
    assert run("tables", study.path, "-f", study.folder / "out") == 2
    assert f"findings of another dem/{names[1]}" in capsys.readouterr().err


@pytest.mark.parametrize(("name", "words"), [
    ("../../outside.tif", "outside the study's folder"), ("/vsicurl/http://127.0.0.1:9/a.tif", "outside the study"),
    ("lost.tif", "there is no"), ("rules.tif", "no readable raster")])
def test_tiles_that_a_study_may_not_have(tiled, name, words):
    """An index of somebody else leads nowhere but to rasters in the study's folder."""
    study, names, boxes, _ = tiled
    (study.folder.parent / "outside.tif").write_bytes((study.folder / "dem" / names[0]).read_bytes())
    (study.folder / "dem" / "rules.tif").write_text("rule,against")
    index(study.folder / "dem", [*names[1:], name], boxes)
    with pytest.raises(InputError, match=words), open_study(study.path) as opened:
        opened.check()


def test_no_tile_is_written_over(tiled):
    study, names, *_ = tiled
    assert run("check", study.path, "-o", study.folder / "dem" / names[0], "--overwrite") == 2
