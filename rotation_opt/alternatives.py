"""Which few plans to show, and what sets each apart.

The present rotation continued, the most money, the fastest clean-up, and a balanced plan at the knee of the
curve between these two; where there is one, another way to much the same money. A plan that comes out the
same as an earlier one is said to be the same rather than shown twice.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from rotation_opt.arrays import NOT_FARMED, SelectionData
from rotation_opt.bands import BandCourse, Bands, Three, three
from rotation_opt.distinct import Different, crop_distance, different
from rotation_opt.errors import NoPlanError
from rotation_opt.formulate import Figures, Goal
from rotation_opt.groundwork import Groundwork
from rotation_opt.records import Alternative, Farm, PlanFigures, TightLimit, YearOnField
from rotation_opt.select import Selected, evaluate, improved, select
from rotation_opt.sequences import FieldTrace, trace
from rotation_opt.tight_limits import counted_from, tight_limits
from rotation_opt.tradeoff import Curve, Point, curve, including

Array = npt.NDArray[np.float64]

POINTS = 7
"""Searches for the curve between money and weeds, its two ends among them."""

SAME_PLAN = 0.02
"""Two plans that differ on less of the area-years than this are called the same."""

OTHER_LOSS, OTHER_SHARE, OTHER_APART = 0.02, 0.4, 0.2
"""Another way to much the same money: most money given up, least share of the area-years under another
crop than with most money, and than in any other plan shown."""

WORTH_SAYING = 0.02
"""A change of a crop type's share of the land below this is not worth a word."""

HAY_AND_FALL = ("hay", "fall cereal")
FEW = 1.0 / 3.0
"""Plans that differ in less than this share of their hay and fall-cereal decisions say why."""

NAMED = 3
"""Fields and years named where a rule is broken in many."""

LEAST_T = 1e-6
OPEN_MARKET = "open market"

GROUP_WORDS = {
    "fall cereal": ("fall cereals", "autumn cereals"),
    "spring cereal": ("spring cereals", "spring cereals"),
    "pulse": ("pulses", "pulses"),
    "oilseed": ("oilseeds", "oilseeds"),
    "row crop": ("row crops", "row crops"),
    "green manure": ("green manures", "green manures"),
    "cover": ("smother and cover crops", "smother and cover crops"),
    "fallow": ("summerfallow", "bare fallow"),
    "hay": ("hay", "ley and hay"),
}

AS_NOW, MOST_MONEY, OTHER_WAY, BALANCED, FASTEST = "as_now", "most_money", "other_way", "balanced", "fastest"
TITLES = {
    AS_NOW: "As now",
    MOST_MONEY: "Most money",
    OTHER_WAY: "Other crops, same money",
    BALANCED: "Balanced",
    FASTEST: "Fastest clean-up",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """A plan with its role, before it is put into words."""

    key: str
    paths: tuple[tuple[int, ...], ...]
    figures: Figures
    gap: float | None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """The drafts of one run, the plans that came out the same, and the curve between money and weeds."""

    drafts: tuple[Draft, ...]
    same_as: Mapping[str, str]
    notes: tuple[str, ...]
    curve: Curve
    cut_short: bool = False  # a search was ended before its work was done
    tight: tuple[TightLimit, ...] = ()  # what holds the plan with most money back
    richest: Selected | None = None  # the plan with most money and the sequences met for it


def distance(data: SelectionData, one: Sequence[Sequence[int]], other: Sequence[Sequence[int]]) -> float:
    """Share of the farmed area-years on which two plans grow another type of crop.

    Parameters
    ----------
    data : SelectionData
    one, other : sequence of sequence of int
        Practice indices, field by field.

    Returns
    -------
    float
        0 (alike) to 1; crop types are the groups of table ``crops`` (`distinct.crop_distance` counts crops).
    """
    changed = farmed = 0.0
    for field, mine, theirs in zip(data.fields, one, other, strict=True):
        for a, b in zip(mine, theirs, strict=True):
            if NOT_FARMED in (a, b):
                continue
            farmed += field.area_ha
            changed += field.area_ha * (data.group_of[a] != data.group_of[b])
    return changed / farmed if farmed else 0.0


def hay_or_fall_difference(
    data: SelectionData, one: Sequence[Sequence[int]], other: Sequence[Sequence[int]]
) -> float:
    """Share of the hay and fall-cereal decisions on which two plans differ.

    Of the area-years with hay or a fall cereal in either plan, those on which the other does not have the
    same of the two; 0 if neither plan has any, since then nothing was decided.
    """
    kinds = [group if group in HAY_AND_FALL else "" for group in data.groups]
    either = differs = 0.0
    for field, mine, theirs in zip(data.fields, one, other, strict=True):
        for a, b in zip(mine, theirs, strict=True):
            if NOT_FARMED in (a, b):
                continue
            first, second = kinds[int(data.group_of[a])], kinds[int(data.group_of[b])]
            either += field.area_ha * bool(first or second)
            differs += field.area_ha * (first != second)
    return differs / either if either else 0.0


def present_paths(data: SelectionData, farm: Farm) -> tuple[tuple[int, ...], ...]:
    """The grower's present rotation as practice indices.

    Where a practice cannot follow the one before it in this climate, another way of growing the same crop
    that can is taken; where there is none the plan cannot be shown.

    Raises
    ------
    NoPlanError
        If the present rotation cannot be followed on some field; names field, crop and year.
    """
    place = {key: index for index, key in enumerate(data.practice_keys)}
    paths = []
    for field, land in zip(farm.fields, data.fields, strict=True):
        path: list[int] = []
        previous = land.history[-1]
        for year in range(data.years):
            if not land.farmed[year]:
                path.append(NOT_FARMED)
                continue
            wanted = place[field.as_now[year]]
            choices = [wanted, *np.flatnonzero(data.crop_of == data.crop_of[wanted]).tolist()]
            rest = [c for c in choices if data.pair_index[previous, c] >= 0]
            if not rest:
                raise NoPlanError(
                    f'The present rotation cannot go on: on field "{field.name}" '
                    f"{data.crop_words[data.crop_of[wanted]]} does not fit after "
                    f"{data.crop_words[data.crop_of[previous]]} in {data.first_year + year}"
                )
            path.append(rest[0])
            previous = rest[0]
        paths.append(tuple(path))
    return tuple(paths)


def propose(
    data: SelectionData,
    farm: Farm,
    *,
    tell: Callable[[str], None] = lambda text: None,
    time_limit: float = 120.0,
    pulled: Callable[[], bool] = lambda: False,
    start: Selected | None = None,
) -> Proposal:
    """Choose the plans to be shown.

    Parameters
    ----------
    data : SelectionData
    farm : Farm
        For the present rotation.
    tell : callable, optional
        Told what is being looked for.
    time_limit : float
        Emergency brake of each search: they end by the work they have to do. [s]
    pulled : callable
        Asked now and then whether to stop with the best found so far.
    start : Selected, optional
        A plan of this farm to start from; Most money is never worth less.

    Raises
    ------
    NoPlanError
        If no plan meets all limits.
    """
    drafts: list[Draft] = []
    notes: list[str] = []
    tell("As now")
    try:
        present = present_paths(data, farm)
        drafts.append(Draft(key=AS_NOW, paths=present, figures=evaluate(data, present), gap=None))
    except NoPlanError as fault:
        notes.append(str(fault))
    tell("Most money")
    known = () if start is None else start.pools
    richest = select(data, Goal(kind="most_money"), time_limit=time_limit, pulled=pulled, pools=known)
    if start is not None:
        richest = improved(data, richest, start.paths, start.figures)
    tight, richest = tight_limits(data, richest, pulled=pulled)
    asked = richest
    tell("Fastest clean-up")
    cleanest = select(
        data, Goal(kind="least_burden"), pools=richest.pools, time_limit=time_limit, pulled=pulled
    )
    tell("Balanced")
    between = curve(data, richest, cleanest, POINTS, time_limit=time_limit, pulled=pulled)
    richest = improved(data, richest, between.points[0].paths, between.points[0].figures)
    tell(TITLES[OTHER_WAY])
    other = different(data, richest, loss=OTHER_LOSS, share=OTHER_SHARE, time_limit=time_limit, pulled=pulled)
    if other.paths is not None and other.figures is not None and other.loss < 0.0:
        old, richest = richest, improved(data, richest, other.paths, other.figures)
        other = other.turned_round(old, richest)
        between = including(data, between, richest)
    drafts.append(_draft(MOST_MONEY, richest))
    shown = [richest.paths, cleanest.paths]
    middle = between.knee
    if middle is not None:
        shown.append(middle.paths)
    if other.loss <= OTHER_LOSS and _shows(data, other, shown):
        drafts.append(_other_way(other))
    if middle is not None:
        drafts.append(_balanced(middle))
    drafts.append(_draft(FASTEST, cleanest))
    same: dict[str, str] = {}
    for later in range(1, len(drafts)):
        for earlier in range(later):
            if drafts[earlier].key in same:
                continue
            if distance(data, drafts[earlier].paths, drafts[later].paths) < SAME_PLAN and not _differs(
                drafts[earlier], drafts[later]
            ):
                same[drafts[later].key] = TITLES[drafts[earlier].key]
                break
    return Proposal(
        drafts=_with_notes(data, farm, drafts),
        same_as=same,
        notes=tuple(notes),
        curve=between,
        cut_short=between.cut_short or other.cut_short,
        tight=counted_from(data, tight, asked, richest),
        richest=richest,
    )


def _with_notes(data: SelectionData, farm: Farm, drafts: Sequence[Draft]) -> tuple[Draft, ...]:
    """Say so where two plans decide almost alike about hay and fall cereals."""
    fall = "fall" if farm.region == "us" else "autumn"
    noted = []
    for number, draft in enumerate(drafts):
        alike = [
            TITLES[other.key]
            for other in drafts[:number]
            if other.key != AS_NOW and hay_or_fall_difference(data, other.paths, draft.paths) < FEW
        ]
        others = " and ".join(alike)
        where = (
            f"stand mostly where they do in {others}"
            if _has_any(data, draft)
            else f"have no place, as in {others}"
        )
        note = f"Hay and {fall} cereals {where}: what differs is the other crops and the work in them"
        noted.append(replace(draft, notes=(*draft.notes, f"{note}.")) if alike else draft)
    return tuple(noted)


def _has_any(data: SelectionData, draft: Draft) -> bool:
    """Whether a plan has hay or a fall cereal anywhere."""
    grown = {data.groups[int(data.group_of[p])] for path in draft.paths for p in path if p != NOT_FARMED}
    return bool(grown & set(HAY_AND_FALL))


def _differs(one: Draft, other: Draft) -> bool:
    """Plans with the same crop types can still treat the weed differently: 5 % of the burden says so."""
    a, b = float(one.figures.burden[-1].mean()), float(other.figures.burden[-1].mean())
    return abs(a - b) > 0.05 * max(a, b, 1e-9)


def _draft(key: str, chosen: Selected) -> Draft:
    return Draft(key=key, paths=chosen.paths, figures=chosen.figures, gap=chosen.gap)


def _balanced(knee: Point) -> Draft:
    """The plan at the knee of the curve: from there on being cleaner costs more than before."""
    return Draft(key=BALANCED, paths=knee.paths, figures=knee.figures, gap=knee.gap)


def _shows(data: SelectionData, other: Different, shown: Sequence[Sequence[Sequence[int]]]) -> bool:
    """Whether another way was found that nobody would take for one of the plans shown."""
    found = other.paths
    return found is not None and all(crop_distance(data, found, plan) >= OTHER_APART for plan in shown)


def _other_way(other: Different) -> Draft:
    assert other.paths is not None and other.figures is not None
    note = (
        f"It gives up {max(0.0, other.loss):.1%} of the money of {TITLES[MOST_MONEY]}, and "
        f"{other.distance:.0%} of the land over the years is under another crop than there."
    )
    return Draft(key=OTHER_WAY, paths=other.paths, figures=other.figures, gap=other.gap, notes=(note,))


# ---------------------------------------------------------------- into records


def describe(
    ground: Groundwork, data: SelectionData, proposal: Proposal, bands: Bands | None = None
) -> tuple[Alternative, ...]:
    """The drafts in full, with the sentence that sets each apart and the one that says when to choose it.

    Parameters
    ----------
    ground : Groundwork
    data : SelectionData
        Of the same farm.
    proposal : Proposal
        As from `propose`.
    bands : Bands, optional
        Where these plans are followed already; they may go on after the plan.
    """
    now = next((draft for draft in proposal.drafts if draft.key == AS_NOW), None)
    bands = bands or Bands(ground, data, [draft.paths for draft in proposal.drafts])
    return tuple(
        _describe(ground, data, draft, bands, now=now, same_as=proposal.same_as.get(draft.key, ""))
        for draft in proposal.drafts
    )


def _describe(
    ground: Groundwork,
    data: SelectionData,
    draft: Draft,
    bands: Bands,
    *,
    now: Draft | None,
    same_as: str,
) -> Alternative:
    traces = [trace(data, field, path) for field, path in enumerate(draft.paths)]
    courses = [bands.course(field, path) for field, path in enumerate(draft.paths)]
    patches_ha, seed_shed = _patches(data, courses)
    figures = replace(
        _figures(ground, data, draft, traces, (bands.today(), *_kept_burden(data, courses))),
        patches_ha=patches_ha,
        seed_shed_per_m2=seed_shed,
    )
    return Alternative(
        key=draft.key,
        title=TITLES[draft.key],
        apart=_apart(ground, data, draft, now),
        choose_if=_CHOOSE[draft.key],
        practices={
            land.name: tuple("" if p == NOT_FARMED else data.practice_keys[p] for p in path)
            for land, path in zip(data.fields, draft.paths, strict=True)
        },
        figures=figures,
        fields=_field_years(data, draft, traces, courses),
        breaks=(*draft.figures.breaks, *(_rules_broken(ground, data, draft) if draft is now else ())),
        proven_gap=draft.gap,
        same_as=same_as,
        notes=draft.notes,
    )


def _rules_broken(ground: Groundwork, data: SelectionData, draft: Draft) -> tuple[str, ...]:
    """Rules of succession, wishes and dates that a plan does not keep: only the present rotation may.

    One sentence a rule, with the fields and years it is broken in.
    """
    where: dict[str, list[str]] = {}
    sentence: dict[str, str] = {}
    for land, path in zip(data.fields, draft.paths, strict=True):
        keys = ["" if p == NOT_FARMED else data.practice_keys[p] for p in path]
        for year, key in enumerate(keys):
            reason = ground.succession.why_not(land.name, keys[:year], key)
            if reason is not None:
                sentence.setdefault(*reason)
                where.setdefault(reason[0], []).append(f"{land.name} {data.first_year + year}")
    return tuple(f"{sentence[rule].rstrip('.')} ({_some_of(places)})" for rule, places in where.items())


def _some_of(places: Sequence[str]) -> str:
    """The first few of many, and how many more."""
    shown = ", ".join(places[:NAMED])
    return shown if len(places) <= NAMED else f"{shown} and {len(places) - NAMED} more"


def _by_year(values: Array) -> tuple[float, ...]:
    return tuple(float(value) for value in values)


def _rows(table: Array) -> tuple[tuple[float, ...], ...]:
    return tuple(_by_year(row) for row in table)


def _named(names: Sequence[str], table: Array) -> dict[str, tuple[float, ...]]:
    """One entry for each row that is not all zero."""
    return {name: _by_year(row) for name, row in zip(names, table, strict=True) if np.any(row)}


def _figures(
    ground: Groundwork,
    data: SelectionData,
    draft: Draft,
    traces: Sequence[FieldTrace],
    burden: tuple[Three, ...],
) -> PlanFigures:
    found, recourse = draft.figures, draft.figures.recourse
    years = data.years
    left, farmed_ha, hired_cost = np.zeros(years), np.zeros(years), np.zeros(years)
    hired_h = np.zeros((len(data.machines), years))
    bare: list[float] = []
    for land, path, course in zip(data.fields, draft.paths, traces, strict=True):
        for year, (practice, pair) in enumerate(zip(path, course.pairs, strict=True)):
            if practice == NOT_FARMED:
                continue
            farmed_ha[year] += land.area_ha
            bare.append(float(data.bare_days[pair]) / 7.0)
            left[year] += land.area_ha * _stays_on_field(ground, data.practice_keys[practice])
            hired_h[:, year] += land.area_ha * ground.hours.hired_h[pair]
            hired_cost[year] += land.area_ha * float(ground.budgets.parts["hired work"][pair])
    sold = _named([f"{data.products[o.product]} @ {o.name}" for o in data.limits.outlets], recourse.sold_t)
    paid = np.where(data.limits.open_price_per_t > 0, recourse.open_t, 0.0)
    sold |= _named([f"{name} @ {OPEN_MARKET}" for name in data.products], paid.T)
    unsold = found.unsold_t + np.where(data.limits.open_price_per_t > 0, 0.0, recourse.open_t)
    extra_hire_h = recourse.hire_extra_h.sum(axis=2)[:, 1:]
    return PlanFigures(
        net_return=_by_year(found.net),
        net_return_per_ha_year=float(found.net.sum() / farmed_ha.sum()),
        cash=_by_year(found.net),
        burden=burden,
        labour_hours=_rows(found.labour_h[1:]),
        extra_labour_hours=_rows(recourse.extra_labour_h[1:]),
        machine_hours={name: _rows(found.machine_h[m, 1:]) for m, name in enumerate(data.machines)},
        hired_hours=_named(data.machines, hired_h + extra_hire_h),
        hire_cost=_by_year(hired_cost + found.hire_cost),
        extra_labour_cost=_by_year(found.extra_labour_cost),
        extra_hire_cost=_by_year(found.hire_cost),
        made_t=_named(data.products, found.made_t.T),
        sold_t=sold,
        fed_t=_by_year(recourse.fed_t),
        feed_bought_t=_by_year(recourse.bought_t),
        hay_stored_t=_by_year(recourse.stored_t),
        unsold_t=_named(data.products, np.where(unsold > LEAST_T, unsold, 0.0).T),
        cut_and_left_ha=_by_year(left),
        bare_weeks_per_field_year=float(np.mean(bare)) if bare else 0.0,
    )


def _kept_burden(data: SelectionData, courses: Sequence[BandCourse]) -> tuple[Three, ...]:
    """Burden after each year of the fields that are farmed to the end."""
    kept = [course.burden for land, course in zip(data.fields, courses, strict=True) if land.farmed[-1]]
    return tuple(three(row) for row in np.sum(kept, axis=0)) if kept else ((0.0, 0.0, 0.0),) * data.years


def _patches(
    data: SelectionData, courses: Sequence[BandCourse]
) -> tuple[dict[str, tuple[Three, ...]], dict[str, tuple[Three, ...]]]:
    """Ground under each weed, and the seed shed on it, of the fields that are farmed to the end."""
    kept = [course for land, course in zip(data.fields, courses, strict=True) if land.farmed[-1]]
    if not kept:
        return {}, {}
    ground_ha = np.sum([course.patches_ha for course in kept], axis=0)
    seed = np.sum([course.seed_shed * course.patches_ha[0] for course in kept], axis=0)
    there = [w for w in range(len(data.weeds)) if ground_ha[0, w, 0] > 0.0]
    return (
        {data.weeds[w]: tuple(three(row) for row in ground_ha[:, w]) for w in there},
        {data.weeds[w]: tuple(three(row) for row in seed[:, w] / ground_ha[0, w]) for w in there},
    )


def _stays_on_field(ground: Groundwork, key: str) -> bool:
    """Whether what grows is cut and left, a green manure for instance."""
    practice = ground.tables.practices[key]
    return practice.cut_use == "leave" and practice.cuts > 0


def _field_years(
    data: SelectionData, draft: Draft, traces: Sequence[FieldTrace], courses: Sequence[BandCourse]
) -> tuple[YearOnField, ...]:
    """Each field in each year, with the weeds counted there; net return at the mean price of the plan."""
    price = _mean_price(data, draft.figures)
    rows = []
    for land, path, course, band in zip(data.fields, draft.paths, traces, courses, strict=True):
        there = [w for w in range(len(data.weeds)) if land.infested_share[w] > 0]
        for year, (practice, pair) in enumerate(zip(path, course.pairs, strict=True)):
            if practice == NOT_FARMED:
                continue
            product = int(data.product_of[practice])
            sales = float(course.tonnes[year]) * (price[year, product] if product >= 0 else 0.0)
            rows.append(
                YearOnField(
                    field=land.name,
                    year=data.first_year + year,
                    practice=data.practice_keys[practice],
                    yield_t_ha=float(course.made_t[year]) / land.area_ha,
                    weed_loss=float(course.loss[year, data.likely]),
                    net_return_per_ha=(sales + float(course.money[year])) / land.area_ha,
                    reserve={data.weeds[w]: three(band.autumn[year, w]) for w in there},
                    shoots_per_m2={data.weeds[w]: three(band.shoots[year, w]) for w in there},
                    bare_weeks=float(data.bare_days[pair]) / 7.0,
                )
            )
    return tuple(rows)


def _mean_price(data: SelectionData, found: Figures) -> Array:
    """(T, K): what a tonne of each product brought on the whole farm; the herd's hay as if bought."""
    limits, recourse = data.limits, found.recourse
    worth = recourse.open_t * limits.open_price_per_t + recourse.kept_t * limits.feed_price_per_t
    tonnes = recourse.open_t + recourse.kept_t
    for number, outlet in enumerate(limits.outlets):
        worth[:, outlet.product] += recourse.sold_t[number] * (outlet.price_per_t - outlet.haul_per_t)
        tonnes[:, outlet.product] += recourse.sold_t[number]
    return np.asarray(np.divide(worth, tonnes, out=np.zeros_like(worth), where=tonnes > LEAST_T))


# ---------------------------------------------------------------- in words


def _shares(data: SelectionData, draft: Draft) -> dict[str, float]:
    """Share of the farmed area-years under each type of crop."""
    area: dict[str, float] = {}
    for land, path in zip(data.fields, draft.paths, strict=True):
        for practice in path:
            if practice != NOT_FARMED:
                group = data.groups[int(data.group_of[practice])]
                area[group] = area.get(group, 0.0) + land.area_ha
    total = sum(area.values())
    return {group: ha / total for group, ha in area.items()}


def _apart(ground: Groundwork, data: SelectionData, draft: Draft, now: Draft | None) -> str:
    """What a grower would see from the road: the types of crop that gain and lose most against now."""
    mine = _shares(data, draft)
    if now is None or draft.key == AS_NOW:
        most = sorted(mine.items(), key=lambda item: -item[1])[:3]
        return "Mostly " + ", ".join(_of_land(ground, group, share) for group, share in most)
    before = _shares(data, now)
    change = {group: mine.get(group, 0.0) - before.get(group, 0.0) for group in {*mine, *before}}
    ordered = sorted(change.items(), key=lambda item: (-item[1], item[0]))
    more = [f"{_group_words(ground, g)} {_to(before, mine, g)}" for g, c in ordered[:2] if c > WORTH_SAYING]
    less = [
        f"{_group_words(ground, g)} {_to(before, mine, g)}" for g, c in ordered[:-3:-1] if c < -WORTH_SAYING
    ]
    parts = [f"more {', '.join(more)}" if more else "", f"less {', '.join(less)}" if less else ""]
    text = "; ".join(part for part in parts if part)
    return text[:1].upper() + text[1:] if text else "Same types of crop as now, grown in other ways"


def _of_land(ground: Groundwork, group: str, share: float) -> str:
    return f"{_group_words(ground, group)} ({share:.0%})"


def _to(before: Mapping[str, float], mine: Mapping[str, float], group: str) -> str:
    return f"({before.get(group, 0.0):.0%} to {mine.get(group, 0.0):.0%})"


def _group_words(ground: Groundwork, group: str) -> str:
    """A type of crop in the plural and in the words of the region."""
    us, uk = GROUP_WORDS.get(group, (group, group))
    return us if ground.farm.region == "us" else uk


_CHOOSE = {
    AS_NOW: "you can live with the weeds as they are going",
    MOST_MONEY: "money matters most and the patches may stay",
    OTHER_WAY: "you would rather have other crops for much the same money",
    BALANCED: "you want the patches to shrink without giving up more money than that is worth",
    FASTEST: "the patches must go as fast as this farm allows",
}
