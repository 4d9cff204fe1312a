"""The reference models of the benchmark are the same problem, and its made-up farms are what they promise."""

from __future__ import annotations

import itertools
import sys
from collections import Counter
from dataclasses import fields, is_dataclass, replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent / "benchmarks"))

from compact_model import Model, Reference, compact, loss_curve, under
from instances import count_sequences, instance, named, with_plan
from network_model import Network, network
from strategies import random_data

from rotation_opt.arrays import SelectionData
from rotation_opt.brake import Brake
from rotation_opt.errors import NoPlanError
from rotation_opt.formulate import Goal, Program
from rotation_opt.pricing import Pricing
from rotation_opt.select import evaluate, select
from rotation_opt.sequences import Grower, exhaustive

MONEY = Goal(kind="most_money")
REFERENCES = (compact, network)
SECONDS = 60.0  # a brake only: these farms take a moment


KNOWN: dict[int, float] = {}  # by the identity of a farm; all farms live as long as this file


def listed(data: SelectionData) -> float:
    """Worth of the best of all plans that keep all limits; -inf if there is none."""
    if id(data) not in KNOWN:
        KNOWN[id(data)] = _listed(data)
    return KNOWN[id(data)]


def _listed(data: SelectionData) -> float:
    best = -np.inf
    pools = [exhaustive(data, field).paths.tolist() for field in range(len(data.fields))]
    for paths in itertools.product(*pools):
        figures = evaluate(data, paths)
        if not figures.breaks:
            best = max(best, figures.present_value)
    return best


def tiny(*, weeds: bool, tight: float, count: int) -> list[SelectionData]:
    """Random farms with few plans, without what the reference models were not taught.

    That is yields that differ from field to field by crop, and the lower price of weedy grain.
    """
    farms: list[SelectionData] = []
    for seed in itertools.count():
        data = random_data(seed, fields=2, years=3, practices=5, tight=tight)
        plain = tuple(replace(field, ratios=None) for field in data.fields)
        data = replace(data, weedy=None, fields=plain)
        if not weeds:
            lands = tuple(replace(f, infested_share=np.zeros(len(data.weeds))) for f in data.fields)
            data = replace(data, fields=lands)
        size = np.prod([count_sequences(data, field) for field in range(2)])
        if 20 <= size <= 250:
            farms.append(data)
        if len(farms) == count:
            break
    return farms


def assert_sequences_allowed(data: SelectionData, found: Reference) -> None:
    assert found.paths is not None
    for field, path in enumerate(found.paths):
        assert list(path) in exhaustive(data, field).paths.tolist()


WITHOUT_WEEDS = [*tiny(weeds=False, tight=0.3, count=9), *tiny(weeds=False, tight=0.7, count=3)]
WITH_WEEDS = [*tiny(weeds=True, tight=0.3, count=9), *tiny(weeds=True, tight=0.7, count=3)]


@pytest.mark.parametrize("data", WITHOUT_WEEDS)
def test_without_weeds_both_reference_models_are_the_exact_problem(data: SelectionData) -> None:
    best = listed(data)
    if best == -np.inf:
        with pytest.raises(NoPlanError):
            select(data, MONEY, gap=1e-9)
        assert all(model(data, SECONDS).paths is None for model in REFERENCES)
        return
    assert select(data, MONEY, gap=1e-9).value == pytest.approx(best, rel=1e-6, abs=0.05)
    for model in REFERENCES:
        found = model(data, SECONDS)
        assert found.claimed == pytest.approx(best, rel=1e-6, abs=0.05)
        assert found.proven == pytest.approx(best, rel=1e-6, abs=0.05)
        assert found.exact == pytest.approx(best, rel=1e-6, abs=0.05)
        assert found.bound is not None
        assert found.bound >= best - 1e-6 * abs(best) - 0.05
        assert_sequences_allowed(data, found)


@pytest.mark.parametrize("farms", [WITHOUT_WEEDS, WITH_WEEDS])
def test_most_of_the_farms_tried_have_a_plan_and_some_have_none(farms: list[SelectionData]) -> None:
    has = [listed(data) > -np.inf for data in farms]
    assert 4 <= sum(has) < len(has)


@pytest.mark.parametrize("data", WITH_WEEDS)
def test_with_weeds_the_reference_models_bound_the_exact_problem_from_above(data: SelectionData) -> None:
    best = listed(data)
    for model in REFERENCES:
        found = model(data, SECONDS)
        if found.paths is None:
            assert best == -np.inf  # what has no plan with too few weeds has none
            continue
        assert_sequences_allowed(data, found)
        assert found.bound is not None and found.proven is not None
        assert found.claimed is not None and found.exact is not None
        slack = 1e-6 * abs(found.claimed) + 0.05
        assert found.bound >= found.proven - slack
        assert found.proven >= best - slack
        if not found.breaks:
            assert found.claimed >= found.exact - slack
            assert found.exact <= best + slack


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_a_network_bounds_no_worse_than_an_assignment_and_both_bound_a_plan(seed: int) -> None:
    data, paths = with_plan(4, 3, 16, seed)
    loose, tight = (model(data).solve(False, SECONDS)[1] for model in (Model, Network))
    assert loose is not None
    assert tight is not None
    assert tight <= loose + 1e-6 * abs(loose)
    assert tight >= evaluate(data, paths).present_value - 0.05


def test_lines_lie_below_the_loss_everywhere_and_touch_it_somewhere() -> None:
    data = instance(6, 3, 16, 0)
    field = next(f for f in data.fields if f.infested_share.any())
    weed = int(np.argmax(field.infested_share))
    pairs = data.pair_index[data.may_follow[:, 0], 0].tolist()
    coarse, fine = np.linspace(-4.0, 0.18, 161), np.linspace(-4.0, 0.18, 4001)
    least = loss_curve(data, field, 0, weed, pairs, coarse).min(axis=0)
    lines = under(coarse, np.append(least[0], least[:-1]))
    below = np.max([slope * fine + level for slope, level in lines], axis=0)
    curve = loss_curve(data, field, 0, weed, pairs, fine).min(axis=0)
    assert np.all(below <= curve + 1e-12)
    assert float((curve - below).min()) < 0.01 * float(curve.max())


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_sequences_of_a_made_up_farm_are_counted_without_listing_them(seed: int) -> None:
    data = instance(2, 4, 16, seed)
    for field in range(2):
        assert count_sequences(data, field) == len(exhaustive(data, field))


def test_sequences_of_a_random_farm_are_counted_without_listing_them() -> None:
    for seed in range(8):
        data = random_data(seed, fields=2, years=4, practices=6)
        for field in range(2):
            assert count_sequences(data, field) == len(exhaustive(data, field))


def test_made_up_farms_have_about_as_many_sequences_as_promised() -> None:
    small = [count_sequences(named("small"), field) for field in range(5)]
    assert 12_000 <= np.mean(small) <= 18_000
    medium = [count_sequences(named("medium"), field) for field in range(20)]
    assert 2_500_000 <= np.mean(medium) <= 4_000_000
    assert 0.10 <= np.mean(medium) / 30**5 <= 0.20


@pytest.mark.parametrize("size", [(5, 4, 16), (20, 5, 30), (8, 8, 40)])
@pytest.mark.parametrize("seed", [0, 1, 2])
def test_a_made_up_farm_has_a_plan_of_whole_fields(size: tuple[int, int, int], seed: int) -> None:
    data, paths = with_plan(*size, seed)
    assert not evaluate(data, paths).breaks
    pool = Grower(data).pool(0, np.array([paths[0]], np.int16))
    assert (pool.pairs >= 0).all()
    if size[2] == 16:
        for field, path in enumerate(paths):
            assert list(path) in exhaustive(data, field).paths.tolist()


def test_limits_of_a_made_up_farm_bind_together() -> None:
    data = named("medium")
    program = Program(data, data.limits)
    pricing = Pricing(Grower(data), program, program.money_objective(), (), Brake(SECONDS, lambda: False))
    assert pricing.solve()
    binding = Counter(
        row.family for row, price in zip(program.rows, pricing.duals, strict=True) if abs(price) > 1e-6
    )
    for family in ("labour", "machines", "hire", "hired_area", "outlets", "least_shares"):
        assert binding[family] >= 1, f"{family} never binds: {dict(binding)}"
    limits = data.limits
    assert limits.largest and limits.least and np.isfinite(limits.cash_floor)
    assert any(outlet.least_t.any() for outlet in limits.outlets)
    assert limits.storage_t > 0


def same(one: object, other: object) -> bool:
    if isinstance(one, np.ndarray):
        return isinstance(other, np.ndarray) and np.array_equal(one, other)
    if is_dataclass(one):
        return all(same(getattr(one, f.name), getattr(other, f.name)) for f in fields(one))
    if isinstance(one, tuple) and isinstance(other, tuple):
        return len(one) == len(other) and all(same(a, b) for a, b in zip(one, other, strict=True))
    return one == other


def test_the_same_seed_gives_the_same_farm_and_another_seed_another() -> None:
    assert same(instance(4, 3, 16, 7), instance(4, 3, 16, 7))
    assert not same(instance(4, 3, 16, 7), instance(4, 3, 16, 8))
