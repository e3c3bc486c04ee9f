"""The options of a study beside each other, from the findings of every span."""

from dataclasses import dataclass, replace

import numpy as np

from corridor.check import Clock, find, prepare
from corridor.errors import InputError
from corridor.inputs.study_inputs import read_inputs
from corridor.line.facts import Case
from corridor.outputs.tables_compare import compare_markdown, write_compare_csv
from corridor.rating.ladder import Limits, ceilings, ladder_rows
from corridor.rating.rating_tables import energy
from corridor.study import load_study
from corridor.summary import Tally

__all__ = ["Comparison", "Gathered", "States", "compare_facts", "compare_study", "comparison_of", "states_of",
           "write_comparison"]

#: Hours of a year, for a loss that flows all of it.
_YEAR = 8760.0


@dataclass(frozen=True)
class States:
    """Names of the cases whose sags are told, None where there is none, and the cases with those that are added.

    `everyday` is bare and still at the everyday temperature of the wire of today, `hot` at the maximum temperature of
    each option, `iced` has the most ice on all wires without wind.
    """

    everyday: str
    hot: str
    iced: str | None
    cases: tuple


@dataclass(frozen=True)
class Comparison:
    """What compares the options; lists with one value per option, in SI, nan or None where nothing is known.

    `options` columns of the layer of that name; `areas` (outer, core) [m2]; `sags` by everyday, hot, iced [m];
    `everyday` greatest (share of strength [%], catenary constant [m]) on an ordinary day; `tension` greatest of a phase
    wire [N], `tension_case` its case, and `ratio` of a phase over that of today; `load_ratio` greatest of any
    structure; `knees` (least, greatest) [degC]; `violations` (new, inherited, total); `ladder` columns of that layer;
    `energy` [MWh/km] a year and `energy_basis` in words; `sagging` lines of words per option; `states` the cases;
    `gaps` rows not assessed.
    """

    options: dict
    areas: list
    sags: dict
    everyday: list
    tension: list
    tension_case: list
    ratio: list
    load_ratio: list
    knees: list
    violations: list
    ladder: dict
    energy: list
    energy_basis: str
    sagging: list
    states: States
    gaps: int

    @property
    def names(self):
        """Names of the options."""
        return list(self.options["option"])


def compare_study(path, *, progress=None):
    """Compare the options of a study.

    Parameters
    ----------
    path : path
        The study file.
    progress : callable, optional
        `progress(done, total)` in spans.

    Returns
    -------
    Comparison

    Raises
    ------
    InputError
        Something given cannot be used.
    """
    study = load_study(path)
    inputs = read_inputs(study)
    loads = [(load.current, load.duration) for load in study.rating.loads] if study.rating is not None else []
    with inputs.terrain:
        facts, plan, ground = prepare(inputs, Clock())
        return compare_facts(facts, plan, ground, loads, progress=progress)


def compare_facts(facts, plan, ground, loads=(), *, progress=None, watch=None):
    """Compare the options of a corridor that is laid out.

    Parameters
    ----------
    facts : Facts
    plan : Plan
    ground : Ground
    loads : sequence of (current [A], duration [s])
        Load-duration curve of a year.
    progress : callable, optional
    watch : callable, optional
        `watch(layer, columns)` sees every batch of findings.
    """
    states = states_of(facts)
    facts = replace(facts, cases=states.cases)
    gathered = Gathered(facts, states)
    for layer, columns in find(facts, plan, ground, progress=progress):
        gathered.add(layer, columns)
        if watch:
            watch(layer, columns)
    return comparison_of(gathered, plan, loads)


def states_of(facts):
    """Return the states whose sags are told; a bare one that the study lacks is added as a case without checks."""
    def bare(wanted):
        return next((case for case in facts.cases if case.temperature == wanted and case.condition == "final"
                     and not case.ice and not case.wind), None)

    T = facts.options[facts.reference].wiring.everyday_temperature
    taken = {case.name for case in facts.cases}
    everyday = bare(T) or Case(_free(f"everyday, {T:g} degC", taken), T, checks=())
    hot = bare("maximum") or Case(_free("at the maximum temperature", taken), "maximum", checks=())
    icy = max((case for case in facts.cases if case.ice and not case.wind and not case.uneven),
              key=lambda case: case.ice, default=None)
    added = tuple(case for case in (everyday, hot) if case.name not in taken)
    return States(everyday.name, hot.name, None if icy is None else icy.name, (*facts.cases, *added))


def write_comparison(table, csv_path=None, markdown_path=None):
    """Write a table of `corridor.outputs.tables_compare` to the paths that are given, and return them.

    Raises
    ------
    InputError
        A path that cannot be written.
    """
    writers = {csv_path: write_compare_csv, markdown_path: _write_markdown}
    written = [path for path in writers if path is not None]
    for path in written:
        try:
            writers[path](path, table)
        except OSError as error:
            raise InputError(None, "output", f"{str(path)!r} ({(error.strerror or 'unusable').lower()})",
                             "a file that can be written") from None
    return tuple(written)


def _write_markdown(path, table):
    path.write_text("\n".join(compare_markdown(table)), encoding="utf-8")


def _free(name, taken):
    """A name that no case has."""
    return name if name not in taken else _free(name + ", added", taken)


class Gathered:
    """Worst values of every option, noted while the findings pass by.

    Parameters
    ----------
    facts : Facts
        With the cases of `states`.
    states : States
    """

    def __init__(self, facts, states):
        self.facts, self.states = facts, states
        self.names = [option.name for option in facts.options]
        self.tally, self.limits = Tally(facts), Limits()
        named = {"everyday": states.everyday, "hot": states.hot, "iced": states.iced}
        self.case_of = {key: case for key, case in named.items() if case is not None}
        self.sags = {key: dict.fromkeys(self.names, np.nan) for key in self.case_of}
        self.everyday = {name: (np.nan, np.nan) for name in self.names}
        self.tension = dict.fromkeys(self.names, (np.nan, None))
        self.load_ratio = dict.fromkeys(self.names, np.nan)
        self.knees = {name: (np.nan, np.nan) for name in self.names}
        self.violations = {name: {True: 0, False: 0} for name in self.names}
        self.sagging = {name: {} for name in self.names}

    def add(self, layer, columns):
        """Take note of a batch of rows."""
        self.tally.add(layer, columns)
        self.limits.add(layer, columns)
        take = {"wires": self._sags, "sections": self._sections, "structure_loads": self._loads,
                "violations": self._violations}.get(layer)
        if take:
            take(columns)

    def _each(self, columns, kind=None):
        """Name of each option, and its rows, of phase wires where there is a column of kinds."""
        phase = columns[kind] == "phase" if kind else True
        for name in self.names:
            rows = (columns["option"] == name) & phase
            if rows.any():
                yield name, {key: values[rows] for key, values in columns.items()}

    def _sags(self, columns):
        for name, rows in self._each(columns, "kind"):
            for key, case in self.case_of.items():
                sag = rows["sag_m"][rows["case"] == case]
                self.sags[key][name] = np.fmax(self.sags[key][name], _greatest(sag))

    def _sections(self, columns):
        for name, rows in self._each(columns, "wire_kind"):
            tension = rows["maximum_tension_n"]
            if np.isfinite(tension).any():
                row = np.nanargmax(tension)
                if not tension[row] <= self.tension[name][0]:
                    self.tension[name] = tension[row], rows["case"][row]
            low, high = self.knees[name]
            knee = rows["knee_temperature_c"]
            self.knees[name] = np.fmin(low, -_greatest(-knee)), np.fmax(high, _greatest(knee))
            self._basis(name, rows)

    def _basis(self, name, rows):
        """Note the everyday tension, and count the sections that each stringing limit governs."""
        first = rows["case"] == self.states.everyday
        self.everyday[name] = tuple(np.fmax(old, _greatest(rows[key][first])) for old, key in
                                    zip(self.everyday[name], ("percent_rts", "catenary_constant_m"), strict=True))
        for text in rows["governing_limit"][first]:
            words = text or "no limit can be met: not strung"
            self.sagging[name][words] = self.sagging[name].get(words, 0) + 1

    def _loads(self, columns):
        for name, rows in self._each(columns):
            self.load_ratio[name] = np.fmax(self.load_ratio[name], _greatest(rows["ratio_to_existing"]))

    def _violations(self, columns):
        for name, rows in self._each(columns):
            for flag in rows["inherited"]:
                self.violations[name][bool(flag)] += 1


def _greatest(values):
    """Greatest of values, nan where none is known."""
    values = np.asarray(values, float)
    return np.nanmax(values) if np.isfinite(values).any() else np.nan


def comparison_of(gathered, plan, loads):
    """Return the Comparison of findings that a Gathered has seen; `loads` as `compare_facts` takes them."""
    facts, names = gathered.facts, gathered.names
    bundle = {option.name: option.wiring.bundle for option in facts.options}
    pull = {name: gathered.tension[name][0] * bundle[name] for name in names}
    today = pull.get(facts.existing, np.nan)
    lost, basis = _energy(facts.heat, loads)
    return Comparison(
        gathered.tally.option_rows(),
        [(o.wiring.conductor.outer_area, o.wiring.conductor.core_area) for o in facts.options],
        {key: [values[name] for name in names] for key, values in gathered.sags.items()},
        [gathered.everyday[name] for name in names],
        [gathered.tension[name][0] for name in names], [gathered.tension[name][1] for name in names],
        [pull[name] / today for name in names], [gathered.load_ratio[name] for name in names],
        [gathered.knees[name] for name in names],
        [_counts(gathered.violations[name], facts.existing) for name in names],
        ladder_rows(gathered.limits.columns, ceilings(facts.heat, plan.spans)), lost, basis,
        [_words(gathered.sagging[name]) for name in names], gathered.states, gathered.tally.gaps)


def _counts(violations, existing):
    """New and inherited violations, None where no option hangs today, and all of them."""
    total = violations[True] + violations[False]
    return (violations[False], violations[True], total) if existing is not None else (None, None, total)


def _words(counts):
    total = sum(counts.values())
    return [f"{text} ({count} of {total} sections)" for text, count in counts.items()]


def _energy(heat, loads):
    """Energy lost in a year by each option [MWh/km], and what it rests on."""
    options = range(len(heat.options))
    if heat.weather is None:
        return [np.nan] * len(options), "not known: the study has no [rating]"
    if len(loads):
        return [energy(heat, option, loads) for option in options], "over the load-duration curve of the study"
    if heat.required_current is None:
        return [np.nan] * len(options), "not known: the study has neither loads nor a required current"
    each = [(heat.required_current, _YEAR * 3600)]
    return ([energy(heat, option, each) for option in options],
            f"as if the required {heat.required_current:g} A flowed all the year")
