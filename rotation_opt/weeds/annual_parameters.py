"""The numbers of the annual weeds, read from the crop tables into arrays: low, likely and high."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from rotation_opt.tables import Tables

Array = NDArray[np.float64]

TABLE = "annual_weed"
WINTER = "winter annual"
COURSES = ("low", "likely", "high")

#: Figures whose higher end means more weed (1) or less (-1). The rest is the same in all courses: it is known
#: better, or it is not plain which end is the worse one, or (growth in light) it was set so that a plant in a
#: crop has the size and seed of published trials, and ``seeds_open`` carries the doubt about that.
WORSE = {
    "emergence_share": 1,
    "loss_undisturbed": -1,
    "plough_loss": -1,
    "harrow_kill": -1,
    "seedling_death": -1,
    "shade_death": -1,
    "seeds_open": 1,
    "seeds_most_per_m2": 1,
    "seed_lost_fresh": -1,
    "cut_death": -1,
}

#: Figures that only winter annuals have (True) or only summer annuals (False), and what stands for them else.
ONLY = {"emergence_from_day": (True, 0.0), "ripe_from_day": (True, 0.0), "frost_kill_c": (False, np.nan)}


@dataclass(frozen=True, slots=True, kw_only=True)
class AnnualParameters:
    """Figures of several annual weeds, each (W, D): W weeds, D courses; named as in ``columns.csv``.

    ``over_winter`` (W,) tells which of them are winter annuals; see `ONLY` for figures that the others lack.
    """

    weeds: tuple[str, ...]
    courses: tuple[str, ...]
    over_winter: NDArray[np.bool_]
    bank_usual: Array
    cut_death: Array
    emergence_base: Array
    emergence_from_day: Array
    emergence_half_heat: Array
    emergence_share: Array
    emergence_steepness: Array
    emergence_undisturbed: Array
    frost_kill_c: Array
    full_size_heat: Array
    germination_lead_heat: Array
    grow_until_day: Array
    harrow_kill: Array
    harrow_small_heat: Array
    height_m: Array
    layer_depth_m: Array
    leaf_height_share: Array
    light_dark: Array
    light_full: Array
    loss_per_turning: Array
    loss_undisturbed: Array
    plough_loss: Array
    regrow_ripe_heat: Array
    ripe_from_day: Array
    ripe_heat: Array
    ripe_span_heat: Array
    seed_lost_fresh: Array
    seedling_death: Array
    seedling_size: Array
    seeds_most_per_m2: Array
    seeds_open: Array
    shade_death: Array
    stir_depth_m: Array

    @property
    def growth_per_heat(self) -> Array:
        """Relative growth of a seedling in full light, so that 95 % of full size is reached in time."""
        size = self.seedling_size
        return np.asarray((np.log((1 - size) / size) + np.log(0.95 / 0.05)) / self.full_size_heat)


_NOT_FIGURES = ("weeds", "courses", "over_winter")
_QUANTITIES = tuple(each.name for each in fields(AnnualParameters) if each.name not in _NOT_FIGURES)


def annual_parameters(tables: Tables, weeds: Sequence[str] | None = None) -> AnnualParameters:
    """Read the figures of annual weeds: low, likely and high course.

    In the low course every figure of `WORSE` is moved towards its better end, in the high course towards its
    worse one, by its range over the square root of the number of figures moved: as far as independent errors
    of that size add up to.

    Parameters
    ----------
    tables : Tables
    weeds : sequence of str, optional
        Keys; all annual weeds of the tables if left out.

    Raises
    ------
    TableError
        If a figure is missing.
    """
    keys = tuple(tables.annual_weeds) if weeds is None else tuple(weeds)
    step = 1.0 / np.sqrt(len(WORSE))
    values = {
        quantity: np.array([_courses(tables, weed, quantity, step) for weed in keys])
        for quantity in _QUANTITIES
    }
    values["emergence_share"] = np.maximum(values["emergence_share"], values["emergence_undisturbed"])
    return AnnualParameters(
        weeds=keys,
        courses=COURSES,
        over_winter=np.array([tables.annual_weeds[key].life == WINTER for key in keys], dtype=np.bool_),
        **values,
    )


def _courses(tables: Tables, weed: str, quantity: str, step: float) -> tuple[float, float, float]:
    winter = tables.annual_weeds[weed].life == WINTER
    only, otherwise = ONLY.get(quantity, (winter, 0.0))
    if only != winter:
        return otherwise, otherwise, otherwise
    figure = tables.figure(TABLE, weed, quantity)
    way = WORSE.get(quantity, 0)
    ends = (figure.low, figure.high) if way > 0 else (figure.high, figure.low)
    if way == 0 or None in ends:
        return figure.value, figure.value, figure.value
    low, high = (figure.value + step * (end - figure.value) for end in ends if end is not None)
    return low, figure.value, high
