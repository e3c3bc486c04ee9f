"""One elastic wire between two points, its stiffness, and the chain of blocks that joins wires at supports.

The wire is the catenary of `corridor.geometry.catenary` with the unknown `t = ln H`. Its letters, in the plane of
the load `q` [N/m]: `S` distance between the ends normal to the load, `h` rise against it [m], `C = H/q`,
`u = S/2C`, `k = coth u`, `P = 2C sinh u`. In these letters all that is wanted is short:

- length `L = sqrt(P^2 + h^2)`, mean tension `F = q (C S + (L^2 + h^2) k/2) / 2L`;
- what the wire puts on its left and right end along the load: `V = q (L -+ h k)/2`; together `q L`;
- tension at the left and right end: `q (L k -+ h)/2`.

The unstressed length `L0` closes it: `L = L0 (1 + e(F, T))`, with the strain `e` of `elongation`.

Arrays have the batch last, so that every step works on contiguous numbers: (span, batch), vectors (3, span,
batch). The load acts per length of the stretched wire.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from corridor.arrays import Array, ArrayLike
from corridor.mechanics.elongation import Law, strain_and_slope

__all__ = [
    "Shape", "Stiffness", "ends_by_tension", "project", "settle", "shape", "slopes_by_tension", "solve_blocks",
    "stiffness", "strung_stiffness",
]

#: Products of directions with `along` and with `against`.
Pair = Sequence[Array]

_ITERATIONS = 80
_LENGTH_TOLERANCE = 1e-12


class Shape(NamedTuple):
    """A wire in its plane; letters as in the module's text, `H` horizontal tension [N]."""

    S: Array
    h: Array
    q: Array
    H: Array
    C: Array
    u: Array
    sinh_u: Array
    cosh_u: Array
    k: Array
    P: Array
    L: Array
    F: Array

    @property
    def left(self) -> Array:
        """What the wire puts on its left end, along the load [N]; negative lifts."""
        return self.q / 2 * (self.L - self.h * self.k)

    @property
    def right(self) -> Array:
        """What the wire puts on its right end, along the load [N]; negative lifts."""
        return self.q / 2 * (self.L + self.h * self.k)


def shape(S: ArrayLike, h: ArrayLike, q: ArrayLike, log_tension: ArrayLike) -> Shape:
    """Return the wire of a horizontal tension `H = exp(log_tension)` [N]; the arguments broadcast.

    Examples
    --------
    >>> wire = shape(300.0, 30.0, 1.0, np.log(1500.0))
    >>> round(float(wire.L), 4), round(float(wire.left), 4), round(float(wire.right + wire.left), 4)
    (301.994, 0.4974, 301.994)
    """
    S, h, q = np.asarray(S, float), np.asarray(h, float), np.asarray(q, float)
    H = np.exp(log_tension)
    C = H / q
    u = S / (2 * C)
    sinh_u, cosh_u = np.sinh(u), np.cosh(u)
    k, P = cosh_u / sinh_u, 2 * C * sinh_u
    L = np.sqrt(P * P + h * h)
    F = q / (2 * L) * (C * S + (L * L + h * h) * k / 2)
    return Shape(S, h, q, H, C, u, sinh_u, cosh_u, k, P, L, F)


def _slopes(wire: Shape) -> tuple[tuple[Array, ...], tuple[Array, ...], list[Array]]:
    """Derivatives of L, k and F, each by S, h and t."""
    S, h, q, _, C, u, sinh_u, cosh_u, k, P, L, F = wire
    steep = P * cosh_u
    L_v = steep / L, h / L, (P * P - S * steep) / L
    k_t = u / sinh_u**2
    k_v = k_t / -S, np.zeros(()), k_t
    middle, Lk, half, f = (L * L + h * h) / 2, L * k, q / (2 * L), F / L
    G_v = Lk * L_v[0] + middle * k_v[0] + C, Lk * L_v[1] + h * k, Lk * L_v[2] + middle * k_t + C * S
    return L_v, k_v, [half * G - f * L_x for G, L_x in zip(G_v, L_v, strict=True)]


def slopes_by_tension(wire: Shape) -> tuple[Array, Array]:
    """Return the derivatives of length L [m] and mean tension F [N] by t alone."""
    S, h, q, _, C, u, sinh_u, cosh_u, k, P, L, F = wire
    L_t = P * (P - S * cosh_u) / L
    G_t = L * L_t * k + (L * L + h * h) / 2 * u / sinh_u**2 + C * S
    return L_t, q / (2 * L) * G_t - F / L * L_t


def settle(S: Array, h: Array, q: Array, unstressed: Array, temperature: Array, part: Law, log_tension: Array, *,
           share: Array | None = None, tolerance: float = _LENGTH_TOLERANCE) -> tuple[Array, Shape, Array]:
    """Find the horizontal tension of wires whose ends are given.

    Newton in `t` on `(L - L0 (1 + e))/L0`, which falls with t throughout, with steps of at most a factor e.

    Parameters
    ----------
    S, h, q, unstressed : ndarray, shape (span, batch)
    temperature : ndarray, shape (batch,)
    part : TwoPart or Curved, of arrays (batch,)
    log_tension : ndarray, shape (span, batch)
        Where to start.
    share : ndarray, shape (span, batch), optional
        Given, all spans take one tension, the one at which lengths fit in the sum that this weights.
    tolerance : float
        Of `residual`.

    Returns
    -------
    log_tension : ndarray
    wire : Shape
    residual : ndarray
        `(L - L0 (1 + e))/L0` [-], of each span or of the sum.
    """
    def gathered(values: Array) -> Array:
        return values / unstressed if share is None else (values * share).sum(axis=0) / (unstressed * share).sum(axis=0)

    t = log_tension
    for _ in range(_ITERATIONS):
        wire = shape(S, h, q, t)
        e, e_F = strain_and_slope(wire.F, temperature, part)
        residual = gathered(wire.L - unstressed * (1 + e))
        far = np.abs(residual) > tolerance
        if not far.any():
            break
        L_t, F_t = slopes_by_tension(wire)
        step = residual / gathered(L_t - unstressed * e_F * F_t)
        # What has settled stays, so that it does not depend on its neighbours.
        t = t - np.minimum(np.maximum(step, -1.0), 1.0) * far
    return t, wire, residual


def ends_by_tension(wire: Shape) -> tuple[Array, Array]:
    """Return the derivatives of the force on the left and on the right end by t, along and against the load [N]."""
    L_t, k_t = slopes_by_tension(wire)[0], wire.u / wire.sinh_u**2
    half, lever = wire.q / 2, wire.h * k_t
    return np.stack([wire.H, -half * (L_t - lever)]), np.stack([-wire.H, -half * (L_t + lever)])


class Stiffness(NamedTuple):
    """How the forces on both ends answer when the right end moves against the left.

    `left`, `right` (2, 2, ...) [N/m]: derivatives of the force on that end, along and against the load (rows), by
    S and h (columns); `across` [N/m]: of the left end's, normal to the plane, `H/S`; the right end has its opposite.
    """

    left: Array
    right: Array
    across: Array


def stiffness(wire: Shape, unstressed: Array, temperature: Array, part: Law) -> Stiffness:
    """Return the stiffness of wires that keep their unstressed length.

    With `R = L - L0 (1 + e)`, H follows the ends by `dt/dv = -R_v/R_t`, v being S or h. The force on the
    left end is (H, -V_left), on the right end (-H, -V_right).

    Parameters
    ----------
    wire : Shape
    unstressed, temperature, part
        As in `settle`.
    """
    L_v, k_v, F_v = _slopes(wire)
    stretch = unstressed * strain_and_slope(wire.F, temperature, part)[1]
    R_v = [L_x - stretch * F_x for L_x, F_x in zip(L_v, F_v, strict=True)]
    return _stiffness(wire, L_v, k_v, (R_v[0] / -R_v[2], R_v[1] / -R_v[2]))


def strung_stiffness(wire: Shape) -> Stiffness:
    """Return the stiffness of wires that keep their horizontal tension, as in travellers that are drawn along."""
    L_v, k_v, _ = _slopes(wire)
    still = np.zeros(wire.H.shape)
    return _stiffness(wire, L_v, k_v, (still, still))


def _stiffness(wire: Shape, L_v: tuple[Array, ...], k_v: tuple[Array, ...], t_v: tuple[Array, Array]) -> Stiffness:
    lever, q = (wire.h * k_v[0], wire.k, wire.h * k_v[2]), wire.q / 2
    left, right = ([q * (L_x + sign * each) for L_x, each in zip(L_v, lever, strict=True)] for sign in (-1, 1))
    size = np.broadcast_shapes(wire.H.shape, t_v[0].shape)
    on_left, on_right = np.empty((2, 2, *size)), np.empty((2, 2, *size))
    for v in range(2):
        on_left[0, v] = wire.H * t_v[v]
        on_left[1, v] = -left[v] - left[2] * t_v[v]
        on_right[1, v] = -right[v] - right[2] * t_v[v]
    on_right[0] = -on_left[0]
    return Stiffness(on_left, on_right, wire.H / wire.S)


def project(matrix: Array, across: Array, rows: Pair, columns: Pair) -> Array:
    """Return the part of a stiffness that lies in the planes of wires, in directions of supports; shape (d, d, ...).

    `r.(M + across b b').c` for directions r and c, where M lives in the plane spanned by `along` and `against` and b is
    normal to it: `b b' = 1 - along along' - against against'`. What is left to add is `across r.c`.

    Parameters
    ----------
    matrix : ndarray, shape (2, 2, ...)
    across : ndarray, shape (...)
    rows, columns : pair of ndarray, shape (d, ...)
        Products of the directions with `along` and with `against`.
    """
    (r_a, r_g), (c_a, c_g) = rows, columns
    (aa, ag), (ga, gg) = matrix
    by_along, by_against = (aa - across) * c_a + ag * c_g, ga * c_a + (gg - across) * c_g
    result = r_a[:, None] * by_along
    result += r_g[:, None] * by_against
    return result


def _inverse(matrix: Array) -> Array:
    """Inverses of blocks of 2 or 3, by their minors."""
    result = np.empty_like(matrix)
    if len(matrix) == 2:
        (a, b), (c, d) = matrix
        one = 1 / (a * d - b * c)
        result[0, 0], result[0, 1], result[1, 0], result[1, 1] = d * one, b * -one, c * -one, a * one
        return result
    for i in range(3):
        (a, b, c), (d, e, f) = matrix[(i + 1) % 3], matrix[(i + 2) % 3]
        result[0, i], result[1, i], result[2, i] = b * f - c * e, c * d - a * f, a * e - b * d
    return result / (matrix[0] * result[:, 0]).sum(axis=0)


def _times(matrix: Array, other: Array) -> Array:
    """Product of blocks with blocks or with vectors."""
    columns = np.swapaxes(matrix, 0, 1)
    if other.ndim == matrix.ndim:
        columns = columns[:, :, None]
    result = columns[0] * other[0]
    for column, row in zip(columns[1:], other[1:], strict=True):
        result += column * row
    return result


def solve_blocks(lower: Array, diagonal: Array, upper: Array, right: Array) -> Array:
    """Solve block-tridiagonal systems of small blocks (d x d) by elimination along the chain, all at once.

    Parameters
    ----------
    lower, upper : ndarray, shape (d, d, n, batch)
        Block of equation i + 1 with unknown i, and of equation i with unknown i + 1.
    diagonal : ndarray, shape (d, d, n + 1, batch)
    right : ndarray, shape (d, n + 1, batch)

    Returns
    -------
    ndarray, shape (d, n + 1, batch)

    Notes
    -----
    Without exchange of rows: the blocks on the diagonal are definite, as stiffnesses are, and stay so.
    """
    n = lower.shape[2]
    solution = np.empty_like(right)
    carried: list[Array] = []
    for i in range(n + 1):
        pivot, value = diagonal[:, :, i], right[:, i]
        if i:
            pivot = pivot - _times(lower[:, :, i - 1], carried[-1])
            value = value - _times(lower[:, :, i - 1], solution[:, i - 1])
        inverse = _inverse(pivot)
        solution[:, i] = _times(inverse, value)
        if i < n:
            carried.append(_times(inverse, upper[:, :, i]))
    for i in reversed(range(n)):
        solution[:, i] -= _times(carried[i], solution[:, i + 1])
    return solution
