"""Owning a machine against hiring it: the sums by hand, and the best plan with it against that without."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from small_farm import TABLES, small, with_machine
from test_farm import SMALL

import rotation_opt
from rotation_opt import buying, machinery
from rotation_opt.alternatives import present_paths
from rotation_opt.arrays import SelectionData
from rotation_opt.buying import areas_of_pairs, carried, machine_cases, own_or_hire
from rotation_opt.errors import NoPlanError
from rotation_opt.farm_arrays import selection_data
from rotation_opt.finance import partial_budget
from rotation_opt.formulate import Goal
from rotation_opt.groundwork import Groundwork, lay
from rotation_opt.ownership import Work, bought, machine_case, owning
from rotation_opt.records import BuyingChoice, Farm, Outlet, Purchase
from rotation_opt.select import Selected, evaluate, select
from rotation_opt.weeds.response import BY_PAIR

DEMO = rotation_opt.read_farm(rotation_opt.example_farm("tamarack_hollow"))
HAY_BUYER = Outlet(
    name="horse stable", crop="alfalfa", price_per_t=400.0, least_t=0.0, most_t=None, years=(), haul_per_t=5.0
)
MONEY = Goal(kind="most_money")


def number(quantity: str, machine: str = "round_baler") -> float:
    return TABLES.number("machine", machine, quantity)


@cache
def worked_out(base: str) -> tuple[Groundwork, SelectionData]:
    """The demo farm as it is, its baler hired by the bale, and with a baler of its own."""
    ground = (
        lay(DEMO, TABLES)
        if base == "hire"
        else lay(bought(DEMO, ("round_baler",)), TABLES, like=worked_out("hire")[0])
    )
    return ground, selection_data(ground)


def hay_farm(**baler: object) -> Farm:
    """Three small fields and a good price for hay; made up."""
    return with_machine(small(outlets=(HAY_BUYER,)), "round_baler", **baler)


def chosen(base: Farm) -> tuple[Groundwork, SelectionData, Selected]:
    ground = lay(base, TABLES)
    data = selection_data(ground)
    return ground, data, select(data, MONEY)


@cache
def hired_hay() -> tuple[Groundwork, SelectionData, Selected]:
    return chosen(hay_farm(status="hire", buy=True))


# ---------------------------------------------------------------- what owning costs


def test_owning_is_capital_recovery_with_one_per_cent_for_taxes_insurance_and_housing() -> None:
    """By hand: 35,000 USD, 12 years, 4 %; remaining value of a baler (0.852 - 0.101 sqrt(12))^2 = 25.2 %."""
    cost = owning("round_baler", DEMO, TABLES, 25.0)
    remaining = 35_000 * (0.852 - 0.101 * math.sqrt(12)) ** 2
    recovery = 0.04 / (1 - 1.04**-12)
    assert cost.remaining == pytest.approx(remaining)
    assert cost.remaining / 35_000 == pytest.approx(0.252, abs=0.0005)
    by_hand = (35_000 - remaining) * recovery + remaining * 0.04 + 0.01 * (35_000 + remaining) / 2
    assert cost.a_year == pytest.approx(by_hand)


def test_own_terms_go_before_the_tables_and_a_share_pays_its_part() -> None:
    terms = Purchase(price=42_000.0, years_kept=8.0, interest=0.07)
    mine = replace(DEMO.machines["round_baler"], terms=terms)
    whole = owning("round_baler", replace(DEMO, machines={**DEMO.machines, "round_baler": mine}), TABLES, 0.0)
    left = 42_000 * (0.852 - 0.101 * math.sqrt(8)) ** 2
    assert whole.a_year == pytest.approx(
        machinery.ownership_cost(
            42_000, left, 0.07, 8, TABLES.number("money", "any", "machine_overhead_share")
        )
    )
    part = replace(mine, share=0.25)
    quarter = owning(
        "round_baler", replace(DEMO, machines={**DEMO.machines, "round_baler": part}), TABLES, 0.0
    )
    assert quarter.a_year == pytest.approx(whole.a_year / 4)


def test_every_machine_of_the_tables_can_be_reckoned_and_loses_value_with_the_years() -> None:
    for key in TABLES.machines:
        early, late = (
            replace(DEMO.machines[key], terms=Purchase(price=None, years_kept=years, interest=None))
            for years in (5.0, 15.0)
        )
        worth = [
            owning(key, replace(DEMO, machines={**DEMO.machines, key: each}), TABLES, 100.0)
            for each in (early, late)
        ]
        assert 0.0 < worth[1].remaining < worth[0].remaining < worth[0].price
        assert worth[1].a_year < worth[0].a_year  # spread over more years


# ---------------------------------------------------------------- break-even


def test_at_the_break_even_area_the_partial_budget_comes_to_nothing() -> None:
    """In the form of E16 (textbook chapter on break-even use of machinery), for the demo farm's baler."""
    area, hours, bales = 61.7, 23.5, 410.0
    case = machine_case("round_baler", DEMO, TABLES, Work(area_ha=area, hours=hours, units=bales))
    per_ha = (14.0 * bales / area, case.running / area)  # 14 USD a bale stands in the farm file
    assert case.hired == pytest.approx(14.0 * bales)
    assert case.break_even_ha == pytest.approx(case.owning / (per_ha[0] - per_ha[1]))
    for share, sign in ((0.5, -1), (1.0, 0), (2.0, 1)):
        used = share * case.break_even_ha
        gain = partial_budget(
            added_income=0.0,
            reduced_cost=per_ha[0] * used,
            reduced_income=0.0,
            added_cost=case.owning + per_ha[1] * used,
        )
        assert np.sign(round(gain, 6)) == sign


def test_a_combine_worn_by_just_the_break_even_area_costs_as_much_as_hire() -> None:
    """More hours leave less to sell it for: owning is worked out anew at that area."""
    work = Work(area_ha=80.0, hours=60.0, units=80.0)
    case = machine_case("combine", DEMO, TABLES, work)
    assert 0.0 < case.break_even_ha < math.inf
    share = case.break_even_ha / work.area_ha
    there = machine_case(
        "combine", DEMO, TABLES, Work(area_ha=case.break_even_ha, hours=60.0 * share, units=80.0 * share)
    )
    assert there.owning > case.owning
    assert there.owning + there.running == pytest.approx(there.hired)


def test_running_cost_is_fuel_repairs_tractor_and_driver_by_hand() -> None:
    area, hours = 60.0, 24.0
    case = machine_case("round_baler", DEMO, TABLES, Work(area_ha=area, hours=hours, units=1.0))
    fuel = (
        area * number("fuel_l_ha") * DEMO.costs.get("fuel_per_l", TABLES.number("money", "any", "fuel_per_l"))
    )
    life = number("life_h")
    repairs = number("repair_rf1") * (life / 1000.0) ** number("repair_rf2") * number("list_price") / life
    tractor = TABLES.number("money", "any", "tractor_repair_per_h")
    driver = number("labour_per_machine_hour") * DEMO.labour.wage_per_h
    lubricants = TABLES.number("money", "any", "lubrication_share")
    assert case.running == pytest.approx(fuel * (1 + lubricants) + hours * (repairs + tractor + driver))


def test_a_machine_hired_for_less_than_it_costs_to_run_never_pays() -> None:
    cheap = replace(DEMO.machines["round_baler"], hire_rate=0.5)
    base = replace(DEMO, machines={**DEMO.machines, "round_baler": cheap})
    case = machine_case("round_baler", base, TABLES, Work(area_ha=60.0, hours=24.0, units=400.0))
    assert case.break_even_ha == math.inf


# ---------------------------------------------------------------- the demo farm


def test_on_the_demo_farm_owning_the_baler_changes_the_money_by_its_partial_budget() -> None:
    """The same plan settled twice, once with the baler hired and once owned, against the sum by hand.

    Beside hire and running cost, own baling takes hours of the family where they are short: help is paid
    extra for those, which is added by hand too.
    """
    (ground, data), (own_ground, own_data) = worked_out("hire"), worked_out("own")
    plan = present_paths(data, DEMO)
    assert own_data.practice_keys == data.practice_keys
    before, after = evaluate(data, plan), evaluate(own_data, plan)
    (case,) = (each for each in machine_cases(ground, data, plan) if each.machine == "round_baler")
    assert case.area_ha > 0
    labour = DEMO.labour
    own_h, found_h = np.array(labour.hours_by_half_month), np.array(labour.extra_hours_by_half_month)
    extra = [
        np.clip(figures.labour_h - own_h, 0.0, found_h).sum() * (labour.extra_wage_per_h - labour.wage_per_h)
        for figures in (before, after)
    ]
    years = DEMO.years
    by_hand = partial_budget(
        added_income=0.0,
        reduced_cost=case.hired,
        reduced_income=0.0,
        added_cost=case.running + (extra[1] - extra[0]) / years,
    )
    assert float((after.net - before.net).mean()) == pytest.approx(by_hand, abs=0.01)
    # so little hay is baled now that hiring is the cheaper way, on both counts
    assert by_hand - case.owning < 0
    assert case.area_ha < case.break_even_ha
    (owned,) = (each for each in machine_cases(own_ground, own_data, plan) if each.machine == "round_baler")
    assert (owned.hired, owned.running, owned.break_even_ha) == pytest.approx(
        (case.hired, case.running, case.break_even_ha)
    )


# ---------------------------------------------------------------- the decision


def gain_of_the_same_plan() -> float:
    """What buying brings where nothing else changes."""
    ground, data, base = hired_hay()
    own = lay(bought(ground.farm, ("round_baler",)), TABLES)
    after = evaluate(selection_data(own), base.paths)
    assert not after.breaks
    (case,) = machine_cases(ground, data, base.paths)
    worth = (after.present_value - base.figures.present_value) / data.discount.sum()
    return float(worth) - case.owning


def test_buying_is_the_best_plan_with_it_less_owning_against_the_best_without() -> None:
    ground, data, base = hired_hay()
    nothing, choice = own_or_hire(ground, data, base)
    assert nothing == BuyingChoice(
        machines=(), net=float(base.figures.net.mean()), owning=0.0, gain=0.0, gap=base.gap
    )
    _, _, afresh = chosen(bought(ground.farm, ("round_baler",)))
    expected = (afresh.figures.present_value - base.figures.present_value) / data.discount.sum()
    assert choice.machines == ("round_baler",)
    assert choice.gain == pytest.approx(expected - choice.owning, rel=1e-6, abs=1.0)
    assert choice.gain >= gain_of_the_same_plan() - 1e-6


def test_the_price_decides_and_what_it_costs_is_taken_off_to_the_cent() -> None:
    ground, data, base = hired_hay()
    found = []
    for price in (500.0, 5_000.0, 29_000.0, 100_000.0):
        mine = replace(
            ground.farm.machines["round_baler"], terms=Purchase(price=price, years_kept=10.0, interest=0.05)
        )
        priced = replace(
            ground, farm=replace(ground.farm, machines={**ground.farm.machines, "round_baler": mine})
        )
        _, choice = own_or_hire(priced, data, base)
        found.append(choice)
    *cheap, dear = found
    assert all(each.searched and each.gain > 0 for each in cheap)
    # with cash enough, what it costs does not change which plan is best with it
    assert [each.gain + each.owning for each in cheap] == pytest.approx(
        [cheap[0].gain + cheap[0].owning] * len(cheap)
    )
    # so dear that no plan can pay for it, whatever is grown: none is looked for
    assert not dear.searched
    assert 0.0 > dear.gain >= cheap[0].gain + cheap[0].owning - dear.owning - 1e-6


def paid(base: Farm, machines: tuple[str, ...], cost: float) -> Farm:
    """The farm with machines bought and what owning them costs among its fixed cost."""
    return replace(bought(base, machines), fixed_cost=base.fixed_cost + cost)


def test_what_a_machine_costs_is_held_against_the_least_cash_of_every_year() -> None:
    """The same as planning the farm that owns it and bears its cost, with a floor that this cost breaks."""
    terms = Purchase(price=25_000.0, years_kept=10.0, interest=0.05)
    farm = hay_farm(status="hire", buy=True, hire_rate=40.0, terms=terms)
    cost = owning("round_baler", farm, TABLES, 0.0).a_year
    _, _, free = chosen(bought(farm, ("round_baler",)))
    floor = float(free.figures.net.min()) - 0.5 * cost
    asked = replace(farm, cash_floor=floor)
    ground, data, base = chosen(asked)
    _, choice = own_or_hire(ground, data, base)
    _, _, held = chosen(paid(asked, ("round_baler",), cost))
    discounted = float(data.discount.sum())
    # without a floor it would be the plan that owning costs nothing to
    assert held.figures.present_value < free.figures.present_value - cost * discounted - 1.0
    assert choice.searched
    worth = base.figures.present_value + choice.gain * discounted
    assert worth == pytest.approx(held.figures.present_value, rel=1e-6, abs=1.0)
    assert choice.owning == pytest.approx(cost)
    assert choice.net == pytest.approx(float(held.figures.net.mean()) + cost, rel=1e-6, abs=1.0)


def test_a_machine_the_least_cash_leaves_no_room_for_is_said_to_have_no_plan() -> None:
    mine = Purchase(price=400_000.0, years_kept=10.0, interest=0.05)
    asked = hay_farm(status="hire", buy=True, terms=mine)
    _, _, base = chosen(asked)
    floor = float(base.figures.net.min()) - 1_000.0
    _, choice = own_or_hire(*chosen(replace(asked, cash_floor=floor)))
    assert choice.gain == -math.inf
    assert "cash" in choice.why_not
    assert "\n" not in choice.why_not


def test_a_combine_is_paid_by_the_hours_of_the_plan_and_that_plan_keeps_the_least_cash(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    terms = Purchase(price=20_000.0, years_kept=10.0, interest=0.05)
    asked = with_machine(small(), "combine", status="hire", buy=True, hire_rate=150.0, terms=terms)
    unused = owning("combine", asked, TABLES, 0.0).a_year
    _, first = own_or_hire(*chosen(asked))
    assert first.searched and first.owning > unused + 1.0
    _, _, cheapest = chosen(paid(asked, ("combine",), unused))
    # there is just room for the combine as long as it stands still
    floor = float(cheapest.figures.net.min()) - 1e-3
    searched: list[Selected] = []

    def counted(*args: Any, **options: Any) -> Selected:
        searched.append(select(*args, **options))
        return searched[-1]

    ground, data, base = chosen(replace(asked, cash_floor=floor))
    monkeypatch.setattr(buying, "select", counted)
    _, second = own_or_hire(ground, data, base)
    assert len(searched) > 1
    assert second.why_not or second.owning > unused + 1.0
    if not second.why_not:
        _, _, held = chosen(paid(replace(asked, cash_floor=floor), ("combine",), second.owning))
        assert second.net - second.owning <= float(held.figures.net.mean()) * (1 + 1e-3) + 1.0


# ---------------------------------------------------------------- what is the same is not worked out again


@pytest.mark.parametrize("before", ["hire", "none"])
def test_groundwork_taken_over_is_that_worked_out_anew(before: str) -> None:
    old = lay(hay_farm(status=before, buy=True), TABLES)
    own = bought(old.farm, ("round_baler",))
    afresh, taken = lay(own, TABLES), lay(own, TABLES, like=old)
    assert (taken.response is old.response) == (before == "hire")
    assert taken.programmes == afresh.programmes
    assert taken.response.pairs == afresh.response.pairs
    assert len(set(taken.response.group.tolist())) >= len(set(afresh.response.group.tolist()))
    for name in {*BY_PAIR} - {"group"}:
        assert getattr(taken.response, name) == pytest.approx(getattr(afresh.response, name), nan_ok=True)
    assert np.array_equal(taken.pair_index, afresh.pair_index)
    assert np.array_equal(taken.succession.may_follow, afresh.succession.may_follow)
    assert taken.budgets.cost_per_ha == pytest.approx(afresh.budgets.cost_per_ha)


def test_every_set_of_machines_for_sale_is_planned() -> None:
    base = with_machine(hay_farm(status="hire", buy=True), "plough", status="hire", buy=True)
    ground, data, plan = chosen(base)
    nothing, *others = own_or_hire(ground, data, plan)
    assert nothing.machines == ()
    assert {each.machines for each in others} == {
        ("plough",),
        ("round_baler",),
        ("plough", "round_baler"),
    }
    assert [each.gain for each in others] == sorted((each.gain for each in others), reverse=True)


def test_a_machine_that_cannot_be_hired_opens_new_ways_to_grow_things() -> None:
    ground, data, base = chosen(hay_farm(status="none", buy=True))
    assert "alfalfa_1" not in data.practice_keys
    (_, choice) = own_or_hire(ground, data, base)
    assert choice.net > float(base.figures.net.mean())
    assert machine_cases(ground, data, base.paths) == ()


def test_where_no_plan_keeps_the_limits_it_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    ground, data, base = hired_hay()

    def none(*_: object, **__: object) -> Selected:
        raise NoPlanError("Too few hours in June.")

    monkeypatch.setattr(buying, "select", none)
    _, choice = own_or_hire(ground, data, base)
    assert choice.why_not == "Too few hours in June."


def test_nothing_is_planned_where_nothing_is_for_sale() -> None:
    ground, data, base = hired_hay()
    mine = replace(ground.farm.machines["round_baler"], buy=False)
    kept = replace(ground, farm=replace(ground.farm, machines={**ground.farm.machines, "round_baler": mine}))
    assert own_or_hire(kept, data, base) == ()


def test_sequences_handed_on_can_be_followed_and_the_plan_is_among_them() -> None:
    ground, data, base = hired_hay()
    new = selection_data(lay(bought(ground.farm, ("round_baler",)), TABLES))
    pools = carried(base.pools, data, new)
    plans = [
        tuple(tuple(int(p) for p in pool.paths[pool.plans[number]]) for pool in pools)
        for number in range(len(pools[0].plans))
    ]
    keys = [tuple(tuple(new.practice_keys[p] for p in path) for path in plan) for plan in plans]
    assert tuple(tuple(data.practice_keys[p] for p in path) for path in base.paths) in keys
    for pool in pools:
        assert (pool.pairs >= 0).all()
    # a farm without the baler can follow no hay any more
    without = selection_data(lay(hay_farm(status="none"), TABLES))
    for pool in carried(base.pools, data, without):
        grown = {without.practice_keys[p] for p in np.unique(pool.paths)}
        assert not grown & {"alfalfa_1", "alfalfa_2"}


def test_areas_of_pairs_add_up_to_the_land_of_all_years() -> None:
    _, data, base = hired_hay()
    assert sum(areas_of_pairs(data, base.paths).values()) == pytest.approx(24.0 * 3)


# ---------------------------------------------------------------- shared machines


def test_a_shared_machine_has_its_part_of_the_hours() -> None:
    whole, half = (lay(with_machine(small(), "plough", share=share), TABLES) for share in (1.0, 0.5))
    at = whole.hours.machines.index("plough")
    assert half.capacity.machine[at] == pytest.approx(0.5 * whole.capacity.machine[at])
    others = [m for m in range(len(whole.hours.machines)) if m != at]
    assert half.capacity.machine[others] == pytest.approx(whole.capacity.machine[others])


# ---------------------------------------------------------------- the farm file


def read(text: str, folder: Path) -> Farm:
    path = folder / "my_farm.toml"
    path.write_text(f"{SMALL}[[machine]]\n{text}", encoding="utf-8")
    return rotation_opt.read_farm(path)


@pytest.mark.parametrize(
    ("more", "status"),
    [
        ("", "none"),
        ("also_hire = true", "hire"),
        ("hire_rate_per_bale = 12", "hire"),
        ("hire_cap_acres = 100", "hire"),
        ("comes_late_days = 4", "hire"),
    ],
)
def test_until_it_is_bought_a_machine_is_hired_if_the_file_says_how(
    more: str, status: str, tmp_path: Path
) -> None:
    mine = read(f'name = "baler"\nstatus = "buy"\n{more}\n', tmp_path).machines["round_baler"]
    assert (mine.status, mine.buy, mine.also_hire) == (status, True, False)
    assert mine.terms is None
    own = bought(read(f'name = "baler"\nstatus = "buy"\n{more}\n', tmp_path), ("round_baler",))
    assert own.machines["round_baler"].status == "own"
    assert own.machines["round_baler"].also_hire == (status == "hire")


def test_price_years_interest_and_share_are_read(tmp_path: Path) -> None:
    text = 'name = "baler"\nstatus = "buy"\nprice = 42000\nyears_kept = 8\ninterest_pct = 7\nshare_pct = 50\n'
    mine = read(text, tmp_path).machines["round_baler"]
    assert mine.terms == Purchase(price=42_000.0, years_kept=8.0, interest=pytest.approx(0.07))
    assert mine.share == pytest.approx(0.5)
