"""The selection program: one sequence for every field, under the limits of the whole farm."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from rotation_opt.sequences import Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Goal:
    """What a plan is chosen for.

    Parameters
    ----------
    kind : {"most_money", "least_burden"}
        Most money: discounted net return over the plan years. Least burden: burden on 1 November after the
        last harvest (ha of full-strength stand, likely draw) plus ``mean_weight`` times its mean over the
        years; then most money among plans within ``slack`` of that least.
    burden_most : float, optional
        Most burden at the end of the plan, in ha of full-strength stand.
    """

    kind: Literal["most_money", "least_burden"]
    burden_most: float | None = None
    mean_weight: float = 0.05
    slack: float = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class Recourse:
    """What the whole farm does with the work and the tonnes of a plan.

    Calendar years C = T + 1 (index 0 = the autumn before the first plan year), half-months H = 24.
    """

    sold_t: Floats  # (O, T) to named outlets
    open_t: Floats  # (T, K) sold at the open price
    kept_t: Floats  # (T, K) kept for the herd
    fed_t: Floats  # (T,)
    bought_t: Floats  # (T,) hay bought
    stored_t: Floats  # (T,) hay in store after the winter's feeding, carried to the next year
    extra_labour_h: Floats  # (C, H)
    hire_extra_h: Floats  # (M, C, H)


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """Whole-farm figures of one plan, recomputed from its sequences."""

    net: Floats  # (T,) net return a year after fixed cost and rent
    present_value: float  # sum of discount * net
    field_money: Floats  # (F, T) cost of each field as a negative number
    sales: Floats  # (T,)
    feed_cost: Floats  # (T,)
    extra_labour_cost: Floats  # (T,)
    hire_cost: Floats  # (T,)
    labour_h: Floats  # (C, H) hours needed
    machine_h: Floats  # (M, C, H)
    hired_ha: Floats  # (M, T)
    made_t: Floats  # (T, K) all that is harvested, landlord's share included
    tonnes: Floats  # (T, K) the grower's
    unsold_t: Floats  # (T, K)
    burden: Floats  # (T, D)
    recourse: Recourse
    breaks: tuple[str, ...]  # limits not kept, in the grower's words
