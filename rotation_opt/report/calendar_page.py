"""What to do when: the work of one plan by its days, to be ticked off."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from datetime import date
from itertools import groupby

from rotation_opt.ledgers import Job
from rotation_opt.records import Alternative
from rotation_opt.report.blocks import Grid, Page, Section
from rotation_opt.report.summary import Reading
from rotation_opt.report.wording import Wording, capital

HEADER = ("When", "Job", "Crop: fields", "Look for", "With", "Hours", "Done on")
BOX, DONE = "[ ]", "done"
TO_COUNT = "Count the shoots"
HOW_TO_READ = (
    "Days are those of a usual year: weather decides. Where a stage stands under 'Look for', go by it, not "
    "by the date. A line is the same job of one half-month; its days are from the first field to the last, "
    "and its hours those of the machine or, by hand, of people, for all its fields. A {contractor} brings a "
    "driver. A rule ends each half-month."
)
BEGUN = (
    "What lies before {day} is taken as done, since the plan followed had it. If it was not done, plan anew "
    "with --decided-on and a day before it."
)
BY_HAND, HIRED, NOBODY = "by hand", "hired", "-"


def calendar_page(reading: Reading, plan: Alternative) -> Page:
    """The calendar of one plan: a section a calendar year, half-months set off by rules.

    Parameters
    ----------
    reading : Reading
    plan : Alternative
    """
    rows = sorted((*_jobs(reading, plan), *_counts(reading, plan)), key=lambda row: row[0])
    sections = [
        Section(key=f"calendar:{plan.key}:{year}", title=f"Work in {year}", blocks=(_grid(list(those)),))
        for year, those in groupby(rows, key=lambda row: row[0][0][:4])
    ]
    return Page(
        key=f"calendar:{plan.key}",
        title=f"Calendar of work, {reading.heading(plan)}",
        lead=(HOW_TO_READ.format(contractor=reading.wording.word("contractor")), *_begun(reading, plan)),
        sections=tuple(sections),
    )


def past(reading: Reading, job: Job) -> bool:
    """Whether a job is over on the day of the plan: it belongs to what has been begun on the field."""
    return job.last < reading.result.farm.decided_on


def _begun(reading: Reading, plan: Alternative) -> tuple[str, ...]:
    if not any(past(reading, job) for job in reading.result.jobs.get(plan.key, ())):
        return ()
    return (BEGUN.format(day=reading.wording.dated(reading.result.farm.decided_on)),)


Order = tuple[str, str, str, str]


def _jobs(reading: Reading, plan: Alternative) -> Iterator[tuple[Order, tuple[str, ...]]]:
    """A row for the same job of one half-month; a field that needs it twice comes into two rows."""
    words = reading.wording
    together: dict[tuple[object, ...], list[Job]] = {}
    times: Counter[tuple[object, ...]] = Counter()
    for job in sorted(reading.result.jobs.get(plan.key, ()), key=lambda job: (job.first, job.last)):
        half = (job.first[:4], half_of(job.first))
        same = (*half, job.operation, job.machine, job.stage, job.hired)
        times[*same, job.field] += 1
        together.setdefault((*same, times[*same, job.field]), []).append(job)
    for those in together.values():
        job, last = those[0], max(each.last for each in those)
        cells = (
            span(words, job.first, last),
            capital(words.operation(job.operation)),
            _fields(words, those),
            capital(job.stage) if job.stage else NOBODY,
            machine_of(words, job),
            hours(sum(each.hours for each in those)),
            DONE if all(past(reading, each) for each in those) else BOX,
        )
        yield (job.first, last, job.operation, job.field), cells


def _fields(words: Wording, jobs: Sequence[Job]) -> str:
    """Crops with the fields they stand on."""
    crops: dict[str, list[str]] = {}
    for job in jobs:
        crops.setdefault(job.crop, []).append(job.field)
    return "; ".join(f"{words.crop_short(crop)}: {', '.join(fields)}" for crop, fields in crops.items())


def _counts(reading: Reading, plan: Alternative) -> Iterator[tuple[Order, tuple[str, ...]]]:
    words = reading.wording
    for weed, when, fields in counts(reading, plan):
        cells = (
            span(words, when, when),
            TO_COUNT,
            ", ".join(fields),
            capital(f"{words.weed(weed)} at bud stage"),
            "scouting sheet",
            NOBODY,
            BOX,
        )
        yield (when, when, "", weed), cells


def counts(reading: Reading, plan: Alternative) -> Iterator[tuple[str, str, list[str]]]:
    """Weed, ISO date and fields: each year its shoots are counted at bud, where the land is still farmed."""
    farm = reading.result.farm
    for weed, days in reading.result.weed_days.items():
        if "bud" not in days:
            continue
        for place in range(farm.years):
            fields = [
                each.name
                for each in farm.fields
                if any(patch.weed == weed for patch in each.patches)
                and any(plan.practices.get(each.name, ())[place : place + 1])
            ]
            if fields:
                yield weed, iso(farm.first_year + place, days["bud"]), fields


def _grid(rows: Sequence[tuple[Order, tuple[str, ...]]]) -> Grid:
    """Rows of one calendar year with a rule above each half-month."""
    starts = {
        at for at, (order, _) in enumerate(rows) if at and half_of(order[0]) != half_of(rows[at - 1][0][0])
    }
    return Grid(header=HEADER, rows=tuple(cells for _, cells in rows), groups=frozenset(starts))


def half_of(when: str) -> int:
    """Half-month 0-23 of an ISO date."""
    day = date.fromisoformat(when)
    return 2 * (day.month - 1) + int(day.day > 15)


def iso(year: int, day: int) -> str:
    """ISO date of a day of a year of 365 days, 0 = 1 January.

    Examples
    --------
    >>> iso(2028, 0), iso(2028, 59), iso(2028, 364)
    ('2028-01-01', '2028-03-01', '2028-12-31')
    """
    usual = date.fromordinal(date(2001, 1, 1).toordinal() + day)
    return f"{year:04d}-{usual.month:02d}-{usual.day:02d}"


def span(words: Wording, first: str, last: str) -> str:
    """Two days of a year in words, as short as may be: "13-15 May", "May 31 to Jun 2"."""
    one, other = words.short_day(first), words.short_day(last)
    if first == last:
        return one
    if first[:7] != last[:7]:
        return f"{one} to {other}"
    day = str(int(last[8:]))
    return f"{one}-{day}" if one.endswith(str(int(first[8:]))) else f"{one.split()[0]}-{other}"


def machine_of(words: Wording, job: Job) -> str:
    """With what a job is done, and whether that is hired."""
    if not job.machine:
        return BY_HAND
    name = words.machine(job.machine)
    return f"{name} ({HIRED})" if job.hired else name


def hours(value: float) -> str:
    """Hours of one job: to half an hour below ten."""
    return f"{value:,.0f}" if value >= 9.75 else f"{max(round(value * 2.0) / 2.0, 0.5):.1f}"
