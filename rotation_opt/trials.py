"""Published weed trials run through the model: what it says against what was seen.

A trial is one or more seasons of work and crops, each from 1 November to 1 November, in the weather of its
place, and the same for what it is compared with. Seasons that several trials share are run once, and those
of all stations are run together, because a fit asks for this hundreds of times.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rotation_opt.climate import DAYS, for_station, index_of
from rotation_opt.records import DatedOperation, Programme
from rotation_opt.tables import Tables, Trial, TrialSeason
from rotation_opt.weeds.parameters import DYNAMIC, FIXED, LIKELY, WeedParameters, weed_parameters
from rotation_opt.weeds.pressure import Works, spring_targets
from rotation_opt.weeds.reserve import (
    STEPS_A_DAY,
    State,
    disturb,
    grow_shoots,
    light_response,
    refill,
    settle,
)
from rotation_opt.weeds.response import reserve_after

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

FIRST_DAY, LAST_DAY = -61, 304  # 1 November to 1 November
STANDING_DAY = 243  # 1 September
LOW_DAYS = tuple(range(120, 212, 10))  # May to July
COUNTING_DAYS = 21  # shoots are counted on the day with most of them in the three weeks up to bud stage
CLOSE = 2.5  # a factor by which trials of one treatment differ between places and years: a fair match
_ALONE = TrialSeason(key="", light=1.0, work=(), canopies=(), note="")
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


class TrialBench:
    """Runs the trials of one weed for many parameter draws at once.

    Parameters
    ----------
    tables : Tables
    trials : iterable of Trial
        All of one weed; those left out are passed over.

    Raises
    ------
    ValueError
        If they are not of one weed, or none of them is run.
    TableError
        If a figure is missing.
    """

    def __init__(self, tables: Tables, trials: Iterable[Trial]) -> None:
        self.trials = tuple(trial for trial in trials if trial.runs)
        weeds = sorted({trial.weed for trial in self.trials})
        if len(weeds) != 1:
            raise ValueError(f"trials of one weed are wanted, found those of {', '.join(weeds) or 'none'}")
        self.weed = weeds[0]
        self._tables = tables
        groups: dict[tuple[str, TrialSeason], int] = {}

        def number(trial: Trial, seasons: Sequence[TrialSeason]) -> tuple[int, ...]:
            return tuple(groups.setdefault((trial.station, season), len(groups)) for season in seasons)

        self._treated, self._against = [], []
        for trial in self.trials:
            self._treated.append(number(trial, trial.treated))
            self._against.append(number(trial, trial.against or (_ALONE,) * len(trial.treated)))
        self._groups = tuple(groups)
        self._fields = _Fields.of(self._groups, tables, weed_parameters(tables, weeds, [LIKELY]))

    def predict(self, parameters: WeedParameters, parts: int | None = None) -> Array:
        """Outcomes as percent of what they are compared with.

        Parameters
        ----------
        parameters : WeedParameters
            Of the one weed, D draws.
        parts : int, optional
            Steps a day; as many as usual if left out. One is several times faster and a little off.

        Returns
        -------
        ndarray (T, D)
            In the order of `trials`.
        """
        if parameters.weeds != (self.weed,):
            raise ValueError(f"parameters are of {', '.join(parameters.weeds)}, the trials of {self.weed}")
        if not self._fields.fit_for(parameters):
            self._fields = _Fields.of(self._groups, self._tables, parameters)
        outcome = _outcome(self._fields, parameters, parts or STEPS_A_DAY)
        power = parameters.shoot_power[0]
        percent = np.empty((len(self.trials), len(parameters.draws)))
        for n, trial in enumerate(self.trials):
            treated = _follow(self._treated[n], trial.start, outcome, trial.measure, power)
            whole = "reserve" if trial.measure == "low" else trial.measure
            against = _follow(self._against[n], trial.against_start, outcome, whole, power)
            percent[n] = 100.0 * treated / np.maximum(against, _LEAST)
        return percent


# ---------------------------------------------------------------- what came out


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


# ---------------------------------------------------------------- running the seasons


@dataclass(frozen=True, slots=True, kw_only=True)
class _Fields:
    """All that does not depend on fitted figures, day by day of the year; G seasons of S stations.

    `target`, `full` and `waking` are as in ``grow_shoots``; the rest is weather and pressure.
    """

    stations: tuple[str, ...]
    place: Whole  # (G,) number of the station
    heat: Array  # (days, G), and so on
    warmth: Array
    sun: Array
    target: Array
    full: Array
    waking: Array
    light: Array
    shoots_left: Array
    store_left: Array
    bud: Whole  # (G,) day index of bud stage
    basis: WeedParameters

    @classmethod
    def of(cls, groups: Sequence[tuple[str, TrialSeason]], tables: Tables, weeds: WeedParameters) -> _Fields:
        stations = tuple(dict.fromkeys(station for station, _ in groups))
        one = _first_draw(weeds)
        days = index_of(LAST_DAY) + 1
        empty = {name: np.empty((days, len(groups))) for name in _DAILY}
        bud = np.empty(len(groups), dtype=np.int64)
        for station in stations:
            climate = for_station(station, tables)
            around = settle(climate, one)
            here = [g for g, (name, _) in enumerate(groups) if name == station]
            programmes = [_programme(groups[g][1]) for g in here]
            pressure = Works(climate, tables, one).pressure(programmes, around.heat, around.calendar)
            targets, kind = spring_targets(around.calendar, one, pressure.delay)
            cloth = np.array([groups[g][1].light for g in here])
            for name, values in (
                ("heat", around.heat[:days, None]),
                ("warmth", around.warmth[:days, None]),
                ("sun", around.sun[:days, None]),
                ("full", around.calendar.target[:days]),
                ("waking", around.calendar.waking[:days]),
                ("target", targets[kind, :days, 0].T),
                ("light", pressure.light[:days, :, 0] * cloth),
                ("shoots_left", pressure.shoots_left[:days]),
                ("store_left", pressure.store_left[:days, :, 0]),
            ):
                empty[name][:, here] = values
            bud[here] = int(around.calendar.bud_day[0]) + index_of(0)
        place = np.array([stations.index(station) for station, _ in groups], dtype=np.int64)
        return cls(stations=stations, place=place, bud=bud, basis=weeds, **empty)

    def fit_for(self, weeds: WeedParameters) -> bool:
        """Whether `weeds` has the figures, not fitted, that these fields were built with."""
        same = all(np.array_equal(getattr(weeds, name), getattr(self.basis, name)) for name in FIXED)
        return same and all(np.array_equal(weeds.once[name], self.basis.once[name]) for name in weeds.once)


_DAILY = ("heat", "warmth", "sun", "target", "full", "waking", "light", "shoots_left", "store_left")

# growth, crowding and standing shoots of each season, (G, D), by measure
_Outcome = Mapping[str, tuple[Array, Array, Array]]


def _first_draw(weeds: WeedParameters) -> WeedParameters:
    values: dict[str, Any] = {name: getattr(weeds, name)[:, :1] for name in DYNAMIC}
    return replace(weeds, draws=weeds.draws[:1], **values)


def _programme(season: TrialSeason) -> Programme:
    work = tuple(
        DatedOperation(day=day, operation=operation, programme="", part="in_crop", stage="")
        for day, operation in season.work
    )
    return Programme(
        previous="",
        practice="",
        start_day=FIRST_DAY,
        sowing_day=None,
        harvest_day=LAST_DAY,
        operations=work,
        canopies=season.canopies,
        bare_days=0,
        bare_spans=(),
    )


def _holding_gain(fields: _Fields, weeds: WeedParameters, parts: int) -> Array:
    """Refill at each station, (S, 1, D), that lets a stand left alone hold its ground: as `settle` finds it.

    `settle` does one station at a time; here all are followed together, which is many times faster. With n
    the sum of loss less income over the rest of the year, the year ends at
    ``u = exp(n from its start) + sum of income / K exp(n from then on)``, and u has to be 1 again.
    """
    autumn = index_of(LAST_DAY)
    first = np.array([int((fields.place == n).argmax()) for n in range(len(fields.stations))])
    state = State.fresh((len(first), 1, len(weeds.draws)))
    loss, leaves = np.empty((2, DAYS * parts, *state.shoots.shape))
    for day in range(autumn):
        weather = _weather(fields, day, first, parts)
        for part in range(parts):
            spent, brought = grow_shoots(state, **weather, weeds=weeds, days=1.0 / parts)
            if day >= autumn - DAYS:
                row = (day - autumn + DAYS) * parts + part
                loss[row] = spent
                leaves[row] = brought * fields.sun[day, first][:, None, None]
    lost, brought = (_from_here_on(each) for each in (loss, leaves))
    year_lost, year_brought = lost[0] + loss[0], brought[0] + leaves[0]
    green = leaves.any(axis=(1, 2, 3))
    loss, leaves, lost, brought = loss[green], leaves[green], lost[green], brought[green]

    def off(log_gain: Array) -> Array:
        gain = np.exp(log_gain)
        income = gain * leaves
        net = loss - income
        income *= np.divide(np.expm1(net), net, out=np.ones_like(net), where=net != 0.0)
        income *= np.exp(lost - gain * brought)
        end = np.exp(year_lost - gain * year_brought) + income.sum(axis=0) / weeds.reserve_cap
        return np.asarray(np.log(end))

    before = np.log(year_lost / (year_brought * (1.0 - 1.0 / weeds.reserve_cap)))
    here = before + _NUDGE
    was, now = off(before), off(here)
    for _ in range(_MOST_ROUNDS):
        slope = np.divide(now - was, here - before, out=np.full_like(now, -1.0), where=here != before)
        step = np.clip(-now / np.minimum(slope, -_NUDGE), -1.0, 1.0)
        before, was, here = here, now, here + step
        now = off(here)
        if np.abs(now).max() < _CLOSE_TO_1:
            return np.asarray(np.exp(here))
    raise ValueError("no gain holds an undisturbed stand at one of the stations")


_NUDGE, _MOST_ROUNDS, _CLOSE_TO_1 = 1e-2, 60, 1e-9


def _from_here_on(steps: Array) -> Array:
    """Sum over the steps after each one."""
    return np.asarray(steps.sum(axis=0) - np.cumsum(steps, axis=0))


def _weather(fields: _Fields, day: int, which: Whole | slice, parts: int) -> dict[str, Any]:
    """A day as `grow_shoots` wants it, with one number for each of the fields `which`."""
    return {
        "heat": fields.heat[day, which][:, None, None] / parts,
        "warmth": fields.warmth[day, which][:, None, None],
        "target": fields.full[day, which][:, None],
        "full": fields.full[day, which][:, None],
        "waking": fields.waking[day, which][:, None],
    }


def _outcome(fields: _Fields, weeds: WeedParameters, parts: int) -> _Outcome:
    """The daily step of ``weeds/reserve.py`` for the seasons of all stations together.

    `run` has one climate for all its programmes; here each season has its own, so heat and the like go
    into the same steps as one number a season.
    """
    shape = (len(fields.place), 1, len(weeds.draws))
    gain = _holding_gain(fields, weeds, parts)[fields.place]
    state = State.fresh(shape)
    noted: dict[int, tuple[Array, Array, Array]] = {}
    count = np.zeros((3, *shape))
    count[0], best = 1.0, np.full(shape, -1.0)
    wanted = {index_of(day) for day in (*LOW_DAYS, STANDING_DAY, LAST_DAY)}
    first, last = int(fields.bud.min()) - COUNTING_DAYS, int(fields.bud.max())
    for day in range(index_of(FIRST_DAY), index_of(LAST_DAY) + 1):
        if day in wanted:
            noted[day] = state.kept.copy(), state.added.copy(), state.shoots.copy()
        if first <= day <= last:
            window = (fields.bud - COUNTING_DAYS <= day) & (day <= fields.bud)
            better = window[:, None, None] & (state.shoots > best)
            for k, values in enumerate((state.kept, state.added, state.shoots)):
                np.copyto(count[k], values, where=better)
            np.copyto(best, state.shoots, where=better)
        if day == index_of(LAST_DAY):
            break
        disturb(state, fields.shoots_left[day], fields.store_left[day][:, None], weeds)
        refilled = light_response(fields.light[day][:, None], weeds)
        refilled *= fields.sun[day][:, None, None] * gain
        weather = _weather(fields, day, slice(None), parts) | {"target": fields.target[day][:, None]}
        for _ in range(parts):
            loss, leaves = grow_shoots(state, **weather, weeds=weeds, days=1.0 / parts)
            leaves *= refilled
            refill(state, loss, leaves, weeds.reserve_cap)
    found = {f"low{day}": noted[index_of(day)] for day in LOW_DAYS}
    found |= {"reserve": noted[index_of(LAST_DAY)], "standing": noted[index_of(STANDING_DAY)]}
    found["shoots"] = (count[0], count[1], count[2])
    # kept and added of 1/R become growth and crowding of R
    return {
        name: (1.0 / kept[:, 0], (added / kept)[:, 0], shoots[:, 0])
        for name, (kept, added, shoots) in found.items()
    }


def _follow(path: Sequence[int], start: float, outcome: _Outcome, measure: str, power: Array) -> Array:
    """What stands at the end of seasons run one after the other, (D,)."""
    growth, crowding, _ = outcome["reserve"]
    reserve = np.full(growth.shape[1], start)
    for group in path[:-1]:
        reserve = reserve_after(growth[group], crowding[group], reserve)
    if measure == "low":
        parts = [outcome[f"low{day}"] for day in LOW_DAYS]
        lows = [reserve_after(growth[path[-1]], crowding[path[-1]], reserve) for growth, crowding, _ in parts]
        return np.asarray(np.min(lows, axis=0))
    growth, crowding, shoots = outcome[measure]
    after = reserve_after(growth[path[-1]], crowding[path[-1]], reserve)
    return after if measure == "reserve" else shoots[path[-1]] * np.power(after, power)
