"""When a swinging temperature first falls to a limit."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]


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
