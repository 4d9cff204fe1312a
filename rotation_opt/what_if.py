"""What a changed limit does to a plan: the search starts from the sequences met for the plan itself.

Only what changes is told. A plan that still keeps every limit stays possible, so a limit that is loosened can
never make the answer worse.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from .arrays import NOT_FARMED, Floats, Limits, OutletData, SelectionData, ShareData
from .columns import Paths, allowed_paths
from .errors import NoPlanError
from .features import HALF_MONTHS
from .formulate import Figures, Goal
from .limit_rows import half_month_words
from .select import Selected, evaluate, gap_of, select, weighted_burden
from .stricter import no_looser, within_fields

TRACE = 1e-6
FINEST = 2e-4
WIDER = 1.5  # times the gap of the plan, as a bound kept from the linear program lacks the proof by cases


@dataclass(frozen=True, slots=True, kw_only=True)
class Swap:
    """One field in one year: the practice before and after (indices; -1 = not farmed)."""

    field: int
    year: int
    before: int
    after: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One figure that changes: year (of the plan, or calendar year for hours), what, and by how much."""

    year: int
    what: int
    amount: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """A plan before and after a change, and only what differs.

    Parameters
    ----------
    before, after : Figures
    paths : tuple of tuple of int
        The plan after the change.
    value : (float, float)
        What the goal counts, before and after, more is better: money of today, or minus the burden.
    bound : (float or None, float or None)
        No plan can be better than this, before and after.
    gap : (float or None, float or None)
        How far from the best at most, as share.
    swaps : tuple of Swap
        Field-years whose practice changes.
    money : (T,)
        Net return of each year, after less before.
    burden : (T,)
        ha of full-strength stand on 1 November, likely course, after less before.
    hours : tuple of Step
        Labour; ``year`` is a calendar year (0 = the autumn before the plan), ``what`` the half-month. [h]
    tonnes : tuple of Step
        The grower's tonnes; ``year`` is a plan year, ``what`` the product. [t]
    chosen : Selected
        As from `select`, to ask the next question of.
    bettered : bool
        Whether the plan after the change keeps the old limits too and is better than the plan before: the
        old plan was not the best one, and the change has nothing to do with it.
    """

    before: Figures
    after: Figures
    paths: Paths
    value: tuple[float, float]
    bound: tuple[float | None, float | None]
    gap: tuple[float | None, float | None]
    swaps: tuple[Swap, ...]
    money: Floats
    burden: Floats
    hours: tuple[Step, ...]
    tonnes: tuple[Step, ...]
    chosen: Selected
    bettered: bool

    @property
    def gain(self) -> float:
        """Value after less value before; below zero = worse."""
        return self.value[1] - self.value[0]


def what_if(
    data: SelectionData, base: Selected, goal: Goal, limits: Limits, *, near: float | None = None
) -> Change:
    """Answer a change of one or several limits from what the search for the plan has met.

    Parameters
    ----------
    data : SelectionData
        That ``base`` was chosen from.
    base : Selected
    goal : Goal
        That ``base`` was chosen for.
    limits : Limits
        The changed ones, as from the functions below.
    near : float, optional
        Gap at which the search may stop; by default that of the plan. A wider one is answered sooner.

    Raises
    ------
    NoPlanError
        If no plan keeps the changed limits.
    """
    found = select_again(data, base, goal, limits, near=near)
    return compare(data, base, goal, found, bettered=betters(data, base, goal, found))


def select_again(
    data: SelectionData,
    base: Selected,
    goal: Goal,
    limits: Limits | None = None,
    *,
    near: float | None = None,
) -> Selected:
    """Choose anew from the pools of a plan, as near to the best as that plan was shown to be.

    Where nothing is looser and the old plan is worth what it was, no search is needed: what was proven of it
    still holds. Where the old plan still fits and is better than what was found, it is the answer.
    """
    used = data.limits if limits is None else limits
    same_fields = within_fields(data, base.asked)
    stricter = same_fields and no_looser(used, base.asked.limits)
    if stricter and (figures := _as_good(data, base, goal, used)) is not None:
        return replace(base, figures=figures, asked=replace(data, limits=used), rounds=0, seconds=0.0)
    kept, pools = base.kept, base.pools
    if not same_fields:  # a sequence that is allowed here may not have been there
        kept, pools = None, tuple(replace(pool, complete=False) for pool in pools)
    if near is None:
        wider = 1.0 if kept is None else WIDER
        near = FINEST if base.gap is None else max(FINEST, wider * base.gap)
    try:
        found = select(data, goal, limits=used, pools=pools, gap=near, quick=True, kept=kept)
    except NoPlanError:
        figures = _fitting(data, base, goal, used)
        if figures is None:
            raise
        own = figures.worth if goal.kind == "most_money" else weighted_burden(data, figures)
        asked = replace(data, limits=used)
        return replace(base, value=own, bound=None, gap=None, money_bound=None, figures=figures, asked=asked)
    if stricter:
        found = _no_better(data, goal, found, base.bound)
    return guarded(data, base, goal, found, used)


def _fitting(data: SelectionData, base: Selected, goal: Goal, limits: Limits) -> Figures | None:
    """Figures of the old plan if it keeps all limits."""
    if not allows(data, base.paths):
        return None
    kept = evaluate(data, base.paths, limits=limits)
    dirty = goal.burden_most is not None and weighted_burden(data, kept) > goal.burden_most + TRACE
    return None if kept.breaks or dirty else kept


def _as_good(data: SelectionData, base: Selected, goal: Goal, limits: Limits) -> Figures | None:
    """Figures of the old plan if it keeps all limits and is worth as much as it was."""
    if not allows(data, base.paths):
        return None
    kept = evaluate(data, base.paths, limits=limits)
    before = base.figures.worth  # its weeds do not change with the limits
    as_good = kept.worth >= before - TRACE * max(1.0, abs(before))
    return kept if as_good and not kept.breaks else None


def _no_better(data: SelectionData, goal: Goal, found: Selected, bound: float | None) -> Selected:
    """What was proven before some limits became stricter holds beside what was proven since."""
    if bound is None:
        return found
    if found.bound is not None:
        bound = (min if goal.kind == "most_money" else max)(bound, found.bound)
    return replace(found, bound=bound, gap=gap_of(data, goal, found.value, bound))


def guarded(data: SelectionData, base: Selected, goal: Goal, found: Selected, limits: Limits) -> Selected:
    """The old plan instead of the new one where it keeps all limits and is better."""
    kept = _fitting(data, base, goal, limits)
    if kept is None or worth(data, goal, kept) <= worth(data, goal, found.figures):
        return found
    own = kept.worth if goal.kind == "most_money" else weighted_burden(data, kept)
    outer = max if goal.kind == "most_money" else min
    bound = None if found.bound is None else outer(found.bound, own)
    gap = None if bound is None else gap_of(data, goal, own, bound)
    return replace(found, paths=base.paths, value=own, bound=bound, gap=gap, figures=kept)


def betters(data: SelectionData, base: Selected, goal: Goal, found: Selected) -> bool:
    """Whether a plan found for another question keeps the old limits and is better than the old plan."""
    if found.paths == base.paths or not allows(data, found.paths):
        return False
    own = evaluate(data, found.paths)
    if own.breaks or (goal.burden_most is not None and weighted_burden(data, own) > goal.burden_most + TRACE):
        return False
    before = worth(data, goal, base.figures)
    return worth(data, goal, own) > before + TRACE * max(1.0, abs(before))


def allows(data: SelectionData, paths: Paths) -> bool:
    """Whether the fields allow every practice of a plan in its year (succession is not looked at)."""
    return all(
        bool(allowed_paths(land, np.array([path]))[0]) for land, path in zip(data.fields, paths, strict=True)
    )


def worth(data: SelectionData, goal: Goal, figures: Figures) -> float:
    """What the goal counts, more is better: money of today, or minus the burden."""
    return figures.worth if goal.kind == "most_money" else -weighted_burden(data, figures)


def compare(data: SelectionData, base: Selected, goal: Goal, found: Selected, *, bettered: bool) -> Change:
    """Only the differences between two plans."""
    one, other = base.figures, found.figures
    return Change(
        before=one,
        after=other,
        paths=found.paths,
        value=(worth(data, goal, one), worth(data, goal, other)),
        bound=(base.bound, found.bound),
        gap=(base.gap, found.gap),
        swaps=tuple(_swaps(base.paths, found.paths)),
        money=other.net - one.net,
        burden=(other.burden - one.burden)[:, data.likely],
        hours=tuple(_steps(other.labour_h - one.labour_h)),
        tonnes=tuple(_steps(other.tonnes - one.tonnes)),
        chosen=found,
        bettered=bettered,
    )


def _swaps(before: Paths, after: Paths) -> Iterator[Swap]:
    for field, (old, new) in enumerate(zip(before, after, strict=True)):
        for year, (a, b) in enumerate(zip(old, new, strict=True)):
            if a != b:
                yield Swap(field=field, year=year, before=a, after=b)


def _steps(difference: Floats) -> Iterator[Step]:
    for year, what in np.argwhere(np.abs(difference) > TRACE):
        yield Step(year=int(year), what=int(what), amount=float(difference[year, what]))


# ---------------------------------------------------------------- the usual questions


@dataclass(frozen=True, slots=True)
class Question:
    """Changed limits and what was changed, in words."""

    limits: Limits
    sentence: str


def labour(limits: Limits, hours: float, half: int | None = None) -> Question:
    """More (or, below zero, less) labour in one half-month of every year, or in each of them. [h]"""
    where = np.ones(HALF_MONTHS, bool) if half is None else np.arange(HALF_MONTHS) == half
    when = "every half-month" if half is None else half_month_words(half)
    changed = np.maximum(limits.labour_h + hours * where, 0.0)
    return Question(replace(limits, labour_h=changed), f"{_more(hours, 'h')} of labour in {when}")


def extra_labour(limits: Limits, hours: float, half: int) -> Question:
    """More or less extra help that can be found in one half-month of every year. [h]"""
    where = np.arange(HALF_MONTHS) == half
    changed = np.maximum(limits.extra_labour_h + hours * where, 0.0)
    sentence = f"{_more(hours, 'h')} of extra help in {half_month_words(half)}"
    return Question(replace(limits, extra_labour_h=changed), sentence)


def machine_hours(limits: Limits, machine: int, name: str, hours: float, half: int | None = None) -> Question:
    """More or fewer hours of an own machine in one half-month of every year, or in each of them. [h]"""
    changed = limits.machine_h.copy()
    where = slice(None) if half is None else half
    changed[machine, where] = np.maximum(changed[machine, where] + hours, 0.0)
    when = "every half-month" if half is None else half_month_words(half)
    return Question(replace(limits, machine_h=changed), f"{_more(hours, 'h')} of the {name} in {when}")


def hire(limits: Limits, machine: int, name: str, *, hours: float = 0.0, area_ha: float = 0.0) -> Question:
    """More or less of a machine to be hired: hours beside an own one, hectares of a hired one, a year."""
    capped = [limits.hire_extra_h.copy(), limits.hire_area_ha.copy()]
    for cap, amount in zip(capped, (hours, area_ha), strict=True):
        cap[machine] = max(cap[machine] + amount, 0.0)
    changed = replace(limits, hire_extra_h=capped[0], hire_area_ha=capped[1])
    amounts = [_more(a, unit) for a, unit in ((hours, "h"), (area_ha, "ha")) if a]
    return Question(changed, f"{' and '.join(amounts)} a year of the {name} to be hired")


def without_outlet(limits: Limits, outlet: int, years: Sequence[int] | None = None) -> Question:
    """An outlet that no longer takes anything, in all years or some; its promise is gone with it.

    The open price is as before: who else would pay what is not asked here.
    """
    old = limits.outlets[outlet]
    gone = np.ones(len(old.most_t), bool) if years is None else np.isin(np.arange(len(old.most_t)), years)
    new = replace(old, least_t=np.where(gone, 0.0, old.least_t), most_t=np.where(gone, 0.0, old.most_t))
    return Question(_with_outlet(limits, outlet, new), f"without {old.name}")


def larger_outlet(limits: Limits, outlet: int, tonnes: float) -> Question:
    """An outlet that takes more (or less) a year in the years it holds. [t]"""
    old = limits.outlets[outlet]
    most = np.where(old.most_t > 0.0, np.maximum(old.most_t + tonnes, old.least_t), old.most_t)
    changed = _with_outlet(limits, outlet, replace(old, most_t=most))
    return Question(changed, f"{old.name} takes {_more(tonnes, 't')} a year")


def smaller_promise(limits: Limits, outlet: int, tonnes: float) -> Question:
    """An outlet that is promised less a year. [t]"""
    old = limits.outlets[outlet]
    changed = _with_outlet(limits, outlet, replace(old, least_t=np.maximum(old.least_t - tonnes, 0.0)))
    return Question(changed, f"{old.name} is promised {_more(-tonnes, 't')} a year")


def least_cash(limits: Limits, cash: float) -> Question:
    """Another least cash in any one year."""
    return Question(replace(limits, cash_floor=cash), f"at least {cash:,.0f} in hand every year")


def least_cash_quarter(limits: Limits, cash: float) -> Question:
    """Another least cash in hand at the end of each quarter, for a farm that has one."""
    asked = f"at least {cash:,.0f} in hand at the end of every quarter"
    return Question(replace(limits, cash_floor_quarter=cash), asked)


def largest_share(limits: Limits, number: int, share: float) -> Question:
    """Another largest share of the land, every year."""
    changed, name = _with_share(limits.largest, number, share)
    return Question(replace(limits, largest=changed), f"{name} on at most {share:.0%} of the land")


def least_share(limits: Limits, number: int, share: float) -> Question:
    """Another least share of the land, over the years."""
    changed, name = _with_share(limits.least, number, share)
    return Question(replace(limits, least=changed), f"{name} on at least {share:.0%} of the land")


def storage(limits: Limits, tonnes: float) -> Question:
    """More or less room for hay that is carried over. [t]"""
    room = max(limits.storage_t + tonnes, 0.0)
    return Question(replace(limits, storage_t=room), f"room for {_more(tonnes, 't')} of hay")


def feed_need(limits: Limits, tonnes: float) -> Question:
    """Another need of hay a year. [t]"""
    return Question(replace(limits, feed_need_t=tonnes), f"a herd that eats {tonnes:,.0f} t of hay a year")


def _more(amount: float, unit: str) -> str:
    return f"{abs(amount):,.4g} {unit} {'more' if amount >= 0 else 'less'}"


def _with_outlet(limits: Limits, number: int, outlet: OutletData) -> Limits:
    outlets = (*limits.outlets[:number], outlet, *limits.outlets[number + 1 :])
    return replace(limits, outlets=outlets)


def _with_share(
    shares: tuple[ShareData, ...], number: int, share: float
) -> tuple[tuple[ShareData, ...], str]:
    new = replace(shares[number], share=share)
    return (*shares[:number], new, *shares[number + 1 :]), new.name


def name_of(data: SelectionData, practice: int) -> str:
    """A practice by its key with blanks; ``not farmed``."""
    return "not farmed" if practice == NOT_FARMED else data.practice_keys[practice].replace("_", " ")
