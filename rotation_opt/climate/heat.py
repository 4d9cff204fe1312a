"""Degree-days of single days, and their mean over years that swing about a smooth one."""

from __future__ import annotations

from math import erf
from typing import Literal

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Method = Literal["average", "clipped", "aquacrop", "sine", "triangle"]

_erf = np.vectorize(erf, otypes=[np.float64])


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
