"""Which crops stand before the weed comes up: cover of the practices in the plans against its shoots."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

from rotation_opt.records import Alternative, Shading
from rotation_opt.report.blocks import Chart, Grid, Page, Panel, Paragraph, Section, Series
from rotation_opt.report.summary import Reading
from rotation_opt.report.wording import capital, percent_figure
from rotation_opt.words import MONTHS

TICKS = tuple(
    (start, MONTHS[month][:3]) for month, start in ((2, 59), (4, 120), (6, 181), (8, 243), (10, 304))
)
FIRST_DAY, LAST_DAY = 32, 312  # from February to the first days of November, as most of the weed's year
HOW_TO_READ = (
    "One picture for each crop, in the way it is grown most in these plans; the table has all ways. Hatched: "
    "ground covered by the crop, a cover crop or the stand, in %. Line: spring shoots of {weed} that are up "
    "if left alone, in %. The more ground is covered before the line rises, the less light the weed gets; "
    "cuts and tillage are not in the line. A usual year, after the crop it mostly follows in these plans. "
    "Covers are a model's, from heat sums."
)


def canopy_page(reading: Reading, columns: Sequence[Alternative]) -> Page:
    """One panel for each crop of the plans, the darkest first; without sections where nothing is known.

    Parameters
    ----------
    reading : Reading
    columns : sequence of Alternative
    """
    grown = {key for plan in columns for path in plan.practices.values() for key in path if key}
    found = [each for each in reading.result.shading if each.practice in grown]
    if not found:
        return Page(key="canopy", title="Cover against emergence", lead=(), sections=())
    weed = reading.wording.weed(found[0].weed)
    chart = Chart(
        key="canopy",
        title=f"Ground covered and shoots of {weed}, by practice",
        alt=f"One panel for each crop. {capital(_extremes(reading, found))}",
        panels=tuple(_panel(reading, each) for each in _grown_most(reading, columns, found)),
        table=_table(reading, found),
    )
    said = Paragraph(text=HOW_TO_READ.format(weed=weed))
    section = Section(key="canopy", title="Cover against emergence", blocks=(said, chart))
    return Page(key="canopy", title="Cover against emergence", lead=(), sections=(section,))


def _grown_most(reading: Reading, columns: Sequence[Alternative], found: Sequence[Shading]) -> list[Shading]:
    """Of each crop the practice with most land over the years of all plans: thirty pictures say no more."""
    area = {field.name: field.area_ha for field in reading.result.farm.fields}
    land: defaultdict[str, float] = defaultdict(float)
    for plan in columns:
        for field, path in plan.practices.items():
            for key in path:
                land[key] += area[field]
    most: dict[str, Shading] = {}
    for each in found:
        practice = reading.wording.practice_record(each.practice)
        crop = each.practice if practice is None else practice.crop
        if crop not in most or land[each.practice] > land[most[crop].practice]:
            most[crop] = each
    return [each for each in found if each in most.values()]


def _panel(reading: Reading, course: Shading) -> Panel:
    words = reading.wording
    inside = [at for at, day in enumerate(course.days) if FIRST_DAY <= day <= LAST_DAY]
    days = tuple(float(course.days[at]) for at in inside)
    cover = tuple(100.0 * course.cover[at] for at in inside)
    emerged = tuple(100.0 * course.emerged[at] for at in inside)
    return Panel(
        title=capital(words.practice(course.practice)),
        x_label="",
        y_label="%",
        series=(
            Series(label="ground covered", kind="area", x=days, y=cover),
            Series(label="shoots up", kind="line", x=days, y=emerged),
        ),
        x_ticks=TICKS,
        y_top=100.0,
    )


def _table(reading: Reading, found: Sequence[Shading]) -> Grid:
    words = reading.wording
    rows = tuple(
        (
            capital(words.practice(each.practice)),
            capital(words.practice(each.previous)),
            percent_figure(each.cover_at_half_up),
            percent_figure(each.light),
        )
        for each in found
    )
    header = (
        "Way to grow it",
        "After",
        "Ground covered when half the shoots are up, %",
        "Light left, first shoots to bud, %",
    )
    return Grid(header=header, rows=rows)


def _extremes(reading: Reading, found: Sequence[Shading]) -> str:
    words, (darkest, lightest) = reading.wording, (found[0], found[-1])
    return (
        f"{words.practice(darkest.practice)} leaves the weed least light, {percent_figure(darkest.light)}%, "
        f"{words.practice(lightest.practice)} most, {percent_figure(lightest.light)}%."
    )
