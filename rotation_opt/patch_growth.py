"""Ground that the patches of a plan may take, and the seed shed in them, over many courses of its weeds."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np
from numpy.typing import NDArray

from rotation_opt.climate import Climate
from rotation_opt.practices import weed_stages
from rotation_opt.records import Field, Figure, Programme
from rotation_opt.tables import Tables
from rotation_opt.weeds.shed_seed import NEVER, Days, flowers_after, seeds_shed, share_in_flower
from rotation_opt.weeds.spread import edge_advance, infested_ha

Array = NDArray[np.float64]

_SEED = 20261126
_WHOLE = {"mowing", "cut", "end_cover"}  # kinds of pass after which no stem is left to flower


class PatchGrowth:
    """Edges and seed of the patches of some weeds; W weeds, K courses, the first of them the likely one.

    The other courses draw the rate at which the edge moves and the seeds of a shoot between the low and the
    high of their figures, once for all years.

    Parameters
    ----------
    weeds : sequence of str
        Weed keys.
    climate : Climate
    tables : Tables
    courses : int
        K.

    Attributes
    ----------
    rate_m : ndarray (W, K)
        Edge of a patch at full strength. [m/yr]
    seeds : ndarray (W, K)
        Sound seeds of a shoot that comes to its time, mean over such as bear seed and such as do not.

    Raises
    ------
    TableError
        If a figure is missing.
    """

    def __init__(self, weeds: Sequence[str], climate: Climate, tables: Tables, courses: int) -> None:
        self._weeds, self._tables = tuple(weeds), tables
        rng = np.random.default_rng(_SEED)

        def drawn(weed: str, quantity: str) -> Array:
            return _drawn(tables.figure("weed", weed, quantity), courses, rng)

        def share(weed: str, quantity: str) -> Array:
            return drawn(weed, quantity) if tables.has("weed", weed, quantity) else np.ones(courses)

        self.rate_m = np.stack([drawn(weed, "spread_m_per_year") for weed in weeds])
        self.seeds = np.stack(
            [
                drawn(weed, "seeds_per_shoot") * share(weed, "seeds_sound") * share(weed, "seed_bearing")
                for weed in weeds
            ]
        )
        self._most = [tables.number_or("weed", weed, "seeds_most_per_m2", np.inf) for weed in weeds]
        self._flowering = [_Flowering(weed, climate, tables) for weed in weeds]
        self._share = cache(self._in_flower)

    def infested(self, field: Field, autumn: Array) -> Array:
        """Ground that each weed takes on one field, first today, then after each year, (T + 1, W, K). [ha]

        Parameters
        ----------
        field : Field
        autumn : ndarray (T + 1, W, K)
            Reserve of the patches on 1 November, first before the plan. In each year their edge moves by the
            strength halfway between the autumn before and the autumn after.
        """
        found = np.zeros_like(autumn)
        mean = (autumn[1:] + autumn[:-1]) / 2.0
        for w, weed in enumerate(self._weeds):
            patches = [patch.area_ha for patch in field.patches if patch.weed == weed]
            moved = np.zeros_like(autumn[:, w])
            moved[1:] = edge_advance(self.rate_m[w], mean[:, w]).cumsum(axis=0)
            found[:, w] = infested_ha(patches, field.area_ha, moved)
        return found

    def shed(self, programmes: Sequence[Programme | None], shoots: Array) -> Array:
        """Seed shed on each m2 of the patches in each year, (T, W, K). [seeds/m2]

        Parameters
        ----------
        programmes : sequence of Programme or None
            Season of each of the T years; None where the field is not farmed: nothing is said of it.
        shoots : ndarray (T, W, K)
            Per m2 of the patches, at about bud stage.
        """
        found = np.zeros_like(shoots)
        for year, programme in enumerate(programmes):
            if programme is not None:
                for w, share in enumerate(self._share(programme)):
                    found[year, w] = seeds_shed(shoots[year, w], share, self.seeds[w], self._most[w])
        return found

    def _in_flower(self, programme: Programme) -> tuple[float, ...]:
        return tuple(flowering.share(programme) for flowering in self._flowering)


def seed_years(weeds: Sequence[str], tables: Tables) -> dict[str, tuple[float, float, float]]:
    """Years that seed of each weed lives in the soil: low, likely, high, all alike where there is no range.

    Raises
    ------
    TableError
        If the figure is missing.
    """
    found = {}
    for weed in weeds:
        figure = tables.figure("weed", weed, "seed_years")
        found[weed] = _low(figure), figure.value, _high(figure)
    return found


class _Flowering:
    """When one weed flowers in one climate, alone or after a pass."""

    def __init__(self, weed: str, climate: Climate, tables: Tables) -> None:
        self._tables = tables
        stages = weed_stages(climate, tables, weed)
        daily = climate.heat(tables.number("weed", weed, "emergence_base"))
        first = round(tables.number("weed", weed, "emergence_start_day"))
        self._up = stages.days.get("half_up", NEVER)
        self._flower = stages.days.get("flower", NEVER)
        self._again: Days = np.full(len(daily), NEVER, dtype=np.int64)
        if self._up < NEVER:
            from_up = float(daily[first : self._up + 1].sum())
            regrow = tables.number("weed_parameter", weed, "regrow_heat") - from_up
            long_enough = climate.day_length() >= tables.number_or("weed", weed, "stretch_daylength_h", 0.0)
            self._again = flowers_after(
                daily,
                max(tables.number("weed", weed, "bud_heat") + regrow, 0.0),
                max(tables.number("weed", weed, "flower_heat") + regrow, 0.0),
                last_long_day=int(np.flatnonzero(long_enough).max(initial=-1)),
                frost_day=stages.frost,
            )

    def share(self, programme: Programme) -> float:
        """Share of the shoots that flower in one season."""
        return share_in_flower(
            [(each.day, self._taken(each.operation)) for each in programme.operations],
            up_day=self._up,
            flower_day=self._flower,
            harvest_day=programme.harvest_day,
            again=self._again,
        )

    def _taken(self, operation: str) -> float:
        """Share of the shoots that one pass keeps from flowering; what a mower leaves low bears no flower."""
        area, removed = (
            self._tables.number("operation", operation, quantity)
            for quantity in ("area_share", "shoot_removed")
        )
        return area if self._tables.operations[operation].kind in _WHOLE else area * removed


def _drawn(figure: Figure, count: int, rng: np.random.Generator) -> Array:
    """The likely value, then draws between low and high that lie mostly near it, (count,)."""
    low, high = _low(figure), _high(figure)
    found = np.full(count, figure.value)
    if high > low:
        found[1:] = rng.triangular(low, figure.value, high, count - 1)
    return found


def _low(figure: Figure) -> float:
    return figure.value if figure.low is None else figure.low


def _high(figure: Figure) -> float:
    return figure.value if figure.high is None else figure.high
