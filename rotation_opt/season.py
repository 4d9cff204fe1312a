"""What each season of work and crop does to the weeds, from any starting reserve.

Programmes with the same work and canopies are simulated once. Because a season is linear in ``1/R`` (see
``weeds/reserve.py``), the response to *every* starting reserve R is two numbers,
``growth R / (1 + crowding R)``; nothing has to be interpolated.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rotation_opt.climate import DAYS, Climate, index_of
from rotation_opt.records import DatedOperation, Programme
from rotation_opt.tables import Tables
from rotation_opt.weeds.emergence import HALF_UP, shoot_calendar
from rotation_opt.weeds.parameters import WeedParameters, weed_parameters
from rotation_opt.weeds.pressure import Pressure, Works, spring_targets
from rotation_opt.weeds.reserve import (
    LATE_AUTUMN_DAY,
    Course,
    Surroundings,
    run,
    settle,
)
from rotation_opt.weeds.response import STARTS, Response, growth_and_crowding, reserve_after

Array = NDArray[np.float64]

__all__ = [
    "COUNTING_DAYS",
    "STARTS",
    "Response",
    "SeasonTrace",
    "reserve_from_count",
    "respond",
    "respond_with",
    "trace",
]

COUNTING_DAYS = 21  # shoots are counted on the day with most of them in the three weeks up to bud stage
_TOGETHER = 1024  # programmes and draws simulated together: keeps a day's arrays inside the processor cache
_FEWEST = 256  # programmes at least: the work of a day on few of them is mostly that of setting it going


def respond(
    programmes: Sequence[Programme],
    climate: Climate,
    tables: Tables,
    weeds: Sequence[str],
    draws: Sequence[str] | None = None,
    *,
    home: Climate | None = None,
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
    home : Climate, optional
        Where `climate` is one year of a place, the climate of the place: an undisturbed stand holds its
        own there, not in every single year.

    Raises
    ------
    TableError
        If a figure is missing.
    ValueError
        If a programme is dated outside the season axis.
    """
    parameters = weed_parameters(tables, weeds, draws)
    return respond_with(programmes, climate, tables, parameters, home=home)


def respond_with(
    programmes: Sequence[Programme],
    climate: Climate,
    tables: Tables,
    parameters: WeedParameters,
    *,
    home: Climate | None = None,
) -> Response:
    """As `respond`, for weed parameters that do not come from the tables (fits, tests)."""
    surroundings = settle(climate, parameters, home)
    works = Works(climate, tables, parameters)
    numbers: dict[tuple[object, ...], int] = {}
    contents = [_content(p, works.left_by_harvest(p.previous)) for p in programmes]
    group = np.array([numbers.setdefault(content, len(numbers)) for content in contents], dtype=np.int64)
    first = np.unique(group, return_index=True)[1]
    distinct = [programmes[int(i)] for i in first]
    shape = (len(distinct), len(parameters.weeds), len(parameters.draws))
    ends, autumns, counts = np.empty((2, *shape)), np.empty((2, *shape)), np.empty((3, *shape))
    light, head = np.empty(shape[:2]), np.empty(shape[:2])
    chunk = max(_FEWEST, _TOGETHER // len(parameters.draws))
    for low in range(0, len(distinct), chunk):
        part = slice(low, low + chunk)
        some = distinct[part]
        pressure = works.pressure(some, surroundings.heat, surroundings.calendar)
        course = _run(some, surroundings, pressure, parameters)
        for k, values in enumerate((course.kept, course.added)):
            ends[k, part], autumns[k, part] = values
        counts[:, part] = course.counted_kept, course.counted_added, course.counted_shoots
        light[part], head[part] = _light_figures(pressure, surroundings, parameters)
    for season in (ends, autumns, counts):
        season[:2] = growth_and_crowding(season[0], season[1])
    return Response(
        pairs=tuple((p.previous, p.practice) for p in programmes),
        weeds=parameters.weeds,
        draws=parameters.draws,
        growth=ends[0][group],
        crowding=ends[1][group],
        autumn_growth=autumns[0][group],
        autumn_crowding=autumns[1][group],
        count_growth=counts[0][group],
        count_crowding=counts[1][group],
        count_shoots=counts[2][group],
        shoot_power=parameters.shoot_power,
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
    home: Climate | None = None,
) -> SeasonTrace:
    """Follow one programme day by day from one starting reserve; `home` as in `respond`.

    Raises
    ------
    TableError
        If a figure is missing.
    ValueError
        If the programme is dated outside the season axis.
    """
    parameters = weed_parameters(tables, [weed], draws)
    surroundings = settle(climate, parameters, home)
    works = Works(climate, tables, parameters)
    pressure = works.pressure([programme], surroundings.heat, surroundings.calendar)
    begin, end = index_of(programme.start_day), _autumn_index(programme)
    days = np.arange(begin, end + 1)
    window = np.zeros((1, 1), dtype=np.int64)
    course = run(surroundings, pressure, parameters, days[:, None], count_from=window, count_to=window)
    reserve = reserve_after(*growth_and_crowding(course.kept[:, 0, 0], course.added[:, 0, 0]), start)
    shoots = course.shoots[:, 0, 0]
    standing = shoots * np.power(reserve, parameters.shoot_power[0])
    canopy = works.canopy(programme.canopies)
    return SeasonTrace(
        weed=weed,
        draws=parameters.draws,
        first_day=programme.start_day,
        cover=canopy.cover[days],
        green=canopy.green[days],
        crop_height_m=canopy.height_m[days],
        emerged=spring_targets(surroundings.calendar, parameters, pressure.delay)[0][0, days, 0],
        light=pressure.light[days, 0, 0],
        shoots=shoots,
        shoots_per_m2=_shoots_full(surroundings, parameters)[0] * standing,
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
    pressure: Pressure, surroundings: Surroundings, parameters: WeedParameters
) -> tuple[Array, Array]:
    """Mean light from first shoots to bud, and head start, each (G, W).

    The head start counts from the day on which it has become dark for good: without a bright day until half
    the weed's shoots are up or, if it is still bright then, until bud stage.
    """
    calendar, winter = surroundings.calendar, index_of(0)
    groups = pressure.light.shape[1]
    mean, head = np.empty((groups, len(parameters.weeds))), np.empty((groups, len(parameters.weeds)))
    enough = parameters.once["light_full"]
    targets, kind = spring_targets(calendar, parameters, pressure.delay)
    half_up = (targets[:, winter : winter + DAYS] >= HALF_UP).argmax(axis=1)[kind]
    for w in range(len(parameters.weeds)):
        bud = int(calendar.bud_day[w])
        span = slice(winter + int(calendar.first_day[w]), winter + bud + 1)
        mean[:, w] = pressure.light[span, :, w].mean(axis=0)
        bright = pressure.light[winter:, :, w] > enough[w]
        since = [_dark_since(bright[:, g], (int(half_up[g, w]), bud)) for g in range(groups)]
        head[:, w] = half_up[:, w] - np.array(since)
    return mean, head


def _dark_since(bright: NDArray[np.bool_], days: Sequence[int]) -> float:
    """First day of the dark spell that holds the first of `days` that is dark; NaN if none is."""
    for day in days:
        if not bright[day]:
            before = np.flatnonzero(bright[:day])
            return float(before[-1] + 1) if len(before) else 0.0
    return float("nan")
