"""Exact equilibrium from the facts of a line to its findings: ice that is uneven, posts that bend, lengths that stay.

Statics by hand from the written wires; no formula of the solver.
"""

import numpy as np
import pytest

from corridor.line.facts import Case

from ..common import CONDUCTOR, findings, framings, option, rows_where, rules_of, structures
from ..test_structure_loads import LENGTH, MASS, hanging_at, only

ICE = {"ice": 0.012, "ice_density": 900.0}
BARE, ICED = Case("bare", -5.0), Case("iced", -5.0, **ICE)
ODD, EVEN = Case("odd", -5.0, **ICE, ice_spans="odd"), Case("even", -5.0, **ICE, ice_spans="even")
D, W = CONDUCTOR["diameter"], CONDUCTOR["mass"] * 9.80665
#: Weight of the iced wire, a ring of ice about it [N/m].
ICED_WEIGHT = W + 900 * 9.80665 * np.pi * (((D + 0.024) / 2) ** 2 - (D / 2) ** 2)
STIFFNESS = 400e-6 * 55e9 + 65e-6 * 190e9


def found(tmp_path, cases, framing=None, count=3, inner="hung", method="equilibrium"):
    names = ["held", *[inner] * (count - 2), "held"]
    line = structures(np.arange(count) * 300.0, np.zeros(count), framing=names,
                      base=[0.0, *[LENGTH if inner == "hung" else 0.0] * (count - 2), 0.0])
    return findings(line, framing or hanging_at(), rules_of(tmp_path, [("ground", "vertical", 6.0)]),
                    ground=lambda e, n: 0 * e - 50, cases=cases, method=method,
                    options=(option(core_expansion=23e-6),))[0]


def statics(row, weight):
    """Vertical pull of a wire on its start and end, and mean tension [N], from H and the ends that were written."""
    ends = np.array(row["geometry"].coords)[[0, -1]]
    (S, _, h), H = ends[1] - ends[0], row["horizontal_tension_n"]
    C = H / weight
    middle = C * np.arcsinh(h / (2 * C * np.sinh(S / (2 * C))))
    left, right = middle - S / 2, middle + S / 2
    x = np.linspace(left, right, 4001)
    mean = np.trapezoid(H * np.cosh(x / C) ** 2, x) / np.trapezoid(np.cosh(x / C), x)
    return -H * np.sinh(left / C), H * np.sinh(right / C), mean


def test_ice_on_one_of_two_spans_by_statics(tmp_path):
    """The string leans to the iced span until moments about its hinge agree, and both wires kept their length."""
    wires = found(tmp_path, (BARE, ICED, ODD))["wires"]
    a, b = (only(wires, span=span, case="odd") for span in ("T1-T2", "T2-T3"))
    (_, down_a, mean_a), (down_b, _, mean_b) = statics(a, ICED_WEIGHT), statics(b, W)
    end = np.array(a["geometry"].coords)[-1]
    lean, drop = 300 - end[0], 20 + LENGTH - end[2]
    assert np.hypot(lean, drop) == pytest.approx(LENGTH, abs=1e-6) and lean > 0.1
    pull = a["horizontal_tension_n"] - b["horizontal_tension_n"]
    assert pull == pytest.approx((down_a + down_b + MASS * 9.80665 / 2) * lean / drop, rel=1e-5)
    # Equal spans were strung alike: lengths differ by the strain of their tensions alone, F/K of both parts together.
    assert a["length_m"] - b["length_m"] == pytest.approx(300 * (mean_a - mean_b) / STIFFNESS, rel=2e-3)
    assert a["sag_m"] > only(wires, span="T1-T2", case="iced")["sag_m"] + 0.3
    assert b["sag_m"] < only(wires, span="T2-T3", case="bare")["sag_m"] - 0.3


def test_odd_and_even_mirror_each_other(tmp_path):
    layers = found(tmp_path, (ODD, EVEN))
    for one, other in (("T1-T2", "T2-T3"), ("T2-T3", "T1-T2")):
        sags = [only(layers["wires"], span=s, case=c)["sag_m"] for s, c in ((one, "odd"), (other, "even"))]
        assert sags[0] == pytest.approx(sags[1], abs=1e-6)
    margins = [only(layers["clearances"], span=s, case=c)["margin_m"]
               for s, c in (("T1-T2", "odd"), ("T2-T3", "even"))]
    assert margins[0] == pytest.approx(margins[1], abs=1e-6)
    along = [only(layers["structure_loads"], structure="T2", case=c)["longitudinal_n"] for c in ("odd", "even")]
    assert along[0] == pytest.approx(-along[1], rel=1e-6) and abs(along[0]) > 500


def test_named_spans_and_one_wire_that_dropped_its_ice(tmp_path):
    """Ice on every span by name is ice on all; a wire without its ice is the bare wire at that temperature."""
    two = framings([(f, w, "phase", y, 20.0, s, length, mass) for f, s, length, mass in
                    (("held", "strain", 0, 0), ("hung", "suspension", LENGTH, MASS)) for w, y in (("a", -3), ("b", 3))])
    every = Case("every", -5.0, **ICE, ice_on=("T1-T2", "T2-T3", "T3-T4"))
    off = Case("off", -5.0, **ICE, ice_off_wire="b")
    thin = Case("thin", -5.0, **ICE, ice_off_wire="b", ice_elsewhere=0.006)
    half = Case("half", -5.0, ice=0.006, ice_density=900.0)
    wires = found(tmp_path, (BARE, ICED, every, off, thin, half), two, count=4)["wires"]

    def sag(case, wire):
        return [only(wires, span=s, wire=wire, case=case)["sag_m"] for s in ("T1-T2", "T2-T3", "T3-T4")]

    for case, wire, like in (("every", "a", "iced"), ("off", "a", "iced"), ("off", "b", "bare"), ("thin", "b", "half")):
        assert sag(case, wire) == pytest.approx(sag(like, wire), abs=1e-5)
    assert min(sag("off", "a")) > max(sag("off", "b")) + 0.5


def test_uneven_ice_by_the_ruling_span_is_no_answer(tmp_path):
    """One tension for all spans cannot be right there: no wire, not a pass, a reason."""
    layers = found(tmp_path, (BARE, ODD), method="ruling_span")
    assert len(rows_where(layers["wires"], case="bare")) and not len(rows_where(layers["wires"], case="odd"))
    assert not len(rows_where(layers["clearances"], case="odd"))
    assert len(rows_where(layers["not_assessed"], case="odd")) == 2
    rows = found(tmp_path, (BARE, ODD))
    assert np.isnan(only(rows["sections"], case="odd")["horizontal_tension_n"])
    assert all(np.isnan(rows["wires"]["ruling_span_sag_m"][rows_where(rows["wires"], case="odd")]))


def test_a_post_bends_by_its_stiffness(tmp_path):
    """Deflection is the difference of both tensions over the stiffness; a stiff post is a held wire."""
    k = 20e3
    row_a, row_b = (only(found(tmp_path, (ODD,), hanging_at(stiffness=k), inner="post")["wires"], span=s, case="odd")
                    for s in ("T1-T2", "T2-T3"))
    bend = 300 - np.array(row_a["geometry"].coords)[-1][0]
    assert bend == pytest.approx((row_a["horizontal_tension_n"] - row_b["horizontal_tension_n"]) / k, rel=1e-4)
    assert bend > 0.05
    stiff, held = (only(found(tmp_path, (ODD,), hanging_at(stiffness=s), inner="post")["wires"], span="T1-T2",
                        case="odd") for s in (1e9, np.inf))
    assert stiff["sag_m"] == pytest.approx(held["sag_m"], abs=1e-4) and row_a["sag_m"] > held["sag_m"] + 0.05


def test_clamps_of_a_new_wire_on_a_slope(tmp_path):
    """In travellers the upper spans are tighter and strings lean uphill by the moments on them. Level: nothing."""
    count, rows = 6, {}
    for name, rise in (("level", 0.0), ("slope", 30.0)):
        line = structures(np.arange(count) * 300.0, np.zeros(count), framing=["held", *["hung"] * (count - 2), "held"],
                          base=rise * np.arange(count) + np.r_[0, np.full(count - 2, LENGTH), 0])
        rows[name] = findings(line, hanging_at(), rules_of(tmp_path, [("ground", "vertical", 6.0)]),
                              ground=lambda e, n: 0 * e - 50, cases=(BARE,), method="equilibrium",
                              options=(option(), option("new", existing=False)))[0]["clipping_offsets"]
    level, slope = rows["level"], rows["slope"]
    assert list(slope["option"]) == ["new"] * 4 and list(slope["structure"]) == ["T2", "T3", "T4", "T5"]
    assert np.abs(level["clipping_offset_m"]).max() < 1e-4 and np.abs(level["traveller_lean_m"]).max() < 1e-4
    # Tension is that of the structure below and the weight of as much wire as it is high: textbook catenary. Its
    # horizontal part is less by the slope.
    pull = slope["ahead_tension_n"] - slope["back_tension_n"]
    assert pull == pytest.approx(W * 30 * np.cos(np.arctan(0.1)), rel=0.02)
    down = W * np.hypot(300, 30) + MASS * 9.80665 / 2
    assert slope["traveller_lean_m"] == pytest.approx(LENGTH * np.sin(np.arctan(pull / down)), rel=0.03)
    # The lower spans are slacker in travellers, so that wire goes uphill as clamps are set: towards the middle most.
    assert (slope["clipping_offset_m"] < 0).all()
    assert slope["clipping_offset_m"][1] == pytest.approx(slope["clipping_offset_m"][2], rel=0.05)
    assert slope["clipping_offset_m"][1] < slope["clipping_offset_m"][0]


def test_new_wires_are_plumb_on_the_day_and_the_standing_one_today(tmp_path):
    """Unlike spans: where strings are plumb both have one tension. A new wire creeps by the same strain in both, which
    takes more of the tension of the short span: its string leans to the long one. Of the existing wire only today
    is known, so it is the other way round."""
    line = structures([0.0, 200, 600], [0.0, 0, 0], framing=["held", "hung", "held"], base=[0.0, LENGTH, 0.0])
    day, today = Case("day", 15.0, "initial"), Case("today", 15.0)
    wires = findings(line, hanging_at(), rules_of(tmp_path, [("ground", "vertical", 6.0)]), cases=(day, today),
                     ground=lambda e, n: 0 * e - 50, method="equilibrium",
                     options=(option("old"), option("new", existing=False)))[0]["wires"]
    for name, plumb, leans in (("new", "day", "today"), ("old", "today", "day")):
        pulls = {case: [only(wires, span=span, option=name, case=case) for span in ("T1-T2", "T2-T3")]
                 for case in ("day", "today")}
        short, long = (row["horizontal_tension_n"] for row in pulls[plumb])
        assert short == pytest.approx(long, rel=1e-6)
        assert np.array(pulls[plumb][0]["geometry"].coords)[-1] == pytest.approx([200, 0, 20], abs=1e-4)
        short, long = (row["horizontal_tension_n"] for row in pulls[leans])
        lean = np.array(pulls[leans][0]["geometry"].coords)[-1][0] - 200
        # Final is the longer wire: the short span, with less of it to spare for its sag, loses more of its tension.
        assert (long > short + 50 and lean > 0.02) if name == "new" else (short > long + 50 and lean < -0.02)


def clamps(tmp_path, bases, pull_ends=(), framing=None):
    count = len(bases)
    line = structures(np.arange(count) * 300.0, np.zeros(count), framing=["held", *["hung"] * (count - 2), "held"],
                      base=np.asarray(bases, float) + np.r_[0, np.full(count - 2, LENGTH), 0], role=framing)
    found = findings(line, hanging_at(), rules_of(tmp_path, [("ground", "vertical", 6.0)]), cases=(BARE,),
                     ground=lambda e, n: 0 * e - 50, method="equilibrium", pull_ends=pull_ends,
                     options=(option(), option("new", existing=False)))[0]
    return found["clipping_offsets"], found["wires"]


def test_blocks_are_strung_one_by_one(tmp_path):
    """A slope of seven spans in blocks of three, two and two. Each is as a section of its own that ends where the wire
    is held; between the blocks there is an anchor, which needs no offset. The wires are the same in the end."""
    bases = 30.0 * np.arange(8) + np.array([0, 2.0, -4, 3, 0, 5, -3, 0])
    (whole, wires), (parts, again) = (clamps(tmp_path, bases, ends) for ends in ((), ("T4", "T6")))
    assert set(whole["sag_section"]) == {"T1-T8"}
    assert dict(zip(parts["structure"], parts["sag_section"], strict=True)) == {
        "T2": "T1-T4", "T3": "T1-T4", "T4": "T1-T4", "T5": "T4-T6", "T6": "T4-T6", "T7": "T6-T8"}
    anchored = np.isin(parts["structure"], ["T4", "T6"])
    assert (parts["clipping_offset_m"][anchored] == 0).all() and np.isnan(parts["traveller_lean_m"][anchored]).all()
    assert np.abs(whole["clipping_offset_m"][anchored]).min() > 0.02
    # Within a block the tension along the wire rises with its height alone: `H_ahead - H_back` of a slope, as above.
    inner = ~anchored
    pull = (parts["ahead_tension_n"] - parts["back_tension_n"])[inner]
    assert (pull > 0.5 * W * 25).all() and (pull < 1.5 * W * 35).all()
    # At an anchor the next block begins: slacker below, tighter above than the block between.
    assert (parts["ahead_tension_n"] < parts["back_tension_n"])[anchored].all()
    np.testing.assert_array_equal(wires["horizontal_tension_n"], again["horizontal_tension_n"])
    # The clipped wire has one tension, between those that its block has in travellers.
    for block in ("T1-T4", "T4-T6", "T6-T8"):
        rows = parts["sag_section"] == block
        own = np.r_[parts["back_tension_n"][rows], parts["ahead_tension_n"][rows & inner]]
        assert own.min() < parts["horizontal_tension_n"][0] < own.max()


@pytest.mark.parametrize(("end", "mine", "alone"), [("T4", ["T2", "T3"], np.s_[:4]), ("T3", ["T4", "T5"], np.s_[2:])])
def test_a_block_between_anchors_is_a_section_that_is_held_there(tmp_path, end, mine, alone):
    """Offsets of the first three spans of five, and of the last three, are those of a line that ends, or begins, at the
    anchor, where the wire hangs when it is plumb."""
    bases = np.array([0.0, 12.0, 15.0, 40.0, 44.0, 60.0])
    parts, _ = clamps(tmp_path, bases, (end,))
    lone, _ = clamps(tmp_path, bases[alone])
    for name in ("clipping_offset_m", "traveller_lean_m"):
        own = parts[name][np.isin(parts["structure"], mine)]
        # The limit is of the whole section, whose ruling span is the same; the highest support is another.
        np.testing.assert_allclose(own, lone[name], rtol=0.02)


@pytest.mark.parametrize("name", ["9", "1"])
def test_a_block_that_ends_nowhere_is_refused(study, capsys, name):
    """A structure that there is not, and a terminal one, which ends a block anyway."""
    study.change("[framings]", f'[stringing]\npull_ends = ["{name}"]\n[framings]')
    study.write()
    assert study.command("--quiet") == 2
    assert f"stringing.pull_ends.0: found '{name}'" in " ".join(capsys.readouterr().err.split())


def test_blocks_of_a_study(study):
    study.change("[framings]", '[stringing]\npull_ends = ["2"]\n[framings]')
    study.change("existing = true\n", "")
    study.write()
    found = study.check()
    assert found.row("clipping_offsets", wire="A", structure="2", option="today")["sag_section"] == "1-2"


KEYS = 'ice = "12 mm"\n'


@pytest.mark.parametrize(("added", "words"), [
    ('ice_on = ["1-9"]\n', "cases.ice.ice_on"),
    ('ice_off_wire = "Z"\n', "cases.ice.ice_off_wire"),
    ('ice_elsewhere = "6 mm"\n', "cases.ice.ice_elsewhere"),
    ('ice_spans = "odd"\nice_elsewhere = "12 mm"\n', "less than the ice"),
    ('ice_spans = "odd"\nwind = 300\nchecks = ["vertical"]\n', "cases.ice.checks"),
])
def test_impossible_ice_is_refused(study, capsys, added, words):
    study.change(KEYS, KEYS + added)
    study.write()
    assert study.command("--quiet") == 2
    assert words in " ".join(capsys.readouterr().err.split())


def test_a_study_with_alternate_ice_runs(study):
    study.change(KEYS, KEYS + 'ice_spans = "even"\nice_elsewhere = "3 mm"\n')
    study.write()
    found = study.check()
    # Of the section of two spans the second has the ice; that of one span has no second, and none.
    sags = [found.row("wires", case="ice", wire="A", span=span)["sag_m"] for span in ("1-2", "2-3", "3-4")]
    assert sags[1] > sags[0] + 0.5
    assert sags[1] > sags[2]
