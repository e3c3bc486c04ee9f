"""Wires of the same structures among each other, held against brute force over their catenaries, and galloping."""

import numpy as np
import pytest
import shapely
from scipy.optimize import minimize

from corridor.clearance.galloping import Ellipse, between_ellipses, ellipse_size
from corridor.conductor import catalogue
from corridor.geometry.between import Curve, least_between

from .curves import catenary, hung

FOOT = 0.3048
OWN_RULES = """\
rule,against,measure,base
open,ground,vertical,4
phases,own_phase,radial,8.5
earth,own_shield_wire,radial,3
"""
BARE = """[[cases]]
name = "bare"
temperature = 0
checks = ["tension"]
[[cases]]
name = "half an inch"
temperature = 0
ice = "0.5 in"
checks = ["tension"]
[[cases]]
name = "swung"
"""


def brute(p, q):
    """Minimum distance between two curves given as functions of a share: a grid, then a descent from its best."""
    share = np.linspace(0, 1, 301)
    grid = np.linalg.norm(p(share)[:, None] - q(share)[None], axis=-1)
    best = np.array(np.unravel_index(grid.argmin(), grid.shape)) / 300
    return min(grid.min(), minimize(lambda st: np.linalg.norm(p(st[0]) - q(st[1])), best, bounds=[(0, 1)] * 2,
                                    method="L-BFGS-B", options={"ftol": 1e-15, "gtol": 1e-12}).fun)


def space(a, b, C, *, S=None):
    """A wire between two points of space as a function of the share of its span."""
    S = np.hypot(*(b - a)[:2]) if S is None else S

    def at(share):
        share = np.asarray(share, float)
        plan = a[:2] + share[..., None] * (b - a)[:2]
        return np.concatenate([plan, catenary(share, S, a[2], b[2] - a[2], C)[..., None]], axis=-1)
    return at


def test_least_distance_is_that_of_brute_force():
    """Forty pairs of wires, spans of 80 to 500 m, some crossing in plan: within 1 mm."""
    rng = np.random.default_rng(3)
    L, wires = rng.uniform(80, 500, 40), []
    for offset in (0.0, 4.0):
        start = np.stack([rng.uniform(-1, 1, 40), offset + rng.uniform(-2, 2, 40), rng.uniform(15, 30, 40)], axis=-1)
        end = np.stack([L + rng.uniform(-1, 1, 40), offset + rng.uniform(-4, 4, 40), rng.uniform(-30, 60, 40)], axis=-1)
        wires.append(Curve(start, end, rng.uniform(400, 3000, 40)))
    found = least_between(*wires)
    for i, value in enumerate(found.distance):
        p, q = (space(wire.start[i], wire.end[i], wire.constant[i]) for wire in wires)
        assert value == pytest.approx(brute(p, q), abs=1e-3)
        at = np.linalg.norm(p(found.first[i]) - q(found.second[i]))
        assert at == pytest.approx(value, abs=1e-6)


def test_wires_that_are_all_but_as_near_at_both_ends():
    """A phase and the shield wire of a span downhill: 5.193 m at the upper end, and less just inside the lower."""
    phase = Curve(np.array([[-0.7689, 2.6507, 461.3265]]), np.array([[299.3588, 2.6674, 434.8363]]),
                  np.array([1263.07]))
    shield = Curve(np.array([[0.0, 0.0, 465.7265]]), np.array([[298.65, 0.0, 439.2363]]), np.array([1399.76]))
    p, q = (space(wire.start[0], wire.end[0], wire.constant[0]) for wire in (phase, shield))
    for pair, ours in (((p, q), (phase, shield)), ((q, p), (shield, phase))):
        assert least_between(*ours).distance[0] == pytest.approx(brute(*pair), abs=1e-4)
    assert least_between(phase, shield).distance[0] < 5.17


def test_unknown_wires_have_no_distance():
    wire = Curve(np.zeros((1, 3)), np.array([[300.0, 0, 0]]), np.array([1500.0]))
    assert np.isnan(least_between(wire, wire._replace(constant=np.array([np.nan]))).distance).all()


@pytest.mark.parametrize(("loops", "sizes"), [(1, (32.25, 6.25, 12.90)), (2, (9.86, 1.97, 5.95))])
def test_sizes_of_ellipses(loops, sizes):
    """900 ft, sag 25 ft, in feet: the form of bulletin 1724E-200 (USDA, recalled), worked out by hand to two places."""
    found = np.array(ellipse_size(900 * FOOT, 25 * FOOT, loops)) / FOOT
    assert found == pytest.approx(sizes, abs=0.005)


def polygon(centre, major, minor, tilt):
    """An ellipse drawn by shapely; tilt of the major axis from the vertical, its foot to the right."""
    circle = shapely.affinity.scale(shapely.Point(0, 0).buffer(1, quad_segs=120), minor / 2, major / 2)
    return shapely.affinity.translate(shapely.affinity.rotate(circle, tilt, origin=(0, 0), use_radians=True), *centre)


def test_room_between_ellipses_is_that_of_shapely():
    """Apart: the distance of polygons of 480 corners. Overlapping: moved by as much in some direction they part, by
    less in none."""
    rng = np.random.default_rng(5)
    apart = 0
    for _ in range(24):
        two = [Ellipse(rng.uniform(-6, 6, 2), *np.sort(rng.uniform(1, 9, 2))[::-1], rng.uniform(-1, 1)) for _ in "ab"]
        gap = float(between_ellipses(*(Ellipse(*(np.asarray(v)[None] for v in each)) for each in two))[0])
        a, b = (polygon(*each) for each in two)
        if gap > 0:
            apart += 1
            assert gap == pytest.approx(a.distance(b), abs=2e-3)
            continue
        moves = [-gap * np.array([np.cos(t), np.sin(t)]) for t in np.linspace(0, 2 * np.pi, 181)]
        assert any(not a.intersects(shapely.affinity.translate(b, *(1.01 * move))) for move in moves)
        assert all(a.intersects(shapely.affinity.translate(b, *(0.97 * move))) for move in moves)
    assert 4 < apart < 20


def with_own(study, galloping="no", rules=OWN_RULES):
    study.text += f'\n[own_wires]\ngalloping = "{galloping}"\n'
    study.change('[[cases]]\nname = "swung"\n', BARE)
    study.rules = rules
    return study


def test_phases_in_the_same_state_and_with_uneven_ice(study):
    """Hot: both hang at 75 °C. Ice: the least of both iced, and either bare, each from the wires of those cases."""
    findings = with_own(study).check()
    rows = findings.rows("clearances", against="own_phase")
    assert len(rows) == 3 * 2
    for row in rows.itertuples():
        def wire(name, case, span=row.span):
            drawn = findings.row("wires", span=span, wire=name, case=case)
            a, b, S = hung(findings, drawn)
            return space(a, b, drawn["catenary_constant_m"], S=S)

        own = [(row.case, row.case)] + [("ice", "bare"), ("bare", "ice")] * (row.case == "ice")
        told = dict(zip(own, ("in the same state", "bare, this wire iced", "iced, this wire bare"), strict=False))
        distance = {states: brute(wire("A", states[0]), wire("B", states[1])) for states in own}
        assert row.other_state == told[min(distance, key=distance.get)]
        # The grid is 0.04 % smaller than the ground: 4 mm of 9 m across.
        assert row.actual_m == pytest.approx(min(distance.values()), abs=5e-3)
        assert (row.wire, row.obstacle, row.rule, row.required_m) == ("A", "A-B", "phases", 8.5)
    assert set(rows["case"]) == {"hot", "ice"}


def test_a_shield_wire_that_comes_down_under_ice(study):
    """Three metres above phase B and iced alone, it hangs near it; nearer than at the same ice on both."""
    study.framings += "hold,S,shield,,5,22.5,strain,,\nhang,S,shield,,5,22.5,suspension,0.3,4\n"
    study.text += '\n[shield_wire]\nconductor = "105-AL1/17-ST1A"\n[[shield_wire.stringing]]\n' \
        'limit = "15 % RTS"\ntemperature = 10\n'
    findings = with_own(study).check()
    rows = findings.rows("violations", against="own_shield_wire", case="ice", obstacle="B-S")
    assert len(rows) == 3
    assert set(rows["other_state"]) == {"iced, this wire bare"} and (rows["actual_m"] < 2.5).all()
    assert findings.result.status == 1


def test_own_wires_without_a_rule_are_not_assessed(study):
    findings = with_own(study, rules=OWN_RULES.replace("phases,own_phase", "other,other")).check()
    gaps = findings.rows("not_assessed", against="own_phase")
    assert len(gaps) == 3 and gaps["reason"].str.contains("the rules hold no radial row").all()
    assert findings.result.status == 3 and not len(findings.rows("clearances", against="own_phase"))


def test_wires_of_another_circuit_have_a_rule_of_their_own(study):
    """Phase D of circuit 2 hangs 2 m beside B of circuit 1 and level with it: 2 m apart in every state of both."""
    study.framings += "hold,D,phase,2,7,19,strain,,\nhang,D,phase,2,7,20,suspension,1.4,40\n"
    findings = with_own(study, rules=OWN_RULES + "circuits,own_circuit,radial,2.5\n").check()
    rows = findings.rows("clearances", against="own_circuit", case="hot").set_index(["span", "obstacle"])
    assert set(rows.index.get_level_values("obstacle")) == {"A-D", "B-D"} and set(rows["rule"]) == {"circuits"}
    assert rows.xs("B-D", level="obstacle")["actual_m"].to_numpy() == pytest.approx(2, abs=1e-3)
    assert set(findings.rows("violations", against="own_circuit")["obstacle"]) == {"B-D"}


def test_own_wires_that_hang_nowhere_are_not_assessed(study):
    """No conductor is named for the shield wire: every pair with it is told, none passes."""
    study.framings += "hold,S,shield,,0,24,strain,,\nhang,S,shield,,0,24,suspension,0.3,4\n"
    findings = with_own(study).check()
    gaps = findings.rows("not_assessed", against="own_shield_wire")
    assert set(zip(gaps["wire"], gaps["obstacle"], strict=True)) == {("A", "A-S"), ("B", "B-S")}
    assert len(gaps) == 3 * 2 * 2 and not len(findings.rows("clearances", against="own_shield_wire"))


def test_without_the_table_nothing_is_compared_and_that_is_told(study):
    study.rules = OWN_RULES
    findings = study.check()
    assert not findings["clearances"]["against"].str.startswith("own").any()
    assert any("[own_wires] asks for it" in text for text in findings.result.warnings)
    study.text += "\n[own_wires]\n"
    assert not any("[own_wires]" in text for text in study.check().result.warnings)


@pytest.mark.parametrize("loops", [1, 2])
def test_galloping(study, loops):
    """The ellipses of both phases, drawn by shapely from the sag of the wires under half an inch of ice."""
    findings = with_own(study, "both").check()
    case = ("galloping, one loop", "galloping, two loops")[loops - 1]
    for row in findings.rows("clearances", against="galloping", case=case).itertuples():
        shapes = {1: [], -1: []}
        for name in "AB":
            wire = findings.row("wires", span=row.span, wire=name, case="half an inch")
            a, b, S = hung(findings, wire)
            M, B, D = ellipse_size(S, wire["sag_m"], loops)
            t, conductor = 0.0127, catalogue.find("264-AL1/62-ST1A")
            D_w = conductor.diameter
            weight = 9.80665 * (conductor.mass + np.pi * 913 * t * (D_w + t))
            tilt = np.arctan2(2 * 47.88 * (D_w + 2 * t), weight)
            middle = {"A": -4.0, "B": 5.0}[name], (a + b)[2] / 2
            reach = wire["sag_m"] + B - M / 2
            for side, drawn in shapes.items():
                foot = reach * np.array([np.sin(side * tilt), -np.cos(tilt)])
                drawn.append(polygon(np.add(middle, foot), M, D, side * tilt))
        # Strings lean by some millimetres, and corners are cut.
        assert row.actual_m == pytest.approx(min(a.distance(b) for a, b in shapes.values()), abs=0.01)
        assert (row.rule, row.required_m, row.position) == ("ellipses apart", 0, "galloping")
    assert not findings["violations"]["against"].eq("galloping").any()
