"""Every section of wire in every option and case: strung to its limits, then loaded, in one batch."""

from dataclasses import dataclass

import numpy as np

from corridor.constants import GRAVITY
from corridor.mechanics import ruling_span as ruling
from corridor.mechanics.elongation import TwoPart
from corridor.mechanics.loads import ice_weight, wind_force
from corridor.mechanics.stringing import string_to_limits

__all__ = ["Strung", "WireGroups", "group_wires", "solve_states"]


@dataclass(frozen=True)
class WireGroups:
    """The wires of one kind in one section, which share a horizontal tension; columns of shape (group,).

    `of_wire_span` (wire span,) tells each wire span's group; `span` is the ruling span [m]; `spans`, `rises`
    (group, wire span within it) [m], nan-filled.
    """

    section: np.ndarray
    kind: np.ndarray
    of_wire_span: np.ndarray
    span: np.ndarray
    spans: np.ndarray
    rises: np.ndarray

    def __len__(self):
        return len(self.section)


@dataclass(frozen=True)
class Strung:
    """The solved batch. Shapes: (group, option) or (group, option, case).

    `weight`, `wind` load per length [N/m]; `temperature` [degC]; `horizontal_tension` [N], nan where there is
    no answer; `residual` of strain; `excess` unstressed length over ruling span less one; `governing`
    index of the stringing limit and `limit_text` its words; `knee` [degC] bare, final; `rts` [N]; `final` the parts in the final condition.
    """

    weight: np.ndarray
    wind: np.ndarray
    temperature: np.ndarray
    horizontal_tension: np.ndarray
    residual: np.ndarray
    excess: np.ndarray
    governing: np.ndarray
    limit_text: np.ndarray
    knee: np.ndarray
    rts: np.ndarray
    bare_weight: np.ndarray
    final: TwoPart

    @property
    def constant(self):
        """Catenary constant H/|q| [m], shape (group, option, case)."""
        return self.horizontal_tension / np.hypot(self.weight, self.wind)


def group_wires(spans, wires):
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


def solve_states(groups, options, cases, shield):
    """Return every group in every option and case, strung to the limits of its wiring.

    Parameters
    ----------
    groups : WireGroups
    options : sequence of Option
    cases : sequence of Case
    shield : Wiring or None
        Of the shield wires, the same in every option; None leaves them without answer (nan).

    Returns
    -------
    Strung
    """
    wirings = [[shield if kind == "shield" else option.wiring for option in options] for kind in groups.kind]
    conductor = _conductor_columns(wirings)
    temperature = np.array([[[_case_temperature(w, case) for case in cases] for w in row] for row in wirings])
    weight, wind = _loads(conductor, cases)
    excess, governing = _string(groups, wirings, conductor, cases, temperature, weight, wind)
    initial = np.array([case.condition == "initial" for case in cases])
    part = _part(conductor, initial)
    solved = ruling.tension(excess[..., None], groups.span[:, None, None], np.hypot(weight, wind), temperature, part)
    bare = conductor["mass"] * GRAVITY
    final = TwoPart(*(p[..., 0] for p in _part(conductor, np.array([False]))))
    knee = ruling.knee_temperature(excess, groups.span[:, None], bare, final)
    text = np.array([[w.stringing[i].text if w is not None and i >= 0 else None for w, i in zip(*pair, strict=True)]
                     for pair in zip(wirings, governing, strict=True)], object)
    return Strung(weight, wind, temperature, solved.horizontal_tension, solved.residual, excess, governing, text,
                  knee, conductor["rts"], bare, final)


_COLUMNS = ("outer_area", "core_area", "outer_modulus", "core_modulus", "outer_expansion", "core_expansion",
            "permanent_set", "compression", "diameter", "mass", "rts")


def _conductor_columns(wirings):
    """Conductor properties as arrays (group, option); nan where there is no conductor."""
    return {name: np.array([[np.nan if w is None else float(getattr(w.conductor, name)) for w in row]
                            for row in wirings]) for name in _COLUMNS}


def _case_temperature(wiring, case):
    if wiring is None:
        return np.nan
    named = {"maximum": wiring.maximum_temperature, "emergency": wiring.emergency_temperature}
    value = named.get(case.temperature, case.temperature)
    return np.nan if value is None else float(value)


def _loads(conductor, cases):
    ice, density, pressure = (np.array([getattr(case, name) for case in cases])
                              for name in ("ice", "ice_density", "wind"))
    D = conductor["diameter"][..., None]
    weight = conductor["mass"][..., None] * GRAVITY + ice_weight(D, ice, density)
    return weight, wind_force(D, ice, pressure)


def _part(conductor, initial):
    """Parts of shape (group, option, state); `initial` (state,) or (group, option, state)."""
    c = {name: column[..., None] for name, column in conductor.items()}
    core = c["core_area"] * np.nan_to_num(c["core_modulus"])
    outer = c["outer_area"] * c["outer_modulus"]
    return TwoPart(outer, core, c["outer_expansion"], np.nan_to_num(c["core_expansion"]),
                   np.where(initial, 0.0, c["permanent_set"]), np.zeros_like(outer),
                   c["compression"] * c["outer_area"])


def _string(groups, wirings, conductor, cases, temperature, weight, wind):
    """Unstressed length and governing limit, shape (group, option)."""
    count = max(len(w.stringing) for row in wirings for w in row if w is not None)
    by_name = {case.name: index for index, case in enumerate(cases)}
    shape = (*conductor["mass"].shape, count)
    bound, T = np.full(shape, np.nan), np.full(shape, np.nan)
    w, p = np.ones(shape), np.zeros(shape)
    constant, initial = np.zeros(shape, bool), np.zeros(shape, bool)
    for g, row in enumerate(wirings):
        for o, wiring in enumerate(row):
            for j, limit in enumerate(wiring.stringing if wiring else ()):
                at = g, o, j
                scale = conductor["rts"][g, o] if limit.kind == "share" else 1.0
                bound[at], constant[at] = limit.value * scale, limit.kind == "constant"
                initial[at] = limit.condition == "initial"
                if limit.case is None:
                    T[at], w[at] = limit.temperature, conductor["mass"][g, o] * GRAVITY
                else:
                    k = by_name[limit.case]
                    T[at], w[at], p[at] = temperature[g, o, k], weight[g, o, k], wind[g, o, k]
    return string_to_limits(bound, constant, groups.spans[:, None, None], groups.rises[:, None, None],
                            groups.span[:, None, None], w, p, T, _part(conductor, initial))
