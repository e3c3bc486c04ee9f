"""Names of what is not finished yet, by which a later run knows, and takes away, what dead runs left behind."""

import errno
import itertools
import os
import platform
import re
import shutil
import tempfile
import time
import zlib
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

__all__ = ["need_written", "sum_of", "sweep", "temporary_folder", "unfinished"]

#: Another machine may write to the same folder: whether its runs live cannot be asked here.
_HOST = f"{zlib.crc32(platform.node().encode()):08x}"
#: A number of a process comes again, in containers with every start; this does not.
_RUN = f"{time.time_ns():x}"
_NAME = re.compile(r"\.corridor-([0-9a-f]{8})-(\d{1,10})-([0-9a-f]+)-")
_count = itertools.count(1)


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


def sweep(folder: Path) -> None:
    """Take away what dead runs on this machine left unfinished in a folder; what cannot be taken away stays."""
    with suppress(OSError):
        for name in os.listdir(folder):
            found = _NAME.match(name)
            if found and found[1] == _HOST and not _alive(int(found[2]), found[3]):
                path = folder / name
                with suppress(OSError):
                    shutil.rmtree(path) if path.is_dir() and not path.is_symlink() else path.unlink()


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
