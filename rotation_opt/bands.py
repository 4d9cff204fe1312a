"""How far the weeds of a plan may lie from what is likely, over weed figures and weather years.

Plans are chosen with the likely weed figures in a usual year. What is printed beside it is a band: the same
plans are followed with many sets of weed figures that explain the published trials about equally well, each
through weather drawn anew for every year, and with an error of each practice as large as the usual one with
which a fit foretells trials whose study it has not seen (``season_error``). The counted shoots are read with
the same figures, so a set under which the stand is strong in roots starts strong.

Once counts of years done have been held against these courses (``state_estimate.py``), courses that foretold
them well stand for more of what may come: a `Belief` says which courses go on, and how often each.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rotation_opt.arrays import NOT_FARMED, SelectionData
from rotation_opt.climate import Climate, weather_years
from rotation_opt.groundwork import Groundwork
from rotation_opt.infestation import WeedStart, season_counted, weed_start
from rotation_opt.patch_growth import PatchGrowth
from rotation_opt.practices import dated_practices
from rotation_opt.records import Programme
from rotation_opt.season import respond
from rotation_opt.season_error import reserve_with_error
from rotation_opt.timetable import Timetable, in_weather
from rotation_opt.weeds.parameters import LIKELY

Array = NDArray[np.float64]
Three = tuple[float, float, float]

BAND = (0.1, 0.9)  # eight courses in ten lie within what is printed as low to high
COURSES_A_DRAW = 3
COURSES_GOING_ON = 400  # of those that counts were held against: quantiles then no longer hang on one course
_SEED = 20261125


@dataclass(frozen=True, slots=True, kw_only=True)
class BandCourse:
    """One field under one plan; T years, W weeds, K courses, the first of them the likely one.

    Attributes
    ----------
    autumn : ndarray (T, W, K)
        Reserve on 1 November, infested part.
    shoots : ndarray (T, W, K)
        Per m2 of the infested part.
    burden : ndarray (T, K)
        Hectares of full-strength stand.
    patches_ha : ndarray (T + 1, W, K)
        Ground that patches take if their edges spread, first today; the other figures are of today's ground.
    seed_shed : ndarray (T, W, K)
        Seeds shed on each m2 of patch.
    """

    autumn: Array
    shoots: Array
    burden: Array
    patches_ha: Array
    seed_shed: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Belief:
    """What counts of the years done say of the courses; K courses, the first of them the likely one.

    Attributes
    ----------
    weeds : tuple of str
        In the order for which the errors of the practices were drawn.
    courses_a_draw : int
        Courses followed for each set of weed figures beside the likely one.
    years_done : int
        Years whose weather the counts have told of; later years have weather of their own.
    weights : ndarray (K,)
        How much each course counts, adding up to 1; the likely course has none.
    """

    weeds: tuple[str, ...]
    courses_a_draw: int
    years_done: int
    weights: Array

    def going_on(self) -> NDArray[np.int64]:
        """The likely course, then `COURSES_GOING_ON` of the others, each as often as it counts."""
        places = (np.arange(COURSES_GOING_ON) + 0.5) / COURSES_GOING_ON
        share = np.cumsum(self.weights[1:])
        picked = 1 + np.searchsorted(share / share[-1], places)
        return np.concatenate([[0], picked]).astype(np.int64)


def three(courses: Array) -> Three:
    """Low, likely and high of some courses, (K,), the likely one first."""
    low, high = np.quantile(courses, BAND)
    likely = float(courses[0])
    return min(float(low), likely), likely, max(float(high), likely)


class Bands:
    """Follows plans with every set of weed figures through changing weather.

    Parameters
    ----------
    ground : Groundwork
    data : SelectionData
        Of the same farm.
    plans : iterable
        Paths of each plan, field by field; only their seasons are simulated.
    belief : Belief, optional
        What counts say of the courses. None, before anything was counted: all count alike.
    courses_a_draw : int
        Courses for each set of weed figures beside the likely one; those of `belief` if there is one.
    """

    def __init__(
        self,
        ground: Groundwork,
        data: SelectionData,
        plans: Iterable[Sequence[Sequence[int]]],
        belief: Belief | None = None,
        *,
        courses_a_draw: int = COURSES_A_DRAW,
    ) -> None:
        self._ground, self._data, self._belief = ground, data, belief
        counted = {
            field.name: season_counted(field, ground.practice_list, ground.pair_index)
            for field in ground.farm.fields
        }
        used = {pair for pair in counted.values() if pair >= 0}
        for paths in plans:
            for land, path in zip(data.fields, paths, strict=True):
                used.update(pair for _, pair in _seasons(data, land.history[-1], path))
        self._place = {pair: number for number, pair in enumerate(sorted(used))}
        programmes = [ground.programmes[pair] for pair in self._place]
        weeds, tables = ground.response.weeds, ground.tables
        self._usual = respond(programmes, ground.climate, tables, weeds)
        years = weather_years(ground.climate, tables)
        self._years = tuple(
            self._usual
            if year.climate is ground.climate
            else respond(
                _dated(programmes, ground, year.climate), year.climate, tables, weeds, home=ground.climate
            )
            for year in years
        )
        draws = (
            self._usual.draws.index(LIKELY),
            *(n for n, name in enumerate(self._usual.draws) if name != LIKELY),
        )
        each = courses_a_draw if belief is None else belief.courses_a_draw
        draw = np.array([draws[0], *np.repeat(draws[1:], each)])
        self._kept = np.arange(len(draw)) if belief is None else belief.going_on()
        self._draw = draw[self._kept]
        # weather to come has nothing to do with that of years done
        rng = np.random.default_rng(_SEED if belief is None else [_SEED, belief.years_done])
        shape = (data.years, len(self._draw))
        self._weather = rng.choice(len(years), shape, p=[year.weight for year in years])
        self._courses = len(draw)
        self._off = self._errors([programme.practice for programme in programmes])
        self._growth = PatchGrowth(weeds, ground.climate, tables, len(self._draw))
        self._starts = {
            field.name: weed_start(
                field,
                ground.farm,
                response=self._usual,
                pair=self._place.get(counted[field.name], -1),
                climate=ground.climate,
                tables=tables,
            )
            for field in ground.farm.fields
        }

    def today(self) -> Three:
        """Burden on 1 November before the plan. [ha of full-strength stand]

        Only fields that are still farmed in the last year, so that a lease that ends does not look like
        weeds that went; so it is for every year of a plan.
        """
        total = np.zeros(len(self._draw))
        for land in self._data.fields:
            if land.farmed[-1]:
                start = self._start(land.name)
                weight = self._data.burden_weight * start.infested_share
                total += land.area_ha * weight @ start.autumn[:, self._draw]
        return three(total)

    def _errors(self, practices: Sequence[str]) -> Array:
        """Factor on what each season leaves, (seasons, W, K): one error for each practice and course.

        By the name of the practice, so that a plan has the same band whatever plans stand beside it.
        """
        weeds = self._usual.weeds
        known = () if self._belief is None else self._belief.weeds
        order = tuple(dict.fromkeys((*known, *weeds)))  # a weed met later changes nothing for the others
        rows = [order.index(weed) for weed in weeds]
        spread = np.array([self._ground.tables.number("weed", weed, "season_error") for weed in weeds])
        off = {
            practice: np.random.default_rng([_SEED, *practice.encode()]).normal(
                size=(len(order), self._courses)
            )[rows][:, self._kept]
            for practice in set(practices)
        }
        errors = np.stack([off[practice] for practice in practices]) * spread[:, None]
        errors[..., 0] = 0.0
        return np.asarray(np.exp(errors))

    def _start(self, field: str) -> WeedStart:
        return self._starts[field]

    def _season(self, name: str, year: int, place: int) -> Array:
        """One figure of a season for all courses, each in its weather of that year: (W, K)."""
        found = np.stack([getattr(response, name)[place] for response in self._years])
        found = found[self._weather[year], :, self._draw].T
        found[:, 0] = getattr(self._usual, name)[place][:, self._draw[0]]
        return np.asarray(found)

    def course(self, field: int, path: Sequence[int]) -> BandCourse:
        """One field under one plan, or under the first years of it."""
        data, land = self._data, self._data.fields[field]
        start = self._start(land.name)
        shape = (len(path), len(data.weeds), len(self._draw))
        autumn, shoots, burden = np.zeros(shape), np.zeros(shape), np.zeros((len(path), shape[2]))
        before = start.reserve[:, self._draw]
        programmes: list[Programme | None] = [None] * len(path)
        weight = land.area_ha * data.burden_weight * start.infested_share
        cap = self._usual.reserve_cap[:, self._draw]
        power, full = self._usual.shoot_power[:, self._draw], self._usual.shoots_full[:, self._draw]
        for year, pair in _seasons(data, land.history[-1], path):
            place, programmes[year] = self._place[pair], self._ground.programmes[pair]
            autumn[year], counted, after = (
                reserve_with_error(
                    self._season(f"{when}growth", year, place),
                    self._season(f"{when}crowding", year, place),
                    before,
                    off,
                    cap=cap,
                )
                for when, off in (("autumn_", self._off[place]), ("count_", 1.0), ("", self._off[place]))
            )
            shoots[year] = full * self._season("count_shoots", year, place) * counted**power
            burden[year] = weight @ autumn[year]
            before = after
        return BandCourse(
            autumn=autumn,
            shoots=shoots,
            burden=burden,
            patches_ha=self._growth.infested(
                self._ground.farm.fields[field], np.concatenate([start.autumn[None, :, self._draw], autumn])
            ),
            seed_shed=self._growth.shed(programmes, shoots),
        )


def _dated(programmes: Sequence[Programme], ground: Groundwork, climate: Climate) -> list[Programme]:
    """The same work in the weather of one year."""
    year = dated_practices(ground.farm, ground.tables, climate)
    timetable = Timetable(climate, ground.tables, year.calendar, year.machines)
    return [in_weather(usual, year, timetable) for usual in programmes]


def _seasons(data: SelectionData, last: int, path: Sequence[int]) -> Iterable[tuple[int, int]]:
    """Year and pair of each season that is farmed."""
    for year, practice in enumerate(path):
        if practice != NOT_FARMED:
            yield year, int(data.pair_index[last, practice])
            last = practice
