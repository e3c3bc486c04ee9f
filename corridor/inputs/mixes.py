"""The mixes of a study on its lines: which option hangs in which section."""

import numpy as np

from corridor.errors import InputError, nearest
from corridor.line.mixes import mix_of

__all__ = ["read_mixes"]


def read_mixes(study, spans, sections):
    """Return the mixes of a study whose lines are laid out.

    Raises
    ------
    InputError
        A section that the lines do not have, is of several lines, or is named twice; a mix that is one option.
    """
    existing = next((each.name for each in study.options if each.existing), None)
    found = []
    for i, mix in enumerate(study.mixes):
        where, hangs = study.place(f"mixes.{i}"), np.full(len(sections), None, object)
        for k, row in enumerate(mix.in_sections):
            for name in row.sections:
                at = _section(study, f"{where}.in_sections.{k}.sections", row.line, name, sections)
                if hangs[at] is not None:
                    raise InputError(study.path, f"{where}.in_sections.{k}.sections", f"{name!r} twice",
                                     "each section once")
                hangs[at] = row.option
        hangs[[each is None for each in hangs]] = mix.option
        if len(set(hangs)) == 1:
            raise InputError(study.path, where, f"{hangs[0]!r} in all sections", "another option in some sections only")
        found.append(mix_of(mix.name, hangs, spans, existing))
    return tuple(found)


def _section(study, where, line, name, sections):
    """Index of a section by its name."""
    at = np.flatnonzero((sections.name == name) & ((sections.line == line) | (line is None)))
    if len(at) == 1:
        return int(at[0])
    if len(at):
        raise InputError(study.path, where, f"{name!r}, of lines {', '.join(sections.line[at])}", "line beside it")
    of = sections.name if line is None else sections.name[sections.line == line]
    words = ", ".join(map(str, of[:8])) + ", ..." * (len(of) > 8) if len(of) else ", ".join(
        dict.fromkeys(map(str, sections.line)))
    raise InputError(study.path, where, repr(name) + (f" of line {line!r}" if line is not None else ""), words,
                     nearest(name, list(map(str, of))) if len(of) else None)
