"""Trees that are trimmed: which may be, how low, and what a cut is worth where a wire comes near."""

from collections import Counter
from collections.abc import Iterable

import numpy as np
import shapely

from corridor.clearance.crossings import LOW
from corridor.planning.remedies.alterations import Site, Tree

__all__ = ["trees_of", "trim_worth"]


def trees_of(site: Site, obstacles: Iterable[int]) -> dict[int, Tree | str]:
    """Return for each obstacle how it may be trimmed, or words that say why it may not."""
    names = Counter(site.facts.index.obstacles.obstacle)
    sections = {section.name: section for section in site.study.obstacles}
    return {int(i): _tree(site, int(i), names, sections) for i in obstacles}


def _tree(site, i, names, sections):
    o, p = site.facts.index.obstacles, site.prices
    name, section = o.obstacle[i], sections.get(o.layer[i])
    if o.category[i] not in p.trimmable:
        return f"the study lets only these be trimmed: {', '.join(p.trimmable) or 'none'}"
    if section is None:
        return "things of a surface are not trimmed"
    if shapely.get_type_id(o.geometry[i]) != 0 or names[name] > 1:
        return f"{name} is no point" if names[name] == 1 else f"several things are named {name}"
    regrowth = max(section.growth, (p.tree_growth or 0.0) * (p.cutting_cycle or 0.0))
    if not regrowth:
        return (f"the study does not say how much a tree of {section.name} grows until the next cutting "
                "(plan.tree_growth and plan.cutting_cycle, or growth of its layer)")
    ground = float(site.ground.sample(*shapely.get_coordinates(o.geometry[[i]])[0]))
    top = float(shapely.get_z(o.geometry[i])) if o.absolute[i] else ground + float(o.height[i])
    height = top - ground if o.absolute[i] else float(o.height[i])
    if not np.isfinite([height, top]).all():
        return f"the height of {name} above the ground is not known"
    # What is no higher than that is compared by the rule for the ground alone: nothing is trimmed out of sight.
    least = max(_told(p.least_tree_height) + regrowth, LOW + 1e-3)
    narrowest = _told(p.least_crown_radius) + regrowth
    radius = float(np.nan_to_num(o.radius[i])) / float(site.inputs.frame.widen(np.ones(1), o.geometry[[i]])[0])
    return Tree(height, top, section.growth, regrowth, _steps(height - least, p.step),
                radius, _steps(radius - narrowest, p.step))


def _told(least):
    """What is left at least [m]: in whole decimetres, to which it is cut, inf where the study does not say."""
    return np.inf if least is None else np.ceil(10 * least - 1e-6) / 10


def _steps(most, step):
    return int(max(most, 0.0) / step + 1e-9)


def trim_worth(clearances: dict, tree: np.ndarray, trees: dict[int, Tree], step: float, lower: np.ndarray,
               narrower: np.ndarray) -> dict[str, np.ndarray]:
    """Return how much the actual clearance of each row grows with each step by which the tree of the row is trimmed, in
    all from the tree as it stands, by kind of remedy (row, step) [m]; the other kind as it is done where the rows were
    found.

    A crown is an upright up to its top `t`: with `a` beside it and `z` the elevation of the wire at its place, the
    distance is `hypot(a, max(z - t, 0))`. That is exact for this place of the wire, where it is not over the crown, and
    no more than is so for all of it: where another place comes nearer a look at the line tells. A height and the reach
    of a falling tree gain all that is cut off the top, and nothing aside; a distance sideways nothing.

    Parameters
    ----------
    clearances : dict of ndarray, shape (row,)
    tree : ndarray of int, shape (row,)
        A key of `trees`.
    trees : dict of Tree
    step : float
        [m].
    lower, narrower : ndarray, shape (row,)
        By how much the trees are trimmed already where the rows were found [m].
    """
    c, top = clearances, np.array([trees[i].top for i in tree.tolist()])
    above = c["wire_elevation_m"].astype(float) - top + lower
    D = (c["actual_m"] + c["bundle_m"]).astype(float)
    beside = np.sqrt(np.maximum(D**2 - np.maximum(above, 0.0) ** 2, 0.0))
    own = [trees[i] for i in set(tree.tolist())]
    down, aside = (step * np.arange(max((getattr(each, name) for each in own), default=0) + 1)
                   for name in ("most", "aside"))
    crown = ((c["measure"] == "radial") & (c["position"] != "falling"))[:, None]
    whole = ((c["position"] == "falling") | ((c["measure"] == "vertical") & (c["position"] == "above")))[:, None]
    lowered, narrowed = (np.where(crown, np.nan_to_num(np.diff(np.hypot(
        np.maximum(a, 0.0), np.maximum(b, 0.0)), axis=1)), 0.0) for a, b in (
            (beside[:, None] + 0 * down, (above - lower)[:, None] + down),
            ((beside - narrower)[:, None] + aside, above[:, None] + 0 * aside)))
    return {"trim": np.where(whole, step, lowered), "side_trim": narrowed}
