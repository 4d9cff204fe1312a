"""The season model on a patch: what grows under a cover, and roots that are carried off.

Roots that are dug out do not grow again as buried pieces do. Standing shoots do not depend on the reserve,
so the season is solved without that loss first, and the roots are taken out of it on their day.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rotation_opt.climate import SEASON_LENGTH, SEASON_START, Climate, index_of
from rotation_opt.records import Programme
from rotation_opt.season_error import reserve_with_error
from rotation_opt.tables import Tables
from rotation_opt.weeds.parameters import WeedParameters
from rotation_opt.weeds.pressure import Works
from rotation_opt.weeds.reserve import LATE_AUTUMN_DAY, run, settle
from rotation_opt.weeds.response import growth_and_crowding

Array = NDArray[np.float64]
Stretch = tuple[Array, Array]  # growth and crowding, each (D,): R -> growth R / (1 + crowding R)


@dataclass(frozen=True, slots=True, kw_only=True)
class RootsTaken:
    """A pass on a patch that carries off a share of the roots."""

    day: int
    share: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PatchYear:
    """One season of one patch, from the harvest before to the harvest of the field.

    Attributes
    ----------
    programme : Programme
        Crops and passes on the patch, those of the patch work among them.
    taken : tuple of RootsTaken
        One for each pass of the patch work, in order of day; work after the harvest before has negative days.
    covered : tuple of int, or None
        First day under a cover and first day without it again.
    """

    programme: Programme
    taken: tuple[RootsTaken, ...] = ()
    covered: tuple[int, int] | None = None


def follow(
    paths: Sequence[Sequence[PatchYear]],
    at_harvest: Array,
    *,
    climate: Climate,
    tables: Tables,
    parameters: WeedParameters,
    errors: Array | None = None,
) -> list[list[Array]]:
    """Reserve of a patch on 1 November after each season of each path, each (D,), or (..., D) with errors.

    Parameters
    ----------
    paths : sequence of sequences of PatchYear
        The seasons of each path, one after the other.
    at_harvest : ndarray (D,)
        Reserve at the harvest before the first season.
    climate : Climate
    tables : Tables
    parameters : WeedParameters
        Of one weed, D draws.
    errors : ndarray (..., D), optional
        Factors that every season is off by; none if left out.
    """
    off, cap = np.ones_like(at_harvest) if errors is None else errors, parameters.reserve_cap[0]
    solved = iter(solve([year for path in paths for year in path], climate, tables, parameters))
    courses = []
    for path in paths:
        reserve = at_harvest
        after: list[Array] = []
        for _ in path:
            to_harvest, to_autumn = next(solved)
            after.append(reserve_with_error(*to_autumn, reserve, off, cap=cap))
            reserve = reserve_with_error(*to_harvest, reserve, off, cap=cap)
        courses.append(after)
    return courses


def solve(
    years: Sequence[PatchYear], climate: Climate, tables: Tables, parameters: WeedParameters
) -> list[tuple[Stretch, Stretch]]:
    """What each season does to the reserve up to harvest and up to 1 November; it is dark under a cover."""
    around = settle(climate, parameters)
    works = Works(climate, tables, parameters)
    pressure = works.pressure([each.programme for each in years], around.heat, around.calendar)
    shade = np.ones((SEASON_LENGTH, len(years), 1))
    for g, year in enumerate(years):
        if year.covered is not None:
            first, last = (index_of(day) for day in year.covered)
            shade[first:last, g] = 0.0
    pressure = replace(pressure, light=pressure.light * shade)
    most = max(len(year.taken) for year in years)
    note = np.empty((most + 2, len(years)), dtype=np.int64)
    for g, year in enumerate(years):
        harvest = index_of(year.programme.harvest_day)
        note[:, g] = harvest
        note[-1, g] = max(index_of(LATE_AUTUMN_DAY), harvest)
        for n, event in enumerate(year.taken):
            note[n, g] = event.day - SEASON_START
    window = np.zeros((len(years), 1), dtype=np.int64)
    course = run(around, pressure, parameters, note, count_from=window, count_to=window)
    solved = []
    for g, year in enumerate(years):
        kept, added = course.kept[:, g, 0], course.added[:, g, 0]
        to_harvest, to_autumn = (
            without_what_was_taken(year.taken, kept, added, end=int(note[row, g]), row=row)
            for row in (most, most + 1)
        )
        solved.append((to_harvest, to_autumn))
    return solved


def without_what_was_taken(
    taken: Sequence[RootsTaken], kept: Array, added: Array, *, end: int, row: int
) -> Stretch:
    """Growth and crowding up to a day index, with roots carried off on their days before it.

    In ``u = 1/R`` every stretch is ``u -> kept u + added``; taking a share t of the roots makes u larger by
    ``1 / (1 - t)``. The stretches in between follow from the notes of the whole course.

    Parameters
    ----------
    taken : sequence of RootsTaken
        In order of day.
    kept, added : ndarray (N, D)
        Of the course without that loss, noted on the day of each of `taken` and, in row `row`, at the end.
    end : int
        Day index of the end.
    row : int
        Row of the notes for it.
    """
    whole_kept, whole_added = np.ones_like(kept[0]), np.zeros_like(added[0])
    last_kept, last_added = whole_kept, whole_added
    stops = [(n, each.share) for n, each in enumerate(taken) if each.day - SEASON_START < end]
    for n, share in (*stops, (row, 0.0)):
        stretch = kept[n] / last_kept
        gained = added[n] - stretch * last_added
        whole_kept, whole_added = stretch * whole_kept, stretch * whole_added + gained
        whole_kept, whole_added = whole_kept / (1.0 - share), whole_added / (1.0 - share)
        last_kept, last_added = kept[n], added[n]
    return growth_and_crowding(whole_kept, whole_added)
