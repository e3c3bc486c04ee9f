"""Lines over relief from flat to steep: every section is clipped in and hangs in every case, and hangs right.

Right is told from outside: by the forces of the written wires alone, and by a general search.
"""

import numpy as np
import pytest

from corridor.conductor import catalogue
from corridor.line.elongation_laws import CURVES, law_rows, take_law
from corridor.mechanics.equilibrium import solve
from corridor.mechanics.interior_point import MOST_STEPS
from corridor.mechanics.supports import FREE, end_forces

from ..benchmarks.relief import measure
from ..general_search import compare
from ..relief_sections import CASES, LAW, STILL, clipped, loaded, relief_sections
from ..sections_of_wire import limit, wiring


def test_every_section_is_found():
    """No section is left out, none has more than 0.01 N across a string, and the steps end."""
    found = measure(lines=90, seed=7)
    assert found["states"] > 1500 and found["lifted"] > 100 and found["lifted_when_clipped_in"] > 20
    assert found["not_clipped_in"] == found["not_found"] == 0
    assert found["worst_force_N"] <= 0.01 and found["worst_length"] < 1e-9
    assert max(found["most_iterations"], found["most_iterations_clipping"]) < MOST_STEPS


def test_clipping_in_gives_the_state_that_equilibrium_gives_back():
    """With strings that lift and all: the wire of that state hangs there, each span with the one tension."""
    sections = relief_sections(60, 3)
    clip = clipped(sections)
    assert clip.lifted.any() and (clip.left <= 0.01).all()
    back = solve(sections.supports, clip.unstressed, [[STILL]], np.full(len(sections.count), 10.0), LAW,
                 count=sections.count, tolerance=1e-3)
    np.testing.assert_allclose(back.end, clip.end, atol=1e-5)
    H = np.broadcast_to(sections.horizontal_tension[:, None], back.horizontal_tension.shape)
    there = np.isfinite(back.horizontal_tension)
    np.testing.assert_allclose(back.horizontal_tension[there], H[there], rtol=1e-5)


def test_by_measured_curves_too():
    """Drake by its stress-strain curves, initial: the law bends, and every section hangs all the same."""
    law, _, method = law_rows([wiring(catalogue.find("Drake"), limit("share", 0.2))])
    assert method[0] == CURVES
    found = measure(lines=25, seed=9, law=take_law(law, 0))
    assert found["not_clipped_in"] == found["not_found"] == 0 and found["states"] > 300


@pytest.mark.parametrize("case", CASES)
def test_right_by_the_forces_alone(case):
    """Taut and pulled outward, or slack and without force, within the string's length; at V-strings in their plane."""
    sections = relief_sections(60, 5)
    supports, load, T = loaded(sections, case)
    found = solve(supports, clipped(sections).unstressed, load, T, LAW, count=sections.count)
    on_start, on_end = end_forces(found.end[:, :-1], found.end[:, 1:], load, found.horizontal_tension)
    force = supports.string_force / 2 - supports.string_weight[..., None] * np.array([0, 0, 0.5])
    force[:, :-1] += np.nan_to_num(on_start)
    force[:, 1:] += np.nan_to_num(on_end)
    free = (supports.kind == FREE) & np.isfinite(found.end[..., 0])
    assert free.sum() > 200
    offset, force, length = (found.end - supports.hinge)[free], force[free], supports.string_length[free]
    reach, pull = np.linalg.norm(offset, axis=-1), (force * offset).sum(axis=-1)
    taut = reach > length * (1 - 1e-6)
    assert (reach < length * (1 + 1e-6)).all() and (pull[taut] > -0.01).all() and found.lifted[free][~taut].all()
    arm = supports.across[free]
    vee = arm.any(axis=-1)
    assert 10 < vee.sum() < len(vee) / 4 and np.abs((offset * arm).sum(axis=-1)).max() < 1e-9
    across = force - (pull / reach**2 * taut)[:, None] * offset
    across -= (across * arm).sum(axis=-1, keepdims=True) * arm
    assert np.linalg.norm(across, axis=-1).max() < 0.011


def test_against_a_general_search():
    """Wire ends within 1 mm of those that SciPy finds; where it finds none there is nothing to hold against."""
    sections = relief_sections(60, 11, most=7)
    for case in ("hot", "uneven ice", "ice and wind to the left"):
        tried, worst = compare(sections, case, 4)
        assert tried < 12 and worst < 1e-3
