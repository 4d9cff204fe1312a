"""Hours of machines and people by half-month, and the hours there are."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from rotation_opt import climate, farm, practices, tables, timetable, workload
from rotation_opt.records import Farm, OwnMachine

ROOT = Path(__file__).parent.parent
TABLES = tables.read()
FARM = farm.read(ROOT / "examples" / "tamarack_hollow.toml", TABLES)
PLACE = climate.for_farm(FARM, TABLES)
CALENDAR = practices.field_calendar(PLACE, TABLES)
# exact: 1 ft = 0.3048 m, 1 mile = 1.609344 km, 1 acre = 0.40468564224 ha
FT, MPH, ACRE = 0.3048, 1.609344, 0.40468564224


def machine(key: str, **changed: object) -> OwnMachine:
    plain = OwnMachine(
        machine=key,
        status="own",
        width_m=None,
        hours_a_day=10.0,
        units=1,
        hire_rate=None,
        hire_cap_ha=None,
        also_hire=False,
    )
    return replace(plain, **changed)  # type: ignore[arg-type]


def with_machine(own: OwnMachine) -> Farm:
    return replace(FARM, machines={**FARM.machines, own.machine: own})


def programme(previous: str, practice: str):
    before, this = (
        practices.date_practice(TABLES.practices[key], PLACE, TABLES, CALENDAR)[0]
        for key in (previous, practice)
    )
    return timetable.programme(before, this, PLACE, TABLES)


@pytest.mark.parametrize(
    ("key", "feet", "hours_per_acre"),
    [
        # labour hours an acre with typical ASABE D497 values, worked out from 1.15 / field capacity:
        # Iowa State and GROWPROD forms, coefficients recalled from D497
        pytest.param("drill", 10, 0.27, id="10-ft-drill"),
        pytest.param("field_cultivator", 15, 0.11, id="15-ft-field-cultivator"),
        pytest.param("row_cultivator", 15, 0.16, id="6-row-cultivator"),
        pytest.param("rotary_hoe", 15, 0.066, id="15-ft-rotary-hoe"),
        pytest.param("mower_conditioner", 10, 0.17, id="10-ft-mower-conditioner"),
        pytest.param("rake", 20, 0.10, id="20-ft-rake"),
        pytest.param("rotary_mower", 15, 0.11, id="15-ft-rotary-mower"),
    ],
)
def test_labour_of_a_pass_gives_the_handbook_hours(key, feet, hours_per_acre):
    operation = next(name for name, each in TABLES.operations.items() if each.machine == key)
    own = with_machine(machine(key, width_m=feet * FT))
    work = workload.pass_work(operation, 0.0, own, TABLES)
    printed = 0.5 * 10.0 ** -len(str(hours_per_acre).split(".")[1])
    assert work.labour * ACRE == pytest.approx(hours_per_acre, abs=printed)


def test_twice_the_width_takes_half_the_hours():
    narrow = workload.pass_work("plough", 0.0, with_machine(machine("plough", width_m=1.5)), TABLES)
    wide = workload.pass_work("plough", 0.0, with_machine(machine("plough", width_m=3.0)), TABLES)
    assert narrow.hours == pytest.approx(2 * wide.hours)


def test_a_heavy_cut_slows_the_baler_to_its_throughput():
    own = with_machine(machine("round_baler"))
    most = TABLES.number("machine", "round_baler", "throughput_t_h")
    assert workload.pass_work("bale", 6.0, own, TABLES).hours == pytest.approx(6.0 / most)
    light = workload.pass_work("bale", 0.5, own, TABLES).hours
    assert light > 0.5 / most


def test_a_contractor_brings_his_own_driver_and_is_paid_by_the_bale():
    hired = with_machine(machine("round_baler", status="hire", hire_rate=12.0))
    work = workload.pass_work("bale", 3.0, hired, TABLES)
    assert work.hired
    assert work.labour == 0.0
    assert work.units == pytest.approx(3000.0 / TABLES.number("machine", "round_baler", "bale_kg"))
    assert workload.hire_rate("round_baler", hired, TABLES) == 12.0


def test_hire_rates_of_the_survey_are_brought_forward():
    hired = with_machine(machine("plough", status="hire"))
    survey = TABLES.number("machine", "plough", "hire_per_ha")
    forward = TABLES.number("money", "any", "hire_forward_factor")
    assert workload.hire_rate("plough", hired, TABLES) == pytest.approx(survey * forward)


@pytest.mark.parametrize(
    ("day", "half"), [(0, 0), (14, 0), (15, 1), (30, 1), (31, 2), (-1, 23), (-184, 12), (364, 23), (365, 0)]
)
def test_days_fall_in_their_half_month(day, half):
    assert workload.half_month(day) == half


def test_half_months_hold_all_days_of_the_year():
    days = workload.days_in_half_months()
    assert days.sum() == 365
    assert days[2] == 15
    assert days[3] == 13


def test_hours_of_a_pair_are_those_of_its_passes_in_their_half_months():
    pair = programme("oat", "winter_wheat")
    hours = workload.pair_hours([pair], FARM, TABLES)
    labour = np.zeros((2, 24))
    for op in pair.operations:
        work = workload.pass_work(op.operation, 0.0, FARM, TABLES)
        labour[int(op.day >= 0), workload.half_month(op.day)] += work.labour
    assert hours.labour[0] == pytest.approx(labour)
    assert hours.labour[0, 0].sum() > 0  # the autumn before
    drill = hours.machines.index("drill")
    sown = workload.half_month(pair.sowing_day)
    assert hours.machine[0, drill, 0, sown] > 0
    assert hours.machine[0, drill].sum() == hours.machine[0, drill, 0, sown]


def test_hired_passes_count_area_and_no_own_hours():
    hired = replace(FARM.machines["combine"], status="hire")
    changed = replace(FARM, machines={**FARM.machines, "combine": hired})
    hours = workload.pair_hours([programme("soybean", "oat")], changed, TABLES)
    combine = hours.machines.index("combine")
    assert hours.hired_ha[0, combine] == 1.0
    assert hours.own_ha[0, combine] == 0.0
    assert hours.machine[0, combine].sum() == 0.0


def test_two_cuts_carry_less_hay_than_three():
    three, two = (
        workload.cut_shares(TABLES.practices[key], TABLES) for key in ("alfalfa_2", "alfalfa_2_two_cuts")
    )
    assert sum(three) == pytest.approx(1.0)
    assert two == three[:2]


def test_in_the_year_of_sowing_the_cuts_there_are_make_up_the_yield():
    assert sum(workload.cut_shares(TABLES.practices["alfalfa_spring"], TABLES)) == pytest.approx(1.0)


def test_capacity_is_days_times_share_times_hours_times_units():
    own = with_machine(machine("drill", hours_a_day=8.0, units=2))
    limits = workload.capacity(own, TABLES)
    half = 8  # first half of May
    share = TABLES.number("field_days", "08", "suitable_share")
    at = limits.machines.index("drill")
    assert limits.machine[at, half] == pytest.approx(15 * share * 8.0 * 2)
    bad = TABLES.number("field_days", "08", "suitable_share_bad_year")
    assert limits.machine_bad_year[at, half] == pytest.approx(15 * bad * 8.0 * 2)


def test_haymaking_has_fewer_days_than_other_work():
    own = replace(
        FARM,
        machines={**FARM.machines, "rake": machine("rake"), "drill": machine("drill")},
    )
    limits = workload.capacity(own, TABLES)
    june = slice(10, 12)
    rake, drill = (limits.machine[limits.machines.index(key), june] for key in ("rake", "drill"))
    assert (rake < drill).all()


def test_hired_machines_have_no_hours_of_their_own():
    limits = workload.capacity(with_machine(machine("drill", status="hire")), TABLES)
    assert limits.machine[limits.machines.index("drill")].sum() == 0.0


def test_iowa_spring_days_lie_between_its_trend_of_1964_and_2019():
    # Iowa State University (2020): of the 77 days from 2 April to 17 June 48 were fit for field work
    # on the trend of 1964 and 35 on that of 2019
    share = workload.field_day_shares("suitable_share", TABLES)
    first, last = 91, 167
    days = sum(share[workload.half_month(day)] for day in range(first, last + 1))
    assert 35 <= days <= 48
