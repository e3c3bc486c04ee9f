"""Shield wires in another state than the phases below them: iced above bare ones, cool above hot ones, iced elsewhere.

Distances are held against wires hung by hand: the change of state of one span between strain structures, found by root
finding on the catenary's length, and the minimum distance by brute force.
"""

import numpy as np
import pytest
from scipy.optimize import brentq

from corridor.conductor import catalogue
from corridor.errors import InputError
from tests.common import ask

from .curves import hung
from .test_own_wires import space

RULES = """\
rule,against,measure,base
open,ground,vertical,4
phases,own_phase,radial,5
earth,own_shield_wire,radial,2.2
"""
WIRE = '\n[own_wires]\n[shield_wire]\nconductor = "3/8 EHS"\n[[shield_wire.stringing]]\nlimit = "15 % RTS"\n' \
    "temperature = 10\n"
DROPPED = '[[cases]]\nname = "dropped"\ntemperature = 0\nchecks = ["vertical"]\n'


@pytest.fixture
def strained(study):
    """Every structure holds its wires; a shield wire of steel 2.5 m above phase B."""
    study.structures["role"] = ["terminal", "strain", "strain", "terminal"]
    study.structures["framing"] = "hold"
    study.framings += "hold,S,shield,,5,21.5,strain,,\n"
    study.rules = RULES
    study.text += WIRE
    return study


def add_case(study, text):
    study.change('[[cases]]\nname = "swung"\n', text + '[[cases]]\nname = "swung"\n')


def brute(p, q):
    """Minimum distance of two wires: every 0.1 m of both, then five times finer about the best."""
    s, t, width = 0.5, 0.5, 0.5
    for count in (3001, 201, 201, 201):
        a, b = (np.clip(middle + np.linspace(-width, width, count), 0, 1) for middle in (s, t))
        one, other = p(a), q(b)
        each = [np.linalg.norm(other - place, axis=-1) for place in one]
        i = int(np.argmin([row.min() for row in each]))
        s, t, least, width = a[i], b[each[i].argmin()], each[i].min(), width * 20 / count
    return least


def low_point(S, h, C):
    """Abscissa of both ends from the low point, by bisection."""
    a = brentq(lambda a: C * (np.cosh((S - a) / C) - np.cosh(a / C)) - h, -30 * S, 30 * S, xtol=1e-12)
    return -a, S - a


def length_and_tension(S, h, C, w):
    """Length of a wire and its mean tension, by the integral of w y over its length."""
    x = np.array(low_point(S, h, C))
    L = C * np.diff(np.sinh(x / C))[0]
    return L, w * np.diff(C * x / 2 + C**2 / 4 * np.sinh(2 * x / C))[0] / L


def constant_by_hand(wire, S, h, share, ice, T, outer_set, density=913.0, T_0=10.0):
    """Catenary constant with `ice` at `T`, of a wire that is strung final to a share of its strength at `T_0`, bare.

    Strains count from the unstressed length at 20 °C; the set of the outer part, of second order here, is given.
    """
    K = wire.outer_modulus * wire.outer_area + wire.core_modulus * wire.core_area
    a = (wire.outer_modulus * wire.outer_area * wire.outer_expansion
         + wire.core_modulus * wire.core_area * wire.core_expansion) / K
    w_0 = wire.mass * 9.80665
    w = w_0 + np.pi / 4 * ((wire.diameter + 2 * ice) ** 2 - wire.diameter**2) * density * 9.80665

    def greatest(H):
        C = H / w_0
        return H * np.cosh(max(np.abs(low_point(S, h, C))) / C)

    H_0 = brentq(lambda H: greatest(H) - share * wire.rts, 0.5 * share * wire.rts, share * wire.rts)
    share_of_set = wire.outer_modulus * wire.outer_area / K * outer_set

    def stretched(C, load, temperature):
        L, tension = length_and_tension(S, h, C, load)
        return L / (1 + tension / K + a * (temperature - 20) + share_of_set)

    def miss(C):
        return stretched(C, w, T) / stretched(H_0 / w_0, w_0, T_0) - 1

    return brentq(miss, 300, 5000, xtol=1e-9)


def test_an_iced_shield_wire_above_a_phase_that_has_dropped_its_ice(strained):
    """15 mm at -2 °C above bare phases at 0 °C: within 1 mm of the distance by hand, and it is in violation."""
    add_case(strained, DROPPED + 'shield = {ice = "15 mm", temperature = -2}\n')
    findings = strained.check()
    rows = findings.rows("clearances", against="own_shield_wire", case="dropped", obstacle="B-S")
    assert len(rows) == 3
    shield, phase = catalogue.find("3/8 EHS"), catalogue.find("264-AL1/62-ST1A")
    for row in rows.itertuples():
        span = findings.row("spans", span=row.span)
        S, h = span["length_m"], span["rise_m"]
        curves = []
        for wire, share, ice, T, name in ((shield, 0.15, 0.015, -2, "S"), (phase, 0.18, 0.0, 0, "B")):
            outer_set = findings.row("sections", section=span["section"], case="dropped",
                                     wire_kind="shield" if name == "S" else "phase")["outer_set"]
            C = constant_by_hand(wire, S, h, share, ice, T, outer_set)
            drawn = findings.row("wires", span=row.span, wire=name, case="dropped")
            assert drawn["catenary_constant_m"] == pytest.approx(C, rel=2e-5)
            assert drawn["conductor_temperature_c"] == T
            a, b, _ = hung(findings, drawn)
            curves.append(space(a, b, C, S=S))
        by_hand = brute(*curves)
        assert row.actual_m == pytest.approx(by_hand, abs=1e-3) and 0.5 < by_hand < 2.1
        assert row.margin_m == pytest.approx(by_hand - 2.2, abs=1e-3)
        assert row.other_state == "with 15 mm of ice at -2 °C, this wire bare at 0 °C"
    assert len(findings.rows("violations", against="own_shield_wire", case="dropped", obstacle="B-S")) == 3
    assert findings.result.status == 1
    # A neighbour that is not below the shield wire is far from it.
    beside = findings.rows("clearances", against="own_shield_wire", case="dropped", obstacle="A-S")
    assert len(beside) == 3 and (beside["margin_m"] > 0).all()


def test_the_same_case_without_it_is_clear(strained):
    """All bare at 0 °C the shield wire sags less than the phase: nearest at the structures, 2.5 m upright."""
    add_case(strained, DROPPED)
    rows = strained.check().rows("clearances", against="own_shield_wire", case="dropped", obstacle="B-S")
    assert set(rows["other_state"]) == {"in the same state"} and rows["actual_m"].between(2.48, 2.5).all()


def test_a_cool_shield_wire_above_hot_phases(strained):
    """Phases at their maximum, 75 °C, the shield wire at 15 instead of its own maximum: it hangs higher by hand."""
    strained.change('checks = ["vertical"]\n', 'checks = ["vertical"]\nshield = {temperature = 15}\n')
    findings = strained.check()
    wires = findings.rows("wires", case="hot").groupby("kind")["conductor_temperature_c"]
    assert wires.agg(set).to_dict() == {"phase": {75.0}, "shield": {15.0}}
    for row in findings.rows("wires", case="hot", wire="S").itertuples():
        span = findings.row("spans", span=row.span)
        C = constant_by_hand(catalogue.find("3/8 EHS"), span["length_m"], span["rise_m"], 0.15, 0.0, 15, 1e-4)
        assert row.catenary_constant_m == pytest.approx(C, rel=2e-5)
    told = set(findings.rows("clearances", against="own_shield_wire", case="hot")["other_state"])
    assert told == {"bare at 15 °C, this wire bare at its maximum temperature"}
    assert set(findings.rows("clearances", against="own_phase", case="hot")["other_state"]) == {
        "bare at its maximum temperature, this wire bare at its maximum temperature"}


ALONE = """[[cases]]
name = "phases"
temperature = 0
ice = "12 mm"
ice_spans = "odd"
checks = ["vertical"]
[[cases]]
name = "shield"
temperature = 0
ice = "20 mm"
ice_spans = "even"
checks = ["vertical"]
[[cases]]
name = "both"
temperature = 0
ice = "12 mm"
ice_spans = "odd"
checks = ["vertical"]
shield = {ice = "20 mm", ice_spans = "even"}
"""


def test_both_iced_in_other_spans(study):
    """Phases with ice in odd spans, the shield wire in even ones, strings swinging along the line: each kind hangs as
    in the case in which all wires carry what it does, and they are as far apart as by brute force."""
    study.framings += "hold,S,shield,,5,23,strain,,\nhang,S,shield,,5,24,suspension,0.3,4\n"
    study.rules, study.text = RULES, study.text + WIRE
    add_case(study, ALONE)
    findings = study.check()
    for kind, alone in (("phase", "phases"), ("shield", "shield")):
        mine, other = (findings.rows("wires", case=case, kind=kind) for case in ("both", alone))
        assert len(mine) and mine["sag_m"].to_numpy() == pytest.approx(other["sag_m"].to_numpy(), abs=1e-6)
    rows = findings.rows("clearances", against="own_shield_wire", case="both", obstacle="B-S")
    assert len(rows) == 3 and rows["other_state"].eq(
        "with 20 mm of ice in even spans at 0 °C, this wire with 12 mm of ice in odd spans at 0 °C").all()
    for row in rows.itertuples():
        curves = []
        for name, case in (("B", "phases"), ("S", "shield")):
            drawn = findings.row("wires", span=row.span, wire=name, case=case)
            a, b, S = hung(findings, drawn)
            curves.append(space(a, b, drawn["catenary_constant_m"], S=S))
        assert row.actual_m == pytest.approx(brute(*curves), abs=1e-3)
    # In span 2-3 the shield wire alone is iced: nearer there than anywhere else.
    assert rows.set_index("span")["actual_m"].idxmin() == "2-3"


def test_ice_that_both_carry_may_drop_from_either(strained):
    """Unlike thickness on both: the worst of both iced, the phase bare, the shield wire bare."""
    add_case(strained, DROPPED + 'ice = "10 mm"\nshield = {ice = "15 mm"}\n')
    row = strained.check().rows("clearances", against="own_shield_wire", case="dropped", obstacle="B-S").iloc[0]
    assert row["other_state"] == "with 15 mm of ice at 0 °C, this wire bare at 0 °C"


@pytest.mark.parametrize(("keys", "found"), [
    ("shield = {}", "cases.dropped.shield: found no key"),
    ("shield = {ice_spans = 'odd'}", "cases.dropped.shield.ice_spans: found spans of no ice"),
    ("shield = {ice_density = 600}", "cases.dropped.shield.ice_density: found a density of no ice"),
    ("shield = {temperature = 'hot'}", "cases.dropped.shield.temperature: found 'hot'"),
    ("shield = {thickness = 0.01}", "cases.dropped.shield.thickness"),
])
def test_a_state_that_says_nothing_is_refused(strained, keys, found):
    add_case(strained, DROPPED + keys + "\n")
    with pytest.raises(InputError, match=found):
        strained.check()


def test_a_state_of_no_shield_wire_is_refused(study):
    add_case(study, DROPPED + "shield = {temperature = 0}\n")
    with pytest.raises(InputError, match=r"cases.dropped.shield: found a state of shield wires; .*\[shield_wire"):
        study.check()


def test_ice_on_shield_wires_is_inspected(strained):
    """Ice of 200 mm on the shield wire alone: a slip of the unit, told with its case; the phases' state raises none."""
    add_case(strained, DROPPED + 'shield = {ice = "200 mm"}\n')
    told = [each.doubt for each in ask(strained.write(), "inspect").doubts if each.doubt.kind.id == "ice-unusual"]
    assert [doubt.feature for doubt in told] == ["dropped, shield wires"]
