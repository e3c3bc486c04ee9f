"""Which things rules are for, in each measure: asked once, of every obstacle of an index."""

from functools import cached_property

import numpy as np
import shapely

from corridor.clearance import rules as rule_tables
from corridor.clearance.both_ends import is_line
from corridor.clearance.crossings import stands

__all__ = ["RuledThings"]


class RuledThings:
    """What the rules are for, part by part of an index of obstacles; arrays (part,) of bool, unless said otherwise.

    Parameters
    ----------
    rules : Rules
    index : ObstacleIndex
    """

    def __init__(self, rules, index):
        self._rules, self._index, self._known = rules, index, {}

    def _of_obstacles(self, asked, measure):
        """What a question about a measure comes to for each obstacle (obstacle,)."""
        if (asked, measure) not in self._known:
            names, which = self._categories
            self._known[asked, measure] = asked(self._rules, names, measure)[which]
        return self._known[asked, measure]

    @cached_property
    def _categories(self):
        """Categories, each once, and which is that of each obstacle."""
        category = self._index.obstacles.category
        number = {name: i for i, name in enumerate(dict.fromkeys(category.tolist()))}
        return np.array(list(number), object), np.fromiter((number[name] for name in category), int, len(category))

    def has(self, measure):
        """True where the category has a rule of a measure in any case."""
        return self._of_obstacles(rule_tables.has_rule, measure)[self._index.of_part]

    def lacks(self, measure):
        """True where the electrical distance alone is for a measure."""
        return self._of_obstacles(rule_tables.lacks_rule, measure)[self._index.of_part]

    def kept_clear(self, measure):
        """True for obstacles (obstacle,) that a rule of a measure is for, or else the electrical distance."""
        return (self._of_obstacles(rule_tables.has_rule, measure)
                | self._of_obstacles(rule_tables.lacks_rule, measure))

    @cached_property
    def falling(self):
        """True for what can fall."""
        falls, of_part = self._index.obstacles.falls, self._index.of_part
        return np.zeros(len(of_part), bool) if falls is None else falls[of_part]

    @cached_property
    def stands(self):
        """True for what stands up."""
        return stands(self._index)

    @cached_property
    def points(self):
        """True for points."""
        return shapely.get_dimensions(self._index.part) == 0

    @cached_property
    def lines(self):
        """True for wires of other lines, and points of them."""
        return is_line(self._index)
