"""Stages of the weed that work is tied to, as days of one climate and as words for the field."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from rotation_opt.climate import DAYS, SEASON_START, Climate, index_of
from rotation_opt.records import Farm, Weed
from rotation_opt.tables import Tables
from rotation_opt.weeds.emergence import FIRST_SHOOTS, HALF_UP, share_emerged

#: Anchors of steps that are stages of the weed, in their order.
STAGES = ("first_shoots", "half_up", "leaves", "early_bud", "bud", "flower")
USUAL_WEED = "creeping_thistle"  # whose stages count where nothing was counted
YEAR = 365


@dataclass(frozen=True, slots=True, kw_only=True)
class WeedStages:
    """When one weed reaches its stages here.

    Attributes
    ----------
    weed : str
        Key of the weed.
    many : str
        Several of its shoots, in the words of the region: "thistles".
    bud_words : str
        What they do at bud stage: "are at bud".
    leaves : tuple of float
        Fewest and most leaves of the stage at which regrowth is cut again; empty where none is published.
    days : Mapping of str to int
        Day of the harvest year by stage; a stage that is not reached before frost ends the shoots is missing.
    frost : int
        Day on which frost ends the shoots.
    regrown : tuple of int
        For each day of the season axis, the day on which the regrowth after a pass on that day has its
        leaves; past the axis where frost comes first.
    """

    weed: str
    many: str
    bud_words: str
    leaves: tuple[float, ...]
    days: Mapping[str, int]
    frost: int
    regrown: tuple[int, ...]

    def regrown_after(self, day: int) -> int | None:
        """Day on which what grows again after a pass has its leaves; None if frost comes first."""
        at = day - SEASON_START
        found = self.regrown[at] if 0 <= at < len(self.regrown) else YEAR
        return found if found < YEAR else None

    def in_words(self, stage: str, offset: int = 0) -> str:
        """What to look for in the field, so many days from a stage."""
        what = self._at(stage)
        if offset == 0:
            return f"when {what}"
        days = f"{abs(offset)} day" if abs(offset) == 1 else f"{abs(offset)} days"
        return f"{days} {'before' if offset < 0 else 'after'} {what}"

    def again_in_words(self) -> str:
        """What to look for before a pass is repeated."""
        leaves = self._leaves()
        return f"again when regrowth has {leaves}" if leaves else "again when regrowth starts to spread"

    def missed_in_words(self, stage: str) -> str:
        """Why work tied to a stage that is not reached cannot be dated."""
        return f"frost usually ends the shoots here before {self._at(stage)}"

    def _leaves(self) -> str:
        if not self.leaves:
            return ""
        low, high = (f"{number:g}" for number in self.leaves)
        return f"{low}-{high} leaves" if low != high else f"{low} leaves"

    def _at(self, stage: str) -> str:
        many, bud = self.many, self.bud_words
        return {
            "first_shoots": f"the first {many} come up",
            "half_up": f"half the {many} are up",
            "leaves": f"half the {many} have {self._leaves() or 'spread a little'}",
            "early_bud": f"the first {many} {bud}",
            "bud": f"half the {many} {bud}",
            "flower": f"the first {many} flower",
        }[stage]


def main_weed(farm: Farm, tables: Tables) -> str:
    """The weed a farm has most of: counted shoots over all fields, as share of a full stand of that weed.

    Where nothing was counted, creeping thistle.
    """
    most: dict[str, float] = {}
    for field in farm.fields:
        for patch in field.patches:
            full = tables.number("weed", patch.weed, "shoots_full_per_m2")
            most[patch.weed] = most.get(patch.weed, 0.0) + patch.area_ha * patch.shoots_per_m2 / full
    return max(most, key=lambda weed: most[weed], default=USUAL_WEED)


def weed_stages(climate: Climate, tables: Tables, weed: str = USUAL_WEED, region: str = "us") -> WeedStages:
    """Days on which a weed reaches its stages in one climate.

    Shoots come up along the emergence curve (Donald 2000), its heat counted from the weed's first day;
    ``leaves`` is that of half the shoots and ``weeding_heat`` more. Regrowth needs ``regrow_heat`` to show
    and ``weeding_heat`` from then on.

    Parameters
    ----------
    climate : Climate
    tables : Tables
    weed : str
        Its key.
    region : str
        "us" or "uk".

    Raises
    ------
    TableError
        If a figure is missing.
    """

    def figure(quantity: str) -> float:
        return tables.number("weed", weed, quantity)

    daily = climate.season_heat(figure("emergence_base"))
    first = round(figure("emergence_start_day"))
    frost = climate.first_autumn_frost(figure("frost_kill_c"))
    heat = np.where(np.arange(DAYS) >= first, daily[index_of(0) :], 0.0).cumsum()
    most, middle, power = (figure(f"emergence_{name}") for name in ("max", "x0", "b"))
    up = share_emerged(heat, most, middle, power)
    half_up_heat = middle * (most / HALF_UP - 1.0) ** (1.0 / power)  # the curve turned round
    reached = {
        "first_shoots": up >= FIRST_SHOOTS,
        "half_up": up >= HALF_UP,
        "leaves": heat >= half_up_heat + figure("weeding_heat"),
        "early_bud": heat >= figure("first_bud_heat"),
        "bud": heat >= figure("bud_heat"),
        "flower": heat >= figure("flower_heat"),
    }
    days = {stage: int(flags.argmax()) for stage, flags in reached.items() if flags[:frost].any()}
    known: Weed = tables.weeds[weed]
    count = (
        tables.figure("weed", weed, "weeding_leaves") if tables.has("weed", weed, "weeding_leaves") else None
    )
    wait = tables.number("weed_parameter", weed, "regrow_heat") + figure("weeding_heat")
    return WeedStages(
        weed=weed,
        many=known.many_us if region == "us" else known.many_uk,
        bud_words=known.bud_words,
        leaves=() if count is None else (_or(count.low, count.value), _or(count.high, count.value)),
        days=days,
        frost=frost,
        regrown=_regrown(daily, wait, frost),
    )


def _or(value: float | None, instead: float) -> float:
    return instead if value is None else value


def _regrown(daily: np.ndarray, wait: float, frost: int) -> tuple[int, ...]:
    """Day on which the heat after each day of the season axis reaches `wait`; YEAR if frost is first."""
    total = daily.cumsum()
    at = np.searchsorted(total, total + wait)
    day = np.where(at < total.size, at + SEASON_START, YEAR)
    of = np.arange(total.size) + SEASON_START
    stopped = np.where(of < frost - YEAR, day >= frost - YEAR, day >= frost)
    return tuple(np.where(stopped, YEAR, day).tolist())
