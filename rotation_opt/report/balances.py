"""Where the hay, the hours and the crops go; and what a year with few field days would do."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from rotation_opt import balances as b
from rotation_opt.ledgers import Balance, Competition, FieldDays, ShortDays
from rotation_opt.records import Alternative
from rotation_opt.report.blocks import Block, Entries, Entry, Grid, Paragraph, Section
from rotation_opt.report.summary import Reading
from rotation_opt.report.wording import half_month, mean
from rotation_opt.words import listed

LEAST = 0.05  # what rounds to nothing in every plan has no row
NAMED = 3  # machines that a plan names
HARVESTED = "harvested"
ONE_PLACE = 2  # rows of a crop that all goes to one place

HAY_ROWS = (
    ("there", b.CUT, "cut"),
    ("there", b.FROM_STORE, "from store"),
    ("there", b.BOUGHT, "bought"),
    ("gone", b.SOLD, "sold"),
    ("gone", b.STANDING, "sold standing"),
    ("gone", b.FED, "fed"),
    ("gone", b.INTO_STORE, "in store at the year's end"),
    ("gone", b.LEFT, "cut and left"),
    ("gone", b.LOST, "lost in store"),
    ("gone", b.LANDLORD, "landlord's share"),
    ("gone", b.UNSOLD, "no buyer"),
)
HOUR_ROWS = (
    ("there", b.NEEDED, "needed"),
    ("gone", b.OWN, "own"),
    ("gone", b.EXTRA, "extra paid help"),
    ("gone", b.OVER, "more than there are"),
)
CROP_WORDS = {b.LANDLORD: "landlord", b.OPEN: "open market", b.HERD: "herd, store", b.UNSOLD: "no buyer"}
HOW_TO_READ = (
    "Means of the plan years; rounded lines may miss their sum by one. {hay}Hours: needed = all lines below; "
    "work before the first year is not in them. Crops: harvested = all that follows. Each was added up "
    "a second time from fields and years."
)
HAY_READ = "Hay: cut + from store + bought = all lines below them. "


def balance_sections(reading: Reading, plans: Sequence[Alternative]) -> list[Section]:
    """The sections on balances and on field days; nothing for what was not worked out."""
    return [*_balances(reading, plans), *_field_days(reading, plans)]


def _balances(reading: Reading, plans: Sequence[Alternative]) -> list[Section]:
    found = [
        (plan, reading.result.balances[plan.key]) for plan in plans if plan.key in reading.result.balances
    ]
    if not found:
        return []
    words = reading.wording
    head = tuple(reading.letter(plan) for plan, _ in found)
    named = [{each.what: each for each in lines} for _, lines in found]
    hay = _rows([each.get("hay") for each in named], HAY_ROWS, words.hay)
    hours = _rows([each.get("hours") for each in named], HOUR_ROWS, _whole)
    blocks: list[Block] = []
    if hay:
        blocks.append(Grid(header=(f"Hay, {words.hay_unit} a year", *head), rows=hay))
    blocks.append(Grid(header=("Hours a year", *head), rows=hours))
    crops = _crop_rows(reading, named)
    if crops:
        blocks.append(Grid(header=(f"{_amount_unit(reading)} a year", *head), rows=crops))
    blocks.append(Paragraph(text=HOW_TO_READ.format(hay=HAY_READ if hay else "")))
    title = f"Where the {'hay, the ' if hay else ''}hours and the crops go"
    return [Section(key="balances", title=title, blocks=tuple(blocks))]


def _amount_unit(reading: Reading) -> str:
    return "Crops, tons (2,000 lb)" if reading.result.farm.units == "us" else "Crops, t"


def _rows(
    balances: Sequence[Balance | None], wanted: Sequence[tuple[str, str, str]], say: Callable[[float], str]
) -> tuple[tuple[str, ...], ...]:
    rows = []
    for side, name, words in wanted:
        values = [0.0 if each is None else mean(getattr(each, side).get(name, (0.0,))) for each in balances]
        if max(map(abs, values)) > LEAST:
            rows.append((words, *(say(value) for value in values)))
    return tuple(rows)


def _crop_rows(reading: Reading, named: Sequence[Mapping[str, Balance]]) -> tuple[tuple[str, ...], ...]:
    """A row for what is harvested of each crop, then one for each place it goes to."""
    say = reading.wording.hay
    rows = []
    for crop in sorted({what for each in named for what in each if what not in ("hay", "hours", "cash")}):
        found = [each.get(crop) for each in named]
        places = dict.fromkeys(name for each in found if each for name in each.gone)
        sides = [("there", b.MADE, HARVESTED), ("there", b.FROM_STORE, "from store")]
        sides += [("gone", name, CROP_WORDS.get(name, name)) for name in places]
        lines = _rows(found, sides, say)
        if len(lines) == ONE_PLACE and lines[0][0] == HARVESTED:
            lines = ((f"all to {lines[1][0]}", *lines[1][1:]),)
        rows += [(f"{reading.wording.crop(crop)}, {line[0]}", *line[1:]) for line in lines]
    return tuple(rows)


def _whole(value: float) -> str:
    return f"{value:,.0f}"


# ---------------------------------------------------------------- field days


def _field_days(reading: Reading, plans: Sequence[Alternative]) -> list[Section]:
    found = [
        (plan, reading.result.field_days[plan.key]) for plan in plans if plan.key in reading.result.field_days
    ]
    if not found:
        return []
    entries = tuple(
        Entry(
            label=reading.heading(plan),
            text=f"{_short(reading, days)} {_competing(days.competition)}".strip(),
        )
        for plan, days in found
    )
    return [
        Section(
            key="field_days",
            title="If field days are few",
            blocks=(Entries(items=entries), Paragraph(text=_borrowed(reading, found[0][1]))),
        )
    ]


def _short(reading: Reading, days: FieldDays) -> str:
    """The machines that would run short, each with its worst half-month."""
    if not days.short:
        return "Own machines have days enough in a bad year too."
    by_machine: dict[str, list[ShortDays]] = {}
    for each in days.short:  # the worst first
        by_machine.setdefault(each.machine, []).append(each)
    named = [_one_machine(reading, halves) for halves in list(by_machine.values())[:NAMED]]
    others = [reading.wording.machine(key) for key in list(by_machine)[NAMED:]]
    tail = f"; short as well: {listed(others, 'and')}" if others else ""
    return f"In a bad year {'; '.join(named)}{tail}."


def _one_machine(reading: Reading, halves: Sequence[ShortDays]) -> str:
    worst = halves[0]
    most = f", the most of {len(halves)} half-months" if len(halves) > 1 else ""
    hire = " (hire can help)" if worst.can_hire else ""
    return (
        f"the {reading.wording.machine(worst.machine)} is {_hours(worst.missing_h)} short of the "
        f"{worst.needed_h:,.0f} needed in {half_month(worst.half_month)} {worst.year}{most}{hire}"
    )


def _hours(hours: float) -> str:
    text = _whole(hours)
    return f"{text} hour" if text == "1" else f"{text} hours"


def _competing(meeting: Competition | None) -> str:
    if meeting is None:
        return ""
    return (
        f"First cutting and planting or hoeing meet most in {half_month(meeting.half_month)} {meeting.year}: "
        f"{meeting.cutting_h:,.0f} and {meeting.planting_h:,.0f} of your {meeting.there_h:,.0f} hours there, "
        f"with {meeting.hay_days[0]:.0f} days for hay and {meeting.field_days[0]:.0f} for field work "
        f"({meeting.hay_days[1]:.0f} and {meeting.field_days[1]:.0f} in a bad year)."
    )


def _borrowed(reading: Reading, days: FieldDays) -> str:
    planned = "a bad" if reading.result.farm.labour.bad_year else "a median"
    hay = ", those of hay our judgement from them" if reading.any_hay else ""
    return (
        f"Plans are chosen with the field days of {planned} year. A bad year is about one in five, a "
        f"judgement. The days are figures of the {days.borrowed_from}{hay}; elsewhere they are borrowed. "
        "Hired machines are left out here."
    )
