"""The main job: a study in, its findings out, in a GeoPackage or in memory."""

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, wait
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import islice
from pathlib import Path
from typing import Any, NamedTuple, Protocol

import numpy as np

from corridor.assessment import Facts, Ground, Plan, assess_spans
from corridor.clearance.capacity import Totals
from corridor.clearance.findings import gap_rows, span_rows, structure_rows
from corridor.clearance.not_assessed import faulty_obstacles
from corridor.clearance.spread import LineChances
from corridor.clearance.wires import governing_wires
from corridor.inputs.frame import Frame
from corridor.inspection.inspector import Inspection, Inspector
from corridor.line.facts import Case, Framings
from corridor.line.mixes import structures_of_change
from corridor.opened import Clock, Opened, prepare, survey
from corridor.outputs.frames import Columns, Frames, HeldFindings, WrittenFindings
from corridor.outputs.geopackage import FindingsWriter
from corridor.outputs.guard import findings_kind
from corridor.rating.ladder import Limits, ladder_rows
from corridor.rating.mixes import line_ceilings
from corridor.study.uncertainty import assumed_inputs, uncertainty_of
from corridor.summary import CAUTIONS, Cause, Outcome, Tally

__all__ = ["BATCH", "AtWork", "Here", "Progress", "Result", "Workers", "assess_batch", "awaited", "batches",
           "check", "check_study", "find", "work_of"]

#: `progress(done, total)`, in spans or other parts of the work.
Progress = Callable[[int, int], None]


class AtWork(Protocol):
    """Processes at work on a study."""

    def bases(self) -> np.ndarray | None:
        """Return the elevation of every base [m], (structure,), as given or as the ground has it; None where they are
        asked for with the batches."""

    def batches(self, ranges: list[tuple[int, int]], here: "Here") -> Iterator[tuple[tuple[int, int], dict]]:
        """Yield ranges of spans (first, last) and what `assess_batch` returns of them, in order."""


class Here(NamedTuple):
    """What this process does of a check whose batches others do, too.

    `laid(first, last, bases)` is the plan over its ground up to there, `bases` what others were told of the structures
    there, None: nothing; `laid()` what it is now. `work((plan, first, last))` does a batch. `tell(first, last, share)`
    of the work that is done, and `say()` that something is.
    """

    laid: Callable[..., Plan]
    work: Callable[[tuple[Plan, int, int]], dict]
    tell: Callable[[int, int, float], None]
    say: Callable[[], None]


class Workers(Protocol):
    """Processes that can be put to work."""

    def at_work(self, opened: Opened, output: Path | str | None, draws: int) -> AbstractContextManager[AtWork]:
        """Return a context in which they work on a study, for findings that go to `output`."""

#: States of wires (options, cases) that are worked on at once: enough to be fast, few enough to keep memory flat. One
#: that wind blows is as much work as so many in still air.
BATCH, BLOWN = 15_000, 25
#: Batches under way at once. Most of a batch is many small steps of Python, of which threads do one at a time: two took
#: as long as one, and a fifth more of the processor. `corridor.cluster.Processes` do several.
THREADS = 1
#: What is said where not all wires are in the findings.
GOVERNING = "of each span the layer wires has the cases that govern alone (study.wires)"
#: How often it is said how far the work is [s].
_SAID = 0.3


@dataclass(frozen=True, kw_only=True)
class Result(Outcome):
    """What a check comes to.

    `options` rows of the layer of that name, as dicts; `of_options` what each comes to, by name; `causes` of what is
    not assessed, the commonest first; `frames` the layers of the findings by name, `output` their file, None where they
    are kept in memory; `timings` seconds spent reading, computing and writing, of both threads together; `inspection`
    the doubts about the data.
    """

    options: tuple[dict, ...]
    of_options: dict[str, Outcome]
    output: Path | None
    frame: Frame
    warnings: tuple[str, ...]
    timings: dict[str, float]
    causes: tuple[Cause, ...]
    frames: Frames
    inspection: Inspection

    @property
    def status(self) -> int:
        """Exit status: as of the outcome; 3, too, where nothing else is wrong but the data are in doubt.

        A doubt is one about the data that could hide a violation, and that nobody accepted, or an assumption that
        nobody has confirmed.
        """
        return super().status or self.inspection.status


def check_study(path: Path | str, output: Path | str | None = None, *, progress: Progress | None = None,
                time: datetime | None = None, overwrite: bool = False, trust: bool = False, draws: int = 0) -> Result:
    """Check every span of a study and write the findings; `output` by default where the study says, else as `check`.

    Raises
    ------
    InputError
        Something given cannot be used; what stood at the output stays untouched.
    """
    with Opened(path, trust=trust) as opened:
        return check(opened, output or opened.output, progress=progress, time=time, overwrite=overwrite, draws=draws)


def check(opened: Opened, output: Path | str | None = None, *, progress: Progress | None = None,
          time: datetime | None = None, overwrite: bool = False, draws: int = 0, workers: Workers | None = None
          ) -> Result:
    """Check every span of a study.

    Parameters
    ----------
    opened : Opened
    output : path, optional
        The GeoPackage to write, or the folder of GeoParquet files where it ends in .parquet; default: none, the
        findings are kept in memory.
    progress : callable, optional
        `progress(done, total)` in spans.
    time : datetime, optional
        The time of the run, with its zone; default: now. The same input and time give the same file.
    overwrite : bool
        Whether a file that stands at the output may be replaced although this software did not write it; never one
        that the study reads.
    draws : int
        How sure margins are by so many draws of all inputs at once, not by the first order; of a study without the
        table `[uncertainty]`, too, with what is assumed.
    workers : Workers, optional
        Processes that do the work, as `corridor.cluster.Processes` or `ClusterWorkers`; default: threads of this one.
        The findings are the same.

    Raises
    ------
    InputError
        Something given cannot be used; what stood at the output stays untouched.
    """
    before, clock = dict(opened.clock.seconds), opened.clock
    guard = opened.guard(overwrite)
    if output is not None:
        guard.check(Path(output), findings_kind(output))
    inputs = opened.inputs
    inputs.terrain.forget()
    target = (HeldFindings(inputs.crs, time) if output is None else
              FindingsWriter(output, inputs.crs, guard=guard, time=time))
    with target as findings, nullcontext() if workers is None else workers.at_work(opened, output, draws) as at_work:
        bases = None if at_work is None else at_work.bases()
        facts, plan, ground = prepare(inputs, clock, surveyed=False, bases=bases)
        facts = replace(facts, uncertainty=uncertainty_of(opened.study, draws))
        tally, limits, inspector, chances = Tally(facts), Limits(), Inspector(inputs, plan, ground), LineChances(facts)
        governing, held = output is not None and opened.study.study.wires == "governing", None
        for layer, columns in find(facts, plan, ground, progress=progress, clock=clock, inspector=inspector,
                                   chances=chances, at_work=at_work):
            tally.add(layer, columns)
            limits.add(layer, columns)
            inspector.add(layer, columns)
            with clock("write"):
                if governing and layer == "wires":
                    held = columns
                    continue
                if governing and layer == "clearances" and held is not None:
                    findings.add("wires", governing_wires(held, columns))
                findings.add(layer, columns)
        seen = facts.surveyed
        for layer, columns in ({} if seen is None else seen.layers).items():
            findings.add(layer, columns)
        findings.add("ladder", ladder_rows(limits.columns, line_ceilings(facts, plan)))
        options = tally.option_rows() | chances.option_columns(list(tally.count["not_assessed"].values()))
        findings.add("options", options)
        findings.add("uncertainty", chances.rows())
        inspection = inspector.conclude()
        findings.add("doubts", inspection.columns())
        warnings = (*inputs.warnings(), *(seen.words if seen else ()), *assumed_inputs(facts.uncertainty),
                    *inspection.warnings, *tally.warnings, *([GOVERNING] if governing else ()))
        findings.add("run", inputs.run_row(findings.time, warnings, (*opened.study.cautions, *CAUTIONS)))
        findings.add("inputs", inputs.file_rows(tally.compared))
        with clock("write"):
            findings.close()
    return Result(
        options=tuple(dict(zip(options, values, strict=True)) for values in zip(*options.values(), strict=True)),
        **vars(tally.outcome()), of_options={name: tally.outcome(name) for name in facts.names},
        output=None if output is None else target.path, frame=inputs.frame, warnings=warnings,
        timings=clock.since(before), causes=tally.causes,
        frames=target if output is None else WrittenFindings(target.path),
        inspection=inspection)


def find(facts: Facts, plan: Plan, ground: Ground, *, progress: Progress | None = None, clock: Clock | None = None,
         inspector: Inspector | None = None, chances: LineChances | None = None,
         needless: frozenset[str] = frozenset(), at_work: AtWork | None = None, only: str | None = None
         ) -> Iterator[tuple[str, Columns]]:
    """Yield the findings of a corridor, batch by batch, as (layer, columns).

    Parameters
    ----------
    facts : Facts
    plan : Plan
    ground : Ground
    progress : callable, optional
        `progress(done, total)` in spans.
    clock : Clock, optional
    inspector : Inspector, optional
        Looks at the spans of each batch just before it is assessed, so that blocks of their ground are read once, and
        is told what was seen.
    chances : LineChances, optional
        Is told what each batch comes to, where facts tell how sure inputs are.
    needless : set of str, optional
        Layers that nobody reads, as for `corridor.assessment.assess_spans`.
    at_work : AtWork, optional
        Processes that assess the batches, of a plan whose ground was asked; default: threads.
    only : str, optional
        The option whose clearances are asked for, as for `corridor.assessment.assess_spans`.
    """
    clock, shares = clock or Clock(), {}

    def work(item):
        part, first, last = item
        with clock("compute"):
            return assess_batch(facts, part, ground, inspector, first, last, needless,
                                lambda share: tell(first, last, share), only)

    def tell(first, last, share):
        shares[first] = share * (last + 1 - first)

    def say():
        if progress:
            progress(done + int(sum(list(shares.values()))), len(plan.spans))

    def laid(first=None, last=None, bases=None):
        nonlocal plan
        if first is not None and not plan.surveyed:
            if bases is not None:
                base, here = plan.base_elevation.copy(), slice(plan.spans.tail[first], plan.spans.head[last] + 1)
                base[here] = np.where(np.isnan(base[here]), bases, base[here])
                plan = replace(plan, base_elevation=base)
            plan = survey(facts.structures, plan, ground, first, last)
        return plan

    totals = Totals(facts, structures_of_change(facts.mixes, plan.spans, plan.sections))
    done, ranges = 0, batches(plan, facts)
    parts = ((laid(first, last), first, last) for first, last in ranges)
    say()
    with ThreadPoolExecutor(THREADS) as pool:
        for (first, last), batch in _in_order(pool, work, parts, say) if at_work is None else at_work.batches(
                ranges, Here(laid, work, tell, say)):
            if inspector:
                inspector.take(batch.pop("seen"))
            totals.add(*batch.pop("structure_totals", ()))
            sure = batch.pop("chances", ())
            if sure and chances is not None:
                chances.add(*sure)
            yield from batch.items()
            done += last + 1 - first
            shares.pop(first, None)
            say()
    yield "structure_capacity", totals.rows(plan.base_elevation)
    yield from _line_rows(facts, plan).items()


def assess_batch(facts: Facts, plan: Plan, ground: Ground, inspector: Inspector | None, first: int, last: int,
                 needless: frozenset[str] = frozenset(), tell: Callable[[float], None] | None = None,
                 only: str | None = None) -> dict:
    """Return what spans `first` to `last` come to, the unit of all work: as `corridor.assessment.assess_spans`, and
    what an inspector saw there as `seen`."""
    seen = {} if inspector is None else {"seen": inspector.look(first, last)}
    return assess_spans(facts, plan, ground, first, last, needless, tell, only) | seen


def _line_rows(facts, plan):
    """Rows that tell of the line itself, and of what could not be compared with any of it."""
    where = facts.structures, plan.base_elevation, plan.spans
    gaps = [*facts.unread, *faulty_obstacles(plan.spans, facts.structures, facts.index.obstacles)]
    return {"structures": structure_rows(facts.structures, plan.base_elevation, plan.route),
            "spans": span_rows(*where, plan.sections), "not_assessed": gap_rows(gaps, *where)}


def awaited(future: Future, say: Callable[[], None]) -> Any:
    """Return what a future comes to; `say` is called now and then before it does."""
    while wait((future,), timeout=_SAID)[1]:
        say()
    return future.result()


def _in_order(pool, work, items, say):
    """Spans of items and their results in order, with no more under way than are soon wanted; `say` is called
    meanwhile."""
    items = iter(items)
    waiting = [(item, pool.submit(work, item)) for item in islice(items, THREADS + 1)]
    while waiting:
        item, future = waiting.pop(0)
        result = awaited(future, say)
        waiting += [(item, pool.submit(work, item)) for item in islice(items, 1)]
        yield item[1:], result


def batches(plan: Plan, facts: Facts) -> list[tuple[int, int]]:
    """Return first and last spans of whole sections, together about a batch of states of wires."""
    states = max(work_of(facts.framings, facts.options, facts.cases), 1)
    size = _batch(len(plan.spans) * states)
    ranges, first = [], 0
    for last in plan.sections.last:
        if (last + 1 - first) * states >= size or last + 1 == len(plan.spans):
            ranges.append((int(first), int(last)))
            first = last + 1
    return ranges


def work_of(framings: Framings, options: Sequence, cases: Sequence[Case]) -> int:
    """Return how much work a span is, in states of wires in still air."""
    return len(set(framings.wire)) * len(options) * sum(BLOWN if case.wind > 0 else 1 for case in cases)


def _batch(total):
    """States of a batch: of more than one there are as many, all alike, as leave no thread idle at the end."""
    count = -(-total // BATCH)
    return BATCH if count <= 1 else total / (count + -count % THREADS)
