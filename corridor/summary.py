"""What a run comes to, option by option, counted while the findings pass by."""

import re
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from corridor.assessment import Facts
from corridor.clearance.at_structures import FAILED
from corridor.clearance.bundles import bundle_columns
from corridor.clearance.capacity import CHANGE, NOT_GIVEN
from corridor.rating.mixes import with_mixed
from corridor.rating.reactances import reactance_columns

__all__ = ["CAUTIONS", "Cause", "Outcome", "Tally", "greatest"]

CAUTIONS = (
    "A screening and study aid. Local codes and their adopted edition govern.",
    "Built-in rule tables are recalled or read facts: a licensed engineer verifies them against the edition and signs.",
    "Approach distances, outages and switching are the business of the system operator and the safety rules.",
    "Permanent elongation and the compression of slack aluminium are estimates for wires without measured curves: "
    "look at margin_low_m and margin_high_m. Margins take the cautious compression, 10 MPa mostly; published sag "
    "tables are nearest to none, the end that margin_high_m tells.",
)

#: A greater turn than this is none for a string that hangs free [deg]: common practice, no source.
_TURN = 30.0
#: A longer span than this is rare enough to be looked at [m]: common practice, no source.
_LONG = 2000.0
#: A string that swings by so much more than that of the existing wire is told, where nothing says whether its structure
#: allows it [deg]: common practice, no source.
_MORE = 1.0
#: Source and confidence of a conductor that no catalogue holds.
_OWN = "given in the study"
_AT_BODY = ("swing_limit_deg", "body_m", "body_side", "body_required_m", "body_margin_m")
#: Names that a warning tells before it says how many more there are.
_TOLD = 10

#: A word with a digit in it: of reasons that differ in such words alone the cause is the same.
_NUMBERED = re.compile(r"[^\s,;:()]*\d[^\s,;:()]*")


class Cause(NamedTuple):
    """Why something was not assessed, with an ellipsis for numbers that differ; `rows` and `spans` of which it is so,
    no span where it is said of none in particular."""

    reason: str
    rows: int
    spans: int


@dataclass(frozen=True)
class Outcome:
    """What all options come to, or one of them.

    `violations` rows of that layer; `gaps` number of rows not assessed; `overloads` number of options and cases that
    load a wire above its rated strength, `lifted` of those that lift a string, `over_capacity` of those that load a
    structure above its capacity, `at_structures` of those in which a string swings over its limit, or its wire is too
    near to the structure; `induced` of options under which a vehicle takes more current than the rules allow.
    """

    violations: int
    gaps: int
    overloads: int
    lifted: int
    over_capacity: int = 0
    at_structures: int = 0
    induced: int = 0

    @property
    def status(self) -> int:
        """Exit status: 0 all assessed and clear, 1 violations, 3 no violation but something not assessed.

        A wire loaded above its rated strength, where a case asks for the tension, counts as a violation, and so does a
        wire that lifts a string, one that swings over its string's limit or too near to its structure, a load above
        the capacity that is given for a structure, and a current in a vehicle above what the rules allow.
        """
        short = (self.violations or self.overloads or self.lifted or self.over_capacity or self.at_structures
                 or self.induced)
        return 1 if short else 3 if self.gaps else 0


def greatest(values: np.ndarray) -> float:
    """Return the greatest of values, nan where none is known."""
    values = np.asarray(values, float)
    return float(np.nanmax(values)) if np.isfinite(values).any() else np.nan


class Tally:
    """Counts and worst values of every option, from the layers of the findings as they are made.

    `count` rows by layer and option, `gaps` rows not assessed; `overloaded` by option and case in which wires are
    loaded above their strength, the maximum share of it [%] of each section; `lifted` structures by option and case;
    `over_capacity` maximum share of a capacity, and where, by option and case in which one is exceeded; `too_near`
    what swings over its limit, or too near to its structure, likewise, in words; `induced` spans by option in which a
    vehicle takes more current than the rules allow.
    """

    def __init__(self, facts: Facts) -> None:
        self.facts = facts
        self.names = facts.names
        self.count = {layer: dict.fromkeys(self.names, 0) for layer in ("clearances", "violations", "not_assessed")}
        self.gaps = 0
        self.overloaded: dict[tuple[str, str], dict[str, float]] = {}
        self.lifted: dict[tuple[str, str], set[str]] = {}
        self.over_capacity: dict[tuple[str, str], dict[str, float]] = {}
        self._without: set[str] = set()
        self.too_near: dict[tuple[str, str], list[str]] = {}
        self._farther: dict[str, dict[str, tuple[float, str]]] = {}
        self.induced: dict[str, set[str]] = {}
        self._pulled: dict[str, set[str]] = {}
        self._changes: dict[str, dict[str, float]] = {}
        self._shape: list[str] = []
        self._compared: set[str] = set()
        self._causes: dict[str, Cause] = {}
        self._worst: dict[str, dict] = {}
        self._sag, self._share = (dict.fromkeys(self.names, np.nan) for _ in range(2))
        self._tension = [case.name for case in facts.cases if "tension" in case.checks]
        self._bare = [case.name for case in facts.cases if case.ordinary]
        self._takers: dict[str, Callable] = {
            "clearances": self._margins, "not_assessed": self._reasons, "wires": self._sags,
            "sections": self._shares, "structure_loads": self._strings, "structure_capacity": self._wholes,
            "structures": self._turns, "spans": self._lengths, "fields": self._currents}

    def outcome(self, option: str | None = None) -> Outcome:
        """Return what all options come to, or one."""
        failed = (self.overloaded, self.lifted, self.over_capacity, self.too_near)
        return Outcome(sum(rows for name, rows in self.count["violations"].items() if option in (None, name)),
                       self.gaps if option is None else self.count["not_assessed"][option],
                       *(sum(option in (None, name) for name, _ in found) for found in failed),
                       sum(option in (None, name) for name in self.induced))

    @property
    def causes(self) -> tuple[Cause, ...]:
        """Why rows were not assessed, the commonest first."""
        return tuple(sorted(self._causes.values(), key=lambda cause: (-cause.rows, cause.reason)))

    @property
    def warnings(self) -> list[str]:
        """What the person should look at."""
        lifted = {option: set().union(*(at for (name, _), at in self.lifted.items() if name == option))
                  for option in self.names}
        pulled = {option: sorted(at - lifted[option]) for option, at in self._pulled.items()}
        farther = " farther than those of the existing wire" * any(each.existing for each in self.facts.options)
        return [f"{option}: {words}" for option, words in self._loads] + [
            f"no capacity is given for structures, or for wires of them: {_told(sorted(self._without))}"
            ] * bool(self._without) + [f"{option}: {words}" for option, words in self._near_structures] + [
            f"{option}: strings swing{farther}, and no window or swing_limit of the framing "
            f"tells whether their structures allow it: {_told([words for _, words in sorted(rows.values())])}"
            for option, rows in self._farther.items()] + [
            f"{option}: bare wires in still air pull upwards (weight span below zero) at {_told(at)}"
            for option, at in pulled.items() if at] + [
            f"{option}: wires change, and no capacity as a whole is known that the difference of their pulls along the "
            "line could be compared with: " + _told([f"{name} ({pull / 1e3:.1f} kN along it)"
                                       for name, pull in sorted(at.items())])
            for option, at in self._changes.items()] + [
            f"{option}: {words}" for option, words in self._vehicles] + self._shape

    def failures(self, option: str) -> list[str]:
        """Return words for what fails with an option but for its violations, as its `Outcome.status` counts it."""
        return [words for name, words in (*self._loads, *self._near_structures, *self._vehicles) if name == option]

    @property
    def _loads(self):
        """Options, and words for wires and structures that bear too much, and strings that are lifted."""
        return [(option, f"{case}: wires are loaded above their rated strength: " + _told(
            [f"{name} ({share:.0f} %)" for name, share in sorted(of.items(), key=lambda each: -each[1])]))
            for (option, case), of in self.overloaded.items()] + [
            (option, f"{case}: wires lift their strings at {', '.join(sorted(at))}")
            for (option, case), at in self.lifted.items()] + [
            (option, f"{case}: wires load structures up to {100 * max(at.values()):.0f} % of their capacity: "
             f"{_told(sorted(at, key=at.get, reverse=True))}") for (option, case), at in self.over_capacity.items()]

    @property
    def _near_structures(self):
        return [(option, f"{case}: too near to the structure: {_told(words)}")
                for (option, case), words in self.too_near.items()]

    @property
    def _vehicles(self):
        return [(option, f"the largest vehicle takes more current to the ground than the rules allow in {len(at)} "
                 f"spans ({_told(sorted(at))}): a person judges which vehicles come there (layer fields)")
                for option, at in self.induced.items()]

    @property
    def compared(self) -> dict[str, int]:
        """Number of obstacles compared, by the name of their layer."""
        return Counter(name.partition(":")[0] for name in self._compared)

    def add(self, layer: str, columns: Mapping[str, np.ndarray]) -> None:
        """Take note of a batch of rows."""
        for name in self.names if layer in self.count else ():
            # What is not assessed for no option in particular is not assessed for any.
            self.count[layer][name] += int(np.sum((columns["option"] == name) | (columns["option"] == None)))  # noqa: E711
        if layer in self._takers:
            self._takers[layer](columns)

    def of_options(self, columns: Mapping[str, np.ndarray], kind: str | None = None
                   ) -> Iterator[tuple[str, np.ndarray]]:
        """Yield the name of each option that has rows, and where; of phase wires alone by a column of kinds."""
        phase = columns[kind] == "phase" if kind else True
        for name in self.names:
            rows = np.flatnonzero((columns["option"] == name) & phase)
            if len(rows):
                yield name, rows

    def _margins(self, columns):
        self._compared.update(name for name in set(columns["obstacle"].tolist()) if name)
        for name, rows in self.of_options(columns):
            row = rows[columns["margin_m"][rows].argmin()]
            if columns["margin_m"][row] < self._worst.get(name, {"margin_m": np.inf})["margin_m"]:
                self._worst[name] = {key: values[row] for key, values in columns.items()}

    def _reasons(self, columns):
        self.gaps += len(columns["reason"])
        rows = list(zip(columns["reason"], columns["line"], columns["span"], strict=True))
        # A span is in one batch alone, so that its spans can be counted here.
        spans = {(_NUMBERED.sub("", reason), *where): where[1] is not None for reason, *where in rows}
        for reason, *_ in rows:
            key = _NUMBERED.sub("", reason)
            known = self._causes.get(key, Cause(reason, 0, 0))
            same = known.reason if known.reason == reason else _NUMBERED.sub("\N{HORIZONTAL ELLIPSIS}", reason)
            self._causes[key] = Cause(same, known.rows + 1, known.spans)
        for (key, *_), placed in spans.items():
            self._causes[key] = self._causes[key]._replace(spans=self._causes[key].spans + placed)

    def _sags(self, columns):
        for name, rows in self.of_options(columns, "kind"):
            self._sag[name] = np.fmax(self._sag[name], greatest(columns["sag_m"][rows]))

    def _shares(self, columns):
        for name, rows in self.of_options(columns, "wire_kind"):
            self._share[name] = np.fmax(self._share[name], greatest(columns["percent_rts"][rows]))
        for row in np.flatnonzero((columns["percent_rts"] > 100) & np.isin(columns["case"], self._tension)):
            of = self.overloaded.setdefault((columns["option"][row], columns["case"][row]), {})
            name = f"{columns['wire_kind'][row]} in {columns['section'][row]}"
            of[name] = max(of.get(name, 0.0), columns["percent_rts"][row])

    def _strings(self, columns):
        self._lifts(columns)
        left, right, more = (columns[f"swing_{name}"].astype(float) for name in ("left_deg", "right_deg", "more_deg"))
        swing, names = np.fmax(left, right), ("option", "case", "structure", "wire")
        for row in np.flatnonzero(columns["at_structure"] == FAILED):
            option, case, *where = (columns[name][row] for name in names)
            words = " ".join(where) + _too_near({name: columns[name][row] for name in _AT_BODY}, swing[row])
            self.too_near.setdefault((option, case), []).append(words)
        # Without an existing wire every swing is farther.
        for row in np.flatnonzero((columns["at_structure"] == NOT_GIVEN) & (swing > _MORE) & ~(more <= _MORE)):
            option, case, *where = (columns[name][row] for name in names)
            # Of each structure the wire that swings farthest, the worst structure first.
            kept, farther = self._farther.setdefault(option, {}), np.fmin(swing[row], more[row])
            if -farther < kept.get(where[0], (0.0,))[0]:
                other = f", not {swing[row] - more[row]:.1f}" if np.isfinite(more[row]) else ""
                kept[where[0]] = -farther, f"{' '.join(where)} in {case} ({swing[row]:.1f} deg{other})"

    def _lifts(self, columns):
        for row in np.flatnonzero(columns["lifted"].astype(bool)):
            key = columns["option"][row], columns["case"][row]
            self.lifted.setdefault(key, set()).add(str(columns["structure"][row]))
        up = (columns["weight_span_m"] < 0) & (columns["role"] == "suspension") & np.isin(columns["case"], self._bare)
        for row in np.flatnonzero(up):
            self._pulled.setdefault(columns["option"][row], set()).add(str(columns["structure"][row]))

        self._capacities(columns)
        if self.facts.capacities is not None:
            self._without.update(columns["structure"][columns["capacity"] == NOT_GIVEN].tolist())

    def _capacities(self, columns):
        for row in np.flatnonzero(columns["over_capacity"] == True):  # noqa: E712
            at = self.over_capacity.setdefault((columns["option"][row], columns["case"][row]), {})
            name = str(columns["structure"][row])
            at[name] = max(at.get(name, 0.0), float(columns["of_capacity"][row]))

    def _wholes(self, columns):
        self._capacities(columns)
        pull, change = columns["factored_longitudinal_n"], [CHANGE in words for words in columns["capacity"]]
        for row in np.flatnonzero(np.array(change, bool) & np.isnan(columns["of_capacity_longitudinal"])):
            at = self._changes.setdefault(columns["option"][row], {})
            name = str(columns["structure"][row])
            at[name] = np.fmax(at.get(name, 0.0), pull[row])

    def _currents(self, columns):
        for row in np.flatnonzero(columns.get("above_limit", np.zeros(0)) == True):  # noqa: E712
            self.induced.setdefault(columns["option"][row], set()).add(columns["span"][row])

    def _turns(self, columns):
        turn = np.abs(columns["line_angle_deg"])
        at = np.flatnonzero((columns["role"] == "suspension") & (turn > _TURN))
        if len(at):
            self._shape.append("the line turns by more than a string that hangs free can take at suspension structures "
                               + _told([f"{columns['structure'][i]} ({turn[i]:.0f} deg)" for i in at])
                               + ": were strain structures meant?")

    def _lengths(self, columns):
        at = np.flatnonzero(columns["length_m"] > _LONG)
        if len(at):
            self._shape.append(f"spans of more than {_LONG / 1000:g} km: "
                               + _told([f"{columns['span'][i]} ({columns['length_m'][i]:.0f} m)" for i in at])
                               + "; is a structure missing?")

    def option_rows(self) -> dict[str, np.ndarray]:
        """Return the rows of the layer `options`, as columns."""
        options = self.facts.options
        conductors = [option.wiring.conductor for option in options]

        def worst(key, missing=None):
            return [self._worst.get(name, {}).get(key, missing) for name in self.names]

        wires = {
            "option": [option.name for option in options], "conductor": [c.name for c in conductors],
            "conductor_source": [c.source or _OWN for c in conductors],
            "conductor_confidence": [c.confidence or _OWN for c in conductors],
            "existing": [option.existing for option in options],
            **bundle_columns([option.wiring for option in options]),
            "diameter_m": [c.diameter for c in conductors], "mass_kg_per_m": [c.mass for c in conductors],
            "rated_strength_n": [c.rts for c in conductors],
            "maximum_temperature_c": [option.wiring.maximum_temperature for option in options],
            "emergency_temperature_c": [_number(option.wiring.emergency_temperature) for option in options],
            **self.facts.heat.option_columns(),
            **reactance_columns(self.facts.heat, self.facts.structures, self.facts.framings),
        }
        columns = with_mixed(wires, self.facts.mixes, self.facts.heat) | {
            **{layer: [self.count[layer][name] for name in self.names] for layer in self.count},
            "worst_margin_m": worst("margin_m", np.nan),
            **{f"worst_{key}": worst(key) for key in ("line", "span", "case", "against")},
            "greatest_sag_m": [self._sag[name] for name in self.names],
            "greatest_percent_rts": [self._share[name] for name in self.names],
        }
        return {key: np.array(values, object if isinstance(values[0], str | None) else None)
                for key, values in columns.items()}


def _too_near(row, swing):
    """Why a string fails at its structure, in words."""
    words = f" swings {swing:.1f} deg" if np.isfinite(swing) else ""
    if swing > row["swing_limit_deg"]:
        words += f", {row['swing_limit_deg']:g} allowed"
    if row["body_margin_m"] < 0:
        words += f", {row['body_m']:.2f} m from the body {row['body_side']}, {row['body_required_m']:.2f} required"
    return words


def _told(names):
    return ", ".join(names[:_TOLD]) + (f" and {len(names) - _TOLD} more" if len(names) > _TOLD else "")


def _number(value):
    return np.nan if value is None else value
