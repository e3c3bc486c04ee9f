"""Runs that are killed, disks that are full, streams that are closed: what stood there stands, or what is new is whole.

A killed run is a copy of a process that has imported all that it needs (`tests.copies`), so that a trial costs only
what the command does, which the kernel ends (SIGKILL) at a random moment: half of them anywhere in the run, half among
the steps of its writing. It replaces the files of an earlier run, of a study that was another one. In the ordinary
tests there are a few trials of each command; `TRIALS=100` in the environment asks for so many, and `-rP` shows what
they came to.
"""

import json
import os
import random
import resource
import select
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections import Counter
from contextlib import closing
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from pyproj import CRS

import corridor.check
from corridor.commands.trust import remember, trusted
from corridor.errors import MachineError
from corridor.inputs.point_ground import write_ground
from corridor.inputs.point_store import BLOCK, PointStore, keys_of
from corridor.outputs.files import Files
from corridor.outputs.guard import Guard
from corridor.temporary import sweep, temporary_folder, unfinished
from tests.common import run
from tests.copies import begin, ended, pipe
from tests.end_to_end.at_work import COMMANDS, in_folder, in_steps, timed, told_of
from tests.end_to_end.conftest import GRID, SECOND_OPTION, TinyStudy, leftovers, line_of
from tests.end_to_end.test_guard import RATING

TRIALS = int(os.environ.get("TRIALS", "2"))
#: After so many killed runs comes one that nobody kills.
ORDINARY = 5
#: A small disk gives room by so many bytes.
PAGE = resource.getpagesize()
ROOT = Path(corridor.check.__file__).parent.parent
pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")

@pytest.fixture(scope="module", autouse=True)
def same_time():
    """The time of every run, by which two of one study make the same bytes."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SOURCE_DATE_EPOCH", "1772323200")
        yield


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """By command, a folder with a study and files that the command wrote of an earlier one, the status of its next run,
    which is done in a folder beside it, and how long each step of that took (`timed`). A wire over one span is in
    violation of a road; in the earlier study it was strung to less, and nobody had said how high its structures stand,
    which is doubtful now."""
    made, studies = {}, {}
    for name, share, bases in (("earlier", "16 %", None), ("later", "17 %", [107.0, 106.0])):
        study = TinyStudy(tmp_path_factory.mktemp("trouble") / name)
        study.structures = line_of(2).assign(**{"base_elevation": bases} if bases else {})
        study.text += SECOND_OPTION + RATING + "[design]\ncandidates = 300\nfinalists = 1\n"
        study.change("18 %", share)
        study.rules = study.rules.replace("5.5", "12")
        study.add_roads()
        plain = study.text
        study.add_shots()
        (study.folder / "seen.toml").write_text(study.text)
        study.text = plain
        study.check()
        studies[name] = study.folder
    shutil.copy(studies["earlier"] / "findings.gpkg", studies["earlier"] / "earlier.gpkg")

    def ask(command):
        if command not in made:
            folder = shutil.copytree(studies["earlier"], studies["earlier"].with_name(command))
            in_folder(folder, command)
            mine = folder / "findings.gpkg" if command == "check" else None
            for path in studies["later"].iterdir():
                if folder / path.name != mine:
                    shutil.copy(path, folder)
            again, report = Path(shutil.copytree(folder, f"{folder} again")), folder.with_name(f"{command} steps")
            status = ended(begin(timed, again, command, report))
            assert status in (0, 1, 3)
            made[command] = folder, status, json.loads(report.read_text())
        return made[command]

    return ask


def contents(folder):
    return {path.relative_to(folder): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def restore(folder, before):
    """Have the files again that were in a folder; what is not finished stays."""
    for name in set(contents(folder)) - set(before):
        if not any(part.startswith(".corridor-") for part in name.parts):
            (folder / name).unlink()
    for name, content in before.items():
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_bytes(content)


def killed(folder, command, step, seconds):
    """Run a command, kill it so long after a step of its writing (0: after its start), and return how it ended."""
    heard, tell = pipe()
    process = begin(told_of, partial(in_folder, folder, command), step, tell)
    tell.close()
    with heard:
        if os.read(heard.fileno(), 1):
            select.select([heard], [], [], seconds)  # readable once it has ended
        process.kill()
        return ended(process)


@pytest.mark.parametrize("command", COMMANDS)
def test_a_killed_run_damages_nothing(written, tmp_path, command):
    """Each file is the old or the new one, byte by byte; a run that nobody kills then makes all of the new ones, and
    takes away what was left."""
    original, status, steps = written(command)
    folder = shutil.copytree(original, tmp_path / "study")
    before, last = contents(folder), contents(original.with_name(f"{original.name} again"))
    assert any(last[name] != before.get(name) for name in last)
    rng, count = random.Random(command), Counter()
    for trial in range(TRIALS):
        restore(folder, before)
        step = rng.randrange(len(steps)) if trial % 2 == 0 else 0
        moment = rng.uniform(0, steps[step] + 0.002 if step else sum(steps))
        end = killed(folder, command, step, moment)
        assert end in (status, -signal.SIGKILL)
        left = leftovers(tmp_path)
        if command == "folder":
            sweep(folder)  # a folder has no name between two renamings, until the next run gives it one
        after = {name: content for name, content in contents(folder).items() if folder / name not in left
                 and not any(part.startswith(".corridor-") for part in name.parts)}
        assert all(content in (before.get(name), last.get(name)) for name, content in after.items())
        assert set(before) & set(last) <= set(after)
        count["killed" if end < 0 else "ended before"] += 1
        if end < 0:
            count["left something unfinished"] += bool(left)
            count["all old" if after == before else "all new" if after == last else "some new"] += 1
        if (trial + 1) % ORDINARY == 0 or trial + 1 == TRIALS:
            assert in_folder(folder, command) == status
            assert contents(folder) == last
            assert not leftovers(tmp_path)
            count["ordinary runs after that"] += 1
    print(f"{command}: {sum(steps):.2f} s, {len(steps)} steps; {dict(count)}")
    assert count["killed"] > TRIALS / 3 or TRIALS < 5


@pytest.mark.parametrize("command", COMMANDS)
def test_a_run_killed_at_any_step_of_its_writing_damages_nothing(written, tmp_path, command):
    """What a kill would leave behind, step by step of one run: with what the next run first takes away or carries on,
    all files are the old ones or all are the new ones, byte by byte."""
    whole, status, _ = written(command)
    folder, states = shutil.copytree(whole, tmp_path / "study"), tmp_path / "states"
    before = contents(folder)
    assert ended(begin(in_steps, folder, command, states)) == status
    last, left = contents(folder), 0
    for state in sorted(states.iterdir()):
        left += len(leftovers(state))
        for place in [state, *(path for path in state.rglob("*") if path.is_dir())]:
            sweep(place)
        after = contents(state)
        assert after in (before, last) and not leftovers(state), state
    assert left and set(last) == set(before)


def test_a_set_that_was_interrupted_among_its_renamings_is_completed(tmp_path, monkeypatch):
    """Ctrl-C after the first of three: what is left stands ready, and the next run gives it its names."""
    names = ["a.csv", "b.csv", "c.csv"]
    for name in names:
        (tmp_path / name).write_text("old")
    replace = os.replace

    def interrupted(source, target):
        replace(source, target)
        raise KeyboardInterrupt

    with monkeypatch.context() as patched:
        patched.setattr("os.replace", interrupted)
        with pytest.raises(KeyboardInterrupt), Files(Guard(overwrite=True)) as files:
            for name in names:
                files.new(tmp_path / name).write_text("new")
    assert [(tmp_path / name).read_text() for name in names] == ["new", "old", "old"]
    monkeypatch.setattr("corridor.temporary._alive", lambda *_: False)
    sweep(tmp_path)
    assert [(tmp_path / name).read_text() for name in names] == ["new"] * 3 and not leftovers(tmp_path)


@pytest.mark.parametrize(("temporary", "target"), [
    ("{}1-a.csv", "../victim.csv"), ("{}1-a.csv", "{folder}/../victim.csv"), ("{}1-a.csv", "link/victim.csv"),
    ("{}1-a.csv", "one/two/a.csv"), ("mine.csv", "a.csv"), ("../{}1-a.csv", "a.csv"), ("{}2-none.csv", "a.csv")])
def test_a_list_of_somebody_else_leads_nowhere(tmp_path, temporary, target):
    """A list that a dead run seems to have left moves what it made itself, to names in that folder or one below."""
    folder, outside = tmp_path / "study", tmp_path / "victim.csv"
    for each in (folder / "one" / "two", tmp_path / "elsewhere"):
        each.mkdir(parents=True)
    (folder / "link").symlink_to(tmp_path)
    run = unfinished(folder / "x").name.replace(f"-{os.getpid()}-", "-999999999-").rsplit("-", 2)[0] + "-"
    for path in (folder / f"{run}1-a.csv", folder / "mine.csv", tmp_path / f"{run}1-a.csv", outside):
        path.write_text(path.name)
    moves = [[temporary.format(run), target.format(run, folder=folder), None]]
    if "victim" in target:
        facts = outside.stat()
        moves[0][2] = [facts.st_size, facts.st_mtime_ns]
    (folder / f"{run}9-list.json").write_text(json.dumps({"moves": moves, "gone": [["../victim.csv", moves[0][2]]]}))
    sweep(folder)
    assert outside.read_text() == "victim.csv" and (folder / "mine.csv").exists()
    assert {path.name for path in folder.rglob("*")} == {"one", "two", "link", "mine.csv"}


@pytest.mark.parametrize("command", ["inspect", "check", "diff"])
def test_two_runs_at_once_over_what_another_program_reads(written, tmp_path, command):
    """Both end as one does, what they made is whole, and who read the old one when they began reads it to the end."""
    original, status, _ = written(command)
    last = contents(original.with_name(f"{original.name} again"))
    folder = shutil.copytree(original, tmp_path / "study")
    output, = [name for name, content in contents(folder).items() if content != last[name]]
    with closing(sqlite3.connect(folder / output, isolation_level=None)) as reader:
        reader.execute("BEGIN")
        told = reader.execute("SELECT * FROM gpkg_contents").fetchall()
        runs = [begin(in_folder, folder, command) for _ in range(2)]
        assert [ended(each) for each in runs] == [status, status]
        assert reader.execute("SELECT * FROM gpkg_contents").fetchall() == told
        assert reader.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    assert contents(folder) == last and not leftovers(tmp_path)


class FileSizes:
    """No file gets larger than so many bytes, as if the disk were full there (RLIMIT_FSIZE)."""

    def __init__(self, folder):
        self.folder = folder
        self.unlimited = resource.getrlimit(resource.RLIMIT_FSIZE)

    def needed(self, work, sizes):
        """Bytes that some work needs, which writes files of such sizes."""
        return max(sizes)

    def limit(self, room):
        resource.setrlimit(resource.RLIMIT_FSIZE, (room, self.unlimited[1]))

    def lift(self):
        resource.setrlimit(resource.RLIMIT_FSIZE, self.unlimited)

    close = lift


class SmallDisk:
    """A disk in memory (tmpfs) that has room for so many bytes more, for files of the system, too."""

    def __init__(self, folder):
        self.folder = folder / "disk"
        self.folder.mkdir()
        self._mount("-t", "tmpfs", "-o", "size=256m", "tmpfs")

    def _mount(self, *words):
        done = subprocess.run(["mount", *words, self.folder], capture_output=True, text=True)
        if done.returncode:
            pytest.skip(f"no small disk can be mounted: {done.stderr.strip()}")

    def used(self):
        facts = os.statvfs(self.folder)
        return (facts.f_blocks - facts.f_bfree) * facts.f_bsize

    def needed(self, work, sizes):
        before, most = self.used(), sum(-(-size // PAGE) * PAGE for size in sizes)
        process = begin(work)
        while process.is_alive():
            most = max(most, self.used() - before)
            time.sleep(1e-4)
        assert ended(process) >= 0
        return most

    def limit(self, room):
        self._mount("-o", f"remount,size={self.used() + room // PAGE * PAGE}")

    def lift(self):
        self._mount("-o", "remount,size=256m")

    def close(self):
        subprocess.run(["umount", "-l", self.folder], check=True)


@pytest.fixture(params=[FileSizes, SmallDisk])
def disk(request, tmp_path):
    """A disk that is full whenever a test says so."""
    if request.param is SmallDisk and not (shutil.which("mount") and os.geteuid() == 0):
        pytest.skip("only root can mount a small disk")
    disk = request.param(tmp_path)
    yield disk
    disk.close()


@pytest.mark.parametrize("command", COMMANDS)
def test_a_full_disk_leaves_what_stood_there(written, disk, command):
    """At twenty sizes when asked for, from nothing to just less than what is needed: whole files, or status 70 and one
    line, which says that nothing was written where that is so."""
    original, status, _ = written(command)
    folder = shutil.copytree(original, disk.folder / "study")
    last = contents(original.with_name(f"{original.name} again"))
    before, trials, count = contents(folder), min(TRIALS, 20), Counter()
    needed = disk.needed(partial(in_folder, folder, command),
                         [len(content) for name, content in last.items() if content != before.get(name)])
    assert contents(folder) in (before, last)
    restore(folder, before)
    for trial in range(trials):
        disk.limit(needed * trial // trials if trial + 1 < trials else needed - 1)
        try:
            end, said = heard(partial(in_folder, folder, command))
        finally:
            disk.lift()
        assert end in (status, 70), said
        after = contents(folder)
        if end == 70:
            words = [line for line in said.splitlines() if not line.startswith("_tiff")]  # libtiff asks nobody
            assert len(words) == 1 and words[0].startswith("corridor: ") and "no such table" not in said, said
            assert all(after[name] in (content, last.get(name)) for name, content in before.items())
            assert ("Nothing was written." in said) == (after == before) != ("Written before:" in said), said
        else:
            assert after == last
        assert set(after) <= set(before) | set(last) and not leftovers(disk.folder)
        count[end] += 1
        restore(folder, before)
    print(f"{command}: {needed} bytes needed; {dict(count)}")
    assert count[70] >= trials / 2
    assert in_folder(folder, command) == status and contents(folder) == last


@pytest.mark.parametrize("disk", [SmallDisk], indirect=True)
def test_a_disk_of_its_own_that_is_full(disk, tmp_path):
    """A folder that lies on another disk than the one beside it, where files are finished."""
    (disk.folder / "old.txt").write_text("old")
    with pytest.raises(MachineError, match="No space left on device. What stood there is as it was"), Files() as files:
        (files.staged(disk.folder) / "new.txt").write_bytes(bytes(10 * PAGE))
        disk.limit(2 * PAGE)
    assert os.listdir(disk.folder) == ["old.txt"] and not leftovers(tmp_path)


@pytest.mark.parametrize("disk", [FileSizes], indirect=True)
def test_what_is_remembered_of_studies_is_whole(disk, tmp_path, monkeypatch):
    """Where a new one cannot be noted the old ones stay; a file that others damaged is no obstacle."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    for name in ("one", "other"):
        (tmp_path / name).write_text(name)
    remember(tmp_path / "one")
    noted, = (tmp_path / "corridor").iterdir()
    before = noted.read_bytes()
    disk.limit(len(before))
    remember(tmp_path / "other")
    disk.lift()
    assert noted.read_bytes() == before and os.listdir(noted.parent) == [noted.name]
    assert trusted(tmp_path / "one", False) is True
    noted.write_bytes(b"\xff\n" + before)
    remember(tmp_path / "other")
    assert trusted(tmp_path / "one", False) is True and trusted(tmp_path / "other", False) is True


@pytest.mark.parametrize("disk", [FileSizes], indirect=True)
@pytest.mark.parametrize("bytes_less", [1, 10_000, 60_000])
def test_points_for_which_there_is_no_room(disk, bytes_less):
    """Of the last points a part would fit: none is lost without a word."""
    at = np.linspace(1, BLOCK - 1, 4000)
    store = PointStore(np.unique(keys_of(at, at)), (0.0, 0.0))
    store.add(at, at, at, np.full(len(at), 2, np.uint8))
    size, = [path.stat().st_size for path in store.folder.iterdir()]
    disk.limit(2 * size - bytes_less)
    with pytest.raises(OSError, match="File too large"):
        store.add(at, at, at, np.full(len(at), 2, np.uint8))
    disk.lift()
    with pytest.raises(OSError, match="not there any more"):
        store.read(store.squares())
    store.close()


@pytest.mark.parametrize("disk", [FileSizes], indirect=True)
def test_ground_for_which_there_is_no_room(disk, tmp_path):
    """GDAL tells of nothing where it could not write the last block as it closes."""
    rng = np.random.default_rng(5)
    e, n = rng.uniform(0, 2 * BLOCK, (2, 1000))
    store = PointStore(np.unique(keys_of(e, n)), (0.0, 0.0))
    store.add(e, n, rng.normal(100, 1, len(e)), np.full(len(e), 2, np.uint8))
    wanted = tmp_path / "ground.tif", [(store, (2,), 20.0)], lambda e, n: np.full(np.shape(e), np.nan), CRS(GRID)
    assert write_ground(*wanted)
    size = wanted[0].stat().st_size
    for limit in (0, 1000, size // 2, size - 1):
        wanted[0].unlink()
        disk.limit(limit)
        with pytest.raises((MachineError, OSError)):
            write_ground(*wanted)
        disk.lift()
    store.close()


def test_a_log_on_a_full_disk(study, tmp_path):
    """The command has its own status; one line more tells of the log."""
    disk = FileSizes(tmp_path)
    disk.limit(10)
    try:
        end, said = heard(partial(run, "inspect", study.path, "--log", tmp_path / "run.log"))
    finally:
        disk.lift()
    assert end == 0 and said.count("The log could not be written: run.log: could not be written: File too large") == 1
    assert os.listdir(tmp_path) == []


def heard(work):
    """How something ends in a copy of this process, and what it says to the person."""
    reading, writing = pipe()
    process = begin(work, says=writing)
    writing.close()
    with reading, open(reading.fileno(), encoding="utf-8", errors="replace", closefd=False) as stream:
        said = stream.read()
    return ended(process), said


# Streams and signals, as a shell gives them


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    study = TinyStudy(tmp_path_factory.mktemp("streams") / "study")
    study.add_roads()
    study.write()
    return study


def shell(study, line, **more):
    """A line of a shell, with $C for the command and $S for the study."""
    words = {"C": f"{sys.executable} -m corridor", "S": str(study.path)}
    return subprocess.run(["sh", "-c", line], capture_output=True, text=True, timeout=300, cwd=ROOT,
                          env={**os.environ, **words, **more})


@pytest.mark.parametrize(("line", "status", "words"), [
    ("$C check $S 2>&-", 0, ""), ("$C check $S >&- 2>&-", 0, ""), ("$C check $S 2>/dev/full", 0, ""),
    ("$C sag $S >/dev/full", 70, "standard output could not be written: No space left"),
    ("$C sag $S --json | true; test $? = 0", 0, ""),
    ("SOURCE_DATE_EPOCH=tomorrow $C curves $S -f $F", 2, "SOURCE_DATE_EPOCH"),
    ("SOURCE_DATE_EPOCH=99999999999999 $C check $S", 2, "SOURCE_DATE_EPOCH"),
    ("timeout -s INT 0.9 $C check $S || test $? = 124 -o $? = 130 -o $? = 0", 0, "")])
def test_streams(study, tmp_path, line, status, words):
    done = shell(study, line, F=str(tmp_path))
    assert done.returncode == status, done.stderr
    assert words in done.stderr and "Traceback" not in done.stderr and "Exception ignored" not in done.stderr
    assert done.stderr.count("\n") <= 12
    assert study.output.exists() or "check" not in line or status or "timeout" in line


def in_process(study, capsys, *arguments):
    return run("check", study.path, *arguments), capsys.readouterr().err


@pytest.mark.parametrize(("error", "status", "words"), [
    (MemoryError(), 70, "there is not enough memory for this. Nothing was written."),
    (OSError(28, "No space left on device", "spool"), 70, "spool: No space left on device. Nothing was written."),
    (FileNotFoundError(2, "No usable temporary directory found in ['x']"), 70, "No usable temporary directory"),
    (KeyboardInterrupt(), 130, "Stopped; the next run starts anew. Nothing was written.")])
def test_one_line(study, capsys, monkeypatch, error, status, words):
    def fail(*_):
        raise error

    monkeypatch.setattr(corridor.check, "assess_spans", fail)
    code, said = in_process(study, capsys, "-o", study.folder / "none.gpkg")
    assert code == status and words in said and "Traceback" not in said
    for path in said.split("looks into it: ")[1:]:
        Path(path.strip()).unlink()
    assert not (study.folder / "none.gpkg").exists() and not leftovers(study.folder)


def test_a_log_tells_what_ran(study, tmp_path, capsys):
    log = tmp_path / "run.log"
    code, _ = in_process(study, capsys, "--log", log)
    text = log.read_text(encoding="utf-8")
    assert code == 0 and "status: 0" in text and "numpy" in text and "study.toml" in text
    code, _ = in_process(study, capsys, "--log", log, "-o", tmp_path / "nowhere" / "f.gpkg")
    assert code == 2 and "status: 2" in log.read_text(encoding="utf-8")
    log.write_text("mine")
    assert in_process(study, capsys, "--log", log)[0] == 2 and log.read_text() == "mine"
    assert in_process(study, capsys, "--log", study.path)[0] == 2


def test_what_dead_runs_left_goes_and_nothing_else(tmp_path):
    """Of a process that is no more, and of an earlier process of this one's number; not of one that lives, not of
    another machine, not of any other name."""
    mine = temporary_folder(tmp_path)
    host, number, token = mine.name.removeprefix(".corridor-").split("-")[:3]
    done = subprocess.Popen(["true"])
    dead = done.pid
    done.wait()
    gone = [f".corridor-{host}-{dead}-{token}-1-a.gpkg", f".corridor-{host}-{number}-abc-1-b.gpkg-journal"]
    kept = [f".corridor-{host}-{os.getppid()}-abc-1-a", f".corridor-ffffffff-{dead}-abc-1-a", ".corridor-notes", "a"]
    for name in [*gone, *kept]:
        (tmp_path / name).write_text("x")
    (tmp_path / f".corridor-{host}-{dead}-{token}-2").mkdir()
    sweep(tmp_path)
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted([*kept, mine.name])
