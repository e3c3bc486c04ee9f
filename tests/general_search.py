"""The equilibrium of a section by a general search, from equations written anew: what corridor's own is held against.

It starts from plumb strings and knows neither balls nor walls nor steps of its own: all equations at once, and of each
string that it is taut or without force.
"""

import numpy as np
from scipy.optimize import root

from corridor.mechanics.equilibrium import solve
from corridor.mechanics.supports import FREE, POST

from .relief_sections import LAW, clipped, loaded

__all__ = ["General", "compare"]


class General:
    """One section as equations for a general search: wire ends, of every string what it pulls per metre [kN/m], bends
    of posts, ln H of every span. Lengths, forces and elongation are written anew from the catenary and Hooke's law."""

    def __init__(self, supports, unstressed, load, temperature):
        self.hinge, self.kind, self.length, self.weight, self.wind, self.stiffness, self.across = supports
        self.unstressed, self.load, self.rise = unstressed, load, temperature - 20.0
        self.free, self.posts = np.flatnonzero(self.kind == FREE), np.flatnonzero(self.kind == POST)
        level = np.diff(self.hinge[:, :2], axis=0)
        level /= np.linalg.norm(level, axis=1, keepdims=True)
        both = np.pad(level, ((0, 1), (0, 0))) + np.pad(level, ((1, 0), (0, 0)))
        self.line = np.pad(both / np.linalg.norm(both, axis=1, keepdims=True), ((0, 0), (0, 1)))[self.posts]

    def start(self, tension):
        """Strings plumb, at dead ends towards the next support; all spans at one tension."""
        way, last = np.tile([0, 0, -1.0], (len(self.kind), 1)), len(self.kind) - 1
        for node, other in ((0, 1), (last, last - 1)):
            ahead = self.hinge[other] - self.hinge[node]
            way[node] = ahead / np.linalg.norm(ahead)
        offset = (self.length[:, None] * way)[self.free]
        return np.r_[offset.ravel(), np.ones(len(self.free)), np.zeros(len(self.posts)),
                     np.full(len(self.load), np.log(tension))]

    def parts(self, unknown):
        """Wire ends, pulls, bends and ln H."""
        many = len(self.free)
        offset, pull, bend, t = np.split(unknown, np.cumsum([3 * many, many, len(self.posts)]))
        end = self.hinge.copy()
        end[self.free] += offset.reshape(-1, 3)
        end[self.posts] += bend[:, None] * self.line
        return end, pull, bend, t

    def __call__(self, unknown):
        end, pull, bend, t = self.parts(unknown)
        on_start, on_end, misfit = self.wires(end, np.exp(t))
        force = self.wind / 2 - self.weight[:, None] * np.array([0, 0, 0.5])
        force[:-1] += on_start
        force[1:] += on_end
        offset = end[self.free] - self.hinge[self.free]
        room = self.length[self.free] ** 2 - (offset**2).sum(axis=1)
        # Nothing where one of both is nothing and the other is not negative (Fischer and Burmeister).
        tie = pull + room - np.hypot(pull, room)
        answer = self.stiffness[self.posts] * bend
        along = ((on_start[self.posts] + on_end[self.posts - 1]) * self.line).sum(axis=1) if len(self.posts) else answer
        across = force[self.free] / 1e3 - pull[:, None] * offset
        # The arms of a V hold what pulls across the line, and its end stays between them.
        arm = self.across[self.free]
        across += ((offset - across) * arm).sum(axis=1)[:, None] * arm
        return np.r_[across.ravel(), tie, (along - answer) / 1e3, misfit * 1e5]

    def wires(self, end, H):
        """Forces on the ends of wires [N], and misfit of lengths [-]; sinh of `first` and `last` are the end slopes."""
        q = np.linalg.norm(self.load, axis=1)
        down = self.load / q[:, None]
        chord = np.diff(end, axis=0)
        fall = (chord * down).sum(axis=1)
        level = chord - fall[:, None] * down
        S, C = np.linalg.norm(level, axis=1), H / q
        middle = np.arcsinh(-fall / (2 * C * np.sinh(S / (2 * C))))
        first, last = middle - S / (2 * C), middle + S / (2 * C)
        L = C * (np.sinh(last) - np.sinh(first))
        F = H / (2 * L) * (S + C / 2 * (np.sinh(2 * last) - np.sinh(2 * first)))
        along = level / S[:, None]
        return (H[:, None] * (along - np.sinh(first)[:, None] * down),
                H[:, None] * (np.sinh(last)[:, None] * down - along), L / self.unstressed - 1 - self.strain(F))

    def strain(self, F):
        """Both parts carry what Hooke's law and their free lengths say, the outer one no less than its compression."""
        Ko, Kc, ao, ac, so, sc, comp = LAW
        free_o, free_c = ao * self.rise + so, ac * self.rise + sc
        both = (F + Ko * free_o + Kc * free_c) / (Ko + Kc)
        return np.where(Ko * (both - free_o) < -comp, free_c + (F + comp) / Kc, both)


def compare(sections, case, many):
    """Return how many sections were tried until SciPy had found so many, and the maximum distance of wire ends [m]."""
    supports, load, T = loaded(sections, case)
    L0 = clipped(sections).unstressed
    found = solve(supports, L0, load, T, LAW, count=sections.count)
    tried, solved, worst = 0, 0, 0.0
    rows = np.flatnonzero((sections.count > 1) & np.isfinite(sections.horizontal_tension))
    for i in np.random.default_rng(1).permutation(rows):
        if solved == many:
            break
        tried += 1
        n = sections.count[i]
        alone = General(type(supports)(*(field[i, : n + 1] for field in supports)), L0[i, :n], load[i, :n], T[i])
        with np.errstate(all="ignore"):  # on its way it tries what hangs nowhere
            search = root(alone, alone.start(sections.horizontal_tension[i]), method="lm", options={"maxiter": 20000})
        if np.abs(search.fun).max() < 1e-6:
            solved += 1
            away = alone.parts(search.x)[0] - found.end[i, : n + 1]
            worst = max(worst, float(np.linalg.norm(away, axis=1).max()))
    return tried, worst
