"""A sheet to take to the field: how to count, what was expected, and rows to write in."""

from __future__ import annotations

from collections.abc import Sequence

from rotation_opt.frames import FRAMES
from rotation_opt.records import Alternative, Field
from rotation_opt.report.blocks import Block, Bullets, Form, Grid, Page, Paragraph, Section
from rotation_opt.report.calendar_page import iso, span
from rotation_opt.report.summary import AS_NOW, Reading
from rotation_opt.report.wording import band, capital

STOPS = 5
"""Stops on the way through a field: Manitoba Agriculture, no year, Scouting for weeds (at least five)."""

SHEET = (
    "Date",
    "Observer",
    "Patch",
    "Weed and its stage",
    "Crop and its stage",
    "Frame",
    "Counts at the stops",
    "Patch, long x wide",
    "Height at bud",
)
SHARES = (8.0, 10.0, 8.0, 14.0, 13.0, 8.0, 23.0, 10.0, 8.0)
ROWS = 5  # to write in, for each weed of a field
SKETCH = 6  # rows high

HOW_TO_COUNT = (
    "Go when the weed is at or just before bud stage, every year at the same stage, and again in stubble if "
    "you can.",
    f"Walk a zigzag with at least {STOPS} stops far apart (Manitoba Agriculture, no year, Scouting for "
    "weeds); in a patch stop in the patch. Many small frames tell more than a few large ones. Write down "
    "every stop, also the 0.",
    "Count shoots of established plants of the weed itself; note seedlings apart. Same frame, same places "
    "every year: flag them, or pace them off from a landmark.",
    "Pace off each patch, long by wide: a patch has its own count, and the field is not their mean.",
    "Height at bud is a quick sign of strength: healthy thistles about 60 to 90 cm (2 to 3 ft), weakened "
    "ones under 30 cm (1 ft) (ATTRA/NCAT, no year, answer on thistle in Wisconsin pastures).",
    "Hold the count against the range below. One count above it may be the weather; two in a row mean plan "
    "anew.",
)
JUDGED = (
    "The rule of two counts in a row is our judgement; the rest is common practice where no source stands."
)


def scouting_page(reading: Reading, columns: Sequence[Alternative]) -> Page:
    """The blank sheet, one section for each field with a counted weed.

    Parameters
    ----------
    reading : Reading
    columns : sequence of Alternative
        Plans whose expected counts are printed.
    """
    result = reading.result
    fields = [field for field in result.farm.fields if field.patches]
    if not fields:
        return Page(key="scouting", title="Scouting sheet", lead=(), sections=())
    how = Section(
        key="scouting:how",
        title="How to count",
        blocks=(Bullets(items=HOW_TO_COUNT), Paragraph(text=JUDGED), _frames(), *_when(reading)),
    )
    sheets = tuple(_sheet(reading, field, columns) for field in fields)
    return Page(key="scouting", title="Scouting sheet", lead=(), sections=(how, *sheets))


def _frames() -> Grid:
    rows = tuple((frame.name, f"{1.0 / frame.area_m2:.3g}") for frame in FRAMES)
    return Grid(header=("Frame", "Shoots per m2 = count x"), rows=rows)


def _when(reading: Reading) -> list[Paragraph]:
    words, farm = reading.wording, reading.result.farm
    said = [
        f"{capital(words.weed(weed))}: bud stage about {span(words, day, day)} in a usual year."
        for weed, days in reading.result.weed_days.items()
        if "bud" in days
        for day in (iso(farm.first_year, days["bud"]),)
    ]
    return [Paragraph(text=" ".join(said))] if said else []


def _sheet(reading: Reading, field: Field, columns: Sequence[Alternative]) -> Section:
    words = reading.wording
    today = [
        f"{capital(words.weed(patch.weed))}: {band((patch.shoots_per_m2,) * 3)} shoots per m2 on "
        f"{words.area(patch.area_ha)}, {words.counted(patch)}."
        for patch in field.patches
    ]
    weeds = len({patch.weed for patch in field.patches})
    blocks: tuple[Block, ...] = (
        Paragraph(text=" ".join(today)),
        *_expected(reading, field, columns),
        Form(header=SHEET, shares=SHARES, rows=ROWS * weeds),
        Form(header=("Sketch: patches, fixed points, gates, north",), shares=(1.0,), rows=SKETCH),
    )
    return Section(
        key=f"scouting:{field.name}", title=f"{field.name} ({words.area(field.area_ha)})", blocks=blocks
    )


def _expected(reading: Reading, field: Field, columns: Sequence[Alternative]) -> list[Grid]:
    """Shoots per m2 that each plan leads to expect at bud stage, likely and from low to high."""
    farm, words = reading.result.farm, reading.wording
    years = range(farm.first_year, farm.first_year + farm.years)
    rows = []
    for plan in columns:
        if plan.key == AS_NOW:
            continue
        for weed in dict.fromkeys(patch.weed for patch in field.patches):
            found = {
                entry.year: entry.shoots_per_m2[weed]
                for entry in plan.fields
                if entry.field == field.name and weed in entry.shoots_per_m2
            }
            cells = (band(found[year]) if year in found else "-" for year in years)
            rows.append((f"{reading.letter(plan)}, {words.weed_short(weed)}", *cells))
    header = ("Expected shoots per m2 in plan", *(str(year) for year in years))
    return [Grid(header=header, rows=tuple(rows))] if rows else []
