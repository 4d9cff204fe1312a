"""The least cash in hand at the end of each quarter as a limit of the choice."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from small_farm import TABLES, Plans, small, with_field, with_machine
from strategies import random_data
from test_scoring import Scored, close
from test_solve import PlainFarm, all_pools, listed_best

from rotation_opt.arrays import NOT_FARMED, CashDates, Prices, SelectionData
from rotation_opt.cash_flow import CashFlow, cash_checks
from rotation_opt.errors import NoPlanError
from rotation_opt.farm_arrays import selection_data
from rotation_opt.features import features
from rotation_opt.formulate import Figures, Goal, Program
from rotation_opt.groundwork import lay
from rotation_opt.ledgers import CashCourse
from rotation_opt.records import Alternative, Farm
from rotation_opt.select import Selected, evaluate, select
from rotation_opt.sequences import Grower, exhaustive, trace
from rotation_opt.stricter import no_looser
from rotation_opt.what_if import least_cash_quarter, select_again

MONEY, CLEAN = Goal(kind="most_money"), Goal(kind="least_burden")
LIMIT = "the least cash in hand at the end of a quarter"
SOME = settings(
    max_examples=8, deadline=None, suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow]
)


# ---------------------------------------------------------------- farms out of nothing


def by_quarter(data: SelectionData, seed: int, floor: float = -np.inf) -> SelectionData:
    """A random farm whose money moves in random quarters, with a least cash in hand."""
    rng = np.random.default_rng(seed)
    pairs, area = len(data.cost_per_ha), sum(land.area_ha for land in data.fields)
    share = np.zeros((pairs, 12))
    share[:, 2:8] = rng.dirichlet(np.full(6, 0.4), pairs)
    dates = CashDates(
        cost_per_ha=share * data.cost_per_ha[:, None],
        carried=rng.integers(1, 5, pairs),
        open_sold=rng.integers(2, 6, len(data.products)),
        outlet_sold=rng.integers(1, 6, len(data.limits.outlets)),
        hay_bought=int(rng.integers(3, 5)),
        debt_per_year=0.5 * data.limits.fixed_cost,
        debt_quarter=int(rng.integers(0, 4)),
    )
    limits = replace(data.limits, cash_floor_quarter=floor, cash_now=float(rng.uniform(0, 50)) * area)
    return replace(data, cash_dates=dates, limits=limits)


def bound_by_quarter(seed: int, tight: float, part: float, fields: int = 3) -> SelectionData:
    """The same with a floor near the leanest quarter of the plan with most money."""
    free = by_quarter(random_data(seed, fields=fields, practices=4, tight=tight), seed)
    try:
        plan = select(free, MONEY)
    except NoPlanError:
        assume(False)
        raise
    left = in_hand(free, plan.paths, plan.figures)
    lack = free.limits.cash_now - left.min()
    floor = float(left.min() + (1.0 - part) * lack)
    return replace(free, limits=replace(free.limits, cash_floor_quarter=floor))


def field_money(data: SelectionData, number: int, path: tuple[int, ...]) -> np.ndarray:
    """What one field costs, by quarter from the year before the plan on, in plain loops; negative."""
    dates, field = data.cash_dates, data.fields[number]
    assert dates is not None
    seen, paid = trace(data, number, path), np.zeros(4 * (data.years + 4))
    for year, practice in enumerate(path):
        if practice == NOT_FARMED:
            continue
        pair, begin = seen.pairs[year], 4 * year + 4
        for offset in range(12):
            paid[begin - 4 + offset] -= field.area_ha * dates.cost_per_ha[pair, offset]
        for quarter in range(begin, begin + 4):
            paid[quarter] -= field.area_ha * field.rent_per_ha / 4
        # what is left of the year's own money goes by the tonnes: carriage, and weedy grain that brings less
        by_ha = field.area_ha * (data.cost_per_ha[pair] + field.rent_per_ha)
        paid[begin + dates.carried[pair]] += seen.money[year] + by_ha
    return paid[: 4 * (data.years + 1)]


def fixed_money(data: SelectionData) -> np.ndarray:
    """Fixed cost and debt by quarter; negative."""
    dates, paid = data.cash_dates, np.zeros(4 * (data.years + 1))
    assert dates is not None
    for year in range(data.years):
        paid[4 * year + 4 : 4 * year + 8] -= (data.limits.fixed_cost - dates.debt_per_year) / 4
        paid[4 * year + 4 + dates.debt_quarter] -= dates.debt_per_year
    return paid


def in_hand(data: SelectionData, paths: tuple[tuple[int, ...], ...], figures: Figures) -> np.ndarray:
    """Cash at the end of each quarter of a plan, in plain loops over what its figures say is done."""
    dates, limits, done = data.cash_dates, data.limits, figures.recourse
    assert dates is not None
    end = 4 * (data.years + 1)
    paid = fixed_money(data) + sum(field_money(data, n, path) for n, path in enumerate(paths))
    paid = np.append(paid, np.zeros(12))  # what comes in after the plan
    for year in range(data.years):
        begin = 4 * year + 4
        for number, outlet in enumerate(limits.outlets):
            price = outlet.price_per_t - outlet.haul_per_t
            paid[begin + dates.outlet_sold[number]] += done.sold_t[number, year] * price
        for product in range(len(data.products)):
            price = limits.open_price_per_t[year, product]
            paid[begin + dates.open_sold[product]] += done.open_t[year, product] * price
        paid[begin + dates.hay_bought] -= done.bought_t[year] * limits.feed_price_per_t
    for when in range(data.years + 1):
        for half in range(24):
            quarter = 4 * when + half // 6
            paid[quarter] -= done.extra_labour_h[when, half] * limits.extra_labour_cost_per_h
            paid[quarter] -= done.hire_extra_h[:, when, half] @ limits.hire_extra_cost_per_h
    return limits.cash_now + np.cumsum(paid)[:end]


class QuarterFarm(PlainFarm):
    """The farm's limits for one fixed plan, written straight from the data, cash by quarter among them."""

    def money(self, paths, burden_most=np.inf, beat=-np.inf) -> float:  # type: ignore[no-untyped-def]
        data, limits = self.data, self.data.limits
        paid = fixed_money(data) + sum(self.of_field(n, path) for n, path in enumerate(paths))
        whole = sum(self.asked(number, path) for number, path in enumerate(paths))
        labour = whole[: (data.years + 1) * 24].reshape(data.years + 1, 24)
        size = len(data.machines) * (data.years + 1) * 24
        machine = whole[labour.size : labour.size + size].reshape(len(data.machines), data.years + 1, 24)
        for when in range(data.years + 1):
            for half in range(24):
                over = max(labour[when, half] - limits.labour_h[half], 0.0)
                paid[4 * when + half // 6] -= over * limits.extra_labour_cost_per_h
                for m in range(len(data.machines)):
                    lack = max(machine[m, when, half] - limits.machine_h[m, half], 0.0)
                    paid[4 * when + half // 6] -= lack * limits.hire_extra_cost_per_h[m]
        self.before_sales = limits.cash_now + np.cumsum(paid)
        return super().money(paths, burden_most, beat)

    def of_field(self, number: int, path: tuple[int, ...]) -> np.ndarray:
        key = number, tuple(path)
        self.known = getattr(self, "known", {})
        if key not in self.known:
            self.known[key] = field_money(self.data, number, path)
        return self.known[key]

    def more_rows(self, worth, sold, open_, bought):  # type: ignore[no-untyped-def]
        data, dates, rows = self.data, self.data.cash_dates, []
        assert dates is not None
        # the year before the plan counts from the first quarter in which a pair can cost anything
        early = np.flatnonzero(dates.cost_per_ha.any(axis=0))
        for quarter in range(min(4, int(early[0])), 4 * (data.years + 1)):
            row = np.zeros(worth.shape[1])
            for year in range(data.years):
                sales = [(sold[o, year], dates.outlet_sold[o]) for o in range(len(sold))]
                sales += [(open_[year, k], dates.open_sold[k]) for k in range(len(data.products))]
                for column, offset in [*sales, (bought[year], dates.hay_bought)]:
                    if 4 * year + 4 + offset <= quarter:
                        row[column] = -worth[year, column]
            rows.append((row, self.before_sales[quarter] - data.limits.cash_floor_quarter))
        return rows


# ---------------------------------------------------------------- against all plans listed


@SOME
@given(st.integers(0, 2**31), st.sampled_from([0.2, 0.5, 0.9]), st.sampled_from([0.98, 0.9, 0.6, 0.3]))
def test_the_chosen_plan_is_the_best_of_all_plans_that_keep_the_cash_of_every_quarter(
    seed: int, tight: float, part: float
) -> None:
    data = bound_by_quarter(seed, tight, part)
    best, _ = listed_best(data, all_pools(data), farm=QuarterFarm)
    if best == -np.inf:
        with pytest.raises(NoPlanError) as fault:
            select(data, MONEY, gap=1e-9)
        assert fault.value.limits
        return
    chosen = select(data, MONEY, gap=1e-9)
    assert chosen.value == pytest.approx(best, rel=1e-6, abs=0.05)
    assert chosen.bound is not None
    assert chosen.bound >= best - 1e-6 * abs(best) - 0.05
    assert not chosen.figures.breaks
    left = in_hand(data, chosen.paths, chosen.figures)
    assert left.min() >= data.limits.cash_floor_quarter - 0.01


@settings(
    max_examples=8, deadline=None, suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow]
)
@given(st.integers(0, 2**31), st.sampled_from([0.9, 0.6]))
def test_the_cleanest_plan_keeps_the_cash_of_every_quarter_too(seed: int, part: float) -> None:
    data = bound_by_quarter(seed, 0.5, part, fields=2)
    try:
        chosen = select(data, CLEAN)
    except NoPlanError:
        return
    assert in_hand(data, chosen.paths, chosen.figures).min() >= data.limits.cash_floor_quarter - 0.01


def test_in_the_farms_above_the_floor_often_changes_the_plan() -> None:
    changed = 0
    for seed in range(12):
        data = by_quarter(random_data(seed, fields=2, practices=4, tight=0.2), seed)
        try:
            free = select(data, MONEY)
        except NoPlanError:
            continue
        left = in_hand(data, free.paths, free.figures)
        floor = float(left.min() + 0.15 * (data.limits.cash_now - left.min()))
        try:
            chosen = select(data, MONEY, limits=replace(data.limits, cash_floor_quarter=floor))
        except NoPlanError:
            continue
        assert chosen.value <= free.value + 1e-6 * abs(free.value)
        changed += chosen.paths != free.paths
    assert changed >= 4


# ---------------------------------------------------------------- the parts of the search


@SOME
@given(st.integers(0, 2**31))
def test_no_sequence_is_worth_more_than_growing_says_at_prices_of_every_quarter(seed: int) -> None:
    data, rng = by_quarter(random_data(seed), seed), np.random.default_rng(seed)
    prices = Prices(
        money=rng.uniform(0.5, 1.0, data.years),
        product=rng.uniform(0.0, 300.0, (data.years, len(data.products))),
        labour=np.zeros((data.years + 1, 24)),
        machine=np.zeros((len(data.machines), data.years + 1, 24)),
        hired=np.zeros((len(data.machines), data.years)),
        land=np.zeros((data.years, len(data.practice_keys))),
        burden=np.zeros(data.years),
        paid=np.where(rng.random(data.quarters) < 0.4, rng.uniform(0, 2, data.quarters), 0.0),
    )
    grower = Grower(data)
    for number in range(len(data.fields)):
        pool = exhaustive(data, number)
        assume(len(pool))
        by_hand = []
        for path in pool.paths:
            seen = trace(data, number, tuple(path))
            worth = prices.money @ seen.money + prices.paid @ field_money(data, number, tuple(path))
            for year, practice in enumerate(path):
                if practice != NOT_FARMED and data.product_of[practice] >= 0:
                    worth += prices.product[year, data.product_of[practice]] * seen.tonnes[year]
            by_hand.append(worth)
        grown = grower.grow(number, grower.worth(prices), width=10**6, keep=10**6)
        assert np.sort(grown.worth) == pytest.approx(np.sort(by_hand), rel=1e-9, abs=1e-6)
        narrow = grower.grow(number, grower.worth(prices), width=2, keep=1)
        assert narrow.upper >= max(by_hand) - 1e-6


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(0, 2**31))
def test_what_a_sequence_needs_of_each_quarter_is_its_money_up_to_then(seed: int) -> None:
    data = by_quarter(random_data(seed), seed, floor=0.0)
    program = Program(data, data.limits)
    rows = [n for n, row in enumerate(program.rows) if row.family == "cash_quarter"]
    assert len(rows) >= 4 * data.years
    for number in range(len(data.fields)):
        pool = exhaustive(data, number)
        need = program.need(features(data, program.space, pool))[rows]
        for column, path in zip(need.T, pool.paths, strict=True):
            paid = np.cumsum(field_money(data, number, tuple(path)))
            assert column == pytest.approx(paid[-len(rows) :], rel=1e-9, abs=1e-6)


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(0, 2**31), st.sampled_from([1.0, 0.6]))
def test_the_sharpened_score_is_never_too_kind_and_costs_nothing_where_the_floor_is_far(
    seed: int, part: float
) -> None:
    data = by_quarter(random_data(seed, fields=3, years=3, practices=5, tight=0.9), seed)
    area = sum(land.area_ha for land in data.fields)
    near = replace(data, limits=replace(data.limits, cash_floor_quarter=-200.0 * part * area))
    far = replace(data, limits=replace(data.limits, cash_floor_quarter=-1e7, cash_floor=-1e7))
    rng, scored = np.random.default_rng(seed), [Scored(near), Scored(far)]
    for _ in range(4):
        plan = scored[0].plan(rng)
        for each in scored:
            each.sharpen(plan)
        exact, kept = scored[0].exact(plan)
        assert not kept or scored[0].score(plan) >= exact - close(exact)
        exact, kept = scored[1].exact(plan)
        assert not kept or scored[1].score(plan) == pytest.approx(exact, abs=close(exact))


@settings(
    max_examples=6, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much]
)
@given(st.integers(0, 2**31))
def test_a_changed_floor_is_answered_within_the_bound_kept_from_the_old_one(seed: int) -> None:
    data = bound_by_quarter(seed, 0.2, 0.9, fields=2)
    area = sum(land.area_ha for land in data.fields)
    try:
        base = select(data, MONEY, gap=1e-9)
    except NoPlanError:
        return
    for step in (20.0 * area, -20.0 * area):
        floor = data.limits.cash_floor_quarter + step
        question = least_cash_quarter(data.limits, floor)
        asked = replace(data, limits=question.limits)
        try:
            fresh = select(asked, MONEY, gap=1e-9)
        except NoPlanError:
            continue
        again = select_again(data, base, MONEY, question.limits)
        slack = 1e-6 * abs(fresh.value) + 0.05
        assert again.bound is None or again.bound >= fresh.value - slack
        assert again.value <= fresh.value + slack
        assert (step > 0) == no_looser(question.limits, data.limits)


def test_where_nobody_asks_for_cash_by_quarter_the_program_knows_no_quarters() -> None:
    data = selection_data(lay(small(), TABLES))
    assert data.cash_dates is None
    program = Program(data, data.limits)
    assert not any(row.family == "cash_quarter" for row in program.rows)
    assert program.space.shapes["paid"] == (0,)


# ---------------------------------------------------------------- a farm from its file


@cache
def worked(floor: float | None, debt: float = 0.0, month: int = 1) -> tuple[SelectionData, Selected]:
    data = selection_data(lay(pressed(floor, debt, month), TABLES))
    return data, select(data, MONEY, gap=1e-7)


def pressed(floor: float | None, debt: float = 0.0, month: int = 1) -> Farm:
    """The small farm with a fixed cost in which payments on debt may be hidden."""
    return small(
        fixed_cost=6_000.0, debt_per_year=debt, debt_month=month, cash_now=20_000.0, cash_floor_quarter=floor
    )


def test_a_higher_floor_changes_the_plan_and_never_improves_it() -> None:
    values = []
    for floor in (None, -50_000.0, 7_000.0, 8_000.0, 9_500.0):
        _, chosen = worked(floor)
        assert not chosen.figures.breaks
        values.append(chosen.value)
    assert values[0] == pytest.approx(values[1]) == pytest.approx(values[2])
    assert values[2] > values[3] + 1.0 >= values[4] + 1.0
    assert worked(8_000.0)[1].paths != worked(None)[1].paths
    assert evaluate(worked(8_000.0)[0], worked(None)[1].paths).breaks


def test_payments_on_debt_tighten_it_in_the_month_in_which_they_fall() -> None:
    """6,000 of fixed cost; with 5,000 of it due in one month rather than all in four equal parts."""
    even = worked(6_000.0)[1].value
    january, may, december = (worked(6_000.0, 5_000.0, month)[1] for month in (1, 5, 12))
    assert january.value < even - 1.0 > may.value
    assert december.value == pytest.approx(even)  # after the harvest is sold it does no harm
    data, _ = worked(6_000.0, 5_000.0, 5)
    assert evaluate(data, december.paths).breaks
    assert not evaluate(worked(6_000.0, 5_000.0, 12)[0], december.paths).breaks


def test_a_floor_that_no_plan_keeps_is_named_with_the_quarter_and_the_amount() -> None:
    with pytest.raises(NoPlanError) as fault:
        worked(25_000.0)
    assert LIMIT in str(fault.value)
    assert any("cash in hand at the end of December 2026: $" in line for line in fault.value.limits)


def test_the_present_rotation_says_in_which_quarter_it_falls_below_the_floor() -> None:
    plans = Plans(pressed(9_500.0))
    broken = [line for line in plans.plan["as_now"].breaks if line.startswith("cash in hand at the end of")]
    course = course_of(plans, plans.plan["as_now"])
    assert bool(broken) == (min(course.left[: course.last + 1]) < 9_500.0)
    assert broken


@cache
def hard_pressed() -> Plans:
    """Bought hay, helpers, hired ploughing, rent, debt and a landlord's share, with a floor that binds."""
    base = small(
        feed_need_t=40.0,
        feed_price_per_t=300.0,
        fixed_cost=9_000.0,
        debt_per_year=4_000.0,
        debt_month=4,
        cash_floor=-90_000.0,
        cash_now=40_000.0,
        cash_floor_quarter=8_000.0,
        hay_storage_t=30.0,
        hay_storage_loss=0.1,
    )
    labour = replace(
        base.labour,
        hours_by_half_month=(8.0,) * 24,
        extra_hours_by_half_month=(200.0,) * 24,
        extra_wage_per_h=31.0,
    )
    base = replace(base, labour=labour)
    base = with_machine(base, "plough", also_hire=True, hire_cap_ha=80.0, hours_a_day=0.8)
    return Plans(with_field(base, "West", rent_per_ha=120.0, landlord_share=0.1))


@cache
def binding() -> Plans:
    return Plans(pressed(9_500.0))


def course_of(plans: Plans, plan: Alternative) -> CashCourse:
    return CashFlow(plans.ground, plans.data).course(plan)


@pytest.mark.parametrize("plans", [binding, hard_pressed])
def test_the_printed_course_of_cash_keeps_the_floor_in_every_plan_that_is_chosen(plans) -> None:
    made, tightest = plans(), np.inf
    floor = made.farm.cash_floor_quarter
    for plan in made.chosen():
        course = course_of(made, plan)
        least = min(course.left[: course.last + 1])
        assert least >= floor - 0.01
        assert not plan.breaks
        tightest = min(tightest, least - floor)
        line = cash_checks(course, plan, "USD", floor)[0]
        assert (line.what, line.agrees) == ("cash above its floor at the end of every quarter", True)
    assert tightest < 3_000.0  # it is near: the floor has something to say here


def test_a_printed_course_below_the_floor_is_found() -> None:
    made = binding()
    plan = made.chosen()[0]
    course = course_of(made, plan)
    left = (course.left[0], 9_400.0, *course.left[2:])
    assert not cash_checks(replace(course, left=left), plan, "USD", 9_500.0)[0].agrees
    late = replace(course, left=(*course.left[:-1], 0.0), last=len(course.left) - 2)
    assert cash_checks(late, plan, "USD", 9_500.0)[0].agrees  # what comes after the plan is not asked for
    told = replace(plan, breaks=("something",))
    assert len(cash_checks(replace(course, left=left), told, "USD", 9_500.0)) == 2


@pytest.mark.parametrize("key", ["as_now", "most_money", "balanced", "fastest"])
@pytest.mark.parametrize("plans", [binding, hard_pressed])
def test_the_program_never_sees_more_cash_than_the_printed_course(plans, key: str) -> None:
    """The same but for crops that are sold later with another way to grow them on this farm."""
    made = plans()
    if key not in made.plan:
        pytest.skip("not among the plans of this farm")
    figures, course = made.draft[key].figures, course_of(made, made.plan[key])
    seen = in_hand(made.data, made.draft[key].paths, figures)
    first = 4 * (course.quarters[0][0] - made.farm.first_year + 1) + course.quarters[0][1] - 1
    printed = np.full(len(seen), made.farm.cash_now)
    printed[first:] = course.left[: course.last + 1]
    assert (seen <= printed + 0.01).all()
    assert seen[:6] == pytest.approx(printed[:6], abs=0.01)  # before the first harvest
