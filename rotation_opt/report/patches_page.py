"""What work on small patches would leave of them, and what it takes."""

from __future__ import annotations

from collections.abc import Sequence

from rotation_opt import units
from rotation_opt.patch_work import PART_M2, PatchOption, PatchOutlook
from rotation_opt.records import DatedOperation, PatchPractice
from rotation_opt.report.blocks import Block, Bullets, Grid, Page, Paragraph, Section
from rotation_opt.report.wording import Wording, band, capital, weed_percent
from rotation_opt.weeds.reserve import LATE_AUTUMN_DAY
from rotation_opt.words import listed

CROP_THERE = {"gone": "gone", "cut": "cut down", "stands": "stays"}


def patches_page(outlooks: Sequence[PatchOutlook], words: Wording, where: str = "") -> Page:
    """Every counted patch with the work that fits its size, then what each kind of work takes.

    Parameters
    ----------
    outlooks : sequence of PatchOutlook
    words : Wording
        Words and units of the farm.
    where : str
        Name of the field asked for; empty for all.

    Returns
    -------
    Page
    """
    fitting = [
        each for each in outlooks if any(option.practice and not option.refused for option in each.options)
    ]
    sections = [_section(number, outlook, words) for number, outlook in enumerate(fitting, 1)]
    if too_large := [each for each in outlooks if each not in fitting]:
        sections.append(_too_large(too_large, words))
    if not sections:
        none = Paragraph(text="No patch was counted here, or the field is not farmed next year.")
        sections.append(Section(key="none", title="No patches", blocks=(none,)))
    takes: list[Block] = [_takes(words)]
    first_of = {outlook.patch.weed: outlook for outlook in reversed(outlooks)}
    for weed, outlook in first_of.items():
        takes.append(Paragraph(text=f"{capital(words.weed(weed))}, in an average year:"))
        takes.append(Bullets(items=tuple(_dates(outlook, words))))
    sections.append(Section(key="takes", title="What the work takes, and when", blocks=tuple(takes)))
    sections.append(
        Section(
            key="reading", title="How to read this", blocks=(Paragraph(text=_how_to_read(outlooks, words)),)
        )
    )
    cautions = [each for each in words.tables.cautions if each.applies == "patch_work"]
    told = (
        each.text_uk if words.farm.region == "uk" else each.text_us
        for each in sorted(cautions, key=lambda each: each.rank)
    )
    sections.append(Section(key="cautions", title="Before you start", blocks=(Bullets(items=tuple(told)),)))
    lead = ["Estimates, not advice. Nearly all figures of patch work are judged: nobody has measured them."]
    if words.farm.invented:
        lead.append("This is an invented demo farm: its people, fields and figures are made up.")
    place = f", {where}" if where else ""
    return Page(
        title=f"{words.farm.name}{place}: work on small patches", lead=tuple(lead), sections=tuple(sections)
    )


def _how_to_read(outlooks: Sequence[PatchOutlook], words: Wording) -> str:
    autumn = words.day(LATE_AUTUMN_DAY + (outlooks[0].shift_days if outlooks else 0))
    wage = words.money(words.farm.labour.wage_per_h)
    return (
        f"Roots = living roots on {autumn} as share of those on {autumn} before the first season: likely, "
        f"then low to high: eight in ten outcomes, over {len(words.tables.draws) - 1} sets of weed figures "
        "that explain published trials about equally well and the usual error with which trials that the "
        "figures were not fitted to were foretold, in the mean weather of the place. The first line is what "
        "the crops of the field do by themselves. Hours and "
        f"cost are for the whole patch; cost = materials and the hours at {wage} each. Materials are as in "
        "the tables, in US dollars. Where the crop is gone from the patch, its value is not counted."
    )


def small_area(m2: float, words: Wording, digits: int = 3) -> str:
    """A patch in square feet or square metres, a large one in acres or hectares."""
    if m2 >= units.M2_PER_HA / 2:
        return words.area(m2 / units.M2_PER_HA)
    if words.farm.units == "us":
        return f"{units.figure(m2 / units.SQUARE_FOOT_M2, digits)} sq ft"
    return f"{units.figure(m2, digits)} m2"


def _section(number: int, outlook: PatchOutlook, words: Wording) -> Section:
    patch = outlook.patch
    size = small_area(patch.area_ha * units.M2_PER_HA, words)
    shown = [option for option in outlook.options if not option.refused]
    refused = [option for option in outlook.options if option.refused]
    blocks: list[Block] = [
        Paragraph(
            text=f"{units.density_text(patch.shoots_per_m2)} shoots per m2, "
            f"{words.counted(patch)}. Crops followed: "
            f"{', then '.join(words.practice(key) for key in outlook.crops)}."
        )
    ]
    header = (
        "Work",
        "Roots after 1 season, %",
        "After 2 seasons, %",
        "Hours, season 1",
        "Season 2",
        f"Cost, {words.money_unit}, season 1",
        "Season 2",
    )
    blocks.append(Grid(header=header, rows=tuple(_line(option, words) for option in shown)))
    if refused:
        limits = "; ".join(
            f"{_name(option.practice, words)} at most {small_area(option.most_m2 or 0.0, words, 2)}"
            for option in refused
        )
        blocks.append(Paragraph(text=f"{size} is too large for one person to do in a season: {limits}."))
    return Section(
        key=f"patch{number}",
        title=f"{outlook.field}: {words.weed(patch.weed)} on {size}",
        blocks=tuple(blocks),
    )


def _too_large(outlooks: Sequence[PatchOutlook], words: Wording) -> Section:
    """Patches that no work in the tables is meant for, and how much it could be."""
    limits = {option.practice: option.most_m2 or 0.0 for option in outlooks[0].options if option.practice}
    widest = max(limits, key=lambda key: limits[key])
    said = Paragraph(
        text="The most that one person can do in a season is "
        f"{small_area(limits[widest], words, 2)}, by {_name(widest, words)}; other limits stand below. "
        "Outliers of these patches may be small enough: count them apart in the farm file."
    )
    rows = tuple(
        (
            each.field,
            words.weed(each.patch.weed),
            small_area(each.patch.area_ha * units.M2_PER_HA, words),
        )
        for each in outlooks
    )
    grid = Grid(header=("Field", "Weed", "Patch"), rows=rows)
    return Section(key="too_large", title="Too large for patch work", blocks=(grid, said))


def _line(option: PatchOption, words: Wording) -> tuple[str, ...]:
    roots = [band(season.roots, weed_percent) for season in option.seasons]
    if not option.practice:
        cells = (*roots, *[""] * (2 - len(roots)))
        return ("the crops alone", *cells, "0", "0", "0", "0")
    hours = [_hours(season.hours) for season in option.seasons]
    costs = [words.money_figure(season.cost) for season in option.seasons]
    missing = ["not farmed"] * (2 - len(option.seasons))
    return (_name(option.practice, words), *roots, *missing, *hours, *missing, *costs, *missing)


def _dates(outlook: PatchOutlook, words: Wording) -> list[str]:
    """When each kind of work is done, a sentence each."""

    def day(work: DatedOperation) -> str:
        return words.day(work.day + outlook.shift_days)

    items = []
    for option in outlook.options:
        if option.practice and not option.operations:
            items.append(
                f"{capital(_name(option.practice, words))}: the weed does not come to its stage here."
            )
        if not option.operations:
            continue
        first, *later = option.operations
        when = f"{first.stage}, about {day(first)}"
        if later:
            days = listed([day(work) for work in later], "and")
            when = f"{when}; {later[0].stage}, about {days}"
        items.append(f"{capital(_name(option.practice, words))}: {when}.")
    return items


def _takes(words: Wording) -> Grid:
    """Limits, hours and materials for a hundred square metres."""
    tables = words.tables
    rows = []
    for key, practice in tables.patch_practices.items():

        def figure(quantity: str, key: str = key) -> float:
            return tables.number("patch", key, quantity)

        hours = units.figure(figure("hours_per_100m2"), 2)
        if tables.has("patch", key, "shoots_per_hour"):
            hours += f" and 1 for {units.figure(figure('shoots_per_hour'))} shoots"
        rows.append(
            (
                _name(key, words),
                small_area(figure("area_most_m2"), words, 2),
                f"{hours} {'a season' if practice.kind == 'cover' else 'a pass'}",
                words.money_figure(figure("cost_per_100m2")),
                CROP_THERE[practice.crop],
            )
        )
    part = small_area(PART_M2, words)
    header = (
        "Work",
        "Most for one person",
        f"Hours for {part}",
        f"Materials, $ for {part}",
        "Crop there",
    )
    return Grid(header=header, rows=tuple(rows))


def _name(key: str, words: Wording) -> str:
    practice: PatchPractice = words.tables.patch_practices[key]
    return practice.name_uk if words.farm.region == "uk" else practice.name_us


def _hours(hours: float) -> str:
    return units.figure(hours, 2) if hours else "0"
