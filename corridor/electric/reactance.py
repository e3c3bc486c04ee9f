"""Series reactance of a transposed three-phase line, and the geometric mean radius of its wires.

References
----------
J. J. Grainger, W. D. Stevenson, *Power System Analysis*, McGraw-Hill 1994, chapter 4; E. B. Rosa, F. W. Grover,
*Formulas and tables for the calculation of mutual and self-inductance*, Bulletin of the Bureau of Standards 8 (1912),
for the tube. Both recalled.
"""

import numpy as np

from corridor.arrays import Array, ArrayLike

__all__ = ["PERMEABILITY", "layer_counts", "log_spacing", "reactance", "solid_counts", "stranded_radius",
           "tube_radius"]

#: Permeability of free space, and of air and aluminium [H/m].
PERMEABILITY = 4e-7 * np.pi
#: Geometric mean radius of a solid round wire over its radius: `exp(-1/4)`.
_SOLID = np.exp(-0.25)


def reactance(frequency: ArrayLike, mean_distance: ArrayLike, mean_radius: ArrayLike) -> Array:
    """Return the positive-sequence series reactance of a phase [ohm/m].

    `X = mu0 f ln(GMD/GMR)`: of a line that is transposed; the earth plays no part in it.

    Parameters
    ----------
    frequency : array_like
        f [Hz].
    mean_distance : array_like
        GMD, geometric mean of the three distances between phases [m].
    mean_radius : array_like
        GMR of a phase: of its wire, or of its bundle [m].

    Examples
    --------
    >>> round(float(reactance(60.0, 24.8, 0.0373)) * 1609.344, 3)
    0.789
    """
    f, D, r = (np.asarray(v, np.float64) for v in (frequency, mean_distance, mean_radius))
    return PERMEABILITY * f * np.log(D / r)


def log_spacing(places: ArrayLike) -> Array:
    """Return the logarithm of the geometric mean distance [m] between three phases, (...,).

    Parameters
    ----------
    places : array_like, shape (..., 3, 2)
        Right and up [m].
    """
    p = np.asarray(places, np.float64)
    return np.log(np.linalg.norm(p - np.roll(p, 1, axis=-2), axis=-1)).mean(axis=-1)


def layer_counts(strands: int, layers: int) -> list[int]:
    """Return how many round wires of one diameter lie in each layer about a core, from within; six more in each.

    Empty where so many wires do not fill so many layers.

    Examples
    --------
    >>> layer_counts(26, 2), layer_counts(54, 3), layer_counts(25, 2)
    ([10, 16], [12, 18, 24], [])
    """
    inner, rest = divmod(strands - 3 * layers * (layers - 1), layers) if layers else (0, 1)
    return [inner + 6 * layer for layer in range(layers)] if not rest and inner > 0 else []


def solid_counts(strands: int) -> list[int]:
    """Return how many round wires of one diameter lie in each layer about one of them, that one first.

    Empty where so many wires fill no whole layers.

    Examples
    --------
    >>> solid_counts(19), solid_counts(20)
    ([1, 6, 12], [])
    """
    counts = [1]
    while sum(counts) < strands:
        counts.append(6 * len(counts))
    return counts if sum(counts) == strands else []


def stranded_radius(counts: list[int], core_diameter: float, strand_diameter: float) -> float:
    """Return the geometric mean radius of layers of round wires that share the current alike [m].

    The geometric mean of all distances between strands, each strand with that of a solid wire, `0.7788 r`; the core
    carries nothing and is not magnetised. Strands of a layer are evenly spaced, those of two layers at angles that
    run through all values as they are laid in opposite turns: then their mean logarithmic distance is that of the
    outer layer's radius.

    Parameters
    ----------
    counts : list of int
        Strands of each layer, from within; the first 1 where there is no core but one of the strands.
    core_diameter, strand_diameter : float
        [m]; that of the core is not used then.
    """
    n, d = np.array(counts), strand_diameter
    first = 0.0 if counts[0] == 1 else core_diameter / 2 + d / 2
    # One strand in the middle has no others in its layer, whatever the radius of that.
    radius = np.maximum(first + d * np.arange(len(n)), d / 2)
    # The product of the distances from one of n points on a circle to the others is n R^(n - 1).
    own = n * (np.log(_SOLID * d / 2) + np.log(n) + (n - 1) * np.log(radius))
    outer = np.log(np.maximum(radius[:, None], radius))
    pairs = n[:, None] * n * outer
    return float(np.exp((own.sum() + pairs.sum() - np.diag(pairs).sum()) / n.sum() ** 2))


def tube_radius(diameter: float, core_diameter: float) -> float:
    """Return the geometric mean radius of a round tube with even current, of a solid wire where its core is 0 [m].

    `ln(GMR/r) = -q^4/(1 - q^2)^2 ln(1/q) + (3 q^2 - 1)/(4 (1 - q^2))`, `q` inner over outer diameter.

    Examples
    --------
    >>> round(tube_radius(2.0, 0.0), 4), round(tube_radius(2.0, 1.999), 3)
    (0.7788, 1.0)
    """
    q = core_diameter / diameter
    within = q**4 / (1 - q**2) ** 2 * np.log(1 / q) if q > 0 else 0.0
    return float(diameter / 2 * np.exp(-within + (3 * q**2 - 1) / (4 * (1 - q**2))))
