"""Results as JSON for other programs: one documented, versioned form, the same bytes for the same input.

The form is described by ``result.schema.json`` beside this file. Names carry their units, and ``units``
spells every one of them out. Wall times are left out, so that two runs of one farm give one file.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from importlib import resources
from typing import Any

from rotation_opt.records import BuyingChoice, Field, MachineCase, Result, Shading
from rotation_opt.report.followup_json import followup
from rotation_opt.report.json_values import UNITS, low_likely_high, rounded
from rotation_opt.report.plan_json import alternative
from rotation_opt.report.sources_page import used_figures
from rotation_opt.report.wording import Wording
from rotation_opt.tables import Tables

SCHEMA_VERSION = "1"


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
    return json.dumps(rounded(content(result, tables)), indent=2, sort_keys=True, ensure_ascii=False) + "\n"


def content(result: Result, tables: Tables) -> dict[str, Any]:
    """The same as plain dicts, lists, texts and numbers, not yet rounded."""
    words = Wording(result.farm, tables)
    return {
        "schema": "rotation_opt result",
        "schema_version": SCHEMA_VERSION,
        "units": dict(UNITS),
        "farm": _farm(result),
        "start_burden_ha": result.start_burden_ha,
        "seed_years": {weed: low_likely_high(years) for weed, years in result.seed_years.items()},
        "alternatives": [alternative(result, plan, words) for plan in result.alternatives],
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
        "followup": followup(result.followup),
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
                "weeds_cost": low_likely_high(left.weeds_cost),
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
                "estimated": patch.estimated,
            }
            for patch in field.patches
        ],
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
