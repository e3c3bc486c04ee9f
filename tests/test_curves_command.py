"""The command `curves` on the demo: knees, band and allowable sag, each found again by another way."""

import csv
import re
import shutil
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pyogrio
import pytest

from corridor import check_study
from corridor.cli import main
from corridor.errors import InputError
from corridor.jobs import curves as job
from corridor.jobs.curves import write_curves
from tests.common import ask

DEMO = Path(__file__).resolve().parents[1] / "demo_corridor"
OPTIONS = ["existing", "thermal alloy", "annealed on steel", "annealed on carbon"]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """The files of the demo."""
    copy = tmp_path_factory.mktemp("demo") / "corridor"
    shutil.copytree(DEMO, copy, ignore=shutil.ignore_patterns("*.py", "findings*.gpkg"))
    return copy


@pytest.fixture(scope="module")
def study(folder):
    """Return a function that writes the demo's study with some text replaced, and gives its path."""
    text = (DEMO / "study.toml").read_text(encoding="utf-8")

    def write(name, *changes):
        changed = text
        for old, new in changes:
            assert old in changed
            changed = changed.replace(old, new, 1)
        path = folder / f"{name}.toml"
        path.write_text(changed, encoding="utf-8")
        return path

    return write


@pytest.fixture(scope="module")
def found(study):
    return ask(study("plain"), "curves")


@pytest.fixture(scope="module")
def back(study, found, tmp_path_factory):
    """Findings of the check with a case at the temperature at which the third option clears."""
    path = tmp_path_factory.mktemp("back") / "findings.gpkg"
    clears = f'"hot"\ntemperature = {found.options[2].clears_to!r}'
    check_study(study("back", ('"hot"\ntemperature = "maximum"', clears)), path)
    return {layer: pyogrio.read_dataframe(path, layer=layer, read_geometry=False)
            for layer in ("wires", "clearances", "limits")}


def run(*arguments):
    with pytest.raises(SystemExit) as end:
        main([str(argument) for argument in arguments])
    return end.value.code or 0


def test_the_knee_is_where_the_curve_bends(found):
    """By the second difference of the curve alone, which knows nothing of parts; within two of its steps of 2 K.

    The knee is that of the ruling span; the span drawn is 335 m of 303, and bends within a kelvin of it.
    """
    assert [option.name for option in found.options] == OPTIONS
    for option in found.options:
        T = np.arange(option.temperature[0], option.temperature[-1] + 0.1, 2.0)
        bend = np.diff(np.interp(T, option.temperature, option.sag), 2)
        assert T[1:-1][np.argmin(bend)] == pytest.approx(option.knee, abs=4)
        assert np.interp(option.knee, option.temperature, option.sag) == pytest.approx(option.knee_sag, rel=1e-9)


def test_the_band_opens_below_the_knee(found):
    """Below the knee of the lower end all three are one curve; above it more compression sags more.

    The knee is that of the ruling span; spans of other lengths bend some kelvins sooner or later. This one is longer by
    a tenth and bends first: 5 kelvins are left to it. The others pull a hundredth of a millimetre on it.
    """
    for option in found.options:
        cold = option.temperature < option.knee_low - 5
        np.testing.assert_allclose(option.sag_low[cold], option.sag_high[cold], atol=1e-4)
        hot = option.temperature > option.knee_high + 1
        assert np.all(option.sag_low[hot] < option.sag_high[hot] - 0.1)
        assert np.all((option.sag_low <= option.sag + 1e-4) & (option.sag <= option.sag_high + 1e-4))


def test_past_its_knee_carbon_hardly_sags_further(found):
    """Common practice, no source. "Hardly": a quarter of the annealed wire on steel, per kelvin."""
    slope = {}
    for option in found.options[2:]:
        ends = np.interp([100.0, 180.0], option.temperature, option.sag)
        slope[option.name] = (ends[1] - ends[0]) / 80
    assert 0 < slope["annealed on carbon"] < 0.25 * slope["annealed on steel"]


def test_the_allowable_sag_is_that_without_margin(found, back):
    """At the temperature at which an option clears, put into a case of its own, the check finds no margin, that sag."""
    option, wires, clear = found.options[2], back["wires"], back["clearances"]
    here = [(t["span"] == found.span) & (t["option"] == option.name) & (t["case"] == "hot") for t in (wires, clear)]
    sag = wires[here[0] & (wires["wire"] == found.wire)]["sag_m"].iloc[0]
    assert sag == pytest.approx(option.allowable_sag, abs=1e-4)
    margins = clear[here[1] & (clear["measure"] == "vertical") & (clear["position"] == "above")]["margin_m"]
    assert margins.min() == pytest.approx(0, abs=1e-3)


def test_options_agree_on_the_allowable_sag(found):
    """It is the place's, not the wire's: strings swing it by centimetres."""
    known = [option.allowable_sag for option in found.options if np.isfinite(option.allowable_sag)]
    assert len(known) == 3
    assert np.ptp(known) < 0.02
    assert found.allowable_sag == min(known)
    assert found.options[3].clears == "its maximum"


def test_the_worst_span_is_drawn(study, found, back):
    """By the check itself: the span with a violation by the most where wires pass above things, at their hottest."""
    limits, clear = back["limits"], back["clearances"].query("case == 'emergency' and measure == 'vertical'")
    assert clear[clear["position"] == "above"].groupby("span")["margin_m"].min().idxmin() == found.span
    assert found.unknown == tuple(limits[limits["governs"] == "not assessed"]["span"].unique())
    assert found.status == 3
    assert ask(study("plain"), "curves", section="N16-N22").section == "N16-N22"


def test_a_span_that_was_not_assessed_says_so(study, tmp_path, capsys):
    assert run("curves", study("plain"), "--span", "N14-N15", "--folder", tmp_path / "out") == 3
    assert "Not assessed, so never the worst: N14-N15" in capsys.readouterr().out
    assert "Allowable sag not known: span not assessed" in (tmp_path / "out" / "curves.svg").read_text(encoding="utf-8")


def test_the_drawing_tells_four_options_apart(found, tmp_path):
    """In black and white: each has its name beside it, its knee, and a dash of its own."""
    drawing, points, knees = write_curves(found, tmp_path / "out")
    text = drawing.read_text(encoding="utf-8")
    words = " ".join("".join(each.itertext()) for each in ElementTree.fromstring(text).iter()
                     if each.tag.endswith("}text"))
    for option in found.options:
        assert option.name in words
        assert f"knee {option.knee:.0f} °C" in words
    assert f"allowable {found.allowable_sag:.2f} m" in words
    lines = re.findall(r'style="fill: none;([^"]*stroke-width: (?:1\.9|2\.6)[^"]*)"', text)
    assert len({re.sub(r"stroke: [^;]*;?", "", style).strip() for style in lines}) == 4
    with points.open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert list(dict.fromkeys(row["option"] for row in rows)) == OPTIONS
    with knees.open(newline="", encoding="utf-8") as file:
        assert [row["clears_to"] for row in csv.DictReader(file)][-1] == "its maximum"


@pytest.mark.parametrize(("kind", "head"), [("svg", b"<?xml"), ("png", b"\x89PNG"), ("pdf", b"%PDF")])
def test_drawings_are_the_same_every_time(found, tmp_path, kind, head):
    first, second = (write_curves(found, tmp_path / name, kind)[0].read_bytes() for name in "ab")
    assert first == second
    assert first.startswith(head)


@pytest.mark.parametrize(("names", "word"), [({"span": "N03-NO4"}, "N03-N04"), ({"section": "N01-N07"}, "N01-N06"),
                                             ({"line": "Tarowmesk 1"}, "Tarrowmesk 1"),
                                             ({"section": "N06-N11", "span": "N01-N02"}, "N06-N07")])
def test_names_that_are_not_there(study, names, word):
    with pytest.raises(InputError, match=word):
        ask(study("plain"), "curves", **names)


def test_a_name_in_several_lines_is_refused():
    with pytest.raises(InputError, match="--line"):
        job._only_line(np.array(["a", "b"], object), "1-2")
    job._only_line(np.array(["a"], object), "1-2")
    job._only_line(np.array(["a", "b"], object), None)
