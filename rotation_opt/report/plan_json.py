"""One alternative as JSON: its figures, work, money and second bests, and what was reckoned again."""

from __future__ import annotations

from typing import Any

from rotation_opt.ledgers import CashCourse, CropAccount, FieldDays, Job, RunnerUp
from rotation_opt.records import Alternative, Result, Risk, YearOnField
from rotation_opt.report.json_values import by_name, courses, low_likely_high
from rotation_opt.report.wording import Wording


def alternative(result: Result, plan: Alternative, words: Wording) -> dict[str, Any]:
    """One alternative, with what the result holds of it elsewhere; numbers not yet rounded."""
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
        "annual_seed_times": courses(result.annual_seed.get(plan.key, {})),
        "good_and_bad_years": _risk(result.risks.get(plan.key)),
        "patches_ha": courses(figures.patches_ha),
        "seed_shed_per_m2": courses(figures.seed_shed_per_m2),
        "net_return": list(figures.net_return),
        "net_return_per_ha_year": figures.net_return_per_ha_year,
        "cash": list(figures.cash),
        "burden_ha": [low_likely_high(values) for values in figures.burden],
        "labour_hours": [list(year) for year in figures.labour_hours],
        "extra_labour_hours": [list(year) for year in figures.extra_labour_hours],
        "machine_hours": {
            machine: [list(year) for year in years] for machine, years in figures.machine_hours.items()
        },
        "hired_hours": by_name(figures.hired_hours),
        "hire_cost": list(figures.hire_cost),
        "extra_labour_cost": list(figures.extra_labour_cost),
        "extra_hire_cost": list(figures.extra_hire_cost),
        "made_t": by_name(figures.made_t),
        "sold_t": by_name(figures.sold_t),
        "unsold_t": by_name(figures.unsold_t),
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
                "there": by_name(each.there),
                "gone": by_name(each.gone),
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


def _year(entry: YearOnField, words: Wording) -> dict[str, Any]:
    return {
        "field": entry.field,
        "year": entry.year,
        "practice": entry.practice,
        "practice_name": words.practice(entry.practice) if entry.practice else "not farmed",
        "yield_t_ha": entry.yield_t_ha,
        "weed_loss_share": entry.weed_loss,
        "net_return_per_ha": entry.net_return_per_ha,
        "reserve_share": {weed: low_likely_high(values) for weed, values in entry.reserve.items()},
        "shoots_per_m2": {weed: low_likely_high(values) for weed, values in entry.shoots_per_m2.items()},
        "bare_weeks": entry.bare_weeks,
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
        "net_return_range": [low_likely_high(year) for year in risk.net_by_year],
        "contract_short_share": risk.contract_short,
        "bad_year_net_return": by_name(risk.bad_years),
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
