"""Digests of input files, so that a finding can be tied to the very bytes it came from."""

import hashlib
from pathlib import Path

__all__ = ["digest", "digest_files"]

#: Bytes read at a time.
_CHUNK = 1 << 20


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
    return digest_files(_files(Path(_archive(str(path)))))


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


def _files(path):
    if path.is_dir():
        return [p for p in path.rglob("*") if p.is_file() and p.suffix != ".lock"]
    if path.suffix.lower() == ".shp" and path.parent.is_dir():
        return [
            p
            for p in path.parent.iterdir()
            if p.name.startswith(path.stem + ".") and p.suffix != ".lock"
        ]
    return [path]


def _archive(text):
    """The file that stands behind a path into an archive: the longest part of it that is a file."""
    if not text.startswith("/vsi"):
        return text
    inside = Path("/" + text.removeprefix("/").partition("/")[2].lstrip("/"))
    candidates = (inside, *inside.parents)
    relative = (Path(str(p).lstrip("/")) for p in candidates)
    return str(next((p for p in (*candidates, *relative) if p.is_file()), text))
