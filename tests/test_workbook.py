"""Workbooks re-read by openpyxl."""

from datetime import UTC, datetime

import numpy as np
import pytest
from openpyxl import load_workbook

from corridor.outputs.workbook import write_workbook

openpyxl = pytest.importorskip("openpyxl")


@pytest.fixture
def sheet(tmp_path):
    columns = {"span": np.array(["1-2", "=1+1", None], object), "margin_m": np.array([-0.5, np.nan, 1.25]),
               "uplift": np.array([True, False, None], object), "return_time_s": np.array([7.0, 8.0, 9.0])}
    write_workbook(tmp_path / "t.xlsx", {"schedule": columns}, datetime(2026, 3, 1, tzinfo=UTC))
    return openpyxl.load_workbook(tmp_path / "t.xlsx")["schedule"]


def test_heads(sheet):
    """Heads carry their units, stay in sight, and filter."""
    assert [cell.value for cell in sheet[1]] == ["Span", "Margin [m]", "Uplift", "Return time [s]"]
    assert (sheet.freeze_panes, sheet.auto_filter.ref) == ("A2", "A1:D4")


def test_cells(sheet):
    """Numbers are numbers, nulls are empty (never 0), and a name that looks like a formula is none."""
    assert [cell.value for cell in sheet["B"]][1:] == [-0.5, None, 1.25]
    assert sheet["A3"].value == "=1+1" and sheet["A3"].data_type != "f"
    assert [cell.value for cell in sheet["C"]][1:] == ["yes", "no", None]


def test_the_same_tables_and_time_give_the_same_bytes(tmp_path, monkeypatch):
    """Whenever it is written: the library's own clock, and that of the archive, are wound on by a day."""
    import time

    columns = {"span": np.array(["1-2"], object), "margin_m": np.array([0.5])}
    written, now = [], time.time()
    for name, days in ("a.xlsx", 0), ("b.xlsx", 1):
        monkeypatch.setattr(time, "time", lambda days=days: now + 86400 * days)
        write_workbook(tmp_path / name, {"schedule": columns}, datetime(2026, 3, 1, tzinfo=UTC))
        written.append((tmp_path / name).read_bytes())
    assert written[0] == written[1]
    assert load_workbook(tmp_path / "a.xlsx").properties.modified == datetime(2026, 3, 1)
