"""What is proven is kept and told: money of the cleanest plans, a plan with other crops, quick what-ifs."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import fake_result
import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from strategies import random_data, small_farms
from whole_page import plan_page

from rotation_opt.arrays import Limits, SelectionData
from rotation_opt.brake import Brake
from rotation_opt.distinct import different
from rotation_opt.errors import NoPlanError
from rotation_opt.formulate import Goal, Program
from rotation_opt.pricing import Pricing
from rotation_opt.reasons import only
from rotation_opt.records import PriceStep
from rotation_opt.report.terminal import render
from rotation_opt.select import Selected, evaluate, select
from rotation_opt.sequences import Grower
from rotation_opt.stricter import no_looser, within_fields
from rotation_opt.tradeoff import Point, curve, lowered
from rotation_opt.what_if import (
    Question,
    feed_need,
    hire,
    labour,
    larger_outlet,
    largest_share,
    least_cash,
    least_share,
    machine_hours,
    select_again,
    smaller_promise,
    storage,
    what_if,
    without_outlet,
)

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


def test_more_is_not_possible_under_a_tighter_limit_than_under_a_looser_one() -> None:
    data, richest, cleanest = farm(SEEDS[0])
    first, *_, last = curve(data, richest, cleanest, 3, gap=EXACT).points
    assert first.bound is not None

    def at(limit: float | None, bound: float | None) -> Point:
        return replace(first, limit=limit, bound=bound)

    def bounds(*points: Point) -> list[float | None]:
        return [point.bound for point in lowered(points)]

    assert bounds(at(None, 100.0), at(5.0, 110.0), at(4.0, None), at(2.0, 90.0)) == [
        100.0,
        100.0,
        100.0,
        90.0,
    ]
    assert bounds(at(None, None), at(5.0, 110.0), at(6.0, 120.0)) == [None, 110.0, 120.0]
    assert last.bound is not None
    assert last.bound <= first.bound


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


# ---------------------------------------------------------------- stricter and looser


def asked(limits: Limits, size: float) -> list[tuple[Question, Question]]:
    """Each limit made stricter and looser by some amount."""
    pairs = [
        (labour(limits, -size), labour(limits, size)),
        (labour(limits, -size, 9), labour(limits, size, 9)),
        (machine_hours(limits, 0, "machine", -size, 9), machine_hours(limits, 0, "machine", size, 9)),
        (hire(limits, 0, "machine", hours=-size), hire(limits, 0, "machine", hours=size)),
        (hire(limits, -1, "machine", area_ha=-size), hire(limits, -1, "machine", area_ha=size)),
        (
            least_cash(limits, limits.cash_floor + 100 * size),
            least_cash(limits, limits.cash_floor - 100 * size),
        ),
        (storage(limits, -size), storage(limits, size)),
        (feed_need(limits, limits.feed_need_t + size), feed_need(limits, 0.5 * limits.feed_need_t)),
    ]
    for n, each in enumerate(limits.outlets):
        pairs.append((larger_outlet(limits, n, -size), larger_outlet(limits, n, size)))
        if not each.least_t.any():
            pairs.append((without_outlet(limits, n), larger_outlet(limits, n, size)))
        pairs.append((smaller_promise(limits, n, -size), smaller_promise(limits, n, size)))
    for n, share in enumerate(limits.largest):
        pairs.append(
            (largest_share(limits, n, 0.8 * share.share), largest_share(limits, n, share.share + 0.1))
        )
    for n, share in enumerate(limits.least):
        pairs.append((least_share(limits, n, share.share + 0.1), least_share(limits, n, 0.5 * share.share)))
    return pairs


QUICK = settings(
    max_examples=25,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow],
)


def chosen(data: SelectionData, limits: Limits | None = None) -> Selected:
    try:
        return select(data, MONEY, limits=limits)
    except NoPlanError:
        assume(False)
        raise


@QUICK
@given(small_farms(), st.floats(0.5, 10.0))
def test_a_stricter_limit_is_told_from_a_looser_one(data: SelectionData, size: float) -> None:
    limits = data.limits
    assert no_looser(limits, limits)
    for stricter, looser in asked(limits, size):
        assert no_looser(stricter.limits, limits), stricter.sentence
        assert no_looser(limits, looser.limits), looser.sentence
        assert no_looser(stricter.limits, looser.limits)


def test_a_looser_limit_is_never_called_stricter() -> None:
    limits = random_data(3, fields=4, years=3, practices=6, tight=1.0).limits
    outlet = next(n for n, each in enumerate(limits.outlets) if each.least_t.max() > 1.0)
    for looser in (
        labour(limits, 1.0),
        labour(limits, 1.0, 9),
        machine_hours(limits, 0, "machine", 1.0, 9),
        least_cash(limits, limits.cash_floor - 1.0),
        storage(limits, 1.0),
        feed_need(limits, 0.5 * limits.feed_need_t),
        larger_outlet(limits, outlet, 1.0),
        smaller_promise(limits, outlet, 1.0),
        largest_share(limits, 0, limits.largest[0].share + 0.01),
        least_share(limits, 0, 0.9 * limits.least[0].share),
    ):
        assert not no_looser(looser.limits, limits), looser.sentence
        both = labour(looser.limits, -2.0, 3).limits
        assert not no_looser(both, limits), looser.sentence


def test_a_lost_outlet_with_a_promise_is_neither_stricter_nor_looser() -> None:
    data = random_data(3, fields=4, years=3, practices=6, tight=1.0)
    number = next(n for n, outlet in enumerate(data.limits.outlets) if outlet.least_t.any())
    lost = without_outlet(data.limits, number).limits
    assert not no_looser(lost, data.limits)
    assert not no_looser(data.limits, lost)


@QUICK
@given(small_farms(), st.floats(0.5, 10.0), st.integers(0, 1000))
def test_what_is_worth_more_is_never_called_stricter(data: SelectionData, size: float, which: int) -> None:
    base = chosen(data)
    pairs = asked(data.limits, size)
    limits = pairs[which % len(pairs)][0].limits
    assert base.bound is not None
    try:
        found = select(data, MONEY, limits=limits)
    except NoPlanError:
        return
    assert found.value <= base.bound + 1e-6 * abs(base.bound) + 0.05


# ---------------------------------------------------------------- the bound kept


@QUICK
@given(small_farms(), st.floats(0.5, 10.0), st.integers(0, 1000))
def test_no_plan_under_other_limits_passes_the_bound_kept(
    data: SelectionData, size: float, which: int
) -> None:
    base = chosen(data)
    assert base.kept is not None
    pairs = asked(data.limits, size)
    for question in pairs[which % len(pairs)]:
        try:
            fresh = select(data, MONEY, limits=question.limits)
        except NoPlanError:
            continue
        least = base.kept.under(Program(data, question.limits, every_row=True))
        spent = float(data.discount.sum()) * question.limits.fixed_cost
        assert fresh.value <= -least - spent + 1e-6 * abs(fresh.value) + 0.05, question.sentence


@QUICK
@given(small_farms())
def test_under_the_same_limits_the_bound_kept_is_that_of_the_linear_program(data: SelectionData) -> None:
    base = chosen(data)
    assert base.kept is not None
    program = Program(data, data.limits)
    pricing = Pricing(Grower(data), program, program.money_objective(), (), Brake(60.0))
    assert pricing.solve()
    again = base.kept.under(Program(data, data.limits, every_row=True))
    assert again == pytest.approx(pricing.bound, rel=1e-5, abs=0.1)


def test_prices_that_lost_their_limit_say_nothing() -> None:
    data, _, cleanest = farm(SEEDS[0])
    assert cleanest.burden_most is not None
    tight = select(data, Goal(kind="most_money", burden_most=cleanest.burden_most), gap=EXACT)
    assert tight.kept is not None
    assert np.isfinite(tight.kept.under(Program(data, data.limits, cleanest.burden_most, every_row=True)))
    assert tight.kept.under(Program(data, data.limits, every_row=True)) == -np.inf


# ---------------------------------------------------------------- answers


@QUICK
@given(small_farms(), st.floats(0.5, 10.0), st.integers(0, 1000))
def test_a_quick_answer_is_true_and_near_that_of_a_search_from_nothing(
    data: SelectionData, size: float, which: int
) -> None:
    base = chosen(data)
    pairs = asked(data.limits, size)
    for looser, question in enumerate(pairs[which % len(pairs)]):
        try:
            fresh = select(data, MONEY, limits=question.limits)
        except NoPlanError:
            with pytest.raises(NoPlanError):
                what_if(data, base, MONEY, question.limits)
            continue
        change = what_if(data, base, MONEY, question.limits)
        slack = 1e-6 * abs(fresh.value) + 0.05
        assert fresh.bound is not None
        assert change.bound[1] is not None
        assert change.gap[1] is not None
        assert change.value[1] <= fresh.bound + slack
        assert fresh.value <= change.bound[1] + slack
        assert change.bound[1] - change.value[1] == pytest.approx(
            change.gap[1] * abs(change.value[1]), abs=0.01
        )
        again = evaluate(data, change.paths, limits=question.limits)
        assert not again.breaks
        assert again.present_value == pytest.approx(change.value[1], abs=0.01)
        if looser:
            assert change.gain >= -1e-9
        elif not change.bettered:
            assert change.gain <= slack


def test_a_stricter_limit_that_the_plan_keeps_needs_no_search() -> None:
    data, base, _ = farm(SEEDS[0])
    free = data.limits.labour_h - base.figures.labour_h.max(axis=0)
    half = int(np.argmax(free))
    assert free[half] > 1.0
    found = select_again(data, base, MONEY, labour(data.limits, -0.5 * float(free[half]), half).limits)
    assert (found.rounds, found.paths, found.bound, found.gap) == (0, base.paths, base.bound, base.gap)
    assert not found.figures.breaks
    # the next question is asked of what was answered: taking the hours back again is looser than that
    back = select_again(data, found, MONEY)
    assert back.rounds > 0
    assert back.value == pytest.approx(base.value, abs=0.01)


def test_fields_that_allow_more_than_the_search_knew_are_searched_without_what_was_proven() -> None:
    data, _, _ = farm(SEEDS[0])
    field, year = 0, 0
    rest = np.ones(len(data.practice_keys), bool)
    free = select(data, MONEY, gap=EXACT)
    rest[free.paths[field][year]] = False
    narrow = only(data, field, year, rest)
    assert within_fields(narrow, data)
    assert not within_fields(data, narrow)
    less = select(narrow, MONEY, gap=EXACT)
    assert less.bound is not None
    assert less.bound < free.value  # so the bound of the narrower farm would be false here
    wide = select_again(data, less, MONEY)
    assert wide.bound is not None
    assert wide.value == pytest.approx(free.value, rel=1e-3)
    assert wide.bound >= free.value - 1e-6 * abs(free.value)
