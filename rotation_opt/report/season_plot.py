"""A season drawn in characters: crop, shoots, light and roots below each other over one row of months."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from itertools import pairwise
from textwrap import wrap

from rotation_opt.records import DatedOperation, SeasonCourse
from rotation_opt.report.blocks import SHADES
from rotation_opt.report.wording import NEW_YEAR, Wording, band, capital, percent, weed_percent
from rotation_opt.words import MONTHS

SOLID, LINE = SHADES[:-1], SHADES[-1]  # how full a character cell is, from the least; and a line
PLAIN_SOLID, PLAIN_LINE = ".:#", "-"
MARGIN = 5  # "100 |"
LOW_PANEL, HIGH_PANEL = 3, 6  # rows
DAYS_IN_YEAR = 365
YEARS = {-1: "year after", 0: "year of harvest", 1: "year before", 2: "two years before"}
#: Letter of each kind of work on the time axis; raking and baling follow a cut and have none.
MARKS: Mapping[str, tuple[str, str]] = {
    "tillage": ("T", "tillage"),
    "end_cover": ("T", "tillage"),
    "sowing": ("S", "sowing"),
    "weeding": ("W", "weeding in the crop"),
    "mowing": ("M", "mowing"),
    "cut": ("C", "cut"),
    "grazing": ("G", "grazing"),
    "harvest": ("H", "harvest"),
    "spreading": ("D", "dung or slurry"),
}


@dataclass(frozen=True, slots=True)
class _Paper:
    """Columns of days, and the characters that may be put on them."""

    first_day: int
    days: int
    columns: int
    plain: bool

    def column(self, day: int) -> int:
        """Column that a day falls in, the nearest one for days outside."""
        at = (day - self.first_day) * self.columns // self.days
        return min(max(at, 0), self.columns - 1)

    def means(self, daily: Sequence[float]) -> list[float]:
        """Mean of the days in each column."""
        bounds = [place * self.days // self.columns for place in range(self.columns + 1)]
        return [sum(daily[low:high]) / (high - low) for low, high in pairwise(bounds)]

    def area(self, values: Sequence[float], rows: int, top: float = 1.0) -> list[list[str]]:
        """Columns filled up to each value, the uppermost row first."""
        cells = PLAIN_SOLID if self.plain else SOLID
        grid = []
        for row in range(rows - 1, -1, -1):
            parts = [round((value / top * rows - row) * len(cells)) for value in values]
            grid.append([" " if part <= 0 else cells[min(part, len(cells)) - 1] for part in parts])
        return grid


def mark_of(work: DatedOperation, words: Wording) -> tuple[str, str]:
    """Letter and meaning of an operation on the time axis; empty where it has none."""
    operation = words.tables.operations.get(work.operation)
    return MARKS.get("" if operation is None else operation.kind, ("", ""))


def season_plot(course: SeasonCourse, words: Wording) -> Callable[[int, bool], tuple[str, ...]]:
    """The drawing of a season, for any width and with or without shaded characters."""
    return lambda width, plain: plot(course, words, width, plain)


def plot(course: SeasonCourse, words: Wording, width: int = 80, plain: bool = False) -> tuple[str, ...]:
    """The season from the harvest before to late autumn after its own, as lines of characters.

    Parameters
    ----------
    course : SeasonCourse
        Daily values of one practice and one weed.
    words : Wording
    width : int, default 80
        Longest line.
    plain : bool, default False
        Nothing but ASCII.

    Returns
    -------
    tuple of str
        Four panels with their titles, then the months, the years and a letter for each operation.
    """
    days = len(course.light)
    paper = _Paper(course.first_day, days, min(width - MARGIN, days), plain)
    weed, line = words.weed(course.weed), percent(course.enough_light)
    crops = _named(course, words)
    titles = (
        f"Ground covered by {crops}, %" if crops else "No crop covers the ground",
        f"{weed}: shoots up, % of what its roots can send up",
        f"Light left to {weed}, %. Below the line ({line}) it grows less"
        if crops
        else f"{weed} has all the light it wants",
        f"Roots of {weed}, % of a full stand. Likely (low to high)",
    )
    panels = (
        _panel(paper.area(paper.means(course.cover), LOW_PANEL)) if crops else [],
        _panel(paper.area(paper.means(course.shoots), LOW_PANEL)),
        _light(course, paper) if crops else [],
        _roots(course, paper, _dates(course)),
    )
    lines: list[str] = []
    for title, panel in zip(titles, panels, strict=True):
        lines += [*wrap(capital(title), width), *panel, ""]
    return (*lines[:-1], *_axis(course, paper), *_work(course, paper, words))


def _named(course: SeasonCourse, words: Wording) -> str:
    return ", then ".join(dict.fromkeys(words.crop(stand.crop).lower() for stand in course.stands))


def _panel(
    grid: Sequence[Sequence[str]], top: float = 1.0, also: Mapping[int, str] | None = None
) -> list[str]:
    """Rows with their scale: the top at the uppermost row, 0 at the lowest, and what else is wanted."""
    scale = {0: f"{100.0 * top:.0f}", len(grid) - 1: "0", **(also or {})}
    return [f"{scale.get(place, ''):>3} |{''.join(row)}".rstrip() for place, row in enumerate(grid)]


def line_row(course: SeasonCourse) -> int:
    """Row of the light panel, from its top, in which the light below which the weed grows less lies."""
    return HIGH_PANEL - 1 - min(int(course.enough_light * HIGH_PANEL), HIGH_PANEL - 1)


def _light(course: SeasonCourse, paper: _Paper) -> list[str]:
    """Light, with a line over every column in which the weed has too little."""
    light = paper.means(course.light)
    grid = paper.area(light, HIGH_PANEL)
    row = line_row(course)
    for column, share in enumerate(light):
        if share < course.enough_light:
            grid[row][column] = PLAIN_LINE if paper.plain else LINE
    return _panel(grid, also={row: f"{100.0 * course.enough_light:.0f}"})


def _roots(course: SeasonCourse, paper: _Paper, days: Sequence[int]) -> list[str]:
    likely = [each[1] for each in course.reserve]
    top = 1.0 if max(likely) < 1.02 else 1.25
    rows = _panel(paper.area(paper.means(likely), HIGH_PANEL, top), top)
    return [*rows, " " * MARGIN + _figures(course, paper, days)]


def _dates(course: SeasonCourse) -> tuple[int, ...]:
    """Days whose figures are written, those that matter most first."""
    likely = [each[1] for each in course.reserve]
    last = course.first_day + len(likely) - 1
    lowest = course.first_day + likely.index(min(likely))
    return last, course.first_day, lowest, course.bud_day, min(course.harvest_day, last), 0


def _figures(course: SeasonCourse, paper: _Paper, days: Sequence[int]) -> str:
    """Low, likely and high of the roots below their days, as many as there is room for."""
    line = [" "] * paper.columns
    for day in days:
        text = band(course.reserve[day - course.first_day], weed_percent) if day >= course.first_day else ""
        at = min(max(paper.column(day) - len(text) // 2, 0), paper.columns - len(text))
        if text and at >= 0 and not "".join(line[max(at - 2, 0) : at + len(text) + 2]).strip():
            line[at : at + len(text)] = text
    return "".join(line).rstrip()


def _axis(course: SeasonCourse, paper: _Paper) -> Iterator[str]:
    """A line with a stroke where each month begins, the months, and the years."""
    ticks, names, years = ["-"] * paper.columns, [" "] * paper.columns, [" "] * paper.columns
    starts = [
        day
        for day in range(course.first_day, course.first_day + paper.days)
        if _calendar(course, day)[1] == 1
    ]
    letters = 3 if paper.columns * 30 >= paper.days * 4 else 1
    for day in starts:
        column, month = paper.column(day), _calendar(course, day)[0]
        ticks[column] = "|"
        if column + letters <= paper.columns:
            names[column : column + letters] = MONTHS[month - 1][:letters]
    begins = [course.first_day, *(day for day in starts if _calendar(course, day)[0] == 1)]
    for day, until in zip(begins, [*begins[1:], course.first_day + paper.days], strict=True):
        text = YEARS[_years_before(course, day)]
        at = paper.column(day)
        if at + len(text) <= paper.column(until - 1) + 1:
            years[at : at + len(text)] = text
    yield " " * (MARGIN - 1) + "+" + "".join(ticks)
    yield " " * MARGIN + "".join(names).rstrip()
    yield " " * MARGIN + "".join(years).rstrip()


def _work(course: SeasonCourse, paper: _Paper, words: Wording) -> Iterator[str]:
    """A letter for each operation below its day; those of one column below each other."""
    rows: list[list[str]] = []
    for work in course.operations:
        letter, column = mark_of(work, words)[0], paper.column(work.day)
        if not letter or any(row[column] == letter for row in rows):
            continue
        free = next((row for row in rows if row[column] == " "), None)
        if free is None:
            free = [" "] * paper.columns
            rows.append(free)
        free[column] = letter
    for number, row in enumerate(rows):
        yield f"{'' if number else 'work':<{MARGIN}}{''.join(row)}".rstrip()


def day_in_words(course: SeasonCourse, day: int, words: Wording) -> str:
    """A day of the season as it is written where the farm lies, with its year against that of the harvest."""
    of_harvest = (course.harvest_day + course.shift_days) // DAYS_IN_YEAR * DAYS_IN_YEAR
    before = _years_before(course, day)
    text = words.day(day + course.shift_days - of_harvest + before * DAYS_IN_YEAR)
    return text if before == 0 else f"{text} {'of the ' if abs(before) == 1 else ''}{YEARS[before]}"


def first_shoots(course: SeasonCourse) -> int | None:
    """First day of the harvest year on which a hundredth of the shoots would be up, None if never."""
    return _first(course, 0.01)


def half_up(course: SeasonCourse) -> int | None:
    """First day of the harvest year on which half of the shoots would be up, None if never."""
    return _first(course, 0.5)


def _first(course: SeasonCourse, share: float) -> int | None:
    days = (course.first_day + place for place, up in enumerate(course.emerged) if up >= share)
    return next((day for day in days if day >= 0), None)


def dark_spells(course: SeasonCourse) -> list[tuple[int, int]]:
    """First and last day of each spell with too little light for the weed, from first shoots to frost."""
    first, spells = first_shoots(course), list[tuple[int, int]]()
    last = min(course.frost_day, course.first_day + len(course.light) - 1)
    for day in range(last + 1 if first is None else first, last + 1):
        if course.light[day - course.first_day] < course.enough_light:
            if spells and spells[-1][1] == day - 1:
                spells[-1] = spells[-1][0], day
            else:
                spells.append((day, day))
    return spells


def _calendar(course: SeasonCourse, day: int) -> tuple[int, int]:
    """Month and day of the month."""
    when = NEW_YEAR + timedelta(days=(day + course.shift_days) % DAYS_IN_YEAR)
    return when.month, when.day


def _years_before(course: SeasonCourse, day: int) -> int:
    """Calendar years from a day to the year of the harvest."""
    return (course.harvest_day + course.shift_days) // DAYS_IN_YEAR - (
        day + course.shift_days
    ) // DAYS_IN_YEAR
