"""The calendar of work: every pass of a plan, dated, with hours that add up to those of the figures."""

import itertools
from collections import Counter
from dataclasses import replace
from datetime import date

import fake_result
import pytest
from demo_farm import demo

from rotation_opt.records import Alternative, Result
from rotation_opt.report.calendar_page import counts
from rotation_opt.report.summary import Reading
from rotation_opt.report.wording import Wording


@pytest.fixture(scope="module")
def result() -> Result:
    return demo("lindenhang").result


def plans(result: Result) -> list[Alternative]:
    return [plan for plan in result.alternatives if plan.key in result.jobs]


def test_hours_of_the_jobs_are_those_of_the_figures_year_by_year(result: Result) -> None:
    for plan in plans(result):
        hours: Counter[int] = Counter()
        for job in result.jobs[plan.key]:
            hours[date.fromisoformat(job.first).year] += job.labour_h
        # nobody works in the first days of January, so no window begins in the year before its day
        for year, by_half in enumerate(plan.figures.labour_hours):
            assert hours[result.farm.first_year + year] == pytest.approx(sum(by_half), abs=0.1)


def test_jobs_stand_in_the_order_of_their_days_and_end_after_they_begin(result: Result) -> None:
    for found in result.jobs.values():
        assert found
        assert [job.first for job in found] == sorted(job.first for job in found)
        assert all(date.fromisoformat(job.first) <= date.fromisoformat(job.last) for job in found)


def test_no_field_has_two_jobs_of_different_days_that_overlap(result: Result) -> None:
    for found in result.jobs.values():
        for field in result.farm.fields:
            windows = sorted({(job.first, job.last) for job in found if job.field == field.name})
            for (_, end), (start, _) in itertools.pairwise(windows):
                assert end < start, field.name


def test_a_contractor_brings_his_own_driver(result: Result) -> None:
    hired = [job for found in result.jobs.values() for job in found if job.hired]
    assert hired
    assert all(job.labour_h == 0.0 for job in hired)


def test_shoots_are_counted_only_where_the_land_is_still_farmed() -> None:
    whole = fake_result.result()
    plan = whole.alternatives[1]
    first = whole.farm.fields[0]
    left = replace(plan, practices={**plan.practices, first.name: (*plan.practices[first.name][:2], "", "")})
    reading = Reading(whole, Wording(whole.farm, fake_result.tables()))
    years = {when[:4]: fields for weed, when, fields in counts(reading, left) if weed == "creeping_thistle"}
    assert sorted(years) == ["2027", "2028", "2029", "2030"]
    assert first.name in years["2028"] and first.name not in years["2029"]
    assert not any(weed == "field_bindweed" and when > "2029" for weed, when, _ in counts(reading, left))
