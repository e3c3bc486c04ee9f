"""Cases of load districts, whole: what the constant of a code is in, and what it is not in.

The constant is added to the resultant for tension alone (ANSI C2, Rule 251B, recalled, high confidence): swing,
clearance, weight and wind on structures are those without it.
"""

import numpy as np
import pytest
from pandas.testing import assert_frame_equal

DISTRICT = '\n[[cases]]\nname = "heavy"\ndistrict = "us-heavy"\n'
PLAIN = ('\n[[cases]]\nname = "heavy"\ntemperature = "0 degF"\nice = "0.5 in"\nice_density = "57 lb/ft^3"\n'
         'wind = "4 psf"\nchecks = ["tension"]\n')
KEYS = ["structure", "wire", "section", "case"]


@pytest.fixture(scope="module")
def both(make, tmp_path_factory):
    """Findings with the district, and with the same weather without a constant; limits in other cases."""
    found = []
    for name, text in (("district", DISTRICT), ("plain", PLAIN)):
        study = make.TinyStudy(tmp_path_factory.mktemp(name))
        study.text += text
        # Else the load of the case stretches the wire, the more with the constant.
        study.change("existing = true\n", "existing = true\nloads_seen = false\n")
        study.add_roads()
        found.append(study.check())
    return found


def test_the_constant_is_in_the_tension(both):
    """Of 0.30 lbf/ft = 4.378 N/m the resultant is more, and with it the tension."""
    with_it, without = (each.rows("sections", case="heavy") for each in both)
    more = with_it["load_n_per_m"] - without["load_n_per_m"]
    np.testing.assert_allclose(more, 0.30 * 4.4482216152605 / 0.3048, rtol=1e-9)
    assert (with_it["maximum_tension_n"] > 1.05 * without["maximum_tension_n"]).all()
    wires = [each.rows("wires", case="heavy") for each in both]
    assert (wires[0]["maximum_tension_n"] > 1.05 * wires[1]["maximum_tension_n"]).all()


def test_the_constant_turns_no_wire(both):
    swings = [each.rows("wires", case="heavy")["swing_deg"] for each in both]
    np.testing.assert_allclose(*swings, rtol=1e-12)
    assert (swings[0] > 10).all()
    strings = [each.rows("structure_loads", case="heavy", role="suspension")["string_swing_deg"] for each in both]
    np.testing.assert_allclose(*strings, rtol=1e-9)


@pytest.mark.parametrize("layer", ["clearances", "violations", "swing_envelopes", "limits", "not_assessed", "parcels"])
def test_the_constant_is_in_no_clearance(both, layer):
    """All that is told of where wires are is as without it; the case itself has no clearances."""
    with_it, without = (each[layer] for each in both)
    assert_frame_equal(with_it, without)
    assert layer != "clearances" or (len(with_it) and "heavy" not in set(with_it["case"]))
    assert layer != "swing_envelopes" or "heavy" in set(with_it["case"])


def test_weight_and_wind_on_structures_are_without_it(both):
    """Summed over the line; the lengths of wires differ by less than 1e-3, the constant is 17 % of the load."""
    with_it, without = (each.rows("structure_loads", case="heavy") for each in both)
    for name in ("vertical_n", "transverse_n"):
        assert with_it[name].abs().sum() == pytest.approx(without[name].abs().sum(), rel=1e-3)
    ends = [rows[rows["role"] == "terminal"]["longitudinal_n"].abs() for rows in (with_it, without)]
    assert (ends[0] > 1.05 * ends[1]).all()


def test_other_cases_are_as_they_were(both):
    """Nothing is strung in the heavy case, and its load has left no set in this wire."""
    with_it, without = (each["wires"] for each in both)
    assert_frame_equal(*(rows[rows["case"] != "heavy"].reset_index(drop=True) for rows in (with_it, without)))


def test_by_the_ruling_span_likewise(study):
    """The other way to hang wires takes the constant in, too, and has an answer."""
    study.text = (study.text + DISTRICT).replace("[study]", '[study]\nmethod = "ruling_span"')
    rows = study.check().rows("wires", case="heavy")
    assert len(rows) == 6 and rows["maximum_tension_n"].notna().all()
    np.testing.assert_allclose(rows["ruling_span_difference_m"], 0, atol=5e-3)


def test_strung_to_a_share_in_the_district(study, other_study):
    """40 % of strength in the heavy district: by the constant the wire is strung slacker, and is lower when hot."""
    for each, text in ((study, DISTRICT), (other_study, PLAIN)):
        each.text += text
        each.change('limit = "18 % RTS"\ntemperature = 10', 'limit = "40 % RTS"\ncase = "heavy"\ncondition = "initial"')
    sags = [each.check().rows("wires", case="hot")["sag_m"] for each in (study, other_study)]
    assert (sags[0] > sags[1] + 0.3).all()
