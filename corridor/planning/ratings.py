"""What each option carries: current at its temperatures, temperature and loss at the required current."""

from dataclasses import dataclass
from functools import partial

import numpy as np

from corridor.thermal import sun
from corridor.thermal.rating import Weather, current_at, temperature_at
from corridor.thermal.resistance import ac_resistance

__all__ = ["Ratings", "strongest_sun"]

#: Cores in which a field along them rises and falls with the current, by a word of their material.
_MAGNETIC = ("steel", "invar")


def strongest_sun(latitude, day, hour, atmosphere, elevation):
    """Return the irradiance on a wire that lies across the sun's rays [W/m2]: the most any bearing gets."""
    return float(sun.received(latitude=latitude, day=day, hour=hour, elevation=elevation, atmosphere=atmosphere,
                              line_azimuth=sun.azimuth(latitude, day, hour) + 90))


@dataclass(frozen=True)
class Ratings:
    """Ratings of all options in one weather; without `weather` every current is unknown (nan).

    `options` a tuple of Option, `method` a key of `corridor.thermal.rating.METHODS`, `frequency` [Hz],
    `required_current` [A] per phase or None.
    """

    options: tuple
    method: str | None
    weather: Weather | None
    frequency: float
    required_current: float | None

    def current_at(self, option, temperature):
        """Return the continuous current per phase of an option (index) at temperatures [A], nan at nan."""
        T = np.asarray(temperature, float)
        current = np.full(T.shape, np.nan)
        known = np.isfinite(T)
        if self.weather is None or not known.any():
            return current
        wiring = self.options[option].wiring
        # No current flows in a wire colder than the air, however cold: keep clear of absolute zero.
        warm = np.maximum(T[known], -200.0)
        current[known] = wiring.bundle * current_at(self.method, warm, self.weather, **self._wire(wiring))
        return current

    def temperature_at(self, option, current):
        """Return the temperature of an option (index) at a current per phase [degC]."""
        wiring = self.options[option].wiring
        return temperature_at(self.method, current / wiring.bundle, self.weather, **self._wire(wiring))

    def _wire(self, wiring):
        c = wiring.conductor
        ratio = np.nan_to_num(c.core_diameter) / c.diameter
        magnetic = any(word in c.core_material for word in _MAGNETIC)
        layers = int(np.nan_to_num(c.outer_layers)) if magnetic else 0
        resistance = partial(ac_resistance, resistance_20=c.resistance_20, frequency=self.frequency, core_ratio=ratio,
                             temperature_coefficient=c.temperature_coefficient, layers=layers, outer_area=c.outer_area)
        strand = c.outer_wire_diameter
        return {"diameter": c.diameter, "resistance": resistance,
                "outer_wire_diameter": strand if np.isfinite(strand) else None}

    def option_columns(self):
        """Return the columns of the layer `options` that tell of current and loss, one value per option."""
        names = ("continuous_current_a", "emergency_current_a", "required_current_a",
                 "temperature_at_required_current_c", "loss_at_required_kw_per_km")
        rows = [self._row(index, option.wiring) for index, option in enumerate(self.options)]
        return dict(zip(names, map(list, zip(*rows, strict=True)), strict=True))

    def _row(self, index, wiring):
        emergency = np.nan if wiring.emergency_temperature is None else wiring.emergency_temperature
        currents = self.current_at(index, [wiring.maximum_temperature, emergency])
        required = np.nan if self.required_current is None else self.required_current
        if self.weather is None or self.required_current is None:
            return *currents, required, np.nan, np.nan
        T = float(self.temperature_at(index, required))
        I = required / wiring.bundle  # noqa: E741
        R = self._wire(wiring)["resistance"](T, I)
        # A wire that would melt has no steady loss.
        loss = 3 * wiring.bundle * I**2 * R if np.isfinite(T) else np.nan
        return *currents, required, T if np.isfinite(T) else np.nan, loss
