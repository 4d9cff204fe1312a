"""What a plan leaves: each line against a sum done by hand, and that the last year cannot be played with."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from functools import cache
from itertools import pairwise

import fake_result
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_farm import KEPT, TABLES, patch, plain, small, with_field
from whole_page import plan_page

from rotation_opt.alternatives import describe, present_paths
from rotation_opt.arrays import NOT_FARMED, SelectionData
from rotation_opt.bands import Bands
from rotation_opt.carry_over import (
    Following,
    cost_of_weeds,
    nitrogen_saved,
    stand_worth,
    stand_years_left,
)
from rotation_opt.farm_arrays import selection_data
from rotation_opt.formulate import Goal
from rotation_opt.groundwork import Groundwork, lay
from rotation_opt.records import CarryOver, Farm, LeftOver, Outlet
from rotation_opt.report import result_json
from rotation_opt.report.terminal import render
from rotation_opt.select import evaluate, select
from rotation_opt.sequences import trace

EAST, WEST, NORTH = range(3)
CARELESS, CAREFUL = "soybean_narrow", "soybean"  # soybeans too close to be hoed, and hoed ones
KEEP = (*KEPT, CARELESS, "winter_wheat_clover", "red_clover_1")
Paths = tuple[tuple[int, ...], ...]


def the_farm() -> Farm:
    """The small farm with weeds all over one field."""
    return with_field(small(keep=KEEP), "East", patches=(patch(10.0, 20.0),))


@cache
def laid() -> tuple[Groundwork, SelectionData]:
    ground = lay(the_farm(), TABLES)
    return ground, selection_data(ground)


def with_farm(farm: Farm) -> tuple[Groundwork, SelectionData]:
    """The same seasons for a farm that differs in leases, shares or money only."""
    ground = replace(laid()[0], farm=farm)
    return ground, selection_data(ground)


def path(*keys: str) -> tuple[int, ...]:
    index = laid()[0].practice_list.index
    return tuple(index[key] if key else NOT_FARMED for key in keys)


def as_now(ground: Groundwork, data: SelectionData, **east: tuple[int, ...]) -> Paths:
    paths = present_paths(data, ground.farm)
    return (east.get("east", paths[EAST]), *paths[1:])


def left(laid_out: tuple[Groundwork, SelectionData], *plans: Paths) -> list[LeftOver]:
    following = Following(*laid_out, plans)
    return [following.left(paths) for paths in plans]


def practice(key: str):  # type: ignore[no-untyped-def]
    return TABLES.practices[key]


# ---------------------------------------------------------------- weeds left


def test_cost_of_weeds_is_that_of_a_sum_done_by_hand() -> None:
    # year 1: 20 shoots at 0.02 are a strength of 0.4; with at most half lost 0.4 / (1 + 0.8) = 2/9 of the
    # patch, which is 0.45 of the field: 0.1 lost of 11,000, a year later, at 10 % interest: 1,000
    # year 2: 10 shoots at 0.01 are 0.1; 0.1 / (1 + 0.1) = 1/11, of the field 0.45/11 of 2,662, two years
    # later: 2,200 * 0.45 / 11 = 90
    cost = cost_of_weeds(
        np.array([[[20.0]], [[10.0]]]),
        loss_index=np.array([[0.02], [0.01]]),
        loss_most=np.array([[0.5], [1.0]]),
        infested_share=np.array([0.45]),
        crop_worth=np.array([11000.0, 2662.0]),
        interest_rate=0.1,
    )
    assert cost == pytest.approx([1090.0])


def test_the_weed_line_of_a_plan_is_that_of_its_seasons_followed_one_by_one() -> None:
    ground, data = laid()
    ground = replace(ground, farm=replace(ground.farm, costs={**ground.farm.costs, "interest_rate": 0.05}))
    paths = as_now(ground, data)
    by_hand = 0.0
    for field, here in enumerate(paths):
        land = data.fields[field]
        keys = [ground.farm.fields[field].history[-1], *(data.practice_keys[p] for p in here)]
        keys += ground.farm.fields[field].as_now  # three years as now, and three more
        reserve = float(land.start_reserve[0, 0])
        for year, (before, this) in enumerate(pairwise(keys)):
            q = int(ground.pair_index[path(before)[0], path(this)[0]])
            counted = float(data.count_growth[q, 0, 0]) * reserve
            counted /= 1.0 + float(data.count_crowding[q, 0, 0]) * reserve
            shoots = float(data.count_shoots[q, 0, 0]) * counted ** float(data.shoot_power[0, 0])
            reserve = float(data.growth[q, 0, 0]) * reserve / (1.0 + float(data.crowding[q, 0, 0]) * reserve)
            if year < 3:
                continue
            index, most = (float(table[path(this)[0], 0]) for table in (data.loss_index, data.loss_most))
            lost = float(land.infested_share[0]) * index * shoots / (1.0 + index * shoots / most)
            price = ground.budgets.price_per_t[TABLES.practices[this].crop] - float(data.haul_per_t[q])
            tonnes = land.area_ha * land.yield_ratio * float(data.yield_t_ha[q])
            by_hand += lost * tonnes * price / 1.05 ** (year - 2)
    (found,) = left((ground, data), paths)
    assert by_hand > 100.0
    assert found.weeds_cost[1] == pytest.approx(by_hand, rel=1e-9)
    assert found.weeds_cost[0] < found.weeds_cost[1] < found.weeds_cost[2]


def test_land_without_weeds_has_no_weed_line() -> None:
    clean = replace(the_farm(), fields=tuple(replace(field, patches=()) for field in the_farm().fields))
    ground = lay(clean, TABLES)
    data = selection_data(ground)
    assert left((ground, data), as_now(ground, data))[0].weeds_cost == (0.0, 0.0, 0.0)


def test_the_landlord_bears_his_share_of_the_loss_and_a_crop_nobody_buys_loses_nothing() -> None:
    farm = the_farm()
    paths = as_now(*laid())
    (owned,) = left(laid(), paths)
    halves = replace(farm, fields=tuple(replace(field, landlord_share=0.5) for field in farm.fields))
    (shared,) = left(with_farm(halves), paths)
    # less than half is left, since the grower would have hauled all of it
    assert 0.3 * owned.weeds_cost[1] < shared.weeds_cost[1] <= 0.5 * owned.weeds_cost[1]
    unsold = replace(farm, no_market=frozenset({"soybean", "spring_barley", "corn_grain"}))
    assert left(with_farm(unsold), paths)[0].weeds_cost == (0.0, 0.0, 0.0)


def test_hay_nobody_buys_is_worth_what_the_herd_would_pay_for_it() -> None:
    herd = replace(the_farm(), no_market=frozenset({"alfalfa"}), feed_need_t=500.0, feed_price_per_t=210.0)
    for farm, price in ((herd, 210.0), (replace(herd, feed_need_t=0.0), 0.0)):
        following = Following(*with_farm(farm), [as_now(*laid())])
        assert following._price_per_t(practice("alfalfa_1")) == price
        assert following._price_per_t(practice("soybean")) == laid()[0].budgets.price_per_t["soybean"]


def test_hay_sold_standing_is_worth_the_agreed_price_less_its_carriage() -> None:
    buyer = Outlet(
        name="neighbor (invented)",
        crop="alfalfa_standing",
        price_per_t=90.0,
        least_t=0.0,
        most_t=None,
        years=(),
        haul_per_t=12.0,
    )
    paths = as_now(*laid())
    for outlets, price in (((buyer,), 78.0), ((), 0.0)):
        following = Following(*with_farm(replace(the_farm(), outlets=outlets)), [paths])
        assert following._price_per_t(practice("alfalfa_1_standing")) == price


LAST = st.sampled_from(["corn_grain", CARELESS, CAREFUL, "spring_barley", "fallow"])
RESERVE = st.floats(0.001, 1.2)


@given(LAST, RESERVE, RESERVE)
@settings(deadline=None)
def test_more_roots_at_the_end_never_cost_less(last: str, one: float, other: float) -> None:
    data = laid()[1]
    after = list(path("spring_barley", "corn_grain", CAREFUL))
    worth = np.array([9000.0, 7000.0, 8000.0])

    def cost(reserve: float) -> float:
        end = replace(
            data.fields[EAST], history=path(last), start_reserve=np.full_like(data.reserve_cap, reserve)
        )
        course = trace(replace(data, fields=(end,)), 0, after)
        return float(
            cost_of_weeds(
                course.shoots,
                loss_index=data.loss_index[after],
                loss_most=data.loss_most[after],
                infested_share=end.infested_share,
                crop_worth=worth,
                interest_rate=0.04,
            )[0]
        )

    few, many = sorted((one, other))
    assert 0.0 < cost(few) <= cost(many) * (1.0 + 1e-12)
    assert cost(many) < worth.sum()


@given(st.lists(st.floats(0.0, 500.0), min_size=6, max_size=6), st.integers(0, 5), st.floats(0.0, 500.0))
def test_more_shoots_of_any_weed_in_any_year_never_cost_less(
    shoots: list[float], which: int, more: float
) -> None:
    def cost(values: list[float]) -> float:
        return float(
            cost_of_weeds(
                np.array(values).reshape(3, 2, 1),
                loss_index=np.array([[0.02, 0.004]] * 3),
                loss_most=np.array([[0.6, 0.3]] * 3),
                infested_share=np.array([0.5, 0.9]),
                crop_worth=np.array([5000.0, 0.0, 9000.0]),
                interest_rate=0.04,
            )[0]
        )

    raised = [value + more * (place == which) for place, value in enumerate(shoots)]
    assert cost(shoots) <= cost(raised) + 1e-9


# ---------------------------------------------------------------- nitrogen left


def nitrogen_tables():  # type: ignore[no-untyped-def]
    """Round figures, so that the sums below can be done in the head."""
    changed = TABLES
    for crop, quantity, value in (
        ("corn_grain", "nitrogen_need_kg_ha", 140.0),
        ("spring_barley", "nitrogen_need_kg_ha", 60.0),
        ("soybean", "nitrogen_need_kg_ha", 0.0),
        ("soybean", "nitrogen_credit_kg_ha", 40.0),
        ("alfalfa", "nitrogen_credit_kg_ha", 150.0),
        ("alfalfa", "sowing_year_credit_share", 0.4),
        ("oat", "nitrogen_credit_kg_ha", 0.0),
        ("cover_oat_pea", "nitrogen_credit_kg_ha", 25.0),
    ):
        changed = changed.with_change("crop", crop, quantity, value)
    return changed


@pytest.mark.parametrize(
    ("last", "first", "kg_ha"),
    [
        pytest.param("soybean", "spring_barley", 40.0, id="all of it is wanted"),
        pytest.param("alfalfa_2", "spring_barley", 60.0, id="no more than is wanted"),
        pytest.param("alfalfa_2", "corn_grain", 140.0, id="a hungry crop takes nearly all"),
        pytest.param("oat_alfalfa", "corn_grain", 60.0, id="0.4 of 150 from a stand just sown"),
        pytest.param("soybean", "soybean", 0.0, id="it fixes its own"),
        pytest.param("corn_grain", "spring_barley", 0.0, id="nothing was left"),
        pytest.param(
            "corn_grain", "corn_grain_oat_pea", 0.0, id="its own cover crop is no merit of the plan"
        ),
        pytest.param("alfalfa_2", "corn_grain_oat_pea", 115.0, id="140 less 25 from its own cover crop"),
    ],
)
def test_nitrogen_counts_as_far_as_the_first_crop_needs_it(last: str, first: str, kg_ha: float) -> None:
    assert nitrogen_saved(practice(last), practice(first), nitrogen_tables()) == pytest.approx(kg_ha)


def test_the_nitrogen_line_is_kilograms_times_the_price_the_farm_pays() -> None:
    farm = the_farm()
    farm = replace(
        farm,
        costs={**farm.costs, "nitrogen_per_kg": 2.5},
        fields=tuple(
            replace(field, as_now=("spring_barley", "corn_grain", "soybean")) for field in farm.fields
        ),
    )
    ground, data = with_farm(farm)
    soybeans_last = (path("spring_barley", "corn_grain", "soybean"),) * 3
    (found,) = left((ground, data), soybeans_last)
    credit = TABLES.number("crop", "soybean", "nitrogen_credit_kg_ha")
    assert credit < TABLES.number("crop", "spring_barley", "nitrogen_need_kg_ha")
    assert found.nitrogen_kg == pytest.approx((10.0 + 8.0 + 6.0) * credit)
    assert found.nitrogen_worth == pytest.approx(24.0 * credit * 2.5)


# ---------------------------------------------------------------- stands of hay


@pytest.mark.parametrize(
    ("last", "years"),
    [
        ("oat_alfalfa", 3),
        ("alfalfa_1", 2),
        ("alfalfa_2_leave", 1),
        ("alfalfa_3", 0),
        ("alfalfa_4", 0),
        ("oat_red_clover", 1),
        ("red_clover_1", 0),
        ("oat_sweetclover", 0),  # a green manure, no hay
        ("spring_barley", 0),
    ],
)
def test_hay_years_left_are_those_of_its_life_that_are_still_to_come(last: str, years: int) -> None:
    changed = TABLES.with_change("crop", "alfalfa", "stand_life_years", 3.0)
    assert stand_years_left(practice(last), changed) == years


def test_a_stand_is_worth_what_sowing_it_again_costs_in_a_straight_line() -> None:
    changed = TABLES
    for quantity, value in (
        ("sowing_rate_kg_ha", 20.0),
        ("sown_price_per_kg", 9.0),
        ("establishment_per_ha", 120.0),
        ("stand_life_years", 3.0),
    ):
        changed = changed.with_change("crop", "alfalfa", quantity, value)
    # 20 kg at 9 and 120 for setting up are 300; two years of three are left
    assert stand_worth(practice("alfalfa_1"), 2.0, changed) == pytest.approx(200.0)


def stand_last() -> Paths:
    """Hay sown under oats stands on one field at the end."""
    return as_now(*laid(), east=path("soybean", "spring_barley", "oat_alfalfa"))


def test_a_stand_that_goes_on_counts_once_and_not_for_its_nitrogen_too() -> None:
    farm = the_farm()
    farm = replace(
        farm,
        fields=tuple(
            replace(field, as_now=("corn_grain", "soybean", "spring_barley")) for field in farm.fields
        ),
    )
    ground, data = with_farm(farm)
    ground = replace(ground, tables=ground.tables.with_change("crop", "alfalfa", "stand_life_years", 2.0))
    young = path("soybean", "spring_barley", "oat_alfalfa")
    worn = path("oat_alfalfa", "alfalfa_1", "alfalfa_2")
    rest = (path("soybean", "spring_barley", "corn_grain"),) * 2
    goes_on, worn_out = (_land_of(EAST, (ground, data), (east, *rest)) for east in (young, worn))
    assert goes_on.stand_ha == 10.0
    alfalfa = {
        quantity: TABLES.number("crop", "alfalfa", quantity)
        for quantity in ("sowing_rate_kg_ha", "sown_price_per_kg", "establishment_per_ha")
    }
    whole = alfalfa["sowing_rate_kg_ha"] * alfalfa["sown_price_per_kg"] + alfalfa["establishment_per_ha"]
    assert goes_on.stand_worth == pytest.approx(10.0 * whole)
    assert goes_on.nitrogen_kg == 0.0
    assert (worn_out.stand_ha, worn_out.stand_worth) == (0.0, 0.0)
    need, credit = (
        TABLES.number("crop", crop, quantity)
        for crop, quantity in (("corn_grain", "nitrogen_need_kg_ha"), ("alfalfa", "nitrogen_credit_kg_ha"))
    )
    assert worn_out.nitrogen_kg == pytest.approx(10.0 * min(need, credit))


def _land_of(field: int, laid_out: tuple[Groundwork, SelectionData], paths: Paths) -> LeftOver:
    """What one field alone leaves: all others are given up after the plan."""
    ground, data = laid_out
    last = data.first_year + data.years - 1
    fields = tuple(
        each if number == field else replace(each, lease_end_year=last)
        for number, each in enumerate(ground.farm.fields)
    )
    return left((replace(ground, farm=replace(ground.farm, fields=fields)), data), paths)[0]


# ---------------------------------------------------------------- leases


def test_land_that_is_given_up_counts_nothing() -> None:
    paths = stand_last()
    for end in (2028, 2029):  # before the last year, and with it
        farm = with_field(the_farm(), "East", lease_end_year=end)
        ground, data = with_farm(farm)
        east = paths[EAST] if data.fields[EAST].farmed[-1] else (*paths[EAST][:2], NOT_FARMED)
        (found,) = left((ground, data), (east, *paths[1:]))
        assert found.stand_worth == 0.0
        only_east = _land_of(EAST, (ground, data), (east, *paths[1:]))
        assert only_east == LeftOver(
            weeds_cost=(0.0, 0.0, 0.0), nitrogen_kg=0.0, nitrogen_worth=0.0, stand_ha=0.0, stand_worth=0.0
        )


def test_a_lease_that_runs_on_for_a_year_counts_for_a_year() -> None:
    paths = stand_last()
    own, one, two = (
        _land_of(EAST, with_farm(with_field(the_farm(), "East", lease_end_year=end)), paths)
        for end in (None, 2030, 2031)
    )
    assert one.stand_worth == pytest.approx(own.stand_worth / 3.0)
    assert two.stand_worth == pytest.approx(own.stand_worth * 2.0 / 3.0)
    assert 0.0 < one.weeds_cost[1] < two.weeds_cost[1] < own.weeds_cost[1]


# ---------------------------------------------------------------- what follows


def followed(laid_out: tuple[Groundwork, SelectionData], paths: Paths, field: int = EAST) -> list[str]:
    ground, data = laid_out
    longer = Following(ground, data, [paths]).longer(paths)[field]
    return ["" if p == NOT_FARMED else data.practice_keys[p] for p in longer[data.years :]]


def test_every_plan_is_followed_by_the_crops_of_now_from_the_first_on() -> None:
    now = list(the_farm().fields[EAST].as_now)
    for last in ("corn_grain", CARELESS, "fallow"):
        paths = as_now(*laid(), east=path("soybean", "spring_barley", last))
        assert followed(laid(), paths) == now


def test_crops_that_need_an_older_stand_are_passed_over() -> None:
    farm = with_field(the_farm(), "East", as_now=("alfalfa_2", "corn_grain", "soybean"))
    paths = as_now(*laid())
    assert followed(with_farm(farm), paths) == ["corn_grain", "soybean", "corn_grain"]


def test_a_crop_that_cannot_be_sown_in_time_gives_way_to_the_next() -> None:
    farm = with_field(the_farm(), "East", as_now=("winter_wheat", "corn_grain", "soybean"))
    late, early = (
        as_now(*laid(), east=path("soybean", "spring_barley", last)) for last in ("corn_grain", "fallow")
    )
    assert followed(with_farm(farm), early)[0].startswith("winter_wheat")
    assert followed(with_farm(farm), late)[0] == "corn_grain"


def test_the_years_after_change_nothing_within_the_plan() -> None:
    ground, data = laid()
    paths = as_now(ground, data)
    alone, following = Bands(ground, data, [paths]), Following(ground, data, [paths])
    assert alone.today() == following.bands.today()
    for field, here in enumerate(paths):
        one, other = alone.course(field, here), following.bands.course(field, here)
        for name in ("autumn", "shoots", "burden", "patches_ha", "seed_shed"):
            assert np.array_equal(getattr(one, name), getattr(other, name)), name


# ---------------------------------------------------------------- the last year cannot be played with

MORE_THAN = 1.0
"""What the careless last year costs later is more than this share of what it earned."""


def two_ends() -> dict[str, Paths]:
    """Two plans that differ in the last year of one field alone: soybeans hoed, or too close for it."""
    return {
        key: as_now(*laid(), east=path("soybean", "corn_grain", last))
        for key, last in (("most_money", CARELESS), ("balanced", CAREFUL))
    }


def test_a_careless_last_year_earns_more_and_is_charged_more_than_that() -> None:
    ground, data = laid()
    plans = two_ends()
    careless, careful = plans["most_money"], plans["balanced"]
    differ = [
        a != b for one, other in zip(careless, careful, strict=True) for a, b in zip(one, other, strict=True)
    ]
    assert differ == [False, False, True] + [False] * 6
    earned = evaluate(data, careless).net.sum() - evaluate(data, careful).net.sum()
    assert earned > 100.0  # else there would be nothing to gain by it
    found = Following(ground, data, plans.values()).carry_over(plans)
    later = found.plans["most_money"].weeds_cost[1] - found.plans["balanced"].weeds_cost[1]
    assert later > MORE_THAN * earned
    for line in ("nitrogen_worth", "stand_worth"):  # nothing else makes up for it
        assert getattr(found.plans["most_money"], line) <= getattr(found.plans["balanced"], line)


def test_the_printout_shows_what_the_careless_last_year_costs() -> None:
    plans = two_ends()
    ground, data = laid()
    found = Following(ground, data, plans.values()).carry_over(plans)
    text = printed(found)
    likely = {
        key: float(re.search(rf"{title}.*?cost ([\d,]+)", text, re.DOTALL)[1].replace(",", ""))  # type: ignore[index]
        for key, title in (("most_money", "B: Most money"), ("balanced", "C: Balanced"))
    }
    earned = evaluate(data, plans["most_money"]).net.sum() - evaluate(data, plans["balanced"]).net.sum()
    assert likely["most_money"] - likely["balanced"] > MORE_THAN * earned
    for key, cost in likely.items():
        assert cost == pytest.approx(found.plans[key].weeds_cost[1], rel=0.05)  # two figures are printed


def test_plans_are_chosen_by_the_weeds_of_every_year_and_most_by_those_of_the_last() -> None:
    _, data = laid()
    assert (data.burden_when > 0.0).all() and data.burden_when.sum() == pytest.approx(1.0)
    assert data.burden_when[-1] > data.burden_when[:-1].max()
    burden = {
        key: float(data.burden_when @ evaluate(data, paths).burden[:, data.likely])
        for key, paths in two_ends().items()
    }
    assert burden["most_money"] > 1.2 * burden["balanced"]
    cleanest = select(data, Goal(kind="least_burden"))
    assert cleanest.paths[EAST][-1] != path(CARELESS)[0]
    assert float(data.burden_when @ cleanest.figures.burden[:, data.likely]) <= burden["balanced"]


def test_what_is_left_is_in_no_net_return() -> None:
    plans = plain()
    following = Following(plans.ground, plans.data, [draft.paths for draft in plans.proposal.drafts])
    assert describe(plans.ground, plans.data, plans.proposal, following.bands) == plans.all
    for draft, plan in zip(plans.proposal.drafts, plans.all, strict=True):
        assert plan.figures.net_return == pytest.approx(evaluate(plans.data, draft.paths).net)
    assert max(following.left(draft.paths).weeds_cost[1] for draft in plans.proposal.drafts) > 100.0


# ---------------------------------------------------------------- on the page


def printed(found: CarryOver | None, **changes: object) -> str:
    """The block alone, 80 columns wide; empty if there is none."""
    result = fake_result.result(carry_over=found, **changes)
    page = plan_page(result, fake_result.tables())
    mine = tuple(section for section in page.sections if section.key == "carry_over")
    if not mine:
        return ""
    text = render(replace(page, lead=(), sections=mine), width=80)
    assert max(len(line) for line in text.splitlines()) <= 80
    return text.partition("What is left after")[2]


def test_the_block_has_a_row_a_plan_and_says_cost_and_worth() -> None:
    text = printed(fake_result.result().carry_over)
    rows = {line[0]: line for line in text.splitlines() if re.match(r"[A-D]: ", line)}
    assert sorted(rows) == ["A", "B", "C", "D"]
    assert "cost 4,200 (1,700 to" in rows["A"] and "worth 480" in rows["A"]
    assert "cost 310 (120 to 930)" in rows["C"] and "worth 3,400" in rows["C"]
    assert "worth 2,100 (30 acres)" in rows["C"]
    assert rows["D"].count("nothing") == 2 and "cost" not in rows["D"]
    together = " ".join(text.split())
    assert "not part of the net return above" in together
    assert "take in 2031 to 2033" in together and "$1.81 a lb" in together and "4% interest" in together


def test_metric_farms_read_kilograms_and_a_farm_without_leases_nothing_of_them() -> None:
    farm = fake_result.farm(units="metric", currency="EUR")
    owned = replace(farm, fields=tuple(replace(each, lease_end_year=None) for each in farm.fields))
    found = fake_result.result().carry_over
    assert "€4.00 a kg" in printed(found, farm=owned)
    assert "lease" not in printed(found, farm=owned)
    assert "lease" in printed(found, farm=farm)


def test_without_a_reckoning_there_is_no_block() -> None:
    assert printed(None) == ""


def test_the_json_has_the_three_lines_of_each_plan() -> None:
    result = fake_result.result()
    whole = json.loads(result_json.dumps(result, fake_result.tables()))
    assert set(whole["carry_over"]["plans"]) == {plan["key"] for plan in whole["alternatives"]}
    assert whole["carry_over"]["plans"]["balanced"] == {
        "weeds_cost": {"low": 124.0, "likely": 310.0, "high": 930.0},
        "nitrogen_kg": 850.0,
        "nitrogen_worth": 3400.0,
        "stand_ha": 12.0,
        "stand_worth": 2052.0,
    }
    without = json.loads(result_json.dumps(replace(result, carry_over=None), fake_result.tables()))
    assert without["carry_over"] is None
