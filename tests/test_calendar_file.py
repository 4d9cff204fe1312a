"""The work of a plan as a calendar file: whole, by RFC 5545, and read in twice without doubling anything."""

import dataclasses
import datetime
import re
from collections import Counter
from itertools import pairwise

import fake_result
import icalendar
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sample_printout import HOSTILE

from rotation_opt.report.calendar_file import render
from rotation_opt.report.calendar_page import calendar_page
from rotation_opt.report.plain_text import clean
from rotation_opt.report.summary import Reading
from rotation_opt.report.wording import Wording, capital

TABLES = fake_result.tables()
KEY = "balanced"
NAMES = (*HOSTILE, 'a, b; c\\d\\n "e"', "two\nlines", "BEGIN:VEVENT\r\nUID:1", "\x1b[31mred", "x" * 74, "")


def written(result=None) -> bytes:
    result = result or fake_result.result()
    plan = next(each for each in result.alternatives if each.key == KEY)
    return render(Reading(result, Wording(result.farm, TABLES)), plan)


def events(data: bytes) -> list[icalendar.Event]:
    return list(icalendar.Calendar.from_ical(data).walk("VEVENT"))


def named(name: str, **changes):
    fields = fake_result.farm().fields
    farm = fake_result.farm(name=name, fields=(fake_result.renamed(fields[0], name=name), fields[1]))
    return fake_result.result(farm=farm, **changes)


def jobs(result=None):
    return (result or fake_result.result()).jobs[KEY]


def moved(result, days: int):
    """The same work, some days later."""

    def later(iso: str) -> str:
        return (datetime.date.fromisoformat(iso) + datetime.timedelta(days=days)).isoformat()

    there = tuple(
        dataclasses.replace(job, first=later(job.first), last=later(job.last)) for job in jobs(result)
    )
    return dataclasses.replace(result, jobs={KEY: there})


# ---------------------------------------------------------------- what is in it


def test_work_that_is_past_on_the_day_of_the_plan_is_left_out_and_called_done_on_the_page() -> None:
    whole = fake_result.result()
    first = min(jobs(whole), key=lambda job: job.last)
    day = (datetime.date.fromisoformat(first.last) + datetime.timedelta(days=1)).isoformat()
    later = fake_result.result(farm=fake_result.farm(decided_on=day))
    left = sum(job.last >= day for job in jobs(whole))
    assert 0 < left < len(jobs(whole))
    gone = len(events(written(whole))) - len(events(written(later)))
    assert gone == len(jobs(whole)) - left
    pages = {}
    for name, result in (("whole", whole), ("later", later)):
        plan = next(each for each in result.alternatives if each.key == KEY)
        page = calendar_page(Reading(result, Wording(result.farm, TABLES)), plan)
        ticks = [row[-1] for section in page.sections for block in section.blocks for row in block.rows]
        pages[name] = (ticks.count("done"), any("is taken as done" in line for line in page.lead))
    assert pages["whole"] == (0, False)
    assert pages["later"][0] > 0
    assert pages["later"][1]


def test_every_job_is_there_on_its_days():
    """RFC 5545, 3.6.1: an end that is a date is the day after the last one."""
    wanted = Counter(
        (
            f"{capital(job.operation)}: {job.field}",
            datetime.date.fromisoformat(job.first),
            datetime.date.fromisoformat(job.last) + datetime.timedelta(days=1),
        )
        for job in jobs()
    )
    found = Counter(
        (str(event["SUMMARY"]), event["DTSTART"].dt, event["DTEND"].dt) for event in events(written())
    )
    assert len(jobs()) == 16
    assert not wanted - found
    counts = [summary for summary, _, _ in (found - wanted).elements()]
    assert len(counts) == 8  # two weeds in four years
    assert all(summary.startswith("Count the shoots: ") for summary in counts)


def test_counting_is_when_the_weed_is_at_bud_and_names_its_fields():
    counts = [event for event in events(written()) if str(event["SUMMARY"]).startswith("Count")]
    thistle = [event for event in counts if "thistle" in event["DESCRIPTION"]]
    # day 161 of a year, 0 = 1 January: 31 + 28 + 31 + 30 + 31 = 151 days before 1 June
    assert [event["DTSTART"].dt for event in thistle] == [
        datetime.date(year, 6, 11) for year in range(2027, 2031)
    ]
    assert all("Home 40, North quarter" in event["SUMMARY"] for event in thistle)
    bindweed = [event for event in counts if event not in thistle]
    assert all(str(event["SUMMARY"]).endswith(": Home 40") for event in bindweed)


def test_stage_machine_hours_and_hire_are_told():
    told = {str(event["SUMMARY"]): str(event["DESCRIPTION"]) for event in events(written())}
    mown, cut = told["Mow: Home 40"], told["Cut: Home 40"]
    assert mown.startswith("Look for: when half the thistles are at bud\n")
    assert "With: Mower, 6.0 h (own)" in mown
    assert "With: Round baler (hired), 11 h (custom operator)" in cut
    assert "Look for" not in cut
    assert all("weather and stage decide" in text for text in told.values())


def test_events_take_whole_days_and_leave_the_grower_free():
    """3.3.4 dates have no time; 3.8.2.7 a transparent event does not make busy."""
    for event in events(written()):
        for name in ("DTSTART", "DTEND"):
            assert event[name].params["VALUE"] == "DATE"
            assert not isinstance(event[name].dt, datetime.datetime)
        assert event["TRANSP"] == "TRANSPARENT"


def test_each_event_calls_to_mind_three_days_ahead():
    """3.6.6: a display alarm has an action, a trigger and a description."""
    for event in events(written()):
        (alarm,) = event.walk("VALARM")
        assert alarm["ACTION"] == "DISPLAY"
        assert alarm["TRIGGER"].dt == datetime.timedelta(days=-3)
        assert alarm["DESCRIPTION"] == event["SUMMARY"]


def test_the_calendar_says_whose_it_is_and_of_which_plan():
    calendar = icalendar.Calendar.from_ical(written())
    assert calendar["X-WR-CALNAME"] == "Invented Ridge Farm: Balanced"
    assert calendar["VERSION"] == "2.0"  # 3.7.4
    assert calendar["PRODID"]  # 3.7.3
    assert "METHOD" not in calendar  # RFC 5546, 3.2.1: what is published has an organizer; ours has none


# ---------------------------------------------------------------- how it is written


@pytest.mark.parametrize("name", NAMES, ids=ascii)
def test_lines_end_and_fold_as_asked(name):
    """3.1: lines end with CR LF and have at most 75 octets, in UTF-8, with no letter torn apart."""
    data = written(named(name))
    assert data.endswith(b"END:VCALENDAR\r\n")
    lines = data.split(b"\r\n")[:-1]
    assert max(map(len, lines)) <= 75
    assert all(lines)
    for line in lines:
        assert b"\r" not in line
        assert b"\n" not in line
        line.decode("utf-8")
    assert lines[0] == b"BEGIN:VCALENDAR"


def test_each_event_has_what_it_must_have_and_once():
    """3.6.1: UID and DTSTAMP, DTSTART where there is no method, and none of these twice."""
    for event in events(written()):
        for name in ("UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY", "DESCRIPTION"):
            assert name in event
            assert not isinstance(event[name], list)
        stamp = event["DTSTAMP"].dt  # 3.8.7.2: in UTC
        assert stamp == datetime.datetime(2026, 12, 1, tzinfo=datetime.UTC)


@pytest.mark.parametrize("name", NAMES, ids=ascii)
def test_names_come_out_as_they_went_in(name):
    """3.3.11: comma, semicolon, backslash and line end are escaped."""
    result = named(name)
    found = Counter(str(event["SUMMARY"]) for event in events(written(result)))
    for job in jobs(result):
        assert found[clean(f"{capital(job.operation)}: {job.field}")] > 0
    assert sum(found.values()) == len(jobs(result)) + 8
    (called,) = re.findall(rb"(?m)^X-WR-CALNAME:(.*)\r$", written(result).replace(b"\r\n ", b""))
    plain = re.sub(r"\\(.)", lambda found: "\n" if found[1] == "n" else found[1], called.decode())
    assert plain == clean(f"{name}: Balanced")  # 3.8.8.2: also text; the library does not know it


@settings(max_examples=30, deadline=None, derandomize=True)
@given(name=st.text(max_size=40))
def test_any_text_at_all_can_be_a_name(name):
    result = named(name)
    data = written(result)
    assert max(map(len, data.split(b"\r\n"))) <= 75
    found = events(data)
    assert len(found) == len(jobs(result)) + 8
    assert len({event["UID"] for event in found}) == len(found)


# ---------------------------------------------------------------- read in again


def days_by_uid(*files: bytes):
    """What a calendar program has after reading files in: an event it knows by name is put in its place."""
    return {str(event["UID"]): event["DTSTART"].dt for data in files for event in events(data)}


def test_no_two_events_have_one_name():
    """3.8.4.7: an identifier is the only one of its kind."""
    names = [str(event["UID"]) for event in events(written())]
    assert len(set(names)) == len(names) == 24
    assert all(name.isascii() and len(name) == 36 for name in names)


def test_reading_the_file_in_twice_doubles_nothing():
    assert days_by_uid(written(), written()) == days_by_uid(written())


def test_a_plan_whose_days_moved_moves_its_events():
    before, after = fake_result.result(), moved(fake_result.result(), 9)
    both = days_by_uid(written(before), written(after))
    assert both == days_by_uid(written(after))
    assert len(both) == 24
    assert both != days_by_uid(written(before))


def test_the_same_job_done_again_in_a_year_is_another_event():
    result = fake_result.result()
    twice = dataclasses.replace(result, jobs={KEY: (*jobs(result), *jobs(moved(result, 20)))})
    found = events(written(twice))
    assert len({event["UID"] for event in found}) == len(found) == 2 * len(jobs()) + 8
    first = days_by_uid(written(result))
    assert first.items() <= days_by_uid(written(twice)).items()


def test_names_that_hold_what_parts_are_set_off_with_stay_apart():
    fields = fake_result.farm().fields
    farm = fake_result.farm(
        fields=(
            fake_result.renamed(fields[0], name="count"),
            fake_result.renamed(fields[1], name="count', 2027, 'mow"),
        )
    )
    found = events(written(fake_result.result(farm=farm)))
    assert len({event["UID"] for event in found}) == len(found) == 24


def test_another_farm_has_other_names():
    other = written(fake_result.result(farm=fake_result.farm(name="Other Farm")))
    assert not days_by_uid(written()).keys() & days_by_uid(other).keys()


def test_the_same_plan_gives_the_same_bytes():
    assert written() == written()


def test_work_is_in_the_order_of_days():
    days = [
        event["DTSTART"].dt for event in events(written()) if not str(event["SUMMARY"]).startswith("Count")
    ]
    assert all(one <= other for one, other in pairwise(days))
