"""Ice that a study gives by its weight on a metre of wire: the same ice as that of a thickness, whole.

The weight of a round sleeve is plain geometry: `pi rho g t (D + t)` (Cigre, IEC 60826 and ANSI C2 alike).
"""

import math
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from pandas.testing import assert_frame_equal

from corridor.conductor.catalogue import find
from corridor.errors import InputError
from corridor.inputs.options import read_cases
from corridor.study.wires import Case

D = find("264-AL1/62-ST1A").diameter
#: Of 12 mm of 913 kg/m³ [N/m].
WEIGHT = math.pi * 913 * 9.80665 * 0.012 * (D + 0.012)
WIND = """
[[cases]]
name = "ice and wind"
temperature = -5
ice = "12 mm"
wind = "190 Pa"
checks = ["horizontal", "tension"]
"""
OWN = '\n[own_wires]\n'


def by_weight(text, weight=WEIGHT, more=""):
    return text.replace('ice = "12 mm"', f'ice_weight = {weight!r}\nice_density = 913\n{more}')


@pytest.mark.parametrize("share", [0.0, 0.4])
def test_the_same_ice_by_weight_and_by_thickness(study, other_study, share):
    """Every layer of the findings, with some of the weight told by the diameter."""
    for each in (study, other_study):
        each.text += WIND + OWN
        each.add_roads()
    more = f"ice_weight_per_diameter = {share * WEIGHT / D!r}" if share else ""
    other_study.text = by_weight(other_study.text, (1 - share) * WEIGHT, more)
    found = [each.check() for each in (study, other_study)]
    for layer in ("clearances", "wires", "sections", "structure_loads", "swing_envelopes", "limits", "violations"):
        both = [pd.DataFrame(each[layer].drop(columns="geometry", errors="ignore")) for each in found]
        if "other_state" in both[0]:
            told = both[1].pop("other_state").dropna()
            told = [words for words in told if "of ice" in words]
            assert all("N/m" in words and "mm of ice" not in words for words in told)
            both[0].pop("other_state")
        assert_frame_equal(*both, rtol=1e-7, atol=1e-6)
    iced = found[1].rows("wires", case="ice")
    assert (iced["sag_m"] > found[1].rows("wires", case="swung")["sag_m"]).all()


def test_each_wire_carries_the_weight_of_its_own_diameter(study):
    """Load of two options in the same case: bare weight and `w + k D`, by hand."""
    study.text = by_weight(study.text, 4.0, 'ice_weight_per_diameter = "0.2 N/m/mm"') + """
[[options]]
name = "thin"
conductor = "Partridge"
maximum_temperature = 75
[[options.stringing]]
limit = "15 % RTS"
temperature = 10
"""
    rows = study.check().rows("sections", case="ice")
    for option, name in (("today", "264-AL1/62-ST1A"), ("thin", "Partridge")):
        wire = find(name)
        load = rows[rows["option"] == option]["load_n_per_m"]
        np.testing.assert_allclose(load, wire.mass * 9.80665 + 4 + 0.2 * 1e3 * wire.diameter, rtol=1e-9)


def test_a_district_takes_the_ice_of_an_annex(study):
    """The weight in place of the thickness that it asks for; the case of an annex has it already."""
    study.text += """
[[cases]]
name = "annex"
district = "european-ice"
temperature = -5
ice_weight = 25
ice_density = 700
[[cases]]
name = "zone"
district = "netherlands-ice-a"
temperature = -5
ice_density = 700
"""
    findings = study.check()
    annex, zone = (findings.rows("sections", case=case)["load_n_per_m"].iloc[0] for case in ("annex", "zone"))
    bare = find("264-AL1/62-ST1A").mass * 9.80665
    assert annex == pytest.approx(bare + 25, rel=1e-9) and zone == pytest.approx(bare + 15 + 400 * D, rel=1e-9)


@pytest.mark.parametrize(("text", "where", "found"), [
    ("ice_weight = 20\nice_density = 700", "cases.ice.ice_weight", "ice besides"),
    ("", "cases.ice.ice_density", "nothing, with ice by its weight"),
    ("ice_density = 700\nice_weight_per_diameter = 0.4", "cases.ice.ice_weight_per_diameter", "0.4 N/m²"),
    ('ice_density = 700\nice_spans = "odd"\nice_elsewhere = 0.002', "cases.ice.ice_elsewhere", "beside ice by weight"),
])
def test_ice_that_is_told_badly(study, text, where, found):
    ice = 'ice = "12 mm"' if "besides" in found else "ice_weight = 20"
    study.change('ice = "12 mm"', f"{ice}\n{text}")
    with pytest.raises(InputError) as caught:
        study.check()
    assert caught.value.where == where and found in caught.value.found


def test_a_weight_that_no_ice_has_is_doubted(study):
    """1,628 kg/km written as N/m would be 370 mm across: told by what thickness it comes to."""
    study.change('ice = "12 mm"', "ice_weight = 900\nice_density = 913")
    row = study.check().row("doubts", doubt="ice-unusual")
    assert "900 N/m of ice of 913 kg/m³" in row["found"] and "mm thick" in row["found"]


@pytest.mark.parametrize(("case", "shield", "phases", "wires"), [
    ({"ice_weight": 20, "ice_density": 700}, {"temperature": -5}, (0.0, 20.0, 700.0), (0.0, 20.0, 700.0)),
    ({"ice_weight": 20, "ice_density": 700}, {"ice": 0}, (0.0, 20.0, 700.0), (0.0, 0.0, 700.0)),
    ({"ice_weight": 20, "ice_density": 700}, {"ice": 0.01}, (0.0, 20.0, 700.0), (0.01, 0.0, 700.0)),
    ({}, {"ice_weight": 20, "ice_density": 600}, (0.0, 0.0, 913.0), (0.0, 20.0, 600.0)),
    ({"ice": 0.01}, {"ice_weight": 20, "ice_density": 600}, (0.01, 0.0, 913.0), (0.0, 20.0, 600.0)),
])
def test_ice_of_shield_wires_by_weight(case, shield, phases, wires):
    """What a state of shield wires says of ice stands in place of all that the case says of it."""
    rows = [Case.model_validate({"name": "ice", "temperature": 0, "shield": shield} | case)]
    read, = read_cases(SimpleNamespace(cases=rows))
    for kind, wanted in (("phase", phases), ("shield", wires)):
        state = read.of(kind)
        assert (state.ice, state.ice_weight, state.ice_density) == wanted
        assert state.icy == any(wanted[:2])
    assert read.iced and not read.without_ice().iced
