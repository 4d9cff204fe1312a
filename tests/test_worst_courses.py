"""Bad years counted when plans are chosen, against listing every plan and against plain means."""

from __future__ import annotations

import itertools
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from small_farm import TABLES, small
from strategies import random_data, small_farms

from rotation_opt.alternatives import propose
from rotation_opt.arrays import Downside, SelectionData
from rotation_opt.downside import farm_scenarios, line_at, risk, with_bad_years, worst_mean
from rotation_opt.errors import NoPlanError
from rotation_opt.farm_arrays import selection_data
from rotation_opt.formulate import Figures, Goal
from rotation_opt.groundwork import Groundwork, lay
from rotation_opt.records import Farm, Outlet
from rotation_opt.scenarios import Scenarios
from rotation_opt.select import Selected, evaluate, select
from rotation_opt.sequences import exhaustive
from rotation_opt.settling import outcomes

MONEY = Goal(kind="most_money")
LINES = 4
MOST_PLANS = 3000


def risky(data: SelectionData, seed: int, weight: float) -> SelectionData:
    """The farm with four invented lines of what the worst years take."""
    rng = np.random.default_rng(seed)
    change = rng.normal(-20.0, 60.0, (LINES, data.years, len(data.products)))
    start = rng.normal(-2000.0, 1000.0, LINES)
    risk = Downside(change=change, start=start, weight=weight)
    return replace(data, limits=replace(data.limits, downside=risk))


def lacking(data: SelectionData, tonnes: np.ndarray) -> float:
    """Plainly: what the line that takes most brings against usual years."""
    risk = data.limits.downside
    assert risk is not None
    return min(
        float(start) + float((change * tonnes).sum())
        for start, change in zip(risk.start, risk.change, strict=True)
    )


def worth_of(data: SelectionData, paths: tuple[tuple[int, ...], ...]) -> float:
    assert data.limits.downside is not None
    figures = evaluate(data, paths)
    if figures.breaks:
        return -np.inf
    return figures.present_value + data.limits.downside.weight * lacking(data, figures.tonnes)


@settings(max_examples=8, deadline=None, suppress_health_check=list(HealthCheck))
@given(small_farms(), st.integers(0, 10_000), st.sampled_from([0.2, 0.5, 1.0]))
def test_equal_to_listing_all_plans(data: SelectionData, seed: int, weight: float) -> None:
    farm = risky(data, seed, weight)
    pools = [exhaustive(farm, field).paths for field in range(len(farm.fields))]
    assume(1 < np.prod([len(paths) for paths in pools]) <= MOST_PLANS)
    plans = itertools.product(*([tuple(map(int, path)) for path in paths] for paths in pools))
    best = max(worth_of(farm, plan) for plan in plans)
    try:
        found = select(farm, MONEY)
    except NoPlanError:
        assert best == -np.inf
        return
    assert found.value == pytest.approx(best, abs=1e-4 * max(1.0, abs(best)))
    assert found.value == pytest.approx(worth_of(farm, found.paths), abs=1e-6 * max(1.0, abs(best)))
    assert found.bound is not None
    assert found.bound >= best - 1e-6 * max(1.0, abs(best))


def test_the_more_bad_years_count_the_better_they_are() -> None:
    """Between two plans that are each best for their weight; the usual years' money moves the other way."""
    moved = False
    for seed in range(4):
        data = random_data(seed)
        found = []
        for weight in (0.05, 1.0):
            farm = risky(data, seed, weight)
            try:
                chosen = select(farm, MONEY, gap=1e-9)
            except NoPlanError:
                break
            assert chosen.gap is not None
            assert chosen.gap < 1e-6
            figures = chosen.figures
            found.append((figures.present_value, lacking(farm, figures.tonnes)))
        if len(found) < 2:
            continue
        (money, worst), (careful_money, careful_worst) = found
        assert careful_worst >= worst - 1e-3
        assert careful_money <= money + 1e-3
        moved |= careful_worst > worst + 1.0
    assert moved


# ---------------------------------------------------------------- the printed mean of the worst fifth

WEIGHTS = (0.3, 0.7, 1.0)


def _kinds() -> dict[str, Farm]:
    """Small farms: plain; with a herd, a barn and buyers who take only so much; with steep caps."""
    herd = {"feed_need_t": 30.0, "feed_price_per_t": 215.0, "hay_storage_t": 40.0, "hay_stored_now_t": 12.0}
    few = tuple(
        Outlet(name=crop, crop=crop, price_per_t=price, least_t=0.0, most_t=most, years=(), haul_per_t=10.0)
        for crop, price, most in (("soybean", 760.0, 12.0), ("spring_barley", 420.0, 20.0))
    )
    return {"plain": small(), "herd": small(**herd, outlets=few), "few buyers": small(outlets=few)}


@cache
def _laid(kind: str) -> tuple[Groundwork, SelectionData, Selected, Scenarios]:
    ground = lay(_kinds()[kind], TABLES)
    data = selection_data(ground)
    return ground, data, select(data, MONEY, gap=1e-9), farm_scenarios(ground, data)


@pytest.mark.parametrize("kind", ["plain", "herd", "few buyers"])
@pytest.mark.parametrize("weight", WEIGHTS)
def test_counting_bad_years_never_makes_the_printed_worst_fifth_worse(kind: str, weight: float) -> None:
    ground, data, plain, courses = _laid(kind)
    careful_farm = replace(ground.farm, bad_years_weight=weight)
    counted, start = with_bad_years(replace(ground, farm=careful_farm), data)
    chosen = propose(counted, careful_farm, start=start).richest
    assert chosen is not None
    # as printed: what the page says of each plan, from figures that know nothing of any weight
    told = [
        (figures.present_value, risk(data, paths, figures, courses).worst_fifth_net)
        for paths in (plain.paths, chosen.paths)
        for figures in (evaluate(data, paths),)
    ]
    (money, worst), (careful_money, careful_worst) = told
    a_year = float(data.discount.sum())
    mixed, careful_mixed = ((1.0 - weight) * pv + weight * a_year * mean for pv, mean in told)
    assert careful_mixed >= mixed - 1e-6 * abs(mixed)
    assert plain.gap is not None and plain.gap < 1e-6  # so no plan has more money in usual years
    assert careful_money <= money * (1.0 + 1e-6)
    assert careful_worst >= worst - 1e-6 * abs(worst)
    assert chosen.figures.worth == pytest.approx(careful_mixed)


def test_counting_bad_years_changes_a_plan_for_the_better() -> None:
    """Else the test above would say nothing."""
    moved = []
    for kind in _kinds():
        ground, data, plain, courses = _laid(kind)
        careful = replace(ground, farm=replace(ground.farm, bad_years_weight=1.0))
        start = with_bad_years(careful, data)[1]
        assert start is not None
        worst = [
            risk(data, paths, evaluate(data, paths), courses).worst_fifth_net
            for paths in (plain.paths, start.paths)
        ]
        moved.append(worst[1] - worst[0])
    assert max(moved) > 100.0


@pytest.mark.parametrize("kind", ["plain", "herd", "few buyers"])
def test_a_line_touches_the_printed_mean_of_the_worst_fifth_at_its_plan(kind: str) -> None:
    _, data, plain, courses = _laid(kind)
    start, change = line_at(data, plain.figures, courses)
    told = risk(data, plain.paths, plain.figures, courses).worst_fifth_net * float(data.discount.sum())
    assert plain.figures.present_value + start + (change * plain.figures.tonnes).sum() == pytest.approx(told)
    # a little more of one crop moves both alike
    year, product = np.unravel_index(int(np.argmax(plain.figures.tonnes)), plain.figures.tonnes.shape)
    more = np.zeros_like(plain.figures.tonnes)
    more[year, product] = 0.1
    there = replace(plain.figures, tonnes=plain.figures.tonnes + more, made_t=plain.figures.made_t + more)
    usual = Scenarios.usual(1, data.years, courses.market_price_per_t)
    a_year = float(data.discount.sum()) / data.years

    def lack(figures: Figures) -> float:
        return a_year * (
            worst_mean(outcomes(data, figures, courses).net.sum(axis=1))
            - float(outcomes(data, figures, usual).net.sum())
        )

    assert lack(there) - lack(plain.figures) == pytest.approx(0.1 * change[year, product], rel=0.03)


def test_a_farm_that_does_not_count_bad_years_is_left_as_it_is() -> None:
    ground, data, _, _ = _laid("plain")
    assert with_bad_years(ground, data) == (data, None)
