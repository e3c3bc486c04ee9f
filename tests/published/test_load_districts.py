"""Load districts against official and handbook numbers.

Sources
-------
California Public Utilities Commission, General Order 95, Appendix B, Table 23 (read): resultants in lb/ft.

ANSI C2 (National Electrical Safety Code), Rule 250B, Tables 250-1 and 251-1 (recalled, high confidence).

L. L. Grigsby (ed.), *Electric Power Generation, Transmission, and Distribution*, CRC Press, 2nd ed. 2007, Table 14.5
(read): 2.509 lb/ft for Drake in the heavy district.

Factors of units: NIST SP 811.
"""

import csv
from pathlib import Path

import numpy as np
import pytest

import corridor
from corridor.clearance.rule_files import file_markdown
from corridor.inputs.prescribed import PRESCRIBED
from corridor.line.case_loads import case_loads
from corridor.line.facts import Case
from corridor.study.capacity import LOAD_FACTORS
from corridor.study.districts import DISTRICTS, find_district

from .test_loads import BARE, HEAVY, INCH, LIGHT, POUND_PER_FOOT, THREE_DECIMALS, D

DRAKE = 1.108 * INCH, 1.094 * POUND_PER_FOOT / 9.80665


def resultants(district, diameter, mass, tension=True):
    """Resultants of wires in a district [lb/ft]."""
    case = Case(district, **find_district(district).fixed)
    return np.hypot(*case_loads(diameter, mass, [case], tension=tension))[..., 0] / POUND_PER_FOOT


@pytest.mark.parametrize(("district", "size", "plain"), [
    ("us-heavy", 2.5086, 2.2086), ("us-medium", 1.8081, 1.6081), ("us-light", 1.4238, 1.3738),
    ("us-warm-islands-low", 1.4238, 1.3738), ("us-warm-islands-high", 1.8081, 1.6081)])
def test_drake_in_the_districts(district, size, plain):
    """Worked out apart, 1.108 in and 1.094 lb/ft; the heavy one is printed as 2.509. For clearance without constant."""
    assert resultants(district, *DRAKE) == pytest.approx(size, abs=0.5e-4)
    assert resultants(district, *DRAKE, tension=False) == pytest.approx(plain, abs=0.5e-4)


def test_table_23_of_california():
    """Fifteen wires, three decimals; the fourth heavy one was added from rounded components."""
    wires = D * INCH, BARE * POUND_PER_FOOT / 9.80665
    np.testing.assert_allclose(resultants("california-light", *wires), LIGHT, atol=THREE_DECIMALS)
    np.testing.assert_allclose(resultants("california-heavy", *wires), HEAVY, atol=1.1 * THREE_DECIMALS)


@pytest.mark.parametrize(("district", "fahrenheit"), [
    ("us-heavy", 0), ("us-medium", 15), ("us-light", 30), ("us-warm-islands-low", 50), ("us-extreme-wind", 60),
    ("us-ice-and-wind", 15), ("california-heavy", 0), ("california-light", 25)])
def test_temperatures(district, fahrenheit):
    assert find_district(district).fixed["temperature"] == pytest.approx((fahrenheit - 32) / 1.8)


@pytest.mark.parametrize(("district", "weight"), [("netherlands-ice-a", 25.8), ("netherlands-ice-b", 9.4)])
def test_ice_of_an_annex(district, weight):
    """15 + 0.4 d and 4 + 0.2 d at 27 mm, as a public summary of CIGRE B2-10291 (2026) tells NEN-EN 50341-2-15."""
    case = Case(district, **{"temperature": 0.0} | find_district(district).fixed)
    assert case_loads(0.027, 0.0, [case])[0][0] == pytest.approx(weight, rel=1e-12)
    assert set(find_district(district).asked) == {"temperature", "ice_density"}


def test_what_is_of_maps_is_asked_for():
    assert find_district("us-extreme-wind").asked == ("wind",)
    assert find_district("us-ice-and-wind").asked == ("ice", "wind")
    assert not find_district("us-heavy").asked and not find_district("california-heavy").asked


@pytest.mark.parametrize("table", [DISTRICTS, LOAD_FACTORS, PRESCRIBED])
def test_every_row_has_its_source(table):
    with table.open(encoding="utf-8", newline="") as stream:
        for row in csv.DictReader(stream, strict=True):
            assert None not in row and None not in row.values(), "another number of cells than in the header"
            assert all(row[key] for key in ("authority", "edition", "clause", "confidence")), row


def test_the_page_has_the_table():
    """Where it fails: put `corridor.clearance.rule_files.file_markdown` of the table into docs/districts.md."""
    page = Path(corridor.__file__).parent.parent / "docs" / "districts.md"
    assert file_markdown(DISTRICTS) in page.read_text(encoding="utf-8")
    assert file_markdown(LOAD_FACTORS) in page.read_text(encoding="utf-8")
