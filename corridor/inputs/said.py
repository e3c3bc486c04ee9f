"""What is to be said of the rows of layers that a study leaves out, and of what it assumes."""

from collections import Counter

import numpy as np

from corridor.inputs.selection import left_words
from corridor.study.assumptions import assumed_words

__all__ = ["assumptions_open", "rows_left_out"]


def assumptions_open(study):
    """Return how many assumptions of a study are not confirmed, by table."""
    tables = Counter(each.key.partition(".")[0] for each in study.assumptions if not each.confirmed)
    told = ", ".join(f"{table} {count}" for table, count in tables.items())
    return [f"{assumed_words(tables.total())}: {told}; each stands in [[assumptions]] of the study with its reason, "
            "until confirmed = true"] if tables else []


def rows_left_out(study, layers, structures, left_out):
    """Return what is left out of layers: of several parts of one layer what none of them has; and where of several
    voltages the highest counts.

    Parameters
    ----------
    study : Study
    layers : sequence of LayerRead
        Of the study's obstacles, in their order.
    structures : int
        Structures that count.
    left_out : Counter
        Values for which others do not, with their numbers.
    """
    words = [_left("structures", structures, left_out, left_out.total())] if left_out else []
    parts = {}
    for section, read in zip(study.obstacles, layers, strict=True):
        own = (section.file[0], section.layer) if len(section.parts) == 1 else (section.name,)
        parts.setdefault(own, []).append(read)
    for reads in parts.values():
        if all(read.counted is not None for read in reads):
            rows = reads[0].features + reads[0].left_out.total()
            left = reads[0].left_out.total() if len(reads) == 1 else rows - len(np.unique(np.concatenate(
                [read.counted for read in reads])))
            values = reads[0].left_out if len(reads) == 1 else Counter()
            names = ", ".join(f"obstacles.{read.name}" for read in reads)
            words += [_left(names, rows - left, values, left)] if left else []
    return words + [f"obstacles.{read.name}: {read.several} near the line have several voltages, of which the highest "
                    "counts: it asks for the most room" for read in layers if read.several]


def _left(part, count, values, left):
    return (f"{part}: where leaves out {left} of {count + left} rows, which nothing is compared with"
            + (f": {left_words(values)}" if values else ""))
