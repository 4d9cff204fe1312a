"""How far predictions lie from what was published, and whether orders are kept."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rotation_opt.tables import Tables, Trial
from rotation_opt.trials.bench import TrialBench
from rotation_opt.weeds.parameters import LIKELY, weed_parameters

Array = NDArray[np.float64]

CLOSE = 2.5  # a factor by which trials of one treatment differ between places and years: a fair match
_LEAST = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialResult:
    """One trial as predicted.

    Attributes
    ----------
    trial : Trial
    likely, low, high : float
        Percent of what it is compared with: of the likely draw, and the smallest and largest of all draws.
        NaN for a trial that is left out.
    factor : float or None
        How many times too much or too little, at least 1; None for an order.
    log_error : float or None
        Natural logarithm of predicted over published; None for an order.
    kept : bool or None
        A figure: within ``spread``. A bound or an order: kept by the likely draw. None if left out.
    """

    trial: Trial
    likely: float
    low: float
    high: float
    factor: float | None
    log_error: float | None
    kept: bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """How the trials that count came out.

    Attributes
    ----------
    trials : int
        Outcomes seen in the field that errors are counted on.
    median_factor : float
        NaN without trials; a bound that is kept counts as factor 1.
    close : float
        Share of them within a factor of `CLOSE`.
    orders_kept, orders : int
        Checks of order.
    """

    trials: int
    median_factor: float
    close: float
    orders_kept: int
    orders: int


def log_errors(trials: Sequence[Trial], percent: Array) -> Array:
    """Natural logarithm of predicted over published, (T, D); 0 where a bound is kept, NaN for orders.

    Parameters
    ----------
    trials : sequence of Trial
    percent : ndarray (T, D)
    """
    published = np.array([np.nan if trial.published is None else trial.published for trial in trials])
    bound = np.array([trial.bound for trial in trials])[:, None]
    off = np.log(np.maximum(percent, _LEAST) / published[:, None])
    off = np.where(bound == "<", np.maximum(off, 0.0), np.where(bound == ">", np.minimum(off, 0.0), off))
    return np.asarray(np.where(bound == "order", np.nan, off))


def order_errors(trials: Sequence[Trial], percent: Array, others: Mapping[str, Array] | None = None) -> Array:
    """How far each order is broken, as natural logarithm, (T, D): 0 where it is kept, NaN for other rows.

    Parameters
    ----------
    trials : sequence of Trial
    percent : ndarray (T, D)
    others : mapping of str to ndarray (D,), optional
        Percentages of rows of other weeds that an order is taken of (``than``).
    """
    known = {trial.key: percent[n] for n, trial in enumerate(trials)} | dict(others or {})
    off = np.full(percent.shape, np.nan)
    for n, trial in enumerate(trials):
        if trial.use == "order" and (not trial.than or trial.than in known):
            share = percent[n] if not trial.than else 100.0 * percent[n] / known[trial.than]
            share = np.maximum(share, _LEAST)
            least, most = trial.least or _LEAST, trial.most or 1.0 / _LEAST
            off[n] = np.maximum(np.log(share / most), 0.0) + np.minimum(np.log(share / least), 0.0)
    return off


def orders_kept(
    trials: Sequence[Trial], percent: Array, others: Mapping[str, Array] | None = None
) -> NDArray[np.bool_]:
    """Which orders each draw keeps, (T, D); False for rows that are no orders. Parameters as above."""
    return np.asarray(order_errors(trials, percent, others) == 0.0)


def run_trials(tables: Tables, weeds: Sequence[str] | None = None) -> tuple[TrialResult, ...]:
    """All trials of the crop tables with all draws, in the order of the file.

    Parameters
    ----------
    tables : Tables
    weeds : sequence of str, optional
        Weed keys; all, and the trials of no creeping weed, if left out.

    Raises
    ------
    TableError
        If a figure is missing.
    """
    wanted = [trial for trial in tables.trials.values() if weeds is None or trial.weed in weeds]
    asked = {trial.than for trial in wanted if trial.than} - {trial.key for trial in wanted}
    rows = [*wanted, *(tables.trials[key] for key in sorted(asked))]
    draws = (LIKELY, *(name for name in tables.draws if name != LIKELY))
    percent: dict[str, Array] = {}
    for weed in dict.fromkeys(trial.weed for trial in rows if trial.runs):
        bench = TrialBench(tables, [trial for trial in rows if trial.weed == weed])
        outcome = bench.predict(weed_parameters(tables, [weed], draws))
        percent |= {trial.key: outcome[n] for n, trial in enumerate(bench.trials)}
    return tuple(_result(trial, percent) for trial in wanted)


def score(results: Iterable[TrialResult]) -> Score:
    """Median factor and share of close matches of the trials that count, and orders kept."""
    results = tuple(results)
    factors = np.array([one.factor for one in results if one.trial.counted and one.factor is not None])
    orders = [one.kept for one in results if one.trial.use == "order" and one.kept is not None]
    return Score(
        trials=len(factors),
        median_factor=float(np.median(factors)) if len(factors) else float("nan"),
        close=float((factors <= CLOSE).mean()) if len(factors) else float("nan"),
        orders_kept=sum(orders),
        orders=len(orders),
    )


def _result(trial: Trial, percent: Mapping[str, Array]) -> TrialResult:
    if trial.key not in percent:
        nan = float("nan")
        return TrialResult(trial=trial, likely=nan, low=nan, high=nan, factor=None, log_error=None, kept=None)
    here = percent[trial.key]
    if trial.use == "order":
        kept = bool(orders_kept([trial], here[None], percent)[0, 0])
        factor = error = None
    else:
        error = float(log_errors([trial], here[None])[0, 0])
        factor = float(np.exp(abs(error)))
        kept = abs(error) <= trial.spread if trial.bound == "=" else error == 0.0
    return TrialResult(
        trial=trial,
        likely=float(here[0]),
        low=float(here.min()),
        high=float(here.max()),
        factor=factor,
        log_error=error,
        kept=kept,
    )
