"""The linear program over all sequences, though only a few are ever written down.

A linear program over few columns gives prices of every limit; the tree of each field is grown at those
prices; better sequences become columns, and so on until no field has one. Its value bounds every plan.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from .arrays import Floats, Integers
from .brake import Brake
from .columns import Columns, rank_in_field
from .errors import NoPlanError
from .formulate import Program
from .sequences import Grower, Pool, bare
from .solver import KeptProgram

TINY = 1e-7
FIRST_WIDTH = 150
ENOUGH = 0.34  # share of the fields that bring new columns before the prices are renewed
WIDTHS = (FIRST_WIDTH, 750, 3750, 12_000)
COLUMNS_A_ROUND = 6
WITHIN = (0.1, 0.25, 0.5, 0.7, 1.0)
ENOUGH_MET = 50  # sequences of every field known from before with which no first ones need be looked for
LISTED = 1500  # a field with no more sequences than this is listed, not priced
MOST_REASONS = 3  # why ways to grow a crop are left out, told where none fits


class Pricing:
    """One program and one objective: columns, prices, and the bound.

    Parameters
    ----------
    grower, program
    objective : (features,), (variables,)
        Cost of features and recourse.
    pools : sequence of Pool
        Sequences met before.
    brake : Brake
        Ends the pricing early; the bound is then not as good as it could be.
    fresh : bool
        Whether to look for first sequences; if not, every field must have some in ``pools``.

    Attributes
    ----------
    bound : float
        No plan costs less; inf if it is proven that there is none.
    met : bool
        Whether all limits can be kept by fields shared between the sequences found.
    """

    def __init__(
        self,
        grower: Grower,
        program: Program,
        objective: tuple[Floats, Floats],
        pools: Sequence[Pool],
        brake: Brake,
        *,
        fresh: bool = True,
    ) -> None:
        self.grower, self.program, self.data = grower, program, grower.data
        self.plan_cost, self.recourse_cost = objective
        self.columns = Columns(grower, program, self.plan_cost)
        self.brake = brake
        self.bound, self.last_bound, self.value = -np.inf, -np.inf, np.inf
        self.rounds, self.met, self.in_program, self.turn = 0, False, 0, 0
        self.duals = np.zeros(len(program.rows))
        self.field_duals = np.zeros(len(self.data.fields))
        self.columns.take_in(pools)
        if fresh:
            self._begin()
        self.master = KeptProgram(program, self.columns.need, self.columns.field)

    def part(self, plan: Sequence[int], free: Sequence[int], near: Integers) -> Pricing:
        """The same program with all fields but some held at a plan.

        Parameters
        ----------
        plan : (F,) columns
        free : fields that choose anew
        near : columns that the free fields start from, beside those of the plan
        """
        held = np.ones(len(self.data.fields), bool)
        held[list(free)] = False
        start = np.union1d(np.array(plan, np.int64), near[~held[self.columns.field[near]]])
        pools = [
            bare(field, self.columns.array(start[self.columns.field[start] == field]), bool(alone))
            for field, alone in enumerate(held)
        ]
        return Pricing(
            self.grower, self.program, (self.plan_cost, self.recourse_cost), pools, self.brake, fresh=False
        )

    def _begin(self) -> None:
        """First sequences: the best for money without farm limits, the cleanest, and between the two."""
        data, limits = self.data, self.program.limits
        met = (
            np.bincount(self.columns.field, minlength=len(data.fields)) if len(self.columns) else np.zeros(1)
        )
        if all(self.columns.complete) or met.min() >= ENOUGH_MET:
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
        worths = [self.grower.worth(prices) for prices in (money, both, clean)]
        for field in np.flatnonzero(~self.columns.complete).tolist():
            found = 0
            for worth, width in zip(worths, (LISTED, FIRST_WIDTH, FIRST_WIDTH), strict=True):
                grown = self.grower.grow(field, worth, width=width, keep=width, figures=False)
                if grown.pool.complete:
                    self.columns.complete[field] = True
                    self.columns.add(field, grown.pool.paths)
                    found = len(grown.pool)
                    break
                self.columns.add(field, grown.pool.paths[: 2 * COLUMNS_A_ROUND])
                found += len(grown.pool)
            if not found:
                name = data.fields[field].name
                raise NoPlanError(
                    f'Nothing that can be grown on field "{name}" makes a rotation.',
                    [f'succession rules, bans and dates on field "{name}"', *data.left_out[:MOST_REASONS]],
                )

    def _price(self, objective: Floats) -> int:
        """One round of growth at the present prices; returns how many columns are new.

        Fields that bring nothing and were not followed to the end are looked at again, wider and wider.
        """
        worth = self.grower.worth(self.program.prices(objective, self.duals))
        tolerance = TINY * max(1.0, abs(self.value))
        short = np.zeros(len(self.data.fields))
        new, pending = 0, np.roll(np.flatnonzero(~self.columns.complete), -self.turn).tolist()
        enough, brought = max(1, int(ENOUGH * len(pending))), 0
        for width in WIDTHS:
            cut = []
            for field in pending:
                least = -float(self.field_duals[field])
                grown = self.grower.grow(
                    field, worth, width=width, keep=COLUMNS_A_ROUND, least=least + tolerance, figures=False
                )
                short[field] = max(tolerance, grown.upper - least)
                fresh = self.columns.add(field, grown.pool.paths)
                new, brought = new + fresh, brought + (fresh > 0)
                if brought >= enough:  # the rest have their turn at better prices; no bound this time
                    self.turn += pending.index(field) + 1
                    self.last_bound = -np.inf
                    return new
                if not grown.exact:
                    cut.append(field)
            pending = cut
            if new or not pending:
                break
        self.last_bound = self.value - float(short.sum())
        return new

    def _generate(self, real: bool) -> None:
        objective = self.plan_cost if real else np.zeros_like(self.plan_cost)
        bound = -np.inf
        while True:
            self.value, self.duals, self.field_duals = self.master.solve()
            self.rounds += 1
            if not real and self.value <= TINY:
                return
            if all(self.columns.complete):
                self.last_bound = bound = self.value
                break
            first = len(self.columns)
            new = self._price(objective)
            bound = max(bound, self.last_bound)
            cost = self.columns.cost[first:]
            self.master.add(
                self.columns.need[first:], cost if real else np.zeros_like(cost), self.columns.field[first:]
            )
            if new == 0 or self.value - bound <= 10 * TINY * max(1.0, abs(self.value)) or self.brake():
                break
        if real:
            self.bound = bound
        elif bound > TINY:
            self.bound = np.inf  # proven: no mixture of sequences keeps all limits

    def solve(self) -> bool:
        """Solve the linear program; False if the limits cannot all be kept."""
        self._generate(False)
        self.met = self.value <= 1e-6
        if self.met:
            self.master.aim(self.columns.cost, self.recourse_cost)
            self._generate(True)
        self.in_program = len(self.columns)
        return self.met

    def reach(self, weights: Floats) -> float:
        """Least weighted amount by which limits are broken, each row's amount counted by its weight."""
        self.master.price_slack(weights)
        self._generate(False)
        return self.value

    # ------------------------------------------------------------ more columns at the final prices

    def reduced_costs(self) -> Floats:
        """(n,): what each sequence would cost the linear program at its final prices."""
        own = self.columns.cost - self.columns.need @ self.duals
        result: Floats = own - self.field_duals[self.columns.field]
        return result

    def enrich(self, width: int, keep: int, duals: Floats | None = None) -> None:
        """Near-best sequences of every field at the final prices, or at others."""
        worth = self.grower.worth(self.program.prices(self.plan_cost, self.duals if duals is None else duals))
        for field in np.flatnonzero(~self.columns.complete).tolist():
            grown = self.grower.grow(field, worth, width=width, keep=keep, figures=False)
            self.columns.add(field, grown.pool.paths)

    def grow_at(self, field: int, prices: Floats, width: int, keep: int) -> None:
        """Near-best sequences of one field at prices (rows,) of what it needs of every limit."""
        if not self.columns.complete[field]:
            worth = self.grower.worth(self.program.prices(self.plan_cost, -prices))
            grown = self.grower.grow(field, worth, width=width, keep=keep, figures=False)
            self.columns.add(field, grown.pool.paths)

    def within(self, room: float, most: int) -> float:
        """Add every sequence whose reduced cost is below some amount, at most ``room``.

        A plan that uses any other sequence costs at least the bound plus that amount. It is chosen so that
        the sequences looked for stay in the order of ``most``.

        Returns
        -------
        float
            The amount; 0 if there are too many sequences even near the bound.
        """
        worth = self.grower.worth(self.program.prices(self.plan_cost, self.duals))
        slack = TINY * max(1.0, abs(self.value))
        fields = np.flatnonzero(~self.columns.complete).tolist()
        reached, kept = (0.0, []) if fields else (room, [])
        for part in WITHIN if fields else ():
            total, found = 0, []
            for field in fields:
                least = -float(self.field_duals[field]) - part * room - slack
                grown = self.grower.grow(field, worth, width=most, keep=most, least=least, figures=False)
                total += len(grown.pool)
                if not grown.exact or total > most:
                    break
                found.append((field, grown.pool.paths))
            if len(found) < len(fields):
                break
            reached, kept = part * room, found
        for field, paths in kept:
            self.columns.add(field, paths)
        return reached

    def nearest(self, count: int, extra: Sequence[int], room: float) -> tuple[Integers, Floats]:
        """The ``count`` columns of each field of least reduced cost, none above ``room``, and more.

        Returns
        -------
        columns : (m,) int
        reduced costs : (n,)
            Of all columns.
        """
        reduced = self.reduced_costs()
        rank = rank_in_field(reduced, self.columns.field)
        near = (rank < count) & (reduced <= room + TINY * max(1.0, abs(room)))
        near[list(extra)] = True
        return np.flatnonzero(near), reduced
