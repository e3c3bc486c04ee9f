"""What strands come to by the rules of their standard: areas, diameter, mass, resistance, rated strength.

Of most conductors a table holds the number of wires, their diameter and material, and perhaps a printed strength.
What it leaves empty is worked out here:

    A = n pi/4 d^2       mass = A_o rho_o (1 + k_o) + A_c rho_c (1 + k_c)       resistance = r_o (1 + k_o)/A_o

and where the standard counts the core as conducting, both in parallel. Strength is the sum of the wires' strengths, by
material and class of diameter (`wire_strengths.csv`), each part times what its lay keeps of it: ASTM counts less the
more layers there are, EN all of it. A core of steel counts with its stress at 1 % extension.

References
----------
ASTM B8, B231, B232, B399, B524 and EN 50182: rules and factors recalled; they reproduce the printed strengths within
half of their last digit, save those the tests name. ASTM B416: its rule read.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache

from corridor.conductor import stranding
from corridor.conductor.materials import FOLDER, Material, Row, find_material, read_table

__all__ = ["STANDARDS", "Standard", "clad", "complete"]

#: Share of the wires' strength that aluminium and its alloys keep, by number of layers (ASTM B231, B232, B399, B524).
_BY_LAYERS = {0: 1.0, 1: 0.96, 2: 0.93, 3: 0.91, 4: 0.90, 5: 0.89}
#: The same of copper (ASTM B8) and of aluminium-clad steel (ASTM B416).
_NINE_TENTHS = {0: 1.0, 1: 0.9, 2: 0.9, 3: 0.9, 4: 0.9}
#: Increase of length by stranding, by number of outer wires: conductors on steel, those without a core, steel strand.
_ON_STEEL = {6: 0.015, 7: 0.015, 8: 0.02, 12: 0.025, 16: 0.025, 18: 0.02, 24: 0.025, 26: 0.025, 30: 0.0275, 36: 0.02,
             45: 0.025, 54: 0.025, 72: 0.03, 84: 0.03}
_PLAIN = {1: 0.0, 7: 0.02, 19: 0.02, 37: 0.02, 61: 0.02, 91: 0.02}
#: Wires of steel strand wind about it once in 14 of its diameters (common practice, no source): 1 + k is their length.
_STRAND = {7: 0.0096, 19: 0.0137}

#: How far a wire may be above the maximum diameter of a class: what rounding inches to mm makes [m].
_ROUNDING = 2e-6


@dataclass(frozen=True)
class Standard:
    """The rules of one standard.

    `classes` column of `wire_strengths.csv`; `lay`, `core_lay` increase of length by number of wires [-]; `kept` share
    of the strength by layers, `core_kept` by wires of the core; `core_conducts` whether it counts; `merged` whether the
    core is of aluminium as well, so that both are one part.
    """

    classes: str
    lay: Mapping[int, float]
    kept: Mapping[int, float] | None = None
    core_lay: Mapping[int, float] = field(default_factory=lambda: {1: 0.0, 7: 0.004, 19: 0.006})
    core_kept: Mapping[int, float] | None = None
    core_conducts: bool = False
    merged: bool = False


_B232 = Standard("ASTM", _ON_STEEL, _BY_LAYERS, core_kept={1: 0.96, 7: 0.96, 19: 0.93}, core_conducts=True)
_EN = Standard("EN", stranding.LAY_INCREASE, core_lay=stranding.CORE_LAY_INCREASE)

#: The standard that each table of the catalogue follows.
STANDARDS = {
    "astm_b232": _B232,
    "astm_b232_sizes": _B232,
    "iec_61089": _EN,
    "en_50182": _EN,
    "en_50182_sizes": _EN,
    "en_50182_plain": _EN,
    "astm_b231": Standard("ASTM", _PLAIN, _BY_LAYERS),
    "astm_b399": Standard("ASTM", _PLAIN, _BY_LAYERS),
    "astm_b524": Standard("ASTM", _PLAIN, _BY_LAYERS, core_conducts=True, merged=True),
    "astm_b8": Standard("ASTM", _PLAIN, _NINE_TENTHS),
    "astm_a475": Standard("ASTM", _STRAND),
    "astm_b416": Standard("ASTM", _STRAND, _NINE_TENTHS),
}


def complete(row: Row, standard: Standard) -> Row:
    """Return a row of a table with what it leaves empty worked out from its strands.

    Raises
    ------
    InputError
        No strength, where the standard has no classes of such wires.
    """
    n_o, n_c = _count(row, "outer_strands"), _count(row, "core_strands")
    d_o, d_c = row.number("outer_wire_diameter"), row.number("core_wire_diameter") if n_c else 0.0
    A_o, A_c = stranding.strand_area(n_o, d_o), stranding.strand_area(n_c, d_c)
    k_o = standard.lay[n_o + n_c if standard.merged else n_o]
    k_c = k_o if standard.merged else standard.core_lay[n_c] if n_c else 0.0
    o, c = find_material(row.text("outer_material")), find_material(row.text("core_material")) if n_c else None
    mass = stranding.stranded_mass(A_o, o.density, k_o)
    conductance = A_o / (o.resistivity * (1 + k_o))
    if c:
        mass += stranding.stranded_mass(A_c, c.density, k_c)
        conductance += A_c / (c.resistivity * (1 + k_c)) if standard.core_conducts else 0.0
    across = stranding.diameter(n_o + n_c, d_o, 0, 0.0) if standard.merged else stranding.diameter(n_o, d_o, n_c, d_c)
    if standard.merged:
        A_o, A_c = A_o + A_c, 0.0
    made = {"outer_area": A_o, "core_area": A_c, "diameter": across, "mass": mass, "resistance_20": 1 / conductance}
    if row.get("rts") is None:
        made["rts"] = _strength(row, standard, n_o, d_o, n_c, d_c)
    filled = Row(row.path, row.line, row)
    filled |= {name: value for name, value in made.items() if row.get(name) is None}
    return _as_one(filled, n_o + n_c, o, c) if standard.merged and c else filled


def clad(row: Row) -> Row | None:
    """Return a row of aluminium on galvanised steel with a core of aluminium-clad steel; None for any other."""
    name = row.text("name")
    if row["family"] != "hard-drawn aluminium on steel" or row["core_material"] != "ST1A":
        return None
    made = Row(row.path, row.line, row)
    made |= {"name": name.replace("ST1A", "A20SA") if "ST1A" in name else f"{name}/AW", "alias": "",
             "family": "hard-drawn aluminium on aluminium-clad steel", "core_material": "20SA",
             "source": f"{'EN 50182' if 'ST1A' in name else 'ASTM B549'}: strands of {name}", "mass": None, "rts": None,
             "resistance_20": None,
             "confidence": "strands as of that; the rest follows; stress of the core at 1 % extension recalled: medium"}
    return made


def _count(row: Row, name: str) -> int:
    value = row.get(name)
    return 0 if value is None else int(row.number(name))


def _as_one(row: Row, strands: int, *both: Material) -> Row:
    """A conductor of two kinds of aluminium: one part of no one material, as hot as the weaker bears."""
    row |= {"outer_strands": strands, "core_strands": None, "core_wire_diameter": None, "outer_material": "",
            "core_material": "", "outer_expansion": max(each.expansion for each in both),
            "temperature_coefficient": max(each.temperature_coefficient for each in both),
            "maximum_temperature": min(each.maximum_temperature for each in both),
            "emergency_temperature": min(each.emergency_temperature for each in both)}
    return row


def _strength(row: Row, standard: Standard, n_o: int, d_o: float, n_c: int, d_c: float) -> float:
    """Rated strength [N] of `n_o` outer wires of diameter `d_o` [m] and `n_c` wires of the core."""
    kept, core_kept = _kept(standard, n_o, n_c)
    strength = kept * stranding.strand_area(n_o, d_o) * _stress(row, standard, "outer_material", d_o, "strength")
    if n_c:
        strength += core_kept * stranding.strand_area(n_c, d_c) * _stress(row, standard, "core_material", d_c,
                                                                          "core_stress")
    return strength


def _kept(standard: Standard, n_o: int, n_c: int) -> tuple[float, float]:
    """What lay keeps of the strengths of the outer wires and of those of the core.

    Of two kinds of aluminium each counts by its own layers. Where they share a layer, all layers count against both:
    that is the lower, and no printed strength was at hand.
    """
    if standard.kept is None:
        return 1.0, 1.0
    if not standard.merged or not n_c:
        core_kept = standard.core_kept[n_c] if standard.core_kept is not None and n_c else 1.0
        return standard.kept[stranding.LAYERS[n_o]], core_kept
    layers, within = stranding.LAYERS[n_o + n_c], stranding.LAYERS.get(n_c)
    return (standard.kept[layers],) * 2 if within is None else (standard.kept[layers - within], standard.kept[within])


def _stress(row: Row, standard: Standard, part: str, wire: float, column: str) -> float:
    for greatest, stress in _classes()[standard.classes, column].get(row.text(part), ()):
        if wire <= greatest + _ROUNDING:
            return stress
    raise row.error("rts", "nothing", f"a strength: {standard.classes} has no classes of wires of {row[part]}")


@cache
def _classes() -> dict[tuple[str, str], dict[str, list[tuple[float, float]]]]:
    """Pairs of maximum diameter [m] and stress [Pa], by standard and column, then by material."""
    found: dict[tuple[str, str], dict[str, list[tuple[float, float]]]] = {}
    for row in read_table(FOLDER / "wire_strengths.csv"):
        greatest = row.number("greatest_diameter")
        for column in ("strength", "core_stress"):
            of_part = found.setdefault((row.text("standard"), column), {})
            if not math.isnan(row.number(column)):
                of_part.setdefault(row.text("material"), []).append(
                    (math.inf if math.isnan(greatest) else greatest, row.number(column)))
    return found
