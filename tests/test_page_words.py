"""Words of the printout that depend on the farm: no hay, fixed cost, another currency, money sooner."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from functools import cache

import fake_result
import pytest
from small_farm import TABLES, small
from whole_page import plan_page

from rotation_opt import planning
from rotation_opt.records import Result
from rotation_opt.report.limits import limits_in_words
from rotation_opt.report.terminal import render
from rotation_opt.report.wording import Wording

NO_HAY = ("spring_barley", "soybean", "corn_grain", "winter_wheat", "fallow")
SILENT = ("summary", "carry_over", "cash", "balances", "field_days")
"""Sections that have something of hay where a farm has some."""


def printed(result: Result, *keys: str) -> str:
    page = plan_page(result, fake_result.tables() if result.farm.name.startswith("Invented") else TABLES)
    kept = tuple(section for section in page.sections if not keys or section.key in keys)
    return " ".join(render(replace(page, lead=(), sections=kept), width=80).split())


@cache
def stockless() -> Result:
    return planning.plan(small(keep=NO_HAY), TABLES)


# ---------------------------------------------------------------- no hay


@pytest.mark.parametrize("section", SILENT)
def test_a_farm_without_hay_reads_nothing_of_hay(section: str) -> None:
    text = printed(stockless(), section)
    assert len(text) > 200
    assert "hay" not in text.lower()


def test_a_farm_with_hay_reads_of_it() -> None:
    result = fake_result.result()
    assert "Hay, tons" in printed(result, "summary")
    assert "Where the hay, the hours and the crops go" in printed(result, "balances")
    assert "those of hay our judgement" in printed(result, "field_days")


# ---------------------------------------------------------------- money


def test_net_return_names_the_fixed_cost_that_is_off_it() -> None:
    with_it = fake_result.result(farm=fake_result.farm(fixed_cost=12_000.0))
    without = fake_result.result(farm=fake_result.farm(fixed_cost=0.0))
    assert "less the fixed cost of $12,000 a year" in printed(with_it, "summary")
    assert "fixed cost" not in printed(without, "summary")


@pytest.mark.parametrize(
    ("floor", "said"),
    [
        (5_000.0, "must be at least $5,000"),
        (0.0, "may not fall below nothing"),
        (-3_000.0, "may fall at most $3,000 below nothing"),
    ],
)
def test_least_cash_is_said_to_be_that_of_one_harvest_year(floor: float, said: str) -> None:
    farm = fake_result.farm(cash_floor=floor, fixed_cost=12_000.0)
    text = " ".join(limits_in_words(farm, Wording(farm, fake_result.tables())))
    assert f"net return of each harvest year, fixed cost of $12,000 paid, {said}." in text
    assert "What earlier years left does not count." in text


def test_no_least_cash_is_said_to_be_no_limit() -> None:
    farm = fake_result.farm(cash_floor=-math.inf)
    assert "Least cash: no limit." in limits_in_words(farm, Wording(farm, fake_result.tables()))
    text = printed(fake_result.result(farm=farm))
    assert "Least cash: no limit." in text
    assert not re.search(r"\binf\b|\bnan\b", text)


def test_without_a_least_cash_plans_are_those_of_one_far_below_all_of_them() -> None:
    keep = ("spring_barley", "soybean", "corn_grain")
    free = planning.plan(replace(small(keep=keep), cash_floor=-math.inf), TABLES)
    low = planning.plan(replace(small(keep=keep), cash_floor=-10_000_000.0), TABLES)
    assert [plan.practices for plan in free.alternatives] == [plan.practices for plan in low.alternatives]
    text = printed(free)
    assert not re.search(r"\binf\b|\bnan\b", text)
    assert "Chance in ten" not in text
    assert "Chance in ten" in printed(low)
    assert all(check.agrees for checks in free.checks.values() for check in checks)


def richer(result: Result, more: float) -> Result:
    """The balanced plan brings so much more a year, in the plain mean, than the one with most money."""
    best = next(plan for plan in result.alternatives if plan.key == "most_money")
    raised = tuple(value + more for value in best.figures.net_return)
    return replace(
        result,
        alternatives=tuple(
            replace(plan, figures=replace(plan.figures, net_return=raised))
            if plan.key == "balanced"
            else plan
            for plan in result.alternatives
        ),
    )


def test_a_plan_with_a_higher_mean_than_most_money_is_explained() -> None:
    costs = {"interest_rate": 0.05}
    result = fake_result.result(farm=fake_result.farm(costs=costs))
    said = "B: Most money counts money that comes sooner as more, by 5% a year: so C can bring more"
    assert said in printed(richer(result, 500.0), "summary")
    assert "comes sooner" not in printed(richer(result, -500.0), "summary")
    weighed = fake_result.result(farm=fake_result.farm(costs=costs, bad_years_weight=0.3))
    assert "by 5% a year, and bad years with a weight of 30%: so C" in printed(
        richer(weighed, 500.0), "summary"
    )


def test_dollars_of_the_tables_are_never_another_currency_in_silence() -> None:
    euros = replace(stockless(), farm=replace(stockless().farm, currency="EUR"))
    assert "taken here one for one as EUR" in printed(euros, "sources")
    assert "one for one" not in printed(stockless())
