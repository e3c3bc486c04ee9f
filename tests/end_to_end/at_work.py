"""What a copy of a process does for tests of trouble: a command in a folder, watched step by step of its writing."""

import json
import os
import shutil
import sys
import tempfile
import threading
import time

from tests.common import run

COMMANDS = {"inspect": ["inspect", "S", "-o", "doubts.gpkg"], "check": ["check", "S"],
            "folder": ["check", "S", "-o", "findings.parquet"],
            "report": ["report", "S"], "draw": ["draw", "S"], "dxf": ["draw", "S", "--kind", "dxf"],
            "export": ["export", "S"], "kml": ["export", "S", "--kind", "kml"], "tables": ["tables", "S", "-f", "out"],
            "ground-limit": ["ground-limit", "S"], "compare": ["compare", "S", "--csv", "o.csv", "--markdown", "o.md"],
            "limits": ["limits", "S", "-f", "out"], "rating": ["rating", "S", "-f", "out"],
            "diff": ["diff", "earlier.gpkg", "F", "-o", "c.gpkg"],
            "plan": ["plan", "S", "--option", "today", "-f", "out"],
            "design": ["design", "S", "-f", "out", "--add", "more.toml"], "sag": ["sag", "S", "-f", "out"],
            "curves": ["curves", "S", "-f", "out"], "survey": ["survey", "V", "-f", "out"],
            "stringing": ["stringing", "S", "-o", "today", "-f", "out"]}


#: What Python tells of (PEP 578) before something happens to a file.
STEPS = {"open", "os.rename", "os.remove", "os.mkdir", "os.rmdir", "os.chmod", "shutil.rmtree", "shutil.copyfile",
         "sqlite3.connect"}


def in_folder(folder, command):
    """The status of a command that is run in a folder, with the one beside it for temporary files of the system."""
    system = folder.with_name("system")
    system.mkdir(exist_ok=True)
    before = os.getcwd(), tempfile.tempdir
    os.chdir(folder)
    tempfile.tempdir = str(system)
    try:
        files = {"S": "study.toml", "V": "seen.toml", "F": "findings.gpkg"}
        return run(*(files.get(word, word) for word in COMMANDS[command]))
    finally:
        os.chdir(before[0])
        tempfile.tempdir = before[1]


def told_of(work, step, tell):
    """Do something, and tell of a step of its writing."""
    if step:
        look_at_steps(lambda number: number == step and os.write(tell.fileno(), b"."))
    else:
        os.write(tell.fileno(), b".")
    return work()


def look_at_steps(look):
    """Have something done with the number of every step of writing in this process, before it is taken."""
    count = []

    def hook(event, facts):
        if event in STEPS - {"os.remove"} and any(".corridor-" in str(fact) for fact in facts):
            count.append(event)
            look(len(count))

    sys.addaudithook(hook)


def timed(folder, command, report):
    """Run a command and write how long its start and each step took until the next one, the last until the end [s]."""
    times = [time.monotonic()]
    look_at_steps(lambda _: times.append(time.monotonic()))
    status = in_folder(folder, command)
    times.append(time.monotonic())
    report.write_text(json.dumps([b - a for a, b in zip(times, times[1:], strict=False)]))
    return status


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
