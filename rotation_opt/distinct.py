"""Plans worth almost as much as the best one that look quite different on the land.

The distance between two plans is a sum over fields, so it enters the search as a reward on every sequence
that grows another crop; the reward is raised until the plan is different enough. What comes out is reckoned
anew, and counts only if it keeps all limits and gives up little enough money.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .arrays import NOT_FARMED, Floats, Integers, SelectionData
from .brake import Brake
from .columns import Paths, rank_in_field
from .formulate import Figures, Program
from .local_search import LocalSearch
from .pricing import Pricing
from .scoring import penalties, scoring_of
from .select import Selected, evaluate, grower_of

WIDTH, GROWN = 300, 60  # branches and sequences of a field for each reward
KEEP = 120  # sequences of a field that a search looks at
ROUNDS = 4  # times that fields are pushed off their sequences, for each reward
TURNS = 10
HARDER = 4.0  # penalties after a plan that breaks a limit
RAISE, LOWER = 1.6, 0.75
PENALTY = 0.01  # of the whole value, for breaking a limit by its own scale
PENALTY_OF_PRICE = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Different:
    """What was found.

    Parameters
    ----------
    paths, figures : Paths, Figures or None
        None if no plan was different enough.
    loss : float
        Share of the best plan's money that the plan gives up.
    distance : float
        Least share of the area-years under another crop, against all plans it was held against.
    gap : float or None
        Share of its money by which a plan as different can bring more at most, as no plan at all brings more
        than the bound of the best plan; None if that is not known.
    reached : float
        Largest such share among all plans met that give up little enough money and keep all limits.
    cut_short : bool
    """

    paths: Paths | None
    figures: Figures | None
    loss: float
    distance: float
    reached: float
    cut_short: bool
    gap: float | None = None

    def turned_round(self, base: Selected, better: Selected) -> Different:
        """Where this plan has more money than the one it was held against: that one as the other way."""
        worth, most = base.figures.worth, better.figures.worth
        return replace(
            self,
            paths=base.paths,
            figures=base.figures,
            loss=(most - worth) / max(abs(most), 1e-9),
            gap=gap_of_money(better.bound, worth),
        )


def crop_distance(data: SelectionData, one: Sequence[Sequence[int]], other: Sequence[Sequence[int]]) -> float:
    """Share of the farmed area-years on which two plans grow another crop.

    By crops (``crop_of``), where `alternatives.distance` counts types of crop: another cereal of the same
    type is another crop here. Years not farmed in either do not count.
    """
    changed = farmed = 0.0
    for land, mine, theirs in zip(data.fields, one, other, strict=True):
        years = _other_years(data, np.array([mine]), theirs)
        changed += land.area_ha * float(years[0])
        farmed += land.area_ha * sum(NOT_FARMED not in pair for pair in zip(mine, theirs, strict=True))
    return changed / farmed if farmed else 0.0


def _other_years(data: SelectionData, paths: NDArray[np.integer], path: Sequence[int]) -> Floats:
    """(n,): years in which each path of a field grows another crop than ``path``."""
    held = np.array(path)
    both = (paths != NOT_FARMED) & (held != NOT_FARMED)
    result: Floats = (both & (data.crop_of[paths] != data.crop_of[held])).sum(axis=1).astype(float)
    return result


def different(
    data: SelectionData,
    base: Selected,
    earlier: Sequence[Paths] = (),
    *,
    loss: float = 0.02,
    share: float = 0.4,
    time_limit: float = 60.0,
    pulled: Callable[[], bool] = lambda: False,
) -> Different:
    """A plan worth almost as much as ``base`` with other crops on much of the land.

    Parameters
    ----------
    base : Selected
        The plan with most money.
    earlier : sequence of Paths
        Other plans that it has to be as different from.
    loss : float
        Most money given up, as a share of that of ``base``.
    share : float
        Least share of the farmed area-years under another crop than in ``base`` and each earlier plan.
    time_limit : float
        Emergency brake. [s]
    pulled : callable
        Asked now and then whether to stop.
    """
    brake = Brake(time_limit, pulled)
    plans = (base.paths, *earlier)
    pricing = _priced(data, base, brake)
    columns = pricing.columns
    worth = base.figures.worth
    rewards = np.full(len(plans), loss * max(abs(worth), 1.0) / share / len(plans))
    met: dict[Paths, tuple[Figures, float, float]] = {}
    at, harder = columns.place(base.paths), 1.0
    for _ in range(TURNS):
        if brake():
            break
        _grow(pricing, plans, rewards)
        paid = rewards @ _away(data, pricing, plans)
        rank = pricing.reduced_costs() - paid
        search = LocalSearch(
            scoring_of(pricing, harder * penalties(pricing, PENALTY_OF_PRICE, PENALTY)),
            need=columns.need,
            cost=columns.cost - paid,
            field=columns.field,
            columns=_first(rank, columns.field, at),
            rank=rank,
        )
        search.stand(at)
        search.run(ROUNDS, brake)
        at = search.plan
        paths = columns.paths(at)
        if paths not in met:
            figures = evaluate(data, paths, program=pricing.program)
            given_up = (worth - figures.worth) / max(abs(worth), 1e-9)
            met[paths] = (figures, given_up, min(crop_distance(data, paths, plan) for plan in plans))
        if met[paths][0].breaks:
            harder *= HARDER
            continue
        far = np.array([crop_distance(data, paths, plan) for plan in plans])
        rewards *= np.where(far < share, RAISE, LOWER)
    if not any(not f.breaks and given_up <= loss and far >= share for f, given_up, far in met.values()):
        _put_back(data, base, plans, met, loss=loss, share=share, brake=brake)
    fit = {p: each for p, each in met.items() if not each[0].breaks and each[1] <= loss}
    reached = max((far for _, _, far in fit.values()), default=0.0)
    enough = [p for p, (_, _, far) in fit.items() if far >= share]
    if not enough:
        return Different(
            paths=None, figures=None, loss=0.0, distance=0.0, reached=reached, cut_short=brake.on
        )
    best = min(enough, key=lambda p: fit[p][1])
    figures, given_up, far_off = fit[best]
    return Different(
        paths=best,
        figures=figures,
        loss=given_up,
        distance=far_off,
        reached=reached,
        cut_short=brake.on,
        gap=gap_of_money(base.bound, figures.worth),
    )


def _put_back(
    data: SelectionData,
    base: Selected,
    plans: Sequence[Paths],
    met: dict[Paths, tuple[Figures, float, float]],
    *,
    loss: float,
    share: float,
    brake: Brake,
) -> None:
    """Plans between the best one and those different enough but too dear: one field after another put back.

    Rewards alone leap over them where they are worth less than a mean of the two.
    """
    worth = base.figures.worth
    dear = [p for p, (f, given_up, far) in met.items() if given_up > loss and far >= share and not f.breaks]
    for paths in sorted(dear, key=lambda p: met[p][1]):
        at = paths
        while met[at][1] > loss and not brake():
            steps = [
                (*at[:field], own, *at[field + 1 :])
                for field, own in enumerate(base.paths)
                if at[field] != own
            ]
            for step in steps:
                far = min(crop_distance(data, step, plan) for plan in plans)
                if step not in met and far >= share:
                    figures = evaluate(data, step)
                    met[step] = (figures, (worth - figures.worth) / max(abs(worth), 1e-9), far)
            kept = [step for step in steps if step in met and met[step][2] >= share]
            kept = [step for step in kept if not met[step][0].breaks]
            if not kept:
                break
            at = min(kept, key=lambda step: met[step][1])


def gap_of_money(bound: float | None, money: float) -> float | None:
    """How far the money of a plan is from what no plan passes, as a share of it; None if not known."""
    return None if bound is None else max(0.0, bound - money) / max(abs(money), 1e-9)


def _priced(data: SelectionData, base: Selected, brake: Brake) -> Pricing:
    """Sequences near the best for money, of every field."""
    program = Program(data, data.limits)
    pricing = Pricing(grower_of(data), program, program.money_objective(), base.pools, brake)
    pricing.solve()
    return pricing


def _grow(pricing: Pricing, plans: Sequence[Paths], rewards: Floats) -> None:
    """More sequences of every field: the best where the crops of the plans cost the reward."""
    data, grower = pricing.data, pricing.grower
    prices = pricing.program.prices(pricing.plan_cost, pricing.duals)
    each = rewards / sum(land.area_ha * float(land.farmed.sum()) for land in data.fields)
    for field in np.flatnonzero(~pricing.columns.complete).tolist():
        land = prices.land.copy()
        for plan, reward in zip(plans, each, strict=True):
            for year, practice in enumerate(plan[field]):
                if practice != NOT_FARMED:
                    land[year, data.crop_of == data.crop_of[practice]] += reward
        worth = grower.worth(replace(prices, land=land))
        grown = grower.grow(field, worth, width=WIDTH, keep=GROWN, figures=False)
        pricing.columns.add(field, grown.pool.paths)


def _first(rank: Floats, field: Integers, plan: Sequence[int]) -> Integers:
    """The ``KEEP`` columns of each field of least rank, and those of a plan."""
    return np.union1d(np.flatnonzero(rank_in_field(rank, field) < KEEP), np.array(plan, np.int64))


def _away(data: SelectionData, pricing: Pricing, plans: Sequence[Paths]) -> Floats:
    """(plans, n): share of the farm's area-years that each sequence puts under another crop."""
    columns = pricing.columns
    field = columns.field
    paths = columns.array(np.arange(len(columns)))
    total = sum(land.area_ha * float(land.farmed.sum()) for land in data.fields)
    result = np.zeros((len(plans), len(columns)))
    for number, plan in enumerate(plans):
        for place, land in enumerate(data.fields):
            mine = field == place
            result[number, mine] = land.area_ha * _other_years(data, paths[mine], plan[place]) / total
    return result
