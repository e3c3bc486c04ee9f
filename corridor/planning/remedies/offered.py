"""Which remedies a plan may choose from, and why others are not offered."""

from dataclasses import replace

import numpy as np

from corridor.planning.remedies.alterations import framing_of_new, place_of_new
from corridor.planning.remedies.columns import Measures
from corridor.planning.remedies.excavation import survey_cells

__all__ = ["candidates", "ground_short", "strings_of", "with_cells"]


def strings_of(site):
    """Return the length [m] of the suspension strings of phases at every structure, (structure, wire) to length."""
    x, f = site.facts.structures, site.facts.framings
    rows = {}
    for framing, wire, kind, string, length in zip(f.framing, f.wire, f.kind, f.string, f.string_length, strict=True):
        if string == "suspension" and kind == "phase":
            rows.setdefault(framing, {})[wire] = float(length)
    return {(i, wire): length for i, framing in enumerate(x.framing) if x.role[i] == "suspension"
            for wire, length in rows.get(framing, {}).items()}


def ground_short(site, before):
    """Return the spans that fall short of the ground, with their least margin over it [m]."""
    c = before.layers["clearances"]
    index = {key: i for i, key in enumerate(zip(site.plan.spans.line, site.plan.spans.name, strict=True))}
    short = {}
    own = (c["against"] == "ground") & (c["measure"] == "vertical") & (c["margin_m"] < 0)
    for i in np.flatnonzero(own):
        span = index[c["line"][i], c["span"][i]]
        short[span] = min(short.get(span, 0.0), float(c["margin_m"][i]))
    return short


def with_cells(site, before):
    """Return the site with the cells that may be cut below its spans, where a plan may grade the ground."""
    if "grade" not in site.prices.remedies:
        return site
    return replace(site, cells=survey_cells(site, before, ground_short(site, before)))


def candidates(site, before):
    """Return the Measures that a plan may choose from, and words for kinds that it may not.

    Parameters
    ----------
    site : Site
        As `with_cells` returns it.
    before : Look
        The line as it stands.

    Returns
    -------
    measures : Measures
    refused : dict of str to str
        Kind to why nothing of it is offered anywhere.
    """
    rows, refused = [], {}
    near = _near(site, before)
    for kind, make in _MADE.items():
        if kind not in site.prices.remedies:
            refused[kind] = "the study does not have it in plan.remedies"
            continue
        found = make(site, before, near)
        if isinstance(found, str):
            refused[kind] = found
        else:
            rows += [(kind, *row) for row in found]
    return Measures.of_rows(rows), refused


def _near(site, before):
    """Spans with a violation; structures at their ends, with strings that are lifted, or next to those; all sorted."""
    v, spans, x = before.layers["violations"], site.plan.spans, site.facts.structures
    index = {key: i for i, key in enumerate(zip(spans.line, spans.name, strict=True))}
    short = np.unique([index[key] for key in zip(v["line"], v["span"], strict=True)]).astype(int)
    lifted = {(line, structure) for line, structure, _, _ in before.slack}
    slack = [i for i, key in enumerate(zip(x.line, x.structure, strict=True)) if key in lifted]
    ends = np.unique(np.r_[spans.tail[short], spans.head[short], np.array(slack, int)])
    touching = np.isin(spans.tail, ends) | np.isin(spans.head, ends)
    return short, np.unique(np.r_[spans.tail[touching], spans.head[touching]])


def _raises(site, before, near):
    p = site.prices
    most = int(p.largest_raise / p.step + 1e-9)
    return [(s, p.step, most, p.raise_cost, p.metre_cost * p.step) for s in near[1]]


def _shorter(site, before, near):
    p = site.prices
    if p.shortest_string is None:
        return "the study does not say how short strings may be (plan.shortest_string)"
    least = {}
    for (s, _), length in strings_of(site).items():
        least[s] = min(least.get(s, np.inf), length)
    most = {s: int(max(length - p.shortest_string, 0) / p.step + 1e-9) for s, length in least.items()}
    return [(s, p.step, most[s], p.shorten_cost, 0.0) for s in near[1] if most.get(s)] or \
        f"no string is longer than the shortest allowed by a step of {p.step:g} m"


def _posts(site, before, near):
    held = {s for s, _ in strings_of(site)}
    return [(s, 1, 1, site.prices.post_cost, 0.0) for s in near[1] if s in held] or "no suspension string is near"


def _strains(site, before, near):
    x, f = site.facts.structures, site.facts.framings
    hung = {name for name in set(x.framing) if (f.string[f.framing == name] == "suspension").any()}
    return [(s, 1, 1, site.prices.strain_cost, 0.0) for s in near[1]
            if x.role[s] == "suspension" and x.framing[s] in hung] or "no suspension structure is near"


def _tauter(site, before, near):
    p = site.prices
    if not p.largest_tightening:
        return "it is strung as taut as its limits allow, and the study allows no more (plan.largest_tightening)"
    return _strung(site, near[0], int(p.largest_tightening / p.tightening_step + 1e-9))


def _slacker(site, before, near):
    p, v, spans = site.prices, before.layers["violations"], site.plan.spans
    index = {key: i for i, key in enumerate(zip(spans.line, spans.name, strict=True))}
    under = v["position"] == "below"
    short = [index[key] for key in zip(v["line"][under], v["span"][under], strict=True)]
    if not short:
        return "no wire is too near to something above it"
    return _strung(site, np.array(short), int(p.largest_slackening / p.tightening_step + 1e-9))


def _strung(site, short, most):
    """Rows of the sections of spans, but for those that hang as measured."""
    p, sections = site.prices, site.plan.sections
    known = {(row.line or line, row.section) for row in site.wiring.measured for line in set(sections.line)}
    return [(i, p.tightening_step, most, p.tighten_cost, 0.0) for i in np.unique(site.plan.spans.section[short])
            if most and (sections.line[i], sections.name[i]) not in known] or \
        "its sections hang as measured: take them out of the measurements to string them to the limits"


def _cuts(site, before, near):
    p = site.prices
    if not ground_short(site, before):
        return "no span falls short of the ground"
    if not site.cells:
        return "the ground is not of rasters on one grid of the working frame"
    rows = []
    for span, cells in site.cells.items():
        rows += _cut_steps(p, span, cells)
    return rows or "objects on the ground or structures stand in the way, or the cut would be too deep"


def _cut_steps(prices, span, cells):
    """Steps of depth, each a measure of its own: the deeper, the more is dug for a step."""
    depth = np.arange(prices.step, min(prices.largest_cut, cells.deepest) + 1e-9, prices.step)
    dug = np.diff([0.0, *(cells.volume(d) for d in depth)])
    return [(span, prices.step, 1, prices.cubic_metre_cost * v + (0 if k else prices.grade_cost), 0.0)
            for k, v in enumerate(dug)]


def _gone(site, before, near):
    v, obstacles = before.layers["violations"], site.facts.index.obstacles
    index = {name: i for i, name in enumerate(obstacles.obstacle)}
    short = {index[name] for name in v["obstacle"] if name in index}
    return [(i, 1, 1, site.prices.remove_cost, 0.0) for i in sorted(short)
            if obstacles.category[i] in site.prices.removable] or \
        f"nothing short of is of the categories that may go: {', '.join(site.prices.removable) or 'none'}"


def _more(site, before, near):
    return [(s, 1, 1, site.prices.add_cost, 0.0) for s in near[0]
            if framing_of_new(site, s) is not None and place_of_new(site, s) is not None] or \
        "no suspension structure of the line shows what a new one is like, or the ground is not known"


_MADE = {"raise": _raises, "shorten": _shorter, "post": _posts, "strain": _strains, "tighten": _tauter,
         "slacken": _slacker, "grade": _cuts, "remove": _gone, "add": _more}
