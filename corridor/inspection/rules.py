"""Doubts about rules: categories that none knows, rules spelled like a category, clearances in another unit."""

import numpy as np

from corridor.clearance import rules as rule_tables
from corridor.errors import nearest
from corridor.inspection.doubt import COMMON, MINOR, SERIOUS, Doubt, Kind, gathered
from corridor.inspection.evidence import group_of
from corridor.inspection.tops import file_of
from corridor.study.terrain import SURFACE

__all__ = ["KINDS", "categories", "sizes"]

#: What is no category of obstacles.
_OWN = ("ground", "right_of_way", "own_phase", "own_circuit", "own_shield_wire", "galloping", "steep_slope", "other",
        rule_tables.FALLING)

UNRULED = Kind(
    "category-unruled", SERIOUS, "no rule is for a category that stands near the line",
    "a word of the layer that is none of the rules' ('highway' for 'road'), a value such as 'unknown'",
    "a thing within 60 m of the line, or the surface, whose category has no rule in any measure", "-",
    "correct the category, or write a rule for it")
UNMET = Kind(
    "rule-unmet", SERIOUS, "a rule is spelled almost like a category of the study, and nothing met it",
    "'roads' for 'road', a capital letter: the thing is then judged by a rule for all others, or by none",
    "a category without a rule of its own in that measure, and a rule that nothing met spelled almost like it", "-",
    "spell both alike")
SMALL = Kind(
    "rule-small", SERIOUS, "a rule requires less than can be",
    "a table for another voltage, metres turned to feet twice, kV written as V in an adder",
    "less than 0.4 of the electrical distance of the voltage; vertically over ground, roads, rails without wires over "
    "them and the like less than 4 m; an adder of less than 2 mm/kV or more than 30 mm/kV",
    "electrical distance: EN 50341-1 (recalled); what passes below a line is up to 4 m high: " + COMMON,
    'write the unit ("18.5 ft"), or correct the rule')
LARGE = Kind(
    "rule-large", MINOR, "a rule requires more than is usual", "feet read as metres",
    "vertically more than 12 m + 1 cm/kV, but for water and railways", COMMON, 'write the unit ("18.5 ft")')
THIN = Kind(
    "rule-below-distance", MINOR, "a rule requires less than the electrical distance and takes its place",
    "distances at which air just holds, as tables of flashover to trees give them",
    "in space or above, from 0.4 of the electrical distance of the voltage to less than all of it",
    "electrical distance: EN 50341-1 (recalled)", "add a buffer to the rule, or accept it with the clause that asks so")
KINDS = (UNRULED, UNMET, SMALL, LARGE, THIN)


def categories(evidence):
    """Yield doubts about categories and rules that do not meet."""
    rules, obstacles = evidence.inputs.rules, evidence.inputs.index.obstacles
    o = np.unique(evidence.things.obstacle)
    known = sorted(set(rules.against.tolist()))
    pairs = dict.fromkeys(zip(obstacles.layer[o].tolist(), obstacles.category[o].tolist(), strict=True))
    terrain = evidence.inputs.study.terrain
    pairs |= dict.fromkeys((SURFACE, category) for category in sorted(terrain.categories))
    for layer, category in pairs:
        if not rule_tables.has_any_rule(rules, [category])[0]:
            close = nearest(category, known)
            yield Doubt(UNRULED, file_of(evidence, layer), layer, f"the category {category!r}",
                        "a category of the rules" + (f", perhaps {close!r}" if close else ""))
    given = set(obstacles.category.tolist())
    given |= {group.category for cloud in evidence.inputs.study.point_clouds for group in cloud.compared}
    given |= terrain.categories
    for row in range(len(rules)):
        against, measure = rules.against[row], rules.measure[row]
        lone = [name for name in given if not ((rules.against == name) & (rules.measure == measure)).any()]
        close = nearest(against, lone) if against not in (*given, *_OWN) else None
        if close is not None and _alike(close, against):
            yield Doubt(UNMET, _file(evidence), rules.rule[row], f"a rule for {against!r}, which nothing is",
                        f"perhaps {close!r}")


def _alike(one, other):
    """Whether two words are the same but for a letter, capitals or signs.

    >>> _alike("road", "Roads"), _alike("rail", "rail_electrified")
    (True, False)
    """
    a, b = ("".join(letter for letter in word.lower() if letter.isalnum()) for word in (one, other))
    return a.removesuffix("s") == b.removesuffix("s") or (len(a) == len(b) and sorted(a) == sorted(b))


def sizes(evidence):
    """Yield doubts about how much rules require."""
    rules, U = evidence.inputs.rules, evidence.kilovolts
    here = np.flatnonzero((rules.min_kv < U) & (rules.max_kv >= U) & ~np.isin(
        rules.against.astype(str), ["own_phase", "own_circuit", "own_shield_wire", "galloping"]))
    need = rule_tables.requirement(rules, here, U, 0.0, other_kv=np.full(len(here), 1.0)).required
    D = float(np.nan_to_num(rule_tables.electrical_distance(U)))
    vertical = rules.measure[here] == "vertical"
    names = rules.against[here]
    below = np.array([name == "ground" or (group_of(name) == "way" and "electrified" not in name) for name in names],
                     bool)
    least = np.where(vertical & below, 4.0, np.where(rules.measure[here] == "horizontal", 0.0, 0.4 * D))
    adder = rules.per_kv[here]
    small = (need < least) | ((adder > 0) & ((adder < 2e-3) | (adder > 0.03)))
    high = np.array(["water" in name or "rail" in name for name in names], bool)
    large = vertical & (need > 12 + 0.01 * U) & ~high
    thin = (need < D) & (rules.measure[here] != "horizontal")
    for kind, wrong, expected in ((SMALL, small, f"{0.4 * D:.2f} m or more, 4 m over what passes below, 2 to 30 mm/kV"),
                                  (LARGE, large & ~small, f"{12 + 0.01 * U:.1f} m at most"),
                                  (THIN, thin & ~small, f"{D:.2f} m or more")):
        i = np.flatnonzero(wrong)
        yield from gathered(kind, _file(evidence), "rules", rules.rule[here[i]],
                            [f"{rules.measure[here[k]]} {need[k]:.2f} m against {rules.against[here[k]]}" for k in i],
                            expected, of=len(here))


def _file(evidence):
    return evidence.inputs.study.rules.file or evidence.inputs.study.rules.table
