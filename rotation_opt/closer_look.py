"""One season for its own sake: which practice holds a weed back, and how the year goes day by day."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rotation_opt.bands import three
from rotation_opt.climate import Climate, for_farm, weather_years
from rotation_opt.errors import RotationOptError
from rotation_opt.groundwork import weeds_of
from rotation_opt.infestation import weed_start
from rotation_opt.practices import DatedPractice, PracticeList, dated_practices, weed_stages
from rotation_opt.records import CountedStand, Farm, Programme, SeasonCourse, SeasonRow, Stand
from rotation_opt.season import Response, SeasonTrace, respond, trace
from rotation_opt.season_error import reserve_with_error, season_errors
from rotation_opt.tables import Tables
from rotation_opt.timetable import Timetable, in_weather
from rotation_opt.varieties import fitted
from rotation_opt.weeds.parameters import LIKELY

Array = NDArray[np.float64]
Three = tuple[float, float, float]

FULL_STORE = 1.0  # reserve of an undisturbed stand: the start of every season shown here
_THINNER = 0.5  # a second start: two tell a season's growth and crowding apart
MOST_YEARS = 5  # weather years of a long record that seasons are followed in
PASSES = frozenset({"tillage", "weeding", "mowing", "end_cover"})
CUTS = frozenset({"cut", "grazing"})
NO_ERROR = np.ones(1)


@dataclass(frozen=True, slots=True)
class _Setting:
    """A farm's practices on their days in one weather, and what may follow what."""

    farm: Farm
    tables: Tables
    climate: Climate
    practice_list: PracticeList
    timetable: Timetable
    here: tuple[str, ...]  # last crop of the field looked at, if it is one field
    usual_before: tuple[str, ...]  # crops of the farm, the likeliest to come before first

    home: Climate | None = None  # the climate, where this is the weather of a single year

    @classmethod
    def of(cls, farm: Farm, tables: Tables, field: str | None) -> _Setting:
        """The farm in the mean weather of its climate."""
        climate = for_farm(farm, tables)
        tables = fitted(tables, climate)
        practice_list = dated_practices(farm, tables, climate)
        index = practice_list.index
        here = [each.history[-1] for each in farm.fields if each.name == field and each.history]
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
            tuple(here),
            tuple(dict.fromkeys(others)),
        )

    def before(self, practice: DatedPractice) -> DatedPractice | None:
        """What comes before: the field's last crop if it can, else another of the farm's, else any that can.

        Another crop goes before the same one, and a crop that leaves the ground free before a stand that
        would have to be broken.
        """
        index = self.practice_list.index
        others = [self.practice_list.of(key) for key in self.usual_before if key in index]
        others.sort(key=lambda each: each.crop == practice.crop)
        here = [self.practice_list.of(key) for key in self.here if key in index]
        for previous in (*here, *others, *self.practice_list.practices):
            if self.timetable.fits(previous, practice)[0]:
                return previous
        return None

    def in_year(self, climate: Climate) -> _Setting:
        """The same farm and varieties, with all practices on their days in the weather of one year."""
        practice_list = dated_practices(self.farm, self.tables, climate)
        timetable = Timetable(climate, self.tables, practice_list.calendar, practice_list.machines)
        return replace(
            self, climate=climate, practice_list=practice_list, timetable=timetable, home=self.climate
        )

    def season(self, usual: Programme) -> Programme:
        """A season on the days of this weather; on the usual days where it leaves no room for it."""
        return in_weather(usual, self.practice_list, self.timetable)

    def response(self, programmes: Sequence[Programme], weeds: Sequence[str]) -> Response:
        """What these seasons do to the weeds in this weather."""
        return respond(programmes, self.climate, self.tables, weeds, home=self.home)


@dataclass(frozen=True, slots=True)
class _Years:
    """The weather that low to high covers."""

    names: tuple[str, ...]
    settings: tuple[_Setting, ...]
    times: tuple[int, ...]  # how often each counts: its share of all years

    @classmethod
    def of(cls, setting: _Setting, most: int) -> _Years:
        """All kinds of weather years; of a long record so many, from the coolest to the warmest."""
        years = weather_years(setting.climate, setting.tables)
        if len(years) > most:
            by_warmth = sorted(years, key=lambda year: float(year.climate.mean_temperature.mean()))
            years = tuple(by_warmth[(2 * place + 1) * len(years) // (2 * most)] for place in range(most))
        least = min(year.weight for year in years)
        return cls(
            tuple(year.name for year in years),
            tuple(
                setting if year.climate is setting.climate else setting.in_year(year.climate)
                for year in years
            ),
            tuple(round(year.weight / least) for year in years),
        )

    def three(self, likely: float, courses: Sequence[Array]) -> Three:
        """Low, likely and high of the courses of each year, any number of them."""
        return three(
            np.concatenate(
                [[likely], *(np.tile(each.ravel(), n) for each, n in zip(courses, self.times, strict=True))]
            )
        )


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
        By weed, then in the order of the practices. Low to high covers weed figures, weather years and the
        error of a season.
    """
    setting = _Setting.of(farm, tables, field)
    bans = frozenset(ban for each in farm.fields if each.name == field for ban in each.bans)
    allowed = [each for each in setting.practice_list.practices if not bans & _named(each, tables)]
    pairs = [(setting.before(practice), practice) for practice in allowed]
    programmes = [setting.timetable.programme(before, own) for before, own in pairs if before is not None]
    weeds = _weeds(farm, field) if weed is None else (weed,)
    years = _Years.of(setting, MOST_YEARS)
    dated = [[year.season(each) for each in programmes] for year in years.settings]
    usual = setting.response(programmes, weeds)
    responses = [
        usual if year is setting else year.response(seasons, weeds)
        for year, seasons in zip(years.settings, dated, strict=True)
    ]
    grown = {
        key for each in farm.fields if field in (None, each.name) for key in (*each.history, *each.as_now)
    }
    rows = []
    for w, key in enumerate(weeds):
        enough = _enough_light(setting.tables, key)
        errors = season_errors(setting.tables, key, len(usual.draws))
        for place, programme in enumerate(programmes):
            rows.append(
                SeasonRow(
                    previous=programme.previous,
                    practice=programme.practice,
                    weed=key,
                    enough_light=enough,
                    head_start_days=_days(usual.head_start_days[place, w]),
                    light=float(usual.light[place, w]),
                    reserve_end=years.three(
                        _end(usual, place, w)[usual.draws.index(LIKELY)],
                        [_end(response, place, w, errors) for response in responses],
                    ),
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
    setting = _Setting.of(farm, tables, field)
    known = tables.practices[practice]
    name = known.name_us if farm.region == "us" else known.name_uk
    if practice not in {each.key for each in setting.practice_list.practices}:
        reason = setting.practice_list.reasons.get(practice, "it does not fit this farm and climate")
        raise RotationOptError(f'"{name}" cannot be grown on {farm.name}: {reason}.')
    own = setting.practice_list.of(practice)
    before = setting.before(own)
    if before is None:
        raise RotationOptError(f'"{name}" can follow nothing that is grown on {farm.name}.')
    programme = setting.timetable.programme(before, own)
    key = _weeds(farm, field)[0] if weed is None else weed
    years = _Years.of(setting, MOST_YEARS)
    season = _Season.of(setting, programme, key)
    seasons = [
        season if year is setting else _Season.of(year, year.season(programme), key)
        for year in years.settings
    ]
    usual, likely = season.course, season.course.draws.index(LIKELY)
    last_day = usual.first_day + len(usual.light) - 1
    stages = weed_stages(setting.climate, setting.tables, key, farm.region)
    errors = season_errors(setting.tables, key, len(usual.draws))
    passed = _share_of_change(usual.reserve[:, likely])
    reserves = [each.reserve(usual.first_day, errors, passed) for each in seasons]
    alone = [
        years.three(
            _end(season.response, place, 0)[likely],
            [_end(each.response, place, 0, errors) for each in seasons],
        )
        for place in range(1, len(season.response.pairs))
    ]
    return SeasonCourse(
        previous=programme.previous,
        practice=practice,
        weed=key,
        shift_days=setting.climate.shift_days,
        first_day=usual.first_day,
        harvest_day=programme.harvest_day,
        bud_day=stages.days.get("bud", stages.frost),
        frost_day=stages.frost,
        cover=tuple(usual.cover.tolist()),
        stands=tuple(_stands(programme, last_day)),
        light=tuple(usual.light.tolist()),
        enough_light=_enough_light(setting.tables, key),
        fitted_light=three(
            np.array([setting.tables.draw(name, key, "light_full") for name in (LIKELY, *usual.draws)])
        ),
        mean_light=season.mean_light,
        head_start_days=season.head_start_days,
        emerged=tuple(usual.emerged.tolist()),
        shoots=tuple(usual.shoots[:, likely].tolist()),
        reserve=tuple(
            years.three(day, [each[place] for each in reserves])
            for place, day in enumerate(usual.reserve[:, likely])
        ),
        left_alone=alone[0],
        work_alone=alone[1],
        shade_alone=alone[2],
        operations=programme.operations,
        weed_figures=len(usual.draws),
        weathers=years.names,
        counted=_counted(setting, season, seasons, years=years, field=field, weed=key),
    )


@dataclass(frozen=True, slots=True)
class _Season:
    """One programme in one weather: its course, and what work and shade do each on its own.

    The response holds the season itself, then that with neither work nor crop, with work alone and with shade
    alone.
    """

    course: SeasonTrace
    thinner: Array  # (days, D) reserve from half a full store
    response: Response
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
        response = setting.response(variants, (weed,))
        full, thinner = (
            trace(programme, setting.climate, setting.tables, weed, start, home=setting.home)
            for start in (FULL_STORE, _THINNER)
        )
        return cls(
            full,
            thinner.reserve,
            response,
            float(response.light[0, 0]),
            _days(response.head_start_days[0, 0]),
        )

    def reserve(self, first_day: int, errors: Array, passed: Array) -> Array:
        """Reserve on each day from the first, (days, E, D); full on the first, held after its own last.

        Parameters
        ----------
        first_day : int
        errors : ndarray (E, D)
            Of the season as a whole.
        passed : ndarray (days,)
            How much of each error, in log, there is by each day.
        """
        days = np.arange(first_day, first_day + len(passed)) - self.course.first_day
        known = np.clip(days, 0, len(self.course.reserve) - 1)
        full, thinner = self.course.reserve[known], self.thinner[known]
        full[0], thinner[0] = FULL_STORE, _THINNER
        # 1/R of two starts: what is kept of a difference between them
        kept = (1.0 / thinner - 1.0 / full) / (1.0 / _THINNER - 1.0 / FULL_STORE)
        growth, crowding = 1.0 / kept, 1.0 / (kept * full) - 1.0 / FULL_STORE
        off = errors ** passed[:, None, None]
        cap = self.response.reserve_cap[0]
        return reserve_with_error(growth[:, None], crowding[:, None], FULL_STORE, off, cap=cap)


def _share_of_change(reserve: Array) -> Array:
    """How much of all that a season does to the roots, up and down, is done by each day, (days,)."""
    change = np.abs(np.diff(np.log(reserve), prepend=np.log(FULL_STORE))) + _NO_CHANGE
    change[0] = 0.0
    return np.asarray(np.cumsum(change) / change.sum())


_NO_CHANGE = 1e-12  # where nothing changes at all, every day counts alike


def _counted(
    setting: _Setting,
    season: _Season,
    seasons: Sequence[_Season],
    *,
    years: _Years,
    field: str | None,
    weed: str,
) -> CountedStand | None:
    """What the season does to the stand counted on a field; None unless it follows that field's last crop."""
    land = next((each for each in setting.farm.fields if each.name == field), None)
    weeds = () if land is None else tuple(dict.fromkeys(patch.weed for patch in land.patches))
    if land is None or weed not in weeds or season.response.pairs[0][0] != land.history[-1]:
        return None
    last = setting.practice_list.of(land.history[-1])
    earlier = [setting.practice_list.of(key) for key in land.history[-2:-1]]
    before = next(
        (each for each in (*earlier, *setting.practice_list.all) if setting.timetable.fits(each, last)[0]),
        None,
    )
    counted = setting.response([setting.timetable.programme(before or last, last)], weeds)
    start = weed_start(
        land,
        setting.farm,
        response=counted,
        pair=-1 if before is None else 0,
        climate=setting.climate,
        tables=setting.tables,
    ).reserve[weeds.index(weed)]
    draws, likely = np.arange(len(start)), season.course.draws.index(LIKELY)
    errors = season_errors(setting.tables, weed, len(start))
    end = season.response.autumn_after(0, 0, draws, start)
    shoots = season.response.shoots_after(0, 0, draws, start)

    return CountedStand(
        field=land.name,
        start=three(np.concatenate([start[[likely]], start])),
        end=years.three(end[likely], [_end(each.response, 0, 0, errors, start) for each in seasons]),
        # these stand before the season is over, as in the first year of a plan
        shoots_per_m2=years.three(
            shoots[likely], [each.response.shoots_after(0, 0, draws, start) for each in seasons]
        ),
    )


def _end(
    response: Response, place: int, weed: int, errors: Array = NO_ERROR, start: Array | float = FULL_STORE
) -> Array:
    """Reserve of each draw in late autumn, by default from a full store, (D,); (E, D) with errors."""
    growth, crowding = response.autumn_growth[place, weed], response.autumn_crowding[place, weed]
    return reserve_with_error(growth, crowding, start, errors, cap=response.reserve_cap[weed])


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
