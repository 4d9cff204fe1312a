"""Fits the weed figures to published trials, and asks of each study how well the others foretell it.

The unknown figures of a weed (``weed_parameters.csv``: a likely value and a range from the literature or
judged) are moved on a log scale until the squared log errors of all trials, each in units of its own spread,
and the squared distance from the likely values, in half ranges, add up to least.

One search serves the fit to all trials and the fits that leave one study out: whatever set of figures is
tried for one of them is judged for all. The draws kept beside the likely figures are taken by an ensemble
sampler (Goodman & Weare 2010, Ensemble samplers with affine invariance) that walks over sets in proportion to
``exp(-cost / 2)``: figures that fit about equally well. Everything repeats exactly for the same seed.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rotation_opt.tables import Tables
from rotation_opt.trials import Trial, TrialBench, log_errors, order_errors
from rotation_opt.weeds.parameters import DYNAMIC, LIKELY, WeedParameters, weed_parameters

Array = NDArray[np.float64]
Predict = Callable[[Array], Array]
Report = Callable[[float], None]  # told which share of the work is done

DRAWS = 20
SEED = 20261125
_FIRST, _ROUNDS = 600, 24  # sets tried at first, and rounds of the search
_EACH, _ELITE = 12, 40  # sets tried in a round for each fit, and best sets they are made from
_WALKERS, _STEPS, _STRETCH = 48, 80, 2.0
ORDER_SPREAD = 0.05  # log units beyond its limit at which a fact of the trade counts as badly broken
ORDER_ROOM = 0.05  # and how near to its limit it begins to count
_COARSE = 1  # steps a day while searching; what is printed is run with the usual number


@dataclass(frozen=True, slots=True, kw_only=True)
class WeedFit:
    """What the fit of one weed found; P figures, T trials, N draws.

    Attributes
    ----------
    weed : str
    names : tuple of str
        The P figures, in the order of ``DYNAMIC``.
    likely : ndarray (P,)
        The best set.
    draws : ndarray (P, N)
        Sets that fit about equally well.
    trials : tuple of Trial
        All that can be run: fitted to, held to as an order, or only checked.
    fitted, left_out, study_left_out : ndarray (T,)
        Percent predicted by the best set, by the best set that did not see the outcome, and by the best that
        saw nothing of its study; all the same for limits that count as no trial and for trials that nothing
        is fitted to.
    """

    weed: str
    names: tuple[str, ...]
    likely: Array
    draws: Array
    trials: tuple[Trial, ...]
    fitted: Array
    left_out: Array
    study_left_out: Array


def fit(
    weed: str, tables: Tables, *, seed: int = SEED, effort: float = 1.0, report: Report | None = None
) -> WeedFit:
    """Fit one weed; a quarter of a minute for the weed with most trials.

    Parameters
    ----------
    weed : str
    tables : Tables
    seed : int
    effort : float
        Share of the usual number of rounds and steps.
    report : callable, optional
        Called now and then with the share of the work done.
    """
    bench = TrialBench(tables, [trial for trial in tables.trials.values() if trial.weed == weed])
    trials = bench.trials
    base = weed_parameters(tables, [weed], [LIKELY])
    centre, half, bounds = _ranges(tables, weed)
    rng = np.random.default_rng([seed, *weed.encode()])
    rounds, steps = max(1, round(_ROUNDS * effort)), max(1, round(_STEPS * effort))

    def predict(sets: Array, parts: int | None = _COARSE) -> Array:
        figures = np.exp(centre[:, None] + half[:, None] * sets)
        with np.errstate(all="ignore"):  # sets that no stand can live with come out as NaN
            return bench.predict(_with(base, figures), parts)

    nothing = frozenset[str]()
    alone = [frozenset({trial.key}) if _left_out_once(trial) else nothing for trial in trials]
    study = [_study_of(trial, trials) if _left_out_once(trial) else nothing for trial in trials]
    folds = tuple(dict.fromkeys((nothing, *alone, *study)))
    keep = np.array([[trial.key not in keys for trial in trials] for keys in folds])
    say = report or (lambda done: None)
    sets, predicted = _search(predict, trials, keep, bounds=bounds, rng=rng, rounds=rounds, say=say)
    costs = _costs(sets, predicted, trials, keep)
    best = _polish(predict, sets[:, costs.argmin(axis=1)], trials, keep, bounds=bounds)
    exact = predict(best, None)
    start = sets[:, np.argsort(costs[0], kind="stable")[:_WALKERS]]
    walked = _walk(
        lambda x: _costs(x, predict(x), trials, keep[:1])[0],
        start,
        bounds=bounds,
        rng=rng,
        steps=steps,
        say=say,
    )
    chosen = walked[:, rng.choice(walked.shape[1], DRAWS, replace=False)]
    return WeedFit(
        weed=weed,
        names=DYNAMIC,
        likely=np.exp(centre + half * best[:, 0]),
        draws=np.exp(centre[:, None] + half[:, None] * chosen),
        trials=trials,
        fitted=exact[:, 0],
        left_out=np.array([exact[n, folds.index(keys)] for n, keys in enumerate(alone)]),
        study_left_out=np.array([exact[n, folds.index(keys)] for n, keys in enumerate(study)]),
    )


def draws_csv(fits: Sequence[WeedFit]) -> str:
    """Table weed_draws.csv: the likely figures of each weed, then the draws d01, d02, ..."""
    rows = ["draw,weed,parameter,value,source,mark,note"]
    for number in range(DRAWS + 1):
        draw = LIKELY if number == 0 else f"d{number:02d}"
        note = "the best of all sets tried" if number == 0 else "explains the trials about equally well"
        for found in sorted(fits, key=lambda each: each.weed):
            values = found.likely if number == 0 else found.draws[:, number - 1]
            rows += [
                f"{draw},{found.weed},{name},{value:.4g},fit_trials,fitted,{note}"
                for name, value in sorted(zip(found.names, values, strict=True))
            ]
    return "\n".join(rows) + "\n"


def left_out_csv(fits: Sequence[WeedFit]) -> str:
    """Table trial_left_out.csv: what the fits that did not see an outcome, or its study, say of it."""
    rows = [
        f"{trial.key},{alone:.3g},{study:.3g}"
        for found in fits
        for trial, alone, study in zip(found.trials, found.left_out, found.study_left_out, strict=True)
        if _left_out_once(trial)
    ]
    return "\n".join(["trial,left_out,study_left_out", *sorted(rows)]) + "\n"


def _left_out_once(trial: Trial) -> bool:
    return trial.counted and trial.use == "fit"


def _study_of(trial: Trial, trials: Sequence[Trial]) -> frozenset[str]:
    """Outcomes of the same study, the trial's own among them."""
    return frozenset(other.key for other in trials if other.study == trial.study)


def _ranges(tables: Tables, weed: str) -> tuple[Array, Array, tuple[Array, Array]]:
    """Likely value and half range of each figure, in log, and its bounds in these units."""
    figures = [tables.figure("weed_parameter", weed, name) for name in DYNAMIC]
    centre = np.log([f.value for f in figures])
    low, high = (
        np.log([f.value if end is None else end for f, end in zip(figures, ends, strict=True)])
        for ends in ([f.low for f in figures], [f.high for f in figures])
    )
    half = 0.5 * (high - low)
    return centre, half, ((low - centre) / half, (high - centre) / half)


def _with(base: WeedParameters, figures: Array) -> WeedParameters:
    """`base` (one weed) with other figures (P, D); what is followed once stays that of `base`."""
    values = {name: row[None] for name, row in zip(DYNAMIC, figures, strict=True)}
    return replace(base, draws=tuple(str(n) for n in range(figures.shape[1])), **values)


# ---------------------------------------------------------------- cost


def _misses(predicted: Array, trials: Sequence[Trial]) -> Array:
    """Misses of the trials in units of their spread, (T, D).

    Rows that are only checked miss nothing; facts of the trade do only near and beyond their limits.
    """
    spread = np.array([trial.spread or ORDER_SPREAD for trial in trials])[:, None]
    off = np.where(
        np.array([trial.use == "fit" for trial in trials])[:, None],
        log_errors(trials, predicted),
        order_errors(trials, predicted * (1.0 + ORDER_ROOM))
        + order_errors(trials, predicted / (1.0 + ORDER_ROOM)),
    )
    return np.asarray(np.nan_to_num(off / spread))


def _costs(sets: Array, predicted: Array, trials: Sequence[Trial], keep: NDArray[np.bool_]) -> Array:
    """Cost of each set for each fit, (F, D)."""
    cost = keep.astype(float) @ _misses(predicted, trials) ** 2 + (sets**2).sum(axis=0)
    return np.asarray(np.where(np.isfinite(predicted).all(axis=0), cost, np.inf))


# ---------------------------------------------------------------- search


def _search(
    predict: Predict,
    trials: Sequence[Trial],
    keep: NDArray[np.bool_],
    *,
    bounds: tuple[Array, Array],
    rng: np.random.Generator,
    rounds: int,
    say: Report,
) -> tuple[Array, Array]:
    """All sets tried, (P, n), and what they predict, (T, n)."""
    low, high = bounds[0][:, None], bounds[1][:, None]
    sets = np.clip(rng.normal(0.0, 1.0, (len(low), _FIRST)), low, high)
    sets[:, 0] = 0.0
    predicted = np.concatenate([predict(part) for part in np.array_split(sets, 3, axis=1)], axis=1)
    for done in range(rounds):
        new = []
        for cost in _costs(sets, predicted, trials, keep):
            best = sets[:, np.argsort(cost, kind="stable")[:_ELITE]]
            centre = best[:, np.minimum(rng.geometric(0.15, _EACH) - 1, _ELITE - 1)]
            one, other = best[:, rng.integers(_ELITE, size=(2, _EACH))].transpose(1, 0, 2)
            step = rng.uniform(0.4, 1.0, _EACH) * (one - other)
            step = np.where(rng.random(step.shape) < _MOVED, step, 0.0) + rng.normal(0.0, _JITTER, step.shape)
            new.append(np.clip(centre + step, low, high))
        tried = np.concatenate(new, axis=1)
        sets = np.concatenate([sets, tried], axis=1)
        predicted = np.concatenate([predicted, predict(tried)], axis=1)
        say(0.5 * (done + 1) / rounds)
    return sets, predicted


def _polish(
    predict: Predict,
    best: Array,
    trials: Sequence[Trial],
    keep: NDArray[np.bool_],
    *,
    bounds: tuple[Array, Array],
) -> Array:
    """Damped Gauss-Newton steps from the best set of each fit, all fits together, (P, F)."""
    low, high = bounds[0][:, None], bounds[1][:, None]
    figures, fits = best.shape
    damping = np.full(fits, 1.0)
    for _ in range(_POLISHES):
        nudge = np.where(best < 0.5 * (low + high), _NUDGE, -_NUDGE)
        around = (
            best[:, None, :]
            + np.concatenate([np.zeros((figures, 1)), np.eye(figures)], axis=1)[..., None]
            * (nudge[:, None, :])
        )
        missed = _misses(predict(around.reshape(figures, -1)), trials)
        missed = missed.reshape(len(trials), figures + 1, fits)
        steps = np.empty((figures, len(_DAMPINGS), fits))
        for n in range(fits):
            slope = keep[n][:, None] * (missed[:, 1:, n] - missed[:, :1, n]) / nudge[:, n]
            curve = slope.T @ slope + np.eye(figures)
            fall = slope.T @ (keep[n] * missed[:, 0, n]) + best[:, n]
            for d, share in enumerate(_DAMPINGS):
                steps[:, d, n] = -np.linalg.solve(curve + share * damping[n] * np.diag(np.diag(curve)), fall)
        tried = np.clip(best[:, None, :] + steps, low[..., None], high[..., None])
        tried = np.concatenate([best[:, None, :], tried], axis=1)
        flat = tried.reshape(figures, -1)
        cost = _costs(flat, predict(flat), trials, keep).reshape(fits, len(_DAMPINGS) + 1, fits)
        won = np.array([cost[n, :, n].argmin() for n in range(fits)])
        best = np.stack([tried[:, won[n], n] for n in range(fits)], axis=1)
        damping *= np.where(won == 0, 10.0, np.array([1.0, *_DAMPINGS])[won])
        damping = np.clip(damping, 1e-3, 1e6)
    return best


def _walk(
    cost: Callable[[Array], Array],
    start: Array,
    *,
    bounds: tuple[Array, Array],
    rng: np.random.Generator,
    steps: int,
    say: Report,
) -> Array:
    """Walkers after some stretch moves, (P, n); each half moves along lines through the other half."""
    sets, here = start.copy(), cost(start)
    low, high = bounds[0][:, None], bounds[1][:, None]
    figures, count = sets.shape
    halves = np.array_split(rng.permutation(count), 2)
    for done in range(steps):
        for mine, other in (halves, halves[::-1]):
            stretch = ((_STRETCH - 1.0) * rng.random(len(mine)) + 1.0) ** 2 / _STRETCH
            anchor = sets[:, rng.choice(other, len(mine))]
            moved = anchor + stretch * (sets[:, mine] - anchor)
            inside = ((moved >= low) & (moved <= high)).all(axis=0)
            there = cost(np.clip(moved, low, high))
            chance = (figures - 1) * np.log(stretch) - 0.5 * (there - here[mine])
            taken = inside & (np.log(rng.random(len(mine))) < chance)
            sets[:, mine[taken]], here[mine[taken]] = moved[:, taken], there[taken]
        say(0.5 + 0.5 * (done + 1) / steps)
    return sets


_MOVED, _JITTER = 0.8, 0.03  # share of the figures moved by a difference of two sets, and what all move by
_POLISHES, _NUDGE, _DAMPINGS = 10, 1e-3, (0.1, 1.0, 10.0)
