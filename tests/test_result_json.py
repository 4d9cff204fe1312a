"""The JSON file: its schema, the unit of every number, what became of the last plan."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import fake_result
import jsonschema
import pytest
from small_farm import TABLES as REAL_TABLES
from small_farm import small

from rotation_opt.plan_followed import FollowedPlan, read_plan
from rotation_opt.promises import FollowUp, Held, Narrowed, Otherwise
from rotation_opt.records import Result
from rotation_opt.replanning import replan, take_stock
from rotation_opt.report import result_json
from rotation_opt.report.json_values import UNITS
from rotation_opt.scouting_log import Visit
from rotation_opt.years_done import Done

TABLES = fake_result.tables()
TOLD = FollowUp(
    title="Balanced",
    first_year=2025,
    last_year=2026,
    held=(
        Held(
            field="Home 40",
            weed="creeping_thistle",
            year=2026,
            stops=8,
            promised=(4.0, 6.5, 9.0),
            by_plan=True,
            counted=(9.5, 12.0, 15.0),
        ),
    ),
    roots=(
        Narrowed(
            field="Home 40",
            weed="creeping_thistle",
            before=(0.2, 0.3, 0.5),
            after=(0.35, 0.4, 0.45),
            counted=True,
        ),
    ),
    otherwise=(
        Otherwise(
            field="Home 40",
            year=2026,
            planned="",
            done="oats",
            note="too wet for corn",
            sown_on="2026-05-20",
            usual_sown_on="2026-04-12",
        ),
    ),
    visits_used=2,
    effective=41.5,
    power=0.75,
    notes=("1 visit of the log not held against the plan: it is of another weed.",),
)


def followed_up(told: FollowUp = TOLD) -> Result:
    return dataclasses.replace(fake_result.result(), followup=told)


def written(result: Result) -> Any:
    return json.loads(result_json.dumps(result, TABLES))


@pytest.mark.parametrize("result", [fake_result.result(), followed_up()])
def test_the_json_keeps_to_its_schema(result: Result) -> None:
    schema = result_json.schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(written(result), schema)


def test_the_schema_turns_down_a_missing_and_an_unknown_key() -> None:
    whole = written(followed_up())
    validator = jsonschema.Draft202012Validator(result_json.schema())
    for change in (
        lambda d: d["alternatives"][0].pop("cash"),
        lambda d: d["farm"].update(owner="x"),
        lambda d: d["followup"]["counts"][0].pop("side"),
        lambda d: d["followup"].update(owner="x"),
    ):
        broken = json.loads(json.dumps(whole))
        change(broken)
        assert not validator.is_valid(broken)


def numbers(value: object, key: str = "") -> Iterator[str]:
    """Keys that numbers stand under, from the innermost one that is not a name of a thing."""
    if isinstance(value, dict):
        for inner, item in value.items():
            yield from numbers(item, inner if inner in KNOWN or not key else key)
    elif isinstance(value, list):
        for item in value:
            yield from numbers(item, key)
    elif isinstance(value, int | float) and not isinstance(value, bool):
        yield key


KNOWN = {
    *UNITS,
    "year",
    "years",
    "first_year",
    "last_year",
    "lease_end_year",
    "harvest_year",
    "schema_version",
    "figures",
    "farm",
}
COUNTS = {"year", "years", "first_year", "last_year", "lease_end_year", "harvest_year"}


def test_every_number_in_the_json_has_its_unit_spelled_out() -> None:
    whole = written(followed_up())
    assert all("unit" in figure for figure in whole.pop("figures"))
    inside = set()
    for key, value in whole.items():
        inside |= set(numbers(value if isinstance(value, dict | list) else {key: value}))
    assert inside - COUNTS <= set(whole["units"])
    assert set(whole["units"]) == set(UNITS)


def test_the_same_result_gives_the_same_bytes_and_wall_time_is_not_in_them() -> None:
    one = result_json.dumps(fake_result.result(seconds={"season": 1.0}), TABLES)
    other = result_json.dumps(fake_result.result(seconds={"season": 99.0}), fake_result.tables())
    assert one == other
    assert "seconds" not in json.loads(one)


def test_a_figure_that_is_not_a_number_becomes_null() -> None:
    result = fake_result.result()
    plan = dataclasses.replace(result.alternatives[0], proven_gap=float("inf"))
    result = dataclasses.replace(result, alternatives=(plan,))
    assert written(result)["alternatives"][0]["proven_gap_share"] is None


# ---------------------------------------------------------------- what became of the last plan


def test_a_plan_made_for_the_first_time_says_nothing_of_a_last_one() -> None:
    assert written(fake_result.result())["followup"] is None


def test_what_became_of_the_last_plan_is_in_the_file_field_by_field() -> None:
    assert written(followed_up())["followup"] == {
        "plan_followed": "Balanced",
        "first_year": 2025,
        "last_year": 2026,
        "counts": [
            {
                "field": "Home 40",
                "weed": "creeping_thistle",
                "year": 2026,
                "stops": 8,
                "promised_shoots_per_m2": {"low": 4.0, "likely": 6.5, "high": 9.0},
                "promised_by_plan": True,
                "counted_shoots_per_m2": {"low": 9.5, "likely": 12.0, "high": 15.0},
                "side": "above",
            }
        ],
        "roots": [
            {
                "field": "Home 40",
                "weed": "creeping_thistle",
                "reserve_before_counts_share": {"low": 0.2, "likely": 0.3, "high": 0.5},
                "reserve_with_counts_share": {"low": 0.35, "likely": 0.4, "high": 0.45},
                "counted": True,
                "moved": False,
            }
        ],
        "done_otherwise": [
            {
                "field": "Home 40",
                "year": 2026,
                "planned_practice": None,
                "done_practice": "oats",
                "note": "too wet for corn",
                "sown_on": "2026-05-20",
                "usual_sown_on": "2026-04-12",
                "cut_on": [],
                "usual_cut_on": [],
                "harvested_on": None,
                "usual_harvested_on": None,
            }
        ],
        "visits_used": 2,
        "effective_courses": 41.5,
        "likelihood_power": 0.75,
        "notes": ["1 visit of the log not held against the plan: it is of another weed."],
    }


def test_the_plan_of_a_patch_worked_out_says_so() -> None:
    farm = fake_result.farm()
    field = farm.fields[0]
    patches = (dataclasses.replace(field.patches[0], estimated=True), *field.patches[1:])
    farm = dataclasses.replace(farm, fields=(dataclasses.replace(field, patches=patches), *farm.fields[1:]))
    (first, *_) = written(fake_result.result(farm=farm))["farm"]["fields"]
    assert [patch["estimated"] for patch in first["patches"]] == [True] + [False] * (len(patches) - 1)


WEED = "creeping_thistle"


def visit(year: int, counts: tuple[int, ...]) -> Visit:
    return Visit(field="East", weed=WEED, date=f"{year}-06-21", stage="bud", frame_m2=0.25, counts=counts)


VISITS = (visit(2027, (19, 22, 15, 30, 21)), visit(2028, (9, 12, 10, 8, 14)))


@cache
def planned_anew() -> Result:
    """The rest of an invented plan planned anew after a year."""
    paths = {
        "East": ("spring_barley", "soybean", "corn_grain"),
        "West": ("soybean", "spring_barley", "corn_grain"),
        "North": ("spring_barley", "corn_grain", "soybean"),
    }
    plan = FollowedPlan(
        title="Balanced",
        first_year=2027,
        years=3,
        practices={
            (field, year): key for field, path in paths.items() for year, key in enumerate(path, 2027)
        },
        shoots_per_m2={("East", WEED, 2027): (8.0, 10.0, 12.0)},
    )
    rows = (Done(field="West", year=2027, name="spring_barley", note="too wet for beans"),)
    farm = small(("spring_barley", "soybean", "corn_grain"))
    return replan(farm, REAL_TABLES, plan, visits=VISITS[:1], rows=rows)


def test_a_plan_made_anew_is_followed_in_its_turn_from_its_file(tmp_path: Path) -> None:
    path = tmp_path / "anew.json"
    text = result_json.dumps(planned_anew(), REAL_TABLES)
    path.write_text(text, encoding="utf-8")
    content = json.loads(text)
    jsonschema.validate(content, result_json.schema())

    told, record = content["followup"], planned_anew().followup
    assert record is not None
    (count,) = told["counts"]
    assert count["promised_shoots_per_m2"] == {"low": 8.0, "likely": 10.0, "high": 12.0}
    assert count["counted_shoots_per_m2"]["likely"] == pytest.approx(21.4 / 0.25, rel=0.05)
    assert (count["stops"], count["side"], told["visits_used"]) == (5, "above", 1)
    assert [root["counted"] for root in told["roots"]] == [each.counted for each in record.roots]
    for root, each in zip(told["roots"], record.roots, strict=True):
        after = root["reserve_with_counts_share"]
        assert (after["low"], after["likely"], after["high"]) == pytest.approx(each.after)
    (other,) = told["done_otherwise"]
    assert (other["planned_practice"], other["done_practice"]) == ("soybean", "spring_barley")

    farm = small(("spring_barley", "soybean", "corn_grain"))
    plan = read_plan(path, "As now", farm, REAL_TABLES)
    rows = (Done(field="West", year=2028, name="corn_grain", note=""),)
    later = take_stock(farm, REAL_TABLES, plan, visits=VISITS, rows=rows).followup
    assert (later.first_year, later.last_year) == (2027, 2028)
    held = {each.year: each for each in later.held}
    promised = next(
        year["shoots_per_m2"][WEED]
        for plan in content["alternatives"]
        for year in plan["fields"]
        if plan["title"] == "As now" and (year["field"], year["year"]) == ("East", 2028)
    )
    assert held[2028].by_plan
    assert held[2028].promised == (promised["low"], promised["likely"], promised["high"])
    assert not held[2027].by_plan
