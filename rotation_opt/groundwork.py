"""All that is worked out about a farm before anything is chosen.

From the farm file to dated practices, their programmes of work, what these do to the weeds, and what they
cost in hours and money. What is chosen later, and the re-check of what was chosen, both start from here.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rotation_opt.budgets import PairBudgets, pair_budgets
from rotation_opt.climate import Climate, for_farm
from rotation_opt.infestation import WeedStart, season_counted, weed_start
from rotation_opt.practices import PracticeList, dated_practices
from rotation_opt.records import Farm, Programme
from rotation_opt.season import Response, respond
from rotation_opt.succession import Succession
from rotation_opt.tables import Tables
from rotation_opt.timetable import all_programmes
from rotation_opt.varieties import fitted
from rotation_opt.weeds.parameters import LIKELY
from rotation_opt.workload import Capacity, PairHours, capacity, pair_hours


@dataclass(frozen=True, slots=True, kw_only=True)
class Groundwork:
    """One farm, ready for choosing."""

    farm: Farm
    tables: Tables
    climate: Climate
    practice_list: PracticeList
    programmes: tuple[Programme, ...]
    pair_index: npt.NDArray[np.int64]
    succession: Succession
    response: Response
    hours: PairHours
    capacity: Capacity
    budgets: PairBudgets
    starts: Mapping[str, WeedStart]
    seconds: Mapping[str, float]


def weeds_of(farm: Farm) -> tuple[str, ...]:
    """Weeds counted anywhere on the farm, in the order they are met; the thistle if there are none."""
    counted = tuple(dict.fromkeys(patch.weed for field in farm.fields for patch in field.patches))
    return counted or ("creeping_thistle",)


def needed_pairs(
    farm: Farm,
    practice_list: PracticeList,
    programmes: tuple[Programme, ...],
    pair_index: npt.NDArray[np.int32],
    succession: Succession,
) -> tuple[tuple[Programme, ...], npt.NDArray[np.int64]]:
    """The pairs worth simulating: those that a plan may use, and those of the crops grown now.

    What the grower does now may break a rule of succession, and is shown all the same; so every way to grow
    the crops it names is kept after one another.
    """
    named = {key for field in farm.fields for key in (*field.history, *field.as_now)}
    crops = {practice_list.of(key).crop for key in named}
    grown = np.array([each.crop in crops for each in practice_list.all])
    wanted = succession.may_follow | np.outer(grown, grown)
    keep = (pair_index >= 0) & wanted
    index = np.full(pair_index.shape, -1, dtype=np.int64)
    index[keep] = np.arange(int(keep.sum()))
    return tuple(programmes[int(i)] for i in pair_index[keep]), index


def _same_rules(farm: Farm, other: Farm) -> bool:
    """Whether two farms with the same practices have the same rules of succession, field by field."""
    asked = ("fields", "soil_cover", "first_year", "years", "decided_on", "region")
    return all(getattr(farm, name) == getattr(other, name) for name in asked)


def _responses(
    programmes: tuple[Programme, ...], climate: Climate, tables: Tables, farm: Farm, like: Groundwork | None
) -> Response:
    """What each season does to the weeds; those known of a farm like it are not worked out again."""
    weeds = weeds_of(farm)
    if like is None:
        return respond(programmes, climate, tables, weeds, [LIKELY])
    if programmes == like.programmes:
        return like.response
    known = set(like.programmes)
    new = tuple(programme for programme in programmes if programme not in known)
    place = {programme: number for number, programme in enumerate((*like.programmes, *new))}
    more = respond(new, climate, tables, weeds, [LIKELY]) if new else None
    return like.response.picked([place[programme] for programme in programmes], more)


def lay(
    farm: Farm,
    tables: Tables,
    tell: Callable[[str], None] = lambda text: None,
    *,
    like: Groundwork | None = None,
) -> Groundwork:
    """Work out everything about a farm that choosing needs.

    Parameters
    ----------
    farm : Farm
    tables : Tables
    tell : callable, optional
        Told what is being worked on.
    like : Groundwork, optional
        Of the same place and weeds: what is the same is taken from it.

    Raises
    ------
    TableError
        If a figure is missing.
    """
    seconds: dict[str, float] = {}
    began = time.perf_counter()

    def lap(name: str) -> None:
        nonlocal began
        now = time.perf_counter()
        seconds[name] = now - began
        began = now

    tell("Dates and work of each practice")
    climate = for_farm(farm, tables)
    tables = fitted(tables, climate)
    practice_list = dated_practices(farm, tables, climate)
    if like is not None and practice_list == like.practice_list and _same_rules(farm, like.farm):
        programmes, pair_index, succession = like.programmes, like.pair_index, like.succession
    else:
        dated, index_of_all, no_pair = all_programmes(practice_list, climate, tables, farm.region)
        succession = Succession.of(
            farm,
            tables,
            practice_list,
            programmes=dated,
            pair_index=index_of_all.astype(np.int64),
            reasons=no_pair,
        )
        programmes, pair_index = needed_pairs(farm, practice_list, dated, index_of_all, succession)
    lap("practices")
    tell("What each season does to the weeds")
    response = _responses(programmes, climate, tables, farm, like)
    lap("season")
    tell("Hours and money")
    hours = pair_hours(programmes, farm, tables)
    budgets = pair_budgets(programmes, practice_list, farm, tables, hours)
    room = capacity(farm, tables)
    starts = {
        field.name: weed_start(
            field,
            farm,
            response=response,
            pair=season_counted(field, practice_list, pair_index),
            climate=climate,
            tables=tables,
        )
        for field in farm.fields
    }
    lap("hours and money")
    return Groundwork(
        farm=farm,
        tables=tables,
        climate=climate,
        practice_list=practice_list,
        programmes=programmes,
        pair_index=pair_index,
        succession=succession,
        response=response,
        hours=hours,
        capacity=room,
        budgets=budgets,
        starts=starts,
        seconds=seconds,
    )
