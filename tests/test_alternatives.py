"""Which plans are shown, how far they are apart, and what is said about each."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from demo_farm import FRESH_GAP, agree, demo
from hypothesis import given, settings
from hypothesis import strategies as st
from small_farm import Plans, plain, small, with_field
from strategies import random_data

from rotation_opt.alternatives import (
    GROUP_WORDS,
    _shows,
    distance,
    hay_or_fall_difference,
    present_paths,
    propose,
)
from rotation_opt.arrays import NOT_FARMED, SelectionData
from rotation_opt.bands import Bands
from rotation_opt.distinct import Different
from rotation_opt.errors import NoPlanError
from rotation_opt.formulate import Goal
from rotation_opt.select import evaluate, select, weighted_burden
from rotation_opt.tradeoff import Point
from rotation_opt.verify import recheck


def numbers(*paths: tuple[str, ...]) -> tuple[tuple[int, ...], ...]:
    place = {key: index for index, key in enumerate(plain().data.practice_keys)}
    return tuple(tuple(place[key] if key else NOT_FARMED for key in path) for path in paths)


GRAIN = ("soybean", "spring_barley", "soybean")
WHEAT = ("soybean", "winter_wheat", "soybean")
HAY = ("oat_alfalfa", "alfalfa_1", "alfalfa_2")

# ---------------------------------------------------------------- how far apart two plans are


def plans_of(data: SelectionData, seed: int) -> tuple[tuple[int, ...], ...]:
    rng = np.random.default_rng(seed)
    drawn = rng.integers(0, len(data.practice_keys), (len(data.fields), data.years))
    idle = rng.random(drawn.shape) < 0.1
    return tuple(tuple(int(p) for p in row) for row in np.where(idle, NOT_FARMED, drawn))


@settings(max_examples=60, deadline=None, derandomize=True)
@given(seed=st.integers(0, 10**6))
def test_a_distance_is_a_share_and_the_same_both_ways_and_nothing_to_itself(seed: int) -> None:
    data = random_data(seed)
    one, other, third = (plans_of(data, seed + n) for n in range(3))
    for measure in (distance, hay_or_fall_difference):
        assert measure(data, one, one) == 0.0
        assert measure(data, one, other) == measure(data, other, one)
        assert 0.0 <= measure(data, one, other) <= 1.0
    if not any(NOT_FARMED in path for plan in (one, other, third) for path in plan):
        assert distance(data, one, third) <= distance(data, one, other) + distance(data, other, third) + 1e-12


def test_a_distance_counts_hectares_of_another_type_of_crop() -> None:
    data = plain().data  # 10, 8 and 6 ha
    assert distance(data, numbers(GRAIN, GRAIN, GRAIN), numbers(WHEAT, GRAIN, GRAIN)) == pytest.approx(
        10 / 72
    )
    assert distance(data, numbers(GRAIN, GRAIN, GRAIN), numbers(HAY, GRAIN, GRAIN)) == pytest.approx(30 / 72)


def test_another_way_to_grow_the_same_crop_is_no_distance() -> None:
    data = plain().data
    stubble = ("soybean", "winter_wheat_stubble", "soybean")
    assert distance(data, numbers(WHEAT, GRAIN, GRAIN), numbers(stubble, GRAIN, GRAIN)) == 0.0


def test_years_that_are_not_farmed_do_not_count() -> None:
    data = plain().data
    shorter = ("soybean", "spring_barley", "")
    assert distance(data, numbers(GRAIN, GRAIN, GRAIN), numbers(shorter, WHEAT, GRAIN)) == pytest.approx(
        8 / 62
    )
    gone = ("", "", "")
    assert distance(data, numbers(gone, gone, gone), numbers(GRAIN, GRAIN, GRAIN)) == 0.0


def test_hay_and_fall_cereals_are_weighed_against_where_either_plan_has_them() -> None:
    data = plain().data
    # wheat in one year of 10 ha stays; hay of two years on 8 ha is new: 16 of 26 area-years
    assert hay_or_fall_difference(
        data, numbers(WHEAT, GRAIN, GRAIN), numbers(WHEAT, HAY, GRAIN)
    ) == pytest.approx(16 / 26)
    assert hay_or_fall_difference(data, numbers(GRAIN, GRAIN, GRAIN), numbers(GRAIN, GRAIN, GRAIN)) == 0.0


# ---------------------------------------------------------------- the present rotation


def test_the_present_rotation_is_taken_as_the_farm_file_says() -> None:
    for field in plain().farm.fields:
        assert plain().plan["as_now"].practices[field.name] == field.as_now


def test_where_the_named_way_does_not_fit_another_way_to_grow_the_same_crop_is_taken() -> None:
    data = plain().data
    place = {key: index for index, key in enumerate(data.practice_keys)}
    blocked = data.pair_index.copy()
    wheat, before = place["winter_wheat"], place["oat"]
    blocked[before, wheat] = -1
    farm = with_field(plain().farm, "East", as_now=("oat", "winter_wheat", "corn_grain"))
    other = replace(data, pair_index=blocked)
    path = present_paths(other, farm)[0]
    assert data.practice_keys[path[0]] == "oat"
    assert data.practice_keys[path[1]] == "winter_wheat_stubble"


def test_a_present_rotation_that_does_not_fit_names_field_crops_and_year() -> None:
    farm = with_field(plain().farm, "East", as_now=("corn_grain", "alfalfa_2", "corn_grain"))
    with pytest.raises(NoPlanError) as told:
        present_paths(plain().data, farm)
    for word in ("East", "alfalfa hay does not fit after corn for grain", "2028"):
        assert word in str(told.value)


# ---------------------------------------------------------------- what is said


def test_the_balanced_plan_lies_between_the_ends() -> None:
    found = plain()
    assert found.burden("fastest") <= found.burden("balanced") <= found.burden("most_money")
    assert found.worth("fastest") <= found.worth("balanced") <= found.worth("most_money")


def test_a_farm_without_weeds_has_no_balance_to_strike_and_plans_that_come_out_the_same_say_so() -> None:
    farm = small(keep=("spring_barley", "soybean", "corn_grain"))
    clean = replace(farm, fields=tuple(replace(field, patches=()) for field in farm.fields))
    found = Plans(clean)
    assert "balanced" not in found.plan
    assert found.burden("fastest") == 0.0
    one_way = Plans(replace(clean, refuses=clean.refuses | {"corn_grain"}))
    assert one_way.plan["fastest"].same_as == one_way.plan["most_money"].title


def test_the_balanced_plan_is_the_knee_of_the_curve_and_no_other_point_bends_more() -> None:
    found = plain()
    points = found.proposal.curve.points
    knee = next(point for point in points if point.mark == "knee")
    assert found.draft["balanced"].paths == knee.paths
    first, last = points[0], points[-1]

    def bend(point: Point) -> float:
        cleaner = (first.burden - point.burden) / (first.burden - last.burden)
        return cleaner - (first.money - point.money) / (first.money - last.money)

    assert bend(knee) == pytest.approx(max(bend(point) for point in points))


def other(paths: tuple[tuple[int, ...], ...]) -> Different:
    figures = plain().draft["most_money"].figures
    return Different(paths=paths, figures=figures, loss=0.01, distance=0.5, reached=0.5, cut_short=False)


def test_another_way_that_a_grower_would_take_for_a_plan_shown_is_not_shown() -> None:
    data = plain().data  # 10, 8 and 6 ha
    shown = [numbers(GRAIN, GRAIN, GRAIN)]
    assert _shows(data, other(numbers(HAY, GRAIN, GRAIN)), shown)
    assert not _shows(data, other(numbers(HAY, GRAIN, GRAIN)), [*shown, numbers(HAY, GRAIN, WHEAT)])
    assert not _shows(data, replace(other(shown[0]), paths=None), shown)


def test_a_search_stopped_at_once_still_gives_plans_and_says_so() -> None:
    assert not plain().proposal.cut_short
    assert propose(plain().data, plain().farm, pulled=lambda: True).cut_short


def test_what_sets_a_plan_apart_names_shares_of_the_land() -> None:
    found = plain()
    assert found.plan["as_now"].apart.startswith("Mostly ")
    for each in found.chosen():
        if each.practices != found.plan["as_now"].practices:
            assert "%" in each.apart or each.apart.startswith("Same types of crop")


def test_the_share_said_to_grow_is_that_of_the_plan() -> None:
    found, group = plain(), "fallow"
    plan = found.plan["fastest"]
    land = sum(field.area_ha for field in found.farm.fields) * 3
    under = sum(
        field.area_ha
        for field in found.farm.fields
        for key in plan.practices[field.name]
        if found.ground.tables.crops[found.ground.tables.practices[key].crop].group == group
    )
    assert under > 0
    assert f"{GROUP_WORDS[group][0]} (0% to {under / land:.0%})" in plan.apart


def test_every_type_of_crop_has_words_for_both_regions() -> None:
    groups = {crop.group for crop in plain().ground.tables.crops.values()}
    silent = groups - set(GROUP_WORDS)
    assert silent <= {"silage"}  # said as it is


def test_todays_weeds_are_those_of_fields_that_are_farmed_to_the_end() -> None:
    whole = Bands(plain().ground, plain().data, []).today()
    start = plain().ground.starts
    by_hand = sum(
        field.area_ha * float(start[field.name].infested_share @ start[field.name].autumn[:, 0])
        for field in plain().farm.fields
    )
    assert whole[1] == pytest.approx(by_hand)
    leased = Plans(with_field(small(), "East", lease_end_year=2028))
    north = start["North"]
    assert Bands(leased.ground, leased.data, []).today()[1] == pytest.approx(
        6.0 * float(north.infested_share @ north.autumn[:, 0])
    )


def test_money_of_the_fields_adds_up_to_that_of_the_farm() -> None:
    found = Plans(small(fixed_cost=0.0, feed_need_t=0.0))
    for each in found.all:
        fields = {field.name: field.area_ha for field in found.farm.fields}
        for year in range(3):
            rows = [row for row in each.fields if row.year == 2027 + year]
            total = sum(row.net_return_per_ha * fields[row.field] for row in rows)
            extra = each.figures.extra_labour_cost[year] + each.figures.extra_hire_cost[year]
            assert total - extra == pytest.approx(each.figures.net_return[year], abs=0.5)


def test_land_that_is_cut_and_left_is_counted() -> None:
    farm = with_field(
        small(),
        "West",
        history=("soybean", "oat_alfalfa"),
        as_now=("alfalfa_1_leave", "corn_grain", "soybean"),
    )
    found = Plans(farm)
    assert found.plan["as_now"].figures.cut_and_left_ha == (8.0, 0.0, 0.0)


# ---------------------------------------------------------------- the demo farm, each figure once more


def test_every_plan_of_the_demo_farm_has_the_figures_of_a_fresh_reckoning() -> None:
    run = demo("tamarack_hollow")
    assert [each.key for each in run.result.alternatives] == [each.key for each in run.proposal.drafts]
    for shown, draft in zip(run.result.alternatives, run.proposal.drafts, strict=True):
        figures = evaluate(run.data, draft.paths)
        for name in ("net", "burden", "labour_h", "tonnes", "hired_ha"):
            assert getattr(draft.figures, name) == pytest.approx(getattr(figures, name), abs=1e-4), name
        assert draft.figures.present_value == pytest.approx(float(run.data.discount @ figures.net))
        assert shown.figures.net_return == pytest.approx(figures.net, abs=0.01)
        assert not figures.breaks or draft.key == "as_now"
        # the second reckoning, which knows nothing of the arrays
        assert all(line.agrees for line in recheck(run.ground, shown))
        for land, path in zip(run.data.fields, draft.paths, strict=True):
            keys = tuple("" if p == NOT_FARMED else run.data.practice_keys[p] for p in path)
            assert shown.practices[land.name] == keys


def turned(data: SelectionData) -> SelectionData:
    """The same farm with its fields in the other order: another search, the same answer."""
    return replace(data, fields=data.fields[::-1])


def test_the_most_money_of_the_demo_farm_is_what_a_fresh_search_over_the_fields_turned_round_finds() -> None:
    run = demo("tamarack_hollow")
    fresh = select(turned(run.data), Goal(kind="most_money"), gap=FRESH_GAP)
    agree((run.richest.value, run.richest.bound), (fresh.value, fresh.bound))
    back = evaluate(run.data, fresh.paths[::-1])
    assert not back.breaks
    assert back.present_value == pytest.approx(fresh.value)


def test_the_fastest_of_the_demo_farm_is_what_a_fresh_search_over_the_fields_turned_round_finds() -> None:
    run = demo("tamarack_hollow")
    fresh = select(turned(run.data), Goal(kind="least_burden"), gap=FRESH_GAP, quick=True)
    assert fresh.bound is not None
    assert run.cleanest.bound is not None
    agree((-run.cleanest.value, -run.cleanest.bound), (-fresh.value, -fresh.bound))
    assert not evaluate(run.data, fresh.paths[::-1]).breaks


def test_no_plan_chosen_for_the_demo_farm_is_better_than_what_is_proven_for_the_ends() -> None:
    run = demo("tamarack_hollow")
    assert run.richest.bound is not None
    for draft in run.proposal.drafts:
        if draft.key == "as_now" and draft.figures.breaks:
            continue
        assert draft.figures.present_value <= run.richest.bound * (1 + 1e-6)
        assert weighted_burden(run.data, draft.figures) >= weighted_burden(run.data, run.cleanest.figures) * (
            1 - 1e-6
        )
