"""The options of a study line by line: what each gains over today, what it costs, and what limits it."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from corridor.check import Progress
from corridor.jobs.compare import Comparison, compare_facts
from corridor.opened import Opened
from corridor.outputs.tables_lines import ranked
from corridor.rating.ladder import Limits

__all__ = ["compare_lines", "line_rows", "wire_prices"]


def compare_lines(opened: Opened, *, progress: Progress | None = None) -> Comparison:
    """Compare the options of a study, in all and line by line (`Comparison.lines`).

    Parameters
    ----------
    opened : Opened
    progress : callable, optional
        `progress(done, total)` in spans.
    """
    facts, plan, ground = opened.laid_out
    seen, limits = _Counted(), Limits()

    def watch(layer, columns):
        seen.add(layer, columns)
        limits.add(layer, columns)

    compared = compare_facts(facts, plan, ground, opened.loads, progress=progress, watch=watch)
    lines = list(dict.fromkeys(plan.spans.line))
    length = {line: float(plan.spans.length[plan.spans.line == line].sum()) / 1e3 for line in lines}
    rows = line_rows(compared.ladder, limits.columns, seen.violations, seen.gaps, length, compared.names)
    return replace(compared, lines=ranked(rows, wire_prices(opened), facts.existing))


def wire_prices(opened: Opened) -> dict[str, float]:
    """Return what the wires of a kilometre of line cost by option, of those that have a price."""
    prices = opened.study.plan
    return {} if prices is None else {row.option: row.cost_per_km for row in prices.wires}


class _Counted:
    """Violations and rows not assessed by (line, option), None for all lines or all options."""

    def __init__(self) -> None:
        self.violations: Counter = Counter()
        self.gaps: Counter = Counter()

    def add(self, layer, columns):
        """Count a batch of rows."""
        counts = {"violations": self.violations, "not_assessed": self.gaps}.get(layer)
        if counts is not None:
            counts.update(zip(columns["line"], columns["option"], strict=True))


def line_rows(ladder: Mapping[str, np.ndarray], limits: Mapping[str, np.ndarray], violations: Mapping, gaps: Mapping,
              length: Mapping[str, float], options: list[str]) -> list[dict]:
    """Return a row per line and option, as `corridor.outputs.tables_lines.ranked` takes them.

    What is not assessed for no line, or no option, in particular is not assessed for any.

    Parameters
    ----------
    ladder, limits : mapping of ndarray
        Columns of these layers.
    violations, gaps : mapping
        Rows by (line, option), None for all.
    length : mapping
        Of each line [km].
    options : list of str
    """
    governs = {key: i for i, key in enumerate(zip(limits["line"], limits["option"], limits["span"], strict=True))}
    steps: dict[tuple, list[int]] = {}
    for i, key in enumerate(zip(ladder["line"], ladder["option"], strict=True)):
        steps.setdefault(key, []).append(i)
    rows = []
    for line in length:
        for option in options:
            own = sorted(steps[line, option], key=lambda i: ladder["spans_fixed"][i])
            first, last, span = own[0], own[-1], ladder["limiting_span"][own[0]]
            rows.append({
                "line": line, "option": option, "length_km": length[line],
                "limit_current_a": float(ladder["limit_current_a"][first]), "limiting_span": span,
                "limited_by": _by(limits, governs.get((line, option, span))),
                "remedied_current_a": float(ladder["limit_current_a"][last]),
                "violations": violations.get((line, option), 0),
                "not_assessed": sum(gaps.get((a, b), 0) for a in (line, None) for b in (option, None))})
    return rows


def _by(limits, row):
    """What sets the limit of a span, in words."""
    if row is None:
        return "maximum temperature"
    against, case = limits["governing_against"][row], limits["governing_case"][row]
    return str(limits["governs"][row]) if against is None else f"{against}, {case}"
