"""The scouting log on a page: visits as they were counted, and shoots per m2 by year and field."""

from __future__ import annotations

from collections.abc import Sequence

from rotation_opt import units
from rotation_opt.report.blocks import Block, Grid, Page, Paragraph, Section
from rotation_opt.report.wording import Wording, band, capital
from rotation_opt.scouting_log import Clumping, Summary, Visit

INVENTED = "This is an invented demo farm: its people, fields and figures are made up."
NO_VISITS = "Nothing is written down for this."


def summary_page(summaries: Sequence[Summary], words: Wording, file: str) -> Page:
    """Shoots per m2 with their range: weeds and fields down, years across.

    Parameters
    ----------
    summaries : sequence of Summary
    words : Wording
    file : str
        Name of the log.
    """
    sections = [_weed(weed, summaries, words) for weed in dict.fromkeys(each.weed for each in summaries)]
    if not sections:
        sections = [Section(key="none", title="No visits", blocks=(Paragraph(text=NO_VISITS),))]
    else:
        sections.append(
            Section(key="reading", title="How to read this", blocks=(Paragraph(text=_reading(summaries)),))
        )
    return _page("what the counts say", words, file, sections)


def list_page(visits: Sequence[Visit], words: Wording, file: str) -> Page:
    """Visits one under the other, field by field, as they were counted.

    Parameters
    ----------
    visits : sequence of Visit
    words : Wording
    file : str
        Name of the log.
    """
    names = [field.name for field in words.farm.fields]
    fields = [name for name in names if any(visit.field == name for visit in visits)]
    sections = [
        Section(
            key=name,
            title=name,
            blocks=(_visits([visit for visit in visits if visit.field == name], words),),
        )
        for name in fields
    ]
    if not sections:
        sections = [Section(key="none", title="No visits", blocks=(Paragraph(text=NO_VISITS),))]
    return _page("visits", words, file, sections)


def _page(what: str, words: Wording, file: str, sections: Sequence[Section]) -> Page:
    lead = [f"From {file}."]
    if words.farm.invented:
        lead.append(INVENTED)
    return Page(
        key="scouting_log",
        title=f"{words.farm.name}: scouting log, {what}",
        lead=tuple(lead),
        sections=tuple(sections),
    )


def _weed(weed: str, summaries: Sequence[Summary], words: Wording) -> Section:
    own = [each for each in summaries if each.weed == weed]
    years = sorted({each.year for each in own})
    rows: list[tuple[str, ...]] = []
    starts, before = set(), ""
    for field, stage in dict.fromkeys((each.field, each.stage) for each in own):
        if field != before:
            starts.add(len(rows))
        before = field
        found = {each.year: each for each in own if (each.field, each.stage) == (field, stage)}
        cells = (_cell(found[year], words) if year in found else "-" for year in years)
        rows.append((f"{field}, {stage}", *cells))
    header = ("Shoots per m2, field and stage", *(str(year) for year in years))
    grid = Grid(header=header, rows=tuple(rows), groups=frozenset(starts - {0}), even=True)
    blocks: tuple[Block, ...] = (grid,)
    return Section(key=weed, title=capital(words.weed(weed)), blocks=blocks)


def _cell(one: Summary, words: Wording) -> str:
    stops = f"{one.stops} stop{'' if one.stops == 1 else 's'}"
    where = "size not known" if one.area_ha is None else words.area(one.area_ha)
    return f"{band(one.shoots_per_m2)}\n{stops}, {where}"


def _reading(summaries: Sequence[Summary]) -> str:
    clumped = list(dict.fromkeys(each.clumping for each in summaries))
    parts = [
        "Likely = shoots counted by the area of the frames, over all stops; several patches of a field by "
        "their areas. It is the density in the patches, not of the whole field. Low to high: the true one "
        "lies between these in about eight of ten such counts, since shoots stand in clumps and a few frames "
        "may hit or miss them. Frames laid in the wrong places and shoots passed over are not in it.",
        *(_clumped(each) for each in clumped),
        "Stages stand apart: compare years at the same stage only.",
    ]
    if any(each.area_ha is None for each in summaries):
        parts.append("Where the size of a patch is not known, all patches of the field count alike.")
    return " ".join(parts)


def _clumped(one: Clumping) -> str:
    if one.fitted:
        return (
            f"How clumped they stand was taken from the {one.stops} stops of this log: "
            f"{_spread(one)} (Bliss and Owen 1958, from memory)."
        )
    return (
        f"How clumped they stand is our judgement ({_spread(one)}): the log, with "
        f"{one.stops} stop{'' if one.stops == 1 else 's'}, is too short to tell, and no published figure for "
        "patches was read."
    )


def _visits(visits: Sequence[Visit], words: Wording) -> Grid:
    rows = []
    for visit in visits:
        more = [
            words.area(visit.area_ha) if visit.area_ha is not None else "",
            _height(visit.height_cm, words) if visit.height_cm is not None else "",
            visit.observer,
            visit.note,
        ]
        rows.append(
            (
                visit.date,
                f"{words.weed(visit.weed)}, {visit.stage}",
                visit.patch or "-",
                " ".join(str(count) for count in visit.counts),
                f"{visit.frame_m2:.3g} m2",
                "; ".join(each for each in more if each) or "-",
            )
        )
    header = ("Date", "Weed, stage", "Patch", "Counts", "Frame", "Area, height, who, note")
    return Grid(header=header, rows=tuple(rows))


def _height(cm: float, words: Wording) -> str:
    if words.farm.units == "us":
        return f"{cm / 100.0 / units.INCH_M:.0f} in. high"
    return f"{cm:.0f} cm high"


def _spread(one: Clumping) -> str:
    """By how much frames differ beside chance, from the clumping figure of the negative binomial."""
    return f"beside chance, frames differ by about {100.0 / one.k**0.5:.0f}%"
