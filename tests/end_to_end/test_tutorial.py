"""What the tutorial tells of the demo is what the demo comes to."""

import re
from pathlib import Path

import pyogrio
import pytest

from corridor import check_study

ROOT = Path(__file__).parents[2]
TUTORIAL = (ROOT / "docs" / "tutorial.md").read_text(encoding="utf-8")
ROW = re.compile(r"^\| (N\d\d-N\d\d) \|(.+)\|$", re.MULTILINE)
COLUMNS = ["option", "case", "thing", "measure", "position", "actual_m", "required_m", "margin_m"]


@pytest.fixture(scope="module")
def clearances(tmp_path_factory):
    path = tmp_path_factory.mktemp("tutorial") / "findings.gpkg"
    check_study(ROOT / "demo_corridor" / "study.toml", path)
    rows = pyogrio.read_dataframe(path, layer="clearances", read_geometry=False)
    return rows.assign(thing=rows["obstacle"].where(rows["obstacle"].notna(), rows["against"]))


def test_every_number_of_the_table(clearances):
    told = [(span, *(cell.strip() for cell in cells.split("|"))) for span, cells in ROW.findall(TUTORIAL)]
    assert len(told) > 10
    for row in told:
        keys = dict(zip(["span", *COLUMNS[:5]], row[:6], strict=True))
        found = clearances.query(" and ".join(f"{name} == {value!r}" for name, value in keys.items()))
        least = found.sort_values("margin_m").iloc[0]
        assert [f"{least['actual_m']:.2f}", f"{least['required_m']:.2f}", f"{least['margin_m']:+.2f}"] == list(row[6:])
