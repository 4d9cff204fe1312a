"""A climate from a daily record instead of monthly normals."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import numpy.typing as npt

from rotation_opt import daily_weather
from rotation_opt.climate.days import DAYS, MONTH_LENGTHS, smooth_year
from rotation_opt.climate.place import SOUTHERN_SHIFT, Climate, RealYear
from rotation_opt.daily_weather import DailyWeather, Years
from rotation_opt.records import Farm, Station
from rotation_opt.tables import Tables

Array = npt.NDArray[np.float64]

_MONTH = np.repeat(np.arange(12), MONTH_LENGTHS)  # month of each day


def for_farm(farm: Farm, tables: Tables) -> Climate:
    """The climate a farm file names: that of its daily record if it has one, else that of its station.

    Raises
    ------
    InputError
        If the daily record cannot be used.
    """
    if farm.daily_file:
        return of_record(daily_weather.read(Path(farm.daily_file)), farm.station, tables)
    return Climate.of_station(farm.station, tables)


def for_station(station: Station | str, tables: Tables) -> Climate:
    """The climate of a station, given as a record or by its key."""
    return Climate.of_station(station, tables)


def of_record(weather: DailyWeather, station: Station | str, tables: Tables) -> Climate:
    """The climate a daily record tells of, at a station that lends what the record does not hold.

    Means and standard deviations of single days are taken month by month over all years, as the published
    ones of the stations are, and laid smoothly through the year. Latitude and rain are the station's.

    Parameters
    ----------
    weather : DailyWeather
        One or more whole years.
    station : Station or str
        The station the record is from or is near to.
    tables : Tables

    Returns
    -------
    Climate
        With every year of the record in ``record``. South of the equator a year runs from 1 July to 30 June,
        so that there is one less; a record of a single year has its halves joined the other way round.
    """
    place = Climate.of_station(station, tables)
    turn = place.shift_days

    def year(record: Years, of: str) -> Array:
        values = np.asarray(record)
        monthly = [getattr(values[:, month == _MONTH], of)() for month in range(12)]
        days = np.roll(smooth_year(monthly), -turn)
        days.setflags(write=False)
        return days

    return replace(
        place,
        tmin=year(weather.tmin, "mean"),
        tmax=year(weather.tmax, "mean"),
        sd_min=year(weather.tmin, "std"),
        sd_max=year(weather.tmax, "std"),
        sd_from=weather.file,
        record=_real_years(weather, turn),
        _heat={},
        _season={},
        _days={},
    )


def _real_years(weather: DailyWeather, turn: int) -> tuple[RealYear, ...]:
    """Each year of the record on the axis: in the south the second half of one and the first of the next."""
    if not turn:
        pairs = [(at, at, str(year)) for at, year in enumerate(weather.years)]
    elif len(weather.years) == 1:
        pairs = [(0, 0, str(weather.years[0]))]
    else:
        pairs = [
            (at, at + 1, f"{first}/{second % 100:02d}")
            for at, (first, second) in enumerate(pairwise(weather.years))
        ]
    return tuple(_real_year(weather, *pair, turn) for pair in pairs)


def _real_year(weather: DailyWeather, autumn: int, spring: int, name: str, turn: int) -> RealYear:
    second_half = np.arange(DAYS) >= SOUTHERN_SHIFT
    rows = np.where(second_half, autumn, spring)
    low, high = (np.asarray(values)[rows, np.arange(DAYS)] for values in (weather.tmin, weather.tmax))
    mean = (low + high) / 2
    calm = smooth_year([mean[month == _MONTH].mean() for month in range(12)])
    turned = [np.roll(days, -turn) for days in (low, high, calm)]
    for days in turned:
        days.setflags(write=False)
    return RealYear(name=name, tmin=turned[0], tmax=turned[1], calm=turned[2])
