"""Each kind of limit on a small farm: tightened it changes the plan and never improves it.

What a step more of it is worth, in print, is what a search from nothing under the wider limit says.

The farms are invented; every plan on them is proven the best, so values can be compared through their bounds.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from math import floor
from typing import get_args

import jsonschema
import numpy as np
import pytest
from hypothesis import given, settings
from small_farm import FEW_FARMS, MONEY, TABLES, chosen, small, with_field, with_machine, without_machines
from strategies import small_farms
from whole_page import plan_page

from rotation_opt import units
from rotation_opt.arrays import NOT_FARMED, SelectionData
from rotation_opt.downside import with_bad_years
from rotation_opt.errors import NoPlanError
from rotation_opt.farm.blocks import HAY_NEED, HAY_STORE, LEAST, MANY, MOST, SINGLE, LimitsBlock
from rotation_opt.farm_arrays import selection_data
from rotation_opt.formulate import Figures
from rotation_opt.groundwork import Groundwork, lay
from rotation_opt.lifted_limits import lifted_limits
from rotation_opt.lifting import Lifting, lifts_of
from rotation_opt.planning import plan
from rotation_opt.records import Farm, LimitKind, Outlet, Result, TightLimit
from rotation_opt.report import result_json
from rotation_opt.report.binding import NOTHING
from rotation_opt.report.blocks import Grid
from rotation_opt.report.limits import limits_in_words
from rotation_opt.report.wording import Wording
from rotation_opt.select import Selected, evaluate, select
from rotation_opt.tight_limits import UNITS, Name, loosened, tight_limits
from rotation_opt.what_if import worth

PROVEN = 1e-6
NEAR = 3e-4  # a quick answer stops within 2e-4 of the best


@dataclass(frozen=True, slots=True)
class Worked:
    """A farm with its best plan for money."""

    farm: Farm
    ground: Groundwork
    data: SelectionData
    best: Selected

    @property
    def bound(self) -> float:
        assert self.best.bound is not None
        assert self.best.gap is not None
        assert self.best.gap <= PROVEN
        return self.best.bound


def worked(farm: Farm) -> Worked:
    ground = lay(farm, TABLES)
    data = selection_data(ground)
    return Worked(farm, ground, data, select(data, MONEY, gap=PROVEN))


def with_outlet(crop: str, **changes: float | None) -> Farm:
    figures = {"price_per_t": 700.0, "least_t": 0.0, "most_t": None, "haul_per_t": 0.0, **changes}
    return small(outlets=(Outlet(name="Mill", crop=crop, years=(), **figures),))  # type: ignore[arg-type]


def with_hands(share: float, extra_h: float) -> Farm:
    """A share of the usual hours, and some extra help in every half-month."""
    base = small()
    hours = tuple(share * own for own in base.labour.hours_by_half_month)
    extra = (extra_h,) * len(hours)
    hands = replace(
        base.labour, hours_by_half_month=hours, extra_hours_by_half_month=extra, extra_wage_per_h=30.0
    )
    return replace(base, labour=hands)


def with_hired_baler(**changes: float | str | None) -> Farm:
    hay = Outlet(
        name="Dairy", crop="alfalfa", price_per_t=320.0, least_t=0.0, most_t=None, years=(), haul_per_t=0.0
    )
    return with_machine(small(outlets=(hay,)), "round_baler", status="hire", **changes)


def with_plough(hours_a_day: float, hire_cap_ha: float | None) -> Farm:
    hire = hire_cap_ha is not None
    return with_machine(small(), "plough", hours_a_day=hours_a_day, also_hire=hire, hire_cap_ha=hire_cap_ha)


def with_debt(a_year: float) -> Farm:
    """All of the fixed cost is payments on debt."""
    return small(cash_floor=10000.0, fixed_cost=a_year, debt_per_year=a_year)


def with_landlord(share: float) -> Farm:
    """The buyer takes few soybeans: the more goes to the landlord, the less his field is for what is rare."""
    return with_field(with_outlet("soybean", most_t=20.0), "East", landlord_share=share)


def not_wanting(what: str) -> Farm:
    return replace(small(), refuses=small().refuses | {what})


LATE = 14  # days after which alfalfa no longer fits in
OF_FIELD_OR_CHOICE = 20  # kinds that are lifted one at a time: all of a small farm's are asked


def with_herd(need_t: float, room_t: float, now_t: float, price: float = 300.0) -> Farm:
    return small(
        feed_need_t=need_t,
        feed_price_per_t=price,
        hay_storage_t=room_t,
        hay_stored_now_t=now_t,
        hay_storage_loss=0.05,
        no_market=frozenset({"alfalfa"}),
    )


# ---------------------------------------------------------------- limits with a worth


@dataclass(frozen=True, slots=True)
class Case:
    """A limit that holds the plan back, the same made stricter, and how it is printed."""

    make: Callable[[], Farm]
    stricter: Callable[[], Farm]
    name: str
    step: str
    each: str
    before: Callable[[], Farm] | None = None  # where nothing stricter than ``make`` leaves any plan
    what: str = ""  # where a farm has several limits of the kind
    lifted: Callable[[], Farm] | None = None  # the file without the limit, where it is there or not


CASES = {
    "labour": Case(
        lambda: with_hands(0.12, 5.0),
        lambda: with_hands(0.1, 5.0),
        "Own hours of work, late November",
        "10 hours more",
        "an hour",
    ),
    "extra_labour": Case(
        lambda: with_hands(0.15, 2.0),
        lambda: with_hands(0.15, 1.0),
        "Extra help, late November",
        "10 hours more",
        "an hour",
    ),
    "machine": Case(
        lambda: with_plough(2.0, None),
        lambda: with_plough(1.5, None),
        "Moldboard plow, late November",
        "10 hours more",
        "an hour",
    ),
    "hire": Case(
        lambda: with_plough(1.0, 8.0),
        lambda: with_plough(1.0, 4.0),
        "Moldboard plow hired beside the own one",
        "10 hours more",
        "an hour",
    ),
    "hired_area": Case(
        lambda: with_hired_baler(hire_cap_ha=40.0),
        lambda: with_hired_baler(hire_cap_ha=15.0),
        "Round baler that is hired",
        "4.0 ha more",
        "a ha",
    ),
    "cash": Case(
        lambda: small(cash_floor=15300.0),
        lambda: small(cash_floor=15300.0),
        "Net return of the leanest year",
        "$1,000 less",
        "for $1",
        before=lambda: small(cash_floor=10000.0),
    ),
    "cash_quarter": Case(
        lambda: small(fixed_cost=6000.0, cash_now=20000.0, cash_floor_quarter=8000.0),
        lambda: small(fixed_cost=6000.0, cash_now=20000.0, cash_floor_quarter=8000.0),
        "Cash in hand at the end of the leanest quarter",
        "$1,000 less",
        "for $1",
        before=lambda: small(fixed_cost=6000.0, cash_now=20000.0, cash_floor_quarter=7000.0),
    ),
    "largest": Case(
        lambda: small(largest_share={"soybean": 0.3}),
        lambda: small(largest_share={"soybean": 0.2}),
        "Largest share of soybeans",
        "5 points more",
        "a point",
    ),
    "least": Case(
        lambda: small(least_share={"hay": 0.3}),
        lambda: small(least_share={"hay": 0.5}),
        "Least share of hay",
        "5 points less",
        "a point",
    ),
    "outlet": Case(
        lambda: with_outlet("soybean", most_t=20.0),
        lambda: with_outlet("soybean", most_t=8.0),
        "What Mill takes",
        "2.00 t of soybeans more",
        "a t",
    ),
    "promise": Case(
        lambda: with_outlet("spring_barley", price_per_t=120.0, least_t=15.0),
        lambda: with_outlet("spring_barley", price_per_t=120.0, least_t=22.0),
        "Promised to Mill",
        "2.00 t of spring barley less",
        "a t",
    ),
    "feed": Case(
        lambda: with_herd(30.0, 10.0, 0.0),
        lambda: with_herd(60.0, 10.0, 0.0),
        "Hay the herd eats",
        "3.0 t less",
        "a t",
    ),
    "storage": Case(
        lambda: with_herd(30.0, 40.0, 90.0, 600.0),
        lambda: with_herd(30.0, 0.0, 90.0, 600.0),
        "Room for hay",
        "4.0 t more",
        "a t",
    ),
    "debt": Case(
        lambda: with_debt(5300.0),
        lambda: with_debt(5300.0),
        "Payments on debt",
        "$1,000 less",
        "for $1",
        before=lambda: with_debt(0.0),
    ),
    "lease": Case(
        lambda: with_field(small(), "East", lease_end_year=2028),
        lambda: with_field(small(), "East", lease_end_year=2027),
        "East: end of the lease",
        "one year more",
        "a year",
    ),
    "landlord": Case(
        lambda: with_landlord(0.3),
        lambda: with_landlord(0.5),
        "East: the landlord's share",
        "1 point less",
        "a point",
    ),
    "late": Case(
        lambda: with_hired_baler(comes_late_days=LATE),
        lambda: with_hired_baler(comes_late_days=LATE),
        "Round baler comes late",
        "a day sooner",
        "a day",
        before=lambda: with_hired_baler(comes_late_days=LATE - 4),
    ),
    "ban": Case(
        lambda: with_field(small(), "East", bans=frozenset({"soybean"})),
        lambda: with_field(small(), "East", bans=frozenset({"soybean"})),
        "East: no soybeans",
        "without it",
        "-",
        before=small,
        lifted=small,
    ),
    "refused": Case(
        lambda: not_wanting("oat"),
        lambda: not_wanting("oat"),
        "Not wanted: oats",
        "without it",
        "-",
        what="oat",
        before=small,
        lifted=small,
    ),
    "bare_soil": Case(
        lambda: small(soil_cover=((120, 135),)),
        lambda: small(soil_cover=((120, 135),)),
        "No bare soil from May 1 to May 16",
        "without it",
        "-",
        before=small,
        lifted=small,
    ),
    "no_market": Case(
        lambda: small(no_market=frozenset({"soybean"})),
        lambda: small(no_market=frozenset({"soybean"})),
        "No buyer near for soybeans",
        "without it",
        "-",
        before=small,
        lifted=small,
    ),
    "no_machine": Case(
        lambda: without_machines(small(), "row_planter"),
        lambda: without_machines(small(), "row_planter"),
        "No row planter",
        "without it",
        "-",
        before=lambda: with_machine(small(), "row_planter", status="hire"),
        lifted=lambda: with_machine(small(), "row_planter", status="hire"),
    ),
}


@cache
def held(kind: str) -> tuple[Worked, tuple[TightLimit, ...], Selected]:
    it = worked(CASES[kind].make())
    if kind in UNITS:
        return it, *tight_limits(it.data, it.best, most=5)
    return it, lifted_limits(it.ground, it.data, it.best, most=OF_FIELD_OR_CHOICE), it.best


def the_one(kind: str) -> TightLimit:
    _, told, _ = held(kind)
    what = CASES[kind].what
    return next(limit for limit in told if limit.kind == kind and what in {"", limit.what})


def wider(it: Worked, limit: TightLimit) -> SelectionData:
    """The farm with that limit a step wider, written into its file where the file says it as such."""
    farm, step, half = it.farm, limit.step, limit.half_month
    outlet = farm.outlets[0] if farm.outlets else None

    def again(**changes: object) -> SelectionData:
        return selection_data(lay(replace(farm, **changes), TABLES))  # type: ignore[arg-type]

    def more(hours: Sequence[float]) -> tuple[float, ...]:
        return tuple(h + step * (at == half) for at, h in enumerate(hours))

    match limit.kind:
        case "labour":
            hours = more(farm.labour.hours_by_half_month)
            return again(labour=replace(farm.labour, hours_by_half_month=hours))
        case "extra_labour":
            hours = more(farm.labour.extra_hours_by_half_month)
            return again(labour=replace(farm.labour, extra_hours_by_half_month=hours))
        case "machine" | "hire":
            number, limits = it.data.machines.index(limit.what), it.data.limits
            machine_h, hire_h = limits.machine_h.copy(), limits.hire_extra_h.copy()
            if limit.kind == "machine":
                machine_h[number, half] += step
            else:
                hire_h[number] += step
            return replace(it.data, limits=replace(limits, machine_h=machine_h, hire_extra_h=hire_h))
        case "hired_area":
            mine = farm.machines[limit.what]
            assert mine.hire_cap_ha is not None
            machines = {**farm.machines, limit.what: replace(mine, hire_cap_ha=mine.hire_cap_ha + step)}
            return again(machines=machines)
        case "cash":
            return again(cash_floor=farm.cash_floor - step)
        case "cash_quarter":
            assert farm.cash_floor_quarter is not None
            return again(cash_floor_quarter=farm.cash_floor_quarter - step)
        case "largest":
            return again(largest_share={key: share + step for key, share in farm.largest_share.items()})
        case "least":
            return again(least_share={key: share - step for key, share in farm.least_share.items()})
        case "outlet":
            assert outlet is not None
            assert outlet.most_t is not None
            return again(outlets=(replace(outlet, most_t=outlet.most_t + step),))
        case "promise":
            assert outlet is not None
            return again(outlets=(replace(outlet, least_t=outlet.least_t - step),))
        case "feed":
            return again(feed_need_t=farm.feed_need_t - step)
        case "storage":
            return again(hay_storage_t=farm.hay_storage_t + step)
        case "debt":
            paid = farm.debt_per_year - step
            return again(fixed_cost=farm.fixed_cost - step, debt_per_year=paid)
        case "late":
            mine = farm.machines[limit.what]
            sooner = replace(mine, comes_late_days=mine.comes_late_days - 1)
            return again(machines={**farm.machines, limit.what: sooner})
        case "lease" | "landlord":
            field = next(each for each in farm.fields if each.name == limit.field)
            if limit.kind == "lease":
                assert field.lease_end_year is not None
                freer = replace(field, lease_end_year=field.lease_end_year + 1)
            else:
                freer = replace(field, landlord_share=field.landlord_share - step)
            return again(fields=tuple(freer if each is field else each for each in farm.fields))
        case _:
            lifted = CASES[limit.kind].lifted
            assert lifted is not None
            return selection_data(lay(lifted(), TABLES))


def saved(it: Worked, limit: TightLimit) -> float:
    """Money of today that is merely not paid: it is not counted as brought."""
    return limit.step * float(it.data.discount.sum()) if limit.kind == "debt" else 0.0


def slack(value: float) -> float:
    return NEAR * abs(value) + 0.5


@pytest.mark.parametrize("kind", CASES)
def test_a_limit_made_stricter_changes_the_plan_and_never_improves_it(kind: str) -> None:
    case = CASES[kind]
    it = held(kind)[0] if case.before is None else worked(case.before())
    stricter = worked(case.stricter())
    assert stricter.best.value <= it.bound + PROVEN * abs(it.bound)
    assert stricter.bound < it.best.value - 1.0
    assert grown(stricter) != grown(it)
    # it had to change: as it was it breaks the stricter limit, or is worth less than what is chosen now
    as_it_was = under(stricter, grown(it))
    assert (
        as_it_was is None or as_it_was.breaks or worth(stricter.data, MONEY, as_it_was) < stricter.best.value
    )


def grown(it: Worked) -> tuple[tuple[str, ...], ...]:
    """The plan by the keys of its practices; "" = not farmed."""
    keys = it.data.practice_keys
    return tuple(tuple("" if p == NOT_FARMED else keys[p] for p in path) for path in it.best.paths)


def under(it: Worked, plan: tuple[tuple[str, ...], ...]) -> Figures | None:
    """Figures of a plan on another farm; None where its fields or rules do not allow it."""
    names = [land.name for land in it.data.fields]
    if any(it.ground.succession.first_no(name, path) for name, path in zip(names, plan, strict=True)):
        return None
    place = {"": NOT_FARMED, **{key: at for at, key in enumerate(it.data.practice_keys)}}
    return evaluate(it.data, tuple(tuple(place[key] for key in path) for path in plan))


@pytest.mark.parametrize("kind", CASES)
def test_what_a_step_more_brings_is_what_a_search_from_nothing_says(kind: str) -> None:
    it, limit = held(kind)[0], the_one(kind)
    fresh = select(wider(it, limit), MONEY, gap=PROVEN)
    assert fresh.bound is not None
    assert fresh.bound >= it.best.value - PROVEN * abs(it.best.value)  # wider never worsens
    years, not_paid = float(it.data.discount.sum()), saved(it, limit)
    gain = fresh.value - not_paid - it.bound
    assert gain > 3.0 * slack(fresh.value)  # else the next lines would ask nothing
    assert limit.most is not None
    assert limit.gain * years <= fresh.bound - not_paid - it.best.value + 0.5
    assert limit.gain * years >= gain - slack(fresh.value)
    assert limit.most * years >= gain - 0.5
    assert limit.most >= limit.gain - 1e-6


@pytest.mark.parametrize("kind", CASES)
def test_the_printout_names_the_limit_and_says_what_one_more_is_worth(kind: str) -> None:
    case, limit = CASES[kind], the_one(kind)
    it, told, best = held(kind)
    (row,) = [row for row in rows(it, told) if row[0] == case.name]
    assert best.paths == it.best.paths
    fresh = select(wider(it, limit), MONEY, gap=PROVEN)
    gain = (fresh.value - saved(it, limit) - it.best.value) / float(it.data.discount.sum())
    assert row[1] == case.step
    least, _, most = row[2].replace(",", "").partition(" to ")
    assert int(least) == pytest.approx(floor(gain), abs=1 + slack(fresh.value) / 2.5)
    assert int(most or least) >= floor(gain)
    if limit.unit == "whole":
        assert row[3] == case.each
        return
    figure, _, unit = row[3].partition(" ")
    one = 100.0 if limit.unit == "share" else 1.0
    assert unit == case.each
    assert float(figure.replace(",", "")) == pytest.approx(limit.gain / (one * limit.step), rel=0.01)


def rows(it: Worked, told: tuple[TightLimit, ...]) -> tuple[tuple[str, ...], ...]:
    """Lines of the table in print."""
    page = plan_page(replace(printed(), farm=it.farm, tight_limits=told), TABLES)
    grid = next(section for section in page.sections if section.key == "binding").blocks[0]
    assert isinstance(grid, Grid)
    return grid.rows


@cache
def printed() -> Result:
    """The whole way from a small farm to its page."""
    return plan(CASES["largest"].make())


def test_the_whole_way_to_the_page_and_what_holds_only_the_plan_with_most_money_back() -> None:
    result = printed()
    assert result.tight_limits
    page = plan_page(result, TABLES)
    keys = [section.key for section in page.sections]
    assert keys.index("binding") == keys.index("limits") + 1
    without = plan_page(result, TABLES, shown=("As now", "Fastest clean-up"))
    assert "binding" not in [section.key for section in without.sections]
    assert "binding" not in [s.key for s in plan_page(replace(result, tight_limits=()), TABLES).sections]


def test_the_json_holds_them_within_its_schema() -> None:
    told = tuple(the_one(kind) for kind in CASES)
    written = json.loads(result_json.dumps(replace(printed(), tight_limits=told), TABLES))
    jsonschema.validate(written, result_json.schema())
    assert [each["kind"] for each in written["tight_limits"]] == list(CASES)
    assert [each["brings_at_least"] for each in written["tight_limits"]] == pytest.approx(
        [limit.gain for limit in told], rel=1e-6
    )


def test_what_brings_nothing_is_said_so_and_figures_are_rounded_to_the_safe_side() -> None:
    it, limit = held("largest")[0], the_one("largest")
    figures = ((99.9, 120.1), (99.9, 99.9), (0.4, None), (99.9, None), (0.0, 1120.1))
    lines = rows(it, tuple(replace(limit, gain=gain, most=most) for gain, most in figures))
    assert [line[2] for line in lines] == [
        "99 to 121",
        "99 to 100",
        NOTHING,
        "at least 99",
        f"{NOTHING}; at most 1,121",
    ]
    assert [line[3] == "-" for line in lines] == [False, False, True, False, True]


# ---------------------------------------------------------------- the whole file is covered

ON_THE_PAGE = {
    "ban": "East: no soybeans.",
    "refused": "Not wanted: ",
    "bare_soil": "No bare soil from May 1 to May 16.",
    "lease": "East: lease sure up to the harvest of 2028.",
    "landlord": "East: 30% of the crop goes to the landlord.",
}


@pytest.mark.parametrize("kind", ON_THE_PAGE)
def test_a_limit_is_among_those_the_page_lists(kind: str) -> None:
    said = limits_in_words(held(kind)[0].farm, Wording(held(kind)[0].farm, TABLES))
    assert any(line.startswith(ON_THE_PAGE[kind]) for line in said)


KEYS = {
    "field.bans": "ban",
    "field.lease_end": "lease",
    "field.landlord_share_pct": "landlord",
    "machine.status": "no_machine",
    "machine.hours_a_day": "machine",
    "machine.also_hire": "hire",
    "machine.hire_cap_acres": "hired_area",
    "machine.hire_cap_ha": "hired_area",
    "machine.comes_late_days": "late",
    "labour.hours_by_half_month": "labour",
    "labour.hours_per_week": "labour",
    "labour.hours_per_week_by_month": "labour",
    "labour.extra_hours_by_half_month": "extra_labour",
    "labour.extra_hours_per_week": "extra_labour",
    "labour.extra_hours_per_week_by_month": "extra_labour",
    **{f"outlet.{key}": "promise" for key in LEAST},
    **{f"outlet.{key}": "outlet" for key in MOST},
    "market.no_market": "no_market",
    "costs.debt_payment_per_year": "debt",
    **{f"livestock.{key}": "feed" for key in HAY_NEED},
    **{f"storage.{key}": "storage" for key in HAY_STORE},
    "limits.cash_floor": "cash",
    "limits.cash_floor_quarter": "cash_quarter",
    "limits.bad_years_weight_pct": "bad_years",
    "limits.refuses": "refused",
    "limits.largest_share_pct": "largest",
    "limits.least_share_pct": "least",
    "limits.soil_cover": "bare_soil",
}
"""Keys of a farm file that set a limit, and the case that asks about it."""

NO_LIMIT = {
    "limits.fixed_cost_per_year": "counts with the least cash, as payments on debt do",
    "limits.cash_now": "what there is, held against the least cash of a quarter",
    "limits.count_weeds_left": "what plans are chosen by",
    "limits.target_shoots_per_m2": "only says when a field counts as clean",
    "limits.target_shoots_per_sq_ft": "only says when a field counts as clean",
}
"""The other keys under ``[limits]``."""

ALONE = {"bad_years"}
"""Kinds with a test of their own below: what plans are chosen by is eased, not a limit."""


def test_every_kind_of_limit_has_its_case() -> None:
    assert set(CASES) | ALONE == set(get_args(LimitKind))
    assert set(KEYS.values()) == set(CASES) | ALONE


def test_every_key_of_the_file_that_sets_a_limit_has_its_case() -> None:
    blocks = {**SINGLE, **MANY}
    for key in (*KEYS, *NO_LIMIT):
        block, _, name = key.partition(".")
        assert name in blocks[block].model_fields, key
    ours = {key.partition(".")[2] for key in (*KEYS, *NO_LIMIT) if key.startswith("limits.")}
    assert ours == set(LimitsBlock.model_fields)


def test_what_is_given_up_for_bad_years_is_what_a_search_without_them_says() -> None:
    it = worked(small())
    farm = small(bad_years_weight=1.0)
    ground = lay(farm, TABLES)
    data, careful = with_bad_years(ground, selection_data(ground))
    assert careful is not None
    told = lifted_limits(ground, data, careful, most=0)
    (limit,) = [each for each in told if each.kind == "bad_years"]
    given_up = it.best.value - careful.figures.present_value
    assert given_up > 3.0 * slack(it.best.value)
    years = float(data.discount.sum())
    assert limit.gain * years == pytest.approx(given_up, abs=slack(it.best.value))
    assert limit.most is not None
    assert limit.most >= limit.gain - 1e-6
    (line,) = rows(replace(it, farm=farm), (limit,))
    assert line[:2] == ("Bad years that count", "100 points less")
    assert line[3].endswith(" a point")


# ---------------------------------------------------------------- what binds nothing


def test_a_limit_that_holds_nothing_back_is_not_listed() -> None:
    it = worked(with_field(small(), "East", bans=frozenset({"buckwheat"})))
    assert not [each for each in lifted_limits(it.ground, it.data, it.best, most=20) if each.kind == "ban"]


def test_a_farm_with_its_limits_lifted_in_thought_is_worth_the_same_with_none_lifted() -> None:
    it = held("bare_soil")[0]
    lifting = Lifting(it.ground, it.data, lifts_of(it.farm, TABLES))
    same = lifting.under(it.farm)
    place = {key: at for at, key in enumerate(same.practice_keys)}
    moved = tuple(tuple(place[it.data.practice_keys[p]] for p in path) for path in it.best.paths)
    assert len(same.practice_keys) > len(it.data.practice_keys)
    assert evaluate(same, moved).worth == pytest.approx(it.best.value, abs=1e-6)
    assert select(same, MONEY, gap=PROVEN).value == pytest.approx(it.best.value, abs=0.5)


# ---------------------------------------------------------------- any farm


@settings(parent=FEW_FARMS, max_examples=6)
@given(small_farms())
def test_no_step_costs_anything_nor_brings_more_than_its_bound(data: SelectionData) -> None:
    base = chosen(data)
    told, best = tight_limits(data, base, most=3)
    assert best.value >= base.value
    assert not evaluate(data, best.paths).breaks
    for limit in told:
        assert limit.gain >= 0.0
        assert limit.most is None or limit.gain <= limit.most + 0.01


# ---------------------------------------------------------------- in the grower's units


def american(base: Farm) -> Farm:
    return replace(base, units="us")


def test_a_clash_is_said_in_bushels_acres_and_dollars_of_the_farm() -> None:
    with pytest.raises(NoPlanError) as fault:
        worked(american(with_outlet("spring_barley", least_t=200.0)))
    bushels = 200.0 / units.tonnes_per("bu", TABLES.crops["spring_barley"])
    assert f"Mill is promised {bushels:,.0f} bu of spring barley in 2027: " in str(fault.value)
    assert " bu short" in str(fault.value)
    assert " t short" not in str(fault.value)
    with pytest.raises(NoPlanError) as fault:
        worked(american(small(cash_floor=90000.0)))
    assert "cash in 2027: $" in str(fault.value)
    with pytest.raises(NoPlanError) as fault:
        worked(american(small(largest_share={"hay": 0.1}, least_share={"hay": 0.9})))
    assert " acres " in str(fault.value)
    assert " ha " not in str(fault.value)


def test_amounts_promised_and_short_are_rounded_alike_and_names_may_hold_braces() -> None:
    farm = small(
        outlets=(
            Outlet(
                name="Mill {0}",
                crop="winter_wheat",
                price_per_t=100.0,
                least_t=2.2,
                most_t=None,
                years=(),
                haul_per_t=0.0,
            ),
        )
    )
    with pytest.raises(NoPlanError) as fault:
        worked(farm)
    assert "Mill {0} is promised 2.2 t of winter wheat in 2027: 2.2 t short" in str(fault.value)


def test_steps_are_round_figures_in_the_units_of_the_farm() -> None:
    data = worked(american(with_outlet("soybean", most_t=30.0))).data
    bushel = units.tonnes_per("bu", TABLES.crops["soybean"])
    step, question = loosened(data, Name("outlet"))
    assert step / bushel == pytest.approx(100.0)
    assert question.limits.outlets[0].most_t == pytest.approx(np.full(3, 30.0 + 100.0 * bushel))


@pytest.mark.parametrize(
    ("value", "unit", "said"),
    [
        (18.143694816, "t", "20.0 tons (2,000 lb)"),
        (4.0468564224, "ha", "10.0 acres"),
        (412.0, "USD", "412 USD"),
        (0.5, "h", "0.500 h"),
    ],
)
def test_a_second_reckoning_that_differs_is_said_in_the_units_of_the_farm(
    value: float, unit: str, said: str
) -> None:
    assert Wording(american(small()), TABLES).in_unit(value, unit) == said
