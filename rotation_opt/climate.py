"""Heat, daylength and frost at a place, from twelve monthly normals.

The monthly means are turned into one smooth year that keeps every mean; day-to-day swings enter through
the daily standard deviation, so that heat near the base temperature and the frost dates come out as the
mean (or median) of many real years rather than as those of one smooth year.

Days count from 0 = 1 January; every year has 365 days. The season axis runs from day -184 (1 July of the
year before) to day 364 and the smooth year repeats along it. South of the equator the year is turned by
half: day 0 is 1 July, so that spring, summer and harvest lie on the same days of the axis as in the north.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from math import erf
from typing import TYPE_CHECKING, Literal

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    from rotation_opt.records import Farm, Station
    from rotation_opt.tables import Tables

Array = npt.NDArray[np.float64]
Method = Literal["average", "clipped", "aquacrop", "sine", "triangle"]

DAYS = 365
SEASON_START = -184
SEASON_LENGTH = 549
MONTH_LENGTHS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
SOUTHERN_SHIFT = 181  # days from 1 January to 1 July

_erf = np.vectorize(erf, otypes=[np.float64])


# ---------------------------------------------------------------- the day axis


def index_of(day: int) -> int:
    """Where ``day`` (0 = 1 January of the harvest year) stands in a season array.

    Raises
    ------
    ValueError
        If the day lies outside the season axis, -184 to 364.

    Examples
    --------
    >>> index_of(-184), index_of(0), index_of(364)
    (0, 184, 548)
    """
    index = day - SEASON_START
    if not 0 <= index < SEASON_LENGTH:
        raise ValueError(
            f"day {day} is outside the season, {SEASON_START} to {SEASON_START + SEASON_LENGTH - 1}"
        )
    return index


def season_days() -> npt.NDArray[np.int64]:
    """The days of the season axis, -184 .. 364, shape (549,)."""
    return np.arange(SEASON_START, SEASON_START + SEASON_LENGTH)


def season_of(year: Array) -> Array:
    """Lay a year of 365 values along the season axis, shape (549,)."""
    return np.asarray(year)[season_days() % DAYS]


# ---------------------------------------------------------------- heat of single days


def degree_days(
    t_min: npt.ArrayLike,
    t_max: npt.ArrayLike,
    base: float,
    upper: float | None = None,
    method: Method = "average",
) -> Array:
    """Degree-days of each day above a base temperature.

    Parameters
    ----------
    t_min, t_max : array_like of float, shape (n,)
        Lowest and highest air temperature of each day. [°C]
    base : float
        Temperature at and below which development stops. [°C]
    upper : float, optional
        Temperature above which development gets no faster. [°C]
    method : {"average", "clipped", "aquacrop", "sine", "triangle"}
        "average": mean of the extremes less the base, never below zero (method 1 of [1]_); the extremes
        are lowered to `upper` first.
        "clipped": the extremes are first raised to the base and lowered to `upper` (method 2 of [1]_).
        "aquacrop": as "clipped", but the minimum is only lowered to `upper`, and the mean is then raised
        to the base: the variant the FAO degree-day crop sets go with ([2]_, its method 3).
        "sine", "triangle": area between the base and a sine or triangle through the extremes ([3]_), with
        a horizontal cut-off at `upper`.

    Returns
    -------
    ndarray of float, shape (n,)
        Degree-days of each day, never below zero. [°C d]

    Raises
    ------
    ValueError
        If `t_min` is above `t_max` on any day, `upper` is not above `base`, or the method is not known.

    References
    ----------
    .. [1] G. S. McMaster and W. W. Wilhelm, "Growing degree-days: one equation, two interpretations,"
       Agric. For. Meteorol., vol. 87, pp. 291-300, 1997.
    .. [2] FAO, "AquaCrop reference manual," 2023, as carried by the Python package aquacrop 3.1.
    .. [3] G. L. Baskerville and P. Emin, "Rapid estimation of heat accumulation from maximum and minimum
       temperatures," Ecology, vol. 50, pp. 514-517, 1969 (written from memory).

    Examples
    --------
    >>> degree_days([4.0], [20.0], base=10.0).tolist()
    [2.0]
    >>> degree_days([4.0], [20.0], base=10.0, method="clipped").tolist()
    [5.0]
    """
    low, high = np.broadcast_arrays(np.asarray(t_min, dtype=float), np.asarray(t_max, dtype=float))
    crossed = np.flatnonzero(low > high)
    if crossed.size:
        raise ValueError(f"t_min is above t_max on day {crossed[0]} (counted from 0)")
    if upper is not None and upper <= base:
        raise ValueError(f"upper limit {upper} is not above base {base}")
    if method in ("sine", "triangle"):
        area = _area_under_sine if method == "sine" else _area_under_triangle
        heat = area(low, high, base)
        return heat if upper is None else heat - area(low, high, upper)
    cap = np.inf if upper is None else upper
    if method == "average":
        mean = (np.minimum(low, cap) + np.minimum(high, cap)) / 2
    elif method == "clipped":
        mean = (np.clip(low, base, cap) + np.clip(high, base, cap)) / 2
    elif method == "aquacrop":
        mean = (np.minimum(low, cap) + np.clip(high, base, cap)) / 2
    else:
        raise ValueError(f"no such degree-day method: {method}")
    return np.asarray(np.maximum(mean - base, 0.0))


def _area_under_sine(low: Array, high: Array, base: float) -> Array:
    mean, half = (high + low) / 2, (high - low) / 2
    safe = np.where(half > 0, half, 1.0)
    theta = np.arcsin(np.clip((base - mean) / safe, -1.0, 1.0))
    crossing = ((mean - base) * (np.pi / 2 - theta) + half * np.cos(theta)) / np.pi
    return np.where(high <= base, 0.0, np.where(low >= base, mean - base, crossing))


def _area_under_triangle(low: Array, high: Array, base: float) -> Array:
    spread = np.where(high > low, high - low, 1.0)
    crossing = (high - base) ** 2 / (2 * spread)
    return np.where(high <= base, 0.0, np.where(low >= base, (high + low) / 2 - base, crossing))


def expected_degree_days(
    t_min: npt.ArrayLike,
    t_max: npt.ArrayLike,
    sd_min: npt.ArrayLike,
    sd_max: npt.ArrayLike,
    base: float,
    *,
    upper: float | None = None,
    correlation: float = 0.6,
) -> Array:
    """Mean degree-days of many years whose days swing about a smooth year.

    Only the part of a day above the base counts, so the mean of many swinging years is above the figure
    of their mean year, most where the mean is near the base. With daily means normal about m with
    standard deviation s it is ``(m - b) F(z) + s f(z)``, ``z = (m - b) / s``, F and f the normal
    distribution and density. From it an upper limit takes half of what each extreme is expected to spend
    above the limit, which is exact for method "average" as long as no day is both hotter than the limit
    by day and so cold by night that its capped mean falls below the base.

    Parameters
    ----------
    t_min, t_max : array_like of float, shape (n,)
        Mean lowest and highest air temperature of each calendar day. [°C]
    sd_min, sd_max : array_like of float, shape (n,)
        Standard deviation of single days about those means. [°C]
    base, upper : float
        Base temperature and, if any, the upper limit. [°C]
    correlation : float
        Same-day correlation of maximum and minimum.

    Returns
    -------
    ndarray of float, shape (n,)
        Expected degree-days of each day. [°C d]

    Notes
    -----
    The aim is that of Thom's correction for monthly data (1954, from memory); the form is the mean of a
    truncated normal variable.

    Examples
    --------
    >>> expected_degree_days([0.0], [0.0], [2.0], [2.0], base=0.0, correlation=1.0).round(3).tolist()
    [0.798]
    """
    low, high = np.asarray(t_min, dtype=float), np.asarray(t_max, dtype=float)
    s_low, s_high = np.asarray(sd_min, dtype=float), np.asarray(sd_max, dtype=float)
    s_mean = np.sqrt(s_low**2 + s_high**2 + 2 * correlation * s_low * s_high) / 2
    heat = _expected_above((low + high) / 2, s_mean, base)
    if upper is not None:
        lost = _expected_above(low, s_low, upper) + _expected_above(high, s_high, upper)
        heat = np.maximum(heat - lost / 2, 0.0)
    return heat


def _expected_above(mean: Array, sd: Array, limit: float) -> Array:
    """Mean of the part above ``limit`` of a normal variable."""
    safe = np.maximum(sd, 1e-9)
    z = (mean - limit) / safe
    density = np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi)
    return np.asarray((mean - limit) * _normal(z) + safe * density)


def _normal(z: Array) -> Array:
    return np.asarray(0.5 * (1 + _erf(z / np.sqrt(2))))


# ---------------------------------------------------------------- sun


def daylength(latitude: float, day_of_year: npt.ArrayLike) -> Array:
    """Hours between sunrise and sunset, FAO-56 equations 24, 25 and 34.

    Parameters
    ----------
    latitude : float
        North positive. [degrees]
    day_of_year : array_like of int
        1 = 1 January.

    Returns
    -------
    ndarray of float
        Day length; 0 or 24 beyond the polar circles in season. [h]

    References
    ----------
    R. G. Allen and others, "Crop evapotranspiration," FAO Irrigation and Drainage Paper 56, ch. 3, 1998.

    Examples
    --------
    >>> round(float(daylength(-20.0, 246)), 1)
    11.7
    """
    declination = 0.409 * np.sin(2 * np.pi * np.asarray(day_of_year, dtype=float) / DAYS - 1.39)
    cosine = -np.tan(np.radians(latitude)) * np.tan(declination)
    return np.asarray(24 * np.arccos(np.clip(cosine, -1.0, 1.0)) / np.pi)


# ---------------------------------------------------------------- twelve means to 365 days


def _smoothing_matrix() -> Array:
    """(365, 12): turns twelve monthly means into the smoothest year that keeps them."""
    second = -2 * np.eye(DAYS) + np.roll(np.eye(DAYS), 1, axis=1) + np.roll(np.eye(DAYS), -1, axis=1)
    months = np.zeros((12, DAYS))
    start = 0
    for month, length in enumerate(MONTH_LENGTHS):
        months[month, start : start + length] = 1 / length
        start += length
    system = np.block([[second.T @ second, months.T], [months, np.zeros((12, 12))]])
    wanted = np.vstack([np.zeros((DAYS, 12)), np.eye(12)])
    return np.linalg.solve(system, wanted)[:DAYS]


_matrix: list[Array] = []


def smooth_year(monthly: npt.ArrayLike) -> Array:
    """The smoothest year of 365 days whose month means are exactly the twelve given.

    Least sum of squared second differences on a circle, subject to the twelve means: one linear solve.
    Joining mid-month points with straight lines would miss the means (Boone, Iowa: January maximum 0.7 °C
    too warm).

    Parameters
    ----------
    monthly : array_like of float, shape (12,)
        Means of January to December.

    Returns
    -------
    ndarray of float, shape (365,)
        One value a day from 1 January.

    Raises
    ------
    ValueError
        If there are not twelve values.

    Examples
    --------
    >>> bool(abs(smooth_year(range(12))[:31].mean()) < 1e-9)
    True
    """
    means = np.asarray(monthly, dtype=float)
    if means.shape != (12,):
        raise ValueError(f"a year has 12 monthly means, not {means.size}")
    if not _matrix:
        _matrix.append(_smoothing_matrix())
    return np.asarray(_matrix[0] @ means)


# ---------------------------------------------------------------- frost


def first_hit(
    mean: Array, sd: Array, limit: float, *, lag_one: float, probability: float, grid: int = 121
) -> int | None:
    """Days until a swinging series first falls to ``limit`` with the given probability.

    The standardised departures are a first-order autoregressive series; the chance of not having fallen
    to the limit so far is carried forward day by day on a grid of departures, which is exact up to the
    grid, so no weather years need to be drawn.

    Parameters
    ----------
    mean, sd : ndarray of float, shape (n,)
        Mean and standard deviation of each day, in the order in which the days are met. [°C]
    limit : float
        [°C]
    lag_one : float
        Correlation of one day with the next.
    probability : float
        Chance, 0-1, that the limit has been met by the day returned.
    grid : int
        Number of grid points between -5 and 5 standard deviations.

    Returns
    -------
    int or None
        Position of the day; None if the chance is not reached in the days given.
    """
    points = np.linspace(-5.0, 5.0, grid)
    width = points[1] - points[0]
    noise = np.sqrt(1 - lag_one**2)
    move = np.exp(-(((points[:, None] - lag_one * points[None, :]) / noise) ** 2) / 2)
    move /= move.sum(axis=0)
    still = np.exp(-(points**2) / 2)
    still /= still.sum()
    cuts = (limit - mean) / np.maximum(sd, 1e-9)
    for position, cut in enumerate(cuts):
        if position:
            still = move @ still
        # the grid cell that holds the cut survives by the share of it above the cut
        still = still * np.clip((points - cut) / width + 0.5, 0.0, 1.0)
        if still.sum() <= 1 - probability:
            return position
    return None


# ---------------------------------------------------------------- the climate of one place


@dataclass(frozen=True, slots=True, kw_only=True)
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

    @property
    def mean_temperature(self) -> Array:
        """Mean air temperature of each day, shape (365,). [°C]"""
        return (self.tmin + self.tmax) / 2

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
        warmest = self._warmest_day
        ahead = np.arange(warmest, warmest + DAYS // 2)
        hit = self._first_hit(ahead, limit, probability)
        return min(DAYS - 1, int(ahead[hit])) if hit is not None else DAYS - 1

    def _first_hit(self, days: npt.NDArray[np.int64], limit: float, probability: float) -> int | None:
        at = days % DAYS
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
        return int(np.argmax(self.tmin))

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


def for_farm(farm: Farm, tables: Tables) -> Climate:
    """The climate of the station a farm file names."""
    return Climate.of_station(farm.station, tables)


def for_station(station: Station | str, tables: Tables) -> Climate:
    """The climate of a station, given as a record or by its key."""
    return Climate.of_station(station, tables)
