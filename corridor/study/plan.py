"""The table of a study that says what putting it right costs, and how outages may be had."""

from datetime import date
from typing import Annotated, ClassVar, Literal

from pydantic import Field

from corridor.errors import InputError
from corridor.study.table import Read, Table, Text
from corridor.study.values import ClockTime, Day, DayOfYear, Measure, ValueFault

__all__ = ["ON_CIRCUITS", "REMEDIES", "WEEKDAYS", "WORK", "Access", "Calendar", "Life", "NeverTogether", "Notice",
           "OutageNeed", "Plan", "WireCost", "WorkCrew", "WorkSeason", "plan_is_possible"]

#: What a plan may be made of.
REMEDIES = ("raise", "replace", "shorten", "v_string", "post", "strain", "tighten", "slacken", "grade", "trim",
            "side_trim", "remove", "bury", "raise_other", "lower_other", "add")
Remedy = Literal["raise", "replace", "shorten", "v_string", "post", "strain", "tighten", "slacken", "grade", "trim",
                 "side_trim", "remove", "bury", "raise_other", "lower_other", "add"]
_RATIO = Measure("ratio", 0, 10)

#: Kinds of work, as the layer `work_items` has them.
WORK = ("raise", "replace", "strings", "add", "grade", "trim", "remove", "bury", "raise_other", "lower_other",
        "re-tension", "pull")
WorkKind = Literal["raise", "replace", "strings", "add", "grade", "trim", "remove", "bury", "raise_other",
                   "lower_other", "re-tension", "pull"]
#: Kinds that can be done on the wires or strings of one circuit; the others change what all circuits hang on, or what
#: is below all.
ON_CIRCUITS = ("strings", "re-tension", "pull")
#: Kinds in which the wires of a circuit do not hang: no circuit that is worked on is live.
_WIRES_DOWN = ("re-tension", "pull")


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


class WorkCrew(Table):
    """A crew, or several alike. One crew does one work after the other."""

    name: Text = Field(description="Name of the crew.")
    kinds: tuple[WorkKind, ...] = Field(WORK, min_length=1, description=(
        "Kinds of work that it does, as the layer `work_items` has them. Default: all."))
    number: int = Field(1, ge=1, le=50, description="How many such crews there are.")
    shift_start: Annotated[float | None, Read(ClockTime())] = Field(
        None, description="When its work begins on a day. Default: as `[plan.calendar]` says.")
    shift_end: Annotated[float | None, Read(ClockTime())] = Field(None, description="When it ends, likewise.")
    weekdays: tuple[Weekday, ...] = Field((), description="Days of the week on which it works, likewise.")


class _CrewsOrNumber:
    """Read crews, or how many there are that do everything."""

    accepts = "a whole number from 1 to 50, or a list of tables, [[plan.crews]], at least one"

    def __call__(self, value):
        """Return the crews."""
        if isinstance(value, int) and not isinstance(value, bool):
            if not 1 <= value <= 50:
                raise ValueFault("not from 1 to 50")
            return tuple(WorkCrew(name=str(i + 1)) for i in range(value))
        if not isinstance(value, list | tuple) or not value:
            raise ValueFault("neither a number of crews nor tables of crews")
        return value


class OutageNeed(Table):
    """What is out of service for a kind of work, where that is not all circuits on the structures.

    Without a row for a kind of work all circuits on the structures are out."""

    kind: WorkKind = Field(description="Kind of work, as the layer `work_items` has it.")
    circuit: Text | None = Field(None, description=(
        "Circuit that is worked on, as `work_items` has it. Default: each that no other row of the kind names."))
    out: Literal["all", "own", "none"] = Field(description=(
        "`all`: all circuits on the structures. `own`: of work on the wires or strings of one circuit, that circuit "
        "alone, beside the others in service. `none`: it stays in service, for live-line work."))


class Access(WorkSeason):
    """Days of each year on which places may be reached, both included; the last may lie before the first.

    A place that several rows name may be reached on the days of each; work at several places on days that they share.
    """

    structures: tuple[Text, ...] = Field((), description="Names of structures.")
    spans: tuple[Text, ...] = Field((), description="Names of spans, `<from>-<to>`.")
    kinds: tuple[WorkKind, ...] = Field(WORK, min_length=1, description=(
        "Kinds of work that it is for. Default: all."))


class WireCost(Table):
    """What the wires of an option cost."""

    option: Text = Field(description="Name of the option.")
    cost_per_km: float = Field(ge=0, description="Of a kilometre of line: all its wires, and hanging them up.")
    carbon_per_km: Annotated[float, Field(ge=0)] | None = Field(
        None, description="Carbon dioxide of making these wires [t].")


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


class Life(Table):
    """What a wire costs over its life, for `compare`, `design` and `plan --rating`. Who gives it assumes all of it."""

    years: int = Field(ge=1, le=100, description="Years that count.")
    discount_rate: Annotated[float, Read(Measure("ratio", 0, 0.5))] = Field(
        description="By how much what is paid a year later is worth less, as a share.")
    energy_price: float = Field(ge=0, description="Cost of a MWh lost, in the units of `currency`.")
    energy_price_low: Annotated[float, Field(ge=0)] | None = Field(
        None, description="The least that it may be. Default: as `energy_price`.")
    energy_price_high: Annotated[float, Field(ge=0)] | None = Field(None, description="The most, likewise.")
    carbon_per_mwh: Annotated[float, Field(ge=0)] | None = Field(
        None, description="Carbon dioxide of a MWh lost [t]. Without it none is told.")

    @property
    def prices(self) -> tuple[float, float, float]:
        """The lower, the middle and the higher price."""
        low, high = (self.energy_price if each is None else each for each in (self.energy_price_low,
                                                                              self.energy_price_high))
        return low, self.energy_price, high


class Plan(Table):
    """What putting it right costs, in units of one's own, and how outages may be had."""

    remedies: tuple[Remedy, ...] = Field(REMEDIES, min_length=1, description=(
        "What a plan may be made of: raise structures, replace them by taller ones, shorten suspension strings, change "
        "them to a V-string, a post or a strain string, tighten or slacken sections, grade the ground, cut trees back "
        "from above (trim) or around (side_trim), remove objects, put circuits of others underground (bury), raise "
        "their wires (raise_other) or lower them (lower_other), add structures. Default: all, of which replace, "
        "shorten, v_string, tighten, trim, side_trim, bury, raise_other and lower_other need keys below."))
    step: Annotated[float, Read(Measure("length", 0, 10, above=True))] = Field(
        0.5, description="Step by which a structure is raised, a string shortened, the ground cut, a tree trimmed, or "
        "another line raised or lowered.")
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
    v_string_cost: Annotated[float, Field(ge=0)] | None = Field(
        None, description="Cost of V-strings in place of the suspension strings of a structure, relative. There are "
        "none without it, their depth, angle, mass and structures.")
    v_string_depth: Annotated[float | None, Read(Measure("length", 0, 20, above=True))] = Field(
        None, description="How far below the point where a suspension string hangs, midway between its arms, such a V "
        "holds the wire.")
    v_string_angle: Annotated[float | None, Read(Measure("angle", 0, 179, above=True))] = Field(
        None, description="Angle between its arms.")
    v_string_mass: Annotated[float | None, Read(Measure("mass", 0, 5000))] = Field(
        None, description="Mass of both of its arms.")
    v_string_wind_area: Annotated[float | None, Read(Measure("area", 0, 100))] = Field(
        None, description="Area of both arms on which the wind blows. Default: twice that of the string in its place.")
    v_string_structures: tuple[Text, ...] = Field((), description=(
        "Names of structures whose crossarms have room for both arms of such a V, for which somebody has looked. "
        "Default: none."))
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
    trimmable: tuple[Text, ...] = Field(("tree",), description="Categories of obstacles that may be trimmed.")
    least_tree_height: Annotated[float | None, Read(Measure("length", 1, 100))] = Field(
        None, description="Height above the ground that a tree is trimmed to at least. Without it no top is cut.")
    least_crown_radius: Annotated[float | None, Read(Measure("length", 0, 100))] = Field(
        None, description="Radius that the crown of a tree is cut back to at least. Without it none is.")
    tree_growth: Annotated[float | None, Read(Measure("length", 0, 10, above=True))] = Field(
        None, description="Growth of a trimmed tree in a year. Of it and the `growth` of the layer of the tree, which "
        "is until the next cutting already, the greater counts; without either the tree is not trimmed.")
    cutting_cycle: Annotated[float, Field(gt=0, le=50)] | None = Field(
        None, description="Years from one cutting of trees to the next. Needs `tree_growth`.")
    trim_cost: float = Field(0.1, ge=0, description="Cost of cutting the top of a tree at all, relative.")
    trim_metre_cost: float = Field(0.02, ge=0, description="Cost of each metre that is cut off it, relative.")
    side_trim_cost: float = Field(0.1, ge=0, description="Cost of cutting a crown back all around, relative.")
    side_trim_metre_cost: float = Field(0.04, ge=0, description="Cost of each metre of its radius, relative.")
    search_spans: int = Field(120, ge=0, le=1_000_000, description=(
        "Spans that are looked at for a cheaper plan, at most, once one is found. More take longer, and what might "
        "still be saved falls."))
    removable: tuple[Text, ...] = Field(("tree",), description="Categories of obstacles that may be taken away.")
    remove_cost: float = Field(0.3, ge=0, description="Cost of taking an obstacle away, relative.")
    undergrounded: tuple[Text, ...] = Field((), description=(
        "Circuits of other lines, as the layer `work_items` has them, that their owners agree to put underground, as "
        "far as their layer draws them. Default: none."))
    bury_cost: float = Field(20.0, ge=0, description="Cost of putting a circuit underground at all, relative.")
    bury_metre_cost: float = Field(0.05, ge=0, description="Cost of each metre of its wires, all added up, relative.")
    alterable: tuple[Text, ...] = Field((), description=(
        "Circuits of other lines, as the layer `work_items` has them, whose wires their owners agree to hang higher or "
        "lower, all of them as far as their layer draws them. Default: none."))
    largest_other_raise: Annotated[float | None, Read(Measure("length", 0, 30, above=True))] = Field(
        None, description="Most by which such a circuit is raised. Without it none is.")
    largest_other_lowering: Annotated[float | None, Read(Measure("length", 0, 30, above=True))] = Field(
        None, description="Most by which such a circuit is lowered. Without it none is.")
    other_cost: float = Field(10.0, ge=0, description="Cost of raising or lowering such a circuit at all, relative.")
    other_metre_cost: float = Field(1.0, ge=0, description="Cost of each metre of it, relative.")
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
        21_600.0, description="Outage for changing the strings of up to three phases at a structure; of more it is as "
        "much longer as they are more.")
    add_duration: Annotated[float, Read(Measure("duration", 0, 3_600_000, above=True))] = Field(
        144_000.0, description="Outage for a structure more.")
    grade_duration: Annotated[float, Read(Measure("duration", 0, 3_600_000, above=True))] = Field(
        28_800.0, description="Outage for cutting the ground below a span.")
    trim_duration: Annotated[float, Read(Measure("duration", 0, 3_600_000))] = Field(
        7_200.0, description="Outage for trimming a tree, its top, its crown or both. 0: it is trimmed without one.")
    remove_duration: Annotated[float, Read(Measure("duration", 0, 3_600_000))] = Field(
        14_400.0, description="Outage for taking an object away. 0: it is taken away without one.")
    bury_duration: Annotated[float, Read(Measure("duration", 0, 3_600_000, above=True))] = Field(
        144_000.0, description="Outage for putting a circuit underground and taking its wires down, of it and of all "
        "circuits on the structures of the spans that it crosses.")
    other_duration: Annotated[float, Read(Measure("duration", 0, 3_600_000, above=True))] = Field(
        144_000.0, description="Outage for raising or lowering the wires of a circuit of another line, of it and of "
        "all circuits on the structures of the spans that it crosses.")
    tighten_duration: Annotated[float, Read(Measure("duration", 0, 3_600_000, above=True))] = Field(
        28_800.0, description="Outage for tightening a section of up to three phases that hang, likewise.")
    pull_duration: Annotated[float, Read(Measure("duration", 0, 3_600_000, above=True))] = Field(
        57_600.0, description="Outage for pulling one reel length of up to three phases, likewise, where "
        "`[stringing.crew]` does not say how long a pull takes.")
    pull_setup_duration: Annotated[float, Read(Measure("duration", 0, 3_600_000))] = Field(
        0.0, description="What of it setting up takes, which is the same for any number of phases.")
    crews: Annotated[tuple[WorkCrew, ...], Read(_CrewsOrNumber())] = Field((WorkCrew(name="1"),), description=(
        "Crews that work at once: a number of crews that do everything, or a table each. Default: one."))
    windows: int = Field(0, ge=0, le=50, description="Number of allowed windows; 0: as many as are needed.")
    window: Annotated[float, Read(Measure("duration", 0, 36_000_000, above=True))] = Field(
        432_000.0, description="Longest outage.")
    currency: Text | None = Field(None, description=(
        "What costs are in, with the year, such as `kEUR of 2026`. Default: relative."))
    wires: tuple[WireCost, ...] = Field((), description="What new wires cost.")
    crew_hour_cost: Annotated[float, Field(ge=0)] | None = Field(None, description="Cost of an hour of work.")
    circuit_hour_cost: Annotated[float, Field(ge=0)] | None = Field(
        None, description="Cost of an hour for which a circuit is out.")
    life: Life | None = Field(None, description="What a wire costs over its life.")
    calendar: Calendar | None = Field(None, description="When crews work.")
    never_together: tuple[NeverTogether, ...] = Field((), description="Pairs that must not be out at once.")
    outage_needs: tuple[OutageNeed, ...] = Field((), description=(
        "What is out of service for which work. Default: all circuits on the structures."))
    access: tuple[Access, ...] = Field((), description=(
        "When places may be reached. Default: those that no row names always."))
    untouched: tuple[Text, ...] = Field((), description=(
        "Names of structures that may not be changed: neither raised nor given other strings."))
    guarded_circuits: tuple[Text, ...] = Field((), description=(
        "Circuits of lines below that stay in service while wires are drawn over them, behind guard structures that "
        "their owner agrees to. Default: none; each circuit that is crossed is out."))


def plan_is_possible(study):
    """Shifts end after they begin, work is done after it starts, crews are told apart, and no rows contradict."""
    plan = study.plan
    if plan is None:
        return
    yield from _calendar_faults(study.path, plan.calendar)
    names = [crew.name for crew in plan.crews]
    for i, crew in enumerate(plan.crews):
        where = f"plan.crews.{i}"
        if crew.name in names[:i]:
            yield InputError(study.path, f"{where}.name", f"{crew.name!r}, as of another", "a name of its own")
        own = [key for key in ("shift_start", "shift_end", "weekdays") if key in crew.model_fields_set]
        if "weekdays" in own and not crew.weekdays:
            yield InputError(study.path, f"{where}.weekdays", "an empty list", "at least one day, or no such key")
        if own and plan.calendar is None:
            yield InputError(study.path, f"{where}.{own[0]}", "no [plan.calendar]", "[plan.calendar] beside it")
        elif own:
            start, end = (getattr(crew if getattr(crew, key) is not None else plan.calendar, key)
                          for key in ("shift_start", "shift_end"))
            if end <= start:
                yield InputError(study.path, f"{where}.shift_end", f"{end:g} h", f"later than shift_start, {start:g} h")
    yield from _need_faults(study.path, plan.outage_needs)
    if plan.life is not None:
        low, middle, high = plan.life.prices
        for key, wrong in (("energy_price_low", low > middle), ("energy_price_high", high < middle)):
            if wrong:
                yield InputError(study.path, f"plan.life.{key}", f"{getattr(plan.life, key):g}",
                                 f"no {'more' if key.endswith('low') else 'less'} than energy_price, {middle:g}")
    for i, row in enumerate(plan.access):
        if not row.structures and not row.spans:
            yield InputError(study.path, f"plan.access.{i}", "neither structures nor spans", "at least one of them")
    if plan.pull_setup_duration > plan.pull_duration:
        yield InputError(study.path, "plan.pull_setup_duration", f"{plan.pull_setup_duration / 3600:g} h",
                         f"no more than pull_duration, {plan.pull_duration / 3600:g} h")
    for key, other in (("tree_growth", "cutting_cycle"), ("cutting_cycle", "tree_growth")):
        if getattr(plan, key) is not None and getattr(plan, other) is None:
            yield InputError(study.path, f"plan.{key}", f"no plan.{other}", f"plan.{other} beside it, or neither")
    if plan.access and plan.calendar is None:
        yield InputError(study.path, "plan.access", "no [plan.calendar]", "[plan.calendar] beside it")


def _calendar_faults(path, calendar):
    if calendar is None:
        return
    if calendar.shift_end <= calendar.shift_start:
        yield InputError(path, "plan.calendar.shift_end", f"{calendar.shift_end:g} h",
                         f"later than shift_start, {calendar.shift_start:g} h")
    if calendar.by is not None and calendar.by < calendar.start:
        yield InputError(path, "plan.calendar.by", str(calendar.by), f"no day before start, {calendar.start}")


def _need_faults(path, needs):
    keys = [(row.kind, row.circuit) for row in needs]
    for i, row in enumerate(needs):
        if row.out == "own" and row.kind not in ON_CIRCUITS:
            yield InputError(path, f"plan.outage_needs.{i}.out", f"'own' for {row.kind}, which all circuits share",
                             f"'all' or 'none'; 'own' for {', '.join(ON_CIRCUITS)}")
        if row.out == "none" and row.kind in _WIRES_DOWN:
            yield InputError(path, f"plan.outage_needs.{i}.out", f"'none' for {row.kind}, in which wires come down",
                             "'all' or 'own'")
        if keys[i] in keys[:i]:
            yield InputError(path, f"plan.outage_needs.{i}", f"{row.kind} of {row.circuit or 'every circuit'} twice",
                             "one row for a kind of work and circuit")
