"""A year of hours for five options over all spans of a line: seconds, and how much memory grows.

    python -m tests.benchmarks.year --spans 3000 --bearings 600
"""

import argparse
import json
import resource
from dataclasses import replace
from time import perf_counter

import numpy as np

from corridor.conductor import catalogue
from corridor.line.facts import Option, Wiring
from corridor.rating.margins import Margins
from corridor.rating.ratings import Ratings
from corridor.rating.year import Place, year_of
from tests.benchmarks.series import CALM, CONDUCTORS, make_hours


def measure(spans, bearings, count=8760):
    """Return seconds and megabytes; limits are invented, three in ten below the maximum, the wind is from anywhere."""
    options = tuple(Option(name, Wiring(catalogue.find(name), 75.0, None, ())) for name in CONDUCTORS)
    ratings, draw = Ratings(options, "ieee738", CALM, 50.0, None), np.random.default_rng(0)
    hours = replace(make_hours(count), wind_angle=None, wind_direction=draw.uniform(0, 360, count))
    azimuth = np.repeat(draw.uniform(0, 360, bearings), -(-spans // bearings))[:spans]
    rows, of_row = len(options) * spans, np.tile(np.arange(spans), len(options))
    limits = {"line": np.full(rows, "L", object), "span": of_row.astype(str).astype(object),
              "option": np.repeat(np.array(CONDUCTORS, object), spans),
              "governs": np.where(draw.random(rows) < 0.3, "clearance", "maximum temperature").astype(object),
              "clearing_temperature_c": draw.uniform(45, 75, rows), "maximum_temperature_c": np.full(rows, 75.0)}
    # A margin that falls with temperature, its least of four or so metres in the cold.
    nodes = np.array([*np.arange(-20, 75, 5.0), 74.7, 75.0])
    margins = Margins(nodes, draw.uniform(1, 4, (rows, 1)) - draw.uniform(0.01, 0.04, (rows, 1)) * nodes
                      + 5e-5 * (nodes - 80) ** 2)
    before, begin = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, perf_counter()
    years = [year_of(ratings, option, [Place(hours, np.arange(spans))], limits, of_row, azimuth, margins)
             for option in range(len(options))]
    return {"spans": spans, "bearings": bearings, "options": len(years), "seconds": round(perf_counter() - begin, 2),
            "grown_mb": (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024}


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--spans", type=int, default=3000)
    parser.add_argument("--bearings", type=int, default=600)
    asked = parser.parse_args()
    print(json.dumps(measure(asked.spans, asked.bearings)))
