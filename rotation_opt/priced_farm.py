"""A farm at prices kept from the search on another farm, much like it: what its sequences are worth there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from .arrays import NOT_FARMED, FieldData, Flags, Floats, SelectionData
from .columns import Path, Paths, allowed_paths
from .features import features
from .formulate import Program
from .kept_bound import KeptBound, Key, names_of
from .sequences import Grower, PairWorth, Pool

WIDTH, WIDEST, NEAR_BEST, LISTED = 150, 1_500, 150, 1_500
TRACE = 1e-6


class Priced:
    """One farm, the prices of its limits, and the bounds on money that follow.

    Parameters
    ----------
    data : SelectionData
    prices : mapping
        Price of each limit by its name (`kept_bound.names_of`); those that are not there cost nothing.
    like : Priced, optional
        Of the same seasons: what they ask of machines is taken from it.
    """

    def __init__(self, data: SelectionData, prices: Mapping[Key, float], like: Priced | None = None) -> None:
        self.data, self.named, self._like = data, prices, like

    @cached_property
    def program(self) -> Program:
        """All limits, also those that no choice of sequences can break."""
        return Program(self.data, self.data.limits, every_row=True)

    @cached_property
    def prices(self) -> Floats:
        """(rows,): the prices, raised to what anybody pays for a tonne here."""
        program = self.program
        prices = np.array([self.named.get(name, 0.0) for name in names_of(program)])
        reduced = program.money_objective()[1] - prices @ program.recourse
        for number, row in enumerate(program.rows):
            if row.family == "outlets":
                paid = [
                    reduced[at]
                    for at in row.recourse
                    if program.variables[at].upper is None and program.variables[at].key[0] != "kept"
                ]
                prices[number] += max(0.0, -min(paid, default=0.0))
        return prices

    @cached_property
    def grower(self) -> Grower:
        """Grows sequences of this farm."""
        return Grower(self.data, None if self._like is None else self._like.grower)

    @cached_property
    def worth(self) -> PairWorth:
        """Of every pair at the prices."""
        return self.grower.worth(self.program.prices(self.program.money_objective()[0], self.prices))

    def most(self, field: int) -> float:
        """No sequence of a field is worth more."""
        first = self.grower.grow(field, self.worth, width=WIDTH, keep=1, figures=False)
        known = float(first.worth[0]) if len(first.worth) else -np.inf
        best = self.grower.grow(field, self.worth, width=WIDEST, keep=1, least=known, figures=False)
        return max(known, best.upper)

    def above(self, field: int, worth: float) -> Pool | None:
        """Every sequence that is worth more than so much; None if there are too many to list."""
        least = worth + TRACE * max(1.0, abs(worth))
        grown = self.grower.grow(field, self.worth, width=WIDEST, keep=LISTED, least=least, figures=False)
        return grown.pool if grown.exact and len(grown.pool) < LISTED else None

    def near(self, field: int) -> Pool:
        """The best sequences of a field at the prices."""
        return self.grower.grow(field, self.worth, width=5 * WIDTH, keep=NEAR_BEST).pool

    def most_of(self, field: int, listed: Pool | None, least: float) -> float:
        """The most that a sequence is worth, given those worth more than ``least`` on a freer farm."""
        if listed is None:
            return self.most(field)
        paths = listed.paths[self.possible(field, listed.paths.astype(np.int64))]
        if not len(paths):
            return least
        return max(least, float(self._worths(field, paths).max(initial=-np.inf)))

    def bound(self, worths: list[float]) -> float:
        """No plan brings more money of today, if no sequence of a field is worth more than ``worths``."""
        spent = float(self.data.discount.sum()) * self.data.limits.fixed_cost
        return -self.kept(worths).under(self.program) - spent

    def kept(self, worths: list[float]) -> KeptBound:
        """The same as a bound that holds for other limits."""
        return KeptBound.at(self.program, self.prices, -float(sum(worths)))

    def started(self, pools: tuple[Pool, ...], plan: Paths, more: Mapping[int, Pool]) -> tuple[Pool, ...]:
        """Pools with more sequences, and a plan to start from: the one there is, as far as it is allowed.

        Where a field is farmed longer, its old sequence goes on with what is worth most there.
        """
        result = []
        for pool in sorted(pools, key=lambda each: each.field):
            land = self.data.fields[pool.field]
            first = self._going_on(pool.field, plan[pool.field])
            rows = [first, pool.paths, *([more[pool.field].paths] if pool.field in more else [])]
            paths = np.concatenate(rows)
            paths = np.ascontiguousarray(paths[allowed_paths(land, paths)])
            mine = self.grower.pool(pool.field, paths)
            result.append(replace(mine, plans=(0,) if len(paths) else ()))
        return tuple(result)

    def _going_on(self, field: int, path: Path) -> NDArray[np.int16]:
        """(n, T): a sequence, or it lengthened where the field is farmed longer, worth most first."""
        land, old = self.data.fields[field], np.array([path], dtype=np.int16)
        if allowed_paths(land, old)[0]:
            return old
        kept = np.zeros_like(land.allowed)
        for year, practice in enumerate(path):
            if practice == NOT_FARMED:
                kept[year] = land.allowed[year]
            else:
                kept[year, practice] = land.allowed[year, practice]
        fields = list(self.data.fields)
        fields[field] = replace(land, allowed=kept)
        narrow = Grower(replace(self.data, fields=tuple(fields)))
        return narrow.grow(field, self.worth, width=WIDTH, keep=NEAR_BEST, figures=False).pool.paths

    def possible(self, field: int, paths: NDArray[np.int64]) -> Flags:
        """(n,): which sequences, good by the rules of succession, the field and its pairs allow here."""
        land, data = self.data.fields[field], self.data
        good = np.ones(len(paths), bool)
        before = np.full(len(paths), land.history[-1], dtype=np.int64)
        for year in range(data.years):
            this = paths[:, year]
            grown = this != NOT_FARMED
            place = np.maximum(this, 0)
            fits = data.may_follow[before, place] & (data.pair_index[before, place] >= 0)
            good &= np.where(grown, fits & land.allowed[year, place] & land.farmed[year], ~land.farmed[year])
            before = np.where(grown, this, before)
        return np.asarray(good, dtype=bool)

    def _worths(self, field: int, paths: NDArray[np.int16]) -> Floats:
        """(n,): what sequences are worth at the prices."""
        pool = self.grower.pool(field, np.ascontiguousarray(paths))
        values = features(self.data, self.program.space, pool)
        cost: Floats = values @ self.program.money_objective()[0] - self.prices @ self.program.need(values)
        return -cost


def same_land(one: FieldData, other: FieldData) -> bool:
    """Whether two farms allow the same on a field, for the same share of the crop."""
    return (
        bool((one.allowed == other.allowed).all())
        and bool((one.farmed == other.farmed).all())
        and one.landlord_share == other.landlord_share
    )
