"""Conductors: the catalogue, users' entries and their errors, derived options."""

import dataclasses
import math
import subprocess
import sys
from pathlib import Path

import pytest

from corridor.conductor import derivation
from corridor.conductor.catalogue import aliases, find, names
from corridor.conductor.conductor import Conductor, conductor_from
from corridor.conductor.materials import (
    FOLDER,
    families,
    find_material,
    materials,
    read_table,
)
from corridor.errors import InputError

#: The contract's example of a study's own conductor.
OURS = {
    "name": "our wire",
    "outer_area": 403e-6,
    "core_area": 65.6e-6,
    "diameter": 28.1e-3,
    "mass": 1.628,
    "rts": 140e3,
    "resistance_20": 0.070e-3,
    "outer_modulus": 55e9,
    "core_modulus": 190e9,
    "outer_expansion": 23.0e-6,
    "core_expansion": 11.5e-6,
    "elongation": "linear",
    "compression": 10e6,
}
HARD_DRAWN = "hard-drawn aluminium on steel"


def error(values):
    with pytest.raises(InputError) as caught:
        conductor_from(values, where="conductors.0", file="a/study.toml")
    return str(caught.value)


# The catalogue


def test_catalogue_is_large_unique_and_whole():
    assert len(names()) >= 660
    assert len(set(names())) == len(names())
    assert not set(aliases()) & set(names())
    numbers = [
        f.name for f in dataclasses.fields(Conductor) if f.type is float or f.type == "float"
    ]
    may_be_unknown = {"outer_wire_diameter"}
    for wire in map(find, names()):
        unknown = {name for name in numbers if math.isnan(getattr(wire, name))}
        assert unknown <= may_be_unknown, wire.name
        assert wire.source and wire.confidence and wire.family in families()


def test_published_rows_are_not_derived_and_derived_rows_say_so():
    assert not find("Drake").derived
    derived = [find(name) for name in names() if find(name).derived]
    assert len(derived) == 120
    assert all(wire.confidence.startswith("derived") for wire in derived)


def test_find_by_code_word_and_by_designation():
    assert find("Zebra") is find("429-AL1/56-ST1A")
    assert find("Lynx").name == "183-AL1/43-ST1A"


def test_find_names_the_nearest():
    with pytest.raises(
        InputError, match=r"study.toml: options.0.conductor: found 'Darke'.*perhaps Drake"
    ):
        find("Darke", where="options.0.conductor", file="study.toml")


def test_catalogue_loads_no_heavy_library():
    code = (
        "import sys, corridor.conductor.catalogue as c; c.find('Drake');"
        "print(sorted({'numpy', 'pandas', 'pint', 'scipy', 'geopandas'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


# A user's entry


def test_what_is_given_is_kept():
    wire = conductor_from({**OURS, "family": HARD_DRAWN, "permanent_set": 1e-4, "compression": 0})
    for name, value in {**OURS, "permanent_set": 1e-4, "compression": 0.0}.items():
        assert getattr(wire, name) == value


def test_family_fills_what_is_absent():
    mechanical = ("outer_modulus", "core_modulus", "outer_expansion", "core_expansion")
    short = {k: v for k, v in OURS.items() if k not in (*mechanical, "elongation", "compression")}
    wire = conductor_from({**short, "family": HARD_DRAWN, "temperature_coefficient": None})
    assert (wire.outer_modulus, wire.core_modulus) == (55e9, 190e9)
    assert (wire.outer_expansion, wire.core_expansion) == pytest.approx((23e-6, 11.5e-6))
    assert wire.compression == 10e6 and wire.permanent_set == 8.2e-4
    assert wire.temperature_coefficient == 0.00403
    assert (wire.maximum_temperature, wire.emergency_temperature) == (80, 100)


def test_a_material_of_ones_own_replaces_the_familys():
    wire = conductor_from({**OURS, "family": HARD_DRAWN, "outer_material": "AT3"})
    assert wire.temperature_coefficient == 0.0040
    assert wire.maximum_temperature == 180  # the galvanised core, not the alloy's 210


def test_linear_without_a_family_has_no_set_and_unknowns_are_nan():
    wire = conductor_from(OURS)
    assert wire.permanent_set == 0 and wire.family == ""
    assert math.isnan(wire.core_heat) and math.isnan(wire.maximum_temperature)
    assert math.isnan(wire.core_diameter) and math.isnan(wire.outer_wire_diameter)


def test_neither_family_nor_set_nor_law_is_an_error():
    values = {k: v for k, v in OURS.items() if k != "elongation"}
    assert "study.toml: conductors.0.permanent_set: found nothing" in error(values)


def test_homogeneous_conductor():
    given = {"name": "alloy", "outer_area": 261.5e-6, "diameter": 21e-3, "mass": 0.722}
    given |= {"rts": 77e3, "resistance_20": 0.128e-3, "family": "aluminium alloy"}
    wire = conductor_from(given)
    assert (wire.core_area, wire.core_modulus, wire.core_heat, wire.core_diameter) == (0, 0, 0, 0)
    assert wire.core_material == "" and wire.compression == 0
    assert conductor_from({**given, "core_area": 0.0}) == wire


@pytest.mark.parametrize("name", [k for k in OURS if k not in ("name", "elongation")])
def test_a_missing_number_is_named(name):
    values = {k: v for k, v in OURS.items() if k != name}
    assert error(values).startswith(f"study.toml: conductors.0.{name}: found nothing")
    assert error({**OURS, name: None}).startswith(f"study.toml: conductors.0.{name}: found nothing")


@pytest.mark.parametrize(
    "change, key",
    [
        ({"outer_area": 403.0}, "outer_area"),  # mm² taken for m²
        ({"outer_area": 403e-5}, "diameter"),
        ({"diameter": 281e-3}, "diameter"),
        ({"diameter": 22.1e-3}, "diameter"),
        ({"mass": 1.628 / 3}, "mass"),
        ({"mass": 1628.0}, "mass"),
        ({"rts": 140.0}, "rts"),  # kN taken for N
        ({"resistance_20": 0.070}, "resistance_20"),  # ohm/km taken for ohm/m
        ({"resistance_20": 0.7e-3}, "resistance_20"),
        ({"outer_modulus": 55.0}, "outer_modulus"),
        ({"core_expansion": 11.5}, "core_expansion"),
        ({"core_expansion": 0.0}, "core_expansion"),
        ({"core_modulus": 0.0}, "core_modulus"),
        ({"compression": -1e6}, "compression"),
        ({"mass": math.nan}, "mass"),
        ({"mass": math.inf}, "mass"),
        ({"mass": True}, "mass"),
        ({"mass": "1.6"}, "mass"),
        ({"outer_wire_diameter": 4.4}, "outer_wire_diameter"),
        ({"elongation": "cubic"}, "elongation"),
        ({"family": "hard-drawn aluminium on stel"}, "family"),
        ({"core_material": "ST1B"}, "core_material"),
    ],
)
def test_impossible_values_are_refused(change, key):
    assert error({**OURS, **change}).startswith(f"study.toml: conductors.0.{key}: found ")


def test_errors_name_the_nearest():
    assert "perhaps outer_modulus?" in error({**OURS, "outer_modulos": 55e9})
    assert f"perhaps {HARD_DRAWN!r}?" in error({**OURS, "family": "hard-drawn aluminium on stel"})
    assert "the name of the conductor" in error({k: v for k, v in OURS.items() if k != "name"})


# Tables


@pytest.mark.parametrize(
    "text, where",
    [
        ("name,mass\nDrake,1.6\n", "second row"),
        ("name,mass\nunit,stone\nDrake,1.6\n", "row 3, mass"),
        ("name,mass\nunit,kg/m\nDrake,heavy\n", "row 3, mass"),
        ("name,mass\nunit,kg/m\nDrake\n", "row 3"),
    ],
)
def test_a_faulty_table_says_where(tmp_path, text, where):
    path = tmp_path / "table.csv"
    path.write_text(text)
    with pytest.raises(InputError, match=f"table.csv: {where}: found"):
        read_table(path)


def test_families_name_known_materials_and_their_bands_hold_the_default():
    for family in families().values():
        # Two kinds of aluminium, and optical ground wires, are of no one material.
        assert family.outer_material in (*materials(), "")
        assert family.core_material in (*materials(), "")
        assert family.compression_low <= family.compression <= family.compression_high
        assert family.confidence and family.source
    assert all(m.source and m.confidence for m in materials().values())


def cell(value, factor=1.0):
    return "" if isinstance(value, float) and math.isnan(value) else f"{value * factor:.6g}"


def material_lines():
    """Rows of the table of materials as the page prints them."""
    for m in materials().values():
        above = "" if math.isnan(m.expansion_above) else f" ({m.expansion_above * 1e6:g} above)"
        numbers = (m.density, m.resistivity * 1e9, m.temperature_coefficient)
        strengths = (m.modulus * 1e-9, m.strength * 1e-6, m.rated_stress * 1e-6, m.specific_heat)
        limits = (m.maximum_temperature, m.emergency_temperature)
        cells = [f"`{m.material}` {m.description}", *map(cell, numbers)]
        cells += [cell(m.expansion, 1e6) + above, *map(cell, (*strengths, *limits)), m.confidence]
        yield "| " + " | ".join(cells) + " |"


def family_lines():
    """Rows of the table of families as the page prints them."""
    for f in families().values():
        band = f"{cell(f.compression_low, 1e-6)} to {cell(f.compression_high, 1e-6)}"
        cells = [f.family, f.outer_material, f.core_material, cell(f.outer_modulus, 1e-9)]
        cells += [cell(f.core_modulus, 1e-9), cell(f.permanent_set), cell(f.compression, 1e-6)]
        yield "| " + " | ".join([*cells, band, f.confidence]) + " |"


def test_the_page_prints_the_tables_as_they_are():
    page = (Path(__file__).parents[1] / "docs" / "conductors.md").read_text(encoding="utf-8")
    for line in (*material_lines(), *family_lines()):
        assert line in page


# Derived options


def test_the_derived_table_is_what_the_rules_make(tmp_path):
    path = tmp_path / "derived.csv"
    derivation.write_derived(path)
    assert path.read_bytes() == (FOLDER / "derived.csv").read_bytes()


def test_named_options_of_one_size():
    """What a 264 mm² line would choose from: same size, other materials."""
    base = find("264-AL1/62-ST1A")
    options = ("264-AT1/62-ST1A", "264-A0/62-ST1A", "264-A0/62-ST6C", "23.5-A0TW/CF-7.9")
    for wire in map(find, options):
        assert wire.diameter == pytest.approx(base.diameter, rel=5e-3)
        assert wire.maximum_temperature > base.maximum_temperature


def test_strands_of_another_material_conduct_as_it_does():
    """Same strands: resistances stand as resistivities, 28.264 to 28.735 to 27.90; 0.1 %."""
    base = find("264-AL1/62-ST1A").resistance_20
    assert find("264-AT1/62-ST1A").resistance_20 / base == pytest.approx(28.735 / 28.264, rel=1e-3)
    assert find("264-A0/62-ST1A").resistance_20 / base == pytest.approx(27.90 / 28.264, rel=1e-3)


def test_trapezoidal_holds_a_fifth_more_aluminium_on_the_same_core():
    """Common practice, no source: 20 to 25 % more in the same diameter."""
    for name, base in derivation.BASES.items():
        table = {row["name"]: row for row in read_table(FOLDER / f"{base}.csv")}
        shaped = [
            find(n) for n in names() if "TW/ST" in n and find(n).source == f"diameter of {name}"
        ]
        assert len(shaped) == 3
        for wire in shaped:
            assert 1.20 < wire.outer_area / table[name]["outer_area"] < 1.27


def test_aluminium_is_most_of_a_conductor_on_a_composite_core():
    """Common practice, no source: 85 to 90 % of the area."""
    composite = [find(name) for name in names() if find(name).core_material == "CF"]
    assert len(composite) == 24
    for wire in composite:
        assert 0.85 < wire.outer_area / (wire.outer_area + wire.core_area) < 0.90, wire.name


def test_set_of_a_gap_type_makes_the_core_carry_all_at_stringing():
    """At a fifth of its strength the core's strain, hand-made, is the set of the outer part."""
    wire = find("23.5-AT1G/ST6C-10.1")
    assert wire.permanent_set == pytest.approx(0.2 * wire.rts / (190e9 * wire.core_area), rel=5e-3)
    assert wire.compression == 0


def test_invar_does_not_reach_the_change_of_its_expansion():
    change = find_material("INV").expansion_change
    on_invar = [find(name) for name in names() if find(name).core_material == "INV"]
    assert on_invar and all(wire.emergency_temperature <= change for wire in on_invar)


# Optical ground wires


OPTICAL = {"name": "24 fibres", "family": "optical ground wire", "outer_area": 70e-6, "diameter": 11.8e-3, "mass": 0.46,
           "rts": 75e3, "resistance_20": 0.75e-3, "outer_modulus": 130e9, "outer_expansion": 14e-6}


@pytest.mark.parametrize("name", [k for k in OPTICAL if k not in ("name", "family")])
def test_an_optical_ground_wire_is_what_its_data_sheet_says(name):
    """One part with the moduli of the whole; its set is the family's, and nothing else is assumed."""
    wire = conductor_from(OPTICAL)
    assert (wire.core_area, wire.permanent_set, wire.compression, wire.outer_modulus) == (0, 2e-4, 0, 130e9)
    assert error({k: v for k, v in OPTICAL.items() if k != name}).startswith(f"study.toml: conductors.0.{name}: found")


@pytest.mark.parametrize(("name", "offered"), [
    ("264-AT9/62", "264-AT1/62-ST1A"), ("264-AL1/62-ST1B", "264-AL1/62-ST1A or 264-AL1/34-ST1A"),
    ("264-AT3/62-INW", "264-AT3/62-INV"), ("264-AL1/62-A20S", "264-AL1/62-A20SA or 264-AL1/34-A20SA"),
    ("264-AL1/62-QQ", None), ("Drak", "Drake")])
def test_no_other_kind_of_core_is_offered(name, offered):
    """A wire with another core sags otherwise: who takes what is offered must not get one unawares."""
    with pytest.raises(InputError) as error:
        find(name)
    assert error.value.hint == offered
