"""The folder of pages of a network: its numbers against the findings as GDAL reads them, and what must not look clear.

Outside: GDAL (pyogrio) reads the findings, the standard library's XML parser the overview. That pages need nothing from
outside is forbidden by their content security policy (W3C CSP level 3).
"""

import re
from xml.etree import ElementTree

import numpy as np
import pandas
import pytest

from corridor.errors import InputError
from corridor.outputs.page.network import standing_of
from corridor.outputs.page.pack import unpack
from tests.common import ask, run
from tests.end_to_end.conftest import EAST, NORTH, SECOND_OPTION, TinyStudy, line_of, plane


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """Three lines: one with a mound below its second span, one that leaves the raster, one clear; two options."""
    study = TinyStudy(tmp_path_factory.mktemp("network") / "study")
    study.text += SECOND_OPTION
    far = line_of(line="north & <far>").assign(northing=NORTH + 200.0)
    beyond = line_of(line="south").assign(northing=NORTH - 200.0)
    beyond["easting"] += 700.0
    study.structures = pandas.concat([study.structures, far, beyond], ignore_index=True)
    study.structures["base_elevation"] = plane(study.structures["easting"], study.structures["northing"])
    study.write_ground(lambda e, n: plane(e, n) + 9.0 * (np.hypot(e - EAST - 450, n - NORTH) < 40))
    study.add_roads()
    findings = study.check()
    result = ask(study.path, "report_network", study.folder / "network")
    return study, findings, result


def overview(result):
    """The overview as a tree."""
    text = result.output.read_text(encoding="utf-8")
    return ElementTree.fromstring(re.sub(r"<!DOCTYPE html>|<meta[^>]*>|<style>.*?</style>", "", text, flags=re.S))


def table_of(result, option):
    """Cells by line of the table of an option."""
    part = next(each for each in overview(result).iter("section") if (each.get("id") or "") == f"option-{option}")
    rows = part.find(".//tbody").findall("tr")
    return {"".join(row[0].itertext()): ["".join(cell.itertext()) for cell in row] for row in rows}


def test_overview_has_the_numbers_of_the_findings(made):
    _, findings, result = made
    violations, gaps, limits = (findings[name] for name in ("violations", "not_assessed", "ladder"))
    clearances = findings["clearances"]
    for k, option in enumerate(findings["options"]["option"]):
        rows = table_of(result, k)
        assert set(rows) == {"main", "north & <far>", "south"}
        for line, cells in rows.items():
            short, gap, compared, steps = (each[(each["line"] == line) & (each["option"] == option)]
                                           for each in (violations, gaps, clearances, limits))
            assert int(cells[2]) == len(short) and int(cells[3]) == len(gap) + gaps["line"].isna().sum()
            assert -0.01 < float(cells[5]) - compared["margin_m"].min() <= 1e-9
            now = float(steps[steps["spans_fixed"] == 0]["limit_current_a"].iloc[0])
            assert cells[9] == ("not known" if np.isnan(now) else f"{np.floor(now):.0f}")
        assert list(rows)[0] == "main" and int(rows["main"][2]) > 0
        assert int(rows["south"][3]) > 0 and list(rows)[-1] == "north & <far>"


def test_where_to_spend(made):
    """Every line with every option has a row; without prices and weather none of them has a cost per ampere."""
    _, findings, result = made
    part = next(each for each in overview(result).iter("section") if each.get("id") == "spending")
    rows = [["".join(cell.itertext()) for cell in row] for row in part.find(".//tbody").findall("tr")]
    assert len(rows) == 3 * len(findings["options"]) and {row[1] for row in rows} == {"main", "north & <far>", "south"}
    assert all(row[13] == "-" and row[14] for row in rows)
    assert 'href="#spending"' in result.output.read_text(encoding="utf-8")


def test_what_is_not_assessed_does_not_look_clear(made):
    """Spans of the line that leaves the raster are drawn as not assessed, and counted as no clear ones."""
    _, findings, result = made
    gaps = findings["not_assessed"]
    bare = set(gaps[gaps["line"] == "south"]["span"])
    assert bare
    option = findings["options"]["option"][0]
    south = next(each for each in result.seen[option] if each.line == "south")
    names = list(findings.rows("spans", line="south")["span"])
    assert all(south.standing[names.index(span)] in ("unknown", "short") for span in bare)
    links = [each for each in overview(result).iter("a") if (each.get("aria-label") or "").startswith("south:")]
    assert len(links) == 2 and all("not assessed" in each.get("aria-label") for each in links)
    assert any(path.get("class") == "unknown" for path in links[0].iter("path"))
    assert int(table_of(result, 0)["south"][4]) == sum(name in ("near", "clear") for name in south.standing)


@pytest.mark.parametrize(("gap", "expected"), [
    ((None, None), ["short", "unknown", "unknown"]), ((None, "2-3"), ["short", "unknown", "clear"]),
    (("other", None), ["short", "near", "clear"])])
def test_standing_of_spans(gap, expected):
    """A gap of the study, or of no option in particular, is one of each span: by definition of `not_assessed`."""
    def columns(**values):
        return {name: np.array(value, object) for name, value in values.items()}

    layers = {"spans": columns(span=["1-2", "2-3", "3-4"]),
              "clearances": columns(span=["1-2", "2-3", "3-4"], option=["a"] * 3, margin_m=[-0.1, 0.2, 3.0]),
              "violations": columns(span=["1-2"], option=["a"]),
              "not_assessed": columns(option=[gap[0]], span=[gap[1]])}
    assert standing_of(layers, "a").tolist() == expected
    assert standing_of(layers, "b").tolist() == (["neutral"] * 3 if gap[0] else [
        "unknown" if gap[1] in (None, span) else "neutral" for span in ("1-2", "2-3", "3-4")])


def test_page_of_a_line_tells_of_that_line_alone(made):
    study, findings, result = made
    for line, path in zip(["main", "north & <far>", "south"], result.pages, strict=True):
        text = path.read_text(encoding="utf-8")
        content = unpack(re.search(r'id="data">([^<]*)<', text)[1])
        assert set(content["spans"]["line"]) == {line}
        tables = content["tables"]
        assert set(tables["violations"]["line"]) <= {line}
        found = findings["violations"]
        for option, count in zip(tables["options"]["option"], tables["options"]["violations"], strict=True):
            assert count == ((found["line"] == line) & (found["option"] == option)).sum()
        assert '<script src="library.js"></script>' in text and 'href="index.html"' in text
        assert len(text) < 900_000
    files = {path.name for path in (study.folder / "network").iterdir()}
    assert files == {"index.html", "library.js", "line_1.html", "line_2.html", "line_3.html"}
    assert "default-src 'none'" in result.output.read_text() and "<script" not in result.output.read_text()


def test_earlier_pages_go_and_foreign_files_stay(made, capsys):
    study, _, result = made
    folder = study.folder / "network"
    (folder / "line_9.html").write_text(result.pages[0].read_text(encoding="utf-8"), encoding="utf-8")
    (folder / "notes.html").write_text("mine", encoding="utf-8")
    assert run("report", study.path, "--folder", folder) == 0
    assert "3 pages of lines" in capsys.readouterr().err
    assert not (folder / "line_9.html").exists() and (folder / "notes.html").read_text() == "mine"
    (folder / "line_2.html").write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match=r"line_2\.html"):
        ask(study.path, "report_network", folder)
    (folder / "line_2.html").unlink()
    (folder / "notes.html").unlink()


def test_one_page_or_many(made, capsys):
    study, _, _ = made
    assert run("report", study.path, "--folder", "network", "-o", "page.html") == 2
    assert "give one of them" in capsys.readouterr().err
