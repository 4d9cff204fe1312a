"""From shares of fields to whole fields: a good plan first, then how far from the best it can be."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from .arrays import Floats, Integers
from .clash import no_whole
from .errors import NoPlanError
from .local_search import LocalSearch
from .pricing import Pricing
from .scoring import Scoring
from .solver import Outcome, problem, run

TINY = 1e-7
POOL = 6000  # sequences that the search for whole fields looks at
POOL_A_FIELD = (60, 300)  # fewest and most of them a field
PUSHES = 2400  # times that fields are pushed off their sequences, for all fields together
PUSHES_MOST = 120
KNOWN_PLANS = 6
PENALTY = 0.3  # of the whole value, for breaking a limit by its own scale
PENALTY_OF_PRICE = 3.0
LISTED_COLUMNS = 4000
PROOF_COLUMNS = 6000
PROOF_NODES = 2000
FREE_FIELDS = 4
NEAR = 60  # sequences a field given to the solver at a time
NODES = 40


@dataclass(frozen=True, slots=True)
class Found:
    """A plan of whole fields (columns, in the order of the fields), its cost and the bound."""

    columns: list[int]
    value: float
    bound: float


def whole_fields(pricing: Pricing, gap: float) -> Found:
    """A plan of whole fields; the search may stop within ``gap`` of the bound.

    Parameters
    ----------
    pricing : Pricing
        Solved.

    Raises
    ------
    NoPlanError
        If no plan of whole fields was found that keeps all limits.
    """
    return _Search(pricing, gap).find()


class _Search:
    def __init__(self, pricing: Pricing, gap: float) -> None:
        self.pricing, self.gap = pricing, gap
        self.data, self.program, self.columns = pricing.data, pricing.program, pricing.columns
        self.count = len(self.data.fields)
        self.best: list[int] = []
        self.value = np.inf
        self.bound = pricing.bound
        self.listed = all(self.columns.complete)
        # before anything is added, the columns are those of the linear program
        self.shares = pricing.master.shares()

    def find(self) -> Found:
        """Search, then proof."""
        known = [self.columns.place(plan) for plan in self.columns.plans[-KNOWN_PLANS:]]
        if not self.listed:
            keep = int(np.clip(POOL // self.count, *POOL_A_FIELD))
            self.pricing.enrich(4 * keep, keep)
        self._exchange(known)
        if self.listed and len(self.columns) <= LISTED_COLUMNS:
            self._prove(np.arange(len(self.columns)))
        elif not self._near_enough():
            if not self.best:
                self._among(self._nearest(NEAR), NODES)
            if self.best and self.pricing.all_within(self.value - self.bound, PROOF_COLUMNS):
                self._prove(self._nearest(10 * PROOF_COLUMNS))
            else:
                self._few_at_a_time()
        if not self.best:
            raise self._none()
        self.columns.keep(self.columns.paths(self.best))
        return Found(self.best, self.value, min(self.bound, self.value))

    def _near_enough(self) -> bool:
        return bool(self.best) and self.value - self.bound <= self.gap * abs(self.value)

    # ------------------------------------------------------------ exchange of sequences

    def _exchange(self, known: Sequence[Sequence[int]]) -> None:
        """Local search from the linear program's largest shares and from plans known."""
        pricing, columns = self.pricing, self.columns
        start = self._largest_shares()
        keep = int(np.clip(POOL // self.count, *POOL_A_FIELD))
        extra = [*start, *(column for plan in known for column in plan)]
        near, reduced = pricing.nearest(keep, extra, np.inf)
        scoring = self._scoring()
        search = LocalSearch(
            scoring, need=columns.need, cost=columns.cost, field=columns.field, columns=near, rank=reduced
        )
        values = []
        for plan in (start, *known):
            search.stand(plan)
            values.append((search.value(), plan))
        for value, plan in sorted(values, key=lambda each: each[0]):
            if value < self.value:
                self._take(plan)
        search.stand(min(values, key=lambda each: each[0])[1])
        rounds = min(PUSHES_MOST, PUSHES // self.count)
        search.run(rounds, self._enough(search))
        self._take(search.plan)

    def _enough(self, search: LocalSearch) -> Callable[[], bool]:
        return lambda: self.pricing.brake() or self._near_enough()

    def _scoring(self) -> Scoring:
        program, columns = self.program, self.columns
        low, high = np.zeros(len(program.rows)), np.zeros(len(program.rows))
        for field in range(self.count):
            mine = columns.need[columns.field == field]
            low += mine.min(axis=0)
            high += mine.max(axis=0)
        scale = np.array([row.scale for row in program.rows])
        penalty = np.maximum(
            PENALTY_OF_PRICE * np.abs(self.pricing.duals),
            PENALTY * max(abs(self.pricing.value), TINY) / scale,
        )
        return Scoring(
            program,
            self.pricing.recourse_cost,
            penalty,
            self._money_weight(),
            least_need=low,
            most_need=high,
        )

    def _money_weight(self) -> Floats:
        """What a unit of money of each year counts in the cost."""
        money = self.program.space.part("money", self.pricing.plan_cost)
        weight = -np.asarray(money, dtype=float)
        return np.where(weight > 0.0, weight, 1.0)

    def _largest_shares(self) -> list[int]:
        """The column with the largest share of each field in the linear program."""
        owner = self.columns.field[: len(self.shares)]
        order = np.lexsort((-self.shares, owner))
        first = np.searchsorted(owner[order], np.arange(self.count))
        return [int(c) for c in order[first]]

    def _take(self, plan: Sequence[int]) -> None:
        """Make a plan the best if it keeps all limits and costs less."""
        rows = np.array(plan, dtype=np.int64)
        built = problem(
            self.program,
            self.columns.need[rows].T,
            self.columns.cost[rows],
            self.pricing.recourse_cost,
            self.columns.field[rows],
            integer=False,
        )
        outcome = run(built, integer=False)
        if outcome.status == "optimal" and outcome.objective < self.value:
            self.best, self.value = list(plan), outcome.objective

    # ------------------------------------------------------------ the solver

    def _nearest(self, count: int) -> Integers:
        room = self.value - self.bound if self.best else np.inf
        return self.pricing.nearest(count, self.best, room)[0]

    def _among(self, rows: Integers, nodes: int, gap: float | None = None) -> Outcome:
        """Whole fields among some columns; a better plan is taken."""
        built = problem(
            self.program,
            self.columns.need[rows].T,
            self.columns.cost[rows],
            self.pricing.recourse_cost,
            self.columns.field[rows],
            integer=True,
        )
        places = {int(row): place for place, row in enumerate(rows)}
        outcome = run(
            built,
            integer=True,
            gap=self.gap if gap is None else gap,
            nodes=nodes,
            brake=self.pricing.brake,
            start=[places[column] for column in self.best],
        )
        if outcome.status in ("optimal", "feasible") and outcome.objective < self.value:
            chosen = rows[np.flatnonzero(outcome.plans > 0.5)]
            self.best, self.value = [int(c) for c in chosen], outcome.objective
        return outcome

    def _prove(self, rows: Integers) -> None:
        """Whole fields among all sequences that can matter: the solver's bound holds for every plan."""
        value = self.value
        outcome = self._among(rows, PROOF_NODES)
        if np.isfinite(outcome.bound):
            self.bound = max(self.bound, min(outcome.bound, value, self.value))
        elif outcome.status == "infeasible":
            self.bound = value

    def _few_at_a_time(self) -> None:
        """A few fields chosen anew by the solver, the others held, until a whole round brings nothing."""
        size = min(FREE_FIELDS, self.count)
        if not self.best or size == self.count:
            return
        order = np.random.default_rng(0)
        quiet = 0
        groups: list[Integers] = []
        turns = 2 * -(-self.count // size)
        while quiet < turns and turns > 0 and not self.pricing.brake() and not self._near_enough():
            turns -= 1
            if not groups:
                turn = np.resize(order.permutation(self.count), -(-self.count // size) * size)
                groups = list(turn.reshape(-1, size))
            free = groups.pop()
            rows = self._nearest(NEAR)
            rows = rows[np.isin(self.columns.field[rows], free) | np.isin(rows, self.best)]
            before = self.value
            self._among(rows, NODES, max(self.gap, 1e-5))
            quiet = 0 if self.value < before - TINY * abs(before) else quiet + 1

    def _none(self) -> NoPlanError:
        """No plan of whole fields: say what the nearest one breaks."""
        rows = self._nearest(NEAR)
        built = problem(
            self.program,
            self.columns.need[rows].T,
            np.zeros(len(rows)),
            np.zeros_like(self.pricing.recourse_cost),
            self.columns.field[rows],
            integer=True,
            slack="free",
            slack_cost=1.0,
        )
        outcome = run(built, integer=True, nodes=PROOF_NODES, brake=self.pricing.brake)
        chosen = [int(c) for c in rows[np.flatnonzero(outcome.plans > 0.5)]]
        return no_whole(self.program, outcome.slack, self.columns.paths(chosen))
