"""A plan in which one cut is missed every year: the same seasons without that cut, its work and its hay."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from .arrays import NOT_FARMED, SelectionData
from .budgets import pair_budgets
from .columns import Paths
from .farm_arrays import selection_data
from .groundwork import Groundwork
from .records import Practice, Programme
from .season import respond
from .weeds.parameters import LIKELY
from .workload import cut_shares, pair_hours

CUT = ("sell", "standing", "leave")  # what is grazed is not cut


def takes(practice: Practice, number: int) -> bool:
    """Whether a way of growing something takes a cut with this number, 1 = the first."""
    return practice.cut_use in CUT and practice.cuts >= number


def without_cut(ground: Groundwork, data: SelectionData, number: int) -> SelectionData:
    """The same farm with nothing to choose from that takes this cut, so that there is none to miss."""
    cut = np.array([takes(ground.tables.practices[key], number) for key in data.practice_keys], bool)
    return replace(data, fields=tuple(replace(land, allowed=land.allowed & ~cut) for land in data.fields))


def seasons_with_cut(
    ground: Groundwork, data: SelectionData, paths: Paths, number: int
) -> Mapping[int, tuple[int, ...]]:
    """Days of all cuts of each season of a plan that takes this one, by pair; empty where none does."""
    found: dict[int, tuple[int, ...]] = {}
    for land, path in zip(data.fields, paths, strict=True):
        before = land.history[-1]
        for practice in path:
            if practice == NOT_FARMED:
                continue
            if takes(ground.tables.practices[data.practice_keys[practice]], number):
                pair = int(data.pair_index[before, practice])
                days = cuts_of(ground.programmes[pair])
                if len(days) >= number:
                    found[pair] = days
            before = practice
    return found


def cuts_of(programme: Programme) -> tuple[int, ...]:
    """Days on which the crop itself is cut."""
    return tuple(sorted({day for piece in programme.canopies if not piece.under for day in piece.cut_days}))


def missed(
    ground: Groundwork, data: SelectionData, paths: Paths, number: int
) -> tuple[Groundwork, SelectionData]:
    """The farm if a cut is missed in every season of a plan that takes it.

    The crop stands on until its next cut or its end. The hay of the cut is lost, not added to the next one;
    its passes and what they cost are not there.

    Parameters
    ----------
    ground : Groundwork
    data : SelectionData
        Of the same farm.
    paths : tuple of tuple of int
        The plan.
    number : int
        Which cut, 1 = the first.

    Returns
    -------
    (Groundwork, SelectionData)
        Only for reckoning this plan: other plans may use the same seasons.
    """
    cut = seasons_with_cut(ground, data, paths, number)
    worked, grown = list(ground.programmes), []
    for pair, days in cut.items():
        programme = ground.programmes[pair]
        operations = tuple(op for op in programme.operations if not _of_cut(op.part, op.day, days, number))
        worked[pair] = replace(programme, operations=operations)
        gone = days[number - 1]
        canopies = tuple(
            piece if piece.under else replace(piece, cut_days=tuple(d for d in piece.cut_days if d != gone))
            for piece in programme.canopies
        )
        grown.append(replace(worked[pair], canopies=canopies))
    place = {pair: len(worked) + at for at, pair in enumerate(cut)}
    weeds = ground.response.weeds
    response = ground.response.picked(
        [place.get(pair, pair) for pair in range(len(worked))],
        respond(grown, ground.climate, ground.tables, weeds, [LIKELY]) if grown else None,
    )
    # hours with the days of all cuts, by which the hay of each pass is told
    hours = pair_hours(worked, ground.farm, ground.tables)
    budgets = pair_budgets(worked, ground.practice_list, ground.farm, ground.tables, hours)
    yields = budgets.yield_t_ha.copy()
    for pair in cut:
        shares = cut_shares(ground.tables.practices[ground.programmes[pair].practice], ground.tables)
        yields[pair] *= 1.0 - shares[number - 1] / sum(shares)
    seasons = dict(zip(cut, grown, strict=True))
    changed = replace(
        ground,
        programmes=tuple(seasons.get(pair, each) for pair, each in enumerate(ground.programmes)),
        response=response,
        hours=hours,
        budgets=replace(budgets, yield_t_ha=yields),
    )
    found = replace(
        selection_data(changed),
        limits=data.limits,
        weeds_left_price=data.weeds_left_price,
        fields=data.fields,
    )
    return changed, found


def _of_cut(part: str, day: int, days: tuple[int, ...], number: int) -> bool:
    """Whether a pass belongs to a cut: it is done from that day on and before the next one."""
    return part == "harvest" and sum(each <= day for each in days) == number
