"""Money of a pair on one hectare."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from rotation_opt import budgets, climate, farm, practices, tables, timetable, workload
from rotation_opt.records import Farm

ROOT = Path(__file__).parent.parent
TABLES = tables.read()
FARM = farm.read(ROOT / "examples" / "tamarack_hollow.toml", TABLES)
PLACE = climate.for_farm(FARM, TABLES)
LISTED = practices.dated_practices(FARM, TABLES, PLACE)
TIMETABLE = timetable.Timetable(PLACE, TABLES, LISTED.calendar, LISTED.machines)


def money_of(
    *pairs: tuple[str, str], on: Farm = FARM, from_tables: tables.Tables = TABLES
) -> budgets.PairBudgets:
    programmes = [TIMETABLE.programme(LISTED.of(before), LISTED.of(this)) for before, this in pairs]
    hours = workload.pair_hours(programmes, on, from_tables)
    return budgets.pair_budgets(programmes, LISTED, on, from_tables, hours)


def number(crop: str, quantity: str) -> float:
    return TABLES.number("crop", crop, quantity)


# ---------------------------------------------------------------- costs


def test_costs_are_the_sum_of_their_parts():
    found = money_of(("soybean", "oat"), ("oat", "winter_wheat"), ("alfalfa_1", "alfalfa_2"))
    assert set(found.parts) == set(budgets.PARTS)
    assert found.cost_per_ha == pytest.approx(sum(found.parts.values()))
    assert all((part >= 0).all() for part in found.parts.values())


def test_seed_costs_its_rate_times_its_price():
    found = money_of(("soybean", "oat"), ("soybean", "oat_dense"), ("alfalfa_1", "alfalfa_2"))
    plain = number("oat", "sowing_rate_kg_ha") * number("oat", "sown_price_per_kg")
    ratio = TABLES.practices["oat_dense"].sowing_rate_ratio
    assert found.parts["sown material"] == pytest.approx([plain, plain * ratio, 0.0])


def test_cover_and_undersown_crops_cost_seed_too():
    found = money_of(("oat", "soybean"), ("oat", "soybean_rye"), ("soybean", "oat_alfalfa"))
    rye = number("cover_rye", "sowing_rate_kg_ha") * number("cover_rye", "sown_price_per_kg")
    assert found.parts["sown material"][1] - found.parts["sown material"][0] == pytest.approx(rye)
    alfalfa = number("alfalfa", "sowing_rate_kg_ha") * number("alfalfa", "sown_price_per_kg")
    assert found.parts["sown material"][2] > alfalfa


def test_hay_left_on_the_field_takes_fewer_inputs_than_hay_carried_off():
    found = money_of(("oat_alfalfa", "alfalfa_1"), ("oat_alfalfa", "alfalfa_1_leave"))
    carried, left = found.parts["other inputs"]
    assert carried == pytest.approx(number("alfalfa", "other_inputs_per_ha"))
    assert left == pytest.approx(carried * number("alfalfa", "other_inputs_left_share"))
    assert 0.0 < left < carried / 2


def test_a_stand_costs_its_establishment_once():
    found = money_of(("soybean", "oat_alfalfa"), ("oat_alfalfa", "alfalfa_1"), ("soybean", "oat"))
    setting_up = TABLES.number_or("crop", "alfalfa", "establishment_per_ha", 0.0)
    assert found.parts["stand establishment"] == pytest.approx([setting_up, 0.0, 0.0])


def test_labour_costs_hours_times_wage():
    found = money_of(("oat", "winter_wheat"))
    pair = TIMETABLE.programme(LISTED.of("oat"), LISTED.of("winter_wheat"))
    hours = workload.pair_hours([pair], FARM, TABLES)
    assert found.parts["labour"][0] == pytest.approx(hours.labour.sum() * FARM.labour.wage_per_h)


def test_own_machines_cost_fuel_and_repairs_of_each_pass():
    programme = TIMETABLE.programme(LISTED.of("oat"), LISTED.of("winter_wheat"))
    found = money_of(("oat", "winter_wheat"))
    by_hand = 0.0
    for op in programme.operations:
        key = TABLES.operations[op.operation].machine
        if key == "none" or FARM.machines[key].status != "own":
            continue

        def figure(quantity: str, key: str = key) -> float:
            return TABLES.number("machine", key, quantity)

        width = FARM.machines[key].width_m or figure("width_m")
        hours = 10.0 / (width * figure("speed_km_h") * figure("field_efficiency"))
        fuel = workload.money(FARM, TABLES, "fuel_per_l")
        fuel *= 1.0 + workload.money(FARM, TABLES, "lubrication_share")
        life = figure("life_h")
        repairs = figure("list_price") * figure("repair_rf1") * (life / 1000) ** figure("repair_rf2") / life
        if TABLES.machines[key].season != "harvest":
            repairs += workload.money(FARM, TABLES, "tractor_repair_per_h")
        by_hand += figure("fuel_l_ha") * fuel + hours * repairs
    assert found.parts["own machines"][0] == pytest.approx(by_hand)


def test_hired_baling_costs_its_bales():
    hired = replace(FARM.machines["round_baler"], status="hire", hire_rate=10.0)
    changed = replace(FARM, machines={**FARM.machines, "round_baler": hired})
    found = money_of(("alfalfa_1", "alfalfa_2"), on=changed)
    hay = practices.usual_yield("alfalfa", FARM, TABLES) * TABLES.practices["alfalfa_2"].yield_ratio
    bales = hay * 1000 / TABLES.number("machine", "round_baler", "bale_kg")
    others = sum(
        workload.hire_rate(key, changed, TABLES)
        for key in ("mower_conditioner", "rake")
        if changed.machines[key].status == "hire"
    )
    assert found.parts["hired work"][0] == pytest.approx(bales * 10.0 + 3 * others)


def test_the_growers_own_fuel_price_goes_before_the_table():
    dear = replace(FARM, costs={**FARM.costs, "fuel_per_l": 3 * workload.money(FARM, TABLES, "fuel_per_l")})
    assert (
        money_of(("soybean", "oat"), on=dear).parts["own machines"][0]
        > money_of(("soybean", "oat")).parts["own machines"][0]
    )


# ---------------------------------------------------------------- nitrogen


def test_nitrogen_bought_is_the_need_less_what_was_left():
    need = number("corn_grain", "nitrogen_need_kg_ha")
    found = money_of(("oat", "corn_grain"), ("soybean", "corn_grain"), ("alfalfa_2", "corn_grain"))
    assert found.nitrogen_kg_ha[0] == pytest.approx(need)
    assert found.nitrogen_kg_ha[1] == pytest.approx(need - number("soybean", "nitrogen_credit_kg_ha"))
    assert found.nitrogen_kg_ha[2] == pytest.approx(
        max(need - number("alfalfa", "nitrogen_credit_kg_ha"), 0.0)
    )
    price = workload.money(FARM, TABLES, "nitrogen_per_kg")
    assert found.parts["nitrogen bought"] == pytest.approx(found.nitrogen_kg_ha * price)


def test_a_stand_of_its_first_autumn_gives_a_share_of_the_credit():
    left = budgets.nitrogen_left(TABLES.practices["oat_alfalfa"], TABLES.practices["corn_grain"], TABLES)
    share = number("alfalfa", "sowing_year_credit_share")
    assert left == pytest.approx(share * number("alfalfa", "nitrogen_credit_kg_ha"))


def test_a_stand_carried_on_gives_nothing_yet():
    assert budgets.nitrogen_left(TABLES.practices["alfalfa_1"], TABLES.practices["alfalfa_2"], TABLES) == 0.0


def test_hay_cut_and_left_brings_no_sale_but_the_same_credit():
    found = money_of(("alfalfa_1", "alfalfa_2_leave"), ("alfalfa_1", "alfalfa_2"))
    assert found.yield_t_ha[0] == 0.0
    assert found.yield_t_ha[1] > 0.0
    corn = TABLES.practices["corn_grain"]
    left, sold = (
        budgets.nitrogen_left(TABLES.practices[key], corn, TABLES) for key in ("alfalfa_2_leave", "alfalfa_2")
    )
    assert left == sold > 0.0


# ---------------------------------------------------------------- yields and prices


def test_corn_gains_the_published_tonnes_after_alfalfa_over_soybean():
    # Gomez et al. (2013), Nguyen et al. (2022), Iowa: corn after two years of alfalfa, over after soybean,
    # +0.63 t/ha in 2008-2010 and +0.94 in 2017-2020
    found = money_of(("alfalfa_2", "corn_grain"), ("soybean", "corn_grain"))
    passes = found.yield_t_ha[1] / practices.usual_yield("corn_grain", FARM, TABLES)
    gain = (found.yield_t_ha[0] - found.yield_t_ha[1]) / passes
    assert 0.63 <= gain <= 0.94


def test_wheat_yields_more_after_peas_than_after_oats_than_after_wheat():
    # order of Angus et al. (2015): wheat < oats < canola, mustard, flax < pulses
    wheat = TABLES.practices["winter_wheat"]
    change = [
        budgets.preceding_change(TABLES.practices[key], wheat, TABLES)
        for key in ("winter_wheat", "oat", "flax", "field_pea")
    ]
    assert change == sorted(change)
    assert len(set(change)) == 4


def test_passes_in_the_crop_cost_their_share_of_the_yield():
    found = money_of(("soybean", "oat"), ("soybean", "oat_dense"))
    loss = TABLES.number("operation", "tine_harrow", "crop_loss")
    passes = sum(
        op.operation == "tine_harrow"
        for op in TIMETABLE.programme(LISTED.of("soybean"), LISTED.of("oat")).operations
    )
    assert passes == 2
    assert found.yield_t_ha[0] == pytest.approx(found.yield_t_ha[1] * (1 - loss) ** passes)


def test_two_cuts_bring_the_first_two_shares_of_the_hay():
    found = money_of(("alfalfa_1", "alfalfa_2"), ("alfalfa_1", "alfalfa_2_two_cuts"))
    share = number("alfalfa", "cut1_share") + number("alfalfa", "cut2_share")
    assert found.yield_t_ha[1] == pytest.approx(found.yield_t_ha[0] * share)


def test_yield_never_falls_below_nothing():
    poor = TABLES.with_change("preceding", "oat", "after:spring cereal", -50.0)
    assert money_of(("spring_barley", "oat"), from_tables=poor).yield_t_ha[0] == 0.0


def test_the_growers_price_goes_before_the_organic_before_the_usual_one():
    base = replace(FARM, prices_per_t={}, organic=False)
    assert budgets.prices(base, TABLES)["oat"] == number("oat", "price_per_t")
    assert budgets.prices(replace(base, organic=True), TABLES)["oat"] == number("oat", "price_organic_per_t")
    own = replace(base, organic=True, prices_per_t={"oat": 999.0})
    assert budgets.prices(own, TABLES)["oat"] == 999.0


def test_all_pairs_of_the_demo_farm_have_finite_money():
    programmes, _, _ = timetable.all_programmes(LISTED, PLACE, TABLES)
    hours = workload.pair_hours(programmes, FARM, TABLES)
    found = budgets.pair_budgets(programmes, LISTED, FARM, TABLES, hours)
    for array in (found.cost_per_ha, found.yield_t_ha, found.haul_per_t, found.nitrogen_kg_ha):
        assert array.shape == (len(programmes),)
        assert np.isfinite(array).all()
        assert (array >= 0).all()


# ---------------------------------------------------------------- quality of hay


def test_hay_cut_at_its_usual_stage_brings_the_usual_price():
    for key, practice in TABLES.practices.items():
        if key != "alfalfa_spring":
            assert budgets.quality_loss_per_t(practice, 200.0, TABLES) == 0.0


def test_a_first_cut_after_the_usual_stage_takes_its_step_off_its_share_of_the_hay():
    # by hand: the first cut is 0.46 of 0.76 of the two cuts, each tonne of it brings 0.81 of 200
    loss = budgets.quality_loss_per_t(TABLES.practices["alfalfa_spring"], 200.0, TABLES)
    assert loss == pytest.approx(0.46 / 0.76 * 0.19 * 200.0)
    found = money_of(("soybean", "alfalfa_spring"), ("alfalfa_1", "alfalfa_2"))
    assert found.haul_per_t[0] - found.haul_per_t[1] == pytest.approx(
        loss / 200.0 * found.price_per_t["alfalfa"]
    )


def test_the_step_for_a_late_cut_mirrors_the_published_step_for_premium_hay():
    # Hay & Forage Grower, US price reports: premium over average alfalfa 210/171 (January 2020), 317/279 (May
    # 2023), 243/159 (February 2025), 252/180 (April 2025) and 1.24 (January 2022)
    steps = [210 / 171, 317 / 279, 243 / 159, 252 / 180, 1.24]
    figure = TABLES.figure("money", "any", "late_cut_price_ratio")
    assert figure.value == pytest.approx(1.0 / float(np.median(steps)), abs=0.005)
    assert figure.low == pytest.approx(1.0 / max(steps), abs=0.006)
    assert figure.high == pytest.approx(1.0 / min(steps), abs=0.006)


def test_the_money_rate_of_late_hay_moves_the_cost_of_its_tonnes():
    cheap = TABLES.with_change("money", "any", "late_cut_price_ratio", 0.65)
    pair = ("soybean", "alfalfa_spring")
    assert money_of(pair, from_tables=cheap).haul_per_t[0] > money_of(pair).haul_per_t[0]


def test_hay_that_waits_a_week_for_a_hired_baler_is_all_cut_late():
    loss = TABLES.number("money", "any", "late_cut_days")
    assert loss == 7.0  # judgement: bud to early bloom
    for days, share in ((0, 0.0), (6, 0.0), (7, 1.0), (14, 1.0)):
        baler = replace(FARM.machines["round_baler"], status="hire", comes_late_days=days)
        late = practices.days_late(
            replace(FARM, machines={**FARM.machines, "round_baler": baler}), tables=TABLES
        )
        for key in ("alfalfa_1", "grass_clover_2_two_cuts", "red_clover_1"):
            found = budgets.quality_loss_per_t(TABLES.practices[key], 200.0, TABLES, late)
            assert found == pytest.approx(share * 0.19 * 200.0)
        # what is cut standing by the buyer does not wait for the grower's baler
        assert budgets.quality_loss_per_t(TABLES.practices["alfalfa_1_standing"], 200.0, TABLES, late) == 0.0


def test_the_late_baler_comes_off_the_price_of_every_tonne_of_a_pair():
    baler = replace(FARM.machines["round_baler"], status="hire", comes_late_days=7)
    changed = replace(FARM, machines={**FARM.machines, "round_baler": baler})
    pair = ("alfalfa_1", "alfalfa_2")
    usual, late = money_of(pair), money_of(pair, on=changed)
    step = late.haul_per_t[0] - usual.haul_per_t[0]
    assert step == pytest.approx(0.19 * usual.price_per_t["alfalfa"])
