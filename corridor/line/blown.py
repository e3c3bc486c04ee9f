"""Wires in less wind than a case has: where they hang on the way from still to full swing."""

from copy import copy
from dataclasses import replace

import numpy as np

from corridor.line.hanging import hang_by_ruling_span, hang_exactly
from corridor.line.laws import take_law
from corridor.line.swing import hung_curves
from corridor.mechanics import ruling_span as ruling

__all__ = ["PARTLY", "hang_at_share", "hang_rows", "pressure_share", "swing_curves"]

#: Why a wire that hangs in the full wind is not assessed.
PARTLY = "no equilibrium of the section found in part of the wind"

#: Tilt of a wire's plane in the full wind for which shares of the swing are even steps of the angle [rad].
_TILT = np.radians(35)


def pressure_share(swing):
    """Return the share of the wind's pressure at a share of the full swing [-].

    `s = tan(f phi)/tan phi`, since `tan phi = p/w` whatever the tension; phi is 35 degrees for every wire, so that all
    of them are blown by the same wind.

    Parameters
    ----------
    swing : array_like
        f, -1 to 1; below 0 the wind blows to the other side.

    Examples
    --------
    >>> pressure_share([-1.0, 0.0, 0.5]).round(3).tolist()
    [-1.0, 0.0, 0.45]
    """
    return np.tan(np.multiply(swing, _TILT)) / np.tan(_TILT)


def hang_at_share(scene, cases, swing):
    """Return the wires of some windy cases at a share of their swing, blown to either side.

    The temperature and the ice stay those of the case; each section is solved in that wind, or by the ruling span
    where the scene hangs its wires so.

    Parameters
    ----------
    scene : Scene
    cases : ndarray of int
        Cases with wind.
    swing : float
        0 to 1.

    Returns
    -------
    Hung
        Its case axis stands for `cases`.
    """
    share = float(pressure_share(swing))
    strung = _in_wind(scene.strung, scene.groups.span, cases, share)
    loads = scene.hung.weight[:, :, cases], scene.hung.wind[:, :, cases] * share
    roughly = hang_by_ruling_span(scene.plumb, scene.wires, scene.spans, scene.route.line_angle, strung, scene.group,
                                  loads)
    if scene.model is None:
        return roughly
    model = copy(scene.model)
    model.strung = strung
    return hang_exactly(model, roughly, np.array([scene.cases[k].wind for k in cases]) * share)


def _in_wind(strung, span, cases, share):
    """The strung sections in some cases with part of the wind."""
    some = np.s_[:, :, cases]
    part, w, p, T = take_law(strung.part, some), strung.weight[some], strung.wind[some], strung.temperature[some]
    found = ruling.tension(strung.excess[..., None], span[:, None, None], np.hypot(w, p * share), T, part)
    H = np.where(np.isnan(strung.horizontal_tension[some]), np.nan, found.horizontal_tension)
    return replace(strung, weight=w, wind=p * share, temperature=T, part=part, horizontal_tension=H,
                   residual=found.residual)


def swing_curves(scene, cases, steps=8):
    """Return wires from still air to full swing, as curves.

    Parameters
    ----------
    scene : Scene
    cases : ndarray of int
        Cases without wind hang the same all the way.
    steps : int
        Even steps of the swing.

    Returns
    -------
    curves : Swung
        Two sides for still air, two for each step, and last those of the full swing.
    unsolved : ndarray of bool, shape (wire span, option, case)
        Wires that hang in the full wind, and in part of it find no equilibrium.
    """
    full = hung_curves(scene.hung, cases)
    windy = np.array([scene.cases[k].wind > 0 for k in cases])
    way = []
    for step in range(steps if windy.any() else 0):
        partly = full.points.copy()
        hung = hang_at_share(scene, cases[windy], step / steps)
        partly[:, :, windy] = hung_curves(hung, np.arange(windy.sum())).points
        way.append(partly)
    points = np.concatenate([*way, full.points], axis=3)
    known = np.isfinite(points).all(axis=(-1, -2))
    tilt = np.full(known.shape, np.nan)
    unsolved = known[..., -2:].all(axis=-1) & ~known.all(axis=-1)
    return replace(full, points=points, plane=tilt, string_start=tilt, string_end=tilt), unsolved


def hang_rows(scene, wire, option, case, swing):
    """Return wires each at a swing of its own, in exact equilibrium.

    Parameters
    ----------
    scene : Scene
        With a model.
    wire, option, case : ndarray of int, shape (row,)
    swing : ndarray, shape (row,)
        Signed, positive to the right.

    Returns
    -------
    horizontal_tension : ndarray, shape (row,)
        [N]
    start, end : ndarray, shape (row, 3)
        In the frame of the span [m].
    wind : ndarray, shape (row,)
        [N/m], signed.
    """
    share, at = pressure_share(swing), (scene.group[wire], option, case)
    chain, place = scene.model.place_of(wire)
    every = scene.model.chains.row[chain], option[:, None], case[:, None]
    p, w = scene.hung.wind[every] * share[:, None], scene.hung.weight[every]
    blows = np.array([each.wind for each in scene.cases])[case] * share
    H, start, end, *_ = scene.model.solve(chain, option, w, p, scene.strung.temperature[at],
                                          take_law(scene.strung.part, at), pressure=blows)
    row = np.arange(len(wire))
    return H[row, place], start[row, place], end[row, place], p[row, place]
