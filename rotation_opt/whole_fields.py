"""From shares of fields to whole fields: a good plan first, then how far from the best it can be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from .arrays import Flags, Floats, Integers
from .branching import Branching
from .clash import no_whole
from .diving import dive
from .errors import NoPlanError
from .local_search import LocalSearch
from .pricing import Pricing
from .scoring import penalties, scoring_of
from .solver import KeptPlan, Problem, problem, run

TINY = 1e-7
POOL = 6000  # sequences that the search for whole fields looks at
POOL_A_FIELD = (60, 300)  # fewest and most of them a field
PUSHES = 800  # times that fields are pushed off their sequences, for all fields together
PUSHES_MOST = 40
QUICK_PUSHES = 8
FEW_PUSHES = 2  # while limits are still being made dearer
COLUMNS_A_PUSH = 8  # fields with few sequences need few pushes
KNOWN_PLANS = 6
PENALTY = 0.01  # of the whole value, for breaking a limit by its own scale
HARDER, EASIER = 2.0, 0.8  # each time that a limit is broken, or kept
SWINGS, QUIET_SWINGS, BRIEF_QUIET = 40, 5, 2  # at most; in vain
SWINGS_OF_ALL, QUICK_SWINGS, QUICK_HARDER = 480, 6, 4.0  # times the fields, once a plan keeps all limits
SWING_GAP, BRIEF_SWING_GAP = 0.012, 0.05  # a plan nearer to the bound than this needs no more
RESTART_GAP = 0.05
RESTARTS = 15  # from other plans, for all fields together: with few fields a search is soon stuck
BESIDE_FIELDS, PRICED_BESIDE, BESIDE_WIDTH, BESIDE_KEPT = 20, 2, 150, 3
PENALTY_OF_PRICE = 2.0
PROOF_COLUMNS = 20_000
PROOF_SOLVES = 500  # linear programs in a proof
QUICK_COLUMNS = 8000
PROOF_SOLVES_LISTED = 1500  # where every sequence that can matter is in the program
HOPELESS = 0.12  # a proof further off than this would take too long
FAR = 0.01  # a plan that may be further from the best than this is worth a second, longer proof
PROOF_COLUMNS_FAR, PROOF_SOLVES_FAR = 80_000, 500
FREE_FIELDS, FEW_FIELDS = 5, 8
PARTS, PARTS_A_FIELD = 6, 0.1  # parts looked at: these, and so many for each field
BEST_GAP = 2e-4  # a plan nearer to the bound than this is not bettered however wide a gap is asked for
PARTS_GAP = 0.012  # a plan nearer to the bound than this is not worth the time it takes
PART_ROUNDS = 20
NEAR = 60  # sequences a field given to the solver at a time
NODES, NODES_OF_LIST = 40, 20_000

Effort = Literal["full", "brief", "quick"]


@dataclass(frozen=True, slots=True)
class Found:
    """A plan of whole fields (columns, in the order of the fields), its cost and the bound."""

    columns: list[int]
    value: float
    bound: float


def whole_fields(pricing: Pricing, gap: float, spent: float = 0.0, effort: Effort = "full") -> Found:
    """A plan of whole fields; the search may stop within ``gap`` of the bound.

    Parameters
    ----------
    pricing : Pricing
        Solved.
    gap : float
        Share of the whole cost at which the search may stop.
    spent : float
        What is spent in any case; part of the whole cost.
    effort : {"full", "brief", "quick"}
        Brief: a good plan without the long searches for the last share of the money. Quick: from plans found
        before, where there are any.

    Raises
    ------
    NoPlanError
        If no plan of whole fields was found that keeps all limits.
    """
    return _Search(pricing, gap, spent, effort).find()


class _Search:
    def __init__(self, pricing: Pricing, gap: float, spent: float = 0.0, effort: Effort = "full") -> None:
        self.pricing, self.gap, self.spent = pricing, gap, spent
        self.data, self.program, self.columns = pricing.data, pricing.program, pricing.columns
        self.count = len(self.data.fields)
        self.best: list[int] = []
        self.searches = 1
        self.value = np.inf
        self.bound = pricing.bound
        self.harder = np.ones(len(pricing.program.rows))
        self.listed = all(self.columns.complete)
        self.keep = int(np.clip(POOL // self.count, *POOL_A_FIELD))
        self.rounds = min(PUSHES_MOST, PUSHES // self.count, len(self.columns) // COLUMNS_A_PUSH)
        self.quick = effort == "quick" and bool(self.columns.plans)
        self.thorough = effort != "brief" and not self.quick
        if self.quick:
            self.rounds = min(self.rounds, QUICK_PUSHES)
        self.keeping = KeptPlan(pricing.program, pricing.recourse_cost, broken=False)
        self.breaking: KeptPlan | None = None
        # before anything is added, the columns are those of the linear program
        self.shares = pricing.master.shares()

    def find(self) -> Found:
        """Search, then proof."""
        known = [self.columns.place(plan) for plan in self.columns.plans[-KNOWN_PLANS:]]
        start = self._largest_shares()
        if not self.listed:
            self.pricing.enrich(4 * self.keep, self.keep)
            if not self.quick:  # a second start, with sequences that suit what other fields leave
                known.append(dive(self.pricing, self._penalty()))
        starts = [start, *known]
        self._settle(starts)
        for turn in range(RESTARTS // self.count if self.thorough and not self.listed else 0):
            if self._gap() <= RESTART_GAP or self.pricing.brake():
                break
            self.harder[:] = 1.0
            self._settle([self._some_plan(turn)])
        if self.best:
            self._exchange([self.best], self.rounds)
        if not self.best:
            near = len(self.columns) if self.listed else NEAR
            self._among(self._nearest(near), NODES_OF_LIST if self.listed else NODES)
        if self.best and not self._near_enough():
            more = self._prove(PROOF_SOLVES, QUICK_COLUMNS if self.quick else PROOF_COLUMNS)
            if more and self.thorough and self.count <= FEW_FIELDS and self._gap() > FAR:
                self._prove(PROOF_SOLVES_FAR, PROOF_COLUMNS_FAR)
        if (
            self.best
            and self.thorough
            and self.count > FREE_FIELDS
            and self._gap() > max(self.gap, PARTS_GAP)
        ):
            self._part_by_part()
        if not self.best:
            raise self._none()
        self.columns.keep(self.columns.paths(self.best))
        return Found(self.best, self.value, min(self.bound, self.value))

    def _near_enough(self) -> bool:
        return bool(self.best) and self._gap() <= self.gap

    def _gap(self) -> float:
        """Distance of the best plan from the bound as a share of its cost."""
        return (self.value - self.bound) / max(abs(self.value + self.spent), TINY)

    # ------------------------------------------------------------ exchange of sequences

    def _settle(self, starts: Sequence[Sequence[int]]) -> None:
        """Exchange, with limits that stay broken made dearer, until a good plan keeps them all.

        Limits that are kept get cheaper again: the search then swings from one side of them to the other.
        Sequences that suit what the other fields leave are brought in on the way: those of the linear
        program suit a farm on which fields can be shared out.
        """
        search, quiet = self._exchange(starts, FEW_PUSHES), 0
        for turn in range(SWINGS):
            broken = self._broken(search.plan)
            if self.quick:
                still = turn >= QUICK_SWINGS or not broken.any()
            else:
                calm = QUIET_SWINGS if self.thorough else BRIEF_QUIET
                still = turn * self.count >= SWINGS_OF_ALL or (quiet >= calm and not broken.any())
            near = SWING_GAP if self.thorough else BRIEF_SWING_GAP
            if self.best and (self._gap() <= near or still):
                break
            if self.pricing.brake():
                break
            harder, easier = (HARDER, EASIER) if self.thorough else (QUICK_HARDER, 1.0)
            self.harder = np.where(broken, harder * self.harder, np.maximum(easier * self.harder, 1.0))
            if not self.listed:
                self._price_beside(search)
            before = self.value
            search = self._exchange([search.plan], 0)
            quiet = 0 if self.value < before or not self.best else quiet + 1

    def _price_beside(self, search: LocalSearch) -> None:
        """Sequences of some fields that suit what the other fields of a plan leave."""
        few = min(self.count, BESIDE_FIELDS)
        for field in search.random.choice(self.count, few, replace=False).tolist():
            for _ in range(1 if self._gap() <= BRIEF_SWING_GAP else PRICED_BESIDE):
                self.pricing.grow_at(field, search.prices_beside(field), BESIDE_WIDTH, BESIDE_KEPT)

    def _some_plan(self, seed: int) -> list[int]:
        """A plan of sequences that are good on their own."""
        columns = self._nearest(NEAR)
        random, field = np.random.default_rng(seed), self.columns.field[columns]
        return [int(random.choice(columns[field == number])) for number in range(self.count)]

    def _exchange(self, starts: Sequence[Sequence[int]], pushes: int) -> LocalSearch:
        """Local search from the best of some plans; the others are looked at as they are."""
        pricing, columns = self.pricing, self.columns
        extra = [*(column for plan in starts for column in plan), *range(pricing.in_program, len(columns))]
        near, reduced = pricing.nearest(self.keep, extra, np.inf)
        search = LocalSearch(
            scoring_of(pricing, self._penalty()),
            need=columns.need,
            cost=columns.cost,
            field=columns.field,
            columns=near,
            rank=reduced,
            seed=self.searches,
        )
        self.searches += 1
        values = []
        for plan in starts:
            search.stand(plan)
            values.append((search.value(), plan))
        for value, plan in sorted(values, key=lambda each: each[0]):
            if value < self.value:
                self._take(plan)
        search.stand(min(values, key=lambda each: each[0])[1])
        search.run(pushes, self._enough)
        self._take(search.plan)
        return search

    def _enough(self) -> bool:
        return self.pricing.brake() or (bool(self.best) and self._gap() <= min(self.gap, BEST_GAP))

    def _penalty(self) -> Floats:
        """(rows,): cost of breaking each limit; those that stay broken have been made dearer."""
        return self.harder * penalties(self.pricing, PENALTY_OF_PRICE, PENALTY)

    def _broken(self, plan: Sequence[int]) -> Flags:
        """(rows,): limits that a plan does not keep."""
        if self.breaking is None:
            self.breaking = KeptPlan(self.program, self.pricing.recourse_cost, broken=True)
        scale = np.array([row.scale for row in self.program.rows])
        return np.asarray(self.breaking.solve(self._need(plan))[1] > 1e-7 * scale)

    def _need(self, plan: Sequence[int]) -> Floats:
        """(rows,): what a plan needs of every limit."""
        need: Floats = self.columns.need[list(plan)].sum(axis=0)
        return need

    def _largest_shares(self) -> list[int]:
        """The column with the largest share of each field in the linear program."""
        owner = self.columns.field[: len(self.shares)]
        order = np.lexsort((-self.shares, owner))
        first = np.searchsorted(owner[order], np.arange(self.count))
        return [int(c) for c in order[first]]

    def _take(self, plan: Sequence[int]) -> None:
        """Make a plan the best if it keeps all limits and costs less."""
        value = self.keeping.solve(self._need(plan))[0] + float(self.columns.cost[list(plan)].sum())
        if value < self.value:
            self.best, self.value = self._in_order(plan), value

    def _in_order(self, plan: Sequence[int]) -> list[int]:
        """Columns of a plan in the order of the fields."""
        return sorted((int(c) for c in plan), key=lambda column: self.columns.keys[column][0])

    # ------------------------------------------------------------ the solver

    def _keeping(self, rows: Integers) -> Problem:
        """Whole fields among some columns, all limits kept."""
        need, cost, field = self.columns.need[rows].T, self.columns.cost[rows], self.columns.field[rows]
        return problem(self.program, need, cost, self.pricing.recourse_cost, field, integer=True)

    def _breaking(self, rows: Integers) -> Problem:
        """Whole fields among some columns that break the limits by as little as can be."""
        need, field = self.columns.need[rows].T, self.columns.field[rows]
        free = np.zeros(len(rows)), np.zeros_like(self.pricing.recourse_cost)
        return problem(self.program, need, *free, field, integer=True, slack="free", slack_cost=1.0)

    def _nearest(self, count: int) -> Integers:
        room = self.value - self.bound if self.best else np.inf
        return self.pricing.nearest(count, self.best, room)[0]

    def _among(self, rows: Integers, nodes: int) -> None:
        """Whole fields among some columns; a better plan is taken."""
        built = self._keeping(rows)
        outcome = run(
            built,
            integer=True,
            gap=self.gap,
            nodes=nodes,
            brake=self.pricing.brake,
        )
        if outcome.status in ("optimal", "feasible") and outcome.objective < self.value:
            chosen = rows[np.flatnonzero(outcome.plans > 0.5)]
            self.best, self.value = self._in_order(chosen.tolist()), outcome.objective

    def _prove(self, solves: int, columns: int) -> bool:
        """Raise the bound by cases over every sequence near enough to matter; a better plan may come by.

        Returns whether more columns would raise it further.
        """
        # sequences are ranked at the last prices, so the bound at these very prices counts
        room = self.value - self.pricing.last_bound
        if not np.isfinite(room):
            return False
        amount = self.pricing.within(room, columns)
        if amount <= 0.0:
            return True
        everything = amount >= room
        rows = self.pricing.nearest(len(self.columns), self.best, amount)[0]
        beyond = np.inf if everything else self.pricing.last_bound + amount
        search = Branching(self.pricing, rows, self.best, self.value, beyond)
        self._by_cases(search, self.gap, solves)
        if everything and self.thorough and FAR < self._gap() <= HOPELESS:
            self._by_cases(search, FAR, PROOF_SOLVES_LISTED)
        return self.bound >= beyond

    def _by_cases(self, search: Branching, gap: float, solves: int) -> None:
        """Raise the bound; a better plan may come by."""
        proof = search.run(gap * abs(self.value + self.spent) / max(abs(self.value), TINY), solves)
        if proof.value < self.value:
            self._take(proof.columns)
        self.bound = max(self.bound, min(proof.bound, self.value))

    def _part_by_part(self) -> None:
        """A few fields chosen anew among sequences priced for that, until nothing comes of it."""
        order = np.random.default_rng(0)
        quiet, turns = 0, PARTS + int(PARTS_A_FIELD * self.count)
        groups: list[Integers] = []
        near = self.pricing.nearest(NEAR, self.best, np.inf)[0]
        while turns > 0 and quiet * FREE_FIELDS < 1.5 * self.count:
            if self.pricing.brake() or self._near_enough():
                break
            turns -= 1
            if not groups:
                size = -(-self.count // FREE_FIELDS)
                turn = np.resize(order.permutation(self.count), size * FREE_FIELDS)
                groups = list(turn.reshape(-1, FREE_FIELDS))
            better = self._part(groups.pop().tolist(), near)
            quiet = 0 if better else quiet + 1

    def _part(self, free: list[int], near: Integers) -> bool:
        """Choose some fields anew; True if that made the plan better."""
        before = self.value
        part = self.pricing.part(self.best, free, near)
        if not part.solve() or part.bound >= before - self.gap * abs(before):
            return False
        search = _Search(part, self.gap, self.spent)
        part.enrich(2 * POOL_A_FIELD[1], POOL_A_FIELD[1])
        search._exchange([part.columns.place(self.columns.paths(self.best))], PART_ROUNDS)
        if search.value < before - TINY * abs(before):
            self._take(self.columns.place(part.columns.paths(search.best)))
        return self.value < before - TINY * abs(before)

    def _none(self) -> NoPlanError:
        """No plan of whole fields: say what the nearest one breaks."""
        if self.pricing.brake.on:
            return NoPlanError("The search was stopped before a plan was found.")
        rows = self._nearest(NEAR)
        built = self._breaking(rows)
        outcome = run(built, integer=True, nodes=NODES, brake=self.pricing.brake)
        chosen = [int(c) for c in rows[np.flatnonzero(outcome.plans > 0.5)]]
        return no_whole(self.program, outcome.slack, self.columns.paths(chosen))
