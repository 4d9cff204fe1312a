"""What whole seasons do to the reserve from any start: two numbers for each pair, weed and draw."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rotation_opt.weeds.reserve import from_scale, to_scale

Array = NDArray[np.float64]
Position = int | NDArray[np.int64]  # along an axis of a response: one, or an array of them
Numbers = float | Array

#: Starting reserves at which `Response` tabulates the season for display and tests.
STARTS = np.geomspace(1e-4, 1.2, 12)
STARTS.setflags(write=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Response:
    """Season response of all pairs; P pairs, W weeds, D draws.

    Attributes
    ----------
    pairs : tuple of (previous, practice)
        In the order of the programmes given.
    weeds, draws : tuple of str
    kept, added : ndarray (P, W, D)
        Reserve at own harvest, on the linear scale: ``kept u + added`` from ``u = start^power``.
    autumn_kept, autumn_added : ndarray (P, W, D)
        The same on 1 November after own harvest, if nothing more is done.
    count_kept, count_added, count_shoots : ndarray (P, W, D)
        The same on the day shoots are counted, and the share of shoots standing then.
    power : ndarray (W, D)
        1 - a.
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
    kept: Array
    added: Array
    autumn_kept: Array
    autumn_added: Array
    count_kept: Array
    count_added: Array
    count_shoots: Array
    power: Array
    shoots_full: Array
    reserve_cap: Array
    light: Array
    head_start_days: Array
    group: NDArray[np.int64]

    @property
    def starts(self) -> Array:
        """Starting reserves at which the tables below are given, shape (12,)."""
        return STARTS

    @property
    def end_reserve(self) -> Array:
        """Reserve at own harvest from each starting reserve, shape (P, W, D, 12)."""
        return self._tabulated(self.kept, self.added)

    @property
    def autumn_reserve(self) -> Array:
        """Reserve on 1 November after own harvest if nothing more is done, shape (P, W, D, 12)."""
        return self._tabulated(self.autumn_kept, self.autumn_added)

    @property
    def shoots_per_m2(self) -> Array:
        """Shoots per m2 at about bud stage from each starting reserve, shape (P, W, D, 12)."""
        reserve = self._tabulated(self.count_kept, self.count_added)
        full = self.shoots_full * self.count_shoots
        return np.asarray(full[..., None] * np.power(reserve, 1.0 - self.power[..., None]))

    def _tabulated(self, kept: Array, added: Array) -> Array:
        power = self.power[..., None]
        start = to_scale(STARTS, power)
        return from_scale(kept[..., None] * start + added[..., None], power)

    def after(self, pair: Position, weed: Position, draw: Position, reserve: Numbers) -> Array:
        """Reserve at own harvest from any reserve at the harvest before.

        Parameters
        ----------
        pair, weed, draw : array_like of int
            Positions along the axes; broadcast against `reserve`.
        reserve : array_like of float
            Reserve at the start, 0 to ``reserve_cap``.
        """
        return self._from((self.kept, self.added), pair, weed, draw, reserve)

    def autumn_after(self, pair: Position, weed: Position, draw: Position, reserve: Numbers) -> Array:
        """Reserve on 1 November after own harvest; parameters as in `after`."""
        return self._from((self.autumn_kept, self.autumn_added), pair, weed, draw, reserve)

    def shoots_after(self, pair: Position, weed: Position, draw: Position, reserve: Numbers) -> Array:
        """Shoots per m2 at about bud stage; parameters as in `after`."""
        then = self._from((self.count_kept, self.count_added), pair, weed, draw, reserve)
        full = self.shoots_full[weed, draw] * self.count_shoots[pair, weed, draw]
        return np.asarray(full * np.power(then, 1.0 - self.power[weed, draw]))

    def after_scaled(self, pair: Position, weed: Position, draw: Position, scaled: Numbers) -> Array:
        """As `after`, but from ``reserve^power`` to ``reserve^power``: the cheapest way through many years.

        Convert with `scaled` at the start and `unscaled` at the end.
        """
        return np.asarray(self.kept[pair, weed, draw] * scaled + self.added[pair, weed, draw])

    def scaled(self, weed: Position, draw: Position, reserve: Numbers) -> Array:
        """Reserve on the linear scale."""
        return to_scale(np.asarray(reserve, dtype=np.float64), self.power[weed, draw])

    def unscaled(self, weed: Position, draw: Position, scaled: Numbers) -> Array:
        """Reserve from the linear scale."""
        return from_scale(np.asarray(scaled, dtype=np.float64), self.power[weed, draw])

    def start_from_count(
        self, pair: Position, weed: Position, draw: Position, shoots_per_m2: Numbers
    ) -> Array:
        """Reserve at the harvest before that raises the shoots counted at about bud stage in this season.

        The inverse of `shoots_after`; 0 where even a start from nothing would raise more than was counted,
        ``reserve_cap`` where no start would raise as many, NaN where no shoots stand at that time.
        """
        power = self.power[weed, draw]
        full = self.shoots_full[weed, draw] * self.count_shoots[pair, weed, draw]
        with np.errstate(divide="ignore", invalid="ignore"):
            then = np.power(np.asarray(shoots_per_m2, dtype=np.float64) / full, 1.0 / (1.0 - power))
            scaled = (np.power(then, power) - self.count_added[pair, weed, draw]) / self.count_kept[
                pair, weed, draw
            ]
            start = from_scale(np.maximum(scaled, 0.0), power)
        return np.asarray(np.where(full > 0, np.minimum(start, self.reserve_cap[weed, draw]), np.nan))

    def _from(
        self, season: tuple[Array, Array], pair: Position, weed: Position, draw: Position, reserve: Numbers
    ) -> Array:
        kept, added = season
        power = self.power[weed, draw]
        start = to_scale(reserve, power)
        return from_scale(kept[pair, weed, draw] * start + added[pair, weed, draw], power)
