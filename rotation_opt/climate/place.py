"""The climate of one station: heat, frost and field work from its monthly normals."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from rotation_opt.climate.days import DAYS, daylength, season_of, smooth_year
from rotation_opt.climate.frost import first_hit
from rotation_opt.climate.heat import expected_degree_days
from rotation_opt.records import Station
from rotation_opt.tables import Tables

Array = npt.NDArray[np.float64]

SOUTHERN_SHIFT = 181  # days from 1 January to 1 July


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RealYear:
    """One year of a daily record, turned in the south like everything else (from 1 July on).

    Attributes
    ----------
    name : str
        ``1994``; ``1994/95`` where the year was turned.
    tmin, tmax : ndarray of float, shape (365,)
        Lowest and highest temperature of each day, without 29 February. [°C]
    calm : ndarray of float, shape (365,)
        Mean temperature laid smoothly through the twelve months of the year. [°C]
    """

    name: str
    tmin: Array
    tmax: Array
    calm: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Climate:
    """The smooth year of one station, its daily swings, and what follows from them.

    All days are on the turned year in the south (day 0 = 1 July there); ``shift_days`` says by how much
    to move a day to get back to the calendar.

    Attributes
    ----------
    key : str
        Station key.
    latitude : float
        North positive. [degrees]
    tmin, tmax : ndarray of float, shape (365,)
        Mean daily minimum and maximum. [°C]
    sd_min, sd_max : ndarray of float, shape (365,)
        Standard deviation of single days. [°C]
    sd_from : str
        Station the standard deviations are from: its own key, or the nearest station that has some; empty
        if none is near and the lines over all stations of table ``climate`` stand in.
    precip_monthly : tuple of 12 floats, or None
        Month by month from day 0. [mm]
    shift_days : int
        0 in the north, 181 in the south.
    choices : Mapping of str to float
        The figures of table ``climate``.
    record : tuple of RealYear
        The years of the daily record the climate was taken from; empty if it is from monthly normals.
    calm : ndarray of float, shape (365,), or None
        Mean temperature without its daily swings, where ``tmin`` and ``tmax`` are the days of one real year;
        None where they are smooth themselves. [°C]
    """

    key: str
    latitude: float
    tmin: Array
    tmax: Array
    sd_min: Array
    sd_max: Array
    sd_from: str
    precip_monthly: tuple[float, ...] | None
    shift_days: int
    choices: dict[str, float]
    record: tuple[RealYear, ...] = ()
    calm: Array | None = None
    _heat: dict[tuple[float, float | None], Array] = field(default_factory=dict, repr=False, compare=False)
    _season: dict[tuple[float, float | None], Array] = field(default_factory=dict, repr=False, compare=False)
    _days: dict[str, int] = field(default_factory=dict, repr=False, compare=False)

    @classmethod
    def of_station(cls, station: Station | str, tables: Tables) -> Climate:
        """The climate of a station, given as a record or by its key.

        Raises
        ------
        KeyError
            If no station has that key.
        """
        if isinstance(station, str):
            station = tables.stations[station]
        choices = {name: tables.number("climate", "any", name) for name in _CHOICES}
        turn = 0 if station.latitude >= 0 else SOUTHERN_SHIFT

        def year(monthly: npt.ArrayLike) -> Array:
            days = np.roll(smooth_year(monthly), -turn)
            days.setflags(write=False)
            return days

        sd_min, sd_max, sd_from = _spread(station, tables, choices)
        rain = station.precip_mm
        return cls(
            key=station.key,
            latitude=station.latitude,
            tmin=year(station.tmin_c),
            tmax=year(station.tmax_c),
            sd_min=year(sd_min),
            sd_max=year(sd_max),
            sd_from=sd_from,
            precip_monthly=rain if rain is None or not turn else rain[6:] + rain[:6],
            shift_days=turn,
            choices=choices,
        )

    def in_year(self, year: RealYear) -> Climate:
        """The same place in one year of its record: no spread is left, every day is what it was."""
        still = np.zeros(DAYS)
        still.setflags(write=False)
        return replace(
            self,
            tmin=year.tmin,
            tmax=year.tmax,
            sd_min=still,
            sd_max=still,
            calm=year.calm,
            record=(),
            _heat={},
            _season={},
            _days={},
        )

    @property
    def average_of(self) -> str:
        """What the smooth year is the mean of, to end a sentence about it with."""
        if not self.record:
            return f"at {self.key}"
        first, last = self.record[0].name, self.record[-1].name
        return f"of {self.sd_from}, {first if first == last else f'{first} to {last}'}"

    @property
    def mean_temperature(self) -> Array:
        """Mean air temperature of each day without daily swings, shape (365,). [°C]"""
        return (self.tmin + self.tmax) / 2 if self.calm is None else self.calm

    def heat(self, base: float, upper: float | None = None) -> Array:
        """Expected degree-days of each day of the year, shape (365,). [°C d]"""
        key = (float(base), None if upper is None else float(upper))
        if key not in self._heat:
            days = expected_degree_days(
                self.tmin,
                self.tmax,
                self.sd_min,
                self.sd_max,
                base,
                upper=upper,
                correlation=self.choices["same_day_correlation"],
            )
            days.setflags(write=False)
            self._heat[key] = days
        return self._heat[key]

    def season_heat(self, base: float, upper: float | None = None) -> Array:
        """Expected degree-days of each day of the season axis, shape (549,). [°C d]"""
        key = (float(base), None if upper is None else float(upper))
        if key not in self._season:
            days = season_of(self.heat(base, upper))
            days.setflags(write=False)
            self._season[key] = days
        return self._season[key]

    def day_length(self) -> Array:
        """Hours of daylight of each day, shape (365,)."""
        return daylength(self.latitude, (np.arange(DAYS) + self.shift_days) % DAYS + 1)

    # ------------------------------------------------ frost

    def last_spring_frost(self, limit: float = 0.0, probability: float = 0.5) -> int:
        """Day by which, with ``probability``, the last minimum at or below ``limit`` [°C] has passed.

        0.5 gives the median of the last spring frost. Where such a frost is rarer than that, day 0.
        """
        warmest = self._warmest_day
        back = np.arange(warmest, warmest - DAYS // 2, -1)
        # the series runs the same backward as forward: the first frost met going back is the last of spring
        hit = self._first_hit(back, limit, 1 - probability)
        return max(0, int(back[hit])) if hit is not None else 0

    def first_autumn_frost(self, limit: float = 0.0, probability: float = 0.5) -> int:
        """Day by which, with ``probability``, the first minimum at or below ``limit`` [°C] has come.

        Where it comes after the year's end, or in fewer years than that, day 364.
        """

        def find() -> int:
            warmest = self._warmest_day
            ahead = np.arange(warmest, warmest + DAYS // 2)
            hit = self._first_hit(ahead, limit, probability)
            return min(DAYS - 1, int(ahead[hit])) if hit is not None else DAYS - 1

        return self._once(f"first_autumn_frost {limit} {probability}", find)  # asked for crop after crop

    def _first_hit(self, days: npt.NDArray[np.int64], limit: float, probability: float) -> int | None:
        at = days % DAYS
        if self.calm is not None:  # a real year: every day is known, and chance has no part in it
            cold = np.flatnonzero(self.tmin[at] <= limit)
            return int(cold[0]) if cold.size else None
        lag_one = self.choices["lag_one_correlation"]
        return first_hit(self.tmin[at], self.sd_min[at], limit, lag_one=lag_one, probability=probability)

    @property
    def last_spring_frost_day(self) -> int:
        """Median day of the last spring minimum at or below 0 °C."""
        return self._once("last_spring_frost", self.last_spring_frost)

    @property
    def first_killing_frost_day(self) -> int:
        """Median day of the first autumn minimum at or below the killing temperature (-2.2 °C, 28 °F)."""
        limit = self.choices["killing_frost_c"]
        return self._once("first_killing_frost", lambda: self.first_autumn_frost(limit))

    @property
    def stand_growth_start_day(self) -> int:
        """Start of spring growth of a hay stand: median last minimum at or below -4 °C (FAO-56, Table 11)."""
        limit = self.choices["stand_growth_start_c"]
        return self._once("stand_growth_start", lambda: self.last_spring_frost(limit))

    # ------------------------------------------------ field work

    @property
    def spring_start_day(self) -> int:
        """Day on which field work opens: the smooth mean air temperature rises through ``spring_start_c``.

        Judgement, see table ``climate``; never before ``spring_earliest_day``, however mild the winter.
        """
        earliest = int(self.choices["spring_earliest_day"])
        day = self.warm_day(self.choices["spring_start_c"])
        return earliest if day is None else max(day, earliest)

    @property
    def freeze_day(self) -> int:
        """Day on which field work ends: the smooth mean air temperature falls through ``freeze_c``.

        Judgement, see table ``climate``; never after ``freeze_latest_day``, however mild the winter.
        """
        warmest = int(np.argmax(self.mean_temperature))
        cold = np.flatnonzero(self.mean_temperature[warmest:] <= self.choices["freeze_c"])
        latest = int(self.choices["freeze_latest_day"])
        return min(warmest + int(cold[0]), latest) if cold.size else latest

    def warm_day(self, temperature: float) -> int | None:
        """First day of spring on which the smooth mean air temperature is at or above ``temperature``.

        Returns
        -------
        int or None
            Day of the year, from the coldest day of winter on (day 0 at the earliest); None if the place
            never gets that warm.
        """
        mean = self.mean_temperature
        warmest = int(np.argmax(mean))
        coldest = int(np.argmin(mean))
        start = coldest if coldest < warmest else 0
        warm = np.flatnonzero(mean[start : warmest + 1] >= temperature)
        return start + int(warm[0]) if warm.size else None

    @property
    def _warmest_day(self) -> int:
        return int(np.argmax(self.tmin if self.calm is None else self.calm))

    def _once(self, name: str, find: Callable[[], int]) -> int:
        if name not in self._days:
            self._days[name] = find()
        return self._days[name]


_CHOICES = (
    "same_day_correlation",
    "lag_one_correlation",
    "killing_frost_c",
    "stand_growth_start_c",
    "spring_start_c",
    "spring_earliest_day",
    "freeze_c",
    "freeze_latest_day",
    "month_spread_share",
    "year_shift_months",
    "sd_borrow_km",
    "sd_min_winter",
    "sd_min_summer",
    "sd_min_winter_per_range",
    "sd_min_summer_per_range",
    "sd_max_winter",
    "sd_max_summer",
    "sd_max_winter_per_range",
    "sd_max_summer_per_range",
)


def _spread(station: Station, tables: Tables, choices: dict[str, float]) -> tuple[Array, Array, str]:
    """Monthly SD of daily minimum and maximum, shape (12,) each, and where they come from."""
    near = min(
        (each for each in tables.stations.values() if each.tmin_daily_sd_c and each.tmax_daily_sd_c),
        key=lambda each: _kilometres(station, each),
        default=None,
    )
    if station.tmin_daily_sd_c and station.tmax_daily_sd_c:
        near = station
    if near and _kilometres(station, near) <= choices["sd_borrow_km"]:
        return np.asarray(near.tmin_daily_sd_c), np.asarray(near.tmax_daily_sd_c), near.key
    mean = (np.asarray(station.tmin_c) + np.asarray(station.tmax_c)) / 2
    span = float(mean.max() - mean.min())
    summer = (mean - mean.min()) / span

    def line(which: str) -> Array:
        cold = choices[f"sd_{which}_winter"] + choices[f"sd_{which}_winter_per_range"] * span
        warm = choices[f"sd_{which}_summer"] + choices[f"sd_{which}_summer_per_range"] * span
        return np.asarray(cold + (warm - cold) * summer)

    return line("min"), line("max"), ""


def _kilometres(one: Station, other: Station) -> float:
    """Great-circle distance on a sphere of the earth's mean radius, 6,371 km."""
    north, south = np.radians(one.latitude), np.radians(other.latitude)
    apart = np.radians(one.longitude - other.longitude)
    cosine = np.sin(north) * np.sin(south) + np.cos(north) * np.cos(south) * np.cos(apart)
    return float(6371.0 * np.arccos(np.clip(cosine, -1.0, 1.0)))
