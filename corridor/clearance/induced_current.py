"""The largest vehicles, and what a rule allows of the current that a line induces in them: data, with its sources."""

from dataclasses import dataclass
from functools import cache

from corridor.clearance.rule_files import FOLDER
from corridor.csv_rows import read_records
from corridor.electric.vehicles import equivalent_area

__all__ = ["CurrentRule", "Vehicle", "current_rule", "largest_vehicle"]


@dataclass(frozen=True)
class Vehicle:
    """A vehicle by `name`, and the `area` [m²] of level ground that takes the charge of a box of its size."""

    name: str
    area: float


@dataclass(frozen=True)
class CurrentRule:
    """A `rule` that the current from a `vehicle` to the ground be no more than a `limit` [A], of lines above a
    `voltage` to ground [V], wires at a `temperature` [°C] or more; its `confidence` and `edition`."""

    rule: str
    limit: float
    voltage: float
    temperature: float
    vehicle: Vehicle
    confidence: str
    edition: str


def _rows(name):
    return read_records(FOLDER / f"{name}.csv")


@cache
def _vehicle(name):
    row = next(row for row in _rows("vehicles") if row["vehicle"] == name)
    return Vehicle(name, equivalent_area(*(float(row[size]) for size in ("length", "width", "height"))))


@cache
def largest_vehicle():
    """Return the vehicle that takes most current, of all that are known."""
    return max((_vehicle(row["vehicle"]) for row in _rows("vehicles")), key=lambda vehicle: vehicle.area)


def current_rule(table):
    """Return the rule of a built-in table of rules (its name) for induced current, None where it has none."""
    for row in _rows("induced_current"):
        if row["table"] == table:
            return CurrentRule(row["rule"], 1e-3 * float(row["limit"]), 1e3 * float(row["above_kv"]),
                               float(row["at_least"]), _vehicle(row["vehicle"]), row["confidence"], row["edition"])
    return None
