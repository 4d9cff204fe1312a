"""How the weeds of a field stand before the plan: from counted shoots to root reserves."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import numpy.typing as npt

from rotation_opt.climate import Climate
from rotation_opt.practices import PracticeList
from rotation_opt.records import Farm, Field, Patch
from rotation_opt.season import Response, reserve_from_count
from rotation_opt.tables import Tables

Array = npt.NDArray[np.float64]

USUAL_STOPS = 10  # that a count is taken to rest on where a farm file gives its mean alone [judgement]
USUAL_FRAME_M2 = 0.25  # likewise [judgement]


@dataclass(frozen=True, slots=True, kw_only=True)
class WeedStart:
    """How a field's weeds stand before the plan, by weed (W) and parameter draw (D).

    Attributes
    ----------
    reserve : ndarray (W, D)
        Root reserve on the infested part at the last harvest, as share of an undisturbed stand.
    autumn : ndarray (W, D)
        The same on 1 November after that harvest if nothing more is done.
    infested_share : ndarray (W,)
        Share of the field that is infested.
    doubt : ndarray (W,)
        Standard deviation of the logarithm of the shoots counted.
    """

    reserve: Array
    autumn: Array
    infested_share: Array
    doubt: Array


def season_counted(
    field: Field, practice_list: PracticeList, pair_index: npt.NDArray[np.integer[Any]]
) -> int:
    """The pair whose season the last crop of a field grew in; -1 if it was not simulated."""
    last = practice_list.index[field.history[-1]]
    before = [practice_list.index[key] for key in field.history[-2:-1]]
    fitting = [row for row in (*before, *range(len(practice_list.all))) if pair_index[row, last] >= 0]
    return int(pair_index[fitting[0], last]) if fitting else -1


def weed_start(
    field: Field,
    farm: Farm,
    *,
    response: Response,
    pair: int,
    climate: Climate,
    tables: Tables,
) -> WeedStart:
    """Root reserves that the counts on one field speak for.

    A count made in the season of the last crop is read back through that season: the reserve at the harvest
    before is the one that raises the shoots counted, and the season then carries it on to the last harvest.
    Counts of stubble, and of years before that, are read as the reserve of an undisturbed stand with as many
    shoots. Where roots are known from several years they stand in place of the count. Several patches of one
    weed are averaged by area.

    Parameters
    ----------
    field, farm, response, climate, tables
        As from `season.respond`.
    pair : int
        Of `response`, from `season_counted`.
    """
    weeds, draws = response.weeds, np.arange(len(response.draws))
    shape = (len(weeds), len(draws))
    reserve, autumn, area = np.zeros(shape), np.zeros(shape), np.zeros(len(weeds))
    seen, variance = np.zeros(len(weeds)), np.zeros(len(weeds))
    for patch in field.patches:
        weed = weeds.index(patch.weed)
        area[weed] += patch.area_ha
        if patch.roots is not None:
            reserve[weed] += patch.area_ha * patch.roots.at_harvest
            autumn[weed] += patch.area_ha * patch.roots.in_autumn
            continue
        shoots = patch.area_ha * patch.shoots_per_m2
        seen[weed] += shoots
        variance[weed] += (shoots * count_doubt(patch, tables)) ** 2
        counted = date.fromisoformat(patch.counted_on)
        day = min(counted.timetuple().tm_yday, 365) - 1
        standing = reserve_from_count(
            patch.shoots_per_m2,
            day,
            patch.stage,
            patch.weed,
            climate=climate,
            tables=tables,
            draws=response.draws,
        )
        at_harvest, left_alone = np.array(standing, dtype=float), np.array(standing, dtype=float)
        if pair >= 0:
            in_season = counted.year == farm.first_year - 1 and patch.stage != "stubble"
            start = (
                response.start_from_count(pair, weed, draws, patch.shoots_per_m2) if in_season else standing
            )
            start = np.where(np.isnan(start), standing, start)
            if in_season:
                at_harvest = response.after(pair, weed, draws, start)
            left_alone = response.autumn_after(pair, weed, draws, start)
        reserve[weed] += patch.area_ha * at_harvest
        autumn[weed] += patch.area_ha * left_alone
    known = np.maximum(area, 1e-12)[:, None]
    return WeedStart(
        reserve=np.where(area[:, None] > 0, reserve / known, 0.0),
        autumn=np.where(area[:, None] > 0, autumn / known, 0.0),
        infested_share=np.minimum(area / field.area_ha, 1.0),
        doubt=np.sqrt(variance) / np.maximum(seen, 1e-12),
    )


def count_doubt(patch: Patch, tables: Tables) -> float:
    """Standard deviation of the logarithm of the density counted in a patch.

    Counts in frames are draws from a negative binomial; see `scouting_log.densities`.

    Parameters
    ----------
    patch : Patch
        Where its stops are not known, those of a usual count stand for them.
    tables : Tables

    Raises
    ------
    TableError
        If the weed has no ``clump_k``.
    """
    k = tables.number("weed", patch.weed, "clump_k")
    stops, frame_m2 = (patch.stops, patch.frame_m2) if patch.stops else (USUAL_STOPS, USUAL_FRAME_M2)
    a_frame = max(patch.shoots_per_m2 * frame_m2, 1.0 / stops)  # at least one shoot was seen
    return float(np.sqrt((1.0 / k + 1.0 / a_frame) / stops))
