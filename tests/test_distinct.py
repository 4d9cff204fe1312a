"""Plans worth almost as much with other crops on much of the land."""

from __future__ import annotations

from functools import cache
from itertools import product

import numpy as np
import pytest
from demo_farm import demo
from strategies import random_data

from rotation_opt.alternatives import OTHER_APART, OTHER_LOSS, OTHER_SHARE
from rotation_opt.arrays import NOT_FARMED, SelectionData
from rotation_opt.columns import Paths
from rotation_opt.distinct import Different, crop_distance, different
from rotation_opt.formulate import Goal, Program
from rotation_opt.select import Selected, evaluate, select
from rotation_opt.sequences import Grower

ANOTHER_WAY, NO_OTHER_WAY = (1, 12, 35, 56), (6, 31, 37, 63)
"""Random farms, few enough plans to list; which kind each is, the tests find out anew."""

LOSS, SHARE = 0.05, 0.3


@cache
def farm(seed: int) -> tuple[SelectionData, Selected, Different]:
    data = random_data(seed, fields=3, years=3, practices=6, tight=0.3)
    best = select(data, Goal(kind="most_money"), gap=1e-6)
    return data, best, different(data, best, loss=LOSS, share=SHARE)


def by_hand(data: SelectionData, one: Paths, other: Paths) -> float:
    """Hectares and years one by one."""
    changed, whole = [], []
    for number, land in enumerate(data.fields):
        for year in range(data.years):
            a, b = one[number][year], other[number][year]
            if NOT_FARMED in (a, b):
                continue
            whole.append(land.area_ha)
            if data.crops[data.crop_of[a]] != data.crops[data.crop_of[b]]:
                changed.append(land.area_ha)
    return sum(changed) / sum(whole) if whole else 0.0


def every_path(data: SelectionData, field: int) -> list[tuple[int, ...]]:
    program = Program(data, data.limits)
    prices = program.prices(np.zeros(program.space.size), np.zeros(len(program.rows)))
    grower = Grower(data)
    grown = grower.grow(field, grower.worth(prices), width=10**5, keep=10**5, figures=False)
    assert grown.pool.complete
    return [tuple(int(p) for p in path) for path in grown.pool.paths]


@pytest.mark.parametrize("seed", ANOTHER_WAY)
def test_what_is_called_different_is_so_and_costs_no_more_than_allowed(seed: int) -> None:
    data, best, found = farm(seed)
    assert found.paths is not None
    figures = evaluate(data, found.paths)
    assert not figures.breaks
    assert figures.present_value >= best.figures.present_value - LOSS * abs(best.figures.present_value)
    assert by_hand(data, found.paths, best.paths) >= SHARE
    assert found.distance == pytest.approx(by_hand(data, found.paths, best.paths))
    assert found.loss == pytest.approx(
        (best.figures.present_value - figures.present_value) / abs(best.figures.present_value)
    )


@pytest.mark.parametrize("seed", NO_OTHER_WAY)
def test_where_none_is_found_listing_every_plan_finds_none_either(seed: int) -> None:
    data, best, found = farm(seed)
    assert found.paths is None
    assert found.reached < SHARE
    ways = [every_path(data, field) for field in range(len(data.fields))]
    for paths in product(*ways):
        if by_hand(data, paths, best.paths) < SHARE:
            continue
        figures = evaluate(data, paths)
        worth = best.figures.present_value
        assert figures.breaks or figures.present_value < worth - LOSS * abs(worth)


def test_the_other_way_of_the_demo_farm_keeps_the_loss_and_the_distance_it_is_said_to_have() -> None:
    run = demo("tamarack_hollow")
    data, found = run.data, run.other
    assert found.paths is not None
    figures, most = evaluate(data, found.paths), run.richest.figures.present_value
    assert not figures.breaks
    lost = (most - figures.present_value) / abs(most)
    assert found.loss == pytest.approx(lost, abs=1e-9)
    assert lost <= OTHER_LOSS
    far = by_hand(data, found.paths, run.richest.paths)
    assert found.distance == pytest.approx(far)
    assert far >= OTHER_SHARE
    draft = next(each for each in run.proposal.drafts if each.key == "other_way")
    assert draft.paths == found.paths
    for each in run.proposal.drafts:
        if each.key not in ("as_now", "other_way"):
            assert by_hand(data, found.paths, each.paths) >= OTHER_APART
    said = next(each for each in run.result.alternatives if each.key == "other_way").notes[0]
    assert f"{far:.0%} of the land" in said


def test_distances_are_those_counted_year_by_year() -> None:
    for seed in range(20):
        data = random_data(seed)
        rng = np.random.default_rng(seed)
        shape = (2, len(data.fields), data.years)
        drawn = rng.integers(NOT_FARMED, len(data.practice_keys), shape)
        one, other = (tuple(tuple(int(p) for p in path) for path in plan) for plan in drawn)
        assert crop_distance(data, one, other) == pytest.approx(by_hand(data, one, other))
