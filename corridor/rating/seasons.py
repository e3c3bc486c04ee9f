"""Named sets of weather, and when the sun is up in them."""

from dataclasses import dataclass, replace

import numpy as np

from corridor.rating.ratings import Sky, strongest_sun
from corridor.thermal import sun

__all__ = ["Season", "as_rated", "days_of", "daylight", "in_season", "season_of"]


@dataclass(frozen=True)
class Season:
    """Weather of a season, None where it is that of the ratings, and its emergencies.

    `days` of the year (day,); `ambient` [°C]; `wind_speed` [m/s]; `wind_angle` or `wind_direction` [deg]; `solar`
    [W/m²] by day; `hour` of the sun, solar time; `durations` [s] and `pre_load` [A] per phase.
    """

    name: str
    days: np.ndarray
    ambient: float | None = None
    wind_speed: float | None = None
    wind_angle: float | None = None
    wind_direction: float | None = None
    solar: float | None = None
    hour: float | None = None
    durations: tuple[float, ...] = ()
    pre_load: float | None = None


def days_of(first, last):
    """Return the days of the year from a first to a last one, over the new year where that comes before.

    >>> len(days_of(121, 273)), days_of(365, 2).tolist(), len(days_of(None, None))
    (153, [365, 1, 2], 0)
    """
    if first is None or last is None:
        return np.zeros(0, int)
    return np.arange(first, last + 1) if first <= last else np.r_[np.arange(first, 366), np.arange(1, last + 1)]


def season_of(table):
    """Return the Season of a table [[ratings]] of a study."""
    days = days_of(table.first_day, table.last_day)
    return Season(table.name, days if len(days) else np.arange(1, 366), table.ambient, table.wind_speed,
                  table.wind_angle, table.wind_direction, table.solar, table.hour, table.durations, table.pre_load)


def as_rated(ratings):
    """Return the one season of a study without any: its weather, and its emergency."""
    t = ratings.emergency_duration
    return Season("as in [rating]", np.arange(1, 366), durations=() if t is None else (t,), pre_load=ratings.pre_load)


def in_season(ratings, season, *, night=False):
    """Return the ratings in the weather of a season, by day or by night."""
    weather, sky = ratings.weather, ratings.sky
    changes = {key: value for key in ("ambient", "wind_speed", "wind_angle", "solar")
               if (value := getattr(season, key)) is not None}
    if season.wind_direction is not None or season.wind_angle is not None:
        sky = replace(sky, wind_direction=season.wind_direction)
    if night or season.solar is not None:
        sky = replace(sky, latitude=None)
    elif sky.latitude is not None:
        hour = sky.hour if season.hour is None else season.hour
        day = season.days[np.argmax(sun.altitude(sky.latitude, season.days, hour))]
        sky = replace(sky, day=int(day), hour=hour)
        changes["solar"] = strongest_sun(sky.latitude, sky.day, hour, sky.atmosphere, weather.elevation)
    if night:
        changes["solar"] = 0.0
    return replace(ratings, weather=replace(weather, **changes), sky=sky if sky.matters else Sky())


def daylight(latitude, days):
    """Return the earliest sunrise and the latest sunset of some days, solar time [h]; nan where the sun stays down.

    `cos w = -tan Lat tan delta`. Between the two a rating by day holds, outside of them one by night.

    >>> [round(float(hour), 1) for hour in daylight(50.0, [80, 172])]
    [3.9, 20.1]
    >>> daylight(80.0, [172])
    (0.0, 24.0)
    """
    cosine = -np.tan(np.radians(latitude)) * np.tan(np.radians(sun.declination(days)))
    half = np.degrees(np.arccos(np.clip(cosine, -1, 1))).max() / 15
    return (float(12 - half), float(12 + half)) if half > 0 else (np.nan, np.nan)
