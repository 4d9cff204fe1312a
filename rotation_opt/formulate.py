"""The selection program: one sequence for every field, under the limits of the whole farm.

Every limit is a sum over years of what the chosen sequences need, so a sequence enters the program with a
list of *features*: money and tonnes of each year, hours of each half-month, land under each practice, burden
of each autumn. A limit is written once, over features and over *recourse* (what the farm does about it:
sell, feed, store, buy hay, find extra hands, hire). The same rows then give the coefficients of any
sequence and, read the other way, the prices at which new sequences are grown.

Signs: everything is a minimisation; a row reads ``features + recourse (<=, >=) right-hand side``.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import pulp

from .arrays import Flags, Floats, Integers, Limits, Prices, SelectionData
from .sequences import Pool
from .words import MONTHS

HALF_MONTHS = 24
TIE = 1e-3


@dataclass(frozen=True, slots=True, kw_only=True)
class Goal:
    """What a plan is chosen for.

    Parameters
    ----------
    kind : {"most_money", "least_burden"}
        Most money: discounted net return over the plan years. Least burden: burden on 1 November (ha of
        full-strength stand, likely draw), the years weighted by ``burden_when`` so that the last year alone
        does not decide, less a trace of money to choose among equals; then most money among the plans whose
        burden is within ``slack`` of the least so found.
    burden_most : float, optional
        Most burden, weighted over the years likewise, in ha of full-strength stand.
    """

    kind: Literal["most_money", "least_burden"]
    burden_most: float | None = None
    slack: float = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class Recourse:
    """What the whole farm does with the work and the tonnes of a plan.

    Calendar years C = T + 1 (index 0 = the autumn before the first plan year), half-months H = 24.
    """

    sold_t: Floats  # (O, T) to named outlets
    open_t: Floats  # (T, K) sold at the open price
    kept_t: Floats  # (T, K) kept for the herd
    fed_t: Floats  # (T,)
    bought_t: Floats  # (T,) hay bought
    stored_t: Floats  # (T,) hay in store after the winter's feeding, carried to the next year
    extra_labour_h: Floats  # (C, H)
    hire_extra_h: Floats  # (M, C, H)


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """Whole-farm figures of one plan, recomputed from its sequences."""

    net: Floats  # (T,) net return a year after fixed cost and rent
    present_value: float  # sum of discount * net
    field_money: Floats  # (F, T) cost of each field as a negative number
    sales: Floats  # (T,)
    feed_cost: Floats  # (T,)
    extra_labour_cost: Floats  # (T,)
    hire_cost: Floats  # (T,)
    labour_h: Floats  # (C, H) hours needed
    machine_h: Floats  # (M, C, H)
    hired_ha: Floats  # (M, T)
    made_t: Floats  # (T, K) all that is harvested, landlord's share included
    tonnes: Floats  # (T, K) the grower's
    unsold_t: Floats  # (T, K)
    burden: Floats  # (T, D)
    recourse: Recourse
    breaks: tuple[str, ...]  # limits not kept, in the grower's words


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


def features(data: SelectionData, space: Space, pool: Pool) -> Floats:
    """Features of every sequence of a pool, whole field: (n, features)."""
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
            machine[:, :, year + offset] += area * data.machine_h[pair, :, offset]
        hired[:, :, year] = area * data.hired_area[pair]
    return result


@dataclass(slots=True)
class Row:
    """One limit: ``features @ plan + recourse (sense) rhs``.

    ``words`` is the sentence printed when the limit is not kept, with ``{0}`` for the amount; empty for rows
    that can always be kept. ``limit`` names the limit as a whole. ``scale`` turns the amount into a share, so
    that hours and tonnes can be added.
    """

    family: str
    words: str
    sense: Literal[-1, 1]
    rhs: float
    plan: dict[int, float]
    recourse: dict[int, float] = field(default_factory=dict)
    scale: float = 1.0
    limit: str = ""


@dataclass(slots=True)
class Variable:
    """One recourse variable; ``money`` is what a unit brings in plan year ``year``."""

    key: tuple[str, ...] | tuple[str | int, ...]
    year: int
    money: float
    upper: float | None


class Program:
    """Rows and recourse of the selection program for one farm; sequences are added as columns.

    Parameters
    ----------
    data : SelectionData
    limits : Limits
        Usually ``data.limits``.
    burden_most : float, optional
        Most burden at the end of the plan. [ha of full-strength stand]
    every_row : bool
        Keep rows that no choice of sequences can break (else left out: they only slow the solver).
    """

    def __init__(
        self, data: SelectionData, limits: Limits, burden_most: float | None = None, every_row: bool = False
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
        largest_shares(self)
        least_shares(self)
        if burden_most is not None:
            burden(self, burden_most)
        entries = [(n, at, value) for n, row in enumerate(self.rows) for at, value in row.plan.items()]
        self.entry_row = np.array([entry[0] for entry in entries], dtype=np.int64)
        self.entry_feature = np.array([entry[1] for entry in entries], dtype=np.int64)
        self.entry_value = np.array([entry[2] for entry in entries], dtype=float)
        self.recourse = np.zeros((len(self.rows), len(self.variables)))
        for number, row in enumerate(self.rows):
            self.recourse[number, list(row.recourse)] = list(row.recourse.values())
        self.rhs = np.array([row.rhs for row in self.rows])
        self.sense = np.array([row.sense for row in self.rows], dtype=np.int64)

    def variable(self, *key: str | int, year: int = 0, money: float = 0.0, upper: float | None = None) -> int:
        """A new recourse variable, never negative."""
        self.index[key] = len(self.variables)
        self.variables.append(Variable(key, year, money, upper))
        return self.index[key]

    def need(self, values: Floats) -> Floats:
        """What sequences with these features (n, features) need of every limit: (rows, n)."""
        result = np.zeros((len(self.rows), len(values)))
        if len(self.entry_row):
            begin = np.flatnonzero(np.diff(self.entry_row, prepend=-1))
            parts = (values[:, self.entry_feature] * self.entry_value).T
            result[self.entry_row[begin]] = np.add.reduceat(parts, begin, axis=0)
        return result

    def money_objective(self) -> tuple[Floats, Floats]:
        """Coefficients of features and recourse: minus the discounted net return (fixed cost left out)."""
        plan = np.zeros(self.space.size)
        plan[self.space.begin["money"] : self.space.begin["money"] + self.data.years] = -self.data.discount
        recourse = np.array([-self.data.discount[v.year] * v.money for v in self.variables])
        return plan, recourse

    def burden_objective(self) -> tuple[Floats, Floats]:
        """Coefficients: burden on 1 November, weighted over the years.

        Among equally clean plans money decides: fields without weeds would else be cropped at random.
        """
        money, recourse = self.money_objective()
        tie = self.tie_break()
        plan = tie * money
        part = space_view(self.space, "burden", plan)
        part += self.data.burden_when
        return plan, tie * recourse

    def tie_break(self) -> float:
        """What a unit of money counts in the least burden: all the farm's cost, ``TIE`` of its weeds. [ha]"""
        data = self.data
        area = sum(land.area_ha for land in data.fields)
        weeds = sum(
            land.area_ha
            * float(data.burden_weight * land.infested_share @ land.start_reserve[:, data.likely])
            for land in data.fields
        )
        cost = area * data.years * float(np.abs(data.cost_per_ha).mean()) if len(data.cost_per_ha) else 1.0
        return TIE * max(weeds, TIE * area) / max(cost, 1.0)

    def prices(self, objective: Floats, duals: Floats) -> Prices:
        """Prices at which a new sequence is worth what it takes off the objective, before its own row."""
        worth = -objective
        np.add.at(worth, self.entry_feature, duals[self.entry_row] * self.entry_value)
        part = self.space.part
        return Prices(
            money=part("money", worth),
            product=np.maximum(part("tonnes", worth), 0.0),
            labour=-part("labour", worth),
            machine=-part("machine", worth),
            hired=-part("hired", worth),
            land=-part("land", worth),
            burden=-part("burden", worth),
        )

    def values(self, solution: Floats) -> Recourse:
        """Recourse values in their own shapes."""
        data = self.data
        years, products = data.years, len(data.products)
        shapes: dict[str, tuple[int, ...]] = {
            "sold": (len(self.limits.outlets), years),
            "open": (years, products),
            "kept": (years, products),
            "fed": (years,),
            "bought": (years,),
            "stored": (years,),
            "extra": (years + 1, HALF_MONTHS),
            "hire": (len(data.machines), years + 1, HALF_MONTHS),
        }
        arrays = {name: np.zeros(shape) for name, shape in shapes.items()}
        for key, number in self.index.items():
            arrays[str(key[0])][tuple(int(k) for k in key[1:])] = max(0.0, float(solution[number]))
        return Recourse(
            sold_t=arrays["sold"],
            open_t=arrays["open"],
            kept_t=arrays["kept"],
            fed_t=arrays["fed"],
            bought_t=arrays["bought"],
            stored_t=arrays["stored"],
            extra_labour_h=arrays["extra"],
            hire_extra_h=arrays["hire"],
        )


def space_view(space: Space, name: str, values: Floats) -> Floats:
    """A writable stretch of a flat list of features."""
    size = int(np.prod(space.shapes[name]))
    return values[space.begin[name] : space.begin[name] + size]


# ---------------------------------------------------------------- families of limits


def outlets(program: Program) -> None:
    """Tonnes are sold, kept for the herd or left unsold; contracts are met.

    ``sum_f tonnes_fkt x - sum_o sold_okt - open_kt - kept_kt >= 0``  [t], for every product and year, and
    ``sold_ot >= least_ot``, ``sold_ot <= most_ot``. More than the outlets take is sold at the open price or
    lies unsold, so a tonne never has a negative price and weeds never become useful.
    """
    data, limits = program.data, program.limits
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
                )
                row.recourse[sold] = -1.0
                least = float(outlet.least_t[year])
                if least > 0.0:
                    words = (
                        f"{outlet.name} is promised {least:,.0f} t of {data.product_words[product]} in "
                        f"{data.first_year + year}: {{0}} t short"
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
                        )
                    )
            price = float(limits.open_price_per_t[year, product])
            if price > 0.0:
                row.recourse[program.variable("open", year, product, year=year, money=price)] = -1.0
            if limits.feeds[product] and limits.feed_need_t > 0.0:
                row.recourse[program.variable("kept", year, product)] = -1.0
            if row.recourse:
                program.rows.append(row)


def feed(program: Program) -> None:
    """The herd eats every year; what is kept and not eaten is stored with loss.

    ``fed_t + bought_t >= need``  [t] and ``stored_t - (1 - loss) stored_(t-1) - kept_t + fed_t <= 0``  [t],
    ``stored_t <= room``. Before the first year there is what lies in the barn now.
    """
    data, limits = program.data, program.limits
    if limits.feed_need_t <= 0.0:
        return
    for year in range(data.years):
        fed = program.variable("fed", year)
        bought = program.variable("bought", year, year=year, money=-limits.feed_price_per_t)
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


def labour(program: Program) -> None:
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
            words = f"work in {_half_month(data, when, half)}: {{0}} h more than there are hands for"
            row = Row(
                "labour", words, -1, have, {program.space.at("labour", when, half): 1.0}, {}, max(have, 10.0)
            )
            row.limit = "the hours of labour"
            if limits.extra_labour_h[half] > 0.0:
                extra = program.variable(
                    "extra",
                    when,
                    half,
                    year=max(0, when - 1),
                    money=-limits.extra_labour_cost_per_h,
                    upper=float(limits.extra_labour_h[half]),
                )
                row.recourse[extra] = -1.0
            program.rows.append(row)


def machines(program: Program) -> None:
    """Own machines: ``sum_f hours_f,mch x - hire_mch <= hours_mh``, ``sum_h hire_mch <= hireable_m``  [h].

    A machine that is hired anyway has no hours of its own to run out of (inf).
    """
    data, limits = program.data, program.limits
    most = _most_load(data, data.machine_h)
    for number in range(len(data.machines)):
        name = f"the hours of the {data.machine_words[number]}"
        for when in range(data.years + 1):
            hires = []
            for half in range(HALF_MONTHS):
                have = float(limits.machine_h[number, half])
                if not np.isfinite(have) or (not program.every_row and most[number, when, half] <= have):
                    continue
                words = f"{data.machine_words[number]} in {_half_month(data, when, half)}: {{0}} h too many"
                at = program.space.at("machine", number, when, half)
                row = Row("machines", words, -1, have, {at: 1.0}, {}, max(have, 10.0), name)
                if limits.hire_extra_h[number] > 0.0:
                    hire = program.variable(
                        "hire",
                        number,
                        when,
                        half,
                        year=max(0, when - 1),
                        money=-float(limits.hire_extra_cost_per_h[number]),
                    )
                    row.recourse[hire] = -1.0
                    hires.append(hire)
                program.rows.append(row)
            if hires and np.isfinite(limits.hire_extra_h[number]):
                cap = float(limits.hire_extra_h[number])
                program.rows.append(Row("hire", "", -1, cap, {}, dict.fromkeys(hires, 1.0)))


def hired_area(program: Program) -> None:
    """Hired machines: ``sum_f hectares_f,mt x <= cap_m``  [ha a harvest year]."""
    data, limits = program.data, program.limits
    for number in range(len(data.machines)):
        cap = float(limits.hire_area_ha[number])
        top = sum(field.area_ha for field in data.fields) * float(data.hired_area[:, number].max(initial=0.0))
        if not np.isfinite(cap) or (not program.every_row and top <= cap):
            continue
        for year in range(data.years):
            words = (
                f"hired {data.machine_words[number]} in {data.first_year + year}: {{0}} ha more than "
                f"the {cap:,.0f} ha that can be hired"
            )
            at = program.space.at("hired", number, year)
            name = f"the area that the hired {data.machine_words[number]} can do"
            program.rows.append(Row("hired_area", words, -1, cap, {at: 1.0}, {}, max(cap, 1.0), name))


def cash_floor(program: Program) -> None:
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
        row.limit = "the least cash a year"
        program.rows.append(row)


def _farmed_ha(data: SelectionData) -> Floats:
    """Hectares still farmed in each year."""
    return np.array([sum(f.area_ha for f in data.fields if f.farmed[t]) for t in range(data.years)])


def largest_shares(program: Program) -> None:
    """``sum_f area_f [member in t] x <= share * farmed land_t``  [ha], every year."""
    data = program.data
    land = _farmed_ha(data)
    for share in program.limits.largest:
        for year in range(data.years):
            name = f"the largest share of {share.name}"
            year_words = f"{share.name} in {data.first_year + year}"
            words = f"{year_words}: {{0}} ha more than {share.share:.0%} of the land"
            plan = {program.space.at("land", year, int(p)): 1.0 for p in np.flatnonzero(share.member)}
            most = share.share * float(land[year])
            program.rows.append(Row("largest_shares", words, -1, most, plan, {}, max(most, 1.0), name))


def least_shares(program: Program) -> None:
    """``sum_t sum_f area_f [member in t] x >= share * sum_t farmed land_t``  [ha years]."""
    data = program.data
    land = float(_farmed_ha(data).sum())
    for share in program.limits.least:
        words = f"{share.name}: on average {{0}} ha a year short of {share.share:.0%} of the land"
        name = f"the least share of {share.name}"
        weight = 1.0 / data.years
        plan = {
            program.space.at("land", year, int(p)): weight
            for year in range(data.years)
            for p in np.flatnonzero(share.member)
        }
        least = share.share * land * weight
        program.rows.append(Row("least_shares", words, 1, least, plan, {}, max(least, 1.0), name))


def burden(program: Program, most: float) -> None:
    """``sum_t when_t sum_f burden_ft x <= most``  [ha of full-strength stand, 1 November]."""
    words = f"weeds over the years: {{0}} ha of full stand more than {most:,.2f} ha"
    when = program.data.burden_when
    plan = {program.space.at("burden", year): float(when[year]) for year in range(program.data.years)}
    program.rows.append(Row("burden", words, -1, most, plan, {}, max(most, 0.1), "the limit on weeds"))


def _most_load(data: SelectionData, hours: Floats) -> Floats:
    """Most hours any plan can need: (M, C, H) from hours per hectare (Q, M, 2, H)."""
    top = hours.max(axis=0, initial=0.0)
    load = np.zeros((top.shape[0], data.years + 1, HALF_MONTHS))
    for land in data.fields:
        for year in range(data.years):
            for offset in (0, 1):
                load[:, year + offset] += land.area_ha * top[:, offset] * bool(land.farmed[year])
    return load


def _half_month(data: SelectionData, when: int, half: int) -> str:
    """``late May 2027``."""
    part = "early" if half % 2 == 0 else "late"
    return f"{part} {MONTHS[half // 2]} {data.first_year - 1 + when}"


# ---------------------------------------------------------------- the program as a PuLP problem


@dataclass(slots=True)
class Problem:
    """A PuLP problem and its parts in the program's own order."""

    problem: pulp.LpProblem
    plans: list[pulp.LpVariable]
    recourse: list[pulp.LpVariable]
    slack: list[pulp.LpVariable | None]
    rows: list[pulp.LpConstraint]
    fields: list[pulp.LpConstraint]


def problem(
    program: Program,
    coefficients: Floats,
    cost: Floats,
    recourse_cost: Floats,
    field_of: Floats | Integers,
    *,
    integer: bool,
    slack: Literal["none", "free"] = "none",
    slack_cost: float = 0.0,
    fields: Flags | None = None,
    rhs: Floats | None = None,
) -> Problem:
    """The program over given columns.

    Parameters
    ----------
    coefficients : (rows, n); cost, field_of : (n,)
    recourse_cost : (variables,)
    integer : bool
        Whole fields (binary choice), or shares of a field.
    slack : {"none", "free"}
        Whether limits that can be broken have a variable that says by how much.
    slack_cost : float
        Cost of breaking a limit by its own scale.
    fields : (F,) bool, optional
        Fields that choose a sequence; all by default (none of them when a fixed plan is looked at).
    rhs : (rows,), optional
        Right-hand sides other than the program's.
    """
    result = pulp.LpProblem("selection", pulp.LpMinimize)
    category = pulp.LpBinary if integer else pulp.LpContinuous
    top = 1 if integer else None
    plans = [result.add_variable(f"plan_{j:06d}", 0, top, category) for j in range(len(cost))]
    recourse = [
        result.add_variable(f"recourse_{n:05d}", 0, variable.upper)
        for n, variable in enumerate(program.variables)
    ]
    loose = [
        result.add_variable(f"slack_{n:05d}", 0) if slack == "free" and row.words else None
        for n, row in enumerate(program.rows)
    ]
    target = [(variable, float(c)) for variable, c in zip(plans, cost, strict=True)]
    target += [(variable, float(c)) for variable, c in zip(recourse, recourse_cost, strict=True)]
    target += [
        (variable, slack_cost / row.scale)
        for variable, row in zip(loose, program.rows, strict=True)
        if variable is not None
    ]
    result.setObjective(pulp.LpAffineExpression(target))
    right = program.rhs if rhs is None else rhs
    rows = []
    for number, row in enumerate(program.rows):
        nonzero = np.flatnonzero(coefficients[number])
        terms = [(plans[j], float(coefficients[number, j])) for j in nonzero]
        terms += [(recourse[n], value) for n, value in row.recourse.items()]
        if loose[number] is not None:
            terms.append((loose[number], float(row.sense)))
        sense = pulp.LpConstraintGE if row.sense > 0 else pulp.LpConstraintLE
        constraint = pulp.LpConstraint(
            pulp.LpAffineExpression(terms), sense, f"row_{number:05d}_{row.family}", float(right[number])
        )
        result.addConstraint(constraint)
        rows.append(constraint)
    owner = np.asarray(field_of, dtype=np.int64)
    choice = []
    for number in range(len(program.data.fields)):
        if fields is not None and not fields[number]:
            continue
        terms = [(plans[j], 1.0) for j in np.flatnonzero(owner == number)]
        constraint = pulp.LpConstraint(
            pulp.LpAffineExpression(terms), pulp.LpConstraintEQ, f"field_{number:04d}", 1.0
        )
        result.addConstraint(constraint)
        choice.append(constraint)
    return Problem(result, plans, recourse, loose, rows, choice)
