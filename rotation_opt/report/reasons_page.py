"""Why each crop stands where it does in one plan: what it does to the weed, and what would come second."""

from __future__ import annotations

from collections.abc import Sequence

from rotation_opt.ledgers import RunnerUp
from rotation_opt.records import Alternative, Field, YearOnField
from rotation_opt.report.blocks import Bullets, Entries, Entry, Grid, Page, Paragraph, Section
from rotation_opt.report.summary import MOST_MONEY, NO_FIGURE, Reading
from rotation_opt.report.wording import capital, sentence, weed_percent

LEAD = (
    "One line for each field and year. Roots: what is left of the weed's roots from one 1 November to the "
    "next, as a share of a full stand, where the weed stands.",
    "Second = the best plan with another crop on this field in this year, all other fields as they are and "
    "all limits kept. Other years of the field may change with it; not every way to crop it was looked at. "
    "Where other fields may change as well, another crop can cost far less: the line says how firmly the "
    "crop sits in this plan.",
    "What it costs is the net return of the whole farm, mean of the years, and roots of the whole farm at "
    "the end of the plan: a point is one hundredth of today's roots.",
)
DECIDES = {
    "money": ("Money", "the second would leave less."),
    "roots": ("Fewer roots", "others bring more money, but leave more roots."),
    "limit": (
        "A limit",
        "another crop would be better if it were not for this limit; with no second, the limit that other "
        "crops break most often.",
    ),
    "crops": ("Other crops", "the second would bring more, but this plan is there to show other crops."),
    "rules": ("The rules", "no other crop may stand there after the one before; why is told below."),
    "unknown": ("Nothing else met", "no way to crop the field with another crop that year came up."),
}
"""What decides: how it is called, and what that means."""

MORE = (
    "A second can bring more here: plans are chosen with later money discounted and with what the farm file "
    "asks to be counted, and are proven only to within the distance in the summary."
)
NO_SECOND = "none found that keeps all limits"
NONE_MAY = "none may stand there"
NOT_KNOWN = "not known"
NAMED = 2  # limits
LEAST_POINTS = 0.5


def reasons_page(reading: Reading, plan: Alternative) -> Page:
    """A line for every field and year of one plan.

    Parameters
    ----------
    reading : Reading
    plan : Alternative

    Returns
    -------
    Page
        No sections where nothing is known of what comes second, as for the present rotation.
    """
    key = f"reasons:{plan.key}"
    title = f"Why this crop here, {reading.heading(plan)}"
    found = reading.result.runners_up.get(plan.key, ())
    if not found:
        return Page(key=key, title=title, lead=(), sections=())
    sections = [
        Section(key=key, title="Field by field", blocks=(_table(reading, plan, found),)),
        Section(key=f"{key}:decides", title="What decides", blocks=_meanings(plan, found)),
    ]
    if rules := _rules(found):
        told = (Bullets(items=rules),)
        sections.append(Section(key=f"{key}:rules", title="Why no other crop may stand", blocks=told))
    return Page(key=key, title=title, lead=LEAD, sections=tuple(sections))


def _table(reading: Reading, plan: Alternative, found: Sequence[RunnerUp]) -> Grid:
    seconds = {(each.field, each.year): each for each in found}
    rows: list[tuple[str, ...]] = []
    groups: set[int] = set()
    for field in reading.result.farm.fields:
        groups.add(len(rows))
        for entry in sorted((each for each in plan.fields if each.field == field.name), key=_by_year):
            second = seconds.get((field.name, entry.year))
            rows.append(_row(reading, plan, field, entry, second))
    header = (
        "Field, year",
        "Crop",
        "Roots, % of full stand",
        "What decides",
        "Second would be",
        f"That costs, {reading.wording.money_unit} a year",
    )
    return Grid(header=header, rows=tuple(rows), groups=frozenset(groups - {0, len(rows)}))


def _by_year(entry: YearOnField) -> int:
    return entry.year


def _row(
    reading: Reading, plan: Alternative, field: Field, entry: YearOnField, second: RunnerUp | None
) -> tuple[str, ...]:
    words = reading.wording
    return (
        f"{field.name}, {entry.year}",
        capital(words.practice(entry.practice)),
        _roots(reading, plan, entry),
        *(
            (NO_FIGURE, NO_FIGURE, NO_FIGURE)
            if second is None
            else (_decides(second), _crop(reading, second), costs(reading, second))
        ),
    )


def _roots(reading: Reading, plan: Alternative, entry: YearOnField) -> str:
    """From autumn to autumn, weed by weed."""
    words = reading.wording
    before = next(
        (each for each in plan.fields if each.field == entry.field and each.year == entry.year - 1), None
    )
    today = reading.result.reserve_today.get(entry.field, {})
    lines = []
    for weed, (_, likely, _) in entry.reserve.items():
        if before is None and weed not in today:
            continue
        was = before.reserve[weed][1] if before is not None else today[weed]
        course = f"{weed_percent(was)} to {weed_percent(likely)}"
        lines += [course] if len(entry.reserve) == 1 else [words.weed_short(weed), course]
    return "\n".join(lines) if lines else "no weed"


def _decides(second: RunnerUp) -> str:
    if not second.limits:
        return DECIDES[second.decided_by][0].lower()
    names = [name.removeprefix("the ") for name in second.limits]
    return "\n".join((*names[:NAMED], *(["and more"] if len(names) > NAMED else [])))


def _crop(reading: Reading, second: RunnerUp) -> str:
    """The crop that would stand there, with how it is grown."""
    if second.practices:
        practice = second.practices[second.year - reading.result.farm.first_year]
        return capital(reading.wording.practice(practice))
    return {"rules": NONE_MAY, "limit": NO_SECOND}.get(second.decided_by, NOT_KNOWN)


def costs(reading: Reading, second: RunnerUp) -> str:
    """What the second would change: money a year, and roots at the end if there are any.

    Examples: "430 less, roots 6 points higher"; "60 more, roots the same".
    """
    if not second.practices:
        return NO_FIGURE
    figure = reading.wording.money_figure(abs(second.net_a_year))
    way = "more" if second.net_a_year > 0.0 else "less"
    money = "the same money" if figure == "0" else f"{figure} {way}"
    if not any(field.patches for field in reading.result.farm.fields):
        return money
    points = 100.0 * abs(second.roots)
    if points < LEAST_POINTS:
        return f"{money}, roots the same"
    said = f"{points:.0f} point{'' if round(points) == 1 else 's'}"
    return f"{money}, roots {said} {'higher' if second.roots > 0.0 else 'lower'}"


def _meanings(plan: Alternative, found: Sequence[RunnerUp]) -> tuple[Entries | Paragraph, ...]:
    """What the words under "what decides" mean, of those on the page; and when the second brings more."""
    there = {each.decided_by for each in found}
    entries = Entries(
        items=tuple(
            Entry(label=label, text=capital(text)) for by, (label, text) in DECIDES.items() if by in there
        )
    )
    if plan.key == MOST_MONEY and any(each.net_a_year >= 0.5 for each in found):
        return entries, Paragraph(text=MORE)
    return (entries,)


def _rules(found: Sequence[RunnerUp]) -> tuple[str, ...]:
    """Fields and years in which no other crop may stand, by the reasons."""
    where: dict[tuple[str, ...], list[str]] = {}
    for each in found:
        if each.decided_by == "rules":
            where.setdefault(each.rules, []).append(f"{each.field} {each.year}")
    return tuple(
        f"{', '.join(places)}: {' '.join(sentence(rule) for rule in rules)}"
        for rules, places in where.items()
    )
