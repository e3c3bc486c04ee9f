"""One line written in several ways gets the same findings: what a span clears depends on that span alone.

Not on the order in which the line is named, nor on east and west, the grid, the tiles of the raster, the order of rows,
what other options and cases the study has, nor how many spans are worked on at once. Symmetry needs no source.

A short line is looked at; `RANDOM_LINES=20 python -m pytest tests/properties/test_same_answer.py` takes that many,
as long as they come, and each of the ways alone.
"""

import os
import re

import numpy as np
import pyogrio
import pytest

import corridor
from tests.random_lines import Variation, random_line, write

#: How many lines are asked for, none: the one of the ordinary tests.
MANY = int(os.environ.get("RANDOM_LINES", 0))
SEEDS = range(MANY) if MANY else (3,)
#: Margins agree to this [m]: the millimetre that findings are held to.
MARGIN = 1e-3
#: The nearest ground beside a wire is looked for in four ways at once, which stop short on the edge of two cells: on
#: ground as rough as these lines have, of 0.15 m from cell to cell, by this [m].
BESIDE_ROUGH_GROUND = 0.015
#: In another grid straight lines are other lines: the chord of 420 m in a neighbouring zone of UTM, 400 km from its
#: meridian, is a geodesic to 0.3 mm (L² E / 8 R²); corners of roads and outlines go along, and on ground and walls as
#: steep as one in one that is as much in height. Ground lengths agree to 1e-8. Beside the millimetre.
GRID_MARGINS = {"EPSG:25833": 2e-3, "EPSG:5109": 1.5e-3, "EPSG:2180": 3e-3}
#: Radii of crowns and half the widths of roads count in the grid no less than on the ground: where its scale is 0.9996,
#: as in the line's own, 4 m are 1.6 mm more.
#: Beside slopes and falling trees such a radius is taken as one on the ground: there it is too much by the scale, of
#: which 4.5 m are told so [m].
WIDER = {"EPSG:25833": 4.5 * 0.0016, "EPSG:2180": 4.5 * 0.0058}
RADIUS_MARGIN, ROUND = 1.6e-3, ("tree", "road", "building")
#: A degree of the wire moves it by no less than this [m/K], in the flat where the hottest wires hang: what a margin's
#: tolerance is in degrees of the limit.
PER_DEGREE = 5e-3
#: In another grid a line over the ground is bent by millimetres, so its knot at the edge of a hole may be within: then
#: the piece beside, which is known, is told as unknown, too. So many cells more, one to either side and aslant, are
#: unknown there at most [-]; fewer are not.
EDGES_OF_HOLE = 3.0
UNKNOWN = re.compile("below ([0-9.]+) m of")
KEYS = {"clearances": ("line", "span", "option", "case", "against", "obstacle", "measure", "position"),
        "limits": ("line", "span", "option"),
        "not_assessed": ("line", "span", "option", "case", "wire", "against", "obstacle", "reason")}
SHUFFLED = Variation(tiles=(3, 2), cases_backwards=True, shuffled=True)
WAYS = {"backwards": Variation(backwards=True), "mirrored": Variation(mirrored=True), "shuffled": SHUFFLED}
if MANY:
    WAYS |= {"in tiles": Variation(tiles=(3, 2)), "cases backwards": Variation(cases_backwards=True),
             "files shuffled": Variation(shuffled=True)}
GRIDS = [*GRID_MARGINS] if MANY else [*GRID_MARGINS][1:]


class Findings:
    """Rows of a file of findings by their keys; `backwards` turns the names of spans."""

    def __init__(self, path, *, backwards=False):
        self.clearances, self.limits, self.gaps = (
            _keyed(pyogrio.read_dataframe(path, layer=layer, read_geometry=False), names, backwards)
            for layer, names in KEYS.items())

    def of(self, option):
        """The rows of one option alone."""
        chosen = object.__new__(Findings)
        for name in ("clearances", "limits", "gaps"):
            rows = getattr(self, name)
            setattr(chosen, name, {key: row for key, row in rows.items() if option in key})
        return chosen


def _keyed(table, names, backwards):
    rows = {}
    for row in table.to_dict("records"):
        if backwards and isinstance(row["span"], str):
            row["span"] = "-".join(row["span"].split("-")[::-1])
        # Which of two wires that touch is the upper one is chance.
        if row.get("measure") == "radial" and row["actual_m"] < MARGIN:
            row["position"] = "touching"
        rows[tuple("" if row[n] is None or row[n] != row[n] else row[n] for n in names)] = row
    return rows


def _measured(gaps):
    """Gaps without the length in their words that is unknown, and these lengths [m]; two may then be one."""
    lengths = {}
    for key in gaps:
        found = UNKNOWN.search(key[-1])
        short = (*key[:-1], UNKNOWN.sub("below a part of", key[-1]))
        lengths[short] = max(lengths.get(short, 0.0), float(found[1]) if found else 0.0)
    return lengths


@pytest.fixture(scope="module", params=SEEDS)
def line(request):
    return random_line(request.param, structures=None if MANY else 3)


@pytest.fixture(scope="module")
def plainly(line, tmp_path_factory):
    """Findings of the line as it is."""
    return checked(line, tmp_path_factory.mktemp("plain"))


def checked(line, folder, variation=None):
    """Findings of a line in some variation."""
    result = corridor.check_study(write(line, folder, variation))
    return Findings(result.output, backwards=bool(variation and variation.backwards))


def compare(one, other, margin=MARGIN, more_unknown=0.0, radius=0.0, wider=0.0):
    """The same rows, margins that agree, limits that agree to what a margin's tolerance is in degrees; of the ground
    no less is unknown, to a decimetre, and no more than so much [m]; things that have a `radius` may be off by more,
    and `wider` ones be nearer, never farther."""
    assert one.clearances.keys() == other.clearances.keys()
    assert more_unknown or one.gaps.keys() == other.gaps.keys()
    unknown, there = _measured(one.gaps), _measured(other.gaps)
    assert unknown.keys() == there.keys()
    assert not {key: (m, there[key]) for key, m in unknown.items() if not -0.15 < there[key] - m < 0.15 + more_unknown}
    assert one.limits.keys() == other.limits.keys()
    apart = {key: other.clearances[key]["margin_m"] - row["margin_m"] for key, row in one.clearances.items()}
    beyond = {key: off for key, off in apart.items()
              if not -wider * (key[4] in ROUND) <= off + max(margin + radius * (key[4] in ROUND), _allowed(key))
              or not off <= max(margin + radius * (key[4] in ROUND), _allowed(key))}
    assert not beyond, sorted(beyond.items(), key=lambda pair: -abs(pair[1]))[:5]
    for key, row in one.limits.items():
        allowed = max(margin, _allowed(("",) * 4 + (row["governing_against"], "", row["governing_measure"])))
        allowed += wider * (row["governing_against"] in ROUND)
        for name in ("limit_temperature_c", "clearing_temperature_c"):
            np.testing.assert_allclose(other.limits[key][name], row[name], rtol=0, atol=allowed / PER_DEGREE,
                                       err_msg=f"{name} of {key}")
        assert other.limits[key]["governs"] == row["governs"], key


def _allowed(key):
    """What a row of clearances may be off for a reason of its own [m]."""
    return BESIDE_ROUGH_GROUND if (key[4], key[6]) == ("ground", "radial") else 0.0


def test_there_is_something_to_compare(plainly):
    """Ground and things, passed and failed, at rest and in wind: an empty file agrees with anything."""
    margins = np.array([row["margin_m"] for row in plainly.clearances.values()])
    assert (margins < 0).sum() > 5 and (margins > 0).sum() > 100
    assert {"ground", "road", "building", "tree", "line"} <= {key[4] for key in plainly.clearances}
    assert {"hot", "swung", "uneven ice"} <= {key[3] for key in plainly.clearances}


@pytest.mark.parametrize("way", WAYS)
def test_written_another_way(line, plainly, way, tmp_path):
    """Backwards, mirrored, and with tiles of the raster, cases, and features in their files in another order."""
    compare(plainly, checked(line, tmp_path, WAYS[way]))


@pytest.mark.parametrize("grid", GRIDS)
def test_in_another_grid(line, plainly, grid, tmp_path):
    """A neighbouring zone of UTM, and transverse Mercators with another meridian, scale and false easting: one near,
    one ten degrees away, whose lengths are off by 0.5 %."""
    compare(plainly, checked(line, tmp_path, Variation(crs=grid)),
            GRID_MARGINS[grid], EDGES_OF_HOLE * line.cell, RADIUS_MARGIN, WIDER.get(grid, 0.0))


def test_without_an_option_and_in_other_batches(line, plainly, tmp_path, monkeypatch):
    """Each option alone beside the one of today, a section at a time, says of itself what it says in company."""
    names = sorted({key[2] for key in plainly.limits} - {"existing"})
    monkeypatch.setattr("corridor.check.BATCH", 1)
    for i, name in enumerate(names if MANY else names[:1]):
        others = checked(line, tmp_path / str(i), Variation(without=(name,)))
        for left in {"existing", *names} - {name}:
            compare(plainly.of(left), others.of(left))
