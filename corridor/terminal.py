"""What the person at a terminal sees: a bar while it works, one screen when it is done."""

import sys
from contextlib import contextmanager

from corridor.summary import CAUTIONS

__all__ = ["progress_bar", "summary"]

_WIDTH = 79


@contextmanager
def progress_bar(text, quiet=False):
    """Return a `progress(done, total)` that draws a bar, on a terminal only."""
    if quiet or not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn()
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(text, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)


def summary(result):
    """Return one screen of text about a `Result`: 79 columns at most, plain."""
    lines = [*_table(result.options), ""]
    if result.gaps:
        lines += [f"Not assessed: {result.gaps} rows. None of them is a pass: see the layer not_assessed."]
    lines += [_wrap(f"Warning: {text}") for text in result.warnings]
    lines += [f"Frame: {result.frame.name} ({result.frame.reason})", f"Findings: {result.output}", "",
              _wrap(CAUTIONS[0] + " " + CAUTIONS[1])]
    return "\n".join(lines)


def _table(options):
    head = ("option", "violations", "not assessed", "least margin", "where")
    rows = [head, *(_row(option) for option in options)]
    widths = [max(len(row[i]) for row in rows) for i in range(4)]
    return ["  ".join([row[0].ljust(widths[0]), *(row[i].rjust(widths[i]) for i in (1, 2, 3)), row[4]]).rstrip()
            for row in rows]


def _row(option):
    margin, known = option["worst_margin_m"], option["worst_span"] is not None
    where = f"{option['worst_span']}, {option['worst_against']}, {option['worst_case']}" if known else "nothing compared"
    return (option["option"], str(option["violations"]), str(option["not_assessed"]),
            f"{margin:+.2f} m" if known else "", where)


def _wrap(text):
    from textwrap import fill

    return fill(text, _WIDTH, subsequent_indent="  ")
