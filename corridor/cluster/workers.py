"""Worker processes put to work on a check: tasks handed out, parts taken in order, what is finished kept for another
run of the same check."""

import hmac
import json
import shutil
import zipfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from importlib.util import find_spec
from pathlib import Path
from time import monotonic

import numpy as np

from corridor.check import Here
from corridor.cluster.parts import read_part
from corridor.cluster.tasks import BASES, Job, assess_part, base_heights, code_digest, part_of
from corridor.errors import CorridorError, InputError, MachineError
from corridor.opened import Opened
from corridor.outputs.files import disk_errors
from corridor.temporary import sweep, temporary_folder, unfinished

__all__ = ["ClusterWorkers"]

#: Structures whose bases are asked for in one task.
_BASES = 1000
#: How often it is said how far the work is [s], and how long a scheduler may take to answer, or be without workers [s].
_SAID, _ANSWER = 0.3, 30
#: Letters of the name of a folder of parts.
_LETTERS = 64


class ClusterWorkers:
    """Worker processes of Dask, which a check is given.

    Parameters
    ----------
    address : str
        "local": as many processes on this machine as it has cores; else the address of a scheduler, as
        "tcp://host:8786". It, and whoever can reach it, is trusted: it has programs run.
    processes : int, optional
        Number of local ones, another than that of cores.
    secret : bytes
        What only this person knows. The folder of finished parts gets its name by it, so that nobody else can lay parts
        ready: a check that was ended goes on with those of the same secret. Empty: none goes on.
    environment : dict of str to str, optional
        Variables that are set in workers before they open a file.
    say : callable, optional
        `say(line)` of where the work can be watched.

    Raises
    ------
    CorridorError
        The library `distributed` is missing.
    """

    def __init__(self, address: str = "local", *, processes: int | None = None, secret: bytes = b"",
                 environment: Mapping[str, str] | None = None, say: Callable[[str], None] | None = None) -> None:
        if find_spec("distributed") is None:
            raise CorridorError("worker processes need distributed: pip install 'corridor[cluster]'")
        self.address, self.processes, self.secret = address, processes, secret
        self.environment, self._say = dict(environment or {}), say or (lambda line: None)

    @contextmanager
    def at_work(self, opened: Opened, output: Path | str | None, draws: int) -> Iterator["_AtWork"]:
        """Return a context in which they work on a study; parts are beside the output, and go when all went well.

        Raises
        ------
        InputError
            No scheduler answers at the address.
        """
        name = _name_of(opened, draws, self.secret) if self.secret and output is not None else None
        if output is None:
            folder = temporary_folder()
        else:
            folder = _folder(Path(output).absolute().with_name(f"{Path(output).name}.parts"), name)
        job = Job(opened.study, folder, opened.stamps, draws, self.environment)
        with self._client() as client:
            yield _AtWork(client, job, opened)
        shutil.rmtree(folder, ignore_errors=True)
        if output is not None:
            with suppress(OSError):  # another check has parts there
                folder.parent.rmdir()

    @contextmanager
    def _client(self):
        """A context with the client of a scheduler, told where the work can be watched."""
        import logging

        from distributed import Client, LocalCluster

        if self.address != "local":
            try:
                client = Client(self.address, timeout=_ANSWER)
            except (OSError, ValueError) as error:
                raise InputError(None, "workers", f"{self.address!r} ({error})",
                                 "local, or the address of a scheduler that answers, as tcp://host:8786") from None
            with client:
                self._say(f"Dashboard: {client.dashboard_link}")
                yield client
            return
        with LocalCluster(n_workers=self.processes, threads_per_worker=1, processes=True, host="127.0.0.1",
                          dashboard_address="127.0.0.1:0", silence_logs=logging.CRITICAL) as cluster:
            self._say(f"Dashboard: {cluster.dashboard_link}")
            with Client(cluster) as client:
                yield client


class _AtWork:
    """Workers at work on one study."""

    def __init__(self, client, job, opened):
        self._client, self._job, self._opened = client, job, opened

    def bases(self) -> np.ndarray:
        """Return the elevation of every base [m], (structure,), nan where the ground does not tell it."""
        path, given = self._job.folder / BASES, self._opened.inputs.structures.base_elevation
        if not path.exists():
            ends = [(first, min(first + _BASES, len(given)) - 1) for first in range(0, len(given), _BASES)]
            tasks = [self._task(base_heights, *each) for each in ends]
            base = np.concatenate([self._result(task) for task in tasks])
            temporary = unfinished(path)
            with disk_errors(path):
                with temporary.open("wb") as file:
                    np.save(file, base, allow_pickle=False)
                temporary.replace(path)
        return np.load(path, allow_pickle=False)

    def batches(self, ranges: list[tuple[int, int]], here: Here) -> Iterator[tuple[tuple[int, int], dict]]:
        """Yield ranges of spans and what each comes to, in order: all is done there."""
        folder = self._job.folder
        tasks = {each: self._task(assess_part, *each) for each in ranges if not _is_whole(part_of(folder, *each))}
        for each in ranges:
            here.tell(*each, float(each not in tasks))

        def look():
            for other, task in tasks.items():
                here.tell(*other, float(task.done()))
            here.say()

        for each in ranges:
            if each in tasks:
                seconds = self._result(tasks[each], look)
                del tasks[each]
                self._spent(seconds)
            with disk_errors(part_of(folder, *each)):
                batch, met = read_part(part_of(folder, *each))
            self._opened.inputs.terrain.take(met)
            yield each, batch

    def _task(self, work, first, last):
        return self._client.submit(work, self._job, first, last, pure=False, priority=-first)

    def _result(self, task, look=lambda: None):
        """What a task comes to, with a look now and then before it does; its error, as it was raised."""
        from distributed import CancelledError, KilledWorker, TimeoutError, wait

        alone = monotonic()
        while not task.done():
            with suppress(TimeoutError):
                wait(task, timeout=_SAID)
            if self._has_workers():
                alone = monotonic()
            elif monotonic() - alone > _ANSWER:
                raise MachineError(f"the scheduler has had no worker for {_ANSWER} s; what is finished is kept for the "
                                   "next run")
            look()
        try:
            return task.result()
        except KilledWorker:
            raise MachineError("a batch of spans ended each worker that took it: is memory short?") from None
        except CancelledError:
            raise MachineError("the scheduler of the workers ended; what is finished is kept for the next run"
                               ) from None

    def _has_workers(self):
        try:
            return bool(self._client.nthreads())
        except OSError:  # the scheduler is away, or has ended: then its tasks are cancelled soon
            return False

    def _spent(self, seconds):
        for kind, each in seconds.items():
            self._opened.clock.seconds[kind] += each


def _is_whole(path):
    """Whether a part of an earlier run is there, and can be read."""
    try:
        with zipfile.ZipFile(path) as file:
            return file.testzip() is None
    except (OSError, zipfile.BadZipFile):
        return False


def _name_of(opened, draws, secret):
    """Name of the folder of parts, of all that they follow from, and a secret."""
    told = [code_digest(), opened.study.digest, draws, sorted((row["part"], row["path"], row["digest"])
                                                            for row in opened.inputs.files)]
    return hmac.new(secret, json.dumps(told).encode(), "sha256").hexdigest()


def _folder(parent, name):
    """Return the folder of parts of that name; those of other inputs go. None: a new one, for this run alone."""
    if parent.is_symlink() or parent.exists() and not parent.is_dir():
        raise InputError(parent, "output", "something that is no folder, where parts of the work go", "another name")
    with disk_errors(parent):
        parent.mkdir(exist_ok=True)
        sweep(parent)
        for old in parent.iterdir():
            if len(old.name) == _LETTERS and old.name != name and old.is_dir() and not old.is_symlink():
                shutil.rmtree(old, ignore_errors=True)
        folder = unfinished(parent / "parts") if name is None else parent / name
        folder.mkdir(exist_ok=True)
        sweep(folder)
    return folder
