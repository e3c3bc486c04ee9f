"""What stays the same of a wire while its ends move: its unstressed length, or its horizontal tension.

A wire that is clamped keeps its length, one that is being sagged its tension. The search for the balance of strings
asks either the same questions. Arrays are (span, batch), as in `block_newton`, and `t = ln H`.
"""

from typing import NamedTuple

import numpy as np

from corridor.arrays import Array, Booleans
from corridor.geometry.catenary import Plane
from corridor.mechanics import block_newton as block
from corridor.mechanics.elongation import Law, strain_and_slope

__all__ = ["Kept", "Strung", "Wires"]


class Kept(NamedTuple):
    """Wires that keep their `unstressed` length [m], (span, batch), at a `temperature` (batch,) [°C]; `part`, their
    law of elongation, of arrays (batch,)."""

    unstressed: Array
    temperature: Array
    part: Law

    @property
    def slides(self) -> bool:
        """Whether nothing tells where along the line a slack string holds the wire."""
        return False

    def common(self, plane: Plane, active: Booleans) -> Array:
        """Return the one t at which the lengths of all active spans fit in their sum, roughly, (batch,)."""
        guess = np.log((2.5 * plane.load * plane.span).max(axis=0))
        return block.settle(plane.span, plane.rise, plane.load, *self, guess, share=active.astype(float),
                            tolerance=1e-6)[0]

    def settle(self, plane: Plane, log_tension: Array) -> tuple[Array, block.Shape, Array]:
        """Return t at which each length fits, its wire, and what is left of the length [-]."""
        return block.settle(plane.span, plane.rise, plane.load, *self, log_tension)

    def excess(self, wire: block.Shape) -> tuple[Array, Array]:
        """Return how much longer than it is stretched to a wire lies, `R = L - L0 (1 + e)` [m], and its slope by t."""
        e, e_F = strain_and_slope(wire.F, self.temperature, self.part)
        L_t, F_t = block.slopes_by_tension(wire)
        return wire.L - self.unstressed * (1 + e), L_t - self.unstressed * e_F * F_t

    def stiffness(self, wire: block.Shape) -> block.Stiffness:
        """Return how forces on ends answer to their moves."""
        return block.stiffness(wire, *self)


class Strung(NamedTuple):
    """Wires that keep their horizontal tension, `log_tension` (span, batch)."""

    log_tension: Array

    @property
    def slides(self) -> bool:
        """Whether nothing tells where along the line a slack string holds the wire."""
        return True

    def common(self, plane: Plane, active: Booleans) -> Array:
        """Return t."""
        return self.log_tension

    def settle(self, plane: Plane, log_tension: Array) -> tuple[Array, block.Shape, Array]:
        """Return t, its wire, and nothing."""
        wire = block.shape(plane.span, plane.rise, plane.load, self.log_tension)
        return self.log_tension, wire, np.zeros_like(wire.H)

    def excess(self, wire: block.Shape) -> tuple[Array, Array]:
        """Return nothing, and a slope that asks for nothing."""
        return np.zeros_like(wire.H), -np.ones_like(wire.H)

    def stiffness(self, wire: block.Shape) -> block.Stiffness:
        """Return how forces on ends answer to their moves."""
        return block.strung_stiffness(wire)


Wires = Kept | Strung
