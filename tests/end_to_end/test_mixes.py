"""Another option in some sections only: its rows against those of the options that hang there, its loads by hand."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

import corridor
from corridor.assessment import assess_spans
from corridor.errors import InputError
from corridor.jobs.compare_lines import compare_lines
from corridor.jobs.report_extras import pack_curves, string_sections
from corridor.outputs.files import Files
from corridor.planning.decision import decide, decision_lines, write_decision
from corridor.planning.outages.costs import costs_of
from corridor.planning.outages.outages import outages_of
from corridor.planning.outages.work import pull_times
from corridor.planning.remedies.alterations import NONE, Change, unaltered
from corridor.planning.remedies.mixed import mix_tables
from corridor.planning.remedies.plan import site_of
from corridor.planning.remedies.variants import assess_variant
from corridor.session import open_study
from tests.common import ask
from tests.end_to_end.conftest import SECOND_OPTION, line_of
from tests.test_decision import CALENDAR, WIRE
from tests.test_states import RATING, two_wires

MIX = '[[mixes]]\nname = "mix"\noption = "today"\n[[mixes.in_sections]]\noption = "alloy"\nsections = ["3-6"]\n'
#: The option of each section of the mix.
HANGS = {"1-3": "today", "3-6": "alloy", "6-7": "today"}
LIFE = ("[[plan.wires]]\noption = \"alloy\"\ncost_per_km = 10\n[plan.life]\nyears = 10\ndiscount_rate = 0\n"
        "energy_price = 1\n[[rating.loads]]\ncurrent = 300\nduration = '8760 h'\n")


def seen(folder):
    """Two wires of which it is known what loads have come, so that each has one end of its history."""
    study = two_wires(folder)
    study.text = study.text.replace("maximum_temperature", "loads_seen = true\nmaximum_temperature")
    return study


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    study = seen(tmp_path_factory.mktemp("mixed") / "study")
    study.text += MIX + LIFE
    return study


@pytest.fixture(scope="module")
def mixed(study):
    return study.check()


@pytest.fixture(scope="module")
def alone(tmp_path_factory):
    """The same study without the mix."""
    return seen(tmp_path_factory.mktemp("alone") / "study").check()


LAYERS = ("sections", "wires", "clearances", "violations", "limits", "structure_loads", "swing_envelopes",
          "violation_stretches", "clipping_offsets", "fields")


@pytest.mark.parametrize("layer", LAYERS)
def test_each_section_is_what_the_option_that_hangs_there_is_alone(mixed, alone, layer):
    """To the last digit but nine: every column of every row, looked up in a check that knows no mix."""
    rows, known = mixed[layer], alone[layer]
    if "section" not in rows:
        of = alone["spans"].set_index("span")["section"]
        rows, known = (each.assign(section=each["span"].map(of)) for each in (rows, known))
    rows = rows[rows.option == "mix"]
    here = known[known.option == known.section.map(HANGS)]
    assert len(rows) == len(here) and (len(rows) > 0) == (len(known) > 0)
    names = [name for name in rows if name not in ("option", "geometry")]
    order = [name for name in ("section", "span", "structure", "wire", "wire_kind", "case", "against", "measure")
             if name in rows]
    pd.testing.assert_frame_equal(*(each.sort_values(order, kind="stable")[names].reset_index(drop=True)
                                    for each in (rows, here)), rtol=1e-9, atol=1e-9, check_dtype=False)
    for name in ("today", "alloy"):  # and what the options are alone is what it was
        pd.testing.assert_frame_equal(*(each[each.option == name][names].sort_values(order, kind="stable").reset_index(
            drop=True) for each in (mixed[layer].merge(alone["spans"][["span", "section"]]) if "section" not in
                                    mixed[layer] else mixed[layer], known)), rtol=1e-9, atol=1e-9, check_dtype=False)


def test_where_wires_change_the_structure_holds_the_difference_of_their_pulls(mixed, alone):
    """By hand: what the section back of it pulls with one wire, and that ahead with the other, summed over the wires.
    Statics: the resultant of both."""
    loads, whole = alone["structure_loads"], mixed["structure_capacity"]
    assert set(whole.structure) == {"3", "6"} and set(whole.capacity[whole.option != "mix"]) == {"not given"}
    assert set(whole.capacity[whole.option == "mix"]) == {"not given; wires change here"}
    for structure, back, ahead in (("3", "today", "alloy"), ("6", "alloy", "today")):
        for case in ("hot", "ice"):
            own = loads[(loads.structure == structure) & (loads.case == case)]
            sides = pd.concat([own[(own.section_side == side) & (own.option == option)]
                               for side, option in (("back", back), ("ahead", ahead))])
            row = whole[(whole.structure == structure) & (whole.case == case) & (whole.option == "mix")].iloc[0]
            assert len(sides) == 4
            assert row.factored_longitudinal_n == pytest.approx(abs(sides.longitudinal_n.sum()), abs=1e-6)
            assert row.factored_vertical_n == pytest.approx(abs(sides.vertical_n.sum()), rel=1e-9)
            # The line is straight: along it two wires pull with their horizontal tension.
            H = mixed.rows("sections", option="mix", case=case, wire_kind="phase").set_index(
                "section").horizontal_tension_n
            sections = ("1-3", "3-6") if structure == "3" else ("3-6", "6-7")
            assert row.factored_longitudinal_n == pytest.approx(2 * abs(H[sections[0]] - H[sections[1]]), rel=0.02)
    hot = whole[(whole.case == "hot") & (whole.structure == "3")].set_index("option").factored_longitudinal_n
    assert hot["mix"] > 50 * max(hot["today"], hot["alloy"]), "one wire at 75 °C beside one at 150 °C"
    assert any("mix: wires change" in words and "kN along it" in words for words in mixed.result.warnings)


def test_a_mix_carries_the_least_and_loses_the_mean(study, mixed):
    limits, options = mixed["limits"], mixed["options"].set_index("option")
    ladder = mixed["ladder"].query("option == 'mix'").sort_values("spans_fixed")
    least = limits[limits.option == "mix"].limit_current_a.min()
    assert ladder.limit_current_a.iloc[0] == pytest.approx(least)
    assert ladder.limit_current_a.iloc[-1] == pytest.approx(options.continuous_current_a[["today", "alloy"]].min())
    assert options.continuous_current_a["mix"] == options.continuous_current_a["today"]
    compared = ask(study.path, "compare")
    spans = mixed["spans"]
    share = spans[spans.section == "3-6"].length_m.sum() / spans.length_m.sum()
    today, alloy, mix = compared.energy
    assert mix == pytest.approx((1 - share) * today + share * alloy, rel=1e-6)
    assert compared.names == ["today", "alloy", "mix"]
    assert compared.life.first == pytest.approx([0, 10, 10 * share], rel=1e-6)
    assert compared.life.losses[1] == pytest.approx(10 * np.array(compared.energy))


def test_without_currents_the_ladder_names_the_spans_of_a_mix(tmp_path):
    """Those with violations, by hand: of `limits`, what is not at the maximum temperature. No limit of the line."""
    other = two_wires(tmp_path / "study")
    other.text = other.text.replace(RATING, "") + MIX
    found = other.check()
    ladder = found["ladder"].query("option == 'mix'").sort_values("spans_fixed")
    limits = found["limits"].query("option == 'mix' and governs != 'maximum temperature'")
    assert ladder.limiting_span[:-1].tolist() == limits.sort_values("limit_temperature_c").span.tolist() != []
    assert ladder.limit_temperature_c.isna().all() and ladder.limit_current_a.isna().all()
    assert ladder.note.str.contains("without currents none is the limit of the line").all()
    with open_study(other.path) as opened:
        mix = pd.DataFrame(compare_lines(opened).lines).set_index("option").loc["mix"]
    assert mix["limiting_span"] == "3-4" and mix["limited_by"] == "ground, hot"


def test_with_a_capacity_the_difference_of_pulls_is_held_to_it(tmp_path):
    """4.3 kN of 2 kN along the line: no option alone is above it, the mix is."""
    other = two_wires(tmp_path / "study")
    (other.path.parent / "capacity.csv").write_text(
        "structure,framing,wire,vertical,transverse,longitudinal\n3,,,60000,60000,2000\n6,,,60000,60000,2000\n",
        encoding="utf-8")
    other.text += MIX + '[capacity]\nfile = "capacity.csv"\n'
    found = other.check()
    whole = found["structure_capacity"]
    over = whole[whole.over_capacity == True]  # noqa: E712
    assert set(over.option) == {"mix"} and set(over.structure) == {"3", "6"}
    assert found.result.of_options["mix"].over_capacity == 1 and not found.result.of_options["alloy"].over_capacity
    assert not any("wires change" in words for words in found.result.warnings)
    # Of a structure that no wires change at nothing is said of it, whatever is not given.
    table = other.path.parent / "capacity.csv"
    table.write_text(table.read_text().replace("6,,,60000,60000,2000", "6,,,60000,60000,\n5,,,60000,60000,"))
    told, = (words for words in other.check().result.warnings if "wires change" in words)
    assert "6 (" in told and "5 (" not in told and "3 (" not in told


def test_the_page_draws_the_option_that_hangs_in_a_section(study):
    plain = SimpleNamespace(array=np.asarray, whole=lambda values, _: np.asarray(values), codes=list)
    with open_study(study.write()) as opened:
        facts, plan, _ = opened.laid_out
        curves = pack_curves(facts, plan, *string_sections(facts, plan), plain)
    assert curves["section"] == list(HANGS) and len(curves["temperature"]) == 2
    assert curves["hangs"].reshape(3, 3).tolist() == [[0, 1, 0], [0, 1, 1], [0, 1, 0]]


def test_workers_find_the_same(study, mixed):
    """In parts of a batch, and of many, put together again."""
    with open_study(study.path) as opened:
        facts, plan, ground = opened.laid_out
        whole, parts = assess_spans(facts, plan, ground, 0, 5), [assess_spans(facts, plan, ground, *ends)
                                                                for ends in ((0, 1), (2, 4), (5, 5))]
    for layer in ("clearances", "structure_loads", "limits"):
        found = np.concatenate([part[layer]["option"] for part in parts])
        assert found.tolist() == whole[layer]["option"].tolist()
        name = next(name for name in ("margin_m", "vertical_n", "limit_current_a") if name in whole[layer])
        np.testing.assert_allclose(np.concatenate([part[layer][name] for part in parts]), whole[layer][name],
                                   rtol=1e-9, atol=1e-9)
    assert sum(len(part["structure_totals"][0]) for part in parts) == len(whole["structure_totals"][0])


@pytest.mark.parametrize(("old", "new", "word"), [
    ('name = "mix"', 'name = "alloy"', "mixes"), ('"3-6"', '"3-5"', "3-6"), ('"3-6"]', '"3-6", "3-6"]', "twice"),
    ('option = "today"\n[[mixes', 'option = "alloy"\n[[mixes', "in all sections"),
    ('option = "alloy"\nsections', 'option = "ally"\nsections', "alloy"),
    ('sections = ["3-6"]', 'sections = ["3-6"]\nline = "other"', "main")])
def test_what_is_no_mix_is_refused(tmp_path, old, new, word):
    other = two_wires(tmp_path / "study")
    assert old in MIX
    other.text += MIX.replace(old, new)
    with pytest.raises(InputError, match=word), open_study(other.write()) as opened:
        opened.laid_out  # noqa: B018


def test_bundles_of_a_mix_are_alike(tmp_path):
    other = two_wires(tmp_path / "study")
    other.text = other.text.replace('name = "alloy"', 'name = "alloy"\nbundle = 2\nbundle_spacing = "0.4 m"') + MIX
    with pytest.raises(InputError, match="subconductors"):
        other.check()


def test_near_a_line_with_what_no_option_hangs_there_it_is_not_assessed(make, tmp_path):
    """Two lines 25 m apart: the wire of today here beside a new one there is compared by no option."""
    study = make.TinyStudy(tmp_path / "study")
    first, second = line_of(4), line_of(4, line="second").assign(northing=lambda rows: rows.northing + 25)
    study.structures = pd.concat([first, second], ignore_index=True)
    study.text += SECOND_OPTION + MIX.replace('sections = ["3-6"]', 'line = "second"\nsections = ["1-3", "3-4"]')
    found = study.check()
    gaps = found["not_assessed"]
    gaps = gaps[gaps.option == "mix"]
    assert set(gaps.line) == {"main"} and gaps.reason.str.contains("today hangs here and alloy there").all()
    limits = found["limits"]
    own = limits[(limits.option == "mix") & (limits.line == "main")]
    assert set(own.governs) == {"not assessed"} and own.limit_temperature_c.isna().all()
    assert found.result.of_options["mix"].status != 0
    # From the other line both are compared: it is beside the wire of today.
    assert "not assessed" not in set(limits[(limits.option == "mix") & (limits.line == "second")].governs)
    planned = ask(study.path, "plan", "mix", tmp_path / "plan")
    assert planned.cleared and "today hangs here and alloy there" in planned.changes[1] and planned.status == 3


def with_capacity(study, along):
    """The study with what the structures bear at which wires change; ample but along the line."""
    rows = "".join(f"{structure},,,90000,90000,{along}\n" for structure in ("3", "6"))
    (study.path.parent / "capacity.csv").write_text(f"structure,framing,wire,vertical,transverse,longitudinal\n{rows}",
                                                    encoding="utf-8")
    study.text += '[capacity]\nfile = "capacity.csv"\n'
    return study


def test_a_mix_is_planned_and_its_copy_checks(tmp_path):
    """Wire is pulled where it is new alone, and the copy is a study of its own in which the mix is clear."""
    study = with_capacity(two_wires(tmp_path / "study", "window = '60 h'\n" + WIRE + CALENDAR), 6000)
    study.text += MIX
    planned = ask(study.write(), "plan", "mix", tmp_path / "plan")
    assert planned.before.short == 2 and planned.cleared and planned.status == 0 and planned.changes == ("", "")
    outages = outages_of(planned)
    assert [item.name for item in outages.work if item.kind == "pull"] == ["pull 3-6"]
    assert outages.states[-1].pulled == ("3-6",) and all(state.safe for state in outages.states)
    length = planned.site.plan.spans.length[2:5].sum() / 1e3
    wire, = (each for each in costs_of(planned, outages) if each.part == "wire")
    assert wire.amount == pytest.approx(length) and wire.cost == pytest.approx(2 * length)
    checked = corridor.check_study(tmp_path / "plan" / "study.toml", trust=True)
    assert set(checked.of_options) == {"today", "alloy", "mix"} and checked.of_options["mix"].status == 0
    # What the last state carries is the least limit of the mix in the copy, all along.
    with open_study(tmp_path / "plan" / "study.toml", trust=True) as copy:
        limits = copy.limits().limits
    own = limits["limit_current_a"][limits["option"] == "mix"].astype(float)
    assert outages.states[-1].current == pytest.approx(own.min(), abs=1e-3)


def test_the_wire_of_today_stays_where_it_carries_what_is_asked_for(tmp_path):
    """560 A, of which today's wire carries 557 in one span: the new wire is hung in its section alone, for less."""
    study = with_capacity(two_wires(tmp_path / "study", "window = '60 h'\n" + WIRE + CALENDAR), 6000)
    with open_study(study.write()) as opened:
        found = decide(opened, "560", options=["alloy"])
        decision = write_decision(opened, found, tmp_path, Files(opened.guard()))
    whole, mixed = (next(way for way in found.ways if way.option == name) for name in ("alloy", "alloy where needed"))
    assert mixed.kept == 2 and whole.kept is None and not mixed.refused and not mixed.unknown
    assert mixed.carried >= 560 - 0.5 and mixed.cost < whole.cost
    assert found.best is mixed and "stays in 2 sections" in "\n".join(decision_lines(found))
    assert decision.best.planned.checked.violations == 0 and decision.best.planned.status == 0
    with open_study(study.path) as opened:  # the wire that hangs today is a way, too, which nothing is pulled for
        today = decide(opened, "560", options=["today"]).best
    assert today.option == "today" and not today.outages.rows[0]["items"][0].startswith("pull")


def test_a_mix_of_the_study_gives_a_rating_as_it_is(tmp_path):
    """No mix is made of it: of 700 A its section with the existing wire carries 607."""
    study = with_capacity(two_wires(tmp_path / "study", "window = '60 h'\n" + WIRE + CALENDAR), 6000)
    study.text += MIX
    with open_study(study.write()) as opened:
        way, = decide(opened, "560", options=["mix"]).ways
        most = opened.laid_out.facts.heat.current_at(0, 75)
        assert way.option == "mix" and not way.refused and 560 - 0.5 <= way.carried <= most
        refused, = decide(opened, "700", options=["mix"]).ways
    assert f"carries {most:.0f} A" in refused.refused


@pytest.mark.parametrize(("along", "word"), [("", "no capacity along the line"), ("300", "where wires change at")])
def test_a_mix_that_structures_may_not_bear_is_no_way_before_others(tmp_path, along, word):
    """0.8 kN along the line: refused above what is borne, and behind all else where that is not known."""
    study = with_capacity(two_wires(tmp_path / "study", "window = '60 h'\n" + WIRE + CALENDAR), along)
    with open_study(study.write()) as opened:
        # Long enough to pull all at once: in between wires change, too.
        found = decide(opened, "560", longest=240, options=["alloy"])
    mixed = next(way for way in found.ways if way.option == "alloy where needed")
    assert word in (mixed.refused if along else mixed.unknown)
    assert found.best.option == "alloy" and found.best.cost > 0


def test_a_mix_of_more_than_one_new_wire_is_not_planned(tmp_path):
    study = two_wires(tmp_path / "study")
    study.text += SECOND_OPTION.replace('"alloy"', '"other"') + MIX.replace('option = "today"', 'option = "other"')
    with pytest.raises(InputError, match="the existing option in some sections"):
        ask(study.write(), "plan", "mix", tmp_path / "plan")


CREW = ("[stringing.crew]\nsetup_duration = '2 h'\npull_speed = '0.8 m/s'\nsag_duration = '1 h'\n"
        "clip_duration = '20 min'\n")


def test_a_section_that_remedies_cut_in_two_hangs_what_it_did(tmp_path):
    """A strain structure more in the section with the new wire; and the crew of the study pulls it alone."""
    study = two_wires(tmp_path / "study")
    study.text += MIX + CREW
    with open_study(study.write()) as opened:
        site = site_of(opened.inputs, "mix")
        assert site.strung == "alloy" and site.renewed.tolist() == [False, True, False]
        assert pull_times(site)[0] == ["pull 3-6"]
        done = replace(unaltered(site), changes=tuple(
            Change(string="strain") if name == "5" else NONE for name in site.facts.structures.structure))
        after = assess_variant(site, done)
    assert after.line.plan.sections.name.tolist() == ["1-3", "3-5", "5-6", "6-7"]
    assert mix_tables(site, after) == [{"name": "mix", "option": "today", "in_sections": [
        {"option": "alloy", "line": "main", "sections": ["3-5", "5-6"]}]}]
    assert set(after.layers["wires"]["option"]) == {"mix"}
