"""What wires cost over their life, against sums year by year and by hand."""

import numpy as np
import pytest

from corridor.rating.whole_life import life_costs, present_worth, years_to_pay_back


@pytest.mark.parametrize(("years", "rate"), [(1, 0.03), (40, 0.05), (25, 0.0), (60, 0.12)])
def test_present_worth_is_that_of_a_sum_over_years(years, rate):
    assert present_worth(years, rate) == pytest.approx(sum((1 + rate) ** -n for n in range(1, years + 1)), rel=1e-12)


def test_paid_back_when_the_sum_of_savings_is_the_cost():
    """After so many years the present worth of the savings is the cost; where it never is, never."""
    years = years_to_pay_back([100.0, 30.0, 100.0, 50.0, np.nan], [10.0, 10.0, 4.9, -3.0, 1.0], 0.05)
    assert [float(10 * present_worth(n, 0.05)) for n in years[:2]] == pytest.approx([100.0, 30.0])
    assert np.isinf(years[2:4]).all(), "4.9 a year for ever are worth 98 at 5 %"
    assert np.isnan(years[4])


def test_life_costs_by_hand():
    """Two circuits, 20 years without discount, 50 a MWh from 40 to 80: the existing wire loses 2 x 30 MWh a year, the
    new one 2 x 20 and costs 9000, so it saves 1000 a year."""
    found = life_costs([30.0, 20.0, np.nan], [5.0, 9000.0, 100.0], [600.0, 900.0, 500.0], 0, circuits=2.0, years=20,
                       rate=0.0, prices=(40.0, 50.0, 80.0), carbon_per_mwh=0.3, carbon=[1.0, 7.0, np.nan])
    assert found.first.tolist() == [0, 9000, 100], "what hangs is paid"
    assert found.losses[:, :2].tolist() == [[48_000, 32_000], [60_000, 40_000], [96_000, 64_000]]
    assert found.total[:, 1].tolist() == [41_000, 49_000, 73_000]
    assert found.ampere[1] == 30 and np.isnan(found.ampere[[0, 2]]).all(), "nothing is gained by 100 A less"
    assert found.pay_back[1] == pytest.approx(9.0) and np.isnan(found.pay_back[0])
    assert found.carbon[:2].tolist() == pytest.approx([360, 247])
    # Losses that are not known make what rests on them unknown, not cheap.
    assert np.isnan(found.total[:, 2]).all() and np.isnan(found.pay_back[2]) and np.isnan(found.carbon[2])


def test_without_an_existing_wire_nothing_is_gained_or_paid_back():
    found = life_costs([30.0, 20.0], [10.0, 20.0], [600.0, 900.0], None, circuits=1.0, years=20, rate=0.04,
                       prices=(50.0, 50.0, 50.0))
    assert np.isnan(found.ampere).all() and np.isnan(found.pay_back).all() and np.isnan(found.carbon).all()
    assert np.isfinite(found.total).all()
