"""Tables of a study for wires beside wires: those of other lines, and those of the same structures."""

from typing import Annotated, Literal

from pydantic import Field

from corridor.study.table import WIRE_TEMPERATURE, Read, Table, Text
from corridor.study.values import Measure, TemperatureOr

__all__ = ["OtherWires", "OwnWires"]


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
        description="Its greatest temperature: what counts where it is above our wires.")
    unloaded: Annotated[float | str, Read(TemperatureOr(("ambient",), WIRE_TEMPERATURE))] = Field(15.0, description=(
        "Its temperature where it is below our wires, without load and without ice: a number, or \"ambient\": the air "
        "of the case (its number; in cases of a greatest temperature that of [rating])."))
    order_column: Text = Field("order", description="Column of the position along the line.")
    line_column: Text | None = Field(None, description="Column of the line, where the layer has several.")
    wire_column: Text | None = Field(None, description="Column of the wire, where the layer has several.")
