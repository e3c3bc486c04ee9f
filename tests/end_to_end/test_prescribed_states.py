"""States that the code of a built-in table prescribes: without a case of one, that is told, and is not a pass.

The three states of the American code are those of Rule 232A of ANSI C2 (read in excerpts, edition not read).
"""

from dataclasses import replace

import pytest

from corridor.inputs.prescribed import missing_states
from corridor.line.facts import Case

from ..common import option

WARM = '\n[[cases]]\nname = "warm"\ntemperature = "120 degF"\nchecks = ["vertical"]\n'
BARE = ("vertical",)
HOT, WARM_CASE, ICE = Case("hot", "maximum", checks=BARE), Case("warm", 48.9, checks=BARE), Case("ice", 0.0, ice=0.0127)


def american(study, table="us-safety-code"):
    """The study with the American table, all else as it was."""
    study.change('[rules]\n', f'[rules]\ntable = "{table}"\n')
    return study


@pytest.mark.parametrize("table", ["us-safety-code", "us-rural-utility"])
def test_a_study_without_120_degrees_is_told(study, table):
    findings = american(study, table).check()
    row = findings.row("not_assessed")
    assert row["reason"].startswith("no case of this state: 120 degF (") and 'temperature = "120 degF"' in row["reason"]
    assert "; recalled, high" in row["reason"] or "; read in excerpts" in row["reason"]
    assert row[["span", "option", "case", "against"]].isna().all()
    assert not findings.result.violations and findings.result.status == 3


def test_with_the_case_all_is_assessed(study):
    american(study).text += WARM
    findings = study.check()
    assert not len(findings["not_assessed"]) and findings.result.status == 0


def test_without_a_built_in_table_nothing_is_prescribed(study):
    assert study.check().result.status == 0


TODAY = option(maximum=100.0)


def told(*cases, table="us-safety-code", options=(TODAY,)):
    """First words of the states that are told."""
    return [words.removeprefix("no case of this state: ").partition(" (")[0]
            for words in missing_states(table, cases, options)]


ICED, WARMER, HOTTEST = ("32 degF with the ice of the loading district", "120 degF",
                         "maximum temperature that the line is operated at")


def test_each_state_of_the_american_code():
    assert told() == [ICED, WARMER, HOTTEST] and told(HOT, WARM_CASE, ICE) == []
    assert told(HOT, WARM_CASE) == [ICED] and told(WARM_CASE, ICE) == [HOTTEST] and told(HOT, ICE) == [WARMER]
    assert told(HOT, Case("metric", 50.0, checks=BARE), ICE) == [] and told(HOT, HOT, ICE) == [WARMER]


@pytest.mark.parametrize("changed", [{"wind": 100.0}, {"checks": ("tension",)}, {"condition": "initial"}])
def test_a_case_that_does_not_show_the_final_sag_in_still_air_is_none_of_them(changed):
    warm = Case("warm", **({"temperature": 48.9, "checks": BARE} | changed))
    assert told(HOT, warm, ICE) == [WARMER]
    assert told(HOT, WARM_CASE, Case("ice", **({"temperature": 0.0, "ice": 0.0127} | changed))) == [ICED]


def test_ice_is_that_of_the_district():
    """Heavy: half an inch, 12.5 mm in metres; medium: 6.5 mm. The light district has none."""
    heavy, light = (Case("district", -5.0, ice=t, wind=190.0, checks=("tension",), district=name)
                    for name, t in (("us-heavy", 0.0127), ("us-light", 0.0)))
    thin, metric = Case("ice", 0.0, ice=0.0065), Case("ice", 0.0, ice=0.0125)
    assert told(HOT, WARM_CASE, heavy, thin) == [ICED] and told(HOT, WARM_CASE, heavy, metric) == []
    assert told(HOT, WARM_CASE, light) == [] and told(HOT, WARM_CASE, light, heavy) == [ICED]
    for name in ("us-extreme-wind", "california-light", "european-wind"):
        assert told(HOT, WARM_CASE, Case("wind", 15.6, wind=900.0, checks=("tension",), district=name)) == [ICED], name
    assert told(HOT, WARM_CASE, Case("uneven", 0.0, ice=0.02, ice_spans="odd")) == [ICED]


def test_greatest_temperature_is_that_of_every_option():
    """A number serves where no option is hotter; an emergency where all have one."""
    cool, hot = option(maximum=75.0), option("other", existing=False, maximum=150.0)
    number = Case("hot", 75.0, checks=BARE)
    assert told(number, WARM_CASE, ICE, options=(cool,)) == []
    assert told(number, WARM_CASE, ICE, options=(cool, hot)) == [HOTTEST]
    assert told(Case("hot", "emergency", checks=BARE), WARM_CASE, ICE, options=(cool,)) == [HOTTEST]


def test_other_codes():
    assert told(Case("cold", 0.0), table="california-1941") == ["60 degF in still air"]
    assert told(Case("mild", 15.6), table="california-1941") == []
    assert told(Case("cold", 0.0), table="european-electrical-distance") == ["maximum temperature of the conductor"]
    assert told(table="new-zealand-buildings") == [] and told(table=None) == []


def test_light_ice_is_not_that_of_the_district():
    """Half an inch of the heavy district is glaze of 57 lb/ft³, 913 kg/m³: rime as thick is not of its state, nor is
    lighter ice by its weight; with the weight of that glaze on the wire of every option it is."""
    heavy = Case("heavy", -17.8, district="us-heavy", ice=0.0127, constant=4.378, checks=("tension",))
    assert told(HOT, WARM_CASE, ICE, heavy) == []
    assert told(HOT, WARM_CASE, replace(ICE, ice_density=600.0), heavy) == [ICED]
    D, weight = 0.028, 0.0127 * (0.028 + 0.0127) * 3.14159265 * 913 * 9.80665
    assert TODAY.wiring.conductor.diameter == D
    for share, missing in ((1.0, []), (0.9, [ICED])):
        case = replace(ICE, ice=0.0, ice_weight=share * weight, ice_density=500.0)
        assert told(HOT, WARM_CASE, case, heavy) == missing
    thick = option("thick", existing=False, maximum=100.0, diameter=0.033)
    case = replace(ICE, ice=0.0, ice_weight=weight, ice_density=913.0)
    assert told(HOT, WARM_CASE, case, heavy, options=(TODAY, thick)) == [ICED]
