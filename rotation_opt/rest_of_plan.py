"""The farm as it stands after some years of a plan: ready for the years that are left to be planned anew."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from rotation_opt.counts_held import AT_BUD
from rotation_opt.groundwork import Groundwork
from rotation_opt.infestation import USUAL_FRAME_M2
from rotation_opt.plan_followed import FollowedPlan
from rotation_opt.records import Farm, Field, Patch, Practice
from rotation_opt.scouting_log import Summary
from rotation_opt.state_estimate import Estimate
from rotation_opt.tables import Tables
from rotation_opt.timetable import Timetable

LEAST_YEARS, MOST_YEARS = 3, 8  # that can be planned
Paths = Mapping[str, Sequence[str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rest:
    """The farm for the years left.

    Attributes
    ----------
    farm : Farm
        ``as_now`` of its fields is the rest of the plan followed.
    counted : frozenset
        (field, weed) whose patches are as counted in the last year done.
    notes : tuple of str
        What was set otherwise than the plan or the grower would have it, and why.
    """

    farm: Farm
    counted: frozenset[tuple[str, str]]
    notes: tuple[str, ...]


def rest_of_plan(
    ground: Groundwork,
    farm: Farm,
    plan: FollowedPlan,
    *,
    done: Paths,
    newest: Sequence[Summary],
    estimate: Estimate,
    decided_on: str,
) -> Rest:
    """The farm after the years done.

    Parameters
    ----------
    ground : Groundwork
        Of the years done: what can be grown here, and when.
    farm : Farm
        As in its file, before the first year done.
    plan : FollowedPlan
    done : mapping
        Field -> practice key of each year done; "" where it was not farmed.
    newest : sequence of Summary
        Counts of the last year done.
    estimate : Estimate
        Roots of all patches, and shoots of those that nobody counted in that year.
    decided_on : str
        ISO date.
    """
    count = max(len(path) for path in done.values())
    first = farm.first_year + count
    left = plan.first_year + plan.years - first
    years = min(max(left, LEAST_YEARS), MOST_YEARS)
    notes = []
    if left < LEAST_YEARS:
        notes.append(
            f"The plan followed has {_years(max(left, 0))} left; {LEAST_YEARS} are planned, since fewer do "
            "not show what a rotation does. The years beyond it are filled up with the present rotation of "
            "the farm file."
        )
    sequel = _Sequel(ground, farm, plan)
    fields, counted = [], set[tuple[str, str]]()
    for field in farm.fields:
        if field.lease_end_year is not None and field.lease_end_year < first:
            notes.append(f"{field.name} is left out: its lease has ended.")
            continue
        grown = [key for key in done[field.name] if key]
        patches, told, said = _patches(field, first - 1, newest, estimate)
        counted |= told
        notes += said
        as_now, said = sequel.of(field, grown[-1], range(first, first + years))
        notes += said
        fields.append(
            replace(
                field,
                history=(*field.history, *grown),
                as_now=tuple(as_now),
                patches=tuple(patches),
                begun=as_now[0] if as_now[0] == plan.practices.get((field.name, first)) else "",
            )
        )
    rest = replace(farm, first_year=first, years=years, fields=tuple(fields), decided_on=decided_on)
    return Rest(farm=rest, counted=frozenset(counted), notes=tuple(notes))


def _years(count: int) -> str:
    return "1 year" if count == 1 else f"{count or 'no'} years"


# ---------------------------------------------------------------- what would follow


class _Sequel:
    """What follows on a field if nothing is changed: the rest of the plan, then the present rotation."""

    def __init__(self, ground: Groundwork, farm: Farm, plan: FollowedPlan) -> None:
        self._practices, self._plan, self._farm = ground.practice_list, plan, farm
        self._tables: Tables = ground.tables
        known = self._practices
        self._timetable = Timetable(ground.climate, ground.tables, known.calendar, known.machines)

    def of(self, field: Field, last: str, years: range) -> tuple[list[str], list[str]]:
        """Practice keys, and what had to be put in place of the plan."""
        keys: list[str] = []
        notes: list[str] = []
        for year in years:
            planned = self._plan.practices.get((field.name, year), "")
            if field.lease_end_year is not None and year > field.lease_end_year:
                keys.append(last)  # never grown: the lease has ended
                continue
            key = next(each for each in self._choices(field, planned, year) if self._fits(last, each))
            if planned and key != planned:
                notes.append(
                    f"{field.name}, {year}: {self._name(planned)} was planned, but cannot follow "
                    f"{self._name(last)}; {self._name(key)} stands there in the plan as it was."
                )
            keys.append(key)
            last = key
        return keys, notes

    def _choices(self, field: Field, planned: str, year: int) -> Iterator[str]:
        if planned:
            yield planned
            crop = self._tables.practices[planned].crop
            yield from (each.key for each in self._practices.practices if each.crop == crop)
        turn = year - self._farm.first_year
        for place in range(turn, turn + len(field.as_now)):
            key = field.as_now[place % len(field.as_now)]
            if not self._tables.practices[key].needs_stand:
                yield key
        # nothing of the farm's own fits: take what can be grown here at all
        yield from (each.key for each in self._practices.practices)
        yield planned or field.as_now[0]

    def _fits(self, before: str, this: str) -> bool:
        index = self._practices.index
        if this not in index or before not in index:
            return False
        return self._timetable.fits(self._practices.of(before), self._practices.of(this))[0]

    def _name(self, key: str) -> str:
        return in_words(self._tables.practices[key], self._farm)


def in_words(practice: Practice, farm: Farm) -> str:
    """A practice within a sentence, in the words of the farm's region."""
    name = practice.name_us if farm.region == "us" else practice.name_uk
    return name[:1].lower() + name[1:]


# ---------------------------------------------------------------- patches


def _patches(
    field: Field, year: int, newest: Sequence[Summary], estimate: Estimate
) -> tuple[list[Patch], set[tuple[str, str]], list[str]]:
    """Patches as counted in the last year done, or as estimated; which were counted; what is to be said.

    Their roots are as estimated from all counts; of a weed met for the first time as its count speaks for.
    """
    found: list[Patch] = []
    told: set[tuple[str, str]] = set()
    notes: list[str] = []
    mine = [each for each in newest if each.field == field.name and each.year == year]
    weeds = dict.fromkeys([*(patch.weed for patch in field.patches), *(each.weed for each in mine)])
    for weed in weeds:
        old = [patch for patch in field.patches if patch.weed == weed]
        counts = sorted(
            (each for each in mine if each.weed == weed),
            key=lambda each: (each.stage in AT_BUD, each.last_date),
        )
        after = estimate.shoots.get((field.name, weed, year))
        if counts:
            best = counts[-1]
            shoots = best.shoots_per_m2[1]
            day, stage, area = best.last_date, best.stage, best.area_ha
            told.add((field.name, weed))
        else:
            if after is None:  # not farmed that year: nothing is known but the old count
                found += old
                continue
            shoots, day, stage, area = after[1][1], f"{year}-07-01", "bud", None
        if not old:
            if shoots <= 0.0:  # looked for, and not there
                continue
            if area is None:
                notes.append(
                    f"{field.name}: a weed was counted that had not been there before, but the log gives no "
                    "patch_area_ha, so it is left out."
                )
                continue
            found.append(
                Patch(
                    weed=weed,
                    area_ha=min(area, field.area_ha),
                    shoots_per_m2=shoots,
                    counted_on=day,
                    stage=stage,  # type: ignore[arg-type]
                    stops=counts[-1].stops,
                    frame_m2=USUAL_FRAME_M2,  # the summary does not keep its frames
                )
            )
            continue
        whole = sum(patch.area_ha for patch in old)
        mean = sum(patch.area_ha * patch.shoots_per_m2 for patch in old) / whole
        all_seen = bool(counts) and counts[-1].patches >= len(old)
        if counts and not all_seen:
            notes.append(
                f"{field.name}: {counts[-1].patches} of {len(old)} patches of one weed were counted; the "
                "others are taken to have kept their ground, and shoots in proportion."
            )
        wider = min(area, field.area_ha) / whole if all_seen and area else 1.0
        found += [
            Patch(
                weed=weed,
                area_ha=patch.area_ha * wider,
                shoots_per_m2=shoots * (patch.shoots_per_m2 / mean if mean > 0.0 else 1.0),
                counted_on=day,
                stage=stage,  # type: ignore[arg-type]
                estimated=not counts,
                roots=estimate.likely.get((field.name, weed)),
            )
            for patch in old
        ]
    return found, told, notes
