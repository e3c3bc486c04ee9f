"""Put one option right: the cheapest remedies, assessed anew with the exact model until there is no violation."""

from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path

import numpy as np

from corridor.arrays import take
from corridor.check import Progress
from corridor.errors import InputError, nearest
from corridor.inputs.study_inputs import Inputs
from corridor.jobs.folder import made_folder
from corridor.opened import Opened, prepare
from corridor.outputs.files import Files, joined
from corridor.outputs.frames import Frames
from corridor.planning.circuits import GUARDED, circuits_of_wires, own_circuits, wires_of_others
from corridor.planning.remedies.alterations import Site
from corridor.planning.remedies.cheapest import cheapest
from corridor.planning.remedies.constraints import Basis
from corridor.planning.remedies.left import as_it_was, without_left
from corridor.planning.remedies.mixed import check_mix, unborne
from corridor.planning.remedies.offered import Remedies, alterations_of, offered_remedies, with_places
from corridor.planning.remedies.planned_copy import check_folder, checked_copy, earlier_plan
from corridor.planning.remedies.standing import with_things_of_surface
from corridor.planning.remedies.variants import Variant, assess_variant, clears
from corridor.study.plan import ON_CIRCUITS
from corridor.study.plan import Plan as PlanTable
from corridor.summary import Outcome

__all__ = ["Planned", "check_v_strings", "copy_plan", "plan_option", "plan_study", "plan_today", "require_option",
           "site_of"]


@dataclass(frozen=True)
class Planned:
    """What putting an option right comes to.

    `basis` with the line before and the remedies, and the `steps` of each that are taken; the line `after`; `refused`
    words for kinds that are not offered; `bound` the least cost that is not ruled out, nan where less need be left;
    `forbids` words for what no remedy can meet; `left` what may stay as it was all the same, and why
    (`corridor.planning.remedies.left`), none where there is no plan of the rest either; `rounds` looks at the line;
    `checked` what the check of the planned copy says, None where there is no plan, and `doubts` how many about its data
    could hide a violation; `today` what the existing wire needs by itself, None where that is this option, or none
    hangs; `every` the existing line, of the existing option, too, with limits; `changes` words for what fails on the
    finished line of a mix, or of a way to a rating, though no violation is left, and for structures of which it is not
    known whether they bear where wires change, "" for none.
    """

    basis: Basis
    after: Variant
    steps: np.ndarray
    refused: dict[str, str]
    bound: float = 0.0
    forbids: tuple[str, ...] = ()
    left: dict[tuple, str] = field(default_factory=dict)
    rounds: int = 0
    checked: Outcome | None = None
    doubts: int = 0
    today: "Planned | None" = None
    every: Variant | None = None
    changes: tuple[str, str] = ("", "")

    @property
    def site(self) -> Site:
        """The option on the existing line."""
        return self.basis.site

    @property
    def before(self) -> Variant:
        """The findings of the existing line."""
        return self.basis.before

    @property
    def remedies(self) -> Remedies:
        """What there is to choose from."""
        return self.basis.remedies

    @property
    def cleared(self) -> bool:
        """Whether the last variant has nothing short, and nothing lifted, overloaded or left unassessed anew."""
        return not self.forbids and clears(self.after, self.before, self.site.prices.largest_load_ratio)

    @property
    def holds(self) -> bool:
        """Whether there is a plan: it clears, or does but for what is `left`, which is no worse than it was."""
        rest = without_left(self.after, as_it_was(self.before), self.left)
        return self.cleared or bool(self.left) and clears(rest, self.before, self.site.prices.largest_load_ratio)

    @property
    def cost(self) -> float:
        """Cost of the remedies that are taken, relative."""
        return float(self.remedies.cost(self.steps).sum())

    @property
    def gap(self) -> float:
        """Share of the cost that might be saved at most, as far as `bound` holds [-]; nan where that is not known, or
        there is no plan."""
        if not self.holds or np.isnan(self.bound):
            return np.nan
        return max(self.cost - self.bound, 0.0) / self.cost if self.cost else 0.0

    @property
    def frames(self) -> Frames:
        """As data frames `plan`, the remedies that are taken, and the findings of the option with them in place."""
        from corridor.planning.remedies.taken import taken  # which is told of what is here

        return Frames({**self.after.layers, "plan": taken(self)}, self.site.inputs.crs)

    @property
    def status(self) -> int:
        """Exit status: 0 cleared, 1 not, or not all, 3 cleared but something could not be assessed, or the data are in
        doubt."""
        return 1 if not self.cleared or self.checked is None else self.checked.status or 3 * bool(
            self.doubts or self.site.study.unconfirmed or self.changes[1])


def plan_study(opened: Opened, option: str, folder: Path | str, *, overwrite: bool = False,
               files: Files | None = None, time: datetime | None = None, progress: Progress | None = None) -> Planned:
    """Plan an option of a study, write its planned copy to a folder and check that.

    The folder then has `study.toml`, the files that remedies change, and its findings; what an earlier plan wrote there
    goes. Where there is no plan there is no copy. Files that this software did not write are replaced only where they
    may be overwritten. With `files` the folder stays as it is until they are whole. `time` is that of the run, as of
    `corridor.check.check`. `progress(done, total)` is told spans, of the existing line, of each look at all of it,
    and of the check of the copy.

    Raises
    ------
    InputError
        Something given cannot be used; the folder stays as it is.
    """
    require_option(opened, option, mixes=True)
    check_folder(Path(folder), opened.inputs, opened.guard(overwrite))
    site = site_of(opened.inputs, option)
    every = assess_variant(site, progress=progress, limits=True, every=True)
    planned = replace(plan_option(site, progress, every.of(option)), every=every,
                      today=plan_today(opened, option, progress, every))
    return copy_plan(opened, planned, folder, overwrite=overwrite, files=files, time=time, progress=progress)


def copy_plan(opened: Opened, planned: Planned, folder: Path | str, *, overwrite: bool = False,
              files: Files | None = None, time: datetime | None = None, progress: Progress | None = None) -> Planned:
    """Write the planned copy of a study, if there is a plan, and check it; the rest is as for `plan_study`."""
    folder, guard = Path(folder), opened.guard(overwrite)
    check_folder(folder, opened.inputs, guard)
    with joined(files, guard) as out:
        staged = out.staged(made_folder(folder), earlier_plan(folder))
        if not planned.holds:
            return planned
        checked, doubts = checked_copy(planned.site, planned.after, staged, time, progress)
        return replace(planned, checked=checked, doubts=doubts)


def plan_today(opened: Opened, option: str, progress: Progress | None = None, every: Variant | None = None
               ) -> Planned | None:
    """Return the plan of the existing option, which is mandatory whatever shall hang; None where that is the option
    itself, or none is existing. `progress` is as for `plan_study`, `every` what is known of the existing line."""
    existing = next((each.name for each in opened.study.options if each.existing), option)
    if existing == option:
        return None
    return plan_option(site_of(opened.inputs, existing), progress, None if every is None else every.of(existing))


def require_option(opened: Opened, option: str, *, mixes: bool = False) -> None:
    """Raise InputError where a study has no option, or mix where these may be, of that name."""
    known = [each.name for each in (*opened.study.options, *(opened.study.mixes if mixes else ()))]
    if option not in known:
        raise InputError(opened.study.path, "option", repr(option), ", ".join(known), nearest(option, known))


def site_of(inputs: Inputs, option: str) -> Site:
    """Return the Site of an option of inputs whose terrain is open, or of a mix, with the existing option for
    comparison.

    Raises
    ------
    InputError
        The table [plan] names what the study does not have.
    """
    prices = inputs.study.plan or PlanTable()
    row = next((each for each in inputs.study.mixes if each.name == option), None)
    names = {option} if row is None else {row.option, *(part.option for part in row.in_sections)}
    options = [each for each in inputs.options if each.existing or each.name in names]
    if prices.largest_load_ratio is not None and len(options) == 1 and options[0].existing:
        # Strung tauter it is compared with how it hangs now, which comes first: that is the one compared with.
        options.insert(0, replace(options[0], name=f"{option}, as it hangs"))
    _check_names(inputs, prices)
    check_v_strings(inputs)
    inputs = replace(inputs, options=tuple(options))
    facts, plan, ground = prepare(inputs)
    facts = replace(facts, mixes=tuple(mix for mix in facts.mixes if mix.name == option))
    for mix in facts.mixes:
        check_mix(mix, inputs.study.path)
    if "remove" in prices.remedies:
        facts = with_things_of_surface(facts, plan, prices.removable)
    return Site(inputs.study, inputs, facts, plan, ground, option, prices)


def _check_names(inputs, prices):
    """Refuse what the table [plan] names and the study does not have."""
    obstacles, x, file = inputs.index.obstacles, inputs.structures, inputs.study.path
    if prices.largest_load_ratio is not None and not any(each.existing for each in inputs.options):
        raise InputError(file, "plan.largest_load_ratio", f"{prices.largest_load_ratio:g}, but no option is existing",
                         "an option with existing = true, which loads are compared with, or no such key")
    own = own_circuits(x, inputs.framings, range(len(x)))
    others = wires_of_others(obstacles)
    circuits = [*own, *others]
    categories = sorted({*obstacles.category, *inputs.rules.against} - {"ground", "right_of_way"})
    given = [(f"never_together.{i}.{key}", getattr(pair, key), circuits)
             for i, pair in enumerate(prices.never_together) for key in ("first", "second")]
    given += [(f"{key}.{i}", name, x.structure.tolist()) for key in ("untouched", "v_string_structures")
              for i, name in enumerate(getattr(prices, key))]
    given += [(f"{key}.{i}", name, [*others]) for key in ("guarded_circuits", "undergrounded", "alterable")
              for i, name in enumerate(getattr(prices, key))]
    given += [(f"outage_needs.{i}.circuit", row.circuit, own)
              for i, row in enumerate(prices.outage_needs) if row.circuit is not None]
    same = x.line[1:] == x.line[:-1]
    spans = [f"{a}-{b}" for a, b in zip(x.structure[:-1][same], x.structure[1:][same], strict=True)]
    given += [(f"access.{i}.{key}.{k}", name, known) for i, row in enumerate(prices.access)
              for key, known in (("structures", x.structure.tolist()), ("spans", spans))
              for k, name in enumerate(getattr(row, key))]
    given += [(f"wires.{i}.option", row.option, [each.name for each in inputs.study.options])
              for i, row in enumerate(prices.wires)]
    if prices.calendar is not None:
        met = [*circuits, *obstacles.obstacle[np.isin(obstacles.category.astype(str), GUARDED)]]
        given += [(f"calendar.notice.{i}.name", row.name, met) for i, row in enumerate(prices.calendar.notice)]
    given += [(f"{key}.{i}", name, categories) for key in ("removable", "trimmable") if key in prices.model_fields_set
              for i, name in enumerate(getattr(prices, key))]
    for i, pair in enumerate(prices.never_together):
        if pair.first == pair.second:
            raise InputError(file, f"plan.never_together.{i}.second", repr(pair.second), "another than the first")
    _check_circuits(file, prices, circuits_of_wires(x, inputs.framings))
    for where, name, known in given:
        if name not in known:
            raise InputError(file, f"plan.{where}", repr(name), "; ".join(known), nearest(name, known))


def check_v_strings(inputs: Inputs) -> None:
    """Raise InputError where a structure for V-strings has a name that several lines have: nothing tells at which of
    them somebody has looked whether the crossarms have room."""
    x, plan = inputs.structures, inputs.study.plan or PlanTable()
    for i, name in enumerate(plan.v_string_structures):
        lines = x.line[x.structure == name].tolist()
        if len(lines) > 1:
            raise InputError(inputs.study.path, f"plan.v_string_structures.{i}", f"{name!r}, a structure of each of "
                             + ", ".join(sorted(lines)), "names that one structure alone has")


def _check_circuits(file, prices, of):
    """Refuse work circuit by circuit on a line whose wires do not tell of which circuit they are."""
    mixed = next(((line, wire, own) for (line, wire), own in of.items() if len(own) > 1), None)
    for i, row in enumerate(prices.outage_needs):
        if mixed is not None and row.kind in ON_CIRCUITS and row.out != "all":
            line, wire, own = mixed
            raise InputError(file, f"plan.outage_needs.{i}.out", f"{row.out!r}, but the wire {wire} of {line} is of "
                             f"{' here and of '.join(sorted(own))} there", "'all', or names of wires that are of one "
                             "circuit along a line")


def plan_option(site: Site, progress: Progress | None = None, before: Variant | None = None) -> Planned:
    """Return what puts an option right (`corridor.planning.remedies.cheapest`); `progress` is as for `plan_study`,
    `before` the existing line, where it is known."""
    before = before or assess_variant(site, progress=progress)
    site = with_places(site, before)
    remedies, refused = offered_remedies(site, before)
    # What hangs today and stays is not strung anew.
    remedies = take(remedies, ~np.isin(remedies.kind, ("tighten", "slacken")) | np.isin(
        remedies.place, np.flatnonzero(site.renewed)))
    basis = Basis(site, remedies, before, _probes(site, remedies, progress))
    planned = Planned(basis, refused=refused, **vars(cheapest(basis, progress)))
    if not site.facts.mixes or not planned.holds:
        return planned
    return replace(planned, changes=unborne(site, planned.after))


def _probes(site, remedies, progress):
    """Variants with every section as taut, and as slack, as it may be; none where none may be."""
    most = {kind: np.where(remedies.kind == kind, remedies.most, 0.0) for kind in ("tighten", "slacken")}
    return {kind: assess_variant(site, alterations_of(site, remedies, steps), progress=progress)
            for kind, steps in most.items() if steps.any()}
