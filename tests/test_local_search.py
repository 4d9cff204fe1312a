"""Exchanging sequences: never worse, always the same, and in the end no single exchange helps."""

from __future__ import annotations

import numpy as np
import pytest
from test_scoring import Scored, farm

from rotation_opt.local_search import LocalSearch

SEEDS = range(8)


def search_of(seed: int) -> tuple[LocalSearch, Scored]:
    farmed = Scored(farm(seed, cash=seed % 2 == 0))
    search = LocalSearch(
        farmed.scoring,
        need=farmed.need,
        cost=farmed.cost,
        field=farmed.field,
        columns=np.arange(len(farmed.cost)),
        rank=farmed.cost,
    )
    return search, farmed


def exact(farmed: Scored, plan: list[int]) -> float:
    columns = np.array(plan)
    farmed.sharpen(columns)
    return farmed.score(columns)


def starts(farmed: Scored, seed: int, count: int) -> list[list[int]]:
    rng = np.random.default_rng(seed)
    return [[int(c) for c in farmed.plan(rng)] for _ in range(count)]


@pytest.mark.parametrize("seed", SEEDS)
def test_a_search_never_ends_worse_than_it_starts_and_tells_the_true_cost(seed: int) -> None:
    search, farmed = search_of(seed)
    better = 0
    for plan in starts(farmed, seed, 4):
        before = exact(farmed, plan)
        search.stand(plan)
        assert search.plan == plan
        assert search.value() == pytest.approx(before, rel=1e-9)
        value = search.run(3, lambda: False)
        assert value == pytest.approx(exact(farmed, search.plan), rel=1e-7)
        assert value <= before + 1e-7 * abs(before)
        better += value < before - 1e-6 * abs(before)
    assert better


@pytest.mark.parametrize("seed", SEEDS)
def test_the_same_start_gives_the_same_end(seed: int) -> None:
    ends = []
    for _ in range(2):
        search, farmed = search_of(seed)
        search.stand(starts(farmed, seed, 1)[0])
        value = search.run(4, lambda: False)
        ends.append((value, search.plan))
    assert ends[0] == ends[1]


@pytest.mark.parametrize("seed", SEEDS)
def test_no_single_exchange_helps_where_a_descent_comes_to_rest(seed: int) -> None:
    search, farmed = search_of(seed)
    for plan in starts(farmed, seed, 4):
        search.stand(plan)
        value = search.descend()
        end = search.plan
        for field in range(len(end)):
            for column in np.flatnonzero(farmed.field == field):
                other = [*end]
                other[field] = int(column)
                assert exact(farmed, other) >= value - 1e-6 * abs(value)


def test_a_stopped_search_still_stands_at_its_best_plan() -> None:
    search, farmed = search_of(1)
    plan = starts(farmed, 1, 1)[0]
    before = exact(farmed, plan)
    search.stand(plan)
    value = search.run(1000, lambda: True)
    assert value < before
    assert value == pytest.approx(exact(farmed, search.plan), rel=1e-7)
