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
from rotation_opt.infestation import WeedStart, weed_start
from rotation_opt.practices import PracticeList, dated_practices
from rotation_opt.records import Farm, Programme
from rotation_opt.season import Response, respond
from rotation_opt.tables import Tables
from rotation_opt.timetable import all_programmes
from rotation_opt.varieties import fitted
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
    no_pair: Mapping[tuple[str, str], str]
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


def lay(farm: Farm, tables: Tables, tell: Callable[[str], None] = lambda text: None) -> Groundwork:
    """Work out everything about a farm that choosing needs.

    Parameters
    ----------
    farm : Farm
    tables : Tables
    tell : callable, optional
        Told what is being worked on.

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
    programmes, pair_index, no_pair = all_programmes(practice_list, climate, tables, farm.region)
    lap("practices")
    tell("What each season does to the weeds")
    response = respond(programmes, climate, tables, weeds_of(farm))
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
            practice_list=practice_list,
            pair_index=pair_index,
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
        pair_index=pair_index.astype(np.int64),
        no_pair=no_pair,
        response=response,
        hours=hours,
        capacity=room,
        budgets=budgets,
        starts=starts,
        seconds=seconds,
    )
