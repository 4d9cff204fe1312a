"""A changed limit: loosened never worse, tightened never better, and as if chosen from nothing."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from strategies import small_farms

import rotation_opt
from rotation_opt.arrays import Limits, SelectionData
from rotation_opt.errors import NoPlanError
from rotation_opt.farm_arrays import selection_data
from rotation_opt.formulate import Goal
from rotation_opt.groundwork import lay
from rotation_opt.select import Selected, evaluate, select
from rotation_opt.tables import read
from rotation_opt.what_if import (
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

MONEY = Goal(kind="most_money")
FEW = settings(
    max_examples=12,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow],
)


def chosen(data: SelectionData) -> Selected:
    try:
        return select(data, MONEY)
    except NoPlanError:
        assume(False)
        raise


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


@cache
def demo() -> tuple[SelectionData, Selected]:
    data = selection_data(lay(rotation_opt.read_farm(rotation_opt.example_farm("tamarack_hollow")), read()))
    return data, select(data, MONEY)


def test_the_demo_farm_without_its_maltster_is_worth_what_a_fresh_search_says() -> None:
    data, base = demo()
    asked = without_outlet(data.limits, 0)
    change = what_if(data, base, MONEY, asked.limits)
    fresh = select(data, MONEY, limits=asked.limits)
    assert change.gain < 0.0
    assert change.bound[1] is not None
    assert fresh.bound is not None
    assert change.value[1] <= fresh.bound + 1.0
    assert fresh.value <= change.bound[1] + 1.0
    assert np.all(change.after.recourse.sold_t[0] == 0.0)
    assert evaluate(data, change.paths, limits=asked.limits).present_value == pytest.approx(
        change.value[1], abs=0.5
    )
