"""The numbers of the weeds, read from the crop tables into arrays the daily step can use."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from rotation_opt.tables import Tables

Array = NDArray[np.float64]

#: Fitted or judged figures that differ between draws (tables weed_parameters.csv and weed_draws.csv).
DYNAMIC = (
    "light_dark",
    "light_full",
    "leaf_heat",
    "compensation_heat",
    "draw",
    "shoot_cost",
    "upkeep",
    "upkeep_q10",
    "regrow_heat",
    "shoot_power",
    "reserve_cap",
    "fragment_regrowth",
)
#: Figures of the weed that are the same in all draws (table weed_figures.csv).
FIXED = (
    "emergence_max",
    "emergence_x0",
    "emergence_b",
    "emergence_base",
    "emergence_start_day",
    "emergence_heat_limit",
    "bud_heat",
    "height_m",
    "height_heat",
    "rosette_height_m",
    "stretch_daylength_h",
    "leaf_height_share",
    "rosette_leaf",
    "stem_escape",
    "climb_escape",
    "shoots_full_per_m2",
    "frost_kill_c",
    "store_depth_m",
    "autumn_rest_start_day",
    "autumn_rest_end_day",
)


#: Draw that stands for what is likely; the others tell how far off it may be.
LIKELY = "likely"
#: Of these, height and shade are followed once for all draws, with the value held likely before any fit.
ONCE = ("compensation_heat", "light_full", "regrow_heat")


@dataclass(frozen=True, slots=True, kw_only=True)
class WeedParameters:
    """Figures of several weeds; W weeds, D draws.

    Attributes
    ----------
    light_dark, light_full : ndarray (W, D)
        Share of full light at which leaves bring in nothing, and above which they bring in all they can.
    leaf_heat : ndarray (W, D)
        Degree-days (C, above 0) from the turning point of a shoot to full leaf.
    compensation_heat : ndarray (W, D)
        Degree-days from when a shoot appears until it gives more to the root than it takes.
    draw : ndarray (W, D)
        Share of the store spent a degree-day by a stand that is all young.
    shoot_cost : ndarray (W, D)
        Share of the store (in log) that a complete new set of shoots costs.
    upkeep, upkeep_q10 : ndarray (W, D)
        Share of the store lost a day at 10 C, and its rise for 10 C.
    regrow_heat : ndarray (W, D)
        Degree-days in which missing shoots come back to 1/e.
    shoot_power : ndarray (W, D)
        a in shoots ~ R^a; more than 0.
    reserve_cap : ndarray (W, D)
        K, the reserve that cannot be exceeded.
    fragment_regrowth : ndarray (W, D)
        Share of the store cut up by tillage that lives on as pieces.
    emergence_max, emergence_x0, emergence_b : ndarray (W,)
        Spring emergence curve (Donald 2000): max / (1 + (X / x0)^b), with b negative.
    emergence_base, emergence_start_day, emergence_heat_limit : ndarray (W,)
        Base temperature and first day of that heat, and the heat up to which the curve was fitted.
    bud_heat, height_m, height_heat, rosette_height_m, stretch_daylength_h, leaf_height_share, \
rosette_leaf, stem_escape, climb_escape, shoots_full_per_m2, frost_kill_c, store_depth_m, \
autumn_rest_start_day, autumn_rest_end_day : ndarray (W,)
        See ``columns.csv``.
    once : dict of ndarray (W,)
        Values of the figures in `ONCE` (table weed_parameters.csv), the same whatever draws are held.
    """

    weeds: tuple[str, ...]
    draws: tuple[str, ...]
    light_dark: Array
    light_full: Array
    leaf_heat: Array
    compensation_heat: Array
    draw: Array
    shoot_cost: Array
    upkeep: Array
    upkeep_q10: Array
    regrow_heat: Array
    shoot_power: Array
    reserve_cap: Array
    fragment_regrowth: Array
    emergence_max: Array
    emergence_x0: Array
    emergence_b: Array
    emergence_base: Array
    emergence_start_day: Array
    emergence_heat_limit: Array
    bud_heat: Array
    height_m: Array
    height_heat: Array
    rosette_height_m: Array
    stretch_daylength_h: Array
    leaf_height_share: Array
    rosette_leaf: Array
    stem_escape: Array
    climb_escape: Array
    shoots_full_per_m2: Array
    frost_kill_c: Array
    store_depth_m: Array
    autumn_rest_start_day: Array
    autumn_rest_end_day: Array
    once: Mapping[str, Array]

    def __post_init__(self) -> None:
        for item in fields(self):
            value = getattr(self, item.name)
            if isinstance(value, np.ndarray):
                value.setflags(write=False)
        if (self.shoot_power <= 0).any():
            raise ValueError("shoot_power must be more than 0")
        if (self.light_full <= self.light_dark).any():
            raise ValueError("light_full must be larger than light_dark")


def weed_parameters(
    tables: Tables, weeds: Sequence[str], draws: Sequence[str] | None = None
) -> WeedParameters:
    """Read the figures of `weeds` from the crop tables.

    Parameters
    ----------
    tables : Tables
    weeds : sequence of str
        Weed keys, e.g. ``creeping_thistle``.
    draws : sequence of str, optional
        Names of parameter draws in the order wanted; all draws of the tables if left out.

    Raises
    ------
    TableError
        If a figure is missing.
    """
    names = tuple(draws) if draws is not None else tables.draws
    dynamic = {
        quantity: np.array([[tables.draw(name, weed, quantity) for name in names] for weed in weeds])
        for quantity in DYNAMIC
    }
    fixed = {
        quantity: np.array([tables.number("weed", weed, quantity) for weed in weeds]) for quantity in FIXED
    }
    once = {
        quantity: np.array([tables.number("weed_parameter", weed, quantity) for weed in weeds])
        for quantity in ONCE
    }
    return WeedParameters(weeds=tuple(weeds), draws=names, **dynamic, **fixed, once=once)
