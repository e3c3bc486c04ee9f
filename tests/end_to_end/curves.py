"""What the tests compute by hand: the catenary of any handbook, and lengths on a grid and on the ground.

Elevation of a wire: z0 + C (cosh((x - x0)/C) - 1), with the catenary constant C.
"""

import numpy as np
import shapely
from scipy.optimize import brentq

#: A grid of the transverse Mercator on its central meridian has this scale (EPSG:25832).
SCALE = 0.9996
RADIUS = 6_371_008.8


def catenary(share, S, start, rise, C):
    """Elevation of a wire of span S [m], its low point found by bisection rather than in closed form."""
    def miss(x0):
        return C * (np.cosh((S - x0) / C) - np.cosh(x0 / C)) - rise
    x0 = brentq(miss, -20 * S, 20 * S, xtol=1e-12)
    return start + C * (np.cosh((np.asarray(share) * S - x0) / C) - np.cosh(x0 / C))


def ends(geometry):
    """First and last vertex of a line, each (easting, northing, elevation)."""
    return shapely.get_coordinates(geometry, include_z=True)[[0, -1]]


def hung(findings, wire):
    """Ends of a wire, and its span [m of ground]."""
    a, b = ends(wire.geometry)
    factor = findings.row("spans", line=wire.line, span=wire.span)["ground_factor"]
    return a, b, np.hypot(*(b - a)[:2]) * factor
