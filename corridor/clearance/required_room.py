"""What rules ask for about things, part by part, in cases: how far beside, how high above, and in round corners."""

from dataclasses import replace

import numpy as np

from corridor.clearance import rules as rule_tables
from corridor.clearance.beside_things import Corners
from corridor.clearance.findings import against_of, other_voltage

__all__ = ["corners_of", "required_of", "vertical_room"]


def required_of(around, measure, case, against=None, some=slice(None)):
    """Return the row of the rule for each part, or for `some`, in a case, and what it requires at its top [m], nan
    where none does; of its own category, or of others that stand in `against` (part,)."""
    scene, obstacles, thing = around.scene, around.index.obstacles, around.index.of_part[some]
    against = against_of(thing, obstacles) if against is None else against[some]
    other = other_voltage(scene, thing) / 1e3
    rule, terms = rule_tables.required(scene.rules, against, measure, case.name, scene.voltage / 1e3, around.tops[some],
                                       swung=case.wind > 0, other_kv=other)
    return rule, terms.required


def vertical_room(around):
    """Return the vertical clearance required above each part [m]: the most that any case asks for, in wind or without;
    0 where none does, and beyond all bounds where one does and how much is not known."""
    room = np.zeros(len(around.tops))
    for case in around.scene.cases:
        for each in (case, replace(case, wind=0.0 if case.wind > 0 else 1.0)):
            rule, required = required_of(around, "vertical", each)
            none = rule == rule_tables.NONE
            room = np.maximum(room, np.where(none, 0.0, np.nan_to_num(required, nan=np.inf)))
    return np.where(np.isnan(around.tops), 0.0, np.where(np.isinf(room), 1e4, room))


def corners_of(around, cases):
    """Return what is required beside and above the parts whose horizontal rule rounds the corner, in some cases."""
    required = np.full((2, len(around.tops), len(cases)), np.nan)
    for column, case in enumerate(around.scene.cases[k] for k in cases):
        found = [required_of(around, measure, case) for measure in ("horizontal", "vertical")]
        rule = found[0][0]
        rounded = (rule >= 0) & (around.scene.rules.shape[np.maximum(rule, 0)] == "corner")
        for row, (_, needed) in enumerate(found):
            required[row, :, column] = np.where(rounded, needed, np.nan)
    return Corners(around.tops, *required)
