"""What a file of somebody else is, and what it may refer to: other files, a server. Looked for before GDAL opens it."""

import re
import warnings
from pathlib import Path
from xml.etree import ElementTree

import rasterio
from rasterio.errors import NotGeoreferencedWarning, RasterioError

from corridor.databases import queries_in, tiles_in
from corridor.errors import InputError
from corridor.inputs.digest import files_of
from corridor.inputs.rasters import KINDS, describe
from corridor.study.named_files import ADDRESS, ALLOW, named_files
from corridor.study.surveys import kind_of

__all__ = ["check_files", "check_references", "rasters_of"]

#: Elements of GDAL's virtual rasters and layers that name a data set. GDAL takes them in any case and namespace, and as
#: attributes.
_NAMES = ("sourcefilename", "sourcedataset", "srcdatasource", "srcregion", "geolocarray", "maskbanddataset")
#: Elements by which they run code, or ask a data set in its own language.
_CODE = ("pixelfunctioncode", "pixelfunctionlanguage", "srcsql", "openoptions", "openoption", "processing",
         "processingsteps", "dempath")
_RELATIVE = "relativetovrt"
#: Metadata that name one.
_KEYS = re.compile(r"(?i)\w+_(FILE|DATASET)\b")
#: Files that name a server are in words of GDAL: <GDAL_WMS>, <OGRWFSDataSource>, <WCS_GDAL> and the like.
_WORDS = re.compile(r"<(?:\w+:)?((?:OGR|GDAL|VRT|WCS|WFS|WMS|WMTS|OGC|CSW|OAPI)\w*)")
#: GDAL finds these wherever they stand.
_VIRTUAL = re.compile(rb"<(?:VRTDataset|OGRVRT)")
#: How layers begin of whose kinds anybody's study may have some: GeoPackage and SQLite, FlatGeobuf, shapefile, MapInfo
#: (of its own rows alone), KML and virtual layers.
_LAYERS = re.compile(rb"SQLite format 3\0|fgb\x03fgb|\0\0\x27\x0a|(?i:version\s+\d+\s|!table\s)|\s*<")
_MARKED = re.compile(rb"\s*(?:<(?:\?(?:(?!\?>).)*\?|!--(?:(?!-->).)*--)>\s*)*"
                     rb"<(?:(?:\w+:)?kml\b|OGRVRTDataSource)", re.DOTALL)
#: GeoJSON says what it is (RFC 7946, 1.4).
_GEOJSON = re.compile(rb"[\s\x1e]*[{\[]")
_GEOJSON_TYPE = re.compile(rb"\"type\"\s*:\s*\"(?:FeatureCollection|Feature|GeometryCollection|(?:Multi)?(?:Point|"
                           rb"LineString|Polygon))\"")
#: Steps that GDAL would take, and tables of other files.
_STEPS = re.compile(rb"(?i)gdal_streamed_alg|open\s+table|create\s+view|type\s+linked")
#: What GDAL reads beside a raster as if it were in it, by endings of its whole name.
_BESIDE = (".ovr", ".msk")
#: Bytes of a file that are looked at, more than GDAL does to tell its kind.
_HEAD = 65536
#: Files within files that are followed.
_DEEPEST = 5
#: Bytes of a file of names.
_LARGEST = 64_000_000


class Looked:
    """What was looked at: `files`, and what lies in folders, of which one may hold thousands of tiles."""

    def __init__(self):
        self.files, self._folders = set(), {}

    def beside(self, path):
        """Return the files beside one whose names begin as its name does, up to the first full stop; itself, too."""
        if path.parent not in self._folders:
            found = self._folders[path.parent] = {}
            for file in path.parent.iterdir():
                found.setdefault(file.name.partition(".")[0], []).append(file)
        return self._folders[path.parent].get(path.name.partition(".")[0], [])


def check_references(study, path, where, deep=0, known=None):
    """Refuse a file that leads to what the study may not read.

    Parameters
    ----------
    study : Study
    path : Path
    where : str
        The key of the study that led there.
    deep : int
        How many files led there.
    known : Looked, optional
        What was looked at already; added to.

    Raises
    ------
    InputError
        It lies outside, or names a file outside, a data set on a server, or code.
    """
    if study.may_read("/vsi") or not path.is_file():  # a study that is trusted; a folder
        return
    if not study.may_read(path.absolute()):
        raise _refused(path, where, "a file that is outside the study's folder")
    with path.open("rb") as file:
        head = file.read(_HEAD)
    if path.name.lower().endswith((".gti.gpkg", ".gti.fgb")):
        raise _refused(path, where, "an index of tiles")
    if head.startswith(b"SQLite format 3\0"):
        for name in queries_in(path):
            raise _refused(path, where, f"{name!r}, which is a query and no table")
        return
    if head.lstrip(b"\xef\xbb\xbf \t\r\n")[:1] != b"<":
        if _VIRTUAL.search(head):
            raise _refused(path, where, "a virtual data set that begins with something else")
        _check_json(path, where, head[:4096])
        return
    word = _WORDS.search(head.decode("utf-8", "replace"))
    if word is None:
        return
    if word[1] not in ("VRTDataset", "OGRVRTDataSource") or deep > _DEEPEST or path.stat().st_size > _LARGEST:
        raise _refused(path, where, f"a data set of the kind {word[1]}")
    try:
        content = path.read_bytes()
        if b"<!DOCTYPE" in content:
            raise _refused(path, where, "<!DOCTYPE>")  # words of its own, which GDAL reads otherwise
        root = ElementTree.fromstring(content)
        if root.tag != word[1]:
            raise _refused(path, where, f"<{root.tag}>")
    except ElementTree.ParseError as error:
        raise InputError(path, where, f"XML that cannot be read ({error})", "a whole file") from None
    known = Looked() if known is None else known
    for element in root.iter():
        tag = _plain(element.tag)
        said = {_plain(name): value for name, value in element.attrib.items()}
        odd = {*_NAMES, *_CODE} & said.keys() or tag == _RELATIVE or said.get(_RELATIVE, "0") not in ("0", "1")
        if odd or tag in _CODE or tag == "mdi" and any(map(_KEYS.match, said.values())):
            raise _refused(path, where, f"<{element.tag}>")
        text = (element.text or "").strip()
        if tag in _NAMES and text:
            _follow(study, path, where, element, text, said.get(_RELATIVE) == "1", deep, known)


def _plain(name):
    return name.rpartition("}")[2].lower()


def _follow(study, path, where, element, text, near, deep, known):
    """Look at a data set that a virtual one names."""
    file = path.parent / text if near else Path(text).absolute()
    if ADDRESS.match(text) or not study.may_read(file.absolute()):
        raise _refused(path, where, f"<{element.tag}> {text!r}, which is outside the study's folder")
    if file.exists() and not (file.is_file() or file.is_dir()):
        raise _refused(path, where, f"<{element.tag}> {text!r}, which is no file")
    if file not in known.files:
        check_references(study, file, where, deep + 1, known)
        _check_kind(study, file, where, known)
        known.files.add(file)


def _check_json(path, where, head):
    """A catalogue of tiles on servers is JSON, too."""
    if head.lstrip()[:1] in b"{[" and re.search(rb"stac_version|\"(?:STACIT|STACTA|links)\"|tiled_assets", head):
        raise _refused(path, where, "a catalogue of data elsewhere")


def _refused(path, where, found):
    return InputError(path, where, found, ALLOW)


def check_files(study):
    """Refuse a study one of whose files leads to what it may not read; errors as of `check_references`."""
    known = Looked()
    for where, name in named_files(study):
        path, where = study.resolve(name), study.place(where)
        check_references(study, path, where)  # before its tiles are looked for, wherever they are
        for file in files_of(path):
            check_references(study, file, where)
        _check_kind(study, path, where, known)


def _check_kind(study, path, where, known):
    """Refuse a raster or a layer of a kind that is not known to be whole in itself."""
    if study.may_read("/vsi") or study.trusts(path) or not path.exists():
        return
    if where.startswith("terrain.ground") and tiles_in(path):
        return  # the tiles are looked at one by one
    if where.startswith("terrain.") and where != "terrain.surface_cleared":
        _check_raster(study, path, where, known)
    elif (where in ("structures.file", "structures.route.file", "right_of_way.file", "terrain.surface_cleared")
          or where.startswith("obstacles.") or where.startswith("surveys.") and kind_of(path) == "layer"):
        if not (_is_folder_of_layers(path) if path.is_dir() else _is_layer(path)):
            raise InputError(path, where, "no vector file of the kinds that any study may have",
                             "a GeoPackage, shapefile, GeoJSON, FlatGeobuf, SQLite, MapInfo, KML or CSV file; others "
                             "with --trust or trust=True (docs/security.md)")


def _check_raster(study, path, where, known, deep=0):
    """Nothing but its own cells: GDAL opens what a raster or a file beside it names as its overviews."""
    driver = next((each for each in KINDS if _opens(path, each, where)), None)
    if driver is None or deep > _DEEPEST:
        raise InputError(path, where, "no readable raster of the kinds that any study may have",
                         f"a whole raster of heights, one of {', '.join(KINDS)}; others with --trust or trust=True "
                         "(docs/security.md)")
    for file in known.beside(path) if path.is_file() else ():
        if file.name.startswith(path.stem + ".") and not study.may_read(file.absolute()):
            raise _refused(file, where, "a file that is outside the study's folder")
        if file.name.startswith(path.name) and file.name[len(path.name):].lower() in _BESIDE:
            check_references(study, file, where)
            _check_raster(study, file, where, known, deep + 1)


def _opens(path, driver, where):
    """Whether GDAL takes a file for a raster of a kind; it is refused where its overviews are elsewhere."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", NotGeoreferencedWarning)  # overviews and masks are not
        try:
            with rasterio.open(path, driver=driver, sharing=False) as dataset:
                elsewhere = dataset.tags(ns="OVERVIEWS")
        except RasterioError:
            return False
    if elsewhere:
        raise _refused(path, where, f"overviews in another file ({', '.join(map(repr, elsewhere.values()))})")
    return True


def _is_layer(path):
    with path.open("rb") as file:
        head = file.read(_LARGEST if path.suffix.lower() == ".tab" else _HEAD)
    if _STEPS.search(head) and not head.startswith((b"SQLite", b"fgb", b"\0")):
        return False
    if _GEOJSON.match(head.removeprefix(b"\xef\xbb\xbf")):
        return _GEOJSON_TYPE.search(head) is not None
    found = _LAYERS.match(head.removeprefix(b"\xef\xbb\xbf"))
    if found is None:
        return path.suffix.lower() == ".csv"
    return not found[0].endswith(b"<") or _MARKED.match(head.removeprefix(b"\xef\xbb\xbf")) is not None


def _is_folder_of_layers(path):
    return path.suffix.lower() == ".gdb" or any(each.suffix.lower() == ".shp" for each in path.iterdir())


def rasters_of(study, names, vertical_unit=None):
    """Return rasters that a study names, described; each is opened by drivers for the kinds that it may have.
    `vertical_unit` as of `describe`."""
    paths = [study.resolve(name) for name in names]
    anything = study.may_read("/vsi")
    return [describe(path, vertical_unit, None if anything or study.trusts(path) else KINDS) for path in paths]
