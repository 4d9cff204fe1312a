"""A fixed plan in good and bad years, held against a direct Monte Carlo of the plan as it is printed.

The reckoning of `direct_years` is given the same courses for exact agreement, and courses drawn from the law
itself (all years at once) for agreement within sampling error.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from statistics import NormalDist

import numpy as np
import pytest
from direct_years import Direct, fresh
from small_farm import KEPT, MONEY, TABLES, Plans, small, with_field

from rotation_opt import downside
from rotation_opt.bad_years import BadYear, bad_years, in_bad_year
from rotation_opt.downside import farm_scenarios, worst_mean
from rotation_opt.finance import cvar_of_loss
from rotation_opt.formulate import Goal
from rotation_opt.records import Farm, Outlet, Risk
from rotation_opt.scenarios import (
    COURSES,
    SERIES,
    Scenarios,
    crops_of_products,
    swings_of,
)
from rotation_opt.select import evaluate, select
from rotation_opt.settling import outcomes
from rotation_opt.tradeoff import curve

KINDS = ["plain", "herd", "promise", "standing"]
KEYS = ("as_now", "most_money", "balanced", "fastest")


def _outlet(name: str, crop: str, price: float, most: float | None, least: float = 0.0) -> Outlet:
    return Outlet(
        name=name, crop=crop, price_per_t=price, least_t=least, most_t=most, years=(), haul_per_t=10.0
    )


def _farm(kind: str) -> Farm:
    """Invented farms: plain; with a herd, a barn and buyers; with a promise, a landlord and a hay buyer;
    with a herd and a buyer of standing hay."""
    if kind == "plain":
        return small()
    herd = {
        "feed_need_t": 30.0,
        "feed_price_per_t": 215.0,
        "hay_storage_t": 40.0,
        "hay_stored_now_t": 12.0,
        "hay_storage_loss": 0.1,
        "cash_floor": -2000.0,
    }
    if kind == "herd":
        buyers = (_outlet("mill", "soybean", 760.0, 12.0), _outlet("dairy", "alfalfa", 205.0, 25.0))
        return small(**herd, outlets=buyers)
    if kind == "standing":
        sold = (_outlet("dairy", "alfalfa_standing", 300.0, 100.0), _outlet("stables", "alfalfa", 205.0, 9.0))
        return small(keep=(*KEPT, "alfalfa_1_standing", "alfalfa_2_standing"), **herd, outlets=sold)
    promised = (
        _outlet("maltster", "spring_barley", 400.0, 30.0, least=8.0),
        _outlet("feed mill", "spring_barley", 330.0, 10.0),
        replace(_outlet("stables", "alfalfa", 260.0, 15.0, least=5.0), years=(2029,)),
    )
    base = small(**herd, outlets=promised)
    return with_field(base, "West", landlord_share=0.25)


@cache
def planned(kind: str) -> Plans:
    return Plans(_farm(kind))


@cache
def courses(kind: str) -> Scenarios:
    plans = planned(kind)
    return farm_scenarios(plans.ground, plans.data)


@cache
def told(kind: str, key: str) -> Risk:
    plans = planned(kind)
    draft = plans.draft[key]
    return downside.risk(plans.data, draft.paths, draft.figures, courses(kind))


def shown(kind: str) -> list[str]:
    return [key for key in planned(kind).plan if key in KEYS]


def _run(kind: str, key: str, scenarios: Scenarios) -> np.ndarray:
    """(S, T) by the direct reckoning."""
    plans = planned(kind)
    direct = Direct(plans.farm, plans.plan[key], plans.ground.budgets.price_per_t)
    return direct.run(plans.data.products, scenarios)


# ---------------------------------------------------------------- agreement


@pytest.mark.parametrize("kind", KINDS)
def test_in_usual_years_a_plan_brings_what_it_says(kind: str) -> None:
    plans = planned(kind)
    usual = Scenarios.usual(2, plans.data.years, courses(kind).market_price_per_t)
    for key in shown(kind):
        figures = plans.draft[key].figures
        found = outcomes(plans.data, figures, usual)
        assert found.net == pytest.approx(np.tile(figures.net, (2, 1)), abs=1e-4)
        assert found.present_value == pytest.approx([figures.present_value] * 2, abs=1e-3)
        assert found.short_t == pytest.approx(np.zeros((2, plans.data.years)))


@pytest.mark.parametrize("kind", KINDS)
def test_the_same_courses_bring_the_same_by_a_direct_reckoning_of_the_printed_plan(kind: str) -> None:
    plans = planned(kind)
    some = Scenarios(
        yields=courses(kind).yields[:250],
        prices=courses(kind).prices[:250],
        feed_price=courses(kind).feed_price[:250],
        market_price_per_t=courses(kind).market_price_per_t,
    )
    for key in shown(kind):
        found = outcomes(plans.data, plans.draft[key].figures, some).net
        assert found == pytest.approx(_run(kind, key, some), abs=1e-4), key
        assert found.std() > 1000.0  # the years do differ


def test_hay_sold_standing_is_in_a_plan_that_is_held_against_the_direct_reckoning() -> None:
    grown = {key for plan in planned("standing").all for path in plan.practices.values() for key in path}
    assert any(key.endswith("_standing") for key in grown)
    assert any("alfalfa_standing" in plan.figures.made_t for plan in planned("standing").all)


@pytest.mark.parametrize("kind", KINDS)
def test_fresh_courses_bring_the_same_within_sampling_error(kind: str) -> None:
    plans, count, level = planned(kind), 3000, 0.8
    swings = swings_of(crops_of_products(plans.data), TABLES)
    drawn = fresh(swings, plans.data.years, courses(kind).market_price_per_t, count, seed=11)
    key = "most_money"
    mean = _run(kind, key, drawn).mean(axis=1)
    risk = told(kind, key)
    both = (1.0 / count + 1.0 / COURSES) ** 0.5
    assert risk.expected_net == pytest.approx(mean.mean(), abs=4 * mean.std() * both)
    worst = np.sort(mean)[: count // 5]
    # of a mean of the worst share a: sqrt(var of the tail + (1 - a)(tail mean - edge)^2) / sqrt(a n)
    spread = (worst.var() + level * (worst.mean() - worst[-1]) ** 2) ** 0.5 / (1 - level) ** 0.5
    assert risk.worst_fifth_net == pytest.approx(worst.mean(), abs=4 * spread * both)
    assert risk.worst_fifth_net < risk.expected_net - 10 * spread * both  # and they are not the same thing


def test_what_is_told_is_counted_by_hand_from_the_direct_reckoning() -> None:
    kind, key = "herd", "most_money"
    plans, risk = planned(kind), told(kind, key)
    net = _run(kind, key, courses(kind))
    floor = plans.farm.cash_floor
    assert risk.courses == len(net) == COURSES
    assert risk.expected_net == pytest.approx(net.mean())
    assert risk.worst_fifth_net == pytest.approx(
        sorted(net.mean(axis=1))[: COURSES // 5] @ np.full(200, 0.005)
    )
    today = net @ plans.data.discount
    assert risk.expected_present_value == pytest.approx(today.mean())
    assert risk.worst_fifth_present_value == pytest.approx(np.sort(today)[: COURSES // 5].mean())
    assert risk.year_below_floor == pytest.approx(np.mean([n < floor for course in net for n in course]))
    assert risk.any_year_below_floor == pytest.approx(np.mean([min(course) < floor for course in net]))
    assert 0.0 < risk.year_below_floor < risk.any_year_below_floor < 1.0
    assert risk.leanest_year == pytest.approx(np.median([min(course) for course in net]))
    for year, (low, likely, high) in enumerate(risk.net_by_year):
        ordered = sorted(net[:, year])
        assert (low, high) == pytest.approx((ordered[100], ordered[-101]))
        assert likely == pytest.approx(net[:, year].mean())
    assert risk.contract_short is None  # nothing is promised on this farm


def test_a_plan_that_brings_something_else_in_usual_years_is_reported() -> None:
    plans = planned("herd")
    figures = plans.draft["most_money"].figures
    assert downside.usual_year_check(plans.data, figures, "USD").agrees
    off = downside.usual_year_check(plans.data, replace(figures, sales=figures.sales + 7.0), "USD")
    assert (off.agrees, off.largest_difference) == (False, pytest.approx(7.0))


# ---------------------------------------------------------------- the mean of the worst


def test_the_mean_of_the_worst_fifth_is_that_of_the_constructed_example() -> None:
    # economics example E42, constructed from the definition in Rockafellar and Uryasev (2000): ten equally
    # likely gross margins; the mean of the worst fifth is that of -60 and -20
    margins = np.array([-60, -20, 10, 40, 60, 80, 100, 120, 150, 220], dtype=float)
    assert margins.mean() == 70.0
    assert worst_mean(margins) == pytest.approx(-40.0)


def test_the_mean_of_the_worst_fifth_of_a_normal_outcome_is_the_closed_form() -> None:
    # E41: Rockafellar and Uryasev (2000), loss normal with mean -0.011 and variance 0.00378529, recalled and
    # recomputed; then the level of the worst fifth, by the same closed form
    mean, sd, unit = -0.011, 0.00378529**0.5, NormalDist()
    losses = np.array([mean + sd * unit.inv_cdf((i + 0.5) / 100000) for i in range(100000)])
    for level, printed in ((0.90, 0.096975), (0.95, 0.115908), (0.99, 0.152977)):
        assert cvar_of_loss(losses, level) == pytest.approx(printed, abs=1e-5)
    assert -worst_mean(-losses) == pytest.approx(mean + sd * unit.pdf(unit.inv_cdf(0.8)) / 0.2, abs=1e-5)


# ---------------------------------------------------------------- promises, bad years, by hand


def test_promised_tonnes_that_are_short_are_bought_in_at_the_price_of_that_year() -> None:
    plans = planned("promise")
    data, figures = plans.data, plans.draft["most_money"].figures
    barley = data.products.index("spring_barley")
    number = next(n for n, o in enumerate(data.limits.outlets) if o.name == "maltster")
    year = int(np.argmax(figures.recourse.sold_t[number]))
    usual = Scenarios.usual(2, data.years, courses("promise").market_price_per_t)
    yields, prices = usual.yields.copy(), usual.prices.copy()
    yields[:, year, barley] = 0.1
    prices[1, year, barley] = 3.0
    found = outcomes(data, figures, replace(usual, yields=yields, prices=prices))
    promised = min(8.0, float(figures.recourse.sold_t[number, year]))
    short = promised - 0.1 * float(figures.tonnes[year, barley])
    assert short > 1.0
    assert found.short_t[:, year] == pytest.approx([short, short])
    # at the usual price nothing is earned on bought grain; at three times it the difference is lost
    market = 3.0 * plans.ground.budgets.price_per_t["spring_barley"]
    assert found.net[0, year] - found.net[1, year] == pytest.approx(
        short * (market - 390.0) - short * max(0.0, market / 3.0 - 390.0)
    )


def test_a_dry_year_is_worked_out_by_hand() -> None:
    plans = planned("herd")
    data, farm = plans.data, plans.farm
    practices = [TABLES.practices[key] for key in data.practice_keys]
    dry, wet = bad_years(data, practices, TABLES)
    place = data.practice_keys.index
    alfalfa = data.products.index("alfalfa")
    assert (dry.yields[place("soybean")], wet.yields[place("soybean")]) == (0.65, 0.675)
    assert dry.yields[place("alfalfa_2")] == 0.6
    assert (dry.next_yields[place("alfalfa_1")], dry.next_yields[place("alfalfa_2")]) == (0.0, 1.0)
    assert wet.yields[place("alfalfa_2")] == pytest.approx(0.46 + 0.3)  # two cuts of three
    late = TABLES.number("money", "any", "late_cut_price_ratio")
    assert (dry.prices[alfalfa], wet.prices[alfalfa], dry.feed_price, wet.feed_price) == (1.7, late, 1.7, 1.0)
    # present plan: grain only, so hay from the barn, the rest bought
    draft = plans.draft["as_now"]
    assert not draft.figures.tonnes[:, alfalfa].any()
    told_net = in_bad_year(data, draft.paths, draft.figures, dry, courses("herd"))
    direct = Direct(plans.farm, plans.plan["as_now"], plans.ground.budgets.price_per_t)
    for year, net in enumerate(told_net):
        lost = 0.0
        for crop in direct.crops:
            factor = TABLES.number("variability", _series(crop), "dry_year_yield")
            tonnes = direct.mine[crop][year]
            haul = TABLES.number_or("crop", crop, "dry_haul_per_t", 0.0)
            sold = [(direct.open_price(crop, year), float("inf"))]
            if crop == "soybean":
                sold.insert(0, (750.0, 12.0))
            lost += _worth(tonnes, sold) - _worth(tonnes * factor, sold) - tonnes * (1 - factor) * haul
        lost += draft.figures.recourse.bought_t[year] * farm.feed_price_per_t * 0.7
        assert net == pytest.approx(draft.figures.net[year] - lost, abs=1e-4)


def _series(crop: str) -> str:
    return next(s for s in SERIES if TABLES.has("variability", crop, f"yields_with:{s}"))


def _worth(tonnes: float, sold: list[tuple[float, float]]) -> float:
    worth = 0.0
    for price, most in sold:
        part = min(tonnes, most)
        tonnes, worth = tonnes - part, worth + part * price
    return worth


def test_a_new_stand_that_fails_costs_the_year_after_and_is_counted_in_the_dry_year() -> None:
    plans = planned("herd")
    data = plans.data
    draft = plans.draft["fastest"]
    dry = bad_years(data, [TABLES.practices[key] for key in data.practice_keys], TABLES)[0]
    sown = {
        year
        for path in draft.paths
        for year in range(data.years - 1)
        if data.practice_keys[path[year + 1]] == "alfalfa_1"
    }
    assert sown  # this plan has a new stand
    told_net = in_bad_year(data, draft.paths, draft.figures, dry, courses("herd"))
    stays = replace(dry, next_yields=np.ones(len(data.practice_keys)))
    without = in_bad_year(data, draft.paths, draft.figures, stays, courses("herd"))
    for year in range(data.years):
        assert told_net[year] < without[year] - 100.0 if year in sown else told_net[year] == without[year]


def test_a_bad_year_that_does_nothing_changes_nothing() -> None:
    plans = planned("promise")
    data, count = plans.data, len(plans.data.practice_keys)
    nothing = BadYear(
        name="dry",
        yields=np.ones(count),
        next_yields=np.ones(count),
        prices=np.ones(len(data.products)),
        feed_price=1.0,
    )
    for draft in plans.draft.values():
        told_net = in_bad_year(data, draft.paths, draft.figures, nothing, courses("promise"))
        assert told_net == pytest.approx(tuple(draft.figures.net), abs=1e-4)


# ---------------------------------------------------------------- for choosing


def test_the_curve_takes_the_worst_fifth_as_a_figure_of_each_plan() -> None:
    plans = planned("herd")
    data = plans.data
    richest = select(data, MONEY)
    cleanest = select(data, Goal(kind="least_burden"), pools=richest.pools)
    drawn = curve(data, richest, cleanest, 3, downside=downside.worst_fifth(data, courses("herd")))
    assert len(drawn.points) >= 2
    for point in drawn.points:
        figures = evaluate(data, point.paths)
        risk = downside.risk(data, point.paths, figures, courses("herd"))
        assert point.downside == pytest.approx(risk.worst_fifth_present_value)
    assert drawn.points[0].downside != pytest.approx(drawn.points[-1].downside)


def test_all_plans_of_a_farm_are_told_at_once() -> None:
    plans = planned("herd")
    drafts = plans.proposal.drafts
    found = downside.risks(plans.ground, plans.data, [(d.key, d.paths, d.figures) for d in drafts])
    assert list(found) == [draft.key for draft in drafts]
    for key, risk in found.items():
        assert replace(risk, bad_years={}) == told("herd", key)
        assert set(risk.bad_years) == {"dry", "wet"}
