"""How far predictions lie from what was published, and whether orders are kept."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rotation_opt.tables import Tables, Trial
from rotation_opt.trials.bench import TrialBench
from rotation_opt.weeds.parameters import DYNAMIC, LIKELY, weed_parameters

Array = NDArray[np.float64]

CLOSE = 2.5  # a factor by which trials of one treatment differ between places and years: a fair match
BAND = (0.1, 0.9)  # eight sets of figures in ten lie within what is printed as low to high
_LEAST = 1e-12
_EDGE = 0.02  # as near as makes no difference


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialResult:
    """One trial as predicted.

    Attributes
    ----------
    trial : Trial
    likely, low, high : float
        Percent of what it is compared with: of the likely draw, and what eight draws in ten lie between.
        NaN for a trial that is left out.
    outcome_left_out, study_left_out : float
        Percent foretold by the fit that did not see this outcome, and by the one that saw nothing of its
        study; `likely` for a check, which no fit sees. NaN for rows that do not count.
    factor, outcome_left_out_factor, study_left_out_factor : float or None
        How many times too much or too little each of them is, at least 1; None for an order, and where there
        is no such percentage.
    log_error : float or None
        Natural logarithm of `likely` over published; None for an order.
    kept : bool or None
        A figure: within ``spread``. A bound or an order: kept by the likely draw. None if left out.
    """

    trial: Trial
    likely: float
    low: float
    high: float
    outcome_left_out: float
    study_left_out: float
    factor: float | None
    outcome_left_out_factor: float | None
    study_left_out_factor: float | None
    log_error: float | None
    kept: bool | None

    @property
    def missed(self) -> bool:
        """Whether an outcome that counts is foretold wrong by more than a factor of `CLOSE`."""
        factor = self.study_left_out_factor
        return self.trial.counted and factor is not None and factor > CLOSE


@dataclass(frozen=True, slots=True, kw_only=True)
class Match:
    """How well some outcomes are met.

    Attributes
    ----------
    outcomes : int
    median_factor : float
        NaN without outcomes; a bound that is kept counts as factor 1.
    close : float
        Share of them within a factor of `CLOSE`.
    """

    outcomes: int
    median_factor: float
    close: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """How the outcomes seen in the field came out.

    Attributes
    ----------
    study_left_out, outcome_left_out : Match
        All that count, foretold by fits that did not see the whole study, or the outcome; checks as
        predicted.
    fitted : Match
        All that count, with the likely figures.
    checks : Match
        Those of them that nothing is fitted to.
    missed : tuple of TrialResult
        Foretold wrong by more than `CLOSE` with their study left out.
    waiting : tuple of str
        Keys of outcomes that are fitted to, but were not when the fit was last repeated.
    orders_kept, orders : int
        Checks of order, with the likely figures.
    """

    study_left_out: Match
    outcome_left_out: Match
    fitted: Match
    checks: Match
    missed: tuple[TrialResult, ...]
    waiting: tuple[str, ...]
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
    """How well the outcomes that count are foretold and fitted, and how many orders are kept."""
    results = tuple(results)
    counted = [one for one in results if one.trial.counted]
    orders = [one.kept for one in results if one.trial.use == "order" and one.kept is not None]
    return Score(
        study_left_out=_match(one.study_left_out_factor for one in counted),
        outcome_left_out=_match(one.outcome_left_out_factor for one in counted),
        fitted=_match(one.factor for one in counted),
        checks=_match(one.factor for one in counted if one.trial.use == "check"),
        missed=tuple(one for one in counted if one.missed),
        waiting=tuple(one.trial.key for one in counted if one.study_left_out_factor is None),
        orders_kept=sum(orders),
        orders=len(orders),
    )


def _match(factors: Iterable[float | None]) -> Match:
    known = np.array([factor for factor in factors if factor is not None])
    if not len(known):
        return Match(outcomes=0, median_factor=float("nan"), close=float("nan"))
    close = float((known <= CLOSE).mean())
    return Match(outcomes=len(known), median_factor=float(np.median(known)), close=close)


def at_the_edge(tables: Tables, weeds: Iterable[str]) -> tuple[tuple[str, str, float], ...]:
    """Weed, figure and value of all likely figures that lie at an edge of their range.

    The trials would move them further, which the literature does not allow: the model lacks something there.
    """
    found = []
    for weed in weeds:
        for name in DYNAMIC:
            value, figure = tables.draw(LIKELY, weed, name), tables.figure("weed_parameter", weed, name)
            if any(end is not None and abs(value / end - 1.0) <= _EDGE for end in (figure.low, figure.high)):
                found.append((weed, name, value))
    return tuple(found)


def _result(trial: Trial, percent: Mapping[str, Array]) -> TrialResult:
    nan = float("nan")
    if trial.key not in percent:
        likely = low = high = nan
        kept = None
    else:
        here = percent[trial.key]
        likely = float(here[0])
        low, high = (float(value) for value in np.quantile(here, BAND))
        kept = bool(orders_kept([trial], here[None], percent)[0, 0]) if trial.use == "order" else None
    error, factor = _off(trial, likely)
    if error is not None:
        kept = abs(error) <= trial.spread if trial.bound == "=" else error == 0.0
    apart = (trial.left_out, trial.study_left_out) if trial.use == "fit" else (likely, likely)
    alone, study = (nan if value is None or not trial.counted else value for value in apart)
    return TrialResult(
        trial=trial,
        likely=likely,
        low=min(low, likely),
        high=max(high, likely),
        outcome_left_out=alone,
        study_left_out=study,
        factor=factor,
        outcome_left_out_factor=_off(trial, alone)[1],
        study_left_out_factor=_off(trial, study)[1],
        log_error=error,
        kept=kept,
    )


def _off(trial: Trial, percent: float) -> tuple[float | None, float | None]:
    """Log error and factor of one percentage; None for orders, or without one."""
    if trial.bound in ("order", "") or np.isnan(percent):
        return None, None
    error = float(log_errors([trial], np.array([[percent]]))[0, 0])
    return error, float(np.exp(abs(error)))
