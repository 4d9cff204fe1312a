"""The work of one plan for any calendar program (RFC 5545): a window is one event over its days."""

from __future__ import annotations

import uuid
from collections import Counter
from datetime import UTC, date, datetime, time, timedelta

from icalendar import Alarm, Calendar, Event, vText

from rotation_opt.records import Alternative
from rotation_opt.report.calendar_page import TO_COUNT, counts, hours, machine_of, past
from rotation_opt.report.plain_text import clean
from rotation_opt.report.summary import Reading
from rotation_opt.report.wording import capital

AHEAD = timedelta(days=3)
"""A job is called to mind so long before its first day: our judgement."""

OURS = uuid.UUID("5b1f3c9a-52a4-4d0e-9c53-0f3a4f0d7c11")
"""Random once and for all: what the names of events are made from, so that nobody else's are the same."""

Name = tuple[str | int, ...]
"""What an event is known by: no two of them alike, whatever stands in the names of fields."""

CAUTION = "A date of a usual year: weather and stage decide. Estimates, not advice; mind local rules."


def render(reading: Reading, plan: Alternative) -> bytes:
    """The calendar file of one plan.

    The name of an event is made of farm, field, harvest year, job and how many times it has come, not of its
    date. So a plan read in anew moves events that are there already and does not double them.

    Parameters
    ----------
    reading : Reading
    plan : Alternative

    Returns
    -------
    bytes
        Text as RFC 5545 asks for. The same plan gives the same bytes.
    """
    words, farm = reading.wording, reading.result.farm
    calendar = Calendar()
    calendar.add("prodid", "-//rotation_opt//calendar of work//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("x-wr-calname", vText(clean(f"{farm.name}: {plan.title}")))  # else it is not escaped
    stamp = datetime.combine(date.fromisoformat(farm.decided_on), time(), UTC)
    times: Counter[Name] = Counter()
    for job in sorted(reading.result.jobs.get(plan.key, ()), key=lambda job: (job.first, job.last)):
        name = (job.field, job.harvest_year, job.operation)
        times[name] += 1
        if past(reading, job):
            continue  # nobody wants to be told of it any more
        who = words.word("contractor") if job.hired else "own"
        told = [
            f"Look for: {job.stage}" if job.stage else "",
            f"For {words.crop(job.crop).lower()}, harvest {job.harvest_year}",
            f"With: {machine_of(words, job)}, {hours(job.hours)} h ({who})",
            CAUTION,
        ]
        what = f"{capital(words.operation(job.operation))}: {job.field}"
        _add(calendar, reading, ((*name, times[name]), what, told), (job.first, job.last), stamp)
    for weed, when, fields in counts(reading, plan):
        told = [f"Look for: {words.weed(weed)} at bud stage", "Use the scouting sheet.", CAUTION]
        name_of_count = ("count", int(when[:4]), weed)
        _add(
            calendar, reading, (name_of_count, f"{TO_COUNT}: {', '.join(fields)}", told), (when, when), stamp
        )
    return bytes(calendar.to_ical())


def _add(
    calendar: Calendar,
    reading: Reading,
    said: tuple[Name, str, list[str]],
    days: tuple[str, str],
    stamp: datetime,
) -> None:
    """One event with its alarm; the end is the day after the last one."""
    name, what, told = said
    event = Event()
    event.add("uid", str(uuid.uuid5(OURS, repr((reading.result.farm.name, *name)))))
    event.add("dtstamp", stamp)
    event.add("dtstart", date.fromisoformat(days[0]))
    event.add("dtend", date.fromisoformat(days[1]) + timedelta(days=1))
    event.add("summary", clean(what))
    event.add("description", clean("\n".join(filter(None, told))))
    event.add("transp", "TRANSPARENT")
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", clean(what))
    alarm.add("trigger", -AHEAD)
    event.add_component(alarm)
    calendar.add_component(event)
