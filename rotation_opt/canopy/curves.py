"""Cover and height of a crop by the heat it has had."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from rotation_opt.canopy.parameters import CanopyParameters

Array = npt.NDArray[np.float64]
_FULL = 0.999  # a cover of exactly 1 would have no logarithm


def canopy_growth(heat: npt.ArrayLike, start_cover: npt.ArrayLike, most: float, growth: float) -> Array:
    """Cover that grows from ``start_cover`` towards ``most``: exponential to half, then levelling off.

    ``CC = CC0 exp(CGC t)`` up to ``CCx / 2``, then ``CC = CCx - 0.25 CCx² / CC0 exp(-CGC t)``. Growth from
    a cover already above half goes on along the same levelling curve.

    Parameters
    ----------
    heat : array_like of float
        Degree-days since the start; below zero there is no cover yet. [°C d]
    start_cover : array_like of float
        Cover at heat 0 (CC0), broadcast against `heat`.
    most : float
        Largest cover (CCx).
    growth : float
        Growth coefficient (CGC). [1/(°C d)]

    Returns
    -------
    ndarray of float
        Share of ground covered, broadcast shape.

    References
    ----------
    FAO, "AquaCrop reference manual," 2023, canopy development; form as in the Python package aquacrop 3.1.

    Examples
    --------
    Barley of the FAO degree-day crop set, 0 to 800 °C d after emergence:

    >>> canopy_growth([0, 300, 400, 800], 0.0225, 0.8, 0.008697).round(4).tolist()
    [0.0225, 0.3057, 0.5807, 0.7932]
    """
    time = np.asarray(heat, dtype=float)
    start = np.maximum(np.asarray(start_cover, dtype=float), 1e-12)
    rise = np.clip(growth * np.maximum(time, 0.0), 0.0, 500.0)
    early = start * np.exp(rise)
    late = most - 0.25 * most**2 / start * np.exp(-rise)
    onward = most - (most - start) * np.exp(-rise)
    cover = np.where(start > most / 2, np.minimum(onward, most), np.where(early <= most / 2, early, late))
    return np.where((time >= 0) & (np.asarray(start_cover) > 0), cover, 0.0)


def canopy_decline(heat: npt.ArrayLike, peak: npt.ArrayLike, decline: float) -> Array:
    """Green cover after leaves begin to die: ``CC = CCx {1 - 0.05 [exp(3.33 CDC t / (CCx + 2.29)) - 1]}``.

    Parameters
    ----------
    heat : array_like of float
        Degree-days since senescence began; below zero the peak stands. [°C d]
    peak : array_like of float
        Cover when senescence began (CCx).
    decline : float
        Decline coefficient (CDC). [1/(°C d)]

    Returns
    -------
    ndarray of float
        Share of ground under green leaves, never below zero.

    References
    ----------
    As for :func:`canopy_growth`.

    Examples
    --------
    >>> canopy_decline([0, 200, 400], 0.8, 0.006).round(4).tolist()
    [0.8, 0.6942, 0.3087]
    """
    top = np.asarray(peak, dtype=float)
    power = np.clip(
        3.33 * decline * np.maximum(np.asarray(heat, dtype=float), 0.0) / (top + 2.29), 0.0, 500.0
    )
    return np.asarray(np.maximum(top * (1 - 0.05 * (np.exp(power) - 1)), 0.0))


def annual_cover(
    heat: npt.ArrayLike,
    parameters: CanopyParameters,
    density_ratio: npt.ArrayLike = 1.0,
    ripening_heat: npt.ArrayLike | None = None,
) -> Array:
    """Green cover of an annual crop.

    Parameters
    ----------
    heat : array_like of float
        Degree-days since sowing. [°C d]
    parameters : CanopyParameters
    density_ratio : array_like of float
        Sowing rate against the usual one; it moves the curve earlier by ``ln(ratio) / CGC`` and leaves the
        largest cover alone.
    ripening_heat : array_like of float, optional
        Degree-days that count towards senescence: those since 1 January for fall-sown crops; `heat` if
        left out. [°C d]

    Returns
    -------
    ndarray of float
        Share of ground under green leaves, broadcast shape.
    """
    since_sowing = np.asarray(heat, dtype=float)
    ripening = since_sowing if ripening_heat is None else np.asarray(ripening_heat, dtype=float)
    past = np.maximum(ripening - parameters.heat_senescence, 0.0)
    # both sums run on the same daily heat, so growth had ``past`` less when it stopped
    start = np.minimum(parameters.first_cover * np.asarray(density_ratio, dtype=float), parameters.canopy_max)
    grown = canopy_growth(
        since_sowing - past - parameters.heat_emergence,
        start,
        parameters.canopy_max,
        parameters.canopy_growth,
    )
    return canopy_decline(past, grown, parameters.canopy_decline)


def regrowth_cover(heat: npt.ArrayLike, parameters: CanopyParameters, stand_year: int = 1) -> Array:
    """Green cover of a hay stand regrowing from stubble.

    Parameters
    ----------
    heat : array_like of float
        Degree-days since the cut, or since spring growth began. [°C d]
    parameters : CanopyParameters
    stand_year : int
        1 in the first full year; old stands are thinner.

    Returns
    -------
    ndarray of float
        Share of ground under green leaves.
    """
    most = parameters.most_cover(stand_year)
    return canopy_growth(heat, min(parameters.stubble_cover, most), most, parameters.canopy_growth)


def canopy_height(cover: npt.ArrayLike, parameters: CanopyParameters) -> Array:
    """Height of a crop from the cover it has grown: ``H sqrt(LAI / LAImax)``.

    Leaf area is taken from cover as ``LAI ~ -ln(1 - C)``. The square root is the form of a widely used
    watershed model (SWAT, from memory).

    Parameters
    ----------
    cover : array_like of float
        Largest cover grown so far.
    parameters : CanopyParameters

    Returns
    -------
    ndarray of float
        [m]
    """
    gaps = 1 - np.clip(np.asarray(cover, dtype=float), 0.0, parameters.canopy_max)
    full = np.log(1 - min(parameters.canopy_max, _FULL))
    share = np.log(np.maximum(gaps, 1 - _FULL)) / full
    return np.asarray(parameters.height_m * np.sqrt(np.clip(share, 0.0, 1.0)))
