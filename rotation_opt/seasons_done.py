"""Seasons of the years done on the days that they really had.

Where the file of years done tells when a field was sown, cut or harvested, that day takes the place of the
usual one in that field and year. What follows from it is counted anew in the usual weather: emergence, cuts
and ripeness from the sowing told, work that is dated by these events, work between the crops from the harvest
told. A season of which nothing is told starts anew where the harvest before it was told.

What is left out. Yield and money of the years done are past and are not worked out again. In the courses of
other weather the whole season stays on these days, those worked out from them too. Work between the crops,
weed work in the crop, undersowing and cover crops keep their distance from sowing, harvest or the calendar;
mowing by the weed's stage beside grazing keeps its day. A pass for which the harvest before leaves no room
comes on the first day after it. Whether a crop can have grown after another is judged by the usual days. The
first season of the new plan starts from the usual harvest day of the last crop done, with the usual sowing
also where a fall crop stands already, and the roots before the first year done are those of the usual harvest
there.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from rotation_opt.dates_told import COLUMNS, Told
from rotation_opt.errors import Fault, InputError
from rotation_opt.groundwork import Groundwork
from rotation_opt.practices import FIRST_DAY, MONTH_STARTS, YEAR, DatedPractice, date_practice
from rotation_opt.records import Practice, Programme
from rotation_opt.timetable import Timetable
from rotation_opt.words import listed
from rotation_opt.years_done import Done

MOST_EARLY_DAYS = 45  # of a spring sowing or a harvest [judgement: no season does that, a wrong month does]
LAST_DAY = YEAR - 1


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonsDone:
    """Seasons that were not on the usual days.

    Attributes
    ----------
    programmes : mapping
        (field number, year from 0) -> season as it was really dated.
    days : mapping
        (field, harvest year) -> days told that are not the usual ones, and the usual ones.
    """

    programmes: Mapping[tuple[int, int], Programme]
    days: Mapping[tuple[str, int], tuple[Told, Told]]


def as_done(ground: Groundwork, grown: Mapping[str, Sequence[str]], rows: Sequence[Done]) -> SeasonsDone:
    """Seasons of the years done on the days told.

    Parameters
    ----------
    ground : Groundwork
        Of the farm as it was before the first year done.
    grown : mapping
        Field -> practice key of each year done; "" where it was not farmed.
    rows : sequence of Done

    Raises
    ------
    InputError
        For days that cannot be: place, what was found, what is allowed, with the usual day.
    """
    told = {(row.field, row.year): row for row in rows}
    faults: list[Fault] = []
    programmes: dict[tuple[int, int], Programme] = {}
    days: dict[tuple[str, int], tuple[Told, Told]] = {}
    practices, first = ground.practice_list, ground.farm.first_year
    for number, field in enumerate(ground.farm.fields):
        before, moved = practices.of(field.history[-1]), False
        for at, key in enumerate(grown[field.name]):
            if not key:
                continue
            when = field.name, first + at
            season = _Season(ground, practices.of(key), told.get(when) or _nothing(*when))
            this = season.dated()
            if moved or this != season.usual:
                before = season.follows(before, this, known=at > 0)
            if season.faults:
                faults += season.faults
                break  # the years after it start from this one
            if moved or this != season.usual:
                programmes[number, at] = season.programme(before, this)
            if this != season.usual:
                days[when] = season.other_days()
            before, moved = this, this.harvest_day != season.usual.harvest_day
    if faults:
        raise InputError(faults)
    return SeasonsDone(programmes=programmes, days=days)


def _nothing(field: str, year: int) -> Done:
    """A row for a field and year of which no row tells."""
    return Done(field=field, year=year, name="", note="")


class _Season:
    """One field in one year, its usual days and those told; faults are gathered."""

    def __init__(self, ground: Groundwork, usual: DatedPractice, row: Done) -> None:
        self.faults: list[Fault] = []
        self.usual = usual
        self._ground, self._row, self._told = ground, row, row.dates
        self._calendar = ground.practice_list.calendar
        self._late = ""  # why it would not be over in time, sown on the day told

    # ------------------------------------------------------------ days

    def dated(self) -> DatedPractice:
        """The practice on the days told, and on the usual ones where none is told or one cannot be."""
        this = self._with_sowing()
        if self.faults:
            return self.usual  # nothing to count the other days from
        return self._with_harvest(self._with_cuts(this), reckoned=this)

    def _with_sowing(self) -> DatedPractice:
        usual = self.usual
        if not self._told.sown_on:
            return usual
        if usual.sowing_day is None:
            self._fault("sown_on", f"{self._name()} is not sown in that season, so it stays empty")
            return usual
        sow = usual.practice.sow
        ahead = [-step.offset_days for step in self._ground.tables.programmes[sow]] if sow else []
        low, high = max(usual.sowing_day - MOST_EARLY_DAYS, 0), LAST_DAY
        if usual.sowing_day < 0:  # in the autumn before, at the latest in winter
            low, high = FIRST_DAY + max(ahead, default=0) + 1, self._calendar.spring - 1
        if not self._within("sown_on", low, high):
            return usual
        (day,) = self._days("sown_on")
        this, late = self._sown(day)
        if this.emergence_day is None and self._ground.tables.crops[this.crop].kind != "fallow":
            self._fault(
                "sown_on", f"it does not come up before the year is over ({self._usual_here('sown_on')})"
            )
        self._late = "" if self._sown(None)[1] else late
        return replace(this, available=usual.available)

    def _sown(self, day: int | None) -> tuple[DatedPractice, str]:
        ground, practice = self._ground, self.usual.practice
        return date_practice(
            practice, ground.climate, ground.tables, self._calendar, ground.farm.region, sown=day
        )

    def _with_cuts(self, this: DatedPractice) -> DatedPractice:
        practice, usual, dates = this.practice, self.usual.cut_days, self._told.cut_on
        if not dates:
            if self._late and practice.cuts:
                self._wanted("cut_on", "Say when it was cut.")
            return this
        if not practice.cuts or not usual:
            self._fault("cut_on", f"{self._name()} is not cut, so it stays empty")
            return this
        if len(dates) != practice.cuts:
            allowed = f"{self._name()} has {_cuts(practice.cuts)}, so {practice.cuts} dates"
            allowed += f" ({self._usual_here('cut_on')})"
            found = "1 date" if len(dates) == 1 else f"{len(dates)} dates"
            self._fault("cut_on", allowed, self._other_cuts(len(dates)), found=found)
            return this
        up = this.emergence_day if this.sowing_day is not None and this.sowing_day >= 0 else None
        low = min(self._calendar.spring, self._calendar.growth) if up is None else up + 1
        clear = self.usual.harvest_day - usual[-1]  # days from the last cut until the field is clear
        if not self._within("cut_on", low, LAST_DAY - clear):
            return this
        days = self._days("cut_on")
        return replace(this, cut_days=days, harvest_day=days[-1] + clear)

    def _other_cuts(self, count: int) -> str:
        """How another number of cuts is told: by the practice that has it."""
        mine = self.usual.practice
        for each in self._ground.tables.practices.values():
            alike = (each.crop, each.needs_stand, each.sowing, each.cut_use)
            if each.cuts == count and alike == (mine.crop, mine.needs_stand, mine.sowing, mine.cut_use):
                return f"With {_cuts(count)} it is {self._name(each)}: write {each.key} in practice_or_crop."
        return f"No way to grow it has {_cuts(count)}: name the nearest one, and leave cut_on empty."

    def _with_harvest(self, this: DatedPractice, *, reckoned: DatedPractice) -> DatedPractice:
        practice = this.practice
        ripens = self._ground.tables.crops[this.crop].product != "none" and this.sowing_day is not None
        if not self._told.harvested_on:
            if self._late and not practice.cuts:
                self._wanted("harvested_on", "Say when it was harvested.")
            return this
        if practice.cuts or not ripens:
            hint = "Its cuts stand in cut_on." if practice.cuts else ""
            self._fault("harvested_on", f"{self._name()} is not threshed, so it stays empty", hint)
            return this
        low = max(reckoned.harvest_day - MOST_EARLY_DAYS, (reckoned.emergence_day or 0) + 1, 0)
        if not self._within("harvested_on", low, LAST_DAY):
            return this
        return replace(this, harvest_day=self._days("harvested_on")[0])

    def other_days(self) -> tuple[Told, Told]:
        """Days told that are not the usual ones, and the usual ones in place of which they stand."""
        other = [name for name in COLUMNS if self._told.of(name) and self._days(name) != self._here(name)]
        usual = {name: tuple(_iso(day, self._row.year) for day in self._here(name)) for name in other}
        return _told({name: self._told.of(name) for name in other}), _told(usual)

    # ------------------------------------------------------------ one season after the other

    def follows(self, before: DatedPractice, this: DatedPractice, *, known: bool) -> DatedPractice:
        """The crop before, gone when this one was sown.

        Its harvest may be told (`known`), and a sowing before that is a fault. Of the last crop before the
        years done none can be told: it came off in time.
        """
        sown, off = this.sowing_day, before.harvest_day - YEAR
        if sown is None or sown > off:
            return before
        if not known and sown > off - MOST_EARLY_DAYS:
            return replace(before, harvest_day=sown - 1 + YEAR)
        there = f"{self._name(before.practice)} is off the field on {self._said(off)}"
        if self._told.sown_on:
            year = self._row.year - 1
            hint = f"If it was off earlier, say so in the row of {year}." if known else ""
            self._fault(
                "sown_on", f"{there}, so allowed is a day after it ({self._usual_here('sown_on')})", hint
            )
        else:
            allowed = f"{there}, after the usual sowing of {self._name()} ({self._said(sown)})"
            self._fault("sown_on", allowed, "Say when it was sown.")
        return before

    def programme(self, before: DatedPractice, this: DatedPractice) -> Programme:
        """The season on these days."""
        found = self._timetable().programme(before, this)
        work = list(found.operations)
        usual, days = self.usual.cut_days, this.cut_days
        if usual != days and len(usual) == len(days):  # passes go with their cut, if not dated by cuts too
            work = [op for op in work if op.part != "harvest"]
            for op in self._timetable().programme(before, self.usual).operations:
                if op.part == "harvest":
                    cut = sum(day <= op.day for day in usual) - 1
                    work.append(replace(op, day=op.day - usual[cut] + days[cut]))
        work = [replace(op, day=max(op.day, found.start_day + 1)) for op in work]
        return replace(found, operations=tuple(sorted(work, key=lambda op: op.day)))

    def _timetable(self) -> Timetable:
        """A new one, since it keeps the work of a practice by its key whatever its days."""
        known = self._ground.practice_list
        return Timetable(self._ground.climate, self._ground.tables, known.calendar, known.machines)

    # ------------------------------------------------------------ faults

    def _fault(self, column: str, allowed: str, hint: str = "", found: str = "") -> None:
        row = self._row
        place = row.place or f'what was done, field "{row.field}", {row.year}'
        found = found or ", ".join(row.dates.of(column)) or "nothing"
        self.faults.append(Fault(f"{place}, column {column}", found, allowed, hint))

    def _wanted(self, column: str, hint: str) -> None:
        self._fault(column, f"sown on {self._said(self._days('sown_on')[0])}, {self._late}", hint)

    def _within(self, column: str, low: int, high: int) -> bool:
        """Whether all days told in a column lie between two days."""
        wrong = [each for each in self._told.of(column) if not low <= _day(each, self._row.year) <= high]
        if wrong:
            allowed = f"allowed is a day from {self._said(low)} to {self._said(high)}"
            self._fault(column, f"{allowed} ({self._usual_here(column)})", found=", ".join(wrong))
        return not wrong

    def _days(self, column: str) -> tuple[int, ...]:
        return tuple(_day(each, self._row.year) for each in self._told.of(column))

    def _here(self, column: str) -> tuple[int, ...]:
        usual = self.usual
        sown = () if usual.sowing_day is None else (usual.sowing_day,)
        return {"sown_on": sown, "cut_on": usual.cut_days, "harvested_on": (usual.harvest_day,)}[column]

    def _usual_here(self, column: str) -> str:
        region = self._ground.farm.region
        days = [self._calendar.in_words(day, region) for day in self._here(column)]
        return f"usual here: {listed(days, 'and')}"

    def _said(self, day: int) -> str:
        """A day with its year, as a grower of the place writes it."""
        region = self._ground.farm.region
        comma = "," if region == "us" else ""
        return f"{self._calendar.in_words(day, region)}{comma} {self._row.year + day // YEAR}"

    def _name(self, practice: Practice | None = None) -> str:
        practice = practice or self.usual.practice
        return f'"{practice.name_us if self._ground.farm.region == "us" else practice.name_uk}"'


def _told(dates: Mapping[str, tuple[str, ...]]) -> Told:
    sown, harvested = ("".join(dates.get(name, ())) for name in ("sown_on", "harvested_on"))
    return Told(sown_on=sown, cut_on=dates.get("cut_on", ()), harvested_on=harvested)


def _cuts(count: int) -> str:
    return f"{count} cut" if count == 1 else f"{count} cuts"


def _day(iso: str, year: int) -> int:
    """A date as a day of the season of a harvest year; 29 February counts as 1 March."""
    when = date.fromisoformat(iso)
    return MONTH_STARTS[when.month - 1] + when.day - 1 + YEAR * (when.year - year)


def _iso(day: int, year: int) -> str:
    """The date of a day of the season of a harvest year."""
    years, day = divmod(day, YEAR)
    month = max(number for number, start in enumerate(MONTH_STARTS) if start <= day)
    return date(year + years, month + 1, day - MONTH_STARTS[month] + 1).isoformat()
