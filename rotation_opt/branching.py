"""How far from the best a plan can be, when fields cannot be shared out: the bound raised by cases.

The linear program mixes sequences on one field to fill every capacity to the brim. Each case forbids one
such mixture: *on this field, at most so many hours of the harvester in late July*, or *more than that*. A
case whose bound passes the plan known is closed; the least bound of the cases left open holds for all plans.
Every sequence that can matter is listed, so that new ones are priced by one product of matrices.
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .arrays import Floats, Integers
from .columns import rank_in_field
from .pricing import Pricing
from .solver import KeptProgram

TINY = 1e-7
ADDED = 8  # sequences a field and round
ROUNDS = 40  # of pricing in one case
RAISES, DEARER = 6, 10.0
PLUNGE, DEEPEST = 12, 60
COPY_BELOW = 8  # what a case needs is copied together if it is so many times less than everything
PRACTICE_SPREAD = 1e-6  # a mixture that differs in no limit with a price is parted by what is grown


@dataclass(frozen=True, slots=True)
class Bounded:
    """Outcome: a better plan if one came by (columns), its cost, and a bound for all plans."""

    columns: list[int]
    value: float
    bound: float


class Branching:
    """Cases over listed columns.

    Parameters
    ----------
    pricing : Pricing
        Solved.
    columns : (m,) int
        Every column that a plan better than ``value`` can use, save those that make it cost ``beyond``.
    plan, value
        Best plan known and its cost.
    beyond : float
        Least cost of a plan that uses any other column.
    """

    def __init__(
        self, pricing: Pricing, columns: Integers, plan: Sequence[int], value: float, beyond: float = np.inf
    ) -> None:
        store = pricing.columns
        self.pricing, self.columns = pricing, columns
        self.cost, self.field = store.cost[columns], store.field[columns]
        self.need = np.ascontiguousarray(store.need[columns])
        self.paths = store.array(columns)
        self.count = len(pricing.data.fields)
        self.price = pricing.duals
        self.plan, self.value, self.beyond = list(plan), value, beyond
        place = {int(c): n for n, c in enumerate(columns)}
        reduced = self.cost - self.need @ pricing.duals - pricing.field_duals[self.field]
        first = {place[c] for c in plan} | set(np.flatnonzero(reduced <= TINY * abs(value)).tolist())
        first |= set(_least_of_each(reduced, self.field, np.ones(len(columns), bool)).tolist())
        self.inside = np.array(sorted(first), np.int64)  # those in the linear program, in its order
        self.is_inside = np.zeros(len(columns), bool)
        self.is_inside[self.inside] = True
        self.master = KeptProgram(pricing.program, self.need[self.inside], self.field[self.inside])
        scale = np.array([row.scale for row in pricing.program.rows])
        self.penalty = np.maximum(10.0 * np.abs(pricing.duals), abs(value) / scale)
        self.raised, self.broken = 0, False
        self.opened, self.cases, self.left = 0, 0, 0
        self.heap: list[tuple[float, int, Integers]] = []
        self.closed = np.inf  # least bound of cases that could not be parted any further
        self._open(pricing.bound, np.arange(len(columns)))
        self.master.aim(self.cost[self.inside], pricing.recourse_cost, self.penalty)

    def run(self, gap: float, solves: int) -> Bounded:
        """Open and close cases until the bound is within ``gap`` of the best plan or work is done.

        May be called again to go on.
        """
        next_case: tuple[float, Integers] | None = None
        depth, self.left = 0, solves
        while (self.heap or next_case) and self.left > 0 and not self.pricing.brake():
            if next_case is None:
                bound, _, allowed = self.heap[0]
                if bound >= self._cutoff(gap):
                    break
                heapq.heappop(self.heap)
                depth = 0
            else:
                bound, allowed = next_case
                depth += 1
            next_case = None
            self.cases += 1
            bound, allowed, shares = self._solve(allowed, bound)
            if bound >= self._limit():
                continue
            parts = self._parts(allowed, shares)
            if parts is None:  # whole fields already: taken in `_solve`, unless it breaks a limit
                if self.broken and self.raised < RAISES:
                    self._make_dearer()
                    self._open(bound, allowed)
                else:
                    self.closed = min(self.closed, bound)
                continue
            # now and then the likelier half is followed down, for a plan of whole fields on the way
            if self.left > 0 and (depth > 0 or self.cases % PLUNGE == 1) and depth < DEEPEST:
                next_case, parts = (bound, parts[0]), parts[1:]
            for part in parts:
                self._open(bound, part)
        if next_case is not None:
            self._open(*next_case)
        least = self.heap[0][0] if self.heap else np.inf
        bound = max(min(self.closed, self.value, self.beyond, least), self.pricing.bound)
        return Bounded(self.plan, self.value, bound)

    def _open(self, bound: float, allowed: Integers) -> None:
        self.opened += 1
        heapq.heappush(self.heap, (bound, self.opened, allowed))

    def _make_dearer(self) -> None:
        """Breaking a limit costs more from now on; bounds found before stay true."""
        self.raised += 1
        self.penalty = DEARER * self.penalty
        self.master.price_slack(self.penalty)

    def _cutoff(self, gap: float) -> float:
        return min(self.beyond, self.value - max(gap, TINY) * abs(self.value))

    def _limit(self) -> float:
        """Cases whose bound is no lower need no further look."""
        return min(self.beyond, self.value - TINY * abs(self.value))

    def _solve(self, allowed: Integers, bound: float) -> tuple[float, Integers, Floats]:
        """Bound of one case, the columns that can still matter in it, and the share of each of them."""
        mask = np.zeros(len(self.columns), bool)
        mask[allowed] = True
        self._ensure(allowed, mask)
        self.master.allow(mask[self.inside])
        few = len(allowed) * COPY_BELOW < len(self.columns)
        need = self.need[allowed] if few else self.need
        cost, field = self.cost[allowed], self.field[allowed]
        for _ in range(ROUNDS):
            value, self.price, field_duals = self.master.solve()
            self.left -= 1
            asked = need @ self.price
            reduced = cost - (asked if few else asked[allowed]) - field_duals[field]
            least = np.full(self.count, np.inf)
            np.minimum.at(least, field, reduced)
            lagrangian = value + float(np.minimum(least, 0.0).sum())
            bound = max(bound, lagrangian)
            if bound >= self._limit():
                return bound, allowed, np.zeros(0)
            wanted = (reduced < -TINY * max(1.0, abs(value)) / self.count) & ~self.is_inside[allowed]
            if not wanted.any() or self.left <= 0:
                break
            self._add(allowed[_least_of_each(reduced, field, wanted)])
        # a plan with a column costs at least the bound at these very prices and what the column adds to it
        added = reduced - np.minimum(least, 0.0)[field]
        keep = added < self._limit() - lagrangian + 2 * TINY * abs(self.value)
        share = np.zeros(len(self.columns))
        share[self.inside] = self.master.shares()
        keep |= share[allowed] > 0.0
        left = allowed[keep]
        whole = np.flatnonzero(share > 1.0 - 1e-6)
        self.broken = bool(self.master.slack().max(initial=0.0) > 1e-7)
        if len(whole) == self.count and not self.broken and value < self.value:
            self.plan, self.value = [int(c) for c in self.columns[whole]], value
        return bound, left, share[left]

    def _ensure(self, allowed: Integers, mask: NDArray[np.bool_]) -> None:
        """At least one column of each field in the linear program."""
        there = np.zeros(self.count, bool)
        there[self.field[self.inside[mask[self.inside]]]] = True
        new = [allowed[self.field[allowed] == f][0] for f in np.flatnonzero(~there)]
        if new:
            self._add(np.array(new, np.int64))

    def _add(self, rows: Integers) -> None:
        self.master.add(self.need[rows], self.cost[rows], self.field[rows])
        self.inside = np.concatenate([self.inside, rows])
        self.is_inside[rows] = True

    def _parts(self, allowed: Integers, shares: Floats) -> tuple[Integers, ...] | None:
        """The case parted in two where the mixture on one field matters most, the likelier half first.

        None if nothing is mixed.
        """
        some = np.flatnonzero((shares > 1e-6) & (shares < 1.0 - 1e-6))
        if not len(some):
            return None
        field, need, weight = self.field[allowed[some]], self.need[allowed[some]], shares[some]
        price = np.abs(self.price)
        best, choice = 0.0, None
        for f in np.unique(field):
            mine = field == f
            w, n = weight[mine][:, None], need[mine]
            mean = (w * n).sum(axis=0) / w.sum()
            spread = price * (w * np.abs(n - mean)).sum(axis=0)
            row = int(spread.argmax())
            if spread[row] > best:
                best, choice = float(spread[row]), (int(f), row, float(mean[row]))
        owner = self.field[allowed]
        if choice is not None and best > PRACTICE_SPREAD * max(1.0, abs(self.value)):
            f, row, at = choice
            high = self.need[allowed, row] > at
        else:
            f = int(field[0])
            mine = allowed[some][field == f]
            year = int(np.argmax((self.paths[mine] != self.paths[mine[0]]).any(axis=0)))
            high = self.paths[allowed, year] == self.paths[mine[0], year]
        here = owner == f
        larger = shares[here & high].sum() > shares[here & ~high].sum()
        one, other = allowed[~here | high], allowed[~here | ~high]
        return (one, other) if larger else (other, one)


def _least_of_each(reduced: Floats, field: Integers, wanted: NDArray[np.bool_]) -> Integers:
    """The few wanted columns of least reduced cost of every field."""
    rows = np.flatnonzero(wanted)
    result: Integers = rows[rank_in_field(reduced[rows], field[rows]) < ADDED]
    return result
