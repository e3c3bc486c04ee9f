"""Wires of whole sections: those that share a tension, and each from one dead end to the next with what holds it."""

from dataclasses import dataclass

import numpy as np

from corridor.arrays import Array, Booleans, Integers, Texts, ragged
from corridor.constants import GRAVITY
from corridor.line.build import Spans, WireSpans
from corridor.line.swing import SpanFrame
from corridor.mechanics.supports import FREE, HELD, POST, Supports

__all__ = ["WireGroups", "WireRuns", "group_wires", "right_of", "turned", "wire_runs"]


@dataclass(frozen=True)
class WireRuns:
    """Wires that run through whole sections, from dead end to dead end, one row each; padded to the longest.

    `row` (run, span) wire span, -1 beyond the end; `count` (run,); `corner` (run, span + 1, 2) structure centres in
    ground metres from the first; `azimuth` (run, span) [rad]; `supports` of (run, span + 1), with `string_force` that
    of a pressure of 1 Pa blowing to the right [m²].
    """

    row: Integers
    count: Integers
    corner: Array
    azimuth: Array
    supports: Supports


@dataclass(frozen=True)
class WireGroups:
    """The wires of one kind in one section, which share a horizontal tension; columns of shape (group,).

    `of_wire_span` (wire span,) tells each wire span's group; `span` is the ruling span [m]; `spans`, `rises`
    (group, wire span within it) [m], nan-filled.
    """

    section: Integers
    kind: Texts
    of_wire_span: Integers
    span: Array
    spans: Array
    rises: Array

    def __len__(self) -> int:
        return len(self.section)


def group_wires(spans: Spans, wires: WireSpans) -> WireGroups:
    """Return the groups of wires that share a tension, by section and kind."""
    section = spans.section[wires.span]
    keys, of_wire = np.unique(np.char.add(np.char.mod("%09d ", section), wires.kind.astype(str)),
                              return_inverse=True)
    first = np.unique(of_wire, return_index=True)[1]
    place = np.zeros(len(of_wire), int)
    order = np.argsort(of_wire, kind="stable")
    starts = np.r_[0, np.cumsum(np.bincount(of_wire))[:-1]]
    place[order] = np.arange(len(order)) - starts[of_wire[order]]
    padded = np.full((2, len(keys), place.max() + 1), np.nan)
    padded[:, of_wire, place] = wires.length, wires.end[:, 2] - wires.start[:, 2]
    pair = np.unique(of_wire * len(spans) + wires.span)
    centre = spans.length[pair % len(spans)]
    cubes = np.bincount(pair // len(spans), centre**3)
    span = np.sqrt(cubes / np.bincount(pair // len(spans), centre))
    return WireGroups(section[first], wires.kind[first], of_wire, span, *padded)


def wire_runs(frame: SpanFrame, wires: WireSpans, spans: Spans) -> WireRuns:
    """Return the runs of all wires, each from one dead end to the next.

    Parameters
    ----------
    frame : SpanFrame
    wires : WireSpans
    spans : Spans
    """
    section = spans.section[wires.span]
    order = np.lexsort((wires.span, wires.wire.astype(str), section))
    s, name, at = section[order], wires.wire[order], wires.span[order]
    new = np.r_[True, (s[1:] != s[:-1]) | (name[1:] != name[:-1]) | (at[1:] != at[:-1] + 1)]
    run = np.cumsum(new) - 1
    count = np.bincount(run)
    place = ragged(count)[1]
    row = np.full((len(count), count.max()), -1)
    row[run, place] = order
    return _supported(frame, wires, spans, row, count)


def _supported(frame: SpanFrame, wires: WireSpans, spans: Spans, row: Integers, count: Integers) -> WireRuns:
    """Wire runs with their hinges in ground metres, in directions of the grid."""
    span = wires.span[row]
    azimuth = np.radians(spans.azimuth[span])
    step = np.where(row >= 0, spans.length[span], 0.0)
    forward = np.stack([np.sin(azimuth), np.cos(azimuth)], axis=-1)
    corner = np.zeros((len(row), row.shape[1] + 1, 2))
    corner[:, 1:] = np.cumsum(step[..., None] * forward, axis=1)
    hinge = np.full((len(row), row.shape[1] + 1, 3), np.nan)
    string, strain, mass, stiff, area = _at_nodes(wires, row, count)
    start, end = _without_strain_strings(frame, wires)
    hinge[:, 1:] = turned(end[row], azimuth, corner[:, :-1], 1)
    hinge[:, :-1] = np.where((row >= 0)[..., None], turned(start[row], azimuth, corner[:, :-1], 1),
                             hinge[:, :-1])
    hinge[..., 2] += string
    string = string + strain
    kind = np.where(string > 0, FREE, np.where(stiff > 0, POST, HELD))
    string_force = area[..., None] * right_of(azimuth)
    return WireRuns(row, count, corner, azimuth, Supports(hinge, kind, string, mass * GRAVITY, string_force, stiff,
                                                          _held_across(frame, wires, row, count, azimuth)))


def _held_across(frame: SpanFrame, wires: WireSpans, row: Integers, count: Integers, azimuth: Array) -> Array:
    """Unit vectors along the crossarms that carry V-strings, (run, node, 3), 0 elsewhere."""
    across, last = np.zeros((len(row), row.shape[1] + 1, 3)), np.arange(row.shape[1]) == count[:, None] - 1
    vee = (row >= 0) & (wires.vee_end[row] != 0) & ~last
    arm = np.pad(frame.arm_end, ((0, 0), (0, 1)))[row]
    across[:, 1:] = np.where(vee[..., None], turned(arm, azimuth, np.zeros(2), 1), 0.0)
    return across


def _without_strain_strings(frame: SpanFrame, wires: WireSpans) -> tuple[Array, Array]:
    """Both ends of wires in the frame of their span [m], or where their strain strings hold on."""
    chord = frame.end - frame.start
    ahead = chord / np.linalg.norm(chord, axis=1, keepdims=True)
    first, last = wires.strain_start[:, None], wires.strain_end[:, None]
    return (np.where(first > 0, frame.start - first * ahead, frame.start),
            np.where(last > 0, frame.end + last * ahead, frame.end))


def _at_nodes(wires: WireSpans, row: Integers, count: Integers) -> tuple[Array, ...]:
    """What holds each node, (run, node), else 0: length of a suspension and of a strain string, mass, stiffness
    (0: held) and area in the wind."""
    node = np.arange(row.shape[1] + 1)
    inner = (node > 0) & (node < count[:, None])
    dead = (node == 0) | (node == count[:, None])

    def spread(start: Array, end: Array, where: Booleans) -> Array:
        ahead, behind = np.pad(start[row], ((0, 0), (0, 1))), np.pad(end[row], ((0, 0), (1, 0)))
        return np.where(where, np.where(node == 0, ahead, behind), 0.0)

    string = spread(wires.string_start, wires.string_end, inner)
    strain = spread(wires.strain_start, wires.strain_end, dead)
    first, last = (np.where(np.isfinite(k), k, 0.0) for k in (wires.stiffness_start, wires.stiffness_end))
    hangs = inner | (strain > 0)
    return (string, strain, spread(wires.mass_start, wires.mass_end, hangs), spread(first, last, inner),
            spread(wires.area_start, wires.area_end, hangs))


def right_of(azimuth: Array) -> Array:
    """Unit vectors to the right of wire runs at their nodes, halving the turn, (run, node, 3)."""
    both = np.stack([np.cos(azimuth), -np.sin(azimuth), np.zeros_like(azimuth)], axis=-1)
    right = np.concatenate([both[:, :1], both[:, :-1] + both[:, 1:], both[:, -1:]], axis=1)
    return right / np.linalg.norm(right, axis=-1, keepdims=True)


def turned(point: Array, azimuth: Array, corner: Array, sense: int) -> Array:
    """Span-frame points as points about the wire run's first structure (sense 1), or back again (-1)."""
    sin, cos = np.sin(azimuth), np.cos(azimuth)
    if sense == 1:
        along, right = point[..., 0], point[..., 1]
        east, north = along * sin + right * cos, along * cos - right * sin
        return np.stack([corner[..., 0] + east, corner[..., 1] + north, point[..., 2]], axis=-1)
    east, north = point[..., 0] - corner[..., 0], point[..., 1] - corner[..., 1]
    return np.stack([east * sin + north * cos, east * cos - north * sin, point[..., 2]], axis=-1)
