"""When money is paid and comes in: each part of a season's costs, sales by the month, hay bought in.

Both the selection, where a least cash by quarter is a limit, and the printed course of cash go by it.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt

from .arrays import QUARTERS_BEFORE, QUARTERS_SPANNED, CashDates, OutletData
from .budgets import running_rates, sown_costs
from .groundwork import Groundwork
from .practices import MONTH_STARTS, YEAR
from .records import Practice, Programme
from .standing_hay import sold_as
from .workload import crop_in_pass, crop_t_ha, cut_shares, hire_rate, pass_work

Array = npt.NDArray[np.float64]
Dated = tuple[tuple[int, float], ...]
"""Days of the season and what share of an amount falls on each."""

LONG_WAIT = 8
"""A usual month of sale that is further off has just gone by: a late crop is sold at harvest. [months]"""


def month_of(day: int) -> int:
    """Month 0-11 of a day; days of other years are taken round.

    Examples
    --------
    >>> month_of(0), month_of(31), month_of(-1), month_of(365)
    (0, 1, 11, 0)
    """
    return bisect_right(MONTH_STARTS, day % YEAR) - 1


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


class PaymentDates:
    """When the money of one farm moves; dates of a season are worked out once.

    Parameters
    ----------
    ground : Groundwork
    """

    def __init__(self, ground: Groundwork) -> None:
        self.ground, self.farm, self.tables = ground, ground.farm, ground.tables
        self._known: dict[int, Mapping[str, Dated]] = {}
        self._passes: dict[tuple[str, float], tuple[float, float, float]] = {}

    # ------------------------------------------------------------ what a season costs

    def of_pair(self, pair: int) -> Mapping[str, Dated]:
        """When each part of the costs of a pair is paid, as shares; what is not named is paid at harvest."""
        if pair not in self._known:
            programme = self.ground.programmes[pair]
            practice = self.ground.practice_list.of(programme.practice).practice
            self._known[pair] = self._dates(programme, practice)
        return self._known[pair]

    def _dates(self, programme: Programme, practice: Practice) -> Mapping[str, Dated]:
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
        labour: list[tuple[int, float]] = []
        own: list[tuple[int, float]] = []
        hired: list[tuple[int, float]] = []
        yields, shares = crop_t_ha(practice, self.farm, self.tables), cut_shares(practice, self.tables)
        for op in programme.operations:
            crop = crop_in_pass(op, programme, yields, shares)
            for amounts, amount in zip((labour, own, hired), self._pass(op.operation, crop), strict=True):
                amounts.append((op.day, amount))
        return labour, own, hired

    def _pass(self, operation: str, crop: float) -> tuple[float, float, float]:
        """Hours of own people, cost of the own machine and cost of hire of one pass over a hectare."""
        if (operation, crop) not in self._passes:
            work, own, hired = pass_work(operation, crop, self.farm, self.tables), 0.0, 0.0
            if work.machine in self.ground.hours.machines:
                if work.hired:
                    hired = work.units * hire_rate(work.machine, self.farm, self.tables)
                else:
                    a_pass, an_hour = running_rates(work.machine, self.farm, self.tables)
                    own = a_pass + work.hours * an_hour
            self._passes[operation, crop] = work.labour, own, hired
        return self._passes[operation, crop]

    def _material(self, programme: Programme, practice: Practice, sown: int) -> Dated:
        """Each thing that is sown is paid for when it is sown."""
        costs = []
        for crop, cost in sown_costs(practice, self.tables).items():
            days = [c.start_day for c in programme.canopies if c.crop == crop and c.start == "sown"]
            costs.append((min(days, default=sown), cost))
        return _shares(costs, sown)

    # ------------------------------------------------------------ what comes in

    def month_of_sale(self, crop: str, of_outlet: int | None, harvested: int) -> tuple[int, bool]:
        """Month in which a crop is paid for, and whether that is the usual one; standing hay as it is cut."""
        own = of_outlet or self.farm.sold_month.get(crop)
        if own:
            return own, False
        return int(self.tables.number_or("crop", crop, "sold_month", harvested)), True

    def hay_bought(self) -> tuple[int, int]:
        """Years after the harvest year, and month, in which hay that the harvest did not give is paid for."""
        month = int(self.tables.number("money", "any", "hay_bought_month"))
        return (1 if month < 7 else 0), month  # in the winter after the harvest

    # ------------------------------------------------------------ for the selection

    def for_selection(self, outlets: Sequence[OutletData], products: Sequence[str]) -> CashDates:
        """All of this by quarter.

        A crop is paid for by the month of its first harvest in a year, which only a plan knows; here it is
        paid for as late as with any way to grow it on this farm, so that no plan seems to have money sooner
        than it has.
        """
        sold = defaultdict(set, self._harvest_months())  # what cannot be grown here is harvested in no month
        own = {f"{each.crop} @ {each.name}": each.sold_month for each in self.farm.outlets}
        after, month = self.hay_bought()
        return CashDates(
            cost_per_ha=self._cost_by_quarter(),
            carried=np.array([_quarter(each.harvest_day) for each in self.ground.programmes], np.int64),
            open_sold=np.array([self._sold(crop, None, sold[crop]) for crop in products], np.int64),
            outlet_sold=np.array(
                [
                    self._sold(
                        products[each.product],
                        own[f"{products[each.product]} @ {each.name}"],
                        sold[products[each.product]],
                        soon=each.price_per_t < each.haul_per_t,
                    )
                    for each in outlets
                ],
                np.int64,
            ),
            hay_bought=4 * after + (month - 1) // 3,
            debt_per_year=self.farm.debt_per_year,
            debt_quarter=(self.farm.debt_month - 1) // 3,
        )

    def _cost_by_quarter(self) -> Array:
        """Costs of a hectare of each pair by quarter, (pairs, 12) as in `CashDates`. [currency/ha]"""
        programmes = self.ground.programmes
        parts = {part: per_ha.tolist() for part, per_ha in self.ground.budgets.parts.items()}
        cost = [[0.0] * QUARTERS_SPANNED for _ in programmes]
        for pair, programme in enumerate(programmes):
            dates, at_harvest = self.of_pair(pair), ((programme.harvest_day, 1.0),)
            for part, per_ha in parts.items():
                for day, share in dates.get(part, at_harvest):
                    cost[pair][QUARTERS_BEFORE + _quarter(day)] += share * per_ha[pair]
        return np.array(cost).reshape(len(programmes), QUARTERS_SPANNED)

    def _harvest_months(self) -> dict[str, set[int]]:
        """Months in which the first of each thing that is sold may be harvested."""
        months: dict[str, set[int]] = {}
        for programme in self.ground.programmes:
            practice = self.ground.practice_list.of(programme.practice).practice
            months.setdefault(sold_as(practice), set()).add(first_harvest_month(practice, programme))
        return months

    def _sold(self, crop: str, own: int | None, harvested: set[int], *, soon: bool = False) -> int:
        """Quarter in which a crop is paid for at the latest; the soonest for one that costs money to sell."""
        quarters = []
        for month in harvested:
            sold, usual = self.month_of_sale(crop, own, month)
            later, when = year_of_sale(sold, month, usual=usual)
            quarters.append(4 * later + (when - 1) // 3)
        return min(quarters, default=0) if soon else max(quarters, default=0)


def first_harvest_month(practice: Practice, programme: Programme) -> int:
    """Month 1-12 of the harvest of a season, of hay that of its first cut."""
    cuts = [day for c in programme.canopies if not c.under for day in c.cut_days if day >= 0]
    return month_of(min(cuts) if practice.cuts and cuts else programme.harvest_day) + 1


def _quarter(day: int) -> int:
    """Quarter of a day, counted from the first of the harvest year; -1 = the autumn before."""
    return 4 * (day // YEAR) + month_of(day) // 3


def _shares(costs: Sequence[tuple[int, float]], otherwise: int) -> Dated:
    """Costs by day as shares of their sum; all on one day where there are none."""
    whole = sum(cost for _, cost in costs)
    return tuple((day, cost / whole) for day, cost in costs if cost) if whole > 0.0 else ((otherwise, 1.0),)
