"""Findings of mixes: in each section those of the option that hangs there.

Wires of a section know nothing of those of the next: a strain structure holds both. What sections have in common is
the load on that structure, which the totals of both add up to, and other lines of the study near by.
"""

from collections.abc import Sequence

import numpy as np

from corridor.clearance.findings import gap_rows
from corridor.clearance.not_assessed import Gap
from corridor.clearance.spread import Chances
from corridor.clearance.study_lines import near_spans

__all__ = ["put_together", "totals_with_mixes", "with_mixes"]

_CHANCES, _TOTALS = "chances", "structure_totals"


def put_together(batches: Sequence[dict]) -> dict:
    """Return what runs of spans come to, as `corridor.assessment.assess_spans` returns it, as that of all of them."""
    layers = dict.fromkeys(name for batch in batches for name in batch if name not in (_CHANCES, _TOTALS))
    whole = {}
    for layer in layers:
        parts = [batch[layer] for batch in batches if layer in batch]
        whole[layer] = {name: np.concatenate([np.asarray(part[name], object if name == "geometry" else None)
                                              for part in parts]) for name in parts[0]}
    for name in (_CHANCES, _TOTALS):
        parts = [batch[name] for batch in batches if batch.get(name)]
        whole[name] = () if not parts else _sure(parts, whole) if name == _CHANCES else tuple(
            np.concatenate(each) for each in zip(*parts, strict=True))
    return whole


def _sure(parts, whole):
    return Chances(np.any([each.short for each, _ in parts], axis=0), np.sum([each.variance for each, _ in parts],
                                                                           axis=0)), whole["clearances"]


def with_mixes(facts, plan, first, last, batch: dict) -> tuple[dict, set]:
    """Return what spans `first` to `last` come to with rows of the mixes, each of which is one option alone there.

    Near another line of the study a mix may hang what no option of its own has been compared with: that is not
    assessed. With the layers go (line, span, mix) of which that is said.
    """
    options = [option.name for option in facts.options]
    hangs = _hangs(facts, plan, first)
    if not hangs:
        return batch, set()
    at = [options.index(each) for each in hangs.values()]
    layers = {name: rows if not isinstance(rows, dict) or "option" not in rows else _with_rows(rows, hangs)
              for name, rows in batch.items()}
    if layers.get(_TOTALS):
        layers[_TOTALS] = totals_with_mixes(facts, plan, first, layers[_TOTALS])
    if layers.get(_CHANCES):
        sure, _ = layers[_CHANCES]
        layers[_CHANCES] = Chances(*(np.concatenate([each, each[at]]) for each in sure)), layers["clearances"]
    gaps = [gap for mix in facts.mixes for gap in _beside(facts, plan, mix, first, last)]
    if gaps:
        layers["not_assessed"] = _with_gaps(facts, plan, layers["not_assessed"], gaps)
    return layers, {(plan.spans.line[gap.span], plan.spans.name[gap.span], gap.option) for gap in gaps}


def totals_with_mixes(facts, plan, first: int, totals: tuple) -> tuple:
    """Return loads on structures, the arguments of `corridor.clearance.capacity.Totals.add`, of a run that begins with
    span `first`, with those of the mixes after those of the options."""
    structure, forces = totals
    options = [option.name for option in facts.options]
    at = [options.index(each) for each in _hangs(facts, plan, first).values()]
    return structure, np.concatenate([forces, forces[:, at]], axis=1)


def _hangs(facts, plan, first):
    """The option of each mix, by its name, in a run that begins with span `first`."""
    return {mix.name: mix.hangs[plan.spans.section[first]] for mix in facts.mixes}


def _with_rows(rows, hangs):
    """Rows with those of each mix after them."""
    parts = [np.flatnonzero(rows["option"] == each) for each in hangs.values()]
    count = len(rows["option"])
    took = np.concatenate([np.arange(count), *parts])
    names = np.concatenate([rows["option"], *(np.full(len(part), name, object) for name, part in zip(
        hangs, parts, strict=True))])
    return {name: np.asarray(values, object if name == "geometry" else None)[took] for name, values in rows.items()
            } | {"option": names}


def _beside(facts, plan, mix, first, last):
    """Gaps of a mix near other lines of the study: an option is compared with them as they hang it themselves, and as
    they are today."""
    spans = plan.spans
    for own, other in near_spans(facts.structures, spans, facts.framings, first, last):
        here, there = (mix.hangs[spans.section[span]] for span in (own, other))
        if there not in (here, facts.existing):
            yield Gap(int(own), None, mix.name, None, "line", f"{spans.line[other]} {spans.name[other]}",
                      f"{here} hangs here and {there} there: only wires of one option, and the existing ones, are "
                      "compared")


def _with_gaps(facts, plan, known, gaps):
    """Rows of `not_assessed` with those of gaps."""
    rows = gap_rows(gaps, facts.structures, plan.base_elevation, plan.spans)
    return {name: np.concatenate([np.asarray(each, object), rows[name]]) for name, each in known.items()}
