"""A year of hours for five options: all at once, against a loop of scipy's brentq.

    python -m tests.benchmarks.series

The loop solves a sample of the hours and is scaled up. It is run twice: on the functions of the package, called hour
by hour, and on the same heat balance written out with the math module, as the quickest loop one would write by hand.
Both are compared with the vectorised answer, so that neither is quick by being wrong.
"""

import argparse
import json
import math
from dataclasses import replace
from time import perf_counter

import numpy as np
from scipy.optimize import brentq

from corridor.conductor import catalogue
from corridor.line.facts import Option, Wiring
from corridor.rating import series
from corridor.rating.ratings import Ratings
from corridor.thermal.balance import Weather, net_cooling

CONDUCTORS = ("264-AL1/62-ST1A", "264-AT1/62-ST1A", "264-A0/62-ST6C", "23.5-A0TW/CF-7.9", "429-AL1/56-ST1A")
CALM = Weather(ambient=35, wind_speed=0.6, wind_angle=90, emissivity=0.8, absorptivity=0.8, solar=0, elevation=0)


def make_hours(count, seed=7):
    """Invented currents and weather of a year."""
    draw = np.random.default_rng(seed)
    hour = np.arange(count)
    warmth = 10 + 10 * np.sin(2 * np.pi * hour / 8760 - 1.8) + 5 * np.sin(2 * np.pi * hour / 24 - 2)
    return series.Hours(draw.uniform(150, 900, count), ambient=warmth + draw.normal(0, 3, count),
                        wind_speed=draw.gamma(2.0, 1.5, count), wind_angle=draw.uniform(0, 90, count),
                        solar=np.clip(900 * np.sin(2 * np.pi * (hour % 24 - 6) / 24), 0, None))


def with_package(ratings, option, hours, i):
    """Temperature of one hour by brentq on the package's own functions [°C]."""
    wire = ratings.wires[option]
    here = replace(CALM, ambient=hours.ambient[i], wind_speed=hours.wind_speed[i], wind_angle=hours.wind_angle[i],
                   solar=hours.solar[i])
    cooling = net_cooling("ieee738", here, wire)
    current, R = hours.current[i], wire.resistance
    return brentq(lambda T: cooling(T) - current**2 * R(T, current), hours.ambient[i] - 1e-6, 600.0, xtol=1e-6)


def by_hand(ratings, option, hours, i):
    """The same written out in plain floats; the resistance as a straight line, so a little less work."""
    D, R, _ = ratings.wires[option]
    current, Ta, V = float(hours.current[i]), float(hours.ambient[i]), float(hours.wind_speed[i])
    phi, S = math.radians(float(hours.wind_angle[i])), float(hours.solar[i])
    R0, R1 = float(R(20.0, current)), float(R(120.0, current))
    K = 1.194 - math.cos(phi) + 0.194 * math.cos(2 * phi) + 0.368 * math.sin(2 * phi)

    def surplus(T):
        film, excess = (T + Ta) / 2, T - Ta
        rho = 1.293 / (1 + 0.00367 * film)
        mu = 1.458e-6 * (film + 273) ** 1.5 / (film + 383.4)
        k = 2.424e-2 + 7.477e-5 * film - 4.407e-9 * film**2
        Re = D * rho * V / mu
        wind = K * k * abs(excess) * max(1.01 + 1.35 * Re**0.52, 0.754 * Re**0.6)
        still = 3.645 * math.sqrt(rho) * D**0.75 * abs(excess) ** 1.25
        radiated = 17.8 * D * 0.8 * (((T + 273) / 100) ** 4 - ((Ta + 273) / 100) ** 4)
        ohm = R0 + (R1 - R0) * (T - 20) / 100
        return math.copysign(max(wind, still), excess) + radiated - 0.8 * S * D - current**2 * ohm

    return brentq(surplus, Ta - 1e-6, 600.0, xtol=1e-6)


def measure(count=8760, sample=200):
    """Return seconds and ratios, and how far the answers are apart [K]."""
    options = tuple(Option(name, Wiring(catalogue.find(name), 75.0, None, ())) for name in CONDUCTORS)
    ratings, hours = Ratings(options, "ieee738", CALM, 50.0, None), make_hours(count)
    begin = perf_counter()
    courses = [series.course(ratings, option, hours) for option in range(len(options))]
    quick = perf_counter() - begin
    rows = np.linspace(0, count - 1, sample).astype(int)
    result = {"hours": count, "options": len(options), "vectorised_s": quick}
    for name, solve in {"package": with_package, "by_hand": by_hand}.items():
        begin = perf_counter()
        found = np.array([[solve(ratings, option, hours, i) for i in rows] for option in range(len(options))])
        seconds = (perf_counter() - begin) * count / sample
        apart = np.abs(found - [each.temperature[rows, 0] for each in courses]).max()
        result |= {f"brentq_{name}_s": seconds, f"ratio_{name}": seconds / quick, f"apart_{name}_k": float(apart)}
    return result


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=int, default=8760)
    parser.add_argument("--sample", type=int, default=200)
    arguments = parser.parse_args()
    print(json.dumps({name: round(value, 6) for name, value in measure(arguments.hours, arguments.sample).items()},
                     indent=2))
