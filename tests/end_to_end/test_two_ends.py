"""A wire of which it is not known what loads it has seen, held against studies in which that is settled either way.

Drake, measured at 25 kN, 38 mm of ice on the list: if that has come, the wire's knee is lower, and it hangs otherwise
in every state. What is told without `loads_seen` shall be the worst of what is told with it, in each row.
"""

import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely

from tests.common import ask

from .conftest import EAST, NORTH, STRENGTH, measured_drake

RULES = """\
rule,against,measure,base,electrical_distance
open,ground,vertical,4,
cross,line,vertical,1,D_pp
beside,line,horizontal,3,
phases,own_phase,radial,4,
earth,own_shield_wire,radial,1,
"""
SHIELD = "hold,S,shield,,5,22.5,strain,,\nhang,S,shield,,5,22.5,suspension,0.3,4\n"
KEYS = """
[shield_wire]
conductor = "105-AL1/17-ST1A"
[[shield_wire.stringing]]
limit = "15 % RTS"
temperature = 10
[own_wires]
galloping = "single"
"""
COLD = """
[[cases]]
name = "cold"
temperature = -20
checks = ["vertical", "tension"]
"""
CAPACITY = "structure,framing,wire,material,vertical,transverse,longitudinal\n"
#: What a study says of phases and of the shield wire.
SETTLED = {(a, b): (f"loads_seen = {a}\n", f"loads_seen = {b}\n") for a in ("true", "false") for b in ("true", "false")}
PLACE = ("span", "case", "against", "obstacle", "measure", "position")


def drake(study, seen=""):
    """The study with a measured wire, and the case of which it is not known whether it has been."""
    measured_drake(study, seen)
    study.text += STRENGTH + COLD
    return study


def crowded(study, seen, of_shield):
    """A line above in the second span, a line beside in the first, wires of its own, capacities."""
    study.text += KEYS.replace('5-ST1A"\n', "").replace("[[shield", of_shield + "[[shield", 1)
    study.framings += SHIELD
    study.rules = RULES
    study.change('checks = ["horizontal"]', 'checks = ["horizontal", "vertical"]')
    drake(study, seen)
    above = [(EAST + 450, NORTH - 60, 124.0), (EAST + 450, NORTH + 60, 124.0)]
    beside = [(EAST + 110, NORTH - 10.5, 115.5), (EAST + 190, NORTH - 10.5, 115.5)]
    study.add_obstacle("others", "line", shapely.linestrings([above, beside]), 'voltage_column = "voltage"',
                       voltage=[20e3, 20e3])
    (study.folder / "capacity.csv").write_text(CAPACITY + "1,,A,metal,10 kN,10 kN,40 kN\n3,,,metal,30 kN,60 kN,90 kN\n")
    study.text += '[capacity]\nfile = "capacity.csv"\n'
    return study.check()


@pytest.fixture(scope="module")
def told(make, tmp_path_factory):
    """Findings with nothing said, and with either thing said of phases and of the shield wire."""
    every = {"open": ("", "")} | SETTLED
    return {name: crowded(make.TinyStudy(tmp_path_factory.mktemp("ends")), *words) for name, words in every.items()}


def beside_each_other(told, layer, keys, column):
    """A column without and with histories settled, (row,) and (row, settled), by keys."""
    tables = {name: findings[layer].fillna({key: "" for key in keys if key != "margin"}) for name, findings in
              told.items()}
    whole = pd.concat({name: table.set_index(list(keys))[column] for name, table in tables.items()}, axis=1)
    return whole["open"].astype(float), whole.drop(columns="open").astype(float)


def test_each_margin_is_the_least_that_a_settled_history_has(told):
    """Above and below a line, in space, swung and still, beside the right-of-way; own wires: each within 2 mm.

    Sideways of a line the distance in plan is that where a wire is least outside of the room about it: of one deep
    within there are many such places.
    """
    margin, settled = (table.groupby(level=[*range(5)], dropna=False).min() for table in beside_each_other(
        told, "clearances", PLACE, "margin_m"))
    assert len(margin) > 40 and margin.notna().all() and settled.notna().all(axis=None)
    beside = (margin.index.get_level_values("measure") == "horizontal") & (
        margin.index.get_level_values("against") == "line")
    least = settled.min(axis=1)
    np.testing.assert_allclose(margin[~beside], least[~beside], atol=2e-3)
    assert beside.any() and (margin[beside] <= least[beside] + 2e-3).all()


@pytest.mark.parametrize(("case", "against", "position", "measure"), [
    ("swung", "line", "below", "vertical"), ("hot", "line", "below", "vertical"), ("cold", "line", "below", "radial"),
    ("hot", "ground", "above", "vertical"), ("hot", "own_shield_wire", None, "radial")])
def test_the_ends_differ_where_it_is_told_so(told, case, against, position, measure):
    """Centimetres at least: the test above would not pass by one end alone."""
    _, settled = beside_each_other(told, "clearances", PLACE, "margin_m")
    rows = settled.reset_index()
    chosen = (rows["case"] == case) & (rows["against"] == against) & (rows["measure"] == measure)
    chosen &= True if position is None else rows["position"] == position
    values = rows.loc[chosen, settled.columns].dropna()
    assert len(values) and (np.ptp(values.to_numpy(), axis=1) > 0.02).any()


def test_a_shield_wire_has_a_history_of_its_own(told):
    """The least is not that of phases and shield wire with one history, where these alone are looked at."""
    margin, settled = beside_each_other(told, "clearances", PLACE, "margin_m")
    own = margin.index.get_level_values("against") == "own_shield_wire"
    alike = settled[[("true", "true"), ("false", "false")]][own].min(axis=1)
    assert (margin[own] < alike - 5e-3).any()


@pytest.mark.parametrize("column", ["of_capacity", "swing_left_deg", "swing_right_deg"])
def test_loads_are_the_worst_of_both(told, column):
    """Of capacity and swing of strings, at every structure, wire and case."""
    worst, settled = beside_each_other(told, "structure_loads", ("structure", "wire", "section", "case"), column)
    known = worst.notna()
    assert known.any() and (known == settled.notna().all(axis=1)).all()
    np.testing.assert_allclose(worst[known], settled[known].max(axis=1), rtol=2e-3, atol=2e-3)
    differ = np.ptp(settled[known].to_numpy(), axis=1) > 0.01 * settled[known].abs().max(axis=1)
    # On a straight line strings swing alike at either end.
    assert differ.any() or column != "of_capacity"


def test_percent_of_strength_is_that_of_the_greater_tension(told):
    worst, settled = beside_each_other(told, "sections", ("section", "wire_kind", "case"), "percent_rts")
    np.testing.assert_allclose(worst, settled.max(axis=1), rtol=2e-3)
    assert (np.ptp(settled.to_numpy(), axis=1) > 0.5).any()


def test_a_structure_as_a_whole_bears_no_less_than_any_history_makes(told):
    worst, settled = beside_each_other(told, "structure_capacity", ("structure", "case"), "of_capacity")
    assert (worst >= settled.max(axis=1) * (1 - 2e-3)).all()


def test_the_band_of_swung_wires_holds_the_other_end(told):
    """Both margins of a settled history, and that without one, lie within the band of the row, within 5 cm: it keeps
    place and swing."""
    low, settled = beside_each_other(told, "clearances", PLACE, "margin_low_m")
    high, _ = beside_each_other(told, "clearances", PLACE, "margin_high_m")
    margin, margins = beside_each_other(told, "clearances", PLACE, "margin_m")
    index = margin.index.to_frame()
    swung = (index["case"] == "swung") & ~index["against"].str.startswith("own")
    swung = swung.to_numpy() & margins.notna().all(axis=1)
    assert swung.sum() > 5 and low[swung].notna().all() and high[swung].notna().all()
    assert ((low <= margin + 1e-9) & (margin <= high + 1e-9))[swung].all()
    assert (margins[swung].min(axis=1) >= low[swung] - 0.05).all()
    assert (margins[swung].max(axis=1) <= high[swung] + 0.05).all()
    assert (high[swung] - low[swung] > 0.05).any()


@pytest.mark.parametrize("seen", ["true", "false"])
def test_a_load_that_one_end_alone_makes_is_a_finding(study, other_study, seen):
    """A capacity between what the wire pulls at its two ends: status 1, until `loads_seen` says which it is."""
    greatest = {}
    for name, each in (("true", other_study), ("false", study)):
        each.text += '[capacity]\nfile = "capacity.csv"\n'
        (each.folder / "capacity.csv").write_text(CAPACITY + "1,,A,metal,,,100 kN\n")
        drake(each, f"loads_seen = {name}\n")
        greatest[name] = each.check().rows("structure_loads", structure="1", wire="A")["of_capacity"].max() * 100
    less = min(greatest, key=greatest.get)
    assert greatest[less] < 0.99 * max(greatest.values())
    (study.folder / "capacity.csv").write_text(CAPACITY + f"1,,A,metal,,,{np.mean([*greatest.values()])} kN\n")
    over = study.check().rows("structure_loads", structure="1", wire="A")["over_capacity"]
    assert over.astype(bool).any() == (less != "false")
    study.change("loads_seen = false\n", "" if seen == "true" else f"loads_seen = {less}\n")
    findings = study.check()
    assert findings.result.status == (1 if seen == "true" else 0)
    assert findings.rows("structure_loads", structure="1", wire="A")["over_capacity"].astype(bool).any() == (
        seen == "true")


def test_limits_beside_a_line_follow_both_ends(study, make):
    """Blown beside a line: the limit is the lower of those of both settled histories, and put back leaves no margin."""
    study.structures = make.line_of(2)
    drake(study, "loads_seen = true\n")
    (study.folder / "measured.csv").write_text("section,temperature,horizontal_tension\n1-2,14,25000\n")
    study.rules = "rule,against,measure,base\nopen,ground,vertical,3\nside,line,horizontal,5\nover,line,vertical,2\n"
    ends = [[EAST - 50, NORTH + 9.0, 106.0], [EAST + 350, NORTH + 9.0, 114.0]]
    study.add_obstacle("others", "line", [shapely.LineString(ends)], 'voltage_column = "voltage"', voltage=[20e3])
    study.change('temperature = "maximum"\nchecks = ["vertical"]', 'temperature = "maximum"\nwind = "290 Pa"')
    came = study.check().row("limits")
    study.change("loads_seen = true\n", "loads_seen = false\n")
    never = study.check().row("limits")
    study.change("loads_seen = false\n", "")
    limit = study.check().row("limits")
    assert limit["governs"] == "clearance" and limit["governing_against"] == "line"
    T = float(limit["limit_temperature_c"])
    assert T == pytest.approx(min(came["limit_temperature_c"], never["limit_temperature_c"]), abs=0.02)
    assert abs(came["limit_temperature_c"] - never["limit_temperature_c"]) > 1
    study.change("maximum_temperature = 90", f"maximum_temperature = {T - 5!r}")
    study.text += f'[[cases]]\nname = "back"\ntemperature = {T!r}\nwind = "290 Pa"\n'
    rows = study.check().rows("clearances", case="back")
    assert rows["margin_m"].min() == pytest.approx(0, abs=1e-3)


def at_an_angle(study, seen):
    """Strings that the wire pulls to the inside of an angle, where a tree and a bank rise above it."""
    def bank(easting, northing):
        return 100 + np.clip(30 - 1.5 * (northing - NORTH), 0, 60)

    study.structures.loc[study.structures["structure"] == "2", "northing"] = NORTH + 45.0
    study.write_ground(bank, cell=2.0, low=(EAST - 60, NORTH - 80), high=(EAST + 960, NORTH + 100))
    study.rules = ("rule,against,measure,base\nopen,ground,vertical,4\nslope,ground,radial,4\ntree,tree,radial,4\n"
                   "fall,falling_tree,radial,1\n")
    study.change('checks = ["horizontal"]', 'checks = ["horizontal", "vertical"]')
    places = shapely.points([[EAST + 305.0, NORTH + 30.0], [EAST + 290.0, NORTH + 31.0]])
    study.add_obstacle("trees", "tree", places, 'height_column = "height"\nradius = 0.5\nfalls = true',
                       height=[40.0, 45.0])
    return drake(study, seen).check()


def test_ground_limit_at_an_angle_is_that_of_both_ends(make, tmp_path):
    """No cell has more of it than under either settled history, within 2 mm; and neither has less everywhere."""
    room = {}
    for name, words in (("open", ""), ("true", "loads_seen = true\n"), ("false", "loads_seen = false\n")):
        study = make.TinyStudy(tmp_path / name)
        at_an_angle(study, words)
        with rasterio.open(ask(study.path, "ground_limit").paths[0]) as dataset:
            room[name] = dataset.read(2, masked=True).filled(np.nan)
    least = np.fmin(room["true"], room["false"])
    assert not (room["open"] > least + 2e-3).any()
    assert (np.isnan(room["open"]) <= np.isnan(least)).all()
    differs = room["true"] - room["false"]
    assert np.nanmin(differs) < -0.01 and np.nanmax(differs) > 0.01


def test_inside_of_an_angle_the_wire_that_pulls_more_is_nearer(make, tmp_path):
    """Beside trees and a bank, and when trees fall: the least that a settled history has, within 2 mm, at rest and in
    wind; and neither end is the nearer one everywhere, by centimetres."""
    told = {name: at_an_angle(make.TinyStudy(tmp_path / name), words) for name, words in (
        ("open", ""), ("true", "loads_seen = true\n"), ("false", "loads_seen = false\n"))}
    margin, settled = (table.groupby(level=[*range(6)]).min() for table in beside_each_other(
        told, "clearances", PLACE, "margin_m"))
    radial = margin.index.get_level_values("measure") == "radial"
    assert {"tree", "ground"} <= {*margin.index[radial].get_level_values("against")}
    np.testing.assert_allclose(margin[radial], settled[radial].min(axis=1), atol=2e-3)
    nearer = (settled["true"] - settled["false"])[radial]
    for against in ("tree", "ground"):
        chosen = nearer[nearer.index.get_level_values("against") == against]
        assert chosen.min() < 0 and chosen.max() > 0.015, against


@pytest.mark.parametrize(("aside", "case"), [(-7.5, "cold"), (-7.425, "ice")])
def test_a_hole_below_one_end_alone_is_told(make, tmp_path, aside, case):
    """Strings lean inward at an angle, by centimetres more at the end that pulls more, and only there is the wire above
    ground that is not known: it is not assessed without `loads_seen`, as it is not with the one that pulls more."""
    gaps = {}
    for name, words in (("open", ""), ("true", "loads_seen = true\n"), ("false", "loads_seen = false\n")):
        study = make.TinyStudy(tmp_path / name)
        study.structures.loc[study.structures["structure"] == "2", "northing"] = NORTH + 45.0
        study.write_ground(lambda e, _: np.full(e.shape, 100.0), cell=0.25, low=(EAST - 60, NORTH - 30),
                           high=(EAST + 960, NORTH + 80), unknown=lambda e, n: strip(e, n, aside))
        study.rules = "rule,against,measure,base\nopen,ground,vertical,4\n"
        drake(study, words)
        (study.folder / "measured.csv").write_text(
            "section,temperature,horizontal_tension\n1-3,80,20000\n3-4,80,20000\n")
        rows = study.check()["not_assessed"][["span", "case", "reason"]]
        gaps[name] = {*rows.itertuples(index=False, name=None)}
    assert gaps["true"] < gaps["false"] <= gaps["open"]
    assert {each for _, each, _ in gaps["false"] - gaps["true"]} == {case}


def strip(easting, northing, aside):
    """True in a strip of 2 m along the end of the first span, whose edge is so far aside of the span [m]."""
    far = ((northing - NORTH) * 300 - (easting - EAST) * 45) / np.hypot(300, 45)
    return (np.abs(easting - EAST - 270) < 15) & (far < aside) & (far > aside - 2)
