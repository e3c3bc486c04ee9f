"""The cheapest remedies after which there is no violation: programmes, and looks at the line that correct them.

A programme takes margins to change linearly. Every look at the line with remedies in place gives each row its margin
there, exactly, and all rows of all looks stay in the next programme; those of other layouts (posts, strain strings,
structures more) hold for theirs alone. First the chord's lift is all that a post is worth. What clears so is the plan
to beat; then posts promise more than they may keep, and each programme that would be cheaper is looked at, until none
is or enough is looked at. In the end remedies are given up one by one, or by a step, where the line clears without.

What nothing mends is left, as few things as may be, none of them worse than it was, and all else is mended. Before that
posts promise more in its sections. A section in which no remedies hold is closed: nothing is done there.
"""

from dataclasses import dataclass, field, replace

import numpy as np
from scipy.sparse import csr_array

from corridor.check import Progress
from corridor.planning.remedies.constraints import Basis, constraints_of, rules_of_choice
from corridor.planning.remedies.least_cost import Constraints, Solution, least_cost
from corridor.planning.remedies.left import LEAVE, as_it_was, sections_of, why_left, with_leave, without_left
from corridor.planning.remedies.offered import alterations_of
from corridor.planning.remedies.variants import Variant, assess_variant, clears, failing_sections

__all__ = ["Found", "cheapest"]

#: Rounds of programme and look after which a first plan is given up.
_ROUNDS = 25
#: What less cost is no less.
_ALIKE = 1e-6


@dataclass(frozen=True)
class Found:
    """Steps of each remedy (column,) and the line with them, `after`; `bound` the least cost that is not ruled out, as
    far as rows are linear and posts worth no more than is hoped, nan where not as much need be left; `forbids` words
    for what no remedy can meet; `left` what may stay as it `was`, by its key, and why, none where there is no plan
    either; `rounds` looks at the line."""

    steps: np.ndarray
    after: Variant
    bound: float = 0.0
    forbids: tuple[str, ...] = ()
    left: dict[tuple, str] = field(default_factory=dict)
    rounds: int = 0


def cheapest(basis: Basis, progress: Progress | None = None) -> Found:
    """Return the cheapest remedies of a basis with which the line clears, or else those that leave the least, and what
    forbids more.

    `progress(done, total)` is told spans where all are looked at.
    """
    count = len(basis.remedies)
    if clears(basis.before, basis.before, basis.site.prices.largest_load_ratio):
        return Found(np.zeros(count, int), basis.before)
    was = as_it_was(basis.before)
    search = _Search(replace(basis, remedies=with_leave(basis.remedies, len(was)), was=was), progress)
    best, solution, words = search.mended()
    if best is not None and search.number_left(best[0]):
        spans, search.spans = search.spans, basis.site.prices.search_spans
        more, _, now = search.run(hope=search.in_sections(best[0]), beaten=best)
        best, words, search.spans = (*((best, words) if more is None else (more, now)), spans)
    more, better, now = search.run(hope=True, beaten=best)
    best, words = (best, words) if more is None else (more, now)
    if best is None or search.number_left(best[0]) == len(was):
        steps = (solution.steps if best is None else best[0])[:count]
        return Found(steps, search.now, forbids=search.forbids(words), rounds=search.rounds)
    steps, after = search.given_up(*best)
    left, cost = search.left_by(search.mended_too(steps, after)), float(search.basis.remedies.cost(steps).sum())
    bound = cost if not better.feasible else min(better.bound, cost)
    if search.closed.any() or (better.feasible and search.number_left(better.steps) < len(left)):
        bound = np.nan
    return Found(steps[:count], after, bound, search.forbids(words) if left else (), search.why(left), search.rounds)


class _Search:
    """What looks have taught: rows, where remedies that were `seen` fail, `rounds` looks, and the last line, `now`;
    sections that are `closed`, words for what forbade remedies there, `held`, and sections that are `failing` last;
    what each of the `looks` found for the first time; `spans` that may yet be looked at in hope."""

    def __init__(self, basis, progress):
        self.basis, self.progress, self.now = basis, progress, basis.before
        self.rows, self.known, self.seen = rules_of_choice(basis.remedies), {}, {}
        self.rounds, self.spans, self.looks = 0, basis.site.prices.search_spans, []
        self.leave = basis.remedies.kind == LEAVE
        self.closed, self.failing = np.zeros(len(basis.site.plan.sections), bool), self._failing(basis.before)
        self.held, self.sections = (), sections_of(basis.before, basis.was)

    def left_by(self, steps):
        """Keys of what steps leave, to their columns."""
        return {key: j for key, j in zip(self.basis.was, np.flatnonzero(self.leave), strict=True) if steps[j]}

    def number_left(self, steps):
        return int(steps[self.leave].sum())

    def in_sections(self, steps):
        """Sections in which steps leave something, (section,) bool."""
        own = np.zeros(len(self.closed), bool)
        own[np.concatenate([self.sections[i] for i in np.flatnonzero(steps[self.leave])])] = True
        return own

    def judged(self, variant, steps):
        """The variant without what steps leave."""
        return without_left(variant, self.basis.was, self.left_by(steps))

    def clears(self, variant, steps):
        return clears(self.judged(variant, steps), self.basis.before, self.basis.site.prices.largest_load_ratio)

    def why(self, left):
        """Words for why each thing is left."""
        rows = constraints_of(self.basis, self.basis.before, np.zeros(len(self.leave), int))
        shut = dict(zip(self.basis.was, (self.closed[own].any() for own in self.sections), strict=True))
        return why_left(rows, self.basis.remedies, left) | {
            key: "no remedies held in its section, looked at in full" for key in left if shut[key]}

    def mended(self):
        """What `run` returns without hope; sections in which no remedies hold are closed until the rest has a plan."""
        while True:
            found = self.run()
            if found[0] is not None or self.closed[self.failing].all():
                return found
            self.closed[self.failing], self.held = True, (*self.held, *found[2])

    def forbids(self, words):
        """Words for all that forbids to leave less, never none."""
        names = self.basis.site.plan.sections.name[self.closed]
        return tuple(dict.fromkeys((*words, *self.held, *(f"section {name}: no remedies held" for name in names)))) or (
            "something had to be left",)

    def _solved(self, rows):
        """The Solution of rows; nothing is done in closed sections, whose rows are left out, and all that they have is
        left."""
        m, shut = self.basis.remedies, self.basis.touched[self.closed].sum(axis=0) > 0
        if self.closed.any():
            size = abs(rows.A)
            own = ~((size @ shut > 0) & (size @ ~(shut | self.leave) == 0))
            rows = Constraints(rows.A[own], rows.need[own], rows.name[own])
        found = least_cost(rows, **m.programme | {"most": np.where(shut, 0, m.most)}, leave=self.leave,
                           known=self.known)
        steps = found.steps.copy()
        steps[self.leave] |= np.array([self.closed[own].any() for own in self.sections], bool)
        return replace(found, steps=steps), _lacking(rows, found)

    def run(self, *, hope=False, beaten=None):
        """Return the steps and the line where a programme's remedies clear but for what they leave, None where none do
        or they leave and cost no less than those that are `beaten`; the last Solution; and words for what forbids.

        `hope` (section,) where posts and strain strings promise more than the chord's lift; then it looks only while
        there are `spans` left to look at.
        """
        m, solution, hopeful = self.basis.remedies, None, np.any(hope)
        first = constraints_of(self.basis, self.basis.before, np.zeros(len(m), int), hope=hope)
        worst = (np.inf, np.inf) if beaten is None else self._rank(beaten[0])
        for _ in range(_ROUNDS):
            solution, words = self._solved(self.rows + first)
            if not solution.feasible:
                return None, solution, words
            left, cost = self._rank(solution.steps)
            if (left, cost + _ALIKE) >= worst or (hopeful and self.spans <= 0):
                return None, solution, words
            failing = self.seen.get(tuple(solution.steps.tolist()))
            if failing is not None:
                self.failing = failing
                if not self._forbid(solution.steps, failing):
                    return None, solution, _UNSEEN
                continue
            found = self.look(solution.steps)
            if self.clears(found, solution.steps):
                return (self.mended_too(solution.steps, found), found), solution, words
        return None, solution, (f"no plan held after {_ROUNDS} rounds",)

    def mended_too(self, steps, found):
        """The steps without leaving what is mended all the same: rows are linear, the wire is not."""
        still, steps = as_it_was(found), steps.copy()
        steps[[j for key, j in self.left_by(steps).items() if key not in still]] = 0
        return steps

    def _rank(self, steps):
        """How much steps leave, and what they cost."""
        return self.number_left(steps), float(self.basis.remedies.cost(steps).sum())

    def look(self, steps):
        """Look at the line with remedies in place, and learn from it."""
        basis = self.basis
        self.now = assess_variant(basis.site, alterations_of(basis.site, basis.remedies, steps),
                                  (self.now, *self.looks, basis.before), self.progress)
        self.looks.insert(0, self.now.alone)
        self.spans -= self.now.fresh_spans
        self.rounds += 1
        self.rows = self.rows + constraints_of(basis, self.now, np.where(self.leave, 0, steps))
        self.seen[tuple(steps.tolist())] = self.failing = self._failing(self.judged(self.now, steps))
        return self.now

    def _failing(self, variant):
        return failing_sections(variant, self.basis.before, self.basis.site.prices.largest_load_ratio)

    def _forbid(self, steps, failing):
        """Forbid what is done to how sections hang that no row tells against; whether there was any."""
        basis = self.basis
        own = np.flatnonzero((basis.laid_out[failing].sum(axis=0) > 0) & (steps > 0))
        if not len(own):
            return False
        row = csr_array((-1 / basis.remedies.step[own], (np.zeros(len(own), int), own)), (1, len(steps)))
        self.rows = self.rows + Constraints(row, np.array([1.0 - len(own)]), np.array(["what is left unassessed, or "
                                            "loads wires or structures more than is allowed"], object))
        return True

    def given_up(self, steps, after):
        """Return fewer steps with which the line clears, and the line, after remedies were given up one by one."""
        m, touched = self.basis.remedies, self.basis.touched
        refused, grade = set(), m.kind == "grade"
        while self.spans > 0:
            taken, trial = np.zeros(touched.shape[0], bool), steps.copy()
            for j, fewer in self._fewer(steps):
                own = touched[:, [j]].toarray().ravel() > 0
                if (j, fewer) not in refused and not (own & taken).any() and not (grade[j] and not own.any()):
                    trial[j], taken = fewer, taken | own
            if (trial == steps).all():
                break
            found, own = self.look(trial), np.flatnonzero(trial != steps)
            if not self.clears(found, trial):
                # Of what was tried at once some may do, where its sections have nothing to say against it.
                failing = self.seen[tuple(trial.tolist())]
                bad = own[(touched[failing][:, own].sum(axis=0) > 0)] if len(failing) else own
                refused |= {(j, trial[j]) for j in (bad if len(bad) else own)}
                trial[bad if len(bad) else own] = steps[bad if len(bad) else own]
                if (trial == steps).all():
                    continue
                found = self.look(trial)
                if not self.clears(found, trial):
                    refused |= {(j, trial[j]) for j in own}
                    continue
            steps, after = trial, found
        return steps, after

    def _fewer(self, steps):
        """Remedies and how many steps of them might do, by what that saves, the most first; none that rows rule out."""
        m = self.basis.remedies
        options = []
        for j in np.flatnonzero(steps):
            for fewer in {0, int(steps[j]) - 1}:
                trial = steps.copy()
                trial[j] = fewer
                saved = m.cost(steps).sum() - m.cost(trial).sum()
                lack = (self.rows.need - self.rows.A @ (trial * m.step)).max(initial=0.0)
                if saved > 0 and lack < _NEARLY:
                    options.append((-saved, int(j), fewer))
        return [(j, fewer) for _, j, fewer in sorted(options)]


#: What rows may lack for a remedy to be given up all the same, where a look allows it [m or kN].
_NEARLY = 0.1
_UNSEEN = ("with the remedies that meet all demands more is left unassessed, a wire is loaded above its strength, "
           "or a structure by more than is allowed",)


def _lacking(rows: Constraints, solution: Solution):
    """Words for the rows that nothing meets."""
    def lack(name, short):
        return "its strings' pull" if name.endswith("uplift") else f"{short:.0%} of what is allowed" \
            if name.endswith("tension") else f"{short:.2f} m"

    short = {}
    for i in np.flatnonzero(solution.short > 1e-7):
        short[rows.name[i]] = max(short.get(rows.name[i], 0.0), solution.short[i])
    return tuple(f"{name} lacks {lack(name, most)}" for name, most in short.items())
