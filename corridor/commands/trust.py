"""Whose files may lead where: what the person says, or has in a configuration of their own."""

import hashlib
import os
import secrets
import tomllib
from contextlib import suppress
from pathlib import Path

import click

from corridor.errors import CorridorError, InputError

__all__ = ["own_secret", "remember", "told_of_networks", "trusted"]

#: Studies made here that are remembered, the last ones.
_MOST = 1000
#: Where GDAL shall look for servers: where there is none. Asked for by every copy of it in this process.
_NOWHERE = {"GDAL_HTTP_PROXY": "127.0.0.1:9", "GDAL_HTTPS_PROXY": "127.0.0.1:9",
            "CPL_VSIL_CURL_ALLOWED_FILENAME": "/none"}


def trusted(study: Path, all_of_it: bool) -> bool | tuple[Path, ...]:
    """Return what `open_study` shall trust, and see that GDAL keeps off networks unless it is all.

    A study that was made here from one that was read is trusted like that one: it is known by its bytes.

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
    return True if all_of_it or _remembered(study) else _configured()


def told_of_networks() -> dict[str, str]:
    """Return what GDAL is told of networks in this process, for others that do its work."""
    return {name: os.environ[name] for name in _NOWHERE if name in os.environ}


def own_secret() -> bytes:
    """Return a secret of this person, made when it is first asked for; empty where none can be kept."""
    path = _folder() / "secret"
    with suppress(OSError):
        if not path.exists():
            path.parent.mkdir(parents=True, exist_ok=True)
            with open(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
                file.write(secrets.token_bytes(32))
        return path.read_bytes()
    return b""


def remember(study: Path) -> None:
    """Note a study that was made here, for `trusted`; where that cannot be noted it is not."""
    from corridor.outputs.files import Files
    from corridor.outputs.guard import Guard

    with suppress(OSError, CorridorError), Files(Guard(overwrite=True)) as files:
        _folder().mkdir(parents=True, exist_ok=True)
        known = _made().read_text(encoding="ascii", errors="replace").split() if _made().exists() else []
        known = [*known[-_MOST:], hashlib.sha256(study.read_bytes()).hexdigest()]
        files.new(_made()).write_text("\n".join(dict.fromkeys(known)) + "\n", encoding="ascii", errors="replace")


def _remembered(study):
    with suppress(OSError, UnicodeDecodeError):
        if study.is_file() and study.stat().st_size < 10_000_000 and _made().is_file():
            return hashlib.sha256(study.read_bytes()).hexdigest() in _made().read_text(encoding="ascii").split()
    return False


def _folder():
    return Path(click.get_app_dir("corridor"))


def _made():
    return _folder() / "made_here.txt"


def _configured():
    path = _folder() / "config.toml"
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
