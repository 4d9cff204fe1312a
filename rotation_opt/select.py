"""Chooses one sequence for every field, and reckons the figures of any plan.

Sequences are priced in, never listed: see `pricing`. The value of the linear program bounds every plan; whole
fields are found by exchanging sequences in closed form, then by the solver among near-best sequences; where
every sequence that could still improve on the plan fits into the program, the plan is proven best.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from dataclasses import fields as dataclass_fields
from typing import Literal

import numpy as np

from .arrays import NOT_FARMED, Floats, Limits, SelectionData
from .brake import Brake
from .clash import broken, clash
from .columns import Paths
from .errors import NoPlanError
from .features import features
from .formulate import Figures, Goal, Program, Recourse
from .kept_bound import KeptBound
from .nearby import Nearby
from .pricing import Pricing
from .sequences import Grower, Pool, trace
from .solver import problem, run
from .whole_fields import whole_fields

TINY = 1e-7
FIRST_GAP = 2e-3


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
        those of the first step, before money is looked for among the cleanest. Where bad years count it is
        beyond the plan by as much as a better one could be by the rows of the program.
    gap : float or None
        ``|bound - value| / |value|``; for least burden against at least 1 % of the burden at the start.
    burden_most : float or None
        Most burden that a plan could have when money was looked for. [ha of full-strength stand]
    money_bound : float or None
        No plan with a burden of at most ``burden_most`` brings more money of today; None if not known.
    asked : SelectionData
        The farm with the limits and the fields that all this is true for.
    kept : KeptBound or None
        The bound of the linear program for other limits; only for most money.
    figures : Figures
    pools : tuple of Pool
        To hand to the next call: a later goal starts from them.
    cut_short : bool
        Whether the search was ended before its work was done.
    bound_seconds, seconds : float
        Until the bound of the linear program was known, and in all. [s]
    """

    paths: Paths
    value: float
    bound: float | None
    gap: float | None
    burden_most: float | None
    money_bound: float | None
    asked: SelectionData
    kept: KeptBound | None
    figures: Figures
    pools: tuple[Pool, ...]
    rounds: int
    columns: int
    cut_short: bool
    bound_seconds: float
    seconds: float


def select(
    data: SelectionData,
    goal: Goal,
    *,
    limits: Limits | None = None,
    pools: Sequence[Pool] = (),
    time_limit: float = 120.0,
    gap: float = 2e-4,
    quick: bool = False,
    kept: KeptBound | None = None,
    pulled: Callable[[], bool] = lambda: False,
) -> Selected:
    """Choose one sequence for every field.

    Parameters
    ----------
    limits : Limits, optional
        Other limits than the farm's own (what-ifs).
    pools : sequence of Pool
        Sequences met before for the same data.
    time_limit : float
        Emergency brake: the search ends by the work it has to do, usually long before. [s]
    gap : float
        Share of the value at which the search for whole fields may stop.
    quick : bool
        A short search from the plans in ``pools``, for questions asked one after another.
    kept : KeptBound, optional
        From a search for most money that had the same fields, or more allowed on them, and other limits.
        A quick search then proves little more than what it says about these limits.
    pulled : callable
        Asked now and then whether to stop; the best plan so far is then returned with its gap.

    Raises
    ------
    NoPlanError
        If no plan meets all limits; names the clashing limits in words.
    """
    began = time.perf_counter()
    brake = Brake(time_limit, pulled)
    used = data.limits if limits is None else limits
    grower = grower_of(data)
    steps = _Steps(grower, brake, tuple(pools), quick)
    most, first = goal.burden_most, None
    spent = float(data.discount.sum()) * used.fixed_cost
    if goal.kind == "least_burden":
        program = Program(data, used, most)
        if not any(pool.plans for pool in pools):
            # the cleanest sequences alone rarely fill contracts: start from a plan that does
            steps.take(program, program.money_objective(), FIRST_GAP)
        first = steps.take(program, program.burden_objective(), gap)
        cleanest = evaluate(data, first.paths, limits=used)
        near = weighted_burden(data, cleanest) * (1.0 + goal.slack) + 1e-6
        most = near if most is None else min(most, near)
    program = Program(data, used, most)
    known = -np.inf
    if kept is not None and first is None:
        known = kept.under(Program(data, used, most, every_row=True))
    # money among the cleanest only decides between plans that are as good: a short search will do
    last = steps.take(program, program.money_objective(), gap, spent, known, brief=first is not None)
    figures = evaluate(data, last.paths, limits=used, program=program if most is None else None)
    # the rows see bad years more simply than the plan is settled: what is left to gain there is what is told
    apart = figures.regret - _regret_of_rows(used, figures)
    money_bound = -last.bound - spent - apart
    if first is None:
        value, bound = figures.worth, money_bound
    else:
        value, bound = first.value, first.bound
    proven = np.isfinite(bound)
    return Selected(
        paths=last.paths,
        value=value,
        bound=bound if proven else None,
        gap=gap_of(data, goal, value, bound) if proven else None,
        burden_most=most,
        money_bound=money_bound if np.isfinite(money_bound) else None,
        asked=replace(data, limits=used),
        kept=kept if kept is not None or first is not None else _kept(program, last),
        figures=figures,
        pools=steps.pools,
        rounds=steps.rounds,
        columns=sum(len(pool) for pool in steps.pools),
        cut_short=brake.on,
        bound_seconds=steps.bound_seconds,
        seconds=time.perf_counter() - began,
    )


_last_growers: list[Grower] = []


def grower_of(data: SelectionData) -> Grower:
    """The grower of the search before where it was for the same fields: it knows nothing of limits."""
    for kept in _last_growers:
        if all(
            getattr(kept.data, each.name) is getattr(data, each.name)
            for each in dataclass_fields(data)
            if each.name != "limits"
        ):
            return kept
    return go_on_with(Grower(data))


def go_on_with(grower: Grower) -> Grower:
    """Let the searches that follow for the same fields use a grower."""
    _last_growers[:] = [grower]
    return grower


@dataclass(slots=True)
class _Step:
    paths: Paths
    value: float
    bound: float
    duals: Floats
    priced: float  # bound at these duals


def _kept(program: Program, step: _Step) -> KeptBound | None:
    """What the linear program of a step for most money says of other limits."""
    if not np.isfinite(step.priced):
        return None
    return KeptBound.of(program, step.duals[None, :], np.array([step.priced]))


class _Steps:
    """One search after another, each starting from what the earlier ones met."""

    def __init__(self, grower: Grower, brake: Brake, pools: tuple[Pool, ...], quick: bool) -> None:
        self.grower, self.brake, self.pools, self.quick = grower, brake, pools, quick
        self.rounds, self.bound_seconds = 0, 0.0

    def take(
        self,
        program: Program,
        objective: tuple[Floats, Floats],
        gap: float,
        spent: float = 0.0,
        known: float = -np.inf,
        *,
        brief: bool = False,
    ) -> _Step:
        """The best plan of one program and one objective; no plan costs less than ``known``."""
        began = time.perf_counter()
        close = self.quick and np.isfinite(known)
        pricing = (Nearby if close else Pricing)(self.grower, program, objective, self.pools, self.brake)
        if isinstance(pricing, Nearby):
            pricing.known = known
        if not pricing.solve():
            if self.brake.on:
                raise NoPlanError("The search was stopped before a plan was found.")
            raise clash(pricing)
        self.bound_seconds += time.perf_counter() - began
        duals, priced = pricing.duals, pricing.last_bound
        found = whole_fields(pricing, gap, spent, "quick" if self.quick else "brief" if brief else "full")
        self.rounds += pricing.rounds
        self.pools = pricing.columns.pools(pricing.reduced_costs())
        return _Step(pricing.columns.paths(found.columns), found.value, found.bound, duals, priced)


def improved(data: SelectionData, chosen: Selected, paths: Paths, figures: Figures) -> Selected:
    """The plan with most money, or one that was met later and is worth more: what was proven holds for it."""
    value = figures.worth
    if value <= chosen.figures.worth:
        return chosen
    bound = None if chosen.bound is None else max(chosen.bound, value)
    gap = None if bound is None else gap_of(data, Goal(kind="most_money"), value, bound)
    return replace(chosen, paths=paths, figures=figures, value=value, bound=bound, gap=gap)


def gap_of(data: SelectionData, goal: Goal, value: float, bound: float) -> float:
    """How far a plan is from a bound, as in `Selected.gap`."""
    size = abs(value)
    if goal.kind == "least_burden":
        size = max(size, 0.01 * float(start_burden(data).max()))
    return abs(bound - value) / max(size, TINY)


def start_burden(data: SelectionData) -> Floats:
    """Burden at the last harvest before the plan, by draw. [ha of full-strength stand]"""
    total = np.zeros(len(data.draws))
    for land in data.fields:
        total += land.area_ha * (data.burden_weight * land.infested_share) @ land.start_reserve
    return total


def weighted_burden(data: SelectionData, figures: Figures) -> float:
    """Likely burden, the years weighted as in `Goal`. [ha of full-strength stand]"""
    return float(data.burden_when @ figures.burden[:, data.likely])


def evaluate(
    data: SelectionData,
    paths: Sequence[Sequence[int]],
    *,
    limits: Limits | None = None,
    program: Program | None = None,
) -> Figures:
    """Figures of a fixed plan; limits it does not keep are listed in words, not forbidden.

    What the farm does with the plan's work and tonnes is chosen for the most money; where limits must be
    broken, by as little as possible first. ``program`` is that of these limits, where it is at hand.
    """
    used = data.limits if limits is None else limits
    program = Program(data, used) if program is None else program
    space = program.space
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
    chosen = _eaten_or_stored(program.values(values), used)
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
    found = Figures(
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
        left=data.weeds_left_price * float(burden[-1, data.likely]),
    )
    return replace(found, regret=_regret(data, used, found))


def _eaten_or_stored(chosen: Recourse, limits: Limits) -> Recourse:
    """The same without hay that is worth nothing: fed beyond the need, or kept and neither fed nor stored.

    The rows of the program leave it open where such hay goes.
    """
    fed = np.minimum(chosen.fed_t, limits.feed_need_t)
    carried = (1.0 - limits.storage_loss) * chosen.stored_t[:-1]
    from_store = np.concatenate([[limits.stored_now_t], carried])
    wanted = np.maximum(fed + chosen.stored_t - from_store, 0.0)
    kept = chosen.kept_t.sum(axis=1)
    part = np.minimum(wanted / np.where(kept > 0.0, kept, 1.0), 1.0)
    return replace(chosen, fed_t=fed, kept_t=chosen.kept_t * part[:, None])


def _regret(data: SelectionData, limits: Limits, figures: Figures) -> float:
    """What the worst runs of prices and yields count against a plan."""
    risk = limits.downside
    if risk is None or risk.weight <= 0.0:
        return 0.0
    if risk.settled is None:
        return _regret_of_rows(limits, figures)
    return risk.weight * (figures.present_value - risk.settled(data, limits, figures))


def _regret_of_rows(limits: Limits, figures: Figures) -> float:
    """The same as the rows of the program see it."""
    risk = limits.downside
    if risk is None or risk.weight <= 0.0:
        return 0.0
    lines = risk.start + np.einsum("atk,tk->a", risk.change, figures.tonnes)
    return -risk.weight * float(lines.min())


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
