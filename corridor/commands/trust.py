"""Whose files may lead where: what the person says, or has in a configuration of their own."""

import os
import tomllib
from pathlib import Path

import click

from corridor.errors import InputError

__all__ = ["trusted"]

#: Where GDAL shall look for servers: where there is none. Asked for by every copy of it in this process.
_NOWHERE = {"GDAL_HTTP_PROXY": "127.0.0.1:9", "GDAL_HTTPS_PROXY": "127.0.0.1:9",
            "CPL_VSIL_CURL_ALLOWED_FILENAME": "/none"}


def trusted(all_of_it: bool) -> bool | tuple[Path, ...]:
    """Return what `open_study` shall trust, and see that GDAL keeps off networks unless it is all.

    Raises
    ------
    InputError
        The configuration cannot be used.
    """
    for name, value in _NOWHERE.items():
        if not all_of_it:
            os.environ[name] = value
        elif os.environ.get(name) == value:
            del os.environ[name]
    return True if all_of_it else _configured()


def _configured():
    path = Path(click.get_app_dir("corridor")) / "config.toml"
    if not path.is_file():
        return ()
    try:
        tables = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise InputError(path, None, f"no TOML that can be read ({error})", "trust = [folders]") from None
    folders = tables.get("trust", [])
    if set(tables) - {"trust"} or not isinstance(folders, list) or not all(isinstance(each, str) for each in folders):
        raise InputError(path, None, "another key, or no list of folders", "trust = [folders]")
    return tuple(Path(each).expanduser() for each in folders)
