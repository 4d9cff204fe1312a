"""Good and bad years on the page and as JSON, with figures made up so that every mark can be worked out."""

from __future__ import annotations

import json
from typing import Any

import fake_result
import jsonschema
from whole_page import plan_page

from rotation_opt.records import Result, Risk
from rotation_opt.report import result_json, terminal
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
        "Leanest year of a middling run, $": "4,100",
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
