"""Reactance and voltage drop in the findings: by hand where all is known, else null with its reason."""

import numpy as np
import pytest

from corridor.conductor.catalogue import find
from corridor.rating.reactances import mean_radius

THIRD = "hold,C,phase,1,0,22,strain,,\nhang,C,phase,1,0,23,suspension,1.4,40\n"
RATING = """
[rating]
method = "ieee738"
ambient = 35
wind_speed = 0.6
wind_angle = 90
emissivity = 0.8
absorptivity = 0.8
solar = 1000
required_current = 500
"""


@pytest.fixture
def three(study):
    """The study with a third phase and a rating."""
    study.framings += THIRD
    study.text += RATING
    return study


def test_by_hand(three):
    """Spans go hold-hang, hang-hold, hold-hold: at mid-span the phases lie at means of both framings."""
    row = three.check()["options"].iloc[0]
    hold, hang = np.array([[-4, 18], [5, 19], [0, 22]]), np.array([[-4, 17.6], [5, 18.6], [0, 21.6]])
    logs = [np.log([np.hypot(*(p[i] - p[j])) for i, j in ((0, 1), (1, 2), (0, 2))]).mean()
            for p in ((hold + hang) / 2, (hold + hang) / 2, hold)]
    D = np.exp(np.mean(logs))
    radius = mean_radius(find("264-AL1/62-ST1A"))[0]
    assert row["mean_distance_m"] == pytest.approx(D, rel=1e-9)
    X = 2e-7 * 2 * np.pi * 50 * np.log(D / radius)
    assert row["reactance_ohm_per_km"] == pytest.approx(1e3 * X, rel=1e-9)
    R = row["loss_at_required_current_w_per_m"] / (3 * 500**2)
    assert row["voltage_drop_v_per_km"] == pytest.approx(1e3 * np.sqrt(3) * 500 * np.hypot(R, X), rel=1e-9)
    assert "2 layers of round strands" in row["reactance_note"]


def test_two_wires_are_no_three_phases(study):
    row = study.check()["options"].iloc[0]
    assert np.isnan(row["reactance_ohm_per_km"]) and np.isnan(row["voltage_drop_v_per_km"])
    assert "circuit 1 has 2 phase wires, not 3" in row["reactance_note"]


def test_no_current_asked_for_no_drop(study):
    study.framings += THIRD
    row = study.check()["options"].iloc[0]
    assert row["reactance_ohm_per_km"] > 0.3 and np.isnan(row["voltage_drop_v_per_km"])


def test_a_bundle_of_unknown_spacing_has_none(three):
    three.change('maximum_temperature = 75', 'maximum_temperature = 75\nbundle = 2')
    row = three.check()["options"].iloc[0]
    assert np.isnan(row["reactance_ohm_per_km"]) and np.isnan(row["mean_radius_m"])
    assert "spacing of the bundle is not given" in row["reactance_note"]
