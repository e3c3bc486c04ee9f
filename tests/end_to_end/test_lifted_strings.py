"""Strings that wires lift already where they are clipped in: the section is assessed, and the string told by name."""

import numpy as np
import pytest

COLD = '\n[[cases]]\nname = "everyday"\ntemperature = 10\nchecks = ["tension"]\n'


@pytest.fixture
def low(study):
    """The second structure, with strings, stands 36 m below its neighbours; the ground is far below them all."""
    study.structures["base_elevation"] = [100.0, 70.0, 112.0, 118.0]
    study.write_ground(lambda easting, northing: 0 * easting + 50)
    study.add_roads()
    return study


def test_the_section_is_assessed_and_the_string_told(low):
    low.text += COLD
    findings = low.check()
    rows = findings.rows("structure_loads", structure="2", case="everyday")
    assert len(rows) == 2 and rows["lifted"].all() and (rows["vertical_n"] < 0).all()
    assert findings.result.status == 1
    assert any("everyday" in warning and warning.endswith("at 2") for warning in findings.result.warnings)
    assert set(findings["wires"]["span"]) == {"1-2", "2-3", "3-4"} and not len(findings["not_assessed"])


@pytest.mark.parametrize(("next_one", "framing"), [("strain", "hold"), ("suspension", "hang")])
def test_where_no_case_shows_it_it_is_not_passed(low, next_one, framing):
    """By the heat alone the string hangs down: what the everyday state does to it is told as not assessed, of both
    spans that hang on it, be the next the last of its section or not."""
    low.structures.loc[1, "base_elevation"] = 72.0
    low.structures.loc[2, ["role", "framing"]] = next_one, framing
    hot = low.text.index('[[cases]]\nname = "ice"')
    low.text = low.text[:hot] + low.text[low.text.index("[rules]"):]
    low.change("maximum_temperature = 75\nemergency_temperature = 90", "maximum_temperature = 120")
    findings = low.check()
    assert not findings["structure_loads"]["lifted"].any() and not findings.result.violations
    gaps = findings.rows("not_assessed", line="main")
    assert set(zip(gaps["span"], gaps["wire"], gaps["option"], strict=True)) == {
        (span, wire, "today") for span in ("1-2", "2-3") for wire in "AB"}
    assert gaps["reason"].str.match(r".*string at structure 2 by \d\.\d+ m .* 10 °C").all()
    assert findings.result.status == 3


def test_steep_ground_with_short_and_long_spans(study, make):
    """A valley, a ridge and a span of 15 m in between: every wire hangs in every case."""
    study.structures = make.line_of(8)
    study.structures["easting"] = make.EAST + np.cumsum([0, 180, 15, 640, 90, 300, 420, 60.0])
    study.structures["role"] = ["terminal", *["suspension"] * 6, "terminal"]
    study.structures["framing"] = ["hold", *["hang"] * 6, "hold"]
    study.structures["base_elevation"] = 100 + np.array([0, 90, 96, 40, 88, 10, 150, 182.0])
    study.write_ground(high=(make.EAST + 1900, make.NORTH + 400))
    findings = study.check()
    solved = findings["wires"]
    assert len(solved) == 7 * 2 * 3 and solved["horizontal_tension_n"].notna().all()
    assert not findings["not_assessed"]["reason"].str.contains("equilibrium|balance").any()
