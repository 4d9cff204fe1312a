"""How the weeds of each field should go under one plan, with circles for what is counted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rotation_opt import units
from rotation_opt.records import Alternative, Field
from rotation_opt.report.blocks import Block, Bullets, Chart, Grid, Page, Panel, Paragraph, Section, Series
from rotation_opt.report.summary import NO_FIGURE, Reading
from rotation_opt.report.wording import band, capital, mean, weed_figure
from rotation_opt.words import listed

Three = tuple[float, float, float]

TODAY = "today"
BUD = "bud"  # the stage that shoots are foretold for
NOTHING_COUNTED = "No creeping weed was counted on this farm, so there is no course to show."
HOW_TO_READ = (
    "Shoots per m2 are those of the part of the field where the weed was counted, when it is at bud stage; "
    "in a hoed crop after the hoe. The line is what is likely in usual years. Eight in ten courses lie from "
    "low to high. Each picture has its own scale.",
    "Count again every year, in the same places at bud stage, and write the figure into the circle of that "
    "year. One count above the grey may be the weather; two in a row mean: plan anew.",
)
TARGET = "The aim of this farm is fewer than {target} shoots per m2."
OTHER_STAGE = (
    "Today's count was not made at bud stage where the table says so; part of the step to the first year is "
    "then the stage."
)
CLEAN = "No creeping weed was counted on {fields}."
NOT_FARMED = "No course is foretold for {fields}: not farmed in the years of this plan."


@dataclass(frozen=True, slots=True)
class _Course:
    """One weed on one field."""

    field: str
    weed: str
    today: float  # shoots per m2, mean of the patches by their area
    stages: tuple[str, ...]  # at which they were counted
    estimated: bool  # nobody counted any of them for the day of the plan
    years: tuple[tuple[int, Three], ...]  # year, and low, likely, high shoots per m2


def weeds_page(reading: Reading, plan: Alternative) -> Page:
    """The course of each weed on each field under one plan.

    Parameters
    ----------
    reading : Reading
    plan : Alternative

    Returns
    -------
    Page
        One panel a field and weed, and the same figures as a table; a sentence where no weed was counted.
    """
    title = f"Course of the weeds, {reading.heading(plan)}"
    infested = [field for field in reading.result.farm.fields if field.patches]
    if not infested:
        nothing = Section(key=f"weeds:{plan.key}", title="Weeds", blocks=(Paragraph(text=NOTHING_COUNTED),))
        return Page(key=f"weeds:{plan.key}", title=title, lead=(), sections=(nothing,))
    courses = [course for field in infested for course in _of_field(field, plan)]
    shown = [course for course in courses if course.years]
    blocks: list[Block] = [_chart(reading, plan, shown)] if shown else []
    blocks.append(Bullets(items=tuple(_notes(reading, courses))))
    section = Section(
        key=f"weeds:{plan.key}", title="Shoots expected and shoots counted", blocks=tuple(blocks)
    )
    return Page(key=f"weeds:{plan.key}", title=title, lead=HOW_TO_READ, sections=(section,))


def _of_field(field: Field, plan: Alternative) -> list[_Course]:
    courses = []
    for weed in dict.fromkeys(patch.weed for patch in field.patches):
        patches = [patch for patch in field.patches if patch.weed == weed]
        area = sum(patch.area_ha for patch in patches)
        shoots = sum(patch.area_ha * patch.shoots_per_m2 for patch in patches)
        years = sorted(
            (entry.year, entry.shoots_per_m2[weed])
            for entry in plan.fields
            if entry.field == field.name and weed in entry.shoots_per_m2
        )
        courses.append(
            _Course(
                field=field.name,
                weed=weed,
                today=shoots / area if area else mean([patch.shoots_per_m2 for patch in patches]),
                stages=tuple(dict.fromkeys(patch.stage for patch in patches)),
                estimated=all(patch.estimated for patch in patches),
                years=tuple(years),
            )
        )
    return courses


def _notes(reading: Reading, courses: Sequence[_Course]) -> list[str]:
    farm = reading.result.farm
    notes = [TARGET.format(target=units.density_text(farm.target_shoots_per_m2))]
    if any(stage != BUD for course in courses for stage in course.stages):
        notes.append(OTHER_STAGE)
    if clean := [field.name for field in farm.fields if not field.patches]:
        notes.append(CLEAN.format(fields=listed(clean, "and")))
    if left := list(dict.fromkeys(course.field for course in courses if not course.years)):
        notes.append(NOT_FARMED.format(fields=listed(left, "and")))
    return notes


# ---------------------------------------------------------------- picture and table


def _chart(reading: Reading, plan: Alternative, courses: Sequence[_Course]) -> Chart:
    farm = reading.result.farm
    years = range(farm.first_year, farm.first_year + farm.years)
    places = {year: float(place) for place, year in enumerate(years, start=1)}
    ticks = ((0.0, TODAY), *((places[year], str(year)) for year in years))
    return Chart(
        key=f"weeds:{plan.key}",
        title=f"Shoots per m2 by year, {reading.heading(plan)}",
        alt=(
            "One picture for each field and weed: shoots per m2 today and in each year of the plan, a line "
            "for what is likely in a grey band from low to high, above circles for your own counts."
        ),
        panels=tuple(_panel(reading, course, places, ticks) for course in courses),
        table=_table(reading, courses, years),
    )


def _panel(
    reading: Reading, course: _Course, places: dict[int, float], ticks: tuple[tuple[float, str], ...]
) -> Panel:
    x = (0.0, *(places[year] for year, _ in course.years))
    shoots = ((course.today,) * 3, *(each for _, each in course.years))
    low, likely, high = zip(*shoots, strict=True)
    last, there = course.years[-1]
    return Panel(
        title=_name(reading, course),
        x_label="",
        y_label="Shoots per m2",
        x_ticks=ticks,
        own_scale=True,  # a field with few shoots would lie flat on the axis beside one with many
        alt=f"From {weed_figure(course.today)} today to {band(there)} in {last}.",
        series=(
            Series(label="low to high", kind="band", x=x, low=low, high=high),
            Series(label="likely", kind="line", x=x, y=likely),
            Series(label="your count", kind="blanks", x=x[1:]),  # today is counted
        ),
    )


def _name(reading: Reading, course: _Course) -> str:
    return f"{course.field}: {reading.wording.weed_short(course.weed)}"


def _table(reading: Reading, courses: Sequence[_Course], years: range) -> Grid:
    rows = []
    for course in courses:
        by_year = dict(course.years)
        cells = (band(by_year[year]) if year in by_year else NO_FIGURE for year in years)
        rows.append((_name(reading, course), _today(course), *cells))
    header = ("Shoots per m2, likely (low to high)", capital(TODAY), *map(str, years))
    return Grid(header=header, rows=tuple(rows), even=True, name_share=0.24)


def _today(course: _Course) -> str:
    others = [stage for stage in course.stages if stage != BUD]
    return ", ".join((weed_figure(course.today), *(["estimated"] if course.estimated else others)))
