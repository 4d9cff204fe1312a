"""The fields of all trials of one weed: weather, work and shade of each season, day by day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rotation_opt.climate import for_station, index_of
from rotation_opt.records import DatedOperation, Programme
from rotation_opt.tables import Tables, TrialSeason
from rotation_opt.weeds.parameters import DYNAMIC, FIXED, WeedParameters
from rotation_opt.weeds.pressure import Works, spring_targets
from rotation_opt.weeds.reserve import settle

Array = NDArray[np.float64]
Whole = NDArray[np.int64]

FIRST_DAY, LAST_DAY = -61, 304  # 1 November to 1 November
_DAILY = ("heat", "warmth", "sun", "target", "full", "waking", "alone", "light", "shoots_left", "store_left")


@dataclass(frozen=True, slots=True, kw_only=True)
class Fields:
    """All that does not depend on fitted figures, day by day of the year; G seasons of S stations.

    `target`, `full` and `waking` are as in ``grow_shoots``; the rest is weather and pressure.
    """

    stations: tuple[str, ...]
    place: Whole  # (G,) number of the station
    heat: Array  # (days, G), and so on
    warmth: Array
    sun: Array  # times the leaf that its height lets the weed carry
    alone: Array  # the same for an undisturbed stand
    target: Array
    full: Array
    waking: Array
    light: Array
    shoots_left: Array
    store_left: Array
    bud: Whole  # (G,) day index of bud stage
    basis: WeedParameters

    @classmethod
    def of(cls, groups: Sequence[tuple[str, TrialSeason]], tables: Tables, weeds: WeedParameters) -> Fields:
        stations = tuple(dict.fromkeys(station for station, _ in groups))
        one = _first_draw(weeds)
        days = index_of(LAST_DAY) + 1
        empty = {name: np.empty((days, len(groups))) for name in _DAILY}
        bud = np.empty(len(groups), dtype=np.int64)
        for station in stations:
            climate = for_station(station, tables)
            around = settle(climate, one)
            here = [g for g, (name, _) in enumerate(groups) if name == station]
            programmes = [_programme(groups[g][1]) for g in here]
            pressure = Works(climate, tables, one).pressure(programmes, around.heat, around.calendar)
            targets, kind = spring_targets(around.calendar, one, pressure.delay)
            cloth = np.array([groups[g][1].light for g in here])
            for name, values in (
                ("heat", around.heat[:days, None]),
                ("warmth", around.warmth[:days, None]),
                ("sun", around.sun[:days, None] * pressure.leaf[:days, :, 0]),
                ("alone", around.alone[:days]),
                ("full", around.calendar.target[:days]),
                ("waking", around.calendar.waking[:days]),
                ("target", targets[kind, :days, 0].T),
                ("light", pressure.light[:days, :, 0] * cloth),
                ("shoots_left", pressure.shoots_left[:days, :, 0]),
                ("store_left", pressure.store_left[:days, :, 0]),
            ):
                empty[name][:, here] = values
            bud[here] = int(around.calendar.bud_day[0]) + index_of(0)
        place = np.array([stations.index(station) for station, _ in groups], dtype=np.int64)
        return cls(stations=stations, place=place, bud=bud, basis=weeds, **empty)

    def fit_for(self, weeds: WeedParameters) -> bool:
        """Whether `weeds` has the figures, not fitted, that these fields were built with."""
        same = all(np.array_equal(getattr(weeds, name), getattr(self.basis, name)) for name in FIXED)
        return same and all(np.array_equal(weeds.once[name], self.basis.once[name]) for name in weeds.once)


def _first_draw(weeds: WeedParameters) -> WeedParameters:
    values: dict[str, Any] = {name: getattr(weeds, name)[:, :1] for name in DYNAMIC}
    return replace(weeds, draws=weeds.draws[:1], **values)


def _programme(season: TrialSeason) -> Programme:
    work = tuple(
        DatedOperation(day=day, operation=operation, programme="", part="in_crop", stage="")
        for day, operation in season.work
    )
    return Programme(
        previous="",
        practice="",
        start_day=FIRST_DAY,
        sowing_day=None,
        harvest_day=LAST_DAY,
        operations=work,
        canopies=season.canopies,
        bare_days=0,
        bare_spans=(),
    )
