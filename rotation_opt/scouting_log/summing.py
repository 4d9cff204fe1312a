"""A log summed up: shoots per m2 by field, weed, year and stage."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rotation_opt.records import Farm
from rotation_opt.scouting_log.densities import Clumping, clumping, density
from rotation_opt.scouting_log.records import STAGES, Visit, folded
from rotation_opt.tables import Tables


@dataclass(frozen=True, slots=True, kw_only=True)
class Summary:
    """Counts of one weed on one field in one year at one stage.

    Attributes
    ----------
    field, weed, stage : str
    year : int
    first_date, last_date : str
        ISO dates.
    stops, patches : int
    area_ha : float or None
        Patches together; None where the size of one is not known. [ha]
    shoots_per_m2 : tuple of float
        Low, likely and high: mean over the patches, each by its area; all alike where `area_ha` is None.
    clumping : Clumping
        With which low and high were worked out.
    """

    field: str
    weed: str
    year: int
    stage: str
    first_date: str
    last_date: str
    stops: int
    patches: int
    area_ha: float | None
    shoots_per_m2: tuple[float, float, float]
    clumping: Clumping


def summarise(visits: Sequence[Visit], farm: Farm, tables: Tables) -> tuple[Summary, ...]:
    """Sum up a whole log.

    Parameters
    ----------
    visits : sequence of Visit
        All of them: how clumped the weeds stand is taken from the whole log.
    farm : Farm
        Order of the fields, and sizes of patches that the log does not give.
    tables : Tables

    Returns
    -------
    tuple of Summary
        By field in the order of the farm, weed, year, and stage from early to late. Stages stand apart: a
        stand has other shoots at bud than in stubble.
    """
    order = {field.name: number for number, field in enumerate(farm.fields)}
    weeds = list(tables.weeds)

    def place(key: tuple[str, str, int, str]) -> tuple[int, int, int, int]:
        field, weed, year, stage = key
        return (order[field], weeds.index(weed), year, STAGES.index(stage))

    groups: dict[tuple[str, str, int, str], list[Visit]] = {}
    for visit in visits:
        groups.setdefault((visit.field, visit.weed, visit.year, visit.stage), []).append(visit)
    clumped = {weed: clumping(visits, tables, weed) for weed in dict.fromkeys(v.weed for v in visits)}
    return tuple(_summary(groups[key], farm, clumped[key[1]]) for key in sorted(groups, key=place))


def patch_area_ha(visit: Visit, farm: Farm) -> float | None:
    """Size of the patch that was visited: from the log, else from the farm file where it is sure which one.

    Parameters
    ----------
    visit : Visit
        Its patch may be the number of a patch in the farm file, counted from 1 within the field.
    farm : Farm

    Returns
    -------
    float or None
        Area. [ha]
    """
    if visit.area_ha is not None:
        return visit.area_ha
    patches = next((field.patches for field in farm.fields if field.name == visit.field), ())
    number = int(visit.patch) if visit.patch.isascii() and visit.patch.isdigit() else 0
    if 1 <= number <= len(patches) and patches[number - 1].weed == visit.weed:
        return patches[number - 1].area_ha
    of_weed = [patch.area_ha for patch in patches if patch.weed == visit.weed]
    return of_weed[0] if len(of_weed) == 1 and not visit.patch else None


def _summary(visits: Sequence[Visit], farm: Farm, clumped: Clumping) -> Summary:
    patches: dict[str, list[Visit]] = {}
    for visit in visits:
        patches.setdefault(folded(visit.patch), []).append(visit)
    areas = [_newest_area(each, farm) for each in patches.values()]
    known = [area for area in areas if area is not None]
    whole = len(known) == len(areas)
    first = visits[0]
    dates = sorted(visit.date for visit in visits)
    return Summary(
        field=first.field,
        weed=first.weed,
        year=first.year,
        stage=first.stage,
        first_date=dates[0],
        last_date=dates[-1],
        stops=sum(len(visit.counts) for visit in visits),
        patches=len(patches),
        area_ha=sum(known) if whole else None,
        shoots_per_m2=density(list(patches.values()), known if whole else [1.0] * len(areas), clumped.k),
        clumping=clumped,
    )


def _newest_area(visits: Sequence[Visit], farm: Farm) -> float | None:
    areas = [patch_area_ha(visit, farm) for visit in sorted(visits, key=lambda visit: visit.date)]
    return next((area for area in reversed(areas) if area is not None), None)
