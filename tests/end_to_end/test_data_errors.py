"""A hundred errors of analysts, in three clean corridors: each refused, told or not assessed, none silently clear.

And no doubt where there is no error: on those corridors, and on the demo with and without its survey.
"""

import shutil

import pytest

from corridor.errors import InputError
from corridor.inspection.inspector import KINDS
from corridor.session import open_study
from tests.clean_corridors import CLEAN
from tests.common import ask
from tests.data_errors import ERRORS, GAP, REFUSED
from tests.short_demo import DEMO


@pytest.fixture(scope="module", params=list(CLEAN))
def clean(request, tmp_path_factory):
    """A clean corridor, and the folder it is written to."""
    corridor, folder = CLEAN[request.param](), tmp_path_factory.mktemp(request.param)
    corridor.write(folder)
    return corridor, folder


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """The clean corridors and where they are written, by name."""
    found = {}
    for name, made in CLEAN.items():
        found[name] = made(), tmp_path_factory.mktemp(name)
        found[name][0].write(found[name][1])
    return found


def spoil(error, written, folder):
    """Write a corridor with an error, and return it."""
    clean, files = written[error.corridor]
    spoilt = clean.copy()
    error.spoil(spoilt)
    shutil.copytree(files, folder, dirs_exist_ok=True)
    spoilt.write(folder, clean)
    return spoilt


def outcomes(spoilt, folder):
    """What comes of data, without computing anything of wires."""
    try:
        with open_study(spoilt.tables, folder) as study:
            doubts = study.inspect().doubts
            lost = (study.inputs.index.obstacles.fault != "").any()
            lost |= any("are no heights" in text for text in study.inputs.terrain.warnings)
    except InputError as fault:
        assert "accepted:" in str(fault)
        return {REFUSED}
    return {each.doubt.kind.id for each in doubts} | ({GAP} if lost else set())


def test_there_are_enough_errors():
    """Of every group many, on each corridor some; and each kind of doubt comes of one of them."""
    assert len(ERRORS) >= 60 and {error.corridor for error in ERRORS} == set(CLEAN)
    assert len({(error.name, error.corridor) for error in ERRORS}) == len(ERRORS)
    assert {error.expected for error in ERRORS} <= {*KINDS, REFUSED, GAP}


@pytest.mark.parametrize("error", ERRORS, ids=lambda error: f"{error.corridor}: {error.name}")
def test_no_error_is_silent(error, written, tmp_path):
    assert error.expected in outcomes(spoil(error, written, tmp_path), tmp_path)


def test_a_clean_corridor_raises_nothing(clean):
    """Nor does its check, which finds all of it assessed and clear: errors are not told by chance."""
    corridor, folder = clean
    with open_study(corridor.tables, folder) as study:
        assert outcomes(corridor, folder) == set()
        found = study.check()
    assert found.status == 0 and not found.inspection.doubts and not found.inspection.idle


@pytest.mark.parametrize("name", ["bases above the ellipsoid", "holes of the raster stored as 0",
                                  "wires of others in feet read as metres", "elevations of roofs 0",
                                  "mass in lb per 1,000 ft written as kg/km", "roads in the wrong zone",
                                  "holes of the raster stored as -9999, not said"])
def test_a_check_of_spoilt_data_is_not_clear(name, written, tmp_path):
    """In the check itself, batch by batch; and it tells the doubts that inspection tells."""
    error = next(each for each in ERRORS if each.name == name)
    spoilt = spoil(error, written, tmp_path)
    with open_study(spoilt.tables, tmp_path) as study:
        found = study.check()
        assert found.status != 0
        assert [each.doubt[:-1] for each in found.inspection.doubts] == [
            each.doubt[:-1] for each in study.inspect().doubts]


@pytest.mark.parametrize("name", ["study.toml", "surveyed.toml"])
def test_the_demo_raises_nothing(name):
    if name == "surveyed.toml":
        pytest.importorskip("laspy")
    assert not ask(DEMO / name, "inspect").doubts
