"""The folder that a job writes its tables and drawings to."""

from pathlib import Path

from corridor.errors import InputError

__all__ = ["made_folder"]


def made_folder(folder):
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
