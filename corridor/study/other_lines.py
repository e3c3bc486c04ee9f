"""Tables of a study for wires beside wires: those of other lines, and those of the same structures."""

from typing import Annotated, Literal

from pydantic import Field

from corridor.errors import InputError
from corridor.study.table import WIRE_TEMPERATURE, Read, Table, Text
from corridor.study.values import Measure, TemperatureOr

__all__ = ["OtherWires", "OwnWires", "other_wires_are_told"]


class OwnWires(Table):
    """Wires of the same structures are compared with each other, where this table stands."""

    galloping: Literal["no", "single", "double", "both"] = Field("no", description=(
        "Whether the ellipses of galloping wires are compared too: of one loop in a span (single), of two (double), or "
        "of each (both)."))


class OtherWires(Table):
    """How the wires of another line hang between the points of an obstacle layer, which are their attachments."""

    conductor: Text = Field(description="A catalogue designation, or a name from [[conductors]].")
    tension: Annotated[float, Read(Measure("force", 0, 500_000, above=True, slip="'20 kN'"))] = Field(
        description="Horizontal tension of one wire, bare and in still air, as it hangs today.")
    temperature: Annotated[float, Read(WIRE_TEMPERATURE)] = Field(
        description="Temperature of the wire at which it has that tension.")
    maximum_temperature: Annotated[float, Read(WIRE_TEMPERATURE)] = Field(
        description="Its maximum temperature: what counts where it is above our wires.")
    unloaded: Annotated[float | str, Read(TemperatureOr(("ambient",), WIRE_TEMPERATURE))] = Field(15.0, description=(
        "Its temperature where it is below our wires, without load and without ice: a number, or \"ambient\": the air "
        "of the case (its number; in cases of a maximum temperature that of [rating])."))
    order_column: Text = Field("order", description="Column of the position along the line.")
    line_column: Text | None = Field(None, description="Column of the line, where the layer has several.")
    wire_column: Text | None = Field(None, description="Column of the wire, where the layer has several.")


def other_wires_are_told(study):
    """Wires of an assumed state have an allowance, and those between attachments are lines with elevations."""
    for i, o in enumerate(study.obstacles):
        where = f"obstacles.{i}"
        if o.state == "assumed" and o.movement is None:
            yield InputError(study.path, f"{where}.movement", "nothing",
                             "how far the wires of an assumed state may be off, such as '1.5 m'")
        if o.movement is not None and o.state != "assumed":
            yield InputError(study.path, f"{where}.movement", f"{o.movement:g} m", 'none without state = "assumed"')
        if o.state == "assumed" and (o.height is not None or o.height_column is not None):
            yield InputError(study.path, f"{where}.state", "'assumed' beside a height above the ground",
                             "elevations that were surveyed: elevation_column, or geometries with Z")
        if o.wires is not None:
            yield from _strung(study, o, where)


def _strung(study, o, where):
    """Faults of one obstacle whose points are attachments."""
    if len(o.file) > 1 or len(o.layer) > 1:
        yield InputError(study.path, f"{where}.file", "several layers beside [obstacles.wires]",
                         "one layer: wires hang between points of one")
    if o.category != "line" or o.column is not None:
        found = repr(o.category or o.column)
        yield InputError(study.path, f"{where}.category", found, "'line' beside [obstacles.wires]")
    if o.state == "assumed":
        yield InputError(study.path, f"{where}.state", "'assumed'", "no state beside [obstacles.wires], which tells it")
    given = [key for key in ("height", "height_column", "radius", "radius_column", "id_column") if getattr(o, key)]
    given += ["growth"] if o.growth else []
    given += ["falls"] if o.falls else []
    for key in given:
        yield InputError(study.path, f"{where}.{key}", repr(getattr(o, key)),
                         "no such key beside [obstacles.wires]: attachments have elevations")
    if o.wires.maximum_temperature < o.wires.temperature:
        yield InputError(study.path, f"{where}.wires.maximum_temperature", f"{o.wires.maximum_temperature:g} °C",
                         f"at least the temperature of the tension, {o.wires.temperature:g} °C")
