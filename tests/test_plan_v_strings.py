"""V-strings as a remedy for what swings too far: planned, written as files, read again and checked in full."""

from dataclasses import replace

import numpy as np
import pandas
import pyogrio
import pytest

from corridor.arrays import take
from corridor.errors import InputError
from corridor.inputs.framings import read_framings
from corridor.planning.outages.work import list_work
from corridor.planning.remedies.alterations import Change, Vee, change_structures
from corridor.planning.remedies.each_alone import each_alone
from corridor.planning.remedies.offered import alterations_of
from corridor.planning.remedies.plan import plan_option, site_of
from corridor.planning.remedies.taken import plan_lines, taken
from corridor.planning.remedies.variants import assess_variant, clears
from corridor.session import open_study
from tests.common import ask, framings, structures
from tests.end_to_end.conftest import NORTH, TinyStudy, line_of

#: What a V is and costs.
VEE = 'v_string_cost = 2.5\nv_string_depth = "1.4 m"\nv_string_angle = 100\nv_string_mass = "176 lb"\n'
HALF_WIDTH = 8.7


def narrow(folder, plan=VEE + 'v_string_structures = ["2"]\n', *, width=HALF_WIDTH, kinds=("v_string",), string=2.2):
    """Two spans with a suspension structure between them, and one more; the wires of both blow out of the right of
    way at their middle, as their strings of 2.2 m swing."""
    study = TinyStudy(folder)
    study.framings = study.framings.replace("1.4,40", f"{string},40")
    study.change('half_width = "30 m"', f"half_width = {width}")
    names = ", ".join(f'"{kind}"' for kind in kinds)
    study.text += f"\n[plan]\nremedies = [{names}]\n{plan}"
    return study


def margins(findings):
    """The minimum margin to the edge of the right of way of each span."""
    c = findings["clearances"] if isinstance(findings, dict) else findings
    rows = np.flatnonzero(c["against"] == "right_of_way")
    return {span: min(c["margin_m"][i] for i in rows if c["span"][i] == span) for span in set(c["span"][rows])}


def test_a_v_holds_the_wires_within_the_right_of_way(tmp_path):
    """Half of what the string swung aside is gained at mid-span: `l sin(phi)/2`, and little more or less as wires
    hang otherwise."""
    study = narrow(tmp_path / "study")
    planned = ask(study.write(), "plan", "today", tmp_path / "plan")
    before, after = (margins(each.layers) for each in (planned.before, planned.after))
    assert planned.before.short and min(before["1-2"], before["2-3"]) < 0 <= min(after["1-2"], after["2-3"])
    assert planned.status == 0 and planned.checked.status == 0, plan_lines(planned)
    assert planned.cost == 2.5 and taken(planned)["remedy"] == ["v_string"] and taken(planned)["where"] == ["2"]
    loads = planned.before.layers["structure_loads"]
    swing = max(loads["swing_right_deg"][(loads["structure"] == "2") & (loads["case"] == "swung")])
    gained = after["1-2"] - before["1-2"]
    assert gained == pytest.approx(2.2 * np.sin(np.radians(swing)) / 2, abs=0.12)
    # The check reads what was written: margins within 0.1 mm.
    written = pyogrio.read_dataframe(tmp_path / "plan" / "findings.gpkg", layer="clearances")
    found = planned.after.layers["clearances"]
    assert np.sort(written["margin_m"].to_numpy()) == pytest.approx(np.sort(found["margin_m"].astype(float)), abs=1e-4)
    f = read_framings(tmp_path / "plan" / "framings.csv")
    rows = np.flatnonzero(f.framing == "hang vee")
    assert f.string[rows].tolist() == ["vee"] * 2 and f.vee_angle[rows] == pytest.approx(100)
    assert f.string_length[rows] == pytest.approx(1.4) and f.string_mass[rows] == pytest.approx(176 * 0.45359237)
    assert f.height[rows].tolist() == [19.0, 20.0] and np.isnan(f.vee_angle[f.framing == "hang"]).all()
    item, = list_work(planned)
    assert (item.kind, item.name, item.hours) == ("strings", "2: V-strings for strings", 6.0)


def test_framings_of_an_earlier_plan_stay_what_they_are(tmp_path):
    """A copy that is planned again has a framing of the name that the same change gets: it is another's."""
    study = narrow(tmp_path / "study")
    study.framings += "hang vee,A,phase,1,-4,19,post,,\nhang vee,B,phase,1,5,20,post,,\n"
    planned = ask(study.write(), "plan", "today", tmp_path / "plan")
    assert planned.cleared and planned.status == 0
    f = planned.after.line.facts.framings
    for each in (f, read_framings(tmp_path / "plan" / "framings.csv")):
        assert {*zip(each.framing, each.string, strict=True)} == {
            ("hold", "strain"), ("hang", "suspension"), ("hang vee", "post"), ("hang vee, again", "vee")}
    changes, f = [Change(1.0, string="post"), Change(1.0)], planned.site.facts.framings
    x = replace(take(planned.site.facts.structures, np.arange(3)),
                framing=np.array(["hang", "hang post", "hang"], object))
    f = replace(f, framing=np.where(f.framing == "hang vee", "hang post", f.framing))
    y, g = change_structures(x, f, [*changes, changes[0]])
    assert y.framing.tolist() == ["hang post +1 m", "hang post +1 m, again", "hang post +1 m"]
    assert (g.framing == y.framing[1]).sum() == 2


def test_arms_that_would_be_slack_are_no_remedy(tmp_path):
    """Arms of 20 degrees: in the wind that is to be remedied one goes slack, and the plan says what forbids it."""
    study = narrow(tmp_path / "study", VEE.replace("100", "40") + 'v_string_structures = ["2"]\n')
    planned = ask(study.write(), "plan", "today", tmp_path / "plan")
    assert not planned.cleared and planned.status == 1 and planned.forbids
    with open_study(study.write()) as opened:
        site = site_of(opened.inputs, "today")
        steps = np.ones(len(planned.remedies), int)
        found = assess_variant(site, alterations_of(site, planned.remedies, steps))
    assert any("an arm of the V-string at structure 2 is slack" in why
               for why in found.layers["not_assessed"]["reason"])
    assert not clears(found, planned.before)


@pytest.mark.parametrize(("plan", "told"), [
    ("", "plan.v_string_cost, plan.v_string_depth, plan.v_string_angle, plan.v_string_mass"),
    (VEE.partition("\n")[2], "what V-strings are and cost (plan.v_string_cost)"),
    (VEE, "no structure near is named of which the crossarms have room for both arms (plan.v_string_structures)"),
    (VEE + 'v_string_structures = ["3"]\n', "no structure near is named"),
    (VEE + 'v_string_structures = ["2"]\nuntouched = ["2"]\n', "no structure near may be touched")])
def test_what_is_not_said_is_not_offered(tmp_path, plan, told):
    """What a V is, what it costs and where its arms have room: nothing of it is assumed."""
    study = narrow(tmp_path / "study", plan)
    with open_study(study.write()) as opened:
        planned = plan_option(site_of(opened.inputs, "today"))
    assert told in planned.refused["v_string"] and not len(planned.remedies)
    assert any("v_string" in line and told in line for line in plan_lines(planned))


def test_without_wind_there_is_no_v(tmp_path):
    study = narrow(tmp_path / "study", VEE + 'v_string_structures = ["2"]\n', width=30)
    study.rules = study.rules.replace("4.5,0.01,23", "9.5,0.01,23")
    with open_study(study.write()) as opened:
        planned = plan_option(site_of(opened.inputs, "today"))
    assert planned.before.short and planned.refused["v_string"] == "no violation is of wires in wind"


def test_a_name_that_structures_of_two_lines_have_is_refused(tmp_path):
    """Somebody has looked at one of them: nothing tells at which. Line by line, too."""
    study = narrow(tmp_path / "study", VEE + 'v_string_structures = ["2"]\n')
    study.structures = pandas.concat([study.structures, line_of(3, line="far").assign(northing=NORTH + 300)])
    for job, *more in (("plan", tmp_path / "plan"), ("plan_each_line",)):
        with pytest.raises(InputError, match="structures.0: found '2', a structure of each of far, main"):
            ask(study.write(), job, "today", *more)
    assert not (tmp_path / "plan").exists()


def test_a_structure_that_is_none_is_refused(tmp_path):
    study = narrow(tmp_path / "study", VEE + 'v_string_structures = ["22"]\n')
    with open_study(study.write()) as opened, pytest.raises(InputError, match=r"plan.v_string_structures.0"):
        site_of(opened.inputs, "today")


@pytest.mark.parametrize("cost", [0.5, 3.0])
def test_the_cheapest_of_a_v_and_posts(tmp_path, cost):
    """All ways are looked at in full: none that clears costs less than the plan."""
    study = narrow(tmp_path / "study", VEE.replace("2.5", f"{cost}") + 'v_string_structures = ["2"]\n'
                   "post_cost = 1.0\n", kinds=("v_string", "post"))
    with open_study(study.write()) as opened:
        planned = plan_option(site_of(opened.inputs, "today"))
        m, site, ways = planned.remedies, planned.site, []
        for chosen in np.ndindex(*(m.most.astype(int) + 1)):
            steps = np.array(chosen)
            alike = (m.place[steps > 0] == 1).sum() > 1
            found = None if alike else assess_variant(site, alterations_of(site, m, steps), planned.before)
            if found is not None and clears(found, planned.before):
                ways.append(m.cost(steps).sum())
    assert planned.cleared and planned.cost == pytest.approx(min(ways))
    assert set(m.kind[planned.steps > 0]) == {"v_string" if cost < 1 else "post"}


def test_alone_in_the_table_of_remedies(tmp_path):
    study = narrow(tmp_path / "study")
    with open_study(study.write()) as opened:
        planned = plan_option(site_of(opened.inputs, "today"))
        rows = each_alone(planned, {"other": set()})
    own = np.flatnonzero(rows["remedy"] == "change strings to V-strings")
    assert len(own) and rows["clears"][own].all() and set(rows["where"][own]) == {"2"}
    assert (rows["gain_m"][own] > 0.2).all() and set(rows["cost"][own]) == {2.5}


def test_changed_framings():
    """Suspension strings of phases alone; twice the area of the string in the wind where the study gives none."""
    f = framings([("hang", "a", "phase", 4.0, 20.0, "suspension", 2.0, 40.0),
                  ("hang", "s", "shield", 0.0, 25.0, "suspension", 0.3, 4.0)])
    object.__setattr__(f, "string_area", np.array([0.6, 0.1]))
    x = structures([0, 300, 600], [0, 0, 0], base=0.0, framing="hang")
    for area, told in ((None, 1.2), (0.9, 0.9)):
        y, g = change_structures(x, f, [Change(), Change(1.0, string="vee", vee=Vee(1.6, 95.0, 80.0, area)), Change()])
        rows = np.flatnonzero(g.framing == "hang vee +1 m")
        assert y.framing.tolist() == ["hang", "hang vee +1 m", "hang"] and y.role[1] == "suspension"
        assert g.string[rows].tolist() == ["vee", "suspension"] and g.height[rows].tolist() == [21.0, 26.0]
        assert g.string_length[rows].tolist() == [1.6, 0.3] and g.string_mass[rows].tolist() == [80.0, 4.0]
        assert g.string_area[rows] == pytest.approx([told, 0.1])
        assert g.vee_angle[rows[0]] == 95.0 and np.isnan(np.delete(g.vee_angle, rows[0])).all()
    assert Change(1.0, string="vee").words == "raise by 1 m, V-strings for strings"
