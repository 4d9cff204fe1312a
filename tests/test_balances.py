"""Balances of hay, hours, crops and cash: they close, and each can fail; and a year with few field days."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import fake_result
import numpy as np
import pytest
from small_farm import Plans, small, with_field, with_machine
from test_cash_flow import course_of, hard_pressed
from test_verify import cereals, found, good, made_by_hand, raised
from whole_page import plan_page

from rotation_opt.balances import (
    BOUGHT,
    CUT,
    EXTRA,
    FED,
    FROM_STORE,
    INTO_STORE,
    LANDLORD,
    LEFT,
    LOST,
    NEEDED,
    OVER,
    OWN,
    SOLD,
    balance_checks,
    balances,
)
from rotation_opt.field_days import field_days
from rotation_opt.ledgers import Balance
from rotation_opt.records import Alternative, PlanFigures
from rotation_opt.report.terminal import render
from rotation_opt.workload import capacity


def balances_of(plans: Plans, plan: Alternative) -> dict[str, Balance]:
    return {each.what: each for each in balances(plans.ground, plan, course_of(plans, plan))}


def open_lines(plans: Plans, plan: Alternative) -> set[str]:
    """Names of the balances that do not close."""
    return {line.what for line in balance_checks(balances_of(plans, plan).values()) if not line.agrees}


@pytest.mark.parametrize("key", ["as_now", "most_money", "balanced", "fastest"])
@pytest.mark.parametrize("plans", [found, hard_pressed], ids=["ample", "hard pressed"])
def test_every_balance_of_a_plan_closes(plans, key: str) -> None:
    plan = plans().plan[key]
    assert open_lines(plans(), plan) == set()
    assert {"hours", "cash"} <= set(balances_of(plans(), plan))


def test_the_hay_of_a_plan_is_fed_stored_sold_bought_and_lost() -> None:
    hay = balances_of(found(), good())["hay"]
    for side, name in (
        (hay.there, CUT),
        (hay.there, FROM_STORE),
        (hay.there, BOUGHT),
        (hay.gone, SOLD),
        (hay.gone, FED),
        (hay.gone, INTO_STORE),
        (hay.gone, LANDLORD),
        (hay.gone, LOST),
    ):
        assert max(side[name]) > 0.1, name
    # a tenth of what was put in store is lost by the next year (invented)
    stored = good().figures.hay_stored_t
    assert hay.gone[LOST] == pytest.approx([0.0, 0.1 * stored[0], 0.1 * stored[1]])
    assert hay.gone[FED] == pytest.approx([90.0] * 3)


def test_hay_cut_and_left_is_what_the_field_would_have_given() -> None:
    """The same stand sold and left: what is cut is the same but for what weeds take of it."""
    paths = {
        "West": ("alfalfa_1", "alfalfa_2", "corn_grain"),
        "North": ("spring_barley", "soybean", "soybean"),
    }
    sold = made_by_hand(found(), East=("oat_alfalfa", "alfalfa_1", "alfalfa_2"), **paths)
    left = made_by_hand(found(), East=("oat_alfalfa", "alfalfa_1_leave", "alfalfa_2"), **paths)
    one, other = balances_of(found(), sold)["hay"], balances_of(found(), left)["hay"]
    assert max(one.gone[LEFT]) == 0.0
    assert [t > 1.0 for t in other.gone[LEFT]] == [False, True, False]
    assert other.there[CUT][1] == pytest.approx(one.there[CUT][1], rel=0.02)
    assert open_lines(found(), left) == set()


def test_hours_are_own_then_extra_and_never_more_than_there_are() -> None:
    hours = balances_of(hard_pressed(), hard_pressed().plan["most_money"])["hours"]
    assert min(hours.gone[EXTRA]) > 1.0
    assert max(hours.gone[OVER]) == 0.0
    assert np.array(hours.gone[OWN]) + hours.gone[EXTRA] == pytest.approx(hours.there[NEEDED], abs=1e-3)


def test_hours_that_nobody_has_are_a_line_of_their_own() -> None:
    """The present rotation is shown even where there are too few hands for it."""
    plans = short_of_hands()
    plan = plans.plan["as_now"]
    assert plan.breaks
    hours = balances_of(plans, plan)["hours"]
    assert max(hours.gone[OVER]) > 1.0
    assert open_lines(plans, plan) == set()


@cache
def short_of_hands() -> Plans:
    base = small()
    few = tuple(3.0 if half == 9 else hours for half, hours in enumerate(base.labour.hours_by_half_month))
    return Plans(replace(base, labour=replace(base.labour, hours_by_half_month=few)))


def test_the_landlord_s_share_of_a_crop_is_told() -> None:
    corn = balances_of(found(), good())["corn_grain"]
    assert corn.gone[LANDLORD][2] == pytest.approx(0.1 * corn.there["made"][2])


# ---------------------------------------------------------------- each can fail


def figures(change: Callable[[PlanFigures], PlanFigures]) -> Alternative:
    return replace(good(), figures=change(good().figures))


@pytest.mark.parametrize(
    ("change", "wrong"),
    [
        (lambda f: replace(f, fed_t=raised(f.fed_t, 1.0)), {"balance of hay"}),
        (lambda f: replace(f, feed_bought_t=raised(f.feed_bought_t, 1.0)), set()),  # on both sides
        (lambda f: replace(f, hay_stored_t=raised(f.hay_stored_t, 1.0)), {"balance of hay"}),
        (
            lambda f: replace(
                f, extra_labour_hours=(raised(f.extra_labour_hours[0], 2.0), *f.extra_labour_hours[1:])
            ),
            {"balance of hours"},
        ),
        (
            lambda f: replace(
                f, sold_t={**f.sold_t, "soybean @ mill": raised(f.sold_t["soybean @ mill"], 1.0)}
            ),
            {"balance of soybean"},
        ),
        (
            lambda f: replace(f, unsold_t={**f.unsold_t, "soybean": (0.0, 2.0, 0.0)}),
            {"balance of soybean"},
        ),
        (
            lambda f: replace(f, sold_t={s: t for s, t in f.sold_t.items() if not s.startswith("alfalfa")}),
            {"balance of hay"},
        ),
    ],
    ids=["fed", "bought", "stored", "hours", "sold", "unsold", "hay sold"],
)
def test_a_figure_printed_wrong_leaves_its_balance_open(change, wrong: set[str]) -> None:
    assert open_lines(found(), figures(change)) == wrong


def test_hay_bought_wrong_is_found_by_the_need_of_the_herd() -> None:
    """What the balance of hay cannot see, since what is bought is fed: more is fed than the herd eats."""
    plan = figures(lambda f: replace(f, feed_bought_t=raised(f.feed_bought_t, 1.0)))
    fed, need = balances_of(found(), plan)["hay"].gone[FED][1], found().ground.farm.feed_need_t
    assert balances_of(found(), good())["hay"].gone[FED][1] <= need * (1 + 1e-9)
    assert fed > need + 0.5


def test_a_yield_printed_wrong_leaves_its_balance_open() -> None:
    rows = tuple(
        replace(row, yield_t_ha=row.yield_t_ha + 0.2) if row.practice == "soybean" else row
        for row in good().fields
    )
    assert open_lines(found(), replace(good(), fields=rows)) == {"balance of soybean"}


def test_cash_printed_wrong_leaves_its_balance_open() -> None:
    course = course_of(found(), good())
    fourth = [place for place, (_, quarter) in enumerate(course.quarters) if quarter == 4][1]
    left = (*course.left[:fourth], course.left[fourth] + 5.0, *course.left[fourth + 1 :])
    lines = balance_checks(balances(found().ground, good(), replace(course, left=left)))
    assert {line.what for line in lines if not line.agrees} == {"balance of cash"}


# ---------------------------------------------------------------- a year with few field days


@cache
def little_time() -> Plans:
    """A farm whose plough works so few hours a day that a bad year has too few of them."""
    base = with_machine(small(), "plough", hours_a_day=2.2)
    return Plans(with_field(base, "West", yield_ratio=1.0))


def test_the_half_months_that_lack_days_are_those_whose_hours_pass_a_bad_year_s() -> None:
    plans = little_time()
    plan = plans.plan["as_now"]
    short = field_days(plans.ground, plan).short
    assert short
    m = plans.ground.hours.machines.index("plough")
    room = plans.ground.capacity.machine_bad_year[m]
    printed = {
        (plans.farm.first_year + year, half): hours - room[half]
        for year, halves in enumerate(plan.figures.machine_hours["plough"])
        for half, hours in enumerate(halves)
        if hours - room[half] > 0.5
    }
    found_there = {
        (each.year, each.half_month): each.missing_h
        for each in short
        if each.machine == "plough" and each.year >= plans.farm.first_year
    }
    assert found_there == pytest.approx(printed)
    assert list(short) == sorted(short, key=lambda each: -each.missing_h)


def test_a_farm_with_time_enough_lacks_no_days() -> None:
    assert field_days(found().ground, good()).short == ()


def test_a_bad_year_has_fewer_days_and_a_plan_can_be_made_for_it() -> None:
    base = with_machine(small(), "plough", hours_a_day=2.2)
    bad = replace(base, labour=replace(base.labour, bad_year=True))
    usual, careful = capacity(base, little_time().ground.tables), capacity(bad, little_time().ground.tables)
    assert (careful.machine <= usual.machine).all() and (careful.machine < usual.machine).any()
    assert (careful.machine == usual.machine_bad_year).all()


def test_planning_for_a_bad_year_changes_the_plan_and_never_brings_more() -> None:
    usual = little_time()
    labour = replace(usual.farm.labour, bad_year=True)
    careful = Plans(replace(usual.farm, labour=labour))
    assert careful.worth("most_money") <= usual.worth("most_money") + 1e-6
    assert careful.plan["most_money"].practices != usual.plan["most_money"].practices
    assert field_days(careful.ground, careful.plan["most_money"]).short == ()
    assert field_days(usual.ground, usual.plan["most_money"]).short != ()


def test_first_cutting_and_planting_meet_in_early_june() -> None:
    """Both jobs take hours then, together no more than all the work of that half-month."""
    meeting = field_days(found().ground, good()).competition
    assert meeting is not None
    assert (meeting.year, meeting.half_month) == (2028, 10)
    assert meeting.cutting_h > 1.0 and meeting.planting_h > 1.0
    assert meeting.hay_days[1] < meeting.hay_days[0] < meeting.field_days[0]
    row = good().figures.labour_hours[meeting.year - 2027]
    assert meeting.cutting_h + meeting.planting_h <= row[meeting.half_month] + 1e-9


def test_without_hay_nothing_competes() -> None:
    plan = made_by_hand(
        cereals(),
        East=("winter_wheat", "fallow", "corn_grain"),
        West=("soybean", "spring_barley", "soybean"),
        North=("spring_barley", "soybean", "spring_barley"),
    )
    assert field_days(cereals().ground, plan).competition is None


def test_field_days_say_where_they_are_borrowed_from() -> None:
    assert "Corn Belt" in field_days(found().ground, good()).borrowed_from


# ---------------------------------------------------------------- on the page


def printed(key: str, **changes: object) -> str:
    result = fake_result.result(farm=fake_result.farm(**changes))
    page = plan_page(result, fake_result.tables())
    (section,) = [section for section in page.sections if section.key == key]
    text = render(replace(page, lead=(), sections=(section,)), width=80)
    assert max(len(line) for line in text.splitlines()) <= 80
    return " ".join(text.split())


def test_the_page_shows_both_sides_of_each_balance() -> None:
    text = printed("balances", units="metric")
    assert "cut 40 80 120 160" in text
    assert "sold 10 50 90 130" in text
    assert "lost in store 2.0 2.0 2.0 2.0" in text
    assert "cut and left" not in text  # a line that is nothing in every plan
    assert "needed 402 403 404 405 own 390 391 392 393 extra paid help 12 12 12 12" in text
    assert "Oats, harvested 80 80 80 80 Oats, landlord 10" in text
    assert "Oats, Valley mill 50 50 50 50 Oats, open market 20 20 20 20" in text


def test_the_page_names_the_half_months_that_lack_days_and_where_the_figures_are_from() -> None:
    text = printed("field_days")
    assert "A: As now Own machines have days enough in a bad year too." in text
    assert (
        "In a bad year the Mower is 14 hours short of the 51 needed in late June 2028 (hire can help)."
        in text
    )
    assert "meet most in early June 2027: 25 and 56 of your 86 hours there" in text
    assert "figures of the Invented Plain" in text and "borrowed" in text
    assert "field days of a median year" in text


def test_a_farm_that_plans_for_a_bad_year_is_told_so() -> None:
    labour = replace(fake_result.farm().labour, bad_year=True)
    assert "field days of a bad year." in printed("field_days", labour=labour)
