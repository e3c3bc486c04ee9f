"""The folder that a job writes its tables and drawings to."""

from collections.abc import Mapping
from pathlib import Path

from corridor.errors import InputError
from corridor.outputs.frames import Columns
from corridor.outputs.tables import write_csv

__all__ = ["made_folder", "write_csvs"]


def made_folder(folder: Path | str) -> Path:
    """Return a folder as a path, made where it is new.

    Raises
    ------
    InputError
        It is none, and cannot be made.
    """
    folder = Path(folder)
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise InputError(None, "folder", f"{str(folder)!r} ({(error.strerror or 'unusable').lower()})",
                         "a folder, or a new name in one") from None
    return folder


def write_csvs(folder: Path | str, tables: Mapping[str, Columns]) -> tuple[Path, ...]:
    """Write tables as CSV files of their names to a folder, made where it is new, and return their paths.

    Raises
    ------
    InputError
        The folder is none, and cannot be made.
    """
    folder = made_folder(folder)
    paths = tuple(folder / f"{name}.csv" for name in tables)
    for path, columns in zip(paths, tables.values(), strict=True):
        write_csv(path, columns)
    return paths
