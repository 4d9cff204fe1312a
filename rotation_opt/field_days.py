"""What a year with few field days would do to a plan, and where first cutting and planting meet.

A check of plans that are chosen already. With ``[labour] bad_year = true`` they are chosen for such a year.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from rotation_opt.cash_flow import Season, seasons
from rotation_opt.groundwork import Groundwork
from rotation_opt.ledgers import Competition, FieldDays, ShortDays
from rotation_opt.records import Alternative, DatedOperation
from rotation_opt.workload import (
    HALF_MONTHS,
    crop_in_pass,
    crop_t_ha,
    cut_shares,
    days_in_half_months,
    field_day_shares,
    half_month,
    pass_work,
)

Array = npt.NDArray[np.float64]

LEAST_H = 0.5
"""Hours missing in a half-month that are worth a word; the days themselves are known far less well."""


def field_days(ground: Groundwork, plan: Alternative) -> FieldDays:
    """Half-months that would lack field days in a bad year, and the worst meeting of cutting and planting.

    Parameters
    ----------
    ground : Groundwork
    plan : Alternative
    """
    grown = list(seasons(ground, plan))
    return FieldDays(
        short=_short(ground, grown),
        competition=_competition(ground, grown),
        borrowed_from=borrowed_from(ground),
    )


def borrowed_from(ground: Groundwork) -> str:
    """Regions that the figures of field days were found in or are meant for, as the tables say."""
    figures = [
        ground.tables.figure("field_days", f"{half:02d}", "suitable_share_bad_year")
        for half in range(HALF_MONTHS)
    ]
    return " and ".join(dict.fromkeys(figure.where for figure in figures if figure.where != "none"))


def _short(ground: Groundwork, grown: Sequence[Season]) -> tuple[ShortDays, ...]:
    """Own machines whose hours pass those of a bad year, the most missing first."""
    farm, machines = ground.farm, ground.hours.machines
    needed = np.zeros((len(machines), farm.years + 1, HALF_MONTHS))
    for season in grown:
        needed[:, season.year : season.year + 2] += ground.hours.machine[season.pair] * season.field.area_ha
    missing = needed - ground.capacity.machine_bad_year[:, None, :]
    owned = np.array([farm.machines[key].status == "own" for key in machines], dtype=bool)
    missing[~owned] = 0.0
    found = [
        ShortDays(
            machine=machines[m],
            year=farm.first_year - 1 + int(year),
            half_month=int(half),
            missing_h=float(missing[m, year, half]),
            needed_h=float(needed[m, year, half]),
            can_hire=farm.machines[machines[m]].also_hire,
        )
        for m, year, half in np.argwhere(missing > LEAST_H)
    ]
    return tuple(sorted(found, key=lambda each: (-each.missing_h, each.year, each.half_month, each.machine)))


def _competition(ground: Groundwork, grown: Sequence[Season]) -> Competition | None:
    """The half-month that needs most of the hours there are, of those that have both kinds of work."""
    farm = ground.farm
    cutting, planting = (np.zeros((farm.years + 1, HALF_MONTHS)) for _ in range(2))
    known: dict[int, tuple[Array, Array]] = {}
    for season in grown:
        if season.pair not in known:
            known[season.pair] = _both(ground, season)
        first, sown = known[season.pair]
        cutting[season.year : season.year + 2] += first * season.field.area_ha
        planting[season.year : season.year + 2] += sown * season.field.area_ha
    own = np.array(farm.labour.hours_by_half_month)
    load = np.where((cutting > LEAST_H) & (planting > LEAST_H), cutting + planting, 0.0)
    if not load.any():
        return None
    # hours where there are none count as dearest of all
    share = load / np.maximum(own, 0.1)
    year, half = (int(place) for place in np.unravel_index(int(np.argmax(share)), share.shape))
    days = days_in_half_months()[half]

    def fit(kind: str) -> tuple[float, float]:
        usual, bad = (field_day_shares(f"{kind}{end}", ground.tables)[half] for end in ("", "_bad_year"))
        return float(days * usual), float(days * bad)

    return Competition(
        year=farm.first_year - 1 + year,
        half_month=half,
        cutting_h=float(cutting[year, half]),
        planting_h=float(planting[year, half]),
        there_h=float(own[half]),
        hay_days=fit("hay_share"),
        field_days=fit("suitable_share"),
    )


def _both(ground: Groundwork, season: Season) -> tuple[Array, Array]:
    """Hours of the farm's people a hectare at the first cut, and at sowing, planting and hoeing. (2, 24) each

    The driver of hired help is not counted: he takes the days, but no hours of the farm.
    """
    cutting, planting = np.zeros((2, HALF_MONTHS)), np.zeros((2, HALF_MONTHS))
    practice, tables, farm = season.practice, ground.tables, ground.farm
    yields, shares = crop_t_ha(practice, farm, tables), cut_shares(practice, tables)
    for op in season.programme.operations:
        crop = crop_in_pass(op, season.programme, yields, shares)
        hours = pass_work(op.operation, crop, farm, tables).labour
        at = int(op.day >= 0), half_month(op.day)
        if op.part == "harvest" and practice.cuts and _is_first_cut(op, season):
            cutting[at] += hours
        elif op.part == "sow" or tables.operations[op.operation].kind in ("sowing", "weeding"):
            planting[at] += hours
    return cutting, planting


def _is_first_cut(op: DatedOperation, season: Season) -> bool:
    """Whether a pass of hay harvest comes before the second cut."""
    cuts = sorted({day for piece in season.programme.canopies if not piece.under for day in piece.cut_days})
    return len(cuts) < 2 or op.day < cuts[1]
