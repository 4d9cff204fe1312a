"""Why a plan is as it is: what comes second, what the limits cost, and why a crop is not in it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from .arrays import NOT_FARMED, Flags, Limits, SelectionData
from .brake import Brake
from .clash import in_words
from .errors import NoPlanError
from .formulate import Goal, Program
from .groundwork import Groundwork
from .limit_rows import Row
from .pricing import Pricing
from .select import Selected
from .sequences import Grower
from .what_if import (
    TRACE,
    Change,
    Question,
    betters,
    compare,
    hire,
    labour,
    larger_outlet,
    largest_share,
    least_cash,
    least_share,
    machine_hours,
    name_of,
    select_again,
    smaller_promise,
    storage,
)

MOST_TIME = 120.0  # emergency brake of one linear program [s]


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
    return replace(data, fields=fields)


def _otherwise(  # noqa: PLR0917
    data: SelectionData, base: Selected, goal: Goal, cell: tuple[int, int], practices: Flags, said: str
) -> Answer:
    narrowed = only(data, *cell, practices)
    try:
        found = select_again(narrowed, base, goal)
    except NoPlanError as fault:
        first = str(fault).splitlines()[0]
        return Answer(sentence=f"{said} there is no plan. {first}", cost=None, why=fault.limits)
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
    return data.crops[crop].replace("_", " ")


# ---------------------------------------------------------------- what limits are worth


@dataclass(frozen=True, slots=True, kw_only=True)
class Worth:
    """What a little more of a limit brings.

    Parameters
    ----------
    sentence : str
        What was asked, in words.
    more : float
        By how many units the limit was loosened.
    shared : float
        What that brings if fields could be shared between crops; exact.
    whole : Change
        What it brings in whole fields, as far as plans were found.
    """

    sentence: str
    more: float
    shared: float
    whole: Change


@dataclass(frozen=True, slots=True)
class _Limit:
    """A limit that seems to bind, with the question that loosens it by some units."""

    name: tuple[str, int, int]
    units: float  # its size, for the larger step

    def ask(self, data: SelectionData, more: float) -> Question:
        kind, one, other = self.name
        limits = data.limits
        land = sum(field.area_ha for field in data.fields)
        match kind:
            case "labour":
                return labour(limits, more, other)
            case "machine":
                return machine_hours(limits, one, data.machine_words[one], more, other)
            case "hire":
                return hire(limits, one, data.machine_words[one], hours=more)
            case "hired":
                return hire(limits, one, data.machine_words[one], area_ha=more)
            case "cash":
                return least_cash(limits, limits.cash_floor - more)
            case "largest":
                return largest_share(limits, one, limits.largest[one].share + more / land)
            case "least":
                return least_share(limits, one, max(0.0, limits.least[one].share - more / land))
            case "promise":
                return smaller_promise(limits, one, more)
            case "outlet":
                return larger_outlet(limits, one, more)
            case _:
                return storage(limits, more)


def binding(
    data: SelectionData, base: Selected, goal: Goal, *, most: int = 6, larger: float = 0.1
) -> tuple[tuple[Worth, Worth], ...]:
    """What one more unit, and a larger step, of each limit that binds would bring; the dearest first.

    The prices of the search only say where to look; each figure comes from choosing anew.

    Parameters
    ----------
    most : int
        Limits looked at.
    larger : float
        The larger step as share of the limit, at least two units.
    """
    pricing = _shared(data, base, goal, data.limits)
    result = []
    for limit in _binding(data, base, pricing)[:most]:
        steps = []
        for more in (1.0, max(2.0, round(larger * limit.units))):
            question = limit.ask(data, more)
            loose = _shared(data, base, goal, question.limits)
            found = select_again(data, base, goal, question.limits)
            whole = compare(data, base, goal, found, bettered=betters(data, base, goal, found))
            steps.append(
                Worth(
                    sentence=question.sentence,
                    more=more,
                    shared=max(0.0, pricing.bound - loose.bound),
                    whole=whole,
                )
            )
        result.append((steps[0], steps[1]))
    return tuple(sorted(result, key=lambda pair: -pair[0].shared))


def _shared(data: SelectionData, base: Selected, goal: Goal, limits: Limits) -> Pricing:
    """The best mixture, fields shared between sequences."""
    program = Program(data, limits, goal.burden_most)
    aim = program.money_objective() if goal.kind == "most_money" else program.burden_objective()
    pricing = Pricing(Grower(data), program, aim, base.pools, Brake(MOST_TIME))
    pricing.solve()
    return pricing


def _binding(data: SelectionData, base: Selected, pricing: Pricing) -> list[_Limit]:
    """Limits that have a price, and amounts the plan uses up; the one with most at stake first."""
    program = pricing.program
    stake: dict[tuple[str, int, int], float] = {}
    units: dict[tuple[str, int, int], float] = {}
    for row, price in zip(program.rows, np.abs(pricing.duals), strict=True):
        name = _name(program, row)
        if name is not None and price > TRACE:
            stake[name] = stake.get(name, 0.0) + float(price) * row.scale
            units[name] = max(units.get(name, 0.0), abs(row.rhs))
    spread = float(np.abs(pricing.plan_cost).max())
    for name, amount, price in _used_up(data, base):
        stake[name] = stake.get(name, 0.0) + spread * amount * price
        units[name] = amount
    return [_Limit(name, units[name]) for name in sorted(stake, key=lambda name: -stake[name])]


def _name(program: Program, row: Row) -> tuple[str, int, int] | None:
    """Which limit a row belongs to: kind, number, half-month."""
    space, limits = program.space, program.limits
    keys = [program.variables[at].key for at in row.recourse]
    first = min(row.plan, default=0)
    match row.family:
        case "labour":
            return "labour", 0, (first - space.begin["labour"]) % space.shapes["labour"][-1]
        case "machines":
            shape = space.shapes["machine"]
            number, _, half = np.unravel_index(first - space.begin["machine"], shape)
            return "machine", int(number), int(half)
        case "hired_area":
            return "hired", (first - space.begin["hired"]) // space.shapes["hired"][-1], 0
        case "hire":
            return "hire", int(keys[0][1]), 0
        case "cash":
            return "cash", 0, 0
        case "contracts":
            return "promise", int(keys[0][1]), 0
        case "largest_shares" | "least_shares":
            kind = row.family.removesuffix("_shares")
            shares = limits.largest if kind == "largest" else limits.least
            return kind, [f"the {kind} share of {share.name}" for share in shares].index(row.limit), 0
        case _:
            return None


def _used_up(data: SelectionData, base: Selected) -> Iterator[tuple[tuple[str, int, int], float, float]]:
    """Outlets sold full and stores filled by the plan: name, amount, what a unit may bring."""
    limits, done = data.limits, base.figures.recourse
    for number, outlet in enumerate(limits.outlets):
        full = (outlet.most_t > 0.0) & (done.sold_t[number] >= outlet.most_t - TRACE)
        if full.any():
            extra = outlet.price_per_t - outlet.haul_per_t - limits.open_price_per_t[full, outlet.product]
            yield ("outlet", number, 0), float(outlet.most_t[full].max()), float(np.maximum(extra, 0.0).sum())
    if len(done.stored_t) and np.any(done.stored_t >= max(limits.storage_t - TRACE, TRACE)):
        yield ("storage", 0, 0), limits.storage_t, limits.feed_price_per_t
