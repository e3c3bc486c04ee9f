"""Facts of the trade about ratings and losses, and what physics asks of core and resistance.

Two figures that the trade repeats when it compares conductors of unchanged diameter (common practice, no source):
542 mm² of annealed trapezoidal aluminium on a carbon-fibre core lose, at the same current, up to 26 % less than an
ordinary 54/7 wire with 430 mm² of aluminium; and 494 mm² on a larger core raise the rating to about 218 % of it, the
existing wire at its ordinary maximum, the new one at 180 °C. Neither comes with weather, so each is shown here
with the weather that makes it, and with how far it moves in others. Nothing was fitted to them.
"""

import numpy as np
import pytest
from scipy.integrate import quad

from corridor.conductor import catalogue
from corridor.conductor.conductor import conductor_from
from corridor.errors import InputError
from corridor.line.facts import Option, Wiring
from corridor.rating.ratings import Ratings
from corridor.rating.resistances import COLDEST, computed, tabulated
from corridor.thermal.radial import core_excess
from corridor.thermal.rating import Weather, Wire, current_at, loss, temperature_at
from tests.common import exact

EXISTING = catalogue.find("429-AL1/56-ST1A")
#: Resistivity of annealed aluminium [ohm m]: 61.8 % of copper's conductivity, the least that is recalled, and 63.0 %.
LEAST, MOST = 27.90e-9, 27.37e-9
#: The weather of many rating rules: hot, nearly calm, at noon (common practice, no source).
HOT = {"ambient": 40, "wind_speed": 0.61, "wind_angle": 90, "emissivity": 0.8, "absorptivity": 0.8, "solar": 1000,
       "elevation": 0}


def on_carbon(area, core, resistivity=LEAST):
    """A conductor of the existing diameter [mm²]; 2 % are added for the lay of the wires."""
    A, C = area * 1e-6, core * 1e-6
    return conductor_from({
        "name": "new", "family": "annealed aluminium on carbon composite", "outer_area": A, "core_area": C,
        "diameter": EXISTING.diameter, "mass": 1.02 * 2705 * A + 1900 * C, "rts": 150e3,
        "resistance_20": 1.02 * resistivity / A, "core_diameter": np.sqrt(4 * C / np.pi), "outer_layers": 2})


def wire(conductor):
    strand = conductor.outer_wire_diameter
    return Wire(conductor.diameter, computed(conductor, 50.0), strand if np.isfinite(strand) else None)


def losses_saved(method, temperature, weather, resistivity=LEAST):
    """Share of the losses saved at the current that brings the existing wire to a temperature."""
    weather = Weather(**weather)
    current = current_at(method, temperature, weather, wire(EXISTING))
    old, new = (loss(current, temperature_at(method, current, weather, w), w.resistance)
                for w in (wire(EXISTING), wire(on_carbon(542, 60, resistivity))))
    return 1 - new / old


def raised(method, temperature, weather):
    """Rating of the new wire at 180 °C over that of the existing one at a temperature."""
    weather = Weather(**weather)
    old = current_at(method, temperature, weather, wire(EXISTING))
    return current_at(method, 180.0, weather, wire(on_carbon(494, 87))) / old


@pytest.mark.parametrize("method", ["ieee738", "cigre601"])
def test_losses_at_equal_current_fall_by_up_to_26_percent(method):
    # by areas alone 1 - (430/542)(61.0/61.8) = 22 %; the rest is that the new wire stays cooler, and that the even
    # layers over a core that is no magnet lose nothing to it
    saved = [losses_saved(method, T, HOT) for T in (60.0, 75.0, 100.0)]
    assert saved == pytest.approx([0.228, 0.241, 0.26], abs=0.005)
    # the more current, the more is saved: "up to"
    assert np.all(np.diff(saved) > 0)
    # with the better of the two recalled conductivities 1.5 points more
    assert 0.010 < losses_saved(method, 75.0, HOT, MOST) - saved[1] < 0.018


def test_rating_rises_to_about_218_percent():
    # aluminium at 80 °C, its continuous limit by IEC practice: 220 % by the one method, 213 % by the other
    assert raised("ieee738", 80.0, HOT) == pytest.approx(2.18, abs=0.04)
    assert raised("cigre601", 80.0, HOT) == pytest.approx(2.18, abs=0.08)


def test_the_figure_hangs_on_what_is_called_ordinary():
    # 75 °C instead of 80 gives 241 %, 100 °C only 171 %: without temperatures the figure says little
    assert [round(float(raised("ieee738", T, HOT)), 2) for T in (75.0, 80.0, 100.0)] == pytest.approx(
        [2.41, 2.20, 1.71], abs=0.03)
    mild = HOT | {"ambient": 20, "solar": 0}
    assert raised("ieee738", 80.0, mild) < 1.75


def test_the_two_conductors_of_the_demo():
    """What docs/theory_limits.md tells of them: by areas and resistivities alone 27 % less loss, more as it stays
    cooler; both standards within 0.8 points of each other."""
    weather = Weather(**HOT | {"ambient": 35, "wind_speed": 0.6, "elevation": 295})
    old, new = (wire(catalogue.find(name)) for name in ("264-AL1/62-ST1A", "23.5-A0TW/CF-7.9"))
    saved = {"ieee738": [0.278, 0.288, 0.297, 0.303], "cigre601": [0.274, 0.282, 0.290, 0.295]}
    for method, ratio in (("ieee738", 2.36), ("cigre601", 2.28)):
        current = [float(current_at(method, T, weather, old)) for T in (60.0, 75.0, 90.0, 100.0)]
        lost = [[float(loss(each, temperature_at(method, each, weather, w), w.resistance)) for each in current]
                for w in (old, new)]
        assert 1 - np.divide(*lost[::-1]) == pytest.approx(saved[method], abs=6e-4)
        assert np.all(1 - np.divide(*lost[::-1]) > 1 - 264.4 / 357.8 * 27.90 / 28.264)
        assert float(current_at(method, 180.0, weather, new)) / current[1] == pytest.approx(ratio, abs=0.006)


def test_core_excess_is_the_conduction_of_heat():
    # Fourier's law across a tube heated evenly: what is made within a radius crosses it; integrated numerically
    P, D, d, k = 60.0, 0.0286, 0.0095, 1.2

    def gradient(r):
        return P * (r**2 - (d / 2) ** 2) / ((D / 2) ** 2 - (d / 2) ** 2) / (2 * np.pi * k * r)

    assert core_excess(P, D, d, k) == pytest.approx(quad(gradient, d / 2, D / 2)[0], rel=1e-9)
    # a solid rod: P / (4 pi k) (Carslaw and Jaeger, recalled)
    assert core_excess(P, D, 0.0, k) == pytest.approx(P / (4 * np.pi * k), rel=1e-12)


def test_core_excess_is_5_to_15_kelvin_at_high_current():
    # common practice, no source, for large wires at high current. Layers that touch, 1 to 2 W/m/K, agree with it; the
    # 0.7 of TB 601 (recalled) for aluminium without tension does not: it makes 18 K
    hot = Weather(**HOT)
    R = wire(EXISTING).resistance
    current = current_at("ieee738", 150.0, hot, wire(EXISTING))
    excess = core_excess(current**2 * R(150.0, current), EXISTING.diameter, EXISTING.core_diameter, [1.0, 1.5, 2.0])
    assert np.all((excess > 5) & (excess < 15))


@pytest.mark.parametrize("name", ["429-AL1/56-ST1A", "264-AL1/62-ST1A", "105-AL1/17-ST1A", "23.5-A0TW/CF-7.9"])
def test_quick_resistance_is_that_of_the_bessel_functions(name):
    c = catalogue.find(name)
    T, current = np.linspace(COLDEST, 660, 400), np.linspace(0, 1500, 400)
    layers = int(c.outer_layers) if c.core_material == "ST1A" else 0
    R = exact(c.resistance_20, c.temperature_coefficient, frequency=50.0, layers=layers, outer_area=c.outer_area,
              core_ratio=np.nan_to_num(c.core_diameter) / c.diameter)
    np.testing.assert_allclose(computed(c, 50.0)(T, current), R(T, current), rtol=1e-8)


def test_a_magnetic_core_counts_by_its_material():
    # one layer over steel: the current raises resistance (IEEE 738, in words); carbon is no magnet, nor are two layers
    R = {name: computed(catalogue.find(name), 50.0)
         for name in ("105-AL1/17-ST1A", "429-AL1/56-ST1A", "264-AL1/62-ST1A", "23.5-A0TW/CF-7.9")}
    rise = {name: resistance(20.0, 800.0) / resistance(20.0, 0.0) - 1 for name, resistance in R.items()}
    assert rise["105-AL1/17-ST1A"] == pytest.approx(0.20)
    assert rise["429-AL1/56-ST1A"] == pytest.approx(2.36e-5 * 800 / 1.0123)
    assert rise["264-AL1/62-ST1A"] == rise["23.5-A0TW/CF-7.9"] == 0


def test_measured_resistances_give_the_worked_example_of_ieee_738():
    # 7.283e-5 and 8.688e-5 ohm/m at 25 and 75 °C; 1025 A printed (recalled, high confidence), 2 A as for rounding
    summer = Weather(**HOT | {"solar": 998})
    R = tabulated([75.0, 25.0], [8.688e-5, 7.283e-5])
    assert current_at("ieee738", 100.0, summer, Wire(0.02812, R)) == pytest.approx(1025, abs=2)


@pytest.mark.parametrize("name", ["3/8 EHS", "7 No. 8 20SA"])
def test_a_wire_of_steel_is_not_rated_without_measured_resistances(name):
    """To alternating current it has more than skin effect tells (common practice, no source): too little would be
    computed, and too much current."""
    options = (Option("steel", Wiring(catalogue.find(name), 60, 80, ())),)
    weather = Weather(**HOT | {"ambient": 20})
    with pytest.raises(InputError, match=f"rating.resistances: found none of {name}, a wire of steel"):
        Ratings(options, "ieee738", weather, 60.0, None)
    assert np.isnan(Ratings(options, None, None, 60.0, None).current_at(0, 60.0))
    measured = {name: tabulated([20, 80], [5e-3, 7e-3])}
    assert 20 < Ratings(options, "ieee738", weather, 60.0, None, tables=measured).current_at(0, 60.0) < 200
