"""One opened study: what it answers is what the command writes, however often and in whatever order it is asked."""

import tomllib
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from pathlib import Path

import geopandas
import numpy as np
import pandas
import pyogrio
import pytest
import shapely
from geopandas.testing import assert_geodataframe_equal

import corridor
from corridor.errors import InputError
from corridor.outputs.schema import LAYERS

TIME = datetime(2026, 3, 1, tzinfo=UTC)
RATING = '\n[rating]\nrequired_current = "600 A"\nambient = 35\nwind_speed = 0.6\nsolar = 1000\n'


@pytest.fixture
def written(study, make):
    """A study of two options with violations, gaps, roads and ratings."""
    study.text += RATING + make.SECOND_OPTION
    study.rules = study.rules.replace("4.5", "8.5")
    study.add_roads()
    study.write_ground(unknown=lambda e, n: abs(e - 500_400) < 30)
    study.write()
    return study


def tables(study):
    return tomllib.loads(study.path.read_text(encoding="utf-8"))


def assert_same_frame(a, b, **exact):
    """The same rows, columns, kinds of column and, where there are places, CRS."""
    assert type(a) is type(b)
    if isinstance(a, geopandas.GeoDataFrame):
        # A point or chord without elevation has nan for its Z, which equals nothing.
        assert a.crs == b.crs and (shapely.to_wkb(a.geometry.values) == shapely.to_wkb(b.geometry.values)).all()
        a, b = a.drop(columns="geometry"), b.drop(columns="geometry")
    pandas.testing.assert_frame_equal(pandas.DataFrame(a), pandas.DataFrame(b), check_exact=True, **exact)


def assert_same_findings(a, b, *, but=()):
    assert list(a) == list(b) == [layer.name for layer in LAYERS]
    for name in a:
        left, right = (each[name].drop(columns=list(but), errors="ignore") for each in (a, b))
        assert_same_frame(left, right, obj=name)


def test_the_file_is_that_of_the_command(written, monkeypatch):
    """Byte by byte, with the same time."""
    monkeypatch.setenv("SOURCE_DATE_EPOCH", str(int(TIME.timestamp())))
    assert written.command("--quiet", "--output", str(written.output)) == 1
    other = written.folder / "other.gpkg"
    with corridor.open_study(written.path) as opened:
        result = opened.check(other, time=TIME)
        again = opened.check(str(other.with_name("again.gpkg")), time=TIME)
    assert result.status == again.status == 1 and result.output == other
    assert written.output.read_bytes() == other.read_bytes() == again.output.read_bytes()


def test_layers_are_those_of_the_file(written):
    """What pyogrio and geopandas read of the GeoPackage, kind by kind of column, in memory as in the file."""
    with corridor.open_study(written.path) as opened:
        held, file = opened.check(time=TIME), opened.check(written.output, time=TIME)
    assert held.output is None and sorted(path.name for path in written.folder.glob("*.gpkg")) == [
        "findings.gpkg", "line.gpkg", "roads.gpkg"]
    # Digests of layers are of a file.
    assert_same_findings(held.frames, file.frames, but=("layer_digests",))
    for layer in LAYERS:
        read = pyogrio.read_dataframe(written.output, layer=layer.name)
        in_memory, in_file = (f.drop(columns="layer_digests", errors="ignore") for f in (held.frames[layer.name], read))
        assert_same_frame(in_memory, in_file, obj=layer.name)
        assert_same_frame(file.frames[layer.name], read, obj=layer.name)
        assert isinstance(read, geopandas.GeoDataFrame) == bool(layer.geometry)
    named = geopandas.read_file(written.output, layer="clearances")
    assert_geodataframe_equal(held.frames["clearances"], named)
    assert len(named) and len(held.frames["not_assessed"])


def test_layers_are_made_anew(written):
    """Who changes a frame changes nothing else."""
    with corridor.open_study(written.path) as opened:
        result = opened.check(time=TIME)
        for name, column in (("clearances", "margin_m"), ("spans", "length_m")):
            frame = result.frames[name]
            frame.loc[:, column] = 0.0
        again = opened.check(time=TIME)
    assert (result.frames["clearances"]["margin_m"] != 0).any()
    assert_same_findings(result.frames, again.frames)
    with pytest.raises(KeyError, match="violations"):
        result.frames["no such"]
    assert "clearances" in result.frames and "no such" not in result.frames and len(result.frames) == len(LAYERS)


def test_a_dict_is_as_good_as_a_file(written, monkeypatch, tmp_path):
    """Its paths lead from a folder; they may be paths, too. Only name and digest of the study are others."""
    monkeypatch.chdir(tmp_path)
    given = tables(written)
    given["structures"]["file"] = Path(given["structures"]["file"])
    with corridor.open_study(given, folder=written.folder) as a, corridor.open_study(written.path) as b:
        found = a.check(time=TIME), b.check(time=TIME)
        assert a.output == b.output.with_name("findings.gpkg")
    assert_same_findings(*(each.frames for each in found), but=("study", "study_digest"))
    digests = [each.frames["run"]["study_digest"][0] for each in found]
    assert digests[0] != digests[1] and len(digests[0]) == 64
    given["options"][0]["name"] = "changed later"
    assert set(found[0].frames["options"]["option"]) == {"today", "alloy"}


def test_its_own_findings_are_known_again(written):
    """Jobs that read findings take those of the same dict, and of no other."""
    with corridor.open_study(tables(written), folder=written.folder) as opened:
        opened.check(written.output)
        found = opened.export(findings=written.output)
        assert found.output.is_file() and len(found.rows)
    changed = tables(written)
    changed["study"]["title"] = "another"
    with corridor.open_study(changed, folder=written.folder) as opened:
        with pytest.raises(InputError, match="another study"):
            opened.export(findings=written.output)


def test_the_limits_are_the_layer(written):
    with corridor.open_study(written.path) as opened:
        limits, found = opened.limits(), opened.check()
    for name in ("limits", "ladder"):
        assert_same_frame(limits.frames[name], found.frames[name][list(limits.frames[name])], obj=name)


def answers(opened, order):
    """Tables of what is asked in some order, by (job, table)."""
    ask = {
        "check": lambda: opened.check(time=TIME), "limits": opened.limits, "ratings": opened.ratings,
        "sag": opened.sag, "stringing": lambda: opened.stringing_chart([0.0, 20.0]),
        "curves": lambda: opened.curves(span="1-2"), "compare": opened.compare,
    }
    assert set(order) == set(ask)
    return {(job, name): frame for job in order for name, frame in ask[job]().frames.items()}


def test_any_order_and_any_number_of_times(written):
    """Asked in one order, asked again, and asked backwards of a study opened anew."""
    written.write_ground(unknown=lambda e, n: abs(e - 500_400) < 30, tile=64, cell=2.0)
    order = ["curves", "check", "limits", "ratings", "sag", "stringing", "compare"]
    with corridor.open_study(written.path) as opened:
        first, second = answers(opened, order), answers(opened, order)
    with corridor.open_study(written.path) as opened:
        third = answers(opened, order[::-1])
    assert first.keys() == second.keys() == third.keys() and len(first) > len(LAYERS)
    for key, frame in first.items():
        assert_same_frame(frame, second[key], obj=str(key))
        assert_same_frame(frame, third[key], obj=str(key))


def test_cells_that_are_no_heights_are_counted_for_each_check(written, make):
    """The warning tells of what this check asked for, whatever was asked before."""
    def spiked(e, n):
        return np.where((abs(n - make.NORTH) < 30) & (abs(e - 500_160) < 20), 12_000.0, make.plane(e, n))

    written.write_ground(spiked, tile=64)
    with corridor.open_study(written.path) as opened:
        alone = opened.check().warnings
        opened.curves(span="1-2")
        after = opened.check().warnings
    assert [text for text in alone if "are no heights" in text] and alone == after


def test_at_once(written):
    """Threads may share a study: the ground answers one at a time."""
    with corridor.open_study(written.path) as opened:
        alone = opened.check(time=TIME)
        with ThreadPoolExecutor(3) as pool:
            found = list(pool.map(lambda _: opened.check(time=TIME), range(3)))
    for each in found:
        assert_same_findings(alone.frames, each.frames)


def test_what_is_wrong_is_told_in_the_same_words(written, capsys):
    """By the command and from Python, of a file and of a dict: but for its name the study reads the same."""
    written.text = written.text.replace("highest_voltage =", "higest_voltage =")
    written.write()
    assert written.command() == 2
    said = capsys.readouterr().err.removeprefix("corridor: ").strip()
    with pytest.raises(InputError) as from_file:
        corridor.open_study(written.path)
    with pytest.raises(InputError) as from_dict:
        corridor.open_study(tables(written), folder=written.folder)
    assert str(from_file.value) == said
    assert str(from_dict.value) == said.replace("study.toml: ", "study: ")


def test_a_fault_of_a_file_is_told_in_the_same_words(written, capsys):
    (written.folder / "framings.csv").write_text("framing,wire\n", encoding="utf-8")
    assert written.command() == 2
    said = capsys.readouterr().err.removeprefix("corridor: ").strip()
    with corridor.open_study(written.path) as opened:
        for ask in (opened.check, opened.limits, opened.sag, opened.compare, opened.curves):
            with pytest.raises(InputError) as error:
                ask()
            assert str(error.value) == said


def test_files_are_read_once(written, monkeypatch):
    read = []
    original = corridor.opened.read_inputs

    def counted(study):
        read.append(study)
        return original(study)

    monkeypatch.setattr(corridor.opened, "read_inputs", counted)
    with corridor.open_study(written.path) as opened:
        assert read == []
        opened.limits()
        opened.sag()
        opened.check()
        opened.compare()
    assert len(read) == 1


@pytest.fixture
def closings(monkeypatch):
    """How often the ground was closed."""
    from corridor.inputs.terrain import Terrain

    count = []
    original = Terrain.close
    monkeypatch.setattr(Terrain, "close", lambda self: (count.append(self), original(self)))
    return count


def test_the_ground_is_closed(written, closings):
    with corridor.open_study(written.path) as opened:
        kept = opened.check()
        assert not closings
    assert len(closings) == 1
    for ask in (opened.check, opened.limits, opened.sag):
        with pytest.raises(ValueError, match="closed"):
            ask()
    assert len(kept.frames["clearances"])
    corridor.check_study(written.path)
    assert len(closings) == 2


def test_the_ground_is_closed_after_a_fault(written, closings, monkeypatch):
    def fail(*_):
        raise ZeroDivisionError

    monkeypatch.setattr(corridor.check, "assess_spans", fail)
    with pytest.raises(ZeroDivisionError), corridor.open_study(written.path) as opened:
        opened.check(written.output)
    assert len(closings) == 1 and not written.output.exists()


def test_a_study_that_reads_nothing_closes_nothing(written, closings):
    with corridor.open_study(written.path) as opened:
        assert opened.study.options[0].name == "today"
    assert not closings


def test_causes(written):
    """Rows not assessed by their cause, numbers aside, the commonest first; the command says the same."""
    written.structures["base_elevation"] = None
    written.write_ground(high=(500_800, 5_600_400), unknown=lambda e, n: abs(e - 500_400) < 30)
    with corridor.open_study(written.write()) as opened:
        result = opened.check()
    assert sum(cause.rows for cause in result.causes) == result.gaps == len(result.frames["not_assessed"])
    assert [cause.rows for cause in result.causes] == sorted((cause.rows for cause in result.causes), reverse=True)
    rows = result.frames["not_assessed"]
    for cause in result.causes:
        start = cause.reason.split("\N{HORIZONTAL ELLIPSIS}")[0]
        own = rows[rows["reason"].str.startswith(start)]
        assert (cause.rows, cause.spans) == (len(own), own["span"].nunique())
    assert any("base elevation of structure 4" in cause.reason for cause in result.causes)
