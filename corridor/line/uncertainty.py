"""How sure inputs are: their standard deviations, what errs alike, and scores drawn from a Latin hypercube."""

from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import sha256

import numpy as np
import scipy  # its parts load when they are first used

from corridor.arrays import Array

__all__ = ["Deviation", "Uncertainty", "drawn"]


@dataclass(frozen=True)
class Deviation:
    """The standard deviation `sd` of an input in its `unit`, "" of a share, nan where every conductor has its own; in
    what `common` it is one error: "line", "section", "wire" (of a section), "span" or "structure"; and its `source`."""

    sd: float
    common: str
    source: str
    unit: str = ""


@dataclass(frozen=True)
class Uncertainty:
    """The deviations of `inputs` by name, and how many `draws` are made of them, 0: the first order alone."""

    inputs: Mapping[str, Deviation]
    draws: int = 0


def drawn(name: str, key: str, count: int) -> Array:
    """Return scores of an error, of mean 0 and standard deviation 1: one in each of `count` equally likely parts.

    One column of a Latin hypercube. Its order hangs on its name and key alone: whoever asks for the same error gets
    the same scores, and whoever asks for another one independent scores.

    Examples
    --------
    >>> scores = drawn("modulus", "north", 1000)
    >>> float(abs(scores.mean())) < 0.01, round(float(scores.std()), 2), bool((scores > 0).sum() == 500)
    (True, 1.0, True)
    """
    order = np.random.default_rng(int.from_bytes(sha256(f"{name}\n{key}".encode()).digest()[:8], "big"))
    share = (order.permutation(count) + order.uniform(0.001, 0.999, count)) / count
    return np.asarray(scipy.special.ndtri(share), float)
