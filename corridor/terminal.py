"""What the person at a terminal sees: a bar while it works, one screen when it is done."""

import sys
from contextlib import contextmanager
from textwrap import fill, wrap

from corridor.outputs.tables import WIDTH, aligned
from corridor.summary import CAUTIONS

__all__ = ["inspected", "made", "progress_bar", "summary"]


@contextmanager
def progress_bar(text, quiet=False):
    """Return a `progress(done, total)` that draws a bar, on a terminal only; the time counts from the first second."""
    if quiet or sys.stderr is None or sys.stderr.closed or not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TextColumn("{task.fields[count]}"), TimeElapsedColumn(),
               TextColumn("left"), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(text, total=None, count="reading")
        yield lambda done, total: bar.update(task, completed=done, total=total, count=f"{done}/{total}")


def summary(result):
    """Return one screen of text about a `Result`: 79 columns at most, plain."""
    lines = [*_table(result.options), *_expected(result.options), "", *_doubts(result.inspection)]
    if result.gaps:
        lines += [f"Not assessed: {result.gaps} rows. None of them is a pass: see the layer not_assessed.",
                  *_causes(result.causes)]
    lines += [_wrap(f"Warning: {text}") for text in result.warnings]
    lines += [_wrap(f"Frame: {result.frame.name} ({result.frame.reason})"), f"Findings: {result.output}", "",
              _wrap(CAUTIONS[0] + " " + CAUTIONS[1])]
    return "\n".join(lines)


def _expected(options):
    """How many violations by what inputs may be off, where the study tells how sure they are."""
    words = [f"{option['option']} {option['expected_violations']:.1f}" for option in options
             if "expected_violations" in option]
    return wrap(f"Violations expected: {', '.join(words)}; a violation is told by its margin alone.", WIDTH.get(),
                subsequent_indent="  ") if words else []


#: Causes that are told; of the others their number.
_CAUSES = 5


def _causes(causes):
    """Why rows were not assessed, the commonest first."""
    lines = []
    for cause in causes[:_CAUSES]:
        where = f", {_counted(cause.spans, 'span')}" if cause.spans else ""
        lines += wrap(f"{_counted(cause.rows, 'row')}{where}: {cause.reason}", WIDTH.get(), initial_indent="  ",
                      subsequent_indent="    ")
    more = causes[_CAUSES:]
    return lines + ([f"  and {sum(cause.rows for cause in more)} rows for {_counted(len(more), 'other reason')}"]
                    if more else [])


def _doubts(inspection):
    """How many doubts about the data there are, and what they do."""
    total, serious = len(inspection.doubts), inspection.open
    if not total:
        return ["Doubts about the data: none."]
    word = f"{serious} could hide a violation" if serious else "none of those not accepted could hide a violation"
    accepted = sum(each.accepted for each in inspection.doubts)
    return wrap(f"Doubts about the data: {total}; {word}{f', {accepted} accepted' if accepted else ''}: see the layer "
                "doubts, and `corridor inspect`.", WIDTH.get(), subsequent_indent="  ")


def inspected(inspection):
    """Return lines of text about an `Inspection`: each doubt with what to do."""
    lines = []
    for each in inspection.doubts:
        doubt = each.doubt
        state = "accepted" if each.accepted else doubt.kind.severity
        where = ": ".join(dict.fromkeys(part for part in (doubt.file, doubt.feature) if part))
        lines += [_wrap(f"{doubt.kind.id} ({state}), {where}")]
        for head, text in (("found", doubt.found), ("expected", doubt.expected),
                           ("accepted", each.reason) if each.accepted else ("do", doubt.kind.settle)):
            lines += wrap(f"{head}: {text}", WIDTH.get(), initial_indent="  ", subsequent_indent="    ")
    if inspection.layers:
        lines += ["", *aligned(("layer", "features", "within 500 m", "within 60 m"),
                               [(name, *map(str, counts)) for name, *counts in inspection.layers])]
    return lines


def made(new):
    """Return lines of text about a `NewStudy`: which column is what, and what is assumed."""
    lines = [f"{_counted(new.structures, 'structure')}. Found:", *(
        f"  {line}" for line in aligned(("what", "column"), new.columns)), "",
             f"Assumed, a row of [[assumptions]] each: {len(new.assumed)}"]
    for key, value, reason in new.assumed:
        lines += wrap(f"{key}: {value}", WIDTH.get(), subsequent_indent="    ")
        lines += wrap(f"for: {reason}", WIDTH.get(), initial_indent="  ", subsequent_indent="    ")
    return lines


def _counted(count, word):
    return f"{count} {word}{'' if count == 1 else 's'}"


#: Widest name of an option that is not shortened.
_NAME = 24
_HEADS = ("", "", "not", "minimum"), ("option", "violations", "assessed", "margin")


def _table(options):
    rows = [_row(option) for option in options]
    cells = [*_HEADS, *(row[:4] for row in rows)]
    widths = [max(len(row[i]) for row in cells) for i in range(4)]
    left = ["  ".join([row[0].ljust(widths[0]), *(row[i].rjust(widths[i]) for i in (1, 2, 3))]) for row in cells]
    room = " " * (len(left[0]) + 2)
    lines = [left[0].rstrip(), f"{left[1]}  where"]
    for start, row in zip(left[2:], rows, strict=True):
        place = wrap(row[4], WIDTH.get() - len(room))
        lines += [f"{start}  {place[0]}", *(room + more for more in place[1:])]
    return lines


def _row(option):
    margin, known = option["worst_margin_m"], option["worst_span"] is not None
    place = (option[f"worst_{name}"] for name in ("span", "against", "case"))
    where = ", ".join(place) if known else "nothing compared"
    name = option["option"] if len(option["option"]) <= _NAME else option["option"][:_NAME - 1] + "\u2026"
    return (name, str(option["violations"]), str(option["not_assessed"]),
            f"{margin:+.2f} m" if known else "", where)


def _wrap(text):
    return fill(text, WIDTH.get(), subsequent_indent="  ")
