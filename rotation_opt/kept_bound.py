"""A bound on money that stays true when limits change: the prices of the limits, kept from a search.

At any prices no plan costs less than its sequences cost alone at these prices, plus the prices times the
limits, plus the least that the farm can do about them. The first part does not depend on the limits: it is
kept. The rest takes no search, so a bound under other limits is known at once.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace

import numpy as np

from .arrays import Floats
from .formulate import Program
from .limit_rows import Row

FEASIBLE = 1e-6  # a recourse that seems to be worth less than this is worth nothing: rounding of the solver
ANSWERED = ("contracts", "hire")  # rows without a plan whose best price follows from the other prices
NOTHING_ASKED = ("outlets", "feed", "storage")  # rows that ask nothing of a plan when they are not written

Key = tuple[object, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptBound:
    """Prices of the limits in one case or several; the least bound of all cases holds.

    True for most money on the same fields, also where these allow less than they did.

    Parameters
    ----------
    rows : tuple of Key
        Which limits the prices belong to.
    prices : (cases, rows)
        Change of the cost for each unit of a limit, as in `Pricing.duals`.
    alone : (cases,)
        What the sequences of a plan cost at least at these prices.
    """

    rows: tuple[Key, ...]
    prices: Floats
    alone: Floats

    @classmethod
    def of(cls, program: Program, prices: Floats, bounds: Floats) -> KeptBound:
        """From the bounds (cases,) that prices (cases, rows) give under the limits of a program."""
        rows = tuple(_key(program, row) for row in program.rows)
        kept = cls(rows=rows, prices=prices, alone=np.zeros(len(bounds)))
        rest = kept._rest(program)
        return replace(kept, alone=np.where(np.isfinite(rest), bounds - rest, -np.inf))

    @classmethod
    def at(cls, program: Program, prices: Floats, alone: float) -> KeptBound:
        """From prices (rows,) of a program, and what the sequences of a plan cost at least at them."""
        rows = tuple(_key(program, row) for row in program.rows)
        return cls(rows=rows, prices=prices[None, :], alone=np.array([alone]))

    def prices_in(self, program: Program) -> Floats:
        """Prices of a program's rows (rows,) in the first case; 0 where a limit had none."""
        prices: Floats = self._priced(program)[1][0]
        return prices

    def under(self, program: Program) -> float:
        """No plan costs less under the limits of another program; -inf if that cannot be said.

        The program is to have ``every_row``, also those that no choice of sequences can break.
        """
        return float((self.alone + self._rest(program)).min())

    def _rest(self, program: Program) -> Floats:
        """(cases,): what limits and recourse add to the cost of the sequences alone."""
        total, prices = self._priced(program)
        total += prices @ program.rhs
        reduced = program.money_objective()[1] - prices @ program.recourse
        for row in program.rows:
            if row.family in ANSWERED:
                mine = list(row.recourse)
                least = reduced[:, mine].min(axis=1)
                price = np.minimum(least, 0.0) if row.sense < 0 else np.maximum(least, 0.0)
                total += price * row.rhs
                reduced[:, mine] -= price[:, None]
        gain = np.minimum(reduced, 0.0)
        for number, variable in enumerate(program.variables):
            if variable.upper is not None:
                total += variable.upper * gain[:, number]
            else:
                total[gain[:, number] < -FEASIBLE] = -np.inf
        return total

    def _priced(self, program: Program) -> tuple[Floats, Floats]:
        """0, or -inf where a price has lost its limit (cases,); prices of a program's rows (cases, rows)."""
        there = {_key(program, row): number for number, row in enumerate(program.rows)}
        total, prices = np.zeros(len(self.prices)), np.zeros((len(self.prices), len(program.rows)))
        for place, key in enumerate(self.rows):
            if key[0] in ANSWERED:
                continue
            if key in there:
                prices[:, there[key]] += self.prices[:, place]
            elif key[0] not in NOTHING_ASKED:
                total[self.prices[:, place] != 0.0] = -np.inf
        return total, prices


def _key(program: Program, row: Row) -> Key:
    """The same for the same limit of the same farm, however much it is."""
    if row.plan or not row.recourse:
        return (row.family, row.limit, *row.plan.items())
    return (row.family, *program.variables[min(row.recourse)].key)


def names_of(program: Program) -> list[Key]:
    """What each row is called; the same limit of two farms that differ in crops and machines is called alike.

    The program is to have ``every_row``, so that rows of one limit can be told apart by their order.
    """
    data, space, seen, names = program.data, program.space, Counter[Key](), []
    for row in program.rows:
        who: Key = ()
        if row.family == "outlets":
            year, product = divmod(min(row.plan) - space.begin["tonnes"], len(data.products))
            who = data.products[product], year
        elif row.family == "hire":
            _, machine, when, *_ = program.variables[min(row.recourse)].key
            who = data.machines[int(machine)], when
        elif row.family == "cash_quarter":
            who = (len(row.plan),)
        name = (row.family, row.limit, *who)
        names.append((*name, seen[name]))
        seen[name] += 1
    return names
