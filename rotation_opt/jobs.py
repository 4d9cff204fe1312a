"""The work of a plan, pass by pass, with the days between which it is to be done."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from rotation_opt.cash_flow import Season, seasons
from rotation_opt.groundwork import Groundwork
from rotation_opt.ledgers import Job
from rotation_opt.practices import MONTH_STARTS, YEAR
from rotation_opt.records import Alternative, DatedOperation
from rotation_opt.workload import (
    PassWork,
    crop_in_pass,
    crop_t_ha,
    cut_shares,
    field_day_shares,
    half_month,
    pass_work,
)

LEAST_DAYS = 3
"""A job is given so many days at least, weather permitting: common practice, no source."""

MOST_DAYS = 21
"""Work that would take longer than so many days has a date to begin with, not a window: our judgement."""

HOURS_BY_HAND = 8.0
"""Hours of work by hand in a day: common practice, no source."""


def jobs(ground: Groundwork, plan: Alternative) -> tuple[Job, ...]:
    """All work of one plan in the order of its days.

    A job begins on the day the season is dated with. It may take as many days as its hours need on the days
    fit for field work in a usual year, at least `LEAST_DAYS`, and ends before the next job on the field;
    where that comes sooner, it may begin earlier.

    Parameters
    ----------
    ground : Groundwork
    plan : Alternative

    Returns
    -------
    tuple of Job
        Hours added up over a half-month are those of the plan's figures.
    """
    fit = field_day_shares("suitable_share", ground.tables)
    found: list[Job] = []
    passes = [each for season in seasons(ground, plan) for each in _passes(ground, season, list(fit))]
    for field in dict.fromkeys(each.season.field.name for each in passes):
        mine = [each for each in passes if each.season.field.name == field]
        wanted: dict[int, int] = {}
        for each in mine:
            wanted[each.day] = max(wanted.get(each.day, 0), each.days)
        windows = _windows(wanted)
        found += [_job(ground, each, *windows[each.day]) for each in mine]
    return tuple(sorted(found, key=lambda job: (job.first, job.field, job.last)))


@dataclass(frozen=True, slots=True)
class _Pass:
    """One pass of a season; its day is counted from the first plan year's day 0."""

    season: Season
    operation: DatedOperation
    work: PassWork
    day: int
    days: int  # that it may take


def _passes(ground: Groundwork, season: Season, fit: list[float]) -> Iterator[_Pass]:
    farm, tables = ground.farm, ground.tables
    whole, shares = crop_t_ha(season.practice, farm, tables), cut_shares(season.practice, tables)
    for op in season.programme.operations:
        work = pass_work(op.operation, crop_in_pass(op, season.programme, whole, shares), farm, tables)
        yield _Pass(season, op, work, season.year * YEAR + op.day, _days(ground, season, op, work, fit))


def _days(ground: Groundwork, season: Season, op: DatedOperation, work: PassWork, fit: list[float]) -> int:
    """Days of the calendar that a job may take."""
    own = ground.farm.machines.get(work.machine)
    a_day = HOURS_BY_HAND if own is None else own.hours_a_day * max(own.units, 1)
    share = fit[half_month(op.day)]
    hours = work.hours * season.field.area_ha
    needed = hours / a_day / share if share > 0.0 and a_day > 0.0 else 0.0
    return min(max(math.ceil(needed), LEAST_DAYS), MOST_DAYS)


def _windows(wanted: Mapping[int, int]) -> dict[int, tuple[int, int]]:
    """First and last day of the work of each day, from that day on; earlier where other work comes soon.

    Examples
    --------
    >>> _windows({10: 3, 30: 3}), _windows({2: 3, 10: 3, 11: 3})
    ({10: (10, 12), 30: (30, 32)}, {2: (2, 4), 10: (8, 10), 11: (11, 13)})
    """
    found: dict[int, tuple[int, int]] = {}
    days, end = sorted(wanted), min(wanted, default=0) - YEAR
    for day, following in zip(days, [*days[1:], days[-1] + YEAR], strict=True):
        last = min(day + wanted[day], following) - 1
        found[day] = (min(max(last - wanted[day] + 1, end + 1), day), last)
        end = last
    return found


def _job(ground: Groundwork, each: _Pass, first: int, last: int) -> Job:
    season, work = each.season, each.work
    return Job(
        field=season.field.name,
        harvest_year=ground.farm.first_year + season.year,
        crop=season.practice.crop,
        operation=each.operation.operation,
        machine="" if work.machine == "none" else work.machine,
        first=_date(ground, first),
        last=_date(ground, last),
        stage=each.operation.stage,
        hired=work.hired,
        hours=work.hours * season.field.area_ha,
        labour_h=work.labour * season.field.area_ha,
    )


def _date(ground: Groundwork, day: int) -> str:
    """ISO date of a day; the models' years have 365 days, so 29 February is never named.

    South of the equator day 0 is 1 July of the year before the harvest.
    """
    turned = ground.climate.shift_days
    day += turned
    year, rest = ground.farm.first_year + day // YEAR - (1 if turned else 0), day % YEAR
    month = max(m for m in range(12) if MONTH_STARTS[m] <= rest)
    return f"{year:04d}-{month + 1:02d}-{rest - MONTH_STARTS[month] + 1:02d}"
