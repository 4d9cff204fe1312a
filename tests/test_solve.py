"""The selection against listing every plan, against a second solver, and against common sense."""

from __future__ import annotations

import itertools
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from strategies import random_data, small_farms

from rotation_opt.arrays import NOT_FARMED, OutletData, SelectionData, ShareData
from rotation_opt.errors import NoPlanError
from rotation_opt.features import features
from rotation_opt.formulate import Goal, Program
from rotation_opt.select import evaluate, select, start_burden
from rotation_opt.sequences import Grower, Pool, exhaustive, trace
from rotation_opt.solver import problem, run

MONEY = Goal(kind="most_money")
CLEAN = Goal(kind="least_burden")


class PlainFarm:
    """The farm's limits once more, written straight from the data for one fixed plan.

    Nothing of the program under test is used: rows are built for scipy's own linear solver.
    """

    def __init__(self, data: SelectionData) -> None:
        self.data = data
        years, machines = data.years, len(data.machines)
        self.shapes = {
            "labour": (years + 1, 24),
            "machine": (machines, years + 1, 24),
            "hired": (machines, years),
            "tonnes": (years, len(data.products)),
            "money": (years,),
            "land": (years, len(data.practice_keys)),
            "farmed": (years,),
            "burden": (1,),
        }
        # plans are listed by the thousand, sequences by the dozen: each one is looked at once
        self.asked = cache(self._asked)
        limits = data.limits
        self.best_price = np.array(limits.open_price_per_t)  # (years, products); hay may save bought hay
        for outlet in limits.outlets:
            there = outlet.most_t > 0
            self.best_price[there, outlet.product] = np.maximum(
                self.best_price[there, outlet.product], outlet.price_per_t - outlet.haul_per_t
            )
        self.best_price[:, limits.feeds] = np.maximum(
            self.best_price[:, limits.feeds], limits.feed_price_per_t
        )
        # hay in store at the start can save at most this much; the herd's hay counts as bought, since every
        # tonne that is made counts as sold or saved
        self.at_most = (limits.stored_now_t * limits.feed_price_per_t) * data.discount.max()
        self.at_most -= data.discount.sum() * limits.feed_need_t * limits.feed_price_per_t

    def _asked(self, number: int, path: tuple[int, ...]) -> np.ndarray:
        """What one field asks of the farm under one sequence, one after another as in ``shapes``."""
        data, field = self.data, self.data.fields[number]
        total = {name: np.zeros(shape) for name, shape in self.shapes.items()}
        seen = trace(data, number, path)
        total["burden"][0] = data.burden_when @ seen.burden[:, data.likely]
        for year, practice in enumerate(path):
            if practice == NOT_FARMED:
                continue
            pair = data.pair_index[field.history[-1] if year == 0 else path[year - 1], practice]
            total["labour"][year] += field.area_ha * data.labour_h[pair, 0]
            total["labour"][year + 1] += field.area_ha * data.labour_h[pair, 1]
            total["machine"][:, year] += field.area_ha * data.machine_h[pair, :, 0]
            total["machine"][:, year + 1] += field.area_ha * data.machine_h[pair, :, 1]
            total["hired"][:, year] += field.area_ha * data.hired_area[pair]
            total["money"][year] += seen.money[year]
            total["land"][year, practice] += field.area_ha
            total["farmed"][year] += field.area_ha
            if data.product_of[practice] >= 0:
                total["tonnes"][year, data.product_of[practice]] += seen.tonnes[year]
        return np.concatenate([part.ravel() for part in total.values()])

    def money(
        self, paths: tuple[tuple[int, ...], ...], burden_most: float = np.inf, beat: float = -np.inf
    ) -> float:
        """Discounted net return of a plan at its best recourse; -inf if a limit cannot be kept.

        A plan that cannot be worth ``beat`` need not be worked out to the end: -inf too.
        """
        data, limits = self.data, self.data.limits
        years, machines = data.years, len(data.machines)
        whole = sum(self.asked(number, path) for number, path in enumerate(paths))
        ends = np.cumsum([np.prod(shape) for shape in self.shapes.values()])
        labour, machine, hired, tonnes, money, land, farmed, burden = (
            part.reshape(shape)
            for part, shape in zip(np.split(whole, ends[:-1]), self.shapes.values(), strict=True)
        )
        tight = 1e-7
        if burden[0] > burden_most + tight or (hired > limits.hire_area_ha[:, None] + tight).any():
            return -np.inf
        for share in limits.largest:
            if (land[:, share.member].sum(axis=1) > share.share * farmed + tight).any():
                return -np.inf
        for share in limits.least:
            if land[:, share.member].sum() < share.share * farmed.sum() - tight:
                return -np.inf
        costs = np.zeros(years)  # what overtime and hire cost: no choice in it but the amount needed
        for when in range(years + 1):
            over = np.maximum(labour[when] - limits.labour_h, 0.0)
            if (over > limits.extra_labour_h + tight).any():
                return -np.inf
            paid = max(0, when - 1)
            costs[paid] += over.sum() * limits.extra_labour_cost_per_h
            for m in range(machines):
                lack = np.maximum(machine[m, when] - limits.machine_h[m], 0.0).sum()
                if lack > limits.hire_extra_h[m] + tight:
                    return -np.inf
                costs[paid] += lack * limits.hire_extra_cost_per_h[m]
        net = money - costs - limits.fixed_cost
        takings = (tonnes * np.maximum(self.best_price, 0.0)).sum(axis=1)
        promised = np.zeros_like(tonnes)
        for outlet in limits.outlets:
            promised[:, outlet.product] += outlet.least_t
        if (promised > tonnes + 1e-5).any() or (net + takings < limits.cash_floor - 1e-3).any():
            return -np.inf  # sure without a linear program
        if data.discount @ (net + takings) + self.at_most < beat:
            return -np.inf
        return self._sales(tonnes, net)

    def _sales(self, tonnes: np.ndarray, net: np.ndarray) -> float:
        """Best use of the tonnes; columns: outlet x year, open, kept (year x product), fed, bought, store."""
        data, limits = self.data, self.data.limits
        years, products, outlets = data.years, len(data.products), len(limits.outlets)
        sold = np.arange(outlets * years).reshape(outlets, years)
        base = sold.size
        open_, kept = (base + k * years * products + np.arange(years * products) for k in (0, 1))
        open_, kept = open_.reshape(years, products), kept.reshape(years, products)
        base += 2 * years * products
        fed, bought, store = (base + k * years + np.arange(years) for k in (0, 1, 2))
        count = base + 3 * years
        worth, upper, lower = np.zeros((years, count)), np.full(count, np.inf), np.zeros(count)
        for o, outlet in enumerate(limits.outlets):
            for t in range(years):
                worth[t, sold[o, t]] = outlet.price_per_t - outlet.haul_per_t
                lower[sold[o, t]], upper[sold[o, t]] = outlet.least_t[t], outlet.most_t[t]
        rows, rhs = [], []
        for t in range(years):
            for k in range(products):
                row = np.zeros(count)
                row[open_[t, k]] = row[kept[t, k]] = 1.0
                for o, outlet in enumerate(limits.outlets):
                    if outlet.product == k:
                        row[sold[o, t]] = 1.0
                rows.append(row)
                rhs.append(tonnes[t, k])
                worth[t, open_[t, k]] = limits.open_price_per_t[t, k]
                upper[kept[t, k]] = np.inf if limits.feeds[k] else 0.0
            row = np.zeros(count)
            row[fed[t]] = row[bought[t]] = -1.0
            rows.append(row)
            rhs.append(-limits.feed_need_t)
            worth[t, bought[t]] = -limits.feed_price_per_t
            row = np.zeros(count)
            row[store[t]] = row[fed[t]] = 1.0
            row[kept[t]] = -1.0
            if t:
                row[store[t - 1]] = limits.storage_loss - 1.0
            rows.append(row)
            rhs.append(limits.stored_now_t if t == 0 else 0.0)
            upper[store[t]] = limits.storage_t
            if np.isfinite(limits.cash_floor):
                rows.append(-worth[t])
                rhs.append(net[t] - limits.cash_floor)
        for row, right in self.more_rows(worth, sold, open_, bought):
            rows.append(row)
            rhs.append(right)
        answer = linprog(
            -(data.discount @ worth),
            A_ub=np.array(rows),
            b_ub=np.array(rhs) + 1e-7,
            bounds=np.column_stack([lower, upper]),
        )
        return float(-answer.fun + data.discount @ net) if answer.status == 0 else -np.inf

    def more_rows(
        self, worth: np.ndarray, sold: np.ndarray, open_: np.ndarray, bought: np.ndarray
    ) -> list[tuple[np.ndarray, float]]:
        """Further limits on what is sold and bought, row @ columns <= right, for farms that have them."""
        return []


def listed_best(
    data: SelectionData, pools: list[Pool], burden_most: float = np.inf, farm: type[PlainFarm] = PlainFarm
) -> tuple[float, tuple[tuple[int, ...], ...]]:
    """Best plan for money by going through all of them, the most hopeful first.

    A plan is only passed over when even with every tonne at the best price and every hand free it could
    not beat the best so far.
    """
    limits = data.limits
    plain, best, chosen = farm(data), -np.inf, ()
    hopes = []
    for pool in pools:
        product = np.append(data.product_of, -1)[pool.paths]
        price = np.where(
            product >= 0, np.take_along_axis(plain.best_price.T, np.maximum(product, 0), axis=0), 0.0
        )
        hopes.append(((pool.money + pool.tonnes * price) * data.discount).sum(axis=1))
    total = hopes[0]
    for hope in hopes[1:]:
        total = np.add.outer(total, hope)
    burdens = pools[0].burden @ data.burden_when
    for pool in pools[1:]:
        burdens = np.add.outer(burdens, pool.burden @ data.burden_when)
    order = np.argsort(-total, axis=None, kind="stable")
    spent = data.discount.sum() * limits.fixed_cost
    for flat in order:
        if total.flat[flat] + plain.at_most - spent < best:
            break
        if burdens.flat[flat] > burden_most + 1e-7:
            continue
        index = np.unravel_index(flat, total.shape)
        paths = tuple(tuple(int(p) for p in pool.paths[i]) for pool, i in zip(pools, index, strict=True))
        value = plain.money(paths, burden_most, beat=best)
        if value > best:
            best, chosen = value, paths
    return best, chosen


def all_pools(data: SelectionData) -> list[Pool]:
    pools = [exhaustive(data, field) for field in range(len(data.fields))]
    assume(all(len(pool) for pool in pools))
    assume(np.prod([len(pool) for pool in pools], dtype=float) < 40_000)
    return pools


@settings(
    max_examples=120, deadline=None, suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow]
)
@given(small_farms(), st.sampled_from([np.inf, 0.7, 0.4]))
def test_the_chosen_plan_is_worth_as_much_as_the_best_of_all_plans_listed(
    data: SelectionData, share: float
) -> None:
    pools = all_pools(data)
    limit = None if share == np.inf else share * float(start_burden(data)[data.likely])
    best, _ = listed_best(data, pools, np.inf if limit is None else limit)
    goal = replace(MONEY, burden_most=limit)
    if best == -np.inf:
        with pytest.raises(NoPlanError) as fault:
            select(data, goal, gap=1e-9)
        assert fault.value.limits
        return
    chosen = select(data, goal, gap=1e-9)
    assert chosen.value == pytest.approx(best, rel=1e-6, abs=0.05)
    assert chosen.bound is not None
    assert chosen.bound >= best - 1e-6 * abs(best) - 0.05
    assert not chosen.figures.breaks
    assert PlainFarm(data).money(chosen.paths) == pytest.approx(chosen.value, rel=1e-6, abs=0.05)


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow]
)
@given(small_farms())
def test_the_least_burden_is_the_least_of_all_plans_that_keep_the_limits(data: SelectionData) -> None:
    pools = all_pools(data)
    try:
        chosen = select(data, CLEAN, gap=1e-9)
    except NoPlanError:
        assert listed_best(data, pools)[0] == -np.inf
        return
    plain = PlainFarm(data)
    end = data.burden_when @ chosen.figures.burden[:, data.likely]
    tie = Program(data, data.limits).tie_break()
    weights = data.burden_when
    scores = pools[0].burden @ weights
    for pool in pools[1:]:
        scores = np.add.outer(scores, pool.burden @ weights)
    spent = data.discount.sum() * data.limits.fixed_cost
    least = np.inf
    top = tie * max(0.0, listed_best(data, pools)[0] + spent)
    for flat in np.argsort(scores, axis=None, kind="stable"):
        if scores.flat[flat] - top > least:
            break
        index = np.unravel_index(flat, scores.shape)
        paths = tuple(tuple(int(p) for p in pool.paths[i]) for pool, i in zip(pools, index, strict=True))
        value = plain.money(paths)
        if value > -np.inf:
            least = min(least, scores.flat[flat] - tie * (value + spent))
    assert chosen.value == pytest.approx(least, rel=1e-6, abs=1e-6)
    # and among the plans about as clean as that, the money is the most
    best, _ = listed_best(data, pools, end)
    assert chosen.figures.present_value >= best - 1e-6 * abs(best) - 0.05


@pytest.mark.parametrize("seed", range(6))
def test_a_second_solver_finds_the_same_plan_value_on_the_same_rows(seed: int) -> None:
    data = random_data(seed, fields=4, years=4, practices=6, tight=0.4)
    pools = [exhaustive(data, field) for field in range(len(data.fields))]
    program = Program(data, data.limits)
    plan_cost, recourse_cost = program.money_objective()
    values = np.vstack([features(data, program.space, pool) for pool in pools])
    owner = np.concatenate([np.full(len(pool), pool.field) for pool in pools])
    count, extra = len(values), len(program.variables)
    choice = (owner[None, :] == np.arange(len(pools))[:, None]).astype(float)
    rows = np.hstack([program.need(values), program.recourse])
    low = np.where(program.sense > 0, program.rhs, -np.inf)
    high = np.where(program.sense < 0, program.rhs, np.inf)
    answer = milp(
        np.concatenate([values @ plan_cost, recourse_cost]),
        integrality=np.concatenate([np.ones(count), np.zeros(extra)]),
        bounds=Bounds(
            0,
            np.concatenate(
                [np.ones(count), [np.inf if v.upper is None else v.upper for v in program.variables]]
            ),
        ),
        constraints=[
            LinearConstraint(rows, low, high),
            LinearConstraint(np.hstack([choice, np.zeros((len(pools), extra))]), 1, 1),
        ],
        options={"mip_rel_gap": 1e-9},
    )
    if answer.status == 2:
        with pytest.raises(NoPlanError):
            select(data, MONEY, gap=1e-9)
        return
    fixed = data.discount.sum() * data.limits.fixed_cost
    assert select(data, MONEY, gap=1e-9).value == pytest.approx(-answer.fun - fixed, rel=1e-6, abs=0.05)


def feasible_farms(count: int, **options: object) -> list[SelectionData]:
    """The first random farms that have a plan."""
    farms = []
    for seed in itertools.count():
        data = random_data(seed, **options)  # type: ignore[arg-type]
        try:
            select(data, MONEY)
        except NoPlanError:
            continue
        farms.append(data)
        if len(farms) == count:
            return farms
    return farms


FARMS = feasible_farms(4, fields=3, years=3, practices=5, tight=0.9)


@pytest.mark.parametrize("data", FARMS)
def test_a_larger_limit_never_makes_the_best_plan_worse(data: SelectionData) -> None:
    before = select(data, MONEY, gap=1e-9).value
    limits = data.limits
    wider = (
        replace(limits, labour_h=limits.labour_h * 1.2),
        replace(limits, machine_h=limits.machine_h * 1.2),
        replace(limits, hire_area_ha=limits.hire_area_ha + 10.0),
        replace(limits, cash_floor=limits.cash_floor - 5_000.0),
        replace(limits, storage_t=limits.storage_t + 20.0),
        replace(limits, largest=(), least=()),
        replace(limits, outlets=tuple(replace(o, most_t=o.most_t * 1.5) for o in limits.outlets)),
    )
    for other in wider:
        assert select(data, MONEY, limits=other, gap=1e-9).value >= before - 1e-6 * abs(before) - 0.01


@pytest.mark.parametrize("data", FARMS)
def test_prices_of_limits_have_the_sign_of_a_limit_and_tell_what_more_of_it_is_worth(
    data: SelectionData,
) -> None:
    program = Program(data, data.limits, every_row=True)
    plan_cost, recourse_cost = program.money_objective()
    pools = [exhaustive(data, field) for field in range(len(data.fields))]
    values = np.vstack([features(data, program.space, pool) for pool in pools])
    owner = np.concatenate([np.full(len(pool), pool.field) for pool in pools])

    def solved(rhs: np.ndarray | None = None) -> tuple[float, np.ndarray]:
        built = problem(
            program, program.need(values), values @ plan_cost, recourse_cost, owner, integer=False, rhs=rhs
        )
        outcome = run(built, integer=False)
        return outcome.objective, outcome.duals

    objective, duals = solved()
    assert (duals[program.sense < 0] <= 1e-7).all()
    assert (duals[program.sense > 0] >= -1e-7).all()
    priced = np.flatnonzero(np.abs(duals) > 1e-3)
    assert len(priced)
    for row in priced[:4]:
        step = 1e-4 * max(1.0, abs(program.rhs[row]))
        up, down = program.rhs.copy(), program.rhs.copy()
        up[row] += step
        down[row] -= step
        # the optimum is convex in the right-hand side, so the dual lies between the two slopes
        left, right = (objective - solved(down)[0]) / step, (solved(up)[0] - objective) / step
        assert left - 1e-4 * (1 + abs(left)) <= duals[row] <= right + 1e-4 * (1 + abs(right))


def test_a_contract_nobody_can_fill_is_named() -> None:
    data = FARMS[0]
    outlet = OutletData(
        name="Mill in the valley",
        product=0,
        price_per_t=200.0,
        haul_per_t=0.0,
        least_t=np.full(data.years, 1e6),
        most_t=np.full(data.years, 1e6),
    )
    limits = replace(data.limits, outlets=(*data.limits.outlets, outlet))
    with pytest.raises(NoPlanError) as fault:
        select(data, MONEY, limits=limits)
    assert any("Mill in the valley is promised" in line for line in fault.value.limits)
    assert "without the contract with Mill in the valley" in str(fault.value)


def test_a_field_without_any_sequence_is_named() -> None:
    data = FARMS[0]
    land = replace(data.fields[1], allowed=np.zeros_like(data.fields[1].allowed), farmed=np.ones(3, bool))
    with pytest.raises(NoPlanError, match="Field 1"):
        select(replace(data, fields=(data.fields[0], land, data.fields[2])), MONEY)


def test_two_land_shares_that_exclude_each_other_are_both_named() -> None:
    data = FARMS[0]
    cropped = np.arange(len(data.practice_keys)) > 0
    limits = replace(
        data.limits,
        largest=(ShareData(name="all crops", member=cropped, share=0.2),),
        least=(ShareData(name="crops of any kind", member=cropped, share=0.8),),
        outlets=(),
    )
    with pytest.raises(NoPlanError) as fault:
        select(data, MONEY, limits=limits)
    text = str(fault.value)
    assert "the largest share of all crops" in text
    assert "the least share of crops of any kind" in text


def test_nothing_is_printed_while_solving(capfd: pytest.CaptureFixture[str]) -> None:
    data = FARMS[0]
    select(data, MONEY)
    select(data, CLEAN)
    out, err = capfd.readouterr()
    assert not out
    assert not err


def test_the_same_call_gives_the_same_plan() -> None:
    data = random_data(3, fields=5, years=4, practices=7, tight=0.3)
    first, second = select(data, MONEY), select(data, MONEY)
    assert first.paths == second.paths
    assert first.value == second.value


def test_figures_of_a_plan_that_breaks_limits_say_so_in_words() -> None:
    data = FARMS[0]
    paths = select(data, MONEY).paths
    floor = replace(data.limits, cash_floor=1e9)
    figures = evaluate(data, paths, limits=floor)
    assert len(figures.breaks) == 3  # one a year
    assert all("below the least" in line for line in figures.breaks)
    assert np.isfinite(figures.present_value)


def test_money_in_the_figures_adds_up() -> None:
    for data in FARMS:
        figures = select(data, MONEY).figures
        total = (
            figures.field_money.sum(axis=0)
            + figures.sales
            - figures.feed_cost
            - figures.extra_labour_cost
            - figures.hire_cost
            - data.limits.fixed_cost
        )
        assert figures.net == pytest.approx(total)
        assert figures.present_value == pytest.approx(float(data.discount @ total))
        recourse = figures.recourse
        sold = np.zeros_like(figures.tonnes)
        for number, outlet in enumerate(data.limits.outlets):
            sold[:, outlet.product] += recourse.sold_t[number]
        used = sold + recourse.open_t + recourse.kept_t + figures.unsold_t
        assert used == pytest.approx(figures.tonnes, abs=1e-5)


def test_pools_handed_on_keep_the_plans_found_before() -> None:
    data = FARMS[1]
    first = select(data, MONEY)
    again = select(data, MONEY, pools=first.pools)
    assert again.value == pytest.approx(first.value, rel=1e-6)
    assert all(pool.plans for pool in first.pools)


def test_column_generation_agrees_with_listing_on_a_farm_too_large_to_start_with_a_list() -> None:
    data = random_data(10, fields=3, years=4, practices=12, tight=0.2, weeds=2)
    pools = [exhaustive(data, field) for field in range(len(data.fields))]
    assert max(len(pool) for pool in pools) > 1500
    program = Program(data, data.limits)
    plan_cost, recourse_cost = program.money_objective()
    values = np.vstack([features(data, program.space, pool) for pool in pools])
    owner = np.concatenate([np.full(len(pool), pool.field) for pool in pools])
    built = problem(program, program.need(values), values @ plan_cost, recourse_cost, owner, integer=False)
    divisible = -run(built, integer=False).objective - data.discount.sum() * data.limits.fixed_cost
    chosen = select(data, MONEY)
    assert chosen.bound is not None
    assert chosen.value - 1e-6 * abs(chosen.value) <= chosen.bound
    assert chosen.bound <= divisible + 1e-5 * abs(divisible)
    assert Grower(data).pool(0, pools[0].paths).burden == pytest.approx(pools[0].burden)
