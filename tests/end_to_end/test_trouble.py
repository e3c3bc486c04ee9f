"""Runs that are killed, disks that are full, streams that are closed: what stood there stands, or what is new is whole.

A killed run is one that the kernel ends at a random moment, by an alarm that nothing handles: it is a copy of this
process (fork), so that a trial costs only what the command does. A full disk is a limit on the size of files
(RLIMIT_FSIZE), at which writing fails as it does where there is no room. In the ordinary tests there are a few trials
of each; `TRIALS=100` in the environment asks for so many.
"""

import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import threading
import warnings
from functools import partial
from pathlib import Path

import pytest

import corridor.check
from corridor.outputs.guard import kind_of
from corridor.temporary import sweep, temporary_folder
from tests.common import run
from tests.end_to_end.conftest import SECOND_OPTION, TinyStudy, leftovers
from tests.end_to_end.test_guard import RATING

TRIALS = int(os.environ.get("TRIALS", "2"))
ROOT = Path(corridor.check.__file__).parent.parent
pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")

COMMANDS = {"check": ["check", "S"], "report": ["report", "S"], "draw": ["draw", "S"],
            "dxf": ["draw", "S", "--kind", "dxf"], "export": ["export", "S"], "tables": ["tables", "S", "-f", "out"],
            "headroom": ["headroom", "S"], "compare": ["compare", "S", "--csv", "o.csv", "--markdown", "o.md"],
            "limits": ["limits", "S", "-f", "out"], "rating": ["rating", "S", "-f", "out"],
            "diff": ["diff", "F", "F", "-o", "c.gpkg"], "plan": ["plan", "S", "--option", "today", "-f", "out"],
            "design": ["design", "S", "-f", "out", "--add", "more.toml"], "sag": ["sag", "S", "-f", "out"],
            "curves": ["curves", "S", "-f", "out"]}


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """By command, a study, the files that the command wrote once, and its status."""
    study = TinyStudy(tmp_path_factory.mktemp("trouble") / "study")
    study.text += SECOND_OPTION + RATING + "[design]\ncandidates = 300\nfinalists = 1\n"
    study.rules = study.rules.replace("5.5", "12")
    study.add_roads()
    study.check()
    made = {}

    def ask(command):
        if command not in made:
            folder = shutil.copytree(study.folder, study.folder.with_name(command))
            made[command] = folder, in_folder(folder, command)
        return made[command]

    return ask


def ended(folder, command, seconds):
    """Run a command that the kernel ends after some time."""
    signal.signal(signal.SIGALRM, signal.SIG_DFL)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    return in_folder(folder, command)


def in_folder(folder, command):
    """The status of a command that is run in a folder."""
    before = os.getcwd()
    os.chdir(folder)
    try:
        return run(*({"S": "study.toml", "F": "findings.gpkg"}.get(word, word) for word in COMMANDS[command]))
    finally:
        os.chdir(before)


def contents(folder):
    return {path.relative_to(folder): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def child(work):
    """Do something in a copy of this process, and return how that ended, as `waitstatus_to_exitcode` has it."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # of forking with threads about
        process = os.fork()
    if process:
        return os.waitstatus_to_exitcode(os.waitpid(process, 0)[1])
    nowhere = os.open(os.devnull, os.O_RDWR)
    for stream in (1, 2):
        os.dup2(nowhere, stream)
    try:
        os._exit(work())
    finally:
        os._exit(99)


@pytest.mark.parametrize("command", COMMANDS)
def test_a_killed_run_damages_nothing(written, tmp_path, command):
    """Over the files of an earlier run: each is as it was or whole and new; the next run takes away what is left."""
    whole, status = written(command)
    folder = shutil.copytree(whole, tmp_path / "study")
    before = contents(folder)
    moments, killed = random.Random(command), 0
    seconds = 1.0
    for _ in range(TRIALS):
        end = child(partial(ended, folder, command, moments.uniform(0.02, seconds)))
        assert end in (status, -signal.SIGALRM)
        killed += end < 0
        seconds *= 2 if end < 0 else 0.7  # so that some runs end, and some do not, on any machine
        after = contents(folder)
        for name, content in before.items():
            assert after.get(name) == content or kind_of(folder / name), name
            assert (folder / name).stat().st_size > 0
    assert in_folder(folder, command) == status
    assert not leftovers(folder.parent)
    assert set(contents(folder)) == set(before)
    assert killed or TRIALS < 5


#: What Python tells of (PEP 578) before something happens to a file.
STEPS = {"open", "os.rename", "os.remove", "os.mkdir", "os.rmdir", "os.chmod", "shutil.rmtree", "shutil.copyfile",
         "sqlite3.connect"}


def in_steps(folder, command, states):
    """Run a command, and copy its folder wherever something in it has changed since the step before."""
    seen, at_work = [listed(folder)], threading.Lock()

    def look(event, _):
        if event in STEPS and at_work.acquire(blocking=False):
            try:
                now = listed(folder)
                if now != seen[-1]:
                    seen.append(now)
                    shutil.copytree(folder, states / f"{len(seen):03d}")
            finally:
                at_work.release()

    sys.addaudithook(look)
    return in_folder(folder, command)


def listed(folder):
    return {(path, facts.st_ino, facts.st_size, facts.st_mtime_ns) for path in folder.rglob("*")
            if (facts := path.lstat())}


@pytest.mark.parametrize("command", COMMANDS)
def test_a_run_killed_at_any_step_of_its_writing_damages_nothing(written, tmp_path, command):
    """What a kill would leave behind, step by step of one run: each file is the old or the new one, byte by byte."""
    whole, status = written(command)
    folder, states = shutil.copytree(whole, tmp_path / "study"), tmp_path / "states"
    before = contents(folder)
    assert child(partial(in_steps, folder, command, states)) == status
    last, left = contents(folder), 0
    for state in sorted(states.iterdir()):
        left += len(leftovers(state))
        for place in [state, *(path for path in state.rglob("*") if path.is_dir())]:
            sweep(place)
        after = contents(state)
        assert all(content in (before.get(name), last.get(name)) for name, content in after.items()), state
        assert set(before) & set(last) <= set(after) and not leftovers(state), state
    assert left and set(last) == set(before)


@pytest.mark.parametrize("command", COMMANDS)
def test_a_full_disk_leaves_what_stood_there(written, tmp_path, command, capfd):
    """At twenty sizes when asked for: whole files, or status 70, one line, and the old files byte by byte."""
    whole, status = written(command)
    folder = shutil.copytree(whole, tmp_path / "study")
    before = contents(folder)
    largest = max(len(content) for content in before.values())
    sizes, trials = random.Random(command), min(TRIALS, 20)
    for trial in range(trials):
        limit = int(1 + largest * 1.1 * (trial + sizes.random() * 0.5) / trials) if trial else 1
        soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, hard))
        try:
            end = child_heard(lambda: in_folder(folder, command), tmp_path)
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        said = (tmp_path / "said").read_text(errors="replace")
        assert end in (status, 70), said
        if end == 70:
            ours = [line for line in said.splitlines() if line.startswith("corridor:")]
            assert len(ours) == 1 and "Traceback" not in said and "software failed" not in said, said
            assert contents(folder) == before
        assert not leftovers(folder.parent)
    assert in_folder(folder, command) == status


def child_heard(work, folder):
    """As `child`, with what it says to the person in a file; that may be as long as it likes, as a terminal."""
    reading, writing = os.pipe()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        process = os.fork()
    if not process:
        os.dup2(os.open(os.devnull, os.O_RDWR), 1)
        os.dup2(writing, 2)
        sys.stderr = open(2, "w", closefd=False)  # noqa: SIM115, ends with the process
        try:
            code = work()
            sys.stderr.flush()
            os._exit(code)
        finally:
            os._exit(99)
    os.close(writing)
    with open(reading, "rb") as stream:
        said = stream.read()
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (hard, hard))
    (folder / "said").write_bytes(said)
    resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    return os.waitstatus_to_exitcode(os.waitpid(process, 0)[1])


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
