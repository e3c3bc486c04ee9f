"""Facts of the trade about wires on composite cores: all common practice, no source.

Each carries the tolerance that its own words allow ("about", "less than"). Where a material of the catalogue disagrees,
the test holds by how much and its docstring says why; nothing was bent to agree. Knees are in test_knee.py, losses and
ratings in test_rating_facts.py, the share of aluminium in tests/test_conductor.py.
"""

import numpy as np
import pytest

from corridor.conductor import catalogue, derivation
from corridor.conductor.materials import FOLDER, find_material, read_table

#: Resistivity of the annealed copper standard [ohm m], 1/58 ohm mm²/m at 20 °C (IEC 60028:1925; recalled, high).
COPPER = 1e-6 / 58
WIRES = [catalogue.find(name) for name in catalogue.names()]
ON_CARBON = [wire for wire in WIRES if wire.core_material == "CF"]
#: Bases of the published tables, in SI.
BASES = [next(row for row in read_table(FOLDER / f"{table}.csv") if row["name"] == name)
         for name, table in derivation.BASES.items()]


def conductivity(material):
    """In percent of the copper standard."""
    return 100 * COPPER / find_material(material).resistivity


def test_annealed_aluminium_conducts_about_63_percent():
    """"About": a point and a half. The catalogue has 61.8, the least that standards promise (recalled, medium), so that
    wires are computed hotter rather than cooler; 63.0 is the other end of its range, 27.37 nohm m."""
    assert conductivity("A0") == pytest.approx(63, abs=1.5)
    assert conductivity("A0") == pytest.approx(61.8, abs=0.05)
    assert "27.37" in find_material("A0").note
    assert 100 * COPPER / 27.37e-9 == pytest.approx(63.0, abs=0.05)


@pytest.mark.parametrize("alloy", ["AT1", "AT3"])
def test_thermal_alloy_conducts_about_60_percent(alloy):
    """Half a point: the standard's 60.0 (IEC 62004, recalled). AT2 and AT4 are of 55 and 58 %, and are not meant."""
    assert conductivity(alloy) == pytest.approx(60, abs=0.5)
    assert conductivity("AT2") < 56 < conductivity("AT4") < 59


def test_conductivity_reaches_the_wires():
    """Resistance by area of every wire on carbon: that of its metal and the 1 to 4 % that lay makes it longer."""
    assert len(ON_CARBON) > 20
    for wire in ON_CARBON:
        lay = wire.resistance_20 * wire.outer_area / (COPPER * 100 / conductivity(wire.outer_material))
        assert 1.01 < lay < 1.04, wire.name


def test_cores_are_5_to_21_millimetres():
    """5.3 to 21 mm are on offer; those derived here, for the common diameters of wire, lie within."""
    cores = np.array([1e3 * wire.core_diameter for wire in ON_CARBON])
    assert cores.min() > 5.3 and cores.max() < 21
    assert cores.max() / cores.min() > 1.7


def test_the_largest_core_bears_near_600_kilonewtons():
    """"Near": a tenth. So does a strand of seven rods, 21 mm across them all, at the lower strength that is recalled;
    one rod of 21 mm would bear 747 kN, a quarter more. The largest are stranded, then, or their fibre is weaker."""
    strength, whole = find_material("CF").strength, np.pi / 4 * 0.021**2
    strand = derivation.CORE_FILL[7] * whole * strength
    assert strand == pytest.approx(600e3, rel=0.1)
    assert strand * derivation.COMPOSITE_STRENGTH_KEPT[7] == pytest.approx(600e3, rel=0.1)
    assert whole * strength == pytest.approx(747e3, rel=0.005)


def test_180_degrees_for_ever_and_200_for_a_while():
    """Of the core, and so of every wire on it whose aluminium bears more."""
    core = find_material("CF")
    assert (core.maximum_temperature, core.emergency_temperature) == (180, 200)
    for wire in ON_CARBON:
        assert (wire.maximum_temperature, wire.emergency_temperature) == (180, 200), wire.name


def test_carbon_core_expands_a_seventh_of_steel_not_less_than_a_tenth():
    """The fact says less than a tenth. The catalogue's core is a hybrid, carbon within glass fibre, of 1.61e-6 1/K:
    14 % of steel's 11.5e-6, though 7 % of aluminium's 23e-6. Carbon alone is far lower, so the fact holds of cores
    of carbon alone, or against aluminium; taking 1.61 has the wire sag more, not less."""
    carbon, steel, aluminium = (find_material(name).expansion for name in ("CF", "ST1A", "A0"))
    assert carbon / steel == pytest.approx(0.14, abs=0.005)
    assert carbon / aluminium < 0.1


def test_carbon_core_weighs_about_a_fifth_of_steel():
    """"About": between a sixth and a quarter. It is 0.244, the glass again."""
    assert 1 / 6 < find_material("CF").density / find_material("ST1A").density < 1 / 4


@pytest.mark.parametrize("base", BASES, ids=lambda base: base["name"])
def test_formed_wires_take_a_tenth_less_diameter(base):
    """"About 10 %" for the same aluminium on the same core: 7 to 11, the less the more core there is."""
    core = base["core_wire_diameter"] * {1: 1, 7: 3, 19: 5}[base["core_strands"]]
    formed = np.sqrt(4 * base["outer_area"] / np.pi / derivation.TRAPEZOIDAL_FILL + core**2)
    assert 0.07 < 1 - formed / base["diameter"] < 0.11


def test_the_catalogue_is_large():
    """Eighty and more conductors, each with where it is from and how far to trust it."""
    assert len(WIRES) >= 80
    assert all(wire.source and wire.confidence for wire in WIRES)
