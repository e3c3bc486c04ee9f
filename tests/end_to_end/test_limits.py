"""How hot a span may get, what is inherited from the wire of today, and how severe a violation is."""

import numpy as np
import pytest


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
        assert abs(worst["margin_m"]) < 1e-3
        assert (worst["against"], worst["wire"]) == (limit.governing_against, limit.governing_wire)
        assert worst["station_m"] == pytest.approx(limit.station_m, abs=0.01)


def test_limit_temperature_put_back_under_a_rule_with_altitude(study):
    """A requirement that grows with altitude is the same one in both layers."""
    study.rules = study.rules.replace("4.5", "7.9")
    assert all(abs(worst["margin_m"]) < 1e-3 for _, worst in put_back(study))


def test_limit_is_no_more_than_the_maximum(study):
    study.add_roads()
    for row in study.check()["limits"].itertuples():
        assert row.limit_temperature_c == 75 and row.governs == "maximum temperature"


def test_inherited(short):
    """True just where the wire of today falls short of the same thing in the same case."""
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
    assert len(table) and table["inherited"].isna().all() and "A" not in set(table["severity"])


def test_severity(study, make):
    """A bank 16.5 m high below the first span is nearer than 1 m (D_el at 123 kV, EN 50341-1, recalled): A. The rest
    of the ground is clear but for the buffer, set so that only it is missing: C. A higher requirement: B."""
    study.rules = "rule,against,measure,base,buffer\nopen,ground,vertical,4,5\nroad,road,vertical,9.4,\n"
    study.write_ground(lambda e, n: make.plane(e, n) + 8.5 * np.exp(-((e - 500_150) / 20) ** 2))
    study.structures["base_elevation"] = [100.0, 106.0, 112.0, 118.0]
    study.add_roads()
    table = study.check().rows("violations", case="hot").set_index(["span", "against"])
    assert table.loc[("1-2", "ground"), "actual_m"] < 1.0
    assert table.loc[("1-2", "ground"), "severity"] == "A"
    margin, buffer = table.loc[("2-3", "ground"), ["margin_m", "buffer_m"]]
    assert margin < 0 < margin + buffer and table.loc[("2-3", "ground"), "severity"] == "C"
    assert table.loc[("2-3", "road"), "severity"] == "B"


def test_no_vertical_rule_at_all(study):
    """Nothing says how high wires must hang: no limit is known, and the ground is not assessed."""
    study.write_ground()
    study.rules = "rule,against,measure,base\noak,tree,radial,2\n"
    findings = study.check()
    limits = findings.rows("limits")
    assert (limits["governs"] == "not assessed").all() and limits["limit_temperature_c"].isna().all()
    assert len(findings.rows("not_assessed", against="ground")) and findings.result.status == 3
