"""The command `sag` on the demo: against the findings, its own limits, and the published watch for sag."""

import csv
import shutil
from pathlib import Path

import numpy as np
import pyogrio
import pytest
from scipy.integrate import quad

from corridor import check_study
from corridor.assessment import make_scene
from corridor.clearance.clipping import clipping_rows, sag_in_travellers
from corridor.cli import main
from corridor.geometry.catenary import greatest_sag
from corridor.inputs.study_inputs import read_inputs
from corridor.jobs.sag import EVERY
from corridor.line.elongation_laws import reshape_law, take_law
from corridor.mechanics.return_wave import return_time
from corridor.opened import prepare
from corridor.study import load_study
from tests.common import ask

DEMO = Path(__file__).resolve().parents[1] / "demo_corridor"
INCH = 0.0254


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """The files of the demo."""
    copy = tmp_path_factory.mktemp("demo") / "corridor"
    shutil.copytree(DEMO, copy, ignore=shutil.ignore_patterns("*.py", "findings*.gpkg"))
    return copy


@pytest.fixture(scope="module")
def findings(folder, tmp_path_factory):
    path = tmp_path_factory.mktemp("findings") / "findings.gpkg"
    check_study(folder / "study.toml", path)
    return {layer: pyogrio.read_dataframe(path, layer=layer, read_geometry=False) for layer in ("sections", "wires")}


@pytest.fixture(scope="module")
def result(folder):
    return ask(folder / "study.toml", "sag")


@pytest.fixture(scope="module")
def chart(folder):
    return rows(ask(folder / "study.toml", "stringing_chart", [-20.0, 10.0, 40.0]).rows)


def rows(columns):
    return [dict(zip(columns, values, strict=True)) for values in zip(*columns.values(), strict=True)]


def run(*arguments):
    with pytest.raises(SystemExit) as end:
        main([str(argument) for argument in arguments])
    return end.value.code or 0


# How long a jerk takes


@pytest.mark.parametrize(("span", "rise", "constant"), [(300, 0, 1500), (300, 60, 1500), (900, -200, 700)])
def test_time_is_that_of_the_speed_along_the_wire(span, rise, constant):
    """Integrated along the catenary about its low point, `v^2 = T/m = g y` with y above the directrix; by SciPy."""
    ends = quad(lambda x: 1.0, 0, span)[0]
    middle = ends / 2 - constant * np.arcsinh(rise / (2 * constant * np.sinh(span / (2 * constant))))

    def slowness(x):
        u = (x - middle) / constant
        return np.cosh(u) / np.sqrt(9.80665 * constant * np.cosh(u))

    one_way = quad(slowness, 0, span)[0]
    assert float(return_time(span, rise, constant, returns=5)) == pytest.approx(10 * one_way, rel=1e-10)


def watched(time, returns):
    """Sag [m] that a watch tells of a level span: as printed, for 32.2 ft/s2."""
    return 12.075 * (time / returns) ** 2 * INCH


@pytest.mark.parametrize("returns", [1, 3, 10])
def test_the_printed_watch(returns):
    """D = 12.075 (t/n)^2 inches (IEEE Std 524, recalled): that of 32.2 ft/s2, 0.1 % from standard gravity.

    The catenary is not the parabola that it is printed for: by series `1 + u^2/12` with u = S/2C, at most 0.13 % here.
    """
    for constant in (1200.0, 2000.0):
        time = float(return_time(300.0, 0.0, constant, returns=returns))
        assert watched(time, returns) == pytest.approx(float(greatest_sag(300.0, 0.0, constant)), rel=2.3e-3)


def test_the_watch_does_not_ask_for_the_wire():
    """Sag and time of every catenary give one constant, g/32, but for the flatness."""
    S, C = np.array([100.0, 300.0, 600.0]), np.array([900.0, 1500.0, 2500.0])
    assert greatest_sag(S, 0.0, C) / return_time(S, 0.0, C) ** 2 == pytest.approx(9.80665 / 32, rel=3e-3)


# Sag and tension in every case


def test_sections_are_those_of_the_findings(result, findings):
    """All cases of the demo are final: half of the rows are rows of the check, digit by digit."""
    mine = {(r["section"], r["wire_kind"], r["option"], r["case"]): r for r in rows(result.sections)
            if r["condition"] == "final"}
    known = findings["sections"]
    seen = 0
    for row in known.to_dict("records"):
        option = EVERY if row["wire_kind"] == "shield" else row["option"]
        mate = mine[row["section"], row["wire_kind"], option, row["case"]]
        for name in ("horizontal_tension_n", "maximum_tension_n", "percent_rts", "catenary_constant_m"):
            assert mate[name] == pytest.approx(row[name], rel=1e-9)
        seen += 1
    assert seen == len(known) > 200
    assert len(mine) == len([1 for r in rows(result.sections) if r["condition"] == "initial"])


def test_spans_are_those_of_the_findings(result, findings):
    wires = findings["wires"]
    known = {(r["span"], r["wire"], r["option"], r["case"]): r["sag_m"] for r in wires.to_dict("records")}
    mine = [r for r in rows(result.spans) if r["condition"] == "final" and r["kind"] == "phase"]
    assert len(mine) == (wires["kind"] == "phase").sum()
    assert all(r["sag_m"] == pytest.approx(known[r["span"], r["wire"], r["option"], r["case"]], rel=1e-9) for r in mine)
    assert {r["option"] for r in rows(result.spans) if r["kind"] == "shield"} == {EVERY}


def test_the_greatest_sag_is_that_of_its_span(result):
    spans = rows(result.spans)
    for row in rows(result.sections)[::7]:
        own = [r for r in spans if all(r[a] == row[b] for a, b in (
            ("section", "section"), ("kind", "wire_kind"), ("option", "option"), ("case", "case"),
            ("condition", "condition")))]
        worst = max(own, key=lambda r: r["sag_m"])
        assert (worst["span"], worst["sag_m"]) == (row["greatest_sag_span"], row["greatest_sag_m"])


def test_a_new_wire_is_tighter_and_the_limits_bind(result, folder):
    table = rows(result.sections)
    pairs = {}
    for row in table:
        pairs.setdefault((row["section"], row["wire_kind"], row["option"], row["case"]), {})[row["condition"]] = row
    assert all(pair["initial"]["horizontal_tension_n"] >= pair["final"]["horizontal_tension_n"] - 1e-6
               for pair in pairs.values())
    cold = [pair for key, pair in pairs.items() if key[3] == "cold"]
    assert all(pair["initial"]["ruling_span_sag_m"] < pair["final"]["ruling_span_sag_m"] for pair in cold)
    # by the study: 50 % of strength at most, initially under ice and wind, by the ruling span; 1 % for unlike spans
    iced = [r for r in table if (r["case"], r["condition"], r["wire_kind"]) == ("ice and wind", "initial", "phase")]
    assert all(r["percent_rts"] < 50.5 for r in iced)


def test_a_measured_wire_is_final(folder):
    (folder / "measured.csv").write_text("section,temperature,horizontal_tension\nN01-N06,20,19000\n", encoding="utf-8")
    text = (folder / "study.toml").read_text(encoding="utf-8")
    path = folder / "measured.toml"
    path.write_text(text.replace("existing = true", 'existing = true\nmeasured = "measured.csv"', 1), encoding="utf-8")
    own = [r for r in rows(ask(path, "sag").sections)
           if (r["section"], r["option"], r["wire_kind"]) == ("N01-N06", "existing", "phase")]
    assert {r["condition"] for r in own} == {"final"}
    assert len(own) == 6
    strung = [r for r in rows(ask(path, "stringing_chart", [20.0]).rows)
              if r["section"] == "N01-N06" and r["option"] == "existing"]
    assert [r["traveller_tension_n"] for r in strung] == pytest.approx([19000.0] * len(strung), rel=5e-3)


def test_a_shield_wire_without_conductor_has_no_answer(folder, capsys):
    text = (folder / "study.toml").read_text(encoding="utf-8")
    path = folder / "bare.toml"
    path.write_text(text[:text.index("[shield_wire]")] + text[text.index("[[cases]]"):], encoding="utf-8")
    assert run("sag", path) == 3
    assert run("sag", path, "--stringing", "--to", -10) == 0
    assert "shield S" not in capsys.readouterr().out


# The stringing chart


def test_the_chart_holds_the_cases_of_its_temperature(result, chart):
    """At -20 °C, the case "cold": final the existing wire, initial the new ones.

    Today's wire hangs as in the check. New wires are plumb on another day, so only the whole's tension is the same.
    Beside a portal wires turn a little, and their ends lie where strings lean to: 3e-5 of a sag in travellers, whose
    spans are those of plumb strings.
    """
    cold = {(r["span"], r["wire"], r["option"], r["condition"]): r for r in rows(result.spans) if r["case"] == "cold"}
    mine = [r for r in chart if r["temperature_c"] == -20]
    assert len(mine) == 27 * (3 * 4 + 1)
    for row in mine:
        mate = cold[row["span"], row["wire"], row["option"], row["condition"]]
        same = 1e-6 if row["option"] == "existing" else 0.1
        assert row["sag_m"] == pytest.approx(mate["sag_m"], rel=same)
        assert row["horizontal_tension_n"] == pytest.approx(mate["horizontal_tension_n"], rel=same)
        # In travellers tension is equal along the wire, not its horizontal part, by the slopes of the demo.
        assert row["traveller_sag_m"] == pytest.approx(mate["ruling_span_sag_m"], rel=1e-2)
    assert {(r["option"], r["condition"]) for r in mine} == {
        ("existing", "final"), ("thermal alloy", "initial"), ("annealed on steel", "initial"),
        ("annealed on carbon", "initial"), (EVERY, "initial")}


def test_the_watch_tells_the_sag_of_the_chart(chart):
    """0.6 %, of which 0.1 % are the printed constant's: spans of the demo rise by up to a tenth, and sag is measured
    along the chord's plumb line."""
    for row in chart:
        told = watched(row["return_time_s"], row["returns"])
        assert told == pytest.approx(row["sag_m"], rel=6e-3)


def test_travellers_have_nearly_one_tension(chart):
    """Equal along the wire in travellers, so that the horizontal part differs by the climb of the section alone: some
    30 m of wire of 10 N/m, 300 N. Clipped in tensions are equal at the everyday 10 °C alone."""
    for key in {(r["section"], r["option"], r["wire_kind"], r["temperature_c"]) for r in chart}:
        own = [r for r in chart if (r["section"], r["option"], r["wire_kind"], r["temperature_c"]) == key]
        assert 1 < np.ptp([r["traveller_tension_n"] for r in own]) < 400
        clipped = [r["horizontal_tension_n"] for r in own]
        if key[3] == 10:
            assert np.ptp(clipped) < 1e-6 * clipped[0]
            assert clipped[0] == pytest.approx(own[0]["traveller_tension_n"], rel=1e-2)
        else:
            assert 1e-4 * clipped[0] < np.ptp(clipped) < 0.06 * clipped[0]


@pytest.mark.parametrize("pull_ends", [(), ("N03",)])
def test_the_chart_sags_to_what_the_clamps_are_set_from(folder, chart, pull_ends):
    """The layer `clipping_offsets` and the chart tell the same tensions in travellers, at the 10 °C of stringing."""
    inputs = read_inputs(load_study(folder / "study.toml"))
    with inputs.terrain:
        facts, plan, _ = prepare(inputs)
    scene, _ = make_scene(facts, plan, int(plan.sections.first[0]), int(plan.sections.last[0]))
    layer = clipping_rows(scene, pull_ends)
    wires = np.flatnonzero(scene.wires.wire == "A")
    law = take_law(reshape_law(scene.strung.initial, scene.strung.excess.shape), np.s_[:, 1])
    H, _ = sag_in_travellers(scene, wires, 1, np.array([-20.0, 10.0]), law, pull_ends)
    rows = np.flatnonzero((layer["wire"] == "A") & (layer["option"] == "thermal alloy"))
    np.testing.assert_allclose(layer["back_tension_n"][rows], H[:-1, 1], rtol=1e-6)
    np.testing.assert_allclose(layer["ahead_tension_n"][rows], H[1:, 1], rtol=1e-6)
    told = [r["traveller_tension_n"] for r in chart if (r["wire"], r["option"], r["temperature_c"], r["section"]) == (
        "A", "thermal alloy", 10, scene.sections.name[0])]
    assert (told == pytest.approx(H[:, 1], rel=1e-9)) == (not pull_ends)


def test_by_the_ruling_span_both_are_the_same(folder):
    path = folder / "ruling.toml"
    text = (folder / "study.toml").read_text(encoding="utf-8")
    path.write_text(text.replace("[study]\n", '[study]\nmethod = "ruling_span"\n', 1), encoding="utf-8")
    table = ask(path, "stringing_chart", [0.0]).rows
    np.testing.assert_array_equal(table["sag_m"], table["traveller_sag_m"])


# The command


def test_the_table_is_told_and_written(folder, tmp_path, capsys):
    assert run("sag", folder / "study.toml", "--folder", tmp_path / "out") == 0
    out = capsys.readouterr().out
    assert "Tarrowmesk 1, N06-N11, phase, ruling span 349.6 m" in out
    assert max(map(len, out.splitlines())) <= 79
    with (tmp_path / "out" / "sags.csv").open(newline="", encoding="utf-8") as file:
        table = list(csv.DictReader(file))
    assert {row["condition"] for row in table} == {"initial", "final"}
    assert (tmp_path / "out" / "sags_of_spans.csv").is_file()


def test_the_chart_is_told_and_written(folder, tmp_path, capsys):
    assert run("sag", folder / "study.toml", "--stringing", "--from", 0, "--to", 10, "--step", 5, "--returns", 5,
               "--folder", tmp_path / "out") == 0
    out = capsys.readouterr().out
    assert "time of return 5 of a jerk [s]" in out
    with (tmp_path / "out" / "stringing.csv").open(newline="", encoding="utf-8") as file:
        table = list(csv.DictReader(file))
    assert [row["temperature_c"] for row in table[:3]] == ["0.0", "5.0", "10.0"]
    assert {row["returns"] for row in table} == {"5"}


def test_of_many_charts_the_first_are_printed_and_the_others_counted(folder, capsys):
    """All of them where they are asked for, or those of a section and an option; what is refused is named."""
    study = folder / "study.toml"

    def told(*more):
        assert run("sag", study, "--stringing", "--to", 10, *more) == 0
        said = capsys.readouterr()
        return [line for line in said.out.splitlines() if line.startswith("Tarrowmesk 1, ")], said

    every, _ = told("--all")
    first, said = told()
    assert len(said.out.splitlines()) <= 60 and first == every[:len(first)]
    assert f"{len(every) - len(first)} more" in said.err
    own, said = told("--section", "N06-N11", "--option", "existing")
    assert own == [line for line in every if line.startswith("Tarrowmesk 1, N06-N11, existing")]
    assert "more" not in said.err
    assert run("sag", study, "--stringing", "--option", "exsting") == 2
    assert "existing" in capsys.readouterr().err


@pytest.mark.parametrize(("arguments", "word"), [
    (("--from", 10, "--to", 0), "below"), (("--step", 0.001), "at most"), (("--step", 0), "step"),
    (("--returns", 0), "returns")])
def test_a_slip_of_the_hand(folder, capsys, arguments, word):
    assert run("sag", folder / "study.toml", "--stringing", *arguments) == 2
    assert word in capsys.readouterr().err
