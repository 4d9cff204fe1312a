"""A farm of which more is allowed, worked out from what is known already: only what is new is simulated."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .budgets import pair_budgets
from .groundwork import Groundwork, needed_pairs
from .practices import dated_practices
from .records import Farm
from .season import respond
from .succession import Succession
from .timetable import all_programmes
from .weeds.parameters import LIKELY
from .workload import capacity, pair_hours


def widened(ground: Groundwork, farm: Farm) -> Groundwork:
    """The same farm with fewer bans, more buyers or more machines.

    Seasons that were worked out keep their work as it is: a machine that is new is used by practices that
    need it, and changes nothing in the others.

    Parameters
    ----------
    ground : Groundwork
    farm : Farm
        The farm of ``ground``; nothing in it may change dates, yields or costs of what is known.
    """
    tables, climate = ground.tables, ground.climate
    known = {(each.previous, each.practice): each for each in ground.programmes}
    practice_list = replace(
        dated_practices(farm, tables, climate),
        machines=ground.practice_list.machines,  # stands are broken as before
    )
    as_before = farm.soil_cover == ground.farm.soil_cover
    dated, index_of_all, reasons = all_programmes(
        practice_list,
        climate,
        tables,
        farm.region,
        known=known,
        done=frozenset(ground.succession.keys) if as_before else frozenset(),
    )
    succession = Succession.of(
        farm,
        tables,
        practice_list,
        programmes=dated,
        pair_index=index_of_all.astype(np.int64),
        reasons=reasons,
    )
    programmes, pair_index = needed_pairs(farm, practice_list, dated, index_of_all, succession)
    new = tuple(each for each in programmes if (each.previous, each.practice) not in known)
    pairs = [*known, *((each.previous, each.practice) for each in new)]
    place = {pair: number for number, pair in enumerate(pairs)}
    response = ground.response.picked(
        [place[each.previous, each.practice] for each in programmes],
        respond(new, climate, tables, ground.response.weeds, [LIKELY]) if new else None,
    )
    hours = pair_hours(programmes, farm, tables)
    return replace(
        ground,
        farm=farm,
        practice_list=practice_list,
        programmes=programmes,
        pair_index=pair_index,
        succession=succession,
        response=response,
        hours=hours,
        capacity=capacity(farm, tables),
        budgets=pair_budgets(programmes, practice_list, farm, tables, hours),
    )
