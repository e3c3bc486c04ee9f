"""Checks on worker processes: the findings of a check in one process, whatever happens to workers and to the client.

There is no outside source: the serial check is what they are compared with, by digests over all rows of all layers.
"""

import os
import shutil
import signal
import subprocess
import sys
import time
import tomllib
import warnings
from functools import partial
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import shapely

import corridor.check
from corridor.check import check
from corridor.clearance.spread import Chances
from corridor.errors import CorridorError, InputError, MachineError
from corridor.opened import Opened
from corridor.outputs.geoparquet import folder_digests
from corridor.session import open_study
from tests.common import run
from tests.end_to_end.many_batches import BATCH, lay

distributed = pytest.importorskip("distributed")

from corridor.cluster import ClusterWorkers  # noqa: E402
from corridor.cluster import workers as module  # noqa: E402
from corridor.cluster.parts import read_part, write_part  # noqa: E402

MINE = b"what only I know"


@pytest.fixture(scope="module")
def cluster():
    """Two worker processes behind a scheduler, as somebody else may have started them."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with distributed.LocalCluster(n_workers=2, threads_per_worker=1, processes=True, host="127.0.0.1",
                                      dashboard_address=None, silence_logs=50) as found:
            yield found


@pytest.fixture
def small_batches(monkeypatch):
    monkeypatch.setattr(corridor.check, "BATCH", BATCH)


@pytest.fixture(scope="module")
def serial(tmp_path_factory):
    """A study and the digests of its serial findings."""
    study = lay(tmp_path_factory.mktemp("serial"))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(corridor.check, "BATCH", BATCH)  # sums over a line depend on it in their last digit
        assert run("check", study.path, "-o", study.folder / "serial.parquet") == 1
    return study, folder_digests(study.folder / "serial.parquet")


@pytest.fixture
def copied(serial, tmp_path):
    """A copy of that study without findings, and the digests."""
    folder = shutil.copytree(serial[0].folder, tmp_path / "study", ignore=shutil.ignore_patterns("*.parquet"))
    return folder / "study.toml", serial[1]


def checked(study, workers, **options):
    """The digests of findings that workers made."""
    output = study.with_name("findings.parquet")
    with open_study(study) as opened:
        found = check(opened, output, workers=workers, **options)
    assert found.status == 1 and len(found.frames["violations"]) == found.violations
    assert any("are no heights" in text for text in found.warnings)
    assert not output.with_name("findings.parquet.parts").exists()
    return folder_digests(output)


@pytest.fixture
def asked(monkeypatch):
    """The spans that workers are asked to assess, one list for all runs."""
    ranges, task = [], module._AtWork._task

    def noted(self, work, *ends):
        if work is module.assess_part:
            ranges.append(ends)
        return task(self, work, *ends)

    monkeypatch.setattr(module._AtWork, "_task", noted)
    return ranges


def test_two_processes_make_the_findings_of_one(copied, cluster, small_batches, asked):
    study, digests = copied
    assert checked(study, ClusterWorkers(cluster.scheduler_address)) == digests
    assert len(asked) > 4  # nothing would be shown by one batch


def test_findings_in_memory_and_of_tables(copied, cluster):
    """A study that is no file: workers get its tables; and what is kept in memory."""
    study, _ = copied
    with open_study(study) as opened:
        here, there = check(opened), check(opened, workers=ClusterWorkers(cluster.scheduler_address))
    tables = tomllib.loads(study.read_text())
    with open_study(tables, study.parent) as opened:
        other = check(opened, workers=ClusterWorkers(cluster.scheduler_address))
    for name in ("clearances", "options", "not_assessed", "uncertainty", "doubts"):
        for found in (there, other):
            pd.testing.assert_frame_equal(pd.DataFrame(here.frames[name]), pd.DataFrame(found.frames[name]))
    assert here.causes == there.causes and here.warnings == there.warnings


def test_a_worker_that_is_killed_is_survived(copied, cluster, small_batches):
    """One that is at work: its batch is done again by another, and the findings are the same."""
    study, digests = copied
    killed = []

    def kill(done, total):
        busy = [name for name, task in client.processing().items() if task]
        if done and busy and not killed:
            killed.append(processes[busy[0]])
            os.kill(killed[0], signal.SIGKILL)

    with distributed.Client(cluster) as client:
        processes = client.run(os.getpid)
        assert checked(study, ClusterWorkers(cluster.scheduler_address), progress=kill) == digests
        client.wait_for_workers(2, timeout=60)
        assert killed and killed[0] not in client.run(os.getpid).values()


CLIENT = """
import sys
import corridor.check
from corridor.cluster import ClusterWorkers
from corridor.session import open_study
corridor.check.BATCH = int(sys.argv[2])
with open_study(sys.argv[1]) as study:
    study.check("findings.parquet", workers=ClusterWorkers("local", processes=2, secret=sys.argv[3].encode()))
"""


@pytest.fixture(scope="module")
def interrupted(serial, tmp_path_factory):
    """A copy of the study whose check was killed when some parts were finished and others not."""
    folder = shutil.copytree(serial[0].folder, tmp_path_factory.mktemp("interrupted") / "study",
                             ignore=shutil.ignore_patterns("*.parquet"))
    process = subprocess.Popen([sys.executable, "-c", CLIENT, "study.toml", str(BATCH), MINE.decode()], cwd=folder,
                               stderr=subprocess.DEVNULL, start_new_session=True)
    until = time.monotonic() + 120
    while len([*folder.rglob("*.part")]) < 2 and process.poll() is None and time.monotonic() < until:
        time.sleep(0.01)
    process.kill()
    process.wait()
    assert not (folder / "findings.parquet").exists() and len([*folder.rglob("*.part")]) >= 2
    workers_end(folder)
    return folder


def workers_end(folder):
    """Local workers end with the client that started them: then no more parts come."""
    until, count = time.monotonic() + 30, -1
    while (now := len([*folder.rglob("*")])) != count and time.monotonic() < until:
        count = now
        time.sleep(2.0)


@pytest.fixture
def half_done(interrupted, serial, tmp_path):
    """A copy of the study that was interrupted, the spans of its finished parts, and the digests of all."""
    folder = shutil.copytree(interrupted, tmp_path / "study")
    parts = [tuple(map(int, path.stem.split("-"))) for path in folder.rglob("*.part") if path.name[0] != "."]
    return folder / "study.toml", parts, serial[1]


def test_a_client_that_was_killed_goes_on(half_done, cluster, small_batches, asked):
    """What was finished is not done again."""
    study, finished, digests = half_done
    assert checked(study, ClusterWorkers(cluster.scheduler_address, secret=MINE)) == digests
    assert asked and not set(asked) & set(finished)
    before = len(asked)
    assert checked(study, ClusterWorkers(cluster.scheduler_address, secret=MINE)) == digests
    assert set(finished) <= set(asked[before:])  # parts went with the findings that they became


def test_a_changed_input_starts_anew(half_done, cluster, small_batches, asked):
    """Stricter rules: none of the finished parts may count."""
    study, finished, digests = half_done
    rules = study.with_name("rules.csv")
    rules.write_text(rules.read_text().replace("7,0.01", "8,0.01"))
    found = checked(study, ClusterWorkers(cluster.scheduler_address, secret=MINE))
    assert set(finished) <= set(asked) and found["clearances"] != digests["clearances"]
    assert run("check", study, "-o", study.with_name("again.parquet")) == 1
    assert folder_digests(study.with_name("again.parquet")) == found


def test_parts_of_somebody_else_never_count(half_done, cluster, small_batches, asked):
    """A folder of a study may come with parts in it that clear everything: they have no name that counts."""
    study, finished, digests = half_done
    assert checked(study, ClusterWorkers(cluster.scheduler_address, secret=b"another")) == digests
    assert set(finished) <= set(asked)
    asked.clear()
    (study.parent / "findings.parquet.parts").symlink_to(study.parent)
    with pytest.raises(InputError, match="something that is no folder"):
        checked(study, ClusterWorkers(cluster.scheduler_address, secret=MINE))


def test_a_damaged_part_is_done_again(half_done, cluster, small_batches, asked):
    study, finished, digests = half_done
    path = next(path for path in study.parent.rglob(f"{finished[0][0]:09d}-*.part"))
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 0xFF
    path.write_bytes(content)
    assert checked(study, ClusterWorkers(cluster.scheduler_address, secret=MINE)) == digests
    assert finished[0] in asked and not set(asked) & set(finished[1:])


def test_a_scheduler_without_workers_is_not_waited_for(copied, monkeypatch):
    """It may have lost them all, or never had any: the run ends with a word of that."""
    study, _ = copied
    monkeypatch.setattr(module, "_ANSWER", 1)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with distributed.LocalCluster(n_workers=0, processes=True, host="127.0.0.1", dashboard_address=None,
                                      silence_logs=50) as empty, open_study(study) as opened:
            with pytest.raises(MachineError, match="no worker for 1 s"):
                check(opened, study.with_name("findings.parquet"), workers=ClusterWorkers(empty.scheduler_address))
    assert not study.with_name("findings.parquet").exists()


def test_workers_that_see_another_file_refuse(copied, cluster, monkeypatch):
    """A worker on another machine may have another file by the same path."""
    study, _ = copied
    stamps = Opened.stamps.fget

    def other(self):
        return {path: [1, 2] if path.endswith("ground.tif") else stamp for path, stamp in stamps(self).items()}

    monkeypatch.setattr(Opened, "stamps", property(other))
    with pytest.raises(InputError, match="ground.tif: found another file where a worker reads it"):
        checked(study, ClusterWorkers(cluster.scheduler_address))
    assert not study.with_name("findings.parquet").exists()


def test_workers_of_another_code_refuse(copied, cluster, monkeypatch):
    """The same version may be other code: what another makes is no part of these findings."""
    monkeypatch.setattr(module, "Job", partial(module.Job, code="0" * 64))
    with pytest.raises(CorridorError, match="another corridor"):
        checked(copied[0], ClusterWorkers(cluster.scheduler_address))


def test_the_command_with_local_workers(copied, small_batches, capsys):
    """It tells where the work can be watched, on standard error, and has the same findings as without."""
    study, digests = copied
    output = study.with_name("findings.parquet")
    assert run("check", study, "-o", output, "--workers", "local") == 1
    told = capsys.readouterr()
    assert "Dashboard: http://127.0.0.1:" in told.err and "Dashboard" not in told.out
    assert folder_digests(output) == digests
    assert [path.name for path in output.parent.glob("findings.parquet*")] == ["findings.parquet"]


def test_an_address_where_nothing_answers(copied, monkeypatch, capsys):
    monkeypatch.setattr(module, "_ANSWER", 1)
    for address in ("tcp://127.0.0.1:1", "nonsense"):
        assert run("check", copied[0], "--workers", address) == 2
        assert "a scheduler that answers" in capsys.readouterr().err
    assert not copied[0].with_name("findings.gpkg").exists()


def test_parts_are_exact(tmp_path):
    """Every kind of array comes back as it was, nan, nothing and -0.0 as such: nothing may become a number."""
    place = np.array([shapely.from_wkt("POINT Z (1 2 NaN)"), None, shapely.from_wkt("POINT Z (1 2 3)")], object)
    columns = {"margin_m": np.array([np.nan, -0.0, 1e-300]), "option": np.array(["a", None, ""], object),
               "over_capacity": np.array([True, None, False], object), "name": np.array(["x", "", "\u00e9"]),
               "lifted": np.array([True, False, True]), "count": np.array([1, -2, 3]),
               "nothing": np.full(3, None, object), "geometry": place}
    sure = Chances(np.array([[True, False]]), np.array([[0.5, np.nan]]))
    batch = {"clearances": columns, "structure_totals": (np.arange(2), np.full((2, 1, 3), np.nan)),
             "chances": (sure, columns)}
    write_part(tmp_path / "a.part", batch, [{7: [("ground.tif", 3)]}, {}])
    found, met = read_part(tmp_path / "a.part")
    assert met == [{7: [("ground.tif", 3)]}, {}] and found.keys() == batch.keys()
    for name, values in columns.items():
        got = found["clearances"][name]
        assert got.dtype == values.dtype, name
        if name == "geometry":
            assert [shapely.to_wkb(each) for each in got] == [shapely.to_wkb(each) for each in values]
        elif values.dtype.kind == "O":
            assert [(each, type(each)) for each in got] == [(each, type(each)) for each in values]
        else:
            assert got.tobytes() == values.tobytes()
    np.testing.assert_array_equal(found["structure_totals"][1], batch["structure_totals"][1])
    np.testing.assert_array_equal(found["chances"][0].variance, sure.variance)
    assert [*Path(tmp_path).iterdir()] == [tmp_path / "a.part"]
