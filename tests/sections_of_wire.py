"""One wire in level sections of one span each, strung and solved: what the tests of elongation share."""

import numpy as np

from corridor.line.facts import Case, Limit, Option, Wiring
from corridor.line.section_wires import WireGroups
from corridor.line.states import solve_states
from corridor.mechanics.stringing import limit_tensions, longest

__all__ = ["level_sections", "limit", "solved", "string_to_limits", "wiring"]


def level_sections(spans):
    """Groups of one level span [m] each."""
    S = np.atleast_1d(np.asarray(spans, float))
    count = np.arange(len(S))
    return WireGroups(count, np.array(["phase"] * len(S)), count, S, S[:, None], np.zeros((len(S), 1)))


def limit(kind, value, temperature=None, condition="final", case=None):
    """A stringing limit, at 10 °C unless a case or a temperature is given."""
    temperature = 10.0 if temperature is None and case is None else temperature
    return Limit(f"{kind} {value:g}", kind, value, temperature, case, condition)


def wiring(conductor, *limits, **facts):
    """A wire of 10 °C everyday, ten years old."""
    facts = {"everyday_temperature": 10.0, "stringing_temperature": 10.0, **facts}
    return Wiring(conductor, 100.0, None, limits, **facts)


def solved(spans, wirings, cases, sections=None):
    """Strung wires, (section, wiring, case); the first wiring is the existing one."""
    options = [Option(f"wire {i}", w, i == 0) for i, w in enumerate(wirings)]
    named = [case if isinstance(case, Case) else Case(f"{case:g} °C", float(case)) for case in cases]
    return solve_states(level_sections(spans), options, named, None, sections)


def string_to_limits(bounds, is_constant, spans, rises, span, weight, wind, temperature, part):
    """Unstressed length within every limit, and the limit that governs it; bounds [N], or [m] where `is_constant`."""
    H = limit_tensions(bounds, is_constant, spans, rises, weight, wind)
    return longest(H, np.isfinite(bounds), span, np.hypot(weight, wind), temperature, part)
