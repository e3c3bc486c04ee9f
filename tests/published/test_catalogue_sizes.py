"""Sizes that the catalogue has by their strands alone, held against printed tables.

What was read is said so; everything else was recalled. The rules of the standards (factors, classes of wires) are data
of the package: a printed strength that they reproduce was typed from the table, not computed by them.
"""

import math

import numpy as np
import pytest

from corridor.conductor.catalogue import find, names
from corridor.conductor.materials import FOLDER, Row, families, read_table
from corridor.conductor.standards import STANDARDS, complete
from corridor.errors import InputError

from ..sections_of_wire import limit, solved, wiring

INCH, POUND_PER_FOOT, POUND_FORCE, KCMIL = 0.0254, 1.488164, 4.448222, 0.50670747e-6

#: Printed cells, worst difference of what the rules make of the strands [-], by table and column. Areas and diameters
#: of `iec_61089` and `en_50182` are printed to three digits; resistances of `astm_b232` are recalled (medium); masses
#: of ASTM A475 do not follow one density, 7790 to 7970 kg/m³ of wire with its lay.
WITHIN = {
    "astm_b232": {"diameter": 1e-3, "mass": 4e-3, "rts": 2.5e-3, "resistance_20": 7e-3},
    "iec_61089": {"diameter": 4e-3, "mass": 4e-3, "rts": 4e-3, "resistance_20": 4e-3},
    "en_50182": {"diameter": 4e-3, "mass": 2e-3, "rts": 2.5e-3, "resistance_20": 1e-3},
    "astm_b232_sizes": {"rts": 4.5e-3},
    "en_50182_plain": {"mass": 1e-3, "rts": 1.1e-3, "resistance_20": 1.5e-3},
    "astm_b231": {"rts": 4e-3},
    "astm_b399": {"rts": 4e-3},
    "astm_b524": {"rts": 4.5e-3},
    "astm_b8": {"rts": 2e-3},
    "astm_a475": {"mass": 0.025},
    "astm_b416": {"rts": 1e-3},
}

#: Printed strengths that the rule does not reproduce: Butte as if its wires were of the next class; two of copper are
#: printed higher, as if between classes. The printed value stands in the table.
UNLIKE = {"Butte": 0.0445, "Cu 1000 37": -0.013, "Cu 250 19": -0.0095}

NUMBERS = ("outer_area", "core_area", "diameter", "mass", "rts", "resistance_20")


def bare(row, table):
    """A row of strands alone; the strength stays where no class of wires is known."""
    kept = ("rts",) if table == "astm_a475" else ()
    return Row(row.path, row.line, {k: None if k in NUMBERS and k not in kept else v for k, v in row.items()})


@pytest.mark.parametrize("table", [table for table in STANDARDS if table in WITHIN])
def test_the_rules_make_what_is_printed(table):
    seen = set()
    for row in read_table(FOLDER / f"{table}.csv"):
        made = complete(bare(row, table), STANDARDS[table])
        for column, share in WITHIN[table].items():
            if row.get(column) is None:
                continue
            seen.add(column)
            off = made[column] / row[column] - 1
            if column == "rts" and row["name"] in UNLIKE:
                assert off == pytest.approx(UNLIKE[row["name"]], abs=5e-4), row["name"]
            else:
                assert abs(off) <= share, (row["name"], column, off)
    assert seen == set(WITHIN[table])


#: Aluminium of ASTM B232 and B231 sizes [kcmil], by which they are ordered.
CIRCULAR_MILS = {
    26.24: "Turkey", 41.74: "Swan Swanate Rose", 66.36: "Sparrow Sparate Iris", 83.69: "Robin Pansy",
    105.6: "Raven Poppy", 133.1: "Quail Aster", 167.8: "Pigeon Phlox", 211.6: "Penguin Oxlip", 80: "Grouse",
    101.8: "Petrel", 110.8: "Minorca", 134.6: "Leghorn", 159: "Guinea", 176.9: "Dotterel", 190.8: "Dorking",
    211.3: "Cochin", 203.2: "Brahma", 250: "Sneezewort Valerian", 266.8: "Waxwing Daisy Laurel", 300: "Peony",
    336.4: "Merlin Tulip", 350: "Daffodil", 397.5: "Chickadee Brant Canna", 450: "Goldentuft",
    477: "Pelican Flicker Cosmos Syringa", 500: "Zinnia Hyacinth", 556.5: "Osprey Dahlia Mistletoe",
    600: "Meadowsweet", 605: "Squab Peacock Teal", 636: "Kingbird Egret Orchid", 650: "Heuchera",
    666.6: "Flamingo Gannet", 700: "Verbena Flag", 715.5: "Starling Stilt Redwing Crow Violet Nasturtium",
    750: "Petunia Cattail", 795: "Cuckoo Coot Arbutus Lilac", 900: "Canary Ruddy Cockscomb Snapdragon",
    954: "Magnolia Goldenrod", 1000: "Hawkweed Camellia", 1033.5: "Bluebell Larkspur", 1113: "Marigold",
    1192.5: "Grackle Bunting Hawthorn", 1272: "Narcissus", 1351.5: "Martin Dipper Columbine",
    1431: "Plover Bobolink Carnation", 1510.5: "Parrot Nuthatch Gladiolus", 1590: "Coreopsis", 1750: "Jessamine",
    1780: "Chukar", 2000: "Cowslip", 2167: "Kiwi", 2250: "Sagebrush", 2500: "Lupine", 2750: "Bitterroot",
}


def test_aluminium_in_circular_mils():
    """Strands of 0.0001 in: 0.15 % of area, the smallest wires' last digit."""
    for kcmil, several in CIRCULAR_MILS.items():
        for name in several.split():
            assert find(name).outer_area / KCMIL == pytest.approx(kcmil, rel=1.5e-3), name
    for table in ("astm_b232_sizes", "astm_b231"):
        told = {name for several in CIRCULAR_MILS.values() for name in several.split()}
        assert {row["name"] for row in read_table(FOLDER / f"{table}.csv")} - told == (
            {"Wood Duck"} if table == "astm_b232_sizes" else {"Peachbell"})


def test_small_sizes_of_california_general_order_95_table_23():
    """Diameter [in] to its last digit and weight [lb/ft] within 0.6 %, as printed there (read); older increments."""
    printed = {"Penguin": (0.563, 0.2921), "Pigeon": (0.502, 0.2316), "Quail": (0.447, 0.1837),
               "Raven": (0.398, 0.1456), "Sparate": (0.325, 0.1072), "Sparrow": (0.316, 0.0916),
               "Swanate": (0.257, 0.0674), "Swan": (0.250, 0.0576), "Turkey": (0.198, 0.0362)}
    for name, (inches, pounds) in printed.items():
        assert find(name).diameter / INCH == pytest.approx(inches, abs=1.1e-3), name
        assert find(name).mass / POUND_PER_FOOT == pytest.approx(pounds, rel=6e-3), name


def test_copper_of_california_general_order_95_table_18():
    """Diameter [in], strength [lbf] and weight [lb/ft] of hard-drawn copper, as printed there (read).

    Strength to its last digit, save four that differ by one to three pounds from ASTM B8 as recalled; 0.1 %.
    """
    printed = {"500 37": (0.813, 22510, 1.544), "350 19": (0.679, 15590, 1.081), "250 19": (0.574, 11365, 0.7719),
               "4/0 7": (0.527, 9154, 0.6533), "3/0 7": (0.464, 7366, 0.5181), "2/0 7": (0.414, 5925, 0.4109),
               "1/0 7": (0.368, 4753, 0.3258), "1 7": (0.328, 3802, 0.2584), "2 7": (0.292, 3042, 0.2049),
               "4 7": (0.232, 1940, 0.1289), "4 solid": (0.2043, 1970, 0.1264)}
    for name, (inches, pounds, weight) in printed.items():
        wire = find(f"Cu {name}")
        # The order has 0.527 for 4/0, where three wires of 0.1739 in are 0.5217.
        assert wire.diameter / INCH == pytest.approx(inches, abs=6e-3 if name == "4/0 7" else 1.1e-3), name
        assert wire.rts / POUND_FORCE == pytest.approx(pounds, rel=1e-3), name
        assert wire.mass / POUND_PER_FOOT == pytest.approx(weight, rel=2e-3), name


#: Strands, wires [mm], areas [mm²], diameter [mm], mass [kg/km], strength [kN], resistance [ohm/km].
AL3_ST1A = {
    "15": (6, 1, 1.8, 1.8, 15.3, 2.54, 5.4, 61.6, 7.48, 2.1602),
    "34": (6, 1, 2.7, 2.7, 34.4, 5.73, 8.1, 138.6, 16.66, 0.9601),
    "48": (6, 1, 3.2, 3.2, 48.3, 8.01, 9.6, 194.7, 23.08, 0.6835),
    "70": (26, 7, 1.85, 1.44, 69.9, 11.4, 11.7, 282, 33.96, 0.4756),
    "94": (26, 7, 2.15, 1.67, 94.4, 15.3, 13.6, 380.3, 45.79, 0.3521),
    "122": (26, 7, 2.44, 1.9, 121.6, 19.8, 15.5, 490.6, 59.09, 0.2733),
    "128": (30, 7, 2.33, 2.33, 127.9, 29.8, 16.3, 586.6, 71.76, 0.2601),
    "149": (26, 7, 2.7, 2.1, 148.9, 24.2, 17.1, 600.3, 72.28, 0.2233),
    "172": (30, 7, 2.7, 2.7, 171.8, 40.1, 18.9, 787.7, 96.36, 0.1937),
    "184": (26, 7, 3.0, 2.33, 183.8, 29.8, 19.0, 741, 88.24, 0.1809),
    "209": (26, 7, 3.2, 2.49, 209.1, 34.1, 20.3, 843.5, 100.54, 0.1590),
    "231": (24, 7, 3.5, 2.33, 230.9, 29.8, 21.0, 870.1, 102.14, 0.1439),
    "243": (26, 7, 3.45, 2.68, 243.1, 39.5, 21.8, 979.4, 116.72, 0.1368),
}


def test_strands_of_en_50182_by_a_table_of_the_same_on_alloy():
    """A maker's table of AL3/ST1A (read): areas, diameter, mass, strength and resistance, to the digits printed.

    The catalogue has the same strands with AL1; with AL3 in its place the rule must make the table.
    """
    rows = {row["name"].split("-")[0]: row for row in read_table(FOLDER / "en_50182_sizes.csv")
            if row["name"].split("-")[0] in AL3_ST1A and not row["alias"]}
    assert set(rows) == set(AL3_ST1A)
    for name, (n_o, n_c, d_o, d_c, A_o, A_c, D, m, rts, R) in AL3_ST1A.items():
        row = rows[name]
        assert (row["outer_strands"], row["core_strands"]) == (n_o, n_c)
        assert (row["outer_wire_diameter"], row["core_wire_diameter"]) == pytest.approx((d_o * 1e-3, d_c * 1e-3))
        made = complete(Row(row.path, row.line, row | {"outer_material": "AL3"}), STANDARDS["en_50182"])
        assert made["outer_area"] * 1e6 == pytest.approx(A_o, abs=0.06)
        assert made["core_area"] * 1e6 == pytest.approx(A_c, abs=0.11)
        assert made["diameter"] * 1e3 == pytest.approx(D, abs=0.06)
        assert made["mass"] * 1e3 == pytest.approx(m, rel=1.5e-3)
        assert made["rts"] / 1e3 == pytest.approx(rts, rel=2e-3)
        assert made["resistance_20"] * 1e3 == pytest.approx(R, rel=1.5e-3)


def test_british_sizes():
    """Strength [kN] and resistance [ohm/km] of EN 50182 as recalled (medium): 0.3 %."""
    printed = {"Wasp": (16.95, 0.2697), "Hornet": (26.01, 0.1823), "Cockroach": (42.5, 0.1081), "Ash": (53.31, 0.1830),
               "Elm": (62.24, 0.1568), "Sycamore": (89.4, 0.1095), "Upas": (106.8, 0.0917), "Rubus": (173.1, 0.0567)}
    for name, (strength, resistance) in printed.items():
        assert find(name).rts / 1e3 == pytest.approx(strength, rel=3e-3), name
        assert find(name).resistance_20 * 1e3 == pytest.approx(resistance, rel=3e-3), name


def test_weights_of_plain_aluminium_and_of_clad_steel():
    """ASTM B231 [lb/kft, recalled: high], 0.2 %; aluminium-clad strand [lb/kft, recalled: medium], 0.5 %."""
    aluminium = {"Iris": 62.3, "Poppy": 99.1, "Oxlip": 198.7, "Laurel": 250.4, "Tulip": 315.8, "Cosmos": 447.8,
                 "Orchid": 597.0, "Arbutus": 746.3, "Magnolia": 895.5, "Narcissus": 1194}
    clad = {"7 No. 5": 524.9, "7 No. 6": 416.3, "7 No. 7": 330.0, "7 No. 8": 262.0, "7 No. 9": 207.6, "7 No. 10": 164.7,
            "19 No. 5": 1430, "19 No. 6": 1134, "19 No. 8": 713.5, "19 No. 10": 448.7}
    for name, weight in aluminium.items():
        assert find(name).mass / POUND_PER_FOOT * 1e3 == pytest.approx(weight, rel=2e-3), name
    for name, weight in clad.items():
        assert find(f"{name} 20SA").mass / POUND_PER_FOOT * 1e3 == pytest.approx(weight, rel=5e-3), name


def test_clad_steel_by_the_rule_of_astm_b416():
    """90 % of the wires' strength (read) by 195 ksi up to No. 8, 185, 175 and 165 ksi of No. 7, 6, 5 (recalled)."""
    for number, inches, ksi in ((5, 0.1819, 165), (6, 0.1620, 175), (7, 0.1443, 185), (8, 0.1285, 195)):
        pounds = 0.9 * 7 * math.pi / 4 * inches**2 * ksi * 1e3
        assert find(f"7 No. {number} 20SA").rts / POUND_FORCE == pytest.approx(pounds, rel=1.5e-3)


def test_a_core_of_clad_steel_is_lighter_and_conducts():
    """The same strands: what differs is the core's density, and with ASTM that it conducts (plain physics)."""
    for name, clad in (("Drake", "Drake/AW"), ("Cuckoo", "Cuckoo/AW")):
        steel, other = find(name), find(clad)
        for column in ("outer_area", "core_area", "diameter"):
            assert getattr(other, column) == getattr(steel, column)
        assert steel.mass - other.mass == pytest.approx(steel.core_area * (7780 - 6590), rel=0.09)
        by_hand = 1 / (steel.outer_area / (28.264e-9 * 1.025) + steel.core_area / (84.80e-9 * 1.004))
        assert other.resistance_20 == pytest.approx(by_hand, rel=2e-4)
        assert other.core_modulus == 155e9 and other.core_expansion == pytest.approx(13e-6)


def test_two_kinds_of_aluminium_conduct_side_by_side():
    """ACAR of 30 and 7 wires of 0.1664 in by hand: parallel resistances, masses added; one part, without a knee."""
    wire, one = find("ACAR 1024.5 30/7"), math.pi / 4 * (0.1664 * INCH) ** 2
    assert wire.outer_area / KCMIL == pytest.approx(1024.5, rel=1e-3) and wire.core_area == 0
    assert wire.diameter == pytest.approx(7 * 0.1664 * INCH)
    assert wire.mass == pytest.approx(1.02 * one * (30 * 2703 + 7 * 2690))
    assert wire.resistance_20 == pytest.approx(1.02 / one / (30 / 28.264e-9 + 7 / 32.84e-9))
    assert wire.maximum_temperature == 80 and wire.temperature_coefficient == 0.00403


def test_strength_of_two_kinds_of_aluminium():
    """Rated strengths of ACAR to ASTM B524 in published tables of makers (read), to the nearest 100 lb. Each kind keeps
    what its own layers leave of it; counted by all layers of the conductor they would be 2.6 to 3.5 % too weak."""
    for name, pounds in (("355.0 12/7", 8500), ("465.9 12/7", 11000), ("653.1 12/7", 15400), ("739.8 30/7", 15300),
                         ("739.8 18/19", 18800), ("1024.5 30/7", 20900), ("1024.5 18/19", 25800)):
        assert find(f"ACAR {name}").rts == pytest.approx(pounds * POUND_FORCE, rel=1e-6)
    for row in read_table(FOLDER / "astm_b524.csv"):
        if row["rts"] is not None:
            made = complete(bare(row, "astm_b524"), STANDARDS["astm_b524"])
            assert made["rts"] == pytest.approx(row["rts"], abs=51 * POUND_FORCE), row["name"]


def test_trapezoidal_hard_drawn_wires():
    """Drake's diameter with 16 % of steel holds 959.6 kcmil; its area and core are 1.010 in across (recalled, B857).

    The derived one in Drake's diameter keeps Drake's lighter core: 3 % more aluminium.
    """
    rows = [find(name) for name in names() if find(name).derived and find(name).outer_material == "AL1"]
    assert len(rows) == 16
    fuller, smaller = (next(row for row in rows if row.source == f"{of} of Drake")
                       for of in ("diameter", "area and core"))
    assert 1.0 < fuller.outer_area / KCMIL / 959.6 < 1.03
    assert smaller.diameter / INCH == pytest.approx(1.010, abs=2e-3)
    assert smaller.outer_area == pytest.approx(find("Drake").outer_area, rel=1e-3)


@pytest.mark.parametrize("name", ["3/8 EHS", "7 No. 8 20SA", "Cu 4/0 7", "Arbutus", "Greeley", "ACAR 1024.5 30/7"])
def test_one_part_has_no_knee(name):
    """A core that is not there never carries alone (plain physics), however hot."""
    strung = solved(250.0, [wiring(find(name), limit("share", 0.15))], [10.0, 200.0])
    assert not np.isfinite(strung.knee).any() and np.isfinite(strung.horizontal_tension).all()


def test_a_clad_core_has_its_knee_a_little_later():
    """Clad steel expands more than galvanised (13.0 to 11.5 millionths): aluminium is shed at a higher temperature."""
    knees = [float(solved(250.0, [wiring(find(name), limit("share", 0.18))], [10.0]).knee[0, 0])
             for name in ("Cuckoo", "Cuckoo/AW")]
    assert 60 < knees[0] < knees[1] < 160


def test_strength_without_classes_is_asked_for():
    row = read_table(FOLDER / "astm_a475.csv")[0]
    with pytest.raises(InputError, match="a strength: ASTM has no classes of wires of EHS"):
        complete(Row(row.path, row.line, row | {"rts": None}), STANDARDS["astm_a475"])


def test_every_family_has_its_defaults():
    """All but an optical ground wire, each of which is built otherwise."""
    for family in families().values():
        told = [family.outer_modulus, family.permanent_set, family.compression]
        assert family.elongation and not math.isnan(family.permanent_set)
        assert not any(map(math.isnan, told)) or family.family == "optical ground wire"
    used = {find(name).family for name in names()}
    assert used == set(families()) - {"optical ground wire"}
