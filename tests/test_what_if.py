"""A changed limit: loosened never worse, tightened never better, and as if chosen from nothing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest
from demo_farm import FRESH_GAP, Run, agree, demo
from hypothesis import given, settings
from hypothesis import strategies as st
from small_farm import FEW_FARMS, MONEY, chosen
from strategies import small_farms

from rotation_opt.arrays import Limits, SelectionData
from rotation_opt.errors import NoPlanError
from rotation_opt.select import Selected, evaluate, select
from rotation_opt.what_if import (
    Change,
    Question,
    feed_need,
    guarded,
    hire,
    labour,
    larger_outlet,
    largest_share,
    least_cash,
    least_share,
    machine_hours,
    smaller_promise,
    storage,
    what_if,
    without_outlet,
)

FEW = settings(parent=FEW_FARMS, max_examples=12)


def afresh(data: SelectionData, limits: Limits) -> Selected | None:
    """Chosen from nothing; None if there is no plan."""
    try:
        return select(data, MONEY, limits=limits)
    except NoPlanError:
        return None


def looser(limits: Limits) -> list[Question]:
    questions = [
        labour(limits, 5.0),
        labour(limits, 5.0, 9),
        machine_hours(limits, 0, "machine 0", 4.0, 9),
        hire(limits, 0, "machine 0", hours=6.0),
        hire(limits, -1, "last machine", area_ha=5.0),
        least_cash(limits, limits.cash_floor - 500.0),
        storage(limits, 10.0),
        feed_need(limits, 0.5 * limits.feed_need_t),
    ]
    questions += [larger_outlet(limits, n, 5.0) for n in range(len(limits.outlets))]
    questions += [smaller_promise(limits, n, 5.0) for n in range(len(limits.outlets))]
    questions += [largest_share(limits, n, each.share + 0.1) for n, each in enumerate(limits.largest)]
    questions += [least_share(limits, n, 0.5 * each.share) for n, each in enumerate(limits.least)]
    return questions


@FEW
@given(small_farms(), st.integers(0, 100))
def test_a_loosened_limit_never_makes_the_answer_worse_and_tightening_it_back_never_better(
    data: SelectionData, which: int
) -> None:
    base = chosen(data)
    questions = looser(data.limits)
    asked = questions[which % len(questions)]
    loose = what_if(data, base, MONEY, asked.limits)
    assert loose.gain >= -1e-9, asked.sentence
    assert not evaluate(data, loose.paths, limits=asked.limits).breaks
    wide = replace(data, limits=asked.limits)
    back = what_if(wide, select(wide, MONEY), MONEY, data.limits)
    assert back.gain <= 2.5e-4 * max(abs(loose.value[1]), abs(base.value)) + 1e-3


@FEW
@given(small_farms(), st.floats(-10.0, 10.0), st.floats(0.3, 1.5))
def test_an_answer_from_the_kept_sequences_is_that_of_a_search_from_nothing(
    data: SelectionData, hours: float, feed: float
) -> None:
    base = chosen(data)
    limits = feed_need(labour(data.limits, hours).limits, feed * data.limits.feed_need_t).limits
    fresh = afresh(data, limits)
    if fresh is None:
        with pytest.raises(NoPlanError):
            what_if(data, base, MONEY, limits)
        return
    change = what_if(data, base, MONEY, limits)
    assert change.bound[1] is not None
    assert fresh.bound is not None
    slack = 1e-6 * abs(fresh.value) + 0.05
    assert change.value[1] <= fresh.bound + slack
    assert fresh.value <= change.bound[1] + slack


@FEW
@given(small_farms())
def test_the_differences_told_add_up_to_the_two_plans(data: SelectionData) -> None:
    base = chosen(data)
    try:
        change = what_if(data, base, MONEY, labour(data.limits, -3.0).limits)
    except NoPlanError:
        return
    path = [list(p) for p in base.paths]
    for swap in change.swaps:
        assert path[swap.field][swap.year] == swap.before != swap.after
        path[swap.field][swap.year] = swap.after
    assert tuple(tuple(p) for p in path) == change.paths
    other = evaluate(data, change.paths, limits=labour(data.limits, -3.0).limits)
    hours = base.figures.labour_h.copy()
    for step in change.hours:
        hours[step.year, step.what] += step.amount
    assert hours == pytest.approx(other.labour_h, abs=1e-4)
    assert data.discount @ change.money == pytest.approx(change.gain, abs=0.01)


@FEW
@given(small_farms())
def test_a_worse_plan_found_gives_way_to_the_old_one(data: SelectionData) -> None:
    base = chosen(data)
    worse = replace(base, paths=(), value=base.value - 100.0)
    worse = replace(worse, figures=replace(base.figures, present_value=base.value - 100.0))
    assert guarded(data, base, MONEY, worse, data.limits).paths == base.paths
    broken = labour(data.limits, -1e9).limits
    if evaluate(data, base.paths, limits=broken).breaks:
        assert guarded(data, base, MONEY, worse, broken) is worse


# ---------------------------------------------------------------- the demo farm


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A question of the demo farm, answered from the kept sequences and by a search from nothing."""

    run: Run
    limits: Limits
    change: Change
    fresh: Selected


QUESTIONS: dict[str, Callable[[Run], Question]] = {
    "without its first buyer": lambda run: without_outlet(run.data.limits, 0),
    "fewer hands in the busiest half-month": lambda run: labour(run.data.limits, -10.0, busiest(run)),
    "more hands": lambda run: labour(run.data.limits, 5.0),
}
LOOSER, TIGHTER = ("more hands",), ("fewer hands in the busiest half-month",)
# without the buyer the promise to him is gone too: neither looser nor tighter


def busiest(run: Run) -> int:
    """Half-month in which the richest plan is nearest to, or furthest over, the farm's own hours."""
    return int(np.argmax(run.richest.figures.labour_h.max(axis=0) - run.data.limits.labour_h))


@cache
def asked(name: str) -> Asked:
    run = demo("tamarack_hollow")
    limits = QUESTIONS[name](run).limits
    change = what_if(run.data, run.richest, MONEY, limits)
    return Asked(
        run=run, limits=limits, change=change, fresh=select(run.data, MONEY, limits=limits, gap=FRESH_GAP)
    )


@pytest.mark.parametrize("name", QUESTIONS)
def test_an_answer_for_the_demo_farm_is_worth_what_a_fresh_search_says(name: str) -> None:
    it = asked(name)
    agree((it.change.value[1], it.change.bound[1]), (it.fresh.value, it.fresh.bound))
    again = evaluate(it.run.data, it.change.paths, limits=it.limits)
    assert not again.breaks
    assert again.present_value == pytest.approx(it.change.value[1], abs=0.5)
    assert it.change.gain == pytest.approx(again.present_value - it.run.richest.value, abs=0.5)


@pytest.mark.parametrize("name", LOOSER)
def test_a_loosened_limit_of_the_demo_farm_never_makes_the_answer_worse(name: str) -> None:
    it = asked(name)
    assert it.change.gain >= -1e-9
    # nor may what is proven for it lie below a plan that was possible before
    assert it.fresh.bound is not None
    assert it.fresh.bound >= it.run.richest.value - 1e-6 * abs(it.run.richest.value)


@pytest.mark.parametrize("name", TIGHTER)
def test_a_tightened_limit_of_the_demo_farm_never_makes_the_best_better(name: str) -> None:
    it = asked(name)
    assert it.run.richest.bound is not None
    most = it.run.richest.bound * (1 + 1e-6)
    assert it.change.value[1] <= most
    assert it.fresh.value <= most
    # the plan that was found keeps the old limits too, so it was possible before
    assert not evaluate(it.run.data, it.fresh.paths).breaks


def test_the_demo_farm_sells_nothing_to_a_buyer_that_is_gone() -> None:
    change = asked("without its first buyer").change
    assert np.all(change.after.recourse.sold_t[0] == 0.0)
    assert change.gain < 0.0
