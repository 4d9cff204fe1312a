"""Money over time and under risk; published examples stand in test_worked_examples.py."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rotation_opt import finance


@given(st.floats(0.0, 0.3), st.integers(1, 40))
def test_annuity_pays_back_exactly_what_was_lent(rate, years):
    payment = finance.capital_recovery_factor(rate, years)
    back = sum(finance.present_value(payment, rate, year) for year in range(1, years + 1))
    assert back == pytest.approx(1.0)


def test_cvar_of_many_draws_comes_near_the_normal_one():
    losses = np.random.default_rng(1).normal(-0.011, 0.00378529**0.5, 200_000)
    assert finance.cvar_of_loss(losses, 0.95) == pytest.approx(0.115908, abs=0.001)


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
def test_present_values_agree_with_an_independent_library(flows, rate):
    # reference implementation: npv of the numpy-financial package
    npf = pytest.importorskip("numpy_financial")
    worth = sum(finance.present_value(flow, rate, year) for year, flow in enumerate(flows))
    assert worth == pytest.approx(npf.npv(rate, flows), rel=1e-9, abs=1e-6)


@given(st.floats(-1e5, 1e5), RATES, st.integers(1, 30))
def test_an_even_amount_each_year_is_the_payment_of_a_loan(worth, rate, years):
    # reference implementation: pmt of the numpy-financial package
    npf = pytest.importorskip("numpy_financial")
    discounts = [finance.present_value(1.0, rate, year) for year in range(1, years + 1)]
    assert finance.even_yearly(worth, discounts) == pytest.approx(-npf.pmt(rate, years, worth), rel=1e-9)


@given(RATES, st.integers(1, 30))
def test_annuities_and_capital_recovery_agree_with_an_independent_library(rate, years):
    # reference implementation: pv and pmt of the numpy-financial package
    npf = pytest.importorskip("numpy_financial")
    assert finance.annuity_factor(rate, years) == pytest.approx(-npf.pv(rate, years, 1.0), rel=1e-9)
    assert finance.capital_recovery_factor(rate, years) == pytest.approx(-npf.pmt(rate, years, 1.0), rel=1e-9)
