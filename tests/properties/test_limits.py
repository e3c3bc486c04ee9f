"""How hot a span may get: put back into the model, its limit leaves no margin; and what a limit may not say.

An independent root of the same is in test_line, by quadratures and scipy's `brentq`; here are inverses,
monotony, and words that must be true.
"""

import numpy as np
import pytest
import shapely

from corridor.line.facts import Case, Limit

from ..common import HOT, NoHeat, findings, framings, obstacles, option, rows_where, rules_of, structures

PAIR = framings([("F", "left", "phase", -4.0, 20.0, "suspension", 1.5, 60.0),
                 ("F", "right", "phase", 4.0, 19.0, "suspension", 1.5, 60.0)])
LINE = structures([0, 290, 640, 900], [0, 0, 0, 0], base=[100.0, 103.0, 98.0, 99.0])
TURNED = structures([0, 290, 640, 900], [0, 20, -160, -200], base=[100.0, 103.0, 98.0, 99.0])
OPTIONS = (option(maximum=150.0),
           option("light", existing=False, maximum=120.0, mass=1.3, outer_expansion=18e-6,
                  limits=(Limit("1300 m", "constant", 1300.0, 10.0, None, "final"),)))
SPANS = ("T1-T2", "T2-T3", "T3-T4")
METHODS = ("equilibrium", "ruling_span")


def hills(e, n):
    """A trough, level across the line."""
    return 98 + 2e-5 * (np.asarray(e) - 450) ** 2


class Counting(NoHeat):
    """A current that tells option and temperature apart: 1000 A for each option, and an ampere per kelvin."""

    @staticmethod
    def current_at(option, temperature, *_):
        return 1000.0 * (option + 1) + np.asarray(temperature)


def limits(folder, required, *, ground=hills, method="equilibrium", options=OPTIONS, cases=(HOT,), line=LINE, **kwargs):
    rules = rules_of(folder, [(a, "vertical", required) for a in ("ground", "building", "line")])
    return findings(line, PAIR, rules, ground=ground, options=options, cases=cases, method=method, **kwargs)[0]


def at(layer, span, name):
    row, = rows_where(layer, span=span, option=name)
    return {key: values[row] for key, values in layer.items()}


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("required", [7.0, 9.0, 10.5])
def test_put_back_it_leaves_no_margin(tmp_path, method, required):
    """The minimum margin of a case at that temperature is nought within 2e-6 m, a kelvin cooler and hotter not."""
    found = limits(tmp_path, required, method=method)["limits"]
    told = [(s, o.name, at(found, s, o.name)) for s in SPANS for o in OPTIONS]
    told = [(s, o, row["clearing_temperature_c"]) for s, o, row in told if row["governs"] == "clearance"]
    assert told
    for span, name, T in told:
        cases = tuple(Case(f"by {step}", T + step, checks=("vertical",)) for step in (-1.0, 0.0, 1.0))
        margins = limits(tmp_path, required, method=method, cases=cases)["clearances"]
        cooler, same, hotter = (margins["margin_m"][rows_where(margins, span=span, option=name, case=case.name)].item()
                                for case in cases)
        assert same == pytest.approx(0, abs=2e-6)
        assert cooler > 1e-3 and hotter < -1e-3


def test_put_back_on_a_side_slope_in_a_turn(tmp_path):
    """Strings lean less into the turn when hot: on a slope of 3 in 10 the ground is 1 cm and more another."""
    def side(e, n):
        return 87 + 0.3 * np.asarray(n) + 0.3 * 180 / 350 * (np.asarray(e) - 290)

    found = at(limits(tmp_path, 9.0, ground=side, line=TURNED)["limits"], "T2-T3", "today")
    assert found["governs"] == "clearance"
    case = Case("there", found["limit_temperature_c"], checks=("vertical",))
    there = at(limits(tmp_path, 9.0, ground=side, line=TURNED, cases=(case,))["clearances"], "T2-T3", "today")
    assert there["margin_m"] == pytest.approx(0, abs=1e-3)


@pytest.mark.parametrize("method", METHODS)
def test_limit_and_margin_of_the_hot_case_agree(tmp_path, method):
    """A span that clears at its maximum has that for a limit; one that does not has less."""
    layers = limits(tmp_path, 8.0, method=method)
    words = set()
    for span in SPANS:
        for choice in OPTIONS:
            row, hot = (at(layers[name], span, choice.name) for name in ("limits", "clearances"))
            words.add(row["governs"])
            assert row["maximum_temperature_c"] == choice.wiring.maximum_temperature
            if hot["margin_m"] >= 0:
                assert row["governs"] == "maximum temperature" and np.isnan(row["clearing_temperature_c"])
                assert row["limit_temperature_c"] == choice.wiring.maximum_temperature
            else:
                assert row["governs"] == "clearance"
                assert row["limit_temperature_c"] == row["clearing_temperature_c"] < choice.wiring.maximum_temperature
    assert words == {"clearance", "maximum temperature"}


def test_more_clearance_asks_for_a_cooler_wire(tmp_path):
    T = [limits(tmp_path, required)["limits"]["limit_temperature_c"] for required in (7.0, 8.0, 9.0, 10.0)]
    assert (np.diff(T, axis=0) <= 0).all() and (np.diff(T, axis=0) < 0).any(axis=0).all()


def test_no_temperature_clears(tmp_path):
    """30 m are asked for below wires 20 m high: no temperature, no current, and it is said."""
    found = limits(tmp_path, 30.0, heat=Counting())["limits"]
    assert set(found["governs"]) == {"no temperature clears"}
    assert np.isnan(found["limit_temperature_c"]).all() and (found["limit_current_a"] == 0).all()


def test_unknown_ground_is_no_limit(tmp_path):
    """One hole below the second span: not assessed there, as before elsewhere."""
    def hole(e, n):
        return np.where((np.asarray(e) > 450) & (np.asarray(e) < 456), np.nan, hills(e, n))

    whole, holed = (limits(tmp_path, 8.0, ground=g, heat=Counting())["limits"] for g in (hills, hole))
    second = holed["span"] == "T2-T3"
    assert set(holed["governs"][second]) == {"not assessed"}
    assert np.isnan(holed["limit_temperature_c"][second]).all() and np.isnan(holed["limit_current_a"][second]).all()
    np.testing.assert_allclose(holed["limit_temperature_c"][~second], whole["limit_temperature_c"][~second], atol=1e-6)


def test_the_worst_of_ground_and_roof_governs(tmp_path):
    """A house below the second span lowers its limit and is named; other spans keep theirs."""
    house = obstacles([("building", shapely.box(450, -30, 470, 5), False, 4.0, np.nan)])
    bare, built = (limits(tmp_path, 6.5, **k)["limits"] for k in ({}, {"things": house}))
    for name in ("today", "light"):
        before, after = (at(layer, "T2-T3", name) for layer in (bare, built))
        assert after["limit_temperature_c"] < before["limit_temperature_c"] - 5
        assert after["governing_obstacle"] == "building:0" and after["governing_against"] == "building"
        assert before["governing_against"] == "ground" and before["governing_obstacle"] is None
        for span in ("T1-T2", "T3-T4"):
            assert at(built, span, name)["limit_temperature_c"] == at(bare, span, name)["limit_temperature_c"]


def test_a_line_that_is_passed_under_sets_no_limit(tmp_path):
    """Wires that sag go away from it."""
    above = shapely.LineString([(460, -60, 135.0), (460, 60, 135.0)])
    things = obstacles([("line", above, True, np.nan, np.nan)])
    bare, crossed = (limits(tmp_path, 6.5, **k) for k in ({}, {"things": things}))
    assert (crossed["clearances"]["position"] == "below").any()
    limit = [layers["limits"]["limit_temperature_c"] for layers in (bare, crossed)]
    np.testing.assert_allclose(*limit, atol=1e-5)


def test_options_together_equal_one_by_one(tmp_path):
    together = limits(tmp_path, 8.0)["limits"]
    for choice in OPTIONS:
        alone = limits(tmp_path, 8.0, options=(choice,))["limits"]
        for span in SPANS:
            a, b = (at(layer, span, choice.name)["limit_temperature_c"] for layer in (together, alone))
            # The exact wire rests where the option of today puts it; another rest is another chord, by micrometres.
            assert a == pytest.approx(b, abs=0.01)


def test_current_is_that_of_the_limit(tmp_path):
    found = limits(tmp_path, 8.0, heat=Counting())["limits"]
    for i, choice in enumerate(OPTIONS):
        for span in SPANS:
            row = at(found, span, choice.name)
            assert row["limit_current_a"] == pytest.approx(1000 * (i + 1) + row["limit_temperature_c"], abs=1e-9)


def test_governing_place_is_where_the_wire_is_nearest(tmp_path):
    """Station and wire of a limit are those of the margin in a case at that temperature."""
    found = limits(tmp_path, 8.0)["limits"]
    row = at(found, "T2-T3", "today")
    case = Case("there", row["limit_temperature_c"], checks=("vertical",))
    there = at(limits(tmp_path, 8.0, cases=(case,))["clearances"], "T2-T3", "today")
    assert row["governing_wire"] == there["wire"]
    # The height is flat at its least: 1e-6 m of it is a decimetre along the wire.
    assert row["station_m"] == pytest.approx(there["station_m"], abs=0.2)
