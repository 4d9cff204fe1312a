"""The days of a year and of a season: the axis, monthly means laid along it, and daylight."""

from __future__ import annotations

import functools

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

DAYS = 365
SEASON_START = -184
SEASON_LENGTH = 549
MONTH_LENGTHS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


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
    return np.asarray(_smoothing_matrix() @ means)


@functools.cache
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
