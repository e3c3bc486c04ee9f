"""The one way to write: files get their names when all of them are whole, and what stood there stands until then."""

import errno
import os
import shutil
import sqlite3
import warnings
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Self

from pyogrio.errors import DataLayerError, DataSourceError
from rasterio._err import CPLE_BaseError  # which rasterio raises, too, and has no other name for
from rasterio.errors import RasterioError

from corridor.constants import NO_ROOM
from corridor.errors import CorridorError, CorridorWarning, InputError, MachineError
from corridor.outputs.guard import PLAIN, Guard, foreign, is_geopackage, kind_of, log_beside, may_be_ours, place_of
from corridor.temporary import LIST, state_of, sweep, unfinished, within, write_list

__all__ = ["NOT_WHOLE", "PLACED", "Files", "disk_errors", "joined"]


class Files:
    """Files that come into being together, in a `with` statement: all whole, or none.

    Each is written under a temporary name in the folder of its target. At the end all are flushed to the disk, then
    take the places of their targets, one at once after the other. Leaving by an exception changes nothing. Killed among
    the last renamings, some files are new and others old, each of them whole: the next run that writes there gives the
    others their names, too.

    A target that came, changed or was opened by another program meanwhile, or that cannot be replaced, stays: what is
    finished is kept beside it, and a `CorridorWarning` names it. `written` then has those names.

    Parameters
    ----------
    guard : Guard
        What must not be written over.

    Raises
    ------
    InputError
        A target must not be replaced, or is asked for by two names.
    MachineError
        The disk fails or is full, or a program holds a target from the start.

    Examples
    --------
    >>> import tempfile
    >>> folder = Path(tempfile.mkdtemp())
    >>> with Files() as files:
    ...     _ = files.new(folder / "notes.csv").write_text("span,note")
    ...     (folder / "notes.csv").exists()
    False
    >>> (folder / "notes.csv").read_text(), [path.name for path in files.written]
    ('span,note', ['notes.csv'])
    """

    def __init__(self, guard: Guard = PLAIN) -> None:
        self._guard = guard
        self._made: dict[Path, tuple[Path, Path, list[int] | None]] = {}
        self._folders: dict[Path, tuple[Path, tuple[str, ...]]] = {}
        self._lists: list[Path] = []
        self._left = False
        self.written: tuple[Path, ...] = ()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: object, value: BaseException | None, traceback: object) -> None:
        try:
            with disk_errors(*(given for given, *_ in self._made.values()), *self._folders):
                if value is not None:
                    raise _of_a_full_disk(value) or value
                self._close()
        finally:
            if not self._left:
                self._clear()

    def new(self, path: Path | str, kind: str | None = None) -> Path:
        """Return where to write a file, which gets its name at the end; the same place when asked again.

        `kind` is as for `Guard.check`.
        """
        target = place_of(path)
        if target not in self._made:
            self._guard.check(target, kind)
            if any(target.exists() and other.exists() and target.samefile(other) for other in self._made):
                raise InputError(target, "output", "one file by two names", "a name of its own for each output")
            sweep(target.parent)
            self._made[target] = Path(path), unfinished(target), state_of(target)
        return self._made[target][1]

    def reserve(self, *paths: Path | str | None) -> None:
        """Ask for the places of some files before the work, None for those that are not wanted; refuse two that are
        one file."""
        seen = [place_of(path) for path in paths if path is not None]
        for path in seen:
            if seen.count(path) > 1:
                raise InputError(path, "output", "two outputs of one name", "a name of its own for each output")
            self.new(path)

    def staged(self, folder: Path, stale: Iterable[str] = ()) -> Path:
        """Return a folder beside another, whose files move there at the end; files there that match a pattern of
        `stale`, are of this software and not written anew go then."""
        folder = place_of(folder)
        if folder not in self._folders:
            sweep(folder.parent)
            staged = unfinished(folder)
            with disk_errors(folder):
                staged.mkdir()
            self._folders[folder] = staged, tuple(stale)
        return self._folders[folder][0]

    def _clear(self):
        """Take away all that is under a temporary name."""
        for path in self._lists:
            with suppress(OSError):
                path.unlink(missing_ok=True)
        for _, temporary, _ in self._made.values():
            if temporary.is_dir():
                shutil.rmtree(temporary, ignore_errors=True)
                continue
            for suffix in ("", "-journal", "-wal", "-shm", ".aux.xml"):
                with suppress(OSError):
                    Path(f"{temporary}{suffix}").unlink(missing_ok=True)
        for staged, _ in self._folders.values():
            shutil.rmtree(staged, ignore_errors=True)

    def _close(self):
        gone = []
        for folder, (staged, stale) in self._folders.items():
            folder.mkdir(exist_ok=True)
            for path in sorted(staged.iterdir()):
                target = folder / path.name
                self._guard.check(target, kind_of(path))
                elsewhere = path.stat().st_dev != folder.stat().st_dev  # a disk onto which nothing is renamed
                temporary = unfinished(target) if elsewhere else path
                self._made[target] = target, temporary, state_of(target)
                if elsewhere:
                    shutil.copyfile(path, temporary)
            gone += [path for pattern in stale for path in folder.glob(pattern)
                     if path not in self._made and may_be_ours(path)]
        for _, temporary, _ in self._made.values():
            _need_whole(temporary)
            _flush(temporary)
        kept = self._kept()
        if not kept:
            self._list(gone)
        try:
            self.written = tuple(self._placed(target, kept) for target in self._made)
        except (KeyboardInterrupt, SystemExit):
            self._left = True  # the next run carries on
            raise
        if not kept:
            for path in gone:
                path.unlink(missing_ok=True)
        for folder in {target.parent for target in self._made}:
            _flush_folder(folder)

    def _list(self, gone):
        """Write lists of what takes its place together, for whoever has to carry on; none for a file alone."""
        if len(self._made) + len(gone) < 2 and not any(temporary.is_dir() for _, temporary, _ in self._made.values()):
            return
        # A staged folder lies beside that of its targets.
        moves = [(temporary, target) for target, (_, temporary, _) in self._made.items()]
        places = [pair[1].parent if pair[0].parent == pair[1].parent else pair[1].parent.parent for pair in moves]
        folders = dict.fromkeys([*places, *(path.parent for path in gone)])
        every = [*self._made, *(each for each, _ in moves), *gone]
        common = min(folders, key=lambda place: len(place.parts))
        lists = {common: (moves, gone)} if all(
            each.is_relative_to(common) and within(each.relative_to(common)) for each in every) else {
            place: ([pair for pair, own in zip(moves, places, strict=True) if own == place],
                    [path for path in gone if path.parent == place]) for place in folders}
        for place, each in lists.items():
            self._lists.append(unfinished(place / LIST))
            write_list(self._lists[-1], *each)

    def _kept(self):
        """Why targets cannot be replaced, by target: then none is, for they belong together."""
        why = {}
        for target, (_, temporary, before) in self._made.items():
            # All that is in a folder would go with it.
            asked = temporary.is_dir() or not self._guard.overwrite
            if target.exists() and asked and kind_of(target) != kind_of(temporary):
                if state_of(target) == before:
                    raise foreign(target)
                why[target] = "it came meanwhile, and is of another kind"
            elif log := log_beside(target):
                why[target] = f"another program has it open ({log.name} is beside it): close the layer in the GIS"
        return why

    def _placed(self, target, kept):
        """Give a file its name, or another where that cannot be; return it."""
        given, temporary, _ = self._made[target]
        if not kept:
            try:
                _take_place(temporary, target)
                _note(target)
                return given
            except OSError as error:
                kept[target] = f"{(error.strerror or str(error)).lower()}: close it in other programs"
        aside = _free_name(target)
        os.replace(temporary, aside)
        _note(aside)
        words = kept.get(target, "it belongs to others that could not be replaced")
        warnings.warn(f"{target.name} stays as it was, {words}. What was made for it is whole in {aside.name}",
                      CorridorWarning, stacklevel=4)
        return given.with_name(aside.name)


def _take_place(temporary, target):
    """Give a file or folder its name. A folder that stands there goes aside first; where the run dies before the new
    one has its name, the next one gives it (`write_list`)."""
    if not temporary.is_dir():
        if target.exists():
            shutil.copymode(target, temporary)
        os.replace(temporary, target)
        return
    aside = unfinished(target)
    if target.exists():
        os.rename(target, aside)
    try:
        os.rename(temporary, target)
    except OSError:
        if aside.exists():
            os.rename(aside, target)
        raise
    shutil.rmtree(aside, ignore_errors=True)


@contextmanager
def joined(files: Files | None, guard: Guard) -> Iterator[Files]:
    """Return a context with the files of a larger job, or with files of its own, which end with it."""
    if files is not None:
        yield files
        return
    with Files(guard) as own:
        yield own


#: Files that got their names in this process, but those within folders that are not finished.
PLACED: list[Path] = []


def _note(path):
    if not any(part.startswith(".corridor-") for part in path.parts):
        PLACED.append(path)


def _free_name(target):
    number = os.getpid()
    while (path := target.with_name(f"{target.stem[:50]}-{number}{target.suffix}")).exists():
        number += 1
    return path


def _need_whole(path):
    """Refuse a GeoPackage without all of its parts: GDAL tells of no failure to write the last ones."""
    if path.is_dir():
        return  # its files were read again when they were written
    if not is_geopackage(path):
        with path.open("rb") as file:
            head = file.read(16)
        # A text that somebody gives such a name is another matter.
        if path.suffix.lower() == ".gpkg" and head.strip(b"\0") in (b"", b"SQLite format 3"):
            raise sqlite3.DatabaseError(NOT_WHOLE)
        return
    with closing(sqlite3.connect(path)) as database:
        verdict, = database.execute("PRAGMA integrity_check(1)").fetchone()
        if verdict != "ok":
            raise sqlite3.DatabaseError(verdict)
        for layer, column in database.execute("SELECT table_name, column_name FROM gpkg_geometry_columns").fetchall():
            # The fourth byte of a geometry tells whether it is empty (OGC 12-128, clause 2.1.3).
            held = f"substr(hex(substr(\"{column}\", 4, 1)), 1, 1) IN ('0', '2')"
            rows, = database.execute(f'SELECT count(*) FROM "{layer}" WHERE {held}').fetchone()
            if database.execute(f'SELECT count(*) FROM "rtree_{layer}_{column}"').fetchone() != (rows,):
                raise sqlite3.DatabaseError(NOT_WHOLE)
        if not _counts_rows(database):
            raise sqlite3.DatabaseError(NOT_WHOLE)


def _counts_rows(database):
    """Whether each layer whose rows GDAL counts has what keeps the count, which comes last of all."""
    held = {name for name, in database.execute("SELECT name FROM sqlite_master WHERE type IN ('table', 'trigger')")}
    counted = database.execute("SELECT table_name FROM gpkg_ogr_contents").fetchall() if (
        "gpkg_ogr_contents" in held) else ()
    return all(f"trigger_{kind}_feature_count_{layer}" in held for layer, in counted for kind in ("insert", "delete"))


NOT_WHOLE = "it did not get whole"


def _flush(path):
    """Have the disk hold a file, or all of a folder, before a name points to it."""
    for each in (path, *path.rglob("*")) if path.is_dir() else (path,):
        if each.is_dir():
            _flush_folder(each)
        else:
            with open(each, "rb+") as file:
                os.fsync(file.fileno())


def _flush_folder(folder):
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            with suppress(OSError):  # not every disk knows how
                os.fsync(handle)
        finally:
            os.close(handle)


def _of_a_full_disk(error):
    """The error of a full disk that another one followed from, as where a library closes what it could not write."""
    while error is not None and not (isinstance(error, OSError) and error.errno in NO_ROOM):
        error = None if isinstance(error, CorridorError) else error.__context__
    return error


@contextmanager
def disk_errors(*paths: Path) -> Iterator[None]:
    """Tell failures of the disk as such.

    Raises
    ------
    MachineError
        Instead of what a library raises where it cannot write.
    """
    before = len(PLACED)
    names = ", ".join(path.name for path in paths[:3]) + (", ..." if len(paths) > 3 else "")
    try:
        yield
    except PermissionError as error:
        raise MachineError(f"{names}: may not be written in {paths[0].resolve().parent.name!r} "
                           f"({error.strerror})" if paths else str(error)) from error
    except (OSError, sqlite3.Error, DataSourceError, DataLayerError, RasterioError, CPLE_BaseError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        reason = reason.rpartition("failed: ")[2]  # GDAL tells the whole statement before
        if getattr(error, "errno", errno.EIO) == errno.EIO and paths and _nearly_full(paths[0].resolve().parent):
            reason = os.strerror(errno.ENOSPC)  # which GDAL does not always tell
        elif "no such table" in reason:  # GDAL told of nothing, and the next one missed it
            reason = NOT_WHOLE
        left = "" if len(PLACED) > before else ". What stood there is as it was"
        raise MachineError(f"{names}: could not be written: {reason}{left}") from error


def _nearly_full(folder):
    """Whether a failure there is that of a full disk."""
    return shutil.disk_usage(folder).free < 1_000_000
