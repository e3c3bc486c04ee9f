"""Change of state of every family, from -50 to 300 °C, 20 to 2000 m, slack at 5 % of strength to taut at 70 %.

No failure and no wrong answer anywhere; tension falls with heat and rises with load, as it must.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.conductor import catalogue
from corridor.line.elongation_laws import law_rows, take_law, with_sets
from corridor.line.facts import Case
from corridor.mechanics.ruling_span import temperature_for_tension, tension, unstressed_excess

from ..sections_of_wire import limit, solved, wiring

NAMES = ("264-AL1/62-ST1A", "Drake", "23.5-AT3TW/CF-7.9", "23.5-A0TW/CF-7.9", "264-A0/62-ST6C", "23.5-AT1G/ST6C-10.1",
         "328-AL3", "183-AT3/43-INV", "264-AT3/62-MMC", "264-AT3/62-20SA", "Drake/AW", "ACAR 1024.5 30/7", "Cu 4/0 7",
         "3/8 EHS", "7 No. 8 20SA")
CONDUCTORS = [catalogue.find(name) for name in NAMES]
LAWS = law_rows([wiring(conductor) for conductor in CONDUCTORS])[0]
WEIGHTS = np.array([c.mass for c in CONDUCTORS]) * 9.80665
RTS = np.array([c.rts for c in CONDUCTORS])

seeds = st.integers(0, 2**32 - 1)


def random_wires(seed, count):
    """Laws, weights, spans and tensions at random, all families; the span hangs within its tension."""
    rng = np.random.default_rng(seed)
    i = rng.integers(0, len(NAMES), count)
    has_core = take_law(LAWS, i).core_stiffness > 0
    law = with_sets(take_law(LAWS, i), rng.choice([0.0, 1.0], count) * rng.uniform(0, 6e-3, count),
                    rng.uniform(0, 2e-4, count) * has_core)
    span = np.exp(rng.uniform(np.log(20), np.log(2000), count))
    share = np.exp(rng.uniform(np.log(0.05), np.log(0.7), count))
    H = np.maximum(share * RTS[i], 0.3 * WEIGHTS[i] * span)
    return rng, law, WEIGHTS[i], span, H


@settings(max_examples=20, deadline=None)
@given(seeds)
def test_every_state_is_found(seed):
    """The strain residual is far below 1e-9, and the tension that strung the wire comes back."""
    rng, law, w, span, H = random_wires(seed, 2000)
    strung_at, T = rng.uniform(-50, 300, (2, 2000))
    excess = unstressed_excess(span, H, w, strung_at, law)
    back = tension(excess, span, w, strung_at, law)
    np.testing.assert_allclose(back.horizontal_tension, H, rtol=1e-6)
    solved = tension(excess, span, w * rng.uniform(1, 4, 2000), T, law)
    assert np.abs(solved.residual).max() < 1e-9
    assert np.isfinite(solved.horizontal_tension).all()


@settings(max_examples=10, deadline=None)
@given(seeds)
def test_tension_falls_with_heat_and_rises_with_load(seed):
    _, law, w, span, H = random_wires(seed, 300)
    excess = unstressed_excess(span, H, w, 15.0, law)
    law = take_law(law, np.s_[:, None])
    T, load = np.linspace(-50, 300, 36), np.linspace(1, 4, 13)
    args = excess[:, None], span[:, None]
    assert (np.diff(tension(*args, w[:, None], T, law).horizontal_tension, axis=1) < 0).all()
    assert (np.diff(tension(*args, w[:, None] * load, 0.0, law).horizontal_tension, axis=1) > 0).all()


@settings(max_examples=10, deadline=None)
@given(seeds)
def test_temperature_comes_back_from_the_tension(seed):
    """Through the equation of state and back; a slack wire knows its temperature to its own rounding."""
    rng, law, w, span, H = random_wires(seed, 500)
    excess, T = unstressed_excess(span, H, w, 15.0, law), rng.uniform(-50, 300, 500)
    found = tension(excess, span, w, T, law).horizontal_tension
    np.testing.assert_allclose(temperature_for_tension(found, excess, span, w, law), T, atol=2e-3)


CASES = [Case("cold", -50.0), Case("cold initial", -50.0, "initial"), Case("everyday", 10.0), Case("hot", 300.0),
         Case("ice", -5.0, ice=0.02, ice_density=900.0), Case("wind", 5.0, wind=400.0)]
SPANS = [20.0, 60.0, 300.0, 800.0, 2000.0]


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("condition", ["initial", "final"])
@pytest.mark.parametrize("share", [0.05, 0.2, 0.45, 0.7])
def test_every_history_settles(name, condition, share):
    """Strung to a tension at 10 °C, with all that follows: an answer wherever the span hangs within the limit."""
    wire = catalogue.find(name)
    strung = solved(SPANS, [wiring(wire, limit("share", share, 10.0, condition))], CASES)
    # Below a tension of 0.75 q S at its ends no catenary hangs.
    hangs = share * wire.rts > 0.77 * wire.mass * 9.80665 * np.array(SPANS)
    assert np.isfinite(strung.horizontal_tension[hangs]).all() and hangs.any()
    assert np.isnan(strung.horizontal_tension[~hangs]).all()
    assert np.abs(strung.residual[hangs]).max() < 1e-9
    assert (strung.outer_set[hangs] >= 0).all()
    # Old and loaded, the wire hangs lower than new, hardly ever the same.
    assert (strung.horizontal_tension[hangs][..., 1] >= strung.horizontal_tension[hangs][..., 0] - 1e-6).all()
