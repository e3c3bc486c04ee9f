"""What wires do to their ends, of both spans together at every string: loads down, right along the crossarm, and ahead.

Where the state of a section is another for each span that is looked at, a structure has two states beside one another:
that of the span back and that of the span ahead of it. With a broken wire they are that the wire is broken beside it,
and that it is whole.
"""

import numpy as np
import shapely

from corridor.arrays import names_of
from corridor.clearance.capacity import states_at_structures
from corridor.constants import GRAVITY
from corridor.line.hang import SIDES, case_states, hang
from corridor.mechanics.supports import end_forces

__all__ = ["LIFTED", "Ends", "end_loads"]

#: Place in a wire run of a span that is looked at, where none is.
_NONE = -1
#: Wires that pull a string down by less than this share of its weight are said to lift it.
LIFTED = 0.5


class Ends:
    """Ends of wire spans put together at structures; columns (row,): `structure`, `wire`, `section`, `side`."""

    def __init__(self, scene):
        self.scene = scene
        wires, spans = scene.wires, scene.spans
        structure = np.r_[spans.tail[wires.span], spans.head[wires.span]]
        section = np.r_[spans.section[wires.span], spans.section[wires.span]]
        name = np.r_[wires.wire, wires.wire]
        key = [f"{s:09d} {c:09d} {w}" for s, c, w in zip(structure, section, name, strict=True)]
        _, first, self.of_end = np.unique(key, return_index=True, return_inverse=True)
        self.structure, self.wire, self.section = structure[first], name[first], section[first]
        self.kind, self.circuit = np.r_[wires.kind, wires.kind][first], np.r_[wires.circuit, wires.circuit][first]
        string = np.r_[wires.string_start, wires.string_end]
        self.string = string[first]
        self.weight = np.r_[wires.mass_start, wires.mass_end][first] * GRAVITY
        self.area = np.r_[wires.area_start, wires.area_end][first]
        # Vertical load per length of all subconductors [N/m]; of two unlike spans at one string the mean.
        load = np.concatenate([scene.hung.weight[..., 0] * scene.subconductors[..., None]] * 2)
        self.load = np.zeros((len(first), *load.shape[1:]))
        np.add.at(self.load, self.of_end, load)
        self.load /= np.bincount(self.of_end)[:, None, None]
        self.wind_span = np.bincount(self.of_end, np.r_[wires.length, wires.length] / 2)
        both = np.bincount(self.of_end) > 1
        self.side = np.where(both, None, np.where(first < len(wires), "ahead", "back"))

    def summed(self, loads, vertical=1.0, wind=1.0):
        """Loads of all ends (end, option, case, state, 3) summed at the rows, with strings and wind on them, times
        factors of the cases."""
        total = np.zeros((len(self.structure), *loads.shape[1:]))
        np.add.at(total, self.of_end, loads)
        total[..., 0] += self.weight[:, None, None, None] * np.reshape(vertical, (-1, 1))
        pressure = wind * np.array([case.wind for case in self.scene.cases])
        total[..., 1] += self.area[:, None, None, None] * pressure[:, None] * np.resize(SIDES, total.shape[3])
        return total

    def lifting(self, forces, broken):
        """Whether wires lift the string of each row in any state, or all but do, (row, option, case)."""
        weight = self.weight[:, None, None]
        # What a wire that is broken beside a string draws along from one side alone it does not lift.
        drawn = broken[:, None] & (np.arange(forces.shape[3]) % self._width < len(SIDES))
        least = np.fmin.reduce(np.where(drawn, np.inf, forces[..., 0]), axis=-1)
        return (self.string[:, None, None] > 0) & (least - weight < LIFTED * weight)

    def compared(self, forces, loads, broken):
        """Sizes of the forces that are compared, (row, option, case, end of the history, 3) [N]: of all states the
        greatest; along the line, where a wire runs through, the horizontal pull of its tighter span, but in cases that
        are `broken`."""
        sizes = self.by_end(np.abs(forces)).max(axis=4)
        pull = np.zeros(sizes.shape[:4])
        aside = self.by_end(np.hypot(loads[..., 1], loads[..., 2])[..., None])[..., 0]
        np.maximum.at(pull, self.of_end, aside.max(axis=4))
        through = np.equal(self.side, None)[:, None, None, None] & ~broken[:, None]
        sizes[..., 2] = np.where(through, pull, sizes[..., 2])
        return sizes

    def told(self, forces, uplift, by_span):
        """The state that is told of each row, (row, option, case)."""
        by_end = self.by_end(forces)
        sizes = np.nan_to_num(np.abs(by_end))
        state = np.where(by_span[:, None, None], sizes[..., 2], sizes[..., 1]).argmax(axis=-1)
        force = np.take_along_axis(by_end, state[..., None, None], -2)[..., 0, :]
        size = np.where(uplift[..., None], -force[..., 0], np.linalg.norm(force, axis=-1))
        end = np.where(np.isnan(size), -np.inf, size).argmax(axis=-1)
        return self._width * end + np.take_along_axis(state, end[..., None], -1)[..., 0]

    def by_end(self, values):
        """Values (row, option, case, state, n) of both ends of the history, (row, option, case, end, state, n)."""
        return values.reshape(*values.shape[:3], -1, self._width, values.shape[-1])

    @property
    def _width(self):
        return self.states * len(SIDES)

    @property
    def states(self):
        """How many states beside one another a structure has, for each side of the wind."""
        return states_at_structures(self.scene.cases)

    def of_both(self, values):
        """A value that both ends at a string share, (end, ..., side) to (row, ..., state): in cases that are `by_span`
        as the span back of it is looked at, and then as that ahead is."""
        half = len(values) // 2
        found = []
        for first, last in (((0, half), (half, None)), ((half, None), (0, half)))[:self.states]:
            result = np.empty((len(self.structure), *values.shape[1:]))
            for own in (slice(*first), slice(*last)):
                result[self.of_end[own]] = values[own]
            found.append(result)
        return np.concatenate(found, axis=-1)

    def of_any(self, values):
        """Whether it is so at any end of the rows."""
        result = np.zeros((len(self.structure), *values.shape[1:]), bool)
        np.logical_or.at(result, self.of_end, values)
        return result

    def keys(self, r, o, k):
        """Columns that name the rows, and the place."""
        scene, s = self.scene, self.structure[r]
        x = scene.structures
        place = np.stack([x.easting, x.northing, scene.base_elevation], axis=-1)
        return {
            "line": x.line[s], "structure": x.structure[s], "role": x.role[s], "wire": self.wire[r],
            "section": scene.sections.name[self.section[r]], "section_side": self.side[r],
            "option": names_of(scene.options)[o],
            "case": names_of(scene.cases)[k],
            "geometry": shapely.points(place)[s],
        }


def end_loads(scene):
    """Return the loads of all subconductors at every wire end on its structure: down, right, ahead [N]; (end, option,
    case, state, 3); and of them the half of the wind on the wire.

    Constants that codes add to the resultant are in the tension alone, not in weight and wind (Rule 252 of ANSI C2,
    recalled).
    """
    whole = _pulls(scene, scene.tensed, scene.hung.vectors)
    if states_at_structures(scene.cases) == 1:
        states = [whole]
    else:
        step = np.array([case.break_step for case in scene.cases])[:, None, None]
        before, after = (_pulls(scene, *_looked_at_beside(scene, step)) for step in (-1, 1))
        # A span that begins at a structure has the broken wire if that is ahead, one that ends there if it is back.
        back = np.where(step == 1, 0.0, before[0]), np.where(step == -1, 0.0, whole[1])
        states = [back, (np.where(step == 0, whole[0], after[0]), after[1])]
    start, end = (np.concatenate(each, axis=3) for each in zip(*states, strict=True))
    # What both ends of a wire bear together is all that is on it.
    wind_load = (start + end) / 2 * [1.0, 1.0, 0.0]
    return tuple(np.concatenate([_about(scene.frame.arm_start, first), _about(scene.frame.arm_end, last)])
                 for first, last in ((start, end), (wind_load, wind_load)))


def _pulls(scene, hung, vectors):
    """What wires of all subconductors do to their starts and to their ends [N], (wire span, option, case, side, 3)."""
    spare = scene.tensed_by_ruling_span
    lost = np.isnan(hung.horizontal_tension)
    H = np.where(lost, spare.horizontal_tension, hung.horizontal_tension)
    start, end = (np.where(lost[..., None], b, a) for a, b in ((hung.start, spare.start), (hung.end, spare.end)))
    pulls = end_forces(start, end, vectors, H)
    if hung.lifted.any():
        held = end_forces(hung.held.start, hung.held.end, vectors, hung.held.horizontal_tension)
        pulls = [np.where(hung.lifted[..., i, None], b, a) for i, (a, b) in enumerate(zip(pulls, held, strict=True))]
    return [each * scene.subconductors[..., None, None, None] for each in pulls]


def _looked_at_beside(scene, step):
    """Wires as they hang, and their load vectors, as the span before (-1) or after (1) them is looked at in cases with
    ice on some spans; and whole (1) in cases with a broken wire."""
    model, row, shape = scene.model, scene.row, scene.tensed.horizontal_tension.shape
    chosen = [case.by_span and (case.broken is None or step == 1) for case in scene.cases]
    w, o, k, side = (v[..., chosen, :].ravel() for v in np.indices(shape))
    run, place = model.place_of(row[w])
    beside = np.where((place + step >= 0) & (place + step < model.runs.count[run]), place + step, place)
    broken = np.array([case.broken is not None for case in scene.cases])[k]
    states = case_states(model, row[w], o, k, SIDES[side], looked_at=np.where(broken, _NONE, beside))
    found, vectors = hang(model, states, held=True), scene.hung.vectors
    vectors[w, o, k, side] = found.vectors
    return scene.tensed.with_rows((w, o, k, side), found), vectors


def _about(arm, pull):
    """Vectors of the span's frame as down, right along the crossarm, and ahead."""
    a, b = (arm[:, i, None, None, None] for i in (0, 1))
    return np.stack([-pull[..., 2], pull[..., 0] * a + pull[..., 1] * b, pull[..., 0] * b - pull[..., 1] * a], axis=-1)
