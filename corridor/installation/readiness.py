"""What must be ready before a wire is put up: passed, failed, or not given."""

import numpy as np
import shapely

__all__ = ["FAILED", "NOT_GIVEN", "PASSED", "lost_rows", "readiness_rows"]

PASSED, FAILED, NOT_GIVEN = "passed", "failed", "not given"


def readiness_rows(scene, course, rows, rules, stringing, knees, marks, *, first):
    """Return the rows of `installation` of one pull, as dicts.

    Parameters
    ----------
    scene : Scene
    course : Course
    rows : PullRows
    rules : WireRules
    stringing : Stringing
    knees : dict
        By option, knee [°C] with the pretension of the study and without it; nothing where it has none.
    marks : dict
        By option and structure at which heights differ enough for it, the greatest offset of a clamp [m], nan where one
        is not known, and the rule.
    first : bool
        Whether what is alike for all pulls is told, too: it is told once.
    """
    facts = scene, course, rows, rules, stringing, knees
    each = [_Checks(*facts, marks.get(pull["option"], {}), pull) for pull in rows.pulls]
    return [row for one in each for row in ((one.everywhere() if first else []) + one.rows())]


def lost_rows(facts, pulled, plan, lost=()):
    """Return the rows of a pull through which no wire runs, one an option; `lost` names of those that begin or end in
    it."""
    s, x = plan.spans.tail[pulled.first], facts.structures
    place = shapely.Point(x.easting[s], x.northing[s], plan.base_elevation[s])
    words = f"not all through: {', '.join(lost)}" if lost else "no phase wire hangs here"
    return [{"line": pulled.line, "pull": pulled.name, "option": option.name, "check": "wires run through",
             "state": FAILED, "note": words, "geometry": place} for option in facts.options]


def _section(scene, course):
    """Name of the section of a pull, None where it has several."""
    spans = scene.spans
    own = np.unique(spans.section[np.isin(spans.tail, course.structure[:-1])])
    return scene.sections.name[own[0]] if len(own) == 1 else None


class _Checks:
    """The checks of one pull in one option."""

    def __init__(self, scene, course, rows, rules, stringing, knees, marks, pull):
        self.marks = marks
        self.scene, self.course, self.rules, self.stringing, self.pull = scene, course, rules, stringing, pull
        self.option = next(each for each in scene.options if each.name == pull["option"])
        self.wire, self.knees = self.option.wiring.conductor, knees
        self.crossings, self.travellers, self.reels = ([row for row in part if row["option"] == pull["option"]]
                                                       for part in (rows.pull_crossings, rows.travellers, rows.reels))
        self.key = {name: pull[name] for name in ("line", "pull", "option")} | {"section": _section(scene, course)}
        self.place = shapely.Point(shapely.get_coordinates(pull["geometry"], include_z=True)[1])

    def rows(self):
        """What is for this pull alone, its structures last."""
        return [*self.tension(), *self.ground(), *self.machines(), *self.reeling(),
                *(row for each in self.travellers for row in self.at_structure(each))]

    def everywhere(self):
        """What is alike for all pulls."""
        return [row | {"pull": None, "section": None} for row in
                (*self.travelling(), *self.wire_given(), *self.times(), *self.fittings())]

    def row(self, check, state, value=np.nan, limit=np.nan, unit=None, *, rule=None, note=None, **more):
        return self.key | {"check": check, "state": state, "value": value, "limit_value": limit, "unit": unit,
                           "source": None if rule is None else rule.told, "note": note, "geometry": self.place} | more

    def held(self, item, value, unit, *, factor=1.0, note=None, check=None, **more):
        """The row of a number beside the strictest rule about it; none where no rule is for such a wire."""
        limit, rule = self.rules.strictest(self.wire, item)
        value = np.nan if value is None else value
        if rule is None:
            return [self.row(check or item, NOT_GIVEN, value * factor, unit=unit, note="the rule has no number", **more)
                    ] if self.rules.of(self.wire, item) else []
        kept = value <= limit * (1 + 1e-6) if rule.bound == "most" else value >= limit * (1 - 1e-6)
        state = NOT_GIVEN if np.isnan(value) else PASSED if kept else FAILED
        return [self.row(check or item, state, value * factor, limit * factor, unit, rule=rule, note=note, **more)]

    def beside(self, check, have, need, unit, *, note=None, **more):
        """The row of what the crew has beside what is needed."""
        state = NOT_GIVEN if have is None or np.isnan(need) else PASSED if need <= have else FAILED
        return self.row(check, state, need, np.nan if have is None else have, unit, note=note, **more)

    def tension(self):
        """Tension while the wire is pulled."""
        rows = self.held("pulling tension", self.pull["percent_rts"] / 100, "% of RTS", factor=100)
        rows += self.held("pulling tension beside sagging", self.pull["percent_of_sagging"] / 100,
                          "% of sagging", factor=100)
        if self.course.lost:
            rows.append(self.row("wires run through", FAILED, note=f"not all through: {', '.join(self.course.lost)}"))
        return rows

    def ground(self):
        """What lies below the wire while it is pulled."""
        low = self.pull["minimum_height_m"]
        state = NOT_GIVEN if np.isnan(low) else PASSED if low > 0 else FAILED
        rows = [self.row("off the ground", state, low, 0.0, "m", note=None if state == PASSED else
                         "layer pulled_spans tells where")]
        for each in self.crossings:
            if each["state"] == "clear":
                continue
            wrong = each["state"] == "in the way" or each["separation_m"] <= 0
            note = {"out": "out of service, or guarded as its owner agrees", "guard": "guard structure or watch",
                    "in the way": "clear it, or hold the wire off"}[each["state"]]
            note += f"; {each['note']}" if each["note"] else ""
            rows.append(self.row(f"{each['against']} {each['obstacle']} in {each['span']}",
                                 FAILED if wrong else NOT_GIVEN, each["separation_m"], 0.0, "m", note=note,
                                 geometry=each["geometry"]))
        return rows

    def machines(self):
        """Puller, tensioner, and where they stand."""
        have, tensioner_first = self.stringing.have, self.pull["tensioner_at"] == self._name(0)
        rows = [self.beside("puller capacity", have.puller_capacity, self.pull["end_tension_n"], "N"),
                self.beside("tensioner capacity", have.tensioner_capacity, self.pull["start_tension_n"], "N")]
        ends = (("tensioner", 0), ("puller", 1)) if tensioner_first else (("tensioner", 1), ("puller", 0))
        for word, end in ends:
            with np.errstate(all="ignore"):
                heights = float(self.course.distance[end] / self.course.height[end])
            rows += self.held("machine distance", heights, "heights", check=f"{word} distance",
                              structure=self._name(-end))
        return rows + self.held("sagging length", self.pull["length_m"], "m")

    def _name(self, k):
        return str(self.scene.structures.structure[self.course.structure[k]])

    def travelling(self):
        """Travellers, alike at all structures, and bullwheels."""
        have = self.stringing.have
        rows = self.held("traveller diameter", have.traveller_diameter, "m")
        rows += self.held("bullwheel diameter", have.bullwheel_diameter, "m")
        rows += self.held("groove depth", have.traveller_groove_depth, "m", check="traveller groove depth")
        for item in ("least groove flare", "greatest groove flare"):
            rows += self.held(item, have.traveller_flare, "deg", check=f"traveller {item}")
        drop = self.stringing.traveller_drop
        if drop is None:
            return [*rows, self.row("traveller drop", NOT_GIVEN, unit="m", note=(
                "without it wires are taken to run at the hooks: they hang lower by it"))]
        return [*rows, self.row("traveller drop", PASSED, drop, unit="m")]

    def reeling(self):
        """Reels and their joints."""
        have = self.stringing.reel_length
        state = NOT_GIVEN if have is None else PASSED if self.reels else FAILED
        return [self.row("joints", state, len(self.reels) - 1 if self.reels else np.nan, note={
            NOT_GIVEN: "no reel length", FAILED: "no place is left for joints"}.get(state, self.pull["joints"]))]

    def wire_given(self):
        """What the study says of joints and waste."""
        given, rows = self.stringing, []
        for check, value, unit in (("joint distance from structures", given.joint_distance, "m"),
                                   ("waste", given.waste, None)):
            rows.append(self.row(check, NOT_GIVEN if value is None else PASSED, np.nan if value is None else value,
                                 unit=unit, note="taken for none" if value is None else None))
        return rows

    def times(self):
        """Time in travellers, and how much is sagged at once."""
        given, rows = self.stringing, []
        hours = [None if each is None else each / 3600 for each in (given.time_in_travellers, given.time_to_clip)]
        whole = None if None in hours else sum(hours)
        rows += self.held("time until sagged", hours[0], "h")
        rows += self.held("time until clipped", whole, "h")
        for rule in self.rules.of(self.wire, "time to equalise"):
            rows.append(self.row("time to equalise", NOT_GIVEN, limit=rule.value, unit=rule.unit, rule=rule, note=(
                "tension the core alone to the tension of the chart; clamp it; let it equalise; then sag")))
        return rows

    def fittings(self):
        """Grips and fittings by the kind of wire, bending, and the pretension."""
        have, rows = self.stringing.have.fittings_for, []
        for rule in self.rules.of(self.wire, "grips and fittings"):
            rows.append(self.row(f"grips and fittings: {rule.kind}", PASSED if rule.kind in have else NOT_GIVEN,
                                 rule=rule, note=rule.words))
        for rule in self.rules.of(self.wire, "least bending radius"):
            rows.append(self.row("least bending radius", NOT_GIVEN, limit=rule.of(self.wire.diameter), unit="m",
                                 rule=rule, note=rule.note or None))
        if self.option.name in self.knees:
            drawn, plain = self.knees[self.option.name]
            rows.append(self.row("pretension", PASSED, self.option.wiring.pretension, unit="N", note=(
                f"draw to this before sagging: the knee comes at {drawn:.0f} °C, without it at {plain:.0f} °C")))
        return rows

    def _beside(self, name):
        """Names of the spans beside a structure."""
        spans, x = self.scene.spans, self.scene.structures.structure
        return set(spans.name[(x[spans.tail] == name) | (x[spans.head] == name)])

    def at_structure(self, each):
        """The rows of one structure."""
        name, more = each["structure"], {"structure": each["structure"], "geometry": each["geometry"]}
        have = self.stringing.have
        limit, rule = self.rules.strictest(self.wire, "angle of one traveller")
        rows = []
        if rule is not None:
            sheaves = 2 if name in have.twin_travellers else 1
            turn = each["line_angle_deg"] / sheaves
            state = PASSED if turn <= limit else FAILED
            rows.append(self.row("angle over a traveller", state, turn, limit, "deg", rule=rule, note=None if state ==
                                 PASSED else "two travellers in a row, or a larger one", **more))
        rows.append(self.beside("traveller capacity", have.traveller_capacity, each["traveller_load_n"], "N", **more))
        if each["held_down"]:
            rows.append(self.row("traveller held down", FAILED, note="the wire lifts it while it is pulled", **more))
        if self._beside(name) & {row["span"] for row in self.crossings if row["state"] == "out"}:
            _, rule = self.rules.strictest(self.wire, "distance of grounded travellers")
            rows.append(self.row("grounded traveller", NOT_GIVEN, rule=rule, note="beside a line that is crossed",
                                 **more))
        if name in self.marks:
            offset, rule = self.marks[name]
            rows.append(self.row("clamps set off", NOT_GIVEN if np.isnan(offset) else PASSED, offset, unit="m",
                                 rule=rule, note="layer clipping_marks has the marks of each wire", **more))
        if name in (self._name(0), self._name(-1)):
            rows.append(self.row("structure bears the snubbed wires", NOT_GIVEN, each["snubbed_down_n"], unit="N", note=
                                 "downward load of all wires; along and across in layer travellers", **more))
        return rows


