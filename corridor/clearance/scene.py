"""What the rows of one batch of spans refer to: facts, and wires as they hang in every state."""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from corridor.arrays import take
from corridor.clearance.bundles import reaches
from corridor.geometry.distance import Ends
from corridor.line.hang import SIDES, Hung, case_states, hang, on_both_sides
from corridor.line.model import Model
from corridor.line.wire_path import follow

__all__ = ["Scene"]


@dataclass(frozen=True)
class Scene:
    """What the rows of one batch of spans refer to.

    `plumb` is the frame with all strings plumb; `wires` and `frame` have the wires where they rest, as the option of
    today was clipped in; `hung` tells where they are in every state at their `temperature` (wire span, option, case)
    [degC], `model` can hang them in others, in which they have the numbers `row` (wire span,); `tensed` is `hung` under
    the constants, too, that codes add for tension, the same where there are none, and `tensed_by_ruling_span` how they
    hang then by that method; `ends` and `aside` (wire span, option, case) where strings have moved them from rest.
    `centre` is None, or, where the wires are the lowest of their bundles, the scene of the middles of these. `taut` is
    the scene at that end of the history of wires at which they hang higher, None where it is not known from the other.
    """

    structures: object
    base_elevation: np.ndarray
    route: object
    spans: object
    sections: object
    wires: object
    groups: object
    frame: object
    obstacles: object
    options: tuple
    cases: tuple
    strung: object
    group: np.ndarray
    rules: object
    voltage: float
    hung: Hung
    model: Model
    ends: object
    aside: np.ndarray
    plumb: object
    temperature: np.ndarray
    row: np.ndarray
    tensed: Hung
    tensed_by_ruling_span: Hung
    centre: "Scene | None" = None
    taut: "Scene | None" = None

    def part(self, keep):
        """Return the scene of some wires alone; `keep` their numbers, ascending."""
        ends = Ends(*(field[keep] for field in self.ends))
        some = {name: getattr(self, name)[keep] for name in ("group", "hung", "tensed", "aside", "temperature", "row")}
        frames = {name: take(getattr(self, name), keep) for name in ("wires", "frame", "plumb")}
        taut = None if self.taut is None else self.taut.part(keep)
        return replace(self, ends=ends, taut=taut, **some, **frames)

    def lying(self, at, below):
        """Return catenary constants [m] and moved ends of wires, options and cases (row,), of those that pass below
        something at the end of their history at which they hang higher."""
        own = self.constant[at], *(field[at] for field in self.ends)
        if self.taut is None or not np.any(below):
            return own[0], Ends(*own[1:])
        taut = self.taut.constant[at], *(field[at] for field in self.taut.ends)
        constant, *ends = (np.where(below, high, low) for high, low in zip(taut, own, strict=True))
        return constant, Ends(*ends)

    def at_temperature(self, temperature):
        """Return the scene with wires where they hang at other temperatures (wire span, option, case) [degC], nan for
        those that are not asked about."""
        shape = (*temperature.shape, len(SIDES))
        w, o, k = np.nonzero(np.isfinite(temperature))
        w, o, k, side = on_both_sides(w, o, k)
        found = hang(self.model, case_states(self.model, self.row[w], o, k, SIDES[side], temperature[w, o, k]))
        weight, wind = (v[self.row][..., None] for v in self.model.loads[:2])
        exact = self.exact.reshape(-1, 1, 1, 1)
        hung = Hung(np.full(shape, np.nan), *np.full((2, *shape, 3), np.nan), np.full(shape, np.nan),
                    np.broadcast_to(exact, shape), np.broadcast_to(weight, shape), wind * SIDES,
                    np.zeros((*shape, 2), bool))
        for whole, some in ((hung.horizontal_tension, found.horizontal_tension), (hung.start, found.start),
                            (hung.end, found.end)):
            whole[w, o, k, side] = some
        return self.hung_as(hung, temperature=temperature, taut=None)

    def hung_as(self, hung, **more):
        """Return the scene with wires that hang otherwise, and more fields of it changed."""
        ends, aside = hung.moved(self.frame)
        return replace(self, hung=hung, ends=Ends(*(field[..., 0] for field in ends)), aside=aside[..., 0, :], **more)

    @cached_property
    def ways(self):
        """The ways of all wires through their blow, one row a wire span, option and case, in that order."""
        if self.centre is not None:
            return self.centre.ways.raised(-self.reach.down.ravel())
        w, o, k = (v.ravel() for v in np.indices(self.temperature.shape))
        return follow(self.model, self.row[w], o, k, self.temperature[w, o, k])

    def way(self, wire, option, case):
        """Return the numbers of wires in options and cases among `ways`."""
        return (wire * len(self.options) + option) * len(self.cases) + case

    @cached_property
    def reach(self):
        """How far subconductors reach from the middles of their bundles (`Reach`), (wire span, option, case)."""
        return reaches(self) if self.centre is None else self.centre.reach

    @cached_property
    def lowest(self):
        """The scene with the lowest subconductor of each bundle where its middle was; itself without bundles."""
        down = self.reach.down
        if not down.any():
            return self
        lower, taut = (None if scene is None else replace(
            scene, hung=scene.hung.raised(-down[..., None]), ends=scene.ends._replace(start=scene.ends.start - down),
            centre=scene) for scene in (self, self.taut))
        return replace(lower, taut=taut)

    def broken_spans(self, wire, case):
        """Return the names of the spans in which wires are broken in cases, None where they are whole; of (row,)."""
        model, step = self.model, np.array([each.break_step for each in self.cases])[case]
        chain, place = model.place_of(self.row[wire])
        there = (step != 0) & (place + step >= 0) & (place + step < model.chains.count[chain])
        beside = model.chains.row[chain, np.where(there, place + step, place)]
        return np.where(there, model.spans.name[model.wires.span[beside]], None)

    @property
    def depth(self):
        """How far the highest subconductor of each bundle is above the wires of the scene, where these are the lowest;
        (wire span, option, case) [m]."""
        return self.reach.up + self.reach.down

    @property
    def subconductors(self):
        """Subconductors of each wire, (wire span, option)."""
        return self.model.subconductors[self.group]

    @property
    def exact(self):
        """Whether wires are in equilibrium, not hung by a ruling span; shape (wire span,)."""
        return self.hung.exact[:, 0, 0, 0]

    @property
    def constant(self):
        """Catenary constants in still air [m], or with the wind to the right, shape (wire span, option, case)."""
        return self.hung.constant[..., 0]
