"""Files that are something else than they seem, in a study of somebody else: each ends with one clear error, nothing
read outside the study's folder, no network asked, and no file made.

What GDAL makes of them is its own documentation's (gdal.org, pages of the drivers, recalled): it takes a file for what
its content says, whatever its name.
"""

import json
import os
import shutil
import struct

import geopandas as gpd
import pyogrio
import pytest
import rasterio
import rasterio.shutil
import shapely

from corridor.errors import InputError
from corridor.session import open_study
from tests.end_to_end.conftest import EAST, GRID, NORTH
from tests.end_to_end.test_strangers import RASTER, server

SOURCE = RASTER.format('<SourceFilename relativeToVRT="0">{outside}</SourceFilename>')
PAM = '<PAMDataset><Metadata domain="OVERVIEWS"><MDI key="OVERVIEW_FILE">{0}</MDI></Metadata></PAMDataset>'
WARPED = ('<VRTDataset rasterXSize="180" rasterYSize="80"><SRS>EPSG:25832</SRS><GeoTransform>499600,10,0,5600400,0,-10'
          '</GeoTransform>{0}<VRTRasterBand dataType="Float64" band="1"/></VRTDataset>')
#: Content of the ground, `ground.tif`; with a second file beside it.
RASTERS = {
    "virtual": SOURCE, "virtual after a word": "junk " + SOURCE, "virtual after an element": "<x/>\n" + SOURCE,
    "virtual, by the name of a driver": SOURCE.replace("{outside}", "GTIFF_DIR:1:{outside}"),
    "virtual, in two bytes a letter": SOURCE.encode("utf-16"),
    "virtual, in small letters": SOURCE.replace("SourceFilename", "sourcefilename"),
    "virtual, of a namespace": SOURCE.replace("<VRTDataset", '<VRTDataset xmlns="a"'),
    "virtual, as an attribute": RASTER.format("").replace(
        "<SimpleSource>", '<SimpleSource SourceFilename="{outside}">'),
    "virtual, near in other words": SOURCE.replace('="0">{outside}', '="01">../outside.tif'),
    "virtual, near in an element": RASTER.format(
        "<SourceFilename>../outside.tif<relativeToVRT>1</relativeToVRT></SourceFilename>"),
    "virtual, with words of its own": '<!DOCTYPE a [<!ENTITY b "ground.tif">]>' + SOURCE.replace("{outside}", "&b;"),
    "virtual with heights elsewhere": WARPED.format("<DEMPath>{outside}</DEMPath>"),
    "virtual with overviews elsewhere": WARPED.format(
        '<Metadata domain="OVERVIEWS"><MDI key="OVERVIEW_FILE">{url}</MDI></Metadata>'),
    "an image with a page of its own": '<kml><GroundOverlay><Icon><href>{url}</href></Icon></GroundOverlay></kml>',
    "capabilities": '<WMS_Capabilities><Service><OnlineResource href="{url}"/></Service></WMS_Capabilities>',
    "tiles of a server": '<Capabilities xmlns="http://www.opengis.net/wmts/1.0"><ServiceMetadataURL href="{url}"/>'
                         '</Capabilities>',
    "a map of tiles": '<TileMap version="1.0.0"><TileSets><TileSet href="{url}"/></TileSets></TileMap>',
    "cells elsewhere": '<MRF_META><CachedSource><Source>{outside}</Source></CachedSource><Raster><Size x="50" y="50"/>'
                       '<DataFile>{outside}</DataFile></Raster></MRF_META>',
    "HDF5": b"\x89HDF\r\n\x1a\n" + bytes(600), "netCDF": b"CDF\x01" + bytes(600), "PDF": b"%PDF-1.4\n" + bytes(600),
    "JPEG 2000": struct.pack(">I", 12) + b"jP  \r\n\x87\n" + bytes(600), "an archive": b"PK\x03\x04" + bytes(600),
    "a database": b"SQLite format 3\0" + bytes(600), "a service": '{{"tileInfo": 1, "mapName": "{url}", "layers": []}}',
}
BESIDE = {
    "overviews named beside it": (".aux.xml", PAM.format("{url}")),
    "overviews outside": (".aux.xml", PAM.format("{outside}")),
    "virtual overviews": (".ovr", SOURCE), "overviews of a server": (".ovr", RASTERS["capabilities"]),
    "overviews that name others": (".ovr.aux.xml", PAM.format("{url}")), "a virtual mask": (".msk", SOURCE),
    "a link to notes": (".aux.xml", None), "a link to a place": ("", "tfw"),
}
POINT = '<Placemark><name>a</name><Point><coordinates>9,50</coordinates></Point></Placemark>'
VECTORS = {
    "steps": ("a.json", '{{"type": "gdal_streamed_alg", "command_line": "gdal vector convert --output-format stream '
                        '{layer} x"}}'),
    "steps after a word": ("a.geojson", '{{"a": {{"type": "Feature"}}, "type": "gdal_streamed_alg", "command_line": '
                                        '"gdal vector pipeline read {layer} ! filter --where 1=1"}}'),
    "a driver in a virtual layer": ("a.vrt", '<OGRVRTDataSource><OGRVRTLayer name="a"><SrcDataSource>GeoJSON:{layer}'
                                             '</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>'),
    "virtual, in small letters": ("a.vrt", '<OGRVRTDataSource><OGRVRTLayer name="a"><srcdatasource>{layer}'
                                          '</srcdatasource></OGRVRTLayer></OGRVRTDataSource>'),
    "virtual, as an attribute": ("a.vrt", '<OGRVRTDataSource><OGRVRTLayer name="a" SrcDataSource="{layer}"/>'
                                          '</OGRVRTDataSource>'),
    "virtual, after many words": ("a.csv", "<!--" + 5000 * " " + '--><OGRVRTDataSource><OGRVRTLayer name="outside">'
                                           "<SrcDataSource>{layer}</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>"),
    "a virtual one in a remark": ("a.gml", '<!-- <OGRVRTDataSource> --><a:FeatureCollection xmlns:a="http://www.opengis.net/'
                                           'gml"><a:featureMember><b/></a:featureMember></a:FeatureCollection>'),
    "KML in a remark": ("a.gml", '<!-- <kml> --><a:FeatureCollection xmlns:a="http://www.opengis.net/gml">'
                                 '<a:featureMember><b/></a:featureMember></a:FeatureCollection>'),
    "virtual, by another name": ("a.csv", '<OGRVRTDataSource><OGRVRTLayer name="a"><SrcDataSource>{layer}'
                                          '</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>'),
    "a database elsewhere": ("a.ovf", '<OGRVRTDataSource><OGRVRTLayer name="a"><SrcDataSource>PG:host=127.0.0.1 '
                                      'port={port}</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>'),
    "GML with a schema elsewhere": ("a.gml", '<gml:FeatureCollection xmlns:gml="http://www.opengis.net/gml" '
                                    'xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" xsi:schemaLocation='
                                    '"http://a {url}"><gml:featureMember><a fid="1"><gml:pointProperty><gml:Point '
                                    'srsName="EPSG:25832"><gml:pos>1 2</gml:pos></gml:Point></gml:pointProperty></a>'
                                    '</gml:featureMember></gml:FeatureCollection>'),
    "a service": ("a.xml", '<WFS_Capabilities><OnlineResource href="{url}"/></WFS_Capabilities>'),
    "features of a service": ("a.json", '{{"geometryType": "esriGeometryPoint", "exceededTransferLimit": true, '
                                        '"features": [], "fields": [{{"name": "a", "type": "esriFieldTypeOID"}}]}}'),
    "a table of other tables": ("a.tab", "!Table\n!Version 100\nOpen Table \"{layer}\" Hide\nCreate View a As\n"
                                         "Select b\nFrom c, d\nWhere c.e=d.e\n"),
    "PDF": ("a.gpkg", b"%PDF-1.4\n" + bytes(600)), "an archive": ("a.shp", b"PK\x03\x04" + bytes(600)),
    "HDF5": ("a.fgb", b"\x89HDF\r\n\x1a\n" + bytes(600)), "nothing": ("a.geojson", b""),
}


def refused(study, capsys, folder, asked):
    """The command ends with one line, so does Python, and no file is made or changed."""
    before = {path: (path.stat().st_size, path.stat().st_mtime_ns) for path in folder.rglob("*")}
    with pytest.raises(InputError), open_study(study.path) as opened:
        opened.check()
    assert study.command() == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1 and "Traceback" not in said and asked == []
    assert {path: (path.stat().st_size, path.stat().st_mtime_ns) for path in folder.rglob("*")} == before
    return said


def put(path, content, words):
    path.write_bytes(content if isinstance(content, bytes) else content.format(**words).encode())


@pytest.fixture
def words(study, tmp_path):
    """What files may name: a raster and a layer outside, and a server that counts who asks."""
    study.write()
    outside, layer = tmp_path / "outside.tif", tmp_path / "outside.geojson"
    shutil.copy(study.folder / "ground.tif", outside)
    layer.write_text(json.dumps({"type": "FeatureCollection", "features": [{
        "type": "Feature", "properties": {}, "geometry": {"type": "Point", "coordinates": [9, 50]}}]}))
    with server() as (port, asked):
        yield {"outside": outside, "layer": layer, "url": f"http://127.0.0.1:{port}/a.tif", "port": port}, asked


@pytest.mark.parametrize("what", RASTERS)
def test_ground_that_is_something_else(study, words, tmp_path, what, capsys):
    content = RASTERS[what]
    if isinstance(content, bytes) and b"{\0o" in content:
        content = SOURCE.format(**words[0]).encode("utf-16")
    put(study.folder / "ground.tif", content, words[0])
    assert "ground.tif" in refused(study, capsys, tmp_path, words[1])


@pytest.mark.parametrize("trust", [(), ("--trust",)])
@pytest.mark.parametrize("tile", ["m.vrt", "../{folder}/m.vrt", "n.vrt"])
def test_mosaics_in_a_circle(study, tile, trust, capsys):
    """Also by way of another one, and by a path that is longer each time."""
    study.write()
    source = f'<SourceFilename relativeToVRT="1">{tile.format(folder=study.folder.name)}</SourceFilename>'
    (study.folder / "m.vrt").write_text(RASTER.format(source))
    (study.folder / "n.vrt").write_text(RASTER.format('<SourceFilename relativeToVRT="1">m.vrt</SourceFilename>'))
    study.change('"ground.tif"', '"m.vrt"')
    study.path.write_text(study.text)
    assert study.command(*trust) == 2
    said = capsys.readouterr().err
    assert ".vrt" in said and said.count("\n") == 1


@pytest.mark.parametrize("tile", ["/", "/proc", ".."])
def test_a_mosaic_of_all_that_a_machine_has(study, tile, capsys):
    """No folder outside is looked through for tiles, not even for their names."""
    study.write()
    (study.folder / "m.vrt").write_text(RASTER.format(
        f'<SourceFilename relativeToVRT="1">{tile}</SourceFilename>'))
    study.change('"ground.tif"', '"m.vrt"')
    study.path.write_text(study.text)
    assert study.command() == 2
    assert "outside the study's folder" in capsys.readouterr().err


def test_mosaics_that_name_one_another_many_times(study):
    """Each is looked at once: otherwise 40 to the power of 4 times."""
    study.write()
    for level, below in enumerate(["ground.tif", "m0.vrt", "m1.vrt", "m2.vrt"]):
        source = RASTER.format(f'<SourceFilename relativeToVRT="1">{below}</SourceFilename>')
        start, stop = source.index("<SimpleSource>"), source.index("</SimpleSource>") + len("</SimpleSource>")
        (study.folder / f"m{level}.vrt").write_text(source[:start] + source[start:stop] * 40 + source[stop:])
    study.change('"ground.tif"', '"m3.vrt"')
    study.path.write_text(study.text)
    with open_study(study.path) as opened:
        assert [path.name for path in opened.guard().inputs].count("m0.vrt") == 1


@pytest.mark.parametrize("what", BESIDE)
def test_what_lies_beside_the_ground(study, words, tmp_path, what, capsys):
    """GDAL reads notes, overviews, a mask and a place from files beside a raster."""
    ending, content = BESIDE[what]
    if ending == ".ovr.aux.xml":
        shutil.copy(words[0]["outside"], study.folder / "ground.tif.ovr")
    if content is None or not ending:
        (tmp_path / "notes").write_text("10\n0\n0\n-10\n0\n0\n")
        (study.folder / (f"ground.tif{ending}" if ending else f"ground.{content}")).symlink_to(tmp_path / "notes")
    else:
        put(study.folder / f"ground.tif{ending}", content, words[0])
    assert "ground." in refused(study, capsys, tmp_path, words[1])


def test_overviews_that_a_tag_of_the_ground_names(study, words, tmp_path, capsys):
    with rasterio.open(study.folder / "ground.tif", "r+") as dataset:
        dataset.update_tags(ns="OVERVIEWS", OVERVIEW_FILE=f"/vsicurl/{words[0]['url']}")
    assert "overviews in another file" in refused(study, capsys, tmp_path, words[1])


@pytest.mark.parametrize("what", ["ovr", "msk"])
def test_overviews_and_masks_of_its_own(study, what):
    """As other programs write them, in a file beside."""
    study.write()
    path = study.folder / "ground.tif"
    with rasterio.Env(TIFF_USE_OVR=True, GDAL_TIFF_INTERNAL_MASK=False), rasterio.open(path, "r+") as dataset:
        if what == "ovr":
            dataset.build_overviews([2])
        else:
            dataset.write_mask(True)
    assert path.with_name(f"ground.tif.{what}").exists() and study.command() == 0


@pytest.mark.parametrize("what", VECTORS)
def test_a_layer_that_is_something_else(study, words, tmp_path, what, capsys):
    name, content = VECTORS[what]
    put(study.folder / name, content, words[0])
    study.text += f'\n[[obstacles]]\nname = "a"\nfile = "{name}"\ncategory = "road"\nheight = 0\n'
    study.path.write_text(study.text)
    assert name in refused(study, capsys, tmp_path, words[1])


@pytest.mark.parametrize("name", ["CSV:../a.csv", "GeoJSON:../a.csv", "{\"a\": 1}", "<OGRVRTDataSource>"])
def test_a_name_that_is_more_than_a_path(study, monkeypatch, name, capsys):
    """Folders and files may have such names; a driver of GDAL would be asked, and one outside be read."""
    study.text += f"\n[[obstacles]]\nname = \"a\"\nfile = '{name}'\ncategory = \"road\"\nheight = 0\n"
    study.write()
    (study.folder / name).parent.mkdir(exist_ok=True)
    (study.folder / name).write_text("id,WKT\n")
    monkeypatch.chdir(study.folder)
    study.path = study.path.relative_to(study.folder)
    assert study.command() == 2
    assert "outside the study's folder" in capsys.readouterr().err


@pytest.mark.parametrize("ending", [".shp", ".dbf", ".prj"])
def test_a_part_of_a_layer_that_lies_elsewhere(study, words, tmp_path, ending, capsys):
    add(study, "roads.shp", "ESRI Shapefile")
    (study.folder / f"roads{ending}").rename(tmp_path / f"part{ending}")
    (study.folder / f"roads{ending}").symlink_to(tmp_path / f"part{ending}")
    assert "outside the study's folder" in refused(study, capsys, tmp_path, words[1])


def add(study, name, driver, **more):
    roads = shapely.linestrings([[[EAST + 150, NORTH - 60], [EAST + 150, NORTH + 60]]])
    frame = gpd.GeoDataFrame({"name": ["a"]}, geometry=roads, crs=GRID)
    if name.endswith((".geojson", ".geojsonl", ".kml")):
        frame = frame.to_crs(4326)
    pyogrio.write_dataframe(frame, study.folder / name, driver=driver, **more)
    study.text += f'\n[[obstacles]]\nname = "roads"\nfile = "{name}"\ncategory = "road"\nheight = 0\nradius = 4\n'
    study.write()


@pytest.mark.parametrize(("name", "driver"), [
    ("roads.shp", "ESRI Shapefile"), ("roads.geojson", "GeoJSON"), ("roads.geojsonl", "GeoJSONSeq"),
    ("roads.fgb", "FlatGeobuf"), ("roads.sqlite", "SQLite"), ("roads.mif", "MapInfo File"),
    ("roads.tab", "MapInfo File"), ("roads.kml", "KML"), ("roads.gdb", "OpenFileGDB")])
def test_layers_that_any_study_may_have(study, name, driver):
    add(study, name, driver)
    assert study.command() == 0, os.listdir(study.folder)


@pytest.mark.parametrize("driver", ["AAIGrid", "VRT", "COG"])
def test_ground_that_any_study_may_have(study, driver):
    study.write()
    (study.folder / "ground.tif").rename(study.folder / "heights.tif")
    if driver == "VRT":
        (study.folder / "ground.tif").write_text(
            RASTER.format('<SourceFilename relativeToVRT="1">heights.tif</SourceFilename>'))
    else:
        with rasterio.open(study.folder / "heights.tif") as dataset:
            rasterio.shutil.copy(dataset, study.folder / "ground.tif", driver=driver)
    assert study.command() == 0


def test_one_who_trusts_a_study_reads_other_kinds(study, capsys):
    """An ERDAS image may name another file with its cells."""
    study.write()
    (study.folder / "ground.tif").rename(study.folder / "heights.tif")
    with rasterio.open(study.folder / "heights.tif") as dataset:
        rasterio.shutil.copy(dataset, study.folder / "ground.tif", driver="HFA")
    assert study.command() == 2
    assert "no readable raster of the kinds that any study may have" in capsys.readouterr().err
    assert study.command("--trust") == 0
    with open_study(study.path, trust=[study.folder]) as opened:
        assert opened.check().status == 0
