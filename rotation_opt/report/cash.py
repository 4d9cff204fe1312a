"""Cash by quarter: what is in hand, what comes in and goes out, and the leanest quarter of each plan."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from rotation_opt.ledgers import CashCourse
from rotation_opt.records import Alternative
from rotation_opt.report.blocks import Block, Entries, Entry, Grid, Paragraph, Section
from rotation_opt.report.summary import Reading
from rotation_opt.report.wording import Wording
from rotation_opt.words import MONTHS, listed

SHORT = ("Jan-Mar", "Apr-Jun", "Jul-Sep", "Oct-Dec")
LAST_MONTH = ("March", "June", "September", "December")
MUCH = 10_000.0  # where a quarter moves so much, whole thousands say enough for all

Quarter = tuple[int, int]
Said = Callable[[Wording, CashCourse, Quarter], str]

HOW_TO_READ = (
    "It starts from {now} in hand before the first work of the plan (`cash_now` in the farm file); what "
    "earlier harvests still bring is not in it. Work and hire are paid in the half-month of the work, your "
    "own hours at the farm's own wage; seed and other inputs at sowing; rent and fixed cost in four equal "
    "parts{debt}. Crops are paid for in the month in which they are usually sold, {months}: common practice "
    "and our judgement, no source; your own month goes in as `sold_in_month`. {hay}"
    "By harvest year these are the same sums as the net return. {floor} A projection at the prices of "
    "this page, not a promise."
)
OVERDRAWN = "Below nothing in hand means a loan or an overdraft; its interest is not in these sums."
STEERED = (
    "Plans are chosen so that the least in hand is there at the end of every quarter. A crop counts "
    "for that as sold no sooner than with the latest way to grow it here."
)


def cash_sections(reading: Reading, plans: Sequence[Alternative]) -> list[Section]:
    """The section on cash by quarter; nothing where it was not worked out.

    Parameters
    ----------
    reading : Reading
    plans : sequence of Alternative
        The columns, from left to right.
    """
    courses = [(plan, reading.result.cash[plan.key]) for plan in plans if plan.key in reading.result.cash]
    if not courses:
        return []
    blocks: list[Block] = [
        Entries(
            items=tuple(
                Entry(label=reading.heading(plan), text=" ".join(_told(reading, course)))
                for plan, course in courses
            )
        ),
        _grid(reading, courses, "In hand at the end", _left),
        _grid(reading, courses, "In / out", _in_and_out(courses), thousands=True),
        Paragraph(text=_how_to_read(reading)),
    ]
    return [Section(key="cash", title="Cash by quarter", blocks=tuple(blocks))]


def _told(reading: Reading, course: CashCourse) -> list[str]:
    """The leanest quarter of one plan, and those below the floor."""
    words, floor = reading.wording, reading.result.farm.cash_floor_quarter
    within = course.left[: course.last + 1]
    least = min(within)
    when = _end_of(course.quarters[within.index(least)])
    start = words.money(course.opening)
    said = [f"Least in hand: {words.money(least)}, at the end of {when} ({start} at the start)."]
    if floor is not None:
        below = sum(left < floor - 0.5 for left in within)
        asked = words.money(floor)
        if not below:
            said.append(f"The {asked} that must be in hand is there at the end of every quarter.")
        else:
            said.append(
                f"NOT KEPT: less than the {asked} that must be in hand at the end of "
                f"{below} of {len(within)} quarters."
            )
    later = course.left[-1] - course.left[course.last]
    if abs(later) >= 0.5:
        said.append(
            f"After the plan {words.money(abs(later))} still {'comes in' if later > 0 else 'is to be paid'} "
            "for its last harvest."
        )
    return said


def _end_of(quarter: Quarter) -> str:
    year, number = quarter
    return f"{LAST_MONTH[number - 1]} {year}"


def _how_to_read(reading: Reading) -> str:
    farm, words = reading.result.farm, reading.wording
    return HOW_TO_READ.format(
        now=words.money(farm.cash_now),
        debt=(
            f"; {words.money(farm.debt_per_year)} a year for debt in {MONTHS[farm.debt_month - 1]}"
            if farm.debt_per_year
            else ""
        ),
        months=_months(reading),
        hay=_month_of_hay(reading),
        floor=STEERED if farm.cash_floor_quarter is not None else OVERDRAWN,
    )


def _months(reading: Reading) -> str:
    """Products of these plans by the month in which they are sold."""
    words, farm = reading.wording, reading.result.farm
    sold = {sale.split(" @ ")[0] for plan in reading.result.alternatives for sale in plan.figures.sold_t}
    by_month: dict[int, list[str]] = {}
    for crop in sorted(sold):
        figure = words.tables.number_or("crop", crop, "sold_month", 0.0)
        month = farm.sold_month.get(crop, int(figure))
        if month:
            by_month.setdefault(month, []).append(words.crop(crop).lower())
    return "; ".join(
        f"{listed(crops, 'and')} in {MONTHS[month - 1]}" for month, crops in sorted(by_month.items())
    )


def _month_of_hay(reading: Reading) -> str:
    if not any(any(plan.figures.feed_bought_t) for plan in reading.result.alternatives):
        return ""
    month = int(reading.wording.tables.number_or("money", "any", "hay_bought_month", 1.0))
    return f"Hay bought in is paid for in {MONTHS[month - 1]}. "


def _grid(
    reading: Reading,
    courses: Sequence[tuple[Alternative, CashCourse]],
    head: str,
    say: Said,
    *,
    thousands: bool = False,
) -> Grid:
    """One row a quarter of any plan, one column a plan."""
    every = sorted({quarter for _, course in courses for quarter in course.quarters})
    unit = f"{reading.wording.money_unit}{'1,000' if thousands else ''}"
    header = (f"{head}, {unit}", *(reading.letter(plan) for plan, _ in courses))
    rows = tuple(
        (
            f"{SHORT[number - 1]} {year}",
            *(say(reading.wording, course, (year, number)) for _, course in courses),
        )
        for year, number in every
    )
    starts = frozenset(at for at, (_, number) in enumerate(every) if number == 1 and at)
    return Grid(header=header, rows=rows, groups=starts)


def _left(words: Wording, course: CashCourse, quarter: Quarter) -> str:
    """Cash at the end of a quarter; what there was before the first, what is left after the last."""
    if quarter < course.quarters[0]:
        return words.money_figure(course.opening)
    at = course.quarters.index(quarter) if quarter in course.quarters else -1
    return words.money_figure(course.left[at])


def _in_and_out(courses: Sequence[tuple[Alternative, CashCourse]]) -> Said:
    """What comes in and goes out in a quarter, in thousands, with as many decimals in the whole table."""
    most = max(
        (
            amount
            for _, course in courses
            for at in range(len(course.quarters))
            for amount in _both(course, at)
        ),
        default=0.0,
    )
    digits = 0 if most >= MUCH else 1

    def say(_: Wording, course: CashCourse, quarter: Quarter) -> str:
        there = quarter in course.quarters
        coming, going = _both(course, course.quarters.index(quarter)) if there else (0.0, 0.0)
        return f"{coming / 1000.0:,.{digits}f} / {going / 1000.0:,.{digits}f}"

    return say


def _both(course: CashCourse, at: int) -> tuple[float, float]:
    """Money that comes in and that goes out in one quarter."""
    amounts = [values[at] for values in course.parts.values()]
    return sum(a for a in amounts if a > 0), -sum(a for a in amounts if a < 0)
