"""Hired machines: what their rate is paid by, and what it comes to on a field and on a farm."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from small_farm import Plans, small, with_machine
from test_farm import SMALL

from rotation_opt import climate, farm, practices, tables, timetable, units, workload
from rotation_opt.farm_arrays import extra_hire
from rotation_opt.records import Farm, OwnMachine, Programme
from rotation_opt.verify import recheck

ROOT = Path(__file__).parent.parent
TABLES = tables.read()
FARM = farm.read(ROOT / "examples" / "tamarack_hollow.toml", TABLES)
PLACE = climate.for_farm(FARM, TABLES)
LISTED = practices.dated_practices(FARM, TABLES, PLACE)

BALER = '[[machine]]\nname = "baler"\nstatus = "hire"\n'


def machine_of(text: str, key: str, folder: Path) -> OwnMachine:
    path = folder / "my_farm.toml"
    path.write_text(SMALL + text, encoding="utf-8")
    return farm.read(path, TABLES).machines[key]


def hired(key: str, rate: float | None, unit: str | None) -> Farm:
    mine = replace(
        FARM.machines[key],
        status="hire",
        hire_rate=rate,
        hire_unit=unit,  # type: ignore[arg-type]
        hire_cap_ha=None,
    )
    return replace(FARM, machines={**FARM.machines, key: mine})


def season(previous: str, practice: str, base: Farm) -> Programme:
    listed = practices.dated_practices(base, TABLES, PLACE)
    table = timetable.Timetable(PLACE, TABLES, listed.calendar, listed.machines)
    before, this = (
        practices.date_practice(TABLES.practices[key], PLACE, TABLES, listed.calendar)[0]
        for key in (previous, practice)
    )
    return table.programme(before, this)


def cost(programme: Programme, base: Farm, key: str) -> float:
    """Cost of one machine alone on one hectare of a season."""
    hours = workload.pair_hours([programme], base, TABLES)
    at = hours.machines.index(key)
    return float(hours.hired_units[0, at] * workload.hire_rate(key, base, TABLES))


# ---------------------------------------------------------------- the farm file


@pytest.mark.parametrize(
    ("key", "rate", "unit"),
    [
        # 1 acre = 0.404686 ha, 1 short ton = 0.907185 t (NIST Handbook 44)
        ("hire_rate_per_acre = 40.4686", 100.0, "ha"),
        ("hire_rate_per_ha = 100", 100.0, "ha"),
        ("hire_rate_per_bale = 14", 14.0, "bale"),
        ("hire_rate_per_ton = 9.07185", 10.0, "t"),
        ("hire_rate_per_t = 10", 10.0, "t"),
        ("hire_rate_per_hour = 120", 120.0, "h"),
    ],
)
def test_a_hire_rate_is_read_with_what_it_is_paid_by(
    key: str, rate: float, unit: str, tmp_path: Path
) -> None:
    baler = machine_of(f"{BALER}{key}\n", "round_baler", tmp_path)
    assert baler.hire_rate == pytest.approx(rate, rel=1e-5)
    assert baler.hire_unit == unit


def test_without_an_own_rate_the_survey_says_what_hire_is_paid_by(tmp_path: Path) -> None:
    baler = machine_of(BALER, "round_baler", tmp_path)
    assert baler.hire_rate is None
    assert baler.hire_unit is None
    assert workload.hire_unit("round_baler", hired("round_baler", None, None), TABLES) == "bale"
    assert workload.hire_unit("plough", hired("plough", None, None), TABLES) == "ha"


# ---------------------------------------------------------------- what it costs


def test_each_unit_of_the_rate_counts_its_own_thing() -> None:
    """By hand: three cuts of 3.6 short tons to the acre, 850 lb a bale."""
    programme = season("oat_alfalfa", "alfalfa_1", FARM)
    made = FARM.yields_t_ha["alfalfa"] * TABLES.practices["alfalfa_1"].yield_ratio
    shares = [TABLES.number("crop", "alfalfa", f"cut{cut}_share") for cut in (1, 2, 3)]
    bales = made * sum(shares) * 1000.0 / TABLES.number("machine", "round_baler", "bale_kg")
    width, speed, efficiency, intake = (
        TABLES.number("machine", "round_baler", name)
        for name in ("width_m", "speed_km_h", "field_efficiency", "throughput_t_h")
    )
    slow = 10.0 / (width * speed * efficiency)
    hours = sum(max(slow, made * share / intake) for share in shares)
    wanted = {"bale": bales, "t": made * sum(shares), "ha": 3.0, "h": hours}
    for unit, amount in wanted.items():
        assert cost(programme, hired("round_baler", 10.0, unit), "round_baler") == pytest.approx(
            10.0 * amount
        )


def test_a_plow_hired_by_the_hour_costs_its_hours() -> None:
    programme = season("corn_grain", "spring_barley", FARM)
    ploughed = sum(TABLES.operations[op.operation].machine == "plough" for op in programme.operations)
    assert ploughed == 1
    width = FARM.machines["plough"].width_m
    assert width is not None
    speed, efficiency = (TABLES.number("machine", "plough", q) for q in ("speed_km_h", "field_efficiency"))
    hours = 10.0 / (width * speed * efficiency)
    assert cost(programme, hired("plough", 90.0, "h"), "plough") == pytest.approx(90.0 * hours)
    assert cost(programme, hired("plough", 90.0, "ha"), "plough") == pytest.approx(90.0)


def test_help_for_an_own_machine_is_paid_by_what_its_hours_make() -> None:
    programme = season("soybean", "spring_barley", FARM)
    made = FARM.yields_t_ha["spring_barley"]
    for unit, per_ha in (("ha", 1.0), ("t", made), ("h", None)):
        mine = replace(
            FARM.machines["combine"],
            also_hire=True,
            hire_rate=30.0,
            hire_unit=unit,  # type: ignore[arg-type]
            hire_cap_ha=None,
        )
        base = replace(FARM, machines={**FARM.machines, "combine": mine})
        hours = workload.pair_hours([programme], base, TABLES)
        at = hours.machines.index("combine")
        run = float(hours.machine[0, at].sum())
        _, an_hour = extra_hire(base, TABLES, hours)
        # what a hectare's hours cost in all
        assert an_hour[at] * run == pytest.approx(30.0 * (run if per_ha is None else per_ha))


@pytest.mark.parametrize("unit", ["t", "h"])
def test_a_combine_hired_by_weight_or_hour_is_reckoned_the_same_twice(unit: str) -> None:
    plans = Plans(with_machine(small(), "combine", status="hire", hire_rate=25.0, hire_unit=unit))
    plan = plans.plan["most_money"]
    assert all(line.agrees for line in recheck(plans.ground, plan))
    paid = np.array(plan.figures.hire_cost)
    if unit == "h":
        assert paid == pytest.approx(25.0 * np.array(plan.figures.hired_hours["combine"]))
    else:
        threshed = np.zeros(3)
        for each in plan.fields:
            practice = TABLES.practices[each.practice]
            crop = TABLES.crops[practice.crop]
            if crop.product == "grain":
                usual = TABLES.number("crop", crop.key, "yield_t_ha") * practice.yield_ratio
                area = next(field.area_ha for field in plans.farm.fields if field.name == each.field)
                threshed[each.year - plans.farm.first_year] += usual * area
        assert threshed.sum() > 0
        assert paid == pytest.approx(25.0 * threshed)


def test_a_dearer_rate_in_any_unit_never_raises_the_best_return() -> None:
    for unit in ("ha", "t", "h"):
        cheap, dear = (
            Plans(with_machine(small(), "combine", status="hire", hire_rate=rate, hire_unit=unit)).worth(
                "most_money"
            )
            for rate in (5.0, 60.0)
        )
        assert dear < cheap


def test_acre_and_hectare_and_ton_and_tonne_are_the_same_money(tmp_path: Path) -> None:
    for one, other in (
        ("hire_rate_per_acre = 20", f"hire_rate_per_ha = {20 / units.ACRE_HA}"),
        ("hire_rate_per_ton = 20", f"hire_rate_per_t = {20 / units.SHORT_TON_T}"),
    ):
        first, second = (machine_of(f"{BALER}{key}\n", "round_baler", tmp_path) for key in (one, other))
        assert first.hire_rate == pytest.approx(second.hire_rate)
        assert first.hire_unit == second.hire_unit
