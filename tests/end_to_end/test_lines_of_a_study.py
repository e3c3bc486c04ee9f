"""Lines of one study near each other: each is to the other what any other line is, in all its states, unasked.

Held against the catenaries of the `wires` layer at the place where the wires cross in plan: brute force.
"""

import numpy as np
import pandas as pd
import pytest
import shapely

from .conftest import EAST, NORTH, SECOND_OPTION
from .curves import catenary, hung

RULES = """\
rule,against,measure,base
open,ground,vertical,2
cross,line,vertical,2.5
"""

LOW = """\
low,A,phase,1,-3,7,strain,,
low,B,phase,1,3,7.5,strain,,
lowhang,A,phase,1,-3,8,suspension,1.1,30
lowhang,B,phase,1,3,8.5,suspension,1.1,30
"""


def northward(make, east=450.0, first=-100.0, spans=(200.0, 180.0), line="cross"):
    """A lower line to the north; its first span passes below the second span of the other."""
    second = make.line_of(len(spans) + 1, line=line)
    second["easting"] = EAST + east
    second["northing"] = NORTH + first + np.r_[0, np.cumsum(spans)]
    second["framing"] = ["low", *["lowhang"] * (len(spans) - 1), "low"]
    return second


@pytest.fixture
def crossed(study, make):
    study.framings += LOW
    study.rules = RULES
    study.structures = pd.concat([study.structures, northward(make)], ignore_index=True)
    study.change("[right_of_way]\nhalf_width = \"30 m\"\n", "")
    # Without it wires below others are not where the wires layer has them, but a millimetre higher.
    study.change("existing = true\n", "existing = true\nloads_seen = true\n")
    study.write_ground(low=(EAST - 400, NORTH - 500), high=(EAST + 1400, NORTH + 600))
    return study


def raised(study, by):
    """Raise wire A of the lower line."""
    for name, height in (("low", 7), ("lowhang", 8)):
        study.framings = study.framings.replace(f"{name},A,phase,1,-3,{height}", f"{name},A,phase,1,-3,{height + by}")


def elevations(findings, line, span, wire, option, at):
    """Elevations of a wire at a place in plan, in all cases in still air; the ends of each case are its own."""
    rows = findings.rows("wires", line=line, span=span, wire=wire, option=option)
    found = {}
    for row in rows[rows["case"] != "swung"].itertuples():
        a, b, S = hung(findings, row)
        share = shapely.LineString([a[:2], b[:2]]).project(shapely.Point(at), normalized=True)
        found[row.case] = float(catenary(share, S, a[2], b[2] - a[2], row.catenary_constant_m))
    return found


def crossing_of(findings, ours, theirs):
    """Where two wires cross in plan."""
    lines = [shapely.force_2d(findings.rows("wires", line=line, span=span, wire=wire, case="hot").geometry.iloc[0])
             for line, span, wire in (ours, theirs)]
    lines = [shapely.LineString(shapely.get_coordinates(each)[[0, -1]]) for each in lines]
    return shapely.get_coordinates(shapely.intersection(*lines))[0]


def test_a_broken_wire_of_theirs_is_a_case_of_theirs(crossed):
    """It makes no row of the other line worse: there it is whole. Its own violations by what it sags more."""
    whole = crossed.check()["clearances"]
    for side in ("back", "ahead"):
        crossed.change("[rules]", f'[[cases]]\nname = "{side}"\ntemperature = "maximum"\nbroken = "{side}"\n[rules]')
    keys = ["line", "span", "option", "case", "against", "obstacle", "measure", "position"]
    both = crossed.check()["clearances"]
    joined = whole.merge(both, on=keys, suffixes=("", "_with"))
    assert len(joined) == len(whole) > 4
    np.testing.assert_allclose(joined["margin_m_with"], joined["margin_m"], atol=1e-6)
    over = both[(both["against"] == "line") & (both["line"] == "main") & (both["span"] == "2-3")]
    margins = over.groupby("case")["margin_m"].min()
    assert margins["back"] < margins["hot"] - 0.3 and margins["ahead"] == pytest.approx(margins["hot"], abs=1e-6)


def test_two_lines_that_cross(crossed):
    """Both lines have rows, and the minimum distance is that of the catenaries, within a millimetre."""
    findings = crossed.check()
    rows = findings.rows("clearances", against="line", measure="vertical")
    assert set(zip(rows["line"], rows["span"], rows["case"], strict=True)) == {
        (*name, case) for name in (("main", "2-3"), ("cross", "1-2")) for case in ("hot", "ice")}
    for row in rows.itertuples():
        line, span, wire = row.obstacle.split()
        at = crossing_of(findings, (row.line, row.span, row.wire), (line, span, wire))
        ours = elevations(findings, row.line, row.span, row.wire, "today", at)[row.case]
        theirs = elevations(findings, line, span, wire, "today", at)
        # Without load at the everyday temperature a wire may hang higher than in any case of this study.
        if row.position == "above":
            assert row.actual_m <= ours - max(theirs.values()) + 1e-3
        else:
            assert row.actual_m == pytest.approx(min(theirs.values()) - ours, abs=1e-3)
        assert row.margin_m == pytest.approx(row.actual_m - 2.5)
    assert {p for line, p in zip(rows["line"], rows["position"], strict=True) if line == "cross"} == {"below"}
    assert rows["other_state"].str.contains("of its own cases in still air").all()


def test_the_coldest_case_is_what_counts_below(crossed):
    """With a case colder than the everyday state both ways are exact: the lower wire at its highest."""
    crossed.change('name = "ice"\ntemperature = 0\nice = "12 mm"', 'name = "ice"\ntemperature = -20')
    findings = crossed.check()
    for row in findings.rows("clearances", against="line", line="main", measure="vertical").itertuples():
        line, span, wire = row.obstacle.split()
        at = crossing_of(findings, (row.line, row.span, row.wire), (line, span, wire))
        ours = elevations(findings, row.line, row.span, row.wire, "today", at)[row.case]
        theirs = elevations(findings, line, span, wire, "today", at)
        assert row.actual_m == pytest.approx(ours - theirs["ice"], abs=1e-3)


def test_a_crossing_that_falls_short_is_no_pass(crossed):
    """Raise the lower line until wires are 0.4 m apart: that was once not looked at."""
    raised(crossed, 4.5)
    findings = crossed.check()
    assert findings.result.status == 1
    assert {"main", "cross"} <= set(findings.rows("violations", against="line")["line"])


def test_an_option_meets_the_same_option_and_that_of_today(crossed):
    crossed.change("[[cases]]", SECOND_OPTION + "\n[[cases]]")
    findings = crossed.check()
    rows = findings.rows("clearances", against="line", case="hot", line="main")
    met = {(o, name.split("(")[1][:-1]) for o, name in zip(rows["option"], rows["obstacle"], strict=True)}
    assert met == {("today", "today"), ("alloy", "alloy"), ("alloy", "today")}


def test_without_a_rule_for_lines_nothing_passes(crossed):
    crossed.rules = RULES.replace("cross,line,vertical,2.5\n", "")
    findings = crossed.check()
    gaps = findings.rows("not_assessed", against="line")
    assert findings.result.status == 3 and {"main", "cross"} <= set(gaps["line"])


def test_a_branch_at_a_shared_structure_is_told(study, make):
    """A line that leaves from structure 2 of another: the spans that meet there are told of, others compared."""
    study.framings += LOW
    study.rules = RULES
    branch = northward(make, east=300.0, first=0.0)
    study.structures = pd.concat([study.structures, branch], ignore_index=True)
    study.change("[right_of_way]\nhalf_width = \"30 m\"\n", "")
    study.write_ground(low=(EAST - 400, NORTH - 500), high=(EAST + 1400, NORTH + 600))
    findings = study.check()
    gaps = findings.rows("not_assessed", against="line")
    assert set(zip(gaps["line"], gaps["span"], gaps["obstacle"], strict=True)) == {
        ("main", "1-2", "cross 1-2"), ("main", "2-3", "cross 1-2"), ("cross", "1-2", "main 1-2"),
        ("cross", "1-2", "main 2-3")}
    assert gaps["reason"].str.contains("end at one structure").all()
    assert not len(findings.rows("clearances", against="line"))


def test_limits_know_the_other_line(crossed):
    """The upper line's span over the lower one is limited by it, and the limit put back is a margin of zero."""
    raised(crossed, 2.5)
    crossed.change('name = "ice"\ntemperature = 0\nice = "12 mm"', 'name = "ice"\ntemperature = -20')
    limit = crossed.check().row("limits", line="main", span="2-3", option="today")
    assert limit["limit_temperature_c"] < 75 and limit["governing_against"] == "line"
    crossed.change("maximum_temperature = 75", f"maximum_temperature = {float(limit['limit_temperature_c'])!r}")
    rows = crossed.check().rows("clearances", line="main", span="2-3", case="hot")
    assert rows["margin_m"].min() == pytest.approx(0, abs=1e-3)


def test_batches_do_not_matter(crossed, monkeypatch):
    import corridor.check as main_job

    whole = crossed.check().rows("clearances", against="line")
    monkeypatch.setattr(main_job, "BATCH", 1)
    parts = crossed.check().rows("clearances", against="line")
    key = ["line", "span", "option", "case", "obstacle"]
    pd.testing.assert_frame_equal(whole.drop(columns="geometry").sort_values(key, ignore_index=True),
                                  parts.drop(columns="geometry").sort_values(key, ignore_index=True))


def test_lines_that_cross_where_one_leans(crossed):
    """Where the line turns its strings lean, and its wires are compared state by state, at both ends of their history:
    every option has its rows, with their wire where the catenaries cross."""
    crossed.change("loads_seen = true\n", "")
    crossed.text += SECOND_OPTION
    crossed.structures.loc[crossed.structures["structure"].eq("2") & crossed.structures["line"].eq("main"),
                           "northing"] = NORTH + 25
    rows = crossed.check().rows("clearances", against="line", measure="vertical", line="main")
    assert {*zip(rows["span"], rows["option"], rows["case"], strict=True)} == {
        ("2-3", option, case) for option in ("today", "alloy") for case in ("hot", "ice")}
