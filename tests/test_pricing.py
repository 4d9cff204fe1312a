"""Column generation against the linear program over every sequence listed."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np
import pytest
from strategies import random_data

from rotation_opt import pricing as room
from rotation_opt.arrays import SelectionData
from rotation_opt.brake import Brake
from rotation_opt.features import features
from rotation_opt.formulate import Program
from rotation_opt.pricing import Pricing
from rotation_opt.sequences import Grower, exhaustive
from rotation_opt.solver import Outcome, problem, run

SEEDS = range(12)


@contextmanager
def nothing_listed() -> Iterator[None]:
    """Fields are priced however few sequences they have, and begin with very few."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(room, "LISTED", 3)
        patch.setattr(room, "FIRST_WIDTH", 2)
        yield


class Listed:
    """Every sequence of a farm as a column."""

    def __init__(self, data: SelectionData, program: Program) -> None:
        pools = [exhaustive(data, field) for field in range(len(data.fields))]
        values = np.vstack([features(data, program.space, pool) for pool in pools])
        self.program, (plan_cost, self.recourse_cost) = program, program.money_objective()
        self.need, self.cost = program.need(values).T, values @ plan_cost
        self.field = np.concatenate([np.full(len(pool), pool.field) for pool in pools])
        self.paths = np.vstack([pool.paths for pool in pools])

    def solve(self, use: np.ndarray) -> Outcome:
        built = problem(
            self.program,
            self.need[use].T,
            self.cost[use],
            self.recourse_cost,
            self.field[use],
            integer=False,
        )
        return run(built, integer=False)


def farm(seed: int) -> tuple[Pricing, Listed]:
    data = random_data(seed, fields=3, years=3, practices=6, tight=0.4)
    program = Program(data, data.limits)
    with nothing_listed():
        pricing = Pricing(Grower(data), program, program.money_objective(), (), Brake(60.0))
        pricing.solve()
    return pricing, Listed(data, program)


def solved() -> list[tuple[Pricing, Listed]]:
    return [pair for pair in map(farm, SEEDS) if pair[0].met]


@pytest.mark.parametrize("seed", SEEDS)
def test_the_bound_is_the_linear_program_over_all_sequences(seed: int) -> None:
    pricing, listed = farm(seed)
    outcome = listed.solve(np.arange(len(listed.cost)))
    if outcome.status == "infeasible":
        assert not pricing.met
        assert pricing.bound == np.inf
        return
    assert pricing.met
    scale = max(1.0, abs(outcome.objective))
    assert pricing.bound <= outcome.objective + 1e-7 * scale
    assert pricing.bound >= outcome.objective - 1e-5 * scale
    assert pricing.value == pytest.approx(outcome.objective, rel=1e-5)


def test_some_farms_are_priced_without_all_their_sequences() -> None:
    pairs = solved()
    assert len(pairs) >= 4
    assert any(len(pricing.columns) < 0.7 * len(listed.cost) for pricing, listed in pairs)


def test_within_holds_every_sequence_near_enough() -> None:
    new, outside, less = 0, 0, 0
    for pricing, listed in solved():
        reduced = listed.cost - listed.need @ pricing.duals - pricing.field_duals[listed.field]
        before = len(pricing.columns)
        for share, most in ((0.2, 15), (0.2, 10**6), (0.7, 10**6)):
            wanted = float(np.quantile(reduced, share)) + 1e-6
            reached = pricing.within(wanted, most)
            assert reached == wanted if most == 10**6 else 0.0 <= reached <= wanted
            less += reached < wanted
            for row in np.flatnonzero(reduced <= reached) if reached > 0.0 else ():
                assert (int(listed.field[row]), listed.paths[row].tobytes()) in pricing.columns.keys
        new += len(pricing.columns) - before
        outside += len(listed.cost) - len(pricing.columns)
    assert new
    assert outside
    assert less


def test_a_part_holds_the_other_fields_and_chooses_its_own_among_all_sequences() -> None:
    gained = 0
    for pricing, listed in solved():
        columns = pricing.columns
        order = np.lexsort((pricing.reduced_costs(), columns.field))
        plan = [int(order[columns.field[order] == field][0]) for field in range(3)]
        with nothing_listed():
            part = pricing.part(plan, [1], np.arange(len(columns)))
            met = part.solve()
        held = {key for key in part.columns.keys if key[0] != 1}
        assert held == {columns.keys[plan[0]], columns.keys[plan[2]]}
        use = [
            row
            for row in range(len(listed.cost))
            if listed.field[row] == 1 or (int(listed.field[row]), listed.paths[row].tobytes()) in held
        ]
        outcome = listed.solve(np.array(use))
        assert met == (outcome.status == "optimal")
        if met:
            gained += 1
            assert part.bound == pytest.approx(outcome.objective, rel=1e-5)
            assert part.bound >= pricing.bound - 1e-5 * abs(pricing.bound)
    assert gained
