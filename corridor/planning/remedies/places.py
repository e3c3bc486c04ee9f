"""Where a structure more may stand in a span: on the highest ground near its middle that nothing else is on."""

from collections import Counter
from collections.abc import Iterable

import numpy as np
import shapely

from corridor.clearance.parcels import PARCEL
from corridor.planning.remedies.alterations import Place, Site

__all__ = ["places_of_new"]

#: Shares of a span at which a structure may be added.
_SHARES = np.linspace(0.35, 0.65, 7)
#: Nothing else is nearer to the middle of a structure than this; below wires of other lines its arms are added [m]:
#: common practice, no source.
_ROOM = 6.0


def places_of_new(site: Site, spans: Iterable[int]) -> dict[int, Place | str]:
    """Return for each span the place of a structure more, or words that say why there is none.

    Of seven places from 0.35 to 0.65 of a span, each 6 m at least from all obstacles in plan but parcels, from surveyed
    points that are compared, and, by the length of its arms more, from wires of other lines, it is on the highest
    ground, of equal ones nearest to the middle.
    """
    return {int(span): _place(site, int(span)) for span in spans}


def _place(site, span):
    framing = _framing(site, span)
    if framing is None:
        return "no suspension structure of the line shows what a new one is like"
    x, spans = site.facts.structures, site.plan.spans
    a, b = spans.tail[span], spans.head[span]
    e, n = (v[a] + _SHARES * (v[b] - v[a]) for v in (x.easting, x.northing))
    z = site.ground.sample(e, n)
    if np.isnan(z).all():
        return "the ground is not known there"
    arm = float(np.abs(site.facts.framings.offset[site.facts.framings.framing == framing]).max())
    stands = _standing(site, span, shapely.points(e, n), arm)
    free = np.isfinite(z) & np.array([name is None for name in stands])
    if not free.any():
        return f"there is no room for it beside {', '.join(dict.fromkeys(name for name in stands if name))}"
    best = int(np.argmax(np.where(free, z - 1e-6 * np.abs(_SHARES - 0.5), -np.inf)))
    return Place(float(_SHARES[best]), float(e[best]), float(n[best]), float(z[best]), framing)


def _framing(site, span):
    """The framing that a structure more gets: of its neighbours' or the line's, None if none hangs."""
    x, spans = site.facts.structures, site.plan.spans
    near = [x.framing[i] for i in (spans.tail[span], spans.head[span]) if x.role[i] == "suspension"]
    if near:
        f = site.facts.framings
        return max(near, key=lambda name: f.height[f.framing == name].max())
    own = Counter(x.framing[(x.line == spans.line[span]) & (x.role == "suspension")])
    return own.most_common(1)[0][0] if own else None


def _standing(site, span, points, arm):
    """What is at each of some places, in words (place,), None where nothing is."""
    found = np.full(len(points), None, object)
    for place, name in (*_obstacles(site, points, arm), *_other_lines(site, span, points, arm),
                        *_surveyed(site, span, points)):
        found[place] = name
    return found


def _obstacles(site, points, arm):
    """Places and names of obstacles there; what cannot be assessed stands somewhere, too."""
    index = site.facts.index
    obstacles = index.obstacles
    wire = obstacles.category == "line"
    place, part = index.tree.query(points, "dwithin", _ROOM + arm)
    near = wire[index.of_part[part]] | index.footprint.near(points[place], part, _ROOM)
    yield from zip(place[near], obstacles.obstacle[index.of_part[part[near]]], strict=True)
    for i in np.flatnonzero((obstacles.fault != "") & (obstacles.category != PARCEL)):
        room = _ROOM + np.nan_to_num(obstacles.radius[i]) + (arm if wire[i] else 0.0)
        shape = obstacles.geometry[i]
        if shape is not None and not shapely.is_empty(shape):
            yield from ((p, obstacles.obstacle[i]) for p in np.flatnonzero(shapely.dwithin(points, shape, room)))


def _other_lines(site, span, points, arm):
    """The same of the other lines of the study."""
    x, spans = site.facts.structures, site.plan.spans
    other = np.flatnonzero(spans.line != spans.line[span])
    if len(other):
        chords = x.lines(spans.tail[other], spans.head[other])
        for p, chord in shapely.STRtree(chords).query(points, "dwithin", _ROOM + arm).T:
            yield p, f"{spans.line[other[chord]]}, {spans.name[other[chord]]}"


def _surveyed(site, span, points):
    """The same of surveyed points that are compared."""
    x, spans = site.facts.structures, site.plan.spans
    for cloud in site.facts.clouds:
        xyz, class_ = cloud.within(list(x.lines(spans.tail[[span]], spans.head[[span]])), _ROOM)
        for group in cloud.groups:
            own = xyz[np.isin(class_, group.classes), :2]
            for p in np.flatnonzero([np.any(np.hypot(*(own - at).T) <= _ROOM + group.radius)
                                     for at in shapely.get_coordinates(points)]):
                yield p, f"points of {cloud.name}, {group.name}"
