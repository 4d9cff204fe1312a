"""What a field does to its weeds, day by day: work that removes shoots or kills roots, and shade."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rotation_opt.canopy import Canopy, Covers, share_of_light
from rotation_opt.climate import SEASON_LENGTH, SEASON_START, Climate, index_of, season_of
from rotation_opt.records import CanopyPiece, Programme
from rotation_opt.tables import Tables
from rotation_opt.weeds.emergence import ShootCalendar, late_target
from rotation_opt.weeds.parameters import WeedParameters

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pressure:
    """What the field does to the weeds, day by day; G programmes, W weeds.

    Attributes
    ----------
    light : ndarray (days, G, W)
        Share of full light reaching the weed.
    leaf : ndarray (days, G, W)
        Leaf area of grown shoots as a share of that of shoots of full height.
    shoots_left : ndarray (days, G, W)
        Share of shoots that the day's work leaves standing.
    store_left : ndarray (days, G, W)
        Share of the store that the day's work leaves alive, before pieces regrow (see `step`).
    start : ndarray (G,) of int
        Index of the day on which the programme starts: the harvest before.
    start_shoots : ndarray (G,)
        Share of the shoots which that harvest left standing.
    delay : ndarray (G,)
        Degree-days by which inversion since October makes the spring shoots later (see `Works.pressure`).
    """

    light: Array
    leaf: Array
    shoots_left: Array
    store_left: Array
    start: NDArray[np.int64]
    start_shoots: Array
    delay: Array


#: Inversion from 1 October on delays the shoots of the next spring; after earlier inversion the weed has
#: time to raise shoots through the turned layer again before winter, and nothing is counted.
DELAY_FROM_DAY = -92


def spring_targets(
    calendar: ShootCalendar, weeds: WeedParameters, delay: Array
) -> tuple[Array, NDArray[np.int64]]:
    """Targets of all delays met, (K, 549, W), and which of them each programme has, (G,)."""
    delays, kind = np.unique(delay, return_inverse=True)
    targets = np.stack([late_target(calendar, weeds, float(value)) for value in delays])
    return targets, np.asarray(kind, dtype=np.int64)


class Works:
    """Turns programmes into arrays of pressure; keeps canopies and figures of operations already met."""

    def __init__(self, climate: Climate, tables: Tables, parameters: WeedParameters) -> None:
        self._climate = climate
        self._tables = tables
        self._parameters = parameters
        self._covers = Covers(climate, tables)
        self._canopies: dict[tuple[CanopyPiece, ...], Canopy] = {}
        self._effects: dict[str, tuple[float, float, Array]] = {}
        self._left: dict[str, float] = {}

    def canopy(self, pieces: tuple[CanopyPiece, ...]) -> Canopy:
        """Canopy of these pieces."""
        if pieces not in self._canopies:
            self._canopies[pieces] = self._covers.of(pieces)
        return self._canopies[pieces]

    def effect(self, operation: str) -> tuple[float, float, Array]:
        """Share of low and of tall shoots, and of each weed's store (W,), that one pass leaves alive."""
        if operation not in self._effects:
            area, removed, depth, kill = (
                self._tables.number("operation", operation, quantity)
                for quantity in ("area_share", "shoot_removed", "depth_m", "store_kill")
            )
            within = 1.0 - np.exp(-depth / self._parameters.store_depth_m)
            bent = self._tables.number_or("operation", operation, "tall_escape", 0.0)
            self._effects[operation] = (
                1.0 - removed * area,
                1.0 - removed * area * (1.0 - bent),
                1.0 - kill * area * within,
            )
        return self._effects[operation]

    def delay(self, operation: str) -> float:
        """Degree-days that shoots lose because the pass turns the ground; 0 without inversion."""
        return self._tables.number_or("operation", operation, "shoot_delay", 0.0)

    def left_by_harvest(self, practice: str) -> float:
        """Share of shoots that the harvest of a practice leaves standing; 0 if the practice is not known.

        Where a harvest takes several passes, the one that removes most counts.
        """
        if practice not in self._left:
            known = self._tables.practices.get(practice)
            steps = self._tables.programmes.get(known.harvest, ()) if known is not None else ()
            left = [self.effect(step.operation)[0] for step in steps]
            self._left[practice] = min(left) if left else 0.0
        return self._left[practice]

    def pressure(self, programmes: Sequence[Programme], heat: Array, calendar: ShootCalendar) -> Pressure:
        """Pressure of these programmes, in their order.

        Where ground is turned between 1 October and the day half the shoots are up, the next spring's
        shoots have to come through the whole turned layer and are later by the pass's ``shoot_delay``.
        """
        groups = len(programmes)
        low_left, tall_left = np.ones((2, SEASON_LENGTH, groups))
        store_left = np.ones((SEASON_LENGTH, groups, len(self._parameters.weeds)))
        cover = np.empty((SEASON_LENGTH, groups))
        height = np.empty((SEASON_LENGTH, groups))
        start = np.array([index_of(p.start_day) for p in programmes], dtype=np.int64)
        delay = np.zeros(groups)
        half_up = int(calendar.half_day.max(initial=0))
        for g, programme in enumerate(programmes):
            for operation in programme.operations:
                day = operation.day - SEASON_START
                if 0 <= day < SEASON_LENGTH:
                    low, tall, store = self.effect(operation.operation)
                    low_left[day, g] *= low
                    tall_left[day, g] *= tall
                    store_left[day, g] *= store
                    if DELAY_FROM_DAY <= operation.day <= half_up:
                        delay[g] = max(delay[g], self.delay(operation.operation))
            canopy = self.canopy(programme.canopies)
            cover[:, g] = canopy.cover
            height[:, g] = canopy.height_m
        light, leaf, shoots_left = light_course(
            cover,
            height,
            low_left=low_left,
            tall_left=tall_left,
            start=start,
            heat=heat,
            daylength_h=season_of(self._climate.day_length()),
            calendar=calendar,
            weeds=self._parameters,
            delay=delay,
        )
        return Pressure(
            light=light,
            leaf=leaf,
            shoots_left=shoots_left,
            store_left=store_left,
            start=start,
            start_shoots=np.array([self.left_by_harvest(p.previous) for p in programmes]),
            delay=delay,
        )


def light_course(
    cover: Array,
    crop_height_m: Array,
    *,
    low_left: Array,
    tall_left: Array | None = None,
    start: NDArray[np.int64],
    heat: Array,
    daylength_h: Array,
    calendar: ShootCalendar,
    weeds: WeedParameters,
    delay: Array | None = None,
) -> tuple[Array, Array, Array]:
    """Light at the weed's leaves, the leaf its height lets it carry, and what work leaves of its shoots.

    The weed's mean height grows with heat, slowly until shoots reach ``compensation_heat`` (stems stretch
    from about 7 leaves on, Weill 2013) and in proportion to light below ``light_full``; new shoots and cuts
    lower it, frost ends it. Shoots that come up or regrow when days have become short stay rosettes; leaf
    area grows with height from ``rosette_leaf`` to 1. Light is taken at ``leaf_height_share`` of the height,
    as leaves hang all along the stem. A climbing weed escapes part of the shade, and stems that have grown
    tall bend past some tools (Weill 2013). All this is followed once for all draws.

    Parameters
    ----------
    cover, crop_height_m : ndarray (days, G)
        Crop of each programme; cover holds the effect of row width.
    low_left, tall_left : ndarray (days, G)
        Share of the shoots the day's work leaves standing, of rosettes and of stems of full height; alike if
        the second is left out.
    start : ndarray (G,) of int
        Day index on which each programme starts from stubble.
    heat, daylength_h : ndarray (days,)
        Degree-days above 0 C, and hours of daylight.
    calendar : ShootCalendar
    weeds : WeedParameters
    delay : ndarray (G,), optional
        As in `Pressure`; none if left out.

    Returns
    -------
    light, leaf, shoots_left : ndarray (days, G, W)
    """
    days, groups = cover.shape
    light, leaf, shoots_left = np.empty((3, days, groups, len(weeds.weeds)))
    bent = np.zeros_like(low_left) if tall_left is None else tall_left - low_left
    height = np.zeros((groups, len(weeds.weeds)))
    enough = weeds.once["light_full"]
    pace = weeds.height_m / weeds.height_heat
    escape = weeds.climb_escape
    regrow_heat, turning = weeds.once["regrow_heat"], weeds.once["compensation_heat"]
    shoots, age = np.zeros_like(height), np.zeros_like(height)
    targets, kind = spring_targets(calendar, weeds, np.zeros(groups) if delay is None else delay)
    for day in range(days):
        target = targets[kind, day]
        begun = start == day
        height[begun] = 0.0
        shoots[begun] = 0.0
        stem = np.maximum(height - weeds.rosette_height_m, 0.0) / (weeds.height_m - weeds.rosette_height_m)
        shoots_left[day] = low_left[day][:, None] + bent[day][:, None] * (stem * weeds.stem_escape)
        height *= shoots_left[day]
        shoots *= shoots_left[day]
        # shoots that come up now start from the ground: the mean height falls
        before = np.minimum(shoots, target)
        back = 1.0 - np.exp(-heat[day] * calendar.waking[day] / regrow_heat)
        shoots = before + (target - before) * back
        old = np.divide(before, shoots, out=np.zeros_like(before), where=shoots > 0.0)
        height *= old
        age *= old
        age += heat[day]
        leaves = weeds.leaf_height_share * height
        share = share_of_light(cover[day][:, None], crop_height_m[day][:, None], leaves)
        share += (1.0 - share) * escape
        light[day] = share
        leaf[day] = weeds.rosette_leaf + (1.0 - weeds.rosette_leaf) * (height / weeds.height_m)
        # rosettes stay low: stems stretch at full pace only from the turning point on
        pace_now = pace * heat[day] * np.minimum(1.0, age / turning)
        long_day = daylength_h[day] >= weeds.stretch_daylength_h
        most = np.where(long_day, weeds.height_m, np.maximum(height, weeds.rosette_height_m))
        height += pace_now * np.minimum(1.0, share / enough) * (target > 0)
        np.minimum(height, most, out=height)
    return light, leaf, shoots_left
