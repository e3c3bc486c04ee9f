"""What wires are made of: materials, and families of conductors that combine two of them.

Both tables are comma-separated files with a header row of names and a second row, `unit` in its
first cell, of units. Everything read here is SI: factors for the few units in use stand in
`FACTORS`.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TypeVar

from corridor.csv_rows import read_cells
from corridor.errors import InputError, nearest

__all__ = [
    "FACTORS",
    "Cell",
    "Family",
    "Material",
    "Row",
    "families",
    "find_family",
    "find_material",
    "materials",
    "read_table",
]

#: What a cell of a table holds: text, a number in SI, or nothing.
Cell = str | float | None
_Record = TypeVar("_Record")

FOLDER = Path(__file__).parent / "catalogue"

#: Inch [m], pound-force [N], pound-force per square inch [Pa].
INCH, POUND_FORCE = 0.0254, 4.4482216152605
PSI = POUND_FORCE / INCH**2

#: Factor from the unit in a table's second row to SI; "text" and "integer" are kept as they are.
FACTORS = {
    "1": 1.0,
    "mm": 1e-3,
    "in": INCH,
    "mm^2": 1e-6,
    "kg/m": 1.0,
    "kg/m^3": 1.0,
    "lb/kft": 0.45359237 / 304.8,
    "kN": 1e3,
    "lbf": POUND_FORCE,
    "MPa": 1e6,
    "GPa": 1e9,
    "ohm/km": 1e-3,
    "nohm m": 1e-9,
    "1/K": 1.0,
    "1e-6/K": 1e-6,
    "J/(kg K)": 1.0,
    "degC": 1.0,
    "%": 1e-2,
    "psi": PSI,
    **{f"psi/%{power}": PSI * 100**exponent for exponent, power in enumerate(("", "^2", "^3", "^4"), 1)},
    **{f"MPa/%{power}": 1e6 * 100**exponent for exponent, power in enumerate(("", "^2", "^3", "^4"), 1)},
}


@dataclass(frozen=True)
class Material:
    """One material of a wire; nan where a property does not exist or is not known.

    Attributes
    ----------
    material : str
        Short name, that of the standard where there is one.
    density [kg/m3], resistivity [ohm m, dc, 20 degC] : float
    temperature_coefficient [1/K, of resistance, at 20 degC] : float
    expansion : float
        Linear expansion [1/K], below `expansion_change` if there is one.
    expansion_above, expansion_change : float
        Expansion [1/K] above the temperature [degC] at which it changes (invar).
    modulus : float
        Of the single wire [Pa]; the modulus of a stranded layer belongs to the family.
    strength, rated_stress : float
        Ultimate strength, and the stress that counts in rated tensile strength [Pa].
    yield_stress, hardening : float
        Of a soft material: stress up to which it is elastic, and slope past it [Pa].
    specific_heat [J/(kg K)], maximum_temperature [degC, continuous] : float
    emergency_temperature [degC, short time] : float
    description, source, confidence, note : str
    """

    material: str
    description: str
    density: float
    resistivity: float
    temperature_coefficient: float
    expansion: float
    expansion_above: float
    expansion_change: float
    modulus: float
    strength: float
    rated_stress: float
    yield_stress: float
    hardening: float
    specific_heat: float
    maximum_temperature: float
    emergency_temperature: float
    source: str
    confidence: str
    note: str


@dataclass(frozen=True)
class Family:
    """What a conductor of this build has where its own row or study entry is silent.

    Attributes
    ----------
    family : str
    outer_material, core_material : str
        Names in the table of materials; no core material for a homogeneous conductor.
    elongation : str
        Law of elongation of its conductors.
    outer_modulus, core_modulus : float
        Final moduli of the parts as stranded [Pa].
    permanent_set : float
        Strain of the outer part between the initial and the final state [-], an estimate.
    compression, compression_low, compression_high : float
        Compression that the slack outer part takes, and the band in which it is believed to lie
        [Pa].
    source, confidence, note : str
    """

    family: str
    outer_material: str
    core_material: str
    elongation: str
    outer_modulus: float
    core_modulus: float
    permanent_set: float
    compression: float
    compression_low: float
    compression_high: float
    source: str
    confidence: str
    note: str


class Row(dict[str, Cell]):
    """A row of a table by its columns, with the file and the number of the line that it stands in."""

    def __init__(self, path: Path | str, line: int, cells: Mapping[str, Cell]) -> None:
        super().__init__(cells)
        self.path, self.line = path, line

    def text(self, column: str) -> str:
        """Return a cell as text. Raises InputError where it is none."""
        value = self[column]
        if isinstance(value, str):
            return value
        raise self.error(column, repr(value), "text")

    def number(self, column: str) -> float:
        """Return a cell as a number, nan where it is empty. Raises InputError where it is text."""
        value = self[column]
        if isinstance(value, str):
            raise self.error(column, repr(value), "a number, and its unit in the second row")
        return math.nan if value is None else value

    def error(self, column: str, found: str, accepted: str, hint: str | None = None) -> InputError:
        """Return the error of a cell."""
        return InputError(self.path, f"row {self.line}, {column}", found, accepted, hint)


def read_table(path: Path | str) -> list[Row]:
    """Read a table with a row of names and a row of units: numbers in SI, text as it stands ("" where empty).

    Raises
    ------
    InputError
        A second row that is not units, an unknown unit, a row of another length, or a cell that
        is no number.
    """
    (_, names), (_, units), *rows = read_cells(path, least=2)
    if not units or units[0] != "unit" or len(units) != len(names):
        raise InputError(path, "second row", repr(units[0]), "'unit', then one unit per column")
    units[0] = "text"
    return [_read_row(path, line, names, units, row) for line, row in rows]


def _read_row(path: Path | str, line: int, names: list[str], units: list[str], cells: list[str]) -> Row:
    if len(cells) != len(names):
        raise InputError(path, f"row {line}", f"{len(cells)} cells", f"{len(names)} cells")
    row = Row(path, line, {})
    for name, unit, cell in zip(names, units, cells, strict=True):
        row[name] = _read_cell(row, name, cell.strip(), unit)
    return row


def _read_cell(row: Row, name: str, cell: str, unit: str) -> Cell:
    if unit == "text":
        return cell
    if cell == "":
        return None
    if unit != "integer" and unit not in FACTORS:
        raise row.error(name, f"unit {unit!r}", ", ".join(["text", "integer", *FACTORS]), nearest(unit, FACTORS))
    try:
        return int(cell) if unit == "integer" else float(cell) * FACTORS[unit]
    except ValueError:
        raise row.error(name, repr(cell), f"a number [{unit}]") from None


def _records(kind: Callable[..., _Record], table: str) -> list[_Record]:
    """Records of a table whose columns are their fields, nan where a cell is empty."""
    return [kind(**{name: math.nan if cell is None else cell for name, cell in row.items()})
            for row in read_table(FOLDER / f"{table}.csv")]


@cache
def materials() -> dict[str, Material]:
    """Return the materials by name."""
    return {m.material: m for m in _records(Material, "materials")}


@cache
def families() -> dict[str, Family]:
    """Return the families by name."""
    return {f.family: f for f in _records(Family, "families")}


def find_material(name: str, *, where: str | None = None, file: Path | str | None = None) -> Material:
    """Return the material of that name.

    Raises
    ------
    InputError
        Where there is none; it names the nearest known one.
    """
    return _find(name, materials(), where, file)


def find_family(name: str, *, where: str | None = None, file: Path | str | None = None) -> Family:
    """Return the family of that name.

    Raises
    ------
    InputError
        Where there is none; it names the nearest known one.
    """
    return _find(name, families(), where, file)


def _find(name: str, known: dict[str, _Record], where: str | None, file: Path | str | None) -> _Record:
    try:
        return known[name]
    except KeyError:
        hint = nearest(name, known)
        raise InputError(file, where, repr(name), ", ".join(known), hint and repr(hint)) from None
