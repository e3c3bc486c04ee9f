"""Curves that are estimated from the parts of a conductor, beside those that were measured.

Sources
-------
Aluminum Association (1974), as reprinted in L. L. Grigsby (ed.), Electric Power Generation, Transmission, and
Distribution, CRC Press, 2nd ed. 2007: figure 14.7, 26/7 (read), and figure 14.8, 37 wires (recalled, medium). The
estimate is the mean of the two and its band twice as wide as they are apart, so that their curves lie within it by its
making; that sags do is not, since a band of sags hangs on limits, loads and the knee.

Table 14.5 of the same chapter (read) is of neither: another chart, whose final sags the built-in one misses by up to
4 %. It is the check from outside.
"""

from dataclasses import replace

import numpy as np
import pytest

from corridor.conductor import catalogue
from corridor.conductor.curves import built_in
from corridor.conductor.estimate import estimate
from corridor.conductor.materials import find_material
from corridor.geometry.catenary import greatest_sag
from corridor.line.facts import Case

from ..sections_of_wire import limit, solved, wiring
from .test_sag_tension_table import BARE, FOOT, POUND, SPAN, WEIGHT, cases, celsius

DRAKE = catalogue.find("Drake")
#: Ice [m], 900 kg/m³.
ICES = (0.0, 0.006, 0.0125, 0.019, 0.025, 0.032, 0.038)


def estimated(wire, strands):
    """A wire with curves by its parts in place of those it has."""
    outer, core = find_material(wire.outer_material), wire.core_material and find_material(wire.core_material)
    made = [estimate(outer, core or None, strands, wire.outer_modulus, wire.core_modulus, side) for side in (0, 1, -1)]
    return replace(wire, curves=made[0], curves_band=tuple(made[1:]))


def final_sags(wire, temperature, ices=ICES, span=300.0):
    """Final sag [m] and the least and greatest of its band, by the ice that has been, (ice, 3); 20 % initially."""
    rows = []
    for ice in ices:
        states = [Case("looked at", temperature)] + [Case("ice", 0.0, ice=ice, ice_density=900.0)] * (ice > 0)
        strung = solved(span, [wiring(wire, limit("share", 0.2, 10.0, "initial"), loads_seen=True)], states)
        H = np.r_[strung.horizontal_tension[0, 0, 0], strung.tension_band[:, 0, 0, 0]]
        rows.append(greatest_sag(span, 0.0, H / strung.weight[0, 0, 0]))
    return np.array(rows)


@pytest.mark.parametrize("temperature", [-20.0, 15.0, 50.0, 100.0])
def test_measured_26_7_lies_within_the_band_of_its_estimate(temperature):
    """From bare to 38 mm of ice, the sag by the measured curves is within the band, and 2.5 % of the estimate."""
    ours, measured = final_sags(estimated(DRAKE, 26), temperature), final_sags(DRAKE, temperature)[:, 0]
    assert (ours[:, 1] <= measured).all() and (measured <= ours[:, 2]).all()
    np.testing.assert_allclose(ours[:, 0], measured, rtol=0.025)


@pytest.mark.parametrize("name", ["400-A1/S1B-54/7", "400-A1/S1B-45/7", "328-AL3", "264-AT1/62-ST1A"])
def test_every_family_stretches_under_load(name):
    """54/7, 45/7, an alloy and a thermal alloy: final sag grows with the ice that has been, within a band."""
    wire = catalogue.find(name)
    assert wire.elongation == "estimated" and len(wire.curves_band) == 2
    sags = final_sags(wire, 15.0)
    assert (np.diff(sags[:, 0]) >= 0).all()
    assert sags[-1, 0] > 1.02 * sags[0, 0]
    assert (sags[:, 1] < sags[:, 0]).all() and (sags[:, 0] < sags[:, 2]).all()
    # 0.8 % and more from end to end where there is much steel, 3 % after heavy ice.
    assert ((sags[:, 2] - sags[:, 1]) > 0.008 * sags[:, 0]).all()
    assert sags[-1, 2] - sags[-1, 1] > 0.03 * sags[-1, 0]


def test_a_table_of_another_chart_is_no_worse_than_the_band():
    """Final sags of table 14.5, ten states, Drake in 700 ft: none above the band, and up to 2.6 % below it.

    So the doubt between charts is more than the two samples tell; the estimate errs to more sag. The measured curves
    do by 3.6 %.
    """
    wire = replace(estimated(DRAKE, 26), mass=WEIGHT / 9.80665, compression=0.0, outer_expansion=12.8e-6 * 1.8,
                   core_expansion=6.4e-6 * 1.8)
    states = [case for case in cases() if case.condition == "final"]
    strung = solved(SPAN, [wiring(wire, limit("tension", 6300 * POUND, celsius(60), "initial"),
                                  everyday_temperature=celsius(60))], states)
    load = np.hypot(strung.weight, strung.wind)[0, 0]
    low, high = greatest_sag(SPAN, 0.0, strung.tension_band[:, 0, 0] / load) / FOOT
    printed = np.array([{"heavy final": 13.61, "ice final": 13.93}.get(case.name) or
                        BARE[int(case.name.split()[0])][0] for case in states])
    assert (printed <= high).all() and (low * 0.974 <= printed).all()


def test_two_fits_of_the_chart_of_37_wires_agree():
    """Y(X) as built in, against the second fit, X = -5.31e-3 + 1.74e-5 Y - 6.17e-10 Y2 + 5.05e-14 Y3.

    Both are recalled; were one misremembered they would not be inverse to each other, to 2 % from 8000 psi on.
    """
    outer = np.array(built_in()["aluminium 37"].outer) / 6894.757 / 100.0 ** np.arange(5)
    for Y in (8000.0, 10_000.0, 12_500.0, 15_000.0, 17_500.0):
        X = -5.31e-3 + 1.74e-5 * Y - 6.17e-10 * Y**2 + 5.05e-14 * Y**3
        assert np.polyval(outer[::-1], X) == pytest.approx(Y, rel=0.02)


@pytest.mark.parametrize(("degrees", "with_10"), [(167, 0.10), (212, 0.10)])
def test_compression_of_nothing_is_the_estimate_and_10_mpa_the_cautious_end(degrees, with_10):
    """Final sag past the knee against table 14.5: without compression 0 to 4 % more, with 10 MPa 3 to 10 % more."""
    excess = []
    for compression in (0.0, 10e6):
        wire = replace(DRAKE, mass=WEIGHT / 9.80665, compression=compression, outer_expansion=12.8e-6 * 1.8,
                       core_expansion=6.4e-6 * 1.8)
        strung = solved(SPAN, [wiring(wire, limit("tension", 6300 * POUND, celsius(60), "initial"),
                                      everyday_temperature=celsius(60))], [Case("hot", celsius(degrees))])
        excess.append(greatest_sag(SPAN, 0.0, strung.constant[0, 0, 0]) / FOOT / BARE[degrees][0] - 1)
    assert 0 < excess[0] < 0.04
    assert 0.03 < excess[1] < with_10
    assert DRAKE.compression_low == 0.0 and DRAKE.compression == 10e6
