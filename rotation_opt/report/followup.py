"""What the plan followed promised, what was counted, and what changes from here on."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from rotation_opt.promises import FollowUp, Held, Narrowed, Otherwise
from rotation_opt.records import Alternative
from rotation_opt.report.blocks import Block, Bullets, Grid, Page, Paragraph, Section
from rotation_opt.report.field_years import ShortNames
from rotation_opt.report.summary import AS_NOW, NO_FIGURE, Reading
from rotation_opt.report.wording import (
    band,
    capital,
    mean,
    more_or_less,
    percent_range,
    sentence,
)
from rotation_opt.words import listed

_Answer = Callable[[Alternative], str]

KEY = "followup"
HALF_HOUR = 0.5  # less than that is nothing in hours of a year
RULE = (
    "The rule: eight counts in ten should lie in the promise. A count is above or below it only if its own "
    "low to high does not touch it. Outside in one year: look again, in the same places at bud stage. "
    "Outside in two years running: plan anew."
)
NO_COUNT = (
    "No count of the years done could be held against the plan. Roots are as foretold for what was done, and "
    "low to high of the new plan is as wide as that leaves it."
)
FORETOLD = (
    "Foretold = from the counts of the farm file alone, for what was really done, whatever was planned."
)
OTHER_CROP = (
    "{where} not done as planned: the promise there was for what was planned, so a count beside it may "
    "lie outside for that reason alone."
)
STARTS = (
    "The new plan starts from the roots with the counts, and its low to high from theirs. It goes on with "
    "those courses of the weed that foretold its counts well."
)
MOVED = (
    "! Counted so far from all that older counts let expect that the weed figures are wrong there: the "
    "newest count alone speaks for the roots. Count once more before much is spent on it."
)
NOT_COUNTED = "* Not counted in {year}: older counts, counts of other fields and what was done speak for it."
AS_KEPT = (
    "Stores, cash in hand, prices and machines are as the farm file says: change them there if they are "
    "others by now."
)
WIDENED = (
    "The counts are sharper than the courses followed can show, so low to high is kept wider than they alone "
    "would have it."
)


def followup_page(reading: Reading, columns: Sequence[Alternative], names: ShortNames) -> Page:
    """The page; without sections where nothing was planned anew."""
    told = reading.result.followup
    if told is None:
        return Page(key=KEY, title="Last plan", lead=(), sections=())
    sections = (
        _section("counts", "Shoots promised and shoots counted", _counts(reading, told)),
        _section("roots", "Roots before and after the counts", _roots(reading, told)),
        _section("done", "What was done otherwise than planned", _done(reading, told)),
        _section(
            "changes", "What changes against the plan as it was", _changes(reading, told, columns, names)
        ),
    )
    years = _span(told)
    was = "" if reading.as_now is None else f" {reading.heading(reading.as_now)} is the rest of it."
    lead = (f"The plan followed was {told.title}; {years} {'is' if _one(told) else 'are'} done.{was}",)
    return Page(
        key=KEY,
        title=f"What became of the plan, {years}",
        lead=lead,
        sections=tuple(each for each in sections if each.blocks),
    )


def _section(key: str, title: str, blocks: Sequence[Block]) -> Section:
    return Section(key=f"{KEY}:{key}", title=title, blocks=tuple(blocks))


def _one(told: FollowUp) -> bool:
    return told.first_year == told.last_year


def _span(told: FollowUp) -> str:
    return f"{told.first_year}" if _one(told) else f"{told.first_year} to {told.last_year}"


def _place(reading: Reading, field: str, weed: str) -> str:
    return f"{field}: {reading.wording.weed_short(weed)}"


# ---------------------------------------------------------------- counts


def _counts(reading: Reading, told: FollowUp) -> list[Block]:
    if not told.held:
        return [Paragraph(text=NO_COUNT)]
    rows = tuple(
        (
            _place(reading, each.field, each.weed),
            str(each.year),
            band(each.promised) + ("" if each.by_plan else " +"),
            band(each.counted),
            str(each.stops),
            each.side,
        )
        for each in told.held
    )
    header = ("Shoots per m2, likely (low to high)", "Year", "Promised", "Counted", "Stops", "The count is")
    notes = [*_verdicts(reading, told.held, told), *_other_crops(told), RULE]
    if not all(each.by_plan for each in told.held):
        notes.append(
            "+ The plan file does not tell of this year: foretold from the first count for what was done."
        )
    return [Grid(header=header, rows=rows), Bullets(items=tuple(notes))]


def _verdicts(reading: Reading, held: Sequence[Held], told: FollowUp) -> list[str]:
    """What the rule says for each field and weed that lies outside, and that all others are as promised."""
    found, quiet = [], 0
    for field, weed in dict.fromkeys((each.field, each.weed) for each in held):
        years = told.years_outside(field, weed)
        if not years:
            quiet += 1
            continue
        last = max((each for each in held if (each.field, each.weed) == (field, weed)), key=lambda e: e.year)
        place = _place(reading, field, weed)
        what = "look again" if years == 1 else f"{years} years running: plan anew"
        found.append(f"{place}: {last.side} the promise in {last.year}. {capital(what)}.")
    if quiet:
        found.append(
            "All counts of the last year counted lie in the promise."
            if not found
            else f"As promised: {quiet} of {quiet + len(found)} fields and weeds counted."
        )
    return found


def _other_crops(told: FollowUp) -> list[str]:
    """That a count stands beside the promise of something that was not done."""
    outside = {(each.field, each.year) for each in told.held if each.by_plan and each.side != "inside"}
    where = [
        f"{each.field} in {each.year}"
        for each in told.otherwise
        if (each.field, each.year) in outside and each.planned not in {"", each.done}
    ]
    verb = "was" if len(where) == 1 else "were"
    return [OTHER_CROP.format(where=f"{listed(where, 'and')} {verb}")] if where else []


def _roots(reading: Reading, told: FollowUp) -> list[Block]:
    if not told.roots:
        return []
    head = f"Living roots, 1 November {told.last_year}, % of a full stand"
    if not told.visits_used:  # nothing stands against what was foretold
        alone = tuple(
            (_place(reading, each.field, each.weed), percent_range(each.before)) for each in told.roots
        )
        return [
            Grid(header=(head, "Foretold"), rows=alone),
            Bullets(items=(FORETOLD, AS_KEPT, *told.notes)),
        ]
    rows = tuple(
        (
            _place(reading, each.field, each.weed) + _marks(each),
            percent_range(each.before),
            percent_range(each.after),
        )
        for each in told.roots
    )
    notes = [FORETOLD, STARTS, AS_KEPT]
    if not all(each.counted for each in told.roots):
        notes.insert(2, NOT_COUNTED.format(year=told.last_year))
    if any(each.moved for each in told.roots):
        notes.insert(2, MOVED)
    if told.power < 1.0:
        notes.append(WIDENED)
    return [
        Grid(header=(head, "Foretold", "With the counts"), rows=rows),
        Bullets(items=(*notes, *told.notes)),
    ]


def _marks(each: Narrowed) -> str:
    return ("" if each.counted else " *") + (" !" if each.moved else "")


def _done(reading: Reading, told: FollowUp) -> list[Block]:
    words = reading.wording
    items = []
    for each in told.otherwise:
        done = words.practice(each.done)
        planned = (
            f", planned was {words.practice(each.planned)}" if each.planned not in {"", each.done} else ""
        )
        note = f" ({each.note.rstrip('. ')})" if each.note else ""
        days = "".join(f"; {each}" for each in _other_days(reading, each))
        items.append(f"{each.field}, {each.year}: {done}{planned}{days}{note}.")
    return [
        Bullets(items=tuple(items or ["All was done as planned, as far as the file of years done tells."]))
    ]


def _other_days(reading: Reading, each: Otherwise) -> list[str]:
    """Days that were not the usual ones, beside these."""
    pairs = (
        ("sown", [each.sown_on], [each.usual_sown_on]),
        ("cut", each.cut_on, each.usual_cut_on),
        ("harvested", [each.harvested_on], [each.usual_harvested_on]),
    )

    def said(days: Sequence[str]) -> str:
        return listed([reading.wording.short_day(day) for day in days], "and")

    return [f"{what} {said(days)}, usual {said(usual)}" for what, days, usual in pairs if any(days)]


# ---------------------------------------------------------------- changes


def _changes(
    reading: Reading, told: FollowUp, columns: Sequence[Alternative], names: ShortNames
) -> list[Block]:
    was = reading.as_now
    new = [plan for plan in columns if plan.key != AS_NOW]
    if was is None or not new:
        return []
    heads = tuple(reading.heading(plan) for plan in new)
    sums = Grid(
        header=("Against the plan as it was", *heads),
        rows=tuple((name, *(answer(plan) for plan in new)) for name, answer in _answers(reading, was)),
        even=True,
    )
    first = reading.result.farm.first_year
    rows, moved = [], []
    for field, path in was.practices.items():
        for place, key in enumerate(path):
            others = [plan.practices[field][place] for plan in new]
            if not key or all(other == key for other in others):
                continue
            moved.append(field)
            cells = (NO_FIGURE if other == key or not other else names[other] for other in others)
            rows.append((f"{field}, {first + place}", names[key], *cells))
    blocks: list[Block] = [sums]
    kept = [
        reading.heading(plan)
        for plan in reading.result.alternatives
        if plan.same_as == was.title and plan.key != AS_NOW
    ]
    if kept:
        blocks.append(Paragraph(text=f"{listed(kept, 'and')} came out the same as the plan as it was."))
    if rows:
        blocks.append(
            Grid(
                header=("Only what changes", "As it was", *heads), rows=tuple(rows), even=True, name_share=0.2
            )
        )
        blocks.append(Bullets(items=tuple(_why(reading, told, list(dict.fromkeys(moved))))))
    else:
        blocks.append(Paragraph(text="Nothing changes: the plan as it was is still the best of its kind."))
    return blocks


def _answers(reading: Reading, was: Alternative) -> list[tuple[str, _Answer]]:
    words = reading.wording

    def hours(plan: Alternative) -> float:
        return mean([sum(year) for year in plan.figures.labour_hours])

    def work(plan: Alternative) -> str:
        apart = hours(plan) - hours(was)
        return more_or_less(apart, f"{abs(apart):.0f} h") if abs(apart) >= HALF_HOUR else "the same"

    return [
        (f"Net return a year ({words.money_unit})", reading.against_now),
        ("Work a year", work),
        ("Roots at the end, % of today's", reading.roots),
        ("The same for the plan as it was", lambda _: reading.roots(was)),
    ]


def _why(reading: Reading, told: FollowUp, moved: Sequence[str]) -> list[str]:
    """Why the plan of each field moves: what was counted or done there, else the other fields."""
    items, alone = [], []
    for field in moved:
        years: dict[tuple[str, str], list[str]] = {}
        for each in (held for held in told.held if held.field == field and held.side != "inside"):
            years.setdefault((each.weed, each.side), []).append(f"{each.year}")
        reasons = [
            f"{reading.wording.weed_short(weed)} counted {side} the promise in {listed(when, 'and')}"
            for (weed, side), when in years.items()
        ]
        reasons += [
            f"{each.year} was not done {'as planned' if each.planned != each.done else 'on the usual days'}"
            for each in told.otherwise
            if each.field == field and (each.planned != each.done or each.other_days)
        ]
        if reasons:
            items.append(f"{field}: {'; '.join(reasons)}.")
        else:
            alone.append(field)
    if alone:
        what = "was counted and done as promised" if len(alone) == 1 else "were counted and done as promised"
        items.append(
            sentence(
                f"{listed(alone, 'and')} {what}, or not counted; what changes there makes up for other "
                "fields, comes of the other aim of that plan, or of years further ahead that are now in view"
            )
        )
    return items
