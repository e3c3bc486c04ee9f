"""The main job: a study file in, a GeoPackage of findings out."""

from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path
from threading import Lock, local
from time import perf_counter

import numpy as np

from corridor.assessment import Facts, Ground, Plan, assess_spans
from corridor.clearance.findings import gap_rows, span_rows, structure_rows
from corridor.clearance.reasons import faulty_obstacles
from corridor.constants import EARTH_RADIUS
from corridor.errors import InputError
from corridor.inputs.study_inputs import read_inputs
from corridor.line.build import lay_out, mean_elevation
from corridor.outputs.geopackage import FindingsWriter
from corridor.rating.ladder import Limits, ceilings, ladder_rows
from corridor.study import load_study
from corridor.summary import CAUTIONS, Tally

__all__ = ["Result", "check_study", "find"]

#: Wire spans that are worked on at once: enough to be fast, few enough to keep memory flat.
BATCH = 1200
#: Batches under way at once; reading, and most of numpy and shapely, let go of the interpreter.
THREADS = 2


@dataclass(frozen=True)
class Result:
    """What a check comes to.

    `options` rows of the layer of that name, as dicts; `gaps` number of rows not assessed; `overloads` number of
    options and cases that load a wire above its rated strength, `lifted` of those that lift a string; `output` the
    findings; `timings` seconds spent reading, computing and writing, of both threads together.
    """

    options: tuple
    violations: int
    gaps: int
    overloads: int
    lifted: int
    output: Path
    frame: object
    warnings: tuple
    timings: dict

    @property
    def status(self):
        """Exit status: 0 all assessed and clear, 1 violations, 3 no violation but something not assessed.

        A wire loaded above its rated strength, where a case asks for the tension, counts as a violation, and so does a
        wire that lifts a string.
        """
        return 1 if self.violations or self.overloads or self.lifted else 3 if self.gaps else 0


def check_study(path, output=None, *, progress=None, time=None):
    """Check every span of a study and write the findings.

    Parameters
    ----------
    path : path
        The study file.
    output : path, optional
        The GeoPackage to write; default: what the study says.
    progress : callable, optional
        `progress(done, total)` in spans.
    time : datetime, optional
        The time of the run, with its zone; default: now. The same input and time give the same file.

    Returns
    -------
    Result

    Raises
    ------
    InputError
        Something given cannot be used; what stood at the output stays untouched.
    """
    clock = Clock()
    with clock("read"):
        study = load_study(path)
        inputs = read_inputs(study)
    with inputs.terrain:
        target = Path(output) if output else study.resolve(study.study.output)
        with FindingsWriter(target, inputs.crs, time=time) as findings:
            facts, plan, ground = prepare(inputs, clock, surveyed=False)
            tally, limits = Tally(facts), Limits()
            for layer, columns in find(facts, plan, ground, progress=progress, clock=clock):
                tally.add(layer, columns)
                limits.add(layer, columns)
                with clock("write"):
                    findings.add(layer, columns)
            findings.add("ladder", ladder_rows(limits.columns, ceilings(facts.heat, plan.spans)))
            options = tally.option_rows()
            findings.add("options", options)
            warnings = (*inputs.warnings(), *tally.warnings)
            findings.add("run", inputs.run_row(findings.time, warnings, CAUTIONS))
            findings.add("inputs", inputs.file_rows())
            with clock("write"):
                findings.close()
    rows = tuple(dict(zip(options, values, strict=True)) for values in zip(*options.values(), strict=True))
    return Result(rows, tally.violations, tally.gaps, len(tally.overloaded), len(tally.lifted), target,
                  inputs.frame, warnings, dict(clock.seconds))


class Clock:
    """Seconds by kind of work, from any thread; work within other work counts as its own kind alone."""

    def __init__(self):
        self.seconds = {"read": 0.0, "compute": 0.0, "write": 0.0, "wait": 0.0}
        self._lock = Lock()
        self._local = local()

    @contextmanager
    def __call__(self, kind):
        """Return a context whose time counts as `kind`."""
        outer = getattr(self._local, "inner", 0.0)
        self._local.inner, begin = 0.0, perf_counter()
        try:
            yield
        finally:
            total = perf_counter() - begin
            with self._lock:
                self.seconds[kind] += total - self._local.inner
            self._local.inner = outer + total


def prepare(inputs, clock, *, surveyed=True):
    """Lay out the lines over the ground.

    Parameters
    ----------
    inputs : Inputs
    clock : Clock
    surveyed : bool
        False: leave the ground for `find` to ask, where nothing needs all of it at once.

    Returns
    -------
    facts : Facts
    plan : Plan
    ground : Ground
    """
    structures = inputs.structures
    ground = _timed_ground(inputs.terrain, clock)
    base = structures.base_elevation.copy()
    surveyed = surveyed or inputs.needs_highest
    if surveyed:
        unknown = np.isnan(base)
        base[unknown] = ground.sample(structures.easting[unknown], structures.northing[unknown])
    laid = lay_out(structures, base if surveyed else np.zeros_like(base), inputs.frame.ground_factor)
    plan = Plan(*laid, base, surveyed)
    highest = np.fmax.reduce(base)
    facts = Facts(structures, inputs.framings, inputs.index, inputs.right_of_way, inputs.rules, inputs.options,
                  inputs.cases, inputs.shield, inputs.voltage, inputs.ratings(highest, plan.spans.azimuth),
                  inputs.study.study.method, inputs.unread(), inputs.clouds.facts, inputs.own_wires, inputs.block_ends)
    return facts, plan, ground


def _timed_ground(terrain, clock):
    """The terrain for one thread at a time, its time told apart."""
    lock = Lock()

    def read(method):
        def timed(*args):
            with clock("wait"):
                lock.acquire()
            try:
                with clock("read"):
                    return method(*args)
            finally:
                lock.release()
        return timed

    return Ground(read(terrain.sample), read(terrain.profiles))


def find(facts, plan, ground, *, progress=None, clock=None):
    """Yield the findings of a corridor, batch by batch, as (layer, columns).

    Parameters
    ----------
    facts : Facts
    plan : Plan
    ground : Ground
    progress : callable, optional
        `progress(done, total)` in spans.
    clock : callable, optional
        `clock("compute")`, a context that measures the time.
    """
    clock = clock or Clock()

    def work(item):
        part, first, last = item
        with clock("compute"):
            return assess_spans(facts, part, ground, first, last)

    def parts():
        nonlocal plan
        for first, last in _ranges(plan, facts):
            if not plan.surveyed:
                plan = _survey(facts.structures, plan, ground, first, last)
            yield plan, first, last

    done = 0
    with ThreadPoolExecutor(THREADS) as pool:
        for (_, first, last), batch in _in_order(pool, work, parts()):
            yield from batch.items()
            done += last + 1 - first
            if progress:
                progress(done, len(plan.spans))
    if np.isnan(plan.base_elevation).all():
        raise InputError(None, "terrain.ground", "no elevation at any structure", "rasters that cover the line")
    yield from _line_rows(facts, plan).items()


def _line_rows(facts, plan):
    """Rows that tell of the line itself, and of what could not be compared with any of it."""
    where = facts.structures, plan.base_elevation, plan.spans
    gaps = [*facts.unread, *faulty_obstacles(plan.spans, facts.structures, facts.index.obstacles)]
    return {"structures": structure_rows(facts.structures, plan.base_elevation, plan.route),
            "spans": span_rows(*where, plan.sections), "not_assessed": gap_rows(gaps, *where)}


def _survey(structures, plan, ground, first, last):
    """The plan with the bases of some spans as the ground has them, and lengths and stations on from there."""
    spans, base = plan.spans, plan.base_elevation.copy()
    here = np.arange(spans.tail[first], spans.head[last] + 1)
    here = here[np.isnan(base[here])]
    base[here] = ground.sample(structures.easting[here], structures.northing[here])
    chosen = slice(first, last + 1)
    tail, head = spans.tail[chosen], spans.head[chosen]
    raised = 1 + mean_elevation(base[tail], base[head]) / EARTH_RADIUS
    length, factor, station = spans.length.copy(), spans.ground_factor.copy(), plan.route.station.copy()
    length[chosen] *= raised
    factor[chosen] *= raised
    for a, b, step in zip(tail, head, length[chosen], strict=True):
        station[b] = station[a] + step
    return replace(plan, base_elevation=base, spans=replace(spans, length=length, ground_factor=factor),
                   route=replace(plan.route, station=station))


def _in_order(pool, work, items):
    """Items and their results in order, with no more under way than are soon wanted."""
    items = iter(items)
    waiting = [(item, pool.submit(work, item)) for item in islice(items, THREADS + 1)]
    while waiting:
        item, future = waiting.pop(0)
        result = future.result()
        waiting += [(item, pool.submit(work, item)) for item in islice(items, 1)]
        yield item, result


def _ranges(plan, facts):
    """Spans of whole sections, together about a batch of wire spans."""
    wires = max(len(set(facts.framings.wire)), 1)
    size = _batch(len(plan.spans) * wires)
    ranges, first = [], 0
    for last in plan.sections.last:
        if (last + 1 - first) * wires >= size or last + 1 == len(plan.spans):
            ranges.append((int(first), int(last)))
            first = last + 1
    return ranges


def _batch(total):
    """Wire spans of a batch: of more than one there are as many, all alike, as leave no thread idle at the end."""
    count = -(-total // BATCH)
    return BATCH if count <= 1 else total / (count + -count % THREADS)
