"""The limits of a farm as rows of the selection program, one function a family of limits.

A limit is written once, over features and over *recourse* (what the farm does about it: sell, feed, store,
buy hay, find extra hands, hire). A row reads ``features + recourse (<=, >=) right-hand side``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from typing import Literal

import numpy as np

from .arrays import QUARTERS_BEFORE, Floats, Limits, SelectionData
from .features import HALF_MONTHS, Space
from .say import in_words
from .words import MONTHS


@dataclass(slots=True)
class Row:
    """One limit: ``features @ plan + recourse (sense) rhs``.

    ``words`` is the sentence printed when the limit is not kept, with ``{0}`` for the amount as ``amount``
    says it; empty for rows that can always be kept. ``limit`` names the limit as a whole. ``scale`` turns the
    amount into a share, so that hours and tonnes can be added.
    """

    family: str
    words: str
    sense: Literal[-1, 1]
    rhs: float
    plan: dict[int, float]
    recourse: dict[int, float] = field(default_factory=dict)
    scale: float = 1.0
    limit: str = ""
    amount: Callable[[float], str] = in_words

    def sentence(self, by: float) -> str:
        """What is said when the limit is broken by so much; names of people may hold braces."""
        before, _, after = self.words.rpartition("{0}")
        return f"{before}{self.amount(by)}{after}"


@dataclass(slots=True)
class Variable:
    """One recourse variable; ``money`` is what a unit brings in plan year ``year``.

    ``quarter`` is the one in which it comes in or is paid, counted from January of the year before the plan.
    ``regret`` is what a unit counts against a plan though nobody pays it. [money of today]
    """

    key: tuple[str, ...] | tuple[str | int, ...]
    year: int
    money: float
    upper: float | None
    regret: float = 0.0
    quarter: int = 0


class Rows:
    """Rows and recourse of one farm, as they are written.

    Parameters
    ----------
    data : SelectionData
    limits : Limits
    burden_most : float, optional
        Most burden, weighted over the years. [ha of full-strength stand]
    every_row : bool
        Keep rows that no choice of sequences can break (else left out: they only slow the solver).
    """

    def __init__(
        self, data: SelectionData, limits: Limits, burden_most: float | None, every_row: bool
    ) -> None:
        self.data, self.limits, self.space = data, limits, Space(data)
        self.every_row = every_row
        self.rows: list[Row] = []
        self.variables: list[Variable] = []
        self.index: dict[tuple[str | int, ...], int] = {}
        outlets(self)
        feed(self)
        labour(self)
        machines(self)
        hired_area(self)
        cash_floor(self)
        cash_by_quarter(self)
        largest_shares(self)
        least_shares(self)
        worst_courses(self)
        if burden_most is not None:
            burden(self, burden_most)

    def variable(
        self,
        *key: str | int,
        year: int = 0,
        money: float = 0.0,
        upper: float | None = None,
        quarter: int = 0,
    ) -> int:
        """A new recourse variable, never negative."""
        self.index[key] = len(self.variables)
        self.variables.append(Variable(key, year, money, upper, quarter=quarter))
        return self.index[key]


def outlets(program: Rows) -> None:
    """Tonnes are sold, kept for the herd or left unsold; contracts are met.

    ``sum_f tonnes_fkt x - sum_o sold_okt - open_kt - kept_kt >= 0``  [t], for every product and year, and
    ``sold_ot >= least_ot``, ``sold_ot <= most_ot``. More than the outlets take is sold at the open price or
    lies unsold, so a tonne never has a negative price and weeds never become useful.
    """
    data, limits, dates = program.data, program.limits, program.data.cash_dates
    for year in range(data.years):
        for product in range(len(data.products)):
            row = Row("outlets", "", 1, 0.0, {program.space.at("tonnes", year, product): 1.0})
            for number, outlet in enumerate(limits.outlets):
                most = float(outlet.most_t[year])
                if outlet.product != product or most <= 0.0:
                    continue
                sold = program.variable(
                    "sold",
                    number,
                    year,
                    year=year,
                    money=outlet.price_per_t - outlet.haul_per_t,
                    upper=most if np.isfinite(most) else None,
                    quarter=0 if dates is None else 4 * (year + 1) + int(dates.outlet_sold[number]),
                )
                row.recourse[sold] = -1.0
                least = float(outlet.least_t[year])
                if least > 0.0:
                    words = (
                        f"{outlet.name} is promised {data.say.tonnes(least, product)} of "
                        f"{data.product_words[product]} in {data.first_year + year}: {{0}} short"
                    )
                    program.rows.append(
                        Row(
                            "contracts",
                            words,
                            1,
                            least,
                            {},
                            {sold: 1.0},
                            max(least, 1.0),
                            f"the contract with {outlet.name}",
                            partial(data.say.tonnes, product=product),
                        )
                    )
            price = float(limits.open_price_per_t[year, product])
            if price > 0.0:
                when = 0 if dates is None else 4 * (year + 1) + int(dates.open_sold[product])
                anyone = program.variable("open", year, product, year=year, money=price, quarter=when)
                row.recourse[anyone] = -1.0
            if limits.feeds[product] and limits.feed_need_t > 0.0:
                row.recourse[program.variable("kept", year, product)] = -1.0
            if row.recourse:
                program.rows.append(row)


def feed(program: Rows) -> None:
    """The herd eats every year; what is kept and not eaten is stored with loss.

    ``fed_t + bought_t >= need``  [t] and ``stored_t - (1 - loss) stored_(t-1) - kept_t + fed_t <= 0``  [t],
    ``stored_t <= room``. Before the first year there is what lies in the barn now.
    """
    data, limits = program.data, program.limits
    if limits.feed_need_t <= 0.0:
        return
    for year in range(data.years):
        fed = program.variable("fed", year)
        dates = data.cash_dates
        when = 0 if dates is None else 4 * (year + 1) + dates.hay_bought
        bought = program.variable("bought", year, year=year, money=-limits.feed_price_per_t, quarter=when)
        stored = program.variable("stored", year, upper=limits.storage_t)
        program.rows.append(Row("feed", "", 1, limits.feed_need_t, {}, {fed: 1.0, bought: 1.0}))
        balance = Row(
            "storage", "", -1, limits.stored_now_t if year == 0 else 0.0, {}, {stored: 1.0, fed: 1.0}
        )
        if year > 0:
            balance.recourse[program.index["stored", year - 1]] = -(1.0 - limits.storage_loss)
        for product in range(len(data.products)):
            if ("kept", year, product) in program.index:
                balance.recourse[program.index["kept", year, product]] = -1.0
        program.rows.append(balance)


def labour(program: Rows) -> None:
    """Hands: ``sum_f hours_f,ch x - extra_ch <= hours_h``, ``extra_ch <= extra_h``  [h] by half-month.

    Autumn work counts in the calendar year before the harvest; extra hours are paid in the plan year of
    their calendar year (those before the first plan year, in the first).
    """
    data, limits = program.data, program.limits
    most = _most_load(data, data.labour_h[:, None])[0]
    for when in range(data.years + 1):
        for half in range(HALF_MONTHS):
            have = float(limits.labour_h[half])
            if not program.every_row and most[when, half] <= have:
                continue
            words = f"work in {_half_month(data, when, half)}: {{0}} more than there are hands for"
            row = Row(
                "labour", words, -1, have, {program.space.at("labour", when, half): 1.0}, {}, max(have, 10.0)
            )
            row.limit, row.amount = "the hours of work", data.say.hours
            if limits.extra_labour_h[half] > 0.0:
                extra = program.variable(
                    "extra",
                    when,
                    half,
                    year=max(0, when - 1),
                    money=-limits.extra_labour_cost_per_h,
                    upper=float(limits.extra_labour_h[half]),
                    quarter=4 * when + half // 6,
                )
                row.recourse[extra] = -1.0
            program.rows.append(row)


def machines(program: Rows) -> None:
    """Own machines: ``sum_f hours_f,mch x - hire_mch <= hours_mh``, ``sum_h hire_mch <= hireable_m``  [h].

    A machine that is hired anyway has no hours of its own to run out of (inf).
    """
    data, limits = program.data, program.limits
    most = _most_load(data, data.machine_h)
    for number in range(len(data.machines)):
        name = f"the hours of the {data.machine_words[number]}"
        for when in range(data.years + 1):
            hires = []
            needed = np.isfinite(limits.machine_h[number])
            if not program.every_row:
                needed &= most[number, when] > limits.machine_h[number]
            for half in np.flatnonzero(needed).tolist():
                have = float(limits.machine_h[number, half])
                words = f"{data.machine_words[number]} in {_half_month(data, when, half)}: {{0}} too many"
                at = program.space.at("machine", number, when, half)
                row = Row("machines", words, -1, have, {at: 1.0}, {}, max(have, 10.0), name, data.say.hours)
                if limits.hire_extra_h[number] > 0.0:
                    hire = program.variable(
                        "hire",
                        number,
                        when,
                        half,
                        year=max(0, when - 1),
                        money=-float(limits.hire_extra_cost_per_h[number]),
                        quarter=4 * when + half // 6,
                    )
                    row.recourse[hire] = -1.0
                    hires.append(hire)
                program.rows.append(row)
            if hires and np.isfinite(limits.hire_extra_h[number]):
                cap = float(limits.hire_extra_h[number])
                program.rows.append(Row("hire", "", -1, cap, {}, dict.fromkeys(hires, 1.0)))


def hired_area(program: Rows) -> None:
    """Hired machines: ``sum_f hectares_f,mt x <= cap_m``  [ha a harvest year]."""
    data, limits = program.data, program.limits
    for number in range(len(data.machines)):
        cap = float(limits.hire_area_ha[number])
        top = sum(field.area_ha for field in data.fields) * float(data.hired_area[:, number].max(initial=0.0))
        if not np.isfinite(cap) or (not program.every_row and top <= cap):
            continue
        for year in range(data.years):
            words = (
                f"hired {data.machine_words[number]} in {data.first_year + year}: {{0}} more than "
                f"the {data.say.area(cap)} that can be hired"
            )
            at = program.space.at("hired", number, year)
            name = f"the area that the hired {data.machine_words[number]} can do"
            row = Row("hired_area", words, -1, cap, {at: 1.0}, {}, max(cap, 1.0), name, data.say.area)
            program.rows.append(row)


def cash_floor(program: Rows) -> None:
    """``sum_f money_ft x + sales_t - feed_t - extra hands_t - hire_t >= floor + fixed cost``  [money]."""
    data, limits = program.data, program.limits
    if not np.isfinite(limits.cash_floor):
        return
    for year in range(data.years):
        words = f"cash in {data.first_year + year}: {{0}} below the least you can do with"
        row = Row(
            "cash", words, 1, limits.cash_floor + limits.fixed_cost, {program.space.at("money", year): 1.0}
        )
        row.recourse = {
            n: v.money for n, v in enumerate(program.variables) if v.year == year and v.money != 0.0
        }
        row.scale = max(abs(row.rhs), 1000.0)
        row.limit, row.amount = "the least cash a year", data.say.money
        program.rows.append(row)


def cash_by_quarter(program: Rows) -> None:
    """``cash now + all that came in - all that was paid, up to the end of a quarter >= least``  [money].

    Up to the last quarter of the plan; in the year before it, only from the first quarter in which anything
    can be paid for it.
    """
    data, limits, dates = program.data, program.limits, program.data.cash_dates
    if dates is None or not np.isfinite(limits.cash_floor_quarter):
        return
    early = np.flatnonzero(dates.cost_per_ha[:, :QUARTERS_BEFORE].any(axis=0)).tolist()
    early += [v.quarter for v in program.variables if v.money != 0.0]
    spent = 0.0
    for quarter in range(min(4, *early), data.quarters):
        if quarter >= 4:
            spent += (limits.fixed_cost - dates.debt_per_year) / 4.0
            spent += dates.debt_per_year * (quarter % 4 == dates.debt_quarter)
        when = f"the end of {MONTHS[3 * (quarter % 4) + 2]} {data.first_year - 1 + quarter // 4}"
        words = f"cash in hand at {when}: {{0}} below the least you can do with"
        plan = {program.space.at("paid", before): 1.0 for before in range(quarter + 1)}
        row = Row("cash_quarter", words, 1, limits.cash_floor_quarter - limits.cash_now + spent, plan)
        row.recourse = {
            n: v.money for n, v in enumerate(program.variables) if v.quarter <= quarter and v.money != 0.0
        }
        row.scale = max(abs(row.rhs), 1000.0)
        row.limit, row.amount = "the least cash in hand at the end of a quarter", data.say.money
        program.rows.append(row)


def _farmed_ha(data: SelectionData) -> Floats:
    """Hectares still farmed in each year."""
    return np.array([sum(f.area_ha for f in data.fields if f.farmed[t]) for t in range(data.years)])


def largest_shares(program: Rows) -> None:
    """``sum_f area_f [member in t] x <= share * farmed land_t``  [ha], every year."""
    data = program.data
    land = _farmed_ha(data)
    for share in program.limits.largest:
        for year in range(data.years):
            name = f"the largest share of {share.name}"
            year_words = f"{share.name} in {data.first_year + year}"
            words = f"{year_words}: {{0}} more than {share.share:.0%} of the land"
            plan = {program.space.at("land", year, int(p)): 1.0 for p in np.flatnonzero(share.member)}
            most = share.share * float(land[year])
            row = Row("largest_shares", words, -1, most, plan, {}, max(most, 1.0), name, data.say.area)
            program.rows.append(row)


def least_shares(program: Rows) -> None:
    """``sum_t sum_f area_f [member in t] x >= share * sum_t farmed land_t``  [ha years]."""
    data = program.data
    land = float(_farmed_ha(data).sum())
    for share in program.limits.least:
        words = f"{share.name}: on average {{0}} a year short of {share.share:.0%} of the land"
        name = f"the least share of {share.name}"
        weight = 1.0 / data.years
        plan = {
            program.space.at("land", year, int(p)): weight
            for year in range(data.years)
            for p in np.flatnonzero(share.member)
        }
        least = share.share * land * weight
        row = Row("least_shares", words, 1, least, plan, {}, max(least, 1.0), name, data.say.area)
        program.rows.append(row)


def worst_courses(program: Rows) -> None:
    """``sum_tk change_atk tonnes_tk + start_a + missing >= 0``  [money of today], one for each line.

    What the worst runs of years lack against usual ones: the mean loss of the worst share of runs is the
    largest mean over any such share (Kuenzi-Bay and Mayer, "Computational aspects of minimizing conditional
    value-at-risk", 2006), so few rows do where each run with a row of its own would need many.
    """
    risk = program.limits.downside
    if risk is None or risk.weight <= 0.0:
        return
    up, down = (program.variable("missing", side) for side in (1, -1))
    program.variables[up].regret, program.variables[down].regret = risk.weight, -risk.weight
    for start, change in zip(risk.start, risk.change, strict=True):
        plan = {
            program.space.at("tonnes", int(year), int(product)): float(change[year, product])
            for year, product in np.argwhere(change)
        }
        program.rows.append(Row("worst_courses", "", 1, -float(start), plan, {up: 1.0, down: -1.0}))


def burden(program: Rows, most: float) -> None:
    """``sum_t when_t sum_f burden_ft x <= most``  [ha of full-strength stand, 1 November]."""
    say, when = program.data.say.area, program.data.burden_when
    words = f"weeds over the years: {{0}} of full stand more than {say(most)}"
    plan = {program.space.at("burden", year): float(when[year]) for year in range(program.data.years)}
    row = Row("burden", words, -1, most, plan, {}, max(most, 0.1), "the limit on weeds", say)
    program.rows.append(row)


def _most_load(data: SelectionData, hours: Floats) -> Floats:
    """Most hours any plan can need: (M, C, H) from hours per hectare (Q, M, 2, H)."""
    top = hours.max(axis=0, initial=0.0)
    load = np.zeros((top.shape[0], data.years + 1, HALF_MONTHS))
    for land in data.fields:
        for year in range(data.years):
            for offset in (0, 1):
                load[:, year + offset] += land.area_ha * top[:, offset] * bool(land.farmed[year])
    return load


def half_month_words(half: int) -> str:
    """``late May``."""
    return f"{'early' if half % 2 == 0 else 'late'} {MONTHS[half // 2]}"


def _half_month(data: SelectionData, when: int, half: int) -> str:
    """``late May 2027``."""
    return f"{half_month_words(half)} {data.first_year - 1 + when}"
