"""The errors a person meets: one tree, every message names the place and the way out.

CorridorError
    InputError      what was given is wrong (exit status 2)
    MachineError    what the machine did not give (exit status 70)
"""

from collections.abc import Iterable
from difflib import get_close_matches
from pathlib import Path


class CorridorError(Exception):
    """Base of every error that corridor raises on purpose."""


class MachineError(CorridorError):
    """The machine did not give what was needed: room on a disk, a file that another program holds, a stream."""


class CorridorWarning(UserWarning):
    """What a person should know of a job that was done."""


class InputError(CorridorError):
    """Something that a person gave cannot be used.

    Parameters
    ----------
    file : path or str or None
        The file that holds the fault.
    where : str or None
        The key, column or feature within it.
    found, accepted : str
        What stands there, and what could stand there.
    hint : str or None
        The nearest known name, or the next step.

    Examples
    --------
    >>> print(InputError("study.toml", "study.voltage", "'110 kg'", "a voltage", "'110 kV'"))
    study.toml: study.voltage: found '110 kg'; accepted: a voltage; perhaps '110 kV'?
    """

    def __init__(self, file: str | Path | None, where: str | None, found: str, accepted: str,
                 hint: str | None = None) -> None:
        self.file, self.where, self.found = file, where, found
        self.accepted, self.hint = accepted, hint
        place = ": ".join(_short(str(part)) for part in (file and (Path(file).name or file), where) if part)
        message = f"{place}: found {_short(found)}; accepted: {accepted}"
        super().__init__(message + (f"; perhaps {hint}?" if hint else ""))

    def __reduce__(self) -> tuple[object, ...]:
        """How it gets to another process: by what it was made of, not by its words."""
        return type(self), (self.file, self.where, self.found, self.accepted, self.hint)


def _short(text: str) -> str:
    """A text without its middle, where somebody gave thousands of letters."""
    return text if len(text) <= _LONGEST else f"{text[:_LONGEST // 2]} ... {text[-_LONGEST // 8:]}"


#: Letters of what was found that are shown whole.
_LONGEST = 400

#: Names that findings cannot hold, for there they would read as a value that is not known.
NO_NAMES = frozenset(["nan"])


def nearest(name: object, known: Iterable[object]) -> str | None:
    """Return the known name most like `name`, or None.

    Examples
    --------
    >>> nearest("temprature", ["temperature", "ice"])
    'temperature'
    >>> nearest("xyz", ["temperature"]) is None
    True
    """
    matches = get_close_matches(str(name), [str(k) for k in known], n=1)
    return matches[0] if matches else None
