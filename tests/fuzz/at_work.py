"""What a copy of a process does with a mutation: it changes one file of a study, and reads that as a command would."""

import os
import resource
import shutil
import signal
import traceback
import warnings
from pathlib import Path

from corridor.errors import InputError
from corridor.inputs.point_files import describe_tile, read_tile
from corridor.inputs.series import read_series
from corridor.jobs.read_back import own_findings
from corridor.session import open_study
from tests.fuzz import mutations

#: How long one may take [s], and how much memory it may take besides what the process has [bytes].
SECONDS, BYTES = 60, 3_000_000_000
#: One in so many studies is checked to the end, the others are read and laid out.
WHOLE = 6
FILES = ("study.toml", "framings.csv", "rules.csv", "line.gpkg", "roads.gpkg", "ground.tif", "surveyed.laz",
         "findings.gpkg", "measured.csv", "series.csv")


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


def one_by_one(seeds, folder, writing):
    """Run some here, and tell how each went."""
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
        os.write(writing.fileno(), f"{seed}\0{words}\0{refused or ''}\0\1".encode())
    return 0
