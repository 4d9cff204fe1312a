"""One season looked at closely: which practice holds a weed back, and why."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rotation_opt.records import DatedOperation, SeasonCourse, SeasonRow
from rotation_opt.report.blocks import Block, Bullets, Drawing, Grid, Page, Paragraph, Section
from rotation_opt.report.season_plot import (
    MARKS,
    dark_spells,
    day_in_words,
    first_shoots,
    half_up,
    mark_of,
    season_plot,
)
from rotation_opt.report.wording import (
    Wording,
    band,
    capital,
    percent,
    percent_figure,
    share_range,
    weed_percent,
)

CROPS_SHOWN = 12  # of these the best way to grow each, unless all practices are asked for
NOW = " (now)"
FOLLOW_A_CUT = frozenset({"rake", "bale"})
DAYS_AFTER_A_CUT = 10  # raking and baling within these days belong to the cut
MATTERS = 0.05  # of a full stand: less is no difference worth a word
SAME_LIGHT = 0.03  # of full light: lines so close are one line
NO_EFFECT = 0.005  # of a full stand: a difference that no figure shows

HOW_TO_READ = (
    "Head start = days that the crop is ahead: from its leaving so little light that the weed grows less, to "
    "half of the weed's shoots being up. A minus: the weed is ahead. Never: no such shade before bud stage. "
    "The largest figure means shade since winter.",
    "Light = mean share of full light that reaches the weed from its first shoots to bud stage.",
    "Passes = tillage, hoeing and mowing from the harvest before to its own harvest; cuts = of hay or green "
    "manure, and grazings.",
    "Roots left = living roots in late autumn, of a full stand at the harvest before: likely (low to high). "
    "Low to high covers sets of weed figures that explain published trials about equally well, cool to warm "
    "years, and the usual error with which trials that the figures were not fitted to were foretold: eight "
    "in ten outcomes lie within.",
)


def season_page(rows: Sequence[SeasonRow], words: Wording, where: str = "", every: bool = False) -> Page:
    """Practices ranked by what they leave of the roots, one section for each weed.

    Parameters
    ----------
    rows : sequence of SeasonRow
        Any order.
    words : Wording
        Words and units of the farm.
    where : str
        Name of the field that the season is on; empty for the farm at large.
    every : bool, default False
        All practices; otherwise the best way to grow each crop, and what the farm grows now.

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
        shown = [
            (rank, row)
            for rank, row in enumerate(ranked, start=1)
            if every or row.now or row in _best_of_each_crop(ranked, words)
        ]
        after = ("After",) if every else ()
        grid = Grid(
            header=(
                "No.",
                "Practice",
                *after,
                "Head start, days",
                "Light, %",
                "Passes",
                "Cuts",
                "Roots left, %",
            ),
            rows=tuple(_line(rank, row, words, after=every) for rank, row in shown),
        )
        sections.append(
            Section(
                key=weed,
                title=capital(words.weed(weed)),
                blocks=(
                    Paragraph(text=_what_is_shown(len(shown), len(ranked), where)),
                    grid,
                    Paragraph(
                        text=f"This weed grows less below {percent(ranked[0].enough_light)} of full light."
                    ),
                ),
            )
        )
    sections.append(Section(key="reading", title="How to read this", blocks=(Bullets(items=HOW_TO_READ),)))
    place = f", {where}" if where else ""
    return Page(
        title=f"{words.farm.name}{place}: what one season of each practice does to the weeds",
        lead=_lead(words),
        sections=tuple(sections),
    )


def _best_of_each_crop(ranked: Sequence[SeasonRow], words: Wording) -> list[SeasonRow]:
    best: dict[str, SeasonRow] = {}
    for row in ranked:
        best.setdefault(_crop_of(row.practice, words), row)
    return list(best.values())[:CROPS_SHOWN]


def _what_is_shown(shown: int, ranked: int, where: str) -> str:
    if shown == ranked:
        return f"All {ranked} practices, best first."
    here = "this field" if where else "the farm"
    return (
        f"Best first: the best way to grow each crop, and what {here} grows now. These are {shown} of "
        f"{ranked} practices; --all shows all."
    )


def _line(rank: int, row: SeasonRow, words: Wording, *, after: bool) -> tuple[str, ...]:
    previous = (words.crop_short(_crop_of(row.previous, words)),) if after else ()
    return (
        str(rank),
        words.practice(row.practice) + (NOW if row.now else ""),
        *previous,
        "never" if row.head_start_days is None else f"{row.head_start_days:.0f}",
        percent_figure(row.light),
        str(row.passes),
        str(row.cuts),
        band(row.reserve_end, weed_percent),
    )


def _crop_of(practice: str, words: Wording) -> str:
    record = words.practice_record(practice)
    return practice if record is None else record.crop


# ---------------------------------------------------------------- one practice


def course_page(course: SeasonCourse, words: Wording, where: str = "") -> Page:
    """One practice against one weed through the year: in short, drawn, in figures and as work to do."""
    weed = words.weed(course.weed)
    present = {mark_of(work, words) for work in course.operations} - {("", "")}
    legend = ", ".join(
        f"{letter} = {what}" for letter, what in dict.fromkeys(MARKS.values()) if (letter, what) in present
    )
    year: list[Block] = [Drawing(draw=season_plot(course, words))]
    if legend:
        year.append(Paragraph(text=f"Work: {legend}."))
    sections = [
        Section(
            key="short",
            title=f"{capital(words.practice(course.practice))}, in short",
            blocks=(Bullets(items=tuple(_in_short(course, words))),),
        ),
        Section(key="plot", title="The season", blocks=tuple(year)),
        Section(key="roots", title="Roots through the season", blocks=(_roots(course, words),)),
    ]
    if course.operations:
        grid = _work(course, words)
        sections.append(Section(key="work", title="Work in this season", blocks=(grid,)))
    sections.append(
        Section(key="band", title="What low to high covers", blocks=(Paragraph(text=_covered(course)),))
    )
    place = f", {where}" if where else ""
    return Page(
        title=f"{words.farm.name}{place}: {words.practice(course.practice)} against {weed}",
        lead=(
            *_lead(words),
            f"Comes after: {words.practice(course.previous)}. Starts from a full stand of {weed}.",
        ),
        sections=tuple(sections),
    )


def _lead(words: Wording) -> tuple[str, ...]:
    lead = ["Mean weather of the place; dates move with the season. Estimates, not advice."]
    if words.farm.invented:
        lead.append("This is an invented demo farm: its people, fields and figures are made up.")
    return tuple(lead)


def _in_short(course: SeasonCourse, words: Wording) -> Iterator[str]:
    last = course.first_day + len(course.reserve) - 1
    start = day_in_words(course, course.first_day, words)
    yield (
        f"Of a full stand of roots on {start}, {share_range(course.reserve[-1])} is left on "
        f"{day_in_words(course, last, words)}."
    )
    if course.counted is not None:
        counted = course.counted
        yield (
            f"On {counted.field} the count speaks for {share_range(counted.start)} of a full stand at the "
            f"harvest before. There this season would leave {share_range(counted.end)}, and "
            f"{band(counted.shoots_per_m2)} shoots per m2 at about bud stage."
        )
    yield _light(course, words)
    yield _who_is_first(course, words)
    yield _why(course)


def _light(course: SeasonCourse, words: Wording) -> str:
    weed, line = words.weed(course.weed), percent(course.enough_light)
    first, spells = first_shoots(course), dark_spells(course)
    if first is None:
        return f"No shoots of {weed} come up before frost."
    up = min(course.frost_day, course.first_day + len(course.light) - 1) - first + 1
    if not spells:
        return (
            f"Shade does nothing: {weed} never has less than {line} of full light from its first shoots "
            f"({day_in_words(course, first, words)}) on."
        )
    long = sorted(sorted(spells, key=lambda spell: spell[0] - spell[1])[:3])
    said = _listed(
        [
            f"from {'its first shoots on ' if begin == first else ''}{day_in_words(course, begin, words)} "
            f"to {day_in_words(course, end, words)}"
            for begin, end in long
        ]
    )
    dark = sum(end - begin + 1 for begin, end in spells)
    more = " (longest spells)" if len(spells) > len(long) else ""
    return (
        f"{capital(said)}{more} the crop leaves {weed} less than {line} of full light: {dark} of the "
        f"{up} days from its first shoots to frost."
    )


def _who_is_first(course: SeasonCourse, words: Wording) -> str:
    half, head = half_up(course), course.head_start_days
    if half is None:
        return "Fewer than half of its shoots ever come up."
    when = f"Half of its shoots would be up by {day_in_words(course, half, words)}"
    if not course.stands:
        return f"{when} if left alone; there is no crop to be first."
    if head is None:
        return f"{when}, and the crop does not shade them that much before bud: the weed is first."
    days = round(abs(head))
    dark = day_in_words(course, half - round(head), words)
    if days == 0:
        return f"{when}, the day on which the crop begins to shade them that much: neither is first."
    if head > 0:
        first = first_shoots(course)
        if first is not None and half - round(head) <= first:
            return f"{when}; the crop has shaded them that much since before they came up: the crop is first."
        return (
            f"{when}, {days} days after the crop begins to shade them that much ({dark}): the crop is first."
        )
    return f"{when}, {days} days before the crop begins to shade them that much ({dark}): the weed is first."


def _why(course: SeasonCourse) -> str:
    """What work and shade do, each on its own."""
    work, shade, both = course.work_alone[1], course.shade_alone[1], course.reserve[-1][1]
    neither = course.left_alone[1]
    text = (
        f"This work without the shade would leave {share_range(course.work_alone)}, this shade without the "
        f"work {share_range(course.shade_alone)}, neither of them {share_range(course.left_alone)}."
    )
    if neither - both <= MATTERS:
        return f"That is about what would be left of it anyway. {text}"
    if neither - shade <= NO_EFFECT:
        return f"It is the work that does it: without any {share_range(course.left_alone)} would be left."
    if neither - work <= NO_EFFECT:
        return f"It is the shade that does it: without any {share_range(course.left_alone)} would be left."
    if abs(work - shade) <= MATTERS:
        return f"Work and shade do about as much. {text}"
    more = "The work does more than the shade" if work < shade else "The shade does more than the work"
    return f"{more}. {text}"


def _roots(course: SeasonCourse, words: Wording) -> Grid:
    last = course.first_day + len(course.reserve) - 1
    likely = [each[1] for each in course.reserve]
    record = words.practice_record(course.practice)
    crop = None if record is None else words.tables.crops.get(record.crop)
    ends = "its own harvest" if crop is None or crop.kind in ("cash", "hay") else "its last work"
    named = [
        (course.first_day, "harvest before"),
        (course.bud_day, "weed in bud, if left alone"),
        (min(course.harvest_day, last), ends),
        (last, "end of the season"),
        (course.first_day + likely.index(min(likely)), "lowest"),
    ]
    first, half = first_shoots(course), half_up(course)
    if first is not None:
        named.append((first, "first shoots of spring"))
    if half is not None:
        named.append((half, "half of the shoots up, if left alone"))
    events: dict[int, list[str]] = {}
    for day, what in named:
        events.setdefault(day, []).append(what)
    rows = tuple(
        (
            day_in_words(course, day, words),
            "; ".join(what),
            band(course.reserve[day - course.first_day], weed_percent),
        )
        for day, what in sorted(events.items())
        if course.first_day <= day <= last
    )
    return Grid(header=("When", "What", "Roots, % of a full stand"), rows=rows)


def _work(course: SeasonCourse, words: Wording) -> Grid:
    """Each operation on a line; raking and baling with the cut they follow."""
    cut: DatedOperation | None = None
    lines: list[tuple[DatedOperation, list[str]]] = []
    for work in course.operations:
        kind = _kind(work, words)
        if kind in FOLLOW_A_CUT and cut is not None and work.day - cut.day <= DAYS_AFTER_A_CUT:
            lines[-1][1].append(words.operation(work.operation))
            continue
        cut = work if kind == "cut" else None
        lines.append((work, [words.operation(work.operation)]))
    by_stage = any(work.stage for work in course.operations)
    rows = []
    for work, names in lines:
        when = day_in_words(course, work.day, words)
        row = (
            mark_of(work, words)[0] or "-",
            f"about {when}" if work.stage else when,
            ", ".join(names),
        )
        rows.append((*row, work.stage or "by date") if by_stage else row)
    header = ("Mark", "When", "Work", "What to look for") if by_stage else ("Mark", "When", "Work")
    return Grid(header=header, rows=tuple(rows))


def _kind(work: DatedOperation, words: Wording) -> str:
    operation = words.tables.operations.get(work.operation)
    return "" if operation is None else operation.kind


def _covered(course: SeasonCourse) -> str:
    names = course.weathers
    if not names:
        weather = "in the mean weather of the place"
    elif names[0].isalpha():
        weather = f"each in a {_listed(names)} year with the work on the days of that year"
    else:
        weather = f"each in the weather of {_listed(names)} from your record, with the work on its days"
    return (
        f"Eight in ten courses lie from low to high. They come from {course.weed_figures} sets of weed "
        f"figures that explain published trials about equally well, {weather}, and from the usual error with "
        "which trials that the figures were not fitted to were foretold. That error counts in full at the "
        "end, before then by how much of the change in the roots has happened. "
        f"Cover, shoots, light and the dates are drawn for mean weather.{_fitted(course)}"
    )


def _fitted(course: SeasonCourse) -> str:
    """Where the trials speak for another line than the one that is drawn."""
    if abs(course.fitted_light[1] - course.enough_light) <= SAME_LIGHT:
        return ""
    return (
        f" The line at {percent(course.enough_light)} was judged from what is published on thistle, before "
        "any fit: head start and the height of the weed go by it. The sets of weed figures have the roots "
        f"gain less from {share_range(course.fitted_light)} of full light down."
    )


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
