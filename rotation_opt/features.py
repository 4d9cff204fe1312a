"""What one sequence asks of the farm, as a flat list of numbers that add up over fields.

Money and tonnes of each year, hours of each half-month, land under each practice, burden of each autumn;
where a least cash by quarter is asked for, money of each quarter too.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .arrays import QUARTERS_BEFORE, QUARTERS_SPANNED, CashDates, Floats, MachineWork, SelectionData
from .sequences import Pool

HALF_MONTHS = 24


class Space:
    """Where each feature stands in the list of features."""

    def __init__(self, data: SelectionData) -> None:
        years, machines = data.years, len(data.machines)
        self.shapes = {
            "money": (years,),
            "tonnes": (years, len(data.products)),
            "labour": (years + 1, HALF_MONTHS),
            "machine": (machines, years + 1, HALF_MONTHS),
            "hired": (machines, years),
            "land": (years, len(data.practice_keys)),
            "burden": (years,),
            "paid": (data.quarters,),
        }
        self.begin: dict[str, int] = {}
        at = 0
        for name, shape in self.shapes.items():
            self.begin[name] = at
            at += int(np.prod(shape))
        self.size = at

    def at(self, name: str, *index: int) -> int:
        """Position of one feature."""
        return self.begin[name] + int(np.ravel_multi_index(index, self.shapes[name]))

    def part(self, name: str, values: Floats) -> Floats:
        """One kind of feature, in its own shape, out of ``values`` (features on the last axis)."""
        shape = self.shapes[name]
        cut = values[..., self.begin[name] : self.begin[name] + int(np.prod(shape))]
        return cut.reshape(*values.shape[:-1], *shape)


def space_view(space: Space, name: str, values: Floats) -> Floats:
    """A writable stretch of a flat list of features."""
    size = int(np.prod(space.shapes[name]))
    return values[space.begin[name] : space.begin[name] + size]


def features(
    data: SelectionData, space: Space, pool: Pool, machine_work: Sequence[MachineWork] = ()
) -> Floats:
    """Features of every sequence of a pool, whole field: (n, features).

    Parameters
    ----------
    machine_work : sequence of MachineWork, optional
        Of the same farm, where it is at hand: hours that nobody needs are then not added up.
    """
    result = np.zeros((len(pool), space.size))
    area = data.fields[pool.field].area_ha
    space.part("money", result)[:] = pool.money
    space.part("burden", result)[:] = pool.burden
    rows = np.arange(len(pool))
    tonnes, land = space.part("tonnes", result), space.part("land", result)
    labour, machine, hired = (space.part(name, result) for name in ("labour", "machine", "hired"))
    for year in range(data.years):
        pair = pool.pairs[:, year]
        if len(pair) == 0 or pair[0] < 0:
            continue
        practice = pool.paths[:, year].astype(np.int64)
        product = data.product_of[practice]
        sells = product >= 0
        tonnes[rows[sells], year, product[sells]] = pool.tonnes[sells, year]
        land[rows, year, practice] = area
        for offset in (0, 1):
            labour[:, year + offset] += area * data.labour_h[pair, offset]
            if not machine_work:
                machine[:, :, year + offset] += area * data.machine_h[pair, :, offset]
        for work in machine_work:
            machine[:, work.machine, year + work.offset, work.half] += area * work.hours[pair]
        hired[:, :, year] = area * data.hired_area[pair]
    if data.cash_dates is not None:
        _money_by_quarter(data, data.cash_dates, pool, space.part("paid", result))
    return result


def _money_by_quarter(data: SelectionData, dates: CashDates, pool: Pool, paid: Floats) -> None:
    """The field's own money in the quarter in which it is paid; paid out is negative."""
    land, rows = data.fields[pool.field], np.arange(len(pool))
    for year in range(data.years):
        pair = pool.pairs[:, year]
        if len(pair) == 0 or pair[0] < 0:
            continue
        begin = 4 * (year + 1)
        first = begin - QUARTERS_BEFORE
        end = min(first + QUARTERS_SPANNED, data.quarters)
        paid[:, first:end] -= land.area_ha * dates.cost_per_ha[pair, : end - first]
        paid[:, begin : begin + 4] -= land.area_ha * land.rent_per_ha / 4.0
        ratio = land.ratio(pool.paths[:, year].astype(np.int64))
        made = land.area_ha * ratio * data.yield_t_ha[pair] * (1.0 - pool.loss[:, year])
        when = begin + dates.carried[pair]
        some = (data.product_of[pool.paths[:, year].astype(np.int64)] >= 0) & (when < data.quarters)
        cost = made * data.haul_per_t[pair]
        if data.weedy is not None:
            mine = pool.paths[:, year].astype(np.int64)
            cost += made * (1.0 - land.landlord_share) * data.weedy.off(mine, pool.loss[:, year])
        paid[rows[some], when[some]] -= cost[some]
