"""Whether to buy a machine: the best plan with it against the best plan without, what owning costs paid."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from itertools import combinations, pairwise

import numpy as np
from numpy.typing import NDArray

from .arrays import NOT_FARMED, Floats, SelectionData
from .columns import Paths
from .downside import with_bad_years
from .errors import NoPlanError
from .farm_arrays import selection_data
from .formulate import Figures, Goal
from .groundwork import Groundwork, lay
from .ownership import bought, machine_case, owning, work_of
from .records import BuyingChoice, Farm, MachineCase
from .select import Selected, improved, select
from .sequences import Grower, Pool

MOST_MONEY = Goal(kind="most_money")


def for_sale(farm: Farm) -> tuple[str, ...]:
    """Machines of the farm that might be bought."""
    return tuple(key for key, mine in farm.machines.items() if mine.buy)


def areas_of_pairs(data: SelectionData, paths: Paths) -> Mapping[int, float]:
    """Hectares of each pair over all years of a plan. [ha]"""
    areas: dict[int, float] = {}
    for land, path in zip(data.fields, paths, strict=True):
        for before, this in pairwise((land.history[-1], *path)):
            if NOT_FARMED not in (before, this):
                pair = int(data.pair_index[before, this])
                areas[pair] = areas.get(pair, 0.0) + land.area_ha
    return areas


def machine_cases(ground: Groundwork, data: SelectionData, paths: Paths) -> tuple[MachineCase, ...]:
    """Own against hire for each machine that is hired, can be hired beside the own one, or is for sale.

    Those that a plan has no work for are left out.
    """
    farm, areas = ground.farm, areas_of_pairs(data, paths)
    asked = [
        key for key, mine in farm.machines.items() if mine.status == "hire" or mine.also_hire or mine.buy
    ]
    found = []
    for key in asked:
        if key in ground.hours.machines:
            work = work_of(key, ground.hours, areas, data.years)
            if work.area_ha > 0.0:
                found.append(machine_case(key, farm, ground.tables, work))
    return tuple(found)


def own_against_hire(
    ground: Groundwork,
    data: SelectionData,
    base: Selected | None,
    *,
    tell: Callable[[str], None] = lambda text: None,
    pulled: Callable[[], bool] = lambda: False,
) -> tuple[tuple[MachineCase, ...], tuple[BuyingChoice, ...]]:
    """Own against hire in the plan with most money, and what buying would change; nothing without a plan."""
    if base is None:
        return (), ()
    choices = own_or_hire(ground, data, base, tell=tell, pulled=pulled)
    return machine_cases(ground, data, base.paths), choices


def own_or_hire(
    ground: Groundwork,
    data: SelectionData,
    base: Selected,
    *,
    tell: Callable[[str], None] = lambda text: None,
    pulled: Callable[[], bool] = lambda: False,
) -> tuple[BuyingChoice, ...]:
    """The best plan with each set of machines that might be bought, against buying nothing.

    Parameters
    ----------
    ground : Groundwork
        Of the farm that has bought nothing.
    data : SelectionData
        Of the same farm.
    base : Selected
        The plan with most money of that farm; its sequences start each search.
    tell : callable, optional
        Told what is being looked for.
    pulled : callable
        Asked now and then whether to stop.

    Returns
    -------
    tuple of BuyingChoice
        Buying nothing first, then the others, the best first; empty where nothing is for sale.

    Notes
    -----
    What owning costs does not depend on the plan but for the hours of a combine, so it is taken off after
    the search: it cannot change which plan is best with the machines bought. It is not held against the
    least cash of a year.
    """
    farm = ground.farm
    machines = for_sale(farm)
    if not machines:
        return ()
    nothing = BuyingChoice(machines=(), net=_mean(base.figures), owning=0.0, gain=0.0, gap=base.gap)
    found = []
    for number in range(1, len(machines) + 1):
        for some in combinations(machines, number):
            tell("Own or hire")
            found.append(_with(some, ground, data, base, pulled))
    return (nothing, *sorted(found, key=lambda each: (bool(each.why_not), -each.gain)))


def _with(
    machines: tuple[str, ...],
    ground: Groundwork,
    data: SelectionData,
    base: Selected,
    pulled: Callable[[], bool],
) -> BuyingChoice:
    """The best plan with some machines bought."""
    own = bought(ground.farm, machines)
    there = lay(own, ground.tables)
    changed = selection_data(there)
    pools = carried(base.pools, data, changed)
    try:
        changed, start = with_bad_years(there, changed, pools=pools, pulled=pulled)
        plan = select(
            changed,
            MOST_MONEY,
            pools=pools if start is None else start.pools,
            gap=max(2e-4, base.gap or 0.0),
            pulled=pulled,
        )
        if start is not None:
            plan = improved(changed, plan, start.paths, start.figures)
    except NoPlanError as fault:
        return BuyingChoice(
            machines=machines, net=0.0, owning=0.0, gain=-np.inf, gap=None, why_not=str(fault)
        )
    areas = areas_of_pairs(changed, plan.paths)
    cost = sum(
        owning(key, own, ground.tables, work_of(key, there.hours, areas, changed.years).hours).a_year
        for key in machines
    )
    before, after = base.figures, plan.figures
    gain = (after.present_value - before.present_value) / float(data.discount.sum()) - cost
    return BuyingChoice(machines=machines, net=_mean(after), owning=cost, gain=gain, gap=plan.gap)


def carried(pools: Sequence[Pool], old: SelectionData, new: SelectionData) -> tuple[Pool, ...]:
    """Sequences met for one farm, as far as another one with the same fields can follow them.

    A plan is kept only if all its sequences are.
    """
    place = {key: at for at, key in enumerate(new.practice_keys)}
    turned = np.array([place.get(key, NOT_FARMED - 1) for key in old.practice_keys], dtype=np.int64)
    grower = Grower(new)
    kept = []
    for pool in sorted(pools, key=lambda each: each.field):
        there = pool.paths.astype(np.int64)
        paths = np.where(there == NOT_FARMED, NOT_FARMED, turned[there])
        good = _can_be_followed(paths, new, pool.field)
        kept.append((pool, paths.astype(np.int16), good))
    plans = [
        number
        for number in range(min((len(pool.plans) for pool, _, _ in kept), default=0))
        if all(good[pool.plans[number]] for pool, _, good in kept)
    ]
    result = []
    for pool, paths, good in kept:
        row = np.cumsum(good) - 1
        mine = grower.pool(pool.field, np.ascontiguousarray(paths[good]))
        result.append(replace(mine, plans=tuple(int(row[pool.plans[number]]) for number in plans)))
    return tuple(result)


def _can_be_followed(paths: NDArray[np.int64], data: SelectionData, field: int) -> NDArray[np.bool_]:
    """(n,): whether every practice is there and may follow the one before it on this field."""
    land = data.fields[field]
    good = (paths >= NOT_FARMED).all(axis=1)
    before = np.full(len(paths), land.history[-1], dtype=np.int64)
    for year in range(data.years):
        this = paths[:, year]
        grown = this >= 0
        fits = np.where(
            grown,
            data.may_follow[before, np.maximum(this, 0)]
            & (data.pair_index[before, np.maximum(this, 0)] >= 0),
            this == NOT_FARMED,
        )
        good &= fits
        before = np.where(grown, this, before)
    return np.asarray(good, dtype=bool)


def _mean(figures: Figures) -> float:
    net: Floats = figures.net
    return float(net.mean())
