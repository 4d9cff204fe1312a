"""Which variety of a warm-season crop a grower would sow in this climate.

Corn, soybeans, sunflowers and dry beans are sold in maturity groups. A grower takes the latest one that is
still ripe safely before the killing frost, so that one heat sum cannot serve a cool place and a warm one.
"""

from __future__ import annotations

import numpy as np

from rotation_opt.climate import Climate
from rotation_opt.tables import Tables

MARGIN = "ripe_before_frost_days"
JUST_OVER = 1e-9


def fitted(tables: Tables, climate: Climate) -> Tables:
    """Tables with the heat sums of the varieties that fit a climate.

    For every crop with a ``ripe_before_frost_days`` figure, ``heat_maturity`` becomes the heat from the usual
    sowing to that many days before the usual killing frost, kept inside the range of varieties (``low`` to
    ``high`` of the figure); ``heat_senescence`` keeps its share of it. All other crops stay as they are.

    Parameters
    ----------
    tables : Tables
        The crop tables.
    climate : Climate
        The climate of the farm.

    Returns
    -------
    Tables
        A copy; the tables themselves if no crop changes. What is looked up counts as read in `tables`.
    """
    fitting = tables
    for crop in tables.crops:
        if not tables.has("crop", crop, MARGIN):
            continue
        usual = tables.figure("crop", crop, "heat_maturity")
        chosen = _heat_wanted(crop, tables, climate)
        low = usual.value if usual.low is None else usual.low
        high = usual.value if usual.high is None else usual.high
        chosen = min(max(chosen, low), high)
        senescence = tables.number("crop", crop, "heat_senescence") * chosen / usual.value
        fitting = fitting.with_change("crop", crop, "heat_maturity", chosen)
        fitting = fitting.with_change("crop", crop, "heat_senescence", senescence)
    return fitting


def _heat_wanted(crop: str, tables: Tables, climate: Climate) -> float:
    """Heat from the usual sowing day to the day by which the crop should be ripe; 0 if it is never sown."""
    warm = climate.warm_day(tables.number("crop", crop, "sow_spring_temperature"))
    if warm is None:
        return 0.0
    sown = max(warm, climate.spring_start_day, round(tables.number_or("crop", crop, "earliest_day", 0.0)))
    ripe = climate.first_killing_frost_day - round(tables.number("crop", crop, MARGIN))
    base, upper = (tables.number("crop", crop, name) for name in ("base_temperature", "upper_temperature"))
    heat = float(np.sum(climate.heat(base, upper)[sown : max(ripe, sown)]))
    return heat * (1.0 + JUST_OVER)  # reached on the day itself, however the sum is rounded
