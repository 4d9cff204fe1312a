"""What is told of a fixed plan in good and bad years, and what the selection needs to choose by them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from rotation_opt.arrays import Downside, Floats, SelectionData
from rotation_opt.bad_years import BadYear, bad_years, in_bad_year
from rotation_opt.columns import Paths
from rotation_opt.finance import cvar_of_loss
from rotation_opt.formulate import Figures
from rotation_opt.groundwork import Groundwork
from rotation_opt.records import Check, Risk
from rotation_opt.scenarios import COURSES, Scenarios, crops_of_products, draw, swings_of
from rotation_opt.select import evaluate
from rotation_opt.settling import haul_per_t, outcomes

WORST_SHARE = 0.2
CHOOSING_COURSES = 60
"""Courses that bad years are counted by when plans are chosen: each is a row of the program."""

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


def farm_scenarios(ground: Groundwork, data: SelectionData, courses: int = COURSES) -> Scenarios:
    """The courses of years of a farm; so many as asked for, always the same."""
    market = np.array([max(0.0, ground.budgets.price_per_t[crop]) for crop in data.products], dtype=float)
    return draw(swings_of(crops_of_products(data), ground.tables), data.years, market, courses=courses)


def worst_mean(outcome: Floats) -> float:
    """Mean of the worst fifth of equally likely outcomes, the more the better."""
    return -cvar_of_loss(-outcome, 1.0 - WORST_SHARE)


# ---------------------------------------------------------------- for choosing


def worst_fifth(data: SelectionData, scenarios: Scenarios) -> Callable[[Paths], float]:
    """Mean present value of a plan in its worst fifth of courses: the ``downside`` of `tradeoff.curve`."""

    def of(paths: Paths) -> float:
        return worst_mean(outcomes(data, evaluate(data, paths), scenarios).present_value)

    return of


def with_bad_years(ground: Groundwork, data: SelectionData) -> SelectionData:
    """The same farm with bad years counted when plans are chosen, as far as the grower asks for it."""
    weight = ground.farm.bad_years_weight
    if weight <= 0.0:
        return data
    change = changes_per_t(data, farm_scenarios(ground, data, CHOOSING_COURSES))
    risk = Downside(change=change, weight=weight, worst_share=WORST_SHARE)
    return replace(data, limits=replace(data.limits, downside=risk))


def changes_per_t(data: SelectionData, scenarios: Scenarios) -> Floats:
    """What a tonne brings in each course, less what it is expected to bring: ``change`` of `arrays.Downside`.

    Parameters
    ----------
    data : SelectionData
    scenarios : Scenarios
        Each course adds a row to the program, so a few hundred at most.

    Returns
    -------
    ndarray (S, T, K)
        Money of today for each planned tonne of the grower's. [currency/t]

    Notes
    -----
    A plan's tonnes are not known when this is asked, so a planned tonne counts at the best price there is for
    it that year: a named buyer's (fixed where tonnes are promised to him) or the open one. What the caps of
    buyers, the store and the herd change is left to `outcomes`.
    """
    limits, haul = data.limits, haul_per_t(data)
    shape = data.years, len(data.products)
    best = np.array(limits.open_price_per_t, dtype=float).reshape(shape)
    moves, carried = np.ones(shape), np.zeros(shape)
    net = best.copy()
    for outlet in limits.outlets:
        better = (outlet.most_t > 0.0) & (outlet.price_per_t - outlet.haul_per_t > net[:, outlet.product])
        place = better, outlet.product
        net[place] = outlet.price_per_t - outlet.haul_per_t
        best[place], carried[place] = outlet.price_per_t, outlet.haul_per_t
        moves[place] = np.where(outlet.least_t[better] > 0.0, 0.0, 1.0)
    price = best * (1.0 + moves * (scenarios.prices - 1.0))
    brings = scenarios.yields * (np.maximum(price - carried, 0.0) - haul) * data.discount[:, None]
    return np.asarray(brings - brings.mean(axis=0))
