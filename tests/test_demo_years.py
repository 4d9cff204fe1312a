"""Printed plans of a demo farm in good and bad years and after their last year, held against plain sums."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from demo_farm import Run, demo
from direct_years import Direct, fresh
from small_farm import TABLES

from rotation_opt.carry_over import Following
from rotation_opt.downside import farm_scenarios
from rotation_opt.scenarios import COURSES, crops_of_products, swings_of
from rotation_opt.select import evaluate

Paths = tuple[tuple[int, ...], ...]
SEED, COUNT = 5, 2000


@pytest.fixture(scope="module")
def run() -> Run:
    return demo("lindenhang")


def direct(run: Run, key: str) -> Direct:
    plan = next(each for each in run.result.alternatives if each.key == key)
    return Direct(run.result.farm, plan, run.ground.budgets.price_per_t)


def test_the_printed_figures_are_those_of_the_plan_run_through_the_same_courses(run: Run) -> None:
    courses = farm_scenarios(run.ground, run.data)
    for key, told in run.result.risks.items():
        net = direct(run, key).run(run.data.products, courses)
        mean = np.sort(net.mean(axis=1))
        assert told.courses == len(net) == COURSES
        assert told.expected_net == pytest.approx(mean.mean(), abs=0.01)
        assert told.worst_fifth_net == pytest.approx(mean[: COURSES // 5].mean(), abs=0.01)
        assert told.leanest_year == pytest.approx(np.median(net.min(axis=1)), abs=0.01)
        floor = run.result.farm.cash_floor
        assert told.year_below_floor == pytest.approx((net < floor).mean())
        assert told.any_year_below_floor == pytest.approx((net < floor).any(axis=1).mean())


def test_fresh_courses_bring_the_printed_figures_within_sampling_error(run: Run) -> None:
    swings = swings_of(crops_of_products(run.data), TABLES)
    market = farm_scenarios(run.ground, run.data).market_price_per_t
    drawn = fresh(swings, run.data.years, market, COUNT, SEED)
    for key, told in run.result.risks.items():
        mean = direct(run, key).run(run.data.products, drawn).mean(axis=1)
        both = (1.0 / COUNT + 1.0 / COURSES) ** 0.5
        assert told.expected_net == pytest.approx(mean.mean(), abs=4 * mean.std() * both), key
        worst = np.sort(mean)[: COUNT // 5]
        spread = (worst.var() + 0.8 * (worst.mean() - worst[-1]) ** 2) ** 0.5 / 0.2**0.5
        assert told.worst_fifth_net == pytest.approx(worst.mean(), abs=4 * spread * both), key


# ---------------------------------------------------------------- the last year


def other_last_years(run: Run, paths: Paths) -> Iterator[Paths]:
    """The same plan with another last year on one field, rules that look back further left aside."""
    for field, path in enumerate(paths):
        land = run.data.fields[field]
        if land.farmed[-1]:
            for last in np.flatnonzero(land.allowed[-1] & run.data.may_follow[path[-2]]):
                if last != path[-1]:
                    yield (*paths[:field], (*path[:-1], int(last)), *paths[field + 1 :])


def test_whatever_a_last_year_earns_by_letting_weeds_go_the_page_charges_them(run: Run) -> None:
    """Every field of every printed plan. Most money gains nothing by it once the weeds are charged."""
    data, seen = run.data, 0
    for draft in run.proposal.drafts:
        swaps = []
        for paths in other_last_years(run, draft.paths):
            figures = evaluate(data, paths)
            earned = float(figures.net.sum() - draft.figures.net.sum())
            if (
                earned > 1.0
                and figures.burden[-1, data.likely] > draft.figures.burden[-1, data.likely] + 0.01
            ):
                swaps.append((paths, earned, bool(figures.breaks)))
        following = Following(run.ground, data, [draft.paths, *(paths for paths, _, _ in swaps)])
        told = run.result.carry_over
        assert told is not None
        before = following.left(draft.paths).weeds_cost[1]
        assert before == pytest.approx(told.plans[draft.key].weeds_cost[1], rel=0.01)
        for paths, earned, breaks in swaps:
            taken = following.left(paths).weeds_cost[1] - before
            assert taken > 0.0, (draft.key, paths)
            if draft.key == "most_money" and not breaks:
                gap = draft.gap or 0.0
                assert earned <= taken + gap * abs(draft.figures.net.sum())
        seen += len(swaps)
    assert seen >= 5
