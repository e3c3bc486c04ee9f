"""What is known of each wiring of a study, as arrays made once."""

from collections.abc import Sequence

import numpy as np

from corridor.arrays import Array
from corridor.constants import GRAVITY
from corridor.line.case_loads import case_loads
from corridor.line.elongation_laws import at_end, law_rows
from corridor.line.facts import Case, Wiring

__all__ = ["WiringTable"]

_COLUMNS = ("diameter", "mass", "rts", "permanent_set", "outer_area", "compression_low", "compression_high")
_WIRING = ("everyday_temperature", "stringing_temperature", "age", "pretension")


class WiringTable:
    """What is known of each wiring, as arrays (wiring,), (wiring, case) and (wiring, limit); nan where it is None.

    `named` (wiring, case) where the temperature is the maximum or that of an emergency.
    """

    def __init__(self, wirings: Sequence[Wiring | None], cases: Sequence[Case]) -> None:
        self.wirings = wirings
        self.law, self.creep, self.method = law_rows(wirings)
        self.estimated = np.array([w is not None and bool(w.conductor.curves_band) for w in wirings])
        self.ends = [law_rows([at_end(w, end) for w in wirings])[:2] for end in (0, 1) if self.estimated.any()]
        self.columns = {name: _column([w and w.conductor for w in wirings], name) for name in _COLUMNS}
        self.columns |= {name: _column(wirings, name) for name in _WIRING}
        # The first wiring is that of shield wires, which may be in another state.
        own = [[case.of("phase" if i else "shield") for case in cases] for i in range(len(wirings))]
        self.temperature = np.array([[_case_temperature(w, case) for case in row]
                                     for w, row in zip(wirings, own, strict=True)])
        self.named = np.array([[isinstance(case.temperature, str) for case in row] for row in own])
        self.seen = np.array([[w is not None and w.has_seen(case) for case in row]
                              for w, row in zip(wirings, own, strict=True)])
        self.doubtful = np.array([w is not None and w.loads_seen is None for w in wirings])
        self.initial_case = np.array([case.condition == "initial" for case in cases])
        self.bare_weight = self.columns["mass"] * GRAVITY
        loads = [case_loads(*of, tension=True)
                 for of in zip(self.columns["diameter"], self.columns["mass"], own, strict=True)]
        self.weight, self.wind = (np.stack(each) for each in zip(*loads, strict=True))
        self._limits({case.name: index for index, case in enumerate(cases)})

    def _limits(self, by_name: dict[str | None, int]) -> None:
        """Arrays (wiring, limit): kind, bound, state and condition of every limit."""
        shape = len(self.wirings), max(len(w.stringing) for w in self.wirings if w is not None)
        self.limit_case = np.full(shape, -1)
        self.kind, self.text = np.full(shape, "", object), np.full((shape[0], shape[1] + 1), None, object)
        self.value, self.limit_temperature = np.full(shape, np.nan), np.full(shape, np.nan)
        self.limit_weight, self.limit_wind = np.ones(shape), np.zeros(shape)
        self.limit_initial = np.zeros(shape, bool)
        for i, wiring in enumerate(self.wirings):
            for j, limit in enumerate(wiring.stringing if wiring else ()):
                at, k = (i, j), by_name.get(limit.case)
                self.limit_case[at] = -1 if k is None else k
                self.kind[at], self.text[at] = limit.kind, limit.text
                self.limit_initial[at] = limit.condition == "initial"
                self.value[at] = limit.value * (self.columns["rts"][i] if limit.kind == "share" else 1.0)
                self.limit_temperature[at] = limit.temperature if k is None else self.temperature[i, k]
                self.limit_weight[at] = self.bare_weight[i] if k is None else self.weight[i, k]
                self.limit_wind[at] = 0.0 if k is None else self.wind[i, k]


def _column(rows: Sequence[object], name: str) -> Array:
    return np.array([np.nan if row is None else float(getattr(row, name)) for row in rows])


def _case_temperature(wiring: Wiring | None, case: Case) -> float:
    if wiring is None:
        return np.nan
    named: dict[float | str, float | None] = {"maximum": wiring.maximum_temperature,
                                              "emergency": wiring.emergency_temperature}
    value = named.get(case.temperature, case.temperature)
    return np.nan if value is None else float(value)
