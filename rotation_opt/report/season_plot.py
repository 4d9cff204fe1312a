"""Who is first, drawn in plain characters: the crop's cover against the weed's shoots over the months."""

from __future__ import annotations

from collections.abc import Sequence

from rotation_opt.records import SeasonCourse
from rotation_opt.report.wording import NEW_YEAR
from rotation_opt.words import MONTHS

CROP, WEED, BOTH = "#", "o", "@"
HEIGHT = 11  # rows: 0 to 100 % in steps of 10
MARGIN = 6  # "100 % "
DAYS_IN_YEAR = 365


def first_day_dark(course: SeasonCourse) -> int | None:
    """First day of the harvest year on which the weed has too little light to grow freely, None if never."""
    return _first(course, [light <= course.enough_light for light in course.light])


def day_half_up(course: SeasonCourse) -> int | None:
    """First day of the harvest year on which half of the weed's spring shoots are up."""
    return _first(course, [share >= 0.5 for share in course.emerged])


def _first(course: SeasonCourse, true: Sequence[bool]) -> int | None:
    days = (course.first_day + place for place, is_true in enumerate(true) if is_true)
    return next((day for day in days if day >= 0), None)


def plot(course: SeasonCourse, width: int = 72) -> tuple[str, ...]:
    """The harvest year from January to December, as lines of ASCII characters.

    Parameters
    ----------
    course : SeasonCourse
        Daily values of one practice and one weed.
    width : int, default 72
        Longest line.

    Returns
    -------
    tuple of str
        Two curves over a scale in per cent, the months below, and a row of marks: D where the crop first
        leaves too little light, H where half of the shoots are up.
    """
    columns = width - MARGIN
    days = [column * DAYS_IN_YEAR // columns for column in range(columns)]
    cover = [_level(course, course.cover, day) for day in days]
    shoots = [_level(course, course.emerged, day) for day in days]
    lines = []
    for level in range(HEIGHT - 1, -1, -1):
        row = "".join(_mark(level, crop, weed) for crop, weed in zip(cover, shoots, strict=True))
        scale = f"{level * 10:3d} %" if level % 5 == 0 else ""
        lines.append(f"{scale:<{MARGIN - 1}}|{row}".rstrip())
    lines.append(" " * (MARGIN - 1) + "+" + "-" * columns)
    lines.append(" " * MARGIN + _months(columns))
    marks = [" "] * columns
    for letter, day in (("D", first_day_dark(course)), ("H", day_half_up(course))):
        if day is not None:
            place = min(day * columns // DAYS_IN_YEAR, columns - 2)
            marks[place if marks[place] == " " else place + 1] = letter
    lines.append((" " * MARGIN + "".join(marks)).rstrip())
    return tuple(lines)


def _level(course: SeasonCourse, values: Sequence[float], day: int) -> int:
    """Row of the drawing on that day; -1 before the first day."""
    place = day - course.first_day
    if not 0 <= place < len(values):
        return -1
    return round(min(max(values[place], 0.0), 1.0) * (HEIGHT - 1))


def _mark(level: int, crop: int, weed: int) -> str:
    if crop == weed == level:
        return BOTH
    return CROP if crop == level else WEED if weed == level else " "


def _months(columns: int) -> str:
    line = [" "] * columns
    for month, name in enumerate(MONTHS, start=1):
        start = (NEW_YEAR.replace(month=month) - NEW_YEAR).days * columns // DAYS_IN_YEAR
        line[start : start + 3] = name[:3]
    return "".join(line[:columns]).rstrip()
