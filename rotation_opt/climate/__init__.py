"""Heat, daylength and frost at a place, from twelve monthly normals or a daily record.

The monthly means are turned into one smooth year that keeps every mean; day-to-day swings enter through
the daily standard deviation, so that heat near the base temperature and the frost dates come out as the
mean (or median) of many real years rather than as those of one smooth year.

Days count from 0 = 1 January; every year has 365 days. The season axis runs from day -184 (1 July of the
year before) to day 364 and the smooth year repeats along it. South of the equator the year is turned by
half: day 0 is 1 July, so that spring, summer and harvest lie on the same days of the axis as in the north.
"""

from rotation_opt.climate.days import (
    DAYS,
    MONTH_LENGTHS,
    SEASON_LENGTH,
    SEASON_START,
    daylength,
    index_of,
    season_days,
    season_of,
    smooth_year,
)
from rotation_opt.climate.frost import first_hit
from rotation_opt.climate.heat import Method, degree_days, expected_degree_days
from rotation_opt.climate.place import Climate, RealYear
from rotation_opt.climate.record import for_farm, for_station, of_record
from rotation_opt.climate.years import WeatherYear, month_spread, weather_years

__all__ = [
    "DAYS",
    "MONTH_LENGTHS",
    "SEASON_LENGTH",
    "SEASON_START",
    "Climate",
    "Method",
    "RealYear",
    "WeatherYear",
    "daylength",
    "degree_days",
    "expected_degree_days",
    "first_hit",
    "for_farm",
    "for_station",
    "index_of",
    "month_spread",
    "of_record",
    "season_days",
    "season_of",
    "smooth_year",
    "weather_years",
]
