"""What a file of somebody else may refer to: other files, a server. Looked for before GDAL opens it."""

import re
from pathlib import Path
from xml.etree import ElementTree

from corridor.databases import queries_in
from corridor.errors import InputError
from corridor.inputs.digest import files_of
from corridor.study.named_files import ALLOW, named_files

__all__ = ["check_files", "check_references"]

#: Elements of GDAL's virtual rasters and layers that name a data set.
_NAMES = ("SourceFilename", "SourceDataset", "SrcDataSource", "SrcRegion", "GeoLocArray", "MaskBandDataset")
#: Elements by which they run code, or ask a data set in its own language.
_CODE = ("PixelFunctionCode", "PixelFunctionLanguage", "SrcSQL", "OpenOptions", "OpenOption", "Processing")
#: Files that name a server are in words of GDAL: <GDAL_WMS>, <OGRWFSDataSource>, <WCS_GDAL> and the like.
_WORDS = re.compile(r"<(?:\w+:)?((?:OGR|GDAL|VRT|WCS|WFS|WMS|WMTS|OGC|CSW|OAPI)\w*)")
#: Files within files that are followed.
_DEEPEST = 5
#: Bytes of a file of names.
_LARGEST = 64_000_000


def check_references(study, path, where, deep=0):
    """Refuse a file that leads to what the study may not read.

    Parameters
    ----------
    study : Study
    path : Path
    where : str
        The key of the study that led there.

    Raises
    ------
    InputError
        It names a file outside, a data set on a server, or code.
    """
    if study.may_read("/vsi") or not path.is_file():  # a study that is trusted; a folder
        return
    with path.open("rb") as file:
        head = file.read(4096)
    if path.name.lower().endswith((".gti.gpkg", ".gti.fgb")):
        raise _refused(path, where, "an index of tiles")
    if head.startswith(b"SQLite format 3\0"):
        for name in queries_in(path):
            raise _refused(path, where, f"{name!r}, which is a query and no table")
        return
    if head.lstrip(b"\xef\xbb\xbf \t\r\n")[:1] != b"<":
        _check_json(path, where, head)
        return
    word = _WORDS.search(head.decode("utf-8", "replace"))
    if word is None:
        return
    if word[1] not in ("VRTDataset", "OGRVRTDataSource") or deep > _DEEPEST or path.stat().st_size > _LARGEST:
        raise _refused(path, where, f"a data set of the kind {word[1]}")
    try:
        root = ElementTree.parse(path).getroot()
    except ElementTree.ParseError as error:
        raise InputError(path, where, f"XML that cannot be read ({error})", "a whole file") from None
    for element in root.iter():
        if element.tag in _CODE:
            raise _refused(path, where, f"<{element.tag}>")
        text = (element.text or "").strip()
        if element.tag in _NAMES and text:
            near = any(element.get(name) == "1" for name in ("relativeToVRT", "relativetoVRT"))
            file = path.parent / text if near else Path(text).absolute()
            if text.startswith("/vsi") or "://" in text or not study.may_read(file.absolute()):
                raise _refused(path, where, f"<{element.tag}> {text!r}, which is outside the study's folder")
            if file.exists() and not (file.is_file() or file.is_dir()):
                raise _refused(path, where, f"<{element.tag}> {text!r}, which is no file")
            check_references(study, file, where, deep + 1)


def _check_json(path, where, head):
    """A catalogue of tiles on servers is JSON, too."""
    if head.lstrip()[:1] in b"{[" and re.search(rb"stac_version|\"(?:STACIT|STACTA|links)\"|tiled_assets", head):
        raise _refused(path, where, "a catalogue of data elsewhere")


def _refused(path, where, found):
    return InputError(path, where, found, ALLOW)


def check_files(study):
    """Refuse a study one of whose files leads to what it may not read; errors as of `check_references`."""
    for where, name in named_files(study):
        for file in files_of(study.resolve(name)):
            check_references(study, Path(file), where)
