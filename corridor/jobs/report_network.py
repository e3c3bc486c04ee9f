"""A job beside the check: the findings of a network as a folder of pages, an overview and one page per line."""

from collections import Counter
from dataclasses import dataclass, replace
from html import escape
from pathlib import Path

import numpy as np

from corridor.arrays import take
from corridor.assessment import Plan
from corridor.check import Progress
from corridor.jobs.compare import Gathered
from corridor.jobs.compare_lines import line_rows, wire_prices
from corridor.jobs.folder import made_folder
from corridor.jobs.read_back import own_findings
from corridor.jobs.report import as_found, columns_from, page_of, plain_words
from corridor.line.build import lay_out
from corridor.line.mixes import mix_of
from corridor.opened import Opened, prepare
from corridor.outputs.files import Files
from corridor.outputs.frames import read_layer
from corridor.outputs.page.content import LAYERS
from corridor.outputs.page.library import need_library
from corridor.outputs.page.network import LineSeen, option_part, see_line, spending_part
from corridor.outputs.page.write import INDEX, LIBRARY, write_index, write_library, write_page
from corridor.outputs.schema import layer
from corridor.outputs.tables_lines import ranked

__all__ = ["NetworkReport", "report_network"]


@dataclass(frozen=True)
class NetworkReport:
    """Pages that were written: `output` the overview, `pages` files of lines, `findings` what they show, `size` of all
    files together [bytes]; `seen` what each line comes to, by option."""

    output: Path
    pages: tuple[Path, ...]
    findings: Path
    size: int
    seen: dict[str, tuple[LineSeen, ...]]


def report_network(opened: Opened, folder: Path | str, findings: Path | str | None = None, *, overwrite: bool = False,
                   progress: Progress | None = None) -> NetworkReport:
    """Write the findings of a study as a folder of pages: an overview, and the page of each line, which is loaded when
    somebody follows its link. One line is in memory at a time.

    Parameters
    ----------
    opened : Opened
    folder : path
        Made where it is new. Pages of an earlier run there that are not written anew go.
    findings : path, optional
        Those of the check, a GeoPackage or a folder; default: what the study says.
    overwrite : bool
        Whether files may be replaced that this software did not write.
    progress : callable, optional
        `progress(done, total)` in lines.

    Raises
    ------
    InputError, CorridorError
        As `corridor.jobs.report.report_study`.
    """
    need_library()
    source = own_findings(opened, findings)
    guard = opened.guard(overwrite).besides(source)
    whole = {name: columns_from(source, name) for name in ("options", "structures", "doubts", "run", "inputs")}
    lines = list(dict.fromkeys(whole["structures"]["line"]))
    options = [str(name) for name in whole["options"]["option"]]
    every, laid, _ = prepare(opened.inputs, surveyed=False)
    seen: dict[str, list[LineSeen]] = {name: [] for name in options}
    rows: list[dict] = []
    with Files(guard) as files:
        staged = files.staged(made_folder(folder), ("*.html", "*.js"))
        write_library(staged / LIBRARY)
        for number, line in enumerate(lines):
            if progress:
                progress(number, len(lines))
            name = f"line_{number + 1:0{len(str(len(lines)))}d}.html"
            layers = _layers_of(source, line, whole)
            _write_line(staged / name, opened, _of_line(every, laid, line), layers, source, line, whole)
            for option in options:
                seen[option].append(see_line(layers, option, line, name))
            rows += _worth(layers, line, options)
        existing = whole["options"]["existing"].astype(bool)
        worth = len(options) > 1 and every.existing is not None
        parts = _options(options, worth) + "".join(
            option_part(i, option, seen[option], existing[i]) for i, option in enumerate(options))
        if worth:
            parts += spending_part(ranked(rows, wire_prices(opened), every.existing), opened.study.plan)
        write_index(staged / INDEX, opened.name, plain_words(whole), parts)
    written = {path.name: path for path in files.written}
    if progress:
        progress(len(lines), len(lines))
    return NetworkReport(written[INDEX], tuple(written[each.page] for each in seen[options[0]]), source,
                         sum(path.stat().st_size for path in files.written), {k: tuple(v) for k, v in seen.items()})


def _of_line(every, laid, line):
    """The facts with the mixes as they are on one line."""
    at, own = laid.sections.line == line, laid.spans.line == line
    spans = take(laid.spans, own)
    spans = replace(spans, section=spans.section - spans.section[0])
    return replace(every, mixes=tuple(mix_of(mix.name, mix.hangs[at], spans, mix.existing) for mix in every.mixes))


def _options(names, worth):
    """Links to the parts of the options, and to where an ampere costs least."""
    links = "".join(f'<li><a href="#option-{i}">{escape(name)}</a></li>' for i, name in enumerate(names))
    links += '<li><a href="#spending">Where to spend</a></li>' * worth
    return f'<nav class="options" aria-label="Parts of this page"><ul>{links}</ul></nav>'


def _worth(layers, line, options):
    """Rows of a line for the table of where an ampere costs least."""
    counts = [Counter(zip(layers[name]["line"], layers[name]["option"], strict=True))
              for name in ("violations", "not_assessed")]
    length = float(layers["spans"]["length_m"].sum()) / 1e3
    return line_rows(layers["ladder"], layers["limits"], *counts, {line: length}, options)


def _layers_of(source, line, whole):
    """Layers of one line, with what is not known of any line in particular; of the whole study what has no line."""
    layers = dict(whole)
    for name in LAYERS:
        if name in ("doubts", "options", "run", "inputs"):
            continue
        of_line = any(column.name == "line" for column in layer(name).columns)
        columns = columns_from(source, name, {"line": [line, None]} if of_line else None)
        # Shares of inputs are those of the whole study, which a page of one line must not tell as its own.
        layers[name] = columns if of_line else {key: values[:0] for key, values in columns.items()}
    return layers


def _write_line(path, opened, every, layers, source, line, whole):
    """Write the page of one line; `every` are the facts of all, with the mixes as they are on it."""
    facts, plan = _laid_out(opened, every, layers, line, whole)
    layers["options"] = _options_of(facts, layers, whole)
    structures = read_layer(source, "structures", only={"line": [line]})
    content, packer, plain = page_of(opened, layers, facts, plan, structures)
    write_page(path, f"{line}: {opened.name}", content, packer, plain | {"hours": ""}, beside=True)


def _laid_out(opened, every, layers, line, whole):
    """Facts and plan of one line as the findings have it, rated in the air of the whole study."""
    inputs = opened.inputs
    structures = take(inputs.structures, inputs.structures.line == line)
    base = layers["structures"]["base_elevation_m"].astype(float)
    plan = as_found(Plan(*lay_out(structures, base, inputs.frame.ground_factor), base), layers)
    highest = np.fmax.reduce(whole["structures"]["base_elevation_m"].astype(float))
    return replace(every, structures=structures, heat=inputs.ratings(highest, plan.spans.azimuth)), plan


def _options_of(facts, layers, whole):
    """The layer of options as it is of one line alone; how sure all margins are is known of the whole study alone."""
    gathered = Gathered(facts)
    for name, columns in layers.items():
        gathered.add(name, columns)
    rows = gathered.option_rows()
    return {name: rows.get(name, np.full(len(values), np.nan)) for name, values in whole["options"].items()}
