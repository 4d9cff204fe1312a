"""Sowing, emergence, cuts and harvest of one practice in one climate, and whether it has the time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from rotation_opt.climate import Climate
from rotation_opt.practices.calendar import (
    YEAR,
    FieldCalendar,
    first_day_at,
    lateness,
    own_lateness,
    season_anchors,
    step_days,
)
from rotation_opt.practices.stages import STAGES
from rotation_opt.records import Practice, Step
from rotation_opt.tables import Tables

EARLY_VARIETY = "early_variety"  # tag of practices that give up yield to be off the field sooner


@dataclass(frozen=True, slots=True, kw_only=True)
class DatedPractice:
    """A practice with its dates in one climate; days as in `records`."""

    practice: Practice
    sowing_day: int | None
    emergence_day: int | None
    ripe_day: int | None  # maturity of a crop that is threshed, before dry-down
    harvest_day: int
    cut_days: tuple[int, ...]
    undersown_day: int | None
    available: bool = True  # False: only known because it stands in a history or in the present rotation

    @property
    def key(self) -> str:
        """Key of the practice."""
        return self.practice.key

    @property
    def crop(self) -> str:
        """Key of the crop."""
        return self.practice.crop


def stand_of(text: str) -> tuple[str, int]:
    """Crop and stand year of a stand written ``alfalfa:2``."""
    crop, _, year = text.partition(":")
    return crop, int(year or 1)


def sowing_day(practice: Practice, climate: Climate, tables: Tables, calendar: FieldCalendar) -> int | None:
    """Usual sowing day of a practice here, moved by its shift and kept inside the crop's bounds.

    Returns
    -------
    int or None
        Negative for what is sown in the autumn before harvest; None if nothing is sown.
    """
    crop = practice.crop
    if practice.sowing == "none" or practice.needs_stand:
        return None
    if practice.sowing in ("fall", "late_summer"):
        before = tables.number("crop", crop, "sow_before_frost_days")
        day = calendar.frost - before + practice.sowing_shift_days
    elif practice.sowing == "frost":
        day = calendar.frost_seeding + practice.sowing_shift_days
    else:
        threshold = tables.number("crop", crop, "sow_spring_temperature")
        warm = climate.warm_day(threshold)
        day = max(YEAR if warm is None else warm, calendar.spring) + practice.sowing_shift_days
    day += lateness(practice.sow, tables, calendar)
    low = tables.number_or("crop", crop, "earliest_day", day)
    high = tables.number_or("crop", crop, "latest_day", day)
    if practice.sowing != "frost" and low <= high:
        day = min(max(day, low), high)
    return round(day) - (YEAR if practice.sowing in ("fall", "late_summer") else 0)


def undersown_day(
    practice: Practice, sown: int | None, tables: Tables, calendar: FieldCalendar
) -> int | None:
    """Sowing day of what is undersown: a pass of its own in the crop, else at the sowing of the crop."""
    if not practice.undersown:
        return None
    anchors = season_anchors(calendar, sown, None, ())
    for step in tables.programmes[practice.in_crop] if practice.in_crop else ():
        if tables.operations[step.operation].kind == "sowing":
            late = own_lateness(step, "in_crop", calendar)
            return min(step_days(step, anchors, late=late), default=calendar.frost_seeding)
    return calendar.frost_seeding if sown is None or sown < 0 else sown


def cut_days(
    practice: Practice,
    climate: Climate,
    tables: Tables,
    calendar: FieldCalendar,
    *,
    sown: int | None,
    emerged: int | None,
) -> tuple[int, ...]:
    """Days of the cuts that fit in, at most the practice's number; each at bud stage of the hay crop.

    A stand, and what was sown the summer before, counts heat from the start of spring growth; a spring sowing
    from its emergence, and more of it where young plants must root first (``heat_sowing_year_cut``). No cut
    falls later than the crop's rest before the killing frost. Where the practice dates its cuts or grazings
    otherwise, by a stage of the weed or by the calendar, they are on those days.

    Hay is mown when it can be brought in: a cut waits for the machine of its harvest that comes last, but not
    beyond that rest. The next one grows from the day it was really cut.
    """
    crop = practice.crop
    if practice.cuts <= 0 or not tables.has("crop", crop, "heat_first_cut"):
        return ()
    if own := _cuts_of_its_own(practice, tables):
        anchors = season_anchors(calendar, sown, emerged, ())
        return tuple(
            sorted(
                day
                for step in own
                for day in step_days(step, anchors, calendar.stages, own_lateness(step, "harvest", calendar))
            )
        )
    heat = _heat(climate, tables, crop)
    spring_sown = sown is not None and sown >= 0
    start = (emerged if emerged is not None else sown) if spring_sown else calendar.growth
    last = round(calendar.frost - tables.number_or("crop", crop, "last_cut_rest_days", 0.0))
    late = lateness(practice.harvest, tables, calendar)
    days: list[int] = []
    young = spring_sown and tables.has("crop", crop, "heat_sowing_year_cut")
    quantity = "heat_sowing_year_cut" if young else "heat_first_cut"
    while len(days) < practice.cuts and start is not None:
        day = first_day_at(heat, tables.number("crop", crop, quantity), start)
        if day is None or day > last:
            break
        day = min(day + late, last)
        days.append(day)
        start, quantity = day + 1, "heat_next_cut"
    return tuple(days)


def date_practice(
    practice: Practice,
    climate: Climate,
    tables: Tables,
    calendar: FieldCalendar,
    region: str = "us",
    *,
    sown: int | None = None,
) -> tuple[DatedPractice, str]:
    """Dates of one practice here, and why it does not fit this climate (empty if it does).

    The dates are always filled in: a crop that never ripens is taken off when field work ends. All that
    follows from sowing is counted from `sown`, the day it was really done, where that is given.
    """
    crop = tables.crops[practice.crop]
    if sown is None:
        sown = sowing_day(practice, climate, tables, calendar)
    emerged = None
    if sown is not None and crop.kind != "fallow":
        heat = _heat(climate, tables, crop.key)
        emerged = first_day_at(heat, tables.number("crop", crop.key, "heat_emergence"), sown)
    cuts = cut_days(practice, climate, tables, calendar, sown=sown, emerged=emerged)
    ripe, reason = None, ""
    anchors = season_anchors(calendar, sown, emerged, cuts)
    if _ends_tilled(practice, tables):
        harvest = _end_of_tillage(crop.key, tables, calendar)
        if len(cuts) < practice.cuts:
            reason = _too_few_cuts(len(cuts), practice.cuts)
    elif practice.cuts > 0 and tables.has("crop", crop.key, "heat_first_cut"):
        harvest = max(_days_of(practice.harvest, anchors, tables, calendar), default=calendar.frost)
        if len(cuts) < practice.cuts:
            reason = _too_few_cuts(len(cuts), practice.cuts)
    elif crop.product != "none" and sown is not None:
        heat = _heat(climate, tables, crop.key)
        ripe = first_day_at(heat, _ripening_heat(practice, tables), max(sown, 0))
        harvest = YEAR if ripe is None else ripe + round(tables.number("crop", crop.key, "dry_down_days"))
        reason = _too_late(ripe, harvest, calendar, region)
        harvest = min(harvest + lateness(practice.harvest, tables, calendar), calendar.freeze)
        cuts = (harvest,) if practice.cuts else ()
    else:
        days = _days_of(practice.harvest, anchors, tables, calendar)
        harvest = min(max(days, default=calendar.frost), calendar.freeze)
    reason = _missed_stage(practice, tables, calendar) or reason
    dated = DatedPractice(
        practice=practice,
        sowing_day=sown,
        emergence_day=emerged,
        ripe_day=ripe,
        harvest_day=harvest,
        cut_days=cuts,
        undersown_day=undersown_day(practice, sown, tables, calendar),
    )
    return dated, reason


def _ripening_heat(practice: Practice, tables: Tables) -> float:
    """Heat to maturity; less for an early variety, but never below the earliest that is grown. [°C d]"""
    usual = tables.figure("crop", practice.crop, "heat_maturity")
    if EARLY_VARIETY not in practice.tags:
        return usual.value
    early = usual.value * tables.number("crop", practice.crop, "early_variety_share")
    return early if usual.low is None else max(early, usual.low)


def _heat(climate: Climate, tables: Tables, crop: str) -> np.ndarray:
    base = tables.number("crop", crop, "base_temperature")
    return climate.season_heat(base, tables.number("crop", crop, "upper_temperature"))


def _too_late(ripe: int | None, harvest: int, calendar: FieldCalendar, region: str) -> str:
    frost, freeze = calendar.in_words(calendar.frost, region), calendar.in_words(calendar.freeze, region)
    if ripe is None:
        return "it does not ripen here before the end of the year"
    if ripe > calendar.frost:
        late = ripe - calendar.frost
        when = calendar.in_words(ripe, region)
        return f"it would ripen on {when}, {_days(late)} after the usual killing frost ({frost})"
    if harvest > calendar.freeze:
        late = harvest - calendar.freeze
        return (
            f"it would be dry enough to harvest on {calendar.in_words(harvest, region)}, {_days(late)} after "
            f"field work usually ends ({freeze})"
        )
    return ""


def _days(number: int) -> str:
    return f"{number} day" if number == 1 else f"{number} days"


def _too_few_cuts(possible: int, wanted: int) -> str:
    return f"the season here is long enough for {possible} of its {wanted} cuts"


def _days_of(
    programme: str, anchors: Mapping[str, int], tables: Tables, calendar: FieldCalendar
) -> list[int]:
    """Days of all passes of a programme of work."""
    steps = tables.programmes[programme] if programme else ()
    return [
        day
        for step in steps
        for day in step_days(step, anchors, calendar.stages, own_lateness(step, "harvest", calendar))
    ]


def _cuts_of_its_own(practice: Practice, tables: Tables) -> tuple[Step, ...]:
    """Steps that cut or graze the stand on other days than the hay cuts; none if any waits for a hay cut."""
    steps = tuple(
        step
        for step in (tables.programmes[practice.harvest] if practice.harvest else ())
        if tables.operations[step.operation].kind in ("cut", "grazing", "mowing")
    )
    return () if any(step.anchor.startswith("cut") or step.anchor == "harvest" for step in steps) else steps


def _missed_stage(practice: Practice, tables: Tables, calendar: FieldCalendar) -> str:
    """Why a practice whose work waits for a stage of the weed cannot be dated here; else empty."""
    for programme in (practice.between, practice.sow, practice.in_crop, practice.harvest):
        for step in tables.programmes[programme] if programme else ():
            if step.anchor in STAGES and step.anchor not in calendar.stages.days:
                return calendar.stages.missed_in_words(step.anchor)
    return ""


def _ends_tilled(practice: Practice, tables: Tables) -> bool:
    """Whether the year is spent, wholly or at its end, on tillage repeated until it is over."""
    steps = tables.programmes[practice.in_crop] if practice.in_crop else ()
    return any(step.until == "harvest" for step in steps)


def _end_of_tillage(crop: str, tables: Tables, calendar: FieldCalendar) -> int:
    """End of a tilled year: early enough for all fall cereals, and not after the crop's last day."""
    before = max(
        tables.number("crop", each.key, "sow_before_frost_days")
        for each in tables.crops.values()
        if each.small_grain and tables.has("crop", each.key, "sow_before_frost_days")
    )
    day = round(calendar.frost - before - tables.number("field_days", "any", "turnaround_days"))
    if tables.crops[crop].kind != "fallow":
        return day
    return min(day, round(tables.number_or("crop", crop, "latest_day", day)))
