"""How far off what one season leaves of a weed may be, as drawn for one season looked at by itself.

The size of the error is the usual one with which the outcomes of trials were foretold by a fit that had not
seen their study (``season_error``, in log units; from the median, so a few were missed by far more). Plans
draw it for whole courses (``bands.py``); here a season or two of one practice are followed with many errors
for every set of weed figures.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from rotation_opt.tables import Tables
from rotation_opt.weeds.response import reserve_after

Array = NDArray[np.float64]

ERRORS_A_DRAW = 25
_SEED = 20261125


def season_errors(tables: Tables, weed: str, draws: int) -> Array:
    """Factors on what a season leaves of a thin stand, the same at every call.

    They do not depend on the practice, so that practices are compared under the same errors.

    Parameters
    ----------
    tables : Tables
    weed : str
    draws : int
        Sets of weed figures.

    Returns
    -------
    ndarray (`ERRORS_A_DRAW`, draws)

    Raises
    ------
    TableError
        If the weed has no ``season_error``.
    """
    spread = tables.number("weed", weed, "season_error")
    return np.asarray(np.exp(np.random.default_rng(_SEED).normal(0.0, spread, (ERRORS_A_DRAW, draws))))


def reserve_with_error(
    growth: Array, crowding: Array, reserve: Array | float, errors: Array | float, *, cap: Array
) -> Array:
    """Reserve after a season that is off by these factors: growth and crowding are off alike.

    So a dense stand comes no nearer to the cap than the season lets any stand come. A season that crowds
    nobody could be off by so much that the cap is passed; there it ends at the cap.

    Parameters
    ----------
    growth, crowding, reserve
        As in `reserve_after`, each (D,) or a number.
    errors : ndarray (..., D)
    cap : ndarray (D,)
        K, the reserve that cannot be exceeded.
    """
    return np.asarray(np.minimum(reserve_after(growth * errors, crowding * errors, reserve), cap))
