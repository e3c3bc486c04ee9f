"""The folder that a job writes its tables and drawings to, all of them or none."""

from collections.abc import Mapping
from pathlib import Path

from corridor.constants import NO_ROOM
from corridor.errors import InputError
from corridor.outputs.files import Files
from corridor.outputs.frames import Columns
from corridor.outputs.guard import PLAIN, Guard
from corridor.outputs.tables import write_csv

__all__ = ["add_csvs", "made_folder", "write_csvs"]


def made_folder(folder: Path | str) -> Path:
    """Return a folder as a path, made where it is new.

    Raises
    ------
    InputError
        It is none, and cannot be made.
    OSError
        There is no room for it.
    """
    folder = Path(folder)
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        if error.errno in NO_ROOM:
            raise
        raise InputError(None, "folder", f"{str(folder)!r} ({(error.strerror or 'unusable').lower()})",
                         "a folder, or a new name in one") from None
    return folder


def add_csvs(files: Files, folder: Path, tables: Mapping[str, Columns]) -> None:
    """Write tables as CSV files of their names to a folder that is there, together with other files."""
    for name, columns in tables.items():
        write_csv(files.new(folder / f"{name}.csv"), columns)


def write_csvs(folder: Path | str, tables: Mapping[str, Columns], guard: Guard = PLAIN) -> tuple[Path, ...]:
    """Write tables as CSV files of their names to a folder, made where it is new, and return their paths.

    Raises
    ------
    InputError
        The folder is none, and cannot be made, or a file in it must not be replaced.
    """
    folder = made_folder(folder)
    with Files(guard) as files:
        add_csvs(files, folder, tables)
    return files.written
