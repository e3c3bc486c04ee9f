"""Reactance and geometric mean radius against textbook examples and the table of conductors that they use.

J. J. Grainger, W. D. Stevenson, *Power System Analysis*, McGraw-Hill 1994: examples 4.4 and 4.6 and table A.3, whose
values are those of the Aluminum Electrical Conductor Handbook. From memory, high.
"""

import numpy as np
import pytest

from corridor.conductor.catalogue import find
from corridor.electric.bundles import equivalent_radius, subconductor_places
from corridor.electric.reactance import (
    layer_counts,
    log_spacing,
    reactance,
    solid_counts,
    stranded_radius,
    tube_radius,
)
from corridor.rating.reactances import mean_radius

FOOT, INCH, MILE = 0.3048, 0.0254, 1609.344


def test_example_of_a_single_circuit():
    """Drake, 20, 20 and 38 ft apart, 60 Hz: a mean distance of 24.8 ft, 0.788 ohm/mi."""
    places = np.array([[0.0, 0.0], [19.0, np.sqrt(20**2 - 19**2)], [38.0, 0.0]]) * FOOT
    D = np.exp(log_spacing(places))
    assert D / FOOT == pytest.approx(24.8, abs=0.05)
    assert reactance(60.0, D, 0.0373 * FOOT) * MILE == pytest.approx(0.788, abs=1e-3)


def test_example_of_a_bundled_line():
    """Two Pheasant a phase, 0.45 m apart, phases 8 m apart in a level row, 60 Hz: 0.080 m, 10.08 m, 0.365 ohm/km."""
    radius = equivalent_radius(subconductor_places(2, 0.45), 0.0466 * FOOT)
    D = np.exp(log_spacing([[0.0, 0.0], [8.0, 0.0], [16.0, 0.0]]))
    assert radius == pytest.approx(0.080, abs=5e-4)
    assert D == pytest.approx(10.08, abs=5e-3)
    assert reactance(60.0, D, radius) * 1e3 == pytest.approx(0.365, abs=5e-4)


#: Name, strands and layers of aluminium, diameters of core and strand [in], geometric mean radius [ft] as printed.
TABLE = [("Drake", 26, 2, 0.4080, 0.1749, 0.0373), ("Hawk", 26, 2, 0.3162, 0.1355, 0.0289),
         ("Partridge", 26, 2, 0.2363, 0.1013, 0.0217), ("Hen", 30, 2, 0.3783, 0.1261, 0.0304),
         ("Flicker", 24, 2, 0.2820, 0.1410, 0.0284), ("Chickadee", 18, 2, 0.1486, 0.1486, 0.0241),
         ("Rail", 45, 3, 0.2913, 0.1456, 0.0386), ("Cardinal", 54, 3, 0.3987, 0.1329, 0.0402),
         ("Bluebird", 84, 4, 0.4805, 0.1602, 0.0586)]


@pytest.mark.parametrize(("name", "strands", "layers", "core", "strand", "printed"), TABLE)
def test_mean_radius_by_strands(name, strands, layers, core, strand, printed):
    """Within 0.6 % of the table, which is 0.0004 ohm/km at 50 Hz; half a digit of the table is 0.1 to 0.2 %."""
    radius = stranded_radius(layer_counts(strands, layers), core * INCH, strand * INCH)
    assert radius == pytest.approx(printed * FOOT, rel=6e-3)


@pytest.mark.parametrize(("strands", "share"), [(7, 0.726), (19, 0.758), (37, 0.768), (61, 0.772)])
def test_mean_radius_of_strands_without_a_core(strands, share):
    """Shares of the radius of the whole, as handbooks of transmission have them for strands of one kind (from memory,
    high): 0.726, 0.758, 0.768, 0.772."""
    counts = solid_counts(strands)
    radius = stranded_radius(counts, 0.0, 2.0)
    assert radius / (2 * len(counts) - 1) == pytest.approx(share, abs=6e-4)


def test_tube_is_near_the_strands_of_its_layers():
    """A tube in place of 26 strands: 1.3 % more, 0.0008 ohm/km less at 50 Hz."""
    strands = stranded_radius(layer_counts(26, 2), 0.408 * INCH, 0.1749 * INCH)
    assert 1.0 < tube_radius(1.108 * INCH, 0.408 * INCH) / strands < 1.02


def test_mean_radius_of_strands_is_the_mean_over_all_pairs():
    """Brute force over places of the strands, the layers turned against each other by all angles."""
    counts, core, d = [10, 16], 0.010363, 0.0044425
    radius = [core / 2 + d / 2, core / 2 + 1.5 * d]
    logs = []
    for turn in np.linspace(0, 2 * np.pi, 2000, endpoint=False):
        angle = [2 * np.pi * np.arange(n) / n + turn * layer for layer, n in enumerate(counts)]
        z = np.concatenate([r * np.exp(1j * a) for r, a in zip(radius, angle, strict=True)])
        logs.append(np.log(np.abs(z[:, None] - z) + np.eye(len(z)) * np.exp(-0.25) * d / 2).mean())
    assert stranded_radius(counts, core, d) == pytest.approx(np.exp(np.mean(logs)), rel=1e-6)


def test_of_the_catalogue():
    """Strands where they are known; a tube about a core of wires that are not round; none of one layer over steel."""
    known, told = mean_radius(find("Partridge"))
    assert known / FOOT == pytest.approx(0.0217, abs=1e-4) and "2 layers" in told
    carbon = find("23.5-A0TW/CF-7.9")
    radius, told = mean_radius(carbon)
    assert "tube" in told and 0.7788 < radius / (carbon.diameter / 2) < 1
    none, told = mean_radius(find("105-AL1/17-ST1A"))
    assert np.isnan(none) and "one layer over steel" in told


@pytest.mark.parametrize(("count", "arrangement", "product"), [(2, None, 1.0), (3, None, 1.0), (4, None, np.sqrt(2))])
def test_bundles_of_two_three_and_four(count, arrangement, product):
    """`(own d^(n-1))^(1/n)`, for four `1.09 (own d^3)^(1/4)`, as the textbook has them."""
    own, d = 0.012, 0.4
    printed = (own * d**(count - 1) * product)**(1 / count)
    assert equivalent_radius(subconductor_places(count, d, arrangement), own) == pytest.approx(printed, rel=1e-12)
