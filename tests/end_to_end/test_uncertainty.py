"""How sure margins are: deviations against the same study computed anew with the input changed.

Outside sources are the engine itself asked twice, and the probabilities of independent and of common events (textbooks).
"""

import numpy as np
import pandas as pd
import pytest
import shapely
from scipy.special import ndtr

from corridor import check
from corridor.study.uncertainty import ASSUMED, UNITS
from tests.common import ask, run

from .conftest import EAST, NORTH, SECOND_OPTION

KEYS = ["option", "case", "span", "against", "obstacle", "measure", "position"]
OWN = """
[[conductors]]
name = "own"
outer_area = "264 mm^2"
core_area = "62 mm^2"
diameter = "23.5 mm"
mass = "{mass} kg/m"
rts = "100 kN"
resistance_20 = "0.11 ohm/km"
temperature_coefficient = 0.00403
outer_modulus = "{outer} GPa"
core_modulus = "{core} GPa"
outer_expansion = {outer_expansion}
core_expansion = {core_expansion}
elongation = "linear"
compression = "{compression} MPa"
permanent_set = {permanent_set}
"""
VALUES = {"mass": 1.2, "outer": 55.0, "core": 190.0, "outer_expansion": 23e-6, "core_expansion": 11.5e-6,
          "compression": 4.0, "permanent_set": 4e-4}


def table(**deviations):
    """`[uncertainty]` with these deviations and no other; each `sd` or (`sd`, `common`)."""
    text = "\n[uncertainty]\n"
    for name in UNITS:
        sd, *common = np.atleast_1d(deviations.get(name, 0.0)).tolist()
        words = f'common = "{common[0]}"' if common else ""
        text += f'[uncertainty.{name}]\nsd = {float(sd)}\nsource = "test"\n{words}\n'
    return text


def own_wire(study, measured=15.0, ground=0.0, hottest=75.0, **changes):
    """The study with a wire of its own that hangs by the ruling span, its first section measured."""
    study.text = study.text.replace('voltage = "110 kV"\n', 'voltage = "110 kV"\nmethod = "ruling_span"\n', 1)
    study.change('conductor = "264-AL1/62-ST1A"', 'conductor = "own"')
    study.change("maximum_temperature = 75\nemergency_temperature = 90", f"maximum_temperature = {hottest}")
    study.change("existing = true\n", 'existing = true\nmeasured = "measured.csv"\n')
    (study.folder / "measured.csv").write_text(
        f"section,temperature,sag,span_length\n1-3,{measured},6.1,300\n", encoding="utf-8")
    study.text += OWN.format(**VALUES | changes)
    study.structures["base_elevation"] = 100 + 0.02 * (study.structures.easting - EAST)
    study.write_ground(lambda e, n: ground + 100 + 0.02 * (e - EAST) + 0.01 * (n - NORTH))
    return study


def sure(make, folder, text, **changes):
    """Findings of the study with its own wire and a table `[uncertainty]`."""
    study = own_wire(make.TinyStudy(folder), **changes)
    study.text += text
    return study.check()


def margins(findings):
    """Rows of clearances by their keys."""
    return findings["clearances"].fillna({"obstacle": ""}).set_index(KEYS).sort_index()


#: One standard deviation of an input, and how the study says the input is that much higher.
BY_HAND = {
    "ground": (0.2, lambda z: {"ground": 0.2 * z}),
    "survey_temperature": (3.0, lambda z: {"measured": 15.0 + 3.0 * z}),
    "expansion": (0.04, lambda z: {"outer_expansion": 23e-6 * (1 + 0.04 * z), "core_expansion": 11.5e-6 * (1 + 0.04 * z)}),
    "modulus": (0.05, lambda z: {"outer": 55.0 * (1 + 0.05 * z), "core": 190.0 * (1 + 0.05 * z)}),
    "mass": (0.02, lambda z: {"mass": 1.2 * (1 + 0.02 * z)}),
    "creep": (0.25, lambda z: {"permanent_set": 4e-4 * (1 + 0.25 * z)}),
    "compression": (2e6, lambda z: {"compression": 4.0 + 2.0 * z}),
    "wire_temperature": (4.0, lambda z: {"hottest": 75.0 + 4.0 * z}),
}


@pytest.mark.parametrize("name", BY_HAND)
def test_one_input_moves_margins_as_the_study_that_says_so(make, tmp_path, name):
    """Within 2 mm, at the places where margins were found. Of the mass in wind within 6 mm: strings, which swing less
    with a heavier wire, stay where they are.
    """
    sd, changed = BY_HAND[name]
    hot = {} if name == "wire_temperature" else {"hottest": 150.0}
    told = margins(sure(make, tmp_path / "told", table(**{name: sd}), **hot))
    low, high = (margins(own_wire(make.TinyStudy(tmp_path / f"by_hand{z}"), **hot | changed(z)).check())
                 for z in (-1, 1))
    half = (high.margin_m - low.margin_m).reindex(told.index) / 2
    assert half.notna().all() and half.abs().max() > 0.01
    np.testing.assert_allclose(told.margin_sd_m, half.abs(), atol=0.006 if name == "mass" else 0.002)
    assert set(told.largest_share[told.margin_sd_m > 0]) == {name}
