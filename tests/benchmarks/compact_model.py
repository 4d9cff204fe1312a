"""A second way to write the same farm: one choice a field and year, for the benchmark only.

Binary ``x[field, year, practice]``; what a practice costs and needs depends on what stood before, so every
practice has *moves*: groups of practices before it with the same figures. A move is continuous,
``sum of moves into a practice = x``, ``move <= sum of x a year earlier of its practices before``; pairs that
are not allowed belong to no move. Break years and longest runs are cliques of ``x`` over a window of years.
The rows of the farm's limits are those of `rotation_opt.formulate.Program`, written over these variables.

Weeds are followed by the logarithm of the root reserve, one continuous variable a field, year and weed,
shared out among the practices of the year (the convex hull of the choice, so there is no big constant).
One year's step ``log g + l - log(1 + c exp l)`` is concave in the log reserve l: its chord lies below it. The
loss is kept above the lower convex hull of its curve, in a few straight lines. So the weeds are never put
too high.

The relaxation is a valid upper bound of the exact problem (most money): every plan with its exact reserves,
losses and tonnes keeps all rows and is claimed at no less than its worth. Without weeds the integer program
is the exact problem. Only the goal of most money is written.
"""

from __future__ import annotations

import time
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import pulp

from rotation_opt.arrays import NOT_FARMED, FieldData, SelectionData
from rotation_opt.formulate import Program
from rotation_opt.select import evaluate
from rotation_opt.weeds.response import reserve_after

POINTS = 160  # of the loss curve whose lower hull is taken
LINES = 4  # straight lines kept of a hull
TINY = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Reference:
    """What a reference model came to.

    Parameters
    ----------
    bound : float or None
        Value of its linear relaxation, None if it was not solved in time.
    proven : float or None
        Its own bound after branching: no plan is claimed at more.
    bound_seconds : float
        To build it and solve the relaxation. [s]
    seconds : float
        To build it and search for whole fields, the relaxation alone not counted. [s]
    paths : tuple of tuple of int or None
        The plan, None if none was found.
    claimed, exact : float or None
        Present value as the model reckons it, and by `evaluate`.
    breaks : tuple of str
        Limits that the plan does not keep when reckoned exactly.
    rows, columns : int
        Size; 0 if it could not even be built in time.
    """

    bound: float | None
    proven: float | None
    bound_seconds: float
    seconds: float
    paths: tuple[tuple[int, ...], ...] | None
    claimed: float | None
    exact: float | None
    breaks: tuple[str, ...]
    rows: int
    columns: int


@dataclass(frozen=True, slots=True)
class Move:
    """A practice after any of some practices: the pairs have the same figures (weeds aside)."""

    practice: int
    before: tuple[int, ...]
    pairs: tuple[int, ...]


class TooLate(Exception):
    """The model could not be written in the time there is."""


class Model:
    """The assignment program of a farm.

    Parameters
    ----------
    data : SelectionData
    until : float
        Clock reading at which building is given up. [s]
    """

    def __init__(self, data: SelectionData, until: float = np.inf) -> None:
        self.data, self.until = data, until
        self.program = Program(data, data.limits)
        self.problem: Any = pulp.LpProblem("reference", pulp.LpMinimize)
        self.choices: dict[tuple[int, int, int], Any] = {}
        self.terms: dict[int, list[tuple[Any, float]]] = defaultdict(list)  # by feature
        self.fixed: dict[int, float] = defaultdict(float)
        self.count = self.rows = 0
        self.wanted = {at for row in self.program.rows for at in row.plan}
        money = self.program.space.begin["money"]
        self.wanted |= set(range(money, money + data.years))
        self._figures()
        self.kinds = self.kinds_of_moves()
        for field in range(len(data.fields)):
            self._field(field)
            if time.perf_counter() > self.until:
                raise TooLate
        self._limits()

    # ------------------------------------------------------------ what differs between the models

    def kinds_of_moves(self) -> list[list[Move]]:
        """Moves into every practice: pairs with the same figures together."""
        result: list[list[Move]] = []
        for practice in range(len(self.data.practice_keys)):
            before = np.flatnonzero(self.data.may_follow[:, practice])
            pairs = self.data.pair_index[before, practice]
            groups: dict[bytes, list[int]] = defaultdict(list)
            for place, pair in enumerate(pairs):
                groups[np.round(self.figures[pair], 9).tobytes()].append(place)
            result.append(
                [Move(practice, tuple(before[g].tolist()), tuple(pairs[g].tolist())) for g in groups.values()]
            )
        return result

    def link(self, field: int, year: int, moves: list[tuple[Move, Any]]) -> None:
        """What moves ask of the choice a year earlier."""
        for move, variable in moves:
            earlier = [self.choices[field, year - 1, p] for p in move.before if self._has(field, year - 1, p)]
            self.row([(variable, 1.0), *((x, -1.0) for x in earlier)], "<=", 0.0)

    # ------------------------------------------------------------ small help

    def variable(self, low: float | None = 0.0, high: float | None = None, whole: bool = False) -> Any:
        self.count += 1
        kind = pulp.LpBinary if whole else pulp.LpContinuous
        return self.problem.add_variable(f"v{self.count:07d}", low, high, kind)

    def row(self, terms: Sequence[tuple[Any, float]], sense: str, right: float) -> None:
        kinds = {"<=": pulp.LpConstraintLE, ">=": pulp.LpConstraintGE, "=": pulp.LpConstraintEQ}
        self.rows += 1
        left = pulp.LpAffineExpression(list(terms))
        self.problem.addConstraint(pulp.LpConstraint(left, kinds[sense], f"r{self.rows:07d}", float(right)))

    def _has(self, field: int, year: int, practice: int) -> bool:
        return (field, year, practice) in self.choices

    def _figures(self) -> None:
        """(Q, n): what a pair costs, gives and needs by hectare."""
        data = self.data
        count = len(data.cost_per_ha)
        self.practice_of = np.zeros(count, np.int64)
        previous, practice = np.nonzero(data.pair_index >= 0)
        self.practice_of[data.pair_index[previous, practice]] = practice
        self.sells = data.product_of[self.practice_of] >= 0
        self.crop = np.where(self.sells, data.yield_t_ha, 0.0)
        parts = [data.cost_per_ha, self.crop, self.crop * data.haul_per_t]
        wide = [data.labour_h, data.machine_h, data.hired_area]
        self.figures = np.column_stack([*parts, *(part.reshape(count, -1) for part in wide)])

    # ------------------------------------------------------------ one field

    def _field(self, field: int) -> None:
        data, land = self.data, self.data.fields[field]
        weeds = [
            w
            for w in range(len(data.weeds))
            if land.infested_share[w] > 0 and land.start_reserve[w, data.likely] > 0
        ]
        low = {w: float(np.log(land.start_reserve[w, data.likely])) for w in weeds}
        high = dict(low)
        logs: dict[int, Any] = {}
        possible = {land.history[-1]}
        for year in range(data.years):
            if not land.farmed[year]:
                break
            moves: list[tuple[Move, Any]] = []
            for kinds in self.kinds:
                for move in kinds:
                    keep = [n for n, p in enumerate(move.before) if p in possible]
                    if not keep or not land.allowed[year, move.practice]:
                        continue
                    left = Move(
                        move.practice,
                        tuple(move.before[n] for n in keep),
                        tuple(move.pairs[n] for n in keep),
                    )
                    moves.append((left, self.variable()))
            into: dict[int, list[tuple[Move, Any]]] = defaultdict(list)
            for move, variable in moves:
                into[move.practice].append((move, variable))
            possible = set(into)
            for practice, entering in into.items():
                choice = self.variable(0.0, 1.0, whole=True)
                self.choices[field, year, practice] = choice
                self.row([(choice, -1.0), *((v, 1.0) for _, v in entering)], "=", 0.0)
            self.row([(self.choices[field, year, p], 1.0) for p in into], "=", 1.0)
            if year > 0:
                self.link(field, year, moves)
            self._needs(field, year, into)
            if weeds:
                low, high, logs = self._weeds(field, year, weeds, into, low, high, logs)
        self._rules(field)

    def _needs(self, field: int, year: int, into: dict[int, list[tuple[Move, Any]]]) -> None:
        """Figures of a year: those of the commonest move on the choice, differences on the others."""
        land = self.data.fields[field]
        for practice, entering in into.items():
            usual = max(entering, key=lambda pair: len(pair[0].before))[0].pairs[0]
            for pair, variable, less in [
                (usual, self.choices[field, year, practice], None),
                *((m.pairs[0], v, usual) for m, v in entering),
            ]:
                for at, value in self._features(land, year, practice, pair, less):
                    self.terms[at].append((variable, value))

    def _features(
        self, land: FieldData, year: int, practice: int, pair: int, less: int | None
    ) -> list[tuple[int, float]]:
        """Features of one pair on one field, or how they differ from those of another."""
        data, space, result = self.data, self.program.space, []
        row = self.figures[pair] if less is None else self.figures[pair] - self.figures[less]
        rent = land.rent_per_ha if less is None else 0.0
        crop = land.area_ha * land.yield_ratio
        result.append((space.at("money", year), -land.area_ha * (row[0] + rent) - crop * row[2]))
        if data.product_of[practice] >= 0:
            at = space.at("tonnes", year, int(data.product_of[practice]))
            result.append((at, crop * (1.0 - land.landlord_share) * row[1]))
        if less is None:
            result.append((space.at("land", year, practice), land.area_ha))
        machines = len(data.machines)
        hours = row[3 : 3 + 48]
        for place in np.flatnonzero(hours):
            offset, half = divmod(int(place), 24)
            result.append((space.at("labour", year + offset, half), land.area_ha * hours[place]))
        hours = row[51 : 51 + 48 * machines]
        for place in np.flatnonzero(hours):
            machine, rest = divmod(int(place), 48)
            offset, half = divmod(rest, 24)
            result.append((space.at("machine", machine, year + offset, half), land.area_ha * hours[place]))
        for machine in np.flatnonzero(row[51 + 48 * machines :]):
            area = land.area_ha * row[51 + 48 * machines + machine]
            result.append((space.at("hired", int(machine), year), area))
        return [(at, float(value)) for at, value in result if at in self.wanted and abs(value) > TINY]

    def _rules(self, field: int) -> None:
        """Break years and longest runs, over what the field had before the plan too."""
        land, rules = self.data.fields[field], self.data.rules
        years = int(land.farmed.sum()) if land.farmed.all() else int(np.argmin(land.farmed))
        history = land.history

        def chosen(year: int, member: np.ndarray) -> tuple[list[tuple[Any, float]], float]:
            """Variables of a year's members; for a year of the past, whether there was one."""
            if year < 0:
                old = history[year] if -year <= len(history) else NOT_FARMED
                return [], float(old != NOT_FARMED and bool(member[old]))
            return [
                (self.choices[field, year, int(p)], 1.0)
                for p in np.flatnonzero(member)
                if self._has(field, year, int(p))
            ], 0.0

        for rule, apart in enumerate(rules.break_years):
            following, before = rules.break_next[rule], rules.break_before[rule]
            both = following & before
            for year in range(years):
                now, _ = chosen(year, following)
                for back in range(1, int(apart) + 1):
                    earlier, past = chosen(year - back, before)
                    if now and (earlier or past):
                        self.row([*now, *earlier], "<=", 1.0 - past)
                window = [chosen(year - back, both) for back in range(int(apart) + 1)]
                terms = [term for part, _ in window for term in part]
                if window[0][0] and not any(past for _, past in window):
                    self.row(terms, "<=", 1.0)
        for rule, most in enumerate(rules.run_most):
            for year in range(years):
                window = [chosen(year - back, rules.run_member[rule]) for back in range(int(most) + 1)]
                terms = [term for part, _ in window for term in part]
                if window[0][0]:
                    self.row(terms, "<=", float(most) - sum(past for _, past in window))

    # ------------------------------------------------------------ weeds

    def _weeds(  # noqa: PLR0917
        self,
        field: int,
        year: int,
        weeds: list[int],
        into: dict[int, list[tuple[Move, Any]]],
        low: dict[int, float],
        high: dict[int, float],
        logs: dict[int, Any],
    ) -> tuple[dict[int, float], dict[int, float], dict[int, Any]]:
        """Loss of a year and the log reserves after it, with their new ranges."""
        lost: dict[int, list[tuple[Any, float]]] = defaultdict(list)
        after_low, after_high, after = {}, {}, {}
        for weed in weeds:
            shares = self._shared(field, year, into, low[weed], high[weed], logs.get(weed))
            ends = {
                m: (self._step(weed, m.pairs, low[weed]), self._step(weed, m.pairs, high[weed]))
                for entering in into.values()
                for m, _ in entering
            }
            after_low[weed] = min(float(bottom.min()) for bottom, _ in ends.values())
            after_high[weed] = max(float(top.max()) for _, top in ends.values())
            after[weed] = self.variable(after_low[weed], after_high[weed])
            terms = [(after[weed], 1.0)]
            for practice, entering in into.items():
                slope, wide = 0.0, high[weed] - low[weed]
                if wide > TINY:
                    slope = float(np.mean(np.concatenate([ends[m][1] - ends[m][0] for m, _ in entering])))
                    slope /= wide
                    terms.append((shares[practice], -slope))
                for move, variable in entering:
                    bottom, top = ends[move]
                    level = min(
                        float((bottom - slope * low[weed]).min()), float((top - slope * high[weed]).min())
                    )
                    terms.append((variable, -level))
                if self.data.product_of[practice] >= 0:
                    pairs = [pair for m, _ in entering for pair in m.pairs]
                    lost[practice].append(
                        self._lost(field, year, practice, weed, pairs, low[weed], high[weed], shares)
                    )
            self.row(terms, ">=", 0.0)
        land, space = self.data.fields[field], self.program.space
        for practice, parts in lost.items():
            variable, most = parts[0]
            choice = self.choices[field, year, practice]
            for other, other_most in parts[1:]:
                # u v <= u + a (v - 1) for u in [a, 1]: the loss to both weeds together
                together, all_lost = self.variable(), 1.0 - (1.0 - most) * (1.0 - other_most)
                self.row([(together, 1.0), (variable, -1.0), (other, most - 1.0)], ">=", 0.0)
                self.row([(together, 1.0), (other, -1.0), (variable, other_most - 1.0)], ">=", 0.0)
                self.row([(together, 1.0), (choice, -all_lost)], "<=", 0.0)
                variable, most = together, all_lost
            pairs = [pair for m, _ in into[practice] for pair in m.pairs]
            crop = land.area_ha * land.yield_ratio
            at = space.at("tonnes", year, int(self.data.product_of[practice]))
            kept = crop * (1.0 - land.landlord_share) * float(self.crop[pairs].min())
            self.terms[at].append((variable, -kept))
            saved = crop * float((self.crop[pairs] * self.data.haul_per_t[pairs]).max())
            self.terms[space.at("money", year)].append((variable, saved))
        return after_low, after_high, after

    def _step(self, weed: int, pairs: Sequence[int], log: float) -> np.ndarray:
        """Log reserve after a season with each of some pairs."""
        data, at = self.data, list(pairs)
        growth, crowding = (x[at, weed, data.likely] for x in (data.growth, data.crowding))
        result: np.ndarray = np.log(reserve_after(growth, crowding, np.exp(log)))
        return result

    def _shared(  # noqa: PLR0917
        self,
        field: int,
        year: int,
        into: dict[int, list[tuple[Move, Any]]],
        low: float,
        high: float,
        log: Any | None,
    ) -> dict[int, Any]:
        """The log reserve before a year, shared out among the practices of the year."""
        if high - low <= TINY:
            return {}
        result = {}
        for practice in into:
            part, choice = self.variable(None, None), self.choices[field, year, practice]
            self.row([(part, 1.0), (choice, -low)], ">=", 0.0)
            self.row([(part, 1.0), (choice, -high)], "<=", 0.0)
            result[practice] = part
        self.row([(log, -1.0), *((part, 1.0) for part in result.values())], "=", 0.0)
        return result

    def _lost(  # noqa: PLR0917
        self,
        field: int,
        year: int,
        practice: int,
        weed: int,
        pairs: list[int],
        low: float,
        high: float,
        shares: dict[int, Any],
    ) -> tuple[Any, float]:
        """Share of the yield lost to one weed if the practice is chosen, and the most it can be."""
        choice = self.choices[field, year, practice]
        logs = np.linspace(low, high, POINTS + 1)
        curve = loss_curve(self.data, self.data.fields[field], practice, weed, pairs, logs)
        least, most = curve.min(axis=0), float(curve.max())
        variable = self.variable()
        self.row([(variable, 1.0), (choice, -most)], "<=", 0.0)
        if high - low <= TINY:
            self.row([(variable, 1.0), (choice, -float(least[0]))], ">=", 0.0)
            return variable, most
        # the loss grows with the reserve, so no value between two points is below the left one
        for slope, level in under(logs, np.append(least[0], least[:-1])):
            self.row([(variable, 1.0), (choice, -level), (shares[practice], -slope)], ">=", 0.0)
        return variable, most

    # ------------------------------------------------------------ the farm

    def _limits(self) -> None:
        data, program = self.data, self.program
        self.recourse = [self.variable(0.0, v.upper) for v in program.variables]
        for row in program.rows:
            terms = [(v, c * k) for at, k in row.plan.items() for v, c in self.terms.get(at, [])]
            terms += [(self.recourse[n], value) for n, value in row.recourse.items()]
            if terms:
                self.row(merged(terms), ">=" if row.sense > 0 else "<=", row.rhs)
            elif (row.rhs > 0) if row.sense > 0 else (row.rhs < 0):
                self.row([(self.variable(0.0, 0.0), 1.0)], ">=", 1.0)  # cannot be kept
        target = []
        for year in range(data.years):
            at = program.space.at("money", year)
            target += [(v, -float(data.discount[year]) * c) for v, c in self.terms[at]]
        target += [
            (variable, -float(data.discount[v.year] * v.money))
            for variable, v in zip(self.recourse, program.variables, strict=True)
            if v.money
        ]
        self.problem.setObjective(pulp.LpAffineExpression(merged(target)))
        self.spent = float(data.discount.sum()) * data.limits.fixed_cost

    def solve(self, whole: bool, seconds: float) -> tuple[float | None, float | None, np.ndarray | None]:
        """Value of the best solution, bound (both as money), values of all variables."""
        for choice in self.choices.values():
            choice.cat = pulp.LpInteger if whole else pulp.LpContinuous  # from 0 to 1 either way
        solver = pulp.HiGHS(
            mip=whole,
            msg=False,
            threads=1,
            timeLimit=max(0.1, seconds),
            gapRel=1e-7 if whole else None,
            random_seed=1,
            log_to_console=False,
        )
        self.problem.solve(solver)
        model = self.problem.solverModel
        info, solution = model.getInfo(), model.getSolution()
        optimal = "optimal" in str(model.modelStatusToString(model.getModelStatus())).lower()
        has = int(info.primal_solution_status) == 2 and (whole or optimal)
        value = -float(info.objective_function_value) - self.spent if has else None
        bound = value
        if whole:
            bound = -float(info.mip_dual_bound) - self.spent
            bound = bound if np.isfinite(bound) else None
        return value, bound, np.asarray(solution.col_value, dtype=float) if has else None

    def paths(self, values: np.ndarray) -> tuple[tuple[int, ...], ...]:
        """The plan of a whole solution."""
        result = np.full((len(self.data.fields), self.data.years), NOT_FARMED, np.int64)
        for (field, year, practice), choice in self.choices.items():
            if values[choice.index] > 0.5:
                result[field, year] = practice
        return tuple(tuple(int(p) for p in row) for row in result)


def merged(terms: Sequence[tuple[Any, float]]) -> list[tuple[Any, float]]:
    """Terms with each variable once."""
    sums: dict[int, tuple[Any, float]] = {}
    for variable, value in terms:
        sums[id(variable)] = (variable, sums.get(id(variable), (variable, 0.0))[1] + value)
    return [(variable, value) for variable, value in sums.values() if value]


def loss_curve(  # noqa: PLR0917
    data: SelectionData, land: FieldData, practice: int, weed: int, pairs: Sequence[int], logs: np.ndarray
) -> np.ndarray:
    """Share of the yield lost to one weed with each of some pairs at some log reserves: (pairs, logs)."""
    at, draw = list(pairs), data.likely
    growth, crowding, shoots = (
        x[at, weed, draw][:, None] for x in (data.count_growth, data.count_crowding, data.count_shoots)
    )
    counted = reserve_after(growth, crowding, np.exp(logs)[None, :])
    strength = data.loss_index[practice, weed] * shoots * counted ** data.shoot_power[weed, draw]
    most = float(data.loss_most[practice, weed])
    part = strength / (1.0 + strength / most) if most > 0 else np.zeros_like(strength)
    result: np.ndarray = float(land.infested_share[weed]) * np.minimum(part, 1.0)
    return result


def under(x: np.ndarray, y: np.ndarray) -> list[tuple[float, float]]:
    """A few straight lines (slope, level) of the lower convex hull of points, x in order."""
    hull: list[tuple[float, float]] = []
    for point in zip(x.tolist(), y.tolist(), strict=True):
        while len(hull) >= 2:
            (x0, y0), (x1, y1) = hull[-2:]
            if (y1 - y0) * (point[0] - x0) < (point[1] - y0) * (x1 - x0):
                break
            hull.pop()
        if hull and point[0] - hull[-1][0] <= TINY:
            hull[-1] = (hull[-1][0], min(hull[-1][1], point[1]))
        else:
            hull.append(point)
    lines = [
        ((y1 - y0) / (x1 - x0), y0 - (y1 - y0) / (x1 - x0) * x0) for (x0, y0), (x1, y1) in pairwise(hull)
    ]
    if not lines:
        return [(0.0, hull[0][1])]
    places = np.unique(np.linspace(0, len(lines) - 1, LINES).round().astype(int))
    return [lines[n] for n in places]


def run_reference(
    model: type[Model], data: SelectionData, time_limit: float, *, relaxation: bool = True
) -> Reference:
    """Build a reference model, solve its relaxation, then search for whole fields.

    Parameters
    ----------
    time_limit : float
        For building and searching; the relaxation is solved apart in the same time once more. [s]
    relaxation : bool
        Whether the relaxation is wanted by itself.
    """
    began = time.perf_counter()
    try:
        built = model(data, began + time_limit)
    except TooLate:
        took = time.perf_counter() - began
        return Reference(
            bound=None, proven=None, bound_seconds=took, seconds=took, paths=None, claimed=None, exact=None,
            breaks=(), rows=0, columns=0,
        )  # fmt: skip
    building = time.perf_counter() - began
    bound = built.solve(False, time_limit)[1] if relaxation else None
    bound_seconds = time.perf_counter() - began
    began = time.perf_counter()
    claimed, proven, values = built.solve(True, time_limit - building)
    seconds = building + time.perf_counter() - began
    paths = built.paths(values) if values is not None else None
    figures = evaluate(data, paths) if paths is not None else None
    return Reference(
        bound=bound,
        proven=proven,
        bound_seconds=bound_seconds,
        seconds=seconds,
        paths=paths,
        claimed=claimed,
        exact=figures.present_value if figures else None,
        breaks=figures.breaks if figures else (),
        rows=built.rows,
        columns=built.count,
    )


def compact(data: SelectionData, time_limit: float, *, relaxation: bool = True) -> Reference:
    """The compact assignment program; see the head of this file."""
    return run_reference(Model, data, time_limit, relaxation=relaxation)
