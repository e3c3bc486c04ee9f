"""Plan-and-profile sheets of the demo: read back as text by pypdf, their size and fonts as PDF has them."""

import shutil
from pathlib import Path

import pyogrio
import pytest

from corridor import check_study
from corridor.errors import InputError
from corridor.jobs.draw import draw_study

DEMO = Path(__file__).resolve().parents[1] / "demo_corridor"


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    copy = tmp_path_factory.mktemp("demo") / "corridor"
    shutil.copytree(DEMO, copy, ignore=shutil.ignore_patterns("*.py", "findings.gpkg"))
    check_study(copy / "study.toml")
    return copy / "study.toml"


@pytest.fixture(scope="module")
def pages(study):
    pypdf = pytest.importorskip("pypdf")
    result = draw_study(study, options=("thermal alloy",), scale=10_000)
    pages = pypdf.PdfReader(result.output).pages
    assert len(pages) == result.sheets
    return pages


def test_paper(pages):
    """A3 across (ISO 216: 420 x 297 mm), fonts embedded as TrueType."""
    for page in pages:
        size = [float(v) * 25.4 / 72 for v in page.mediabox[2:]]
        assert size == pytest.approx([420, 297], abs=0.1)
        for font in page["/Resources"]["/Font"].values():
            below = font.get_object()["/DescendantFonts"][0].get_object() if "/DescendantFonts" in font else font
            assert "/FontFile2" in below["/FontDescriptor"]


def test_every_structure_and_what_is_wrong_is_told(pages, study):
    """Each structure, each gap and each margin below zero of the findings can be read on the sheets."""
    findings = study.with_name("findings.gpkg")
    text = "\n".join(page.extract_text() for page in pages)
    for name in pyogrio.read_dataframe(findings, layer="structures")["structure"]:
        assert name in text
    short = pyogrio.read_dataframe(findings, layer="violations")
    short = short[short["option"] == "thermal alloy"]
    for margin in short.groupby(["span", "against", "obstacle"], dropna=False)["margin_m"].min():
        assert f"{margin:+.2f}" in text.replace("\u2212", "-")
    gaps = pyogrio.read_dataframe(findings, layer="not_assessed")
    assert text.count("NOT ASSESSED") >= gaps.loc[gaps["option"] == "thermal alloy", "span"].nunique() > 0
    assert "exaggerated" in text and "DHHN2016" in text


def test_refused(study):
    """An option or case that the study has not."""
    with pytest.raises(InputError, match="option"):
        draw_study(study, options=("no such",))
    with pytest.raises(InputError, match="case"):
        draw_study(study, cases=("no such",))
