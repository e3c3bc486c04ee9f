"""A year hour by hour: how hot each option gets, what it loses, and when a span would have been short of its rule.

Every hour is a steady state: the wire follows current and weather within minutes. A span is short when its wire is
hotter than the temperature at which it just clears in still air; wind that swings it is not looked at here.
"""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from typing import NamedTuple

import numpy as np

from corridor.arrays import join
from corridor.thermal.balance import net_cooling
from corridor.thermal.rating import MELTING, loss, temperature_at

__all__ = ["BINS", "CHUNK", "THREADS", "Course", "Hours", "course", "distribution_rows", "in_weather", "option_rows",
           "piece_of", "with_bearings"]

#: Edges of the temperature distribution [°C]; outside them the first and last bins go on.
BINS = np.arange(-20.0, 255.0, 5.0)

#: Temperatures solved for at once: few enough to stay in the cache of a processor.
CHUNK = 8_192

#: Last step of the secant [K], what is then left is below 1e-6 K; and heat out of balance before it [W/m].
_SETTLED, _BALANCED = 1e-3, 0.05

#: Chunks under way at once; numpy lets go of the interpreter.
THREADS = 2


@dataclass(frozen=True)
class Hours:
    """A series of steady states; columns of shape (hour,), None where the rating's own weather holds.

    `current` [A] per phase; `ambient` [°C]; `wind_speed` [m/s]; `wind_angle` or `wind_direction` [deg]; `solar`
    [W/m²]; `step` [s], how long each lasts. nan is not known: such hours are counted, and are not a pass. `time` at
    which each begins, datetime64; `notes` on what the file lacks.
    """

    current: np.ndarray
    step: float = 3600.0
    ambient: np.ndarray | None = None
    wind_speed: np.ndarray | None = None
    wind_angle: np.ndarray | None = None
    wind_direction: np.ndarray | None = None
    solar: np.ndarray | None = None
    time: np.ndarray | None = None
    notes: tuple[str, ...] = ()

    def part(self, rows):
        """Return some of the hours."""
        names = ("current", "ambient", "wind_speed", "wind_angle", "wind_direction", "solar", "time")
        return replace(self, **{name: getattr(self, name)[rows] for name in names if getattr(self, name) is not None})


class Course(NamedTuple):
    """One option through the hours: `bearings` (bearing,) [deg], `temperature` (hour, bearing) [°C], of the core
    where a radial conductivity is given, and `loss` (hour, bearing) [kW/km]; inf where the wire would melt."""

    bearings: np.ndarray
    temperature: np.ndarray
    loss: np.ndarray


def with_bearings(ratings, hours, azimuth):
    """Return the ratings with all bearings of the spans [deg], where a series makes them matter."""
    sun = ratings.sky.latitude is not None and hours.solar is None
    wind = hours.wind_direction is not None or (ratings.sky.wind_direction is not None and hours.wind_angle is None)
    return replace(ratings, bearings=np.unique(np.round(azimuth, 3)) if sun or wind else np.zeros(1))


def course(ratings, option, hours):
    """Return an option (index) through the hours.

    Parameters
    ----------
    ratings : Ratings
        With a weather, which stands in for what the series lacks.
    option : int
    hours : Hours

    Returns
    -------
    Course
    """
    count = max(min(CHUNK // len(ratings.bearings), -(-len(hours.current) // THREADS)), 1)
    pieces = [hours.part(slice(first, first + count)) for first in range(0, len(hours.current), count)]
    with ThreadPoolExecutor(THREADS) as pool:
        parts = list(pool.map(partial(piece_of, ratings, option), pieces))
    return Course(ratings.bearings, *(np.concatenate(column) for column in zip(*parts, strict=True)))


def piece_of(ratings, option, hours):
    """Return temperature [°C] and loss [kW/km] of an option in some hours, both (hour, bearing)."""
    here = in_weather(ratings, hours)
    wire, n, I = here.wires[option], here.options[option].wiring.bundle, hours.current[:, None]  # noqa: E741
    weather, each = here.weather_at(here.bearings), I / n
    surface = _steady(here.method, each, weather, wire)
    return surface + here.excess(option, surface, I), loss(each, surface, wire.resistance, 3 * n)


def _steady(method, current, weather, wire):
    """Steady temperature of the surface [°C], as `temperature_at` gives it, by a quarter of its work.

    The surplus of cooling over heating is zero near a straight line through its values at air temperature and 30 K
    above: the secant needs five or six values. What it does not settle goes to the bracketed root.
    """
    cooling = net_cooling(method, weather, wire)

    def surplus(T):
        return cooling(T) - current**2 * wire.resistance(T, current)

    x, f = weather.ambient, surplus(weather.ambient)
    new = x + 30.0 + 0 * f
    for _ in range(12):
        x, before, f_before = new, x, f
        f = surplus(x)
        rise = np.where(f == f_before, 1.0, f - f_before)
        new = np.clip(x - f * (x - before) / rise, weather.ambient, MELTING)
        settled = (np.abs(new - x) < _SETTLED) & (np.abs(f) < _BALANCED)
        if np.all(settled | np.isnan(f)):
            break
    if np.all((settled & (new < MELTING - 1)) | np.isnan(f)):
        return np.where(np.isnan(f), np.nan, new)
    return temperature_at(method, current, weather, wire)


def in_weather(ratings, hours):
    """Return the ratings in the weather of the hours, shape (hour, 1)."""
    def column(name):
        values = getattr(hours, name)
        return {} if values is None else {name: values[:, None]}

    weather = replace(ratings.weather, **column("ambient"), **column("wind_speed"), **column("wind_angle"),
                      **column("solar"))
    sky = replace(ratings.sky, **column("wind_direction"))
    if hours.wind_angle is not None:
        sky = replace(sky, wind_direction=None)
    if hours.solar is not None:
        sky = replace(sky, latitude=None)
    return replace(ratings, weather=weather, sky=sky)


def option_rows(ratings, courses, hours):
    """Return what the year comes to for each option, as columns; of several bearings the hottest counts.

    Parameters
    ----------
    ratings : Ratings
    courses : sequence of Course
        One per option.
    hours : Hours
    """
    rows = [_option_row(option, course, hours.step / 3600) for option, course in
            zip(ratings.options, courses, strict=True)]
    return {name: np.array([row[name] for row in rows], object if isinstance(rows[0][name], str) else float)
            for name in rows[0]}


def _option_row(option, course, step):
    wire, loss = course.temperature.max(axis=1), course.loss.max(axis=1)
    known = ~np.isnan(wire)
    emergency = option.wiring.emergency_temperature
    lost = np.sum(loss[known]) * step / 1000
    share = np.percentile(np.minimum(wire[known], MELTING), [50, 95, 99, 100]) if known.any() else np.full(4, np.nan)
    return {"option": option.name, "hours": len(wire) * step, "hours_unknown": np.sum(~known) * step,
            "hours_above_maximum": np.sum(wire > option.wiring.maximum_temperature) * step,
            "hours_above_emergency": np.nan if emergency is None else np.sum(wire > emergency) * step,
            "temperature_median_c": share[0], "temperature_95_percent_c": share[1],
            "temperature_99_percent_c": share[2], "temperature_maximum_c": share[3],
            "energy_mwh_per_km": lost if np.isfinite(lost) else np.nan}


def distribution_rows(ratings, courses, hours):
    """Return the hours that each option spends between the edges `BINS`, as columns.

    Hotter and colder hours count in the last and the first bin, so that the hours sum to those known.
    """
    parts = []
    for option, each in zip(ratings.options, courses, strict=True):
        T = each.temperature.max(axis=1)
        count = np.histogram(np.clip(T[~np.isnan(T)], BINS[0], BINS[-1]), BINS)[0]
        parts.append({"option": np.full(len(count), option.name, object), "from_c": BINS[:-1], "to_c": BINS[1:],
                      "hours": count * hours.step / 3600})
    return join(parts)
