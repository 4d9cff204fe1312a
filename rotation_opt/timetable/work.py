"""What is done on which day: the work of one practice, and what a pair of practices adds to it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from rotation_opt.climate import Climate
from rotation_opt.practices import (
    BREAK_STAND,
    FIRST_DAY,
    STAGES,
    YEAR,
    DatedPractice,
    FieldCalendar,
    PracticeList,
    WeedStages,
    field_calendar,
    own_lateness,
    season_anchors,
    stand_of,
    step_days,
)
from rotation_opt.records import CanopyPiece, DatedOperation, Programme, Step
from rotation_opt.tables import Tables
from rotation_opt.timetable.ground import LAST_DAY, GroundCover

Part = Literal["between", "sow", "in_crop", "harvest", "break"]
PARTS: tuple[Part, ...] = ("break", "between", "sow", "in_crop", "harvest")
MANY_PASSES = "tillage_many"  # tag of practices that live from their passes between crops
AFTER_FALLOW = "after_fallow"  # tag of practices without a pass of their own before the seedbed


@dataclass(frozen=True, slots=True, kw_only=True)
class _Own:
    """What a practice does whatever came before it."""

    sow: tuple[DatedOperation, ...]
    later: tuple[DatedOperation, ...]  # in the crop and at harvest
    first_day: int  # of its own work: first seedbed pass, else first cut or harvest
    canopies: tuple[CanopyPiece, ...]  # without a stand that is carried on: that one starts with the pair


class Timetable:
    """Dates and pairs the practices of one climate; keeps what several pairs share.

    Parameters
    ----------
    climate : Climate
        Frost, heat and field season.
    tables : Tables
        Programmes of work and cover figures.
    calendar : FieldCalendar, optional
        Worked out from the climate if not given.
    machines : frozenset of str, optional
        Machines at hand, for breaking stands; all if not given.
    """

    def __init__(
        self,
        climate: Climate,
        tables: Tables,
        calendar: FieldCalendar | None = None,
        machines: frozenset[str] | None = None,
    ) -> None:
        self.climate = climate
        self.tables = tables
        self.calendar = calendar or field_calendar(climate, tables)
        self.turnaround = round(tables.number("field_days", "any", "turnaround_days"))
        self.ground = GroundCover(climate, tables)
        self._depth = {key: tables.number_or("operation", key, "depth_m", 0.0) for key in tables.operations}
        at_hand = machines if machines is not None else frozenset(tables.machines)
        self._usable = {key for key, each in tables.operations.items() if each.machine in at_hand | {"none"}}
        depths = [self._depth[step.operation] for step in tables.programmes[BREAK_STAND]]
        self._breaks_at_least, self._break_depth = min(depths), max(depths)
        self._own: dict[str, _Own] = {}
        self._asked: tuple[DatedPractice, DatedPractice, tuple[DatedOperation, ...]] | None = None
        self._kind = {key: operation.kind for key, operation in tables.operations.items()}

    # ------------------------------------------------------------ may one follow the other

    def fits(self, previous: DatedPractice, practice: DatedPractice, region: str = "us") -> tuple[bool, str]:
        """Whether `practice` can follow `previous` by stands and by the calendar, else why not."""
        before, this = previous.practice, practice.practice
        us = region == "us"
        name, earlier = (each.name_us if us else each.name_uk for each in (this, before))
        if this.needs_stand and this.needs_stand != before.leaves_stand:
            crop, year = stand_of(this.needs_stand)
            stand = self.tables.crops[crop]
            word = (stand.name_us if us else stand.name_uk).lower()
            return False, f"{name} needs a stand of {word} in its year {year} from the year before"
        if this.needs_stand:
            return True, ""
        if AFTER_FALLOW in this.tags and not self._left_tilled(previous):
            return False, f"{name} needs ground that a fallow has left clean; {earlier} does not"
        ready, wanted = self._ready_and_wanted(previous, practice)
        if ready > wanted:
            by, free = (self.calendar.in_words(day, region) for day in (wanted, ready))
            return False, f"{name} needs the land by {by}; {earlier} leaves it free on {free}"
        between = self._between(previous, practice)
        own = self._own_of(practice)
        work = (*between, *own.sow, *(own.later if practice.sowing_day is None else ()))
        if before.leaves_stand and not self._as_deep(work, self._breaks_at_least):
            return False, f"there is no time to break the stand between {earlier} and {name}"
        if this.cover:
            sown = next((op.day for op in between if self._kind[op.operation] == "sowing"), None)
            least = self.tables.number_or("crop", this.cover, "sow_least_days_before_frost", 0.0)
            last = self.calendar.frost - YEAR - round(least)
            crop_sown = self.tables.crops[this.cover]
            cover = crop_sown.name_us if us else crop_sown.name_uk
            if sown is None or sown > last:
                till = self.calendar.in_words(previous.harvest_day, region)
                when = self.calendar.in_words(last, region)
                return False, f"{cover} must be sown by {when}, and {earlier} is on the land till {till}"
        elif MANY_PASSES in this.tags and this.between and all(op.part != "between" for op in between):
            return False, f"there is no time for the passes between {earlier} and {name}"
        return True, ""

    def _left_tilled(self, previous: DatedPractice) -> bool:
        return any(op.part == "in_crop" and self._ends_growth(op) for op in self._own_of(previous).later)

    def _ready_and_wanted(self, previous: DatedPractice, practice: DatedPractice) -> tuple[int, int]:
        """Day the land is free, and the day it is wanted: for sowing, or for the first pass of its own."""
        left, first = _start_of(previous), self._own_of(practice).first_day
        if practice.sowing_day is not None and left + self.turnaround > practice.sowing_day:
            return left + self.turnaround, practice.sowing_day
        return left + 1, first

    # ------------------------------------------------------------ the programme of one pair

    def programme(self, previous: DatedPractice, practice: DatedPractice) -> Programme:
        """Dated work, canopies and bare days of one pair, from the earlier harvest to its own."""
        start = _start_of(previous)
        own = self._own_of(practice)
        between = () if practice.practice.needs_stand else self._between(previous, practice)
        operations = _ordered([*between, *own.sow, *own.later])
        canopies = (*self._carried(previous, practice, between, own, start), *own.canopies)
        residue = self.tables.number_or("crop", previous.crop, "residue_cover", 0.0)
        spans = self.ground.bare_spans(operations, canopies, residue, start, practice.harvest_day)
        return Programme(
            previous=previous.key,
            practice=practice.key,
            start_day=start,
            sowing_day=practice.sowing_day,
            harvest_day=practice.harvest_day,
            operations=operations,
            canopies=canopies,
            bare_days=sum(last - first + 1 for first, last in spans),
            bare_spans=spans,
        )

    def _own_of(self, practice: DatedPractice) -> _Own:
        if practice.key not in self._own:
            self._own[practice.key] = self._date_own(practice)
        return self._own[practice.key]

    def _date_own(self, practice: DatedPractice) -> _Own:
        this = practice.practice
        anchors = season_anchors(
            self.calendar, practice.sowing_day, practice.emergence_day, practice.cut_days
        )
        anchors["harvest"] = practice.harvest_day
        autumn = self._autumn_anchors(anchors)
        sown, harvest = practice.sowing_day, practice.harvest_day
        sow = self._dated(this.sow, "sow", autumn)
        start = min((op.day for op in sow), default=sown)
        in_crop = self._dated(this.in_crop, "in_crop", anchors)
        later = [
            op
            for op in in_crop
            if op.day <= harvest and (start is None or op.day >= start) and self._possible(op)
        ]
        later += [op for op in self._dated(this.harvest, "harvest", anchors) if op.day <= harvest]
        first = start if start is not None else min((op.day for op in later), default=harvest)
        canopies: list[CanopyPiece] = []
        if sown is not None:
            canopies.append(
                CanopyPiece(
                    crop=this.crop,
                    start="sown",
                    start_day=sown,
                    end_day=harvest,
                    cut_days=practice.cut_days,
                    sowing_rate_ratio=this.sowing_rate_ratio,
                    row_spacing_m=this.row_spacing_m,
                    stand_year=0,
                    under=False,
                )
            )
        if practice.undersown_day is not None:
            canopies.append(self._sown(this.undersown, practice.undersown_day, harvest, under=True))
        return _Own(sow=tuple(sow), later=tuple(later), first_day=first, canopies=tuple(canopies))

    def _sown(self, crop: str, day: int, end: int, *, under: bool) -> CanopyPiece:
        return CanopyPiece(
            crop=crop,
            start="sown",
            start_day=day,
            end_day=end,
            cut_days=(),
            sowing_rate_ratio=1.0,
            row_spacing_m=self.tables.number_or("crop", crop, "usual_row_spacing_m", 0.0),
            stand_year=0,
            under=under,
        )

    def _autumn_anchors(self, anchors: Mapping[str, int]) -> dict[str, int]:
        """The same events with the frost and freeze of the autumn before, for work ahead of the crop."""
        return {**anchors, "frost": self.calendar.frost - YEAR, "freeze": self.calendar.freeze - YEAR}

    def _possible(self, op: DatedOperation) -> bool:
        """Whether the land is open on the day; seed broadcast into a crop wants frozen ground."""
        closed = self.calendar.freeze - YEAR < op.day < self.calendar.spring
        return not closed or (op.part == "in_crop" and self._kind[op.operation] == "sowing")

    def _ends_growth(self, op: DatedOperation) -> bool:
        return self._kind[op.operation] in ("tillage", "end_cover")

    def _dated(self, programme: str, part: Part, anchors: Mapping[str, int]) -> list[DatedOperation]:
        if not programme:
            return []
        stages = self.calendar.stages
        return [
            DatedOperation(
                day=day,
                operation=step.operation,
                programme=step.programme,
                part=part,
                stage=_to_look_for(step, turn, day, stages),
            )
            for step in self.tables.programmes[programme]
            for turn, day in enumerate(
                step_days(step, anchors, stages, own_lateness(step, part, self.calendar))
            )
        ]

    def _between(self, previous: DatedPractice, practice: DatedPractice) -> tuple[DatedOperation, ...]:
        """Work between the crops, kept until another pair is asked for: first if it fits, then what it is."""
        if self._asked is None or self._asked[0] is not previous or self._asked[1] is not practice:
            self._asked = previous, practice, self._dated_between(previous, practice)
        return self._asked[2]

    def _dated_between(self, previous: DatedPractice, practice: DatedPractice) -> tuple[DatedOperation, ...]:
        """Breaking a stand, stubble work, the cover crop and its end."""
        this = practice.practice
        start = _start_of(previous)
        own = self._own_of(practice)
        last = practice.harvest_day if practice.sowing_day is None else practice.sowing_day - 1
        anchors = self._autumn_anchors(
            season_anchors(self.calendar, practice.sowing_day, practice.emergence_day, practice.cut_days)
        )
        anchors["previous_harvest"] = start
        anchors["harvest"] = practice.harvest_day
        work = [self._caught_up(op, start, own) for op in self._dated(this.between, "between", anchors)]
        work = self._late_in_order(work, own)
        if previous.practice.leaves_stand and MANY_PASSES not in this.tags:
            # one shallow pass is meant for stubble: it would only scratch a stand
            work = [
                op for op in work if not self._ends_growth(op) or self._as_deep([op], self._breaks_at_least)
            ]
        if previous.practice.leaves_stand and not self._turned_over([*work, *own.sow]):
            work += [op for op in self._dated(BREAK_STAND, "break", anchors) if op.operation in self._usable]
        return _ordered(op for op in work if start < op.day <= last and self._possible(op))

    def _caught_up(self, op: DatedOperation, start: int, own: _Own) -> DatedOperation:
        """A pass for the end of autumn that a late harvest overtakes comes right after it, else in spring."""
        if op.day > start:
            return op
        soon = start + 1 + self.calendar.late.get(op.operation, 0)
        opened = min(self.calendar.spring, own.first_day - 1)
        return replace(op, day=soon if soon < self.calendar.freeze - YEAR else opened)

    def _late_in_order(self, work: Sequence[DatedOperation], own: _Own) -> list[DatedOperation]:
        """Passes of a late machine at the latest when the ground freezes or the seedbed is due.

        What is to follow them in the programme waits.
        """
        if not any(op.operation in self.calendar.late for op in work):
            return list(work)
        freeze, before = self.calendar.freeze - YEAR, own.first_day - 1
        done: list[DatedOperation] = []
        for op in work:
            late = self.calendar.late.get(op.operation, 0)
            for limit in (freeze, before):
                if late and op.day - late <= limit < op.day:
                    op = replace(op, day=limit)
            done.append(replace(op, day=max([op.day, *(each.day for each in done)])))
        return done

    def _turned_over(self, work: Iterable[DatedOperation]) -> bool:
        """Whether the work at hand goes deeper than breaking a stand does, so that no pass need be added."""
        return any(self._ends_growth(op) and self._depth[op.operation] > self._break_depth for op in work)

    def _as_deep(self, work: Iterable[DatedOperation], depth: float) -> bool:
        """Whether any tillage among the work goes at least so deep."""
        return any(self._ends_growth(op) and self._depth[op.operation] >= depth for op in work)

    def _carried(
        self,
        previous: DatedPractice,
        practice: DatedPractice,
        between: Sequence[DatedOperation],
        own: _Own,
        start: int,
    ) -> list[CanopyPiece]:
        """Canopies that the pair decides: the stand carried on or broken, and the cover crop."""
        before, this = previous.practice, practice.practice
        pieces: list[CanopyPiece] = []
        end = self._first_end(between, own, start, practice)
        if this.needs_stand:
            crop, year = stand_of(this.needs_stand)
            pieces.append(
                CanopyPiece(
                    crop=this.crop if self.tables.crops[this.crop].life == "perennial" else crop,
                    start="regrowth",
                    start_day=start,
                    end_day=min(
                        (op.day for op in own.later if self._ends_growth(op)), default=practice.harvest_day
                    ),
                    cut_days=practice.cut_days,
                    sowing_rate_ratio=1.0,
                    row_spacing_m=this.row_spacing_m,
                    stand_year=year,
                    under=False,
                )
            )
        elif before.leaves_stand or before.undersown:
            crop, year = stand_of(before.leaves_stand) if before.leaves_stand else (before.undersown, 1)
            end = min(end, self._killed_by_frost(crop, start))
            piece = self._sown(crop, start, end, under=False)
            pieces.append(replace(piece, start="regrowth", stand_year=year))
        if this.cover and not this.needs_stand:
            sown = next((op.day for op in between if self._kind[op.operation] == "sowing"), None)
            if sown is not None:
                stop = self._first_end([op for op in between if op.day > sown], own, sown, practice)
                stop = min(stop, self._killed_by_frost(this.cover, sown))
                pieces.append(self._sown(this.cover, sown, stop, under=False))
        return pieces

    def _first_end(
        self, between: Iterable[DatedOperation], own: _Own, start: int, practice: DatedPractice
    ) -> int:
        """First day on which tillage or a pass meant for it ends what is growing; at the latest sowing."""
        ends = [
            op.day
            for op in (*between, *own.sow, *(own.later if practice.sowing_day is None else ()))
            if op.day > start and self._ends_growth(op)
        ]
        last = practice.sowing_day if practice.sowing_day is not None else practice.harvest_day
        return min([*ends, last])

    def _killed_by_frost(self, crop: str, start: int) -> int:
        """First day after `start` on which frost kills an annual; past the season for what lives on."""
        if self.tables.crops[crop].life != "annual":
            return LAST_DAY + 1
        kill = self.calendar.frost
        if self.tables.has("crop", crop, "frost_kill_c"):
            kill = self.climate.first_autumn_frost(self.tables.number("crop", crop, "frost_kill_c"))
        return kill - YEAR if kill - YEAR > start else kill


def in_weather(usual: Programme, practice_list: PracticeList, timetable: Timetable) -> Programme:
    """A season on the days of another weather; on the usual days where that leaves no room for it.

    Parameters
    ----------
    usual : Programme
        As dated in the usual weather.
    practice_list, timetable
        Of the other weather.
    """
    if usual.previous not in practice_list.index or usual.practice not in practice_list.index:
        return usual
    before, own = practice_list.of(usual.previous), practice_list.of(usual.practice)
    return timetable.programme(before, own) if timetable.fits(before, own)[0] else usual


def fits(
    previous: DatedPractice, practice: DatedPractice, climate: Climate, tables: Tables
) -> tuple[bool, str]:
    """Whether one practice can follow another by stands and by the calendar, else why not."""
    return Timetable(climate, tables).fits(previous, practice)


def programme(
    previous: DatedPractice, practice: DatedPractice, climate: Climate, tables: Tables
) -> Programme:
    """Dated programme of work of one pair of practices.

    Parameters
    ----------
    previous : DatedPractice
        What stood in the year before.
    practice : DatedPractice
        What the season leads to.
    climate : Climate
        Frost, heat and field season.
    tables : Tables
        The crop tables.

    Returns
    -------
    Programme
        Operations in order of day, canopies, and the spans of ground less than 30 % covered.
    """
    return Timetable(climate, tables).programme(previous, practice)


def all_programmes(
    practice_list: PracticeList,
    climate: Climate,
    tables: Tables,
    region: str = "us",
    *,
    known: Mapping[tuple[str, str], Programme] | None = None,
    done: frozenset[str] = frozenset(),
) -> tuple[tuple[Programme, ...], npt.NDArray[np.int32], dict[tuple[str, str], str]]:
    """Programmes of all pairs that fit.

    Parameters
    ----------
    known : mapping, optional
        (previous key, practice key) -> programme worked out before, taken as it is.
    done : frozenset of str, optional
        Practices between which no other pair is asked for than those known.

    Returns
    -------
    programmes : tuple of Programme
        One for each pair that fits.
    pair_index : ndarray of int32, shape (n_all, n_all)
        Row = previous, column = practice, both by place in ``practice_list.all``; -1 where it does not fit.
    reasons : dict
        (previous key, practice key) -> sentence, for each pair that does not fit.
    """
    timetable = Timetable(climate, tables, practice_list.calendar, practice_list.machines)
    count = len(practice_list.all)
    pair_index = np.full((count, count), -1, dtype=np.int32)
    programmes: list[Programme] = []
    reasons: dict[tuple[str, str], str] = {}
    for row, previous in enumerate(practice_list.all):
        for column, practice in enumerate(practice_list.all):
            before = None if known is None else known.get((previous.key, practice.key))
            if before is None and previous.key in done and practice.key in done:
                reasons[previous.key, practice.key] = "it was left out before"
                continue
            good, reason = (True, "") if before else timetable.fits(previous, practice, region)
            if not good:
                reasons[previous.key, practice.key] = reason
                continue
            pair_index[row, column] = len(programmes)
            programmes.append(before or timetable.programme(previous, practice))
    return tuple(programmes), pair_index, reasons


def _start_of(previous: DatedPractice) -> int:
    """Day of the harvest before, in this season's count; one before 1 July counts as on 1 July."""
    return max(previous.harvest_day - YEAR, FIRST_DAY)


def _to_look_for(step: Step, turn: int, day: int, stages: WeedStages) -> str:
    """What to look for in the field before a pass: a stage of the weed; empty for work by date."""
    if step.again and turn:
        return stages.again_in_words()
    return stages.in_words(step.anchor, day - stages.days[step.anchor]) if step.anchor in STAGES else ""


def _ordered(work: Iterable[DatedOperation]) -> tuple[DatedOperation, ...]:
    return tuple(sorted(work, key=lambda op: (op.day, PARTS.index(op.part))))
