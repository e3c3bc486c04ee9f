"""Bundles, and what strings clear of their structures, from the study's files to the findings."""

import numpy as np
import pytest

from tests.common import ask

TWIN = """
[[options]]
name = "twin"
conductor = "264-AL1/62-ST1A"
maximum_temperature = 75
emergency_temperature = 90
bundle = 2
KEYS
[[options.stringing]]
limit = "18 % RTS"
temperature = 10
"""


@pytest.mark.parametrize(("keys", "reach", "spacing"), [
    ("bundle_spacing = '40 cm'\nbundle_arrangement = 'vertical'", 0.2, 0.4),
    ("bundle_spacing = 0.4\nbundle_arrangement = 'horizontal'", 0.0, 0.4),
    ("bundle_spacing = 0.4", 0.2, 0.4), ("", 0.3, 0.6)])
def test_a_twin_beside_the_wire_of_today(study, keys, reach, spacing):
    study.text += TWIN.replace("KEYS", keys)
    study.add_roads()
    findings = study.check()
    options = findings["options"].set_index("option")
    assert options.loc["twin", "bundle_spacing_m"] == spacing and np.isnan(options.loc["today", "bundle_spacing_m"])
    told = [text for text in findings.result.warnings if text.startswith("twin: a bundle of 2 without")]
    assert len(told) == ("arrangement" not in keys)
    hot = findings.rows("clearances", case="hot", against="ground")
    one, two = (hot[hot.option == name].set_index("span") for name in ("today", "twin"))
    assert two["bundle_m"].to_numpy() == pytest.approx(reach, abs=1e-9) and not one["bundle_m"].any()
    # Both are strung alike; on half a string each the twin leans a little otherwise.
    assert (one["actual_m"] - two["actual_m"]).to_numpy() == pytest.approx(reach, abs=0.02)


def test_compare_tells_the_spacing(study):
    study.text += TWIN.replace("KEYS", "bundle_spacing = 0.4\nbundle_arrangement = 'vertical'")
    study.write()
    comparison = ask(study.path, "compare")
    assert comparison.options["bundle_spacing_m"][1] == 0.4


def test_windows_in_the_framings(study):
    """A body 1.6 m right of the one string and 2.5 m left of the other: swung, the one wire is nearer than 1.0 m."""
    lines = study.framings.splitlines()
    ends = [",window_left,window_right,swing_limit", ",,,", ",,,", ",,1.6,", ",2.5 m,,50"]
    study.framings = "\n".join(a + b for a, b in zip(lines, ends, strict=True)) + "\n"
    findings = study.check()
    swung = findings.rows("structure_loads", structure="2", case="swung").set_index("wire")
    assert swung.loc["A", "body_side"] == "right" and swung.loc["B", "body_side"] == "left"
    out = 1.4 * np.sin(np.radians(swung.loc["A", "swing_right_deg"]))
    assert swung.loc["A", "body_m"] == pytest.approx(1.6 - out, abs=1e-3)
    assert swung["at_structure"].tolist() == ["failed", "passed"]
    assert findings.result.violations == 0 and findings.result.status == 1 and findings.result.at_structures == 1
    words, = (text for text in findings.result.warnings if "too near to the structure" in text)
    assert words.startswith("today: swung: ") and "2 A swings" in words


def test_ground_limit_is_that_of_the_lowest_wire(study):
    """The worst cell has the margin of the worst finding on the ground, of a bundle too."""
    study.text += TWIN.replace("KEYS", "bundle_spacing = 0.4\nbundle_arrangement = 'vertical'")
    findings = study.check()
    options = ask(study.path, "ground_limit").options
    for name, least in zip(options["option"], options["minimum_room_m"], strict=True):
        rows = findings.rows("clearances", option=name, against="ground", measure="vertical")
        assert least == pytest.approx(rows["margin_m"].min(), abs=1e-5)
