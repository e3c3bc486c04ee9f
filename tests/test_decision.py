"""What gives a rating: the way that is chosen, put back as a study; limits that bind; files for people."""

import json
from dataclasses import replace
from datetime import date, datetime

import icalendar
import numpy as np
import pyogrio
import pypdf
import pytest
import shapely

from corridor.errors import InputError
from corridor.planning.decision import asked_of, decide, decision_lines
from corridor.planning.outages.binding import contradiction
from corridor.planning.outages.outages import outages_of
from corridor.session import open_study
from corridor.study.plan import WorkSeason
from tests.common import run as run_main
from tests.end_to_end.conftest import EAST, NORTH, SECOND_OPTION
from tests.test_states import planned_of, two_wires, with_capacities

WIRE = "[[plan.wires]]\noption = \"alloy\"\ncost_per_km = 2.0\n"
CALENDAR = "[plan.calendar]\nstart = 2027-03-01\n"


def run(capsys, path, *more):
    status = run_main("plan", str(path), "--json", *map(str, more))
    return status, json.loads(capsys.readouterr().out)


@pytest.fixture
def study(tmp_path):
    return two_wires(tmp_path / "study", "window = '60 h'\n" + WIRE + CALENDAR)


def test_the_chosen_way_carries_what_is_asked_for(study, tmp_path, capsys):
    """The copy is a study of its own: its limits, asked of it anew, are no less than the current, and it is clear."""
    status, told = run(capsys, study.write(), "--rating", "700", "--longest-outage", "60h", "--folder", tmp_path / "p")
    assert status == 0 and told["chosen"]["option"] == "alloy"
    assert [way["refused"] for way in told["ways"] if way["option"] == "today"][0].startswith("carries ")
    with open_study(tmp_path / "p" / "study.toml", trust=True) as copy:
        rows = copy.limits().limits
        own = rows["option"] == "alloy"
        assert np.min(rows["limit_current_a"][own].astype(float)) >= 700 - 0.5
        top = next(each for each in copy.study.options if each.name == "alloy").maximum_temperature
    assert top < 150, "it is planned for no more heat than the current needs"
    # At a tenth of a kelvin less it would not carry it.
    with open_study(study.path) as opened:
        heat = opened.laid_out[0].heat
        index = [each.name for each in opened.inputs.options].index("alloy")
        assert heat.current_at(index, top) >= 700 > heat.current_at(index, top - 0.11)


def test_today_is_what_the_line_carries(study):
    """+10 % of the minimum limit of the spans, not of the wire's own."""
    with open_study(study.write()) as opened:
        limits = opened.limits().limits
        own = limits["option"] == "today"
        least = float(np.min(limits["limit_current_a"][own].astype(float)))
        asked = asked_of(opened, "+10 %")
        assert asked.today == pytest.approx(least, abs=1e-3) and asked.current == pytest.approx(1.1 * least, abs=1e-3)
        with pytest.raises(InputError, match="a current in amperes"):
            asked_of(opened, "more")


def test_limits_bind_one_after_the_other(study):
    """A current that no wire carries; a longest outage that no pull fits in; a last day before the work is done."""
    with open_study(study.write()) as opened:
        most = decide(opened, "5000")
        assert most.best is None and all("carries" in way.refused for way in most.ways)
        short = decide(opened, "700", longest=10.0, options=["alloy"])
        assert short.best is None and "plan.window" in short.ways[0].refused
        assert any("longest outage" in words for words in short.binds)
        early = decide(opened, "700", by=date(2027, 3, 2), options=["alloy"])
        assert early.best is None and "plan.calendar.by" in early.ways[0].refused
        assert any("last day" in words for words in early.binds)
    with open_study(study.write()) as opened:
        good = decide(opened, "700", options=["alloy"])
        assert good.best is not None
        costs = [way.cost for way in good.front]
        assert costs == sorted(costs) and good.best.cost == pytest.approx(
            good.best.planned.cost + 2.0 * good.best.planned.site.plan.spans.length.sum() / 1e3)


def test_the_wire_that_hangs_is_a_way_where_it_carries_the_current(study):
    """Nothing is pulled for it: 560 A, of which one span lets it carry 557."""
    with open_study(study.write()) as opened:
        best = decide(opened, "560", options=["today"]).best
    assert best.option == "today" and best.carried >= 560 - 0.5
    assert [item.kind for item in best.outages.work] == ["raise"]


def test_what_is_not_known_of_a_wire_that_needs_no_work_is_said(tmp_path):
    """Over ground that is not known nothing tells what the line carries: no pass, though no remedy is asked for."""
    study = two_wires(tmp_path / "study", "window = '60 h'\n" + WIRE + CALENDAR,
                      hole=lambda e, n: (e > 500_100) & (e < 500_130))
    with open_study(study.write()) as opened:
        best = decide(opened, "500", options=["today"]).best
    assert not best.outages.work and np.isnan(best.carried)
    assert "carries is not known" in best.unknown and best.row["not_assessed"]


def test_what_a_line_carries_is_told_where_no_work_needs_an_outage(tmp_path):
    """A tree is taken away in service: the limits are those once that is done, not taken for granted."""
    study = two_wires(tmp_path / "study", "window = '60 h'\nremovable = ['tree']\nremove_duration = 0\n" + WIRE
                      + CALENDAR)
    study.text = study.text.replace('["raise"]', '["remove"]')
    study.add_obstacle("trees", "tree", [shapely.Point(EAST + 150, NORTH)], "height = '14 m'")
    with open_study(study.write()) as opened:
        found = decide(opened, "500", options=["today"])
    best = found.best
    assert not best.outages.work and [item.kind for item in best.outages.without] == ["remove"]
    assert best.carried >= 500 - 0.5 and not best.unknown


def test_a_way_without_a_price_beats_none_that_has_it(study):
    """The same wire twice, one of them without a price: it is not the cheaper one for that."""
    study.text += SECOND_OPTION.replace('"alloy"', '"other"')
    with open_study(study.write()) as opened:
        found = decide(opened, "700", options=["alloy", "other"])
    alloy, other = (next(way for way in found.ways if way.option == name) for name in ("alloy", "other"))
    assert other.cost < alloy.cost and other.not_costed == "wire, " + alloy.not_costed
    assert found.best is alloy and other in found.front


def test_limits_that_contradict_only_together(study):
    """Seven hours on one day a year hold no pull of 16 h, even in a year and a half; and the last day comes first."""
    with open_study(study.write()) as opened:
        good = decide(opened, "700", options=["alloy"]).best
    prices = good.outages.prices
    update = {"seasons": (WorkSeason(first_day=70, last_day=70),), "shift_start": 10.0, "by": date(2027, 3, 2)}
    calendar = prices.calendar.model_copy(update=update)
    way = replace(good, outages=replace(good.outages, prices=prices.model_copy(update={"calendar": calendar})))
    assert contradiction(way.outages) == ("last day", "seasons")
    assert contradiction(good.outages) == (), "what can be grouped contradicts nothing"


def test_what_has_no_cost_is_named(study):
    study.text = study.text.replace(WIRE, "")
    with open_study(study.write()) as opened:
        best = decide(opened, "700", options=["alloy"]).best
    assert "wire" in best.not_costed and "outages" in best.not_costed
    assert best.cost == pytest.approx(best.planned.cost)


PRICES = "crew_hour_cost = 0.3\ncircuit_hour_cost = 0.5\n"
LIFE = ("[plan.life]\nyears = 30\ndiscount_rate = 0.04\nenergy_price = 0.05\nenergy_price_low = 0.02\n"
        "energy_price_high = 0.2\n[[rating.loads]]\ncurrent = 300\nduration = '3000 h'\n"
        "[[rating.loads]]\ncurrent = 200\nduration = '5760 h'\n")


def test_whole_life_cost_of_a_way_by_hand(study):
    """Losses of both load steps over the length of the line, at the worth of 30 years year by year; and the cost of all
    else. Common practice, no source for the sum of both."""
    study.text = study.text.replace(WIRE, PRICES + WIRE) + LIFE
    with open_study(study.write()) as opened:
        found, (facts, plan, _) = decide(opened, "700"), opened.laid_out
        best, heat = found.best, facts.heat
        at = {each.name: i for i, each in enumerate(facts.options)}
        circuits = len({*facts.framings.circuit[facts.framings.kind == "phase"]})
    lost = {name: sum(float(heat.loss_at(i, amps)) / 1e3 * hours for amps, hours in ((300, 3000), (200, 5760)))
            * circuits * plan.spans.length.sum() / 1e3 for name, i in at.items()}
    worth = sum(1.04**-year for year in range(1, 31))
    assert best.option == "alloy" and not best.not_costed and best.row["life_not_known"] is None
    for end, price in (("_low", 0.02), ("", 0.05), ("_high", 0.2)):
        assert best.row[f"losses_over_life{end}"] == pytest.approx(price * worth * lost["alloy"], rel=1e-12)
        assert best.row[f"whole_life_cost{end}"] == pytest.approx(best.cost + price * worth * lost["alloy"], rel=1e-12)
    assert best.row["cost_per_ampere_gained"] == pytest.approx(best.cost / (best.carried - found.asked.today))
    saved = 0.05 * (lost["today"] - lost["alloy"])
    years = next((n for n in range(1, 2000) if sum(saved * 1.04**-year for year in range(1, n + 1)) >= best.cost), None)
    told = best.row["years_to_pay_back"]
    assert (told == "never") if years is None else years - 1 <= float(told) <= years
    refused, = (way.row for way in found.ways if way.option == "today")
    assert refused["whole_life_cost"] is None and refused["life_not_known"] == "no way"
    assert found.least_over_life[0].startswith("Least over life: alloy at ")
    words = "\n".join(decision_lines(found))
    assert f"whole-life cost {best.row['whole_life_cost']:.2f}" in words and found.least_over_life[0] in words


@pytest.mark.parametrize(("change", "word"), [
    ((PRICES, ""), "costs without a price"), (("current = 300", "current = 5000"), "losses at 5000 A, of which it")])
def test_whole_life_cost_is_not_known_where_any_of_it_is_not(study, change, word):
    """Not 0, and the least over life is none of the ways it is not known of."""
    study.text = (study.text.replace(WIRE, PRICES + WIRE) + LIFE).replace(*change)
    with open_study(study.write()) as opened:
        found = decide(opened, "700", options=["alloy"])
    row = found.best.row
    assert np.isnan([row["whole_life_cost"], row["whole_life_cost_low"]]).all() and word in row["life_not_known"]
    assert found.least_over_life[0] == "The least over life is not known" and word in found.least_over_life[1]
    assert "whole-life cost not known" in "\n".join(decision_lines(found))


def test_money_stands_in_the_plan(study, tmp_path, capsys):
    """Table and layers against prices times what the layers hold; common practice, no source."""
    study.text = study.text.replace(WIRE, f"crew_hour_cost = 0.3\ncircuit_hour_cost = 0.5\ncurrency = 'kEUR'\n{WIRE}")
    status, told = run(capsys, study.write(), "--option", "alloy", "--folder", tmp_path / "p")
    assert status == 0
    layers = {name: pyogrio.read_dataframe(tmp_path / "p" / "plan.gpkg", layer=name)
              for name in ("costs", "plan", "work_items", "outages")}
    costs, outages = layers["costs"].set_index("part"), layers["outages"]
    assert set(costs["currency"]) == {"kEUR"}
    assert costs.loc["remedies", "cost"] == pytest.approx(layers["plan"]["cost"].sum()) == pytest.approx(told["cost"])
    assert costs.loc["wire", "cost"] == pytest.approx(2.0 * costs.loc["wire", "amount"])
    assert costs.loc["hours of crews", "cost"] == pytest.approx(0.3 * layers["work_items"]["hours"].sum())
    assert costs.loc["outages", "cost"] == pytest.approx(0.5 * outages["circuit_hours"].sum())
    assert outages["crew_hours"].sum() == pytest.approx(layers["work_items"]["hours"].sum())
    assert outages["cost"].sum() == pytest.approx(costs.loc[["hours of crews", "outages"], "cost"].sum())


def test_money_that_has_no_price_has_no_number(study, tmp_path, capsys):
    study.text = study.text.replace(WIRE, "circuit_hour_cost = 0.5\n")
    assert run(capsys, study.write(), "--option", "alloy", "--folder", tmp_path / "p")[0] == 0
    costs = pyogrio.read_dataframe(tmp_path / "p" / "plan.gpkg", layer="costs").set_index("part")
    outages = pyogrio.read_dataframe(tmp_path / "p" / "plan.gpkg", layer="outages")
    assert costs["cost"].isna().to_dict() == {"remedies": False, "wire": True, "hours of crews": True, "outages": False}
    assert set(costs["currency"]) == {"relative"}
    assert outages[["crew_cost", "cost"]].isna().all(axis=None) and (outages["circuit_cost"] > 0).all()


@pytest.mark.parametrize(("more", "word"), [
    (("--rating", "700", "--by", "soon"), "by"), (("--rating", "700", "--longest-outage", "long"), "longest-outage"),
    (("--by", "2027-06-01"), "by"), (("--rating", "700", "--cost-curve", "3"), "rating"), ((), "option"),
    (("--rating", "700", "--by", "2026-01-01"), "plan.calendar.start"), (("--rating", "-x"), "rating")])
def test_what_cannot_be_asked_is_refused(study, tmp_path, capsys, more, word):
    assert run_main("plan", str(study.write()), *more, "--folder", str(tmp_path / "p")) == 2
    assert word in capsys.readouterr().err and not (tmp_path / "p").exists()


def test_last_day_without_a_calendar_is_refused(tmp_path, capsys):
    study = two_wires(tmp_path / "study")
    assert run_main("plan", str(study.write()), "--rating", "700", "--by", "2027-06-01") == 2
    assert "plan.calendar" in capsys.readouterr().err


def test_files_for_people(study, tmp_path, capsys):
    """The calendar as a library reads it, layers with date-times, orders with a page each, requests by circuit."""
    status, told = run(capsys, study.write(), "--option", "alloy", "--folder", tmp_path / "p")
    assert status == 0
    folder = tmp_path / "p"
    events = icalendar.Calendar.from_ical((folder / "calendar.ics").read_bytes()).walk("VEVENT")
    assert len(events) == len(told["outages"]) >= 1
    for event, row in zip(events, told["outages"], strict=True):
        assert event.decoded("dtstart") == datetime.fromisoformat(row["start"])
        assert event.decoded("dtend") == datetime.fromisoformat(row["end"])
        assert str(event["summary"]).endswith("; ".join(row["circuits_out"]))
    outages = pyogrio.read_dataframe(folder / "plan.gpkg", layer="outages")
    assert outages["start"].dtype.kind == "M" and (outages["end"] > outages["start"]).all()
    items = pyogrio.read_dataframe(folder / "plan.gpkg", layer="work_items")
    for _, item in items.iterrows():
        own = outages[outages.outage == item.outage].iloc[0]
        assert own["start"] <= item["start"] < item["end"] <= own["end"]
    pages = pypdf.PdfReader(folder / "work_orders.pdf").pages
    assert len(pages) == len(items)
    words = "\n".join(page.extract_text() for page in pages)
    assert all(name in words for name in items["item"]) and "licensed engineer" in words
    requests = (folder / "switching.csv").read_text().splitlines()
    assert len(requests) == 1 + sum(len(row["circuits_out"]) for row in told["outages"])
    states = pyogrio.read_dataframe(folder / "plan.gpkg", layer="states", read_geometry=False)
    assert len(states) == len(outages) + 1 and states["limit_current_a"].notna().all()


def test_plan_of_other_data_is_refused(study, tmp_path, capsys):
    """A planned copy that somebody changes and checks again is no more what the plan beside it is for."""
    run(capsys, study.write(), "--option", "alloy", "--folder", tmp_path / "p")
    copy = tmp_path / "p" / "study.toml"
    assert run_main("report", copy, "--trust", "--overwrite") == 0
    copy.write_text(copy.read_text().replace("maximum_temperature = 150", "maximum_temperature = 140"))
    assert run_main("check", copy, "--trust") in (0, 1, 3)
    assert run_main("report", copy, "--trust", "--overwrite") == 2
    assert "another study" in capsys.readouterr().err


def test_loads_before_and_after(study, tmp_path, capsys):
    """The rows of both checks, looked up by hand: the maximum load of any wire and case."""
    status, _ = run(capsys, study.write(), "--option", "alloy", "--folder", tmp_path / "p")
    study.check()
    rows = pyogrio.read_dataframe(tmp_path / "p" / "plan.gpkg", layer="loads", read_geometry=False)
    plan = pyogrio.read_dataframe(tmp_path / "p" / "plan.gpkg", layer="plan", read_geometry=False)
    assert set(plan[plan.remedy == "raise"]["where"]) <= set(rows.structure)
    for column, path, option in (("today", study.path.parent / "findings.gpkg", "today"),
                                 ("planned", tmp_path / "p" / "findings.gpkg", "alloy")):
        loads = pyogrio.read_dataframe(path, layer="structure_loads", read_geometry=False)
        loads = loads[(loads.option == option) | loads.option.isna()]
        for _, row in rows.iterrows():
            own = loads[loads.structure == row.structure]
            for each in ("vertical", "transverse", "longitudinal"):
                assert row[f"{each}_{column}_n"] == pytest.approx(own[f"{each}_n"].abs().max(), abs=0.01)
            assert row[f"least_vertical_{column}_n"] == pytest.approx(own["vertical_n"].min(), abs=0.01)


@pytest.mark.parametrize("row", ["1,,A,2934,90000,90000\n", "1,,,5868,90000,90000\n"])
def test_a_way_whose_line_overloads_a_structure_is_none(tmp_path, capsys, row):
    """The new wire weighs 2.937 kN on structure 1 and the old one 2.932, by the layer `structure_loads`: of a capacity
    between them the planned copy is above, of one point or of the whole, and no remedy helps."""
    study = with_capacities(two_wires(tmp_path / "study", "window = '60 h'\n" + WIRE + CALENDAR), row)
    status, told = run(capsys, study.write(), "--rating", "700", "--folder", tmp_path / "p")
    way = next(way for way in told["ways"] if way["option"] == "alloy")
    assert status == 1 and told["chosen"] is None and not (tmp_path / "p" / "study.toml").exists()
    assert "the finished line fails its check" in way["refused"] and "of their capacity: 1" in way["refused"]
    with open_study(study.path) as opened:
        planned = planned_of(opened, "alloy")
        outages = outages_of(planned)
    assert planned.cleared and outages.grouped is None, "nor is there a state in which it is put back"
    assert any(words.startswith("in service after outage") and "1, " in words for words in outages.forbids)
