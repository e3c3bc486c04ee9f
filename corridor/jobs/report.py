"""A job beside the check: the findings of a study as one page for a browser."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import shapely

from corridor.check import Progress
from corridor.errors import InputError
from corridor.jobs.read_back import columns_of, left_open, own_findings, plan_layers
from corridor.jobs.report_extras import compared, pack_curves, pack_plan, string_sections
from corridor.jobs.report_hours import report_hours
from corridor.jobs.surroundings import about_line
from corridor.opened import Opened, prepare
from corridor.outputs.field_export import structure_places
from corridor.outputs.files import Files
from corridor.outputs.frames import read_layer
from corridor.outputs.page.content import LAYERS, NEEDED, pack_findings, routes
from corridor.outputs.page.cuts import pack_cuts, right_of
from corridor.outputs.page.ground import ask_once, line_nodes, tile_line
from corridor.outputs.page.library import need_library
from corridor.outputs.page.pack import Packer
from corridor.outputs.page.shapes import near_shapes, pack_shapes
from corridor.outputs.page.write import write_page
from corridor.outputs.schema import layer
from corridor.study.assumptions import assumed_words

__all__ = ["Report", "as_found", "columns_from", "page_of", "plain_words", "report_study"]


@dataclass(frozen=True)
class Report:
    """A page that was written: `output` its file, `findings` what it shows, `size` [bytes]."""

    output: Path
    findings: Path
    size: int


def report_study(opened: Opened, findings: Path | str | None = None, output: Path | str | None = None, *,
                 overwrite: bool = False, progress: Progress | None = None) -> Report:
    """Write the findings of a study as one page, with the ground and what stands about the line.

    Parameters
    ----------
    opened : Opened
    findings : path, optional
        Those of the check, a GeoPackage or a folder; default: what the study says.
    output : path, optional
        The page to write; default: beside the findings, with the ending .html.
    overwrite : bool
        Whether a file may be replaced that this software did not write.
    progress : callable, optional
        `progress(done, total)` in parts of the work.

    Raises
    ------
    InputError
        There are no findings, or they are not of this study and the files it names as they are now, or a file must not
        be replaced.
    CorridorError
        The library that draws the plots is missing.
    """
    need_library()
    source = own_findings(opened, findings)
    target, guard = Path(output) if output else source.with_suffix(".html"), opened.guard(overwrite).besides(source)
    guard.check(target, "marked")
    say = progress or (lambda done, total: None)
    layers = {name: columns_from(source, name) for name in LAYERS}
    say(1, 4)
    facts, plan = _laid_out(opened.inputs, layers)
    content, packer, plain = page_of(opened, layers, facts, plan, read_layer(source, "structures"))
    say(2, 4)
    content["plan"] = pack_plan(plan_layers(source), routes(layers["spans"])[:, :, :2], packer)
    plain["hours"] = report_hours(opened, facts, layers["limits"])
    say(3, 4)
    with Files(guard) as files:
        name = opened.name if content["plan"] is None else f"Plan: {opened.name}"
        write_page(files.new(target), name, content, packer, plain)
    say(4, 4)
    return Report(files.written[0], source, files.written[0].stat().st_size)


def page_of(opened, layers, facts, plan, structures):
    """Return what a page shows of some layers: its content, the packer with its arrays, and what stands in it as text.

    Parameters
    ----------
    opened : Opened
    layers : dict of dict of ndarray
        As `columns_from` reads them, all of `LAYERS`.
    facts, plan : Facts, Plan
        Of the lines of these layers, as findings have them.
    structures : GeoDataFrame
        The layer with its places.
    """
    packer = Packer()
    content = pack_findings(layers, packer)
    content["tables"]["structures"] = packer.table(structure_places(structures))
    content |= _surroundings(layers, opened.inputs, opened.ground, packer)
    content |= {"cuts": _cuts(opened, layers, packer), "windy": [c.name for c in opened.study.cases if c.wind],
                "plan": None}
    sections = string_sections(facts, plan)
    content["curves"] = pack_curves(facts, plan, *sections, packer)
    return content, packer, plain_words(layers) | {"compare": compared(facts, plan, layers, opened.loads, *sections)}


def _laid_out(inputs, layers):
    """Facts, and the line as the findings have it: the ground is not asked again for what they know."""
    facts, plan, _ = prepare(inputs, surveyed=False)
    return facts, as_found(plan, layers)


def as_found(plan, layers):
    """Return a Plan with bases, lengths and scales as the findings have them."""
    spans, structures = layers["spans"], layers["structures"]
    known = {name: spans[name].astype(float) for name in ("length_m", "ground_factor")}
    laid = replace(plan.spans, length=known["length_m"], ground_factor=known["ground_factor"])
    return replace(plan, base_elevation=structures["base_elevation_m"].astype(float), spans=laid, surveyed=True)


def columns_from(source, name, only=None):
    """Return a layer of findings as columns: whole numbers and booleans as numbers, nan where null; "geometry" from
    shapely. `only` is as for `read_layer`.

    Raises
    ------
    InputError
        A column of this version is not there.
    """
    wanted = [c for c in layer(name).columns if c.name in NEEDED.get(name, (c.name,))]
    frame = read_layer(source, name, [c.name for c in wanted], only)
    lacks = [c.name for c in wanted if c.name not in frame]
    if lacks:
        raise InputError(source, f"{name}.{lacks[0]}", "no such column: findings of another version of corridor",
                         "findings of this version: run `corridor check` first")
    columns = columns_of(frame)
    columns |= {c.name: columns[c.name].astype(float) for c in wanted if c.type in ("boolean", "integer")}
    return columns | ({"geometry": frame.geometry.to_numpy()} if layer(name).geometry else {})


def _surroundings(layers, inputs, ground, packer):
    """Ground, shapes and right-of-way of a page."""
    spans, clear = layers["spans"], inputs.right_of_way
    route = routes(spans)[:, :, :2]
    index = inputs.index
    asked = tile_line(route, cell=max(inputs.terrain.cell_size, 2.0))
    nodes = line_nodes(route, spans["length_m"], _outermost(layers))
    stand = near_shapes(index.part, route)
    stand = stand[shapely.get_type_id(index.part[stand]) == 0]
    foot, of = np.full(len(index.part), np.nan), shapely.get_coordinates(index.part[stand])
    elevation, lines, foot[stand] = ask_once(ground.sample, (asked.easting, asked.northing),
                                             (nodes.easting, nodes.northing), (of[:, 0], of[:, 1]))
    shading = asked.shaded(elevation)
    radius = index.obstacles.radius[index.of_part]
    names = index.obstacles.obstacle.astype(object)
    shapes = [index.part, names[index.of_part], index.obstacles.category[index.of_part].astype(object), radius, foot,
              foot + index.obstacles.height[index.of_part]]
    if clear.polygon is not None:
        parts = shapely.get_parts(clear.polygon)
        more = parts, np.full(len(parts), None, object), np.full(len(parts), "right_of_way", object), *np.full(
            (3, len(parts)), np.nan)
        shapes = [np.concatenate(pair) for pair in zip(shapes, more, strict=True)]
    tiles = {"cell": float(shading.cell), "west": packer.array(shading.west.astype(float)),
             "north": packer.array(shading.north.astype(float)), "light": packer.array(shading.light.ravel()),
             "height": packer.array(shading.height.ravel())}
    below = {"first": packer.array(nodes.first.astype("int32")),
              "lines": [packer.whole(line, 0.01) for line in lines.T]}
    return {"tiles": tiles, "ground": below, "half_width": clear.half_width,
            "shapes": pack_shapes(*shapes[:4], route, packer, *shapes[4:])}


def _cuts(opened, layers, packer):
    """Cross-sections of every violation."""
    spans, short = layers["spans"], layers["violations"]
    number = {key: i for i, key in enumerate(zip(spans["line"], spans["span"], strict=True))}
    which = np.array([number.get(key, -1) for key in zip(short["line"], short["span"], strict=True)], int)
    about = about_line(opened.inputs, opened.ground, spans["geometry"], spans["ground_factor"])
    return pack_cuts(short, right_of(routes(spans)[:, :, :2], which), about, packer)


def _outermost(layers):
    """Distance right of the line of the ground that profiles show: middle, left and right outermost wire at rest."""
    wires, spans = layers["wires"], layers["spans"]
    number = {key: i for i, key in enumerate(zip(spans["line"], spans["span"], strict=True))}
    rows = np.flatnonzero(wires["swing_deg"] == 0)
    span = np.array([number[wires["line"][i], wires["span"][i]] for i in rows], int)
    points = shapely.get_coordinates(shapely.get_point(wires["geometry"][rows], 0))
    route = routes(spans)[:, :, :2]
    way = (route[:, 1] - route[:, 0])[span]
    moved = points - route[span, 0]
    offset = (moved[:, 0] * way[:, 1] - moved[:, 1] * way[:, 0]) / np.linalg.norm(way, axis=-1)
    left, right = np.zeros(len(spans["span"])), np.zeros(len(spans["span"]))
    np.minimum.at(left, span, offset)
    np.maximum.at(right, span, offset)
    return np.stack([np.zeros_like(left), left, right])


def plain_words(layers):
    """Return what a page says in words of some layers: "verdict", "doubtful", "doubts", "cautions", "warnings"."""
    options, run = layers["options"], layers["run"]
    rows = zip(options["option"], options["violations"], options["not_assessed"], strict=True)
    words = [f"{name}: {_count(short, 'violation', 'violations')}, {gaps:.0f} not assessed"
             for name, short, gaps in rows]
    lines = {name: (run[name][0] or "").splitlines() for name in ("cautions", "warnings")}
    assumed, still = left_open(run, layers["doubts"])
    told = f"{_count(still, 'doubt', 'doubts')} about the data could hide a violation: see below." if still else ""
    words_of = f"{assumed_words(assumed)}: see the cautions." if assumed else ""
    told = " ".join(text for text in (words_of, told) if text)
    verdict = "; ".join(words) + ". What was not assessed is never a pass."
    return {"verdict": verdict, "doubtful": told, "doubts": _doubts(layers["doubts"]), **lines}


def _doubts(d):
    """Heads and rows of the table of doubts."""
    heads = "doubt", "severity", "file", "feature", "found", "expected", "what to do"
    todo = [f"accepted: {reason}" if accepted else advice
            for accepted, reason, advice in zip(d["accepted"], d["reason"], d["advice"], strict=True)]
    columns = *(d[name] for name in ("subject", "severity", "file", "feature", "found", "expected")), todo
    return heads, [[str(cell or "") for cell in row] for row in zip(*columns, strict=True)]


def _count(number, one, many):
    return f"{number:.0f} {one if number == 1 else many}"
