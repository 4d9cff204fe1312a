"""The closed-form score of plans against the linear program in which limits may be broken at a price.

The score chooses what is done about each limit without looking at the least cash, so with a least cash a
year it may be dearer than the linear program, never cheaper.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from strategies import random_data

from rotation_opt.arrays import SelectionData
from rotation_opt.features import features
from rotation_opt.formulate import Program
from rotation_opt.scoring import Scoring
from rotation_opt.sequences import Grower
from rotation_opt.solver import problem, run

FINE = 1e6  # for breaking a limit by its own scale: dearer than anything a tonne or an hour can bring
SOME = 30  # sequences a field


def farm(seed: int, cash: bool) -> SelectionData:
    """All kinds of limits at once, the herd and capped hire among them."""
    data = random_data(seed, fields=3, years=3, practices=5, tight=1.0)
    area, limits = sum(land.area_ha for land in data.fields), data.limits
    limits = replace(
        limits,
        hire_extra_h=np.array([0.3 * area, 0.0]),
        feed_need_t=0.5 * area,
        labour_h=2.0 * limits.labour_h,
        largest=tuple(replace(share, share=0.9) for share in limits.largest),
        least=tuple(replace(share, share=0.02) for share in limits.least),
        outlets=tuple(replace(each, least_t=0.0 * each.least_t) for each in limits.outlets),
        cash_floor=limits.cash_floor if cash else -np.inf,
    )
    return replace(data, limits=limits)


@dataclass
class Scored:
    """Sequences of a farm as columns, and the score over them."""

    data: SelectionData

    def __post_init__(self) -> None:
        data = self.data
        self.program = program = Program(data, data.limits, float(data.fields[0].area_ha))
        grower = Grower(data)
        plan_cost, self.recourse_cost = program.money_objective()
        needs, costs, owners = [], [], []
        worth = grower.worth(program.prices(plan_cost, np.zeros(len(program.rows))))
        for field in range(len(data.fields)):
            pool = grower.grow(field, worth, width=10**6, keep=10**6).pool
            step = max(1, len(pool) // SOME)
            values = features(data, program.space, pool)[::step]
            needs.append(program.need(values).T)
            costs.append(values @ plan_cost)
            owners.append(np.full(len(values), field))
        self.need, self.cost, self.field = np.vstack(needs), np.concatenate(costs), np.concatenate(owners)
        # what the linear program never breaks is dearer still
        fine = np.array([FINE / row.scale if row.words else 10.0 * FINE for row in program.rows])
        self.scoring = Scoring(
            program,
            self.recourse_cost,
            fine,
            data.discount,
            least_need=sum(need.min(axis=0) for need in needs),
            most_need=sum(need.max(axis=0) for need in needs),
        )

    def plan(self, rng: np.random.Generator) -> np.ndarray:
        return np.array([rng.choice(np.flatnonzero(self.field == f)) for f in range(len(self.data.fields))])

    def score(self, plan: np.ndarray) -> float:
        scoring, total = self.scoring, self.need[plan].sum(axis=0)
        cash = np.zeros((1, 0))
        if len(scoring.cash):
            cash = (total[scoring.cash] + scoring.linear_money @ total + scoring.base_money)[None, :]
        rest = scoring.score(total[scoring.rows][None, :], cash)[0]
        return float(self.cost[plan].sum() + total @ scoring.linear + scoring.base + rest)

    def sharpen(self, plan: np.ndarray) -> bool:
        return self.scoring.sharpen(self.need[plan].sum(axis=0)[self.scoring.rows])

    def exact(self, plan: np.ndarray) -> tuple[float, bool]:
        """Cost by the linear program, and whether the plan keeps its limits."""
        built = problem(
            self.program,
            self.need[plan].T,
            self.cost[plan],
            self.recourse_cost,
            self.field[plan],
            integer=False,
            slack="free",
            slack_cost=FINE,
        )
        outcome = run(built, integer=False)
        assert outcome.status == "optimal"
        return outcome.objective, bool(outcome.slack.max(initial=0.0) <= 1e-7)


def close(value: float) -> float:
    return 1e-6 * abs(value) + 1e-3


SEARCH = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@SEARCH
@given(st.integers(0, 2**31))
def test_without_a_least_cash_the_score_is_never_too_dear_and_exact_once_sharpened(seed: int) -> None:
    farmed, rng = Scored(farm(seed, cash=False)), np.random.default_rng(seed)
    farmed.sharpen(farmed.plan(rng))  # a group without any line yet counts nothing
    for _ in range(4):
        plan = farmed.plan(rng)
        exact, kept = farmed.exact(plan)
        assert not kept or farmed.score(plan) <= exact + close(exact)
        farmed.sharpen(plan)
        assert not kept or farmed.score(plan) == pytest.approx(exact, abs=close(exact))
        assert not farmed.sharpen(plan)


@SEARCH
@given(st.integers(0, 2**31))
@example(257)  # two plans on one line, with other money in hand
def test_with_a_least_cash_the_sharpened_score_is_never_too_kind(seed: int) -> None:
    farmed, rng = Scored(farm(seed, cash=True)), np.random.default_rng(seed)
    assert len(farmed.scoring.cash) == 3
    for _ in range(4):
        plan = farmed.plan(rng)
        farmed.sharpen(plan)
        exact, kept = farmed.exact(plan)
        assert not kept or farmed.score(plan) >= exact - close(exact)


@SEARCH
@given(st.integers(0, 2**31))
def test_no_plan_scores_less_than_a_tangent_and_the_plan_it_touches_no_more(seed: int) -> None:
    farmed, rng = Scored(farm(seed, cash=False)), np.random.default_rng(seed)
    scoring, plans = farmed.scoring, [farmed.plan(rng) for _ in range(5)]
    farmed.sharpen(plans[0])
    needs = [farmed.need[plan].sum(axis=0)[scoring.rows] for plan in plans]
    scores = scoring.score(np.array(needs), np.zeros((len(needs), 0)))
    for touched, need in enumerate(needs):
        slope, start = scoring.tangent(need)
        if np.isfinite(start):  # a cap that is cheaper to break than to keep gives no line
            assert slope @ need + start == pytest.approx(scores[touched], abs=close(scores[touched]))
        assert all(slope @ n + start <= score + close(score) for n, score in zip(needs, scores, strict=True))


def test_plans_that_cost_less_than_is_asked_are_scored_as_ever_and_others_no_less() -> None:
    farmed, rng = Scored(farm(1, cash=True)), np.random.default_rng(1)
    scoring, plans = farmed.scoring, [farmed.plan(rng) for _ in range(30)]
    farmed.sharpen(plans[0])
    totals = np.array([farmed.need[plan].sum(axis=0) for plan in plans])
    money = totals[:, scoring.cash] + totals @ scoring.linear_money.T + scoring.base_money
    have = money - np.quantile(money, 0.7, axis=0) + scoring.program.rhs[scoring.cash]
    full = scoring.score(totals[:, scoring.rows], have)
    below = np.full(len(full), np.median(full))
    some = scoring.score(totals[:, scoring.rows], have, below)
    assert some[full < below] == pytest.approx(full[full < below])
    assert (some[full >= below] >= below[full >= below]).all()
    assert (some < full - 1.0).any()  # what they are short of cash was left out


def test_every_kind_of_group_occurs_and_plans_are_scored_apart() -> None:
    kinds, spread = np.zeros(3, int), []
    for seed in range(6):
        farmed, rng = Scored(farm(seed, cash=False)), np.random.default_rng(seed)
        kinds += [len(farmed.scoring.bends), len(farmed.scoring.pooled), len(farmed.scoring.groups)]
        assert any("stored" in str(v.key[0]) for v in farmed.program.variables)
        spread.append(np.ptp([farmed.score(farmed.plan(rng)) for _ in range(5)]))
    assert (kinds > 0).all()
    assert min(spread) > 1.0


def test_where_the_least_cash_is_far_away_it_costs_nothing() -> None:
    seen = 0
    for seed in range(6):
        rng, data = np.random.default_rng(seed), farm(seed, cash=True)
        farmed = Scored(replace(data, limits=replace(data.limits, cash_floor=-1e7)))
        for _ in range(4):
            plan = farmed.plan(rng)
            farmed.sharpen(plan)
            exact, kept = farmed.exact(plan)
            assert not kept or farmed.score(plan) == pytest.approx(exact, abs=close(exact))
            seen += kept
    assert seen >= 5


def test_a_least_cash_out_of_reach_is_charged_year_by_year() -> None:
    charged = 0
    for seed in range(10):
        rng, data = np.random.default_rng(seed), farm(seed, cash=True)
        farmed = Scored(data)
        free = Scored(replace(data, limits=replace(data.limits, cash_floor=-np.inf)))
        for _ in range(4):
            plan = farmed.plan(rng)
            farmed.sharpen(plan)
            without, kept = free.exact(plan)
            exact, _ = farmed.exact(plan)
            if kept and exact > without + 10.0:
                charged += 1
                assert farmed.score(plan) > without + 10.0
    assert charged
