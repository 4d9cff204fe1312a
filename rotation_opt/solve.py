"""Runs the selection program; the only file that names a solver.

Sequences are priced in, never listed: a linear program over few columns gives prices of every limit, the
tree is grown at those prices, better sequences become columns, and so on until no field has one. That value
bounds every plan. Then a pool of near-best sequences goes to the solver with whole fields; where every
sequence that could still improve on the plan found fits into the pool, the plan is proven best.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
import pulp

from .arrays import NOT_FARMED, Floats, Integers, Limits, SelectionData
from .errors import NoPlanError
from .formulate import Figures, Goal, Problem, Program, Space, features, problem
from .sequences import Grower, Pool, trace

TINY = 1e-7
FIRST_WIDTH, LAST_WIDTH = 150, 12000
COLUMNS_A_ROUND = 6
POOL_A_FIELD = 80
POOL_STEPS = (15, 30, 60, 10_000)  # sequences a field in the first to the last try for whole fields
PROOF_COLUMNS = 6000
QUICK_GAP = 5e-4
GOOD_GAP = 0.4  # a first plan further from the bound than this is sought again in a larger pool
KNOWN_PLANS = 6
EXCHANGE_FIELDS = 4
EXCHANGE_SHARE = 0.6
MOMENT = 0.6  # seconds
LEAST_PATIENCE = 10.0  # seconds for steps without which there is no plan to show
LISTED = 1500  # a farm with no more sequences than this (mean of a field) is listed, not priced


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What the solver said."""

    status: Literal["optimal", "feasible", "infeasible", "unknown"]
    objective: float
    bound: float
    gap: float
    plans: Floats
    recourse: Floats
    slack: Floats  # (rows,) amount by which each limit is broken
    duals: Floats  # (rows,) change of the objective per unit of the right-hand side; LP only
    field_duals: Floats
    seconds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Selected:
    """One plan and how far it can be from the best.

    Parameters
    ----------
    paths : tuple of tuple of int
        Practice indices, field by field; -1 = no longer farmed.
    value : float
        Present value in money; for least burden what is least: see `Goal`.
    bound : float or None
        No plan can be better than this; None if not known. For least burden ``value`` and ``bound`` are
        those of the first step, before money is looked for among the cleanest.
    gap : float or None
        ``|bound - value| / |value|``; for least burden against at least 1 % of the burden at the start.
    figures : Figures
    pools : tuple of Pool
        To hand to the next call: a later goal starts from them.
    """

    paths: tuple[tuple[int, ...], ...]
    value: float
    bound: float | None
    gap: float | None
    figures: Figures
    pools: tuple[Pool, ...]
    rounds: int
    columns: int
    seconds: float


def _solver(mip: bool, time_limit: float | None = None, gap: float | None = None) -> Any:
    """The solver, silent and on one thread."""
    return pulp.HiGHS(
        mip=mip, msg=False, threads=1, timeLimit=time_limit, gapRel=gap, random_seed=1, log_to_console=False
    )


def run(
    built: Problem,
    *,
    integer: bool,
    time_limit: float | None = None,
    gap: float = 1e-7,
    start: Sequence[int] = (),
) -> Outcome:
    """Solve a problem as it stands.

    Parameters
    ----------
    integer : bool
        False: as a linear program, with duals; True: as a mixed-integer program.
    start : sequence of int
        Columns of a known plan, to start from.

    Notes
    -----
    Duals are those of a minimisation: never positive on a ``<=`` row, never negative on a ``>=`` row.
    """
    began = time.perf_counter()
    solver = _solver(integer, time_limit if integer else None, gap if integer else None)
    if start:

        def call(lp: Any) -> None:
            chosen = np.array([built.plans[j].index for j in start], dtype=np.int32)
            lp.solverModel.setSolution(len(chosen), chosen, np.ones(len(chosen)))
            lp.solverModel.run()

        solver.callSolver = call
    built.problem.solve(solver)
    model = built.problem.solverModel
    solution, info = model.getSolution(), model.getInfo()
    state = built.problem.status
    has = bool(solution.value_valid) and state != pulp.LpStatusInfeasible
    values = np.asarray(solution.col_value, dtype=float) if has else np.zeros(len(built.problem.variables()))
    duals = np.asarray(solution.row_dual, dtype=float)
    valid = has and not integer and len(duals) > 0
    status: Literal["optimal", "feasible", "infeasible", "unknown"]
    if state == pulp.LpStatusInfeasible:
        status = "infeasible"
    elif built.problem.sol_status == pulp.LpSolutionOptimal:
        status = "optimal"
    else:
        status = "feasible" if has else "unknown"
    objective = float(info.objective_function_value) if has else np.inf
    bound = float(info.mip_dual_bound) if integer else objective
    return Outcome(
        status=status,
        objective=objective,
        bound=bound,
        gap=abs(objective - bound) / max(abs(objective), TINY) if has else np.inf,
        plans=np.array([values[v.index] for v in built.plans]),
        recourse=np.array([values[v.index] for v in built.recourse]),
        slack=np.array([0.0 if v is None else values[v.index] for v in built.slack]),
        duals=np.array([duals[c.index] if valid else 0.0 for c in built.rows]),
        field_duals=np.array([duals[c.index] if valid else 0.0 for c in built.fields]),
        seconds=time.perf_counter() - began,
    )


class _Master:
    """The linear program, kept in the solver between rounds so that it starts from the last basis."""

    def __init__(self, program: Program, store: _Store) -> None:
        self.program, self.store = program, store
        coefficients, _, field_of = store.columns()
        self.built = problem(
            program,
            coefficients,
            np.zeros(len(field_of)),
            np.zeros(len(program.variables)),
            field_of,
            integer=False,
            slack="free",
            slack_cost=1.0,
        )
        self.built.problem.solve(_solver(False))
        self.model = self.built.problem.solverModel
        self.at = [v.index for v in self.built.plans]
        self.rows = np.array([c.index for c in self.built.rows], dtype=np.int64)
        self.choice = np.array([c.index for c in self.built.fields], dtype=np.int64)

    def aim(self, recourse_cost: Floats) -> None:
        """Turn from keeping the limits to the real objective; the limits must have been kept."""
        for variable in self.built.slack:
            if variable is not None:
                self.model.changeColBounds(variable.index, 0.0, 0.0)
                self.model.changeColCost(variable.index, 0.0)
        for variable, cost in zip(self.built.recourse, recourse_cost, strict=True):
            self.model.changeColCost(variable.index, float(cost))
        for at, cost in zip(self.at, self.store.columns()[1], strict=True):
            self.model.changeColCost(at, float(cost))

    def price_slack(self, costs: Floats) -> None:
        """Other costs of breaking each limit."""
        for variable, cost in zip(self.built.slack, costs, strict=True):
            if variable is not None:
                self.model.changeColCost(variable.index, float(cost))

    def add(self, first: int, real: bool) -> None:
        """Bring in the columns of the store from ``first`` on."""
        coefficients, cost, field_of = self.store.columns()
        coefficients, cost, field_of = coefficients[:, first:], cost[first:], field_of[first:]
        count = len(cost)
        if count == 0:
            return
        starts: list[int] = []
        indices: list[int] = []
        values: list[float] = []
        for column in range(count):
            starts.append(len(indices))
            nonzero = np.flatnonzero(coefficients[:, column])
            indices.extend(self.rows[nonzero].tolist())
            values.extend(coefficients[nonzero, column].tolist())
            indices.append(int(self.choice[field_of[column]]))
            values.append(1.0)
        begin = self.model.getNumCol()
        self.model.addCols(
            count,
            np.asarray(cost if real else np.zeros(count), dtype=np.float64),
            np.zeros(count),
            np.full(count, np.inf),
            len(indices),
            np.asarray(starts, dtype=np.int32),
            np.asarray(indices, dtype=np.int32),
            np.asarray(values, dtype=np.float64),
        )
        self.at.extend(range(begin, begin + count))

    def solve(self) -> tuple[float, Floats, Floats]:
        """Objective, duals of the limits, duals of the fields."""
        self.model.run()
        duals = np.asarray(self.model.getSolution().row_dual, dtype=float)
        return float(self.model.getInfo().objective_function_value), duals[self.rows], duals[self.choice]

    def slack(self) -> Floats:
        """Amount by which each limit is broken."""
        values = np.asarray(self.model.getSolution().col_value, dtype=float)
        return np.array([0.0 if v is None else values[v.index] for v in self.built.slack])


class _Store:
    """All sequences met so far, as columns of one program."""

    def __init__(self, grower: Grower, program: Program, objective: Floats) -> None:
        self.grower, self.program, self.objective = grower, program, objective
        self.paths: list[tuple[int, bytes]] = []
        self.seen: set[tuple[int, bytes]] = set()
        self.complete = np.zeros(len(grower.data.fields), bool)
        self.plans: list[tuple[tuple[int, ...], ...]] = []  # found before, as paths
        self._blocks: list[tuple[Floats, Floats, Floats]] = []

    def add(self, field: int, paths: np.ndarray[Any, np.dtype[np.int16]]) -> int:
        """Add the new ones among some sequences of a field; returns how many were new."""
        rows = []
        for row, path in enumerate(np.ascontiguousarray(paths)):
            key = (field, path.tobytes())
            if key not in self.seen:
                self.seen.add(key)
                self.paths.append(key)
                rows.append(row)
        if rows:
            pool = self.grower.pool(field, paths[rows])
            values = features(self.grower.data, self.program.space, pool)
            self._blocks.append(
                (
                    self.program.need(values),
                    values @ self.objective,
                    np.full(len(rows), field, dtype=float),
                )
            )
        return len(rows)

    def __len__(self) -> int:
        return len(self.paths)

    def columns(self) -> tuple[Floats, Floats, np.ndarray[Any, np.dtype[np.int64]]]:
        """Coefficients (rows, n), cost (n,), field (n,)."""
        if len(self._blocks) > 1:
            self._blocks = [
                (
                    np.hstack([b[0] for b in self._blocks]),
                    np.concatenate([b[1] for b in self._blocks]),
                    np.concatenate([b[2] for b in self._blocks]),
                )
            ]
        coefficients, cost, field_of = self._blocks[0]
        return coefficients, cost, field_of.astype(np.int64)

    def column(self, field: int, path: Sequence[int]) -> int:
        """Column of a sequence that was added."""
        return self.paths.index((field, np.array(path, dtype=np.int16).tobytes()))

    def path(self, column: int) -> tuple[int, ...]:
        """Practice indices of one column."""
        return tuple(int(p) for p in np.frombuffer(self.paths[column][1], dtype=np.int16))

    def pools(self) -> tuple[Pool, ...]:
        """Everything met, field by field."""
        result = []
        for field in range(len(self.grower.data.fields)):
            own = [path for owner, path in self.paths if owner == field]
            rows = {path: row for row, path in enumerate(own)}
            plans = tuple(rows[np.array(plan[field], dtype=np.int16).tobytes()] for plan in self.plans)
            paths = np.array([np.frombuffer(path, dtype=np.int16) for path in own])
            pool = self.grower.pool(field, paths, bool(self.complete[field]))
            result.append(replace(pool, plans=plans))
        return tuple(result)

    def take_in(self, pools: Sequence[Pool]) -> None:
        """Sequences and plans found before."""
        for pool in pools:
            self.add(pool.field, pool.paths)
            self.complete[pool.field] = pool.complete
        ordered = sorted(pools, key=lambda pool: pool.field)
        if [pool.field for pool in ordered] == list(range(len(self.grower.data.fields))):
            for rows in zip(*(pool.plans for pool in ordered), strict=True):
                plan = zip(ordered, rows, strict=True)
                self.keep(tuple(tuple(int(p) for p in pool.paths[row]) for pool, row in plan))

    def keep(self, plan: tuple[tuple[int, ...], ...]) -> None:
        """Remember a plan."""
        if plan not in self.plans:
            self.plans.append(plan)


@dataclass(slots=True)
class _Found:
    """Best plan of one program."""

    columns: list[int]
    value: float  # as minimised
    bound: float
    rounds: int


class _Search:
    """One program, one objective."""

    def __init__(
        self,
        grower: Grower,
        program: Program,
        objective: tuple[Floats, Floats],
        pools: Sequence[Pool],
        time_limit: float,
    ) -> None:
        self.grower, self.program, self.data = grower, program, grower.data
        self.plan_cost, self.recourse_cost = objective
        self.store = _Store(grower, program, self.plan_cost)
        # processor time: a busy computer must not change the plan
        self.ends = time.process_time() + time_limit
        self.time_limit = time_limit
        self.bound, self.last_bound, self.rounds = -np.inf, -np.inf, 0
        self.duals = np.zeros(len(program.rows))
        self.field_duals = np.zeros(len(self.data.fields))
        self.store.take_in(pools)
        self._begin()

    def left(self) -> float:
        """Seconds left."""
        return self.ends - time.process_time()

    def _begin(self) -> None:
        """First sequences: the best for money without farm limits, the cleanest, and between the two."""
        data, limits = self.data, self.program.limits
        fields = range(len(data.fields))
        if all(self.store.complete[field] for field in fields):
            return
        product = np.array(limits.open_price_per_t, dtype=float)
        for outlet in limits.outlets:
            price = np.where(outlet.most_t > 0, outlet.price_per_t - outlet.haul_per_t, 0.0)
            product[:, outlet.product] = np.maximum(product[:, outlet.product], price)
        product[:, limits.feeds] = np.maximum(product[:, limits.feeds], limits.feed_price_per_t)
        base = self.program.prices(np.zeros(self.program.space.size), np.zeros(len(self.program.rows)))
        weights = data.discount[:, None]
        money = replace(base, money=data.discount.copy(), product=np.maximum(product, 0.0) * weights)
        clean = replace(base, burden=np.full(data.years, 1.0))
        scale = float(np.abs(data.cost_per_ha).mean()) if len(data.cost_per_ha) else 1.0
        both = replace(money, burden=np.full(data.years, scale))
        for field in fields:
            if self.store.complete[field]:
                continue
            found = 0
            for prices, width in ((money, LISTED), (both, FIRST_WIDTH), (clean, FIRST_WIDTH)):
                grown = self.grower.grow(
                    field, self.grower.worth(prices), width=width, keep=width, figures=False
                )
                if grown.pool.complete:
                    self.store.complete[field] = True
                    self.store.add(field, grown.pool.paths)
                    found = len(grown.pool)
                    break
                found += self.store.add(field, grown.pool.paths[: 2 * COLUMNS_A_ROUND])
            if not found and not any(owner == field for owner, _ in self.store.paths):
                name = data.fields[field].name
                raise NoPlanError(
                    f'No sequence of practices is possible on field "{name}".',
                    [f'succession rules, bans and dates on field "{name}"'],
                )

    # ------------------------------------------------------------ linear program

    def _price(self, objective: Floats, value: float, width: int, most: int) -> tuple[int, bool]:
        """One round of growth at the present duals: new columns, and whether all branches were followed."""
        worth = self.grower.worth(self.program.prices(objective, self.duals))
        tolerance = TINY * max(1.0, abs(value))
        new, exact, short = 0, True, 0.0
        for field in range(len(self.data.fields)):
            if self.store.complete[field]:
                continue
            least = -float(self.field_duals[field])
            grown = self.grower.grow(
                field, worth, width=width, keep=most, least=least + tolerance, figures=False
            )
            short += max(tolerance, grown.upper - least)
            exact &= grown.exact
            new += self.store.add(field, grown.pool.paths)
        self.last_bound = value - short
        return new, exact

    def _generate(self, master: _Master, real: bool, until: float) -> float:
        """Column generation; returns the value of the linear program."""
        objective = self.plan_cost if real else np.zeros_like(self.plan_cost)
        width, bound = FIRST_WIDTH, -np.inf
        while True:
            value, self.duals, self.field_duals = master.solve()
            self.rounds += 1
            if not real and value <= TINY:
                return value
            if all(self.store.complete):
                self.last_bound = bound = value
                break
            first = len(self.store)
            new, exact = self._price(objective, value, width, COLUMNS_A_ROUND)
            bound = max(bound, self.last_bound)
            master.add(first, real)
            if (new == 0 and exact) or value - bound <= 10 * TINY * max(1.0, abs(value)):
                break
            if time.process_time() > until:
                break
            if new == 0:
                if width >= LAST_WIDTH:
                    break
                width = min(width * 5, LAST_WIDTH)
        if real:
            self.bound = bound
        elif bound > TINY:
            self.bound = np.inf  # proven: no mixture of sequences keeps all limits
        return value

    def linear(self) -> _Master:
        """Solve the linear program by column generation.

        Raises
        ------
        NoPlanError
            If no mixture of the sequences found keeps all limits.
        """
        master = _Master(self.program, self.store)
        # whether the limits can be kept at all is not left open for want of time
        patience = time.process_time() + max(LEAST_PATIENCE, self.left())
        if self._generate(master, False, patience) > 1e-6:
            raise self._clash(master, self.bound == np.inf)
        master.aim(self.recourse_cost)
        self._generate(master, True, time.process_time() + max(LEAST_PATIENCE, 0.5 * self.left()))
        return master

    def _clash(self, master: _Master, proven: bool) -> NoPlanError:
        """Which limits stand in each other's way, in words."""
        rows = self.program.rows
        master.solve()
        slack = master.slack()
        total = sum(s / row.scale for s, row in zip(slack, rows, strict=True))
        sentences = broken(self.program, slack)
        helps = []
        for limit in dict.fromkeys(row.limit for row in rows if row.words):
            costs = np.array([0.0 if row.limit == limit else 1.0 / row.scale for row in rows])
            master.price_slack(costs)
            value = master.solve()[0]
            if value < 1e-6 + 1e-3 * total:
                helps.append(limit)
        message = (
            "No plan keeps all limits at once."
            if proven
            else "No plan was found that keeps all limits at once."
        )
        if helps:
            message += " One would fit without " + " or without ".join(helps) + "."
        return NoPlanError(message, sentences)

    # ------------------------------------------------------------ whole fields

    def whole(self, gap: float) -> _Found:
        """A plan of whole fields, and how far it may be from the best; the search may stop at ``gap``."""
        self.linear()
        listed = all(self.store.complete)
        if not listed:
            self._enrich()
        best, value = self._known()
        for step in POOL_STEPS[-1:] if listed else POOL_STEPS:
            if best and not listed and step > POOL_STEPS[0] and self.left() <= 0.0:
                break
            rows = self._nearest(step, best, value - self.last_bound)
            everything = step == POOL_STEPS[-1]
            outcome, chosen = self._integer(
                rows,
                gap if listed and everything else max(gap, QUICK_GAP),
                best,
                share=0.5,
                least=MOMENT if best else LEAST_PATIENCE,
            )
            if outcome.objective < value:
                best, value = chosen, outcome.objective
            if best and not listed and value - self.bound <= GOOD_GAP * abs(value):
                break
            if everything:
                if listed and np.isfinite(outcome.bound):
                    self.bound = max(self.bound, min(outcome.bound, value))
                break
        if not best:
            raise self._no_whole()
        if not listed and self.bound < value - gap * abs(value):
            best, value = self._exchange(best, value, gap)
        if not listed and self.left() > MOMENT and self.bound < value - gap * abs(value):
            room = value - self.last_bound
            proven = self._all_within(room)
            rows = np.flatnonzero(self._reduced_costs() <= room + TINY * max(1.0, abs(room)))
            rows = np.union1d(rows, np.array(best, dtype=np.int64))
            outcome, chosen = self._integer(rows, gap, best, share=0.95, least=MOMENT)
            if outcome.objective < value:
                best, value = chosen, outcome.objective
            if proven and np.isfinite(outcome.bound):
                self.bound = max(self.bound, min(outcome.bound, value))
        self.store.keep(_paths(self.data, self.store, best))
        return _Found(best, value, self.bound, self.rounds)

    def _exchange(self, best: list[int], value: float, gap: float) -> tuple[list[int], float]:
        """Improve a plan a few fields at a time, the others held, until a whole round brings nothing.

        Takes at most ``EXCHANGE_SHARE`` of the time that is left.
        """
        field_of = self.store.columns()[2]
        count = len(self.data.fields)
        order = np.random.default_rng(0)
        until = (1.0 - EXCHANGE_SHARE) * self.left()
        size, quiet = min(EXCHANGE_FIELDS, count), 0
        groups: list[Integers] = []
        while quiet * size < 2 * count and size < count and self.left() > until:
            if not groups:
                turn = np.resize(order.permutation(count), -(-count // size) * size)
                groups = list(turn.reshape(-1, size))
            free = groups.pop()
            rows = self._nearest(POOL_A_FIELD, best, value - self.last_bound)
            rows = rows[np.isin(field_of[rows], free) | np.isin(rows, best)]
            outcome, chosen = self._integer(rows, max(gap, QUICK_GAP), best, share=0.2, least=MOMENT)
            better = outcome.objective < value - TINY * abs(value)
            quiet = 0 if better else quiet + 1
            if better:
                best, value = chosen, outcome.objective
        return best, value

    def _reduced_costs(self) -> Floats:
        """What each sequence would cost the linear program at its final prices."""
        coefficients, cost, field_of = self.store.columns()
        result: Floats = cost - self.duals @ coefficients - self.field_duals[field_of]
        return result

    def _nearest(self, count: int, extra: Sequence[int], room: float) -> Integers:
        """The ``count`` sequences of each field of least reduced cost, none above ``room``, and more."""
        reduced, field_of = self._reduced_costs(), self.store.columns()[2]
        rows: list[int] = list(extra)
        for field in range(len(self.data.fields)):
            own = np.flatnonzero(field_of == field)
            own = own[np.argsort(reduced[own], kind="stable")[:count]]
            rows.extend(own[reduced[own] <= room + TINY * max(1.0, abs(room))].tolist())
        return np.unique(np.array(rows, dtype=np.int64))

    def _known(self) -> tuple[list[int], float]:
        """The best of the latest plans found before that keeps all limits of this program."""
        best: list[int] = []
        value = np.inf
        for plan in self.store.plans[-KNOWN_PLANS:]:
            columns = [self.store.column(field, path) for field, path in enumerate(plan)]
            outcome, _ = self._integer(
                np.array(columns, dtype=np.int64), QUICK_GAP, (), share=0.5, least=LEAST_PATIENCE
            )
            if outcome.objective < value:
                best, value = columns, outcome.objective
        return best, value

    def _enrich(self) -> None:
        """Near-best sequences at the final prices."""
        worth = self.grower.worth(self.program.prices(self.plan_cost, self.duals))
        for field in range(len(self.data.fields)):
            if not self.store.complete[field]:
                grown = self.grower.grow(
                    field, worth, width=4 * POOL_A_FIELD, keep=POOL_A_FIELD, figures=False
                )
                self.store.add(field, grown.pool.paths)

    def _all_within(self, room: float) -> bool:
        """Add every sequence that a better plan could use; False if they are too many."""
        worth = self.grower.worth(self.program.prices(self.plan_cost, self.duals))
        total, found = 0, []
        for field in range(len(self.data.fields)):
            if self.store.complete[field]:
                continue
            least = -float(self.field_duals[field]) - room - TINY * max(1.0, abs(room))
            grown = self.grower.grow(
                field, worth, width=LAST_WIDTH, keep=PROOF_COLUMNS, least=least, figures=False
            )
            whole = grown.exact and len(grown.pool) < PROOF_COLUMNS
            found.append((field, grown.pool.paths))
            total += len(grown.pool)
            if not whole or total > PROOF_COLUMNS:
                for number, paths in found:
                    self.store.add(number, paths[: 2 * POOL_A_FIELD])
                return False
        for number, paths in found:
            self.store.add(number, paths)
        return True

    def _integer(
        self, rows: Integers, gap: float, start: Sequence[int], *, share: float, least: float
    ) -> tuple[Outcome, list[int]]:
        """Whole fields among some columns, in a share of the time that is left; objective inf if none."""
        coefficients, cost, field_of = self.store.columns()
        built = problem(
            self.program,
            coefficients[:, rows],
            cost[rows],
            self.recourse_cost,
            field_of[rows],
            integer=True,
            slack="none",
        )
        places = {int(row): place for place, row in enumerate(rows)}
        outcome = run(
            built,
            integer=True,
            time_limit=max(least, share * self.left()),
            gap=gap,
            start=[places[column] for column in start],
        )
        if outcome.status not in ("optimal", "feasible"):
            return replace(outcome, objective=np.inf), []
        return outcome, [int(rows[j]) for j in np.flatnonzero(outcome.plans > 0.5)]

    def _no_whole(self) -> NoPlanError:
        """No plan of whole fields: say what the nearest one breaks."""
        coefficients, cost, field_of = self.store.columns()
        built = problem(
            self.program,
            coefficients,
            np.zeros_like(cost),
            np.zeros_like(self.recourse_cost),
            field_of,
            integer=True,
            slack="free",
            slack_cost=1.0,
        )
        outcome = run(built, integer=True, time_limit=max(1.0, self.left()))
        return NoPlanError(
            "No plan of whole fields was found that keeps all limits at once; the nearest one breaks these.",
            broken(self.program, outcome.slack),
        )


def in_words(amount: float) -> str:
    """An amount with as many digits as a grower would say.

    Examples
    --------
    >>> in_words(1234.5), in_words(3.26), in_words(0.0312)
    ('1,234', '3.3', '0.031')
    """
    if amount >= 10:
        return f"{amount:,.0f}"
    return f"{amount:.1f}" if amount >= 1 else f"{amount:.2g}"


def broken(program: Program, slack: Floats) -> list[str]:
    """Sentences for limits that are broken, the worst of each limit first; at most three of one limit."""
    order = sorted(range(len(slack)), key=lambda n: -slack[n] / program.rows[n].scale)
    count: dict[str, int] = {}
    sentences = []
    for number in order:
        row = program.rows[number]
        if slack[number] <= 1e-5 * row.scale:
            continue
        count[row.limit] = count.get(row.limit, 0) + 1
        if count[row.limit] <= 3:
            sentences.append(row.words.format(in_words(float(slack[number]))))
    return sentences


def select(
    data: SelectionData,
    goal: Goal,
    *,
    limits: Limits | None = None,
    pools: Sequence[Pool] = (),
    time_limit: float = 20.0,
    gap: float = 2e-4,
) -> Selected:
    """Choose one sequence for every field.

    Parameters
    ----------
    limits : Limits, optional
        Other limits than the farm's own (what-ifs).
    pools : sequence of Pool
        Sequences met before for the same data.
    time_limit : float
        Seconds for the whole call. [s]
    gap : float
        Share of the value at which the search for whole fields may stop.

    Raises
    ------
    NoPlanError
        If no plan meets all limits; names the clashing limits in words.
    """
    began = time.perf_counter()
    used = data.limits if limits is None else limits
    grower = Grower(data)
    most = goal.burden_most
    value: float | None = None
    bound: float | None = None
    rounds = 0
    known: Sequence[Pool] = pools
    if goal.kind == "least_burden":
        program = Program(data, used, most)
        if not any(pool.plans for pool in known):
            # the cleanest sequences alone rarely fill contracts: start from a plan that does
            search = _Search(grower, program, program.money_objective(), known, 0.3 * time_limit)
            rounds += search.whole(10 * QUICK_GAP).rounds
            known = search.store.pools()
        left = 0.65 * (time_limit - (time.perf_counter() - began))
        search = _Search(grower, program, program.burden_objective(), known, left)
        first = search.whole(gap)
        value, bound, known = first.value, first.bound, search.store.pools()
        rounds += first.rounds
        cleanest = evaluate(data, search.store.plans[-1], limits=used)
        most = float(data.burden_when @ cleanest.burden[:, data.likely]) * (1.0 + goal.slack) + 1e-6
    program = Program(data, used, most)
    left = time_limit - (time.perf_counter() - began)
    search = _Search(grower, program, program.money_objective(), known, max(1.0, left))
    found = search.whole(gap)
    paths = _paths(data, search.store, found.columns)
    figures = evaluate(data, paths, limits=used)
    if value is None:
        fixed = float(data.discount.sum()) * used.fixed_cost
        value, bound = figures.present_value, -found.bound - fixed
    proven = bound is not None and np.isfinite(bound)
    size = (
        abs(value) if goal.kind == "most_money" else max(abs(value), 0.01 * float(start_burden(data).max()))
    )
    return Selected(
        paths=paths,
        value=value,
        bound=bound if proven else None,
        gap=abs(bound - value) / max(size, TINY) if bound is not None and proven else None,
        figures=figures,
        pools=search.store.pools(),
        rounds=rounds + found.rounds,
        columns=len(search.store),
        seconds=time.perf_counter() - began,
    )


def _paths(data: SelectionData, store: _Store, columns: Sequence[int]) -> tuple[tuple[int, ...], ...]:
    """Chosen sequences in the order of the fields."""
    chosen = {store.paths[column][0]: store.path(column) for column in columns}
    return tuple(chosen[field] for field in range(len(data.fields)))


def start_burden(data: SelectionData) -> Floats:
    """Burden at the last harvest before the plan, by draw. [ha of full-strength stand]"""
    total = np.zeros(len(data.draws))
    for land in data.fields:
        total += land.area_ha * (data.burden_weight * land.infested_share) @ land.start_reserve
    return total


def evaluate(data: SelectionData, paths: Sequence[Sequence[int]], *, limits: Limits | None = None) -> Figures:
    """Figures of a fixed plan; limits it does not keep are listed in words, not forbidden.

    What the farm does with the plan's work and tonnes is chosen for the most money; where limits must be
    broken, by as little as possible first.
    """
    used = data.limits if limits is None else limits
    program, space = Program(data, used), Space(data)
    years, products = data.years, len(data.products)
    totals = np.zeros(space.size)
    burden, made = np.zeros((years, len(data.draws))), np.zeros((years, products))
    field_money = np.zeros((len(data.fields), years))
    for number, path in enumerate(paths):
        seen = trace(data, number, path)
        pool = Pool(
            field=number,
            paths=np.array([path], dtype=np.int16),
            pairs=np.array([seen.pairs], dtype=np.int64),
            complete=False,
            money=seen.money[None, :],
            tonnes=seen.tonnes[None, :],
            loss=seen.loss[None, :, data.likely],
            burden=seen.burden[None, :, data.likely],
        )
        totals += features(data, space, pool)[0]
        burden += seen.burden
        field_money[number] = seen.money
        for year, practice in enumerate(path):
            if practice != NOT_FARMED and data.product_of[practice] >= 0:
                made[year, data.product_of[practice]] += seen.made_t[year]
    need = program.need(totals[None, :])[:, 0]
    slack, values = _best_recourse(program, program.rhs - need)
    chosen = program.values(values)
    part = space.part
    tonnes = part("tonnes", totals)
    sold_by_year = np.zeros(years)
    used_t = chosen.open_t + chosen.kept_t
    for number, outlet in enumerate(used.outlets):
        sold_by_year += chosen.sold_t[number] * (outlet.price_per_t - outlet.haul_per_t)
        used_t[:, outlet.product] += chosen.sold_t[number]
    sales = sold_by_year + (chosen.open_t * used.open_price_per_t).sum(axis=1)
    feed_cost = chosen.bought_t * used.feed_price_per_t
    extra = _by_plan_year(chosen.extra_labour_h.sum(axis=1) * used.extra_labour_cost_per_h)
    hire = (
        _by_plan_year(used.hire_extra_cost_per_h @ chosen.hire_extra_h.sum(axis=2))
        if len(data.machines)
        else np.zeros(years)
    )
    net = field_money.sum(axis=0) + sales - feed_cost - extra - hire - used.fixed_cost
    return Figures(
        net=net,
        present_value=float(data.discount @ net),
        field_money=field_money,
        sales=sales,
        feed_cost=feed_cost,
        extra_labour_cost=extra,
        hire_cost=hire,
        labour_h=part("labour", totals).copy(),
        machine_h=part("machine", totals).copy(),
        hired_ha=part("hired", totals).copy(),
        made_t=made,
        tonnes=tonnes.copy(),
        unsold_t=np.maximum(tonnes - used_t, 0.0),
        burden=burden,
        recourse=chosen,
        breaks=tuple(broken(program, slack)),
    )


def _by_plan_year(values: Floats) -> Floats:
    """Calendar years (C,) to plan years (T,): the autumn before the first is paid in the first."""
    result: Floats = values[1:].copy()
    result[0] += values[0]
    return result


def _best_recourse(program: Program, rhs: Floats) -> tuple[Floats, Floats]:
    """Slack of every row and recourse values for what a fixed plan leaves to do."""
    scales = np.array([row.scale if row.words else 0.0 for row in program.rows])
    nothing, none = np.zeros((len(program.rows), 0)), np.zeros(0)
    no_field = np.zeros(len(program.data.fields), bool)
    money = program.money_objective()[1]
    # a limit that nothing can be done about is simply kept or broken
    alone = np.array([not row.recourse for row in program.rows], dtype=bool)
    slack = np.where(alone, np.maximum(program.sense * rhs, 0.0), 0.0)
    if not len(money):
        return slack, money
    loose: Literal["none", "free"]
    for loose in ("none", "free", "none"):
        room = slack + (1e-9 * scales if loose == "none" else 0.0)
        built = problem(
            program,
            nothing,
            none,
            money if loose == "none" else np.zeros_like(money),
            none,
            integer=False,
            slack=loose,
            slack_cost=1.0,
            fields=no_field,
            rhs=rhs - program.sense * room,
        )
        outcome = run(built, integer=False)
        if loose == "free":
            slack = slack + outcome.slack
        elif outcome.status == "optimal":
            break
    return slack, outcome.recourse
