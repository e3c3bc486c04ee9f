"""The cheapest remedies after which there is no violation: programmes, and looks at the line that correct them.

A programme takes margins to change linearly. Every look at the line with remedies in place gives each row its margin
there, exactly, and all rows of all looks stay in the next programme; those of other layouts (posts, strain strings,
structures more) hold for theirs alone. First the chord's lift is all that a post is worth. What clears so is the plan
to beat; then posts promise more than they may keep, and each programme that would be cheaper is looked at, until none
is or enough is looked at. In the end remedies are given up one by one, or by a step, where the line clears without.
"""

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array

from corridor.check import Progress
from corridor.planning.remedies.constraints import Basis, constraints_of, rules_of_choice
from corridor.planning.remedies.least_cost import Constraints, Solution, least_cost
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
    far as rows are linear and posts worth no more than is hoped; `forbids` words for what no remedy can meet; `rounds`
    looks at the line."""

    steps: np.ndarray
    after: Variant
    bound: float = 0.0
    forbids: tuple[str, ...] = ()
    rounds: int = 0


def cheapest(basis: Basis, progress: Progress | None = None) -> Found:
    """Return the cheapest remedies of a basis with which the line clears, or what forbids them.

    `progress(done, total)` is told spans where all are looked at.
    """
    search = _Search(basis, progress)
    none = Found(np.zeros(len(basis.remedies), int), basis.before)
    if search.clears(basis.before):
        return none
    first, solution, words = search.run(hopeful=False)
    best, better, _ = search.run(hopeful=True, beaten=first)
    best = best or first
    if best is None:
        steps = none.steps if solution is None else solution.steps
        return Found(steps, search.now, forbids=words, rounds=search.rounds)
    steps, after = search.given_up(*best)
    cost = float(basis.remedies.cost(steps).sum())
    bound = cost if better is None or not better.feasible else min(better.bound, cost)
    return Found(steps, after, bound, rounds=search.rounds)


class _Search:
    """What looks have taught: rows, where remedies that were `seen` fail, `rounds` looks, and the last line, `now`."""

    def __init__(self, basis, progress):
        self.basis, self.progress, self.now = basis, progress, basis.before
        self.rows, self.known, self.seen = rules_of_choice(basis.remedies), {}, {}
        self.rounds, self.left = 0, basis.site.prices.search_spans

    def clears(self, variant):
        return clears(variant, self.basis.before, self.basis.site.prices.largest_load_ratio)

    def run(self, *, hopeful, beaten=None):
        """Return the steps and the line where a programme's remedies clear, None where none do or they cost no less
        than those that are `beaten`; the last Solution; and words for what forbids."""
        m, solution = self.basis.remedies, None
        first = constraints_of(self.basis, self.basis.before, np.zeros(len(m), int), hopeful=hopeful)
        most = np.inf if beaten is None else m.cost(beaten[0]).sum() - _ALIKE
        for _ in range(_ROUNDS):
            rows = self.rows + first
            solution = least_cost(rows, **m.programme, known=self.known)
            if not solution.feasible:
                return None, solution, _lacking(rows, solution)
            if solution.cost >= most or (hopeful and self.left <= 0):
                return None, solution, ()
            failing = self.seen.get(tuple(solution.steps.tolist()))
            if failing is not None:
                if not self._forbid(solution.steps, failing):
                    return None, solution, _UNSEEN
                continue
            found = self.look(solution.steps)
            if self.clears(found):
                return (solution.steps, found), solution, ()
        return None, solution, (f"no plan held after {_ROUNDS} rounds",)

    def look(self, steps):
        """Look at the line with remedies in place, and learn from it."""
        basis = self.basis
        self.now = assess_variant(basis.site, alterations_of(basis.site, basis.remedies, steps), self.now,
                                  self.progress)
        self.left -= self.now.fresh_spans
        self.rounds += 1
        self.rows = self.rows + constraints_of(basis, self.now, steps)
        self.seen[tuple(steps.tolist())] = self._failing(self.now)
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
        while self.left > 0:
            taken, trial = np.zeros(touched.shape[0], bool), steps.copy()
            for j, fewer in self._fewer(steps):
                own = touched[:, [j]].toarray().ravel() > 0
                if (j, fewer) not in refused and not (own & taken).any() and not (grade[j] and not own.any()):
                    trial[j], taken = fewer, taken | own
            if (trial == steps).all():
                break
            found, own = self.look(trial), np.flatnonzero(trial != steps)
            if not self.clears(found):
                # Of what was tried at once some may do, where its sections have nothing to say against it.
                failing = self._failing(found)
                bad = own[(touched[failing][:, own].sum(axis=0) > 0)] if len(failing) else own
                refused |= {(j, trial[j]) for j in (bad if len(bad) else own)}
                trial[bad if len(bad) else own] = steps[bad if len(bad) else own]
                if (trial == steps).all():
                    continue
                found = self.look(trial)
                if not self.clears(found):
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

    short = np.flatnonzero(solution.short > 1e-7)
    return tuple(dict.fromkeys(f"{rows.name[i]} lacks {lack(rows.name[i], solution.short[i])}" for i in short))
