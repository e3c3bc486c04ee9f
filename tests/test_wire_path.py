"""The way of a wire that hangs nowhere at a swing at which it was tried is not known, be it a node or between two."""

import numpy as np
import pytest

from corridor.line import wire_path
from corridor.line.model import Model


def hanging(gap):
    """Stands for wires as they hang: a catenary that tilts with the swing, none within a gap of it."""
    def hung(model, asked, rows, swing):
        swing = np.broadcast_to(swing, np.broadcast_shapes(np.shape(rows), np.shape(swing)))
        known = np.where((swing > gap[0]) & (swing < gap[1]), np.nan, 1.0)
        start, end = (np.stack([x + 0 * swing, 0.5 * swing, 20 + 0 * swing], axis=-1) for x in (0.0, 300.0))
        return start * known[..., None], end * known[..., None], 1500.0 * known

    return hung


@pytest.mark.parametrize(("gap", "partly"), [((2, 3), False), ((0.1, 0.2), True), ((0.82, 0.9), True),
                                             ((-0.89, -0.86), True), ((-0.7, 0.7), True)])
def test_a_gap_in_the_swing_between_nodes(monkeypatch, gap, partly):
    monkeypatch.setattr(wire_path, "_hung", hanging(gap))
    one = np.zeros(1, int)
    asked = wire_path._Asked(one, one, one, np.zeros(1), np.full(1, 15.0), np.full(1, 8.0))
    made = wire_path._made(Model, asked)
    assert made.hangs.tolist() == [True] and made.partly.tolist() == [partly]
