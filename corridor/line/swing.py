"""Where wires hang when the wind blows: strings that swing, and the plane of each wire that tilts."""

from dataclasses import dataclass

import numpy as np

from corridor.arrays import Array, ArrayLike, Booleans, Integers
from corridor.constants import GRAVITY
from corridor.geometry.catenary import low_point
from corridor.line.build import Route, Spans, WireSpans
from corridor.line.facts import Structures

__all__ = ["SpanFrame", "from_grid", "hung_ends", "span_frame", "string_swing", "to_grid"]


@dataclass(frozen=True)
class SpanFrame:
    """Wire ends in the frame of their span: metres of ground along it, right of it, and up.

    `start`, `end` (wire span, 3); `arm_start`, `arm_end` (wire span, 2): the crossarm's direction to the
    right, in the same frame [-].
    """

    start: Array
    end: Array
    arm_start: Array
    arm_end: Array


def span_frame(structures: Structures, route: Route, spans: Spans, wires: WireSpans) -> SpanFrame:
    """Return the wire ends in the frame of their span, whose axis joins the structure centres."""
    tail = spans.tail[wires.span]
    origin = np.stack([structures.easting[tail], structures.northing[tail]], axis=-1)
    azimuth = np.radians(spans.azimuth[wires.span])
    factor = spans.ground_factor[wires.span]

    def local(point: Array) -> Array:
        east, north = ((point[:, :2] - origin) * factor[:, None]).T
        return np.stack([east * np.sin(azimuth) + north * np.cos(azimuth),
                         east * np.cos(azimuth) - north * np.sin(azimuth), point[:, 2]], axis=-1)

    def arm(structure: Integers) -> Array:
        turn = np.radians(route.crossarm[structure]) - azimuth
        return np.stack([np.cos(turn), np.sin(turn)], axis=-1)

    return SpanFrame(local(wires.start), local(wires.end), arm(tail), arm(spans.head[wires.span]))


def to_grid(local: Array, structures: Structures, spans: Spans, span: Integers) -> Array:
    """Return span-frame points (row, ..., 3) as easting, northing, elevation; `span` (row,)."""
    tail = spans.tail[span]
    extra = (1,) * (local.ndim - 2)

    def shaped(column: ArrayLike) -> Array:
        return np.asarray(column, float).reshape(-1, *extra)

    azimuth, factor = shaped(np.radians(spans.azimuth[span])), shaped(spans.ground_factor[span])
    along, right = local[..., 0] / factor, local[..., 1] / factor
    return np.stack([
        shaped(structures.easting[tail]) + along * np.sin(azimuth) + right * np.cos(azimuth),
        shaped(structures.northing[tail]) + along * np.cos(azimuth) - right * np.sin(azimuth),
        local[..., 2],
    ], axis=-1)


def from_grid(grid: Array, structures: Structures, spans: Spans, span: Integers) -> Array:
    """Return points (row, ..., 3) of easting, northing, elevation in the frames of spans; `span` (row,)."""
    shape = (-1, *(1,) * (grid.ndim - 2))
    tail = spans.tail[span]
    e, n = (grid[..., i] - column[tail].reshape(shape) for i, column in enumerate((structures.easting,
                                                                                  structures.northing)))
    azimuth, factor = (np.asarray(v, float).reshape(shape) for v in (np.radians(spans.azimuth[span]),
                                                                    spans.ground_factor[span]))
    sin, cos = np.sin(azimuth), np.cos(azimuth)
    return np.stack([(e * sin + n * cos) * factor, (e * cos - n * sin) * factor, grid[..., 2]], axis=-1)


def string_swing(horizontal_tension: Array, weight: Array, wind: Array, wires: WireSpans, spans: Spans, row: Integers,
                 line_angle: Array) -> tuple[Array, Array]:
    """Return the swing of the string at both ends of every wire of sections [deg], positive to the right.

    `tan phi = (p S_wind + 2 H sin(theta/2)) / (V + W_i/2)` with the wind span, the turn of the line theta, the
    vertical load V of both spans' wires and half the string's weight. Wind on the string itself is left out.

    Parameters
    ----------
    horizontal_tension, weight, wind : ndarray, shape (section, span)
        H [N], w and signed p [N/m], positive to the right.
    wires : WireSpans
    spans : Spans
    row : ndarray of int, shape (section, span)
        Wire spans that follow each other, -1 beyond the last.
    line_angle : ndarray, shape (structure,)
        Turn of the line [deg], positive to the right.

    Returns
    -------
    start, end : ndarray, shape (section, span)
        0 where the wire is held, and at V-strings.

    References
    ----------
    USDA Rural Utilities Service, Bulletin 1724E-200, chapter 7 (recalled).
    """
    H, w, p, S = horizontal_tension, weight, wind, wires.length[row]
    C = H / w
    x0 = low_point(S, (wires.end[:, 2] - wires.start[:, 2])[row], C)
    at_start, at_end, half = H * np.sinh(x0 / C), H * np.sinh((S - x0) / C), p * S / 2

    def beyond(values: Array, step: int) -> Array:
        """What the span before (-1) or after (1) gives, 0 where there is none."""
        moved = np.roll(np.where(row >= 0, values, 0.0), -step, axis=1)
        moved[:, -1 if step > 0 else 0] = 0.0
        return moved

    def angle(structure: Integers, down: Array, across: Array, mass: Array, swings: Booleans) -> Array:
        across = across + 2 * H * np.sin(np.radians(line_angle[structure]) / 2)
        phi = np.degrees(np.clip(np.arctan2(across, down + mass[row] * GRAVITY / 2), -np.pi / 2, np.pi / 2))
        return np.where(swings[row], phi, 0.0)

    span = wires.span[row]
    return (angle(spans.tail[span], at_start + beyond(at_end, -1), half + beyond(half, -1), wires.mass_start,
                  (wires.string_start > 0) & (wires.vee_start == 0)),
            angle(spans.head[span], at_end + beyond(at_start, 1), half + beyond(half, 1), wires.mass_end,
                  (wires.string_end > 0) & (wires.vee_end == 0)))


def hung_ends(frame: SpanFrame, wires: WireSpans, row: Integers, start_angle: Array,
              end_angle: Array) -> tuple[Array, Array]:
    """Return both ends of wires [m] in the frames of their spans, after strings have swung by angles [deg]; the rows
    of wire spans and the angles are of one shape (...)."""
    return (_hung(frame.start[row], frame.arm_start[row], wires.string_start[row], start_angle),
            _hung(frame.end[row], frame.arm_end[row], wires.string_end[row], end_angle))


def _hung(point: Array, arm: Array, length: Array, angle: Array) -> Array:
    """Wire end after its string has swung: `l sin phi` along the crossarm and `l (1 - cos phi)` up."""
    phi = np.radians(angle)
    out = (length * np.sin(phi))[..., None]
    return point + np.concatenate([out * arm, (length * (1 - np.cos(phi)))[..., None]], axis=-1)
