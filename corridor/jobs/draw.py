"""A job beside the check: plan-and-profile sheets of its findings."""

from dataclasses import dataclass
from pathlib import Path

import shapely

from corridor.errors import InputError, nearest
from corridor.inputs.study_inputs import read_inputs
from corridor.jobs.read_back import read_back, same_inputs
from corridor.outputs.drawings.sheets import Scene, draw_sheets
from corridor.study import load_study

__all__ = ["Drawn", "draw_study"]

_LAYERS = ("structures", "spans", "sections", "wires", "clearances", "violations", "not_assessed", "options", "run",
           "inputs")
#: Cases that are drawn where none are asked for.
_CASES = 3


@dataclass(frozen=True)
class Drawn:
    """Sheets that were drawn: `output` the PDF, `sheets` their number, `cases` drawn."""

    output: Path
    sheets: int
    cases: tuple


def draw_study(path, findings=None, output=None, *, options=(), cases=(), scale=5000.0, time=None, progress=None):
    """Draw the findings of a study as plan-and-profile sheets, one PDF.

    Parameters
    ----------
    path : path
        The study file.
    findings : path, optional
        The GeoPackage of the check; default: what the study says.
    output : path, optional
        The PDF; default: beside the findings, with the ending .pdf.
    options, cases : sequence of str, optional
        What is drawn; default: the option with the most violations, and the first cases that are compared vertically.
    scale : float
        Metres on the ground to a metre of paper, along the line.
    time : datetime, optional
        What the PDF says it was made at.
    progress : callable, optional
        `progress(done, total)` in sheets.

    Raises
    ------
    InputError
        There are no findings of the study as it stands, or no such option or case.
    """
    study = load_study(path)
    source, layers = read_back(study, findings, _LAYERS)
    target = Path(output) if output else source.with_suffix(".pdf")
    if not target.parent.is_dir():
        raise InputError(target, "output", f"no folder {target.parent.name!r}", "a folder that exists")
    table = layers["options"]
    options = _chosen("option", options, table["option"]) or [table["option"][table["violations"].idxmax()]]
    upright = [case.name for case in study.cases if "vertical" in case.checks] or [c.name for c in study.cases]
    cases = tuple(_chosen("case", cases, [case.name for case in study.cases]) or upright[:_CASES])
    inputs = read_inputs(study)
    with inputs.terrain:
        same_inputs(source, layers["inputs"], inputs)
        shapes, names = _shapes(inputs)
        title = study.study.title or study.path.stem
        way = _way(inputs, layers["spans"])
        scenes = [Scene(layers, option, cases, inputs.terrain.sample, shapes, names, way, title) for option in options]
        count = draw_sheets(target, scenes, scale=scale, time=time, progress=progress)
    return Drawn(target, count, cases)


def _chosen(what, wanted, known):
    for name in wanted:
        if name not in list(known):
            raise InputError(None, what, repr(name), ", ".join(map(repr, known)), nearest(name, list(known)))
    return list(wanted)


def _shapes(inputs):
    """Geometries about the line and their names as the findings have them."""
    index = inputs.index
    return shapely.force_2d(index.part), index.obstacles.obstacle[index.of_part]


def _way(inputs, spans):
    """The right-of-way as one geometry, None where the study has none."""
    way = inputs.right_of_way
    if way.half_width is None:
        return way.polygon
    factor = spans["ground_factor"].mean()
    lines = shapely.force_2d(spans.geometry.values)
    return shapely.union_all(shapely.buffer(lines, way.half_width / factor))
