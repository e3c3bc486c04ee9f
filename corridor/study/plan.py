"""The table of a study that says what putting it right costs, and how outages may be had."""

from typing import Annotated

from pydantic import Field

from corridor.study.table import Read, Table, Text
from corridor.study.values import Measure

__all__ = ["NeverTogether", "Plan"]


class NeverTogether(Table):
    """Two circuits of which one must stay in service."""

    first: Text = Field(description="Name of a circuit, as the layer `work_items` has it.")
    second: Text = Field(description="Name of another.")


class Plan(Table):
    """What putting it right costs, in units of one's own, and how outages may be had."""

    step: Annotated[float, Read(Measure("length", 0, 10, above=True))] = Field(
        0.5, description="Step by which a structure is raised.")
    largest_raise: Annotated[float, Read(Measure("length", 0, 30, above=True))] = Field(
        6.0, description="Most that a structure is raised.")
    raise_cost: float = Field(1.0, ge=0, description="Cost of raising a structure at all, relative.")
    metre_cost: float = Field(0.2, ge=0, description="Cost of each metre of raise, relative.")
    reel_length: Annotated[float, Read(Measure("length", 0, 20_000, above=True))] = Field(
        2500.0, description="Length of wire on a reel: longer sections are pulled in parts.")
    parallel_distance: Annotated[float, Read(Measure("length", 0, 500))] = Field(
        30.0, description="Other lines nearer than this count as beside the work, though they do not cross.")
    raise_duration: Annotated[float, Read(Measure("duration", 0, 3_600_000, above=True))] = Field(
        28_800.0, description="Outage for raising a structure.")
    pull_duration: Annotated[float, Read(Measure("duration", 0, 3_600_000, above=True))] = Field(
        57_600.0, description="Outage for pulling one reel length of all wires.")
    crews: int = Field(1, ge=1, le=50, description="Crews that work at once.")
    windows: int = Field(0, ge=0, le=50, description="Number of allowed windows; 0: as many as are needed.")
    window: Annotated[float, Read(Measure("duration", 0, 36_000_000, above=True))] = Field(
        432_000.0, description="Longest outage.")
    never_together: tuple[NeverTogether, ...] = Field((), description="Pairs that must not be out at once.")
