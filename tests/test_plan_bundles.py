"""Plans for bundles against plans for single wires that hang alike.

Two wires that share a string hang as one does on a string of half the mass. So a twin is planned as the single wire is
that must clear more by half the height of the pair, pulls at structures are twice, and a phase carries twice. None of
that is computed here: the plans of the two are held against each other, and worths of remedies against findings anew.
"""

from dataclasses import replace

import numpy as np
import pyogrio
import pytest
import shapely

from corridor.inputs.study_inputs import read_inputs
from corridor.planning.remedies.constraints import Basis, constraints_of
from corridor.planning.remedies.each_alone import each_alone
from corridor.planning.remedies.offered import alterations_of, offered_remedies
from corridor.planning.remedies.plan import plan_option, site_of
from corridor.planning.remedies.taken import taken
from corridor.planning.remedies.variants import assess_variant
from corridor.study import load_study
from tests.common import ask
from tests.end_to_end.conftest import EAST, NORTH, SECOND_OPTION, TinyStudy
from tests.test_plan import short_study
from tests.test_plan_remedies import hollow

SPACING = 0.4
BUNDLE = f"bundle = 2\nbundle_spacing = {SPACING}\nbundle_arrangement = 'vertical'\n"
RATING = "\n[rating]\nambient = 35\nwind_speed = 0.6\nsolar = 1000\n"
RATED = ("line", "structure", "wire", "case", "section_side")


def twin(study):
    """The study with every wire a vertical twin."""
    study.text = study.text.replace("[[options.stringing]]", BUNDLE + "[[options.stringing]]")
    return study


def single(study):
    """The study whose single wires hang as those of the twin do, and clear what the lower of these clears."""
    study.framings = study.framings.replace("1.4,40", "1.4,20")
    for old, new in (("4.5,", "4.7,"), ("5.6,", "5.8,")):
        assert old in study.rules and float(new[:-1]) - float(old[:-1]) == pytest.approx(SPACING / 2)
        study.rules = study.rules.replace(old, new)
    return study


def planned_pair(folder, made, keys, option="today"):
    """The plans of a twin, and of the single wire that hangs as it does; and the folders of their copies."""
    found = []
    for name, wires in (("twin", twin), ("single", single)):
        study = made(folder / name)
        study.text += f"{RATING}\n[plan]\n{keys}\n"
        wires(study)
        found.append(ask(study.write(), "plan", option, folder / f"{name} planned"))
    return found


def told(planned, layer, column, keys):
    rows = planned.layers[layer]
    return {key: value for *key, value in zip(*(rows[name] for name in keys), rows[column], strict=True)
            for key in [tuple(key)]}


def test_twin_is_planned_as_the_wire_that_hangs_alike(tmp_path):
    """The same remedies in as many rounds; the same margins; twice the pull on every structure; twice the current."""
    two, one = planned_pair(tmp_path, hollow, 'remedies = ["raise"]')
    assert two.before.short == one.before.short >= 2
    assert two.status == one.status == 0
    assert two.steps.tolist() == one.steps.tolist() and len(taken(two)["remedy"]) >= 2
    where = ("line", "span", "wire", "case", "against", "measure")
    for now, then in ((two.before, one.before), (two.after, one.after)):
        a, b = (told(each, "clearances", "margin_m", where) for each in (now, then))
        assert a.keys() == b.keys() and a == pytest.approx(b, abs=1e-5)
        assert set(now.layers["clearances"]["bundle_m"]) == {SPACING / 2}
        for pull in ("vertical_n", "transverse_n", "longitudinal_n"):
            a, b = (told(each, "structure_loads", pull, RATED) for each in (now, then))
            assert len(a) >= 20 and a == pytest.approx({key: 2 * value for key, value in b.items()}, rel=1e-5, abs=0.1)
        assert now.layers["sections"]["percent_rts"] == pytest.approx(then.layers["sections"]["percent_rts"], rel=1e-6)
    limits = [pyogrio.read_dataframe(tmp_path / f"{name} planned" / "findings.gpkg", layer="limits")
              for name in ("twin", "single")]
    amps = [dict(zip(each.span, each.limit_current_a, strict=True)) for each in limits]
    assert sum(np.isfinite(value) for value in amps[0].values()) >= 2
    assert amps[0] == pytest.approx({key: 2 * value for key, value in amps[1].items()}, rel=1e-4, nan_ok=True)


def test_check_of_the_copy_counts_the_lower_wire(tmp_path):
    """The files that a plan for twins writes are those of twins: a wire at the middle clears by half a spacing more."""
    two = twin(short_study(tmp_path / "study"))
    two.text += '\n[plan]\nremedies = ["raise"]\n'
    planned = ask(two.write(), "plan", "today", tmp_path / "plan")
    assert planned.before.short >= 3 and planned.status == 0
    written = pyogrio.read_dataframe(tmp_path / "plan" / "findings.gpkg", layer="clearances")
    assert written["margin_m"].min() >= 0 and set(written["bundle_m"]) == {SPACING / 2}
    assert np.sort(written["margin_m"]) == pytest.approx(np.sort(planned.after.layers["clearances"]["margin_m"]),
                                                         abs=1e-4)
    options = pyogrio.read_dataframe(tmp_path / "plan" / "findings.gpkg", layer="options")
    assert options["bundle"].tolist() == [2]


def opened(study):
    return read_inputs(load_study(study.write()))


def pulls_of(variant):
    """What wires pull down at suspension strings, (structure, wire, case) to the vertical load [N]."""
    rows = variant.layers["structure_loads"]
    own = rows["role"] == "suspension"
    return {key: value for *key, value in zip(*(rows[name][own] for name in ("structure", "wire", "case")),
                                              rows["vertical_n"][own], strict=True) for key in [tuple(key)]}


def raised(study, place):
    """What rows of a study say that a metre of raise of a structure adds, in m and kN by their words, and the findings
    without and with it."""
    study.text += '\n[plan]\nremedies = ["raise"]\n'
    inputs = opened(study)
    with inputs.terrain:
        site = site_of(inputs, "today")
        before = assess_variant(site)
        remedies = offered_remedies(site, before)[0]
        rows = constraints_of(Basis(site, remedies, before), before, np.zeros(len(remedies)))
        steps = np.where(remedies.place == place, 1.0 / remedies.step, 0.0)
        after = assess_variant(site, alterations_of(site, remedies, steps))
    return dict(zip(rows.name, rows.A @ (steps * remedies.step), strict=True)), before, after


@pytest.mark.parametrize("wires", [single, twin])
def test_what_a_raise_adds_to_pulls_is_of_all_wires(tmp_path, wires):
    """So much the findings of the line with the raise have, in still air within 5 %: the tension changes a little."""
    expected, before, after = raised(wires(hollow(tmp_path / "study")), 3)
    then, seen = pulls_of(after), 0
    for (structure, wire, case), value in pulls_of(before).items():
        added = 1e3 * expected.get(f"{structure}, wire {wire}, {case}: uplift", 0.0)
        if case != "swung" and abs(added) > 1:
            assert then[structure, wire, case] - value == pytest.approx(added, rel=0.05)
            seen += 1
    assert seen >= 8


@pytest.mark.parametrize("wires", [single, twin])
def test_what_a_raise_is_worth_in_space(tmp_path, wires):
    """A twin comes nearer than its middle by half a spacing in whatever direction, but a lift moves the middle.

    The worth is `dz / D` of half a metre at the middle of the span, D to the middle of the pair; that is the slope at
    the beginning, so the lift, away from what is below, gains more.
    """
    study = wires(TinyStudy(tmp_path / "study"))
    study.change('[right_of_way]\nhalf_width = "30 m"', "")
    study.rules += "tree,tree,radial,6.0,,,,,,\n"
    study.add_obstacle("trees", "tree", [shapely.Point(EAST + 150, NORTH + 7)], "height = 7.0")
    expected, before, after = raised(study, 1)
    c, then = before.layers["clearances"], after.layers["clearances"]
    i, = np.flatnonzero((c["measure"] == "radial") & (c["case"] == "hot"))
    z, aside = c["wire_elevation_m"][i] - c["other_elevation_m"][i], 3.0
    distance, near = np.hypot(z, aside), SPACING / 2 if wires is twin else 0.0
    # Strings that lean along the line move the wire aside by nothing, and its arms are square to the line.
    assert c["actual_m"][i] == pytest.approx(distance - near, abs=0.01) and 1 < z < 3
    worth = expected["1-2, wire A, hot, trees:1 (radial)"]
    assert worth == pytest.approx(0.5 * z / distance, rel=0.01)
    assert 0 < then["actual_m"][i] - c["actual_m"][i] - worth < 0.05


def test_loads_are_compared_with_those_of_the_wire_of_today(tmp_path):
    """A twin beside the single wire of today, strung alike: twice the load, so that no section may be strung tauter."""
    study = short_study(tmp_path / "study", lower=2.5)
    other = SECOND_OPTION.replace("264-AT1/62-ST1A", "264-AL1/62-ST1A").replace("150", "75")
    pair = other.replace("alloy", "pair").replace("[[options.stringing]]", BUNDLE + "[[options.stringing]]")
    study.change("[[cases]]", f"{other}{pair}\n[[cases]]")
    study.text += '\n[plan]\nremedies = ["tighten"]\nlargest_tightening = 0.4\nlargest_load_ratio = 1.5\n'

    def ratio(variant):
        return variant.layers["structure_loads"]["ratio_to_existing"].astype(float)

    inputs = opened(study)
    with inputs.terrain:
        one = ratio(assess_variant(site_of(inputs, "alloy")))
        site = site_of(inputs, "pair")
        held = plan_option(site)
        loose = plan_option(replace(site, prices=site.prices.model_copy(update={"largest_load_ratio": 3.0})))
    two = ratio(held.before)
    assert one.max() == pytest.approx(1.0, abs=2e-3) and two.max() == pytest.approx(2.0, abs=0.01)
    # What a string weighs the twin does not double; a strain string weighs nothing here.
    assert ((1.8 * one <= two) & (two <= 2.02 * one)).all()
    assert held.before.short and not held.cleared
    assert loose.cleared and 2.0 < ratio(loose.after).max() <= 3.0


def test_each_remedy_alone_is_that_of_the_wire_that_hangs_alike(tmp_path):
    """Of the worst violation: the same amounts, cubic metres and gains, and the limit current of the twin twice."""
    found = []
    for name, wires in (("twin", twin), ("single", single)):
        study = wires(hollow(tmp_path / name))
        study.text += f'{RATING}\n[plan]\nremedies = ["raise", "grade"]\nlargest_cut = 5\n'
        inputs = opened(study)
        with inputs.terrain:
            planned = plan_option(site_of(inputs, "today"))
            found.append((planned, each_alone(planned, {}, worst=1)))
    (planned, two), (other, one) = found
    assert planned.cleared and planned.steps.tolist() == other.steps.tolist() and planned.rounds == other.rounds
    for column in ("span", "remedy", "where", "clears"):
        assert two[column].tolist() == one[column].tolist()
    assert {"raise one structure", "grade the ground", "derate"} <= set(two["remedy"][two["clears"] == True])  # noqa: E712
    for column in ("amount", "gain_m", "cost"):
        assert two[column].astype(float) == pytest.approx(one[column].astype(float), rel=1e-4, abs=1e-4, nan_ok=True)
    amps = [[int(note.split(", ")[1].split()[0]) for note in rows["note"] if note and "A per phase" in note]
            for rows in (two, one)]
    assert len(amps[1]) >= 1 and amps[0] == pytest.approx(2 * np.array(amps[1]), abs=1.5)
