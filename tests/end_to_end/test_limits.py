"""How hot a span may get, what is inherited from the existing wire, and how severe a violation is."""

import numpy as np
import pandas as pd
import pytest
import shapely


def put_back(study):
    """Hang every span at its limit, and return the worst margin of each beside its limit."""
    study.add_roads()
    limits = study.check()["limits"]
    assert (limits["governs"] == "clearance").all() and (limits["limit_temperature_c"] < 75).all()
    for row in limits.itertuples():
        study.text += f'\n[[cases]]\nname = "as {row.span}"\ntemperature = {float(row.limit_temperature_c)!r}\n' \
            'checks = ["vertical"]\n'
    findings = study.check()
    for row in limits.itertuples():
        margins = findings.rows("clearances", span=row.span, case=f"as {row.span}")
        yield row, margins.iloc[margins["margin_m"].argmin()]


def test_limit_temperature_put_back_as_a_case(study):
    """Hung at the temperature at which it just clears, the worst vertical margin of the span is zero, within 1 mm."""
    study.rules = "rule,against,measure,base\nopen,ground,vertical,9.3\nroad,road,vertical,6.5\n"
    for limit, worst in put_back(study):
        assert 0 <= worst["margin_m"] < 1e-3
        assert (worst["against"], worst["wire"]) == (limit.governing_against, limit.governing_wire)
        assert worst["station_m"] == pytest.approx(limit.station_m, abs=0.01)


def test_limit_temperature_put_back_under_a_rule_with_altitude(study):
    """A requirement that grows with altitude is the same one in both layers."""
    study.rules = study.rules.replace("4.5", "7.9")
    assert all(0 <= worst["margin_m"] < 1e-3 for _, worst in put_back(study))


def test_limit_is_no_more_than_the_maximum(study):
    study.add_roads()
    for row in study.check()["limits"].itertuples():
        assert row.limit_temperature_c == 75 and row.governs == "maximum temperature"


def test_inherited(short):
    """True just where the existing wire is in violation of the same thing in the same case."""
    table = short["violations"]
    keys = ["line", "span", "case", "against", "obstacle", "measure"]
    today = {tuple(row) for row in table.loc[table["option"] == "today", keys].fillna("").to_numpy()}
    expected = [tuple(row) in today for row in table[keys].fillna("").to_numpy()]
    assert table["inherited"].astype(bool).tolist() == expected
    of_alloy = table[table["option"] == "alloy"]["inherited"].astype(bool)
    assert of_alloy.any() and not of_alloy.all()


def test_no_option_is_existing(study):
    study.change("existing = true\n", "")
    study.rules = study.rules.replace("4.5", "9.5")
    study.add_roads()
    table = study.check()["violations"]
    assert len(table) and table["inherited"].isna().all() and "flashover" not in set(table["severity"])


def test_severity(study, make):
    """A bank 16.5 m high below the first span is nearer than 1 m (D_el at 123 kV, EN 50341-1, recalled): flashover.

    The rest of the ground is clear but for the buffer, set so that only it is missing. A higher requirement: rule."""
    study.rules = "rule,against,measure,base,buffer\nopen,ground,vertical,4,5\nroad,road,vertical,9.4,\n"
    study.write_ground(lambda e, n: make.plane(e, n) + 8.5 * np.exp(-((e - 500_150) / 20) ** 2))
    study.structures["base_elevation"] = [100.0, 106.0, 112.0, 118.0]
    study.add_roads()
    table = study.check().rows("violations", case="hot", measure="vertical").set_index(["span", "against"])
    assert table.loc[("1-2", "ground"), "actual_m"] < 1.0
    assert table.loc[("1-2", "ground"), "severity"] == "flashover"
    margin, buffer = table.loc[("2-3", "ground"), ["margin_m", "buffer_m"]]
    assert margin < 0 < margin + buffer and table.loc[("2-3", "ground"), "severity"] == "buffer"
    assert table.loc[("2-3", "road"), "severity"] == "rule"


def test_no_vertical_rule_at_all(study):
    """Nothing says how high wires must hang: no limit is known, and the ground is not assessed."""
    study.write_ground()
    study.rules = "rule,against,measure,base\noak,tree,radial,2\n"
    findings = study.check()
    limits = findings.rows("limits")
    assert (limits["governs"] == "not assessed").all() and limits["limit_temperature_c"].isna().all()
    assert len(findings.rows("not_assessed", against="ground")) and findings.result.status == 3


#: Cases whose temperature a current makes: in still air, and in wind.
HOT_CASES = '''
[[cases]]
name = "hot and swung"
temperature = "maximum"
wind = "290 Pa"
'''


def tree(study, make, aside, height, ground=0.0):
    place = shapely.points([[make.EAST + 150.0, make.NORTH + aside]])
    study.add_obstacle("trees", "tree", place, "height_column = \"height\"\nradius = 1.5", height=[height])
    study.rules += "oak,tree,radial,3.0,,,,,,\n"


def house(study, make):
    study.add_obstacle("houses", "building", [shapely.box(make.EAST + 140, make.NORTH + 12, make.EAST + 160,
                                                          make.NORTH + 22)], "height = 12")
    study.rules += "wall,building,horizontal,4.0,,,,,,\nroof,building,vertical,3.0,,,,,,\n"


def slope(study, make):
    study.write_ground(lambda e, n: make.plane(e, n) + np.clip(0.9 * (n - make.NORTH - 8), 0, 30))
    study.rules += "bank,ground,radial,7.5,,,,,,\n"


def parallel(study, make):
    """A line of 765 kV, 18 m aside and no higher than our wires: our own voltage alone asks for less than it has."""
    ends = [[make.EAST - 50, make.NORTH + 18.0, 105.0], [make.EAST + 950, make.NORTH + 18.0, 125.0]]
    study.add_obstacle("others", "line", [shapely.LineString(ends)], 'voltage_column = "voltage"', voltage=[765000.0])
    study.rules = study.rules.replace("buffer\n", "buffer,other_per_kv,other_above_kv\n").replace(",0.4\n", ",0.4,,\n")
    study.rules = study.rules.replace(",,,,\n", ",,,,,,\n") + "side,line,horizontal,3.5,,,,,,,0.008,50\n" \
        "over,line,vertical,3.5,,,,,,,0.008,50\n"


SITUATIONS = {
    "a tree under mid-span": lambda study, make: tree(study, make, 4.0, 6.5),
    "a tree aside": lambda study, make: tree(study, make, 11.0, 9.5),
    "a slope beside": slope,
    "a building beside": house,
    "a parallel line of higher voltage": parallel,
}


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("name", SITUATIONS)
def test_whatever_governs_put_back_leaves_no_margin(study, make, name, turned):
    """Every measure sets limits: at the limit no row of the cases at that temperature is negative, one is zero."""
    study.text += make.SECOND_OPTION.replace("150\n", "150\nemergency_temperature = 170\n")
    still = '[[cases]]\nname = "hot"\ntemperature = "maximum"\nchecks = ["vertical"]\n'
    emergency = (still + HOT_CASES).replace('"hot', '"emergency').replace('"maximum"', '"emergency"')
    study.text += emergency + HOT_CASES if turned else HOT_CASES + emergency
    SITUATIONS[name](study, make)
    before = study.text
    limits = study.check().rows("limits", option="alloy")
    limit = limits.iloc[limits["limit_temperature_c"].fillna(-99).argmin()]
    assert limit["governs"] == "clearance" and limit["governing_against"] != "ground" or "slope" in name
    for number, wind in enumerate(("0 Pa", "290 Pa")):
        study.text += f'\n[[cases]]\nname = "back {number}"\ntemperature = {float(limit["limit_temperature_c"])!r}\n' \
            f'wind = "{wind}"\n' + ('checks = ["vertical"]\n' if not number else "")
    rows = study.check().rows("clearances", span=limit["span"], option="alloy")
    rows = rows[rows["case"].str.startswith("back")]
    assert 0 <= rows["margin_m"].min() < 1e-3
    study.text = before
    assert limit["emergency_limit_temperature_c"] == pytest.approx(limit["limit_temperature_c"], abs=0.02)


@pytest.mark.parametrize("ground", [6.0, 8.0])
def test_a_tree_that_the_ground_hides_at_the_top_sets_the_limit(study, make, ground):
    """At the maximum temperature the ground is short by more than a tree aside, if 8 m are asked for; but the wire is
    clear of the ground long before it is of the tree. The limit is that of the tree alone."""
    study.text += make.SECOND_OPTION
    tree(study, make, 8.0, 7.5)
    head, *rows = study.rules.splitlines()
    rows = [row for row in rows if ",ground," not in row]
    low = f"low,ground,vertical,{ground}" + "," * (head.count(",") - 3)
    study.rules = "\n".join([head, *rows, low]) + "\n"
    found = study.check()
    limit, = found.rows("limits", option="alloy", span="1-2").to_dict("records")
    assert limit["governing_against"] == "tree"
    assert limit["limit_temperature_c"] == pytest.approx(62.9337, abs=1e-3)
    hot = found.rows("clearances", option="alloy", span="1-2", case="hot").set_index("against")["margin_m"]
    assert (hot["ground"] < hot["tree"]) == (ground > 7) and hot["tree"] < 0


def test_limits_do_not_depend_on_the_order_of_cases(study, make):
    """The emergency case has rules of its own; the continuous limit keeps those of the hot case."""
    study.rules = "rule,against,measure,base,cases\nopen,ground,vertical,9.6,hot\nfew,ground,vertical,9.0,need\n" \
        "rest,ground,vertical,5,ice;swung\n"
    need = '[[cases]]\nname = "need"\ntemperature = "emergency"\nchecks = ["vertical"]\n'
    found, text = [], study.text
    for first in (False, True):
        study.text = text.replace("[[cases]]\n", need + "[[cases]]\n", 1) if first else text + "\n" + need
        found.append(study.check()["limits"])
    same = ["limit_temperature_c", "limit_current_a", "emergency_limit_temperature_c", "governing_case"]
    pd.testing.assert_frame_equal(found[0][same], found[1][same])
    assert (found[0]["governing_case"] == "hot").all() and (found[0]["governs"] == "clearance").all()
    assert (found[0]["emergency_limit_temperature_c"] > found[0]["limit_temperature_c"] + 3).all()


def test_what_no_rule_is_for_is_told_beside_the_limit(study, make):
    study.add_obstacle("masts", "mast", [shapely.box(make.EAST + 140, make.NORTH - 5, make.EAST + 150, make.NORTH)],
                       "height = 3")
    row = study.check().row("limits", span="1-2")
    assert row["governs"] == "maximum temperature" and row["left_out"] == "no rule: masts:1 (mast)"


def test_other_lines_passed_below_are_told_beside_the_limit(study, make):
    """A wire that sinks gets farther from what is above it; a limit put back says nothing of that."""
    ends = [[make.EAST + 150, make.NORTH - 60, 140.0], [make.EAST + 150, make.NORTH + 60, 140.0]]
    study.add_obstacle("others", "line", [shapely.LineString(ends)], 'voltage_column = "voltage"', voltage=[220000.0])
    study.rules += "over,line,vertical,3.5,,,,,,\n"
    findings = study.check()
    assert set(findings.rows("clearances", span="1-2", against="line", measure="vertical")["position"]) == {"below"}
    assert findings.row("limits", span="1-2")["left_out"] == "passed below: others:1"
    assert findings["limits"]["left_out"].notna().tolist() == [True, False, False]


def test_own_wires_set_limits_whichever_is_named_first(study, make):
    """One wire straight above another comes near to it as it gets hot, if it sags more; the lower one named first or
    last."""
    study.framings = study.framings.replace("A,phase,1,-4,18,", "A,phase,1,5,16.4,").replace("A,phase,1,-4,19,",
                                                                                         "A,phase,1,5,17.4,")
    study.framings = study.framings.replace("hang,A,phase,1,5,17.4,suspension,1.4,40", "hang,A,phase,1,5,16.0,post,,")
    study.text += make.SECOND_OPTION + "\n[own_wires]\n"
    study.rules += "own,own_phase,radial,2.4,,,,,,\n"
    found = []
    for lower in ("A", "E"):
        study.framings = study.framings.replace(",A,", f",{lower},")
        found.append(study.check()["limits"])
    assert "own_phase" in set(found[0]["governing_against"])
    names = ["limit_temperature_c", "clearing_temperature_c", "governs", "governing_against"]
    pd.testing.assert_frame_equal(found[0][names], found[1][names], rtol=0, atol=1e-3)


def test_limits_are_those_of_everything_in_space(study, make, monkeypatch):
    """What is farther than it could matter is left out while a limit is sought: with all of it limits are the same."""
    study.rules = "rule,against,measure,base\nopen,ground,vertical,7\ntree,tree,radial,3.5\nany,building,vertical,3\n"
    study.text += make.SECOND_OPTION
    rng = np.random.default_rng(7)
    e, n = make.EAST + rng.uniform(20, 880, 90), make.NORTH + rng.uniform(-12, 12, 90)
    study.add_obstacle("trees", "tree", shapely.points(e, n), "height_column = \"tall\"\nradius = 1.5",
                       tall=rng.uniform(1, 9, 90))
    e, n = make.EAST + np.array([90.0, 400, 700]), make.NORTH + np.array([9.0, -8, 7])
    study.add_obstacle("sheds", "building", shapely.box(e, n, e + 8, n + 3), "height = 6")
    found = study.check()["limits"]
    monkeypatch.setattr("corridor.rating.limits._BEYOND", 30.0)
    whole = study.check()["limits"]
    assert ((found["governing_measure"] == "radial") & (found["governs"] == "clearance")).sum() >= 3
    assert (found["governing_obstacle"] == whole["governing_obstacle"]).all()
    np.testing.assert_allclose(found["limit_temperature_c"], whole["limit_temperature_c"], atol=0.02)


def test_a_limit_set_by_what_alone_is_near_is_found(study, make):
    """In the windy case poles alone are compared, and the cold wire is farther from them than limits are sought by.
    Put back as a case, the limit leaves no margin."""
    study.add_obstacle("poles", "pole", [shapely.Point(make.EAST + 150, make.NORTH - 4)], "height = 2")
    study.change("emergency_temperature = 90", "emergency_temperature = 150")
    study.change('[right_of_way]\nhalf_width = "30 m"\n', "")
    blown = '\n[[cases]]\nname = "blown"\ntemperature = "emergency"\nwind = "20 Pa"\nchecks = ["horizontal"]\n'
    study.text += blown
    study.rules = "rule,against,measure,base\npole,pole,radial,7\nground,ground,vertical,4\n"
    row = study.check().row("limits", span="1-2")
    assert row.emergency_governs == "clearance"
    study.change("emergency_temperature = 150", f"emergency_temperature = {row.emergency_limit_temperature_c:.9f}")
    assert study.check().row("clearances", span="1-2", case="blown").margin_m == pytest.approx(0, abs=1e-3)
