"""Good and bad years on the page and as JSON, with figures made up so that every mark can be worked out."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from typing import Any

import fake_result
import jsonschema
import pytest
from small_farm import TABLES as SHIPPED
from small_farm import plain, small
from whole_page import plan_page

from rotation_opt.planning import plan
from rotation_opt.records import Result, Risk
from rotation_opt.report import result_json, terminal
from rotation_opt.report.limits import limits_in_words
from rotation_opt.report.risk import risk_sections
from rotation_opt.report.summary import Reading
from rotation_opt.report.wording import Wording

TABLES = fake_result.tables()


def _risk(**changes: Any) -> Risk:
    values: dict[str, Any] = {
        "courses": 1000,
        "expected_net": 21000.4,
        "worst_fifth_net": -3200.0,
        "expected_present_value": 70000.0,
        "worst_fifth_present_value": -9000.0,
        "year_below_floor": 0.234,
        "any_year_below_floor": 0.62,
        "leanest_year": 4100.0,
        "net_by_year": ((1.0, 2.0, 3.0),) * fake_result.YEARS,
        "contract_short": 0.31,
        "bad_years": {"dry": (100.0, -5000.0, 300.0, 0.0), "wet": (9.0, 9.0, 9.0, 9.0)},
    }
    return Risk(**{**values, **changes})


def _result(risk: Risk) -> Result:
    plain = fake_result.result()
    return fake_result.result(risks={plan.key: risk for plan in plain.alternatives})


def _rows(result: Result) -> dict[str, tuple[str, ...]]:
    (section,) = risk_sections(Reading(result, Wording(result.farm, TABLES)), result.alternatives)
    return {row[0]: row[1:] for row in section.blocks[0].rows}  # type: ignore[union-attr]


def test_each_figure_stands_in_its_row() -> None:
    rows = _rows(_result(_risk()))
    assert {label: cells[0] for label, cells in rows.items()} == {
        "Expected net return, $ a year": "21,000",
        "Mean of the worst fifth of runs, $ a year": "-3,200",
        "Years in ten with less than your least cash, $15,000": "2.3",
        "Chance in ten of at least one such year in 4": "6.2",
        "Worst year in a typical run, $": "4,100",
        "Years in ten with a promise not filled from your own harvest": "3.1",
        "In a dry year, $ (worst)": "-1,150\n(-5,000 in 2028)",
        "In a wet year, $ (worst)": "9\n(9 in 2027)",
    }


def test_without_a_promise_there_is_no_row_for_it() -> None:
    assert not any("promise" in label for label in _rows(_result(_risk(contract_short=None))))


def test_without_figures_there_is_no_section() -> None:
    result = fake_result.result()
    assert risk_sections(Reading(result, Wording(result.farm, TABLES)), result.alternatives) == []


def test_the_section_fits_the_page_and_says_that_it_is_no_forecast() -> None:
    text = terminal.render(plan_page(_result(_risk()), TABLES), width=80)
    assert "Good and bad years" in text
    assert "This is no forecast" in text
    assert max(len(line) for line in text.splitlines()) <= 80


@cache
def _shown(*keep: str) -> tuple[str, Result]:
    """The page of a small farm with made-up figures on risk, but real plans and tables."""
    farm = small(keep=keep)
    result = plan(farm, SHIPPED)
    return " ".join(terminal.render(plan_page(result, SHIPPED), width=80).split()), result


def test_crops_with_published_swings_are_told_from_those_that_borrow() -> None:
    text, result = _shown("spring_barley", "soybean", "corn_grain", "oat")
    grown = {key for plan in result.alternatives for path in plan.practices.values() for key in path}
    own = [
        name
        for key, name in (
            ("corn_grain", "corn for grain"),
            ("soybean", "soybeans"),
            ("spring_barley", "spring barley"),
        )
        if key in grown
    ]
    assert len(own) == 3
    assert f"Yields of {own[0]}, {own[1]} and {own[2]} swing as those of US states did" in text
    # field by field from the tables: what is derived from a state series is published, the rest is judged
    for crop in ("corn_grain", "soybean", "spring_barley"):
        assert SHIPPED.figure("crop", crop, "yield_cv").source == "AGRIDAT"


def test_a_farm_without_hay_reads_nothing_of_hay_and_what_grain_loses() -> None:
    text, _ = _shown("spring_barley", "soybean", "corn_grain", "oat")
    told = text.partition("Good and bad years")[2].partition("What is left after")[0]
    assert "hay" not in told.lower()
    # corn 34, soybeans 35, barley 42.5 per cent below trend in 1988: read in the table of figures
    assert "in the drought of 1988, crops lose 34 to 43%." in told
    assert "as in 1993, crops lose 33 to 34%." in told
    assert "Price swings and how they go together are judgement" in told


def test_borrowed_swings_and_hay_are_said() -> None:
    real = plain()
    now = real.plan["as_now"]
    hay = {"East": ("oat_alfalfa", "alfalfa_1", "alfalfa_2"), "West": ("spring_barley",) * 3}
    result = replace(
        fake_result.result(),
        farm=real.farm,
        alternatives=(replace(now, practices=hay),),
        risks={now.key: _risk()},
    )
    (section,) = risk_sections(Reading(result, Wording(real.farm, SHIPPED)), result.alternatives)
    told = " ".join(block.text for block in section.blocks[1:])  # type: ignore[union-attr]
    assert "hay loses 40%, other crops lose 43%, a new hay stand fails and hay is dear." in told
    assert "one cutting of hay is missed, the others are late and sell for less" in told
    assert "Yields of alfalfa hay and spring barley swing as those of US states did" in told
    assert "For oats no such figures were found" in told


@pytest.mark.parametrize(("weight", "seen"), [(0.0, "proven"), (0.3, "likely")])
def test_nothing_is_called_proven_where_the_search_sees_bad_years_more_simply(
    weight: float, seen: str
) -> None:
    result = fake_result.result()
    result = replace(result, farm=replace(result.farm, bad_years_weight=weight))
    reading = Reading(result, Wording(result.farm, TABLES))
    for plan_, gap in ((result.alternatives[1], 0.0), (result.alternatives[1], 0.014)):
        assert reading.how_sure(replace(plan_, proven_gap=gap)).startswith(seen)
    assert (
        reading.how_sure(replace(result.alternatives[-1], key="fastest", proven_gap=0.0)) == "proven the best"
    )
    said = " ".join(limits_in_words(result.farm, reading.wording))
    assert ("likely, not proven" in said) is (weight > 0.0)


def test_the_json_carries_it_and_keeps_to_its_schema() -> None:
    made = json.loads(result_json.dumps(_result(_risk()), TABLES))
    jsonschema.validate(made, result_json.schema())
    told = made["alternatives"][0]["good_and_bad_years"]
    assert told["worst_fifth_net_return"] == -3200.0
    assert told["bad_year_net_return"]["dry"] == [100.0, -5000.0, 300.0, 0.0]
    assert told["net_return_range"][0] == {"low": 1.0, "likely": 2.0, "high": 3.0}
    without = json.loads(result_json.dumps(fake_result.result(), TABLES))
    jsonschema.validate(without, result_json.schema())
    assert without["alternatives"][0]["good_and_bad_years"] is None
