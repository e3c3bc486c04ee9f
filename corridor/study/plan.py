"""The table of a study that says what putting it right costs, and how outages may be had."""

from datetime import date
from typing import Annotated, ClassVar, Literal

from pydantic import Field

from corridor.study.table import Read, Table, Text
from corridor.study.values import ClockTime, Day, DayOfYear, Measure

__all__ = ["REMEDIES", "WEEKDAYS", "Calendar", "NeverTogether", "Notice", "Plan", "WireCost", "WorkSeason"]

#: What a plan may be made of.
REMEDIES = ("raise", "replace", "shorten", "post", "strain", "tighten", "slacken", "grade", "remove", "add")
Remedy = Literal["raise", "replace", "shorten", "post", "strain", "tighten", "slacken", "grade", "remove", "add"]
_RATIO = Measure("ratio", 0, 10)


class NeverTogether(Table):
    """Two circuits of which one must stay in service."""

    first: Text = Field(description="Name of a circuit, as the layer `work_items` has it.")
    second: Text = Field(description="Name of another.")


#: Days of the week, as a study names them.
WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
Weekday = Literal["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"]


class WorkSeason(Table):
    """Days of each year on which outages may be had, both included; the last may lie before the first."""

    first_day: Annotated[int, Read(DayOfYear())] = Field(description="First day; of a date the year does not count.")
    last_day: Annotated[int, Read(DayOfYear())] = Field(description="Last day, likewise.")


class WireCost(Table):
    """What the wires of an option cost."""

    option: Text = Field(description="Name of the option.")
    cost_per_km: float = Field(ge=0, description="Of a kilometre of line: all its wires, and hanging them up.")


class Notice(Table):
    """How long before an outage the owner of something crossed is to be asked."""

    name: Text = Field(description="A circuit, or a road, rail or water that is guarded, as `work_items` has it.")
    period: Annotated[float, Read(Measure("duration", 0, 63_072_000))] = Field(description="Before the outage starts.")


class Calendar(Table):
    """When crews work. Without it hours are told, round the clock, and no dates."""

    weekday_names: ClassVar[tuple[str, ...]] = WEEKDAYS

    start: Annotated[date, Read(Day())] = Field(description="First day of work.")
    by: Annotated[date | None, Read(Day())] = Field(None, description="Last day: by its end all is done.")
    shift_start: Annotated[float, Read(ClockTime())] = Field(7.0, description="When work begins on a day, local time.")
    shift_end: Annotated[float, Read(ClockTime())] = Field(17.0, description="When it ends.")
    weekdays: tuple[Weekday, ...] = Field(
        WEEKDAYS[:5], min_length=1, description="Days of the week that are worked on. Default: monday to friday.")
    holidays: tuple[Annotated[date, Read(Day())], ...] = Field((), description="Days that are not.")
    seasons: tuple[WorkSeason, ...] = Field((), description="When outages may be had. Default: all year.")
    notice: tuple[Notice, ...] = Field((), description="Who is to be asked how long before.")


class Plan(Table):
    """What putting it right costs, in units of one's own, and how outages may be had."""

    remedies: tuple[Remedy, ...] = Field(REMEDIES, min_length=1, description=(
        "What a plan may be made of: raise structures, replace them by taller ones, shorten suspension strings, change "
        "them to a post or a strain string, tighten or slacken sections, grade the ground, remove objects, add "
        "structures. Default: all, of which replace, shorten and tighten need a key below."))
    step: Annotated[float, Read(Measure("length", 0, 10, above=True))] = Field(
        0.5, description="Step by which a structure is raised, a string shortened or the ground cut.")
    largest_raise: Annotated[float, Read(Measure("length", 0, 30, above=True))] = Field(
        6.0, description="Most that a structure is raised.")
    raise_cost: float = Field(1.0, ge=0, description="Cost of raising a structure at all, relative.")
    metre_cost: float = Field(0.2, ge=0, description="Cost of each metre of raise, relative.")
    strain_raise_cost: Annotated[float, Field(ge=0)] | None = Field(
        None, description="Cost of raising a strain or terminal structure at all. Default: that of any.")
    strain_metre_cost: Annotated[float, Field(ge=0)] | None = Field(
        None, description="Cost of each metre of its raise, likewise.")
    largest_replacement: Annotated[float | None, Read(Measure("length", 0, 60, above=True))] = Field(
        None, description="Most by which the wires of a structure are raised by a taller one in its place. Without it "
        "none is replaced.")
    replace_cost: float = Field(6.0, ge=0, description="Cost of a taller structure in place of one, relative.")
    replace_metre_cost: float = Field(0.2, ge=0, description="Cost of each metre that it is taller, relative.")
    shortest_string: Annotated[float | None, Read(Measure("length", 0, 20, above=True))] = Field(
        None, description="Shortest suspension string that the voltage allows. Without it none is shortened.")
    shorten_cost: float = Field(0.6, ge=0, description="Cost of shortening the strings of a structure, relative.")
    post_cost: float = Field(1.2, ge=0, description="Cost of posts in place of the strings of a structure, relative.")
    strain_cost: float = Field(3.0, ge=0, description="Cost of making a suspension structure a strain one, relative.")
    largest_tightening: Annotated[float, Read(Measure("ratio", 0, 1))] = Field(
        0.0, description="Most by which a section may be strung tauter than its stringing limits say, as a share of "
        "them. 0: not at all.")
    largest_slackening: Annotated[float, Read(Measure("ratio", 0, 0.5))] = Field(
        0.2, description="Most by which a section that is too near to something above is strung slacker, likewise.")
    tightening_step: Annotated[float, Read(Measure("ratio", 0, 0.5, above=True))] = Field(
        0.05, description="Step of both.")
    tighten_cost: float = Field(1.0, ge=0, description="Cost of stringing a section tauter or slacker, relative.")
    largest_load_ratio: Annotated[float | None, Read(_RATIO)] = Field(
        None, description="Most that a tauter section may load a structure, over what the existing wire does "
        "as it hangs today (`ratio_to_existing` of the findings). Default: loads bound nothing.")
    largest_cut: Annotated[float, Read(Measure("length", 0, 20))] = Field(
        1.5, description="Most that the ground is lowered.")
    grade_cost: float = Field(0.5, ge=0, description="Cost of grading below a span at all, relative.")
    cubic_metre_cost: float = Field(0.002, ge=0, description="Cost of each cubic metre dug, relative.")
    removable: tuple[Text, ...] = Field(("tree",), description="Categories of obstacles that may be taken away.")
    remove_cost: float = Field(0.3, ge=0, description="Cost of taking an obstacle away, relative.")
    add_cost: float = Field(8.0, ge=0, description="Cost of a structure more in a span, relative.")
    reel_length: Annotated[float, Read(Measure("length", 0, 20_000, above=True))] = Field(
        2500.0, description="Length of wire on a reel: longer sections are pulled in parts.")
    parallel_distance: Annotated[float, Read(Measure("length", 0, 500))] = Field(
        30.0, description="Other lines nearer than this count as beside the work, though they do not cross.")
    raise_duration: Annotated[float, Read(Measure("duration", 0, 3_600_000, above=True))] = Field(
        28_800.0, description="Outage for raising a structure.")
    replace_duration: Annotated[float, Read(Measure("duration", 0, 3_600_000, above=True))] = Field(
        108_000.0, description="Outage for a taller structure in place of one.")
    string_duration: Annotated[float, Read(Measure("duration", 0, 3_600_000, above=True))] = Field(
        21_600.0, description="Outage for changing the strings of a structure.")
    add_duration: Annotated[float, Read(Measure("duration", 0, 3_600_000, above=True))] = Field(
        144_000.0, description="Outage for a structure more.")
    grade_duration: Annotated[float, Read(Measure("duration", 0, 3_600_000, above=True))] = Field(
        28_800.0, description="Outage for cutting the ground below a span.")
    remove_duration: Annotated[float, Read(Measure("duration", 0, 3_600_000))] = Field(
        14_400.0, description="Outage for taking an object away. 0: it is taken away without one.")
    tighten_duration: Annotated[float, Read(Measure("duration", 0, 3_600_000, above=True))] = Field(
        28_800.0, description="Outage for tightening a section of a wire that hangs.")
    pull_duration: Annotated[float, Read(Measure("duration", 0, 3_600_000, above=True))] = Field(
        57_600.0, description="Outage for pulling one reel length of all wires, where `[stringing.crew]` does not say "
        "how long a pull takes.")
    crews: int = Field(1, ge=1, le=50, description="Crews that work at once.")
    windows: int = Field(0, ge=0, le=50, description="Number of allowed windows; 0: as many as are needed.")
    window: Annotated[float, Read(Measure("duration", 0, 36_000_000, above=True))] = Field(
        432_000.0, description="Longest outage.")
    currency: Text | None = Field(None, description=(
        "What costs are in, with the year, such as `kEUR of 2026`. Default: relative."))
    wires: tuple[WireCost, ...] = Field((), description="What new wires cost.")
    crew_hour_cost: Annotated[float, Field(ge=0)] | None = Field(None, description="Cost of an hour of work.")
    circuit_hour_cost: Annotated[float, Field(ge=0)] | None = Field(
        None, description="Cost of an hour for which a circuit is out.")
    calendar: Calendar | None = Field(None, description="When crews work.")
    never_together: tuple[NeverTogether, ...] = Field((), description="Pairs that must not be out at once.")
    untouched: tuple[Text, ...] = Field((), description=(
        "Names of structures that may not be changed: neither raised nor given other strings."))
    guarded_circuits: tuple[Text, ...] = Field((), description=(
        "Circuits of lines below that stay in service while wires are drawn over them, behind guard structures that "
        "their owner agrees to. Default: none; each circuit that is crossed is out."))
