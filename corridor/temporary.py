"""Names of what is not finished yet, by which a later run knows, and takes away, what dead runs left behind."""

import errno
import itertools
import json
import os
import platform
import re
import shutil
import tempfile
import time
import zlib
from collections.abc import Iterable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

__all__ = ["LIST", "need_written", "state_of", "sum_of", "sweep", "temporary_folder", "unfinished", "within",
           "write_list"]

#: Another machine may write to the same folder: whether its runs live cannot be asked here.
_HOST = f"{zlib.crc32(platform.node().encode()):08x}"
#: A number of a process comes again, in containers with every start; this does not.
_RUN = f"{time.time_ns():x}"
_NAME = re.compile(r"\.corridor-([0-9a-f]{8})-(\d{1,10})-([0-9a-f]+)-")
_count = itertools.count(1)
#: How the list ends of files that take their places together, and how long one may be [bytes].
LIST, _LONGEST = "list.json", 1_000_000


def unfinished(target: Path) -> Path:
    """Return a name beside a file, of its ending, under which it is written until it is whole.

    >>> unfinished(Path("findings.gpkg")).suffix, unfinished(Path("a.csv")) == unfinished(Path("a.csv"))
    ('.gpkg', False)
    """
    return target.with_name(f"{_prefix()}{next(_count)}-{target.name[-40:]}")


def temporary_folder(parent: Path | str | None = None) -> Path:
    """Return a new folder for what goes with the job, in the system's folder for temporary files unless told where.

    What dead runs left there goes.

    Raises
    ------
    OSError
        There is no room, or no folder that can be written.
    """
    parent = Path(parent or tempfile.gettempdir())
    sweep(parent)
    return Path(tempfile.mkdtemp(prefix=_prefix(), dir=parent))


def state_of(path: Path) -> list[int] | None:
    """Return what tells whether a file was replaced or changed, None where there is none."""
    if not path.exists():
        return None
    facts = path.stat()
    return [facts.st_ino, facts.st_size, facts.st_mtime_ns]


def write_list(path: Path, moves: Iterable[tuple[Path, Path]], gone: Iterable[Path]) -> None:
    """Write a list of files that are about to take their places together, and of those that go then: if the run dies
    among them, the next one that writes there carries on.

    Parameters
    ----------
    path : Path
        `unfinished` name of `LIST`, in the folder that all lie in, or in folders of which.
    moves : iterable of (Path, Path)
        Names under which they were written, and their own.
    gone : iterable of Path
    """
    place = path.parent
    # A folder in the place of a folder is given its name after that one has gone aside.
    told = {"moves": [[*(str(each.relative_to(place)) for each in pair), None if pair[0].is_dir() else _looks(pair[1])]
                      for pair in moves],
            "gone": [[str(each.relative_to(place)), _looks(each)] for each in gone]}
    with path.open("w", encoding="utf-8") as file:
        json.dump(told, file)
        file.flush()
        os.fsync(file.fileno())


def sweep(folder: Path) -> None:
    """Take away what dead runs on this machine left unfinished in a folder; what cannot be taken away stays. Files that
    were whole and of which some had taken their places take them all."""
    with suppress(OSError):
        dead = [name for name in os.listdir(folder) if (found := _NAME.match(name)) and found[1] == _HOST
                and not _alive(int(found[2]), found[3])]
        for name in sorted(dead, key=lambda name: not name.endswith(f"-{LIST}")):
            path = folder / name
            with suppress(OSError):
                # Where many write, as in the system's folder, another user's list is none of ours.
                if name.endswith(f"-{LIST}") and (os.name != "posix" or path.lstat().st_uid == os.getuid()):
                    _carry_on(path)
                shutil.rmtree(path) if path.is_dir() and not path.is_symlink() else path.unlink()


def _carry_on(path: Path) -> None:
    """Give files of a dead run that are on its list their names, where what stood there then stands there still."""
    place, prefix = path.parent, path.name.removesuffix(f"-{LIST}").rpartition("-")[0] + "-"
    try:
        told = json.loads(path.read_bytes()) if path.stat().st_size <= _LONGEST and not path.is_symlink() else None
        moves = [(Path(a), Path(b), state) for a, b, state in told["moves"]]
        gone = [(Path(a), state) for a, state in told["gone"]]
    except (ValueError, TypeError, KeyError, RecursionError):  # it did not get whole
        return
    for temporary, target, state in moves:
        if any(part.startswith(prefix) for part in temporary.parts) and _led(place, temporary) and _led(
                place, target) and _looks(place / target) == state and (place / temporary).exists() and not (
                place / temporary).is_symlink():
            if state is not None:
                shutil.copymode(place / target, place / temporary)
            os.replace(place / temporary, place / target)
    for target, state in gone:
        if _led(place, target) and state is not None and _looks(place / target) == state:
            (place / target).unlink()


def _looks(path: Path) -> list[int] | None:
    """Size and time of a file, which it keeps in a copy of the folder."""
    state = state_of(path)
    return state and state[1:]


def _led(place: Path, path: Path) -> bool:
    """Whether a path leads to something in a place or in one of its folders, over no link."""
    return within(path) and (place / path).parent.resolve() == (place.resolve() / path).parent


def within(path: Path) -> bool:
    """Return whether a relative path names something in a folder or in one of its folders."""
    return not path.is_absolute() and ".." not in path.parts and 1 <= len(path.parts) <= 2


def sum_of(raster: Any, window: Any) -> int:
    """Return a checksum (CRC-32) of what all bands of an open raster hold in a window."""
    return zlib.crc32(raster.read(window=window).tobytes())


def need_written(path: Path, sums: Mapping[Any, int], **opened: Any) -> None:
    """Refuse a raster that holds something else than what was written, for GDAL tells of no failure as it closes.

    Parameters
    ----------
    path : Path
        A raster that was closed.
    sums : dict of Window to int
        Checksums of what was written.
    **opened
        How it is opened.

    Raises
    ------
    OSError
        It holds something else.
    """
    import rasterio

    with rasterio.open(path, **opened) as raster:
        if any(sum_of(raster, window) != told for window, told in sums.items()):
            raise OSError(errno.EIO, "it did not get whole", str(path))


def _prefix():
    return f".corridor-{_HOST}-{os.getpid()}-{_RUN}-"


def _alive(process, run):
    """Whether a run may still be at work."""
    if process == os.getpid():
        return run == _RUN
    if os.name != "posix":  # where asking for a process would end it
        return True
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except (PermissionError, OverflowError):
        return True
    return True
