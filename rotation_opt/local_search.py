"""Better plans by exchanging the sequences of one field or two, scored in closed form.

A descent changes one field at a time to its best sequence, then pairs of fields at once; when nothing helps
any more, a few fields are pushed off their sequences and the descent starts again. Everything is a fixed
amount of work with a fixed random stream, so that the same farm gives the same plan.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from .arrays import Floats, Integers
from .scoring import Scoring

TINY = 1e-7
PAIR_CHOICES = 24  # sequences of each of two fields that are tried together
PAIRS_A_FIELD = 4
PUSHED = 3  # most fields pushed at once
SHARPENINGS = 60


@dataclass(slots=True)
class _Choices:
    """The sequences of one field that may be chosen."""

    columns: Integers
    need: Floats  # (n, rows scored)
    cash: Floats  # (n, T) or (n, 0)
    own: Floats  # (n,)


class LocalSearch:
    """Searches among some columns.

    Parameters
    ----------
    scoring : Scoring
    need, cost, field : (n, rows), (n,), (n,)
        Of all columns.
    columns : (m,) int
        Those that may be chosen.
    rank : (n,)
        Rank of each column, the lowest the most hopeful (reduced cost).
    seed : int
        Of the random stream.
    """

    def __init__(
        self,
        scoring: Scoring,
        *,
        need: Floats,
        cost: Floats,
        field: Integers,
        columns: Integers,
        rank: Floats,
        seed: int = 1,
    ) -> None:
        self.scoring = scoring
        self.fields: list[_Choices] = []
        count = int(field.max()) + 1
        watch = len(scoring.cash) > 0
        for number in range(count):
            mine = columns[field[columns] == number]
            mine = mine[np.argsort(rank[mine], kind="stable")]
            full = need[mine]
            cash = (
                full[:, scoring.cash] + full @ scoring.linear_money.T if watch else np.zeros((len(mine), 0))
            )
            own = cost[mine] + full @ scoring.linear
            self.fields.append(_Choices(mine, np.ascontiguousarray(full[:, scoring.rows]), cash, own))
        self.base_cash = scoring.base_money if watch else np.zeros(0)
        self.random = np.random.default_rng(seed)
        self.at = np.zeros(count, np.int64)
        self._near: dict[int, Integers] = {}  # sequences of fields that cost least beside the present plan
        self._line: tuple[Floats, float] | None = None  # touches the score of the present plan
        self._place = [{int(c): n for n, c in enumerate(each.columns)} for each in self.fields]
        self.total = np.zeros(len(scoring.rows))
        self.cash = np.zeros(self.fields[0].cash.shape[1])
        self.own = 0.0

    # ------------------------------------------------------------ where the search stands

    def stand(self, plan: Sequence[int]) -> None:
        """Start from a plan of columns that may be chosen."""
        self.at = np.array(
            [self._place[f][int(c)] for f, c in enumerate(plan)],
            np.int64,
        )
        self._sum()

    def _sum(self) -> None:
        chosen = list(zip(self.fields, self.at, strict=True))
        self.total, self._line = np.sum([each.need[n] for each, n in chosen], axis=0), None
        self.cash = self.base_cash + np.sum([each.cash[n] for each, n in chosen], axis=0)
        self.own = float(sum(each.own[n] for each, n in chosen))

    @property
    def plan(self) -> list[int]:
        """Columns of the plan, field by field."""
        return [int(each.columns[n]) for each, n in zip(self.fields, self.at, strict=True)]

    def value(self) -> float:
        """Cost of the plan, sharpened where it stands."""
        if self.scoring.sharpen(self.total):
            self._line = None
        return self._value()

    def _value(self) -> float:
        rest = float(self.scoring.score(self.total[None, :], self.cash[None, :].copy())[0])
        return self.own + rest + self.scoring.base

    def _one(self, field: int, below: float = np.inf) -> Floats:
        """Cost of the plan with each sequence of one field; inf where it is surely not ``below``."""
        each, own = self.fields[field], self._own(field)
        rest, cash = self.total - each.need[self.at[field]], self.cash - each.cash[self.at[field]]
        look = np.flatnonzero(own + self._least(field) < below)
        result = np.full(len(own), np.inf)
        result[look] = own[look] + self.scoring.score(
            each.need[look] + rest, each.cash[look] + cash, below - own[look]
        )
        return result

    def _own(self, field: int) -> Floats:
        """(n,): cost of the plan with each sequence of one field, but for the score."""
        each = self.fields[field]
        result: Floats = each.own + (self.own - each.own[self.at[field]] + self.scoring.base)
        return result

    def _least(self, field: int) -> Floats:
        """(n,): no plan with these sequences of one field scores less."""
        each = self.fields[field]
        lines = self._lines(self.total - each.need[self.at[field]])
        result: Floats = np.max([each.need @ slope + start for slope, start in lines], axis=0)
        return result

    def _lines(self, rest: Floats) -> list[tuple[Floats, float]]:
        """Lines that no score is below: slope in what is needed beside ``rest``, score of the rest alone.

        One touches the score without the fields that change, one that of the present plan.
        """
        if self._line is None:
            self._line = self.scoring.tangent(self.total)
        lines = (self.scoring.tangent(rest), self._line)
        return [(slope, start + float(slope @ rest)) for slope, start in lines]

    def _set(self, field: int, n: int) -> None:
        each, before = self.fields[field], self.at[field]
        self.total, self._line = self.total + each.need[n] - each.need[before], None
        self.cash = self.cash + each.cash[n] - each.cash[before]
        self.own += float(each.own[n] - each.own[before])
        self.at[field] = n

    def prices_beside(self, field: int) -> Floats:
        """(rows,): prices of the limits at which a sequence suits what the other fields of the plan leave.

        A limit costs nothing until it is full and a lot afterwards, and one sequence can fill it: each price
        is drawn between those without the field and with its present sequence.
        """
        mine, n = self.fields[field], self.at[field]
        without = self.scoring.slopes(self.total - mine.need[n], self.cash - mine.cash[n])
        present = self.scoring.slopes(self.total, self.cash)
        result: Floats = without + self.random.random(len(present)) * (present - without)
        return result

    # ------------------------------------------------------------ moves

    def descend(self, fields: Sequence[int] | None = None) -> float:
        """Change one field at a time as long as it helps; returns the cost."""
        value = self.value()
        every = np.arange(len(self.fields))
        waiting = list(self.random.permutation(every) if fields is None else fields)
        if fields is not None:
            waiting += [f for f in every if f not in set(waiting)]
        sharpened = 0
        while waiting:  # a field is looked at again after each change of another one
            field = int(waiting.pop(0))
            costs = self._one(field, below=value)
            best = int(costs.argmin())
            if best == self.at[field] or costs[best] >= value - TINY * abs(value):
                continue
            before = int(self.at[field])
            self._set(field, best)
            exact = self.value()
            if exact < value - TINY * abs(value):
                value = exact
                there = {int(f) for f in waiting}
                waiting += [f for f in self.random.permutation(every) if f not in there and f != field]
            else:  # the score was too kind there; it is sharper now
                self._set(field, before)
                sharpened += 1
                if sharpened < SHARPENINGS:
                    waiting.append(field)
        return value

    def pairs(self, value: float) -> float:
        """Change two fields at once where it helps; returns the cost."""
        count = len(self.fields)
        self._near.clear()
        for _ in range(PAIRS_A_FIELD * count):
            one, other = self.random.choice(count, 2, replace=False)
            first, second = self._hopeful(int(one)), self._hopeful(int(other))
            a, b = self.fields[one], self.fields[other]
            base = self.total - a.need[self.at[one]] - b.need[self.at[other]]
            cash = self.cash - a.cash[self.at[one]] - b.cash[self.at[other]]
            rest = self.own - a.own[self.at[one]] - b.own[self.at[other]] + self.scoring.base
            own = np.add.outer(rest + a.own[first], b.own[second])
            least = np.max(
                [
                    np.add.outer(a.need[first] @ slope + start, b.need[second] @ slope)
                    for slope, start in self._lines(base)
                ],
                axis=0,
            )
            left, right = np.nonzero(own + least < value)
            if not len(left):
                continue
            costs = own[left, right] + self.scoring.score(
                (base + a.need[first[left]]) + b.need[second[right]],
                (cash + a.cash[first[left]]) + b.cash[second[right]],
                value - own[left, right],
            )
            best = int(costs.argmin())
            if costs[best] >= value - TINY * abs(value):
                continue
            self._near.clear()
            before = int(self.at[one]), int(self.at[other])
            self._set(int(one), int(first[left[best]]))
            self._set(int(other), int(second[right[best]]))
            exact = self.value()
            if exact < value - TINY * abs(value):
                value = self.descend()
            else:
                self._set(int(one), before[0])
                self._set(int(other), before[1])
        return value

    def _hopeful(self, field: int) -> Integers:
        """Sequences of a field that cost least beside the present plan, and some that are good in general."""
        count = len(self.fields[field].columns)
        if count <= PAIR_CHOICES:
            return np.arange(count)
        half = PAIR_CHOICES // 2
        if field not in self._near:
            self._near[field] = self._nearest(field, half)
        near = self._near[field]
        some = np.minimum(self.random.exponential(count / 6, PAIR_CHOICES - half).astype(np.int64), count - 1)
        return np.union1d(near, some)

    def _nearest(self, field: int, count: int) -> Integers:
        """Sequences of a field that cost least beside the present plan, of more than twice as many."""
        least = self._own(field) + self._least(field)
        below = float(np.partition(least, 2 * count)[2 * count])  # cost of no more need be known, mostly
        costs = self._one(field, below)
        if np.count_nonzero(costs < below) < count:
            costs = self._one(field)
        result: Integers = np.argpartition(costs, count)[:count]
        return result

    def push(self) -> list[int]:
        """Move a few fields to other good sequences; returns the fields."""
        count = len(self.fields)
        moved = self.random.choice(count, min(count, int(self.random.integers(1, PUSHED + 1))), replace=False)
        for field in moved:
            choices = len(self.fields[field].columns)
            self._set(int(field), min(int(self.random.exponential(choices / 6)), choices - 1))
        return [int(field) for field in moved]

    def run(self, rounds: int, stop: Callable[[], bool]) -> float:
        """Descend, then push and descend ``rounds`` times; stands at the best plan in the end."""
        value = self.pairs(self.descend())
        best, kept = value, self.at.copy()
        for turn in range(rounds):
            if stop():
                break
            moved = self.push()
            value = self.descend([f for f in self.random.permutation(len(self.fields)) if f not in moved])
            if value < best + 2e-3 * abs(best) and turn % 4 == 0:
                value = self.pairs(value)
            if value < best - TINY * abs(best):
                best, kept = value, self.at.copy()
            else:
                self.at = kept.copy()
                self._sum()
        self.at = kept
        self._sum()
        return best
