"""Work on small patches, by hand or under a cover, on top of the crops of the field.

Every counted patch is followed through the seasons of the crops that the grower has in mind, with the extra
work on the patch alone. What a cover keeps dark and what shoots are cut goes through the season model as any
other shade and pass. Roots that are dug out and carried off do not grow again as buried pieces do; since
standing shoots do not depend on the reserve, they can be taken out of the solved season on their day.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rotation_opt.bands import three
from rotation_opt.climate import SEASON_LENGTH, SEASON_START, Climate, for_farm, index_of
from rotation_opt.infestation import weed_start
from rotation_opt.practices import (
    DatedPractice,
    PracticeList,
    dated_practices,
    season_anchors,
    step_days,
    weed_stages,
)
from rotation_opt.records import (
    CanopyPiece,
    DatedOperation,
    Farm,
    Field,
    Patch,
    PatchPractice,
    Programme,
    Step,
)
from rotation_opt.season import respond
from rotation_opt.tables import Tables
from rotation_opt.timetable import Timetable
from rotation_opt.varieties import fitted
from rotation_opt.weeds.parameters import LIKELY, WeedParameters, weed_parameters
from rotation_opt.weeds.pressure import Works
from rotation_opt.weeds.reserve import LATE_AUTUMN_DAY, run, settle
from rotation_opt.weeds.response import reserve_after

Array = NDArray[np.float64]
Three = tuple[float, float, float]

M2_PER_HA = 10_000.0
PART_M2 = 100.0  # hours and materials in the tables are for this much
YEAR = 365
SEASONS = 2  # patch work is shown for one season and for this many


@dataclass(frozen=True, slots=True, kw_only=True)
class PatchSeason:
    """A patch after one or two seasons.

    Attributes
    ----------
    roots : tuple of float
        Root reserve on 1 November as share of that before the first season: low, likely, high.
    shoots_per_m2 : tuple of float
        Shoots that these roots could raise the next year: low, likely, high.
    hours, materials : float
        Of this season on the whole patch. [h, currency of the tables]
    """

    roots: Three
    shoots_per_m2: Three
    hours: float
    materials: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PatchOption:
    """One way to work on one patch.

    Attributes
    ----------
    practice : str
        Key of the patch practice; "" for the crops of the field alone.
    seasons : tuple of PatchSeason
        After the first and the second season; fewer where the field is not farmed then, none where the patch
        is too large.
    operations : tuple of DatedOperation
        The passes of the first season.
    most_m2 : float or None
        Largest area one person can do in a season; None for the crops alone.
    refused : str
        Why it is not shown; empty if it is.
    """

    practice: str
    seasons: tuple[PatchSeason, ...]
    operations: tuple[DatedOperation, ...]
    most_m2: float | None
    refused: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PatchOutlook:
    """One counted patch with all that could be done on it.

    Attributes
    ----------
    field : str
    patch : Patch
    crops : tuple of str
        Practices of the field in the seasons followed, from what it grows now.
    options : tuple of PatchOption
        The crops alone first, work that the patch is too large for last.
    shift_days : int
        What to add to a day to get to the calendar: half a year south of the equator, else 0.
    """

    field: str
    patch: Patch
    crops: tuple[str, ...]
    options: tuple[PatchOption, ...]
    shift_days: int


def patch_outlooks(farm: Farm, tables: Tables, *, field: str | None = None) -> tuple[PatchOutlook, ...]:
    """What one and two seasons of each patch practice would leave of every counted patch.

    Parameters
    ----------
    farm : Farm
    tables : Tables
    field : str, optional
        Only the patches of this field.

    Returns
    -------
    tuple of PatchOutlook
        In the order of the farm file. Patches of fields that are not farmed are left out.

    Raises
    ------
    TableError
        If a figure is missing.
    """
    bench = _Bench.of(farm, tables)
    return tuple(
        bench.outlook(each, patch)
        for each in farm.fields
        if field in (None, each.name) and each.history and each.as_now and each.as_now[0]
        for patch in each.patches
    )


def refusal(practice: PatchPractice, patch: Patch, tables: Tables) -> str:
    """Why a patch is too large for a practice; empty if it is not."""
    most = tables.number("patch", practice.key, "area_most_m2")
    if patch.area_ha * M2_PER_HA <= most:
        return ""
    return "larger than one person can do in a season"


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
class _Event:
    """A pass on a patch: its day, and the share of the store carried off."""

    day: int
    taken: float


@dataclass(frozen=True, slots=True)
class _Season:
    """One season of one patch: its programme, the patch passes in it, and the span under a cover."""

    programme: Programme
    events: tuple[_Event, ...]
    covered: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True)
class _Bench:
    """A farm's crops on their days, ready to follow patches."""

    farm: Farm
    tables: Tables
    climate: Climate
    practice_list: PracticeList
    timetable: Timetable

    @classmethod
    def of(cls, farm: Farm, tables: Tables) -> _Bench:
        climate = for_farm(farm, tables)
        tables = fitted(tables, climate)
        practice_list = dated_practices(farm, tables, climate)
        timetable = Timetable(climate, tables, practice_list.calendar, practice_list.machines)
        return cls(farm, tables, climate, practice_list, timetable)

    def outlook(self, field: Field, patch: Patch) -> PatchOutlook:
        crops = _until_lease_end(field)
        parameters = weed_parameters(self.tables, [patch.weed])
        start = self._today(field, patch)
        known = [*self.tables.patch_practices.values()]
        refused = {each.key: refusal(each, patch, self.tables) for each in known}
        worked: list[PatchPractice | None] = [None, *(each for each in known if not refused[each.key])]
        paths = [self._seasons(field, crops, patch.weed, practice) for practice in worked]
        # ground without a crop where shoots come through a cover: followed beside what it keeps dark
        gaps = [tuple(replace(season, covered=None) for season in path) for path in paths]
        courses = self._follow([*paths, *gaps], parameters, start)
        shares = [
            self.tables.number("patch", each.key, "gap_share") if each and each.kind == "cover" else 0.0
            for each in worked
        ]
        courses = [
            [(1.0 - share) * under + share * open_ for under, open_ in zip(covered, through, strict=True)]
            for covered, through, share in zip(
                courses[: len(worked)], courses[len(worked) :], shares, strict=True
            )
        ]
        full = parameters.shoots_full_per_m2[0]
        power = parameters.shoot_power[0]
        likely_first = [
            parameters.draws.index(LIKELY),
            *(n for n, name in enumerate(parameters.draws) if name != LIKELY),
        ]
        options = []
        for practice, path, reserves in zip(worked, paths, courses, strict=True):
            seasons = []
            thinner = 1.0
            for number, reserve in enumerate(reserves):
                passes = [event for event in path[number].events if event.day >= 0]
                hours, materials = self._effort(practice, patch, number, len(passes), thinner)
                left = (reserve / start[1])[likely_first]
                shoots = (full * reserve**power)[likely_first]
                thinner = float(left[0] ** power[likely_first[0]])
                seasons.append(
                    PatchSeason(
                        roots=three(left), shoots_per_m2=three(shoots), hours=hours, materials=materials
                    )
                )
            options.append(
                PatchOption(
                    practice="" if practice is None else practice.key,
                    seasons=tuple(seasons),
                    operations=() if practice is None else self._work(practice, patch.weed),
                    most_m2=None if practice is None else self._most(practice),
                    refused="",
                )
            )
        for each in known:
            if refused[each.key]:
                options.append(
                    PatchOption(
                        practice=each.key,
                        seasons=(),
                        operations=self._work(each, patch.weed),
                        most_m2=self._most(each),
                        refused=refused[each.key],
                    )
                )
        return PatchOutlook(
            field=field.name,
            patch=patch,
            crops=crops,
            options=tuple(options),
            shift_days=self.climate.shift_days,
        )

    def _most(self, practice: PatchPractice) -> float:
        return self.tables.number("patch", practice.key, "area_most_m2")

    def _today(self, field: Field, patch: Patch) -> tuple[Array, Array]:
        """Reserve of one patch at the last harvest, and on 1 November after it, each (D,)."""
        last = self.practice_list.of(field.history[-1])
        before = self._came_before(field, last)
        pairs = [] if before is None else [self.timetable.programme(before, last)]
        if not pairs:  # nothing is known of that season: the count alone speaks
            pairs = [self.timetable.programme(last, last)]
        start = weed_start(
            replace(field, patches=(patch,)),
            self.farm,
            response=respond(pairs, self.climate, self.tables, [patch.weed]),
            pair=-1 if before is None else 0,
            climate=self.climate,
            tables=self.tables,
        )
        return start.reserve[0], start.autumn[0]

    def _came_before(self, field: Field, last: DatedPractice) -> DatedPractice | None:
        earlier = [self.practice_list.of(key) for key in field.history[-2:-1]]
        for each in (*earlier, *self.practice_list.all):
            if self.timetable.fits(each, last)[0]:
                return each
        return None

    # ------------------------------------------------ the seasons of a patch

    def _work(self, practice: PatchPractice, weed: str) -> tuple[DatedOperation, ...]:
        """Passes of one year on the patch, or the day a cover is laid; by the stages of its own weed."""
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
        days = step_days(step, anchors, stages)
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
            for turn, day in enumerate(days)
            if day < LATE_AUTUMN_DAY
        )

    def _seasons(
        self, field: Field, crops: Sequence[str], weed: str, practice: PatchPractice | None
    ) -> tuple[_Season, ...]:
        """The seasons of a patch from harvest to harvest; work after a harvest stands in the next one too."""
        seasons = []
        previous, after_harvest = self.practice_list.of(field.history[-1]), tuple[DatedOperation, ...]()
        for number, key in enumerate(crops):
            this = self.practice_list.of(key)
            usual = self.timetable.programme(previous, this)
            if practice is None:
                seasons.append(_Season(usual, ()))
            else:
                own = self._work(practice, weed)
                work = (
                    *(replace(op, day=max(op.day - YEAR, usual.start_day)) for op in after_harvest),
                    *own,
                )
                seasons.append(self._worked(usual, practice, weed, work, covered_before=number > 0))
                after_harvest = tuple(op for op in own if op.day >= this.harvest_day)
            previous = this
        return tuple(seasons)

    def _worked(
        self,
        usual: Programme,
        practice: PatchPractice,
        weed: str,
        work: Sequence[DatedOperation],
        *,
        covered_before: bool,
    ) -> _Season:
        own_year = [op.day for op in work if op.day >= 0]
        if not own_year:
            return _Season(usual, ())
        first = usual.start_day if covered_before and practice.kind == "cover" else own_year[0]
        canopies, operations = usual.canopies, usual.operations
        if practice.crop == "gone":
            canopies = tuple(_ended(piece, first) for piece in canopies if piece.start_day < first)
            operations = tuple(op for op in operations if op.day < first)
        elif practice.crop == "cut":
            canopies = tuple(_cut(piece, own_year) for piece in canopies)
        if practice.kind == "cover":
            programme = replace(usual, canopies=canopies, operations=operations)
            return _Season(programme, (), (first, LATE_AUTUMN_DAY))
        everything = sorted((*operations, *work), key=lambda op: op.day)
        share = taken_share(practice, weed, self.tables)
        later = share * self.tables.number_or("patch", practice.key, "later_taken_share", 1.0)
        events = tuple(_Event(op.day, share if op.day == own_year[0] else later) for op in work)
        return _Season(replace(usual, canopies=canopies, operations=tuple(everything)), events)

    # ------------------------------------------------ the season model

    def _follow(
        self,
        paths: Sequence[Sequence[_Season]],
        parameters: WeedParameters,
        start: tuple[Array, Array],
    ) -> list[list[Array]]:
        """For each path the reserve (D,) on 1 November after each of its seasons."""
        seasons = [season for path in paths for season in path]
        solved = iter(self._solve(seasons, parameters))
        courses = []
        for path in paths:
            at_harvest = start[0]
            after: list[Array] = []
            for _ in path:
                (growth, crowding), (late_growth, late_crowding) = next(solved)
                after.append(reserve_after(late_growth, late_crowding, at_harvest))
                at_harvest = reserve_after(growth, crowding, at_harvest)
            courses.append(after)
        return courses

    def _solve(
        self, seasons: Sequence[_Season], parameters: WeedParameters
    ) -> list[tuple[tuple[Array, Array], tuple[Array, Array]]]:
        """Growth and crowding (D,) of each season up to its harvest, and up to 1 November."""
        around = settle(self.climate, parameters)
        works = Works(self.climate, self.tables, parameters)
        pressure = works.pressure([each.programme for each in seasons], around.heat, around.calendar)
        shade = np.ones((SEASON_LENGTH, len(seasons), 1))
        for g, season in enumerate(seasons):
            if season.covered is not None:
                first, last = (index_of(day) for day in season.covered)
                shade[first:last, g] = 0.0
        pressure = replace(pressure, light=pressure.light * shade)
        most = max(len(season.events) for season in seasons)
        note = np.empty((most + 2, len(seasons)), dtype=np.int64)
        for g, season in enumerate(seasons):
            harvest = index_of(season.programme.harvest_day)
            note[:, g] = harvest
            note[-1, g] = max(index_of(LATE_AUTUMN_DAY), harvest)
            for n, event in enumerate(season.events):
                note[n, g] = event.day - SEASON_START
        window = np.zeros((len(seasons), 1), dtype=np.int64)
        course = run(around, pressure, parameters, note, count_from=window, count_to=window)
        solved = []
        for g, season in enumerate(seasons):
            kept, added = course.kept[:, g, 0], course.added[:, g, 0]
            up_to = [index_of(season.programme.harvest_day), int(note[-1, g])]
            solved.append(
                tuple(
                    _without_what_was_taken(season.events, kept, added, end, row)
                    for end, row in zip(up_to, (most, most + 1), strict=True)
                )
            )
        return solved  # type: ignore[return-value]  # two of them each

    # ------------------------------------------------ hours and money

    def _effort(
        self, practice: PatchPractice | None, patch: Patch, season: int, passes: int, thinner: float
    ) -> tuple[float, float]:
        """Hours and materials of one season on the whole patch."""
        if practice is None:
            return 0.0, 0.0

        def figure(quantity: str) -> float:
            return self.tables.number("patch", practice.key, quantity)

        parts = patch.area_ha * M2_PER_HA / PART_M2
        later = figure("later_hours_share")
        materials = parts * figure("cost_per_100m2") * (figure("later_cost_share") if season else 1.0)
        if practice.kind == "cover":
            return parts * figure("hours_per_100m2") * (later if season else 1.0), materials
        turns = (1.0 if season == 0 else later) + later * (passes - 1) if passes else 0.0
        hours = parts * figure("hours_per_100m2") * turns
        if practice.kind == "pull":
            shoots = patch.shoots_per_m2 * patch.area_ha * M2_PER_HA * thinner
            hours += passes * shoots / figure("shoots_per_hour")
        return hours, materials


def _until_lease_end(field: Field) -> tuple[str, ...]:
    """What grows on a field in the seasons followed, as far as it is farmed."""
    crops: list[str] = []
    for key in field.as_now[:SEASONS]:
        if not key:
            break
        crops.append(key)
    return tuple(crops)


def _ended(piece: CanopyPiece, day: int) -> CanopyPiece:
    end = min(piece.end_day, day)
    return replace(piece, end_day=end, cut_days=tuple(cut for cut in piece.cut_days if cut < end))


def _cut(piece: CanopyPiece, days: Sequence[int]) -> CanopyPiece:
    inside = {day for day in days if piece.start_day < day < piece.end_day}
    return replace(piece, cut_days=tuple(sorted(inside | set(piece.cut_days))))


def _without_what_was_taken(
    events: Sequence[_Event], kept: Array, added: Array, end: int, row: int
) -> tuple[Array, Array]:
    """Growth and crowding up to a day (row `row` of the notes), with roots carried off at the events.

    In ``u = 1/R`` every stretch is ``u -> kept u + added``; taking a share t of the roots makes u larger by
    ``1 / (1 - t)``. The stretches between the events follow from the notes of the whole course.
    """
    whole_kept, whole_added = np.ones_like(kept[0]), np.zeros_like(added[0])
    last_kept, last_added = whole_kept, whole_added
    stops = [(n, event.taken) for n, event in enumerate(events) if event.day - SEASON_START < end]
    for n, taken in (*stops, (row, 0.0)):
        stretch = kept[n] / last_kept
        gained = added[n] - stretch * last_added
        whole_kept, whole_added = stretch * whole_kept, stretch * whole_added + gained
        whole_kept, whole_added = whole_kept / (1.0 - taken), whole_added / (1.0 - taken)
        last_kept, last_added = kept[n], added[n]
    return 1.0 / whole_kept, whole_added / whole_kept
