"""A check on processes of this machine: each has its own study open, and assesses batches of spans.

Most of a batch is many small steps of Python, of which threads of one process do one at a time.
"""

import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Future, ProcessPoolExecutor, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager, suppress
from math import ceil
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from corridor.check import BATCH, Here, assess_batch, awaited, work_of
from corridor.cluster.tasks import Job, base_heights, open_job
from corridor.errors import MachineError
from corridor.opened import Opened, Surveyed

__all__ = ["Processes", "processes_for"]

#: Batches below which others would take longer to start than they save, and more processes than are started anyhow.
_WORTH, _MOST = 1.5, 4
#: Batches of each process whose ground is asked before they are assessed, so that none has to wait.
_AHEAD = 2


def processes_for(opened: Opened, cores: int) -> int:
    """Return how many processes a check is best done by, on so many cores: 1 where others would only read the same
    files, as clouds of points, once more."""
    inputs = opened.inputs
    whole = len(inputs.structures) * work_of(inputs.framings, inputs.options, inputs.cases) / BATCH
    read = inputs.clouds.facts or inputs.surface is not None or inputs.surveys
    return 1 if read or whole < _WORTH else min(cores, _MOST, ceil(whole))


class Processes:
    """Processes of this machine that a check is given, this one among them.

    Parameters
    ----------
    count : int
        How many, 2 or more.
    environment : dict of str to str, optional
        Variables that are set in the others before they open a file.
    """

    def __init__(self, count: int, environment: Mapping[str, str] | None = None) -> None:
        self.count, self.environment = count, dict(environment or {})

    @contextmanager
    def at_work(self, opened: Opened, output: Path | str | None, draws: int) -> Iterator["_AtWork"]:
        """Return a context in which they work on a study. They end with it, at once where it ends by an exception; and
        by themselves where this process is killed."""
        job = Job(opened.study, Path(), opened.stamps, draws, self.environment)
        context = multiprocessing.get_context("spawn")
        # A pool of one each: the process that was asked for a batch's ground still has it when it assesses the batch.
        others = []
        for _ in range(self.count - 1):
            share = context.RawArray("d", 2)
            pool = ProcessPoolExecutor(1, context, _begin, (share,))
            others.append(_Other(pool, share, pool.submit(_open, job)))
        well = False
        with ThreadPoolExecutor(1) as own:
            try:
                yield _AtWork(own, others, job, opened)
                well = True
            finally:
                for each in others:
                    each.end(at_once=not well)


class _Other(NamedTuple):
    """Another process: a pool of it alone, the number from 1 and share of the batch that it works on (0: none), and its
    own number once it has opened the study."""

    pool: ProcessPoolExecutor
    share: Any
    begun: Future

    def end(self, at_once: bool) -> None:
        """End it; at once, whatever it is at."""
        if at_once and self.begun.done() and not self.begun.cancelled() and not self.begun.exception():
            with suppress(ProcessLookupError):
                os.kill(self.begun.result(), signal.SIGTERM)
        self.pool.shutdown(cancel_futures=True)


class _AtWork:
    """Processes at work on one study."""

    def __init__(self, own: ThreadPoolExecutor, others: list[_Other], job: Job, opened: Opened) -> None:
        self._own, self._others, self._job, self._opened = own, others, job, opened

    def bases(self) -> None:
        """Return nothing: elevations of bases are asked for as batches come."""
        return

    def batches(self, ranges: list[tuple[int, int]], here: Here) -> Iterator[tuple[tuple[int, int], dict]]:
        """Yield ranges of spans and what each comes to, in order."""
        asked: dict[int, Future] = {}
        waiting: deque[tuple[tuple[int, int], Future]] = deque()
        known, ahead = here.laid(), _AHEAD * (1 + len(self._others))

        def look() -> None:
            for number, share in (each.share for each in self._others):
                if number:
                    here.tell(*ranges[int(number) - 1], share)
            here.say()

        def ask(numbers: range) -> None:
            for number, (first, last) in zip(numbers, ranges[numbers.start:numbers.stop], strict=False):
                if not known.surveyed and (other := self._other(number)):
                    ends = int(known.spans.tail[first]), int(known.spans.head[last])
                    asked[number] = other.pool.submit(_heights, self._job, *ends)

        ask(range(ahead))
        for number, each in enumerate(ranges):
            heights = _result(asked.pop(number), look) if number in asked else None
            plan = here.laid(*each, heights)
            ask(range(number + ahead, number + ahead + 1))
            if other := self._other(number):
                bases = known.base_elevation if known.surveyed else None
                waiting.append((each, other.pool.submit(_assess, self._job, bases, Surveyed.of(plan), number, *each)))
            else:
                waiting.append((each, self._own.submit(here.work, (plan, *each))))
            if len(waiting) > 1 + len(self._others):
                yield self._take(*waiting.popleft(), look)
        while waiting:
            yield self._take(*waiting.popleft(), look)

    def _other(self, number):
        """The other process that does a batch, None where it is this one."""
        place = number % (1 + len(self._others))
        return self._others[place - 1] if place else None

    def _take(self, ends, future, look):
        """What a batch comes to; where another process did it, its time counts, and what it met."""
        batch = _result(future, look)
        if isinstance(batch, _Done):
            self._opened.inputs.terrain.take(batch.met)
            for kind, each in batch.seconds.items():
                self._opened.clock.seconds[kind] += each
            batch = batch.batch
        return ends, batch


class _Done(NamedTuple):
    """What another process made of a `batch`, what it has `met` (`Terrain.met`), and the seconds that took, by kind."""

    batch: dict
    met: list[dict]
    seconds: dict[str, float]


def _result(future: Future, look: Callable[[], None]) -> Any:
    """What a task comes to, with a look now and then before it does; its error, as it was raised."""
    try:
        return awaited(future, look)
    except BrokenProcessPool:
        raise MachineError("a process that assessed spans was ended from outside: is memory short? One process does it "
                           "all with --workers none") from None


_share = None


def _begin(share):
    """Make a process one that ends with that which started it, and leaves it to that one to be interrupted."""
    global _share
    _share = share
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with, args=(multiprocessing.parent_process(),), daemon=True).start()


def _end_with(parent):
    parent.join()
    os._exit(1)


def _open(job):
    """Open the study, and return the number of the process."""
    open_job(job)
    return os.getpid()


def _heights(job, first, last):
    """`base_heights` of structures, of ground that is read along the lines."""
    open_job(job).laid()
    return base_heights(job, first, last)


def _assess(job: Job, bases: np.ndarray | None, surveyed: Surveyed, number: int, first: int, last: int) -> _Done:
    """Assess spans `first` to `last`."""
    held = open_job(job)
    before = dict(held.opened.clock.seconds)
    facts, plan, ground, inspector = held.laid(lambda: bases)

    def tell(share):
        _share[:] = number + 1, share

    with held.opened.clock("compute"):
        batch = assess_batch(facts, surveyed.on(plan), ground, inspector, first, last, tell=tell)
    _share[0] = 0
    return _Done(batch, held.opened.inputs.terrain.met, held.opened.clock.since(before))
