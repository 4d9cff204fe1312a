"""Results as JSON for other programs: one documented, versioned form, the same bytes for the same input.

The form is described by ``result.schema.json`` beside this file. Names carry their units, and ``units``
spells every one of them out. Wall times are left out, so that two runs of one farm give one file.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from importlib import resources
from typing import Any

from rotation_opt.ledgers import CashCourse, CropAccount, FieldDays, Job, RunnerUp
from rotation_opt.records import (
    Alternative,
    BuyingChoice,
    Field,
    MachineCase,
    Result,
    Risk,
    Shading,
    YearOnField,
)
from rotation_opt.report.sources_page import used_figures
from rotation_opt.report.wording import Wording
from rotation_opt.tables import Tables

SCHEMA_VERSION = "1"
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
}


def schema() -> dict[str, Any]:
    """The JSON Schema that every result file keeps to."""
    text = (resources.files("rotation_opt.report") / "result.schema.json").read_text(encoding="utf-8")
    loaded: dict[str, Any] = json.loads(text)
    return loaded


def dumps(result: Result, tables: Tables) -> str:
    """A result as JSON text.

    Parameters
    ----------
    result : Result
        What the run found.
    tables : Tables
        Names, and the figures that were looked up.

    Returns
    -------
    str
        UTF-8-safe text with keys in alphabetical order, ending with a line end.
    """
    return json.dumps(_rounded(content(result, tables)), indent=2, sort_keys=True, ensure_ascii=False) + "\n"


def content(result: Result, tables: Tables) -> dict[str, Any]:
    """The same as plain dicts, lists, texts and numbers, not yet rounded."""
    words = Wording(result.farm, tables)
    return {
        "schema": "rotation_opt result",
        "schema_version": SCHEMA_VERSION,
        "units": dict(UNITS),
        "farm": _farm(result),
        "start_burden_ha": result.start_burden_ha,
        "seed_years": {weed: _low_likely_high(years) for weed, years in result.seed_years.items()},
        "alternatives": [_alternative(result, plan, words) for plan in result.alternatives],
        "differences": [
            {"between": list(pair), "other_crop_type_share": share}
            for pair, share in sorted(result.distances.items())
        ],
        "price_of_cleaner": [
            {
                "burden_share": step.burden_share,
                "mean_net_return": step.net_return,
                "labour_hours_a_year": step.labour_h,
                "proven_gap_share": step.proven_gap,
                "mark": step.mark or None,
                "alternative": step.alternative or None,
            }
            for step in result.price_steps
        ],
        "price_of_cleaner_doubts": list(result.price_doubts),
        "shading": [_shading(each) for each in result.shading],
        "weed_days": [
            {"weed": weed, "stage": stage, "day_of_year": day}
            for weed, days in result.weed_days.items()
            for stage, day in days.items()
        ],
        "tight_limits": [
            {
                "kind": limit.kind,
                "what": limit.what or None,
                "outlet": limit.outlet or None,
                "field": limit.field or None,
                "half_month": limit.half_month,
                "step": limit.step,
                "step_unit": limit.unit,
                "brings_at_least": limit.gain,
                "brings_at_most": limit.most,
            }
            for limit in result.tight_limits
        ],
        "own_or_hire": [_machine_case(case) for case in result.machine_cases],
        "buying": [_buying(choice) for choice in result.buying],
        "carry_over": _carry_over(result),
        "left_out": [{"what": what, "why": why} for what, why in result.left_out],
        "assumptions": list(result.assumptions),
        "cautions": list(result.cautions),
        "figures": _figures(tables),
        "sources": _sources(tables),
    }


def _machine_case(case: MachineCase) -> dict[str, Any]:
    """Own against hire for one machine; all of it estimates."""
    return {
        "machine": case.machine,
        "now": case.now,
        "area_worked_ha": case.area_ha,
        "hours_worked": case.hours,
        "price": case.price,
        "remaining_value": case.remaining,
        "years_kept": case.years_kept,
        "interest_rate_share": case.interest,
        "owning_a_year": case.owning,
        "running_a_year": case.running,
        "hired_a_year": case.hired,
        "break_even_ha": None if math.isinf(case.break_even_ha) else case.break_even_ha,
    }


def _buying(choice: BuyingChoice) -> dict[str, Any]:
    """The best plan with some machines bought; none of them first."""
    return {
        "machines": list(choice.machines),
        "net_a_year": choice.net if choice.searched and not choice.why_not else None,
        "owning_a_year": None if choice.why_not else choice.owning,
        "gain_a_year": None if choice.why_not else choice.gain,
        "proven_gap_share": choice.gap,
        "searched": choice.searched,
        "why_not": choice.why_not or None,
    }


def _carry_over(result: Result) -> dict[str, Any] | None:
    found = result.carry_over
    if found is None:
        return None
    return {
        "years": found.years,
        "interest_rate_share": found.interest_rate,
        "nitrogen_price_per_kg": found.nitrogen_per_kg,
        "plans": {
            key: {
                "weeds_cost": _low_likely_high(left.weeds_cost),
                "nitrogen_kg": left.nitrogen_kg,
                "nitrogen_worth": left.nitrogen_worth,
                "stand_ha": left.stand_ha,
                "stand_worth": left.stand_worth,
            }
            for key, left in found.plans.items()
        },
    }


def _farm(result: Result) -> dict[str, Any]:
    farm = result.farm
    return {
        "name": farm.name,
        "place": farm.place,
        "invented": farm.invented,
        "region": farm.region,
        "currency": farm.currency,
        "first_year": farm.first_year,
        "years": farm.years,
        "decided_on": farm.decided_on,
        "organic": farm.organic,
        "target_shoots_per_m2": farm.target_shoots_per_m2,
        "fields": [_field(field, result.reserve_today.get(field.name, {})) for field in farm.fields],
    }


def _field(field: Field, roots: Mapping[str, float]) -> dict[str, Any]:
    return {
        "name": field.name,
        "area_ha": field.area_ha,
        "lease_end_year": field.lease_end_year,
        "history": list(field.history),
        "reserve_today_share": dict(roots),
        "patches": [
            {
                "weed": patch.weed,
                "area_ha": patch.area_ha,
                "shoots_per_m2": patch.shoots_per_m2,
                "counted_on": patch.counted_on,
                "stage": patch.stage,
            }
            for patch in field.patches
        ],
    }


def _alternative(result: Result, plan: Alternative, words: Wording) -> dict[str, Any]:
    figures = plan.figures
    return {
        "key": plan.key,
        "title": plan.title,
        "apart": plan.apart,
        "choose_if": plan.choose_if,
        "same_as": plan.same_as or None,
        "limits_not_kept": list(plan.breaks),
        "notes": list(plan.notes),
        "proven_gap_share": plan.proven_gap,
        "years_to_target": list(result.years_to_target.get(plan.key, (None, None, None))),
        "annual_seed_times": _courses(result.annual_seed.get(plan.key, {})),
        "good_and_bad_years": _risk(result.risks.get(plan.key)),
        "patches_ha": _courses(figures.patches_ha),
        "seed_shed_per_m2": _courses(figures.seed_shed_per_m2),
        "net_return": list(figures.net_return),
        "net_return_per_ha_year": figures.net_return_per_ha_year,
        "cash": list(figures.cash),
        "burden_ha": [_low_likely_high(values) for values in figures.burden],
        "labour_hours": [list(year) for year in figures.labour_hours],
        "extra_labour_hours": [list(year) for year in figures.extra_labour_hours],
        "machine_hours": {
            machine: [list(year) for year in years] for machine, years in figures.machine_hours.items()
        },
        "hired_hours": _by_name(figures.hired_hours),
        "hire_cost": list(figures.hire_cost),
        "extra_labour_cost": list(figures.extra_labour_cost),
        "extra_hire_cost": list(figures.extra_hire_cost),
        "made_t": _by_name(figures.made_t),
        "sold_t": _by_name(figures.sold_t),
        "unsold_t": _by_name(figures.unsold_t),
        "fed_t": list(figures.fed_t),
        "feed_bought_t": list(figures.feed_bought_t),
        "hay_stored_t": list(figures.hay_stored_t),
        "cut_and_left_ha": list(figures.cut_and_left_ha),
        "bare_weeks_per_field_year": figures.bare_weeks_per_field_year,
        "fields": [_year(entry, words) for entry in plan.fields],
        "cash_by_quarter": _cash(result.cash.get(plan.key)),
        "balances": [
            {
                "what": each.what,
                "unit": each.unit,
                "there": _by_name(each.there),
                "gone": _by_name(each.gone),
            }
            for each in result.balances.get(plan.key, ())
        ],
        "field_days": _field_days(result.field_days.get(plan.key)),
        "jobs": [_job(each) for each in result.jobs.get(plan.key, ())],
        "accounts": [_account(each) for each in result.accounts.get(plan.key, ())],
        "hired_work": [
            {
                "year": each.year,
                "machine": each.machine,
                "unit": each.unit,
                "hired_amount": each.amount,
                "cost": each.cost,
            }
            for each in result.hired.get(plan.key, ())
        ],
        "second_bests": [_second(each) for each in result.runners_up.get(plan.key, ())],
        "second_reckoning": [
            {
                "what": check.what,
                "agrees": check.agrees,
                "largest_difference": check.largest_difference,
                "unit": check.unit,
            }
            for check in result.checks.get(plan.key, ())
        ],
    }


def _job(job: Job) -> dict[str, Any]:
    return {
        "field": job.field,
        "harvest_year": job.harvest_year,
        "crop": job.crop,
        "operation": job.operation,
        "machine": job.machine,
        "first_day": job.first,
        "last_day": job.last,
        "stage": job.stage,
        "hired": job.hired,
        "job_h": job.hours,
        "job_labour_h": job.labour_h,
    }


def _second(second: RunnerUp) -> dict[str, Any]:
    return {
        "field": second.field,
        "year": second.year,
        "practices": list(second.practices),
        "net_change_a_year": second.net_a_year if second.practices else None,
        "roots_change_share": second.roots if second.practices else None,
        "decided_by": second.decided_by,
        "limits": list(second.limits),
        "rules": list(second.rules),
    }


def _account(account: CropAccount) -> dict[str, Any]:
    return {
        "year": account.year,
        "crop": account.crop,
        "area_ha": account.area_ha,
        "harvested_t": account.made_t,
        "sown_kg": dict(account.sown_kg),
        "nitrogen_bought_kg": account.nitrogen_kg,
        "money_by_part": dict(account.money),
    }


def _shading(shading: Shading) -> dict[str, Any]:
    return {
        "practice": shading.practice,
        "previous": shading.previous,
        "weed": shading.weed,
        "days": list(shading.days),
        "cover_share": list(shading.cover),
        "emerged_share": list(shading.emerged),
        "light_share": shading.light,
        "cover_at_half_up_share": shading.cover_at_half_up,
        "harvest_day": shading.harvest_day,
    }


def _risk(risk: Risk | None) -> dict[str, Any] | None:
    if risk is None:
        return None
    return {
        "courses": risk.courses,
        "expected_net_return": risk.expected_net,
        "worst_fifth_net_return": risk.worst_fifth_net,
        "expected_present_value": risk.expected_present_value,
        "worst_fifth_present_value": risk.worst_fifth_present_value,
        "year_below_floor_share": risk.year_below_floor,
        "any_year_below_floor_share": risk.any_year_below_floor,
        "leanest_year_net_return": risk.leanest_year,
        "net_return_range": [_low_likely_high(year) for year in risk.net_by_year],
        "contract_short_share": risk.contract_short,
        "bad_year_net_return": _by_name(risk.bad_years),
    }


def _cash(course: CashCourse | None) -> dict[str, Any] | None:
    if course is None:
        return None
    return {
        "opening_cash": course.opening,
        "quarters": [
            {
                "year": year,
                "quarter": quarter,
                "cash_left": left,
                "money": {part: values[at] for part, values in course.parts.items() if values[at]},
            }
            for at, ((year, quarter), left) in enumerate(zip(course.quarters, course.left, strict=True))
        ],
    }


def _field_days(days: FieldDays | None) -> dict[str, Any] | None:
    if days is None:
        return None
    meeting = days.competition
    return {
        "short_in_bad_year": [
            {
                "machine": each.machine,
                "year": each.year,
                "half_month": each.half_month,
                "missing_h": each.missing_h,
                "needed_h": each.needed_h,
                "can_hire": each.can_hire,
            }
            for each in days.short
        ],
        "first_cut_and_planting": None
        if meeting is None
        else {
            "year": meeting.year,
            "half_month": meeting.half_month,
            "cutting_h": meeting.cutting_h,
            "planting_h": meeting.planting_h,
            "own_h": meeting.there_h,
            "hay_days": meeting.hay_days[0],
            "hay_days_bad_year": meeting.hay_days[1],
            "field_days": meeting.field_days[0],
            "field_days_bad_year": meeting.field_days[1],
        },
        "figures_from": days.borrowed_from,
    }


def _year(entry: YearOnField, words: Wording) -> dict[str, Any]:
    return {
        "field": entry.field,
        "year": entry.year,
        "practice": entry.practice,
        "practice_name": words.practice(entry.practice) if entry.practice else "not farmed",
        "yield_t_ha": entry.yield_t_ha,
        "weed_loss_share": entry.weed_loss,
        "net_return_per_ha": entry.net_return_per_ha,
        "reserve_share": {weed: _low_likely_high(values) for weed, values in entry.reserve.items()},
        "shoots_per_m2": {weed: _low_likely_high(values) for weed, values in entry.shoots_per_m2.items()},
        "bare_weeks": entry.bare_weeks,
    }


def _figures(tables: Tables) -> list[dict[str, Any]]:
    return [
        {
            "table": figure.table,
            "subject": figure.subject,
            "quantity": figure.quantity,
            "value": figure.value,
            "low": figure.low,
            "high": figure.high,
            "unit": figure.unit,
            "mark": figure.mark,
            "source": figure.source,
        }
        for figure in used_figures(tables)
    ]


def _sources(tables: Tables) -> list[dict[str, Any]]:
    used = sorted({figure.source for figure in used_figures(tables)} & tables.sources.keys())
    return [
        {
            "key": key,
            "kind": tables.sources[key].kind,
            "authors": tables.sources[key].authors,
            "year": tables.sources[key].year,
            "title": tables.sources[key].title,
            "publisher": tables.sources[key].publisher,
            "address": tables.sources[key].address,
        }
        for key in used
    ]


def _low_likely_high(values: Sequence[float]) -> dict[str, float]:
    low, likely, high = values
    return {"low": low, "likely": likely, "high": high}


def _courses(by_weed: Mapping[str, Sequence[Sequence[float]]]) -> dict[str, list[dict[str, float]]]:
    return {weed: [_low_likely_high(values) for values in years] for weed, years in by_weed.items()}


def _by_name(amounts: Mapping[str, Sequence[float]]) -> dict[str, list[float]]:
    return {name: list(values) for name, values in amounts.items()}


def _rounded(value: Any) -> Any:
    """Numbers cut to what can be meant; what is not a number becomes null, which JSON can say."""
    if isinstance(value, Mapping):
        return {str(key): _rounded(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_rounded(item) for item in value]
    if isinstance(value, bool | str) or value is None:
        return value
    if isinstance(value, int):
        return value
    number = float(value)
    return float(f"{number:.{DIGITS}g}") if math.isfinite(number) else None
