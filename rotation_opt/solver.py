"""The one door to PuLP and the solver: builds a program over given sequences, solves it, keeps it for more.

Everything is a minimisation. Duals are those of a minimisation: never positive on a ``<=`` row, never
negative on a ``>=`` row.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import pulp

from .arrays import Flags, Floats, Integers
from .brake import Brake
from .formulate import Program

TINY = 1e-7
FEASIBLE = 2  # the solver's word for a solution that keeps all rows
LEAST_SECONDS = 1.0  # for a mixed-integer search, however late it is


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


def _solver(mip: bool, time_limit: float | None = None, gap: float | None = None, **options: int) -> Any:
    """The solver, silent and on one thread."""
    return pulp.HiGHS(
        mip=mip,
        msg=False,
        threads=1,
        timeLimit=time_limit,
        gapRel=gap,
        random_seed=1,
        log_to_console=False,
        **options,
    )


def run(
    built: Problem,
    *,
    integer: bool,
    gap: float = 1e-7,
    nodes: int | None = None,
    brake: Brake | None = None,
) -> Outcome:
    """Solve a problem as it stands.

    Parameters
    ----------
    integer : bool
        False: as a linear program, with duals; True: as a mixed-integer program.
    gap : float
        Share of the objective at which a mixed-integer search may stop.
    nodes : int, optional
        Most nodes of a mixed-integer search.
    brake : Brake, optional
        Ends a mixed-integer search early.

    Notes
    -----
    Duals are those of a minimisation: never positive on a ``<=`` row, never negative on a ``>=`` row.
    """
    began = time.perf_counter()
    most = {} if nodes is None else {"mip_max_nodes": nodes}
    seconds = None if brake is None else max(LEAST_SECONDS, brake.left())
    solver = _solver(integer, seconds, gap, **most) if integer else _solver(False)

    def call(lp: Any) -> None:
        if integer and brake is not None:
            lp.solverModel.cbMipInterrupt += lambda event: _interrupt(event, brake)
        lp.solverModel.run()

    solver.callSolver = call
    found = solver.findSolutionValues

    def values_of(lp: Any) -> tuple[int, int]:
        try:
            return tuple(found(lp))
        except KeyError:  # ended at its most nodes: an end PuLP has no word for
            return pulp.LpStatusNotSolved, pulp.LpSolutionNoSolutionFound

    solver.findSolutionValues = values_of
    built.problem.solve(solver)
    model = built.problem.solverModel
    solution, info = model.getSolution(), model.getInfo()
    state = built.problem.status
    has = int(info.primal_solution_status) == FEASIBLE and state != pulp.LpStatusInfeasible
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


def _interrupt(event: Any, brake: Brake) -> None:
    """Told by the solver now and then."""
    if brake():
        event.data_in.user_interrupt = True


def _handed_over(built: pulp.LpProblem) -> Any:
    """The solver's own model of a linear program, not yet solved."""
    solver = _solver(False)
    solver.createAndConfigureSolver(built)
    solver.buildSolverModel(built)
    return built.solverModel


class KeptProgram:
    """The linear program, kept in the solver between rounds so that it starts from the last basis.

    It begins with the limits alone: how little of them can be broken; `aim` turns it to the real cost.
    """

    def __init__(self, program: Program, need: Floats, field_of: Integers) -> None:
        # the limits alone go through PuLP; columns are many and are handed to the solver all at once
        nothing = np.zeros((len(program.rows), 0)), np.zeros(0)
        self.built = problem(
            program,
            *nothing,
            np.zeros(len(program.variables)),
            np.zeros(0),
            integer=False,
            slack="free",
            slack_cost=1.0,
        )
        self.model = _handed_over(self.built.problem)
        self.at: list[int] = []
        self.rows = np.array([c.index for c in self.built.rows], dtype=np.int64)
        self.choice = np.array([c.index for c in self.built.fields], dtype=np.int64)
        self.add(need, np.zeros(len(field_of)), field_of)

    def aim(self, cost: Floats, recourse_cost: Floats, penalty: Floats | None = None) -> None:
        """Turn from keeping the limits to the real cost.

        Limits are kept from now on (they must have been), or broken at a penalty (rows,).
        """
        for row, variable in enumerate(self.built.slack):
            if variable is not None:
                self.model.changeColBounds(variable.index, 0.0, 0.0 if penalty is None else np.inf)
                self.model.changeColCost(variable.index, 0.0 if penalty is None else float(penalty[row]))
        for variable, price in zip(self.built.recourse, recourse_cost, strict=True):
            self.model.changeColCost(variable.index, float(price))
        for at, price in zip(self.at, cost, strict=True):
            self.model.changeColCost(at, float(price))

    def price_slack(self, costs: Floats) -> None:
        """Other costs of breaking each limit."""
        for variable, cost in zip(self.built.slack, costs, strict=True):
            if variable is not None:
                self.model.changeColCost(variable.index, float(cost))

    def add(self, need: Floats, cost: Floats, field_of: Integers) -> None:
        """Bring in columns: ``need`` (n, rows), ``cost`` and ``field_of`` (n,)."""
        count = len(cost)
        if count == 0:
            return
        filled = need != 0.0
        lengths = filled.sum(axis=1) + 1
        starts = np.concatenate([[0], np.cumsum(lengths)[:-1]])
        total = int(lengths.sum())
        indices, values = np.empty(total, np.int32), np.ones(total)
        last = starts + lengths - 1
        inner = np.ones(total, bool)
        inner[last] = False
        _, which = np.nonzero(filled)
        indices[inner], values[inner] = self.rows[which], need[filled]
        indices[last] = self.choice[field_of]
        begin = self.model.getNumCol()
        self.model.addCols(
            count,
            np.asarray(cost, dtype=np.float64),
            np.zeros(count),
            np.full(count, np.inf),
            total,
            starts.astype(np.int32),
            indices,
            values,
        )
        self.at.extend(range(begin, begin + count))

    def allow(self, allowed: Flags) -> None:
        """Which of its columns (n,), in the order in which they came, may be used."""
        places = np.asarray(self.at, dtype=np.int32)
        upper = np.where(allowed, np.inf, 0.0)
        self.model.changeColsBounds(len(places), places, np.zeros(len(places)), upper)

    def solve(self) -> tuple[float, Floats, Floats]:
        """Objective, duals of the limits, duals of the fields."""
        self.model.run()
        duals = np.asarray(self.model.getSolution().row_dual, dtype=float)
        return float(self.model.getInfo().objective_function_value), duals[self.rows], duals[self.choice]

    def shares(self) -> Floats:
        """(n,): share of its field that each column has, in the order in which they came."""
        values = np.asarray(self.model.getSolution().col_value, dtype=float)
        result: Floats = values[self.at]
        return result

    def slack(self) -> Floats:
        """Amount by which each limit is broken."""
        values = np.asarray(self.model.getSolution().col_value, dtype=float)
        return np.array([0.0 if v is None else values[v.index] for v in self.built.slack])


class KeptPlan:
    """What the farm does about one fixed plan after another, kept in the solver between them.

    Parameters
    ----------
    program : Program
    recourse_cost : (variables,)
        As minimised where all limits are kept.
    broken : bool
        Whether limits may be broken: by as little as can be, each counted by its own scale, at no other cost.

    Attributes
    ----------
    recourse : (variables,)
        What is done about the plan solved last, if it breaks no limit.
    """

    def __init__(self, program: Program, recourse_cost: Floats, *, broken: bool) -> None:
        self.sense, self.rhs = program.sense, program.rhs
        built = problem(
            program,
            np.zeros((len(program.rows), 0)),
            np.zeros(0),
            np.zeros_like(recourse_cost) if broken else recourse_cost,
            np.zeros(0),
            integer=False,
            slack="free" if broken else "none",
            slack_cost=1.0,
            fields=np.zeros(len(program.data.fields), bool),
        )
        self.model = _handed_over(built.problem)
        self.rows = np.array([c.index for c in built.rows], dtype=np.int32)
        self.loose = [None if v is None else v.index for v in built.slack]
        self.places = np.array([v.index for v in built.recourse], dtype=np.int64)
        self.recourse = np.zeros(len(self.places))

    def solve(self, need: Floats) -> tuple[float, Floats]:
        """Least cost of a plan that needs ``need`` (rows,), inf if it breaks a limit; by how much it does."""
        right = self.rhs - need
        low = np.where(self.sense > 0, right, -np.inf)
        self.model.changeRowsBounds(len(self.rows), self.rows, low, np.where(self.sense > 0, np.inf, right))
        self.model.run()
        info = self.model.getInfo()
        if int(info.primal_solution_status) != FEASIBLE:
            return np.inf, np.zeros(len(self.rows))
        values = np.asarray(self.model.getSolution().col_value, dtype=float)
        self.recourse = values[self.places]
        slack = np.array([0.0 if at is None else values[at] for at in self.loose])
        return float(info.objective_function_value), slack


class KeptRecourse:
    """The best recourse of some rows for what a plan leaves to do, solved again and again.

    Parameters
    ----------
    program : Program
    rows, variables : sequence of int
        The rows, and the recourse variables that stand in them alone.
    cost : (variables,)
        Cost of a unit of every recourse variable of the program.
    penalty : (rows,)
        Cost of a unit by which each row of the program is broken.
    """

    def __init__(
        self, program: Program, rows: Sequence[int], variables: Sequence[int], cost: Floats, penalty: Floats
    ) -> None:
        self.sense, self.rhs = program.sense[list(rows)], program.rhs[list(rows)]
        model = pulp.LpProblem("recourse", pulp.LpMinimize)
        own = {n: model.add_variable(f"recourse_{n:05d}", 0, program.variables[n].upper) for n in variables}
        loose = [model.add_variable(f"slack_{n:05d}", 0) for n in rows]
        terms = [(own[n], float(cost[n])) for n in variables]
        terms += [(slack, float(penalty[n])) for n, slack in zip(rows, loose, strict=True)]
        model.setObjective(pulp.LpAffineExpression(terms))
        made = []
        for n, slack in zip(rows, loose, strict=True):
            row = program.rows[n]
            left = [(own[v], value) for v, value in row.recourse.items()] + [(slack, float(row.sense))]
            sense = pulp.LpConstraintGE if row.sense > 0 else pulp.LpConstraintLE
            made.append(pulp.LpConstraint(pulp.LpAffineExpression(left), sense, f"row_{n:05d}", row.rhs))
            model.addConstraint(made[-1])
        model.solve(_solver(False))
        self.model = model.solverModel
        self.at = np.array([constraint.index for constraint in made], dtype=np.int32)
        self.places = np.array([own[n].index for n in variables], dtype=np.int64)

    def solve(self, need: Floats) -> tuple[float, Floats, Floats]:
        """Least cost, its slope in the need of each row, and the values of the variables."""
        right = self.rhs - need
        low, high = np.where(self.sense > 0, right, -np.inf), np.where(self.sense > 0, np.inf, right)
        self.model.changeRowsBounds(len(self.at), self.at, low, high)
        self.model.run()
        solution = self.model.getSolution()
        duals = np.asarray(solution.row_dual, dtype=float)[self.at]
        values = np.asarray(solution.col_value, dtype=float)[self.places]
        return float(self.model.getInfo().objective_function_value), -duals, values
