"""The log of a run, for whoever is asked for help: what ran where, and what went wrong."""

import os
import platform
import sys
import tempfile
from contextlib import suppress
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

from corridor import __version__
from corridor.commands.shared import say
from corridor.errors import CorridorError, InputError

__all__ = ["check_log", "write_log"]

#: Libraries whose versions a fault may hang on.
_LIBRARIES = ("geopandas", "laspy", "matplotlib", "numpy", "pyarrow", "pydantic", "pyogrio", "pyproj", "rasterio",
              "scipy", "shapely")


def check_log(path: Path) -> None:
    """Refuse a log that would replace another file, before anything runs.

    Raises
    ------
    InputError
        It is no log that this software wrote.
    """
    from corridor.outputs.guard import PLAIN

    if path.suffix.lower() not in (".log", ".txt"):
        raise InputError(None, "--log", repr(str(path)), "a name that ends in .log or .txt")
    PLAIN.check(path, "marked")


def write_log(told: dict, status: int, arguments: list[str]) -> None:
    """Write what a run told, where the person asked for it; without that only a trace, to the system's folder for
    temporary files. Say where it is."""
    path, trace = told.get("log"), told.get("trace", "")
    if path is None and not trace:
        return
    lines = [f"corridor {__version__}", f"Python {sys.version.split()[0]} on {platform.platform()}", *_versions(),
             f"arguments: {list(map(str, arguments))}", *told.get("lines", ()), f"status: {status}", "", trace]
    try:
        if path is None:
            handle, name = tempfile.mkstemp(prefix="corridor-", suffix=".log")
            with os.fdopen(handle, "w", encoding="utf-8", errors="replace") as file:
                file.write("\n".join(lines))
        else:
            name = _replace(path, lines)
    except (OSError, CorridorError) as error:
        say(f"The log could not be written: {error}")
        return
    if trace:
        say(f"For whoever looks into it: {name}")


def _replace(path, lines):
    from corridor.outputs.files import Files
    from corridor.outputs.guard import MARK

    with Files() as files:
        files.new(path, "marked").write_text("\n".join([*lines, MARK, ""]), encoding="utf-8", errors="replace")
    return files.written[0]


def _versions():
    for name in _LIBRARIES:
        with suppress(PackageNotFoundError):
            yield f"{name} {version(name)}"
