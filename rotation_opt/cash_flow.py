"""Money of a plan by quarter of the calendar year: what is paid when the work is done, what comes in when.

Nothing here chooses. The plan's own seasons are dated and priced again, and each amount is booked twice: in
the quarter in which it is paid, and in the harvest year it is counted in. Added up over the quarters, the
second must give the net return that is printed; `cash_checks` says whether it does.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rotation_opt.arrays import SelectionData
from rotation_opt.budgets import running_rates, sown_costs, weedy_grain
from rotation_opt.farm_arrays import extra_hire
from rotation_opt.groundwork import Groundwork
from rotation_opt.ledgers import CashCourse
from rotation_opt.practices import MONTH_STARTS, YEAR
from rotation_opt.records import Alternative, Check, Field, Practice, Programme
from rotation_opt.standing_hay import sold_as
from rotation_opt.workload import HALF_MONTHS, crop_in_pass, crop_t_ha, cut_shares, hire_rate, pass_work

Array = npt.NDArray[np.float64]
Dated = tuple[tuple[int, float], ...]
"""Days of the season and what share of an amount falls on each."""

MONEY = 1.0
"""Largest difference in money a year that counts as rounding, whole farm. [currency]"""

LONG_WAIT = 8
"""A usual month of sale that is further off has just gone by: a late crop is sold at harvest. [months]"""

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


def month_of(day: int) -> int:
    """Month 0-11 of a day; days of other years are taken round.

    Examples
    --------
    >>> month_of(0), month_of(31), month_of(-1), month_of(365)
    (0, 1, 11, 0)
    """
    day %= YEAR
    return max(month for month in range(12) if MONTH_STARTS[month] <= day)


def year_of_sale(sold_month: int, harvest_month: int, *, usual: bool) -> tuple[int, int]:
    """Years after the harvest year, and month, in which a crop is paid for.

    Parameters
    ----------
    sold_month : int
        Calendar month of sale. [1-12]
    harvest_month : int
        Month in which the first of it is harvested. [1-12]
    usual : bool
        Whether the month is the usual one of the crop tables, not the grower's own.

    Examples
    --------
    >>> year_of_sale(11, 10, usual=True), year_of_sale(1, 10, usual=True)
    ((0, 11), (1, 1))
    >>> year_of_sale(9, 10, usual=True), year_of_sale(9, 10, usual=False)
    ((0, 10), (1, 9))
    """
    if sold_month >= harvest_month:
        return 0, sold_month
    if usual and sold_month + 12 - harvest_month > LONG_WAIT:
        return 0, harvest_month
    return 1, sold_month


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
        self._known: dict[int, Mapping[str, Dated]] = {}
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
        dates = self._known.get(season.pair)
        if dates is None:
            dates = self._known[season.pair] = self._dates(season)
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

    def _dates(self, season: Season) -> Mapping[str, Dated]:
        """When each part of the costs is paid, as shares; what is not named is paid at harvest."""
        programme, practice = season.programme, season.practice
        sown = programme.sowing_day
        start = min((op.day for op in programme.operations if op.day >= 0), default=programme.harvest_day)
        inputs = start if sown is None else sown
        labour, own, hired = self._work(programme, practice)
        return {
            "sown material": self._material(programme, practice, inputs),
            "other inputs": ((inputs, 1.0),),
            "nitrogen bought": ((self.nitrogen_day(inputs), 1.0),),
            "stand establishment": ((inputs, 1.0),),
            "labour": _shares(labour, inputs),
            "own machines": _shares(own, inputs),
            "hired work": _shares(hired, inputs),
        }

    def nitrogen_day(self, sown: int) -> int:
        """A crop that is sown before the new year gets its nitrogen in spring."""
        if sown >= 0:
            return sown
        return int(MONTH_STARTS[int(self.tables.number("money", "any", "autumn_crop_nitrogen_month")) - 1])

    def _work(self, programme: Programme, practice: Practice) -> tuple[list[tuple[int, float]], ...]:
        """Hours of own people, cost of own machines and cost of hire of each pass, with its day."""
        labour, own, hired = [], [], []
        yields, shares = crop_t_ha(practice, self.farm, self.tables), cut_shares(practice, self.tables)
        for op in programme.operations:
            crop = crop_in_pass(op, programme, yields, shares)
            work = pass_work(op.operation, crop, self.farm, self.tables)
            labour.append((op.day, work.labour))
            if work.machine not in self.ground.hours.machines:
                continue
            if work.hired:
                hired.append((op.day, work.units * hire_rate(work.machine, self.farm, self.tables)))
            else:
                a_pass, an_hour = running_rates(work.machine, self.farm, self.tables)
                own.append((op.day, a_pass + work.hours * an_hour))
        return labour, own, hired

    def _material(self, programme: Programme, practice: Practice, sown: int) -> Dated:
        """Each thing that is sown is paid for when it is sown."""
        costs = []
        for crop, cost in sown_costs(practice, self.tables).items():
            days = [c.start_day for c in programme.canopies if c.crop == crop and c.start == "sown"]
            costs.append((min(days, default=sown), cost))
        return _shares(costs, sown)

    # ------------------------------------------------------------ what comes in

    def _sales(self, ledger: _Ledger, plan: Alternative, grown: Sequence[Season]) -> None:
        limits, products = self.data.limits, self.data.products
        first = _first_harvests(grown)
        outlets = {f"{products[each.product]} @ {each.name}": each for each in limits.outlets}
        own_month = {f"{each.crop} @ {each.name}": each.sold_month for each in self.farm.outlets}
        for sale, tonnes in plan.figures.sold_t.items():
            crop = sale.split(" @ ", 1)[0]
            outlet = outlets.get(sale)
            for year, t in enumerate(tonnes):
                harvested = first.get((crop, year), 1)
                month, usual = self.month_of_sale(crop, own_month.get(sale), harvested)
                price = (
                    float(limits.open_price_per_t[year, products.index(crop)])
                    if outlet is None
                    else outlet.price_per_t - outlet.haul_per_t
                )
                later, when = year_of_sale(month, harvested, usual=usual)
                ledger.book(SALES, year, year + later, when - 1, t * price)

    def month_of_sale(self, crop: str, of_outlet: int | None, harvested: int) -> tuple[int, bool]:
        """Month in which a crop is paid for, and whether that is the usual one; standing hay as it is cut."""
        own = of_outlet or self.farm.sold_month.get(crop)
        if own:
            return own, False
        return int(self.tables.number_or("crop", crop, "sold_month", harvested)), True

    def _bought_hay(self, ledger: _Ledger, plan: Alternative) -> None:
        if not any(plan.figures.feed_bought_t):
            return
        month = self.month_of_hay()
        for year, t in enumerate(plan.figures.feed_bought_t):
            # what the harvest of a year does not give is bought in the winter after it
            later = 1 if month < 7 else 0
            ledger.book(HAY, year, year + later, month - 1, -t * self.data.limits.feed_price_per_t)

    def month_of_hay(self) -> int:
        """Calendar month in which hay bought in is paid for."""
        return int(self.tables.number("money", "any", "hay_bought_month"))

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


def cash_checks(course: CashCourse, plan: Alternative, currency: str) -> tuple[Check, ...]:
    """Whether the money by quarter adds up to the net return of each year, and to the cash at the end."""
    years = np.array(course.by_plan_year) - np.array(plan.figures.net_return)
    worst = float(np.abs(years).max(initial=0.0))
    flows = np.sum(list(course.parts.values()), axis=0) if course.parts else np.zeros(len(course.left))
    end = abs(course.opening + float(np.sum(flows)) - course.left[-1])
    return (
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


def _first_harvests(grown: Sequence[Season]) -> dict[tuple[str, int], int]:
    """Month 1-12 of the first harvest, of hay the first cut, by crop and plan year."""
    first: dict[tuple[str, int], int] = {}
    for season in grown:
        cuts = [day for c in season.programme.canopies if not c.under for day in c.cut_days if day >= 0]
        day = min(cuts) if season.practice.cuts and cuts else season.programme.harvest_day
        key = sold_as(season.practice), season.year
        first[key] = min(first.get(key, 12), month_of(day) + 1)
    return first


def _shares(costs: Sequence[tuple[int, float]], otherwise: int) -> Dated:
    """Costs by day as shares of their sum; all on one day where there are none."""
    whole = sum(cost for _, cost in costs)
    return tuple((day, cost / whole) for day, cost in costs if cost) if whole > 0.0 else ((otherwise, 1.0),)


def _plain(values: Array) -> tuple[float, ...]:
    return tuple(float(value) for value in values)
