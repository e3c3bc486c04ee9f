"""What may be written over: nothing that a study reads, and of the rest only what this software wrote."""

import csv
import hashlib
import mmap
import os
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

from corridor.constants import SQLITE_LOGS
from corridor.databases import queries_in
from corridor.errors import InputError, MachineError
from corridor.outputs.schema import LAYERS

__all__ = ["FOLDER", "MARK", "PARQUET", "PLAIN", "Guard", "findings_kind", "foreign", "is_geopackage", "kind_of",
           "log_beside", "may_be_ours", "place_of", "sealed"]

#: Stands in the metadata, or a comment, of every file that this software writes and that has room for one.
MARK = "corridor made this file"
#: What a folder of GeoParquet files is, one for each layer of findings, and how its name ends.
FOLDER, PARQUET = "folder of findings", ".parquet"
#: Endings of files beside another of the same stem that belong to it: vectors, rasters and points.
_BESIDE = frozenset(".shp .shx .dbf .prj .cpg .sbn .sbx .qix .qpj .tfw .tifw .wld .hdr .aux .ovr .msk .lax".split())
#: So many heads of a table tell whose it is; after the last two of a comparison come names of options.
_HEADS, _FREE = 4, ["quantity", "unit"]


@dataclass(frozen=True)
class Guard:
    """What must not be written over.

    Parameters
    ----------
    inputs : tuple of Path
        Files and folders that are read. They, and what lies beside them and belongs to them, are never replaced.
    overwrite : bool
        Whether files that this software did not write may be replaced.
    """

    inputs: tuple[Path, ...] = ()
    overwrite: bool = False

    def besides(self, *paths: Path) -> "Guard":
        """Return a guard of some more inputs."""
        return Guard((*self.inputs, *paths), self.overwrite)

    def check(self, target: Path, kind: str | None = None) -> None:
        """Refuse a target that must not be replaced.

        Parameters
        ----------
        target : Path
        kind : str, optional
            What shall stand there, as `kind_of` has it; default: not known yet.

        Raises
        ------
        InputError
            It cannot be; its folder does not exist or may not be written in; it is no file, an input, or not of this
            software.
        MachineError
            Another program has it open.
        """
        target = place_of(target)
        if not target.parent.is_dir():
            raise InputError(target, "output", f"no folder {target.parent.name!r}", "a folder that exists")
        for path in self.inputs:
            if _belongs(target, path):
                what = "a file that is read" if target.name == path.name else f"a file that belongs to {path.name}"
                raise InputError(target, "output", what, "another name")
        if not os.access(target.parent, os.W_OK):
            raise InputError(target, "output", f"a folder, {target.parent.name!r}, that may not be written in",
                             "a folder that may")
        if not target.exists():
            return
        if kind == FOLDER:
            # What is no folder of findings is never taken away whole.
            if kind_of(target) != kind:
                raise InputError(target, "output", "something that is no folder of findings alone",
                                 "a new name, or a folder that an earlier run wrote")
            return
        if not target.is_file():
            raise InputError(target, "output", "something that is no file", "a new name, or a file of an earlier run")
        if not os.access(target, os.W_OK):
            raise InputError(target, "output", "a file that may not be written", "a new name, or leave to write it")
        if not (self.overwrite or (kind_of(target) == kind if kind else may_be_ours(target))):
            raise foreign(target)
        if log := log_beside(target):
            raise MachineError(f"{target.name}: another program has it open, or crashed on it "
                               f"({log.name} is beside it): close the layer in the GIS")


#: Of a job that knows of no inputs.
PLAIN = Guard()


def foreign(target: Path) -> InputError:
    """Return the error that tells of a file that this software did not write."""
    return InputError(target, "output", "a file that corridor did not write, or of another kind",
                      "a new name, what an earlier run wrote, or --overwrite")


def findings_kind(path: Path | str) -> str:
    """Return what findings of such a name are, as `kind_of` has it.

    >>> findings_kind("findings.parquet/"), findings_kind("findings.gpkg")
    ('folder of findings', 'findings')
    """
    return FOLDER if Path(path).suffix.lower() == PARQUET else "findings"


def place_of(path: Path | str) -> Path:
    """Return the whole path of an output, links followed.

    Raises
    ------
    InputError
        There can be no such path.
    """
    place = Path(os.path.realpath(path))  # Path.resolve has no InputError for links in a circle
    try:
        os.stat(place)
    except (FileNotFoundError, NotADirectoryError):
        pass
    except OSError as error:
        raise InputError(path, "output", f"{str(path)!r} ({(error.strerror or 'unusable').lower()})",
                         "another name") from None
    return place


def _belongs(target, path):
    """Whether a target is an input, lies in one, or beside it as a part of it."""
    path = place_of(path)
    if target == path or path in target.parents and path.is_dir():
        return True
    if target.exists() and path.exists() and target.samefile(path):
        return True
    if target.parent != path.parent or path.is_dir():
        return False
    name, own = target.name.lower(), path.name.lower()
    same_stem = target.stem.lower() == path.stem.lower() and target.suffix.lower() in _BESIDE
    return same_stem or name.startswith((f"{own}.", f"{own}-"))


def log_beside(target: Path) -> Path | None:
    """Return the log that SQLite keeps beside a database, which it would play into a new file of that name."""
    logs = (target.with_name(target.name + ending) for ending in SQLITE_LOGS)
    return next((log for log in logs if log.exists()), None)


def may_be_ours(path: Path) -> bool:
    """Return whether a file is of this software, as far as that shows without the one that shall replace it: of a CSV
    file it does not."""
    kind = kind_of(path)
    return kind is not None and (path.suffix.lower() == ".csv" or not kind.startswith("table of"))


def kind_of(path: Path) -> str | None:
    """Return what a file is, of what this software writes, or None where it writes no such file.

    Returns
    -------
    str or None
        "findings"; "layers", a GeoPackage with other layers; "marked", another file that says whose it is; "table of"
        and the first heads of a text; "folder of findings".
    """
    if path.is_dir():
        return FOLDER if _is_folder_of_findings(path) else None
    if is_geopackage(path):
        return _kind_of_geopackage(path)
    if path.stat().st_size == 0:
        return None
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as data:
        if data.find(MARK.encode()) >= 0 and (path.suffix != ".toml" or _as_sealed(data[:])):
            return "marked"
        first = data[:4096].partition(b"\n")[0]
    try:
        heads = next(csv.reader([first.decode("utf-8-sig").rstrip("\r")]), [])
    except (UnicodeDecodeError, csv.Error):
        return None
    return "table of " + ", ".join(heads[:2] if heads[:2] == _FREE else heads[:_HEADS])


def sealed(text: str) -> str:
    """Return a text for a person to change, with a last line that tells whether somebody did: then it is theirs.

    >>> _as_sealed(sealed("a = 1").encode()), _as_sealed(sealed("a = 1").replace("1", "2").encode())
    (True, False)
    """
    text = text.rstrip() + "\n"
    return f"{text}# {MARK}, and replaces it as long as it is {hashlib.sha256(text.encode()).hexdigest()}\n"


def _as_sealed(content):
    text, _, seal = content.rstrip(b"\n").rpartition(b"\n")
    return seal.endswith(hashlib.sha256(text + b"\n").hexdigest().encode())


def is_geopackage(path):
    """Return whether a file is an SQLite database that calls itself a GeoPackage.

    Notes
    -----
    OGC 12-128, requirements 1 and 2: the SQLite header, and "GPKG" as the application id, which the
    SQLite file format keeps at byte 68; "GP10" and "GP11" are those of versions 1.0 and 1.1.
    """
    with open(path, "rb") as file:
        header = file.read(72)
    return header[:16] == b"SQLite format 3\0" and header[68:] in (b"GPKG", b"GP10", b"GP11")


def _kind_of_geopackage(path):
    """Findings have the layers of findings alone; of other layers each says whose it is. Maps that a GIS keeps in a
    file are somebody's work, and so are queries."""
    if queries_in(path):
        return None
    try:
        # As it stands on the disk: nothing is locked, and no log played or made.
        with closing(sqlite3.connect(f"file:{quote(str(path))}?immutable=1", uri=True)) as database:
            words = dict(database.execute("SELECT table_name, description FROM gpkg_contents"))
            maps = database.execute("SELECT 1 FROM sqlite_master WHERE name = 'qgis_projects'").fetchone()
    except sqlite3.Error:
        return None
    words.pop("layer_styles", None)
    if maps or not words:
        return None
    if {"run", "clearances"} <= set(words) <= _FINDINGS:
        return "findings"
    return "layers" if all(MARK in (text or "") for text in words.values()) else None


def _is_folder_of_findings(path):
    """Whether a folder holds layers of findings and nothing else: files, and one folder with those of each line for
    some layers. No link is followed."""
    held = [*path.rglob("*")]
    if any(each.is_symlink() or each.is_file() and each.suffix != PARQUET for each in held):
        return False
    names = {each.name.removesuffix(PARQUET) for each in held if each.parent == path}
    try:
        marked = MARK.encode() in (path / f"run{PARQUET}").read_bytes()[-100_000:]
    except OSError:
        return False
    return marked and {"run", "clearances"} <= names <= _FINDINGS


#: Names of the layers of findings.
_FINDINGS = frozenset(layer.name for layer in LAYERS)
