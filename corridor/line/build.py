"""From structures and framings to stations, angles, spans, attachments and stringing sections."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from corridor.arrays import Array, Integers, take
from corridor.errors import InputError
from corridor.line.facts import Framings, Structures

__all__ = ["NoWires", "Route", "Sections", "Spans", "WireSpans", "attach", "lay_out", "mean_elevation",
           "part_of_line"]


@dataclass(frozen=True)
class Route:
    """Where each structure stands along its line; columns of shape (structure,).

    `station` [m, ground length from the line's first structure]; `line_angle` [deg, the turn of the line,
    positive to the right]; `crossarm` [deg, grid azimuth of the crossarm's right end].
    """

    station: Array
    line_angle: Array
    crossarm: Array


@dataclass(frozen=True)
class Spans:
    """Columns of shape (span,): `tail` and `head` are structure indices, `length` the ground distance
    between structure centres [m], `ground_factor` ground over grid length [-], `azimuth` [deg]."""

    line: NDArray[np.object_]
    name: NDArray[np.object_]
    tail: Integers
    head: Integers
    section: Integers
    length: Array
    ground_factor: Array
    azimuth: Array

    def __len__(self) -> int:
        return len(self.name)


@dataclass(frozen=True)
class Sections:
    """Columns of shape (section,): stringing sections between strain structures, `first` and `last` span."""

    line: NDArray[np.object_]
    name: NDArray[np.object_]
    first: Integers
    last: Integers

    def __len__(self) -> int:
        return len(self.name)


@dataclass(frozen=True)
class WireSpans:
    """One row per wire in a span; columns of shape (wire span,).

    `start`, `end` (wire span, 3): attachment of the wire itself in the frame's grid, string taken off [m]; a strain
    string is taken to lie along the chord. `length`: ground distance between them [m]. `string_start`, `string_end`
    [m]: length of a suspension string that swings, or depth of a V-string, 0 where the wire is held; `vee_start`,
    `vee_end` [deg]: angle of each arm of a V-string from the vertical, nan where it is not known, 0 of other strings; a
    V swings along the line alone; `strain_start`, `strain_end` [m]: of a
    strain string, 0 without one; `mass_start`, `mass_end` [kg] of strings; `stiffness_start`, `stiffness_end` [N/m] of
    posts along the line, inf where held; `area_start`, `area_end` [m²] of strings in the wind.
    """

    span: Integers
    wire: NDArray[np.object_]
    kind: NDArray[np.object_]
    circuit: NDArray[np.object_]
    start: Array
    end: Array
    length: Array
    string_start: Array
    string_end: Array
    mass_start: Array
    mass_end: Array
    stiffness_start: Array
    stiffness_end: Array
    area_start: Array
    area_end: Array
    strain_start: Array
    strain_end: Array
    vee_start: Array
    vee_end: Array

    def __len__(self) -> int:
        return len(self.span)


def lay_out(structures: Structures, base_elevation: Array,
            ground_factor: Callable[[Array, Array, Array, Array, Array], Array]) -> tuple[Route, Spans, Sections]:
    """Return route, spans and sections of every line.

    Parameters
    ----------
    structures : Structures
    base_elevation : ndarray, shape (structure,)
        Elevation of the base [m], from the structure or the ground; nan where neither knows.
    ground_factor : callable
        `(e0, n0, e1, n1, elevation) -> ground length over grid length [-]`.
    """
    tail = np.flatnonzero(structures.line[:-1] == structures.line[1:])
    head = tail + 1
    e, n = structures.easting, structures.northing
    east, north = e[head] - e[tail], n[head] - n[tail]
    azimuth = np.degrees(np.arctan2(east, north)) % 360
    mean = mean_elevation(base_elevation[tail], base_elevation[head])
    factor = ground_factor(e[tail], n[tail], e[head], n[head], mean)
    length = np.hypot(east, north) * factor
    route = _route(structures, tail, head, azimuth, length)
    section, sections = _sections(structures, tail)
    name = np.array([f"{a}-{b}" for a, b in zip(structures.structure[tail],
                                                structures.structure[head], strict=True)], object)
    spans = Spans(structures.line[tail], name, tail, head, section, length, factor, azimuth)
    return route, spans, sections


def mean_elevation(start: Array, end: Array) -> Array:
    """Return the mean elevation of both ends of spans [m]: of the known one where one is unknown, 0 where both are."""
    known = np.isfinite(start).astype(int) + np.isfinite(end)
    return (np.nan_to_num(start) + np.nan_to_num(end)) / np.maximum(known, 1)


def _route(structures: Structures, tail: Integers, head: Integers, azimuth: Array, length: Array) -> Route:
    count = len(structures)
    station, arriving, leaving = np.zeros(count), np.full(count, np.nan), np.full(count, np.nan)
    arriving[head], leaving[tail] = azimuth, azimuth
    step = np.zeros(count)
    step[head] = length
    total = np.cumsum(step)
    first = np.r_[True, structures.line[1:] != structures.line[:-1]]
    station = total - np.maximum.accumulate(np.where(first, total, 0))
    turn = (leaving - arriving + 180) % 360 - 180
    turn = np.where(np.isnan(turn), 0.0, turn)
    ahead = np.where(np.isnan(arriving), leaving, arriving)
    right = (ahead + turn / 2 + 90) % 360
    given = structures.crossarm_azimuth
    # A crossarm azimuth may name either end of the arm: the one on the right of the line is meant.
    flipped = np.cos(np.radians(given - right)) < 0
    crossarm = np.where(np.isnan(given), right, (given + 180 * flipped) % 360)
    return Route(station, turn, crossarm)


def _sections(structures: Structures, tail: Integers) -> tuple[Integers, Sections]:
    starts = (structures.role[tail] != "suspension")
    starts |= np.r_[True, tail[1:] != tail[:-1] + 1] if len(tail) else starts
    section = np.cumsum(starts) - 1
    first = np.flatnonzero(starts)
    last = np.r_[first[1:], len(tail)] - 1
    name = np.array([f"{structures.structure[tail[a]]}-{structures.structure[tail[b] + 1]}"
                     for a, b in zip(first, last, strict=True)], object)
    return section, Sections(structures.line[tail[first]], name, first, last)


def part_of_line(spans: Spans, sections: Sections, first: int, last: int) -> tuple[Spans, Sections]:
    """Return the spans from `first` to `last`, which are whole sections, and those sections alone."""
    some = take(spans, slice(first, last + 1))
    low, high = some.section[0], some.section[-1] + 1
    own = take(sections, slice(low, high))
    return replace(some, section=some.section - low), replace(own, first=own.first - first, last=own.last - first)


class NoWires(InputError):
    """No wire hangs at both ends of any span; `unmatched` tells of those at one end, as `attach` does."""

    def __init__(self, unmatched: list[tuple[int, str, str]]) -> None:
        super().__init__(None, "framings", "no wire that hangs at both ends of any span",
                         "framings of neighbouring structures that name the same wires")
        self.unmatched = unmatched


def attach(structures: Structures, base_elevation: Array, route: Route, spans: Spans,
           framings: Framings) -> tuple[WireSpans, list[tuple[int, str, str]]]:
    """Return the wires of every span with their attachment points, and the wires that do not meet.

    Parameters
    ----------
    structures : Structures
    base_elevation : ndarray, shape (structure,)
    route : Route
    spans : Spans
    framings : Framings

    Returns
    -------
    WireSpans
        Sorted by span, then in the order of the framing.
    unmatched : list of (span index, wire, reason)
        Wires that hang at one end of a span only.

    Raises
    ------
    NoWires
        None hangs at both.
    """
    rows = _rows_by_framing(framings)
    pairs, unmatched = [], []
    for index, (a, b) in enumerate(zip(spans.tail, spans.head, strict=True)):
        here, there = rows[structures.framing[a]], rows[structures.framing[b]]
        pairs += [(index, here[wire], there[wire]) for wire in here if wire in there]
        for wire in here.keys() ^ there.keys():
            lone, other = (a, b) if wire in here else (b, a)
            unmatched.append((index, wire, f"the wire hangs at {structures.structure[lone]} but the framing "
                              f"of {structures.structure[other]} does not name it"))
    unmatched.sort(key=lambda item: (item[0], item[1]))
    if not pairs:
        raise NoWires(unmatched)
    span, left, right = np.array(pairs).T
    return _wire_spans(structures, base_elevation, route, spans, framings, span, left, right), unmatched


def _rows_by_framing(framings: Framings) -> dict[str, dict[str, int]]:
    rows: dict[str, dict[str, int]] = {}
    for index, (framing, wire) in enumerate(zip(framings.framing, framings.wire, strict=True)):
        rows.setdefault(framing, {})[wire] = index
    return rows


def _wire_spans(structures: Structures, base_elevation: Array, route: Route, spans: Spans, framings: Framings,
                span: Integers, left: Integers, right: Integers) -> WireSpans:
    factor = spans.ground_factor[span]
    start = _attachment(structures, base_elevation, route, framings, spans.tail[span], left, factor)
    end = _attachment(structures, base_elevation, route, framings, spans.head[span], right, factor)
    strain = np.where(framings.string == "link", framings.string_length, 0.0)
    start, end = _between_strain_strings(start, end, strain[left], strain[right], factor, spans.name[span])
    length = np.hypot(*(end - start)[:, :2].T) * factor
    string = _hung_length(framings)
    mass = np.where(framings.string != "strain", framings.string_mass, 0.0)
    none = np.zeros(len(mass))
    given = none + np.inf if framings.stiffness is None else framings.stiffness
    stiff = np.where(framings.string == "post", given, np.inf)
    between = none + np.nan if framings.vee_angle is None else framings.vee_angle
    vee = np.where(framings.string == "vee", between / 2, 0.0)
    area = none if framings.string_area is None else framings.string_area
    return WireSpans(span, framings.wire[left], framings.kind[left], framings.circuit[left], start, end,
                     length, string[left], string[right], mass[left], mass[right], stiff[left], stiff[right],
                     area[left], area[right], strain[left], strain[right], vee[left], vee[right])


def _hung_length(framings: Framings) -> Array:
    """How far below the point that framings give a plumb string holds the wire [m]."""
    return np.where(np.isin(framings.string, ("suspension", "vee")), framings.string_length, 0.0)


def _between_strain_strings(start: Array, end: Array, first: Array, last: Array, factor: Array,
                            name: NDArray[np.object_]) -> tuple[Array, Array]:
    """Ends of wires [m] whose strain strings lie along the chord; level where an elevation is unknown."""
    chord = np.nan_to_num(end - start)
    chord[:, :2] *= factor[:, None]
    size = np.linalg.norm(chord, axis=1)
    if (first + last >= size).any():
        i = np.flatnonzero(first + last >= size)[0]
        raise InputError(None, f"framings: string_length at span {name[i]}",
                         f"strain strings of {first[i] + last[i]:g} m in {size[i]:.1f} m",
                         "strain strings that leave room for a wire")
    ahead = np.divide(chord, size[:, None], out=np.zeros_like(chord), where=size[:, None] > 0)
    ahead[:, :2] /= factor[:, None]
    return start + first[:, None] * ahead, end - last[:, None] * ahead


def _attachment(structures: Structures, base_elevation: Array, route: Route, framings: Framings, structure: Integers,
                row: Integers, factor: Array) -> Array:
    """Attachment of the wire [m]: on the crossarm, below the hanging point by a suspension string or a V."""
    arm = np.radians(route.crossarm[structure])
    out = framings.offset[row] / factor
    drop = _hung_length(framings)[row]
    return np.stack([
        structures.easting[structure] + out * np.sin(arm),
        structures.northing[structure] + out * np.cos(arm),
        base_elevation[structure] + framings.height[row] - drop,
    ], axis=-1)
