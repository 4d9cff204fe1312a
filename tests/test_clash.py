"""Limits that clash: the set named is a smallest one, held against a linear solver of its own."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import linprog
from small_farm import TABLES, small
from strategies import random_data

from rotation_opt.arrays import OutletData, SelectionData, ShareData
from rotation_opt.clash import broken
from rotation_opt.errors import NoPlanError
from rotation_opt.farm_arrays import selection_data
from rotation_opt.features import features
from rotation_opt.formulate import Goal, Program
from rotation_opt.groundwork import lay
from rotation_opt.say import in_words
from rotation_opt.select import evaluate, select
from rotation_opt.sequences import exhaustive

MONEY = Goal(kind="most_money")


def refused(data: SelectionData) -> NoPlanError | None:
    try:
        select(data, MONEY)
    except NoPlanError as fault:
        return fault
    return None


class Divisible:
    """Whether land that can be divided keeps some of the limits, by scipy's own solver."""

    def __init__(self, data: SelectionData) -> None:
        self.program = Program(data, data.limits, every_row=True)
        pools = [exhaustive(data, field) for field in range(len(data.fields))]
        values = np.vstack([features(data, self.program.space, pool) for pool in pools])
        owner = np.concatenate([np.full(len(pool), pool.field) for pool in pools])
        self.rows = np.hstack([self.program.need(values), self.program.recourse])
        choice = (owner[None, :] == np.arange(len(pools))[:, None]).astype(float)
        self.choice = np.hstack([choice, np.zeros((len(pools), len(self.program.variables)))])
        self.bounds = [(0, None)] * len(values) + [(0, v.upper) for v in self.program.variables]
        self.names = {row.limit for row in self.program.rows if row.words}

    def keeps(self, names: set[str]) -> bool:
        use = np.array([not row.words or row.limit in names for row in self.program.rows], dtype=bool)
        sign = -self.program.sense.astype(float)
        answer = linprog(
            np.zeros(self.rows.shape[1]),
            A_ub=(self.rows * sign[:, None])[use],
            b_ub=(self.program.rhs * sign)[use],
            A_eq=self.choice,
            b_eq=np.ones(len(self.choice)),
            bounds=self.bounds,
        )
        assert answer.status in {0, 2}
        return bool(answer.status == 0)


def named(text: str) -> set[str]:
    alone = re.search(r"This one alone cannot be kept: (.+?)\.(?: One|\n|$)", text)
    together = re.search(r"These cannot be kept together: (.+?)\.(?: One|\n|$)", text)
    found = alone or together
    return set(re.split(r", | and ", found[1])) if found else set()


def helping(text: str) -> set[str]:
    found = re.search(r"One would fit without (.+?)\.(?:\n|$)", text)
    return set(found[1].split(" or without ")) if found else set()


def clashing(count: int) -> list[tuple[SelectionData, str]]:
    """The first random farms on which not even land that can be divided keeps all limits."""
    found = []
    for seed in range(400):
        data = random_data(seed, fields=2 + seed % 2, years=3, practices=5, tight=0.9)
        fault = refused(data)
        if fault is not None and "No plan keeps all limits" in str(fault):
            found.append((data, str(fault)))
        if len(found) == count:
            break
    return found


def crossed() -> list[tuple[SelectionData, str]]:
    """Farms with a least share of what the largest share of others leaves no room for."""
    found = []
    for seed in range(40):
        data = random_data(seed, fields=3, years=3, practices=5, tight=0.3)
        half = np.arange(len(data.practice_keys)) % 2 == 1
        limits = replace(
            data.limits,
            largest=(
                ShareData(name="odd crops", member=half, share=0.3),
                ShareData(name="even crops", member=~half, share=0.5),
            ),
            least=(ShareData(name="all but idle land", member=np.arange(len(half)) > 0, share=0.6),),
        )
        fault = refused(replace(data, limits=limits))
        if fault is not None and "No plan keeps all limits" in str(fault):
            found.append((replace(data, limits=limits), str(fault)))
        if len(found) == 6:
            break
    return found


def test_the_set_named_is_a_smallest_one_and_what_would_help_does() -> None:
    sizes = set()
    for data, text in [*clashing(14), *crossed()]:
        land, names = Divisible(data), named(text)
        assert names
        assert names <= land.names
        sizes.add(len(names))
        assert not land.keeps(names)
        for name in names:
            assert land.keeps(names - {name}), name
        assert helping(text) == {name for name in land.names if land.keeps(land.names - {name})}
    assert 1 in sizes
    assert max(sizes) > 1


def free_farm() -> SelectionData:
    data = random_data(5, fields=3, years=3, practices=5, tight=0.0)
    assert refused(data) is None
    return data


def test_the_nearest_plan_falls_short_by_what_no_plan_can_grow() -> None:
    data = free_farm()
    product, promised = int(data.product_of.max()), 123_456.0
    outlet = OutletData(
        name="Mill",
        product=product,
        price_per_t=200.0,
        haul_per_t=0.0,
        least_t=np.array([0.0, promised, 0.0]),
        most_t=np.full(3, np.inf),
    )
    fault = refused(replace(data, limits=replace(data.limits, outlets=(outlet,))))
    grown = 0.0
    for field in range(len(data.fields)):
        pool = exhaustive(data, field)
        sold = np.append(data.product_of, -1)[pool.paths[:, 1]] == product
        grown += float((pool.tonnes[:, 1] * sold).max())
    assert grown > 1.0
    assert fault is not None
    assert fault.limits == (
        f"Mill is promised 123,456 t of product {product} in 2028: {promised - grown:,.0f} t short",
    )
    assert named(str(fault)) == helping(str(fault)) == {"the contract with Mill"}


def test_no_plan_of_whole_fields_says_what_the_nearest_one_breaks() -> None:
    data = free_farm()
    crops = np.arange(len(data.practice_keys)) > 0
    lands = tuple(
        replace(land, farmed=np.ones(3, bool), area_ha=area, allowed=np.ones_like(land.allowed))
        for land, area in zip(data.fields, (10.0, 11.0, 12.0), strict=True)
    )
    # just half of the land every year: fields that can be divided do it, whole ones cannot
    half = replace(
        data.limits,
        largest=(ShareData(name="crops", member=crops, share=0.49),),
        least=(ShareData(name="crops", member=crops, share=0.49),),
    )
    data = replace(data, fields=lands, limits=half)
    assert Divisible(data).keeps(Divisible(data).names)
    fault = refused(data)
    assert fault is not None
    assert str(fault).startswith("No plan of whole fields was found")
    assert len(fault.nearest) == 3
    assert fault.limits
    assert set(evaluate(data, fault.nearest).breaks) == set(fault.limits)


def test_of_one_limit_only_the_three_worst_are_said_the_worst_first() -> None:
    data = free_farm()
    limits = replace(data.limits, labour_h=np.full(24, 10.0), cash_floor=0.0)
    program = Program(data, limits, every_row=True)
    slack = np.zeros(len(program.rows))
    hours = [n for n, row in enumerate(program.rows) if row.family == "labour"]
    cash = next(n for n, row in enumerate(program.rows) if row.family == "cash")
    slack[hours[:5]] = [1.0, 4.0, 2.0, 5.0, 3.0]
    slack[cash] = 10.0 * program.rows[cash].scale
    said = broken(program, slack)
    assert said == [
        program.rows[n].words.format(in_words(slack[n]) + unit)
        for n, unit in ((cash, ""), (hours[3], " h"), (hours[1], " h"), (hours[4], " h"))
    ]
    assert broken(program, np.full(len(slack), 1e-9)) == []


@pytest.mark.parametrize(
    ("amount", "words"),
    [(1234.5, "1,234"), (10.0, "10"), (3.26, "3.3"), (0.5, "0.5"), (0.0312, "0.031")],
)
def test_amounts_have_as_many_digits_as_a_grower_would_say(amount: float, words: str) -> None:
    assert in_words(amount) == words


def test_where_nothing_makes_a_rotation_the_machines_that_are_missing_are_told() -> None:
    farm = small()
    machines = {
        **farm.machines,
        "field_cultivator": replace(farm.machines["field_cultivator"], status="none"),
    }
    data = selection_data(lay(replace(farm, machines=machines), TABLES))
    with pytest.raises(NoPlanError) as fault:
        select(data, Goal(kind="most_money"))
    first, *reasons = fault.value.limits
    assert first.startswith("succession rules, bans and dates on field ")
    assert any("it needs a field cultivator, which you neither own nor can hire" in each for each in reasons)
    assert not any(each in str(fault.value) for each in TABLES.practices if "_" in each)
