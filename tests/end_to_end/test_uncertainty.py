"""How sure margins are: deviations against the same study computed anew with the input changed.

Outside sources are the engine itself asked twice, and the probabilities of independent and of common events
(textbooks).
"""

import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from scipy.special import ndtr

from corridor import check
from corridor.assessment import make_scene
from corridor.line.changed_inputs import WireStates, change_inputs
from corridor.line.states import ask as ask_strung
from corridor.session import open_study
from corridor.study.uncertainty import ASSUMED, UNITS
from tests.common import ask, run

from .conftest import EAST, NORTH, SECOND_OPTION

KEYS = ["option", "case", "span", "against", "obstacle", "measure", "position"]
OWN = """
[[conductors]]
name = "own"
outer_area = "264 mm^2"
core_area = "62 mm^2"
diameter = "23.5 mm"
mass = "{mass} kg/m"
rts = "100 kN"
resistance_20 = "0.11 ohm/km"
temperature_coefficient = 0.00403
outer_modulus = "{outer} GPa"
core_modulus = "{core} GPa"
outer_expansion = {outer_expansion}
core_expansion = {core_expansion}
elongation = "linear"
compression = "{compression} MPa"
permanent_set = {permanent_set}
"""
VALUES = {"mass": 1.2, "outer": 55.0, "core": 190.0, "outer_expansion": 23e-6, "core_expansion": 11.5e-6,
          "compression": 4.0, "permanent_set": 4e-4}


def table(**deviations):
    """`[uncertainty]` with these deviations and no other; each `sd` or (`sd`, `common`)."""
    text = "\n[uncertainty]\n"
    for name in UNITS:
        sd, *common = np.atleast_1d(deviations.get(name, 0.0)).tolist()
        words = f'common = "{common[0]}"' if common else ""
        text += f'[uncertainty.{name}]\nsd = {float(sd)}\nsource = "test"\n{words}\n'
    return text


def own_wire(study, measured=15.0, ground=0.0, hottest=75.0, **changes):
    """The study with a wire of its own that hangs by the ruling span, its first section measured."""
    study.text = study.text.replace('voltage = "110 kV"\n', 'voltage = "110 kV"\nmethod = "ruling_span"\n', 1)
    study.change('conductor = "264-AL1/62-ST1A"', 'conductor = "own"')
    study.change("maximum_temperature = 75\nemergency_temperature = 90", f"maximum_temperature = {hottest}")
    study.change("existing = true\n", 'existing = true\nmeasured = "measured.csv"\n')
    (study.folder / "measured.csv").write_text(
        f"section,temperature,sag,span_length\n1-3,{measured},6.1,300\n", encoding="utf-8")
    study.text += OWN.format(**VALUES | changes)
    study.structures["base_elevation"] = 100 + 0.02 * (study.structures.easting - EAST)
    study.write_ground(lambda e, n: ground + 100 + 0.02 * (e - EAST) + 0.01 * (n - NORTH))
    return study


def sure(make, folder, text, **changes):
    """Findings of the study with its own wire and a table `[uncertainty]`."""
    study = own_wire(make.TinyStudy(folder), **changes)
    study.text += text
    return study.check()


def margins(findings):
    """Rows of clearances by their keys."""
    return findings["clearances"].fillna({"obstacle": ""}).set_index(KEYS).sort_index()


#: One standard deviation of an input, and how the study says the input is that much higher.
BY_HAND = {
    "ground": (0.2, lambda z: {"ground": 0.2 * z}),
    "survey_temperature": (3.0, lambda z: {"measured": 15.0 + 3.0 * z}),
    "expansion": (0.04, lambda z: {"outer_expansion": 23e-6 * (1 + 0.04 * z),
                                   "core_expansion": 11.5e-6 * (1 + 0.04 * z)}),
    "modulus": (0.05, lambda z: {"outer": 55.0 * (1 + 0.05 * z), "core": 190.0 * (1 + 0.05 * z)}),
    "mass": (0.02, lambda z: {"mass": 1.2 * (1 + 0.02 * z)}),
    "creep": (0.25, lambda z: {"permanent_set": 4e-4 * (1 + 0.25 * z)}),
    "compression": (2e6, lambda z: {"compression": 4.0 + 2.0 * z}),
    "wire_temperature": (4.0, lambda z: {"hottest": 75.0 + 4.0 * z}),
}


#: Things in every place: a tree beside, one below, one that falls; a shed beside; lines above and below.
THINGS_ABOUT = {
    "trees": ("tree", [shapely.Point(EAST + 150, NORTH + 9.0), shapely.Point(EAST + 750, NORTH + 1.0)], [9.0, 5.0], ""),
    "fallers": ("tree", [shapely.Point(EAST + 120, NORTH + 16.0)], [18.0], "falls = true"),
    "sheds": ("building", [shapely.box(EAST + 200, NORTH + 6, EAST + 210, NORTH + 14)], [7.0], ""),
    "lines": ("line", shapely.linestrings([[(EAST + x, NORTH - 60, z), (EAST + x, NORTH + 60, z)]
                                           for x, z in ((400, 124.0), (690, 117.0))]), None, 'voltage = "20 kV"'),
}


def things_about(study):
    """The study with things about its wires, and rules for them in every measure."""
    study.change('checks = ["horizontal"]', 'checks = ["horizontal", "vertical"]')
    study.rules += "cliff,ground,radial,3,,,,,,\nfall,falling_tree,radial,1,,,,,,\n" + "".join(
        f"{thing},{thing},{measure},2,,,,,,\n" for thing in ("tree", "building", "line")
        for measure in ("vertical", "radial", "horizontal")[:2 + (thing == "building")])
    for name, (category, shapes, heights, keys) in THINGS_ABOUT.items():
        more = {} if heights is None else {"h": heights}
        study.add_obstacle(name, category, shapes, ('height_column = "h"\n' if more else "") + keys, **more)
    return study


@pytest.mark.parametrize("name", BY_HAND)
def test_one_input_moves_margins_as_the_study_that_says_so(make, tmp_path, name):
    """Within 2 mm, at the places where margins were found, in wind within 4 mm. Of the mass in wind a deviation may be
    6 mm less: strings, which swing less with a heavier wire, stay where they are. It may be more in wind, and where a
    tree falls, for it is not looked which way errors move a wire there.
    """
    sd, changed = BY_HAND[name]
    hot = {} if name == "wire_temperature" else {"hottest": 150.0}
    around = things_about if name in ("ground", "expansion", "mass", "wire_temperature") else lambda study: study

    def check(z, text="", **values):
        study = around(own_wire(make.TinyStudy(tmp_path / f"study{z}"), **hot | values))
        study.text += text
        return margins(study.check())

    told = check("", table(**{name: sd}))
    low, high = (check(z, **changed(z)) for z in (-1, 1))
    assert (told.index == low.index).all() and (told.index == high.index).all()
    half = (high.margin_m - low.margin_m).abs() / 2
    assert half.max() > 0.01
    more, windy = told.margin_sd_m - half, told.index.get_level_values("case") == "swung"
    falling = told.index.get_level_values("position") == "falling"
    assert more.min() > (-0.006 if name == "mass" else -0.002)
    assert more[~falling & ~windy].max() < 0.002
    assert more[~falling & windy].max() < (0.05 if name == "mass" else 0.004)
    assert set(told.largest_share[told.margin_sd_m > 0]) == {name}


OPTIONS = """
[[options]]
name = "new"
conductor = "own"
maximum_temperature = 100
[[options.stringing]]
limit = "existing"
case = "ice"
[[options]]
name = "shape"
conductor = "own"
maximum_temperature = 100
[[options.stringing]]
limit = "1500 m"
temperature = 10
condition = "initial"
"""


def by_todays_wire(study, measured=15.0):
    """A tension is measured; one option may pull no more than the existing wire, another has a shape on its first day.
    """
    (study.folder / "measured.csv").write_text(f"section,temperature,horizontal_tension\n1-3,{measured},18000\n")
    study.text += OPTIONS


def uneven(study, measured=15.0):
    """A short span beside a long one, in equilibrium."""
    study.structures["easting"] = EAST + np.array([0.0, 180.0, 620.0, 900.0])
    study.text = study.text.replace('method = "ruling_span"\n', "")


@pytest.mark.parametrize("name", ["mass", "expansion", "creep", "survey_temperature"])
@pytest.mark.parametrize(("kind", "close"), [(by_todays_wire, 0.001), (uneven, 0.006)])
def test_other_limits_and_methods_move_margins_as_well(make, tmp_path, name, kind, close):
    """As above. Of uneven spans in equilibrium within 6 mm: the change of sag is that of the ruling span."""
    sd, changed = BY_HAND[name]

    def check(z, text="", **values):
        study = own_wire(make.TinyStudy(tmp_path / f"study{z}"), **{"hottest": 100.0} | values)
        kind(study, **{key: value for key, value in values.items() if key == "measured"})
        study.text += text
        return margins(study.check())

    told = check("", table(**{name: sd}))
    half = (check(1, **changed(1)).margin_m - check(-1, **changed(-1)).margin_m).abs() / 2
    windy = told.index.get_level_values("case") == "swung"
    assert (told.index == half.index).all() and half[~windy].max() > 0.05
    np.testing.assert_allclose(told.margin_sd_m[~windy], half[~windy], atol=close)
    np.testing.assert_allclose(told.margin_sd_m[windy], half[windy], atol=0.006)


@pytest.fixture(scope="module")
def told(make, tmp_path_factory):
    """Findings of a study with two options, some short: as it is, with a table of deviations, and by draws."""
    def made(name, text="", draws=0):
        study = make.TinyStudy(tmp_path_factory.mktemp(name))
        study.text += SECOND_OPTION + text
        study.rules = study.rules.replace("4.5", "8.6").replace("5.5", "8")
        study.add_roads()
        return make.Findings(study.output, check.check_study(study.write(), study.output, draws=draws))

    return {"plain": made("plain"), "sure": made("sure", "\n[uncertainty]\n"),
            "drawn": made("drawn", "\n[uncertainty]\n", 4000)}


ADDED = {"margin_sd_m", "probability_short", "largest_share", "expected_violations", "probability_clear"}


@pytest.mark.parametrize("way", ["sure", "drawn"])
def test_nothing_else_changes(told, way):
    """Deviations flag nothing and clear nothing: without their columns all layers are as before."""
    for layer in told["plain"].result.frames:
        if layer in ("uncertainty", "run", "inputs"):
            continue
        plain, sure = (told[each][layer].drop(columns=ADDED, errors="ignore") for each in ("plain", way))
        pd.testing.assert_frame_equal(pd.DataFrame(plain), pd.DataFrame(sure))
    assert told[way].result.status == told["plain"].result.status == 1
    assert told["plain"]["clearances"][["margin_sd_m", "probability_short", "largest_share"]].isna().all(axis=None)
    assert told["plain"]["uncertainty"].empty


def test_probabilities_follow_from_deviations(told):
    """The normal distribution of scipy; a violation is never less likely than not."""
    rows = told["sure"]["clearances"]
    assert (rows.margin_sd_m > 0).all()
    np.testing.assert_allclose(rows.probability_short, ndtr(-rows.margin_m / rows.margin_sd_m), atol=1e-12)
    assert (told["sure"]["violations"].probability_short > 0.5).all() and len(told["sure"]["violations"]) > 3
    of_options = told["sure"]["options"].set_index("option")
    expected = rows.groupby("option").probability_short.sum()
    np.testing.assert_allclose(of_options.expected_violations, expected[of_options.index])
    share = told["sure"]["uncertainty"].groupby("option").share.sum()
    np.testing.assert_allclose(share, 1.0)
    assert set(told["sure"]["uncertainty"].source) == {ASSUMED}
    assert any("ground 0.1 m" in words for words in told["sure"].result.warnings)


def test_draws_agree_with_the_first_order_where_margins_are_nearly_linear(told):
    """In cases below the knee, whose sag hardly bends: 3 standard errors of a deviation, and 2 % for what bends."""
    first, drawn = (margins(told[way]) for way in ("sure", "drawn"))
    cold = first.index.get_level_values("case") != "hot"
    bound = 3 / np.sqrt(2 * 4000) + 0.02
    np.testing.assert_allclose((drawn.margin_sd_m / first.margin_sd_m)[cold], 1, atol=bound)
    assert np.abs(drawn.probability_short - first.probability_short)[cold].max() < 0.05
    # Hot, past the knee, one side is steeper than the other.
    np.testing.assert_allclose(drawn.margin_sd_m / first.margin_sd_m, 1, atol=0.35)


def ground_alone(make, folder, common, base="7.35"):
    study = make.TinyStudy(folder)
    study.rules = study.rules.replace("4.5", base).replace("5.5", "1")
    study.text += table(ground=(0.3, common))
    return study.check()


@pytest.mark.parametrize("common", ["span", "line"])
def test_the_line_clears_with_errors_of_each_span_or_of_all(make, tmp_path, common):
    """Of independent events the product, of one error the least likely; 3 standard errors of 4096 draws."""
    findings = ground_alone(make, tmp_path / "study", common)
    rows = findings["clearances"]
    of_span = 1 - rows.groupby("span").probability_short.max()
    expected = of_span.prod() if common == "span" else of_span.min()
    assert 0.1 < expected < 0.95 and (of_span < 0.999).sum() > 1
    found = findings["options"].probability_clear[0]
    assert found == pytest.approx(expected, abs=3 * np.sqrt(expected * (1 - expected) / 4096))


def test_a_line_that_is_not_all_assessed_is_not_known_to_clear(make, tmp_path):
    study = make.TinyStudy(tmp_path / "study")
    study.write_ground(unknown=lambda e, n: np.abs(e - EAST - 750) < 30)
    study.text += "\n[uncertainty]\n"
    found = study.check()
    assert len(found["not_assessed"]) and np.isnan(found["options"].probability_clear[0])
    assert found["options"].expected_violations[0] >= 0


@pytest.mark.parametrize(("apart", "short"), [(1.0, False), (12.0, True)])
def test_own_wires_have_no_deviation_and_so_the_line_no_probability(study, apart, short):
    study.text += "\n[own_wires]\n[uncertainty]\n"
    study.rules += f"phases,own_phase,radial,{apart},,,,,,\n"
    frames = ask(study.write(), "check").frames
    own = frames["clearances"].against == "own_phase"
    assert own.any() and frames["clearances"].margin_sd_m[own].isna().all()
    assert ((frames["clearances"].margin_m[own] < 0) == short).all()
    rest = frames["clearances"].probability_short[~own].sum()
    assert frames["options"].expected_violations[0] == pytest.approx(rest + short * own.sum())
    assert np.isnan(frames["options"].probability_clear[0])


@pytest.mark.parametrize("draws", [0, 100])
def test_where_nothing_is_compared_nothing_is_known(study, draws):
    study.text = study.text[:study.text.index("[right_of_way]")] + "\n[uncertainty]\n"
    study.rules = study.rules.replace("open,ground", "field,building")
    frames = ask(study.write(), "check", draws=draws).frames
    assert frames["clearances"].empty and len(frames["not_assessed"])
    assert frames["options"].expected_violations[0] == 0 and np.isnan(frames["options"].probability_clear[0])


THINGS = {"draped": ("height = 3", shapely.Point(EAST + 150, NORTH + 5.0), 1.0),
          "surveyed": ('elevation_column = "z"', shapely.Point(EAST + 150, NORTH + 5.0), 0.0)}


@pytest.mark.parametrize("kind", THINGS)
def test_the_ground_moves_what_stands_on_it_and_no_surveyed_top(make, tmp_path, kind):
    """Geometry: a top of a given height goes up with the ground, one of a given elevation does not."""
    keys, place, share = THINGS[kind]
    study = make.TinyStudy(tmp_path / "study")
    study.add_obstacle("sheds", "building", [place], keys + "\nradius = 3", z=[106.0])
    study.rules += "shed,building,vertical,3,,,,,,\nshed,building,radial,3,,,,,,\n"
    study.text += table(ground=0.2)
    rows = study.check().rows("clearances", against="building")
    above = rows[rows.measure == "vertical"]
    assert len(above) and len(rows) > len(above)
    np.testing.assert_allclose(above.margin_sd_m, 0.2 * share, atol=1e-9)
    assert (rows.margin_sd_m <= 0.2 * share + 1e-9).all()
    assert (rows.largest_share == "ground").all() if share else rows.largest_share.isna().all()


def test_batches_and_runs_make_no_difference(make, tmp_path, monkeypatch):
    """Errors that are common to a line are the same in every batch of it."""
    found = []
    for size in (10**6, 2):
        monkeypatch.setattr(check, "BATCH", size)
        study = make.TinyStudy(tmp_path / f"study{size}")
        study.rules = study.rules.replace("4.5", "7.3")
        study.text += "\n[uncertainty]\n"
        result = ask(study.write(), "check", draws=300)
        rows = result.frames["clearances"].sort_values(KEYS, ignore_index=True)
        found.append((rows, result.frames["options"], result.frames["uncertainty"]))
    for whole, parts in zip(*found, strict=True):
        pd.testing.assert_frame_equal(pd.DataFrame(whole), pd.DataFrame(parts))
    assert 0 < found[0][1].probability_clear[0] < 1


@pytest.mark.parametrize("draws", [0, 2000])
@pytest.mark.parametrize("common", ["line", "section", "wire"])
def test_sections_and_wires_that_err_alone(make, tmp_path, common, draws):
    """Of two sections the product, with one error for all the least likely; 3 standard errors of 2000 draws."""
    study = make.TinyStudy(tmp_path / "study")
    study.rules = study.rules.replace("4.5", "7.3")
    study.text += table(stringing_sag=(0.3, common))
    frames = ask(study.write(), "check", draws=draws).frames
    least = 1 - frames["clearances"].groupby("section").probability_short.max()
    expected = least.min() if common == "line" else least.prod()
    assert 0.6 < expected < 0.8 and len(least) == 2 and least.max() < 0.95
    found = frames["options"].probability_clear[0]
    assert found == pytest.approx(expected, abs=3 * np.sqrt(expected * (1 - expected) / 2000))


def test_without_errors_wires_hang_as_they_do(make, tmp_path):
    """The engine itself: limits by what the existing wire pulls, measured wires, histories not known."""
    study = make.TinyStudy(tmp_path / "study")
    make.measured_drake(study)
    study.text += make.STRENGTH + SECOND_OPTION.replace('limit = "18 % RTS"\ntemperature = 10',
                                                        'limit = "existing"\ncase = "strength"')
    with open_study(study.write()) as opened:
        facts, plan, _ = opened.laid_out
        scene, _ = make_scene(facts, plan, 0, len(plan.spans) - 1)
    strung, asked = scene.strung, ask_strung(scene.groups, facts.options, facts.cases, None, scene.sections)
    assert strung.final_doubtful.any() and (asked.limits.kind == "existing").any()
    groups = np.arange(len(scene.groups))
    changed = change_inputs(asked, strung, groups, {}, {"mass": np.zeros((2, len(groups)))})
    g, o, k = (v.ravel() for v in np.indices(strung.wind.shape))
    for taut, tension in ((False, strung.horizontal_tension), (True, strung.taut_tension)):
        states = WireStates(g, o, k, strung.wind[g, o, k], np.full(len(g), taut))
        H, weight = changed.tension(states)
        np.testing.assert_array_equal(H, np.tile(tension.ravel(), (2, 1)))
        np.testing.assert_array_equal(weight[0], strung.weight.ravel())


def test_the_command_draws(study, capsys):
    study.text += "\n[uncertainty]\n"
    study.write()
    assert run("check", study.path, "--draws", "99") == 2
    capsys.readouterr()
    assert run("check", study.path, "--draws", "200") == 0
    assert "Violations expected: today 0.0" in capsys.readouterr().err
    again = ask(study.path, "check", draws=200).frames["clearances"]
    rows = pyogrio.read_dataframe(study.output, layer="clearances")
    np.testing.assert_array_equal(rows.probability_short, again.probability_short)


FAULTS = {'sd = -1\nsource = "x"': "sd", 'sd = "0.1 kg"\nsource = "x"': "sd", "sd = 0.1": "source",
          'sd = 0.1\nsource = "x"\ncommon = "wire"': "common"}


@pytest.mark.parametrize("text", FAULTS)
def test_a_deviation_without_source_or_of_another_kind_is_refused(study, text, capsys):
    study.text += "\n[uncertainty.ground]\n" + text + "\n"
    study.write()
    assert study.command() == 2
    assert f"uncertainty.ground.{FAULTS[text]}" in capsys.readouterr().err
