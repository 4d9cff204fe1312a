"""Whether to buy a machine: the best plan with it against the best plan without, what owning costs paid."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from itertools import combinations, pairwise

import numpy as np
from numpy.typing import NDArray

from .arrays import NOT_FARMED, Floats, SelectionData
from .brake import Brake
from .clash import clash
from .columns import Paths
from .downside import with_bad_years
from .errors import NoPlanError
from .farm_arrays import selection_data
from .finance import even_yearly
from .formulate import Figures, Goal, Program
from .groundwork import Groundwork, lay
from .ownership import bought, machine_case, owning, work_of
from .pricing import Pricing
from .records import BuyingChoice, Farm, MachineCase
from .select import Selected, evaluate, grower_of, improved, select
from .sequences import Pool

MOST_MONEY = Goal(kind="most_money")
FINEST = 2e-4  # a gap at which no search for a machine goes on
ROUNDS = 4  # times that a plan is looked for at the cost of the hours of the one before
TIME_LIMIT_S = 120.0


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
    What owning costs a year is part of the farm's fixed cost when a plan is looked for, so every year has to
    bear it: what the least cash leaves no room for is no plan. A combine loses value by its hours, which
    only a plan knows: the search starts from what it costs unused, and is repeated at the cost of the plan
    it found where that plan no longer keeps the limits.

    First the linear program says how much money there can be at most. Where that is less than the plan
    without the machines brings, no plan is looked for: buying cannot be worth it.
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
    return (nothing, *sorted(found, key=lambda each: (bool(each.why_not), not each.searched, -each.gain)))


def _with(
    machines: tuple[str, ...],
    ground: Groundwork,
    data: SelectionData,
    base: Selected,
    pulled: Callable[[], bool],
) -> BuyingChoice:
    """The best plan with some machines bought, or that none can be worth it."""
    own = bought(ground.farm, machines)
    there = lay(own, ground.tables, like=ground)
    unpaid = replace(selection_data(there), weeds_left_price=data.weeds_left_price)
    pools = carried(base.pools, data, unpaid)

    def cost_of(paths: Paths) -> float:
        areas = areas_of_pairs(unpaid, paths)
        hours = {key: work_of(key, there.hours, areas, unpaid.years).hours for key in machines}
        return sum(owning(key, own, ground.tables, hours[key]).a_year for key in machines)

    least = sum(owning(key, own, ground.tables, 0.0).a_year for key in machines)
    spent = least
    try:
        if ground.farm.bad_years_weight <= 0.0:
            most, pools = _most_money(_paying(unpaid, least), pools, pulled)
            if most < base.figures.worth:
                lost = even_yearly(most - base.figures.worth, data.discount)
                return BuyingChoice(
                    machines=machines, net=0.0, owning=least, gain=lost, gap=None, searched=False
                )
        for _ in range(ROUNDS):
            changed, plan = _best(there, _paying(unpaid, spent), pools, base, pulled)
            spent = cost_of(plan.paths)
            after = evaluate(changed, plan.paths, limits=_paying(unpaid, spent).limits)
            if not after.breaks:
                break
            pools = plan.pools
        else:
            raise NoPlanError("No plan was found that can pay for the hours it uses them.", after.breaks)
    except NoPlanError as fault:
        return BuyingChoice(
            machines=machines, net=0.0, owning=least, gain=-np.inf, gap=None, why_not=_in_one_line(fault)
        )
    return BuyingChoice(
        machines=machines,
        net=_mean(after) + spent,
        owning=spent,
        gain=even_yearly(after.present_value - base.figures.present_value, data.discount),
        gap=plan.gap,
    )


def _in_one_line(fault: NoPlanError) -> str:
    said = [line.strip(" -.") for line in str(fault).splitlines()]
    return f"{said[0]}{': ' if said[1:] else ''}{'; '.join(said[1:])}."


def _paying(data: SelectionData, cost: float) -> SelectionData:
    """The same farm with so much more fixed cost a year."""
    return replace(data, limits=replace(data.limits, fixed_cost=data.limits.fixed_cost + cost))


def _most_money(
    data: SelectionData, pools: Sequence[Pool], pulled: Callable[[], bool]
) -> tuple[float, tuple[Pool, ...]]:
    """No plan brings more money of today than this; and the sequences met in finding that.

    Raises
    ------
    NoPlanError
        If not even fields shared between sequences keep all limits.
    """
    program = Program(data, data.limits)
    pricing = Pricing(grower_of(data), program, program.money_objective(), pools, Brake(TIME_LIMIT_S, pulled))
    if not pricing.solve():
        if pricing.brake.on:
            raise NoPlanError("The search was stopped before a plan was found.")
        raise clash(pricing)
    most = -pricing.bound - float(data.discount.sum()) * data.limits.fixed_cost
    return most, pricing.columns.pools(pricing.reduced_costs())


def _best(
    ground: Groundwork,
    data: SelectionData,
    pools: Sequence[Pool],
    base: Selected,
    pulled: Callable[[], bool],
) -> tuple[SelectionData, Selected]:
    """The plan with most money of a farm close to that of another plan: a short search from what is known."""
    changed, start = with_bad_years(ground, data, pools=pools, pulled=pulled)
    near = max(FINEST, base.gap or 0.0)
    met = pools if start is None else start.pools
    try:
        plan = select(changed, MOST_MONEY, pools=met, gap=near, quick=True, pulled=pulled)
    except NoPlanError:  # a short search finds no plan more easily than a long one
        plan = select(changed, MOST_MONEY, pools=met, gap=near, pulled=pulled)
    return changed, plan if start is None else improved(changed, plan, start.paths, start.figures)


def carried(pools: Sequence[Pool], old: SelectionData, new: SelectionData) -> tuple[Pool, ...]:
    """Sequences met for one farm, as far as another one with the same fields can follow them.

    A plan is kept only if all its sequences are.
    """
    place = {key: at for at, key in enumerate(new.practice_keys)}
    turned = np.array([place.get(key, NOT_FARMED - 1) for key in old.practice_keys], dtype=np.int64)
    grower = grower_of(new)
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
