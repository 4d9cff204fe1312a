"""Money of a plan by quarter of the calendar year: what is paid when the work is done, what comes in when.

Nothing here chooses. The plan's own seasons are dated and priced again, and each amount is booked twice: in
the quarter in which it is paid, and in the harvest year it is counted in. Added up over the quarters, the
second must give the net return that is printed; `cash_checks` says whether it does.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rotation_opt.arrays import SelectionData
from rotation_opt.budgets import weedy_grain
from rotation_opt.cash_dates import Dated, PaymentDates, first_harvest_month, month_of, year_of_sale
from rotation_opt.farm_arrays import extra_hire
from rotation_opt.groundwork import Groundwork
from rotation_opt.ledgers import CashCourse
from rotation_opt.practices import YEAR
from rotation_opt.records import Alternative, Check, Field, Practice, Programme
from rotation_opt.standing_hay import sold_as
from rotation_opt.workload import HALF_MONTHS

Array = npt.NDArray[np.float64]
MONEY = 1.0
"""Largest difference in money a year that counts as rounding, whole farm. [currency]"""

SALES, EXTRA_HELP, EXTRA_HIRE = "sales", "extra paid help", "hire in a pinch"
HAULING, HAY, RENT, FIXED, DEBT = "drying and hauling", "hay bought", "rent", "fixed cost", "debt"
WEEDY = "weeds in grain"


@dataclass(frozen=True, slots=True)
class Season:
    """One field in one year of a plan."""

    field: Field
    year: int  # 0 = first plan year
    pair: int
    practice: Practice
    programme: Programme
    made_t: float
    weed_loss: float = 0.0  # share of yield


def seasons(ground: Groundwork, plan: Alternative) -> Iterator[Season]:
    """The seasons of a plan with their dated work, field by field."""
    place, farm = ground.practice_list.index, ground.farm
    made = {(each.field, each.year - farm.first_year): each for each in plan.fields}
    for field in farm.fields:
        before = field.history[-1]
        for year, this in enumerate(plan.practices[field.name]):
            if not this:
                break
            pair, told = int(ground.pair_index[place[before], place[this]]), made.get((field.name, year))
            yield Season(
                field=field,
                year=year,
                pair=pair,
                practice=ground.practice_list.of(this).practice,
                programme=ground.programmes[pair],
                made_t=0.0 if told is None else told.yield_t_ha * field.area_ha,
                weed_loss=0.0 if told is None else told.weed_loss,
            )
            before = this


class _Ledger:
    """Amounts by what they are for, plan year they are counted in, and quarter they are paid in."""

    def __init__(self, years: int) -> None:
        self.years = years
        self.parts: dict[str, Array] = {}

    def book(self, part: str, counted: int, year: int, month: int, amount: float) -> None:
        """``year``: calendar year, 0 = first plan year; ``month``: 0-11; paid out is negative."""
        if amount == 0.0:
            return
        table = self.parts.setdefault(part, np.zeros((self.years, 4 * (self.years + 2))))
        table[counted, 4 * (year + 1) + month // 3] += amount

    def book_dated(self, part: str, counted: int, dated: Dated, amount: float) -> None:
        for day, share in dated:
            self.book(part, counted, counted + day // YEAR, month_of(day), amount * share)

    def book_evenly(self, part: str, year: int, amount: float) -> None:
        for quarter in range(4):
            self.book(part, year, year, 3 * quarter, amount / 4.0)


class CashFlow:
    """Books the money of one plan after the other; dates of a season are worked out once.

    Parameters
    ----------
    ground : Groundwork
    data : SelectionData
        Of the same farm: prices, and what is bought.
    """

    def __init__(self, ground: Groundwork, data: SelectionData) -> None:
        self.ground, self.data = ground, data
        self.farm, self.tables = ground.farm, ground.tables
        self.dates = PaymentDates(ground)
        self._extra_hire = extra_hire(self.farm, self.tables, ground.hours)

    def course(self, plan: Alternative) -> CashCourse:
        """Money of one plan by quarter."""
        ledger = _Ledger(self.farm.years)
        grown = list(seasons(self.ground, plan))
        for season in grown:
            self._field_costs(ledger, season)
        self._sales(ledger, plan, grown)
        self._bought_hay(ledger, plan)
        self._extra_help(ledger, grown)
        self._extra_machines(ledger, grown)
        for year in range(self.farm.years):
            ledger.book_evenly(FIXED, year, -(self.farm.fixed_cost - self.farm.debt_per_year))
            ledger.book(DEBT, year, year, self.farm.debt_month - 1, -self.farm.debt_per_year)
        return self._course(ledger)

    def _course(self, ledger: _Ledger) -> CashCourse:
        by_quarter = {part: table.sum(axis=0) for part, table in ledger.parts.items()}
        total = sum(by_quarter.values(), np.zeros(4 * (ledger.years + 2)))
        busy = np.flatnonzero(np.any(list(by_quarter.values()), axis=0)) if by_quarter else np.zeros(0, int)
        last = 4 * (ledger.years + 1)  # the first quarter after the plan
        first = min(int(busy[0]), 4) if busy.size else 4
        end = max(int(busy[-1]) + 1, last) if busy.size else last
        counted = sum((table.sum(axis=1) for table in ledger.parts.values()), np.zeros(ledger.years))
        return CashCourse(
            quarters=tuple((self.farm.first_year - 1 + q // 4, q % 4 + 1) for q in range(first, end)),
            parts={part: _plain(values[first:end]) for part, values in by_quarter.items()},
            by_plan_year=_plain(counted),
            opening=self.farm.cash_now,
            left=_plain(self.farm.cash_now + np.cumsum(total[first:end])),
            last=last - 1 - first,
        )

    # ------------------------------------------------------------ what a field costs

    def _field_costs(self, ledger: _Ledger, season: Season) -> None:
        area, budgets = season.field.area_ha, self.ground.budgets
        dates = self.dates.of_pair(season.pair)
        at_harvest: Dated = ((season.programme.harvest_day, 1.0),)
        for part, per_ha in budgets.parts.items():
            amount = -float(per_ha[season.pair]) * area
            ledger.book_dated(part, season.year, dates.get(part, at_harvest), amount)
        hauled = -season.made_t * float(budgets.haul_per_t[season.pair])
        ledger.book_dated(HAULING, season.year, at_harvest, hauled)
        off, from_loss = weedy_grain(season.practice.crop, self.farm, self.ground.tables)
        if season.weed_loss >= from_loss:
            mine = season.made_t * (1.0 - season.field.landlord_share)
            ledger.book_dated(WEEDY, season.year, at_harvest, -mine * off)
        ledger.book_evenly(RENT, season.year, -season.field.rent_per_ha * area)

    # ------------------------------------------------------------ what comes in

    def _sales(self, ledger: _Ledger, plan: Alternative, grown: Sequence[Season]) -> None:
        first = _first_harvests(grown)
        own_month = {f"{each.crop} @ {each.name}": each.sold_month for each in self.farm.outlets}
        for sold in sales(self.data, plan):
            harvested = first.get((sold.crop, sold.year), 1)
            month, usual = self.dates.month_of_sale(sold.crop, own_month.get(sold.sale), harvested)
            later, when = year_of_sale(month, harvested, usual=usual)
            ledger.book(SALES, sold.year, sold.year + later, when - 1, sold.tonnes * sold.price_per_t)

    def _bought_hay(self, ledger: _Ledger, plan: Alternative) -> None:
        if not any(plan.figures.feed_bought_t):
            return
        later, month = self.dates.hay_bought()
        for year, t in enumerate(plan.figures.feed_bought_t):
            ledger.book(HAY, year, year + later, month - 1, -t * self.data.limits.feed_price_per_t)

    # ------------------------------------------------------------ what is paid beyond the farm's own means

    def _hours(self, grown: Sequence[Season], per_ha: Array) -> Array:
        """Hours by calendar year (the autumn before the plan first) and half-month. (..., C, 24)"""
        total = np.zeros((*per_ha.shape[1:-2], self.farm.years + 1, HALF_MONTHS))
        for season in grown:
            total[..., season.year : season.year + 2, :] += per_ha[season.pair] * season.field.area_ha
        return total

    def _extra_help(self, ledger: _Ledger, grown: Sequence[Season]) -> None:
        labour = self.farm.labour
        beyond = max(0.0, labour.extra_wage_per_h - labour.wage_per_h)
        missing = self._hours(grown, self.ground.hours.labour) - np.array(labour.hours_by_half_month)
        found = np.clip(missing, 0.0, np.array(labour.extra_hours_by_half_month))
        for year, half in np.argwhere(found > 0.0):
            amount = -float(found[year, half]) * beyond
            ledger.book(EXTRA_HELP, max(int(year) - 1, 0), int(year) - 1, int(half) // 2, amount)

    def _extra_machines(self, ledger: _Ledger, grown: Sequence[Season]) -> None:
        """Help for own machines in the half-months in which they cannot do all the work."""
        most, cost = self._extra_hire
        hours = self._hours(grown, self.ground.hours.machine)
        for m, name in enumerate(self.ground.hours.machines):
            mine = self.farm.machines[name]
            if mine.status != "own" or not mine.also_hire:
                continue
            excess = np.maximum(hours[m] - self.ground.capacity.machine[m], 0.0)
            for year, needed in enumerate(excess.sum(axis=1)):
                if needed <= 0.0:
                    continue
                hired = min(needed, most[m]) / needed
                for half in np.flatnonzero(excess[year]):
                    amount = -float(excess[year, half]) * hired * float(cost[m])
                    ledger.book(EXTRA_HIRE, max(year - 1, 0), year - 1, int(half) // 2, amount)


@dataclass(frozen=True, slots=True)
class Sale:
    """What one outlet, or the open market, takes of one crop in one plan year."""

    sale: str  # "crop @ outlet", as in the plan's figures
    crop: str  # as it is sold: standing hay is a crop of its own
    year: int  # 0 = first plan year
    tonnes: float
    price_per_t: float  # less what carrying it to the outlet costs


def sales(data: SelectionData, plan: Alternative) -> Iterator[Sale]:
    """All sales of a plan."""
    limits, products = data.limits, data.products
    outlets = {f"{products[each.product]} @ {each.name}": each for each in limits.outlets}
    for sale, tonnes in plan.figures.sold_t.items():
        crop, outlet = sale.split(" @ ", 1)[0], outlets.get(sale)
        for year, t in enumerate(tonnes):
            price = (
                float(limits.open_price_per_t[year, products.index(crop)])
                if outlet is None
                else outlet.price_per_t - outlet.haul_per_t
            )
            yield Sale(sale, crop, year, t, price)


def cash_checks(
    course: CashCourse, plan: Alternative, currency: str, floor: float | None = None
) -> tuple[Check, ...]:
    """Whether the money by quarter adds up to the net return of each year, and to the cash at the end.

    Where a least cash in hand is asked for, also whether there is that much at the end of every quarter; not
    for a plan that says which limits it breaks.
    """
    years = np.array(course.by_plan_year) - np.array(plan.figures.net_return)
    worst = float(np.abs(years).max(initial=0.0))
    flows = np.sum(list(course.parts.values()), axis=0) if course.parts else np.zeros(len(course.left))
    end = abs(course.opening + float(np.sum(flows)) - course.left[-1])
    kept = () if floor is None or plan.breaks else (_floor_check(course, currency, floor),)
    return (
        *kept,
        Check(
            what="money by quarter = net return of each year",
            agrees=worst <= MONEY,
            largest_difference=worst,
            unit=currency,
        ),
        Check(
            what="cash at the start + money in - money out = cash at the end",
            agrees=end <= MONEY,
            largest_difference=end,
            unit=currency,
        ),
    )


def _floor_check(course: CashCourse, currency: str, floor: float) -> Check:
    short = max(floor - min(course.left[: course.last + 1]), 0.0)
    return Check(
        what="cash above its floor at the end of every quarter",
        agrees=short <= MONEY,
        largest_difference=short,
        unit=currency,
    )


def _first_harvests(grown: Sequence[Season]) -> dict[tuple[str, int], int]:
    """Month 1-12 of the first harvest, of hay the first cut, by crop and plan year."""
    first: dict[tuple[str, int], int] = {}
    for season in grown:
        key = sold_as(season.practice), season.year
        first[key] = min(first.get(key, 12), first_harvest_month(season.practice, season.programme))
    return first


def _plain(values: Array) -> tuple[float, ...]:
    return tuple(float(value) for value in values)
