"""What is told of a fixed plan in good and bad years, and what the selection needs to choose by them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from rotation_opt.arrays import Downside, Floats, Limits, SelectionData
from rotation_opt.bad_years import BadYear, bad_years, in_bad_year
from rotation_opt.columns import Paths
from rotation_opt.finance import cvar_of_loss
from rotation_opt.formulate import Figures, Goal
from rotation_opt.groundwork import Groundwork
from rotation_opt.records import Check, Risk
from rotation_opt.scenarios import COURSES, Scenarios, crops_of_products, draw, swings_of
from rotation_opt.select import Selected, evaluate, select
from rotation_opt.sequences import Pool
from rotation_opt.settling import outcomes

WORST_SHARE = 0.2
MOST_LINES = 6
"""Plans settled on the way to one that is chosen with bad years counted; two to four are usual."""

STEP_T = 1.0
"""Tonnes more by which it is seen what a tonne brings in bad years."""

LEAST_T = 0.01
"""Tonnes short of a promise from which on it counts as short."""

ROUNDING = 1.0
"""Largest difference in money a year, whole farm, that counts as rounding. [currency]"""


def risk(
    data: SelectionData,
    paths: Paths,
    figures: Figures,
    scenarios: Scenarios,
    cases: Sequence[BadYear] = (),
) -> Risk:
    """What is told of a plan: expected, bad and worst years, a dry and a wet year."""
    found = outcomes(data, figures, scenarios)
    mean_net = found.net.mean(axis=1)
    below = found.net < data.limits.cash_floor
    ordered = np.sort(found.net, axis=0)
    tenth = len(ordered) // 10
    promised = (
        np.array([o.least_t for o in data.limits.outlets]).reshape(-1, data.years).max(axis=0, initial=0)
    )
    short = found.short_t[:, promised > 0.0] > LEAST_T
    return Risk(
        courses=len(found.net),
        expected_net=float(mean_net.mean()),
        worst_fifth_net=worst_mean(mean_net),
        expected_present_value=float(found.present_value.mean()),
        worst_fifth_present_value=worst_mean(found.present_value),
        year_below_floor=float(below.mean()),
        any_year_below_floor=float(below.any(axis=1).mean()),
        leanest_year=float(np.median(found.net.min(axis=1))),
        net_by_year=tuple(
            (float(ordered[tenth, year]), float(found.net[:, year].mean()), float(ordered[-tenth - 1, year]))
            for year in range(data.years)
        ),
        contract_short=float(short.mean()) if short.size else None,
        bad_years={each.name: in_bad_year(data, paths, figures, each, scenarios) for each in cases},
    )


def risks(
    ground: Groundwork, data: SelectionData, plans: Sequence[tuple[str, Paths, Figures]]
) -> dict[str, Risk]:
    """What is told of several plans of a farm: (key, sequences, figures) each, all in the same courses."""
    scenarios = farm_scenarios(ground, data)
    cases = bad_years(data, [ground.tables.practices[key] for key in data.practice_keys], ground.tables)
    return {key: risk(data, paths, figures, scenarios, cases) for key, paths, figures in plans}


def usual_year_check(data: SelectionData, figures: Figures, currency: str) -> Check:
    """Whether a plan settled in usual years brings the net return that is printed for it."""
    usual = Scenarios.usual(1, data.years, np.zeros(len(data.products)))
    worst = float(np.abs(outcomes(data, figures, usual).net[0] - figures.net).max())
    return Check(
        what="net return when settled as in good and bad years, but in usual ones",
        agrees=worst <= ROUNDING,
        largest_difference=worst,
        unit=currency,
    )


def farm_scenarios(ground: Groundwork, data: SelectionData) -> Scenarios:
    """The courses of years of a farm, always the same."""
    market = np.array([max(0.0, ground.budgets.price_per_t[crop]) for crop in data.products], dtype=float)
    return draw(swings_of(crops_of_products(data), ground.tables), data.years, market, courses=COURSES)


def worst_mean(outcome: Floats) -> float:
    """Mean of the worst fifth of equally likely outcomes, the more the better."""
    return -cvar_of_loss(-outcome, 1.0 - WORST_SHARE)


# ---------------------------------------------------------------- for choosing


def worst_fifth(data: SelectionData, scenarios: Scenarios) -> Callable[[Paths], float]:
    """Mean present value of a plan in its worst fifth of courses: the ``downside`` of `tradeoff.curve`."""

    def of(paths: Paths) -> float:
        return worst_mean(outcomes(data, evaluate(data, paths), scenarios).present_value)

    return of


@dataclass(frozen=True, slots=True)
class Settled:
    """The mean of the worst fifth of courses that is printed, as money of today."""

    scenarios: Scenarios

    def __call__(self, data: SelectionData, limits: Limits, figures: Figures) -> float:
        """Of one plan: its mean a year, as much in each year as the next. [money of today]"""
        net = outcomes(data, figures, self.scenarios, limits=limits).net
        return worst_mean(net.mean(axis=1)) * float(data.discount.sum())


def with_bad_years(
    ground: Groundwork,
    data: SelectionData,
    *,
    pools: Sequence[Pool] = (),
    time_limit: float = 120.0,
    pulled: Callable[[], bool] = lambda: False,
) -> tuple[SelectionData, Selected | None]:
    """The same farm with bad years counted when plans are chosen, as far as the grower asks for it.

    Parameters
    ----------
    ground : Groundwork
    data : SelectionData
        Of the same farm.
    pools : sequence of Pool
        Sequences met before for the same data.
    time_limit : float
        Emergency brake of each search. [s]
    pulled : callable
        Asked now and then whether to stop.

    Returns
    -------
    SelectionData
        Plans of it are worth the usual years' money and the mean of their worst fifth, as printed, each by
        its weight.
    Selected or None
        The plan worth most of those met on the way; None where bad years do not count.

    Raises
    ------
    NoPlanError
        If no plan meets all limits.

    Notes
    -----
    First the plan of most money in usual years is found and settled. The straight line that touches the mean
    of its worst runs goes into the program, which finds the next plan; that one is settled and brings
    another line, until a plan comes up again. The plan that is worth most once settled is kept, the first
    among them, so that counting bad years never makes them worse.
    """
    weight = ground.farm.bad_years_weight
    if weight <= 0.0:
        return data, None
    scenarios = farm_scenarios(ground, data)
    money = Goal(kind="most_money")
    chosen = select(data, money, pools=pools, time_limit=time_limit, pulled=pulled)
    best: Selected | None = None
    lines: list[tuple[float, Floats]] = []
    seen: set[Paths] = set()
    while chosen.paths not in seen:
        seen.add(chosen.paths)
        lines.append(line_at(data, evaluate(data, chosen.paths), scenarios))
        risk = Downside(
            change=np.stack([change for _, change in lines]),
            start=np.array([start for start, _ in lines]),
            weight=weight,
            settled=Settled(scenarios),
        )
        data = replace(data, limits=replace(data.limits, downside=risk))
        chosen = replace(chosen, figures=evaluate(data, chosen.paths))
        if best is None or chosen.figures.worth > best.figures.worth:
            best = chosen
        if len(seen) == MOST_LINES or pulled():
            break
        chosen = select(data, money, pools=chosen.pools, quick=True, time_limit=time_limit, pulled=pulled)
    assert best is not None
    return data, replace(best, pools=chosen.pools)


def line_at(data: SelectionData, figures: Figures, scenarios: Scenarios) -> tuple[float, Floats]:
    """The straight line in tonnes that touches the mean of the worst fifth at one plan.

    Parameters
    ----------
    data : SelectionData
    figures : Figures
        Of the plan.
    scenarios : Scenarios

    Returns
    -------
    float
        What the worst fifth brings against usual years, less what the tonnes of the plan account for: one
        row of ``start`` of `arrays.Downside`. [money of today]
    ndarray (T, K)
        What one tonne more brings there against usual years: one row of ``change``. [money of today/t]

    Notes
    -----
    A tonne more is settled as the others are: a buyer who has enough does not take it, hay that is short in
    those years saves what it would cost, promised tonnes bring what was agreed.
    """
    yearly = float(data.discount.sum()) / data.years
    net = outcomes(data, figures, scenarios).net
    order = np.argsort(net.mean(axis=1), kind="stable")
    worst = scenarios.some(order[: max(1, round(WORST_SHARE * len(order)))])
    usual = Scenarios.usual(1, data.years, scenarios.market_price_per_t)
    here = _mean_net(data, figures, worst) - _mean_net(data, figures, usual)
    change = np.zeros((data.years, len(data.products)))
    for years, product in _apart(data):
        more = np.zeros_like(figures.tonnes)
        more[years, product] = STEP_T
        there = replace(figures, tonnes=figures.tonnes + more, made_t=figures.made_t + more)
        gain = _mean_net(data, there, worst) - _mean_net(data, there, usual) - here
        change[years, product] = yearly * (gain if len(years) > 1 else gain.sum()) / STEP_T
    whole = worst_mean(net.mean(axis=1)) * yearly * data.years - figures.present_value
    return float(whole - (change * figures.tonnes).sum()), change


def _mean_net(data: SelectionData, figures: Figures, scenarios: Scenarios) -> Floats:
    """(T,): mean of the net return over some courses."""
    return np.asarray(outcomes(data, figures, scenarios).net.mean(axis=0))


def _apart(data: SelectionData) -> Iterator[tuple[list[int], int]]:
    """Years and product of the tonnes to be changed at once: hay lasts from one year to the next."""
    feeding = data.limits.feed_need_t > 0.0
    every = list(range(data.years))
    for product, feeds in enumerate(data.limits.feeds):
        if feeding and feeds:
            yield from (([year], product) for year in every)
        else:
            yield every, product
