"""Bounds raised by cases, against listing every plan."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from strategies import random_data
from test_solve import listed_best

from rotation_opt.arrays import SelectionData
from rotation_opt.brake import Brake
from rotation_opt.branching import Bounded, Branching
from rotation_opt.errors import NoPlanError
from rotation_opt.formulate import Goal, Program
from rotation_opt.pricing import Pricing
from rotation_opt.select import select
from rotation_opt.sequences import Grower, exhaustive

ENOUGH = 5000  # linear programs


@dataclass
class Case:
    """A farm on which the linear program promises more than any plan of whole fields can bring."""

    data: SelectionData
    optimum: float  # cost of the best of all plans listed
    bound: float  # of the linear program
    plan: tuple[tuple[int, ...], ...]  # some plan that keeps the limits
    value: float
    scale: float

    def branching(self, keep: float = np.inf) -> Branching:
        pricing = solved(self.data)
        columns = np.arange(len(pricing.columns))
        plan = pricing.columns.place(self.plan)
        assert len(pricing.columns) == len(columns)
        if keep == np.inf:
            return Branching(pricing, columns, plan, self.value)
        near = pricing.reduced_costs() <= keep
        near[plan] = True
        return Branching(pricing, np.flatnonzero(near), plan, self.value, self.bound + keep)

    def run(self, solves: int, keep: float = np.inf) -> Bounded:
        return self.branching(keep).run(1e-9, solves)


def solved(data: SelectionData) -> Pricing:
    program = Program(data, data.limits)
    pricing = Pricing(Grower(data), program, program.money_objective(), (), Brake(60.0))
    assert pricing.solve()
    assert all(pricing.columns.complete)
    return pricing


def cases(count: int) -> list[Case]:
    found = []
    for seed in range(200):
        data = random_data(seed, fields=2 + seed % 2, years=3, practices=4, tight=0.6)
        try:
            clean = select(data, Goal(kind="least_burden"))
        except NoPlanError:
            continue
        pools = [exhaustive(data, field) for field in range(len(data.fields))]
        if np.prod([len(pool) for pool in pools], dtype=float) > 20_000:
            continue
        spent = float(data.discount.sum()) * data.limits.fixed_cost
        bound = solved(data).bound
        scale = max(1.0, abs(bound))
        best, _ = listed_best(data, pools)
        optimum, value = -(best + spent), -(clean.figures.present_value + spent)
        if optimum - bound > 1e-3 * scale and value - optimum > 1e-3 * scale:
            found.append(Case(data, optimum, bound, clean.paths, value, scale))
        if len(found) == count:
            break
    return found


CASES = cases(6)


def test_there_are_farms_to_try() -> None:
    assert len(CASES) == 6


@pytest.mark.parametrize("case", CASES)
def test_with_enough_work_the_bound_meets_the_best_of_all_plans(case: Case) -> None:
    branching = case.branching()
    end = branching.run(1e-9, ENOUGH)
    assert branching.cases > 1
    assert end.value == pytest.approx(case.optimum, abs=2e-6 * case.scale)
    assert end.bound == pytest.approx(case.optimum, abs=2e-6 * case.scale)


@pytest.mark.parametrize("case", CASES)
def test_less_work_gives_a_weaker_bound_that_still_holds(case: Case) -> None:
    ends = [case.run(solves) for solves in (0, 1, 2, 4, 8, 16, ENOUGH)]
    bounds = np.array([end.bound for end in ends])
    assert bounds[0] == case.bound
    assert (bounds >= case.bound).all()
    assert (bounds <= case.optimum + 2e-6 * case.scale).all()
    assert (np.diff(bounds) >= -1e-7 * case.scale).all()
    assert bounds[1] < bounds[-1]
    for end in ends:
        assert case.optimum - 2e-6 * case.scale <= end.value <= case.value
        assert end.bound <= end.value + 1e-9 * case.scale


@pytest.mark.parametrize("case", CASES)
def test_a_bound_never_passes_what_plans_with_other_sequences_may_cost(case: Case) -> None:
    gap = case.optimum - case.bound
    held = 0
    for keep in (0.1 * gap, 0.6 * gap, 3.0 * gap):
        end = case.run(ENOUGH, keep)
        assert case.bound <= end.bound <= case.bound + keep + 1e-9 * case.scale
        assert end.bound <= case.optimum + 2e-6 * case.scale
        held += end.bound < case.optimum - 1e-4 * case.scale
    assert held >= 2  # those with too few sequences prove no more than they may


@pytest.mark.parametrize("case", CASES)
def test_the_plan_that_comes_by_is_one_sequence_a_field(case: Case) -> None:
    branching = case.branching()
    end = branching.run(1e-9, ENOUGH)
    store = branching.pricing.columns
    assert [int(store.field[column]) for column in end.columns] == list(range(len(case.data.fields)))
