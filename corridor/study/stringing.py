"""Tables of a study for how new wires are strung: pulls, machines, reels, crews."""

from typing import Annotated, Literal

from pydantic import Field

from corridor.errors import InputError, nearest
from corridor.study.table import FilePath, Read, Table, Text
from corridor.study.values import Limit, Measure, ReadTension

__all__ = ["WIRE_KINDS", "Crew", "Equipment", "Pull", "Stringing", "check_block_ends"]

#: Kinds of wire that rules of stringing are for; a wire may be of several.
WIRE_KINDS = ("every wire", "annealed aluminium", "composite core", "gap type")
WireKind = Literal["every wire", "annealed aluminium", "composite core", "gap type"]

_DIAMETER = Measure("length", 0.05, 5)
_DURATION = Measure("duration", 0, 3_600_000)
_FORCE = Measure("force", 100, 1e6)


class Pull(Table):
    """One length of line over which wire is pulled at a time: whole sections, or whole blocks."""

    first: Text = Field(description="Name of the structure at which it begins, in the order of the line.")
    last: Text = Field(description="Name of the structure at which it ends.")
    line: Text = Field("", description="Name of the line, where lines share names of structures.")
    puller: Literal["first", "last"] = Field("last", description="Structure beyond which the puller stands.")


class Equipment(Table):
    """What the crew has. What is not given here cannot be held against the rules, and is told as not given."""

    traveller_diameter: Annotated[float | None, Read(_DIAMETER)] = Field(
        None, description="Of travellers at the bottom of their groove.")
    traveller_groove_depth: Annotated[float | None, Read(Measure("length", 0.001, 0.5))] = Field(
        None, description="Depth of that groove.")
    traveller_flare: Annotated[float | None, Read(Measure("angle", 0, 60))] = Field(
        None, description="Flare of its sides from the upright.")
    traveller_capacity: Annotated[float | None, Read(_FORCE)] = Field(None, description="Load that a traveller bears.")
    twin_travellers: tuple[Text, ...] = Field((), description="Structures with two travellers in a row for each wire.")
    bullwheel_diameter: Annotated[float | None, Read(_DIAMETER)] = Field(
        None, description="Of the tensioner's bullwheels at the bottom of their groove.")
    puller_capacity: Annotated[float | None, Read(_FORCE)] = Field(None, description="Pull of the puller, on one wire.")
    tensioner_capacity: Annotated[float | None, Read(_FORCE)] = Field(
        None, description="Tension that the tensioner holds, on one wire.")
    fittings_for: tuple[WireKind, ...] = Field(
        (), description="Kinds of wire for which grips, joints and dead ends are there.")


class Crew(Table):
    """How long work takes, all crews of a pull together."""

    setup_duration: Annotated[float, Read(_DURATION)] = Field(description="Setting up machines and travellers, a pull.")
    pull_speed: Annotated[float, Read(Measure("speed", 0, 5, above=True))] = Field(
        description="Speed at which one phase, or the bundle of it, is pulled.")
    sag_duration: Annotated[float, Read(_DURATION)] = Field(description="Sagging one phase of a section or block.")
    clip_duration: Annotated[float, Read(_DURATION)] = Field(
        description="Clipping in, or ending, one phase at a structure.")


class Stringing(Table):
    """How new wires are strung: in blocks, each sagged and clipped in by itself, pulled one or more at a time."""

    block_ends: tuple[Text, ...] = Field((), description=(
        "Names of suspension structures at which a block ends and the next begins. The wire is anchored there while "
        "either is in travellers. Strain structures always end one."))
    rules: FilePath | None = Field(None, description=(
        "A CSV file of rules for kinds of wire; its rows go before those that are built in (docs/stringing.md)."))
    pulls: tuple[Pull, ...] = Field((), description="What is pulled at a time. Default: each block for itself.")
    setup_distance: Annotated[float | None, Read(Measure("length", 1, 1000))] = Field(None, description=(
        "From the first and last structure of a pull to the machine. Default: the least that the rules allow."))
    traveller_drop: Annotated[float | None, Read(Measure("length", 0, 3))] = Field(None, description=(
        "How far below its hook a traveller has the wire, below strings as well as at strain structures."))
    pulling_tension: Annotated[Limit | None, Read(ReadTension())] = Field(None, description=(
        "Greatest tension of the wire while it is pulled. Default: the greatest that the rules allow."))
    reel_length: Annotated[float | None, Read(Measure("length", 50, 20_000))] = Field(
        None, description="Length of wire on a reel.")
    waste: Annotated[float | None, Read(Measure("ratio", 0, 0.5))] = Field(
        None, description="Wire beyond what hangs, as a share of it: tails, grips, dead ends.")
    joint_free: tuple[Text, ...] = Field((), description=(
        "Spans without joints, besides those that cross a road, railway, water or line."))
    joint_distance: Annotated[float | None, Read(Measure("length", 0, 200))] = Field(
        None, description="Least distance of a joint from a structure.")
    time_in_travellers: Annotated[float | None, Read(_DURATION)] = Field(
        None, description="How long the wire hangs in travellers before it is sagged.")
    time_to_clip: Annotated[float | None, Read(_DURATION)] = Field(
        None, description="How long after it is sagged it is clipped in.")
    equipment: Equipment = Field(Equipment(), description="What the crew has.")
    crew: Crew | None = Field(None, description="How long work takes. Without it outages take the plan's durations.")


def check_block_ends(path, stringing, structures):
    """Refuse ends of blocks that are no suspension structure of any line.

    Parameters
    ----------
    path : path
        Of the study, for the message.
    stringing : Stringing or None
    structures : Structures

    Raises
    ------
    InputError
    """
    known = set(structures.structure[structures.role == "suspension"].tolist())
    for i, name in enumerate(() if stringing is None else stringing.block_ends):
        if name not in known:
            raise InputError(path, f"stringing.block_ends.{i}", repr(name),
                             "a suspension structure: strain structures end a block anyway", nearest(name, known))
