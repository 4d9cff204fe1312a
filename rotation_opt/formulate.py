"""The selection program: one sequence for every field, under the limits of the whole farm.

Every limit is a sum over years of what the chosen sequences need, so a sequence enters the program with a
list of *features*: money and tonnes of each year, hours of each half-month, land under each practice, burden
of each autumn. A limit is written once, over features and over *recourse* (what the farm does about it:
sell, feed, store, buy hay, find extra hands, hire). The same rows then give the coefficients of any
sequence and, read the other way, the prices at which new sequences are grown.

Signs: everything is a minimisation; a row reads ``features + recourse (<=, >=) right-hand side``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from .arrays import Floats, Limits, Prices, SelectionData
from .features import HALF_MONTHS, space_view
from .limit_rows import Rows

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
    regret: float = 0.0  # what the worst runs count against the plan, money of today
    left: float = 0.0  # what the weeds left after the last year count against it, money of today

    @property
    def worth(self) -> float:
        """What plans for most money are chosen by: present value less what counts against the plan."""
        return self.present_value - self.regret - self.left


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
        written = Rows(data, limits, burden_most, every_row)
        self.data, self.limits, self.space = data, limits, written.space
        self.rows, self.variables, self.index = written.rows, written.variables, written.index
        entries = [(n, at, value) for n, row in enumerate(self.rows) for at, value in row.plan.items()]
        self.entry_row = np.array([entry[0] for entry in entries], dtype=np.int64)
        self.entry_feature = np.array([entry[1] for entry in entries], dtype=np.int64)
        self.entry_value = np.array([entry[2] for entry in entries], dtype=float)
        self.recourse = np.zeros((len(self.rows), len(self.variables)))
        for number, row in enumerate(self.rows):
            self.recourse[number, list(row.recourse)] = list(row.recourse.values())
        self.rhs = np.array([row.rhs for row in self.rows])
        self.sense = np.array([row.sense for row in self.rows], dtype=np.int64)

    def need(self, values: Floats) -> Floats:
        """What sequences with these features (n, features) need of every limit: (rows, n)."""
        result = np.zeros((len(self.rows), len(values)))
        if len(self.entry_row):
            begin = np.flatnonzero(np.diff(self.entry_row, prepend=-1))
            parts = (values[:, self.entry_feature] * self.entry_value).T
            result[self.entry_row[begin]] = np.add.reduceat(parts, begin, axis=0)
        return result

    def money_objective(self) -> tuple[Floats, Floats]:
        """Coefficients of features and recourse: minus the discounted net return (fixed cost left out).

        What the grower counts beside money is in it: bad years, and the weeds left after the last year.
        """
        plan = np.zeros(self.space.size)
        plan[self.space.begin["money"] : self.space.begin["money"] + self.data.years] = -self.data.discount
        space_view(self.space, "burden", plan)[-1] += self.data.weeds_left_price
        recourse = np.array([v.regret - self.data.discount[v.year] * v.money for v in self.variables])
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
            paid=part("paid", worth),
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
            if str(key[0]) not in arrays:  # what the worst runs lack: nobody does it
                continue
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
