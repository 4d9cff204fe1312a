"""The seasons of a patch: the crops of its field, with the patch work on its days."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from rotation_opt.climate import Climate, for_farm
from rotation_opt.patch_work.course import PatchYear, RootsTaken
from rotation_opt.practices import (
    YEAR,
    DatedPractice,
    PracticeList,
    dated_practices,
    season_anchors,
    step_days,
    weed_stages,
)
from rotation_opt.records import CanopyPiece, DatedOperation, Farm, Field, PatchPractice, Programme, Step
from rotation_opt.tables import Tables
from rotation_opt.timetable import Timetable
from rotation_opt.varieties import fitted
from rotation_opt.weeds.reserve import LATE_AUTUMN_DAY


def taken_share(practice: PatchPractice, weed: str, tables: Tables) -> float:
    """Share of a weed's root store that the first pass carries off; 0 for covers and mowing.

    The store lies above depth d as ``1 - exp(-d / store_depth_m)``; of what lies within reach a share comes
    out, less of a weed whose roots snap.
    """
    if not tables.has("patch", practice.key, "store_taken"):
        return 0.0
    own = f"{practice.key}@{weed}"
    subject = own if tables.has("patch", own, "store_taken") else practice.key
    depth = tables.number("patch", practice.key, "depth_m")
    within = 1.0 - np.exp(-depth / tables.number("weed", weed, "store_depth_m"))
    return float(tables.number("patch", subject, "store_taken") * within)


@dataclass(frozen=True, slots=True)
class Land:
    """A farm's crops on their days, on which patches are worked."""

    farm: Farm
    tables: Tables
    climate: Climate
    practice_list: PracticeList
    timetable: Timetable

    @classmethod
    def of(cls, farm: Farm, tables: Tables) -> Land:
        """The crops a farm can grow in its climate, and those of its histories."""
        climate = for_farm(farm, tables)
        tables = fitted(tables, climate)
        practice_list = dated_practices(farm, tables, climate)
        timetable = Timetable(climate, tables, practice_list.calendar, practice_list.machines)
        return cls(farm, tables, climate, practice_list, timetable)

    def last_season(self, field: Field) -> tuple[Programme, bool]:
        """Programme of the last crop of a field, and whether anything could have come before it."""
        last = self.practice_list.of(field.history[-1])
        before = self._came_before(field, last)
        return self.timetable.programme(last if before is None else before, last), before is not None

    def _came_before(self, field: Field, last: DatedPractice) -> DatedPractice | None:
        earlier = [self.practice_list.of(key) for key in field.history[-2:-1]]
        for each in (*earlier, *self.practice_list.all):
            if self.timetable.fits(each, last)[0]:
                return each
        return None

    def work(self, practice: PatchPractice, weed: str) -> tuple[DatedOperation, ...]:
        """Passes of one year on a patch, or the day a cover is laid; by the stages of its own weed."""
        calendar = self.practice_list.calendar
        stages = weed_stages(self.climate, self.tables, weed, self.farm.region)
        anchors = season_anchors(replace(calendar, stages=stages), None, None, ())
        step = Step(
            programme=practice.key,
            order=1,
            operation=practice.operation,
            anchor=practice.anchor,
            offset_days=practice.offset_days,
            interval_days=practice.interval_days,
            times=practice.times,
            until=practice.until,
            until_gap_days=practice.until_gap_days,
            again=practice.again,
        )
        return tuple(
            DatedOperation(
                day=day,
                operation=practice.operation,
                programme=practice.key,
                part="in_crop",
                stage=stages.again_in_words()
                if turn
                else stages.in_words(practice.anchor, practice.offset_days),
            )
            for turn, day in enumerate(step_days(step, anchors, stages))
            if day < LATE_AUTUMN_DAY
        )

    def years(
        self, field: Field, crops: Sequence[str], weed: str, practice: PatchPractice | None
    ) -> tuple[PatchYear, ...]:
        """The seasons of a patch from harvest to harvest; work after a harvest stands in the next one too.

        Parameters
        ----------
        field : Field
        crops : sequence of str
            Practices of the field, one a season.
        weed : str
        practice : PatchPractice or None
            None for the crops alone.
        """
        found = []
        previous, after_harvest = self.practice_list.of(field.history[-1]), tuple[DatedOperation, ...]()
        for number, key in enumerate(crops):
            this = self.practice_list.of(key)
            usual = self.timetable.programme(previous, this)
            if practice is None:
                found.append(PatchYear(programme=usual))
            else:
                own = self.work(practice, weed)
                work = (
                    *(replace(op, day=max(op.day - YEAR, usual.start_day)) for op in after_harvest),
                    *own,
                )
                found.append(self._worked(usual, practice, weed, work, covered_before=number > 0))
                after_harvest = tuple(op for op in own if op.day >= this.harvest_day)
            previous = this
        return tuple(found)

    def _worked(
        self,
        usual: Programme,
        practice: PatchPractice,
        weed: str,
        work: Sequence[DatedOperation],
        *,
        covered_before: bool,
    ) -> PatchYear:
        own_year = [op.day for op in work if op.day >= 0]
        if not own_year:
            return PatchYear(programme=usual)
        first = usual.start_day if covered_before and practice.kind == "cover" else own_year[0]
        canopies, operations = usual.canopies, usual.operations
        if practice.crop == "gone":
            canopies = tuple(_ended(piece, first) for piece in canopies if piece.start_day < first)
            operations = tuple(op for op in operations if op.day < first)
        elif practice.crop == "cut":
            canopies = tuple(_cut(piece, own_year) for piece in canopies)
        if practice.kind == "cover":
            programme = replace(usual, canopies=canopies, operations=operations)
            return PatchYear(programme=programme, covered=(first, LATE_AUTUMN_DAY))
        everything = tuple(sorted((*operations, *work), key=lambda op: op.day))
        share = taken_share(practice, weed, self.tables)
        later = share * self.tables.number_or("patch", practice.key, "later_taken_share", 1.0)
        return PatchYear(
            programme=replace(usual, canopies=canopies, operations=everything),
            taken=tuple(
                RootsTaken(day=op.day, share=share if op.day == own_year[0] else later) for op in work
            ),
        )


def _ended(piece: CanopyPiece, day: int) -> CanopyPiece:
    end = min(piece.end_day, day)
    return replace(piece, end_day=end, cut_days=tuple(cut for cut in piece.cut_days if cut < end))


def _cut(piece: CanopyPiece, days: Sequence[int]) -> CanopyPiece:
    inside = {day for day in days if piece.start_day < day < piece.end_day}
    return replace(piece, cut_days=tuple(sorted(inside | set(piece.cut_days))))
