"""Options derived by rule: what could hang where a hard-drawn conductor hangs today.

A derived conductor is no product: it shows what a build of that size would weigh, carry and
conduct, from geometry and materials alone. Four rules, each on bases of the published tables:

round
    The base's strands, of other materials. Diameter as the base.
trapezoidal
    The base's diameter; outer area `A_o = f pi/4 (D^2 - D_c^2)` with fill f = 0.93, where round
    wires reach 0.75. On the base's steel core, or on a core of `CORE_SHARE` of the total area.
gap
    As trapezoidal with half the wires round, f = 0.84, over a gap of 0.7 mm filled with grease.
alloy
    37 round wires of aluminium-magnesium-silicon alloy and no core. Diameter as the base.

Mass and resistance follow `geometry_rules`; strength is `A_o s_o + A_c s_c` with the rated
stresses of the materials.
"""

import csv
import math

from corridor.conductor import geometry_rules as rules
from corridor.conductor.materials import FOLDER, find_family, materials, read_table

__all__ = ["BASES", "COLUMNS", "derived_rows", "write_derived"]

#: Designations of the bases, and the table in which each stands.
BASES = {
    "183-AL1/43-ST1A": "en_50182",
    "212-AL1/49-ST1A": "en_50182",
    "264-AL1/62-ST1A": "en_50182",
    "429-AL1/56-ST1A": "en_50182",
    "528-AL1/69-ST1A": "en_50182",
    "Hawk": "astm_b232",
    "Drake": "astm_b232",
    "Cardinal": "astm_b232",
}

#: Column, its unit, and the digits written.
COLUMNS = {
    "name": ("unit", ""),
    "family": ("text", ""),
    "outer_area": ("mm^2", ".1f"),
    "core_area": ("mm^2", ".1f"),
    "diameter": ("mm", ".2f"),
    "mass": ("kg/m", ".4f"),
    "rts": ("kN", ".1f"),
    "resistance_20": ("ohm/km", ".5f"),
    "outer_strands": ("integer", ""),
    "outer_wire_diameter": ("mm", ".3f"),
    "core_strands": ("integer", ""),
    "core_wire_diameter": ("mm", ".3f"),
    "outer_layers": ("integer", ""),
    "outer_material": ("text", ""),
    "core_material": ("text", ""),
    "permanent_set": ("1", ".2e"),
    "source": ("text", ""),
    "confidence": ("text", ""),
}

#: Share of the annulus around the core that wires fill [-]: trapezoidal; half of them round.
TRAPEZOIDAL_FILL, GAP_FILL = 0.93, 0.84

#: Share of a composite core in the total area [-]; the aluminium is the rest.
CORE_SHARE = 0.12

#: Radial gap [m] and density of the grease in it [kg/m3].
GAP, GREASE_DENSITY = 0.7e-3, 900.0

#: Share of strength at which the core of a gap type is strung, for its permanent set [-].
GAP_STRINGING_SHARE = 0.2

#: Share of the core's circle that its wires fill [-], by their number.
CORE_FILL = {1: 1.0, 7: 7 / 9}

#: Share of a composite core's strength that its lay keeps [-], by number of wires.
COMPOSITE_STRENGTH_KEPT = {1: 1.0, 7: 0.96}

CONFIDENCE = "derived: strands are those of the base, strength estimated from material stresses"
CONFIDENCE_SHAPED = (
    "derived: fill and core share are estimates, strength estimated from material stresses"
)

_ROUND = (
    ("thermal alloy on steel", "AT1", "ST1A"),
    ("thermal alloy on aluminium-clad steel", "AT3", "20SA"),
    ("thermal alloy on invar", "AT3", "INV"),
    ("thermal alloy on metal matrix", "AT3", "MMC"),
    ("annealed aluminium on steel", "A0", "ST1A"),
    ("annealed aluminium on steel", "A0", "ST6C"),
)
_COMPOSITE = (
    ("annealed aluminium on carbon composite", "A0", 1),
    ("annealed aluminium on carbon composite", "A0", 7),
    ("thermal alloy on carbon composite", "AT3", 1),
)


def derived_rows():
    """Return the rows of the derived conductors, in SI.

    Returns
    -------
    list of dict
        By the names of `COLUMNS`; None where a column does not apply. The order is fixed.
    """
    tables = {
        table: {row["name"]: row for row in read_table(FOLDER / f"{table}.csv")}
        for table in dict.fromkeys(BASES.values())
    }
    rows = []
    for name, table in BASES.items():
        base = tables[table][name]
        rows += [_round(base, *build) for build in _ROUND]
        rows += [_trapezoidal_on_steel(base, core) for core in ("ST1A", "ST6C")]
        rows += [_trapezoidal_on_composite(base, *build) for build in _COMPOSITE]
        rows += [_gap(base), _alloy(base)]
    return rows


def write_derived(path=FOLDER / "derived.csv"):
    """Write the derived conductors as a table of the catalogue; the same on every run."""
    cells = [
        [_cell(row[name], unit, digits) for name, (unit, digits) in COLUMNS.items()]
        for row in derived_rows()
    ]
    with open(path, "w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(COLUMNS)
        writer.writerow([unit for unit, _ in COLUMNS.values()])
        writer.writerows(cells)


_PER_UNIT = {"mm^2": 1e6, "mm": 1e3, "kN": 1e-3, "ohm/km": 1e3}


def _cell(value, unit, digits):
    if value is None:
        return ""
    return format(value * _PER_UNIT.get(unit, 1.0), digits) if digits else str(value)


def _core(base):
    return base["core_strands"], base["core_wire_diameter"]


def _designation(base, outer, core):
    """The base's designation with other materials; its whole mm2 where it is a code word."""
    if "-AL1/" in base["name"]:
        return base["name"].replace("AL1", outer).replace("ST1A", core)
    return f"{base['outer_area'] * 1e6:.0f}-{outer}/{base['core_area'] * 1e6:.0f}-{core}"


def _row(name, family, outer, core, **given):
    """A row with mass, strength and resistance from areas [m2], lays [-] and materials.

    `m = A_o rho_o (1 + k_o) + A_c rho_c (1 + k_c) + m_grease`, `R = r_o (1 + k_o)/A_o`, `RTS =
    A_o s_o + A_c s_c`. Annealed aluminium stretches so far that the core reaches its ultimate
    strength; other aluminium breaks first, and the core counts with its stress at about 1 %
    extension, as steel does in IEC 61089.
    """
    o, A_o, k_o = materials()[outer], given["outer_area"], given.pop("outer_lay")
    core_mass, core_strength = _core_share(outer, core, given["core_area"], given["core_strands"])
    mass = rules.stranded_mass(A_o, o.density, k_o) + core_mass + given.pop("grease", 0.0)
    empty = dict.fromkeys(("outer_strands", "outer_wire_diameter", "permanent_set"))
    return {
        **empty,
        "name": name,
        "family": family,
        "outer_material": outer,
        "core_material": core,
        "mass": mass,
        "rts": A_o * o.rated_stress + core_strength * given.pop("kept", 1.0),
        "resistance_20": rules.resistance(A_o, o.resistivity, k_o),
        **given,
    }


def _core_share(outer, core, area, count):
    """Mass [kg/m] and strength [N] that a core adds; none without a core."""
    if not core:
        return 0.0, 0.0
    c = materials()[core]
    stress = c.strength if outer == "A0" else c.rated_stress
    return rules.stranded_mass(area, c.density, rules.CORE_LAY_INCREASE[count]), area * stress


def _round(base, family, outer, core):
    count, wire = base["outer_strands"], base["outer_wire_diameter"]
    core_count, core_wire = _core(base)
    return _row(
        _designation(base, outer, core),
        family,
        outer,
        core,
        outer_area=rules.strand_area(count, wire),
        core_area=rules.strand_area(core_count, core_wire),
        diameter=rules.diameter(count, wire, core_count, core_wire),
        outer_lay=rules.LAY_INCREASE[count],
        outer_strands=count,
        outer_wire_diameter=wire,
        core_strands=core_count,
        core_wire_diameter=core_wire,
        outer_layers=rules.LAYERS[count],
        source=f"strands of {base['name']}",
        confidence=CONFIDENCE,
    )


def _annulus(diameter, inner):
    return math.pi / 4 * (diameter**2 - inner**2)


def _layers(diameter, inner):
    """Layers of shaped wires of about 4.5 mm between two diameters [m], at least two."""
    return max(2, round((diameter - inner) / 2 / 4.5e-3))


def _shaped(base, label, family, outer, core, core_count, core_wire, fill, gap=0.0, **more):
    """A row of shaped wires at the base's diameter; `label` follows the outer material."""
    D, D_c = base["diameter"], rules.core_diameter(core_count, core_wire)
    return _row(
        f"{D * 1e3:.1f}-{outer}{label}-{D_c * 1e3:.1f}",
        family,
        outer,
        core,
        outer_area=fill * _annulus(D, D_c + 2 * gap),
        core_area=rules.strand_area(core_count, core_wire),
        diameter=D,
        outer_lay=rules.TYPICAL_LAY_INCREASE,
        core_strands=core_count,
        core_wire_diameter=core_wire,
        outer_layers=_layers(D, D_c + 2 * gap),
        source=f"diameter of {base['name']}",
        confidence=CONFIDENCE_SHAPED,
        **more,
    )


def _trapezoidal_on_steel(base, core):
    return _shaped(
        base,
        f"TW/{core}",
        "annealed aluminium on steel",
        "A0",
        core,
        *_core(base),
        TRAPEZOIDAL_FILL,
    )


def _composite_wire(diameter, count):
    """Diameter of a wire of a composite core [m], to 0.05 mm.

    From `A_c/(A_c + A_o) = q` with `A_c = p pi/4 D_c^2` and `A_o = f pi/4 (D^2 - D_c^2)` comes
    `(D_c/D)^2 = q f/(p (1 - q) + q f)`, `p` the share of the core's circle that its wires fill.
    """
    q, f, p = CORE_SHARE, TRAPEZOIDAL_FILL, CORE_FILL[count]
    D_c = diameter * math.sqrt(q * f / (p * (1 - q) + q * f))
    return round(D_c / rules.CORE_RATIO[count] / 5e-5) * 5e-5


def _trapezoidal_on_composite(base, family, outer, count):
    label = "TW/CF" if count == 1 else f"TW/{count}CF"
    return _shaped(
        base,
        label,
        family,
        outer,
        "CF",
        count,
        _composite_wire(base["diameter"], count),
        TRAPEZOIDAL_FILL,
        kept=COMPOSITE_STRENGTH_KEPT[count],
    )


def _gap(base):
    """A row of the gap type; its set is the core's strain at stringing, `0.2 RTS/(E_c A_c)`."""
    count, wire = _core(base)
    D_c = rules.core_diameter(count, wire)
    grease = GREASE_DENSITY * _annulus(D_c + 2 * GAP, D_c)
    E_c = find_family("gap type").core_modulus
    row = _shaped(
        base, "G/ST6C", "gap type", "AT1", "ST6C", count, wire, GAP_FILL, GAP, grease=grease
    )
    return {**row, "permanent_set": GAP_STRINGING_SHARE * row["rts"] / (E_c * row["core_area"])}


def _alloy(base):
    wire = base["diameter"] / 7
    area = rules.strand_area(37, wire)
    return _row(
        f"{area * 1e6:.0f}-AL3",
        "aluminium alloy",
        "AL3",
        "",
        outer_area=area,
        core_area=0.0,
        diameter=base["diameter"],
        outer_lay=rules.TYPICAL_LAY_INCREASE,
        outer_strands=37,
        outer_wire_diameter=wire,
        core_strands=0,
        core_wire_diameter=None,
        outer_layers=3,
        source=f"diameter of {base['name']}",
        confidence=CONFIDENCE_SHAPED,
    )
