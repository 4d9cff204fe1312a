"""Money over time and under risk; published examples stand in test_worked_examples.py."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rotation_opt import finance


@given(st.floats(0.0, 0.3), st.integers(1, 40))
def test_annuity_pays_back_exactly_what_was_lent(rate, years):
    payment = finance.capital_recovery_factor(rate, years)
    assert finance.net_present_value([0.0, *[payment] * years], rate) == pytest.approx(1.0)


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
