"""Bad years counted when plans are chosen, against listing every plan and against plain means."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from small_farm import TABLES, small
from strategies import random_data, small_farms

from rotation_opt.arrays import Downside, SelectionData
from rotation_opt.downside import with_bad_years
from rotation_opt.errors import NoPlanError
from rotation_opt.farm_arrays import selection_data
from rotation_opt.formulate import Goal
from rotation_opt.groundwork import lay
from rotation_opt.select import evaluate, select
from rotation_opt.sequences import exhaustive

MONEY = Goal(kind="most_money")
COURSES = 10
MOST_PLANS = 3000


def risky(data: SelectionData, seed: int, weight: float) -> SelectionData:
    """The farm with ten invented courses of prices and yields."""
    rng = np.random.default_rng(seed)
    shape = (COURSES, data.years, len(data.products))
    change = rng.normal(0.0, 60.0, shape)
    change -= change.mean(axis=0)
    return replace(data, limits=replace(data.limits, downside=Downside(change=change, weight=weight)))


def mean_of_worst_fifth(data: SelectionData, tonnes: np.ndarray) -> float:
    """Plainly: the two worst of ten outcomes."""
    assert data.limits.downside is not None
    outcomes = sorted(float((course * tonnes).sum()) for course in data.limits.downside.change)
    return sum(outcomes[:2]) / 2


def worth_of(data: SelectionData, paths: tuple[tuple[int, ...], ...]) -> float:
    assert data.limits.downside is not None
    figures = evaluate(data, paths)
    if figures.breaks:
        return -np.inf
    weight = data.limits.downside.weight
    return figures.present_value + weight * mean_of_worst_fifth(data, figures.tonnes)


@settings(max_examples=20, deadline=None, suppress_health_check=list(HealthCheck))
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


def test_the_more_bad_years_count_the_better_the_worst_fifth() -> None:
    """Between two plans that are each best for their weight; the expected money moves the other way."""
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
            found.append((figures.present_value, mean_of_worst_fifth(farm, figures.tonnes)))
        if len(found) < 2:
            continue
        (money, worst), (careful_money, careful_worst) = found
        assert careful_worst >= worst - 1e-3
        assert careful_money <= money + 1e-3
        moved |= careful_worst > worst + 1.0
    assert moved


def test_a_grower_who_counts_bad_years_gets_a_better_worst_fifth() -> None:
    """The small farm from the tables, held against the choice by expected money, to what is proven."""
    ground = lay(replace(small(), bad_years_weight=0.8), TABLES)
    plain_data = selection_data(ground)
    careful_data = with_bad_years(ground, plain_data)
    assert careful_data.limits.downside is not None
    assert careful_data.limits.downside.change.shape[1:] == (plain_data.years, len(plain_data.products))
    plain = select(plain_data, MONEY)
    careful = select(careful_data, MONEY, pools=plain.pools)
    as_counted = evaluate(careful_data, plain.paths)
    assert careful.figures.worth >= as_counted.worth - 1e-6 * abs(as_counted.worth)
    assert plain.bound is not None
    assert careful.figures.present_value <= plain.bound * (1 + 1e-9)
    # the mean of the worst fifth in the courses it was chosen by can only be better
    if plain.gap is not None and plain.gap < 1e-6:
        assert careful.figures.regret <= as_counted.regret + 1e-6 * abs(as_counted.worth)
    assert with_bad_years(lay(small(), TABLES), plain_data) is plain_data
