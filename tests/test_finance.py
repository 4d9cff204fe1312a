"""Money over time and under risk against published examples."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rotation_opt import finance


def test_compounding_and_discounting_give_the_wisconsin_problem_set():
    # AAE 320, University of Wisconsin, problem set 6: 7,000 $ at 7 % for 7 y; 40,000 $ due in 5 y at 6 %
    assert finance.future_value(7000, 0.07, 7) == pytest.approx(11_240.47, abs=0.005)
    assert finance.present_value(40_000, 0.06, 5) == pytest.approx(29_890.33, abs=0.005)


def test_present_value_gives_the_nrcs_example():
    # NRCS economics notes: 3,400 $ in 10 y at 7 %
    assert finance.present_value(3400, 0.07, 10) == pytest.approx(1728.39, abs=0.005)


def test_net_present_value_gives_the_range_study():
    # RANGE_NPV: year 0 -89.93, years 1-2 nil, years 3-10 23.18 less 14.47 = 8.71, at 7 %
    factors = [finance.present_value(1.0, 0.07, year) for year in range(1, 8)]
    assert factors == pytest.approx([0.9346, 0.8734, 0.8163, 0.7629, 0.7130, 0.6663, 0.6227], abs=5.1e-5)
    values = [finance.present_value(8.71, 0.07, year) for year in range(3, 8)]
    assert values == pytest.approx([7.11, 6.64, 6.21, 5.80, 5.42], abs=0.0051)
    flows = [-89.93, 0, 0, *[23.18 - 14.47] * 8]
    # worked out from the same figures, not printed there (years 8-10 taken as equal)
    assert finance.net_present_value(flows, 0.07) == pytest.approx(-44.50, abs=0.005)
    assert finance.equivalent_annual_value(flows, 0.07) == pytest.approx(-6.34, abs=0.005)


def test_capital_recovery_factor_is_that_of_the_annuity_table():
    assert finance.capital_recovery_factor(0.05, 15) == pytest.approx(0.096342, abs=5e-7)


@given(st.floats(0.0, 0.3), st.integers(1, 40))
def test_annuity_pays_back_exactly_what_was_lent(rate, years):
    payment = finance.capital_recovery_factor(rate, years)
    assert finance.net_present_value([0.0, *[payment] * years], rate) == pytest.approx(1.0)


def test_partial_budget_gives_the_corn_for_beans_example():
    # DFP_PB: 100 ac of corn (150 bu x 6.50 $, 690 $/ac) for dry beans (22 cwt x 40 $, 550 $/ac): -4,500 $
    change = finance.partial_budget(
        added_income=100 * 150 * 6.50,
        reduced_cost=100 * 550,
        reduced_income=100 * 22 * 40.0,
        added_cost=100 * 690,
    )
    assert change == pytest.approx(-4500, abs=0.5)


@pytest.mark.parametrize(
    ("amount", "price", "cost", "left"),
    [
        # Manitoba Agriculture, Cost of Production 2024: field pea
        pytest.param(50, 9.50, 552, -77, id="pea-manitoba"),
        # Saskatchewan Crop Planning Guide 2024, with its gross rounded to whole dollars
        pytest.param(80, 4.00, 381, -61, id="oat-saskatchewan"),
        pytest.param(24, 16.50, 415, -19, id="flax-saskatchewan"),
        pytest.param(46, 7.20, 482, -151, id="wheat-saskatchewan"),
    ],
)
def test_enterprise_budgets_give_the_prairie_guides(amount, price, cost, left):
    assert finance.gross_margin(amount, price, [cost]) == pytest.approx(left, abs=0.5)


def test_hay_costs_give_the_farm_page_and_the_iowa_budget():
    # RBF_HAY: 207.00 inputs, three cuts of 10.25 + 7.00 + 14.25, 5 ton/ac: 301.50 $/ac, 60.30 $/ton
    costs = [207.00, *(3 * [10.25, 7.00, 14.25])]
    total = -finance.gross_margin(0.0, 0.0, costs)
    assert total == pytest.approx(301.50, abs=0.005)
    assert total / 5 == pytest.approx(60.30, abs=0.005)
    # Iowa State 2019: 297 $/ac of establishment over 3 y is 99, printed as about 100
    assert 297 / finance.annuity_factor(0.0, 3) == pytest.approx(99, abs=0.5)


def test_dryland_sunflower_gives_the_texas_budget():
    # TX_SUN1999: 15 cwt x 10 $; variable 73.28 + 2.67 + 18.75; fixed 36.95 + 20.00; -1.65 $/ac
    assert finance.gross_margin(15, 10.0, [73.28, 2.67, 18.75]) == pytest.approx(55.30, abs=0.005)
    assert finance.gross_margin(15, 10.0, [73.28, 2.67, 18.75, 36.95, 20.0]) == pytest.approx(
        -1.65, abs=0.005
    )


def test_cvar_of_a_normal_loss_gives_rockafellar_and_uryasev():
    # Rockafellar and Uryasev (2000), portfolio example: mean -0.011, variance 0.00378529
    sd = 0.00378529**0.5
    for level, var, cvar in (
        (0.90, 0.067847, 0.096975),
        (0.95, 0.090199, 0.115908),
        (0.99, 0.132128, 0.152977),
    ):
        assert finance.normal_value_at_risk(-0.011, sd, level) == pytest.approx((var, cvar), abs=5e-7)


def test_cvar_of_many_draws_comes_near_the_normal_one():
    losses = np.random.default_rng(1).normal(-0.011, 0.00378529**0.5, 200_000)
    assert finance.cvar_of_loss(losses, 0.95) == pytest.approx(0.115908, abs=0.001)


MARGINS = (-60, -20, 10, 40, 60, 80, 100, 120, 150, 220)


@pytest.mark.parametrize(("level", "cvar"), [(0.75, 30), (0.80, 40), (0.90, 60)])
def test_cvar_of_ten_margins_is_the_constructed_value(level, cvar):
    # constructed from the definition of Rockafellar and Uryasev (2000); no publication
    losses = [-margin for margin in MARGINS]
    assert finance.cvar_of_loss(losses, level) == pytest.approx(cvar)
    assert finance.value_at_risk(losses, 0.80) == -10


@given(st.lists(st.floats(-1e4, 1e4), min_size=1, max_size=40), st.floats(0.0, 0.95))
def test_cvar_is_the_least_over_all_edges(losses, level):
    values = np.asarray(losses)
    least = min(z + np.maximum(values - z, 0).mean() / (1 - level) for z in values)
    assert finance.cvar_of_loss(values, level) == pytest.approx(least, abs=1e-6)


def test_cvar_refuses_a_level_of_one():
    with pytest.raises(ValueError, match="level"):
        finance.cvar_of_loss([1.0], 1.0)


FLOWS = st.lists(st.floats(-1e5, 1e5), min_size=1, max_size=12)
RATES = st.floats(0.001, 0.3)


@given(FLOWS, RATES)
def test_net_present_value_agrees_with_an_independent_library(flows, rate):
    # reference implementation: npv of the numpy-financial package
    npf = pytest.importorskip("numpy_financial")
    assert finance.net_present_value(flows, rate) == pytest.approx(npf.npv(rate, flows), rel=1e-9, abs=1e-6)


@given(RATES, st.integers(1, 30))
def test_annuities_and_capital_recovery_agree_with_an_independent_library(rate, years):
    # reference implementation: pv and pmt of the numpy-financial package
    npf = pytest.importorskip("numpy_financial")
    assert finance.annuity_factor(rate, years) == pytest.approx(-npf.pv(rate, years, 1.0), rel=1e-9)
    assert finance.capital_recovery_factor(rate, years) == pytest.approx(-npf.pmt(rate, years, 1.0), rel=1e-9)
