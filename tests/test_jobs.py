"""The calendar of work: every pass of a plan, dated, with hours that add up to those of the figures."""

import itertools
from collections import Counter
from datetime import date

import pytest
from demo_farm import demo

from rotation_opt.records import Alternative, Result


@pytest.fixture(scope="module")
def result() -> Result:
    return demo("lindenhang").result


def plans(result: Result) -> list[Alternative]:
    return [plan for plan in result.alternatives if plan.key in result.jobs]


def test_hours_of_the_jobs_are_those_of_the_figures_half_month_by_half_month(result: Result) -> None:
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
