"""From a farm to its alternatives, step by step."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from dataclasses import replace
from itertools import pairwise

import numpy as np
from threadpoolctl import threadpool_limits

from rotation_opt.alternatives import Proposal, describe, distance, propose
from rotation_opt.annuals import annual_course
from rotation_opt.arrays import SelectionData
from rotation_opt.balances import balance_checks, balances
from rotation_opt.bands import Belief
from rotation_opt.buying import own_against_hire
from rotation_opt.carry_over import Following
from rotation_opt.cash_flow import CashFlow, cash_checks
from rotation_opt.crop_accounts import crop_accounts, hired_work
from rotation_opt.downside import risks, usual_year_check, with_bad_years
from rotation_opt.errors import RotationOptError
from rotation_opt.farm_arrays import selection_data
from rotation_opt.field_days import field_days
from rotation_opt.groundwork import Groundwork, lay
from rotation_opt.horizon import with_weeds_left
from rotation_opt.infestation import USUAL_FRAME_M2, USUAL_STOPS
from rotation_opt.jobs import jobs
from rotation_opt.lifted_limits import lifted_limits
from rotation_opt.patch_growth import seed_years
from rotation_opt.practices import YEAR, weed_stages
from rotation_opt.records import Alternative, Farm, PriceStep, Programme, Result
from rotation_opt.runners_up import runners_up
from rotation_opt.select import start_burden
from rotation_opt.shading import shading
from rotation_opt.tables import Tables, read
from rotation_opt.verify import SeasonsAgain, recheck

Tell = Callable[[str], None]
LIKELY = 1  # place of the likely course of annual weeds, after the low one
CUT_SHORT = (
    "The search for plans was cut short: left to its end it may find better ones. How far these "
    "can be from the best stands beside them."
)


def plan(
    farm: Farm,
    tables: Tables | None = None,
    *,
    years: int | None = None,
    progress: Tell = lambda text: None,
    time_limit: float = 120.0,
    pulled: Callable[[], bool] = lambda: False,
    belief: Belief | None = None,
) -> Result:
    """Work out the alternatives for one farm.

    Parameters
    ----------
    farm : Farm
        As from `farm.read`.
    tables : Tables, optional
        The shipped ones by default.
    years : int, optional
        Another length of the plan than the farm file says. A longer plan repeats the present rotation.
    progress : callable, optional
        Told, in words, what is being worked on.
    time_limit : float
        Emergency brake of each search; they end by the work they have to do. [s]
    pulled : callable
        Asked now and then whether to stop searching and show the best found so far.
    belief : Belief, optional
        What counts of years done say of the courses of the weeds; it narrows low to high of the weeds.

    Returns
    -------
    Result

    Raises
    ------
    NoPlanError
        If no plan meets all limits of the farm; names those that clash.
    RotationOptError
        If the farm lies south of the equator.
    TableError
        If a figure is missing in the tables.
    """
    tables = read() if tables is None else tables
    if years is not None and years != farm.years:
        farm = of_length(farm, years)
    _north_only(farm, tables)
    with one_thread():
        return _plan(farm, tables, progress=progress, time_limit=time_limit, pulled=pulled, belief=belief)


def _north_only(farm: Farm, tables: Tables) -> None:
    """Turn down what would be dated wrongly.

    South of the equator seasons are followed on a year that begins in July; hours by half-month, cash and the
    rules on bare soil are not turned with it yet.
    """
    station = tables.stations.get(farm.station)
    if station is not None and station.latitude < 0.0:
        raise RotationOptError(
            f"{farm.file}: [farm], climate: found {farm.station}, south of the equator; plans are made north "
            "of it only, since hours, cash and dates of rules still count from January. "
            "`rotation-opt season` works there."
        )


def one_thread() -> AbstractContextManager[object]:
    """Sums of matrices in one thread: they are small, and more threads give other sums on each computer."""
    manager: AbstractContextManager[object] = threadpool_limits(limits=1, user_api="blas")
    return manager


def _plan(
    farm: Farm,
    tables: Tables,
    *,
    progress: Tell,
    time_limit: float,
    pulled: Callable[[], bool],
    belief: Belief | None,
) -> Result:
    """The same with one thread for sums of matrices."""
    ground = lay(farm, tables, progress)
    laps = dict(ground.seconds)
    began = time.perf_counter()
    data = selection_data(ground)
    laps["rules"] = time.perf_counter() - began
    began = time.perf_counter()
    data, clean = with_weeds_left(ground, data, time_limit=time_limit, pulled=pulled)
    met = () if clean is None else clean.pools
    data, careful = with_bad_years(ground, data, pools=met, time_limit=time_limit, pulled=pulled)
    proposal = propose(
        data, farm, tell=progress, time_limit=time_limit, pulled=pulled, start=careful or clean
    )
    laps["choosing"] = time.perf_counter() - began
    began = time.perf_counter()
    progress("Second reckoning")
    following = Following(ground, data, [draft.paths for draft in proposal.drafts], belief)
    found = describe(ground, data, proposal, following.bands)
    again = SeasonsAgain(ground, found)
    checks = {each.key: recheck(ground, each, again) for each in found}
    flow = CashFlow(ground, data)
    cash = {each.key: flow.course(each) for each in found}
    ledgers = {each.key: balances(ground, each, cash[each.key]) for each in found}
    for each in found:
        checks[each.key] += (
            *cash_checks(cash[each.key], each, farm.currency, farm.cash_floor_quarter),
            *balance_checks(ledgers[each.key]),
        )
    days = {each.key: field_days(ground, each) for each in found}
    work = {each.key: jobs(ground, each) for each in found}
    laps["second reckoning"] = time.perf_counter() - began
    began = time.perf_counter()
    seed = annual_seed(ground, found)
    laps["annual weeds"] = time.perf_counter() - began
    began = time.perf_counter()
    swings = risks(ground, data, [(draft.key, draft.paths, draft.figures) for draft in proposal.drafts])
    for draft in proposal.drafts:
        checks[draft.key] += (usual_year_check(data, draft.figures, farm.currency),)
    laps["good and bad years"] = time.perf_counter() - began
    began = time.perf_counter()
    progress("What holds the plans back")
    richest = proposal.richest
    lifted = () if richest is None else lifted_limits(ground, data, richest, pulled=pulled)
    laps["limits lifted"] = time.perf_counter() - began
    began = time.perf_counter()
    cases, choices = own_against_hire(ground, data, proposal.richest, tell=progress, pulled=pulled)
    laps["own or hire"] = time.perf_counter() - began
    began = time.perf_counter()
    seconds = runners_up(ground, data, proposal)
    laps["second bests"] = time.perf_counter() - began
    tables.read_figures.update(ground.tables.read_figures)  # the tables fitted to the climate count apart
    return Result(
        farm=farm,
        alternatives=found,
        start_burden_ha=found[0].figures.burden[0][1],
        checks=checks,
        left_out=ground.practice_list.left_out,
        assumptions=_assumptions(ground, proposal),
        cautions=_cautions(ground, found),
        distances=_distances(data, proposal),
        years_to_target={each.key: years_to_target(farm, each) for each in found},
        seconds=laps,
        cash=cash,
        balances=ledgers,
        field_days=days,
        jobs=work,
        accounts={each.key: crop_accounts(ground, data, each) for each in found},
        hired={each.key: hired_work(ground, each) for each in found},
        weed_days=_weed_days(ground),
        shading=shading(ground, found),
        annual_seed=seed,
        seed_years=seed_years(ground.response.weeds, ground.tables),
        price_steps=_price_steps(data, proposal),
        price_doubts=proposal.curve.doubts(),
        tight_limits=tuple(sorted((*proposal.tight, *lifted), key=lambda each: -each.gain)),
        machine_cases=cases,
        buying=choices,
        risks=swings,
        carry_over=following.carry_over({draft.key: draft.paths for draft in proposal.drafts}),
        runners_up=seconds,
        reserve_today=_reserve_today(ground, data.likely),
    )


def _price_steps(data: SelectionData, proposal: Proposal) -> tuple[PriceStep, ...]:
    """The curve between money and weeds in the figures of the printout."""
    today = float(start_burden(data)[data.likely])
    if today <= 0.0:
        return ()
    stands = {draft.paths: draft.key for draft in reversed(proposal.drafts)}
    return tuple(
        PriceStep(
            burden_share=point.burden / today,
            net_return=float(point.figures.net.mean()),
            labour_h=point.labour_h,
            proven_gap=point.gap,
            mark=point.mark,
            alternative=stands.get(point.paths, ""),
        )
        for point in proposal.curve.points
    )


def annual_seed(
    ground: Groundwork, plans: Sequence[Alternative]
) -> dict[str, dict[str, tuple[tuple[float, float, float], ...]]]:
    """Seed of annual weeds in the soil under each plan, as ``Result.annual_seed``.

    Of fields that are farmed to the end, so that a lease that ends does not look like weeds that went;
    empty if there are none such.
    """
    fields = {field.name: field for field in ground.farm.fields}
    kept = [(plan.key, name) for plan in plans for name, path in plan.practices.items() if all(path)]
    paths = {(plan.key, name): path for plan in plans for name, path in plan.practices.items()}
    if not kept:
        return {}
    courses = annual_course(
        [_programmes(ground, fields[name].history[-1], paths[plan, name]) for plan, name in kept],
        ground.climate,
        ground.tables,
    )
    area = np.array([fields[name].area_ha for _, name in kept])
    found = {}
    for plan in plans:
        mine = [place for place, (key, _) in enumerate(kept) if key == plan.key]
        mean = np.average(courses[mine], axis=0, weights=area[mine])
        found[plan.key] = {
            weed: tuple((float(v.min()), float(v[LIKELY]), float(v.max())) for v in mean[:, w])
            for w, weed in enumerate(ground.tables.annual_weeds)
        }
    return found


def _programmes(ground: Groundwork, last: str, path: Sequence[str]) -> list[Programme]:
    """The seasons of one field in order, the first after its last crop before the plan."""
    place = ground.practice_list.index
    pairs = pairwise((last, *path))
    return [ground.programmes[int(ground.pair_index[place[a], place[b]])] for a, b in pairs]


def _reserve_today(ground: Groundwork, likely: int) -> dict[str, dict[str, float]]:
    """Likely living root of each weed of each field on 1 November before the plan."""
    return {
        name: {
            weed: float(start.autumn[w, likely])
            for w, weed in enumerate(ground.response.weeds)
            if start.infested_share[w] > 0.0
        }
        for name, start in ground.starts.items()
    }


def _weed_days(ground: Groundwork) -> dict[str, dict[str, int]]:
    """Days of the calendar on which the weeds counted on the farm reach their stages in a usual year."""
    found = {}
    for weed in ground.response.weeds:
        stages = weed_stages(ground.climate, ground.tables, weed, ground.farm.region)
        found[weed] = {stage: (day + ground.climate.shift_days) % YEAR for stage, day in stages.days.items()}
    return found


def of_length(farm: Farm, years: int) -> Farm:
    """The same farm with a plan of another length; a longer one repeats the present rotation."""
    fields = tuple(
        replace(field, as_now=tuple(field.as_now[year % len(field.as_now)] for year in range(years)))
        for field in farm.fields
    )
    return replace(farm, years=years, fields=fields)


def years_to_target(farm: Farm, plan: Alternative) -> tuple[int | None, int | None, int | None]:
    """Years until every infested field stays under the target: low, likely, high; None = not in the plan."""
    found: list[int | None] = []
    for draw in range(3):
        worst = [0.0] * farm.years
        for each in plan.fields:
            for shoots in each.shoots_per_m2.values():
                place = each.year - farm.first_year
                worst[place] = max(worst[place], shoots[draw])
        over = [year for year, shoots in enumerate(worst) if shoots > farm.target_shoots_per_m2]
        reached = over[-1] + 2 if over else 1
        found.append(reached if reached <= farm.years else None)
    return found[0], found[1], found[2]


def _distances(data: SelectionData, proposal: Proposal) -> dict[tuple[str, str], float]:
    drafts = proposal.drafts
    return {
        (one.key, other.key): float(distance(data, one.paths, other.paths))
        for number, one in enumerate(drafts)
        for other in drafts[number + 1 :]
    }


def _cautions(ground: Groundwork, plans: Sequence[Alternative]) -> tuple[str, ...]:
    """The cautions that have to do with what is in the plans, the most pressing first."""
    farm, tables = ground.farm, ground.tables
    used = [
        tables.practices[key] for plan in plans for path in plan.practices.values() for key in path if key
    ]
    there = {
        "always": True,
        "bare_tillage": any(practice.tags & {"fallow", "tillage_many"} for practice in used),
        "grazing": any(practice.cut_use == "graze" for practice in used),
        "hay": any(practice.cut_use == "sell" and practice.cuts > 0 for practice in used),
        "hay_or_fallow": any(practice.tags & {"fallow", "hay"} for practice in used),
        "lease": any(field.lease_end_year is not None for field in farm.fields),
        "legume_stand": any(practice.leaves_stand and "legume" in practice.tags for practice in used),
        "organic": farm.organic,
        "patch_work": False,  # printed beside that work
        "sorghum": any(practice.crop == "sorghum_sudangrass" for practice in used),
        "standing_hay": any(practice.cut_use == "standing" for practice in used),
    }
    told = sorted(
        (caution for caution in tables.cautions if there[caution.applies]), key=lambda each: each.rank
    )
    return tuple(caution.text_us if farm.region == "us" else caution.text_uk for caution in told)


def _start_words(farm: Farm) -> str:
    """Where the roots of a plan start, and how sure the counts are taken to be."""
    patches = [patch for field in farm.fields for patch in field.patches]
    if any(patch.roots is not None for patch in patches):
        return "Roots start from all counts so far and from what was done."
    if all(patch.stops for patch in patches):
        return "Roots start from the shoots counted."
    return (
        "Roots start from the shoots counted; where no single counts are given, low to high takes them for "
        f"the mean of {USUAL_STOPS} frames of {USUAL_FRAME_M2:g} m2 (our judgement)."
    )


def _weedy_words(ground: Groundwork) -> str:
    tables = ground.tables
    off, from_loss = (
        tables.number("money", "any", name) for name in ("weedy_grain_price_off", "weedy_grain_from_loss")
    )
    return (
        f"Grain of a field that loses {100 * from_loss:.0f}% or more of its yield to weeds brings "
        f"{100 * off:.0f}% less, for cleaning and dockage (our judgement; weedy_from_loss_pct and "
        "weedy_price_off_pct under [[crop]] are your own figures)."
    )


def _assumptions(ground: Groundwork, proposal: Proposal) -> tuple[str, ...]:
    farm, climate = ground.farm, ground.climate
    return (
        f"Plans are chosen, dated and costed in an average year {climate.average_of}; single years differ. "
        "Cool and warm years are in low to high of the creeping weeds alone.",
        f"{_start_words(farm)} Loss of yield and the choice of plans go by the area of patches today; what "
        "changes is how strong they are.",
        "Weed figures are fitted to published trials, more of thistle than of any other weed. Outcomes of "
        "studies that a fit had not seen were foretold within 1.6 times in half the cases and within 2.5 "
        "times in four of five; a few were missed by far. The model knows light, cutting and tillage, not "
        "water, nitrogen or disease.",
        "Plans are chosen with the same prices, yields and costs in every year; how each stands when prices "
        "and yields swing is under good and bad years. Money of later years is discounted only for choosing, "
        "not in the figures printed.",
        "Costs are counted in the year of the harvest they are for. Field days are those of a "
        f"{'bad' if farm.labour.bad_year else 'median'} year.",
        "Left out of the money: nitrogen that a broken hay stand leaves to the second crop after it (up to "
        "half of what that crop needs, Brown in Hay & Forage Grower). Yields do not go by soil: a field has "
        "its yield_ratio and yield_ratio_by_crop.",
        _weedy_words(ground),
        "What the weeds left at the end will cost after the plan, and what nitrogen and hay stands will be "
        "worth, is told by itself; it is not in the net return.",
        *([f"Climate: {farm.climate_note}"] if farm.climate_note else []),
        *([CUT_SHORT] if proposal.cut_short else []),
        *proposal.notes,
    )
