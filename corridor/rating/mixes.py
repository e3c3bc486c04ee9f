"""What mixes carry and lose: the least of what carries the current, the mean over the length of what is lost."""

from collections.abc import Mapping, Sequence

import numpy as np

from corridor.line.mixes import Mix
from corridor.rating.ladder import Ceiling, ceilings
from corridor.rating.limits import UNKNOWN

__all__ = ["energy_of_mixes", "limits_less_known", "line_ceilings", "with_mixed"]

#: What a mix has the least of all its options of, and the greatest; losses, reactance and drop are means.
_LEAST = ("continuous_current_a", "emergency_current_a", "short_time_current_a", "required_current_a",
          "rated_strength_n")
_GREATEST = ("temperature_at_required_current_c", "core_excess_k")
_MEAN = ("loss_at_required_current_w_per_m", "reactance_ohm_per_km", "voltage_drop_v_per_km", "mass_kg_per_m")
_WORDS = ("conductor", "conductor_source", "conductor_confidence", "reactance_note")


def with_mixed(columns: Mapping[str, list], mixes: Sequence[Mix], heat) -> dict[str, list]:
    """Return columns of options, one value each, with those of mixes after them.

    A mix carries the least that any of its options carries, at whose temperature the hottest of them is; it loses the
    mean over its length, at its own rating the losses of all of them at that current. What its options share it has,
    too; of all else nothing is told. The drop of voltage is the sum of those of the parts, which is no less than that
    of all of them.
    """
    names = list(columns["option"])
    whole = {name: list(values) for name, values in columns.items()}
    for mix in mixes:
        at = [names.index(part) for part in mix.parts]
        for name, values in columns.items():
            whole[name].append(_of_parts(name, [values[i] for i in at], mix))
        whole["option"][-1], whole["existing"][-1] = mix.name, False
        current = whole["continuous_current_a"][-1]
        whole["loss_at_continuous_w_per_m"][-1] = np.nan if np.isnan(current) else mix.weighted(
            {part: float(heat.loss_at(i, current)) for part, i in zip(mix.parts, at, strict=True)})
    return whole


def _of_parts(name, values, mix):
    if name in _LEAST or name in _GREATEST:
        return float((np.min if name in _LEAST else np.max)(np.array(values, float)))
    if name in _MEAN:
        return mix.weighted(dict(zip(mix.parts, map(float, values), strict=True)))
    if name in _WORDS:
        return "; ".join(dict.fromkeys(each for each in values if each)) or None
    nothing = None if values[0] is None or isinstance(values[0], str) else np.nan
    return values[0] if all(each == values[0] for each in values) else nothing


def line_ceilings(facts, plan) -> dict[tuple[str, str], Ceiling]:
    """Return what each option and mix carries on each line where there is no violation, (line, name) to Ceiling.

    Of a mix that of its option there that carries least. Of an emergency nothing is told, for no temperature is that
    of all of them; nor of anything where currents are not known.
    """
    spans, known = plan.spans, ceilings(facts.heat, plan.spans)
    found = dict(known)
    for mix in facts.mixes:
        at = mix.hangs[spans.section]
        for line in dict.fromkeys(spans.line):
            of = [known[line, name] for name in dict.fromkeys(at[spans.line == line])]
            found[line, mix.name] = of[0] if len(of) == 1 else Ceiling(np.nan, np.nan) if any(
                np.isnan(each.current) for each in of) else Ceiling(*min(of, key=lambda each: each.current)[:2])
    return found


def energy_of_mixes(energy: Sequence[float], names: Sequence[str], mixes: Sequence[Mix]) -> list[float]:
    """Return the energy that mixes lose in a year [MWh/km], of that of the options named."""
    by_name = dict(zip(names, energy, strict=True))
    return [mix.weighted(by_name) for mix in mixes]


def limits_less_known(limits: Mapping[str, np.ndarray], lost: set[tuple]) -> dict[str, np.ndarray]:
    """Return rows of `limits` of which those of some (line, span, option) are not known."""
    at = np.array([key in lost for key in zip(limits["line"], limits["span"], limits["option"], strict=True)], bool)
    columns = dict(limits)
    for name in ("limit_temperature_c", "limit_current_a", "clearing_temperature_c", "emergency_limit_temperature_c",
                 "emergency_limit_current_a"):
        columns[name] = np.where(at, np.nan, limits[name])
    for name in ("governs", "emergency_governs"):
        # Where no emergency is looked at nothing is lost.
        columns[name] = np.where(at & (limits[name] != None), UNKNOWN, limits[name])  # noqa: E711
    return columns
