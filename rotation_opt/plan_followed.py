"""The plan that was followed, from the JSON file that ``plan --save`` or ``replan --save`` wrote."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rotation_opt import text_file, words
from rotation_opt.errors import Fault, InputError
from rotation_opt.records import Farm
from rotation_opt.tables import Tables

Three = tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class FollowedPlan:
    """A plan as it was promised.

    Attributes
    ----------
    title : str
    first_year, years : int
    practices : mapping
        (field, year) -> practice key, of the years before the plan too; left out where the field was not to
        be farmed.
    shoots_per_m2 : mapping
        (field, weed, year) -> low, likely, high at bud stage.
    """

    title: str
    first_year: int
    years: int
    practices: Mapping[tuple[str, int], str]
    shoots_per_m2: Mapping[tuple[str, str, int], Three]


def read_plan(path: Path, title: str, farm: Farm, tables: Tables) -> FollowedPlan:
    """One plan of a result file.

    Parameters
    ----------
    path : Path
        JSON file written by ``rotation-opt plan FARM --save FILE.json``.
    title : str
        Title, key or letter of the plan that was followed.
    farm : Farm
    tables : Tables

    Raises
    ------
    InputError
        If the file is none of this program, of another farm, or has no plan of that title.
    """
    needed = "needed is a JSON file that `rotation-opt plan --save` wrote"
    try:
        content = json.loads(text_file.read(path, "the JSON file of last year's plan"))
    except ValueError as fault:
        raise InputError([Fault(path.name, f"text that is no JSON ({fault})", needed)]) from None
    except RecursionError:
        raise InputError([Fault(path.name, "JSON that is nested too deeply", needed)]) from None
    if not isinstance(content, dict) or content.get("schema") != "rotation_opt result":
        raise InputError([Fault(path.name, "another kind of JSON", needed)])
    try:
        plans = {
            str(plan["title"]): (str(plan["key"]), "ABCDEFGHIJ"[place])
            for place, plan in enumerate(content["alternatives"])
        }
        chosen = words.find(title, plans)
        if chosen is None:
            near = words.nearest(title, plans)
            hint = f'Did you mean "{near}"?' if near else ""
            allowed = f"its plans are {words.listed(list(plans), 'and')}"
            raise InputError([Fault(path.name, f"no plan {title!r}", allowed, hint)])
        plan = next(each for each in content["alternatives"] if each["title"] == chosen)
        followed = _followed(content, plan)
    except (KeyError, TypeError, ValueError, IndexError, AttributeError, OverflowError):
        raise InputError([Fault(path.name, "a file that is not whole", needed)]) from None
    _same_farm(path, followed, farm, tables)
    return followed


def _followed(content: Mapping[str, Any], plan: Mapping[str, Any]) -> FollowedPlan:
    entries, first = plan["fields"], int(content["farm"]["first_year"])
    gone = {
        (str(field["name"]), first - back): str(key)
        for field in content["farm"]["fields"]
        for back, key in enumerate(reversed(field["history"]), start=1)
    }
    grown = {
        (str(entry["field"]), int(entry["year"])): str(entry["practice"])
        for entry in entries
        if entry["practice"]
    }
    return FollowedPlan(
        title=str(plan["title"]),
        first_year=first,
        years=int(content["farm"]["years"]),
        practices={**gone, **grown},
        shoots_per_m2={
            (str(entry["field"]), str(weed), int(entry["year"])): (
                float(shoots["low"]),
                float(shoots["likely"]),
                float(shoots["high"]),
            )
            for entry in entries
            for weed, shoots in entry["shoots_per_m2"].items()
        },
    )


def _same_farm(path: Path, plan: FollowedPlan, farm: Farm, tables: Tables) -> None:
    here = {field.name for field in farm.fields}
    there = {field for field, _ in plan.practices}
    faults = [
        Fault(path.name, f'field "{name}"', "the farm file has no such field", "Is it another farm's plan?")
        for name in sorted(there - here)
    ]
    strange = sorted({key for key in plan.practices.values() if key not in tables.practices})
    faults += [
        Fault(path.name, f"practice {key!r}", "the crop tables have no such practice") for key in strange
    ]
    if faults:
        raise InputError(faults)
