"""What a wire has been through: load, creep, pretension, measurement, and limits that hang on them.

Checked by SciPy's `brentq` on the same physics written anew for one wire, and by what must be: each limit met and one
of them with equality, a measured tension returned, nothing added to it.
"""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.optimize import brentq

from corridor.clearance.margin_band import margin_band
from corridor.conductor import catalogue
from corridor.conductor.conductor import conductor_from
from corridor.conductor.curves import built_in
from corridor.errors import InputError
from corridor.geometry.catenary import greatest_sag, mean_tension_ratio, slack
from corridor.geometry.distance import heights
from corridor.inputs.measured import read_measured
from corridor.line.build import Sections
from corridor.line.elongation_laws import law_rows, take_law
from corridor.line.facts import Case, Measured, Option
from corridor.line.history_ends import law_at_end
from corridor.mechanics import ruling_span
from corridor.mechanics.curves import counted_from
from corridor.mechanics.elongation import strain
from corridor.mechanics.history import predicted_creep, settle
from corridor.mechanics.stringing import greatest_tension

from .common import findings, framings, rows_where, rules_of, structures
from .sections_of_wire import level_sections, limit, solved, wiring

DRAKE = catalogue.find("Drake")
ICE = Case("ice", -5.0, ice=0.012, ice_density=900.0)
HEAVY = Case("heavy", -10.0, ice=0.03, ice_density=900.0, wind=400.0)
PSI = 6894.757


def linear(wire):
    """A wire under the linear law, as `elongation = "linear"` makes it."""
    return replace(wire, elongation="linear", curves=None, curves_band=())


def by_hand(span, bound, state, seen, everyday, condition):
    """Sets (outer, core) of Drake by root finding, strung to H = `bound` at `state` °C bare; `seen` (T, load).

    The polynomials are typed in as published; every step is a loop over scalars.
    """
    A, w = DRAKE.outer_area + DRAKE.core_area, DRAKE.mass * 9.80665
    Ko, Kc, Fc = 68.95e5 * PSI * A, 38.60e5 * PSI * A, DRAKE.compression * DRAKE.outer_area

    def outer(m, s):
        x = 100 * m
        curve = (-512 + 4.902e4 * x - 1.18e4 * x**2 - 5.76e4 * x**3) * PSI * A if x > 0 else np.inf
        return max(min(Ko * (m - s), curve), -Fc)

    def core(m, s):
        return min(Kc * (m - s), 37.15e5 * m * PSI * A) if m > 0 else Kc * (m - s)

    def strain(F, T, law):
        return brentq(lambda e: law[0](e - 23e-6 * (T - 20)) + law[1](e - 11.5e-6 * (T - 20)) - F, -0.01, 0.02,
                      xtol=1e-15)

    def mean(H, q):
        return H * mean_tension_ratio(span, 0.0, H / q)

    def state_strain(excess, q, T, law):
        H = brentq(lambda H: slack(span, 0.0, H / q) / span - excess - (1 + excess) * strain(mean(H, q), T, law),
                   2000, 130e3, xtol=1e-9)
        return strain(mean(H, q), T, law)

    def sets(s):
        final = (lambda m: outer(m, s[0]), lambda m: core(m, s[1]))
        initial = (lambda m: outer(m, 0.0), lambda m: core(m, 0.0))
        creep = (lambda m: 16.30e5 * PSI * A * m, lambda m: 37.15e5 * PSI * A * m)
        e = strain(mean(bound, w), state, final if condition == "final" else initial)
        excess = (slack(span, 0.0, bound / w) / span - e) / (1 + e)
        left = []
        for T, q, law in [(T, q, initial) for T, q in seen] + [(everyday, w, creep)]:
            e = state_strain(excess, q, T, law)
            mo, mc = e - 23e-6 * (T - 20), e - 11.5e-6 * (T - 20)
            left.append((mo - law[0](mo) / Ko, mc - law[1](mc) / Kc))
        return np.max(left, axis=0)

    s = np.zeros(2)
    for _ in range(60):
        s = sets(s)
    return s


@pytest.mark.parametrize("condition", ["initial", "final"])
@pytest.mark.parametrize("case", [ICE, HEAVY])
def test_history_by_root_finding(condition, case):
    strung = solved(300.0, [wiring(DRAKE, limit("constant", 1600.0, 10.0, condition))], [case])
    load = float(np.hypot(strung.weight, strung.wind)[0, 0, 0])
    w = DRAKE.mass * 9.80665
    wanted = by_hand(300.0, 1600.0 * w, 10.0, [(case.temperature, load)], 10.0, condition)
    assert strung.outer_set[0, 0] == pytest.approx(wanted[0], abs=1e-9)
    assert strung.core_set[0, 0] == pytest.approx(wanted[1], abs=1e-9)
    assert strung.set_by[0, 0] == {"ice": "creep", "heavy": "load"}[case.name]


def test_the_larger_holds():
    """Of load alone, of creep alone, of both: the last is the larger of the two."""
    none = replace(built_in()["aluminium on steel 26/7"], creep=())
    without = replace(DRAKE, curves=none)
    bound = limit("constant", 1600.0, 10.0, "initial")
    for case in (ICE, HEAVY):
        both, load = (solved(300.0, [wiring(wire, bound)], [case]).outer_set[0, 0] for wire in (DRAKE, without))
        creep = solved(300.0, [wiring(DRAKE, bound)], [10.0]).outer_set[0, 0]
        assert both == pytest.approx(max(load, creep), rel=1e-6)


def test_a_case_in_its_initial_and_final_condition_is_one_where_it_set_the_wire():
    """The heaviest case itself lies on the curve: new or old, the wire hangs alike in it."""
    cases = [HEAVY, replace(HEAVY, name="heavy initial", condition="initial"), Case("warm", 40.0),
             Case("warm initial", 40.0, "initial")]
    strung = solved(300.0, [wiring(DRAKE, limit("constant", 1500.0, 10.0, "initial"))], cases)
    heavy, heavy_initial, warm, warm_initial = strung.horizontal_tension[0, 0]
    assert strung.set_by[0, 0] == "load"
    assert heavy == pytest.approx(heavy_initial, rel=1e-9)
    assert warm < 0.97 * warm_initial


@pytest.mark.parametrize("name", ["Drake", "264-AL1/62-ST1A"])
def test_age_and_tension_let_creep_grow(name):
    wire = catalogue.find(name)
    sets = [solved(300.0, [wiring(wire, limit("share", share, 10.0, "initial"), age=age)], [10.0]).outer_set[0, 0]
            for share, age in ((0.2, 1.0), (0.2, 3.0), (0.2, 10.0), (0.25, 10.0))]
    assert (np.diff(sets) > 2e-5).all()


def test_predicted_creep_is_that_of_the_final_everyday_tension():
    """Harvey and Larson's formula by hand at the tension found, all put on the aluminium, under the linear law."""
    wire = linear(catalogue.find("264-AL1/62-ST1A"))
    strung = solved(300.0, [wiring(wire, limit("share", 0.2, 10.0, "initial"))], [10.0])
    percent = 100 * strung.horizontal_tension[0, 0, 0] / wire.rts
    creep = 2.4e-6 * percent**1.3 * 87600**0.16
    stiff = 55e9 * wire.outer_area, 190e9 * wire.core_area
    assert strung.outer_set[0, 0] == pytest.approx(creep * sum(stiff) / stiff[0], rel=1e-9)
    assert creep == pytest.approx(float(predicted_creep(percent / 100, 10.0)), rel=1e-12)
    assert strung.set_by[0, 0] == "creep"


def test_a_given_set_is_left_alone():
    values = {"name": "ours", "family": "hard-drawn aluminium on steel", "outer_area": 403e-6, "core_area": 65.6e-6}
    values |= {"diameter": 0.0281, "mass": 1.628, "rts": 140e3, "resistance_20": 7e-5}
    given = conductor_from({**values, "permanent_set": 7e-4})
    strung = solved(300.0, [wiring(given, limit("share", 0.2)), wiring(conductor_from(values), limit("share", 0.2))],
                    [10.0, HEAVY])
    assert strung.outer_set[0, 0] == 7e-4
    assert strung.set_by.tolist() == [["given", "load"]]


# Limits


def test_every_limit_is_met_and_one_with_equality():
    """Initial and final limits, in cases and bare, with sets that hang on the length the limits give."""
    limits = (limit("share", 0.45, None, "initial", "heavy"), limit("constant", 1700.0, 10.0, "final"),
              limit("share", 0.24, -20.0, "initial"), limit("tension", 40e3, None, "final", "ice"))
    cases = [Case(f"heavy {c}", -10.0, c, 0.03, 900.0, 400.0) for c in ("initial", "final")] + [
        replace(HEAVY), ICE, Case("10", 10.0), Case("-20", -20.0, "initial")]
    spans = [120.0, 300.0, 500.0]
    for name in ("Drake", "264-AL1/62-ST1A", "264-A0/62-ST1A", "23.5-A0TW/CF-7.9", "23.5-AT1G/ST6C-10.1"):
        wire = catalogue.find(name)
        strung = solved(spans, [wiring(wire, *limits)], cases)
        ends = np.stack([greatest_tension(strung.horizontal_tension[:, 0, k], np.array(spans)[:, None],
                                          np.zeros((3, 1)), strung.weight[:, 0, k], strung.wind[:, 0, k])
                         for k in range(len(cases))], axis=1)
        reached = np.stack([ends[:, 0] / (0.45 * wire.rts), strung.constant[:, 0, 4] / 1700.0,
                            ends[:, 5] / (0.24 * wire.rts), ends[:, 3] / 40e3], axis=1)
        assert (reached <= 1 + 1e-6).all(), name
        governing = strung.governing[:, 0]
        np.testing.assert_allclose(reached[np.arange(3), governing], 1, rtol=1e-6)


@pytest.mark.parametrize("condition", ["initial", "final"])
def test_no_more_than_the_wire_of_today(condition):
    """The other wire reaches, at its ends, exactly what the existing wire reaches in that case and condition."""
    case = replace(ICE, condition=condition)
    today = wiring(catalogue.find("264-AL1/62-ST1A"), limit("share", 0.18), loads_seen=True)
    other = wiring(catalogue.find("264-A0/62-ST6C"), limit("existing", 1.0, None, condition, "ice"),
                   limit("share", 0.9))
    spans = [200.0, 300.0, 450.0]
    strung = solved(spans, [today, other, wiring(DRAKE, limit("share", 0.1))], [case, 10.0])
    ends = [greatest_tension(strung.horizontal_tension[:, o, 0], np.array(spans)[:, None], np.zeros((3, 1)),
                             strung.weight[:, o, 0], strung.wind[:, o, 0]) for o in (0, 1)]
    np.testing.assert_allclose(ends[1], ends[0], rtol=1e-7)
    assert (strung.governing[:, 1] == 0).all()
    alone = solved(spans, [today], [case, 10.0])
    np.testing.assert_allclose(alone.horizontal_tension[:, 0], strung.horizontal_tension[:, 0], rtol=1e-12)


def test_no_more_than_the_bare_wire_of_today():
    today = wiring(DRAKE, limit("share", 0.18))
    other = wiring(catalogue.find("264-AL1/62-ST1A"), limit("existing", 1.0, -5.0, "final"))
    strung = solved(300.0, [today, other], [-5.0])
    w = [DRAKE.mass * 9.80665, strung.weight[0, 1, 0]]
    ends = [H + q * greatest_sag(300.0, 0.0, H / q) for H, q in zip(strung.horizontal_tension[0, :, 0], w, strict=True)]
    assert ends[1] == pytest.approx(ends[0], rel=1e-7)


def test_a_limit_that_cannot_be_met_has_no_answer():
    strung = solved([300.0, 2000.0], [wiring(DRAKE, limit("share", 0.05))], [10.0])
    assert np.isfinite(strung.excess[0, 0]) and np.isnan(strung.excess[1, 0])
    assert strung.governing[1, 0] == -1 and strung.limit_text[1, 0] is None


# Pretension and measurement


def test_pretension_is_a_load_of_its_own():
    """Annealed aluminium drawn to 40 % of strength: the set is its maximum strain less what springs back."""
    wire = catalogue.find("264-A0/62-ST6C")
    F = 0.4 * wire.rts
    strung = solved(300.0, [wiring(wire, limit("share", 0.15), pretension=F),
                            wiring(wire, limit("share", 0.15))], [10.0, Case("10 initial", 10.0, "initial"), ICE])
    Ko, Kc = 55e9 * wire.outer_area, 190e9 * wire.core_area
    # At 10 °C both parts are 10 K below the reference; 25 MPa of yield, 2 GPa past it.
    def force(e):
        m = e + 23e-6 * 10
        return min(55e9 * m, 25e6 + 2e9 * (m - 25e6 / 55e9)) * wire.outer_area

    e = brentq(lambda e: force(e) + Kc * (e + 11.5e-6 * 10) - F, 0, 0.02, xtol=1e-15)
    assert strung.outer_set[0, 0] == pytest.approx(e + 23e-5 - force(e) / Ko, rel=1e-9)
    assert strung.set_by.tolist() == [["pretension", "load"]]
    # Drawn beforehand, the wire has nothing left to give: new and old it hangs alike.
    drawn, plain = strung.horizontal_tension[0, :, :2]
    assert drawn[1] == pytest.approx(drawn[0], rel=1e-9)
    assert plain[1] > 1.02 * plain[0]


SECTIONS = Sections(np.array(["north", "south"], object), np.array(["A-F", "A-F"], object), np.array([0, 1]),
                    np.array([0, 1]))


def test_a_measured_wire_is_final_as_it_is():
    """The measured tension comes back, in either condition, whatever the age: nothing is added to it."""
    measured = (Measured("north", "A-F", 12.0, 21e3, np.nan),)
    cases = [12.0, Case("12 initial", 12.0, "initial"), 75.0, Case("75 initial", 75.0, "initial")]
    strung = solved([300.0, 300.0], [wiring(DRAKE, limit("share", 0.2), measured=measured, age=age)
                                     for age in (2.0, 10.0)], cases, SECTIONS)
    H = strung.horizontal_tension
    np.testing.assert_allclose(H[0, :, :2], 21e3, rtol=1e-9)
    np.testing.assert_allclose(H[0, :, 2], H[0, :, 3], rtol=1e-12)
    # Below the knee it is of no account how much of the length is set.
    assert H[0, 0, 2] == pytest.approx(H[0, 1, 2], rel=2e-3)
    assert strung.limit_text[0, 0] == "measured: 21000 N at 12 °C" and strung.governing[0, 0] == -1
    # The section of the same name on another line was not measured.
    assert strung.governing[1, 0] == 0 and H[1, 0, 1] > 1.05 * H[1, 0, 0]


def test_a_measured_sag_is_a_tension(tmp_path):
    path = tmp_path / "measured.csv"
    sag = float(greatest_sag(280.0, 25.0, 1500.0))
    path.write_text(f"section,line,temperature,horizontal_tension,sag,span_length,rise\n"
                    f"A-F,north,12,,{sag:.9f},280,25\nA-F,south,15,20000,,,\n", encoding="utf-8")
    by_sag, by_tension = read_measured(path)
    assert by_sag.constant == pytest.approx(1500.0, rel=1e-7) and np.isnan(by_sag.horizontal_tension)
    assert by_tension.horizontal_tension == 20000
    path.write_text(f"section,temperature,sag,span_length\nA-F,12,{greatest_sag(280.0, 0.0, 1500.0):.12f},280\n")
    assert read_measured(path)[0].constant == pytest.approx(1500.0, rel=1e-9)
    strung = solved([300.0, 300.0], [wiring(DRAKE, limit("share", 0.2), measured=(by_sag, by_tension))], [12.0],
                    SECTIONS)
    assert strung.constant[0, 0, 0] == pytest.approx(1500.0, rel=1e-6)


@pytest.mark.parametrize(
    ("text", "where", "found"),
    [
        ("section,temperature,tension\nA,1,2\n", "first row", "'tension'"),
        ("section,sag\nA,1\n", "first row", "no column 'temperature'"),
        ("section,temperature,horizontal_tension\n,10,20000\n", "row 2: section", "nothing"),
        ("section,temperature,horizontal_tension\nA,10,20\n", "row 2: horizontal_tension", "20"),
        ("section,temperature,horizontal_tension\nA,ten,20000\n", "row 2: temperature", "'ten'"),
        ("section,temperature,horizontal_tension\nA,10,\n", "row 2", "neither"),
        ("section,temperature,sag\nA,10,5\n", "row 2", "neither or both, or a sag without"),
        ("section,temperature,sag,span_length\nA,10,400,100\n", "row 2: sag", "400 m in a span of 100 m"),
        ("section,temperature,horizontal_tension\nA,10,2e4\nA,11,2e4\n", "row 3: section", "'A'"),
        ("section,temperature,horizontal_tension\n", None, "no rows"),
        ("section,temperature,horizontal_tension\nA,10\n", "row 2", "2 cells"),
    ],
)
def test_a_faulty_measurement_says_where(tmp_path, text, where, found):
    path = tmp_path / "measured.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_measured(path)
    assert caught.value.where == where and found in caught.value.found


# Laws of conductors


def test_which_law_a_conductor_has():
    laws = {"Drake": "aluminium on steel 26/7", "400-A1/S1B-54/7": "estimated", "328-AL3": "estimated",
            "264-A0/62-ST6C": "annealed",
            "23.5-AT1G/ST6C-10.1": "gap", "23.5-AT3TW/CF-7.9": "estimated"}
    for name, law in laws.items():
        wire = catalogue.find(name)
        assert wire.elongation == law and (wire.curves is not None) == (law not in ("linear", "gap"))


@pytest.mark.parametrize(("change", "accepted"), [({"elongation": "annealed"}, "yields"),
                                                  ({"elongation": "26/7"}, "aluminium on steel 26/7")])
def test_a_law_that_does_not_fit_is_refused(change, accepted):
    values = {"name": "ours", "family": "hard-drawn aluminium on steel", "outer_area": 403e-6, "core_area": 65.6e-6}
    values |= {"diameter": 0.0281, "mass": 1.628, "rts": 140e3, "resistance_20": 7e-5}
    with pytest.raises(InputError, match=accepted):
        conductor_from({**values, **change})


# The fixed point, and the band


def test_settling_finds_fixed_points_and_says_where_there_is_none():
    """cos x = x at 0.7390851332 (Dottie's number); x + 1 = x nowhere."""
    found = settle(lambda x: np.array([[np.cos(x[0, 0]), x[0, 1] + 1.0, 0.3]]), np.zeros((1, 3)))
    assert found[0, [0, 2]] == pytest.approx([0.7390851332151607, 0.3], abs=1e-11)
    assert np.isnan(found[0, 1])


def test_margins_at_the_ends_of_the_band():
    """Vertical and radial margins at one place of a span of 300 m, against heights of the wire itself."""
    wire = catalogue.find("264-AL1/62-ST1A")
    strung = solved(300.0, [wiring(wire, limit("share", 0.18))], [120.0])
    ends = np.array([[0.0, 0.0, 30.0]]), np.array([[300.0, 0.0, 30.0]])
    wires = SimpleNamespace(length=np.array([300.0]), start=ends[0], end=ends[1])
    scene = SimpleNamespace(strung=strung, frame=wires, group=np.array([0]),
                            reach=SimpleNamespace(around=np.zeros((1, 1, 1))))
    z = heights(0.4, 300.0, 30.0, 0.0, np.r_[strung.constant[0, 0, 0], strung.tension_band[:, 0, 0, 0] /
                                              strung.weight[0, 0, 0]])
    top, beside = 12.0, 3.0
    radial = np.hypot(beside, z - top)
    measure = np.array(["vertical", "vertical", "radial", "horizontal", "radial"], object)
    position = np.array(["above", "below", "above", "beside", "falling"], object)
    actual = np.array([z[0] - top, 40 - z[0], radial[0], 5.0, radial[0]])
    other = np.array([top, 40.0, top, np.nan, top])
    none = np.zeros(5, int)
    rows = SimpleNamespace(wire=none, option=none, case=none, measure=measure, position=position, actual=actual,
                           fraction=np.full(5, 0.4), elevation=np.full(5, z[0]), other=other, taut=np.zeros(5, bool))
    low, high = margin_band(scene, rows, np.full(5, 6.0))
    by_place = np.stack([z - top, 40 - z, radial]) - 6
    np.testing.assert_allclose(low[:3], by_place.min(axis=1), atol=1e-9)
    np.testing.assert_allclose(high[:3], by_place.max(axis=1), atol=1e-9)
    assert low[3] == high[3] == -1.0  # in still air nothing moves aside
    # A tree that falls comes from wherever: nearer or farther by all that the wire moves.
    far = np.abs(z - z[0]).max()
    np.testing.assert_allclose([low[4], high[4]], radial[0] - 6 + np.array([-far, far]), atol=1e-9)
    assert high[0] - low[0] > 0.3


# Two ends of a history


STRENGTH = Case("strength", -5.0, ice=0.038, ice_density=900.0)
NORTH = (Measured("north", "A-F", 15.0, 25e3, np.nan),)


def sags(wire, cases, span=350.0, existing=True, bound=None, **facts):
    """Sags [m] of a wire in cases, and how it was strung."""
    facts = {"measured": NORTH, **facts} if bound is None else facts
    wires = [wiring(wire, bound or limit("share", 0.2), **facts)]
    wires = wires if existing else [wiring(wire, limit("constant", 900.0)), *wires]
    strung = solved([span, span], wires, cases, SECTIONS)
    return greatest_sag(span, 0.0, strung.constant[0, -1]), strung


@pytest.mark.parametrize("bound", [None, limit("share", 0.2)])
def test_a_load_that_never_came_does_not_help(bound):
    """Of a wire that is known by a tension, measured or final, 38 mm of ice on the list takes no sag away.

    If that load has come, the wire sags 1.4 m less at 100 °C: its aluminium has stretched, and the core alone carries
    it. Nothing says that it has. Each sag is the greater of the two that a study has in which that is settled.
    """
    cases = [100.0, 75.0, 15.0, -20.0, Case("iced", 0.0, ice=0.02), STRENGTH]
    plain = sags(DRAKE, cases[:-1], bound=bound, loads_seen=False)[0]
    (open_, strung), came, never = (sags(DRAKE, cases, bound=bound, **facts) for facts in (
        {}, {"loads_seen": True}, {"loads_seen": False}))
    came, never = came[0], never[0]
    np.testing.assert_allclose(never[:-1], plain, rtol=1e-9)
    assert came[0] < never[0] - 1.3
    np.testing.assert_allclose(open_, np.maximum(came, never), rtol=1e-7)
    band = greatest_sag(350.0, 0.0, strung.tension_band[:, 0, 0] / np.hypot(strung.weight, strung.wind)[0, 0])
    assert (band[0] <= np.minimum(came, never) * (1 + 1e-9)).all()
    assert (band[1] >= np.maximum(came, never) * (1 - 1e-9)).all()
    pulls = strung.taut_tension[0, 0] / np.hypot(strung.weight, strung.wind)[0, 0]
    np.testing.assert_allclose(greatest_sag(350.0, 0.0, pulls), np.minimum(came, never), rtol=1e-7)


def test_named_loads_have_come_and_no_others():
    cases = [100.0, STRENGTH, HEAVY]
    named, alone = sags(DRAKE, cases, loads_seen=("heavy",))[0], sags(DRAKE, [100.0, HEAVY], loads_seen=True)[0]
    assert named[0] == pytest.approx(alone[0], rel=1e-9)
    assert abs(named[0] - sags(DRAKE, cases, loads_seen=True)[0][0]) > 0.1


@pytest.mark.parametrize("name", ["Drake", "264-A0/62-ST6C", "23.5-A0TW/CF-7.9"])
def test_a_new_wire_sags_no_less_for_the_loads_it_is_strung_for(name):
    """A new wire is strung to one length. At that length loads that come add to every sag, hot, cold and iced."""
    cases = [150.0, 100.0, 75.0, 15.0, -20.0, Case("iced", 0.0, ice=0.02), STRENGTH]
    for condition in ("initial", "final"):
        _, strung = sags(catalogue.find(name), cases, existing=False, bound=limit("share", 0.18, 10.0, condition))
        assert strung.doubtful[0, 1]
        assert (strung.taut_tension[0, 1] >= strung.horizontal_tension[0, 1] * (1 - 1e-9)).all()
        came = sags(catalogue.find(name), cases, existing=False, bound=limit("share", 0.18, 10.0, condition),
                    loads_seen=True)[1]
        np.testing.assert_allclose(strung.horizontal_tension[0, 1], came.horizontal_tension[0, 1], rtol=1e-9)


def test_what_today_s_wire_is_known_to_pull_is_the_less_of_both_ends():
    """The bound of another wire, in the strength case: of today's measured wire at either end."""
    other = wiring(catalogue.find("264-A0/62-ST6C"), limit("existing", 1.0, None, "final", "strength"))
    pulls = []
    for facts in ({}, {"loads_seen": True}, {"loads_seen": False}):
        today = wiring(DRAKE, limit("share", 0.2), measured=NORTH, **facts)
        strung = solved([350.0, 350.0], [today, other], [STRENGTH], SECTIONS)
        pulls.append(strung.horizontal_tension[0, 1, 0])
    assert pulls[0] == pytest.approx(min(pulls[1:]), rel=1e-6)
    assert abs(pulls[1] / pulls[2] - 1) > 0.02


def test_at_any_temperature_the_slacker_end_of_the_two_is_taken():
    """The lesser pull of the two studies in which it is settled whether loads have come: hot that without them, cold
    that with them."""
    cases = [100.0, 75.0, 15.0, -20.0, STRENGTH]
    either, came, never = (sags(DRAKE, cases, **facts)[1] for facts in (
        {}, {"loads_seen": True}, {"loads_seen": False}))
    T, first = np.array(cases[:-1]), np.zeros(4, int)
    load = either.weight[0, 0, :-1]
    law = law_at_end(either, first, first, np.full(4, 350.0), load, T)
    pull = ruling_span.tension(either.excess[first, first], 350.0, load, T, law).horizontal_tension
    of_came, of_never = (strung.horizontal_tension[0, 0, :-1] for strung in (came, never))
    np.testing.assert_allclose(pull, np.minimum(of_came, of_never), rtol=1e-7)
    assert of_never[0] < 0.95 * of_came[0] and of_came[-1] < 0.999 * of_never[-1]


def test_the_greatest_tension_of_a_wire_is_the_greater_of_both_ends(tmp_path):
    """Of the existing wire, of the two studies in which it is settled whether loads have come; a new one is strung to
    one length, and pulls more until the loads that it is strung for have come."""
    line = structures([0, 350, 700], [0, 0, 0], base=[0.0] * 3)
    one = framings([("F", "a", "phase", 0.0, 20.0, "suspension", 2.5, 40.0)])
    cases = Case("cold", -20.0, checks=("tension",)), Case("hot", 100.0, checks=("vertical",)), STRENGTH

    def greatest(**facts):
        both = tuple(Option(name, wiring(DRAKE, limit("share", 0.2), **facts), name == "today")
                     for name in ("today", "new"))
        table = findings(line, one, rules_of(tmp_path, [("ground", "vertical", 6)]), ground=lambda e, n: 0.0 * e,
                         options=both, cases=cases)[0]["sections"]
        return (table["maximum_tension_n"][rows_where(table, option=each.name)] for each in both)

    (today, new), (came, new_came), (never, _) = (greatest(**facts) for facts in (
        {}, {"loads_seen": True}, {"loads_seen": False}))
    np.testing.assert_allclose(today, np.maximum(came, never), rtol=1e-6)
    assert (today > 1.02 * np.minimum(came, never)).any()
    assert (new > new_came * (1 - 1e-6)).all() and new[0] > 1.3 * new_came[0]
    np.testing.assert_allclose(new[2], new_came[2], rtol=1e-6)  # under the load itself there is one end


def test_a_law_counted_from_another_length_is_the_same_wire():
    """(1 + e') L' = (1 + e) L, with curves, sets and a bend of the core's expansion."""
    law = take_law(law_rows([wiring(DRAKE)])[0], 0)._replace(outer_set=4e-4, core_set=1e-4, core_bend=80.0,
                                                            core_expansion_above=15e-6)
    F, T = np.meshgrid([5e3, 25e3, 60e3, 90e3], [-30.0, 20.0, 75.0, 120.0])
    same = counted_from(law, 1.0007)
    np.testing.assert_allclose(1 + strain(F, T, same), 1.0007 * (1 + strain(F, T, law)), rtol=0, atol=1e-13)


def test_groups_do_not_mix():
    """A section among many is what it is alone."""
    wires = [wiring(DRAKE, limit("share", 0.2)), wiring(catalogue.find("264-A0/62-ST6C"), limit("constant", 1700.0))]
    spans = np.linspace(100, 600, 23)
    many = solved(spans, wires, [10.0, 90.0, ICE])
    for i in (0, 11, 22):
        alone = solved(spans[i], wires, [10.0, 90.0, ICE])
        np.testing.assert_allclose(many.horizontal_tension[i], alone.horizontal_tension[0], rtol=1e-9)
    assert len(level_sections(spans)) == 23
