"""Findings of random lines held against brute force, which shares no code with what compares wires and things.

`tests/brute_force.py` hangs wires after either history in 81 states of the wind, looks along them in 401 places, and
narrows the lowest.
Every sample is a place where the wire can be, so no finding may be above it: that would be the unsafe side.

Two short lines are looked at; `RANDOM_LINES=20 python -m pytest tests/end_to_end/test_brute_force.py` takes that many,
as long as they come.
"""

import os

import numpy as np
import pyogrio
import pytest

import corridor
from corridor.assessment import make_scene
from corridor.inputs.study_inputs import read_inputs
from corridor.opened import prepare
from corridor.study import load_study
from tests.brute_force import SWINGS, _histories, _hung, brute_force
from tests.random_lines import random_line, write

#: How many lines are asked for, none: the two of the ordinary tests; and the option that is held against brute force.
MANY = int(os.environ.get("RANDOM_LINES", 0))
SEEDS = range(MANY) if MANY else (0, 3)
OPTION = "existing"
#: No finding is above brute force by more than this [m]: the millimetre that findings are held to.
UNSAFE = 1e-3
#: Nor below it, where it is fine enough [m]. Along the edges of roads and roofs brute force itself stops short; other
#: lines' wires in wind go straight between their vertices, at the worst of all windy cases; from a polygon the bow of
#: chords is taken off.
SAFE = {"ground": 2e-3, "right_of_way": 0.02, "line": 0.15, "own_phase": 1e-3, "own_circuit": 1e-3,
        "own_shield_wire": 1e-3}
ALONG_EDGES = 0.03
#: Beside things a wire counts as low as its chord where it gets over them: it may be taken for beside some metres on.
SAFER = {"horizontal": np.inf}
#: What is farther than this is not looked for by all measures alike [m].
NEAR = 25.0


@pytest.fixture(scope="module", params=SEEDS)
def both(request, tmp_path_factory):
    """Findings as rows of the option, and brute force."""
    line = random_line(request.param, structures=None if MANY else 3)
    path = write(line, tmp_path_factory.mktemp("line"))
    result = corridor.check_study(path)
    table = pyogrio.read_dataframe(result.output, layer="clearances", read_geometry=False)
    inputs = read_inputs(load_study(path))
    with inputs.terrain:
        brute = brute_force(line, *prepare(inputs)[:2])
    return table[table.option == OPTION], brute, {}


def truth(brute, known):
    """Findings by brute force, {(span, case, against, obstacle, measure, position): Least}; kept in `known`."""
    if not known:
        for span, option, case in brute.paths:
            if option == OPTION and not case.endswith(" bare"):
                known |= {(span, case, *key): least for key, least in brute.findings(span, option, case).items()}
    return known


def keyed(table):
    """Rows by the keys of brute force, without those that have no counterpart there."""
    rows = {}
    for row in table.to_dict("records"):
        own = row["against"].startswith("own_")
        position = row["position"] if row["position"] in ("below", "falling", "corner") and not own else ""
        obstacle = row["obstacle"] if isinstance(row["obstacle"], str) else None
        if row["against"] != "galloping":
            rows[row["span"], row["case"], row["against"], obstacle, row["measure"], position] = row
    return rows


def test_every_requirement(both):
    """The terms of the rules, added up again by hand, to a tenth of a millimetre of altitude's share."""
    table, brute, known = both
    rows = keyed(table)
    shared = [key for key in truth(brute, known) if key in rows]
    assert len(shared) > 60
    apart = {key: rows[key]["required_m"] - known[key].required for key in shared}
    assert not {key: off for key, off in apart.items() if abs(off) > 1e-4}


def test_never_above(both):
    """No finding is above what brute force found."""
    table, brute, known = both
    rows = keyed(table)
    above = {key: rows[key]["actual_m"] - least.actual for key, least in truth(brute, known).items() if key in rows}
    assert not _worst({key: off for key, off in above.items() if off > UNSAFE})


def test_not_far_below(both):
    """Nor far below: a finding that cries wolf is wrong, too."""
    table, brute, known = both
    rows = keyed(table)
    below = {key: least.actual - rows[key]["actual_m"] for key, least in truth(brute, known).items() if key in rows}
    assert not _worst({key: off for key, off in below.items() if off > _safe(key)})


def test_every_pair_has_a_row(both):
    """What is near by brute force, and a rule is for, stands in the findings."""
    table, brute, known = both
    rows = keyed(table)
    lacking = {key: least.actual for key, least in truth(brute, known).items()
               if key not in rows and key[4] != "room" and least.actual < NEAR}
    assert not _worst(lacking)


def test_rooms_with_rounded_corners(both):
    """Where a rule rounds the corner and a wire is in the room so kept free, a row for the thing says so."""
    table, brute, known = both
    rooms = {key: least for key, least in truth(brute, known).items() if key[4] == "room"}
    if brute.line.rules < 2 or not rooms:
        pytest.skip("no rule of this line rounds a corner")
    above = {}
    for (span, case, against, obstacle, *_), least in rooms.items():
        rows = table[(table.span == span) & (table.case == case) & (table.obstacle == obstacle)
                     & ((table.measure != "radial") | (table.position == "corner"))]
        if least.actual < 0:
            above[span, case, against, obstacle] = rows.margin_m.min() - least.actual if len(rows) else np.inf
    assert not _worst({key: off for key, off in above.items() if not off <= UNSAFE})


def test_wires_between_the_states(both):
    """Brute force goes between its states to a hundredth of a millimetre of the wire that is hung there."""
    _, brute, _ = both

    facts = brute.facts
    with_wind = [k for k, case in enumerate(facts.cases) if case.wind > 0]
    plan = brute.plan
    scene, _ = make_scene(facts, plan, 0, len(plan.spans) - 1)
    rng = np.random.default_rng(5)
    count = 40
    w, k = rng.integers(len(scene.wires), size=count), rng.choice(with_wind, count)
    s = rng.choice(SWINGS[:-1], count) + rng.uniform(0, 1, count) * (SWINGS[1] - SWINGS[0])
    o = np.full(count, [option.name for option in facts.options].index(OPTION))
    hung = np.column_stack([v.reshape(count, -1) for v in _hung(_histories(scene.model)[0], w, o, k, s)])
    for i in range(count):
        key = scene.spans.name[scene.wires.span[w[i]]], OPTION, facts.cases[k[i]].name
        path = next(path for path in brute.paths[key] if path.wire == scene.wires.wire[w[i]])
        np.testing.assert_allclose(path.state(s[i:i + 1])[0, :6], hung[i, :6], rtol=0, atol=1e-5)


def _safe(key):
    return SAFER.get(key[4], SAFE.get(key[2], ALONG_EDGES))


def _worst(found):
    return sorted(found.items(), key=lambda pair: -abs(pair[1]))[:12]
