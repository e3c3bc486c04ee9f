"""Creep of hot hours: by the published law where it is for the conductor, with its effect on sag; else not given.

The law is recalled (Harvey and Larson 1972, IEEE Std 1283); what it is held to here is arithmetic and physics.
"""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from corridor.assessment import make_scene
from corridor.conductor import catalogue
from corridor.line.facts import Option, Wiring
from corridor.line.temperature_range import at_temperatures
from corridor.mechanics.history import creep_when_hot, predicted_creep
from corridor.opened import Opened
from corridor.rating.hot_creep import LAW, creep_law, hot_creep_rows
from tests.short_demo import short_demo

#: 18 wires on one of steel: 5.3 % of the area.
LEAN = "159-AL1/9-ST1A"


def test_the_law_is_its_formula_and_near_that_of_ordinary_temperatures():
    assert creep_when_hot(0.2, [100.0], [1000.0]) == pytest.approx(0.24e-6 * 20 * 100 * 1000**0.16, rel=1e-12)
    # as a rate at 20 °C, where it is not used
    ordinary = predicted_creep(0.2, 10.0)
    assert 0.24e-6 * 20 * 20 * 87_600**0.16 == pytest.approx(float(ordinary), rel=0.25)
    assert creep_when_hot(0.2, [75.0, 20.0], [1e5, 1e5], 5e-4) == pytest.approx(5e-4, rel=1e-12)


def test_creep_goes_on_as_the_differential_equation_of_strain_hardening():
    """de/dt as a function of e and T alone, by scipy, over three temperatures in two orders."""
    spells = [(80.0, 300.0), (120.0, 40.0), (95.0, 500.0)]
    for order in (spells, spells[::-1]):
        e = 400.0
        for T, hours in order:
            c = 0.24 * 18 * T
            e = solve_ivp(lambda t, e, c=c: 0.16 * c * (e / c) ** (1 - 1 / 0.16), (0, hours), [e], rtol=1e-10,
                          atol=1e-8).y[0, -1]
        T, hours = np.transpose(order)
        assert creep_when_hot(0.18, T, hours, 400e-6) * 1e6 == pytest.approx(e, rel=1e-5)


def option_of(name):
    return Option(name, Wiring(catalogue.find(name), 90.0, None, ()))


def test_where_there_is_no_law_that_is_said():
    assert creep_law(option_of(LEAN)) == LAW
    assert "less than 7.5 % of steel in the area, this has 18.9 %" in creep_law(option_of("264-AL1/62-ST1A"))
    for name, of in (("264-AT1/62-ST1A", "aluminium-zirconium alloy AT1 on galvanised steel"),
                     ("264-A0/62-ST6C", "annealed aluminium on galvanised steel"),
                     ("23.5-A0TW/CF-7.9", "annealed aluminium on carbon")):
        assert creep_law(option_of(name)).startswith(f"not given: no law is known here for {of}")


@pytest.fixture(scope="module")
def scene(tmp_path_factory):
    folder = short_demo(tmp_path_factory.mktemp("creep") / "demo", "N01", "N06")
    path = folder / "study.toml"
    path.write_text(path.read_text(encoding="utf-8").replace('conductor = "264-AL1/62-ST1A"\nexisting',
                                                             f'conductor = "{LEAN}"\nexisting'), encoding="utf-8")
    with Opened(path) as opened:
        laid = opened.laid_out
        return make_scene(laid.facts, laid.plan, 0, len(laid.plan.spans) - 1)[0]


def test_what_is_added_makes_every_wire_hang_lower(scene):
    T, hours = np.array([60.0, 80.0, 90.0]), np.array([8000.0, 500.0, 200.0])
    rows = hot_creep_rows(scene, 0, T, hours)
    more = hot_creep_rows(scene, 0, T, 10 * hours)
    assert set(rows["hot_hours"]) == {700.0}
    for name in ("creep_added_percent", "sag_added_everyday_m", "sag_added_maximum_m"):
        assert np.all(rows[name] > 0) and np.all(more[name] > rows[name])
    none = hot_creep_rows(scene, 0, T[:1], hours[:1])
    np.testing.assert_allclose(none["creep_added_percent"], 0, atol=1e-9)
    np.testing.assert_allclose(none["sag_added_maximum_m"], 0, atol=1e-7)


def test_the_effect_on_sag_is_that_of_so_much_heat(scene):
    """Below the knee creep e of the conductor is as if it were warmer by e over its expansion."""
    rows = hot_creep_rows(scene, 0, np.array([90.0]), np.array([1.0]))
    added = rows["creep_added_percent"][0] / 100
    law = scene.strung.final
    K, k = law.outer_stiffness[0, 0], law.core_stiffness[0, 0]
    expansion = (K * law.outer_expansion[0, 0] + k * law.core_expansion[0, 0]) / (K + k)
    wire = np.flatnonzero(scene.wires.kind == "phase")
    sag = at_temperatures(scene.model, wire, 0, [15.0, 15.0 + added / expansion]).sag
    sunk = np.full(len(scene.spans), 0.0)
    np.maximum.at(sunk, scene.wires.span[wire], sag[:, 1] - sag[:, 0])
    np.testing.assert_allclose(rows["sag_added_everyday_m"], sunk, rtol=0.03)


def test_a_wire_that_would_melt_has_no_number(scene):
    rows = hot_creep_rows(scene, 0, np.array([80.0, np.inf]), np.array([10.0, 1.0]))
    assert np.isnan(rows["sag_added_maximum_m"]).all() and not np.isfinite(rows["creep_added_percent"]).any()
