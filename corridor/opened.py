"""A study that is opened: its file checked, what it names read once, the lines laid out over the ground."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from threading import Lock, RLock, local
from time import perf_counter
from typing import NamedTuple, Self

import numpy as np

from corridor.assessment import Facts, Ground, Plan
from corridor.clearance.induced_current import current_rule
from corridor.clearance.study_lines import near_spans
from corridor.constants import EARTH_RADIUS
from corridor.inputs.digest import files_of
from corridor.inputs.mixes import read_mixes
from corridor.inputs.references import check_files
from corridor.inputs.series import YearLoads, year_loads
from corridor.inputs.study_inputs import Inputs, read_inputs
from corridor.inputs.terrain import Terrain
from corridor.line.build import lay_out, mean_elevation
from corridor.line.facts import Structures
from corridor.outputs.guard import Guard
from corridor.study import Study, load_study
from corridor.study.named_files import named_files
from corridor.surveys.start import as_surveyed
from corridor.temporary import state_of

__all__ = ["Clock", "LaidOut", "Opened", "Surveyed", "guard_of", "prepare", "survey"]


#: How far beside the line the ground is expected to be asked for [m].
BESIDE = 100.0


class Clock:
    """Seconds by kind of work, from any thread; work within other work counts as its own kind alone."""

    def __init__(self) -> None:
        self.seconds = {"read": 0.0, "compute": 0.0, "write": 0.0, "wait": 0.0}
        self._lock = Lock()
        self._local = local()

    @contextmanager
    def __call__(self, kind: str) -> Iterator[None]:
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

    def since(self, before: Mapping[str, float]) -> dict[str, float]:
        """Return the seconds by kind that came after some earlier `seconds`."""
        return {kind: seconds - before[kind] for kind, seconds in self.seconds.items()}


class LaidOut(NamedTuple):
    """The lines of a study over their ground: what is known, where it stands, and what knows elevations."""

    facts: Facts
    plan: Plan
    ground: Ground


class Surveyed(NamedTuple):
    """What `survey` finds of a plan, columns of structures and of spans [m]: for who has the plan without it."""

    base_elevation: np.ndarray
    station: np.ndarray
    length: np.ndarray
    ground_factor: np.ndarray

    @classmethod
    def of(cls, plan: Plan) -> "Surveyed":
        """Return what was found of a plan."""
        return cls(plan.base_elevation, plan.route.station, plan.spans.length, plan.spans.ground_factor)

    def on(self, plan: Plan) -> Plan:
        """Return the plan of the same lines with it."""
        return replace(plan, base_elevation=self.base_elevation, route=replace(plan.route, station=self.station),
                       spans=replace(plan.spans, length=self.length, ground_factor=self.ground_factor))


class Opened:
    """A study whose file is read and checked; what it names is read when it is first asked for, once.

    To be used in a `with` statement, or closed. Nothing that is asked of it changes it.

    Parameters
    ----------
    study : path, str, dict or Study
        The study file, its tables, or what was read of them.
    folder : path or str
        What the paths of a dict are relative to.
    trust : bool or sequence of path, optional
        Whether files outside the study's folder may be read, or in which folders; default: of a dict alone.

    Raises
    ------
    InputError
        The study, or later a file that it names, cannot be used.
    """

    def __init__(self, study: Path | str | Mapping | Study, folder: Path | str = ".", *,
                 trust: bool | Sequence[Path] | None = None) -> None:
        self.clock, self._closed = Clock(), False
        self._stamps: dict[str, list[int]] = {}
        self._lock, self._laid_out = RLock(), None
        with self.clock("read"):
            self.study: Study = study if isinstance(study, Study) else load_study(study, folder, trust=trust)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the files of the ground; what was answered stays."""
        self._closed = True
        if "_inputs" in self.__dict__:
            self._inputs.close()

    @property
    def output(self) -> Path:
        """Where the study wants its findings."""
        return self.study.resolve(self.study.study.output)

    def guard(self, overwrite: bool = False) -> Guard:
        """Return what must not be written over: the study and all that it reads; and files that this software did not
        write, unless they may be overwritten."""
        return guard_of(self.study, overwrite)

    @property
    def name(self) -> str:
        """What the study is called: its title, or else its file."""
        return self.study.study.title or self.study.path.stem

    @cached_property
    def loads(self) -> YearLoads:
        """What flows in a year, which losses are of."""
        with self.clock("read"):
            return year_loads(self.study)

    @property
    def inputs(self) -> Inputs:
        """All that the study names, read; ValueError once the study is closed."""
        if self._closed:
            raise ValueError(f"the study {self.name!r} is closed")
        with self._lock:
            return self._inputs

    @property
    def stamps(self) -> dict[str, list[int]]:
        """Size and time of every file that the study reads, by path, as they were when `inputs` were read: another
        process that reads them later knows whether they are the same."""
        with self._lock:
            return self._inputs and self._stamps

    @cached_property
    def _inputs(self) -> Inputs:
        with self.clock("read"):
            self._stamps = _stamps_of(self.study)
            return read_inputs(self.study)

    @property
    def ground(self) -> Ground:
        """What knows elevations, for one thread at a time."""
        return _timed_ground(self.inputs.terrain, self.clock)

    @property
    def laid_out(self) -> LaidOut:
        """The lines over their ground, which was asked for all bases that the structures do not give."""
        inputs = self.inputs
        with self._lock:
            if self._laid_out is None:
                self._laid_out = prepare(inputs, self.clock)
            return self._laid_out


def _files_of(study):
    """What a study names, itself first, and the files that are read with it; errors as of `check_files`."""
    check_files(study)  # before anything is looked for that it refers to
    paths = [study.path, *(study.resolve(name) for _, name in named_files(study))]
    return paths, [file for path in paths for file in files_of(path)]


def _stamps_of(study):
    files = {str(Path(file).absolute()) for file in _files_of(study)[1]}
    return {file: state[1:] for file in sorted(files) if (state := state_of(Path(file)))}


def guard_of(study: Study, overwrite: bool = False) -> Guard:
    """Return the `Opened.guard` of a study; errors as of `check_files`."""
    paths, files = _files_of(study)
    return Guard((*paths, *files), overwrite)


def prepare(inputs: Inputs, clock: Clock | None = None, *, surveyed: bool = True, bases: np.ndarray | None = None
            ) -> LaidOut:
    """Lay out the lines over the ground.

    Parameters
    ----------
    inputs : Inputs
    clock : Clock, optional
    surveyed : bool
        False: leave the ground for `corridor.check.find` to ask, where nothing needs all of it at once, as lines near
        each other do.
    bases : ndarray, shape (structure,), optional
        Elevations of bases [m] as somebody has asked the ground for them, nan where it is not known.
    """
    structures, ground = inputs.structures, _timed_ground(inputs.terrain, clock or Clock())
    base = structures.base_elevation if bases is None else bases
    plan = Plan(*lay_out(structures, np.zeros_like(base), inputs.frame.ground_factor), base, False)
    ends = (v[end] for end in (plan.spans.tail, plan.spans.head) for v in (structures.easting, structures.northing))
    inputs.terrain.expect(*ends, BESIDE)
    if surveyed or bases is not None or inputs.surveys or inputs.needs_highest or len(
            near_spans(structures, plan.spans, inputs.framings, 0, len(plan.spans) - 1)):
        plan = replace(survey(structures, plan, ground, 0, len(plan.spans) - 1), surveyed=True)
    highest = np.fmax.reduce(plan.base_elevation)
    known = {each.name for each in inputs.options}
    mixes = tuple(each for each in read_mixes(inputs.study, plan.spans, plan.sections) if {*each.parts} <= known)
    facts = Facts(
        structures=structures, framings=inputs.framings, index=inputs.index, right_of_way=inputs.right_of_way,
        rules=inputs.rules, options=inputs.options, cases=inputs.cases, shield=inputs.shield, voltage=inputs.voltage,
        heat=inputs.ratings(highest, plan.spans.azimuth), method=inputs.study.study.method, unread=inputs.unread(),
        clouds=inputs.points(ground.sample), own_wires=inputs.own_wires, pull_ends=inputs.pull_ends,
        capacities=inputs.capacities, induced=current_rule(inputs.study.rules.table),
        mixes=mixes)
    if inputs.surveys:
        facts = as_surveyed(facts, plan, inputs.surveys)
    return LaidOut(facts, plan, ground)


def _timed_ground(terrain: Terrain, clock: Clock) -> Ground:
    """The terrain for one thread at a time, its time told apart."""
    def read(method):
        def timed(*args):
            with clock("wait"):
                terrain.lock.acquire()
            try:
                with clock("read"):
                    return method(*args)
            finally:
                terrain.lock.release()
        return timed

    return Ground(read(terrain.sample), read(terrain.profiles), read(terrain.cells))


def survey(structures: Structures, plan: Plan, ground: Ground, first: int, last: int) -> Plan:
    """Return the plan with the bases of spans `first` to `last` as the ground has them, and lengths and stations from
    there on: all at once or batch by batch, to the last digit."""
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
