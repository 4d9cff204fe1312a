"""Why this crop here, or why not another one: one field in one year of a plan."""

from __future__ import annotations

from rotation_opt.crop_reasons import CropReason
from rotation_opt.report.blocks import Bullets, Grid, Page, Paragraph, Section
from rotation_opt.report.differences import OPEN, how_near, moved_table, reading_of, within_doubt
from rotation_opt.report.wording import (
    Wording,
    band,
    capital,
    mean,
    more_or_less,
    percent,
    sentence,
    share_range,
    weed_percent,
)
from rotation_opt.tables import Tables
from rotation_opt.words import listed

MOST_RULES = 3
DECIDED = {
    "money": "money; another crop would leave less",
    "roots": "the weed; other crops bring more money, but leave more roots",
    "limit": "a limit; another crop would be better if it were not for",
}


def why_page(found: CropReason, tables: Tables, title: str) -> Page:
    """What the crop does to the weed, and what another one would change.

    Parameters
    ----------
    found : CropReason
    tables : Tables
    title : str
        Of the plan.
    """
    words = Wording(found.stand.farm, tables)
    here = found.here
    name = f"{found.field}, {found.year}"
    if here is None:
        gone = Paragraph(text=f"{found.field} is no longer farmed in {found.year}.")
        sections = [Section(key="here", title="What stands there", blocks=(gone,))]
        return Page(key="why", title=name, lead=(f"Plan: {title}.",), sections=tuple(sections))
    crop = tables.practices[here.practice].crop
    sections = [
        Section(
            key="here",
            title=f"What it does to the weed: {words.practice(here.practice)}",
            blocks=(_weeds(found, words),),
        )
    ]
    if found.asked == crop:
        stands = Paragraph(text=f"The plan has {_lower(words.crop(crop))} there.")
        sections.append(Section(key="other", title=f"Why not {_lower(words.crop(crop))}?", blocks=(stands,)))
    elif found.asked:
        heading = f"Why not {_lower(words.crop(found.asked))}?"
        sections.append(Section(key="other", title=heading, blocks=_other(found, words, tables)))
    else:
        sections.append(Section(key="other", title="What comes second", blocks=_other(found, words, tables)))
    return Page(
        key="why",
        title=f"{name}: {words.practice(here.practice)}",
        lead=(f"Plan: {title}.",),
        sections=tuple(sections),
    )


def _weeds(found: CropReason, words: Wording) -> Bullets | Paragraph:
    here = found.here
    if here is None or not here.reserve:
        return Paragraph(text="No creeping weed was counted on this field.")
    lines = []
    for weed, roots in here.reserve.items():
        before = weed_percent(found.roots_before.get(weed, roots[1]))
        lines.append(
            f"{words.weed(weed)}: where it stands its roots go from {before}% of a full stand to "
            f"{share_range(roots)} by the next 1 November (likely, then low to high); "
            f"{band(here.shoots_per_m2[weed])} shoots per m2 at bud stage."
        )
    lines.append(f"The weeds take {percent(here.weed_loss)} of the yield of the field that year.")
    return Bullets(items=tuple(lines))


def _other(found: CropReason, words: Wording, tables: Tables) -> tuple[Paragraph | Bullets | Grid, ...]:
    if found.other is None:
        return _none(found, words)
    other = found.other
    at = found.year - found.stand.farm.first_year
    practice = other.plan.practices[found.field][at]
    gain = mean(other.plan.figures.net_return) - mean(found.stand.plan.figures.net_return)
    money = more_or_less(gain, words.money(abs(gain)), zero="the same money")
    roots = [reading_of(one, tables).roots(one.plan) for one in (found.stand, other)]
    weeds = (
        "the same weed roots left at the end"
        if roots[0] == roots[1]
        else f"weed roots left at the end {roots[1]} instead of {roots[0]} % of today's"
    )
    said = (
        f"{capital(words.practice(practice))}: {money} a year (whole farm, mean of the years), and {weeds}."
    )
    blocks: list[Paragraph | Bullets | Grid] = [Paragraph(text=said), *_decides(found)]
    if found.bettered:
        blocks.append(
            Paragraph(text="That plan is better than the one chosen, which was not quite the best.")
        )
    else:
        gaps = found.stand.plan.proven_gap, other.plan.proven_gap
        near = f"The plan is {how_near(gaps[0])}; the one with the other crop is {how_near(gaps[1])}."
        doubt = within_doubt(gaps, gain, mean(found.stand.plan.figures.net_return))
        blocks.append(Paragraph(text=f"{near} {OPEN}" if doubt else near))
    blocks += [
        Paragraph(text="What would change with it, here and elsewhere:"),
        moved_table(found.moved, words, ("In the plan", "With it")),
    ]
    return tuple(blocks)


def _decides(found: CropReason) -> tuple[Paragraph, ...]:
    """What made the crop win while all other fields stay as they are: money, roots, or a limit by name."""
    second = found.decided
    if second is None or second.decided_by not in DECIDED:
        return ()
    text = f"What decides, with all other fields as they are: {DECIDED[second.decided_by]}"
    names = listed(second.limits, "and")
    return (Paragraph(text=f"{text} {names}." if second.limits else f"{text}."),)


def _none(found: CropReason, words: Wording) -> tuple[Paragraph | Bullets, ...]:
    what = f"{words.crop(found.asked)} cannot" if found.asked else "Nothing else can"
    lead = Paragraph(text=f"{what} stand on {found.field} in {found.year}:")
    rules = tuple(sentence(each) for each in found.why[:MOST_RULES])
    if not rules:
        return (Paragraph(text=f"{what} stand there within all limits of the farm: no such plan was found."),)
    more = len(found.why) - len(rules)
    return lead, Bullets(items=(*rules, *([f"and {more} more"] if more else [])))


def _lower(name: str) -> str:
    return f"{name[:1].lower()}{name[1:]}"
