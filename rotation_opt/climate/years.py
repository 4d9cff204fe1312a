"""Weather years of a place: real ones from its daily record, or a cool, a usual and a warm one."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from rotation_opt.climate.days import smooth_year
from rotation_opt.climate.place import Climate
from rotation_opt.tables import Tables

Array = npt.NDArray[np.float64]

COOL, USUAL, WARM = "cool", "usual", "warm"


@dataclass(frozen=True, slots=True, kw_only=True)
class WeatherYear:
    """One year that may come.

    Attributes
    ----------
    name : str
        ``cool``, ``usual``, ``warm``, or the calendar year of a record (``1994``, in the south ``1994/95``).
    weight : float
        Its share of all years; the weights of a place add up to 1.
    climate : Climate
        The place in such a year. The autumn before is taken to have been of the same kind.
    """

    name: str
    weight: float
    climate: Climate


def weather_years(climate: Climate, tables: Tables) -> tuple[WeatherYear, ...]:
    """The years to run a season over, so that its outcome can be given as low, likely and high.

    Where the climate is from a daily record every year of it counts alike. Elsewhere there are three: the
    climate itself, unchanged, for two years in four, and for one year in four each the same with every day
    of the year colder or warmer by `month_spread` times ``year_shift_months`` of table ``climate``.

    Parameters
    ----------
    climate : Climate
    tables : Tables

    Returns
    -------
    tuple of WeatherYear
        In the order of the record; else cool, usual, warm.
    """
    if climate.record:
        share = 1.0 / len(climate.record)
        return tuple(
            WeatherYear(name=year.name, weight=share, climate=climate.in_year(year))
            for year in climate.record
        )
    shift = climate.choices["year_shift_months"] * month_spread(climate, tables)
    return (
        WeatherYear(name=COOL, weight=0.25, climate=_moved(climate, -shift)),
        WeatherYear(name=USUAL, weight=0.5, climate=climate),
        WeatherYear(name=WARM, weight=0.25, climate=_moved(climate, shift)),
    )


def month_spread(climate: Climate, tables: Tables) -> Array:
    """Standard deviation from year to year of monthly mean temperature, laid along the days. [°C]

    The published one where the station has it; else ``month_spread_share`` of table ``climate`` times the
    standard deviation of single days.

    Returns
    -------
    ndarray of float, shape (365,)
    """
    station = tables.stations.get(climate.key)
    if station is not None and station.month_sd_c is not None:
        spread = np.roll(smooth_year(station.month_sd_c), -climate.shift_days)
        return np.asarray(np.maximum(spread, 0.0))
    low, high = climate.sd_min, climate.sd_max
    both = 2 * climate.choices["same_day_correlation"] * low * high
    return np.asarray(climate.choices["month_spread_share"] * np.sqrt(low**2 + high**2 + both) / 2)


def _moved(climate: Climate, shift: Array) -> Climate:
    """The climate with every day of the year warmer by ``shift``."""
    low, high = climate.tmin + shift, climate.tmax + shift
    for days in (low, high):
        days.setflags(write=False)
    return replace(climate, tmin=low, tmax=high, _heat={}, _season={}, _days={})
