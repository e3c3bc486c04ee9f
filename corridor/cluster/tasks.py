"""What worker processes do: each opens the study once, by its paths, and assesses batches of spans."""

import os
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from threading import Lock

import numpy as np

from corridor import __version__
from corridor.check import assess_batch
from corridor.cluster.parts import write_part
from corridor.errors import CorridorError, InputError
from corridor.inputs.digest import digest_files
from corridor.inspection.inspector import Inspector
from corridor.opened import Opened, prepare
from corridor.outputs.files import disk_errors
from corridor.study import Study
from corridor.study.uncertainty import uncertainty_of
from corridor.temporary import state_of

__all__ = ["BASES", "Job", "assess_part", "base_heights", "code_digest", "open_job", "part_of"]

#: File of the heights of all bases, beside the parts.
BASES = "bases.npy"


@dataclass(frozen=True)
class Job:
    """A check that workers take part in.

    `folder` where parts go; `stamps` size and time of every file that is read, by path; `draws` as of
    `corridor.check.check`; `environment` what GDAL shall be told in the process; `code` digest of this software.
    """

    study: Study
    folder: Path
    stamps: Mapping[str, list[int]]
    draws: int = 0
    environment: Mapping[str, str] = field(default_factory=dict)
    code: str = field(default_factory=lambda: code_digest())


@cache
def code_digest() -> str:
    """Return the SHA-256 of this software, of its modules and tables: what other code makes may be another answer."""
    folder = Path(__file__).parents[1]
    return digest_files(path for path in folder.rglob("*") if path.suffix in (".py", ".csv"))


class _Held:
    """A study that a worker holds open, with its lines laid out once bases are known."""

    def __init__(self, job):
        os.environ.update(job.environment)
        _need_same(job)
        self.opened, self._laid, self._draws, self._lock = Opened(job.study), None, job.draws, Lock()

    def laid(self, bases=lambda: None):
        """Return the lines laid out, and who looks at them; `bases()` as of `prepare`, asked once."""
        with self._lock:
            if self._laid is None:
                inputs = self.opened.inputs
                facts, plan, ground = prepare(inputs, self.opened.clock, surveyed=False, bases=bases())
                facts = replace(facts, uncertainty=uncertainty_of(self.opened.study, self._draws))
                self._laid = facts, plan, ground, Inspector(inputs, plan, ground)
            return self._laid


def _need_same(job):
    """Refuse another version of this software, and files that are not those that the check began with."""
    if job.code != code_digest():
        raise CorridorError(f"a worker has another corridor (it says {__version__}) than the check")
    for path, stamp in job.stamps.items():
        if _look(path) != stamp:
            raise InputError(path, None, "another file where a worker reads it than where the check began, or one that "
                             "changed since", "the same file by the same path, on a disk that all workers see")


def _look(path):
    """Size and time of a file."""
    state = state_of(Path(path))
    return state and state[1:]


_held: dict[Path, _Held] = {}
_lock = Lock()


def open_job(job):
    """Return the study of a job; the one that the worker held before is closed."""
    with _lock:
        if job.folder not in _held:
            for each in _held.values():
                each.opened.close()
            _held.clear()
            _held[job.folder] = _Held(job)
        return _held[job.folder]


def base_heights(job: Job, first: int, last: int) -> np.ndarray:
    """Return the elevations of the bases of structures `first` to `last`, as given or as the ground has them [m]."""
    opened = open_job(job).opened
    x, here = opened.inputs.structures, slice(first, last + 1)
    base = x.base_elevation[here].copy()
    unknown = np.isnan(base)
    base[unknown] = opened.ground.sample(x.easting[here][unknown], x.northing[here][unknown])
    return base


def part_of(folder: Path, first: int, last: int) -> Path:
    """Return where the part of spans `first` to `last` is, or will be."""
    return folder / f"{first:09d}-{last:09d}.part"


def assess_part(job: Job, first: int, last: int) -> dict[str, float]:
    """Assess spans `first` to `last`, write their part, and return the seconds that took, by kind."""
    held = open_job(job)
    before = dict(held.opened.clock.seconds)
    facts, plan, ground, inspector = held.laid(lambda: np.load(job.folder / BASES))
    with held.opened.clock("compute"):
        batch = assess_batch(facts, plan, ground, inspector, first, last)
    path = part_of(job.folder, first, last)
    with held.opened.clock("write"), disk_errors(path):
        write_part(path, batch, held.opened.inputs.terrain.met)
    return held.opened.clock.since(before)
