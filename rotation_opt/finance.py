"""Money over time and under risk: pure arithmetic, no tables, no farm.

Rates are shares a year (0.07 is 7 %). Real money goes with real rates.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike


def present_value(amount: float, rate: float, years: float) -> float:
    """What an amount due in some years is worth today; below 0 years, what one of the past has grown to.

    Examples
    --------
    >>> round(present_value(3400.0, 0.07, 10), 2)
    1728.39
    """
    return float(amount / (1.0 + rate) ** years)


def annuity_factor(rate: float, years: float) -> float:
    """Present value of 1 paid at the end of each of some years."""
    if rate == 0.0:
        return float(years)
    return -math.expm1(-years * math.log1p(rate)) / rate  # keeps its digits at rates near nought


def capital_recovery_factor(rate: float, years: float) -> float:
    """Yearly payment, at the end of each year, that pays off 1 with interest."""
    return 1.0 / annuity_factor(rate, years)


def even_yearly(worth_today: float, discounts: ArrayLike) -> float:
    """The even yearly amount worth as much as a sum of today.

    Plans are compared by this figure and not by their present values, which grow with the years.

    Parameters
    ----------
    worth_today : float
    discounts : array_like of float, shape (n_years,)
        What 1 paid in each of the years is worth today.
    """
    return worth_today / float(np.sum(discounts))


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
