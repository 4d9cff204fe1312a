"""Money over time and under risk: pure arithmetic, no tables, no farm.

Rates are shares a year (0.07 is 7 %). Real money goes with real rates. Not all of it is asked for by a plan:
what an amount grows to, an even yearly value, a real rate and a partial budget serve sums done by hand beside
it, and the closed form of a normal loss is there to hold draws against.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike


def future_value(amount: float, rate: float, years: float) -> float:
    """What an amount of today has grown to after some years.

    Examples
    --------
    >>> round(future_value(7000.0, 0.07, 7), 2)
    11240.47
    """
    return float(amount * (1.0 + rate) ** years)


def present_value(amount: float, rate: float, years: float) -> float:
    """What an amount due in some years is worth today.

    Examples
    --------
    >>> round(present_value(3400.0, 0.07, 10), 2)
    1728.39
    """
    return float(amount / (1.0 + rate) ** years)


def net_present_value(flows: ArrayLike, rate: float) -> float:
    """Sum of the present values of yearly cash flows.

    Parameters
    ----------
    flows : array_like of float, shape (n_years,)
        Net cash of year 0 (today), 1, 2, ... [currency]
    rate : float
        Discount rate. [share a year]
    """
    cash = np.asarray(flows, dtype=float)
    return float((cash / (1.0 + rate) ** np.arange(cash.size)).sum())


def annuity_factor(rate: float, years: float) -> float:
    """Present value of 1 paid at the end of each of some years."""
    if rate == 0.0:
        return float(years)
    return -math.expm1(-years * math.log1p(rate)) / rate  # keeps its digits at rates near nought


def capital_recovery_factor(rate: float, years: float) -> float:
    """Yearly payment, at the end of each year, that pays off 1 with interest."""
    return 1.0 / annuity_factor(rate, years)


def equivalent_annual_value(flows: ArrayLike, rate: float) -> float:
    """The even yearly amount worth the same as `flows`; year 0 is today and carries no payment.

    Plans of unequal length are compared by this figure and not by their net present values.

    Parameters
    ----------
    flows : array_like of float, shape (n_years + 1,)
        Net cash of year 0, 1, ..., n. [currency]
    rate : float
        Discount rate. [share a year]
    """
    cash = np.asarray(flows, dtype=float)
    return net_present_value(cash, rate) / annuity_factor(rate, cash.size - 1)


def real_rate(nominal: float, inflation: float, *, exact: bool = True) -> float:
    """Rate of interest after inflation; ``exact=False`` gives the handbooks' plain difference."""
    return (1.0 + nominal) / (1.0 + inflation) - 1.0 if exact else nominal - inflation


def partial_budget(
    added_income: float, reduced_cost: float, reduced_income: float, added_cost: float
) -> float:
    """Net change when one thing on the farm is changed and nothing else."""
    return (added_income + reduced_cost) - (reduced_income + added_cost)


def value_at_risk(losses: ArrayLike, level: float) -> float:
    """Smallest loss that is not exceeded with at least the probability `level`; equal weights."""
    ordered = np.sort(np.asarray(losses, dtype=float))
    # rounding guards against 0.8 * 10 coming out as 8.000000000000002
    rank = math.ceil(round(level * ordered.size, 9))
    return float(ordered[max(rank, 1) - 1])


def cvar_of_loss(losses: ArrayLike, level: float) -> float:
    """Mean of the worst share ``1 - level`` of equally likely losses (conditional value at risk).

    Parameters
    ----------
    losses : array_like of float, shape (n_outcomes,)
        Loss of each outcome; a gross margin enters with its sign turned. [currency]
    level : float
        Confidence level, 0 to below 1: 0.8 looks at the worst fifth.

    Raises
    ------
    ValueError
        If `level` is not in [0, 1) or there is no outcome.

    Notes
    -----
    ``min over z of z + mean(max(L - z, 0)) / (1 - level)``; the value at risk attains the minimum.

    References
    ----------
    R. T. Rockafellar and S. Uryasev, "Optimization of conditional value-at-risk," 2000.
    """
    outcomes = np.asarray(losses, dtype=float)
    if outcomes.size == 0 or not 0.0 <= level < 1.0:
        raise ValueError("needs at least one loss and a level from 0 to below 1")
    edge = value_at_risk(outcomes, level)
    return edge + float(np.maximum(outcomes - edge, 0.0).mean()) / (1.0 - level)


def normal_value_at_risk(mean: float, sd: float, level: float) -> tuple[float, float]:
    """Value at risk and conditional value at risk of a normally distributed loss."""
    from statistics import NormalDist

    unit = NormalDist()
    z = unit.inv_cdf(level)
    return mean + sd * z, mean + sd * unit.pdf(z) / (1.0 - level)
