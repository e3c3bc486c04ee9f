"""A small study of many batches, for checks that several processes do."""

import numpy as np
import pandas as pd

from tests.end_to_end.conftest import SECOND_OPTION, TinyStudy, line_of, plane

#: Less work than a section is.
BATCH = 2


def lay(folder):
    """Three lines with a hole in the ground, cells that are no heights, roads, two options and uncertainty: something
    in every batch that the whole is told."""
    study = TinyStudy(folder)
    lines = [line_of(6, line=name) for name in ("main", "north", "south")]
    for i, line in enumerate(lines):
        line["northing"] += 80 * i
    study.structures = pd.concat(lines, ignore_index=True)
    study.text += SECOND_OPTION + "\n[uncertainty]\n"
    study.rules = study.rules.replace("4.5", "7")
    # A cell of 12 km that no marker tells is no height: the whole counts them.
    study.write_ground(lambda e, n: np.where(abs(e - 500_700) < 8, 12_000, plane(e, n)),
                       unknown=lambda e, n: (abs(e - 500_400) < 20) & (n < 5_600_020))
    study.add_roads()
    study.write()
    return study
