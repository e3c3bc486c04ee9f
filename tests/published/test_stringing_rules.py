"""Rules of stringing against the numbers of their sources; recalled ones say so in the table, and here."""

from pathlib import Path

import numpy as np
import pytest

from corridor.conductor import catalogue
from corridor.errors import InputError
from corridor.geometry.catenary import greatest_sag
from corridor.installation.wire_rules import BUILT_IN, kinds_of, load_wire_rules, rules_markdown
from corridor.mechanics.clipping import clip_in, clipping_offsets
from corridor.mechanics.elongation import TwoPart
from corridor.mechanics.pulling import friction
from corridor.mechanics.return_wave import return_time
from corridor.mechanics.supports import FREE, HELD, Supports, end_forces
from corridor.outputs.stringing_layers import write_reference

RULES = load_wire_rules()
INCH = 0.0254


def rule(item, kind="every wire"):
    return next(row for row in RULES.rows if (row.kind, row.item) == (kind, item))


def test_friction_over_travellers():
    """`1/e^n` with 0.98 (IEEE Std 524, recalled): n = 5, 10, 15, 20 give 1.106, 1.224, 1.354, 1.498."""
    e = rule("traveller efficiency").value
    assert friction([5, 10, 15, 20], e).round(3).tolist() == [1.106, 1.224, 1.354, 1.498]


def test_travellers_and_bullwheels_of_one_wire():
    """20 d - 4 in and 39 d - 4 in (IEEE Std 524, recalled): 18.2 and 39.2 in for a wire of 1.108 in."""
    d = 1.108 * INCH
    assert rule("traveller diameter").of(d) / INCH == pytest.approx(18.2, abs=0.05)
    assert rule("bullwheel diameter").of(d) / INCH == pytest.approx(39.2, abs=0.05)
    # 35 d of composite cores is less than that for wires of more than an inch: the greater holds.
    assert rule("bullwheel diameter", "composite core").of(d) / INCH == pytest.approx(38.8, abs=0.05)


@pytest.mark.parametrize(("sag", "seconds"), [(3.494, 3.377), (6.962, 4.766), (9.302, 5.509)])
def test_return_wave(sag, seconds):
    """US rural bulletin 1726C-115, equation 1: sag [in] = 48.3 (T/2N)^2, 0.30646 (T/N)^2 in metres.

    The bulletin's parabola and ours along the catenary part by the square of sag over span, 3e-4 at 3 %.
    """
    assert 48.3 / 4 * INCH == pytest.approx(9.80665 / 32, rel=1.1e-3)
    assert np.sqrt(sag / 0.30646) == pytest.approx(seconds, abs=6e-4)
    span, constant = 300.0, 300.0**2 / 8 / sag
    own = float(greatest_sag(span, 0.0, constant))
    time = float(return_time(span, 0.0, constant, returns=3)) / 3
    assert time / np.sqrt(own / 0.30646) == pytest.approx(1.0, rel=1e-3)


@pytest.mark.parametrize(("name", "kinds"), [
    ("264-AL1/62-ST1A", ("every wire",)),
    ("264-A0/62-ST6C", ("every wire", "annealed aluminium")),
    ("23.5-A0TW/CF-7.9", ("every wire", "annealed aluminium", "composite core"))])
def test_kinds_of_wires(name, kinds):
    assert kinds_of(catalogue.find(name)) == kinds


def test_the_strictest_rule_holds():
    carbon, steel = catalogue.find("23.5-A0TW/CF-7.9"), catalogue.find("264-AL1/62-ST1A")
    for wire in (carbon, steel):
        number, row = RULES.strictest(wire, "bullwheel diameter")
        assert row is not None
        assert number == max(each.of(wire.diameter) for each in RULES.of(wire, "bullwheel diameter"))
    assert RULES.strictest(steel, "groove depth") == (pytest.approx(np.nan, nan_ok=True), None)
    assert RULES.strictest(carbon, "groove depth")[0] == pytest.approx(carbon.diameter / 2)
    assert [row.kind for row in RULES.of(carbon, "grips and fittings")] == [*kinds_of(carbon)]


def test_every_rule_says_where_it_is_from():
    assert all(row.source and row.confidence for row in RULES.rows if np.isfinite(row.value) or row.words != "of the "
               "wire in hand")
    assert rule("least bending radius").confidence == "not given"


def test_a_file_goes_before_the_table(tmp_path):
    path = tmp_path / "own.csv"
    path.write_text("kind,item,value,unit,source,confidence\nevery wire,sag tolerance,0.1,m,owner,invented\n")
    own = load_wire_rules(path)
    assert [row.value for row in own.rows if row.item == "sag tolerance"] == [0.1]
    assert len(own.rows) == len(RULES.rows)


@pytest.mark.parametrize(("row", "word"), [
    ("every wire,sag tolerances,0.1", "sag tolerance"), ("every wires,sag tolerance,0.1", "every wire"),
    ("every wire,sag tolerance,-1", "above 0"), ("every wire,traveller efficiency,98", "0.5"),
    ("every wire,sag tolerance,0.1\nevery wire,sag tolerance,0.2", "once")])
def test_a_bad_file_is_refused(tmp_path, row, word):
    path = tmp_path / "own.csv"
    path.write_text("kind,item,value\n" + row + "\n")
    with pytest.raises(InputError, match=word):
        load_wire_rules(path)
    assert BUILT_IN.exists()


@pytest.mark.parametrize("rise", [0.05, 0.2])
def test_clipping_by_the_rules_of_a_tutorial(rise):
    """A utility's tutorial on sag corrections and clipping offsets (2007, read): over travellers the tension ahead and
    back is one, so spans uphill hang with less sag than clamped ones, those downhill with more; the sum of unstressed
    wire stays; clamped, horizontal tension is one and strings hang plumb.
    """
    spans, count = 300.0, 4
    hinge = np.zeros((1, count + 1, 3))
    hinge[0, :, 1], hinge[0, :, 2] = spans * np.arange(count + 1), rise * spans * np.arange(count + 1)
    length = np.array([0.0, 1.5, 1.5, 1.5, 0.0])
    hinge[0, :, 2] += length
    supports = Supports(hinge, np.where(length > 0, FREE, HELD), length, 400.0)
    part = TwoPart(*(np.float64(v) for v in (22.165e6, 12.465e6, 23e-6, 11.5e-6, 3e-4, 0.0, 4e3)))
    load, H = np.array([0, 0, -15.965]), 28e3
    lying = clipping_offsets(supports, [H], [load], [15.0], part)
    clamped = clip_in(supports, [H], [[load]], [15.0], part)
    np.testing.assert_allclose(clamped.end[0, 1:-1], hinge[0, 1:-1] - [0, 0, 1.5], atol=1e-6)
    on_start, on_end = end_forces(lying.sheave[:, :-1], lying.sheave[:, 1:], load, lying.horizontal_tension)
    np.testing.assert_allclose(np.linalg.norm(on_end, axis=-1)[:, :-1], np.linalg.norm(on_start, axis=-1)[:, 1:],
                               rtol=1e-8)
    # The ratio of tensions of neighbours is that of their heights: `H + w (y1 - y0)`, near enough.
    assert np.all(np.diff(lying.horizontal_tension[0]) > 0) and lying.horizontal_tension[0, 0] < H
    assert lying.horizontal_tension[0, -1] > H
    L = [np.array([span_length(*np.diff(lying.sheave[0, i:i + 2], axis=0)[0, 1:], T / 15.965) for i, T in
                   enumerate(lying.horizontal_tension[0])]),
         np.array([span_length(spans, np.diff(clamped.end[0, i:i + 2, 2])[0], H / 15.965) for i in range(count)])]
    # Without what tension stretches of them, `H sqrt(1 + slope^2)/EA` near enough: both parts carry.
    stiff = (part.outer_stiffness + part.core_stiffness) / np.hypot(1.0, rise)
    L = [lengths / (1 + tension / stiff) for lengths, tension in zip(L, (lying.horizontal_tension[0], H), strict=True)]
    assert L[0].sum() == pytest.approx(L[1].sum(), abs=1e-3)
    # What each span has too much, from the first on, is where its clamp goes.
    np.testing.assert_allclose(np.cumsum(L[1] - L[0])[:-1], lying.offset[0, 1:-1], atol=2e-3)


def span_length(span, rise, constant):
    """Length of a catenary `sqrt((2 C sinh S/2C)^2 + h^2)`."""
    return np.hypot(2 * constant * np.sinh(span / 2 / constant), rise)


def test_the_page_tells_the_rules():
    page = (Path(__file__).parents[2] / "docs" / "stringing.md").read_text(encoding="utf-8")
    assert rules_markdown(RULES.rows) in page


def test_the_page_of_layers_is_up_to_date(tmp_path):
    write_reference(tmp_path / "layers.md")
    page = Path(__file__).parents[2] / "docs" / "stringing_layers.md"
    assert page.read_text(encoding="utf-8") == (tmp_path / "layers.md").read_text(encoding="utf-8")
