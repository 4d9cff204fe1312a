"""The curve between money and weeds: each point proven again on its own, none that another beats."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from demo_farm import FRESH_GAP, demo
from small_farm import plain
from strategies import random_data

from rotation_opt.arrays import SelectionData
from rotation_opt.formulate import Figures, Goal
from rotation_opt.select import Selected, evaluate, select
from rotation_opt.tradeoff import SURE, Curve, Point, curve, front, marked, next_limit, proven_within

SEEDS = (3, 8, 21)
EXACT = 1e-6


@cache
def farm(seed: int) -> tuple[SelectionData, Selected, Selected, Curve]:
    data = random_data(seed, fields=4, years=3, practices=6, tight=0.2)
    richest = select(data, Goal(kind="most_money"), gap=EXACT)
    cleanest = select(data, Goal(kind="least_burden"), pools=richest.pools, gap=EXACT)
    return data, richest, cleanest, curve(data, richest, cleanest, gap=EXACT)


@cache
def grown() -> tuple[SelectionData, Curve]:
    return plain().data, plain().proposal.curve


def burden_of(data: SelectionData, figures: Figures) -> float:
    return sum(
        float(weight) * float(year[data.likely])
        for weight, year in zip(data.burden_when, figures.burden, strict=True)
    )


def agrees_with_a_fresh_search(data: SelectionData, point: Point, gap: float = 2e-4) -> None:
    limit = point.burden * (1 + 1e-9) if point.limit is None else max(point.limit, point.burden)
    fresh = select(data, Goal(kind="most_money", burden_most=limit), gap=gap)
    assert fresh.gap is not None
    size = abs(fresh.value)
    # what the fresh search found is not above what the curve says cannot be beaten, and the other way round
    if point.bound is not None:
        assert fresh.value <= point.bound + 1e-6 * size
    assert fresh.bound is not None
    assert point.money <= fresh.bound + 1e-6 * size
    assert abs(point.money - fresh.value) <= size * (fresh.gap + (point.gap or 0.0) + 1e-6)


@pytest.mark.parametrize("seed", SEEDS)
def test_each_point_is_what_a_fresh_search_under_its_limit_finds(seed: int) -> None:
    data, _, _, found = farm(seed)
    for point in found.points[:-1]:
        agrees_with_a_fresh_search(data, point)


def test_each_point_of_a_farm_grown_from_the_tables_is_what_a_fresh_search_finds() -> None:
    data, found = grown()
    assert len(found.points) >= 4
    for point in found.points[:-1]:
        agrees_with_a_fresh_search(data, point)


@pytest.mark.parametrize("place", ["first", "middle", "last"])
def test_an_inner_point_of_the_demo_farm_is_what_a_fresh_search_finds(place: str) -> None:
    run = demo("tamarack_hollow")
    inner = run.proposal.curve.points[1:-1]
    assert inner  # where there are only one or two, places fall together
    point = inner[{"first": 0, "middle": len(inner) // 2, "last": -1}[place]]
    assert point.bound is not None
    agrees_with_a_fresh_search(run.data, point, FRESH_GAP)


def test_the_curve_of_the_demo_farm_falls_and_its_figures_are_those_of_its_plans() -> None:
    run = demo("tamarack_hollow")
    points = run.proposal.curve.points
    figures_are_those_of_the_plans(run.data, points)
    for rich, clean in pairwise(points):
        assert clean.burden < rich.burden
        assert clean.money < rich.money
        # what is proven for a looser limit holds for a tighter one
        assert rich.bound is not None
        assert clean.money <= rich.bound


@pytest.mark.parametrize("seed", SEEDS)
def test_figures_of_a_point_are_those_of_its_plan(seed: int) -> None:
    data, _, _, found = farm(seed)
    figures_are_those_of_the_plans(data, found.points)


def figures_are_those_of_the_plans(data: SelectionData, points: Sequence[Point]) -> None:
    for point in points:
        figures = evaluate(data, point.paths)
        assert not figures.breaks
        assert point.money == pytest.approx(float(data.discount @ figures.net))
        assert point.burden == pytest.approx(burden_of(data, figures))
        assert point.labour_h == pytest.approx(float(figures.labour_h[1:].sum()) / data.years)
        if point.limit is not None:
            assert point.burden <= point.limit * (1 + 1e-6)


@pytest.mark.parametrize("seed", SEEDS)
def test_fewer_weeds_never_give_more_money_and_the_ends_are_those_given(seed: int) -> None:
    _, richest, cleanest, found = farm(seed)
    for rich, clean in pairwise(found.points):
        assert clean.burden < rich.burden
        assert clean.money < rich.money
    assert found.points[0].money == pytest.approx(richest.value)
    assert found.points[-1].burden <= cleanest.value * 1.05 + 1e-6


def test_the_random_farms_have_a_curve_to_test() -> None:
    assert sum(len(farm(seed)[3].points) for seed in SEEDS) >= 10


def test_another_figure_can_be_asked_for() -> None:
    data, richest, cleanest, _ = farm(SEEDS[0])
    found = curve(data, richest, cleanest, 3, downside=lambda paths: float(paths[0][0]))
    assert [point.downside for point in found.points] == [float(p.paths[0][0]) for p in found.points]


# ---------------------------------------------------------------- points put by hand


def at(burden: float, money: float, *, limit: float | None = None, bound: float | None = None) -> Point:
    figures = farm(SEEDS[0])[1].figures
    return Point(
        limit=limit, paths=(), figures=figures, burden=burden, money=money, bound=bound, labour_h=0.0
    )


def places(points: list[Point]) -> list[tuple[float, float]]:
    return [(point.burden, point.money) for point in points]


def test_a_plan_beaten_in_both_makes_room_and_leaves_what_is_proven() -> None:
    beaten = at(6.0, 80.0, limit=6.5, bound=91.0)
    kept = front([at(10.0, 100.0), beaten, at(5.0, 90.0, limit=5.0, bound=95.0), at(1.0, 20.0)])
    assert places(kept) == [(10.0, 100.0), (5.0, 90.0), (1.0, 20.0)]
    assert (kept[1].limit, kept[1].bound) == (6.5, 91.0)
    assert kept[1].gap == pytest.approx(1 / 90)


def test_no_point_beats_another_whatever_is_found() -> None:
    rng = np.random.default_rng(5)
    drawn = [at(float(b), float(m)) for b, m in rng.random((40, 2))]
    kept = front(drawn)
    for point in drawn:
        assert any(best.burden <= point.burden and best.money >= point.money for best in kept)
    for one, other in pairwise(kept):
        assert one.burden > other.burden
        assert one.money > other.money


def test_the_next_limit_lies_where_the_price_changes_most() -> None:
    ends = [at(10.0, 100.0), at(0.0, 0.0)]
    assert next_limit(ends) == 5.0
    # cheap down to 5, dear below: the dear stretch comes next
    assert next_limit([ends[0], at(5.0, 95.0), ends[1]]) == 2.5
    # nothing better is to be had between a plan and the limit it was found under
    assert next_limit([ends[0], at(8.0, 95.0), ends[1]]) == 4.0
    assert next_limit([ends[0], at(8.0, 95.0), at(0.0, 0.0, limit=2.0)]) == 5.0
    assert next_limit([ends[0], at(5.0, 95.0), ends[1]], missed=(1.0,)) == 7.5
    assert next_limit(ends[:1]) is None


def test_no_search_where_the_best_plan_known_within_a_limit_lacks_little_of_the_bound() -> None:
    rich = replace(at(10.0, 100.0), bound=100.5)
    clean = at(5.0, 99.8)
    assert proven_within([rich, clean], 7.0, 0.01)
    assert not proven_within([rich, clean], 7.0, 0.005)
    assert not proven_within([replace(rich, limit=6.0), clean], 7.0, 0.01)  # its bound says nothing of 7 ha
    assert not proven_within([at(10.0, 100.0), clean], 7.0, 0.01)


def test_the_knee_stands_farthest_off_the_straight_line() -> None:
    points = marked([at(10.0, 100.0), at(7.0, 96.0), at(4.0, 90.0), at(2.0, 50.0), at(0.0, 0.0)])
    assert [point.mark for point in points] == ["", "", "knee", "", ""]
    assert points[2].bend == pytest.approx(0.6 - 0.1)
    straight = marked([at(10.0, 100.0), at(5.0, 50.0), at(0.0, 0.0)])
    assert {point.mark for point in straight} == {""}


def test_what_is_not_proven_is_said() -> None:
    found = farm(SEEDS[0])[3]
    assert found.doubts() == ()
    assert any("not ruled out" in said for said in replace(found, least_gap=2 * SURE).doubts())
    assert any("no plan of whole fields" in said for said in replace(found, missed=(1.0,)).doubts())
    wide = replace(found.points[0], bound=found.points[0].money + 0.5 * abs(found.points[0].money))
    assert any("50%" in said for said in replace(found, points=(wide, *found.points[1:])).doubts())
