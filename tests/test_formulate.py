"""Rows of the selection program against sums written out for one plan."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from strategies import random_data

from rotation_opt.arrays import SelectionData
from rotation_opt.features import features
from rotation_opt.formulate import Program
from rotation_opt.sequences import Grower, exhaustive


@pytest.fixture
def data() -> SelectionData:
    return random_data(4, fields=3, years=3, practices=5, tight=1.0)


def first_plan(data: SelectionData, program: Program) -> tuple[list[tuple[int, ...]], np.ndarray]:
    """First sequence of every field, and what the plan needs of every limit."""
    pools = [exhaustive(data, field) for field in range(len(data.fields))]
    paths = [tuple(int(p) for p in pool.paths[-1]) for pool in pools]
    totals = sum(features(data, program.space, pool)[-1] for pool in pools)
    return paths, program.need(np.asarray(totals)[None, :])[:, 0]


def test_labour_rows_add_up_hours_of_both_calendar_years(data: SelectionData) -> None:
    program = Program(data, data.limits, every_row=True)
    paths, need = first_plan(data, program)
    rows = [n for n, row in enumerate(program.rows) if row.family == "labour"]
    assert len(rows) == (data.years + 1) * 24
    total = 0.0
    for path, land in zip(paths, data.fields, strict=True):
        before = land.history[-1]
        for practice in path:
            if practice < 0:
                continue
            total += land.area_ha * data.labour_h[data.pair_index[before, practice]].sum()
            before = practice
    assert need[rows].sum() == pytest.approx(total)


def test_land_shares_count_hectares_of_members(data: SelectionData) -> None:
    program = Program(data, data.limits)
    paths, need = first_plan(data, program)
    rows = [n for n, row in enumerate(program.rows) if row.family == "largest_shares"]
    member = data.limits.largest[0].member
    for year, row in enumerate(rows):
        hectares = sum(
            land.area_ha
            for path, land in zip(paths, data.fields, strict=True)
            if path[year] >= 0 and member[path[year]]
        )
        assert need[row] == pytest.approx(hectares)


def test_rows_that_no_plan_can_break_are_left_out_without_harm(data: SelectionData) -> None:
    roomy = replace(
        data.limits, labour_h=np.full(24, 1e9), machine_h=np.full_like(data.limits.machine_h, 1e9)
    )
    families = {row.family for row in Program(data, roomy).rows}
    assert not families & {"labour", "machines"}
    assert {"labour", "machines"} <= {row.family for row in Program(data, roomy, every_row=True).rows}


def test_autumn_work_before_the_plan_is_paid_in_the_first_plan_year(data: SelectionData) -> None:
    program = Program(data, data.limits, every_row=True)
    extra = {key: program.variables[n].year for key, n in program.index.items() if key[0] == "extra"}
    assert {year for (_, when, _), year in extra.items() if when == 0} <= {0}
    assert {year for (_, when, _), year in extra.items() if when == 1} <= {0}
    assert {year for (_, when, _), year in extra.items() if when == data.years} <= {data.years - 1}


def test_a_surplus_never_has_a_negative_price(data: SelectionData) -> None:
    program = Program(data, data.limits)
    rng = np.random.default_rng(0)
    duals = np.abs(rng.normal(size=len(program.rows))) * program.sense
    prices = program.prices(program.money_objective()[0], duals)
    assert (prices.product >= 0).all()
    assert (prices.labour >= 0).all()
    assert (prices.machine >= 0).all()


def test_prices_read_backwards_give_the_reduced_cost_of_a_column(data: SelectionData) -> None:
    program = Program(data, data.limits, burden_most=1.0)
    rng = np.random.default_rng(1)
    duals = np.abs(rng.normal(size=len(program.rows))) * program.sense * 10
    cost = program.money_objective()[0]
    grower = Grower(data)
    worth = grower.worth(program.prices(cost, duals))
    for field in range(len(data.fields)):
        grown = grower.grow(field, worth, width=10**6, keep=10**6)
        values = features(data, program.space, grown.pool)
        reduced = values @ cost - duals @ program.need(values)
        assert grown.worth == pytest.approx(-reduced, rel=1e-8, abs=1e-6)


def test_every_sentence_of_a_limit_takes_its_amount(data: SelectionData) -> None:
    program = Program(data, data.limits, burden_most=1.0, every_row=True)
    spoken = [row for row in program.rows if row.words]
    assert spoken
    for row in spoken:
        assert "12.5" in row.words.format("12.5")
        assert row.limit
        assert row.scale > 0


def test_hours_of_machines_are_the_same_where_only_those_needed_are_added_up() -> None:
    seen = 0
    for seed in range(4):
        data = random_data(seed)
        pool, space = exhaustive(data, 0), Program(data, data.limits).space
        plain = features(data, space, pool)
        assert np.array_equal(features(data, space, pool, Grower(data).machine_work), plain)
        seen += np.count_nonzero(space.part("machine", plain))
    assert seen > 0
