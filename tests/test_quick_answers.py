"""What is proven is kept and told: money of the cleanest plans, a plan with other crops, quick what-ifs."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import fake_result
import pytest
from strategies import random_data

from rotation_opt.arrays import SelectionData
from rotation_opt.distinct import different
from rotation_opt.formulate import Goal
from rotation_opt.records import PriceStep
from rotation_opt.report.content import plan_page
from rotation_opt.report.terminal import render
from rotation_opt.select import Selected, select
from rotation_opt.tradeoff import curve

MONEY, CLEAN = Goal(kind="most_money"), Goal(kind="least_burden")
SEEDS = (3, 8, 21)
EXACT = 1e-6


@cache
def farm(seed: int) -> tuple[SelectionData, Selected, Selected]:
    data = random_data(seed, fields=4, years=3, practices=6, tight=0.2)
    richest = select(data, MONEY, gap=EXACT)
    return data, richest, select(data, CLEAN, pools=richest.pools, gap=EXACT)


# ---------------------------------------------------------------- money among the cleanest


@pytest.mark.parametrize("seed", SEEDS)
def test_no_plan_as_clean_brings_more_than_the_bound_kept_for_the_cleanest(seed: int) -> None:
    data, _, cleanest = farm(seed)
    assert cleanest.burden_most is not None
    assert cleanest.money_bound is not None
    fresh = select(data, Goal(kind="most_money", burden_most=cleanest.burden_most), gap=EXACT)
    assert fresh.bound is not None
    size = max(abs(fresh.value), 1.0)
    assert fresh.value <= cleanest.money_bound + 1e-6 * size
    assert cleanest.figures.present_value <= fresh.bound + 1e-6 * size
    # the bound is that of the money, not of the weeds
    assert cleanest.money_bound == pytest.approx(fresh.bound, abs=2e-3 * size)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_last_line_of_the_curve_has_its_own_gap_in_money(seed: int) -> None:
    data, richest, cleanest = farm(seed)
    last = curve(data, richest, cleanest, 3, gap=EXACT).points[-1]
    assert last.bound is not None
    assert last.limit is not None
    assert last.burden <= last.limit
    assert last.gap is not None
    assert last.money <= last.bound + 1e-6 * abs(last.money)


def test_for_most_money_the_bound_of_the_money_is_the_bound() -> None:
    _, richest, _ = farm(SEEDS[0])
    assert richest.burden_most is None
    assert richest.money_bound == richest.bound


# ---------------------------------------------------------------- a plan with other crops


@pytest.mark.parametrize("seed", [1, 2, 5, 7])
def test_a_plan_with_other_crops_is_as_far_from_the_most_money_as_is_said(seed: int) -> None:
    data = random_data(seed, fields=3, years=3, practices=6, tight=0.3)
    best = select(data, MONEY, gap=EXACT)
    found = different(data, best, loss=0.05, share=0.3)
    if found.figures is None:
        assert found.gap is None
        return
    assert best.bound is not None
    assert found.gap is not None
    money = found.figures.present_value
    assert money + found.gap * abs(money) == pytest.approx(max(best.bound, money))


def test_where_the_bound_is_not_known_nothing_is_said_of_a_plan_with_other_crops() -> None:
    data = random_data(5, fields=3, years=3, practices=6, tight=0.3)
    best = replace(select(data, MONEY, gap=EXACT), bound=None)
    assert different(data, best, loss=0.05, share=0.3).gap is None


# ---------------------------------------------------------------- in print


def test_money_that_could_still_be_had_is_never_rounded_down() -> None:
    tables = fake_result.tables()

    def step(share: float, money: float, gap: float | None) -> PriceStep:
        return PriceStep(
            burden_share=share, net_return=money, labour_h=1.0, proven_gap=gap, mark="", alternative=""
        )

    steps = (step(1.0, 20000.0, 0.01201), step(0.5, 10000.0, None), step(0.1, 5000.0, 1.5))
    text = render(plan_page(fake_result.result(price_steps=steps), tables), width=80)
    rows = [
        line.split() for line in text.splitlines() if line.split()[1:2] in (["20,000"], ["10,000"], ["5,000"])
    ]
    assert [row[-1] for row in rows] == ["1.3", "-", "-"]
