"""Wires as surveyed: a line described wrongly is checked as it hangs.

The truth is the same line with other facts, its points shot from where the engine hangs it: what is tested is the way
from points to a state and on to margins, not the engine (tests/published, tests/properties). How large errors may be
follows from the points: 5 cm in each direction, 600 a wire, some of them wrong.
"""

import copy
import os
import tomllib

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely

from corridor.errors import InputError
from corridor.session import open_study
from corridor.thermal.rating import Weather, temperature_at
from tests.clouds_of_wires import hung_today, named_shots, points_on_wires, write_cloud
from tests.common import run
from tests.random_lines import random_line, write

from .conftest import GRID

KEYS = ["span", "case", "against", "measure"]
SURVEY = '\n[[surveys]]\nname = "flown"\nfiles = ["flown.las"]\n'
WARM = SURVEY + "temperature = 30\n"


def truth_of(study, change=lambda text: text.replace("18 % RTS", "15 % RTS"), *, slant=0.0, temperature=30.0):
    """The scene of a study that says something else of the line, and its wires at the time of the survey."""
    study.write()
    return hung_today(tomllib.loads(change(study.text)), study.folder, temperature, slant)


def fly(study, scene, hung, *, seed=1, **keys):
    """Write the points of a flight."""
    place = points_on_wires(scene, hung, np.random.default_rng(seed), **keys)
    write_cloud(study.folder / "flown.las", place, GRID)


def margins(study, text):
    """Margins of a study of some text, with nothing written."""
    with open_study(tomllib.loads(text), folder=study.folder, trust=True) as opened:
        found = opened.check()
        return found.frames["clearances"].set_index(KEYS).margin_m, found


@pytest.mark.parametrize("slant", [0.0, np.tan(np.radians(10)), -0.1])
def test_hot_wires_come_back(study, slant):
    """Described at 18 % RTS, hung at 15 %: half a metre too high when hot. The survey puts that right to 2 cm."""
    fly(study, *truth_of(study, slant=slant), count=1200)
    true, _ = margins(study, study.text.replace("18 % RTS", "15 % RTS"))
    wrong, _ = margins(study, study.text)
    found, result = margins(study, study.text + WARM)
    hot = [key for key in true.index if key[1] == "hot"]
    assert (wrong[hot] - true[hot]).min() > 0.5
    np.testing.assert_allclose(found[hot], true[hot], atol=0.02)
    seen = result.frames["surveyed_wires"]
    assert seen.used.all() and len(seen) == 6
    assert np.mean(np.abs(seen.swing_deg - np.degrees(np.arctan(slant))) < 0.5) == 1
    np.testing.assert_allclose(seen.rms_m, 0.05, atol=0.01)
    assert result.frames["surveyed_spans"].wires_used.tolist() == [2, 2, 2]


def test_a_wire_taken_for_hotter_than_it_was_is_on_the_unsafe_side(study):
    """A level span of 300 m at 30 °C: 5 K make 0.155 m at 100 °C (computed from the state equation of a linear
    wire, not read in a publication); here, at 75 °C, the same sign and size."""
    fly(study, *truth_of(study))
    at = {T: margins(study, study.text + SURVEY + f"temperature = {T}\n")[0] for T in (25, 30, 35)}
    hot = [key for key in at[30].index if key[1] == "hot"]
    assert (at[35][hot] - at[30][hot]).between(0.08, 0.25).all()
    assert (at[25][hot] - at[30][hot]).between(-0.25, -0.08).all()


def test_what_was_seen_hangs_as_it_was_seen(study):
    """In the state of the survey the model is the fitted wire: sags differ by nothing, whatever the spans pull."""
    fly(study, *truth_of(study, slant=0.1))
    text = study.text + WARM
    with open_study(tomllib.loads(text), folder=study.folder, trust=True) as opened:
        seen = opened.laid_out.facts.surveyed
    scene, hung = hung_today(tomllib.loads(text), study.folder, 30.0, 0.1)
    row = seen.rows(scene.wires, scene.spans)
    assert (row >= 0).all()
    np.testing.assert_allclose(hung.horizontal_tension, seen.horizontal_tension[row], rtol=2e-3)


def test_a_slipped_clamp_is_seen_and_told(study):
    """One wire slipped through its clamp, 0.1 m of it: from the first span to the second."""
    scene, hung = truth_of(study)
    one = np.flatnonzero((scene.wires.wire == "A") & (scene.spans.name[scene.wires.span] == "1-2"))[0]
    other = np.flatnonzero((scene.wires.wire == "A") & (scene.spans.name[scene.wires.span] == "2-3"))[0]
    H = hung.horizontal_tension.copy()
    H[one], H[other] = 0.7 * H[one], 1.3 * H[other]
    fly(study, scene, type(hung)(**{**vars(hung), "horizontal_tension": H}))
    _, result = margins(study, study.text + WARM)
    seen = result.frames["surveyed_wires"].set_index(["span", "wire"])
    assert seen.used.all()
    pulls = seen.loc[[("1-2", "A"), ("2-3", "A")], "horizontal_tension_n"]
    np.testing.assert_allclose(pulls, H[[one, other]], rtol=0.01)
    assert "slipped clamp" in seen.loc[("1-2", "A"), "note"] and pd.isna(seen.loc[("1-2", "B"), "note"])
    assert any("slipped clamp" in text for text in result.warnings)
    wires = result.frames["wires"]
    hangs = wires[(wires.case == "hot") & (wires.span == "1-2")].set_index("wire").sag_m
    assert hangs["A"] > hangs["B"] + 1.0


@pytest.mark.parametrize("arrangement", ["horizontal", "vertical"])
def test_the_wires_of_a_bundle_are_told_apart(study, arrangement):
    study.change("existing = true", f'existing = true\nbundle = 2\nbundle_spacing = 0.4\n'
                                    f'bundle_arrangement = "{arrangement}"')
    fly(study, *truth_of(study), count=1500)
    true, _ = margins(study, study.text.replace("18 % RTS", "15 % RTS"))
    found, result = margins(study, study.text + WARM)
    hot = [key for key in true.index if key[1] == "hot"]
    np.testing.assert_allclose(found[hot], true[hot], atol=0.03)
    assert result.frames["surveyed_wires"].used.all()


def test_what_was_not_seen_is_said(study):
    """One wire of the last section carries no point, and the first span none at all."""
    scene, hung = truth_of(study)
    place = points_on_wires(scene, hung, np.random.default_rng(1), wrong=0.0)
    e = place[:, 0] - 500_000
    lost = (e < 300) | ((e > 600) & (place[:, 1] > 5_600_000))
    write_cloud(study.folder / "flown.las", place[~lost], GRID)
    study.text += WARM
    study.write()
    with open_study(study.path) as opened:
        result = opened.survey()
    wires = result.frames["surveyed_wires"].set_index(["span", "wire"])
    assert result.status == 3
    assert not wires.loc[("3-4", "A"), "used"] and "points" in wires.loc[("3-4", "A"), "reason"]
    assert wires.loc[("3-4", "B"), "used"] and ("1-2", "A") not in wires.index
    assert any("no wire was seen in 1 span of sections that were surveyed" in text and "1-2 of main" in text
               for text in result.words)
    assert any("not taken: A in 3-4" in text for text in result.words)
    # The unseen wire hangs with the tension of those of its section that were seen.
    with open_study(study.path) as opened:
        sag = opened.check().frames["wires"].set_index(["span", "wire", "case"]).sag_m
    assert sag["3-4", "A", "hot"] == pytest.approx(sag["3-4", "B", "hot"], rel=0.02)
    assert sag["1-2", "A", "hot"] == pytest.approx(sag["2-3", "A", "hot"], rel=0.02)


def test_a_section_without_points_is_said(study):
    scene, hung = truth_of(study)
    place = points_on_wires(scene, hung, np.random.default_rng(1))
    write_cloud(study.folder / "flown.las", place[place[:, 0] > 500_610], GRID)
    found, result = margins(study, study.text + WARM)
    wrong, _ = margins(study, study.text)
    assert any("no survey counts in 1 section," in text and "1-3 of main" in text for text in result.warnings)
    assert found["1-2", "hot", "ground", "vertical"] == pytest.approx(wrong["1-2", "hot", "ground", "vertical"])


@pytest.mark.parametrize("more", ["", "attachments = true\n"])
def test_where_nothing_counts_the_line_is_as_described(study, more):
    scene, hung = truth_of(study)
    fly(study, scene, hung, noise=1.0, count=100)
    wrong, _ = margins(study, study.text)
    found, result = margins(study, study.text + WARM + more)
    assert not result.frames["surveyed_wires"].used.any()
    np.testing.assert_array_equal(found, wrong)
    assert any("no wire of it counts" in text for text in result.warnings)


def test_attachments_as_seen(study):
    """Cross-arms stand 0.6 m lower than the framing says: margins fall by that if the survey counts for them."""
    lower = study.framings.replace(",19,suspension", ",18.4,suspension").replace(",20,suspension", ",19.4,suspension")
    lower = lower.replace(",18,strain", ",17.4,strain").replace(",19,strain", ",18.4,strain")
    described, study.framings = study.framings, lower
    fly(study, *truth_of(study))
    true, _ = margins(study, study.text.replace("18 % RTS", "15 % RTS"))
    study.framings = described
    study.write()
    kept, _ = margins(study, study.text + WARM)
    found, result = margins(study, study.text + WARM + "attachments = true\n")
    hot = [key for key in true.index if key[1] == "hot"]
    np.testing.assert_allclose(result.frames["surveyed_wires"].start_raise_m, -0.6, atol=0.05)
    np.testing.assert_allclose(found[hot], true[hot], atol=0.04)
    np.testing.assert_allclose(kept[hot], true[hot] + 0.6, atol=0.06)


def test_shots_and_layers_do_as_well(study):
    scene, hung = truth_of(study)
    true, _ = margins(study, study.text.replace("18 % RTS", "15 % RTS"))
    row, place = named_shots(scene, hung, 12)
    place = place + np.random.default_rng(2).normal(0, 0.01, place.shape)
    span, wire = scene.spans.name[scene.wires.span[row]], scene.wires.wire[row]
    rows = ["easting,northing,elevation,span,wire",
            *(f"{e:.3f},{n:.3f},{z:.3f},{a},{b}" for (e, n, z), a, b in zip(place, span, wire, strict=True))]
    (study.folder / "shots.csv").write_text("\n".join(rows))
    named = gpd.GeoDataFrame({"span": span, "wire": wire}, geometry=shapely.points(place), crs=GRID)
    named.to_crs("EPSG:25833").to_file(study.folder / "points.gpkg", layer="shots", driver="GPKG")
    gpd.GeoDataFrame(geometry=shapely.points(place), crs=GRID).to_file(study.folder / "bare.gpkg", driver="GPKG")
    hot = [key for key in true.index if key[1] == "hot"]
    found = {name: margins(study, study.text + WARM.replace("flown.las", name) + "accuracy = 0.01\n")[0]
             for name in ("shots.csv", "points.gpkg", "bare.gpkg")}
    for each in found.values():
        np.testing.assert_allclose(each[hot], true[hot], atol=0.06)
    np.testing.assert_allclose(found["points.gpkg"][hot], found["shots.csv"][hot], atol=0.002)


RATING = "\n[rating]\nambient = 20\nwind_speed = 1\nsolar = 600\nemissivity = 0.7\nabsorptivity = 0.9\n"
WEATHER = "current = 350\nambient = 18\nwind_speed = 1.5\nwind_angle = 60\nsolar = 700\n"


@pytest.mark.parametrize("seed", range(int(os.environ.get("RANDOM_LINES", "3"))))
@pytest.mark.parametrize("share", [0.0, 0.35])
def test_no_wire_is_made_of_what_is_on_none(tmp_path, seed, share):
    """Random lines, strung to other tensions and blown aside; a share of wires carries no point at all. Every wire that
    counts has its constant to five standard deviations or 1 %, those that carry points all count, and no other does."""
    rng = np.random.default_rng(seed)
    tables = tomllib.loads(write(random_line(seed), tmp_path).read_text())
    tables["obstacles"] = []
    truth = copy.deepcopy(tables)
    for limit in (limit for option in truth["options"] for limit in option["stringing"]):
        if str(limit["limit"]).endswith("RTS"):
            limit["limit"] = f"{float(limit['limit'].split()[0]) * rng.uniform(0.75, 1.25)} % RTS"
    scene, hung = hung_today(truth, tmp_path, 25.0, np.tan(np.radians(rng.uniform(-10, 10))))
    lost = rng.random(len(scene.wires)) < share
    place = points_on_wires(scene, hung, rng, count=300, of=~lost)
    write_cloud(tmp_path / "flown.las", place[np.isfinite(place).all(axis=1)], GRID)
    tables["surveys"] = [{"name": "flown", "files": ["flown.las"], "temperature": 25}]
    with open_study(tables, folder=tmp_path) as opened:
        found = opened.survey().frames["surveyed_wires"].set_index(["span", "wire"])
    keys = list(zip(scene.spans.name[scene.wires.span], scene.wires.wire, strict=True))
    constant = dict(zip(keys, hung.constant, strict=True))
    used = found[found.used]
    true = np.array([constant[key] for key in used.index])
    off = np.abs(used.catenary_constant_m - true)
    assert (off < np.maximum(5 * used.catenary_constant_sd_m, 0.01 * true)).all()
    carry = {key for key, none in zip(constant, lost, strict=True) if not none}
    assert set(used.index) == {key for key in carry if np.isfinite(constant[key])}


def test_weather_and_current_make_the_temperature(study):
    fly(study, *truth_of(study))
    study.text += RATING
    _, result = margins(study, study.text + SURVEY + WEATHER)
    with open_study(tomllib.loads(study.text), folder=study.folder) as opened:
        facts = opened.laid_out.facts
        bases = opened.laid_out.plan.base_elevation
    weather = Weather(ambient=18, wind_speed=1.5, wind_angle=60, solar=700, emissivity=0.7, absorptivity=0.9,
                      elevation=bases.max())
    T = temperature_at("ieee738", 350.0, weather, facts.heat.wires[0])
    assert result.frames["surveyed_wires"].temperature_c.tolist() == pytest.approx([float(T)] * 6)


def test_a_measured_tension_and_a_later_survey_go_before(study):
    fly(study, *truth_of(study))
    (study.folder / "measured.csv").write_text("section,temperature,horizontal_tension\n1-3,14,25000\n")
    study.change("existing = true\n", 'existing = true\nmeasured = "measured.csv"\n')
    again = WARM.replace('"flown"', '"again"')
    _, result = margins(study, study.text + WARM + again)
    wires = result.frames["surveyed_wires"].set_index(["survey", "span", "wire"])
    assert wires.loc[("flown", "3-4", "A"), "reason"] == "a later survey of the study counts"
    assert "measured tension" in wires.loc[("again", "1-2", "A"), "reason"]
    assert wires[wires.used].index.tolist() == [("again", "3-4", "A"), ("again", "3-4", "B")]


def test_the_command_writes_what_it_says(study, capsys):
    fly(study, *truth_of(study))
    study.text += WARM
    study.write()
    folder = study.folder / "out"
    assert run("survey", study.path, "--folder", folder) == 0
    assert "1-2" in capsys.readouterr().out
    assert sorted(path.name for path in folder.iterdir()) == ["fits.pdf", "surveyed.gpkg", "surveyed_spans.csv",
                                                              "surveyed_wires.csv"]
    wires = pyogrio.read_dataframe(folder / "surveyed.gpkg", layer="surveyed_wires")
    assert len(wires) == 6 and wires.geometry.has_z.all()
    assert run("check", study.path) == 0
    written = pyogrio.read_dataframe(study.output, layer="surveyed_wires")
    np.testing.assert_allclose(written.catenary_constant_m, wires.catenary_constant_m)
    files = pyogrio.read_dataframe(study.output, layer="inputs", read_geometry=False)
    assert "surveys.flown" in files.part.tolist()


def test_a_plan_carries_on_what_was_seen(study):
    """A road that the wire as surveyed comes too near is cleared by a raise; the copy, without the points, says so too,
    with the tensions as a table."""
    study.add_roads()
    study.rules = study.rules.replace("5.5", "8.5")
    fly(study, *truth_of(study, slant=0.1))
    study.text += WARM
    study.write()
    with open_study(study.path) as opened:
        before = opened.check()
        planned = opened.plan("today", study.folder / "plan")
    assert before.violations > 0 and planned.cleared
    assert planned.checked.violations == 0
    copy_ = tomllib.loads((study.folder / "plan" / "study.toml").read_text())
    assert "surveys" not in copy_ and copy_["options"][0]["measured"] == "measured.csv"
    seen = pd.read_csv(study.folder / "plan" / "measured.csv")
    assert set(seen.section) == {"1-3", "3-4"} and np.allclose(seen.swing, np.degrees(np.arctan(0.1)), atol=0.3)


@pytest.mark.parametrize(("text", "where", "found"), [
    (WARM.replace("temperature = 30\n", ""), "surveys.flown.temperature", "nothing"),
    (WARM + WEATHER, "surveys.flown.temperature", "a temperature, and"),
    (SURVEY + WEATHER.replace("solar = 700\n", ""), "surveys.flown.solar", "nothing"),
    (WARM.replace('["flown.las"]', '["flown.las", "line.gpkg"]'), "surveys.flown.files", "cloud and layer"),
    (WARM.replace("flown.las", "line.gpkg"), "feature", "no point with Z"),
    (WARM + "wire_classes = [9]\n", "surveys.flown.files", "no point within"),
    (WARM + 'crs = "EPSG:25833"\n', "surveys.flown.files", "no point within"),
    (WARM.replace("flown.las", "named.csv"), "span", "'7-8'"),
    (WARM.replace("flown.las", "half.csv"), "wire", "nothing"),
])
def test_what_cannot_be_a_survey_is_refused(study, text, where, found):
    scene, hung = truth_of(study)
    fly(study, scene, hung, count=40)
    (study.folder / "named.csv").write_text("easting,northing,elevation,span,wire\n500100,5600000,120,7-8,A\n")
    (study.folder / "half.csv").write_text("easting,northing,elevation,span,wire\n500100,5600000,120,1-2,\n")
    with pytest.raises(InputError) as error:
        margins(study, study.text + text)
    assert where in str(error.value) and found in str(error.value)


def test_a_shot_at_a_wire_that_hangs_elsewhere_is_refused(study):
    study.framings += "hold,D,phase,1,0,25,strain,,\nend,D,phase,1,0,25,strain,,\n"
    study.framings += "end,A,phase,1,-4,18,strain,,\nend,B,phase,1,5,19,strain,,\n"
    study.structures.loc[3, "framing"] = "end"
    (study.folder / "shots.csv").write_text("easting,northing,elevation,span,wire\n500100,5600000,120,1-2,D\n")
    study.write()
    with pytest.raises(InputError, match="'D' in span 1-2"):
        margins(study, study.text + WARM.replace("flown.las", "shots.csv"))


def test_a_survey_is_of_the_wire_that_hangs(study):
    fly(study, *truth_of(study), count=40)
    study.change("existing = true\n", "")
    with pytest.raises(InputError, match="no option that is existing"):
        margins(study, study.text + WARM)
