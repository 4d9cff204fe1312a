"""The tree of sequences against walking every path one by one."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from strategies import random_data, small_farms

from rotation_opt.arrays import NOT_FARMED, Prices, SelectionData
from rotation_opt.sequences import Grower, exhaustive, grow, no_prices, trace, yield_lost


def allowed(data: SelectionData, field: int, path: tuple[int, ...]) -> bool:
    """The rules once more, for one path, looking back along it in plain Python."""
    land, rules = data.fields[field], data.rules
    past = list(land.history)
    for year, practice in enumerate(path):
        if not land.farmed[year]:
            if practice != NOT_FARMED:
                return False
            continue
        if (
            practice == NOT_FARMED
            or not land.allowed[year, practice]
            or not data.may_follow[past[-1], practice]
        ):
            return False
        for rule, years in enumerate(rules.break_years):
            recent = past[-int(years) :]
            if rules.break_next[rule, practice] and any(rules.break_before[rule, p] for p in recent):
                return False
        past.append(practice)
        for rule, most in enumerate(rules.run_most):
            length = 0
            for earlier in reversed(past):
                if not rules.run_member[rule, earlier]:
                    break
                length += 1
            if rules.run_member[rule, practice] and length > most:
                return False
    return True


def random_prices(data: SelectionData, seed: int) -> Prices:
    """Prices as duals could be: money and tonnes worth something, work and weeds costing something."""
    rng = np.random.default_rng(seed)
    years, machines = data.years, len(data.machines)
    some = rng.random((machines, years + 1, 24)) < 0.1
    return Prices(
        money=rng.uniform(0.0, 1.5, years),
        product=rng.uniform(0.0, 300.0, (years, len(data.products))),
        labour=np.where(rng.random((years + 1, 24)) < 0.2, rng.uniform(0, 60, (years + 1, 24)), 0.0),
        machine=np.where(some, rng.uniform(0, 90, some.shape), 0.0),
        hired=rng.uniform(0, 40, (machines, years)),
        land=rng.uniform(-50, 50, (years, len(data.practice_keys))),
        burden=rng.uniform(0, 3_000, years),
    )


def worth_of(data: SelectionData, field: int, path: tuple[int, ...], prices: Prices) -> float:
    """Worth of one path, added up year by year from its trace."""
    land, seen, total = data.fields[field], trace(data, field, path), 0.0
    for year, practice in enumerate(path):
        if practice == NOT_FARMED:
            continue
        pair = seen.pairs[year]
        total += prices.money[year] * seen.money[year] - prices.burden[year] * seen.burden[year, data.likely]
        total -= land.area_ha * prices.land[year, practice]
        if data.product_of[practice] >= 0:
            total += prices.product[year, data.product_of[practice]] * seen.tonnes[year]
        for offset in (0, 1):
            hours = data.labour_h[pair, offset] * prices.labour[year + offset]
            total -= land.area_ha * hours.sum()
            total -= land.area_ha * (data.machine_h[pair, :, offset] * prices.machine[:, year + offset]).sum()
        total -= land.area_ha * (data.hired_area[pair] * prices.hired[:, year]).sum()
    return total


@settings(max_examples=60, deadline=None)
@given(small_farms())
def test_the_tree_holds_exactly_the_paths_that_the_rules_allow(data: SelectionData) -> None:
    for field, land in enumerate(data.fields):
        pool = exhaustive(data, field)
        assert pool.complete
        found = {tuple(int(p) for p in path) for path in pool.paths}
        assert len(found) == len(pool)
        choices = [
            range(len(data.practice_keys)) if land.farmed[year] else (NOT_FARMED,)
            for year in range(data.years)
        ]
        assert found == {path for path in itertools.product(*choices) if allowed(data, field, path)}


@settings(max_examples=40, deadline=None)
@given(small_farms())
def test_figures_of_the_tree_are_those_of_following_each_path_alone(data: SelectionData) -> None:
    for field in range(len(data.fields)):
        pool = exhaustive(data, field)
        for row in range(0, len(pool), 7):
            seen = trace(data, field, pool.paths[row].tolist())
            assert pool.money[row] == pytest.approx(seen.money)
            assert pool.tonnes[row] == pytest.approx(seen.tonnes)
            assert pool.loss[row] == pytest.approx(seen.loss[:, data.likely])
            assert pool.burden[row] == pytest.approx(seen.burden[:, data.likely])
            assert tuple(pool.pairs[row]) == seen.pairs


@settings(max_examples=40, deadline=None)
@given(small_farms(), st.integers(0, 10_000))
def test_growing_at_prices_finds_the_path_worth_most_and_its_worth(data: SelectionData, seed: int) -> None:
    prices = random_prices(data, seed)
    for field in range(len(data.fields)):
        paths = [tuple(int(p) for p in path) for path in exhaustive(data, field).paths]
        grown = grow(data, field, prices, width=100_000, keep=5)
        assert grown.exact
        if not paths:
            assert len(grown.pool) == 0
            assert grown.upper == -np.inf
            continue
        worth = [worth_of(data, field, path, prices) for path in paths]
        assert grown.worth[0] == pytest.approx(max(worth), rel=1e-9, abs=1e-6)
        assert grown.upper == pytest.approx(max(worth), rel=1e-9, abs=1e-6)
        for path, value in zip(grown.pool.paths, grown.worth, strict=True):
            assert value == pytest.approx(worth_of(data, field, tuple(path), prices), rel=1e-9, abs=1e-6)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.sampled_from([1, 3, 10]))
def test_a_narrow_growth_never_claims_less_than_the_best_path_is_worth(seed: int, width: int) -> None:
    data = random_data(seed, fields=1, years=4, practices=6, weeds=seed % 4)
    prices = random_prices(data, seed + 1)
    wide = grow(data, 0, prices, width=1_000_000, keep=1)
    narrow = grow(data, 0, prices, width=width, keep=1)
    best = wide.worth[0]
    assert narrow.upper >= best - 1e-6 * abs(best) - 1e-9
    if len(narrow.worth):
        assert narrow.worth[0] <= best + 1e-6 * abs(best) + 1e-9
    assert not narrow.pool.complete or len(wide.pool) == 1


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000), st.floats(0.0, 0.9))
def test_branches_cut_by_the_backward_bound_held_nothing_worth_the_threshold(seed: int, share: float) -> None:
    data = random_data(seed, fields=1, years=3, practices=6, weeds=1 + seed % 3)
    prices = random_prices(data, seed + 2)
    everything = grow(data, 0, prices, width=10**6, keep=10**6)
    low, high = everything.worth.min(), everything.worth.max()
    least = low + share * (high - low)
    found = grow(data, 0, prices, width=10**6, keep=10**6, least=float(least))
    assert found.exact
    assert len(found.pool) == int((everything.worth >= least).sum())


def test_a_field_without_weeds_has_no_burden_and_no_loss() -> None:
    data = random_data(5, fields=1, years=3, practices=5, weeds=0)
    pool = exhaustive(data, 0)
    assert len(pool)
    assert not pool.burden.any()
    assert not pool.loss.any()


def test_more_reserve_at_the_start_never_means_less_burden_or_more_crop() -> None:
    data = random_data(8, fields=1, years=4, practices=6, weeds=1)
    land = data.fields[0]
    path = exhaustive(data, 0).paths[0].tolist()
    traces = [
        trace(_with_start(data, start), 0, path)
        for start in np.linspace(0.0, float(data.reserve_cap[0, 0]), 7)
    ]
    if not land.infested_share.any():
        pytest.skip("this random field has no weeds")
    assert (np.diff([t.burden.sum() for t in traces]) >= 0).all()
    assert (np.diff([t.made_t.sum() for t in traces]) <= 1e-12).all()


def _with_start(data: SelectionData, start: float) -> SelectionData:
    from dataclasses import replace

    land = replace(data.fields[0], start_reserve=np.full_like(data.fields[0].start_reserve, start))
    return replace(data, fields=(land,))


def test_several_weeds_take_from_what_the_others_left() -> None:
    # 20 % and 50 % lost on the whole field: 1 - 0.8 * 0.5
    lost = yield_lost(np.array([10.0, 10.0]), np.array([0.02, 0.05]), np.array([1e9, 1e9]), np.ones(2))
    assert float(lost) == pytest.approx(0.6, abs=1e-6)
    assert float(yield_lost(np.array([10.0]), np.array([0.02]), np.array([1e9]), np.array([0.5]))) == (
        pytest.approx(0.1, abs=1e-6)
    )


def test_prices_of_nothing_make_every_path_worth_nothing() -> None:
    data = random_data(1, fields=1)
    grower = Grower(data)
    grown = grower.grow(0, grower.worth(no_prices(data)), width=10**6, keep=10**6)
    assert grown.pool.complete
    assert not grown.worth.any()
