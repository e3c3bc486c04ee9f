"""The knee of a wire whose core may expand at two rates."""

import numpy as np

from corridor.arrays import Array, ArrayLike, Number
from corridor.mechanics import ruling_span
from corridor.mechanics.elongation import REFERENCE_TEMPERATURE, Curved, Law, TwoPart

__all__ = ["knee_temperature"]


def knee_temperature(excess: ArrayLike, span: Number, load: Number, part: Law) -> Array:
    """Return the temperature at which the outer part goes slack and the core alone carries [°C].

    As `ruling_span.knee_temperature`, for either law. At the knee both parts are on their straight lines, unloaded as
    far as they ever are. Past the bend of a core's expansion, `a_c (T - T_ref) + s_c` is
    `a_above (T - T_ref) + s_c + (a_c - a_above)(T_bend - T_ref)`: the same law with another expansion and set.
    """
    line = TwoPart(*part[:7])
    knee = ruling_span.knee_temperature(excess, span, load, line)
    if not isinstance(part, Curved) or not np.any(knee > part.core_bend):
        return knee
    with np.errstate(invalid="ignore"):
        shift = (part.core_expansion - part.core_expansion_above) * (part.core_bend - REFERENCE_TEMPERATURE)
    shift = np.where(np.isfinite(part.core_bend), shift, 0.0)
    above = line._replace(core_expansion=part.core_expansion_above, core_set=part.core_set + shift)
    return np.where(knee > part.core_bend, ruling_span.knee_temperature(excess, span, load, above), knee)
