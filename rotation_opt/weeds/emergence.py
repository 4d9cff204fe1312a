"""When shoots come up: the published spring curve, autumn frost, autumn bud rest."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rotation_opt.climate import DAYS, Climate, index_of, season_of
from rotation_opt.weeds.parameters import WeedParameters

Array = NDArray[np.float64]


def share_emerged(heat: ArrayLike, largest: ArrayLike, half_heat: ArrayLike, exponent: ArrayLike) -> Array:
    """Share of spring shoots that are up, ``Y = max / (1 + (X / x0)^b)``, at most 1.

    Parameters
    ----------
    heat : array_like
        X, degree-days above 0 C since the counting day (creeping thistle: 1 April).
    largest, half_heat, exponent : array_like
        max, x0 and b (negative) of the curve.

    Notes
    -----
    Donald (2000), "A degree-day model of Cirsium arvense shoot emergence from adventitious root buds in
    spring". The curve itself passes 1 near 750 degree-days and is cut there.

    Examples
    --------
    >>> share_emerged([0.0, 197.0, 587.0, 900.0], 1.108, 488.344, -5.161).round(2).tolist()
    [0.0, 0.01, 0.8, 1.0]
    """
    warm = np.asarray(heat, dtype=np.float64)
    with np.errstate(divide="ignore", over="ignore"):
        ratio = np.power(np.maximum(warm, 0.0) / half_heat, -np.asarray(exponent, dtype=np.float64))
    share = np.asarray(largest, dtype=np.float64) * ratio / (1.0 + ratio)
    return np.asarray(np.minimum(share, 1.0), dtype=np.float64)


HALF_UP = 0.5  # share up that counts as the weed being there
FIRST_SHOOTS = 0.01  # share up that counts as the first shoots: the first point Donald (2000) states


@dataclass(frozen=True, slots=True, kw_only=True)
class ShootCalendar:
    """What the climate lets the shoots do; days of the season axis, W weeds.

    Attributes
    ----------
    target : ndarray (549, W)
        Shoots that would stand if nobody disturbed them, as a share of what the root can raise.
    heat : ndarray (549, W)
        Degree-days counted by the emergence curve up to each day, from its first day in each year.
    waking : ndarray (549, W)
        1 where buds can send up new shoots, 0 in autumn bud rest.
    bud_day : ndarray (W,) of int
        First day of the harvest year on which the weed is in bud.
    first_day : ndarray (W,) of int
        First day of the harvest year with 1 % of the shoots up.
    half_day : ndarray (W,) of int
        First day of the harvest year with half the shoots up.
    frost_day : ndarray (W,) of int
        Day of the year on which autumn frost ends the shoots; 364 where none does.
    """

    target: Array
    heat: Array
    waking: Array
    bud_day: NDArray[np.int64]
    first_day: NDArray[np.int64]
    half_day: NDArray[np.int64]
    frost_day: NDArray[np.int64]


def shoot_calendar(climate: Climate, weeds: WeedParameters) -> ShootCalendar:
    """Shoot calendar of one climate (the same year repeated).

    Autumn frost is the median first day at or below ``frost_kill_c`` of each weed.
    """
    frost = np.array(
        [climate.first_autumn_frost(float(limit)) for limit in weeds.frost_kill_c], dtype=np.int64
    )
    days = np.arange(DAYS)[:, None]
    daily = np.stack([climate.heat(float(base)) for base in weeds.emergence_base], axis=1)
    heat = np.cumsum(np.where(days >= weeds.emergence_start_day, daily, 0.0), axis=0)
    target = np.where(days < frost, _share_up(heat, weeds), 0.0)
    resting = (days >= weeds.autumn_rest_start_day) & (days < weeds.autumn_rest_end_day)
    return ShootCalendar(
        target=season_of(target),
        heat=season_of(heat),
        waking=season_of(np.where(resting, 0.0, 1.0)),
        bud_day=np.minimum(_first_day(heat >= weeds.bud_heat), frost),
        first_day=_first_day(target >= FIRST_SHOOTS),
        half_day=_first_day(target >= HALF_UP),
        frost_day=frost,
    )


def late_target(calendar: ShootCalendar, weeds: WeedParameters, delay: float) -> Array:
    """Target of a field whose shoots need `delay` more degree-days to reach the surface in spring, (549, W).

    Only the harvest year's spring is later; the autumn before is not.
    """
    late = _share_up(np.maximum(calendar.heat - delay, 0.0), weeds)
    late[: index_of(0)] = 1.0
    return np.asarray(np.minimum(late, calendar.target))


def _share_up(heat: Array, weeds: WeedParameters) -> Array:
    up = share_emerged(heat, weeds.emergence_max, weeds.emergence_x0, weeds.emergence_b)
    up[heat >= weeds.emergence_heat_limit] = 1.0  # beyond the heat the curve was fitted to, all are up
    return up


def _first_day(flags: NDArray[np.bool_]) -> NDArray[np.int64]:
    """First day true in each column (days, W); the last day of the year if none is."""
    return np.where(flags.any(axis=0), flags.argmax(axis=0), DAYS - 1)
