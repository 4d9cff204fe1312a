"""How far the weeds of a plan may lie from what is likely, over weed figures and weather years.

Plans are chosen with the likely weed figures in a usual year. What is printed beside it is a band: the same
plans are followed with many sets of weed figures that explain the published trials about equally well, each
through weather drawn anew for every year, and with an error of each practice as large as the usual one with
which a fit foretells trials whose study it has not seen (``season_error``). The counted shoots are read with
the same figures, so a set under which the stand is strong in roots starts strong; and with the doubt of a
usual count, since shoots stand in clumps.

Once years are done, these courses have gone through them, and counts have been held against them weed by weed
(``state_estimate.py``). Those that foretold the counts well stand for more of what may come: a `Belief` says
which courses go on, how often each, and from which roots.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rotation_opt.arrays import NOT_FARMED, SelectionData
from rotation_opt.climate import Climate, weather_years
from rotation_opt.groundwork import Groundwork
from rotation_opt.infestation import season_counted, weed_start
from rotation_opt.patch_growth import PatchGrowth
from rotation_opt.practices import dated_practices
from rotation_opt.records import Programme
from rotation_opt.season import respond
from rotation_opt.season_error import reserve_with_error
from rotation_opt.timetable import Timetable, in_weather
from rotation_opt.weeds.parameters import LIKELY
from rotation_opt.weeds.response import reserve_before

Array = NDArray[np.float64]
Three = tuple[float, float, float]

BAND = (0.1, 0.9)  # eight courses in ten lie within what is printed as low to high
COURSES_A_DRAW = 3
COURSES_GOING_ON = 400  # of those that counts were held against: quantiles then no longer hang on one course
_SEED = 20261125
_OF_FARM = "all practices"  # no key of a practice has a space


@dataclass(frozen=True, slots=True, kw_only=True)
class BandCourse:
    """One field under one plan; T years, W weeds, K courses, the first of them the likely one.

    Attributes
    ----------
    reserve : ndarray (T, W, K)
        At harvest, infested part.
    autumn : ndarray (T, W, K)
        The same on 1 November.
    shoots : ndarray (T, W, K)
        Per m2 of the infested part.
    burden : ndarray (T, K)
        Hectares of full-strength stand.
    patches_ha : ndarray (T + 1, W, K)
        Ground that patches take if their edges spread, first today; the other figures are of today's ground.
    seed_shed : ndarray (T, W, K)
        Seeds shed on each m2 of patch.
    """

    reserve: Array
    autumn: Array
    shoots: Array
    burden: Array
    patches_ha: Array
    seed_shed: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Belief:
    """What the years done say of the courses; W weeds, K courses, the first of them the likely one.

    Attributes
    ----------
    weeds : tuple of str
        In the order for which the errors of the practices were drawn.
    courses_a_draw : int
        Courses followed for each set of weed figures beside the likely one.
    years_done : int
        Years whose weather is past; later years have weather of their own.
    weights : ndarray (W, K)
        How much each course counts for a weed, adding up to 1; the likely course has none.
    reserve, autumn : mapping
        (field, weed) -> roots of each course at the last harvest done, and on 1 November after it, (K,).
    """

    weeds: tuple[str, ...]
    courses_a_draw: int
    years_done: int
    weights: Array
    reserve: Mapping[tuple[str, str], Array]
    autumn: Mapping[tuple[str, str], Array]

    def going_on(self, weeds: Sequence[str]) -> NDArray[np.int64]:
        """Courses of some weeds, a row each: the likely one, then `COURSES_GOING_ON` as often as they count.

        Of a weed met later all courses count alike.
        """
        courses = self.weights.shape[1]
        alike = np.concatenate([[0.0], np.full(courses - 1, 1.0)])
        places = (np.arange(COURSES_GOING_ON) + 0.5) / COURSES_GOING_ON
        rows = []
        for weed in weeds:
            known = self.weights[self.weeds.index(weed)] if weed in self.weeds else alike
            share = np.cumsum(known[1:])
            rows.append([0, *(1 + np.searchsorted(share / share[-1], places))])
        return np.array(rows, dtype=np.int64)


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
        What the years done say of the courses. None, before any was: all count alike.
    courses_a_draw : int
        Courses for each set of weed figures beside the likely one; those of `belief` if there is one.
    as_done : mapping, optional
        (field number, year of the plan from 0) -> season as it was really dated, on these days in every
        weather; in place of the usual one.
    """

    def __init__(
        self,
        ground: Groundwork,
        data: SelectionData,
        plans: Iterable[Sequence[Sequence[int]]],
        belief: Belief | None = None,
        *,
        courses_a_draw: int = COURSES_A_DRAW,
        as_done: Mapping[tuple[int, int], Programme] | None = None,
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
        dated = [ground.programmes[pair] for pair in self._place]
        fixed = dict(as_done or {})
        self._as_done = {when: len(dated) + number for number, when in enumerate(fixed)}
        self._programmes = [*dated, *fixed.values()]
        weeds, tables = ground.response.weeds, ground.tables
        self._usual = respond(self._programmes, ground.climate, tables, weeds)
        years = weather_years(ground.climate, tables)
        self._years = tuple(
            self._usual
            if year.climate is ground.climate
            else respond(
                [*_dated(dated, ground, year.climate), *fixed.values()],
                year.climate,
                tables,
                weeds,
                home=ground.climate,
            )
            for year in years
        )
        draws = (
            self._usual.draws.index(LIKELY),
            *(n for n, name in enumerate(self._usual.draws) if name != LIKELY),
        )
        each = courses_a_draw if belief is None else belief.courses_a_draw
        draw = np.array([draws[0], *np.repeat(draws[1:], each)])
        # by weed, since counts of one say nothing of another: (W, K)
        self._kept = (
            np.tile(np.arange(len(draw)), (len(weeds), 1)) if belief is None else belief.going_on(weeds)
        )
        self._draw = draw[self._kept]
        self._weed = np.arange(len(weeds))[:, None]
        # weather to come has nothing to do with that of years done
        rng = np.random.default_rng(_SEED if belief is None else [_SEED, belief.years_done])
        shape = (data.years, self._kept.shape[1])
        self._weather = rng.choice(len(years), shape, p=[year.weight for year in years])
        self._courses = len(draw)
        self._off = self._errors([programme.practice for programme in self._programmes])
        self._growth = PatchGrowth(weeds, ground.climate, tables, self._kept.shape[1])
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
        total = np.zeros(self._kept.shape[1])
        for land in self._data.fields:
            if land.farmed[-1]:
                weight = self._data.burden_weight * self._starts[land.name].infested_share
                total += land.area_ha * weight @ self._today(land.name)[1]
        return three(total)

    def _errors(self, practices: Sequence[str]) -> Array:
        """Factor on what each season leaves, (seasons, W, K), of each course: one error a practice.

        A part of it is the same for all practices of the farm. By the name of the practice, so that a plan
        has the same band whatever plans stand beside it.
        """
        weeds, tables = self._usual.weeds, self._ground.tables
        known = () if self._belief is None else self._belief.weeds
        order = tuple(dict.fromkeys((*known, *weeds)))  # a weed met later changes nothing for the others
        rows = [order.index(weed) for weed in weeds]

        def drawn(name: str) -> Array:
            every = np.random.default_rng([_SEED, *name.encode()]).normal(size=(len(order), self._courses))
            return np.take_along_axis(every[rows], self._kept, axis=1)

        spread, shared = (
            np.array([tables.number("weed", weed, figure) for weed in weeds])[:, None]
            for figure in ("season_error", "season_error_shared")
        )
        of_farm = np.sqrt(shared) * drawn(_OF_FARM)
        off = {practice: of_farm + np.sqrt(1.0 - shared) * drawn(practice) for practice in set(practices)}
        errors = np.stack([off[practice] for practice in practices]) * spread
        errors[..., 0] = 0.0
        return np.asarray(np.exp(errors))

    def _today(self, field: str) -> tuple[Array, Array]:
        """Roots of each course at the last harvest and on 1 November after it, (W, K) each."""
        start = self._starts[field]
        off = self._first_count(field)
        reserve, autumn = (found[self._weed, self._draw] * off for found in (start.reserve, start.autumn))
        if self._belief is not None:
            for w, weed in enumerate(self._usual.weeds):
                if (field, weed) in self._belief.autumn:
                    others = self._kept[w, 1:]
                    reserve[w, 1:] = self._belief.reserve[field, weed][others]
                    autumn[w, 1:] = self._belief.autumn[field, weed][others]
        cap = self._usual.reserve_cap[self._weed, self._draw]
        return np.minimum(reserve, cap), np.minimum(autumn, cap)

    def _first_count(self, field: str) -> Array:
        """Factor on the roots of each course by which the first count was off, (W, K)."""
        weeds = self._usual.weeds
        drawn = [
            np.random.default_rng([_SEED, *f"{field}: {weed}".encode()]).normal(size=self._courses)
            for weed in weeds
        ]
        off = np.take_along_axis(np.stack(drawn), self._kept, axis=1) if weeds else np.zeros(self._kept.shape)
        off *= self._starts[field].doubt[:, None] / self._usual.shoot_power[self._weed, self._draw]
        off[:, 0] = 0.0
        return np.asarray(np.exp(off))

    def _season(self, name: str, year: int, place: int) -> Array:
        """One figure of a season for all courses, each in its weather of that year: (W, K)."""
        found = np.stack([getattr(response, name)[place] for response in self._years])
        found = found[self._weather[year], self._weed, self._draw]
        found[:, 0] = getattr(self._usual, name)[place][:, self._draw[0, 0]]
        return np.asarray(found)

    def course(
        self, field: int, path: Sequence[int], counted: Mapping[tuple[int, int], Array] | None = None
    ) -> BandCourse:
        """One field under one plan, or under the first years of it.

        Parameters
        ----------
        field : int
        path : sequence of int
            Practices, one a year.
        counted : mapping, optional
            (year, weed) -> shoots per m2 of each course, (K,), that are taken for true: in that year the
            course stands where so many shoots come from, whatever it did before.
        """
        known = counted or {}
        data, land = self._data, self._data.fields[field]
        start = self._starts[land.name]
        before, today = self._today(land.name)
        shape = (len(path), *before.shape)
        reserve, autumn, shoots = np.zeros(shape), np.zeros(shape), np.zeros(shape)
        burden = np.zeros((len(path), shape[2]))
        programmes: list[Programme | None] = [None] * len(path)
        weight = land.area_ha * data.burden_weight * start.infested_share
        cap, power, full = (
            figure[self._weed, self._draw]
            for figure in (self._usual.reserve_cap, self._usual.shoot_power, self._usual.shoots_full)
        )
        for year, pair in _seasons(data, land.history[-1], path):
            place = self._as_done.get((field, year), self._place[pair])
            programmes[year] = self._programmes[place]
            raised = self._season("count_shoots", year, place)
            for w in (each for when, each in known if when == year):
                growth, crowding = (
                    self._season(name, year, place)[w] for name in ("count_growth", "count_crowding")
                )
                standing = (known[year, w] / (full[w] * np.maximum(raised[w], 1e-12))) ** (1.0 / power[w])
                before = before.copy()
                before[w] = np.minimum(reserve_before(growth, crowding, standing), cap[w])
            autumn[year], at_count, after = (
                reserve_with_error(
                    self._season(f"{when}growth", year, place),
                    self._season(f"{when}crowding", year, place),
                    before,
                    off,
                    cap=cap,
                )
                for when, off in (("autumn_", self._off[place]), ("count_", 1.0), ("", self._off[place]))
            )
            shoots[year] = full * raised * at_count**power
            burden[year] = weight @ autumn[year]
            reserve[year] = before = after
        return BandCourse(
            reserve=reserve,
            autumn=autumn,
            shoots=shoots,
            burden=burden,
            patches_ha=self._growth.infested(
                self._ground.farm.fields[field], np.concatenate([today[None], autumn])
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
