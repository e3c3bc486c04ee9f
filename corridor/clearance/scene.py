"""What the rows of one batch of spans refer to: facts, and wires as they hang in every state."""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from corridor.arrays import names_of, take
from corridor.clearance.bundles import reaches
from corridor.geometry.distance import Ends
from corridor.line.elongation_laws import reshape_law
from corridor.line.hang import SIDES, Hung, case_states, hang, on_both_sides
from corridor.line.model import Model
from corridor.line.wire_path import follow

__all__ = ["Scene"]


@dataclass(frozen=True)
class Scene:
    """What the rows of one batch of spans refer to.

    `plumb` is the frame with all strings plumb; `wires` and `frame` have the wires where they rest, as the option of
    today was clipped in; `hung` tells where they are in every state at their `temperature` (wire span, option, case)
    [°C], `model` can hang them in others, in which they have the numbers `row` (wire span,); `tensed` is `hung` under
    the constants, too, that codes add for tension, the same where there are none, and `tensed_by_ruling_span` how they
    hang then by that method; `ends` and `aside` (wire span, option, case) where strings have moved them from rest.
    `centre` is None, or, where the wires are the lowest of their bundles, the scene of the middles of these. `taut` is
    the scene at that end of the history of wires at which they hang higher, None where it is not known from the other;
    there `temperature` is nan where both ends are one.
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
        ends = take(self.ends, keep)
        some = {name: getattr(self, name)[keep] for name in ("group", "hung", "tensed", "aside", "temperature", "row")}
        frames = {name: take(getattr(self, name), keep) for name in ("wires", "frame", "plumb")}
        taut = None if self.taut is None else self.taut.part(keep)
        return replace(self, ends=ends, taut=taut, **some, **frames)

    def of_option(self, option):
        """Return the scene with the wires of one option (its index) alone: those of others hang nowhere, and no
        temperature is known of them."""
        others = np.arange(len(self.options)) != option

        def without(column):
            return np.where(others.reshape(-1, *(1,) * (column.ndim - 2)), np.nan, column)

        names = ("horizontal_tension", "start", "end")
        hung = replace(self.hung, **{name: without(getattr(self.hung, name)) for name in names})
        return self.hung_as(hung, temperature=without(self.temperature),
                            taut=self.taut and self.taut.of_option(option))

    def among(self, obstacles):
        """Return the scene among other Obstacles, at both ends of the history."""
        return replace(self, obstacles=obstacles, taut=self.taut and self.taut.among(obstacles))

    def lying(self, at, higher):
        """Return catenary constants [m] and moved ends of wires, options and cases (row,), of those that are told to at
        the end of their history at which they hang higher."""
        own = self.constant[at], *(field[at] for field in self.ends)
        if self.taut is None or not np.any(higher):
            return own[0], Ends(*own[1:])
        taut = self.taut.constant[at], *(field[at] for field in self.taut.ends)
        constant, *ends = (np.where(higher, high, low) for high, low in zip(taut, own, strict=True))
        return constant, Ends(*ends)

    @property
    def both_ends(self):
        """The scene, and that at the other end of the history where it is another."""
        return (self,) if self.taut is None else (self, self.taut)

    def after(self, history, wire, case):
        """Return how wires (row,) hang in a case in still air after a `history`, 0 with all loads and 1 with none:
        start and end (row, option, 3) [m], catenary constant [m], and whether that is the taut end (row, option)."""
        at = wire, slice(None), case, 0
        own = self.hung.start[at], self.hung.end[at], self.constant[at[:3]]
        if self.taut is None:
            return *own, np.zeros(own[2].shape, bool)
        strung = self.model.strung
        loaded = np.all([(a == b[..., None]) | np.isnan(a) for a, b in zip(
            strung.part, reshape_law(strung.final, strung.excess.shape), strict=True)], axis=0)
        higher = (loaded[self.group][at[:3]] == bool(history)) & np.isfinite(self.taut.temperature[at[:3]])
        taut = self.taut.hung.start[at], self.taut.hung.end[at], self.taut.constant[at[:3]]
        start, end = (np.where(higher[..., None], b, a) for a, b in zip(own[:2], taut[:2], strict=True))
        return start, end, np.where(higher, taut[2], own[2]), higher

    def at_temperature(self, temperature, both=False):
        """Return the scene with wires where they hang at other temperatures (wire span, option, case) [°C], nan for
        those that are not asked about; of wires (wire span,) at `both` ends of their history."""
        shape = (*temperature.shape, len(SIDES))
        asked = np.isfinite(temperature)
        weight, wind = (v[self.row][..., None] for v in self.model.loads[:2])
        exact = self.exact.reshape(-1, 1, 1, 1)
        hung = Hung(np.full(shape, np.nan), *np.full((2, *shape, 3), np.nan), np.full(shape, np.nan),
                    np.broadcast_to(exact, shape), np.broadcast_to(weight, shape), wind * SIDES,
                    np.zeros((*shape, 2), bool))
        scene = self.hung_as(self._hung_at(self.model, hung, temperature, asked), temperature=temperature, taut=None)
        asked = asked & self.model.strung.final_doubtful[self.group] & np.reshape(both, (-1, 1, 1))
        if not asked.any():
            return scene
        model = replace(self.model, taut=True)
        taut = scene.hung_as(self._hung_at(model, scene.hung, temperature, asked), model=model,
                             temperature=np.where(asked, temperature, np.nan))
        return replace(scene, taut=taut)

    def _hung_at(self, model, hung, temperature, asked):
        """Wires with those that are asked for (wire span, option, case) where a model hangs them at temperatures."""
        w, o, k, side = on_both_sides(*np.nonzero(asked))
        found = hang(model, case_states(model, self.row[w], o, k, SIDES[side], temperature[w, o, k]))
        columns = [np.array(each) for each in (hung.horizontal_tension, hung.start, hung.end)]
        for whole, some in zip(columns, (found.horizontal_tension, found.start, found.end), strict=True):
            whole[w, o, k, side] = some
        return replace(hung, horizontal_tension=columns[0], start=columns[1], end=columns[2])

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

    def asked(self, wire, cases):
        """Return the rows of wires (row,), options and numbers in `cases` of the states that are asked about: of others
        no temperature is known."""
        return np.nonzero(np.isfinite(self.temperature[wire][:, :, cases]))

    def way(self, wire, option, case):
        """Return the numbers of wires in options and cases among `ways`."""
        return (wire * len(self.options) + option) * len(self.cases) + case

    def of_way(self, way):
        """Return the wires, options and cases of numbers among `ways`."""
        return np.unravel_index(way, self.temperature.shape)

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

    def keys(self, span, option, case=None):
        """Return the columns that name rows of spans, options and, where they are given, cases; each (row,)."""
        named = {} if case is None else {"case": names_of(self.cases)[case]}
        spans = self.spans
        return {"line": spans.line[span], "span": spans.name[span], "section": self.sections.name[spans.section[span]],
                "option": names_of(self.options)[option], **named}

    def broken_spans(self, wire, case):
        """Return the names of the spans in which wires are broken in cases, None where they are whole; of (row,)."""
        model, step = self.model, np.array([each.break_step for each in self.cases])[case]
        run, place = model.place_of(self.row[wire])
        there = (step != 0) & (place + step >= 0) & (place + step < model.runs.count[run])
        beside = model.runs.row[run, np.where(there, place + step, place)]
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
