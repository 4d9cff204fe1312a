"""What a change does to a plan: only what differs, old beside new."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from rotation_opt.records import Patch, Result
from rotation_opt.report.blocks import Bullets, Grid, Page, Paragraph, Section
from rotation_opt.report.summary import NO_PROOF, PROVEN, Reading, at_most_percent
from rotation_opt.report.wording import (
    Wording,
    capital,
    half_month,
    mean,
    more_or_less,
    sentence,
    weed_percent,
)
from rotation_opt.table_questions import Difference, Moved, Stand, Weather
from rotation_opt.tables import Tables

SAME = "The same: nothing in the plan changes, and it brings the same money."
NOT_FARMED = "not farmed"
BEFORE, AFTER, KEPT, MISSED = "As it is", "Chosen anew", "Same plan, changed farm", "Same plan, cut missed"
MOST_MISFITS = 3
OPEN = "The difference is no larger than what is left open there."
LEAST_HOURS = 0.5  # a smaller change of a half-month is not told
MOST_SPANS = 6
LEAST_ROOTS = 0.005  # of today's

Answer = Callable[[Reading, Stand], str]


def differences_page(
    found: Difference, changes: Sequence[str], tables: Tables, title: str, skipped_cut: int | None = None
) -> Page:
    """The differences a change makes to one plan.

    Parameters
    ----------
    found : Difference
    changes : sequence of str
        What was changed, a sentence each.
    tables : Tables
    title : str
        Of the plan asked about.
    skipped_cut : int, optional
        The cut that is left out or missed.

    Returns
    -------
    Page
    """
    words = Wording(found.before.farm, tables)
    sections = []
    if changes:
        sections.append(_what_changes(found, words, tables))
    if found.moved:
        table = moved_table(found.moved, words, (BEFORE, AFTER))
        sections.append(Section(key="moved", title="Fields and years that change", blocks=(table,)))
    if changes and (busy := _busy(found)):
        sections.append(Section(key="hours", title="Hours by half-month", blocks=(busy,)))
    if found.kept is None and found.misfits:
        sections.append(
            Section(key="misfits", title="Why the plan cannot stay as it is", blocks=(_misfits(found),))
        )
    if skipped_cut is not None and found.missed is not None:
        sections.append(_of_cut(found, words, skipped_cut))
    if found.weather:
        items = tuple(_in_weather(each, words) for each in found.weather)
        sections.append(Section(key="weather", title="A bad year", blocks=(Bullets(items=items),)))
    lead = (f"Plan: {title}.", *(sentence(each) for each in changes))
    return Page(
        key="what-if", title=f"{found.before.farm.name}: what if", lead=lead, sections=tuple(sections)
    )


def reading_of(stand: Stand, tables: Tables) -> Reading:
    """Answers about one plan, as in the table of all plans."""
    result = Result(
        farm=stand.farm,
        alternatives=(stand.plan,),
        start_burden_ha=stand.plan.figures.burden[0][1],
        checks={},
        left_out=(),
        assumptions=(),
        cautions=(),
        distances={},
        years_to_target={},
        seconds={},
    )
    return Reading(result, Wording(stand.farm, tables))


def _columns(found: Difference) -> list[tuple[str, Stand]]:
    """The plans side by side; the old plan on the changed farm only where it is not the new one."""
    columns = [(BEFORE, found.before), (AFTER, found.after)]
    if found.kept is not None and found.kept.plan.practices != found.after.plan.practices:
        columns.append((KEPT, found.kept))
    if found.missed is not None:
        columns.append((MISSED, found.missed))
    return columns


def _what_changes(found: Difference, words: Wording, tables: Tables) -> Section:
    columns = _columns(found)
    rows = []
    for label, answer in _questions(words):
        cells = tuple(answer(reading_of(stand, tables), stand) for _, stand in columns)
        if _differ(answer, [stand for _, stand in columns], tables):
            rows.append((label, *cells))
    blocks: list[Paragraph | Grid] = []
    money = [mean(stand.plan.figures.net_return) for _, stand in columns[:2]]
    if rows or found.moved:
        gain = money[1] - money[0]
        said = more_or_less(gain, words.money(abs(gain)), zero="the same money")
        blocks.append(Paragraph(text=f"{capital(said)} a year, whole farm, mean of the years."))
        if rows:
            blocks.append(Grid(header=("What", *(name for name, _ in columns)), rows=tuple(rows)))
    else:
        blocks.append(Paragraph(text=SAME))
    if lost := _lost(found, tables):
        blocks.append(Paragraph(text=lost))
    told = money[1] - money[0] if rows or found.moved else 0.0  # of the same money there is no difference
    blocks.append(Paragraph(text=_how_sure(found, told, money[0])))
    return Section(key="differences", title="What changes", blocks=tuple(blocks))


def _differ(answer: Answer, stands: Sequence[Stand], tables: Tables) -> bool:
    """Whether plans have other answers; one with likely figures alone is held against those of the others."""
    whole = {answer(reading_of(one, tables), one) for one in stands if not one.likely_only}
    if all(not one.likely_only for one in stands):
        return len(whole) > 1
    likely = {answer(reading_of(one, tables), replace(one, likely_only=True)) for one in stands}
    return len(whole) > 1 or len(likely) > 1


def _lost(found: Difference, tables: Tables) -> str:
    """How much of what the plan does to the roots is lost if it is kept; "" where that is nothing."""
    if found.kept is None or _patches(found.before) != _patches(found.kept):
        return ""
    before, after = (reading_of(one, tables).roots_left(one.plan)[1] for one in (found.before, found.kept))
    if before >= 1.0 or after - before < LEAST_ROOTS:
        return ""
    share = (after - before) / (1.0 - before)
    return (
        f"Of what the plan as it is takes from the weed roots by its end, {weed_percent(min(share, 1.0))}% "
        "would be lost if it were kept."
    )


def _patches(stand: Stand) -> tuple[tuple[Patch, ...], ...]:
    return tuple(field.patches for field in stand.farm.fields)


def _questions(words: Wording) -> tuple[tuple[str, Answer], ...]:
    unit = words.money_unit
    return (
        (f"Net return, whole farm, {unit} a year", lambda reading, one: reading.whole_farm(one.plan)),
        (f"Net return of the leanest year, {unit}", lambda reading, one: reading.leanest(one.plan)),
        ("Hours of work a year", _hours),
        ("Extra paid help, hours a year", lambda reading, one: reading.extra_help(one.plan)),
        ("Machines hired, hours a year", lambda reading, one: reading.hired(one.plan)),
        (f"Paid for hire, {unit} a year", lambda reading, one: reading.hire_cost(one.plan)),
        (f"Hay, {words.hay_unit} a year", lambda reading, one: reading.hay(one.plan)),
        ("Weed roots left at the end, % of today's (low to high)", _roots),
        ("Shoots per m2 at bud stage, last year, worst field", _shoots),
    )


def _hours(reading: Reading, one: Stand) -> str:
    return f"{mean([sum(spans) for spans in one.plan.figures.labour_hours]):,.0f}"


def _roots(reading: Reading, one: Stand) -> str:
    return weed_percent(reading.roots_left(one.plan)[1]) if one.likely_only else reading.roots(one.plan)


def _shoots(reading: Reading, one: Stand) -> str:
    said = reading.worst_field(one.plan)
    if not one.likely_only or "\n" not in said:
        return said
    figure, where = said.split("\n")
    return f"{figure.split(' (')[0]}\n{where}"


def _how_sure(found: Difference, gain: float, money: float) -> str:
    """How near both plans are to the best, and whether that leaves any doubt about the difference."""
    gaps = [stand.plan.proven_gap for stand in (found.before, found.after)]
    parts = [f"{name} plan is {how_near(gap)}" for name, gap in zip(("old", "new"), gaps, strict=True)]
    said = f"How near to the best: the {', the '.join(parts)}."
    return f"{said} {OPEN}" if within_doubt(gaps, gain, money) else said


def within_doubt(gaps: Sequence[float | None], gain: float, money: float) -> bool:
    """Whether a difference between two plans is no larger than what is not proven about them."""
    known = [gap for gap in gaps if gap is not None and gap < NO_PROOF]
    return len(known) == len(gaps) and 0.0 < abs(gain) <= sum(known) * abs(money)


def how_near(gap: float | None) -> str:
    """How near a plan is proven to be to the best one."""
    if gap is None or gap >= NO_PROOF:
        return "the best found, not proven"
    return "proven the best" if gap < PROVEN else f"proven within {at_most_percent(gap)}% of the best"


def moved_table(moved: Sequence[Moved], words: Wording, plans: tuple[str, str]) -> Grid:
    """Field-years with the practice in each of two plans."""
    rows: list[tuple[str, ...]] = []
    starts = set[int]()
    last = ""
    for each in moved:
        if each.field != last:
            starts.add(len(rows))
            last = each.field
        rows.append((f"{each.field}, {each.year}", *_practices(each, words)))
    return Grid(header=("Field, year", *plans), rows=tuple(rows), groups=frozenset(starts - {0}))


def _practices(moved: Moved, words: Wording) -> tuple[str, str]:
    before, after = (words.practice(key) if key else NOT_FARMED for key in (moved.before, moved.after))
    return capital(before), capital(after)


def _busy(found: Difference) -> Bullets | None:
    """The half-months whose hours change most, over all years."""
    one, other = (stand.plan.figures.labour_hours for stand in (found.before, found.after))
    steps = [
        (after - before, year, span)
        for year, (old, new) in enumerate(zip(one, other, strict=True))
        for span, (before, after) in enumerate(zip(old, new, strict=True))
        if abs(after - before) >= LEAST_HOURS
    ]
    if not steps:
        return None
    largest = sorted(steps, key=lambda step: -abs(step[0]))[:MOST_SPANS]
    items = [
        f"{capital(half_month(span))} {found.before.farm.first_year + year}: "
        f"{_in_hours(abs(change))} {'more' if change > 0 else 'fewer'}"
        for change, year, span in sorted(largest, key=lambda step: step[1:])
    ]
    if len(steps) > len(largest):
        items.append(f"and smaller changes in {len(steps) - len(largest)} more half-months")
    return Bullets(items=tuple(items))


def _in_hours(hours: float) -> str:
    return "1 hour" if round(hours) == 1 else f"{hours:,.0f} hours"


def _misfits(found: Difference) -> Bullets:
    told = [sentence(each) for each in found.misfits[:MOST_MISFITS]]
    more = len(found.misfits) - len(told)
    return Bullets(items=(*told, *([f"and {more} more"] if more else [])))


def _of_cut(found: Difference, words: Wording, number: int) -> Section:
    when = (
        "No cut comes after it in the same year: the next one is the first of the year after."
        if found.next_cut is None
        else f"The next cut, which catches up on the weed, is on {words.day(found.next_cut)} at the earliest."
    )
    text = (
        f'"{MISSED}" is the plan as it is with cut {number} missed wherever it is taken: its hay is lost, '
        f'the likely course of the weeds alone is told. "{AFTER}" has nothing cut {number} times or more.'
    )
    return Section(key="cut", title="The cut that is skipped", blocks=(Paragraph(text=f"{text} {when}"),))


def _in_weather(weather: Weather, words: Wording) -> str:
    taken = f"If {weather.year} is {weather.name}, the plan as it is brings {_less(weather.before, words)}"
    if weather.after is not None:
        taken += f"; the one chosen anew {_less(weather.after, words)}"
    fails = ", ".join(field for field, _ in weather.sown_again)
    sown = (
        f" Hay sown in {weather.year} on {fails} is likely to fail: sow it again, or put another crop there "
        f"in {weather.year + 1}."
        if fails
        else ""
    )
    return f"{taken}, in all years together.{sown} What such a year does to the weeds is not reckoned."


def _less(amount: float, words: Wording) -> str:
    return more_or_less(-amount, words.money(abs(amount)), zero="the same")
