"""Geometry of candidates against a standard's table, and two redesigns that the trade repeats.

Common practice, no source: at the diameter of an ordinary 54/7 wire with 430 mm² of aluminium, annealed trapezoidal
aluminium on carbon fibre, 542 mm² lose up to 26 % less at the same current, and 494 mm² on a larger core raise the
rating to about 218 % (180 °C against the ordinary maximum). The areas are 60 and 87 mm² of core where such builds
are listed (recalled). With the diameter they ask for fills of 0.93 and 0.89, the range that is searched here.
"""

import numpy as np
import pytest

from corridor.conductor import catalogue
from corridor.conductor.materials import FOLDER, read_table
from corridor.line.case_loads import case_loads
from corridor.line.facts import Case, Limit, Option, Wiring
from corridor.line.section_wires import WireGroups
from corridor.line.states import solve_states
from corridor.mechanics.stringing import greatest_tension
from corridor.planning.conductor_search.candidates import Space, candidates_of
from corridor.planning.conductor_search.line_limits import Line
from corridor.planning.conductor_search.screening import screen
from corridor.rating.ratings import Ratings
from corridor.thermal.rating import Weather

EXISTING = catalogue.find("429-AL1/56-ST1A")
HOT = Weather(ambient=40, wind_speed=0.61, wind_angle=90, emissivity=0.8, absorptivity=0.8, solar=1000, elevation=0)
CASES = (Case("hot", "maximum", checks=("vertical",)), Case("ice", 0.0, ice=0.0127, checks=("vertical", "tension")),
         Case("wind", 10.0, wind=400.0, checks=("tension",)))


@pytest.mark.parametrize("row", [row for row in read_table(FOLDER / "iec_61089.csv") if row["outer_strands"] > 6],
                         ids=lambda row: row["name"])
def test_round_candidates_are_the_rows_of_iec_61089(row):
    # IEC 61089:1991 (read): areas, mass, resistance and diameter of A1/S1B. The table rounds wire diameters to 0.01 mm,
    # up to 0.5 % of a thin core wire and twice that of its area; ratios here are means over the rows of a stranding.
    D = row["diameter"]
    space = Space(("ST1A",), ("AL1",), ("round",), (D, D), (1e-3, 30e-3), (0.93, 0.93), 10)
    made = candidates_of(space)
    (i,) = np.flatnonzero((made.outer_strands == row["outer_strands"]) & (made.core_strands == row["core_strands"]))
    assert made.outer_area[i] == pytest.approx(row["outer_area"], rel=0.01)
    assert made.core_area[i] == pytest.approx(row["core_area"], rel=0.015)
    assert made.mass[i] == pytest.approx(row["mass"], rel=0.011)
    assert made.resistance_20[i] == pytest.approx(row["resistance_20"], rel=0.012)


def test_mixture_rules_by_hand():
    # A0 trapezoidal on a carbon rod: D 28 mm, core 9 mm, fill 0.93; densities 2705 and 1900 kg/m³, 58 and 2158 MPa,
    # 27.90 nohm m (materials as recalled in the catalogue), 2.2 % for the lay: on paper
    space = Space(("CF",), ("A0",), ("trapezoidal",), (0.028, 0.028), (0.009, 0.009), (0.93, 0.93), 10)
    made = candidates_of(space)
    outer, core = 0.93 * np.pi / 4 * (28**2 - 9**2), np.pi / 4 * 9**2
    assert made.outer_area == pytest.approx([outer * 1e-6]) and made.core_area == pytest.approx([core * 1e-6])
    assert made.mass == pytest.approx([outer * 1e-6 * 2705 * 1.022 + core * 1e-6 * 1900])
    assert made.rts == pytest.approx([outer * 58 + core * 2158])
    assert made.resistance_20 == pytest.approx([27.90e-9 * 1.022 / (outer * 1e-6)])


def searched(span, room, ordinary=80.0, *, cases=CASES, share=0.2, required=800.0):
    """Search at the existing diameter over a level span; `room` times the constant that the wire has when hot is asked.

    The wire is strung to a share of its strength at 15 °C, final. Returns the result, and of the existing wire the
    rating [A] and the loss at the required current [kW/km].
    """
    limit = Limit("share", "share", share, 15.0, None, "final")
    option = Option("today", Wiring(EXISTING, ordinary, ordinary, (limit,)), True)
    group = WireGroups(np.zeros(1, int), np.array(["phase"]), np.zeros(1, int), np.array([span]), np.array([[span]]),
                       np.array([[0.0]]))
    strung = solve_states(group, (option,), cases, None)
    held = tuple(Limit("existing", "existing", 1.0, None, case.name, "final") for case in cases[1:])
    bound = [float(greatest_tension(strung.horizontal_tension[0, 0, k], np.array([span]), np.array([0.0]),
                                    strung.weight[0, 0, k], strung.wind[0, 0, k])) for k in range(1, len(cases))]
    weight, wind = (load.max() for load in case_loads(EXISTING.diameter, EXISTING.mass, cases))
    line = Line(np.array([span]), np.array([span]), np.zeros(1), room * strung.constant[0, 0, :1],
                np.array([[np.nan, *bound]]), (*option.wiring.stringing, *held), cases, float(wind), float(weight), (),
                (), 15.0, 10.0, required)
    heat = Ratings((option,), "ieee738", HOT, 50.0, required)
    D = EXISTING.diameter
    space = Space(("CF",), ("A0",), ("trapezoidal",), (D, D), (0.2 * D, 0.5 * D), (0.888, 0.93), 1200)
    return screen(space, line, heat), float(heat.current_at(0, ordinary)), float(heat.loss_at(0, required))


@pytest.mark.parametrize(("span", "share"), [(500.0, 0.15), (600.0, 0.18)])
def test_both_are_the_ends_of_one_search_where_there_is_no_ice(span, share):
    # A long span without ice; the wire may sag no more than the existing one does at its ordinary 80 °C, pull no more
    # in wind, weigh no more. Asked for is the current that brings the existing wire to 100 °C, at which the "up to
    # 26 %" is reached (test_rating_facts). Here the sag when hot is what decides, so a wire that runs cool can do with
    # less core, and one end is the one figure, the other the other: 542 mm² for 542, 26.1 % for 26 %; 507 and 509 mm²
    # for 494, 222 and 223 % for 218 %. The cores are thinner and thicker than listed ones (46 mm² for 60, 95 to 97 for
    # 87): nobody says what those are strung to. The line was looked for, over spans, ice and tensions; nothing else was
    # touched. Spans of 400 to 600 m at 14 to 18 % give 526 to 542 mm² at one end, 505 to 513 at the other.
    heat = Ratings((Option("today", Wiring(EXISTING, 80.0, 80.0, ()), True),), "ieee738", HOT, 50.0, 800.0)
    found, rating, loss = searched(span, 1.0, cases=(CASES[0], CASES[2]), share=share,
                                   required=float(heat.current_at(0, 100.0)))
    first, last = found.front[0], found.front[-1]
    outer, core = found.candidates.outer_area * 1e6, found.candidates.core_area * 1e6
    assert len(found.front) > 10
    assert outer[first] == pytest.approx(542, rel=0.03) and outer[last] == pytest.approx(494, rel=0.035)
    assert 1 - found.loss[first] / loss == pytest.approx(0.26, abs=0.01)
    assert found.rating[last] / rating == pytest.approx(2.18, abs=0.05)
    assert found.maximum[first] < 100 and found.maximum[last] == 180.0
    assert core[first] < 60 < 87 < core[last] < 100


@pytest.mark.parametrize("span", [250.0, 350.0, 450.0])
def test_least_loss_where_there_is_room(span):
    # As much sag as the existing wire has at its ordinary maximum: the mass under ice governs, not the sag. 542 mm² and
    # up to 26 % are told; 555 mm² come out, 2.4 % more, on a core that is thinner (46 mm² for 60): the search asks for
    # no reserve of strength beyond the limits. Here the maximum rating is the same wire: the ends fall together.
    found, rating, loss = searched(span, 1.0)
    end = found.front[0]
    assert len(found.front) == 1
    assert found.candidates.outer_area[end] == pytest.approx(542e-6, rel=0.03)
    assert 1 - found.loss[end] / loss == pytest.approx(0.26, abs=0.01)
    assert found.rating[end] / rating > 2.18


@pytest.mark.parametrize(("span", "room"), [(350.0, 1.2), (250.0, 1.3)])
def test_greatest_rating_where_sag_is_short(span, room):
    # A constant of 1.2 to 1.3 times the existing wire's own: it hangs too low today. Now the core decides how hot a
    # wire may be, the ends come apart, and the one that carries most is the 494 mm² on its larger core, 218 %. The
    # room is where a scan from 1.0 to 1.3 met the figure: such a line exists, no more is shown.
    found, rating, _ = searched(span, room)
    end = found.front[-1]
    assert len(found.front) > 10
    assert found.candidates.outer_area[end] == pytest.approx(494e-6, rel=0.02)
    assert found.candidates.core_area[end] == pytest.approx(87e-6, rel=0.06)
    assert found.maximum[end] == 180.0
    assert found.rating[end] / rating == pytest.approx(2.18, abs=0.04)
    assert found.loss[found.front[0]] < found.loss[end] and found.maximum[found.front[0]] < 180.0


def test_what_comes_out_hangs_on_the_room():
    # Between the two: 1.1 and 1.15 times the constant give 546 and 523 mm² at the end that carries most, 230 and 226 %.
    ends = {}
    for room in (1.1, 1.15):
        found, rating, _ = searched(350.0, room)
        end = found.front[-1]
        ends[room] = found.candidates.outer_area[end] * 1e6, found.rating[end] / rating
    assert ends[1.1] == pytest.approx((546, 2.30), rel=0.02) and ends[1.15] == pytest.approx((523, 2.26), rel=0.02)
    assert len(searched(350.0, 1.3)[0].front) == 0
