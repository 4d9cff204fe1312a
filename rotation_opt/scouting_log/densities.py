"""Counts in frames as draws from a negative binomial: how clumped, how likely, how sure.

The mean count m of a frame is its area times the shoots per m2, and its variance is m + m^2 / k: the smaller
k, the more the shoots stand in clumps. Written so by Anscombe (1949), The statistical analysis of insect
counts based on the negative binomial distribution, Biometrics 5:165-173 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rotation_opt.scouting_log.records import Visit
from rotation_opt.tables import Tables

LEAST_STOPS = 8  # our judgement: fewer say next to nothing of how clumped a weed is
LEAST_PER_M2 = 1e-8  # where the densities looked at begin; far below one shoot a field
MOST_PER_M2 = 1_000.0  # no denser stand is taken in a farm file
EIGHT_IN_TEN = (0.1, 0.9)  # the same share of outcomes as low to high of the plans
_STEPS = 8_001  # of the densities looked at: about 0.3 % from one to the next
_DRAWS = 4_000
_SEED = 20_270_401  # any; always the same, so that the same log gives the same page

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Clumping:
    """How clumped the shoots of a farm stand.

    Attributes
    ----------
    k : float
        Clumping of the negative binomial, by the frame: small = clumped, large = at random.
    fitted : bool
        Whether it comes from this log; else it is the judged one of the tables.
    stops : int
        Stops it was fitted to, or that there are.
    """

    k: float
    fitted: bool
    stops: int


def log_likelihood(
    counts: Sequence[int], frame_m2: float, expected_per_m2: ArrayLike, k: float
) -> NDArray[np.float64]:
    """Log of the chance of these counts, for each of several expected densities.

    Parameters
    ----------
    counts : sequence of int, shape (stops,)
        Shoots in the frame.
    frame_m2 : float
        Area of the frame, above 0. [m2]
    expected_per_m2 : array_like of float, any shape
        Shoots per m2 that might be expected, none below 0. [shoots/m2]
    k : float
        Clumping by the frame, above 0.

    Returns
    -------
    ndarray of float, shape of `expected_per_m2`
        Sum over the stops; minus infinity where nothing is expected and something was counted.

    Raises
    ------
    ValueError
        If an argument is out of its range.

    Examples
    --------
    >>> log_likelihood([3, 5, 0, 7], 0.25, [8.0, 16.0, 60.0], 2.0).round(2)
    array([-10.68,  -9.61, -13.74])
    """
    seen = np.asarray(counts, dtype=float)
    expected = np.asarray(expected_per_m2, dtype=float) * frame_m2
    if not (math.isfinite(k) and k > 0.0 and math.isfinite(frame_m2) and frame_m2 > 0.0):
        raise ValueError("frame_m2 and k are above 0")
    if (seen < 0.0).any() or not (expected >= 0.0).all():
        raise ValueError("counts and expected densities are not below 0")
    total = float(seen.sum())
    fixed = sum(math.lgamma(y + k) - math.lgamma(k) - math.lgamma(y + 1.0) for y in seen.flat)
    spread = np.log1p(expected / k)
    value = fixed - seen.size * k * spread
    if total:
        with np.errstate(divide="ignore"):
            value = value + total * (np.log(expected / k) - spread)
    return np.asarray(value, dtype=float)


def common_k(samples: Sequence[Sequence[int]]) -> float:
    """One k for several walks with means of their own, by moments.

    Parameters
    ----------
    samples : sequence of sequence of int
        Counts in the frame, walk by walk.

    Returns
    -------
    float
        Infinity where counts vary no more than by chance; 0 is never given. nan where no walk has two stops
        or no shoot was counted.

    Notes
    -----
    Bliss and Owen (1958), Negative binomial distributions with a common k, Biometrika 45:37-58 (from memory):
    with mean m and variance s2 of n counts, s2 - m estimates m^2 / k, and m^2 - s2 / n estimates m^2 without
    bias. 1/k is the ratio of their sums, each walk weighted by its n - 1. For one walk this is the moment
    estimate of Anscombe but for the small term s2 / n.

    Examples
    --------
    >>> round(common_k([[0, 4, 9, 1], [2, 12, 3, 0, 5]]), 2)
    0.8
    """
    over = squares = 0.0
    for counts in samples:
        n = len(counts)
        if n < 2:
            continue
        mean, variance = float(np.mean(counts)), float(np.var(counts, ddof=1))
        over += (n - 1) * (variance - mean)
        squares += (n - 1) * (mean**2 - variance / n)
    if squares <= 0.0:
        return math.nan
    return math.inf if over <= 0.0 else squares / over


def clumping(visits: Sequence[Visit], tables: Tables, weed: str) -> Clumping:
    """How clumped a weed is taken to stand: fitted to all stops of the farm, or judged.

    Parameters
    ----------
    visits : sequence of Visit
        The whole log: k is taken from all weeds together, since few logs have enough stops of each.
    tables : Tables
        Figure ``clump_k`` of the weed: value where the log is too short, and limits of what is fitted.
    weed : str
        Key of the weed.

    Returns
    -------
    Clumping
    """
    judged = tables.figure("weed", weed, "clump_k")
    stops = sum(len(visit.counts) for visit in visits)
    fitted = common_k([visit.counts for visit in visits]) if stops >= LEAST_STOPS else math.nan
    if math.isnan(fitted) or judged.low is None or judged.high is None:
        return Clumping(k=judged.value, fitted=False, stops=stops)
    return Clumping(k=min(max(fitted, judged.low), judged.high), fitted=True, stops=stops)


def shoots_per_m2(visit: Visit, k: float) -> tuple[float, float, float]:
    """Shoots per m2 of one visit: low, likely and high.

    Parameters
    ----------
    visit : Visit
    k : float
        Clumping, above 0.

    Returns
    -------
    tuple of float
        Likely is the mean count by the area of the frame; between low and high lie eight in ten of the
        densities that such counts may come from. [shoots/m2]

    Notes
    -----
    Posterior for the prior of Jeffreys, the square root of the information that a count holds; it is a beta
    distribution of m / (m + k). Where nothing was counted low is 0 and only high is told by the counts.
    """
    return density([(visit,)], [1.0], k)


def density(
    patches: Sequence[Sequence[Visit]], weights: Sequence[float], k: float
) -> tuple[float, float, float]:
    """Mean shoots per m2 over patches, each weighted: low, likely and high.

    Parameters
    ----------
    patches : sequence of sequence of Visit, shape (patches,)
        All visits that count for each patch.
    weights : sequence of float, shape (patches,)
        Areas; only their ratio matters.
    k : float
        Clumping, above 0.

    Returns
    -------
    tuple of float
        As of `shoots_per_m2`. [shoots/m2]
    """
    shares = np.asarray(weights, dtype=float) / float(np.sum(weights))
    means = np.array([mean_per_m2(visits) for visits in patches])
    likely = float(shares @ means)
    grids = [_posterior(visits, k) for visits in patches]
    if len(grids) == 1:
        values, chance = grids[0]
        low, high = (float(np.interp(share, chance, values)) for share in EIGHT_IN_TEN)
    else:
        rng = np.random.default_rng(_SEED)
        drawn = [np.interp(rng.random(_DRAWS), chance, values) for values, chance in grids]
        low, high = (float(value) for value in np.quantile(shares @ np.array(drawn), EIGHT_IN_TEN))
    return (min(low, likely), likely, max(high, likely))


def mean_per_m2(visits: Sequence[Visit]) -> float:
    """All shoots counted by all the ground they were counted on. [shoots/m2]"""
    ground_m2 = sum(len(visit.counts) * visit.frame_m2 for visit in visits)
    return sum(sum(visit.counts) for visit in visits) / ground_m2


def _posterior(visits: Sequence[Visit], k: float) -> tuple[Floats, Floats]:
    """Densities [shoots/m2] and the chance that the true one is not above each."""
    top = max(MOST_PER_M2, 2.0 * mean_per_m2(visits))
    log_values = np.linspace(math.log(LEAST_PER_M2), math.log(top), _STEPS)
    values = np.exp(log_values)
    frame_m2 = float(np.mean([visit.frame_m2 for visit in visits]))
    prior = -0.5 * (log_values + np.log(values * frame_m2 + k))
    weight = prior + log_values  # by the step in logs
    for visit in visits:
        weight = weight + log_likelihood(visit.counts, visit.frame_m2, values, k)
    height = np.exp(weight - weight.max())
    below = np.concatenate([[0.0], np.cumsum(0.5 * (height[1:] + height[:-1]))])
    return values, below / below[-1]
