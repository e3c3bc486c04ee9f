"""Cases in which each span is looked at in a state of its own: ice on it alone or beside it, a wire broken next to it.

Ice against cases that name the spans, one by one; broken wires against statics by hand from the written wires, with no
formula of the solver, which `tests/properties/test_unlike_spans.py` holds against a general search.
"""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
import shapely

from corridor.assessment import assess_spans, make_scene
from corridor.clearance.capacity import Capacities, Totals
from corridor.clearance.electric_fields import hot_case
from corridor.clearance.own_wires import own_findings
from corridor.jobs.compare import states_of
from corridor.line.facts import Case, OwnWires
from corridor.planning.conductor_search.search import add_to_study
from corridor.study import load_study

from ..common import ask, findings, framings, ground_of, obstacles, option, rows_where, rules_of, structures
from ..test_structure_loads import LENGTH, MASS, hanging_at, only
from .test_equilibrium import ICE, STIFFNESS, W, statics

SPANS = (260.0, 340.0, 300.0, 280.0)
NAMES = [f"T{i + 1}-T{i + 2}" for i in range(len(SPANS))]
BARE = Case("bare", 40.0, checks=("vertical", "tension"))
EACH, OTHERS = (Case(name, -5.0, **ICE, ice_spans=name, ice_elsewhere=0.003) for name in ("each", "others"))
BACK, AHEAD = (Case(name, 40.0, broken=name, checks=("vertical", "tension")) for name in ("back", "ahead"))
TWO = framings([(f, w, "phase", y, 20.0 + up, s, length, mass) for f, s, length, mass in
                (("held", "strain", 0, 0), ("hung", "suspension", LENGTH, MASS)) for w, y, up in
                (("low", -1.0, 0.0), ("high", 1.0, 4.5))])


def found(tmp_path, cases, *, framing=None, spans=SPANS, method="equilibrium", options=None, ground=None, **more):
    count = len(spans) + 1
    names = ["held", *["hung"] * (count - 2), "held"]
    line = structures(np.r_[0.0, np.cumsum(spans)], np.zeros(count), framing=names,
                      base=[0.0, *[LENGTH] * (count - 2), 0.0])
    return findings(line, framing or hanging_at(), rules_of(tmp_path, [("ground", "vertical", 6.0)]),
                    ground=ground or (lambda e, n: 0 * e - 20), cases=cases, method=method,
                    options=options or (option(core_expansion=23e-6),), **more)


def ends(row):
    return np.array(row["geometry"].coords)[[0, -1]]


def test_ice_on_each_span_alone_is_ice_on_the_span_named(tmp_path):
    """Every row of a span is that of the case in which it alone is named, sag, margin, tension and place."""
    named = tuple(Case(name, -5.0, **ICE, ice_on=(name,), ice_elsewhere=0.003) for name in NAMES)
    rest = tuple(Case(f"not {name}", -5.0, **ICE, ice_on=tuple(n for n in NAMES if n != name), ice_elsewhere=0.003)
                 for name in NAMES)
    layers = found(tmp_path, (EACH, OTHERS, Case("even", -5.0, **ICE), *named, *rest))[0]
    for case, prefix in (("each", ""), ("others", "not ")):
        for name in NAMES:
            for layer, columns in (("wires", ("sag_m", "horizontal_tension_n", "maximum_tension_n")),
                                   ("clearances", ("margin_m", "station_m", "wire_elevation_m"))):
                mine, theirs = (only(layers[layer], span=name, case=each) for each in (case, prefix + name))
                for column in columns:
                    assert mine[column] == pytest.approx(theirs[column], rel=1e-6, abs=1e-5)
    for name in NAMES:
        sags = [only(layers["wires"], span=name, case=case)["sag_m"] for case in ("each", "even", "others")]
        assert sags[0] > sags[1] + 0.2 and sags[2] < sags[1] - 0.2


def test_loads_on_structures_are_of_one_state_of_the_section(tmp_path):
    """That with ice on the span back or on the span ahead, whichever pulls more along the line; never one span of each.
    """
    named = tuple(Case(name, -5.0, **ICE, ice_on=(name,), ice_elsewhere=0.003) for name in NAMES)
    loads = found(tmp_path, (EACH, *named))[0]["structure_loads"]
    for structure, (back, ahead) in zip(("T2", "T3", "T4"), pairwise(NAMES), strict=True):
        row = only(loads, structure=structure, case="each")
        states = [only(loads, structure=structure, case=name) for name in (back, ahead)]
        worst = max(states, key=lambda state: abs(state["longitudinal_n"]))
        for column in ("vertical_n", "transverse_n", "longitudinal_n"):
            assert row[column] == pytest.approx(worst[column], rel=1e-6, abs=0.05)
        assert abs(row["longitudinal_n"]) > 300 and np.isnan(row["weight_span_m"])


def test_beside_a_break_by_statics(tmp_path):
    """The string leans along the line until the moment about its hinge is nothing, and the wire keeps its length."""
    wires = found(tmp_path, (BARE, BACK, AHEAD), spans=(300.0, 300.0))[0]["wires"]
    for case, span, node, sign in (("ahead", "T1-T2", 1, 1), ("back", "T2-T3", 0, -1)):
        row, whole = (only(wires, span=span, case=each) for each in (case, "bare"))
        down, mean = statics(row, W)[node], statics(row, W)[2]
        lean, drop = sign * (300 - ends(row)[node][0]), 20 + LENGTH - ends(row)[node][2]
        assert np.hypot(lean, drop) == pytest.approx(LENGTH, abs=1e-6) and lean > 1
        assert row["horizontal_tension_n"] * drop == pytest.approx((down + MASS * 9.80665 / 2) * lean, rel=1e-4)
        assert row["length_m"] - whole["length_m"] == pytest.approx(
            300 * (mean - statics(whole, W)[2]) / STIFFNESS, rel=2e-3)
        assert row["horizontal_tension_n"] < 0.7 * whole["horizontal_tension_n"]
        assert row["sag_m"] > whole["sag_m"] + 2 and row["broken_span"] == {"T1-T2": "T2-T3", "T2-T3": "T1-T2"}[span]


def test_where_the_section_ends_the_wire_is_whole_and_that_is_told(tmp_path):
    layers = found(tmp_path, (BARE, BACK, AHEAD))[0]
    for case, last, beside in (("ahead", NAMES[-1], 1), ("back", NAMES[0], -1)):
        for i, name in enumerate(NAMES):
            row, whole = (only(layers["wires"], span=name, case=each) for each in (case, "bare"))
            margins = [only(layers["clearances"], span=name, case=each) for each in (case, "bare")]
            if name == last:
                assert row["sag_m"] == pytest.approx(whole["sag_m"], abs=1e-9) and row["broken_span"] is None
                assert margins[0]["broken_span"] is None
                assert margins[0]["margin_m"] == pytest.approx(margins[1]["margin_m"], abs=1e-9)
            else:
                assert row["sag_m"] > whole["sag_m"] + 0.3 and row["broken_span"] == NAMES[i + beside]
                assert margins[0]["broken_span"] == row["broken_span"]
                assert margins[0]["margin_m"] < margins[1]["margin_m"] - 0.2
    assert not any(layers["wires"]["broken_span"][rows_where(layers["wires"], case="bare")])


def test_a_line_turned_round_has_the_same_broken_wires(tmp_path):
    there, back = (found(tmp_path, (BACK, AHEAD), spans=spans)[0] for spans in (SPANS, SPANS[::-1]))
    for name, other in zip(NAMES, NAMES[::-1], strict=True):
        for case, turned in (("back", "ahead"), ("ahead", "back")):
            for layer, column in (("wires", "sag_m"), ("clearances", "margin_m")):
                assert only(there[layer], span=name, case=case)[column] == pytest.approx(
                    only(back[layer], span=other, case=turned)[column], abs=1e-5)


def test_a_broken_wire_alone_makes_a_violation(tmp_path):
    """A road that the wire clears when whole, hot and iced; the brute force: the written curve over the road's top."""
    whole = found(tmp_path, (BARE, BACK, AHEAD))[0]["wires"]
    row, low = (only(whole, span=NAMES[1], case=case) for case in ("bare", "back"))
    x = 300.0

    def height(row):
        curve = shapely.get_coordinates(row["geometry"], include_z=True)
        return np.interp(x, curve[:, 0], curve[:, 2])

    top = (height(row) + height(low)) / 2 - 6.0
    road = obstacles([("ground", shapely.LineString([(x, -20, top), (x, 20, top)]), True, np.nan, np.nan)])
    layers = found(tmp_path, (BARE, BACK, AHEAD), things=road)[0]
    margin = only(layers["clearances"], span=NAMES[1], case="back", obstacle="ground:0")["margin_m"]
    assert margin == pytest.approx((height(low) - height(row)) / 2, abs=0.02) and margin < -0.2
    assert only(layers["clearances"], span=NAMES[1], case="bare", obstacle="ground:0")["margin_m"] > 0.2
    assert {*layers["violations"]["case"]} <= {"back", "ahead"} and "back" in layers["violations"]["case"]


def test_by_the_ruling_span_none_of_it_is_assessed(tmp_path):
    layers = found(tmp_path, (BARE, EACH, OTHERS, BACK, AHEAD), method="ruling_span")[0]
    for case in ("each", "others", "back", "ahead"):
        assert len(rows_where(layers["wires"], case="bare")) == 4 and not len(rows_where(layers["wires"], case=case))
        assert not len(rows_where(layers["clearances"], case=case))
        assert not len(rows_where(layers["structure_loads"], case=case))
        reasons = layers["not_assessed"]["reason"][rows_where(layers["not_assessed"], case=case)]
        assert len(reasons) == 4 and all("needs the exact equilibrium" in reason for reason in reasons)
    rows = found(tmp_path, (BACK, AHEAD))[0]
    assert np.isnan(rows["wires"]["ruling_span_sag_m"]).all()
    assert np.isnan(rows["sections"]["horizontal_tension_n"]).all()


def test_loads_beside_a_break(tmp_path):
    """The wire that is left pulls with all its tension along the line; at a dead end it pulls most when whole."""
    layers = found(tmp_path, (BARE, BACK, AHEAD))[0]
    loads, wires = layers["structure_loads"], layers["wires"]
    for i, structure in enumerate(("T2", "T3", "T4")):
        for case, span, node, sign in (("ahead", NAMES[i], 1, -1), ("back", NAMES[i + 1], 0, 1)):
            wire, row = only(wires, span=span, case=case), only(loads, structure=structure, case=case)
            assert row["longitudinal_n"] == pytest.approx(sign * wire["horizontal_tension_n"], rel=1e-5)
            assert row["vertical_n"] == pytest.approx(statics(wire, W)[node] + MASS * 9.80665, rel=1e-4)
            assert np.isnan(row["weight_span_m"]) and row["at_structure"] is None
    for structure, span in (("T1", NAMES[0]), ("T5", NAMES[-1])):
        whole = only(wires, span=span, case="bare")["horizontal_tension_n"]
        for case in ("back", "ahead"):
            assert abs(only(loads, structure=structure, case=case)["longitudinal_n"]) == pytest.approx(whole, rel=1e-6)


def test_one_wire_is_broken_at_a_structure_as_a_whole(tmp_path):
    """All wires whole pull evenly; one that is broken leaves the pull of its other side. Of two unlike wires the worse.
    """
    layers, facts, plan = found(tmp_path, (BARE, BACK, AHEAD), framing=TWO)
    loads = layers["structure_loads"]
    blank = np.array([""], object)
    given = Capacities(blank, blank, np.array(["hung"], object), blank, blank, np.full((1, 3), 20e3), {})
    facts = replace(facts, capacities=given)

    def low(e, n):
        return 0 * e - 20

    totals = Totals(facts)
    totals.add(*assess_spans(facts, plan, ground_of(low), 0, 3)["structure_totals"])
    rows = totals.rows(plan.base_elevation)
    whole = {name: only(loads, structure="T3", case="bare", wire=name) for name in ("low", "high")}
    broken = {name: only(loads, structure="T3", case="ahead", wire=name) for name in ("low", "high")}
    row = only(rows, structure="T3", case="ahead")
    along = [abs(whole[b]["longitudinal_n"] + broken[a]["longitudinal_n"])
             for a, b in (("low", "high"), ("high", "low"))]
    assert row["factored_longitudinal_n"] == pytest.approx(max(along), rel=1e-4)
    assert row["factored_vertical_n"] == pytest.approx(sum(each["vertical_n"] for each in whole.values()), rel=1e-6)
    assert row["factored_longitudinal_n"] < 0.6 * sum(abs(each["longitudinal_n"]) for each in broken.values())


def test_own_wires_of_which_one_is_broken(tmp_path):
    """The upper one sags towards the lower, which is whole: not both at once."""
    _, facts, plan = found(tmp_path, (BARE, BACK, AHEAD), framing=TWO)
    rules = rules_of(tmp_path, [("own_phase", "radial", 1.0), ("ground", "vertical", 6.0)])
    facts = replace(facts, own_wires=OwnWires(), rules=rules)
    (columns,), gaps = own_findings(facts, lambda cases: make_scene(replace(facts, cases=cases), plan, 0, 3)[0])
    assert not gaps
    wires = found(tmp_path, (BARE, BACK, AHEAD), framing=TWO)[0]["wires"]
    for case, span in (("back", NAMES[1]), ("ahead", NAMES[1]), ("ahead", NAMES[0])):
        def curve(wire, case, span=span):
            return only(wires, span=span, wire=wire, case=case)["geometry"]

        row = only(columns, span=span, case=case)
        # Chords of 10 m lie above the wire by a few millimetres.
        apart = {}
        for broken, other in (("high", "low"), ("low", "high")):
            a, b = (shapely.get_coordinates(curve(wire, each), include_z=True) for wire, each in
                    ((broken, case), (other, "bare")))
            t = np.linspace(0, 1, 4001)
            fine = [np.column_stack([np.interp(t, np.linspace(0, 1, len(c)), column) for column in c.T])
                    for c in (a, b)]
            apart[broken] = min(np.linalg.norm(fine[0][i] - fine[1], axis=1).min() for i in range(0, 4001, 8))
        assert row["actual_m"] == pytest.approx(min(apart.values()), abs=0.02)
        assert "broken in the span" in row["other_state"] and "whole" in row["other_state"]
        assert apart["high"] < 4.0 < only(columns, span=span, case="bare")["actual_m"]


def test_what_looks_for_an_ordinary_case_takes_none_with_a_broken_wire(tmp_path):
    """Neither the hot case of electric fields, nor those that options are compared in; a new one stands for it."""
    hot = tuple(replace(case, temperature="maximum") for case in (BACK, AHEAD))
    cold = tuple(replace(case, name=f"cold {case.name}", temperature=15.0) for case in (BACK, AHEAD))
    _, facts, _ = found(tmp_path, (*hot, *cold))
    assert hot_case(facts.cases) is None
    states = states_of(facts)
    assert not {states.everyday, states.hot} & {case.name for case in facts.cases}


def test_the_limit_of_a_span_is_found_with_the_broken_wire(tmp_path):
    """Hung at the temperature that `limits` tells, the worst margin of broken wires is nothing."""
    hot = tuple(replace(case, temperature="maximum", checks=("vertical",)) for case in (BARE, BACK, AHEAD))
    ground = {"ground": lambda e, n: 0 * e + 20 - 6.0 - 11.0}
    limits = found(tmp_path, hot, **ground)[0]["limits"]
    alone = found(tmp_path, hot[:1], **ground)[0]["limits"]
    tried = 0
    for name in NAMES:
        row, whole = only(limits, span=name), only(alone, span=name)
        if row["governs"] != "clearance":
            continue
        tried += 1
        assert row["limit_temperature_c"] < whole["limit_temperature_c"] - 1
        assert row["governing_case"] in ("back", "ahead")
        at = tuple(replace(case, temperature=float(row["limit_temperature_c"])) for case in hot)
        margins = found(tmp_path, at, **ground)[0]["clearances"]
        own = rows_where(margins, span=name)
        assert margins["margin_m"][own].min() == pytest.approx(0, abs=1e-3)
    assert tried >= 2


CASES = '''[[cases]]
name = "broken back"
temperature = 15
broken = "back"
[[cases]]
name = "broken ahead"
temperature = 15
broken = "ahead"
[[cases]]
name = "one span"
temperature = 0
ice = "12 mm"
ice_spans = "each"
[rules]
'''


def test_a_study_with_all_of_it_runs(study):
    study.change("[rules]\n", CASES)
    found = study.check()
    assert not found["not_assessed"]["case"].isin(["broken back", "broken ahead"]).any()
    for span, back, ahead in (("1-2", None, "2-3"), ("2-3", "1-2", None), ("3-4", None, None)):
        for case, beside in (("broken back", back), ("broken ahead", ahead)):
            told = found.row("wires", case=case, wire="A", span=span)["broken_span"]
            assert pd.isna(told) if beside is None else told == beside
    even, alone = (found.row("wires", case=case, wire="A", span="1-2")["sag_m"] for case in ("ice", "one span"))
    assert alone > even + 0.1


def test_finalists_of_a_design_are_strung_in_no_case_with_a_broken_wire(study):
    """The study that they are added to is one that can be read, with both of these cases in it."""
    study.change("[rules]\n", CASES)
    study.text += ("[rating]\nambient = 35\nwind_speed = 0.6\nsolar = 1000\nrequired_current = 400\n"
                   "[design]\ncandidates = 1000\nfinalists = 1\nload_ratio = 1.1\n")
    result = ask(study.write(), "design")
    assert result.finalists
    add_to_study(result, study.folder / "added.toml")
    added = load_study(study.folder / "added.toml")
    assert {"ice", "one span"} <= {limit.case for limit in added.options[-1].stringing} and len(added.options) > 1
    assert [case.broken for case in added.cases if case.broken] == ["back", "ahead"]


@pytest.mark.parametrize(("change", "words"), [
    (("broken = \"ahead\"\n", ""), "cases.\"broken back\".broken"),
    (("broken = \"ahead\"\n", "broken = \"ahead\"\nice = \"5 mm\"\n"), "cases.\"broken back\".broken"),
    (("broken = \"ahead\"\n", "broken = \"beside\"\n"), "cases.\"broken ahead\".broken"),
    (("broken = \"back\"\n", "broken = \"back\"\nwind = 300\n"), "cases.\"broken back\".wind"),
    (("broken = \"back\"\n", "broken = \"back\"\nice = \"9 mm\"\nice_on = [\"1-2\"]\n"),
         "cases.\"broken back\".ice_spans"),
])
def test_broken_wires_that_cannot_be_are_refused(study, capsys, change, words):
    study.change("[[cases]]\nname = \"ice\"", CASES.removesuffix("[rules]\n") + "[[cases]]\nname = \"ice\"")
    study.change(*change)
    study.write()
    assert study.command("--quiet") == 2
    assert words in " ".join(capsys.readouterr().err.split())


def test_no_limit_of_stringing_is_in_a_case_with_a_broken_wire(study, capsys):
    study.change("[rules]\n", CASES)
    study.change('limit = "18 % RTS"\ntemperature = 10\n', 'limit = "18 % RTS"\ncase = "broken back"\n')
    study.write()
    assert study.command("--quiet") == 2
    assert "options.today.stringing.0.case" in " ".join(capsys.readouterr().err.split())
