"""Checks on processes of this machine: the findings of a check in one, whatever happens to any of them.

There is no outside source: the check in one process is what they are compared with, by digests over all rows of all
layers.
"""

import json
import os
import signal
import subprocess
import sys
import time
import tomllib

import pandas as pd
import pytest

import corridor.check
from corridor.check import check
from corridor.cluster import Processes, processes_for
from corridor.cluster import processes as module
from corridor.errors import InputError, MachineError
from corridor.session import open_study
from tests.common import run
from tests.end_to_end.many_batches import BATCH, lay


@pytest.fixture
def study(tmp_path, monkeypatch):
    monkeypatch.setattr(corridor.check, "BATCH", BATCH)
    return lay(tmp_path)


@pytest.fixture
def numbers(monkeypatch):
    """Numbers of the other processes, as they begin."""
    found, at_work = [], module._AtWork.__init__

    def noted(self, own, others, *arguments):
        found.extend(each.begun for each in others)
        at_work(self, own, others, *arguments)

    monkeypatch.setattr(module._AtWork, "__init__", noted)
    return lambda: [each.result(60) for each in found]


def found_of(study, workers=None, **options):
    with open_study(study.path) as opened:
        result = check(opened, study.output, workers=workers, **options)
        return json.loads(result.frames["run"]["layer_digests"].iloc[0]), result


def lives(number):
    """Whether a process is there and not dead."""
    try:
        with open(f"/proc/{number}/stat", encoding="ascii") as file:
            return file.read().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False


def wait_for(what, seconds=60):
    until = time.monotonic() + seconds
    while not what() and time.monotonic() < until:
        time.sleep(0.05)
    return what()


@pytest.mark.parametrize("count", [2, 3])
@pytest.mark.parametrize("known", [False, True])
def test_findings_are_those_of_one_process(study, count, known):
    """Whoever does which batch, and whether the bases are given or the ground is asked for them with the batches."""
    if known:
        study.structures["base_elevation"] = 200.0
        study.write()
    here, one = found_of(study)
    told = []
    there, several = found_of(study, Processes(count), progress=lambda done, total: told.append((done, total)))
    assert here == there
    assert (one.status, one.warnings, one.causes) == (several.status, several.warnings, several.causes)
    assert any("are no heights" in text for text in several.warnings)  # which another process has met, too
    assert told[-1][0] == told[-1][1] > 0


def test_a_mix_in_several_processes_is_that_of_one(study):
    """Each batch has its runs of sections in which the mix is one option."""
    study.text += '[[mixes]]\nname = "mix"\noption = "today"\n[[mixes.in_sections]]\noption = "alloy"\n' \
                  'line = "main"\nsections = ["3-6"]\n'
    study.write()
    (here, one), (there, _) = found_of(study), found_of(study, Processes(2))
    assert here == there and (one.frames["clearances"]["option"] == "mix").any()


def test_findings_in_memory_and_of_tables(study):
    """A study that is no file: the others get its tables; and what is kept in memory."""
    with open_study(study.path) as opened:
        here, there = check(opened), check(opened, workers=Processes(2))
    with open_study(tomllib.loads(study.path.read_text()), study.folder) as opened:
        other = check(opened, workers=Processes(2))
    for name in ("clearances", "options", "not_assessed", "uncertainty", "doubts"):
        for found in (there, other):
            pd.testing.assert_frame_equal(pd.DataFrame(here.frames[name]), pd.DataFrame(found.frames[name]))


def test_files_that_have_changed_are_refused(study):
    """What the others read is what this process has read, however long ago: here wires hung 3 m lower then."""
    higher = study.framings.replace(",19,suspension", ",22,suspension")
    assert higher != study.framings
    with open_study(study.path) as opened:
        assert 19 in opened.inputs.framings.height
        (study.folder / "framings.csv").write_text(higher)
        with pytest.raises(InputError, match="changed since"):
            check(opened, study.output, workers=Processes(2))
    assert not study.output.exists()


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="processes end in another way there")
def test_another_that_is_killed_ends_the_check(study, numbers):
    """Nothing is written, and nothing of a batch is left out."""
    def kill(done, total):
        if numbers():
            os.kill(numbers()[0], signal.SIGKILL)

    with pytest.raises(MachineError, match="ended from outside"):
        found_of(study, Processes(2), progress=kill)
    assert not study.output.exists()


CLIENT = """
import sys
import corridor.check
from corridor.cluster import Processes
from corridor.cluster import processes as module
from corridor.session import open_study
corridor.check.BATCH = 2

def begun(self, own, others, *arguments):
    at_work(self, own, others, *arguments)
    print(*(each.begun.result() for each in others), flush=True)
    if sys.argv[1] == "wait":
        import time
        time.sleep(60)

if __name__ == "__main__":
    at_work, module._AtWork.__init__ = module._AtWork.__init__, begun
    with open_study("study.toml") as study:
        study.check("findings.gpkg", workers=Processes(2))
"""


@pytest.mark.skipif(not os.path.isdir("/proc"), reason="which processes live is asked there")
@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGINT])
def test_the_others_end_with_the_check(study, how):
    """Killed or interrupted, nothing is left at work, and nothing is written."""
    script = study.folder / "client.py"
    script.write_text(CLIENT)
    with subprocess.Popen([sys.executable, script, "wait"], cwd=study.folder, stdout=subprocess.PIPE,
                          stderr=subprocess.PIPE, text=True, start_new_session=True) as process:
        others = [int(each) for each in process.stdout.readline().split()]
        assert others and all(map(lives, others))
        os.kill(process.pid, how)
        assert wait_for(lambda: not any(map(lives, others)))
        process.wait(60)
    assert not study.output.exists()


def test_a_study_is_given_as_many_as_it_is_worth(study, monkeypatch):
    """None for what one process has done before another has started; none that would read clouds of points again."""
    with open_study(study.path) as opened:
        monkeypatch.setattr(module, "BATCH", BATCH)
        assert processes_for(opened, 4) == 4
        assert processes_for(opened, 1) == 1
        monkeypatch.setattr(module, "BATCH", 10**6)
        assert processes_for(opened, 4) == 1


def test_the_command_does_without_on_request(study, monkeypatch):
    monkeypatch.setattr(module, "BATCH", BATCH)
    monkeypatch.setattr("corridor.commands.check.os.sched_getaffinity", lambda number: {0, 1}, raising=False)
    given, begin = [], Processes.__init__
    monkeypatch.setattr(Processes, "__init__", lambda self, *arguments: (given.append(arguments[0]),
                                                                        begin(self, *arguments))[1])
    assert run("check", study.path) == run("check", study.path, "--workers", "none") == 1
    assert given == [2]
