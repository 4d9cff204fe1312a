"""One season for its own sake: which practice holds a weed back, and how the year goes day by day."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rotation_opt.bands import three
from rotation_opt.climate import Climate, for_farm
from rotation_opt.errors import RotationOptError
from rotation_opt.groundwork import weeds_of
from rotation_opt.practices import DatedPractice, PracticeList, dated_practices, weed_stages
from rotation_opt.records import Farm, Programme, SeasonCourse, SeasonRow, Stand
from rotation_opt.season import SeasonTrace, respond, trace
from rotation_opt.tables import Tables
from rotation_opt.timetable import Timetable
from rotation_opt.varieties import fitted
from rotation_opt.weeds.parameters import LIKELY

Array = NDArray[np.float64]
Three = tuple[float, float, float]

FULL_STORE = 1.0  # reserve of an undisturbed stand: the start of every season shown here
PASSES = frozenset({"tillage", "weeding", "mowing", "end_cover"})
CUTS = frozenset({"cut", "grazing"})


@dataclass(frozen=True, slots=True)
class _Setting:
    """A farm's practices on their days in one weather, and what may follow what."""

    farm: Farm
    tables: Tables
    climate: Climate
    practice_list: PracticeList
    timetable: Timetable
    usual_before: tuple[str, ...]  # crops of the farm, the likeliest to come before first

    @classmethod
    def of(cls, farm: Farm, tables: Tables, climate: Climate, field: str | None) -> _Setting:
        tables = fitted(tables, climate)
        practice_list = dated_practices(farm, tables, climate)
        index, crops = practice_list.index, []
        if field is not None:
            crops = [each.history[-1] for each in farm.fields if each.name == field and each.history]
        last = Counter(each.history[-1] for each in farm.fields if each.history)
        grown = Counter(key for each in farm.fields for key in each.history)
        usual = [each.key for each in practice_list.practices if each.practice.usual]
        others = [key for key, _ in (*last.most_common(), *grown.most_common())] + usual
        others.sort(key=lambda key: key in index and _leaves_growth(practice_list.of(key)))
        return cls(
            farm,
            tables,
            climate,
            practice_list,
            Timetable(climate, tables, practice_list.calendar, practice_list.machines),
            tuple(dict.fromkeys((*crops, *others))),
        )

    def before(self, practice: DatedPractice) -> DatedPractice | None:
        """What comes before: the last crop if it can, else another of the farm's, else the first that can.

        Crops that leave the ground free go before stands that would have to be broken.
        """
        listed = (self.practice_list.of(key) for key in self.usual_before if key in self.practice_list.index)
        for previous in (*listed, *self.practice_list.practices):
            if self.timetable.fits(previous, practice)[0]:
                return previous
        return None

    def pair(self, previous: str, practice: str) -> Programme | None:
        """The season of one practice after another in this weather; None where they do not fit."""
        listed = {each.key: each for each in self.practice_list.practices}
        own, index = listed.get(practice), self.practice_list.index
        if own is None or previous not in index:
            return None
        before = self.practice_list.of(previous)
        return self.timetable.programme(before, own) if self.timetable.fits(before, own)[0] else None


def season_table(
    farm: Farm, tables: Tables, *, field: str | None = None, weed: str | None = None
) -> tuple[SeasonRow, ...]:
    """What one season of each practice does to each weed, from a full root store.

    Parameters
    ----------
    farm : Farm
    tables : Tables
    field : str, optional
        Its last crop comes before the season wherever it can, and what it bans is left out; by default the
        commonest last crop of the farm.
    weed : str, optional
        One weed; by default all that were counted on the farm, or on the field if it has any.

    Returns
    -------
    tuple of SeasonRow
        By weed, then in the order of the practices. Low to high covers the sets of weed figures.
    """
    setting = _Setting.of(farm, tables, for_farm(farm, tables), field)
    bans = frozenset(ban for each in farm.fields if each.name == field for ban in each.bans)
    allowed = [each for each in setting.practice_list.practices if not bans & _named(each, tables)]
    pairs = [(setting.before(practice), practice) for practice in allowed]
    programmes = [setting.timetable.programme(before, own) for before, own in pairs if before is not None]
    weeds = _weeds(farm, field) if weed is None else (weed,)
    response = respond(programmes, setting.climate, setting.tables, weeds)
    places = np.arange(len(programmes))
    grown = {
        key for each in farm.fields if field in (None, each.name) for key in (*each.history, *each.as_now)
    }
    rows = []
    for w, key in enumerate(weeds):
        enough = _enough_light(setting.tables, key)
        ends = np.stack(
            [response.autumn_after(places, w, d, FULL_STORE) for d in _likely_first(response.draws)],
            axis=1,
        )
        for place, programme in enumerate(programmes):
            rows.append(
                SeasonRow(
                    previous=programme.previous,
                    practice=programme.practice,
                    weed=key,
                    enough_light=enough,
                    head_start_days=_days(response.head_start_days[place, w]),
                    light=float(response.light[place, w]),
                    reserve_end=three(ends[place]),
                    passes=_count(programme, PASSES, tables),
                    cuts=_count(programme, CUTS, tables),
                    now=programme.practice in grown,
                )
            )
    return tuple(rows)


def season_course(
    farm: Farm, practice: str, tables: Tables, *, field: str | None = None, weed: str | None = None
) -> SeasonCourse:
    """One practice against one weed, day by day, from a full root store.

    Parameters
    ----------
    farm : Farm
    practice : str
        Its key.
    tables : Tables
    field : str, optional
        As in `season_table`.
    weed : str, optional
        By default the first that was counted on the field, or on the farm.

    Raises
    ------
    RotationOptError
        If the practice cannot be grown on this farm; says why.
    """
    climate = for_farm(farm, tables)
    setting = _Setting.of(farm, tables, climate, field)
    if practice not in {each.key for each in setting.practice_list.practices}:
        reason = setting.practice_list.reasons.get(practice, "it does not fit this farm and climate.")
        raise RotationOptError(f"{practice} cannot be grown on {farm.name}: {reason}")
    before = setting.before(setting.practice_list.of(practice))
    programme = None if before is None else setting.pair(before.key, practice)
    if programme is None:
        raise RotationOptError(f"{practice} can follow nothing that is grown on {farm.name}.")
    key = _weeds(farm, field)[0] if weed is None else weed
    seasons = [_Season.of(setting, programme, key)]
    usual = seasons[0].course
    last_day = usual.first_day + len(usual.light) - 1
    stages = weed_stages(climate, setting.tables, key, farm.region)
    alone = [three(np.concatenate([season.alone[kind] for season in seasons])) for kind in range(3)]
    return SeasonCourse(
        previous=programme.previous,
        practice=practice,
        weed=key,
        shift_days=climate.shift_days,
        first_day=usual.first_day,
        harvest_day=programme.harvest_day,
        bud_day=stages.days.get("bud", stages.frost),
        frost_day=stages.frost,
        cover=tuple(usual.cover.tolist()),
        stands=tuple(_stands(programme, last_day)),
        light=tuple(usual.light.tolist()),
        enough_light=_enough_light(setting.tables, key),
        mean_light=seasons[0].mean_light,
        head_start_days=seasons[0].head_start_days,
        emerged=tuple(usual.emerged.tolist()),
        shoots=tuple(usual.shoots[:, usual.draws.index(LIKELY)].tolist()),
        reserve=_three_a_day(seasons, usual.first_day, last_day),
        left_alone=alone[0],
        work_alone=alone[1],
        shade_alone=alone[2],
        operations=programme.operations,
        weed_figures=len(usual.draws),
        weathers=(),
    )


@dataclass(frozen=True, slots=True)
class _Season:
    """One programme in one weather: its course, and what work and shade do each on its own."""

    course: SeasonTrace
    alone: Array  # (3, D) reserve at the end with neither work nor crop, with work alone, with shade alone
    order: tuple[int, ...]  # draws, the likely one first
    mean_light: float
    head_start_days: float | None

    @classmethod
    def of(cls, setting: _Setting, programme: Programme, weed: str) -> _Season:
        variants = (
            programme,
            replace(programme, operations=(), canopies=()),
            replace(programme, canopies=()),
            replace(programme, operations=()),
        )
        response = respond(variants, setting.climate, setting.tables, (weed,))
        order = _likely_first(response.draws)
        ends = np.stack([response.autumn_after(np.arange(4), 0, d, FULL_STORE) for d in order], axis=1)
        return cls(
            trace(programme, setting.climate, setting.tables, weed, FULL_STORE),
            ends[1:],
            order,
            float(response.light[0, 0]),
            _days(response.head_start_days[0, 0]),
        )

    def reserve(self, first_day: int, last_day: int) -> Array:
        """Reserve of each draw on these days, (days, D); held before the first and after the last."""
        own = self.course.reserve[:, self.order]
        return np.asarray(
            own[np.clip(np.arange(first_day, last_day + 1) - self.course.first_day, 0, len(own) - 1)]
        )


def _three_a_day(seasons: Sequence[_Season], first_day: int, last_day: int) -> tuple[Three, ...]:
    """Low, likely and high of each day over all draws and weathers."""
    together = np.concatenate([season.reserve(first_day, last_day) for season in seasons], axis=1)
    return tuple(three(day) for day in together)


def _likely_first(draws: Sequence[str]) -> tuple[int, ...]:
    likely = list(draws).index(LIKELY)
    return likely, *(place for place in range(len(draws)) if place != likely)


def _stands(programme: Programme, last_day: int) -> Iterator[Stand]:
    """What grows, in order; a stand under a crop counts from that crop's harvest on, if it lives on."""
    for piece in sorted(programme.canopies, key=lambda each: (each.start_day, each.under)):
        if not piece.under:
            first = max(piece.start_day, programme.start_day)
            yield Stand(crop=piece.crop, first_day=first, last_day=min(piece.end_day, last_day))


def _leaves_growth(practice: DatedPractice) -> bool:
    return bool(practice.practice.leaves_stand or practice.practice.undersown)


def _count(programme: Programme, kinds: frozenset[str], tables: Tables) -> int:
    return sum(tables.operations[work.operation].kind in kinds for work in programme.operations)


def _named(practice: DatedPractice, tables: Tables) -> frozenset[str]:
    """All that a ban can name a practice by."""
    return (
        frozenset({practice.key, practice.crop, tables.crops[practice.crop].group}) | practice.practice.tags
    )


def _weeds(farm: Farm, field: str | None) -> tuple[str, ...]:
    """Weeds counted on the field, else on the farm."""
    there = (patch.weed for each in farm.fields if each.name == field for patch in each.patches)
    return tuple(dict.fromkeys(there)) or weeds_of(farm)


def _days(value: float) -> float | None:
    return None if math.isnan(value) else float(value)


def _enough_light(tables: Tables, weed: str) -> float:
    """Share of full light below which the weed grows less, as in the head start."""
    return tables.number("weed_parameter", weed, "light_full")
