"""Two circuits on one line: what is out for which work, how long it takes, who does it, and what hangs in between."""

import csv
import json
from dataclasses import replace

import icalendar
import numpy as np
import pyogrio
import pypdf
import pytest
from matplotlib.image import imread

from corridor.errors import InputError
from corridor.planning.outages import files
from corridor.planning.outages import outages as scheduled
from corridor.planning.outages import schedule as scheduling
from corridor.planning.outages import states as states_module
from corridor.planning.outages.outages import outages_of
from corridor.planning.outages.states import states_of
from corridor.planning.outages.work import list_work
from corridor.planning.remedies.alterations import NONE
from corridor.planning.remedies.taken import write_remedies
from corridor.session import open_study
from corridor.study import load_study
from tests.common import run
from tests.end_to_end.conftest import line_of
from tests.test_states import planned_of, two_wires

#: Two circuits of three phases, one on each side.
FRAMINGS = "framing,wire,kind,circuit,offset,height,string,string_length,string_mass\n" + "".join(
    f"{framing},{wire},phase,{circuit},{offset},{height + lift},{string}\n"
    for framing, lift, string in (("hold", 0, "strain,,"), ("hang", 1, "suspension,1.4,40"))
    for circuit, wires in (("north", "ABC"), ("south", "UVW"))
    for wire, offset, height in zip(wires, np.array([4, 6, 4]) * (1 if circuit == "north" else -1), (18, 22, 26),
                                    strict=True))
NORTH, SOUTH = "main, circuit north", "main, circuit south"
#: Pulls circuit by circuit.
OWN = '[[plan.outage_needs]]\nkind = "pull"\nout = "own"\n'
DATES = "[plan.calendar]\nstart = 2027-03-01\n"


def line(folder, plan=""):
    study = two_wires(folder, "window = '100 h'\n" + plan)
    study.framings, study.structures = FRAMINGS, line_of(4)
    return study


@pytest.fixture(autouse=True)
def _soon(monkeypatch):
    """Groupings that are good enough: the solver stops soon."""
    for module in (scheduled, files):
        monkeypatch.setattr(module, "schedule", lambda work, prices, aim, *_, together=(): scheduling.schedule(
            work, prices, aim, 0.3, together))


@pytest.fixture(scope="module")
def opened(tmp_path_factory):
    """The line with wires of both circuits pulled at once, planned."""
    with open_study(line(tmp_path_factory.mktemp("two") / "study", DATES).write()) as study:
        yield study, planned_of(study, "alloy")


def under(opened, text):
    """The same plan with other keys of the table [plan]."""
    study, planned = opened
    study_text = line(study.study.path.parent / "more").text.partition("[plan]")[0]
    path = study.study.path.with_name("other.toml")
    path.write_text(f"{study_text}\n[plan]\nremedies = [\"raise\"]\nwindow = '100 h'\n{text}", encoding="utf-8")
    prices = load_study(path).plan
    return replace(planned, basis=replace(planned.basis, site=replace(planned.site, prices=prices)))


def test_what_is_out_by_kind_of_work_and_circuit(opened):
    """By hand: all circuits unless the study says otherwise; a raise moves both; a pull of one leaves the other."""
    work = list_work(under(opened, ""))
    assert {item.kind for item in work} == {"raise", "pull"} and all(item.out == (NORTH, SOUTH) for item in work)
    pulls = [item for item in work if item.kind == "pull"]
    # Six phases take twice the 16 h of three.
    assert [item.hours for item in pulls] == [32.0] * len(pulls)
    work = list_work(under(opened, "pull_setup_duration = '4 h'\n" + OWN))
    split = [item for item in work if item.kind == "pull"]
    assert len(split) == 2 * len(pulls) and [item.hours for item in split] == [16.0] * len(split)
    assert {(item.out, item.live, item.circuits) for item in split} == {
        ((NORTH,), (SOUTH,), (NORTH,)), ((SOUTH,), (NORTH,), (SOUTH,))}
    assert all(item.out == (NORTH, SOUTH) and not item.live for item in work if item.kind == "raise")
    together = list_work(under(opened, "pull_setup_duration = '4 h'\n"))
    assert [item.hours for item in together if item.kind == "pull"] == [4 + 12 * 6 / 3] * len(pulls)
    one = list_work(under(opened, f'[[plan.outage_needs]]\nkind = "pull"\ncircuit = "{NORTH}"\nout = "own"\n'))
    assert {item.out for item in one if item.kind == "pull"} == {(NORTH,), (NORTH, SOUTH)}
    assert {item.circuits for item in one if item.kind == "pull"} == {(NORTH,), (SOUTH,)}


def one_at_a_time(outages):
    """How many works each crew has, of which no two are at the same time."""
    times = {}
    for crew, laid in zip(outages.grouped.crew, outages.item_times, strict=True):
        assert laid.start < laid.end
        times.setdefault(int(crew), []).append((laid.start, laid.end))
    for own in times.values():
        assert all(end <= start for (_, end), (start, _) in zip(sorted(own)[:-1], sorted(own)[1:], strict=True))
    return {crew: len(own) for crew, own in times.items()}


def test_crews_do_what_they_do_and_one_work_at_a_time(opened):
    """Two crews that pull, one that raises: no crew has two works at once, nor any of a kind that it does not do."""
    planned = under(opened, OWN + DATES + """
[[plan.crews]]
name = "lines"
kinds = ["pull"]
number = 2
[[plan.crews]]
name = "steel"
kinds = ["raise"]
shift_start = "06:00"
shift_end = "22:00"
weekdays = ["monday", "tuesday", "wednesday", "thursday", "friday", "saturday"]
""")
    outages = outages_of(planned)
    assert outages.grouped is not None and outages.laid
    assert all((crew == 2) == (item.kind == "raise") for item, crew in zip(outages.work, outages.grouped.crew,
                                                                          strict=True))
    assert set(one_at_a_time(outages)) == {0, 1, 2}
    for step, laid in enumerate(outages.laid):
        own = [each for each, g in zip(outages.item_times, outages.grouped.outage, strict=True) if g == step]
        assert min(each.start for each in own) == laid.start and max(each.end for each in own) == laid.end


def test_work_that_no_crew_does_is_not_scheduled(opened):
    planned = under(opened, '[[plan.crews]]\nname = "steel"\nkinds = ["raise"]\n')
    outages = outages_of(planned)
    assert outages.grouped is None and outages.forbids
    assert all("pull" in words and "no crew of plan.crews does this kind of work" in words
               for words in outages.forbids)


def test_what_has_no_schedule_is_never_without_words(opened, monkeypatch):
    monkeypatch.setattr(scheduled, "schedule", lambda *_, **keys: (None, 0.0))
    assert outages_of(under(opened, "")).forbids == ("no grouping was found within the limits of [plan]",)


def test_the_command_ends_with_status_3_where_no_crew_does_the_work(tmp_path, capsys):
    study = line(tmp_path / "study", '[[plan.crews]]\nname = "steel"\nkinds = ["raise"]\n')
    status = run("plan", str(study.write()), "--option", "alloy", "--folder", str(tmp_path / "plan"), "--json")
    told = json.loads(capsys.readouterr().out)
    assert status == 3 and told["outages"] == [] and "no crew of plan.crews" in told["unscheduled"][0]


def test_every_state_in_which_a_circuit_is_put_back_is_looked_at(opened, monkeypatch):
    """Circuit after circuit: sections with the new wire on one circuit alone are states of their own, each looked at
    with the new wire, and with the old one on what hangs there. Findings have the worst wire alone, so a violation of
    either wire counts from the first state in which it hangs to the last, whatever circuit the row names."""
    planned = under(opened, OWN)
    outages = outages_of(planned)
    half = [state for state in outages.states if any("main, circuit" in name for name in state.pulled)]
    assert half and all(state.safe for state in outages.states)
    assert [state.after for state in outages.states] == list(range(outages.grouped.steps + 1))
    assert set(outages.states[-1].pulled) == set(planned.site.plan.sections.name)
    state = half[0]
    name = next(each for each in state.pulled if "main, circuit" in each)
    section, real = name.partition(" (")[0], states_module._state
    whole = next(each.after for each in outages.states if section in each.pulled)
    assert whole > state.after

    def first_unsafe(option, since):
        """The first state that is not safe where a wire of an option is in violation since so many outages."""
        rows = planned.every.layers["clearances"]
        own = np.flatnonzero((rows["section"] == section) & (rows["option"] == option))[0]

        def short(found):
            return replace(found, layers=found.layers | {"violations": {column: np.concatenate([values, np.array(
                [{"margin_m": -0.2}.get(column, rows[column][own] if column in rows else None)], values.dtype)])
                for column, values in found.layers["violations"].items()}})

        monkeypatch.setattr(states_module, "_state", lambda some, shares, after, bear: real(some, [
            replace(share, now=short(share.now)) if after >= since else share for share in shares], after, bear))
        found = states_of(planned, outages.work, outages.without, outages.grouped)
        return None if found[-1].safe else found[-1].after

    # Of the new wire it counts as soon as one circuit has it, of the old wire as long as one has that.
    assert first_unsafe("alloy", 1) == state.after and first_unsafe("alloy", whole) == whole
    assert first_unsafe("today", 1) == 1 and first_unsafe("today", state.after) == state.after
    assert first_unsafe("today", whole) is None


def test_strings_of_one_circuit_leave_the_other_as_it_is(opened):
    """Done at a structure for one circuit: what the line is like for either, and where it says nothing for both."""
    planned = under(opened, "")
    whole = next(item for item in list_work(planned) if item.kind == "raise")
    half = replace(whole, kind="strings", circuits=(NORTH,), live=(SOUTH,))
    shares = {circuits: states_module.with_items(planned, own).changes[whole.place]
              for circuits, own in states_module._shares(planned, [half])}
    assert shares[frozenset([SOUTH])] == NONE != shares[frozenset([NORTH])]
    assert states_module._shares(planned, [whole]) == [(None, [whole])]


def test_circuits_that_are_compared_are_not_mixed(opened, monkeypatch):
    """Where the study compares wires of circuits with each other, old and new ones do not hang beside each other."""
    planned = under(opened, OWN)
    facts = replace(planned.site.facts, own_wires=object())
    work, pairs = states_module.compared_together(replace(planned.site, facts=facts), list_work(planned))
    pulls = [i for i, item in enumerate(work) if item.kind == "pull"]
    assert len(pairs) == len(pulls) / 2
    assert all(work[a].sections == work[b].sections and work[a].circuits != work[b].circuits for a, b in pairs)
    assert states_module.compared_together(planned.site, list_work(planned))[1] == ()
    free = outages_of(planned)
    assert any(len(own) == 1 for own in free.grouped.circuits)
    compared = replace(planned, basis=replace(planned.basis, site=replace(planned.site, facts=facts)))
    monkeypatch.setattr(scheduled, "states_of", lambda *_: free.states)
    grouped = outages_of(compared).grouped
    assert all(grouped.outage[a] == grouped.outage[b] for a, b in pairs)
    assert set(grouped.circuits) == {(NORTH, SOUTH)}


def test_work_in_service_is_done_alone_and_where_it_is_unsafe_in_an_outage(opened, monkeypatch):
    """Raises of live circuits come one by one before all else, with nothing out; where a state after one is not safe,
    it takes circuits out."""
    live = '[[plan.outage_needs]]\nkind = "raise"\nout = "none"\n'
    planned = under(opened, live + DATES)
    outages = outages_of(planned)
    raises = [i for i, item in enumerate(outages.work) if item.kind == "raise"]
    grouped = outages.grouped
    assert raises and all(outages.work[i].out == () and grouped.circuits[grouped.outage[i]] == () for i in raises)
    assert sorted(grouped.outage[raises]) == list(range(len(raises)))
    assert np.bincount(grouped.outage)[:len(raises)].tolist() == [1] * len(raises)
    assert grouped.outages == grouped.steps - len(raises)
    real = states_module.failing_sections

    def fails(now, before, *more):
        some = [change.rise for change in now.alterations.changes if change.rise]
        return np.arange(9) if len(some) == 1 else real(now, before, *more)

    monkeypatch.setattr(states_module, "failing_sections", fails)
    outages = outages_of(planned)
    assert all(item.out == (NORTH, SOUTH) for item in outages.work if item.kind == "raise")
    assert all(state.safe for state in outages.states) or outages.grouped is None


def test_places_are_reached_on_days_on_which_they_may_be(opened):
    """The first span may be reached in July alone, structure 4 in May: works there are then, and the rest meanwhile."""
    planned = under(opened, OWN + DATES + """
[[plan.access]]
spans = ["1-2"]
first_day = 182
last_day = 212
[[plan.access]]
structures = ["4"]
first_day = 121
last_day = 151
""")
    outages = outages_of(planned)
    assert outages.grouped is not None
    met = 0
    for item, laid in zip(outages.work, outages.item_times, strict=True):
        for name, month in (("1-2", 7), ("4", 5)):
            if name in (*item.structures, *item.span_names):
                met += 1
                assert laid.start.month == laid.end.month == month
    assert met >= 4
    never = under(opened, DATES + """
[[plan.access]]
spans = ["1-2"]
first_day = 182
last_day = 212
[[plan.access]]
structures = ["2"]
first_day = 121
last_day = 151
""")
    outages = outages_of(never)
    assert outages.grouped is None and any("no day" in words and "plan.access" in words for words in outages.forbids)


def test_plan_of_two_circuits_from_study_to_calendar(opened, tmp_path):
    """Files of the plan: an event for each outage, in order, as icalendar reads them; what is out; a bar for each work.
    """
    planned = under(opened, OWN + DATES + """
[[plan.crews]]
name = "lines"
kinds = ["pull"]
[[plan.crews]]
name = "steel"
kinds = ["raise", "replace", "strings", "add"]
""")
    write_remedies(planned, tmp_path)
    outages = outages_of(planned)
    written, lines = files.write_outages(planned, tmp_path, kind="png", outages=outages)
    assert {"calendar.ics", "calendar.png", "states.csv", "work_orders.pdf"} <= {path.name for path in written}
    events = icalendar.Calendar.from_ical((tmp_path / "calendar.ics").read_bytes()).walk("VEVENT")
    assert len(events) == outages.grouped.steps < len(outages.work)
    assert one_at_a_time(outages)[0] == 4, "two pulls in an outage, one after the other"
    for event, laid, out in zip(events, outages.laid, outages.grouped.circuits, strict=True):
        assert (event["dtstart"].dt, event["dtend"].dt) == (laid.start, laid.end)
        assert all(circuit in str(event["summary"]) for circuit in out)
    starts = [event["dtstart"].dt for event in events]
    assert starts == sorted(starts) and all(
        a["dtend"].dt < b["dtstart"].dt for a, b in zip(events[:-1], events[1:], strict=True))
    assert {out for out in outages.grouped.circuits} <= {(NORTH,), (SOUTH,), (NORTH, SOUTH)}
    items = pyogrio.read_dataframe(tmp_path / "plan.gpkg", layer="work_items")
    pulls = items[items.kind == "pull"]
    assert (pulls.crew == "lines").all() and set(pulls.circuits_out) == {NORTH, SOUTH}
    assert set(pulls.own_circuits_in_service) == {NORTH, SOUTH} and (items[items.kind == "raise"].crew == "steel").all()
    orders = "".join(page.extract_text() for page in pypdf.PdfReader(tmp_path / "work_orders.pdf").pages)
    assert orders.count("in service on it") == len(pulls) and "crew steel" in orders
    # The map of a line due east is as wide as the line, not a mark in the middle.
    coloured = np.ptp(imread(tmp_path / "outages.png")[..., :3], axis=-1).max(axis=0) > 0.2
    assert np.ptp(np.flatnonzero(coloured)) > 0.6 * len(coloured)
    with (tmp_path / "states.csv").open(encoding="utf-8-sig") as file:
        rows = list(csv.DictReader(file))
    assert [int(row["after_outage"]) for row in rows] == list(range(outages.grouped.steps + 1))
    assert any("circuit-hours in" in line for line in lines)


def test_circuits_whose_wires_share_names_are_not_worked_on_one_by_one(tmp_path):
    """A wire that is of one circuit here and of another there does not tell whose it is."""
    study = line(tmp_path / "study", OWN)
    study.framings = FRAMINGS.replace("hold,A,phase,north", "hold,A,phase,south")
    with open_study(study.write()) as opened, pytest.raises(InputError, match="of one circuit along a line"):
        planned_of(opened, "alloy")


@pytest.mark.parametrize(("text", "where"), [
    ('[[plan.outage_needs]]\nkind = "pull"\ncircuit = "main, circuit east"\nout = "own"\n', "outage_needs.0.circuit"),
    ('[plan.calendar]\nstart = 2027-03-01\n[[plan.access]]\nspans = ["1-3"]\nfirst_day = 1\nlast_day = 9\n',
     "access.0.spans.0")])
def test_names_that_the_line_does_not_have_are_refused(tmp_path, text, where):
    with open_study(line(tmp_path / "study", text).write()) as opened, pytest.raises(InputError) as fault:
        planned_of(opened, "alloy")
    assert where in fault.value.where
