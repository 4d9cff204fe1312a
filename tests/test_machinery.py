"""Machine capacity and cost against the extension handbooks' worked examples."""

import math

import pytest

from rotation_opt import machinery
from rotation_opt.finance import real_rate

# exact: 1 ft = 0.3048 m, 1 mile = 1.609344 km, 1 acre = 0.40468564224 ha
FT, MPH, ACRE = 0.3048, 1.609344, 0.40468564224


@pytest.mark.parametrize(
    ("feet", "mph", "efficiency", "acres_an_hour"),
    [
        # Iowa State University Extension, Ag Decision Maker A3-24, Estimating Field Capacity of Farm Machines
        pytest.param(40, 6, 0.70, 20.4, id="fertilizer-spreader"),
        pytest.param(60, 12, 0.68, 59.3, id="fast-wide-spreader"),
        pytest.param(15, 5, 0.63, 5.7, id="manure-spreader"),
        pytest.param(36, 5, 0.60, 13.1, id="manure-spreader-36-ft"),
        # Iowa State University Extension, PM 696 (2001)
        pytest.param(7 * 16 / 12, 5, 0.85, 4.8, id="plow-7-bottoms"),
        pytest.param(11.25, 5.5, 0.85, 6.4, id="chisel-plow"),
        pytest.param(16.25, 5.5, 0.83, 9.0, id="chisel-plow-wider"),
        pytest.param(5 * 24 / 12, 5, 0.85, 5.2, id="subsoiler-5-shanks"),
    ],
)
def test_field_capacity_gives_the_handbook_examples(feet, mph, efficiency, acres_an_hour):
    capacity = machinery.effective_field_capacity(feet * FT, mph * MPH, efficiency)
    assert capacity / ACRE == pytest.approx(acres_an_hour, abs=0.05)


def test_capacity_needed_gives_the_iowa_field_time_example():
    # Iowa State University Extension, A3-25: 1,600 ac, 4.0 + 4.3 days, 14 h a day: 192.8 ac/day, 13.8 ac/h
    assert machinery.capacity_needed(1600, 4.0 + 4.3, 1) == pytest.approx(192.8, abs=0.05)
    assert machinery.capacity_needed(1600, 4.0 + 4.3, 14) == pytest.approx(13.8, abs=0.05)


def test_a_baler_in_a_heavy_crop_is_held_up_by_its_throughput():
    light = machinery.hours_per_ha(6.0, 8.0, 0.65, crop_t_ha=1.0, throughput_t_h=10.0)
    heavy = machinery.hours_per_ha(6.0, 8.0, 0.65, crop_t_ha=6.0, throughput_t_h=10.0)
    assert light == pytest.approx(1 / (6.0 * 8.0 * 0.65 / 10))
    assert heavy == pytest.approx(0.6)


def test_salvage_depreciation_and_real_rate_give_the_iowa_tractor_example():
    # Iowa State University Extension, A3-29 (about 2005): 110,000 $, bought for 93,500 $, 23 % left after
    # 15 years
    list_price, purchase = 110_000.0, 93_500.0
    salvage = list_price * machinery.remaining_value_share(15, 400, 0.976, 0.119, 0.0019)
    assert salvage == pytest.approx(25_300, abs=0.005 * list_price)  # the share is printed as whole percent
    assert purchase - 25_300 == pytest.approx(68_200, abs=0.5)
    assert real_rate(0.08, 0.03, exact=False) == pytest.approx(0.05, abs=0.005)
    # worked out from the same figures, not printed there: CRF(5 %, 15) = 0.096342; 7,835.54 $ a year
    assert machinery.capital_recovery(purchase, 25_300, 0.05, 15) == pytest.approx(7835.54, abs=0.005)


def test_repairs_an_hour_give_the_textbook_tractor():
    # GROWPROD: 80,000 $ tractor, 400 h x 15 y, repairs 25 % of list: 20,000 $, 3.33 $/h. RF1 0.007, RF2 2.0
    # (ASABE D497 via Iowa PM 710) give 25.2 % at 6,000 h, so the hourly cost agrees within that rounding.
    assert machinery.accumulated_repairs(6_000, 0.007, 2.0) == pytest.approx(0.25, abs=0.005)
    assert machinery.repairs_per_hour(80_000, 6_000, 0.007, 2.0) == pytest.approx(
        3.33, abs=0.005 * 80_000 / 6_000
    )


@pytest.mark.parametrize(
    ("rf1", "rf2", "step", "percent"),
    [
        # Iowa State University Extension, PM 710, table 3
        pytest.param(0.29, 1.8, 200, (2, 6, 12, 19, 29, 40, 53, 68, 84, 101), id="moldboard-plow"),
        pytest.param(0.007, 2.0, 1000, (1, 3, 6, 11, 18, 25, 34, 45, 57, 70), id="two-wheel-drive-tractor"),
    ],
)
def test_accumulated_repairs_give_the_iowa_table(rf1, rf2, step, percent):
    found = [100 * machinery.accumulated_repairs(step * at, rf1, rf2) for at in range(1, 11)]
    # the table rounds 17.5 up; half a percent is its last printed digit
    assert found == pytest.approx(list(percent), abs=0.5 + 1e-9)


def test_remaining_value_gives_the_iowa_tractor_table():
    # Iowa State University Extension, PM 710, table 1: 80-149 hp, 200 h/y; 1 point is allowed, since the
    # coefficients are recalled from ASABE D497
    ages, percent = (1, 5, 10, 15, 20), (69, 50, 38, 29, 24)
    found = [100 * machinery.remaining_value_share(age, 200, 0.942, 0.100, 0.0008) for age in ages]
    assert found == pytest.approx(list(percent), abs=1.0)


def test_break_even_area_gives_the_textbook_example():
    # BEU_TEXT: 1,000 $/y owning, 4 $/ac running, 21 $/ac custom rate: 58.8, printed as about 60 ac/y
    assert machinery.break_even_area(1000, 21, 4) == pytest.approx(58.8, abs=0.05)
    assert machinery.break_even_area(1000, 4, 21) == math.inf


def test_break_even_lies_where_owning_costs_what_hiring_costs():
    area = machinery.break_even_area(1000, 21, 4)
    assert 1000 + 4 * area == pytest.approx(21 * area)


@pytest.mark.parametrize(
    ("operating", "fixed", "acres", "running", "full"),
    [
        # Virginia Cooperative Extension (2001): mower-conditioner, rake, round baler, bale mover, $/ac
        pytest.param((3.31, 1.62, 3.25, 3.50), (28.82, 11.49, 45.86, 14.10), 100, 11.68, 100.27, id="100-ac"),
        pytest.param((6.57, 2.52, 6.61, 3.76), (7.01, 3.02, 10.35, 3.86), 500, 19.46, 24.24, id="500-ac"),
    ],
)
def test_a_hay_set_breaks_even_with_hire_at_its_own_full_cost(operating, fixed, acres, running, full):
    owning = sum(fixed) * acres
    assert machinery.break_even_area(owning, running + full, sum(operating)) == pytest.approx(
        acres, rel=0.005 / full
    )


def test_fuel_of_the_chisel_system_adds_up_as_printed():
    # University of Nebraska: chisel 1.05, knife 0.60, disk 0.74, plant 0.52, cultivate 0.43: 3.34 gal/ac
    passes = (1.05, 0.60, 0.74, 0.52, 0.43)
    assert sum(machinery.fuel_cost_per_ha(each, 1.0, 0.0) for each in passes) == pytest.approx(
        3.34, abs=0.005
    )


def test_tractor_cost_an_hour_gives_the_illinois_example():
    # farmdoc: overhead 14.00, fuel 4.70, wage 13.50 with 10 % on top: 14.85; 33.55 $/h
    labour = 13.50 * 1.10
    assert labour == pytest.approx(14.85, abs=0.005)
    assert 14.00 + machinery.fuel_cost_per_ha(4.70, 1.0, 0.0) + labour == pytest.approx(33.55, abs=0.005)


def test_a_wider_round_bale_is_larger_as_florida_says():
    # EDIS AN326: 5x6 is 44 % larger than 5x5; 4x4 is about 50 % of 5x5 (0.512)
    assert machinery.bale_volume(5, 6) / machinery.bale_volume(5, 5) == pytest.approx(1.44, abs=0.005)
    assert machinery.bale_volume(4, 4) / machinery.bale_volume(5, 5) == pytest.approx(0.50, abs=0.05)
