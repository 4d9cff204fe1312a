"""By how much many plans at once pass the limits that the grower knows by a name, in closed form."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .arrays import Flags, Floats, Integers
from .formulate import Program
from .scoring import CASH, Scoring

BROKEN = 1e-5  # share of its scale by which a limit may be passed, as in `clash.broken`


@dataclass(frozen=True, slots=True)
class _Bound:
    """One limit on what a plan needs of one row, with all that can be done about it."""

    row: int
    bound: float
    most: float  # by which it can be passed
    sense: int
    scale: float
    fine: float  # what the score charges for a unit
    name: int


@dataclass(frozen=True, slots=True)
class _Hired:
    """An own machine in one calendar year: what it lacks in any half-month is hired, so much in all."""

    rows: Integers
    have: Floats
    most: float
    scale: float
    fine: float
    name: int


class PassedLimits:
    """What plans pass of each limit when all that can be done about it is done.

    What is done about one limit does not stand in the way of another: extra hands of a half-month, hire of
    one machine in a year, a contract. Least cash is the exception; there the score is asked, which may think
    a plan short that is not, never the other way round.

    Parameters
    ----------
    program : Program
    scoring : Scoring
        Of the same program. A limit on cash is passed where it charges a penalty for it.

    Attributes
    ----------
    names : tuple of str
    rows : (m,) int
        Rows of the program that are looked at.
    """

    def __init__(self, program: Program, scoring: Scoring) -> None:
        rows, self.scoring = program.rows, scoring
        self.names = tuple(dict.fromkeys(row.limit for row in rows if row.limit))
        place = {name: number for number, name in enumerate(self.names)}
        self.bounds: list[_Bound] = []
        self.hired: list[_Hired] = []
        made = {v: n for n, row in enumerate(rows) if row.family == "outlets" for v in row.recourse}
        caps = {v: n for n, row in enumerate(rows) if row.family == "hire" for v in row.recourse}
        promised: dict[int, list[_Bound]] = {}
        machines: dict[int, list[int]] = {}
        for n, row in enumerate(rows):
            if not row.limit or row.family in CASH:
                continue
            fine, name = float(scoring.penalty[n]), place[row.limit]
            if row.family == "contracts":
                at = made[next(iter(row.recourse))]
                promised.setdefault(at, []).append(_Bound(at, row.rhs, row.rhs, 1, row.scale, fine, name))
            elif (cap := caps.get(next(iter(row.recourse), -1))) is not None:
                machines.setdefault(cap, []).append(n)
            else:
                room = sum(np.inf if (up := program.variables[v].upper) is None else up for v in row.recourse)
                if np.isfinite(room):
                    self.bounds.append(_Bound(n, row.rhs + room, np.inf, row.sense, row.scale, fine, name))
        for each in promised.values():  # where several are promised, the one cheapest to break goes short
            least = 0.0
            for one in sorted(each, key=lambda one: -one.fine):
                least += one.bound
                self.bounds.append(replace(one, bound=least))
        for cap, members in machines.items():
            first = rows[members[0]]
            have = np.array([rows[n].rhs for n in members])
            fine = float(scoring.penalty[members].max())
            self.hired.append(
                _Hired(np.array(members), have, rows[cap].rhs, first.scale, fine, place[first.limit])
            )
        self.rows = np.unique(
            np.array(
                [each.row for each in self.bounds] + [n for each in self.hired for n in each.rows], np.int64
            )
        )
        self.row = np.searchsorted(self.rows, [each.row for each in self.bounds])
        self.hours = [np.searchsorted(self.rows, each.rows) for each in self.hired]
        self.bound = np.array([each.bound for each in self.bounds])
        self.most = np.array([each.most for each in self.bounds])
        self.sense = np.array([each.sense for each in self.bounds])
        both: list[_Bound | _Hired] = [*self.bounds, *self.hired]
        self.scale = np.array([each.scale for each in both])
        self.fine = np.array([each.fine for each in both])
        self.of_name = np.zeros((len(both), len(self.names)), bool)
        for number, limit in enumerate(both):
            self.of_name[number, limit.name] = True
        # what breaking a limit on cash by its own scale costs, the least of them
        self.cash_fine = min((float(scoring.penalty[n]) * rows[n].scale for n in scoring.cash), default=0.0)
        self.cash_name = np.array([place[rows[int(n)].limit] for n in scoring.cash], np.int64)

    def past(self, need: Floats) -> Floats:
        """(n, bounds): by how much plans pass each limit that need so much of `rows`, (n, rows)."""
        bounds = np.clip(self.sense * (self.bound - need[:, self.row]), 0.0, self.most)
        hired = [
            np.maximum(np.maximum(need[:, hours] - each.have, 0.0).sum(axis=1) - each.most, 0.0)
            for each, hours in zip(self.hired, self.hours, strict=True)
        ]
        return np.column_stack([bounds, *hired])

    def fines(self, past: Floats) -> Floats:
        """(n,): what the score charges for it."""
        result: Floats = past @ self.fine
        return result

    def broken(self, past: Floats) -> Flags:
        """(n, names): which limits but those on cash are broken by so much (n, bounds)."""
        result: Flags = (past > BROKEN * self.scale) @ self.of_name
        return result

    def short(self, scored: Floats, cash: Floats, rest: Floats) -> Flags:
        """(n, names): which limits on cash are broken.

        Parameters
        ----------
        scored, cash : (n, rows scored), (n, cash rows)
            As for `Scoring.score`.
        rest : (n,)
            The score where cash is no matter.
        """
        result = np.zeros((len(scored), len(self.names)), bool)
        for name in np.unique(self.cash_name):
            mine = self.cash_name == name
            with_it = self.scoring.score(scored, np.where(mine, cash, np.inf))
            result[:, name] = with_it - rest > BROKEN * self.cash_fine
        return result
