"""The comparison of options: its numbers against the findings of a check, which it must not differ from."""

import csv
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pyogrio
import pytest

from corridor import check_study
from corridor.cli import main
from corridor.errors import InputError
from corridor.jobs.compare import states_of, write_comparison
from corridor.line.facts import Case
from corridor.outputs.tables_compare import compare_markdown, compare_table, compare_text
from corridor.session import open_study
from tests.common import ask
from tests.short_demo import short_demo

#: A bare state at everyday temperature, as a study may name it itself.
EVERYDAY = '\n[[cases]]\nname = "ordinary day"\ntemperature = 10\nchecks = ["vertical"]\n'
LOADS = '\n[[rating.loads]]\ncurrent = 850\nduration = "800 h"\n[[rating.loads]]\ncurrent = 400\nduration = "4000 h"\n'


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    copy = short_demo(tmp_path_factory.mktemp("demo") / "corridor", "N11", "N16")
    text = (copy / "study.toml").read_text(encoding="utf-8")
    (copy / "loaded.toml").write_text(text + LOADS, encoding="utf-8")
    (copy / "everyday.toml").write_text(text.replace("[rules]", EVERYDAY + "\n[rules]", 1), encoding="utf-8")
    return copy


@pytest.fixture(scope="module")
def compared(folder):
    return ask(folder / "loaded.toml", "compare")


@pytest.fixture(scope="module")
def checked(folder):
    """Layers of a check of the same study with an everyday case of its own."""
    check_study(folder / "everyday.toml", folder / "everyday.gpkg")

    def layer(name):
        return pyogrio.read_dataframe(folder / "everyday.gpkg", layer=name)

    return layer


def test_the_options_are_those_of_the_check(compared, checked):
    options = checked("options").set_index("option").loc[compared.names]
    violations = checked("violations")
    # the comparison adds the everyday state as a case without checks: the violations are those of all other cases
    own = violations[violations["case"] != "ordinary day"]
    assert list(compared.options["violations"]) == [int((own.option == option).sum()) for option in compared.names]
    for name in ("continuous_current_a", "mass_kg_per_m", "loss_at_required_current_w_per_m"):
        np.testing.assert_allclose(compared.options[name].astype(float), options[name], rtol=1e-12)


def test_new_and_inherited_violations(compared, checked):
    rows = checked("violations")
    rows = rows[rows["case"] != "ordinary day"]
    for option, (new, inherited, total) in zip(compared.names, compared.violations, strict=True):
        of = rows[rows.option == option]
        assert (new, inherited, total) == ((~of.inherited.astype(bool)).sum(), of.inherited.astype(bool).sum(), len(of))
    assert compared.violations[0][0] == 0 and compared.violations[0][1] > 0 and compared.violations[1][0] > 0


def test_sags_tensions_and_knees_are_the_greatest_of_the_findings(compared, checked):
    wires, sections, loads = (checked(name) for name in ("wires", "sections", "structure_loads"))
    wires, sections = wires[wires.kind == "phase"], sections[sections.wire_kind == "phase"]
    for i, option in enumerate(compared.names):
        of = wires[wires.option == option]
        for key, case in (("everyday", "ordinary day"), ("hot", "hot"), ("iced", "ice")):
            assert compared.sags[key][i] == pytest.approx(of[of.case == case].sag_m.max(), rel=1e-9)
        at = sections[sections.option == option]
        day = at[at.case == "ordinary day"]
        assert compared.everyday[i] == pytest.approx((day.percent_rts.max(), day.catenary_constant_m.max()), rel=1e-9)
        assert compared.tension[i] == pytest.approx(at.maximum_tension_n.max(), rel=1e-9)
        assert compared.knees[i] == pytest.approx((at.knee_temperature_c.min(), at.knee_temperature_c.max()), rel=1e-9)
        assert compared.load_ratio[i] == pytest.approx(
            loads[loads.option == option].ratio_to_existing.max(), rel=1e-9)
    assert compared.ratio[0] == 1.0


def test_energy_is_the_sum_over_the_loads(compared):
    # I^2 R over the hours: at 850 A for 800 h the loss at the required current, which is 850 A; the rest by a ratio of
    # currents alone would leave out that the wire is cooler
    top = compared.options["loss_at_required_current_w_per_m"].astype(float) * 800 / 1000
    rest = top / 800 * 4000 * (400 / 850) ** 2
    assert np.all(np.array(compared.energy) < top + rest) and np.all(np.array(compared.energy) > top + 0.75 * rest)
    assert "load-duration" in compared.energy_basis


def test_losses_beyond_the_rating_are_marked(compared):
    """The existing wire may carry 605 A, and its losses are told at 850 A; the others may carry that."""
    table = compare_table(compared)
    rows = {what.strip(): values for what, _, values, _ in table.rows}
    assert compared.lost_at == 850 and rows["rating, continuous"][0] < 850 < min(rows["rating, continuous"][1:])
    assert rows["losses within its rating"] == ["no", "yes", "yes", "yes"]
    told, = dict(table.notes)["Losses beyond the rating"]
    assert told.startswith("existing may carry 605 A: its losses are told up to 850 A")
    unknown = compare_table(replace(compared, lost_at=np.nan))
    assert {what: values for what, _, values, _ in unknown.rows}["losses within its rating"] == [None] * 4
    assert "Losses beyond the rating" not in dict(unknown.notes)


def test_whole_life_cost_where_the_study_asks_for_it(folder, compared):
    """By hand from the rows of the table: losses of a year times price and present worth, and the wire; none of an
    option that may not carry the current of its losses."""
    text = (folder / "loaded.toml").read_text(encoding="utf-8")
    text = text.replace("[plan.calendar]", "[plan.life]\nyears = 10\ndiscount_rate = 0\nenergy_price = 0.06\n"
                        "energy_price_high = 0.12\n[plan.calendar]", 1)
    (folder / "life.toml").write_text(text, encoding="utf-8")
    priced = ask(folder / "life.toml", "compare")
    rows = {what.strip(): values for what, _, values, _ in compare_table(priced).rows}
    assert rows["cost of the wire"] == [0, 42, 46, 75]
    assert rows["losses over life"][1:] == pytest.approx([0.6 * each for each in compared.energy[1:]])
    assert rows["losses over life, higher price"][1:] == pytest.approx([1.2 * each for each in compared.energy[1:]])
    assert rows["whole-life cost"][1:] == pytest.approx(np.add([42, 46, 75], rows["losses over life"][1:]))
    # The existing wire may not carry 850 A: its losses are none, and nothing tells what others save.
    assert np.isnan(rows["whole-life cost"][0]) and rows["years to pay back"] == [None] * 4
    gained = np.subtract(rows["rating, continuous"][1:], rows["rating, continuous"][0])
    assert rows["cost per ampere gained"][1:] == pytest.approx(np.divide([42, 46, 75], gained))
    assert "whole-life cost" not in {what.strip() for what, *_ in compare_table(compared).rows}
    assert any("all assumed by the study" in line for _, lines in compare_table(priced).notes for line in lines)


def test_losses_are_of_the_series_where_there_is_no_curve(folder, compared):
    """Twelve steps and the greatest hour against the sum over the hours; the greatest is what an option must carry."""
    rng = np.random.default_rng(5)
    hours = np.r_[rng.uniform(100, 600, 8700), np.full(59, np.nan), 870.0]
    (folder / "load.csv").write_text("hour,current\n" + "".join(
        f"{i}," + ("\n" if np.isnan(v) else f"{v:.3f}\n") for i, v in enumerate(hours)), encoding="utf-8")
    text = (folder / "loaded.toml").read_text(encoding="utf-8").replace(LOADS, "")
    (folder / "series.toml").write_text(text + '\n[series]\nfile = "load.csv"\n', encoding="utf-8")
    found = ask(folder / "series.toml", "compare")
    with open_study(folder / "series.toml") as opened:
        heat = opened.laid_out.facts.heat
    known = np.round(hours[~np.isnan(hours)], 3)
    for i, energy in enumerate(found.energy):
        mean = float(np.mean(heat.loss_at(i, known)))
        assert energy == pytest.approx(8.76 * mean, rel=2e-3)
    assert found.lost_at == 870 and "59 hours without a current" in found.energy_basis
    assert "currents of the series" in found.energy_basis


def test_the_ladder_says_what_is_not_known(compared):
    table = compare_table(compared)
    rows = {what.strip(): values for what, _, values, _ in table.rows}
    assert np.all(np.isnan(rows["limit current"])) and np.all(np.isfinite(rows["1 span remedied"]))
    assert any("not assessed" in text for head, texts in table.notes for text in texts if head == "Not known")


def test_the_icy_state_has_ice_on_all_spans():
    # uneven ice is on some spans only: its sag says nothing of ice on the line
    def case(name, ice, **more):
        return Case(name, 0.0, ice=ice, checks=("vertical",), **more)

    cases = (case("thin", 0.006), case("odd", 0.03, ice_spans="odd"), case("thick", 0.012),
             case("dropped", 0.03, ice_off_wire="left"), case("windy", 0.02, wind=100.0))
    wire = SimpleNamespace(diameter=0.028)
    today = SimpleNamespace(wiring=SimpleNamespace(everyday_temperature=10.0, conductor=wire))
    assert states_of(SimpleNamespace(cases=cases, options=(today,), reference=0)).iced == "thick"
    # by its weight: 12 mm of glaze around 28 mm are 13.5 N/m, and 18 mm of rime of 300 kg/m³ less
    more = case("rime", 0.018, ice_density=300.0), case("heavy", 0.0, ice_weight=14.0, ice_density=500.0)
    for added, wanted in ((more[:1], "thick"), (more, "heavy")):
        assert states_of(SimpleNamespace(cases=cases + added, options=(today,), reference=0)).iced == wanted


def test_how_it_is_sagged_is_said(compared):
    basis = dict(compare_table(compared).notes)["How the wires are sagged"]
    assert len(basis) == len(compared.names)
    assert "18 % RTS at 10 °C, final (1 of 1 sections)" in basis[0] and "20 kN" in basis[3]


def test_text_fits_a_terminal(compared):
    table = compare_table(compared)
    lines = compare_text(table)
    assert max(map(len, lines)) <= 79
    many = type(table)(table.names * 3, tuple((w, u, list(v) * 3, f) for w, u, v, f in table.rows), table.notes)
    assert max(map(len, compare_text(many))) <= 79
    assert sum(line.startswith("diameter") for line in compare_text(many)) == 3


def test_an_unknown_value_is_no_number(compared):
    lines = compare_text(compare_table(compared))
    assert next(line for line in lines if line.startswith("limit current")).split()[-4:] == ["-"] * 4


def test_command_writes_csv_and_markdown(folder, compared, capsys):
    with pytest.raises(SystemExit) as end:
        main(["compare", str(folder / "loaded.toml"), "--csv", str(folder / "c.csv"),
              "--markdown", str(folder / "c.md")])
    assert not end.value.code
    assert "How the wires are sagged" in capsys.readouterr().out
    with (folder / "c.csv").open(encoding="utf-8", newline="") as file:
        rows = {row["quantity"]: row for row in csv.DictReader(file)}
    assert float(rows["mass"]["existing"]) == pytest.approx(1.213) and rows["limit current"]["existing"] == ""
    assert int(rows["inherited"]["thermal alloy"]) == compared.violations[1][1]
    for step in ("1 span", "2 spans", "3 spans"):
        assert float(rows[f"{step} remedied"]["thermal alloy"]) > 0
    assert float(rows["losses per year"]["existing"]) == pytest.approx(compared.energy[0], rel=1e-5)
    assert "18 % RTS at 10 °C" in rows["sagging basis"]["existing"]
    lines = (folder / "c.md").read_text(encoding="utf-8").splitlines()
    assert lines[:-2] == compare_markdown(compare_table(compared))[:-1]


def test_a_path_that_cannot_be_written(folder, compared):
    with pytest.raises(InputError, match="no folder 'nowhere'"):
        write_comparison(compare_table(compared), folder / "nowhere" / "c.csv")
