"""Tables of a study for how new wires are strung: pulls, machines, reels, crews."""

from typing import Annotated, Literal

import numpy as np
from pydantic import Field

from corridor.errors import InputError, nearest
from corridor.study.table import FilePath, Read, Table, Text
from corridor.study.values import Limit, Measure, ReadTension

__all__ = ["WIRE_KINDS", "Crew", "Equipment", "Pull", "Stringing", "check_stringing", "place_of_pull"]

#: Kinds of wire that rules of stringing are for; a wire may be of several.
WIRE_KINDS = ("every wire", "annealed aluminium", "composite core", "gap type")
WireKind = Literal["every wire", "annealed aluminium", "composite core", "gap type"]

_DIAMETER = Measure("length", 0.05, 5)
_DURATION = Measure("duration", 0, 3_600_000)
_FORCE = Measure("force", 100, 1e6)


class Pull(Table):
    """One length of line over which wire is pulled at a time: whole sections, or parts of them between `pull_ends`."""

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
    sag_duration: Annotated[float, Read(_DURATION)] = Field(description="Sagging one phase of a sag section.")
    clip_duration: Annotated[float, Read(_DURATION)] = Field(
        description="Clipping in, or ending, one phase at a structure.")


class Stringing(Table):
    """How new wires are strung: in sag sections, each sagged and clipped in by itself, pulled one or more at a time."""

    pull_ends: tuple[Text, ...] = Field((), description=(
        "Names of suspension structures at which a pull ends and the next begins. The wire is anchored there while "
        "either is in travellers. Strain structures always end one."))
    rules: FilePath | None = Field(None, description=(
        "A CSV file of rules for kinds of wire; its rows go before those that are built in (docs/stringing.md)."))
    pulls: tuple[Pull, ...] = Field((), description="What is pulled at a time. Default: each sag section for itself.")
    setup_distance: Annotated[float | None, Read(Measure("length", 1, 1000))] = Field(None, description=(
        "From the first and last structure of a pull to the machine. Default: the least that the rules allow."))
    traveller_drop: Annotated[float | None, Read(Measure("length", 0, 3))] = Field(None, description=(
        "How far below its hook a traveller has the wire, below strings as well as at strain structures."))
    pulling_tension: Annotated[Limit | None, Read(ReadTension())] = Field(None, description=(
        "Maximum tension of the wire while it is pulled. Default: the greatest that the rules allow."))
    reel_length: Annotated[float | None, Read(Measure("length", 50, 20_000))] = Field(
        None, description="Length of wire on a reel.")
    waste: Annotated[float | None, Read(Measure("ratio", 0, 0.5))] = Field(
        None, description="Wire beyond what hangs, as a share of it: tails, grips, dead ends.")
    joint_free: tuple[Text, ...] = Field((), description=(
        "Spans without joints, besides those that cross a road, railway, water or line."))
    joint_distance: Annotated[float | None, Read(Measure("length", 0, 200))] = Field(
        None, description="Minimum distance of a joint from a structure.")
    time_in_travellers: Annotated[float | None, Read(_DURATION)] = Field(
        None, description="How long the wire hangs in travellers before it is sagged.")
    time_to_clip: Annotated[float | None, Read(_DURATION)] = Field(
        None, description="How long after it is sagged it is clipped in.")
    equipment: Equipment | None = Field(None, description="What the crew has.")
    crew: Crew | None = Field(None, description="How long work takes. Without it outages take the plan's durations.")

    @property
    def have(self):
        """What the crew has; where nothing is said, nothing is known of it."""
        return self.equipment or Equipment()


def check_stringing(path, stringing, structures):
    """Refuse what is named of the line that it does not have: ends of pulls, structures, spans.

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
    if stringing is None:
        return
    name, line = structures.structure, structures.line
    on_strings = set(name[structures.role == "suspension"].tolist())
    accepted = "a suspension structure: strain structures end a pull anyway"
    for i, end in enumerate(stringing.pull_ends):
        _known(path, f"stringing.pull_ends.{i}", end, on_strings, accepted)
    for i, each in enumerate(stringing.have.twin_travellers):
        _known(path, f"stringing.equipment.twin_travellers.{i}", each, set(name.tolist()), "the name of a structure")
    spans = {f"{a}-{b}" for a, b, p, q in zip(name[:-1], name[1:], line[:-1], line[1:], strict=True) if p == q}
    for i, span in enumerate(stringing.joint_free):
        _known(path, f"stringing.joint_free.{i}", span, spans, "the name of a span, <from>-<to>")
    taken = np.zeros(len(name), bool)
    for i, pull in enumerate(stringing.pulls):
        first, last = _place_of(path, f"stringing.pulls.{i}", pull, stringing, structures)
        if taken[first:last].any():
            raise InputError(path, f"stringing.pulls.{i}", f"{pull.first} to {pull.last}",
                             "spans that no other pull has")
        taken[first:last] = True


def _known(path, where, found, known, accepted):
    if found not in known:
        raise InputError(path, where, repr(found), accepted, nearest(found, known))


def place_of_pull(pull, structures):
    """Return the first and the last structure (indices) of a pull, -1 where the line has none of that name."""
    here = (structures.line == pull.line) | (pull.line == "")
    found = [np.flatnonzero(here & (structures.structure == each)) for each in (pull.first, pull.last)]
    return tuple(int(each[0]) if len(each) == 1 else -1 for each in found)


def _place_of(path, where, pull, stringing, structures):
    """The same, and refused where a pull cannot begin or end there."""
    places = place_of_pull(pull, structures)
    for key, place in zip(("first", "last"), places, strict=True):
        found = getattr(pull, key)
        if place < 0:
            names = structures.structure.tolist()
            several = found in names
            raise InputError(path, f"{where}.{key}", repr(found), "the line besides: several lines have such a "
                             "structure" if several else "the name of a structure", None if several else
                             nearest(found, names))
        if structures.role[place] == "suspension" and found not in stringing.pull_ends:
            raise InputError(path, f"{where}.{key}", f"{found!r}, a suspension structure",
                             "a strain or terminal structure, or one of pull_ends")
    if structures.line[places[0]] != structures.line[places[1]] or places[0] >= places[1]:
        raise InputError(path, f"{where}.last", f"{pull.last!r}, which does not come after {pull.first!r}",
                         "a structure farther along the same line")
    return places
