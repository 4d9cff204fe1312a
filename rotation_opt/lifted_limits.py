"""What the best plan would bring without one of the limits that are there or not, or that belong to a field.

The prices kept from the search say, with one growth of the sequences that are new, what each could bring at
most. Where that is more than without it, the plan is chosen anew: what is found says what it brings at least.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from .arrays import SelectionData
from .buying import carried
from .columns import Paths
from .errors import NoPlanError
from .farm_arrays import selection_data
from .formulate import Goal, Program
from .groundwork import Groundwork, lay
from .kept_bound import names_of
from .lifting import Lift, Lifting, lifts_of
from .priced_farm import Priced, same_land
from .records import TightLimit
from .select import Selected, evaluate, go_on_with, select
from .sequences import Pool
from .tight_limits import CASH, counts_more, proven_idle
from .what_if import FINEST, TRACE, WIDER

MOST_MONEY = Goal(kind="most_money")


@dataclass(frozen=True, slots=True)
class _Hope:
    """A limit lifted, with the most that any plan then brings."""

    lift: Lift
    there: Priced
    worths: list[float]  # most that a sequence of each field is worth at the prices
    bound: float  # money of today


def lifted_limits(
    ground: Groundwork,
    data: SelectionData,
    base: Selected,
    *,
    most: int = 2,
    pulled: Callable[[], bool] = lambda: False,
) -> tuple[TightLimit, ...]:
    """The limits of this kind with most at stake, and what the best plan would bring without each.

    Parameters
    ----------
    ground : Groundwork
    data : SelectionData
        Of the same farm.
    base : Selected
        The plan with most money, chosen from ``data``.
    most : int
        Limits looked at, those that could bring most first.
    pulled : callable
        Asked before each question whether to stop.

    Returns
    -------
    tuple of TightLimit
        What brings most first; those that are proven to bring nothing are left out.

    Notes
    -----
    All but the first question count the money of usual years, also where bad years count.
    """
    found: list[TightLimit] = []
    if data.limits.downside is not None and not pulled():
        try:
            data, plain = _usual_years(data, base)
        except NoPlanError:
            return ()
        found.append(_bad_years(ground, base, plain))
        base = plain
    lifts = lifts_of(ground.farm, ground.tables)
    if most > 0 and lifts and base.kept is not None and not pulled():
        asking = _Asking(ground, data, base, lifts)
        for hope in asking.hopes()[:most]:
            if pulled():
                break
            found.append(asking.ask(hope))
    for ask in (_late, _debt):
        if not pulled():
            found += ask(ground, data, base)
    return tuple(sorted((each for each in found if not proven_idle(each)), key=lambda each: -each.gain))


class _Asking:
    """One farm, its limits lifted one at a time at the prices kept from the search for its plan."""

    def __init__(
        self, ground: Groundwork, data: SelectionData, base: Selected, lifts: tuple[Lift, ...]
    ) -> None:
        assert base.kept is not None
        self.data, self.base, self.lifts = data, base, lifts
        self.lifting = Lifting(ground, data, lifts)
        self.years = float(data.discount.sum())
        own = Program(data, data.limits, every_row=True)
        self.prices = dict(zip(names_of(own), base.kept.prices_in(own), strict=True))
        self.plain = Priced(self.lifting.under(ground.farm), self.prices)
        fields = range(len(data.fields))
        self.worths = [self.plain.most(field) for field in fields]
        self.level = self.plain.bound(self.worths)
        self.better: list[Pool | None] = [None for _ in fields]
        if any(not lift.field for lift in lifts):
            everything = Priced(self.lifting.under(self.lifting.open.farm), self.prices, like=self.plain)
            self.better = [everything.above(field, self.worths[field]) for field in fields]

    def hopes(self) -> list[_Hope]:
        """Lifts that could bring something, what could bring most first."""
        found = []
        for lift in self.lifts:
            there = Priced(self.lifting.under(lift.farm), self.prices, like=self.plain)
            worths = [
                self._most_of_field(there, number)
                if lift.field
                else max(worth, there.most_of(number, self.better[number], worth))
                for number, worth in enumerate(self.worths)
            ]
            if worths == self.worths and not self._dearer(there):
                continue
            bound = there.bound(worths)
            if bound > self.level + TRACE * max(1.0, abs(self.level)):
                found.append(_Hope(lift, there, worths, bound))
        return sorted(found, key=lambda each: -each.bound)

    def _most_of_field(self, there: Priced, field: int) -> float:
        land, before = there.data.fields[field], self.plain.data.fields[field]
        return self.worths[field] if same_land(land, before) else there.most(field)

    def _dearer(self, there: Priced) -> bool:
        """Whether anybody pays more for what is grown."""
        now, before = there.data.limits.open_price_per_t, self.plain.data.limits.open_price_per_t
        made = np.isin(there.data.products, self.data.products)
        return bool((now > before)[:, made].any())

    def ask(self, hope: _Hope) -> TightLimit:
        """Chosen anew without the limit."""
        near = max(FINEST, WIDER * (self.base.gap or 0.0))
        there, plan = hope.there, self._moved(hope.there.data)
        go_on_with(there.grower)
        lands = zip(there.data.fields, self.plain.data.fields, hope.worths, self.worths, strict=True)
        freer = [n for n, (land, old, now, was) in enumerate(lands) if now > was or not same_land(land, old)]
        pools = carried(self.base.pools, self.data, there.data)
        pools = there.started(pools, plan, {field: there.near(field) for field in freer})
        kept = there.kept(hope.worths)
        try:
            found = select(there.data, MOST_MONEY, pools=pools, gap=near, quick=True, kept=kept)
        except NoPlanError:
            return _record(self.base, self.years, hope.lift, found=None, bound=hope.bound)
        bound = hope.bound if found.bound is None else min(hope.bound, found.bound)
        again = None if self._possible_before(found.paths) else found
        return _record(self.base, self.years, hope.lift, found=again, bound=bound)

    def _possible_before(self, paths: Paths) -> bool:
        """Whether a plan needed no limit lifted: what it brings more then says nothing about the limit."""
        for field, path in enumerate(paths):
            if not self.plain.possible(field, np.array([path], dtype=np.int64))[0]:
                return False
        before = evaluate(self.plain.data, paths)
        return not before.breaks and before.worth > self.base.figures.worth + TRACE

    def _moved(self, there: SelectionData) -> Paths:
        """The plan, in the practices of the freer farm."""
        place = {key: at for at, key in enumerate(there.practice_keys)}
        keys = self.data.practice_keys
        return tuple(tuple(p if p < 0 else place[keys[p]] for p in path) for path in self.base.paths)


def _record(
    base: Selected, years: float, lift: Lift, *, found: Selected | None, bound: float | None
) -> TightLimit:
    gain = 0.0
    if found is not None:
        gain = (found.figures.present_value - base.figures.present_value) / years
    units = {"lease": "year", "landlord": "share", "late": "day", "debt": "currency", "bad_years": "share"}
    return TightLimit(
        kind=lift.kind,
        what=lift.what,
        field=lift.field,
        outlet="",
        half_month=None,
        step=lift.step,
        unit=units.get(lift.kind, "whole"),  # type: ignore[arg-type]
        gain=max(0.0, gain),
        most=None if bound is None or counts_more(base.asked) else max(bound - base.value, 0.0) / years,
    )


# ---------------------------------------------------------------- limits that change dates, money or the aim


def _late(ground: Groundwork, data: SelectionData, base: Selected) -> list[TightLimit]:
    """Hired machines that come late, each a day sooner: all work is dated anew."""
    farm, found = ground.farm, []
    for key, own in sorted(farm.machines.items()):
        if own.status != "hire" or own.comes_late_days < 1 or key not in data.machines:
            continue
        sooner = replace(own, comes_late_days=own.comes_late_days - 1)
        there = lay(replace(farm, machines={**farm.machines, key: sooner}), ground.tables, like=ground)
        changed = replace(selection_data(there), weeds_left_price=data.weeds_left_price)
        near = max(FINEST, base.gap or 0.0)
        lift = Lift(kind="late", farm=there.farm, what=key)
        years = float(data.discount.sum())
        try:
            pools = carried(base.pools, data, changed)
            plan = select(changed, MOST_MONEY, pools=pools, gap=near, quick=True)
        except NoPlanError:
            continue
        found.append(_record(base, years, lift, found=plan, bound=plan.bound))
    return found


def _debt(ground: Groundwork, data: SelectionData, base: Selected) -> list[TightLimit]:
    """Less to be paid on debt: what it brings beside what is not paid."""
    step = min(CASH, ground.farm.debt_per_year)
    if step <= 0.0 or base.kept is None:
        return []
    limits, years = data.limits, float(data.discount.sum())
    eased = replace(limits, fixed_cost=limits.fixed_cost - step)
    before = base.kept.under(Program(data, limits, every_row=True))
    if base.kept.under(Program(data, eased, every_row=True)) >= before - TRACE * max(1.0, abs(before)):
        return []
    near = max(FINEST, WIDER * (base.gap or 0.0))
    try:
        plan = select(data, MOST_MONEY, limits=eased, pools=base.pools, gap=near, quick=True, kept=base.kept)
    except NoPlanError:
        return []
    lift = Lift(kind="debt", farm=ground.farm, step=step)
    saved = step * years
    bound = None if plan.bound is None else plan.bound - saved
    figures = replace(plan.figures, present_value=plan.figures.present_value - saved)
    return [_record(base, years, lift, found=replace(plan, figures=figures), bound=bound)]


def _usual_years(data: SelectionData, base: Selected) -> tuple[SelectionData, Selected]:
    """The farm where bad years do not count, and its plan with most money."""
    usual = replace(data, limits=replace(data.limits, downside=None))
    near = max(FINEST, base.gap or 0.0)
    return usual, select(usual, MOST_MONEY, pools=base.pools, gap=near, quick=True)


def _bad_years(ground: Groundwork, base: Selected, plain: Selected) -> TightLimit:
    """The money of usual years that is given up because bad years count."""
    lift = Lift(kind="bad_years", farm=ground.farm, step=ground.farm.bad_years_weight)
    years = float(base.asked.discount.sum())
    told = _record(base, years, lift, found=plain, bound=None)
    if plain.bound is None or counts_more(plain.asked):
        return told
    most = max(plain.bound - base.figures.present_value, 0.0) / years
    return replace(told, most=most)
