"""A job beside the check: how high the ground may be, cell by cell, as one raster per option."""

import itertools
import re
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas
from scipy.special import ndtri

from corridor import __version__
from corridor.assessment import make_scene
from corridor.check import Progress
from corridor.clearance import ground_limit as cellwise
from corridor.clearance.bundles import bundle_reach
from corridor.clearance.grading import grading
from corridor.clearance.spread import height_deviation
from corridor.errors import InputError, nearest
from corridor.jobs.folder import made_folder
from corridor.jobs.read_back import own_findings
from corridor.line.swing import to_grid
from corridor.line.uncertainty import Uncertainty
from corridor.opened import LaidOut, Opened
from corridor.outputs.files import Files
from corridor.outputs.frames import Columns, Frames, read_layer
from corridor.outputs.ground_limit_raster import OUTCOMES, GroundLimitRaster
from corridor.study.uncertainty import uncertainty_of
from corridor.summary import CAUTIONS

__all__ = ["GroundLimitResult", "ground_limit_study"]

#: What stands in `against` of rules and is nothing that a cell could hold.
NOT_THINGS = ("right_of_way", "line", "other", "falling_tree")
#: Nodes of curves worked on at once.
_NODES = 500_000
#: How far a wire may be blown beyond its attachments, as a share of the longest span.
_BLOWN = 0.25
#: Smallest cell [m]: below that rasters of ground say nothing.
_FINEST = 0.1

#: Farthest that wires may be widened [m].
_WIDEST = 50.0
#: Below this a probability would put wires higher than they are [-].
_LEAST = 0.5
#: Places along a span at which it is looked how sure heights are [-]: between them it is off by 0.4 %.
_PLACES = np.linspace(0, 1, 17)


@dataclass(frozen=True)
class GroundLimitResult:
    """Rasters that were written, and what is in them by option, as columns.

    `options` has the columns option, minimum_room_m (nan where no cell is known), short_area_m2, cut_volume_m3,
    not_assessed_area_m2; `left_out` sentences on what was not assessed.
    """

    paths: tuple[Path, ...]
    options: Columns
    cell: float
    left_out: tuple[str, ...]

    @property
    def frames(self) -> Frames:
        """The table `options` as a data frame."""
        return Frames({"options": self.options})

    @property
    def status(self) -> int:
        """Exit status: 0, or 3 where some cells could not be assessed."""
        return 3 if np.any(self.options["not_assessed_area_m2"] > 0) or self.left_out else 0


def ground_limit_study(opened: Opened, findings: Path | str | None = None, folder: Path | str | None = None, *,
                       cell: float | None = None, beside: float = 0.0, against: str = "ground",
                       probability: float | None = None, overwrite: bool = False,
                       progress: Progress | None = None) -> GroundLimitResult:
    """Write for each option how high the ground may be below its wires, and how much room is left.

    Parameters
    ----------
    opened : Opened
    findings : path, optional
        Those of the check, a GeoPackage or a folder; default: what the study says.
    folder : path, optional
        Where the rasters go; default: beside the findings.
    cell : float, optional
        Side of the cells [m of the grid]; default: that of the ground raster, and no less than 0.1 m.
    beside : float
        Wires count as this much wider to either side [m].
    against : str
        Whose top the elevation is told for: the ground, or a category of the rules, for things no wider than a cell.
    probability : float, optional
        How likely the ground keeps clear in every case that is told of, by the study's `[uncertainty]`: wires count as
        that much lower. Default: wires are where they are.
    overwrite : bool
        Whether files may be replaced that this software did not write.
    progress : callable, optional
        `progress(done, total)` in spans.

    Raises
    ------
    InputError
        There are no findings of the study as it is now, no rule for the ground, the cell cannot be used, or a file must
        not be replaced.
    """
    _check_sizes(cell, beside)
    lower = _lowered(opened.study, probability)
    source = own_findings(opened, findings)
    folder = source.parent if folder is None else made_folder(folder)
    study, inputs = opened.study, opened.inputs
    facts, plan, _ = opened.laid_out
    rules, left_out = _guards(study, facts, plan, against)
    cells = _cells(inputs.terrain, facts, plan, rules, cell, beside)
    tags = _tags(study, source, facts, rules, left_out, against) | {"WIDENED_BY": f"{beside:g} m to either side"}
    tags |= {"PROBABILITY": f"{probability:g}"} if probability else {}
    found = _found(source, lower) if against == "ground" else {}
    with Files(opened.guard(overwrite).besides(source)) as files, ExitStack() as stack:
        rasters = [stack.enter_context(GroundLimitRaster(files, folder / name, cells, inputs.crs, tags | own))
                   for name, own in zip(_file_names(source, facts.options, against, probability),
                                        _option_tags(facts.options, against), strict=True)]
        left_out += _fill(_Work(rasters, cells, opened.laid_out, rules, found, beside, lower), progress)
        columns = _summed(rasters, facts.options, (cells.size * float(np.mean(plan.spans.ground_factor)))**2)
        for raster in rasters:
            raster.close()
    return GroundLimitResult(files.written[::2], columns, cells.size, left_out)


def _check_sizes(cell, beside):
    if cell is not None and not cell >= _FINEST:
        raise InputError(None, "cell", f"{cell:g} m", f"{_FINEST:g} m or more")
    if not 0 <= beside <= _WIDEST:
        raise InputError(None, "beside", f"{beside:g} m", f"0 to {_WIDEST:g} m")


class _Lowered(NamedTuple):
    """That wires count as lower: by so many standard deviations of their height."""

    uncertainty: Uncertainty
    times: float


def _lowered(study, probability):
    """By what wires count as lower, None where no probability is asked for."""
    if probability is None:
        return None
    if not _LEAST <= probability < 1:
        raise InputError(None, "probability", f"{probability:g}", f"from {_LEAST:g} to below 1")
    if study.uncertainty is None:
        raise InputError(study.path, "uncertainty", "no such table",
                         "how sure inputs are; an empty table [uncertainty] takes what is assumed")
    return _Lowered(uncertainty_of(study), float(ndtri(probability)))


def _guards(study, facts, plan, against):
    """Room that each case keeps free below wires, and the cases with vertical clearance that keep none, in words."""
    known = sorted({*facts.rules.against} - {*NOT_THINGS})
    highest = np.nanmax(plan.base_elevation) + facts.framings.height.max()
    found = {k: cellwise.guards(facts, k, against, highest) for k in range(len(facts.cases))}
    kept = {k: each for k, each in found.items() if each}
    if not kept or against not in known:
        raise InputError(study.path, "rules", f"no row against {against} in any case that asks for it",
                         "rows against " + ", ".join(known), nearest(against, known))
    return kept, tuple(f"case {case.name}: the rules hold none for {against}" for k, case in enumerate(facts.cases)
                       if "vertical" in case.checks and k not in kept)


def _cells(terrain, facts, plan, rules, size, beside):
    """Cells about the whole line, on the grid of the ground raster where they are as large as its own."""
    west, north, own = terrain.grid or (0.0, 0.0, terrain.cell_size)
    size = max(own, _FINEST) if size is None else float(size)
    s, framings = facts.structures, facts.framings
    reach = _BLOWN * plan.spans.length.max() + np.abs(framings.offset).max() + framings.string_length.max()
    reach += max(float(bundle_reach(option.wiring, 180.0).around) for option in facts.options)
    reach += size + beside + np.nanmax([guard.reach for each in rules.values() for guard in each])
    box = np.array([[s.easting.min() - reach, s.easting.max() + reach], [s.northing.min() - reach,
                                                                         s.northing.max() + reach]])
    c0, c1 = np.floor((box[0] - west) / size).astype(int) + [0, 1]
    r0, r1 = np.floor((north - box[1][::-1]) / size).astype(int) + [0, 1]
    return cellwise.Cells(float(west + c0 * size), float(north - r0 * size), size, int(r1 - r0), int(c1 - c0))


def _found(source, lower):
    """The findings on the ground, by line, span and option, their wires as much lower as all."""
    rows = read_layer(source, "clearances", ["line", "span", "option", "wire_elevation_m", "required_m", "margin_m",
                                             "margin_sd_m"], {"against": ["ground"], "measure": ["vertical"]})
    if lower is not None:
        rows[["wire_elevation_m", "margin_m"]] -= lower.times * rows[["margin_sd_m"]].to_numpy()
    return {key: part for key, part in rows.groupby(["line", "span", "option"])}


@dataclass(frozen=True)
class _Work:
    """What spans are put into, and with what: room to keep free by case, findings by line, span and option; and by what
    wires count as lower."""

    rasters: list[GroundLimitRaster]
    cells: cellwise.Cells
    laid: LaidOut
    rules: dict[int, list]
    found: dict[tuple, pandas.DataFrame]
    beside: float
    lower: _Lowered | None


def _fill(work, progress):
    """Put all spans into the rasters; what was not assessed, in words."""
    facts, plan, _ = work.laid
    left_out = []
    for first, last in zip(plan.sections.first, plan.sections.last, strict=True):
        scene, _ = make_scene(facts, plan, int(first), int(last))
        scene = None if scene is None else scene.lowest
        down = None if scene is None or work.lower is None else _down(work, scene)
        for span in range(0 if scene is None else len(scene.spans)):
            left_out += _fill_span(work, scene, span, down)
        if progress:
            progress(int(last) + 1, len(plan.spans))
    return tuple(left_out)


def _down(work, scene):
    """By how much wires count as lower, by case (wire span, option, place) [m]."""
    cases = np.array([*work.rules])
    down = height_deviation(scene, work.laid.facts.shield, work.lower.uncertainty, cases, _PLACES)
    return {int(k): work.lower.times * down[:, :, i] for i, k in enumerate(cases)}


def _fill_span(work, scene, span, down=None):
    """Put the wires of a span into the rasters, `down` lower; what was not assessed, in words."""
    facts, cells, left_out = work.laid.facts, work.cells, []
    rows = np.flatnonzero((scene.wires.span == span) & ((facts.shield is not None) | (scene.wires.kind != "shield")))
    for option, raster in enumerate(work.rasters if len(rows) else ()):
        beside = work.beside + scene.reach.aside[rows, option].max(axis=0)
        curves = [(guard.required, cellwise.spread(points, cells.size, beside[k], guard))
                  for k, points in _curves(scene, rows, option, work.rules, cells.size, down)
                  for guard in work.rules[k]]
        name = scene.spans.line[span], scene.spans.name[span], facts.options[option].name
        if all(np.isfinite(points).all() for _, points in curves):
            _merge(raster, cells, curves, work.laid.ground.sample, work.found.get(name))
        else:
            left_out.append("{} {}, {}: where a wire hangs is not known".format(*name))
            _mark(raster, cells, _straight(scene, rows))
    return left_out


def _curves(scene, rows, option, rules, size, down=None):
    """Yield each case with the curves of the wires of a span in one option, `down` lower, at both ends of their
    history; nan where a wire has no answer."""
    for k, points in _hung_curves(scene, rows, option, rules, size):
        if down is not None and len(points) >= len(rows):
            share = np.linspace(0, 1, points.shape[1])
            less = np.stack([np.interp(share, _PLACES, each) for each in down[k][rows, option]])
            points[..., 2] -= np.repeat(less, len(points) // len(rows), axis=0)
        yield k, points


def _hung_curves(scene, rows, option, rules, size):
    """Yield the same of wires where they are."""
    for k, each in itertools.product(rules, scene.both_ends):
        if not scene.cases[k].wind > 0:
            yield k, cellwise.hung_still(each, rows, option, k)
            continue
        way = each.way(rows, option, k)
        # Part of the wind without an answer is no answer: nothing is made up between.
        known = (each.ways.hangs[way] & ~each.ways.partly[way]).all()
        yield k, cellwise.hung_swung(each, option, k, rows, size) if known else np.full((1, 3, 3), np.nan)


def _straight(scene, rows):
    """Chords between the wires' ends at rest, on the grid."""
    ends = scene.frame.start[rows, None], scene.frame.end[rows, None]
    local = ends[0] + np.linspace(0, 1, 3)[:, None] * (ends[1] - ends[0])
    return to_grid(local, scene.structures, scene.spans, scene.wires.span[rows])


def _merge(raster, cells, curves, sample, found):
    """Take the wires of one span into the raster of an option, and the very places that the findings tell of."""
    window, row, column = cellwise.window_of(cells, np.concatenate([points.reshape(-1, 3) for _, points in curves]))
    room = cellwise.empty_room(window)
    for required, points in curves:
        length = np.linalg.norm(np.diff(points[:, [0, -1], :2], axis=1), axis=-1).max()
        some = max(int(_NODES / (12 * length / cells.size + 200)), 1)
        for first in range(0, len(points), some):
            cellwise.lower(room, window, points[first:first + some], sample, required)
    if found is not None:
        e, n = found.geometry.x.to_numpy(), found.geometry.y.to_numpy()
        allowed = (found["wire_elevation_m"] - found["required_m"]).to_numpy()
        cellwise.place(room, window, e, n, allowed, found["margin_m"].to_numpy())
    raster.merge(room, row, column)


def _mark(raster, cells, curves):
    window, row, column = cellwise.window_of(cells, curves)
    room = cellwise.empty_room(window)
    cellwise.mark(room, window, curves)
    raster.merge(room, row, column)


def _summed(rasters, options, area):
    """Columns of what is in the rasters, one row per option; `area` of a cell [m²]."""
    rows = []
    for raster, option in zip(rasters, options, strict=True):
        parts = [(*grading(room.ravel(), area), np.fmin.reduce(room, axis=None),
                  area * (outcome == OUTCOMES["not assessed"]).sum()) for room, outcome in raster.blocks()]
        short, volume, least, unknown = np.array(parts).reshape(-1, 4).T
        rows.append((option.name, np.fmin.reduce(least, initial=np.nan), np.nansum(short), np.nansum(volume),
                     unknown.sum()))
    names = ("option", "minimum_room_m", "short_area_m2", "cut_volume_m3", "not_assessed_area_m2")
    return {name: np.array(column) for name, column in zip(names, zip(*rows, strict=True), strict=True)}


def _file_names(source, options, against, probability=None):
    """A file name of each option, of letters that every disk takes."""
    plain = [re.sub(r"[^0-9A-Za-z-]+", "_", option.name).strip("_") or "option" for option in options]
    thing = "" if against == "ground" else "_" + re.sub(r"[^0-9A-Za-z-]+", "_", against)
    thing += "" if probability is None else f"_p{100 * probability:g}".replace(".", "_")
    return [f"{source.stem}_ground_limit{thing}_{name}{f'_{i + 1}' if plain.count(name) > 1 else ''}.tif"
            for i, name in enumerate(plain)]


def _tags(study, source, facts, rules, left_out, against):
    """What every raster says of itself."""
    names = [facts.cases[k].name for k in rules]
    return {
        "TIFFTAG_SOFTWARE": f"corridor {__version__}", "STUDY": study.study.title or study.path.name,
        "STUDY_FILE": study.path.name, "STUDY_DIGEST": study.digest, "FINDINGS": source.name,
        "CASES": ", ".join(names), "LEFT_OUT": "\n".join(left_out), "CAUTIONS": "\n".join((*study.cautions, *CAUTIONS)),
        "AGAINST": against, "RULES": ", ".join(sorted(set(facts.rules.rule[facts.rules.against == against]))),
    }


def _option_tags(options, against):
    return [{"OPTION": option.name, "TIFFTAG_IMAGEDESCRIPTION": f"Ground limit for {against}: {option.name}"}
            for option in options]
