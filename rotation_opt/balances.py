"""Balances of a plan: what there is of hay, hours, crops and cash, and where it goes.

They are made of the figures that are printed, field by field and year by year, without the selection program.
`balance_checks` says whether each closes.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from rotation_opt.budgets import pair_yield
from rotation_opt.cash_flow import MONEY, Season, seasons
from rotation_opt.groundwork import Groundwork
from rotation_opt.ledgers import Balance, CashCourse
from rotation_opt.records import Alternative, Check
from rotation_opt.standing_hay import sold_as, standing_key

Array = npt.NDArray[np.float64]

TONNES, HOURS = 0.05, 0.05
"""What counts as rounding: the selection works to tolerances of this order."""

OPEN = "any buyer"
MADE, LANDLORD, UNSOLD, HERD = "made", "landlord", "no buyer", "kept for the herd"
CUT, LEFT, FED, BOUGHT = "cut", "cut and left", "fed", "bought"
FROM_STORE, INTO_STORE, LOST = "from store", "into store", "lost in store"
SOLD, STANDING = "sold", "sold standing"
NEEDED, OWN, EXTRA, OVER = "needed", "own", "extra paid", "more than there are"
OPENING, IN, OUT, CLOSING = "in hand before", "money in", "money out", "in hand at the end"


def balances(ground: Groundwork, plan: Alternative, cash: CashCourse) -> tuple[Balance, ...]:
    """Balances of hay, hours, each crop that is sold and cash, one value a plan year.

    Parameters
    ----------
    ground : Groundwork
    plan : Alternative
        As it is printed.
    cash : CashCourse
        Of the same plan.
    """
    grown = list(seasons(ground, plan))
    hay = _hay(ground, plan, grown)
    return (
        *([hay] if hay else []),
        _hours(ground, plan, grown),
        *_crops(ground, plan, grown),
        _cash(cash, ground.farm.currency),
    )


def balance_checks(found: Iterable[Balance]) -> tuple[Check, ...]:
    """One line for each balance: whether what there is equals what is gone, every year."""
    allowed = {"t": TONNES, "h": HOURS}
    return tuple(
        Check(
            what=f"balance of {each.what.replace('_', ' ')}",
            agrees=each.left_over() <= allowed.get(each.unit, MONEY),
            largest_difference=each.left_over(),
            unit=each.unit,
        )
        for each in found
    )


# ---------------------------------------------------------------- tonnes


def _hay(ground: Groundwork, plan: Alternative, grown: Sequence[Season]) -> Balance | None:
    """All hay together; None where there is none and none is needed.

    What is cut and left is what the same field would have given as hay.
    """
    farm, figures = ground.farm, plan.figures
    years = farm.years
    mine = [season for season in grown if _is_hay(ground, season.practice.crop)]
    made, landlord, left = (np.zeros(years) for _ in range(3))
    for season in mine:
        made[season.year] += season.made_t
        landlord[season.year] += season.made_t * season.field.landlord_share
    for season in grown:
        left[season.year] += _left_t(ground, plan, season)
    if not mine and not left.any() and not farm.feed_need_t and not farm.hay_stored_now_t:
        return None
    stored = np.array(figures.hay_stored_t)
    before = np.concatenate(([farm.hay_stored_now_t], stored[:-1]))
    lost = np.concatenate(([0.0], stored[:-1] * farm.hay_storage_loss))
    hay = {season.practice.crop for season in mine} | {
        crop for crop in _crops_sold(plan) if _is_hay(ground, crop)
    }
    standing = {standing_key(crop) for crop in hay}
    bought = np.array(figures.feed_bought_t)
    return _balance(
        "hay",
        "t",
        {CUT: made + left, FROM_STORE: before, BOUGHT: bought},
        {
            SOLD: _sum_of(figures.sold_t, hay, years),
            STANDING: _sum_of(figures.sold_t, standing, years),
            FED: np.array(figures.fed_t) + bought,
            INTO_STORE: stored,
            LEFT: left,
            LOST: lost,
            LANDLORD: landlord,
            UNSOLD: _sum_of(figures.unsold_t, hay | standing, years),
        },
    )


def _crops_sold(plan: Alternative) -> tuple[str, ...]:
    return tuple(dict.fromkeys(sale.split(" @ ")[0] for sale in plan.figures.sold_t))


def _sum_of(table: Mapping[str, Sequence[float]], crops: Collection[str], years: int) -> Array:
    """Sum of the rows of some crops, whoever buys them, by year."""
    rows = [np.array(values) for name, values in table.items() if name.split(" @ ")[0] in crops]
    return np.asarray(sum(rows, np.zeros(years)))


def _left_t(ground: Groundwork, plan: Alternative, season: Season) -> float:
    """Hay that is cut and left on the field, with what weeds take of it. [t]"""
    practice = season.practice
    if practice.cut_use != "leave" or not practice.cuts or not _is_hay(ground, practice.crop):
        return 0.0
    before = ground.practice_list.of(season.programme.previous).practice
    carried = pair_yield(
        before, replace(practice, cut_use="sell"), season.programme, ground.farm, ground.tables
    )
    when = ground.farm.first_year + season.year
    lost = next(
        (each.weed_loss for each in plan.fields if (each.field, each.year) == (season.field.name, when)), 0.0
    )
    return carried * season.field.ratio_of(practice.crop) * season.field.area_ha * (1.0 - lost)


def _crops(ground: Groundwork, plan: Alternative, grown: Sequence[Season]) -> list[Balance]:
    """Each crop that is carried off: made = landlord + each outlet + any other buyer + herd + no buyer.

    Of hay, what the other lines leave is kept for herd and store: the balance of hay closes it.
    """
    figures, years = plan.figures, ground.farm.years
    made: dict[str, Array] = {}
    landlord: dict[str, Array] = {}
    for season in grown:
        if season.made_t > 0.0:
            crop = sold_as(season.practice)
            made.setdefault(crop, np.zeros(years))[season.year] += season.made_t
            share = season.made_t * season.field.landlord_share
            landlord.setdefault(crop, np.zeros(years))[season.year] += share
    found = []
    for crop in dict.fromkeys((*made, *_crops_sold(plan))):
        tonnes = made.get(crop, np.zeros(years))
        gone = {LANDLORD: landlord.get(crop, np.zeros(years))}
        for sale, sold in figures.sold_t.items():
            if sale.split(" @ ")[0] == crop:
                gone[sale.split(" @ ", 1)[1]] = np.array(sold)
        gone[UNSOLD] = np.array(figures.unsold_t.get(crop, np.zeros(years)))
        if _is_hay(ground, crop):
            rest = tonnes - sum(gone.values(), np.zeros(years))
            gone[HERD] = np.maximum(rest, 0.0)
            # sold from the store, or fed: what is sold beyond what was made comes out of it
            found.append(_balance(crop, "t", {MADE: tonnes, FROM_STORE: np.maximum(-rest, 0.0)}, gone))
        else:
            found.append(_balance(crop, "t", {MADE: tonnes}, gone))
    return found


def _is_hay(ground: Groundwork, crop: str) -> bool:
    record = ground.tables.crops.get(crop)
    return record is not None and record.product == "hay"


# ---------------------------------------------------------------- hours and cash


def _hours(ground: Groundwork, plan: Alternative, grown: Sequence[Season]) -> Balance:
    """Hours of people in the plan years: needed = own + extra paid + more than there are, by half-month."""
    labour, years = ground.farm.labour, ground.farm.years
    needed = np.zeros((years + 1, 24))
    for season in grown:
        needed[season.year : season.year + 2] += ground.hours.labour[season.pair] * season.field.area_ha
    needed = needed[1:]  # the autumn before the first year is before the plan
    own = np.minimum(needed, np.array(labour.hours_by_half_month))
    room = np.array(labour.extra_hours_by_half_month)
    over = np.maximum(needed - own - room, 0.0)
    extra = np.array(plan.figures.extra_labour_hours)
    return _balance(
        "hours",
        "h",
        {NEEDED: needed.sum(axis=1)},
        {OWN: own.sum(axis=1), EXTRA: extra.sum(axis=1), OVER: over.sum(axis=1)},
    )


def _cash(cash: CashCourse, currency: str) -> Balance:
    """Cash by calendar year, from the autumn before the plan to the last money that comes in after it."""
    first = cash.quarters[0][0]
    years = cash.quarters[-1][0] - first + 1
    coming, going, start, end = (np.zeros(years) for _ in range(4))
    for values in cash.parts.values():
        for (year, _), amount in zip(cash.quarters, values, strict=True):
            (coming if amount > 0 else going)[year - first] += abs(amount)
    for (year, _), left in zip(cash.quarters, cash.left, strict=True):
        end[year - first] = left
    start[0], start[1:] = cash.opening, end[:-1]
    return _balance("cash", currency, {OPENING: start, IN: coming}, {OUT: going, CLOSING: end})


def _balance(what: str, unit: str, there: dict[str, Array], gone: dict[str, Array]) -> Balance:
    return Balance(
        what=what,
        unit=unit,
        there={name: tuple(map(float, values)) for name, values in there.items()},
        gone={name: tuple(map(float, values)) for name, values in gone.items()},
    )
