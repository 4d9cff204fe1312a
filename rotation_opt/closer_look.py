"""One season for its own sake: which practice holds a weed back, and how the year goes day by day."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass

import numpy as np

from rotation_opt.climate import Climate, for_farm
from rotation_opt.errors import RotationOptError
from rotation_opt.groundwork import weeds_of
from rotation_opt.practices import DatedPractice, PracticeList, dated_practices
from rotation_opt.records import Farm, SeasonCourse, SeasonRow
from rotation_opt.season import respond, trace
from rotation_opt.tables import Tables
from rotation_opt.timetable import Timetable
from rotation_opt.varieties import fitted
from rotation_opt.weeds.parameters import LIKELY

FULL_STORE = 1.0  # reserve of an undisturbed stand: the start of every season shown here


@dataclass(frozen=True, slots=True)
class _Setting:
    """A farm's practices on their days, and what may follow what."""

    tables: Tables
    climate: Climate
    practice_list: PracticeList
    timetable: Timetable
    usual_before: tuple[str, ...]  # last crops, the commonest first

    @classmethod
    def of(cls, farm: Farm, tables: Tables, field: str | None) -> _Setting:
        climate = for_farm(farm, tables)
        tables = fitted(tables, climate)
        practice_list = dated_practices(farm, tables, climate)
        last = [each.history[-1] for each in farm.fields if each.history and field in (None, each.name)]
        return cls(
            tables,
            climate,
            practice_list,
            Timetable(climate, tables, practice_list.calendar, practice_list.machines),
            tuple(key for key, _ in Counter(last).most_common()),
        )

    def before(self, practice: DatedPractice) -> DatedPractice | None:
        """What comes before: a last crop of the farm if it can, else the first practice that can."""
        listed = (self.practice_list.of(key) for key in self.usual_before if key in self.practice_list.index)
        for previous in (*listed, *self.practice_list.practices):
            if self.timetable.fits(previous, practice)[0]:
                return previous
        return None


def season_table(
    farm: Farm, tables: Tables, *, field: str | None = None, weed: str | None = None
) -> tuple[SeasonRow, ...]:
    """What one season of each practice does to each weed, from a full root store.

    Parameters
    ----------
    farm : Farm
    tables : Tables
    field : str, optional
        Its last crop comes before the season wherever it can; by default the commonest last crop of the farm.
    weed : str, optional
        One weed; by default all that were counted on the farm.

    Returns
    -------
    tuple of SeasonRow
        By weed, then in the order of the practices.
    """
    setting = _Setting.of(farm, tables, field)
    pairs = [(setting.before(practice), practice) for practice in setting.practice_list.practices]
    programmes = [setting.timetable.programme(before, own) for before, own in pairs if before is not None]
    weeds = weeds_of(farm) if weed is None else (weed,)
    response = respond(programmes, setting.climate, setting.tables, weeds)
    places = np.arange(len(programmes))
    rows = []
    for w, key in enumerate(weeds):
        enough = _enough_light(setting.tables, key)
        ends = np.stack(
            [response.autumn_after(places, w, d, FULL_STORE) for d in range(len(response.draws))], axis=1
        )
        likely = response.draws.index(LIKELY)
        for place, (previous, practice) in enumerate(response.pairs):
            head_start = float(response.head_start_days[place, w])
            rows.append(
                SeasonRow(
                    previous=previous,
                    practice=practice,
                    weed=key,
                    enough_light=enough,
                    head_start_days=None if math.isnan(head_start) else head_start,
                    light=float(response.light[place, w]),
                    reserve_end=(
                        float(ends[place].min()),
                        float(ends[place, likely]),
                        float(ends[place].max()),
                    ),
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
        By default the first that was counted on the farm.

    Raises
    ------
    RotationOptError
        If the practice cannot be grown on this farm; says why.
    """
    setting = _Setting.of(farm, tables, field)
    if practice not in {each.key for each in setting.practice_list.practices}:
        reason = setting.practice_list.reasons.get(practice, "it does not fit this farm and climate.")
        raise RotationOptError(f"{practice} cannot be grown on {farm.name}: {reason}")
    own = setting.practice_list.of(practice)
    before = setting.before(own)
    if before is None:
        raise RotationOptError(f"{practice} can follow nothing that is grown on {farm.name}.")
    key = weeds_of(farm)[0] if weed is None else weed
    programme = setting.timetable.programme(before, own)
    course = trace(programme, setting.climate, setting.tables, key, FULL_STORE)
    return SeasonCourse(
        previous=before.key,
        practice=practice,
        weed=key,
        first_day=course.first_day,
        cover=tuple(course.cover.tolist()),
        light=tuple(course.light.tolist()),
        enough_light=_enough_light(setting.tables, key),
        emerged=tuple(course.emerged.tolist()),
        reserve=tuple(course.reserve[:, course.draws.index(LIKELY)].tolist()),
        operations=course.operations,
    )


def _enough_light(tables: Tables, weed: str) -> float:
    """Share of full light below which the weed grows less, as in the head start."""
    return tables.number("weed_parameter", weed, "light_full")
