"""The last year cannot be played with: weeds let go are told beside the money, and count where asked for."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import fake_result
import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from small_farm import KEPT, TABLES, TEXT, patch, small, with_field
from strategies import small_farms

from rotation_opt import farm
from rotation_opt.alternatives import AS_NOW, Draft, propose
from rotation_opt.arrays import SelectionData
from rotation_opt.carry_over import Following
from rotation_opt.errors import InputError, NoPlanError
from rotation_opt.farm_arrays import selection_data
from rotation_opt.formulate import Goal
from rotation_opt.groundwork import Groundwork, lay
from rotation_opt.horizon import price_of_weeds_left, with_weeds_left
from rotation_opt.records import Farm, LeftOver
from rotation_opt.report.carry_over import carry_over_sections
from rotation_opt.report.limits import limits_in_words
from rotation_opt.report.summary import Reading, side_by_side
from rotation_opt.report.wording import Wording
from rotation_opt.select import evaluate, select
from rotation_opt.sequences import exhaustive

Paths = tuple[tuple[int, ...], ...]
MONEY = Goal(kind="most_money")
ROUNDING = 1.0  # currency in all years
MOST_PLANS = 400


@cache
def laid() -> tuple[Groundwork, SelectionData]:
    """The small farm with weeds all over one field; soybeans can be hoed or sown too close for it."""
    wild = with_field(small(keep=(*KEPT, "soybean_narrow")), "East", patches=(patch(10.0, 20.0),))
    ground = lay(wild, TABLES)
    return ground, selection_data(ground)


@cache
def chosen(counted: bool) -> tuple[SelectionData, dict[str, Draft]]:
    """The plans that are printed, with the weeds left counted in the choice or not."""
    ground, data = laid()
    ground = replace(ground, farm=replace(ground.farm, count_weeds_left=counted))
    data, start = with_weeds_left(ground, data)
    return data, {draft.key: draft for draft in propose(data, ground.farm, start=start).drafts}


@cache
def ends(field: int) -> tuple[tuple[int, ...], ...]:
    return tuple(tuple(int(p) for p in path) for path in exhaustive(laid()[1], field).paths)


def other_last_years(paths: Paths) -> Iterator[Paths]:
    """The same plan with every other last year that the rules allow, on one field after another."""
    for field, path in enumerate(paths):
        for other in ends(field):
            if other[:-1] == path[:-1] and other != path:
                yield (*paths[:field], other, *paths[field + 1 :])


@cache
def let_go(counted: bool, key: str) -> list[tuple[float, float]]:
    """What each last year earns more that keeps all limits and leaves more roots, and what weeds take more.

    Net return of all years, and the printed likely cost of the weeds left, both as on the page.
    """
    ground, data = laid()
    plan = chosen(counted)[1][key]
    swaps = [
        (paths, figures)
        for paths in other_last_years(plan.paths)
        for figures in (evaluate(data, paths),)
        if not figures.breaks
        and figures.net.sum() > plan.figures.net.sum() + ROUNDING
        and figures.burden[-1, data.likely] > plan.figures.burden[-1, data.likely] + 1e-6
    ]
    following = Following(ground, data, [plan.paths, *(paths for paths, _ in swaps)])
    before = following.left(plan.paths).weeds_cost[1]
    return [
        (
            float(figures.net.sum() - plan.figures.net.sum()),
            following.left(paths).weeds_cost[1] - before,
        )
        for paths, figures in swaps
    ]


def test_whatever_last_year_earns_by_letting_weeds_go_the_page_charges_them() -> None:
    """Every field of every printed plan."""
    seen = [swap for key in chosen(False)[1] for swap in let_go(False, key)]
    assert len(seen) >= 3  # else nothing was tried
    for earned, taken in seen:
        assert taken > 0.0, (earned, taken)


def test_with_weeds_left_counted_no_last_year_earns_more_than_its_weeds_take() -> None:
    """Every field of every plan that was chosen; the present one was not."""
    for key in chosen(True)[1]:
        if key != AS_NOW:
            assert all(earned <= taken + ROUNDING for earned, taken in let_go(True, key)), key


def test_money_alone_lets_the_weeds_go_and_counting_them_does_not() -> None:
    ground, _ = laid()
    data, plans = chosen(False)
    _, counting = chosen(True)
    gross, careful = plans["most_money"], counting["most_money"]
    following = Following(ground, data, [gross.paths, careful.paths])
    earned = float(gross.figures.net.sum() - careful.figures.net.sum())
    taken = following.left(gross.paths).weeds_cost[1] - following.left(careful.paths).weeds_cost[1]
    assert 100.0 < earned < taken


def test_what_counts_is_the_printed_cost_of_the_plan_with_most_money() -> None:
    ground, data = laid()
    counted, plans = chosen(True)
    plain = select(data, MONEY)
    left_ha = float(plain.figures.burden[-1, data.likely])
    cost = Following(ground, data, [plain.paths]).left(plain.paths).weeds_cost[1]
    assert counted.weeds_left_price * left_ha == pytest.approx(cost * data.discount[-1])
    assert counted.weeds_left_price == price_of_weeds_left(ground, data, plain.paths) > 0.0
    figures = plans["most_money"].figures
    assert figures.left == pytest.approx(counted.weeds_left_price * float(figures.burden[-1, data.likely]))
    assert figures.worth == pytest.approx(figures.present_value - figures.left)
    # and it is in no net return
    assert figures.net == pytest.approx(evaluate(data, plans["most_money"].paths).net)
    assert with_weeds_left(ground, data) == (data, None)


def test_clean_land_has_no_price() -> None:
    ground, data = laid()
    clean = replace(
        data,
        fields=tuple(
            replace(each, infested_share=np.zeros_like(each.infested_share)) for each in data.fields
        ),
    )
    assert price_of_weeds_left(ground, clean, chosen(False)[1]["most_money"].paths) == 0.0


@settings(max_examples=10, deadline=None, suppress_health_check=list(HealthCheck))
@given(small_farms(), st.sampled_from([100.0, 3000.0]))
def test_equal_to_listing_all_plans(data: SelectionData, price: float) -> None:
    data = replace(data, weeds_left_price=price)
    pools = [exhaustive(data, field).paths for field in range(len(data.fields))]
    assume(1 < np.prod([len(paths) for paths in pools]) <= MOST_PLANS)
    best = -np.inf
    for plan in itertools.product(*([tuple(map(int, path)) for path in paths] for paths in pools)):
        figures = evaluate(data, plan)
        if not figures.breaks:
            weeds = float(figures.burden[-1, data.likely])
            best = max(best, figures.present_value - price * weeds)
    try:
        found = select(data, MONEY)
    except NoPlanError:
        assert best == -np.inf
        return
    assert found.value == pytest.approx(best, abs=3e-4 * max(1.0, abs(best)))
    assert found.bound is not None
    assert found.bound >= best - 1e-6 * max(1.0, abs(best))


# ---------------------------------------------------------------- file and page


def read(line: str) -> Farm:
    with TemporaryDirectory() as folder:
        path = Path(folder) / "my_farm.toml"
        path.write_text(TEXT.replace("[limits]", f"[limits]\n{line}"), encoding="utf-8")
        return farm.read(path, TABLES)


def test_the_farm_file_asks_for_it() -> None:
    assert read("count_weeds_left = true").count_weeds_left
    assert not read("").count_weeds_left
    with pytest.raises(InputError, match="count_weeds_left"):
        read('count_weeds_left = "rather"')


@pytest.mark.parametrize("counted", [False, True])
def test_the_page_says_whether_the_choice_counted_it(counted: bool) -> None:
    result = fake_result.result()
    result = replace(result, farm=replace(result.farm, count_weeds_left=counted))
    words = Wording(result.farm, fake_result.tables())
    said = " ".join(limits_in_words(result.farm, words))
    assert ("counts when plans are chosen by money" in said) is counted
    (section,) = carry_over_sections(Reading(result, words), result.alternatives)
    told = " ".join(getattr(block, "text", "") for block in section.blocks)
    assert ("The choice by money counted the weeds left" in told) is counted


def test_what_weeds_left_take_stands_beside_the_net_return() -> None:
    result = fake_result.result()
    assert result.carry_over is not None
    words = Wording(result.farm, fake_result.tables())
    question = "Not in it: what weeds left take later, $ in all"

    def cells(left: dict[str, LeftOver]) -> tuple[str, ...] | None:
        shown = replace(result, carry_over=replace(result.carry_over, plans=left))  # type: ignore[type-var]
        rows = side_by_side(Reading(shown, words), shown.alternatives).rows
        return next((tuple(row[1:]) for row in rows if row[0] == question), None)

    plans = dict(result.carry_over.plans)
    assert cells(plans) == tuple(
        "4,200" if plan.key == AS_NOW else cell
        for plan, cell in zip(result.alternatives, cells(plans) or (), strict=True)
    )
    assert "310" in (cells(plans) or ())
    none = {key: replace(left, weeds_cost=(0.0, 0.0, 0.0)) for key, left in plans.items()}
    assert cells(none) is None
