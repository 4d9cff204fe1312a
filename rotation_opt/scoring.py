"""What the farm makes of a plan's work and tonnes, in closed form, for many plans at once.

With the sequences fixed, what is left to choose falls apart into small groups of limits that share nothing:
extra hands of one half-month, the buyers of one product in one year, the herd's hay over all years. The
least cost of a group is convex and piecewise linear in what the plan needs of it, so it is the largest of a
few straight lines. Groups with one limit have all their lines from the start; groups with several gain
lines where plans are tried (`Scoring.sharpen`, before the first score), so that a plan that keeps its limits
is never scored too dear and in the end exactly.

Breaking a limit costs a penalty, so that a search can pass through plans that do not quite fit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .arrays import Floats, Integers
from .formulate import Program
from .pricing import Pricing
from .solver import KeptRecourse

TINY = 1e-9
CASH = ("cash", "cash_quarter")  # families of limits on cash
Line = tuple[float, float]  # slope in the need, cost at no need


@dataclass(frozen=True, slots=True)
class _Bend:
    """One bend of the first so many rows scored: beyond it a unit of need costs more."""

    at: Floats  # (rows,) need at the bend
    rise: Floats  # (rows,) how much more a unit costs beyond it
    paid: Floats  # (rows, cash rows) money that a unit beyond it brings in each limit on cash
    most_paid: Floats  # (rows,) the most that a unit beyond it takes from any of them


@dataclass(slots=True)
class _Pooled:
    """Rows whose excess is bought at one price out of one yearly allowance."""

    columns: Integers  # places among the rows scored
    have: Floats
    price: float
    cap: float
    penalty: float
    weight: float  # what a unit of its money counts in the cost
    paid: Floats  # (rows, cash rows) whether what is paid for a row counts in a limit on cash


@dataclass(slots=True)
class _Group:
    """Rows whose recourse hangs together: lines are found as plans are tried."""

    columns: Integers
    kept: KeptRecourse
    money: Floats  # (cash rows, variables) money a unit of each variable brings in each limit on cash
    slopes: Floats  # (lines, rows)
    start: Floats  # (lines,)
    cash: Floats  # (lines, cash rows) money in each limit on cash where the line was found
    found: Floats  # (lines, rows scored) need there
    twins: bool = False  # whether lines that touch the same plan differ in cash


@dataclass(frozen=True, slots=True)
class _Paying:
    """What n plans buy in, by kind of group; what they pay for it is in the group."""

    bent: list[Floats]  # (n, rows) need beyond each bend
    pooled: list[Floats]  # (n, rows) need beyond what is there
    lines: list[Integers | None]  # (n,) the line that counts, None while none is known

    def of(self, rows: Integers) -> _Paying:
        """Of some of the plans."""
        return _Paying(
            [over[rows] for over in self.bent],
            [over[rows] for over in self.pooled],
            [None if best is None else best[rows] for best in self.lines],
        )


class Scoring:
    """Cost of plans from what they need of every limit.

    Parameters
    ----------
    program : Program
    recourse_cost : (variables,)
        Cost of a unit of every recourse variable, as minimised.
    penalty : (rows,)
        Cost of a unit by which each limit is broken.
    money_weight : (T,)
        What a unit of money of each year counts in the cost.
    most_need, least_need : (rows,)
        No plan needs more, or less, of a limit: rows that cost nothing in between are left out.
    """

    def __init__(
        self,
        program: Program,
        recourse_cost: Floats,
        penalty: Floats,
        money_weight: Floats,
        *,
        least_need: Floats,
        most_need: Floats,
    ) -> None:
        self.program, self.cost, self.penalty = program, recourse_cost, penalty
        self.money_weight = money_weight
        self.cash = np.array([n for n, row in enumerate(program.rows) if row.family in CASH], np.int64)
        # how much of the money of each variable counts in each limit on cash
        paid = np.array([variable.money for variable in program.variables])
        self.counts = program.recourse[self.cash] / np.where(paid == 0.0, 1.0, paid)
        self.linear = np.zeros(len(program.rows))  # cost of a unit of need where it is the same everywhere
        self.linear_money = np.zeros((len(self.cash), len(program.rows)))
        self.base = 0.0
        self.base_money = np.zeros(len(self.cash))
        singles: list[tuple[int, list[Line], list[int]]] = []
        wide: list[tuple[list[int], list[int]]] = []
        pools: list[tuple[list[int], int]] = []
        for rows, variables in _groups(program, self.cash):
            lines = self._lines(rows, variables)
            if lines is not None:
                (row,) = (n for n in rows if program.rows[n].plan)
                singles.append((row, lines, self._paying(variables)))
            elif (cap := self._cap(rows, variables)) is not None:
                pools.append(([n for n in rows if n != cap], cap))
            else:
                wide.append((rows, variables))
        self._settle(singles, pools, wide, least_need, most_need)

    # ------------------------------------------------------------ reading the program

    def _paying(self, variables: Sequence[int]) -> list[int]:
        """The variables of a group that bring or cost money."""
        return [v for v in variables if self.program.variables[v].money != 0.0]

    def _years(self, variables: Sequence[int]) -> set[int]:
        """Plan years in which a group's money is counted."""
        return {self.program.variables[v].year for v in self._paying(variables)}

    def _at_once(self, variables: Sequence[int]) -> bool:
        """Whether all of a group's money counts in the same limits on cash."""
        counts = self.counts[:, self._paying(variables)]
        return bool((counts == counts[:, :1]).all())

    def _lines(self, rows: Sequence[int], variables: Sequence[int]) -> list[Line] | None:
        """The lines of a group in which one row alone depends on the plan; None for other groups.

        The other rows may only promise a least amount of one variable (a contract). Units are ranked by
        what they are worth to the row: those worth most are served first as there is more to go round.
        """
        program = self.program
        plan = [n for n in rows if program.rows[n].plan]
        others = [n for n in rows if not program.rows[n].plan]
        if len(plan) != 1 or any(len(program.rows[n].recourse) != 1 for n in others):
            return None
        if len(self._years(variables)) > 1 or not self._at_once(variables):
            return None
        row = program.rows[plan[0]]
        sense = float(row.sense)
        promised: dict[int, tuple[float, float]] = {}
        for n in others:
            ((variable, value),) = program.rows[n].recourse.items()
            if program.rows[n].sense != 1 or value <= 0 or variable in promised:
                return None
            promised[variable] = (program.rows[n].rhs / value, self.penalty[n] * value)
        # (worth of a unit to the row, units, whether it gives to the row)
        steps: list[tuple[float, float, bool]] = [(self.penalty[plan[0]], np.inf, True)]
        constant = 0.0
        for variable in variables:
            if variable not in row.recourse:
                return None
            gain = sense * row.recourse[variable]
            cost = float(self.cost[variable])
            upper = program.variables[variable].upper
            upper = np.inf if upper is None else float(upper)
            least, fine = promised.get(variable, (0.0, 0.0))
            parts = [(min(least, upper), cost - fine), (upper - min(least, upper), cost)]
            constant += least * fine
            for units, each in parts:
                if units <= 0.0:
                    continue
                if gain > 0.0 and each >= 0.0:
                    steps.append((each / gain, gain * units, True))
                elif gain < 0.0:
                    if each < 0.0:
                        steps.append((each / gain, -gain * units, False))
                else:
                    return None
        return _lines_of(steps, sense, row.rhs, constant)

    def _cap(self, rows: Sequence[int], variables: Sequence[int]) -> int | None:
        """The row that caps the sum of all variables, if each other row buys its excess at the same cost."""
        program = self.program
        caps = [n for n in rows if not program.rows[n].plan]
        plain = [n for n in rows if program.rows[n].plan]
        same = len({float(self.cost[v]) for v in variables}) == 1
        one_each = all(
            list(program.rows[n].recourse.values()) == [-1.0] and program.rows[n].sense == -1 for n in plain
        )
        if len(caps) != 1 or not same or not one_each or len(plain) != len(variables):
            return None
        cap = program.rows[caps[0]]
        free = all(program.variables[v].upper is None for v in variables)
        whole = set(cap.recourse) == set(variables) and set(cap.recourse.values()) == {1.0}
        return caps[0] if free and whole and cap.sense == -1 and len(self._years(variables)) == 1 else None

    def _settle(
        self,
        singles: list[tuple[int, list[Line], list[int]]],
        pools: list[tuple[list[int], int]],
        wide: list[tuple[list[int], list[int]]],
        least_need: Floats,
        most_need: Floats,
    ) -> None:
        """Lay the groups out as arrays over the rows that need looking at."""
        bent = []
        for row, lines, paying in singles:
            used = _between(lines, float(least_need[row]), float(most_need[row]))
            slope, start = used[0]  # the first line counts everywhere, each later one from its bend on
            self.linear[row] += slope
            self.base += start
            if paying:
                self.linear_money[:, row] -= slope / self._weight(paying) * self.counts[:, paying[0]]
                self.base_money -= start / self._weight(paying) * self.counts[:, paying[0]]
            if len(used) > 1:
                bent.append((row, used, paying))
        bent.sort(key=lambda each: -len(each[1]))
        order = [row for row, _, _ in bent] + [n for rows, _ in pools for n in rows]
        order += [n for rows, _ in wide for n in rows if self.program.rows[n].plan]
        self.rows = np.array(order, dtype=np.int64)
        at = {row: place for place, row in enumerate(order)}
        self.bends: list[_Bend] = []
        for turn in range(1, max((len(lines) for _, lines, _ in bent), default=1)):
            mine = [(lines[turn - 1], lines[turn], paying) for _, lines, paying in bent if len(lines) > turn]
            rise = np.array([after[0] - before[0] for before, after, _ in mine])
            place = np.array([before[1] - after[1] for before, after, _ in mine]) / rise
            paid = np.zeros((len(mine), len(self.cash)))
            for n, (_, _, paying) in enumerate(mine):
                if paying:
                    paid[n] = -rise[n] * self.counts[:, paying[0]] / self._weight(paying)
            most_paid = np.maximum(-paid, 0.0).max(axis=1, initial=0.0)
            self.bends.append(_Bend(place, rise, paid, most_paid))
        self.pooled = [self._pool(rows, cap, at) for rows, cap in pools]
        self.groups = [self._wide(rows, variables, at) for rows, variables in wide]

    def _weight(self, paying: Sequence[int]) -> float:
        """What a unit of a group's money counts in the cost."""
        return float(self.money_weight[self.program.variables[paying[0]].year])

    def _pool(self, rows: list[int], cap: int, at: dict[int, int]) -> _Pooled:
        buys = [next(iter(self.program.rows[n].recourse)) for n in rows]
        return _Pooled(
            np.array([at[n] for n in rows], np.int64),
            np.array([self.program.rows[n].rhs for n in rows]),
            float(self.cost[buys[0]]),
            float(self.program.rows[cap].rhs),
            float(self.penalty[rows].max()),  # an hour too many may be counted in any of them
            self._weight(buys),
            self.counts[:, buys].T,
        )

    def _wide(self, rows: list[int], variables: list[int], at: dict[int, int]) -> _Group:
        plan = [n for n in rows if self.program.rows[n].plan]
        order = plan + [n for n in rows if n not in plan]
        return _Group(
            np.array([at[n] for n in plan], np.int64),
            KeptRecourse(self.program, order, variables, self.cost, self.penalty),
            self.program.recourse[self.cash][:, variables],
            np.zeros((0, len(plan))),
            np.zeros(0),
            np.zeros((0, len(self.cash))),
            np.zeros((0, len(plan))),
        )

    # ------------------------------------------------------------ scoring

    def sharpen(self, need: Floats) -> bool:
        """Make the score exact for one plan that needs ``need`` (rows scored,); True if anything changed."""
        changed = False
        for group in self.groups:
            mine = need[group.columns]
            full = np.zeros(len(group.kept.at))
            full[: len(mine)] = mine
            cost, slope, values = group.kept.solve(full)
            slope = slope[: len(mine)]
            money = group.money @ values
            known = self._best(group, need[None, :])
            new = known is None or cost > known[1][0] + TINY * max(1.0, abs(cost))
            if known is not None and not new:
                apart = abs(money - group.cash[known[0][0]])
                # a line found elsewhere touches this plan too, but with other money in hand
                new = bool((apart > TINY * np.maximum(1.0, abs(money))).any())
                group.twins |= new
            if new:
                group.slopes = np.vstack([group.slopes, slope])
                group.start = np.append(group.start, cost - slope @ mine)
                group.cash = np.vstack([group.cash, money])
                group.found = np.vstack([group.found, mine])
                changed = True
        return changed

    def slopes(self, need: Floats, cash: Floats) -> Floats:
        """What a little more need of each limit costs a plan: (rows,).

        Where the cost bends, the dearer side counts. What buying in does to the least cash is left out.

        Parameters
        ----------
        need, cash : (rows scored,), (cash rows,)
            As for `score`, of one plan.
        """
        at, _ = self._rise(need)
        result = self.linear.copy()
        result[self.rows] += at
        if len(self.cash):
            short = cash < self.program.rhs[self.cash]
            result[self.cash] -= np.where(short, self.penalty[self.cash], 0.0)
        return result

    def _rise(self, need: Floats) -> tuple[Floats, float]:
        """What a little more need adds (rows scored,), and the cost; cash aside.

        Where the cost bends, the dearer side counts.
        """
        at, cost = np.zeros(len(self.rows)), 0.0
        for bend in self.bends:
            count = len(bend.at)
            past = bend.rise * (need[:count] - bend.at)
            at[:count] += np.where(past >= -TINY * np.maximum(1.0, np.abs(past)), bend.rise, 0.0)
            cost += float(np.maximum(past, 0.0).sum())
        for pool in self.pooled:
            mine = need[pool.columns]
            over = float(np.maximum(mine - pool.have, 0.0).sum())
            price = pool.price if over < pool.cap else pool.penalty
            at[pool.columns] = np.where(mine >= pool.have, price, 0.0)
            cost += pool.price * min(over, pool.cap) + pool.penalty * max(over - pool.cap, 0.0)
        for group in self.groups:
            if len(group.start):
                lines = group.slopes @ need[group.columns] + group.start
                best = int(lines.argmax())
                at[group.columns] = group.slopes[best]
                cost += float(lines[best])
        return at, cost

    def tangent(self, need: Floats) -> tuple[Floats, float]:
        """A line in the need that no score is below; without what is short of cash it touches one plan.

        Parameters
        ----------
        need : (rows scored,)
            Of the plan.

        Returns
        -------
        slope : (rows scored,)
        start : float
            Where the line stands at no need.
        """
        if any(pool.penalty < pool.price for pool in self.pooled):  # the score then also bends downwards
            return np.zeros(len(need)), -np.inf
        slope, cost = self._rise(need)
        return slope, cost - float(slope @ need)

    def score(self, need: Floats, cash: Floats, below: Floats | None = None) -> Floats:
        """Cost of plans beyond what their sequences cost alone.

        Parameters
        ----------
        need : (n, rows scored)
        cash : (n, cash rows)
            Money that is known before recourse in each limit on cash (`base_money` and `linear_money` are in
            it); empty if no least cash is asked for.
        below : (n,), optional
            A plan that costs no less than this without what it is short of cash is not looked at further.

        Returns
        -------
        (n,)
        """
        result: Floats = np.zeros(len(need))
        bent = [np.maximum(need[:, : len(bend.at)] - bend.at, 0.0) for bend in self.bends]
        pooled = [np.maximum(need[:, pool.columns] - pool.have, 0.0) for pool in self.pooled]
        for bend, over in zip(self.bends, bent, strict=True):
            result += over @ bend.rise
        for pool, each_over in zip(self.pooled, pooled, strict=True):
            over = each_over.sum(axis=1)
            hired = np.minimum(over, pool.cap)
            result += pool.price * hired + pool.penalty * (over - hired)
        lines = [self._best(group, need) for group in self.groups]
        for best in lines:
            if best is not None:
                result += best[1]
        if len(self.cash):
            look = np.arange(len(need)) if below is None else np.flatnonzero(result < below)
            paying = _Paying(bent, pooled, [best and best[0] for best in lines]).of(look)
            rows, which = self._may_be_short(cash[look], paying)
            if len(rows):
                look = look[rows]
                money = self._money(cash[np.ix_(look, which)], paying.of(rows), which)
                short = np.maximum(self.program.rhs[self.cash[which]] - money, 0.0)
                result[look] += short @ self.penalty[self.cash[which]]
        return result

    @staticmethod
    def _best(group: _Group, need: Floats) -> tuple[Integers, Floats] | None:
        """The line of a group that counts for each plan, and its cost; None while no line is known."""
        if not len(group.start):
            return None
        mine = need[:, group.columns]
        lines = mine @ group.slopes.T + group.start
        best = lines.argmax(axis=1)
        cost = lines[np.arange(len(best)), best]
        if group.twins:  # the one found nearest: exactly there for a plan that was sharpened
            alike = lines >= (cost - TINY * np.maximum(1.0, abs(cost)))[:, None]
            look = np.flatnonzero(alike.sum(axis=1) > 1)
            away = abs(mine[look][:, None, :] - group.found).sum(axis=2)
            best[look] = np.where(alike[look], away, np.inf).argmin(axis=1)
        return best, cost

    def _may_be_short(self, cash: Floats, paying: _Paying) -> tuple[Integers, Integers]:
        """Plans that may have too little cash, if all they pay counted in every limit on cash; those limits.

        What each limit sees of each payment need not be worked out for the others.
        """
        paid = np.zeros(len(cash))
        for bend, over in zip(self.bends, paying.bent, strict=True):
            paid += over @ bend.most_paid
        for pool, each_over in zip(self.pooled, paying.pooled, strict=True):
            paid += pool.price / pool.weight * np.minimum(each_over.sum(axis=1), pool.cap)
        for group, best in zip(self.groups, paying.lines, strict=True):
            if best is not None:
                paid += np.maximum(-group.cash, 0.0).max(axis=1)[best]
        short = cash - self.program.rhs[self.cash] < paid[:, None]
        return np.flatnonzero(short.any(axis=1)), np.flatnonzero(short.any(axis=0))

    def _money(self, cash: Floats, paying: _Paying, which: Integers) -> Floats:
        """Money of plans in some limits on cash, recourse counted: (n, limits looked at)."""
        money = cash.copy()
        for bend, over in zip(self.bends, paying.bent, strict=True):
            money += over @ bend.paid[:, which]
        for pool, each_over in zip(self.pooled, paying.pooled, strict=True):
            over = each_over.sum(axis=1)
            hired = np.minimum(over, pool.cap)
            share = pool.price / pool.weight * hired / np.maximum(over, TINY)
            money -= share[:, None] * (each_over @ pool.paid[:, which])
        for group, best in zip(self.groups, paying.lines, strict=True):
            if best is not None:
                money += group.cash[best][:, which]
        return money


def penalties(pricing: Pricing, of_price: float, of_value: float) -> Floats:
    """(rows,): cost of a unit by which each limit is broken on the way to a plan that breaks none.

    Not much dearer than what the limit is worth, or a search could not pass from one side to the other.

    Parameters
    ----------
    of_price : float
        Share of the price of the limit in the linear program.
    of_value : float
        Least penalty for breaking a limit by its own scale, as a share of the whole value.
    """
    scale = np.array([row.scale for row in pricing.program.rows])
    result: Floats = np.maximum(
        of_price * np.abs(pricing.duals), of_value * max(abs(pricing.value), 1e-7) / scale
    )
    return result


def scoring_of(pricing: Pricing, penalty: Floats) -> Scoring:
    """Scores of plans of all the sequences that a pricing has met."""
    program, columns = pricing.program, pricing.columns
    low, high = np.zeros(len(program.rows)), np.zeros(len(program.rows))
    for field in range(len(pricing.data.fields)):
        mine = columns.need[columns.field == field]
        low += mine.min(axis=0)
        high += mine.max(axis=0)
    weight = -np.asarray(program.space.part("money", pricing.plan_cost), dtype=float)
    return Scoring(
        program,
        pricing.recourse_cost,
        penalty,
        np.where(weight > 0.0, weight, 1.0),
        least_need=low,
        most_need=high,
    )


def _groups(program: Program, cash: Integers) -> list[tuple[list[int], list[int]]]:
    """Rows (least cash left out) and recourse variables that hang together, in order."""
    owner = list(range(len(program.rows)))

    def find(n: int) -> int:
        while owner[n] != n:
            owner[n] = owner[owner[n]]
            n = owner[n]
        return n

    skip = set(cash.tolist())
    first: dict[int, int] = {}
    for n, row in enumerate(program.rows):
        if n in skip:
            continue
        for variable in row.recourse:
            if variable in first:
                owner[find(n)] = find(first[variable])
            else:
                first[variable] = n
    rows: dict[int, list[int]] = {}
    for n in range(len(program.rows)):
        if n not in skip:
            rows.setdefault(find(n), []).append(n)
    variables: dict[int, list[int]] = {head: [] for head in rows}
    for variable, n in first.items():
        variables[find(n)].append(variable)
    return [(members, sorted(variables[head])) for head, members in rows.items()]


def _lines_of(
    steps: list[tuple[float, float, bool]], sense: float, rhs: float, constant: float
) -> list[Line]:
    """The lines of least cost in the need of one row.

    With ``z = sense (need - rhs)`` what the plan gives to the row, a unit more of z is worth the price of the
    last unit served. Steps of dearest price come first; those that give to the row are let go, those that
    take from it are served, as z grows.
    """
    steps = sorted(steps, key=lambda step: -step[0])
    dearest = max(place for place, step in enumerate(steps) if step[2] and step[1] == np.inf)
    givers = [step for step in steps[dearest + 1 :] if step[2]]
    place = sum(units for _, units, gives in steps[:dearest] if not gives)
    place -= sum(units for _, units, _ in givers)
    cost = constant + sum(price * units for price, units, _ in givers)
    cost -= sum(price * units for price, units, gives in steps[:dearest] if not gives)
    price = steps[dearest][0]
    lines: list[Line] = [(-price * sense, cost + price * (sense * rhs + place))]
    for price, units, _ in [*steps[dearest + 1 :], (0.0, np.inf, False)]:
        lines.append((-price * sense, cost + price * (sense * rhs + place)))
        if units == np.inf:
            break
        place += units
        cost -= price * units
    return lines


def _between(lines: list[Line], low: float, high: float) -> list[Line]:
    """The lines that are the largest somewhere between two needs."""
    ordered = sorted(set(lines))
    kept = []
    for n, (slope, start) in enumerate(ordered):
        left, right = low, high
        for m, (other, begin) in enumerate(ordered):
            if other == slope:
                if begin > start or (begin == start and m < n):
                    left, right = 1.0, 0.0
                continue
            cross = (begin - start) / (slope - other)
            if other < slope:
                left = max(left, cross)
            else:
                right = min(right, cross)
        if left < right or (low == high and left <= right):
            kept.append((slope, start))
    return kept or [max(ordered, key=lambda line: line[0] * low + line[1])]
