"""Why a plan is as it is: what comes second, and why a crop is not in it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .arrays import NOT_FARMED, Flags, SelectionData
from .errors import NoPlanError
from .formulate import Goal
from .groundwork import Groundwork
from .say import in_words
from .select import Selected
from .what_if import Change, betters, compare, name_of, select_again


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What it costs to have it otherwise on one field in one year.

    Parameters
    ----------
    sentence : str
    cost : float or None
        Value given up, never below zero; None if there is no such plan.
    change : Change or None
        The next best plan against the chosen one.
    better : Selected or None
        A plan that keeps everything and is better than the chosen one, if the question brought it to light;
        the cost is then 0, and the chosen plan should give way to it.
    why : tuple of str
        Why there is no such plan.
    """

    sentence: str
    cost: float | None
    change: Change | None = None
    better: Selected | None = None
    why: tuple[str, ...] = ()


def second_best(
    data: SelectionData, base: Selected, goal: Goal, field: int, year: int, *, crop: bool = False
) -> Answer:
    """What it costs to do without the chosen practice on a field in a year, and what comes in its place.

    Parameters
    ----------
    crop : bool
        Do without the whole crop, not only the chosen way to grow it.
    """
    chosen = base.paths[field][year]
    where = _where(data, field, year)
    if chosen == NOT_FARMED:
        return Answer(sentence=f"{where} is no longer farmed.", cost=None)
    out = data.crop_of == data.crop_of[chosen] if crop else np.arange(len(data.practice_keys)) == chosen
    name = _crop(data, int(data.crop_of[chosen])) if crop else name_of(data, chosen)
    return _otherwise(data, base, goal, (field, year), ~out, f"Without {name} on {where}")


def why_not(
    ground: Groundwork, data: SelectionData, base: Selected, goal: Goal, *, field: int, year: int, crop: str
) -> Answer:
    """Why a crop does not stand on a field in a year: the rule against it, or what it would cost.

    Parameters
    ----------
    crop : str
        As in ``data.crops``.
    """
    land, wanted = data.fields[field], data.crop_of == data.crops.index(crop)
    name, where = _crop(data, data.crops.index(crop)), _where(data, field, year)
    chosen = base.paths[field][year]
    if chosen != NOT_FARMED and wanted[chosen]:
        return Answer(sentence=f"The plan has {name} on {where}.", cost=0.0)
    before = [data.practice_keys[p] for p in base.paths[field][:year] if p != NOT_FARMED]
    rules = [
        ground.succession.why_not(land.name, before, data.practice_keys[int(p)])
        for p in np.flatnonzero(wanted)
    ]
    said = tuple(dict.fromkeys(rule[1].rstrip(".") for rule in rules if rule is not None))
    if not (land.allowed[year] & wanted).any() or not land.farmed[year]:
        return Answer(sentence=f"{name} cannot stand on {where}: {'; '.join(said)}.", cost=None, why=said)
    answer = _otherwise(data, base, goal, (field, year), wanted, f"With {name} on {where}")
    if answer.change is None and said:
        return replace(answer, why=(*answer.why, *said))
    return answer


def only(data: SelectionData, field: int, year: int, practices: Flags) -> SelectionData:
    """The same farm with only some practices on one field in one year."""
    land = data.fields[field]
    allowed = land.allowed.copy()
    allowed[year] &= practices
    fields = (*data.fields[:field], replace(land, allowed=allowed), *data.fields[field + 1 :])
    return replace(data, fields=fields, left_out=())  # what stands against a crop there is told otherwise


def _otherwise(  # noqa: PLR0917
    data: SelectionData, base: Selected, goal: Goal, cell: tuple[int, int], practices: Flags, said: str
) -> Answer:
    narrowed = only(data, *cell, practices)
    try:
        found = select_again(narrowed, base, goal)
    except NoPlanError as fault:
        first = str(fault).splitlines()[0]
        return Answer(sentence=f"{said} no plan was found. {first}", cost=None, why=fault.limits)
    bettered = betters(data, base, goal, found)
    change = compare(data, base, goal, found, bettered=bettered)
    if bettered:
        text = f"{said} the plan is even better than the one chosen: take this one."
        return Answer(sentence=text, cost=0.0, change=change, better=found)
    cost = max(0.0, -change.gain)
    field, year = cell
    place = name_of(data, found.paths[field][year])
    unit = "less over the plan, in money of today" if goal.kind == "most_money" else "ha of full stand more"
    return Answer(
        sentence=f"{said}: {in_words(cost)} {unit}; {place} stands there.", cost=cost, change=change
    )


def _where(data: SelectionData, field: int, year: int) -> str:
    return f"{data.fields[field].name} in {data.first_year + year}"


def _crop(data: SelectionData, crop: int) -> str:
    return data.crop_words[crop]
