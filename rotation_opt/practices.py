"""Which practices this farm can use, with the dates its climate gives them.

A practice is left out when it cannot ripen here, when a machine it needs is neither owned nor for hire,
when nobody buys its product, when the grower refuses it or when the season is too short for its cuts;
each with a sentence that can be printed. What stands in a field's history or in the grower's present
rotation is dated all the same, since the years after it depend on it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from rotation_opt.climate import Climate
from rotation_opt.records import Farm, Practice, Step
from rotation_opt.tables import Tables

YEAR = 365
BREAK_STAND = "break_stand"  # programme added when a stand is not carried on
FIRST_DAY = -184  # 1 July before the harvest year: the season's first day
APRIL_1 = 90
MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
MONTH_STARTS = (0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334)


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldCalendar:
    """Days of the year that programmes of work are anchored to, in one climate."""

    spring: int  # field work opens
    freeze: int  # field work ends
    frost: int  # first killing frost, median year
    growth: int  # hay stands start to grow
    frost_seeding: int  # small seed broadcast on frozen ground
    bud: int  # half the thistles at bud


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


@dataclass(frozen=True, slots=True, kw_only=True)
class PracticeList:
    """The practices of one farm.

    ``all`` starts with ``practices`` in the same order, so an index into one is an index into the other.
    """

    practices: tuple[DatedPractice, ...]
    all: tuple[DatedPractice, ...]
    index: Mapping[str, int]
    left_out: tuple[tuple[str, str], ...]
    calendar: FieldCalendar
    machines: frozenset[str] | None = None  # owned or for hire; None = all
    reasons: Mapping[str, str] = field(default_factory=dict)  # practice key -> why it is left out

    def of(self, key: str) -> DatedPractice:
        """The dated practice with this key.

        Raises
        ------
        KeyError
            If the practice is neither offered nor in a history.
        """
        return self.all[self.index[key]]


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


def field_calendar(climate: Climate, tables: Tables) -> FieldCalendar:
    """Opening and end of field work, killing frost, frost seeding and bud stage in one climate."""
    bud_heat = tables.number("weed", "creeping_thistle", "bud_heat")
    bud = first_day_at(climate.season_heat(0.0), bud_heat, APRIL_1)
    thaw = climate.warm_day(tables.number("field_days", "any", "frost_seeding_temperature"))
    return FieldCalendar(
        spring=climate.spring_start_day,
        freeze=climate.freeze_day,
        frost=climate.first_killing_frost_day,
        growth=climate.stand_growth_start_day,
        frost_seeding=climate.spring_start_day if thaw is None else min(thaw, climate.spring_start_day),
        bud=YEAR - 1 if bud is None else bud,
    )


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
    low = tables.number_or("crop", crop, "earliest_day", day)
    high = tables.number_or("crop", crop, "latest_day", day)
    if practice.sowing != "frost" and low <= high:
        day = min(max(day, low), high)
    return round(day) - (YEAR if practice.sowing in ("fall", "late_summer") else 0)


def heat_to_ripe(crop: str, heat: np.ndarray, sown: int, tables: Tables, calendar: FieldCalendar) -> float:
    """Heat from sowing (fall-sown: from 1 January) to maturity, of the variety a grower here would choose.

    Where the table gives the range of varieties grown, it is the latest of them that is ripe the wanted
    number of days before the usual killing frost, and the earliest of all where none is. [°C d]
    """
    figure = tables.figure("crop", crop, "heat_maturity")
    if figure.low is None or figure.high is None or not tables.has("crop", crop, "ripe_before_frost_days"):
        return figure.value
    wanted = calendar.frost - round(tables.number("crop", crop, "ripe_before_frost_days"))
    there_is = float(heat[max(sown, 0) - FIRST_DAY : max(wanted, 0) - FIRST_DAY + 1].sum())
    return min(max(there_is, figure.low), figure.high)


def undersown_day(
    practice: Practice, sown: int | None, tables: Tables, calendar: FieldCalendar
) -> int | None:
    """Sowing day of what is undersown: a pass of its own in the crop, else at the sowing of the crop."""
    if not practice.undersown:
        return None
    anchors = season_anchors(calendar, sown, None, ())
    for step in tables.programmes[practice.in_crop] if practice.in_crop else ():
        if tables.operations[step.operation].kind == "sowing":
            return min(step_days(step, anchors), default=calendar.frost_seeding)
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
    from its emergence. No cut falls later than the crop's rest before the killing frost.
    """
    crop = practice.crop
    if practice.cuts <= 0 or not tables.has("crop", crop, "heat_first_cut"):
        return ()
    heat = _heat(climate, tables, crop)
    spring_sown = sown is not None and sown >= 0
    start = (emerged if emerged is not None else sown) if spring_sown else calendar.growth
    last = calendar.frost - tables.number_or("crop", crop, "last_cut_rest_days", 0.0)
    days: list[int] = []
    quantity = "heat_first_cut"
    while len(days) < practice.cuts and start is not None:
        day = first_day_at(heat, tables.number("crop", crop, quantity), start)
        if day is None or day > last:
            break
        days.append(day)
        start, quantity = day + 1, "heat_next_cut"
    return tuple(days)


def date_practice(
    practice: Practice, climate: Climate, tables: Tables, calendar: FieldCalendar, region: str = "us"
) -> tuple[DatedPractice, str]:
    """Dates of one practice here, and why it does not fit this climate (empty if it does).

    The dates are always filled in: a crop that never ripens is taken off when field work ends.
    """
    crop = tables.crops[practice.crop]
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
        harvest = max(_days_of(practice.harvest, anchors, tables), default=calendar.frost)
        if len(cuts) < practice.cuts:
            reason = _too_few_cuts(len(cuts), practice.cuts)
    elif crop.product != "none" and sown is not None:
        heat = _heat(climate, tables, crop.key)
        ripe = first_day_at(heat, heat_to_ripe(crop.key, heat, sown, tables, calendar), max(sown, 0))
        harvest = YEAR if ripe is None else ripe + round(tables.number("crop", crop.key, "dry_down_days"))
        reason = _too_late(ripe, harvest, calendar, region)
        harvest = min(harvest, calendar.freeze)
        cuts = (harvest,) if practice.cuts else ()
    else:
        days = _days_of(practice.harvest, anchors, tables)
        harvest = min(max(days, default=calendar.frost), calendar.freeze)
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


def dated_practices(farm: Farm, tables: Tables, climate: Climate) -> PracticeList:
    """All practices this farm can choose from here, and what is left out with the reason.

    Parameters
    ----------
    farm : Farm
        Its machines, markets and refusals decide together with the climate.
    tables : Tables
        The crop tables.
    climate : Climate
        The farm's climate.

    Returns
    -------
    PracticeList
        ``all`` also holds practices of the histories and of the present rotation that are left out.
    """
    calendar = field_calendar(climate, tables)
    needed = {key for field in farm.fields for key in (*field.history, *field.as_now) if key}
    offered: list[DatedPractice] = []
    known: list[DatedPractice] = []
    left_out: list[tuple[str, str]] = []
    reasons: dict[str, str] = {}
    for practice in tables.practices.values():
        dated, too_late = date_practice(practice, climate, tables, calendar, farm.region)
        reason = _refused(practice, farm, tables) or _no_use(practice, farm, tables)
        reason = reason or _no_machine(practice, farm, tables) or too_late
        if not reason:
            offered.append(dated)
            continue
        reasons[practice.key] = reason
        left_out.append((practice.name_us if farm.region == "us" else practice.name_uk, reason))
        if practice.key in needed:
            known.append(replace(dated, available=False))
    every = (*offered, *known)
    return PracticeList(
        practices=tuple(offered),
        all=every,
        index={dated.key: at for at, dated in enumerate(every)},
        left_out=tuple(left_out),
        reasons=reasons,
        calendar=calendar,
        machines=machines_at_hand(farm),
    )


def usual_yield(crop: str, farm: Farm, tables: Tables) -> float:
    """The farm's own usual yield of a crop, else the table's; 0 where nothing is sold. [t/ha]"""
    if tables.crops[crop].product == "none":
        return 0.0
    own = farm.yields_t_ha.get(crop)
    return tables.number("crop", crop, "yield_t_ha") if own is None else own


def programmes_of(practice: Practice) -> tuple[str, ...]:
    """The programmes of work a practice is made of, in their order; empty names left out."""
    return tuple(
        name for name in (practice.between, practice.sow, practice.in_crop, practice.harvest) if name
    )


def step_days(step: Step, anchors: Mapping[str, int]) -> tuple[int, ...]:
    """Days of one line of a programme, given the days of the events; empty if its event does not happen."""
    start = anchors.get(step.anchor)
    if start is None:
        return ()
    start += step.offset_days
    if step.interval_days <= 0:
        days = [start]
    else:
        days = [start + step.interval_days * turn for turn in range(step.times)]
    if step.until:
        limit = anchors.get(step.until)
        if limit is not None:
            days = [day for day in days if day < limit - step.until_gap_days]
    return tuple(days)


def season_anchors(
    calendar: FieldCalendar, sown: int | None, emerged: int | None, cuts: tuple[int, ...]
) -> dict[str, int]:
    """Days of the events of the harvest year itself; what does not happen is left out."""
    anchors = {
        "spring": calendar.spring,
        "freeze": calendar.freeze,
        "frost": calendar.frost,
        "bud": calendar.bud,
    }
    if sown is not None:
        anchors["sowing"] = sown
    if emerged is not None:
        anchors["emergence"] = emerged
    anchors.update({f"cut{number}": day for number, day in enumerate(cuts, 1)})
    return anchors


def _heat(climate: Climate, tables: Tables, crop: str) -> np.ndarray:
    base = tables.number("crop", crop, "base_temperature")
    return climate.season_heat(base, tables.number("crop", crop, "upper_temperature"))


def _too_late(ripe: int | None, harvest: int, calendar: FieldCalendar, region: str) -> str:
    frost, freeze = day_in_words(calendar.frost, region), day_in_words(calendar.freeze, region)
    if ripe is None:
        return "it does not ripen here before the end of the year"
    if ripe > calendar.frost:
        late = ripe - calendar.frost
        when = day_in_words(ripe, region)
        return f"it would ripen on {when}, {_days(late)} after the usual killing frost ({frost})"
    if harvest > calendar.freeze:
        late = harvest - calendar.freeze
        return (
            f"it would be dry enough to harvest on {day_in_words(harvest, region)}, {_days(late)} after "
            f"field work usually ends ({freeze})"
        )
    return ""


def _days(number: int) -> str:
    return f"{number} day" if number == 1 else f"{number} days"


def _too_few_cuts(possible: int, wanted: int) -> str:
    return f"the season here is long enough for {possible} of its {wanted} cuts"


def _days_of(programme: str, anchors: Mapping[str, int], tables: Tables) -> list[int]:
    """Days of all passes of a programme of work."""
    steps = tables.programmes[programme] if programme else ()
    return [day for step in steps for day in step_days(step, anchors)]


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


def machines_at_hand(farm: Farm) -> frozenset[str]:
    """Machines the farm owns or can hire."""
    return frozenset(key for key, machine in farm.machines.items() if machine.status != "none")


def _refused(practice: Practice, farm: Farm, tables: Tables) -> str:
    crop = tables.crops[practice.crop]
    us = farm.region == "us"
    if practice.key in farm.refuses:
        return "you do not want it"
    if crop.key in farm.refuses:
        return f"you do not want {(crop.name_us if us else crop.name_uk).lower()}"
    if crop.group in farm.refuses:
        return f"you do not want any {crop.group}"
    tags = sorted(practice.tags & farm.refuses)
    return f"you do not want practices of the kind {tags[0]!r}" if tags else ""


def _no_use(practice: Practice, farm: Farm, tables: Tables) -> str:
    """Why the product is of no use here: nobody buys it and no stock eats it."""
    crop = tables.crops[practice.crop]
    herd = farm.feed_need_t > 0.0
    if practice.cut_use == "graze":
        return "" if herd else "it is grazed, and there is no stock on the farm"
    if crop.product == "none" or practice.cut_use == "leave" or crop.key not in farm.no_market:
        return ""
    if crop.product == "hay" and herd:
        return ""
    name = crop.name_us if farm.region == "us" else crop.name_uk
    return f"nobody near buys {name.lower()}"


def _no_machine(practice: Practice, farm: Farm, tables: Tables) -> str:
    usable = machines_at_hand(farm)
    for name in programmes_of(practice):
        for step in tables.programmes[name]:
            machine = tables.operations[step.operation].machine
            if machine != "none" and machine not in usable:
                known = tables.machines[machine]
                word = known.name_us if farm.region == "us" else known.name_uk
                return f"it needs a {word}, which you neither own nor can hire"
    return ""
