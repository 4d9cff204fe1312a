"""Budgets by crop and year: they add up to the net return that is printed, and so do hire and inputs."""

from collections import Counter

import pytest
from demo_farm import demo

from rotation_opt.records import Result


@pytest.fixture(scope="module")
def result() -> Result:
    return demo("lindenhang").result


def test_the_accounts_of_a_year_add_up_to_its_net_return(result: Result) -> None:
    for plan in result.alternatives:
        net: Counter[int] = Counter()
        for account in result.accounts[plan.key]:
            net[account.year] += sum(account.money.values())
        for place, value in enumerate(plan.figures.net_return):
            assert net[result.farm.first_year + place] == pytest.approx(value, abs=0.01)


def test_areas_and_tonnes_are_those_of_the_fields(result: Result) -> None:
    area = {field.name: field.area_ha for field in result.farm.fields}
    for plan in result.alternatives:
        for year in range(result.farm.first_year, result.farm.first_year + result.farm.years):
            accounts = [each for each in result.accounts[plan.key] if each.year == year and each.crop]
            fields = [each for each in plan.fields if each.year == year]
            assert sum(each.area_ha for each in accounts) == pytest.approx(sum(area[e.field] for e in fields))
            made = sum(each.yield_t_ha * area[each.field] for each in fields)
            assert sum(each.made_t for each in accounts) == pytest.approx(made)


def test_hire_by_year_is_what_the_figures_pay_for_beside_help_in_a_pinch(result: Result) -> None:
    for plan in result.alternatives:
        paid: Counter[int] = Counter()
        for hired in result.hired[plan.key]:
            paid[hired.year] += hired.cost
        for place, whole in enumerate(plan.figures.hire_cost):
            year = result.farm.first_year + place
            assert paid[year] == pytest.approx(whole - plan.figures.extra_hire_cost[place], abs=0.01)


def test_seed_is_sown_for_every_crop_that_is_sown(result: Result) -> None:
    for accounts in result.accounts.values():
        for account in accounts:
            if account.money.get("sown material", 0.0) < 0.0:
                assert sum(account.sown_kg.values()) > 0.0
