"""Study files that share parts: merged tables, whose paths are relative to the file that states them."""

import hashlib
import tomllib
from pathlib import Path

import pytest

from corridor.study import StudyError, load_study
from corridor.study.include import moved
from corridor.study.named_files import named_files

EXAMPLE = Path(__file__).with_name("study_example.toml").read_text(encoding="utf-8")
#: The tables of the example, as two files have them: the second lies in a folder of its own.
CUT = EXAMPLE.index("[structures]"), EXAMPLE.index("[[options]]")


@pytest.fixture
def shared(tmp_path):
    """A study and the part that it includes, with the files of both."""
    for name in ("terrain/ground.tif", "part/line.gpkg", "part/framings.csv", "obstacles.gpkg", "my_rules.csv"):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).touch()
    study, part = tmp_path / "study.toml", tmp_path / "part" / "common.toml"
    study.write_text(f'include = ["part/common.toml"]\n{EXAMPLE[:CUT[0]]}{EXAMPLE[CUT[1]:]}', encoding="utf-8")
    part.write_text(EXAMPLE[CUT[0]:CUT[1]], encoding="utf-8")
    return study, part


def test_a_study_in_parts_is_the_whole_one(shared):
    study, part = shared
    read = load_study(study)
    whole = tomllib.loads(EXAMPLE)
    whole["structures"]["file"], whole["framings"]["file"] = "part/line.gpkg", "part/framings.csv"
    assert read.tables == whole
    assert read.digest == hashlib.sha256(study.read_bytes() + part.read_bytes()).hexdigest()
    assert ("include.0", "part/common.toml") in list(named_files(read))
    assert read.resolve(read.structures.file).resolve() == part.parent / "line.gpkg"


def test_tables_of_both_are_merged_key_by_key(shared):
    study, part = shared
    part.write_text(part.read_text() + '[terrain]\nvertical_unit = "m"\n', encoding="utf-8")
    study.write_text(study.read_text().replace('vertical_unit = "m"\n', "", 1), encoding="utf-8")
    assert load_study(study).terrain.vertical_unit == "m"


@pytest.mark.parametrize("more, where, other", [
    ('[terrain]\nvertical_unit = "ft"\n', "terrain.vertical_unit", "study.toml"),
    ('[[cases]]\nname = "more"\ntemperature = 5\n', "cases", "study.toml"),
    ('[study]\ntitle = "another"\n', "study.title", "study.toml"),
])
def test_a_key_of_both_is_refused_with_both_names(shared, more, where, other):
    study, part = shared
    part.write_text(part.read_text() + more, encoding="utf-8")
    with pytest.raises(StudyError) as caught:
        load_study(study)
    error, = caught.value.errors
    assert Path(error.file).name == "common.toml" and error.where == where and other in error.found


def test_a_key_of_two_parts_is_refused_with_both_names(shared):
    study, part = shared
    again = part.with_name("again.toml")
    again.write_text('[structures]\nlayer = "structures"\n', encoding="utf-8")
    study.write_text(study.read_text().replace("common.toml", 'common.toml", "part/again.toml'), encoding="utf-8")
    with pytest.raises(StudyError, match="again.toml: structures.layer: found a key that common.toml has, too"):
        load_study(study)


@pytest.mark.parametrize("old, new, words", [
    ('file = "framings.csv"', 'fil = "framings.csv"', "common.toml: framings.fil: found the unknown key 'fil'"),
    ("[structures]", "[structures", "common.toml: line 1"),
    ("[structures]", 'include = ["more.toml"]\n[structures]', "common.toml: include: found parts of a part"),
])
def test_a_fault_names_the_part_in_which_it_stands(shared, old, new, words):
    study, part = shared
    part.write_text(part.read_text().replace(old, new, 1), encoding="utf-8")
    with pytest.raises(StudyError) as caught:
        load_study(study)
    assert any(words in str(error) for error in caught.value.errors), str(caught.value)


@pytest.mark.parametrize("include, words", [
    ('["nowhere.toml"]', "nowhere.toml"), ('"part/common.toml"', "a list of paths"), ("[3]", "a list of paths"),
    ('["../outside.toml"]', "outside the study's folder"),
])
def test_what_cannot_be_included(shared, include, words):
    study, _ = shared
    study.with_name("..").joinpath("outside.toml").write_text("", encoding="utf-8")
    study.write_text(study.read_text().replace('["part/common.toml"]', include, 1), encoding="utf-8")
    with pytest.raises(StudyError, match=words):
        load_study(study)


def test_every_path_of_the_schema_is_moved():
    """Those of one key, of lists and of tables in tables; what is no path, or is one of GDAL's words, stays."""
    tables = {"terrain": {"ground": ["a.tif", "/vsizip/b.zip/b.tif"], "surface_classes": {"file": "c.tif"}},
              "series": {"weather": "w.csv"}, "stringing": {"rules": "r.csv"}, "rules": {"table": "european"},
              "point_clouds": [{"name": "a.tif", "files": ["t.laz"]}], "curves": "k.csv"}
    assert moved(tables, Path("/one/part"), Path("/one")) == {
        "terrain": {"ground": ["part/a.tif", "/vsizip/b.zip/b.tif"], "surface_classes": {"file": "part/c.tif"}},
        "series": {"weather": "part/w.csv"}, "stringing": {"rules": "part/r.csv"}, "rules": {"table": "european"},
        "point_clouds": [{"name": "a.tif", "files": ["part/t.laz"]}], "curves": "part/k.csv"}
