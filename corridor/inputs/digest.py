"""Digests of input files, so that a finding can be tied to the very bytes it came from."""

import hashlib
import os
from pathlib import Path
from xml.etree import ElementTree

from corridor.constants import SQLITE_LOGS

__all__ = ["digest", "digest_files", "files_of", "tiles_of"]

#: Bytes read at a time.
_CHUNK = 1 << 20
#: Endings of files of the same stem that are read with one of an ending; none given: all.
_FAMILIES = {".shp": (), ".tab": (), ".mif": (), ".csv": (".csvt", ".prj"), ".gml": (".xsd", ".gfs")}


def digest(path):
    """Return the SHA-256 of a data set, as hexadecimal text.

    Parameters
    ----------
    path : path or str
        A file; a shapefile, taken with the files beside it of the same stem; a folder, taken whole;
        or an archive named by a path within it that starts with /vsi.

    Returns
    -------
    str
        Of a single file, the same as any other program's; of several, that of their names, sizes
        and bytes in the order of their names. Empty where no file of this machine stands behind the
        path.
    """
    return digest_files(files_of(path))


def digest_files(paths):
    """Return the SHA-256 of one file, or of several together; those that do not exist are left
    out."""
    files = sorted({Path(p) for p in paths if Path(p).is_file()})
    total = hashlib.sha256()
    for file in files:
        if len(files) > 1:
            total.update(f"{file.name}\0{file.stat().st_size}\0".encode())
        with file.open("rb") as stream:
            while block := stream.read(_CHUNK):
                total.update(block)
    return total.hexdigest() if files else ""


def files_of(path):
    """Return the files that stand behind a path, as `digest` takes them; with a mosaic its tiles,
    and with a database the log that is read with it."""
    files, waiting, seen = [], [path], set()
    while waiting:
        file = Path(_archive(str(waiting.pop())))
        if (real := os.path.realpath(file)) not in seen:  # mosaics may name one another in a circle
            seen.add(real)
            files += _files_alone(file)
            waiting += tiles_of(file)
    return files


def _files_alone(path):
    """The files of one data set, without those of others that it names."""
    if path.is_dir():
        return [p for p in path.rglob("*") if p.is_file() and p.suffix != ".lock"]
    if path.suffix.lower() in _FAMILIES and path.parent.is_dir():
        beside = _FAMILIES[path.suffix.lower()]
        return [
            p
            for p in path.parent.iterdir()
            if p.name.startswith(path.stem + ".") and p.suffix != ".lock"
            and (p == path or not beside or p.suffix.lower() in beside)
        ]
    logs = [log for ending in SQLITE_LOGS if _filled(log := path.with_name(path.name + ending))]
    return [path, *logs]


def _filled(path):
    return path.is_file() and path.stat().st_size > 0


def tiles_of(path):
    """Return the paths of the tiles of a mosaic in GDAL's words for a virtual raster; of another
    file none."""
    if path.suffix.lower() != ".vrt" or not path.is_file():
        return []
    try:
        names = list(ElementTree.parse(path).getroot().iter("SourceFilename"))
    except ElementTree.ParseError:
        return []
    texts = [((each.text or "").strip(), each.get("relativeToVRT") == "1") for each in names]
    return [path.parent / text if near and not text.startswith("/vsi") else Path(text) for text, near in texts]


def _archive(text):
    """The file that stands behind a path into an archive: the longest part of it that is a file."""
    if not text.startswith("/vsi"):
        return text
    inside = Path("/" + text.removeprefix("/").partition("/")[2].lstrip("/"))
    candidates = (inside, *inside.parents)
    relative = (Path(str(p).lstrip("/")) for p in candidates)
    return str(next((p for p in (*candidates, *relative) if p.is_file()), text))
