"""A job beside the check: plan and profile of its findings, as sheets (PDF) or for a drawing program (DXF)."""

import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import product
from pathlib import Path

from corridor.check import Progress
from corridor.errors import CorridorWarning, InputError, nearest
from corridor.jobs.read_back import own_findings, target_beside
from corridor.jobs.surroundings import about_line
from corridor.opened import Opened
from corridor.outputs.drawings.dxf import need_dxf, write_plan, write_profile
from corridor.outputs.drawings.scenes import Scene
from corridor.outputs.drawings.sheets import draw_sheets, sheets_of, worth_a_look
from corridor.outputs.files import Files
from corridor.outputs.frames import read_layer

__all__ = ["KINDS", "Drawn", "draw_study"]

#: Kinds of drawing.
KINDS = ("pdf", "dxf")
_SMALL = ("structures", "spans", "sections", "options", "run", "inputs")
#: Layers of which the options drawn are read, and of wires the cases drawn: of a long line all would fill the memory.
_OF_OPTIONS = ("clearances", "violations", "not_assessed")
#: Cases that are drawn where none are asked for.
_CASES = 3


@dataclass(frozen=True)
class Drawn:
    """What was drawn: `files` written, the first of them `output`; `sheets` of plan and profile, their number; `cases`
    drawn."""

    files: tuple[Path, ...]
    sheets: int
    cases: tuple[str, ...]

    @property
    def output(self) -> Path:
        """The first file."""
        return self.files[0]


def draw_study(opened: Opened, findings: Path | str | None = None, output: Path | str | None = None, *,
               kind: str = "pdf", options: Sequence[str] = (), cases: Sequence[str] = (), scale: float = 5000.0,
               sheets: tuple[int, int] | None = None, short: bool = False, time: datetime | None = None,
               overwrite: bool = False, progress: Progress | None = None) -> Drawn:
    """Draw the findings of a study: plan and profile, as one PDF of sheets, or as two DXF files.

    Parameters
    ----------
    opened : Opened
    findings : path, optional
        Those of the check, a GeoPackage or a folder; default: what the study says.
    output : path, optional
        The file; default: beside the findings, with the ending of its kind. Of DXF the names get _plan and _profile.
    kind : str
        One of KINDS.
    options, cases : sequence of str, optional
        What is drawn; default: the option with the most violations, and the first cases that are compared vertically
        with whole wires.
    scale : float
        Metres on the ground to a metre of paper, along the line.
    sheets : (int, int), optional
        First and last sheet to draw, counted from 1; default: all. The profile of a DXF is drawn for them alone.
    short : bool
        Whether to leave out sheets without a violation on which all was assessed.
    time : datetime, optional
        What the PDF says it was made at.
    overwrite : bool
        Whether files may be replaced that this software did not write.
    progress : callable, optional
        `progress(done, total)` in sheets.

    Raises
    ------
    InputError
        There are no findings of the study as it is now, no such option, case or sheet, nothing to draw, or a file must
        not be replaced.
    CorridorError
        The library for DXF is missing.
    """
    if kind == "dxf":
        need_dxf()
    study, source = opened.study, own_findings(opened, findings)
    target = target_beside(source, output, f"{source.stem}.{kind}")
    table = read_layer(source, "options")
    options = _chosen("option", options, table["option"]) or [table["option"][table["violations"].idxmax()]]
    upright = [case.name for case in study.cases if "vertical" in case.checks and case.broken is None]
    upright = upright or [case.name for case in study.cases]
    cases = tuple(_chosen("case", cases, [case.name for case in study.cases]) or upright[:_CASES])
    layers, inputs = _read(source, options, cases), opened.inputs
    _tell_bare(layers, options, cases)
    spans = layers["spans"]
    about = about_line(inputs, opened.ground, spans.geometry.values, spans["ground_factor"])
    windy = tuple(case.name for case in study.cases if case.wind)
    scenes = [Scene(layers, option, cases, about, opened.name, windy) for option in options]
    pairs = [(scene, _sheets(scene, scale, sheets, short)) for scene in scenes]
    with Files(opened.guard(overwrite).besides(source)) as files:
        _WRITERS[kind](files, target, pairs, scale, time, progress)
    return Drawn(files.written, sum(len(chosen) for _, chosen in pairs), cases)


def _pdf(files, target, pairs, scale, time, progress):
    draw_sheets(files.new(target, "marked"), pairs, time=time, progress=progress)


def _dxf(files, target, pairs, scale, time, progress):
    plan, profile = (files.new(target.with_name(f"{target.stem}_{part}.dxf"), "marked") for part in ("plan", "profile"))
    write_plan(plan, [scene for scene, _ in pairs], scale=scale)
    write_profile(profile, pairs, scale=scale, progress=progress)


_WRITERS = {"pdf": _pdf, "dxf": _dxf}


def _chosen(what, wanted, known):
    for name in wanted:
        if name not in list(known):
            raise InputError(None, what, repr(name), ", ".join(map(repr, known)), nearest(name, list(known)))
    return list(wanted)


def _read(source, options, cases):
    """Layers of the findings as data frames, as far as they are drawn."""
    layers = {name: read_layer(source, name) for name in _SMALL}
    layers |= {name: read_layer(source, name, only={"option": [*options, None]}) for name in _OF_OPTIONS}
    return layers | {"wires": read_layer(source, "wires", only={"option": options, "case": cases})}


def _tell_bare(layers, options, cases):
    """Warn of spans of whose wires the findings have none in an option and a case that are drawn."""
    wires, spans = layers["wires"], layers["spans"]
    every = set(zip(spans["line"], spans["span"], strict=True))
    for option, case in product(options, cases):
        some = wires[(wires["option"] == option) & (wires["case"] == case)]
        bare = len(every - set(zip(some["line"], some["span"], strict=True)))
        if bare:
            warnings.warn(f"in case {case!r} {bare} of {len(every)} spans are drawn without wires of {option!r}: the "
                          'findings have none of them (as where study.wires is "governing")', CorridorWarning,
                          stacklevel=3)


def _sheets(scene, scale, wanted, short):
    """The sheets of a scene that are drawn."""
    found = sheets_of(scene, scale)
    if wanted is not None:
        first, last = wanted
        if not 1 <= first <= last <= len(found):
            raise InputError(None, "sheets", f"{first}-{last}", f"sheets from 1 to {len(found)}, the first before the "
                             "last")
        found = found[first - 1:last]
    if short:
        found = worth_a_look(scene, found)
        if not found:
            raise InputError(None, "short", f"no sheet of option {scene.option!r} with a violation, or where something "
                             "was not assessed", "all sheets")
    return found
