"""Rating tables over air and wind, losses over a year, and what the options differ by."""

from dataclasses import replace

import numpy as np

from corridor.thermal.rating import METHODS

__all__ = ["STATES", "comparison", "energy", "rating_table"]

#: States in which a current is told, and which temperature of an option belongs to each.
STATES = {"normal": "maximum_temperature", "emergency": "emergency_temperature"}


def rating_table(ratings, ambients, winds):
    """Return the currents of every option over air and wind, by both methods, as columns.

    Sun and angle of the wind are those of the study; where they depend on the bearing, the minimum current of the line.

    Parameters
    ----------
    ratings : Ratings
        With a weather.
    ambients, winds : sequence of float
        [°C] and [m/s].

    Returns
    -------
    dict of ndarray
        option, method, state ("normal", "emergency", and "short time" where the study has such an emergency),
        ambient_c, wind_m_s, temperature_c, current_a; nan where an option has no emergency temperature; clearance,
        which says that it is left out: currents are those of the wire alone.
    """
    Ta, V = (grid.ravel() for grid in np.meshgrid(ambients, winds, indexing="ij"))
    parts = []
    for method in METHODS:
        here = replace(ratings, method=method, weather=replace(ratings.weather, ambient=Ta[:, None],
                                                               wind_speed=V[:, None]))
        for index, option in enumerate(ratings.options):
            for state, T, current in _states(here, index):
                parts.append({"option": option.name, "method": method, "state": state, "ambient_c": Ta, "wind_m_s": V,
                              "temperature_c": T, "current_a": current, "clearance": "left out: of the wire alone"})
    return _stack(parts, len(Ta))


def _states(ratings, option):
    """Yield state, temperature [°C] and current [A] (weather,) of an option."""
    wiring = ratings.options[option].wiring
    for state, key in STATES.items():
        T = getattr(wiring, key)
        if T is not None:
            yield state, T, ratings.current_at(option, np.full(ratings.weather.ambient.size, T))
    if ratings.emergency_duration is not None and wiring.emergency_temperature is not None:
        yield "short time", wiring.emergency_temperature, ratings.short_time_current(option)


def _stack(parts, count):
    names = parts[0]
    return {name: np.concatenate([np.broadcast_to(np.asarray(part[name], object if isinstance(part[name], str)
                                                             else float), count) for part in parts])
            for name in names}


def comparison(ratings, loads=()):
    """Return one row per option and method: currents, temperatures, losses and energy, as columns.

    Losses are those of three phases, each current at the temperature that it makes. They are compared twice, and the
    two say different things: at the required current, the same for all, a larger conductor loses less; at its own
    rating, a hotter one carries more and loses far more.

    Parameters
    ----------
    ratings : Ratings
    loads : sequence of (current [A], duration [s])
        Load-duration curve; the rest of the year carries nothing.

    Returns
    -------
    dict of ndarray
        `_change_percent` columns are relative to the existing option by the same method, nan where there is none.
    """
    rows = []
    for method in METHODS:
        here = replace(ratings, method=method)
        columns = here.option_columns()
        each = [{name: values[i] for name, values in columns.items()} for i in range(len(ratings.options))]
        for i, option in enumerate(ratings.options):
            each[i] = {"option": option.name, "method": method} | each[i] | {
                "energy_mwh_per_km_year": energy(here, i, loads) if len(loads) else np.nan}
        existing = next((each[i] for i, option in enumerate(ratings.options) if option.existing), None)
        rows += [row | _changes(row, existing) for row in each]
    return {name: np.array([row[name] for row in rows], object if isinstance(rows[0][name], str) else float)
            for name in rows[0]}


#: What is compared with the existing option.
_COMPARED = ("continuous_current_a", "loss_at_required_current_w_per_m", "loss_at_continuous_w_per_m",
             "energy_mwh_per_km_year")


def _changes(row, existing):
    """Changes against the existing option [%]."""
    def change(name):
        base = np.nan if existing is None else existing[name]
        return 100 * (row[name] / base - 1) if base else np.nan

    return {f"{name.rsplit('_w_per', 1)[0].rsplit('_mwh', 1)[0].removesuffix('_a')}_change_percent": change(name)
            for name in _COMPARED}


def energy(ratings, option, loads):
    """Return the energy lost over a load-duration curve [MWh/km], every step at its own temperature.

    Parameters
    ----------
    ratings : Ratings
    option : int
    loads : sequence of (current [A], duration [s])

    Returns
    -------
    float
        nan where a step would melt the wire.
    """
    current, duration = np.transpose(np.asarray(loads, float))
    lost = float(np.sum(ratings.loss_at(option, current) * duration) / 3600 / 1000)
    return lost if np.isfinite(lost) else np.nan
