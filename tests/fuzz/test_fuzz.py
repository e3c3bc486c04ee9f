"""Mutations of every kind of file that is read: each ends with findings or with one clear error of the input, never
with a fault of the software, a hang, or all of the memory.

A few hundred in the ordinary tests; `MUTATIONS=5000` in the environment asks for more. They run in copies of this
process, some at a time, with limits of time and memory that the kernel keeps. A failure names its seed:
`python -m tests.fuzz.test_fuzz SEED` runs that one in the open.
"""

import os
import resource
import shutil
import signal
import sys
import tempfile
import traceback
import warnings
from pathlib import Path

import pytest

from corridor.errors import InputError
from corridor.inputs.point_files import describe_tile, read_tile
from corridor.inputs.series import read_series
from corridor.jobs.read_back import own_findings
from corridor.session import open_study
from tests.end_to_end.conftest import SECOND_OPTION, TinyStudy
from tests.end_to_end.test_guard import RATING
from tests.fuzz import mutations
from tests.short_demo import DEMO

COUNT = int(os.environ.get("MUTATIONS", "240"))
#: In one process, and how long it may work [s], and how much memory it may take besides what it has [bytes].
BATCH, SECONDS, BYTES = 20, 60, 3_000_000_000
#: One in so many studies is checked to the end, the others are read and laid out.
WHOLE = 6
FILES = ("study.toml", "framings.csv", "rules.csv", "line.gpkg", "roads.gpkg", "ground.tif", "surveyed.laz",
         "findings.gpkg", "measured.csv", "series.csv")

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


def name_of(seed):
    """The file that a seed changes: of measured tensions and shots every other seed the one or the other."""
    name = FILES[seed % len(FILES)]
    return "shots.csv" if name == "measured.csv" and seed // len(FILES) % 2 == 0 else name


def mutate(seed, folder):
    """Change one file of a study, and return its name."""
    name = name_of(seed)
    rng, path = mutations.seeded(seed), folder / name
    if name.endswith(".toml"):
        path.write_bytes(mutations.toml(rng, path.read_text()))
    elif name.endswith(".csv"):
        path.write_bytes(mutations.table(rng, path.read_bytes()))
    elif name.endswith(".gpkg"):
        mutations.layer(rng, path)
    elif name.endswith(".tif"):
        mutations.raster(rng, path)
    else:
        path.write_bytes(mutations.points(rng, path.read_bytes()))
    return name


def work(seed, folder):
    """Read a study with one mutation; InputError is an answer, and is told."""
    original = {path.name: path.read_bytes() for path in folder.iterdir()}
    try:
        name = mutate(seed, folder)
        read(seed, name, folder)
    except InputError:
        return "refused"
    finally:
        for path in folder.iterdir():
            if path.name not in original:
                shutil.rmtree(path) if path.is_dir() else path.unlink()
        for name, content in original.items():
            (folder / name).write_bytes(content)


def read(seed, name, folder):
    """Read the file that was changed, as a command would."""
    if name == "surveyed.laz":
        tile = describe_tile(folder / name)
        assert sum(len(x) for x, *_ in read_tile(tile)) <= tile.points
        return
    with open_study(folder / ("seen.toml" if name == "shots.csv" else "study.toml")) as study:
        if name == "findings.gpkg":
            own_findings(study)
        elif name == "series.csv":
            read_series(study.study.series, study.study.resolve)
        elif seed // len(FILES) % WHOLE:
            study.laid_out  # noqa: B018, what it reads
        else:
            found = study.check()
            rows = found.frames["clearances"]
            assert not len(rows) or (rows["margin_m"] - (rows["actual_m"] - rows["required_m"])).abs().max() < 1e-3
            assert found.status in (0, 1, 3) and (found.status or len(rows))


def in_batch(seeds, folder):
    """Run some in a copy of this process; what went wrong, by seed, those that were not run, how many were refused."""
    reading, writing = os.pipe()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        process = os.fork()
    if not process:
        try:
            nowhere = os.open(os.devnull, os.O_RDWR)
            os.dup2(nowhere, 1)
            os.dup2(nowhere, 2)
            used = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize() \
                if Path("/proc/self/statm").exists() else 0
            resource.setrlimit(resource.RLIMIT_AS, (used + BYTES,) * 2)
            warnings.simplefilter("ignore")
            for seed in seeds:
                signal.alarm(SECONDS)
                words, refused = "", None
                try:
                    refused = work(seed, folder)
                except BaseException:  # whatever it is, it is told
                    words = traceback.format_exc(limit=-3)
                os.write(writing, f"{seed}\0{words}\0{refused or ''}\0\1".encode())
        finally:
            os._exit(0)
    os.close(writing)
    with open(reading, "rb") as stream:
        told = {int(seed): rest for seed, *rest in (each.decode("utf-8", "replace").split("\0")
                                                    for each in stream.read().split(b"\1") if each)}
    end = os.waitstatus_to_exitcode(os.waitpid(process, 0)[1])
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
