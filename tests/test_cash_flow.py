"""Money by quarter: it adds up to the net return of every year, and falls when the work and the sales do."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import fake_result
import numpy as np
import pytest
from small_farm import TABLES, TEXT, Plans, small, with_field, with_machine
from test_verify import cereals, found, good, made_by_hand
from whole_page import plan_page

from rotation_opt import farm as farm_files
from rotation_opt.budgets import sown_costs
from rotation_opt.cash_dates import PaymentDates, month_of, year_of_sale
from rotation_opt.cash_flow import (
    DEBT,
    EXTRA_HELP,
    EXTRA_HIRE,
    FIXED,
    HAULING,
    HAY,
    RENT,
    SALES,
    CashFlow,
    cash_checks,
    seasons,
)
from rotation_opt.errors import InputError
from rotation_opt.ledgers import CashCourse
from rotation_opt.records import Alternative, Farm
from rotation_opt.report.limits import limits_in_words
from rotation_opt.report.terminal import render
from rotation_opt.report.wording import Wording


def course_of(plans: Plans, plan: Alternative) -> CashCourse:
    return CashFlow(plans.ground, plans.data).course(plan)


@cache
def hard_pressed() -> Plans:
    """A farm with little time, helpers and hired ploughing, rent, debt and a landlord's share."""
    base = small(
        feed_need_t=90.0,
        feed_price_per_t=600.0,
        fixed_cost=9_000.0,
        debt_per_year=4_000.0,
        debt_month=11,
        cash_floor=-90_000.0,
        cash_now=20_000.0,
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


# ---------------------------------------------------------------- adding up


@pytest.mark.parametrize("key", ["as_now", "most_money", "balanced", "fastest"])
@pytest.mark.parametrize("plans", [found, hard_pressed], ids=["ample", "hard pressed"])
def test_quarters_add_up_to_the_net_return_of_every_year(plans, key: str) -> None:
    plan = plans().plan[key]
    course = course_of(plans(), plan)
    # help and sales are given to a billionth of what there is, which is less than a tenth of a cent here
    assert course.by_plan_year == pytest.approx(plan.figures.net_return, abs=1e-3)
    assert sum(map(sum, course.parts.values())) == pytest.approx(sum(plan.figures.net_return), abs=1e-3)
    assert all(line.agrees for line in cash_checks(course, plan, "USD"))


def test_the_hard_pressed_farm_pays_for_everything_there_is() -> None:
    course = course_of(hard_pressed(), hard_pressed().plan["as_now"])
    assert {SALES, EXTRA_HELP, EXTRA_HIRE, HAULING, HAY, RENT, FIXED, DEBT} <= set(course.parts)
    assert course.quarters[0] == (2026, 4)  # ploughing in the autumn before the first harvest year


def test_cash_in_hand_is_what_there_was_and_all_that_came_and_went() -> None:
    course = course_of(hard_pressed(), hard_pressed().plan["most_money"])
    money = np.sum(list(course.parts.values()), axis=0)
    assert course.opening == 20_000.0
    assert course.left[0] == pytest.approx(20_000.0 + money[0])
    assert np.diff(course.left) == pytest.approx(money[1:])
    assert course.quarters[course.last] == (2029, 4)


@pytest.mark.parametrize("year", [0, 1, 2])
def test_a_year_of_net_return_printed_wrong_is_found(year: int) -> None:
    net = list(good().figures.net_return)
    net[year] += 5.0
    wrong = replace(good(), figures=replace(good().figures, net_return=tuple(net)))
    lines = cash_checks(course_of(found(), good()), wrong, "USD")
    assert [line.agrees for line in lines] == [False, True]
    assert lines[0].largest_difference == pytest.approx(5.0)


def test_a_wrong_amount_at_the_end_is_found() -> None:
    course = course_of(found(), good())
    wrong = replace(course, left=(*course.left[:-1], course.left[-1] + 3.0))
    assert [line.agrees for line in cash_checks(wrong, good(), "USD")] == [True, False]


def test_a_sale_that_is_left_out_is_found() -> None:
    fewer = {sale: t for sale, t in good().figures.sold_t.items() if not sale.startswith("soybean")}
    assert len(fewer) < len(good().figures.sold_t)
    wrong = replace(good(), figures=replace(good().figures, sold_t=fewer))
    assert not cash_checks(course_of(found(), wrong), wrong, "USD")[0].agrees


# ---------------------------------------------------------------- when


def in_quarter(course: CashCourse, part: str) -> dict[tuple[int, int], float]:
    return {q: amount for q, amount in zip(course.quarters, course.parts[part], strict=True) if amount}


def test_work_is_paid_in_the_half_month_in_which_it_is_done() -> None:
    """Labour by quarter against the hours that the selection reckons with, half-month by half-month."""
    plans, plan = found(), good()
    hours = np.zeros((plans.farm.years + 1, 24))
    for season in seasons(plans.ground, plan):
        hours[season.year : season.year + 2] += plans.ground.hours.labour[season.pair] * season.field.area_ha
    by_hand = -plans.farm.labour.wage_per_h * hours.reshape(-1, 4, 6).sum(axis=2).ravel()
    course = course_of(plans, plan)
    first = 4 * (course.quarters[0][0] - plans.farm.first_year + 1) + course.quarters[0][1] - 1
    there = by_hand[first:]
    assert course.parts["labour"][: len(there)] == pytest.approx(there)


def test_rent_and_fixed_cost_are_even_and_debt_is_paid_in_its_month() -> None:
    course = course_of(hard_pressed(), hard_pressed().plan["as_now"])
    every = [(year, quarter) for year in (2027, 2028, 2029) for quarter in (1, 2, 3, 4)]
    assert in_quarter(course, RENT) == {when: pytest.approx(-120.0 * 8.0 / 4) for when in every}
    assert in_quarter(course, FIXED) == {when: pytest.approx(-5_000.0 / 4) for when in every}
    assert in_quarter(course, DEBT) == {(year, 4): -4_000.0 for year in (2027, 2028, 2029)}


def test_hay_is_bought_in_the_winter_after_the_harvest_that_did_not_give_it() -> None:
    course = course_of(found(), good())
    bought = good().figures.feed_bought_t
    assert bought[0] > 1.0
    assert in_quarter(course, HAY) == {
        (2028 + year, 1): pytest.approx(-600.0 * t) for year, t in enumerate(bought) if t
    }


def test_crops_are_sold_in_their_usual_month_and_the_grower_s_own_goes_before() -> None:
    """Soybeans, to a mill that is told to pay in February, and barley, told to be sold in December."""
    plan = good()
    mill = replace(found().farm.outlets[1], sold_month=2)
    base = replace(found().farm, outlets=(found().farm.outlets[0], mill), sold_month={"spring_barley": 12})
    plans = Plans.__new__(Plans)
    plans.farm, plans.data = base, found().data
    plans.ground = replace(found().ground, farm=base)
    only = {sale: t for sale, t in plan.figures.sold_t.items() if sale == "soybean @ mill"}
    assert only["soybean @ mill"][1] > 0.0

    def sold(plans: Plans, sales: dict[str, tuple[float, ...]]) -> set[tuple[int, int]]:
        some = replace(plan, figures=replace(plan.figures, sold_t=sales))
        return set(in_quarter(course_of(plans, some), SALES))

    assert sold(found(), only) == {(2028, 4)}  # harvested in autumn 2028, usually sold in November
    assert sold(plans, only) == {(2029, 1)}
    barley = {"spring_barley @ any buyer": (10.0, 0.0, 0.0)}
    assert sold(found(), barley) == {(2027, 3)}
    assert sold(plans, barley) == {(2027, 4)}
    corn = {"corn_grain @ any buyer": (0.0, 0.0, 10.0)}
    assert sold(found(), corn) == {(2030, 1)}  # usually sold in January after the harvest


@pytest.mark.parametrize(
    ("sold", "harvested", "usual", "when"),
    [
        (9, 8, True, (0, 9)),
        (8, 8, True, (0, 8)),
        (1, 10, True, (1, 1)),
        (9, 10, True, (0, 10)),  # a late harvest: the usual month has just gone by
        (9, 10, False, (1, 9)),  # the grower says so: nearly a year later
    ],
)
def test_a_month_of_sale_before_the_harvest_is_in_the_next_year(sold, harvested, usual, when) -> None:
    assert year_of_sale(sold, harvested, usual=usual) == when


def test_every_crop_that_is_sold_has_a_usual_month() -> None:
    sold = [key for key, crop in TABLES.crops.items() if crop.product not in ("none", "standing")]
    assert len(sold) > 15
    for key in sold:
        assert 1 <= TABLES.number("crop", key, "sold_month") <= 12


def test_seed_of_a_winter_crop_is_paid_in_the_autumn_before_and_its_nitrogen_in_spring() -> None:
    plans = cereals()
    plan = made_by_hand(
        plans,
        East=("winter_wheat", "fallow", "corn_grain"),
        West=("soybean", "spring_barley", "soybean"),
        North=("spring_barley", "soybean", "spring_barley"),
    )
    wheat = next(s for s in seasons(plans.ground, plan) if s.practice.crop == "winter_wheat")
    assert wheat.programme.sowing_day is not None and wheat.programme.sowing_day < 0
    dates = PaymentDates(plans.ground).of_pair(wheat.pair)
    assert {month_of(day) for day, _ in dates["sown material"]} <= {8, 9}
    assert [(day >= 0, month_of(day)) for day, _ in dates["nitrogen bought"]] == [(True, 3)]
    for part in ("sown material", "own machines", "labour"):
        assert sum(share for _, share in dates[part]) == pytest.approx(1.0)
    course = course_of(plans, plan)
    sown = min(in_quarter(course, "sown material"))
    assert sown in {(2026, 3), (2026, 4)}


def test_an_underseeded_stand_is_paid_for_when_it_is_sown() -> None:
    nurse = next(each for each in seasons(found().ground, good()) if each.practice.undersown)
    dated = PaymentDates(found().ground).of_pair(nurse.pair)["sown material"]
    costs = sown_costs(nurse.practice, TABLES)
    assert set(costs) == {"oat", "alfalfa"}
    assert [share for _, share in dated] == pytest.approx([c / sum(costs.values()) for c in costs.values()])


# ---------------------------------------------------------------- the farm file


def read(tmp_path: Path, text: str) -> Farm:
    path = tmp_path / "farm.toml"
    path.write_text(text, encoding="utf-8")
    return farm_files.read(path, TABLES)


MORE = (
    "cash_floor = -50000\ncash_now = 12000\ncash_floor_quarter = 3000",
    '[costs]\ndebt_payment_per_year = 8000\ndebt_payment_month = 3\n\n[[crop]]\nname = "soybean"\n'
    'sold_in_month = 2\n\n[[outlet]]\nname = "mill"\ncrop = "soybean"\nsold_in_month = 12\n',
)


def test_the_farm_file_says_when_money_comes_and_what_there_is(tmp_path: Path) -> None:
    text = TEXT.replace("cash_floor = -50000", MORE[0]).replace("= 0\ntarget", "= 1000\ntarget") + MORE[1]
    farm = read(tmp_path, text)
    assert (farm.cash_now, farm.cash_floor_quarter) == (12_000.0, 3_000.0)
    assert (farm.debt_per_year, farm.debt_month) == (8_000.0, 3)
    assert farm.fixed_cost == 9_000.0  # so that the floor of the year holds after the debt is paid
    assert farm.sold_month == {"soybean": 2}
    assert farm.outlets[0].sold_month == 12
    plain = read(tmp_path, TEXT)
    assert (plain.cash_now, plain.cash_floor_quarter, plain.debt_per_year) == (0.0, None, 0.0)


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("sold_in_month = 13", "from 1 to 12"),
        ("sold_in_month = 2.5", "whole number"),
        ('sold_in_month = "May"', "from 1 to 12"),
        ("sold_in_mouth = 5", "sold_in_month"),
    ],
)
def test_a_month_that_is_none_is_told(tmp_path: Path, line: str, said: str) -> None:
    with pytest.raises(InputError, match=said):
        read(tmp_path, f'{TEXT}\n[[crop]]\nname = "soybean"\n{line}\n')


def test_a_crop_that_gives_nothing_has_no_month_of_sale(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="nothing to sell"):
        read(tmp_path, f'{TEXT}\n[[crop]]\nname = "summerfallow"\nsold_in_month = 5\n')


def test_a_debt_needs_its_month(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="debt_payment_month"):
        read(tmp_path, f"{TEXT}\n[costs]\ndebt_payment_per_year = 5\n")


# ---------------------------------------------------------------- on the page


def printed(**changes: object) -> str:
    """The section of the invented result, as one line of words."""
    result = fake_result.result(farm=fake_result.farm(**changes))
    page = plan_page(result, fake_result.tables())
    (section,) = [section for section in page.sections if section.key == "cash"]
    text = render(replace(page, lead=(), sections=(section,)), width=80)
    assert max(len(line) for line in text.splitlines()) <= 80
    return " ".join(text.split())


def test_the_page_names_the_leanest_quarter_of_each_plan() -> None:
    # invented: 40,000 less 1,000, and 8,500 more in winter, less 24,000 in spring and 6,000 after it
    assert (
        "B: Most money Least in hand: $17,500, at the end of September 2027 ($40,000 at the start)."
        in printed()
    )
    assert "After the plan $8,500 still comes in for its last harvest." in printed()


def test_the_page_says_which_plans_do_not_keep_the_floor_of_the_quarter() -> None:
    text = printed(cash_floor_quarter=10_000.0)
    assert "NOT KEPT: less than the $10,000 that must be in hand at the end of" in text
    assert "The $10,000 that must be in hand is there at the end of every quarter." in text
    assert "NOT KEPT" not in printed()


def test_the_page_says_that_plans_are_chosen_by_the_floor_of_the_quarter() -> None:
    assert "chosen so that the least in hand is there" in printed(cash_floor_quarter=10_000.0)
    assert "chosen so that the least in hand is there" not in printed()
    assert "a loan or an overdraft" in printed()
    said = " ".join(
        limits_in_words(fake_result.farm(cash_floor_quarter=10_000.0), Wording(fake_result.farm(), TABLES))
    )
    assert "at least $10,000 in hand at the end of each." in said


def test_the_page_has_every_quarter_with_what_comes_in_and_goes_out() -> None:
    text = printed()
    for year in range(2027, 2031):
        for quarter in ("Jan-Mar", "Apr-Jun", "Jul-Sep", "Oct-Dec"):
            assert text.count(f"{quarter} {year}") == 2
    assert "In / out, $1,000" in text
    # one quarter of ten thousand or more, and no figure of the table has a decimal
    assert "Jan-Mar 2028 9 / 0 " in text
    assert "Apr-Jun 2028 0 / 20 0 / 24 0 / 28 0 / 32" in text
