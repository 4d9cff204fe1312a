"""One dated page on the weeds for a landlord, a certifier or a weed authority."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from rotation_opt import units
from rotation_opt.records import Alternative, Field
from rotation_opt.report.blocks import Bullets, Form, Grid, Page, Section
from rotation_opt.report.summary import Reading
from rotation_opt.report.wording import band, capital
from rotation_opt.words import listed

KINDS = {
    "cut": "cut",
    "mowing": "mown",
    "tillage": "worked",
    "weeding": "weeded",
    "grazing": "grazed",
}
"""Kinds of operations that take from the weed, and how they are said of a field."""

LAW = (
    "Weed lists, duties and dates differ from place to place and change. This page says what is intended; "
    "it is no permit, no certificate and no legal advice: the authority's and the certifier's own rules "
    "come first."
)
PROMISE = (
    "Expected figures are a model's estimates, likely with low to high, not a promise. Shoots are counted "
    "every year at bud stage in the same places, and the plan is made anew when two counts in a row lie "
    "above the range."
)
SIGNED = ("Name", "As (grower, adviser, landlord, authority)", "Date", "Signature")


def weed_plan_page(reading: Reading, plan: Alternative) -> Page:
    """The page about one plan; without sections where no weed was counted.

    Parameters
    ----------
    reading : Reading
    plan : Alternative
    """
    farm, words = reading.result.farm, reading.wording
    infested = [field for field in farm.fields if field.patches]
    title = f"Weed plan, {reading.heading(plan)}"
    if not infested:
        return Page(key=f"weed-plan:{plan.key}", title=title, lead=(), sections=())
    target = units.density_text(farm.target_shoots_per_m2)
    lead = (
        f"{', '.join(filter(None, (farm.name, farm.place.rstrip('. '))))}. Harvests {farm.first_year} to "
        f"{farm.first_year + farm.years - 1}; as of {words.dated(farm.decided_on)}. Aim: under {target} "
        "shoots per m2 at bud stage, by crop competition, cutting and tillage; this plan has no herbicides "
        "in it.",
    )
    work = Section(
        key="weed-plan:work",
        title="What is there, what is done, and shoots per m2 expected at bud stage",
        blocks=(_work(reading, plan),),
    )
    notes = Section(
        key="weed-plan:notes",
        title="How it is followed up",
        blocks=(
            Bullets(items=(PROMISE, *_seed(reading, plan), LAW)),
            Form(header=SIGNED, shares=(3.0, 3.0, 2.0, 3.0), rows=2),
        ),
    )
    return Page(key=f"weed-plan:{plan.key}", title=title, lead=lead, sections=(work, notes))


def _there(reading: Reading, field: Field) -> str:
    """A field with what was counted on it."""
    words = reading.wording
    lines = [f"{field.name}, {words.area(field.area_ha)}"]
    for patch in field.patches:
        record = words.tables.weeds.get(patch.weed)
        latin = "" if record is None else f" ({record.latin})"
        when = words.counted(patch) if patch.estimated else words.dated(patch.counted_on)
        lines.append(
            f"{words.weed(patch.weed)}{latin}, {words.area(patch.area_ha)}, "
            f"{units.density_text(patch.shoots_per_m2)} per m2, {when}"
        )
    return "\n".join(lines)


def _work(reading: Reading, plan: Alternative) -> Grid:
    """Infested fields down, harvest years across: crop, passes that take from the weed, shoots expected."""
    farm, words = reading.result.farm, reading.wording
    years = range(farm.first_year, farm.first_year + farm.years)
    rows = []
    for field in farm.fields:
        if not field.patches:
            continue
        path = plan.practices.get(field.name, ())
        cells = []
        for place, year in enumerate(years):
            key = path[place] if place < len(path) else ""
            if not key:
                cells.append("not farmed")
                continue
            practice = words.practice_record(key)
            crop = key if practice is None else practice.crop
            done = ", ".join((words.crop_short(crop), *_passes(reading, plan, field.name, year)))
            cells.append("\n".join((done, *_shoots(reading, plan, field.name, year))))
        rows.append((_there(reading, field), *cells))
    header = ("Field, weed, infested, shoots, counted", *(f"{year}" for year in years))
    return Grid(header=header, rows=tuple(rows), even=True, name_share=0.22)


def _passes(reading: Reading, plan: Alternative, field: str, year: int) -> Iterator[str]:
    """How often the ground or the weed is worked for one harvest."""
    tables = reading.wording.tables
    done: Counter[str] = Counter()
    for job in reading.result.jobs.get(plan.key, ()):
        operation = tables.operations.get(job.operation)
        if job.field == field and job.harvest_year == year and operation is not None:
            done[operation.kind] += 1
    for kind, said in KINDS.items():
        if done[kind]:
            yield f"{said} {done[kind]}x"


def _shoots(reading: Reading, plan: Alternative, field: str, year: int) -> Iterator[str]:
    words = reading.wording
    for entry in plan.fields:
        if entry.field == field and entry.year == year:
            for weed, shoots in entry.shoots_per_m2.items():
                yield f"{words.weed_short(weed)} {band(shoots)}"


def _seed(reading: Reading, plan: Alternative) -> list[str]:
    """Where the weed would flower, since many laws are about ripe seed."""
    weeds = [
        weed for weed, years in plan.figures.seed_shed_per_m2.items() if any(year[1] > 0.5 for year in years)
    ]
    if not weeds:
        return []
    names = listed([reading.wording.weed(weed) for weed in weeds], "and")
    return [
        f"{capital(names)}: some shoots are expected to flower in some years. Where ripening is forbidden, "
        "mow them before."
    ]
