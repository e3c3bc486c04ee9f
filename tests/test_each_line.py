"""Plans line by line: against the plan of a study that holds that line alone, and how they are ranked."""

import csv

import numpy as np
import pandas
import pytest

import corridor
from corridor.planning.each_line import LinePlan
from corridor.planning.remedies.plan import plan_option, site_of
from tests.common import ask, run
from tests.end_to_end.conftest import EAST, NORTH, SECOND_OPTION, TinyStudy, line_of, plane

RATED = '\n[rating]\nambient = 35\nwind_speed = 0.6\nsolar = 1000\n'
OPTION = SECOND_OPTION.split('name = "')[1].split('"')[0]
LOST = 'untouched = ["lost-2"]\nv_string_structures = ["lost-2"]\n'
PLAN = f'\n[plan]\nremedies = ["raise"]\n{LOST}[[plan.wires]]\noption = "{OPTION}"\ncost_per_km = 3\n'


def placed(line, north, east=0.0):
    """A line with names of its own."""
    made = line_of(line=line).assign(northing=NORTH + north)
    made["easting"] += east
    return made.assign(structure=[f"{line}-{name}" for name in made["structure"]])


def ground(e, n):
    """A mound of 6 m below the main line, and a cliff of 40 m below the line to the south."""
    return plane(e, n) + 6.0 * (np.hypot(e - EAST - 450, n - NORTH) < 40) + 40.0 * (
        np.hypot(e - EAST - 450, n - NORTH + 250) < 40)


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    """A line with a mound; two 30 m from each other; one over a cliff that no raise clears; one beyond the raster."""
    study = TinyStudy(tmp_path_factory.mktemp("each") / "study")
    study.text += SECOND_OPTION + RATED + PLAN
    study.structures = pandas.concat([placed("main", 0.0), placed("a", 220.0), placed("b", 250.0), placed(
        "cliff", -250.0), placed("lost", 350.0, 800.0)], ignore_index=True)
    study.structures["base_elevation"] = plane(study.structures["easting"], study.structures["northing"])
    study.write_ground(ground)
    study.write()
    return study


@pytest.fixture(scope="module")
def plans(study):
    return ask(study.path, "plan_each_line", OPTION)


def test_lines_near_each_other_are_planned_together(plans):
    assert sorted(each.lines for each in plans) == [("a", "b"), ("cliff",), ("lost",), ("main",)]


def test_plan_of_a_line_is_that_of_a_study_of_it_alone(study, plans, tmp_path):
    alone = TinyStudy(tmp_path / "alone")
    alone.text += SECOND_OPTION + RATED + PLAN.replace(LOST, "")
    alone.structures = study.structures[study.structures["line"] == "main"]
    alone.write_ground(ground)
    main = next(each for each in plans if each.lines == ("main",))
    highest = study.structures["base_elevation"].max()
    alone.text = alone.text.replace("solar = 1000", f"solar = 1000\nelevation = {highest}")
    with corridor.open_study(alone.write()) as opened:
        planned = plan_option(site_of(opened.inputs, OPTION))
    assert planned.cleared and main.cost == pytest.approx(planned.cost) and main.cost > 0
    assert main.violations == planned.before.short > 0
    assert main.wire == pytest.approx(3 * 0.9, rel=1e-3)
    assert main.current > main.today >= 0 and main.per_ampere == pytest.approx(main.total / (main.current - main.today))
    assert ("short at any temperature" in main.note) == (main.today == 0)


def test_what_cannot_be_planned_is_said_and_last(plans):
    assert plans[-1].lines == ("cliff",) and plans[-1].refused and np.isnan(plans[-1].per_ampere)
    lost = next(each for each in plans if each.lines == ("lost",))
    assert np.isnan(lost.today) and ("not assessed" in lost.note or lost.refused)
    assert plans.index(lost) > max(i for i, each in enumerate(plans) if each.lines in {("main",), ("a", "b")})


def test_rank_by_hand():
    """Cheapest ampere, then no price, no gain, unknown, not assessed, no plan."""
    def made(name, **changes):
        known = {"length": 1.0, "today": 500.0, "current": 700.0, "violations": 0, "remedies": "", "cost": 10.0,
                 "wire": 10.0, "gaps": 0, "refused": ""}
        return LinePlan((name,), **(known | changes))

    rows = [made("refused", cost=np.nan, refused="why"), made("gap", gaps=2, cost=0.0), made("unknown", today=np.nan),
            made("none", current=400.0), made("unpriced", wire=np.nan), made("dear", cost=90.0), made("good")]
    assert [each.lines[0] for each in sorted(rows, key=lambda each: each.rank)] == [
        "good", "dear", "unpriced", "none", "unknown", "gap", "refused"]
    assert {each.lines[0] for each in rows if each.ranked} == {"good", "dear"}


def test_command(study, plans, tmp_path, capsys):
    assert run("plan", study.path, "--option", OPTION, "--each-line", "--folder", tmp_path / "out") == 1
    assert "cliff: no plan" in capsys.readouterr().out
    with (tmp_path / "out" / "each_line.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [row["lines"] for row in rows] == [" + ".join(each.lines) for each in plans]
    assert rows[-1]["cost"] == rows[-1]["cost_per_ampere"] == ""
