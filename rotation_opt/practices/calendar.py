"""Days that work is anchored to in one climate, and how steps of a programme and heat sums become days."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from rotation_opt.climate import Climate
from rotation_opt.practices.stages import USUAL_WEED, WeedStages, weed_stages
from rotation_opt.records import Step
from rotation_opt.tables import Tables
from rotation_opt.words import MONTHS

YEAR = 365
FIRST_DAY = -184  # 1 July before the harvest year: the season's first day
MONTH_STARTS = (0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334)


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldCalendar:
    """Days of the year that programmes of work are anchored to, in one climate."""

    spring: int  # field work opens
    freeze: int  # field work ends
    frost: int  # first killing frost, median year
    growth: int  # hay stands start to grow
    frost_seeding: int  # small seed broadcast on frozen ground
    stages: WeedStages  # of the weed the farm has most of
    shift: int = 0  # to the calendar's days: half a year in the south, where day 0 is 1 July
    late: Mapping[str, int] = field(default_factory=dict)  # operation -> days that its hired machine is late

    @property
    def bud(self) -> int:
        """Day on which half the weed's shoots are at bud; the last of the year if they never are."""
        return self.stages.days.get("bud", YEAR - 1)

    def in_words(self, day: int, region: str) -> str:
        """A day as a grower of the place writes it."""
        return day_in_words(day + self.shift, region)


def day_in_words(day: int, region: str) -> str:
    """A day as a grower writes it: ``October 12`` in the US, ``12 October`` in the UK."""
    day %= YEAR
    month = max(m for m in range(12) if MONTH_STARTS[m] <= day)
    number = day - MONTH_STARTS[month] + 1
    return f"{MONTHS[month]} {number}" if region == "us" else f"{number} {MONTHS[month]}"


def first_day_at(heat: np.ndarray, needed: float, start: int) -> int | None:
    """First day on which the heat summed from `start` (that day included) reaches `needed`.

    Parameters
    ----------
    heat : ndarray of float, shape (549,)
        Degree-days of each day from -184 on. [°C d]
    needed : float
        Heat to reach. [°C d]
    start : int
        First day that counts.

    Returns
    -------
    int or None
        None if it is not reached by 31 December of the harvest year.
    """
    total = np.cumsum(heat[max(start - FIRST_DAY, 0) :])
    at = int(np.searchsorted(total, needed))
    return max(start, FIRST_DAY) + at if at < total.size else None


def field_calendar(
    climate: Climate, tables: Tables, weed: str = USUAL_WEED, region: str = "us"
) -> FieldCalendar:
    """Opening and end of field work, killing frost, frost seeding and a weed's stages in one climate."""
    thaw = climate.warm_day(tables.number("field_days", "any", "frost_seeding_temperature"))
    return FieldCalendar(
        spring=climate.spring_start_day,
        freeze=climate.freeze_day,
        frost=climate.first_killing_frost_day,
        growth=climate.stand_growth_start_day,
        frost_seeding=climate.spring_start_day if thaw is None else min(thaw, climate.spring_start_day),
        stages=weed_stages(climate, tables, weed, region),
        shift=climate.shift_days,
    )


def step_days(
    step: Step, anchors: Mapping[str, int], stages: WeedStages | None = None, late: int = 0
) -> tuple[int, ...]:
    """Days of one line of a programme, given the days of the events; empty if its event does not happen.

    A pass that is repeated as the weed grows again needs its `stages`; without them it comes once. A machine
    that comes `late` days after it is called does each pass so much later; what would then be past the
    end of the step is not done.
    """
    start = anchors.get(step.anchor)
    if start is None:
        return ()
    start += step.offset_days + late
    if step.again:
        days = _each_regrowth(start, step, stages, late)
    elif step.interval_days <= 0:
        days = [start]
    else:
        days = [start + step.interval_days * turn for turn in range(step.times)]
    if step.until:
        limit = anchors.get(step.until)
        if limit is not None:
            days = [day for day in days if day < limit - step.until_gap_days]
    return tuple(days)


def _each_regrowth(start: int, step: Step, stages: WeedStages | None, late: int) -> list[int]:
    days = [start]
    while stages is not None and len(days) < step.times:
        grown = stages.regrown_after(days[-1])
        if grown is None:
            break
        days.append(max(grown + late, days[-1] + step.interval_days))
    return days


def lateness(programme: str, tables: Tables, calendar: FieldCalendar) -> int:
    """Days by which the machine that comes last holds up a whole programme of work; 0 = none is late."""
    steps = tables.programmes[programme] if programme else ()
    return max((calendar.late.get(step.operation, 0) for step in steps), default=0)


def own_lateness(step: Step, part: str, calendar: FieldCalendar) -> int:
    """Days a pass is late beyond its event: sowing, cuts and harvest wait for their machines as they are."""
    waits = {"sow": ("sowing",), "harvest": ("cut1", "cut2", "cut3", "harvest")}
    return 0 if step.anchor in waits.get(part, ()) else calendar.late.get(step.operation, 0)


def season_anchors(
    calendar: FieldCalendar, sown: int | None, emerged: int | None, cuts: tuple[int, ...]
) -> dict[str, int]:
    """Days of the events of the harvest year itself; what does not happen is left out."""
    anchors = {
        "spring": calendar.spring,
        "freeze": calendar.freeze,
        "frost": calendar.frost,
        **calendar.stages.days,
    }
    if sown is not None:
        anchors["sowing"] = sown
    if emerged is not None:
        anchors["emergence"] = emerged
    anchors.update({f"cut{number}": day for number, day in enumerate(cuts, 1)})
    return anchors
