"""Figures as JSON: the unit of each key, low to high, and numbers cut to what can be meant."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

DIGITS = 9  # significant figures: far finer than any figure is known, coarser than rounding noise

UNITS: Mapping[str, str] = {
    "area_ha": "hectares",
    "shoots_per_m2": "shoots per square metre, where the weed stands",
    "target_shoots_per_m2": "shoots per square metre",
    "start_burden_ha": "hectares of undisturbed full stand holding as much living root",
    "burden_ha": "hectares of undisturbed full stand; low, likely, high; first today, then after each year",
    "net_return": "currency, whole farm, one value a year",
    "net_return_per_ha_year": "currency per hectare and year",
    "net_return_per_ha": "currency per hectare",
    "cash": "currency, whole farm, one value a year",
    "hire_cost": "currency, whole farm, all hired work, one value a year",
    "extra_labour_cost": "currency, whole farm, extra help beyond the usual wage, one value a year",
    "extra_hire_cost": "currency, whole farm, part of hire_cost: help for own machines, one value a year",
    "labour_hours": "hours in each of the 24 half-months, one list a year",
    "extra_labour_hours": "hours in each of the 24 half-months, one list a year",
    "machine_hours": "hours in each of the 24 half-months, one list a year, by machine",
    "hired_hours": "hours, one value a year, by machine",
    "area_worked_ha": "hectares a year, each pass counted",
    "hours_worked": "machine hours a year",
    "price": "currency, of the farm's own part of the machine",
    "remaining_value": "currency, when the machine is sold; an estimate",
    "years_kept": "years",
    "owning_a_year": "currency a year: depreciation, interest, taxes, insurance and housing; an estimate",
    "running_a_year": "currency a year: fuel, repairs and driver, if all the work is done by an own one",
    "hired_a_year": "currency a year, if all the work is hired",
    "break_even_ha": "hectares a year from which owning costs less than hiring; null = never",
    "net_a_year": "currency a year, whole farm, before what owning the machines bought costs",
    "gain_a_year": "currency a year, whole farm, against buying nothing, money of later years discounted",
    "made_t": "tonnes, one value a year, by crop",
    "sold_t": "tonnes, one value a year, by crop and outlet",
    "unsold_t": "tonnes, one value a year, by crop",
    "fed_t": "tonnes of hay, one value a year",
    "feed_bought_t": "tonnes of hay, one value a year",
    "hay_stored_t": "tonnes of hay in store at the end of each year",
    "cut_and_left_ha": "hectares, one value a year",
    "bare_weeks_per_field_year": "weeks with less than 30 % of the ground covered",
    "bare_weeks": "weeks with less than 30 % of the ground covered",
    "yield_t_ha": "tonnes per hectare at the moisture of the trade",
    "weed_loss_share": "share of the yield, 0 to 1",
    "reserve_share": "living root store where the weed stands, share of a full stand; low, likely, high",
    "annual_seed_times": "living seed of annual weeds in the soil as a multiple of today's, by weed; low, "
    "likely, high; first today, then after each harvest",
    "patches_ha": "hectares that patches take if their edges spread, by weed, fields farmed to the end; low, "
    "likely, high; first today, then after each year",
    "seed_shed_per_m2": "sound seeds shed on each square metre of patch, by weed; low, likely, high; one a "
    "year; an order of magnitude",
    "seed_years": "years that seed of each creeping weed lives in the soil; low, likely, high",
    "expected_net_return": "currency a year, whole farm, mean of all courses of good and bad years",
    "worst_fifth_net_return": "currency a year, whole farm, mean of the worst fifth of courses",
    "expected_present_value": "currency of today, all plan years, mean of all courses",
    "worst_fifth_present_value": "currency of today, all plan years, mean of the worst fifth of courses",
    "year_below_floor_share": "share of years with less than the least cash, 0 to 1",
    "any_year_below_floor_share": "share of courses with at least one such year, 0 to 1",
    "leanest_year_net_return": "currency, net return of the leanest year, median of the courses",
    "net_return_range": "currency, one a year; low and high leave out a tenth of the courses each, likely is "
    "their mean",
    "contract_short_share": "share of years whose harvest is short of promised tonnes, 0 to 1; "
    "null = nothing is promised",
    "bad_year_net_return": "currency, one a year: net return of that year if it is dry or wet, less what it "
    "costs the years after it",
    "years_to_target": "years until the target is met; low, likely, high; null = not within the plan",
    "proven_gap_share": "share by which a better plan could still exist; null = not known",
    "largest_difference": "in the unit given beside it",
    "burden_share": "likely roots, the years weighted as for choosing, share of today's",
    "mean_net_return": "currency a year, whole farm, mean of the years",
    "labour_hours_a_year": "hours a year",
    "weeds_cost": "currency, whole farm, end of the last plan year: yield that weeds left take in the years "
    "after the plan, in no other figure; low, likely, high",
    "nitrogen_kg": "kilograms that the first crop after the plan need not be given, whole farm",
    "nitrogen_worth": "currency, whole farm, in no other figure",
    "nitrogen_price_per_kg": "currency per kilogram",
    "stand_ha": "hectares of hay that stand on after the plan",
    "stand_worth": "currency, whole farm, in no other figure",
    "interest_rate_share": "share a year",
    "half_month": "0 to 23, 0 = early January; null = not by half-month",
    "step": "how much looser, in step_unit: h, ha, t, share, currency",
    "brings_at_least": "currency a year, whole farm, that a plan found brings more",
    "brings_at_most": "currency a year, whole farm, that no plan brings more; null = not known",
    "opening_cash": "currency, in hand before the first work of the plan",
    "cash_left": "currency, in hand at the end of the quarter",
    "money": "currency in the quarter, by what it is for; paid out is negative",
    "quarter": "1 to 4: January to March, April to June, July to September, October to December",
    "there": "one value a plan year (cash: a calendar year), in the unit beside it: what there is",
    "gone": "one value a plan year (cash: a calendar year), in the unit beside it: where it goes",
    "missing_h": "hours beyond those of a year with few field days",
    "needed_h": "hours",
    "cutting_h": "hours of the farm's people at the first cut of hay",
    "planting_h": "hours of the farm's people at planting, sowing and hoeing",
    "own_h": "hours of the farm's people there are",
    "hay_days": "days fit for hay in the half-month, median year",
    "hay_days_bad_year": "days fit for hay in the half-month, bad year",
    "field_days": "days fit for field work in the half-month, median year",
    "field_days_bad_year": "days fit for field work in the half-month, bad year",
    "other_crop_type_share": "share of the area-years under another crop type",
    "job_h": "hours of the machine, or by hand, for the whole field",
    "job_labour_h": "hours of the farm's own people, for the whole field",
    "harvested_t": "tonnes, all fields of the crop",
    "sown_kg": "kilograms, by crop sown",
    "nitrogen_bought_kg": "kilograms",
    "money_by_part": "currency in the harvest year, by what it is for; paid out is negative",
    "hired_amount": "in the unit beside it: ha, bale, t, h",
    "cost": "currency in the harvest year",
    "days": "days from 1 January of the harvest year",
    "cover_share": "share of the ground covered, one a day of days",
    "emerged_share": "share of the weed's spring shoots up if left alone, one a day of days",
    "light_share": "mean share of full light left to the weed from first shoots to bud stage",
    "cover_at_half_up_share": "share of the ground covered when half the shoots are up",
    "harvest_day": "day from 1 January of the harvest year",
    "net_change_a_year": "currency a year, whole farm, mean of the years, against the plan; null = no second",
    "roots_change_share": "share of today's roots, at the end, against the plan; null = no second",
    "reserve_today_share": "likely living root on 1 November before the plan where the weed stands, share of "
    "a full stand, by weed",
    "day_of_year": "day of the calendar year, 0 = 1 January",
    "promised_shoots_per_m2": "shoots per square metre, where the weed stands; low, likely, high",
    "counted_shoots_per_m2": "shoots per square metre, where the weed stands; low, likely, high",
    "stops": "stops at which a frame was counted",
    "reserve_before_counts_share": "living root store where the weed stands, share of a full stand, as "
    "foretold; low, likely, high",
    "reserve_with_counts_share": "living root store where the weed stands, share of a full stand, once "
    "counts were held against it; low, likely, high",
    "visits_used": "visits of the scouting log that were held against the plan",
    "effective_courses": "courses that still count once weighed by the counts, of the weed with the fewest",
    "likelihood_power": "power that the likelihood of the counts of that weed was raised to, 0 to 1; below 1 "
    "where too few courses would have been left",
}


def low_likely_high(values: Sequence[float]) -> dict[str, float]:
    """Three figures by name."""
    low, likely, high = values
    return {"low": low, "likely": likely, "high": high}


def courses(by_weed: Mapping[str, Sequence[Sequence[float]]]) -> dict[str, list[dict[str, float]]]:
    """Low, likely and high of each year, by weed."""
    return {weed: [low_likely_high(values) for values in years] for weed, years in by_weed.items()}


def by_name(amounts: Mapping[str, Sequence[float]]) -> dict[str, list[float]]:
    """One figure a year, by name."""
    return {name: list(values) for name, values in amounts.items()}


def rounded(value: Any) -> Any:
    """Numbers cut to what can be meant; what is not a number becomes null, which JSON can say."""
    if isinstance(value, Mapping):
        return {str(key): rounded(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [rounded(item) for item in value]
    if isinstance(value, bool | str) or value is None:
        return value
    if isinstance(value, int):
        return value
    number = float(value)
    return float(f"{number:.{DIGITS}g}") if math.isfinite(number) else None
