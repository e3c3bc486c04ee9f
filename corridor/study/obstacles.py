"""The tables [[obstacles]] of a study: layers of things that the wires may come too near."""

from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, PrivateAttr, StrictBool

from corridor.study import voltages
from corridor.study.other_lines import OtherWires
from corridor.study.sources import ReadValues, Source
from corridor.study.table import PATH, Read, Text, Unit, unit_of
from corridor.study.values import Measure, OneOrMore

__all__ = ["Obstacle"]


class Obstacle(Source):
    """Things that the wires may come too near: a layer, or several as one."""

    name: Text = Field(description="Unique name.")
    file: Annotated[tuple[str, ...], Read(OneOrMore("a path")), PATH] = Field(description=(
        "A layer (GeoPackage, shapefile, GeoJSON, CSV and a few more), or several files of the same columns. Features "
        "of several are named by file, too."))
    layer: Annotated[tuple[str, ...], Read(OneOrMore("text"))] = Field((), description=(
        "Its layer, or several of one file. Default: the only one."))
    category: Text | None = Field(None, description="Category of all features. Either this or `column`.")
    column: Text | None = Field(None, description="Column that holds the category.")
    values: Annotated[tuple, Read(ReadValues(("category", "height", "elevation", "voltage", "radius", "id")))] = Field(
        (), description=('What stands in a column and what it means, such as category = {motorway = "road"}. A '
                         "category that has no entry and is in no built-in table is an error."))
    id_column: Text | None = Field(None, description="Column that identifies a feature. Default: its number.")
    height: Annotated[float | None, Read(Measure("length", 0, 1000))] = Field(
        None, description="Height of the top above the ground."
    )
    height_column: Text | None = Field(None, description="Column that holds the height above the ground.")
    height_unit: Unit.length = unit_of("height_column", "m")
    elevation_column: Text | None = Field(None, description="Column that holds the absolute elevation of the top.")
    elevation_unit: Unit.length = unit_of("elevation_column, or of Z without one", "m; of Z what its CRS says")
    voltage: Annotated[float | None, Read(voltages.ObstacleVoltage())] = Field(
        None, description="Voltage of a crossing line, line to line."
    )
    voltage_column: Text | None = Field(None, description=(
        "Column that holds the voltage; of several in one text, such as 110000;20000, the highest counts, which asks "
        "for the most room."))
    voltage_unit: Unit.voltage = unit_of("voltage_column", "V")
    radius: Annotated[float | None, Read(Measure("length", 0, 500))] = Field(
        None, description="Radius of points (a crown), half the width of lines (a road)."
    )
    radius_column: Text | None = Field(None, description="Column that holds the radius.")
    radius_unit: Unit.length = unit_of("radius_column", "m")
    state: Literal["surveyed", "assumed"] = Field("surveyed", description=(
        "assumed: the elevations of a line are those of a survey in an unknown state; it may hang `movement` higher or "
        "lower."))
    movement: Annotated[float | None, Read(Measure("length", 0, 50, above=True))] = Field(
        None, description="How far wires of an assumed state may be above or below their surveyed elevation.")
    wires: OtherWires | None = Field(None, description="Points are where the wires of another line hang: see below.")
    growth: Annotated[float, Read(Measure("length", 0, 50))] = Field(
        0.0, description="Growth until the next cutting, added to every height."
    )
    falls: StrictBool = Field(
        False, description="true: points, such as trees, can fall over about their foot in whatever direction."
    )
    #: What goes before the identifier of a feature in its name, where there are several files or layers.
    _label: str = PrivateAttr(default="")

    @property
    def label(self):
        """What goes before the identifier of a feature in its name: "" of one layer."""
        return self._label

    @property
    def parts(self):
        """Its layers, one by one: the same section with one `file` and one `layer`, as text, and a `label`."""
        pairs = [(file, layer) for file in self.file for layer in self.layer or (None,)]
        stems = [layer if len(self.file) == 1 else Path(file).stem for file, layer in pairs]
        names = stems if len(set(stems)) == len(stems) else [layer or file for file, layer in pairs]
        rows = tuple(self.model_copy(update={"file": file, "layer": layer}) for file, layer in pairs)
        for row, name in zip(rows, names, strict=True):
            row._label = f"{name} " if len(pairs) > 1 else ""
        return rows
