"""Rules of stringing by kind of wire: what travellers, machines, tensions and times must be.

A row is a fact with its source, recalled or read; what nothing is published for has none, and the study may give it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from corridor.conductor.conductor import Conductor
from corridor.csv_rows import GivenRow, read_given
from corridor.study.stringing import WIRE_KINDS

__all__ = ["BUILT_IN", "ITEMS", "Rule", "WireRules", "kinds_of", "load_wire_rules", "rules_markdown"]

#: The table of the package.
BUILT_IN = Path(__file__).with_name("wire_rules.csv")
#: What rules are about, and whether they are a least or a most: "" for a number to compute with, or words alone.
ITEMS = {
    "traveller efficiency": "", "pulling tension": "most", "pulling tension beside sagging": "most",
    "traveller diameter": "least", "bullwheel diameter": "least", "groove depth": "least",
    "least groove flare": "least", "greatest groove flare": "most", "machine distance": "least",
    "angle of one traveller": "most",
    "time until sagged": "most", "time until clipped": "most", "time to equalise": "least", "sagging length": "most",
    "sag tolerance": "most", "offset clipping": "most", "distance of grounded travellers": "most",
    "grips and fittings": "", "least bending radius": "",
}
_COLUMNS = ("kind", "item", "bound", "value", "per_diameter", "unit", "words", "source", "confidence", "note")
#: Numbers beyond are slips.
_MOST = 1e5


@dataclass(frozen=True)
class Rule:
    """One row: `value` plus `per_diameter` times the diameter of the wire [m], in `unit`; nan where nothing is given.

    `kind` is one of `corridor.study.stringing.WIRE_KINDS`, `item` of `ITEMS`.
    """

    kind: str
    item: str
    value: float
    per_diameter: float
    unit: str
    words: str
    source: str
    confidence: str
    note: str

    def of(self, diameter: float) -> float:
        """Return the number for a wire of a diameter [m]."""
        return self.value + self.per_diameter * diameter if self.per_diameter else self.value

    @property
    def bound(self) -> str:
        """Whether the number is the "least" or the "most"; "" where it is neither."""
        return ITEMS[self.item]

    @property
    def told(self) -> str:
        """Source and how it is known, in words."""
        return f"{self.source} ({self.confidence})" if self.source else self.confidence


@dataclass(frozen=True)
class WireRules:
    """Rules of all kinds of wire."""

    rows: tuple[Rule, ...]

    def of(self, wire: Conductor, item: str) -> list[Rule]:
        """Return the rules of a wire about an item, that of its own kind behind that of every wire."""
        kinds = kinds_of(wire)
        return sorted((row for row in self.rows if row.item == item and row.kind in kinds),
                      key=lambda row: kinds.index(row.kind))

    def strictest(self, wire: Conductor, item: str) -> tuple[float, Rule | None]:
        """Return the number that keeps all rules of a wire about an item, and its rule; nan and None without any."""
        rows = [row for row in self.of(wire, item) if np.isfinite(row.value)]
        if not rows:
            return float("nan"), None
        numbers = [row.of(wire.diameter) for row in rows]
        best = int(np.argmax(numbers) if ITEMS[item] == "least" else np.argmin(numbers))
        return numbers[best], rows[best]


def kinds_of(wire: Conductor) -> tuple[str, ...]:
    """Return the kinds that a wire is of, as rules name them."""
    own = {"annealed aluminium": wire.outer_material == "A0", "gap type": wire.elongation == "gap",
           "composite core": wire.core_material in ("CF", "MMC")}
    return ("every wire", *(kind for kind in WIRE_KINDS if own.get(kind)))


def load_wire_rules(path: Path | None = None) -> WireRules:
    """Return the rules that are built in, with the rows of a file in place of those of the same kind and item.

    Parameters
    ----------
    path : path, optional
        UTF-8, a row of heads and rows of `kind`, `item`, and `value` or words, as the table of the package has them.

    Raises
    ------
    InputError
        A file, column or cell that cannot be used, or two rows for one kind and item.
    """
    rows = _read(BUILT_IN)
    own = () if path is None else _read(path)
    replaced = {(row.kind, row.item) for row in own}
    return WireRules((*(row for row in rows if (row.kind, row.item) not in replaced), *own))


def _read(path: Path) -> tuple[Rule, ...]:
    found: dict[tuple[str, str], Rule] = {}
    for row in read_given(path, _COLUMNS, ("kind", "item", "value"), None, "a rule of stringing"):
        kind, item = row.choice("kind", WIRE_KINDS), row.choice("item", tuple(ITEMS))
        if row["bound"] not in ("", ITEMS[item]):
            raise row.error("bound", f"{ITEMS[item] or 'nothing'}: that is what {item} is")
        if (kind, item) in found:
            raise row.error("item", "each item of a kind once")
        value = row.number("value", "ratio", empty=float("nan"), low=-_MOST, high=_MOST)
        times = row.number("per_diameter", "ratio", empty=0.0, low=0.0, high=_MOST)
        found[kind, item] = Rule(kind, item, value, times, *(row[name] for name in _COLUMNS[5:]))
        _check(row, found[kind, item])
    return tuple(found.values())


def _check(row: GivenRow, rule: Rule) -> None:
    if rule.item == "traveller efficiency" and not 0.5 < rule.value <= 1.0:
        raise row.error("value", "a share above 0.5, at most 1: tension behind a traveller over that before it")
    # Each number is more than nothing for any wire of a line.
    if rule.of(0.05) <= 0:
        raise row.error("value", "a number above 0")


def rules_markdown(rules: Sequence[Rule]) -> str:
    """Return rules as a Markdown table, for the documentation."""
    lines = ["| kind of wire | item | number | source | known |", "| --- | --- | --- | --- | --- |"]
    for row in rules:
        lines.append(f"| {row.kind} | {row.item}: {row.words} | {_number(row)} | {row.source} | {row.confidence} |")
    return "\n".join(lines).replace("|  |", "| |")


def _number(row: Rule) -> str:
    if not np.isfinite(row.value):
        return ""
    bound = {"least": "at least ", "most": "at most ", "": ""}[ITEMS[row.item]]
    if row.per_diameter:
        rest = f" {'-' if row.value < 0 else '+'} {abs(row.value):.4g} {row.unit}" if row.value else ""
        return f"{bound}{row.per_diameter:g} d{rest}"
    return f"{bound}{row.value:g} {row.unit}".removesuffix(" 1")
