"""The tables of a study that are about what a wire may carry when, and how long."""

from typing import Annotated

from pydantic import Field

from corridor.study.currents import ReadList
from corridor.study.table import WIRE_TEMPERATURE, Read, Table, Text
from corridor.study.values import DayOfYear, HourOfDay, Measure

__all__ = ["Fault", "Season", "Strength"]

_DURATION = Measure("duration", 60, 86_400, slip="'30 min'")


class Season(Table):
    """A named set of weather and durations for `corridor rating --table`; what it leaves out is as in [rating]."""

    name: Text = Field(description="What the set is called, such as summer.")
    first_day: Annotated[int | None, Read(DayOfYear())] = Field(
        None, description="Day of the year on which it begins. Together with `last_day`.")
    last_day: Annotated[int | None, Read(DayOfYear())] = Field(
        None, description="Day of the year on which it ends; before `first_day`: it goes on over the new year.")
    ambient: Annotated[float | None, Read(Measure("temperature", -80, 70))] = Field(
        None, description="Temperature of the air.")
    wind_speed: Annotated[float | None, Read(Measure("speed", 0, 60))] = Field(None, description="Speed of the wind.")
    wind_angle: Annotated[float | None, Read(Measure("angle", 0, 90))] = Field(
        None, description="Angle between wind and wire.")
    wind_direction: Annotated[float | None, Read(Measure("angle", 0, 360))] = Field(
        None, description="Where the wind comes from; instead of `wind_angle`.")
    solar: Annotated[float | None, Read(Measure("irradiance", 0, 1500))] = Field(
        None, description="Irradiance on the wire by day. Default: as in [rating]; where that has a latitude, of the "
        "day in the season on which the sun stands highest.")
    hour: Annotated[float | None, Read(HourOfDay())] = Field(None, description="Solar time of that sun.")
    durations: Annotated[tuple[float, ...], Read(ReadList(_DURATION))] = Field(
        (), description="How long emergencies last, such as ['10 min', '30 min', '2 h', '4 h']. Together with "
        "`pre_load`.")
    pre_load: Annotated[float | None, Read(Measure("current", 0, 20_000))] = Field(
        None, description="Current per phase before an emergency, flowing since long.")


class Strength(Table):
    """How much of its strength hard-drawn aluminium may lose by heat over the life of the line."""

    greatest_loss: Annotated[float, Read(Measure("ratio", 0, 1, above=True))] = Field(
        0.1, description="Of the strength of the aluminium wires, such as '10 %'.")
    hours: Annotated[float | None, Read(Measure("duration", 0, 4e9, above=True, slip="'1000 h'"))] = Field(
        None, description="Time at the continuous limit, all together. Without it that is the maximum temperature.")
    emergency_hours: Annotated[float | None, Read(Measure("duration", 0, 4e9, above=True, slip="'100 h'"))] = Field(
        None, description="Time at the limit of emergencies, all together.")
    years: Annotated[float, Read(Measure("ratio", 1, 200))] = Field(
        40.0, description="How many years like that of [series] the line is to last.")


class Fault(Table):
    """A short circuit, for `corridor rating`: how hot it makes the wires."""

    current: Annotated[float, Read(Measure("current", 0, 500_000, above=True, slip="'31.5 kA'"))] = Field(
        description="Thermal equivalent current of the fault, in one phase.")
    duration: Annotated[float, Read(Measure("duration", 0, 60, above=True, slip="'0.5 s'"))] = Field(
        description="Until it is cleared.")
    greatest_temperature: Annotated[float, Read(WIRE_TEMPERATURE)] = Field(
        200.0, description="What the phase conductors may take for this time. The default is common practice for "
        "aluminium.")
    shield_share: Annotated[float, Read(Measure("ratio", 0, 1))] = Field(
        1.0, description="Share of the current that flows in one shield wire.")
    shield_greatest_temperature: Annotated[float, Read(WIRE_TEMPERATURE)] = Field(
        200.0, description="What the shield wire may take.")
