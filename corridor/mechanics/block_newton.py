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

from typing import NamedTuple

import numpy as np

from corridor.mechanics.elongation import strain, strain_slope

__all__ = ["Shape", "Stiffness", "project", "settle", "shape", "slopes_by_tension", "solve_blocks", "stiffness"]

_ITERATIONS = 80
_LENGTH_TOLERANCE = 1e-12


class Shape(NamedTuple):
    """A wire in its plane; letters as in the module's text, `H` horizontal tension [N]."""

    S: np.ndarray
    h: np.ndarray
    q: np.ndarray
    H: np.ndarray
    C: np.ndarray
    u: np.ndarray
    sinh_u: np.ndarray
    cosh_u: np.ndarray
    k: np.ndarray
    P: np.ndarray
    L: np.ndarray
    F: np.ndarray

    @property
    def left(self):
        """What the wire puts on its left end, along the load [N]; negative lifts."""
        return self.q / 2 * (self.L - self.h * self.k)

    @property
    def right(self):
        """What the wire puts on its right end, along the load [N]; negative lifts."""
        return self.q / 2 * (self.L + self.h * self.k)


def shape(S, h, q, log_tension):
    """Return the wire of a horizontal tension `H = exp(log_tension)` [N]; the arguments broadcast.

    Examples
    --------
    >>> wire = shape(300.0, 30.0, 1.0, np.log(1500.0))
    >>> round(float(wire.L), 4), round(float(wire.left), 4), round(float(wire.right + wire.left), 4)
    (301.994, 0.4974, 301.994)
    """
    H = np.exp(log_tension)
    C = H / q
    u = S / (2 * C)
    sinh_u, cosh_u = np.sinh(u), np.cosh(u)
    k, P = cosh_u / sinh_u, 2 * C * sinh_u
    L = np.sqrt(P * P + h * h)
    F = q / (2 * L) * (C * S + (L * L + h * h) * k / 2)
    return Shape(S, h, q, H, C, u, sinh_u, cosh_u, k, P, L, F)


def _slopes(wire):
    """Derivatives of L, k and F by S, h and t, stacked in front: three arrays of shape (3, ...)."""
    S, h, q, _, C, u, sinh_u, cosh_u, k, P, L, F = wire
    L_v = np.stack([P * cosh_u, h, P * (P - S * cosh_u)]) / L
    k_v = np.stack([-1 / (2 * C), np.zeros_like(u), u]) / sinh_u**2
    G_v = L * L_v * k + (L * L + h * h) / 2 * k_v + np.stack([C, h * k, C * S])
    return L_v, k_v, q / (2 * L) * G_v - F / L * L_v


def slopes_by_tension(wire):
    """Return the derivatives of length L [m] and mean tension F [N] by t alone."""
    S, h, q, _, C, u, sinh_u, cosh_u, k, P, L, F = wire
    L_t = P * (P - S * cosh_u) / L
    G_t = L * L_t * k + (L * L + h * h) / 2 * u / sinh_u**2 + C * S
    return L_t, q / (2 * L) * G_t - F / L * L_t


def settle(S, h, q, unstressed, temperature, part, log_tension, *, share=None):
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

    Returns
    -------
    log_tension : ndarray
    wire : Shape
    residual : ndarray
        `(L - L0 (1 + e))/L0` [-], of each span or of the sum.
    """
    def gathered(values):
        return values / unstressed if share is None else (values * share).sum(axis=0) / (unstressed * share).sum(axis=0)

    t = log_tension
    for _ in range(_ITERATIONS):
        wire = shape(S, h, q, t)
        residual = gathered(wire.L - unstressed * (1 + strain(wire.F, temperature, part)))
        if not np.any(np.abs(residual) > _LENGTH_TOLERANCE):
            break
        L_t, F_t = slopes_by_tension(wire)
        slope = gathered(L_t - unstressed * strain_slope(wire.F, temperature, part) * F_t)
        t = t - np.clip(residual / slope, -1.0, 1.0)
    return t, wire, residual


class Stiffness(NamedTuple):
    """How the forces on both ends answer when the right end moves against the left.

    `left`, `right` (2, 2, ...) [N/m]: derivatives of the force on that end, along and against the load (rows), by
    S and h (columns); `across` [N/m]: of the left end's, normal to the plane, `H/S`; the right end has its opposite.
    """

    left: np.ndarray
    right: np.ndarray
    across: np.ndarray


def stiffness(wire, unstressed, temperature, part):
    """Return the stiffness of wires that keep their unstressed length.

    With `R = L - L0 (1 + e)`, H follows the ends by `dt/dv = -R_v/R_t`, v being S or h. The force on the
    left end is (H, -V_left), on the right end (-H, -V_right).

    Parameters
    ----------
    wire : Shape
        Settled.
    unstressed, temperature, part
        As in `settle`.
    """
    L_v, k_v, F_v = _slopes(wire)
    R_v = L_v - unstressed * strain_slope(wire.F, temperature, part) * F_v
    t_v = -R_v[:2] / R_v[2]
    lever = wire.h * k_v
    lever[1] += wire.k
    left, right = wire.q / 2 * (L_v - lever), wire.q / 2 * (L_v + lever)
    H_v, left, right = wire.H * t_v, left[:2] + left[2] * t_v, right[:2] + right[2] * t_v
    return Stiffness(np.stack([H_v, -left]), np.stack([-H_v, -right]), wire.H / wire.S)


def project(matrix, across, rows, columns, along, against):
    """Return a stiffness in directions of the supports, shape (2, 2, ...).

    `r.(M + across b b').c` for directions r of `rows` and c of `columns`, where M lives in the plane spanned by
    `along` and `against` and b is normal to it: `b b' = 1 - along along' - against against'`.

    Parameters
    ----------
    matrix : ndarray, shape (2, 2, ...)
    across : ndarray, shape (...)
    rows, columns : ndarray, shape (2, 3, ...)
    along, against : ndarray, shape (3, ...)
    """
    r_a, r_g, c_a, c_g = ((d * v).sum(axis=1) for d in (rows, columns) for v in (along, against))
    dots = sum(rows[:, None, axis] * columns[None, :, axis] for axis in range(3))
    (aa, ag), (ga, gg) = matrix
    inside = ((aa - across) * c_a + ag * c_g)[None], (ga * c_a + (gg - across) * c_g)[None]
    return across * dots + r_a[:, None] * inside[0] + r_g[:, None] * inside[1]


def _inverse(matrix):
    (a, b), (c, d) = matrix
    return np.array([[d, -b], [-c, a]]) / (a * d - b * c)


def _times(matrix, other):
    """Product of 2 x 2 blocks with blocks or with pairs."""
    column = matrix[:, 0], matrix[:, 1]
    if other.ndim == matrix.ndim:
        column = column[0][:, None], column[1][:, None]
    return column[0] * other[0] + column[1] * other[1]


def solve_blocks(lower, diagonal, upper, right):
    """Solve block-tridiagonal systems of 2 x 2 blocks by elimination along the chain, all at once.

    Parameters
    ----------
    lower, upper : ndarray, shape (2, 2, n, batch)
        Block of equation i + 1 with unknown i, and of equation i with unknown i + 1.
    diagonal : ndarray, shape (2, 2, n + 1, batch)
    right : ndarray, shape (2, n + 1, batch)

    Returns
    -------
    ndarray, shape (2, n + 1, batch)

    Notes
    -----
    Without exchange of rows: the blocks on the diagonal are definite, as stiffnesses are, and stay so.
    """
    n = lower.shape[2]
    solution, carried = np.empty_like(right), []
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
