"""Mixed-integer linear programmes, solved without a word."""

import os
from contextlib import contextmanager

from scipy.optimize import milp

__all__ = ["solve_programme"]


def solve_programme(cost, **keys):
    """Return what `scipy.optimize.milp` finds.

    HiGHS now and then writes a line of its own to the descriptor of standard output, whatever `disp` says; there it
    would stand among what the commands print for machines.
    """
    with _nothing_written():
        return milp(cost, **keys)


@contextmanager
def _nothing_written():
    kept, nowhere = os.dup(1), os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 1)
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)
