"""How far patches of creeping weeds move outward, and how much ground they then take.

The edge of a patch is carried by roots that run sideways. A patch at full strength moves at the rate that
was published for its weed; one worn down moves less, in proportion to its roots; one worn down to nothing
stays where it is::

    metres a year = published rate * reserve      reserve at most 1

Published rates are those of patches that nobody fought, and mostly the largest seen. Tillage that drags
pieces of root along the field can carry a patch further; no figure for that was found and none is used.
A patch never shrinks here: what a plan takes away is the strength of the roots in it.

The ground of a patch is taken as one circle. Of all shapes that gains least, so a long patch, or one area
that stands for many small patches, may gain more.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rotation_opt.units import M2_PER_HA

Array = NDArray[np.float64]


def edge_advance(rate_m_per_year: ArrayLike, reserve: ArrayLike) -> Array:
    """Metres that the edge of a patch moves outward in one year.

    Parameters
    ----------
    rate_m_per_year : array_like
        Published rate of the weed. [m/yr]
    reserve : array_like
        Root reserve of the patch in that year, 1 = undisturbed stand; more than 1 counts as 1.

    Returns
    -------
    ndarray
        Broadcast shape of both. [m]

    Examples
    --------
    >>> edge_advance(3.5, [0.0, 0.2, 1.0, 1.1]).round(6).tolist()
    [0.0, 0.7, 3.5, 3.5]
    """
    strength = np.clip(np.asarray(reserve, dtype=np.float64), 0.0, 1.0)
    return np.asarray(np.asarray(rate_m_per_year, dtype=np.float64) * strength)


def radius_m(area_ha: ArrayLike) -> Array:
    """Radius of the circle that is as large as a patch. [m]

    Examples
    --------
    >>> round(float(radius_m(1.0)), 2)
    56.42
    """
    return np.asarray(np.sqrt(np.asarray(area_ha, dtype=np.float64) * M2_PER_HA / np.pi))


def patch_ha(area_ha: ArrayLike, moved_m: ArrayLike) -> Array:
    """Area of patches whose edge has moved outward by so much.

    Parameters
    ----------
    area_ha : array_like
        Area of each patch at first; a patch of no area stays none. [ha]
    moved_m : array_like
        How far the edge has moved since. [m]

    Returns
    -------
    ndarray
        Broadcast shape of both. [ha]

    Examples
    --------
    >>> patch_ha([0.0, 0.01], 3.0).round(4).tolist()
    [0.0, 0.0235]
    """
    first = radius_m(area_ha)
    later = np.where(first > 0.0, first + np.asarray(moved_m, dtype=np.float64), 0.0)
    return np.asarray(np.pi * later**2 / M2_PER_HA)


def infested_ha(patches_ha: ArrayLike, field_ha: float, moved_m: ArrayLike) -> Array:
    """Ground that all patches of one weed on one field take, never more than the field.

    Parameters
    ----------
    patches_ha : array_like (P,)
        Area of each patch when it was counted. [ha]
    field_ha : float
        Area of the field. [ha]
    moved_m : array_like
        How far the edges have moved since, all alike. [m]

    Returns
    -------
    ndarray
        Shape of `moved_m`. [ha]
    """
    moved = np.asarray(moved_m, dtype=np.float64)
    together = patch_ha(np.asarray(patches_ha, dtype=np.float64), moved[..., None]).sum(axis=-1)
    return np.asarray(np.minimum(together, field_ha))
