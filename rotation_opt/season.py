"""What each season of work and crop does to the weeds, from any starting reserve.

Programmes with the same work and canopies are simulated once. Because a season is linear on the scale
``u = R^(1-a)`` (see ``weeds/reserve.py``), the response to *every* starting reserve is two numbers,
``u_end = kept u + added``; nothing has to be interpolated.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rotation_opt.climate import Climate, index_of
from rotation_opt.records import DatedOperation, Programme
from rotation_opt.tables import Tables
from rotation_opt.weeds.emergence import shoot_calendar
from rotation_opt.weeds.parameters import WeedParameters, weed_parameters
from rotation_opt.weeds.pressure import Pressure, Works
from rotation_opt.weeds.reserve import (
    LATE_AUTUMN_DAY,
    Course,
    Surroundings,
    from_scale,
    run,
    settle,
    to_scale,
)

Array = NDArray[np.float64]
Position = int | NDArray[np.int64]  # along an axis of a response: one, or an array of them
Numbers = float | Array

#: Starting reserves at which `Response` tabulates the season for display and tests.
STARTS = np.geomspace(1e-4, 1.2, 12)
STARTS.setflags(write=False)

COUNTING_DAYS = 21  # shoots are counted on the day with most of them in the three weeks up to bud stage
_CHUNK = 256  # programmes simulated together: keeps a day's arrays inside the processor cache


@dataclass(frozen=True, slots=True, kw_only=True)
class Response:
    """Season response of all pairs; P pairs, W weeds, D draws.

    Attributes
    ----------
    pairs : tuple of (previous, practice)
        In the order of the programmes given.
    weeds, draws : tuple of str
    kept, added : ndarray (P, W, D)
        Reserve at own harvest, on the linear scale: ``kept u + added`` from ``u = start^power``.
    autumn_kept, autumn_added : ndarray (P, W, D)
        The same on 1 November after own harvest, if nothing more is done.
    count_kept, count_added, count_shoots : ndarray (P, W, D)
        The same on the day shoots are counted, and the share of shoots standing then.
    power : ndarray (W, D)
        1 - a.
    shoots_full : ndarray (W, D)
        Shoots per m2 that a reserve of 1 would raise on that day.
    reserve_cap : ndarray (W, D)
        No reserve is larger.
    light : ndarray (P, W)
        Mean share of full light at the weed from its first shoots to bud stage.
    head_start_days : ndarray (P, W)
        Days from the crop leaving so little light that the weed grows less (``light_full``) to half
        the weed's shoots being up; negative if the weed is first, NaN if it never gets that dark.
    group : ndarray (P,) of int
        Pairs with the same number had the same work and were simulated once.
    """

    pairs: tuple[tuple[str, str], ...]
    weeds: tuple[str, ...]
    draws: tuple[str, ...]
    kept: Array
    added: Array
    autumn_kept: Array
    autumn_added: Array
    count_kept: Array
    count_added: Array
    count_shoots: Array
    power: Array
    shoots_full: Array
    reserve_cap: Array
    light: Array
    head_start_days: Array
    group: NDArray[np.int64]

    @property
    def starts(self) -> Array:
        """Starting reserves at which the tables below are given, shape (12,)."""
        return STARTS

    @property
    def end_reserve(self) -> Array:
        """Reserve at own harvest from each starting reserve, shape (P, W, D, 12)."""
        return self._tabulated(self.kept, self.added)

    @property
    def autumn_reserve(self) -> Array:
        """Reserve on 1 November after own harvest if nothing more is done, shape (P, W, D, 12)."""
        return self._tabulated(self.autumn_kept, self.autumn_added)

    @property
    def shoots_per_m2(self) -> Array:
        """Shoots per m2 at about bud stage from each starting reserve, shape (P, W, D, 12)."""
        reserve = self._tabulated(self.count_kept, self.count_added)
        full = self.shoots_full * self.count_shoots
        return np.asarray(full[..., None] * np.power(reserve, 1.0 - self.power[..., None]))

    def _tabulated(self, kept: Array, added: Array) -> Array:
        power = self.power[..., None]
        start = to_scale(STARTS, power)
        return from_scale(kept[..., None] * start + added[..., None], power)

    def after(self, pair: Position, weed: Position, draw: Position, reserve: Numbers) -> Array:
        """Reserve at own harvest from any reserve at the harvest before.

        Parameters
        ----------
        pair, weed, draw : array_like of int
            Positions along the axes; broadcast against `reserve`.
        reserve : array_like of float
            Reserve at the start, 0 to ``reserve_cap``.
        """
        return self._from((self.kept, self.added), pair, weed, draw, reserve)

    def autumn_after(self, pair: Position, weed: Position, draw: Position, reserve: Numbers) -> Array:
        """Reserve on 1 November after own harvest; parameters as in `after`."""
        return self._from((self.autumn_kept, self.autumn_added), pair, weed, draw, reserve)

    def shoots_after(self, pair: Position, weed: Position, draw: Position, reserve: Numbers) -> Array:
        """Shoots per m2 at about bud stage; parameters as in `after`."""
        then = self._from((self.count_kept, self.count_added), pair, weed, draw, reserve)
        full = self.shoots_full[weed, draw] * self.count_shoots[pair, weed, draw]
        return np.asarray(full * np.power(then, 1.0 - self.power[weed, draw]))

    def after_scaled(self, pair: Position, weed: Position, draw: Position, scaled: Numbers) -> Array:
        """As `after`, but from ``reserve^power`` to ``reserve^power``: the cheapest way through many years.

        Convert with `scaled` at the start and `unscaled` at the end.
        """
        return np.asarray(self.kept[pair, weed, draw] * scaled + self.added[pair, weed, draw])

    def scaled(self, weed: Position, draw: Position, reserve: Numbers) -> Array:
        """Reserve on the linear scale."""
        return to_scale(np.asarray(reserve, dtype=np.float64), self.power[weed, draw])

    def unscaled(self, weed: Position, draw: Position, scaled: Numbers) -> Array:
        """Reserve from the linear scale."""
        return from_scale(np.asarray(scaled, dtype=np.float64), self.power[weed, draw])

    def start_from_count(
        self, pair: Position, weed: Position, draw: Position, shoots_per_m2: Numbers
    ) -> Array:
        """Reserve at the harvest before that raises the shoots counted at about bud stage in this season.

        The inverse of `shoots_after`; 0 where even a start from nothing would raise more than was counted,
        ``reserve_cap`` where no start would raise as many, NaN where no shoots stand at that time.
        """
        power = self.power[weed, draw]
        full = self.shoots_full[weed, draw] * self.count_shoots[pair, weed, draw]
        with np.errstate(divide="ignore", invalid="ignore"):
            then = np.power(np.asarray(shoots_per_m2, dtype=np.float64) / full, 1.0 / (1.0 - power))
            scaled = (np.power(then, power) - self.count_added[pair, weed, draw]) / self.count_kept[
                pair, weed, draw
            ]
            start = from_scale(np.maximum(scaled, 0.0), power)
        return np.asarray(np.where(full > 0, np.minimum(start, self.reserve_cap[weed, draw]), np.nan))

    def _from(
        self, season: tuple[Array, Array], pair: Position, weed: Position, draw: Position, reserve: Numbers
    ) -> Array:
        kept, added = season
        power = self.power[weed, draw]
        start = to_scale(reserve, power)
        return from_scale(kept[pair, weed, draw] * start + added[pair, weed, draw], power)


def respond(
    programmes: Sequence[Programme],
    climate: Climate,
    tables: Tables,
    weeds: Sequence[str],
    draws: Sequence[str] | None = None,
) -> Response:
    """Simulate all programmes against all weeds.

    Parameters
    ----------
    programmes : sequence of Programme
        One for each (previous, practice) pair.
    climate : Climate
    tables : Tables
    weeds : sequence of str
        Weed keys.
    draws : sequence of str, optional
        Parameter draws; all of the tables if left out.

    Raises
    ------
    TableError
        If a figure is missing.
    ValueError
        If a programme is dated outside the season axis.
    """
    parameters = weed_parameters(tables, weeds, draws)
    return respond_with(programmes, climate, tables, parameters)


def respond_with(
    programmes: Sequence[Programme], climate: Climate, tables: Tables, parameters: WeedParameters
) -> Response:
    """As `respond`, for weed parameters that do not come from the tables (fits, tests)."""
    surroundings = settle(climate, parameters)
    works = Works(climate, tables, parameters)
    numbers: dict[tuple[object, ...], int] = {}
    contents = [_content(p, works.left_by_harvest(p.previous)) for p in programmes]
    group = np.array([numbers.setdefault(content, len(numbers)) for content in contents], dtype=np.int64)
    first = np.unique(group, return_index=True)[1]
    distinct = [programmes[int(i)] for i in first]
    shape = (len(distinct), len(parameters.weeds), len(parameters.draws))
    ends, autumns, counts = np.empty((2, *shape)), np.empty((2, *shape)), np.empty((3, *shape))
    light, head = np.empty(shape[:2]), np.empty(shape[:2])
    for low in range(0, len(distinct), _CHUNK):
        part = slice(low, low + _CHUNK)
        some = distinct[part]
        pressure = works.pressure(some, surroundings.heat, surroundings.calendar)
        course = _run(some, surroundings, pressure, parameters)
        for k, values in enumerate((course.kept, course.added)):
            ends[k, part], autumns[k, part] = values
        counts[:, part] = course.counted_kept, course.counted_added, course.counted_shoots
        light[part], head[part] = _light_figures(pressure.light, surroundings, parameters)
    return Response(
        pairs=tuple((p.previous, p.practice) for p in programmes),
        weeds=parameters.weeds,
        draws=parameters.draws,
        kept=ends[0][group],
        added=ends[1][group],
        autumn_kept=autumns[0][group],
        autumn_added=autumns[1][group],
        count_kept=counts[0][group],
        count_added=counts[1][group],
        count_shoots=counts[2][group],
        power=parameters.power,
        shoots_full=_shoots_full(surroundings, parameters),
        reserve_cap=parameters.reserve_cap,
        light=light[group],
        head_start_days=head[group],
        group=group,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonTrace:
    """One season of one weed day by day, from the harvest before to 1 November after own harvest.

    Attributes
    ----------
    weed : str
    draws : tuple of str
        D parameter draws.
    first_day : int
        Day of the first value; 0 = 1 January of the harvest year.
    cover, green, crop_height_m : ndarray (days,)
        Ground shaded by crop, under green leaves, and crop height.
    emerged : ndarray (days,)
        Share of the weed's shoots that would be up if nobody disturbed them.
    light : ndarray (days,)
        Share of full light at the weed.
    shoots : ndarray (days, D)
        Standing shoots as a share of what the root can raise.
    shoots_per_m2 : ndarray (days, D)
    reserve : ndarray (days, D)
    operations : tuple of DatedOperation
    """

    weed: str
    draws: tuple[str, ...]
    first_day: int
    cover: Array
    green: Array
    crop_height_m: Array
    emerged: Array
    light: Array
    shoots: Array
    shoots_per_m2: Array
    reserve: Array
    operations: tuple[DatedOperation, ...]


def trace(
    programme: Programme,
    climate: Climate,
    tables: Tables,
    weed: str,
    start: float = 1.0,
    *,
    draws: Sequence[str] | None = None,
) -> SeasonTrace:
    """Follow one programme day by day from one starting reserve.

    Raises
    ------
    TableError
        If a figure is missing.
    ValueError
        If the programme is dated outside the season axis.
    """
    parameters = weed_parameters(tables, [weed], draws)
    surroundings = settle(climate, parameters)
    works = Works(climate, tables, parameters)
    pressure = works.pressure([programme], surroundings.heat, surroundings.calendar)
    begin, end = index_of(programme.start_day), _autumn_index(programme)
    days = np.arange(begin, end + 1)
    window = np.zeros((1, 1), dtype=np.int64)
    course = run(surroundings, pressure, parameters, days[:, None], count_from=window, count_to=window)
    power = parameters.power[0]
    scaled = course.kept[:, 0, 0] * to_scale(start, power) + course.added[:, 0, 0]
    reserve = from_scale(scaled, power)
    shoots = course.shoots[:, 0, 0]
    canopy = works.canopy(programme.canopies)
    return SeasonTrace(
        weed=weed,
        draws=parameters.draws,
        first_day=programme.start_day,
        cover=canopy.cover[days],
        green=canopy.green[days],
        crop_height_m=canopy.height_m[days],
        emerged=surroundings.calendar.target[days, 0],
        light=pressure.light[days, 0, 0],
        shoots=shoots,
        shoots_per_m2=_shoots_full(surroundings, parameters)[0] * shoots * np.power(reserve, 1.0 - power),
        reserve=reserve,
        operations=programme.operations,
    )


def reserve_from_count(
    shoots_per_m2: ArrayLike,
    day_of_year: int,
    stage: str,
    weed: str,
    *,
    climate: Climate,
    tables: Tables,
    draws: Sequence[str] | None = None,
) -> Array:
    """Root reserve, as a share of an undisturbed stand, that a count of shoots speaks for.

    While the weed is still coming up (stage ``emerging``) only the share of shoots up by that day is held
    against the count; at any later stage all shoots are taken to be up. Where it is known what the field
    did that season, `Response.start_from_count` uses that instead.

    Parameters
    ----------
    shoots_per_m2 : array_like
        Shoots counted on the infested part.
    day_of_year : int
        Day of the count, 0 = 1 January.
    stage : str
        As in ``records.Patch.stage``.
    weed, climate, tables, draws
        As in `respond`.

    Returns
    -------
    ndarray (..., D)
        Grows with the count; never above ``reserve_cap``.
    """
    parameters = weed_parameters(tables, [weed], draws)
    up = 1.0
    if stage == "emerging":
        calendar = shoot_calendar(climate, parameters)
        day = min(max(day_of_year, int(calendar.first_day[0])), int(calendar.frost_day[0]) - 1)
        up = float(calendar.target[index_of(day), 0])
    share = np.asarray(shoots_per_m2, dtype=np.float64)[..., None] / (parameters.shoots_full_per_m2[0] * up)
    reserve = np.power(share, 1.0 / parameters.shoot_power[0])
    return np.asarray(np.minimum(reserve, parameters.reserve_cap[0]))


# ---------------------------------------------------------------- from programmes to arrays


def _content(programme: Programme, left: float) -> tuple[object, ...]:
    """What a season depends on: two programmes with equal content are one simulation."""
    work = tuple(sorted((operation.day, operation.operation) for operation in programme.operations))
    return left, programme.start_day, programme.harvest_day, work, programme.canopies


def _autumn_index(programme: Programme) -> int:
    return index_of(max(LATE_AUTUMN_DAY, programme.harvest_day))


def _shoots_full(surroundings: Surroundings, parameters: WeedParameters) -> Array:
    """Shoots per m2 of a reserve of 1, so that an undisturbed stand has its full number in bud."""
    full = parameters.shoots_full_per_m2[:, None]
    return np.asarray(full / np.power(surroundings.reserve_in_bud, parameters.shoot_power))


def _run(
    programmes: Sequence[Programme],
    surroundings: Surroundings,
    pressure: Pressure,
    parameters: WeedParameters,
) -> Course:
    harvest = np.array([index_of(p.harvest_day) for p in programmes], dtype=np.int64)
    autumn = np.array([_autumn_index(p) for p in programmes], dtype=np.int64)
    bud = surroundings.calendar.bud_day + index_of(0)
    count_to = np.minimum(bud, harvest[:, None])
    count_from = np.minimum(np.maximum(count_to - COUNTING_DAYS, pressure.start[:, None]), count_to)
    return run(
        surroundings,
        pressure,
        parameters,
        np.stack([harvest, autumn]),
        count_from=count_from,
        count_to=count_to,
    )


def _light_figures(
    light: Array, surroundings: Surroundings, parameters: WeedParameters
) -> tuple[Array, Array]:
    """Mean light from first shoots to bud, and head start, each (G, W)."""
    calendar, winter = surroundings.calendar, index_of(0)
    mean = np.empty(light.shape[1:])
    head = np.empty(light.shape[1:])
    enough = parameters.light_full.mean(axis=1)
    for w in range(len(parameters.weeds)):
        span = slice(winter + int(calendar.first_day[w]), winter + int(calendar.bud_day[w]) + 1)
        mean[:, w] = light[span, :, w].mean(axis=0)
        dark = light[winter:, :, w] <= enough[w]
        head[:, w] = np.where(dark.any(axis=0), calendar.half_day[w] - dark.argmax(axis=0), np.nan)
    return mean, head
