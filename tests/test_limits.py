"""Each kind of limit on a small farm: tightened it changes the plan and never improves it.

What a step more of it is worth, in print, is what a search from nothing under the wider limit says.

The farms are invented; every plan on them is proven the best, so values can be compared through their bounds.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from math import ceil, floor

import jsonschema
import numpy as np
import pytest
from hypothesis import given, settings
from small_farm import FEW_FARMS, MONEY, TABLES, chosen, small, with_field, with_machine
from strategies import small_farms
from whole_page import plan_page

from rotation_opt import units
from rotation_opt.arrays import SelectionData
from rotation_opt.errors import NoPlanError
from rotation_opt.farm_arrays import selection_data
from rotation_opt.groundwork import lay
from rotation_opt.planning import plan
from rotation_opt.records import Farm, Outlet, Result, TightLimit
from rotation_opt.report import result_json
from rotation_opt.report.binding import NOTHING
from rotation_opt.report.blocks import Grid
from rotation_opt.report.limits import limits_in_words
from rotation_opt.report.wording import Wording
from rotation_opt.select import Selected, evaluate, select
from rotation_opt.tight_limits import Name, loosened, tight_limits
from rotation_opt.what_if import worth

PROVEN = 1e-6
NEAR = 3e-4  # a quick answer stops within 2e-4 of the best


@dataclass(frozen=True, slots=True)
class Worked:
    """A farm with its best plan for money."""

    farm: Farm
    data: SelectionData
    best: Selected

    @property
    def bound(self) -> float:
        assert self.best.bound is not None
        assert self.best.gap is not None
        assert self.best.gap <= PROVEN
        return self.best.bound


def worked(farm: Farm) -> Worked:
    data = selection_data(lay(farm, TABLES))
    return Worked(farm, data, select(data, MONEY, gap=PROVEN))


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


def with_hired_baler(cap_ha: float) -> Farm:
    hay = Outlet(
        name="Dairy", crop="alfalfa", price_per_t=320.0, least_t=0.0, most_t=None, years=(), haul_per_t=0.0
    )
    return with_machine(small(outlets=(hay,)), "round_baler", status="hire", hire_cap_ha=cap_ha)


def with_plough(hours_a_day: float, hire_cap_ha: float | None) -> Farm:
    hire = hire_cap_ha is not None
    return with_machine(small(), "plough", hours_a_day=hours_a_day, also_hire=hire, hire_cap_ha=hire_cap_ha)


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
        lambda: with_hired_baler(40.0),
        lambda: with_hired_baler(15.0),
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
        lambda: small(largest_share={"soybean": 0.4}),
        lambda: small(largest_share={"soybean": 0.3}),
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
}


@cache
def held(kind: str) -> tuple[Worked, tuple[TightLimit, ...], Selected]:
    it = worked(CASES[kind].make())
    told, best = tight_limits(it.data, it.best, most=5)
    return it, told, best


def the_one(kind: str) -> TightLimit:
    _, told, _ = held(kind)
    return next(limit for limit in told if limit.kind == kind)


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


def slack(value: float) -> float:
    return NEAR * abs(value) + 0.5


@pytest.mark.parametrize("kind", CASES)
def test_a_limit_made_stricter_changes_the_plan_and_never_improves_it(kind: str) -> None:
    case = CASES[kind]
    it = held(kind)[0] if case.before is None else worked(case.before())
    stricter = worked(case.stricter())
    assert stricter.best.value <= it.bound + PROVEN * abs(it.bound)
    assert stricter.bound < it.best.value - 1.0
    assert stricter.best.paths != it.best.paths
    # it had to change: as it was it breaks the stricter limit, or is worth less than what is chosen now
    as_it_was = evaluate(stricter.data, it.best.paths)
    assert as_it_was.breaks or worth(stricter.data, MONEY, as_it_was) < stricter.best.value


@pytest.mark.parametrize("kind", CASES)
def test_what_a_step_more_brings_is_what_a_search_from_nothing_says(kind: str) -> None:
    it, limit = held(kind)[0], the_one(kind)
    fresh = select(wider(it, limit), MONEY, gap=PROVEN)
    assert fresh.bound is not None
    assert fresh.bound >= it.best.value - PROVEN * abs(it.best.value)  # wider never worsens
    years = float(it.data.discount.sum())
    assert limit.gain > 0.0
    assert limit.most is not None
    assert limit.gain * years <= fresh.bound - it.best.value + 0.5
    assert limit.gain * years >= fresh.value - it.bound - slack(fresh.value)
    assert limit.most * years >= fresh.value - it.bound - 0.5
    assert limit.most >= limit.gain - 1e-6


@pytest.mark.parametrize("kind", CASES)
def test_the_printout_names_the_limit_and_says_what_one_more_is_worth(kind: str) -> None:
    case, limit = CASES[kind], the_one(kind)
    it, told, best = held(kind)
    (row,) = [row for row in rows(it, told) if row[0] == case.name]
    assert best.paths == it.best.paths
    fresh = select(wider(it, limit), MONEY, gap=PROVEN)
    gain = (fresh.value - it.best.value) / float(it.data.discount.sum())
    assert row[1] == case.step
    assert int(row[2].replace(",", "")) == pytest.approx(floor(gain), abs=1 + slack(fresh.value) / 2.5)
    assert int(row[3].replace(",", "")) >= floor(gain)
    figure, _, unit = row[4].partition(" ")
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
    lines = rows(it, (replace(limit, gain=99.9, most=120.1), replace(limit, gain=0.4, most=None)))
    assert lines[0][2:4] == ("99", str(ceil(120.1)))
    assert lines[1][2:] == (NOTHING, "not known", "-")


# ---------------------------------------------------------------- limits without a worth a unit


@dataclass(frozen=True, slots=True)
class Plain:
    """A limit that is there or not, and the line that gives it as the reason."""

    without: Callable[[], Farm]
    make: Callable[[], Farm]
    line: str


PLAIN = {
    "a ban on a field": Plain(
        small, lambda: with_field(small(), "East", bans=frozenset({"soybean"})), "East: no soybeans."
    ),
    "a crop not wanted": Plain(
        small, lambda: replace(small(), refuses=small().refuses | {"oat"}), "Not wanted: "
    ),
    "no bare soil": Plain(
        small, lambda: small(soil_cover=((120, 135),)), "No bare soil from May 1 to May 16."
    ),
    "the end of a lease": Plain(
        small,
        lambda: with_field(small(), "East", lease_end_year=2028),
        "East: lease sure up to the harvest of 2028.",
    ),
    "the landlord's share": Plain(
        lambda: small(largest_share={"soybean": 0.4}),
        lambda: with_field(small(largest_share={"soybean": 0.4}), "East", landlord_share=0.3),
        "East: 30% of the crop goes to the landlord.",
    ),
}


@pytest.mark.parametrize("name", PLAIN)
def test_a_limit_without_a_unit_changes_the_plan_never_improves_it_and_is_printed(name: str) -> None:
    case = PLAIN[name]
    free, bound_by = worked(case.without()), worked(case.make())
    assert bound_by.best.value <= free.bound + PROVEN * abs(free.bound)
    assert bound_by.bound < free.best.value - 1.0
    assert bound_by.best.paths != free.best.paths
    said = limits_in_words(bound_by.farm, Wording(bound_by.farm, TABLES))
    assert any(line.startswith(case.line) for line in said)
    assert case.line not in limits_in_words(free.farm, Wording(free.farm, TABLES))


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
