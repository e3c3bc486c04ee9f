"""All that inspection looks at: the inputs as they were read, the line laid out, and what lies about it."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from corridor.inputs.study_inputs import Inputs
from corridor.inspection.around import Things, Under
from corridor.inspection.surface import OnGround

__all__ = ["Evidence", "group_of"]

#: Groups of categories whose heights are alike, by how the names of their categories begin.
_GROUPS = {"building": ("building", "roof"), "tree": ("tree", "vegetation"),
           "way": ("road", "rail", "water", "sailing", "parking", "pedestrian", "thoroughfare", "field"),
           "line": ("line",)}


def group_of(category: str) -> str | None:
    """Return the group of a category, or None.

    >>> group_of("tree_high_fire_area"), group_of("pipeline")
    ('tree', None)
    """
    return next((name for name, starts in _GROUPS.items() if category.startswith(starts)), None)


@dataclass(frozen=True)
class Evidence:
    """What inspection looks at; `plan` the line laid out, `under` the ground below it as far as it was looked
    at; `sample(easting, northing)` knows it everywhere [m]; `over` what is known of the surface, None without one."""

    inputs: Inputs
    plan: object
    things: Things
    under: Under
    sample: Callable
    over: OnGround | None = None

    @property
    def kilovolts(self) -> float:
        """Highest voltage of the line [kV]."""
        return self.inputs.voltage / 1e3

    @property
    def files(self) -> dict[str, str]:
        """Files of the study by what they hold, as the study names them."""
        study = self.inputs.study
        return {"structures": study.structures.file, "framings": study.framings.file, "study": study.path.name,
                "ground": ", ".join(study.terrain.ground)}

    @cached_property
    def sections(self) -> dict:
        """Tables of obstacles of the study, by name."""
        return {section.name: section for section in self.inputs.study.obstacles}

    @cached_property
    def heights(self) -> np.ndarray:
        """Height of the top of each thing above the ground, as given or found, without its growth [m]."""
        obstacles, things = self.inputs.index.obstacles, self.things
        o = things.obstacle
        growth = np.array([getattr(self.sections.get(name), "growth", 0.0) for name in obstacles.layer[o]], float)
        return np.where(np.isnan(things.top), obstacles.height[o], things.top - things.ground) - growth

    @cached_property
    def groups(self) -> np.ndarray:
        """Group of the category of each thing, "" where it has none."""
        categories = self.inputs.index.obstacles.category[self.things.obstacle]
        known = {name: group_of(name) or "" for name in set(categories.tolist())}
        return np.array([known[name] for name in categories.tolist()], object)
