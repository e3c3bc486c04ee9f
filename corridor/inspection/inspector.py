"""Inspection: every check asked of what was read and of what lies about the line."""

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from types import ModuleType

import numpy as np
import shapely

from corridor.assessment import Ground, Plan
from corridor.errors import InputError, nearest
from corridor.inputs.study_inputs import Inputs
from corridor.inspection import ground, heights, places, rules, states, surface, tops, wires
from corridor.inspection.around import Seen, Under, things_near
from corridor.inspection.doubt import SERIOUS, Doubt, Kind
from corridor.inspection.evidence import Evidence
from corridor.inspection.surface import OnGround
from corridor.opened import Opened

__all__ = ["CHECKS", "KINDS", "MODULES", "Inspection", "Inspector", "Judged", "inspect_study"]

#: Every check, in the order in which its doubts are told.
CHECKS: tuple[Callable, ...] = (
    heights.bases, heights.attachments, heights.strings, ground.unit, ground.holes, ground.surface, ground.coarse,
    surface.level, surface.unit, surface.own_cells, tops.single_heights, tops.low_layers, tops.layers_of_ways,
    places.layers, places.feet, places.turns, places.spans, places.right_of_way, wires.conductors, wires.stringing,
    wires.tensions, states.cases, states.temperatures, states.rating, states.voltages, rules.categories, rules.sizes)

#: Modules of checks by what they look at.
MODULES: dict[str, ModuleType] = {
    "Heights of the line": heights, "The ground": ground, "The surface": surface, "What stands about the line": tops,
    "Places": places, "Wires": wires, "Weather and voltages": states, "Rules": rules}

#: Every kind of doubt by its id.
KINDS: dict[str, Kind] = {kind.id: kind for module in MODULES.values() for kind in module.KINDS}


@dataclass(frozen=True)
class Judged:
    """A doubt with what the study says of it: `accepted`, and the reason, None where it is not."""

    doubt: Doubt
    accepted: bool
    reason: str | None

    @property
    def open(self) -> bool:
        """Whether it could hide a violation and nobody has accepted it."""
        return self.doubt.kind.severity == SERIOUS and not self.accepted


@dataclass(frozen=True)
class Inspection:
    """What inspection comes to: the doubts in their order, and what the study accepts that is no doubt.

    `layers` names of the layers of obstacles, with numbers of their features, of those within 500 m of boxes about
    the line, and of those within 60 m of the line. `assumptions` of the study that nobody has confirmed.
    """

    doubts: tuple[Judged, ...]
    idle: tuple[str, ...]
    layers: tuple[tuple[str, int, int, int], ...] = ()
    assumptions: tuple[str, ...] = ()

    @property
    def open(self) -> int:
        """Number of serious doubts that are not accepted."""
        return sum(each.open for each in self.doubts)

    @property
    def status(self) -> int:
        """Exit status: 0 no serious doubt, or all of them accepted, and nothing assumed; 3 a doubt is open, or an
        assumption is not confirmed."""
        return 3 if self.open or self.assumptions else 0

    @property
    def warnings(self) -> tuple[str, ...]:
        """What is to be said of acceptances."""
        return tuple(f"the study accepts a doubt that is none: {text}" for text in self.idle)

    def columns(self) -> dict[str, np.ndarray]:
        """Return the rows of the layer `doubts`, as columns."""
        rows = self.doubts
        texts = {
            "doubt": [row.doubt.kind.id for row in rows], "severity": [row.doubt.kind.severity for row in rows],
            "file": [row.doubt.file for row in rows], "feature": [row.doubt.feature for row in rows],
            "subject": [row.doubt.kind.title for row in rows], "found": [row.doubt.found for row in rows],
            "expected": [row.doubt.expected for row in rows], "advice": [row.doubt.kind.settle for row in rows],
            "reason": [row.reason for row in rows]}
        columns = {name: np.array(values, object) for name, values in texts.items()}
        columns["accepted"] = np.array([row.accepted for row in rows], bool)
        columns["geometry"] = np.full(len(rows), None, object)
        columns["geometry"][:] = [None if row.doubt.place is None else shapely.Point(row.doubt.place) for row in rows]
        return columns


class Inspector:
    """Looks at a corridor: `look` at spans, all of them once, `take` what is seen there, then `conclude`.

    Parameters
    ----------
    inputs : Inputs
    plan : Plan
        The line laid out; its ground need not be known.
    ground : Ground

    Raises
    ------
    InputError
        The study accepts what is no kind of doubt.
    """

    def __init__(self, inputs: Inputs, plan: Plan, ground: Ground) -> None:
        _check_accepted(inputs.study)
        f = inputs.framings
        phases = f.offset[f.kind == "phase"]
        offsets = tuple(sorted({0.0, *(float(v) for v in (phases.min(), phases.max()) if abs(v) > 1)})) if len(
            phases) else (0.0,)
        things = things_near(inputs.index, inputs.structures, plan.spans)
        self._under = Under(inputs.structures, plan.spans, things, inputs.terrain.cell_size, offsets)
        over = None if inputs.surface is None else OnGround(inputs.surface, inputs.structures, plan.spans)
        self._evidence = Evidence(inputs, plan, things, self._under, ground.sample, over)

    def look(self, first: int, last: int) -> Seen:
        """Ask the ground about spans `first` to `last`; return what is seen there, and change nothing."""
        seen, over = self._under.look(self._evidence.sample, first, last), self._evidence.over
        return seen if over is None else seen._replace(above=over.look(self._evidence.sample, first, last))

    def take(self, seen: Seen) -> None:
        """Take note of what was seen, in the order of the spans."""
        self._under.take(seen)
        if self._evidence.over is not None:
            self._evidence.over.take(seen.above)

    def add(self, layer: str, columns: dict[str, np.ndarray]) -> None:
        """Take note of findings, which tell what of the surface was taken for our own."""
        if layer == "point_clouds" and self._evidence.over is not None:
            self._evidence.over.add(columns)

    def conclude(self) -> Inspection:
        """Return all doubts, with what the study accepts."""
        found = [doubt for check in CHECKS for doubt in check(self._evidence)]
        return judge(found, self._evidence.inputs.study, self._layers())

    def _layers(self):
        obstacles, things = self._evidence.inputs.index.obstacles, self._evidence.things
        near = Counter(obstacles.layer[np.unique(things.obstacle)].tolist())
        return tuple((each.name, each.features, each.near, near[each.name]) for each in self._evidence.inputs.layers)


def _check_accepted(study):
    """Refuse what a study accepts that is no kind of doubt."""
    for i, each in enumerate(study.accepted):
        if each.id not in KINDS:
            close = nearest(each.id, KINDS)
            raise InputError(study.path, f"accepted.{i}.id", repr(each.id), ", ".join(KINDS), close and repr(close))


def judge(doubts, study, layers=()) -> Inspection:
    """Return doubts with what a study accepts of them, the open serious ones first.

    Parameters
    ----------
    doubts : sequence of Doubt
    study : Study
    layers : sequence
        As in `Inspection`.
    """
    accepted = study.accepted

    def reason(doubt):
        return next((each.reason for each in accepted if each.id == doubt.kind.id
                     and (not each.features or doubt.feature in each.features)), None)

    rows = [Judged(doubt, reason(doubt) is not None, reason(doubt)) for doubt in doubts]
    rows.sort(key=lambda row: (not row.open, row.doubt.kind.severity != SERIOUS))
    met = {(doubt.kind.id, doubt.feature) for doubt in doubts}
    idle = [f"{each.id}{f': {name}' if name else ''}" for each in accepted for name in each.features or (None,)
            if not any(id_ == each.id and name in (None, feature) for id_, feature in met)]
    return Inspection(tuple(rows), tuple(idle), layers, study.unconfirmed)


def inspect_study(opened: Opened) -> Inspection:
    """Look at the data of a study and tell what is doubtful; nothing is computed of wires.

    Raises
    ------
    InputError
        Something given cannot be used.
    """
    laid = opened.laid_out
    inspector = Inspector(opened.inputs, laid.plan, opened.ground)
    inspector.take(inspector.look(0, len(laid.plan.spans) - 1))
    return inspector.conclude()
