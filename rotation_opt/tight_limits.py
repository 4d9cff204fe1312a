"""The few limits that hold the plan with most money back, and what a step more of each brings.

The prices of the linear program only say where to look. Each figure comes from choosing anew with the limit
a practical step looser: a plan found says what the step brings at least, the bound what it brings at most.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from .arrays import NOT_FARMED, Floats, Limits, SelectionData, ShareData
from .features import HALF_MONTHS
from .formulate import Goal, Program
from .limit_rows import Row
from .records import LimitKind, TightLimit
from .select import Selected, evaluate, improved
from .what_if import (
    TRACE,
    Question,
    betters,
    extra_labour,
    feed_need,
    hire,
    labour,
    larger_outlet,
    largest_share,
    least_cash,
    least_cash_quarter,
    least_share,
    machine_hours,
    select_again,
    smaller_promise,
    storage,
)

MOST_MONEY = Goal(kind="most_money")
HOURS = 10.0
"""A day of work with a machine. [h]"""

TENTH = 0.1
CLOSE = 0.1  # a limit of which less than this share is left is close
CASH = 1000.0
IDLE = 0.5  # so little a year is nothing. [currency]
POINTS = 0.05
UNITS: dict[LimitKind, Literal["h", "ha", "t", "share", "currency"]] = {
    "labour": "h",
    "extra_labour": "h",
    "machine": "h",
    "hire": "h",
    "hired_area": "ha",
    "cash": "currency",
    "cash_quarter": "currency",
    "largest": "share",
    "least": "share",
    "promise": "t",
    "outlet": "t",
    "storage": "t",
    "feed": "t",
}


@dataclass(frozen=True, slots=True)
class Name:
    """Which limit: its kind, which machine, outlet or share, and the half-month."""

    kind: LimitKind
    number: int = 0
    half: int = 0


def loosened(data: SelectionData, name: Name) -> tuple[float, Question]:
    """A practical step of a limit, a round figure in the farm's units, and the question that takes it.

    A day of work, a tenth of an outlet, store, need or area, 1,000 of cash, 5 points of a share.
    """
    limits, say, number = data.limits, data.say, name.number
    match name.kind:
        case "labour":
            return HOURS, labour(limits, HOURS, name.half)
        case "extra_labour":
            return HOURS, extra_labour(limits, HOURS, name.half)
        case "machine":
            return HOURS, machine_hours(limits, number, data.machine_words[number], HOURS, name.half)
        case "hire":
            return HOURS, hire(limits, number, data.machine_words[number], hours=HOURS)
        case "hired_area":
            step = say.step_ha(max(1.0, TENTH * float(limits.hire_area_ha[number])))
            return step, hire(limits, number, data.machine_words[number], area_ha=step)
        case "cash":
            return CASH, least_cash(limits, limits.cash_floor - CASH)
        case "cash_quarter":
            return CASH, least_cash_quarter(limits, limits.cash_floor_quarter - CASH)
        case "largest":
            step = min(POINTS, 1.0 - limits.largest[number].share)
            return step, largest_share(limits, number, limits.largest[number].share + step)
        case "least":
            step = min(POINTS, limits.least[number].share)
            return step, least_share(limits, number, limits.least[number].share - step)
        case "promise":
            outlet = limits.outlets[number]
            step = say.step_t(max(1.0, TENTH * float(outlet.least_t.max())), outlet.product)
            step = min(step, float(outlet.least_t.max()))
            return step, smaller_promise(limits, number, step)
        case "outlet":
            outlet = limits.outlets[number]
            most = outlet.most_t[np.isfinite(outlet.most_t)].max(initial=0.0)
            step = say.step_t(max(1.0, TENTH * float(most)), outlet.product)
            return step, larger_outlet(limits, number, step)
        case "storage":
            step = say.step_hay_t(max(1.0, TENTH * limits.storage_t))
            return step, storage(limits, step)
        case "feed":
            step = min(say.step_hay_t(max(1.0, TENTH * limits.feed_need_t)), limits.feed_need_t)
            return step, feed_need(limits, limits.feed_need_t - step)
        case _:
            raise ValueError(f"a limit of the kind {name.kind} is no row of the program")


@dataclass(frozen=True, slots=True)
class _Found:
    """One question answered."""

    name: Name
    step: float
    limits: Limits
    chosen: Selected


def tight_limits(
    data: SelectionData,
    base: Selected,
    *,
    most: int = 3,
    near: float | None = None,
    pulled: Callable[[], bool] = lambda: False,
) -> tuple[tuple[TightLimit, ...], Selected]:
    """The limits with most at stake, what a step more of each brings, and the best plan met on the way.

    Parameters
    ----------
    data : SelectionData
    base : Selected
        The plan with most money, chosen from ``data``.
    most : int
        Limits looked at, those that seem dearest first.
    near : float, optional
        Gap at which each search may stop, as in `what_if.what_if`.
    pulled : callable
        Asked before each question whether to stop.

    Returns
    -------
    tight : tuple of TightLimit
        What brings most first; what is proven to bring nothing is left out. Gains count from the best plan
        known under the farm's own limits, in money that is earned, also where plans are chosen by more.
    best : Selected
        ``base``, or a better plan under the same limits if one of the questions brought it to light.
    """
    found = []
    for name in sorted(stakes := _stakes(data, base), key=lambda each: -stakes[each])[:most]:
        if pulled():
            break
        step, question = loosened(data, name)
        chosen = select_again(data, base, MOST_MONEY, question.limits, near=near)
        found.append(_Found(name, step, question.limits, chosen))
    best = _best(data, base, [each.chosen for each in found])
    told = [each for each in (_told(data, best, each) for each in found) if not proven_idle(each)]
    return tuple(sorted(told, key=lambda each: -each.gain)), best


def _told(data: SelectionData, best: Selected, found: _Found) -> TightLimit:
    """What one question brought, counted from the best plan known."""
    years, bound = float(data.discount.sum()), found.chosen.bound
    plans = [evaluate(data, paths, limits=found.limits) for paths in {best.paths, found.chosen.paths}]
    ahead = max(plans, key=lambda each: each.worth)
    return _record(
        data,
        found,
        gain=max(0.0, ahead.present_value - best.figures.present_value) / years,
        most=None if bound is None or counts_more(data) else max(bound - best.value, 0.0) / years,
    )


def counts_more(data: SelectionData) -> bool:
    """Whether plans are chosen by more than money that is earned: bounds are then not of it alone."""
    return data.limits.downside is not None or data.weeds_left_price > 0.0


def proven_idle(limit: TightLimit) -> bool:
    """Whether a limit is proven not to hold the plan back."""
    return limit.most is not None and limit.most <= IDLE


def counted_from(
    data: SelectionData, tight: Sequence[TightLimit], old: Selected, new: Selected
) -> tuple[TightLimit, ...]:
    """The same, counted from a better plan under the farm's own limits that was met later."""
    better = max(0.0, new.value - old.value) / float(data.discount.sum())
    return tuple(
        replace(
            each,
            gain=max(0.0, each.gain - better),
            most=None if each.most is None else max(0.0, each.most - better),
        )
        for each in tight
    )


def _best(data: SelectionData, base: Selected, others: list[Selected]) -> Selected:
    """The best plan met that keeps the farm's own limits."""
    best = base
    for other in others:
        if not betters(data, base, MOST_MONEY, other):
            continue
        best = improved(data, best, other.paths, evaluate(data, other.paths))
    return best


def _record(data: SelectionData, found: _Found, *, gain: float, most: float | None) -> TightLimit:
    name, limits = found.name, data.limits
    what = outlet = ""
    if name.kind in {"machine", "hire", "hired_area"}:
        what = data.machines[name.number]
    elif name.kind in {"promise", "outlet"}:
        outlet = limits.outlets[name.number].name
        what = data.products[limits.outlets[name.number].product]
    elif name.kind in {"largest", "least"}:
        what = (limits.largest if name.kind == "largest" else limits.least)[name.number].name
    return TightLimit(
        kind=name.kind,
        what=what,
        outlet=outlet,
        half_month=name.half if name.kind in {"labour", "extra_labour", "machine"} else None,
        step=found.step,
        unit=UNITS[name.kind],
        gain=gain,
        most=most,
    )


# ---------------------------------------------------------------- where to look


def _stakes(data: SelectionData, base: Selected) -> dict[Name, float]:
    """What a step of each limit seems to bring at the prices kept from the search; money of today.

    Limits without a price that the plan comes close to stand behind those with one.
    """
    stakes: dict[Name, float] = {}
    if base.kept is not None:
        program = Program(data, data.limits)
        prices = base.kept.prices_in(program)
        for row, price in zip(program.rows, prices, strict=True):
            name = _of_row(program, row)
            if name is not None and abs(price) > TRACE:
                stakes[name] = stakes.get(name, 0.0) + abs(float(price)) * _row_step(data, name, row)
        reduced = program.money_objective()[1] - prices @ program.recourse
        for variable, cost in zip(program.variables, reduced, strict=True):
            name = _of_upper(variable.key)
            if name is not None and variable.upper is not None and cost < -TRACE:
                stakes[name] = stakes.get(name, 0.0) - float(cost) * loosened(data, name)[0]
    least = min(stakes.values(), default=1.0)
    for place, name in enumerate(_close(data, base)):
        stakes.setdefault(name, 0.5 ** (place + 1) * least)
    return {name: stake for name, stake in stakes.items() if loosened(data, name)[0] > 0.0}


def _row_step(data: SelectionData, name: Name, row: Row) -> float:
    """A step of a limit in the unit of its row."""
    step = loosened(data, name)[0]
    if name.kind in {"largest", "least"}:
        shares = data.limits.largest if name.kind == "largest" else data.limits.least
        return step * abs(row.rhs) / max(shares[name.number].share, TRACE)
    return step


def _of_row(program: Program, row: Row) -> Name | None:
    """Which limit a row belongs to."""
    space, limits = program.space, program.limits
    keys = [program.variables[at].key for at in row.recourse]
    first = min(row.plan, default=0)
    match row.family:
        case "labour":
            return Name("labour", 0, (first - space.begin["labour"]) % space.shapes["labour"][-1])
        case "machines":
            place = np.unravel_index(first - space.begin["machine"], space.shapes["machine"])
            return Name("machine", int(place[0]), int(place[2]))
        case "hired_area":
            return Name("hired_area", (first - space.begin["hired"]) // space.shapes["hired"][-1])
        case "hire":
            return Name("hire", int(keys[0][1]))
        case "cash":
            return Name("cash")
        case "cash_quarter":
            return Name("cash_quarter")
        case "contracts":
            return Name("promise", int(keys[0][1]))
        case "feed":
            return Name("feed")
        case "largest_shares":
            names = [f"the largest share of {share.name}" for share in limits.largest]
            return Name("largest", names.index(row.limit))
        case "least_shares":
            names = [f"the least share of {share.name}" for share in limits.least]
            return Name("least", names.index(row.limit))
        case _:
            return None


def _of_upper(key: tuple[str | int, ...]) -> Name | None:
    """Which limit the upper end of a recourse variable is."""
    match key[0]:
        case "sold":
            return Name("outlet", int(key[1]))
        case "extra":
            return Name("extra_labour", 0, int(key[2]))
        case "stored":
            return Name("storage")
        case _:
            return None


def _close(data: SelectionData, base: Selected) -> list[Name]:
    """Limits that the plan comes close to, the closest first: in whole fields these bind without a price."""
    limits, done, figures = data.limits, base.figures.recourse, base.figures
    room: list[tuple[float, Name]] = []

    def add(name: Name, used: float, most: float) -> None:
        if used > 0.0 and np.isfinite(most) and used >= (1.0 - CLOSE) * most:
            room.append((1.0 - used / max(most, TRACE), name))

    for half in range(HALF_MONTHS):
        used = float(figures.labour_h[:, half].max())
        add(Name("labour", 0, half), used, float(limits.labour_h[half] + limits.extra_labour_h[half]))
        for number in range(len(data.machines)):
            worked = float(figures.machine_h[number, :, half].max())
            add(Name("machine", number, half), worked, float(limits.machine_h[number, half]))
    for number in range(len(data.machines)):
        helped = float(done.hire_extra_h[number].sum(axis=1).max())
        add(Name("hire", number), helped, float(limits.hire_extra_h[number]))
        add(
            Name("hired_area", number),
            float(figures.hired_ha[number].max()),
            float(limits.hire_area_ha[number]),
        )
    for number, outlet in enumerate(limits.outlets):
        sold = done.sold_t[number]
        for year in np.flatnonzero(outlet.most_t > 0.0):
            add(Name("outlet", number), float(sold[year]), float(outlet.most_t[year]))
            if outlet.least_t[year] > 0.0:
                add(Name("promise", number), float(outlet.least_t[year]), float(sold[year]))
    add(Name("storage"), float(done.stored_t.max(initial=0.0)), limits.storage_t)
    if np.isfinite(limits.cash_floor):
        left = float(figures.net.min()) - limits.cash_floor
        spent = max(float(np.abs(figures.net).max()), CASH)
        add(Name("cash"), spent - left, spent)
    for number, share in enumerate(limits.largest):
        add(Name("largest", number), float(_land_shares(data, base, share).max()), share.share)
    for number, share in enumerate(limits.least):
        add(Name("least", number), share.share, float(_land_shares(data, base, share, together=True)[0]))
    return list(dict.fromkeys(name for _, name in sorted(room, key=lambda each: each[0])))


def _land_shares(data: SelectionData, base: Selected, share: ShareData, *, together: bool = False) -> Floats:
    """(T,) share of the farmed land under a kind of crop each year, or (1,) over the years."""
    under, land = np.zeros(data.years), np.zeros(data.years)
    for field, path in zip(data.fields, base.paths, strict=True):
        for year, practice in enumerate(path):
            if practice != NOT_FARMED:
                land[year] += field.area_ha
                under[year] += field.area_ha * bool(share.member[practice])
    if together:
        under, land = under.sum(keepdims=True), land.sum(keepdims=True)
    return under / np.maximum(land, TRACE)
