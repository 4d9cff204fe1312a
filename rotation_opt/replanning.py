"""The years left of a plan, planned anew from what was done and what was counted."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rotation_opt import planning
from rotation_opt.alternatives import present_paths
from rotation_opt.bands import Belief
from rotation_opt.counts_held import AT_BUD
from rotation_opt.dates_told import Told
from rotation_opt.errors import Fault, InputError, NoPlanError
from rotation_opt.farm_arrays import selection_data
from rotation_opt.groundwork import Groundwork, lay
from rotation_opt.plan_followed import FollowedPlan
from rotation_opt.promises import FollowUp, Held, Narrowed, Otherwise
from rotation_opt.records import Farm, Result
from rotation_opt.rest_of_plan import Rest, in_words, rest_of_plan
from rotation_opt.scouting_log import Visit, clumping, log_likelihood, summarise
from rotation_opt.scouting_log.summing import patch_area_ha
from rotation_opt.seasons_done import SeasonsDone, as_done
from rotation_opt.state_estimate import Estimate, estimate, foretold
from rotation_opt.tables import Tables
from rotation_opt.years_done import Done, paths_done

Tell = Callable[[str], None]
Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """Where a farm stands after the years done: all that a new plan starts from."""

    rest: Rest
    estimate: Estimate
    followup: FollowUp

    @property
    def belief(self) -> Belief:
        return self.estimate.belief


def take_stock(
    farm: Farm,
    tables: Tables,
    plan: FollowedPlan,
    *,
    visits: Sequence[Visit],
    rows: Sequence[Done],
    decided_on: str = "",
    tell: Tell = lambda text: None,
) -> Taken:
    """Where the farm stands after the years done.

    Parameters
    ----------
    farm : Farm
        As in its file, before the first year done.
    tables : Tables
    plan : FollowedPlan
        The plan followed, newest if there were several.
    visits : sequence of Visit
        Of the scouting log, all years.
    rows : sequence of Done
        At least one; the newest year among them is the last one done.
    decided_on : str, optional
        ISO date of the new plan: work dated before it is past. By default the day of the newest count.
    tell : callable, optional

    Raises
    ------
    InputError
        If it is not known what a field bore in one of the years, it cannot have grown there then or not on
        the days told, or `decided_on` is no day on which the years left can be planned.
    """
    tell("What was done and counted")
    done = paths_done(farm, tuple(rows), plan, tables)
    ground, paths = _laid(farm, done, tables)
    data = selection_data(ground)
    grown = {
        land.name: tuple("" if key < 0 else data.practice_keys[key] for key in path)
        for land, path in zip(data.fields, paths, strict=True)
    }
    seasons = as_done(ground, grown, rows)
    sized = [replace(visit, area_ha=patch_area_ha(visit, farm)) for visit in visits]
    clumped = {weed: clumping(visits, tables, weed).k for weed in {visit.weed for visit in visits}}

    def chance(visit: Visit, shoots_per_m2: Array) -> Array:
        return log_likelihood(visit.counts, visit.frame_m2, shoots_per_m2, clumped[visit.weed])

    found = estimate(foretold(ground, data, paths, as_done=seasons.programmes), sized, chance)
    last = farm.first_year + len(paths[0]) - 1
    summaries = [each for each in summarise(visits, farm, tables) if each.year <= last]
    if decided_on:
        _in_range(decided_on, last)
    else:
        dates = [visit.date for visit in visits if visit.year == last]
        decided_on = max(dates, default=f"{last}{farm.decided_on[4:]}".replace("-02-29", "-02-28"))
    rest = rest_of_plan(
        ground,
        farm,
        plan,
        done=grown,
        newest=summaries,
        estimate=found,
        decided_on=decided_on,
    )
    held = tuple(
        Held(
            field=each.field,
            weed=each.weed,
            year=each.year,
            stops=each.stops,
            promised=plan.shoots_per_m2.get((each.field, each.weed, each.year)) or prior[0],
            by_plan=(each.field, each.weed, each.year) in plan.shoots_per_m2,
            counted=each.shoots_per_m2,
        )
        for each in summaries
        if each.stage in AT_BUD and (prior := found.shoots.get((each.field, each.weed, each.year)))
    )
    followup = FollowUp(
        title=plan.title,
        first_year=farm.first_year,
        last_year=last,
        held=held,
        roots=tuple(
            Narrowed(
                field=place[0],
                weed=place[1],
                before=before,
                after=after,
                counted=place in rest.counted,
                moved=found.moved.get(place) == last,
            )
            for place, (before, after) in found.roots.items()
        ),
        otherwise=_otherwise(farm, rows, grown, plan, seasons),
        visits_used=len(visits) - len(found.left_out),
        effective=found.effective,
        power=found.power,
        notes=(*_grown_otherwise(farm, tables, done, grown), *rest.notes, *_not_used(found)),
    )
    return Taken(rest=rest, estimate=found, followup=followup)


def replan(
    farm: Farm,
    tables: Tables,
    plan: FollowedPlan,
    *,
    visits: Sequence[Visit],
    rows: Sequence[Done],
    decided_on: str = "",
    progress: Tell = lambda text: None,
    pulled: Callable[[], bool] = lambda: False,
) -> Result:
    """Alternatives for the years left; parameters and faults as of `take_stock` and `planning.plan`.

    Returns
    -------
    Result
        Its first alternative is the rest of the plan followed; ``followup`` tells how it was kept.
    """
    taken = take_stock(farm, tables, plan, visits=visits, rows=rows, decided_on=decided_on, tell=progress)
    result = planning.plan(taken.rest.farm, tables, progress=progress, pulled=pulled, belief=taken.belief)
    return replace(result, followup=taken.followup)


def day_of_planning(today: str, last_year: int) -> str:
    """Today if the years after the last one done can be planned on it, else empty. ISO dates."""
    return today if last_year <= int(today[:4]) <= last_year + 1 else ""


def _in_range(day: str, last_year: int) -> None:
    if not day_of_planning(day, last_year):
        allowed = (
            f"{last_year} is the last year done, so allowed is a day of {last_year} or of {last_year + 1}"
        )
        raise InputError([Fault("the day of the new plan", day, allowed)])


def _laid(
    farm: Farm, done: Mapping[str, Sequence[str]], tables: Tables
) -> tuple[Groundwork, tuple[tuple[int, ...], ...]]:
    """The years done as if they were the plan, and their practices by number."""
    fields = tuple(
        replace(field, as_now=tuple(key or field.history[-1] for key in done[field.name]))
        for field in farm.fields
    )
    ground = lay(replace(farm, fields=fields, years=len(fields[0].as_now)), tables)
    try:
        return ground, present_paths(selection_data(ground), ground.farm)
    except NoPlanError as fault:
        said = str(fault).partition(": ")[2]
        raise InputError([Fault("what was done", said, "needed is what can have grown there")]) from None


def _otherwise(
    farm: Farm,
    rows: Sequence[Done],
    grown: Mapping[str, Sequence[str]],
    plan: FollowedPlan,
    seasons: SeasonsDone,
) -> tuple[Otherwise, ...]:
    notes = {(row.field, row.year): row.note for row in rows}
    found = []
    for field, path in grown.items():
        for year, key in enumerate(path, start=farm.first_year):
            planned, note = plan.practices.get((field, year), ""), notes.get((field, year), "")
            told, usual = seasons.days.get((field, year), (Told(), Told()))
            if (planned and key != planned) or note or told:
                found.append(
                    Otherwise(
                        field=field,
                        year=year,
                        planned=planned,
                        done=key,
                        note=note,
                        sown_on=told.sown_on,
                        usual_sown_on=usual.sown_on,
                        cut_on=told.cut_on,
                        usual_cut_on=usual.cut_on,
                        harvested_on=told.harvested_on,
                        usual_harvested_on=usual.harvested_on,
                    )
                )
    return tuple(found)


def _grown_otherwise(
    farm: Farm, tables: Tables, done: Mapping[str, Sequence[str]], grown: Mapping[str, Sequence[str]]
) -> Iterator[str]:
    """Where another way to grow a crop is taken, since what was done cannot have followed the crop before."""
    practices = tables.practices
    for field in farm.fields:
        before = field.history[-1]
        pairs = zip(done[field.name], grown[field.name], strict=True)
        for year, (told, taken) in enumerate(pairs, start=farm.first_year):
            if taken and told != taken:
                cannot, was, stands = (in_words(practices[key], farm) for key in (told, before, taken))
                yield (
                    f"{field.name}, {year}: {cannot} cannot follow {was} by the usual days or stands; "
                    f"{stands} is taken for it."
                )
            before = taken or before


def _not_used(found: Estimate) -> list[str]:
    """Visits that told nothing, by reason."""
    reasons: dict[str, int] = {}
    for _, why in found.left_out:
        reasons[why] = reasons.get(why, 0) + 1
    return [
        f"{count} visit{'s' if count > 1 else ''} of the log not held against the plan: {why}."
        for why, count in reasons.items()
    ]
