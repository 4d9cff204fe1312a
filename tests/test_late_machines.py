"""A hired machine that comes some days after it is called: dates move, and what they do to the weeds."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from small_farm import Plans, small, with_machine

from rotation_opt import climate, farm, practices, tables, timetable
from rotation_opt.records import Farm, Outlet, Programme
from rotation_opt.report.limits import limits_in_words
from rotation_opt.report.wording import Wording
from rotation_opt.season import respond
from rotation_opt.varieties import fitted
from rotation_opt.verify import recheck
from rotation_opt.weeds.parameters import LIKELY
from rotation_opt.workload import half_month, pair_hours

ROOT = Path(__file__).parent.parent
DEMO = ROOT / "examples" / "tamarack_hollow.toml"
SHIPPED = tables.read()
FARM = farm.read(DEMO, SHIPPED)
PLACE = climate.for_farm(FARM, SHIPPED)
TABLES = fitted(SHIPPED, PLACE)
WEEDS = ("creeping_thistle", "field_bindweed", "couch_grass")


def late(machine: str, days: int, status: str = "hire") -> Farm:
    mine = replace(FARM.machines[machine], comes_late_days=days, status=status)  # type: ignore[arg-type]
    return replace(FARM, machines={**FARM.machines, machine: mine})


def season(previous: str, practice: str, base: Farm) -> Programme:
    listed = practices.dated_practices(base, TABLES, PLACE)
    table = timetable.Timetable(PLACE, TABLES, listed.calendar, listed.machines)
    before, this = (
        practices.date_practice(TABLES.practices[key], PLACE, TABLES, listed.calendar)[0]
        for key in (previous, practice)
    )
    return table.programme(before, this)


def days_of(programme: Programme, operation: str) -> list[int]:
    return [op.day for op in programme.operations if op.operation == operation]


def roots_left(programme: Programme) -> list[float]:
    """Likely roots of each weed after the season, from a full stand before it."""
    after = respond([programme], PLACE, TABLES, WEEDS, [LIKELY])
    return [float(each) for each in (after.growth / (1.0 + after.crowding)).ravel()]


def test_hay_is_cut_when_the_late_baler_can_come() -> None:
    """The grower's own mower waits: what cannot be baled is not laid down."""
    usual, held_up = (season("oat_alfalfa", "alfalfa_1", late("round_baler", days)) for days in (0, 7))
    for operation in ("mow_condition", "rake", "bale"):
        on_time, after = days_of(usual, operation), days_of(held_up, operation)
        assert after[0] == on_time[0] + 7
        # the next cut grows from the day of the last one, and waits for the baler again
        assert all(b - a > 7 for a, b in zip(on_time[1:], after[1:], strict=True))
    gaps = [b - a for a, b in zip(days_of(usual, "mow_condition"), days_of(usual, "bale"), strict=True)]
    assert gaps == [
        b - a for a, b in zip(days_of(held_up, "mow_condition"), days_of(held_up, "bale"), strict=True)
    ]


def test_work_moves_to_the_half_month_it_is_done_in() -> None:
    base = late("round_baler", 14)
    programme = season("oat_alfalfa", "alfalfa_1", base)
    hours = pair_hours([programme], base, TABLES)
    mower = hours.machines.index("mower_conditioner")
    worked = {half for half in range(24) if hours.machine[0, mower, 1, half] > 0}
    assert worked == {half_month(day) for day in days_of(programme, "mow_condition")}
    usual = season("oat_alfalfa", "alfalfa_1", late("round_baler", 0))
    assert worked != {half_month(day) for day in days_of(usual, "mow_condition")}


def test_a_baler_so_late_that_a_cut_is_lost_leaves_more_thistle() -> None:
    """Two weeks late the third cut no longer fits in before the stand must rest.

    A few days late need not mean more thistle: the first cut then comes nearer to its bud stage.
    """
    usual, lost = (season("oat_alfalfa", "alfalfa_1", late("round_baler", days)) for days in (0, 14))
    assert len(days_of(usual, "mow_condition")) == 3
    assert len(days_of(lost, "mow_condition")) == 2
    assert roots_left(lost)[0] > roots_left(usual)[0]
    listed = practices.dated_practices(late("round_baler", 14), TABLES, PLACE)
    assert "2 of its 3 cuts" in listed.reasons["alfalfa_1"]


def test_the_later_the_combine_the_more_of_every_weed_is_left() -> None:
    """In ripe grain nothing shades the weeds any more: they fill their roots until it is off."""
    left = []
    for days in (0, 5, 10, 20):
        programme = season("soybean", "spring_barley", late("combine", days))
        assert days_of(programme, "combine") == [
            days_of(season("soybean", "spring_barley", FARM), "combine")[0] + days
        ]
        left.append(roots_left(programme))
    for sooner, later in pairwise(left):
        assert all(a < b for a, b in zip(sooner, later, strict=True))


def test_a_late_plow_comes_at_the_latest_when_the_ground_freezes() -> None:
    on_time = days_of(season("corn_grain", "spring_barley", FARM), "plough")[0]
    freeze = practices.field_calendar(PLACE, TABLES).freeze - 365
    for days in (3, 10, 60):
        (ploughed,) = days_of(season("corn_grain", "spring_barley", late("plough", days)), "plough")
        assert ploughed == min(on_time + days, freeze)


def test_a_late_drill_holds_up_its_seedbed_and_all_that_follows() -> None:
    usual, held_up = (season("soybean", "spring_barley", late("drill", days)) for days in (0, 7))
    for operation in ("field_cultivate", "harrow_seedbed", "drill"):
        assert days_of(held_up, operation) == [day + 7 for day in days_of(usual, operation)]
    assert held_up.harvest_day > usual.harvest_day


@pytest.mark.parametrize("status", ["own", "none"])
def test_only_a_hired_machine_is_late(status: str) -> None:
    assert practices.dated_practices(late("round_baler", 7, status), TABLES, PLACE).calendar.late == {}


def test_every_order_of_work_holds_however_late_a_machine_comes() -> None:
    """Dates stay inside the season and passes of a programme in their order, for each machine in turn."""
    pairs = [
        ("corn_grain", "spring_barley"),
        ("spring_barley", "winter_wheat"),
        ("spring_barley", "fallow"),
        ("oat_alfalfa", "alfalfa_1"),
        ("alfalfa_2", "corn_grain"),
        ("winter_wheat", "corn_grain_oat_pea"),
    ]
    usual = {pair: season(*pair, FARM) for pair in pairs}
    for machine in TABLES.machines:
        for days in (5, 25):
            base = late(machine, days)
            for pair in pairs:
                programme = season(*pair, base)
                assert all(
                    programme.start_day <= op.day <= max(programme.harvest_day, usual[pair].harvest_day)
                    for op in programme.operations
                )
                between = [op.operation for op in programme.operations if op.part == "between"]
                order = [op.operation for op in usual[pair].operations if op.part == "between"]
                assert len(between) < len(order) or between == order


def test_the_days_late_are_read_from_the_farm_file(tmp_path: Path) -> None:
    path = tmp_path / "late.toml"
    text = DEMO.read_text(encoding="utf-8")
    path.write_text(text.replace("hire_cap_acres = 330", "comes_late_days = 7\nhire_cap_acres = 330"))
    assert farm.read(path, SHIPPED).machines["round_baler"].comes_late_days == 7
    assert FARM.machines["round_baler"].comes_late_days == 0


def test_the_page_says_that_a_machine_comes_late() -> None:
    words = Wording(FARM, TABLES)
    said = limits_in_words(late("round_baler", 7), words)
    assert "Round baler: comes 7 days after it is called; what it is needed for waits." in said
    assert not any("after it is called" in line for line in limits_in_words(FARM, words))


def test_plans_with_a_late_baler_are_reckoned_the_same_twice() -> None:
    buyer = Outlet(
        name="dairy (invented)",
        crop="alfalfa",
        price_per_t=400.0,
        least_t=0.0,
        most_t=None,
        years=(),
        haul_per_t=0.0,
    )
    base = with_machine(small(outlets=(buyer,)), "round_baler", status="hire", comes_late_days=7)
    plans = Plans(base)
    plan = plans.plan["most_money"]
    assert "alfalfa_1" in plans.grown("most_money")
    assert all(line.agrees for line in recheck(plans.ground, plan))
