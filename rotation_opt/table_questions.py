"""Questions at the kitchen table: the plan of a changed farm against the plan of the farm as it is.

The plan of the farm as it is takes one search. That of the changed farm starts from all that was met in it: a
short search, and a longer one only where that proves too little. None is needed where limits only became
stricter and the old plan is worth what it was.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from dataclasses import fields as dataclass_fields

import numpy as np

from .alternatives import BALANCED, MOST_MONEY, TITLES, Draft, Proposal, describe, propose
from .arrays import NOT_FARMED, Limits, SelectionData
from .bad_years import BadYear, bad_years, in_bad_year
from .bands import Bands
from .buying import carried
from .columns import Paths
from .downside import farm_scenarios, with_bad_years
from .errors import NoPlanError, RotationOptError
from .farm_arrays import selection_data
from .formulate import Figures, Goal
from .groundwork import Groundwork, lay
from .horizon import price_of_weeds_left, with_weeds_left
from .missed_cut import missed, seasons_with_cut, without_cut
from .planning import one_thread
from .records import Alternative, Farm
from .select import Selected, evaluate, improved, select, weighted_burden
from .sequences import Pool
from .tables import Tables
from .tradeoff import Curve
from .what_if import FINEST, allows, select_again

Tell = Callable[[str], None]
PLANS = {key: TITLES[key] for key in (MOST_MONEY, BALANCED)}
"""Plans that can be asked about."""

LOOSE = 0.01  # a plan that is proven no nearer to the best than this is looked at once more
A_LITTLE = 1e-6  # share by which a plan may have more weeds than another one and still count as clean


@dataclass(frozen=True, slots=True, kw_only=True)
class Stand:
    """One plan on one farm.

    Parameters
    ----------
    farm : Farm
    plan : Alternative
        Its figures; with its distance from the best where that is known.
    paths : tuple of tuple of int
        Practice indices of the farm's own data.
    likely_only : bool
        Whether only the likely course of the weeds is worked out.
    """

    farm: Farm
    plan: Alternative
    paths: Paths
    likely_only: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Base:
    """The farm as it is with one plan chosen, to ask questions of.

    Parameters
    ----------
    key : str
        Key of the plan, one of `PLANS`.
    ground : Groundwork
    data : SelectionData
        Of the same farm.
    goal : Goal
        Most money; for the balanced plan with no more weeds than it has.
    chosen : Selected
    """

    key: str
    ground: Groundwork
    data: SelectionData
    goal: Goal
    chosen: Selected


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """One field in one year under another practice than before; "" = not farmed."""

    field: str
    year: int
    before: str
    after: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Weather:
    """What a dry or wet year takes from a plan, and where.

    Parameters
    ----------
    name : {"dry", "wet"}
    year : int
    before, after : float or None
        Net return over all years of the plan that it takes, on the farm as it is and on the changed one.
        [currency]
    sown_again : tuple of (str, int)
        Fields and years of hay stands sown that year that fail in a dry one.
    """

    name: str
    year: int
    before: float
    after: float | None
    sown_again: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """What a change does, plan beside plan.

    Parameters
    ----------
    before, after : Stand
        The plan of the farm as it is, and the one chosen for the changed farm.
    kept : Stand or None
        The plan before on the changed farm; None where it does not fit there.
    misfits : tuple of str
        Why it does not fit.
    missed : Stand or None
        The plan before if the cut asked about is missed in every year.
    next_cut : int or None
        Day of the cut after the missed one, where the season has one.
    moved : tuple of Moved
        Field-years whose practice changes.
    weather : tuple of Weather
    """

    before: Stand
    after: Stand
    kept: Stand | None
    misfits: tuple[str, ...] = ()
    missed: Stand | None = None
    next_cut: int | None = None
    moved: tuple[Moved, ...] = ()
    weather: tuple[Weather, ...] = ()


def base_of(farm: Farm, tables: Tables, key: str = MOST_MONEY, *, tell: Tell = lambda text: None) -> Base:
    """Choose the plan of the farm as it is.

    Parameters
    ----------
    farm : Farm
    tables : Tables
    key : str
        One of `PLANS`. The balanced one takes the whole curve between money and weeds.
    tell : callable, optional
        Told what is being worked on.

    Raises
    ------
    NoPlanError
        If no plan meets all limits of the farm.
    RotationOptError
        If there is no balanced plan.
    """
    with one_thread():
        ground = lay(farm, tables, tell)
        data, clean = with_weeds_left(ground, selection_data(ground))
        data, careful = with_bad_years(ground, data, pools=() if clean is None else clean.pools)
        start = careful or clean
        goal = Goal(kind="most_money")
        tell(PLANS[key])
        if key == BALANCED:
            return _balanced(farm, ground, data, start, tell)
        chosen = select(data, goal, pools=() if start is None else start.pools)
        if start is not None:
            chosen = improved(data, chosen, start.paths, start.figures)
        return Base(key=key, ground=ground, data=data, goal=goal, chosen=chosen)


def _balanced(
    farm: Farm, ground: Groundwork, data: SelectionData, start: Selected | None, tell: Tell
) -> Base:
    """The knee of the curve, as in the printout of all plans; then it is most money at so few weeds."""
    proposal = propose(data, farm, tell=tell, start=start)
    knee, richest = proposal.curve.knee, proposal.richest
    if knee is None or richest is None:
        raise RotationOptError(
            f"There is no balanced plan between the most money and the fewest weeds; ask with --plan "
            f'"{TITLES[MOST_MONEY]}".'
        )
    chosen = replace(
        richest,
        paths=knee.paths,
        figures=knee.figures,
        value=knee.money,
        bound=knee.bound,
        gap=knee.gap,
        money_bound=knee.bound,
        pools=(*richest.pools, *proposal.curve.pools),
    )
    most = weighted_burden(data, knee.figures) * (1.0 + A_LITTLE)
    goal = Goal(kind="most_money", burden_most=most)
    return Base(key=BALANCED, ground=ground, data=data, goal=goal, chosen=chosen)


def difference(
    base: Base,
    farm: Farm,
    *,
    skipped_cut: int | None = None,
    dry_years: tuple[int, ...] = (),
    wet_years: tuple[int, ...] = (),
    tell: Tell = lambda text: None,
) -> Difference:
    """What a changed farm, a cut left out or a bad year does to a plan.

    Parameters
    ----------
    base : Base
    farm : Farm
        The changed one, with the same fields and years; the farm of ``base`` where nothing in it changes.
    skipped_cut : int, optional
        The plan is chosen anew without ways that take this cut, 1 = the first.
    dry_years, wet_years : tuple of int
        Harvest years.
    tell : callable, optional
        Told what is being worked on.

    Raises
    ------
    NoPlanError
        If no plan meets all limits of the changed farm.
    RotationOptError
        If the fields or the years of the plan are others, or no season of the plan has such a cut.
    """
    _comparable(base.ground.farm, farm)
    with one_thread():
        tell("The changed farm")
        ground, data, same = _changed(base, farm)
        if skipped_cut is not None:
            data = without_cut(ground, data, skipped_cut)
        base, found, data, old = _answer(base, ground, data, same)
        nothing = farm == base.ground.farm and skipped_cut is None
        plans = [found.paths] if old.figures is None else [found.paths, old.paths]
        # the seasons of a plan are the same wherever nothing but limits differs
        bands = Bands(base.ground, base.data, [base.chosen.paths, *(plans if same else [])])
        before = stand_of(base, bands=bands)
        after, kept = before, (before if nothing else None)
        if not nothing:
            bands = bands if same else Bands(ground, data, plans)
            after = _stand(ground, data, base.key, found, bands)
            if old.figures is not None:
                fitting = replace(found, paths=old.paths, figures=old.figures, gap=None)
                kept = _stand(ground, data, base.key, fitting, bands)
        lost, next_cut = _missed(base, skipped_cut)
        return Difference(
            before=before,
            after=after,
            kept=kept,
            misfits=old.misfits,
            missed=lost,
            next_cut=next_cut,
            moved=moved_between(before, after),
            weather=(
                *(_weather(base, ground, data, found, "dry", year, nothing) for year in dry_years),
                *(_weather(base, ground, data, found, "wet", year, nothing) for year in wet_years),
            ),
        )


def stand_of(base: Base, other: Selected | None = None, *, bands: Bands | None = None) -> Stand:
    """The plan of a farm with its figures, or another plan of the same farm."""
    return _stand(base.ground, base.data, base.key, base.chosen if other is None else other, bands)


def _comparable(one: Farm, other: Farm) -> None:
    if (one.first_year, one.years) != (other.first_year, other.years):
        raise RotationOptError(
            "Plans are compared over the same years: leave first_year and years as they are."
        )
    if tuple(field.name for field in one.fields) != tuple(field.name for field in other.fields):
        raise RotationOptError(
            "Plans are compared on the same fields: leave the fields and their names as they are."
        )


def _changed(base: Base, farm: Farm) -> tuple[Groundwork, SelectionData, bool]:
    """The changed farm worked out, and whether nothing but limits differs from the farm as it is."""
    was = base.ground.farm
    if farm == was:
        return base.ground, base.data, True
    same_place = (farm.station, farm.daily_file, farm.region) == (was.station, was.daily_file, was.region)
    same_weeds = [field.patches for field in farm.fields] == [field.patches for field in was.fields]
    ground = lay(farm, base.ground.tables, like=base.ground if same_place and same_weeds else None)
    price = base.data.weeds_left_price if farm.count_weeds_left else 0.0
    if farm.count_weeds_left and not was.count_weeds_left:
        price = price_of_weeds_left(base.ground, base.data, base.chosen.paths)
    data = replace(selection_data(ground), weeds_left_price=price)
    if _same_but_limits(base.data, data) and farm.bad_years_weight == was.bad_years_weight:
        limits = replace(data.limits, downside=base.data.limits.downside)
        return ground, replace(base.data, limits=limits), True
    return ground, data, False


def _same_but_limits(one: SelectionData, other: SelectionData) -> bool:
    """Whether two farms have the same arrays, limits aside."""
    return all(
        each.name == "limits" or _equal(getattr(one, each.name), getattr(other, each.name))
        for each in dataclass_fields(one)
    )


def _equal(one: object, other: object) -> bool:
    if isinstance(one, np.ndarray) and isinstance(other, np.ndarray):
        return np.array_equal(one, other)
    if isinstance(one, tuple) and isinstance(other, tuple):
        return len(one) == len(other) and all(map(_equal, one, other))
    if hasattr(one, "__dataclass_fields__") and type(one) is type(other):
        return all(_equal(getattr(one, name), getattr(other, name)) for name in one.__dataclass_fields__)
    return bool(one == other)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Old:
    """The plan before on the changed farm; no figures where it does not fit."""

    paths: Paths = ()
    figures: Figures | None = None
    misfits: tuple[str, ...] = ()


def _answer(
    base: Base, ground: Groundwork, data: SelectionData, same: bool
) -> tuple[Base, Selected, SelectionData, _Old]:
    """The plan of the changed farm, and that of the farm as it is: a better one if the question shows it."""
    near = max(FINEST, base.chosen.gap or 0.0)
    met: Selected | None = None
    if same:
        found = select_again(data, base.chosen, base.goal, data.limits)
        if _loose(base, found):  # what the old prices prove is too little here
            found = _once_more(data, base.goal, found, near, quick=True)
    else:
        pools = carried(_to_leases(base.chosen.pools, data), base.data, data)
        if ground.farm.bad_years_weight > 0.0:
            data, met = with_bad_years(ground, data, pools=pools)
            pools = pools if met is None else met.pools
        try:
            found = select(data, base.goal, pools=pools, gap=near, quick=True)
        except NoPlanError:  # a short search finds no plan more easily than a long one
            found = select(data, base.goal, pools=pools, gap=near)
    if _loose(base, found):
        found = _once_more(data, base.goal, found, near)
    if met is not None and _clean(data, base.goal, met.figures):
        found = improved(data, found, met.paths, met.figures)
    back = _fitted(base.ground, base.data, base.goal, _turned(found.paths, data, base.data), base.data.limits)
    if back.figures is not None and back.figures.worth > base.chosen.figures.worth:
        base = replace(base, chosen=improved(base.data, base.chosen, back.paths, back.figures))
    old = _fitted(ground, data, base.goal, _turned(base.chosen.paths, base.data, data), data.limits)
    if old.figures is not None:
        found = improved(data, found, old.paths, old.figures)
    return base, found, data, old


def _loose(base: Base, found: Selected) -> bool:
    """Whether a plan is shown to be less near to the best than a difference between two plans asks for."""
    return found.gap is None or found.gap > max(LOOSE, base.chosen.gap or 0.0)


def _once_more(
    data: SelectionData, goal: Goal, found: Selected, near: float, *, quick: bool = False
) -> Selected:
    """The better plan of a search and of another one that starts from it, by what the second one proved."""
    try:
        again = select(data, goal, pools=found.pools, gap=near, quick=quick)
    except NoPlanError:  # none was met, though there is one
        return found
    return improved(data, again, found.paths, found.figures)


def _clean(data: SelectionData, goal: Goal, figures: Figures) -> bool:
    return goal.burden_most is None or weighted_burden(data, figures) <= goal.burden_most * (1.0 + A_LITTLE)


def _to_leases(pools: tuple[Pool, ...], data: SelectionData) -> tuple[Pool, ...]:
    """Sequences cut off where a field is no longer farmed."""
    return tuple(
        replace(pool, paths=np.where(data.fields[pool.field].farmed, pool.paths, NOT_FARMED).astype(np.int16))
        for pool in pools
    )


def _turned(paths: Paths, one: SelectionData, other: SelectionData) -> tuple[tuple[str, ...], ...]:
    """Practice keys of a plan of one farm on the fields of another, as long as these are farmed."""
    return tuple(
        tuple(
            "" if practice == NOT_FARMED or not farmed else one.practice_keys[practice]
            for practice, farmed in zip(path, land.farmed, strict=True)
        )
        for path, land in zip(paths, other.fields, strict=True)
    )


def _fitted(
    ground: Groundwork,
    data: SelectionData,
    goal: Goal,
    keys: tuple[tuple[str, ...], ...],
    limits: Limits,
) -> _Old:
    """A plan on a farm it was not chosen for, or why it does not fit there."""
    place = {key: at for at, key in enumerate(data.practice_keys)}
    misfits = []
    for land, path in zip(data.fields, keys, strict=True):
        no = ground.succession.first_no(land.name, path)
        if no is not None:
            year, (rule, sentence) = no
            if rule == "not_offered":
                sentence = ground.practice_list.reasons.get(path[year], sentence)
            misfits.append(f"{land.name} in {data.first_year + year}: {sentence.rstrip('.')}")
    if misfits:
        return _Old(misfits=tuple(misfits))
    paths = tuple(tuple(place[key] if key else NOT_FARMED for key in path) for path in keys)
    if not allows(data, paths):
        return _Old()  # it takes the cut that is left out
    figures = evaluate(data, paths, limits=limits)
    if figures.breaks:
        return _Old(misfits=figures.breaks)
    if not _clean(data, goal, figures):
        return _Old(misfits=("it would leave more roots than before",))
    return _Old(paths=paths, figures=figures)


def _stand(ground: Groundwork, data: SelectionData, key: str, chosen: Selected, bands: Bands | None) -> Stand:
    draft = Draft(key=key, paths=chosen.paths, figures=chosen.figures, gap=chosen.gap)
    none = Curve(points=(), least_gap=None, missed=(), pools=(), cut_short=False)
    (plan,) = describe(ground, data, Proposal(drafts=(draft,), same_as={}, notes=(), curve=none), bands)
    return Stand(farm=ground.farm, plan=plan, paths=chosen.paths)


def _missed(base: Base, number: int | None) -> tuple[Stand | None, int | None]:
    """The plan before with a cut missed every year, and the day of the next cut."""
    if number is None:
        return None, None
    paths = base.chosen.paths
    days = seasons_with_cut(base.ground, base.data, paths, number)
    if not days:
        raise RotationOptError(
            f"No field is cut {number} times in a year of the plan: there is no such cut to skip."
        )
    ground, data = missed(base.ground, base.data, paths, number)
    lost = _stand(ground, data, base.key, replace(base.chosen, figures=evaluate(data, paths), gap=None), None)
    following = [each[number] for each in days.values() if len(each) > number]
    return replace(lost, likely_only=True), min(following) if following else None


def moved_between(before: Stand, after: Stand) -> tuple[Moved, ...]:
    """Field-years whose practice is another in the second plan."""
    return tuple(
        Moved(field=field, year=before.farm.first_year + year, before=old, after=new)
        for field, path in before.plan.practices.items()
        for year, (old, new) in enumerate(zip(path, after.plan.practices[field], strict=True))
        if old != new
    )


def _weather(  # noqa: PLR0917
    base: Base, ground: Groundwork, data: SelectionData, found: Selected, name: str, year: int, nothing: bool
) -> Weather:
    at = year - base.data.first_year
    if not 0 <= at < base.data.years:
        last = base.data.first_year + base.data.years - 1
        raise RotationOptError(f"{year} is not a year of the plan, {base.data.first_year} to {last}.")
    before, bad = _taken(base.ground, base.data, base.chosen.paths, base.chosen.figures, name, at)
    after = None if nothing else _taken(ground, data, found.paths, found.figures, name, at)[0]
    fails = [
        (land.name, year)
        for land, path in zip(base.data.fields, base.chosen.paths, strict=True)
        if at + 1 < base.data.years and path[at + 1] != NOT_FARMED and bad.next_yields[path[at + 1]] < 1.0
    ]
    return Weather(name=name, year=year, before=before, after=after, sown_again=tuple(fails))


def _taken(  # noqa: PLR0917
    ground: Groundwork, data: SelectionData, paths: Paths, figures: Figures, name: str, at: int
) -> tuple[float, BadYear]:
    """What a bad year takes from a plan over all its years, and that year."""
    practices = [ground.tables.practices[key] for key in data.practice_keys]
    bad = next(each for each in bad_years(data, practices, ground.tables) if each.name == name)
    nets = in_bad_year(data, paths, figures, bad, farm_scenarios(ground, data))
    return float(figures.net[at]) - nets[at], bad
