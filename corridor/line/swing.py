"""Where wires hang when the wind blows: strings that swing, and the plane of each wire that tilts."""

from dataclasses import dataclass

import numpy as np

from corridor.constants import GRAVITY
from corridor.geometry.catenary import low_point, plane_of, points

__all__ = ["SpanFrame", "Swung", "hung_curves", "hung_ends", "span_frame", "string_swing", "swing", "to_grid"]


@dataclass(frozen=True)
class SpanFrame:
    """Wire ends in the frame of their span: metres of ground along it, right of it, and up.

    `start`, `end` (wire span, 3); `arm_start`, `arm_end` (wire span, 2): the crossarm's direction to the
    right, in the same frame [-].
    """

    start: np.ndarray
    end: np.ndarray
    arm_start: np.ndarray
    arm_end: np.ndarray


@dataclass(frozen=True)
class Swung:
    """Wires in wind. Leading axes (wire span, option, case, side); side 0 blows to the right, 1 to the left.

    `points` (..., place, 3) in the span's frame [m]; `share` (place,); `plane` tilt of the wire's plane from
    plumb, positive to the right [deg]; `string_start`, `string_end` swing of the strings [deg].
    """

    points: np.ndarray
    share: np.ndarray
    plane: np.ndarray
    string_start: np.ndarray
    string_end: np.ndarray


def span_frame(structures, route, spans, wires):
    """Return the wire ends in the frame of their span, whose axis joins the structure centres."""
    tail = spans.tail[wires.span]
    origin = np.stack([structures.easting[tail], structures.northing[tail]], axis=-1)
    azimuth = np.radians(spans.azimuth[wires.span])
    factor = spans.ground_factor[wires.span]

    def local(point):
        east, north = ((point[:, :2] - origin) * factor[:, None]).T
        return np.stack([east * np.sin(azimuth) + north * np.cos(azimuth),
                         east * np.cos(azimuth) - north * np.sin(azimuth), point[:, 2]], axis=-1)

    def arm(structure):
        turn = np.radians(route.crossarm[structure]) - azimuth
        return np.stack([np.cos(turn), np.sin(turn)], axis=-1)

    return SpanFrame(local(wires.start), local(wires.end), arm(tail), arm(spans.head[wires.span]))


def to_grid(local, structures, spans, span):
    """Return span-frame points (row, ..., 3) as easting, northing, elevation; `span` (row,)."""
    tail = spans.tail[span]
    extra = (1,) * (local.ndim - 2)

    def shaped(column):
        return np.asarray(column, float).reshape(-1, *extra)

    azimuth, factor = shaped(np.radians(spans.azimuth[span])), shaped(spans.ground_factor[span])
    along, right = local[..., 0] / factor, local[..., 1] / factor
    return np.stack([
        shaped(structures.easting[tail]) + along * np.sin(azimuth) + right * np.cos(azimuth),
        shaped(structures.northing[tail]) + along * np.cos(azimuth) - right * np.sin(azimuth),
        local[..., 2],
    ], axis=-1)


def string_swing(horizontal_tension, weight, wind, wires, spans, line_angle):
    """Return the swing of the string at both ends of every wire span [deg], positive to the right.

    `tan phi = (p S_wind + 2 H sin(theta/2)) / (V + W_i/2)` with the wind span, the turn of the line theta, the
    vertical load V of both spans' wires and half the string's weight. Wind on the string itself is left out.

    Parameters
    ----------
    horizontal_tension, weight, wind : ndarray, shape (wire span, option, case, side)
        H [N], w and signed p [N/m], positive to the right.
    wires : WireSpans
    spans : Spans
    line_angle : ndarray, shape (structure,)
        Turn of the line [deg], positive to the right.

    Returns
    -------
    start, end : ndarray, shape (wire span, option, case, side)
        0 where the wire is held.

    References
    ----------
    USDA Rural Utilities Service, Bulletin 1724E-200, chapter 7 (recalled).
    """
    H, w, p = horizontal_tension, weight, wind
    shape = (-1, *(1,) * (H.ndim - 1))
    S = wires.length.reshape(shape)
    rise = (wires.end[:, 2] - wires.start[:, 2]).reshape(shape)
    C = H / w
    x0 = low_point(S, rise, C)
    at_start, at_end = H * np.sinh(x0 / C), H * np.sinh((S - x0) / C)
    before, after = _neighbours(wires, spans)
    turn = np.radians(line_angle).reshape(shape)

    def angle(structure, vertical, half_wind, other_vertical, other_wind, mass, string):
        across = half_wind + other_wind + 2 * H * np.sin(turn[structure] / 2)
        down = vertical + other_vertical + mass.reshape(shape) * GRAVITY / 2
        phi = np.degrees(np.clip(np.arctan2(across, down), -np.pi / 2, np.pi / 2))
        return np.where(string.reshape(shape) > 0, phi, 0.0)

    half = p * S / 2

    def other(values, index):
        return np.where((index >= 0).reshape(shape), values[index], 0.0)

    start = angle(spans.tail[wires.span], at_start, half, other(at_end, before), other(half, before),
                  wires.mass_start, wires.string_start)
    end = angle(spans.head[wires.span], at_end, half, other(at_start, after), other(half, after),
                wires.mass_end, wires.string_end)
    return start, end


def _neighbours(wires, spans):
    """Row of the same wire in the span before and after, -1 where there is none."""
    at = {(span, wire): row for row, (span, wire) in enumerate(zip(wires.span, wires.wire, strict=True))}

    def find(step):
        ok = (wires.span + step >= 0) & (wires.span + step < len(spans))
        line = spans.line[np.clip(wires.span + step, 0, len(spans) - 1)] == spans.line[wires.span]
        return np.array([at.get((span + step, wire), -1) if good else -1
                         for span, wire, good in zip(wires.span, wires.wire, ok & line, strict=True)])

    return find(-1), find(1)


def swing(frame, wires, spans, line_angle, horizontal_tension, weight, wind, *, places=33):
    """Return every wire in every windy state, blown to either side.

    Parameters
    ----------
    frame : SpanFrame
    wires : WireSpans
    spans : Spans
    line_angle : ndarray, shape (structure,)
    horizontal_tension, weight, wind : ndarray, shape (wire span, option, case)
        H [N]; w, p [N/m]. The wind blows normal to each span.
    places : int
        Points per wire, odd so that one lies at mid-span.

    Returns
    -------
    Swung
    """
    side = np.array([1.0, -1.0])
    H, w = (np.broadcast_to(v[..., None], (*v.shape, 2)) for v in (horizontal_tension, weight))
    p = wind[..., None] * side
    start_angle, end_angle = string_swing(H, w, p, wires, spans, line_angle)
    start, end = hung_ends(frame, wires, start_angle, end_angle)
    load = np.stack([np.zeros_like(p), p, -w], axis=-1)
    share = np.linspace(0, 1, places)
    plane = plane_of(start, end, load)
    curve = points(start, plane, H / plane.load, share)
    return Swung(curve, share, np.degrees(np.arctan2(p, w)), start_angle, end_angle)


def hung_curves(hung, cases, *, places=33):
    """Return wires where they hang in some cases, as curves.

    Parameters
    ----------
    hung : Hung
    cases : ndarray of int
    places : int
        Points per wire, odd so that one lies at mid-span.

    Returns
    -------
    Swung
        Axes (wire span, option, case, side).
    """
    share = np.linspace(0, 1, places)
    some = slice(None), slice(None), cases
    start, end, load = hung.start[some], hung.end[some], hung.vectors()[some]
    plane = plane_of(start, end, load)
    curve = points(start, plane, hung.constant[some], share)
    tilt = np.degrees(np.arctan2(load[..., 1], -load[..., 2]))
    return Swung(curve, share, tilt, np.full(tilt.shape, np.nan), np.full(tilt.shape, np.nan))


def hung_ends(frame, wires, start_angle, end_angle):
    """Return both ends of every wire [m] in the frame of its span, after strings have swung by angles [deg]."""
    return (_hung(frame.start, frame.arm_start, wires.string_start, start_angle),
            _hung(frame.end, frame.arm_end, wires.string_end, end_angle))


def _hung(point, arm, string, angle):
    """Wire end after its string has swung: `l sin phi` along the crossarm and `l (1 - cos phi)` up."""
    shape = (len(point), *(1,) * (angle.ndim - 1))
    phi, length = np.radians(angle), string.reshape(shape)
    out = length * np.sin(phi)
    arm = arm.reshape(*shape, 2)
    base = point.reshape(*shape, 3)
    return np.stack([base[..., 0] + out * arm[..., 0], base[..., 1] + out * arm[..., 1],
                     base[..., 2] + length * (1 - np.cos(phi))], axis=-1)
