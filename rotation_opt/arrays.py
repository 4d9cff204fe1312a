"""Everything the selection needs to know, as arrays.

Nothing here knows the farm file, so that a test can make a farm from random numbers.

Axes, in the order in which they appear: Q pairs, P practices, T plan years, C = T + 1 calendar years
(index 0 is the autumn before the first plan year), H = 24 half-months, W weeds, D draws,
M machines, K products, O outlets.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .say import Say

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
Flags = NDArray[np.bool_]

NOT_FARMED = -1
"""Practice index of a year in which the field is no longer farmed (the lease has ended)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rules:
    """Succession rules as group membership arrays (one row a rule).

    Parameters
    ----------
    break_next, break_before : (R, P) bool
        ``break_next[r, p]``: practice p may be sown only if none of the ``break_years[r]`` harvests
        before it was a member of ``break_before[r]``.
    break_years : (R,) int
    run_member : (R2, P) bool
        At most ``run_most[r]`` members in a row.
    run_most : (R2,) int

    Notes
    -----
    Which practice may follow which, how long a stand must and may stay (a practice says which year of the
    stand it is) and what a field or a year does not allow are masks of pairs, fields and years instead.
    """

    break_next: Flags
    break_before: Flags
    break_years: Integers
    run_member: Flags
    run_most: Integers


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldData:
    """One field.

    Parameters
    ----------
    history : tuple of int
        Practice indices of the harvests before the plan, oldest first; the last one is the year before it.
        ``NOT_FARMED`` = unknown (only allowed before the last).
    start_reserve : (W, D)
        Root reserve on the infested part at the last harvest, as share of an undisturbed stand.
    infested_share : (W,)
        Share of the field that is infested.
    allowed : (T, P) bool
        Bans, refusals, lease, work that would have to be done before the day of decision.
    farmed : (T,) bool
        False after the lease has ended: no practice, no money, and the field's burden no longer counts.
    landlord_share : float
        Share of the harvested tonnes that the landlord takes at harvest (he sells them himself); the grower
        pays the whole cost.
    ratios : (P,) or None
        Yield of each practice here against what it yields elsewhere; None = ``yield_ratio`` for all.
    """

    name: str
    area_ha: float
    history: tuple[int, ...]
    start_reserve: Floats
    infested_share: Floats
    allowed: Flags
    farmed: Flags
    yield_ratio: float
    landlord_share: float
    rent_per_ha: float
    ratios: Floats | None = None

    def ratio(self, practice: Integers | int) -> Floats | float:
        """Yield of practices here against what they yield elsewhere."""
        if self.ratios is None:
            return self.yield_ratio
        found: Floats = self.ratios[practice]
        return found


@dataclass(frozen=True, slots=True, kw_only=True)
class OutletData:
    """A place to sell one product: ``least_t[t]`` and ``most_t[t]`` (0 and 0 in years it does not hold)."""

    name: str
    product: int
    price_per_t: float
    haul_per_t: float
    least_t: Floats
    most_t: Floats  # inf = no limit


@dataclass(frozen=True, slots=True, kw_only=True)
class WeedyGrain:
    """A lower price for the grain of a field that the weeds have taken much from.

    Parameters
    ----------
    off_per_t : (P,)
        What a tonne of a practice's product brings less then, never negative; 0 where it is no grain.
    from_loss : (P,)
        Share of the field's yield lost to weeds from which it is so.
    """

    off_per_t: Floats
    from_loss: Floats

    def off(self, practice: Integers | int, loss: Floats | float) -> Floats:
        """What a tonne brings less where weeds took so much. [money/t]"""
        return np.where(loss >= self.from_loss[practice], self.off_per_t[practice], 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShareData:
    """A largest share (of the land, every year) or least share (of the land, averaged over the years)."""

    name: str
    member: Flags  # (P,)
    share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Downside:
    """How much bad years count when plans are chosen.

    The mean of a plan's worst runs of years is no straight line in its tonnes. Each row here is the straight
    line that touches it at one plan: above the curve elsewhere, so the least of the rows is what counts.

    Parameters
    ----------
    change : (A, T, K)
        What a tonne of each product brings in the worst runs of a plan, less what it brings in usual years.
        [money of today/t]
    start : (A,)
        What the worst runs bring against usual years beside that. [money of today]
    weight : float
        0 = only the usual years count, 1 = only the mean of the worst runs.
    settled : callable, optional
        Mean of the worst runs of a plan, from the farm, its limits and the figures of the plan. [money of
        today] Plans are then told apart by it; the rows only lead the search.
    """

    change: Floats
    start: Floats
    weight: float
    settled: Callable[[SelectionData, Limits, Any], float] | None = None


QUARTERS_BEFORE, QUARTERS_SPANNED = 4, 12
"""Quarters in which a season can cost something: the year before its harvest year, that year, the next."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CashDates:
    """In which quarter of the calendar year money is paid or comes in.

    Quarters of a season are counted from the first one of its harvest year: -1 = the autumn before, 4 = the
    winter after.

    Parameters
    ----------
    cost_per_ha : (Q, 12)
        ``SelectionData.cost_per_ha`` by the quarter in which it is paid, from -4 to 7. [money/ha]
    carried : (Q,) int
        Quarter of harvest, in which drying and carriage are paid.
    open_sold : (K,) int
        Quarter in which what is sold at the open price is paid for.
    outlet_sold : (O,) int
        The same of each outlet.
    hay_bought : int
        Quarter in which hay that a harvest did not give is bought.
    debt_per_year : float
        Part of the fixed cost that is paid at once; the rest goes out in equal parts.
    debt_quarter : int
        Quarter of every plan year in which it is paid.
    """

    cost_per_ha: Floats
    carried: Integers
    open_sold: Integers
    outlet_sold: Integers
    hay_bought: int
    debt_per_year: float = 0.0
    debt_quarter: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What the whole farm can do in a year; the what-ifs change these and nothing else.

    Parameters
    ----------
    labour_h : (H,)
        Hours in each half-month, already paid for at the farm's wage in ``cost_per_ha``.
    extra_labour_h : (H,)
        Extra paid hours that can be found.
    extra_labour_cost_per_h : float
        What an extra hour costs *beyond* the wage already in ``cost_per_ha``.
    machine_h : (M, H)
        Hours of the own machines; inf for a hired machine (the contractor brings enough).
    hire_extra_h : (M,)
        Hours a calendar year of an own machine that can also be hired; 0 = cannot.
    hire_extra_cost_per_h : (M,)
        What such an hour costs beyond the own running cost already in ``cost_per_ha``.
    hire_area_ha : (M,)
        Most area a harvest year worked by a hired machine; inf = no limit.
    outlets : tuple of OutletData
    open_price_per_t : (T, K)
        Price of tonnes that go to no named outlet, never negative; 0 = nobody buys them. With a named outlet
        in force this is the reduced price of a surplus, else the usual price.
    feeds : (K,) bool
        Products that the herd eats.
    feed_need_t, feed_price_per_t : float
        Need a year, and the price of hay bought in.
    storage_t, stored_now_t, storage_loss : float
        Room for hay carried over to the next year, hay there at the start (no loss before the first winter),
        and share lost a year.
    cash_floor, fixed_cost : float
        Least net cash in any one year, after the fixed cost of the whole farm.
    cash_floor_quarter, cash_now : float
        Least cash in hand at the end of each quarter up to the end of the plan, and cash in hand before its
        first work is paid. Asks for ``SelectionData.cash_dates``; -inf = not asked.
    largest, least : tuple of ShareData
    downside : Downside or None
        None = plans are chosen by the money of usual years alone.
    """

    labour_h: Floats
    extra_labour_h: Floats
    extra_labour_cost_per_h: float
    machine_h: Floats
    hire_extra_h: Floats
    hire_extra_cost_per_h: Floats
    hire_area_ha: Floats
    outlets: tuple[OutletData, ...]
    open_price_per_t: Floats
    feeds: Flags
    feed_need_t: float
    feed_price_per_t: float
    storage_t: float
    stored_now_t: float
    storage_loss: float
    cash_floor: float
    fixed_cost: float
    largest: tuple[ShareData, ...]
    least: tuple[ShareData, ...]
    downside: Downside | None = None
    cash_floor_quarter: float = -np.inf
    cash_now: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SelectionData:
    """All that the selection needs, as arrays.

    Parameters
    ----------
    first_year : int
        Harvest year of plan year 0.
    crop_words, machine_words, product_words : tuple of str
        What to call them in a sentence.
    years : int
        T.
    practice_keys, crop_of, group_of : tuples of length P
        ``crop_of`` and ``group_of`` are indices into ``crops`` and ``groups``.
    pair_index : (P, P) int
        Pair of (previous, practice), -1 = not simulated.
    may_follow : (P, P) bool
        Whether a plan may use the pair (previous, practice); a pair can be simulated and yet not be allowed,
        so that the grower's present rotation can be shown with its faults.
    cost_per_ha, yield_t_ha, haul_per_t, bare_days : (Q,)
        Cost (own running cost, hire, inputs, labour at the farm's wage), weed-free yield, cost of carrying
        a tonne, days with less than 30 % of the ground covered.
    labour_h : (Q, 2, H)
        Hours per hectare; first index 0 = work in the calendar year before the harvest.
    machine_h : (Q, M, 2, H)
    hired_area : (Q, M)
        Passes per hectare done by hired machines (area worked per hectare of field).
    product_of : (P,) int
        Product, -1 if nothing is carried off (green manure, cut and left, fallow).
    is_hay : (P,) bool
    growth, crowding : (Q, W, D)
        Root reserve at own harvest: ``growth R / (1 + crowding R)`` from R at the harvest before.
    autumn_growth, autumn_crowding : (Q, W, D)
        The same on 1 November after own harvest if nothing more is done.
    count_growth, count_crowding : (Q, W, D)
        The same at bud stage, when shoots are counted.
    count_shoots : (Q, W, D)
        Shoots per m2 that a reserve of 1 has standing then.
    shoot_power : (W, D)
        a, where shoots grow as ``reserve^a``.
    reserve_cap : (W, D)
        No reserve is larger.
    loss_index, loss_most : (P, W)
        Hyperbola as shares (not percent): loss per shoot per m2 at low density, and greatest loss.
    likely : int
        Index of the draw used for selection.
    burden_weight : (W,)
        Weight of each weed in the burden.
    burden_when : (T,)
        Weight of each plan year in the burden that plans are chosen by; the weights add up to 1.
    discount : (T,)
        Factor that turns money of a plan year into money of today.
    cash_dates : CashDates or None
        Only where there is a least cash by quarter.
    weedy : WeedyGrain or None
        None = grain with weeds in it brings the usual price.
    weeds_left_price : float
        What a hectare of full-strength stand on 1 November of the last year counts against a plan though
        nobody pays it within the plan; 0 = nothing. [money of today/ha]
    left_out : tuple of str
        Why ways to grow a crop are left out on this farm, the most frequent reason first, in the grower's
        words.
    """

    first_year: int
    years: int
    practice_keys: tuple[str, ...]
    crop_of: Integers
    group_of: Integers
    crops: tuple[str, ...]
    crop_words: tuple[str, ...]
    groups: tuple[str, ...]
    machines: tuple[str, ...]
    machine_words: tuple[str, ...]
    products: tuple[str, ...]
    product_words: tuple[str, ...]
    weeds: tuple[str, ...]
    draws: tuple[str, ...]
    pair_index: Integers
    may_follow: Flags
    cost_per_ha: Floats
    yield_t_ha: Floats
    haul_per_t: Floats
    bare_days: Floats
    labour_h: Floats
    machine_h: Floats
    hired_area: Floats
    product_of: Integers
    is_hay: Flags
    growth: Floats
    crowding: Floats
    autumn_growth: Floats
    autumn_crowding: Floats
    count_growth: Floats
    count_crowding: Floats
    count_shoots: Floats
    shoot_power: Floats
    reserve_cap: Floats
    loss_index: Floats
    loss_most: Floats
    likely: int
    rules: Rules
    fields: tuple[FieldData, ...]
    limits: Limits
    burden_weight: Floats
    burden_when: Floats
    discount: Floats
    say: Say = field(default_factory=Say)
    cash_dates: CashDates | None = None
    weedy: WeedyGrain | None = None
    weeds_left_price: float = 0.0
    left_out: tuple[str, ...] = ()

    @property
    def quarters(self) -> int:
        """Quarters to the end of the plan, from the year before it; 0 where no cash is asked by quarter."""
        return 0 if self.cash_dates is None else 4 * (self.years + 1)


@dataclass(frozen=True, slots=True)
class MachineWork:
    """Hours of machines in the half-months in which any pair needs them; they are few among all.

    Parameters
    ----------
    offset : int
        0 = work in the calendar year before the harvest, 1 = in that of the harvest.
    machine, half : (c,) int
    hours : (Q, c)
        Per hectare.
    """

    offset: int
    machine: Integers
    half: Integers
    hours: Floats

    @classmethod
    def by_offset(cls, data: SelectionData) -> tuple[MachineWork, MachineWork]:
        """That of the year before the harvest, and that of its year."""
        return cls._of(data.machine_h, 0), cls._of(data.machine_h, 1)

    @classmethod
    def _of(cls, machine_h: Floats, offset: int) -> MachineWork:
        machine, half = np.nonzero((machine_h[:, :, offset] != 0.0).any(axis=0))
        return cls(offset, machine, half, np.ascontiguousarray(machine_h[:, machine, offset, half]))


@dataclass(frozen=True, slots=True, kw_only=True)
class Prices:
    """What one unit is worth or costs while sequences are grown: the duals of the farm's limits.

    Parameters
    ----------
    money : (T,)
        Worth of one unit of a field's own money in each year (discount, plus the price of cash).
    product : (T, K)
        Worth of a tonne, never negative.
    labour : (C, H); machine : (M, C, H); hired : (M, T)
        Cost of an hour, and of a hectare worked by a hired machine.
    land : (T, P)
        Cost of a hectare under a practice (shares of the land).
    burden : (T,)
        Cost of one hectare of full-strength stand on 1 November of each year.
    paid : (``SelectionData.quarters``,)
        Worth of one unit of a field's own money in each quarter, beside that in its year.
    """

    money: Floats
    product: Floats
    labour: Floats
    machine: Floats
    hired: Floats
    land: Floats
    burden: Floats
    paid: Floats = field(default_factory=lambda: np.zeros(0))
