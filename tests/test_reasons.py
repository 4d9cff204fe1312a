"""Why a plan is as it is, each cost against a search from nothing."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from demo_farm import FRESH_GAP, Run, agree, demo
from hypothesis import assume, given
from hypothesis import strategies as st
from small_farm import FEW_FARMS, MONEY, chosen, small
from strategies import random_data, small_farms

from rotation_opt.arrays import NOT_FARMED, SelectionData
from rotation_opt.errors import NoPlanError
from rotation_opt.farm_arrays import selection_data
from rotation_opt.groundwork import Groundwork, lay
from rotation_opt.reasons import only, second_best, why_not
from rotation_opt.select import Selected, evaluate, select
from rotation_opt.tables import read
from rotation_opt.tight_limits import Name, loosened, tight_limits


@FEW_FARMS
@given(small_farms(), st.integers(0, 100), st.integers(0, 100), st.booleans())
def test_what_comes_second_costs_what_a_search_from_nothing_says(
    data: SelectionData, one: int, other: int, crop: bool
) -> None:
    base = chosen(data)
    field, year = one % len(data.fields), other % data.years
    practice = base.paths[field][year]
    assume(practice != NOT_FARMED)
    answer = second_best(data, base, MONEY, field, year, crop=crop)
    out = data.crop_of == data.crop_of[practice] if crop else np.arange(len(data.crop_of)) == practice
    try:
        fresh = select(only(data, field, year, ~out), MONEY)
    except NoPlanError:
        assert answer.cost is None
        assert answer.change is None
        return
    assert answer.cost is not None
    assert answer.change is not None
    assert answer.cost >= 0.0
    assert not out[answer.change.paths[field][year]]
    assert answer.change.bound[1] is not None
    assert fresh.bound is not None
    slack = 1e-6 * abs(base.value) + 0.05
    assert answer.change.value[1] <= fresh.bound + slack
    assert fresh.value <= answer.change.bound[1] + slack
    if answer.better is None:
        assert base.value - answer.cost == pytest.approx(answer.change.value[1], abs=slack)


def test_a_chosen_plan_that_is_not_the_best_is_said_to_be_bettered() -> None:
    data = random_data(3, tight=0.2)
    best = select(data, MONEY)
    field, year = 0, 0
    practice = best.paths[field][year]
    kept = np.arange(len(data.crop_of)) != practice
    poor = select(only(data, field, year, kept), MONEY)
    assert poor.value < best.value - 1.0
    other = (
        next(f for f in range(len(data.fields)) if f != field and poor.paths[f][0] != best.paths[f][0])
        if any(poor.paths[f][0] != best.paths[f][0] for f in range(1, len(data.fields)))
        else field
    )
    answer = second_best(data, replace(poor, pools=best.pools), MONEY, other, 0)
    assert answer.better is not None
    assert answer.cost == 0.0
    assert answer.better.value > poor.value


# ---------------------------------------------------------------- a farm with rules in words


@cache
def farm() -> tuple[Groundwork, SelectionData, Selected]:
    ground = lay(small(), read())
    data = selection_data(ground)
    return ground, data, select(data, MONEY)


def test_every_crop_of_a_farm_is_ruled_out_in_words_or_has_a_cost_that_a_fresh_search_confirms() -> None:
    ground, data, base = farm()
    ruled = priced = 0
    for number, crop in enumerate(data.crops):
        answer = why_not(ground, data, base, MONEY, field=0, year=1, crop=crop)
        assert answer.sentence.endswith(".")
        wanted = data.crop_of == number
        if answer.cost is None:
            assert answer.why
            ruled += 1
            with pytest.raises(NoPlanError):
                select(only(data, 0, 1, wanted), MONEY)
        elif answer.change is not None:
            priced += 1
            assert wanted[answer.change.paths[0][1]]
            fresh = select(only(data, 0, 1, wanted), MONEY)
            assert answer.change.value[1] <= (fresh.bound or np.inf) + 0.5
            assert fresh.value <= (answer.change.bound[1] or np.inf) + 0.5
    assert priced


# ---------------------------------------------------------------- the demo farm, against fresh searches


def largest(run: Run, rank: int) -> int:
    """The field with most, second most ... land of those farmed in every year."""
    whole = [number for number, land in enumerate(run.data.fields) if land.farmed.all()]
    return sorted(whole, key=lambda number: -run.data.fields[number].area_ha)[rank]


@pytest.mark.parametrize(("rank", "year", "crop"), [(0, 0, True), (1, 2, False)])
def test_what_forbidding_a_field_year_of_the_demo_farm_costs_is_what_a_fresh_search_says(
    rank: int, year: int, crop: bool
) -> None:
    run = demo("tamarack_hollow")
    data, base, field = run.data, run.richest, largest(run, rank)
    practice = base.paths[field][year]
    answer = second_best(data, base, MONEY, field, year, crop=crop)
    out = data.crop_of == data.crop_of[practice] if crop else np.arange(len(data.crop_of)) == practice
    fresh = select(only(data, field, year, ~out), MONEY, gap=FRESH_GAP)
    assert answer.change is not None
    assert answer.cost is not None
    assert not out[answer.change.paths[field][year]]
    agree((answer.change.value[1], answer.change.bound[1]), (fresh.value, fresh.bound))
    again = evaluate(data, answer.change.paths)
    assert not again.breaks
    assert again.present_value == pytest.approx(answer.change.value[1], abs=0.5)
    # forbidding never improves: what is left was possible before, under what was proven then
    assert base.bound is not None
    slack = 1e-6 * abs(base.value)
    assert fresh.value <= base.bound + slack
    assert answer.change.value[1] <= base.bound + slack
    # the cost is not below what both proofs leave, and none only where a better plan came to light
    assert fresh.bound is not None
    assert answer.cost >= base.value - fresh.bound - slack
    assert answer.cost == pytest.approx(max(0.0, base.value - again.present_value), abs=0.5)
    assert (answer.better is not None) == (again.present_value > base.value + slack)


def test_a_step_more_on_the_demo_farm_brings_what_a_fresh_search_says() -> None:
    run = demo("tamarack_hollow")
    data, base = run.data, run.richest
    (limit, *_), best = tight_limits(data, base, most=1)
    assert (limit.kind, limit.unit) == ("feed", "t")
    fresh = select(data, MONEY, limits=loosened(data, Name("feed"))[1].limits, gap=FRESH_GAP)
    years = float(data.discount.sum())
    assert limit.most is not None
    agree((best.value + limit.gain * years, best.value + limit.most * years), (fresh.value, fresh.bound))
