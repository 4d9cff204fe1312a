"""What whole seasons do to the reserve from any start: two numbers for each pair, weed and draw."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Position = int | NDArray[np.int64]  # along an axis of a response: one, or an array of them
Numbers = float | Array

#: Starting reserves at which `Response` tabulates the season for display and tests.
STARTS = np.geomspace(1e-4, 1.2, 12)
STARTS.setflags(write=False)

BY_PAIR = (
    "growth",
    "crowding",
    "autumn_growth",
    "autumn_crowding",
    "count_growth",
    "count_crowding",
    "count_shoots",
    "light",
    "head_start_days",
    "group",
)
"""What a `Response` has a row of for each pair."""


def growth_and_crowding(kept: Array, added: Array) -> tuple[Array, Array]:
    """The two numbers of a season from those of ``u = 1/R``, which it turns into ``kept u + added``."""
    return 1.0 / kept, added / kept


def reserve_after(growth: Numbers, crowding: Numbers, reserve: Numbers) -> Array:
    """Reserve after a season (or part of one) from any reserve at its start; see ``weeds/reserve.py``."""
    return np.asarray(growth * reserve / (1.0 + crowding * reserve), dtype=np.float64)


def reserve_before(growth: Numbers, crowding: Numbers, reserve: Numbers) -> Array:
    """The inverse of `reserve_after`; infinite where no start leaves as much."""
    left = growth - np.asarray(crowding * reserve, dtype=np.float64)
    with np.errstate(divide="ignore"):
        return np.asarray(np.where(left > 0.0, reserve / np.maximum(left, 0.0), np.inf), dtype=np.float64)


@dataclass(frozen=True, slots=True, kw_only=True)
class Response:
    """Season response of all pairs; P pairs, W weeds, D draws.

    Attributes
    ----------
    pairs : tuple of (previous, practice)
        In the order of the programmes given.
    weeds, draws : tuple of str
    growth, crowding : ndarray (P, W, D)
        Reserve at own harvest: ``growth R / (1 + crowding R)`` from R at the harvest before.
    autumn_growth, autumn_crowding : ndarray (P, W, D)
        The same on 1 November after own harvest, if nothing more is done.
    count_growth, count_crowding, count_shoots : ndarray (P, W, D)
        The same on the day shoots are counted, and the share of shoots standing then.
    shoot_power : ndarray (W, D)
        a in shoots ~ R^a.
    shoots_full : ndarray (W, D)
        Shoots per m2 that a reserve of 1 would raise on that day.
    reserve_cap : ndarray (W, D)
        No reserve is larger.
    light : ndarray (P, W)
        Mean share of full light at the weed from its first shoots to bud stage.
    head_start_days : ndarray (P, W)
        Days from the crop leaving so little light for good that the weed grows less (``light_full``) to
        half the weed's shoots being up; negative if the weed is first, NaN if it is not that dark then
        nor at bud stage.
    group : ndarray (P,) of int
        Pairs with the same number had the same work and were simulated once.
    """

    pairs: tuple[tuple[str, str], ...]
    weeds: tuple[str, ...]
    draws: tuple[str, ...]
    growth: Array
    crowding: Array
    autumn_growth: Array
    autumn_crowding: Array
    count_growth: Array
    count_crowding: Array
    count_shoots: Array
    shoot_power: Array
    shoots_full: Array
    reserve_cap: Array
    light: Array
    head_start_days: Array
    group: NDArray[np.int64]

    def picked(self, pairs: Sequence[int], more: Response | None = None) -> Response:
        """Some pairs of this response, or of this one followed by another of the same weeds and draws."""
        numbers = np.asarray(pairs, dtype=np.int64)
        parts = [self] if more is None else [self, replace(more, group=more.group + self.group.max() + 1)]
        names = tuple(pair for part in parts for pair in part.pairs)
        rows: dict[str, Any] = {
            each: np.concatenate([getattr(part, each) for part in parts])[numbers] for each in BY_PAIR
        }
        return replace(self, pairs=tuple(names[number] for number in pairs), **rows)

    @property
    def starts(self) -> Array:
        """Starting reserves at which the tables below are given, shape (12,)."""
        return STARTS

    @property
    def end_reserve(self) -> Array:
        """Reserve at own harvest from each starting reserve, shape (P, W, D, 12)."""
        return reserve_after(self.growth[..., None], self.crowding[..., None], STARTS)

    @property
    def autumn_reserve(self) -> Array:
        """Reserve on 1 November after own harvest if nothing more is done, shape (P, W, D, 12)."""
        return reserve_after(self.autumn_growth[..., None], self.autumn_crowding[..., None], STARTS)

    @property
    def shoots_per_m2(self) -> Array:
        """Shoots per m2 at about bud stage from each starting reserve, shape (P, W, D, 12)."""
        reserve = reserve_after(self.count_growth[..., None], self.count_crowding[..., None], STARTS)
        full = self.shoots_full * self.count_shoots
        return np.asarray(full[..., None] * np.power(reserve, self.shoot_power[..., None]))

    def after(self, pair: Position, weed: Position, draw: Position, reserve: Numbers) -> Array:
        """Reserve at own harvest from any reserve at the harvest before.

        Parameters
        ----------
        pair, weed, draw : array_like of int
            Positions along the axes; broadcast against `reserve`.
        reserve : array_like of float
            Reserve at the start, 0 to ``reserve_cap``.
        """
        place = pair, weed, draw
        return reserve_after(self.growth[place], self.crowding[place], reserve)

    def autumn_after(self, pair: Position, weed: Position, draw: Position, reserve: Numbers) -> Array:
        """Reserve on 1 November after own harvest; parameters as in `after`."""
        place = pair, weed, draw
        return reserve_after(self.autumn_growth[place], self.autumn_crowding[place], reserve)

    def shoots_after(self, pair: Position, weed: Position, draw: Position, reserve: Numbers) -> Array:
        """Shoots per m2 at about bud stage; parameters as in `after`."""
        place = pair, weed, draw
        then = reserve_after(self.count_growth[place], self.count_crowding[place], reserve)
        full = self.shoots_full[weed, draw] * self.count_shoots[place]
        return np.asarray(full * np.power(then, self.shoot_power[weed, draw]))

    def start_from_count(
        self, pair: Position, weed: Position, draw: Position, shoots_per_m2: Numbers
    ) -> Array:
        """Reserve at the harvest before that raises the shoots counted at about bud stage in this season.

        The inverse of `shoots_after`; ``reserve_cap`` where no start would raise as many, NaN where no
        shoots stand at that time.
        """
        place = pair, weed, draw
        full = self.shoots_full[weed, draw] * self.count_shoots[place]
        with np.errstate(divide="ignore", invalid="ignore"):
            share = np.asarray(shoots_per_m2, dtype=np.float64) / full
            then = np.power(share, 1.0 / self.shoot_power[weed, draw])
        start = reserve_before(self.count_growth[place], self.count_crowding[place], then)
        return np.asarray(np.where(full > 0, np.minimum(start, self.reserve_cap[weed, draw]), np.nan))
