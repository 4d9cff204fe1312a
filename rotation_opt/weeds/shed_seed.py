"""Seed that creeping weeds shed in their patches: an order of magnitude, and a reason not to let them flower.

Only shoots that flower shed seed, so nothing is shed where each shoot is cut, grazed, hoed or harvested
before. A pass ends the shoots it takes; new ones come up and flower later, if they have the heat for it, if
their stems can still stretch in the length of the day, and if no further pass, harvest or frost comes first.
What flowers in stubble after harvest is left out: in the shortening days there it is little.

Nothing is made of the seed in the model: no new stands come from it.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
Days = NDArray[np.int64]

NEVER = 10_000
"""Day of flowering of shoots that do not come to flower."""


def flowers_after(
    daily_heat: ArrayLike, bud_heat: float, flower_heat: float, *, last_long_day: int, frost_day: int
) -> Days:
    """Day on which shoots that start again on each day of the year have their first flowers.

    Parameters
    ----------
    daily_heat : array_like (365,)
        Degree-days of each day of the harvest year. [degC d]
    bud_heat, flower_heat : float
        Heat from the pass that took the shoots before to bud stage and to first flowers. [degC d]
    last_long_day : int
        Last day long enough for stems to stretch; shoots not at bud by then stay rosettes.
    frost_day : int
        Day on which frost ends the shoots.

    Returns
    -------
    ndarray (365,) of int
        `NEVER` where they do not get so far.
    """
    total = np.cumsum(np.asarray(daily_heat, dtype=np.float64))
    bud = np.searchsorted(total, total + bud_heat)
    flower = np.searchsorted(total, total + flower_heat)
    reached = (flower < len(total)) & (flower < frost_day) & (bud <= last_long_day)
    return np.asarray(np.where(reached, flower, NEVER), dtype=np.int64)


def share_in_flower(
    passes: Iterable[tuple[int, float]], *, up_day: int, flower_day: int, harvest_day: int, again: Days
) -> float:
    """Share of a season's shoots that come to flower before the harvest.

    Parameters
    ----------
    passes : iterable of (day, share of shoots taken)
        Work of the season, 0 = 1 January of the harvest year. Work before the shoots are up takes none.
    up_day : int
        Day on which half the shoots are up.
    flower_day : int
        Day of the first flowers if nothing is done; `NEVER` if frost comes first.
    harvest_day : int
        Ends the season.
    again : ndarray (365,) of int
        As from `flowers_after`.

    Returns
    -------
    float
        0 to 1: each shoot taken before it flowers is followed by one.

    Examples
    --------
    >>> late = np.full(365, NEVER)
    >>> share_in_flower([(170, 0.9)], up_day=130, flower_day=184, harvest_day=220, again=late)
    0.1
    """
    coming, flowered = {flower_day: 1.0}, 0.0
    for day, taken in (*sorted(passes), (harvest_day, 1.0)):
        flowered += sum(share for when, share in coming.items() if when < day)
        coming = {when: share for when, share in coming.items() if when >= day}
        if day >= harvest_day:
            break
        if day < up_day:
            continue
        lost = taken * sum(coming.values())
        coming = {when: share * (1.0 - taken) for when, share in coming.items()}
        if lost > 0.0:
            when = int(again[day]) if day < len(again) else NEVER
            coming[when] = coming.get(when, 0.0) + lost
    return round(flowered, 12)


def seeds_shed(
    shoots_per_m2: ArrayLike, in_flower: ArrayLike, seeds_per_shoot: ArrayLike, most_per_m2: ArrayLike
) -> Array:
    """Living seeds shed on each square metre of a patch in one year.

    Parameters
    ----------
    shoots_per_m2 : array_like
        Shoots at about bud stage.
    in_flower : array_like
        Share of them that flowers, as from `share_in_flower`.
    seeds_per_shoot : array_like
        Sound seeds of a shoot that comes to its time, mean over such as bear seed and such as do not.
    most_per_m2 : array_like
        A closed stand has no more, however many shoots there are; infinite where that is not known.

    Returns
    -------
    ndarray
        Broadcast shape. [seeds/m2]

    Examples
    --------
    >>> seeds_shed([0.0, 4.0, 900.0], 0.5, 100.0, 5000.0).tolist()
    [0.0, 200.0, 5000.0]
    """
    shoots = np.asarray(shoots_per_m2, dtype=np.float64)
    shed = shoots * np.asarray(in_flower) * np.asarray(seeds_per_shoot)
    return np.asarray(np.minimum(shed, most_per_m2))
