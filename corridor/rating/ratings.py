"""What each option carries: current at its temperatures, temperature and loss at the required current.

Currents are per phase, all subconductors together. Where an effective radial conductivity is given, every temperature
here is that of the core, which sag follows; the surface, which sheds the heat, is then the cooler one.
"""

from dataclasses import dataclass, field, replace

import numpy as np

from corridor.rating.resistances import COLDEST, computed, refuse_steel, tabulated
from corridor.thermal import sun
from corridor.thermal.air import acute_angle
from corridor.thermal.balance import root
from corridor.thermal.radial import RADIAL_CONDUCTIVITY, core_excess
from corridor.thermal.rating import MELTING, Weather, Wire, current_at, emergency_current, loss, temperature_at

__all__ = ["Ratings", "Sky", "ratings_from", "strongest_sun", "wire_of"]


def strongest_sun(latitude, day, hour, atmosphere, elevation):
    """Return the irradiance on a wire that lies across the sun's rays [W/m²]: the most any bearing gets."""
    return float(sun.received(latitude=latitude, day=day, hour=hour, elevation=elevation, atmosphere=atmosphere,
                              line_azimuth=sun.azimuth(latitude, day, hour) + 90))


@dataclass(frozen=True)
class Sky:
    """Where wind and sun come from, so that each bearing of wire gets its own; None where that is not known.

    `wind_direction` [deg]; `latitude` [deg]; `day` of the year; `hour`, solar time; `atmosphere` a key of
    `corridor.thermal.sun.ATMOSPHERES`. Bearings are taken from grid north, these from true north.
    """

    wind_direction: float | None = None
    latitude: float | None = None
    day: int | None = None
    hour: float | None = None
    atmosphere: str = "clear"

    @property
    def matters(self):
        """Whether the weather depends on the bearing."""
        return self.wind_direction is not None or self.latitude is not None

    def over(self, weather, azimuth):
        """Return the weather about wires of some bearings [deg]."""
        if self.wind_direction is not None:
            weather = replace(weather, wind_angle=acute_angle(self.wind_direction - azimuth))
        if self.latitude is not None:
            S = sun.received(latitude=self.latitude, day=self.day, hour=self.hour, line_azimuth=azimuth,
                             elevation=weather.elevation, atmosphere=self.atmosphere)
            weather = replace(weather, solar=S)
        return weather


def wire_of(conductor, frequency, resistance=None):
    """Return the Wire of a conductor; its `resistance` a function, by default computed for a frequency [Hz]."""
    strand = conductor.outer_wire_diameter
    return Wire(conductor.diameter, resistance or computed(conductor, frequency),
                strand if np.isfinite(strand) else None)


@dataclass(frozen=True)
class Ratings:
    """Ratings of all options in one weather; without `weather` every current is unknown (nan).

    `options` a tuple of Option, `method` a key of `corridor.thermal.rating.METHODS`, `frequency` [Hz],
    `required_current` [A] per phase or None; `bearings` of all spans [deg], over which an answer for the line is the
    worst; `radial_conductivity` [W/(m K)], None: the wire has one temperature; `emergency_duration` [s] and
    `pre_load` [A] per phase, None: no emergency of limited time; `tables` resistance functions by conductor.
    """

    options: tuple
    method: str | None
    weather: Weather | None
    frequency: float
    required_current: float | None
    sky: Sky = Sky()
    bearings: np.ndarray = field(default_factory=lambda: np.zeros(1))
    radial_conductivity: float | None = None
    emergency_duration: float | None = None
    pre_load: float | None = None
    tables: dict = field(default_factory=dict)

    def __post_init__(self):
        conductors = [option.wiring.conductor for option in self.options]
        if self.weather is not None:
            for c in conductors:
                refuse_steel(c, self.tables)
        wires = [wire_of(c, self.frequency, self.tables.get(c.name)) for c in conductors]
        object.__setattr__(self, "wires", tuple(wires))

    def current_at(self, option, temperature, azimuth=None):
        """Return the continuous current per phase [A] of an option (index) at temperatures, nan at nan.

        Parameters
        ----------
        option : int
        temperature : array_like
            [°C]
        azimuth : array_like, optional
            Bearings of the wires [deg]; default: the minimum current over those of the line.
        """
        T = np.asarray(temperature, float)
        if self.weather is None:
            return np.full(T.shape, np.nan)
        if azimuth is None:
            return self._current(option, T[..., None], self.weather_at(self.bearings)).min(axis=-1)
        return self._current(option, T, self.weather_at(azimuth))

    def temperature_at(self, option, current, azimuth=None):
        """Return the temperature [°C] of an option (index) at a current per phase; the highest over all bearings.

        inf where the wire would melt.
        """
        I = np.asarray(current, float)  # noqa: E741
        if azimuth is None:
            return self._temperature(option, I[..., None], self.weather_at(self.bearings)).max(axis=-1)
        return self._temperature(option, I, self.weather_at(azimuth))

    def weather_at(self, azimuth):
        """Return the weather about wires of some bearings [deg]."""
        return self.sky.over(self.weather, np.asarray(azimuth, float)) if self.sky.matters else self.weather

    def excess(self, option, surface, current, conductivity=None):
        """Return how much hotter than its surface [°C] the core of an option is, at a current per phase [K]."""
        wiring, k = self.options[option].wiring, conductivity or self.radial_conductivity
        if k is None:
            return 0.0 * np.asarray(current, float)
        c, I = wiring.conductor, current / wiring.bundle  # noqa: E741
        P = I**2 * self.wires[option].resistance(np.minimum(surface, MELTING), I)
        return core_excess(P, c.diameter, np.nan_to_num(c.core_diameter), k)

    def loss_at(self, option, current):
        """Return the loss of three phases [kW/km], each current per phase at its own temperature; inf: it melts."""
        wiring, I = self.options[option].wiring, np.asarray(current, float)  # noqa: E741
        T = replace(self, radial_conductivity=None).temperature_at(option, I)
        return loss(I / wiring.bundle, T, self.wires[option].resistance, 3 * wiring.bundle)

    def short_time_current(self, option, temperature=None, azimuth=None):
        """Return the current per phase [A] that brings an option to its emergency temperature when the duration ends.

        nan where the study gives no duration, pre-load or emergency temperature. Of a `temperature` [°C] and bearings
        `azimuth` [deg] of one's own there is one for each; else the least of the line.
        """
        wiring, t = self.options[option].wiring, self.emergency_duration
        T = wiring.emergency_temperature if temperature is None else temperature
        if self.weather is None or t is None or T is None:
            return np.nan
        c, n = wiring.conductor, wiring.bundle
        # A core of unknown heat capacity counts as none: the wire then heats sooner.
        mc = c.outer_heat + np.nan_to_num(c.core_heat)
        bearings = self.bearings if azimuth is None else np.asarray(azimuth, float)
        weather, wire = self.weather_at(bearings), self.wires[option]
        current, surface = np.inf, T - 0.0 * bearings
        for _ in range(12):  # the excess is a small share of the rise: every round adds a digit
            before, current = current, n * emergency_current(self.method, surface, t, weather, wire, heat_capacity=mc,
                                                             pre_load=self.pre_load / n)
            if self.radial_conductivity is None or np.all(np.abs(current - before) < 0.5):
                break
            surface = T - self.excess(option, surface, current)
        return np.min(current, axis=-1) if azimuth is None else current

    def _current(self, option, T, weather):
        """Per phase [A], at temperatures of the core."""
        wire, n = self.wires[option], self.options[option].wiring.bundle

        def current(surface):
            # No current flows in a wire colder than the air, however cold.
            return n * current_at(self.method, np.maximum(surface, COLDEST), weather, wire)

        at_surface = current(T)
        if self.radial_conductivity is None:
            return at_surface
        high = T + 0 * at_surface
        low = high - self.excess(option, high, at_surface)
        return current(root(lambda s: s + self.excess(option, s, current(s)) - T, low, high, tolerance=1e-6))

    def _temperature(self, option, current, weather):
        n = self.options[option].wiring.bundle
        T = temperature_at(self.method, current / n, weather, self.wires[option])
        return T + self.excess(option, T, current)

    def option_columns(self):
        """Return the columns of the layer `options` that tell of current and loss, one value per option."""
        rows = [self._row(index, option.wiring) for index, option in enumerate(self.options)]
        return {name: [row[name] for row in rows] for name in rows[0]}

    def _row(self, option, wiring):
        emergency = np.nan if wiring.emergency_temperature is None else wiring.emergency_temperature
        continuous, limited = self.current_at(option, [wiring.maximum_temperature, emergency])
        required = np.nan if self.required_current is None else self.required_current
        known = self.weather is not None
        T = self.temperature_at(option, required) if known else np.nan
        k = self.radial_conductivity or RADIAL_CONDUCTIVITY
        return {"continuous_current_a": continuous, "emergency_current_a": limited,
                "short_time_current_a": float(self.short_time_current(option)), "required_current_a": required,
                "temperature_at_required_current_c": _finite(T),
                "loss_at_required_current_w_per_m": _finite(self.loss_at(option, required)) if known else np.nan,
                "loss_at_continuous_w_per_m": _finite(self.loss_at(option, continuous)) if known else np.nan,
                "core_excess_k": float(self.excess(option, wiring.maximum_temperature, continuous, k))}


def _finite(value):
    """What a table takes: a wire that would melt has no steady temperature, and no steady loss."""
    return float(value) if np.isfinite(value) else np.nan


def ratings_from(section, options, frequency, elevation, azimuth):
    """Return the ratings that the table [rating] of a study asks for.

    Parameters
    ----------
    section : Rating or None
        Of the study.
    options : tuple of Option
    frequency : float
        [Hz]
    elevation : float
        Above sea level [m], unless the section gives one.
    azimuth : ndarray, shape (span,)
        Bearings of the spans [deg].

    Raises
    ------
    InputError
        Resistances that make no table.
    """
    s = section
    if s is None:
        return Ratings(options, None, None, frequency, None)
    height = s.elevation if s.elevation is not None else float(elevation)
    solar = strongest_sun(s.latitude, s.day, s.hour, s.atmosphere, height) if s.solar is None else s.solar
    weather = Weather(ambient=s.ambient, wind_speed=s.wind_speed, wind_angle=s.wind_angle, emissivity=s.emissivity,
                      absorptivity=s.absorptivity, solar=solar, elevation=height)
    sky = Sky(s.wind_direction, s.latitude, s.day, s.hour, s.atmosphere)
    # Bearings a thousandth of a degree apart are one: the spans between two angles of the line.
    bearings = np.unique(np.round(azimuth, 3)) if sky.matters and len(azimuth) else np.zeros(1)
    return Ratings(options, s.method, weather, frequency, s.required_current, sky=sky, bearings=bearings,
                   radial_conductivity=s.radial_conductivity, emergency_duration=s.emergency_duration,
                   pre_load=s.pre_load, tables=_tables(s.resistances))


def _tables(rows):
    tables = {}
    for row in rows:
        tables.setdefault(row.conductor, []).append((row.temperature, row.resistance))
    return {name: tabulated(*zip(*points, strict=True), where=f"rating.resistances ({name})")
            for name, points in tables.items()}
