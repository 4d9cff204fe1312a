"""What each crop of a plan brings and costs, year by year, and what is hired and sown for it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence

from rotation_opt.arrays import SelectionData
from rotation_opt.budgets import sown_kg_ha, weedy_grain
from rotation_opt.cash_flow import (
    DEBT,
    EXTRA_HELP,
    EXTRA_HIRE,
    FIXED,
    HAULING,
    HAY,
    RENT,
    SALES,
    WEEDY,
    Season,
    sales,
    seasons,
)
from rotation_opt.groundwork import Groundwork
from rotation_opt.ledgers import CropAccount, HiredWork
from rotation_opt.records import Alternative
from rotation_opt.standing_hay import sold_as
from rotation_opt.workload import hire_rate, hire_unit


def crop_accounts(ground: Groundwork, data: SelectionData, plan: Alternative) -> tuple[CropAccount, ...]:
    """The accounts of one plan: year by year its crops by area, then the farm as a whole.

    What is sold of a product is shared out over the crops that made it by the tonnes they made.

    Parameters
    ----------
    ground : Groundwork
    data : SelectionData
        Of the same farm: prices, and what is bought.
    plan : Alternative
    """
    grown = list(seasons(ground, plan))
    found: list[CropAccount] = []
    for year in range(ground.farm.years):
        mine = [season for season in grown if season.year == year]
        found += _crops(ground, data, plan, mine, year)
        found.append(_farm(ground, data, plan, year))
    return tuple(found)


def _crops(
    ground: Groundwork, data: SelectionData, plan: Alternative, grown: Sequence[Season], year: int
) -> Iterator[CropAccount]:
    made: dict[str, float] = defaultdict(float)
    earned: dict[str, float] = defaultdict(float)
    for season in grown:
        made[sold_as(season.practice)] += season.made_t
    for sold in sales(data, plan):
        if sold.year == year:
            earned[sold.crop] += sold.tonnes * sold.price_per_t
    by_crop: dict[str, list[Season]] = defaultdict(list)
    for season in grown:
        by_crop[season.practice.crop].append(season)
    area = {crop: sum(season.field.area_ha for season in those) for crop, those in by_crop.items()}
    for crop in sorted(by_crop, key=lambda crop: (-area[crop], crop)):
        money: dict[str, float] = defaultdict(float)
        sown: dict[str, float] = defaultdict(float)
        nitrogen = 0.0
        for season in by_crop[crop]:
            product, ha = sold_as(season.practice), season.field.area_ha
            if made[product] > 0.0:
                money[SALES] += earned[product] * season.made_t / made[product]
            for part, amount in _costs(ground, season):
                money[part] -= amount
            for what, kg_ha in sown_kg_ha(season.practice, ground.tables).items():
                sown[what] += kg_ha * ha
            nitrogen += float(ground.budgets.nitrogen_kg_ha[season.pair]) * ha
        yield CropAccount(
            year=ground.farm.first_year + year,
            crop=crop,
            area_ha=area[crop],
            made_t=sum(season.made_t for season in by_crop[crop]),
            sown_kg=dict(sown),
            nitrogen_kg=nitrogen,
            money={part: amount for part, amount in money.items() if amount},
        )


def _costs(ground: Groundwork, season: Season) -> Iterator[tuple[str, float]]:
    """What a season costs, by what it is for."""
    ha, budgets = season.field.area_ha, ground.budgets
    for part, per_ha in budgets.parts.items():
        yield part, float(per_ha[season.pair]) * ha
    yield HAULING, season.made_t * float(budgets.haul_per_t[season.pair])
    off, from_loss = weedy_grain(season.practice.crop, ground.farm, ground.tables)
    if season.weed_loss >= from_loss:
        yield WEEDY, season.made_t * (1.0 - season.field.landlord_share) * off
    yield RENT, season.field.rent_per_ha * ha


def _farm(ground: Groundwork, data: SelectionData, plan: Alternative, year: int) -> CropAccount:
    """What belongs to no crop."""
    farm, figures = ground.farm, plan.figures
    money = {
        EXTRA_HELP: -figures.extra_labour_cost[year],
        EXTRA_HIRE: -figures.extra_hire_cost[year],
        HAY: -figures.feed_bought_t[year] * data.limits.feed_price_per_t,
        FIXED: -(farm.fixed_cost - farm.debt_per_year),
        DEBT: -farm.debt_per_year,
    }
    return CropAccount(
        year=farm.first_year + year,
        crop="",
        area_ha=0.0,
        made_t=0.0,
        sown_kg={},
        nitrogen_kg=0.0,
        money={part: amount for part, amount in money.items() if amount},
    )


def hired_work(ground: Groundwork, plan: Alternative) -> tuple[HiredWork, ...]:
    """What is hired in each year of a plan, beside help for own machines in a pinch.

    Parameters
    ----------
    ground : Groundwork
    plan : Alternative
    """
    farm, tables, hours = ground.farm, ground.tables, ground.hours
    amounts: dict[tuple[int, str], float] = defaultdict(float)
    for season in seasons(ground, plan):
        for place, machine in enumerate(hours.machines):
            units = float(hours.hired_units[season.pair, place]) * season.field.area_ha
            if units > 0.0:
                amounts[farm.first_year + season.year, machine] += units
    return tuple(
        HiredWork(
            year=year,
            machine=machine,
            unit=hire_unit(machine, farm, tables),
            amount=amount,
            cost=amount * hire_rate(machine, farm, tables),
        )
        for (year, machine), amount in sorted(amounts.items())
    )
