"""What could be done on each counted patch: what it would leave, and what it would take."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rotation_opt.bands import three
from rotation_opt.infestation import weed_start
from rotation_opt.patch_work.course import PatchYear, follow
from rotation_opt.patch_work.seasons import Land
from rotation_opt.records import DatedOperation, Farm, Field, Patch, PatchPractice
from rotation_opt.season import respond
from rotation_opt.season_error import season_errors
from rotation_opt.tables import Tables
from rotation_opt.units import M2_PER_HA
from rotation_opt.weeds.parameters import LIKELY, WeedParameters, weed_parameters

Array = NDArray[np.float64]
Three = tuple[float, float, float]

PART_M2 = 100.0  # hours and materials in the tables are for this much
SEASONS = 2  # patch work is shown for one season and for this many


@dataclass(frozen=True, slots=True, kw_only=True)
class PatchSeason:
    """A patch after one or two seasons.

    Attributes
    ----------
    roots : tuple of float
        Root reserve on 1 November as share of that before the first season: low, likely, high. Low to high
        covers weed figures and the error of a season, in mean weather.
    shoots_per_m2 : tuple of float
        Shoots that these roots could raise the next year: low, likely, high.
    hours : float
        Of this season on the whole patch. [h]
    cost : float
        Materials of this season, and its hours at the wage of the farm.
    """

    roots: Three
    shoots_per_m2: Three
    hours: float
    cost: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PatchOption:
    """One way to work on one patch.

    Attributes
    ----------
    practice : str
        Key of the patch practice; "" for the crops of the field alone.
    seasons : tuple of PatchSeason
        After the first and the second season; fewer where the field is not farmed then, none where the patch
        is too large.
    operations : tuple of DatedOperation
        The passes of the first season.
    most_m2 : float or None
        Largest area one person can do in a season; None for the crops alone.
    refused : str
        Why it is not shown; empty if it is.
    """

    practice: str
    seasons: tuple[PatchSeason, ...]
    operations: tuple[DatedOperation, ...]
    most_m2: float | None
    refused: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PatchOutlook:
    """One counted patch with all that could be done on it.

    Attributes
    ----------
    field : str
    patch : Patch
    crops : tuple of str
        Practices of the field in the seasons followed, from what it grows now.
    options : tuple of PatchOption
        The crops alone first, work that the patch is too large for last.
    shift_days : int
        What to add to a day to get to the calendar: half a year south of the equator, else 0.
    """

    field: str
    patch: Patch
    crops: tuple[str, ...]
    options: tuple[PatchOption, ...]
    shift_days: int


def patch_outlooks(farm: Farm, tables: Tables, *, field: str | None = None) -> tuple[PatchOutlook, ...]:
    """What one and two seasons of each patch practice would leave of every counted patch.

    Parameters
    ----------
    farm : Farm
    tables : Tables
    field : str, optional
        Only the patches of this field.

    Returns
    -------
    tuple of PatchOutlook
        In the order of the farm file. Patches of fields that are not farmed are left out.

    Raises
    ------
    TableError
        If a figure is missing.
    """
    land = Land.of(farm, tables)
    found = tuple(
        _outlook(land, each, patch)
        for each in farm.fields
        if field in (None, each.name) and each.history and each.as_now and each.as_now[0]
        for patch in each.patches
    )
    tables.read_figures.update(land.tables.read_figures)  # the tables fitted to the climate count apart
    return found


def refusal(practice: PatchPractice, patch: Patch, tables: Tables) -> str:
    """Why a patch is too large for a practice; empty if it is not."""
    most = tables.number("patch", practice.key, "area_most_m2")
    if patch.area_ha * M2_PER_HA <= most:
        return ""
    return "larger than one person can do in a season"


def _outlook(land: Land, field: Field, patch: Patch) -> PatchOutlook:
    crops = _until_lease_end(field)
    known = tuple(land.tables.patch_practices.values())
    refused = {each.key: refusal(each, patch, land.tables) for each in known}
    worked = [each for each in known if not refused[each.key]]
    parameters = weed_parameters(land.tables, [patch.weed])
    at_harvest, autumn = _today(land, field, patch)
    paths = [land.years(field, crops, patch.weed, each) for each in (None, *worked)]
    courses = _courses(land, worked, paths, at_harvest, parameters)
    options = [
        _option(land, each, patch, paths[number], _Left(parameters, autumn, tuple(courses[number])))
        for number, each in enumerate((None, *worked))
    ]
    options += [
        PatchOption(
            practice=each.key,
            seasons=(),
            operations=land.work(each, patch.weed),
            most_m2=land.tables.number("patch", each.key, "area_most_m2"),
            refused=refused[each.key],
        )
        for each in known
        if refused[each.key]
    ]
    return PatchOutlook(
        field=field.name,
        patch=patch,
        crops=crops,
        options=tuple(options),
        shift_days=land.climate.shift_days,
    )


def _today(land: Land, field: Field, patch: Patch) -> tuple[Array, Array]:
    """Reserve of one patch at the last harvest, and on 1 November after it, each (D,), by its own count."""
    programme, known = land.last_season(field)
    start = weed_start(
        replace(field, patches=(replace(patch, roots=None),)),
        land.farm,
        response=respond([programme], land.climate, land.tables, [patch.weed]),
        pair=0 if known else -1,  # else the count alone speaks
        climate=land.climate,
        tables=land.tables,
    )
    return start.reserve[0], start.autumn[0]


def _courses(
    land: Land,
    worked: Sequence[PatchPractice],
    paths: Sequence[tuple[PatchYear, ...]],
    at_harvest: Array,
    parameters: WeedParameters,
) -> list[list[Array]]:
    """Reserve (1 + E, D) after each season: of the crops alone, then of each practice.

    The first row is without error; the others have the error of a season, the same in every season.
    Where shoots get through a cover they stand in full light with no crop; that share of the ground is
    followed beside what the cover keeps dark.
    """
    errors = season_errors(land.tables, parameters.weeds[0], len(parameters.draws))
    through = [tuple(replace(year, covered=None) for year in path) for path in paths]
    courses = follow(
        [*paths, *through],
        at_harvest,
        climate=land.climate,
        tables=land.tables,
        parameters=parameters,
        errors=np.concatenate([np.ones_like(errors[:1]), errors]),
    )
    gaps = [
        land.tables.number("patch", each.key, "gap_share") if each.kind == "cover" else 0.0 for each in worked
    ]
    return [
        [(1.0 - gap) * dark + gap * lit for dark, lit in zip(covered, open_, strict=True)]
        for covered, open_, gap in zip(
            courses[: len(paths)], courses[len(paths) :], (0.0, *gaps), strict=True
        )
    ]


@dataclass(frozen=True, slots=True)
class _Left:
    """Reserves on 1 November: before, (D,), and after each season, (1 + E, D) as in `_courses`."""

    parameters: WeedParameters
    before: Array
    after: tuple[Array, ...]

    def _likely_first(self, values: Array) -> Array:
        likely = self.parameters.draws.index(LIKELY)
        return np.concatenate((values[:1, likely], np.delete(values[1:], likely, axis=1).ravel()))

    def roots(self, season: int) -> Three:
        return three(self._likely_first(self.after[season] / self.before))

    def shoots(self, season: int) -> Three:
        power, full = self.parameters.shoot_power[0], self.parameters.shoots_full_per_m2[0]
        return three(self._likely_first(full * self.after[season] ** power))

    def thinner(self, season: int) -> float:
        """Likely shoots at the start of a season as share of those counted."""
        if season == 0:
            return 1.0
        likely = self.parameters.draws.index(LIKELY)
        return float(self.roots(season - 1)[1] ** self.parameters.shoot_power[0, likely])


def _option(
    land: Land, practice: PatchPractice | None, patch: Patch, path: Sequence[PatchYear], left: _Left
) -> PatchOption:
    seasons = []
    for season, year in enumerate(path):
        passes = sum(each.day >= 0 for each in year.taken)
        hours, materials = (
            (0.0, 0.0)
            if practice is None
            else effort(
                practice, patch, land.tables, season=season, passes=passes, thinner=left.thinner(season)
            )
        )
        seasons.append(
            PatchSeason(
                roots=left.roots(season),
                shoots_per_m2=left.shoots(season),
                hours=hours,
                cost=materials + hours * land.farm.labour.wage_per_h,
            )
        )
    key = "" if practice is None else practice.key
    return PatchOption(
        practice=key,
        seasons=tuple(seasons),
        operations=() if practice is None else land.work(practice, patch.weed),
        most_m2=land.tables.number("patch", key, "area_most_m2") if key else None,
        refused="",
    )


def effort(
    practice: PatchPractice, patch: Patch, tables: Tables, *, season: int, passes: int, thinner: float
) -> tuple[float, float]:
    """Hours, and materials in money of the tables, of one season on a whole patch.

    Parameters
    ----------
    practice : PatchPractice
    patch : Patch
    tables : Tables
    season : int
        0 for the first.
    passes : int
        In this season; does not matter for a cover.
    thinner : float
        Shoots as share of those counted.
    """

    def figure(quantity: str) -> float:
        return tables.number("patch", practice.key, quantity)

    parts = patch.area_ha * M2_PER_HA / PART_M2
    later = figure("later_hours_share")
    materials = parts * figure("cost_per_100m2") * (figure("later_cost_share") if season else 1.0)
    if practice.kind == "cover":
        return parts * figure("hours_per_100m2") * (later if season else 1.0), materials
    turns = (later if season else 1.0) + later * (passes - 1) if passes else 0.0
    hours = parts * figure("hours_per_100m2") * turns
    if practice.kind == "pull":
        shoots = patch.shoots_per_m2 * patch.area_ha * M2_PER_HA * thinner
        hours += passes * shoots / figure("shoots_per_hour")
    return hours, materials


def _until_lease_end(field: Field) -> tuple[str, ...]:
    """What grows on a field in the seasons followed, as far as it is farmed."""
    crops: list[str] = []
    for key in field.as_now[:SEASONS]:
        if not key:
            break
        crops.append(key)
    return tuple(crops)
