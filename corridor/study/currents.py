"""The tables of a study that are about currents: measured resistances, loads over the year, hourly series."""

from dataclasses import dataclass
from typing import Annotated

from pydantic import Field

from corridor.study.table import WIRE_TEMPERATURE, FilePath, Read, Table, Text, Unit, unit_of
from corridor.study.values import Measure, ValueFault

__all__ = ["Load", "ReadList", "Resistance", "Series", "SeriesColumns", "Station"]


@dataclass(frozen=True)
class ReadList:
    """Read a list of quantities, each once, and sort it."""

    measure: Measure

    @property
    def accepts(self):
        """Words for what may be written."""
        return f"a list, at least one of: {self.measure.accepts}"

    def __call__(self, values):
        """Return the SI values, ascending."""
        if not isinstance(values, list | tuple) or not values:
            raise ValueFault("no list of quantities")
        return tuple(sorted({self.measure(value) for value in values}))


class Resistance(Table):
    """One point of a measured resistance; a conductor has two or more, and lies straight between and beyond them."""

    conductor: Text = Field(description="A conductor of an option, as the option names it.")
    temperature: Annotated[float, Read(WIRE_TEMPERATURE)] = Field(description="Temperature of the wire.")
    resistance: Annotated[float, Read(Measure("resistance", 0, 0.01, above=True, slip="'0.070 ohm/km'"))] = Field(
        description="Alternating-current resistance there: skin effect and core are in it, nothing is added."
    )


class Load(Table):
    """One step of a load-duration curve: a current, and how long it flows in a year."""

    current: Annotated[float, Read(Measure("current", 0, 20_000))] = Field(description="Current per phase.")
    duration: Annotated[float, Read(Measure("duration", 0, 366 * 86_400, above=True, slip="'2000 h'"))] = Field(
        description="Time in a year for which it flows, such as '2000 h'."
    )


class SeriesColumns(Table):
    """The names of the columns of a series, where they differ from the defaults."""

    time: Text = Field("time", description="Date and time at which a row begins, such as 2025-01-31 13:00, by one "
                       "clock all the year. May be lacking: rows then follow each other without a gap.")
    current: Text = Field("current", description="Current per phase [A].")
    ambient: Text = Field("ambient", description="Temperature of the air [°C]; may be lacking, as all below.")
    wind_speed: Text = Field("wind_speed", description="[m/s].")
    wind_angle: Text = Field("wind_angle", description="Between wind and wire [deg].")
    wind_direction: Text = Field("wind_direction", description="Where the wind comes from [deg]; instead of the angle.")
    solar: Text = Field("solar", description="Irradiance on the wire [W/m²].")


class Station(Table):
    """A station of weather beside the line; each span has the weather of the nearest, unless its section is named."""

    name: Text = Field(description="What the station is called.")
    file: FilePath = Field(description="As `weather`.")
    longitude: Annotated[float | None, Read(Measure("angle", -180, 180))] = Field(
        None, description="East positive. Default: that of a typical year's file.")
    latitude: Annotated[float | None, Read(Measure("angle", -90, 90))] = Field(
        None, description="North positive. Default: that of a typical year's file.")
    sections: tuple[Text, ...] = Field((), description="Sections that have its weather, however far they are, named as "
                                       "in the findings. A station with sections needs no place.")


class Series(Table):
    """Currents and weather hour by hour; what the files lack is as in [rating]."""

    file: FilePath | None = Field(
        None, description="A CSV file with a head, or a Parquet file; one row per step. Default: the required current "
        "of [rating] flows all the time.")
    weather: FilePath | None = Field(
        None, description="A file of the weather of the same steps: CSV or Parquet with the columns below but the "
        "current, or a typical year (.epw, or TMY3 in .csv). Default: the weather is in `file`.")
    stations: tuple[Station, ...] = Field((), description="Several such files instead of `weather`.")
    step: Annotated[float, Read(Measure("duration", 1, 86_400, slip="'1 h'"))] = Field(
        3600.0, description="How long a row lasts, such as '15 min'."
    )
    columns: SeriesColumns = Field(default_factory=SeriesColumns, description="See below.")
    current_unit: Unit.current = unit_of("current", "A")
    ambient_unit: Unit.temperature = unit_of("ambient", "degC")
    wind_speed_unit: Unit.speed = unit_of("wind_speed", "m/s")
    wind_angle_unit: Unit.angle = unit_of("wind_angle", "deg")
    wind_direction_unit: Unit.angle = unit_of("wind_direction", "deg")
    solar_unit: Unit.irradiance = unit_of("solar", "W/m2")
