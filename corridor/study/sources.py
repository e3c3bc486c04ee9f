"""What the tables of a study that name a layer share: its columns of places, which rows count, what its values mean."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

from pydantic import Field

from corridor.errors import nearest
from corridor.study.table import FilePath, Read, Table, Text, Unit, unit_of
from corridor.study.values import Measure, ValueFault

__all__ = ["ReadValues", "Route", "Source", "StructureColumns", "Structures"]


@dataclass(frozen=True)
class ReadValues:
    """Read what values of columns mean: tables by key of the study, as pairs of pairs.

    >>> ReadValues(("role",))({"role": {"T": "strain"}})
    (('role', (('T', 'strain'),)),)
    """

    keys: tuple[str, ...]

    @property
    def accepts(self):
        """Words for what may be written."""
        example = 'role = {T = "strain"}' if "role" in self.keys else 'category = {motorway = "road"}'
        return f"tables of what stands there and what it means, by {', '.join(self.keys)}, such as {example}"

    def __call__(self, value):
        """Return the pairs, or raise ValueFault."""
        if not isinstance(value, Mapping):
            raise ValueFault("no table")
        for key, meanings in value.items():
            if key not in self.keys:
                raise ValueFault(f"{key!r}, which has no values", nearest(key, self.keys))
            if not isinstance(meanings, Mapping) or not meanings:
                raise ValueFault(f"{key!r} is no table of values")
            for given, meant in meanings.items():
                if isinstance(meant, bool) or not isinstance(meant, str | int | float) or not str(meant).strip():
                    raise ValueFault(f"{given!r} of {key!r} means no text and no number")
        return tuple((key, tuple((given.strip(), meant) for given, meant in meanings.items()))
                     for key, meanings in value.items())


class ReadWhere:
    """Read which rows count: by column the values of which one must stand there, as texts.

    >>> ReadWhere()({"status": "in use", "voltage": [110, "220"]})
    (('status', ('in use',)), ('voltage', ('110', '220')))
    """

    accepts = 'columns and the values that count, such as {status = "in use", voltage = [110, 220]}; "" is none'

    def __call__(self, value):
        """Return the pairs, or raise ValueFault."""
        if not isinstance(value, Mapping) or not value:
            raise ValueFault("no table of columns")
        return tuple((column, self._texts(column, wanted)) for column, wanted in value.items())

    @staticmethod
    def _texts(column, wanted):
        values = wanted if isinstance(wanted, list | tuple) else [wanted]
        if not values or not all(isinstance(each, str | bool | int | float) for each in values):
            raise ValueFault(f"no value, or no list of values, for the column {column!r}")
        return tuple(str(each).lower() if isinstance(each, bool) else f"{each:.15g}" if isinstance(each, float)
                     else str(each).strip() for each in values)


class Source(Table):
    """A layer of a file, which of its rows count, and where its points are."""

    file: FilePath = Field(description="A layer (GeoPackage, shapefile, GeoJSON, CSV and a few more).")
    layer: Text | None = Field(None, description="Its layer. Default: the only one.")
    crs: Text | None = Field(None, description="CRS of a file that does not say its own, such as EPSG:25832.")
    x_column: Text | None = Field(None, description=(
        "Column of eastings or longitudes, for a table without geometry. Together with `y_column`."))
    y_column: Text | None = Field(None, description="Column of northings or latitudes.")
    where: Annotated[tuple, Read(ReadWhere())] = Field((), description=(
        "Rows that count: by column the value, or the list of values, of which one must stand there. The run says how "
        "many rows that leaves out: what is left out is compared with nothing."))


class StructureColumns(Table):
    """The names of the structure layer's columns, where they differ from the defaults."""

    structure: Text = Field("structure", description="Name, unique within the line.")
    line: Text = Field("line", description="Line; the layer may lack it where there is one line.")
    order: Text = Field(
        "order", description="Position along the line; the layer may lack it beside [structures.route].")
    role: Text = Field("role", description="suspension, strain or terminal.")
    framing: Text = Field("framing", description="The framing that the structure carries.")
    base_elevation: Text = Field(
        "base_elevation",
        description=("Elevation of the base; where it is lacking, the ground raster gives it."),
    )
    crossarm_azimuth: Text = Field(
        "crossarm_azimuth",
        description=(
            "Azimuth of the crossarm [deg]; where it is lacking, it bisects the line angle."
        ),
    )


class Route(Table):
    """The line that structures without order lie along."""

    file: FilePath = Field(description="A layer of lines.")
    layer: Text | None = Field(None, description="Its layer. Default: the only one.")
    line_column: Text | None = Field(None, description=(
        "Column of the name of the line, as structures have it. Default: all its parts are one line."))
    reach: Annotated[float, Read(Measure("length", 0, 100, above=True))] = Field(
        5.0, description="A structure that is farther from the line is an error.")


class Structures(Source):
    """Where the structures stand."""

    columns: StructureColumns = Field(default_factory=StructureColumns, description="See below.")
    values: Annotated[tuple, Read(ReadValues(tuple(StructureColumns.model_fields)))] = Field((), description=(
        'What stands in a column and what it means, such as role = {T = "strain", S = "suspension"}. A role that has '
        "no entry and is none is an error."))
    route: Route | None = Field(None, description="See below.")
    base_elevation_unit: Unit.length = unit_of("base_elevation", "m")
    crossarm_azimuth_unit: Unit.angle = unit_of("crossarm_azimuth", "deg")
