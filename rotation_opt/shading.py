"""Whether the crops of the plans stand before the weed comes up: cover against emergence, side by side."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np

from rotation_opt.cash_flow import seasons
from rotation_opt.climate import index_of
from rotation_opt.groundwork import Groundwork
from rotation_opt.practices import YEAR, main_weed, weed_stages
from rotation_opt.records import Alternative, Programme, Shading
from rotation_opt.weeds.emergence import HALF_UP
from rotation_opt.weeds.parameters import LIKELY, weed_parameters
from rotation_opt.weeds.pressure import Works, spring_targets
from rotation_opt.weeds.reserve import settle

EVERY_DAYS = 7
"""Days between two values: close enough for a drawing."""


def shading(ground: Groundwork, plans: Sequence[Alternative]) -> tuple[Shading, ...]:
    """One course for each practice in the plans, after the crop it mostly follows there.

    Parameters
    ----------
    ground : Groundwork
    plans : sequence of Alternative

    Returns
    -------
    tuple of Shading
        The practice that leaves the weed least light first; empty where no weed was counted.
    """
    farm = ground.farm
    if not any(field.patches for field in farm.fields):
        return ()
    weed = main_weed(farm, ground.tables)
    pairs: dict[str, Counter[int]] = {}
    for plan in plans:
        for season in seasons(ground, plan):
            pairs.setdefault(season.practice.key, Counter())[season.pair] += 1
    chosen = [min(of, key=lambda pair: (-of[pair], pair)) for of in pairs.values()]
    found = _courses(ground, [ground.programmes[pair] for pair in chosen], weed)
    return tuple(sorted(found, key=lambda each: (each.light, each.practice)))


def _courses(ground: Groundwork, programmes: Sequence[Programme], weed: str) -> list[Shading]:
    """All programmes at once: what the weed needs to know of the climate is worked out a single time."""
    climate, tables = ground.climate, ground.tables
    parameters = weed_parameters(tables, [weed], [LIKELY])
    surroundings, works = settle(climate, parameters), Works(climate, tables, parameters)
    pressure = works.pressure(programmes, surroundings.heat, surroundings.calendar)
    targets, kind = spring_targets(surroundings.calendar, parameters, pressure.delay)
    stages = weed_stages(climate, tables, weed, ground.farm.region)
    first, bud = (index_of(stages.days.get(stage, stages.frost)) for stage in ("first_shoots", "bud"))
    turned = climate.shift_days
    back = turned - YEAR if turned else 0  # in the south day 0 is 1 July of the year before the harvest
    found = []
    for place, programme in enumerate(programmes):
        emerged, cover = targets[kind[place], :, 0], works.canopy(programme.canopies).cover
        begin, end = index_of(programme.start_day), index_of(max(programme.harvest_day, stages.frost))
        half = index_of(0) + int(np.argmax(emerged[index_of(0) :] >= HALF_UP))
        shown = slice(begin, end + 1, EVERY_DAYS)
        days = range(programme.start_day, programme.start_day + end + 1 - begin, EVERY_DAYS)
        found.append(
            Shading(
                practice=programme.practice,
                previous=programme.previous,
                weed=weed,
                days=tuple(day + back for day in days),
                cover=tuple(cover[shown].tolist()),
                emerged=tuple(emerged[shown].tolist()),
                light=float(pressure.light[first : bud + 1, place, 0].mean()),
                cover_at_half_up=float(cover[half]),
                harvest_day=programme.harvest_day + back,
            )
        )
    return found
