"""What a study assumes: told in all that people read, and never clear, until somebody confirms it."""

import json

import pytest

import corridor
from corridor.cli import main
from corridor.errors import InputError

ROWS = """
[[assumptions]]
key = "framings"
value = "conductors 15 m above the ground"
reason = "lower than usual: the safe side"
[[assumptions]]
key = "rules.table"
value = "of Europe"
reason = "where the line is"
"""
WORDS = "2 ASSUMPTIONS NOT CONFIRMED"


@pytest.fixture
def assumed(study):
    """A study in which everything is clear, and two things are assumed."""
    study.text += ROWS
    return study


def test_what_is_assumed_is_never_clear(assumed):
    found = assumed.check()
    assert (found.result.violations, found.result.gaps, found.result.status) == (0, 0, 3)
    run = found["run"].iloc[0]
    assert run["assumptions"].splitlines() == [
        "framings: conductors 15 m above the ground (lower than usual: the safe side)",
        "rules.table: of Europe (where the line is)"]
    assert run["cautions"].startswith(WORDS)
    assert "2 assumptions not confirmed: framings 1, rules 1; each stands in [[assumptions]]" in run["warnings"]


def test_confirmed_or_taken_out_it_is_silent(assumed, other_study):
    assumed.text = assumed.text.replace("reason =", "confirmed = true\nreason =")
    for each in (assumed, other_study):
        found = each.check()
        assert found.result.status == 0
        assert found["run"]["assumptions"][0] is None and "ASSUMPTION" not in found["run"]["cautions"][0]


def test_one_of_two_is_still_open(assumed):
    assumed.change("reason =", "confirmed = true\nreason =")
    found = assumed.check()
    assert found.result.status == 3 and found["run"]["cautions"][0].startswith("1 ASSUMPTION NOT CONFIRMED")


def test_violations_come_before_assumptions(assumed):
    assumed.rules = assumed.rules.replace("4.5", "17")
    assert assumed.check().result.status == 1


def test_the_command_says_it(assumed, capsys):
    assert assumed.write() and assumed.command("--json") == 3
    out = capsys.readouterr()
    assert WORDS in out.err and len(json.loads(out.out)["assumptions"]) == 2
    assert assumed.command() == 3
    assert "Warning: 2 assumptions not confirmed" in capsys.readouterr().err.replace("\n  ", " ")
    for command, status in (("inspect", 3), ("sag", 0)):
        with pytest.raises(SystemExit) as end:
            main([command, str(assumed.path)])
        assert end.value.code == status and WORDS in capsys.readouterr().err


def test_page_sheets_and_tables_say_it(assumed):
    pytest.importorskip("bokeh")
    pytest.importorskip("ezdxf")
    assumed.check()
    with corridor.open_study(assumed.path) as opened:
        opened.report(output=assumed.folder / "page.html")
        opened.draw(output=assumed.folder / "sheets.dxf", kind="dxf")
        tables = opened.tables()
    page = (assumed.folder / "page.html").read_text(encoding="utf-8")
    assert "2 assumptions not confirmed" in page and WORDS in page
    drawn = "".join(p.read_text(encoding="utf-8", errors="replace") for p in assumed.folder.glob("*.dxf"))
    assert WORDS in drawn
    assert tables["run"]["value"].str.contains(WORDS).any()


@pytest.mark.parametrize("row", ['key = "a"\nvalue = "b"', 'key = "a"\nvalue = "b"\nreason = "c"\nconfirmed = "yes"'])
def test_an_assumption_is_told_in_full(study, row):
    study.text += f"\n[[assumptions]]\n{row}\n"
    with pytest.raises(InputError, match=r"assumptions\.0\.(reason|confirmed)"):
        study.check()
