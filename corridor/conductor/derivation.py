"""Options derived by rule: what could hang where a hard-drawn conductor hangs today.

A derived conductor is no product: it shows what a build of that size would weigh, carry and
conduct, from geometry and materials alone. Four rules, each on bases of the published tables:

round
    The base's strands, of other materials. Diameter as the base.
trapezoidal
    The base's diameter; outer area `A_o = f pi/4 (D^2 - D_c^2)` with fill f = 0.93, where round
    wires reach 0.75. On the base's steel core, or on a core of `CORE_SHARE` of the total area.
    Hard-drawn also with the base's outer area, in the lesser diameter that it then fills.
gap
    As trapezoidal with half the wires round, f = 0.84, over a gap of 0.7 mm filled with grease.
alloy
    37 round wires of aluminium-magnesium-silicon alloy and no core. Diameter as the base.

Mass, strength and resistance follow `stranding`.
"""

import csv
import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import NamedTuple

from corridor.conductor import stranding
from corridor.conductor.materials import FOLDER, Material, find_family, find_material, read_table

__all__ = ["BASES", "COLUMNS", "CORE_FILL", "Derived", "derived_rows", "write_derived"]

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

#: Radial gap [m] and density of the grease in it [kg/m³].
GAP, GREASE_DENSITY = 0.7e-3, 900.0

#: Share of strength at which the core of a gap type is strung, for its permanent set [-].
GAP_STRINGING_SHARE = 0.2

#: Share of the core's circle that its wires fill [-], by their number.
CORE_FILL = {1: 1.0, 7: 7 / 9}

#: Share of a composite core's strength that its lay keeps [-], by number of wires.
COMPOSITE_STRENGTH_KEPT = {1: 1.0, 7: 0.96}

CONFIDENCE = "derived: strands are those of the base, strength estimated from material stresses"
CONFIDENCE_SHAPED = "derived: fill and core share are estimates, strength estimated from material stresses"

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


class _Base(NamedTuple):
    """A conductor of the published tables; areas [m²], lengths [m]."""

    name: str
    outer_area: float
    core_area: float
    diameter: float
    outer_strands: int
    outer_wire_diameter: float
    core_strands: int
    core_wire_diameter: float


@dataclass(frozen=True, kw_only=True)
class Derived:
    """A derived conductor, in SI, by the columns of its table: None where one does not apply.

    `outer_lay` increase of the outer length [-]; `grease` [kg/m]; `kept` share of the core's strength that its lay
    keeps [-].
    """

    name: str
    family: str
    outer_material: str
    core_material: str
    outer_area: float
    core_area: float
    diameter: float
    outer_lay: float = stranding.TYPICAL_LAY_INCREASE
    outer_strands: int | None = None
    outer_wire_diameter: float | None = None
    outer_layers: int
    core_strands: int
    core_wire_diameter: float | None
    grease: float = 0.0
    kept: float = 1.0
    permanent_set: float | None = None
    source: str
    confidence: str

    @property
    def _parts(self) -> tuple[Material, Material | None]:
        return find_material(self.outer_material), find_material(self.core_material) if self.core_material else None

    @property
    def mass(self) -> float:
        """Mass with the grease [kg/m]."""
        return self.grease + stranding.mass(*self._parts, self.outer_area, self.core_area, outer_lay=self.outer_lay,
                                            core_strands=self.core_strands)

    @property
    def rts(self) -> float:
        """Rated tensile strength [N]."""
        return stranding.rated_strength(*self._parts, self.outer_area, self.core_area, kept=self.kept)

    @property
    def resistance_20(self) -> float:
        """Dc resistance at 20 °C [ohm/m]."""
        return stranding.resistance(self._parts[0], self.outer_area, self.outer_lay)


def derived_rows() -> list[Derived]:
    """Return the derived conductors, in an order that is fixed."""
    rows = []
    for base in _bases():
        rows += [_round(base, *build) for build in _ROUND]
        rows += [_trapezoidal_on_steel(base, "annealed aluminium on steel", "A0", core) for core in ("ST1A", "ST6C")]
        rows += [_trapezoidal_on_steel(each, "hard-drawn aluminium on steel", "AL1", "ST1A", of)
                 for each, of in ((base, "diameter"), (_packed(base), "area and core"))]
        rows += [_trapezoidal_on_composite(base, *build) for build in _COMPOSITE]
        rows += [_gap(base), _alloy(base)]
    return rows


def _bases() -> list[_Base]:
    tables = {table: {row.text("name"): row for row in read_table(FOLDER / f"{table}.csv")}
              for table in dict.fromkeys(BASES.values())}
    rows = (tables[table][name] for name, table in BASES.items())
    return [_Base(row.text("name"), row.number("outer_area"), row.number("core_area"), row.number("diameter"),
                  int(row.number("outer_strands")), row.number("outer_wire_diameter"),
                  int(row.number("core_strands")), row.number("core_wire_diameter")) for row in rows]


def write_derived(path: Path | str = FOLDER / "derived.csv") -> None:
    """Write the derived conductors as a table of the catalogue; the same on every run."""
    with open(path, "w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(COLUMNS)
        writer.writerow([unit for unit, _ in COLUMNS.values()])
        for row in derived_rows():
            writer.writerow([_cell(getattr(row, name), *kind) for name, kind in COLUMNS.items()])


_PER_UNIT = {"mm^2": 1e6, "mm": 1e3, "kN": 1e-3, "ohm/km": 1e3}


def _cell(value: str | float | None, unit: str, digits: str) -> str:
    if value is None:
        return ""
    return str(value) if isinstance(value, str) or not digits else format(value * _PER_UNIT.get(unit, 1.0), digits)


def _designation(base: _Base, outer: str, core: str) -> str:
    """The base's designation with other materials; its whole mm² where it is a code word."""
    if "-AL1/" in base.name:
        return base.name.replace("AL1", outer).replace("ST1A", core)
    return f"{base.outer_area * 1e6:.0f}-{outer}/{base.core_area * 1e6:.0f}-{core}"


def _round(base: _Base, family: str, outer: str, core: str) -> Derived:
    count, wire, core_count, core_wire = base[4:]
    return Derived(
        name=_designation(base, outer, core), family=family, outer_material=outer, core_material=core,
        outer_area=stranding.strand_area(count, wire), core_area=stranding.strand_area(core_count, core_wire),
        diameter=stranding.diameter(count, wire, core_count, core_wire), outer_lay=stranding.LAY_INCREASE[count],
        outer_strands=count, outer_wire_diameter=wire, outer_layers=stranding.LAYERS[count],
        core_strands=core_count, core_wire_diameter=core_wire,
        source=f"strands of {base.name}", confidence=CONFIDENCE)


def _annulus(diameter: float, inner: float) -> float:
    return math.pi / 4 * (diameter**2 - inner**2)


def _shaped(base: _Base, label: str, family: str, outer: str, core: str, core_count: int, core_wire: float, *,
            fill: float = TRAPEZOIDAL_FILL, gap: float = 0.0, kept: float = 1.0, of: str = "diameter") -> Derived:
    """A row of shaped wires at the base's diameter; `label` follows the outer material."""
    D, D_c = base.diameter, stranding.core_diameter(core_count, core_wire)
    inner = D_c + 2 * gap
    return Derived(
        name=f"{D * 1e3:.1f}-{outer}{label}-{D_c * 1e3:.1f}", family=family, outer_material=outer, core_material=core,
        outer_area=fill * _annulus(D, inner), core_area=stranding.strand_area(core_count, core_wire), diameter=D,
        # at least two layers, of wires of about 4.5 mm
        outer_layers=max(2, round((D - inner) / 2 / 4.5e-3)),
        core_strands=core_count, core_wire_diameter=core_wire, grease=GREASE_DENSITY * _annulus(inner, D_c), kept=kept,
        source=f"{of} of {base.name}", confidence=CONFIDENCE_SHAPED)


def _trapezoidal_on_steel(base: _Base, family: str, outer: str, core: str, of: str = "diameter") -> Derived:
    return _shaped(base, f"TW/{core}", family, outer, core, base.core_strands, base.core_wire_diameter, of=of)


def _packed(base: _Base) -> _Base:
    """The base in the diameter that its outer area fills as trapezoidal wires around its core, to 0.01 mm."""
    D_c = stranding.core_diameter(base.core_strands, base.core_wire_diameter)
    return base._replace(diameter=round(math.sqrt(base.outer_area / (TRAPEZOIDAL_FILL * math.pi / 4) + D_c**2), 5))


def _composite_wire(diameter: float, count: int) -> float:
    """Diameter of a wire of a composite core [m], to 0.05 mm.

    From `A_c/(A_c + A_o) = q` with `A_c = p pi/4 D_c^2` and `A_o = f pi/4 (D^2 - D_c^2)` comes
    `(D_c/D)^2 = q f/(p (1 - q) + q f)`, `p` the share of the core's circle that its wires fill.
    """
    q, f, p = CORE_SHARE, TRAPEZOIDAL_FILL, CORE_FILL[count]
    D_c = diameter * math.sqrt(q * f / (p * (1 - q) + q * f))
    return round(D_c / stranding.CORE_RATIO[count] / 5e-5) * 5e-5


def _trapezoidal_on_composite(base: _Base, family: str, outer: str, count: int) -> Derived:
    return _shaped(base, "TW/CF" if count == 1 else f"TW/{count}CF", family, outer, "CF", count,
                   _composite_wire(base.diameter, count), kept=COMPOSITE_STRENGTH_KEPT[count])


def _gap(base: _Base) -> Derived:
    """A row of the gap type; its set is the core's strain at stringing, `0.2 RTS/(E_c A_c)`."""
    row = _shaped(base, "G/ST6C", "gap type", "AT1", "ST6C", base.core_strands, base.core_wire_diameter,
                  fill=GAP_FILL, gap=GAP)
    E_c = find_family("gap type").core_modulus
    return replace(row, permanent_set=GAP_STRINGING_SHARE * row.rts / (E_c * row.core_area))


def _alloy(base: _Base) -> Derived:
    wire = base.diameter / 7
    area = stranding.strand_area(37, wire)
    return Derived(
        name=f"{area * 1e6:.0f}-AL3", family="aluminium alloy", outer_material="AL3", core_material="",
        outer_area=area, core_area=0.0, diameter=base.diameter,
        outer_strands=37, outer_wire_diameter=wire, outer_layers=3, core_strands=0, core_wire_diameter=None,
        source=f"diameter of {base.name}", confidence=CONFIDENCE_SHAPED)
