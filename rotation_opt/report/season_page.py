"""One season looked at closely: which practice shades the weed first, and what that does to its roots."""

from __future__ import annotations

from collections.abc import Sequence

from rotation_opt.records import SeasonCourse, SeasonRow
from rotation_opt.report.blocks import Block, Drawing, Grid, Page, Paragraph, Section
from rotation_opt.report.season_plot import BOTH, CROP, WEED, day_half_up, first_day_dark, plot
from rotation_opt.report.wording import Wording, capital, percent, percent_figure, percent_range

HOW_TO_READ = (
    "Head start = days from the crop leaving so little light that the weed grows less, to half of the weed's "
    "shoots being up; a minus means that the weed is first, never that the crop does not leave so little. It "
    "is counted from January 1, so the largest figure means dark since winter. Light = mean share of full "
    "light that reaches the weed from its first shoots to bud stage. Roots = living root store in late "
    "autumn when it was full at the start (likely, then low to high)."
)


def season_page(rows: Sequence[SeasonRow], words: Wording, where: str = "") -> Page:
    """Practices ranked by what they leave of the roots, one section for each weed.

    Parameters
    ----------
    rows : sequence of SeasonRow
        Any order.
    words : Wording
        Words and units of the farm.
    where : str
        Name of the field that the season is on; empty for the farm at large.

    Returns
    -------
    Page
        Ranking tables, the practice that leaves least on top.
    """
    sections = []
    for weed in dict.fromkeys(row.weed for row in rows):
        ranked = sorted(
            (row for row in rows if row.weed == weed), key=lambda row: (row.reserve_end[1], row.practice)
        )
        grid = Grid(
            header=("Practice", "After", "Head start, days", "Light, %", "Roots at the end, %"),
            rows=tuple(_line(row, words) for row in ranked),
        )
        line = f"The light line for this weed is at {percent(ranked[0].enough_light)} of full light."
        sections.append(
            Section(key=weed, title=capital(words.weed(weed)), blocks=(grid, Paragraph(text=line)))
        )
    sections.append(Section(key="reading", title="How to read this", blocks=(Paragraph(text=HOW_TO_READ),)))
    place = f", {where}" if where else ""
    return Page(
        title=f"{words.farm.name}{place}: what each practice does to the weeds in one season",
        lead=_lead(words),
        sections=tuple(sections),
    )


def course_page(course: SeasonCourse, words: Wording, where: str = "") -> Page:
    """One practice against one weed through the year, drawn and dated."""
    weed = words.weed(course.weed)
    blocks: list[Block] = [
        Drawing(lines=plot(course)),
        Paragraph(
            text=f"{CROP} = ground covered by the crop, {WEED} = shoots of {weed} that are up, "
            f"{BOTH} = both. D = the crop crosses the light line, "
            "H = half of the shoots are up."
        ),
        Paragraph(text=_who_is_first(course, words)),
        Paragraph(
            text=f"Weed roots at the end of the year: {percent_figure(course.reserve[-1])}% of a full store, "
            "likely course, from a full store at the start."
        ),
    ]
    sections = [
        Section(key="plot", title=f"{capital(words.practice(course.practice))}", blocks=tuple(blocks))
    ]
    if course.operations:
        rows = tuple(
            (
                f"about {words.day(work.day)}" if work.stage else words.day(work.day),
                words.operation(work.operation),
                work.stage or "by date",
            )
            for work in course.operations
        )
        grid = Grid(header=("When", "Work", "What to look for"), rows=rows)
        sections.append(Section(key="work", title="Work in this season", blocks=(grid,)))
    place = f", {where}" if where else ""
    return Page(
        title=f"{words.farm.name}{place}: crop against {weed}",
        lead=(*_lead(words), f"After: {words.practice(course.previous)}."),
        sections=tuple(sections),
    )


def _lead(words: Wording) -> tuple[str, ...]:
    lead = ["Mean weather of the place; dates move with the season. Estimates, not advice."]
    if words.farm.invented:
        lead.append("This is an invented demo farm: its people, fields and figures are made up.")
    return tuple(lead)


def _who_is_first(course: SeasonCourse, words: Wording) -> str:
    dark, half_up = first_day_dark(course), day_half_up(course)
    line = percent(course.enough_light)
    if dark is None:
        return f"The crop never leaves as little as {line} of full light: the weed has the light it wants."
    text = f"The crop crosses the {line} light line on {words.day(dark)}"
    if half_up is None:
        return f"{text}; fewer than half of the shoots ever come up."
    days = half_up - dark
    if days > 0:
        return (
            f"{text}, {days} days before half of the shoots are up ({words.day(half_up)}): the crop is first."
        )
    if days < 0:
        return (
            f"{text}, {-days} days after half of the shoots are up ({words.day(half_up)}): the weed is first."
        )
    return f"{text}, the same day as half of the shoots are up."


def _line(row: SeasonRow, words: Wording) -> tuple[str, ...]:
    head_start = "never" if row.head_start_days is None else f"{row.head_start_days:.0f}"
    return (
        words.practice(row.practice),
        words.crop_short(_crop_of(row.previous, words)),
        head_start,
        percent_figure(row.light),
        percent_range(row.reserve_end),
    )


def _crop_of(practice: str, words: Wording) -> str:
    record = words.practice_record(practice)
    return practice if record is None else record.crop
