"""The overview of a network: what each line comes to under each option, as a map and a table that need no script."""

from dataclasses import dataclass
from html import escape
from urllib.parse import urlencode

import numpy as np

from corridor.outputs.page.content import routes
from corridor.outputs.page.write import html_table
from corridor.outputs.tables_lines import cells_of

__all__ = ["CLASSES", "LineSeen", "option_part", "see_line", "spending_part", "standing_of"]

#: What a span comes to, the first that holds, in words; the page of a line has the same.
CLASSES = {"short": "violation", "unknown": "not assessed", "near": "less than 0.5 m to spare", "clear": "clear",
           "neutral": "nothing compared"}
#: Margin below which a span is near [m].
_NEAR = 0.5
#: Width of a map [px], and the number of lines up to which their names stand on it.
_WIDTH, _NAMED = 1000.0, 30


@dataclass(frozen=True)
class LineSeen:
    """A line under one option: `page` its file, `route` ends of its spans (span, 2, 2) [m], `standing` a key of CLASSES
    for each; numbers of `violations` and of rows not assessed (`gaps`); the `worst` row of clearances as (margin [m],
    span, against, case), None where nothing was compared; `temperature` that the line allows now [°C], `current` now
    and `remedied` [A], nan where not known, and `limiting` the span that sets them."""

    line: str
    page: str
    route: np.ndarray
    standing: np.ndarray
    violations: int
    gaps: int
    worst: tuple | None
    temperature: float
    current: float
    remedied: float
    limiting: str | None

    @property
    def count(self):
        """Number of spans by key of CLASSES."""
        return {name: int((self.standing == name).sum()) for name in CLASSES}

    @property
    def rank(self):
        """Where it stands in a table, the worst first: violations, then what was not assessed, then by margin."""
        margin = np.inf if self.worst is None or np.isnan(self.worst[0]) else self.worst[0]
        return not self.violations, not self.gaps, margin, self.line


def standing_of(layers, option):
    """Return what each span comes to under an option, as keys of CLASSES (span,).

    A violation comes first, then what was not assessed: for the span, for its whole line or for the study. A margin
    that is not known is never clear.

    Parameters
    ----------
    layers : dict of dict of ndarray
        Of one line: `spans`, `clearances`, `violations`, `not_assessed`.
    option : str
    """
    number = {name: i for i, name in enumerate(layers["spans"]["span"])}
    margin, unknown = np.full(len(number), np.nan), np.zeros(len(number), bool)
    short = unknown.copy()
    c, v, g = (layers[name] for name in ("clearances", "violations", "not_assessed"))
    rows = np.flatnonzero(c["option"] == option)
    span, found = np.array([number[name] for name in c["span"][rows]], int), c["margin_m"][rows].astype(float)
    np.fmin.at(margin, span, found)
    unknown[span[np.isnan(found)]] = True
    short[[number[name] for name in v["span"][v["option"] == option]]] = True
    for name in g["span"][(g["option"] == option) | (g["option"] == None)]:  # noqa: E711
        unknown[number.get(name, slice(None))] = True
    chosen = (short | (margin < 0), unknown, margin < _NEAR, margin >= _NEAR)
    return np.select(chosen, list(CLASSES)[:4], "neutral")


def see_line(layers, option, line, page):
    """Return the LineSeen of the layers of one line; arguments as of `standing_of`, and names."""
    c, v, g, ladder = (layers[name] for name in ("clearances", "violations", "not_assessed", "ladder"))
    own = np.flatnonzero(c["option"] == option)
    own = own[np.isfinite(c["margin_m"][own].astype(float))]
    least = own[np.argmin(c["margin_m"][own])] if len(own) else None
    worst = None if least is None else tuple(c[name][least] for name in ("margin_m", "span", "against", "case"))
    steps = np.flatnonzero(ladder["option"] == option)
    steps = steps[np.argsort(ladder["spans_fixed"][steps])]
    now, _ = ladder["limit_temperature_c"][steps[[0, -1]]].astype(float) if len(steps) else (np.nan, np.nan)
    current, last = ladder["limit_current_a"][steps[[0, -1]]].astype(float) if len(steps) else (np.nan, np.nan)
    return LineSeen(
        line, page, routes(layers["spans"])[:, :, :2], standing_of(layers, option),
        int((v["option"] == option).sum()), int(((g["option"] == option) | (g["option"] == None)).sum()),  # noqa: E711
        worst, float(now), float(current), float(last), ladder["limiting_span"][steps[0]] if len(steps) else None)


def option_part(number, option, seen, existing=False):
    """Return the part of the overview that tells of one option, as HTML.

    Parameters
    ----------
    number : int
        Of the option, for addresses within the page.
    option : str
    seen : sequence of LineSeen
        One per line.
    existing : bool
        Whether it hangs there today.
    """
    total = {name: sum(each.count[name] for each in seen) for name in CLASSES}
    words = ", ".join(f"{total[name]:,} {what}" for name, what in CLASSES.items() if total[name])
    head = escape(option) + " (existing)" * bool(existing)
    return (f'<section id="option-{number}"><h2>{head}</h2><p>Spans: {words}.</p>'
            f'<p><a class="seen-late" href="#lines-{number}">To the table of lines</a></p>'
            f"<figure>{_map(option, seen)}"
            f"<figcaption>{_key()} Grid north is up. A line leads to its page.</figcaption></figure>"
            f"{_table(number, option, seen)}</section>")


def spending_part(columns, prices):
    """Return the part that tells where an ampere costs least, as HTML; `prices` the table [plan], or None."""
    heads, rows = cells_of(columns)
    what = escape((prices and prices.currency) or "relative")
    return ('<section id="spending"><h2>Where to spend</h2><p>What each option would carry on each line as it stands, '
            f"and what an ampere costs in new wire ({what}; what puts violations right is not in it), the cheapest "
            "first; what is not known comes last, never as free.</p>"
            '<div class="scroll lines" tabindex="0" role="region" aria-label="Where to spend">'
            f"{html_table(heads, rows)}</div></section>")


def _map(option, seen):
    """Lines in plan, each a link to its page; neighbours that come to the same are one path."""
    low, high = (extreme([extreme(each.route, axis=(0, 1)) for each in seen], axis=0) for extreme in (np.min, np.max))
    scale = _WIDTH / max((high - low).max(), 1.0)
    wide, tall = np.maximum((high - low) * scale, 60.0) + 40
    place = (wide - (high[0] - low[0]) * scale) / 2, (tall + (high[1] - low[1]) * scale) / 2
    drawn = "".join(_drawn(option, each, low, scale, place, named=len(seen) <= _NAMED) for each in seen)
    return (f'<svg class="network" viewBox="0 0 {wide:.0f} {tall:.0f}" role="group" aria-label="Map of the lines under '
            f'{escape(option)}; the table below holds the same">{drawn}</svg>')


def _drawn(option, seen, low, scale, place, named):
    """One line of the map."""
    at = (seen.route - low) * scale * (1, -1) + place
    first = np.flatnonzero(np.r_[True, seen.standing[1:] != seen.standing[:-1]])
    # Thin ones first: what matters lies above.
    runs = sorted(zip(first, [*first[1:], len(at)], strict=True),
                  key=lambda run: -[*CLASSES].index(seen.standing[run[0]]))
    paths = "".join(f'<path class="{seen.standing[a]}" d="M{_points([*at[a:b, 0], at[b - 1, 1]])}"/>' for a, b in runs)
    x, y = at[len(at) // 2, 0]
    # Names near an edge are written towards the middle.
    anchor = "start" if x < _WIDTH / 3 else "end" if x > _WIDTH * 2 / 3 else "middle"
    text = f'<text x="{x:.0f}" y="{y - 8:.0f}" text-anchor="{anchor}">{escape(seen.line)}</text>' * named
    count = ", ".join(f"{CLASSES[name]} {number}" for name, number in seen.count.items() if number)
    words = escape(f"{seen.line}: {count}")
    return f'<a href="{_link(option, seen)}" aria-label="{words}"><title>{words}</title>{paths}{text}</a>'


def _points(places):
    """Places of a path, as text; those within a pixel of the one before are left out, but for the last."""
    kept = [places[0]]
    for place in places[1:-1]:
        if np.abs(place - kept[-1]).max() >= 1:
            kept.append(place)
    return "L".join(f"{x:.1f} {y:.1f}" for x, y in [*kept, places[-1]])


def _key():
    return " ".join(
        f'<span class="key"><svg aria-hidden="true" viewBox="0 0 40 12"><path class="{name}" d="M2 6L38 6"/></svg>'
        f"{words}</span>" for name, words in CLASSES.items())


def _link(option, seen):
    """Address of the page of a line, at its worst span."""
    at = {"option": option} | ({} if seen.worst is None else {"span": seen.worst[1]})
    return escape(f"{seen.page}#{urlencode(at)}")


_HEADS = ("Line", "Spans", "Violations", "Not assessed", "Spans clear", "Minimum margin [m]", "in span", "against",
          "Limit now [°C]", "Limit now [A]", "set by span", "All remedied [A]")


def _table(number, option, seen):
    """What lines come to, the worst first."""
    rows = "".join(_row(option, each) for each in sorted(seen, key=lambda each: each.rank))
    heads = "".join(f'<th scope="col">{head}</th>' for head in _HEADS)
    return (f'<div class="scroll lines" id="lines-{number}" tabindex="0" role="region" '
            f'aria-label="Lines under {escape(option)}">'
            f"<table><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table></div>")


def _row(option, seen):
    count, (margin, span, against, _) = seen.count, seen.worst or (np.nan, None, None, None)
    # Rounded down: the least violation stays one.
    told = "\N{EN DASH}" if np.isnan(margin) else f"{np.floor(margin * 100) / 100:.2f}"
    cells = ((f'<a href="{_link(option, seen)}">{escape(seen.line)}</a>', ""), (len(seen.standing), "n"),
             (seen.violations, "n short" if seen.violations else "n"), (seen.gaps, "n gap" if seen.gaps else "n"),
             (count["near"] + count["clear"], "n"), (told, "n short" if margin < 0 else "n"), (_text(span), ""),
             (_text(against), ""), (_down(seen.temperature), "n"), (_down(seen.current), "n"),
             (_text(seen.limiting), ""), (_down(seen.remedied), "n"))
    return "<tr>" + "".join(f'<td class="{kind}">{cell}</td>' for cell, kind in cells) + "</tr>"


def _text(value):
    return "\N{EN DASH}" if value is None or value != value else escape(str(value))


def _down(value):
    """A limit, rounded down."""
    return "not known" if np.isnan(value) else f"{np.floor(value):.0f}"
