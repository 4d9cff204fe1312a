"""Yield lost to a counted weed: the rectangular hyperbola."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rotation_opt.errors import TableError
from rotation_opt.tables import Tables

#: Subject used where a weed has no figures for this group of crops: ``<weed>@any``.
ANY_GROUP = "any"


def share_lost(shoots_per_m2: ArrayLike, index: ArrayLike, most: ArrayLike) -> NDArray[np.float64]:
    """Share of the weed-free yield that is lost, ``I D / (1 + I D / A)``, never more than all of it.

    Parameters
    ----------
    shoots_per_m2 : array_like
        Weed shoots D, counted about when the weed is in bud.
    index : array_like
        I, percent lost for each of the first few shoots/m2.
    most : array_like
        A, percent lost in a stand without end.

    Returns
    -------
    numpy.ndarray
        Share 0-1, shape of the broadcast inputs.

    Raises
    ------
    ValueError
        If a density, index or upper limit is negative, or the upper limit is 0.

    Notes
    -----
    Form of Cousens (1985), "A simple model relating yield loss to weed density". `most` above 100 is
    accepted, because published fits have it; the share stops at 1.

    Examples
    --------
    >>> share_lost([0.0, 10.0, 20.0], 5.8, 82.0).round(2).tolist()
    [0.0, 0.34, 0.48]
    """
    density = np.asarray(shoots_per_m2, dtype=np.float64)
    first = np.asarray(index, dtype=np.float64)
    limit = np.asarray(most, dtype=np.float64)
    if (density < 0).any() or (first < 0).any() or (limit <= 0).any():
        raise ValueError("shoots and loss index must be 0 or more, the largest loss more than 0")
    percent = first * density / (1.0 + first * density / limit)
    return np.asarray(np.minimum(percent / 100.0, 1.0), dtype=np.float64)


def loss_figures(tables: Tables, weed: str, group: str) -> tuple[float, float]:
    """Loss index I and largest loss A of one weed in one group of crops, both in percent.

    Raises
    ------
    TableError
        If the weed has figures neither for the group nor for any crop.
    """
    for subject in (f"{weed}@{group}", f"{weed}@{ANY_GROUP}"):
        if tables.has("weed", subject, "loss_index") and tables.has("weed", subject, "loss_most"):
            return tables.number("weed", subject, "loss_index"), tables.number("weed", subject, "loss_most")
    raise TableError(
        f"weed_figures.csv: {weed!r} has no loss_index and loss_most for {group!r}; "
        f"a row with subject {weed}@{group} or {weed}@{ANY_GROUP} is needed."
    )
