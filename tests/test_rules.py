"""Rules: choice of the row, sums of terms, files of the user, and what is said of bad ones."""

from pathlib import Path

import numpy as np
import pytest

from corridor.clearance.rule_files import COLUMNS, Rules, file_markdown, load_table, table_markdown
from corridor.clearance.rules import (
    TABLES,
    Terms,
    choose,
    combine,
    electrical_distance,
    has_rule,
    load_rules,
    require_cases,
    requirement,
)
from corridor.errors import InputError
from corridor.inputs.prescribed import PRESCRIBED

HEADER = "rule,against,measure,base"


@pytest.fixture
def rules_from(tmp_path):
    def write(text):
        file = tmp_path / "rules.csv"
        file.write_text(text, encoding="utf-8")
        return load_rules(file)

    return write


def test_minimal_file(rules_from):
    rules = rules_from(f"{HEADER}\nmine,ground,vertical,6.5\n")
    terms = requirement(rules, choose(rules, "ground", "vertical", "hot", 123.0), 123.0, 3000.0)
    assert terms.required == 6.5
    assert terms.voltage_adder == terms.altitude_adder == terms.buffer == terms.minimum_raise == 0


def test_columns_and_record_agree():
    assert list(COLUMNS) == list(Rules.__dataclass_fields__)


def test_units_in_cells(rules_from):
    rules = rules_from(
        "rule,against,measure,base,per_kv,above_kv,buffer,minimum\n"
        "mine,road,vertical,18.5 ft,0.4 in/kV,22 kV,2.5 ft,600 cm\n"
    )
    assert rules.base[0] == pytest.approx(5.6388, rel=1e-12)
    assert rules.per_kv[0] == pytest.approx(0.01016, rel=1e-12)
    assert rules.above_kv[0] == pytest.approx(22.0, rel=1e-12)
    assert rules.minimum[0] == pytest.approx(6.0, rel=1e-12)


def test_terms_add_up_and_minimum_governs(rules_from):
    rules = rules_from(
        "rule,against,measure,base,per_kv,above_kv,altitude_share,altitude_above,buffer,minimum\n"
        "mine,ground,vertical,2,0.01,22,0.03,1000,0.5,4\n"
    )
    voltage, altitude = np.array([22.0, 122.0, 422.0])[:, None], np.array([0.0, 1600.0])
    terms = requirement(rules, 0, voltage, altitude)
    assert terms.required.shape == (3, 2)
    assert sum(terms[:-1]) == pytest.approx(terms.required, rel=1e-15)
    # 1 m adder at 122 kV; 600 m above 1000 m are two steps of 300 m: 6 % of it.
    assert terms.altitude_adder[1] == pytest.approx([0, 0.06], rel=1e-12)
    assert terms.minimum_raise[1] == pytest.approx([1.0, 0.94], rel=1e-12)
    assert terms.required[1] == pytest.approx([4.5, 4.5], rel=1e-12)
    # At 422 kV base and adders exceed the minimum.
    assert terms.required[2] == pytest.approx([6.5, 6.74], rel=1e-12)


def test_basis_of_voltage(rules_from):
    rules = rules_from(
        "rule,against,measure,base,per_kv,voltage_basis\n"
        "a,ground,vertical,0,0.01,line to line\nb,road,vertical,0,0.01,line to ground\n"
        "c,rail,vertical,0,0.01,\n"
    )
    adder = requirement(rules, [0, 1, 2], 123.0, 0.0).voltage_adder
    assert adder == pytest.approx([1.23, 1.23 / np.sqrt(3), 1.23], rel=1e-12)


def test_requirement_rises_with_every_term(rules_from):
    """More voltage, altitude or buffer never asks for less."""
    table = load_table("us-rural-utility")
    index = np.arange(len(table))[:, None, None]
    terms = requirement(table, index, np.linspace(20, 245, 10)[:, None], np.linspace(0, 4000, 9))
    assert np.all(np.diff(terms.required, axis=1) >= 0)
    assert np.all(np.diff(terms.required, axis=2) >= 0)


def test_unknown_goes_up_as_nan():
    table = load_table("us-rural-utility")
    road, line, tree = (choose(table, a, m, "", 121.0) for a, m in
                        [("road", "vertical"), ("line", "vertical"), ("tree", "radial")])
    assert np.isnan(requirement(table, -1, 121.0, 0.0)).all()
    assert np.isnan(requirement(table, road, np.nan, 0.0).required)
    assert np.isnan(requirement(table, road, 121.0, np.nan).required)
    assert np.isnan(requirement(table, line, 121.0, 0.0, other_kv=np.nan).required)
    assert np.isfinite(requirement(table, tree, 121.0, np.nan).required)
    assert np.isfinite(requirement(table, road, 121.0, 0.0, other_kv=np.nan).required)


def test_crossed_line_of_unsaid_voltage_is_taken_as_this_one():
    table = load_table("us-rural-utility")
    line = choose(table, "line", "vertical", "", 121.0)
    unsaid = requirement(table, line, 121.0, 0.0)
    assert unsaid.required == requirement(table, line, 121.0, 0.0, other_kv=121.0).required
    assert unsaid.required > requirement(table, line, 121.0, 0.0, other_kv=24.0).required


def test_scalars_and_arrays_agree():
    table = load_table("european-electrical-distance")
    against = np.array(["ground", "road", "line", "tower"], object)
    voltage, altitude = np.array([72.5, 123.0, 300.0, 123.0]), np.array([0.0, 1200.0, 50.0, 0.0])
    index = choose(table, against, "vertical", "hot", voltage)
    assert index[3] == -1
    together = requirement(table, index, voltage, altitude).required
    alone = [requirement(table, choose(table, a, "vertical", "hot", v), v, z).required
             for a, v, z in zip(against, voltage, altitude, strict=True)]
    np.testing.assert_array_equal(together, alone)


def test_empty_batch():
    table = load_table("us-rural-utility")
    none = np.array([], object)
    index = choose(table, none, none, none, np.array([]))
    assert index.shape == (0,)
    assert isinstance(requirement(table, index, np.array([]), np.array([])), Terms)


def test_electrical_distance_steps_up_and_ends():
    assert electrical_distance(20.0) == 0.60
    assert electrical_distance(123.001) == 1.20
    assert np.isnan(electrical_distance([765.1, 0.0, -1.0, np.nan])).all()
    levels = electrical_distance(np.linspace(1, 765, 2000))
    assert np.all(np.diff(levels) >= 0)


def test_voltage_range_includes_its_upper_end(rules_from):
    rules = rules_from(
        f"{HEADER},min_kv,max_kv\nlow,tree,radial,2,0,72.5\nhigh,tree,radial,3,72.5,245\n"
    )
    found = choose(rules, "tree", "radial", "hot", np.array([20, 72.5, 72.6, 245, 245.1, np.nan]))
    assert found.tolist() == [0, 0, 1, 1, -1, -1]


def test_row_for_a_case_goes_before_one_for_all(rules_from):
    rules = rules_from(
        f"{HEADER},cases\nall,road,vertical,7,\nsome,road,vertical,6,emergency; storm\n"
    )
    cases = np.array(["hot", "emergency", "storm"], object)
    found = choose(rules, "road", "vertical", cases, 123.0)
    assert found.tolist() == [0, 1, 1]


def test_row_for_one_case_alone_leaves_the_others_without(rules_from):
    rules = rules_from(f"{HEADER},cases\nsome,road,vertical,6,emergency\n")
    assert choose(rules, "road", "vertical", "hot", 123.0) == -1


def test_unknown_swing_takes_the_greater_base():
    table = load_table("us-rural-utility")
    name = table.rule[choose(table, "building", "horizontal", "wind", 121.0)]
    assert name == "us-rural-building-at-rest"
    known = choose(table, "building", "horizontal", "wind", 121.0, swung=np.array([True, False]))
    assert table.rule[known[0]] == "us-rural-building-displaced"
    assert table.rule[known[1]] == "us-rural-building-at-rest"


def test_other_is_for_obstacles_without_a_row_of_their_own(rules_from):
    own = rules_from(f"{HEADER},cases\nmine,other,vertical,9,\nroad,road,vertical,7,hot\n")
    against = np.array(["tank", "other", "ground", "right_of_way", "road"], object)
    assert choose(own, against, "vertical", "cold", 123.0).tolist() == [0, 0, -1, -1, -1]
    assert choose(own, "tank", "radial", "cold", 123.0) == -1
    assert has_rule(own, against, "vertical").tolist() == [True, True, False, False, True]


def test_above_the_voltages_of_a_table_there_is_no_rule():
    table = load_table("us-rural-utility")
    assert choose(table, "road", "vertical", "hot", np.array([242.0, 362.0])).tolist()[1] == -1
    table = load_table("european-electrical-distance")
    assert choose(table, "road", "vertical", "hot", np.array([765.0, 800.0])).tolist()[1] == -1


def test_own_rows_replace_those_of_the_table(rules_from):
    table = load_table("european-electrical-distance")
    own = rules_from(f"{HEADER},buffer\nours,road,vertical,8,0.5\nshed,shed,vertical,5,\n")
    both = combine(table, own)
    assert len(both) == len(table) + 1
    road, shed, ground = choose(both, ["road", "shed", "ground"], "vertical", "hot", 123.0)
    assert (both.rule[road], both.rule[shed], both.rule[ground]) == ("ours", "shed", "eu-ground")
    assert requirement(both, road, 123.0, 0.0).required == 8.5
    assert combine(None, own) is own
    assert combine(table, None) is table


@pytest.mark.parametrize(
    ("text", "where", "words"),
    [
        ("", "header", "no column 'rule'"),
        (f"{HEADER}\n", None, "no rows"),
        ("rule;against;measure;base\na;b;vertical;1\n", "header", "rule;against"),
        ("rule,against,measure\na,b,vertical\n", "header", "no column 'base'"),
        (f"{HEADER},bufer\na,b,vertical,1,2\n", "header", "perhaps buffer?"),
        (f"{HEADER},base\na,b,vertical,1,2\n", "header", "'base' twice"),
        (f"{HEADER}\na,b,vertcal,1\n", "row 2: measure", "perhaps vertical?"),
        (f"{HEADER}\na,b,vertical,\n", "row 2: base", "nothing"),
        (f"{HEADER}\n,b,vertical,1\n", "row 2: rule", "nothing"),
        (f"{HEADER}\na,b,vertical,1\n\nc,d,vertical,six\n", "row 4: base", "'six'"),
        (f"{HEADER}\na,b,vertical,-1\n", "row 2: base", "0 m or more"),
        (f"{HEADER}\na,b,vertical,nan\n", "row 2: base", "'nan'"),
        (f"{HEADER}\na,b,vertical,inf\n", "row 2: base", "'inf'"),
        (f"{HEADER}\na,b,vertical,5 kV\n", "row 2: base", "a length"),
        (f"{HEADER}\na,b,vertical,18 ft 6 in\n", "row 2: base", "a length"),
        (f"{HEADER}\na,b,vertical,5,6\n", "row 2", "number of cells"),
        (f"{HEADER}\na,b,vertical\n", "row 2", "number of cells"),
        (f"{HEADER},above_kv\na,b,vertical,5,22 m\n", "row 2: above_kv", "a voltage"),
        (f"{HEADER},altitude_share\na,b,vertical,5,3 %\n", "row 2: altitude_share", "0 and 1"),
        (f"{HEADER},altitude_share\na,b,vertical,5,3\n", "row 2: altitude_share", "0 and 1"),
        (f"{HEADER},altitude_step\na,b,vertical,5,0\n", "row 2: altitude_step", "more than 0 m"),
        (f"{HEADER},electrical_distance\na,b,vertical,5,Del\n", "electrical_distance", "D_el"),
        (f"{HEADER},min_kv,max_kv\na,b,vertical,5,100,50\n", "row 2: max_kv", "more than min_kv"),
        (f"{HEADER}\na,b,vertical,1\nc,b,vertical,2\n", "row 3", "a second rule for b, vertical"),
    ],
)
def test_bad_file(rules_from, text, where, words):
    with pytest.raises(InputError) as raised:
        rules_from(text)
    message = str(raised.value)
    assert message.startswith("rules.csv: ")
    assert words in message
    assert where is None or where in message


def test_rivals_by_case_and_voltage(rules_from):
    apart = f"{HEADER},cases,max_kv,min_kv\n"
    assert len(rules_from(apart + "a,b,vertical,1,hot,,\nc,b,vertical,2,ice,,\n")) == 2
    assert len(rules_from(apart + "a,b,vertical,1,,72.5,\nc,b,vertical,2,,,72.5\n")) == 2
    with pytest.raises(InputError, match="row 3"):
        rules_from(apart + "a,b,vertical,1,hot;ice,,\nc,b,vertical,2,ice,,\n")
    with pytest.raises(InputError, match="row 3"):
        rules_from(apart + "a,b,vertical,1,,80,\nc,b,vertical,2,,,72.5\n")


def test_file_that_is_not_there(tmp_path):
    with pytest.raises(InputError, match="rules.csv"):
        load_rules(tmp_path / "rules.csv")


def test_file_that_is_no_text(tmp_path):
    file = tmp_path / "rules.csv"
    file.write_bytes(b"rule,against,measure,base\n\xff\xfe\x00,b,vertical,1\n")
    with pytest.raises(InputError, match="rules.csv"):
        load_rules(file)


def test_byte_order_mark_is_taken(tmp_path):
    file = tmp_path / "rules.csv"
    file.write_text(f"{HEADER}\na,b,vertical,1\n", encoding="utf-8-sig")
    assert load_rules(file).rule[0] == "a"


def test_unknown_table_names_the_nearest():
    with pytest.raises(InputError, match="perhaps us-rural-utility"):
        load_table("us-rural-utilty")


def test_case_that_the_study_does_not_have(rules_from):
    rules = rules_from(f"{HEADER},cases\na,b,vertical,1,emergncy\n")
    with pytest.raises(InputError, match="a: cases: found 'emergncy'.*perhaps emergency"):
        require_cases(rules, ["hot", "emergency"], "rules.csv")
    require_cases(rules, ["emergncy"], "rules.csv")


def test_page_of_the_tables_is_up_to_date():
    page = (Path(__file__).parents[1] / "docs" / "rules.md").read_text(encoding="utf-8")
    for name in TABLES:
        assert table_markdown(load_table(name)) in page, f"docs/rules.md: table {name}"
    assert file_markdown(PRESCRIBED) in page, "docs/rules.md: prescribed states"
    for name, column in COLUMNS.items():
        assert f"| `{name}` | {column.meaning} |" in page, f"docs/rules.md: column {name}"
