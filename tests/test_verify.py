"""The second reckoning: it agrees with what is printed, and each of its lines can say no."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from small_farm import TABLES, Plans, small, with_field, with_machine

from rotation_opt.alternatives import Draft, Proposal, describe
from rotation_opt.groundwork import Groundwork
from rotation_opt.records import Alternative, Outlet, PlanFigures, YearOnField
from rotation_opt.select import evaluate
from rotation_opt.tradeoff import Curve
from rotation_opt.verify import belongs, recheck

RESERVES = "root reserve left, each field and year"
LOSSES = "share of yield lost to weeds"
MADE = "tonnes harvested, each crop and year"
BURDEN = "living root on the whole farm, each year"
GRAIN = "grain made = sold + left over"
HAY = "hay made + from store = sold + fed + into store + left over"
HERD = "herd's hay = own hay fed + hay bought"
STORE = "hay in store within its room"
HOURS = "hours of work, each half-month"
MONEY = "net return, each year"
LABOUR = "no half-month needs more hours than there are"
MACHINES = "no own machine works more hours than the weather allows"
HIRED = "hired machines within the area their owners take on"
OUTLETS = "contracts met, no buyer given more than he takes"
CASH = "cash above its floor every year"
SHARES = "shares of the land kept"
RULES = "succession rules and windows kept"
WISHES = "nothing grown that is refused, or that a field is closed to"
DATES = "leases, day of decision and soil cover respected"
LINES = {
    RESERVES,
    LOSSES,
    MADE,
    BURDEN,
    GRAIN,
    HAY,
    HERD,
    STORE,
    HOURS,
    MONEY,
    LABOUR,
    MACHINES,
    HIRED,
    OUTLETS,
    CASH,
    SHARES,
    RULES,
    WISHES,
    DATES,
}

DAIRY = Outlet(
    name="dairy", crop="alfalfa", price_per_t=400.0, least_t=0.0, most_t=60.0, years=(), haul_per_t=9.0
)
MILL = Outlet(
    name="mill",
    crop="soybean",
    price_per_t=800.0,
    least_t=5.0,
    most_t=None,
    years=(2028,),
    haul_per_t=4.0,
)

NO_CURVE = Curve(points=(), least_gap=None, missed=(), pools=(), cut_short=False)


@cache
def found() -> Plans:
    """A farm on which every kind of limit has something to bite on: a herd, a store, buyers, hired balers."""
    farm = small(
        outlets=(DAIRY, MILL),
        feed_need_t=90.0,
        feed_price_per_t=600.0,
        hay_storage_t=30.0,
        hay_stored_now_t=10.0,
        hay_storage_loss=0.1,
        largest_share={"soybean": 0.8},
        least_share={"legume": 0.1},
        cash_floor=-30000.0,
    )
    farm = with_machine(farm, "round_baler", status="hire", hire_cap_ha=200.0)
    farm = with_machine(farm, "plough", also_hire=True, hire_cap_ha=50.0)
    farm = with_field(
        farm,
        "West",
        history=("corn_grain", "soybean", "oat_alfalfa"),
        as_now=("alfalfa_1", "alfalfa_2", "corn_grain"),
        rent_per_ha=120.0,
        landlord_share=0.1,
    )
    return Plans(farm)


@cache
def good() -> Alternative:
    """A plan with too little hay in the first year and more than enough in the second."""
    return made_by_hand(
        found(),
        East=("oat_alfalfa", "alfalfa_1", "alfalfa_2"),
        West=("alfalfa_1", "alfalfa_2", "corn_grain"),
        North=("spring_barley", "soybean", "spring_barley"),
    )


def disagreeing(plan: Alternative, ground: Groundwork | None = None) -> set[str]:
    lines = recheck(ground or found().ground, plan)
    return {line.what for line in lines if not line.agrees}


@pytest.mark.parametrize("key", ["as_now", "most_money", "balanced", "fastest"])
def test_a_plan_as_it_was_found_agrees_in_every_line(key: str) -> None:
    lines = recheck(found().ground, found().plan[key])
    assert [line for line in lines if not line.agrees] == []
    if key != "as_now":
        assert {line.what for line in lines} == LINES


def test_the_farm_of_these_tests_has_hay_fed_stored_and_sold_and_soybeans_sold() -> None:
    figures = good().figures
    assert max(figures.fed_t) > 1
    assert max(figures.feed_bought_t) > 1
    assert max(figures.hay_stored_t) > 1
    assert max(figures.sold_t["alfalfa @ dairy"]) > 1
    assert figures.sold_t["soybean @ mill"][1] > 1
    assert good().breaks == ()
    assert disagreeing(good()) == set()


# ---------------------------------------------------------------- a figure printed wrong


def raised(values: tuple[float, ...], by: float, year: int = 1) -> tuple[float, ...]:
    return (*values[:year], values[year] + by, *values[year + 1 :])


def changed_in(table: Mapping[str, tuple[float, ...]], key: str, by: float) -> dict[str, tuple[float, ...]]:
    return {**table, key: raised(table[key], by)}


def row_changed(plan: Alternative, **changes: Callable[[YearOnField], object]) -> Alternative:
    """The plan with the second year of the field East changed."""
    rows = tuple(
        replace(row, **{name: how(row) for name, how in changes.items()})
        if (row.field, row.year) == ("East", 2028)
        else row
        for row in plan.fields
    )
    return replace(plan, fields=rows)


def figures_changed(**changes: Callable[[PlanFigures], object]) -> Alternative:
    figures = good().figures
    return replace(good(), figures=replace(figures, **{name: how(figures) for name, how in changes.items()}))


def higher_reserve(row: YearOnField) -> object:
    return {weed: (low, likely + 0.001, high) for weed, (low, likely, high) in row.reserve.items()}


def busier(figures: PlanFigures) -> object:
    first, *rest = figures.labour_hours
    return (raised(first, 0.2, year=10), *rest)


WRONG = [
    pytest.param(lambda: row_changed(good(), reserve=higher_reserve), {RESERVES}, id="reserve"),
    pytest.param(
        lambda: row_changed(good(), weed_loss=lambda row: row.weed_loss + 0.001), {LOSSES}, id="loss"
    ),
    pytest.param(
        lambda: figures_changed(made_t=lambda f: changed_in(f.made_t, "soybean", 0.1)), {MADE}, id="tonnes"
    ),
    pytest.param(
        lambda: figures_changed(made_t=lambda f: {**f.made_t, "flax": (0.0, 1.0, 0.0)}),
        {MADE},
        id="a crop that is not grown",
    ),
    pytest.param(
        lambda: figures_changed(
            burden=lambda f: (
                *f.burden[:2],
                (f.burden[2][0], f.burden[2][1] - 0.01, f.burden[2][2]),
                f.burden[3],
            )
        ),
        {BURDEN},
        id="burden",
    ),
    pytest.param(lambda: figures_changed(labour_hours=busier), {HOURS}, id="hours"),
    pytest.param(
        lambda: figures_changed(net_return=lambda f: raised(f.net_return, 2.0)), {MONEY}, id="net return"
    ),
    pytest.param(
        lambda: figures_changed(sold_t=lambda f: changed_in(f.sold_t, "soybean @ mill", 0.1)),
        {GRAIN, MONEY},
        id="soybeans sold that were not made",
    ),
    pytest.param(
        lambda: figures_changed(sold_t=lambda f: changed_in(f.sold_t, "alfalfa @ dairy", 0.1)),
        {HAY, MONEY},
        id="hay sold that was not made",
    ),
    pytest.param(lambda: figures_changed(fed_t=lambda f: raised(f.fed_t, 0.1)), {HAY, HERD}, id="hay fed"),
    pytest.param(
        lambda: figures_changed(feed_bought_t=lambda f: raised(f.feed_bought_t, -0.1)),
        {HERD, MONEY},
        id="hay bought",
    ),
    pytest.param(
        lambda: figures_changed(hay_stored_t=lambda f: raised(f.hay_stored_t, 0.1)), {HAY}, id="hay stored"
    ),
    pytest.param(
        lambda: figures_changed(hay_stored_t=lambda f: raised(f.hay_stored_t, 40.0)),
        {HAY, STORE},
        id="more in the barn than fits",
    ),
    pytest.param(
        lambda: figures_changed(unsold_t=lambda f: {**f.unsold_t, "soybean": (0.0, 0.1, 0.0)}),
        {GRAIN},
        id="left over",
    ),
]


@pytest.mark.parametrize(("make", "lines"), WRONG)
def test_a_wrong_figure_is_found_in_its_own_lines_and_in_no_other(
    make: Callable[[], Alternative], lines: set[str]
) -> None:
    assert disagreeing(make()) == lines


# ---------------------------------------------------------------- a limit that is not kept


def on_farm(**changes: object) -> Groundwork:
    """The same ground on a farm with other limits, for a plan that was made for the old ones."""
    return replace(found().ground, farm=replace(found().farm, **changes))  # type: ignore[arg-type]


def too_few_hands() -> Groundwork:
    return on_farm(labour=replace(found().farm.labour, hours_by_half_month=(1.0,) * 24))


def too_few_machine_hours() -> Groundwork:
    room = found().ground.capacity
    machine = room.machine.copy()
    machine[found().ground.hours.machines.index("drill")] = 0.01
    return replace(found().ground, capacity=replace(room, machine=machine))


def too_small_a_baler() -> Groundwork:
    machines = found().farm.machines
    return on_farm(machines={**machines, "round_baler": replace(machines["round_baler"], hire_cap_ha=1.0)})


BROKEN = [
    pytest.param(too_few_hands, {LABOUR}, id="hands"),
    pytest.param(too_few_machine_hours, {MACHINES}, id="machines"),
    pytest.param(too_small_a_baler, {HIRED}, id="hired area"),
    pytest.param(lambda: on_farm(outlets=(DAIRY, replace(MILL, least_t=900.0))), {OUTLETS}, id="contract"),
    pytest.param(lambda: on_farm(outlets=(replace(DAIRY, most_t=1.0), MILL)), {OUTLETS}, id="buyer's most"),
    pytest.param(lambda: on_farm(cash_floor=1e6), {CASH}, id="cash"),
    pytest.param(lambda: on_farm(largest_share={"row crop": 0.01}), {SHARES}, id="largest share"),
    pytest.param(lambda: on_farm(least_share={"legume": 0.99}), {SHARES}, id="least share"),
    pytest.param(lambda: on_farm(hay_storage_t=0.1), {STORE}, id="barn"),
]


@pytest.mark.parametrize(("ground", "lines"), BROKEN)
def test_a_limit_that_is_not_kept_is_found_in_its_own_line(
    ground: Callable[[], Groundwork], lines: set[str]
) -> None:
    assert disagreeing(good(), ground()) == lines


def test_a_sale_in_a_year_without_that_buyer_is_found() -> None:
    another_year = on_farm(outlets=(DAIRY, replace(MILL, years=(2029,))))
    assert OUTLETS in disagreeing(good(), another_year)


def test_help_for_an_own_machine_is_held_to_its_most_and_paid_for() -> None:
    room = found().ground.capacity
    machine = room.machine.copy()
    machine[found().ground.hours.machines.index("plough")] = 0.0
    tight = replace(found().ground, capacity=replace(room, machine=machine))
    assert disagreeing(good(), tight) == {MONEY}  # the plan did not count on help, and help is paid
    mine = found().farm.machines["plough"]
    less = replace(found().farm, machines={**found().farm.machines, "plough": replace(mine, hire_cap_ha=0.5)})
    assert disagreeing(good(), replace(tight, farm=less)) == {MONEY, MACHINES}


def test_the_lines_about_limits_are_left_out_only_for_a_plan_that_says_what_it_breaks() -> None:
    lines = recheck(found().ground, replace(good(), breaks=("something",)))
    assert {line.what for line in lines} == {
        RESERVES, LOSSES, MADE, BURDEN, GRAIN, HAY, HERD, STORE, HOURS, MONEY,
    }  # fmt: skip


def another_farm(plan: Alternative, **changes: object) -> set[str]:
    """Lines that disagree when the same plan is held against a farm with other wishes or dates."""
    return disagreeing(plan, replace(found().ground, farm=replace(found().farm, **changes)))  # type: ignore[arg-type]


def test_a_crop_the_grower_refuses_shows_in_the_line_of_wishes() -> None:
    grown = found().ground.tables.practices[good().practices["East"][0]].crop
    assert another_farm(good(), refuses=frozenset({grown})) == {WISHES}


def test_a_crop_that_a_field_is_closed_to_shows_in_the_line_of_wishes() -> None:
    fields = found().farm.fields
    grown = found().ground.tables.practices[good().practices["East"][0]].crop
    closed = (replace(fields[0], bans=frozenset({grown})), *fields[1:])
    assert another_farm(good(), fields=closed) == {WISHES}


def test_work_before_the_day_of_decision_shows_in_the_line_of_dates() -> None:
    assert another_farm(good(), decided_on="2027-06-30") == {DATES}
    plan = good()
    fields = tuple(replace(field, begun=plan.practices[field.name][0]) for field in found().farm.fields)
    assert another_farm(plan, decided_on="2027-06-30", fields=fields) == set()


def test_bare_soil_on_a_covered_day_shows_in_the_line_of_dates() -> None:
    assert another_farm(good(), soil_cover=((0, 364),)) == {DATES}


def test_a_field_used_after_its_lease_shows_in_the_line_of_dates() -> None:
    fields = found().farm.fields
    shorter = (replace(fields[0], lease_end_year=2028), *fields[1:])
    assert another_farm(good(), fields=shorter) == {DATES}


# ---------------------------------------------------------------- a rule of succession


def made_by_hand(plans: Plans, **paths: tuple[str, ...]) -> Alternative:
    """A plan put together by hand and worked out as the chosen ones are."""
    place = {key: index for index, key in enumerate(plans.data.practice_keys)}
    chosen = tuple(tuple(place[key] for key in paths[field.name]) for field in plans.farm.fields)
    draft = Draft(key="most_money", paths=chosen, figures=evaluate(plans.data, chosen), gap=None)
    return describe(
        plans.ground, plans.data, Proposal(drafts=(draft,), same_as={}, notes=(), curve=NO_CURVE)
    )[0]


@cache
def cereals() -> Plans:
    """A farm whose present rotation names these crops, so that every order of them can be worked out."""
    present = (
        ("winter_wheat", "fallow", "corn_grain"),
        ("oat_alfalfa", "alfalfa_1", "soybean"),
        ("winter_wheat", "fallow", "corn_grain"),
    )
    fields = zip(small().fields, present, strict=True)
    return Plans(small(fields=tuple(replace(field, as_now=rotation) for field, rotation in fields)))


KEPT = ("soybean", "spring_barley", "soybean")


@pytest.mark.parametrize(
    ("east", "rules"),
    [
        pytest.param(("soybean", "spring_barley", "soybean"), set(), id="kept"),
        pytest.param(("winter_wheat", "corn_grain", "soybean"), {RULES}, id="wheat after spring barley"),
        pytest.param(("corn_grain", "corn_grain", "soybean"), {RULES}, id="corn after corn"),
        pytest.param(("fallow", "corn_grain", "fallow"), {RULES}, id="fallow too soon again"),
        pytest.param(("oat_alfalfa", "alfalfa_1", "soybean"), {RULES}, id="alfalfa broken after one year"),
    ],
)
def test_a_plan_against_a_rule_differs_only_in_the_line_of_the_rules(
    east: tuple[str, ...], rules: set[str]
) -> None:
    plans = cereals()
    plan = made_by_hand(plans, East=east, West=KEPT, North=("spring_barley", "soybean", "spring_barley"))
    assert plan.breaks == ()
    assert disagreeing(plan, plans.ground) == rules


def test_another_practice_than_the_one_that_was_reckoned_with_is_found() -> None:
    path = good().practices["East"]
    other = "corn_grain" if path[2] != "corn_grain" else "soybean"
    swapped = replace(good(), practices={**good().practices, "East": (*path[:2], other)})
    assert {MADE, HOURS, MONEY} <= disagreeing(swapped)


def test_a_rule_speaks_of_a_family_a_group_small_grains_or_one_crop() -> None:
    barley = TABLES.crops["spring_barley"]
    assert belongs("family:poaceae", barley)
    assert belongs("group:spring cereal", barley)
    assert belongs("small_grain", barley)
    assert belongs("spring_barley", barley)
    assert not belongs("group:fall cereal", barley)
    assert not belongs("small_grain", TABLES.crops["corn_grain"])
    assert not belongs("winter_barley", barley)


def test_the_differences_are_given_in_their_units() -> None:
    lines = {line.what: line for line in recheck(found().ground, WRONG[6].values[0]())}  # type: ignore[operator]
    assert lines[MONEY].largest_difference == pytest.approx(2.0, abs=0.01)
    assert lines[MONEY].unit == "USD"
    assert np.isfinite([line.largest_difference for line in lines.values()]).all()


def test_help_with_baling_is_paid_by_the_bale_and_reckoned_the_same_twice() -> None:
    # an own baler that stands still most of the day, dear hay, and a neighbour who bales what is left
    farm = small(feed_need_t=60.0, feed_price_per_t=900.0)
    plans = Plans(with_machine(farm, "round_baler", also_hire=True, hours_a_day=0.3))
    plan = plans.plan["most_money"]
    assert max(plan.figures.extra_hire_cost) > 0
    assert disagreeing(plan, plans.ground) == set()


def test_hay_bought_without_a_price_in_the_farm_file_is_priced_the_same_twice() -> None:
    plans = Plans(small(feed_need_t=40.0, feed_price_per_t=0.0))
    plan = plans.plan["most_money"]
    assert max(plan.figures.feed_bought_t) > 0
    assert disagreeing(plan, plans.ground) == set()
