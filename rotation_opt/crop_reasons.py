"""Why a crop stands on a field in a year of a plan, what comes second there, and why not another one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from .alternatives import BALANCED
from .arrays import NOT_FARMED
from .bands import Bands
from .ledgers import RunnerUp
from .planning import one_thread
from .reasons import Answer, second_best, why_not
from .records import YearOnField
from .runners_up import Chosen, RunnersUp
from .table_questions import Base, Moved, Stand, moved_between, stand_of

RULES = "succession rules"


@dataclass(frozen=True, slots=True, kw_only=True)
class CropReason:
    """What is known of one field in one year of a plan.

    Parameters
    ----------
    stand : Stand
        The plan.
    field : str
    year : int
    here : YearOnField or None
        What stands there; None where the field is no longer farmed.
    roots_before : mapping of weed to float
        Likely living root on 1 November before. [share of a full stand]
    asked : str
        The crop asked about, by key; "" = whatever comes second.
    other : Stand or None
        The best plan found with that crop, or with any other one; None if there is none or it is the plan.
    moved : tuple of Moved
        Field-years in which that plan differs.
    bettered : bool
        Whether that plan is better than the one chosen.
    why : tuple of str
        Rules and limits against it, where there is no such plan.
    decided : RunnerUp or None
        What decides against other crops with all other fields as they are; None where a crop was asked about.
    """

    stand: Stand
    field: str
    year: int
    here: YearOnField | None
    roots_before: Mapping[str, float]
    asked: str
    other: Stand | None
    moved: tuple[Moved, ...]
    bettered: bool
    why: tuple[str, ...]
    decided: RunnerUp | None


def crop_reason(base: Base, field: str, year: int, crop: str = "") -> CropReason:
    """Why the plan has its crop on a field in a year.

    Parameters
    ----------
    base : Base
        As from `table_questions.base_of`.
    field : str
        Its name.
    year : int
        Harvest year of the plan.
    crop : str
        Why not this one, by key; "" asks for what comes second.
    """
    data = base.data
    at = next(number for number, land in enumerate(data.fields) if land.name == field)
    when = year - data.first_year
    with one_thread():
        answer = _asked(base, at, when, crop)
        found = None if answer.change is None else answer.change.chosen
        plans = [base.chosen.paths] if found is None else [base.chosen.paths, found.paths]
        bands = Bands(base.ground, base.data, plans)
        stand = stand_of(base, bands=bands)
        other = None if found is None else stand_of(base, found, bands=bands)
        decided = None if crop else _decided(base, field, year, bands.today()[1])
    return CropReason(
        stand=stand,
        field=field,
        year=year,
        here=next((each for each in stand.plan.fields if (each.field, each.year) == (field, year)), None),
        roots_before=_roots_before(base, stand, field, year),
        asked=crop,
        other=other,
        moved=() if other is None else moved_between(stand, other),
        bettered=answer.better is not None,
        why=_telling(answer.why),
        decided=decided,
    )


def _decided(base: Base, field: str, year: int, today_ha: float) -> RunnerUp | None:
    """What the page on all fields of a plan says of one of them in one year."""
    plan = Chosen(key=base.key, paths=base.chosen.paths, clean=base.key == BALANCED)
    seconds = RunnersUp(base.data, [plan], base.chosen.pools, today_ha=today_ha).find()[base.key]
    return next((each for each in seconds if (each.field, each.year) == (field, year)), None)


def _telling(why: tuple[str, ...]) -> tuple[str, ...]:
    """Reasons without "succession rules, bans and dates on field ..." where the rules themselves are told."""
    told = tuple(each for each in why if not each.startswith(RULES))
    return told or why


def _asked(base: Base, field: int, when: int, crop: str) -> Answer:
    """What there is to say; nothing of a field that is no longer farmed."""
    data, ground = base.data, base.ground
    if base.chosen.paths[field][when] == NOT_FARMED:
        return Answer(sentence="", cost=None)
    if not crop:
        return second_best(data, base.chosen, base.goal, field, when, crop=True)
    if crop in data.crops:
        return why_not(ground, data, base.chosen, base.goal, field=field, year=when, crop=crop)
    left_out = (
        reason
        for key, reason in ground.practice_list.reasons.items()
        if ground.tables.practices[key].crop == crop
    )
    return Answer(sentence="", cost=None, why=tuple(dict.fromkeys(left_out)))


def _roots_before(base: Base, stand: Stand, field: str, year: int) -> dict[str, float]:
    """Likely roots of each weed of the field in the autumn before."""
    before = next((each for each in stand.plan.fields if (each.field, each.year) == (field, year - 1)), None)
    if before is not None:
        return {weed: likely for weed, (_, likely, _) in before.reserve.items()}
    start = base.ground.starts[field]
    return {
        weed: float(start.autumn[number, base.data.likely])
        for number, weed in enumerate(base.ground.response.weeds)
        if start.infested_share[number] > 0.0
    }
