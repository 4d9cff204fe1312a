"""Annual weeds from seed in the soil: what one season, harvest to harvest, makes of it.

Seed comes up in cohorts as heat is summed. Work kills seedlings, shade stunts and thins them, cuts and
harvest set them back, frost ends the summer annuals. What is ripe by then is shed, less the more plants
crowd each other. Size grows logistically, so growth of a cohort is exponential at first and who comes up
first matters. Because nothing but crowding depends on the number of seeds, a season is exactly

    B_next = kept B + shed B / (1 + crowding B)

for any number B of living seeds per m2.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rotation_opt.climate import DAYS, SEASON_LENGTH, SEASON_START, Climate
from rotation_opt.weeds.annual_parameters import AnnualParameters
from rotation_opt.weeds.emergence import share_emerged

Array = NDArray[np.float64]

LENGTH = SEASON_LENGTH + 216  # the season axis and on to the next July: a winter annual of this autumn ripens
NEW_YEAR = -SEASON_START  # index of 1 January of the harvest year
COHORTS = 20  # equal parts of a year's seedlings, each taken to come up on the day of its middle
_FULL = 0.999  # a cover of exactly 1 would have no logarithm


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldWork:
    """What P fields do to seeds and seedlings, by day of the long axis: `LENGTH` days from 1 July.

    Attributes
    ----------
    start, end : ndarray (P,) of int
        Index of the harvest before, and of the own one: seedlings that come up from ``start`` up to the day
        before ``end`` belong to this season, and are followed beyond it.
    count : ndarray (P,) of int
        Index of the day on which plants are counted: that of the fullest cover.
    last : ndarray (P,) of int
        Index from which on nothing is followed any more, because what comes next is not known.
    cover, crop_height_m : ndarray (LENGTH, P)
    removed : ndarray (LENGTH, P)
        Share of plants of any size that the day's tillage, hoe or drill kills.
    harrowed : ndarray (LENGTH, P)
        Share of the ground worked so that small seedlings die: full-width tillage, harrow, drill.
    cut : ndarray (LENGTH, P)
        Share of the plants' size that a mower, combine or stock takes.
    depth : ndarray (LENGTH, P)
        Depth of the day's work times the share of ground worked. [m]
    inverted : ndarray (LENGTH, P)
        Share of the ground that is turned over.
    """

    start: NDArray[np.int64]
    end: NDArray[np.int64]
    count: NDArray[np.int64]
    last: NDArray[np.int64]
    cover: Array
    crop_height_m: Array
    removed: Array
    harrowed: Array
    cut: Array
    depth: Array
    inverted: Array

    @classmethod
    def idle(cls, fields: int, start: int = NEW_YEAR, days: int = DAYS) -> FieldWork:
        """Bare fields on which nothing is done; the arrays may be filled in."""
        empty = [np.zeros((LENGTH, fields)) for _ in range(7)]
        begin = np.full(fields, start, dtype=np.int64)
        return cls(
            start=begin,
            end=begin + days,
            count=begin + days - 1,
            last=begin + days,
            cover=empty[0],
            crop_height_m=empty[1],
            removed=empty[2],
            harrowed=empty[3],
            cut=empty[4],
            depth=empty[5],
            inverted=empty[6],
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class SeedSeason:
    """What a season does to the seed, each (P, W, D).

    Attributes
    ----------
    kept : ndarray
        Share of the seed at the harvest before that is still alive, and still seed, at the own harvest.
    shed, crowding : ndarray
        New living seeds for each seed, where there are few, and how fast plants crowd each other.
    emerged : ndarray
        Seedlings that came up, for each seed.
    plants : ndarray
        Plants alive on the day of the fullest crop cover, for each seed.
    load : ndarray
        The same, weighted by their size: 1 = full-grown in the open.
    """

    kept: Array
    shed: Array
    crowding: Array
    emerged: Array
    plants: Array
    load: Array

    def after(self, seeds_per_m2: ArrayLike, season: int | slice = slice(None)) -> Array:
        """Living seeds per m2 at own harvest from those at the harvest before, of one season or of all.

        Examples
        --------
        >>> one = np.ones((1, 1, 1))
        >>> season = SeedSeason(kept=one / 2, shed=one, crowding=one, emerged=one, plants=one, load=one)
        >>> season.after(1.0).item()
        1.0
        """
        seeds = np.asarray(seeds_per_m2, dtype=np.float64)
        shed = self.shed[season] * seeds / (1.0 + self.crowding[season] * seeds)
        return np.asarray(self.kept[season] * seeds + shed)


def emergence_days(climate: Climate, weeds: AnnualParameters, weed: int) -> tuple[NDArray[np.int64], float]:
    """Days of the year on which the `COHORTS` of one weed come up, and the share of all seedlings that do.

    Heat counts from ``emergence_from_day`` to 31 December; what has not come up by then stays seed.
    """
    first = round(float(weeds.emergence_from_day[weed, 0]))
    heat = np.cumsum(climate.heat(float(weeds.emergence_base[weed, 0]))[first:])
    up = share_emerged(
        heat, 1.0, weeds.emergence_half_heat[weed, 0], np.minimum(weeds.emergence_steepness[weed, 0], -1.0)
    )
    share = float(up[-1])
    middles = (np.arange(COHORTS) + 0.5) / COHORTS * share
    return np.searchsorted(up, middles) + first, share


def seed_season(work: FieldWork, climate: Climate, weeds: AnnualParameters) -> SeedSeason:
    """What a season of P fields does to W annual weeds.

    Parameters
    ----------
    work : FieldWork
    climate : Climate
    weeds : AnnualParameters
    """
    shape = (work.start.size, len(weeds.weeds), len(weeds.courses))
    kept, ripe, emerged, plants, load = (np.zeros(shape) for _ in range(5))
    for w in range(len(weeds.weeds)):
        alive = _living_seed(work, weeds, w)
        rate = _rate(work, weeds, w)
        days, share = emergence_days(climate, weeds, w)
        left = np.ones((shape[0], shape[2]))
        for year in (-1, 0):
            up = days + NEW_YEAR + DAYS * year
            up = up[(up >= 0) & (up < LENGTH)]
            mine = (up >= work.start[:, None]) & (up < work.end[:, None])
            if not mine.any():
                continue
            part = rate[:, :, up] * share / COHORTS * mine[:, None]
            came = part * alive[:, :, up]
            left *= np.prod(1.0 - part, axis=2)
            emerged[:, w] += came.sum(axis=2)
            course = _follow(up, came, work, climate, weeds=weeds, w=w)
            ripe[:, w] += course[0]
            plants[:, w] += course[1]
            load[:, w] += course[2]
        at_end = np.take_along_axis(alive, np.minimum(work.end, LENGTH - 1)[:, None, None], axis=2)[..., 0]
        kept[:, w] = at_end * left
    seeds = weeds.seeds_open * (1.0 - weeds.seed_lost_fresh)
    return SeedSeason(
        kept=kept,
        shed=ripe * seeds,
        crowding=ripe * weeds.seeds_open / weeds.seeds_most_per_m2,
        emerged=emerged,
        plants=plants,
        load=load,
    )


def _living_seed(work: FieldWork, weeds: AnnualParameters, w: int) -> Array:
    """Share of the seed at the start that lives to each day, (P, D, LENGTH), coming up left aside."""
    day = np.arange(LENGTH)[:, None]
    since = np.maximum(day - work.start, 0)[..., None] / DAYS
    inside = ((day >= work.start) & (day < work.end))[..., None]
    deep = np.minimum(work.depth[..., None] / weeds.layer_depth_m[w], 1.0)
    turned = (1.0 - weeds.loss_per_turning[w] * deep) * (
        1.0 - weeds.plough_loss[w] * work.inverted[..., None]
    )
    alive = np.cumprod(np.where(inside, turned, 1.0), axis=0) * (1.0 - weeds.loss_undisturbed[w]) ** since
    return np.asarray(np.moveaxis(alive, 0, 2))


def _rate(work: FieldWork, weeds: AnnualParameters, w: int) -> Array:
    """Share of the seed that comes up a year as the soil is on each day, (P, D, LENGTH).

    The deepest work since the start counts: from ``stir_depth_m`` on the soil is worked soil.
    """
    after = np.arange(LENGTH)[:, None] >= work.start
    deepest = np.maximum.accumulate(np.where(after, work.depth, 0.0), axis=0)
    stirred = np.minimum(deepest[..., None] / weeds.stir_depth_m[w], 1.0)
    still, worked = weeds.emergence_undisturbed[w], weeds.emergence_share[w]
    return np.asarray(np.moveaxis(still + (worked - still) * stirred, 0, 2))


@dataclass(slots=True, kw_only=True)
class _Stand:
    """The cohorts of one weed and one calendar year on all fields; arrays (P, D, K) for K cohorts."""

    weeds: AnnualParameters
    w: int
    up_heat: Array  # (K,) heat sum on the day before each comes up
    alive: Array  # plants, per seed
    size: Array  # 1 = full-grown in the open
    due: Array  # heat sum from which on seed is ripe
    rest: Array  # share of a plant's seed that is still to ripen

    def of(self, quantity: str) -> Array:
        """One figure of the weed, (D, 1)."""
        return np.asarray(getattr(self.weeds, quantity)[self.w][:, None])

    def work(self, germinated: slice, heat: float, removed: Array, harrowed: Array) -> None:
        """Kill plants of any size, and more of the small ones that a harrow reaches; shares (P, 1, 1)."""
        age = np.maximum(heat - self.up_heat[germinated], 0.0)
        small = np.exp(-age / self.weeds.harrow_small_heat[self.w, 0])
        more = np.maximum(self.of("harrow_kill") * harrowed - removed, 0.0) * small
        self.alive[..., germinated] *= 1.0 - np.minimum(removed + more, 1.0)

    def cut(self, up: slice, heat: float, cut: Array) -> None:
        """Take the top off; seed that is not yet ripe has to form again."""
        later = heat + self.weeds.regrow_ripe_heat[self.w, 0]
        self.due[..., up] = np.where(cut > 0, np.maximum(self.due[..., up], later), self.due[..., up])
        self.size[..., up] *= 1.0 - cut
        self.alive[..., up] *= 1.0 - self.of("cut_death") * cut

    def live(self, up: slice, heat: float, gaps: Array, crop_height_m: Array, *, grows: bool) -> None:
        """One day of `heat` degree-days under a crop that leaves ``exp(gaps)`` of the light to the ground.

        Height goes with the fourth root of size, as in plants of one shape that just do not buckle (form
        from memory, McMahon 1973).
        """
        size, alive = self.size[..., up], self.alive[..., up]
        height = self.of("height_m") * self.of("leaf_height_share") * np.sqrt(np.sqrt(size))
        below = np.maximum(1.0 - height / np.maximum(crop_height_m, 1e-9), 0.0)
        light = np.exp(gaps * below)
        dark = self.of("light_dark")
        pull = np.clip((light - dark) / (self.of("light_full") - dark), 0.0, 1.0)
        alive *= 1.0 - np.minimum(self.of("shade_death") * heat * (1.0 - pull), 1.0)
        if grows:
            size += np.minimum(self.of("growth_per_heat") * heat * pull, 1.0) * size * (1.0 - size)

    def ripen(self, up: slice, heat: float, total: float) -> Array | None:
        """Full-grown plants' worth of seed that ripens today, (P, D); None if there is none."""
        ripening = self.due[..., up] <= total
        if not ripening.any():
            return None
        step = np.where(ripening, np.minimum(heat / self.of("ripe_span_heat"), self.rest[..., up]), 0.0)
        self.rest[..., up] -= step
        return np.asarray((self.alive[..., up] * self.size[..., up] * step).sum(axis=2))


def _follow(
    up: NDArray[np.int64], came: Array, work: FieldWork, climate: Climate, *, weeds: AnnualParameters, w: int
) -> tuple[Array, Array, Array]:
    """Follow cohorts to the end of their lives.

    Parameters
    ----------
    up : ndarray (K,) of int
        Index of the day each cohort comes up, rising.
    came : ndarray (P, D, K)
        Seedlings of each, per seed.

    Returns
    -------
    ripe, plants, load : ndarray (P, D)
        Full-grown plants' worth of ripe seed; plants, and plants weighted by size, at the fullest cover.
    """
    day_of_year = (np.arange(LENGTH) + SEASON_START) % DAYS
    heat = climate.heat(float(weeds.emergence_base[w, 0]))[day_of_year]
    total = np.cumsum(heat)
    up_heat = total[up] - heat[up]
    ripe_from = up_heat
    grows = day_of_year < weeds.grow_until_day[w, 0]
    if weeds.over_winter[w]:
        spring = NEW_YEAR + DAYS * (up >= NEW_YEAR) + int(weeds.ripe_from_day[w, 0])
        ripe_from = total[spring]
        grows |= day_of_year >= weeds.emergence_from_day[w, 0]
    germinates = np.searchsorted(total, up_heat - weeds.germination_lead_heat[w, 0])
    stand = _Stand(
        weeds=weeds,
        w=w,
        up_heat=up_heat,
        alive=came * (1.0 - weeds.seedling_death[w])[:, None],
        size=np.broadcast_to(weeds.seedling_size[w][:, None], came.shape).copy(),
        due=np.broadcast_to(ripe_from + weeds.ripe_heat[w, 0], came.shape).copy(),
        rest=np.ones(came.shape),
    )
    ripe, plants, load = (np.zeros(came.shape[:2]) for _ in range(3))
    gaps = np.log(1.0 - np.minimum(work.cover, _FULL))
    killing = np.asarray(work.removed.any(axis=1) | work.harrowed.any(axis=1))
    cutting = np.asarray(work.cut.any(axis=1))

    def today(values: Array, day: int) -> Array:
        return values[day, :, None, None]

    for day in range(int(germinates[0]), min(_end_of_life(up, climate, weeds, w), LENGTH)):
        now, warmth = float(total[day]), float(heat[day])
        if killing[day]:
            germinated = slice(0, int(np.searchsorted(germinates, day, side="right")))
            stand.work(germinated, now, today(work.removed, day), today(work.harrowed, day))
        there = slice(0, int(np.searchsorted(up, day, side="right")))
        if there.stop == 0:
            continue
        if cutting[day]:
            stand.cut(there, now, today(work.cut, day))
        if warmth > 0.0:
            crop = today(gaps, day), today(work.crop_height_m, day)
            stand.live(there, warmth, *crop, grows=bool(grows[day]))
            ripened = stand.ripen(there, warmth, now)
            if ripened is not None:
                ripe += ripened * (day < work.last)[:, None]
        counted = work.count == day
        if counted.any():
            alive = stand.alive[counted][..., there]
            plants[counted] = alive.sum(axis=2)
            load[counted] = (alive * stand.size[counted][..., there]).sum(axis=2)
    return ripe, plants, load


def _end_of_life(up: NDArray[np.int64], climate: Climate, weeds: AnnualParameters, w: int) -> int:
    """Index from which on a year's plants are dead: autumn frost, or a year after the first came up."""
    if weeds.over_winter[w]:
        return int(up[0]) + DAYS
    year = (int(up[0]) - NEW_YEAR) // DAYS
    return NEW_YEAR + DAYS * year + climate.first_autumn_frost(float(weeds.frost_kill_c[w, 0]))


def size_of_one(
    up: NDArray[np.int64], work: FieldWork, climate: Climate, weeds: AnnualParameters, weed: int
) -> Array:
    """Size, at the fullest cover, of a plant that comes up on a given day of each field and lives, (P, D).

    Parameters
    ----------
    up : ndarray (P,) of int
        Index of that day.
    work, climate, weeds
        As in `seed_season`; work in the crop is left aside, so that the plant lives.
    weed : int
        Position of the weed.
    """
    spared = replace(work, removed=np.zeros_like(work.removed), harrowed=np.zeros_like(work.harrowed))
    size = np.zeros((up.size, len(weeds.courses)))
    calendar_year = (up - NEW_YEAR) // DAYS
    for year in np.unique(calendar_year):
        days = np.unique(up[calendar_year == year])
        came = np.repeat((up[:, None] == days)[:, None].astype(float), len(weeds.courses), axis=1)
        _, plants, load = _follow(days, came, spared, climate, weeds=weeds, w=weed)
        size += np.divide(load, plants, out=np.zeros_like(load), where=plants > 0.0)
    return size
