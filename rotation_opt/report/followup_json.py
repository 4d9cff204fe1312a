"""What became of the plan followed, as JSON: the records of ``promises.py``, walked field by field."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any

from rotation_opt.promises import FollowUp, Held, Narrowed, Otherwise
from rotation_opt.report.json_values import low_likely_high

KEYS: Mapping[tuple[type, str], str] = {
    (FollowUp, "title"): "plan_followed",
    (FollowUp, "held"): "counts",
    (FollowUp, "otherwise"): "done_otherwise",
    (FollowUp, "effective"): "effective_courses",
    (FollowUp, "power"): "likelihood_power",
    (Held, "promised"): "promised_shoots_per_m2",
    (Held, "by_plan"): "promised_by_plan",
    (Held, "counted"): "counted_shoots_per_m2",
    (Narrowed, "before"): "reserve_before_counts_share",
    (Narrowed, "after"): "reserve_with_counts_share",
    (Otherwise, "planned"): "planned_practice",
    (Otherwise, "done"): "done_practice",
}
"""Keys that say more than the name of the field does, such as a unit; all other fields keep their name."""


def followup(told: FollowUp | None) -> dict[str, Any] | None:
    """The record with all its fields, and the side on which each count lies; None where there is none."""
    if told is None:
        return None
    return {
        **_record(told),
        "counts": [{**_record(each), "side": each.side} for each in told.held],
    }


def _record(told: Any) -> dict[str, Any]:
    return {
        KEYS.get((type(told), field.name), field.name): _value(getattr(told, field.name))
        for field in fields(told)
    }


def _value(found: Any) -> Any:
    """A triple of floats is low, likely and high in these records, an empty text is nothing."""
    if is_dataclass(found):
        return _record(found)
    if isinstance(found, Mapping):
        return {str(key): _value(each) for key, each in found.items()}
    if isinstance(found, tuple):
        if len(found) == 3 and all(isinstance(each, float) for each in found):
            return low_likely_high(found)
        return [_value(each) for each in found]
    return None if found == "" else found
