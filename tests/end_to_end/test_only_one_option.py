"""Findings of one option alone, as plans look at: they are those that the option has among the others."""

import numpy as np
import pytest
import shapely

from corridor.check import find
from corridor.opened import Opened, prepare
from corridor.planning.remedies.variants import of_option

from .conftest import EAST, NORTH, SECOND_OPTION

HOT = '\n[[cases]]\nname = "emergency"\ntemperature = "emergency"\nwind = "100 Pa"\n'


def rows(path, option, only):
    """Layers of an option, `only` it or all looked at."""
    with Opened(path) as opened:
        facts, plan, ground = prepare(opened.inputs, opened.clock)
        return of_option(option, find(facts, plan, ground, only=only))


@pytest.mark.parametrize("option", ["today", "alloy"])
def test_one_option_alone_has_what_it_has_among_the_others(study, option):
    """Trees, a shed, a line below and beside, a slope and the edge of the right-of-way, in wind and without."""
    study.text += SECOND_OPTION.replace("150\n", "150\nemergency_temperature = 170\n") + HOT
    study.rules = study.rules.replace("4.5", "7") + "tree,tree,radial,3.5,,,,,,\nshed,building,horizontal,4,,,,,,\n" \
        "cross,line,vertical,2.5,,,,,,\n"
    rng = np.random.default_rng(11)
    e, n = EAST + rng.uniform(20, 880, 40), NORTH + rng.uniform(-14, 14, 40)
    study.add_obstacle("trees", "tree", shapely.points(e, n), 'height_column = "tall"\nradius = 1.5\nfalls = true',
                       tall=rng.uniform(1, 9, 40))
    study.add_obstacle("sheds", "building", [shapely.box(EAST + 400, NORTH - 11, EAST + 408, NORTH - 8)], "height = 6")
    lines = [shapely.LineString([(EAST + x, NORTH - 40, 113), (EAST + x + 30, NORTH + 40, 113)]) for x in (130, 760)]
    lines.append(shapely.LineString([(EAST, NORTH + 12, 118), (EAST + 900, NORTH + 12, 130)]))
    study.add_obstacle("lines", "line", lines, 'voltage = "220 kV"')
    study.add_roads()
    path = study.write()
    whole, alone = rows(path, option, None), rows(path, option, option)
    assert set(whole) == set(alone) and len(whole["clearances"]["case"]) > 60
    assert {"radial", "horizontal", "vertical"} == set(whole["clearances"]["measure"])
    for layer, columns in whole.items():
        for name, values in columns.items():
            other = alone[layer][name]
            if name == "inherited":  # which is by the existing option, where that is looked at
                continue
            if name == "geometry":
                values, other = (shapely.get_coordinates(v, include_z=True) for v in (values, other))
            if np.asarray(values).dtype.kind == "f":
                np.testing.assert_allclose(other, values, rtol=0, atol=1e-6, err_msg=f"{layer}.{name}")
            else:
                assert [v if v == v else None for v in other] == [v if v == v else None for v in values], (layer, name)
    assert set(alone["clearances"]["option"]) == {option}
