"""How much light a canopy leaves to a weed: cover, height and rows."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
FULL = 0.999  # a cover of exactly 1 would leave a weed no light for ever


def row_exponent(
    cover: npt.ArrayLike, row_spacing_m: npt.ArrayLike, usual_row_spacing_m: npt.ArrayLike, clumping_m: float
) -> Array:
    """How much better (above 1) or worse (below 1) the same leaves shade the ground than in usual rows.

    Leaves in rows overlap, so they let more light past than leaves spread evenly: as if the exponent on the
    share of gaps were only ``Omega = exp(-r (1 - C) / clumping)`` for row spacing r and cover C. Omega is at
    most 1 and rises to 1 as the rows close. Tabulated covers were measured in usual rows, so what counts is
    Omega against that of the usual spacing: ``exp((r_usual - r) (1 - C) / clumping)``.

    Parameters
    ----------
    cover : array_like of float
        Cover the crop would have in its usual rows.
    row_spacing_m, usual_row_spacing_m : array_like of float
        [m]
    clumping_m : float
        Row spacing at which Omega of an open canopy has fallen to 1/e; fitted, see table ``canopy``. [m]

    Returns
    -------
    ndarray of float
        Exponent on the share of gaps, broadcast shape.

    Notes
    -----
    A clumping index is a known way (form from memory); this shape of it is ours. It is fitted to weed
    biomass, so it carries whatever narrow rows do to weeds, not light alone.
    """
    gaps = 1 - np.asarray(cover, dtype=float)
    narrower = np.asarray(usual_row_spacing_m, dtype=float) - np.asarray(row_spacing_m, dtype=float)
    return np.asarray(np.exp(narrower * gaps / clumping_m))


def share_of_light(
    cover: npt.ArrayLike,
    canopy_height_m: npt.ArrayLike,
    weed_height_m: npt.ArrayLike = 0.0,
    exponent: npt.ArrayLike = 1.0,
) -> Array:
    """Share of full light that reaches the top of a weed under a canopy.

    With leaves spread evenly up the canopy, ``T = (1 - C)^(exponent (1 - z / H))`` for a weed of height z
    under a canopy of height H, and full light once it stands above it.

    Parameters
    ----------
    cover : array_like of float
        Share of ground covered. Covers from :func:`cover_of` already hold the effect of row spacing.
    canopy_height_m, weed_height_m : array_like of float
        [m]
    exponent : array_like of float
        From :func:`row_exponent`, if `cover` does not hold the row spacing yet.

    Returns
    -------
    ndarray of float
        Between 0 and 1; all arguments broadcast.

    Examples
    --------
    >>> share_of_light(0.9, 1.0, [0.0, 0.5, 1.2]).round(3).tolist()
    [0.1, 0.316, 1.0]
    """
    height = np.maximum(np.asarray(canopy_height_m, dtype=float), 1e-9)
    above = np.clip(1 - np.asarray(weed_height_m, dtype=float) / height, 0.0, 1.0)
    gaps = 1 - np.minimum(np.asarray(cover, dtype=float), FULL)
    return np.asarray(gaps ** (np.asarray(exponent, dtype=float) * above))
