"""Mutations of every kind of file that is read: each ends with findings or with one clear error of the input, never
with a fault of the software, a hang, or all of the memory.

A few hundred in the ordinary tests; `MUTATIONS=5000` in the environment asks for more. They run in copies of a
process, some at a time, with limits of time and memory that the kernel keeps. A failure names its seed:
`python -m tests.fuzz.test_fuzz SEED` runs that one in the open.
"""

import os
import shutil
import sys
import tempfile
from pathlib import Path

import pytest

from corridor.session import open_study
from tests.copies import begin, ended, pipe
from tests.end_to_end.conftest import SECOND_OPTION, TinyStudy
from tests.end_to_end.test_guard import RATING
from tests.fuzz.at_work import mutate, name_of, one_by_one
from tests.short_demo import DEMO

COUNT = int(os.environ.get("MUTATIONS", "240"))
#: In one process.
BATCH = 20

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")


def base(folder):
    """A study, its findings, and a tile."""
    study = TinyStudy(folder)
    study.text += SECOND_OPTION + RATING
    study.rules = study.rules.replace("5.5", "12")
    study.change("existing = true", 'existing = true\nmeasured = "measured.csv"')
    (folder / "measured.csv").write_text("section,temperature,horizontal_tension\n1-3,12,21000\n3-4,12,20500\n")
    study.text += '[series]\nfile = "series.csv"\nstep = "1 h"\n'
    (folder / "series.csv").write_text("current,ambient,wind_speed\n" + "".join(
        f"{300 + 10 * i},{i % 30},{0.5 + i % 3}\n" for i in range(40)))
    study.add_roads()
    plain = study.text
    study.add_shots()
    (folder / "seen.toml").write_text(study.text)
    study.text = plain
    study.check()
    shutil.copy(DEMO / "surveyed.laz", folder)
    return folder


def in_batch(seeds, folder):
    """Run some in a copy of a process; what went wrong, by seed, those that were not run, how many were refused."""
    reading, writing = pipe()
    process = begin(one_by_one, seeds, folder, writing)
    writing.close()
    with reading, open(reading.fileno(), "rb", closefd=False) as stream:
        told = {int(seed): rest for seed, *rest in (each.decode("utf-8", "replace").split("\0")
                                                    for each in stream.read().split(b"\1") if each)}
    end = ended(process)
    failures = {seed: words for seed, (words, *_) in told.items() if words}
    left = [seed for seed in seeds if seed not in told]
    if left:
        failures[left[0]] = f"the process ended with {end} (negative: by that signal; 14 is too long)"
    return failures, left[1:], sum(refused == "refused" for _, refused, _ in told.values())


def run_all(seeds, folder):
    """What went wrong, by seed, and how many were refused."""
    failures, refused = {}, 0
    while seeds:
        some, seeds = seeds[:BATCH], seeds[BATCH:]
        while some:
            copied = Path(shutil.copytree(folder, tempfile.mkdtemp() + "/study"))
            found, some, more = in_batch(some, copied)
            shutil.rmtree(copied.parent)
            failures, refused = failures | found, refused + more
    return failures, refused


@pytest.mark.parametrize("part", range(4))
def test_mutations(tmp_path, part):
    seeds = list(range(part, COUNT, 4))
    failures, refused = run_all(seeds, base(tmp_path / "study"))
    assert failures == {}, "\n\n".join(f"{seed} ({name_of(seed)}): {words}"
                                      for seed, words in failures.items())
    assert len(seeds) / 4 < refused < len(seeds)  # else the mutations would change nothing, or all


#: What once failed: a text in the place of a geometry, heads that are no text, a cell of 200 000 characters, a rule of
#: 1e308 m, one head twice; names of files of 5000 letters, findings with bytes that are no text, digests that are a
#: number; an offset of 1e308 m. Some were found in findings of fewer layers.
ONCE = (6017, 6159, 6387, 6418, 6542, 6587, 7049, 1110, 1600, 3620, 4997, 4801)


def test_what_once_failed_is_refused(tmp_path):
    assert run_all(list(ONCE), base(tmp_path / "study")) == ({}, len(ONCE))


if __name__ == "__main__":
    for text in sys.argv[1:]:
        with tempfile.TemporaryDirectory() as made:
            print(mutate(int(text), base(Path(made) / "study")), (Path(made) / "study"))
            with open_study(Path(made) / "study" / "study.toml") as opened:
                print(opened.check().status)
