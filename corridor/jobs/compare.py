"""The options of a study beside each other, from the findings of every span."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from corridor.assessment import Facts, Ground, Plan
from corridor.check import Progress, find
from corridor.inputs.series import NO_LOADS, YearLoads
from corridor.jobs.life import energy_of, greatest_current, life_of, life_words
from corridor.line.case_loads import case_loads
from corridor.line.facts import Case
from corridor.opened import Opened
from corridor.outputs.files import Files, joined
from corridor.outputs.frames import Columns, Frames
from corridor.outputs.guard import MARK, PLAIN, Guard
from corridor.outputs.tables_compare import Table, compare_markdown, compare_table, write_compare_csv
from corridor.rating.ladder import Limits, ladder_rows
from corridor.rating.mixes import energy_of_mixes, line_ceilings
from corridor.rating.whole_life import LifeCost
from corridor.summary import Tally, greatest

__all__ = ["Comparison", "Gathered", "States", "compare_facts", "compare_study", "comparison_of", "states_of",
           "with_life", "write_comparison"]


@dataclass(frozen=True)
class States:
    """Names of the cases whose sags are told, None where there is none, and the cases with those that are added.

    `everyday` is bare and still at the everyday temperature of the existing wire, `hot` at the maximum temperature of
    each option, `iced` has the most ice on all wires without wind.
    """

    everyday: str
    hot: str
    iced: str | None
    cases: tuple[Case, ...]


@dataclass(frozen=True)
class Comparison:
    """What compares the options; lists with one value per option, in SI, nan or None where nothing is known.

    `options` columns of the layer of that name; `areas` (outer, core) [m²]; `sags` by everyday, hot, iced [m];
    `everyday` greatest (share of strength [%], catenary constant [m]) on an ordinary day; `tension` greatest of a phase
    wire [N], `tension_case` its case, and `ratio` of a phase over that of today; `load_ratio` greatest of any
    structure; `knees` (least, greatest) [°C]; `violations` (new, inherited, total); `ladder` columns of that layer;
    `energy` [MWh/km] a year and `energy_basis` in words; `lost_at` the maximum current that losses are
    of [A]; `life` what the options cost over their life, None where the study asks for none, and on what that
    rests, `life_words`; `sagging` lines of words per option; `states` the cases; `gaps` rows not assessed; `lines`
    a row per line and option, where it was asked for (`corridor.jobs.compare_lines`).
    """

    options: Columns
    areas: list[tuple[float, float]]
    sags: dict[str, list[float]]
    everyday: list[tuple[float, float]]
    tension: list[float]
    tension_case: list[str | None]
    ratio: list[float]
    load_ratio: list[float]
    knees: list[tuple[float, float]]
    violations: list[tuple[int | None, int | None, int]]
    ladder: Columns
    energy: list[float]
    energy_basis: str
    lost_at: float
    sagging: list[list[str]]
    states: States
    gaps: int
    life: LifeCost | None = None
    life_words: str = ""
    lines: Columns = field(default_factory=dict)

    @property
    def names(self) -> list[str]:
        """Names of the options."""
        return list(self.options["option"])

    @property
    def frames(self) -> Frames:
        """The tables `comparison`, a column an option, `options` and `ladder` as data frames."""
        return Frames({"comparison": compare_table(self).columns, "options": self.options, "ladder": self.ladder,
                       **({"lines": self.lines} if self.lines else {})})


def compare_study(opened: Opened, *, progress: Progress | None = None) -> Comparison:
    """Compare the options of a study.

    Parameters
    ----------
    opened : Opened
    progress : callable, optional
        `progress(done, total)` in spans.
    """
    return with_life(opened, compare_facts(*opened.laid_out, opened.loads, progress=progress))


def with_life(opened: Opened, compared: Comparison, required: float | None = None) -> Comparison:
    """Return the comparison with what the options cost over their life, where the study asks for it; `required` current
    [A] if it is another than that of the study."""
    prices, facts = opened.study.plan, opened.laid_out.facts
    heat = facts.heat if required is None else replace(facts.heat, required_current=required)
    rows = () if prices is None else prices.wires
    cost, carbon = ([known.get(name, np.nan) for name in compared.names] for known in (
        _of_km({row.option: getattr(row, key) for row in rows}, facts) for key in ("cost_per_km", "carbon_per_km")))
    # Losses at a current that an option may not carry are none of its own.
    current = np.asarray(compared.options["continuous_current_a"], float)
    energy = np.where(current >= greatest_current(heat, opened.loads), compared.energy, np.nan)
    existing = compared.names.index(facts.existing) if facts.existing in compared.names else None
    found = life_of(opened, energy, cost, current, existing, carbon=carbon)
    return compared if found is None else replace(compared, life=found, life_words=life_words(opened))


def _of_km(given, facts):
    """What the wires of a kilometre of line come to by option and mix, of which what hangs today is there already."""
    known = {name: np.nan if value is None else value for name, value in given.items()}
    new = {o.name: 0.0 if o.existing else known.get(o.name, np.nan) for o in facts.options}
    return known | {mix.name: mix.weighted(new) for mix in facts.mixes}


def compare_facts(facts: Facts, plan: Plan, ground: Ground, loads: YearLoads = NO_LOADS, *,
                  progress: Progress | None = None, watch: Callable[[str, Columns], None] | None = None) -> Comparison:
    """Compare the options of a corridor that is laid out.

    Parameters
    ----------
    facts : Facts
    plan : Plan
    ground : Ground
    loads : YearLoads
    progress : callable, optional
    watch : callable, optional
        `watch(layer, columns)` sees every batch of findings.
    """
    gathered = Gathered(facts)
    for layer, columns in find(gathered.facts, plan, ground, progress=progress):
        gathered.add(layer, columns)
        if watch:
            watch(layer, columns)
    return comparison_of(gathered, plan, loads)


def states_of(facts: Facts) -> States:
    """Return the states whose sags are told; a bare one that the study lacks is added as a case without checks."""
    def bare(wanted):
        return next((case for case in facts.cases if case.temperature == wanted and case.condition == "final"
                     and case.ordinary), None)

    T = facts.options[facts.reference].wiring.everyday_temperature
    taken = {case.name for case in facts.cases}
    everyday = bare(T) or Case(_free(f"everyday, {T:g} °C", taken), T, checks=())
    hot = bare("maximum") or Case(_free("at the maximum temperature", taken), "maximum", checks=())
    D = facts.options[facts.reference].wiring.conductor.diameter
    icy = max((case for case in facts.cases if case.icy and not case.wind and not case.uneven),
              key=lambda case: float(case_loads(D, 0.0, [case])[0][0]), default=None)
    added = tuple(case for case in (everyday, hot) if case.name not in taken)
    return States(everyday.name, hot.name, None if icy is None else icy.name, (*facts.cases, *added))


def write_comparison(table: Table, csv_path: Path | None = None, markdown_path: Path | None = None, *,
                     guard: Guard = PLAIN, files: Files | None = None) -> tuple[Path, ...]:
    """Write a table of `corridor.outputs.tables_compare` to the paths that are given, and return them.

    Raises
    ------
    InputError
        A path that must not be written to, or both the same.
    """
    with joined(files, guard) as out:
        out.reserve(csv_path, markdown_path)
        for path, write in ((csv_path, write_compare_csv), (markdown_path, _write_markdown)):
            if path is not None:
                write(out.new(path), table)
    return out.written


def _write_markdown(path, table):
    path.write_text("\n".join([*compare_markdown(table), f"<!-- {MARK} -->", ""]), encoding="utf-8")


def _free(name, taken):
    """A name that no case has."""
    return name if name not in taken else _free(name + ", added", taken)


class Gathered(Tally):
    """A tally that notes, too, what compares the options; `facts` with the cases of `states`."""

    def __init__(self, facts: Facts) -> None:
        self.states, self.limits = states_of(facts), Limits()
        super().__init__(replace(facts, cases=self.states.cases))
        named = {"everyday": self.states.everyday, "hot": self.states.hot, "iced": self.states.iced}
        self.case_of = {key: case for key, case in named.items() if case is not None}
        self.sags = {key: dict.fromkeys(self.names, np.nan) for key in self.case_of}
        self.everyday = dict.fromkeys(self.names, (np.nan, np.nan))
        self.tension: dict[str, tuple[float, str | None]] = dict.fromkeys(self.names, (np.nan, None))
        self.load_ratio = dict.fromkeys(self.names, np.nan)
        self.knees = dict.fromkeys(self.names, (np.nan, np.nan))
        self.inherited = dict.fromkeys(self.names, 0)
        self.sagging: dict[str, dict[str, int]] = {name: {} for name in self.names}
        self._more = {"wires": self._sags_of_states, "sections": self._sections, "structure_loads": self._loads,
                      "violations": self._inherited}

    def add(self, layer: str, columns: Mapping[str, np.ndarray]) -> None:
        """Take note of a batch of rows."""
        super().add(layer, columns)
        self.limits.add(layer, columns)
        if layer in self._more:
            self._more[layer](columns)

    def _sags_of_states(self, columns):
        for name, rows in self.of_options(columns, "kind"):
            for key, case in self.case_of.items():
                sag = columns["sag_m"][rows][columns["case"][rows] == case]
                self.sags[key][name] = np.fmax(self.sags[key][name], greatest(sag))

    def _sections(self, columns):
        for name, rows in self.of_options(columns, "wire_kind"):
            tension, knee = columns["maximum_tension_n"][rows], columns["knee_temperature_c"][rows]
            if not greatest(tension) <= self.tension[name][0] and np.isfinite(tension).any():
                row = np.nanargmax(tension)
                self.tension[name] = tension[row], columns["case"][rows[row]]
            low, high = self.knees[name]
            self.knees[name] = np.fmin(low, -greatest(-knee)), np.fmax(high, greatest(knee))
            self._basis(name, columns, rows[columns["case"][rows] == self.states.everyday])

    def _basis(self, name, columns, rows):
        """Note the everyday tension, and count the sections that each stringing limit governs."""
        self.everyday[name] = tuple(np.fmax(old, greatest(columns[key][rows])) for old, key in
                                    zip(self.everyday[name], ("percent_rts", "catenary_constant_m"), strict=True))
        for text in columns["governing_limit"][rows]:
            words = text or "no limit can be met: not strung"
            self.sagging[name][words] = self.sagging[name].get(words, 0) + 1

    def _loads(self, columns):
        for name, rows in self.of_options(columns):
            self.load_ratio[name] = np.fmax(self.load_ratio[name], greatest(columns["ratio_to_existing"][rows]))

    def _inherited(self, columns):
        for name, rows in self.of_options(columns):
            self.inherited[name] += sum(map(bool, columns["inherited"][rows]))


def comparison_of(gathered: Gathered, plan: Plan, loads: YearLoads) -> Comparison:
    """Return the Comparison of findings that a Gathered has seen; `loads` as `compare_facts` takes them."""
    facts, names = gathered.facts, gathered.names
    bundle = {o.name: o.wiring.bundle for o in facts.options}
    bundle |= {mix.name: bundle[mix.parts[0]] for mix in facts.mixes}
    pull = {name: gathered.tension[name][0] * bundle[name] for name in names}
    today = pull.get(facts.existing, np.nan)
    lost, basis = energy_of(facts.heat, loads)
    lost += energy_of_mixes(lost, [o.name for o in facts.options], facts.mixes)
    return Comparison(
        options=gathered.option_rows(),
        areas=[*((o.wiring.conductor.outer_area, o.wiring.conductor.core_area) for o in facts.options),
               *((np.nan, np.nan) for _ in facts.mixes)],
        sags={key: list(values.values()) for key, values in gathered.sags.items()},
        everyday=list(gathered.everyday.values()), tension=[value for value, _ in gathered.tension.values()],
        tension_case=[case for _, case in gathered.tension.values()], ratio=[pull[name] / today for name in names],
        load_ratio=list(gathered.load_ratio.values()), knees=list(gathered.knees.values()),
        violations=[_counts(gathered.count["violations"][name], gathered.inherited[name], facts.existing)
                    for name in names],
        ladder=ladder_rows(gathered.limits.columns, line_ceilings(facts, plan)), energy=lost, energy_basis=basis,
        lost_at=greatest(np.array([np.nan if facts.heat.required_current is None else facts.heat.required_current,
                                   *(current for current, _ in loads.steps)])),
        sagging=[_words(counts) for counts in gathered.sagging.values()], states=gathered.states, gaps=gathered.gaps)


def _counts(total, inherited, existing):
    """New and inherited violations, None where no option hangs today, and all of them."""
    return (total - inherited, inherited, total) if existing is not None else (None, None, total)


def _words(counts):
    total = sum(counts.values())
    return [f"{text} ({count} of {total} sections)" for text, count in counts.items()]
