"""Where no section can be strung there are rows that say so and a status, never a fault of the software."""

import numpy as np
import pandas as pd
import pytest

import corridor.check
from tests.common import run

HEAVY = '[[options.stringing]]\nlimit = "50 % RTS"\ncase = "ice"\ncondition = "initial"\n'
SHIELD = """
[own_wires]
galloping = "both"
[shield_wire]
conductor = "105-AL1/17-ST1A"
[[shield_wire.stringing]]
limit = "15 % RTS"
case = "ice"
[rating]
ambient = 35
wind_speed = 0.6
wind_angle = 90
solar = 1000
required_current = 500
"""
NO_TENSION = (r"the stringing limits leave no tension .*: \d+\.\d kN are allowed, and over 300\.\d m .* pulls "
              r"\d+\.\d kN or more")
NO_BASE = "the base elevation of structure"


def heavy_ice(study):
    """A glaze of 100 mm, under which 300 m of these wires hang at no half of their strength."""
    study.change('ice = "12 mm"', 'ice = "100 mm"')
    study.change("[[cases]]", f"{HEAVY}\n[[cases]]")
    study.text += HEAVY


def no_base(study):
    """A raster without values below any structure, none of which has a base elevation of its own."""
    study.write_ground(unknown=lambda easting, northing: (northing < 5_600_100) & (easting > 499_990))


def two_of_four(study):
    """A raster that ends between the second and the third structure, in the midst of a section."""
    study.write_ground(high=(500_450, 5_600_400))


@pytest.fixture
def full(study, make):
    """All that a study may ask of its wires, of two options."""
    study.text += make.SECOND_OPTION + "\n"
    study.change('checks = ["horizontal"]', 'checks = ["horizontal", "vertical"]')
    study.add_roads()
    study.framings += "hold,S,shield,,0,26,strain,,\nhang,S,shield,,0,26,suspension,0.3,4\n"
    study.rules += "phases,own_phase,radial,3,,,,,,\n"
    return study


@pytest.mark.parametrize(("change", "reason"), [(heavy_ice, NO_TENSION), (no_base, NO_BASE)])
def test_no_section_strung(full, change, reason):
    change(full)
    full.text += SHIELD
    findings = full.check()
    gaps = findings["not_assessed"]
    assert findings.result.status == 3
    assert not len(findings["wires"]) and not len(findings["clearances"])
    why = gaps[gaps["against"].isna()]
    assert set(zip(why["span"], why["wire"], strict=True)) == {(s, w) for s in ("1-2", "2-3", "3-4") for w in "ABS"}
    assert why["reason"].str.match(reason).all()
    assert (findings["limits"]["governs"] == "not assessed").all()


def test_part_of_the_line_on_the_raster(full):
    two_of_four(full)
    findings = full.check()
    assert findings.result.status == 3
    assert set(findings["wires"]["span"]) == {"1-2"}
    swung = findings.rows("not_assessed", span="1-2", case="swung")
    assert set(zip(swung["option"], swung["wire"], strict=True)) == {(o, w) for o in ("today", "alloy") for w in "AB"}
    assert swung["against"].isna().all() and swung["reason"].str.contains("base elevation of structure 3").all()
    assert np.isfinite(findings.row("limits", span="1-2", option="today")["limit_temperature_c"])


def test_every_command_has_a_word_for_it(full):
    """Status 2 where there is nothing to start from, 3 where there are findings, none of them a pass."""
    heavy_ice(full)
    full.text += SHIELD
    full.check()
    status = {}
    for command in ("limits", "sag", "ground-limit", "plan", "design", "curves"):
        status[command] = run(command, full.path, *(["--option", "alloy"] if command == "plan" else []))
    assert status == {"limits": 3, "sag": 3, "ground-limit": 3, "plan": 3, "design": 2, "curves": 2}


def test_a_line_without_a_wire_leaves_the_others_assessed(study, make, monkeypatch):
    """Framings of one line that name no wire in common: its spans are told, whatever shares their batch."""
    study.framings += "odd,Q,phase,1,0,18,strain,,\n"
    second = make.line_of(3, line="odd")
    second["northing"] += 150
    second["framing"] = ["odd", "hang", "odd"]
    study.structures = pd.concat([study.structures, second], ignore_index=True)
    for batch in (1, 1200):
        monkeypatch.setattr(corridor.check, "BATCH", batch)
        findings = study.check()
        assert findings.result.status == 3
        assert set(findings["not_assessed"]["span"]) == {"1-2", "2-3"}
        assert set(findings["not_assessed"]["line"]) == {"odd"}
        assert len(findings.rows("clearances", against="ground", line="main", case="hot")) == 3
    for command in ("sag", "limits"):
        assert run(command, study.path, "--quiet") in (0, 3)
